"""Spelled notes and degrees on the line of fifths; keys of the piano; orders of roots.

Conventions
-----------
Every spelled note is a position on the line of fifths (... Eb Bb F C G D A E B F# ...), C = 0, G = 1,
F = -1. A degree is a step along the same line (9 = 2, b7 = -2, #11 = 6), so

    note of a degree = position of the root + step of the degree
    pitch class      = 7 * position mod 12

Spelling is therefore arithmetic and never a look-up by key number. A `MidiNote` is a key of the piano,
0-127 with 60 = middle C (MIDI 1.0), written C4 here; the MIDI standard itself fixes no octave number.
Text is ASCII (``b``, ``#``, repeated for doubles); `pretty` gives the musical signs.

Source of the degree steps: common practice, and arithmetic on the circle of fifths.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from typing import Final, NewType

MidiNote = NewType("MidiNote", int)
"""A key of the piano: 0-127, 60 = middle C = C4."""

PitchClass = NewType("PitchClass", int)
"""0-11, 0 = C."""

LOWEST_PIANO_KEY: Final = MidiNote(21)
HIGHEST_PIANO_KEY: Final = MidiNote(108)

_LETTERS: Final = "FCGDAEB"  # in fifths, F = -1
_LETTER_POSITION: Final = {letter: index - 1 for index, letter in enumerate(_LETTERS)}
# Fifths of the plain (major or perfect) degrees 1..7, as steps along the line.
_DEGREE_STEP: Final = {1: 0, 2: 2, 3: 4, 4: -1, 5: 1, 6: 3, 7: 5}
_STEP_DEGREE: Final = {step: number for number, step in _DEGREE_STEP.items()}

_NOTE: Final = re.compile(r"([A-G])(bb?|##?|x|♭♭?|♯♯?|𝄪|𝄫)?")
_DEGREE: Final = re.compile(r"(bb?|##?|♭♭?|♯♯?)?(1[0-5]|[1-9])")
_ALTERATION: Final = {
    None: 0,
    "": 0,
    "b": -1,
    "bb": -2,
    "#": 1,
    "##": 2,
    "x": 2,
    "♭": -1,
    "♭♭": -2,
    "♯": 1,
    "♯♯": 2,
    "𝄪": 2,
    "𝄫": -2,
}


class PitchError(ValueError):
    """Text that is no note, degree or key; `at` is the offset where reading stopped."""

    def __init__(self, message: str, at: int = 0) -> None:
        super().__init__(message)
        self.at = at


def _accidental(count: int) -> str:
    return "#" * count if count > 0 else "b" * -count


@dataclass(frozen=True, slots=True, order=True)
class Note:
    """A spelled note without octave: its position on the line of fifths.

    >>> Note.parse("Db") + Degree.parse("b7")
    Note('Cb')
    >>> Note.parse("B") + Degree.parse("#9")
    Note('C##')
    """

    fifths: int

    @staticmethod
    def parse(text: str) -> Note:
        """Read ``C``, ``Bb``, ``F##`` or the same with musical signs. Raises `PitchError`."""
        match = _NOTE.fullmatch(text)
        if match is None:
            raise PitchError(f"{text!r} is not a note; write a letter A to G and b or #, as in Bb")
        return Note(_LETTER_POSITION[match[1]] + 7 * _ALTERATION[match[2]])

    @property
    def letter(self) -> str:
        return _LETTERS[(self.fifths + 1) % 7]

    @property
    def alteration(self) -> int:
        """Semitones of the accidental: -1 for a flat, 2 for a double sharp."""
        return (self.fifths + 1) // 7

    @property
    def name(self) -> str:
        """ASCII: ``Bb``, ``C##``."""
        return self.letter + _accidental(self.alteration)

    @property
    def pitch_class(self) -> PitchClass:
        return PitchClass(7 * self.fifths % 12)

    @property
    def is_plain(self) -> bool:
        """False where a reader at the keyboard needs the plain key named beside it (Cb, E#, doubles)."""
        return -1 <= self.alteration <= 1 and self.name not in {"Cb", "Fb", "E#", "B#"}

    def plain(self) -> Note:
        """The plain name of the same key, in the direction of this note's accidental: Cb -> B, C## -> D."""
        if self.is_plain:
            return self
        return Note(self.fifths + 12 if self.alteration < 0 else self.fifths - 12)

    def __add__(self, degree: Degree) -> Note:
        return Note(self.fifths + degree.step)

    def degree_to(self, other: Note) -> Degree:
        """The degree (1-7, altered) of `other` on this note as root."""
        return Degree.from_step(other.fifths - self.fifths)

    def __repr__(self) -> str:
        return f"Note({self.name!r})"

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class Degree:
    """A chord degree as written: letter number 1-15 and an alteration in semitones.

    ``13`` and ``6`` are the same step but stay apart as written; `simple` folds them.

    >>> Degree.parse("b7").step, Degree.parse("#11").semitones, Degree.parse("13").simple
    (-2, 18, Degree('6'))
    """

    number: int
    alteration: int = 0

    @staticmethod
    def parse(text: str) -> Degree:
        """Read ``b7``, ``#11``, ``bb7``, ``3`` (a plain number is major or perfect). Raises `PitchError`."""
        match = _DEGREE.fullmatch(text)
        if match is None:
            raise PitchError(f"{text!r} is not a degree; write 1 to 15 with b or # before it, as in b7")
        return Degree(int(match[2]), _ALTERATION[match[1]])

    @staticmethod
    def from_step(step: int) -> Degree:
        """The simple degree (1-7, altered) at a step along the line of fifths."""
        alteration = (step + 1) // 7
        return Degree(_STEP_DEGREE[step - 7 * alteration], alteration)

    @property
    def step(self) -> int:
        """Step along the line of fifths."""
        return _DEGREE_STEP[(self.number - 1) % 7 + 1] + 7 * self.alteration

    @property
    def semitones(self) -> int:
        """Semitones above the root in stack position: 3 -> 4, 9 -> 14, b13 -> 20."""
        simple = 7 * _DEGREE_STEP[(self.number - 1) % 7 + 1] % 12
        return simple + 12 * ((self.number - 1) // 7) + self.alteration

    @property
    def pitch_class(self) -> int:
        """Semitones above the root, folded into 0-11."""
        return 7 * self.step % 12

    @property
    def simple(self) -> Degree:
        return Degree((self.number - 1) % 7 + 1, self.alteration)

    @property
    def name(self) -> str:
        """ASCII: ``b7``, ``#11``."""
        return _accidental(self.alteration) + str(self.number)

    def __repr__(self) -> str:
        return f"Degree({self.name!r})"

    def __str__(self) -> str:
        return self.name


def pretty(text: str) -> str:
    """Accidentals of an ASCII note or degree name as musical signs: ``bb7`` -> ``𝄫7``, ``F#`` -> ``F♯``.

    >>> pretty("Bb"), pretty("#11"), pretty("C##")
    ('B♭', '♯11', 'C♯♯')
    """
    head, tail = (text[0], text[1:]) if text[:1].isalpha() and text[:1].isupper() else ("", text)
    return head + tail.replace("b", "♭").replace("#", "♯")


def note_label(note: Note) -> str:
    """A note for the screen, the plain key beside an odd spelling.

    >>> note_label(Note.parse("Fb")), note_label(Note.parse("Bb"))
    ('F♭ (E)', 'B♭')
    """
    shown = pretty(note.name)
    return shown if note.is_plain else f"{shown} ({pretty(note.plain().name)})"


_FLAT_NAMES: Final = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_KEY: Final = re.compile(r"([A-G](?:bb?|##?)?)(-?\d+)")


def key_name(midi_note: MidiNote) -> str:
    """The plain name of a key with its octave, flats by default: 61 -> ``Db4``.

    >>> key_name(MidiNote(60)), key_name(MidiNote(61))
    ('C4', 'Db4')
    """
    return f"{_FLAT_NAMES[midi_note % 12]}{midi_note // 12 - 1}"


def parse_key(text: str) -> MidiNote:
    """A key by name with octave (``D3``, ``Cb4`` = ``B3``) or by number. Raises `PitchError`.

    >>> parse_key("C4"), parse_key("Cb4"), parse_key("50")
    (60, 59, 50)
    """
    if text.isascii() and text.isdigit() and len(text) <= 3:
        number = int(text)
    else:
        match = _KEY.fullmatch(text)
        if match is None or len(match[2]) > 2:
            raise PitchError(f"{text!r} is not a key; write a note with its octave, as in Bb3 (C4 is middle C)")
        note = Note.parse(match[1])
        natural = 7 * _LETTER_POSITION[note.letter] % 12
        number = 12 * (int(match[2]) + 1) + natural + note.alteration
    if not 0 <= number <= 127:
        raise PitchError(f"{text!r} lies outside the MIDI keys 0 to 127")
    return MidiNote(number)


TWELVE_ROOTS: Final = tuple(map(Note.parse, "C F Bb Eb Ab Db Gb B E A D G".split()))
"""The twelve keys under the trade's names, in the cycle of fourths (common practice)."""

_CHROMATIC: Final = tuple(sorted(TWELVE_ROOTS, key=lambda note: note.pitch_class))


def _every(semitones: int) -> tuple[Note, ...]:
    """All twelve roots, going round by `semitones` and moving up a half step where the round closes."""
    order: list[Note] = []
    start = 0
    while len(order) < 12:
        pitch_class = start
        while (root := _CHROMATIC[pitch_class]) not in order:
            order.append(root)
            pitch_class = (pitch_class + semitones) % 12
        start += 1
    return tuple(order)


ROOT_ORDERS: Final[dict[str, tuple[Note, ...]]] = {
    "fourths": TWELVE_ROOTS,
    "fifths": (TWELVE_ROOTS[0], *reversed(TWELVE_ROOTS[1:])),
    "chromatic up": _CHROMATIC,
    "chromatic down": (_CHROMATIC[0], *reversed(_CHROMATIC[1:])),
    "whole tones": _every(2),
    "minor thirds": _every(3),
    "major thirds": _every(4),
}
"""Orders that do not depend on chance or on the record."""

CHANCE_ORDERS: Final = ("random", "weakest first")
"""Orders that need chance or the player's figures; see `order_roots`."""


def order_roots(name: str, chance: Random, weakness: Sequence[Note] = ()) -> tuple[Note, ...]:
    """The twelve roots in a named order.

    `chance` serves ``random`` (without repeat). `weakness` serves ``weakest first``: roots from weak to strong,
    those that are not in it keep the cycle of fourths after it. Raises `PitchError` for an unknown name.
    """
    if name in ROOT_ORDERS:
        return ROOT_ORDERS[name]
    if name == "random":
        roots = list(TWELVE_ROOTS)
        chance.shuffle(roots)
        return tuple(roots)
    if name == "weakest first":
        first = [root for root in weakness if root in TWELVE_ROOTS]
        return (*first, *(root for root in TWELVE_ROOTS if root not in first))
    known = ", ".join([*ROOT_ORDERS, *CHANCE_ORDERS])
    raise PitchError(f"{name!r} is not an order of roots; the orders are {known}")


def respelled(root: Note) -> Note:
    """A root with a double accidental under its plain name; any other unchanged (Abb -> G)."""
    return root if -1 <= root.alteration <= 1 else root.plain()


@lru_cache(maxsize=4096)
def spelled_key(note: Note, near: MidiNote) -> str:
    """A key under its spelled name with octave: the octave belongs to the letter, so key 59 as Cb is ``Cb4``."""
    return f"{note.name}{(near - note.alteration) // 12 - 1}"


def mask_of(keys: Iterable[int]) -> int:
    """Keys as one integer, bit n for key n: sets of held keys are compared as numbers."""
    mask = 0
    for key in keys:
        mask |= 1 << key
    return mask


def keys_of(mask: int) -> tuple[MidiNote, ...]:
    """The keys of a mask, ascending.

    >>> keys_of(mask_of([64, 60]))
    (60, 64)
    """
    keys = []
    while mask:
        low = mask & -mask
        keys.append(MidiNote(low.bit_length() - 1))
        mask ^= low
    return tuple(keys)
