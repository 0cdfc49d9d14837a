"""Sets put together on the screen become files of the player's own, and such files are changed from there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.commands.refusals import Refusal

if TYPE_CHECKING:
    from trainer.drills.building import Choices, Edit
    from trainer.storage.places import Places


class Making:
    """Writes and changes the player's own sets. `changed` is told the name of every set whose file changed."""

    def __init__(self, places: Places, changed: Callable[[str], None]) -> None:
        self._places = places
        self._changed = changed

    def write(self, choices: Choices) -> str:
        """Write a new file under a name that nothing has yet; the set's name in the list. Raises `Refusal`."""
        from trainer.drills.building import built, file_stem
        from trainer.storage.files import StorageError, make_folder, write_text_atomically
        from trainer.storage.places import name_of

        made = built(choices)
        if made.drill_set is None:
            raise Refusal(" ".join(made.faults))
        folder = self._places.own_drills
        try:
            make_folder(folder)
            there = [*folder.iterdir(), *self._places.drill_files(), *self._places.lesson_files()]
            path = folder / f"{file_stem(choices.title, list(map(name_of, there)))}.toml"
            write_text_atomically(path, made.text)
        except StorageError as error:
            raise Refusal(str(error)) from None
        self._changed(str(path))
        return str(path)

    def open(self, name: str) -> Edit:
        """What a set of the player's own says. Raises `Refusal` for any other, and for one with a fault."""
        from trainer.drills.building import edit_of
        from trainer.storage.files import StorageError, read_text
        from trainer.storage.places import LESSON_ENDING

        path = Path(name)
        if not path.is_relative_to(self._places.own_drills):
            raise Refusal("This set came with the program and stays as it is; M makes one of your own.")
        if name.endswith(LESSON_ENDING):
            raise Refusal("A lesson is changed in its file, or taught anew by playing.")
        try:
            return edit_of(read_text(path))
        except StorageError as error:
            raise Refusal(str(error)) from None
        except ValueError as error:
            raise Refusal(f"{path.name} cannot be changed here: {error}") from None

    def change(self, name: str, edit: Edit, values: Mapping[str, object]) -> str:
        """Change a file, which must still be as it was when it was opened; the set's name. Raises `Refusal`."""
        from trainer.drills.building import changed
        from trainer.storage.files import StorageError, read_text, write_text_atomically

        path = Path(name)
        try:
            text = changed(edit, values)
            if read_text(path) != edit.text:
                raise Refusal(f"{path.name} was changed meanwhile; open it here again.")
            write_text_atomically(path, text)
        except StorageError as error:
            raise Refusal(str(error)) from None
        except ValueError as error:
            raise Refusal(str(error)) from None
        self._changed(name)
        return name
