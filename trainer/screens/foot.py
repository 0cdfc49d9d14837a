"""The foot of the practice screen: its keys and what they do, in one line; a click does it as well.

The library's own foot is a widget for each key, and each of them is asked for its lines at every repaint.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from textual import events

from trainer.screens.drawing import Drawn, Span


@dataclass(frozen=True, slots=True)
class FootKey:
    """A key as shown, a word for what it does, and the action."""

    key: str
    word: str
    action: str


class Foot(Drawn):
    """Keys from the left, as many as there is room for."""

    DEFAULT_CSS = """
    Foot .drawn--text { color: $foreground; background: $panel; }
    Foot .drawn--strong { color: $primary; background: $panel; text-style: bold; }
    """

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.keys: tuple[FootKey, ...] = ()

    def show(self, keys: Sequence[FootKey]) -> None:
        """Show other keys."""
        self.keys = tuple(keys)
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        spans: list[Span] = []
        for left, key in self._places(width):
            gap = left - sum(cell_len(text) for text, _ in spans)
            spans += [(" " * gap, "text"), (key.key, "strong"), (f" {key.word}", "text")]
        return [spans]

    def _places(self, width: int) -> list[tuple[int, FootKey]]:
        """Where each key begins, with two cells between keys, or one where not all fit."""
        places: list[tuple[int, FootKey]] = []
        for gap in (2, 1):
            places = []
            left = 1
            for key in self.keys:
                right = left + cell_len(key.key) + 1 + cell_len(key.word)
                if right > width:
                    break
                places.append((left, key))
                left = right + gap
            if len(places) == len(self.keys):
                break
        return places

    async def on_click(self, event: events.Click) -> None:
        """Do what stands under the pointer."""
        for left, key in self._places(self.size.width):
            if left <= event.x <= left + cell_len(key.key) + cell_len(key.word):
                await self.app.run_action(key.action, default_namespace=self.screen)
                return
