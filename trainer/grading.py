"""Target and gesture -> Grade: a verdict for each degree, and the cause of a miss in the trade's words.

Grading is always against the prompted root and degrees, never by naming the keys and comparing names: rootless Dm9 is
Fmaj7 and rootless G13 is Db7 altered, the same keys and different answers.

A `Target` is a placed voicing with what passes for it. It knows every accepted answer as a set of keys and so serves
`capture` as its judge. `grade` gives each degree one verdict (`VERDICTS`), names the degree that each other key is on
the prompted root, and scores every cause in `CAUSES` that fits: the cheapest is named, equal ones are ties and all
reported. A hypothesis that predicts exactly the keys held costs 1; each fault it leaves unexplained costs more; where
nothing explains the answer it is ``no_relation``.

Keys are MIDI numbers; sets of keys are masks (`pitch.mask_of`). Source of the causes and of what passes: the trade's
common practice; costs are judgements, measured by the diagnosis benchmark.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Final

from trainer.capture import Gesture, Standing
from trainer.chords import Chord, Quality, parse_quality
from trainer.pitch import Degree, MidiNote, Note, keys_of, mask_of, note_label, pretty
from trainer.voicings import LOW_INTERVAL_LIMITS, Placement, VoicingError, recipe

VERDICTS: Final = {
    "right": "held where it belongs",
    "moved": "held, in another octave or voice",
    "missing": "not held",
    "left out": "optional, and left out",
    "replaced": "another degree is held in its place",
}

CAUSES: Final = {
    "half_step": "one finger a half step off",
    "wrong_quality": "the right chord in another quality",
    "third_missed": "the third missed",
    "other_root": "the same shape on another root",
    "other_form": "the other form of the same chord",
    "octave": "the right keys in another octave",
    "below_limit": "below the limit for its intervals",
    "inversion": "an inversion",
    "spacing": "the right notes, spaced otherwise",
    "left_out": "a note left out",
    "added": "a note added",
    "whole_step": "one finger a whole step off",
    "graze": "a neighbouring key brushed",
    "previous_chord": "the chord before, again",
    "another_of_set": "another chord of the set",
    "no_relation": "no relation to what was asked",
}
"""Stable codes for statistics, in the order in which ties are told."""

_CAUSE_RANK: Final = {code: rank for rank, code in enumerate(CAUSES)}
_TOLD_FIRST: Final = ("previous_chord", "below_limit", "other_form")
_EXPLAINED: Final = 1.0
_EACH_FURTHER_FAULT: Final = 0.8
_NO_RELATION: Final = 3.0


@dataclass(frozen=True, slots=True)
class Passes:
    """What passes for right.

    `order`: ``exact`` from the bottom, any ``inversion``, or ``any`` order and spacing. `octave`: ``as asked`` or
    ``any``. `doublings` may be added, a root may stand below (`root_below`), a brushed key is forgiven (`graze`).
    """

    order: str = "exact"
    octave: str = "as asked"
    doublings: bool = False
    root_below: bool = False
    graze: bool = False


ORDERS_THAT_PASS: Final = ("exact", "inversion", "any")
OCTAVES_THAT_PASS: Final = ("as asked", "any")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one degree: `key` answers for it; `by` is the degree that replaced it, `semitones` off."""

    degree: Degree
    verdict: str
    key: MidiNote | None = None
    by: Degree | None = None
    semitones: int = 0


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


