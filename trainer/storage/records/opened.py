"""The record as the rest of the program has it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from trainer.storage.files import UtcNow, utc_now
from trainer.storage.records.assigned import Assigned
from trainer.storage.records.counted import Counted
from trainer.storage.records.databases import Database
from trainer.storage.records.schema import MIGRATIONS, Migration
from trainer.storage.records.sqlite import BUSY_TIMEOUT_MS, SqliteDatabase


class Records(Assigned):
    """The record of one player in a file, or that of a school in a database. Use it on the thread that opened it.

    `notices` are sentences for the player about what went wrong without stopping anything.
    """

    def __init__(self, database: Database) -> None:
        """Internal; use `Records.open`."""
        super().__init__(database)

    @classmethod
    def open(
        cls,
        place: Path | str,
        *,
        utc_now: UtcNow = utc_now,
        busy_timeout_ms: int = BUSY_TIMEOUT_MS,
        migrations: Sequence[Migration] = MIGRATIONS,
        password: str | None = None,
    ) -> Records:
        """Open the record, or begin one; the folder is created. ``:memory:`` gives one that ends with the program.

        An older file is brought up to date after a copy was laid into ``backups`` beside it; once a day the file is
        checked and copied there too, and the last `BACKUPS_KEPT` copies are kept. A file that is damaged, of a newer
        version of this program or no record of practice is left as it is. An address such as
        ``postgresql://name@host/database`` opens a record on a server; see `trainer.storage.records.postgres`.
        Raises `StorageError`.
        """
        database: Database
        if is_address(place):
            from trainer.storage.records.postgres import PostgresDatabase

            database = PostgresDatabase(str(place), utc_now, password)
        else:
            database = SqliteDatabase(place, utc_now, busy_timeout_ms)
        try:
            database.prepare(migrations)
        except BaseException:
            database.close()
            raise
        return cls(database)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; closing twice does nothing."""
        self.database.close()

    @property
    def path(self) -> Path:
        return self.database.path

    @property
    def shared(self) -> bool:
        """Whether others add to it, too: the record of a school."""
        return bool(self.database.owner)

    @property
    def notices(self) -> list[str]:
        return self.database.notices

    @property
    def _connection(self) -> Any:
        return self.database.connection  # type: ignore[attr-defined]

    def counted(self, student: str | None = None, assignment: str | None = None) -> Counted:
        """The record counted, for figures: a `trainer.progress.Tallies` of the player's attempts, or a student's."""
        return Counted(self, student, assignment)

    # -- care of the file

    def check(self) -> tuple[str, ...]:
        """Every fault that the full integrity check finds, and none where the file is sound."""
        return self.database.check()

    def sound(self) -> bool:
        """Whether the quick check finds the file well; `check` looks closer."""
        return self.database.sound()

    def back_up(self, reason: str = "") -> Path | None:
        """Copy the record into ``backups`` beside it and give the copy's path; None for a record on a server.

        Raises `StorageError`.
        """
        return self.database.back_up(reason)

    def backups(self) -> tuple[Path, ...]:
        """The copies of this record, oldest first."""
        return self.database.backups()


def is_address(place: Path | str) -> bool:
    """Whether a place of records is a PostgreSQL database and no file."""
    return str(place).startswith(("postgresql://", "postgres://"))
