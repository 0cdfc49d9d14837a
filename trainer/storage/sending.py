"""A student's own record and the school's: what was played goes to the server when it can be reached, and assignments
come back.

What is to be sent is found by comparing how many attempts each session has here and there: the server is asked, nothing
is remembered here. So sending twice, in any order, from two machines, or after being cut off anywhere ends in the same
rows. Each batch is one change of the server: all of it arrives or none. The attempt that is being decided is left for
the next time (`SETTLED_SECONDS`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Final, TypeVar

from trainer.storage.files import StorageError
from trainer.storage.records import KeptAssignment, Records
from trainer.storage.records.log import ATTEMPT, PASS

SETTLED_SECONDS: Final = 5
"""An attempt may be replaced by another of its number moments after it was recorded, and never later."""

BATCH: Final = 500
"""How many attempts arrive together."""

PATIENCE_SECONDS: Final = 60.0
"""How long to wait for a server that has no room for another connection."""

_One = TypeVar("_One")


@dataclass(slots=True)
class Sent:
    """How many attempts and passes were new to the server."""

    attempts: int = 0
    passes: int = 0


def send(own: Records, server: Records, now_utc: str, progress: Callable[[int], None] = lambda count: None) -> Sent:
    """Send the player's own attempts and passes to a server that lets them in as a student.

    Raises `StorageError`; what was sent before stays sent.
    """
    sent = Sent()
    until = _before(now_utc, SETTLED_SECONDS)
    attempts = _missing(own, server, ATTEMPT, until, lambda session: own.attempts(until=until, session=session))
    for some in _batches(attempts):
        sent.attempts += server.add_attempts(some)
        progress(sent.attempts)
    passes = _missing(own, server, PASS, until, lambda session: own.passes(until=until, session=session))
    for few in _batches(passes):
        sent.passes += server.add_passes(few)
    return sent


def patiently(opening: Callable[[], Records], patience_s: float = PATIENCE_SECONDS) -> Records:
    """What `opening` gives; tried again while the server has no room: a whole class may send at once.

    Raises `StorageError`.
    """
    chance = Random()
    until = time.monotonic() + patience_s
    pause_s = 0.1
    while True:
        try:
            return opening()
        except StorageError as error:
            if not error.passing or time.monotonic() > until:
                raise
        time.sleep(pause_s * chance.uniform(0.5, 1.5))
        pause_s = min(2 * pause_s, 5.0)


def newly_assigned(own: Records, server: Records) -> list[KeptAssignment]:
    """What was assigned on the server and is not known here. Raises `StorageError`."""
    there = {kept.mark for kept in own.assignments()}
    return [kept for kept in server.assignments() if kept.mark not in there]


def _missing(
    own: Records, server: Records, kind: str, until: str, read: Callable[[str], Iterator[_One]]
) -> Iterator[_One]:
    """What the server lacks, session by session."""
    there = server.sessions_counted(kind)
    for session, count in own.sessions_counted(kind, until=until).items():
        if there.get(session, 0) < count:
            yield from read(session)


def _batches(ones: Iterator[_One]) -> Iterator[Sequence[_One]]:
    batch: list[_One] = []
    for one in ones:
        batch.append(one)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def _before(utc: str, seconds: int) -> str:
    at = datetime.fromisoformat(utc) - timedelta(seconds=seconds)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
