"""`trainer report`: what was practised in a period and what to work on next, as one web page or a PDF file."""

from __future__ import annotations

import argparse
import sys
from calendar import monthrange
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.commands.counting import day_of, named, student_of
from trainer.commands.refusals import DONE, NO, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import Store

if TYPE_CHECKING:
    from trainer.progress import Only, Tallies
    from trainer.sheets.documents import Document
    from trainer.sheets.reports import Asked
    from trainer.timing import PassRecord

KINDS: Final = (".html", ".pdf")
_LIBRARIES: Final = ("verovio", "fontTools", "brotli")


def report(options: argparse.Namespace) -> int:
    """Write the report, and say on standard error where it is."""
    from trainer.storage.files import StorageError, write_bytes_atomically

    path = Path(options.output)
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise Refusal(f"{path.name!r} is no kind of report; let it end in .html or .pdf", USED_WRONGLY)
    since, until = _period(options)
    if path.exists() and not options.replace:
        raise Refusal(f"{str(path)!r} is there already; name another file with --output, or add --replace")
    if kind == ".pdf":
        _require_print(path)
    store = Store(options.records)
    try:
        document = _document(options, store, since, until)
        data = _web_page(document) if kind == ".html" else _pdf(document, options.paper)
        write_bytes_atomically(path, data)
    except StorageError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    print(f"written: {path}", file=sys.stderr)
    return DONE


def _period(options: argparse.Namespace) -> tuple[date | None, date | None]:
    if options.month is not None:
        if options.since or options.until:
            raise Refusal("--month is a period of its own; leave --since and --until out", USED_WRONGLY)
        try:
            first = date.fromisoformat(f"{options.month}-01" if len(options.month) == 7 else "")
        except ValueError:
            raise Refusal(f"--month {options.month!r} is no month; write it as 2026-03", USED_WRONGLY) from None
        return first, first.replace(day=monthrange(first.year, first.month)[1])
    since = day_of(options.since, "--since") if options.since else None
    until = day_of(options.until, "--until") if options.until else None
    if since and until and since > until:
        raise Refusal(f"--since {since} is after --until {until}; put the earlier day first", USED_WRONGLY)
    return since, until


def _require_print(path: Path) -> None:
    missing = [name for name in _LIBRARIES if find_spec(name) is None]
    if missing:
        raise Refusal(
            f"a PDF needs what is not installed here ({', '.join(missing)}); in the program's folder: "
            f"python -m pip install '.[print]'. Without it, --output {path.stem}.html writes a page that prints too",
            UNUSABLE,
        )


def _document(options: argparse.Namespace, store: Store, since: date | None, until: date | None) -> Document:
    from trainer.progress import Remembered
    from trainer.progress.practice import practice_seconds
    from trainer.sheets.reports import Asked, report

    student = student_of(options, store)
    source = Remembered(store.counted(student))
    asked = Asked(datetime.now(UTC).date(), options.player or student or "", since, until)
    begin, end = asked.only.since or None, asked.only.until or None
    passes = list(store.records.passes(since=begin, until=end, student=student, with_events=False))
    asked, passes = _of_sets(options.set, source, asked, passes)
    if not source.tallies((), asked.only) and not passes:
        raise Refusal(f"nothing was played in this period ({asked.period.lower()}), so there is nothing to report", NO)
    return report(source, passes, practice_seconds(_moments(store, asked.only, student), passes), asked)


def _of_sets(
    wanted: str | None, source: Tallies, asked: Asked, passes: list[PassRecord]
) -> tuple[Asked, list[PassRecord]]:
    """The question and the passes, narrowed to the sets and forms with a name like the one wanted."""
    from dataclasses import replace

    if wanted is None:
        return asked, passes
    titles = dict.fromkeys([*source.found().sets, *sorted(record.title for record in passes)])
    sets = named(wanted, tuple(titles), "set")
    return replace(asked, sets=sets), [record for record in passes if record.title in sets]


def _moments(store: Store, only: Only, student: str | None) -> Iterator[tuple[str, str]]:
    """Session and time of each answer asked for."""
    for attempt in store.records.answers(only.since or None, student=student):
        if only.until and attempt.utc >= only.until:
            return
        if attempt.counts and only.admits(attempt):
            yield attempt.session, attempt.utc


def _web_page(document: Document) -> bytes:
    from trainer.sheets.web_pages import web_page

    return web_page(document).encode("utf-8")


def _pdf(document: Document, paper: str) -> bytes:
    from trainer.sheets.pdf import pdf
    from trainer.sheets.report_pages import document_pages

    return pdf(document_pages(document, paper))


def _report_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--output", metavar="FILE", required=True, help="where to: a file that ends in .html or .pdf")
    parser.add_argument("--player", metavar="NAME", default="", help="whose name stands on it (default: none)")
    parser.add_argument("--student", metavar="NAME", help="of a student whose results were collected, not your own")
    parser.add_argument("--month", metavar="MONTH", help="of one month, as in 2026-03")
    parser.add_argument("--since", metavar="DAY", help="from this day on, as in 2026-03-01 (days are those of UTC)")
    parser.add_argument("--until", metavar="DAY", help="up to this day, and on it")
    parser.add_argument("--set", metavar="TITLE", help="only sets and forms with this in their title")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="of a PDF (default: A4)")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--records", metavar="FILE", help="read the record from this file")


COMMANDS: Final[Sequence[CommandRow]] = (
    CommandRow(
        "report",
        report,
        "write a report of practice: what is learned, how surely, and what to work on next",
        "  trainer report --month 2026-03 --output march.html\n"
        "  trainer report --player 'A. Student' --since 2026-01-01 --until 2026-03-31 --output spring.pdf\n"
        "  trainer report --student Ada --month 2026-03 --output ada-march.pdf\n"
        "  trainer report --set 'minor sevenths' --output sevenths.pdf --paper Letter",
        _report_arguments,
    ),
)