@dataclass(frozen=True)
class Target:
    """A voicing to be played: a placed recipe of a chord, and what passes for it. It is capture's judge."""

    chord: Chord
    placement: Placement
    passes: Passes = field(default_factory=Passes)
    limits: Mapping[int, int] | None = None

    @property
    def root(self) -> Note:
        return self.placement.root

    @property
    def voicing(self) -> str:
        return self.placement.recipe.name

    @property
    def degrees(self) -> tuple[Degree, ...]:
        return self.placement.recipe.degrees

    @property
    def notes(self) -> tuple[Note, ...]:
        return self.placement.notes

    @property
    def keys(self) -> tuple[MidiNote, ...]:
        return self.placement.keys

    @property
    def optional(self) -> frozenset[int]:
        return self.placement.recipe.optional

    # -- what is accepted

    @cached_property
    def _arrangements(self) -> tuple[tuple[int, ...], ...]:
        """Every accepted arrangement of the full voicing, one key for each degree; the one asked for comes first."""
        shapes: list[tuple[int, ...]] = [self.keys]
        if self.passes.order != "exact":
            shapes += _inversions(self.keys)
        if self.passes.octave == "any":
            shapes = [tuple(key + 12 * octave for key in shape) for octave in _OCTAVES for shape in shapes]
        elif self.passes.order != "exact":
            shapes += [tuple(key - 12 for key in shape) for shape in shapes[1:]]
        return tuple(dict.fromkeys(shape for shape in shapes if 0 <= min(shape) and max(shape) <= 127))

    @cached_property
    def _accepted(self) -> dict[int, Standing]:
        """Accepted masks, and whether a key could still join."""
        accepted: dict[int, Standing] = {}
        for keys in self._arrangements:
            for left_out in _subsets(sorted(self.optional)):
                mask = mask_of(key for index, key in enumerate(keys) if index not in left_out)
                standing = Standing.GROWABLE if left_out else Standing.COMPLETE
                if accepted.get(mask) is not Standing.COMPLETE:
                    accepted[mask] = standing
        return accepted

    @cached_property
    def _full_masks(self) -> tuple[int, ...]:
        return tuple(mask_of(keys) for keys in self._arrangements)

    @cached_property
    def _pitch_classes(self) -> int:
        return mask_of(note.pitch_class for note in self.notes)

    @cached_property
    def _needed_pitch_classes(self) -> int:
        return mask_of(note.pitch_class for index, note in enumerate(self.notes) if index not in self.optional)

    @cached_property
    def members(self) -> int:
        """Every key that some accepted answer contains."""
        members = 0
        for mask in self._full_masks:
            members |= mask
        if self.passes.order == "any" or self.passes.doublings:
            members |= _keys_with(self._pitch_classes)
        if self.passes.root_below:
            members |= _keys_with(1 << self.root.pitch_class)
        return members

    def standing(self, held: int) -> Standing:
        """How a set of held keys stands to this target."""
        known = self._accepted.get(held)
        if known is not None:
            return known
        if not held & ~self.members:
            if any(not held & ~mask for mask in self._full_masks):
                return Standing.PARTIAL
            if self.passes.order == "any" or self.passes.doublings or self.passes.root_below:
                return self._loose_standing(held)
        return Standing.WRONG

    def _loose_standing(self, held: int) -> Standing:
        """Standing where keys may be added or freely ordered."""
        if self.passes.root_below and held:
            lowest = held & -held
            rest = held ^ lowest
            if keys_of(lowest)[0] % 12 == self.root.pitch_class and rest != held:
                upper = self.standing(rest) if rest else Standing.PARTIAL
                if upper is not Standing.WRONG:
                    return upper
        if self.passes.doublings and self.passes.order != "any":
            for mask, standing in self._accepted.items():
                if not mask & ~held and not held & ~_keys_with(_folded(mask)):
                    return standing
            missing = self._needed_pitch_classes & ~_folded(held)
            return Standing.PARTIAL if missing else Standing.WRONG
        if self.passes.order == "any":
            folded = _folded(held)
            if folded & ~self._pitch_classes:
                return Standing.WRONG
            if not self.passes.doublings and held.bit_count() > folded.bit_count():
                return Standing.WRONG
            if self.passes.octave != "any" and abs(keys_of(held)[0] - self.keys[0]) >= 12:
                return Standing.WRONG
            if self._needed_pitch_classes & ~folded:
                return Standing.PARTIAL
            return Standing.COMPLETE if folded == self._pitch_classes else Standing.GROWABLE
        return Standing.WRONG

    # -- what a wrong answer may be

    @cached_property
    def hypotheses(self) -> dict[tuple[int, int], tuple[Cause, ...]]:
        """Answers that a known cause predicts: (shape, bottom key mod 12) -> causes. Octaves fold together."""
        found: dict[tuple[int, int], dict[str, Cause]] = {}
        for code, keys, sentence in _predictions(self):
            causes = found.setdefault(_shape_and_place(mask_of(keys)), {})
            causes.setdefault(code, Cause(code, _EXPLAINED, sentence))
        return {place: tuple(causes.values()) for place, causes in found.items()}

    @cached_property
    def _shapes(self) -> frozenset[int]:
        """The shapes of the voicing as asked, with and without what is optional, moved to bit 0."""
        shapes = set()
        for left_out in _subsets(sorted(self.optional)):
            mask = mask_of(key for index, key in enumerate(self.keys) if index not in left_out)
            shapes.add(_shape_and_place(mask)[0])
        return frozenset(shapes)

    @cached_property
    def _degree_of_pitch_class(self) -> dict[int, Degree]:
        """Semitones above the root (0-11) -> degree, in this chord's terms."""
        third = next((degree for degree in self.chord.quality.degrees if degree.simple.number == 3), None)
        names = dict(_USUAL_DEGREES if third != Degree(3, -1) else _USUAL_DEGREES_MINOR)
        for degree in (*self.chord.quality.degrees, *self.degrees):
            names[degree.pitch_class] = degree
        return {semitones: Degree.parse(name) if isinstance(name, str) else name for semitones, name in names.items()}

    def degree_of(self, key: int) -> Degree:
        """A key as a degree of the prompted chord, spelled in that chord's terms."""
        return self._degree_of_pitch_class[(key - self.root.pitch_class) % 12]

    def note_of(self, key: int) -> Note:
        return self.root + self.degree_of(key)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What else an answer could have been meant for: the chord prompted before, and the others of the set."""

    previous: Target | None = None
    others: Sequence[Target] = ()


_OCTAVES: Final = (0, 1, -1, 2, -2, 3, -3, 4, -4)
_USUAL_DEGREES: Final[dict[int, str | Degree]] = {
    0: "1", 1: "b9", 2: "9", 3: "#9", 4: "3", 5: "11", 6: "#11", 7: "5", 8: "b13", 9: "13", 10: "b7", 11: "7",
}  # fmt: skip
_USUAL_DEGREES_MINOR: Final[dict[int, str | Degree]] = _USUAL_DEGREES | {3: "b3", 6: "b5"}

_QUALITIES_TO_CONFUSE: Final = ("maj7", "7", "m7", "m7b5", "m(maj7)", "6", "m6", "dim7", "7#5", "maj7#5")
"""Seventh and sixth chords whose third, fifth or seventh a player may take for another's (common practice)."""


