"""One pass through a form, as it is recorded. Times are milliseconds, the pass's own clock begins at beat 0."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SLOT_VERDICTS: Final = ("right", "wrong", "missed", "late", "left out")
"""Late: the right voicing, after the slot's own time; left out: an optional one that stayed silent."""


@dataclass(frozen=True, slots=True)
class SlotRecord:
    """One slot of a pass and what became of it.

    `beat` is text as in ``2.5``; `held` the keys of the gesture that answered; `error_ms` how long after (before: below
    0) its moment the gesture began, the port's own calibrated offset taken off, None where nothing answered; `cause`
    and `sentence` say why it was wrong (see `trainer.grading`).
    """

    index: int
    bar: int
    beat: str
    part: str
    chord: str
    root: str
    quality: str
    voicing: str
    degrees: tuple[str, ...]
    keys: tuple[int, ...]
    verdict: str
    held: tuple[int, ...] = ()
    error_ms: float | None = None
    spread_ms: float | None = None
    cause: str | None = None
    causes: tuple[str, ...] = ()
    sentence: str = ""
    move: str = ""


@dataclass(frozen=True, slots=True)
class PassRecord:
    """One pass through a form (or a section of it) in one key at one tempo.

    `offset_ms` and `scatter_ms` are the steady part of the errors and what remains of them; `extra` counts gestures
    that answered no slot; `clean` is the rule of the tempo ladder; `calibration_ms` is what was taken off for the port;
    `events` are raw (microseconds from beat 0, kind, key, value, channel). `outcome` is ``whole``, ``stopped`` or
    ``void`` (the port was lost); `assignment` is the mark of the one it was played for ("" for none).
    """

    session: str
    number: int
    utc: str
    title: str
    section: str
    key: str
    tempo_bpm: float
    swing: float
    beats: float
    meter: str
    outcome: str
    clean: bool
    slots: tuple[SlotRecord, ...]
    extra: int
    offset_ms: float | None
    scatter_ms: float | None
    calibration_ms: float
    port: str
    stamp_origin: str
    events: tuple[tuple[int, str, int, int, int], ...] = ()
    assignment: str = ""
