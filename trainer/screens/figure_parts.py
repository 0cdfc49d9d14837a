"""What the views of progress have in common: asking part by part, a list or a grid to choose from, clicks.

A view draws as many lines as it is given and knows what a click meets. It asks the record before it draws, never while
it draws: first what is told soonest, the rest when the player has seen that. `subject` is what its chosen place stands
for: what a curve is drawn of. Names of sets, ports and voicings are data.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final

from trainer.pitch import pretty
from trainer.progress import Only, Tallies
from trainer.progress.tables import TWELVE
from trainer.screens.drawing import fitted, shown, wrapped
from trainer.screens.figure_lines import CHOSEN, Row, Spans, list_lines, padded, squeezed, window

NOTHING: Final = "Nothing was played in what is asked for."
_NO_MORE: Final = object()


@dataclass(frozen=True, slots=True)
class Subject:
    """What a curve is drawn of: its name, and what to ask for."""

    name: str
    only: Only


class View:
    """One way of looking at the record; `word` stands on its tab, `further` is what M does in it ("" for nothing)."""

    word: ClassVar[str] = ""
    further: ClassVar[str] = ""

    def __init__(self, source: Tallies, now: datetime) -> None:
        self.source = source
        self.now = now
        self.only = Only()
        self._questions: Iterator[None] | None = None
        self._details: Iterator[None] | None = None
        self._top = 0
        self.chosen = 0
        self._list_at = (0, 0)
        """Line of the first row of the list, and how many lines it has."""

    def begin(self, only: Only) -> None:
        """Ask for what is drawn first; `go_on` asks for the rest."""
        self.only = only
        self.again()

    def again(self) -> None:
        """Begin again with what is asked for."""
        self._questions, self._details = self.questions(), None
        self.go_on()

    def go_on(self) -> None:
        """Ask for the next part of what is drawn: first of the chosen row, then of the rest."""
        if self._details is not None:
            if next(self._details, _NO_MORE) is _NO_MORE:
                self._details = None
            return
        if self._questions is not None and next(self._questions, _NO_MORE) is _NO_MORE:
            self._questions = None
        self.chosen = self._chooseable(min(self.chosen, max(0, self.count - 1)), 1)
        self.taken()

    @property
    def incomplete(self) -> bool:
        """Whether there is more to ask for."""
        return self._questions is not None or self._details is not None

    def ask(self, only: Only) -> None:
        """Ask for everything at once."""
        self.begin(only)
        self.ask_all()

    def ask_all(self) -> None:
        """Ask for all that is left."""
        while self.incomplete:
            self.go_on()

    def questions(self) -> Iterator[None]:
        """Ask the record, a part at a time, the most telling first; after each part what is known can be drawn."""
        raise NotImplementedError

    @property
    def count(self) -> int:
        """How many rows there are to choose from."""
        raise NotImplementedError

    def lines(self, width: int, height: int) -> list[Spans]:
        """What is drawn."""
        raise NotImplementedError

    @property
    def subject(self) -> Subject | None:
        """What the chosen place stands for."""
        return None

    def move(self, down: int, right: int) -> None:
        """Choose another row, or another place in it."""
        self.chosen = self._chooseable(max(0, min(self.count - 1, self.chosen + down)), 1 if down >= 0 else -1)
        self.taken()

    def taken(self) -> None:
        """A row was chosen: ask for what is drawn of it at once, and begin on its details. Drawing asks nothing."""

    def more(self) -> None:
        """What M does."""

    def click(self, x: int, y: int) -> bool:
        """Choose what stands there; True where it was the chosen one already."""
        first, lines = self._list_at
        row = self._top + y - first
        if not (first <= y < first + lines and row < self.count) or self._chooseable(row, 1) != row:
            return False
        again = row == self.chosen
        self.chosen = row
        self.taken()
        return again

    def _chooseable(self, row: int, step: int) -> int:
        return row

    def _scrolled(self, first: int, height: int) -> int:
        """The first row drawn by a list of `height` lines that begins at line `first`."""
        self._top = window(self.count, self.chosen, self._top, height)
        self._list_at = (first, height)
        return self._top


class ListView(View):
    """A view whose main part is a list of rows under headings."""

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.rows: list[Row] = []

    @property
    def count(self) -> int:
        return len(self.rows)

    def _chooseable(self, row: int, step: int) -> int:
        """The nearest row in a direction that is no heading; back again at an end."""
        for way in (step, -step):
            at = row
            while 0 <= at < len(self.rows):
                if not self.rows[at].heading:
                    return at
                at += way
        return row

    def list_of(self, width: int, height: int, first: int, widths: Sequence[int]) -> list[Spans]:
        """The lines of the list."""
        top = self._scrolled(first, height)
        return list_lines(self.rows, self.chosen, top, width, height, widths)


# -- rows of twelve

_CELL: Final = 4
_WHOLE: Final = 6
"""Columns of a root's cell, and of the one for all roots."""
_ROOMY: Final = 100
"""From this width on a root's cell has a column more."""
_LONGEST_NAME: Final = 44


