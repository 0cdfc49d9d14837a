"""An answer read degree by degree: one verdict for each degree of the voicing, and the keys left over.

Every held key is used once, as the key of a verdict or as a further key. A wrong answer is read against the accepted
arrangement that it shares most keys with; where the right keys lie octaves away as a whole, against that displaced.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from trainer.grading.targets import OCTAVES, Arrangement, Target
from trainer.pitch import Degree, MidiNote, keys_of, mask_of

VERDICTS: Final = {
    "right": "held where it belongs",
    "moved": "held, in another octave or voice",
    "missing": "not held",
    "left out": "optional, and left out",
    "replaced": "another degree is held in its place",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one degree: `key` answers for it; `by` is the degree that replaced it, `semitones` off."""

    degree: Degree
    verdict: str
    key: MidiNote | None = None
    by: Degree | None = None
    semitones: int = 0


@dataclass(frozen=True, slots=True)
class Answer:
    """Verdicts bottom up, further keys, and by how many semitones (whole octaves) the answer lies displaced."""

    verdicts: tuple[Verdict, ...]
    extra: tuple[MidiNote, ...]
    shift: int = 0


NEAREST_SEMITONES: Final = 2
"""A key up to a whole step beside its place stands for the degree that belongs there."""


def read_right(target: Target, held: int, arrangement: Arrangement) -> Answer:
    """An accepted answer: what is not right is left out; doublings and a root below are further keys."""
    verdicts = tuple(
        [
            Verdict(degree, "left out") if key is None else Verdict(degree, "right", MidiNote(key))
            for degree, key in zip(target.degrees, arrangement, strict=True)
        ]
    )
    if held in target.accepted:
        return Answer(verdicts, ())
    return Answer(verdicts, keys_of(held ^ mask_of(key for key in arrangement if key is not None)))


def read(target: Target, held: int) -> Answer:
    """Any answer, right or not."""
    arrangement = target.match(held)[1]
    return read_wrong(target, held) if arrangement is None else read_right(target, held, arrangement)


def verdicts_so_far(target: Target, held: int) -> tuple[tuple[Verdict, ...], tuple[MidiNote, ...]]:
    """Verdicts and further keys while the answer is still being played: what is missing is only not yet held."""
    answer = read(target, held)
    return answer.verdicts, answer.extra


def read_wrong(target: Target, held: int) -> Answer:
    """An answer that is not accepted."""
    degrees = target.degrees
    anywhere = target.passes.order == "any"
    slots, shift = _reference(target, held)
    pool = list(keys_of(held))
    if anywhere:
        off = pool[0] - target.keys[0] if pool and target.passes.octave != "any" else 0
        shift = 12 * (off // 12 if off > 0 else -(-off // 12))
    here = "moved" if shift else "right"
    found: list[Verdict | None] = [None] * len(degrees)
    for index, slot in enumerate(slots):
        if slot in pool:
            pool.remove(MidiNote(slot))
            found[index] = Verdict(degrees[index], here, MidiNote(slot))
    for index, degree in enumerate(degrees):
        if pool and found[index] is None:
            place = target.notes[index].pitch_class
            twin = next((key for key in pool if key % 12 == place), None)
            if twin is not None:
                pool.remove(twin)
                found[index] = Verdict(degree, here if anywhere else "moved", twin)
    if pool and None in found:
        near = []
        for index, slot in enumerate(slots):
            if found[index] is None and slot is not None:
                for key in pool:
                    off = (key - slot + 6) % 12 - 6 if anywhere else key - slot
                    if -NEAREST_SEMITONES <= off <= NEAREST_SEMITONES:
                        near.append((abs(off), index, key, off))
        for _, index, key, off in sorted(near):
            if found[index] is None and key in pool:
                pool.remove(key)
                degree = degrees[index]
                found[index] = Verdict(degree, "replaced", key, target.degree_in_place_of(degree, key), off)
    verdicts = tuple(
        [
            verdict or Verdict(degrees[index], "left out" if index in target.optional else "missing")
            for index, verdict in enumerate(found)
        ]
    )
    return Answer(verdicts, tuple(pool), shift)


def _reference(target: Target, held: int) -> tuple[Arrangement, int]:
    """The arrangement an answer is read against, and its displacement in semitones where it is not an accepted one."""
    accepted = target.accepted
    if len(accepted) == 1:
        best = next(iter(accepted))
        common = (best & held).bit_count()
    else:
        shared = [(mask & held).bit_count() for mask in accepted]
        common = max(shared)
        alike = [mask for mask, count in zip(accepted, shared, strict=True) if count == common]
        best = alike[0] if len(alike) == 1 else min(alike, key=lambda mask: _distance(mask, held))
    keys = accepted[best][1]
    half = best.bit_count() // 2
    shift = 0
    if common <= half and target.passes.octave != "any" and target.passes.order != "any":
        for octave in OCTAVES[1:]:
            moved = best << 12 * octave if octave > 0 else best >> -12 * octave
            there = (moved & held).bit_count()
            if there > common and there > half:
                common, shift = there, 12 * octave
    if shift:
        keys = tuple(None if key is None else key + shift for key in keys)
    return keys, shift


def _distance(mask: int, held: int) -> tuple[int, int]:
    """How far two sets of keys lie apart: in size, then in semitones key by key from the bottom."""
    ours, theirs = keys_of(mask), keys_of(held)
    return abs(len(ours) - len(theirs)), sum(abs(one - other) for one, other in zip(ours, theirs, strict=False))
