"""Lessons on the command line: told, drilled, checked; and the screen's list that offers their ways."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest

from trainer.__main__ import main
from trainer.commands.sets import listed_names, read_set, way_name
from trainer.storage.places import Places

LESSON = """title = "Two chords"
chart_file = "two.chart"
[[rule]]
voicing = "shell, root and seventh"
"""
CHART = "title: Two\nkey: F\n[A] | F7 | % |\n[B] | Bb7 | % |\n"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    (tmp_path / "two.chart").write_text(CHART, encoding="utf-8")
    (tmp_path / "two.lesson.toml").write_text(LESSON, encoding="utf-8")
    return tmp_path


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == code
    return capsys.readouterr().err


def test_a_lesson_is_told_bar_by_bar_with_what_was_met_before(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys, "lesson", home / "two.lesson.toml").splitlines()
    assert lines[0] == "Two chords, in F"
    # Common practice, no source: F7 as a shell is F and Eb.
    assert lines[3].split() == ["1", "F7", "1", "♭7", "F2", "E♭3", "1"]
    assert lines[4].endswith("as in bar 1")
    assert "bars 1, 2, 3 and 4" in "\n".join(lines)
    assert "F7 to B♭7" in "\n".join(lines)


def test_a_shipped_lesson_is_found_by_part_of_its_name_and_told_in_twelve_keys(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = told(capsys, "lesson", "kettle", "--all-keys", "--voicings", "--json").splitlines()
    keys = [json.loads(line)["key"] for line in lines]
    assert keys == ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"]
    assert set(json.loads(lines[0])) == {"title", "key", "repeats", "sections", "voicings"}


def test_a_form_is_a_lesson_too_whole_or_one_section_of_it(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = json.loads(told(capsys, "lesson", "jazz blues", "--key", "Bb", "--slots", "--json"))
    assert [slot["chord"] for slot in whole["slots"]][:2] == ["Bb7", "Eb7"]
    bridge = told(capsys, "lesson", "AABA, dominants in the bridge", "--section", "B", "--voicings")
    assert "section B" in bridge and "E7" in bridge and "C6" not in bridge


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("lesson", "no such thing"), "is neither a file nor a drill set"),
        (("lesson", "guide tones"), "is a drill set"),
        (("lesson", "blues", "--section", "B"), "there is no section 'B'"),
        (("lesson", "blues", "--key", "H"), "H"),
        (("lesson", "blues", "--key", "Cm"), "major"),
        (("drill", "guide tones", "--moves", "--headless"), "has no moves"),
    ],
)
def test_what_cannot_be_told_is_refused_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    line = refused(capsys, 2, *arguments)
    assert said in line and line.count("\n") == 1


def test_check_looks_through_lessons_and_charts(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert told(capsys, "check", home / "two.lesson.toml", home / "two.chart").count("no fault found") == 2
    (home / "two.chart").write_text("key: F\n| F7 | Hb7 |\n", encoding="utf-8")
    lines = refused(capsys, 3, "check", home / "two.lesson.toml", home / "two.chart").splitlines()
    assert [line.split(": ")[0] for line in lines] == [f"{home / 'two.chart'}:2:8"] * 2
    (home / "two.lesson.toml").write_text('title = "Two"\nform = "blus"\n', encoding="utf-8")
    assert 'two.lesson.toml:2:8: form: "blus" is no form' in refused(capsys, 3, "check", home / "two.lesson.toml")


def test_a_link_out_of_the_folder_of_a_lesson_is_not_followed(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    inside = home / "songs"
    inside.mkdir()
    (inside / "two.lesson.toml").write_text(LESSON, encoding="utf-8")
    (inside / "two.chart").symlink_to(home / "two.chart")
    assert "it lies in another folder" in refused(capsys, 3, "check", inside / "two.lesson.toml")


def test_a_lesson_is_drilled_by_its_voicings_and_its_moves_and_recorded(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from trainer.commands.store import Store

    for more in ((), ("--moves",), ("--section", "B")):
        options = ("--headless", "--input", "script", "--seed", "2", "--records", home / "records.sqlite")
        told(capsys, "drill", home / "two.lesson.toml", *more, *options)
    store = Store(str(home / "records.sqlite"))
    try:
        found: dict[str, list[str]] = {}
        for attempt in store.records.attempts(with_events=False):
            found.setdefault(attempt.set_title, []).append(attempt.chord)
    finally:
        store.close()
    assert [(title, len(chords)) for title, chords in found.items()] == [
        ("Two chords: voicings", 12), ("Two chords: moves", 48), ("Two chords: voicings of B", 12),
    ]  # fmt: skip
    moves = found["Two chords: moves"]
    # There and back, in each key: I to IV, and IV to I where the form comes round.
    assert moves[:4] == ["C7", "F7", "F7", "Bb7"] and moves[24:28] == ["F7", "C7", "Bb7", "F7"]


def test_a_bare_chart_is_drilled_like_a_lesson_of_it(home: Path) -> None:
    drill_set, faults = read_set(home / "two.chart")
    assert faults == () and drill_set is not None
    assert [drill.quality.text for drill in drill_set.drills] == ["7", "7"]
    moves, _ = read_set(Path(way_name(home / "two.chart", "moves")))
    assert moves is not None and moves.title == "Two: moves"


def test_everything_there_is_to_practise_is_listed_a_lesson_once_for_each_way(home: Path) -> None:
    names = dict(listed_names(Places.found()))
    titles = list(names.values())
    assert "The Kettle Takes Its Time: the left hand: voicings" in titles
    assert "The Kettle Takes Its Time: the left hand: moves" in titles
    assert all(read_set(Path(name))[0] is not None for name in names)


async def test_choosing_a_lesson_on_the_screen_offers_its_voicings_and_its_moves(home: Path) -> None:
    from trainer.commands.practising import practice_app
    from trainer.commands.store import Store
    from trainer.screens.lists import SetsScreen

    store = Store(str(home / "records.sqlite"))
    options = argparse.Namespace(set=None, seed=1, input="computer")
    app = practice_app(options, store)
    lessons = [entry for entry in app.drill_sets if entry.ways]
    title = lessons[0].title
    assert [way.title for way in lessons[0].ways] == [f"{title}: voicings", f"{title}: moves", f"{title}: in time"]
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            app.choose_set(lessons[0])
            await pilot.pause()
            assert isinstance(app.screen, SetsScreen) and app.screen.heading == lessons[0].title
            assert [entry.prompts for entry in app.screen.sets][:2] == [7 * 12, 14 * 24]
            await pilot.press("escape")
            await pilot.pause()
            assert isinstance(app.screen, SetsScreen) and not app.screen.heading
            app.choose_set(lessons[0])
            await pilot.pause()
            await pilot.press("down", "enter")
            await pilot.pause()
            task = app.practice.asked_task
            assert task is not None and task.set_title == f"{lessons[0].title}: moves"
            app.next_set()
            await pilot.pause()
            after = app.practice.asked_task
            assert after is not None and after.set_title == f"{lessons[1].title}: voicings"
    finally:
        store.close()
