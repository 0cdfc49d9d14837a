"""A document on pages of A4 or Letter, for a PDF file. Needs the extra ``print``.

A heading stays with what follows it, a figure on one page; a table that goes on repeats its headings. Every page has
its number; texts are outlines, and once more words that are not seen, so that the file can be searched (see `pdf`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from trainer.sheets.documents import Document, Figure, Paragraph, Points, Section, Table
from trainer.sheets.drawings import clean, shapes
from trainer.sheets.layout import MARGIN, PAPERS
from trainer.sheets.outlines import Face, text_shapes, width_of
from trainer.sheets.vectors import Page, Shape

_TITLE: Final = 620.0
_HEADING: Final = 460.0
_LEAD: Final = 360.0
_TEXT: Final = 340.0
_CELL: Final = 290.0
_LEADING: Final = 1.35
_GAP: Final = 260.0
_INDENT: Final = 400.0
_COLUMN_GAP: Final = 300.0
_RULE: Final = 8.0
_HEADING_NEEDS: Final = 2_500.0
"""Room for a heading and the first lines under it, so that it does not stand alone at the foot of a page."""

_FIGURE_SHARE: Final = 0.88
"""Of the text's width: three strips of roots then stand on a page."""

_ROWS_TOGETHER: Final = 3
"""So many rows of a table stay with its headings."""


@dataclass(slots=True)
class _Paper:
    """The pages so far, and how far down the last one is filled."""

    width: float
    height: float
    pages: list[list[Shape]] = field(default_factory=list)
    says: list[list[str]] = field(default_factory=list)
    down: float = 0.0

    @property
    def across(self) -> float:
        return self.width - 2 * MARGIN

    @property
    def foot(self) -> float:
        return self.height - MARGIN - 2 * _CELL

    def turn(self) -> None:
        self.pages.append([])
        self.says.append([])
        self.down = MARGIN

    def need(self, room: float) -> None:
        """Begin a new page where so much does not fit any more, unless this one is empty."""
        if self.down + room > self.foot and self.down > MARGIN:
            self.turn()

    def text(self, text: str, size: float, face: Face = "regular", left: float = 0.0) -> None:
        """A paragraph, line by line."""
        for line in lines_of(clean(text), size, face, self.across - left):
            self.need(size * _LEADING)
            self.pages[-1] += text_shapes(line, MARGIN + left, self.down + size, size, face)
            self.says[-1].append(line)
            self.down += size * _LEADING

    def rule(self, y: float, across: float) -> None:
        self.pages[-1].append(Shape.of((("M", ((MARGIN, y),)), ("L", ((MARGIN + across, y),))), _RULE))


