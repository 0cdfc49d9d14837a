"""Open assignments as the screen shows them: at the head of the sets with their state, and after a session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.commands.assigning import shown, standing_of, take_in_dropped, today
from trainer.commands.refusals import Refusal
from trainer.commands.store import Store

if TYPE_CHECKING:
    from trainer.drills.assignments import Assignment
    from trainer.progress import Attempt
    from trainer.screens.app import SetEntry


class Assigned:
    """The player's open assignments. Their files lie among the player's own sets under their marks."""

    def __init__(self, store: Store) -> None:
        """Raises `Refusal`. `troubles`: a line for each file that was dropped and could not be opened."""
        self._store = store
        self.troubles = tuple(take_in_dropped(store))

    def at_the_head(self, entries: Sequence[SetEntry]) -> list[SetEntry]:
        """The sets with those of open assignments first, the one that is due first at the head of all."""
        marks = [assignment.mark for assignment in self._store.assignments]

        def rank(entry: SetEntry) -> int:
            assignment = self._of(entry)
            return len(marks) if assignment is None else marks.index(assignment.mark)

        return sorted(entries, key=rank)

    def told(self, entry: SetEntry) -> SetEntry:
        """A set's row with the state of its assignment, where it has one that is open. Raises `Refusal`."""
        assignment = self._of(entry)
        if assignment is None:
            return entry
        sentence = standing_of(self._store, assignment).sentence(assignment.due, today())
        return replace(entry, standing=f"Assigned: {sentence}")

    def after(self, attempts: Sequence[Attempt]) -> list[str]:
        """What a session came to for the assignments that its answers counted for: a line for each."""
        marks = dict.fromkeys(self._store.assigned(attempt) for attempt in attempts if attempt.counts)
        lines = []
        for assignment in [each for each in self._store.assignments if each.mark in marks]:
            try:
                found = standing_of(self._store, assignment)
            except Refusal as refusal:
                lines.append(str(refusal))
                continue
            title = shown(assignment.title)
            if found.done == len(found.cells):
                lines.append(f"{title}: every part of it is done. Hand it in with: trainer hand-in {assignment.mark}")
                self._store.forget_assignments()
            else:
                lines.append(f"{title}: {found.sentence(assignment.due, today())}")
        return lines

    def _of(self, entry: SetEntry) -> Assignment | None:
        from trainer.storage.places import name_of

        path = Path(entry.name)
        if path.parent != self._store.places.own_drills:
            return None
        return next((each for each in self._store.assignments if each.mark == name_of(path)), None)
