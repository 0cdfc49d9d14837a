"""The views of progress: roots, voicings, what is learned, times, misses; what they share is in `figure_parts`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

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
    ranked,
    roots,
    standing_table,
    time_parts,
    time_parts_each,
    voicing_cells,
    whole,
)
from trainer.progress.tables import TWELVE
from trainer.progress.words import item_words, kind_words
from trainer.screens.drawing import fitted, shown, wrapped
from trainer.screens.figure_lines import (
    BAR_SIGNS,
    CHOSEN,
    NONE,
    NOT_KNOWN,
    Row,
    Spans,
    bar,
    figures_strip,
    figures_words,
    heading_line,
    middle_words,
    padded,
    percent,
    seconds,
    shares_strip,
    squeezed,
)
from trainer.screens.figure_parts import NOTHING, GridView, ListView, Subject
from trainer.screens.summary import share_words, time_words


def _figure_columns(each: Figures, *, timed: bool = True) -> tuple[str, str, str]:
    return str(each.attempts) if each.attempts else NONE, share_words(each), time_words(each) if timed else NOT_KNOWN


_LISTED: Final = (("voicings", "voicing"), ("sets", "set"))


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
        self._timed = False
        self._shares: dict[str, Share] | None = None
        self._what: list[tuple[str, str]] = []
        self._shown: tuple[str, str, Only] | None = None
        """What the strip is of."""

    def questions(self) -> Iterator[None]:
        kept = self._what[self.chosen] if self._what else ("", "")
        self.rows, self._what, self._shown = [], [], None
        all_of_it = whole(self.source, self.only, times=False)
        self._row(Row("everything", _figure_columns(all_of_it, timed=False)), "", "", kept)
        self.chosen = 0
        yield
        for heading, by in _LISTED:
            self._row(Row(heading, heading=True), "", heading, kept)
            for name, each in figures_each(self.source, by, self.only, times=False).items():
                words = pretty_degrees(name) if by == "voicing" else name
                self._row(Row(words, _figure_columns(each, timed=False)), by, name, kept)
            yield
        missed = self.source.misses(("cause",), self.only)
        if missed:
            self._row(Row("causes of misses", heading=True), "", "causes", kept)
        for code, count in ranked({code: count for (code,), count in missed.items()}).items():
            share = f"{100 * count / all_of_it.attempts:.1f} % of tries" if all_of_it.attempts else ""
            self._row(Row(_cause(code), (str(count), share, "")), "cause", code, kept)
        yield
        # Times take longer than counts.
        self._fill_in("", {"": whole(self.source, self.only)})
        for _, by in _LISTED:
            yield
            self._fill_in(by, figures_each(self.source, by, self.only))

    def _row(self, row: Row, kind: str, name: str, kept: tuple[str, str]) -> None:
        """Add a row; the one that was chosen before is chosen again."""
        self.rows.append(row)
        self._what.append((kind, name))
        if (kind, name) == kept:
            self.chosen = len(self.rows) - 1

    def _fill_in(self, kind: str, found: Mapping[str, Figures]) -> None:
        """Put the times into rows that have been there without."""
        for at, (of_kind, name) in enumerate(self._what):
            if of_kind == kind and name in found and not self.rows[at].heading:
                self.rows[at] = replace(self.rows[at], columns=_figure_columns(found[name]))

    def lines(self, width: int, height: int) -> list[Spans]:
        strip = self._strip(width, max(1, min(9, height - 3, height // 2 if height < 18 else 9)))
        gap: list[Spans] = [[]] if height >= 12 else []
        if height >= 18:
            gap.append(heading_line(_FIGURE_HEADINGS, width, _FIGURE_WIDTHS))
        first = len(strip) + len(gap)
        return [*strip, *gap, *self.list_of(width, max(0, height - first), first, _FIGURE_WIDTHS)]

    def taken(self) -> None:
        if not self._what or self._shown == (*self._what[self.chosen], self.only):
            return
        kind, name = self._what[self.chosen]
        self._shown = (kind, name, self.only)
        if kind == "cause":
            self._shares, self._details = cause_by_root(self.source, name, self.only), None
            return
        narrowed = self._narrowed(kind, name)
        self._shares, self._timed = None, False
        self._roots = roots(self.source, narrowed, times=False)
        self._details = self._times_of(narrowed)

    def _times_of(self, only: Only) -> Iterator[None]:
        self._roots, self._timed = roots(self.source, only), True
        yield

    def _strip(self, width: int, most: int) -> list[Spans]:
        if self._shares is not None:
            return shares_strip(self._shares, width, most)
        return figures_strip(self._roots, width, self.now, most, timed=self._timed)

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


class TableView(GridView):
    """Every kind of voicing on the twelve roots, by accuracy, by what is sure of it, by time, or by tries."""

    word = "Voicings"
    further = "Other figure"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.measure = 0
        self.table: tuple[TableRow, ...] = ()
        self._timed: dict[tuple[str, str], TableRow] = {}
        """Rows with their times: those that were looked at, and all where times are what is shown."""

    def questions(self) -> Iterator[None]:
        self._timed = {}
        self.table = voicing_cells(self.source, self.only)
        yield

    @property
    def count(self) -> int:
        return len(self.table)

    def taken(self) -> None:
        wanted = [self.table[self.chosen]] if self.table else []
        if self._times_shown:
            wanted += self.table
        missing = [row for row in dict.fromkeys(wanted) if (row.voicing, row.quality) not in self._timed]
        self._details = self._times_of(missing) if missing else None

    def _times_of(self, rows: Sequence[TableRow]) -> Iterator[None]:
        for row in rows:
            only = replace(self.only, voicings=(row.voicing,), qualities=(row.quality,))
            own = replace(row, whole=whole(self.source, only), roots=roots(self.source, only))
            self._timed[row.voicing, row.quality] = own
            yield

    @property
    def _times_shown(self) -> bool:
        return _MEASURES[self.measure][0].startswith("time")

    def more(self) -> None:
        self.measure = (self.measure + 1) % len(_MEASURES)
        self.taken()

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.table:
            return [[(NOTHING, "text")]]
        heading, text_of = _MEASURES[self.measure]
        rows = [self._timed.get((row.voicing, row.quality), row) for row in self.table]
        row = rows[self.chosen]
        cell = row.roots[self.root]
        known = (row.voicing, row.quality) in self._timed
        told = f"{item_words(row.voicing, row.quality, cell.root)}: {figures_words(cell, self.now, timed=known)}"
        return self.grid(
            [kind_words(each.voicing, each.quality) for each in rows],
            [[self._cell_text(each, one, text_of) for one in each.roots] for each in rows],
            [self._cell_text(each, each.whole, text_of) for each in rows],
            width,
            height,
            told,
            f"{heading[0].upper()}{heading[1:]}",
        )

    def _cell_text(self, row: TableRow, each: Figures, text_of: Callable[[Figures, int], str]) -> str:
        if self._times_shown and each.attempts and (row.voicing, row.quality) not in self._timed:
            return NOT_KNOWN
        return text_of(each, 4)

    @property
    def subject(self) -> Subject | None:
        return _item_subject(self, self.table[self.chosen]) if self.table else None


def _item_subject(view: GridView, row: TableRow | StandingRow) -> Subject:
    root = TWELVE[view.root]
    only = replace(view.only, voicings=(row.voicing,), qualities=(row.quality,), roots=(root,))
    return Subject(item_words(row.voicing, row.quality, root), only)


_KINDS_AT_ONCE: Final = 5

_STATE_SIGNS: Final = {LEARNED: "●", PRACTISED: "○", NOT_YET: NONE}


class LearnedView(GridView):
    """What is learned beside what is merely practised."""

    word = "Learned"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.table: tuple[StandingRow, ...] = ()
        self.standings: dict[Item, Standing] = {}

    def questions(self) -> Iterator[None]:
        self.table, self.standings = (), {}
        kinds = sorted(self.source.tallies(("voicing", "quality"), self.only, times=False))
        for first in range(0, len(kinds), _KINDS_AT_ONCE):
            for voicing, quality in kinds[first : first + _KINDS_AT_ONCE]:
                only = replace(self.only, voicings=(voicing,), qualities=(quality,))
                self.standings.update(self.source.standings(only))
                self.table += standing_table(self.source, only)
            yield

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

    def questions(self) -> Iterator[None]:
        by = _PARTS_BY[self.by]
        self.rows, self._splits = [Row("everything")], [time_parts(self.source, self.only)]
        yield
        each = time_parts_each(self.source, by, self.only)
        names = [root for root in TWELVE if root in each] if by == "root" else list(each)
        written = {"voicing": pretty_degrees, "root": pretty}.get(by, shown)
        self.rows += [Row(written(name)) for name in names]
        self._splits += [each[name] for name in names]

    def more(self) -> None:
        self.by = (self.by + 1) % len(_PARTS_BY)
        self.again()

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


_MISSED: Final[tuple[tuple[str, Callable[[str], str]], ...]] = (
    ("cause", lambda code: CAUSES.get(code, code)),
    ("degree", pretty),
    ("root", pretty),
    ("voicing", pretty_degrees),
)


class MissesView(ListView):
    """What was missed, by cause, degree, root and voicing, the most frequent first."""

    word = "Misses"

    def __init__(self, source: Tallies, now: datetime) -> None:
        super().__init__(source, now)
        self.total = 0
        self._counts: list[int] = []

    def questions(self) -> Iterator[None]:
        self.rows, self._counts = [], []
        self.total = self.source.misses((), self.only).get((), 0)
        for by, words in _MISSED:
            counts = ranked({key[0]: count for key, count in self.source.misses((by,), self.only).items()})
            if counts:
                self.rows.append(Row(f"by {by}", heading=True))
                self._counts.append(0)
            for name, count in counts.items():
                self.rows.append(Row(words(name)))
                self._counts.append(count)
            yield

    def lines(self, width: int, height: int) -> list[Spans]:
        if not self.total:
            return [[("No miss in what is asked for.", "text")]]
        head: list[Spans] = []
        if height >= 8:
            words = f"{self.total} wrong first tries; each counts by its cause and by every degree it missed."
            head = [[(fitted(words, width), "faint")]]
        room = height - len(head)
        top = self._scrolled(len(head), room)
        name_room = max(6, min(38, width // 2 - 4))
        bar_room = max(0, width - name_room - 16)
        most = max(self._counts, default=0)
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
