"""What is asked, and which sets of keys are accepted for it.

An *arrangement* gives one key for each degree of the recipe, bottom to top as asked, None where an optional degree is
left out. A `Target` lists every accepted arrangement by its mask once; where keys may be added or freely ordered, the
rest is decided by rule. It is capture's judge (`capture.Judge`).

Source: common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Final

from trainer.capture import Standing
from trainer.chords import Chord, Quality
from trainer.pitch import Degree, MidiNote, Note, keys_of, mask_of
from trainer.voicings import Placement

ORDERS_THAT_PASS: Final = ("exact", "inversion", "any")
OCTAVES_THAT_PASS: Final = ("as asked", "any")

OCTAVES: Final = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5)
"""Octaves by which an answer may be displaced, the nearest first."""

Arrangement = tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Passes:
    """What passes for right.

    `order`: ``exact`` from the bottom, any ``inversion``, or ``any`` order and spacing. `octave`: ``as asked`` or
    ``any`` (with any order: the lowest key within an octave of the one asked, or anywhere). `doublings` of the
    voicing's notes may be added, a root may stand below (`root_below`), a brushed key is forgiven (`graze`).
    """

    order: str = "exact"
    octave: str = "as asked"
    doublings: bool = False
    root_below: bool = False
    graze: bool = False


@dataclass(frozen=True)
class Target:
    """A voicing to be played: a placed recipe of a chord, and what passes for it. It is capture's judge.

    `limits` are the low-interval limits of the set, None for `voicings.LOW_INTERVAL_LIMITS`.
    """

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
    def accepted(self) -> dict[int, tuple[Standing, Arrangement]]:
        """Every accepted answer that needs no rule: mask -> standing and arrangement; what was asked comes first."""
        keys = self.keys
        found: dict[int, tuple[Standing, Arrangement]] = {}
        for left_out in subsets(self.optional):
            kept = [index for index in range(len(keys)) if index not in left_out]
            for shape in self._shapes([keys[index] for index in kept]):
                answer: list[int | None] = [None] * len(keys)
                for index, key in zip(kept, shape, strict=True):
                    answer[index] = key
                found.setdefault(mask_of(shape), (Standing.COMPLETE, tuple(answer)))
        if self.optional:
            for mask, (_, arrangement) in found.items():
                if any(mask & other == mask and mask != other for other in found):
                    found[mask] = (Standing.GROWABLE, arrangement)
        return found

    def _shapes(self, keys: Sequence[int]) -> list[tuple[int, ...]]:
        """The arrangements of some degrees that pass, as asked first."""
        shapes = [tuple(keys)]
        if self.passes.order != "exact":
            shapes += inversions(keys)
        if self.passes.octave == "any":
            shapes = [tuple(key + 12 * octave for key in shape) for octave in OCTAVES for shape in shapes]
        elif self.passes.order != "exact":
            shapes += [tuple(key - 12 for key in shape) for shape in shapes[1:]]
        return [shape for shape in shapes if min(shape) >= 0 and max(shape) <= 127]

    @cached_property
    def _places(self) -> tuple[int, ...]:
        """The pitch class of each degree."""
        return tuple(note.pitch_class for note in self.notes)

    @cached_property
    def most(self) -> Counter[int]:
        """Pitch class -> how many keys the full voicing has of it."""
        return Counter(self._places)

    @cached_property
    def _least(self) -> Counter[int]:
        return Counter(place for index, place in enumerate(self._places) if index not in self.optional)

    @cached_property
    def members(self) -> int:
        """Every key that some accepted answer contains, as a mask."""
        members = 0
        for mask in self.accepted:
            members |= mask
        if self.passes.order == "any" or self.passes.doublings:
            members |= keys_with(mask_of(self._places))
        if self.passes.root_below:
            members |= keys_with(1 << self.root.pitch_class)
        return members

    def standing(self, held: int) -> Standing:
        """How a set of held keys stands to this target."""
        known = self.accepted.get(held)
        return known[0] if known is not None else self.match(held)[0]

    def match(self, held: int) -> tuple[Standing, Arrangement | None]:
        """How a set of held keys stands, and where it is accepted, which key answers for which degree."""
        known = self.accepted.get(held)
        if known is not None:
            return known
        if held & ~self.members:
            return Standing.WRONG, None
        whole = self._match_voicing(held)
        if whole[1] is None and self.passes.root_below and held:
            lowest = held & -held
            if lowest & keys_with(1 << self.root.pitch_class):
                rest = held ^ lowest
                # Only where doublings pass may a second root stand below.
                above = self.match(rest) if self.passes.doublings else self._match_voicing(rest)
                if above[0] is not Standing.WRONG:
                    return above
        return whole

    def _match_voicing(self, held: int) -> tuple[Standing, Arrangement | None]:
        """`match` without a root below."""
        known = self.accepted.get(held)
        if known is not None:
            return known
        if self.passes.order == "any":
            return self._match_in_any_order(held)
        if any(not held & ~mask for mask in self.accepted):
            return Standing.PARTIAL, None
        if not self.passes.doublings or held & ~keys_with(mask_of(self._places)):
            return Standing.WRONG, None
        for mask, (standing, answer) in self.accepted.items():
            if not mask & ~held and not held & ~keys_with(folded(mask)):
                return standing, answer
        missing = mask_of(self._least) & ~folded(held)
        return (Standing.PARTIAL if missing else Standing.WRONG), None

    def _match_in_any_order(self, held: int) -> tuple[Standing, Arrangement | None]:
        keys = keys_of(held)
        have = Counter(key % 12 for key in keys)
        if any(place not in self.most for place in have):
            return Standing.WRONG, None
        if not self.passes.doublings and any(count > self.most[place] for place, count in have.items()):
            return Standing.WRONG, None
        off = keys[0] - self.keys[0] if keys and self.passes.octave != "any" else 0
        if off <= -12:
            return Standing.WRONG, None
        if any(have[place] < count for place, count in self._least.items()):
            return Standing.PARTIAL, None
        if off >= 12:
            return Standing.WRONG, None
        full = all(have[place] >= count for place, count in self.most.items())
        return (Standing.COMPLETE if full else Standing.GROWABLE), self._taken_in_order(list(keys))

    def _taken_in_order(self, keys: list[int]) -> Arrangement:
        """Degrees that must stand take their keys first, each the lowest of its pitch class."""
        answer: list[int | None] = [None] * len(self._places)
        for index in sorted(range(len(answer)), key=lambda index: index in self.optional):
            for key in keys:
                if key % 12 == self._places[index]:
                    answer[index] = key
                    keys.remove(key)
                    break
        return tuple(answer)

    # -- names

    @cached_property
    def _degree_of_pitch_class(self) -> dict[int, Degree]:
        return degrees_in(self.chord.quality, self.degrees)

    def degree_of(self, key: int) -> Degree:
        """A key as a degree of the prompted chord, spelled in that chord's terms."""
        return self._degree_of_pitch_class[(key - self.root.pitch_class) % 12]

    def degree_in_place_of(self, degree: Degree, key: int) -> Degree:
        """As `degree_of`, for a key that stands where `degree` belongs: Eb for the third E is b3, not #9."""
        usual = self.degree_of(key)
        if (key - self.root.pitch_class) % 12 in self._own_places:
            return usual
        off = (key - self.root.pitch_class - degree.pitch_class + 6) % 12 - 6
        altered = Degree(degree.number, degree.alteration + off)
        names = [altered, usual] if altered.simple in _ALTERED_IN_PLACE else [usual]
        names += [_TWIN[usual]] if usual in _TWIN else []
        return next((each for each in names if (self.root + each).is_plain), names[0])

    @cached_property
    def _own_places(self) -> frozenset[int]:
        return frozenset(degree.pitch_class for degree in (*self.chord.quality.degrees, *self.degrees))


