"""Practice as plain lines, as someone hears it from a screen reader: with a piano on a real port, and without one."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from queue import Queue

import pytest
from virtual_piano import VirtualPiano

from trainer.storage.records import Records

ROOT = Path(__file__).parent.parent
SET = """title = "Two roots"
[[drill]]
chord = "m7"
voicing = "rootless from the third"
roots = ["C", "Eb", "D"]
"""
CM7 = (51, 55, 58, 62)
"""Eb G Bb D from the Eb below middle C: 3 5 7 9 of Cm7 (common practice, no source)."""


class Program:
    """The program in lines: what it prints, and what is typed."""

    def __init__(self, home: Path, *arguments: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "trainer", *arguments],
            env=os.environ | {"TRAINER_HOME": str(home), "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
        )
        self._lines: Queue[str] = Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.put(line.rstrip("\n"))
        self._lines.put("")

    def line(self) -> str:
        return self._lines.get(timeout=20)

    def until(self, part: str) -> str:
        seen = []
        while True:
            line = self.line()
            seen.append(line)
            if part in line:
                return line
            assert line != "" or self._process.poll() is None, seen

    def type(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{line}\n")
        self._process.stdin.flush()

    def ends(self) -> int:
        return self._process.wait(20)

    def close(self) -> None:
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()


@pytest.fixture
def set_file(tmp_path: Path) -> Path:
    path = tmp_path / "two-roots.toml"
    path.write_text(SET, encoding="utf-8")
    return path


@pytest.fixture
def program(tmp_path: Path, set_file: Path, request: pytest.FixtureRequest) -> Iterator[Program]:
    opened = Program(tmp_path, "drill", str(set_file), "--plain", *request.param)
    yield opened
    opened.close()


@pytest.mark.parametrize("program", [("--input", "script", "--seed", "1")], indirect=True)
def test_a_session_is_asked_for_drilled_and_ended_in_lines(program: Program) -> None:
    assert program.line().startswith("Listening to scripted player. Type again, skip, show, hear, pause, go on or end")
    assert program.line() == "Two roots."
    assert program.line() == "1 of 3. Cm7, rootless from the third: flat 3 E flat, 5 G, flat 7 B flat, 9 D."
    program.until("Done. ")
    program.until("1. Once more")
    program.type("perhaps")
    program.until("Type a number from 1 to 2")
    program.type("1")
    program.until("1 of 3. Cm7")
    program.until("2. Another set")
    program.type("end")
    assert program.ends() == 0


@pytest.mark.port
def test_a_piano_is_heard_and_wishes_are_typed(jack_server: object, tmp_path: Path, set_file: Path) -> None:
    with VirtualPiano("Plain piano") as piano:
        program = Program(tmp_path, "drill", str(set_file), "--plain", "--input", "Plain piano")
        try:
            program.until("1 of 3. Cm7")
            piano.play(CM7, hold_s=0.1)
            assert program.until("flat 3").startswith("Right: flat 3 5 flat 7 9.")
            program.until("2 of 3. E flat m7")
            program.type("pause")
            program.until("Paused.")
            program.type("g")
            program.until("Going on.")
            program.until("2 of 3. E flat m7")
            program.type("skip")
            assert program.until("Skipped.") == "Skipped. It is flat 3 G flat, 5 B flat, flat 7 D flat, 9 F."
            program.until("3 of 3. Dm7")
            program.type("end")
            program.until("Done. 1 of 1 right at the first try.")
            program.until("Type a number")
            program.type("end")
            assert program.ends() == 0
        finally:
            program.close()
    with Records.open(tmp_path / "records.sqlite") as records:
        assert [(attempt.root, attempt.outcome) for attempt in records.attempts()] == [
            ("C", "right"),
            ("Eb", "skipped"),
        ]


def test_the_computer_keyboard_needs_the_screen(tmp_path: Path, set_file: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "trainer", "drill", str(set_file), "--plain", "--input", "computer"],
        env=os.environ | {"TRAINER_HOME": str(tmp_path), "PYTHONPATH": str(ROOT)},
        input="",
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert run.returncode == 2
    assert "the computer keyboard needs the screen" in run.stderr
