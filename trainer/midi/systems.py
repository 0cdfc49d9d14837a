"""Backends of MIDI: found, opened, their ports listed, listened to and sent to.

Backends are tried in the platform's order (`_BACKENDS`): on Linux the ALSA sequencer, then JACK. What keeps a backend
from working is told in one sentence for a musician, never as an exception.

Under JACK the library calls in with a note on the server's real-time thread, and a call that has to wait for the
interpreter makes that thread miss its periods: measured with 64 frames a period, four releases of one period came as
four times the first. So under JACK the library keeps the notes in a queue of its own, filled without the interpreter,
and a thread of ours empties it every millisecond (`_Reader`).

The way out under JACK is a ring of 16 kB that the server's thread empties once a period. Where no server does, a full
ring makes the library wait for ever, with the interpreter held (seen after 2,340 notes, with a server ended and with
one halted). So nothing is sent once the server is gone, and no more than `MOST_UNSEEN` messages go unless it is seen to
turn.
"""

from __future__ import annotations

import os
import platform
import re
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import sleep
from typing import Any, Final

from trainer.midi.bindings import NO_BINDING, Binding, Hear, installed_binding
from trainer.midi.jack import MISMATCH, JackServer, keep_for_ever, silence
from trainer.midi.names import OWN_NAME, PortError, choose, may_be_a_piano, printable

READ_SECONDS: Final = 0.001
OPEN_TRIES: Final = 4
MOST_UNSEEN: Final = 1000
TURN_SECONDS: Final = 0.1
"""A server that turns goes through a period in this time: the longest in use, 2048 frames at 44.1 kHz, is 46 ms."""
JOINED_TURNS: Final = 8
_SEQUENCER: Final = Path("/dev/snd/seq")
# ALSA ends a name in client:port, Windows in a count; both may be others after plugging in again.
_CHANGING: Final = {"ALSA": re.compile(r"\s+\d+:\d+$"), "WinMM": re.compile(r"\s+\d+$")}
_BACKENDS: Final = {"linux": ("ALSA", "JACK"), "darwin": ("CoreMIDI",), "win32": ("WinMM",)}
_API: Final = {
    "ALSA": "API_LINUX_ALSA",
    "JACK": "API_UNIX_JACK",
    "CoreMIDI": "API_MACOSX_CORE",
    "WinMM": "API_WINDOWS_MM",
}
_UNPLUGGED: Final = "No MIDI port is there: switch the piano on and connect its USB-MIDI socket to the computer."


