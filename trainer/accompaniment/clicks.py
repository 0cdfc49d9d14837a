"""The click and the count-in, by meter.

Accents go by the groups of a meter (`groups`): the first beat of a bar is loudest, the first of each further group
next. The sounds are General MIDI percussion keys on channel 10.

Source: General MIDI System Level 1, percussion map (76 high wood block, 77 low wood block, 51 ride cymbal, 44 pedal
hi-hat); groups and patterns: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Final

from trainer.accompaniment.notes import QUIET, SoundNote, accented
from trainer.capture import PERCUSSION_CHANNEL
from trainer.charts import Chart, Meter

HIGH_BLOCK: Final = 76
LOW_BLOCK: Final = 77
RIDE: Final = 51
PEDAL_HAT: Final = 44

_GROUPS: Final = {
    (5, 4): (3, 2),
    (5, 8): (3, 2),
    (7, 4): (4, 3),
    (7, 8): (2, 2, 3),
    (8, 8): (3, 3, 2),
    (10, 8): (3, 3, 2, 2),
    (11, 8): (3, 3, 3, 2),
}
_LENGTH: Final = Fraction(1, 4)
"""A click's length in beats; the instruments of percussion do not need more."""

CLICKS: Final = {
    "beats": "every beat",
    "two and four": "the second and the fourth beat of four (of another meter, every beat but the first of a group)",
    "one": "the first beat of each bar",
    "ride": "a ride cymbal in swing eighths with the hi-hat on two and four (in quarters only; else every beat)",
}
"""The kinds of click by name, and what each sounds."""


