"""Assignments, handed out and handed in: a teacher writes one, a student opens it, plays, hands in; the desk shows all.

In a student's record an assignment is ``open`` or ``done``. In a teacher's it is ``given``; for each student that has
handed in, the record keeps where that student stands, worked out once when the results came.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, NO, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import OPEN, Store
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.desk import ClassView, Standing
    from trainer.drills.assignments import Assignment

GIVEN: Final = "given"
FINISHED: Final = "done"
ENDING: Final = ".assignment.toml"


def shown(text: str) -> str:
    """A text from somebody else as it may go to a terminal."""
    from trainer.drills.values import printable

    return printable(text, 2000)


def today() -> date:
    return datetime.now().astimezone().date()


def local_day(utc: str) -> str:
    """The player's own day of a recorded time; the UTC day where the time cannot be read."""
    try:
        return datetime.fromisoformat(utc).astimezone().date().isoformat()
    except (ValueError, OverflowError):
        return utc[:10]


# -- the teacher hands out


def assign(options: argparse.Namespace) -> int:
    """Write an assignment to be handed over, and keep it for reading results back."""
    from trainer.commands.sets import found_set, is_lesson_file
    from trainer.drills.assignments import read_assignment
    from trainer.drills.writing import long_text, text_value
    from trainer.storage.files import StorageError, read_text, utc_now, write_text_atomically

    path = found_set(options.set)
    try:
        text = _inside(path) if is_lesson_file(path) else read_text(path)
        kind = "lesson" if is_lesson_file(path) else "set"
        mark = options.mark or _mark(path)
        output = Path(options.output or f"{mark}{ENDING}")
        if output.exists():
            raise Refusal(f"{output} is there already; give the assignment another place: --output FILE", USED_WRONGLY)
        lines = [f"assignment = {text_value(mark)}", f"title = {text_value(options.title or mark)}"]
        lines += [
            f"{name} = {text_value(value)}"
            for name, value in (("student", options.student), ("teacher", options.teacher), ("note", options.note))
            if value
        ]
        lines += [f"due = {options.due}"] if options.due else []
        lines += [f"{kind} = {long_text(text)}", "", "[done]"]
        asked = {"tries": options.tries, "accuracy_percent": options.accuracy, "response_ms": options.time_ms}
        asked |= {"tempo_bpm": options.tempo, "days": options.days}
        lines += [f"{name} = {value}" for name, value in asked.items() if value is not None]
        if options.roots:
            lines.append("roots = [" + ", ".join(text_value(root.strip()) for root in options.roots.split(",")) + "]")
        written = "# An assignment. The student opens it with: trainer open FILE\n" + "\n".join(lines) + "\n"
        assignment, faults = read_assignment(written, str(output))
        if assignment is None:
            # The lines are those of the file that would have been written; the field says what was given wrongly.
            raise Refusal("\ntrainer: ".join(f"{fault.field}: {fault.message}" for fault in faults), USED_WRONGLY)
        store = Store(options.records)
        try:
            store.records.keep_assignment(mark, written, utc_now(), GIVEN)
            write_text_atomically(output, written)
        finally:
            store.close()
    except StorageError as error:
        raise Refusal(str(error)) from None
    print(f"{output}: {shown(assignment.title)}. {assignment.done.sentence}")
    return DONE


def _inside(path: Path) -> str:
    """The text of a lesson with its chart inside, so that one file is all."""
    from trainer.commands.sets import load_lesson
    from trainer.drills import write_lesson

    return write_lesson(replace(load_lesson(str(path)), origin=("chart", "")))


def _mark(path: Path) -> str:
    from trainer.storage.places import name_of

    plain = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name_of(path)).strip("-")
    return f"{plain or 'assignment'}-{today():%Y%m%d}"


# -- the student opens, and hands in


def open_assignments(options: argparse.Namespace) -> int:
    """Open assignments; each joins today's practice until it is done. Opening one again changes nothing."""
    store = Store(options.records)
    try:
        for name in options.files:
            assignment = take_in(store, Path(name))
            print(f"{shown(assignment.title)}. {assignment.done.sentence}")
            if assignment.note:
                print(f"  {shown(assignment.note)}")
            print(f"  {standing_of(store, assignment).sentence(assignment.due, today())}")
            print(f"  It is part of today's practice; on its own: trainer drill {assignment.mark}")
    finally:
        store.close()
    return DONE


def take_in(store: Store, path: Path) -> Assignment:
    """Read an assignment's file and keep it open. Raises `Refusal` with every fault."""
    from trainer.storage.files import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return take_in_text(store, text, str(path))


