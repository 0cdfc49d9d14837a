"""Lessons told: bar by bar, their voicings with every place, their moves, their slots."""

from __future__ import annotations

import argparse
from typing import Final

from trainer.commands.charts import shown
from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.sets import load_lesson
from trainer.commands.streams import json_line


def lesson(options: argparse.Namespace) -> int:
    """Tell a lesson, in one key or in twelve."""
    from trainer.drills.lesson_telling import TOLD, lesson_text, lesson_values
    from trainer.leading import LeadingError
    from trainer.pitch import PitchError

    found = load_lesson(options.lesson, options.key)
    parts = tuple(part for part in ("voicings", "moves", "slots") if getattr(options, part)) or TOLD
    try:
        for index, each in enumerate(found.in_twelve_keys() if options.all_keys else (found,)):
            if options.json:
                print(json_line(lesson_values(each, parts, options.section)))
            else:
                print(("\n" if index else "") + shown(lesson_text(each, parts, options.section)))
    except (LeadingError, PitchError, ValueError) as error:
        raise Refusal(shown(str(error)), USED_WRONGLY) from None
    return DONE


def _lesson_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "lesson",
        metavar="LESSON",
        help="a lesson by its file or part of its name, a chart, or a progression or form by name",
    )
    parser.add_argument("--key", metavar="KEY", help="the key to tell it in, as in Bb or Cm")
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    parser.add_argument("--section", metavar="NAME", default="", help="one section of the form, as in A or A2")
    parser.add_argument("--voicings", action="store_true", help="its distinct voicings with every place of each")
    parser.add_argument("--moves", action="store_true", help="its distinct moves from one voicing to the next")
    parser.add_argument("--slots", action="store_true", help="what is to be played when")
    parser.add_argument("--json", action="store_true", help="one JSON object for each key")


COMMANDS: Final = (
    CommandRow(
        "lesson",
        lesson,
        "tell a lesson bar by bar, its voicings and its moves",
        "  trainer lesson kettle\n"
        "  trainer lesson kettle --key Eb --moves\n"
        "  trainer lesson 'jazz blues' --all-keys --voicings\n"
        "  trainer lesson my-blues.lesson.toml --slots --json",
        _lesson_arguments,
    ),
)
