"""What there is to listen to and to sound on: the MIDI ports."""

from __future__ import annotations

import argparse
from typing import Final

from trainer.commands.refusals import DONE, NO
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line


def ports(options: argparse.Namespace) -> int:
    from trainer.inputs.ports import list_ports
    from trainer.midi.names import printable
    from trainer.sound import list_outputs

    listing, outputs = list_ports(), list_outputs()
    if options.json:
        print(
            json_line(
                {
                    "backend": listing.backend,
                    "ports": list(listing.names),
                    "problem": listing.problem,
                    "outputs": list(outputs.names),
                    "outputs_problem": outputs.problem,
                }
            )
        )
    elif listing.names or outputs.names:
        for heading, found in (("To listen to:", listing), ("To sound on:", outputs)):
            print(heading)
            for name in found.names:
                print(f"  {printable(name)}")
            if not found.names:
                print(f"  none. {found.problem}")
    else:
        print(listing.problem or "No MIDI port found. Switch the piano on and connect its USB socket.")
    return DONE if listing.names else NO


def _ports_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object")


COMMANDS: Final = (
    CommandRow(
        "ports",
        ports,
        "list the MIDI ports to listen to and to sound on",
        "  trainer ports\n  trainer ports --json",
        _ports_arguments,
    ),
)
