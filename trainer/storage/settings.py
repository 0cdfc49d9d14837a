"""The player's settings: a TOML file that may be edited by hand, read with every fault told and written with its
comments kept.

`SETTINGS` is the table of them; the fields of `Settings` carry types and defaults. A setting that is faulty, unknown
or missing never stops the program: its default is used, and the fault is reported with file, line and field.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.chords import STYLES
from trainer.pitch import PitchError, parse_key
from trainer.storage.files import StorageError, read_text, write_text_atomically

if TYPE_CHECKING:
    import tomlkit

COMMAND_SETTINGS: Final = {
    "again_from": "again",
    "skip_from": "skip",
    "show_from": "show the answer",
    "pause_from": "pause",
    "next_set_from": "next set",
    "hear_from": "hear it",
}
"""The settings that give a command from the piano, and the command in the words of the session."""

PEDAL: Final = "pedal"

THEMES: Final = ("dark", "light", "high contrast")


@dataclass(frozen=True, slots=True)
class Settings:
    """What the player has chosen; a field each, with its default. What each means stands in `SETTINGS`."""

    player_name: str = ""
    port: str = ""
    channel: int = 0
    reach_semitones: int = 14
    again_from: str = ""
    skip_from: str = ""
    show_from: str = ""
    pause_from: str = ""
    next_set_from: str = ""
    hear_from: str = ""
    sound: bool = True
    sound_port: str = ""
    sound_velocity: int = 48
    sound_root: bool = True
    last_set: str = ""
    keyboard_shown: bool = False
    theme: str = "dark"
    chord_style: str = "house"
    mouse: bool = True
    octave_shift: int = 0
    german_note_names: bool = False
    daily_minutes: int = 15
    break_minutes: int = 25
    records: str = ""
    school: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """A row: the field's name, what it is for, what may stand there in words, and whether a value of its type may."""

    name: str
    explanation: str
    expected: str
    check: Callable[[Any], bool]

    @property
    def default(self) -> str | int | bool:
        value: str | int | bool = getattr(Settings(), self.name)
        return value

    @property
    def type(self) -> type:
        return type(self.default)

    def accepts(self, value: object) -> bool:
        """Whether a value may stand here; true and 1 are not the same."""
        return type(value) is self.type and self.check(value)


def _from_to(low: int, high: int) -> Callable[[int], bool]:
    return lambda value: low <= value <= high


def _one_of(*words: str) -> Callable[[str], bool]:
    return lambda value: value in words


def _one_line(value: str) -> bool:
    return value.isprintable()


def _place(value: str) -> bool:
    """One line, and no address that holds a password."""
    return value.isprintable() and not re.search(r"://[^/@]*:[^/@]*@|[?&]password=", value)


def _key_or_nothing(value: str) -> bool:
    try:
        return value in ("", PEDAL) or parse_key(value) is not None
    except PitchError:
        return False


def _listed(words: tuple[str, ...]) -> str:
    return " or ".join(f'"{word}"' for word in words)


_KEY_EXPECTED: Final = 'a key of the piano as "A0" or "C8" (C4 is middle C), "pedal", or "" for none'
_NAME_EXPECTED: Final = 'a name on one line, or "" for the first one found'

