"""Why an answer was wrong: every cause that fits is scored, the cheapest is named, equal ones are ties.

Two kinds of causes are weighed. A *whole-chord* cause predicts the answer exactly (another quality, the other form, an
inversion, the shape on another root or in another octave, the chord before, another chord of the set) and costs 1. A
*finger* cause is read off the verdicts: one fault costs 1, each further one 0.8 more. Where no cause predicts the
answer and less than a third of the degrees is there, it is ``no_relation``.

What a recipe may be taken for does not depend on the root, so it is worked out once for all twelve.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from trainer.capture import Gesture, Standing
from trainer.chords import Chord, Quality, parse_quality
from trainer.grading import sentences
from trainer.grading.targets import Target, inversions, subsets
from trainer.grading.verdicts import Answer, Verdict, read_right, read_wrong
from trainer.pitch import Degree, MidiNote, Note, keys_of, mask_of
from trainer.voicings import LOW_INTERVAL_LIMITS, Recipe, VoicingError, recipe, stacked

CAUSES: Final = {
    "previous_chord": "the chord before, again",
    "below_limit": "below the limit for its intervals",
    "other_form": "the other form of the same chord",
    "third_missed": "the third missed",
    "half_step": "one finger a half step off",
    "whole_step": "one finger a whole step off",
    "wrong_quality": "the right chord in another quality",
    "octave": "the right keys in another octave",
    "inversion": "an inversion",
    "other_root": "the same shape on another root",
    "spacing": "the right notes, spaced otherwise",
    "left_out": "a note left out",
    "added": "a note added",
    "graze": "a neighbouring key brushed",
    "another_of_set": "another chord of the set",
    "no_relation": "no relation to what was asked",
}
"""Stable codes for statistics, in the order in which ties are told."""

_RANK: Final = {code: rank for rank, code in enumerate(CAUSES)}
_FINGERS: Final = frozenset({"third_missed", "half_step", "whole_step", "left_out", "added", "spacing", "no_relation"})
_EXPLAINED: Final = 1.0
_EACH_FURTHER_FAULT: Final = 0.8
_NO_RELATION: Final = 1.7
_FAULTS_TOLD: Final = 3


@dataclass(frozen=True, slots=True)
class Cause:
    """One reading of a miss: stable code, cost, and the sentence a teacher would say."""

    code: str
    cost: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Grade:
    """A graded answer: verdicts bottom up, further keys, right or not, causes (ties, first told first), a sentence."""

    held: tuple[MidiNote, ...]
    verdicts: tuple[Verdict, ...]
    extra: tuple[MidiNote, ...]
    right: bool
    causes: tuple[Cause, ...]
    sentence: str

    @property
    def cause(self) -> str | None:
        return self.causes[0].code if self.causes else None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What else an answer could have been meant for: the chord prompted before, and the others of the set."""

    previous: Target | None = None
    others: Sequence[Target] = ()


def grade(target: Target, gesture: Gesture | int, surroundings: Surroundings | None = None) -> Grade:
    """Grade what was held: a settled gesture, or a mask of keys."""
    held, grazed = (gesture, ()) if isinstance(gesture, int) else (gesture.held, gesture.grazed)
    keys = keys_of(held)
    arrangement = target.match(held)[1]
    if arrangement is None:
        answer = read_wrong(target, held)
        causes, sentence = _why(target, held, keys, answer, surroundings or Surroundings())
        return Grade(keys, answer.verdicts, answer.extra, False, causes, sentence)
    answer = read_right(target, held, arrangement)
    brushed = sentences.listed([sentences.note_at(target, key) for key in grazed]) if grazed else ""
    if grazed and not target.passes.graze:
        sentence = f"The chord is right, but {brushed} was brushed just before it stood."
        cause = Cause("graze", _EXPLAINED, sentence)
        return Grade(keys, answer.verdicts, answer.extra, False, (cause,), sentence)
    sentence = f"Right: {sentences.degrees_held(answer.verdicts)}."
    if brushed:
        sentence += f" {brushed} was brushed."
    return Grade(keys, answer.verdicts, answer.extra, True, (), sentence)


