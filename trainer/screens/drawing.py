"""Widgets drawn line by line: fixed in size, and only what changed is painted again.

A line is a tuple of spans (text, role). Roles are names of component classes (`ROLES`), so that colour comes from the
theme and never stands alone: whoever draws a state also writes its sign and word.

Text from a file, a port or a person is data. `shown` makes any string safe to draw: nothing in it is markup, what
a terminal would obey or reorder (control codes, direction marks) is drawn as a visible sign, every space as a space.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import ClassVar, Final

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual.content import Content
from textual.filter import ANSIToTruecolor
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

Span = tuple[str, str]
"""(text, role)"""
Line = tuple[Span, ...]

ROLES: Final = ("text", "strong", "faint", "held", "wrong", "moved", "mark", "large", "white-key", "black-key")

_MOST_STRIPS: Final = 500
"""Lines of one widget that are kept ready to paint."""

_REPLACED: Final = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


@lru_cache(maxsize=4096)
def shown(text: str) -> str:
    """Text as data: what a terminal would obey becomes a visible sign, variation selectors go.

    >>> shown("C7[b9] [/x]"), shown("a\\x1b[31mb\\n")
    ('C7[b9] [/x]', 'a␛[31mb␊')
    """
    if text.isascii() and text.isprintable():
        return text
    signs = []
    for character in text:
        code = ord(character)
        if code < 0x20:
            signs.append(chr(0x2400 + code))
        elif code == 0x7F:
            signs.append("␡")
        elif 0xFE00 <= code <= 0xFE0F:
            continue
        elif unicodedata.category(character) == "Zs":
            signs.append(" ")
        elif unicodedata.category(character) in _REPLACED:
            signs.append("\N{REPLACEMENT CHARACTER}")
        else:
            signs.append(character)
    return "".join(signs)


def data(text: str) -> Content:
    """Text as data for Textual's own widgets (labels, lists, notices): never markup."""
    return Content(shown(text))


def fitted(text: str, width: int) -> str:
    """Text cut to `width` cells, with a sign where something was cut off.

    >>> fitted("rootless", 8), fitted("rootless", 5), fitted("rootless", 0)
    ('rootless', 'root…', '')
    """
    if cell_len(text) <= width:
        return text
    if width <= 0:
        return ""
    return set_cell_size(text, width - 1).rstrip() + "…"


def line_of(spans: Iterable[Span], width: int) -> Line:
    """Spans cut or filled up to exactly `width` cells; neighbours of one role become one: fewer bytes to write."""
    return _line_of(tuple(spans), width)


@lru_cache(maxsize=2048)
def _line_of(spans: tuple[Span, ...], width: int) -> Line:
    line: list[Span] = []
    left = width
    for text, role in spans:
        text = shown(text)
        if (size := cell_len(text)) > left:
            text = fitted(text, left)
            size = cell_len(text)
        if text and line and line[-1][1] == role:
            line[-1] = (line[-1][0] + text, role)
        elif text:
            line.append((text, role))
        left -= size
        if left <= 0:
            break
    if left > 0:
        if line and line[-1][1] == "text":
            line[-1] = (line[-1][0] + " " * left, "text")
        else:
            line.append((" " * left, "text"))
    return tuple(line)


def wrapped(text: str, width: int) -> list[str]:
    """Text broken at spaces into lines of at most `width` cells; a longer word is cut hard."""
    lines: list[str] = []
    current = ""
    for word in shown(text).split(" "):
        while cell_len(word) > width > 0:
            if current:
                lines.append(current)
                current = ""
            head = set_cell_size(word, width).rstrip() or word[:1]
            lines.append(head)
            word = word[len(head) :]
        joined = f"{current} {word}" if current else word
        if cell_len(joined) <= width:
            current = joined
        else:
            lines.append(current)
            current = word
    return [*lines, current] if current else lines


def _changed(old: Line, new: Line) -> tuple[int, int] | None:
    """The columns (first, past the last) in which two lines of one width differ, to the span; None: nowhere."""
    if old == new:
        return None
    shared = 0
    while shared < min(len(old), len(new)) and old[shared] == new[shared]:
        shared += 1
    tail = 0
    while tail < min(len(old), len(new)) - shared and old[-1 - tail] == new[-1 - tail]:
        tail += 1
    first = cell_len("".join(text for text, _ in new[:shared]))
    return first, first + cell_len("".join(text for text, _ in new[shared : len(new) - tail]))