def take_in_text(store: Store, text: str, path: str) -> Assignment:
    """Keep the assignment in a text open; `path` is where it is from. Raises `Refusal` with every fault."""
    from trainer.drills.assignments import read_assignment
    from trainer.storage.files import StorageError, make_folder, utc_now, write_text_atomically
    from trainer.storage.places import LESSON_ENDING

    try:
        assignment, faults = read_assignment(text, path)
        if assignment is None:
            raise Refusal("\ntrainer: ".join(map(str, faults)))
        before = {kept.mark: kept for kept in store.records.assignments()}
        kept = before.get(assignment.mark)
        if kept is not None and kept.text != text:
            older, _ = read_assignment(kept.text, kept.mark)
            if older is not None and older.digest != assignment.digest:
                raise Refusal(
                    f"{path}: another task was opened under the mark {assignment.mark} before; ask for one with a mark "
                    "of its own"
                )
        if kept is None:
            store.records.keep_assignment(assignment.mark, text, utc_now(), OPEN)
            store.forget_assignments()
        # Among the player's own sets it is listed, drilled by name, and part of today's practice.
        ending = LESSON_ENDING if assignment.lesson is not None else ".toml"
        inside = store.places.own_drills / f"{assignment.mark}{ending}"
        if not inside.exists():
            make_folder(inside.parent)
            write_text_atomically(inside, assignment.text)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return assignment


def take_in_dropped(store: Store) -> list[str]:
    """Open what was dropped into the watched folder; a line for each file that could not be."""
    folder = store.places.dropped_assignments
    if not folder.is_dir():
        return []
    troubles = []
    for path in sorted(folder.glob("*.toml")):
        try:
            take_in(store, path)
        except Refusal as refusal:
            troubles.append(str(refusal))
    return troubles


def standing_of(store: Store, assignment: Assignment) -> Standing:
    """Where the player stands with an assignment; what is done is marked so in the record."""
    from trainer.desk import DONE as ALL_DONE
    from trainer.desk import standing
    from trainer.storage.files import StorageError, utc_now

    try:
        attempts = store.records.attempts(assignment=assignment.mark, with_events=False)
        passes = store.records.passes(assignment=assignment.mark, with_events=False)
        found = standing(assignment, attempts, passes, day_of=local_day)
        if found.state == ALL_DONE:
            kept = next((each for each in store.records.assignments(OPEN) if each.mark == assignment.mark), None)
            if kept is not None:
                store.records.keep_assignment(kept.mark, kept.text, utc_now(), FINISHED)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return found


def _known(store: Store, states: Sequence[str]) -> list[tuple[Assignment, str]]:
    from trainer.drills.assignments import read_assignment
    from trainer.storage.files import StorageError

    try:
        kept = [each for each in store.records.assignments() if each.state in states]
    except StorageError as error:
        raise Refusal(str(error)) from None
    read = ((read_assignment(each.text, each.mark)[0], each.state) for each in kept)
    return [(assignment, state) for assignment, state in read if assignment is not None]


def assignments(options: argparse.Namespace) -> int:
    """Tell every assignment that was opened, and where the player stands."""
    from trainer.desk import standing_object

    store = Store(options.records)
    try:
        for trouble in take_in_dropped(store):
            print(f"trainer: {trouble}", file=sys.stderr)
        known = _known(store, (OPEN, FINISHED))
        for assignment, _ in known:
            found = standing_of(store, assignment)
            if options.json:
                due = None if assignment.due is None else assignment.due.isoformat()
                print(json_line({"title": assignment.title, "due": due, **standing_object(found)}))
                continue
            print(f"{assignment.mark}  {shown(assignment.title)}: {found.sentence(assignment.due, today())}")
            for line in _lacking(assignment, found):
                print(f"    {line}")
    finally:
        store.close()
    if not known and not options.json:
        print("No assignment was opened yet. Your teacher's file is opened with: trainer open FILE")
    return DONE


def _lacking(assignment: Assignment, found: Standing) -> Iterator[str]:
    from trainer.pitch import pretty

    for cell in found.cells:
        if cell.lacking and cell.tries:
            yield f"{_cell_name(assignment, cell.drill)} on {pretty(cell.root)}: {cell.lacking}"


def _cell_name(assignment: Assignment, drill: int) -> str:
    from trainer.grading import pretty_symbol

    if drill < 0:
        return "in time"
    asked = assignment.content.drills[drill]
    return f"{pretty_symbol('C' + asked.quality.text)[1:] or 'major'}, {asked.voicing}"