def degrees_in(quality: Quality, voicing: Sequence[Degree] = ()) -> dict[int, Degree]:
    """Semitones above the root (0-11) -> degree, as a chord of this quality (and a voicing of it) spells them.

    >>> from trainer.chords import parse_quality
    >>> degrees_in(parse_quality("m7"))[3], degrees_in(parse_quality("7"))[3], degrees_in(parse_quality("6"))[9]
    (Degree('b3'), Degree('#9'), Degree('6'))
    """
    third, seventh = quality.third, quality.seventh
    names = dict(_USUAL_DEGREES)
    if third is not None and (third.alteration < 0 or seventh != Degree(7, -1)):
        names[3] = Degree(3, -1)
    if third is not None and third.alteration < 0:
        names[6] = Degree(5, -1)
    for degree in (*quality.degrees, *voicing):
        names[degree.pitch_class] = degree
    return names


_USUAL_DEGREES: Final = {
    semitones: Degree.parse(name)
    for semitones, name in enumerate("1 b9 9 #9 3 11 #11 5 b13 13 b7 7".split())
}  # fmt: skip
_TWIN: Final = {
    Degree(9, 1): Degree(3, -1),
    Degree(11, 1): Degree(5, -1),
    Degree(5, -1): Degree(11, 1),
    Degree(13, -1): Degree(5, 1),
}
_ALTERED_IN_PLACE: Final = frozenset({Degree(3, -1), Degree(5, -1), Degree(5, 1)})


# -- sets of keys


def subsets(indices: frozenset[int]) -> Iterator[frozenset[int]]:
    """Every set of indices, the empty one first."""
    ordered = sorted(indices)
    for size in range(len(ordered) + 1):
        for chosen in combinations(ordered, size):
            yield frozenset(chosen)


def inversions(keys: Sequence[int]) -> list[tuple[int, ...]]:
    """The rotations of a voicing: its lowest voices raised by octaves above its top, one for one with `keys`.

    >>> inversions((60, 64, 67))
    [(72, 64, 67), (72, 76, 67)]
    """
    found = []
    raised = list(keys)
    top = max(keys)
    for index in range(len(keys) - 1):
        raised[index] += 12 * ((top - raised[index]) // 12 + 1)
        top = raised[index]
        found.append(tuple(raised))
    return found


def folded(mask: int) -> int:
    """The pitch classes of a set of keys, as a mask of 12 bits."""
    places = 0
    while mask:
        places |= mask & 0xFFF
        mask >>= 12
    return places


_EVERY_OCTAVE: Final = sum(1 << 12 * octave for octave in range(11))
_ALL_KEYS: Final = (1 << 128) - 1


def keys_with(places: int) -> int:
    """Every MIDI key that has one of the pitch classes (a mask of 12 bits)."""
    return places * _EVERY_OCTAVE & _ALL_KEYS
