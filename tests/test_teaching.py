"""Lessons taught by playing: what is taken, what may be wished for, and the lesson that comes of it.

Notes are common practice, no source, written by hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.capture import Kind, NoteEvent
from trainer.charts import FORMS, form_chart, read_chart
from trainer.drills import lesson_of, read_lesson, write_lesson
from trainer.drills.teaching import (
    Asked,
    Complete,
    Finished,
    NotTaken,
    Stage,
    Taken,
    Teaching,
    TeachingEvent,
    Wish,
)
from trainer.pitch import MidiNote, Note, parse_key

MS = 1_000_000


class Hands:
    """Plays into a teaching under a clock of its own."""

    def __init__(self, teaching: Teaching) -> None:
        self.teaching = teaching
        self.now_ns = 0

    def event(self, kind: Kind, key: int = 0, after_ms: float = 5) -> list[TeachingEvent]:
        self.now_ns += round(after_ms * MS)
        return self.teaching.hear(NoteEvent(self.now_ns, kind, MidiNote(key)))

    def play(self, names: str | Sequence[int], hold_ms: float = 400) -> list[TeachingEvent]:
        keys = [parse_key(name) for name in names.split()] if isinstance(names, str) else names
        happened = [event for key in keys for event in self.event(Kind.DOWN, key)]
        self.now_ns += round(hold_ms * MS)
        return happened + [event for key in keys for event in self.event(Kind.UP, key)]


def teaching_of(bars: str, head: str = "key: C") -> tuple[Teaching, Hands]:
    teaching = Teaching(read_chart(f"title: Invented\n{head}\n{bars}"))
    teaching.start()
    return teaching, Hands(teaching)


def only(events: Iterable[TeachingEvent], kind: type) -> list:
    return [event for event in events if isinstance(event, kind)]


def test_a_voicing_held_and_let_go_is_taken_and_the_next_chord_follows() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 | Cmaj7 |")
    happened = hands.play("F3 A3 C4 E4")
    (taken,) = only(happened, Taken)
    assert (taken.voiced.voicing, [key.degree for key in taken.voiced.naming.keys]) == (
        "rootless from the third", ["b3", "5", "b7", "9"],
    )  # fmt: skip
    (asked,) = only(happened, Asked)
    assert (asked.chord.label, asked.chord.one.chord.symbol, asked.number, asked.total) == ("bar 2", "G7", 2, 3)


def test_nothing_is_taken_while_a_key_is_still_held() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    for key in ("F3", "A3", "C4"):
        assert not only(hands.event(Kind.DOWN, parse_key(key), 300), Taken)
    assert not only(hands.event(Kind.UP, parse_key("F3"), 500), Taken)
    assert not only(hands.event(Kind.UP, parse_key("A3"), 500), Taken)
    assert only(hands.event(Kind.UP, parse_key("C4"), 500), Taken)


def test_a_chord_touched_as_short_as_can_be_is_taken_whole() -> None:
    _, hands = teaching_of("| Dm7 | G7 |")
    (taken,) = only(hands.play("F3 A3 C4 E4", hold_ms=20), Taken)
    assert len(taken.voiced.keys) == 4


def test_a_wrong_key_put_right_before_letting_go_is_forgotten_and_so_is_a_brushed_one() -> None:
    _, hands = teaching_of("| Dm7 | G7 |")
    for key in ("F3", "A3", "C4", "D4"):
        hands.event(Kind.DOWN, parse_key(key), 10)
    hands.event(Kind.UP, parse_key("D4"), 300)
    hands.event(Kind.DOWN, parse_key("E4"), 300)
    hands.event(Kind.DOWN, parse_key("Gb4"), 100)
    hands.event(Kind.UP, parse_key("Gb4"), 30)
    happened = [event for key in ("F3", "A3", "C4", "E4") for event in hands.event(Kind.UP, parse_key(key), 200)]
    (taken,) = only(happened, Taken)
    assert taken.voiced.keys == tuple(parse_key(key) for key in ("F3", "A3", "C4", "E4"))


def test_one_key_alone_is_no_voicing() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    assert only(hands.play("D3"), NotTaken) and teaching.voiced == []


@pytest.mark.parametrize("kind", [Kind.QUIET, Kind.PORT_LOST])
def test_a_piano_that_goes_away_leaves_nothing_held(kind: Kind) -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    hands.event(Kind.DOWN, parse_key("F3"))
    hands.event(kind)
    assert teaching.voiced == [] and only(hands.play("F3 A3 C4 E4"), Taken)


def test_back_forgets_the_voicing_taken_last_and_asks_again() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    assert only(teaching.command(Wish.BACK), NotTaken)
    hands.play("F3 A3 C4 Eb4")
    (asked,) = only(teaching.command(Wish.BACK), Asked)
    assert asked.chord.one.chord.symbol == "Dm7" and teaching.voiced == []


def test_again_forgets_what_is_being_held() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    hands.event(Kind.DOWN, parse_key("F3"))
    teaching.command(Wish.AGAIN)
    assert hands.event(Kind.UP, parse_key("F3")) == [] and teaching.voiced == []


def test_same_as_before_is_the_same_chord_s_voicing_else_that_of_its_kind_nearby() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 | Dm7 | Gm7 |")
    hands.play("F3 A3 C4 E4")
    assert only(teaching.command(Wish.SAME), NotTaken)  # there has been no dominant yet
    hands.play("F3 A3 B3 E4")
    assert only(teaching.command(Wish.SAME), Taken)[0].voiced.keys == teaching.voiced[0].keys
    moved = only(teaching.command(Wish.SAME), Taken)[0].voiced
    # Bb3 D4 F4 A4 lies five keys up from F3 A3 C4 E4, nearer than seven down.
    assert moved.keys == tuple(parse_key(key) for key in ("Bb3", "D4", "F4", "A4"))


def test_what_the_next_playing_leaves_out_may_be_left_out() -> None:
    teaching, hands = teaching_of("| Eb7 | Ab7 |")
    hands.play("Db3 G3 Bb3 F4")
    teaching.command(Wish.OPTIONAL)
    assert teaching.stage is Stage.LEAVING_OUT
    assert only(hands.play("Db3 G3 C4"), NotTaken)
    happened = hands.play("Db3 G3 Bb3")
    assert only(happened, Taken)[0].voiced.voicing == "b7 3 5 (9)" and only(happened, Asked)[0].number == 2
    assert teaching.lesson().form[0].target.optional == {3}


def test_the_last_voicing_played_once_more_ends_it_and_so_does_the_wish() -> None:
    teaching, hands = teaching_of("| Dm7 | G7 |")
    hands.play("F3 A3 C4 E4")
    assert only(hands.play("F3 A3 B3 E4"), Complete)
    assert only(hands.play("F3 A3 B3"), NotTaken)
    assert only(hands.play("F3 A3 B3 E4"), Finished) == [Finished(2, 2)]
    assert hands.play("F3 A3 B3 E4") == []
    early, few = teaching_of("| Dm7 | G7 |")
    assert only(early.command(Wish.DONE), NotTaken)
    few.play("F3 A3 C4 E4")
    assert only(early.command(Wish.DONE), Finished) == [Finished(1, 2)]


def test_a_chord_of_one_degree_voiced_alike_has_one_rule_and_else_rules_go_by_bar() -> None:
    teaching, hands = teaching_of("| F7 | Bb7 | F7 | Cm7 F7 | Bb7 |", "key: F")
    for names in ("A3 D4 Eb4 G4", "Ab3 C4 D4 G4", "A3 D4 Eb4 G4", "Bb3 D4 Eb4 G4", "F3 A3 Eb4", "Ab3 C4 D4 G4"):
        hands.play(names)
    lesson = teaching.lesson()
    text = write_lesson(lesson)
    assert 'degree = "IV"' in text and "bar = [1, 3]" in text and "beat = 3" in text
    found, faults = read_lesson(text, "taught.lesson.toml")
    assert (found, [str(fault) for fault in faults]) == (lesson, [])
    played = [one.target.keys for one in lesson.form]
    assert played[0] == tuple(parse_key(key) for key in ("A3", "D4", "Eb4", "G4"))
    assert played[4] == tuple(parse_key(key) for key in ("F3", "A3", "Eb4"))


def test_a_chord_that_goes_on_is_taught_once_and_a_repeated_bar_too() -> None:
    teaching, _ = teaching_of("|: Dm7 | % | G7 :|x3")
    assert [(chord.label, chord.bars) for chord in teaching.chords] == [
        ("bar 1", (1, 2, 4, 5, 7, 8)), ("bar 3", (3, 6, 9)),
    ]  # fmt: skip


def test_a_chart_without_chords_cannot_be_taught() -> None:
    with pytest.raises(ValueError, match="no chord"):
        Teaching(read_chart("| N.C. |"))


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
@pytest.mark.parametrize("key", ["C", "Gb", "A"])
def test_a_lesson_taught_in_its_own_voicings_plays_them_again(row: object, key: str) -> None:
    from trainer.charts import FormRow

    assert isinstance(row, FormRow)
    chart = form_chart(row.name, Note.parse(key))
    played = {(one.bar, one.beat): one.target.keys for one in lesson_of(chart).form}
    teaching = Teaching(chart)
    hands = Hands(teaching)
    teaching.start()
    while teaching.chord is not None:
        chord = teaching.chord
        assert only(hands.play(played[chord.one.bar, chord.one.beat]), Taken)
    lesson = teaching.lesson()
    found, faults = read_lesson(write_lesson(lesson), "taught.lesson.toml")
    assert (found, [str(fault) for fault in faults]) == (lesson, [])
    again = {(one.bar, one.beat): one.target.keys for one in lesson.form}
    # A bar that comes round is taught once, as it was played first.
    assert all(again[where] == played[where] for where in ((c.one.bar, c.one.beat) for c in teaching.chords))


@given(
    st.lists(
        st.one_of(
            st.sampled_from(list(Wish)),
            st.lists(st.integers(40, 80), min_size=1, max_size=5, unique=True),
            st.tuples(st.sampled_from(list(Kind)), st.integers(40, 80)),
        ),
        max_size=25,
    )
)
@settings(max_examples=50, deadline=None)
def test_whatever_is_played_and_wished_for_the_table_stands(doings: list[object]) -> None:
    teaching, hands = teaching_of("| Dm7 G7 | Cmaj7 |")
    for doing in doings:
        if isinstance(doing, Wish):
            teaching.command(doing)
        elif isinstance(doing, list):
            hands.play(sorted(doing))
        else:
            kind, key = doing  # type: ignore[misc]
            hands.event(kind, key)
        assert 0 <= len(teaching.voiced) <= 3
        assert (teaching.chord is None) == (len(teaching.voiced) == 3)
    lesson = teaching.lesson()
    read_lesson(write_lesson(lesson), "taught.lesson.toml")
