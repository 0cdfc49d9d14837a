"""A sound module made of software: a port of JACK that the program can sound on, be unplugged and plugged in again."""

from __future__ import annotations

import importlib
import time
from types import TracebackType
from typing import Any, Self

from trainer.accompaniment import click, cues, even_bars, held_chord
from trainer.charts import Meter
from trainer.sound import Sound
from trainer.timing import Grid

SENSING = (0xFE,)
CHORD = (51, 55, 58, 62)


class VirtualModule:
    """Opens an input port called ``<name>:in`` on the JACK server of this process's environment.

    What arrives waits in the library's own queue, filled without the interpreter, with the time since the message
    before (python-rtmidi only; JACK's clock, at the period in which it arrived).
    """

    def __init__(self, name: str = "Sound Module") -> None:
        self.name = name
        self.port = f"{name}:in"
        self._in: Any = None
        self.plug_in()

    def plug_in(self) -> None:
        try:
            binding = importlib.import_module("rtmidi")
            self._in = binding.MidiIn(binding.API_UNIX_JACK, name=self.name, queue_size_limit=16384)
        except ImportError:
            binding = importlib.import_module("rtmidi2")
            self._in = binding.MidiIn(clientname=self.name, api=binding.API_UNIX_JACK)
        self._in.ignore_types(True, True, False)
        self._in.open_virtual_port("in")

    def unplug(self) -> None:
        if self._in is None:
            return
        self._in.close_port()
        if hasattr(self._in, "delete"):
            self._in.delete()
        self._in = None

    def timed(self) -> list[tuple[float, tuple[int, ...]]]:
        """What has arrived since it was asked last: seconds since the message before, and the message."""
        found = []
        while (waiting := self._in.get_message()) is not None:
            message, delta = waiting if isinstance(waiting, tuple) else (waiting, 0.0)
            found.append((delta, tuple(message)))
        return found

    def heard(self, for_s: float = 0.0) -> list[tuple[int, ...]]:
        """The same without times and active sensing, after waiting for more."""
        time.sleep(for_s)
        return [message for _, message in self.timed() if message != SENSING]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()


def notes_left(messages: list[tuple[int, ...]]) -> set[tuple[int, int]]:
    """(channel, key) of what still sounds after these messages. Source: MIDI 1.0; CC123 ends what was sent."""
    sounding: set[tuple[int, int]] = set()
    for message in messages:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            sounding.add((channel, message[1]))
        elif kind in (0x80, 0x90):
            sounding.discard((channel, message[1]))
        elif kind == 0xB0 and message[1] == 123:
            sounding = {each for each in sounding if each[0] != channel}
    return sounding


def play_on(sound: Sound) -> None:
    """A chord and a click that go on far longer than a test."""
    notes = [*held_chord(CHORD, beats=1000), *click(even_bars(Meter(4, 4), 10))]
    sound.play(cues(notes, Grid(120, time.perf_counter_ns() + 20_000_000)))
