"""Lessons as lead sheets: melody, chord symbols, and every voicing written out in the rhythm of the lesson.

A chart or a form is the lesson that its default rule makes of it (`drills.lesson_of`). Repeats and endings are printed
where each pass is played alike; else the form is written out as it is played. The top note of a chord that is voiced
under the melody stands with the melody alone. An approach has a symbol of its own. Degrees stand where a chord begins.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from typing import Final

from trainer.charts import Bar as ChartBar
from trainer.charts import Chart, Key, Meter, PlayedBar
from trainer.charts.score_writing import ending_brackets, repeat_openings
from trainer.chords import Chord
from trainer.drills import Lesson, LessonChord
from trainer.drills.lesson_chords import BASS
from trainer.drills.rules import MELODY
from trainer.pitch import pretty
from trainer.sheets.from_sets import Choices, in_hands, on_staves, sound_of
from trainer.sheets.scores import Bar, Block, Clef, Sheet, Sound, fitting_clef
from trainer.voicings import Placement

BARS_ON_A_LINE: Final = 4
_ONE: Final = Fraction(1)


def of_lessons(lessons: Sequence[Lesson], choices: Choices | None = None) -> Sheet:
    """One lesson in one key or in several, a block for each key, under the title of the first.

    Raises `LeadingError` where a chord has no voicing, and `ChartError`.
    """
    choices = choices or Choices()
    several = len(lessons) > 1
    blocks = [_block(lesson, choices, _key_heading(lesson.chart.key) if several else "") for lesson in lessons]
    return Sheet(lessons[0].title, tuple(blocks))


def _key_heading(key: Key) -> str:
    return f"In {pretty(key.root.name)} {'minor' if key.minor else 'major'}"


@dataclass(frozen=True, slots=True)
class _Struck:
    """What is struck, in quarters from the first full bar's beginning, on the staves of the piano from the top."""

    start: Fraction
    end: Fraction
    staves: tuple[Sound | None, ...]


def _block(lesson: Lesson, choices: Choices, heading: str) -> Block:
    chart = lesson.chart
    melody = any(bar.melody for bar in chart.bars)
    clefs, struck = _hands(lesson, choices, melody)
    hands = [_one_after_another(struck, staff) for staff in range(len(clefs))]
    bars = [_bar(lesson, played, _next(chart.played, at), hands, melody) for at, played in enumerate(chart.played)]
    bars = _as_written(chart, bars) or _as_played(chart, bars)
    staves: tuple[Clef, ...] = (_melody_clef(bars), *clefs) if melody else clefs
    return Block(heading, staves, tuple(_lines(bars)), melody=melody, key=chart.key)


def _next(played: Sequence[PlayedBar], at: int) -> PlayedBar | None:
    return played[at + 1] if at + 1 < len(played) else None


def _melody_clef(bars: Iterable[Bar]) -> Clef:
    return fitting_clef([sound for bar in bars for sound in bar.staves[0]])


# ---------------------------------------------------------------- what the hands play


def _hands(lesson: Lesson, choices: Choices, melody: bool) -> tuple[tuple[Clef, ...], list[_Struck]]:
    quarters = Fraction(4, lesson.chart.bars[0].meter.unit)
    has_bass = any(stroke.part == BASS for one in lesson.form for stroke in one.strokes)
    chords = {id(one): _without_melody(one, melody) for one in lesson.form}
    clefs = in_hands((each for each in chords.values() if each is not None), choices.clef)
    if has_bass:
        shown = [sound_of(each, choices) for each in chords.values() if each is not None]
        clefs = (fitting_clef(shown), "bass")
    struck: list[_Struck] = []
    for one in lesson.form:
        told = False
        for stroke in one.strokes:
            start, end = stroke.start_beats * quarters, (stroke.start_beats + stroke.beats) * quarters
            staves: tuple[Sound | None, ...]
            if stroke.part == BASS:
                staves = (*([None] * (len(clefs) - 1)), sound_of(stroke.target.placement, Choices(degrees=False)))
            else:
                placement = chords[id(one)]
                if placement is None:
                    continue
                sound = sound_of(placement, Choices(degrees=choices.degrees and not told))
                told = True
                staves = (sound, None) if has_bass else on_staves(sound, placement, clefs)
            struck.append(_Struck(start, end, staves))
    return clefs, struck


