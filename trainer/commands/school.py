"""A school: its database, its members, and practice sent to it."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

from trainer.commands.assigning import GIVEN, take_in_text
from trainer.commands.refusals import DONE, NO, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.store import OPEN, Store, with_password
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.storage.records import Records
    from trainer.storage.school import School

PASSWORD_VARIABLE: Final = "TRAINER_NEW_PASSWORD"

_Answer = TypeVar("_Answer")


def school(options: argparse.Namespace) -> int:
    """Do one thing with the database of a school."""
    action: Callable[[argparse.Namespace], int] = options.action
    return action(options)


def _address(options: argparse.Namespace) -> str:
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places
    from trainer.storage.records import is_address
    from trainer.storage.settings import read_settings

    try:
        address = options.database or read_settings(Places.found().settings)[0].school
    except StorageError as error:
        raise Refusal(str(error)) from None
    if not address:
        raise Refusal(
            "no database is named; give it with --database postgresql://name@host/database, or once for all: "
            "trainer settings school postgresql://name@host/database",
            USED_WRONGLY,
        )
    if not is_address(address):
        raise Refusal(f"{address!r} is no address such as postgresql://name@host/database", USED_WRONGLY)
    return str(address)


def _with_school(options: argparse.Namespace, what: Callable[[School], _Answer]) -> _Answer:
    from trainer.storage.files import StorageError

    address = _address(options)
    try:
        from trainer.storage.school import School

        opened = with_password(lambda password: School.open(address, password=password))
        try:
            return what(opened)
        finally:
            opened.close()
    except StorageError as error:
        raise Refusal(str(error)) from None


# -- the keeper


def prepare(options: argparse.Namespace) -> int:
    _with_school(options, lambda opened: opened.prepare())
    print("The database is ready. Add who is to use it: trainer school add-student NAME --class CLASS")
    return DONE


def add(options: argparse.Namespace) -> int:
    password = None if options.no_password else _new_password(options.name)
    new = _with_school(
        options, lambda opened: opened.add(options.name, options.part, options.classes or (), password=password)
    )
    what = f"{options.name} is a {options.part}"
    print(f"{what} now." if new else f"{what} already{'; the password is new' if password is not None else ''}.")
    return DONE


def _new_password(name: str) -> str:
    """From the environment, or asked for twice; never from the command line, where others could see it."""
    if (given := os.environ.get(PASSWORD_VARIABLE)) is not None:
        return given
    if sys.stdin is None or not sys.stdin.isatty():
        raise Refusal(
            f"a password is asked for in a terminal; elsewhere put it into {PASSWORD_VARIABLE}, or say --no-password",
            USED_WRONGLY,
        )
    from getpass import getpass

    password = getpass(f"A password for {name}: ")
    if password != getpass("Once more: "):
        raise Refusal("the two are not the same; nothing was changed", USED_WRONGLY)
    if not password:
        raise Refusal("an empty password lets nobody in; nothing was changed", USED_WRONGLY)
    return password


def remove(options: argparse.Namespace) -> int:
    def gone(opened: School) -> bool:
        return opened.leave(options.name, options.of_class) if options.of_class else opened.remove(options.name)

    if not _with_school(options, gone):
        print(f"Nobody of that name is there: {options.name}.")
        return NO
    where = f"no longer in {options.of_class}" if options.of_class else "let in no longer; what they played stays"
    print(f"{options.name} is {where}.")
    return DONE


def members(options: argparse.Namespace) -> int:
    found = _with_school(options, lambda opened: opened.members())
    for one in found:
        if options.json:
            print(json_line({"name": one.name, "part": one.part, "classes": list(one.classes)}))
        else:
            print(f"{one.part:<8} {one.name}  {', '.join(one.classes)}".rstrip())
    return DONE if found else NO


# -- the teacher


def assign(options: argparse.Namespace) -> int:
    """Give an assignment's file to everybody of a class, or to one student."""
    from trainer.drills.assignments import read_assignment
    from trainer.storage.files import StorageError, read_text, utc_now
    from trainer.storage.school import taught

    try:
        text = read_text(Path(options.file))
        assignment, faults = read_assignment(text, options.file)
        if assignment is None:
            raise Refusal("\ntrainer: ".join(map(str, faults)))
        with _server(options) as server:
            everybody = taught(server, options.of_class)
            to = [name for name in everybody if options.student in (None, name)]
            if not to:
                raise Refusal("nobody of that name is in a class of yours")
            with server.database.writing():
                server.keep_assignment(assignment.mark, text, utc_now(), GIVEN)
                for name in to:
                    server.keep_assignment(assignment.mark, text, utc_now(), OPEN, student=name)
    except StorageError as error:
        raise Refusal(str(error)) from None
    print(f"{assignment.mark} is given to {len(to)}: {', '.join(to)}.")
    return DONE


