"""`trainer hear` and `trainer ports`: what is sounded, told, refused, and stopped.

Expected keys are common practice, no source: Cm7 from the third is Eb3 G3 Bb3 D4 over C2; D F A Ab, G F D Db walks from
Dm7 over G7 to C.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from virtual_module import VirtualModule, notes_left
from virtual_piano import VirtualPiano, until

from trainer.__main__ import main
from trainer.storage.settings import Settings

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))
    return tmp_path


@pytest.fixture
def module(jack_server: Any) -> Iterator[VirtualModule]:
    with VirtualModule() as module:
        yield module


def notes(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    assert main(["hear", *words, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def keys_at(found: list[dict[str, Any]], beat: float, channel: int = 1) -> list[int]:
    return sorted(note["key"] for note in found if note["start_beats"] == beat and note["channel"] == channel)


# -- what is to be sounded


def test_a_rootless_chord_is_heard_over_its_root(capsys: pytest.CaptureFixture[str]) -> None:
    found = notes(capsys, "Cm7", "--voicing", "rootless from the third")
    assert keys_at(found, 0) == [36, 51, 55, 58, 62]
    assert {note["velocity"] for note in found} == {Settings().sound_velocity}
    assert keys_at(notes(capsys, "Cm7", "--voicing", "rootless from the third", "--no-root"), 0) == [51, 55, 58, 62]


def test_a_chord_with_its_own_root_needs_none_below(capsys: pytest.CaptureFixture[str]) -> None:
    assert len(keys_at(notes(capsys, "C7", "--voicing", "1 b7"), 0)) == 2


def test_without_a_voicing_any_chord_can_be_heard(capsys: pytest.CaptureFixture[str]) -> None:
    for symbol in ("C", "Am", "F#m7b5", "G7alt", "Bb13", "Dsus"):
        assert notes(capsys, symbol)


def test_a_progression_has_click_and_walking_bass(capsys: pytest.CaptureFixture[str]) -> None:
    found = notes(capsys, "ii-V-I", "--bass", "walking", "--click", "--count-in", "2")
    clicks = [note["start_beats"] for note in found if note["channel"] == 10]
    assert sorted(clicks) == [-8, -6, -4, -3, -2, -1, *range(16)]
    line = [min(keys_at(found, beat)) for beat in range(8)]
    assert line == [38, 41, 45, 44, 43, 41, 38, 37]
    assert len(keys_at(found, 0)) == 5


def test_a_form_comes_round_without_a_seam(capsys: pytest.CaptureFixture[str]) -> None:
    once, twice = (notes(capsys, "jazz blues", "--bass", "roots", "--click", "--times", n) for n in ("1", "2"))
    assert max(note["start_beats"] + note["beats"] for note in twice) == 96
    assert sum(note["channel"] == 10 for note in twice) == 4 + 2 * 48 and len(twice) > len(once)
    chords = [note for note in twice if note["channel"] == 1 and note["key"] > 51]
    first = sorted((note["start_beats"], note["key"]) for note in chords if note["start_beats"] < 48)
    second = sorted((note["start_beats"] - 48, note["key"]) for note in chords if note["start_beats"] >= 48)
    assert first == second


def test_a_lesson_is_heard_as_written_from_its_pickup_on(capsys: pytest.CaptureFixture[str]) -> None:
    found = notes(capsys, "kettle", "--melody", "--click")
    clicks = sorted(note["start_beats"] for note in found if note["channel"] == 10)
    assert min(note["start_beats"] for note in found if note["channel"] == 1) < 0 <= max(clicks)
    assert clicks[:4] == [-8, -7, -6, -5]  # a whole bar, and the beats before the pick-up
    assert sorted(clicks) == sorted(set(clicks))
    assert len(notes(capsys, "kettle", "--rhythm", "1 chord")) < len(found)


def test_another_voicing_and_key_may_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    found = notes(capsys, "ii-V-I", "--key", "Bb", "--voicing", "guide tones, third low")
    assert [key % 12 for key in keys_at(found, 0)] == [3, 10], "Eb and Bb of Cm7"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nonsense"], "nonsense"),
        (["N.C."], "there is nothing to hear"),
        (["Cm7", "--voicing", "no such voicing"], "no such voicing"),
        (["ii-V-I", "--section", "Q"], "Q"),
        (["ii-V-I", "--rhythm", "1 trumpet"], "trumpet"),
        (["ii-V-I", "--key", "H#"], "H#"),
    ],
)
def test_what_cannot_be_heard_is_refused_in_one_line(
    capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert main(["hear", *words, "--json"]) == 2
    shown = capsys.readouterr()
    assert told in shown.err and shown.out == "" and "Traceback" not in shown.err


# -- sounded


@pytest.mark.port
def test_a_chord_is_sounded_and_ends(module: VirtualModule, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hear", "Cm7", "--voicing", "rootless from the third", "--tempo", "400"]) == 0
    heard = module.heard(0.05)
    assert [message[1] for message in heard if message[0] == 0x90] == [36, 51, 55, 58, 62]
    assert not notes_left(heard) and heard[-2:] == [(0xB0, 64, 0), (0xB0, 123, 0)]
    assert "E♭3 G3 B♭3 D4 on Sound Module:in" in capsys.readouterr().err


@pytest.mark.port
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_ctrl_c_or_a_signal_stops_a_form_with_all_notes_off(module: VirtualModule, number: int, code: int) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "trainer", "hear", "jazz blues", "--bass", "roots", "--click"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline().split()[:2] == ["1", "C7"]
        process.send_signal(number)
        _, errors = process.communicate(timeout=10)
    assert process.returncode == code and "Traceback" not in errors
    heard = module.heard(0.05)
    assert any(message[0] == 0x90 for message in heard) and not notes_left(heard)
    assert heard[-4:] == [(0xB0, 64, 0), (0xB0, 123, 0), (0xB9, 64, 0), (0xB9, 123, 0)]


@pytest.mark.port
def test_without_a_port_it_is_said_plainly(jack_server: Any, capsys: pytest.CaptureFixture[str]) -> None:
    from trainer.sound import list_outputs

    assert until(lambda: not list_outputs("JACK").names)
    assert main(["hear", "Cm7"]) == 3
    assert "There is no MIDI port to sound on: switch the piano on" in capsys.readouterr().err


@pytest.mark.port
def test_ports_of_both_directions_are_listed(module: VirtualModule, capsys: pytest.CaptureFixture[str]) -> None:
    with VirtualPiano() as piano:
        assert main(["ports"]) == 0
        shown = capsys.readouterr().out
        assert shown == f"To listen to:\n  {piano.port}\nTo sound on:\n  {module.port}\n"
        assert main(["ports", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["outputs"] == [module.port]


@pytest.mark.port
def test_hear_it_sounds_the_voicing_over_its_root_and_beside_what_was_played(module: VirtualModule) -> None:
    from trainer.chords import Chord, parse_quality
    from trainer.commands.hearing import Hearing, Speaker
    from trainer.grading import Target
    from trainer.pitch import Note
    from trainer.voicings import place, recipe

    quality, root = parse_quality("m7"), Note.parse("C")
    target = Target(Chord(root, quality, None), place(recipe("rootless from the third", quality), root))
    hearing = Hearing(Speaker(Settings(), "sound module"))
    try:
        assert hearing.hear(target) == ""
        assert [message[1] for message in module.heard(0.1)] == [36, 51, 55, 58, 62]
        assert hearing.hear(target, (51, 55, 58, 63)) == ""
        heard = module.heard(0.1)
        assert [message[1] for message in heard if message[0] == 0x90] == [36, 51, 55, 58, 63]
    finally:
        hearing.close()
    assert not notes_left(module.heard(0.05))
    silent = Hearing(Speaker(Settings(sound=False)))
    assert "sound is turned off" in silent.hear(target)
    assert "harp" in Hearing(Speaker(Settings(sound_port="harp"))).hear(target)
