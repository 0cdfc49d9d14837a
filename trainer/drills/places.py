"""Where each key and value of a TOML text stands, so that a fault can name its line and column.

`tomllib` gives the values and no places; this index gives the places and trusts `tomllib` for validity: it is
built only for text that `tomllib` has read. A path is a tuple of keys and, inside arrays, positions from 0:
``("drill", 1, "roots", 2)`` is the third root of the second drill. Paths longer than `DEEPEST` are not kept.
Lines and columns count from 1, columns in characters (a tab is one). Source of the grammar: TOML 1.0.0 and 1.1.0.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Final

Path = tuple[str | int, ...]

DEEPEST: Final = 6
"""The longest path kept; a drill set's own fields need four."""

_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_BLANK: Final = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_SPACE: Final = re.compile(r"[ \t]*")
_SCALAR_ALONE: Final = re.compile(r"[^#\n]*")
_SCALAR_INSIDE: Final = re.compile(r"[^#\n,\]}]*")
_ESCAPE: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", "e": "\x1b", '"': '"', "\\": "\\"}
_ESCAPE_DIGITS: Final = {"x": 2, "u": 4, "U": 8}
_FOLDED_LINE: Final = re.compile(r"\\[ \t]*\n[ \t\n]*")


@dataclass(frozen=True, slots=True)
class Spot:
    """Offsets of a key (its first character) and its value; `letters` maps a string's characters to offsets."""

    key_at: int
    value_at: int
    text: str | None = None
    letters: tuple[int, ...] = ()