def _why(
    target: Target, held: int, keys: tuple[MidiNote, ...], answer: Answer, surroundings: Surroundings
) -> tuple[tuple[Cause, ...], str]:
    """The causes that fit as well as any other, the one to tell first in front, and the sentence."""
    found = list(_same_keys(target, held, surroundings))
    if keys:
        found += _whole_chord(target, held, keys)
    fingers, told = _fingers(target, keys, answer, bool(found))
    found += fingers
    cheapest = min([cause.cost for cause in found])
    ties: dict[str, Cause] = {}
    for cause in found:
        if cause.cost <= cheapest:
            ties.setdefault(cause.code, cause)
    causes = tuple(sorted(ties.values(), key=_rank))
    return causes, _sentence(answer, causes, told)


def _rank(cause: Cause) -> int:
    return _RANK[cause.code]


def _sentence(answer: Answer, causes: tuple[Cause, ...], told: Sequence[str]) -> str:
    """What was right first, then what was not; a whole-chord cause says both itself."""
    if causes[0].code not in _FINGERS:
        return causes[0].sentence
    parts = [sentences.what_was_right(answer.verdicts), *told[:_FAULTS_TOLD]]
    quality = next((cause for cause in causes if cause.code == "wrong_quality"), None)
    if quality is not None:
        parts.append(f"That would be {quality.sentence.split(': this is ')[1].split(', asked was ')[0]}.")
    return " ".join(part for part in parts if part)


# -- the answer to another prompt


def _same_keys(target: Target, held: int, surroundings: Surroundings) -> Iterator[Cause]:
    asked = sentences.asked(target)
    previous = surroundings.previous
    if previous is not None and previous is not target and _answers(previous, held):
        symbol = sentences.asked(previous)
        if symbol == asked:
            words = f"That is {previous.voicing} again, the voicing before; now it is {target.voicing}."
        else:
            words = f"That is {symbol} again, the chord before; now it is {asked}."
        yield Cause("previous_chord", _EXPLAINED, words)
    for other in surroundings.others:
        if held in other.accepted and other is not target and other is not previous:
            words = f"That is {sentences.asked(other)} ({other.voicing}), from the same set; asked was {asked}"
            words += f", {target.voicing}." if other.chord == target.chord else "."
            yield Cause("another_of_set", _EXPLAINED, words)
            return


def _answers(target: Target, held: int) -> bool:
    return target.standing(held) in (Standing.COMPLETE, Standing.GROWABLE)


# -- the whole chord taken for another


@dataclass(frozen=True, slots=True)
class _Guess:
    """A whole-chord cause on any root: a quality, the name of a form, or the degree at the bottom."""

    code: str
    quality: Quality | None = None
    form: str = ""
    bottom: Degree | None = None


_Place = tuple[int, int]
"""A shape (keys moved down to bit 0) and the semitones of its lowest key over the root, 0-11: octaves fold together."""

_SEVENTHS_TO_CONFUSE: Final = (
    "maj7", "7", "m7", "m7b5", "mMaj7", "6", "m6", "dim7", "7sus4", "7alt", "7(b9)", "7#5", "maj7#5", "maj7sus4",
)  # fmt: skip
_TRIADS_TO_CONFUSE: Final = ("", "m", "dim", "aug", "sus4")
"""Chords a player may take one for another, likely ones first (common practice)."""

_ALTERED_TENSIONS: Final = frozenset(map(Degree.parse, ("b9", "#9", "b13")))


def _place(keys: Sequence[int]) -> _Place:
    lowest = min(keys)
    return mask_of(key - lowest for key in keys), lowest % 12


def _whole_chord(target: Target, held: int, keys: tuple[MidiNote, ...]) -> Iterator[Cause]:
    lowest = keys[0]
    heights = tuple([key - target.keys[0] for key in target.keys])
    own, guesses = _guesses(target.placement.recipe, target.chord.quality, heights)
    shape, root = held >> lowest, target.root
    bottom = own.get(shape)
    if bottom is not None:
        moved = lowest - target.keys[0] - bottom
        if moved % 12 == 0:
            if moved:
                yield from _displaced(target, keys, moved)
        else:
            there = _plain_root((root.pitch_class + moved) % 12)
            yield Cause("other_root", _EXPLAINED, sentences.other_root(target, there))
    for guess in guesses.get((shape, (lowest - root.pitch_class) % 12), ()):
        if guess.quality is not None:
            words = sentences.other_quality(target, Chord(root, guess.quality, None))
        elif guess.bottom is not None:
            words = sentences.inverted(target, guess.bottom)
        else:
            words = sentences.other_form(target, guess.form)
        yield Cause(guess.code, _EXPLAINED, words)


