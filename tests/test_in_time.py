"""A form at a tempo: the count-in, the pass, the ladder, and the port that goes. Expected moments are counted by hand.

Forms and voicings: trade.md's tables, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest
from simulated_takes import form_slots

from trainer.capture import Kind, NoteEvent
from trainer.charts import form_chart
from trainer.drills import lesson_of
from trainer.in_time import (
    LEAD_NS,
    REST_NS,
    BeatCame,
    Course,
    CourseFinished,
    CoursePaused,
    FormBar,
    FormEvent,
    FormSession,
    PassBegan,
    PassEnded,
    Phase,
    Piece,
    SlotsAnswered,
    accompaniment_of,
    piece_of,
)
from trainer.pitch import MidiNote, Note
from trainer.session import Command, Particulars
from trainer.timing import PassRecord

MS = 1_000_000
BEAT = 500 * MS
"""At 120 a minute."""


def piece(key: str = "C", tempo: float = 120) -> Piece:
    """ii-V-I once through: four bars of four, a chord in each, the tonic for two bars."""
    slots = form_slots("ii-V-I", Note.parse(key), "once a chord")
    bars = tuple(FormBar(number, Fraction(4 * (number - 1)), Fraction(4)) for number in range(1, 5))
    return Piece("ii-V-I", "", key, "4/4", bars, slots, tempo, Fraction(1, 2))


def session(*pieces: Piece, controls: dict[int, Command] | None = None, **course: int) -> FormSession:
    particulars = Particulars("s", lambda: "2026-11-25T20:00:00.000Z", "Piano", "callback", controls or {})
    return FormSession(Course(pieces or (piece(),), len(pieces) < 2, **course), particulars)


def run(one: FormSession, until_ns: int) -> list[FormEvent]:
    """What the clock brings, deadline by deadline, as the screen and the headless run serve it."""
    happened: list[FormEvent] = []
    while (due := one.deadline_ns) is not None and due <= until_ns:
        happened += one.tick(due)
    return happened


def chord(keys: Sequence[int], at_ns: int, hold_ns: int = 400 * MS) -> list[NoteEvent]:
    down = [NoteEvent(at_ns, Kind.DOWN, MidiNote(key), 64) for key in keys]
    return [*down, *(NoteEvent(at_ns + hold_ns, Kind.UP, MidiNote(key), 0) for key in keys)]


def play(one: FormSession, late_ms: int = 0, keep: Sequence[int] | None = None) -> list[FormEvent]:
    """A whole pass of the piece in hand, every chord (or those of the indices in `keep`) that much late."""
    happened: list[FormEvent] = []
    if one.phase is Phase.RESTING and one.deadline_ns is not None:
        happened += one.tick(one.deadline_ns)
    events: list[NoteEvent] = []
    for slot in one.piece.slots:
        if keep is None or slot.index in keep:
            events += chord(slot.target.keys, one._grid.time_ns(slot.start_beats) + late_ms * MS)
    for event in events:
        happened += run(one, event.time_ns)
        happened += one.hear(event)
    count = len(one.records)
    while len(one.records) == count and (due := one.deadline_ns) is not None:
        happened += one.tick(due)
    return happened


def ended(happened: Sequence[FormEvent]) -> PassRecord:
    return next(event.record for event in happened if isinstance(event, PassEnded))


def test_two_bars_are_counted_in_and_then_bar_one_begins() -> None:
    one = session()
    began = one.start(0)[0]
    assert isinstance(began, PassBegan)
    assert (began.count_in_ns, began.count_in_beats) == (LEAD_NS, 8)
    assert began.grid.start_ns == LEAD_NS + 8 * BEAT
    beats = [event for event in run(one, LEAD_NS + 9 * BEAT) if isinstance(event, BeatCame)]
    assert [(beat.bar, beat.beat) for beat in beats] == [(-1, 1), (-1, 2), (-1, 3), (-1, 4)] * 2 + [(0, 1), (0, 2)]


def test_a_pass_played_as_written_is_clean_and_the_next_is_a_step_faster() -> None:
    one = session()
    one.start(0)
    happened = play(one)
    record = ended(happened)
    assert [slot.verdict for slot in record.slots] == ["right"] * 4
    assert record.clean
    assert (record.offset_ms, record.key, record.outcome) == (0.0, "C", "whole")
    assert one.piece.tempo_bpm == 125  # 4 % up, the ladder's step
    assert one.phase is Phase.RESTING
    assert any(isinstance(event, SlotsAnswered) for event in happened)


def test_a_bar_left_out_is_one_miss_and_the_next_pass_is_slower() -> None:
    one = session()
    one.start(0)
    record = ended(play(one, keep=(0, 2, 3)))
    assert [slot.verdict for slot in record.slots] == ["right", "missed", "right", "right"]
    assert not record.clean
    assert one.piece.tempo_bpm == 111  # two steps down


def test_after_the_rest_the_next_pass_is_counted_in_by_itself() -> None:
    one = session()
    one.start(0)
    play(one)
    due = one.deadline_ns
    assert due is not None
    happened = one.tick(due)
    assert isinstance(happened[-1], PassBegan)
    assert happened[-1].count_in_ns == due + LEAD_NS
    assert due - (one.records[-1].beats * BEAT + LEAD_NS + 8 * BEAT) == pytest.approx(REST_NS + BEAT / 2, abs=2 * MS)


def test_keys_follow_one_another_once_each_was_clean() -> None:
    one = session(piece("C"), piece("F"))
    one.start(0)
    play(one)
    assert one.piece.key == "F"
    happened = play(one)
    assert isinstance(happened[-1], CourseFinished)
    assert [record.key for record in one.records] == ["C", "F"]


def test_a_key_that_does_not_come_clean_is_left_after_three_passes() -> None:
    one = session(piece("C"), piece("F"))
    one.start(0)
    for _ in range(3):
        assert one.piece.key == "C"
        play(one, keep=(0,))
    assert one.piece.key == "F"


def test_what_the_hands_do_in_the_count_in_is_no_part_of_the_pass() -> None:
    one = session()
    one.start(0)
    for event in chord((60, 61, 62), LEAD_NS + BEAT):
        one.hear(event)
    record = ended(play(one))
    assert record.clean
    assert record.extra == 0


def test_an_unplugged_piano_voids_the_pass_and_a_new_one_is_counted_in() -> None:
    one = session()
    one.start(0)
    events = chord(one.piece.slots[0].target.keys, one._grid.start_ns)
    for event in events:
        one.hear(event)
    happened = one.hear(NoteEvent(one._grid.start_ns + BEAT * 3, Kind.PORT_LOST, port="Piano"))
    assert isinstance(happened[-1], CoursePaused)
    assert ended(happened).outcome == "void"
    assert one.deadline_ns is None
    happened = one.hear(NoteEvent(one._grid.start_ns + BEAT * 30, Kind.PORT_FOUND, port="Piano"))
    assert isinstance(happened[0], PassBegan)
    assert one.piece.tempo_bpm == 120


def test_a_pass_that_was_stopped_says_nothing_about_the_tempo() -> None:
    one = session()
    one.start(0)
    for event in chord(one.piece.slots[0].target.keys, one._grid.start_ns):
        one.hear(event)
    happened = one.command(Command.PAUSE, one._grid.start_ns + BEAT)
    assert ended(happened).outcome == "stopped"
    assert isinstance(one.command(Command.RESUME, one._grid.start_ns + 9 * BEAT)[0], PassBegan)
    assert one.piece.tempo_bpm == 120


def test_a_pass_in_which_nothing_was_played_leaves_no_record_when_it_is_stopped() -> None:
    one = session()
    one.start(0)
    happened = one.command(Command.FINISH, LEAD_NS + 10 * BEAT)
    assert [type(event) for event in happened] == [CourseFinished]
    assert one.records == []


def test_a_key_of_the_piano_pauses_and_goes_on() -> None:
    one = session(controls={21: Command.PAUSE})
    one.start(0)
    happened = one.hear(NoteEvent(LEAD_NS, Kind.DOWN, MidiNote(21), 64))
    assert isinstance(happened[-1], CoursePaused)
    assert isinstance(one.hear(NoteEvent(LEAD_NS + BEAT, Kind.DOWN, MidiNote(21), 64))[0], PassBegan)


def test_faster_and_slower_stay_within_bounds_and_begin_anew() -> None:
    one = session(slowest_bpm=60, fastest_bpm=130)
    one.start(0)
    assert isinstance(one.change_tempo(500, LEAD_NS)[0], PassBegan)
    assert one.piece.tempo_bpm == 130
    assert one.change_tempo(4, LEAD_NS) == []


def test_the_port_s_own_delay_is_taken_off() -> None:
    particulars = Particulars("s", lambda: "2026-11-25T20:00:00.000Z", "Piano", "callback", {})
    one = FormSession(Course((piece(),), True), particulars, calibration_ms=30.0)
    one.start(0)
    record = ended(play(one, late_ms=30))
    assert record.offset_ms == 0.0
    assert record.calibration_ms == 30.0


def test_a_section_is_counted_in_and_graded_by_itself() -> None:
    lesson = lesson_of(form_chart("AABA, dominants in the bridge"))
    whole = piece_of(lesson, 120)
    bridge = piece_of(lesson, 120, section="B")
    assert [bar.number for bar in bridge.bars] == [*range(17, 25)]  # the third eight bars of thirty-two
    assert [slot.target.chord.symbol for slot in bridge.slots] == [
        slot.target.chord.symbol for slot in whole.slots if 17 <= slot.bar <= 24
    ]
    one = session(bridge)
    began = one.start(0)[0]
    assert isinstance(began, PassBegan)
    assert began.grid.time_ns(bridge.start_beats) == LEAD_NS + 8 * BEAT
    record = ended(play(one))
    assert record.clean
    assert (record.section, record.beats) == ("B", 32.0)


def test_click_and_bass_are_those_of_the_bars_played() -> None:
    lesson = lesson_of(form_chart("ii-V-I"))
    notes = accompaniment_of(piece_of(lesson, 120), 2, "beats", "roots", 48)
    clicks = [float(note.start_beats) for note in notes if note.channel == 9]
    assert clicks == [-8, -6, -4, -3, -2, -1, *range(16)]
    # D G C C, from low E up (a bass player's roots; common practice, no source).
    assert [note.key % 12 for note in notes if note.channel == 0] == [2, 7, 0, 0][: len(lesson.form)]


def test_the_command_line_offers_the_clicks_and_basses_there_are() -> None:
    from trainer.commands import in_time as commands
    from trainer.in_time import BASS_KINDS, CLICK_KINDS

    assert commands.CLICK_KINDS == CLICK_KINDS
    assert commands.BASS_KINDS == BASS_KINDS


def test_who_plays_the_bass_gets_none() -> None:
    from trainer.drills import read_lesson

    lesson, faults = read_lesson(
        'title = "x"\nform = "ii-V-I"\n[[rule]]\nrhythm = "1 bass, 2& chord"\n', "x.lesson.toml"
    )
    assert lesson is not None, faults
    notes = accompaniment_of(piece_of(lesson, 120), 1, "two and four", "walking", 48)
    assert {note.channel for note in notes} == {9}
    assert [float(note.start_beats) for note in notes if 0 <= note.start_beats < 4] == [1, 3]


def test_a_course_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing to play"):
        FormSession(Course(()), Particulars("s", lambda: ""))
