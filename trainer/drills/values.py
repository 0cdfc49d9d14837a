"""Drill sets as frozen values, what stands where in their files, and the order in which a set is drilled.

A `DrillSet` is a title and drills. A `Drill` asks for one quality in one voicing over an order of roots; it holds its
values after the set's defaults have been applied, and the recipe already read. Keys are MIDI notes, reaches are in
semitones, times in milliseconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from random import Random
from typing import Final

from trainer.chords import Quality
from trainer.grading import Passes
from trainer.pitch import ROOT_ORDERS, Degree, MidiNote, Note, order_roots
from trainer.voicings import Limits, Recipe, Register, VoicingRow, default_register

HANDS: Final = ("left", "right", "both")
HINTS: Final = ("notes", "degrees", "name")
"""What a prompt shows beside the chord: its notes, its degrees only, or only the name of the voicing."""

SEQUENCES: Final = ("drill by drill", "root by root", "shuffled")
"""All roots of a drill and then the next drill; the first root of every drill and then the second; or all mixed."""

MOST_BYTES: Final = 256 * 1024
MOST_DRILLS: Final = 500
MOST_VOICINGS: Final = 100
TITLE_LETTERS: Final = 120
ABOUT_LETTERS: Final = 1900
"""Written with every character escaped, this still fits in a line that is read."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a file: where, which field, what was found, what could stand there, and one sentence.

    Lines and columns count from 1. `str()` is one line: ``file:line:column: field: message``.
    """

    file: str
    line: int
    column: int
    field: str
    found: str
    expected: str
    message: str

    def __str__(self) -> str:
        # Of a long path the end is told: there stands the file's own name.
        file = printable(self.file, len(self.file))
        file = file if len(file) <= 200 else f"…{file[-199:]}"
        place = f"{file}:{self.line}:{self.column}: "
        return place + (f"{self.field}: {self.message}" if self.field else self.message)


@dataclass(frozen=True, slots=True)
class Step:
    """The next voicing of a move: its root as a degree of the drill's root, its quality and recipe, its hand (None: the
    voicing's own), and by how many semitones its bottom note lies above the one before (below: less than 0; None: where
    the voices move least)."""

    on: Degree
    quality: Quality
    voicing: str
    recipe: Recipe
    hand: str | None = None
    rise_semitones: int | None = None


@dataclass(frozen=True, slots=True)
class Drill:
    """One quality in one voicing over an order of roots (`roots`: an order's name, or the roots themselves).

    `tries` counts the gestures allowed before an attempt ends. None leaves a choice to the voicing's own kind.
    `fingers` are one for each degree from the bottom up, 1 the thumb; () where the set gives none.

    With `then` it drills a move: on each root the voicing and then each step, prompts in succession. The roots are keys
    there, and `on` says which degree of them the first chord stands on.
    """

    quality: Quality
    voicing: str
    recipe: Recipe
    roots: str | tuple[Note, ...] = "fourths"
    tries: int = 3
    rounds: int = 1
    hint: str = "notes"
    target_ms: int | None = None
    hand: str | None = None
    lowest: MidiNote | None = None
    highest: MidiNote | None = None
    reach_semitones: int | None = None
    limits: Limits = None
    passes: Passes = Passes()
    fingers: tuple[int, ...] = ()
    on: Degree = Degree(1)
    then: tuple[Step, ...] = ()

    @property
    def register(self) -> Register:
        """The register its voicings are placed in: that of the recipe's kind, with what the set says instead."""
        return register_of(self.recipe, self.lowest, self.highest, self.reach_semitones, self.limits)

    @property
    def pool(self) -> tuple[Note, ...]:
        """Every root that may come, in a fixed order where the order is left to chance."""
        return self.roots if isinstance(self.roots, tuple) else ROOT_ORDERS.get(self.roots, ROOT_ORDERS["fourths"])

    def one_round(self, chance: Random, weakness: Sequence[Note] = ()) -> tuple[Note, ...]:
        """The roots of one round, in the order in which they are asked; see `pitch.order_roots`."""
        return self.roots if isinstance(self.roots, tuple) else order_roots(self.roots, chance, weakness)


@dataclass(frozen=True, slots=True)
class DrillSet:
    """What one file holds: title, a text about it, drills, and voicings of the teacher's own."""

    title: str
    drills: tuple[Drill, ...]
    about: str = ""
    sequence: str = "drill by drill"
    voicings: tuple[VoicingRow, ...] = ()


def register_of(
    recipe: Recipe,
    lowest: MidiNote | None = None,
    highest: MidiNote | None = None,
    reach_semitones: int | None = None,
    limits: Limits = None,
) -> Register:
    """The default register of a recipe with some of it replaced (see `Register.within`). Raises `VoicingError`."""
    return default_register(recipe).within(lowest, highest, reach_semitones, limits)


def turns(drill_set: DrillSet, chance: Random, weakness: Sequence[Sequence[Note]] = ()) -> tuple[tuple[int, Note], ...]:
    """Every prompt of a set in the order of its `sequence`: index of the drill, root.

    `chance` serves random orders and ``shuffled``; `weakness` gives, drill by drill, its roots from weak to strong.
    """
    rounds = [
        [
            [(index, root) for root in drill.one_round(chance, weakness[index] if index < len(weakness) else ())]
            for _ in range(drill.rounds)
        ]
        for index, drill in enumerate(drill_set.drills)
    ]
    if drill_set.sequence == "drill by drill":
        return tuple(turn for of_drill in rounds for of_round in of_drill for turn in of_round)
    asked: list[tuple[int, Note]] = []
    if drill_set.sequence == "root by root":
        whole = [[turn for of_round in of_drill for turn in of_round] for of_drill in rounds]
        for step in zip_longest(*whole):
            asked += [turn for turn in step if turn is not None]
        return tuple(asked)
    for number in range(max((drill.rounds for drill in drill_set.drills), default=0)):
        mixed = [turn for of_drill in rounds if number < len(of_drill) for turn in of_drill[number]]
        chance.shuffle(mixed)
        if asked and len(mixed) > 1 and mixed[0] == asked[-1]:
            mixed.append(mixed.pop(0))  # the same chord twice running is no new question
        asked += mixed
    return tuple(asked)


def printable(text: str, most: int = 80) -> str:
    """A text from a file as one harmless line: what does not print is written as its code, a long one is cut.

    >>> printable("Shells\\n\\u202e[b]")
    'Shells\\\\n\\\\u202e[b]'
    """
    cut = text if len(text) <= most else text[: most - 1] + "…"
    return "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in cut)
