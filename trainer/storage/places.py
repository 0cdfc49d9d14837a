"""The folders where everything lives, and finding a drill set in them.

``TRAINER_HOME`` puts everything into that one folder. Otherwise ``XDG_DATA_HOME``, ``XDG_CONFIG_HOME`` and
``XDG_STATE_HOME`` are honoured wherever they are set, on every platform (a relative path in them is ignored, as the
XDG Base Directory Specification 0.8 asks), and where they are not, the platform's own folders are used.

Drill sets come from two folders: those that were shipped, and the player's own.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import platformdirs

from trainer.storage.files import StorageError

HOME_VARIABLE: Final = "TRAINER_HOME"

LESSON_ENDING: Final = ".lesson.toml"
"""What tells a lesson's file from a drill set's."""

_FOLDER: Final = "jazz-piano-trainer"
_PACKAGE: Final = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True)
class Places:
    """The folders, none of which need exist yet; whoever writes creates them."""

    data: Path
    config: Path
    state: Path
    shipped_drills: Path | None

    @staticmethod
    def found(environment: Mapping[str, str] | None = None, package: Path = _PACKAGE) -> Places:
        """The folders of this player, from the process's environment unless another is given.

        Raises `StorageError` where ``TRAINER_HOME`` is a file.
        """
        variables = os.environ if environment is None else environment
        shipped = shipped_drills(package)
        if home_text := variables.get(HOME_VARIABLE):
            home = Path(os.path.expanduser(home_text)).absolute()
            if home.is_file():
                raise StorageError(home, f"is a file, and {HOME_VARIABLE} names it", "name a folder there")
            return Places(home, home, home, shipped)
        return Places(
            _xdg(variables, "XDG_DATA_HOME") or platformdirs.user_data_path(_FOLDER, appauthor=False),
            _xdg(variables, "XDG_CONFIG_HOME") or platformdirs.user_config_path(_FOLDER, appauthor=False),
            _xdg(variables, "XDG_STATE_HOME") or platformdirs.user_state_path(_FOLDER, appauthor=False),
            shipped,
        )

    @property
    def records(self) -> Path:
        """The record of practice; its copies lie in ``backups`` beside it."""
        return self.data / "records.sqlite"

    @property
    def own_drills(self) -> Path:
        """The folder of the player's own drill sets."""
        return self.data / "drills"

    @property
    def dropped_assignments(self) -> Path:
        """The folder that is watched: an assignment put here is opened when the program starts."""
        return self.data / "assignments"

    @property
    def settings(self) -> Path:
        return self.config / "settings.toml"

    @property
    def log(self) -> Path:
        return self.state / "trainer.log"

    def drill_files(self) -> list[Path]:
        """Every drill set, the shipped ones first, each kind by its path. Raises `StorageError`."""
        return [file for file in self._toml_files() if not file.name.endswith(LESSON_ENDING)]

    def lesson_files(self) -> list[Path]:
        """Every lesson, the shipped ones first, each kind by its path. Raises `StorageError`."""
        return [file for file in self._toml_files() if file.name.endswith(LESSON_ENDING)]

    def _toml_files(self) -> list[Path]:
        return _toml_files(self.shipped_drills) + _toml_files(self.own_drills)

    def find_set(self, name_or_path: str) -> Path:
        """The drill set or lesson that is meant: a path, a file's name, a title, or a part of one that fits a single
        file.

        Capitals do not matter, and a player's own file hides a shipped one of the same name. Raises `StorageError`
        where none fits, with the nearest names, or where several do, with all of them.
        """
        path = os.path.expanduser(name_or_path)
        if os.path.isfile(path):
            return Path(path)
        files = {name_of(file).casefold(): file for file in (*self.drill_files(), *self.lesson_files())}
        wanted = name_or_path.strip().casefold().removesuffix(".toml").removesuffix(".lesson")
        titles = {file: title_of(file) for file in files.values()}
        for fits in (
            [file for stem, file in files.items() if stem == wanted],
            [file for file, title in titles.items() if title.casefold() == wanted],
            [file for stem, file in files.items() if wanted and (wanted in stem or wanted in titles[file].casefold())],
        ):
            if len(fits) == 1:
                return fits[0]
            if fits:
                names = ", ".join(map(name_of, fits))
                raise StorageError(name_or_path, f"fits several drill sets ({names})", "name one of them in full")
        raise StorageError(name_or_path, "is neither a file nor a drill set", _suggestion(wanted, titles))


def shipped_drills(package: Path = _PACKAGE) -> Path | None:
    """The drill sets that came with the program: ``_drills`` in the installed package, else the checkout's ``drills``.

    None where there is neither.
    """
    for folder in (package / "_drills", package.parent / "drills"):
        if folder.is_dir():
            return folder
    return None


def name_of(path: Path) -> str:
    """The name of a drill set's or lesson's file without what tells its kind.

    >>> name_of(Path("02-guide-tones.toml")), name_of(Path("my-blues.lesson.toml"))
    ('02-guide-tones', 'my-blues')
    """
    return path.name.removesuffix(LESSON_ENDING) if path.name.endswith(LESSON_ENDING) else path.stem


def title_of(path: Path) -> str:
    """The title that a drill file gives itself; "" where it has none or cannot be read."""
    try:
        title = tomllib.loads(path.read_text("utf-8-sig")).get("title")
    except (OSError, ValueError):
        return ""
    return title if isinstance(title, str) else ""


def _xdg(variables: Mapping[str, str], name: str) -> Path | None:
    base = Path(variables.get(name, ""))
    return base / _FOLDER if base.is_absolute() else None


def _toml_files(folder: Path | None) -> list[Path]:
    """The TOML files of a folder and those below it, hidden ones left out."""
    if folder is None or not folder.is_dir():
        return []
    return sorted(
        file
        for file in folder.rglob("*.toml")
        if file.is_file() and not any(part.startswith(".") for part in file.relative_to(folder).parts)
    )


def _suggestion(wanted: str, titles: Mapping[Path, str]) -> str:
    """What could be asked for instead: names that look like it, or what there is."""
    if not titles:
        return "there are no drill sets yet"
    names: dict[str, Path] = {}
    for file, title in titles.items():
        names[name_of(file).casefold()] = file
        names.setdefault(title.casefold(), file)
        for word in title.casefold().split():
            names.setdefault(word, file)
    near = dict.fromkeys(name_of(names[name]) for name in difflib.get_close_matches(wanted, names, n=5, cutoff=0.6))
    if near:
        return f"did you mean {' or '.join(near)}?".removesuffix("?")
    first = [name_of(file) for file in titles][:5]
    more = ", and more" if len(titles) > len(first) else ""
    return f"there are {', '.join(first)}{more}"
