"""Rules of a lesson: which chords a rule is for, what it says of them, and what holds for one chord in the end.

A rule is for every chord that fits all its conditions; without one it is for all chords. What a rule says, it says
field by field, and **of two rules that say the same field for a chord, the later one holds**: a lesson goes from the
general to the special, as a teacher does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import Final

from trainer.charts import FormChord, Key
from trainer.chords import Quality
from trainer.drills.rhythm import Hit
from trainer.grading import Passes
from trainer.leading import DEFAULT_VOICINGS, Plan
from trainer.pitch import Degree, MidiNote, Note
from trainer.voicings import Limits, VoicingRow

CONDITIONS: Final = ("chord", "colour", "degree", "section", "bar", "beat")

APPROACHES: Final = ("above", "below", "none")
"""A half step above the chord, a half step below it, or no approach after all."""

MELODY: Final = "melody"
"""As `top`: the chord is voiced under the note of the melody that sounds when it begins."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. The first six fields are its conditions, () for none; of the others, None says nothing.

    `chord`: qualities exactly; `colour`: their colours; `degree`: roots as degrees of the key of the bar; `section`:
    letters, or one of several passes of a letter as `Lesson.sections` names it; `bar`: first and last bar of the form
    as played (0: the pick-up); `beat`: where in its bar a chord begins, as it is counted.

    `voicing`: families, names or degrees, any of which will do; `optional`: degrees that may be left out; `top`: the
    degree on top, or ``melody``; `bottom`: the very key of the bottom note, in the key the lesson stands in; `rhythm`:
    see `rhythm`; `approach`: one of `APPROACHES`; the rest as in a drill set, `passes` as pairs of field and value.
    """

    chord: tuple[Quality, ...] = ()
    colour: tuple[str, ...] = ()
    degree: tuple[Degree, ...] = ()
    section: tuple[str, ...] = ()
    bar: tuple[tuple[int, int], ...] = ()
    beat: tuple[Fraction, ...] = ()
    voicing: tuple[str, ...] | None = None
    optional: tuple[Degree, ...] | None = None
    hand: str | None = None
    top: Degree | str | None = None
    bottom: MidiNote | None = None
    rhythm: tuple[Hit, ...] | None = None
    approach: str | None = None
    lowest: MidiNote | None = None
    highest: MidiNote | None = None
    reach_semitones: int | None = None
    limits: Limits = None
    passes: tuple[tuple[str, str | bool], ...] = ()

    def is_for(self, one: Facts) -> bool:
        """Whether a chord fits every condition."""
        return all(not getattr(self, name) or getattr(self, f"_{name}_fits")(one) for name in CONDITIONS)

    def _chord_fits(self, one: Facts) -> bool:
        return one.quality in self.chord

    def _colour_fits(self, one: Facts) -> bool:
        return one.quality.colour in self.colour

    def _degree_fits(self, one: Facts) -> bool:
        return any(degree.pitch_class == one.step_semitones for degree in self.degree)

    def _section_fits(self, one: Facts) -> bool:
        return one.letter in self.section or one.section in self.section

    def _bar_fits(self, one: Facts) -> bool:
        return any(first <= one.bar <= last for first, last in self.bar)

    def _beat_fits(self, one: Facts) -> bool:
        return one.count in self.beat

    @property
    def says(self) -> tuple[str, ...]:
        """The fields that this rule says."""
        return tuple(
            field.name
            for field in fields(self)
            if field.name not in CONDITIONS and getattr(self, field.name) not in (None, ())
        )

    def raised(self, semitones: int) -> Rule:
        """The same with its bottom key so many semitones higher, where it has one."""
        return self if self.bottom is None else replace(self, bottom=MidiNote(self.bottom + semitones))


@dataclass(frozen=True, slots=True)
class Facts:
    """What rules ask of a chord: `step_semitones` is its root above that of the key (0 to 11), `section` the pass of
    its `letter`, `count` the beat at which it begins as it is counted in its bar."""

    quality: Quality
    step_semitones: int
    letter: str
    section: str
    bar: int
    count: Fraction

    @staticmethod
    def of(one: FormChord, key: Key, section: str, count: Fraction) -> Facts:
        """Raises ValueError for N.C."""
        if one.chord.root is None:
            raise ValueError("no rule is for N.C.")
        step = (one.chord.root.pitch_class - key.root.pitch_class) % 12
        return Facts(one.chord.quality, step, one.letter, section, one.bar, count)


@dataclass(frozen=True, slots=True)
class Manner:
    """How one chord is played, once all rules have spoken. Fields as in `Rule`; `passes` whole."""

    voicing: tuple[str, ...] = DEFAULT_VOICINGS
    optional: tuple[Degree, ...] = ()
    hand: str | None = None
    top: Degree | str | None = None
    bottom: MidiNote | None = None
    rhythm: tuple[Hit, ...] = ()
    approach: str = "none"
    lowest: MidiNote | None = None
    highest: MidiNote | None = None
    reach_semitones: int | None = None
    limits: Limits = None
    passes: Passes = Passes()

    def plan(self, rows: tuple[VoicingRow, ...]) -> Plan:
        """The same as voice leading is told it."""
        return Plan(
            voicings=self.voicing,
            reach_semitones=self.reach_semitones,
            extra_rows=rows,
            lowest=self.lowest,
            highest=self.highest,
            limits=self.limits,
            hand=self.hand or "",
            optional=self.optional,
            top=self.top if isinstance(self.top, Degree) else None,
            bottom=self.bottom,
        )


def manner_of(rules: Sequence[Rule], one: Facts) -> tuple[Manner, Mapping[str, int]]:
    """How a chord is played, and which rule (its index) says each field that any rule says."""
    said: dict[str, object] = {}
    by: dict[str, int] = {}
    passes: dict[str, object] = {}
    for index, rule in enumerate(rules):
        if not rule.is_for(one):
            continue
        for name in rule.says:
            by[name] = index
            if name == "passes":
                passes |= dict(rule.passes)
            else:
                said[name] = getattr(rule, name)
        # A voicing given by its degrees alone lies where it leads: an earlier rule's bottom key was another voicing's.
        if rule.voicing is not None and rule.bottom is None:
            said.pop("bottom", None)
            by.pop("bottom", None)
    manner = Manner(**said, passes=Passes(**passes))  # type: ignore[arg-type]  # names and types are those of Rule
    return manner, by


def key_shift(first: Note, second: Note) -> int:
    """Semitones from one key to another by the nearer way, as `charts.transposed` moves a melody."""
    return (second.pitch_class - first.pitch_class + 5) % 12 - 5
