"""Assignments: one file to hand over, with the set inside, for whom, until when, and what counts as done.

Fields by table (``*`` must stand there):

============  ==================================================================================================
top           ``assignment*`` (its own mark, letters and digits) ``title*`` ``set*`` or ``lesson*`` (the text of a
              drill set, or of a lesson with its chart inside) ``student`` ``teacher`` ``due`` (a date) ``note``
done          ``roots`` ``tries`` ``accuracy_percent`` ``response_ms`` ``tempo_bpm`` ``days``
============  ==================================================================================================

*Done* is decided for each root of each drill: of its latest ``tries`` first answers at least ``accuracy_percent`` were
right with nothing shown, the median of their response times is at most ``response_ms``, and it was right on ``days``
different days. For a lesson with ``tempo_bpm``, each key needs a clean pass at that tempo on as many days.

Files come from other people: texts are data, bounded, and refused where they hold control characters; the set inside
is read by the reader of sets, its faults told at their lines of the whole file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from hashlib import sha256
from typing import Final

from trainer.drills.checks import NOTHING, Checks, Nothing, shown
from trainer.drills.lesson_reading import read_lesson
from trainer.drills.lessons import Lesson
from trainer.drills.places import places
from trainer.drills.reading import read
from trainer.drills.syntax import parsed
from trainer.drills.values import ABOUT_LETTERS, TITLE_LETTERS, DrillSet, Fault
from trainer.drills.writing import long_text, text_value
from trainer.leading import LeadingError
from trainer.pitch import TWELVE_ROOTS, Note

NAME_LETTERS: Final = 80
MARK_LETTERS: Final = 64
MOST_TRIES: Final = 100
MOST_DAYS: Final = 60

_MARK: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*")
_TOP: Final = ("assignment", "title", "student", "teacher", "due", "note", "done", "set", "lesson")
_EXPECTED: Final = {
    "assignment": 'a mark of its own, of letters and digits, such as "week-12-shells"',
    "title": 'a title such as "Shells by Friday"',
    "set": "the text of a drill set between three quotes",
    "lesson": "the text of a lesson between three quotes",
    "due": "a date such as 2026-12-04",
    "roots": 'a list of roots such as ["C", "F", "Bb"]; without it, every root of the set',
}


@dataclass(frozen=True, slots=True)
class Done:
    """What counts as done; see the head of this module. `roots` None: all that the set asks for."""

    roots: tuple[Note, ...] | None = None
    tries: int = 3
    accuracy_percent: int = 100
    response_ms: int | None = None
    tempo_bpm: int | None = None
    days: int = 1

    @property
    def sentence(self) -> str:
        """What is asked, as a teacher says it.

        >>> Done(tries=4, accuracy_percent=75, response_ms=2500, days=2).sentence
        'On every root: 3 of the latest 4 right at the first try, within 2.5 s, on 2 different days.'
        """
        where = "every root" if self.roots is None else ", ".join(root.name for root in self.roots)
        latest = f"{least_right(self)} of the latest {self.tries} " if self.tries > 1 else ""
        parts = [f"{latest}right at the first try"]
        if self.response_ms is not None:
            parts.append(f"within {self.response_ms / 1000:g} s")
        if self.tempo_bpm is not None:
            parts.append(f"clean at {self.tempo_bpm} beats a minute")
        if self.days > 1:
            parts.append(f"on {self.days} different days")
        return f"On {where}: {', '.join(parts)}."


def least_right(done: Done) -> int:
    """How many of the latest `tries` must be right: the smallest number that reaches the percentage."""
    return -(-done.tries * done.accuracy_percent // 100)


@dataclass(frozen=True, slots=True)
class Assignment:
    """An assignment as its file says; `text` is the text of the set or lesson inside, `content` what there is to drill
    (of a lesson, its voicings), `lesson` the lesson itself, if it is one."""

    mark: str
    title: str
    content: DrillSet
    text: str
    student: str = ""
    teacher: str = ""
    due: date | None = None
    note: str = ""
    done: Done = field(default_factory=Done)
    lesson: Lesson | None = None

    @property
    def digest(self) -> str:
        """What tells this assignment from another of the same mark: of what is asked, not of the words around it."""
        asked = "\n".join((self.mark, self.text, repr(self.done)))
        return sha256(asked.encode()).hexdigest()

    @property
    def places(self) -> tuple[tuple[int, Note], ...]:
        """Every (drill, root) that is to be done, drill by drill, roots in the cycle of fourths."""
        order = {note.pitch_class: at for at, note in enumerate(TWELVE_ROOTS)}
        wanted = None if self.done.roots is None else {root.pitch_class for root in self.done.roots}
        return tuple(
            (index, root)
            for index, drill in enumerate(self.content.drills)
            for root in sorted(set(drill.pool), key=lambda root: order[root.pitch_class])
            if wanted is None or root.pitch_class in wanted
        )

    def drill_of(self, quality: str, degrees: Sequence[str]) -> int | None:
        """The drill that an answer in a quality and degrees counts for, whatever set asked for it; None for none."""
        for index, drill in enumerate(self.content.drills):
            if drill.quality.text == quality and [each.name for each in drill.recipe.degrees] == list(degrees):
                return index
        return None

    def asks_for(self, quality: str, degrees: Sequence[str], root: Note) -> bool:
        """Whether an answer counts for this assignment."""
        index = self.drill_of(quality, degrees)
        return index is not None and any(
            index == drill and root.pitch_class == each.pitch_class for drill, each in self.places
        )


def read_assignment(text: str, file_name: str) -> tuple[Assignment | None, tuple[Fault, ...]]:
    """An assignment from the text of its file, or None and every fault in the order of the file. Never raises."""
    text = text.removeprefix("\ufeff")
    data, text, broken = parsed(text, file_name)
    if data is None:
        return None, broken
    checks = Checks(file_name, places(text), whole=not broken, faults=list(broken))
    found = _assignment(checks, data)
    if checks.faults or isinstance(found, Nothing):
        return None, tuple(sorted(checks.faults, key=lambda fault: (fault.line, fault.column)))
    return found, ()


def is_assignment(text: str) -> bool:
    """Whether a TOML text means to be an assignment (it may be faulty): its first field names one.

    >>> is_assignment('# from me\\nassignment = "week-1"\\n'), is_assignment('title = "Shells"\\n')
    (True, False)
    """
    return re.match(r"(?:\ufeff)?(?:[ \t]*(?:#[^\n]*)?\r?\n)*[ \t]*assignment[ \t]*=", text) is not None


def _assignment(checks: Checks, data: Mapping[str, object]) -> Assignment | Nothing:
    for name in data:
        if name not in _TOP:
            checks.unknown((name,), _TOP)
    kind = "lesson" if "lesson" in data else "set"
    for name in ("assignment", "title", kind):
        if name not in data:
            checks.missing((name,), _EXPECTED[name])
    if "set" in data and "lesson" in data:
        checks.fault(("set",), None, "a set or a lesson", "a set and a lesson stand here; leave one out", at_key=True)
    mark = checks.text(("assignment",), data.get("assignment", ""), _EXPECTED["assignment"], MARK_LETTERS, empty=True)
    if isinstance(mark, str) and "assignment" in data and not _MARK.fullmatch(mark):
        message = f"{shown(mark)} is no mark; write {_EXPECTED['assignment']}"
        checks.fault(("assignment",), mark, _EXPECTED["assignment"], message)
    title = checks.text(("title",), data.get("title", ""), _EXPECTED["title"], TITLE_LETTERS, empty="title" not in data)
    student, teacher = (
        checks.text((name,), data.get(name, ""), "a name on one line", NAME_LETTERS, empty=True)
        for name in ("student", "teacher")
    )
    note = checks.text(("note",), data.get("note", ""), "a text for the student", ABOUT_LETTERS, lines=True, empty=True)
    due = _due(checks, data["due"]) if "due" in data else None
    inside = data.get(kind, "")
    content: DrillSet | Nothing = NOTHING
    lesson: Lesson | None = None
    if not isinstance(inside, str):
        checks.wrong_kind((kind,), inside, _EXPECTED[kind])
    elif kind in data:
        content, lesson = _content(checks, kind, inside)
    done = _done(checks, data.get("done", {}), content)
    if (
        checks.faults
        or isinstance(content, Nothing)
        or isinstance(done, Nothing)
        or isinstance(due, Nothing)
        or not isinstance(inside, str)
    ):
        return NOTHING
    texts = [each for each in (mark, title, student, teacher, note) if isinstance(each, str)]
    return Assignment(texts[0], texts[1], content, inside, texts[2], texts[3], due, texts[4], done, lesson)


def _due(checks: Checks, value: object) -> date | Nothing:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    return checks.fault(("due",), value, _EXPECTED["due"], f"{shown(value)} is no date; write {_EXPECTED['due']}")


def _content(checks: Checks, kind: str, text: str) -> tuple[DrillSet | Nothing, Lesson | None]:
    """The set or lesson inside; its faults are told where they stand in the whole file."""
    found: DrillSet | None = None
    lesson: Lesson | None = None
    if kind == "set":
        found, faults = read(text, checks.file)
    else:
        lesson, faults = read_lesson(text, checks.file)
        try:
            found = None if lesson is None else lesson.drill_set()
        except LeadingError as error:
            return checks.fault((kind,), None, "a lesson that can be voiced", str(error)), None
    lines = text.replace("\r\n", "\n").split("\n")
    for fault in faults:
        letter = sum(len(line) + 1 for line in lines[: fault.line - 1]) + fault.column - 1
        inner = f"{fault.field}: {fault.message}" if fault.field else fault.message
        checks.fault((kind,), None, fault.expected, inner, letter=min(letter, max(0, len(text) - 1)))
    return (NOTHING, None) if found is None or faults else (found, lesson)


_NUMBERS: Final = {
    "tries": (1, MOST_TRIES, "a whole number of tries"),
    "accuracy_percent": (1, 100, "per cent as a whole number"),
    "response_ms": (200, 60_000, "milliseconds as a whole number"),
    "tempo_bpm": (20, 400, "beats a minute as a whole number"),
    "days": (1, MOST_DAYS, "a whole number of days"),
}


def _done(checks: Checks, value: object, content: DrillSet | Nothing) -> Done | Nothing:
    table = checks.table(("done",), value, "a table [done] with what counts as done")
    if isinstance(table, Nothing):
        return NOTHING
    found: dict[str, int] = {}
    roots: tuple[Note, ...] | None = None
    names = ("roots", *_NUMBERS)
    for name, item in table.items():
        path = ("done", name)
        if name == "roots":
            roots = _roots(checks, item, content)
        elif name in _NUMBERS:
            low, high, kind = _NUMBERS[name]
            number = checks.number(path, item, low, high, kind)
            if isinstance(number, int):
                found[name] = number
        else:
            checks.unknown(path, names)
    return Done(roots=roots, **found)


def _roots(checks: Checks, value: object, content: DrillSet | Nothing) -> tuple[Note, ...] | None:
    path = ("done", "roots")
    if not isinstance(value, list) or not value:
        checks.fault(path, value, _EXPECTED["roots"], f"{shown(value)} stands here; write {_EXPECTED['roots']}")
        return None
    asked = (
        None if isinstance(content, Nothing) else {root.pitch_class for drill in content.drills for root in drill.pool}
    )
    found: list[Note] = []
    for position, item in enumerate(value):
        root = checks.root((*path, position), item)
        if isinstance(root, Nothing):
            continue
        if asked is not None and root.pitch_class not in asked:
            message = f"{shown(item)} is no root of the set inside; leave it out, or let the set ask for it"
            checks.fault((*path, position), item, "a root that the set asks for", message)
        found.append(root)
    return tuple(dict.fromkeys(found))


def write_assignment(assignment: Assignment) -> str:
    """The text of an assignment's file; `read_assignment` gives the assignment back."""
    lines = [
        "# An assignment: open it with  trainer open FILE  and it joins today's practice until it is done.",
        f"assignment = {text_value(assignment.mark)}",
        f"title = {text_value(assignment.title)}",
    ]
    lines += [
        f"{name} = {text_value(value)}"
        for name, value in (("student", assignment.student), ("teacher", assignment.teacher))
        if value
    ]
    if assignment.due is not None:
        lines.append(f"due = {assignment.due.isoformat()}")
    if assignment.note:
        lines.append(f"note = {long_text(assignment.note)}")
    kind = "set" if assignment.lesson is None else "lesson"
    lines += [f"{kind} = {long_text(assignment.text)}", "", "[done]"]
    done = assignment.done
    if done.roots is not None:
        lines.append("roots = [" + ", ".join(text_value(root.name) for root in done.roots) + "]")
    lines += [f"{name} = {getattr(done, name)}" for name in _NUMBERS if getattr(done, name) is not None]
    return "\n".join(lines) + "\n"