SETTINGS: Final = (
    Setting(
        "player_name",
        "Your name, as your teacher knows it; it stands in what you hand in.",
        'a name on one line, or ""',
        _one_line,
    ),
    Setting("port", "The piano: the name of its MIDI port, or a part of it.", _NAME_EXPECTED, _one_line),
    Setting(
        "channel",
        "The MIDI channel that is heard; 0 hears all but 10, the drums.",
        "a whole number from 0 to 16",
        _from_to(0, 16),
    ),
    Setting(
        "reach_semitones",
        "The widest interval that one hand takes in comfort: 12 an octave, 14 a ninth, 16 a tenth.",
        "a whole number of semitones from 7 to 24",
        _from_to(7, 24),
    ),
    Setting("again_from", "The key that asks the chord before once more.", _KEY_EXPECTED, _key_or_nothing),
    Setting("skip_from", "The key that skips a chord.", _KEY_EXPECTED, _key_or_nothing),
    Setting("show_from", "The key that shows the answer.", _KEY_EXPECTED, _key_or_nothing),
    Setting("pause_from", "The key that pauses, and goes on.", _KEY_EXPECTED, _key_or_nothing),
    Setting("next_set_from", "The key that ends the set and opens the next.", _KEY_EXPECTED, _key_or_nothing),
    Setting("hear_from", "The key that sounds the voicing.", _KEY_EXPECTED, _key_or_nothing),
    Setting("sound", "Whether voicings, click and bass are sounded at all.", "true or false", lambda value: True),
    Setting(
        "sound_port",
        "The MIDI port that voicings, click and bass are sounded on.",
        'a name on one line, or "" for the piano that is listened to',
        _one_line,
    ),
    Setting(
        "sound_velocity",
        "How loud voicings and the click are sounded; begin quietly.",
        "a whole number from 1 to 127",
        _from_to(1, 127),
    ),
    Setting(
        "sound_root",
        "Whether the root is sounded below a rootless voicing.",
        "true or false",
        lambda value: True,
    ),
    Setting("last_set", "The set practised last; the program opens on it.", 'a file name, or ""', _one_line),
    Setting("keyboard_shown", "Whether a small keyboard is drawn.", "true or false", lambda value: True),
    Setting("theme", "The colours of the screen.", _listed(THEMES), _one_of(*THEMES)),
    Setting(
        "chord_style",
        "How chords are written: house Cm7 and Cmaj7, words Cmin7 and Cmaj7, signs C-7 and C△7.",
        _listed(STYLES),
        _one_of(*STYLES),
    ),
    Setting("mouse", "Whether the mouse is used.", "true or false", lambda value: True),
    Setting(
        "octave_shift",
        "Added to the octave in the names of keys: 0 calls middle C C4, -1 calls it C3.",
        "a whole number from -2 to 2",
        _from_to(-2, 2),
    ),
    Setting(
        "german_note_names", "Whether H is B and B is B flat in chord symbols.", "true or false", lambda value: True
    ),
    Setting(
        "daily_minutes",
        "How long today's practice is to be; 0 opens on the last set instead. A day of rest is no fault.",
        "a whole number of minutes from 0 to 240",
        _from_to(0, 240),
    ),
    Setting(
        "break_minutes",
        "After how many minutes a break is proposed; 0 never.",
        "a whole number of minutes from 0 to 120",
        _from_to(0, 120),
    ),
    Setting(
        "records",
        "Where the record of practice is kept; --records on the command line comes first.",
        'a file, or a database as "postgresql://name@host/database" without a password; "" for the usual place',
        _place,
    ),
    Setting(
        "school",
        "The database of a school that practice is sent to by: trainer school send.",
        'a database as "postgresql://name@host/database" without a password; "" for none',
        lambda value: value == "" or (_place(value) and value.startswith(("postgresql://", "postgres://"))),
    ),
)
"""Every setting, in the order of a new file."""

_ROWS: Final = {row.name: row for row in SETTINGS}


@dataclass(frozen=True, slots=True)
class SettingFault:
    """What is wrong with one place of the file; `line` counts from 1, `field` is "" where the whole file is meant."""

    path: Path
    line: int
    field: str
    found: str
    expected: str

    def __str__(self) -> str:
        where = f"{self.path}:{self.line}: "
        return f"{where}{self.field + ': ' if self.field else ''}found {self.found}, expected {self.expected}"


def read_settings(path: Path) -> tuple[Settings, tuple[SettingFault, ...]]:
    """The settings of a file, and every fault in it in the order of its lines; the defaults where there is no file.

    Raises `StorageError` only where the file is there and cannot be opened.
    """
    if not path.exists():
        return Settings(), ()
    try:
        text = read_text(path)
    except StorageError as error:
        if isinstance(error.__cause__, OSError):
            raise
        return Settings(), (SettingFault(path, 1, "", "bytes that are no UTF-8", "text saved as UTF-8"),)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return Settings(), (_syntax_fault(path, text, error),)
    except (RecursionError, ValueError):  # brackets by the thousand, a number of thousands of digits
        return Settings(), (SettingFault(path, 1, "", "what is too deep or too long to read", "one setting a line"),)
    good: dict[str, Any] = {}
    faulty: dict[str, tuple[str, str]] = {}
    for name, value in values.items():
        row = _ROWS.get(name)
        if row is None:
            faulty[name] = ("a setting of no such name", _known_names(name))
        elif not row.accepts(value):
            faulty[name] = (_shown(value), row.expected)
        else:
            good[name] = value
    lines = _lines_of(text) if faulty else {}
    faults = [SettingFault(path, lines[name], name, *told) for name, told in faulty.items()]
    return Settings(**good), tuple(sorted(faults, key=lambda fault: fault.line))


