"""Attempts, and every figure computed from attempts.

An `Attempt` is one prompt and all that was answered to it. It is the record: everything else (figures, schedules)
is computed from attempts and can be computed again. Times are milliseconds from the moment the prompt was shown,
on a monotonic clock; `utc` is the only wall-clock value.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class VerdictRecord:
    """The verdict on one degree: `key` is the key that answers for it (None where none does)."""

    degree: str
    verdict: str
    key: int | None = None
    by: str | None = None
    semitones: int = 0


@dataclass(frozen=True, slots=True)
class TryRecord:
    """One graded gesture. `cause` is the code of the first of `causes` (ties), None when right."""

    held: tuple[int, ...]
    verdicts: tuple[VerdictRecord, ...]
    extra: tuple[int, ...]
    right: bool
    cause: str | None
    causes: tuple[str, ...]
    sentence: str
    think_ms: float | None
    spread_ms: float


RawEvent = tuple[int, str, int, int, int]
"""Microseconds from the prompt, kind, key, value, channel (0-15)."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One prompt answered, skipped, left or voided.

    `outcome` is right, wrong, skipped, unfinished or void; `set_aside` says why response times do not count
    ("" when they do); `stamp_origin` says what took the time stamps.
    """

    session: str
    number: int
    utc: str
    set_title: str
    drill: int
    chord: str
    quality: str
    root: str
    voicing: str
    degrees: tuple[str, ...]
    notes: tuple[str, ...]
    keys: tuple[int, ...]
    tries: tuple[TryRecord, ...]
    outcome: str
    right_first_try: bool
    response_ms: float | None
    settle_ms: float | None
    pool_size: int
    hint: str = ""
    set_aside: str = ""
    port: str = ""
    stamp_origin: str = ""
    target_ms: float | None = None
    events: tuple[RawEvent, ...] = ()

    @property
    def item(self) -> tuple[str, str, str]:
        """What is learned as one thing: voicing, quality, root."""
        return (self.voicing, self.quality, self.root)
