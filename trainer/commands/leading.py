"""Voice leading: the cheapest voicings of a chart or a progression."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.charts import Chart


def lead(options: argparse.Namespace) -> int:
    """Print the path, a line a chord, or as JSON."""
    from trainer.charts import ChartError, in_twelve_keys, lead_chart, lead_text, lead_values
    from trainer.leading import LeadingError, Plan

    try:
        plan = Plan(voicings=tuple(options.voicing)) if options.voicing else Plan()
        chart = _chart(options)
        charts = in_twelve_keys(chart) if options.all_keys else [chart]
        for index, each in enumerate(charts):
            found = lead_chart(each, plan, loop=options.loop, melody=not options.without_melody)
            if options.json:
                print(json_line(lead_values(found)))
            else:
                print(("\n" if index else "") + lead_text(found, why=options.why))
    except (LeadingError, ChartError) as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    return DONE


def _chart(options: argparse.Namespace) -> Chart:
    """A chart file, or a progression or form by name, in the key asked for."""
    from trainer.charts import ChartError, FormError, form_chart, read_chart, transposed
    from trainer.pitch import Note, PitchError
    from trainer.storage.files import StorageError, read_text

    try:
        key = Note.parse(options.key) if options.key else None
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    path = Path(options.chart)
    if path.suffix == ".chart" or path.is_file():
        try:
            chart = read_chart(read_text(path))
        except StorageError as error:
            raise Refusal(str(error)) from None
        except ChartError as error:
            raise Refusal("\ntrainer: ".join(f"{path}:{fault}" for fault in error.faults)) from None
        return chart if key is None else transposed(chart, key)
    try:
        return form_chart(options.chart, key)
    except FormError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def _lead_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chart", metavar="CHART", help="a chart file, or a progression or form by name")
    parser.add_argument("--key", metavar="NOTE", help="the key to play it in")
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    parser.add_argument("--voicing", action="append", metavar="NAME|DEGREES", help="choose from these; may come again")
    parser.add_argument("--loop", action="store_true", help="the last chord leads into the first")
    parser.add_argument("--without-melody", action="store_true", help="leave the melody of the chart aside")
    parser.add_argument(
        "--why", action="store_true", help="say what each other voicing would cost, and what was refused"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object for each key")


COMMANDS: Final = (
    CommandRow(
        "lead",
        lead,
        "find the voicings of a chart that move least",
        "  trainer lead ii-V-I --key Bb\n"
        "  trainer lead 'jazz blues' --all-keys --loop\n"
        "  trainer lead my-tune.chart --voicing 'drop 2' --why --json",
        _lead_arguments,
    ),
)
