"""The record to look at, view by view: each asks for its figures when it comes up and draws them at any size.

A view draws as many lines as it is given and knows what a click meets. `subject` is what its chosen place stands for:
what a curve is drawn of. Names of sets, ports and voicings are data.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import ClassVar, Final

from trainer.chords.words import pretty_degrees
from trainer.estimates import Middle
from trainer.grading import CAUSES
from trainer.pitch import pretty
from trainer.progress import (
    LATEST_TIMES,
    LEARNED,
    NOT_YET,
    PRACTISED,
    Figures,
    Item,
    Only,
    RootFigures,
    Share,
    Standing,
    StandingRow,
    TableRow,
    Tallies,
    TimeSplit,
    cause_by_root,
    figures_each,
    mistakes,
    roots,
    standing_table,
    time_parts,
    time_parts_each,
    voicing_table,
    whole,
)
from trainer.progress.tables import TWELVE
from trainer.progress.words import item_words, kind_words
from trainer.screens.drawing import fitted, shown, wrapped
from trainer.screens.figure_lines import (
    BAR_SIGNS,
    CHOSEN,
    NONE,
    Row,
    Spans,
    bar,
    figures_strip,
    figures_words,
    heading_line,
    list_lines,
    middle_words,
    padded,
    percent,
    seconds,
    shares_strip,
    squeezed,
    window,
)
from trainer.screens.summary import share_words, time_words

NOTHING: Final = "Nothing was played in what is asked for."


@dataclass(frozen=True, slots=True)
class Subject:
    """What a curve is drawn of: its name, and what to ask for."""

    name: str
    only: Only


class View:
    """One way of looking at the record; `word` stands on its tab, `further` is what M does in it ("" for nothing)."""

    word: ClassVar[str] = ""
    further: ClassVar[str] = ""

    def __init__(self, source: Tallies, now: datetime) -> None:
        self.source = source
        self.now = now
        self.only = Only()
        self._top = 0
        self.chosen = 0
        self._list_at = (0, 0)
        """Line of the first row of the list, and how many lines it has."""

    def ask(self, only: Only) -> None:
        """Ask for the figures."""
        self.only = only
        self.renew()
        self.chosen = self._chooseable(min(self.chosen, max(0, self.count - 1)), 1)
        self.taken()

    def renew(self) -> None:
        """Ask again for what is drawn."""
        raise NotImplementedError

    @property
    def count(self) -> int:
        """How many rows there are to choose from."""
        raise NotImplementedError

    def lines(self, width: int, height: int) -> list[Spans]:
        """What is drawn."""
        raise NotImplementedError

    @property
    def subject(self) -> Subject | None:
        """What the chosen place stands for."""
        return None

    def move(self, down: int, right: int) -> None:
        """Choose another row, or another place in it."""
        self.chosen = self._chooseable(max(0, min(self.count - 1, self.chosen + down)), 1 if down >= 0 else -1)
        self.taken()

    def taken(self) -> None:
        """A row was chosen: ask for what is drawn of it. Drawing itself asks nothing."""

    def more(self) -> None:
        """What M does."""

    def click(self, x: int, y: int) -> bool:
        """Choose what stands there; True where it was the chosen one already."""
        first, lines = self._list_at
        row = self._top + y - first
        if not (first <= y < first + lines and row < self.count) or self._chooseable(row, 1) != row:
            return False
        again = row == self.chosen
        self.chosen = row
        self.taken()
        return again

    def _chooseable(self, row: int, step: int) -> int:
        return row

    def _scrolled(self, first: int, height: int) -> int:
        """The first row drawn by a list of `height` lines that begins at line `first`."""
        self._top = window(self.count, self.chosen, self._top, height)
        self._list_at = (first, height)
        return self._top


class ListView(View):
    """A view whose main part is a list of rows under headings."""

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.rows: list[Row] = []

    @property
    def count(self) -> int:
        return len(self.rows)

    def _chooseable(self, row: int, step: int) -> int:
        """The nearest row in a direction that is no heading; back again at an end."""
        for way in (step, -step):
            at = row
            while 0 <= at < len(self.rows):
                if not self.rows[at].heading:
                    return at
                at += way
        return row

    def list_of(self, width: int, height: int, first: int, widths: Sequence[int]) -> list[Spans]:
        """The lines of the list."""
        top = self._scrolled(first, height)
        return list_lines(self.rows, self.chosen, top, width, height, widths)


def _figure_columns(each: Figures) -> tuple[str, str, str]:
    return str(each.attempts) if each.attempts else NONE, share_words(each), time_words(each)


def _cause(code: str) -> str:
    return CAUSES.get(code, code)


_FIGURE_WIDTHS: Final = (7, 17, 21)
_FIGURE_HEADINGS: Final = ("tries", "right at first", f"time, latest {LATEST_TIMES}")


class RootsView(ListView):
    """The strip of twelve roots for everything, any voicing, any set, any cause: the list below says which."""

    word = "Roots"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self._roots: tuple[RootFigures, ...] = ()
        self._shares: dict[str, Share] | None = None
        self._what: list[tuple[str, str]] = []

    def renew(self) -> None:
        self.whole = whole(self.source, self.only)
        self.rows = [Row("everything", _figure_columns(self.whole))]
        self._what = [("", "")]
        for heading, by in (("voicings", "voicing"), ("sets", "set")):
            self._heading(heading)
            for name, each in figures_each(self.source, by, self.only).items():
                words = pretty_degrees(name) if by == "voicing" else name
                self._row(Row(words, _figure_columns(each)), by, name)
        missed = mistakes(self.source, self.only).cause
        if missed:
            self._heading("causes of misses")
            for code, count in missed.items():
                share = f"{100 * count / self.whole.attempts:.1f} % of tries" if self.whole.attempts else ""
                self._row(Row(_cause(code), (str(count), share, "")), "cause", code)

    def _heading(self, name: str) -> None:
        self._row(Row(name, heading=True), "", "")

    def _row(self, row: Row, kind: str, name: str) -> None:
        self.rows.append(row)
        self._what.append((kind, name))

    def lines(self, width: int, height: int) -> list[Spans]:
        strip = self._strip(width, max(1, min(9, height - 3, height // 2 if height < 18 else 9)))
        gap: list[Spans] = [[]] if height >= 12 else []
        if height >= 18:
            gap.append(heading_line(_FIGURE_HEADINGS, width, _FIGURE_WIDTHS))
        first = len(strip) + len(gap)
        return [*strip, *gap, *self.list_of(width, max(0, height - first), first, _FIGURE_WIDTHS)]

    def taken(self) -> None:
        if not self._what:
            return
        kind, name = self._what[self.chosen]
        self._shares = cause_by_root(self.source, name, self.only) if kind == "cause" else None
        self._roots = () if kind == "cause" else roots(self.source, self._narrowed(kind, name))

    def _strip(self, width: int, most: int) -> list[Spans]:
        if self._shares is not None:
            return shares_strip(self._shares, width, most)
        return figures_strip(self._roots, width, self.now, most)

    def _narrowed(self, kind: str, name: str) -> Only:
        if kind == "voicing":
            return replace(self.only, voicings=(name,))
        return replace(self.only, sets=(name,)) if kind == "set" else self.only

    @property
    def subject(self) -> Subject | None:
        kind, name = self._what[self.chosen] if self._what else ("cause", "")
        if kind == "cause":
            return None
        return Subject(self.rows[self.chosen].name, self._narrowed(kind, name))


# -- voicing by root


def _tries(each: Figures, cells: int) -> str:
    count = each.attempts
    return NONE if not count else str(count) if count < 1000 else f"{count // 1000}k"


_MEASURES: Final[tuple[tuple[str, Callable[[Figures, int], str]], ...]] = (
    ("right at the first try, %", lambda each, cells: percent(each.accuracy, cells)),
    ("at least so often right, % (lower end of what is sure)", lambda each, cells: percent(each.low, cells)),
    ("time from prompt to notes, s", lambda each, cells: seconds(each.median_ms, cells)),
    ("tries", _tries),
)
_CELL: Final = 4
_WHOLE: Final = 6
"""Columns of a root's cell, and of the one for all roots."""
_ROOMY: Final = 100
"""From this width on a root's cell has a column more."""
_LONGEST_NAME: Final = 44


