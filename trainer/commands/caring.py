"""Looking after the program: settings, a look at everything it rests on, and completion in the shell."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, NO, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.storage.settings import Setting, SettingFault

SHELLS: Final = ("bash", "zsh", "fish")


# -- settings


def settings(options: argparse.Namespace) -> int:
    """Show every setting with what it means, or one, or change one."""
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places
    from trainer.storage.settings import SETTINGS, change_settings, read_settings

    try:
        path = Places.found().settings
        if options.name is None:
            rows: tuple[Setting, ...] = SETTINGS
        else:
            rows = tuple(row for row in SETTINGS if row.name == options.name)
            if not rows:
                raise Refusal(f"there is no setting {options.name!r}; {_near(options.name)}", USED_WRONGLY)
        if options.value is not None:
            faults: tuple[SettingFault, ...] = ()
            chosen = change_settings(path, {rows[0].name: _read_value(rows[0], options.value)})
        else:
            chosen, faults = read_settings(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    for fault in faults:
        print(f"trainer: {fault}", file=sys.stderr)
    if options.json:
        values = {row.name: getattr(chosen, row.name) for row in rows}
        print(json_line({"file": str(path), "settings": values}))
    elif options.name is not None:
        print(f"{rows[0].name} = {_written(getattr(chosen, rows[0].name))}")
        if options.value is None:
            print("\n".join(_explained(rows[0])))
    else:
        print(
            f"The settings file is {path}{'' if path.exists() else ' (not there yet: every setting has its default)'}."
        )
        for row in rows:
            print(f"\n{row.name} = {_written(getattr(chosen, row.name))}")
            print("\n".join(_explained(row)))
    return UNUSABLE if faults else DONE


def _explained(row: Setting) -> list[str]:
    return [f"    {row.explanation}", f"    Here may stand: {row.expected}. Default: {_written(row.default)}."]


def _written(value: str | int | bool) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)


def _read_value(row: Setting, text: str) -> str | int | bool:
    """A value as typed on the command line, in the type of its setting; `change_settings` refuses what is left."""
    if row.type is bool:
        return {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}.get(
            text.casefold(), text
        )
    if row.type is int:
        try:
            return int(text)
        except ValueError:
            return text
    return text


def _near(name: str) -> str:
    from difflib import get_close_matches

    from trainer.storage.settings import SETTINGS

    names = [row.name for row in SETTINGS]
    near = get_close_matches(name, names, n=1)
    return f"did you mean {near[0]}?" if near else f"there are {', '.join(names)}"


# -- a look at everything


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: what it is, what was found, whether it stands in the way, and what to do about it."""

    what: str
    found: str
    good: bool = True
    remedy: str = ""


def doctor(options: argparse.Namespace) -> int:
    """Look at everything the program rests on; the answer is no where something stands in the way."""
    findings = [finding for look in LOOKS for finding in look(options)]
    good = all(finding.good for finding in findings)
    if options.json:
        print(json_line({"good": good, "findings": [asdict(finding) for finding in findings]}))
        return DONE if good else NO
    width = max(len(finding.what) for finding in findings)
    for finding in findings:
        sign = "ok  " if finding.good else "look"
        print(f"{sign}  {finding.what:<{width}}  {finding.found}")
        if finding.remedy:
            print(f"      {'':<{width}}  {finding.remedy}")
    print("\nNothing stands in the way." if good else "\nWhat is marked 'look' stands in the way or will one day.")
    return DONE if good else NO


def _versions(options: argparse.Namespace) -> Iterator[Finding]:
    import platform
    from importlib.metadata import PackageNotFoundError, version

    yield Finding("Python", f"{platform.python_version()} on {platform.system()} {platform.machine()}")
    for name, use in (
        ("textual", "the screen"),
        ("mido", "MIDI files"),
        ("tomlkit", "sets that keep their comments"),
        ("fsrs", "what to practise next"),
    ):
        try:
            yield Finding(name, f"{version(name)} ({use})")
        except PackageNotFoundError:
            yield Finding(name, f"not installed ({use})", False, "install the program again: pip install .")
    for name, use, extra in (
        ("verovio", "engraved pages", "print"),
        ("psycopg", "a school's database", "postgres"),
    ):
        try:
            yield Finding(name, f"{version(name)} ({use})")
        except PackageNotFoundError:
            yield Finding(name, f"not installed ({use})", True, f"only where you want it: pip install '.[{extra}]'")


