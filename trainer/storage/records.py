"""The record of practice: every attempt, committed the moment it is decided.

One SQLite file, opened by any number of programs at once. The log of attempts is the truth, figures and schedules
are computed from it; so attempts are added and never changed, but for the one being decided.

    with Records.open(places.records) as records:
        records.append(attempt)                       # on disk when this returns
        figures = by_root(records.attempts(since="2026-03-01"))

Every statement that defines, writes or reads attempts keeps to what SQLite and PostgreSQL both understand
(``ON CONFLICT DO NOTHING``, row values, ``DOUBLE PRECISION``, 0 and 1 for no and yes); only the placeholder differs.
What is peculiar to SQLite (pragmas, the backup) has functions of its own.

Columns are named like the fields of `Attempt`. ``cause``, ``think_ms`` and ``spread_ms`` repeat those of the first
try, so that figures can be had in SQL. Lists are JSON text without spaces: ``degrees``, ``notes`` and ``keys`` plain
lists, ``events`` a list of [microseconds, kind, key, value, channel], ``tries`` a list of
[held, verdicts, extra, right, cause, causes, sentence, think_ms, spread_ms] with each verdict as
[degree, verdict, key, by, semitones]. A four-note chord with its raw events takes some 950 bytes, index included
(measured by ``tests/benchmarks/bench_records.py``).

Committed means: survives the end of the program however it ends. Against a power cut it is safe from damage, but the
last attempts may be missing (SQLite's WAL with synchronous=NORMAL; see SQLite's own documentation of both).
"""

from __future__ import annotations

import json
import math
import os
import re
import sqlite3
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.storage.files import StorageError, UtcNow, make_folder, trouble, utc_now

BUSY_TIMEOUT_MS: Final = 5_000
"""How long to wait for another program that is writing; an append of theirs takes less than a millisecond."""

BACKUPS_KEPT: Final = 7

_PAGE: Final = 500


