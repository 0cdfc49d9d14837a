"""A practice session while the disk, the record or the clock fails: one line each, and what was kept is still there."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs the signals and limits of POSIX")

SET = """title = "Long evening"
rounds = 20
[[drill]]
chord = "m7"
voicing = "rootless from the third"
"""
SHORT = SET.replace("rounds = 20", "rounds = 1")


def command(folder: Path, text: str = SHORT) -> Sequence[str]:
    drill_set = folder / "set.toml"
    drill_set.write_text(text, encoding="utf-8")
    return [
        *(sys.executable, "-m", "trainer", "drill", str(drill_set), "--input", "script", "--headless", "--json"),
        *("--records", str(folder / "records.sqlite")),
    ]


def environment(folder: Path) -> dict[str, str]:
    return os.environ | {"TRAINER_HOME": str(folder / "home")}


def practise(folder: Path, limits: Callable[[], None] | None = None) -> tuple[int, int, list[str]]:
    """Exit code, the number of verdicts shown, and the lines of errors of a short session."""
    done = subprocess.run(
        command(folder),
        env=environment(folder),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        preexec_fn=limits,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, len(done.stdout.splitlines()), done.stderr.splitlines()


def kept(folder: Path) -> int:
    """How many attempts the record holds; it is whole."""
    connection = sqlite3.connect(folder / "records.sqlite")
    try:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return int(connection.execute("SELECT count(*) FROM attempts").fetchone()[0])
    finally:
        connection.close()


def test_a_session_on_a_full_disk_ends_in_one_line_and_every_verdict_shown_is_kept(tmp_path: Path) -> None:
    import resource

    code, before, _ = practise(tmp_path)
    assert (code, kept(tmp_path)) == (0, before)
    # No file may grow beyond this size, which is what a full disk or a quota comes to.
    most_bytes = 150_000

    def limits() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    code, shown, (*_, line) = practise(tmp_path, limits)
    assert code == 3
    assert "disk" in line
    assert kept(tmp_path) >= before + shown
    code, again, errors = practise(tmp_path)
    assert (code, errors) == (0, [])
    assert again == before


def test_a_record_that_another_program_is_writing_is_told_after_the_wait(tmp_path: Path) -> None:
    _, before, _ = practise(tmp_path)
    other = sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        code, shown, (*_, line) = practise(tmp_path)
    finally:
        other.close()
    assert (code, shown) == (3, 0)
    assert "in use by another program" in line
    assert kept(tmp_path) == before


def test_two_sessions_at_once_are_both_kept(tmp_path: Path) -> None:
    running = [
        subprocess.Popen(command(tmp_path), env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        for _ in range(2)
    ]
    shown = 0
    for process in running:
        output, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) == (0, b"")
        shown += output.count(b"\n")
    assert kept(tmp_path) == shown


@pytest.mark.parametrize("at", ["cut off", "overwritten"])
def test_a_damaged_record_is_refused_in_one_line_and_left_as_it_is(tmp_path: Path, at: str) -> None:
    practise(tmp_path)
    record = tmp_path / "records.sqlite"
    for copy in (tmp_path / "backups").glob("*"):
        copy.unlink()  # so that this start checks the file, as the first of a day does
    content = record.read_bytes()
    damaged = content[: len(content) // 2] if at == "cut off" else content[:4096] + b"\xa5" * 40_000 + content[44_096:]
    record.write_bytes(damaged)
    code, shown, (*_, line) = practise(tmp_path)
    assert (code, shown) == (3, 0)
    assert "is damaged" in line
    assert record.read_bytes() == damaged


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_session_ended_by_a_signal_has_kept_every_verdict_it_showed(tmp_path: Path, number: int) -> None:
    process = subprocess.Popen(
        command(tmp_path, SET), env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    first = process.stdout.readline()
    time.sleep(0.05)
    process.send_signal(number)
    output, errors = process.communicate(timeout=60)
    assert first
    assert b"Traceback" not in errors
    shown = (first + output).count(b"\n")
    assert kept(tmp_path) >= shown
