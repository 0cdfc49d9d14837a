"""A take against the beats of a form: what a teacher would say of it, in unit sentences.

Takes are written by hand here, note by note; takes by the thousand are in `test_timing_takes.py`. Keys come from the
check facts of the trade (common practice, no source): rootless Dm7 F A C E, G7 F A B E, Cmaj7 E G B D.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.capture import Kind, NoteEvent
from trainer.chords import parse
from trainer.grading import Passes, Target
from trainer.pitch import MidiNote
from trainer.timing import (
    SWUNG,
    Aligned,
    Bounds,
    Circumstances,
    Following,
    Grid,
    Slot,
    align,
    events_of,
    is_clean,
    record_of,
)
from trainer.voicings import Register, place, recipe

DM7, G7, CMAJ7 = (53, 57, 60, 64), (53, 57, 59, 64), (52, 55, 59, 62)
KEYS = {"Dm7": DM7, "G7": G7, "Cmaj7": CMAJ7}
FORMS = {"Dm7": "rootless from the third", "G7": "rootless from the seventh", "Cmaj7": "rootless from the third"}
BASS = Register(MidiNote(28), MidiNote(43))
GRID = Grid(120, 5_000_000_000)
"""A beat is 500 ms; beat 0 lies somewhere on the clock."""


def target(symbol: str, passes: Passes | None = None, voicing: str = "") -> Target:
    chord = parse(symbol)
    assert chord.root is not None
    found = Target(chord, place(recipe(voicing or FORMS[symbol], chord.quality), chord.root), passes or Passes())
    assert voicing or found.keys == KEYS[symbol]
    return found


def bass(symbol: str, passes: Passes | None = None) -> Target:
    chord = parse(symbol)
    assert chord.root is not None
    return Target(chord, place(recipe("1", chord.quality), chord.root, BASS), passes or Passes())


def slot(index: int, beat: float, beats: float, of: Target, part: str = "chord", optional: bool = False) -> Slot:
    at = Fraction(beat)
    return Slot(index, int(at // 4) + 1, at % 4 + 1, at, Fraction(beats), of, part, optional)


def bars(*symbols: str) -> list[Slot]:
    """A chord a bar, on one."""
    return [slot(index, 4 * index, 4, target(symbol)) for index, symbol in enumerate(symbols)]


TWO_FIVE_ONE = ("Dm7", "G7", "Cmaj7", "Cmaj7") * 2

Gesture = tuple[float, Sequence[int]]
"""When (ms from beat 0), and the keys."""


def played(
    gestures: Iterable[Gesture], length_ms: float = 300, between_ms: float = 4, grid: Grid = GRID
) -> list[NoteEvent]:
    """Chords struck as written, their keys a few milliseconds after each other from the bottom up."""
    events = []
    for at_ms, keys in gestures:
        for place_in_chord, key in enumerate(keys):
            down = grid.start_ns + round(1e6 * (at_ms + between_ms * place_in_chord))
            events.append(NoteEvent(down, Kind.DOWN, MidiNote(key), 70))
            events.append(NoteEvent(down + round(1e6 * length_ms), Kind.UP, MidiNote(key)))
    return sorted(events, key=lambda event: event.time_ns)


def chords(*symbols: str | None, every_ms: float = 2000, late_ms: float = 0) -> list[Gesture]:
    return [(every_ms * bar + late_ms, KEYS[symbol]) for bar, symbol in enumerate(symbols) if symbol is not None]


def verdicts(aligned: Aligned) -> list[str]:
    return [answer.verdict for answer in aligned.answers]


def errors(aligned: Aligned) -> list[int | None]:
    return [answer.error_ms for answer in aligned.answers]


# -- notes


def test_a_form_played_as_written_is_right_and_on_the_beat() -> None:
    aligned = align(played(chords(*TWO_FIVE_ONE)), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert errors(aligned) == [0] * 8
    assert (aligned.offset_ms, aligned.scatter_ms, aligned.extra) == (0, 0, ())
    assert {answer.spread_ms for answer in aligned.answers} == {12}
    assert is_clean(aligned)


def test_a_bar_left_out_does_not_shift_the_rest() -> None:
    gestures = chords("Dm7", "G7", None, "Cmaj7", "Dm7", "G7", "Cmaj7", "Cmaj7")
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right", "right", "missed", "right", "right", "right", "right", "right"]
    assert not is_clean(aligned)


def test_a_chord_too_many_does_not_shift_the_rest() -> None:
    gestures = [*chords(*TWO_FIVE_ONE), (3000, (56, 58, 61, 66))]
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert [(extra.at_ms, extra.keys) for extra in aligned.extra] == [(3000, (56, 58, 61, 66))]
    assert is_clean(aligned)


def test_four_bars_of_silence_are_four_chords_missed() -> None:
    gestures = chords("Dm7", "G7", None, None, None, None, "Cmaj7", "Cmaj7")
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right", "right", "missed", "missed", "missed", "missed", "right", "right"]


def test_a_wrong_chord_tells_its_cause() -> None:
    gestures = chords(*TWO_FIVE_ONE)
    gestures[1] = (2000, (53, 57, 60, 64))  # Dm7 once more
    gestures[2] = (4000, (52, 55, 58, 62))  # the seventh of C flat: C7
    answers = align(played(gestures), bars(*TWO_FIVE_ONE), GRID).answers
    assert [answers[index].verdict for index in (1, 2)] == ["wrong", "wrong"]
    again, flat = answers[1].grade, answers[2].grade
    assert again is not None and flat is not None
    assert "previous_chord" in [cause.code for cause in again.causes]
    assert "half_step" in [cause.code for cause in flat.causes]
    assert answers[2].error_ms == 0


def test_a_form_played_in_the_wrong_key_is_wrong_and_in_time() -> None:
    gestures = [(at, [key + 1 for key in keys]) for at, keys in chords(*TWO_FIVE_ONE)]
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["wrong"] * 8
    assert errors(aligned) == [0] * 8
    assert {answer.grade.cause for answer in aligned.answers if answer.grade} == {"other_root"}


def test_a_chord_struck_twice_counts_once() -> None:
    gestures = [*chords(*TWO_FIVE_ONE), (2160, G7), (4200, CMAJ7)]
    aligned = align(played(gestures, 120), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert errors(aligned) == [0] * 8
    assert len(aligned.extra) == 2


def test_comping_a_chord_again_later_in_its_bar_is_no_second_answer() -> None:
    gestures = [*chords(*TWO_FIVE_ONE), (500, DM7), (1250, DM7), (2750, G7)]
    aligned = align(played(gestures, 120), bars(*TWO_FIVE_ONE), GRID)
    assert errors(aligned) == [0] * 8
    assert len(aligned.extra) == 3


def test_a_key_that_bounces_is_struck_once() -> None:
    gestures: list[Gesture] = [*chords(*TWO_FIVE_ONE), (2040, [53])]
    aligned = align(played(gestures, 20), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert aligned.extra == ()


def test_an_optional_slot_may_stay_silent_or_be_played() -> None:
    slots = bars(*TWO_FIVE_ONE)
    slots[3] = replace(slots[3], optional=True)
    silent = align(played(chords("Dm7", "G7", "Cmaj7", None, *TWO_FIVE_ONE[4:])), slots, GRID)
    sounding = align(played(chords(*TWO_FIVE_ONE)), slots, GRID)
    assert verdicts(silent)[3] == "left out" and verdicts(sounding)[3] == "right"
    assert is_clean(silent) and is_clean(sounding)


def test_a_wrong_chord_at_an_optional_slot_is_wrong() -> None:
    slots = bars(*TWO_FIVE_ONE)
    slots[3] = replace(slots[3], optional=True)
    gestures = chords(*TWO_FIVE_ONE)
    gestures[3] = (6000, (51, 55, 59, 62))
    aligned = align(played(gestures), slots, GRID)
    assert verdicts(aligned)[3] == "wrong" and not is_clean(aligned)


def test_a_common_tone_may_stay_down() -> None:
    """From Dm7 to G7 the F, the A and the E stay; only C moves to B."""
    events = [
        *[NoteEvent(GRID.start_ns, Kind.DOWN, MidiNote(key), 70) for key in DM7],
        NoteEvent(GRID.start_ns + 1_990_000_000, Kind.UP, MidiNote(60)),
        NoteEvent(GRID.start_ns + 2_000_000_000, Kind.DOWN, MidiNote(59), 70),
        *[NoteEvent(GRID.start_ns + 3_500_000_000, Kind.UP, MidiNote(key)) for key in G7],
    ]
    aligned = align(events, bars("Dm7", "G7"), GRID)
    assert verdicts(aligned) == ["right", "right"]
    assert aligned.answers[1].held == G7


@pytest.mark.parametrize(("over_ms", "verdict"), [(100, "right"), (119, "right"), (140, "wrong")])
def test_a_key_left_over_is_no_wrong_key_for_120_ms(over_ms: int, verdict: str) -> None:
    events = played(chords("Dm7", "G7"), 1500)
    kept = GRID.start_ns + (2000 + over_ms) * 1_000_000
    events = [replace(event, time_ns=kept) if event.kind is Kind.UP and event.key == 60 else event for event in events]
    events.sort(key=lambda event: event.time_ns)
    assert verdicts(align(events, bars("Dm7", "G7"), GRID)) == ["right", verdict]


def test_a_brushed_key_is_a_graze_and_a_pressed_one_a_note_too_many() -> None:
    brushed = played([*chords("Dm7", "G7")]) + played([(2005, [61])], 40)
    pressed = played([*chords("Dm7", "G7")]) + played([(2005, [61])], 290)
    for events, forgiven, code in ((brushed, True, "graze"), (pressed, False, "added")):
        events.sort(key=lambda event: event.time_ns)
        strict = align(events, bars("Dm7", "G7"), GRID).answers[1].grade
        assert strict is not None and strict.cause == code
        lenient = [
            replace(each, target=target(symbol, Passes(graze=True)))
            for each, symbol in zip(bars("Dm7", "G7"), ("Dm7", "G7"), strict=True)
        ]
        assert (verdicts(align(events, lenient, GRID))[1] == "right") is forgiven


def test_a_rolled_chord_is_one_chord_and_says_so() -> None:
    gestures = chords("Dm7", "G7", "Cmaj7")
    events = played(gestures[:1]) + played(gestures[1:2], 1500, between_ms=150) + played(gestures[2:])
    aligned = align(sorted(events, key=lambda event: event.time_ns), bars("Dm7", "G7", "Cmaj7"), GRID)
    assert verdicts(aligned) == ["right"] * 3
    assert (aligned.answers[1].manner, aligned.answers[1].spread_ms) == ("rolled", 450)


def test_an_inversion_passes_where_the_lesson_lets_it() -> None:
    lenient = target("Cmaj7", Passes(order="inversion"))
    slots = [slot(0, 0, 4, lenient), slot(1, 4, 4, lenient)]
    aligned = align(played([(0, (55, 59, 62, 64)), (2000, CMAJ7)]), slots, GRID)
    assert verdicts(aligned) == ["right", "right"]


def test_the_pedal_holds_nothing() -> None:
    pedal = [NoteEvent(GRID.start_ns - 1_000_000, Kind.PEDAL, value=127)]
    aligned = align(pedal + played(chords(*TWO_FIVE_ONE)), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8


# -- time


def test_an_early_chord_is_right_and_early() -> None:
    gestures = chords(*TWO_FIVE_ONE)
    gestures[4] = (8000 - 240, DM7)  # on the "and" of four
    aligned = align(played(gestures, 200), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert aligned.answers[4].error_ms == -240
    assert not is_clean(aligned)  # the rhythm asked for was another


def test_a_late_chord_is_late_and_the_next_one_is_not() -> None:
    gestures = chords(*TWO_FIVE_ONE)
    gestures[4] = (8000 + 600, DM7)
    aligned = align(played(gestures, 200), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 4 + ["late"] + ["right"] * 3
    assert aligned.answers[4].error_ms == 600
    assert aligned.answers[4].sentence.endswith("It came 600 ms after its beat.")
    assert (aligned.offset_ms, aligned.scatter_ms) == (0, 0)


def test_late_is_half_a_slot_and_150_ms_at_most() -> None:
    bounds = Bounds()
    assert [bounds.of(ms) for ms in (2000, 300, 250, 100)] == [150, 150, 125, 80]
    aligned = align(played(chords(*TWO_FIVE_ONE, late_ms=150)), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    aligned = align(played(chords(*TWO_FIVE_ONE, late_ms=151)), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["late"] * 8
    aligned = align(played(chords(*TWO_FIVE_ONE, late_ms=151)), bars(*TWO_FIVE_ONE), GRID, bounds=Bounds(late_ms=200))
    assert verdicts(aligned) == ["right"] * 8


def test_the_steady_offset_is_told_from_the_scatter() -> None:
    chance = Random(5)
    gestures = [(at + 40 + chance.choice((-10, -5, 0, 5, 10)), keys) for at, keys in chords(*TWO_FIVE_ONE * 4)]
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE * 4), GRID)
    assert aligned.offset_ms == pytest.approx(40, abs=5)
    assert aligned.scatter_ms is not None and aligned.scatter_ms <= 1.4826 * 10


def test_what_the_port_adds_is_taken_off() -> None:
    aligned = align(played(chords(*TWO_FIVE_ONE, late_ms=70)), bars(*TWO_FIVE_ONE), GRID, calibration_ms=70.4)
    assert errors(aligned) == [0] * 8
    assert aligned.calibration_ms == 70.4


@pytest.mark.parametrize("percent", [-5, 5])
def test_a_player_who_rushes_or_drags_steadily_misses_nothing(percent: int) -> None:
    form = TWO_FIVE_ONE * 4
    gestures = [(at * (1 + percent / 100), keys) for at, keys in chords(*form)]
    aligned = align(played(gestures, 200), bars(*form), GRID)
    assert set(verdicts(aligned)) <= {"right", "late"}
    assert aligned.drift_percent == pytest.approx(percent, abs=0.1)
    assert aligned.answers[-1].error_ms == pytest.approx(31 * 2000 * percent / 100, abs=1)
    assert not is_clean(aligned)


@pytest.mark.parametrize("percent", [-5, 5])
def test_four_to_the_bar_of_one_chord_is_followed_while_it_drifts(percent: int) -> None:
    """After ten bars the player is two beats away, and every chord is the same."""
    slots = [slot(beat, beat, 1, target("Cmaj7")) for beat in range(48)]
    gestures = [(500 * beat * (1 + percent / 100), CMAJ7) for beat in range(48) if beat != 21]
    aligned = align(played(gestures, 200), slots, GRID)
    assert [answer.slot.index for answer in aligned.answers if answer.verdict == "missed"] == [21]


def test_swung_eighths_are_asked_for_where_they_are_swung() -> None:
    grid = Grid(120, 0, SWUNG)
    slots = [slot(index, 1.5 + 2 * index, 2, target(symbol)) for index, symbol in enumerate(TWO_FIVE_ONE)]
    swung = [(1000 * index + 500 + 1000 / 3, KEYS[symbol]) for index, symbol in enumerate(TWO_FIVE_ONE)]
    aligned = align(played(swung, 200, grid=grid), slots, grid)
    assert errors(aligned) == [0] * 8
    straight = [(1000 * index + 750, KEYS[symbol]) for index, symbol in enumerate(TWO_FIVE_ONE)]
    aligned = align(played(straight, 200, grid=grid), slots, grid)
    assert errors(aligned) == [-83] * 8


def test_at_240_a_chord_on_every_beat_is_told_from_the_next() -> None:
    grid = Grid(240, 0)
    symbols = ("Dm7", "G7", "Cmaj7", "Dm7") * 4
    slots = [slot(index, index, 1, target(symbol)) for index, symbol in enumerate(symbols)]
    chance = Random(3)
    gestures = [(250 * index + chance.uniform(-60, 60), KEYS[symbol]) for index, symbol in enumerate(symbols)]
    del gestures[6]
    aligned = align(played(gestures, 120, between_ms=12, grid=grid), slots, grid)
    assert [answer.slot.index for answer in aligned.answers if answer.verdict != "right"] == [6]


def test_a_pick_up_lies_below_beat_zero() -> None:
    slots = [slot(0, -1, 1, target("G7")), *[replace(each, index=each.index + 1) for each in bars("Cmaj7", "Dm7")]]
    gestures = [(-500 + 30, G7), (30, CMAJ7), (2030, DM7)]
    aligned = align(played(gestures), slots, GRID)
    assert verdicts(aligned) == ["right"] * 3
    assert errors(aligned) == [30, 30, 30]


def test_noodling_before_the_form_and_after_it_is_no_part_of_the_pass() -> None:
    gestures = [(-3000.0, (62,)), (-2500.0, (64,)), *chords(*TWO_FIVE_ONE), (19000.0, (60, 67))]
    aligned = align(played(gestures), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8
    assert aligned.extra == ()


# -- two hands


def both_hands(*symbols: str, chord_beat: float = 0.0) -> list[Slot]:
    slots = []
    for index, symbol in enumerate(symbols):
        slots.append(slot(2 * index, 4 * index, 4, bass(symbol), "bass"))
        slots.append(slot(2 * index + 1, 4 * index + chord_beat, 4 - chord_beat, target(symbol)))
    return slots


ROOTS = {"Dm7": 38, "G7": 31, "Cmaj7": 36}


def test_bass_and_chord_on_the_same_beat_are_two_answers() -> None:
    gestures: list[Gesture] = []
    for at, keys in chords(*TWO_FIVE_ONE):
        gestures.append((at, keys))
    for bar, symbol in enumerate(TWO_FIVE_ONE):
        gestures.append((2000 * bar + 25, [ROOTS[symbol]]))
    aligned = align(played(gestures), both_hands(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 16
    assert errors(aligned) == [25, 0] * 8


def test_a_wrong_bass_does_not_spoil_the_chord_above_it() -> None:
    gestures = [*chords("Dm7", "G7"), (0.0, [40]), (2000.0, [31])]
    aligned = align(played(gestures), both_hands("Dm7", "G7"), GRID)
    assert verdicts(aligned) == ["wrong", "right", "right", "right"]


def test_a_bass_held_under_the_chord_is_no_wrong_note_in_it() -> None:
    """Bass on one, chord on the "and" of two."""
    slots = both_hands("Dm7", "G7", chord_beat=1.5)
    events = played([(0, [38]), (2000, [31])], 1900) + played([(750, DM7), (2750, G7)])
    aligned = align(sorted(events, key=lambda event: event.time_ns), slots, GRID)
    assert verdicts(aligned) == ["right"] * 4


def test_the_left_hand_alone_leaves_the_right_hand_missed() -> None:
    gestures: list[Gesture] = [(2000 * bar, [ROOTS[symbol]]) for bar, symbol in enumerate(TWO_FIVE_ONE)]
    aligned = align(played(gestures), both_hands(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right", "missed"] * 8


# -- a pass that does not come to its end


def test_a_pass_that_stops_in_the_middle_is_judged_up_to_there() -> None:
    events = played(chords("Dm7", "G7", None, "Cmaj7"))
    aligned = align(events, bars(*TWO_FIVE_ONE), GRID, until_ns=GRID.start_ns + 7_000_000_000)
    assert verdicts(aligned) == ["right", "right", "missed", "right"]
    record = record_of(aligned, CIRCUMSTANCES)
    assert (record.outcome, record.clean, len(record.slots)) == ("stopped", False, 4)


def test_a_pass_without_its_port_is_void() -> None:
    events = [*played(chords("Dm7", "G7")), NoteEvent(GRID.start_ns + 4_500_000_000, Kind.PORT_LOST)]
    aligned = align(events, bars(*TWO_FIVE_ONE), GRID)
    assert aligned.lost and record_of(aligned, CIRCUMSTANCES).outcome == "void"


def test_a_mode_message_lets_the_keys_go_and_the_pass_goes_on() -> None:
    events = played(chords(*TWO_FIVE_ONE), 1900)
    events.append(NoteEvent(GRID.start_ns + 2_500_000_000, Kind.QUIET, value=123))
    aligned = align(sorted(events, key=lambda event: event.time_ns), bars(*TWO_FIVE_ONE), GRID)
    assert verdicts(aligned) == ["right"] * 8 and not aligned.lost


def test_nothing_played_is_everything_missed_and_nothing_asked_is_nothing() -> None:
    assert verdicts(align([], bars(*TWO_FIVE_ONE), GRID)) == ["missed"] * 8
    aligned = align(played(chords(*TWO_FIVE_ONE)), [], GRID)
    assert aligned.answers == () and aligned.extra == () and not is_clean(aligned)


# -- the record

CIRCUMSTANCES = Circumstances(
    "s", 1, "2026-01-01T00:00:00Z", "A practice form", "C", 32.0, port="Stage Piano", stamp_origin="callback"
)


def a_take() -> tuple[list[NoteEvent], list[Slot]]:
    chance = Random(11)
    gestures: list[Gesture] = []
    for bar, symbol in enumerate(TWO_FIVE_ONE):
        at = 2000 * bar + chance.gauss(20, 25)
        gestures += [(at, KEYS[symbol]), (at + chance.gauss(0, 20), [ROOTS[symbol]])]
    gestures[6] = (gestures[6][0], (53, 56, 59, 64))
    del gestures[9]
    return played(gestures, between_ms=7.3), both_hands(*TWO_FIVE_ONE)


def test_a_record_tells_of_every_slot_what_was_asked_and_what_became_of_it() -> None:
    events, slots = a_take()
    record = record_of(align(events, slots, GRID, calibration_ms=12.5), CIRCUMSTANCES)
    assert (record.tempo_bpm, record.swing, record.calibration_ms, record.extra) == (120, 0.5, 12.5, 0)
    first = record.slots[1]
    assert (first.bar, first.beat, first.part, first.chord, first.root) == (1, "1", "chord", "Dm7", "D")
    assert first.keys == first.held == DM7
    assert first.degrees == ("b3", "5", "b7", "9")
    missed = [slot for slot in record.slots if slot.verdict == "missed"]
    assert [(slot.error_ms, slot.held, slot.cause) for slot in missed] == [(None, (), None)]
    wrong = [slot for slot in record.slots if slot.verdict == "wrong"]
    assert len(wrong) == 1 and wrong[0].cause in wrong[0].causes and wrong[0].sentence


def test_a_record_graded_again_gives_the_same_record() -> None:
    events, slots = a_take()
    record = record_of(align(events, slots, GRID, calibration_ms=12.5), CIRCUMSTANCES)
    again = align(events_of(record), slots, Grid(record.tempo_bpm), calibration_ms=record.calibration_ms)
    assert record_of(again, CIRCUMSTANCES) == record


def test_a_take_in_whole_milliseconds_gives_the_same_answers() -> None:
    """A file of a take holds whole milliseconds; the screen heard nanoseconds."""
    events, slots = a_take()
    start = GRID.start_ns
    filed = [replace(e, time_ns=start + round((e.time_ns - start) / 1_000_000) * 1_000_000) for e in events]
    assert align(events, slots, GRID).answers == align(filed, slots, GRID).answers


ANYTHING = st.lists(
    st.tuples(
        st.integers(0, 900),
        st.sampled_from(
            [Kind.DOWN, Kind.DOWN, Kind.DOWN, Kind.UP, Kind.PEDAL, Kind.QUIET, Kind.PORT_LOST, Kind.PORT_FOUND]
        ),
        st.sampled_from([31, 36, 38, *DM7, 59, 61, 55, 62, 127]),
        st.sampled_from([0, 64, 123]),
        st.sampled_from([0, 9]),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(ANYTHING, st.sampled_from([20, 120, 400]), st.sampled_from([0.0, 35.5, -300.0]))
def test_whatever_is_played_every_slot_has_one_answer_and_live_comes_to_the_same(
    played: list[tuple[int, Kind, int, int, int]], tempo: int, calibration_ms: float
) -> None:
    grid = Grid(tempo, 10**9)
    slots = [*both_hands("Dm7", "G7", chord_beat=1.5), slot(4, 5.5, 1, target("G7"), optional=True)]
    now, events = 0, []
    for gap_ms, kind, key, value, channel in played:
        now += gap_ms * 1_000_000 + 123_457
        events.append(NoteEvent(now, kind, MidiNote(key), value, channel))
    following = Following(slots, grid, calibration_ms=calibration_ms)
    ticks = 0
    for event in events:
        while (due := following.deadline_ns) is not None and due <= event.time_ns:
            following.tick(due)
            ticks += 1
        following.hear(event)
    while (due := following.deadline_ns) is not None:
        following.tick(due)
        ticks += 1
    assert ticks <= 2 * len(events) + len(slots) + 2
    assert [answer.slot for answer in following.answers] == slots
    aligned = align(events, slots, grid, calibration_ms=calibration_ms)
    assert following.finish() == aligned
    assert [answer.slot for answer in aligned.answers] == slots
    struck = sum(event.kind is Kind.DOWN and event.channel != 9 for event in events)
    answered = [answer for answer in aligned.answers if answer.error_ms is not None]
    assert len(answered) + len(aligned.extra) <= struck
    again = align(events_of(record_of(aligned, CIRCUMSTANCES)), slots, Grid(tempo), calibration_ms=calibration_ms)
    assert again.answers == aligned.answers


# -- live


def follow(
    events: Sequence[NoteEvent], slots: Sequence[Slot], grid: Grid = GRID
) -> tuple[Following, list[tuple[int, str, int]]]:
    """Follow a take on the clock; what was told, and when (ms)."""
    following = Following(slots, grid)
    told = []

    def tell(answers: Iterable[object], now_ns: int) -> None:
        told.extend((answer.slot.index, answer.verdict, (now_ns - grid.start_ns) // 1_000_000) for answer in answers)  # type: ignore[attr-defined]

    for event in events:
        while (due := following.deadline_ns) is not None and due <= event.time_ns:
            tell(following.tick(due), due)
        tell(following.hear(event), event.time_ns)
    while (due := following.deadline_ns) is not None:
        tell(following.tick(due), due)
    return following, told


def test_a_right_chord_is_told_with_its_last_key_and_a_silent_slot_when_its_time_is_over() -> None:
    events = played(chords("Dm7", None, "Cmaj7"))
    _, told = follow(events, bars("Dm7", "G7", "Cmaj7"))
    assert told == [(0, "right", 12), (1, "missed", 4001), (2, "right", 4012)]


def test_a_wrong_chord_is_told_when_the_gap_after_it_is_over() -> None:
    gestures = chords("Dm7", "G7")
    gestures[0] = (0, (53, 57, 61, 64))
    _, told = follow(played(gestures), bars("Dm7", "G7"))
    assert told == [(0, "wrong", 93), (1, "right", 2012)]


def test_a_wrong_key_after_the_right_chord_takes_the_verdict_back() -> None:
    events = played(chords("Dm7", "G7")) + played([(30, [62])])
    _, told = follow(sorted(events, key=lambda event: event.time_ns), bars("Dm7", "G7"))
    assert told == [(0, "right", 12), (0, "wrong", 111), (1, "right", 2012)]


def test_what_was_followed_ends_as_the_alignment_of_the_whole() -> None:
    events, slots = a_take()
    following, _ = follow(events, slots)
    whole = align(events, slots, GRID)
    assert following.finish() == whole
    assert following.answers == whole.answers
    stop = GRID.start_ns + 7_000_000_000
    assert following.finish(stop) == align(events, slots, GRID, until_ns=stop)


def test_a_long_drift_is_followed_live() -> None:
    """Ninety-six bars, 5 % slower than the click: at the end nineteen beats behind."""
    form = ("Dm7", "G7", "Cmaj7", "Cmaj7") * 24
    gestures = [(at * 1.05, keys) for at, keys in chords(*form)]
    following, _ = follow(played(gestures, 200), bars(*form))
    assert [answer.verdict for answer in following.answers] == ["right"] * 2 + ["late"] * 94
    assert following.answers == following.finish().answers


def test_who_stops_short_for_two_beats_is_late_from_there_on() -> None:
    form = ("Dm7", "G7", "Cmaj7", "Cmaj7") * 4
    gestures = [(at + (1000 if bar >= 6 else 0), keys) for bar, (at, keys) in enumerate(chords(*form))]
    following, _ = follow(played(gestures, 200), bars(*form))
    assert [answer.verdict for answer in following.answers] == ["right"] * 6 + ["late"] * 10
    assert {answer.error_ms for answer in following.answers} == {0, 1000}
    assert following.answers == following.finish().answers


def test_the_slot_that_is_due_goes_by_the_click() -> None:
    following = Following(both_hands("Dm7", "G7", chord_beat=1.5), GRID)
    at = [following.slot_at(GRID.start_ns + round(ms * 1e6)) for ms in (-900, 0, 750, 2749, 2750, 3999, 4000)]
    assert [None if each is None else each.index for each in at] == [1, 1, 1, 1, 3, 3, None]
    assert following.slot_at(GRID.start_ns, "bass") is following.slots[0]
    assert Following([], GRID).slot_at(0) is None
