"""An invented record of practice, for tests and benchmarks: a player who gets quicker, slowly on the flats.

Nobody played this. What is practised, how fast and how often wrong is drawn by a seeded chance, so that the same
record comes every time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from trainer.pitch import TWELVE_ROOTS
from trainer.progress import Attempt, TryRecord, VerdictRecord

ROOTS = tuple(note.name for note in TWELVE_ROOTS)


@dataclass(frozen=True)
class Kind:
    """A voicing in a quality, with the set it is drilled in."""

    set_title: str
    voicing: str
    quality: str
    degrees: tuple[str, ...]


KINDS = (
    Kind("Shells, root and seventh", "1 7", "maj7", ("1", "7")),
    Kind("Shells, root and seventh", "1 b7", "7", ("1", "b7")),
    Kind("Minor sevenths from the third", "rootless from the third", "m7", ("b3", "5", "b7", "9")),
    Kind("Minor sevenths from the seventh", "rootless from the seventh", "m7", ("b7", "9", "b3", "5")),
    Kind("Dominants, both forms", "rootless from the third", "7", ("3", "13", "b7", "9")),
    Kind("Dominants, both forms", "rootless from the seventh", "7", ("b7", "9", "3", "13")),
    Kind("Dominants in three notes", "b7 3 13", "7", ("b7", "3", "13")),
    Kind("Half-diminished", "rootless from the third", "m7b5", ("b3", "b5", "b7", "1")),
)
PORTS = ("Stage piano", "Upright [practice room]")
_CAUSES = ("half_step", "left_out", "other_root", "wrong_quality", "inversion", "previous_chord")
_HARD = {"Gb": 0.55, "B": 0.45, "Db": 0.35, "E": 0.25, "Ab": 0.2, "A": 0.1}


def invented_record(
    days: int = 40, a_day: int = 60, *, seed: int = 1, first: date = date(2026, 2, 1), kinds: tuple[Kind, ...] = KINDS
) -> Iterator[Attempt]:
    """Attempts in the order of time: `a_day` of them on each of `days` days, every seventh day a day of rest."""
    chance = Random(seed)
    played: dict[tuple[int, str], int] = {}
    for day in range(days):
        if day % 7 == 6:
            continue
        when = first + timedelta(days=day)
        # A kind of voicing is taken up every few days and then stays.
        known = max(1, min(len(kinds), 1 + day // 4))
        for number in range(a_day):
            which = chance.randrange(known)
            root = ROOTS[chance.randrange(12)]
            count = played[which, root] = played.get((which, root), 0) + 1
            yield _attempt(chance, kinds[which], root, count, when, day, number)


def _attempt(chance: Random, kind: Kind, root: str, count: int, when: date, day: int, number: int) -> Attempt:
    hard = _HARD.get(root, 0.0)
    right = chance.random() < 0.97 - (0.2 + 0.4 * hard) / (1 + count / 6)
    think_ms = round((900 + 2600 / (1 + count / 5)) * (1 + hard) * chance.lognormvariate(0, 0.3), 3)
    spread_ms = round(chance.uniform(8, 60), 3)
    keys = tuple(range(50, 50 + 3 * len(kind.degrees), 3))
    tries = (_try(kind.degrees, keys, True, None, think_ms, spread_ms),)
    if not right:
        cause = _CAUSES[min(int(chance.expovariate(0.8)), len(_CAUSES) - 1)]
        tries = (_try(kind.degrees, keys, False, cause, think_ms, spread_ms), *tries)
    seconds = number * 8
    return Attempt(
        session=f"{day:08x}",
        number=number,
        utc=f"{when.isoformat()}T{18 + seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.000Z",
        set_title=kind.set_title,
        drill=0,
        chord=f"{root}{kind.quality}",
        quality=kind.quality,
        root=root,
        voicing=kind.voicing,
        degrees=kind.degrees,
        notes=(),
        keys=keys,
        tries=tries,
        outcome="right",
        right_first_try=right,
        response_ms=think_ms + spread_ms if right else None,
        settle_ms=0.0 if right else round(chance.uniform(800, 3000), 3),
        pool_size=12,
        port=PORTS[day % 5 == 4],
        stamp_origin="callback",
    )


def _try(
    degrees: tuple[str, ...], keys: tuple[int, ...], right: bool, cause: str | None, think_ms: float, spread_ms: float
) -> TryRecord:
    wrong_at = len(degrees) - 1 if cause in ("half_step", "left_out") else -1
    verdicts = tuple(
        VerdictRecord(degree, "right", key)
        if at != wrong_at
        else VerdictRecord(degree, "replaced", key + 1, "7", 1)
        if cause == "half_step"
        else VerdictRecord(degree, "missing")
        for at, (degree, key) in enumerate(zip(degrees, keys, strict=True))
    )
    return TryRecord(keys, verdicts, (), right, cause, (cause,) if cause else (), "", think_ms, spread_ms)