def groups(meter: Meter) -> tuple[int, ...]:
    """How the beats of a bar fall into groups; a compound meter goes in threes.

    >>> groups(Meter(4, 4)), groups(Meter(6, 8)), groups(Meter(5, 4)), groups(Meter(3, 8)), groups(Meter(6, 4))
    ((4,), (3, 3), (3, 2), (3,), (3, 3))
    """
    known = _GROUPS.get((meter.beats, meter.unit))
    if known is not None:
        return known
    if meter.beats <= 4:
        return (meter.beats,)
    if meter.beats % 3 == 0:
        return (3,) * (meter.beats // 3)
    if meter.beats % 4 == 0:
        return (4,) * (meter.beats // 4)
    pairs = 1 if meter.beats % 3 == 2 else 2
    return (3,) * ((meter.beats - 2 * pairs) // 3) + (2,) * pairs


@dataclass(frozen=True, slots=True)
class BarAt:
    """A bar where it falls. One shorter than its meter is a pick-up and counts as the end of a bar."""

    start_beats: Fraction
    meter: Meter
    beats: Fraction

    @property
    def first(self) -> Fraction:
        """The place in the meter (from 0) that it begins on."""
        return self.meter.beats - self.beats if self.is_pickup else Fraction(0)

    @property
    def whole_beats(self) -> range:
        """The beats of the meter (from 0) that fall in it."""
        return range(ceil(self.first), ceil(self.first + self.beats))

    @property
    def is_pickup(self) -> bool:
        return self.start_beats < 0 and self.beats < self.meter.beats


def even_bars(meter: Meter, count: int, start_beats: Fraction | int = 0) -> tuple[BarAt, ...]:
    """So many whole bars of one meter."""
    start, beats = Fraction(start_beats), Fraction(meter.beats)
    return tuple(BarAt(start + number * beats, meter, beats) for number in range(count))


def bars_of(chart: Chart, *, pickup: bool = True) -> tuple[BarAt, ...]:
    """The bars of a chart as they are played. Raises `ChartError` as `Chart.played`."""
    return tuple(
        BarAt(bar.start_beats, chart.bars[bar.written].meter, bar.beats)
        for bar in chart.played
        if pickup or bar.number != 0
    )


def click(bars: Iterable[BarAt], kind: str = "beats", velocity: int = QUIET) -> tuple[SoundNote, ...]:
    """The click of some bars, of a kind of `CLICKS` (KeyError for another).

    >>> [(float(note.start_beats), note.key, note.velocity) for note in click(even_bars(Meter(3, 4), 1))]
    [(0.0, 76, 72), (1.0, 77, 48), (2.0, 77, 48)]
    """
    sound = _KINDS[kind]
    return tuple(note for bar in bars for note in sound(bar, velocity))


def _starts(meter: Meter) -> tuple[int, ...]:
    """The first beat of each group, from 0."""
    starts, beat = [], 0
    for size in groups(meter):
        starts.append(beat)
        beat += size
    return tuple(starts)


def _on(bar: BarAt, beat: Fraction | int, key: int, velocity: int) -> SoundNote:
    return SoundNote(bar.start_beats + beat - bar.first, _LENGTH, key, velocity, PERCUSSION_CHANNEL)


def _block(bar: BarAt, beat: int, velocity: int) -> SoundNote:
    """The wood block of a beat of the meter, accented as it stands in the bar."""
    if beat == 0:
        return _on(bar, beat, HIGH_BLOCK, accented(velocity, 2))
    return _on(bar, beat, LOW_BLOCK, accented(velocity, 1 if beat in _starts(bar.meter) else 0))


def _every_beat(bar: BarAt, velocity: int) -> list[SoundNote]:
    return [_block(bar, beat, velocity) for beat in bar.whole_beats]


def _two_and_four(bar: BarAt, velocity: int) -> list[SoundNote]:
    if bar.meter.beats == 4:
        return [_on(bar, beat, LOW_BLOCK, velocity) for beat in bar.whole_beats if beat % 2]
    return [_on(bar, beat, LOW_BLOCK, velocity) for beat in bar.whole_beats if beat not in _starts(bar.meter)]


def _one(bar: BarAt, velocity: int) -> list[SoundNote]:
    return [_block(bar, beat, velocity) for beat in bar.whole_beats if beat == 0]


def _ride(bar: BarAt, velocity: int) -> list[SoundNote]:
    if bar.meter.unit != 4:
        return _every_beat(bar, velocity)
    found = []
    for beat in bar.whole_beats:
        found.append(_on(bar, beat, RIDE, accented(velocity, 0 if beat % 2 else -1)))
        if beat % 2:
            found.append(_on(bar, beat, PEDAL_HAT, velocity))
            found.append(_on(bar, beat + Fraction(1, 2), RIDE, accented(velocity, -1)))
    return found


_KINDS: Final = {"beats": _every_beat, "two and four": _two_and_four, "one": _one, "ride": _ride}


def count_in(
    meter: Meter,
    bars: int = 1,
    pickup_beats: Fraction | int = 0,
    velocity: int = QUIET,
    start_beats: Fraction | int = 0,
) -> tuple[SoundNote, ...]:
    """The beats counted before `start_beats` (the first full bar), by the wood block, accented as the meter is.

    `bars` whole bars, then what is left of the pick-up's own bar: with a pick-up of one beat of four, one bar is
    counted and three beats more, and the player comes in on the fourth. Of two bars or more, all but the last whole one
    are counted by half: 1 and 3 of four, the first of each group of another meter.

    >>> [float(note.start_beats) for note in count_in(Meter(4, 4), 1, pickup_beats=1)]
    [-8.0, -7.0, -6.0, -5.0, -4.0, -3.0, -2.0]
    >>> [float(note.start_beats) for note in count_in(Meter(4, 4), 2)]
    [-8.0, -6.0, -4.0, -3.0, -2.0, -1.0]
    """
    whole_ends = Fraction(start_beats) - (meter.beats if pickup_beats else 0)
    found: list[SoundNote] = []
    for bar in even_bars(meter, bars, whole_ends - bars * meter.beats):
        beats: Sequence[int] = range(meter.beats)
        if bar.start_beats + meter.beats < whole_ends:
            beats = (0, 2) if meter.beats == 4 else _starts(meter)
        found += [_block(bar, beat, velocity) for beat in beats]
    if pickup_beats:
        (bar,) = even_bars(meter, 1, whole_ends)
        found += [_block(bar, beat, velocity) for beat in range(ceil(meter.beats - pickup_beats))]
    return tuple(found)
