"""What a sheet holds, before anything is drawn: blocks of bars with notes, chord symbols, degrees and fingers.

A `Sheet` is a title and blocks; a `Block` has a heading, clefs and bars; a `Bar` has for each staff, from the top one
down, what sounds on it. Positions and lengths are in quarter notes, counted from the beginning of the bar.

Which accidentals stand
-----------------------
In a bar an accidental holds for its line and octave; a note shows one where it differs from what holds there. Also

* where the same letter sounds with another accidental at the same time or earlier in the bar, in another octave or in
  the other hand, both show theirs;
* where the bar before had the same line with another accidental, the note repeats its own, once.

The melody's staff is read by itself.

Source: common practice; "cautionary accidentals" in Gould, Behind Bars (2011), the rule from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import Final, Literal

from trainer.charts import Key, Meter
from trainer.chords import Chord
from trainer.pitch import MidiNote, Note

Clef = Literal["treble", "bass"]
CLEFS: Final[tuple[Clef, ...]] = ("treble", "bass")

WHOLE_QUARTERS: Final = Fraction(4)


@dataclass(frozen=True, slots=True)
class Sound:
    """A chord, a note or a rest (no notes), from `start` for `quarters`. `notes`, `keys`, `degrees` (as printed) and
    `fingers` go from the bottom up, one for one; the last two may be empty. `tied`: held on from the sound before.
    """

    start: Fraction
    quarters: Fraction
    notes: tuple[Note, ...] = ()
    keys: tuple[MidiNote, ...] = ()
    degrees: tuple[str, ...] = ()
    fingers: tuple[int, ...] = ()
    tied: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar, `quarters` long. `symbols`: chord symbols with where they stand. `meter` and `key` are given where they
    change. `letter`, `opens`, `closes` and `endings` are as in `charts.Bar`; `last_of` are the passes of the ending
    that this bar is the last of. `holds_on` says for each staff whether its last sound is held into the next bar."""

    staves: tuple[tuple[Sound, ...], ...]
    symbols: tuple[tuple[Fraction, Chord], ...] = ()
    quarters: Fraction = WHOLE_QUARTERS
    meter: Meter | None = None
    key: Key | None = None
    starts_line: bool = False
    letter: str = ""
    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()
    last_of: tuple[int, ...] = ()
    holds_on: tuple[bool, ...] = ()
    number: int = 0


@dataclass(frozen=True, slots=True)
class Block:
    """Bars under one heading. `clefs` has one for each staff from the top; with `melody` the top staff is the melody's
    own. Without a `key` there is neither key nor time signature: one voicing a bar."""

    heading: str
    clefs: tuple[Clef, ...]
    bars: tuple[Bar, ...]
    detail: str = ""
    melody: bool = False
    key: Key | None = None

    @property
    def hand_clefs(self) -> tuple[Clef, ...]:
        """The clefs of the piano's staves."""
        return self.clefs[1:] if self.melody else self.clefs


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is printed under one title."""

    title: str
    blocks: tuple[Block, ...]


# ---------------------------------------------------------------- lines and ledgers

_MOST_SIGNS: Final = 2
_STEP: Final = {letter: step for step, letter in enumerate("CDEFGAB")}
_MIDDLE_LINE: Final = {"treble": 7 * 4 + _STEP["B"], "bass": 7 * 3 + _STEP["D"]}


def writable(note: Note) -> Note:
    """A note without triple accidentals: the same key under a plainer name.

    >>> note = Note.parse("E#").fifths + 9  # the sharp ninth of E sharp has three sharps
    >>> Note(note).name, writable(Note(note)).name
    ('F###', 'G#')
    """
    while abs(note.alteration) > _MOST_SIGNS:
        note = Note(note.fifths - 12 if note.alteration > 0 else note.fifths + 12)
    return note


def octave_of(note: Note, key: MidiNote) -> int:
    """The octave of a spelled note: it belongs to the letter, so the key 59 as Cb is in octave 4."""
    return (key - note.alteration) // 12 - 1


def ledger_lines(note: Note, key: MidiNote, clef: Clef) -> int:
    """Ledger lines that a note needs in a clef.

    >>> ledger_lines(Note.parse("C"), MidiNote(60), "treble"), ledger_lines(Note.parse("Cb"), MidiNote(59), "bass")
    (1, 1)
    """
    off = abs(7 * octave_of(note, key) + _STEP[note.letter] - _MIDDLE_LINE[clef])
    return max(0, off // 2 - 2)


def fitting_clef(sounds: Sequence[Sound]) -> Clef:
    """The clef in which all of it needs fewer ledger lines; the treble clef among equals."""

    def cost(clef: Clef) -> int:
        return sum(
            ledger_lines(note, key, clef) ** 2
            for sound in sounds
            for note, key in zip(sound.notes, sound.keys, strict=True)
        )

    return min(CLEFS, key=cost)


# ---------------------------------------------------------------- accidentals

Shown = Literal["plain", "courtesy"]


def signature_fifths(key: Key | None) -> int:
    """Sharps (positive) or flats of a key signature; 0 where there is no key."""
    if key is None:
        return 0
    return key.root.fifths - 3 if key.minor else key.root.fifths


def _signature(fifths: int) -> dict[str, int]:
    letters = "FCGDAEB"
    sharp = {letter: 1 for letter in letters[: max(0, fifths)]}
    return sharp | {letter: -1 for letter in letters[::-1][: max(0, -fifths)]}


_Place = tuple[int, str, int]
"""Staff, letter, octave."""

_NoteAt = tuple[int, int, int]
"""Staff, index of the sound, index of the note."""


@dataclass(frozen=True, slots=True)
class _Written:
    """One note of a bar, where and when."""

    start: Fraction
    at: _NoteAt
    staff: int
    note: Note
    octave: int
    tied: bool

    @property
    def place(self) -> _Place:
        return self.staff, self.note.letter, self.octave


def accidentals(bars: Sequence[Bar], key: Key | None, *, melody: bool = False) -> Iterator[dict[_NoteAt, Shown]]:
    """For each bar: which note shows its accidental, and why. With `melody` the top staff is the melody's."""
    before: dict[_Place, int] = {}
    for bar in bars:
        key = bar.key or key
        signature = _signature(signature_fifths(key))
        holds: dict[_Place, int] = {}
        seen: dict[_Place, int] = {}
        heard: dict[tuple[bool, str], set[int]] = {}
        shown: dict[_NoteAt, Shown] = {}
        for _, together in groupby(_in_time(bar), key=lambda one: one.start):
            now = list(together)
            for one in now:
                heard.setdefault((melody and not one.staff, one.note.letter), set()).add(one.note.alteration)
            for one in now:
                if one.tied:
                    seen[one.place] = one.note.alteration
                    continue
                alteration = one.note.alteration
                if alteration != holds.get(one.place, signature.get(one.note.letter, 0)):
                    shown[one.at] = "plain"
                elif one.place not in seen and len(heard[melody and not one.staff, one.note.letter]) > 1:
                    shown[one.at] = "plain"
                elif one.place not in seen and before.get(one.place, alteration) != alteration:
                    shown[one.at] = "courtesy"
                holds[one.place] = seen[one.place] = alteration
        before = seen
        yield shown


def _in_time(bar: Bar) -> list[_Written]:
    found = [
        _Written(sound.start, (staff, index, at), staff, note, octave_of(note, key), sound.tied)
        for staff, sounds in enumerate(bar.staves)
        for index, sound in enumerate(sounds)
        for at, (note, key) in enumerate(zip(sound.notes, sound.keys, strict=True))
    ]
    return sorted(found, key=lambda one: (one.start, one.at))
