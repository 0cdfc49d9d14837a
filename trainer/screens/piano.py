"""A small keyboard, as wide as the register of the set, drawn only when the player asks for it.

Two columns for each white key, a black key between its neighbours. A held key carries a sign beneath it, so that it is
told by more than colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from trainer.pitch import MidiNote, key_name
from trainer.screens.drawing import Drawn, Span

_BLACK: Final = frozenset({1, 3, 6, 8, 10})


def register_of(keys: Iterable[int]) -> tuple[int, int]:
    """The range to draw for some keys: from the C or F below the lowest to the E or B above the highest.

    >>> register_of([51, 62])
    (48, 64)
    """
    known = sorted(keys) or [60]
    low, high = known[0] - 1, known[-1] + 1
    while low % 12 not in (0, 5):
        low -= 1
    while high % 12 not in (4, 11):
        high += 1
    return max(0, low), min(127, high)


class Keyboard(Drawn):
    """The keys from `low` to `high`; those held are marked."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.low, self.high = 48, 71
        self.held = 0
        self.wrong = 0

    def span(self, low: int, high: int) -> None:
        """Draw other keys."""
        if (low, high) != (self.low, self.high):
            self.low, self.high = low, high
            self.redraw()

    def show(self, held: int, wrong: int = 0) -> None:
        """Mark the keys of a mask as held, those of `wrong` among them as not belonging."""
        if (held, wrong) != (self.held, self.wrong):
            self.held, self.wrong = held, wrong
            self.redraw()

    def _role(self, key: int, plain: str) -> str:
        if self.held >> key & 1:
            return "mark"
        return plain

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        whites = [key for key in range(self.low, self.high + 1) if key % 12 not in _BLACK]
        whites = whites[: max(0, width // 3)]
        upper: list[Span] = []
        lower: list[Span] = []
        marks: list[Span] = []
        for key in whites:
            black = key + 1 if (key + 1) % 12 in _BLACK and key + 1 <= self.high else None
            upper.append(("  ", self._role(key, "white-key")))
            if black is None:
                upper.append(("│", "white-key"))
            else:
                upper.append((" ", self._role(black, "black-key")))
            lower.append(("  ", self._role(key, "white-key")))
            lower.append(("│", "white-key"))
            marks += [self._mark(key, key_name(MidiNote(key))), self._sharp_mark(black)]
        rows: list[list[Span]] = [upper, upper, lower, marks]
        return rows[-height:] if height < 4 else rows

    def _mark(self, key: int, name: str) -> Span:
        if self.held >> key & 1:
            return ("✗ ", "wrong") if self.wrong >> key & 1 else ("● ", "held")
        return (f"{name:<2}"[:2], "faint") if key % 12 == 0 else ("  ", "text")

    def _sharp_mark(self, key: int | None) -> Span:
        if key is not None and self.held >> key & 1:
            return ("✗", "wrong") if self.wrong >> key & 1 else ("●", "held")
        return (" ", "text")
