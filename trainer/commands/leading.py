"""Voice leading: the cheapest voicings of a chart or a progression."""

from __future__ import annotations

import argparse
from dataclasses import fields
from typing import TYPE_CHECKING, Final

from trainer.commands.charts import CHART_HELP, found_chart, shown, twelve
from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.leading import Plan, Weights
    from trainer.pitch import MidiNote

_REMEDY: Final = (
    " Give it more room (--lowest, --highest, --reach) or other voicings (--voicing, --inversions), or leave a melody"
    " aside (--without-melody)."
)
_LEAST_REACH: Final = 5
_MOST_REACH: Final = 24


def lead(options: argparse.Namespace) -> int:
    """Print the path, a line a chord, or as JSON."""
    from trainer.charts import ChartError, lead_chart, lead_text, lead_values
    from trainer.leading import LeadingError
    from trainer.voicings import VoicingError

    plan, weights = plan_of(options), weights_of(options.weight)
    melody = not options.without_melody
    chart = found_chart(options.chart, options.key, part=options.part, melody=melody)
    try:
        for index, each in enumerate(twelve(chart) if options.all_keys else (chart,)):
            found = lead_chart(each, plan, weights, loop=options.loop, melody=melody)
            if options.json:
                print(json_line(lead_values(found)))
            else:
                print(("\n" if index else "") + shown(lead_text(found, why=options.why)))
    except LeadingError as error:
        raise Refusal(shown(f"{error}{_REMEDY if error.refused else ''}"), USED_WRONGLY) from None
    except (ChartError, VoicingError) as error:
        raise Refusal(shown(str(error)), USED_WRONGLY) from None
    return DONE


def plan_of(options: argparse.Namespace) -> Plan:
    """How chords are to be voiced, as the options say. Raises `Refusal`."""
    from trainer.leading import DEFAULT_VOICINGS, MIDDLE_C, Plan

    lowest, highest = _key(options.lowest), _key(options.highest)
    if lowest is not None and highest is not None and lowest > highest:
        raise Refusal(f"the lowest key {options.lowest} lies above the highest, {options.highest}", USED_WRONGLY)
    if options.reach is not None and not _LEAST_REACH <= options.reach <= _MOST_REACH:
        raise Refusal(f"a reach is {_LEAST_REACH} to {_MOST_REACH} semitones, not {options.reach}", USED_WRONGLY)
    centre = _key(options.centre)
    return Plan(
        voicings=tuple(options.voicing or DEFAULT_VOICINGS),
        reach_semitones=options.reach,
        inversions=options.inversions,
        centre=MIDDLE_C if centre is None else centre,
        lowest=lowest,
        highest=highest,
        limits={"on": True, "off": False, None: None}[options.limits],
    )


def _key(text: str | None) -> MidiNote | None:
    from trainer.pitch import PitchError, parse_key

    try:
        return None if text is None else parse_key(text)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def weights_of(words: list[str] | None) -> Weights:
    """What a path pays for, from words such as ``top-leap=0.5``. Raises `Refusal`."""
    from trainer.leading import LeadingError, Weights

    names = [item.name for item in fields(Weights)]
    found: dict[str, float] = {}
    for word in words or ():
        name, _, number = word.partition("=")
        plain = name.strip().replace("-", "_").replace(" ", "_").casefold()
        if plain not in names:
            known = ", ".join(each.replace("_", "-") for each in names)
            raise Refusal(f"{name!r} is no weight; the weights are {known}", USED_WRONGLY)
        try:
            found[plain] = float(number)
        except ValueError:
            raise Refusal(f"{word!r} gives no number; write a weight as in {name}=0.5", USED_WRONGLY) from None
    try:
        return Weights(**found)
    except LeadingError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def _lead_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chart", metavar="CHART", help=CHART_HELP)
    parser.add_argument("--key", metavar="KEY", help="the key to play it in, as in Bb or Cm")
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    parser.add_argument("--loop", action="store_true", help="the last chord leads into the first")
    parser.add_argument("--part", metavar="NAME", default="", help="the part of a lead sheet to read")
    parser.add_argument("--without-melody", action="store_true", help="leave the melody of the chart aside")
    voiced = parser.add_argument_group("how chords are voiced")
    voiced.add_argument(
        "--voicing",
        action="append",
        metavar="NAME|DEGREES",
        help="choose from these (a family, a name, or degrees); may come again; else the rootless forms",
    )
    voiced.add_argument("--inversions", action="store_true", help="also every turn of each form")
    voiced.add_argument("--lowest", metavar="NOTE", help="the lowest key, as in D3 (C4 is middle C)")
    voiced.add_argument("--highest", metavar="NOTE", help="the highest key")
    voiced.add_argument("--reach", metavar="SEMITONES", type=int, help="the widest interval of one hand (a ninth: 14)")
    voiced.add_argument("--limits", choices=("on", "off"), help="low-interval limits; else those of each kind of form")
    paid = parser.add_argument_group("what a path pays for")
    paid.add_argument(
        "--weight",
        action="append",
        metavar="NAME=NUMBER",
        help="motion (1: each semitone of each voice), top-leap (each semitone of the top voice beyond a whole step), "
        "centre (each semitone off the centre), repeated-form, parallel, contrary (outer voices); may come again",
    )
    paid.add_argument("--centre", metavar="NOTE", help="the key that the weight centre gathers voicings around (C4)")
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
        "  trainer lead lead-sheet.mxl --voicing 'drop 2' --why\n"
        "  trainer lead my-tune.chart --weight top-leap=1 --weight repeated-form=2 --lowest D3 --highest C5 --json",
        _lead_arguments,
    ),
)
