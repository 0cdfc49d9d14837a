"""Takes by the hundred with a known truth, and the alignment against other ways of finding it.

`tests/benchmarks/bench_timing.py` does the same over 10,000 takes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Any

import mir_eval
import numpy
import pytest
from scipy.optimize import linear_sum_assignment
from simulated_takes import RHYTHMS, Player, Take, any_take, due_ms, form_slots, scores, take

from trainer.capture import Capture, Kind, NoteEvent, Standing, Windows
from trainer.pitch import MidiNote, Note, mask_of
from trainer.timing import Circumstances, Following, Grid, align, events_of, record_of
from trainer.timing.alignment import EXTRA, Lane, Run, _misfit, _runs_to, _time_cost, assign, lanes_of
from trainer.timing.hearing import Hand, Stroke, gesture_of, strokes_of

TAKES = 200


@lru_cache(maxsize=1)
def sample() -> tuple[Take, ...]:
    return tuple(any_take(Random(seed)) for seed in range(20_000, 20_000 + TAKES))


def test_at_least_99_slots_of_100_are_assigned_as_they_were_generated() -> None:
    found = [score for each in sample() for score in scores(each, align(each.events, each.slots, each.grid))]
    kinds = {score.kind for score in found}
    assert kinds == {"plain", "missed", "wrong", "extra", "doubled", "late", "held over", "brushed", "rolled"}
    assert len(found) > 7000
    assert sum(score.assigned for score in found) / len(found) >= 0.99
    for kind in kinds:
        own = [score.assigned for score in found if score.kind == kind]
        assert sum(own) / len(own) >= 0.98, kind
    graded = [score.graded for score in found if score.graded is not None]
    assert sum(graded) / len(graded) >= 0.99


def test_what_was_told_while_playing_is_nearly_always_what_it_comes_to() -> None:
    """Of players who stay with the click, or drift from it; who stops short is judged anew from there."""
    same = whole = 0
    for each in [each for each in sample() if each.player.drift != "hesitating"][:24]:
        following = Following(each.slots, each.grid)
        for event in each.events:
            while (due := following.deadline_ns) is not None and due <= event.time_ns:
                following.tick(due)
            following.hear(event)
        while (due := following.deadline_ns) is not None:
            following.tick(due)
        final = following.finish()
        assert final == align(each.events, each.slots, each.grid)
        assert [answer.slot for answer in following.answers] == list(each.slots)
        same += sum(told == meant for told, meant in zip(following.answers, final.answers, strict=True))
        whole += len(each.slots)
    assert same / whole >= 0.99


def test_a_player_who_stops_short_is_followed_from_there() -> None:
    found = [
        score.assigned
        for each in sample()
        if each.player.drift == "hesitating"
        for score in scores(each, align(each.events, each.slots, each.grid))
    ]
    assert len(found) > 1000
    assert sum(found) / len(found) >= 0.97


def test_every_take_gives_the_same_pass_again_from_its_record() -> None:
    for number, each in enumerate(sample()[:24]):
        circumstances = Circumstances("s", number, "2026-01-01T00:00:00Z", "A practice form", "C", 48.0)
        record = record_of(align(each.events, each.slots, each.grid, calibration_ms=7.3), circumstances)
        grid = Grid(record.tempo_bpm, 0, each.grid.swing)
        assert record_of(align(events_of(record), each.slots, grid, calibration_ms=7.3), circumstances) == record


def test_a_take_does_not_depend_on_where_the_clock_stands() -> None:
    for each in sample()[:12]:
        moved = tuple(type(e)(e.time_ns + 3_600_000_000_000, e.kind, e.key, e.value) for e in each.events)
        there = Grid(each.grid.tempo_bpm, each.grid.start_ns + 3_600_000_000_000, each.grid.swing)
        assert align(moved, each.slots, there).answers == align(each.events, each.slots, each.grid).answers


# -- heard as in a drill

PLAYED = json.loads((Path(__file__).parent / "takes" / "human_gestures.json").read_text())["gestures"]


class Exactly:
    """A judge that asks for these keys and no others."""

    def __init__(self, keys: Iterable[int]) -> None:
        self.members = mask_of(keys)

    def standing(self, held: int) -> Standing:
        if held & ~self.members:
            return Standing.WRONG
        return Standing.COMPLETE if held == self.members else Standing.PARTIAL


@pytest.mark.parametrize("case", PLAYED, ids=lambda case: str(case["id"]))
def test_a_chord_as_a_person_played_it_is_heard_in_time_as_in_a_drill(case: dict[str, list[Any]]) -> None:
    """120 chords of an open data set (named in the file) with the keys still down from before: by `trainer.capture`,
    which drills hear by, and by the alignment's hearing the same keys are held or grazed, and the same are right."""
    millisecond = 1_000_000
    events = [NoteEvent(-millisecond, Kind.DOWN, MidiNote(key), 60) for key, _ in case["prev_held"]]
    events += [NoteEvent(round(ms * millisecond), Kind.UP, MidiNote(key)) for key, ms in case["prev_held"]]
    for event in case["events"]:
        kind = Kind.DOWN if event["type"] == "note_on" else Kind.UP
        events.append(NoteEvent(round(event["t_ms"] * millisecond), kind, MidiNote(event["pitch"]), 60))
    events.sort(key=lambda event: (event.time_ns, event.kind is Kind.DOWN))
    judge = Exactly(event["pitch"] for event in case["events"] if event["type"] == "note_on")
    capture = Capture()
    heard = []
    for event in events:
        if event.time_ns < 0:
            capture.track(event)
        else:
            heard += capture.feed(event, judge)
    (drilled,) = heard + capture.finish(events[-1].time_ns + 500 * millisecond, judge)
    hand = Hand()
    for stroke in strokes_of(events, 0):
        hand.append(stroke)
    in_time = gesture_of(hand, len(case["prev_held"]), len(hand), judge, Windows())
    assert in_time.held | mask_of(in_time.grazed) == drilled.held | mask_of(drilled.grazed)
    as_asked = [each.held == judge.members and not each.grazed for each in (in_time, drilled)]
    assert as_asked[0] == as_asked[1]
    assert abs(in_time.spread_ns - drilled.spread_ns) <= millisecond