def grade(target: Target, gesture: Gesture | int, surroundings: Surroundings | None = None) -> Grade:
    """Grade what was held: a settled gesture, or a mask of keys."""
    held, grazed = (gesture, ()) if isinstance(gesture, int) else (gesture.held, gesture.grazed)
    complete = target.standing(held) in (Standing.COMPLETE, Standing.GROWABLE)
    verdicts, extra, shift = _verdicts(target, held)
    if complete and (not grazed or target.passes.graze):
        note = f" {_names(target, grazed)} brushed." if grazed else ""
        return Grade(
            keys_of(held), verdicts, extra, True, (), f"Right: {_degree_list(target.degrees, verdicts)}.{note}"
        )
    causes = _causes(target, held, verdicts, extra, shift, grazed if complete else (), surroundings or Surroundings())
    return Grade(keys_of(held), verdicts, extra, False, causes, _sentence(target, verdicts, causes))


def verdicts_so_far(target: Target, held: int) -> tuple[tuple[Verdict, ...], tuple[MidiNote, ...]]:
    """Verdicts and further keys while the answer is still being played: what is missing is only not yet held."""
    verdicts, extra, _ = _verdicts(target, held)
    return verdicts, extra


# -- verdicts


def _verdicts(target: Target, held: int) -> tuple[tuple[Verdict, ...], tuple[MidiNote, ...], int]:
    """A verdict for each degree, the keys left over, and by how many semitones the whole answer is displaced."""
    keys, shift = _reference(target, held)
    degrees = target.degrees
    count = len(degrees)
    answered: list[Verdict | None] = [None] * count
    pool = list(keys_of(held))
    for index in range(count):
        if keys[index] in pool:
            pool.remove(MidiNote(keys[index]))
            verdict = "right" if shift == 0 else "moved"
            answered[index] = Verdict(degrees[index], verdict, MidiNote(keys[index]))
    if pool:
        for index in range(count):
            if answered[index] is None:
                twin = next((key for key in pool if (key - keys[index]) % 12 == 0), None)
                if twin is not None:
                    pool.remove(twin)
                    free = target.passes.order == "any" and target.passes.octave == "any"
                    answered[index] = Verdict(degrees[index], "right" if free else "moved", twin)
    if pool:
        near = sorted(
            (abs(key - keys[index]), index, key)
            for index in range(count)
            if answered[index] is None
            for key in pool
            if abs(key - keys[index]) <= 2
        )
        for _, index, key in near:
            if answered[index] is None and key in pool:
                pool.remove(key)
                off = key - keys[index]
                answered[index] = Verdict(degrees[index], "replaced", key, target.degree_of(key), off)
    verdicts = tuple(
        verdict or Verdict(degrees[index], "left out" if index in target.optional else "missing")
        for index, verdict in enumerate(answered)
    )
    return verdicts, tuple(pool), shift