@dataclass(frozen=True, slots=True)
class Migration:
    """One step of the schema: its number and name, and the statements that take it."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS: Final = (
    Migration(
        "0001 attempts",
        (
            """
            CREATE TABLE attempts (
                session TEXT NOT NULL,
                number INTEGER NOT NULL,
                utc TEXT NOT NULL,
                set_title TEXT NOT NULL,
                drill INTEGER NOT NULL,
                chord TEXT NOT NULL,
                quality TEXT NOT NULL,
                root TEXT NOT NULL,
                voicing TEXT NOT NULL,
                degrees TEXT NOT NULL,
                notes TEXT NOT NULL,
                keys TEXT NOT NULL,
                outcome TEXT NOT NULL,
                right_first_try SMALLINT NOT NULL CHECK (right_first_try IN (0, 1)),
                cause TEXT,
                think_ms DOUBLE PRECISION,
                spread_ms DOUBLE PRECISION,
                response_ms DOUBLE PRECISION,
                settle_ms DOUBLE PRECISION,
                target_ms DOUBLE PRECISION,
                pool_size INTEGER NOT NULL,
                hint TEXT NOT NULL,
                set_aside TEXT NOT NULL,
                port TEXT NOT NULL,
                stamp_origin TEXT NOT NULL,
                tries TEXT NOT NULL,
                events TEXT NOT NULL,
                PRIMARY KEY (session, number)
            )
            """,
        ),
    ),
    Migration("0002 attempts in order of time", ("CREATE INDEX attempts_by_time ON attempts (utc, session, number)",)),
)
"""The schema, step by step. A step that has been released is never changed; a new one is added below it."""

_MIGRATIONS_TABLE: Final = "CREATE TABLE IF NOT EXISTS migrations (name TEXT PRIMARY KEY, applied_utc TEXT NOT NULL)"

_COLUMNS: Final = (
    "session number utc set_title drill chord quality root voicing degrees notes keys outcome right_first_try "
    "cause think_ms spread_ms response_ms settle_ms target_ms pool_size hint set_aside port stamp_origin tries events"
).split()

_INSERT: Final = (
    f"INSERT INTO attempts ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))}) "
    "ON CONFLICT (session, number) DO NOTHING"
)
_REPLACE: Final = (
    f"INSERT INTO attempts ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))}) "
    "ON CONFLICT (session, number) DO UPDATE SET "
    + ", ".join(f"{column} = excluded.{column}" for column in _COLUMNS if column not in ("session", "number"))
)
_SELECT: Final = f"SELECT {', '.join(_COLUMNS)} FROM attempts"
_SELECT_WITHOUT_EVENTS: Final = f"SELECT {', '.join(_COLUMNS[:-1])}, '[]' FROM attempts"
_IN_ORDER: Final = "ORDER BY utc, session, number LIMIT ?"


# -- attempts as rows


def _json(value: object) -> str:
    return json.dumps(value, separators=(",", ":"), allow_nan=False)


def _row(attempt: Attempt) -> tuple[object, ...]:
    """An attempt as the values of `_COLUMNS`. Raises ValueError where a time is no finite number."""
    first = attempt.tries[0] if attempt.tries else None
    tries = [
        (
            one.held,
            [(said.degree, said.verdict, said.key, said.by, said.semitones) for said in one.verdicts],
            one.extra,
            one.right,
            one.cause,
            one.causes,
            one.sentence,
            one.think_ms,
            one.spread_ms,
        )
        for one in attempt.tries
    ]
    computed = {
        "degrees": _json(attempt.degrees),
        "notes": _json(attempt.notes),
        "keys": _json(attempt.keys),
        "right_first_try": int(attempt.right_first_try),
        "cause": first.cause if first is not None else None,
        "think_ms": first.think_ms if first is not None else None,
        "spread_ms": first.spread_ms if first is not None else None,
        "tries": _json(tries),
        "events": _json(attempt.events),
    }
    row = tuple(computed[name] if name in computed else getattr(attempt, name) for name in _COLUMNS)
    for name, value in zip(_COLUMNS, row, strict=True):
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{name} is {value}")  # SQLite would keep "not a number" as nothing at all
    return row


@lru_cache(maxsize=4096)
def _list(text: str) -> tuple[Any, ...]:
    """A plain list of a row; the same few come again and again."""
    return tuple(json.loads(text))


_verdict: Final = lru_cache(maxsize=4096, typed=True)(VerdictRecord)


def _attempt(row: Sequence[Any]) -> Attempt:
    """The attempt that `_row` took apart."""
    values = dict(zip(_COLUMNS, row, strict=True))
    for first_try_only in ("cause", "think_ms", "spread_ms"):
        del values[first_try_only]
    for name in ("degrees", "notes", "keys"):
        values[name] = _list(values[name])
    values["right_first_try"] = bool(values["right_first_try"])
    values["events"] = tuple(map(tuple, json.loads(values["events"]))) if values["events"] != "[]" else ()
    values["tries"] = tuple(
        TryRecord(
            held=tuple(held),
            verdicts=tuple([_verdict(*said) for said in verdicts]),
            extra=tuple(extra),
            right=right,
            cause=cause,
            causes=tuple(causes),
            sentence=sentence,
            think_ms=think_ms,
            spread_ms=spread_ms,
        )
        for held, verdicts, extra, right, cause, causes, sentence, think_ms, spread_ms in json.loads(values["tries"])
    )
    return Attempt(**values)


_TEXT_FIELDS: Final = tuple(field.name for field in fields(Attempt) if field.type == "str")
_NOT_STORABLE: Final = re.compile("[\0\ud800-\udfff]")


def storable(attempt: Attempt) -> Attempt:
    """The attempt with every character that a database cannot hold as text replaced by U+FFFD.

    Those are NUL and lone surrogates; they come in, if at all, with the name of a port or the title of a set. Any
    other attempt is returned as it is.
    """
    changed: dict[str, Any] = {
        name: _NOT_STORABLE.sub("\ufffd", getattr(attempt, name))
        for name in _TEXT_FIELDS
        if _NOT_STORABLE.search(getattr(attempt, name))
    }
    tries = tuple(
        replace(one, cause=_NOT_STORABLE.sub("\ufffd", one.cause))
        if one.cause is not None and _NOT_STORABLE.search(one.cause)
        else one
        for one in attempt.tries
    )
    return replace(attempt, tries=tries, **changed) if changed or tries != attempt.tries else attempt


# -- the file


class Records:
    """The attempts of one player, in one file. Use it on the thread that opened it.

    `notices` are sentences for the player about what went wrong without stopping anything.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, utc_now: UtcNow) -> None:
        """Internal; use `Records.open`."""
        self._connection = connection
        self.path = path
        self._utc_now = utc_now
        self.notices: list[str] = []

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        utc_now: UtcNow = utc_now,
        busy_timeout_ms: int = BUSY_TIMEOUT_MS,
        migrations: Sequence[Migration] = MIGRATIONS,
    ) -> Records:
        """Open the record, or begin one; the folder is created. ``:memory:`` gives one that ends with the program.

        An older file is brought up to date after a copy was laid into ``backups`` beside it; once a day the file is
        checked and copied there too, and the last `BACKUPS_KEPT` copies are kept. A file that is damaged, of a newer
        version of this program or no record of practice is left as it is. Raises `StorageError`.
        """
        where = Path(path)
        in_memory = str(path) == ":memory:"
        if not in_memory:
            make_folder(where.parent)
            _refuse_foreign_file(where)
        with _explained(where):
            connection = sqlite3.connect(str(path), timeout=busy_timeout_ms / 1000, isolation_level=None)
        records = cls(connection, where, utc_now)
        try:
            with _explained(where):
                records._prepare(migrations, in_memory)
        except BaseException:
            connection.close()
            raise
        return records

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; closing twice does nothing."""
        self._connection.close()

    # -- attempts

    def append(self, attempt: Attempt, *, replacing: bool = False) -> bool:
        """Add an attempt; it is committed when this returns. True when it was new.

        With `replacing` it takes the place of one recorded under its number moments ago: a chord taken for right that
        one key more turned wrong (see `trainer.session`).

        An attempt that is there already (same session and number) is not added again. Raises `StorageError`, also
        where another attempt has its place; nothing is changed then, and the attempt can be appended again.
        """
        attempt = storable(attempt)
        try:
            row = _row(attempt)
        except ValueError as error:
            raise StorageError(
                self.path, f"cannot take attempt {attempt.number} ({error})", "every time must be a finite number"
            ) from error
        with _explained(self.path):
            if self._connection.execute(_REPLACE if replacing else _INSERT, row).rowcount == 1:
                return True
            there = self._connection.execute(
                f"{_SELECT} WHERE session = ? AND number = ?", (attempt.session, attempt.number)
            ).fetchone()
        if there is None or _attempt(there) != attempt:
            raise StorageError(
                self.path,
                f"holds another attempt {attempt.number} of session {attempt.session}",
                "begin a session under a new name",
            )
        return False

    def attempts(
        self,
        since: str | None = None,
        until: str | None = None,
        set_title: str | None = None,
        session: str | None = None,
        port: str | None = None,
        *,
        with_events: bool = True,
    ) -> Iterator[Attempt]:
        """The attempts in order of time, all of them where nothing is asked for.

        `since` (included) and `until` (excluded) are the beginnings of UTC times, as in ``2026-03-01``. No lock is
        held between two attempts; what is appended meanwhile is met if it lies ahead. Figures and schedules need no raw
        events: without them (`events` is then empty) reading is quicker. Raises `StorageError`.
        """
        asked = [
            (condition, value)
            for condition, value in (
                ("utc >= ?", since),
                ("utc < ?", until),
                ("set_title = ?", set_title),
                ("session = ?", session),
                ("port = ?", port),
            )
            if value is not None
        ]
        select = _SELECT if with_events else _SELECT_WITHOUT_EVENTS
        last: tuple[str, str, int] | None = None
        while True:
            conditions = [condition for condition, _ in asked]
            values: list[object] = [value for _, value in asked]
            if last is not None:
                conditions.append("(utc, session, number) > (?, ?, ?)")
                values += last
            where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
            with _explained(self.path):
                rows = self._connection.execute(f"{select}{where} {_IN_ORDER}", (*values, _PAGE)).fetchall()
                page = [_attempt(row) for row in rows]
            yield from page
            if len(page) < _PAGE:
                return
            last = (page[-1].utc, page[-1].session, page[-1].number)

    def count(self) -> int:
        """How many attempts there are. Raises `StorageError`."""
        with _explained(self.path):
            return int(self._connection.execute("SELECT COUNT(*) FROM attempts").fetchone()[0])

    # -- care of the file

    def check(self) -> tuple[str, ...]:
        """Every fault that SQLite's full integrity check finds, and none where the file is sound."""
        try:
            rows = self._connection.execute("PRAGMA integrity_check").fetchall()
        except sqlite3.Error as error:
            return (str(error),)
        return tuple(str(row[0]) for row in rows if row[0] != "ok")

    def back_up(self, reason: str = "") -> Path:
        """Copy the record into ``backups`` beside it, keep the last `BACKUPS_KEPT`, and give the copy's path.

        Other programs may go on writing meanwhile. Raises `StorageError`.
        """
        folder = self._backup_folder
        make_folder(folder)
        stamp = re.sub(r"[-:.]", "", self._utc_now())
        target = folder / f"{self.path.stem} {stamp}{' ' + reason if reason else ''}.sqlite"
        unfinished = target.with_suffix(f".{os.getpid()}.new")
        try:
            with _explained(target):
                copy = sqlite3.connect(unfinished)
                try:
                    self._connection.backup(copy)
                finally:
                    copy.close()
            os.replace(unfinished, target)
            for old in self.backups()[:-BACKUPS_KEPT]:
                old.unlink(missing_ok=True)
        except OSError as error:
            raise trouble(target, error) from error
        finally:
            for rest in ("", "-wal", "-shm", "-journal"):
                Path(f"{unfinished}{rest}").unlink(missing_ok=True)
        return target

    def backups(self) -> tuple[Path, ...]:
        """The copies of this record, oldest first."""
        return _backups(self.path)

    @property
    def _backup_folder(self) -> Path:
        return self.path.parent / "backups"

    def _prepare(self, migrations: Sequence[Migration], in_memory: bool) -> None:
        known = [migration.name for migration in migrations]
        applied = self._applied()
        tables = self._tables()
        if tables and "migrations" not in tables:
            raise _foreign(self.path)
        if unknown := sorted(applied - set(known)):
            raise StorageError(
                self.path,
                f"was written by a newer version of this program (step {unknown[0]!r} is not known here)",
                "install the newer version; the file was left as it is",
            )
        self._connection.execute("PRAGMA foreign_keys = ON")
        if not in_memory:
            self._use_write_ahead_log()
            self._connection.execute("PRAGMA synchronous = NORMAL")
            if applied:
                self._care_for(behind=applied != set(known))
        if applied != set(known):
            self._migrate(migrations)

    def _tables(self) -> set[str]:
        rows = self._connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        return {str(row[0]) for row in rows}

    def _applied(self) -> set[str]:
        if "migrations" not in self._tables():
            return set()
        return {str(row[0]) for row in self._connection.execute("SELECT name FROM migrations")}

    def _use_write_ahead_log(self) -> None:
        """Readers and a writer then never wait for each other. On a disk that cannot do it, the slower way serves."""
        deadline = time.monotonic() + 2
        while True:
            try:
                self._connection.execute("PRAGMA journal_mode = WAL").fetchone()
                return
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorname.startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
                if not busy or time.monotonic() > deadline:
                    if busy:
                        return
                    raise
                time.sleep(0.01)

    def _care_for(self, behind: bool) -> None:
        """Check and copy the file before its schema changes, else once a day."""
        today = self._utc_now()[:10].replace("-", "")
        if not behind and any(f" {today}T" in copy.name for copy in self.backups()):
            return
        faults = self._connection.execute("PRAGMA quick_check(1)").fetchall()
        if faults != [("ok",)]:
            raise _damaged(self.path)
        try:
            self.back_up("before a change" if behind else "")
        except StorageError as error:
            if behind:
                raise
            self.notices.append(f"Today's copy of your record could not be made: {error}")

    def _migrate(self, migrations: Sequence[Migration]) -> None:
        """Take the steps that are missing, all or none; another program may have taken them meanwhile."""
        connection = self._connection
        connection.execute("BEGIN IMMEDIATE")
        try:
            connection.execute(_MIGRATIONS_TABLE)
            applied = self._applied()
            for migration in migrations:
                if migration.name not in applied:
                    for statement in migration.statements:
                        connection.execute(statement)
                    connection.execute("INSERT INTO migrations VALUES (?, ?)", (migration.name, self._utc_now()))
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


