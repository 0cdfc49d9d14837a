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

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from trainer.progress import Attempt
from trainer.storage.records.log import ATTEMPT, PASS, Log
from trainer.storage.records.rows import ATTEMPT_COLUMNS, attempt_of
from trainer.storage.records.sums import KEY_COLUMNS, SUM_COLUMNS, Item, Key, Sum, item_of, sums_of

SUMMED_AT_ONCE: Final = 2_000
"""How many attempts are summed in one transaction: a second at most, in which other writers wait."""

MANY: Final = 10_000
"""From so many pending attempts on, all that is said of their voicings is made anew: each row is then written once."""

_KEYS_AT_ONCE: Final = 200

_COLUMNS: Final = (*KEY_COLUMNS, *SUM_COLUMNS)
_KEYS: Final = len(KEY_COLUMNS)
_SELECT_ROWS: Final = f"SELECT {', '.join(_COLUMNS)} FROM summaries"
_KEEP_ROW: Final = (
    f"INSERT INTO summaries ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))}) "
    f"ON CONFLICT ({', '.join(KEY_COLUMNS)}) DO UPDATE SET "
    + ", ".join(f"{column} = excluded.{column}" for column in SUM_COLUMNS)
)
_OF_KIND: Final = "WHERE student = ? AND voicing = ? AND quality = ?"
_SELECT_ATTEMPTS: Final = f"SELECT {', '.join(ATTEMPT_COLUMNS[:-1])}, '[]' FROM attempts"
_KINDS_PENDING: Final = (
    "SELECT DISTINCT a.student, a.voicing, a.quality FROM pending p JOIN attempts a "
    f"ON a.student = p.student AND a.session = p.session AND a.number = p.number WHERE p.kind = '{ATTEMPT}'"
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
        while waiting := self.database.rows("SELECT 1 FROM pending LIMIT ?", (MANY + 1,)):
            if len(waiting) > MANY:
                self._sum_kinds(_KINDS_PENDING)
                continue
            with self.database.writing():
                self.database.lock()
                self._sum_some()

    def pending_attempts(self, student: str | None = None) -> list[Attempt]:
        """What is not in the summaries yet, in no order. Raises `StorageError`."""
        return [attempt for _, attempt in self._pending(" AND p.student = ?", (self._whose(student),))]

    def rebuild_summaries(self) -> None:
        """Make the summaries again from the log. Raises `StorageError`; what was not done then can be done again."""
        with self.database.writing():
            self.database.lock()
            self.database.change("DELETE FROM derived")
            self.database.change(
                "DELETE FROM summaries WHERE NOT EXISTS (SELECT 1 FROM attempts a WHERE a.student = summaries.student "
                "AND a.voicing = summaries.voicing AND a.quality = summaries.quality)"
            )
        self._sum_kinds("SELECT DISTINCT student, voicing, quality FROM attempts")
        self.bring_up_to_date()

    def check_summaries(self) -> Iterator[str]:
        """Where summaries and log do not agree, a sentence each; none where all is well. Raises `StorageError`.

        Reads the whole log, one voicing after the other.
        """
        self.bring_up_to_date()
        kinds = {tuple(row) for row in self.database.rows("SELECT DISTINCT student, voicing, quality FROM attempts")}
        kinds |= {tuple(row) for row in self.database.rows("SELECT DISTINCT student, voicing, quality FROM summaries")}
        for kind in sorted(kinds):
            wanted = {key: one.row() for key, one in sums_of(self._of_kind(kind, [])).items()}
            kept = {
                tuple(row[:_KEYS]): tuple(row[_KEYS:]) for row in self.database.rows(f"{_SELECT_ROWS} {_OF_KIND}", kind)
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
        self.bring_up_to_date()  # or what is pending would seem to have come later
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

    def worked_at(self) -> set[tuple[str, str]]:
        """Every (student, mark) of an assignment that something was played for. Raises `StorageError`."""
        self.bring_up_to_date()
        found = self.database.rows(
            "SELECT DISTINCT student, assignment FROM summaries WHERE period = '' AND assignment <> '' "
            "UNION SELECT DISTINCT student, assignment FROM passes WHERE assignment <> ''"
        )
        return {(student, mark) for student, mark in found}

    # -- how

    def _pending(self, condition: str = "", values: tuple[object, ...] = ()) -> list[tuple[str, Attempt]]:
        rows = self.database.rows(f"{_SELECT_PENDING}{condition}", values)
        try:
            return [(row[0], attempt_of(row)) for row in rows]
        except (ValueError, TypeError) as error:
            raise self.database.damaged() from error

    def _sum_kinds(self, kinds: str) -> None:
        """Make the summaries of some kinds of voicings anew, each from all its attempts: the way for very many."""
        for kind in self.database.rows(kinds):
            with self.database.writing():
                self.database.lock()
                done: list[tuple[object, ...]] = []
                added = sums_of(self._of_kind(kind, done))
                self.database.change(f"DELETE FROM summaries {_OF_KIND}", kind)
                self.database.change_many(_KEEP_ROW, ((*key, *one.row()) for key, one in added.items()))
                self.database.change_many(_DROP_PENDING, done)
                self._drop_derived({(key[0], key[-1]) for key in added})

    def _of_kind(self, kind: Sequence[str], done: list[tuple[object, ...]]) -> Iterator[tuple[str, Attempt]]:
        """Every attempt at a kind of voicing with its student, one root after the other; noted in `done`, too."""
        for (root,) in self.database.rows(f"SELECT DISTINCT root FROM attempts {_OF_KIND}", kind):
            for attempt in self._read(attempt_of, f"{_SELECT_ATTEMPTS} {_OF_KIND} AND root = ?", (*kind, root)):
                done.append((kind[0], attempt.session, attempt.number, ATTEMPT))
                yield kind[0], attempt

    def _drop_derived(self, touched: Iterable[tuple[str, str]]) -> None:
        self.database.change_many(
            "DELETE FROM derived WHERE kind = 'assignment' AND student = ? AND name = ?",
            [pair for pair in sorted(touched) if pair[1]],
        )

    def _sum_some(self) -> None:
        some = self._pending(" ORDER BY p.student, p.session, p.number LIMIT ?", (SUMMED_AT_ONCE,))
        touched = {(student, attempt.assignment) for student, attempt in some}
        done: list[tuple[object, ...]] = [
            (student, attempt.session, attempt.number, ATTEMPT) for student, attempt in some
        ]
        for student, session, number, mark in self.database.rows(_SELECT_PENDING_PASSES):
            touched.add((student, mark))
            done.append((student, session, number, PASS))
        if not done:
            # Another program was quicker; or what was noted is not there, a row having been taken away by hand.
            for kind, table in ((ATTEMPT, "attempts"), (PASS, "passes")):
                self.database.change(
                    f"DELETE FROM pending WHERE kind = '{kind}' AND NOT EXISTS (SELECT 1 FROM {table} a WHERE "
                    "a.student = pending.student AND a.session = pending.session AND a.number = pending.number)"
                )
            return
        self.database.change_many(_DROP_PENDING, done)
        self._drop_derived(touched)
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
