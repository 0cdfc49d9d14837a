"""Standard input and output as they are found: closed, in any encoding, or a disk that is full.

`json_line` is valid JSON wherever it goes; text for people is written with signs of plain ASCII where the encoding of
the output has none of its own (a flat as b). Standard input is read as UTF-8, whatever the locale.
"""

from __future__ import annotations

import codecs
import io
import json
import os
import re
import sys
from collections.abc import Iterator
from typing import Final

from trainer.commands.refusals import Refusal

_PLAIN: Final = {"♭": "b", "♯": "#", "♮": "", "𝄫": "bb", "𝄪": "x", "°": "dim", "ø": "m7b5", "Δ": "maj7"} | {
    "−": "-",
    "–": "-",
    "—": "-",
    "…": "...",
    "·": "-",
}
_LINE_ENDS: Final = {ord(sign): f"\\u{ord(sign):04x}" for sign in "\x85\u2028\u2029"}
"""What Unicode, but not JSON, takes for the end of a line: one object must stay on one line for every reader."""

_UNPAIRED: Final = re.compile("[\ud800-\udfff]")


def _plainly(error: UnicodeError) -> tuple[str | bytes, int]:
    """An error handler of `codecs`: what cannot be written, in ASCII."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    found = error.object[error.start : error.end]
    return "".join(_PLAIN.get(sign, "?") for sign in found), error.end


codecs.register_error("trainer-plainly", _plainly)


def prepare_streams() -> None:
    """Make output and errors safe to print to: closed ones lead nowhere, and every character can be written."""
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 (open until the program ends)
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="trainer-plainly")


def abandon_output() -> None:
    """What is still to be written goes nowhere, so that Python does not complain at its end."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        return


def input_lines() -> Iterator[str]:
    """The lines of standard input without their ends; bytes that are no UTF-8 come as U+FFFD. Raises `Refusal`."""
    if sys.stdin is None:
        raise Refusal("standard input is closed, and the lines are read from there; give it a file: < symbols.txt")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(encoding="utf-8-sig", errors="replace", newline="\n")
    try:
        for line in sys.stdin:
            yield line.removesuffix("\n").removesuffix("\r")
    except OSError as error:
        raise Refusal(f"standard input cannot be read ({error.strerror}); give it a file: < symbols.txt") from None


def json_line(value: object) -> str:
    """A value as one line of JSON: in UTF-8 as it is, in ASCII with escapes where the output has another encoding."""
    text = _UNPAIRED.sub("\ufffd", json.dumps(value, ensure_ascii=False)).translate(_LINE_ENDS)
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    if text.isascii() or codecs.lookup(encoding).name == "utf-8":
        return text
    return json.dumps(json.loads(text))
