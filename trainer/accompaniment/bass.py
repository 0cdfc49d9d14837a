"""The bass: the root of each chord, or a walking line by rule.

A walking line steps on the beats (in eighths and shorter, on the first of each group of the meter). The rule:

- Where a chord comes in stands its root, or the bass note after a slash: the key nearest to the one before, leaning to
  the middle of the register; where the same chord goes on, the root in its other octave.
- On the last beat before the next chord stands a half step below or above the key that it begins with.
- Between them stand chord tones (1, 3, 5, 6 or 7; of a suspended chord 2 or 4 for the third), fifths and thirds rather
  than others on strong beats: the line that moves least, with few turns, and no key struck twice in a row.
- The last chord, with nothing after it, and a chord before silence (N.C.) hold their root.

The register is that of a four-string double bass, from E1 to Eb3, where every root has two places.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf
from typing import Final

from trainer.accompaniment.clicks import groups
from trainer.accompaniment.notes import QUIET, SoundNote
from trainer.charts import Chart, Meter
from trainer.chords import Chord
from trainer.pitch import Degree

LOWEST_KEY: Final = 28
HIGHEST_KEY: Final = 51
_MIDDLE_KEY: Final = 38
_LEAN: Final = 0.5
"""How much a semitone away from the middle weighs beside one of motion, where a root's octave is chosen."""

_TONE_NUMBERS: Final = frozenset({1, 3, 5, 6, 7})
_TURN: Final = 2.0
_BACK: Final = 3.0
_REPEAT: Final = 12.0
_LEAP: Final = 4.0
_LARGEST_STEP: Final = 7
_ON_STRONG: Final = {5: 0.0, 3: 0.0, 1: 2.0}
_OTHER_ON_STRONG: Final = 1.0
_OTHER_ON_WEAK: Final = 0.5
"""What a tone costs by its degree; on weak beats, too, a fifth or third stands rather than another."""


@dataclass(frozen=True, slots=True)
class BassChord:
    """A chord as a bass player reads it: `steps` are the beats that a walking line falls on, the first where the chord
    comes in; `strong` are those of them that begin a half or a group of the bar."""

    start_beats: Fraction
    beats: Fraction
    chord: Chord
    steps: tuple[Fraction, ...]
    strong: frozenset[Fraction]

    @property
    def end_beats(self) -> Fraction:
        return self.start_beats + self.beats

    def later(self, beats: Fraction) -> BassChord:
        """The same so many beats later, as in a form that comes round again."""
        return replace(
            self,
            start_beats=self.start_beats + beats,
            steps=tuple(step + beats for step in self.steps),
            strong=frozenset(step + beats for step in self.strong),
        )


def bass_chords(chart: Chart, *, pickup: bool = True) -> tuple[BassChord, ...]:
    """The chords of a chart as they are played, N.C. among them. Raises `ChartError` as `Chart.played`."""
    found = []
    bar_starts = {bar.number: bar for bar in chart.played}
    for one in chart.unrolled(pickup=pickup):
        bar = bar_starts[one.bar]
        meter = chart.bars[bar.written].meter
        # Of a pick-up, the beats are those at the end of a whole bar.
        begins = bar.start_beats - (meter.beats - bar.beats if bar.number == 0 else 0)
        beats, strong = _pulse(meter)
        end = one.start_beats + one.beats
        steps = [one.start_beats, *(begins + beat for beat in beats if one.start_beats < begins + beat < end)]
        found.append(
            BassChord(one.start_beats, one.beats, one.chord, tuple(steps), frozenset(begins + beat for beat in strong))
        )
    return tuple(found)


def _pulse(meter: Meter) -> tuple[list[int], list[int]]:
    """The beats of a bar (from 0) on which a bass steps, and the strong ones of them."""
    starts, beat = [], 0
    for size in groups(meter):
        starts.append(beat)
        beat += size
    if meter.unit >= 8:
        return starts, starts[:1]
    halves = [start + half for start, size in zip(starts, groups(meter), strict=True) for half in range(0, size, 2)]
    return list(range(meter.beats)), halves


def roots(chords: Sequence[BassChord], velocity: int = QUIET) -> tuple[SoundNote, ...]:
    """The root of each chord (or its slash bass) from where it comes in until the next one."""
    return tuple(
        SoundNote(one.start_beats, one.beats, key, velocity)
        for one, key in zip(chords, _places(chords), strict=True)
        if key is not None
    )


def _bass_class(chord: Chord) -> int | None:
    note = chord.bass or chord.root
    return None if note is None else note.pitch_class


