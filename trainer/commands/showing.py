"""What there is to hear: the MIDI ports."""

from __future__ import annotations

import argparse
from typing import Final

from trainer.commands.refusals import DONE, NO
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line


def ports(options: argparse.Namespace) -> int:
    from trainer.inputs.ports import list_ports

    listing = list_ports()
    if options.json:
        print(json_line({"backend": listing.backend, "ports": list(listing.names), "problem": listing.problem}))
    elif listing.names:
        for name in listing.names:
            print(name)
    else:
        print(listing.problem or "No MIDI port found. Switch the piano on and connect its USB socket.")
    return DONE if listing.names else NO


def _ports_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object")


COMMANDS: Final = (
    CommandRow(
        "ports",
        ports,
        "list the MIDI ports",
        "  trainer ports\n  trainer ports --json",
        _ports_arguments,
    ),
)
