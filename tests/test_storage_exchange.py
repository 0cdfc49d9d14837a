"""The whole record as a file: out and in again without loss, and from a damaged database as far as it goes."""

from __future__ import annotations

import gzip
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_storage_passes import TWO_FIVE_ONE
from test_storage_records import CM7, MISSED, make_older
from test_storage_summaries import several_attempts

from trainer.storage import exchange
from trainer.storage.exchange import Entry, ExchangeError, entries_of, lines_of, read_file, take_in, write_file
from trainer.storage.files import StorageError
from trainer.storage.records import MIGRATIONS, KeptAssignment, KeptResult, Records
from trainer.storage.records.salvage import Salvage

NOW = "2026-04-01T08:00:00.000Z"


def fill(records: Records, attempts: int = 40) -> None:
    for number in range(attempts):
        records.append(replace(CM7, number=number, utc=f"2026-03-01T18:{number // 60:02d}:{number % 60:02d}.000Z"))
    records.append_pass(TWO_FIVE_ONE)
    records.append_pass(replace(TWO_FIVE_ONE, number=1, key="F", events=TWO_FIVE_ONE.events * 300))
    records.keep_calibration("Stage piano", NOW, 12.5, 2.25, 16)
    records.keep_assignment("week-1", 'assignment = "week-1"\n', NOW, "open")
    records.append_results("Ada ♭ \u2028", "week-1", "d1", NOW, [CM7], [TWO_FIVE_ONE])


def content(records: Records) -> list[Entry]:
    return list(entries_of(records))


def write(path: Path, records: Records) -> Path:
    write_file(path, lines_of(entries_of(records), NOW))
    return path


def write_lines(path: Path, *lines: object) -> Path:
    path.write_text("".join(f"{line if isinstance(line, str) else json.dumps(line)}\n" for line in lines))
    return path


HEAD = {"practice_record": 1, "written_utc": NOW}


def lines_of_one() -> list[str]:
    """The three lines of a file with one attempt."""
    return list(lines_of([("attempt", "", CM7)], NOW))


# -- out and in


@pytest.mark.parametrize("name", ["record.jsonl", "record.jsonl.gz"])
def test_a_record_written_out_and_taken_in_is_the_same_record(tmp_path: Path, name: str) -> None:
    with Records.open(tmp_path / "one.sqlite") as one, Records.open(tmp_path / "two.sqlite") as two:
        fill(one)
        path = write(tmp_path / name, one)
        taken = take_in(two, path)
        assert content(two) == content(one)
        assert taken.new == {"attempt": 41, "pass": 3, "calibration": 1, "assignment": 1, "result": 1}
        assert two.counted().tallies(("day",)) == one.counted().tallies(("day",))
        again = take_in(two, path)
        assert (again.new, again.known) == ({}, taken.new)
        assert content(two) == content(one)
        assert write(tmp_path / f"again {name}", two).read_bytes() == path.read_bytes()


