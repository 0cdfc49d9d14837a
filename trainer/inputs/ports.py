"""Live MIDI ports, listened to.

Port names are the library's, as mido shows them. The library's own thread calls in with each message (under JACK a
reader's, see `trainer.midi.systems`); it is stamped first, turned into a `NoteEvent` and posted; nothing is polled for
notes. One thread of our own looks at the *list* of ports twice a second, so that a port that went away is told and
opened again when it is back, and keeps the time of active sensing.

Names of ports come from outside: they are shown as printable text only.

Source: MIDI 1.0 (status bytes, mode messages, active sensing: a sender that sends FEh sends something at least every
300 ms; receivers allow 330 ms).
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from time import perf_counter_ns
from typing import Any, Final

from trainer.capture import PERCUSSION_CHANNEL, Kind, NoteEvent
from trainer.inputs.source import InputError, Post, Stopped, event_of, printable
from trainer.midi import names as port_names
from trainer.midi.names import OWN_NAME as OWN_NAME
from trainer.midi.names import PortError, may_be_a_piano
from trainer.midi.names import is_bluetooth as is_bluetooth
from trainer.midi.systems import PortListing as PortListing
from trainer.midi.systems import System, listing, open_systems

LOOK_SECONDS: Final = 0.5
LOOKS_A_BACKEND: Final = 6
"""How often a backend without a piano is looked at before all are tried again."""
SENSING_NS: Final = 330_000_000
_SENSING: Final = 0xFE


def list_ports(backend: str | None = None) -> PortListing:
    """The ports to listen to; see `trainer.midi.systems.listing`."""
    return listing(backend)


def choose(wanted: str, names: Sequence[str]) -> str:
    """The port meant by a full name or a part of just one; see `trainer.midi.names.choose`. Raises `InputError`."""
    try:
        return port_names.choose(wanted, names)
    except PortError as error:
        raise InputError(str(error)) from None


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
        self._system: System | None = None
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
        systems, problems = open_systems(self._backend)
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
        try:
            line.handle = self._system.open(name, lambda message: self._hear(line, message))
        except PortError as error:
            raise InputError(str(error)) from error

    def _take_any(self) -> bool:
        """Without a port asked for: open the first that may be a piano, the one from before if it is there."""
        if self._system is None:
            self._system = self._most_promising()
            self._looks = 0
        system = self._system
        if system is None:
            return False
        (line,) = self._lines
        names = [name for name in system.names() if may_be_a_piano(name)]
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

    def _most_promising(self) -> System | None:
        """The first backend with a port that may be a piano, else the first that works."""
        systems, _ = open_systems(self._backend)
        best = min(systems, key=lambda pair: not any(may_be_a_piano(name) for name in pair[1]), default=None)
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

    def _again(self) -> System | None:
        """The backend from before, after its server went away."""
        systems, _ = open_systems("JACK")  # the only one with a server
        return systems[0][0] if systems else None

    def _tell(self, kind: Kind, line: _Line) -> None:
        # Sent on channel 1 whatever the filter: it is about the port, not about a channel of it.
        self._send(NoteEvent(perf_counter_ns(), kind, channel=self._channel or 0, port=line.shown))
