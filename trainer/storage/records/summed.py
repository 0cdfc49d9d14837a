"""The summary tables: kept beside the log, behind it by what is noted as pending, and made again from it at any time.

Whoever adds an attempt notes in the same transaction that it is *pending*; whoever asks for figures first adds what is
pending to the summaries. So figures and log agree at every moment, an attempt is stored as fast as ever, and many of
them are summed at once. Where the summaries may not be written (a full disk, another's rows) figures are computed from
them and the pending attempts together.

*Derived* texts are results of a computation over the record that are kept, too. One of the kind ``assignment`` (its
name is a mark) is dropped when anything was added for that assignment; one of the kind ``log`` when something was
added that was not the latest.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from trainer.progress import Attempt
from trainer.storage.records.log import ATTEMPT, PASS, Log
from trainer.storage.records.rows import ATTEMPT_COLUMNS, attempt_of
from trainer.storage.records.sums import KEY_COLUMNS, SUM_COLUMNS, Item, Key, Sum, item_of, sums_of

SUMMED_AT_ONCE: Final = 4_000
"""How many attempts are summed in one transaction: a second or so, in which other writers wait."""

_KEYS_AT_ONCE: Final = 200

_COLUMNS: Final = (*KEY_COLUMNS, *SUM_COLUMNS)
_KEYS: Final = len(KEY_COLUMNS)
_SELECT_ROWS: Final = f"SELECT {', '.join(_COLUMNS)} FROM summaries"
_KEEP_ROW: Final = (
    f"INSERT INTO summaries ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))}) "
    f"ON CONFLICT ({', '.join(KEY_COLUMNS)}) DO UPDATE SET "
    + ", ".join(f"{column} = excluded.{column}" for column in SUM_COLUMNS)
)
_SELECT_PENDING: Final = (
    f"SELECT {', '.join(f'a.{column}' for column in ATTEMPT_COLUMNS[:-1])}, '[]' FROM pending p JOIN attempts a "
    f"ON a.student = p.student AND a.session = p.session AND a.number = p.number WHERE p.kind = '{ATTEMPT}'"
)
_SELECT_PENDING_PASSES: Final = (
    "SELECT p.student, p.session, p.number, a.assignment FROM pending p JOIN passes a "
    f"ON a.student = p.student AND a.session = p.session AND a.number = p.number WHERE p.kind = '{PASS}'"
)
_DROP_PENDING: Final = "DELETE FROM pending WHERE student = ? AND session = ? AND number = ? AND kind = ?"


class Summed(Log):
    """The log with its summaries."""

    def bring_up_to_date(self) -> None:
        """Add what is pending to the summaries. Raises `StorageError`; they are then as far as they were."""
        while self.database.rows("SELECT 1 FROM pending LIMIT 1"):
            with self.database.writing():
                self.database.lock()
                self._sum_some()

    def pending_attempts(self, student: str | None = None) -> list[Attempt]:
        """What is not in the summaries yet, in no order. Raises `StorageError`."""
        return [attempt for _, attempt in self._pending(" AND p.student = ?", (self._whose(student),))]

    def rebuild_summaries(self) -> None:
        """Make the summaries again from the log. Raises `StorageError`; what is not summed then is pending."""
        with self.database.writing():
            self.database.lock()
            for table in ("summaries", "pending", "derived"):
                self.database.change(f"DELETE FROM {table}")
            self.database.change(
                "INSERT INTO pending (student, session, number, kind) "
                f"SELECT student, session, number, '{ATTEMPT}' FROM attempts"
            )
        self.bring_up_to_date()

    def check_summaries(self) -> Iterator[str]:
        """Where summaries and log do not agree, a sentence each; none where all is well. Raises `StorageError`.

        Reads the whole log, one voicing after the other.
        """
        self.bring_up_to_date()
        kinds = {tuple(row) for row in self.database.rows("SELECT DISTINCT student, voicing, quality FROM attempts")}
        kinds |= {tuple(row) for row in self.database.rows("SELECT DISTINCT student, voicing, quality FROM summaries")}
        for kind in sorted(kinds):
            where = "WHERE student = ? AND voicing = ? AND quality = ?"
            columns = f"{', '.join(ATTEMPT_COLUMNS[:-1])}, '[]'"
            attempts = self._read(attempt_of, f"SELECT {columns} FROM attempts {where}", kind)
            wanted = {key: one.row() for key, one in sums_of((kind[0], attempt) for attempt in attempts).items()}
            kept = {
                tuple(row[:_KEYS]): tuple(row[_KEYS:]) for row in self.database.rows(f"{_SELECT_ROWS} {where}", kind)
            }
            for key in sorted(wanted.keys() | kept.keys()):
                if wanted.get(key) != kept.get(key):
                    named = ", ".join(f"{name} {value!r}" for name, value in zip(KEY_COLUMNS, key, strict=True))
                    yield f"The summary of {named} is not what the log gives."

    # -- derived

    def keep_derived(self, kind: str, name: str, text: str, *, student: str | None = None) -> None:
        """Keep a result that was computed from the record as it is now; see the head of this module.

        Raises `StorageError`.
        """
        self.database.change(
            "INSERT INTO derived (student, kind, name, text) VALUES (?, ?, ?, ?) "
            "ON CONFLICT (student, kind, name) DO UPDATE SET text = excluded.text",
            (self._whose(student), kind, name, text),
        )

    def derived(self, kind: str, name: str | None = None) -> dict[tuple[str, str], str]:
        """What is kept of a kind and is still true: (student, name) -> text. Raises `StorageError`."""
        self.bring_up_to_date()
        condition, values = ("", ()) if name is None else (" AND name = ?", (name,))
        found = self.database.rows(
            f"SELECT student, name, text FROM derived WHERE kind = ?{condition}", (kind, *values)
        )
        return {(student, named): text for student, named, text in found}

    # -- how

    def _pending(self, condition: str = "", values: tuple[object, ...] = ()) -> list[tuple[str, Attempt]]:
        rows = self.database.rows(f"{_SELECT_PENDING}{condition}", values)
        try:
            return [(row[0], attempt_of(row)) for row in rows]
        except (ValueError, TypeError) as error:
            raise self.database.damaged() from error

    def _sum_some(self) -> None:
        some = self._pending(" ORDER BY p.student, p.session, p.number LIMIT ?", (SUMMED_AT_ONCE,))
        touched = {(student, attempt.assignment) for student, attempt in some}
        done: list[tuple[object, ...]] = [
            (student, attempt.session, attempt.number, ATTEMPT) for student, attempt in some
        ]
        for student, session, number, mark in self.database.rows(_SELECT_PENDING_PASSES):
            touched.add((student, mark))
            done.append((student, session, number, PASS))
        if not done:  # what it was noted for is not there: a row was taken away by hand
            self.database.change("DELETE FROM pending")
            return
        self.database.change_many(_DROP_PENDING, done)
        self.database.change_many(
            "DELETE FROM derived WHERE kind = 'assignment' AND student = ? AND name = ?",
            [pair for pair in sorted(touched) if pair[1]],
        )
        added = sums_of(some)
        keys = sorted(added)
        for start in range(0, len(keys), _KEYS_AT_ONCE):
            self._add_to_rows({key: added[key] for key in keys[start : start + _KEYS_AT_ONCE]})

    def _add_to_rows(self, added: dict[Key, Sum]) -> None:
        one_key = f"({', '.join('?' * _KEYS)})"
        found = self.database.rows(
            f"{_SELECT_ROWS} WHERE ({', '.join(KEY_COLUMNS)}) IN (VALUES {', '.join([one_key] * len(added))})",
            [part for key in added for part in key],
        )
        rows: dict[Any, Sum] = {}
        try:
            for row in found:
                rows[tuple(row[:_KEYS])] = Sum.of_row(row[_KEYS:])
        except (ValueError, TypeError) as error:
            raise self.database.damaged() from error
        for key, one in added.items():
            rows.setdefault(key, Sum()).add(one)
        self.database.change_many(_KEEP_ROW, [(*key, *one.row()) for key, one in rows.items()])

    def _sum_again(self, student: str, item: Item) -> None:
        """An attempt that was in the summaries has changed: what is said of its item is to be made again."""
        voicing, quality, root = item
        self.database.change(
            "DELETE FROM summaries WHERE student = ? AND voicing = ? AND quality = ? AND root = ?",
            (student, voicing, quality, root),
        )
        spelled = self.database.rows(
            "SELECT DISTINCT root FROM attempts WHERE student = ? AND voicing = ? AND quality = ?",
            (student, voicing, quality),
        )
        for (name,) in spelled:
            if item_of(voicing, quality, name) == item:
                self.database.change(
                    "INSERT INTO pending (student, session, number, kind) "
                    f"SELECT student, session, number, '{ATTEMPT}' FROM attempts "
                    "WHERE student = ? AND voicing = ? AND quality = ? AND root = ? "
                    "ON CONFLICT (student, session, number, kind) DO NOTHING",
                    (student, voicing, quality, name),
                )
