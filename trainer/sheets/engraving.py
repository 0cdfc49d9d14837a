"""Engraving: a block of a sheet as systems of shapes, by the engraving library. Needs the extra ``print``.

The library draws each page of its own as nested SVG with texts in web fonts; here it is flattened to outlines and cut
into systems, so that pages are laid out by their true height (`layout`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final
from xml.etree.ElementTree import Element, fromstring

from fontTools.misc.transform import Transform
from fontTools.pens.transformPen import TransformPen
from fontTools.svgLib.path import parse_path

from trainer.sheets.musicxml import engraver_text
from trainer.sheets.outlines import Face, Recorder, text_shapes, width_of
from trainer.sheets.scores import Block
from trainer.sheets.vectors import Box, Segment, Shape, box_of

_UNITS_PER_ENGRAVER_UNIT: Final = 10
_BRACE: Final = 450.0
"""Room for the brace left of two staves."""

_OVER: Final = 100.0
"""A bar line may stand so far over the edge."""

_A_LITTLE_LESS: Final = 0.98
_TALLEST: Final = 60_000
_SVG: Final = "{http://www.w3.org/2000/svg}"
_LINK: Final = "{http://www.w3.org/1999/xlink}href"

_LYRIC_SIZE: Final = 4.5
_OPTIONS: Final[dict[str, Any]] = {
    "breaks": "line",
    "header": "none",
    "footer": "none",
    "scale": 100,
    "font": "Leipzig",
    "adjustPageHeight": True,
    "pageHeight": _TALLEST,
    "pageMarginTop": 0,
    "pageMarginBottom": 0,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "justifyVertically": False,
    "minLastJustification": 0.5,
    "lyricSize": _LYRIC_SIZE,
    "lyricTopMinMargin": 4.0,
    "lyricNoStartHyphen": True,
    "harmDist": 1.5,
    "mnumInterval": 0,
    "tieMinLength": 5.0,
    "leftMarginChord": 2.0,
    "leftMarginNote": 2.0,
    "defaultBottomMargin": 1.0,
    "xmlIdSeed": 1,
}


class EngravingError(ValueError):
    """The engraving library does not take what it was fed."""


@dataclass(frozen=True, slots=True)
class System:
    """A line of music: its shapes, the top of what it covers at 0, and what it covers."""

    shapes: tuple[Shape, ...]
    box: Box

    @property
    def height(self) -> float:
        return self.box[3] - self.box[1]


@dataclass(frozen=True, slots=True)
class _State:
    """What an element of the picture inherits."""

    transform: Transform = Transform()
    size: float = 0.0
    bold: bool = False
    italic: bool = False
    centre: float | None = None
    """Where a lyric's middle belongs."""
    symbol: bool = False
    """Whether it belongs to a chord symbol."""

    @property
    def face(self) -> Face:
        return "bold" if self.bold else "italic" if self.italic else "regular"


_TEXT_SIZE_OF_MUSIC: Final = _LYRIC_SIZE / 8
"""The engraver sets a sign of the music font larger than the text it stands in; this is the text's share."""

_SYMBOLS_LARGER: Final = 1.15
_SYMBOL_GAP: Final = 50.0
_ROWS_LOWER: Final = 80.0
"""Degrees stand this much lower than the engraver puts them, clear of the lowest note."""

_BOLD: Final = frozenset({"ending", "fing", "reh", "tempo", "harm"})
_ITALIC: Final = frozenset({"dir", "dynam", "mNum"})
_STRUCK: Final = frozenset({"chord", "note"})
_NO_FILL: Final = frozenset({"none", "transparent"})
_NOT_DRAWN: Final = frozenset({"placeholder", "bounding-box", "meterSigHidden"})


def systems(block: Block, width: float, scale: float = 1.0) -> tuple[System, ...]:
    """A block's lines of music, as wide as `width` hundredths of a millimetre, staves of 7.2 mm times `scale`.

    Raises `EngravingError`.
    """
    found = _engraved(block, width, scale)
    widest = max((system.box[2] for system in found), default=0.0)
    if widest > width + _OVER:
        # More notes than fit on a line of this width: smaller, they do.
        found = _engraved(block, width, scale * width / widest * _A_LITTLE_LESS)
    return tuple(system if system.box[2] <= width + _OVER else _shrunk(system, width) for system in found)


def _engraved(block: Block, width: float, scale: float) -> list[System]:
    hidden = frozenset({"mNum"}) if block.key is None else frozenset[str]()
    brace = _BRACE if len(block.hand_clefs) > 1 else 0.0
    found: list[System] = []
    for picture in _pictures(engraver_text(block), int((width - brace) / scale / _UNITS_PER_ENGRAVER_UNIT)):
        shapes = _Flattened(fromstring(picture), hidden).systems()
        found += [_scaled(each, scale, brace) for each in shapes]
    return found