def hand_in(options: argparse.Namespace) -> int:
    """Write the one file that is handed in for an assignment: its attempts, and nothing else of the player's."""
    from trainer.results import write_results
    from trainer.storage.files import StorageError, write_text_atomically

    store = Store(options.records)
    try:
        known = {assignment.mark: assignment for assignment, _ in _known(store, (OPEN, FINISHED))}
        if options.mark not in known:
            there = ", ".join(known) or "none yet: trainer open FILE"
            raise Refusal(f"no assignment {shown(options.mark)!r} was opened; there are {there}", USED_WRONGLY)
        assignment = known[options.mark]
        student = options.student or assignment.student or store.settings.player_name
        if not student:
            raise Refusal(
                "whose results are these? Say it once: trainer settings player_name 'Your Name', or --student",
                USED_WRONGLY,
            )
        attempts = list(store.records.attempts(assignment=assignment.mark))
        passes = list(store.records.passes(assignment=assignment.mark))
        output = Path(options.output or f"{assignment.mark}-{_plain(student)}.results")
        write_text_atomically(output, write_results(assignment, student, attempts, passes))
    except StorageError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    print(f"{output}: {len(attempts)} answers, {len(passes)} passes. Hand this file to your teacher.")
    return DONE


def _plain(name: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in name).strip("-")[:60] or "student"


# -- the teacher reads back


def collect(options: argparse.Namespace) -> int:
    """Read results back: whole, of the assignment, graded anew; a file that was read before changes nothing."""
    store = Store(options.records)
    failed = differs = False
    try:
        known = {assignment.mark: assignment for assignment, _ in _known(store, (GIVEN,))}
        for name in options.files:
            try:
                differs |= _collect(store, known, Path(name), options.json)
            except Refusal as refusal:
                failed = True
                print(f"trainer: {refusal}", file=sys.stderr)
    finally:
        store.close()
    return UNUSABLE if failed else NO if differs else DONE


def _collect(store: Store, known: dict[str, Assignment], path: Path, as_json: bool) -> bool:
    from trainer.results import MOST_BYTES, ResultsError, check_results, read_results, regraded_pass
    from trainer.storage.files import StorageError, decoded, read_bytes, utc_now

    try:
        results = read_results(decoded(read_bytes(path, MOST_BYTES), path))
        if results.mark not in known:
            raise Refusal(f"{path}: no assignment {shown(results.mark)!r} was given out from this record")
        assignment = known[results.mark]
        checked = check_results(assignment, results)
        passes = [regraded_pass(assignment, record) for record in results.passes]
        differing = [one for one in checked if one.differs]
        new = store.records.append_results(
            results.student, results.mark, results.sha256, utc_now(), [one.found for one in checked], passes
        )
        found = _keep_standing(store, assignment, results.student)
    except ResultsError as error:
        raise Refusal(f"{path}: {error}") from None
    except StorageError as error:
        raise Refusal(str(error)) from None
    passes_differ = sum(one.clean != two.clean for one, two in zip(passes, results.passes, strict=True))
    if as_json:
        print(json_line({
            "file": str(path), "student": results.student, "assignment": results.mark, "new": new,
            "attempts": len(results.attempts), "passes": len(results.passes),
            "differing": len(differing) + passes_differ, "done": found.done, "of": len(found.cells),
        }))  # fmt: skip
        return bool(differing or passes_differ)
    again = "" if new else " (read before)"
    print(f"{shown(results.student)}: {found.done} of {len(found.cells)} done{again}")
    for one in differing[:10]:
        why = one.why or "the file claims other than was played"
        print(f"  {shown(one.claimed.chord)}, {shown(one.claimed.utc)}: {why}; it counts as played")
    if len(differing) > 10:
        print(f"  and {len(differing) - 10} more")
    if passes_differ:
        print(f"  {passes_differ} passes are claimed other than they were played; they count as played")
    return bool(differing or passes_differ)


def _keep_standing(store: Store, assignment: Assignment, student: str) -> Standing:
    """Work out where a student stands now, and keep it for the desk.

    What students sent to a school's database themselves is graded again from its events first.
    """
    from trainer.desk import standing, standing_object
    from trainer.results import regraded, regraded_pass

    shared = store.records.shared
    attempts = store.records.attempts(assignment=assignment.mark, student=student, with_events=shared)
    passes = store.records.passes(assignment=assignment.mark, student=student, with_events=shared)
    if shared:
        attempts = (regraded(assignment, attempt).found for attempt in attempts)
        passes = (regraded_pass(assignment, one) for one in passes)
    found = standing(assignment, attempts, passes, student, local_day)
    kept = json.dumps(standing_object(found), separators=(",", ":"))
    store.records.keep_derived("assignment", assignment.mark, kept, student=student)
    return found


