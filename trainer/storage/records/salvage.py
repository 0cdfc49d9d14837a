"""What can still be read of a damaged file of records: row by row where the database answers, page by page where not.

The file itself is left alone: a copy is read. First each table is asked for its rows; a stretch that cannot be read is
halved until what is lost is single rows. Where that met damage, every page of the file is then looked at by itself:
a page of rows (a "leaf" in SQLite's file format) needs no other page to be understood, so that rows are found whose
way from the root of the table is lost. Rows whose place is taken already are passed over: a page may be an old one.

Source: "Database File Format" in SQLite's documentation, chapters 1.5 and 1.6 (pages, cells, overflow), 2.1 (records).
"""

from __future__ import annotations

import shutil
import sqlite3
import struct
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, Final

from trainer.storage.files import trouble
from trainer.storage.records.assigned import KeptAssignment, KeptResult
from trainer.storage.records.log import Calibration
from trainer.storage.records.rows import ATTEMPT_COLUMNS, PASS_COLUMNS, attempt_of, pass_of
from trainer.storage.records.schema import ATTEMPTS_AS_THEY_WERE

_FIRST_COLUMNS: Final = tuple(ATTEMPTS_AS_THEY_WERE.split(", "))
_SINCE: Final[dict[str, Any]] = {"student": "", "assignment": "", "rules": "", "tries_allowed": 0}
"""What an attempt from before a column has in it."""


Entry = tuple[str, str, Any]
"""attempt, pass, calibration, assignment or result; the student; the value."""

_DAMAGE: Final = (sqlite3.Error, UnicodeDecodeError)
"""What SQLite and the binding to it raise over damage: even a message about it may be no text."""

_STRETCH: Final = 2_000
_KINDS: Final = {
    "attempts": "attempt",
    "passes": "pass",
    "calibrations": "calibration",
    "assignments": "assignment",
    "results": "result",
}


class Salvage:
    """One reading of a damaged file. `whole` and `unreadable` are true once `entries` has come to its end."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.whole = True
        """Whether no damage was met."""
        self.unreadable = 0
        """How many rows were found that make no sense."""
        self._taken: set[tuple[str, ...]] = set()

    def entries(self) -> Iterator[Entry]:
        """Everything that can be read. Raises `StorageError` only where the file cannot be opened at all."""
        try:
            with tempfile.TemporaryDirectory(prefix="salvage-") as folder:
                copy = Path(folder) / "copy.sqlite"
                shutil.copyfile(self.path, copy)
                log = self.path.with_name(self.path.name + "-wal")
                if log.exists():
                    shutil.copyfile(log, copy.with_name(copy.name + "-wal"))
                try:
                    with closing(sqlite3.connect(copy, isolation_level=None)) as connection:
                        yield from self._ask(connection)
                        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
                except _DAMAGE:
                    self.whole = False
                if not self.whole:
                    for row in _rows_on_pages(copy):
                        yield from self._take_unnamed(row)
        except OSError as error:
            raise trouble(self.path, error) from error

    def _ask(self, connection: sqlite3.Connection) -> Iterator[Entry]:
        """Every row that the database gives."""
        try:
            self.whole = connection.execute("PRAGMA quick_check(1)").fetchall() == [("ok",)]
        except _DAMAGE:
            self.whole = False
        for table in _KINDS:
            columns = [str(row[1]) for row in connection.execute(f"PRAGMA table_info({table})")]
            if columns:
                for row in self._rows(connection, table, columns):
                    yield from self._take(table, dict(zip(columns, row, strict=True)))

    def _rows(self, connection: sqlite3.Connection, table: str, columns: Sequence[str]) -> Iterator[Sequence[Any]]:
        """The rows of a table; stretches of row numbers that cannot be read are halved until they can."""
        statement = f"SELECT {', '.join(columns)} FROM {table} NOT INDEXED WHERE rowid BETWEEN ? AND ?"
        for start in range(0, _highest_rowid(connection, table) + 1, _STRETCH):
            waiting = [(start, start + _STRETCH - 1)]
            while waiting:
                low, high = waiting.pop()
                try:
                    rows = connection.execute(statement, (low, high)).fetchall()
                except _DAMAGE:
                    self.whole = False
                    if low < high:
                        middle = (low + high) // 2
                        waiting += [(middle + 1, high), (low, middle)]
                    continue
                yield from rows

    def _take_unnamed(self, row: Sequence[Any]) -> Iterator[Entry]:
        """A row found on a page, which does not say of what table it is: its length and its values tell."""
        for columns, table in _LAYOUTS:
            if len(row) == len(columns):
                named = dict(zip(columns, row, strict=True))
                for name, value in named.items():
                    if name.endswith("_ms") and isinstance(value, int):  # on the page, a whole number is stored as one
                        named[name] = float(value)
                yield from self._take(table, named, on_a_page=True)

    def _take(self, table: str, row: dict[str, Any], on_a_page: bool = False) -> Iterator[Entry]:
        """A row as an entry, once; nothing where it makes no sense."""
        if table == "attempts":
            row = _SINCE | row
        named = ("student", "session", "number") if table in ("attempts", "passes") else tuple(row)
        key = (table, *(str(row[name]) for name in named))
        if key in self._taken:
            return
        try:
            yield _entry(table, row)
        except (ValueError, TypeError, KeyError):
            # A page that once held something else may look like rows of ours; nobody misses those.
            self.unreadable += not on_a_page
            self.whole = False
            return
        self._taken.add(key)


def _entry(table: str, row: dict[str, Any]) -> Entry:
    kind = _KINDS[table]
    if table == "attempts":
        return (kind, _text(row["student"]), _checked(attempt_of([row[name] for name in ATTEMPT_COLUMNS])))
    if table == "passes":
        return (kind, _text(row["student"]), _checked(pass_of([row[name] for name in PASS_COLUMNS])))
    if table == "calibrations":
        return (kind, "", Calibration(**row))
    if table == "assignments":
        student = _text(row.pop("student"))
        return (kind, student, KeptAssignment(**row))
    return (kind, "", KeptResult(**row))


_LAYOUTS: Final[tuple[tuple[Sequence[str], str], ...]] = (
    (ATTEMPT_COLUMNS, "attempts"),
    (_FIRST_COLUMNS, "attempts"),
    (PASS_COLUMNS, "passes"),
)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("no text")
    return value


def _checked(one: Any) -> Any:
    """An attempt or a pass whose first fields are what they must be: a row of nonsense is none."""
    texts = (one.session, one.utc, one.port, one.stamp_origin)
    if type(one.number) is not int or not all(isinstance(text, str) for text in texts) or one.utc[:2] != "20":
        raise ValueError("no such row")
    return one


def _highest_rowid(connection: sqlite3.Connection, table: str) -> int:
    """The highest row number, by the table, or by an index where the table's last page is lost; -1 where all are."""
    sources = [f"{table} NOT INDEXED"]
    try:
        indexes = connection.execute("SELECT name FROM sqlite_master WHERE type = 'index' AND tbl_name = ?", (table,))
        sources += [f"{table} INDEXED BY {name}" for (name,) in indexes.fetchall()]
    except _DAMAGE:
        pass
    for source in sources:
        try:
            [(highest,)] = connection.execute(f"SELECT MAX(rowid) FROM {source}").fetchall()
        except _DAMAGE:
            continue
        return int(highest or 0)
    return -1


