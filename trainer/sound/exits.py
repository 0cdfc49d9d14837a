"""Whatever ends the program ends what it sounds.

Every open sound is kept here (weakly); at the end of the interpreter, and when a signal ends the process, each is
silenced first, and its port closed: a JACK server waits some seconds for each client that went without a word. A
signal's own effect then takes place: the handler that was there before, or the default.

What no program can answer (SIGKILL, a loss of power) is left to active sensing, see `playing`.
"""

from __future__ import annotations

import atexit
import os
import signal
import threading
from time import sleep
from types import FrameType
from typing import Any, Final, Protocol
from weakref import WeakSet

DELIVERED_SECONDS: Final = 0.06
"""What is sent is on its way within this time: under JACK the server fetches it once a period, and the longest in use
is 46 ms."""
_ENDING: Final = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name))


class Ended(Protocol):
    """What is silenced at the end."""

    def end_now(self) -> bool:
        """Silence without waiting for anything; whether there was something to send."""

    def let_go_now(self) -> None:
        """Close the port without waiting for anything."""


_open: Final[WeakSet[Any]] = WeakSet()
_handlers: Final[dict[int, Any]] = {}


def keep(sound: Ended) -> None:
    """Silence this when the program ends."""
    if not _open:
        atexit.register(silence_all)
    _open.add(sound)
    mind_signals()


def mind_signals() -> None:
    """Answer the signals that end the process. Only the main thread can: from another one this does nothing, and a
    program that opens its sound there asks for it beforehand."""
    if threading.current_thread() is not threading.main_thread():
        return
    for number in _ENDING:
        before = signal.getsignal(number)
        # None: a handler that is not Python's, which we could not call. Ignored ones stay ignored (nohup).
        if before not in (None, signal.SIG_IGN, _ended):
            _handlers[number] = before
            signal.signal(number, _ended)


def release(sound: Ended) -> None:
    """It has ended by itself. After the last one, signals are as they were."""
    _open.discard(sound)
    if _open:
        return
    atexit.unregister(silence_all)
    if threading.current_thread() is threading.main_thread():
        for number, before in list(_handlers.items()):
            if signal.getsignal(number) is _ended:
                signal.signal(number, before)
            del _handlers[number]


def silence_all() -> None:
    """All notes off on every open sound, said twice because under JACK a period may get lost, and delivered; then its
    port is closed."""
    for _ in range(2):
        if any([sound.end_now() for sound in list(_open)]):
            sleep(DELIVERED_SECONDS)
    for sound in list(_open):
        sound.let_go_now()


def _ended(number: int, frame: FrameType | None) -> None:
    silence_all()
    before = _handlers.get(number, signal.SIG_DFL)
    if callable(before):
        before(number, frame)
        return
    signal.signal(number, before)
    os.kill(os.getpid(), number)