class Drawn(Widget):
    """A widget whose lines are drawn by `lines`; `redraw` paints only the columns that differ."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"drawn--{role}" for role in ROLES}
    DEFAULT_CSS = """
    Drawn {
        position: absolute;
        & .drawn--text { color: $foreground; }
        & .drawn--strong { color: $foreground; text-style: bold; }
        & .drawn--faint { color: $secondary; }
        & .drawn--held { color: $success; text-style: bold; }
        & .drawn--wrong { color: $error; text-style: bold; }
        & .drawn--moved { color: $warning; text-style: bold; }
        & .drawn--mark { color: $background; background: $primary; text-style: bold; }
        & .drawn--large { color: $primary; }
        & .drawn--white-key { color: #50565e; background: $white-key; }
        & .drawn--black-key { color: $white-key; background: $black-key; }
    }
    """

    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002 (Textual's own word)
        super().__init__(id=id, markup=False)
        self._lines: list[Line] = []
        self._drawn_for = (0, 0)
        self._styles_by_role: dict[str, Style] = {}
        self._strip_of_line: dict[Line, Strip] = {}

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        """The spans of each line; fewer than `height` lines leave the rest empty."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw again and ask for a repaint of what differs."""
        width, height = self.size
        if width == 0 or not self.display:
            self._drawn_for = (-1, -1)  # drawn when it has a place again
            return
        old = self._lines
        same_size = self._drawn_for == (width, height)
        self._draw(width, height)
        if not same_size:
            self.refresh()
            return
        regions = []
        for row, line in enumerate(self._lines):
            if (columns := _changed(old[row], line)) is not None:
                regions.append(Region(columns[0], row, columns[1] - columns[0], 1))
        if regions:
            self.refresh(*regions)

    def text(self) -> str:
        """What stands on the widget, for tests and for readers."""
        self._draw(*self.size)
        return "\n".join("".join(text for text, _ in line).rstrip() for line in self._lines)

    def _draw(self, width: int, height: int) -> None:
        drawn = [line_of(spans, width) for spans in list(self.lines(width, height))[:height]] if width > 0 else []
        empty: Line = ((" " * width, "text"),)
        self._lines = drawn + [empty] * (height - len(drawn))
        self._drawn_for = (width, height)

    def render_line(self, y: int) -> Strip:
        return self._strips()[y] if y < self.size.height else Strip.blank(self.size.width)

    def render_lines(self, crop: Region) -> list[Strip]:
        """The strips as they are: no border, padding or opacity here, so the library's way through them is spared.

        It asks every widget of the screen for all its lines at every repaint, however little has changed.
        """
        strips = self._strips()[crop.y : crop.bottom]
        if crop.x or crop.right < self.size.width:
            strips = [strip.crop(crop.x, crop.right) for strip in strips]
        return strips

    def _strips(self) -> list[Strip]:
        """A strip for each line; those of lines that have not changed are kept."""
        width, height = self.size
        if self._drawn_for != (width, height):
            self._draw(width, height)
        kept = self._strip_of_line
        missing = [line for line in self._lines if line not in kept]
        if missing:
            if len(kept) > _MOST_STRIPS:
                kept.clear()
                missing = self._lines
            # Colours of ours are true colours already; what remains is the filter of a terminal without colour.
            filters = [each for each in self.app.get_line_filters() if not isinstance(each, ANSIToTruecolor)]
            for line in missing:
                strip = Strip([Segment(text, self._style(role)) for text, role in line], width)
                for line_filter in filters:
                    strip = strip.apply_filter(line_filter, self.background_colors[1])
                kept[line] = strip
        return [kept[line] for line in self._lines]

    def notify_style_update(self) -> None:
        super().notify_style_update()
        self._styles_by_role.clear()
        self._strip_of_line.clear()

    def _style(self, role: str) -> Style:
        style = self._styles_by_role.get(role)
        if style is None:
            style = self._styles_by_role[role] = self.get_component_rich_style(f"drawn--{role}")
        return style
