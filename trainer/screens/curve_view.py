"""A learning curve as text: time and accuracy day by day, each point with its interval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from trainer.progress import DayFigures, Only, Tallies, Tally, points_of
from trainer.screens.drawing import fitted, shown, wrapped
from trainer.screens.figure_lines import Spans, tries_words
from trainer.screens.figure_parts import NOTHING, Subject, View
from trainer.screens.summary import share_words, time_words

FIRST_DAYS: Final = 90
"""Of more than one root so many days are asked for at first; going further back asks for twice as many."""
_STRETCH_DAYS: Final = 10
_ALL_DAYS: Final = 10_000
"""As many as a record has, for sure."""

_LABEL: Final = 7
_SPACED: Final = 3
_MOST_CELLS: Final = 6

Bounds = tuple[float, float, float]
"""Low, middle, high."""


class CurveView(View):
    """The curve of one subject, the latest days to the right; left and right choose a day."""

    word = "Curve"
    further = "Join days"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.about = Subject("everything", Only())
        self.join: bool | None = None
        self.joined = False
        self.days = FIRST_DAYS
        self._from_end = 0
        self.begun = False
        """Whether there may be days before those that were asked for."""
        self.points: tuple[DayFigures, ...] = ()
        self._at: tuple[int, int, int] = (0, 0, 1)
        """First column of the points, first point drawn, columns of a point."""

    def show(self, subject: Subject) -> None:
        """Draw the curve of something else."""
        self.about = subject
        self.join = None
        self.begin(self.only)

    def begin(self, only: Only) -> None:
        self.days = FIRST_DAYS
        self._from_end = 0
        super().begin(only)

    def questions(self) -> Iterator[None]:
        asked = self.about.only
        only = Only(
            self.only.since,
            self.only.until,
            asked.sets or self.only.sets,
            asked.ports or self.only.ports,
            asked.voicings or self.only.voicings,
            asked.qualities or self.only.qualities,
            asked.roots or self.only.roots,
        )
        # One root of one voicing is seldom asked six times in a day, and then a day says nothing about its time.
        item = len(only.roots) == 1
        self.joined = item if self.join is None else self.join
        days: list[tuple[str, Tally]] = []
        for stretch in (only,) if item else self._stretches(only):
            found = self.source.tallies(("day",), stretch)
            days = [(key[0], tally) for key, tally in sorted(found.items())] + days
            self.points = points_of(days, join=self.joined)
            self.chosen = max(0, self.count - 1 - self._from_end)
            self.begun = stretch.since > only.since
            yield

    def _stretches(self, only: Only) -> Iterator[Only]:
        """A few days at a time, the latest first: each day is a sum over all that was played on it."""
        if self.days >= _ALL_DAYS:
            yield only
            return
        until = only.until
        for back in range(_STRETCH_DAYS, self.days + 1, _STRETCH_DAYS):
            since = (self.now - timedelta(days=back - 1)).date().isoformat()
            yield replace(only, since=max(since, only.since), until=until)
            if since <= only.since:
                return
            until = since

    @property
    def count(self) -> int:
        return len(self.points)

    @property
    def subject(self) -> Subject | None:
        return self.about

    def more(self) -> None:
        self.join = not self.joined
        self._from_end = 0
        self.again()

    def move(self, down: int, right: int) -> None:
        step = down + right
        if step < 0 and self.chosen == 0 and self.begun and not self.incomplete:
            self._from_end = self.count
            self.days *= 2
            self.again()
            return
        self.chosen = max(0, min(self.count - 1, self.chosen + step))
        self._from_end = self.count - 1 - self.chosen

    def click(self, x: int, y: int) -> bool:
        left, first, cells = self._at
        point = first + (x - left) // cells
        if x >= left and first <= point < self.count:
            self.chosen = point
            self._from_end = self.count - 1 - point
        return False

    def lines(self, width: int, height: int) -> list[Spans]:
        name = f"{self.about.name[:1].upper()}{self.about.name[1:]}"
        head: list[Spans] = [[(fitted(shown(name), width), "strong")]]
        if not self.points:
            nothing = f"Nothing in the latest {self.days} days; ← looks further back." if self.begun else NOTHING
            return [*head, [(nothing, "text")]]
        told: list[Spans] = [[(line, "text")] for line in wrapped(_told(self.points[self.chosen]), width)]
        told = told[: 1 if height < 7 else 2]
        label = _LABEL if width >= 20 else 0
        shown_points = self._shown(width - label)
        below = 2 if height >= 9 else 1
        room = height - len(head) - len(told) - below
        times = [_times(point) for point in shown_points]
        rights = [_right(point) for point in shown_points]
        plots: list[Spans] = []
        if room >= 9:
            of_right = max(4, (room - 2) * 2 // 5)
            plots += self._plot("time to note-on, s", times, _nice(times), room - of_right - 2, label)
            plots += self._plot("right at the first try, %", rights, (0.0, 1.0), of_right, label)
        elif room >= 2:
            plots += self._plot(
                "", times if any(times) else rights, _nice(times) if any(times) else (0.0, 1.0), room, label
            )
        return [*head, *plots[: max(0, room)], *self._axis(shown_points, width, label, below), *told][:height]

    def _shown(self, room: int) -> Sequence[DayFigures]:
        """The points that are drawn: the chosen one is among them."""
        cells = max(1, min(_MOST_CELLS, room // max(1, self.count)))
        cells = max(cells, min(_SPACED, room))
        most = max(1, room // cells)
        first = max(0, min(self.count - most, self._at[1]))
        first = min(self.chosen, max(first, self.chosen - most + 1))
        if self.chosen == self.count - 1:
            first = max(0, self.count - most)
        self._at = (_LABEL if room + _LABEL >= 20 else 0, first, cells)
        return self.points[first : first + most]

    def _plot(
        self, heading: str, values: Sequence[Bounds | None], span: tuple[float, float], rows: int, label: int
    ) -> list[Spans]:
        """Rows of a plot from the top down: a stroke from low to high, a dot in the middle."""
        cells, chosen = self._at[2], self.chosen - self._at[1]
        low, high = span
        lines: list[Spans] = [[(f"{'':<{label}}{heading}", "faint")]] if heading else []

        def row_of(value: float) -> int:
            share = (value - low) / (high - low) if high > low else 0.5
            return round((1 - min(1.0, max(0.0, share))) * (rows - 1))

        for row in range(rows):
            edge = high if row == 0 else low if row == rows - 1 else None
            written = "" if edge is None else f"{100 * edge:.0f}" if span == (0.0, 1.0) else f"{edge / 1000:.1f}"
            spans: Spans = [(f"{written:>{label - 3}} │ "[:label] if label else "", "faint")]
            for index, value in enumerate(values):
                sign = " "
                if value is not None:
                    below, middle, above = map(row_of, value)
                    sign = "●" if row == middle else "│" if above <= row <= below else " "
                role = "mark" if index == chosen and sign != " " else "held" if sign == "●" else "text"
                spans += [(sign, role), (" " * (cells - 1), "text")]
            lines.append(spans)
        return lines

    def _axis(self, points: Sequence[DayFigures], width: int, label: int, lines: int) -> list[Spans]:
        """Below the plots: a sign under the chosen point, then the first day and the last."""
        cells, chosen = self._at[2], self.chosen - self._at[1]
        drawn = min(width - label, (len(points) - 1) * cells + 1)
        axis = "".join("▲" if at == chosen * cells else "─" for at in range(drawn))
        first, last = points[0].first, points[-1].day
        days = f"{first:<{max(len(first) + 1, drawn - len(last))}}{last if len(points) > 1 else ''}"
        return [[(" " * label + axis, "faint")], [(" " * label + days, "faint")]][:lines]


def _told(point: DayFigures) -> str:
    when = point.day if point.days == 1 else f"{point.first} to {point.day}, {point.days} days together"
    return f"{when}: {tries_words(point.attempts)}, right at first {share_words(point)}, time {time_words(point)}"


def _right(point: DayFigures) -> Bounds | None:
    if point.accuracy is None or point.low is None or point.high is None:
        return None
    return point.low, point.accuracy, point.high


def _times(point: DayFigures) -> Bounds | None:
    if point.median_ms is None or point.median_low_ms is None or point.median_high_ms is None:
        return None
    return point.median_low_ms, point.median_ms, point.median_high_ms


def _nice(values: Sequence[Bounds | None]) -> tuple[float, float]:
    """The span of a plot of milliseconds, in whole half seconds."""
    known = [value for value in values if value is not None]
    if not known:
        return 0.0, 1000.0
    low = min(value[0] for value in known) // 500 * 500
    high = -(-max(value[2] for value in known) // 500) * 500
    return low, max(high, low + 500)
