"""Lessons: a chart and rules for playing it; everything else follows from the two.

    lesson.form          each chord as it is played: when, how it is voiced, in which rhythm
    lesson.slots()       what is to be played when, for playing in time
    lesson.voicings()    the distinct voicings with every place of each; `drill_set` drills them in twelve keys
    lesson.moves()       the distinct moves from one voicing to the next; `moves_set` drills them in twelve keys

Each chord is voiced in one of the voicings that its rules allow (`leading.DEFAULT_VOICINGS` where none says), the whole
form by the cheapest path (see `trainer.leading`), a repeating form as a loop; a rule's `bottom` leaves no choice. An
approach shell lies as near as can be to the chord that it leads into, and is no part of the path: above, it is the
dominant's, below, the chord's own kind a half step lower (a dominant's where the chord has no seventh). It sounds on
its count, by default a beat before the chord, in place of the chord before; where the form has no such beat it is left
out. What anticipates a chord sounds in place of the chord before, too; the first chord of a form or section is not
anticipated but played where it begins.

Beats are those of `trainer.charts`; a pick-up's beats are told as they are counted (the one beat of a pick-up is 4).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Final

from trainer.charts import Chart, FormChord, PlayedBar, transposed, twelve_keys
from trainer.chords import Chord
from trainer.drills.lesson_chords import (
    APPROACH_NAMES,
    BASS,
    LessonChord,
    LessonMove,
    LessonVoicing,
    Stroke,
    approach_target,
    bass_target,
    move_text,
)
from trainer.drills.lesson_drills import bare, move_drill, voicing_drill
from trainer.drills.rhythm import Frame, Hit, moments
from trainer.drills.rules import MELODY, Facts, Manner, Rule, key_shift, manner_of
from trainer.drills.values import TITLE_LETTERS, Drill, DrillSet, register_of
from trainer.grading import Target
from trainer.leading import Candidates, LeadingError, candidates, lead, motion
from trainer.leading import Slot as LeadingSlot
from trainer.pitch import Note
from trainer.timing import Slot
from trainer.voicings import (
    Placement,
    Recipe,
    VoicingRow,
)

APPROACH_BEATS: Final = Fraction(1)
"""How long before its chord an approach comes where its rhythm does not say."""


@dataclass(frozen=True)
class Lesson:
    """A chart and its rules. `repeats`: the form is played round and round. `rows` are voicings of the teacher's own.

    `origin` says where the chart comes from, for writing the lesson: ``("chart", "")`` from the lesson itself,
    ``("chart_file", name)`` from a file beside it, ``("form", name)`` from the table of forms.
    """

    title: str
    chart: Chart
    rules: tuple[Rule, ...] = ()
    about: str = ""
    repeats: bool = True
    rows: tuple[VoicingRow, ...] = ()
    origin: tuple[str, str] = ("chart", "")

    # -- keys

    def in_key(self, root: Note) -> Lesson:
        """The same in another key of the same mode; bottom keys move as the melody does, by the nearer way."""
        if root == self.chart.key.root:
            return self
        semitones = key_shift(self.chart.key.root, root)
        rules = tuple(rule.raised(semitones) for rule in self.rules)
        return replace(self, chart=transposed(self.chart, root), rules=rules)

    def in_twelve_keys(self) -> tuple[Lesson, ...]:
        """In all twelve keys of its mode, in the cycle of fourths."""
        return tuple(self.in_key(key.root) for key in twelve_keys(self.chart.key.minor))

    # -- the form

    @cached_property
    def sections(self) -> tuple[str, ...]:
        """Every pass of a section in the order played: ``A``, ``A2``, ``B``, ``A3``. () where the chart has none."""
        return tuple(dict.fromkeys(name for name in self._section_of.values() if name))

    @cached_property
    def _section_of(self) -> dict[int, str]:
        """Number of a played bar -> its pass of a section; a new pass begins where the section's first bar does."""
        bars = self.chart.bars
        names, counts = {}, dict[str, int]()
        taken = {bar.letter for bar in bars}
        name = ""
        for played in self.chart.played:
            if bars[played.written].letter and played.letter:
                counts[played.letter] = count = counts.get(played.letter, 0) + 1
                plain = f"{played.letter}{count}"
                name = played.letter if count == 1 else f"{played.letter} ({count})" if plain in taken else plain
            names[played.number] = name
        return names

    @cached_property
    def chords(self) -> tuple[tuple[FormChord, Facts], ...]:
        """Every chord of the chart as played, N.C. left out, and what the rules ask of it."""
        keys = self.chart.keys
        return tuple(
            (one, Facts.of(one, keys[one.written], self._section_of[one.bar], self._counted(one.bar, one.start_beats)))
            for one in self.chart.unrolled()
            if one.chord.root is not None
        )

    @cached_property
    def _played(self) -> dict[int, PlayedBar]:
        return {played.number: played for played in self.chart.played}

    def frame(self, number: int) -> Frame | None:
        """How a played bar is counted; None where there is no such bar."""
        played = self._played.get(number)
        if played is None:
            return None
        bar = self.chart.bars[played.written]
        missing = max(0, bar.meter.beats - bar.beats) if not number else 0
        return Frame(played.start_beats - missing, played.start_beats, played.start_beats + played.beats)

    def _counted(self, number: int, start_beats: Fraction) -> Fraction:
        frame = self.frame(number)
        assert frame is not None
        return start_beats - frame.first_count + 1

    @property
    def start_beats(self) -> Fraction:
        """Where the form begins: 0, or below it with a pick-up."""
        return self.chart.played[0].start_beats if self.chart.played else Fraction(0)

    @property
    def end_beats(self) -> Fraction:
        """Where the form ends."""
        return max((played.start_beats + played.beats for played in self.chart.played), default=Fraction(0))

    @cached_property
    def form(self) -> tuple[LessonChord, ...]:
        """Every chord in the order played, approaches among them. Raises `LeadingError` that names the bar."""
        placements = self._placements()
        found: list[LessonChord] = []
        shells: dict[object, Target] = {}
        for (one, facts), manner, placement in zip(self.chords, self.manners, placements, strict=True):
            target = _target(one.chord, placement, manner)
            frame = self.frame(one.bar)
            assert frame is not None
            end = one.start_beats + one.beats
            hits = moments(manner.rhythm, one.start_beats, end, frame, self.frame(one.bar - 1))
            approach = self._approach(one, manner, target, hits, found[-1] if found else None, shells)
            if approach is not None:
                found.append(approach)
            strokes = tuple(
                self._stroke(hit, moment, end, target if hit.part == "chord" else bass_target(one.chord))
                for hit, moment in hits
                if hit.part != "approach"
            )
            found.append(
                LessonChord(
                    one.chord, one.bar, facts.count, one.start_beats, one.beats, facts.section, target, strokes, manner
                )
            )
        return tuple(_one_at_a_time(found))

    @cached_property
    def manners(self) -> tuple[Manner, ...]:
        """How each of `chords` is played."""
        return tuple(manner_of(self.rules, facts)[0] for _, facts in self.chords)

    def choices(self, one: FormChord, manner: Manner) -> Candidates:
        """What a chord may be voiced as. Raises `LeadingError`."""
        return candidates(self._leading_slot(one, manner))

    def _leading_slot(self, one: FormChord, manner: Manner) -> LeadingSlot:
        melody = one.melody_key if manner.top == MELODY else None
        return LeadingSlot(one.chord, melody, plan=manner.plan(self.rows))

    def _placements(self) -> list[Placement]:
        """One for each of `chords`: the loop or path, and a pick-up that leads into it."""
        slots = [self._leading_slot(one, manner) for (one, _), manner in zip(self.chords, self.manners, strict=True)]
        if not slots:
            return []
        ahead = sum(one.bar == 0 for one, _ in self.chords) if self.repeats else 0
        ahead = ahead if slots[ahead:] else 0
        try:
            path = lead(slots[ahead:], loop=self.repeats)
            placements = [station.placement for station in path.stations]
            return _led_into(slots[:ahead], placements[0]) + placements
        except LeadingError as fault:
            if fault.slot is None:
                raise
            label = self.chords[fault.slot][0].label
            raise LeadingError(f"bar {label}: {fault}", fault.slot, fault.refused) from None

    def _stroke(self, hit: Hit, moment: Fraction, end: Fraction, target: Target) -> Stroke:
        bar = self._bar_at(moment)
        return Stroke(hit.part, bar, self._counted(bar, moment), moment, end - moment, target, hit.optional)

    @cached_property
    def _starts(self) -> list[Fraction]:
        return [played.start_beats for played in self.chart.played]

    def _bar_at(self, moment: Fraction) -> int:
        return self.chart.played[bisect_right(self._starts, moment) - 1].number

    def _approach(
        self,
        one: FormChord,
        manner: Manner,
        target: Target,
        hits: Sequence[tuple[Hit, Fraction]],
        before: LessonChord | None,
        shells: dict[object, Target],
    ) -> LessonChord | None:
        """The approach shell into a chord, None where there is none or no time for it after the chord before."""
        if manner.approach not in APPROACH_NAMES:
            return None
        hit = next((hit for hit in manner.rhythm if hit.part == "approach"), None)
        moment = next((moment for each, moment in hits if each.part == "approach"), None)
        if hit is None:
            hit, moment = Hit("approach", Fraction(1)), one.start_beats - APPROACH_BEATS
        if moment is None or moment < self.start_beats or before is not None and moment <= before.start_beats:
            return None
        mark = target.chord, target.keys, manner
        played = shells.get(mark) or shells.setdefault(mark, approach_target(target, manner.approach))
        bar = self._bar_at(moment)
        beat, beats = self._counted(bar, moment), one.start_beats - moment
        stroke = Stroke("chord", bar, beat, moment, beats, played, hit.optional)
        section = self._section_of[bar]
        return LessonChord(played.chord, bar, beat, moment, beats, section, played, (stroke,), manner, approach=True)

    # -- in time

    def section_beats(self, section: str = "") -> tuple[Fraction, Fraction]:
        """Where a section (or the whole form) begins and ends, in beats of the form. Raises ValueError for a section
        that is not there."""
        if not section:
            return self.start_beats, self.end_beats
        bars = [played for played in self.chart.played if self._section_of[played.number] == section]
        if not bars:
            raise ValueError(f"there is no section {section!r}; there are {', '.join(self.sections) or 'none'}")
        return bars[0].start_beats, bars[-1].start_beats + bars[-1].beats

    def bars(self, section: str = "") -> tuple[PlayedBar, ...]:
        """The bars of a section (or the whole form) as they are played. Raises ValueError as `section_beats` does."""
        start, end = self.section_beats(section)
        return tuple(played for played in self.chart.played if start <= played.start_beats < end)

    def slots(self, section: str = "", root_below: bool | None = None, *, bass: bool = True) -> tuple[Slot, ...]:
        """What is to be played when, in order of time: the form, or one section of it.

        Beats are those of the whole form for a section, too. `root_below` says for all chords whether a root may stand
        below (None: as the rules say). Without `bass`, the bass is left to somebody else. Raises ValueError for a
        section that is not there, and `LeadingError`.
        """
        start, _ = self.section_beats(section)
        strokes: list[tuple[Stroke, str]] = []
        for one in self.form:
            if section and one.section != section:
                continue
            for stroke in one.strokes:
                if stroke.part == BASS and not bass:
                    continue
                if section and stroke.start_beats < start:
                    stroke = replace(stroke, bar=one.bar, beat=one.beat, start_beats=one.start_beats, beats=one.beats)
                strokes.append((stroke, one.section))
        strokes.sort(key=lambda pair: (pair[0].start_beats, pair[0].part != BASS))
        found: list[Slot] = []
        before: dict[str, Target] = {}
        for stroke, name in strokes:
            target = stroke.target
            if root_below is not None and stroke.part != BASS:
                target = replace(target, passes=replace(target.passes, root_below=root_below))
            move = move_text(before[stroke.part], target) if stroke.part in before else ""
            before[stroke.part] = target
            found.append(
                Slot(
                    len(found), stroke.bar, stroke.beat, stroke.start_beats, stroke.beats, target,
                    stroke.part, stroke.optional, name, move,
                )
            )  # fmt: skip
        return tuple(found)

    # -- what there is to learn

    def voicings(self, section: str = "") -> tuple[LessonVoicing, ...]:
        """The distinct voicings in the order in which they come, each with all its places.

        Distinct is a quality in a recipe: the same degrees on another root, or in another octave, are the same. Raises
        `LeadingError`, and ValueError for a section that is not there; so do the three below.
        """
        found: dict[tuple[str, Recipe], list[LessonChord]] = {}
        for one in self._chords_of(section):
            found.setdefault((one.chord.quality.text, bare(one.target.placement.recipe)), []).append(one)
        return tuple(
            LessonVoicing(places[0].chord.quality, places[0].target.placement.recipe, tuple(places))
            for places in found.values()
        )

    def moves(self, section: str = "") -> tuple[LessonMove, ...]:
        """The distinct moves in the order in which they come, the one back to the beginning last where the whole form
        repeats. A chord that is only played again is no move."""
        form = self._chords_of(section)
        pairs = list(pairwise(form))
        if self.repeats and not section and len(form) > 1:
            first = next((one for one in form if one.bar), form[0])
            pairs.append((form[-1], first))
        found: dict[str, list[tuple[LessonChord, LessonChord]]] = {}
        for before, after in pairs:
            text = move_text(before.target, after.target)
            if text != "again":
                found.setdefault(text, []).append((before, after))
        return tuple(LessonMove(tuple(places)) for places in found.values())

    def drill_set(self, section: str = "") -> DrillSet:
        """A drill for each distinct voicing, in twelve keys."""
        drills = tuple(voicing_drill(voicing, self.rows) for voicing in self.voicings(section))
        return self._set("voicings", section, f"Every voicing of {self.title}, in twelve keys.", drills)

    def moves_set(self, section: str = "") -> DrillSet:
        """A drill for each distinct move: two prompts in succession, in each of twelve keys."""
        keys = self.chart.keys
        key_of = {played.number: keys[played.written].root for played in self.chart.played}
        drills = tuple(move_drill(move, key_of, self.rows) for move in self.moves(section))
        about = f"Every move of {self.title} from one voicing to the next, in twelve keys."
        return self._set("moves", section, about, drills)

    def _set(self, what: str, section: str, about: str, drills: tuple[Drill, ...]) -> DrillSet:
        what = f"{what} of {section}" if section else what
        title = f"{self.title[: TITLE_LETTERS - len(what) - 2]}: {what}"
        return DrillSet(title, drills, about, voicings=self.rows)

    def _chords_of(self, section: str) -> list[LessonChord]:
        self.section_beats(section)
        return [one for one in self.form if not section or one.section == section]


