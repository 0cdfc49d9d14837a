"""Charts on the command line: found, shown, put into keys, written; and led. Chords by hand, common practice."""

from __future__ import annotations

import json
from pathlib import Path

import mido
import pytest

from trainer.__main__ import main
from trainer.charts import form_chart, read_chart
from trainer.charts.score_reading import read_score
from trainer.commands.charts import found_chart
from trainer.commands.refusals import Refusal
from trainer.pitch import Note

SCORES = Path(__file__).parent / "scores"
WALTZ = SCORES / "two-lamps-waltz.musicxml"
DEMO = Path(__file__).parent.parent / "drills" / "demo-the-kettle-takes-its-time.chart"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    assert main([str(word) for word in words]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], code: int, *words: object) -> str:
    assert main([str(word) for word in words]) == code
    output = capsys.readouterr()
    assert not output.out
    return output.err


def test_a_form_is_shown_by_degree_or_symbol_in_any_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert "| iim7 | V7 | Imaj7 | % |" in said(capsys, "chart", "ii-V-I", "--key", "Eb")
    assert "| Fm7 | Bb7 | Ebmaj7 | % |" in said(capsys, "chart", "ii-V-I", "--key", "Eb", "--by-symbol")
    assert "| Em7b5 | A7(b9) | Dm6 | % |" in said(capsys, "chart", "ii-V-i minor", "--key", "Dm", "--by-symbol")
    everywhere = said(capsys, "chart", "ii-V-I", "--all-keys", "--by-symbol")
    assert [read_chart(one).key.name for one in everywhere.split("\n\ntitle")[0:1]] == ["C"]
    assert everywhere.count("title: ii-V-I") == 12


def test_a_lead_sheet_is_shown_as_a_chart(capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "chart", WALTZ) == WALTZ.with_suffix(".chart").read_text(encoding="utf-8")
    assert "~" not in said(capsys, "chart", WALTZ, "--without-melody")
    assert "~" not in said(capsys, "chart", DEMO, "--without-melody")
    (line,) = said(capsys, "chart", SCORES / "two-lamps-waltz-packed.mxl", "--json").splitlines()
    told = json.loads(line)
    assert (told["title"], told["key"], told["pickup_beats"]) == ("Two Lamps & a Ladder", "Gm", 1)
    assert told["played"] == [0, 1, 2, 3, 4, 1, 2, 3, 5, 6]
    assert told["bars"][3]["chords"][1] == {"chord": "D7(b9)", "degree": None, "beat": 3.5, "beats": 0.5}


@pytest.mark.parametrize("suffix", [".chart", ".musicxml", ".xml", ".mxl"])
def test_what_is_written_is_found_again(tmp_path: Path, capsys: pytest.CaptureFixture[str], suffix: str) -> None:
    place = tmp_path / f"tune{suffix}"
    said(capsys, "chart", DEMO, "--key", "Ab", "--output", place)
    assert found_chart(str(place)) == found_chart(str(DEMO), "Ab")


def test_twelve_keys_are_twelve_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "chart", "blues", "--all-keys", "--output", tmp_path / "blues.musicxml")
    assert len(list(tmp_path.glob("blues-*.musicxml"))) == 12
    found = read_score((tmp_path / "blues-F.musicxml").read_bytes())
    assert [one.chord.symbol for one in found.unrolled()][:5] == ["F7", "F7", "F7", "F7", "Bb7"]


def test_a_midi_file_has_tempo_and_voicings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "two-five.mid"
    said(capsys, "chart", "ii-V-I", "--output", place, "--tempo", "60", "--voicing", "guide tones")
    file = mido.MidiFile(place)
    keys = [one.note for one in file.tracks[2] if one.type == "note_on"]
    # F C, F B, E B: 3 and 7 of Dm7, 7 and 3 of G7, 3 and 7 of Cmaj7.
    assert [key % 12 for key in keys[:6]] == [5, 0, 5, 11, 4, 11]
    assert file.length == pytest.approx(16)