def _reference(target: Target, held: int) -> tuple[tuple[int, ...], int]:
    """The arrangement the answer is read against, and its displacement in semitones where it is not an accepted one."""
    masks = target._full_masks
    best = max(range(len(masks)), key=lambda index: (masks[index] & held).bit_count())
    common = (masks[best] & held).bit_count()
    keys = target._arrangements[best]
    shift = 0
    if common <= len(keys) // 2 and target.passes.octave != "any":
        for octave in _OCTAVES[1:]:
            moved = masks[best] << 12 * octave if octave > 0 else masks[best] >> -12 * octave
            there = (moved & held).bit_count()
            if there > common and there > len(keys) // 2:
                common, shift = there, 12 * octave
    return (tuple(key + shift for key in keys), shift) if shift else (keys, 0)


# -- causes


def _causes(
    target: Target,
    held: int,
    verdicts: tuple[Verdict, ...],
    extra: tuple[MidiNote, ...],
    shift: int,
    grazed: tuple[MidiNote, ...],
    surroundings: Surroundings,
) -> tuple[Cause, ...]:
    """Every cause that fits as well as any other, the one to tell first in front."""
    if grazed:
        names = _names(target, grazed)
        return (Cause("graze", _EXPLAINED, f"{names} was brushed and let go just before the chord stood."),)
    found: list[Cause] = []
    if held:
        found += target.hypotheses.get(_shape_and_place(held), ())
        found += _same_shape(target, held)
        found += _same_keys(target, held, surroundings)
    found += _local(target, verdicts, extra, shift)
    found.append(Cause("no_relation", _NO_RELATION, "These keys have no clear relation to what was asked."))
    cheapest = min(cause.cost for cause in found)
    ties = {cause.code: cause for cause in reversed(found) if cause.cost - cheapest < 0.05}
    return tuple(sorted(ties.values(), key=lambda cause: (cause.code not in _TOLD_FIRST, _CAUSE_RANK[cause.code])))


