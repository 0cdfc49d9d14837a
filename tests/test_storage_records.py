"""The record of practice: what was committed stays, and a file that cannot be used is explained and left alone."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.storage.files import StorageError
from trainer.storage.records import BACKUPS_KEPT, MIGRATIONS, Migration, Records, sqlite, storable

MISSED = TryRecord(
    held=(51, 55, 59, 62),
    verdicts=(
        VerdictRecord("b3", "right", 51),
        VerdictRecord("5", "right", 55),
        VerdictRecord("b7", "replaced", 59, "7", 1),
        VerdictRecord("9", "right", 62),
    ),
    extra=(),
    right=False,
    cause="half_step",
    causes=("half_step", "wrong_quality"),
    sentence="B for B♭: a half step high.",
    think_ms=812.345,
    spread_ms=14.2,
)
CM7 = Attempt(
    session="a" * 32,
    number=0,
    utc="2026-03-01T18:30:00.000Z",
    set_title="Minor sevenths",
    drill=0,
    chord="Cm7",
    quality="m7",
    root="C",
    voicing="rootless from the third",
    degrees=("b3", "5", "b7", "9"),
    notes=("Eb", "G", "Bb", "D"),
    keys=(51, 55, 58, 62),
    tries=(MISSED,),
    outcome="wrong",
    right_first_try=False,
    response_ms=None,
    settle_ms=None,
    pool_size=12,
    port="Stage piano",
    stamp_origin="callback",
    target_ms=1500.0,
    events=((812345, "down", 51, 64, 0), (1000000, "up", 51, 0, 0)),
)


def clock(day: str = "2026-03-01") -> Callable[[], str]:
    ticks = count()
    return lambda: f"{day}T10:00:00.{next(ticks):03d}Z"


# -- what goes in comes out

texts = st.text(max_size=12)
plain_texts = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
times = st.floats(allow_nan=False, allow_infinity=False)
keys = st.lists(st.integers(0, 127), max_size=6).map(tuple)
verdicts = st.builds(
    VerdictRecord, texts, texts, st.none() | st.integers(0, 127), st.none() | texts, st.integers(-24, 24)
)
tries = st.builds(
    TryRecord,
    held=keys,
    verdicts=st.lists(verdicts, max_size=5).map(tuple),
    extra=keys,
    right=st.booleans(),
    cause=st.none() | plain_texts,
    causes=st.lists(texts, max_size=3).map(tuple),
    sentence=texts,
    think_ms=st.none() | times,
    spread_ms=times,
)
raw_events = st.tuples(
    st.integers(-(2**70), 2**70), texts, st.integers(0, 127), st.integers(0, 127), st.integers(0, 15)
)


def attempts_with(text: st.SearchStrategy[str]) -> st.SearchStrategy[Attempt]:
    whole = st.integers(0, 2**31 - 1)
    return st.builds(
        Attempt,
        session=text,
        number=whole,
        utc=text,
        set_title=text,
        drill=whole,
        chord=text,
        quality=text,
        root=text,
        voicing=text,
        degrees=st.lists(texts, max_size=5).map(tuple),
        notes=st.lists(texts, max_size=5).map(tuple),
        keys=keys,
        tries=st.lists(tries, max_size=3).map(tuple),
        outcome=text,
        right_first_try=st.booleans(),
        response_ms=st.none() | times,
        settle_ms=st.none() | times,
        pool_size=whole,
        hint=text,
        set_aside=text,
        port=text,
        stamp_origin=text,
        target_ms=st.none() | times,
        events=st.lists(raw_events, max_size=4).map(tuple),
        assignment=text,
        rules=text,
        tries_allowed=whole,
    )


@settings(deadline=None)
@given(attempts_with(plain_texts))
def test_an_attempt_comes_back_with_every_try_and_every_raw_event(attempt: Attempt) -> None:
    with Records.open(":memory:") as records:
        assert records.append(attempt)
        assert list(records.attempts()) == [attempt]
    assert storable(attempt) is attempt


@settings(deadline=None)
@given(attempts_with(texts))
def test_a_character_that_no_database_holds_never_costs_the_attempt(attempt: Attempt) -> None:
    with Records.open(":memory:") as records:
        assert records.append(attempt)
        assert list(records.attempts()) == [storable(attempt)]
        assert not records.append(attempt)


def test_a_port_named_with_stray_bytes_is_kept_with_a_replacement_sign() -> None:
    with Records.open(":memory:") as records:
        records.append(replace(CM7, port="Piano \udcff\0"))
        assert [attempt.port for attempt in records.attempts()] == ["Piano \ufffd\ufffd"]


def test_appending_an_attempt_twice_keeps_one() -> None:
    with Records.open(":memory:") as records:
        assert records.append(CM7)
        assert not records.append(CM7)
        assert records.count() == 1


def test_another_attempt_in_the_same_place_is_refused_and_the_first_stays() -> None:
    with Records.open(":memory:") as records:
        records.append(CM7)
        with pytest.raises(StorageError, match="holds another attempt 0"):
            records.append(replace(CM7, chord="Fm7"))
        assert list(records.attempts()) == [CM7]


def test_a_time_that_is_no_number_is_refused() -> None:
    with Records.open(":memory:") as records:
        for broken in (
            replace(CM7, response_ms=float("nan")),
            replace(CM7, settle_ms=float("inf")),
            replace(CM7, tries=(replace(MISSED, think_ms=float("nan")),)),
        ):
            with pytest.raises(StorageError, match="finite"):
                records.append(broken)
        assert records.count() == 0


def test_attempts_come_in_order_of_time_over_many_pages() -> None:
    several = [
        replace(CM7, session=f"{number % 3}", number=number, utc=f"2026-03-01T18:{number // 60 % 60:02d}:00.000Z")
        for number in range(1234)
    ]
    with Records.open(":memory:") as records:
        for attempt in reversed(several):
            records.append(attempt)
        ordered = sorted(several, key=lambda attempt: (attempt.utc, attempt.session, attempt.number))
        assert list(records.attempts()) == ordered


def test_attempts_can_be_asked_for_by_day_set_session_and_port() -> None:
    first = replace(CM7, number=0, utc="2026-03-01T23:59:59.999Z", port="Upright")
    second = replace(CM7, number=1, utc="2026-03-02T00:00:00.000Z", set_title="Dominants")
    third = replace(CM7, number=0, session="b" * 32, utc="2026-03-03T00:00:00.000Z")
    with Records.open(":memory:") as records:
        for attempt in (first, second, third):
            records.append(attempt)
        assert list(records.attempts(until="2026-03-02")) == [first]
        assert list(records.attempts(since="2026-03-02")) == [second, third]
        assert list(records.attempts(since="2026-03-02", until="2026-03-03")) == [second]
        assert list(records.attempts(set_title="Dominants")) == [second]
        assert list(records.attempts(session="b" * 32)) == [third]
        assert list(records.attempts(port="Upright")) == [first]
        assert list(records.attempts(port="Upright", set_title="Dominants")) == []


def test_attempts_can_be_read_without_their_raw_events() -> None:
    with Records.open(":memory:") as records:
        records.append(CM7)
        assert list(records.attempts(with_events=False)) == [replace(CM7, events=())]


def test_one_may_append_while_reading() -> None:
    with Records.open(":memory:") as records:
        records.append(CM7)
        for attempt in records.attempts(until="2026-03-02"):
            records.append(replace(attempt, number=1, utc="2026-03-02T00:00:00.000Z"))
        assert records.count() == 2


def test_figures_can_be_had_in_plain_sql(tmp_path: Path) -> None:
    right = replace(CM7, number=1, tries=(replace(MISSED, right=True, cause=None),), right_first_try=True)
    with Records.open(tmp_path / "records.sqlite") as records:
        records.append(CM7)
        records.append(replace(right, outcome="right", response_ms=900.0))
    with sqlite3.connect(tmp_path / "records.sqlite") as connection:
        rows = connection.execute(
            "SELECT root, cause, AVG(response_ms), SUM(right_first_try) FROM attempts GROUP BY root, cause ORDER BY 2"
        ).fetchall()
    connection.close()
    assert rows == [("C", None, 900.0, 1), ("C", "half_step", None, 0)]


# -- the schema


FIRST_COLUMNS = (
    "session number utc set_title drill chord quality root voicing degrees notes keys outcome right_first_try "
    "cause think_ms spread_ms response_ms settle_ms target_ms pool_size hint set_aside port stamp_origin tries events"
).split()
CM7_AS_FIRST_WRITTEN = (
    "a" * 32, 0, "2026-03-01T18:30:00.000Z", "Minor sevenths", 0, "Cm7", "m7", "C", "rootless from the third",
    '["b3","5","b7","9"]', '["Eb","G","Bb","D"]', "[51,55,58,62]", "wrong", 0,
    "half_step", 812.345, 14.2, None, None, 1500.0, 12, "", "", "Stage piano", "callback",
    '[[[51,55,59,62],[["b3","right",51,null,0],["5","right",55,null,0],["b7","replaced",59,"7",1],'
    '["9","right",62,null,0]],[],false,"half_step",["half_step","wrong_quality"],'
    '"B for B\\u266d: a half step high.",812.345,14.2]]',
    '[[812345,"down",51,64,0],[1000000,"up",51,0,0]]',
)  # fmt: skip
"""`CM7` as the first two versions of the schema held it, written down so that no code of today takes part."""


def make_older(path: Path, steps: int) -> None:
    """A record as the first `steps` migrations left it, with one attempt, written without the program."""
    columns, values = list(FIRST_COLUMNS), list(CM7_AS_FIRST_WRITTEN)
    if steps >= 3:
        columns += ["student", "assignment", "rules", "tries_allowed"]
        values += ["", "", "", 0]
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("CREATE TABLE migrations (name TEXT PRIMARY KEY, applied_utc TEXT NOT NULL)")
    for migration in MIGRATIONS[:steps]:
        for statement in migration.statements:
            connection.execute(statement)
        connection.execute("INSERT INTO migrations VALUES (?, '2026-03-01T18:31:00.000Z')", (migration.name,))
    connection.execute(f"INSERT INTO attempts ({', '.join(columns)}) VALUES ({', '.join('?' * len(values))})", values)
    connection.close()


@pytest.mark.parametrize("steps", range(1, len(MIGRATIONS) + 1))
def test_a_record_of_every_older_version_is_brought_up_to_date_with_nothing_lost(tmp_path: Path, steps: int) -> None:
    path = tmp_path / "records.sqlite"
    make_older(path, steps)
    with Records.open(path, utc_now=clock()) as records:
        assert list(records.attempts()) == [CM7]
        assert records.append(replace(CM7, number=1))
        assert records.check() == ()
        assert len(records.backups()) == 1
        assert ("before a change" in records.backups()[0].name) == (steps < len(MIGRATIONS))
    with sqlite3.connect(path) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM migrations ORDER BY name")]
    connection.close()
    assert names == [migration.name for migration in MIGRATIONS]


def test_every_version_ends_in_the_same_schema(tmp_path: Path) -> None:
    schemas = []
    for steps in range(1, len(MIGRATIONS) + 1):
        path = tmp_path / f"{steps}.sqlite"
        make_older(path, steps)
        Records.open(path).close()
        connection = sqlite3.connect(path)
        schemas.append(sorted(connection.execute("SELECT name, sql FROM sqlite_master")))
        connection.close()
    assert all(schema == schemas[0] for schema in schemas)


def test_an_empty_file_becomes_a_record(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    path.touch()
    with Records.open(path) as records:
        assert records.append(CM7)


def test_the_steps_of_the_schema_are_numbered_from_one() -> None:
    assert [migration.name[:5] for migration in MIGRATIONS] == [f"{n:04d} " for n in range(1, len(MIGRATIONS) + 1)]


def test_the_schema_uses_nothing_that_only_sqlite_understands() -> None:
    words = " ".join(statement for migration in MIGRATIONS for statement in migration.statements).upper()
    for peculiar in ("AUTOINCREMENT", "WITHOUT ROWID", "PRAGMA", "STRICT", " REAL", "BLOB", "DATETIME", "OR IGNORE"):
        assert peculiar not in words


def test_a_step_that_fails_leaves_the_record_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    Records.open(path).close()
    broken = Migration("0099 broken", ("CREATE TABLE halfway (a INTEGER)", "CREATE TABLE halfway (a INTEGER)"))
    with pytest.raises(StorageError):
        Records.open(path, migrations=(*MIGRATIONS, broken))
    with Records.open(path) as records:
        assert records.append(CM7)
    connection = sqlite3.connect(path)
    assert "halfway" not in {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    connection.close()


def test_a_record_of_a_newer_version_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    newer = Migration("0099 something new", ("ALTER TABLE attempts ADD COLUMN mood TEXT",))
    Records.open(path, migrations=(*MIGRATIONS, newer)).close()
    before = path.read_bytes()
    with pytest.raises(StorageError, match="newer version") as told:
        Records.open(path)
    assert str(path) in str(told.value) and "0099 something new" in str(told.value)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


# -- copies


def test_a_copy_is_made_once_a_day_and_the_last_ones_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    for day in range(1, 12):
        for number in range(2):
            with Records.open(path, utc_now=clock(f"2026-03-{day:02d}")) as records:
                records.append(replace(CM7, number=2 * day + number))
                copies = records.backups()
    assert len(copies) == BACKUPS_KEPT
    assert [copy.name for copy in copies] == sorted(copy.name for copy in (tmp_path / "backups").iterdir())
    assert "20260311" in copies[-1].name
    with Records.open(copies[-1]) as records:
        assert records.count() == 20


def test_the_copies_of_another_record_in_the_same_folder_are_let_alone(tmp_path: Path) -> None:
    for day in range(1, 12):
        for name in ("records.sqlite", "records [two].sqlite"):
            Records.open(tmp_path / name, utc_now=clock(f"2026-03-{day:02d}")).close()
    assert len(list((tmp_path / "backups").iterdir())) == 2 * BACKUPS_KEPT


def test_no_room_for_todays_copy_does_not_stop_practice(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    Records.open(path).close()
    (tmp_path / "backups").write_text("in the way")
    with Records.open(path) as records:
        assert records.append(CM7)
        assert "could not be made" in records.notices[0]


def test_a_long_record_is_copied_beside_the_practice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "records.sqlite"
    Records.open(path).close()
    monkeypatch.setattr(sqlite, "CARED_FOR_AT_ONCE_BYTES", 0)
    with Records.open(path) as records:
        number = count()
        deadline = time.monotonic() + 20
        while not records.backups() and time.monotonic() < deadline:
            assert records.append(replace(CM7, number=next(number)))
        assert len(records.backups()) == 1 and records.notices == []
    with Records.open(records.backups()[0]) as copied:
        assert copied.check() == ()


def test_a_program_that_ends_before_its_copy_is_made_leaves_nothing_half_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        for number in range(200):
            records.append(replace(CM7, number=number, events=CM7.events * 200))
    monkeypatch.setattr(sqlite, "CARED_FOR_AT_ONCE_BYTES", 0)
    for _ in range(20):
        Records.open(path).close()
    assert list((tmp_path / "backups").glob("*.new*")) == []
    with Records.open(path) as records:
        assert records.count() == 200


def test_damage_in_a_long_record_is_told_when_it_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        for number in range(100):
            records.append(replace(CM7, number=number))
    damage(path)
    monkeypatch.setattr(sqlite, "CARED_FOR_AT_ONCE_BYTES", 0)
    records = Records.open(path)
    deadline = time.monotonic() + 20
    while not records.notices and time.monotonic() < deadline:
        time.sleep(0.01)
    records.close()
    assert "is damaged" in records.notices[0] and records.backups() == ()


def test_old_copies_of_a_very_long_record_take_no_more_room_than_is_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "BACKUP_BYTES_KEPT", 1)
    path = tmp_path / "records.sqlite"
    for day in range(1, 6):
        Records.open(path, utc_now=clock(f"2026-03-{day:02d}")).close()
    assert len(list((tmp_path / "backups").iterdir())) == 2


def test_the_schema_is_not_changed_without_a_copy(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    make_older(path, 1)
    (tmp_path / "backups").write_text("in the way")
    with pytest.raises(StorageError, match="folder is needed"):
        Records.open(path)


# -- programs that end in the middle, and several at once

WRITER = """
import sys
from dataclasses import replace
from tests.test_storage_records import CM7
from trainer.storage.records import Records
with Records.open(sys.argv[1]) as records:
    for number in range(int(sys.argv[3])):
        records.append(replace(CM7, session=sys.argv[2], number=number))
        print(number, flush=True)
