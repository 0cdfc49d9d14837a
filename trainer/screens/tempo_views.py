"""Forms in time, to look at: the highest clean tempo of each key, and how steady the time is by voicing and by move."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from typing import Final

from trainer.chords.words import pretty_degrees
from trainer.pitch import pretty
from trainer.progress import Only, Tallies, TempoRow, tempo_table
from trainer.progress.tables import TWELVE
from trainer.screens.drawing import fitted
from trainer.screens.figure_lines import NONE, Row, Spans, heading_line
from trainer.screens.figure_parts import GridView, ListView
from trainer.timing import HighestClean, InTimeFigures, PassRecord, in_time_by

Passes = Callable[[Only], Sequence[PassRecord]]
"""The passes of a period, in the order of time: of what is asked, the days, the pianos and the titles."""

NO_PASSES: Final = "No form was played in time in what is asked for."


def no_passes(only: Only) -> Sequence[PassRecord]:
    """Where no passes are kept."""
    return ()


class TempoView(GridView):
    """Every form on the twelve keys: the highest tempo with a clean pass."""

    word = "Tempo"

    def __init__(self, source: Tallies, now: datetime, passes: Passes = no_passes) -> None:
        super().__init__(source, now)
        self.passes = passes
        self.table: tuple[TempoRow, ...] = ()

    def questions(self) -> Iterator[None]:
        self.table = tempo_table(self.passes(self.only))
        yield

    @property
    def count(self) -> int:
        return len(self.table)

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.table:
            return [[(NO_PASSES, "text")]]
        row = self.table[self.chosen]
        best = [[cell.tempo_bpm for cell in each.keys if cell is not None and cell.tempo_bpm] for each in self.table]
        return self.grid(
            [_form_words(each) for each in self.table],
            [[_tempo_words(cell) for cell in each.keys] for each in self.table],
            [f"{len(each)}/12" for each in best],
            width,
            height,
            _told(row, self.root),
            "Highest clean tempo, beats a minute (– : played whole, not clean yet)",
        )


def _form_words(row: TempoRow) -> str:
    section = f", section {row.section}" if row.section else ""
    return f"{row.title}{section}{' (minor keys)' if row.minor else ''}"


def _tempo_words(cell: HighestClean | None) -> str:
    if cell is None:
        return NONE
    return "–" if cell.tempo_bpm is None else f"{min(cell.tempo_bpm, 999):.0f}"


def _told(row: TempoRow, root: int) -> str:
    key = f"{pretty(TWELVE[root])}{'m' if row.minor else ''}"
    cell = row.keys[root]
    if cell is None:
        return f"{row.title} in {key}: not played whole in what is asked for."
    passes = f"{cell.passes} {'pass' if cell.passes == 1 else 'passes'}"
    if cell.tempo_bpm is None:
        return f"{row.title} in {key}: {passes}, none clean yet."
    sure = f" ({100 * cell.low:.0f}–{100 * cell.high:.0f} %)" if cell.low is not None and cell.high is not None else ""
    first = (cell.first_utc or "")[:10]
    return f"{row.title} in {key}: clean at {cell.tempo_bpm:g}, {cell.clean} of {passes} there{sure}; first on {first}."


_STEADY_WIDTHS: Final = (7, 16, 21, 8)
_STEADY_HEADINGS: Final = ("chords", "right in time", "early or late", "scatter")


class SteadyView(ListView):
    """How often right in time, how early or late, and how unsteady: by voicing, and by move from chord to chord."""

    word = "Steady"

    def __init__(self, source: Tallies, now: datetime, passes: Passes = no_passes) -> None:
        super().__init__(source, now)
        self.passes = passes

    def questions(self) -> Iterator[None]:
        passes = self.passes(self.only)
        self.rows = []
        for heading, by, words in (("by voicing", "voicing", pretty_degrees), ("by move", "move", pretty_degrees)):
            found = in_time_by(passes, by)
            if found:
                self.rows.append(Row(heading, heading=True))
            for name, each in sorted(found.items(), key=lambda pair: (-pair[1].slots, pair[0])):
                self.rows.append(Row(words(name), _steady_columns(each)))
        yield

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.rows:
            return [[(NO_PASSES, "text")]]
        head: list[Spans] = []
        if height >= 8:
            head.append(heading_line(_STEADY_HEADINGS, width, _STEADY_WIDTHS))
        foot: list[Spans] = []
        if height >= 12:
            words = "Early is below 0. Scatter is what remains when the steady part is taken off."
            foot.append([(fitted(words, width), "faint")])
        room = height - len(head) - len(foot)
        listed = self.list_of(width, room, len(head), _STEADY_WIDTHS)
        return [*head, *listed, *[[] for _ in range(room - len(listed))], *foot]


def _steady_columns(each: InTimeFigures) -> tuple[str, ...]:
    share = NONE
    if each.share is not None and each.low is not None and each.high is not None:
        share = f"{100 * each.share:.0f} %  ({100 * each.low:.0f}–{100 * each.high:.0f})"
    offset = each.offset
    lies = "not enough yet" if offset is None else f"{offset.median:+.0f} ms ({offset.low:+.0f} to {offset.high:+.0f})"
    return str(each.slots), share, lies, NONE if each.scatter_ms is None else f"{each.scatter_ms:.0f} ms"
