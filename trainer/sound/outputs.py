"""The port that is sounded on: found, opened, missed when it goes, taken again when it is back.

Names of ports come from outside: they are shown as printable text only.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from trainer.midi.names import PortError, choose, may_be_a_piano, printable
from trainer.midi.systems import PortListing, System, listing, open_systems

_NOT_PLUGGED: Final = (
    "There is no MIDI port to sound on: switch the piano on and connect its USB-MIDI socket to the computer."
)


def list_outputs(backend: str | None = None) -> PortListing:
    """The ports to sound on, as `trainer.midi.systems.listing` has them. Never raises."""
    found = listing(backend, sounding=True)
    return found if found.names or not found.backend else PortListing((), found.backend, _NOT_PLUGGED)


def output_beside(piano: str, names: Sequence[str]) -> str:
    """The port to sound on that belongs to the piano listened to: of the same name, else of the same device (what
    stands before the last colon), else the first that may be a piano; "" for none.

    >>> output_beside("Stage Piano:keys", ["Other:in", "Stage Piano:sound"]), output_beside("", ["Midi Through"])
    ('Stage Piano:sound', '')
    """
    if piano:
        if piano in names:
            return piano
        device = piano.rpartition(":")[0]
        same = [name for name in names if device and name.rpartition(":")[0] == device]
        if same:
            return same[0]
    return next((name for name in names if may_be_a_piano(name)), "")


class Output:
    """One port to send to. `wanted`: its name or a part of it; "" takes the one beside the piano listened to, or the
    first that may be a piano. Not for two threads at once, but for `send`.
    """

    def __init__(self, wanted: str = "", *, beside: str = "", backend: str | None = None) -> None:
        self._wanted = wanted
        self._beside = beside
        self._backend = backend
        self._system: System | None = None
        self._handle: Any = None
        self._name = ""
        self._lasting = ""

    @property
    def name(self) -> str:
        """The port in hand, or the one that was, as shown to the player."""
        return printable(self._name) or printable(self._wanted)

    @property
    def is_open(self) -> bool:
        return self._handle is not None

    def open(self) -> None:
        """Find the port and open it. Raises `PortError` with what was found and what to do."""
        opened, problems = open_systems(self._backend, sounding=True)
        refused: PortError | None = None
        for system, names in opened:
            if self._system is None:
                try:
                    name = choose(self._wanted, names) if self._wanted else output_beside(self._beside, names)
                except PortError as error:
                    refused = refused if refused is not None and not names else error
                else:
                    if name:
                        self._system, self._name = system, name
                        continue
            system.close()
        if self._system is None:
            raise refused or PortError(" ".join(problems) if not opened else _NOT_PLUGGED)
        try:
            self._take(self._name)
        except PortError:
            self.close()
            raise

    def _take(self, name: str) -> None:
        assert self._system is not None
        self._handle = self._system.open(name)
        self._name, self._lasting = name, self._system.lasting(name)

    def send(self, message: Sequence[int]) -> None:
        """Hand over one message; returns at once. Raises `PortError` where the port or its server is gone."""
        system, handle = self._system, self._handle
        if system is None or handle is None:
            raise PortError("The port is not open.")
        system.send(handle, message)

    def vanished(self) -> bool:
        """Whether the port in hand is there no more."""
        return self._system is None or self._name not in self._system.names()

    def let_go(self) -> None:
        """Close the port in hand, and keep looking for it."""
        handle, self._handle = self._handle, None
        if self._system is not None:
            if handle is not None:
                self._system.close_port(handle)
            if not self._system.alive:
                self._system.close()
                self._system = None

    def take_again(self) -> bool:
        """Open the port from before if it is back. Raises `PortError` where it is and cannot be opened."""
        if self._system is None:
            systems, _ = open_systems("JACK", sounding=True)  # the only backend with a server that ends
            if not systems:
                return False
            self._system = systems[0][0]
        if not self._system.answers:
            return False
        names = self._system.names()
        back = [name for name in names if self._system.lasting(name) == self._lasting]
        if not back:
            return False
        self._take(self._name if self._name in back else back[0])
        return True

    def close(self) -> None:
        """Let go of everything; may be called twice."""
        handle, self._handle = self._handle, None
        system, self._system = self._system, None
        if system is not None:
            if handle is not None:
                system.close_port(handle)
            system.close()
