"""A document to read: headings, paragraphs, tables and figures, before it becomes a web page or a printed one."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.sheets.drawings import Drawing


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True)
class Points:
    """A list; each point may begin with a lead, set in bold."""

    points: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings; the first column names its row. `figures` are the columns that hold numbers."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing, told in words for who cannot see it, and the numbers behind it."""

    title: str
    description: str
    drawing: Drawing
    table: Table


Block = Paragraph | Points | Table | Figure


@dataclass(frozen=True, slots=True)
class Section:
    """What stands under one heading; `name` is unique, of small letters, for links."""

    name: str
    heading: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A title, what stands below it, and the sections."""

    title: str
    below: tuple[str, ...]
    sections: tuple[Section, ...]