def test_a_file_that_is_there_is_written_over_only_on_request(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "tune.chart"
    place.write_text("mine", encoding="utf-8")
    assert "there already" in refused(capsys, 2, "chart", "blues", "--output", place)
    assert place.read_text(encoding="utf-8") == "mine"
    said(capsys, "chart", "blues", "--output", place, "--replace")
    assert found_chart(str(place)) == form_chart("blues")


@pytest.mark.parametrize(
    ("words", "code", "line"),
    [
        (["chart", "blues", "--output", "tune.pdf"], 2, "ends in no kind of file"),
        (["chart", "blues", "--output", "tune.mid", "--tempo", "1000"], 2, "10 to 400"),
        (["chart", "blues", "--key", "Cm"], 2, "major"),
        (["chart", "blues", "--key", "H"], 2, "not a note"),
        (["chart", "bluse"], 2, "blues"),
        (["chart", "no-such.musicxml"], 3, "is not there"),
        (["chart", str(SCORES)], 2, "no form of the table"),
        (["chart", str(WALTZ), "--part", "Nobody"], 3, "its parts are Voice"),
        (["chart", "blues", "--output", "tune.mid", "--voicing", "nonsense"], 2, "no voicing"),
        (["lead", "blues", "--weight", "speed=1"], 2, "the weights are"),
        (["lead", "blues", "--weight", "centre=x"], 2, "no number"),
        (["lead", "blues", "--weight", "centre=-1"], 2, "0 or more"),
        (["lead", "blues", "--lowest", "C5", "--highest", "C4"], 2, "above"),
        (["lead", "blues", "--lowest", "zz"], 2, "not a key"),
        (["lead", "blues", "--reach", "2"], 2, "5 to 24"),
        (["lead", "blues", "--lowest", "C4", "--highest", "D4"], 2, "--voicing"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    words: list[str], code: int, line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    told = refused(capsys, code, *words)
    assert line in told and len(told.splitlines()) == 1
    assert not list(tmp_path.glob("tune.*"))


def test_a_file_is_read_as_what_it_is_whatever_its_name(tmp_path: Path) -> None:
    for name, source in (("score", WALTZ), ("packed.txt", SCORES / "two-lamps-waltz-packed.mxl"), ("text", DEMO)):
        place = tmp_path / name
        place.write_bytes(source.read_bytes())
        assert found_chart(str(place)) == found_chart(str(source))
    (tmp_path / "take.mid").write_bytes(b"MThd\0\0\0\6\0\0\0\1\1\xe0")
    with pytest.raises(Refusal, match="no chord symbols"):
        found_chart(str(tmp_path / "take.mid"))
    (tmp_path / "words.musicxml").write_text("| C7 |", encoding="utf-8")
    with pytest.raises(Refusal, match="not XML"):
        found_chart(str(tmp_path / "words.musicxml"))


def test_every_fault_of_a_chart_and_of_a_score_has_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "faulty.chart"
    place.write_text("key: Q\n| Hm7 |", encoding="utf-8")
    assert [line.split(":")[2:4] for line in refused(capsys, 3, "chart", place).splitlines()] == [
        ["1", "6"],
        ["2", "3"],
    ]
    text = WALTZ.read_text(encoding="utf-8").replace(">minor-sixth<", ">Tristan<")
    score = tmp_path / "faulty.musicxml"
    score.write_text(text, encoding="utf-8")
    told = refused(capsys, 3, "lead", score).splitlines()
    lines = [number for number, line in enumerate(text.splitlines(), 1) if "Tristan" in line]
    assert [int(line.split(":")[2]) for line in told] == lines
    assert all("measure" in line for line in told)


def test_no_control_code_of_a_chart_reaches_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "tune.chart"
    place.write_text("title: a\x1b[2J\x9bb\u202e\nabout: \x07\n[A\x1b] | C7 |", encoding="utf-8")
    for command in (["chart", place], ["lead", place], ["chart", place, "--by-degree"]):
        output = said(capsys, *command)
        assert all(sign.isprintable() or sign == "\n" for sign in output)


def test_a_lead_sheet_is_led_under_its_melody_with_weights(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "lead", WALTZ, "--without-melody", "--weight", "centre=0.5", "--weight", "parallel=1", "--why")
    assert "off the centre" in text and "1 parallel" in text
    (line,) = said(capsys, "lead", WALTZ, "--json", "--voicing", "guide tones").splitlines()
    told = json.loads(line)
    assert [chord["label"] for chord in told["chords"]] == ["1", "2", "3", "3.3&", "4", "5", "6", "7", "7.3&", "8", "9"]


def test_a_plan_from_options_bounds_the_voicings(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--lowest", "C4", "--highest", "G5", "--reach", "12", "--inversions", "--voicing", "four-way close"]
    for line in said(capsys, "lead", "jazz blues", "--all-keys", "--json", *options).splitlines():
        for chord in json.loads(line)["chords"]:
            assert chord["keys"][0] >= 60 and chord["keys"][-1] <= 79
            assert chord["keys"][-1] - chord["keys"][0] <= 12


def test_the_chart_in_the_readme_is_read_and_means_what_it_says() -> None:
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    chart = read_chart(
        readme.split("```text\ntitle: Two Lamps")[1].split("```")[0].replace("\nkey", "title: Two\nkey", 1)
    )
    found = [(one.label, one.chord.symbol) for one in chart.unrolled()]
    assert found[:4] == [("0", "N.C."), ("1", "Gm6"), ("2", "Gm6"), ("3", "Am7b5")]
    assert found[-3:] == [("8", "Gm7/F"), ("9", "Cmaj7"), ("10", "C6")]


def test_a_lesson_is_a_chart_and_its_midi_file_has_its_own_voicings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = DEMO.parent / "two-five-one.lesson.toml"
    assert [one.chord for one in found_chart(str(lesson), "Eb").unrolled()] == [
        one.chord for one in form_chart("ii-V-I", Note.parse("Eb")).unrolled()
    ]
    place = tmp_path / "lesson.mid"
    said(capsys, "chart", lesson, "--key", "Eb", "--output", place)
    keys = [one.note for one in mido.MidiFile(place).tracks[2] if one.type == "note_on"]
    # Fm7 in one of its two rootless forms: Ab C Eb G, whichever is lowest.
    assert {key % 12 for key in keys[:4]} == {8, 0, 3, 7}
    said(capsys, "chart", lesson, "--output", place, "--replace", "--voicing", "guide tones")
    assert len([one for one in mido.MidiFile(place).tracks[2] if one.type == "note_on"]) == 8
    faulty = tmp_path / "faulty.toml"
    faulty.write_text('title = "x"\nform = "bluse"\n', encoding="utf-8")
    assert "did you mean" in refused(capsys, 3, "lead", faulty)
