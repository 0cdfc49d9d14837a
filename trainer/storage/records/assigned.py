"""Assignments as they were opened or handed out, and results as they came in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trainer.progress import Attempt
from trainer.storage.records.rows import storable_text
from trainer.storage.records.summed import Summed
from trainer.timing import PassRecord


@dataclass(frozen=True, slots=True)
class KeptAssignment:
    """An assignment: its `mark`, the `text` of its file, when it was opened, and its state in the caller's words."""

    mark: str
    text: str
    opened_utc: str
    state: str


@dataclass(frozen=True, slots=True)
class KeptResult:
    """That a student handed in the results of an assignment; `digest` tells one handing-in from another."""

    student: str
    mark: str
    digest: str
    received_utc: str


class Assigned(Summed):
    """Assignments and results beside the log."""

    def keep_assignment(self, mark: str, text: str, opened_utc: str, state: str, *, student: str | None = None) -> None:
        """Keep an assignment, or put another text or state in the place of what is kept; when it was opened stays.

        Raises `StorageError`.
        """
        self.database.change(
            "INSERT INTO assignments (student, mark, opened_utc, state, text) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (student, mark) DO UPDATE SET state = excluded.state, text = excluded.text",
            (self._whose(student), storable_text(mark), opened_utc, state, storable_text(text)),
        )

    def assignments(self, state: str | None = None, *, student: str | None = None) -> list[KeptAssignment]:
        """The assignments in the order in which they were opened. Raises `StorageError`."""
        condition, values = ("", ()) if state is None else (" AND state = ?", (state,))
        found = self.database.rows(
            f"SELECT mark, text, opened_utc, state FROM assignments WHERE student = ?{condition} "
            "ORDER BY opened_utc, mark",
            (self._whose(student), *values),
        )
        return [KeptAssignment(*row) for row in found]

    def append_results(
        self,
        student: str,
        mark: str,
        digest: str,
        received_utc: str,
        attempts: Iterable[Attempt],
        passes: Iterable[PassRecord] = (),
    ) -> bool:
        """Take in what a student handed in, all of it or nothing; False where the same was taken in before.

        Raises `StorageError`, also where another attempt of the student's has the place of one of these.
        """
        row = (storable_text(student), storable_text(mark), digest, received_utc)
        with self.database.writing():
            new = self.database.change(
                "INSERT INTO results (student, mark, digest, received_utc) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (student, mark, digest) DO NOTHING",
                row,
            )
            if not new:
                return False
            for attempt in attempts:
                self.append(attempt, student=student)
            for one in passes:
                self.append_pass(one, student=student)
        return True

    def results(self, mark: str | None = None, *, student: str | None = None) -> list[KeptResult]:
        """What was handed in, in the order in which it came. Raises `StorageError`."""
        asked = {"mark = ?": mark, "student = ?": student}
        conditions = [condition for condition, value in asked.items() if value is not None]
        where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
        found = self.database.rows(
            f"SELECT student, mark, digest, received_utc FROM results{where} ORDER BY received_utc, student, mark",
            tuple(value for value in asked.values() if value is not None),
        )
        return [KeptResult(*row) for row in found]

    def students(self) -> list[str]:
        """Everybody of whom something is kept here, the player apart, by name. Raises `StorageError`."""
        found = self.database.rows("SELECT student FROM results UNION SELECT student FROM assignments ORDER BY student")
        return [str(row[0]) for row in found if row[0] != self.database.owner]