def _terminal(options: argparse.Namespace) -> Iterator[Finding]:
    import os
    import shutil

    if not (sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()):
        yield Finding("terminal", "none here: output goes elsewhere", True, "drills run with --plain or --headless")
        return
    size = shutil.get_terminal_size()
    kind = os.environ.get("TERM", "")
    small = size.columns < 80 or size.lines < 24
    yield Finding(
        "terminal",
        f"{size.columns} columns, {size.lines} lines, TERM {kind or 'not set'}",
        kind not in ("", "dumb"),
        "with this terminal use --plain"
        if kind in ("", "dumb")
        else "at 80 columns and 24 lines everything is seen"
        if small
        else "",
    )
    encoding = sys.stdout.encoding or "unknown"
    utf8 = encoding.replace("-", "").casefold() == "utf8"
    yield Finding("encoding", encoding, True, "" if utf8 else "flats are written as b; UTF-8 shows them as they are")
    if "NO_COLOR" in os.environ:
        yield Finding("colours", "left out, as NO_COLOR asks")


def _midi(options: argparse.Namespace) -> Iterator[Finding]:
    from trainer.inputs.ports import list_ports
    from trainer.midi.names import printable
    from trainer.sound import list_outputs

    listing = list_ports()
    if listing.names:
        yield Finding("pianos to hear", f"{', '.join(listing.names)} ({listing.backend})")
    else:
        found = listing.problem or "no MIDI port found"
        yield Finding("pianos to hear", found, False, "switch the piano on and connect its USB socket: trainer ports")
    outputs = list_outputs()
    if outputs.names:
        yield Finding("ports to sound on", f"{', '.join(map(printable, outputs.names))} ({outputs.backend})")
    else:
        yield Finding("ports to sound on", outputs.problem, True, "drills run without; hear it, click and bass do not")


def _folders(options: argparse.Namespace) -> Iterator[Finding]:
    import os

    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    try:
        places = Places.found()
    except StorageError as error:
        yield Finding("folders", str(error), False)
        return
    for what, folder in (("records", places.data), ("settings", places.config), ("log", places.state)):
        there = folder
        while not there.exists() and there != there.parent:
            there = there.parent
        usable = there.is_dir() and os.access(there, os.W_OK)
        yield Finding(
            f"folder of {what}", str(folder), usable, "" if usable else f"it cannot be written: see to {there}"
        )
    if places.shipped_drills is None:
        yield Finding("shipped sets", "missing", False, "install the program again: pip install .")


def _record(options: argparse.Namespace) -> Iterator[Finding]:
    from pathlib import Path

    from trainer.commands.store import open_records
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places
    from trainer.storage.records import is_address
    from trainer.storage.settings import read_settings

    try:
        places = Places.found()
        place = options.records or read_settings(places.settings)[0].records or places.records
        if not is_address(place) and not Path(place).exists():
            yield Finding("record", f"{place}: not begun yet")
            return
        with open_records(place) as records:
            problems = records.check()
            count = records.count()
            backups = records.backups()
            where = records.path
    except (StorageError, Refusal) as error:
        yield Finding("record", str(error), False)
        return
    if is_address(place):
        kept = f"{where}: {count} attempts"
    else:
        kept = f"{count} attempts, {where.stat().st_size / 1e6:.1f} MB, {len(backups)} backups"
    yield Finding("record", kept if not problems else f"{kept}; {problems[0]}", not problems)


def _files(options: argparse.Namespace) -> Iterator[Finding]:
    from trainer.commands.sets import read_set
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places
    from trainer.storage.settings import read_settings

    try:
        places = Places.found()
        _, faults = read_settings(places.settings)
        files = places.drill_files() + places.lesson_files()
    except StorageError as error:
        yield Finding("settings", str(error), False)
        return
    yield Finding("settings", "no fault" if not faults else str(faults[0]), not faults)
    faulty: list[str] = []
    for path in files:
        try:
            _, found = read_set(path)
        except Refusal as refusal:
            faulty.append(str(refusal))
            continue
        if found:
            faulty.append(str(found[0]))
    told = f"{len(files)} files, " + ("no fault" if not faulty else f"{len(faulty)} with faults: {faulty[0]}")
    yield Finding(
        "sets and lessons", told, not faulty, f"all of them: trainer check {files[0].parent}" if faulty else ""
    )


