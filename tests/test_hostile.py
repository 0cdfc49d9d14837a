"""What nobody means to do, and somebody does: output closed or full, pipes as files, odd bytes, takes broken off."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import mido
import pytest

from trainer.__main__ import main

SET = """title = "Minor sevenths"
[[drill]]
chord = "m7"
voicing = "rootless from the third"
roots = ["C", "F"]
tries = 1
"""
CM7, FM7 = (51, 55, 58, 62), (56, 60, 63, 67)  # Eb3 G3 Bb3 D4, Ab3 C4 Eb4 G4: trade.md, common practice
POSIX = pytest.mark.skipif(os.name != "posix", reason="needs pipes and devices of POSIX")


def trainer(
    folder: Path,
    *arguments: object,
    given: bytes = b"",
    redirected: str = "",
    environment: Mapping[str, str] | None = None,
) -> tuple[int, bytes, str]:
    """Exit code, output and errors of the program in a process of its own; `redirected` is the shell's."""
    variables = os.environ | {"TRAINER_HOME": str(folder / "home")} | dict(environment or {})
    command = [sys.executable, "-m", "trainer", *map(str, arguments)]
    if redirected:
        command = ["sh", "-c", f'"$@" {redirected}', "sh", *command]
    done = subprocess.run(command, input=given, capture_output=True, env=variables, timeout=30, check=False)
    errors = done.stderr.decode("utf-8", "replace")
    assert "Traceback" not in errors
    return done.returncode, done.stdout, errors


def objects(output: bytes) -> list[dict]:
    """Each line as JSON; an unpaired surrogate is none of Unicode's characters and fails here."""
    found = [json.loads(line) for line in output.decode("utf-8").splitlines()]
    json.dumps(found, ensure_ascii=False).encode("utf-8")
    return found


