"""The record in one SQLite file: opened by any number of programs at once, checked and copied once a day.

Committed means: survives the end of the program however it ends. Against a power cut it is safe from damage, but the
last attempts may be missing (SQLite's WAL with synchronous=NORMAL; see SQLite's own documentation of both).
"""

from __future__ import annotations

import os
import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from trainer.storage.files import StorageError, UtcNow, make_folder, trouble
from trainer.storage.records.databases import Database
from trainer.storage.records.schema import Migration

BUSY_TIMEOUT_MS: Final = 5_000
"""How long to wait for another program that is writing; an append of theirs takes less than a millisecond."""

LOG_PAGES: Final = 8_000
"""How long the log beside the file grows before an append moves it there: some 800 attempts, or until the end."""

BACKUPS_KEPT: Final = 7
BACKUP_BYTES_KEPT: Final = 2_000_000_000
"""Fewer copies than `BACKUPS_KEPT` are kept where they take more than this together, but never fewer than two."""

CARED_FOR_AT_ONCE_BYTES: Final = 16_000_000
"""A larger file is checked and copied beside the practice, so that a long record opens as fast as a new one."""


class SqliteDatabase(Database):
    """A file of records."""

    def __init__(self, path: Path | str, utc_now: UtcNow, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> None:
        """Open the file, or begin one; ``:memory:`` gives one that ends with the program. Raises `StorageError`."""
        super().__init__()
        self.path = Path(path)
        self._utc_now = utc_now
        self._caring: _DailyCare | None = None
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
            # Moving the log into the file takes milliseconds, and an attempt is stored before its verdict is painted.
            self.change(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
            if applied:
                self._care_for(behind)
        if behind:
            self.migrate(migrations, self._utc_now)

    # -- statements

    def rows(self, statement: str, values: Sequence[object] = ()) -> list[Any]:
        with _Explained(self.path):
            return self.connection.execute(statement, values).fetchall()

    def change(self, statement: str, values: Sequence[object] = ()) -> int:
        with _Explained(self.path):
            return self.connection.execute(statement, values).rowcount

    def change_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        with self.writing(), _Explained(self.path):
            self.connection.executemany(statement, rows)

    def damaged(self) -> StorageError:
        return damaged_file(self.path)

    def tables(self) -> set[str]:
        return {str(row[0]) for row in self.rows("SELECT name FROM sqlite_master WHERE type = 'table'")}

    def close(self) -> None:
        self.connection.close()
        if self._caring is not None:
            self._caring.stop()
            self._caring = None

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
        with suppress(sqlite3.ProgrammingError):  # it was closed meanwhile, and with it ended what was begun
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

    def sound(self) -> bool:
        """Whether SQLite's quick check finds the file well."""
        return self.rows("PRAGMA quick_check(1)") == [("ok",)]

    def back_up(self, reason: str = "") -> Path:
        """Copy the record into ``backups`` beside it, keep the last `BACKUPS_KEPT`, and give the copy's path.

        Other programs may go on writing meanwhile. Raises `StorageError`.
        """
        return _back_up(self.connection, self.path, self._utc_now(), reason)

    def backups(self) -> tuple[Path, ...]:
        return backups_of(self.path)

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
        """Check and copy the file before its schema changes, else once a day; a large one beside the practice."""
        utc = self._utc_now()
        today = utc[:10].replace("-", "")
        if not behind:
            if any(f" {today}T" in copy.name for copy in backups_of(self.path)):
                return
            if self.path.stat().st_size > CARED_FOR_AT_ONCE_BYTES:
                self._caring = _DailyCare(self.path, utc, self.notices)
                self._caring.start()
                return
        if not self.sound():
            raise self.damaged()
        try:
            _back_up(self.connection, self.path, utc, "before a change" if behind else "")
        except StorageError as error:
            if behind:
                raise
            self.notices.append(f"{_NO_COPY}: {error}")


_NO_COPY: Final = "Today's copy of your record could not be made"


class _DailyCare(threading.Thread):
    """Checks and copies a record beside the practice, by a connection of its own. No step holds off a writer.

    Where the program ends before it is through, the next one begins anew.
    """

    def __init__(self, path: Path, utc: str, notices: list[str]) -> None:
        super().__init__(daemon=True)
        self._path, self._utc, self._notices = path, utc, notices
        self._stopped = threading.Event()
        self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)

    def stop(self) -> None:
        """End soon, whatever is left to do."""
        self._stopped.set()
        while self.is_alive():
            self._connection.interrupt()
            self.join(0.005)
        self._connection.close()

    def run(self) -> None:
        try:
            # One moment of the record is checked and copied, whatever is added meanwhile.
            self._connection.execute("BEGIN")
            if self._connection.execute("PRAGMA quick_check(1)").fetchall() != [("ok",)]:
                self._notices.append(str(damaged_file(self._path)))
            elif not self._stopped.is_set():
                _back_up(self._connection, self._path, self._utc, "", self._go_on)
        except _Stopped:
            return
        except StorageError as error:
            self._notices.append(f"{_NO_COPY}: {error}")
        except sqlite3.Error as error:
            if not self._stopped.is_set():
                self._notices.append(str(_sqlite_trouble(self._path, error)))

    def _go_on(self, *_: int) -> None:
        if self._stopped.is_set():
            raise _Stopped


class _Stopped(Exception):
    """The program ends before its copy is made."""


def _back_up(
    connection: sqlite3.Connection,
    path: Path,
    utc: str,
    reason: str,
    progress: Callable[[int, int, int], None] | None = None,
) -> Path:
    folder = path.parent / "backups"
    make_folder(folder)
    stamp = re.sub(r"[-:.]", "", utc)
    target = folder / f"{path.stem} {stamp}{' ' + reason if reason else ''}.sqlite"
    unfinished = target.with_suffix(f".{os.getpid()}.new")
    try:
        for left in folder.glob(f"{_literal(path.stem)} *.new"):
            if time.time() - left.stat().st_mtime > 3600:  # of a program that was ended in the middle
                left.unlink(missing_ok=True)
        copy = sqlite3.connect(unfinished)
        try:
            # In steps only where it may be stopped: each takes a few milliseconds.
            connection.backup(copy, pages=-1 if progress is None else 1000, progress=progress)
        finally:
            copy.close()
        os.replace(unfinished, target)
        _forget_old_copies(path)
    except sqlite3.Error as error:
        raise _sqlite_trouble(target, error) from error
    except OSError as error:
        raise trouble(target, error) from error
    finally:
        for rest in ("", "-wal", "-shm", "-journal"):
            Path(f"{unfinished}{rest}").unlink(missing_ok=True)
    return target


def _forget_old_copies(path: Path) -> None:
    copies = backups_of(path)[::-1]
    kept_bytes = 0
    for age, copy in enumerate(copies):
        kept_bytes += copy.stat().st_size
        if age >= BACKUPS_KEPT or (age >= 2 and kept_bytes > BACKUP_BYTES_KEPT):
            copy.unlink(missing_ok=True)


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


class _Explained:
    """Turns what SQLite and the binding to it raise within it into a `StorageError`."""

    __slots__ = ("_path",)

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        pass

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if isinstance(error, sqlite3.Error):
            raise _sqlite_trouble(self._path, error) from error
        if isinstance(error, OverflowError):
            raise StorageError(self._path, f"cannot take a number ({error})", "it must fit in 64 bits") from error
        if isinstance(error, UnicodeDecodeError):
            raise damaged_file(self._path) from error


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
