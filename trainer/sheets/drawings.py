"""Figures as drawings: lines, boxes, dots and labels, written as SVG for a browser and as shapes for a page.

Units are those of the drawing itself, x to the right and y down; black on white throughout, so that nothing is told by
colour. In SVG, ink is ``currentColor`` and paper is none: a page of dark colours shows it as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from trainer.sheets.vectors import Segment, Shape

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line."""

    x: float
    y: float
    to_x: float
    to_y: float
    width: float = 1.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle, full of ink or a frame."""

    x: float
    y: float
    width: float
    height: float
    full: bool = True


@dataclass(frozen=True, slots=True)
class Dot:
    """A disc, or a ring where it is not full."""

    x: float
    y: float
    radius: float
    full: bool = True


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text on its baseline."""

    x: float
    y: float
    text: str
    size: float = 12.0
    anchor: Anchor = "middle"
    bold: bool = False


Mark = Rule | Box | Dot | Label


@dataclass(frozen=True, slots=True)
class Drawing:
    """What is drawn, on a field of `width` by `height`."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def clean(text: str) -> str:
    """Text from outside as data: what a reader of a page would obey or turn round becomes a visible sign.

    >>> clean("a\\x1b[1m\\u202eb\\n"), clean("D♭7(♯9) – ø")
    ('a�[1m�b�', 'D♭7(♯9) – ø')
    """
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text)


# -- for a browser


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _attributes(**values: str | float) -> str:
    return "".join(
        f' {name.replace("_", "-")}="{value if isinstance(value, str) else _number(value)}"'
        for name, value in values.items()
    )


def _element(mark: Mark) -> str:
    match mark:
        case Rule():
            places = _attributes(x1=mark.x, y1=mark.y, x2=mark.to_x, y2=mark.to_y)
            return f"<line{places}{_attributes(stroke='currentColor', stroke_width=mark.width)}/>"
        case Box():
            place = _attributes(x=mark.x, y=mark.y, width=mark.width, height=mark.height)
            ink = _attributes(fill="currentColor") if mark.full else _attributes(fill="none", stroke="currentColor")
            return f"<rect{place}{ink}/>"
        case Dot():
            place = _attributes(cx=mark.x, cy=mark.y, r=mark.radius)
            ring = _attributes(fill="none", stroke="currentColor", stroke_width=1.5)
            return f"<circle{place}{_attributes(fill='currentColor') if mark.full else ring}/>"
        case Label():
            place = _attributes(x=mark.x, y=mark.y, font_size=mark.size, text_anchor=mark.anchor)
            bold = _attributes(font_weight="bold") if mark.bold else ""
            return f"<text{place}{bold}>{escape(clean(mark.text))}</text>"


def svg_element(drawing: Drawing, name: str, title: str, description: str) -> str:
    """The drawing as an element of an HTML page, told by `title` and `description`; `name` begins its two ids."""
    size = f"0 0 {_number(drawing.width)} {_number(drawing.height)}"
    marks = "".join(map(_element, drawing.marks))
    return (
        f'<svg viewBox="{size}" role="img" aria-labelledby="{name}-title {name}-desc" focusable="false">'
        f'<title id="{name}-title">{escape(clean(title))}</title>'
        f'<desc id="{name}-desc">{escape(clean(description))}</desc>'
        f'<g fill="currentColor">{marks}</g></svg>'
    )


# -- for a page

_CIRCLE: Final = 0.5522847498
"""How far the handles of a cubic curve stand from its ends to draw a quarter of a circle of radius 1."""


def shapes(drawing: Drawing, left: float, top: float, scale: float) -> Iterable[Shape]:
    """The drawing as shapes on a page, its left upper corner there. Needs the extra ``print`` for its labels."""
    from trainer.sheets.outlines import text_shapes, width_of
    from trainer.sheets.vectors import Shape

    for mark in drawing.marks:
        match mark:
            case Rule():
                line: tuple[Segment, ...] = (("M", ((mark.x, mark.y),)), ("L", ((mark.to_x, mark.to_y),)))
                yield Shape.of(line, mark.width).moved(left, top, scale)
            case Box():
                yield Shape.of(_box(mark), 0.0 if mark.full else 1.0).moved(left, top, scale)
            case Dot():
                yield Shape.of(_circle(mark), 0.0 if mark.full else 1.5).moved(left, top, scale)
            case Label():
                text = clean(mark.text)
                face: Literal["bold", "regular"] = "bold" if mark.bold else "regular"
                size = mark.size * scale
                back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * width_of(text, size, face)
                yield from text_shapes(text, left + mark.x * scale - back, top + mark.y * scale, size, face)


def _box(mark: Box) -> tuple[Segment, ...]:
    right, bottom = mark.x + mark.width, mark.y + mark.height
    corners = ((mark.x, mark.y), (right, mark.y), (right, bottom), (mark.x, bottom))
    return (("M", corners[:1]), *(("L", (corner,)) for corner in corners[1:]), ("Z", ()))


def _circle(mark: Dot) -> tuple[Segment, ...]:
    x, y, r = mark.x, mark.y, mark.radius
    k = _CIRCLE * r
    return (
        ("M", ((x + r, y),)),
        ("C", ((x + r, y + k), (x + k, y + r), (x, y + r))),
        ("C", ((x - k, y + r), (x - r, y + k), (x - r, y))),
        ("C", ((x - r, y - k), (x - k, y - r), (x, y - r))),
        ("C", ((x + k, y - r), (x + r, y - k), (x + r, y))),
        ("Z", ()),
    )
