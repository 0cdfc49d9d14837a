"""A report of practice: what was practised in a period, what is learned, how surely, and what to work on next.

It is made from what a record holds (`trainer.progress.Tallies`), so that every figure is the one that the screen and
the command line show. What comes from outside (names of a player, of sets, of forms) stands in it as data: `clean`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
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
    DayFigures,
    Figures,
    Item,
    Only,
    RootFigures,
    Share,
    SlowRoots,
    Tallies,
    TempoRow,
    cause_shares,
    curve,
    mistakes,
    roots,
    slow_roots,
    standing_table,
    tempo_table,
    time_parts,
    time_parts_each,
    voicing_table,
    whole,
)
from trainer.progress.tables import TWELVE
from trainer.progress.words import WORK_ON, item_words, kind_in_words, quality_sign
from trainer.sheets.documents import Block, Document, Figure, Paragraph, Points, Section, Table
from trainer.sheets.drawings import clean
from trainer.sheets.report_figures import bars_figure, days_figure, roots_figure, standing_figure, tempo_figure
from trainer.timing import InTimeFigures, PassRecord, in_time_by

MOST_STRIPS: Final = 12
"""Kinds of voicings that get a strip of their own, the most practised first; the table has all of them."""

MOST_DAYS: Final = 62
_CAUSES_TOLD: Final = 3
_ITEMS_TOLD: Final = 12
_NOTHING: Final = "–"


@dataclass(frozen=True, slots=True)
class Asked:
    """Of whom and of what: the player's name ("" where it is not to stand there), a period (both days included; None
    leaves its side open), titles of sets (() for all), and the day on which the report is made."""

    made: date
    player: str = ""
    since: date | None = None
    until: date | None = None
    sets: tuple[str, ...] = ()

    @property
    def only(self) -> Only:
        """What is asked of the record."""
        end = self.until + timedelta(days=1) if self.until is not None and self.until < date.max else None
        return Only(
            since=self.since.isoformat() if self.since else "", until=end.isoformat() if end else "", sets=self.sets
        )

    @property
    def period(self) -> str:
        """The period in words."""
        if self.since is None and self.until is None:
            return f"Everything up to {self.made.isoformat()}"
        if self.since is not None and self.until is not None:
            return f"{self.since.isoformat()} to {self.until.isoformat()}"
        return f"From {self.since.isoformat()} on" if self.since else f"Up to {self.until}"


def report(source: Tallies, passes: Sequence[PassRecord], seconds: Mapping[str, float], asked: Asked) -> Document:
    """The report. `passes` are those of the period, `seconds` the practice of each of its days."""
    below = [f"Period: {asked.period}"]
    if asked.sets:
        below.append(f"Sets: {', '.join(map(clean, asked.sets))}")
    if asked.player:
        below.insert(0, f"Player: {clean(asked.player)}")
    below.append(f"Made on {asked.made.isoformat()}. Days are those of UTC.")
    only = asked.only
    sections = [_in_short(source, passes, seconds, asked)]
    if whole(source, only).attempts:
        sections += [
            _learned(source, only),
            _twelve_roots(source, only),
            _slowest(source, only),
            _work_on(source, only),
            _where_time_goes(source, only),
            _day_by_day(source, only),
        ]
    if passes:
        sections.append(_in_time(passes))
    sections.append(_method())
    return Document("Practice report", tuple(below), tuple(section for section in sections if section.blocks))


# -- words


def _percent(share: float, low: float, high: float) -> str:
    return f"{100 * share:.0f} % ({100 * low:.0f}–{100 * high:.0f})"


def right_words(each: Figures) -> str:
    """Accuracy with its interval: ``83 % (55–95)``; a dash where nothing counts."""
    if each.accuracy is None or each.low is None or each.high is None:
        return _NOTHING
    return _percent(each.accuracy, each.low, each.high)


def time_words(each: Figures) -> str:
    """The median time with its interval: ``1.42 s (1.10–2.01)``; that there is too little to say under six times."""
    if each.median_ms is None or each.median_low_ms is None or each.median_high_ms is None:
        return "not enough yet" if each.attempts else _NOTHING
    return _seconds_words(Middle(each.times, each.median_ms, each.median_low_ms, each.median_high_ms))


def _seconds_words(middle: Middle | None) -> str:
    if middle is None:
        return "not enough yet"
    return f"{middle.median / 1000:.2f} s ({middle.low / 1000:.2f}–{middle.high / 1000:.2f})"


def counted(count: int, one: str, many: str = "") -> str:
    """
    >>> counted(1, "day"), counted(1200, "try", "tries")
    ('1 day', '1,200 tries')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def listed(words: Sequence[str]) -> str:
    """
    >>> listed(["C"]), listed(["C", "F", "G"])
    ('C', 'C, F and G')
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _figure_cells(each: Figures) -> tuple[str, ...]:
    return str(each.attempts), str(each.right), right_words(each), time_words(each), (each.last_utc or _NOTHING)[:10]


_FIGURE_COLUMNS: Final = ("tries", "right at first", "share (95 %)", "median time (95 %)", "last")


# -- sections


def _in_short(source: Tallies, passes: Sequence[PassRecord], seconds: Mapping[str, float], asked: Asked) -> Section:
    only = asked.only
    figures = whole(source, only)
    days = {day for (day,) in source.tallies(("day",), only)} | {record.utc[:10] for record in passes}
    if not days:
        return Section("in-short", "In short", (Paragraph("Nothing was played in this period."),))
    minutes = round(sum(seconds.get(day, 0.0) for day in days) / 60)
    points = [("Practice", f"{counted(len(days), 'day')}, about {counted(minutes, 'minute')} at the keys.")]
    if figures.attempts:
        told = f"{counted(figures.attempts, 'prompt')} answered, {figures.right:,} right at the first try: "
        points.append(("Answers", f"{told}{right_words(figures)}."))
        points.append(
            ("Time", f"{time_words(figures)} from prompt to last note, the latest {figures.times} right ones.")
        )
        points.append(("Learned", _learned_in_short(source, only)))
    if passes:
        clean_ones = sum(record.clean for record in passes)
        points.append(
            ("In time", f"{counted(len(passes), 'pass', 'passes')} through forms, {clean_ones:,} of them clean.")
        )
    return Section("in-short", "In short", (Points(tuple(points)),))


def _learned_in_short(source: Tallies, only: Only) -> str:
    until_then = replace(only, since="")
    now = {item for item, one in source.standings(until_then).items() if one.learned}
    told = f"{counted(len(now), 'voicing')} on their roots still right on another day."
    if not only.since:
        return told
    before = {item for item, one in source.standings(replace(until_then, until=only.since)).items() if one.learned}
    told += f" New in this period: {len(now - before)}"
    names = sorted(now - before)
    if 0 < len(names) <= 3:
        told += f" ({'; '.join(_item(item) for item in names)})"
    return f"{told}. To be won back: {len(before - now)}."


def _item(item: Item) -> str:
    voicing, quality, root = item
    return item_words(clean(voicing), clean(quality), root)


def _short_kind(voicing: str, quality: str) -> str:
    return clean(f"{quality_sign(quality)}: {pretty_degrees(voicing)}")


def _learned(source: Tallies, only: Only) -> Section:
    rows = standing_table(source, replace(only, since=""))
    names = [_short_kind(row.voicing, row.quality) for row in rows]
    totals = {state: sum(row.count(state) for row in rows) for state in (LEARNED, PRACTISED, NOT_YET)}
    table = Table(
        "Learned, practised and not yet, voicing by voicing",
        ("voicing", *map(pretty, TWELVE)),
        tuple((name, *row.roots) for name, row in zip(names, rows, strict=True)),
    )
    told = (
        f"Learned on {totals[LEARNED]} places (a disc), practised on {totals[PRACTISED]} (a ring), "
        f"not yet played on {totals[NOT_YET]} (a dash), at the end of the period."
    )
    shown = [fit_name(name) for name in names]
    figure = Figure("What is learned, on which root", told, standing_figure(shown, rows), table)
    meaning = (
        "Learned means: right at the first try on one day, and still right at the first answer of the latest day on "
        "which it was asked. What was only right within one day is practised."
    )
    return Section("learned", "What is learned", (Paragraph(told), figure, Paragraph(meaning)))


def fit_name(name: str, most: int = 40) -> str:
    """A name for the narrow side of a figure; its end is kept, for names of voicings differ there.

    >>> fit_name("m7: rootless from the seventh, on top of a long name", 30)
    'm7: rootless fr…of a long name'
    """
    half = (most - 1) // 2
    return name if len(name) <= most else f"{name[: most - 1 - half]}…{name[-half:]}"


def _twelve_roots(source: Tallies, only: Only) -> Section:
    meaning = (
        "A dot is the figure, the line through it holds the true one with 95 % certainty: few tries leave it long. A "
        "dash says that there are too few right answers yet."
    )
    blocks: list[Block] = [Paragraph(meaning), _roots_block("All voicings together", roots(source, only))]
    table = voicing_table(source, only)
    ranked = sorted(table, key=lambda row: -row.whole.attempts)[:MOST_STRIPS]
    for row in table:
        if row in ranked and len(table) > 1:
            blocks.append(_roots_block(clean(_capital(kind_in_words(row.voicing, row.quality))), row.roots))
    if len(table) > MOST_STRIPS:
        blocks.append(Paragraph(f"Drawn are the {MOST_STRIPS} most practised voicings; the table has all of them."))
    blocks.append(
        Table(
            "Every voicing, over all its roots",
            ("voicing", *_FIGURE_COLUMNS),
            tuple((_short_kind(row.voicing, row.quality), *_figure_cells(row.whole)) for row in table),
            frozenset(range(1, 6)),
        )
    )
    return Section("roots", "The twelve roots", tuple(blocks))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _roots_block(title: str, rows: Sequence[RootFigures]) -> Figure:
    asked = [row for row in rows if row.attempts]
    told = f"{title}, root by root in the cycle of fourths: "
    told += "; ".join(f"{pretty(row.root)} {right_words(row)} right, {time_words(row)}" for row in asked) or "nothing"
    table = Table(
        f"{title}, root by root",
        ("root", *_FIGURE_COLUMNS),
        tuple((pretty(row.root), *_figure_cells(row)) for row in rows),
        frozenset(range(1, 6)),
    )
    return Figure(title, f"{told}.", roots_figure(rows), table)


def _slowest(source: Tallies, only: Only) -> Section:
    points = []
    for voicing, quality in source.found().kinds:
        slow = slow_roots(source, replace(only, voicings=(voicing,), qualities=(quality,)))
        if slow is not None:
            rows = {row.root: row for row in roots(source, replace(only, voicings=(voicing,), qualities=(quality,)))}
            points.append((clean(_capital(kind_in_words(voicing, quality))), _slow_words(slow, rows)))
    if not points:
        told = "There are not enough times yet to name slow roots: twelve right answers on each root are needed."
        return Section("slowest", "Slow roots", (Paragraph(told),))
    honest = (
        "Compared are the same number of latest right answers on each root. The slowest three are named from twelve "
        "each, the slowest one from twenty each; where intervals overlap, the order may be chance."
    )
    return Section("slowest", "Slow roots", (Points(tuple(points)), Paragraph(honest)))


def _slow_words(slow: SlowRoots, rows: Mapping[str, RootFigures]) -> str:
    named = listed([f"{pretty(root)} {time_words(rows[root])}" for root in slow.roots])
    told = f"Of {len(slow.compared)} roots compared, the slowest {'is' if len(slow.roots) == 1 else 'are'} {named}."
    told += f" Compared were {slow.tries} answers each."
    if slow.slowest is not None and len(slow.roots) > 1:
        told += f" The slowest of all is {pretty(slow.slowest)}."
    if slow.not_yet:
        told += f" Too few yet to compare: {listed([pretty(root) for root in slow.not_yet])}."
    return told


def _work_on(source: Tallies, only: Only) -> Section:
    shares = cause_shares(source, only)
    blocks: list[Block] = []
    if shares:
        by_root, by_voicing = source.misses(("cause", "root"), only), source.misses(("cause", "voicing"), only)
        points = []
        for code in list(shares)[:_CAUSES_TOLD]:
            points.append((_capital(_cause(code)), _cause_told(code, shares[code], by_root, by_voicing)))
        blocks.append(Points(tuple(points)))
        blocks.append(_causes_block(shares))
        degrees = mistakes(source, only).degree
        if degrees:
            total = mistakes(source, only).total
            rows = tuple(
                (pretty(degree), str(count), f"{100 * count / total:.0f} %") for degree, count in degrees.items()
            )
            caption = f"Degrees missed, in {counted(total, 'wrong first try', 'wrong first tries')}"
            blocks.append(Table(caption, ("degree", "missed", "of wrong tries"), rows, frozenset({1, 2})))
    else:
        blocks.append(Paragraph("No first try was wrong in this period."))
    again = _to_take_up(source, only)
    if again is not None:
        blocks.append(again)
    return Section("work-on", "What to work on next", tuple(blocks))


def _cause(code: str) -> str:
    return clean(CAUSES.get(code, code))


def _cause_told(
    code: str,
    share: Share,
    by_root: Mapping[tuple[str, ...], int],
    by_voicing: Mapping[tuple[str, ...], int],
) -> str:
    assert share.share is not None and share.low is not None and share.high is not None
    told = f"{counted(share.count, 'time')} in {counted(share.attempts, 'first try', 'first tries')}, "
    told += f"{_percent(share.share, share.low, share.high)}. "
    where = [pretty(root) for root in _most(by_root, code, 2)]
    voicing = [clean(pretty_degrees(name)) for name in _most(by_voicing, code, 1)]
    told += f"Most on {listed(where)}, and in {voicing[0]}. "
    return told + WORK_ON.get(code, "")


def _most(counts: Mapping[tuple[str, ...], int], code: str, how_many: int) -> list[str]:
    of_code = sorted(((-count, key[1]) for key, count in counts.items() if key[0] == code))
    return [name for _, name in of_code[:how_many]]


def _causes_block(shares: Mapping[str, Share]) -> Figure:
    rows = [(_cause(code), share) for code, share in shares.items()]
    told = "; ".join(f"{name} {share.count} times" for name, share in rows)
    cells = tuple(
        (
            name,
            str(share.count),
            _NOTHING if share.share is None else _percent(share.share, share.low or 0, share.high or 0),
        )
        for name, share in rows
    )
    table = Table("Causes of misses", ("cause", "times", "share of first tries (95 %)"), cells, frozenset({1, 2}))
    drawn = bars_figure([(fit_name(name), share) for name, share in rows])
    return Figure(
        "Why first tries missed (below each bar its 95 % interval)", f"The most frequent first: {told}.", drawn, table
    )


def _to_take_up(source: Tallies, only: Only) -> Table | None:
    """What is practised and not learned, the least sure first."""
    standings = source.standings(replace(only, since=""))
    rows = []
    for row in voicing_table(source, only):
        for cell in row.roots:
            standing = standings.get((row.voicing, row.quality, cell.root))
            if cell.attempts and standing is not None and not standing.learned:
                rows.append((cell.low or 0.0, row, cell))
    if not rows:
        return None
    rows.sort(key=lambda found: found[0])
    return Table(
        f"Not learned yet, the least sure first (of {len(rows)})",
        ("voicing and root", *_FIGURE_COLUMNS),
        tuple(
            (clean(item_words(row.voicing, row.quality, cell.root)), *_figure_cells(cell))
            for _, row, cell in rows[:_ITEMS_TOLD]
        ),
        frozenset(range(1, 6)),
    )


def _where_time_goes(source: Tallies, only: Only) -> Section:
    rows = [("everything", time_parts(source, only))]
    rows += [(clean(pretty_degrees(name)), split) for name, split in time_parts_each(source, "voicing", only).items()]
    cells = tuple(
        (name, *map(_seconds_words, (split.think_ms, split.spread_ms, split.settle_ms))) for name, split in rows
    )
    meaning = (
        "Think: from the prompt to the first key. Spread: from the first key of the chord to its last. Settle: from a "
        "wrong chord to the right one, nothing where it was right at once."
    )
    table = Table("Think, spread and settle", ("voicing", "think", "spread", "settle"), cells, frozenset({1, 2, 3}))
    return Section("time", "Where the time goes", (Paragraph(meaning), table))


def _day_by_day(source: Tallies, only: Only) -> Section:
    points = curve(source, only)
    drawn: Sequence[DayFigures] = points[-MOST_DAYS:]
    told = f"{counted(len(points), 'practice day')}"
    if len(drawn) < len(points):
        told += f", the latest {len(drawn)} of them drawn"
    table = Table(
        "Day by day",
        ("day", *_FIGURE_COLUMNS[:-1]),
        tuple((point.day, *_figure_cells(point)[:-1]) for point in points),
        frozenset(range(1, 5)),
    )
    figure = Figure(
        "Day by day", f"{told}: share right at first, median time and number of prompts.", days_figure(drawn), table
    )
    return Section("days", "Day by day", (figure,))


def _in_time(passes: Sequence[PassRecord]) -> Section:
    blocks: list[Block] = []
    for row in tempo_table(passes):
        blocks.append(_tempo_block(row))
    for by, caption, column in (
        ("voicing", "In time, by voicing", "voicing"),
        ("move", "In time, by move from chord to chord", "move"),
    ):
        found = in_time_by(passes, by)
        if found:
            blocks.append(_steadiness(found, caption, column))
    if blocks:
        meaning = (
            "A pass is clean when every chord was right and the time held. Offset is how early (below 0) or late a "
            "player lies on the whole, scatter how unsteady around it; what the port adds is taken off where it was "
            "measured."
        )
        blocks.append(Paragraph(meaning))
    return Section("in-time", "Forms in time", tuple(blocks))


def _tempo_block(row: TempoRow) -> Figure:
    title = clean(row.title) + (f", section {clean(row.section)}" if row.section else "")
    minor = "m" if row.minor else ""
    cells = [(root, cell) for root, cell in zip(TWELVE, row.keys, strict=True) if cell is not None]
    told = "; ".join(
        f"{pretty(root)}{minor} {'not clean yet' if cell.tempo_bpm is None else f'{cell.tempo_bpm:g}'}"
        for root, cell in cells
    )
    table = Table(
        f"Highest clean tempo of {title}",
        ("key", "beats a minute", "first clean on", "clean passes at it"),
        tuple(
            (
                f"{pretty(root)}{minor}",
                _NOTHING if cell.tempo_bpm is None else f"{cell.tempo_bpm:g}",
                (cell.first_utc or _NOTHING)[:10],
                f"{cell.clean} of {cell.passes}",
            )
            for root, cell in cells
        ),
        frozenset({1, 2, 3}),
    )
    return Figure(f"Highest clean tempo: {title}", f"By key: {told}.", tempo_figure(row), table)


def _steadiness(found: Mapping[str, InTimeFigures], caption: str, column: str) -> Table:
    def cells(name: str, each: InTimeFigures) -> tuple[str, ...]:
        share = _NOTHING
        if each.share is not None and each.low is not None and each.high is not None:
            share = _percent(each.share, each.low, each.high)
        offset = each.offset
        lies = (
            "not enough yet" if offset is None else f"{offset.median:+.0f} ms ({offset.low:+.0f} to {offset.high:+.0f})"
        )
        scatter = _NOTHING if each.scatter_ms is None else f"{each.scatter_ms:.0f} ms"
        return clean(pretty_degrees(name)), str(each.slots), share, lies, scatter

    rows = tuple(cells(name, each) for name, each in sorted(found.items(), key=lambda pair: (-pair[1].slots, pair[0])))
    columns = (column, "chords", "right in time (95 %)", "offset (95 %)", "scatter")
    return Table(caption, columns, rows, frozenset({1, 2, 3, 4}))


_NOTES: Final = (
    (
        "Prompts and tries",
        "A prompt counts once it was decided. Right at first is right at the first try with nothing shown.",
    ),
    (
        "Shares",
        "The brackets hold the 95 % interval of a proportion (Wilson 1927, J. Am. Stat. Assoc. 22; for few tries: "
        "Brown, Cai and DasGupta 2001, Statistical Science 16). Five of five right still means anything from 57 to "
        "100 %.",
    ),
    (
        "Times",
        "From the prompt on the screen to the moment the piano reports the last key of the chord, the delay of "
        f"screen and cable included, shown to 10 ms. The middle one of the latest {LATEST_TIMES} right first tries, "
        "with the exact 95 % interval between order statistics (David and Nagaraja, Order Statistics, 2003, 7.1); "
        "under six there is none. Too early answers, the first after a pause, and answers on the computer's keyboard "
        "have no time.",
    ),
    (
        "Slow roots",
        "Compared by the mean of the logarithms of the same number of latest times on each root (Rousselet and Wilcox "
        "2020; Miller 1988). Times are this player's own and say nothing beside another's: touch and instrument move "
        "them.",
    ),
    (
        "Learned",
        "Still right on another day, as retention is measured (Simmons 2012, J. Research in Music Education 59).",
    ),
    (
        "Causes",
        "What was held is compared with what each likely slip would give, and the simplest explanation is named; two "
        "may give the same keys. What to do about them is common practice of teaching.",
    ),
    (
        "Minutes",
        "Between two answers of one session; of a longer pause one minute counts. Passes count with their length.",
    ),
    (
        "Hands and ears",
        "Stop when something hurts, tingles or goes numb, and see a clinician who treats musicians. Your teacher "
        "knows your hands; this report does not.",
    ),
)


def _method() -> Section:
    return Section("method", "What the figures mean", (Points(_NOTES),))
