"""Checks of single values, each fault collected with its place, and what a faulty value could have been.

A check returns the value to use, or `NOTHING` after it has noted why there is none, so that a file is read to its end
whatever is wrong with it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final, TypeVar

from trainer.drills.places import Path, Places
from trainer.drills.values import Fault, printable
from trainer.pitch import HIGHEST_PIANO_KEY, LOWEST_PIANO_KEY, MidiNote, Note, PitchError, key_name, parse_key

MOST_FAULTS: Final = 1000
"""More are not collected: such a file is no drill set."""

_LONGEST_COMPARED: Final = 100
_NUMBERED_TABLES: Final = frozenset({"drill", "voicing", "rule"})
_BIDIRECTIONAL: Final = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))
_REFUSED_CATEGORIES: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})


class Nothing:
    """The type of `NOTHING`, the answer of a check that failed."""


NOTHING: Final = Nothing()

Value = TypeVar("Value")


def shown(value: object) -> str:
    """A value of a file as a message quotes it: one harmless line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return printable(str(value), 40)


def kind_of(value: object) -> str:
    """What a value is, in a teacher's words."""
    if isinstance(value, bool):
        return "true or false"
    for kind, name in (
        (str, "text"),
        (int, "a whole number"),
        (float, "a number"),
        (list, "a list"),
        (dict, "a table"),
    ):
        if isinstance(value, kind):
            return name
    return "a date or time"


def listed(names: Iterable[str], joint: str = "or") -> str:
    """Names in quotes as a sentence lists them.

    >>> listed(["left", "right", "both"])
    '"left", "right" or "both"'
    """
    quoted = [f'"{name}"' for name in names]
    return f" {joint} ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else "".join(quoted)


def meant(found: str, names: Iterable[str]) -> str | None:
    """The name that was perhaps meant: one that looks like it, or the only one that begins with it.

    >>> meant("ordr", ["order", "octave"]), meant("reach", ["reach_semitones", "roots"])
    ('order', 'reach_semitones')
    """
    by_fold = {name.casefold(): name for name in names}
    wanted = " ".join(found.casefold().replace("_", " ").split())
    if len(wanted) > _LONGEST_COMPARED:
        return None
    near = get_close_matches(wanted.replace(" ", "_"), by_fold, n=1, cutoff=0.6)
    near = near or get_close_matches(wanted, by_fold, n=1, cutoff=0.6)
    begun = [name for name in by_fold if len(wanted) > 2 and name.replace("_", " ").startswith(wanted)]
    if not near and len(begun) == 1:
        near = begun
    return by_fold[near[0]] if near else None


_SPOKEN: Final = re.compile(r"([a-h])[ -]?(flat|sharp|is|es|s|b|#|♭|♯|)(-?\d{0,2})", re.IGNORECASE)
_SIGNS: Final = {"flat": "b", "es": "b", "s": "b", "b": "b", "♭": "b", "sharp": "#", "is": "#", "#": "#", "♯": "#"}


def meant_note(text: str) -> str | None:
    """The note that was perhaps meant by a text that is none: in small letters, in words, in German; with its octave
    where it has one.

    >>> meant_note("bb"), meant_note("E flat"), meant_note("Fis4"), meant_note("As"), meant_note("H"), meant_note("x")
    ('Bb', 'Eb', 'F#4', 'Ab', 'B', None)
    """
    match = _SPOKEN.fullmatch(text.strip())
    if match is None:
        return None
    letter, sign, octave = match[1].upper(), _SIGNS.get(match[2].lower(), ""), match[3]
    if match[2].lower() == "s" and letter not in "AE":
        return None
    return ("B" if letter == "H" else letter) + sign + octave


def field_name(path: Path) -> str:
    """A path as a teacher says it: ``drill 2, passes.order`` or ``drill 1, roots, item 3``.

    >>> field_name(("drill", 0, "roots", 2))
    'drill 1, roots, item 3'
    """
    said: list[str] = []
    for part in path:
        if isinstance(part, int):
            numbers_table = len(said) == 1 and said[0] in _NUMBERED_TABLES
            said.append(f"{said.pop()} {part + 1}" if numbers_table else f"item {part + 1}")
        else:
            said.append(printable(part, 40))
    table = len(path) > 1 and path[0] in _NUMBERED_TABLES and isinstance(path[1], int)
    head, rest = (said[:1], said[1:]) if table else ([], said)
    names = [name for name in rest if not name.startswith("item ")]
    items = [name for name in rest if name.startswith("item ")]
    return ", ".join([*head, *([".".join(names)] if names else []), *items])