def _local(target: Target, verdicts: tuple[Verdict, ...], extra: tuple[MidiNote, ...], shift: int) -> Iterator[Cause]:
    """Causes read off the verdicts: a finger off, a note left out, a note added, the third missed."""
    replaced = [(index, verdict) for index, verdict in enumerate(verdicts) if verdict.verdict == "replaced"]
    missing = [verdict for verdict in verdicts if verdict.verdict == "missing"]
    astray = [verdict for verdict in verdicts if verdict.verdict == "moved"] if shift == 0 else []
    faults = len(replaced) + len(missing) + len(extra) + len(astray) + (shift != 0)
    if faults == 0:
        return
    cost = _EXPLAINED + _EACH_FURTHER_FAULT * (faults - 1)
    if len(missing) == len(verdicts):
        if not extra:
            yield Cause("left_out", _NO_RELATION, "No note of the chord was held.")
        return
    for index, verdict in replaced:
        code = "half_step" if abs(verdict.semitones) == 1 else "whole_step"
        yield Cause(code, cost, _replaced_sentence(target, index, verdict))
    for verdict in missing:
        note = note_label(target.root + verdict.degree)
        degree = pretty(verdict.degree.name)
        yield Cause("left_out", cost, f"The {degree} is missing: {note} belongs to it.")
    if extra:
        words = " and ".join(f"{note_label(target.note_of(key))} (the {_said(target.degree_of(key))})" for key in extra)
        yield Cause("added", cost, f"{words} was added; this voicing leaves it out.")
    thirds = [
        (index, verdict)
        for index, verdict in enumerate(verdicts)
        if verdict.degree.simple.number == 3 and verdict.degree.number in (3, 10) and verdict.degree.alteration <= 0
        and verdict.verdict in ("replaced", "missing")
    ]  # fmt: skip
    for index, verdict in thirds:
        note = note_label(target.root + verdict.degree)
        if verdict.verdict == "replaced":
            yield Cause("third_missed", cost, "The third was missed. " + _replaced_sentence(target, index, verdict))
        else:
            yield Cause("third_missed", cost, f"The third is missing: {pretty(verdict.degree.name)} is {note}.")
    if shift:
        yield Cause("octave", cost, _octave_sentence(target, shift))
    if astray and not missing and not replaced and not extra:
        words = " and ".join(note_label(target.root + verdict.degree) for verdict in astray)
        yield Cause("spacing", cost, f"The right notes, but {words} in another octave than asked.")


def _same_shape(target: Target, held: int) -> Iterator[Cause]:
    """The very shape, moved: by octaves, or to another root."""
    shape, _ = _shape_and_place(held)
    if shape not in target._shapes:
        return
    lowest = keys_of(held & -held)[0]
    for left_out in _subsets(sorted(target.optional)):
        keys = [key for index, key in enumerate(target.keys) if index not in left_out]
        if _shape_and_place(mask_of(keys))[0] != shape:
            continue
        moved = lowest - keys[0]
        if moved % 12 == 0:
            if moved < 0 and _below_limits(held, target.limits):
                low = note_label(target.note_of(lowest))
                yield Cause("below_limit", _EXPLAINED, f"{_octave_sentence(target, moved)} {low} down there is mud.")
            yield Cause("octave", _EXPLAINED, _octave_sentence(target, moved))
        else:
            root = _plain_root((target.root.pitch_class + moved) % 12)
            symbol = pretty_symbol(target.chord.on(root).symbol)
            asked = pretty_symbol(target.chord.symbol)
            yield Cause("other_root", _EXPLAINED, f"The right shape on another root: this is {symbol}, not {asked}.")


def _same_keys(target: Target, held: int, surroundings: Surroundings) -> Iterator[Cause]:
    """The answer to another prompt."""
    asked = pretty_symbol(target.chord.symbol)
    previous = surroundings.previous
    if previous is not None and held in previous._accepted and previous is not target:
        symbol = pretty_symbol(previous.chord.symbol)
        yield Cause("previous_chord", _EXPLAINED, f"That is {symbol} again, the chord before; now it is {asked}.")
    for other in surroundings.others:
        if other is not target and held in other._accepted:
            symbol = pretty_symbol(other.chord.symbol)
            words = f"That is {symbol}, {other.voicing}, another chord of this set; asked was {asked}."
            yield Cause("another_of_set", _EXPLAINED, words)
            break


