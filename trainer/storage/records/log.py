"""The log: attempts, passes and calibrations, added and read in order of time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeVar

from trainer.progress import Attempt
from trainer.storage.files import StorageError
from trainer.storage.records.databases import Database
from trainer.storage.records.rows import (
    ANSWER_COLUMNS,
    ATTEMPT_COLUMNS,
    PASS_COLUMNS,
    VERDICT_FIELDS,
    Row,
    answer_of,
    attempt_of,
    attempt_row,
    pass_of,
    pass_row,
    storable,
    storable_pass,
    storable_text,
)
from trainer.storage.records.sums import Item, item_of
from trainer.timing import PassRecord

_PAGE: Final = 500
_ROWS_AT_ONCE: Final = 100
_NOTES_AT_ONCE: Final = 500
_KEY: Final = ("student", "session", "number")
_One = TypeVar("_One", Attempt, PassRecord)


@dataclass(frozen=True, slots=True)
class _Kind:
    """A table of the log and its statements."""

    name: str
    columns: Sequence[str]

    @property
    def insert(self) -> str:
        places = ", ".join("?" * len(self.columns))
        return (
            f"INSERT INTO {self.name} ({', '.join(self.columns)}) VALUES ({places}) "
            f"ON CONFLICT ({', '.join(_KEY)}) DO NOTHING"
        )

    @property
    def replace(self) -> str:
        changes = ", ".join(f"{column} = excluded.{column}" for column in self.columns if column not in _KEY)
        return self.insert.removesuffix("NOTHING") + f"UPDATE SET {changes}"

    def select(self, with_events: bool) -> str:
        columns = list(self.columns) if with_events else [*self.columns[:-1], "'[]'"]
        return f"SELECT {', '.join(columns)} FROM {self.name}"


ATTEMPT: Final = "attempt"
PASS: Final = "pass"
"""The kinds of what is pending (see `trainer.storage.records.summed`)."""

_NOTE: Final = (
    "INSERT INTO pending (student, session, number, kind) VALUES (?, ?, ?, ?) "
    "ON CONFLICT (student, session, number, kind) DO NOTHING"
)
_ATTEMPTS: Final = _Kind("attempts", ATTEMPT_COLUMNS)
_PASSES: Final = _Kind("passes", PASS_COLUMNS)
_ANSWERS: Final = _Kind("attempts", ANSWER_COLUMNS)
_INSERT_ATTEMPT: Final = _ATTEMPTS.insert
_REPLACE_ATTEMPT: Final = _ATTEMPTS.replace


NEW: Final = "new"
KNOWN: Final = "known"
OTHERWISE: Final = "otherwise"
ANOTHER: Final = "another"
PLACES: Final = {
    NEW: "it was free",
    KNOWN: "the same stands there",
    OTHERWISE: "the same answer stands there, graded otherwise",
    ANOTHER: "another one stands there",
}


def same_answer(one: Attempt, other: Attempt) -> bool:
    """Whether two attempts are one answer to one prompt, however each was graded."""
    graded = {name: getattr(other, name) for name in VERDICT_FIELDS}
    return replace(one, **graded) == other


@dataclass(frozen=True, slots=True)
class Calibration:
    """How late a port's notes come, measured against the click: steady `offset_ms`, `scatter_ms` over `beats` beats."""

    port: str
    utc: str
    offset_ms: float
    scatter_ms: float
    beats: int


