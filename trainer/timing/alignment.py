"""One alignment over the whole take: which strokes answer which slot.

Each hand plays its own slots, in their order. A *run* of strokes answers a slot (the voicing, right or not), or it is a
gesture too many; a slot that no run answers is missed. Every way of cutting a take into runs and giving them to slots
has a cost, and the cheapest is found exactly, by dynamic programming: one slip never shifts what follows.

The cost of a run that answers a slot: its distance in time from the slot (`_time_cost`), how badly its keys fit
(`_misfit`: 0 for an accepted answer, `UNRELATED` for none of its keys), `BRIDGED` where it bridges a pause wider than
the gap rule's, which only keys of the chord may (a rolled or built-up chord), and `CUT` where it cuts a gesture that
the gap rule holds for one. A slot missed costs `MISSED`, a gesture too many `EXTRA`, the same keys again
`AGAIN`, at once `DOUBLED`.

A slot is answered from its *reach* only: back to the slot before, at most one beat (at least `EARLIEST_MS`), and on to
the slot after, at most as long as the slot itself (at least two beats). Where in time a slot lies is the grid, the
port's calibration, and the player's own drift (`trainer.timing.drift`).

The hands do not share strokes, so the cheapest for each is the cheapest for all. Constants are judgements; what they
do to takes with a known truth is measured by `tests/benchmarks/bench_timing.py`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trainer.capture import MILLISECOND_NS, Windows
from trainer.grading import Target
from trainer.grading.targets import folded
from trainer.pitch import mask_of
from trainer.timing.drift import NO_DRIFT, Drift
from trainer.timing.grid import Grid
from trainer.timing.hearing import ACCEPTED, Hand, gap_ms
from trainer.timing.slots import PARTS, Slot

MISSED: Final = 1.0
LEFT_OUT: Final = 0.7
EXTRA: Final = 1.0
AGAIN: Final = 0.6
DOUBLED: Final = 0.35
UNRELATED: Final = 1.2
BRIDGED: Final = 0.15
CUT: Final = 0.25

EARLIEST_MS: Final = 400.0
WIDEST_GAP_MS: Final = 210.0
"""Between the notes of a rolled chord: 95 % of the pauses are shorter (measured, an open corpus of 22 pianists)."""
_NEAR_COST: Final = 0.3
_NEAR_MS: Final = 150.0
_MOST_STROKES: Final = 14
_AGAIN_BEATS: Final = 2.0
_DOUBLED_MS: Final = 300.0
_FEW_ACCEPTED: Final = 8


@dataclass(frozen=True, slots=True)
class Lane:
    """The slots of one part in order of time.

    `at_ms` are their moments by the grid, `length_ms` their lengths; `early_ms` and `late_ms` reach back and on from
    there; `missed_before` sums what the slots before cost as missed. `gap_ms` is the gap rule, `bridge_ms` for
    each slot the widest pause within its chord, up to half the way to the next slot; keys struck again within
    `again_ms` are the same again.
    """

    part: str
    slots: tuple[Slot, ...]
    at_ms: tuple[float, ...]
    length_ms: tuple[float, ...]
    early_ms: tuple[float, ...]
    late_ms: tuple[float, ...]
    missed_before: tuple[float, ...]
    gap_ms: float
    bridge_ms: tuple[float, ...]
    again_ms: float

    @property
    def targets(self) -> tuple[Target, ...]:
        return tuple(slot.target for slot in self.slots)

    @property
    def end_ms(self) -> float:
        """When the last slot can no longer be answered."""
        return self.at_ms[-1] + self.late_ms[-1]


def lanes_of(slots: Sequence[Slot], grid: Grid, windows: Windows, calibration_ms: float = 0.0) -> list[Lane]:
    """The slots by part, in the order of `PARTS`; what the port adds is added to every moment."""
    found = []
    for part in PARTS:
        own = tuple(sorted((slot for slot in slots if slot.part == part), key=lambda slot: slot.start_beats))
        if own:
            found.append(_lane(part, own, grid, windows, calibration_ms))
    return found


def _ms(beats: Fraction, grid: Grid) -> float:
    return (grid.time_ns(beats) - grid.start_ns) / MILLISECOND_NS


def _lane(part: str, slots: tuple[Slot, ...], grid: Grid, windows: Windows, calibration_ms: float) -> Lane:
    beat_ms = grid.beat_ns / MILLISECOND_NS
    at_ms = [_ms(slot.start_beats, grid) + calibration_ms for slot in slots]
    length_ms = [
        _ms(slot.start_beats + slot.beats, grid) + calibration_ms - at for slot, at in zip(slots, at_ms, strict=True)
    ]
    early, late = [], []
    for index in range(len(slots)):
        back = max(beat_ms, EARLIEST_MS)
        on = max(length_ms[index], 2 * beat_ms)
        # Two slots of a part at one moment are no good lesson, and no reason to fail.
        early.append(max(1.0, min(back, at_ms[index] - at_ms[index - 1])) if index else back)
        late.append(max(1.0, min(on, at_ms[index + 1] - at_ms[index])) if index + 1 < len(slots) else on)
    missed = [0.0]
    for slot in slots:
        missed.append(missed[-1] + (LEFT_OUT if slot.optional else MISSED))
    gap = gap_ms(at_ms, windows)
    bridge = []
    for index, length in enumerate(length_ms):
        on = at_ms[index + 1] - at_ms[index] if index + 1 < len(slots) else length
        bridge.append(max(gap, min(WIDEST_GAP_MS, on / 2)))
    return Lane(
        part,
        slots,
        tuple(at_ms),
        tuple(length_ms),
        tuple(early),
        tuple(late),
        tuple(missed),
        gap,
        tuple(bridge),
        _AGAIN_BEATS * beat_ms,
    )


# -- costs


def _time_cost(off_ms: float, early_ms: float, late_ms: float) -> float:
    """0 on the beat, near 1.3 at the edge of the reach."""
    share = off_ms / late_ms if off_ms > 0 else off_ms / early_ms
    return _NEAR_COST * min(1.0, abs(off_ms) / _NEAR_MS) + share * share


def _misfit(target: Target, struck: int, carried: int) -> float:
    """How badly struck keys, with those held since before, answer a target: from 0 to `UNRELATED`."""
    counted = struck | carried & target.members
    if target.standing(counted) in ACCEPTED:
        return 0.0
    if len(target.accepted) <= _FEW_ACCEPTED and target.passes.order != "any":
        best = max((_likeness(counted, struck, mask) for mask in target.accepted), default=0.0)
    else:
        best = _likeness(folded(counted), folded(struck), folded(mask_of(target.keys)))
    # Never quite 0: an accepted answer is the better one of two.
    return UNRELATED * min(1.0 - best, 1.0) if best < 1.0 else 0.05


def _likeness(counted: int, struck: int, asked: int) -> float:
    return max(0.0, (counted & asked).bit_count() - 0.5 * (struck & ~asked).bit_count()) / asked.bit_count()


# -- runs


@dataclass(frozen=True, slots=True)
class Run:
    """Strokes `first` up to (not with) `stop`: their keys, and what their place in the take costs any slot.

    Where its widest pause, `pause_ms`, is wider than the gap rule's, it is `bridged`: it answers only where all its
    keys belong to the chord. `extra` is what it costs as a gesture too many; None where it is bridged, and so is none.
    """

    first: int
    stop: int
    keys: int
    cost: float
    pause_ms: int
    bridged: bool
    extra: float | None


def _runs_to(hand: Hand, stop: int, first_stroke: int, lane: Lane, graze_ms: int) -> Iterator[Run]:
    """Every run that ends with the stroke before `stop`, the shortest first."""
    strokes = hand.strokes
    keys = bridges = widest_ms = 0
    since_ms = 0.0  # how long ago the keys were struck before, the longest
    for first in range(stop - 1, max(first_stroke, stop - _MOST_STROKES) - 1, -1):
        stroke = strokes[first]
        now_ms = stroke.down_ms
        if first + 1 < stop:
            pause_ms = strokes[first + 1].down_ms - now_ms
            if pause_ms > max(lane.gap_ms, WIDEST_GAP_MS):
                return
            widest_ms = max(widest_ms, pause_ms)
            bridges += pause_ms > lane.gap_ms
            if keys >> stroke.key & 1 and any(
                other.key == stroke.key and other.down_ms - now_ms > graze_ms for other in strokes[first + 1 : stop]
            ):
                return
        keys |= 1 << stroke.key
        before_ms = hand.before_ms[first]
        since_ms = max(since_ms, math.inf if before_ms is None else now_ms - before_ms)
        cut = CUT if first > first_stroke and _cuts(hand, first, lane.gap_ms, graze_ms) else 0.0
        too_many = DOUBLED if since_ms <= _DOUBLED_MS else AGAIN if since_ms <= lane.again_ms else EXTRA
        extra = None if bridges else cut + too_many
        yield Run(first, stop, keys, cut + BRIDGED * bridges, widest_ms, bridges > 0, extra)


def _cuts(hand: Hand, first: int, gap_ms: float, graze_ms: int) -> bool:
    """Whether a gesture that began with this stroke would cut one: within the gap, and no key struck again."""
    strokes = hand.strokes
    now_ms, before_ms = strokes[first].down_ms, hand.before_ms[first]
    if now_ms - strokes[first - 1].down_ms > gap_ms:
        return False
    if before_ms is None or now_ms - before_ms <= graze_ms:
        return True
    for index in range(first - 1, 0, -1):
        if strokes[index].down_ms <= before_ms:
            return False
        if strokes[index].down_ms - strokes[index - 1].down_ms > gap_ms:
            break
    return strokes[0].down_ms < before_ms


# -- the cheapest way


@dataclass(frozen=True, slots=True)
class Assigned:
    """What answers what in one lane: (slot, run) in order, the runs too many, and the total cost."""

    answers: tuple[tuple[int, Run], ...]
    extra: tuple[Run, ...]
    cost: float


_Way = tuple[float, int, int, Run | None, int]
"""Cost; the strokes and the slots done before; the run taken last, and the slot it answers (-1: none)."""


def assign(
    lane: Lane,
    hand: Hand,
    windows: Windows,
    drift: Drift = NO_DRIFT,
    slots: tuple[int, int] | None = None,
    strokes: tuple[int, int] | None = None,
) -> Assigned:
    """The cheapest assignment of a hand's strokes to the slots of its lane, or of a range of both.

    Exact: before each stroke the cheapest way is kept for every number of slots done that can still matter (a slot out
    of whose reach the stroke lies is done).
    """
    first_slot, end_slot = slots or (0, len(lane.slots))
    first_stroke, end_stroke = strokes or (0, len(hand))
    graze_ms = windows.graze_ns // MILLISECOND_NS
    missed = lane.missed_before
    moments = [lane.at_ms[index] + drift.at(lane.at_ms[index]) for index in range(first_slot, end_slot)]
    opens = [at - lane.early_ms[first_slot + index] for index, at in enumerate(moments)]
    closes = [at + lane.late_ms[first_slot + index] for index, at in enumerate(moments)]
    # A line through noise may bring two slots near each other; their reaches stay in order all the same.
    for index in range(1, len(moments)):
        opens[index] = max(opens[index], opens[index - 1])
        closes[index] = max(closes[index], closes[index - 1])
    ways: list[dict[int, _Way]] = [{first_slot: (0.0, -1, -1, None, -1)}]
    done = first_slot
    for stop in range(first_stroke + 1, end_stroke + 1):
        while done < end_slot and stop < end_stroke and closes[done - first_slot] < hand.strokes[stop].down_ms:
            done += 1
        row: dict[int, _Way] = {}
        for run in _runs_to(hand, stop, first_stroke, lane, graze_ms):
            before = ways[run.first - first_stroke]
            if run.extra is not None:
                for at, way in before.items():
                    to = max(at, done)
                    cost = way[0] + run.extra + missed[to] - missed[at]
                    if to not in row or cost < row[to][0]:
                        row[to] = (cost, run.first, at, run, -1)
            begin_ms = hand.strokes[run.first].down_ms
            low = bisect_left(closes, begin_ms) + first_slot
            high = bisect_right(opens, begin_ms) + first_slot
            carried = 0
            for stroke in hand.carried[run.first]:
                carried |= 1 << stroke.key
            for slot in range(low, high):
                target = lane.slots[slot].target
                if run.bridged and (run.keys & ~target.members or run.pause_ms > lane.bridge_ms[slot]):
                    continue
                off_ms = begin_ms - moments[slot - first_slot]
                own = _time_cost(off_ms, lane.early_ms[slot], lane.late_ms[slot])
                own += run.cost + _misfit(target, run.keys, carried)
                to = max(slot + 1, done)
                for at, way in before.items():
                    if at <= slot:
                        cost = way[0] + own + missed[slot] - missed[at] + missed[to] - missed[slot + 1]
                        if to not in row or cost < row[to][0]:
                            row[to] = (cost, run.first, at, run, slot)
        ways.append(row)
    return _walked_back(ways, first_stroke, end_slot, missed)


def _walked_back(
    ways: Sequence[dict[int, _Way]], first_stroke: int, end_slot: int, missed: Sequence[float]
) -> Assigned:
    at, cost = min(
        ((at, way[0] + missed[end_slot] - missed[at]) for at, way in ways[-1].items()), key=lambda each: each[1]
    )
    answers, extra = [], []
    stop = first_stroke + len(ways) - 1
    while stop > first_stroke:
        _, before, at_before, run, slot = ways[stop - first_stroke][at]
        assert run is not None
        if slot < 0:
            extra.append(run)
        else:
            answers.append((slot, run))
        stop, at = before, at_before
    return Assigned(tuple(reversed(answers)), tuple(reversed(extra)), cost)
