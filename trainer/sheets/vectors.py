"""Shapes on a page, and a page as an SVG picture: paths alone, so that it looks the same wherever it is shown.

Coordinates are hundredths of a millimetre, x to the right and y down. Texts have become outlines before they come
here; nothing in a picture refers to a font, a style sheet or anything outside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final
from xml.sax.saxutils import escape

Point = tuple[float, float]
Segment = tuple[str, tuple[Point, ...]]
"""``M``, ``L``, ``C`` or ``Z`` as in SVG, with its absolute points."""

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True, eq=False)
class Outline:
    """Segments where they were first drawn; many shapes share one."""

    segments: tuple[Segment, ...]

    @cached_property
    def box(self) -> Box:
        """What its points cover; of a curve, the corners that hold it."""
        points = [point for _, of_segment in self.segments for point in of_segment]
        across, down = [x for x, _ in points], [y for _, y in points]
        return min(across), min(down), max(across), max(down)


@dataclass(frozen=True, slots=True)
class Shape:
    """A filled outline, or where `stroke` is not 0 a line of that width: scaled from the origin, then moved."""

    outline: Outline
    stroke: float = 0.0
    scale: float = 1.0
    right: float = 0.0
    down: float = 0.0

    @staticmethod
    def of(segments: Iterable[Segment], stroke: float = 0.0) -> Shape:
        """A shape that lies where its segments do."""
        return Shape(Outline(tuple(segments)), stroke)

    @property
    def segments(self) -> tuple[Segment, ...]:
        """Where it lies now."""
        scale, right, down = self.scale, self.right, self.down
        return tuple(
            (command, tuple((x * scale + right, y * scale + down) for x, y in points))
            for command, points in self.outline.segments
        )

    @property
    def box(self) -> Box:
        """What it covers."""
        left, top, right, bottom = self.outline.box
        half = self.stroke / 2
        return (
            left * self.scale + self.right - half,
            top * self.scale + self.down - half,
            right * self.scale + self.right + half,
            bottom * self.scale + self.down + half,
        )

    def moved(self, right: float, down: float, scale: float = 1.0) -> Shape:
        """The same, once more scaled from the origin, then moved."""
        return Shape(
            self.outline, self.stroke * scale, self.scale * scale, self.right * scale + right, self.down * scale + down
        )


def box_of(shapes: Iterable[Shape]) -> Box:
    """What several shapes cover; all 0 for none."""
    boxes = [shape.box for shape in shapes]
    if not boxes:
        return 0.0, 0.0, 0.0, 0.0
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _path(shape: Shape) -> str:
    return "".join(
        command + " ".join(f"{_number(x)} {_number(y)}" for x, y in points) for command, points in shape.segments
    )


@dataclass(frozen=True, slots=True)
class Page:
    """A page of `width` by `height`; `says` is what is on it, for who hears it read."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str = ""
    says: str = ""


_UNITS_PER_MM: Final = 100


def svg(page: Page) -> str:
    """A page as one SVG 1.1 document that needs nothing else."""
    width, height = _number(page.width), _number(page.height)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_number(page.width / _UNITS_PER_MM)}mm" '
        f'height="{_number(page.height / _UNITS_PER_MM)}mm" viewBox="0 0 {width} {height}" role="img">',
        f"<title>{escape(page.title)}</title>",
        f"<desc>{escape(page.says)}</desc>",
        f'<path fill="#fff" d="M0 0H{width}V{height}H0Z"/>',
    ]
    lines += _paths(page.shapes)
    return "\n".join([*lines, "</svg>"]) + "\n"


def _paths(shapes: Sequence[Shape]) -> Iterable[str]:
    for shape in shapes:
        if shape.stroke:
            yield f'<path fill="none" stroke="#000" stroke-width="{_number(shape.stroke)}" d="{_path(shape)}"/>'
        else:
            yield f'<path d="{_path(shape)}"/>'