def test_the_attempts_of_a_session_are_taken_in_whatever_came_before(tmp_path: Path) -> None:
    chance = Random(3)
    attempts = several_attempts(chance, 120)
    with Records.open(":memory:") as whole:
        for attempt in attempts:
            whole.append(attempt)
        path = write(tmp_path / "record.jsonl", whole)
        with Records.open(":memory:") as records:
            for attempt in chance.sample(attempts, len(attempts) // 2):
                records.append(attempt)
            take_in(records, path)
            assert content(records) == content(whole)
            assert list(records.check_summaries()) == []


def test_an_attempt_graded_otherwise_meanwhile_stays_as_it_is(tmp_path: Path) -> None:
    path = write_lines(tmp_path / "record.jsonl", *lines_of_one())
    today = replace(CM7, tries=(replace(MISSED, cause="octave"),), outcome="unfinished")
    with Records.open(":memory:") as records:
        records.append(today)
        taken = take_in(records, path)
        assert (taken.new, taken.known, taken.otherwise) == ({}, {"attempt": 1}, 1)
        assert list(records.attempts()) == [today]


def test_a_file_says_what_it_is_in_its_own_first_and_last_line() -> None:
    first, attempt, last = map(json.loads, lines_of_one())
    assert first == HEAD and last == {"end": {"attempt": 1}}
    assert attempt["attempt"]["tries"][0]["verdicts"][2]["by"] == "7"
    assert attempt["attempt"]["events"][0] == [812345, "down", 51, 64, 0]
    assert all(line.isascii() for line in lines_of_one())


@settings(deadline=None, max_examples=50)
@given(st.text(max_size=8), st.text(max_size=8))
def test_any_text_comes_back(tmp_path_factory: pytest.TempPathFactory, port: str, sentence: str) -> None:
    path = tmp_path_factory.mktemp("texts") / "record.jsonl"
    odd = replace(CM7, port=port, tries=(replace(MISSED, sentence=sentence),))
    write_file(path, lines_of([("attempt", "", odd)], NOW))
    assert [found for _, found in read_file(path)] == [("attempt", "", odd)]


# -- what cannot be taken in


def member(**changes: Any) -> dict[str, Any]:
    """The line of `CM7` with some members changed; None takes one out."""
    values = json.loads(lines_of_one()[1])["attempt"] | changes
    return {"attempt": {name: value for name, value in values.items() if value != "take out"}}


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("{", "no JSON"),
        ('{"attempt": NaN}', "no JSON"),
        ("[" * 100_000, "no JSON"),
        ("7", "an object is expected"),
        ('{"attempt": {}, "pass": {}}', "2 members"),
        ('{"mood": {}}', 'kind "mood"'),
        ('{"attempt": []}', "an object is expected"),
        (member(mood="gay"), '"mood" is not known here'),
        (member(utc="take out"), "utc is missing"),
        (member(utc="yesterday"), "utc: "),
        (member(utc="2026-13-01T18:30:00.000Z"), "a time such as"),
        (member(number="0"), "number: "),
        (member(number=True), "a whole number"),
        (member(number=2**40), "a whole number"),
        (member(pool_size=1.5), "a whole number"),
        (member(response_ms="fast"), "a number"),
        (member(right_first_try=1), "true or false"),
        (member(keys=[51, 128]), "a key from 0 to 127"),
        (member(keys=51), "a list is expected"),
        (member(degrees=["b3"] * 1000), "a list of 1000"),
        (member(chord="C" * 5000), "a text of 5000 letters"),
        (member(tries=[{}]), "tries: held is missing"),
        (member(events=[[1, "down", 51, 64]]), "is expected"),
        (member(events=[[1, "down", 51, 64, 99]]), "no event"),
        (member(student=5), "a text is expected"),
    ],
)
def test_a_faulty_line_is_told_with_its_number_and_nothing_is_taken_in(tmp_path: Path, line: object, told: str) -> None:
    path = write_lines(tmp_path / "record.jsonl", *lines_of_one()[:2], line, {"end": {"attempt": 2}})
    with Records.open(":memory:") as records:
        with pytest.raises(ExchangeError) as error:
            take_in(records, path)
        assert error.value.faults[0].startswith("line 3: ") and told in error.value.faults[0]
        assert content(records) == []


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([], "nothing at all"),
        (["what is this"], "no JSON"),
        ([{"title": "a set"}], "no practice record"),
        ([HEAD | {"practice_record": 2}], "a newer version"),
        (lines_of_one()[:2], "the file was cut off"),
        ([*lines_of_one()[:2], {"end": {"attempt": 5}}], "an end that counts"),
        ([*lines_of_one(), lines_of_one()[1]], "something after the end"),
    ],
)
def test_a_file_that_is_not_whole_is_told(tmp_path: Path, lines: list[object], told: str) -> None:
    path = write_lines(tmp_path / "record.jsonl", *lines)
    with Records.open(":memory:") as records:
        with pytest.raises(ExchangeError, match=told):
            take_in(records, path)
        assert content(records) == []


def test_every_fault_is_told_up_to_a_number(tmp_path: Path) -> None:
    path = write_lines(tmp_path / "record.jsonl", HEAD, *[{"mood": {}}] * 100)
    with Records.open(":memory:") as records, pytest.raises(ExchangeError) as error:
        take_in(records, path)
    assert len(error.value.faults) == exchange.FAULTS_TOLD
    assert [fault.partition(":")[0] for fault in error.value.faults[:2]] == ["line 2", "line 3"]


