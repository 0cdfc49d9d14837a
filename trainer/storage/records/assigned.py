"""Assignments as they were opened or handed out, and results as they came in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trainer.progress import Attempt
from trainer.storage.records.log import KNOWN, OTHERWISE
from trainer.storage.records.rows import storable_text
from trainer.storage.records.verdicts import Verdicts
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


class Assigned(Verdicts):
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

    def add_assignment(self, kept: KeptAssignment, *, student: str | None = None) -> bool:
        """Keep an assignment as it was kept elsewhere; False, and nothing changed, where it is kept here already.

        Raises `StorageError`.
        """
        added = self.database.change(
            "INSERT INTO assignments (student, mark, opened_utc, state, text) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (student, mark) DO NOTHING",
            (self._whose(student), storable_text(kept.mark), kept.opened_utc, kept.state, storable_text(kept.text)),
        )
        return added == 1

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

        Raises `StorageError`, also where another attempt of the student's has the place of one of these; the same
        answer, graded otherwise meanwhile, stays as it is here.
        """
        with self.database.writing():
            if not self.add_result(KeptResult(student, mark, digest, received_utc)):
                return False
            for attempt in attempts:
                place = self.add_attempt(attempt, student=student)
                self._only_the_same(KNOWN if place == OTHERWISE else place, "attempt", attempt)
            for one in passes:
                self.append_pass(one, student=student)
        return True

    def add_result(self, kept: KeptResult) -> bool:
        """Keep only that results came in; False where that is kept already. Raises `StorageError`."""
        added = self.database.change(
            "INSERT INTO results (student, mark, digest, received_utc) VALUES (?, ?, ?, ?) "
            "ON CONFLICT (student, mark, digest) DO NOTHING",
            (storable_text(kept.student), storable_text(kept.mark), storable_text(kept.digest), kept.received_utc),
        )
        return added == 1

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
        found: set[str] = set()
        for table in ("attempts", "passes", "assignments", "results"):
            # From one name to the next: each step is one look into an index, however many rows a name has.
            name = ""
            while rows := self.database.rows(
                f"SELECT student FROM {table} WHERE student > ? ORDER BY student LIMIT 1", (name,)
            ):
                name = str(rows[0][0])
                found.add(name)
        return sorted(found - {self.database.owner})
