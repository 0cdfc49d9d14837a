"""Keeping the record: out into a file and in again, whole or from a damaged file, and graded again."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, NO, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import Store, open_records
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.progress import Attempt
    from trainer.regrading import Regraded
    from trainer.storage.records.salvage import Salvage

CHANGES_TOLD: Final = 12

_PLURALS: Final = {"pass": "passes"}


class _Progress:
    """A line on the terminal that counts what takes longer; nothing where nobody looks."""

    def __init__(self, words: str) -> None:
        self._words = words
        self._shown = sys.stderr.isatty()
        self._width = 0

    def __call__(self, count: int) -> None:
        if self._shown and count % 1000 == 0:
            line = f"{self._words} {count}"
            self._width = len(line)
            print(f"\r{line}", end="", file=sys.stderr, flush=True)

    def close(self) -> None:
        if self._width:
            print(f"\r{' ' * self._width}\r", end="", file=sys.stderr, flush=True)


def _counted(words: str, values: Iterable[Any]) -> Iterator[Any]:
    progress = _Progress(words)
    for count, value in enumerate(values, 1):
        progress(count)
        yield value
    progress.close()


def _told(counts: Counter[str]) -> str:
    """``12 attempts, 1 pass``."""
    parts = [
        f"{count} {kind if count == 1 else _PLURALS.get(kind, f'{kind}s')}" for kind, count in counts.items() if count
    ]
    return ", ".join(parts) or "nothing"


# -- out


def export(options: argparse.Namespace) -> int:
    """Write the whole record to a file or standard output; of a damaged one, what can be read."""
    from trainer.storage.exchange import entries_of, lines_of, write_file
    from trainer.storage.files import StorageError, utc_now
    from trainer.storage.places import Places
    from trainer.storage.records import is_address
    from trainer.storage.settings import read_settings

    counts: Counter[str] = Counter()

    def noted(entries: Iterable[tuple[str, str, Any]]) -> Iterator[tuple[str, str, Any]]:
        for entry in entries:
            counts[entry[0]] += 1
            yield entry

    def write(entries: Iterable[tuple[str, str, Any]]) -> None:
        lines = _counted("written", lines_of(noted(entries), utc_now()))
        if options.output is None:
            for line in lines:
                print(line)
        else:
            write_file(Path(options.output), lines)

    salvage: Salvage | None = None
    try:
        places = Places.found()
        place = options.records or read_settings(places.settings)[0].records or places.records
        if is_address(place):
            with open_records(place) as records:
                write(entries_of(records))
        else:
            salvage = _write_file(Path(place), write)
    except StorageError as error:
        raise Refusal(str(error)) from None
    where = f"written to {options.output}" if options.output is not None else "written"
    print(f"trainer: {_told(counts)} {where}", file=sys.stderr)
    if salvage is not None:
        lost = f"; {salvage.unreadable} rows make no sense and were left out" if salvage.unreadable else ""
        print(f"trainer: what else the damaged file held is lost{lost}", file=sys.stderr)
        return NO
    return DONE


def _write_file(path: Path, write: Callable[[Iterable[tuple[str, str, Any]]], None]) -> Salvage | None:
    """Write out a record in a file; what was met on the way where it is damaged, None where it is sound."""
    from trainer.storage.exchange import entries_of
    from trainer.storage.files import StorageError
    from trainer.storage.records import Records
    from trainer.storage.records.salvage import Salvage

    if not path.exists():
        raise Refusal(f"{path} is not there; there is no record to write out")
    sound = False
    try:
        with Records.open(path) as records:
            sound = records.sound()
            if sound:
                write(entries_of(records))
                return None
    except StorageError as error:
        if sound or error.found != "is damaged":
            raise
    print(f"trainer: {path} is damaged; reading what can be read", file=sys.stderr)
    salvage = Salvage(path)
    write(salvage.entries())
    return salvage


# -- in


def take_in(options: argparse.Namespace) -> int:
    """Add what a file holds to the record: all of it or nothing."""
    from trainer.storage.exchange import ExchangeError
    from trainer.storage.exchange import take_in as taking
    from trainer.storage.files import StorageError

    store = Store(options.records)
    progress = _Progress("read")
    try:
        taken = taking(store.records, Path(options.file), progress)
        progress.close()
        store.records.bring_up_to_date()
    except ExchangeError as error:
        progress.close()
        for fault in error.faults:
            print(f"trainer: {options.file}, {_harmless(fault)}", file=sys.stderr)
        raise Refusal(f"nothing of {options.file} was taken in") from None
    except StorageError as error:
        progress.close()
        raise Refusal(str(error)) from None
    finally:
        store.close()
    if options.json:
        print(json_line({"new": dict(taken.new), "known": dict(taken.known), "graded_otherwise": taken.otherwise}))
        return DONE
    print(f"New: {_told(taken.new)}. There already: {_told(taken.known)}.")
    if taken.otherwise:
        print(f"Of those, {taken.otherwise} are graded otherwise here; they stay as they are.")
    return DONE


def _harmless(text: str) -> str:
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


# -- graded again


def regrade(options: argparse.Namespace) -> int:
    """Show what today's grader makes of the stored events, and put it in the record where that is asked for."""
    from trainer.storage.files import StorageError, utc_now

    store = Store(options.records)
    try:
        if options.undo:
            store.records.back_up("before a change")
            count = store.records.restore_verdicts()
            print(
                f"{count} attempts have their earlier verdict again." if count else "Nothing was graded again before."
            )
            return DONE if count else NO
        summary = _Summary(options.json)
        changes = summary.noted(_regraded(store))
        if options.apply:
            copy = store.records.back_up("before a change")
            store.records.change_verdicts(((one.before, one.after) for one in changes), utc_now())
            store.records.bring_up_to_date()
            summary.tell()
            if not options.json:
                before = f"A copy from before is in {copy}; t" if copy is not None else "T"
                print(f"The record has these verdicts now. {before}he old ones are back with: trainer regrade --undo")
        else:
            for _ in changes:
                pass
            summary.tell()
            if summary.changed and not options.json:
                print("Nothing was changed yet: trainer regrade --apply puts these verdicts in the record.")
    except StorageError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    return DONE