def _displaced(target: Target, keys: Sequence[int], moved: int) -> Iterator[Cause]:
    """The right chord, octaves away."""
    yield Cause("octave", _EXPLAINED, f"The right notes, {sentences.displaced(moved)}.")
    if moved < 0:
        limits = LOW_INTERVAL_LIMITS if target.limits is None else target.limits
        pair = next(((low, high) for low, high in _pairs(keys) if low < limits.get(high - low, 0)), None)
        if pair is not None:
            yield Cause("below_limit", _EXPLAINED, sentences.too_low(target, moved, pair))


def _pairs(keys: Sequence[int]) -> Iterator[tuple[int, int]]:
    for index, low in enumerate(keys):
        for high in keys[index + 1 :]:
            yield low, high


@lru_cache(maxsize=2048)
def _guesses(
    asked: Recipe, quality: Quality, heights: tuple[int, ...]
) -> tuple[Mapping[int, int], Mapping[_Place, tuple[_Guess, ...]]]:
    """The recipe's own shapes (shape -> height of its lowest key), and every answer a whole-chord cause predicts."""
    bottom = asked.degrees[0].pitch_class
    keys = tuple([bottom + height for height in heights])
    everything = tuple(range(len(keys)))
    kept = [tuple([at for at in everything if at not in left_out]) for left_out in subsets(asked.optional)]
    own: dict[int, int] = {}
    own_places = set()
    for some in kept:
        shape, _ = place = _place([keys[at] for at in some])
        own.setdefault(shape, min(keys[at] for at in some) - bottom)
        own_places.add(place)
    found: dict[_Place, dict[str, _Guess]] = {}

    def note(guess: _Guess, keys: Sequence[int]) -> None:
        place = _place(keys)
        if place not in own_places and len(set(keys)) == len(keys):
            found.setdefault(place, {}).setdefault(guess.code, guess)

    altered = not _ALTERED_TENSIONS.isdisjoint(asked.degrees)
    triad = len(keys) > 2 and all(degree.number not in (6, 7) for degree in asked.degrees)
    for text in (*_TRIADS_TO_CONFUSE, *_SEVENTHS_TO_CONFUSE) if triad else (*_SEVENTHS_TO_CONFUSE, *_TRIADS_TO_CONFUSE):
        other = _quality(text)
        if other == quality:
            continue
        guess = _Guess("wrong_quality", quality=other)
        # Other notes stay as they are, so the other chord must bear them: a flat ninth is a dominant's.
        if all(degree.number <= 7 for degree in other.degrees) and (not altered or other.colour == "7"):
            in_place = _in_quality(keys, asked.degrees, quality, other)
            for some in kept:
                note(guess, [in_place[at] for at in some])
        for form in _recipe(asked.name, other):
            for keys_there in _with_and_without(form):
                note(guess, keys_there)
    if asked.other is not None:
        for form in _recipe(asked.other, quality):
            for keys_there in _with_and_without(form):
                note(_Guess("other_form", form=form.name), keys_there)
    for some in kept:
        for turn, inversion in enumerate(inversions([keys[at] for at in some])):
            note(_Guess("inversion", bottom=asked.degrees[some[turn + 1]]), inversion)
    return own, {place: tuple(guesses.values()) for place, guesses in found.items()}


def _recipe(name: str, quality: Quality) -> Iterator[Recipe]:
    """The recipe of a name in a quality, if there is one."""
    try:
        yield recipe(name, quality)
    except VoicingError:
        return


def _with_and_without(form: Recipe) -> Iterator[list[int]]:
    """The keys of a recipe over its root, with and without what is optional."""
    heights = stacked(form.degrees)
    for left_out in subsets(form.optional):
        yield [form.degrees[0].pitch_class + height for at, height in enumerate(heights) if at not in left_out]


