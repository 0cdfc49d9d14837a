"""Other verdicts on what was played: put in the place of those recorded, which are kept and can be put back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from trainer.progress import Attempt
from trainer.storage.files import StorageError
from trainer.storage.records.log import same_answer
from trainer.storage.records.rows import ATTEMPT_COLUMNS, VERDICT_FIELDS, attempt_of, attempt_row
from trainer.storage.records.summed import Summed
from trainer.storage.records.sums import item_of

_SELECT: Final = f"SELECT {', '.join(ATTEMPT_COLUMNS)} FROM attempts WHERE student = ?"
_PLACES: Final = [ATTEMPT_COLUMNS.index(name) for name in VERDICT_FIELDS]
_VERDICT_COLUMNS: Final = (*VERDICT_FIELDS, "cause", "think_ms", "spread_ms")
_CHANGE: Final = (
    f"UPDATE attempts SET {', '.join(f'{name} = ?' for name in _VERDICT_COLUMNS)} "
    "WHERE student = ? AND session = ? AND number = ?"
)
_KEEP: Final = (
    f"INSERT INTO earlier_verdicts (student, session, number, regraded_utc, {', '.join(VERDICT_FIELDS)}) "
    f"VALUES ({', '.join('?' * (4 + len(VERDICT_FIELDS)))})"
)
_PAGE: Final = 200


class Verdicts(Summed):
    """The log and its summaries, with verdicts that can be changed and changed back."""

    def sessions(self, *, student: str | None = None) -> Iterator[list[Attempt]]:
        """Every session's attempts with their events, in the order of their numbers. Raises `StorageError`."""
        whose = self._whose(student)
        last: tuple[str, int] | None = None
        session: list[Attempt] = []
        while True:
            further, values = ("", ()) if last is None else (" AND (session, number) > (?, ?)", last)
            page = self._read(
                attempt_of, f"{_SELECT}{further} ORDER BY session, number LIMIT ?", (whose, *values, _PAGE)
            )
            for attempt in page:
                if session and session[-1].session != attempt.session:
                    yield session
                    session = []
                session.append(attempt)
            if len(page) < _PAGE:
                break
            last = (page[-1].session, page[-1].number)
        if session:
            yield session

    def one_of_each(self, set_title: str, *, student: str | None = None) -> list[Attempt]:
        """An attempt at every item that was asked from a set. Raises `StorageError`."""
        self.bring_up_to_date()
        whose = self._whose(student)
        items = self.database.rows(
            "SELECT DISTINCT voicing, quality, root FROM summaries WHERE student = ? AND period = '' AND set_title = ?",
            (whose, set_title),
        )
        found: list[Attempt] = []
        for voicing, quality, root in items:
            found += self._read(
                attempt_of,
                f"{_SELECT} AND voicing = ? AND quality = ? AND root = ? AND set_title = ? LIMIT 1",
                (whose, voicing, quality, root, set_title),
            )
        return found

    def change_verdicts(
        self, changes: Iterable[tuple[Attempt, Attempt]], utc: str, *, student: str | None = None
    ) -> int:
        """Put attempts as they are graded now in the place of the same ones as they were; give how many.

        All or none; what was is kept under `utc` and put back by `restore_verdicts`. Raises `StorageError`, also where
        an attempt does not stand in the record as it is said to.
        """
        whose = self._whose(student)
        count = 0
        with self.database.writing():
            self.database.lock()
            touched = set()
            for before, after in changes:
                key = (whose, before.session, before.number)
                there = self._at_key(key)
                if there != before or not same_answer(before, after):
                    raise StorageError(
                        self.database.path, f"has changed meanwhile (attempt {before.number})", "grade it again"
                    )
                old, new = attempt_row(before, whose), attempt_row(after, whose)
                self.database.change(_KEEP, (*key, utc, *(old[place] for place in _PLACES)))
                self._change(key, dict(zip(ATTEMPT_COLUMNS, new, strict=True)))
                touched.add(item_of(before.voicing, before.quality, before.root))
                count += 1
            self._summed_otherwise(whose, touched)
        return count

    def restore_verdicts(self, *, student: str | None = None) -> int:
        """Put back what the latest `change_verdicts` changed; give how many there were. Raises `StorageError`."""
        whose = self._whose(student)
        with self.database.writing():
            self.database.lock()
            [[latest]] = self.database.rows(
                "SELECT MAX(regraded_utc) FROM earlier_verdicts WHERE student = ?", (whose,)
            )
            if latest is None:
                return 0
            kept = self.database.rows(
                f"SELECT session, number, {', '.join(VERDICT_FIELDS)} FROM earlier_verdicts "
                "WHERE student = ? AND regraded_utc = ?",
                (whose, latest),
            )
            touched = set()
            for session, number, *verdict in kept:
                key = (whose, session, number)
                rows = self.database.rows(f"{_SELECT} AND session = ? AND number = ?", key)
                for row in rows:
                    values = dict(zip(ATTEMPT_COLUMNS, row, strict=True))
                    values |= dict(zip(VERDICT_FIELDS, verdict, strict=True))
                    before = self._attempt(values)
                    self._change(key, dict(zip(ATTEMPT_COLUMNS, attempt_row(before, whose), strict=True)))
                    touched.add(item_of(before.voicing, before.quality, before.root))
            self.database.change("DELETE FROM earlier_verdicts WHERE student = ? AND regraded_utc = ?", (whose, latest))
            self._summed_otherwise(whose, touched)
        return len(kept)

    # -- how

    def _at_key(self, key: tuple[str, str, int]) -> Attempt | None:
        found = self._read(attempt_of, f"{_SELECT} AND session = ? AND number = ?", key)
        return found[0] if found else None

    def _attempt(self, values: dict[str, object]) -> Attempt:
        try:
            return attempt_of([values[name] for name in ATTEMPT_COLUMNS])
        except (ValueError, TypeError) as error:
            raise self.database.damaged() from error

    def _change(self, key: tuple[str, str, int], values: dict[str, object]) -> None:
        self.database.change(_CHANGE, (*(values[name] for name in _VERDICT_COLUMNS), *key))

    def _summed_otherwise(self, student: str, items: Iterable[tuple[str, str, str]]) -> None:
        for item in items:
            self._sum_again(student, item)
        self.database.change("DELETE FROM derived WHERE student = ?", (student,))