def _without_melody(one: LessonChord, melody: bool) -> Placement | None:
    """A chord's voicing, without its top note where that is the melody's; None where nothing is left."""
    placement = one.target.placement
    if not melody or one.manner.top != MELODY or one.approach:
        return placement
    count = len(placement.notes) - 1
    if not count:
        return None
    recipe = placement.recipe
    optional = frozenset(at for at in recipe.optional if at < count)
    split = placement.split if placement.split is not None and placement.split < count else None
    hand = "left" if split is None and placement.split is not None else recipe.hand
    recipe = replace(recipe, degrees=recipe.degrees[:count], optional=optional, split=split, hand=hand)
    return replace(placement, recipe=recipe, notes=placement.notes[:count], keys=placement.keys[:count], split=split)


# ---------------------------------------------------------------- bars


def _bar(
    lesson: Lesson,
    played: PlayedBar,
    following: PlayedBar | None,
    hands: Sequence[Sequence[_OnStaff]],
    melody: bool,
) -> Bar:
    chart = lesson.chart
    written = chart.bars[played.written]
    beat = Fraction(4, chart.bars[0].meter.unit)
    start, length = played.start_beats * beat, played.beats * beat
    staves: list[tuple[Sound, ...]] = []
    holds: list[bool] = []
    if melody:
        after = chart.bars[following.written].melody if following is not None else ()
        staves.append(_filled(_sung(written), length))
        holds.append(bool(after) and after[0].tied and after[0].beat == _ONE and bool(written.melody))
    for of_staff in hands:
        sounds, held = _cut(of_staff, start, length)
        staves.append(_filled(sounds, length))
        holds.append(held)
    return Bar(tuple(staves), _symbols(lesson, played, written), length, holds_on=tuple(holds), number=played.number)


def _sung(written: ChartBar) -> list[Sound]:
    beat = Fraction(4, written.meter.unit)
    return [
        Sound((note.beat - 1) * beat, note.beats * beat, (note.note,), (note.key,), tied=note.tied)
        for note in written.melody
    ]


_OnStaff = tuple[Fraction, Fraction, Sound]
"""Start, end and what is struck."""


def _one_after_another(struck: Sequence[_Struck], staff: int) -> list[_OnStaff]:
    """What is struck on one staff in order of time, none of it longer than until the next."""
    found = [(one.start, one.end, sound) for one in struck if (sound := one.staves[staff]) is not None and sound.notes]
    found.sort(key=lambda each: each[0])
    starts = [start for start, _, _ in found[1:]]
    return [
        (start, min(end, starts[at]) if at < len(starts) else end, sound)
        for at, (start, end, sound) in enumerate(found)
    ]


def _cut(struck: Sequence[_OnStaff], start: Fraction, length: Fraction) -> tuple[list[Sound], bool]:
    """What sounds in a bar, and whether the last of it is held into the next bar."""
    found: list[Sound] = []
    held = False
    first_at = max(0, bisect_left(struck, start, key=lambda each: each[0]) - 1)
    for first, last, sound in islice(struck, first_at, None):
        if first >= start + length:
            break
        lower, upper = max(first, start), min(last, start + length)
        if lower >= upper:
            continue
        held = last > start + length
        tied = first < start
        degrees = () if tied else sound.degrees
        found.append(replace(sound, start=lower - start, quarters=upper - lower, tied=tied, degrees=degrees))
    return found, held


