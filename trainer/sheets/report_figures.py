"""The figures of a report as drawings: dots with the interval they lie in, grids of states, bars.

A dot is the figure, the line through it its 95 % interval; where there is too little to say there is a dash.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from trainer.pitch import pretty
from trainer.progress import LEARNED, PRACTISED, DayFigures, Figures, RootFigures, Share, StandingRow, TempoRow
from trainer.progress.tables import TWELVE
from trainer.sheets.drawings import Box, Dot, Drawing, Label, Mark, Rule

WIDTH: Final = 640.0
_LEFT: Final = 76.0
_PANEL: Final = 80.0
_THIN: Final = 0.5
_STROKE: Final = 1.6
_DOT: Final = 3.2
_SMALL: Final = 11.0
_NORMAL: Final = 12.5

Bounds = tuple[float, float, float]
"""Low, middle, high."""


def right_of(each: Figures) -> Bounds | None:
    """Accuracy with its interval, 0 to 1; None where nothing counts."""
    if each.accuracy is None or each.low is None or each.high is None:
        return None
    return each.low, each.accuracy, each.high


def seconds_of(each: Figures) -> Bounds | None:
    """The median response time in seconds with its interval; None under six times."""
    if each.median_ms is None or each.median_low_ms is None or each.median_high_ms is None:
        return None
    return each.median_low_ms / 1000, each.median_ms / 1000, each.median_high_ms / 1000


def _panel(
    heading: str, values: Sequence[Bounds | None], places: Sequence[float], top: float, most: float, unit: str
) -> list[Mark]:
    """Dots with their intervals between 0 at the foot and `most` at the head, and the scale at the left."""
    marks: list[Mark] = [Label(0, top - 14, heading, _SMALL, "start", bold=True)]
    for share in (0.0, 0.5, 1.0):
        y = top + _PANEL * (1 - share)
        marks.append(Rule(_LEFT - 8, y, WIDTH, y, _THIN))
        marks.append(Label(_LEFT - 12, y + 4, f"{share * most:g}{unit}", _SMALL, "end"))

    def height_of(value: float) -> float:
        return top + _PANEL * (1 - min(1.0, value / most))

    for x, value in zip(places, values, strict=True):
        if value is None:
            marks.append(Rule(x - 4, top + _PANEL, x + 4, top + _PANEL, _STROKE))
            continue
        low, middle, high = map(height_of, value)
        marks += [Rule(x, low, x, high, _STROKE), Dot(x, middle, _DOT)]
    return marks


def nice_most(values: Sequence[Bounds | None]) -> float:
    """The head of a scale of seconds: an even number of them, above every interval.

    >>> nice_most([(1.0, 1.4, 2.1), None]), nice_most([None]), nice_most([(0.4, 0.5, 0.9)])
    (4.0, 2.0, 1.0)
    """
    highest = max((value[2] for value in values if value is not None), default=2.0)
    if highest <= 1:
        return 1.0
    return float(2 * -(-int(highest * 1000) // 2000))


def roots_figure(rows: Sequence[RootFigures]) -> Drawing:
    """The twelve roots: accuracy above, response time below, each with its interval and its number."""
    step = (WIDTH - _LEFT) / len(rows)
    places = [_LEFT + step * (at + 0.5) for at in range(len(rows))]
    rights, times = [right_of(row) for row in rows], [seconds_of(row) for row in rows]
    first, second = 48.0, 48.0 + _PANEL + 62
    marks: list[Mark] = [
        Label(x, 16, pretty(row.root), _NORMAL + 1.5, bold=True) for x, row in zip(places, rows, strict=True)
    ]
    marks += _panel("right at first", [_hundredfold(value) for value in rights], places, first, 100, " %")
    marks += _panel("time", times, places, second, nice_most(times), " s")
    for x, row, right, time in zip(places, rows, rights, times, strict=True):
        marks.append(Label(x, first + _PANEL + 16, "–" if right is None else f"{100 * right[1]:.0f}", _SMALL))
        marks.append(Label(x, second + _PANEL + 16, "–" if time is None else f"{time[1]:.2f}", _SMALL))
        marks.append(Label(x, second + _PANEL + 32, str(row.attempts), _SMALL))
    marks.append(Label(_LEFT - 12, first + _PANEL + 16, "%", _SMALL, "end"))
    marks.append(Label(_LEFT - 12, second + _PANEL + 16, "s", _SMALL, "end"))
    marks.append(Label(_LEFT - 12, second + _PANEL + 32, "tries", _SMALL, "end"))
    return Drawing(WIDTH, second + _PANEL + 40, tuple(marks))


def _hundredfold(value: Bounds | None) -> Bounds | None:
    return None if value is None else (100 * value[0], 100 * value[1], 100 * value[2])


_NAME: Final = 250.0
_ROW: Final = 22.0


def standing_figure(names: Sequence[str], rows: Sequence[StandingRow]) -> Drawing:
    """A row for each kind of voicing: a disc where it is learned, a ring where practised, a dash where not yet."""
    step = (WIDTH - _NAME) / len(TWELVE)
    places = [_NAME + step * (at + 0.5) for at in range(len(TWELVE))]
    marks: list[Mark] = [Label(x, 16, pretty(root), _NORMAL, bold=True) for x, root in zip(places, TWELVE, strict=True)]
    for at, (name, row) in enumerate(zip(names, rows, strict=True)):
        y = 34 + _ROW * at
        marks.append(Label(0, y + 4, name, _NORMAL, "start"))
        marks.append(Rule(0, y + _ROW / 2, WIDTH, y + _ROW / 2, _THIN / 2))
        for x, state in zip(places, row.roots, strict=True):
            if state in (LEARNED, PRACTISED):
                marks.append(Dot(x, y, 5, full=state == LEARNED))
            else:
                marks.append(Rule(x - 4, y, x + 4, y, 1))
    return Drawing(WIDTH, 34 + _ROW * len(rows), tuple(marks))


def bars_figure(rows: Sequence[tuple[str, Share]]) -> Drawing:
    """Bars of shares, the line at the end of each its interval, its number and share beside it."""
    most = max((share.high or 0.0 for _, share in rows), default=0.0) or 1.0
    room = WIDTH - _NAME - 110
    marks: list[Mark] = []
    for at, (name, share) in enumerate(rows):
        y = 14 + _ROW * at
        marks.append(Label(0, y + 4, name, _NORMAL, "start"))
        if share.share is not None and share.low is not None and share.high is not None:
            marks.append(Box(_NAME, y - 6, max(0.5, room * share.share / most), 12))
            marks.append(Rule(_NAME + room * share.low / most, y + 8, _NAME + room * share.high / most, y + 8, _STROKE))
            told = f"{share.count}  ({100 * share.share:.1f} %)"
            marks.append(Label(_NAME + room + 10, y + 4, told, _SMALL, "start"))
    return Drawing(WIDTH, 14 + _ROW * len(rows), tuple(marks))


def days_figure(points: Sequence[DayFigures]) -> Drawing:
    """Day by day: how much was answered, how often right, and how fast, each with its interval."""
    step = (WIDTH - _LEFT) / len(points)
    places = [_LEFT + step * (at + 0.5) for at in range(len(points))]
    rights, times = [_hundredfold(right_of(point)) for point in points], [seconds_of(point) for point in points]
    first, second, third = 30.0, 30.0 + _PANEL + 40, 30.0 + 2 * (_PANEL + 40)
    marks = _panel("right at first", rights, places, first, 100, " %")
    marks += _panel("time", times, places, second, nice_most(times), " s")
    marks.append(Label(0, third - 14, "prompts", _SMALL, "start", bold=True))
    most = max(point.attempts for point in points)
    for x, point in zip(places, points, strict=True):
        height = 40 * point.attempts / most
        marks.append(Box(x - min(6, step * 0.35), third + 40 - height, min(12, step * 0.7), height))
    marks.append(Rule(_LEFT - 8, third + 40, WIDTH, third + 40, _THIN))
    marks.append(Label(_LEFT - 12, third + 10, str(most), _SMALL, "end"))
    days = [points[0].first, *([points[-1].day] if len(points) > 1 else [])]
    for text, x, anchor in zip(days, (places[0], places[-1]), ("start", "end"), strict=False):
        if anchor == "start" or len(points) > 1:
            marks.append(Label(x, third + 58, text, _SMALL, "start" if anchor == "start" else "end"))
    return Drawing(WIDTH, third + 64, tuple(marks))


def tempo_figure(row: TempoRow) -> Drawing:
    """The highest clean tempo of each key as a bar with its number; a dash where none was clean yet."""
    step = (WIDTH - _LEFT) / len(row.keys)
    tempos = [cell.tempo_bpm for cell in row.keys if cell is not None and cell.tempo_bpm is not None]
    most = max(tempos, default=1.0)
    foot = 26.0 + _PANEL
    marks: list[Mark] = [Rule(_LEFT - 8, foot, WIDTH, foot, _THIN)]
    for at, (root, cell) in enumerate(zip(TWELVE, row.keys, strict=True)):
        x = _LEFT + step * (at + 0.5)
        marks.append(Label(x, foot + 18, pretty(root) + ("m" if row.minor else ""), _NORMAL, bold=True))
        if cell is None:
            continue
        if cell.tempo_bpm is None:
            marks.append(Label(x, foot - 6, "–", _SMALL))
            continue
        height = _PANEL * cell.tempo_bpm / most
        marks += [
            Box(x - 9, foot - height, 18, height),
            Label(x, foot - height - 5, f"{cell.tempo_bpm:g}", _SMALL),
        ]
    marks.append(Label(0, 16, "beats a minute", _SMALL, "start", bold=True))
    return Drawing(WIDTH, foot + 24, tuple(marks))
