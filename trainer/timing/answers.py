"""A take graded against a form: what became of each slot, and the player's time.

    aligned = align(events, slots, grid, calibration_ms=12.0)

Each slot is *right*, *wrong* (with the cause that `trainer.grading` names), *missed*, *late* (right, but later than its
bound) or *left out* (optional, and silent). The error of an answer is when its gesture began less when the slot was due
by the grid, in whole ms, the port's calibration taken off; before the beat is below 0. It is against the click and not
against the player's own drift: who drags away from the click is late. The bound is half the slot, at most `late_ms`, at
least the 80 ms that one chord may take (`Bounds`).

The *offset* of a take is the median of its errors, its *scatter* 1.4826 times the median distance from that (the
standard deviation, where errors are normal; Hampel, J. Am. Stat. Assoc. 69, 1974): one chord far off moves neither. The
*drift* is the robust slope of the errors over the take: +2 is a player 2 % slower than the grid.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import floor
from typing import Final

from trainer.capture import MILLISECOND_NS, Gesture, Kind, NoteEvent, Windows
from trainer.estimates import median
from trainer.grading import Grade, Surroundings, Target, grade
from trainer.pitch import MidiNote, keys_of, mask_of
from trainer.timing.alignment import Assigned, Lane, Run, assign, lanes_of
from trainer.timing.drift import Drift, Match, Moment, Touch, drift_through, follow, in_stretches, slope
from trainer.timing.grid import Grid
from trainer.timing.hearing import Hand, Splitter, Stroke, gap_ms, gesture_of, strokes_of, whole_ms
from trainer.timing.slots import Slot

LEAST_FOR_SCATTER: Final = 4
LEAST_FOR_DRIFT: Final = 8
NORMAL: Final = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""

_MOST_ROUNDS: Final = 4
_SAME_DRIFT_MS: Final = 10.0


@dataclass(frozen=True, slots=True)
class Bounds:
    """When a right voicing is late: after `late_share` of its slot, at most `late_ms`, at least `least_ms`. Judgements:
    no data on learners was found; 30-40 ms between players of an ensemble are usual, 150 ms a learner's own spread."""

    late_ms: float = 150.0
    late_share: Fraction = Fraction(1, 2)
    least_ms: float = 80.0

    def of(self, slot_ms: float) -> float:
        """The bound of a slot of some length, in ms."""
        return max(self.least_ms, min(self.late_ms, float(self.late_share) * slot_ms))


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a slot. `held` are the keys that answered, `manner` how (together, rolled, spread); times are ms,
    `bound_ms` is how long after its moment a right answer is not yet late."""

    slot: Slot
    verdict: str
    held: tuple[MidiNote, ...] = ()
    error_ms: int | None = None
    spread_ms: int | None = None
    bound_ms: float = 0.0
    manner: str = ""
    grade: Grade | None = None
    sentence: str = ""

    @property
    def in_time(self) -> bool:
        """Right, and no further from its moment than the bound, before it or after."""
        return self.verdict == "right" and self.error_ms is not None and abs(self.error_ms) <= self.bound_ms


@dataclass(frozen=True, slots=True)
class Extra:
    """A gesture that answered no slot: its keys, and when it began (ms from beat 0)."""

    part: str
    keys: tuple[MidiNote, ...]
    at_ms: int


@dataclass(frozen=True, slots=True)
class Aligned:
    """A take against a form: an answer for every slot that was reached, in the order of the slots, and the figures of
    the take (None where too little was played to tell). `lost` says that the port fell silent or was lost on the way;
    `whole` that every slot was reached."""

    grid: Grid
    answers: tuple[Answer, ...]
    extra: tuple[Extra, ...]
    offset_ms: float | None
    scatter_ms: float | None
    drift_percent: float | None
    calibration_ms: float
    whole: bool
    lost: bool
    events: tuple[NoteEvent, ...] = field(default=(), repr=False)


def align(
    events: Iterable[NoteEvent],
    slots: Sequence[Slot],
    grid: Grid,
    *,
    calibration_ms: float = 0.0,
    until_ns: int | None = None,
    channel: int | None = None,
    windows: Windows | None = None,
    bounds: Bounds | None = None,
) -> Aligned:
    """Align a take with the slots of a form and grade it.

    `events` are in order of time, on the clock of `grid`. `calibration_ms` is what the port adds to every moment.
    A pass stopped at `until_ns` is judged up to there: later slots were not reached and have no answer. `channel` is
    the only one heard (None: any but percussion).
    """
    taken = tuple(event for event in events if until_ns is None or event.time_ns <= until_ns)
    windows = windows or Windows()
    bounds = bounds or Bounds()
    lanes = lanes_of(slots, grid, windows, calibration_ms)
    strokes = strokes_of(taken, grid.start_ns, channel)
    hands, assigned = _aligned(strokes, lanes, grid, windows)
    until_ms = None if until_ns is None else whole_ms(until_ns, grid.start_ns)
    by_slot: dict[int, Answer] = {}
    extra: list[Extra] = []
    matches: list[Match] = []
    unreached = 0
    for lane, hand, found in zip(lanes, hands, assigned, strict=True):
        marker = Marker(lane, windows, bounds)
        runs = dict(found.answers)
        for index, slot in enumerate(lane.slots):
            run = runs.get(index)
            if run is not None:
                by_slot[id(slot)] = answer = marker.answer(index, hand, run)
                assert answer.error_ms is not None
                matches.append((lane.at_ms[index], float(answer.error_ms)))
            elif until_ms is None or lane.at_ms[index] + marker.bound_ms(index) <= until_ms:
                by_slot[id(slot)] = marker.silent(index)
            else:
                unreached += 1
        extra += extras_of(lane, hand, found.extra)
    matches.sort()
    answers = tuple(by_slot[id(slot)] for slot in slots if id(slot) in by_slot)
    offset, scatter = steadiness([error for _, error in matches])
    tilt = slope(matches) if len(matches) >= LEAST_FOR_DRIFT else None
    return Aligned(
        grid=grid,
        answers=answers,
        extra=tuple(sorted(extra, key=lambda each: (each.at_ms, each.part))),
        offset_ms=offset,
        scatter_ms=scatter,
        drift_percent=None if tilt is None else round(100 * tilt, 2),
        calibration_ms=calibration_ms,
        whole=not unreached,
        lost=any(_lost(event) for event in taken),
        events=taken,
    )


def _lost(event: NoteEvent) -> bool:
    """The port is gone, or its active sensing fell silent. A mode message only lets the keys go."""
    return event.kind is Kind.PORT_LOST or (event.kind is Kind.QUIET and event.value == 0)


def steadiness(errors_ms: Sequence[float]) -> tuple[float | None, float | None]:
    """The steady offset of some errors and their scatter (see the head of this module), to 0.1 ms; None for none, and
    no scatter under `LEAST_FOR_SCATTER`.

    >>> steadiness([20, 24, 16, 30, 900]), steadiness([7]), steadiness([])
    ((24.0, 8.9), (7.0, None), (None, None))
    """
    offset = median(errors_ms)
    if offset is None:
        return None, None
    if len(errors_ms) < LEAST_FOR_SCATTER:
        return round(offset, 1), None
    away = median([abs(error - offset) for error in errors_ms])
    assert away is not None
    return round(offset, 1), round(NORMAL * away, 1)


def extras_of(lane: Lane, hand: Hand, runs: Iterable[Run]) -> list[Extra]:
    """The gestures too many of a lane; what lies before its form or after it is no part of the pass."""
    found = []
    for run in runs:
        at_ms = hand.strokes[run.first].down_ms
        if lane.at_ms[0] - lane.early_ms[0] <= at_ms <= lane.end_ms:
            found.append(Extra(lane.part, keys_of(run.keys), at_ms))
    return found


# -- one lane's slots, marked


class Marker:
    """Grades runs as answers to the slots of a lane."""

    def __init__(self, lane: Lane, windows: Windows, bounds: Bounds) -> None:
        self._lane = lane
        self._windows = windows
        self._bounds = [bounds.of(each) for each in lane.length_ms]
        others: dict[object, Target] = {}
        for slot in lane.slots:
            others.setdefault((slot.target.chord, slot.target.keys), slot.target)
        self._others = tuple(others.values())

    def bound_ms(self, index: int) -> float:
        return self._bounds[index]

    def answer(self, index: int, hand: Hand, run: Run) -> Answer:
        """A run as the answer to a slot."""
        target = self._lane.slots[index].target
        return self.graded(index, gesture_of(hand, run.first, run.stop, target, self._windows))

    def graded(self, index: int, gesture: Gesture) -> Answer:
        """A gesture (times from beat 0) as the answer to a slot."""
        slot = self._lane.slots[index]
        target = slot.target
        found = grade(target, gesture, Surroundings(self._before(index), self._others))
        error = floor(gesture.first_ns / MILLISECOND_NS - self._lane.at_ms[index] + 0.5)
        bound = self._bounds[index]
        verdict, sentence = "wrong", found.sentence
        if found.right:
            verdict = "right"
            if error > bound:
                verdict, sentence = "late", f"{sentence} It came {error} ms after its beat."
        return Answer(
            slot=slot,
            verdict=verdict,
            held=found.held,
            error_ms=error,
            spread_ms=gesture.spread_ns // MILLISECOND_NS,
            bound_ms=bound,
            manner=gesture.manner(self._windows, target.placement.recipe.split is not None),
            grade=found,
            sentence=sentence,
        )

    def silent(self, index: int) -> Answer:
        """A slot that nothing answered."""
        slot = self._lane.slots[index]
        if slot.optional:
            return Answer(slot, "left out", bound_ms=self._bounds[index], sentence="Left out, as it may be.")
        return Answer(slot, "missed", bound_ms=self._bounds[index], sentence="Not played.")

    def _before(self, index: int) -> Target | None:
        """The chord before, where it was another."""
        target = self._lane.slots[index].target
        for slot in reversed(self._lane.slots[:index]):
            if slot.target is not target and slot.target.keys != target.keys:
                return slot.target
        return None


# -- the alignment, and the drift it needs


def _aligned(
    strokes: Sequence[Stroke], lanes: Sequence[Lane], grid: Grid, windows: Windows
) -> tuple[list[Hand], list[Assigned]]:
    """Align, take the drift from the answers, and align again until it stays the same."""
    stretches = _stretches(strokes, lanes, grid, windows)
    drift = drift_through(stretches)
    for _ in range(_MOST_ROUNDS):
        hands = split(strokes, lanes, drift)
        assigned = [assign(lane, hand, windows, drift) for lane, hand in zip(lanes, hands, strict=True)]
        matches = sorted(
            (lane.at_ms[index], hand.strokes[run.first].down_ms - lane.at_ms[index])
            for lane, hand, found in zip(lanes, hands, assigned, strict=True)
            for index, run in found.answers
            if run.keys & mask_of(lane.slots[index].target.keys)
        )
        refined = drift_through(in_stretches(matches, stretches))
        if all(abs(refined.at(at) - drift.at(at)) <= _SAME_DRIFT_MS for lane in lanes for at in lane.at_ms):
            break
        drift = refined
    return hands, assigned


def split(strokes: Iterable[Stroke], lanes: Sequence[Lane], drift: Drift) -> list[Hand]:
    """The strokes of each lane."""
    hands = [Hand() for _ in lanes]
    if not hands:
        return hands
    splitter = splitter_of(lanes, drift)
    for stroke in strokes:
        hands[splitter.lane(stroke.key, stroke.down_ms)].append(stroke)
    return hands


def splitter_of(lanes: Sequence[Lane], drift: Drift) -> Splitter:
    return Splitter([([at + drift.at(at) for at in lane.at_ms], lane.targets) for lane in lanes])


def _stretches(strokes: Sequence[Stroke], lanes: Sequence[Lane], grid: Grid, windows: Windows) -> list[list[Match]]:
    """A first way through the take, the hands together."""
    moments = moments_of(lanes)
    return follow(touches_of(strokes, moments, windows), moments, grid.beat_ns / MILLISECOND_NS)


def moments_of(lanes: Sequence[Lane]) -> list[Moment]:
    """The moments of a form with all that is asked for then, in order."""
    by_time: dict[float, tuple[int, bool]] = {}
    for lane in lanes:
        for slot, at_ms in zip(lane.slots, lane.at_ms, strict=True):
            keys, optional = by_time.get(at_ms, (0, True))
            by_time[at_ms] = (keys | mask_of(slot.target.keys), optional and slot.optional)
    return [Moment(at_ms, keys, optional) for at_ms, (keys, optional) in sorted(by_time.items())]


def touches_of(strokes: Iterable[Stroke], moments: Sequence[Moment], windows: Windows) -> list[Touch]:
    """Strokes as gestures of both hands together, by the gap rule."""
    gap = gap_ms([moment.at_ms for moment in moments], windows)
    graze_ms = windows.graze_ns / MILLISECOND_NS
    touches: list[Touch] = []
    last_ms = 0
    struck_ms: dict[int, int] = {}
    for stroke in strokes:
        again_ms = struck_ms.get(stroke.key)
        if (
            touches
            and stroke.down_ms - last_ms <= gap
            and (again_ms is None or again_ms < touches[-1].at_ms or stroke.down_ms - again_ms <= graze_ms)
        ):
            touches[-1] = replace(touches[-1], keys=touches[-1].keys | 1 << stroke.key)
        else:
            touches.append(Touch(stroke.down_ms, 1 << stroke.key))
        last_ms = struck_ms[stroke.key] = stroke.down_ms
    return touches