def _predictions(target: Target) -> Iterator[tuple[str, Sequence[int], str]]:
    """(code, keys, sentence) of every answer that one whole-chord cause predicts."""
    symbol = pretty_symbol(target.chord.symbol)
    for quality_text, keys in _in_other_qualities(target):
        other = pretty_symbol(target.root.name + quality_text)
        yield "wrong_quality", keys, f"Right chord, wrong quality: this is {other}, asked was {symbol}."
    other_form = target.placement.recipe.other
    if other_form is not None:
        try:
            other_degrees = recipe(other_form, target.chord.quality).degrees
        except VoicingError:
            other_degrees = ()
        if other_degrees and other_degrees != target.degrees:
            keys = _stacked(target.root, other_degrees, target.keys[0])
            words = f"The other form: this is {symbol}, {other_form}; asked was {target.voicing}."
            yield "other_form", keys, words
    for left_out in _subsets(sorted(target.optional)):
        keys = tuple(key for index, key in enumerate(target.keys) if index not in left_out)
        for inversion in _inversions(keys):
            bottom = pretty(target.degree_of(inversion[0] if inversion[0] < 128 else inversion[0] - 12).name)
            asked = pretty(target.degrees[0].name)
            words = f"An inversion: the {bottom} is at the bottom, where the {asked} belongs."
            yield "inversion", inversion, words


def _in_other_qualities(target: Target) -> Iterator[tuple[str, tuple[int, ...]]]:
    """The voicing's own keys with third, fifth, sixth and seventh of another quality in their places."""
    own = {degree.simple.number: degree for degree in target.chord.quality.degrees if degree.number <= 7}
    for text in _QUALITIES_TO_CONFUSE:
        quality = _quality(text)
        theirs = {degree.simple.number: degree for degree in quality.degrees if degree.number <= 7}
        keys: list[int] = list(target.keys)
        for index, degree in enumerate(target.degrees):
            number = degree.simple.number
            if number in (3, 5, 7) and degree.number <= 7 and number in own:
                if number in theirs:
                    keys[index] += theirs[number].alteration - degree.alteration
                elif number == 7 and 6 in theirs:
                    keys[index] += theirs[6].pitch_class - degree.pitch_class
            elif degree.number == 6 and 6 in own and 6 not in theirs and 7 in theirs:
                keys[index] += theirs[7].pitch_class - degree.pitch_class
        if tuple(keys) != target.keys and len(set(keys)) == len(keys):
            yield text, tuple(keys)


_QUALITY_CACHE: Final[dict[str, Quality]] = {}


def _quality(text: str) -> Quality:
    if text not in _QUALITY_CACHE:
        _QUALITY_CACHE[text] = parse_quality(text)
    return _QUALITY_CACHE[text]


# -- sentences


def pretty_symbol(symbol: str) -> str:
    """A chord symbol for the screen: its root's and its tensions' accidentals as musical signs.

    >>> pretty_symbol("Bbm7b5"), pretty_symbol("F#7#9"), pretty_symbol("Cm7/Bb"), pretty_symbol("Cdim7")
    ('B♭m7♭5', 'F♯7♯9', 'Cm7/B♭', 'Cdim7')
    """
    shown = []
    for index, character in enumerate(symbol):
        before = symbol[index - 1] if index else ""
        after = symbol[index + 1 : index + 2]
        flat = character == "b" and (before in set("ABCDEFG") or after.isdigit() or before == "b")
        shown.append("♯" if character == "#" else "♭" if flat else character)
    return "".join(shown)


def _sentence(target: Target, verdicts: tuple[Verdict, ...], causes: tuple[Cause, ...]) -> str:
    """What was right first, then the cause, then what ties with it."""
    right = [pretty(verdict.degree.name) for verdict in verdicts if verdict.verdict == "right"]
    parts = []
    if right and len(right) < len(verdicts):
        listed = " ".join(right)
        parts.append(f"{listed} right." if len(right) > 1 else f"The {listed} is right.")
    parts.append(causes[0].sentence)
    quality = next((cause for cause in causes[1:] if cause.code == "wrong_quality"), None)
    if quality is not None:
        parts.append(quality.sentence.replace("Right chord, wrong quality: this is", "As played it is"))
    return " ".join(parts)


