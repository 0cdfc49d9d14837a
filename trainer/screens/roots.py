"""The wheel of roots: twelve cells, always in the cycle of fourths, as a strip that fits 80 columns.

Rows, the most telling first, as many as there is room for: the root; how often the first try was right; the response
time; how sure that is (the lower end of the 95 % Wilson interval: at least so often right, one may be sure); how long
ago the root was last asked; how many tries. Numbers carry the meaning; colour only repeats it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from trainer.pitch import pretty
from trainer.screens.drawing import Drawn, Span

LABEL_CELLS: Final = 8
CELL_CELLS: Final = 6
STRIP_CELLS: Final = LABEL_CELLS + 12 * CELL_CELLS


@dataclass(frozen=True, slots=True)
class RootCell:
    """Figures of one root: `name` is its own among the twelve, `root` the set's spelling of it.

    Shares are 0-1; `response_ms` is None where there are not enough tries yet.
    """

    root: str
    name: str = ""
    tries: int = 0
    right: float | None = None
    at_least: float | None = None
    response_ms: float | None = None
    ago: str = ""


def _percent(share: float | None) -> str:
    return "·" if share is None else f"{100 * share:.0f}%"


def _seconds(response_ms: float | None) -> str:
    """Seconds to one decimal: a cell has no room for more, and the summary shows the hundredths.

    >>> _seconds(1234.0), _seconds(12345.0), _seconds(None)
    ('1.2s', '12s', '·')
    """
    if response_ms is None:
        return "·"
    seconds = response_ms / 1000
    return f"{seconds:.1f}s" if seconds < 9.95 else f"{min(seconds, 9999):.0f}s"


_ROWS: Final[tuple[tuple[str, Callable[[RootCell], str]], ...]] = (
    ("root", lambda cell: pretty(cell.root)),
    ("right", lambda cell: _percent(cell.right)),
    ("time", lambda cell: _seconds(cell.response_ms)),
    ("at least", lambda cell: _percent(cell.at_least)),
    ("last", lambda cell: cell.ago or "·"),
    ("tries", lambda cell: str(cell.tries) if cell.tries else "·"),
)


class RootStrip(Drawn):
    """Twelve cells; the root in hand is marked."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.cells: tuple[RootCell, ...] = ()
        self.current = ""

    def show(self, cells: Sequence[RootCell]) -> None:
        """Show the figures, in the order given."""
        self.cells = tuple(cells)
        self.redraw()

    def mark(self, root: str) -> None:
        """Mark the root in hand."""
        self.current = root
        self.redraw()

    async def on_click(self) -> None:
        """More of it: progress to look at."""
        await self.app.run_action("app.progress")

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        if not self.cells:
            return []
        label = LABEL_CELLS if width >= STRIP_CELLS else 0
        cell_width = max(2, min(CELL_CELLS, (width - label) // len(self.cells)))
        rows = _ROWS if cell_width >= 5 else _ROWS[:1]
        lines: list[list[Span]] = []
        for name, text_of in rows[:height]:
            spans: list[Span] = [(f"{name:<{label}}"[:label], "faint")] if label else []
            for cell in self.cells:
                text = text_of(cell)
                if name == "root" and (cell.name or cell.root) == self.current:
                    shown_root = f"[{text}]" if cell_width > 4 else text
                    left = (cell_width - len(shown_root)) // 2
                    right = cell_width - len(shown_root) - left
                    spans += [(" " * left, "text"), (shown_root, "mark"), (" " * right, "text")]
                else:
                    spans.append((f"{text:^{cell_width}}"[:cell_width], _role(name, cell)))
            lines.append(spans)
        return lines


def _role(name: str, cell: RootCell) -> str:
    if name == "root":
        return "strong"
    if name == "right" and cell.right is not None:
        return "held" if cell.right >= 0.8 else "wrong" if cell.right < 0.5 else "text"
    return "text" if name in ("right", "time") else "faint"
