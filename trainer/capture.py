"""Timed note events in, settled gestures out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from trainer.pitch import MidiNote


class Kind(StrEnum):
    """What happened at the piano."""

    DOWN = "down"
    UP = "up"
    PEDAL = "pedal"
    QUIET = "quiet"
    PORT_LOST = "port lost"
    PORT_FOUND = "port found"


@dataclass(frozen=True, slots=True)
class NoteEvent:
    """One event of a piano, stamped on a monotonic clock the moment it arrived.

    `value` is the velocity of a key, the controller value of the sustain pedal (64 and over is down), or the
    controller number that silenced the port (CC120, CC123-127; 0 for active sensing gone silent).
    `channel` is 0-15. An UP event is what MIDI calls note-off or a note-on with velocity 0.
    """

    time_ns: int
    kind: Kind
    key: MidiNote = MidiNote(0)
    value: int = 0
    channel: int = 0
    port: str = ""