def _regraded(store: Store) -> Iterator[Regraded]:
    from functools import cache

    from trainer.capture import MILLISECOND_NS, Windows
    from trainer.commands.practising import BLUETOOTH_MS
    from trainer.grading import Target
    from trainer.inputs.ports import is_bluetooth
    from trainer.regrading import regraded, target_of_attempt

    def windows_of(port: str) -> Windows:
        return Windows().widened(BLUETOOTH_MS * MILLISECOND_NS) if is_bluetooth(port) else Windows()

    @cache
    def others(set_title: str) -> tuple[Target, ...]:
        asked = map(target_of_attempt, store.records.one_of_each(set_title))
        return tuple(target for target in asked if target is not None)

    controls = [key for key in store.preferences().controls if key >= 0]
    store.records.bring_up_to_date()
    return regraded(store.records.sessions(), windows_of, controls, others)


class _Summary:
    """What changes, counted while it goes by, and the first of it in words."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self.looked_at = 0
        self.changed = 0
        self._verdicts: Counter[str] = Counter()
        self._causes: Counter[tuple[str, str]] = Counter()
        self._first: list[Regraded] = []

    def noted(self, found: Iterable[Regraded]) -> Iterator[Regraded]:
        """The changes among what was graded again."""
        for one in _counted("graded", found):
            self.looked_at += 1
            if not one.changed:
                continue
            self.changed += 1
            self._count(one)
            if self._as_json:
                print(json_line(_change_object(one)))
            elif len(self._first) < CHANGES_TOLD:
                self._first.append(one)
            yield one

    def _count(self, one: Regraded) -> None:
        if one.verdict_changed:
            was, now = (_verdict_words(attempt) for attempt in (one.before, one.after))
            self._verdicts[f"{was}, now {now}" if was != now else f"{was}, after other tries"] += 1
        elif one.cause_changed:
            was, now = (_cause_words(attempt) for attempt in (one.before, one.after))
            self._causes[was, now] += 1
        else:
            self._verdicts["only other words or times"] += 1

    def tell(self) -> None:
        if self._as_json:
            return
        print(f"{self.looked_at} attempts looked at, {self.changed} are graded otherwise today.")
        for words, count in self._verdicts.most_common():
            print(f"  {count:>6}  {words}")
        for (was, now), count in self._causes.most_common():
            print(f"  {count:>6}  {was}, now {now}")
        for one in self._first:
            before, after = one.before, one.after
            print(f"\n{before.utc[:16].replace('T', ' ')}  {before.chord}, {before.voicing}")
            print(f"  was:   {_verdict_words(before)}. {_sentence(before)}")
            print(f"  today: {_verdict_words(after)}. {_sentence(after)}")
        if self.changed > len(self._first) > 0:
            print(f"\n... and {self.changed - len(self._first)} more; --json gives all of them.")


def _verdict_words(attempt: Attempt) -> str:
    if attempt.outcome == "right":
        return "right at the first try" if attempt.right_first_try else "right in the end"
    return attempt.outcome


def _cause_words(attempt: Attempt) -> str:
    from trainer.grading import CAUSES

    cause = attempt.tries[0].cause if attempt.tries else None
    return "no cause" if cause is None else CAUSES.get(cause, cause)


def _sentence(attempt: Attempt) -> str:
    return _harmless(attempt.tries[0].sentence) if attempt.tries else ""


def _change_object(one: Regraded) -> dict[str, object]:
    from trainer.progress import attempt_object

    before = one.before
    return {
        "session": before.session,
        "number": before.number,
        "utc": before.utc,
        "was": attempt_object(before),
        "today": attempt_object(one.after),
    }


def _records_argument(parser: argparse.ArgumentParser, words: str) -> None:
    parser.add_argument("--records", metavar="FILE", help=words)


def _export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--output", metavar="FILE", help="write to this file; a name that ends in .gz is compressed")
    _records_argument(parser, "write out this record; a damaged one as far as it can be read")


def _import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="what trainer export wrote")
    parser.add_argument("--json", action="store_true", help="one JSON object: what was new, what was there already")
    _records_argument(parser, "add it to this record")


def _regrade_arguments(parser: argparse.ArgumentParser) -> None:
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument(
        "--apply", action="store_true", help="put today's verdicts in the record; the old ones are kept"
    )
    choice.add_argument("--undo", action="store_true", help="put back the verdicts that the last --apply changed")
    parser.add_argument("--json", action="store_true", help="one JSON object for each attempt that changes")
    _records_argument(parser, "grade this record")


COMMANDS: Final = (
    CommandRow(
        "export",
        export,
        "write the whole record to a file",
        "  trainer export --output practice.jsonl.gz\n  trainer export --records damaged.sqlite --output saved.jsonl",
        _export_arguments,
    ),
    CommandRow(
        "import",
        take_in,
        "add what trainer export wrote to the record",
        "  trainer import practice.jsonl.gz\n  trainer import saved.jsonl --records new.sqlite",
        _import_arguments,
    ),
    CommandRow(
        "regrade",
        regrade,
        "grade the stored events again and show what changes",
        "  trainer regrade\n  trainer regrade --apply\n  trainer regrade --undo",
        _regrade_arguments,
    ),
)