# -- against other ways


def cheapest_by_trying(lane: Lane, hand: Hand, windows: Windows) -> float:
    """The cheapest cost of all ways, by going through every one of them: the costs are the alignment's, the search
    is not. Run by run from the first stroke, each a gesture too many or the answer to any later slot in reach."""
    graze_ms = windows.graze_ns // 1_000_000
    runs: dict[int, list[Run]] = {}
    for stop in range(1, len(hand) + 1):
        for run in _runs_to(hand, stop, 0, lane, graze_ms):
            runs.setdefault(run.first, []).append(run)

    def ways(stroke: int, slot: int) -> Iterator[float]:
        if stroke == len(hand):
            yield lane.missed_before[-1] - lane.missed_before[slot]
            return
        for run in runs[stroke]:
            if run.extra is not None:
                for rest in ways(run.stop, slot):
                    yield run.extra + rest
            begin = hand.strokes[run.first].down_ms
            carried = sum({1 << other.key for other in hand.carried[run.first]})
            for later in range(slot, len(lane.slots)):
                off = begin - lane.at_ms[later]
                target = lane.slots[later].target
                if not -lane.early_ms[later] <= off <= lane.late_ms[later]:
                    continue
                if run.bridged and (run.keys & ~target.members or run.pause_ms > lane.bridge_ms[later]):
                    continue
                own = _time_cost(off, lane.early_ms[later], lane.late_ms[later])
                own += run.cost + _misfit(target, run.keys, carried)
                missed = lane.missed_before[later] - lane.missed_before[slot]
                for rest in ways(run.stop, later + 1):
                    yield missed + own + rest

    return min(ways(0, 0))


@pytest.mark.parametrize("seed", range(25))
def test_no_way_of_giving_strokes_to_slots_is_cheaper(seed: int) -> None:
    chance = Random(seed)
    player = Player(missed=0.2, wrong=0.2, extra=0.2, doubled=0.1, late=0.1, rolled=0.1, touch=0.9)
    slots = form_slots("ii-V-I", Note.parse(chance.choice(("C", "Gb", "A"))), chance.choice(("once a chord", "1, 2&")))[
        :3
    ]
    grid = Grid(chance.choice((70, 120, 150)), 0)
    played = take(chance, slots, grid, player)
    windows = Windows()
    (lane,) = lanes_of(slots, grid, windows)
    hand = Hand()
    for stroke in strokes_of(played.events, 0)[:12]:
        hand.append(stroke)
    assert assign(lane, hand, windows).cost == pytest.approx(cheapest_by_trying(lane, hand, windows))


