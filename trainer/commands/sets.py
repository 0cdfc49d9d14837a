"""Drill sets: found by name, read with every fault, checked."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trainer.commands.refusals import DONE, UNUSABLE, Refusal

if TYPE_CHECKING:
    from trainer.drills import DrillSet, Fault


def check(options: argparse.Namespace) -> int:
    faults: list[Fault] = []
    for name in options.files:
        _, found = read_set(Path(name))
        faults += found
        if not found and not options.json:
            print(f"{name}: no fault found")
    if options.json:
        print(json.dumps([_fault_object(fault) for fault in faults], ensure_ascii=False))
    else:
        for fault in faults:
            print(fault, file=sys.stderr)
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
