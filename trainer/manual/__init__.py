"""The manual: chapters for musicians, as texts. Printed by `trainer guide` and shown on the help screen.

    chapters(commands)        every chapter in the order of reading; `commands` are told in the last one
    wrapped(chapter, 72)      a chapter as lines of at most so many cells

A chapter's text is lines of one of these kinds; a blank line ends a paragraph:

    # words            a heading
    - words, 1. words  a point, a step
    : term | words     a term and what it means; terms that follow each other stand in one column
    (four spaces)      what is typed, kept as it is
    words              a paragraph

What can go stale is generated: figures from the constants that decide, voicings from the table, commands from their
own rows. Everything here has one cell a character.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from re import compile as pattern
from typing import Final

_POINT: Final = pattern(r"(- |\d+\. )(.*)")
_LEAST_FOR_COLUMNS: Final = 60
_WIDEST_TERM: Final = 26


@dataclass(frozen=True, slots=True)
class Chapter:
    """One chapter: a short name to ask for it by, its title, and its text in the form stated above."""

    name: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class CommandText:
    """A command as the manual tells it. `options` are pairs (how it is written, what it does)."""

    name: str
    words: str
    usage: str
    options: tuple[tuple[str, str], ...]
    examples: tuple[str, ...]


def chapters(commands: Sequence[CommandText] = ()) -> tuple[Chapter, ...]:
    """Every chapter in the order of reading; the one about commands only where there are `commands`."""
    from trainer.manual import beginning, figures, practice, voicing_tables

    told = (
        beginning.FIRST_EVENING,
        beginning.SETTING_UP,
        beginning.SCREEN,
        voicing_tables.voicings_chapter(),
        practice.PRACTISING,
        practice.IN_TIME,
        practice.HANDS,
        figures.figures_chapter(),
        practice.TEACHERS,
        practice.TROUBLE,
    )
    return (*told, commands_chapter(commands)) if commands else told


def commands_chapter(commands: Sequence[CommandText]) -> Chapter:
    """Every command with its options and examples."""
    parts = [
        "What stands in capitals is yours to fill in; what stands in square brackets may be left away. Where a name "
        "has spaces, put it in quotes. Each command tells the same with --help.",
    ]
    for command in commands:
        parts.append(f"# trainer {command.name}\n{command.words[0].upper()}{command.words[1:]}.")
        parts.append(f"    {command.usage}")
        if command.options:
            parts.append("\n".join(f": {how} | {words}" for how, words in command.options))
        parts.append("\n".join(f"    {example}" for example in command.examples))
    return Chapter("commands", "Every command", "\n\n".join(parts))


def wrapped(chapter: Chapter, width: int) -> list[str]:
    """A chapter's text as lines of at most `width` cells (at least 20), without its title. Headings begin with `# `."""
    width = max(20, width)
    lines: list[str] = []
    for kind, block in groupby(chapter.text.strip("\n").split("\n"), _kind):
        if kind == "term":
            lines += _terms([line[2:].partition(" | ")[::2] for line in block], width)
        elif kind == "words":
            lines += textwrap.wrap(" ".join(block), width, break_on_hyphens=False)
        else:
            for line in block:
                lines += _line(kind, line, width)
    # The library leaves a space where a word is longer than the line.
    return [line.rstrip() for line in lines]


def _kind(line: str) -> str:
    if not line:
        return "blank"
    if line.startswith("# "):
        return "heading"
    if line.startswith(": "):
        return "term"
    if line.startswith("    "):
        return "typed"
    return "point" if _POINT.match(line) else "words"


def _line(kind: str, line: str, width: int) -> list[str]:
    if kind == "blank":
        return [""]
    if kind == "heading":
        return textwrap.wrap(line, width, subsequent_indent="  ")
    if kind == "typed":
        return textwrap.wrap(
            line.strip(), width, initial_indent="    ", subsequent_indent="      ", break_on_hyphens=False
        )
    found = _POINT.match(line)
    assert found is not None
    return _hanging(found[1], found[2], len(found[1]), width)


def _hanging(first: str, words: str, indent: int, width: int) -> list[str]:
    return textwrap.wrap(
        words, width, initial_indent=first, subsequent_indent=" " * indent, break_on_hyphens=False
    ) or [first]


def _terms(pairs: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    column = max((len(term) for term, _ in pairs if len(term) <= _WIDEST_TERM), default=0) + 2
    for term, words in pairs:
        if width >= _LEAST_FOR_COLUMNS and len(term) <= _WIDEST_TERM:
            yield from _hanging(term.ljust(column), words, column, width)
        else:
            yield from textwrap.wrap(term, width, subsequent_indent="    ", break_on_hyphens=False)
            yield from _hanging("  ", words, 2, width)