def _shrunk(system: System, width: float) -> System:
    scale = width / system.box[2]
    shapes = tuple(shape.moved(0, 0, scale) for shape in system.shapes)
    return System(shapes, box_of(shapes))


def _scaled(shapes: list[Shape], scale: float, right: float) -> System:
    top = box_of(shapes)[1]
    moved = tuple(shape.moved(right, -top * scale, scale) for shape in shapes)
    return System(moved, box_of(moved))


@lru_cache(maxsize=1)
def _toolkit() -> Any:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def _pictures(text: str, width: int) -> list[str]:
    toolkit = _toolkit()
    toolkit.setOptions(_OPTIONS | {"pageWidth": width})
    if not toolkit.loadData(text):
        raise EngravingError("the engraving library cannot read the music")
    return [toolkit.renderToSVG(number) for number in range(1, toolkit.getPageCount() + 1)]


class _Flattened:
    """The picture of one page as systems of shapes."""

    def __init__(self, root: Element, hidden: frozenset[str]) -> None:
        self.hidden = hidden | _NOT_DRAWN
        self.glyphs: dict[str, list[Shape]] = {}
        for defs in root.iter(_SVG + "defs"):
            for element in defs:
                outlines = (_drawn(child, "path", _inherited(child, _State(), frozenset())) for child in element)
                # The outline of a glyph is filled; the hair line that the style sheet adds to it is not drawn.
                self.glyphs[element.get("id", "")] = [replace(each, stroke=0.0) for found in outlines for each in found]
        self.root = root
        self.found: list[list[Shape]] = []
        self.symbols: list[list[list[Shape]]] = []
        """For each system the chord symbols, kept apart until all else is there."""

    def systems(self) -> list[list[Shape]]:
        self._walk(self.root, _State())
        both = zip(self.found, self.symbols, strict=True)
        return [shapes + _clear(symbols, shapes) for shapes, symbols in both if shapes]

    def _walk(self, element: Element, state: _State) -> None:
        for child in element:
            name = child.tag.removeprefix(_SVG)
            classes = frozenset((child.get("class") or "").split())
            if classes & self.hidden or child.get("visibility") == "hidden" or name in ("defs", "style", "desc"):
                continue
            if "system" in classes:
                self.found.append([])
                self.symbols.append([])
            inner = _inherited(child, state, classes)
            if classes & _STRUCK and state.centre is None:
                inner = replace(inner, centre=self._centre(child, inner))
            if name in ("g", "svg"):
                self._walk(child, inner)
            elif name == "text" and inner.symbol and self.symbols:
                self.symbols[-1].append(_text(child, inner))
            elif name == "text":
                self._add(_centred(_text(child, inner), inner.centre))
            elif name == "use":
                self._use(child, inner)
            else:
                self._add(_drawn(child, name, inner))

    def _centre(self, element: Element, state: _State) -> float | None:
        """The middle of a chord's lowest note head: the engraver sets a lyric's first letter there, not its middle."""
        heads = [head for head in element.iter(_SVG + "g") if "notehead" in (head.get("class") or "").split()]
        if not heads or not any("verse" in (part.get("class") or "").split() for part in element.iter(_SVG + "g")):
            return None
        found, self.found = self.found, [[]]
        self._walk(heads[0], state)
        (drawn,), self.found = self.found, found
        left, _, right, _ = box_of(drawn)
        return (left + right) / 2

    def _add(self, shapes: list[Shape]) -> None:
        if self.found:
            self.found[-1] += shapes

    def _use(self, element: Element, state: _State) -> None:
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        transform = state.transform.translate(x, y)
        for outline in self.glyphs.get(element.get(_LINK, "").removeprefix("#"), ()):
            self._add([_transformed(outline, transform)])


def _clear(symbols: list[list[Shape]], others: list[Shape]) -> list[Shape]:
    """Chord symbols in one row, raised where one would touch what stands below it: the engraver sees the heads of notes
    there, but not their accidentals."""
    up = 0.0
    boxes = [shape.box for shape in others]
    for symbol in symbols:
        left, top, right, bottom = box_of(symbol)
        left, right = left - _SYMBOL_GAP, right + _SYMBOL_GAP
        under = [box for box in boxes if box[0] < right and box[2] > left and box[3] > bottom]
        up = max([up, *(bottom + _SYMBOL_GAP - box[1] for box in under if box[1] > top - (bottom - top))])
    return [shape.moved(0, -up) for symbol in symbols for shape in symbol]


def _transformed(shape: Shape, transform: Transform) -> Shape:
    across, slant, lean, down, right, below = transform
    if slant or lean or across != down:
        raise EngravingError("a part of the picture is turned or stretched")
    return shape.moved(right, below, across)