class GridView(View):
    """Rows of twelve cells, one for each root, and a place in them that is chosen.

    In a narrow terminal a row takes three lines: its name, and six roots with their figures in each of two.
    """

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.root = 0
        self._first_cell = 0
        self._cell = _CELL
        self._lines_of_row = 1

    def move(self, down: int, right: int) -> None:
        super().move(down, right)
        self.root = max(0, min(len(TWELVE) - 1, self.root + right))

    def click(self, x: int, y: int) -> bool:
        first, lines = self._list_at
        row, line = divmod(y - first, self._lines_of_row)
        if not (first <= y < first + lines and self._top + row < self.count):
            return False
        root = (x - self._first_cell) // self._cell
        if self._lines_of_row > 1:
            root += 6 * (line - 1)
        place = (self._top + row, root if x >= self._first_cell and 0 <= root < len(TWELVE) else self.root)
        again = place == (self.chosen, self.root)
        self.chosen, self.root = place
        return again

    def grid(
        self,
        names: Sequence[str],
        cells: Sequence[Sequence[str]],
        last: Sequence[str],
        width: int,
        height: int,
        told: str,
        heading: str,
    ) -> list[Spans]:
        """Heading, roots, rows with their twelve cells and a last one, and what is told of the chosen cell below."""
        foot: list[Spans] = [[(line, "text")] for line in wrapped(told, width)]
        foot = foot[: 1 if height < 7 else 2 if height < 10 else 3]
        head: list[Spans] = [[(fitted(heading, width), "faint")]] if height >= 8 else []
        cell = _CELL + 1 if width >= _ROOMY else _CELL
        room = min(_LONGEST_NAME, width - len(TWELVE) * cell - _WHOLE)
        folded = room < 10
        if not folded:
            texts = [pretty(root) for root in TWELVE]
            head.append([(" " * room, "faint"), (_cells(texts, f"{'all':>{_WHOLE}}", cell), "strong")])
        self._lines_of_row = 3 if folded else 1
        self._first_cell, self._cell = (0, max(1, width // 6)) if folded else (room, cell)
        lines = max(0, height - len(head) - len(foot))
        self._top = window(self.count, self.chosen, self._top, max(1, lines // self._lines_of_row))
        self._list_at = (len(head), lines)
        drawn: list[Spans] = []
        for row in range(self._top, len(names)):
            if len(drawn) >= lines:
                break
            chosen = row == self.chosen
            if folded:
                drawn += self._folded(names[row], cells[row], width, chosen)
                continue
            sign, role = (CHOSEN, "strong") if chosen else (" ", "text")
            text = padded(squeezed(shown(names[row]), room - 2), room - 2)
            drawn.append([(f"{sign} {text}", role), *self._row(cells[row], f"{last[row]:>{_WHOLE}}", chosen)])
        drawn = drawn[:lines]
        return [*head, *drawn, *[[] for _ in range(lines - len(drawn))], *foot]

    def _row(self, texts: Sequence[str], last: str, chosen: bool) -> Spans:
        """Cells with their texts to the right, brackets around the chosen one: a cell always begins with a blank."""
        line = _cells(texts, last, self._cell)
        if not chosen:
            return [(line, "text")]
        end = (self.root + 1) * self._cell
        start = end - len(texts[self.root]) - 1
        return [
            (line[:start], "text"),
            (f"[{line[start + 1 : end]}]", "mark"),
            (line[end + 1 :], "text"),
        ]

    def _folded(self, name: str, texts: Sequence[str], width: int, chosen: bool) -> list[Spans]:
        lines: list[Spans] = [[(squeezed(shown(name), width), "strong" if chosen else "text")]]
        for first in (0, 6):
            spans: Spans = []
            for index in range(first, first + 6):
                here = chosen and index == self.root
                text = f"{CHOSEN if here else ' '}{pretty(TWELVE[index])} {texts[index]}"
                if len(text) > self._cell:
                    text = text.replace(" ", "") if here else " " + text.replace(" ", "")
                spans.append((padded(fitted(text, self._cell), self._cell), "mark" if here else "text"))
            lines.append(spans)
        return lines


def _cells(texts: Sequence[str], last: str, cell: int) -> str:
    return "".join(f"{text:>{cell}}" for text in texts) + last