def write_settings(path: Path, settings: Settings) -> None:
    """Write what differs from the file, and keep all else in it: comments, order, and what is not understood.

    A new file gets every setting, each under its explanation. Raises `StorageError`, also where the file is no TOML:
    it is then left for the player to put right.
    """
    there, _ = read_settings(path)
    change_settings(
        path,
        {
            field.name: getattr(settings, field.name)
            for field in fields(Settings)
            if getattr(settings, field.name) != getattr(there, field.name)
        },
    )


def change_settings(path: Path, changes: Mapping[str, str | int | bool]) -> Settings:
    """Set some settings by name in the file, keep all else in it, and give the settings as they are now.

    Raises `StorageError` as `write_settings`, and for a name or a value that cannot stand in the file.
    """
    # Loaded here: only a change needs it, and it would slow the opening of the screen.
    import tomlkit
    import tomlkit.exceptions

    for name, value in changes.items():
        row = _ROWS.get(name)
        if row is None:
            raise StorageError(path, f"has no setting {name!r}", f"it can be {_known_names(name)}")
        if not row.accepts(value):
            raise StorageError(path, f"cannot take {_shown(value)} for {name}", f"it takes {row.expected}")
    if not path.exists():
        write_text_atomically(path, _new_file(changes))
        return read_settings(path)[0]
    try:
        document = tomlkit.parse(read_text(path))
    except tomlkit.exceptions.TOMLKitError as error:
        raise StorageError(
            path, f"is not valid TOML ({error})", "put that line right, or move the file away to begin a new one"
        ) from error
    if changes:
        first_table = next((name for name, value in document.items() if isinstance(value, dict)), None)
        if first_table is None:
            for name, value in changes.items():
                document[name] = value
            text = tomlkit.dumps(document)
        else:
            text = _set_above_tables(document, changes)
        write_text_atomically(path, text)
    return read_settings(path)[0]


def _set_above_tables(document: tomlkit.TOMLDocument, changes: Mapping[str, str | int | bool]) -> str:
    """The text with settings changed in place, and new ones put at the top, since below a table they would be its."""
    import tomlkit

    new = {name: value for name, value in changes.items() if name not in document}
    for name, value in changes.items():
        if name not in new:
            document[name] = value
    return tomlkit.dumps(new) + tomlkit.dumps(document)


def _new_file(changes: Mapping[str, str | int | bool]) -> str:
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("Settings. A line that is taken out stands for its default."))
    for row in SETTINGS:
        document.add(tomlkit.nl())
        document.add(tomlkit.comment(row.explanation))
        document.add(tomlkit.comment(f"Here may stand: {row.expected}."))
        document.add(row.name, tomlkit.item(changes.get(row.name, row.default)))
    return tomlkit.dumps(document)


# -- faults


def _shown(value: object) -> str:
    """A value as it would stand in the file, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _known_names(name: str) -> str:
    near = difflib.get_close_matches(name, _ROWS, n=1)
    return near[0] if near else f"one of {', '.join(_ROWS)}"


def _lines_of(text: str) -> dict[str, int]:
    """The line on which each top-level name of a valid TOML text first stands.

    Found by reading ever longer beginnings of the text: a beginning that is valid and has a name which the
    one before had not ends with the statement that gave it, and that statement began behind the last valid one.
    """
    found: dict[str, int] = {}
    lines = text.replace("\r\n", "\n").split("\n")
    begins = 1
    for count in range(1, len(lines) + 1):
        try:
            names = tomllib.loads("\n".join(lines[:count]))
        except tomllib.TOMLDecodeError:
            continue
        for name in names:
            found.setdefault(name, begins)
        begins = count + 1
    return found


_PLACE: Final = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)")


def _syntax_fault(path: Path, text: str, error: tomllib.TOMLDecodeError) -> SettingFault:
    message = str(error)
    place = _PLACE.search(message)
    lines = text.split("\n")
    line = int(place[1]) if place and place[1] else len(lines)
    reason = _PLACE.sub("", message)
    written = lines[line - 1].strip() if line <= len(lines) else ""
    name = written.split("=")[0].strip() if "=" in written else ""
    return SettingFault(path, line, name if name in _ROWS else "", f"{_shown(written)} ({reason})", "a line of TOML")
