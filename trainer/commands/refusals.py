"""How a command ends: exit codes, and the one line for a player whose wish cannot be met."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, NoReturn

DONE: Final = 0
NO: Final = 1
USED_WRONGLY: Final = 2
UNUSABLE: Final = 3


class Refusal(Exception):
    """What the command cannot do, as one line for the player, and the exit code that goes with it."""

    def __init__(self, message: str, code: int = UNUSABLE) -> None:
        super().__init__(message)
        self.code = code


class Ended(KeyboardInterrupt):
    """A signal that ends the process came; `code` is what shells call it by."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.code = 128 + number


_ENDING: Final = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


@contextmanager
def ended_in_order() -> Iterator[None]:
    """Inside, a signal that ends the process ends the command as Ctrl-C does: what was begun is kept, ports are closed,
    and the terminal is given back. A second one ends the process at once. An ignored signal (nohup) stays ignored.
    """

    def ended(number: int, frame: object) -> NoReturn:
        for each in minded:
            signal.signal(each, signal.SIG_DFL)
        raise Ended(number)

    minded = []
    if threading.current_thread() is threading.main_thread():
        minded = [number for number in _ENDING if signal.getsignal(number) is signal.SIG_DFL]
    for number in minded:
        signal.signal(number, ended)
    try:
        yield
    finally:
        for number in minded:
            signal.signal(number, signal.SIG_DFL)
