"""Hearing: when a gesture begins, grows and is settled.

The windows come from ../shared/design/grading.md (measured on open corpora; see trainer/capture.py). Where a test
rests on one, it says so. Keys are written as chords a pianist knows: Cm7 rootless from the third is Eb3 G3 Bb3 D4.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.capture import MILLISECOND_NS, Capture, Gesture, Kind, NoteEvent, Standing, Windows
from trainer.pitch import MidiNote, keys_of, mask_of

CM7 = (51, 55, 58, 62)  # Eb3 G3 Bb3 D4
MS = MILLISECOND_NS


@dataclass(frozen=True)
class Keys:
    """A judge by hand: these keys exactly, the optional ones played or not."""

    keys: tuple[int, ...]
    optional: tuple[int, ...] = ()

    @property
    def members(self) -> int:
        return mask_of(self.keys)

    def standing(self, held: int) -> Standing:
        if held & ~self.members:
            return Standing.WRONG
        missing = self.members & ~held
        if not missing:
            return Standing.COMPLETE
        return Standing.GROWABLE if not missing & ~mask_of(self.optional) else Standing.PARTIAL


def down(time_ms: float, *keys: int) -> list[NoteEvent]:
    return [NoteEvent(round(time_ms * MS), Kind.DOWN, MidiNote(key), 64) for key in keys]


def up(time_ms: float, *keys: int) -> list[NoteEvent]:
    return [NoteEvent(round(time_ms * MS), Kind.UP, MidiNote(key)) for key in keys]


def hear(
    events: list[NoteEvent], judge: Keys = Keys(CM7), capture: Capture | None = None, until_ms: float = 10_000
) -> list[Gesture]:
    """Feed events in order of time, then let time pass."""
    capture = capture or Capture()
    gestures = []
    for event in sorted(events, key=lambda event: event.time_ns):
        gestures += capture.feed(event, judge)
    return gestures + capture.tick(round(until_ms * MS), judge)


@pytest.mark.parametrize("order", list(permutations(CM7)))
def test_a_chord_settles_the_moment_it_is_complete_in_any_order_of_its_notes(order: tuple[int, ...]) -> None:
    events = [event for index, key in enumerate(order) for event in down(index * 15, key)]
    (gesture,) = hear(events)
    assert gesture.keys == CM7
    assert gesture.settled_ns == 45 * MS
    assert gesture.spread_ns == 45 * MS


def test_a_chord_held_for_only_50_ms_is_heard() -> None:
    # 50 ms: the shortest time all notes of real chords are down together (p50 in one corpus, grading.md).
    (gesture,) = hear(down(0, *CM7) + up(50, *CM7))
    assert gesture.keys == CM7


def test_a_wrong_key_settles_200_ms_after_the_last_note() -> None:
    (gesture,) = hear(down(0, 51, 55) + down(30, 59, 62))
    assert gesture.keys == (51, 55, 59, 62)
    assert gesture.settled_ns == 230 * MS


def test_a_chord_built_note_by_note_is_one_gesture_and_its_spread_says_so() -> None:
    events = down(0, 51) + down(700, 55) + down(1500, 58) + down(2600, 62)
    (gesture,) = hear(events)
    assert gesture.keys == CM7
    assert gesture.spread_ns == 2600 * MS
    assert gesture.manner(Windows()) == "rolled"


def test_an_incomplete_chord_waits_while_held_and_settles_at_full_release() -> None:
    capture = Capture()
    assert hear(down(0, 51, 55, 62), capture=capture, until_ms=60_000) == []
    (gesture,) = hear(up(61_000, 51, 55, 62), capture=capture, until_ms=62_000)
    assert gesture.keys == (51, 55, 62)
    assert gesture.settled_ns == 61_000 * MS


def test_a_wrong_finger_corrected_is_two_gestures_and_the_held_tones_serve() -> None:
    events = down(0, 51, 55, 59, 62) + up(400, 59) + down(450, 58)
    first, second = hear(events)
    assert first.keys == (51, 55, 59, 62)
    assert second.keys == CM7
    assert second.struck == ((58, 450 * MS),)


def test_a_wrong_finger_corrected_before_it_was_judged_is_still_two_gestures() -> None:
    events = down(0, 51, 55, 59, 62) + up(100, 59) + down(150, 58)
    first, second = hear(events)
    assert first.keys == (51, 55, 59, 62)
    assert second.keys == CM7


def test_a_brushed_neighbour_let_go_as_the_chord_stands_is_a_graze() -> None:
    (gesture,) = hear(down(0, 51, 55, 58, 59, 62) + up(40, 59))
    assert gesture.keys == CM7
    assert gesture.grazed == (59,)


def test_a_wrong_key_let_go_long_before_the_chord_stands_is_no_graze() -> None:
    # 60 ms is the graze window (grading.md); here the neighbour is gone 65 ms before the last note.
    (gesture,) = hear(down(0, 59, 51, 55, 58) + up(5, 59) + down(70, 62))
    assert gesture.keys == (51, 55, 58, 59, 62)
    assert gesture.grazed == ()


def test_a_complete_chord_with_a_wrong_key_down_is_not_the_chord() -> None:
    (gesture,) = hear(down(0, 65, *CM7))
    assert gesture.keys == (*CM7, 65)


def test_a_key_left_over_from_the_chord_before_is_no_wrong_key_for_120_ms() -> None:
    capture = Capture()
    for event in down(0, 50):
        capture.track(event)
    (gesture,) = hear(down(1000, *CM7) + up(1110, 50), capture=capture)
    assert gesture.keys == CM7
    assert gesture.settled_ns == 1110 * MS


def test_a_key_held_over_for_longer_is_part_of_the_answer() -> None:
    capture = Capture()
    for event in down(0, 50):
        capture.track(event)
    (gesture,) = hear(down(1000, *CM7) + up(1300, 50), capture=capture)
    assert gesture.keys == (50, *CM7)


def test_a_short_chord_over_a_leftover_key_is_judged_when_it_is_let_go() -> None:
    capture = Capture()
    for event in down(0, 50):
        capture.track(event)
    (gesture,) = hear(down(1000, *CM7) + up(1050, *CM7) + up(1070, 50), capture=capture)
    assert gesture.keys == CM7


def test_a_held_common_tone_serves_in_the_next_chord() -> None:
    capture = Capture()
    for event in down(0, 62):
        capture.track(event)
    (gesture,) = hear(down(500, 51, 55, 58), capture=capture)
    assert gesture.keys == CM7


def test_an_optional_note_is_waited_for_through_the_gap_and_no_longer() -> None:
    judge = Keys((61, 67, 70, 77), optional=(77,))  # Eb7: b7 3 5 (9), trade.md check facts
    (without,) = hear(down(0, 61, 67, 70), judge)
    assert (without.keys, without.settled_ns) == ((61, 67, 70), 80 * MS)
    (with_ninth,) = hear(down(0, 61, 67, 70) + down(60, 77), judge)
    assert (with_ninth.keys, with_ninth.settled_ns) == ((61, 67, 70, 77), 60 * MS)


def test_letting_a_wrong_key_go_corrects_a_judged_chord_once_it_has_stood() -> None:
    capture = Capture()
    (wrong,) = hear(down(0, 65, *CM7), capture=capture, until_ms=300)
    capture.missed()
    (right,) = hear(up(500, 65), capture=capture)
    assert (wrong.keys, right.keys) == ((*CM7, 65), CM7)
    assert right.settled_ns == 700 * MS


def test_fingers_lifting_one_after_another_correct_nothing() -> None:
    capture = Capture()
    hear(down(0, 65, *CM7), capture=capture, until_ms=300)
    capture.missed()
    assert hear(up(500, 65) + up(520, *CM7), capture=capture) == []


def test_a_second_strike_of_a_held_key_is_a_new_strike_and_not_a_second_key() -> None:
    (gesture,) = hear(down(0, 51, 51, 55, 58, 62))
    assert gesture.keys == CM7


def test_note_on_of_the_percussion_channel_is_not_heard() -> None:
    # General MIDI: percussion is channel 10, counted from 1.
    drum = NoteEvent(0, Kind.DOWN, MidiNote(37), 90, channel=9)
    (gesture,) = hear([drum, *down(10, *CM7)])
    assert gesture.keys == CM7


def test_all_notes_off_empties_the_hand() -> None:
    # MIDI 1.0: CC123 is "all notes off".
    capture = Capture()
    hear(down(0, 51, 55), capture=capture, until_ms=20)
    assert hear([NoteEvent(30 * MS, Kind.QUIET, value=123)], capture=capture) == []
    assert capture.held == 0


def test_the_pedal_holds_no_keys_unless_sounding_notes_are_asked_for() -> None:
    # MIDI 1.0: controller 64, 0-63 off, 64-127 on.
    pedal = [NoteEvent(0, Kind.PEDAL, value=64)]
    events = pedal + down(10, 51) + up(200, 51) + down(210, 55, 58, 62)
    assert [gesture.keys for gesture in hear(events, until_ms=400)] != [CM7]
    (gesture,) = hear(events, capture=Capture(sounding=True))
    assert gesture.keys == CM7


def test_bluetooth_widens_the_gap() -> None:
    judge = Keys((61, 67, 70, 77), optional=(77,))
    events = down(0, 61, 67, 70) + down(90, 77)
    assert hear(events, judge)[0].keys == (61, 67, 70)
    assert hear(events, judge, Capture(Windows().widened(15 * MS)))[0].keys == (61, 67, 70, 77)


def test_a_roll_is_wide_strictly_one_way_and_three_notes_or_more() -> None:
    rolled = hear(down(0, 51) + down(40, 55) + down(80, 58) + down(120, 62))[0]
    mixed = hear(down(0, 55) + down(40, 51) + down(80, 58) + down(120, 62))[0]
    block = hear(down(0, 51) + down(20, 55) + down(40, 58) + down(60, 62))[0]
    assert [gesture.manner(Windows()) for gesture in (rolled, mixed, block)] == ["rolled", "spread", "together"]


_HUMAN = json.loads((Path(__file__).parent / "takes" / "human_gestures.json").read_text())


@pytest.mark.parametrize("case", _HUMAN["gestures"], ids=lambda case: str(case["id"]))
def test_a_chord_as_a_person_played_it_is_one_gesture_that_holds_all_its_keys(case: dict[str, list]) -> None:
    # Played chords of an open data set (named in the file), unquantised.
    capture = Capture()
    events = []
    for key, remaining_ms in case["prev_held"]:
        capture.track(down(-1, key)[0])
        events += up(remaining_ms, key)
    for event in case["events"]:
        make = down if event["type"] == "note_on" else up
        events += make(event["t_ms"], event["pitch"])
    struck = {event["pitch"] for event in case["events"] if event["type"] == "note_on"}
    (gesture,) = hear(sorted(events, key=lambda event: event.kind is Kind.DOWN), Keys(tuple(sorted(struck))), capture)
    leftover = {key for key, remaining_ms in case["prev_held"] if remaining_ms > 120}
    assert struck <= set(gesture.keys) <= struck | leftover


KEYBOARD_EVENTS = st.lists(
    st.tuples(
        st.integers(0, 300),
        st.sampled_from([Kind.DOWN, Kind.UP, Kind.PEDAL, Kind.QUIET]),
        st.sampled_from([50, 51, 55, 58, 59, 62]),
        st.sampled_from([0, 64, 127]),
    ),
    max_size=40,
)


@given(KEYBOARD_EVENTS, st.booleans())
def test_whatever_is_played_the_held_keys_stay_true_and_nothing_is_left_undecided(
    played: list[tuple[int, Kind, int, int]], sounding: bool
) -> None:
    capture = Capture(sounding=sounding)
    judge = Keys(CM7)
    time_ms, expected, gestures = 0, set(), []
    for gap_ms, kind, key, value in played:
        time_ms += gap_ms
        gestures += capture.feed(NoteEvent(time_ms * MS, kind, MidiNote(key), value), judge)
        if kind is Kind.DOWN:
            expected.add(key)
        elif kind is Kind.UP:
            expected.discard(key)
        elif kind is Kind.QUIET:
            expected.clear()
        assert set(keys_of(capture.down)) == expected
    for _ in range(100):
        due = capture.deadline_ns(judge)
        if due is None:
            break
        gestures += capture.tick(due, judge)
    assert capture.deadline_ns(judge) is None
    assert all(left.settled_ns <= right.settled_ns for left, right in zip(gestures, gestures[1:], strict=False))
    assert all(gesture.held for gesture in gestures)
