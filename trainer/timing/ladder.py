"""The tempo ladder: up a step when a pass is clean, down two when it is not; and the highest clean tempo of each key.

What is clean is `trainer.timing.recording.is_clean`. One step is a twenty-fifth of the tempo (4 %, at least 1 beat a
minute), a change that is felt and can be followed. Two steps down for one up settles where two passes out of three are
clean: with a step up of u and down of d the tempo comes to rest where p u = (1 - p) d (Kaernbach, "Simple adaptive
testing with the weighted up-down method", Perception & Psychophysics 49, 1991; from memory). The step is a judgement.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from trainer.estimates import wilson
from trainer.timing.records import PassRecord

SLOWEST_BPM: Final = 30
FASTEST_BPM: Final = 320


@dataclass(frozen=True)
class TempoLadder:
    """The tempi between two bounds, in fixed steps: one up and one down leads back to the same tempo.

    Raises ValueError for bounds or steps that make no ladder.

    >>> ladder = TempoLadder(start_bpm=120)
    >>> ladder.up(120), ladder.down(120), ladder.down(ladder.up(ladder.up(120)))
    (125, 111, 120)
    """

    start_bpm: int = 80
    slowest_bpm: int = SLOWEST_BPM
    fastest_bpm: int = FASTEST_BPM
    step_percent: float = 4.0
    steps_up: int = 1
    steps_down: int = 2

    def __post_init__(self) -> None:
        if not 1 <= self.slowest_bpm <= self.start_bpm <= self.fastest_bpm:
            raise ValueError(
                f"a ladder that starts at {self.start_bpm} beats a minute cannot go "
                f"from {self.slowest_bpm} to {self.fastest_bpm}"
            )
        if not (0 < self.step_percent <= 100 and self.steps_up >= 1 and self.steps_down >= 1):
            raise ValueError("a ladder has steps over 0 and up to 100 %, and goes at least one up and one down")

    @cached_property
    def tempi(self) -> tuple[int, ...]:
        """Every tempo of the ladder, ascending."""
        growth = 1 + self.step_percent / 100
        above, below = [self.start_bpm], [self.start_bpm]
        while above[-1] < self.fastest_bpm:
            above.append(min(self.fastest_bpm, max(above[-1] + 1, round(above[-1] * growth))))
        while below[-1] > self.slowest_bpm:
            below.append(max(self.slowest_bpm, min(below[-1] - 1, round(below[-1] / growth))))
        return (*reversed(below[1:]), *above)

    def up(self, tempo_bpm: float) -> int:
        """The tempo after a clean pass; the fastest stays."""
        faster = [tempo for tempo in self.tempi if tempo > tempo_bpm]
        return faster[min(self.steps_up, len(faster)) - 1] if faster else self.fastest_bpm

    def down(self, tempo_bpm: float) -> int:
        """The tempo after a pass that was not clean; the slowest stays."""
        slower = [tempo for tempo in self.tempi if tempo < tempo_bpm]
        return slower[-min(self.steps_down, len(slower))] if slower else self.slowest_bpm


def next_tempo(ladder: TempoLadder, record: PassRecord) -> float:
    """The tempo of the next pass. A pass that was stopped or void says nothing: its tempo again."""
    if record.outcome != "whole":
        return record.tempo_bpm
    return ladder.up(record.tempo_bpm) if record.clean else ladder.down(record.tempo_bpm)


@dataclass(frozen=True, slots=True)
class HighestClean:
    """The highest clean tempo of a key: `tempo_bpm` (None where no pass was clean yet) and when it was first played so,
    `passes` played whole at it (or, where none was clean, at all) and how many of them were `clean`, the share with its
    95 % interval (`trainer.estimates.wilson`)."""

    key: str
    tempo_bpm: float | None
    first_utc: str | None
    passes: int
    clean: int
    low: float | None
    high: float | None


def highest_clean(passes: Iterable[PassRecord]) -> dict[str, HighestClean]:
    """For each key, in the order in which the keys first come, the highest tempo at which a pass was clean.

    Only whole passes at a piano count, no scripted ones; filter by title and section first. {} for none.

    >>> highest_clean([])
    {}
    """
    by_key: dict[str, list[PassRecord]] = {}
    for record in passes:
        if counts(record):
            by_key.setdefault(record.key, []).append(record)
    found = {}
    for key, records in by_key.items():
        tempo = max((record.tempo_bpm for record in records if record.clean), default=None)
        at_it = [record for record in records if tempo is None or record.tempo_bpm == tempo]
        clean = sum(record.clean for record in at_it)
        interval = wilson(clean, len(at_it))
        found[key] = HighestClean(
            key=key,
            tempo_bpm=tempo,
            first_utc=min((record.utc for record in at_it if record.clean), default=None),
            passes=len(at_it),
            clean=clean,
            low=None if interval is None else interval[0],
            high=None if interval is None else interval[1],
        )
    return found


def counts(record: PassRecord) -> bool:
    """Whether a pass counts for figures: played whole, at a piano."""
    return record.outcome == "whole" and record.stamp_origin not in ("script", "keyboard")