"""
ROOT = Path(__file__).parents[1]


def start_writer(path: Path, session: str, attempts: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), session, str(attempts)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("after", [1, 37, 1200])
def test_a_program_killed_while_appending_loses_no_attempt_that_it_was_told_is_kept(tmp_path: Path, after: int) -> None:
    path = tmp_path / "records.sqlite"
    with start_writer(path, "s", 1_000_000) as writer:
        assert writer.stdout is not None
        told = [int(writer.stdout.readline()) for _ in range(after)]
        writer.kill()
        told += [int(line) for line in writer.stdout if line.endswith("\n")]
    with Records.open(path) as records:
        kept = [attempt.number for attempt in records.attempts()]
        assert records.check() == ()
    assert kept[: len(told)] == told
    assert len(kept) - len(told) in (0, 1)


def test_two_programs_write_at_once_and_both_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    writers = [start_writer(path, session, 300) for session in ("one", "two")]
    for writer in writers:
        writer.communicate()
        assert writer.returncode == 0
    with Records.open(path) as records:
        assert records.count() == 600
        assert [a.number for a in records.attempts(session="two")] == list(range(300))
        assert records.check() == ()


def test_several_programs_may_begin_the_same_record_at_once(tmp_path: Path) -> None:
    for trial in range(10):
        path = tmp_path / f"{trial}.sqlite"
        faults: list[StorageError] = []
        barrier = threading.Barrier(4)

        def begin(
            number: int, path: Path = path, barrier: threading.Barrier = barrier, faults: list[StorageError] = faults
        ) -> None:
            barrier.wait()
            try:
                with Records.open(path) as records:
                    records.append(replace(CM7, number=number))
            except StorageError as error:
                faults.append(error)

        threads = [threading.Thread(target=begin, args=(number,)) for number in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert faults == []
        with Records.open(path) as records:
            assert records.count() == 4


def test_a_reader_does_not_hold_up_a_writer(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as writer, Records.open(path, busy_timeout_ms=0) as reader:
        writer.append(CM7)
        going = reader.attempts()
        assert next(going) == CM7
        assert writer.append(replace(CM7, number=1))
        assert reader.append(replace(CM7, number=2))


# -- files that cannot be used


def test_a_record_that_another_program_keeps_locked_is_reported_after_the_wait(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path, busy_timeout_ms=50) as records:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StorageError, match="in use by another program") as told:
            records.append(CM7)
        assert str(path) in str(told.value)
        other.execute("ROLLBACK")
        other.close()
        assert records.append(CM7)


def test_a_disk_that_is_full_is_reported_and_the_attempt_can_be_kept_later(tmp_path: Path) -> None:
    long = replace(CM7, events=CM7.events * 10_000)
    with Records.open(tmp_path / "records.sqlite") as records:
        records.append(CM7)
        [[pages]] = records._connection.execute("PRAGMA page_count").fetchall()
        records._connection.execute(f"PRAGMA max_page_count = {pages}").fetchall()
        with pytest.raises(StorageError, match="the disk is full; free some space"):
            records.append(replace(long, number=1))
        assert list(records.attempts()) == [CM7]
        records._connection.execute("PRAGMA max_page_count = 100000").fetchall()
        assert records.append(replace(long, number=1))


FULL_DISK = """
import resource, sys
from dataclasses import replace
from tests.test_storage_records import CM7
from trainer.storage.files import StorageError
from trainer.storage.records import Records
with Records.open(sys.argv[1]) as records:
    records.append(CM7)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
    try:
        for number in range(1, 1000):
            records.append(replace(CM7, number=number))
    except StorageError as error:
        print(number, error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on file size")
def test_a_write_that_the_system_refuses_is_explained_and_costs_nothing_already_kept(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    ended = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)], capture_output=True, text=True, cwd=ROOT, check=True
    )
    number, _, told = ended.stdout.partition(" ")
    assert str(path) in told and "disk" in told
    with Records.open(path) as records:
        assert [attempt.number for attempt in records.attempts()] == list(range(int(number)))
        assert records.check() == ()


