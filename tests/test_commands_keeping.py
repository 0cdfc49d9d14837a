"""The record out, in, and graded again, from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from test_session import CM7, FM7, chord, ended, play, session, task

from trainer.__main__ import main
from trainer.storage.records import Records


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    return tmp_path


@pytest.fixture
def record(home: Path) -> Path:
    """A record of two attempts, the second of which an old grader told otherwise."""
    first, second = ended(play(session(task("Cm7"), task("Fm7")), chord(1200, CM7), chord(3000, FM7)))
    old_try = replace(
        second.tries[0], right=False, cause="octave", causes=("octave",), sentence="An octave [b]low[/b]."
    )
    old = replace(second, tries=(old_try,), outcome="wrong", right_first_try=False, response_ms=None)
    path = home / "home" / "records.sqlite"
    with Records.open(path) as records:
        records.append(first)
        records.append(old)
    return path


def test_the_record_is_written_out_and_taken_in_elsewhere(
    home: Path, record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, other = home / "practice.jsonl.gz", home / "other.sqlite"
    assert main(["export", "--output", str(file)]) == 0
    assert "2 attempts written" in capsys.readouterr().err
    assert main(["import", str(file), "--records", str(other)]) == 0
    assert capsys.readouterr().out == "New: 2 attempts. There already: nothing.\n"
    assert main(["import", str(file), "--records", str(other), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"new": {}, "known": {"attempt": 2}, "graded_otherwise": 0}
    with Records.open(record) as one, Records.open(other) as two:
        assert list(one.attempts()) == list(two.attempts())


def test_the_record_goes_to_standard_output_where_no_file_is_named(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [next(iter(line)) for line in lines] == ["practice_record", "attempt", "attempt", "end"]


def test_a_reader_that_goes_away_ends_the_export_quietly(record: Path) -> None:
    command = [sys.executable, "-m", "trainer", "export", "--records", str(record)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None and program.stderr is not None
        program.stdout.close()
        told = program.stderr.read()
    assert "Traceback" not in told and program.returncode == 0


def test_no_record_is_begun_to_be_written_out(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export"]) == 3
    assert "there is no record to write out" in capsys.readouterr().err
    assert not (home / "home" / "records.sqlite").exists()


def test_a_damaged_record_is_written_out_as_far_as_it_can_be_read(
    home: Path, record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Records.open(record) as records:
        [first, _] = records.attempts()
        for number in range(10, 200):
            records.append(replace(first, number=number))
    content = record.read_bytes()
    kept = len(content) * 3 // 4
    before = content[:kept] + b"\xa5" * (len(content) - kept)
    record.write_bytes(before)
    file = home / "saved.jsonl"
    assert main(["export", "--output", str(file)]) == 1
    told = capsys.readouterr().err
    assert "is damaged; reading what can be read" in told and "is lost" in told
    assert record.read_bytes() == before
    assert main(["import", str(file), "--records", str(home / "new.sqlite")]) == 0
    with Records.open(home / "new.sqlite") as records:
        saved = list(records.attempts())
    assert 20 < len(saved) < 192 and all(attempt.keys in (CM7, FM7) for attempt in saved)


def test_a_faulty_file_is_told_line_by_line_without_its_control_codes(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = home / "odd.jsonl"
    file.write_text('{"practice_record": 1}\n{"\\u001b[2J": {}}\n{"attempt": {}}\n')
    assert main(["import", str(file)]) == 3
    told = capsys.readouterr().err
    assert f"{file}, line 2: " in told and f"{file}, line 3: " in told and "nothing of" in told
    assert "\x1b" not in told


def test_today_s_verdicts_are_shown_applied_and_taken_back(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Records.open(record) as records:
        before = list(records.attempts())
        assert records.counted().tallies(())[()].right == 1
    assert main(["regrade"]) == 0
    shown = capsys.readouterr().out
    assert "2 attempts looked at, 1 are graded otherwise today." in shown
    assert "wrong, now right at the first try" in shown and "An octave [b]low[/b]." in shown
    assert "--apply" in shown
    with Records.open(record) as records:
        assert list(records.attempts()) == before
    assert main(["regrade", "--apply"]) == 0
    assert "A copy from before" in capsys.readouterr().out
    with Records.open(record) as records:
        after = list(records.attempts())
        assert [attempt.outcome for attempt in after] == ["right", "right"]
        assert after[1].events == before[1].events
        assert records.counted().tallies(())[()].right == 2
        assert list(records.check_summaries()) == []
        assert any("before a change" in copy.name for copy in records.backups())
    assert main(["regrade"]) == 0
    assert "0 are graded otherwise" in capsys.readouterr().out
    assert main(["regrade", "--undo"]) == 0
    with Records.open(record) as records:
        assert list(records.attempts()) == before
        assert records.counted().tallies(())[()].right == 1
        assert list(records.check_summaries()) == []
    assert main(["regrade", "--undo"]) == 1


def test_what_changes_is_given_to_machines(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["regrade", "--json"]) == 0
    [change] = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert (change["was"]["outcome"], change["today"]["outcome"]) == ("wrong", "right")
    assert change["number"] == 1