def _server(options: argparse.Namespace) -> Records:
    from trainer.storage.records import Records
    from trainer.storage.sending import patiently

    address = _address(options)

    def opened(password: str | None) -> Records:
        return patiently(lambda: Records.open(address, password=password))

    return with_password(opened)


# -- the student


def send_practice(options: argparse.Namespace) -> int:
    """Send what was played to the school, and take in what it assigned."""
    from trainer.storage.files import StorageError, utc_now
    from trainer.storage.sending import newly_assigned, send

    store = Store(options.records)
    try:
        with _server(options) as server:
            if not server.shared:
                raise Refusal(f"{server.path} is no school's database; its keeper runs: trainer school prepare")
            sent = send(store.records, server, utc_now())
            new = newly_assigned(store.records, server)
            where = str(server.path)
        marks = [take_in_text(store, kept.text, where).mark for kept in new]
    except StorageError as error:
        raise Refusal(f"{error} What was confirmed is there; sending again sends the rest.") from None
    finally:
        store.close()
    if options.json:
        print(json_line({"attempts": sent.attempts, "passes": sent.passes, "assignments": marks}))
        return DONE
    print(f"Sent: {sent.attempts} attempts, {sent.passes} passes that were not there yet.")
    if marks:
        print(f"Assigned to you: {', '.join(marks)}. It is part of today's practice.")
    return DONE


# -- arguments


def _arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(title="what to do", metavar="ACTION", required=True, parser_class=type(parser))

    def action(name: str, run: Callable[[argparse.Namespace], int], words: str) -> argparse.ArgumentParser:
        added = actions.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
        added.set_defaults(action=run)
        added.add_argument(
            "--database", metavar="ADDRESS", help="postgresql://name@host/database; without it, the setting school"
        )
        return added

    action("prepare", prepare, "bring a database up to date and set who may do what; twice is the same as once")
    for part in ("student", "teacher"):
        adding = action(f"add-{part}", add, f"let a {part} in, put them into classes, or give them a new password")
        adding.set_defaults(part=part)
        adding.add_argument("name", metavar="NAME")
        adding.add_argument("--class", dest="classes", action="append", metavar="CLASS", help="may be given repeatedly")
        adding.add_argument(
            "--no-password",
            action="store_true",
            help=f"set none; otherwise it is asked for, or read from {PASSWORD_VARIABLE}",
        )
    removing = action("remove", remove, "let somebody in no longer, or take them out of one class")
    removing.add_argument("name", metavar="NAME")
    removing.add_argument("--class", dest="of_class", metavar="CLASS", help="only out of this class")
    listing = action("list", members, "list students, teachers and their classes")
    listing.add_argument("--json", action="store_true", help="one JSON object for each")
    assigning = action("assign", assign, "give an assignment's file to the students of your classes")
    assigning.add_argument("file", metavar="FILE", help="what trainer assign wrote")
    assigning.add_argument("--class", dest="of_class", metavar="CLASS", help="only to this class")
    assigning.add_argument("--student", metavar="NAME", help="only to this student")
    sending = action("send", send_practice, "send what you played, and take in what was assigned to you")
    sending.add_argument("--records", metavar="FILE", help="send what is in this record")
    sending.add_argument("--json", action="store_true", help="one JSON object: how many attempts, passes, assignments")


COMMANDS: Final = (
    CommandRow(
        "school",
        school,
        "share one database among students and teachers",
        "  trainer school prepare --database postgresql://keeper@server/practice\n"
        "  trainer school add-teacher 'Ms. Quill' --class evening\n"
        "  trainer school add-student 'Robin' --class evening\n"
        "  trainer school assign shells.toml --class evening\n"
        "  trainer school send",
        _arguments,
    ),
)
