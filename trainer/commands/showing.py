"""What there is to see: MIDI ports, and figures from the record."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, NO, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import Store
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.progress import RootFigures


def ports(options: argparse.Namespace) -> int:
    from trainer.inputs.ports import list_ports

    listing = list_ports()
    if options.json:
        print(json_line({"backend": listing.backend, "ports": list(listing.names), "problem": listing.problem}))
    elif listing.names:
        for name in listing.names:
            print(name)
    else:
        print(listing.problem or "No MIDI port found. Switch the piano on and connect its USB socket.")
    return DONE if listing.names else NO


def progress(options: argparse.Namespace) -> int:
    from trainer.progress import by_root, causes
    from trainer.storage.files import StorageError

    store = Store(options.records)
    try:
        wanted = (options.set or "").casefold()
        kept = store.records.attempts(with_events=False)
        attempts = [attempt for attempt in kept if wanted in attempt.set_title.casefold()]
    except StorageError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    rows = by_root(attempts)
    if options.json:
        for row in rows:
            print(json_line(asdict(row)))
        return DONE
    for line in _progress_lines(rows):
        print(line)
    missed = causes(attempts).cause
    if missed:
        from trainer.grading import CAUSES

        print("\nMisses by cause")
        for code, count in missed.items():
            print(f"  {count:>4}  {CAUSES.get(code, code)}")
    return DONE


def _progress_lines(rows: Sequence[RootFigures]) -> Iterator[str]:
    from trainer.pitch import pretty
    from trainer.progress import to_ten_ms

    yield "root  right at the first try        response time (median, 95 % interval)"
    for row in rows:
        share = "not played yet"
        if row.accuracy is not None and row.low is not None and row.high is not None:
            sure = f"({100 * row.low:.0f}-{100 * row.high:.0f} %)"
            share = f"{row.right} of {row.attempts}  {100 * row.accuracy:3.0f} %  {sure}"
        times = "" if not row.attempts else "not enough yet"
        if row.median_ms is not None and row.median_low_ms is not None and row.median_high_ms is not None:
            shown = [
                f"{to_ten_ms(value) / 1000:.2f}" for value in (row.median_ms, row.median_low_ms, row.median_high_ms)
            ]
            times = f"{shown[0]} s ({shown[1]}-{shown[2]} s)"
        yield f"{pretty(row.root):<4}  {share:<30}{times}".rstrip()


def _ports_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object")


def _progress_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--set", metavar="TITLE", help="only attempts of sets with this in their title")
    parser.add_argument("--records", metavar="FILE", help="read the record from this file")
    parser.add_argument("--json", action="store_true", help="one JSON object for each root")


COMMANDS: Final = (
    CommandRow(
        "ports",
        ports,
        "list the MIDI ports",
        "  trainer ports\n  trainer ports --json",
        _ports_arguments,
    ),
    CommandRow(
        "progress",
        progress,
        "show accuracy and response time by root",
        "  trainer progress\n  trainer progress --set 'minor sevenths' --json",
        _progress_arguments,
    ),
)
