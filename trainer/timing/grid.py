"""Beats as moments: a tempo, a beginning and a swing.

Beats are those of `trainer.charts`: counted from the first full bar's first beat (0), the unit of the time signature.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import Final

MINUTE_NS: Final = 60_000_000_000

STRAIGHT: Final = Fraction(1, 2)
SWUNG: Final = Fraction(2, 3)
"""Where the second eighth of a beat falls: in the middle, or on the third of three (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Moments of beats: `tempo_bpm` beats a minute, beat 0 at `start_ns` of a monotonic clock.

    `swing` is the part of a beat after which its second eighth falls. It moves halves of a beat and what is cut from
    them (quarters, eighths); thirds and sixths of a beat stand where they are.

    >>> grid = Grid(60, 0, SWUNG)
    >>> [round(grid.time_ns(Fraction(n, 2)) / 1e9, 3) for n in range(4)]
    [0.0, 0.667, 1.0, 1.667]
    >>> slower = Grid(120, 0, STRAIGHT, ((Fraction(2), 60.0),))
    >>> [slower.time_ns(beats) / 1e9 for beats in (-2, 2, 4)]
    [-1.0, 1.0, 3.0]
    """

    tempo_bpm: float
    start_ns: int = 0
    swing: Fraction = STRAIGHT
    changes: tuple[tuple[Fraction, float], ...] = ()
    """Where another tempo begins: (beats, beats a minute), in order; `tempo_bpm` holds before the first."""

    @property
    def beat_ns(self) -> float:
        """The length of a beat before any change of tempo."""
        return MINUTE_NS / self.tempo_bpm

    def time_ns(self, beats: Fraction | int) -> int:
        """When a position in beats sounds."""
        whole = floor(beats)
        part = Fraction(beats) - whole
        if part and part.denominator & (part.denominator - 1) == 0:
            part = _swung(part, self.swing)
        return self.start_ns + round((self._minutes(whole + part) - self._minutes(Fraction(0))) * MINUTE_NS)

    def _minutes(self, beats: Fraction) -> Fraction:
        """The time from the first change of tempo (or beat 0, without one) to a position."""
        if not self.changes:
            return beats / Fraction(self.tempo_bpm)
        first = self.changes[0][0]
        if beats <= first:
            return (beats - first) / Fraction(self.tempo_bpm)
        passed = Fraction(0)
        for (begins, tempo_bpm), (ends, _) in zip(self.changes, (*self.changes[1:], (beats, 0.0)), strict=True):
            if begins < beats:
                passed += (min(ends, beats) - begins) / Fraction(tempo_bpm)
        return passed


def _swung(part: Fraction, swing: Fraction) -> Fraction:
    if part < STRAIGHT:
        return part * 2 * swing
    return swing + (part - STRAIGHT) * 2 * (1 - swing)
