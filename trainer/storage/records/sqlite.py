"""The record in one SQLite file: opened by any number of programs at once, checked and copied once a day.

Committed means: survives the end of the program however it ends. Against a power cut it is safe from damage, but the
last attempts may be missing (SQLite's WAL with synchronous=NORMAL; see SQLite's own documentation of both).
"""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

from trainer.storage.files import StorageError, UtcNow, make_folder, trouble
from trainer.storage.records.databases import Database
from trainer.storage.records.schema import Migration

BUSY_TIMEOUT_MS: Final = 5_000
"""How long to wait for another program that is writing; an append of theirs takes less than a millisecond."""

BACKUPS_KEPT: Final = 7


class SqliteDatabase(Database):
    """A file of records. `notices` are sentences for the player about what went wrong without stopping anything."""

    def __init__(self, path: Path | str, utc_now: UtcNow, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> None:
        """Open the file, or begin one; ``:memory:`` gives one that ends with the program. Raises `StorageError`."""
        super().__init__()
        self.path = Path(path)
        self.notices: list[str] = []
        self._utc_now = utc_now
        self._in_memory = str(path) == ":memory:"
        if not self._in_memory:
            make_folder(self.path.parent)
            _refuse_foreign_file(self.path)
        try:
            self.connection = sqlite3.connect(str(path), timeout=busy_timeout_ms / 1000, isolation_level=None)
        except sqlite3.Error as error:
            raise _sqlite_trouble(self.path, error) from error

    def prepare(self, migrations: Sequence[Migration]) -> None:
        """Turn away a file that is not ours, damaged or newer; check, copy and bring up to date one that is.

        Raises `StorageError`.
        """
        applied = self.applied()
        tables = self.tables()
        if tables and "migrations" not in tables:
            raise _foreign(self.path)
        self.refuse_newer(migrations)
        behind = applied != {migration.name for migration in migrations}
        if not self._in_memory:
            self._use_write_ahead_log()
            self.change("PRAGMA synchronous = NORMAL")
            if applied:
                self._care_for(behind)
        if behind:
            self.migrate(migrations, self._utc_now)

    # -- statements

    def rows(self, statement: str, values: Sequence[object] = ()) -> list[Any]:
        try:
            return self.connection.execute(statement, values).fetchall()
        except sqlite3.Error as error:
            raise _sqlite_trouble(self.path, error) from error
        except OverflowError as error:
            raise StorageError(self.path, f"cannot take a number ({error})", "it must fit in 64 bits") from error

    def change(self, statement: str, values: Sequence[object] = ()) -> int:
        try:
            return self.connection.execute(statement, values).rowcount
        except sqlite3.Error as error:
            raise _sqlite_trouble(self.path, error) from error
        except OverflowError as error:
            raise StorageError(self.path, f"cannot take a number ({error})", "it must fit in 64 bits") from error

    def change_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        with self.writing():
            try:
                self.connection.executemany(statement, rows)
            except sqlite3.Error as error:
                raise _sqlite_trouble(self.path, error) from error
            except OverflowError as error:
                raise StorageError(self.path, f"cannot take a number ({error})", "it must fit in 64 bits") from error

    def damaged(self) -> StorageError:
        return damaged_file(self.path)

    def tables(self) -> set[str]:
        return {str(row[0]) for row in self.rows("SELECT name FROM sqlite_master WHERE type = 'table'")}

    def close(self) -> None:
        self.connection.close()

    def _begin(self) -> None:
        self.change("BEGIN IMMEDIATE")

    def _begin_reading(self) -> None:
        self.change("BEGIN")

    def _commit(self) -> None:
        try:
            self.change("COMMIT")
        except BaseException:
            self._undo()
            raise

    def _undo(self) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")

    # -- care of the file

    def check(self) -> tuple[str, ...]:
        """Every fault that SQLite's full integrity check finds, and none where the file is sound."""
        try:
            found = self.connection.execute("PRAGMA integrity_check").fetchall()
        except sqlite3.Error as error:
            return (str(error),)
        return tuple(str(row[0]) for row in found if row[0] != "ok")

    def back_up(self, reason: str = "") -> Path:
        """Copy the record into ``backups`` beside it, keep the last `BACKUPS_KEPT`, and give the copy's path.

        Other programs may go on writing meanwhile. Raises `StorageError`.
        """
        folder = self.path.parent / "backups"
        make_folder(folder)
        stamp = re.sub(r"[-:.]", "", self._utc_now())
        target = folder / f"{self.path.stem} {stamp}{' ' + reason if reason else ''}.sqlite"
        unfinished = target.with_suffix(f".{os.getpid()}.new")
        try:
            copy = sqlite3.connect(unfinished)
            try:
                self.connection.backup(copy)
            finally:
                copy.close()
            os.replace(unfinished, target)
            for old in backups_of(self.path)[:-BACKUPS_KEPT]:
                old.unlink(missing_ok=True)
        except sqlite3.Error as error:
            raise _sqlite_trouble(target, error) from error
        except OSError as error:
            raise trouble(target, error) from error
        finally:
            for rest in ("", "-wal", "-shm", "-journal"):
                Path(f"{unfinished}{rest}").unlink(missing_ok=True)
        return target

    def _use_write_ahead_log(self) -> None:
        """Readers and a writer then never wait for each other. On a disk that cannot do it, the slower way serves."""
        deadline = time.monotonic() + 2
        while True:
            try:
                self.connection.execute("PRAGMA journal_mode = WAL").fetchone()
                return
            except sqlite3.Error as error:
                busy = error.sqlite_errorname.startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
                if not busy:
                    raise _sqlite_trouble(self.path, error) from error
                if time.monotonic() > deadline:
                    return
                time.sleep(0.01)

    def _care_for(self, behind: bool) -> None:
        """Check and copy the file before its schema changes, else once a day."""
        today = self._utc_now()[:10].replace("-", "")
        if not behind and any(f" {today}T" in copy.name for copy in backups_of(self.path)):
            return
        if self.rows("PRAGMA quick_check(1)") != [("ok",)]:
            raise self.damaged()
        try:
            self.back_up("before a change" if behind else "")
        except StorageError as error:
            if behind:
                raise
            self.notices.append(f"Today's copy of your record could not be made: {error}")


# -- faults


def backups_of(path: Path) -> tuple[Path, ...]:
    """The copies of a record, oldest first."""
    return tuple(sorted((path.parent / "backups").glob(f"{_literal(path.stem)} ????????T*.sqlite")))


def _literal(text: str) -> str:
    """A name as a glob pattern that matches only itself."""
    return re.sub(r"([\[\]*?])", r"[\1]", text)


def damaged_file(path: Path) -> StorageError:
    """A record that cannot be read, and what to put in its place."""
    copies = backups_of(path)
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


_FINDINGS: Final[dict[str, tuple[str, str]]] = {
    "SQLITE_BUSY": ("is in use by another program", "close that program or wait a moment, then try again"),
    "SQLITE_LOCKED": ("is in use by another program", "close that program or wait a moment, then try again"),
    "SQLITE_READONLY": ("may not be written", "allow yourself to write it and its folder, or choose another folder"),
    "SQLITE_PERM": ("may not be opened", "allow yourself to read and write it, or choose another folder"),
    "SQLITE_CANTOPEN": ("cannot be opened", "allow yourself to read and write its folder, or choose another folder"),
    "SQLITE_FULL": ("cannot take more, the disk is full", "free some space and try again"),
    "SQLITE_IOERR": ("cannot be read or written, the disk is full or failing", "check the disk, then try again"),
}


def _sqlite_trouble(path: Path, error: sqlite3.Error) -> StorageError:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith("SQLITE_CORRUPT"):
        return damaged_file(path)
    if name == "SQLITE_NOTADB":
        return _foreign(path)
    for start, (found, remedy) in _FINDINGS.items():
        if name.startswith(start):
            return StorageError(path, found, remedy)
    return StorageError(path, f"cannot be used ({error})", "check the file, or choose another folder")
