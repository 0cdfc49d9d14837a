"""The line at the top: what is listened to, and how far the drill is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.cells import cell_len

from trainer.screens.drawing import Drawn, Span, fitted, shown


class StatusLine(Drawn):
    """Left the port with a sign and words, right the set and the count."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.listens = False
        self.port = ""
        self.title = ""
        self.number = 0
        self.total = 0

    def listening(self, listens: bool, words: str) -> None:
        """What is listened to, or that nothing is."""
        self.listens, self.port = listens, words
        self.redraw()

    def progress(self, title: str, number: int, total: int) -> None:
        """The set in hand and which of its prompts."""
        self.title, self.number, self.total = title, number, total
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        sign, role = ("●", "held") if self.listens else ("○", "wrong")
        count = f"{self.number} of {self.total}" if self.total else ""
        room = width - 4 - cell_len(count)
        port = fitted(shown(self.port), max(8, room * 6 // 10))
        title = fitted(shown(self.title), max(0, room - cell_len(port) - 4))
        right = f"{title}   {count}" if title and count else title or count
        gap = width - 4 - cell_len(port) - cell_len(right)
        return [[(f" {sign} ", role), (port, "text"), (" " * max(1, gap), "text"), (right, "faint")]]
