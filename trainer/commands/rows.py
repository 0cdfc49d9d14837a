"""What a command is: its name, what runs it, its words and examples for `--help`, and its arguments.

Each module of this folder that has commands lists them as `COMMANDS`; `trainer.commands.all_rows` gathers them.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass


def no_arguments(parser: argparse.ArgumentParser) -> None:
    """For a command that takes none."""


def whole_number(least: int, most: int) -> Callable[[str], int]:
    """Reads an argument that is a whole number within limits.

    >>> whole_number(1, 8)("4")
    4
    """

    def read(text: str) -> int:
        if not text.isdecimal() or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"{text!r} is no whole number from {least} to {most}")
        return int(text)

    return read


@dataclass(frozen=True, slots=True)
class CommandRow:
    """One command. `words` begin with a small letter and have no full stop; `examples` is one a line, indented by two;
    `run` takes the options and returns the exit code (see `refusals`)."""

    name: str
    run: Callable[[argparse.Namespace], int]
    words: str
    examples: str
    add_arguments: Callable[[argparse.ArgumentParser], None] = no_arguments
