"""What a database must do for the record, whichever it is: statements in, rows out, faults as `StorageError`.

The statements are the same for SQLite and PostgreSQL; they are written with ``?`` for each value.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from trainer.storage.files import StorageError, UtcNow
from trainer.storage.records.schema import MIGRATIONS_TABLE, Migration


class Database(ABC):
    """A connection. Use it on the thread that opened it."""

    path: Path
    """The file, or the address without a password, as it is named to the player."""

    owner: str = ""
    """The ``student`` of the player's own rows."""

    keeps_summaries: bool = True
    """Whether the summaries may be written through this connection."""

    may_replace: bool = True
    """Whether an attempt may take the place of one recorded moments ago, which practising needs."""

    def __init__(self) -> None:
        self._depth = 0
        self.notices: list[str] = []
        """Sentences for the player about what went wrong without stopping anything."""

    @abstractmethod
    def prepare(self, migrations: Sequence[Migration]) -> None:
        """Turn away what is not ours, damaged or newer, and bring up to date what is older. Raises `StorageError`."""

    @abstractmethod
    def rows(self, statement: str, values: Sequence[object] = ()) -> list[Any]:
        """Every row that a statement gives. Raises `StorageError`."""

    @abstractmethod
    def change(self, statement: str, values: Sequence[object] = ()) -> int:
        """Run a statement and give the number of rows that it changed. Raises `StorageError`."""

    @abstractmethod
    def change_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        """Run a statement once for each row of values. Raises `StorageError`."""

    @abstractmethod
    def damaged(self) -> StorageError:
        """What to raise where a row cannot be read back."""

    @abstractmethod
    def tables(self) -> set[str]:
        """The names of the tables."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the database; closing twice does nothing."""

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All that is changed within, or nothing of it; other writers wait. One within another is part of it."""
        self._depth += 1
        try:
            if self._depth > 1:
                yield
                return
            self._begin()
            try:
                yield
            except BaseException:
                self._undo()
                raise
            self._commit()
        finally:
            self._depth -= 1

    @contextmanager
    def reading(self) -> Iterator[None]:
        """What is read within is read of one moment."""
        self._depth += 1
        try:
            if self._depth > 1:
                yield
                return
            self._begin_reading()
            try:
                yield
            finally:
                self._undo()
        finally:
            self._depth -= 1

    def lock(self) -> None:
        """Within `writing`: from here to its end nobody else is between these same two points."""
        # One writer at a time is SQLite's own rule; others override this.
        return

    @abstractmethod
    def _begin(self) -> None: ...

    @abstractmethod
    def _begin_reading(self) -> None: ...

    @abstractmethod
    def _commit(self) -> None: ...

    @abstractmethod
    def _undo(self) -> None: ...

    # -- care; what keeps a server's database is the server's

    def check(self) -> tuple[str, ...]:
        """Every fault that a full check finds."""
        return ()

    def sound(self) -> bool:
        """Whether a quick check finds all well."""
        return True

    def back_up(self, reason: str = "") -> Path | None:
        """Make a copy and give its place; None where copies are made elsewhere. Raises `StorageError`."""
        return None

    def backups(self) -> tuple[Path, ...]:
        """The copies that there are, oldest first."""
        return ()

    def definition(self, statement: str) -> str:
        """A statement of the schema in this database's own words."""
        return statement

    # -- the schema

    def applied(self) -> set[str]:
        """The steps of the schema that were taken."""
        if "migrations" not in self.tables():
            return set()
        return {str(row[0]) for row in self.rows("SELECT name FROM migrations")}

    def refuse_newer(self, migrations: Sequence[Migration]) -> None:
        """Raises `StorageError` where a step was taken that is not known here."""
        if unknown := sorted(self.applied() - {migration.name for migration in migrations}):
            raise StorageError(
                self.path,
                f"was written by a newer version of this program (step {unknown[0]!r} is not known here)",
                "install the newer version; the file was left as it is",
            )

    def migrate(self, migrations: Sequence[Migration], utc_now: UtcNow) -> None:
        """Take the steps that are missing, all or none; another program may have taken them meanwhile."""
        with self.writing():
            self.lock()
            self.change(self.definition(MIGRATIONS_TABLE))
            applied = self.applied()
            for migration in migrations:
                if migration.name not in applied:
                    for statement in migration.statements:
                        self.change(self.definition(statement))
                    self.change("INSERT INTO migrations VALUES (?, ?)", (migration.name, utc_now()))
