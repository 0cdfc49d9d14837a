"""Notes in beats, and the same as MIDI messages in time.

Source: MIDI 1.0 (note on 9n, note off 8n, channels counted from 0 here).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import Final

from trainer.timing import Grid

QUIET: Final = 48
"""Velocity of an unaccented note unless asked otherwise: piano to mezzo piano on most instruments."""
TONES: Final = 0
"""The channel of everything that has a pitch: MIDI channel 1."""
BETWEEN_NS: Final = 10_000_000
"""Silence before the same key is struck again: 10 ms, so that the end of one note is never taken for the next one's."""
SHORTEST_NS: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class SoundNote:
    """A note to be sounded: `key` (0-127) from `start_beats` for `beats` (over 0), `velocity` 1-127, `channel` 0-15.

    Raises ValueError for a value that MIDI has no place for.
    """

    start_beats: Fraction
    beats: Fraction
    key: int
    velocity: int = QUIET
    channel: int = TONES

    def __post_init__(self) -> None:
        if not (0 <= self.key <= 127 and 1 <= self.velocity <= 127 and 0 <= self.channel <= 15 and self.beats > 0):
            raise ValueError(f"no note that MIDI can sound: {self}")

    @property
    def end_beats(self) -> Fraction:
        return self.start_beats + self.beats


@dataclass(frozen=True, slots=True)
class Cue:
    """One MIDI message and its moment on a monotonic clock."""

    time_ns: int
    message: tuple[int, ...]


def first_beat(notes: Iterable[SoundNote]) -> Fraction:
    """Where the first note begins; 0 where there is none."""
    return min((note.start_beats for note in notes), default=Fraction(0))


def last_beat(notes: Iterable[SoundNote]) -> Fraction:
    """Where the last note ends; 0 where there is none."""
    return max((note.end_beats for note in notes), default=Fraction(0))


def cues(notes: Iterable[SoundNote], grid: Grid) -> tuple[Cue, ...]:
    """The messages of some notes in order of time; of one moment, ends stand before beginnings.

    Each note-on has its own note-off on the same key and channel, before that key is struck again: a note that would
    last into it ends `BETWEEN_NS` before (half-way where they are nearer than that). Of notes that begin on one key at
    the same moment, the loudest and the longest make one.

    >>> from fractions import Fraction
    >>> [(cue.time_ns // 1_000_000, *cue.message) for cue in cues(
    ...     [SoundNote(Fraction(0), Fraction(2), 60), SoundNote(Fraction(1), Fraction(1), 60)], Grid(60))]
    [(0, 144, 60, 48), (990, 128, 60, 0), (1000, 144, 60, 48), (2000, 128, 60, 0)]
    """
    timed = sorted(
        (note.channel, note.key, grid.time_ns(note.start_beats), grid.time_ns(note.end_beats), note.velocity)
        for note in notes
    )
    found: list[Cue] = []
    for (channel, key), one_key in groupby(timed, lambda each: each[:2]):
        struck: list[list[int]] = []  # start, end, velocity
        for _, _, start, end, velocity in one_key:
            if struck and struck[-1][0] == start:
                struck[-1][1:] = [max(struck[-1][1], end), max(struck[-1][2], velocity)]
            else:
                struck.append([start, end, velocity])
        for index, (start, end, velocity) in enumerate(struck):
            end = max(end, start + SHORTEST_NS)
            if index + 1 < len(struck):
                following = struck[index + 1][0]
                end = min(end, following - min(BETWEEN_NS, (following - start + 1) // 2))
            found.append(Cue(start, (0x90 | channel, key, velocity)))
            found.append(Cue(end, (0x80 | channel, key, 0)))
    found.sort(key=lambda cue: (cue.time_ns, cue.message[0] & 0xF0, cue.message))
    return tuple(found)


def accented(velocity: int, step: int) -> int:
    """A velocity by so many steps of loudness above or below, within MIDI's.

    >>> accented(48, 2), accented(120, 1), accented(4, -1)
    (72, 127, 1)
    """
    return max(1, min(127, velocity + 12 * step))
