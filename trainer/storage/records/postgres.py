"""The record in a PostgreSQL database: the same statements, steps and figures as in a file.

Two things differ, and are put into each statement's own words here: the placeholder, and that texts compare byte by
byte (``COLLATE "C"``), as they do in SQLite, whatever the language of the server. An address never holds a password:
it is asked for, or comes from the environment or the password file of PostgreSQL's own library.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from trainer.storage.files import StorageError, UtcNow
from trainer.storage.records.databases import Database
from trainer.storage.records.schema import Migration

try:
    import psycopg
    from psycopg import sql as sql
    from psycopg.conninfo import conninfo_to_dict, make_conninfo
except ImportError as missing:
    raise StorageError(
        "a record in PostgreSQL",
        "needs the library psycopg, which is not installed",
        "install it with the program: pip install '.[postgres]'",
    ) from missing

CONNECT_SECONDS: Final = 10
"""How long to wait for a server that does not answer."""

_LOCK: Final = 0x6A617A7A
"""The number of the advisory lock that `Database.lock` takes."""

_OUR_TABLES: Final = "attempts"


class PostgresDatabase(Database):
    """A connection to a database of records.

    `owner` is the name the connection was made under where a school was prepared (see `trainer.storage.school`), and
    "" in a database of one's own.
    """

    def __init__(self, address: str, utc_now: UtcNow, password: str | None = None) -> None:
        """Connect. Raises `StorageError`; `NeedsPassword` where the server asks for one and none was given."""
        super().__init__()
        self._utc_now = utc_now
        parts = _parts(address)
        self.path = Path(_shown(parts))
        given = {"password": password} if password is not None else {}
        try:
            self.connection = psycopg.connect(
                make_conninfo(address, **given, connect_timeout=CONNECT_SECONDS, application_name="trainer"),
                autocommit=True,
            )
        except psycopg.OperationalError as error:
            if password is None and _wants_password(str(error)):
                raise NeedsPassword(
                    self.path, "asks for a password", "write it into ~/.pgpass or PGPASSWORD, or start in a terminal"
                ) from error
            if _has_no_room(str(error)):
                raise NoRoom(self.path, f"lets nobody in just now ({_last_line(error)})", "try again soon") from error
            raise self.trouble(error) from error
        except (psycopg.Error, UnicodeError, ValueError) as error:
            raise StorageError(self.path, f"is no address of a database ({_first_line(error)})", _EXAMPLE) from error

    def prepare(self, migrations: Sequence[Migration], *, by_the_school: bool = False) -> None:
        """Turn away a database that is newer; bring up to date one that is not. Raises `StorageError`.

        A school's database changes only where its keeper says so (`by_the_school`).
        """
        tables = self.tables()
        applied = self.applied()
        self.refuse_newer(migrations)
        if tables & {_OUR_TABLES} and not applied:
            raise StorageError(self.path, "holds tables of another program", "name an empty database")
        if applied != {migration.name for migration in migrations}:
            if "members" in tables and not by_the_school:
                raise StorageError(
                    self.path,
                    "is of an older version than this program",
                    "ask who keeps it to run: trainer school prepare",
                )
            self.migrate(migrations, self._utc_now)
        if "members" in tables:
            [[self.owner]] = self.rows("SELECT current_user::text")
        if any(migration.name.endswith("summaries") for migration in migrations):
            [[self.keeps_summaries]] = self.rows(
                "SELECT has_table_privilege('summaries', 'INSERT') AND has_table_privilege('pending', 'DELETE')"
            )
        [[self.may_replace]] = self.rows("SELECT has_table_privilege('attempts', 'UPDATE')")

    # -- statements

    def rows(self, statement: str, values: Sequence[object] = ()) -> list[Any]:
        with self.explained():
            return self.connection.execute(_placed(statement), values).fetchall()

    def change(self, statement: str, values: Sequence[object] = ()) -> int:
        with self.explained():
            return self.connection.execute(_placed(statement), values).rowcount

    def change_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        with self.writing(), self.explained(), self.connection.cursor() as cursor:
            cursor.executemany(_placed(statement), rows)

    def explained(self) -> _Explained:
        """Turns what psycopg raises within it into a `StorageError`."""
        return _Explained(self)

    def damaged(self) -> StorageError:
        return StorageError(self.path, "holds a row that cannot be read", "ask who keeps the database")

    def tables(self) -> set[str]:
        found = self.rows("SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema()")
        return {str(row[0]) for row in found}

    def definition(self, statement: str) -> str:
        return statement.replace(" TEXT", ' TEXT COLLATE "C"')

    def close(self) -> None:
        self.connection.close()

    def lock(self) -> None:
        self.rows(f"SELECT pg_advisory_xact_lock({_LOCK})::text")

    def _begin(self) -> None:
        self.change("BEGIN")

    def _begin_reading(self) -> None:
        self.change("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")

    def _commit(self) -> None:
        self.change("COMMIT")

    def _undo(self) -> None:
        if not self.connection.closed and not self.connection.broken:
            try:
                self.connection.execute(b"ROLLBACK")
            except psycopg.Error:
                self.connection.close()

    # -- faults

    def trouble(self, error: psycopg.Error) -> StorageError:
        state = error.sqlstate or ""
        for start, (found, remedy) in _FINDINGS.items():
            if state.startswith(start):
                return StorageError(self.path, found, remedy)
        if isinstance(error, psycopg.OperationalError) and not state:
            return StorageError(
                self.path, f"cannot be reached ({_last_line(error)})", "check address, name, password and network"
            )
        return StorageError(self.path, f"cannot be used ({_first_line(error)})", "ask who keeps the database")


class _Explained:
    __slots__ = ("_database",)

    def __init__(self, database: PostgresDatabase) -> None:
        self._database = database

    def __enter__(self) -> None:
        pass

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if isinstance(error, psycopg.Error):
            raise self._database.trouble(error) from error


class NeedsPassword(StorageError):
    """The server asks for a password, and none was given."""

    needs_password = True


class NoRoom(StorageError):
    """The server answers, and has no room for another connection or is just starting."""

    passing = True


_EXAMPLE: Final = "write one such as postgresql://name@host/database"

_FINDINGS: Final[dict[str, tuple[str, str]]] = {
    "42501": ("does not allow you this", "ask who keeps the database"),
    "28": ("does not let you in", "check name and password"),
    "3D000": ("has no database of that name", "check the address"),
    "53300": ("has no room for another connection now", "try again in a minute"),
    "53100": ("cannot take more, its disk is full", "ask who keeps the database"),
    "57": ("ended the connection", "try again; what was not confirmed was not kept"),
    "08": ("lost the connection", "check the network, try again; what was not confirmed was not kept"),
    "40": ("was busy with somebody else's change", "try again"),
}


def _parts(address: str) -> dict[str, Any]:
    try:
        parts = conninfo_to_dict(address)
    except psycopg.Error as error:
        raise StorageError("the address of the record", f"cannot be read ({_first_line(error)})", _EXAMPLE) from error
    if parts.get("password") is not None:
        raise StorageError(
            _shown(parts),
            "was named with a password, which others can see in the list of running programs",
            "leave it out: you are asked for it, or PGPASSWORD or the file ~/.pgpass holds it",
        )
    return parts


def _shown(parts: dict[str, Any]) -> str:
    name = parts.get("dbname") or parts.get("user") or os.environ.get("PGDATABASE") or "your database"
    host = parts.get("host") or os.environ.get("PGHOST")
    return f"{name} on {host}" if host else str(name)


def _wants_password(message: str) -> bool:
    return "no password supplied" in message


def _has_no_room(message: str) -> bool:
    """Whether the server itself turned the connection away, and not because of who asked for what.

    libpq gives no code for it, and the words are in the server's language; but what is about somebody or something
    quotes its name.
    """
    return re.search(r"failed: \S+:  [^\"\u00ab\u201e\u300c]*$", message.strip()) is not None


def _lines(error: Exception) -> list[str]:
    lines = (line.strip() for line in str(error).splitlines())
    return [line for line in lines if line.strip("\t ?")] or [type(error).__name__]


def _first_line(error: Exception) -> str:
    return _lines(error)[0]


def _last_line(error: Exception) -> str:
    """What a server said at last; before it stand where it was looked for and how."""
    return _lines(error)[-1].rpartition("failed: ")[2]


@lru_cache(maxsize=512)
def _placed(statement: str) -> bytes:
    """A statement with the placeholders of psycopg."""
    return statement.replace("%", "%%").replace("?", "%s").encode()
