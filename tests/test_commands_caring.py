"""Settings, the look at everything, and completion, as a player types them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from trainer.__main__ import main
from trainer.commands.caring import SHELLS
from trainer.storage.settings import SETTINGS


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))
    return tmp_path


def test_every_setting_is_told_with_what_it_means_and_what_may_stand_there(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["settings"]) == 0
    told = capsys.readouterr().out
    for row in SETTINGS:
        assert f"\n{row.name} = " in told
        assert row.explanation in told
        assert row.expected in told


def test_a_setting_is_changed_and_the_comments_of_the_file_stay(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "settings.toml").write_text("# my hands\nreach_semitones = 12  # an octave\n", encoding="utf-8")
    assert main(["settings", "reach_semitones", "16"]) == 0
    assert capsys.readouterr().out == "reach_semitones = 16\n"
    assert (home / "settings.toml").read_text("utf-8") == "# my hands\nreach_semitones = 16  # an octave\n"


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["reach_semitones", "99"], 3, "from 7 to 24"),
        (["reach_semitones", "wide"], 3, "from 7 to 24"),
        (["keyboard_shown", "perhaps"], 3, "true or false"),
        (["reach_semitone"], 2, "did you mean reach_semitones?"),
    ],
)
def test_what_no_setting_takes_is_refused_with_what_it_takes(
    home: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, told: str
) -> None:
    assert main(["settings", *arguments]) == code
    assert told in capsys.readouterr().err
    assert not (home / "settings.toml").exists()


def test_yes_and_off_are_understood(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["settings", "keyboard_shown", "yes"]) == 0
    assert main(["settings", "mouse", "off"]) == 0
    assert capsys.readouterr().out == "keyboard_shown = true\nmouse = false\n"


def test_the_look_at_everything_finds_a_fault_in_a_set_and_in_the_settings(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "drills").mkdir()
    (home / "drills" / "mine.toml").write_text('title = "Mine"\n[[drill]]\nchord = "H7"\n', encoding="utf-8")
    (home / "settings.toml").write_text("channel = 17\n", encoding="utf-8")
    main(["doctor", "--json"])
    findings = {one["what"]: one for one in json.loads(capsys.readouterr().out)["findings"]}
    assert not findings["sets and lessons"]["good"]
    assert "mine.toml:" in findings["sets and lessons"]["found"]
    assert not findings["settings"]["good"]
    assert findings["record"]["found"].endswith("not begun yet")


def test_a_record_that_is_none_is_told_and_left_alone(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "records.sqlite").write_text("a letter", encoding="utf-8")
    assert main(["doctor"]) == 1
    assert "look  record" in capsys.readouterr().out
    assert (home / "records.sqlite").read_text("utf-8") == "a letter"


@pytest.mark.parametrize("shell", SHELLS)
def test_each_shell_gets_its_completion(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    assert "trainer" in capsys.readouterr().out


def completed(line: str, tmp_path: Path) -> list[str]:
    """What the program answers a shell that asks how a line may go on (argcomplete's protocol)."""
    answer = tmp_path / "answer"
    answer.touch()
    asked = os.environ | {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_IFS": "\n",
        "_ARGCOMPLETE_STDOUT_FILENAME": str(answer),
        "COMP_TYPE": "9",
        "COMP_LINE": line,
        "COMP_POINT": str(len(line)),
    }
    subprocess.run([sys.executable, "-m", "trainer"], env=asked, check=True, timeout=60)
    return [word.strip() for word in answer.read_text("utf-8").split("\n")]


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("trainer sp", "spell"),
        ("trainer drill 07", "07-minor-sevenths-from-the-third"),
        ("trainer lead ii-V", "ii-V-I"),
        ("trainer settings theme", "theme"),
        ("trainer drill x --in", "--input"),
    ],
)
def test_a_half_written_command_is_completed(home: Path, tmp_path: Path, line: str, word: str) -> None:
    assert word in completed(line, tmp_path)


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_itself_completes(home: Path, tmp_path: Path) -> None:
    program = tmp_path / "trainer"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m trainer "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    root = Path(__file__).parent.parent
    script = f"""
        export PATH={tmp_path}:$PATH PYTHONPATH={root}
        eval "$(trainer completion bash)"
        COMP_LINE='trainer dri' COMP_POINT=11 COMP_TYPE=9 COMP_WORDS=(trainer dri) COMP_CWORD=1
        _python_argcomplete trainer
        printf '%s\n' "${{COMPREPLY[@]}}"
    """
    run = subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=60)
    assert run.stdout.split() == ["drill"], run.stderr