def class_views(store: Store, students: Sequence[str] = ()) -> list[tuple[Assignment, ClassView]]:
    """Every assignment given out, and where each student stands; `students` names the class where some of it has not
    handed in anything yet. Raises `Refusal`."""
    from trainer.desk import ClassView, standing_from
    from trainer.storage.files import StorageError

    known = [assignment for assignment, _ in _known(store, (GIVEN,))]
    try:
        everybody = list(dict.fromkeys([*students, *store.records.students()]))
        kept = {place: standing_from(json.loads(text)) for place, text in store.records.derived("assignment").items()}
        by_mark = {assignment.mark: assignment for assignment in known}
        for student, mark in sorted(store.records.worked_at() - kept.keys()):
            if student in everybody and mark in by_mark:
                kept[student, mark] = _keep_standing(store, by_mark[mark], student)
    except StorageError as error:
        raise Refusal(str(error)) from None
    except (ValueError, KeyError, TypeError):
        raise Refusal("a standing in the record cannot be read; trainer import into a new record mends it") from None
    return [
        (
            assignment,
            ClassView(
                assignment.mark,
                tuple(each for each in everybody if assignment.student in ("", each)),
                tuple(kept.get((each, assignment.mark)) for each in everybody if assignment.student in ("", each)),
            ),
        )
        for assignment in known
    ]


def desk(options: argparse.Namespace) -> int:
    """Tell who is done, who is stuck where and why, who has not started, and what to teach next."""
    store = Store(options.records)
    try:
        students = [name.strip() for name in (options.students or "").split(",") if name.strip()]
        views = class_views(store, students)
    finally:
        store.close()
    if options.mark:
        views = [(assignment, view) for assignment, view in views if assignment.mark == options.mark]
        if not views:
            raise Refusal(f"no assignment {shown(options.mark)!r} was given out from this record", USED_WRONGLY)
    for index, (assignment, view) in enumerate(views):
        if options.json:
            print(json_line(_view_object(assignment, view)))
            continue
        print(("\n" if index else "") + "\n".join(_view_lines(assignment, view, options.student)))
    if not views and not options.json:
        print("No assignment was given out yet: trainer assign SET")
    return DONE


STATE_SIGNS: Final = {"not started": "·", "begun": "◐", "stuck": "!", "done": "✓"}


def _view_lines(assignment: Assignment, view: ClassView, only: str | None) -> Iterator[str]:
    from trainer.desk import NOT_STARTED, STATES
    from trainer.grading import CAUSES
    from trainer.pitch import pretty

    due = f", due {assignment.due.isoformat()}" if assignment.due else ""
    yield f"{assignment.mark}  {shown(assignment.title)}{due}"
    yield f"  {assignment.done.sentence}"
    yield "  " + ", ".join(f"{len(view.by_state(state))} {state}" for state in STATES)
    width = max([12, *(len(shown(student)) for student in view.students)])
    by_drill: dict[int, list[str]] = {}
    for drill, root in assignment.places:
        by_drill.setdefault(drill, []).append(root.name)
    for drill, roots in by_drill.items():
        yield f"  {_cell_name(assignment, drill)}"
        yield f"    {'':<{width}} " + " ".join(f"{pretty(root):<2}" for root in roots)
        for student, one in zip(view.students, view.standings, strict=True):
            if only and student != only:
                continue
            cells = {cell.root: cell for cell in one.cells if cell.drill == drill} if one is not None else {}
            signs = [STATE_SIGNS[cells[root].state if root in cells else NOT_STARTED] for root in roots]
            yield f"    {shown(student):<{width}} " + " ".join(f"{sign:<2}" for sign in signs)
    for student, one in zip(view.students, view.standings, strict=True):
        if one is None or (only and student != only):
            continue
        for cell in one.cells:
            if cell.state == "stuck" or (only and cell.lacking and cell.tries):
                cause = f" ({CAUSES.get(cell.cause, cell.cause)})" if cell.cause else ""
                where = f"{_cell_name(assignment, cell.drill)} on {pretty(cell.root)}"
                yield f"  {shown(student)}, {where}: {cell.lacking}{cause}"
    for missed in view.missed[:3]:
        cause = f"; most often: {CAUSES.get(missed.cause, missed.cause)}" if missed.cause else ""
        yield (
            f"  Teach next: {_cell_name(assignment, missed.drill)} on {pretty(missed.root)}, begun and not done by "
            f"{missed.begun}, {missed.wrong} of {missed.tries} first tries wrong{cause}"
        )


