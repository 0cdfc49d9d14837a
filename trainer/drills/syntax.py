"""TOML text -> plain data, with the faults of its syntax in a teacher's words."""

from __future__ import annotations

import re
import tomllib
from typing import Final

from trainer.drills.checks import field_name
from trainer.drills.values import MOST_BYTES, Fault, printable

LONGEST_LINE: Final = 4000
"""A longer line is refused unread: hostile ones cost a TOML reader time without bound."""

_MOST_BROKEN_LINES: Final = 20
_PLACE: Final = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_ONE_FIELD: Final = re.compile(r"[ \t]*([A-Za-z0-9_-]+)[ \t]*=")

# The beginning of the standard library's message, ours, and whether only its line is lost (the rest reads on).
_IN_OUR_WORDS: Final = (
    ("Cannot overwrite a value", "this field stands twice", True),
    ("Cannot declare", "this table cannot stand here a second time; each drill begins with [[drill]]", False),
    ("Cannot mutate", "this table was closed already and cannot grow here", False),
    ("Invalid value", 'no value can be read here; texts stand in quotes, as in "m7"', True),
    ("Illegal character", "a text is not closed with a quote, or holds a character that must not stand in it", True),
    ("Unterminated string", "a text that was opened with a quote is never closed", False),
    ("Expected '=' after a key", 'a field is written name = value, as in chord = "m7"', True),
    ("Expected newline or end of document", "only a comment may follow a value on its line", True),
    ("Unclosed array", "a list is not closed, or a comma is missing in it", False),
    ("Unclosed inline table", "a table is not closed, or a comma is missing in it", False),
    ("Expected ']", "a bracket is not closed", False),
    ("Invalid initial character for a key part", "a field's name of letters, digits, _ or - must stand here", False),
    ("Invalid statement", "a line is a field (name = value), a table such as [[drill]], or a comment after #", False),
    ("Unescaped '\\' in a string", "a backslash in a text must be written twice", True),
    ("Duplicate inline table key", "this field stands twice in its table", True),
)


def parsed(text: str, file_name: str) -> tuple[dict[str, object] | None, str, tuple[Fault, ...]]:
    """The data, or None; the text it was read from; and a fault for each line that could not be read.

    A line that is one whole field is left out and the rest read on, so that its faults are told, too. After
    any other fault of syntax further ones would be guesses.
    """
    text = text.replace("\r\n", "\n")
    early = _too_large(text, file_name)
    if early is not None:
        return None, text, (early,)
    broken: list[Fault] = []
    while True:
        try:
            return tomllib.loads(text), text, tuple(broken)
        except (ValueError, RecursionError) as error:
            fault, alone = _broken(text, file_name, error)
        if broken and not (alone and fault.field):
            return None, text, tuple(broken)
        broken.append(fault)
        if not (alone and fault.field) or len(broken) >= _MOST_BROKEN_LINES:
            return None, text, tuple(broken)
        lines = text.split("\n")
        lines[fault.line - 1] = ""
        text = "\n".join(lines)


def _too_large(text: str, file_name: str) -> Fault | None:
    size = len(text.encode("utf-8", "surrogatepass"))
    if size > MOST_BYTES:
        expected = f"at most {MOST_BYTES // 1024} KB"
        message = f"the file has {size // 1024} KB; at most {MOST_BYTES // 1024} KB are read: make two sets of it"
        return Fault(file_name, 1, 1, "", f"{size} bytes", expected, message)
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            expected = f"at most {LONGEST_LINE} characters a line"
            message = f"the line has {len(line)} characters; at most {LONGEST_LINE} are read"
            return Fault(file_name, number, LONGEST_LINE + 1, "", f"{len(line)} characters", expected, message)
    return None


def _broken(text: str, file_name: str, error: Exception) -> tuple[Fault, bool]:
    """The fault that the reader stopped at, and whether only its line is lost."""
    lines = text.split("\n")
    if isinstance(error, RecursionError):
        message = "lists or tables are nested too deeply"
        return Fault(file_name, 1, 1, "", "", "a list of roots, or a table of fields", message), False
    said = str(error)
    match = _PLACE.search(said)
    if match is None:
        return Fault(file_name, 1, 1, "", "", "TOML", f"cannot be read as TOML: {printable(said)}"), False
    line = int(match[1]) if match[1] else len(lines)
    column = int(match[2]) if match[2] else len(lines[-1]) + 1
    reason = said[: match.start()]
    ours, alone = next(
        ((words, alone) for start, words, alone in _IN_OUR_WORDS if reason.startswith(start)),
        (printable(reason), False),
    )
    there = lines[line - 1]
    one_field = _ONE_FIELD.match(there)
    name = field_name((one_field[1],)) if one_field else ""
    found = printable(there[column - 1 :], 40)
    return Fault(file_name, line, column, name, found, ours, ours), alone