class _Reader:
    """Empties the library's own queue of one port, on a thread of ours, and passes each message on."""

    def __init__(self, binding: Binding, handle: Any, hear: Hear) -> None:
        self._stopping = False
        self._thread = threading.Thread(
            target=self._read, args=(binding, handle, hear), name="MIDI port reader", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        self._stopping = True
        self._thread.join()

    def _read(self, binding: Binding, handle: Any, hear: Hear) -> None:
        while not self._stopping:
            try:
                message = binding.read(handle)
            except Exception:  # noqa: BLE001 - what one message was cannot be told; those after it are still to be heard
                message = None
            if message is None:
                sleep(READ_SECONDS)
            else:
                hear(message)


class _Problem(Exception):
    """Why a backend does not work, as a sentence."""


class System:
    """One backend, opened, of ports to listen to or (`sounding`) to send to, until it is closed or its server dies."""

    def __init__(self, backend: str, binding: Binding, *, sounding: bool = False) -> None:
        """Raises `_Problem`."""
        self.backend = backend
        self._binding = binding
        self._make = binding.sounding if sounding else binding.hearing
        self._close_handle = binding.close_sounding if sounding else binding.close
        self._server: JackServer | None = None
        api = getattr(binding.module, _API[backend], None)
        if api is None:
            raise _Problem(f"The MIDI library here was made without {backend}.")
        silence(binding.module.__file__)
        if backend == "ALSA":
            _check_sequencer()
        if backend == "JACK":
            self._server = _jack(binding.module.__file__)
        self._api: int = api
        self._readers: dict[int, _Reader] = {}
        self._unseen = 0  # messages sent since the server was last seen to turn
        self._turn = 0
        try:
            self._lister = self._make(api)
            if self._lister.get_current_api() != api:
                raise RuntimeError(f"no {backend}")
        except Exception as fault:
            self._close_server()
            raise _Problem(f"{backend} does not answer ({printable(str(fault))}).") from fault

    @property
    def alive(self) -> bool:
        return self._server is None or self._server.alive

    @property
    def answers(self) -> bool:
        """Whether it can be asked for anything now: a JACK server that is gone or stands still never answers."""
        return self._server is None or (self._server.alive and self._server.turns(TURN_SECONDS))

    def names(self) -> list[str]:
        """The ports, by the library's index; none once the server is gone."""
        return self._binding.names(self._lister) if self.alive else []

    def open(self, name: str, hear: Hear | None = None) -> Any:
        """Listen to a port by its exact name, or without `hear` send to it. Raises `PortError`.

        A port may be listed a moment before it can be connected to, or be missing while the graph of ports changes, so
        it is tried `OPEN_TRIES` times.
        """
        for left in reversed(range(OPEN_TRIES)):
            handle = None
            try:
                index = self.names().index(name)
                handle = self._make(self._api)
                if hear is None:
                    self._binding.speak(handle, index)
                    self._let_join()
                elif self.backend == "JACK":
                    self._binding.listen(handle, index, None)
                    self._readers[id(handle)] = _Reader(self._binding, handle, hear)
                else:
                    self._binding.listen(handle, index, hear)
                return handle
            except Exception as fault:
                if handle is not None:
                    self.close_port(handle)
                    handle = None
                if left == 0 or not self.alive:
                    raise PortError(
                        f"The MIDI port {printable(name)} cannot be opened: {printable(str(fault))}. "
                        "Another program may be using it: close that one, or plug the piano in again."
                    ) from fault
                sleep(0.05)
        raise AssertionError("unreachable")

    def _let_join(self) -> None:
        """JACK makes a connection some periods after it was asked to, and what is sent before is lost."""
        if self._server is not None:
            for _ in range(JOINED_TURNS):
                self._server.turns(TURN_SECONDS)

    def send(self, handle: Any, message: Sequence[int]) -> None:
        """Hand one message to a port that was opened to send to; returns at once. Raises `PortError`."""
        if self._server is not None:
            if not self._server.alive:
                raise PortError("The JACK server has ended.")
            self._unseen += 1
            if self._unseen >= MOST_UNSEEN:
                turn = self._server.turn
                if turn == self._turn:
                    raise PortError("The JACK server stands still.")
                self._turn, self._unseen = turn, 0
        try:
            self._binding.send(handle, message)
        except Exception as fault:
            raise PortError(printable(str(fault))) from fault

    def close_port(self, handle: Any) -> None:
        reader = self._readers.pop(id(handle), None)
        if reader is not None:
            reader.stop()
        # The library brings the process down when it closes what its JACK server has already closed, and waits for
        # ever for one that stands still.
        if self.answers:
            self._close_handle(handle)
        else:
            keep_for_ever(handle)

    def close(self) -> None:
        """Let go of everything at once: what outlived its server, in some traceback, could not be destroyed safely."""
        lister, self._lister = self._lister, None
        if lister is not None:
            self.close_port(lister)
        self._close_server()

    def _close_server(self) -> None:
        if self._server is not None:
            if self._server.alive and not self._server.turns(TURN_SECONDS):
                keep_for_ever(self._server)
            else:
                self._server.close()

    def lasting(self, name: str) -> str:
        """A port's name without the part that may change when it is plugged in again."""
        changing = _CHANGING.get(self.backend)
        return changing.sub("", name) if changing else name


def _check_sequencer() -> None:
    if not _SEQUENCER.exists():
        raise _Problem(
            "This machine has no ALSA sequencer, through which Linux hears MIDI; "
            "'sudo modprobe snd-seq' starts it where the system has one."
        )
    if not os.access(_SEQUENCER, os.R_OK | os.W_OK):
        raise _Problem(
            f"You may not use {_SEQUENCER}, through which Linux hears MIDI; "
            "join the group audio ('sudo usermod -aG audio $USER') and log in again."
        )


def _jack(library: str) -> JackServer:
    try:
        server = JackServer.connect(library, OWN_NAME)
    except OSError as fault:
        raise _Problem("The MIDI library here was made without JACK.") from fault
    if isinstance(server, JackServer):
        return server
    if server & MISMATCH:
        raise _Problem(
            "A JACK server is running that the MIDI library's own copy of JACK is too old for; "
            "start the program with LD_PRELOAD=libjack.so.0 set."
        )
    raise _Problem("No JACK server is running.")


@dataclass(frozen=True, slots=True)
class PortListing:
    """The ports there are; where there is none, `problem` says why and what to do, in a sentence or two.

    `names` are the library's own, to choose by; show them through `names.printable`. `backend` is empty where none
    works.
    """

    names: tuple[str, ...]
    backend: str
    problem: str

    def unasked(self, wanted: str) -> str:
        """The port to take unasked: the one that `wanted` names, in full or in part, else the first that may be a
        piano; "" where there is none.

        >>> PortListing(("Midi Through Port-0 14:0", "Stage Piano MIDI 1"), "ALSA", "").unasked("")
        'Stage Piano MIDI 1'
        """
        if wanted:
            try:
                return choose(wanted, self.names)
            except PortError:
                pass
        return next((name for name in self.names if may_be_a_piano(name)), "")


def listing(backend: str | None = None, *, sounding: bool = False) -> PortListing:
    """The ports of the first backend that has one a piano can be at, else of the first that works. Never raises.

    `backend` asks for one only: ``ALSA``, ``JACK``, ``CoreMIDI`` or ``WinMM``.
    """
    opened, problems = open_systems(backend, sounding=sounding)
    try:
        found = [PortListing(tuple(names), system.backend, "" if names else _UNPLUGGED) for system, names in opened]
        for each in found:
            if any(may_be_a_piano(name) for name in each.names):
                return each
        return found[0] if found else PortListing((), "", " ".join(problems))
    finally:
        for system, _ in opened:
            system.close()


def open_systems(
    backend: str | None = None, *, sounding: bool = False
) -> tuple[list[tuple[System, list[str]]], list[str]]:
    """Every backend that works, opened, with its ports; and what is the matter with the others."""
    binding = installed_binding()
    if binding is None:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        return [], [NO_BINDING.format(version=version, machine=platform.machine() or sys.platform)]
    opened: list[tuple[System, list[str]]] = []
    problems: list[str] = []
    for one in _BACKENDS.get(sys.platform, ("JACK",)) if backend is None else (backend,):
        try:
            system = System(one, binding, sounding=sounding)
        except _Problem as problem:
            problems.append(str(problem))
            continue
        try:
            opened.append((system, system.names()))
        except Exception as fault:  # noqa: BLE001 - whatever a driver raises, the program goes on without ports
            problems.append(f"{one} does not list its ports ({printable(str(fault))}).")
            system.close()
    return opened, problems