def test_another_attempt_in_the_same_place_is_told_and_nothing_is_taken_in(tmp_path: Path) -> None:
    attempts = [("attempt", "", replace(CM7, number=1)), ("attempt", "", replace(CM7, chord="Fm7"))]
    path = write_lines(tmp_path / "record.jsonl", *lines_of(attempts, NOW))
    with Records.open(":memory:") as records:
        records.append(CM7)
        with pytest.raises(ExchangeError, match="line 3: attempt 0 of session"):
            take_in(records, path)
        assert list(records.attempts()) == [CM7]


@pytest.mark.parametrize("keep", [10, 0.5, 0.99])
def test_a_compressed_file_that_is_cut_off_or_damaged_is_told(tmp_path: Path, keep: float) -> None:
    path = tmp_path / "record.jsonl.gz"
    with Records.open(":memory:") as records:
        fill(records)
        data = write(path, records).read_bytes()
    cut = data[: keep if isinstance(keep, int) else round(len(data) * keep)]
    changed = bytearray(data)
    changed[len(data) // 2] ^= 0xFF
    for broken in (cut, bytes(changed)):
        path.write_bytes(broken)
        with Records.open(":memory:") as records:
            with pytest.raises(StorageError):
                take_in(records, path)
            assert content(records) == []


def test_a_line_without_an_end_is_refused_before_it_fills_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(exchange, "MOST_LINE_BYTES", 10_000)
    path = tmp_path / "bomb.gz"
    with gzip.open(path, "wb") as file:
        for _ in range(100):
            file.write(b" " * 1_000_000)
    with Records.open(":memory:") as records, pytest.raises(ExchangeError, match="a line of more than"):
        take_in(records, path)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with Records.open(":memory:") as records, pytest.raises(StorageError, match="is not there"):
        take_in(records, tmp_path / "record.jsonl")


@pytest.mark.parametrize("seed", range(60))
def test_a_file_with_some_bytes_changed_is_taken_in_whole_or_not_at_all(tmp_path: Path, seed: int) -> None:
    chance = Random(seed)
    path = tmp_path / "record.jsonl"
    with Records.open(":memory:") as records:
        fill(records, attempts=2)
        data = bytearray(write(path, records).read_bytes())
    for _ in range(chance.choice((1, 1, 3, 30))):
        at = chance.randrange(len(data))
        if chance.random() < 0.5:
            data[at] = chance.choice(b'{}[]",:0123456789eE.-\\u\x00\xff\n')
        else:
            del data[at : at + chance.choice((1, 2, 50))]
    path.write_bytes(bytes(data))
    with Records.open(":memory:") as records:
        try:
            take_in(records, path)
        except StorageError:
            assert content(records) == []
        assert list(records.check_summaries()) == []


# -- damaged databases


def salvaged(path: Path) -> tuple[Salvage, dict[str, list[Any]]]:
    salvage = Salvage(path)
    found: dict[str, list[Any]] = {kind: [] for kind in exchange.KINDS}
    for kind, student, value in salvage.entries():
        found[kind].append((student, value))
    return salvage, found


def damaged(tmp_path: Path, harm: Callable[[bytearray, int], None], attempts: int = 400) -> tuple[Path, list[Entry]]:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        fill(records, attempts)
        records.bring_up_to_date()
        whole = content(records)
        records._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    data = bytearray(path.read_bytes())
    harm(data, int.from_bytes(data[16:18], "big"))
    path.write_bytes(bytes(data))
    return path, whole


def test_a_sound_file_is_read_whole(tmp_path: Path) -> None:
    path, whole = damaged(tmp_path, lambda data, size: None)
    salvage, found = salvaged(path)
    assert salvage.whole and salvage.unreadable == 0
    assert sorted((value.session, value.number, student) for student, value in found["attempt"]) == sorted(
        (value.session, value.number, student) for kind, student, value in whole if kind == "attempt"
    )
    assert sum(map(len, found.values())) == len(whole)
    assert {value for _, value in found["assignment"]} == {
        KeptAssignment("week-1", 'assignment = "week-1"\n', NOW, "open")
    }
    assert {value for _, value in found["result"]} == {KeptResult("Ada ♭ \u2028", "week-1", "d1", NOW)}


def test_one_lost_page_costs_its_own_rows_only(tmp_path: Path) -> None:
    def harm(data: bytearray, size: int) -> None:
        leaves = [
            at for at in range(size, len(data), size) if data[at] == 0x0D and b'"half_step"' in data[at : at + size]
        ]
        middle = leaves[len(leaves) // 2]
        data[middle : middle + size] = b"\xa5" * size

    path, whole = damaged(tmp_path, harm)
    salvage, found = salvaged(path)
    assert not salvage.whole
    attempts = {value for kind, _, value in whole if kind == "attempt"}
    kept = [value for _, value in found["attempt"]]
    assert set(kept) <= attempts and len(kept) == len(set(kept))
    assert 385 <= len(kept) < 401
    assert len(found["pass"]) == 3


def test_rows_are_found_though_the_way_to_them_is_lost(tmp_path: Path) -> None:
    def harm(data: bytearray, size: int) -> None:
        for at in range(size, len(data), size):
            if data[at] in (0x05, 0x02):  # every page that only leads to others
                data[at : at + size] = b"\x00" * size

    path, whole = damaged(tmp_path, harm)
    with pytest.raises(StorageError, match="damaged"), Records.open(path) as records:
        list(records.attempts())
    _, found = salvaged(path)
    assert {value for _, value in found["attempt"]} == {value for kind, _, value in whole if kind == "attempt"}
    assert {value for _, value in found["pass"]} == {value for kind, _, value in whole if kind == "pass"}


def test_rows_are_found_though_the_schema_is_lost(tmp_path: Path) -> None:
    def harm(data: bytearray, size: int) -> None:
        data[100:size] = b"\x00" * (size - 100)

    path, whole = damaged(tmp_path, harm)
    _, found = salvaged(path)
    assert {value for _, value in found["attempt"]} == {value for kind, _, value in whole if kind == "attempt"}


@pytest.mark.parametrize("steps", [1, 2, 5])
def test_a_damaged_file_of_an_older_version_is_read(tmp_path: Path, steps: int) -> None:
    path = tmp_path / "records.sqlite"
    make_older(path, steps)
    _, found = salvaged(path)
    assert found["attempt"] == [("", CM7)]
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    data = bytearray(path.read_bytes())
    data[100:300] = b"\x00" * 200
    path.write_bytes(bytes(data))
    _, found = salvaged(path)
    assert found["attempt"] == [("", CM7)]
    assert steps <= len(MIGRATIONS)


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_damaged_what_is_found_was_there(tmp_path: Path, seed: int) -> None:
    chance = Random(seed)

    def harm(data: bytearray, size: int) -> None:
        for _ in range(chance.choice((1, 5, 40))):
            at = chance.randrange(len(data))
            length = chance.choice((1, 16, size, 5 * size))
            data[at : at + length] = chance.randbytes(len(data[at : at + length]))
        if chance.random() < 0.3:
            del data[chance.randrange(len(data)) :]

    path, whole = damaged(tmp_path, harm, attempts=60)
    before = path.read_bytes()
    salvage, found = salvaged(path)
    places = {(value.session, value.number) for kind, _, value in whole if kind == "attempt"}
    assert {(value.session, value.number) for _, value in found["attempt"] if value.utc[:4] == "2026"} <= places
    assert path.read_bytes() == before


def test_what_was_not_yet_in_the_file_itself_is_read_from_the_log_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        fill(records, 30)
        assert path.with_name("records.sqlite-wal").stat().st_size > 100_000
        _, found = salvaged(path)
    assert len(found["attempt"]) == 31


def test_a_file_of_nonsense_gives_nothing(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    path.write_bytes(b"SQLite format 3\0" + Random(1).randbytes(50_000))
    salvage, found = salvaged(path)
    assert not salvage.whole and not any(found.values())
    with pytest.raises(StorageError, match="is not there"):
        list(Salvage(tmp_path / "nothing").entries())
