"""Drill sets, lessons and charts as what is practised: found by name, read with every fault, checked.

A lesson is practised as its voicings or its moves, of all of it or of one section. Where one name must say all of that
(the screen's list, the settings), it is the file's path, the way and the section, joined by ``::``.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.drills import DrillSet, Fault, Lesson
    from trainer.storage.places import Places

WAYS: Final = ("voicings", "moves")
"""How a lesson is practised without a tempo: each voicing for itself, or each move from one to the next."""

CHARTS: Final = (".chart", ".musicxml", ".xml", ".mxl")
_JOINT: Final = "::"


def check(options: argparse.Namespace) -> int:
    """Tell every fault of every file; one that cannot be read keeps no other from being looked at."""
    from trainer.drills import Fault

    if options.schema:
        from trainer.drills.schema import schema_text

        print(schema_text(), end="")
        return DONE
    if not options.files:
        raise Refusal("check what? name a drill set, a lesson or a chart", USED_WRONGLY)
    faults: list[Fault] = []
    for name in options.files:
        try:
            _, found = read_set(Path(name))
            lines = [str(fault) for fault in found]
        except Refusal as refusal:
            found = (Fault(name, 1, 1, "", "", "a drill set or lesson as a TOML file, or a chart", str(refusal)),)
            lines = [f"trainer: {refusal}"]
        faults += found
        if options.json:
            continue
        if not found:
            print(f"{name}: no fault found")
        for line in lines:
            print(line, file=sys.stderr)
    if options.json:
        print(json_line([_fault_object(fault) for fault in faults]))
    return UNUSABLE if faults else DONE


def _fault_object(fault: Fault) -> dict[str, Any]:
    return {name: getattr(fault, name) for name in ("file", "line", "column", "field", "found", "expected", "message")}


def way_name(path: Path | str, way: str, section: str = "") -> str:
    """The name of a lesson practised in one way; see the head of this module.

    >>> way_name("blues.lesson.toml", "moves")
    'blues.lesson.toml::moves'
    """
    return _JOINT.join([str(path), way, *([section] if section else [])])


def _taken_apart(path: Path) -> tuple[Path, str, str]:
    """The path, way and section of a name; the usual way where it says none."""
    name, *said = str(path).split(_JOINT)
    if not said or said[0] not in WAYS:
        return path, WAYS[0], ""
    return Path(name), said[0], _JOINT.join(said[1:])


def read_set(path: Path) -> tuple[DrillSet | None, tuple[Fault, ...]]:
    """What a file has to practise, or every fault of it: a drill set, or the voicings or moves of a lesson or chart.

    Raises `Refusal` where it cannot be read at all.
    """
    from trainer import drills
    from trainer.leading import LeadingError

    path, way, section = _taken_apart(path)
    if not is_lesson_file(path):
        return drills.read(_text(path), str(path))
    lesson, faults = read_lesson_file(path)
    if lesson is None:
        return None, faults
    try:
        return lesson.moves_set(section) if way == "moves" else lesson.drill_set(section), ()
    except LeadingError as error:
        return None, (drills.Fault(str(path), 1, 1, "", "", "voicings that fit", str(error)),)
    except ValueError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def is_lesson_file(path: Path) -> bool:
    """Whether a file is a lesson or a chart, of which a lesson follows. Raises `Refusal`."""
    from trainer.drills import is_lesson
    from trainer.storage.places import LESSON_ENDING

    if path.suffix.lower() in CHARTS or path.name.endswith(LESSON_ENDING):
        return True
    return is_lesson(_text(path))


def read_lesson_file(path: Path) -> tuple[Lesson | None, tuple[Fault, ...]]:
    """A lesson, or that of a bare chart; or every fault. Raises `Refusal` where the file cannot be read."""
    from trainer.charts import ChartError, read_chart
    from trainer.commands.charts import found_chart
    from trainer.drills import Fault, lesson_of, read_lesson
    from trainer.leading import LeadingError

    if path.suffix.lower() == CHARTS[0]:
        try:
            chart = read_chart(_text(path))
        except ChartError as error:
            return None, tuple(
                Fault(str(path), each.line, each.column, "", each.found, each.expected, each.message)
                for each in error.faults
            )
    elif path.suffix.lower() in CHARTS:
        chart = found_chart(str(path))
    else:
        return read_lesson(_text(path), str(path), lambda name: _beside(path, name))
    lesson = lesson_of(chart, title=chart.title or path.stem)
    try:
        lesson.form  # noqa: B018  (a chart may have a chord that cannot be voiced)
    except LeadingError as error:
        return None, (Fault(str(path), 1, 1, "", "", "chords that can be voiced", str(error)),)
    return lesson, ()


def _text(path: Path) -> str:
    from trainer.storage.files import StorageError, read_text

    try:
        return read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None


def _beside(path: Path, name: str) -> str:
    """The text of a chart in a lesson's own folder, and of no other, wherever a link leads. Raises `ValueError`."""
    from trainer.storage.files import StorageError, read_text

    there = path.with_name(name)
    if there.resolve().parent != path.resolve().parent:
        raise ValueError("it lies in another folder")
    try:
        return read_text(there)
    except StorageError as error:
        raise ValueError(str(error)) from None