def _inherited(element: Element, state: _State, classes: frozenset[str]) -> _State:
    transform = state.transform
    if (text := element.get("transform")) is not None:
        transform = transform.transform(_transform(text))
    size = state.size
    weight, style, family = element.get("font-weight"), element.get("font-style"), element.get("font-family")
    if (text := element.get("font-size")) is not None:
        size = float(text.removesuffix("px")) * (_TEXT_SIZE_OF_MUSIC if family == _OPTIONS["font"] else 1)
        size *= _SYMBOLS_LARGER if state.symbol else 1
    if "verse" in classes:
        transform = transform.translate(0, _ROWS_LOWER)
    return _State(
        transform,
        size,
        bool(classes & _BOLD) or (state.bold if weight is None else weight == "bold"),
        bool(classes & _ITALIC) or (state.italic if style is None else style == "italic"),
        state.centre,
        state.symbol or "harm" in classes,
    )


def _transform(text: str) -> Transform:
    """The value of a ``transform`` attribute."""
    found = Transform()
    for part in text.replace(" ", ",").split(")"):
        name, _, numbers = part.strip(",").partition("(")
        values = [float(number) for number in numbers.split(",") if number]
        if name == "translate":
            found = found.translate(values[0], values[1] if len(values) > 1 else 0)
        elif name == "scale":
            found = found.scale(values[0], values[-1])
        elif name == "matrix":
            found = found.transform(values)
        elif name:
            raise EngravingError(f"a transformation of the picture is unknown: {name}")
    return found


def _path_data(element: Element, name: str) -> str:
    """The outline of a drawn element as path data."""

    def number(attribute: str) -> float:
        return float(element.get(attribute, "0"))

    if name == "path":
        return element.get("d", "")
    if name in ("polygon", "polyline"):
        return f"M{element.get('points', '')}" + ("Z" if name == "polygon" else "")
    if name == "rect":
        return f"M{number('x')} {number('y')}h{number('width')}v{number('height')}h{-number('width')}Z"
    if name in ("ellipse", "circle"):
        across, down = (number("rx"), number("ry")) if name == "ellipse" else (number("r"), number("r"))
        left, right, middle = number("cx") - across, number("cx") + across, number("cy")
        return f"M{left} {middle}A{across} {down} 0 1 1 {right} {middle}A{across} {down} 0 1 1 {left} {middle}Z"
    raise EngravingError(f"a part of the picture is unknown: {name}")


def _drawn(element: Element, name: str, state: _State) -> list[Shape]:
    if name not in ("path", "polygon", "polyline", "rect", "ellipse", "circle"):
        raise EngravingError(f"a part of the picture is unknown: {name}")
    pen = Recorder()
    parse_path(_path_data(element, name), TransformPen(pen, state.transform))
    segments: tuple[Segment, ...] = tuple(pen.segments)
    if not segments:
        return []
    stroke = float(element.get("stroke-width", "0")) * abs(state.transform[0])
    shapes = []
    if element.get("fill") not in _NO_FILL and element.get("fill-opacity") != "0" and _has_area(segments):
        shapes.append(Shape.of(segments))
    if stroke and element.get("stroke") != "none":
        shapes.append(Shape.of(segments, stroke))
    return shapes


def _has_area(segments: tuple[Segment, ...]) -> bool:
    return sum(len(points) for _, points in segments) > 2


@dataclass(slots=True)
class _Run:
    """Text that is drawn without a break."""

    text: str
    state: _State


def _text(element: Element, state: _State) -> list[Shape]:
    """A text with its parts, each chunk of it set where the picture puts it."""
    shapes: list[Shape] = []
    runs: list[_Run] = []
    x, y, anchor = 0.0, 0.0, "start"

    def flush() -> None:
        width = sum(_width(run) for run in runs)
        left = x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        for run in runs:
            transform = run.state.transform
            drawn = text_shapes(run.text, left, y, run.state.size, run.state.face)
            shapes.extend(_transformed(shape, transform) for shape in drawn)
            left += _width(run)
        runs.clear()

    def visit(part: Element, inherited: _State) -> None:
        nonlocal x, y, anchor
        if part.get("x") is not None or part.get("y") is not None or part.get("text-anchor") is not None:
            if runs:
                flush()
            x, y = float(part.get("x", x)), float(part.get("y", y))
            anchor = part.get("text-anchor", anchor)
        if part.text and part.text.strip():
            runs.append(_Run(part.text, inherited))
        for child in part:
            visit(child, _inherited(child, inherited, frozenset((child.get("class") or "").split())))
            if child.tail and child.tail.strip():
                runs.append(_Run(child.tail, inherited))

    visit(element, state)
    flush()
    return shapes


def _centred(shapes: list[Shape], centre: float | None) -> list[Shape]:
    if centre is None or not shapes:
        return shapes
    left, _, right, _ = box_of(shapes)
    return [shape.moved(centre - (left + right) / 2, 0) for shape in shapes]


def _width(run: _Run) -> float:
    return width_of(run.text, run.state.size, run.state.face)