@pytest.mark.parametrize(
    "content",
    [b"title = 'not a database'\n", b"x", b"SQLite format 3\0" + b"nonsense" * 100],
    ids=["text", "x", "head"],
)
def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "records.sqlite"
    path.write_bytes(content)
    with pytest.raises(StorageError, match="is not a record of practice|is damaged") as told:
        Records.open(path)
    assert str(path) in str(told.value)
    assert path.read_bytes() == content


def test_somebody_elses_database_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "recipes.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (cake TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(StorageError, match="is not a record of practice"):
        Records.open(path)
    assert path.read_bytes() == before


def damage(path: Path) -> None:
    """Overwrite the second half with nonsense: the rows, not the schema."""
    content = bytearray(path.read_bytes())
    assert len(content) > 40_000
    half = len(content) // 2
    content[half:] = b"\xa5" * (len(content) - half)
    path.write_bytes(content)


def test_a_damaged_record_is_refused_and_the_latest_copy_named(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path, utc_now=clock("2026-03-01")) as records:
        for number in range(100):
            records.append(replace(CM7, number=number))
    Records.open(path, utc_now=clock("2026-03-02")).close()
    damage(path)
    before = path.read_bytes()
    with pytest.raises(StorageError, match=r"is damaged; .* put .*records 20260302T.*\.sqlite in its place"):
        Records.open(path, utc_now=clock("2026-03-03"))
    assert path.read_bytes() == before
    with Records.open(tmp_path / "other.sqlite") as records:
        assert records.check() == ()


