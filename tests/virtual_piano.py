"""A piano made of software: a port of JACK that the program can listen to, be unplugged from and plugged into again."""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable, Iterable, Sequence
from types import TracebackType
from typing import Any, Self


class VirtualPiano:
    """Opens an output port called ``<name>:keys`` on the JACK server of this process's environment."""

    def __init__(self, name: str = "Stage Piano") -> None:
        self.name = name
        self.port = f"{name}:keys"
        self._out: Any = None
        self._send: Callable[[Sequence[int]], None] | None = None
        self.plug_in()

    def plug_in(self) -> None:
        try:
            binding = importlib.import_module("rtmidi")
            self._out = binding.MidiOut(binding.API_UNIX_JACK, name=self.name)
            self._send = self._out.send_message
        except ImportError:
            binding = importlib.import_module("rtmidi2")
            self._out = binding.MidiOut(clientname=self.name, api=binding.API_UNIX_JACK)
            self._send = lambda message: self._out.send_raw(*message)
        self._out.open_virtual_port("keys")

    def unplug(self) -> None:
        if self._out is None:
            return
        self._out.close_port()
        if hasattr(self._out, "delete"):
            self._out.delete()
        self._out = self._send = None

    def send(self, *message: int) -> None:
        """One MIDI message, its bytes."""
        assert self._send is not None, "unplugged"
        self._send(list(message))

    def play(self, keys: Iterable[int], hold_s: float = 0.0, velocity: int = 64, channel: int = 0) -> None:
        """All keys down, then all up."""
        keys = tuple(keys)
        for key in keys:
            self.send(0x90 | channel, key, velocity)
        time.sleep(hold_s)
        for key in keys:
            self.send(0x80 | channel, key, 0)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()


def listen(source: Any, post: Callable[[Any], None]) -> None:
    """Start a source and wait until notes reach it: JACK makes a connection a few periods after it was asked to."""
    source.start(post)
    time.sleep(0.05)


def until(holds: Callable[[], object], seconds: float = 10.0) -> bool:
    """Wait for something that another thread does; False where it does not come."""
    ends = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > ends:
            return False
        time.sleep(0.005)
    return True
