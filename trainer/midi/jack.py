"""The little of JACK that the MIDI library does not do: ask whether a server is there, hear it go, keep quiet.

The MIDI library's bindings bring a JACK client library of their own. Called directly, it answers whether a server
runs without starting one, whether it goes through its periods, and tells when it ends. The MIDI library notices none
of it: it brings the process down when it closes ports of a server that is gone, and waits for ever for one that is
halted. Both client libraries here (JACK, ALSA) write complaints straight to file descriptor 2, which is the very
terminal the screen is drawn on; each has a function to send them elsewhere.

Source: JACK's jack.h (jack_client_open, jack_on_shutdown, jack_last_frame_time, jack_set_error_function) and
alsa-lib's error.h.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from functools import cache
from time import perf_counter, sleep
from typing import Any, Final

_NO_START_SERVER: Final = 0x01
MISMATCH: Final = 0x20
"""JackServerError: a server is there and talking to it failed."""
_Ended = ctypes.CFUNCTYPE(None, ctypes.c_void_p)


def _libraries(module: str) -> Iterator[ctypes.CDLL]:
    """Where the MIDI library itself finds its functions: a preloaded library first, then those it brought."""
    for place in (None, module):
        try:
            yield ctypes.CDLL(place)
        except (OSError, TypeError):
            continue


def _library_with(module: str, name: str) -> ctypes.CDLL:
    """Raises `OSError` where no library has the function."""
    for library in _libraries(module):
        if hasattr(library, name):
            return library
    raise OSError(f"no {name}")


def _function(module: str, name: str) -> Any:
    """Raises `OSError` where no library has it."""
    return getattr(_library_with(module, name), name)


@cache
def silence(module: str) -> None:
    """Send the complaints of the JACK and ALSA libraries nowhere, where there are such libraries.

    The file descriptor itself stays as it is: the screen is written through it.
    """
    try:
        # A C function that takes a text, does nothing and needs no interpreter: they call from threads of their own.
        nowhere = ctypes.cast(_function(module, "strlen"), ctypes.c_void_p)
    except OSError:
        return
    for name in ("jack_set_error_function", "jack_set_info_function", "snd_lib_error_set_handler"):
        try:
            _function(module, name)(nowhere)
        except OSError:
            continue


def keep_for_ever(handle: Any) -> None:
    """Never destroy an object, not even when the program ends."""
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(handle))


class JackServer:
    """A connection to a running JACK server that knows when the server ends."""

    def __init__(self, module: str, client: int) -> None:
        self.alive = True
        self._client: int | None = client
        self._close = _function(module, "jack_client_close")
        self._close.argtypes = [ctypes.c_void_p]
        self._ended = _Ended(self._end)
        on_shutdown = _function(module, "jack_on_shutdown")
        on_shutdown.argtypes = [ctypes.c_void_p, _Ended, ctypes.c_void_p]
        on_shutdown.restype = None
        on_shutdown(client, self._ended, None)
        # Called with the interpreter held: it reads a number and returns, and is asked for while a click is played.
        self._last_frame_time = ctypes.PYFUNCTYPE(ctypes.c_uint32, ctypes.c_void_p)(
            ("jack_last_frame_time", _library_with(module, "jack_last_frame_time"))
        )

    @staticmethod
    def connect(module: str, name: str) -> JackServer | int:
        """A connection, or JACK's status bits where there is none. Starts no server.

        `module`: the file of the MIDI library's binding. Raises `OSError` where that was made without JACK.
        """
        client_open = _function(module, "jack_client_open")
        client_open.restype = ctypes.c_void_p
        client_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.POINTER(ctypes.c_int)]
        status = ctypes.c_int(0)
        client = client_open(f"{name}-watch".encode(), _NO_START_SERVER, ctypes.byref(status))
        return JackServer(module, client) if client else status.value

    @property
    def turn(self) -> int:
        """A number that changes with each period of the server."""
        return int(self._last_frame_time(self._client)) if self.alive and self._client is not None else 0

    def turns(self, within_s: float) -> bool:
        """Whether the server goes through a period in that time."""
        first, ends = self.turn, perf_counter() + within_s
        while self.alive and perf_counter() < ends:
            if self.turn != first:
                return True
            sleep(0.001)
        return False

    def _end(self, _: Any) -> None:
        self.alive = False

    def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            self._close(client)
            if not self.alive:
                keep_for_ever(self._ended)
        self.alive = False