class GridView(View):
    """Rows of twelve cells, one for each root, and a place in them that is chosen.

    In a narrow terminal a row takes three lines: its name, and six roots with their figures in each of two.
    """

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.root = 0
        self._first_cell = 0
        self._cell = _CELL
        self._lines_of_row = 1

    def move(self, down: int, right: int) -> None:
        super().move(down, right)
        self.root = max(0, min(len(TWELVE) - 1, self.root + right))

    def click(self, x: int, y: int) -> bool:
        first, lines = self._list_at
        row, line = divmod(y - first, self._lines_of_row)
        if not (first <= y < first + lines and self._top + row < self.count):
            return False
        root = (x - self._first_cell) // self._cell
        if self._lines_of_row > 1:
            root += 6 * (line - 1)
        place = (self._top + row, root if x >= self._first_cell and 0 <= root < len(TWELVE) else self.root)
        again = place == (self.chosen, self.root)
        self.chosen, self.root = place
        return again

    def grid(
        self,
        names: Sequence[str],
        cells: Sequence[Sequence[str]],
        last: Sequence[str],
        width: int,
        height: int,
        told: str,
        heading: str,
    ) -> list[Spans]:
        """Heading, roots, rows with their twelve cells and a last one, and what is told of the chosen cell below."""
        foot: list[Spans] = [[(line, "text")] for line in wrapped(told, width)]
        foot = foot[: 1 if height < 7 else 2 if height < 10 else 3]
        head: list[Spans] = [[(fitted(heading, width), "faint")]] if height >= 8 else []
        cell = _CELL + 1 if width >= _ROOMY else _CELL
        room = min(_LONGEST_NAME, width - len(TWELVE) * cell - _WHOLE)
        folded = room < 10
        if not folded:
            texts = [pretty(root) for root in TWELVE]
            head.append([(" " * room, "faint"), (_cells(texts, f"{'all':>{_WHOLE}}", cell), "strong")])
        self._lines_of_row = 3 if folded else 1
        self._first_cell, self._cell = (0, max(1, width // 6)) if folded else (room, cell)
        lines = max(0, height - len(head) - len(foot))
        self._top = window(self.count, self.chosen, self._top, max(1, lines // self._lines_of_row))
        self._list_at = (len(head), lines)
        drawn: list[Spans] = []
        for row in range(self._top, len(names)):
            if len(drawn) >= lines:
                break
            chosen = row == self.chosen
            if folded:
                drawn += self._folded(names[row], cells[row], width, chosen)
                continue
            sign, role = (CHOSEN, "strong") if chosen else (" ", "text")
            text = padded(squeezed(shown(names[row]), room - 2), room - 2)
            drawn.append([(f"{sign} {text}", role), *self._row(cells[row], f"{last[row]:>{_WHOLE}}", chosen)])
        drawn = drawn[:lines]
        return [*head, *drawn, *[[] for _ in range(lines - len(drawn))], *foot]

    def _row(self, texts: Sequence[str], last: str, chosen: bool) -> Spans:
        """Cells with their texts to the right, brackets around the chosen one: a cell always begins with a blank."""
        line = _cells(texts, last, self._cell)
        if not chosen:
            return [(line, "text")]
        end = (self.root + 1) * self._cell
        start = end - len(texts[self.root]) - 1
        return [
            (line[:start], "text"),
            (f"[{line[start + 1 : end]}]", "mark"),
            (line[end + 1 :], "text"),
        ]

    def _folded(self, name: str, texts: Sequence[str], width: int, chosen: bool) -> list[Spans]:
        lines: list[Spans] = [[(squeezed(shown(name), width), "strong" if chosen else "text")]]
        for first in (0, 6):
            spans: Spans = []
            for index in range(first, first + 6):
                here = chosen and index == self.root
                text = f"{CHOSEN if here else ' '}{pretty(TWELVE[index])} {texts[index]}"
                if len(text) > self._cell:
                    text = text.replace(" ", "") if here else " " + text.replace(" ", "")
                spans.append((padded(fitted(text, self._cell), self._cell), "mark" if here else "text"))
            lines.append(spans)
        return lines


def _cells(texts: Sequence[str], last: str, cell: int) -> str:
    return "".join(f"{text:>{cell}}" for text in texts) + last


class TableView(GridView):
    """Every kind of voicing on the twelve roots, by accuracy, by what is sure of it, by time, or by tries."""

    word = "Voicings"
    further = "Other figure"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.measure = 0
        self.table: tuple[TableRow, ...] = ()

    def renew(self) -> None:
        self.table = voicing_table(self.source, self.only)

    @property
    def count(self) -> int:
        return len(self.table)

    def more(self) -> None:
        self.measure = (self.measure + 1) % len(_MEASURES)

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.table:
            return [[(NOTHING, "text")]]
        heading, text_of = _MEASURES[self.measure]
        row = self.table[self.chosen]
        cell = row.roots[self.root]
        told = f"{item_words(row.voicing, row.quality, cell.root)}: {figures_words(cell, self.now)}"
        return self.grid(
            [kind_words(each.voicing, each.quality) for each in self.table],
            [[text_of(one, 4) for one in each.roots] for each in self.table],
            [text_of(each.whole, 4) for each in self.table],
            width,
            height,
            told,
            f"{heading[0].upper()}{heading[1:]}",
        )

    @property
    def subject(self) -> Subject | None:
        return _item_subject(self, self.table[self.chosen]) if self.table else None


def _item_subject(view: GridView, row: TableRow | StandingRow) -> Subject:
    root = TWELVE[view.root]
    only = replace(view.only, voicings=(row.voicing,), qualities=(row.quality,), roots=(root,))
    return Subject(item_words(row.voicing, row.quality, root), only)


_STATE_SIGNS: Final = {LEARNED: "●", PRACTISED: "○", NOT_YET: NONE}


class LearnedView(GridView):
    """What is learned beside what is merely practised."""

    word = "Learned"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.table: tuple[StandingRow, ...] = ()
        self.standings: Mapping[Item, Standing] = {}

    def renew(self) -> None:
        self.table = standing_table(self.source, self.only)
        self.standings = self.source.standings(self.only)

    @property
    def count(self) -> int:
        return len(self.table)

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.table:
            return [[(NOTHING, "text")]]
        row = self.table[self.chosen]
        root = TWELVE[self.root]
        standing = self.standings.get((row.voicing, row.quality, root))
        state = row.roots[self.root]
        days = "" if standing is None else f" on {standing.days} {'day' if standing.days == 1 else 'days'}"
        told = f"{item_words(row.voicing, row.quality, root)}: {state if not days else f'practised{days}'}"
        if standing is not None:
            told += ", learned." if standing.learned else ", not yet right at first on a later day."
        total = {state: sum(each.count(state) for each in self.table) for state in _STATE_SIGNS}
        learned, practised, not_yet = (f"{sign} {state}: {total[state]}" for state, sign in _STATE_SIGNS.items())
        return self.grid(
            [kind_words(each.voicing, each.quality) for each in self.table],
            [[_STATE_SIGNS[one] for one in each.roots] for each in self.table],
            [f"{each.count(LEARNED)}/12" for each in self.table],
            width,
            height,
            told,
            f"{learned}, still right on another day   {practised}   {not_yet}",
        )

    @property
    def subject(self) -> Subject | None:
        return _item_subject(self, self.table[self.chosen]) if self.table else None


# -- where the time goes

_PARTS: Final = ("think", "spread", "settle")
_PARTS_BY: Final = ("voicing", "root", "set")


class TimesView(ListView):
    """Think, spread and settle, for everything and for each voicing, root or set."""

    word = "Time"
    further = "By root, set"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.by = 0
        self._splits: list[TimeSplit] = []

    def renew(self) -> None:
        by = _PARTS_BY[self.by]
        each = time_parts_each(self.source, by, self.only)
        names = [root for root in TWELVE if root in each] if by == "root" else list(each)
        written = {"voicing": pretty_degrees, "root": pretty}.get(by, shown)
        self.rows = [Row("everything"), *(Row(written(name)) for name in names)]
        self._splits = [time_parts(self.source, self.only), *(each[name] for name in names)]

    def more(self) -> None:
        self.by = (self.by + 1) % len(_PARTS_BY)
        self.ask(self.only)

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self._splits:
            return [[(NOTHING, "text")]]
        parts = _medians(self._splits[self.chosen])
        told = "   ".join(f"{name} {middle_words(one)}" for name, one in zip(_PARTS, parts, strict=True))
        foot: list[Spans] = [[(line, "text")] for line in wrapped(told, width)][: 1 if height < 10 else 3]
        head: list[Spans] = []
        if height >= 10:
            think, spread, settle = BAR_SIGNS
            legend = f"{think} think, to the first key  {spread} spread, first to last  {settle} settle, wrong to right"
            head = [
                [(legend, "faint")],
                [(f"Middle values in seconds, by {_PARTS_BY[self.by]}", "faint")],
            ]
        room = max(0, height - len(head) - len(foot))
        top = self._scrolled(len(head), room)
        longest = max(sum(one.median for one in _medians(each) if one) for each in self._splits)
        name_room = max(6, min(34, width // 2 - 4))
        bar_room = max(0, width - name_room - 12)
        listed: list[Spans] = []
        for index in range(top, min(top + room, len(self.rows))):
            sign, role = (CHOSEN, "mark") if index == self.chosen else (" ", "text")
            medians = [one.median if one else 0.0 for one in _medians(self._splits[index])]
            known = seconds(sum(medians), 8) if any(medians) else "too few"
            name = padded(squeezed(shown(self.rows[index].name), name_room), name_room)
            listed.append(
                [(f"{sign} {name}", role), (f"{known:>8} ", "text"), (bar(medians, longest, bar_room), "large")]
            )
        return [*head, *listed, *[[] for _ in range(room - len(listed))], *foot]


def _medians(split: TimeSplit) -> tuple[Middle | None, ...]:
    return (split.think_ms, split.spread_ms, split.settle_ms)


# -- causes of misses


class MissesView(ListView):
    """What was missed, by cause, degree, root and voicing, the most frequent first."""

    word = "Misses"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.total = 0
        self._counts: list[int] = []

    def renew(self) -> None:
        found = mistakes(self.source, self.only)
        self.total = found.total
        self.rows, self._counts = [], []
        kinds: tuple[tuple[str, Mapping[str, int], Callable[[str], str]], ...] = (
            ("by cause", found.cause, _cause),
            ("by degree", found.degree, pretty),
            ("by root", found.root, pretty),
            ("by voicing", found.voicing, pretty_degrees),
        )
        for heading, counts, words in kinds:
            if counts:
                self.rows.append(Row(heading, heading=True))
                self._counts.append(0)
            for name, count in counts.items():
                self.rows.append(Row(words(name)))
                self._counts.append(count)

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.rows:
            return [[("No miss in what is asked for.", "text")]]
        head: list[Spans] = []
        if height >= 8:
            words = f"{self.total} wrong first tries; each counts by its cause and by every degree it missed."
            head = [[(fitted(words, width), "faint")]]
        room = height - len(head)
        top = self._scrolled(len(head), room)
        name_room = max(6, min(38, width // 2 - 4))
        bar_room = max(0, width - name_room - 16)
        most = max(self._counts)
        lines = [*head]
        for index in range(top, min(top + room, len(self.rows))):
            row, count = self.rows[index], self._counts[index]
            if row.heading:
                lines.append([(f"  {row.name}", "faint")])
                continue
            sign, role = (CHOSEN, "mark") if index == self.chosen else (" ", "text")
            name = padded(fitted(shown(row.name), name_room), name_room)
            share = f"{100 * count / self.total:.0f}%"
            lines.append(
                [(f"{sign} {name}", role), (f"{count:>6} {share:>5} ", "text"), (bar([count], most, bar_room), "large")]
            )
        return lines