def lines_of(text: str, size: float, face: Face, width: float) -> list[str]:
    """A text in lines no wider than `width`; a word that is wider alone is cut into pieces. [""] for no text."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        while width_of(word, size, face) > width and len(word) > 1:
            count = max(1, int(len(word) * width / width_of(word, size, face)))
            while count > 1 and width_of(word[:count], size, face) > width:
                count -= 1
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:count])
            word = word[count:]
        longer = f"{line} {word}" if line else word
        if line and width_of(longer, size, face) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line or not lines else lines


def document_pages(document: Document, paper: str = "A4") -> tuple[Page, ...]:
    """The document on pages of a paper of `PAPERS`."""
    made = _Paper(*PAPERS[paper])
    made.turn()
    made.text(document.title, _TITLE, "bold")
    made.down += _GAP / 2
    for line in document.below:
        made.text(line, _TEXT)
    for section in document.sections:
        _section(made, section)
    return _numbered(made, clean(document.title))


def _numbered(made: _Paper, title: str) -> tuple[Page, ...]:
    count = len(made.pages)
    found = []
    for number, (drawn, says) in enumerate(zip(made.pages, made.says, strict=True), 1):
        foot = f"{title}  {number} / {count}"
        left = (made.width - width_of(foot, _CELL)) / 2
        drawn += text_shapes(foot, left, made.height - MARGIN, _CELL)
        found.append(Page(made.width, made.height, tuple(drawn), title, " ".join(says)))
    return tuple(found)


def _section(made: _Paper, section: Section) -> None:
    made.down += 2 * _GAP
    first = section.blocks[0]
    made.need(_HEADING_NEEDS + (_figure_height(made, first) if isinstance(first, Figure) else 0.0))
    made.text(section.heading, _HEADING, "bold")
    made.rule(made.down + _GAP / 4, made.across)
    made.down += _GAP
    for block in section.blocks:
        match block:
            case Paragraph():
                made.text(block.text, _TEXT)
            case Points():
                for lead, text in block.points:
                    made.need(2 * _LEAD * _LEADING + _TEXT * _LEADING)
                    made.text(lead, _LEAD, "bold")
                    made.text(text, _TEXT, left=_INDENT)
                    made.down += _GAP / 3
            case Figure():
                _figure(made, block)
            case Table():
                _table(made, block)
        made.down += _GAP


def _figure_scale(made: _Paper, figure: Figure) -> float:
    room = made.foot - MARGIN - _HEADING_NEEDS
    return min(made.across * _FIGURE_SHARE / figure.drawing.width, room / figure.drawing.height)


def _figure_height(made: _Paper, figure: Figure) -> float:
    title = len(lines_of(clean(figure.title), _LEAD, "bold", made.across)) * _LEAD * _LEADING
    return figure.drawing.height * _figure_scale(made, figure) + title + _GAP / 3


def _figure(made: _Paper, figure: Figure) -> None:
    scale = _figure_scale(made, figure)
    made.need(_figure_height(made, figure))
    made.text(figure.title, _LEAD, "bold")
    made.says[-1].append(clean(figure.description))
    made.down += _GAP / 3
    made.pages[-1] += shapes(figure.drawing, MARGIN, made.down, scale)
    made.down += figure.drawing.height * scale


def _widths(table: Table, across: float) -> list[float]:
    """Columns as wide as their longest cell; where that is too much, the first ones of text give way."""
    rows = [table.columns, *table.rows]
    wanted = [
        max(width_of(clean(row[at]), _CELL, "bold" if row is table.columns else "regular") for row in rows)
        for at in range(len(table.columns))
    ]
    room = across - _COLUMN_GAP * (len(wanted) - 1)
    if (excess := sum(wanted) - room) > 0:
        first = max(wanted[0] - excess, room / 4)
        rest = sum(wanted[1:])
        others = min(1.0, (room - first) / rest) if rest else 1.0
        wanted = [first, *(width * others for width in wanted[1:])]
    return wanted


def _table(made: _Paper, table: Table) -> None:
    widths = _widths(table, made.across)
    first = [table.columns, *table.rows[:_ROWS_TOGETHER]]
    made.need(_LEAD * _LEADING + _GAP / 3 + sum(_row_height(row, widths) for row in first))
    made.text(table.caption, _LEAD, "bold")
    made.down += _GAP / 3
    _row(made, table, widths, table.columns, "bold")
    for row in table.rows:
        height = _row_height(row, widths)
        if made.down + height > made.foot:
            made.turn()
            _row(made, table, widths, table.columns, "bold")
        _row(made, table, widths, row, "regular")


def _row_height(row: Sequence[str], widths: Sequence[float]) -> float:
    most = max(len(lines_of(clean(cell), _CELL, "bold", width)) for cell, width in zip(row, widths, strict=True))
    return most * _CELL * _LEADING + _GAP / 3


def _row(made: _Paper, table: Table, widths: Sequence[float], row: Sequence[str], face: Face) -> None:
    left, deepest = MARGIN, 0.0
    for at, (cell, width) in enumerate(zip(row, widths, strict=True)):
        down = made.down
        for line in lines_of(clean(cell), _CELL, face, width):
            start = left + (width - width_of(line, _CELL, face) if at in table.figures else 0.0)
            made.pages[-1] += text_shapes(line, start, down + _CELL, _CELL, face)
            down += _CELL * _LEADING
        made.says[-1].append(clean(cell))
        deepest = max(deepest, down)
        left += width + _COLUMN_GAP
    made.down = deepest + _GAP / 12
    made.rule(made.down, left - _COLUMN_GAP - MARGIN)
    made.down += _GAP / 4
