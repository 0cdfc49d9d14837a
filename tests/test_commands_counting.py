"""`trainer progress`: the record's figures as a table, as JSON and as CSV, narrowed by what is asked for."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from invented import invented_record
from scipy import stats
from test_progress import CYCLE_OF_FOURTHS
from test_storage_passes import TWO_FIVE_ONE

from trainer.__main__ import main
from trainer.commands.counting import COLUMNS, GROUPINGS
from trainer.progress import Attempt, by_root
from trainer.storage.records import Records

RECORD = tuple(invented_record(days=13, a_day=24))
BY = (*GROUPINGS, "key")

Tell = Callable[..., str]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    keep(path, RECORD)
    return path


def keep(path: Path, attempts: tuple[Attempt, ...]) -> None:
    with Records.open(path) as records:
        for attempt in attempts:
            records.append(attempt)
        for number, (key, clean, tempo) in enumerate([("C", True, 80), ("C", False, 92), ("F#", False, 60)]):
            records.append_pass(
                replace(TWO_FIVE_ONE, number=number, key=key, clean=clean, tempo_bpm=float(tempo), section="")
            )


@pytest.fixture
def tell(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Tell:
    """Runs the command and gives what it printed."""
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))

    def told(*options: str, records: Path = kept, code: int = 0) -> str:
        assert main(["progress", "--records", str(records), *options]) == code
        printed = capsys.readouterr()
        return printed.err if code else printed.out

    return told


def rows_of(text: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in text.splitlines()]


@pytest.mark.parametrize("by", BY)
def test_every_column_is_documented_and_the_same_in_json_and_csv(tell: Tell, by: str) -> None:
    rows = rows_of(tell("--by", by, "--json"))
    table = list(csv.DictReader(io.StringIO(tell("--by", by, "--csv"))))
    assert rows and len(rows) == len(table)
    for row, line in zip(rows, table, strict=True):
        assert list(row) == list(line)
        assert set(row) <= set(COLUMNS)
        for name, value in row.items():
            wanted = (
                "" if value is None else {True: "yes", False: "no"}.get(value) if isinstance(value, bool) else value
            )
            assert line[name] == str(wanted)


@pytest.mark.parametrize("by", BY)
def test_a_table_for_people_has_a_line_for_each_row(tell: Tell, by: str) -> None:
    lines = tell("--by", by).split("\n\n")[0].splitlines()
    assert len(lines) == 1 + len(rows_of(tell("--by", by, "--json")))
    assert all(line == line.rstrip() for line in lines)


def test_by_root_the_figures_are_those_of_the_attempts(tell: Tell) -> None:
    rows = rows_of(tell("--json"))
    assert [row["root"] for row in rows] == CYCLE_OF_FOURTHS
    for row, figures in zip(rows, by_root(RECORD), strict=True):
        assert (row["attempts"], row["right"], row["median_ms"]) == (figures.attempts, figures.right, figures.median_ms)
        interval = stats.binomtest(figures.right, figures.attempts).proportion_ci(method="wilson")
        assert (row["low"], row["high"]) == pytest.approx((interval.low, interval.high))


def test_by_item_a_row_tells_whether_it_is_learned(tell: Tell) -> None:
    rows = rows_of(tell("--by", "item", "--json"))
    assert {type(row["learned"]) for row in rows} == {bool}
    assert sum(int(str(row["attempts"])) for row in rows) == len(RECORD)
    assert "learned, " in tell("--by", "item") and "practised, " in tell("--by", "item")


def test_by_cause_shares_are_of_all_first_tries(tell: Tell) -> None:
    rows = rows_of(tell("--by", "cause", "--json"))
    wrong = [attempt for attempt in RECORD if not attempt.right_first_try]
    assert sum(int(str(row["count"])) for row in rows) == len(wrong)
    assert {row["attempts"] for row in rows} == {len(RECORD)}


def test_by_key_the_highest_clean_tempo_is_told(tell: Tell) -> None:
    rows = rows_of(tell("--by", "key", "--json"))
    assert [(row["key"], row["tempo_bpm"], row["passes"], row["clean"]) for row in rows] == [
        ("C", 80.0, 1, 1),
        ("Gb", None, 1, 0),
    ]
    assert "none yet" in tell("--by", "key")


@pytest.mark.parametrize(
    ("options", "admits"),
    [
        (["--since", "2026-02-05"], lambda one: one.utc >= "2026-02-05"),
        (["--until", "2026-02-05"], lambda one: one.utc < "2026-02-06"),
        (["--set", "MINOR sevenths from the THIRD"], lambda one: one.set_title == "Minor sevenths from the third"),
        (["--set", "sevenths"], lambda one: "sevenths" in one.set_title),
        (["--port", "upright"], lambda one: one.port.startswith("Upright")),
        (["--voicing", "1 ♭7"], lambda one: one.voicing == "1 b7"),
        (["--voicing", "rootless"], lambda one: "rootless" in one.voicing),
    ],
)
def test_what_is_asked_for_narrows_the_figures(
    tell: Tell, options: list[str], admits: Callable[[Attempt], bool]
) -> None:
    counted = sum(int(str(row["attempts"])) for row in rows_of(tell("--by", "voicing", "--json", *options)))
    assert counted == sum(map(admits, RECORD)) > 0


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (["--since", "March"], 2, "2026-03-01"),
        (["--since", "2026-02-30"], 2, "--since"),
        (["--until", "2026-3-1"], 2, "--until"),
        (["--since", "2026-03-02", "--until", "2026-03-01"], 2, "earlier day first"),
        (["--set", "no such set"], 1, "Shells, root and seventh"),
        (["--port", "no such port"], 1, "Stage piano"),
        (["--voicing", "no such voicing"], 1, "rootless from the third"),
        (["--by", "key", "--voicing", "shell"], 2, "--voicing"),
        (["--by", "key", "--set", "no such form"], 1, "Two five one"),
    ],
)
def test_what_cannot_be_asked_is_told_with_what_could(tell: Tell, options: list[str], code: int, words: str) -> None:
    told = tell(*options, code=code)
    assert words in told and told.count("\n") == 1


def test_a_student_whose_results_were_collected_is_told_by_name(tell: Tell, tmp_path: Path) -> None:
    path = tmp_path / "desk.sqlite"
    keep(path, RECORD[:20])
    with Records.open(path) as records:
        for attempt in RECORD[20:27]:
            records.append(attempt, student="Ada")
        records.append(RECORD[27], student="Adam")
    counts = {
        student: sum(int(str(row["attempts"])) for row in rows_of(tell("--student", student, "--json", records=path)))
        for student in ("Ada", "adam")
    }
    assert counts == {"Ada": 7, "adam": 1}
    assert sum(int(str(row["attempts"])) for row in rows_of(tell("--json", records=path))) == 20
    assert "Ada; Adam" in tell("--student", "Ad", records=path, code=2)
    assert "no student" in tell("--student", "Ben", records=path, code=1)
    assert tell("--student", "Ada", "--by", "key", "--json", records=path) == ""


def test_an_empty_record_has_nothing_to_tell(tell: Tell, tmp_path: Path) -> None:
    empty = tmp_path / "empty.sqlite"
    assert len(rows_of(tell("--json", records=empty))) == 12
    for by in ("item", "voicing", "cause", "day", "key"):
        assert tell("--by", by, "--json", records=empty) == ""
        assert "Nothing was played" in tell("--by", by, records=empty)
        assert tell("--by", by, "--csv", records=empty).count("\n") == 1


NASTY = ("=HYPERLINK(A1)", "+1", "-1", "@sum", "\t=1", "\x1b[31mred", "\u202eleft", "a\nb", '"quoted", and more')


@pytest.mark.parametrize("nasty", NASTY)
def test_names_from_outside_are_harmless_in_a_spreadsheet_and_on_a_terminal(
    tell: Tell, tmp_path: Path, nasty: str
) -> None:
    path = tmp_path / "nasty.sqlite"
    keep(path, tuple(replace(one, voicing=nasty, set_title=nasty, port=nasty) for one in RECORD[:10]))
    text = tell("--by", "voicing", "--csv", records=path)
    cells = list(csv.DictReader(io.StringIO(text)))
    assert all(cell["voicing"][0] not in "=+-@\t\r" for cell in cells)
    assert not any(sign in text for sign in "\x1b\u202e")
    told = tell("--by", "voicing", records=path)
    assert not any(sign in told for sign in "\x1b\u202e\t")
    assert len(told.splitlines()) == 1 + len(cells)
    assert {row["voicing"] for row in rows_of(tell("--by", "voicing", "--json", records=path))} == {nasty}