def take(path: Path, events: Iterable[tuple[int, int, int]]) -> Path:
    """A file in which one tick is one millisecond, from (ms, key, velocity); velocity 0 releases (MIDI 1.0)."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    now = 0
    for at_ms, key, velocity in events:
        track.append(mido.Message("note_on", note=key, velocity=velocity, time=at_ms - now))
        now = at_ms
    mido.MidiFile(type=0, ticks_per_beat=500, tracks=[track]).save(path)
    return path


def down(at_ms: int, keys: Sequence[int]) -> list[tuple[int, int, int]]:
    return [(at_ms, key, 70) for key in keys]


def up(at_ms: int, keys: Sequence[int]) -> list[tuple[int, int, int]]:
    return [(at_ms, key, 0) for key in keys]


def graded(folder: Path, events: Iterable[tuple[int, int, int]], text: str = SET) -> list[dict]:
    drill_set = folder / "set.toml"
    drill_set.write_text(text, encoding="utf-8")
    played = take(folder / "take.mid", events)
    code, output, errors = trainer(
        folder, "drill", drill_set, "--input", played, "--headless", "--json", "--records", folder / "records.sqlite"
    )
    assert (code, errors) == (0, "")
    return objects(output)


# -- symbols from standard input


def test_every_line_of_bytes_gets_one_line_of_json_in_its_order(tmp_path: Path) -> None:
    given = (
        b"\xef\xbb\xbfCm7\n\nC\xff\nC\x00\nD7\r\nE\rF\nG\x0bA\nC\xe2\x80\xa8D\nC\xed\xa0\x80\n"
        + b"(" * 100_000
        + b"\nB7"
    )
    code, output, _ = trainer(tmp_path, "spell", "-", "--json", given=given)
    answers = objects(output)
    assert code == 0
    assert len(answers) == 11
    assert [answer.get("chord") for answer in answers] == ["Cm7", None, None, None, "D7", *[None] * 5, "B7"]
    assert max(len(answer.get("error", "")) for answer in answers) < 400


@pytest.mark.parametrize("as_json", [True, False])
def test_a_chord_without_the_voicing_does_not_end_the_list(tmp_path: Path, as_json: bool) -> None:
    options = ["--voicing", "rootless from the third", *(["--json"] if as_json else [])]
    code, output, errors = trainer(tmp_path, "spell", "-", *options, given=b"N.C.\nC5\nCm7\n")
    assert (code, errors) == (0, "")
    assert len(output.splitlines()) == (3 if as_json else 2 + 5)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_terminal_without_music_signs_gets_plain_ones(tmp_path: Path, encoding: str) -> None:
    there = {"PYTHONIOENCODING": encoding, "LC_ALL": "C"}
    code, output, _ = trainer(tmp_path, "spell", "Cb7", environment=there)
    assert code == 0
    assert b"Bbb (A)" in output
    code, output, _ = trainer(tmp_path, "spell", "-", "--json", given="CΔ\n".encode(), environment=there)
    assert code == 0
    assert json.loads(output.decode("ascii"))["symbol"] == "CΔ"


# -- outputs


@POSIX
@pytest.mark.parametrize(
    ("redirected", "code"), [(">&-", 0), ("2>&-", 0), ("<&-", 0), (">/dev/full", 3), (">&- 2>&- <&-", 0)]
)
def test_closed_and_full_outputs_end_without_a_traceback(tmp_path: Path, redirected: str, code: int) -> None:
    ended, _, errors = trainer(tmp_path, "spell", "Cm7", "--json", redirected=redirected)
    assert ended == code
    assert len(errors.splitlines()) == (1 if code else 0)


@POSIX
def test_a_closed_input_is_told_in_one_line(tmp_path: Path) -> None:
    code, _, errors = trainer(tmp_path, "spell", "-", redirected="<&-")
    assert code == 3
    assert len(errors.splitlines()) == 1
    code, _, errors = trainer(tmp_path, redirected="<&-")
    assert code == 2
    assert "needs a terminal" in errors


# -- files


@POSIX
def test_a_pipe_or_device_in_place_of_a_file_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    drill_set = tmp_path / "set.toml"
    drill_set.write_text(SET, encoding="utf-8")
    for arguments in (
        ("check", pipe),
        ("check", "/dev/zero"),
        ("drill", drill_set, "--headless", "--input", "script", "--records", pipe),
        ("drill", drill_set, "--headless", "--input", "script", "--records", "/dev/null"),
        ("progress", "--records", pipe),
    ):
        code, _, errors = trainer(tmp_path, *arguments)
        assert code == 3
        assert len(errors.splitlines()) == 1


def test_a_file_that_is_not_there_hides_no_fault_of_the_others(tmp_path: Path) -> None:
    faulty = tmp_path / "faulty.toml"
    faulty.write_text(SET.replace("tries = 1", "tries = 0"), encoding="utf-8")
    missing = tmp_path / "missing.toml"
    code, output, _ = trainer(tmp_path, "check", "--json", missing, faulty)
    (faults,) = objects(output)
    assert code == 3
    assert [Path(fault["file"]).name for fault in faults] == ["missing.toml", "faulty.toml"]
    code, _, errors = trainer(tmp_path, "check", missing, faulty)
    assert code == 3
    assert len(errors.splitlines()) == 2


@POSIX
def test_a_name_with_a_line_break_still_makes_one_line(tmp_path: Path) -> None:
    code, _, errors = trainer(tmp_path, "check", "a\nb\x1b[2J")
    assert code == 3
    assert errors == "trainer: a\\nb\\x1b[2J is not there; check the name.\n"


# -- takes


def test_a_chord_still_held_when_the_take_ends_is_graded_as_it_stands(tmp_path: Path) -> None:
    first, second = graded(tmp_path, [*down(500, CM7), *up(800, CM7), *down(1300, FM7[:3])])
    assert first["right_first_try"]
    assert second["tries"][0]["held"] == list(FM7[:3])
    assert [said["verdict"] for said in second["tries"][0]["verdicts"]] == ["right", "right", "right", "missing"]
    assert not second["right_first_try"]


@pytest.mark.parametrize("held_ms", [0, 10, 30, 100, 180])
@pytest.mark.parametrize("forgiving", [True, False])
def test_a_short_chord_with_a_wrong_key_is_wrong_in_whatever_order_it_is_let_go(
    tmp_path: Path, held_ms: int, forgiving: bool
) -> None:
    # A graze is a key let go while the chord goes on; all let go together is a chord with a wrong key.
    text = SET + ("passes = { graze = true }\n" if forgiving else "")
    first, second = graded(
        tmp_path,
        [
            *down(500, (48, *CM7)),
            *up(500 + held_ms, (48, *CM7)),
            *down(1500, (*FM7, 70)),
            *up(1500 + held_ms, (70,)),
            *up(1505 + held_ms, FM7),
        ],
        text,
    )
    assert (first["right_first_try"], first["tries"][0]["extra"]) == (False, [48])
    assert (second["right_first_try"], second["tries"][0]["extra"]) == (False, [70])


@pytest.mark.parametrize("forgiving", [True, False])
def test_a_brushed_key_that_leaves_the_chord_standing_is_a_graze(tmp_path: Path, forgiving: bool) -> None:
    text = SET + ("passes = { graze = true }\n" if forgiving else "")
    (first,) = graded(tmp_path, [*down(500, (54, *CM7)), *up(540, (54,)), *up(900, CM7)], text)
    assert first["right_first_try"] is forgiving
    assert first["tries"][0]["cause"] == (None if forgiving else "graze")


def test_a_wrong_key_pressed_with_the_chord_and_then_let_go_is_no_graze(tmp_path: Path) -> None:
    (first,) = graded(tmp_path, [*down(500, (48, *CM7)), *up(650, (48,)), *up(900, CM7)])
    assert (first["right_first_try"], first["tries"][0]["extra"]) == (False, [48])
    text = SET.replace("tries = 1", "tries = 2")
    (mended,) = graded(tmp_path, [*down(500, (48, *CM7)), *up(650, (48,)), *up(1200, CM7)], text)
    assert [one["right"] for one in mended["tries"]] == [False, True]
    assert not mended["right_first_try"]


def test_a_fault_of_the_program_is_one_line_and_a_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise ZeroDivisionError("secret")

    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))
    monkeypatch.setattr("trainer.chords.parse", breaks)
    assert main(["spell", "Cm7"]) == 3
    (line,) = capsys.readouterr().err.splitlines()
    assert "ZeroDivisionError" in line
    report = (tmp_path / "trainer.log").read_text(encoding="utf-8")
    assert "in breaks" in report
    assert "secret" not in report