def lesson_of(chart: Chart, rules: tuple[Rule, ...] = (), *, repeats: bool = True, title: str = "") -> Lesson:
    """A lesson of a bare chart: every chord once where it begins, rootless in the left hand unless rules say more."""
    return Lesson(title or chart.title or "Untitled", chart, rules, repeats=repeats)


# -- targets


def _target(chord: Chord, placement: Placement, manner: Manner) -> Target:
    register = register_of(placement.recipe, None, None, None, manner.limits)
    return Target(chord, placement, manner.passes, register.limits)


def _led_into(slots: Sequence[LeadingSlot], first: Placement) -> list[Placement]:
    """The voicings of a pick-up, which leads into a chord that is voiced already."""
    found: list[Placement] = []
    following = first
    for number, slot in reversed(list(enumerate(slots))):
        places = candidates(slot).placements
        if not places:
            raise LeadingError(f"{slot.chord.symbol} has no voicing that fits", number)
        here = following
        following = min(places, key=lambda each: motion(each.keys, here.keys))
        found.append(following)
    return found[::-1]


def _one_at_a_time(form: Sequence[LessonChord]) -> Iterator[LessonChord]:
    """The form with its strokes cut where the next one of the same part comes, and dropped where that comes first."""
    starts: dict[str, Fraction] = {}
    cut: list[LessonChord] = []
    for one in reversed(form):
        kept: list[Stroke] = []
        for stroke in reversed(one.strokes):
            end = starts.get(stroke.part)
            if end is not None and stroke.start_beats >= end:
                continue
            beats = stroke.beats if end is None else min(stroke.beats, end - stroke.start_beats)
            starts[stroke.part] = stroke.start_beats
            kept.append(replace(stroke, beats=beats))
        cut.append(replace(one, strokes=tuple(reversed(kept))))
    return reversed(cut)
