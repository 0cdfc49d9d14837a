"""The player's record and settings, as the commands use them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.commands.refusals import Refusal

if TYPE_CHECKING:
    from trainer.drills import Drill
    from trainer.pitch import Note
    from trainer.progress import Attempt
    from trainer.screens.app import Preferences


class Store:
    """The player's record and settings."""

    def __init__(self, path: str | None) -> None:
        from trainer.storage.files import StorageError
        from trainer.storage.places import Places
        from trainer.storage.records import Records
        from trainer.storage.settings import read_settings

        try:
            self.places = Places.found()
            self.settings, faults = read_settings(self.places.settings)
            self.records = Records.open(self.places.records if path is None else Path(path))
        except StorageError as error:
            raise Refusal(str(error)) from None
        for notice in (*faults, *self.records.notices):
            print(f"trainer: {notice}", file=sys.stderr)

    def keep(self, event: object) -> None:
        """Store what a session event decided, before anything of it is shown."""
        from trainer.session import AttemptEnded, Voided

        if isinstance(event, AttemptEnded | Voided):
            self.append(event.attempt, event.replaces)

    def append(self, attempt: Attempt, replaces: bool) -> None:
        from trainer.storage.files import StorageError

        try:
            self.records.append(attempt, replacing=replaces)
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
