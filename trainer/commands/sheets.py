"""Sheets: sets, lessons, charts and forms as engraved pages, or as music for other programs."""

from __future__ import annotations

import argparse
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.commands.charts import CHART_HELP, shown
from trainer.commands.refusals import DONE, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.sets import CHARTS, found_set, is_lesson_file, load_lesson, read_set

if TYPE_CHECKING:
    from trainer.drills import Lesson
    from trainer.pitch import Note
    from trainer.sheets.scores import Sheet

KINDS: Final = (".pdf", ".svg", ".musicxml", ".mxl")
_ENGRAVED: Final = KINDS[:2]
_LIBRARIES: Final = ("verovio", "fontTools", "brotli")
_NOT_IN_A_NAME: Final = re.compile(r"[^\w#-]+")

MOST_BARS: Final = 3_000
"""More are not printed at once: with twelve keys, a tune of 250 bars."""


def sheet(options: argparse.Namespace) -> int:
    """Write the pages, and say on standard error where they are."""
    made = _sheet(options)
    path = _output(options, made.title)
    suffix = path.suffix.lower()
    if suffix in _ENGRAVED:
        files = _engraved(made, path, options.paper)
    else:
        files = [(path, _music(made, suffix))]
    _write(files, options.replace)
    return DONE


def _output(options: argparse.Namespace, title: str) -> Path:
    if options.output is None:
        name = Path(options.what).name.split(".")[0] if Path(options.what).is_file() else title
        return Path(_NOT_IN_A_NAME.sub("-", name.lower()).strip("-")[:60] or "sheet").with_suffix(KINDS[0])
    path = Path(options.output)
    if path.suffix.lower() not in KINDS:
        known = ", ".join(KINDS)
        raise Refusal(f"{path.name!r} ends in no kind of file that a sheet is written as ({known})", USED_WRONGLY)
    return path


# ---------------------------------------------------------------- what is asked for


def _sheet(options: argparse.Namespace) -> Sheet:
    from trainer.leading import LeadingError
    from trainer.sheets.from_lessons import of_lessons
    from trainer.sheets.from_sets import Choices, SheetError, of_set

    choices = Choices(options.clef, options.degrees)
    path = _path_of_set(options.what)
    try:
        if path is None:
            return of_lessons(_lessons(options), choices)
        drill_set, faults = read_set(path)
        if drill_set is None:
            raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
        return of_set(drill_set, choices, _root(options.key), all_roots=options.all_keys)
    except (LeadingError, SheetError) as error:
        raise Refusal(shown(str(error)), USED_WRONGLY) from None


def _path_of_set(name: str) -> Path | None:
    """The file of a drill set; None for a lesson and all else of which a lesson follows."""
    from trainer.charts import FormError, form_row

    path = Path(name)
    if not path.is_file():
        try:
            form_row(name)
        except FormError:
            path = found_set(name)
        else:
            return None
    return None if is_lesson_file(path) else path


def _lessons(options: argparse.Namespace) -> tuple[Lesson, ...]:
    from trainer.pitch import PitchError

    lesson = load_lesson(options.what, options.key)
    if Path(options.what).suffix.lower() in CHARTS:
        lesson = replace(lesson, title=lesson.chart.title or lesson.title)
    try:
        lessons = lesson.in_twelve_keys() if options.all_keys else (lesson,)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    bars = sum(len(each.chart.played) for each in lessons)
    if bars > MOST_BARS:
        raise Refusal(f"that is {bars} bars, and at most {MOST_BARS} are printed; name one key with --key")
    return lessons


def _root(key: str | None) -> Note | None:
    from trainer.pitch import Note, PitchError

    try:
        return None if key is None else Note.parse(key)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


# ---------------------------------------------------------------- what is written


def _music(made: Sheet, suffix: str) -> bytes:
    from trainer.charts.score_files import compressed
    from trainer.sheets.musicxml import musicxml

    text = musicxml(made)
    return compressed(text) if suffix == ".mxl" else text.encode("utf-8")


def _engraved(made: Sheet, path: Path, paper: str) -> list[tuple[Path, bytes]]:
    """The pages as one PDF file, or as one picture each."""
    from importlib.util import find_spec

    missing = [name for name in _LIBRARIES if find_spec(name) is None]
    if missing:
        raise Refusal(
            f"engraving needs what is not installed here ({', '.join(missing)}); "
            f"in the program's folder: python -m pip install '.[print]'. Without it, --output {path.stem}.musicxml "
            "writes the music for another program",
            UNUSABLE,
        )
    from trainer.sheets.engraving import EngravingError
    from trainer.sheets.layout import pages
    from trainer.sheets.pdf import pdf
    from trainer.sheets.vectors import svg

    try:
        found = pages(made, paper)
    except EngravingError as error:
        raise Refusal(f"{error}; --output {path.stem}.musicxml writes the music for another program") from None
    if path.suffix.lower() == ".pdf":
        return [(path, pdf(found))]
    if len(found) == 1:
        return [(path, svg(found[0]).encode("utf-8"))]
    return [
        (path.with_name(f"{path.stem}-{number}{path.suffix}"), svg(page).encode("utf-8"))
        for number, page in enumerate(found, 1)
    ]


def _write(files: list[tuple[Path, bytes]], over: bool) -> None:
    from trainer.storage.files import StorageError, write_bytes_atomically

    for path, _ in files:
        if path.exists() and not over:
            raise Refusal(f"{str(path)!r} is there already; name another file with --output, or add --replace")
    try:
        for path, data in files:
            write_bytes_atomically(path, data)
            print(f"written: {path}", file=sys.stderr)
    except StorageError as error:
        raise Refusal(str(error)) from None


def _sheet_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "what", metavar="SET|LESSON|CHART|FORM", help=f"a set or lesson by part of its name; {CHART_HELP}"
    )
    parser.add_argument("--key", metavar="KEY", help="a chart or lesson in this key; of a set, this root alone")
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    parser.add_argument(
        "--clef", choices=("auto", "treble", "bass", "grand"), default="auto", help="auto: as the voicings lie"
    )
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="size of the page (default: A4)")
    parser.add_argument(
        "--degrees", action=argparse.BooleanOptionalAction, default=True, help="degrees under the notes (default: yes)"
    )
    parser.add_argument(
        "--output", metavar="FILE", help="where to, and by its name what: .pdf, .svg, .musicxml or .mxl (compressed)"
    )
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")


COMMANDS: Final = (
    CommandRow(
        "sheet",
        sheet,
        "print a set, a lesson or a chart as engraved pages",
        "  trainer sheet 'minor sevenths, low rung on the third'\n"
        "  trainer sheet kettle --key Eb --output kettle.pdf\n"
        "  trainer sheet 'jazz blues' --all-keys --clef bass --paper Letter\n"
        "  trainer sheet my-set.toml --output my-set.musicxml",
        _sheet_arguments,
    ),
)