def _clock(options: argparse.Namespace) -> Iterator[Finding]:
    from time import get_clock_info, perf_counter_ns

    step_ns = max(1, min(_steps(perf_counter_ns)))
    stated = get_clock_info("perf_counter")
    good = stated.monotonic and step_ns < 1_000_000
    yield Finding("clock", f"steps of {step_ns / 1000:.1f} microseconds", good)


def _steps(clock: Callable[[], int]) -> list[int]:
    stamps = [clock() for _ in range(1000)]
    return [later - earlier for earlier, later in zip(stamps, stamps[1:], strict=False) if later > earlier] or [0]


LOOKS: Final[tuple[Callable[[argparse.Namespace], Iterator[Finding]], ...]] = (
    _versions,
    _terminal,
    _midi,
    _folders,
    _record,
    _files,
    _clock,
)
"""What `trainer doctor` looks at, in this order."""


# -- completion


def completion(options: argparse.Namespace) -> int:
    """Print what a shell needs to complete the program's commands, options, sets and ports."""
    from argcomplete.shell_integration import shellcode

    print(shellcode(["trainer"], shell=options.shell))
    return DONE


def complete(parser: argparse.ArgumentParser) -> None:
    """Answer a shell that asks how a half-written command may go on, and end; see `completion`."""
    import argcomplete
    from argcomplete.completers import FilesCompleter

    files = FilesCompleter()

    def words(find: Callable[[], list[str]], with_files: bool = False) -> Callable[..., list[str]]:
        def found(prefix: str = "", **_: object) -> list[str]:
            try:
                fitting = [word for word in find() if word.startswith(prefix)]
            except Refusal:
                fitting = []
            return [*fitting, *files(prefix)] if with_files else fitting

        return found

    completers = {
        "SET": words(_set_names, with_files=True),
        "CHART": words(_form_names, with_files=True),
        "SETTING": words(_setting_names),
        "CHAPTER": words(_chapter_names),
        "PORT|FILE.mid|computer|script": words(_input_names, with_files=True),
    }
    for action in _actions(parser):
        if isinstance(action.metavar, str) and action.metavar in completers:
            action.completer = completers[action.metavar]  # type: ignore[attr-defined]
    argcomplete.autocomplete(parser)


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from _actions(below)
        yield action


def _set_names() -> list[str]:
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places, name_of

    try:
        places = Places.found()
        return [name_of(path) for path in (*places.drill_files(), *places.lesson_files())]
    except StorageError as error:
        raise Refusal(str(error)) from None


def _form_names() -> list[str]:
    from trainer.charts import FORMS

    return [row.name for row in FORMS]


def _setting_names() -> list[str]:
    from trainer.storage.settings import SETTINGS

    return [row.name for row in SETTINGS]


def _chapter_names() -> list[str]:
    from trainer.commands.guiding import every_chapter

    return [chapter.name for chapter in every_chapter()]


def _input_names() -> list[str]:
    from trainer.inputs.ports import list_ports

    return [*list_ports().names, "computer", "script"]


def _settings_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="?", metavar="SETTING", help="one setting by name")
    parser.add_argument("value", nargs="?", metavar="VALUE", help="what it is to be")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def _doctor_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--records", metavar="FILE", help="look at this record")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def _completion_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS, help="your shell")


COMMANDS: Final = (
    CommandRow(
        "settings",
        settings,
        "show every setting and what it means, or change one",
        "  trainer settings\n  trainer settings reach_semitones\n  trainer settings reach_semitones 16",
        _settings_arguments,
    ),
    CommandRow(
        "doctor",
        doctor,
        "look at everything the program rests on, for reports of trouble",
        "  trainer doctor\n  trainer doctor --json",
        _doctor_arguments,
    ),
    CommandRow(
        "completion",
        completion,
        "print what your shell needs to complete commands, sets and ports",
        '  eval "$(trainer completion bash)"          in ~/.bashrc\n'
        '  eval "$(trainer completion zsh)"           in ~/.zshrc, after compinit\n'
        "  trainer completion fish | source           in ~/.config/fish/config.fish",
        _completion_arguments,
    ),
)
