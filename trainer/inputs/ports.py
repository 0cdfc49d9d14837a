"""Live MIDI ports.

One small seam stands over two bindings of the same library, RtMidi: python-rtmidi (Python to 3.12) and rtmidi2 (from
3.13). Port names are the library's, as mido shows them. The library's own thread calls in with each message; it is
stamped first, turned into a `NoteEvent` and posted; nothing is polled for notes, but for JACK. There the library calls
in on the server's real-time thread, and a call that has to wait for the interpreter makes that thread miss its periods:
measured with 64 frames a period, four releases of one period came as four times the first. So under JACK the library
keeps the notes in a queue of its own, filled without the interpreter, and a thread of ours empties it every millisecond
(`_Reader`). One thread of our own looks at the
*list* of ports twice a second, so that a port that went away is told and opened again when it is back, and keeps the
time of active sensing.

Backends are tried in the platform's order (`_BACKENDS`): on Linux the ALSA sequencer, then JACK. What keeps a backend
from working is told in one sentence for a musician (`PortListing.problem`), never as an exception.

Names of ports come from outside: they are shown as printable text only.

Source: MIDI 1.0 (status bytes, mode messages, active sensing: a sender that sends FEh sends something at least every
300 ms; receivers allow 330 ms).
"""

from __future__ import annotations

import gc
import importlib
import os
import platform
import re
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter_ns, sleep
from typing import Any, Final, Protocol

from trainer.capture import PERCUSSION_CHANNEL, Kind, NoteEvent
from trainer.inputs.jack import MISMATCH, JackServer, keep_for_ever, silence
from trainer.inputs.source import InputError, Post, Stopped, event_of, printable

OWN_NAME: Final = "jazz-piano-trainer"
"""What our ports are called; a port whose name begins so is our own and never listened to unasked."""
LOOK_SECONDS: Final = 0.5
READ_SECONDS: Final = 0.001
OPEN_TRIES: Final = 4
LOOKS_A_BACKEND: Final = 6
"""How often a backend without a piano is looked at before all are tried again."""
SENSING_NS: Final = 330_000_000
_SENSING: Final = 0xFE
_SEQUENCER: Final = Path("/dev/snd/seq")
_NO_PIANO: Final = re.compile(r"\bthrough\b|\bthru\b|\bvirmidi\b|virtual raw midi|loop ?back|\biac\b|^rtmidi", re.I)
_BLUETOOTH: Final = re.compile(r"bluetooth|\bble\b|\bbt\b", re.IGNORECASE)
# ALSA ends a name in client:port, Windows in a count; both may be others after plugging in again.
_CHANGING: Final = {"ALSA": re.compile(r"\s+\d+:\d+$"), "WinMM": re.compile(r"\s+\d+$")}
_BACKENDS: Final = {"linux": ("ALSA", "JACK"), "darwin": ("CoreMIDI",), "win32": ("WinMM",)}
_API: Final = {
    "ALSA": "API_LINUX_ALSA",
    "JACK": "API_UNIX_JACK",
    "CoreMIDI": "API_MACOSX_CORE",
    "WinMM": "API_WINDOWS_MM",
}

Hear = Callable[[Sequence[int]], None]
"""Takes the bytes of one message, on the library's thread."""


# -- the seam: what we need of RtMidi, from either binding


class _Binding(Protocol):
    """One binding of RtMidi. Handles are its MidiIn objects."""

    module: Any

    def handle(self, api: int) -> Any: ...
    def names(self, handle: Any) -> list[str]: ...
    def listen(self, handle: Any, index: int, hear: Hear | None) -> None: ...
    def read(self, handle: Any) -> Sequence[int] | None: ...
    def close(self, handle: Any) -> None: ...


class _PythonRtMidi:
    """python-rtmidi: the callback gets ((bytes, delta), data); errors are exceptions."""

    def __init__(self) -> None:
        self.module = importlib.import_module("rtmidi._rtmidi")

    def handle(self, api: int) -> Any:
        return self.module.MidiIn(api, name=OWN_NAME)

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

    def close(self, handle: Any) -> None:
        in_use = gc.get_referents(handle)  # the callback and its data: cancelling drops them
        handle.cancel_callback()
        _let_finish(in_use)
        handle.close_port()
        handle.delete()


class _RtMidi2:
    """rtmidi2: the callback gets (bytes, delta).

    The interface must be named to the constructor, and made sure of before: what fails in there ends the process.
    """

    def __init__(self) -> None:
        self.module = importlib.import_module("rtmidi2")

    def handle(self, api: int) -> Any:
        return self.module.MidiIn(clientname=OWN_NAME, api=api)

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


