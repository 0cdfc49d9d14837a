"""Assignments and how students stand with them; every expected state is worked out by hand from the rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.desk import (
    BEGUN,
    DONE,
    NOT_STARTED,
    STUCK,
    ClassView,
    Standing,
    standing,
    standing_from,
    standing_object,
)
from trainer.drills import read
from trainer.drills.assignments import (
    Assignment,
    Done,
    is_assignment,
    least_right,
    read_assignment,
    write_assignment,
)
from trainer.pitch import Note
from trainer.progress import Attempt, TryRecord
from trainer.timing import PassRecord

SET = """title = "Guide tones"
[[drill]]
chord = "m7"
voicing = "rootless from the third"
roots = ["C", "F"]
"""
DRILLS = Path(__file__).parent.parent / "drills"


def assignment(done: Done = Done(), text: str = SET) -> Assignment:  # noqa: B008 (frozen)
    content, faults = read(text, "set.toml")
    assert content is not None, faults
    return Assignment("week-1", "Guide tones by Friday", content, text, done=done)


def answer(
    root: str, number: int, right: bool, day: int = 1, seconds: float = 1.0, cause: str = "half step off"
) -> Attempt:
    """One attempt at the first drill: right or wrong at the first try, on a day of November."""
    first = TryRecord((), (), (), right, None if right else cause, (), "", 1000 * seconds, 0.0)
    return Attempt(
        session="s",
        number=number,
        utc=f"2026-11-{day:02}T18:00:00.{number:03}Z",
        set_title="Guide tones",
        drill=0,
        chord=f"{root}m7",
        quality="m7",
        root=root,
        voicing="rootless from the third",
        degrees=("b3", "5", "b7", "9"),
        notes=(),
        keys=(),
        tries=(first,),
        outcome="right" if right else "wrong",
        right_first_try=right,
        response_ms=1000 * seconds if right else None,
        settle_ms=None,
        pool_size=2,
        stamp_origin="callback",
        assignment="week-1",
    )


def states(one: Standing) -> list[tuple[str, str]]:
    return [(cell.root, cell.state) for cell in one.cells]


def test_nothing_played_is_not_started() -> None:
    one = standing(assignment(), [])
    assert states(one) == [("C", NOT_STARTED), ("F", NOT_STARTED)]
    assert one.state == NOT_STARTED


def test_three_right_on_each_root_are_done() -> None:
    played = [answer(root, number, True) for number, root in enumerate("CFCFCF")]
    one = standing(assignment(), played)
    assert one.state == DONE
    assert one.sentence(date(2026, 12, 4), date(2026, 11, 30)) == "Done."


def test_an_early_miss_does_not_count_for_ever() -> None:
    played = [answer("C", number, number > 0) for number in range(4)]
    assert states(standing(assignment(), played)) == [("C", DONE), ("F", NOT_STARTED)]


def test_what_was_done_stays_done() -> None:
    played = [answer("C", number, number < 3) for number in range(9)]
    cell = standing(assignment(), played).cells[0]
    assert cell.state == DONE
    assert cell.done_utc == played[2].utc


def test_twice_the_asked_tries_and_still_wrong_is_stuck_and_says_by_what() -> None:
    played = [answer("F", number, number % 2 == 0, cause="third missed") for number in range(6)]
    cell = standing(assignment(), played).cells[1]
    assert (cell.state, cell.tries, cell.right, cell.cause) == (STUCK, 6, 3, "third missed")
    assert cell.lacking == "1 of the latest 3 right, asked are 3"


def test_right_but_slow_is_begun_and_says_how_slow() -> None:
    played = [answer("C", number, True, seconds=3.0) for number in range(3)]
    cell = standing(assignment(Done(response_ms=2000)), played).cells[0]
    assert (cell.state, cell.lacking) == (BEGUN, "3.0 s, asked are 2 s")


def test_right_on_one_day_lacks_another() -> None:
    wanted = assignment(Done(days=2))
    played = [answer("C", number, True, day=1) for number in range(5)]
    assert standing(wanted, played).cells[0].lacking == "right on 1 of 2 days"
    assert standing(wanted, [*played, answer("C", 5, True, day=2)]).cells[0].state == DONE


def test_only_what_was_played_for_it_counts_and_never_the_scripted_player() -> None:
    played = [replace(answer("C", number, True), assignment="") for number in range(3)]
    played += [replace(answer("C", number, True), stamp_origin="script") for number in range(3)]
    assert standing(assignment(), played).state == NOT_STARTED


def test_f_sharp_answers_for_g_flat() -> None:
    wanted = assignment(text=SET.replace('["C", "F"]', '["Gb"]'))
    played = [answer("F#", number, True) for number in range(3)]
    assert standing(wanted, played).state == DONE


@pytest.mark.parametrize(
    ("tries", "percent", "right"), [(3, 100, 3), (4, 75, 3), (4, 76, 4), (10, 85, 9), (1, 1, 1), (3, 67, 3), (3, 66, 2)]
)
def test_the_share_asked_is_rounded_up(tries: int, percent: int, right: int) -> None:
    assert least_right(Done(tries=tries, accuracy_percent=percent)) == right


@pytest.mark.parametrize(
    ("due", "said"),
    [
        (date(2026, 11, 30), "due today."),
        (date(2026, 12, 1), "due tomorrow."),
        (date(2026, 12, 4), "due in 4 days."),
        (date(2026, 11, 29), "due yesterday."),
        (date(2026, 11, 27), "due 3 days ago."),
    ],
)
def test_the_student_reads_when_it_is_due(due: date, said: str) -> None:
    one = standing(assignment(), [answer("C", 0, True)])
    assert one.sentence(due, date(2026, 11, 30)) == f"0 of 2 done, 2 to go, {said}"


def a_pass(key: str, tempo: float, clean: bool, day: int = 1) -> PassRecord:
    return PassRecord(
        session="p", number=0, utc=f"2026-11-{day:02}T19:00:00.000Z", title="t", section="", key=key, tempo_bpm=tempo,
        swing=0.5, beats=48.0, meter="4/4", outcome="whole", clean=clean, slots=(), extra=0, offset_ms=None,
        scatter_ms=None, calibration_ms=0.0, port="", stamp_origin="callback", assignment="week-1",
    )  # fmt: skip


def test_a_tempo_is_done_by_a_clean_pass_at_it_in_each_key() -> None:
    wanted = assignment(Done(tempo_bpm=120))
    one = standing(wanted, [], [a_pass("C", 120, True), a_pass("F", 110, True), a_pass("F", 120, False)])
    assert [(cell.drill, cell.root, cell.state) for cell in one.cells[2:]] == [(-1, "C", DONE), (-1, "F", BEGUN)]
    assert one.cells[3].lacking == "clean at 110, asked at 120"


def test_the_class_is_told_what_to_teach_next() -> None:
    wanted = assignment()
    good = [answer(root, number, True) for number, root in enumerate("CFCFCF")]
    weak = [answer("F", number, False, cause="third missed") for number in range(6)]
    view = ClassView(
        "week-1",
        ("Ada", "Ben", "Cleo", "Dan"),
        (standing(wanted, good), standing(wanted, weak), standing(wanted, [*weak, *good[::2]]), None),
    )
    assert view.by_state(DONE) == ("Ada",)
    assert view.by_state(STUCK) == ("Ben", "Cleo")
    assert view.by_state(NOT_STARTED) == ("Dan",)
    first = view.missed[0]
    assert (first.root, first.begun, first.done, first.cause) == ("F", 2, 1, "third missed")
    assert dict(view.causes) == {"third missed": 2}


def test_a_standing_is_kept_as_plain_values() -> None:
    one = standing(assignment(), [answer("C", 0, False)], student="Ada")
    assert standing_from(standing_object(one)) == one


# -- the file


def test_an_assignment_survives_its_file() -> None:
    for path in sorted(DRILLS.glob("*.toml")):
        text = path.read_text("utf-8")
        content, _ = read(text, path.name)
        if content is None:  # a lesson
            continue
        given_out = Assignment(
            "w-1", "By Friday", content, text, "Ada", "B. Teacher", date(2026, 12, 4), "Slowly.\nThen fast.",
            Done((Note.parse("C"),), 4, 75, 2500, 120, 2),
        )  # fmt: skip
        if any(Note.parse("C") not in drill.pool for drill in content.drills):
            given_out = replace(given_out, done=replace(given_out.done, roots=None))
        written = write_assignment(given_out)
        assert is_assignment(written)
        found, faults = read_assignment(written, "a.toml")
        assert faults == ()
        assert found == given_out
        assert found is not None
        assert found.digest == given_out.digest


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_its_place(text: str) -> None:
    found, faults = read_assignment(text, "a.toml")
    assert (found is None) == bool(faults)
    assert all(fault.line >= 1 and fault.column >= 1 for fault in faults)


GOOD = write_assignment(assignment())


@pytest.mark.parametrize(
    ("change", "line", "told"),
    [
        (('assignment = "week-1"', 'assignment = "../../etc"'), 2, "is no mark"),
        (("title =", "titel ="), 3, 'did you mean "title"?'),
        (("from the third", "from the thrid"), 8, "did you mean"),
        (("tries = 3", "tries = 0"), 13, "from 1 to 100"),
        (("tries = 3", 'roots = ["B"]'), 13, "is no root of the set inside"),
        (("tries = 3", "trys = 3"), 13, 'did you mean "tries"?'),
        (("[done]", 'due = "soon"\n[done]'), 12, "is no date"),
        (("[done]", 'note = "\\u202e"\n[done]'), 12, "turns the direction of writing"),
    ],
)
def test_every_fault_is_told_at_its_line_of_the_whole_file(change: tuple[str, str], line: int, told: str) -> None:
    assert change[0] in GOOD
    found, faults = read_assignment(GOOD.replace(*change), "a.toml")
    assert found is None
    assert any(told in fault.message and fault.line == line for fault in faults), [str(fault) for fault in faults]


def test_another_task_under_the_same_mark_has_another_digest() -> None:
    one = assignment()
    assert replace(one, note="Take your time.").digest == one.digest
    assert replace(one, done=Done(tries=4)).digest != one.digest
