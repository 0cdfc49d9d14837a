"""The prompt: the chord symbol in large letters and, under it, in words what is to be played."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from trainer.screens.drawing import Drawn, Span, fitted, wrapped
from trainer.screens.glyphs import large


class Prompt(Drawn):
    """`symbol` in large letters; `words` ("rootless from the third, minor 7, on C") beneath."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.symbol = ""
        self.words = ""

    def show(self, symbol: str, words: str) -> None:
        """Show another prompt."""
        self.symbol, self.words = symbol, words
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        if height <= 2:
            together = f"{self.symbol}  {self.words}" if height == 1 else self.symbol
            lines: list[list[Span]] = [[(fitted(together, width), "large")]]
            return lines if height == 1 else [*lines, [(fitted(self.words, width), "strong")]]
        words = wrapped(self.words, width)
        drawn = large(self.symbol, width, height - 1) or ([self.symbol] if self.symbol else [])
        lines = [[(line, "large")] for line in drawn]
        if height - len(lines) > len(words):
            lines.append([])
        for line in words[: max(1, height - len(lines))]:
            lines.append([(line, "strong")])
        return lines