def _replaced_sentence(target: Target, index: int, verdict: Verdict) -> str:
    assert verdict.key is not None
    played = note_label(target.note_of(verdict.key))
    wanted = note_label(target.root + verdict.degree)
    last = len(target.degrees) - 1
    where = " on top" if index == last else " at the bottom" if index == 0 else ""
    size = "a half step" if abs(verdict.semitones) == 1 else "a whole step"
    way = "high" if verdict.semitones > 0 else "low"
    degree = _said(verdict.degree)
    return f"{played} for {wanted}{where}: {size} {way}; the {degree} of {pretty(target.root.name)} is {wanted}."


def _said(degree: Degree) -> str:
    return "root" if degree == Degree(1) else pretty(degree.name)


def _octave_sentence(target: Target, moved: int) -> str:
    octaves = abs(moved) // 12
    size = "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"The right notes, {size} too {'high' if moved > 0 else 'low'}."


def _degree_list(degrees: tuple[Degree, ...], verdicts: tuple[Verdict, ...]) -> str:
    held = [degree for degree, verdict in zip(degrees, verdicts, strict=True) if verdict.verdict != "left out"]
    return " ".join(pretty(degree.name) for degree in held)


def _names(target: Target, keys: Sequence[MidiNote]) -> str:
    return " and ".join(note_label(target.note_of(key)) for key in keys)


# -- sets of keys


def _subsets(indices: Sequence[int]) -> Iterator[frozenset[int]]:
    """Every set of indices, the empty one first."""
    for size in range(len(indices) + 1):
        for chosen in combinations(indices, size):
            yield frozenset(chosen)


def _inversions(keys: Sequence[int]) -> list[tuple[int, ...]]:
    """The rotations of a voicing: its lowest voices raised by octaves above its top, degree by degree."""
    top = max(keys)
    inversions = []
    raised = list(keys)
    for index in range(len(keys) - 1):
        while raised[index] <= top:
            raised[index] += 12
        top = raised[index]
        inversions.append(tuple(raised))
    return inversions


def _stacked(root: Note, degrees: Sequence[Degree], near: int) -> tuple[int, ...]:
    """Degrees stacked upwards on a root, the bottom one as close to a key as it comes."""
    pitch_classes = [(root + degree).pitch_class for degree in degrees]
    bottom = near + (pitch_classes[0] - near + 5) % 12 - 5
    keys = [bottom]
    for pitch_class in pitch_classes[1:]:
        keys.append(keys[-1] + ((pitch_class - keys[-1]) % 12 or 12))
    return tuple(keys)


def _shape_and_place(mask: int) -> tuple[int, int]:
    """A set of keys moved down to bit 0, and where its lowest key stood within the octave."""
    lowest = (mask & -mask).bit_length() - 1
    return mask >> lowest, lowest % 12


def _folded(mask: int) -> int:
    """The pitch classes of a set of keys, as a mask of 12 bits."""
    folded = 0
    while mask:
        folded |= mask & 0xFFF
        mask >>= 12
    return folded


def _keys_with(pitch_classes: int) -> int:
    """Every MIDI key that has one of the pitch classes."""
    return _repeated(pitch_classes) & ((1 << 128) - 1)


def _repeated(pitch_classes: int) -> int:
    mask = 0
    for octave in range(11):
        mask |= pitch_classes << 12 * octave
    return mask


def _below_limits(held: int, limits: Mapping[int, int] | None) -> bool:
    table = LOW_INTERVAL_LIMITS if limits is None else limits
    keys = keys_of(held)
    return any(low < table.get(high - low, 0) for low, high in combinations(keys, 2))


_PLAIN_ROOTS: Final = {note.pitch_class: note for note in map(Note.parse, "C Db D Eb E F Gb G Ab A Bb B".split())}


def _plain_root(pitch_class: int) -> Note:
    return next(note for place, note in _PLAIN_ROOTS.items() if place == pitch_class)