def _places(chords: Sequence[BassChord]) -> list[int | None]:
    """The key that each chord begins with; None for N.C."""
    found: list[int | None] = []
    before: int | None = None
    for one in chords:
        place = _bass_class(one.chord)
        if place is None:
            found.append(None)
            continue
        keys = [key for key in range(LOWEST_KEY, HIGHEST_KEY + 1) if key % 12 == place]
        if before is None:
            before = keys[0]
        elif before % 12 == place:
            before = next(key for key in keys if key != before)
        else:
            last = before
            before = min(keys, key=lambda key: (abs(key - last) + _LEAN * abs(key - _MIDDLE_KEY), key))
        found.append(before)
    return found


def walking(chords: Sequence[BassChord], velocity: int = QUIET, *, loop: bool = False) -> tuple[SoundNote, ...]:
    """A walking line by the rule of the module's head; with `loop` the last chord leads into the first.

    >>> from trainer.charts import form_chart
    >>> line = walking(bass_chords(form_chart("ii-V-I")))
    >>> [note.key for note in line]  # D F A Ab | G F D Db | C E G B | C
    [38, 41, 45, 44, 43, 41, 38, 37, 36, 40, 43, 47, 48]
    """
    places = _places(chords)
    found = []
    for index, (one, key) in enumerate(zip(chords, places, strict=True)):
        if key is None:
            continue
        following: int | None = None
        if index + 1 < len(chords):
            following = places[index + 1]
        elif loop:
            following = places[0]
        steps = one.steps
        if following is None or len(steps) == 1:
            found.append(SoundNote(one.start_beats, one.beats, key, velocity))
            continue
        strong = [step in one.strong for step in steps[1:-1]]
        ends = [*steps[1:], one.end_beats]
        for start, end, each in zip(steps, ends, _line(one.chord, key, following, strong), strict=True):
            found.append(SoundNote(start, end - start, each, velocity))
    return tuple(found)


def _tones(chord: Chord) -> dict[int, int]:
    """Pitch class -> number of the degree, of the tones that a line may step on."""
    quality, root = chord.quality, chord.root
    assert root is not None
    wanted = [degree for degree in quality.degrees if degree.number in _TONE_NUMBERS]
    if quality.third is None:
        wanted += [degree for degree in quality.degrees if degree.number in (2, 4)]
    if quality.fifth is None:
        # A chord of nothing but root and third, or an altered one, is stepped through on what it has.
        wanted += [degree for degree in quality.degrees if degree in (Degree(5, -1), Degree(13, -1))]
    found: dict[int, int] = {}
    for degree in wanted:
        found.setdefault((root + degree).pitch_class, degree.number)
    return found


def _line(chord: Chord, first: int, following: int, strong: Sequence[bool]) -> list[int]:
    """The keys from `first` over a chord tone for each of `strong` to a half step beside `following`."""
    tones = _tones(chord)
    candidates = [key for key in range(LOWEST_KEY, HIGHEST_KEY + 1) if key % 12 in tones and abs(key - first) <= 12]
    # (key before, key) -> cost of the cheapest line that ends so, and the line
    lines: dict[tuple[int | None, int], tuple[float, list[int]]] = {(None, first): (0.0, [first])}
    for is_strong in strong:
        longer: dict[tuple[int | None, int], tuple[float, list[int]]] = {}
        for key in candidates:
            degree = tones[key % 12]
            if is_strong:
                here = _ON_STRONG.get(degree, _OTHER_ON_STRONG)
            else:
                here = 0.0 if degree in (3, 5) else _OTHER_ON_WEAK
            for (before, last), (cost, line) in lines.items():
                whole = cost + here + _step_cost(before, last, key)
                if whole < longer.get((last, key), (inf, line))[0]:
                    longer[last, key] = (whole, [*line, key])
        lines = longer
    return min(_endings(lines, following), key=lambda each: each[0])[1]


def _endings(
    lines: dict[tuple[int | None, int], tuple[float, list[int]]], following: int
) -> Iterator[tuple[float, list[int]]]:
    for approach in (following - 1, following + 1):
        if LOWEST_KEY <= approach <= HIGHEST_KEY:
            for (before, last), (cost, line) in lines.items():
                yield (
                    cost + _step_cost(before, last, approach) + _step_cost(last, approach, following),
                    [*line, approach],
                )


def _step_cost(before: int | None, last: int, key: int) -> float:
    step = key - last
    cost = float(abs(step))
    if not step:
        cost += _REPEAT
    if abs(step) > _LARGEST_STEP:
        cost += _LEAP
    if before is not None:
        if key == before:
            cost += _BACK
        if (last - before) * step < 0:
            cost += _TURN
    return cost