def test_damage_met_while_reading_is_a_storage_error(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path, utc_now=clock()) as records:
        for number in range(100):
            records.append(replace(CM7, number=number))
    Records.open(path, utc_now=clock()).close()
    damage(path)
    with Records.open(path, utc_now=clock()) as records:
        assert records.check()
        with pytest.raises(StorageError, match="is damaged"):
            list(records.attempts())


def test_a_row_that_cannot_be_read_is_a_storage_error(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        records.append(CM7)
        records._connection.execute("UPDATE attempts SET tries = '[[1]]'")
        with pytest.raises(StorageError, match="is damaged"):
            list(records.attempts())


def test_a_folder_that_lies_below_a_file_is_explained(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="folder is needed"):
        Records.open(tmp_path / "file" / "deeper" / "records.sqlite")


def test_a_folder_in_the_place_of_the_record_is_explained(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="is a folder"):
        Records.open(tmp_path)


@pytest.fixture
def ordinary_folder() -> Iterator[Path]:
    """A folder of an ordinary user, and being that user: for root, permissions forbid nothing."""
    if not hasattr(os, "geteuid"):
        pytest.skip("needs POSIX permissions")
    with tempfile.TemporaryDirectory() as name:
        am_root = os.geteuid() == 0
        if am_root:
            os.chown(name, 65534, 65534)
            os.seteuid(65534)
        try:
            yield Path(name)
        finally:
            if am_root:
                os.seteuid(0)
            Path(name).chmod(0o700)


@pytest.mark.parametrize(
    ("file_mode", "folder_mode", "told"),
    [
        (0o400, 0o700, "may not be written; allow yourself to write it"),
        (0o000, 0o700, "may not be opened; allow yourself"),
        (0o600, 0o500, "cannot be opened; allow yourself|may not be written; allow yourself"),
    ],
    ids=["read-only file", "forbidden file", "read-only folder"],
)
def test_a_record_that_may_not_be_written_is_explained(
    ordinary_folder: Path, file_mode: int, folder_mode: int, told: str
) -> None:
    path = ordinary_folder / "records.sqlite"
    with Records.open(path) as records:
        records.append(CM7)
    path.chmod(file_mode)
    ordinary_folder.chmod(folder_mode)
    with pytest.raises(StorageError, match=told) as error:
        with Records.open(path) as records:
            records.append(replace(CM7, number=1))
    assert str(path) in str(error.value)


def test_no_record_can_be_begun_in_a_folder_that_may_not_be_written(ordinary_folder: Path) -> None:
    ordinary_folder.chmod(0o500)
    with pytest.raises(StorageError, match="cannot be opened; allow yourself"):
        Records.open(ordinary_folder / "records.sqlite")
    with pytest.raises(StorageError, match="may not be opened; allow yourself"):
        Records.open(ordinary_folder / "deeper" / "records.sqlite")


def test_a_record_that_may_only_be_read_says_so_when_written(tmp_path: Path) -> None:
    with Records.open(tmp_path / "records.sqlite") as records:
        records._connection.execute("PRAGMA query_only = ON")
        with pytest.raises(StorageError, match="may not be written"):
            records.append(CM7)


def test_a_record_that_was_closed_takes_nothing_more() -> None:
    records = Records.open(":memory:")
    records.close()
    records.close()
    with pytest.raises(StorageError):
        records.append(CM7)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("ab"), st.integers(0, 5)), max_size=12))
def test_appending_is_the_same_in_any_number_of_repeats(places: list[tuple[str, int]]) -> None:
    with Records.open(":memory:") as records:
        for session, number in places:
            records.append(replace(CM7, session=session, number=number))
        assert [(a.session, a.number) for a in records.attempts()] == sorted(set(places))