# -- pages


def _rows_on_pages(path: Path) -> Iterator[tuple[Any, ...]]:
    """Every row on every leaf page of a database file, whatever table it is of."""
    with path.open("rb") as file:
        head = file.read(100)
        size = int.from_bytes(head[16:18], "big")
        size = 65536 if size == 1 else size
        if size < 512 or size & (size - 1):
            size = 4096
        usable = size - head[20] if len(head) > 20 and head[20] < size - 480 else size
        pages = _Pages(file, size, usable)
        for number in range(1, path.stat().st_size // size + 2):
            yield from pages.rows(number)


class _Pages:
    def __init__(self, file: Any, size: int, usable: int) -> None:
        self._file, self._size, self._usable = file, size, usable

    def _page(self, number: int) -> bytes:
        self._file.seek((number - 1) * self._size)
        return bytes(self._file.read(self._size))

    def rows(self, number: int) -> Iterator[tuple[Any, ...]]:
        page = self._page(number)
        start = 100 if number == 1 else 0
        if len(page) < start + 8 or page[start] != 0x0D:
            return
        count = int.from_bytes(page[start + 3 : start + 5], "big")
        for index in range(min(count, (len(page) - start - 8) // 2)):
            at = start + 8 + 2 * index
            try:
                yield self._row(page, int.from_bytes(page[at : at + 2], "big"))
            except (ValueError, IndexError, UnicodeDecodeError):
                continue

    def _row(self, page: bytes, at: int) -> tuple[Any, ...]:
        length, at = _varint(page, at)
        _, at = _varint(page, at)
        if length > 100_000_000:
            raise ValueError("longer than any row")
        return _values(self._payload(page, at, length))

    def _payload(self, page: bytes, at: int, length: int) -> bytes:
        usable = self._usable
        if length <= usable - 35:
            return page[at : at + length]
        least = (usable - 12) * 32 // 255 - 23
        here = least + (length - least) % (usable - 4)
        here = here if here <= usable - 35 else least
        parts = [page[at : at + here]]
        following = int.from_bytes(page[at + here : at + here + 4], "big")
        missing = length - here
        while missing > 0:
            further = self._page(following) if following else b""
            if len(further) < 4:
                raise ValueError("its end is lost")
            parts.append(further[4 : 4 + min(missing, usable - 4)])
            missing -= usable - 4
            following = int.from_bytes(further[:4], "big")
        return b"".join(parts)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for index in range(9):
        byte = data[at + index]
        if index == 8:
            return value << 8 | byte, at + 9
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            return value, at + index + 1
    raise AssertionError("the ninth byte ends it")


_SIZES: Final = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)


def _values(payload: bytes) -> tuple[Any, ...]:
    """The values of a record. Raises ValueError or IndexError where it is none."""
    end, at = _varint(payload, 0)
    kinds = []
    while at < end:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    found: list[Any] = []
    for kind in kinds:
        if kind in (10, 11):
            raise ValueError("no kind of value")
        size = _SIZES[kind] if kind < 10 else (kind - 12) // 2
        data = payload[at : at + size]
        if len(data) < size:
            raise ValueError("cut short")
        at += size
        found.append(_value(kind, data))
    return tuple(found)


def _value(kind: int, data: bytes) -> Any:
    if kind == 0:
        return None
    if kind in (8, 9):
        return kind - 8
    if kind == 7:
        return struct.unpack(">d", data)[0]
    if kind < 7:
        return int.from_bytes(data, "big", signed=True)
    return data.decode("utf-8") if kind % 2 else data
