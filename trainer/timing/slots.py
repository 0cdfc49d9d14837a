"""What is to be played when: the slots of a form."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trainer.grading import Target

PARTS: Final = ("chord", "bass")


@dataclass(frozen=True, slots=True)
class Slot:
    """One thing to be played in a form: `target` at `start_beats` (see `trainer.charts`) for `beats`.

    `bar` and `beat` say where that is as a musician counts (bar 0: the pick-up); `part` is ``chord`` or ``bass``;
    an `optional` one may stay silent; `section` is its form letter; `move` names the way from the slot before of the
    same part ("" for the first), for figures by move.
    """

    index: int
    bar: int
    beat: Fraction
    start_beats: Fraction
    beats: Fraction
    target: Target
    part: str = "chord"
    optional: bool = False
    section: str = ""
    move: str = ""