@dataclass(slots=True)
class Places:
    """The index of one text (with ``\\n`` line ends, see `places`)."""

    source: str
    spots: dict[Path, Spot] = field(default_factory=dict)
    _line_starts: list[int] = field(default_factory=list)

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column (from 1) of an offset."""
        if not self._line_starts:
            self._line_starts = [0, *(match.end() for match in re.finditer("\n", self.source))]
        line = bisect_right(self._line_starts, offset)
        return line, offset - self._line_starts[line - 1] + 1

    def of_key(self, path: Path) -> tuple[int, int]:
        """Where the key of a path stands; for an unknown path, where its nearest known parent stands."""
        return self.line_column(self._nearest(path).key_at)

    def of_value(self, path: Path, letter: int | None = None) -> tuple[int, int]:
        """Where the value of a path stands, or the character number `letter` inside a string value."""
        spot = self._nearest(path)
        if letter is not None and path in self.spots and spot.letters:
            return self.line_column(spot.letters[min(letter, len(spot.letters) - 1)])
        return self.line_column(spot.value_at)

    def _nearest(self, path: Path) -> Spot:
        while path:
            if path in self.spots:
                return self.spots[path]
            path = path[:-1]
        return Spot(0, 0)


def places(text: str) -> Places:
    """The index of a text that `tomllib` accepts.

    >>> index = places('title = "Shells"\\n[[drill]]\\nchord = "m7"\\n')
    >>> index.of_key(("drill", 0, "chord")), index.of_value(("drill", 0, "chord"))
    ((3, 1), (3, 9))
    """
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    """One pass over the text. Loops, never recurses: nesting costs no stack."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.at = 0
        self.index = Places(source)
        self.array_tables: dict[Path, int] = {}

    def scan(self) -> Places:
        table: Path = ()
        self._skip(_BLANK)
        while self.at < len(self.source):
            before = self.at
            if self.source[self.at] == "[":
                table = self._header()
            else:
                path, key_at = self._keys(table)
                self._value(path, key_at)
            self._skip(_BLANK)
            if self.at == before:  # only for text that is not TOML: go on, never hang
                self.at += 1
        return self.index

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.source, self.at)
        if match is not None:
            self.at = match.end()

    def _note(self, path: Path, spot: Spot) -> None:
        if 0 < len(path) <= DEEPEST:
            self.index.spots.setdefault(path, spot)

    def _header(self) -> Path:
        start = self.at
        is_array = self.source.startswith("[[", start)
        self.at += 2 if is_array else 1
        path: Path = ()
        parts = self._key_parts()
        for number, (part, _) in enumerate(parts):
            path = _longer(path, part)
            last = number == len(parts) - 1
            if last and is_array:
                self._note(path, Spot(start, start))
                self.array_tables[path] = self.array_tables.get(path, 0) + 1
            if path in self.array_tables:
                path = _longer(path, self.array_tables[path] - 1)
            self._note(path, Spot(start, start))
        closing = self.source.find("]", self.at)
        self.at = len(self.source) if closing < 0 else closing + (2 if is_array else 1)
        return path

    def _key_parts(self) -> list[tuple[str, int]]:
        parts = []
        while True:
            self._skip(_SPACE)
            start = self.at
            if self.source.startswith(('"', "'"), start):
                parts.append((self._string()[0], start))
            else:
                self._skip(_BARE_KEY)
                parts.append((self.source[start : self.at], start))
            self._skip(_SPACE)
            if not self.source.startswith(".", self.at):
                return parts
            self.at += 1

    def _keys(self, table: Path) -> tuple[Path, int]:
        """Read ``a.b =`` up to its value; the path below `table` and where its last part stands."""
        path, key_at = table, self.at
        parts = self._key_parts()
        self._skip(_SPACE)
        if self.source.startswith("=", self.at):
            self.at += 1
        for number, (part, key_at) in enumerate(parts):  # noqa: B007 (the last one's place is wanted)
            path = _longer(path, part)
            if number < len(parts) - 1:
                self._note(path, Spot(key_at, key_at))
        return path, key_at

    def _value(self, path: Path, key_at: int) -> None:
        """Read one value with all that is inside it."""
        open_arrays: list[tuple[Path, int] | tuple[Path, None]] = []  # a table has no position
        self._skip(_SPACE)
        while True:
            opened = self._one(path, key_at, bool(open_arrays))
            if opened:
                open_arrays.append((path, 0) if opened == "[" else (path, None))
            while open_arrays:
                self._skip_commas()
                if self.at >= len(self.source):
                    return
                if self.source[self.at] not in "]}":
                    break
                self.at += 1
                open_arrays.pop()
            if not open_arrays:
                return
            parent, position = open_arrays[-1]
            if position is None:
                before = self.at
                path, key_at = self._keys(parent)
                self._skip(_BLANK)
                if self.at == before:
                    self.at += 1
            else:
                path, key_at = _longer(parent, position), self.at
                open_arrays[-1] = (parent, position + 1)

    def _skip_commas(self) -> None:
        self._skip(_BLANK)
        while self.source.startswith(",", self.at):
            self.at += 1
            self._skip(_BLANK)

    def _one(self, path: Path, key_at: int, inside: bool) -> str:
        """Note one value; a bracket that it opens is returned with the inside still to read."""
        start = self.at
        first = self.source[start : start + 1]
        if first and first in "[{":
            self._note(path, Spot(key_at, start))
            self.at += 1
            return first
        if first and first in "\"'":
            text, letters = self._string()
            self._note(path, Spot(key_at, start, text, letters))
            return ""
        self._note(path, Spot(key_at, start))
        self._skip(_SCALAR_INSIDE if inside else _SCALAR_ALONE)
        if inside and self.at == start:
            self.at += 1
        return ""

    def _string(self) -> tuple[str, tuple[int, ...]]:
        """Read any of the four kinds of string: its text, and the offset of each character and of the closing quote."""
        quote = self.source[self.at]
        long = self.source.startswith(quote * 3, self.at)
        self.at += 3 if long else 1
        if long and self.source.startswith("\n", self.at):
            self.at += 1
        end = quote * 3 if long else quote
        text: list[str] = []
        letters: list[int] = []
        while self.at < len(self.source):
            if self.source.startswith(end, self.at):
                # A long string may end in one or two quotes of its own before the three that close it.
                if not (long and self.source.startswith(quote, self.at + 3)):
                    break
            letters.append(self.at)
            text.append(self._character(quote == '"', long))
            if not text[-1]:
                text.pop()
                letters.pop()
        letters.append(self.at)
        self.at = min(self.at + len(end), len(self.source))
        return "".join(text), tuple(letters)

    def _character(self, escapes: bool, long: bool) -> str:
        letter = self.source[self.at]
        if not escapes or letter != "\\":
            self.at += 1
            return letter
        folded = _FOLDED_LINE.match(self.source, self.at) if long else None
        if folded is not None:
            self.at = folded.end()
            return ""
        letter = self.source[self.at + 1 : self.at + 2]
        digits = _ESCAPE_DIGITS.get(letter, 0)
        number = self.source[self.at + 2 : self.at + 2 + digits]
        self.at += 2 + digits
        if not digits:
            return _ESCAPE.get(letter, letter)
        try:
            return chr(int(number, 16))
        except ValueError:
            return "\ufffd"


def _longer(path: Path, part: str | int) -> Path:
    """The path one step on; beyond `DEEPEST` it stops growing, so that hostile nesting stays cheap."""
    return path if len(path) > DEEPEST else (*path, part)