@dataclass(slots=True)
class Checks:
    """The faults of one file so far. `whole` is False where part of the text could not be read as TOML at all."""

    file: str
    places: Places
    whole: bool = True
    faults: list[Fault] = field(default_factory=list)
    spoiled: set[str] = field(default_factory=set)
    """Plain names of the teacher's own voicings whose definition has a fault."""

    def fault(
        self,
        path: Path,
        found: object,
        expected: str,
        message: str,
        *,
        letter: int | None = None,
        at_key: bool = False,
    ) -> Nothing:
        """Note a fault at a path's value (or key), or at a character of a text."""
        if len(self.faults) < MOST_FAULTS:
            line, column = self.places.of_key(path) if at_key else self.places.of_value(path, letter)
            seen = "" if found is None else shown(found)
            if len(self.faults) == MOST_FAULTS - 1:
                message = f"{message} (and with this fault number {MOST_FAULTS} the reading of faults ends)"
            self.faults.append(Fault(self.file, line, column, field_name(path), seen, expected, message))
        return NOTHING

    def wrong_kind(self, path: Path, value: object, expected: str) -> Nothing:
        said = shown(value) if isinstance(value, list | dict) else f"{shown(value)} is {kind_of(value)}"
        if isinstance(value, list | dict):
            said = f"{said} stands here"
        return self.fault(path, value, expected, f"{said}; write {expected}")

    def missing(self, path: Path, expected: str) -> Nothing:
        # A line that could not be read may have been this very field.
        return self.fault(path, None, expected, f"is missing; write {expected}", at_key=True) if self.whole else NOTHING

    def unknown(self, path: Path, names: Sequence[str], hint: str | None = None) -> Nothing:
        name = str(path[-1])
        near = meant(name, names)
        there = f"the fields here are {', '.join(names)}"
        better = hint or (f'did you mean "{near}"?' if near else there)
        return self.fault(path, name, there, f"there is no such field; {better}", at_key=True)

    def text(
        self, path: Path, value: object, expected: str, most: int, *, lines: bool = False, empty: bool = False
    ) -> str | Nothing:
        """A text without control characters, at most so many characters long; `lines` may break."""
        if not isinstance(value, str):
            return self.wrong_kind(path, value, expected)
        good = True
        for letter, character in enumerate(value):
            if lines and character in "\n\t":
                continue
            if unicodedata.category(character) in _REFUSED_CATEGORIES or character in _BIDIRECTIONAL:
                code = f"U+{ord(character):04X}"
                what = "turns the direction of writing" if character in _BIDIRECTIONAL else "is a control character"
                self.fault(path, value, expected, f"{code} {what} and must not stand in a text", letter=letter)
                good = False
        if len(value) > most:
            return self.fault(
                path, value, f"at most {most} characters", f"has {len(value)} characters; at most {most} are read"
            )
        if not value.strip() and not empty:
            return self.fault(path, value, expected, f"is empty; write {expected}")
        return value if good else NOTHING

    def word(self, path: Path, value: object, words: Sequence[str]) -> str | Nothing:
        """One of a few words."""
        expected = listed(words)
        if not isinstance(value, str):
            return self.wrong_kind(path, value, expected)
        if value in words:
            return value
        near = meant(value, words)
        better = f'did you mean "{near}"?' if near else f"write {expected}"
        return self.fault(path, value, expected, f"{shown(value)} cannot stand here; {better}")

    def number(self, path: Path, value: object, least: int, most: int, what: str = "a whole number") -> int | Nothing:
        """A whole number within bounds, both included."""
        expected = f"{what} from {least} to {most}"
        if isinstance(value, bool) or not isinstance(value, int):
            return self.wrong_kind(path, value, expected)
        if not least <= value <= most:
            return self.fault(path, value, expected, f"{shown(value)} is out of range; write {expected}")
        return value

    def truth(self, path: Path, value: object) -> bool | Nothing:
        return value if isinstance(value, bool) else self.wrong_kind(path, value, "true or false")

    def key(self, path: Path, value: object) -> MidiNote | Nothing:
        """A key of the piano by name."""
        lowest, highest = key_name(LOWEST_PIANO_KEY), key_name(HIGHEST_PIANO_KEY)
        expected = f'a key of the piano from "{lowest}" to "{highest}", as in "D3" ("C4" is middle C)'
        if not isinstance(value, str):
            return self.wrong_kind(path, value, expected)
        try:
            midi_note = parse_key(value)
        except PitchError:
            near = meant_note(value)
            there = near and near != value and near[-1].isdigit()
            better = f'did you mean "{near}"?' if there else f"write {expected}"
            return self.fault(path, value, expected, f"{shown(value)} is no key; {better}")
        if not LOWEST_PIANO_KEY <= midi_note <= HIGHEST_PIANO_KEY:
            return self.fault(path, value, expected, f"{shown(value)} lies off the piano; write {expected}")
        return midi_note

    def root(self, path: Path, value: object) -> Note | Nothing:
        """A root by name, with at most one sharp or flat."""
        expected = 'a root such as "C", "Bb" or "F#"'
        if not isinstance(value, str):
            return self.wrong_kind(path, value, expected)
        try:
            root = Note.parse(value)
        except PitchError:
            near = meant_note(value)
            better = f'did you mean "{near}"?' if near and not near[-1].isdigit() else f"write {expected}"
            return self.fault(path, value, expected, f"{shown(value)} is no root; {better}")
        if not -1 <= root.alteration <= 1:
            plain = root.plain().name
            return self.fault(
                path, value, expected, f'{shown(value)} has a double accidental; write its plain key, "{plain}"'
            )
        return root

    def table(self, path: Path, value: object, expected: str) -> Mapping[str, object] | Nothing:
        return value if isinstance(value, dict) else self.wrong_kind(path, value, expected)
