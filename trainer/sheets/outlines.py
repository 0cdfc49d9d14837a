"""Texts as outlines, in the text and music fonts that come with the engraver. Needs the extra ``print``.

The flat, sharp and natural signs, which text fonts lack, are taken from the music font. A character that the text
font has not is drawn as an empty box.
"""

from __future__ import annotations

import base64
import io
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, Literal

from fontTools.pens.basePen import BasePen
from fontTools.pens.transformPen import TransformPen
from fontTools.svgLib.path import parse_path
from fontTools.ttLib import TTFont

from trainer.sheets.vectors import Point, Segment, Shape

Face = Literal["regular", "bold", "italic"]

_STYLES: Final[dict[tuple[str, str], Face]] = {
    ("normal", "normal"): "regular",
    ("bold", "normal"): "bold",
    ("normal", "italic"): "italic",
}
_MUSIC_SIGNS: Final = {"♭": 0xE260, "♯": 0xE262, "♮": 0xE261, "𝄫": 0xE264, "𝄪": 0xE263}
_SIGNS_IN_TEXT: Final = {"\uea63": "𝄫", "\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\uea67": "𝄪"}
"""Characters of SMuFL 1.4 (figured bass) that the engraver writes for the signs in chord symbols."""

_SIGN_EM: Final = 1.25
"""Size of a musical sign in a text: a flat is then as tall as a capital letter and a little more."""

_SIGN_GAP_EM: Final = 0.04
_SIGN_DROP_EM: Final = 0.08
_SPACE_EM: Final = 0.25
_MUSIC_UNITS: Final = 1000


def _data_folder() -> Path:
    import verovio

    return Path(verovio.__file__).parent / "data"


@lru_cache(maxsize=1)
def _faces() -> dict[Face, Any]:
    text = (_data_folder() / "Liberation.css").read_text(encoding="ascii")
    found: dict[Face, Any] = {}
    for block in re.findall(r"@font-face\s*{(.*?)}", text, re.DOTALL):
        weight, style = (re.search(rf"font-{name}: (\w+)", block) for name in ("weight", "style"))
        data = re.search(r"base64,([^)]*)\)", block)
        if weight and style and data and (face := _STYLES.get((weight[1], style[1]))):
            found[face] = TTFont(io.BytesIO(base64.b64decode(data[1])))
    return found


class Recorder(BasePen):  # type: ignore[misc]  # fontTools tells no types
    """A pen that keeps lines and cubic curves; quadratic ones and components are resolved by its base."""

    def __init__(self, glyphs: Any = None) -> None:
        super().__init__(glyphs)
        self.segments: list[Segment] = []

    def _moveTo(self, point: Point) -> None:
        self.segments.append(("M", (point,)))

    def _lineTo(self, point: Point) -> None:
        self.segments.append(("L", (point,)))

    def _curveToOne(self, first: Point, second: Point, end: Point) -> None:
        self.segments.append(("C", (first, second, end)))

    def _closePath(self) -> None:
        self.segments.append(("Z", ()))


@dataclass(frozen=True, slots=True)
class Glyph:
    """One character in a font size of 1: its outline and how far it takes the pen."""

    shape: Shape | None
    advance: float


def _frame(left: float, top: float, right: float, bottom: float) -> tuple[Segment, ...]:
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return (("M", corners[:1]), *(("L", (corner,)) for corner in corners[1:]), ("Z", ()))


_EMPTY_BOX: Final = Glyph(Shape.of(_frame(0.06, -0.66, 0.5, 0.0), 0.03), 0.56)
"""For a character that the text font does not have."""


@lru_cache(maxsize=1024)
def _music_glyph(code: int) -> Glyph:
    text = (_data_folder() / "Leipzig" / f"{code:04X}.xml").read_text(encoding="utf-8")
    outline = re.search(r' d="([^"]*)"', text)
    pen = Recorder()
    scale = _SIGN_EM / _MUSIC_UNITS
    if outline is not None:
        parse_path(outline[1], TransformPen(pen, (scale, 0, 0, -scale, 0, 0)))
    shape = Shape.of(pen.segments)
    # On the line, a little below it at most, wherever the sign's own middle is.
    left, top, right, bottom = shape.box
    shape = shape.moved(_SIGN_GAP_EM - left, _SIGN_DROP_EM - bottom)
    return Glyph(shape, right - left + 2 * _SIGN_GAP_EM)


@lru_cache(maxsize=4096)
def glyph(character: str, face: Face) -> Glyph:
    character = _SIGNS_IN_TEXT.get(character, character)
    if character in _MUSIC_SIGNS:
        return _music_glyph(_MUSIC_SIGNS[character])
    if character.isspace():
        return Glyph(None, _SPACE_EM)
    font = _faces()[face]
    glyphs = font.getGlyphSet()
    name = font.getBestCmap().get(ord(character))
    if name is None:
        return _EMPTY_BOX
    scale = 1 / font["head"].unitsPerEm
    pen = Recorder(glyphs)
    glyphs[name].draw(TransformPen(pen, (scale, 0, 0, -scale, 0, 0)))
    return Glyph(Shape.of(pen.segments) if pen.segments else None, glyphs[name].width * scale)


def width_of(text: str, size: float, face: Face = "regular") -> float:
    return sum(glyph(character, face).advance for character in text) * size


def text_shapes(text: str, left: float, baseline: float, size: float, face: Face = "regular") -> list[Shape]:
    """A text as shapes, its first character's pen at `left` on the baseline."""
    shapes = []
    for character in text:
        drawn = glyph(character, face)
        if drawn.shape is not None:
            shapes.append(drawn.shape.moved(left, baseline, size))
        left += drawn.advance * size
    return shapes