def _in_quality(keys: Sequence[int], degrees: Sequence[Degree], quality: Quality, other: Quality) -> tuple[int, ...]:
    """The voicing's own keys with third, fifth, sixth and seventh of another quality in their places."""
    own = {degree.simple.number for degree in quality.degrees if degree.number <= 7}
    theirs = {degree.simple.number: degree for degree in other.degrees if degree.number <= 7}
    moved = list(keys)
    for at, degree in enumerate(degrees):
        number = degree.simple.number
        if degree.number in (3, 5, 7, 10) and number in own:
            there = theirs.get(number) or (theirs.get(6) if number == 7 else theirs.get(4) if number == 3 else None)
        elif degree.number == 6 and 6 in own:
            there = theirs.get(6) or theirs.get(7)
        elif degree.number == 4 and 4 in own:
            there = theirs.get(4) or theirs.get(3)
        else:
            there = None
        if there is not None:
            moved[at] += (there.pitch_class - degree.pitch_class + 6) % 12 - 6
    return tuple(moved)


@lru_cache(maxsize=64)
def _quality(text: str) -> Quality:
    return parse_quality(text)


_PLAIN_ROOTS: Final = tuple(map(Note.parse, "C Db D Eb E F Gb G Ab A Bb B".split()))


def _plain_root(pitch_class: int) -> Note:
    return _PLAIN_ROOTS[pitch_class]


# -- one finger, or several


def _fingers(
    target: Target, keys: tuple[MidiNote, ...], answer: Answer, explained: bool
) -> tuple[list[Cause], list[str]]:
    """Causes read off the verdicts, and every fault as a sentence, from the bottom up."""
    verdicts = answer.verdicts
    if not keys:
        words = "No key was held."
        return [Cause("left_out", _EXPLAINED, words)], [words]
    missing = [verdict for verdict in verdicts if verdict.verdict == "missing"]
    replaced = [(index, verdict) for index, verdict in enumerate(verdicts) if verdict.verdict == "replaced"]
    moved = [verdict for verdict in verdicts if verdict.verdict == "moved"]
    astray = [] if answer.shift else moved
    extra = _not_allowed(target, keys, answer.extra)
    right = sum([verdict.verdict == "right" for verdict in verdicts])
    there = right + len(moved) / (1 if answer.shift else 2)
    asked = sum([verdict.verdict != "left out" for verdict in verdicts])
    only_astray = bool(astray) and not (missing or replaced or extra)
    faults = len(missing) + len(replaced) + len(extra) + (answer.shift != 0) + (1 if only_astray else len(astray))
    cost = _EXPLAINED + _EACH_FURTHER_FAULT * (faults - 1)
    if explained and cost > _EXPLAINED:
        return [], []
    related = only_astray or there * 3 >= asked and faults <= max(2, 3 * asked // 4)
    related |= there == asked and len(extra) <= 2 * asked
    if not related:
        words = f"{'The rest has' if right else 'These keys have'} no clear relation to {sentences.asked(target)}."
        return [Cause("no_relation", _EXPLAINED, words)], [words]
    causes: list[Cause] = []
    told: list[str] = []
    if answer.shift:
        causes.append(Cause("octave", cost, f"The right notes, {sentences.displaced(answer.shift)}."))
        told.append(f"It all lies {sentences.displaced(answer.shift)}.")
    for index, verdict in enumerate(verdicts):
        third = verdict.degree.number in (3, 10) and verdict.degree.alteration in (-1, 0)
        if verdict.verdict == "replaced":
            words = sentences.replaced(target, index, verdict)
            if third:
                words = f"The third was missed. {words}"
                causes.append(Cause("third_missed", cost, words))
            code = "half_step" if abs(verdict.semitones) == 1 else "whole_step"
            causes.append(Cause(code, cost, words))
            told.append(words)
        elif verdict.verdict == "missing" and third:
            causes.append(Cause("third_missed", cost, sentences.missing(target, [verdict])))
    if missing:
        words = sentences.missing(target, missing)
        causes.append(Cause("left_out", cost, words))
        told.append(words)
    if extra:
        words = sentences.added(target, extra)
        causes.append(Cause("added", cost, words))
        told.append(words)
    if astray:
        words = sentences.astray(astray)
        if not explained:
            causes.append(
                Cause("spacing", cost, f"The right notes, spaced otherwise. {words}" if only_astray else words)
            )
        told.append(causes[-1].sentence if causes and only_astray else words)
    return causes, told


def _not_allowed(target: Target, keys: Sequence[MidiNote], extra: Sequence[MidiNote]) -> list[MidiNote]:
    """Further keys less the doublings and the root below that pass."""
    passes = target.passes
    return [
        key
        for key in extra
        if not (passes.doublings and key % 12 in target.most)
        and not (passes.root_below and key == keys[0] and key % 12 == target.root.pitch_class)
    ]
