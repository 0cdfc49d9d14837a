"""What a command is: its name, what runs it, its words and examples for `--help`, and its arguments.

Each module of this folder that has commands lists them as `COMMANDS`; `trainer.commands.all_rows` gathers them.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass


def no_arguments(parser: argparse.ArgumentParser) -> None:
    """For a command that takes none."""


@dataclass(frozen=True, slots=True)
class CommandRow:
    """One command. `words` begin with a small letter and have no full stop; `examples` is one a line, indented by two;
    `run` takes the options and returns the exit code (see `refusals`)."""

    name: str
    run: Callable[[argparse.Namespace], int]
    words: str
    examples: str
    add_arguments: Callable[[argparse.ArgumentParser], None] = no_arguments