def _filled(sounds: Sequence[Sound], length: Fraction) -> tuple[Sound, ...]:
    """Sounds with rests between them."""
    found: list[Sound] = []
    at = Fraction(0)
    for sound in sounds:
        if sound.start > at:
            found.append(Sound(at, sound.start - at))
        found.append(sound)
        at = sound.start + sound.quarters
    if at < length:
        found.append(Sound(at, length - at))
    return tuple(found)


def _symbols(lesson: Lesson, played: PlayedBar, written: ChartBar) -> tuple[tuple[Fraction, Chord], ...]:
    beat = Fraction(4, written.meter.unit)
    found = [] if written.sign else [((one.beat - 1) * beat, one.chord) for one in written.chords]
    scale = Fraction(4, lesson.chart.bars[0].meter.unit)
    end = played.start_beats + played.beats
    found += [
        ((one.start_beats - played.start_beats) * scale, one.chord)
        for one in lesson.form
        if one.approach and played.start_beats <= one.start_beats < end
    ]
    # Where an approach sounds in a bar without a chord, its symbol takes the place of N.C.
    taken = {start for start, chord in found if chord.root is not None}
    found = [(start, chord) for start, chord in found if chord.root is not None or start not in taken]
    return tuple(sorted(found, key=lambda pair: pair[0]))


# ---------------------------------------------------------------- order and lines


def _as_written(chart: Chart, bars: Sequence[Bar]) -> list[Bar] | None:
    """The written bars with their repeats, where every pass is played alike; None where one is not."""
    if chart.form or len({played.written for played in chart.played}) != len(chart.bars):
        return None
    found: dict[int, Bar] = {}
    for played, bar in zip(chart.played, bars, strict=True):
        plain = replace(bar, number=0)
        if found.setdefault(played.written, plain) != plain:
            return None
    ends = ending_brackets(chart.bars)
    openings = repeat_openings(chart.bars, bool(chart.pickup_beats), ends)
    first = 0 if chart.pickup_beats else 1
    order = range(len(chart.bars))
    last_of = _last_of(chart.bars, ends)
    return [
        replace(
            _marked(chart, found[at], at, at - 1 if at else None),
            opens=chart.bars[at].opens or at in openings,
            closes=chart.bars[at].closes,
            endings=chart.bars[at].endings,
            last_of=last_of.get(at, ()),
            letter=chart.bars[at].letter,
            number=first + at,
        )
        for at in order
    ]


def _last_of(bars: Sequence[ChartBar], ends: Iterable[int]) -> dict[int, tuple[int, ...]]:
    """The bars at which an ending's bracket ends, with the passes it is for."""
    found = {}
    begun: tuple[int, ...] = ()
    ending = set(ends)
    for at, bar in enumerate(bars):
        begun = bar.endings or begun
        if at in ending:
            found[at] = begun
    return found


def _as_played(chart: Chart, bars: Sequence[Bar]) -> list[Bar]:
    """Every bar as it is played; a letter stands where its section begins."""
    found = []
    before: int | None = None
    for played, bar in zip(chart.played, bars, strict=True):
        marked = _marked(chart, bar, played.written, before)
        found.append(replace(marked, letter=chart.bars[played.written].letter))
        before = played.written
    return found


def _marked(chart: Chart, bar: Bar, written: int, before: int | None) -> Bar:
    """A bar with its time and key where they differ from those of the bar before."""
    meter: Meter = chart.bars[written].meter
    key = chart.keys[written]
    if before is None:
        return replace(bar, meter=meter, key=key if key != chart.key else None)
    new_meter = meter if meter != chart.bars[before].meter else None
    return replace(bar, meter=new_meter, key=key if key != chart.keys[before] else None)


def _lines(bars: Sequence[Bar]) -> list[Bar]:
    """Four bars a line, a new line at each section; a pick-up is not counted."""
    found = []
    count = 0
    for at, bar in enumerate(bars):
        starts = at > 0 and bool(count) and (bool(bar.letter) or count >= BARS_ON_A_LINE)
        count = 1 if starts else count + (bar.number > 0 or at > 0)
        found.append(replace(bar, starts_line=starts))
    return found
