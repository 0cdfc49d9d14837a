"""Lessons written by playing, as a player meets it: from a take, from a real port, and on the screen.

Voicings are common practice, no source, written by hand. Takes are written with mido, not with our own writer.
"""

from __future__ import annotations

import argparse
import threading
from pathlib import Path

import pytest
from test_commands import write_take
from virtual_piano import VirtualPiano, until

from trainer.__main__ import main
from trainer.capture import Kind, NoteEvent
from trainer.drills import Lesson, read_lesson
from trainer.pitch import MidiNote, parse_key

CHART = "title: Two bars of ours\nkey: C\n| Dm7 G7 | Cmaj7 |\n"
PLAYED = ("F3 A3 C4 E4", "F3 A3 B3 E4", "E3 G3 B3 D4")
KEYS = [tuple(parse_key(name) for name in names.split()) for names in PLAYED]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    (tmp_path / "ours.chart").write_text(CHART, encoding="utf-8")
    return tmp_path


def lesson_in(path: Path) -> Lesson:
    lesson, faults = read_lesson(path.read_text(encoding="utf-8"), path.name)
    assert [str(fault) for fault in faults] == [] and lesson is not None
    return lesson


def test_a_take_of_three_voicings_becomes_a_lesson_of_three_chords(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take = write_take(home / "take.mid", [(at * 1000.0, keys, 700.0) for at, keys in enumerate(KEYS)])
    out = home / "ours.lesson.toml"
    assert main(["teach", str(home / "ours.chart"), "--input", str(take), "--output", str(out)]) == 0
    told, said = capsys.readouterr()
    assert [line for line in told.splitlines() if not line.startswith(" ")][:3] == [
        "1 of 3, bar 1: Dm7", "2 of 3, bar 1, beat 3: G7", "3 of 3, bar 2: Cmaj7",
    ]  # fmt: skip
    assert "rootless from the third" in told and "3 of 3 chords taught" in said
    lesson = lesson_in(out)
    assert [one.target.keys for one in lesson.form] == KEYS
    assert (lesson.title, lesson.chart.title) == ("Two bars of ours", "Two bars of ours")


def test_what_was_not_taught_follows_the_usual_rule_and_no_file_is_written_over(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take = write_take(home / "take.mid", [(0.0, KEYS[0], 700.0)])
    out = home / "ours.lesson.toml"
    arguments = ["teach", str(home / "ours.chart"), "--input", str(take), "--output", str(out)]
    assert main(arguments) == 0
    assert "1 of 3 chords taught. The other chords follow the usual rule." in capsys.readouterr().err
    before = out.read_text(encoding="utf-8")
    assert main(arguments) == 2
    assert "is there already" in capsys.readouterr().err and out.read_text(encoding="utf-8") == before
    assert main([*arguments, "--replace", "--title", "Ours again"]) == 0
    assert lesson_in(out).title == "Ours again"


def test_a_take_with_nothing_in_it_writes_no_lesson(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = write_take(home / "take.mid", [(0.0, (60,), 500.0)])
    out = home / "ours.lesson.toml"
    assert main(["teach", str(home / "ours.chart"), "--input", str(take), "--output", str(out)]) == 1
    assert "no lesson was written" in capsys.readouterr().err and not out.exists()


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["teach", "no such form", "--output", "x.lesson.toml"], 2),
        (["teach", "blues", "--output", "x.txt"], 2),
        (["teach", "blues", "--output", "x.lesson.toml", "--input", "gone.mid"], 3),
    ],
)
def test_what_cannot_be_taught_is_refused_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int
) -> None:
    assert main(arguments) == code
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.port
def test_a_lesson_is_taught_on_a_real_port_by_the_notes_alone(
    jack_server: object, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = home / "ours.lesson.toml"
    codes: list[int] = []
    with VirtualPiano("Teacher Piano") as piano:
        arguments = ["teach", str(home / "ours.chart"), "--input", "Teacher Piano", "--output", str(out)]
        thread = threading.Thread(target=lambda: codes.append(main(arguments)), daemon=True)
        thread.start()
        told = ""

        def says(words: str) -> bool:
            nonlocal told
            told += capsys.readouterr().out
            return words in told

        assert until(lambda: says("1 of 3"))
        for keys, words in zip([*KEYS, KEYS[-1]], ("2 of 3", "3 of 3", "Every chord", "Done."), strict=True):
            piano.play(keys, hold_s=0.15)
            assert until(lambda words=words: says(words)), told
        thread.join(10)
    assert codes == [0]
    assert [one.target.keys for one in lesson_in(out).form] == KEYS


async def test_a_tune_is_taught_on_the_screen_without_touching_the_computer(home: Path) -> None:
    from trainer.commands.practising import practice_app
    from trainer.commands.store import Store
    from trainer.screens.teaching import ChartsScreen, TeachScreen

    store = Store(str(home / "records.sqlite"))
    store.places.own_drills.mkdir(parents=True)
    (store.places.own_drills / "ours.chart").write_text(CHART, encoding="utf-8")
    app = practice_app(argparse.Namespace(set=None, seed=1, input="computer"), store)
    now_ns = 0

    async def play(names: str) -> None:
        nonlocal now_ns
        for kind in (Kind.DOWN, Kind.UP):
            for name in names.split():
                now_ns += 100_000_000
                app._arrived(NoteEvent(now_ns, kind, MidiNote(parse_key(name)), 64))
                await pilot.pause()

    def shown() -> str:
        strips = app.screen._compositor.render_strips()
        return " ".join("\n".join("".join(segment.text for segment in strip) for strip in strips).split())

    try:
        async with app.run_test(size=(80, 24)) as pilot:
            app.action_teach()
            await pilot.pause()
            assert isinstance(app.screen, ChartsScreen) and app.screen.charts[0][1] == "ours"
            await pilot.press("enter")
            await pilot.pause()
            assert isinstance(app.screen, TeachScreen)
            assert "Two bars of ours" in shown() and "bar 1, chord 1 of 3" in shown()
            await play("F3 A3 C4 Eb4")
            assert "bar 1, beat 3, chord 2 of 3" in shown() and "♭3" in shown()
            await pilot.press("f2")
            await pilot.pause()
            assert "chord 1 of 3" in shown()
            for names in PLAYED:
                await play(names)
            assert "play the last one once more" in shown() and "rootless from the third" in shown()
            await play(PLAYED[-1])
            assert not isinstance(app.screen, TeachScreen)
    finally:
        store.close()
    kept = store.places.own_drills / "two-bars-of-ours.lesson.toml"
    assert [one.target.keys for one in lesson_in(kept).form] == KEYS
