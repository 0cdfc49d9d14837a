"""An assignment from the teacher's desk to the student and back, with the commands that they type."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from trainer.__main__ import main
from trainer.commands.store import Store
from trainer.drills import tasks
from trainer.drills.assignments import read_assignment
from trainer.inputs.running import Script
from trainer.session import AttemptEnded, Particulars, Session


class People:
    """A teacher and a student, each with a home of their own, typing commands."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, screen: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self._patch = patch
        self._screen = screen

    def type(self, who: str, *arguments: str) -> tuple[int, str]:
        """What a command answers: its exit code, and all it printed."""
        self._patch.setenv("TRAINER_HOME", str(self.folder / who))
        self._patch.chdir(self.folder)
        self._screen.readouterr()
        code = main(arguments)
        printed = self._screen.readouterr()
        return code, printed.out + printed.err

    def plays(self, who: str, assignment_file: str, seed: int, share_right: float) -> None:
        """The whole set inside an assignment once through, at a piano, stored as the program stores it."""
        self._patch.setenv("TRAINER_HOME", str(self.folder / who))
        given, _ = read_assignment((self.folder / assignment_file).read_text("utf-8"), "a")
        assert given is not None
        script = Script(Random(seed))
        script._player._share_right = share_right
        store = Store(None)
        plan = tasks(given.content, Random(seed))
        session = Session(plan, Particulars(f"{who}{seed}", lambda: "2026-11-25T18:00:00.000Z", "Piano", "callback"))
        for event in script.run(session):
            if isinstance(event, AttemptEnded):
                store.append(event.attempt, event.replaces)
        store.close()


