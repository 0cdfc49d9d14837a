"""`trainer progress`: figures of the record, as a table for people, JSON lines or CSV for machines.

Columns are the same in JSON and CSV; `COLUMNS` says what each holds. Days are those of UTC.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, NO, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import Store
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.progress import Figures, Found, Only, Tallies
    from trainer.timing import PassRecord

Row = dict[str, Any]

COLUMNS: Final = {
    "root": "the root, under its name among the twelve",
    "voicing": "the voicing, by family or by its degrees from the bottom up",
    "quality": "what stands after the root in the chord's symbol",
    "day": "a day (UTC)",
    "cause": "why first tries were wrong: a stable code",
    "words": "the cause in words",
    "title": "the form or lesson",
    "section": "its section; empty for the whole",
    "key": "the key, minor ones with m",
    "attempts": "prompts that were decided, right or wrong",
    "right": "right at the first try with nothing shown",
    "accuracy": "right / attempts, 0 to 1",
    "count": "first tries that were wrong in this way",
    "share": "count / attempts, 0 to 1",
    "low": "lower end of the 95 % interval (Wilson) of accuracy, share or clean passes",
    "high": "its upper end",
    "times": "response times behind the median: the latest 100 that count",
    "median_ms": "median response time, prompt to last note-on; empty under six times",
    "median_low_ms": "lower end of its 95 % interval (order statistics)",
    "median_high_ms": "its upper end",
    "last_utc": "when it was last answered",
    "days": "days on which it was practised",
    "learned": "still right at first on another day than the one it was first right on",
    "tempo_bpm": "highest tempo with a clean pass, beats a minute; empty where none was clean",
    "first_utc": "when it was first clean at that tempo",
    "passes": "whole passes at that tempo (in all, where none was clean)",
    "clean": "clean ones among them",
}
"""What each column of `--json` and `--csv` holds."""

_FIGURES: Final = ("attempts", "right", "accuracy", "low", "high", "times") + (
    "median_ms",
    "median_low_ms",
    "median_high_ms",
    "last_utc",
)


# -- what is asked for


def day_of(text: str, option: str) -> date:
    """A day as it is given on the command line. Raises `Refusal`."""
    try:
        return date.fromisoformat(text if len(text) == 10 else "")
    except ValueError:
        raise Refusal(f"{option} {text!r} is no day; write it as 2026-03-01", USED_WRONGLY) from None


def only_of(options: argparse.Namespace, found: Found) -> Only:
    """What the options ask for. Raises `Refusal` where nothing in the record has such a name."""
    from trainer.progress import Only

    since = day_of(options.since, "--since") if options.since else None
    until = day_of(options.until, "--until") if options.until else None
    if since and until and since > until:
        raise Refusal(f"--since {since} is after --until {until}; put the earlier day first", USED_WRONGLY)
    return Only(
        since=since.isoformat() if since else "",
        until=(until + timedelta(days=1)).isoformat() if until and until < date.max else "",
        sets=named(options.set, found.sets, "set"),
        ports=named(options.port, found.ports, "port"),
        voicings=named(options.voicing, tuple(dict.fromkeys(kind[0] for kind in found.kinds)), "voicing"),
    )


def student_of(options: argparse.Namespace, store: Store) -> str | None:
    """The student asked for; None for the player. Raises `Refusal` where nobody of that name has handed anything in."""
    if options.student is None:
        return None
    found = named(options.student, store.records.students(), "student")
    if len(found) > 1:
        raise Refusal(f"several students are called like that: {'; '.join(map(_printable, found))}", USED_WRONGLY)
    return found[0]


def _plain(text: str) -> str:
    return text.casefold().replace("♭", "b").replace("♯", "#")


def named(wanted: str | None, names: Sequence[str], what: str) -> tuple[str, ...]:
    """The names that are the one wanted, else those it is a part of; () where none is wanted."""
    if wanted is None:
        return ()
    part = _plain(wanted)
    fitting = tuple(name for name in names if _plain(name) == part) or tuple(
        name for name in names if part in _plain(name)
    )
    if not fitting:
        there = "; ".join(_printable(name) for name in names) or "nothing yet"
        raise Refusal(f"no {what} in the record is called {wanted!r}; there is: {there}", NO)
    return fitting


def _printable(text: str) -> str:
    from trainer.drills.values import printable

    return printable(text)


# -- rows


def _figures(each: Figures) -> Row:
    return {name: getattr(each, name) for name in _FIGURES}


def _by_root(source: Tallies, only: Only) -> Iterator[Row]:
    from trainer.progress import roots

    for row in roots(source, only):
        yield {"root": row.root, **_figures(row)}


def _by_item(source: Tallies, only: Only) -> Iterator[Row]:
    from trainer.progress import voicing_table

    standings = source.standings(only)
    for row in voicing_table(source, only):
        for cell in row.roots:
            if cell.attempts:
                standing = standings[row.voicing, row.quality, cell.root]
                item = {"voicing": row.voicing, "quality": row.quality, "root": cell.root}
                yield {**item, **_figures(cell), "days": standing.days, "learned": standing.learned}


def _by_voicing(source: Tallies, only: Only) -> Iterator[Row]:
    from trainer.progress import voicing_table

    for row in voicing_table(source, only):
        yield {"voicing": row.voicing, "quality": row.quality, **_figures(row.whole)}


def _by_day(source: Tallies, only: Only) -> Iterator[Row]:
    from trainer.progress import curve

    for point in curve(source, only):
        yield {"day": point.day, **_figures(point)}


def _by_cause(source: Tallies, only: Only) -> Iterator[Row]:
    from trainer.grading import CAUSES
    from trainer.progress import cause_shares

    for code, share in cause_shares(source, only).items():
        yield {"cause": code, "words": CAUSES.get(code, code), **asdict(share)}


def _by_key(passes: Sequence[PassRecord]) -> Iterator[Row]:
    from trainer.progress import tempo_table

    for row in tempo_table(passes):
        for cell in row.keys:
            if cell is not None:
                values = asdict(cell)
                values["key"] += "m" if row.minor else ""
                yield {"title": row.title, "section": row.section, **values}


@dataclass(frozen=True, slots=True)
class Grouping:
    """One choice of `--by`: its columns, and its rows."""

    columns: tuple[str, ...]
    rows: Callable[[Tallies, Only], Iterator[Row]]


_KEY_COLUMNS: Final = ("title", "section", "key", "tempo_bpm", "first_utc", "passes", "clean", "low", "high")

GROUPINGS: Final[Mapping[str, Grouping]] = {
    "root": Grouping(("root", *_FIGURES), _by_root),
    "item": Grouping(("voicing", "quality", "root", *_FIGURES, "days", "learned"), _by_item),
    "voicing": Grouping(("voicing", "quality", *_FIGURES), _by_voicing),
    "cause": Grouping(("cause", "words", "attempts", "count", "share", "low", "high"), _by_cause),
    "day": Grouping(("day", *_FIGURES), _by_day),
}
"""What `--by` may be, but for ``key``, which is of passes and not of attempts."""


def progress(options: argparse.Namespace) -> int:
    from trainer.storage.files import StorageError

    store = Store(options.records)
    misses: list[Row] = []
    try:
        if options.by == "key":
            columns: tuple[str, ...] = _KEY_COLUMNS
            rows = list(_by_key(asked_passes(options, store)))
        else:
            source = store.counted(student_of(options, store))
            grouping = GROUPINGS[options.by]
            columns = grouping.columns
            only = only_of(options, source.found())
            rows = list(grouping.rows(source, only))
            if options.by == "root" and not (options.json or options.csv):
                misses = list(_by_cause(source, only))
    except StorageError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    if options.json:
        for row in rows:
            print(json_line({name: row[name] for name in columns}))
    elif options.csv:
        _write_csv(columns, rows)
    else:
        _print_table(options.by, columns, rows)
        if misses:
            print("\nMisses by cause")
            _print_table("cause", GROUPINGS["cause"].columns, misses)
    return DONE


def asked_passes(options: argparse.Namespace, store: Store) -> list[PassRecord]:
    """The passes that the options ask for, oldest first. Raises `Refusal`."""
    if options.voicing:
        raise Refusal("tempos are of whole forms, not of voicings; leave --voicing out", USED_WRONGLY)
    since = day_of(options.since, "--since").isoformat() if options.since else None
    until = day_of(options.until, "--until") if options.until else None
    end = (until + timedelta(days=1)).isoformat() if until and until < date.max else None
    student = student_of(options, store)
    found = list(store.records.passes(since=since, until=end, student=student, with_events=False))
    titles = named(options.set, tuple(sorted({one.title for one in found})), "form")
    ports = named(options.port, tuple(sorted({one.port for one in found})), "port")
    return [one for one in found if (not titles or one.title in titles) and (not ports or one.port in ports)]


# -- how it is written


def _write_csv(columns: Sequence[str], rows: Sequence[Row]) -> None:
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_csv_cell(row[name]) for name in columns])


def _csv_cell(value: object) -> object:
    """A cell that no spreadsheet takes for a formula: such a text gets an apostrophe in front.

    Source: OWASP, CSV Injection (the characters that begin a formula).
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str):
        return value
    text = "".join(sign if sign.isprintable() else "\ufffd" for sign in value)
    return f"'{text}" if value[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠") else text


def _print_table(by: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
    if not rows:
        print("Nothing was played in what is asked for.")
        return
    names = [
        name for name in columns if name in ("root", "voicing", "quality", "day", "words", "title", "section", "key")
    ]
    table = [[*(_shown_name(name, row[name]) for name in names), *_shown_figures(by, row)] for row in rows]
    headings = [*(_HEADINGS.get(name, name) for name in names), *_FIGURE_HEADINGS[by if by in _FIGURE_HEADINGS else ""]]
    widths = [max(len(line[at]) for line in [headings, *table]) for at in range(len(headings))]
    for line in [headings, *table]:
        print("  ".join(f"{text:<{width}}" for text, width in zip(line, widths, strict=True)).rstrip())


_HEADINGS: Final = {"words": "cause"}
_FIGURE_HEADINGS: Final = {
    "": ("right at the first try", "response time (median, 95 % interval)"),
    "item": ("right at the first try", "response time (median, 95 % interval)", "standing"),
    "cause": ("times", "share of first tries (95 % interval)"),
    "key": ("highest clean tempo", "clean passes at it"),
}


def _shown_name(column: str, value: str) -> str:
    from trainer.chords.words import pretty_degrees
    from trainer.pitch import pretty
    from trainer.progress.words import quality_sign

    if column in ("root", "key"):
        return pretty(value)
    if column == "quality":
        return quality_sign(value)
    return pretty_degrees(_printable(value)) if column == "voicing" else _printable(value)


def _shown_figures(by: str, row: Row) -> list[str]:
    if by == "cause":
        return [str(row["count"]), _share(row["share"], row["low"], row["high"])]
    if by == "key":
        tempo = "none yet" if row["tempo_bpm"] is None else f"{row['tempo_bpm']:g}"
        return [tempo, f"{row['clean']} of {row['passes']}"]
    share = "not played yet"
    if row["accuracy"] is not None:
        share = f"{row['right']} of {row['attempts']}  {_share(row['accuracy'], row['low'], row['high'])}"
    shown = [share, _time(row)]
    if by == "item":
        days = f"{row['days']} {'day' if row['days'] == 1 else 'days'}"
        shown.append(f"learned, {days}" if row["learned"] else f"practised, {days}")
    return shown


def _share(share: float, low: float, high: float) -> str:
    return f"{100 * share:3.0f} %  ({100 * low:.0f}-{100 * high:.0f} %)"


def _time(row: Row) -> str:
    from trainer.progress import to_ten_ms

    if row["median_ms"] is None:
        return "not enough yet" if row["attempts"] else ""
    middle, low, high = (to_ten_ms(row[name]) / 1000 for name in ("median_ms", "median_low_ms", "median_high_ms"))
    return f"{middle:.2f} s ({low:.2f}-{high:.2f} s)"


# -- arguments


def period_arguments(parser: argparse.ArgumentParser) -> None:
    """The options that narrow what is counted."""
    parser.add_argument("--since", metavar="DAY", help="from this day on, as in 2026-03-01 (days are those of UTC)")
    parser.add_argument("--until", metavar="DAY", help="up to this day, and on it")
    parser.add_argument("--set", metavar="TITLE", help="only sets with this in their title (forms, with --by key)")
    parser.add_argument("--port", metavar="NAME", help="only what was played at a port with this in its name")
    parser.add_argument("--voicing", metavar="NAME", help="only voicings of this name, or with this in it: 'b7 3 13'")
    parser.add_argument("--student", metavar="NAME", help="of a student whose results were collected, not your own")
    parser.add_argument("--records", metavar="FILE", help="read the record from this file")


def _progress_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", choices=(*GROUPINGS, "key"), default="root", help="what makes a row (default: root)")
    period_arguments(parser)
    machine = parser.add_mutually_exclusive_group()
    machine.add_argument("--json", action="store_true", help="one JSON object for each row")
    machine.add_argument("--csv", action="store_true", help="comma-separated values with a line of headings")


def _columns_told() -> str:
    width = max(map(len, COLUMNS))
    return "\n".join(f"  {name:<{width}}  {meaning}" for name, meaning in COLUMNS.items())


COMMANDS: Final = (
    CommandRow(
        "progress",
        progress,
        "show accuracy and response time by root, voicing, item or day, causes of misses, tempo by key",
        "  trainer progress\n  trainer progress --by item --set 'minor sevenths' --since 2026-03-01\n"
        "  trainer progress --by cause --voicing 'rootless from the third'\n"
        "  trainer progress --by key\n  trainer progress --by day --csv > days.csv\n\n"
        f"columns of --json and --csv:\n{_columns_told()}",
        _progress_arguments,
    ),
)
