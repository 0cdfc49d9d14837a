"""Names of MIDI ports: shown as printable text, chosen by a part of them, told apart from what is no piano.

Names come from outside, from drivers and other programs, in any spelling.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import Final

OWN_NAME: Final = "jazz-piano-trainer"
"""What our ports are called; a port whose name begins so is our own and never used unasked."""

_NO_PIANO: Final = re.compile(r"\bthrough\b|\bthru\b|\bvirmidi\b|virtual raw midi|loop ?back|\biac\b|^rtmidi", re.I)
_BLUETOOTH: Final = re.compile(r"bluetooth|\bble\b|\bbt\b", re.IGNORECASE)


class PortError(Exception):
    """A port that cannot be used: what was found and what to do, as sentences for a musician."""


def printable(text: str, longest: int = 120) -> str:
    """A name from outside as one line of printable text: control, format and unpaired characters become spaces.

    >>> printable("Stage\\x1b[2J piano\\n")
    'Stage [2J piano'
    """
    kept = "".join(" " if unicodedata.category(char)[0] == "C" else char for char in text[: 4 * longest])
    return " ".join(kept.split())[:longest]


def may_be_a_piano(name: str) -> bool:
    """False for what passes on other programs' notes, ours among them.

    >>> may_be_a_piano("Midi Through:Midi Through Port-0 14:0"), may_be_a_piano("Stage Piano MIDI 1")
    (False, True)
    """
    return not _NO_PIANO.search(name) and not name.casefold().startswith(OWN_NAME)


def is_bluetooth(name: str) -> bool:
    """Whether a port's name says that it comes by Bluetooth, whose stamps scatter by some 15 ms.

    >>> is_bluetooth("Stage Piano Bluetooth"), is_bluetooth("Stage Piano USB")
    (True, False)
    """
    return bool(_BLUETOOTH.search(name))


def choose(wanted: str, names: Sequence[str]) -> str:
    """The port meant by a full name, or by a part of just one, in capitals or not. Raises `PortError`.

    >>> choose("stage", ["Stage Piano:keys", "Midi Through Port-0"])
    'Stage Piano:keys'
    """
    asked = wanted.strip().casefold()
    shown = [printable(name) for name in names]
    for name, plain in zip(names, shown, strict=True):
        if wanted in (name, plain):
            return name
    found = {name: None for name, plain in zip(names, shown, strict=True) if asked in plain.casefold()}
    exact = [name for name in found if printable(name).casefold() == asked]
    if exact or len(found) == 1:
        return next(iter(exact or found))
    there = "; ".join(shown) or "none"
    if not found:
        raise PortError(
            f"No MIDI port is called {printable(wanted)!r}. Ports there are: {there}. "
            "Switch the piano on and connect it, or give a part of one of these names."
        )
    several = "; ".join(printable(name) for name in found)
    raise PortError(f"{printable(wanted)!r} fits several MIDI ports: {several}. Write more of the name.")