def found_set(name: str) -> Path:
    """The file of a set or lesson asked for, way and section left as they are. Raises `Refusal`."""
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    wanted, *said = name.split(_JOINT)
    try:
        return Path(_JOINT.join([str(Places.found().find_set(wanted)), *said]))
    except StorageError as error:
        raise Refusal(str(error)) from None


def wanted_name(name: str, *, moves: bool, section: str) -> str:
    """The name of what a command line asks to practise. Raises `Refusal` where it asks of a set what a lesson has."""
    path = found_set(name)
    if not moves and not section:
        return str(path)
    if not is_lesson_file(path):
        what = "moves" if moves else "sections"
        raise Refusal(f"{path} is a drill set and has no {what}; those are a lesson's", USED_WRONGLY)
    return way_name(path, "moves" if moves else "voicings", section)


def listed_names(places: Places) -> list[tuple[str, str]]:
    """Everything there is to practise: names and titles, a lesson once for each way. Raises `StorageError`."""
    from trainer.storage.places import name_of, title_of

    found = [(str(path), title_of(path) or name_of(path)) for path in places.drill_files()]
    for path in places.lesson_files():
        title = title_of(path) or name_of(path)
        found += [(way_name(path, way), f"{title}: {way}") for way in WAYS]
    return found


def load_set(name: str) -> DrillSet:
    drill_set, faults = read_set(found_set(name))
    if faults or drill_set is None:
        raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
    return drill_set


def load_lesson(name: str, key: str | None = None) -> Lesson:
    """A lesson by its file or name, of a chart's file, or of a progression or form by name; in another key where one is
    given. Raises `Refusal`."""
    from trainer.charts import FormError, Key, form_chart, form_row
    from trainer.drills import lesson_of
    from trainer.pitch import PitchError
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    path = Path(name)
    try:
        row = None if path.is_file() else form_row(name)
    except FormError:
        row = None
    if row is not None:
        lesson = lesson_of(form_chart(row.name), repeats=row.repeats)
    else:
        try:
            path = Places.found().find_set(name)
        except StorageError as error:
            message = f"{error} A progression or form by name will do, too, such as ii-V-I"
            raise Refusal(message, USED_WRONGLY) from None
        if not is_lesson_file(path):
            raise Refusal(f"{path} is a drill set; drill it with trainer drill", USED_WRONGLY)
        read, faults = read_lesson_file(path)
        if read is None:
            raise Refusal("\ntrainer: ".join(map(str, faults)))
        lesson = read
    if key is None:
        return lesson
    try:
        wanted = Key.parse(key)
        if wanted.minor and not lesson.chart.key.minor:
            raise Refusal(
                f"{lesson.title} is in a major key; name a major one, as in --key {wanted.root}", USED_WRONGLY
            )
        return lesson.in_key(wanted.root)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", metavar="FILE", help="a drill set, a lesson or a chart")
    parser.add_argument("--json", action="store_true", help="the faults as a JSON list")
    parser.add_argument("--schema", action="store_true", help="print the formats as a JSON Schema, for editors")


def new(options: argparse.Namespace) -> int:
    """Write a commented example under a name that is not taken yet."""
    from trainer.drills.starting import example
    from trainer.drills.values import TITLE_LETTERS, printable
    from trainer.storage.files import StorageError, write_text_atomically
    from trainer.storage.places import LESSON_ENDING

    ending = LESSON_ENDING if options.kind == "lesson" else ".toml"
    path = Path(options.file)
    stem = path.name.removesuffix(".toml").removesuffix(".lesson")
    path = path.with_name(stem + ending)
    if path.exists() or path.is_symlink():
        raise Refusal(f"{str(path)!r} is there already; name another file")
    words = " ".join(stem.replace("_", " ").replace("-", " ").split())
    title = printable(words[:1].upper() + words[1:], TITLE_LETTERS)
    try:
        write_text_atomically(path, example(options.kind, title or "Untitled"))
    except StorageError as error:
        raise Refusal(str(error)) from None
    print(f"written: {path}; trainer check {path} tells what is wrong with it, if anything", file=sys.stderr)
    return DONE


def _new_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=("set", "lesson"), help="a drill set, or a lesson on a chart")
    parser.add_argument("file", metavar="FILE", help="its name; .toml or .lesson.toml is added")


COMMANDS: Final = (
    CommandRow(
        "check",
        check,
        "look for every fault in drill sets, lessons and charts",
        "  trainer check my-set.toml\n"
        "  trainer check my-blues.lesson.toml my-blues.chart\n"
        "  trainer check --schema > drill-sets.schema.json",
        _check_arguments,
    ),
    CommandRow(
        "new",
        new,
        "start a drill set or a lesson from a commented example",
        "  trainer new set thursday\n  trainer new lesson my-blues",
        _new_arguments,
    ),
)
