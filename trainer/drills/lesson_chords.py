"""What a lesson has played: its chords, its strokes, its voicings and moves, and the targets of bass and approach.

Source of the register of bass notes: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trainer.chords import Chord, Quality, parse_quality
from trainer.drills.rhythm import count_text
from trainer.drills.rules import Manner
from trainer.grading import Passes, Target
from trainer.leading import motion
from trainer.leading.choices import THUMB_HIGHEST
from trainer.pitch import Degree, MidiNote
from trainer.voicings import Placement, Recipe, alternatives, approach_root, default_register, place, recipe

BASS_LOWEST: Final = MidiNote(31)
"""G1: bass notes lie from here to F#2; an answer may lie in any octave."""

BASS: Final = "bass"
_ANY_OCTAVE: Final = Passes(octave="any")
_DOMINANT: Final = "7"
APPROACH_NAMES: Final[Mapping[str, str]] = {
    "above": "approach shell, half step above",
    "below": "approach shell, half step below",
}


@dataclass(frozen=True, slots=True)
class Stroke:
    """One thing that a chord has played: its part (``chord`` or ``bass``), when, for how long, and what."""

    part: str
    bar: int
    beat: Fraction
    start_beats: Fraction
    beats: Fraction
    target: Target
    optional: bool = False


@dataclass(frozen=True, slots=True)
class LessonChord:
    """A chord of the form as it is played, or an `approach` to the chord after it.

    `section` is the pass of its letter (see `Lesson.sections`), `beat` as it is counted in its bar; `strokes` in order
    of time, of which one may lie before the chord begins.
    """

    chord: Chord
    bar: int
    beat: Fraction
    start_beats: Fraction
    beats: Fraction
    section: str
    target: Target
    strokes: tuple[Stroke, ...]
    manner: Manner
    approach: bool = False

    @property
    def label(self) -> str:
        """Bar, and the count where it is not the first: ``4``, ``4.3``."""
        return str(self.bar) if self.beat == 1 else f"{self.bar}.{count_text(self.beat)}"


@dataclass(frozen=True, slots=True)
class LessonVoicing:
    """One voicing of a lesson on every root on which it occurs: its quality, its recipe, and all its places."""

    quality: Quality
    recipe: Recipe
    places: tuple[LessonChord, ...]

    @property
    def where(self) -> str:
        """``bars 1, 3 and 7``."""
        return bars_text(one.label for one in self.places)


@dataclass(frozen=True, slots=True)
class LessonMove:
    """One move from a voicing to the next, on every root on which it occurs: pairs of the form in order."""

    places: tuple[tuple[LessonChord, LessonChord], ...]

    @property
    def first(self) -> LessonChord:
        return self.places[0][0]

    @property
    def second(self) -> LessonChord:
        return self.places[0][1]

    @property
    def text(self) -> str:
        """The move in any key; see `move_text`."""
        return move_text(self.first.target, self.second.target)

    @property
    def where(self) -> str:
        """``bars 1 and 9``, of the first chord of each pair."""
        return bars_text(first.label for first, _ in self.places)


def bars_text(labels: Iterable[str]) -> str:
    """Labels of places as one says them; bar 0 is the pick-up.

    >>> bars_text(["1", "3", "4.3"]), bars_text(["0.4", "2"]), bars_text(["0.4"])
    ('bars 1, 3 and 4.3', 'the pick-up and bar 2', 'the pick-up')
    """
    names = list(dict.fromkeys(labels))
    bars = [name for name in names if name.split(".")[0] != "0"]
    said = ["the pick-up"] if len(bars) < len(names) else []
    if bars:
        listed = bars[0] if len(bars) == 1 else f"{', '.join(bars[:-1])} and {bars[-1]}"
        said.append(f"{'bar' if len(bars) == 1 else 'bars'} {listed}")
    return " and ".join(said)


_INTERVALS: Final = "1 b2 2 b3 3 4 b5 5 b6 6 b7 7".split()


def move_text(before: Target, after: Target) -> str:
    """A move in the same words in every key: qualities, degrees, the second root as a degree of the first, and by how
    many semitones the bottom note moves. The same voicing once more is ``again``."""
    if before.keys == after.keys and before.chord == after.chord:
        return "again"
    step = (after.root.pitch_class - before.root.pitch_class) % 12
    rise = after.keys[0] - before.keys[0]
    first, second = (f"{each.chord.quality.text or 'maj'} {each.placement.recipe.text}" for each in (before, after))
    return f"{first} > {second}, root to {_INTERVALS[step]}, bottom {rise:+d}"


def bass_target(chord: Chord) -> Target:
    """The bass note of a chord, its root or what stands after its slash, in any octave. Raises ValueError for N.C."""
    if chord.root is None:
        raise ValueError("N.C. has no bass note")
    degree = Degree(1) if chord.bass is None else chord.root.degree_to(chord.bass)
    note = chord.root + degree
    key = MidiNote(BASS_LOWEST + (note.pitch_class - BASS_LOWEST) % 12)
    form = Recipe(BASS, BASS, (degree,), rootless=False, source="common practice, no source")
    return Target(chord, Placement(form, chord.root, (note,), (key,)), _ANY_OCTAVE)


def approach_target(target: Target, side: str) -> Target:
    """The shell a half step ``above`` or ``below`` a chord, where it moves least into it; see the module's head.

    >>> from trainer.chords import parse
    >>> from trainer.pitch import Note
    >>> c7 = parse("C7")
    >>> shell = place(recipe("shell, root and seventh", c7.quality), Note.parse("C"))
    >>> found = approach_target(Target(c7, shell), "above")
    >>> found.chord.symbol, [note.name for note in found.notes], found.keys[0] - shell.keys[0]
    ('Db7', ['Db', 'Cb'], 1)
    """
    quality = target.chord.quality
    if side == "above" or quality.seventh is None:
        quality = parse_quality(_DOMINANT)
    root = approach_root(target.root, "above" if side == "above" else "below")
    form = recipe(APPROACH_NAMES[side], quality)
    register = default_register(form)
    places = [each for each, fits, _ in alternatives(form, root, register) if fits] or [place(form, root)]
    # Not over the thumb of the left hand, which plays it, where there is another place.
    highest = max(THUMB_HIGHEST, target.keys[-1])
    places = [each for each in places if each.keys[-1] <= highest] or places
    nearest = min(places, key=lambda each: motion(each.keys, target.keys))
    return Target(Chord(root, quality, None), nearest, target.passes, register.limits)