@pytest.mark.parametrize("seed", range(40))
def test_single_notes_are_assigned_as_the_assignment_problem_has_it(seed: int) -> None:
    """scipy solves the assignment of notes to slots without regard to order; where its answer keeps the order, no order
    is cheaper, and the alignment must cost the same; where it does not, the alignment cannot be cheaper."""
    chance = Random(seed)
    slots = [
        each
        for each in form_slots("blues", Note.parse("F"), "bass on 1 and 3, chord on 2 and 4")
        if each.part == "bass"
    ]
    grid = Grid(100, 0)
    windows = Windows()
    (lane,) = lanes_of(slots, grid, windows)
    hand = Hand()
    at = 0.0
    for slot in slots:
        if chance.random() < 0.8:
            key = slot.target.keys[0] if chance.random() < 0.7 else chance.randrange(28, 44)
            at = max(at + 250, due_ms(slot, grid) + chance.gauss(0, 200))
            hand.append(Stroke(key, round(at), round(at) + 100))
    notes = [(stroke.down_ms, stroke.key) for stroke in hand.strokes]
    costs = numpy.full((len(notes) + len(slots), len(slots) + len(notes)), 1e6)
    for row, (down, key) in enumerate(notes):
        for column, slot in enumerate(slots):
            off = down - lane.at_ms[column]
            if -lane.early_ms[column] <= off <= lane.late_ms[column]:
                costs[row, column] = _time_cost(off, lane.early_ms[column], lane.late_ms[column])
                costs[row, column] += _misfit(slot.target, 1 << key, 0)
        alone = next(iter(_runs_to(hand, row + 1, 0, lane, 60)))
        assert alone.extra is not None and alone.extra <= EXTRA
        costs[row, len(slots) + row] = alone.extra
    for column in range(len(slots)):
        costs[len(notes) + column, column] = 1.0
    costs[len(notes) :, len(slots) :] = 0.0
    rows, columns = linear_sum_assignment(costs)
    total = costs[rows, columns].sum()
    found = assign(lane, hand, windows)
    order = [column for row, column in zip(rows, columns, strict=True) if row < len(notes) and column < len(slots)]
    assert found.cost >= total - 1e-9
    if order == sorted(order):
        assert found.cost == pytest.approx(total)


@pytest.mark.parametrize("seed", range(20))
def test_onsets_alone_are_matched_as_another_library_matches_them(seed: int) -> None:
    """mir_eval's onset matching knows times only: where no note is wrong, the same slots are answered in time."""
    chance = Random(seed)
    rhythm = chance.choice(("once a chord", "1, 2&", "2, 4", "every beat"))
    slots = form_slots("jazz blues", Note.parse("Bb"), rhythm)
    grid = Grid(chance.choice((60, 100, 140)), 0)
    player = Player(missed=0.15, wrong=0, extra=0, doubled=0, late=0, held_over=0, brushed=0, rolled=0, missed_bars=0)
    played = take(chance, slots, grid, player)
    onsets = numpy.array(sorted(truth.first_ms / 1000 for truth in played.truth if truth is not None))
    due = numpy.array([due_ms(slot, grid) / 1000 for slot in slots])
    shift = 10.0  # mir_eval takes no onset below 0
    score, precision, recall = mir_eval.onset.f_measure(due + shift, onsets + shift, window=0.15)
    aligned = align(played.events, slots, grid)
    answered = sum(answer.in_time or answer.verdict == "right" for answer in aligned.answers)
    assert answered / len(slots) == pytest.approx(recall)
    assert answered / len(onsets) == pytest.approx(precision)
    assert score > 0.8


def test_every_rhythm_of_the_bench_is_played() -> None:
    parts = {name: {slot.part for slot in form_slots("blues", Note.parse("C"), name)} for name in RHYTHMS}
    assert all("chord" in each for each in parts.values())
    assert sum("bass" in each for each in parts.values()) == 4
