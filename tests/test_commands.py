"""The command line as a user or another program meets it. Takes are written with mido, not with our own writer."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import mido
import pytest

from trainer.__main__ import main

SET = """title = "Minor sevenths, low rung on the third"
[[drill]]
chord = "m7"
voicing = "rootless from the third"
roots = ["C", "F"]
tries = 1
"""
CM7, FM7 = (51, 55, 58, 62), (56, 60, 63, 67)  # Eb3 G3 Bb3 D4, Ab3 C4 Eb4 G4: trade.md, common practice


def write_take(path: Path, chords: Sequence[tuple[float, Sequence[int], float]], tempo: int = 500_000) -> Path:
    """A format 0 Standard MIDI File: (onset ms, keys, held ms). Division 500 at 500,000 us: one tick is 1 ms."""
    timed = []
    for onset_ms, keys, held_ms in chords:
        timed += [(round(onset_ms), 1, key) for key in keys] + [(round(onset_ms + held_ms), 0, key) for key in keys]
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo, time=0)])
    now = 0
    for tick, is_on, key in sorted(timed):
        track.append(mido.Message("note_on", note=key, velocity=70 * is_on, time=tick - now))
        now = tick
    mido.MidiFile(type=0, ticks_per_beat=500, tracks=[track]).save(path)
    return path


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    return tmp_path


@pytest.fixture
def set_file(home: Path) -> Path:
    path = home / "set.toml"
    path.write_text(SET, encoding="utf-8")
    return path


def graded(capsys: pytest.CaptureFixture[str], *arguments: object) -> list[dict]:
    assert main([str(argument) for argument in arguments]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_spell_prints_a_voicing_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    (spelled,) = graded(capsys, "spell", "Cm7", "--voicing", "rootless from the third", "--json")
    assert spelled["degrees"] == ["b3", "5", "b7", "9"]
    assert spelled["notes"] == ["Eb", "G", "Bb", "D"]
    assert spelled["keys"] == [51, 55, 58, 62]
    assert (spelled["chord"], spelled["voicing"]) == ("Cm7", "rootless from the third")


@pytest.mark.parametrize(
    ("symbol", "voicing", "notes"),
    [
        ("D7", "b7 3 13", ["C", "F#", "B"]),
        ("Eb7", "b7 3 5 (9)", ["Db", "G", "Bb", "F"]),
        ("Am7", "rootless from the third", ["C", "E", "G", "B"]),
        ("Db7", "1 b7", ["Db", "Cb"]),
    ],
)
def test_spell_agrees_with_the_check_facts_of_the_trade(
    capsys: pytest.CaptureFixture[str], symbol: str, voicing: str, notes: list[str]
) -> None:
    # trade.md, "Check facts": common practice, no source.
    (spelled,) = graded(capsys, "spell", symbol, "--voicing", voicing, "--json")
    assert spelled["notes"] == notes
    assert spelled["keys"] == sorted(spelled["keys"])


def test_spell_prints_a_chord_with_what_may_be_left_out_and_its_bass(capsys: pytest.CaptureFixture[str]) -> None:
    (spelled,) = graded(capsys, "spell", "C13/Bb", "--json")
    assert dict(zip(spelled["degrees"], spelled["notes"], strict=True)) == {
        "1": "C", "3": "E", "5": "G", "b7": "Bb", "9": "D", "11": "F", "13": "A",
    }  # fmt: skip
    assert spelled["optional"] == ["11"]
    assert spelled["bass"] == "Bb"


def test_every_voicing_of_a_chord_can_be_listed_and_spelled(capsys: pytest.CaptureFixture[str]) -> None:
    listed = graded(capsys, "spell", "C7alt", "--all", "--json")
    rows = {row["voicing"]: row["degrees"] for row in listed}
    assert rows["rootless from the third"] == ["3", "b13", "b7", "#9"]  # trade.md, the alt colour
    for row in listed:
        (spelled,) = graded(capsys, "spell", "C7alt", "--voicing", row["voicing"], "--json")
        assert spelled["degrees"] == row["degrees"]


def test_spell_reads_symbols_from_standard_input_in_order(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "trainer", "spell", "-", "--json"],
        input="Cm7\nnonsense\nF#m7b5\n",
        capture_output=True,
        text=True,
        check=True,
    )
    first, second, third = map(json.loads, run.stdout.splitlines())
    assert first["notes"] == ["C", "Eb", "G", "Bb"]
    assert second["symbol"] == "nonsense" and second["error"] and isinstance(second["at"], int)
    assert third["notes"] == ["F#", "A", "C", "E"]
    assert run.stderr == ""


def test_a_right_and_a_wrong_chord_of_a_take_are_graded(
    home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take = write_take(home / "take.mid", [(1200, CM7, 500), (3000, (56, 60, 64, 67), 500)])
    right, wrong = graded(capsys, "drill", set_file, "--input", take, "--headless", "--json")
    assert right["prompt"]["chord"] == "Cm7"
    assert right["prompt"]["keys"] == list(CM7)
    assert (right["right_first_try"], right["response_ms"]) == (True, 1200.0)
    assert [verdict["verdict"] for verdict in right["tries"][0]["verdicts"]] == ["right"] * 4
    (one,) = wrong["tries"]
    assert (wrong["right_first_try"], wrong["response_ms"], one["right"]) == (False, None, False)
    # E for Eb: the b7 of F a half step high.
    assert [verdict["verdict"] for verdict in one["verdicts"]] == ["right", "right", "replaced", "right"]
    assert one["cause"] == "half_step"
    assert "the ♭7 of F is E♭" in one["sentence"]
    # The second prompt shows at 1700 ms, when the keys of the first chord are up.
    assert one["think_ms"] == 1300.0


def test_a_tempo_change_in_the_take_is_honoured(home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # SMF 1.0: set tempo in microseconds a quarter; twice the tempo value, twice the time.
    take = write_take(home / "slow.mid", [(600, CM7, 250), (1500, FM7, 250)], tempo=1_000_000)
    first, _ = graded(capsys, "drill", set_file, "--input", take, "--headless", "--json")
    assert first["response_ms"] == 1200.0


def test_attempts_are_in_the_record_with_their_raw_events(
    home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from trainer.storage.records import Records

    take = write_take(home / "take.mid", [(1200, CM7, 500), (3000, FM7, 500)])
    graded(capsys, "drill", set_file, "--input", take, "--headless", "--json", "--records", home / "r.db")
    with Records.open(home / "r.db") as records:
        kept = list(records.attempts())
    assert [(attempt.chord, attempt.outcome, attempt.port) for attempt in kept] == [
        ("Cm7", "right", "take.mid"),
        ("Fm7", "right", "take.mid"),
    ]
    assert [event[2] for event in kept[0].events] == list(CM7)


def test_a_late_wrong_key_replaces_the_record_of_a_chord_taken_for_right(
    home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from trainer.storage.records import Records

    take = write_take(home / "take.mid", [(1200, CM7, 500), (1220, (65,), 400)])
    (attempt,) = graded(capsys, "drill", set_file, "--input", take, "--headless", "--json", "--records", home / "r.db")
    assert attempt["tries"][0]["extra"] == [65]
    with Records.open(home / "r.db") as records:
        assert [kept.outcome for kept in records.attempts()] == ["wrong"]


def test_progress_shows_the_roots_in_the_cycle_of_fourths(
    home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take = write_take(home / "take.mid", [(1200, CM7, 500), (3000, FM7, 500)])
    graded(capsys, "drill", set_file, "--input", take, "--headless", "--json")
    rows = graded(capsys, "progress", "--json")
    assert [row["root"] for row in rows] == "C F Bb Eb Ab Db Gb B E A D G".split()
    assert [row["attempts"] for row in rows][:3] == [1, 1, 0]
    assert main(["progress"]) == 0
    assert "not enough yet" in capsys.readouterr().out


def test_the_scripted_player_plays_a_whole_set_and_the_seed_repeats_it(
    home: Path, set_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    again = [graded(capsys, "drill", set_file, "--input", "script", "--headless", "--json", "--seed", 7) for _ in "ab"]
    assert len(again[0]) == 2
    assert again[0] == again[1]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["drill", "no-such-set", "--headless"], 3, "no-such-set"),
        (["drill", "{set}", "--headless", "--input", "missing.mid"], 3, "missing.mid"),
        (["drill", "{set}", "--headless", "--input", "{broken}"], 3, "broken.mid"),
        (["drill", "{set}", "--headless", "--input", "No Such Piano"], 3, "No Such Piano"),
        (["drill", "{faulty}", "--headless", "--input", "script"], 3, "faulty.toml:3:"),
        (["spell", "Cwhat"], 2, "Cwhat"),
        (["spell", "Cm7", "--voicing", "rootles from the third"], 2, "rootless from the third"),
        (["spell"], 2, "chord"),
        (["check", "{faulty}"], 3, "faulty.toml:3:"),
        (["drill", "{set}", "--headless", "--input", "script", "--records", "{set}"], 3, "set.toml"),
    ],
)
def test_what_cannot_be_used_gets_a_clear_line_and_its_exit_code(
    home: Path, set_file: Path, arguments: list[str], code: int, words: str
) -> None:
    (home / "broken.mid").write_bytes(b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk\x00\x00\x00\xff\x00\x90")
    (home / "faulty.toml").write_text(SET.replace('"m7"', '"m77x"'), encoding="utf-8")
    names = {"set": set_file, "broken": home / "broken.mid", "faulty": home / "faulty.toml"}
    run = subprocess.run(
        [sys.executable, "-m", "trainer", *(argument.format(**names) for argument in arguments)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
    )
    assert run.returncode == code
    assert words in run.stderr
    assert "Traceback" not in run.stderr
    assert run.stdout == ""


def test_keys_are_named_as_degrees_of_a_chord_and_give_the_row_of_a_drill_set(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (named,) = graded(capsys, "name", "Eb3", "G3", "Bb3", "D4", "--chord", "Cm7", "--json")
    assert [key["degree"] for key in named["keys"]] == ["b3", "5", "b7", "9"]
    assert named["fits"][0]["voicing"] == "rootless from the third"
    (home / "played.toml").write_text(f'title = "Played"\n{named["drill"]}\n', encoding="utf-8")
    assert main(["check", str(home / "played.toml")]) == 0


def test_the_same_keys_are_told_under_all_their_names(capsys: pytest.CaptureFixture[str]) -> None:
    # evidence.md section 7: rootless Dm9 = Fmaj7, and a bass decides.
    symbols = [reading["symbol"] for reading in graded(capsys, "name", "53", "57", "60", "64", "--json")]
    assert {"Fmaj7", "Dm9"} <= set(symbols)
    over_d = graded(capsys, "name", "53", "57", "60", "64", "--bass", "D2", "--json")
    assert over_d[0]["symbol"].startswith("Dm")


def test_spell_writes_in_the_style_that_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    written = [graded(capsys, "spell", "Cm7", "--style", style, "--json")[0]["chord"] for style in ("house", "words")]
    assert written == ["Cm7", "Cmin7"]


def test_lead_finds_the_published_distances_of_a_rootless_two_five_one(capsys: pytest.CaptureFixture[str]) -> None:
    # evidence.md section 7: 1 semitone, then 5, in C; transposition does not change a distance.
    rows = graded(capsys, "lead", "ii-V-I", "--all-keys", "--json")
    assert [row["key"] for row in rows] == "C F Bb Eb Ab Db Gb B E A D G".split()
    assert {row["cost"] for row in rows} == {6}


def test_every_command_has_help_with_examples(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("drill", "ports", "spell", "progress", "check", "lead", "name"):
        with pytest.raises(SystemExit) as ended:
            main([command, "--help"])
        assert ended.value.code == 0
        assert f"examples:\n  trainer {command}" in capsys.readouterr().out


def test_a_reader_that_goes_away_ends_the_program_quietly(tmp_path: Path) -> None:
    (tmp_path / "symbols").write_text("Cm7\n" * 20_000, encoding="utf-8")
    with (tmp_path / "symbols").open() as symbols:
        command = [sys.executable, "-m", "trainer", "spell", "-", "--json"]
        run = subprocess.Popen(command, stdin=symbols, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert run.stdout is not None and run.stderr is not None
        assert json.loads(run.stdout.readline())["chord"] == "Cm7"
        run.stdout.close()
        said = run.stderr.read()
        run.stderr.close()
        assert (run.wait(), said) == (0, "")
