"""What every source of notes is, and how it says that it cannot be one.

A source is started with a function to post to, posts `NoteEvent`s in the order they happen, and is stopped. Live
sources post from a thread of their own and stamp with `time.perf_counter_ns`; replaying ones post stamps of a virtual
clock. After `stop` returns, nothing more is posted and no thread is left.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Final, Protocol, Self, runtime_checkable

from trainer.capture import Kind, NoteEvent
from trainer.midi.names import printable as printable
from trainer.pitch import MidiNote

Post = Callable[[NoteEvent], None]
"""Takes an event and returns at once; may be called from any thread."""


SUSTAIN: Final = 64
"""Controller number of the sustain pedal."""
_SILENCING: Final = frozenset({120, *range(123, 128)})


class InputError(Exception):
    """A port or file that cannot be used: what was found and what to do, as sentences for a musician."""


@runtime_checkable
class Source(Protocol):
    """Where notes come from."""

    @property
    def name(self) -> str:
        """Shown to the player; printable text only."""

    @property
    def stamp_origin(self) -> str:
        """Where the stamps come from: ``port``, ``file``, ``keyboard`` or ``script``."""

    def start(self, post: Post) -> None:
        """Begin. Raises `InputError` where the source cannot be used."""

    def stop(self) -> None:
        """End; may be called twice, or without a start."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Stopped:
    """The context manager that every source is: it stops on the way out."""

    def stop(self) -> None:
        """Overridden by each source."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def event_of(message: Sequence[int], time_ns: int, port: str) -> NoteEvent | None:
    """What the bytes of one MIDI message mean at the piano; None for what is neither note, pedal nor mode message.

    A note-on of velocity 0 is a release. Controllers 120 and 123-127 silence the port. Source: MIDI 1.0.

    >>> event_of([0x90, 60, 0], 5, "piano").kind
    <Kind.UP: 'up'>
    """
    if len(message) != 3:
        return None
    status, first, second = message
    if first > 127 or second > 127:
        return None
    channel = status & 0x0F
    match status & 0xF0:
        case 0x90:
            return NoteEvent(time_ns, Kind.DOWN if second else Kind.UP, MidiNote(first), second, channel, port)
        case 0x80:
            return NoteEvent(time_ns, Kind.UP, MidiNote(first), second, channel, port)
        case 0xB0 if first == SUSTAIN:
            return NoteEvent(time_ns, Kind.PEDAL, MidiNote(0), second, channel, port)
        case 0xB0 if first in _SILENCING:
            return NoteEvent(time_ns, Kind.QUIET, MidiNote(0), first, channel, port)
        case _:
            return None
