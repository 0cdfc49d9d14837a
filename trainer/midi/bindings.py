"""The seam over RtMidi: what we need of it, from either of two bindings.

python-rtmidi serves Python to 3.12, rtmidi2 from 3.13. Handles are the binding's own objects, `MidiIn` or `MidiOut`.
Both bindings hold the interpreter while they send.
"""

from __future__ import annotations

import gc
import importlib
from collections.abc import Callable, Sequence
from time import sleep
from typing import Any, Final, Protocol

from trainer.midi.names import OWN_NAME

Hear = Callable[[Sequence[int]], None]
"""Takes the bytes of one message, on the library's thread."""

QUEUED_MESSAGES: Final = 65_536
"""What the library keeps while nobody reads: over three seconds of 20,000 messages a second (its own limit is 1,024, at
which it drops notes and writes to the terminal). rtmidi2 has no such setting."""


class Binding(Protocol):
    """One binding of RtMidi."""

    module: Any

    def hearing(self, api: int) -> Any:
        """A new handle to list and listen to ports with."""

    def sounding(self, api: int) -> Any:
        """A new handle to list and send to ports with."""

    def names(self, handle: Any) -> list[str]:
        """The ports that a handle can be joined to, by index."""

    def listen(self, handle: Any, index: int, hear: Hear | None) -> None:
        """Join a hearing handle to a port; without `hear` messages wait in the library's own queue."""

    def read(self, handle: Any) -> Sequence[int] | None:
        """The next message of the queue."""

    def speak(self, handle: Any, index: int) -> None:
        """Join a sounding handle to a port."""

    def send(self, handle: Any, message: Sequence[int]) -> None:
        """Hand one message to the port."""

    def close(self, handle: Any) -> None:
        """Let go of a hearing handle."""

    def close_sounding(self, handle: Any) -> None:
        """Let go of a sounding handle."""


class PythonRtMidi:
    """python-rtmidi: the callback gets ((bytes, delta), data); errors are exceptions."""

    def __init__(self) -> None:
        self.module = importlib.import_module("rtmidi._rtmidi")

    def hearing(self, api: int) -> Any:
        return self.module.MidiIn(api, name=OWN_NAME, queue_size_limit=QUEUED_MESSAGES)

    def sounding(self, api: int) -> Any:
        return self.module.MidiOut(api, name=OWN_NAME)

    def names(self, handle: Any) -> list[str]:
        try:
            return list(handle.get_ports())
        except UnicodeDecodeError:
            return list(handle.get_ports(encoding="latin-1"))

    def listen(self, handle: Any, index: int, hear: Hear | None) -> None:
        # Timing messages pass, since they keep active sensing alive just as notes do.
        handle.ignore_types(sysex=True, timing=False, active_sense=False)
        handle.open_port(index, "piano")
        if hear is not None:
            handle.set_callback(lambda message, _: hear(message[0]))

    def read(self, handle: Any) -> Sequence[int] | None:
        waiting: tuple[Sequence[int], float] | None = handle.get_message()
        return None if waiting is None else waiting[0]

    def speak(self, handle: Any, index: int) -> None:
        handle.open_port(index, "sound")

    def send(self, handle: Any, message: Sequence[int]) -> None:
        handle.send_message(message)

    def close_sounding(self, handle: Any) -> None:
        handle.close_port()
        handle.delete()

    def close(self, handle: Any) -> None:
        in_use = gc.get_referents(handle)  # the callback and its data: cancelling drops them
        handle.cancel_callback()
        _let_finish(in_use)
        handle.close_port()
        handle.delete()


class RtMidi2:
    """rtmidi2: the callback gets (bytes, delta).

    The interface must be named to the constructor, and made sure of before: what fails in there ends the process.
    """

    def __init__(self) -> None:
        self.module = importlib.import_module("rtmidi2")

    def hearing(self, api: int) -> Any:
        return self.module.MidiIn(clientname=OWN_NAME, api=api)

    def sounding(self, api: int) -> Any:
        return self.module.MidiOut(clientname=OWN_NAME, api=api)

    def names(self, handle: Any) -> list[str]:
        try:
            return list(handle.ports)
        except UnicodeDecodeError:
            names: list[str] = []
            while (name := handle.get_port_name(len(names), "latin-1")) is not None:
                names.append(name)
            return names

    def listen(self, handle: Any, index: int, hear: Hear | None) -> None:
        handle.ignore_types(midi_sysex=True, midi_time=False, midi_sense=False)
        handle.open_port(index)
        if hear is not None:
            call: Hear = hear

            def heard(message: Sequence[int], _: float) -> None:  # the binding counts a callback's arguments
                call(message)

            handle.callback = heard

    def read(self, handle: Any) -> Sequence[int] | None:
        waiting: Sequence[int] | None = handle.get_message()
        return waiting

    def speak(self, handle: Any, index: int) -> None:
        handle.open_port(index)

    def send(self, handle: Any, message: Sequence[int]) -> None:
        handle.send_raw(*message)

    def close_sounding(self, handle: Any) -> None:
        handle.close_port()

    def close(self, handle: Any) -> None:
        in_use = [handle.callback, *gc.get_referents(handle)]
        handle.callback = None
        _let_finish(in_use)
        handle.close_port()


def _let_finish(in_use: object) -> None:
    """Wait for a call that was already on its way when its callback was cancelled, keeping alive what it uses.

    The library's thread may stand waiting for the interpreter with a note in hand. Closing holds the interpreter until
    that thread has gone, so closing at once would wait for ever; and what is being called must not be freed before.
    """
    for _ in range(5):
        sleep(0.01)
    del in_use


def installed_binding() -> Binding | None:
    """The binding that is installed, or None."""
    try:
        return PythonRtMidi()
    except ImportError:
        pass
    try:
        return RtMidi2()
    except ImportError:
        return None


NO_BINDING: Final = (
    "The MIDI library is not installed: it has no ready-made package for this Python ({version}) on this machine "
    "({machine}). With Python 3.11 or 3.12 on a common computer it comes by itself; everything else works without."
)
