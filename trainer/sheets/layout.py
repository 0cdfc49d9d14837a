"""Pages: titles, headings and systems, each where there is room for all of it. Needs the extra ``print``.

A block stays together where a page can hold it, and a heading stays with its first line of music. A block of twelve
bars or fewer, the twelve roots, is made smaller before it is parted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from trainer.drills.values import printable
from trainer.sheets.engraving import System, systems
from trainer.sheets.outlines import Face, text_shapes, width_of
from trainer.sheets.scores import Block, Sheet
from trainer.sheets.vectors import Page, Shape

PAPERS: Final = {"A4": (21_000.0, 29_700.0), "Letter": (21_590.0, 27_940.0)}
"""Width and height in hundredths of a millimetre; ISO 216, and ANSI/ASME Y14.1 for Letter."""

MARGIN: Final = 1_500.0
_TITLE_SIZE: Final = 650.0
_HEADING_SIZE: Final = 400.0
_SMALL_SIZE: Final = 320.0
_AFTER_TITLE: Final = 500.0
_AFTER_HEADING: Final = 250.0
_BETWEEN_SYSTEMS: Final = 550.0
_BETWEEN_BLOCKS: Final = 800.0
_MOST_TRIALS: Final = 3
_A_LITTLE_LESS: Final = 0.99
_SMALLEST_SCALE: Final = 0.6
"""Of twelve bars or fewer, to keep them on one page."""

_SMALLEST_TO_FIT: Final = 0.85
"""Of any block, where that keeps it together, and of a whole sheet, where that saves a page."""

_FEW_BARS: Final = 150
"""With more, a sheet is not laid out a second time."""

_ONE_PAGE_BARS: Final = 12
MOST_LETTERS: Final = 300


@dataclass(slots=True)
class _Sheets:
    """The pages so far."""

    width: float
    height: float
    title: str
    pages: list[list[Shape]] = field(default_factory=list)
    says: list[list[str]] = field(default_factory=list)
    down: float = 0.0
    has_music: bool = False
    """Whether this page has any."""

    @property
    def room(self) -> float:
        return self.height - MARGIN - _SMALL_SIZE * 2 - self.down

    def turn(self) -> None:
        self.pages.append([])
        self.says.append([])
        self.down = MARGIN
        self.has_music = False

    def text(self, text: str, size: float, face: Face, centred: bool = False) -> None:
        """Lines of text, broken where they are wider than the page."""
        for line in _lines(text, size, face, self.width - 2 * MARGIN):
            self.down += size
            left = (self.width - width_of(line, size, face)) / 2 if centred else MARGIN
            self.pages[-1] += text_shapes(line, left, self.down, size, face)
            self.down += size * 0.3
        self.says[-1].append(text)

    def system(self, system: System) -> None:
        self.pages[-1] += [shape.moved(MARGIN, self.down) for shape in system.shapes]
        self.down += system.height
        self.has_music = True


def _lines(text: str, size: float, face: Face, width: float) -> Iterator[str]:
    """A text in lines no wider than `width`; a word that is wider alone is cut into pieces."""
    line = ""
    for word in text.split():
        while width_of(word, size, face) > width:
            count = len(word) - 1
            while count > 1 and width_of(word[:count], size, face) > width:
                count = count * 9 // 10
            if line:
                yield line
                line = ""
            yield word[:count]
            word = word[count:]
        longer = f"{line} {word}" if line else word
        if width_of(longer, size, face) > width:
            yield line
            line = word
        else:
            line = longer
    if line:
        yield line


def pages(sheet: Sheet, paper: str = "A4") -> tuple[Page, ...]:
    """A sheet on pages of a paper of `PAPERS`. Raises `engraving.EngravingError`."""
    width, height = PAPERS[paper]
    title = printable(sheet.title, MOST_LETTERS)
    made = _laid_out(sheet, title, width, height, 1.0)
    bars = sum(len(block.bars) for block in sheet.blocks)
    if len(made.pages) > 1 and bars <= _FEW_BARS:
        smaller = _laid_out(sheet, title, width, height, _SMALLEST_TO_FIT)
        made = smaller if len(smaller.pages) < len(made.pages) else made
    count = len(made.pages)
    found = []
    for number, (shapes, says) in enumerate(zip(made.pages, made.says, strict=True), 1):
        if count > 1:
            foot = f"{number} / {count}"
            left = (width - width_of(foot, _SMALL_SIZE)) / 2
            shapes += text_shapes(foot, left, height - MARGIN, _SMALL_SIZE)
        found.append(Page(width, height, tuple(shapes), title, "; ".join(says)))
    return tuple(found)


def _laid_out(sheet: Sheet, title: str, width: float, height: float, scale: float) -> _Sheets:
    made = _Sheets(width, height, title)
    made.turn()
    made.text(title, _TITLE_SIZE, "bold", centred=True)
    made.down += _AFTER_TITLE
    for block in sheet.blocks:
        _block(made, block, scale)
    return made


def _heading_height(block: Block, width: float) -> float:
    lines = len(list(_lines(block.heading, _HEADING_SIZE, "bold", width)))
    details = len(list(_lines(block.detail, _SMALL_SIZE, "regular", width)))
    return 1.3 * (lines * _HEADING_SIZE + details * _SMALL_SIZE) + (_AFTER_HEADING if lines or details else 0)


def _block(made: _Sheets, block: Block, scale: float) -> None:
    width = made.width - 2 * MARGIN
    heading = _heading_height(block, width)
    lines = systems(block, width, scale)
    # Under the title there is less room than on a page of its own, and turning would leave the title alone.
    most = made.room if not made.has_music else made.height - 2 * MARGIN - 2 * _SMALL_SIZE
    whole = lines
    smallest = _SMALLEST_SCALE if len(block.bars) <= _ONE_PAGE_BARS else _SMALLEST_TO_FIT
    for _ in range(_MOST_TRIALS):
        fitting = scale * (most - heading) / _height(whole)
        if fitting >= scale or fitting < smallest:
            break
        scale = fitting * _A_LITTLE_LESS
        whole = systems(block, width, scale)
    if heading + _height(whole) <= most:
        lines = whole
    if made.has_music and heading + _height(lines) > made.room:
        if heading + _height(lines) <= most or heading + lines[0].height > made.room:
            made.turn()
    if block.heading:
        made.text(printable(block.heading, MOST_LETTERS), _HEADING_SIZE, "bold")
    if block.detail:
        made.text(printable(block.detail, MOST_LETTERS), _SMALL_SIZE, "regular")
    if block.heading or block.detail:
        made.down += _AFTER_HEADING
    for line in lines:
        if line.height > made.room and made.has_music:
            made.turn()
        if line.height > made.room:
            line = _shrunk(line, made.room / line.height)
        made.system(line)
        made.down += _BETWEEN_SYSTEMS
    made.down += _BETWEEN_BLOCKS - _BETWEEN_SYSTEMS


def _height(lines: tuple[System, ...]) -> float:
    return sum(line.height for line in lines) + _BETWEEN_SYSTEMS * max(0, len(lines) - 1)


def _shrunk(line: System, scale: float) -> System:
    shapes = tuple(shape.moved(0, 0, scale) for shape in line.shapes)
    left, top, right, bottom = line.box
    return System(shapes, (left * scale, top * scale, right * scale, bottom * scale))
