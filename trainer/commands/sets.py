"""Drill sets: found by name, read with every fault, checked."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, UNUSABLE, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.drills import DrillSet, Fault


def check(options: argparse.Namespace) -> int:
    """Tell every fault of every file; one that cannot be read keeps no other from being looked at."""
    from trainer.drills import Fault

    faults: list[Fault] = []
    for name in options.files:
        try:
            _, found = read_set(Path(name))
            lines = [str(fault) for fault in found]
        except Refusal as refusal:
            found = (Fault(name, 1, 1, "", "", "a drill set as a TOML file", str(refusal)),)
            lines = [f"trainer: {refusal}"]
        faults += found
        if options.json:
            continue
        if not found:
            print(f"{name}: no fault found")
        for line in lines:
            print(line, file=sys.stderr)
    if options.json:
        print(json_line([_fault_object(fault) for fault in faults]))
    return UNUSABLE if faults else DONE


def _fault_object(fault: Fault) -> dict[str, Any]:
    return {name: getattr(fault, name) for name in ("file", "line", "column", "field", "found", "expected", "message")}


def read_set(path: Path) -> tuple[DrillSet | None, tuple[Fault, ...]]:
    from trainer import drills
    from trainer.storage.files import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return drills.read(text, str(path))


def found_set(name: str) -> Path:
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    try:
        return Places.found().find_set(name)
    except StorageError as error:
        raise Refusal(str(error)) from None


def load_set(name: str) -> DrillSet:
    drill_set, faults = read_set(found_set(name))
    if faults or drill_set is None:
        raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
    return drill_set


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--json", action="store_true", help="the faults as a JSON list")


COMMANDS: Final = (
    CommandRow(
        "check",
        check,
        "look for every fault in drill sets",
        "  trainer check my-set.toml",
        _check_arguments,
    ),
)