@pytest.fixture
def people(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> People:
    found = People(tmp_path, monkeypatch, capsys)
    code, told = found.type(
        "teacher", "assign", "guide-tones", "--mark", "week-1", "--title", "Guide tones", "--tries", "1", "--due",
        "2026-12-04", "--note", "Slowly at first.", "--output", "week-1.toml",
    )  # fmt: skip
    assert code == 0, told
    return found


def test_an_assignment_goes_out_is_played_and_comes_back_done(people: People) -> None:
    code, told = people.type("ada", "open", "week-1.toml")
    assert code == 0
    assert "Guide tones. On every root: right at the first try." in told
    assert "Slowly at first." in told
    people.plays("ada", "week-1.toml", 1, share_right=1.0)
    _, told = people.type("ada", "assignments")
    assert "week-1  Guide tones: Done." in told
    assert people.type("ada", "hand-in", "week-1", "--student", "Ada", "--output", "ada.results")[0] == 0
    code, told = people.type("teacher", "collect", "ada.results")
    assert (code, told.splitlines()[0].startswith("Ada: ")) == (0, True)
    _, told = people.type("teacher", "desk", "week-1", "--students", "Ada,Ben", "--json")
    found = json.loads(told)
    assert [(each["student"], each["state"]) for each in found["students"]] == [("Ada", "done"), ("Ben", "not started")]


def test_reading_results_twice_is_the_same_as_once(people: People) -> None:
    people.type("ada", "open", "week-1.toml")
    people.plays("ada", "week-1.toml", 1, share_right=0.6)
    people.type("ada", "hand-in", "week-1", "--student", "Ada", "--output", "ada.results")
    people.type("teacher", "collect", "ada.results")
    _, before = people.type("teacher", "desk", "--json")
    code, told = people.type("teacher", "collect", "ada.results")
    assert (code, "(read before)" in told) == (0, True)
    assert people.type("teacher", "desk", "--json")[1] == before
    # More played, handed in again: what was there stays, what is new comes to it.
    people.plays("ada", "week-1.toml", 2, share_right=1.0)
    people.type("ada", "hand-in", "week-1", "--student", "Ada", "--output", "ada-2.results")
    code, told = people.type("teacher", "collect", "ada-2.results", "ada.results")
    assert code == 0, told


def test_the_desk_says_who_is_stuck_where_and_what_to_teach_next(people: People) -> None:
    for who in ("ada", "ben"):
        people.type(who, "open", "week-1.toml")
        for seed in (1, 2):
            people.plays(who, "week-1.toml", seed, share_right=0.0)
        people.type(who, "hand-in", "week-1", "--student", who.title(), "--output", f"{who}.results")
        people.type("teacher", "collect", f"{who}.results")
    _, told = people.type("teacher", "desk", "week-1")
    assert "2 stuck" in told
    assert "Teach next: " in told
    assert "begun and not done by 2" in told


def test_only_what_was_played_for_it_is_handed_in(people: People) -> None:
    people.type("ada", "open", "week-1.toml")
    people.type("teacher", "assign", "sus", "--mark", "other", "--output", "other.toml")
    people.plays("ada", "other.toml", 3, share_right=1.0)  # never opened: private practice
    people.plays("ada", "week-1.toml", 1, share_right=1.0)
    people.type("ada", "hand-in", "week-1", "--student", "Ada", "--output", "ada.results")
    lines = (people.folder / "ada.results").read_text("utf-8").splitlines()[1:]
    assert lines
    assert {json.loads(line)["attempt"]["set_title"] for line in lines} == {"Guide tones"}


def test_an_edited_file_shows_and_counts_as_played(people: People) -> None:
    from test_results import sealed

    people.type("ada", "open", "week-1.toml")
    people.plays("ada", "week-1.toml", 1, share_right=0.0)
    people.type("ada", "hand-in", "week-1", "--student", "Ada", "--output", "ada.results")
    lines = (people.folder / "ada.results").read_text("utf-8").splitlines()
    lines = [line.replace('"right_first_try":false', '"right_first_try":true') for line in lines]
    (people.folder / "ada.results").write_text(sealed(lines), encoding="utf-8")
    code, told = people.type("teacher", "collect", "ada.results")
    assert code == 1
    assert "it counts as played" in told
    assert told.startswith("Ada: 0 of ")


def test_an_assignment_dropped_into_the_watched_folder_is_open(people: People) -> None:
    folder = people.folder / "ada" / "assignments"
    folder.mkdir(parents=True)
    (folder / "week-1.toml").write_bytes((people.folder / "week-1.toml").read_bytes())
    (folder / "broken.toml").write_text("assignment = ", encoding="utf-8")
    code, told = people.type("ada", "assignments")
    assert code == 0
    assert "week-1  Guide tones: 0 of " in told
    assert ":1:14: assignment: no value can be read here" in told


def test_the_set_inside_is_among_the_student_s_own_sets(people: People) -> None:
    people.type("ada", "open", "week-1.toml")
    code, told = people.type("ada", "drill", "week-1", "--input", "script", "--headless", "--seed", "1")
    assert code == 0
    assert "right at the first try" in told


def test_a_lesson_is_assigned_with_its_chart_inside_and_a_clean_pass_counts(people: People) -> None:
    code, told = people.type(
        "teacher", "assign", "two-five-one", "--mark", "form-1", "--tempo", "80", "--tries", "1", "--roots", "C",
        "--output", "form-1.toml",
    )  # fmt: skip
    assert code == 0, told
    given, faults = read_assignment((people.folder / "form-1.toml").read_text("utf-8"), "a")
    assert given is not None, faults
    assert given.lesson is not None
    assert people.type("ada", "open", "form-1.toml")[0] == 0
    # The scripted player's passes are kept and handed in, and never count.
    code, told = people.type(
        "ada", "form", "form-1", "--key", "C", "--tempo", "80", "--input", "script", "--headless", "--seed", "1"
    )
    assert code == 0, told
    people.type("ada", "hand-in", "form-1", "--student", "Ada", "--output", "ada.results")
    code, told = people.type("teacher", "collect", "ada.results", "--json")
    assert (code, json.loads(told)["passes"], json.loads(told)["differing"]) == (0, 3, 0)


@pytest.mark.parametrize(
    ("who", "arguments", "code", "told"),
    [
        ("teacher", ["assign", "no-such-set"], 3, "is neither a file nor a drill set"),
        ("teacher", ["assign", "guide-tones", "--output", "week-1.toml"], 2, "is there already"),
        ("teacher", ["assign", "guide-tones", "--due", "soon", "--output", "x.toml"], 2, "due"),
        ("teacher", ["assign", "guide-tones", "--tries", "0", "--output", "x.toml"], 2, "from 1 to 100"),
        ("teacher", ["assign", "guide-tones", "--mark", "../x", "--output", "x.toml"], 2, "is no mark"),
        ("ada", ["open", "missing.toml"], 3, "missing.toml"),
        ("ada", ["hand-in", "week-9"], 2, "no assignment"),
        ("teacher", ["collect", "week-1.toml"], 3, "line 1: this is no JSON"),
        ("teacher", ["desk", "week-9"], 2, "no assignment"),
    ],
)
def test_what_cannot_be_done_is_told_with_what_can(
    people: People, who: str, arguments: list[str], code: int, told: str
) -> None:
    found, printed = people.type(who, *arguments)
    assert found == code, printed
    assert told in printed
    assert not (people.folder / "x.toml").exists()


def test_another_task_under_a_mark_that_was_opened_is_refused(people: People) -> None:
    people.type("ada", "open", "week-1.toml")
    given, _ = read_assignment((people.folder / "week-1.toml").read_text("utf-8"), "a")
    assert given is not None
    from trainer.drills.assignments import write_assignment

    other = write_assignment(replace(given, done=replace(given.done, tries=5)))
    (people.folder / "other.toml").write_text(other, encoding="utf-8")
    code, told = people.type("ada", "open", "other.toml")
    assert code == 3
    assert "another task was opened under the mark week-1" in told


async def test_on_the_screen_an_assignment_stands_at_the_head_until_it_is_done(people: People) -> None:
    import argparse

    from textual.widgets import OptionList

    from trainer.commands.practising import practice_app

    people.type("ada", "assignments")
    dropped = people.folder / "ada" / "assignments"
    dropped.mkdir(parents=True)
    (dropped / "week-1.toml").write_text((people.folder / "week-1.toml").read_text("utf-8"), encoding="utf-8")
    (dropped / "torn.toml").write_text("no assignment [/]", encoding="utf-8")
    store = Store(None)
    try:
        app = practice_app(argparse.Namespace(set=None, seed=1, input="computer"), store)
        assert len(app._notices) == 1 and "a field is written name = value" in app._notices[0]
        assert app.drill_sets[0].name.endswith("week-1.toml")
        async with app.run_test(size=(80, 24), notifications=True) as pilot:
            app.action_sets()
            await pilot.pause()
            head = str(app.screen.query_one("#sets", OptionList).get_option_at_index(0).prompt)
            assert "Assigned: 0 of 48 done, 48 to go, due" in head
            assert "Assigned" not in str(app.screen.query_one("#sets", OptionList).get_option_at_index(1).prompt)
            people.plays("ada", "week-1.toml", 1, share_right=1.0)
            lines = app._outcome(list(store.records.attempts(assignment="week-1")))
            assert lines == ["Guide tones: every part of it is done. Hand it in with: trainer hand-in week-1"]
            app.action_sets()
            await pilot.pause()
            assert not any(entry.standing for entry in app.screen.sets)  # type: ignore[attr-defined]
    finally:
        store.close()
