"""The player's record and settings, as the commands use them."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

from trainer.commands.refusals import Refusal

if TYPE_CHECKING:
    from trainer.drills import Drill
    from trainer.drills.assignments import Assignment
    from trainer.pitch import Note
    from trainer.progress import Attempt, Only, Tallies
    from trainer.screens.app import Preferences
    from trainer.storage.records import Records
    from trainer.timing import PassRecord


OPEN: Final = "open"
"""The state of an assignment that is not done yet."""


def open_records(place: Path | str) -> Records:
    """A record in a file or a database; a password that is asked for is read from the terminal. Raises `Refusal`."""
    from trainer.storage.records import Records

    return with_password(lambda password: Records.open(place, password=password))


Opened = TypeVar("Opened")


def with_password(opening: Callable[[str | None], Opened]) -> Opened:
    """What `opening` gives; it is called again with a password from the terminal where a server asks for one.

    Raises `Refusal`.
    """
    from trainer.storage.files import StorageError

    try:
        try:
            return opening(None)
        except StorageError as error:
            if not error.needs_password or sys.stdin is None or not sys.stdin.isatty():
                raise
            from getpass import getpass

            return opening(getpass(f"Password for {error.path}: "))
    except StorageError as error:
        raise Refusal(str(error)) from None


class Store:
    """The player's record and settings."""

    def __init__(self, place: str | None, *, to_practise: bool = False) -> None:
        """Open the record at a place (None: where the settings say). Raises `Refusal`, also where one is `to_practise`
        and the record may only be added to."""
        from trainer.storage.files import StorageError
        from trainer.storage.places import Places
        from trainer.storage.settings import read_settings

        try:
            self.places = Places.found()
            self.settings, faults = read_settings(self.places.settings)
        except StorageError as error:
            raise Refusal(str(error)) from None
        self.records = open_records(place or self.settings.records or self.places.records)
        if to_practise and not self.records.database.may_replace:
            self.records.close()
            raise Refusal(
                f"{self.records.path} takes what was played only when it is decided; practise into a file of your own "
                "and send it: trainer school send"
            )
        self._told = 0
        for fault in faults:
            print(f"trainer: {fault}", file=sys.stderr)
        self._tell_notices()

    def keep(self, event: object) -> None:
        """Store what a session event decided, before anything of it is shown."""
        from trainer.session import AttemptEnded, Voided

        if isinstance(event, AttemptEnded | Voided):
            self.append(event.attempt, event.replaces)

    def append(self, attempt: Attempt, replaces: bool) -> None:
        from trainer.storage.files import StorageError

        mark = self.assigned(attempt)
        try:
            self.records.append(replace(attempt, assignment=mark) if mark else attempt, replacing=replaces)
        except StorageError as error:
            raise Refusal(str(error)) from None

    @cached_property
    def assignments(self) -> tuple[Assignment, ...]:
        """The open assignments of the player, the one that is due first at the head. Raises `Refusal`."""
        from datetime import date

        from trainer.drills.assignments import read_assignment
        from trainer.storage.files import StorageError

        try:
            kept = self.records.assignments(OPEN)
        except StorageError as error:
            raise Refusal(str(error)) from None
        read = (read_assignment(each.text, each.mark)[0] for each in kept)
        found = [assignment for assignment in read if assignment is not None]
        return tuple(sorted(found, key=lambda assignment: assignment.due or date.max))

    def forget_assignments(self) -> None:
        """Read the open assignments anew when they are next asked for."""
        self.__dict__.pop("assignments", None)

    def assigned(self, attempt: Attempt) -> str:
        """The mark of the open assignment that an answer counts for, whatever set asked for it; "" for none."""
        from trainer.pitch import Note

        root = Note.parse(attempt.root)
        for assignment in self.assignments:
            if assignment.asks_for(attempt.quality, attempt.degrees, root):
                return assignment.mark
        return ""

    def append_pass(self, record: PassRecord) -> None:
        """Store a pass; one of an open assignment's lesson counts for it."""
        from trainer.storage.files import StorageError

        titles = {each.lesson.title: each.mark for each in self.assignments if each.lesson is not None}
        try:
            self.records.append_pass(replace(record, assignment=titles.get(record.title, "")))
        except StorageError as error:
            raise Refusal(str(error)) from None

    def preferences(self) -> Preferences:
        """The settings as the screen remembers them: commands by the key that gives them."""
        from trainer.pitch import parse_key
        from trainer.screens.app import Preferences
        from trainer.session import PEDAL_CONTROL
        from trainer.storage.settings import COMMAND_SETTINGS, PEDAL

        controls = {}
        for name, command in COMMAND_SETTINGS.items():
            given_from = getattr(self.settings, name)
            if given_from:
                controls[PEDAL_CONTROL if given_from == PEDAL else parse_key(given_from)] = command
        chosen = self.settings
        return Preferences(
            chosen.port, chosen.last_set, chosen.theme, chosen.keyboard_shown, controls, chosen.chord_style
        )

    def remember(self, preferences: Preferences) -> None:
        """Write what the player chose on the screen into the settings file; its comments stay."""
        from trainer.pitch import MidiNote, key_name
        from trainer.session import PEDAL_CONTROL
        from trainer.storage.settings import COMMAND_SETTINGS, PEDAL, change_settings

        keys = {command: control for control, command in preferences.controls.items()}
        changes: dict[str, str | int | bool] = {
            "port": preferences.port,
            "last_set": preferences.last_set,
            "theme": preferences.theme,
            "keyboard_shown": preferences.keyboard_shown,
            "chord_style": preferences.chord_style,
        }
        for name, command in COMMAND_SETTINGS.items():
            control = keys.get(command)
            given_from = "" if control is None else PEDAL if control == PEDAL_CONTROL else key_name(MidiNote(control))
            changes[name] = given_from
        changed = {name: value for name, value in changes.items() if getattr(self.settings, name) != value}
        if changed:
            self.settings = change_settings(self.places.settings, changed)

    def keep_row(self, row: str) -> str:
        """Add a drill's row to the set of what was played, in the player's own folder; a line that says where."""
        from trainer.storage.files import StorageError, make_folder, read_text, write_text_atomically

        path = self.places.own_drills / "played.toml"
        try:
            make_folder(path.parent)
            text = read_text(path) if path.exists() else 'title = "Played at the piano"\n'
            write_text_atomically(path, f"{text.rstrip()}\n\n{row.strip()}\n")
        except StorageError as error:
            raise Refusal(str(error)) from None
        return f"Kept in {path.name}, in your own sets, from the next start."

    def counted(self, student: str | None = None) -> Tallies:
        """The record, counted: the player's own, or what a student handed in."""
        return self.records.counted(student)

    def passes(self, only: Only) -> list[PassRecord]:
        """The passes of forms in time that are asked for, oldest first."""
        found = self.records.passes(since=only.since or None, until=only.until or None, with_events=False)
        return [
            one
            for one in found
            if (not only.sets or one.title in only.sets) and (not only.ports or one.port in only.ports)
        ]

    def weakness(self, drill: Drill) -> list[Note]:
        """The roots of a drill from weak to strong, by what the record says of its voicing and quality."""
        from trainer.pitch import Note
        from trainer.progress import by_root
        from trainer.storage.files import StorageError

        if drill.roots != "weakest first":
            return []
        try:
            own = [
                attempt
                for attempt in self.records.attempts(with_events=False)
                if (attempt.voicing, attempt.quality) == (drill.recipe.name, drill.quality.text)
            ]
        except StorageError as error:
            raise Refusal(str(error)) from None
        rows = [row for row in by_root(own) if row.attempts]
        # Least accurate first, then slowest; a root without enough times yet stands before one that has them.
        rows.sort(key=lambda row: (row.accuracy or 0.0, -(row.median_ms if row.median_ms is not None else 1e9)))
        return [Note.parse(row.root) for row in rows]

    def close(self) -> None:
        self.records.close()
        self._tell_notices()

    def _tell_notices(self) -> None:
        """What the record has to say that was not said yet; it looks after a long file while it is in use."""
        for notice in self.records.notices[self._told :]:
            print(f"trainer: {notice}", file=sys.stderr)
        self._told = len(self.records.notices)