def _binding() -> _Binding | None:
    """The binding that is installed, or None."""
    try:
        return _PythonRtMidi()
    except ImportError:
        pass
    try:
        return _RtMidi2()
    except ImportError:
        return None


_NO_BINDING: Final = (
    "The MIDI library is not installed: it has no ready-made package for this Python ({version}) on this machine "
    "({machine}). With Python 3.11 or 3.12 on a common computer it comes by itself; everything else works without."
)


class _Reader:
    """Empties the library's own queue of one port, on a thread of ours, and passes each message on."""

    def __init__(self, binding: _Binding, handle: Any, hear: Hear) -> None:
        self._stopping = False
        self._thread = threading.Thread(
            target=self._read, args=(binding, handle, hear), name="MIDI port reader", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        self._stopping = True
        self._thread.join()

    def _read(self, binding: _Binding, handle: Any, hear: Hear) -> None:
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


class _System:
    """One backend, opened: lists ports and opens them until it is closed or its server dies."""

    def __init__(self, backend: str, binding: _Binding) -> None:
        """Raises `_Problem`."""
        self.backend = backend
        self._binding = binding
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
        try:
            self._lister = binding.handle(api)
            if self._lister.get_current_api() != api:
                raise RuntimeError(f"no {backend}")
        except Exception as fault:
            self._close_server()
            raise _Problem(f"{backend} does not answer ({printable(str(fault))}).") from fault

    @property
    def alive(self) -> bool:
        return self._server is None or self._server.alive

    def names(self) -> list[str]:
        """The ports to listen to, by the library's index; none once the server is gone."""
        return self._binding.names(self._lister) if self.alive else []

    def open(self, name: str, hear: Hear) -> Any:
        """Listen to a port by its exact name. Raises `InputError`.

        A port may be listed a moment before it can be connected to, or be missing while the graph of ports changes, so
        it is tried `OPEN_TRIES` times.
        """
        for left in reversed(range(OPEN_TRIES)):
            handle = None
            try:
                index = self.names().index(name)
                handle = self._binding.handle(self._api)
                if self.backend == "JACK":
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
                    raise InputError(
                        f"The MIDI port {printable(name)} cannot be opened: {printable(str(fault))}. "
                        "Another program may be using it: close that one, or plug the piano in again."
                    ) from fault
                sleep(0.05)
        raise AssertionError("unreachable")

    def close_port(self, handle: Any) -> None:
        reader = self._readers.pop(id(handle), None)
        if reader is not None:
            reader.stop()
        # The library brings the process down when it closes what its JACK server has already closed.
        if self.alive:
            self._binding.close(handle)
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


# -- what there is


@dataclass(frozen=True, slots=True)
class PortListing:
    """The ports one can listen to; where there is none, `problem` says why and what to do, in a sentence or two.

    `names` are the library's own, to choose by; show them through `source.printable`. `backend` is empty where none
    works.
    """

    names: tuple[str, ...]
    backend: str
    problem: str

    def unasked(self, wanted: str) -> str:
        """The port to listen to unasked: the one that `wanted` names, in full or in part, else the first that may be a
        piano; "" where there is none.

        >>> PortListing(("Midi Through Port-0 14:0", "Stage Piano MIDI 1"), "ALSA", "").unasked("")
        'Stage Piano MIDI 1'
        """
        if wanted:
            try:
                return choose(wanted, self.names)
            except InputError:
                pass
        return next((name for name in self.names if _may_be_a_piano(name)), "")


_UNPLUGGED: Final = "No MIDI port is there: switch the piano on and connect its USB-MIDI socket to the computer."


def list_ports(backend: str | None = None) -> PortListing:
    """The ports of the first backend that has one a piano can be at, else of the first that works. Never raises.

    `backend` asks for one only: ``ALSA``, ``JACK``, ``CoreMIDI`` or ``WinMM``.
    """
    systems, problems = _systems(backend)
    try:
        listings = [PortListing(tuple(names), system.backend, "" if names else _UNPLUGGED) for system, names in systems]
        for listing in listings:
            if any(_may_be_a_piano(name) for name in listing.names):
                return listing
        return listings[0] if listings else PortListing((), "", " ".join(problems))
    finally:
        for system, _ in systems:
            system.close()


def _systems(backend: str | None) -> tuple[list[tuple[_System, list[str]]], list[str]]:
    """Every backend that works, opened, with its ports; and what is the matter with the others."""
    binding = _binding()
    if binding is None:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        return [], [_NO_BINDING.format(version=version, machine=platform.machine() or sys.platform)]
    systems: list[tuple[_System, list[str]]] = []
    problems: list[str] = []
    for one in _BACKENDS.get(sys.platform, ("JACK",)) if backend is None else (backend,):
        try:
            system = _System(one, binding)
        except _Problem as problem:
            problems.append(str(problem))
            continue
        try:
            systems.append((system, system.names()))
        except Exception as fault:  # noqa: BLE001 - whatever a driver raises, the program goes on without ports
            problems.append(f"{one} does not list its ports ({printable(str(fault))}).")
            system.close()
    return systems, problems


def _may_be_a_piano(name: str) -> bool:
    """False for what passes on other programs' notes, ours among them.

    >>> _may_be_a_piano("Midi Through:Midi Through Port-0 14:0"), _may_be_a_piano("Stage Piano MIDI 1")
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
    """The port meant by a full name, or by a part of just one, in capitals or not. Raises `InputError`.

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
        raise InputError(
            f"No MIDI port is called {printable(wanted)!r}. Ports there are: {there}. "
            "Switch the piano on and connect it, or give a part of one of these names."
        )
    several = "; ".join(printable(name) for name in found)
    raise InputError(f"{printable(wanted)!r} fits several MIDI ports: {several}. Write more of the name.")


# -- listening


@dataclass(slots=True, eq=False)
class _Line:
    """One port of ours: what it is to be, and the handle while it is open."""

    name: str = ""  # as the library lists it; empty while none has been taken
    lasting: str = ""
    handle: Any = None
    senses: bool = False  # active sensing was seen
    last_ns: int = 0
    shown: str = field(default="")

    @property
    def is_open(self) -> bool:
        return self.handle is not None


class PortInput(Stopped):
    """One or more live ports.

    `names`: full names or parts of them; none at all means the first port that appears, now or later (never a through
    port or one of our own), and again after it went away. `channel`: 0-15 listens to that one only; None to all but
    percussion (9). `backend`: as in `list_ports`.

    Posts, from threads of its own: notes, pedal, QUIET (mode messages; value 0 when active sensing falls silent),
    PORT_LOST when a port vanishes, PORT_FOUND when one is opened after the start. Stamps never run backwards.
    """

    stamp_origin = "port"
    reconnects = True
    """It finds its port again by itself."""

    def __init__(
        self, names: Sequence[str] | None = None, *, channel: int | None = None, backend: str | None = None
    ) -> None:
        self._wanted = (names,) if isinstance(names, str) else tuple(names or ())
        self._channel = channel
        self._backend = backend
        self._system: _System | None = None
        self._looks = 0  # at this system's ports, without a piano among them
        self._lines: list[_Line] = []
        self._lock = threading.Lock()
        self._post: Post | None = None
        self._latest_ns = 0
        self._wake = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def name(self) -> str:
        taken = ", ".join(line.shown for line in self._lines if line.shown)
        return taken or ", ".join(printable(name) for name in self._wanted) or "any MIDI port"

    @property
    def connected(self) -> tuple[str, ...]:
        """The ports that are open now, as shown to the player."""
        return tuple(line.shown for line in self._lines if line.is_open)

    def start(self, post: Post) -> None:
        """Open the ports. Raises `InputError` where a named one is not there; without names it waits for one."""
        if self._thread is not None:
            raise RuntimeError("already started")
        self._lines = []
        if self._wanted:
            self._start_named()
        else:
            self._lines = [_Line()]
            self._take_any()
        self._latest_ns = perf_counter_ns()
        self._post = post
        self._wake.clear()
        self._thread = threading.Thread(target=self._watch, name="MIDI port watch", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        with self._lock:
            self._post = None
        thread, self._thread = self._thread, None
        if thread is not None:
            self._wake.set()
            thread.join()
        self._close_all()

    def _close_all(self) -> None:
        system, self._system = self._system, None
        if system is None:
            return
        for line in self._lines:
            if line.is_open:
                handle, line.handle = line.handle, None
                system.close_port(handle)
        system.close()

    # -- opening

    def _start_named(self) -> None:
        systems, problems = _systems(self._backend)
        refused: InputError | None = None
        for system, names in systems:
            if self._system is None:
                try:
                    chosen = list(dict.fromkeys(choose(wanted, names) for wanted in self._wanted))
                except InputError as error:
                    refused = refused if refused is not None and not names else error
                else:
                    self._system = system
                    self._lines = [_Line(name, system.lasting(name), shown=printable(name)) for name in chosen]
                    continue
            system.close()
        if self._system is None:
            wanted = ", ".join(printable(name) for name in self._wanted)
            raise refused or InputError(f"The MIDI port {wanted} cannot be opened. {' '.join(problems)}")
        try:
            for line in self._lines:
                self._open(line, line.name)
        except InputError:
            self._close_all()
            raise

    def _open(self, line: _Line, name: str) -> None:
        assert self._system is not None
        line.name, line.lasting, line.shown = name, self._system.lasting(name), printable(name)
        line.senses = False
        line.handle = self._system.open(name, lambda message: self._hear(line, message))

    def _take_any(self) -> bool:
        """Without a port asked for: open the first that may be a piano, the one from before if it is there."""
        if self._system is None:
            self._system = self._most_promising()
            self._looks = 0
        system = self._system
        if system is None:
            return False
        (line,) = self._lines
        names = [name for name in system.names() if _may_be_a_piano(name)]
        names.sort(key=lambda name: system.lasting(name) != line.lasting)
        for name in names:
            try:
                self._open(line, name)
            except InputError:
                continue
            return True
        self._looks += 1
        if self._looks >= LOOKS_A_BACKEND:  # let go, so that another backend gets its chance
            self._system = None
            system.close()
        return False

    def _most_promising(self) -> _System | None:
        """The first backend with a port that may be a piano, else the first that works."""
        systems, _ = _systems(self._backend)
        best = min(systems, key=lambda pair: not any(_may_be_a_piano(name) for name in pair[1]), default=None)
        for pair in systems:
            if pair is not best:
                pair[0].close()
        return best[0] if best else None

    # -- on the library's thread

    def _hear(self, line: _Line, message: Sequence[int]) -> None:
        now_ns = perf_counter_ns()
        try:
            line.last_ns = now_ns
            if len(message) == 1:
                if message[0] == _SENSING and not line.senses:
                    line.senses = True
                    self._wake.set()
                return
            event = event_of(message, now_ns, line.shown)
            if event is not None and self._listens_to(event.channel):
                self._send(event)
        except Exception:  # noqa: BLE001 - an exception must not reach the library's thread and end the stream
            return

    def _listens_to(self, channel: int) -> bool:
        return channel != PERCUSSION_CHANNEL if self._channel is None else channel == self._channel

    def _send(self, event: NoteEvent) -> None:
        """Post in order: two threads may stamp at almost the same moment."""
        with self._lock:
            if self._post is None:
                return
            if event.time_ns < self._latest_ns:
                event = NoteEvent(self._latest_ns, event.kind, event.key, event.value, event.channel, event.port)
            self._latest_ns = event.time_ns
            self._post(event)

    # -- on our own thread

    def _watch(self) -> None:
        look_ns = perf_counter_ns()
        while True:
            waits_ns = [look_ns - perf_counter_ns()]
            waits_ns += [line.last_ns + SENSING_NS - perf_counter_ns() for line in self._lines if line.senses]
            self._wake.wait(max(min(waits_ns), 1_000_000) / 1_000_000_000)
            self._wake.clear()
            if self._thread is not threading.current_thread():
                return
            try:
                self._mind_sensing()
                if perf_counter_ns() >= look_ns:
                    look_ns = perf_counter_ns() + int(LOOK_SECONDS * 1_000_000_000)
                    self._look()
            except Exception:  # noqa: BLE001 - a driver's fault must not end the watch: the next look may go well
                continue

    def _mind_sensing(self) -> None:
        for line in self._lines:
            if line.senses and perf_counter_ns() - line.last_ns > SENSING_NS:
                line.senses = False
                self._tell(Kind.QUIET, line)

    def _look(self) -> None:
        """Compare the list of ports with ours: tell and close what vanished, open and tell what is back."""
        names = [] if self._system is None else self._system.names()
        for line in self._lines:
            if line.is_open and line.name not in names:
                handle, line.handle = line.handle, None
                line.senses = False
                self._tell(Kind.PORT_LOST, line)
                if self._system is not None:
                    self._system.close_port(handle)
        if self._system is not None and not self._system.alive:
            self._system.close()
            self._system = None
        if all(line.is_open for line in self._lines):
            return
        if not self._wanted:
            if self._take_any():
                self._tell(Kind.PORT_FOUND, self._lines[0])
            return
        if self._system is None:
            self._system = self._again()
            if self._system is None:
                return
            names = self._system.names()
        taken = {line.name for line in self._lines if line.is_open}
        for line in self._lines:
            back = [name for name in names if name not in taken and self._system.lasting(name) == line.lasting]
            if not line.is_open and back:
                self._open(line, line.name if line.name in back else back[0])
                taken.add(line.name)
                self._tell(Kind.PORT_FOUND, line)

    def _again(self) -> _System | None:
        """The backend from before, after its server went away."""
        systems, _ = _systems("JACK")  # the only one with a server
        return systems[0][0] if systems else None

    def _tell(self, kind: Kind, line: _Line) -> None:
        # Sent on channel 1 whatever the filter: it is about the port, not about a channel of it.
        self._send(NoteEvent(perf_counter_ns(), kind, channel=self._channel or 0, port=line.shown))