class Log:
    """What was played. Attempts and passes are added and never changed, but for the attempt being decided.

    `student` is whose rows are meant, by default the player's own.
    """

    def __init__(self, database: Database) -> None:
        self.database = database

    # -- attempts

    def append(self, attempt: Attempt, *, replacing: bool = False, student: str | None = None) -> bool:
        """Add an attempt; it is committed when this returns. True when it was new.

        With `replacing` it takes the place of one recorded under its number moments ago: a chord taken for right that
        one key more turned wrong (see `trainer.session`).

        An attempt that is there already (same session and number) is not added again. Raises `StorageError`, also
        where another attempt has its place; nothing is changed then, and the attempt can be appended again.
        """
        if replacing:
            attempt, whose = storable(attempt), self._whose(student)
            row = self._taken_apart("attempt", attempt.number, lambda: attempt_row(attempt, whose))
            with self.database.writing():
                self._replace(attempt, whose, row)
            return True
        return self._only_the_same(self.add_attempt(attempt, student=student), "attempt", attempt)

    def add_attempt(self, attempt: Attempt, *, student: str | None = None) -> str:
        """Add an attempt where its place is free, and say how it was (a row of `PLACES`). Raises `StorageError`."""
        attempt, whose = storable(attempt), self._whose(student)
        row = self._taken_apart("attempt", attempt.number, lambda: attempt_row(attempt, whose))
        with self.database.writing():
            if self.database.change(_INSERT_ATTEMPT, row) == 1:
                self._added(ATTEMPT, attempt, whose)
                return NEW
            [there] = self._at(_ATTEMPTS, attempt_of, attempt, whose)
        return KNOWN if there == attempt else OTHERWISE if same_answer(there, attempt) else ANOTHER

    def attempts(
        self,
        since: str | None = None,
        until: str | None = None,
        set_title: str | None = None,
        session: str | None = None,
        port: str | None = None,
        *,
        assignment: str | None = None,
        student: str | None = None,
        with_events: bool = True,
    ) -> Iterator[Attempt]:
        """The attempts in order of time, all of them where nothing is asked for.

        `since` (included) and `until` (excluded) are the beginnings of UTC times, as in ``2026-03-01``. No lock is
        held between two attempts; what is appended meanwhile is met if it lies ahead. Figures and schedules need no raw
        events: without them (`events` is then empty) reading is quicker. Raises `StorageError`.
        """
        asked = {"set_title = ?": set_title, "session = ?": session, "port = ?": port, "assignment = ?": assignment}
        asked |= {"utc >= ?": since, "utc < ?": until}
        return self._in_order(_ATTEMPTS, attempt_of, asked, student, with_events)

    def answers(self, since: str | None = None, *, student: str | None = None) -> Iterator[Attempt]:
        """The attempts in order of time as a schedule needs them, read in a tenth of the time that `attempts` takes.

        Their degrees, notes, keys, tries and events are empty. Raises `StorageError`.
        """
        return self._in_order(_ANSWERS, answer_of, {"utc >= ?": since}, student, True)

    def latest_attempts(
        self, item: tuple[str, str, str], count: int, *, student: str | None = None, with_events: bool = False
    ) -> list[Attempt]:
        """The latest attempts at an item (voicing, quality, root as spelled), newest first. Raises `StorageError`."""
        return self._read(
            attempt_of,
            f"{_ATTEMPTS.select(with_events)} WHERE student = ? AND voicing = ? AND quality = ? AND root = ? "
            "ORDER BY utc DESC LIMIT ?",
            (self._whose(student), *item, count),
        )

    def count(self, *, student: str | None = None) -> int:
        """How many attempts there are. Raises `StorageError`."""
        found = self.database.rows("SELECT COUNT(*) FROM attempts WHERE student = ?", (self._whose(student),))
        return int(found[0][0])

    # -- passes

    def append_pass(self, one: PassRecord, *, student: str | None = None) -> bool:
        """Add a pass with its events; as `append`."""
        return self._only_the_same(self.add_pass(one, student=student), "pass", one)

    def add_pass(self, one: PassRecord, *, student: str | None = None) -> str:
        """As `add_attempt`, for a pass."""
        one, whose = storable_pass(one), self._whose(student)
        row = self._taken_apart("pass", one.number, lambda: pass_row(one, whose))
        with self.database.writing():
            if self.database.change(_PASSES.insert, row) == 1:
                self._added(PASS, one, whose)
                return NEW
            [there] = self._at(_PASSES, pass_of, one, whose)
        return KNOWN if there == one else ANOTHER

    def passes(
        self,
        title: str | None = None,
        key: str | None = None,
        since: str | None = None,
        until: str | None = None,
        *,
        session: str | None = None,
        port: str | None = None,
        assignment: str | None = None,
        student: str | None = None,
        with_events: bool = True,
    ) -> Iterator[PassRecord]:
        """The passes in order of time; as `attempts`."""
        asked = {"title = ?": title, "key = ?": key, "session = ?": session, "port = ?": port}
        asked |= {"assignment = ?": assignment, "utc >= ?": since, "utc < ?": until}
        return self._in_order(_PASSES, pass_of, asked, student, with_events)

    # -- many at once, from another record

    def add_attempts(self, attempts: Sequence[Attempt], *, student: str | None = None) -> int:
        """Add attempts where their places are free, all in one change; give how many were. Raises `StorageError`."""
        whose = self._whose(student)
        return self._add_many(
            _ATTEMPTS, ATTEMPT, attempts, [attempt_row(storable(one), whose) for one in attempts], whose
        )

    def add_passes(self, passes: Sequence[PassRecord], *, student: str | None = None) -> int:
        """As `add_attempts`, for passes."""
        whose = self._whose(student)
        return self._add_many(_PASSES, PASS, passes, [pass_row(storable_pass(one), whose) for one in passes], whose)

    def sessions_counted(self, kind: str, *, student: str | None = None, until: str = "9999") -> dict[str, int]:
        """How many attempts (or passes, by `kind`) before a time each session has. Raises `StorageError`."""
        table = _PASSES.name if kind == PASS else _ATTEMPTS.name
        found = self.database.rows(
            f"SELECT session, COUNT(*) FROM {table} WHERE student = ? AND utc < ? GROUP BY session",
            (self._whose(student), until),
        )
        return {session: count for session, count in found}

    def _add_many(
        self, kind: _Kind, noted: str, ones: Sequence[Attempt | PassRecord], rows: Sequence[Row], whose: str
    ) -> int:
        places = f"({', '.join('?' * len(kind.columns))})"
        new: list[tuple[str, int]] = []
        with self.database.writing():
            for start in range(0, len(rows), _ROWS_AT_ONCE):
                some = rows[start : start + _ROWS_AT_ONCE]
                # What it returns is what was new: only that may be summed, or it would be summed twice.
                new += self.database.rows(
                    f"INSERT INTO {kind.name} ({', '.join(kind.columns)}) VALUES {', '.join([places] * len(some))} "
                    f"ON CONFLICT ({', '.join(_KEY)}) DO NOTHING RETURNING session, number",
                    [value for row in some for value in row],
                )
            there = {(session, number) for session, number in new}
            self._added_many(noted, [one for one in ones if (one.session, one.number) in there], whose)
        return len(new)

    # -- calibrations

    def keep_calibration(self, port: str, utc: str, offset_ms: float, scatter_ms: float, beats: int) -> bool:
        """Keep how late a port was found to be; False where that is kept already. Raises `StorageError`."""
        added = self.database.change(
            "INSERT INTO calibrations (port, utc, offset_ms, scatter_ms, beats) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (port, utc) DO NOTHING",
            (storable_text(port), utc, offset_ms, scatter_ms, beats),
        )
        return added == 1

    def calibrations(self) -> list[Calibration]:
        """Every calibration, by port and time. Raises `StorageError`."""
        found = self.database.rows(
            "SELECT port, utc, offset_ms, scatter_ms, beats FROM calibrations ORDER BY port, utc"
        )
        return [Calibration(*row) for row in found]

    def calibration(self, port: str) -> Calibration | None:
        """The latest calibration of a port; None where there is none. Raises `StorageError`."""
        found = self.database.rows(
            "SELECT port, utc, offset_ms, scatter_ms, beats FROM calibrations WHERE port = ? ORDER BY utc DESC LIMIT 1",
            (storable_text(port),),
        )
        return Calibration(*found[0]) if found else None

    # -- how

    def _whose(self, student: str | None) -> str:
        return self.database.owner if student is None else storable_text(student)

    def _added(self, kind: str, one: Attempt | PassRecord, whose: str) -> bool:
        """Note that something is new in the log; False where that was noted before."""
        self._not_the_latest(one.utc, whose)
        if kind == PASS and not one.assignment:
            return True  # nothing is summed of passes; only what is kept of an assignment depends on them
        return self.database.change(_NOTE, (whose, one.session, one.number, kind)) == 1

    def _not_the_latest(self, utc: str, whose: str) -> None:
        """What is derived from the log is no longer true where something came in that lies before its end."""
        later = "SELECT 1 FROM attempts WHERE student = ? AND utc > ? LIMIT 1"
        if self.database.keeps_summaries and self.database.rows(later, (whose, utc)):
            self.database.change("DELETE FROM derived WHERE kind = 'log' AND student = ?", (whose,))

    def _added_many(self, kind: str, ones: Sequence[Attempt | PassRecord], whose: str) -> None:
        """`_added` for many at once."""
        if not ones:
            return
        self._not_the_latest(min(one.utc for one in ones), whose)
        noted = [one for one in ones if kind != PASS or one.assignment]
        for start in range(0, len(noted), _NOTES_AT_ONCE):
            some = noted[start : start + _NOTES_AT_ONCE]
            self.database.change(
                _NOTE.replace("(?, ?, ?, ?)", ", ".join(["(?, ?, ?, ?)"] * len(some))),
                [value for one in some for value in (whose, one.session, one.number, kind)],
            )

    def _replace(self, attempt: Attempt, whose: str, row: Row) -> None:
        before = self.database.rows(
            "SELECT voicing, quality, root FROM attempts WHERE student = ? AND session = ? AND number = ?",
            (whose, attempt.session, attempt.number),
        )
        self.database.change(_REPLACE_ATTEMPT, row)
        if before:
            self.database.change("DELETE FROM derived WHERE kind = 'log' AND student = ?", (whose,))
        if self._added(ATTEMPT, attempt, whose) and before:
            self._sum_again(whose, item_of(*before[0]))

    def _sum_again(self, student: str, item: Item) -> None:
        """Internal; see `trainer.storage.records.summed`."""
        raise NotImplementedError

    def _taken_apart(self, what: str, number: int, taking: Callable[[], Row]) -> Row:
        try:
            return taking()
        except ValueError as error:
            raise StorageError(
                self.database.path, f"cannot take {what} {number} ({error})", "every time must be a finite number"
            ) from error

    def _only_the_same(self, place: str, what: str, one: Attempt | PassRecord) -> bool:
        if place in (OTHERWISE, ANOTHER):
            raise StorageError(
                self.database.path,
                f"holds another {what} {one.number} of session {one.session}",
                "begin a session under a new name",
            )
        return place == NEW

    def _at(self, kind: _Kind, of: Callable[[Sequence[Any]], _One], one: _One, whose: str) -> list[_One]:
        return self._read(
            of,
            f"{kind.select(True)} WHERE student = ? AND session = ? AND number = ?",
            (whose, one.session, one.number),
        )

    def _read(self, of: Callable[[Sequence[Any]], _One], statement: str, values: Iterable[object]) -> list[_One]:
        found = self.database.rows(statement, tuple(values))
        try:
            return [of(row) for row in found]
        except (ValueError, TypeError) as error:
            raise self.database.damaged() from error

    def _in_order(
        self,
        kind: _Kind,
        of: Callable[[Sequence[Any]], _One],
        asked: dict[str, str | None],
        student: str | None,
        with_events: bool,
    ) -> Iterator[_One]:
        conditions = ["student = ?", *(condition for condition, value in asked.items() if value is not None)]
        values: list[object] = [self._whose(student), *(value for value in asked.values() if value is not None)]
        first = f"{kind.select(with_events)} WHERE {' AND '.join(conditions)}"
        further = f"{first} AND (utc, session, number) > (?, ?, ?)"
        order = "ORDER BY utc, session, number LIMIT ?"
        page = self._read(of, f"{first} {order}", (*values, _PAGE))
        while True:
            yield from page
            if len(page) < _PAGE:
                return
            last = page[-1]
            page = self._read(of, f"{further} {order}", (*values, last.utc, last.session, last.number, _PAGE))
