"""Where notes come from: MIDI ports, a MIDI file, the computer keyboard, a scripted player.

A new source is one module here and one row of `SOURCES`; the shared contract test picks it up by itself. A source is
loaded when it is asked for: no MIDI library is needed to play on the computer's keyboard.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Final

from trainer.inputs.source import Source


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One kind of source: the class that it is and the module of this package where that lives."""

    about: str
    module: str
    kind: str

    def load(self) -> type[Source]:
        loaded: type[Source] = getattr(import_module(f"{__name__}.{self.module}"), self.kind)
        return loaded


SOURCES: Final = {
    "port": SourceRow("a piano at a MIDI port", "ports", "PortInput"),
    "file": SourceRow("a recorded take, a Standard MIDI File", "files", "FileInput"),
    "computer": SourceRow("the computer's keyboard, to try it out", "computer", "ComputerKeyboard"),
    "script": SourceRow("a player that answers by itself", "script", "LiveScript"),
}
"""By the name under which a source is asked for."""