# -- faults


def _backups(path: Path) -> tuple[Path, ...]:
    return tuple(sorted((path.parent / "backups").glob(f"{_literal(path.stem)} ????????T*.sqlite")))


def _literal(text: str) -> str:
    """A name as a glob pattern that matches only itself."""
    return re.sub(r"([\[\]*?])", r"[\1]", text)


def _damaged(path: Path) -> StorageError:
    copies = _backups(path)
    away = "move it away with the files beside it that end in -wal and -shm"
    remedy = f"{away}, then put {copies[-1]} in its place" if copies else f"{away} to begin a new record"
    return StorageError(path, "is damaged", remedy)


def _foreign(path: Path) -> StorageError:
    return StorageError(path, "is not a record of practice", "move it away or name another file; it was left as it is")


def _refuse_foreign_file(path: Path) -> None:
    """Turn away what is no database before SQLite could touch it. An empty file is as good as none."""
    try:
        if not path.exists():
            return
        if not path.is_file() and not path.is_dir():
            raise _foreign(path)  # reading a pipe might wait for ever
        with path.open("rb") as file:
            start = file.read(16)
    except OSError as error:
        raise trouble(path, error) from error
    if start and start != b"SQLite format 3\0":
        raise _foreign(path)


_SQLITE_FINDINGS: Final[dict[str, tuple[str, str]]] = {
    "SQLITE_BUSY": ("is in use by another program", "close that program or wait a moment, then try again"),
    "SQLITE_LOCKED": ("is in use by another program", "close that program or wait a moment, then try again"),
    "SQLITE_READONLY": ("may not be written", "allow yourself to write it and its folder, or choose another folder"),
    "SQLITE_PERM": ("may not be opened", "allow yourself to read and write it, or choose another folder"),
    "SQLITE_CANTOPEN": ("cannot be opened", "allow yourself to read and write its folder, or choose another folder"),
    "SQLITE_FULL": ("cannot take more, the disk is full", "free some space and try again"),
    "SQLITE_IOERR": ("cannot be read or written, the disk is full or failing", "check the disk, then try again"),
}


class _explained:
    """Turns what SQLite and the decoding of a row raise within it into a `StorageError`."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        pass

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if isinstance(error, sqlite3.Error):
            raise _sqlite_trouble(self._path, error) from error
        if isinstance(error, (ValueError, TypeError)):
            raise _damaged(self._path) from error


def _sqlite_trouble(path: Path, error: sqlite3.Error) -> StorageError:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith("SQLITE_CORRUPT"):
        return _damaged(path)
    if name == "SQLITE_NOTADB":
        return _foreign(path)
    for start, (found, remedy) in _SQLITE_FINDINGS.items():
        if name.startswith(start):
            return StorageError(path, found, remedy)
    return StorageError(path, f"cannot be used ({error})", "check the file, or choose another folder")
