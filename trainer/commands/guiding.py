"""The manual on paper or in a pager: its chapters, and in the last of them every command from its own row."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow

if TYPE_CHECKING:
    from trainer.manual import Chapter, CommandText

WIDEST: Final = 88
"""Longer lines are hard to read, however wide the terminal."""


def every_chapter() -> tuple[Chapter, ...]:
    """The whole manual."""
    from trainer.commands import all_rows
    from trainer.manual import chapters

    return chapters([_command_text(row) for row in all_rows()])


def _command_text(row: CommandRow) -> CommandText:
    from trainer.manual import CommandText

    parser = argparse.ArgumentParser(prog=f"trainer {row.name}", add_help=False)
    row.add_arguments(parser)
    options = []
    for action in parser._actions:
        if action.help == argparse.SUPPRESS:
            continue
        value = _value_of(action)
        how = " ".join(part for part in (", ".join(action.option_strings), value) if part)
        options.append((how, (action.help or "").replace("%(default)s", str(action.default)).replace("%%", "%")))
    usage = " ".join(parser.format_usage().removeprefix("usage: ").split())
    examples = tuple(line.strip() for line in row.examples.splitlines() if line.strip())
    return CommandText(row.name, row.words, usage, tuple(options), examples)


def _value_of(action: argparse.Action) -> str:
    if action.nargs == 0:
        return ""
    if isinstance(action.metavar, str):
        return action.metavar
    if action.choices is not None:
        return "{" + ",".join(str(choice) for choice in action.choices) + "}"
    return action.dest.upper() if action.option_strings else action.dest


def guide(options: argparse.Namespace) -> int:
    """Print a chapter, the whole manual, or what chapters there are."""
    from shutil import get_terminal_size

    manual = every_chapter()
    width = min(WIDEST, get_terminal_size().columns)
    if options.all or (options.chapter is not None and not options.list):
        told = manual if options.all else (_found(options.chapter, manual),)
        print("\n\n\n".join("\n".join(_printed(chapter, width)) for chapter in told))
        return DONE
    column = max(len(chapter.name) for chapter in manual) + 2
    for chapter in manual:
        print(f"{chapter.name:<{column}}{chapter.title}")
    if not options.list:
        print(f"\nOne of them: trainer guide {manual[0].name}. All in a row: trainer guide --all.")
    return DONE


def _printed(chapter: Chapter, width: int) -> list[str]:
    """A chapter as plain lines: headings have a line of dashes below, so that they are told apart anywhere."""
    from trainer.manual import wrapped

    lines = [chapter.title, "=" * min(width, len(chapter.title)), ""]
    heading = False
    for line in wrapped(chapter, width):
        if heading and not line.startswith("  "):
            lines.append("-" * len(lines[-1]))
        heading = line.startswith("# ") or (heading and line.startswith("  "))
        lines.append(line.removeprefix("# "))
    return lines


def _found(wanted: str, manual: Sequence[Chapter]) -> Chapter:
    """A chapter by its name or by part of its name or title; else a refusal that says what was perhaps meant."""
    from difflib import get_close_matches

    asked = "-".join(wanted.casefold().split())
    for found in (
        [chapter for chapter in manual if chapter.name == asked],
        [chapter for chapter in manual if chapter.name.startswith(asked)],
        [chapter for chapter in manual if asked in chapter.name or wanted.casefold() in chapter.title.casefold()],
    ):
        if len(found) == 1 and asked:
            return found[0]
        if found and asked:
            names = " or ".join(chapter.name for chapter in found)
            raise Refusal(f"more than one chapter is meant by {wanted!r}: say {names}", USED_WRONGLY)
    near = get_close_matches(asked, [chapter.name for chapter in manual], n=2, cutoff=0.6)
    remedy = f"did you mean {' or '.join(near)}?" if near else "trainer guide tells what there is"
    raise Refusal(f"the manual has no chapter {wanted!r}; {remedy}", USED_WRONGLY)


def _guide_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chapter", nargs="?", metavar="CHAPTER", help="a chapter by its name, or part of it")
    parser.add_argument("--list", action="store_true", help="only the names and titles of the chapters")
    parser.add_argument("--all", action="store_true", help="every chapter, for a pager or the printer")


COMMANDS: Final = (
    CommandRow(
        "guide",
        guide,
        "read the manual: the first evening, the piano, voicings, figures, every command",
        "  trainer guide\n  trainer guide first-evening\n  trainer guide figures\n  trainer guide --all | less",
        _guide_arguments,
    ),
)
