"""Voicings in the rhythm of a form, the melody, and what was played beside what was asked.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trainer.accompaniment.bass import LOWEST_KEY
from trainer.accompaniment.notes import QUIET, SoundNote
from trainer.charts import Chart
from trainer.pitch import Note
from trainer.timing import Slot

_ROOT_BELOW: Final = 7
"""A root is sounded at least a fifth below the voicing, so that it is heard as its bass and not as one of its notes."""

_PLAYED_BEATS: Final = Fraction(2)
_REST_BEATS: Final = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Chord:
    """Keys that sound together from `start_beats` for `beats`."""

    start_beats: Fraction
    beats: Fraction
    keys: tuple[int, ...]


def slot_chords(slots: Iterable[Slot]) -> tuple[Chord, ...]:
    """What the slots of a form ask for, as written."""
    return tuple(Chord(slot.start_beats, slot.beats, tuple(slot.target.keys)) for slot in slots)


def voiced(chords: Iterable[Chord], velocity: int = QUIET) -> tuple[SoundNote, ...]:
    """The notes of some chords."""
    return tuple(SoundNote(one.start_beats, one.beats, key, velocity) for one in chords for key in one.keys)


def melody(chart: Chart, velocity: int = QUIET, *, pickup: bool = True) -> tuple[SoundNote, ...]:
    """The melody of a chart as it is played; a note that is tied to the one before prolongs it."""
    found: list[SoundNote] = []
    for played in chart.played:
        if played.number == 0 and not pickup:
            continue
        for note in chart.bars[played.written].melody:
            start = played.start_beats + note.beat - 1
            if note.tied and found and found[-1].key == note.key and found[-1].end_beats == start:
                before = found.pop()
                found.append(SoundNote(before.start_beats, before.beats + note.beats, before.key, velocity))
            else:
                found.append(SoundNote(start, note.beats, note.key, velocity))
    return tuple(found)


def root_below(keys: Sequence[int], root: Note) -> int | None:
    """The key of a root at least a fifth below a voicing; None where that lies under the lowest string of a bass.

    >>> root_below((51, 55, 58, 62), Note.parse("C"))
    36
    """
    key = min(keys) - _ROOT_BELOW
    key -= (key - root.pitch_class) % 12
    return key if key >= LOWEST_KEY else None


def held_chord(
    keys: Iterable[int], root: int | None = None, *, beats: Fraction | int = 2, velocity: int = QUIET
) -> tuple[SoundNote, ...]:
    """A voicing by itself, struck at beat 0, over its root where one is given."""
    every = sorted({*keys, *(() if root is None else (root,))})
    return tuple(SoundNote(Fraction(0), Fraction(beats), key, velocity) for key in every)


def heard_beside(
    played: Iterable[int], asked: Iterable[int], root: int | None = None, *, velocity: int = QUIET
) -> tuple[SoundNote, ...]:
    """What was played, and after a breath what was asked, both over the same root where one is given.

    >>> [(float(note.start_beats), note.key) for note in heard_beside((60, 63), (60, 64))]
    [(0.0, 60), (0.0, 63), (2.5, 60), (2.5, 64)]
    """
    first = held_chord(played, root, beats=_PLAYED_BEATS, velocity=velocity)
    start = _PLAYED_BEATS + _REST_BEATS if first else Fraction(0)
    second = held_chord(asked, root, beats=_PLAYED_BEATS, velocity=velocity)
    return (*first, *(SoundNote(start, note.beats, note.key, note.velocity) for note in second))