def _view_object(assignment: Assignment, view: ClassView) -> dict[str, Any]:
    return {
        "assignment": assignment.mark,
        "title": assignment.title,
        "due": None if assignment.due is None else assignment.due.isoformat(),
        "students": [
            {"student": student, "state": "not started" if one is None else one.state,
             "cells": [] if one is None else [asdict(cell) for cell in one.cells]}
            for student, one in zip(view.students, view.standings, strict=True)
        ],
        "teach_next": [asdict(missed) for missed in view.missed],
    }  # fmt: skip


# -- arguments


def _records(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--records", metavar="FILE", help="use this record")


def _assign_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("set", metavar="SET", help="the drill set or lesson, by file or part of its name")
    parser.add_argument("--mark", help="a short mark of its own, of letters and digits; without it one is made")
    parser.add_argument("--title", help="what the student reads")
    parser.add_argument("--student", metavar="NAME", help="for whom; without it, for anyone")
    parser.add_argument("--teacher", metavar="NAME", help="from whom")
    parser.add_argument("--due", metavar="DATE", help="until when, as in 2026-12-04")
    parser.add_argument("--note", help="a word to the student")
    parser.add_argument("--roots", metavar="C,F,Bb", help="only these roots")
    for name, metavar, words in (
        ("--tries", "N", "how many of the latest tries count (3)"),
        ("--accuracy", "PERCENT", "how many of them must be right (100)"),
        ("--time-ms", "MS", "how fast, as the median of their response times"),
        ("--tempo", "BPM", "of a lesson: clean in time at this tempo, in each key"),
        ("--days", "N", "on how many different days (1)"),
    ):
        parser.add_argument(name, type=int, metavar=metavar, help=words)
    parser.add_argument("--output", metavar="FILE", help=f"where to write it; without it MARK{ENDING}")
    _records(parser)


def _open_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="an assignment's file")
    _records(parser)


def _assignments_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object for each assignment")
    _records(parser)


def _hand_in_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("mark", metavar="MARK", help="the assignment's mark, as trainer assignments tells it")
    parser.add_argument("--student", metavar="NAME", help="your name, where the settings do not say it")
    parser.add_argument("--output", metavar="FILE", help="where to write it")
    _records(parser)


def _collect_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="a file that a student handed in")
    parser.add_argument("--json", action="store_true", help="one JSON object for each file")
    _records(parser)


def _desk_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("mark", nargs="?", metavar="MARK", help="only this assignment")
    parser.add_argument("--student", metavar="NAME", help="only this student, with all that is lacking")
    parser.add_argument("--students", metavar="A,B", help="who is in the class, also where nothing was handed in")
    parser.add_argument("--json", action="store_true", help="one JSON object for each assignment")
    _records(parser)


COMMANDS: Final = (
    CommandRow(
        "assign",
        assign,
        "write an assignment for a student or a class",
        "  trainer assign guide-tones --due 2026-12-04 --tries 4 --accuracy 75\n"
        "  trainer assign kettle --student 'Ada' --tempo 120 --days 2 --output ada.assignment.toml",
        _assign_arguments,
    ),
    CommandRow(
        "open",
        open_assignments,
        "open an assignment from your teacher",
        "  trainer open week-12.assignment.toml",
        _open_arguments,
    ),
    CommandRow(
        "assignments",
        assignments,
        "tell your assignments and what is still lacking",
        "  trainer assignments\n  trainer assignments --json",
        _assignments_arguments,
    ),
    CommandRow(
        "hand-in",
        hand_in,
        "write the file that you hand in for an assignment",
        "  trainer hand-in guide-tones-20261125\n  trainer hand-in week-12 --student 'Ada' --output ada.results",
        _hand_in_arguments,
    ),
    CommandRow(
        "collect",
        collect,
        "read what students handed in, graded anew from what they played",
        "  trainer collect ada.results ben.results\n  trainer collect *.results --json",
        _collect_arguments,
    ),
    CommandRow(
        "desk",
        desk,
        "see who is done, who is stuck and why, and what to teach next",
        "  trainer desk\n  trainer desk week-12 --students 'Ada,Ben'\n  trainer desk week-12 --student Ada --json",
        _desk_arguments,
    ),
)
