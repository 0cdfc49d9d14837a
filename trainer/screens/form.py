"""A form as it is played: the beat, large enough to be seen from the piano, the chord of now and the next, and the map
of all bars with a sign under each thing that was to be played.

Widgets only; `in_time` is the screen. What changes on a beat is drawn line by line, nothing is laid out anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from rich.cells import cell_len

from trainer.screens.drawing import Drawn, Span, fitted, shown
from trainer.screens.glyphs import large

BARS_IN_A_LINE: Final = 4

SIGNS: Final[Mapping[str, tuple[str, str]]] = {
    "right": ("✓", "held"),
    "wrong": ("✗", "wrong"),
    "missed": ("–", "wrong"),
    "late": ("›", "moved"),
    "left out": ("o", "faint"),
    "": ("·", "faint"),
}
"""Sign and role of each verdict on a slot; "" where nothing is decided yet."""


@dataclass(frozen=True, slots=True)
class BarPicture:
    """A bar of the map: its number (0: the pick-up), section letter where one begins, length, and its chords and slots,
    each with the part of the bar (0 to below 1) at which it stands. A slot is known by its index."""

    number: int
    letter: str
    beats: Fraction
    chords: tuple[tuple[Fraction, str], ...]
    slots: tuple[tuple[Fraction, int], ...]


class Beats(Drawn):
    """The beat: its number large, and a dot for each beat of the bar; in the count-in it says so."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.beat = 0
        self.of = 4
        self.words = ""

    def show(self, beat: int, of: int, words: str = "") -> None:
        """Show the beat of the bar (0: none yet) of so many, and words beside it."""
        self.beat, self.of, self.words = beat, of, words
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        dots: list[Span] = []
        for beat in range(1, self.of + 1):
            dots.append(("● " if beat == self.beat else "○ ", "strong" if beat == self.beat else "faint"))
        if height <= 1:
            return [[*dots, (f" {self.words}", "text")]]
        number = large(str(self.beat), width, height - 2) if self.beat and height > 5 else []
        lines: list[list[Span]] = [[(line, "large")] for line in number]
        return [*lines, dots, [(fitted(self.words, width), "text")]]


class ChordsAhead(Drawn):
    """The chord of now in large letters, and beneath it what comes next."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.now = ""
        self.next = ""
        self.words = ""

    def show(self, now: str, words: str, following: str) -> None:
        """The chord of now, how it is voiced, and the next chord."""
        self.now, self.words, self.next = now, words, following
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        following = f"then {self.next}" if self.next else ""
        if height <= 2:
            first: list[Span] = [(f"{self.now}  ", "large"), (following, "faint")]
            return [first] if height == 1 else [first, [(fitted(self.words, width), "text")]]
        drawn = large(self.now, width, height - 2) or [self.now]
        return [
            *([(line, "large")] for line in drawn),
            [(fitted(self.words, width), "strong")],
            [(fitted(following, width), "text")],
        ]


class FormMap(Drawn):
    """All bars, four in a line: chords, and under each thing to be played the sign of its verdict."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.bars: tuple[BarPicture, ...] = ()
        self.verdicts: dict[int, str] = {}
        self.now = -1

    def show(self, bars: Sequence[BarPicture]) -> None:
        """Another form, nothing decided."""
        self.bars, self.verdicts, self.now = tuple(bars), {}, -1
        self.redraw()

    def at(self, bar: int) -> None:
        """The position of the bar that is played now (from 0; -1: none)."""
        self.now = bar
        self.redraw()

    def decide(self, verdicts: Mapping[int, str]) -> None:
        """Verdicts of slots, by index."""
        self.verdicts.update(verdicts)
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        rows = _rows(self.bars)
        most = max(1, (height + 1) // 3)
        first = 0
        if len(rows) > most:
            current = next((at for at, row in enumerate(rows) if self.now in row), 0)
            first = min(max(0, current - most // 2), len(rows) - most)
        lines: list[list[Span]] = []
        for row in rows[first : first + most]:
            chords, signs = self._row(row, width)
            lines += [chords, signs, []]
        return lines[:-1] if lines else lines

    def _row(self, row: Sequence[int], width: int) -> tuple[list[Span], list[Span]]:
        cell = max(6, (width - 1) // BARS_IN_A_LINE)
        chords: list[Span] = []
        signs: list[Span] = []
        for position in row:
            bar = self.bars[position]
            role = "mark" if position == self.now else "text"
            chords.append(("│", "faint"))
            chords.append((_spread(((part, shown(name)) for part, name in bar.chords), cell - 1), role))
            signs.append((bar.letter[:1] or " ", "strong"))
            signs += self._signs(bar, cell - 1)
        chords.append(("│", "faint"))
        return chords, signs

    def _signs(self, bar: BarPicture, width: int) -> list[Span]:
        spans: list[Span] = []
        at = 0
        for part, index in bar.slots:
            column = max(at, int(part * width))
            if column >= width:
                break
            sign, role = SIGNS[self.verdicts.get(index, "")]
            spans += [(" " * (column - at), "text"), (sign, role)]
            at = column + 1
        return [*spans, (" " * (width - at), "text")]


def _rows(bars: Sequence[BarPicture]) -> list[list[int]]:
    """Positions of the bars of each line; a pick-up stands in a line of its own, a section begins one."""
    rows: list[list[int]] = []
    for position, bar in enumerate(bars):
        begins = not rows or len(rows[-1]) == BARS_IN_A_LINE or bars[rows[-1][-1]].number == 0
        if begins or (bar.letter and rows[-1]):
            rows.append([])
        rows[-1].append(position)
    return rows


def _spread(parts: Iterable[tuple[Fraction, str]], width: int) -> str:
    """Names at their parts of a width; one that would run into the next is cut with a sign."""
    placed = list(parts)
    text = ""
    for index, (part, name) in enumerate(placed):
        column = max(len(text) + (1 if text else 0), int(part * width))
        ends = max(column + 2, int(placed[index + 1][0] * width)) if index + 1 < len(placed) else width
        text += " " * (column - cell_len(text)) + fitted(name, max(1, ends - column))
    return text[:width] + " " * (width - cell_len(text))
