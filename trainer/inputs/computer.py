"""The computer's keyboard as a piano, for trying the program out.

A terminal reports that a letter was typed and never that it was let go. So a letter puts a key down and keeps it down;
the same letter again lets it go, and the space bar lets go of all. Nothing measured here is a response time
(`stamp_origin` is ``keyboard``).

The layout is a piano's: white keys on a row of letters, black keys on the row above it between them. The two lower rows
go from D3 to E4, where left-hand voicings lie, the two upper rows on from F4.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter_ns
from typing import Final

from trainer.capture import Kind, NoteEvent
from trainer.inputs.source import Post, Stopped
from trainer.pitch import MidiNote

LET_GO: Final = " "
OCTAVE_DOWN: Final = "["
OCTAVE_UP: Final = "]"

_LOWEST: Final = 50  # D3
# From D3 up by half steps, and from F4 up; a space stands where no letter lies between two white keys' letters.
_LOWER: Final = "zsxcfvgbhnmk,l."
_UPPER: Final = "q2w3e4rt6y7ui9o0p"

LAYOUT: Final[dict[str, MidiNote]] = {
    character: MidiNote(_LOWEST + place) for place, character in enumerate(_LOWER + _UPPER)
}
"""Character -> key of the piano, before an octave shift."""


class ComputerKeyboard(Stopped):
    """The computer's keyboard as a source: whoever owns the terminal calls `press` with each typed character."""

    stamp_origin = "keyboard"
    name = "the computer's keyboard"

    def __init__(self, clock: Callable[[], int] = perf_counter_ns) -> None:
        self._clock = clock
        self._post: Post | None = None
        self._down: list[MidiNote] = []
        self._shift = 0

    def start(self, post: Post) -> None:
        self._post = post

    def stop(self) -> None:
        self._down.clear()
        self._post = None

    @property
    def down(self) -> tuple[MidiNote, ...]:
        """The keys held, in the order in which they were typed."""
        return tuple(self._down)

    def press(self, character: str) -> None:
        """Take one typed character; one that means nothing here does nothing."""
        now_ns = self._clock()
        if character == LET_GO:
            for key in self._down:
                self._tell(Kind.UP, key, now_ns)
            self._down.clear()
        elif character in (OCTAVE_DOWN, OCTAVE_UP):
            self._shift = max(-2, min(2, self._shift + (1 if character == OCTAVE_UP else -1)))
        elif (place := LAYOUT.get(character.lower())) is not None:
            key = MidiNote(place + 12 * self._shift)
            if key in self._down:
                self._down.remove(key)
                self._tell(Kind.UP, key, now_ns)
            else:
                self._down.append(key)
                self._tell(Kind.DOWN, key, now_ns)

    def _tell(self, kind: Kind, key: MidiNote, now_ns: int) -> None:
        if self._post is not None:
            self._post(NoteEvent(now_ns, kind, key, 64 if kind is Kind.DOWN else 0, 0, self.name))
