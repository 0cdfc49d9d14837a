"""The command line and the wiring: the one file directly in `trainer/` that touches the world.

Exit codes: 0 done, 1 the answer is no, 2 used wrongly, 3 a file or port is unusable. Data goes to standard output,
narration and errors to standard error. Nothing heavy is imported before the command that needs it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from random import Random

    from trainer.drills import Drill, DrillSet, Fault
    from trainer.inputs.running import Live, Script, Take
    from trainer.pitch import Note
    from trainer.progress import Attempt, RootFigures
    from trainer.screens.app import Hand, Preferences, SetEntry, Source
    from trainer.session import Command, Session

DONE: Final = 0
NO: Final = 1
USED_WRONGLY: Final = 2
UNUSABLE: Final = 3

BLUETOOTH_MS: Final = 15
"""By how much the windows of hearing are widened on a Bluetooth port, whose stamps scatter (a judgement)."""


class Refusal(Exception):
    """What the command cannot do, as one line for the player, and the exit code that goes with it."""

    def __init__(self, message: str, code: int = UNUSABLE) -> None:
        super().__init__(message)
        self.code = code


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. No traceback reaches a user."""
    parser = _parser()
    options = parser.parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.run
    try:
        code = command(options)
        sys.stdout.flush()
        return code
    except Refusal as refusal:
        print(f"trainer: {refusal}", file=sys.stderr)
        return refusal.code
    except BrokenPipeError:
        # The reader has gone (a pager closed, `head`): end quietly, and keep Python from complaining at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130


# -- spell


def _spell(options: argparse.Namespace) -> int:
    if options.chord == "-":
        for line in sys.stdin:
            symbol = line.rstrip("\r\n")
            _print_spelled(options, symbol, stream=True)
        return DONE
    _print_spelled(options, options.chord, stream=False)
    return DONE


def _print_spelled(options: argparse.Namespace, symbol: str, *, stream: bool) -> None:
    from trainer.chords import ChordError
    from trainer.voicings import VoicingError

    try:
        spelled, explanations = _spelled(options, symbol)
    except ChordError as error:
        if stream and options.json:
            print(json.dumps({"symbol": symbol, "error": str(error), "at": error.at}, ensure_ascii=False))
            return
        if stream:
            print(f"{symbol}: {error}")
            return
        raise Refusal(str(error), USED_WRONGLY) from None
    except VoicingError as error:
        if stream and options.json:
            print(json.dumps({"symbol": symbol, "error": str(error), "at": None}, ensure_ascii=False))
            return
        raise Refusal(str(error), USED_WRONGLY) from None
    if options.json:
        print(json.dumps(({"symbol": symbol} if stream else {}) | spelled, ensure_ascii=False))
        return
    print(f"{symbol}: " if stream else "", end="")
    for line in _spelled_lines(spelled):
        print(line)
    for line in explanations:
        print(f"  {line}")


def _spelled(options: argparse.Namespace, symbol: str) -> tuple[dict[str, Any], list[str]]:
    from trainer.chords import parse
    from trainer.pitch import key_name
    from trainer.voicings import alternatives, place, recipe

    chord = parse(symbol, german=options.german)
    if options.voicing is None:
        spelled: dict[str, Any] = {
            "chord": chord.symbol,
            "degrees": [degree.name for degree in chord.quality.degrees] if chord.root is not None else [],
            "notes": [note.name for note in chord.notes],
            "optional": [degree.name for degree in chord.quality.degrees if degree in chord.quality.optional],
            "bass": chord.bass.name if chord.bass is not None else None,
        }
        reading = getattr(chord, "reading", None)
        if reading:
            spelled["reading"] = reading
        return spelled, []
    if chord.root is None:
        raise Refusal(f"{chord.symbol} is no chord, so there is nothing to voice", USED_WRONGLY)
    chosen = recipe(options.voicing, chord.quality)
    explanations = []
    if options.why:
        for candidate, _, reason in alternatives(chosen, chord.root):
            explanations.append(f"{' '.join(key_name(key) for key in candidate.keys)}: {reason}")
    placed = place(chosen, chord.root)
    spelled = {
        "chord": chord.symbol,
        "voicing": chosen.name,
        "degrees": [degree.name for degree in chosen.degrees],
        "notes": [note.name for note in placed.notes],
        "keys": list(placed.keys),
        "optional": [degree.name for index, degree in enumerate(chosen.degrees) if index in chosen.optional],
    }
    if options.why:
        spelled["why"] = explanations
    return spelled, explanations


def _spelled_lines(spelled: dict[str, Any]) -> Iterator[str]:
    from trainer.grading import pretty_symbol
    from trainer.pitch import Note, note_label, pretty

    title = pretty_symbol(spelled["chord"])
    yield f"{title}, {spelled['voicing']}" if "voicing" in spelled else title
    keys = spelled.get("keys")
    for index in reversed(range(len(spelled["degrees"]))):
        degree = spelled["degrees"][index]
        note = note_label(Note.parse(spelled["notes"][index]))
        optional = "  may be left out" if degree in spelled["optional"] else ""
        key = f"  key {keys[index]}" if keys else ""
        yield f"  {pretty(degree):>4}  {note:<9}{key}{optional}".rstrip()
    if spelled.get("bass"):
        yield f"  bass  {note_label(Note.parse(spelled['bass']))}"
    if spelled.get("reading"):
        yield f"  {spelled['reading']}"


# -- check


def _check(options: argparse.Namespace) -> int:
    faults: list[Fault] = []
    for name in options.files:
        _, found = _read_set(Path(name))
        faults += found
        if not found and not options.json:
            print(f"{name}: no fault found")
    if options.json:
        print(json.dumps([_fault_object(fault) for fault in faults], ensure_ascii=False))
    else:
        for fault in faults:
            print(fault, file=sys.stderr)
    return UNUSABLE if faults else DONE


def _fault_object(fault: Fault) -> dict[str, Any]:
    return {name: getattr(fault, name) for name in ("file", "line", "column", "field", "found", "expected", "message")}


def _read_set(path: Path) -> tuple[DrillSet | None, tuple[Fault, ...]]:
    from trainer import drills
    from trainer.storage.files import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return drills.read(text, str(path))


def _found_set(name: str) -> Path:
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    try:
        return Places.found().find_set(name)
    except StorageError as error:
        raise Refusal(str(error)) from None


def _load_set(name: str) -> DrillSet:
    drill_set, faults = _read_set(_found_set(name))
    if faults or drill_set is None:
        raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
    return drill_set


# -- drill


def _drill(options: argparse.Namespace) -> int:
    if not options.headless:
        return _open_screen(options)
    from random import Random

    from trainer.inputs.source import InputError

    drill_set = _load_set(options.set)
    try:
        source = _without_screen(options, None)
        store = _Store(options.records)
        try:
            session = _session(Random(options.seed), drill_set, store, source.name, source.stamp_origin, {})
            printer = _Printer(options.json)
            for event in source.run(session):
                store.keep(event)
                printer.show(event, session.attempts)
        finally:
            store.close()
    except InputError as error:
        raise Refusal(str(error)) from None
    return DONE


def _session(
    chance: Random, drill_set: DrillSet, store: _Store, port: str, stamp_origin: str, controls: Mapping[int, Command]
) -> Session:
    """A session of a set, its order drawn by chance, weak roots taken from the record."""
    from uuid import uuid4

    from trainer.capture import MILLISECOND_NS, Capture, Windows
    from trainer.inputs.ports import is_bluetooth
    from trainer.session import Particulars, Session, tasks
    from trainer.storage.files import utc_now
    from trainer.voicings import VoicingError

    weakness = [store.weakness(drill) for drill in drill_set.drills]
    try:
        plan = tasks(drill_set, chance, weakness, store.settings.reach_semitones)
    except VoicingError as error:
        raise Refusal(str(error)) from None
    windows = Windows().widened(BLUETOOTH_MS * MILLISECOND_NS) if is_bluetooth(port) else Windows()
    particulars = Particulars(uuid4().hex, utc_now, port, stamp_origin, controls)
    return Session(plan, particulars, Capture(windows))


def _without_screen(options: argparse.Namespace, channel: int | None) -> Take | Script | Live:
    """What plays where there is no screen: a take, the scripted player, or a live port, as ``--input`` says."""
    from random import Random

    from trainer.inputs.running import Live, Script, Take

    wanted: str | None = options.input
    if wanted == "script":
        return Script(Random(options.seed))
    if wanted == "computer":
        raise Refusal("the computer keyboard needs the screen; leave --headless out", USED_WRONGLY)
    if wanted is not None and _is_take(wanted):
        return Take(wanted)
    from trainer.inputs.ports import PortInput

    return Live(PortInput([wanted] if wanted else [], channel=channel))


def _is_take(wanted: str) -> bool:
    return wanted.lower().endswith((".mid", ".midi", ".smf")) or Path(wanted).is_file()


class _Store:
    """The player's record and settings."""

    def __init__(self, path: str | None) -> None:
        from trainer.storage.files import StorageError
        from trainer.storage.places import Places
        from trainer.storage.records import Records
        from trainer.storage.settings import read_settings

        try:
            self.places = Places.found()
            self.settings, faults = read_settings(self.places.settings)
            self.records = Records.open(self.places.records if path is None else Path(path))
        except StorageError as error:
            raise Refusal(str(error)) from None
        for notice in (*faults, *self.records.notices):
            print(f"trainer: {notice}", file=sys.stderr)

    def keep(self, event: object) -> None:
        """Store what a session event decided, before anything of it is shown."""
        from trainer.session import AttemptEnded, Voided

        if isinstance(event, AttemptEnded | Voided):
            self.append(event.attempt, event.replaces)

    def append(self, attempt: Attempt, replaces: bool) -> None:
        from trainer.storage.files import StorageError

        try:
            self.records.append(attempt, replacing=replaces)
        except StorageError as error:
            raise Refusal(str(error)) from None

    def preferences(self) -> Preferences:
        """The settings as the screen remembers them: commands by the key that gives them."""
        from trainer.pitch import parse_key
        from trainer.screens.app import Preferences
        from trainer.session import PEDAL_CONTROL
        from trainer.storage.settings import COMMAND_SETTINGS, PEDAL

        controls = {}
        for name, command in COMMAND_SETTINGS.items():
            given_from = getattr(self.settings, name)
            if given_from:
                controls[PEDAL_CONTROL if given_from == PEDAL else parse_key(given_from)] = command
        chosen = self.settings
        return Preferences(chosen.port, chosen.last_set, chosen.theme, chosen.keyboard_shown, controls)

    def remember(self, preferences: Preferences) -> None:
        """Write what the player chose on the screen into the settings file; its comments stay."""
        from trainer.pitch import MidiNote, key_name
        from trainer.session import PEDAL_CONTROL
        from trainer.storage.settings import COMMAND_SETTINGS, PEDAL, change_settings

        keys = {command: control for control, command in preferences.controls.items()}
        changes: dict[str, str | int | bool] = {
            "port": preferences.port,
            "last_set": preferences.last_set,
            "theme": preferences.theme,
            "keyboard_shown": preferences.keyboard_shown,
        }
        for name, command in COMMAND_SETTINGS.items():
            control = keys.get(command)
            given_from = "" if control is None else PEDAL if control == PEDAL_CONTROL else key_name(MidiNote(control))
            changes[name] = given_from
        changed = {name: value for name, value in changes.items() if getattr(self.settings, name) != value}
        if changed:
            self.settings = change_settings(self.places.settings, changed)

    def weakness(self, drill: Drill) -> list[Note]:
        """The roots of a drill from weak to strong, by what the record says of its voicing and quality."""
        from trainer.pitch import Note
        from trainer.progress import by_root

        if drill.roots != "weakest first":
            return []
        own = [
            attempt
            for attempt in self.records.attempts(with_events=False)
            if (attempt.voicing, attempt.quality) == (drill.recipe.name, drill.quality.text)
        ]
        rows = [row for row in by_root(own) if row.attempts]
        # Least accurate first, then slowest; a root without enough times yet stands before one that has them.
        rows.sort(key=lambda row: (row.accuracy or 0.0, -(row.median_ms if row.median_ms is not None else 1e9)))
        return [Note.parse(row.root) for row in rows]

    def close(self) -> None:
        self.records.close()


class _Printer:
    """Attempts as lines: JSON on standard output for machines, sentences for people."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self._printed = 0

    def show(self, event: object, attempts: Sequence[Attempt]) -> None:
        from trainer.grading import pretty_symbol
        from trainer.progress import attempt_object
        from trainer.session import Finished, Paused, Prompted, TryGraded, Voided

        if isinstance(event, Prompted | Finished):  # what was decided before is final now
            for attempt in attempts[self._printed :]:
                if self._as_json:
                    print(json.dumps(attempt_object(attempt), ensure_ascii=False), flush=True)
            self._printed = len(attempts)
        if self._as_json:
            return
        if isinstance(event, Prompted):
            target = event.task.target
            print(
                f"{event.number} of {event.total}: {pretty_symbol(target.chord.symbol)}, {target.voicing}", flush=True
            )
        elif isinstance(event, TryGraded):
            time = "" if event.think_ms is None else f"  {(event.think_ms + event.spread_ms) / 1000:.2f} s"
            print(f"  {event.grade.sentence}{time}", flush=True)
        elif isinstance(event, Paused):
            print(f"  {event.reason}", flush=True)
        elif isinstance(event, Voided):
            print(f"  This one does not count: {event.reason}.", flush=True)
        elif isinstance(event, Finished):
            right = sum(attempt.right_first_try for attempt in attempts)
            print(f"Done: {right} of {len(attempts)} right at the first try.", flush=True)


# -- the screen


def _open_screen(options: argparse.Namespace) -> int:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Refusal(
            "the screen needs a terminal, and there is none here; without one: trainer drill SET --headless",
            USED_WRONGLY,
        )
    # Textual reads its frame rate when it is imported, and importing trainer.screens sets it.
    import trainer.screens  # noqa: F401
    from trainer.screens.app import PracticeApp, run

    store = _Store(options.records)
    try:
        sets = _Sets(store, options.seed)
        chosen = sets.name_of(options.set) if options.set else ""
        return run(
            PracticeApp(
                sets=sets.entries(),
                open_session=sets.session,
                store=store.append,
                history=sets.history,
                preferences=store.preferences(),
                remember=store.remember,
                first_set=chosen,
                crash_report=store.places.log,
                **_sources(options, store),
            )
        )
    finally:
        store.close()


class _Sets:
    """The drill sets as the screen lists them, and sessions of them."""

    def __init__(self, store: _Store, seed: int | None) -> None:
        from random import Random

        self._store = store
        self._chance = Random(seed)
        self._read: dict[str, tuple[DrillSet | None, tuple[Fault, ...]]] = {}

    def _set(self, name: str) -> tuple[DrillSet | None, tuple[Fault, ...]]:
        if name not in self._read:
            self._read[name] = _read_set(Path(name))
        return self._read[name]

    def name_of(self, wanted: str) -> str:
        """The listed name of a set asked for on the command line, which must be without faults."""
        path = str(_found_set(wanted))
        drill_set, faults = self._set(path)
        if drill_set is None or faults:
            raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
        return path

    def entries(self) -> list[SetEntry]:
        """One row a file, the faulty ones too, with what is wrong with them."""
        from random import Random

        from trainer.drills import turns
        from trainer.screens.app import SetEntry

        rows = []
        for path in dict.fromkeys([*map(str, self._store.places.drill_files()), *self._read]):
            drill_set, faults = self._set(path)
            if drill_set is None or faults:
                rows.append(SetEntry(path, Path(path).stem, f"This set has a fault. {faults[0]}"))
            else:
                rows.append(SetEntry(path, drill_set.title, drill_set.about, len(turns(drill_set, Random(0)))))
        return rows

    def session(self, entry: SetEntry, hand: Hand) -> Session:
        """A session of a listed set. Raises `Refusal` with one line where it cannot be."""
        drill_set, faults = self._set(entry.name)
        if drill_set is None or faults:
            raise Refusal(str(faults[0]))
        return _session(self._chance, drill_set, self._store, hand.port, hand.stamp_origin, hand.controls)

    def history(self, entry: SetEntry) -> list[Attempt]:
        """Earlier attempts of a set, oldest first."""
        drill_set, _ = self._set(entry.name)
        if drill_set is None:
            return []
        return list(self._store.records.attempts(set_title=drill_set.title, with_events=False))


def _sources(options: argparse.Namespace, store: _Store) -> dict[str, Any]:
    """How the screen finds and opens what the player may play on, and what was chosen on the command line."""
    from random import Random

    from trainer.inputs.computer import ComputerKeyboard
    from trainer.inputs.ports import PortInput, choose, list_ports
    from trainer.inputs.script import LiveScript, ScriptedPlayer
    from trainer.inputs.source import InputError
    from trainer.storage.files import StorageError

    channel = store.settings.channel - 1 if store.settings.channel else None

    def scripted_player() -> LiveScript:
        return LiveScript(ScriptedPlayer(Random(options.seed)))

    def open_port(name: str) -> PortInput:
        return PortInput([name], channel=channel)

    source: Source | None = None
    wanted: str | None = options.input
    if wanted == "script":
        source = scripted_player()
    elif wanted == "computer":
        source = ComputerKeyboard()
    elif wanted is not None and _is_take(wanted):
        raise Refusal("a take is graded without the screen; add --headless", USED_WRONGLY)
    elif wanted is not None:
        try:
            source = open_port(choose(wanted, list_ports().names))
        except InputError as error:
            raise Refusal(str(error)) from None
    return {
        "ports": list_ports,
        "open_port": open_port,
        "computer_keyboard": ComputerKeyboard,
        "scripted_player": scripted_player,
        "source": source,
        "refusals": (OSError, ValueError, InputError, StorageError, Refusal),
    }


# -- ports and progress


def _ports(options: argparse.Namespace) -> int:
    from trainer.inputs.ports import list_ports

    listing = list_ports()
    if options.json:
        print(json.dumps({"backend": listing.backend, "ports": list(listing.names), "problem": listing.problem}))
    elif listing.names:
        for name in listing.names:
            print(name)
    else:
        print(listing.problem or "No MIDI port found. Switch the piano on and connect its USB socket.")
    return DONE if listing.names else NO


def _progress(options: argparse.Namespace) -> int:
    from trainer.progress import by_root, causes
    from trainer.storage.files import StorageError

    store = _Store(options.records)
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
            print(json.dumps(asdict(row), ensure_ascii=False))
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


# -- the parser


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(USED_WRONGLY, f"trainer: {message}\ntrainer: see '{self.prog} --help'\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="trainer",
        description="Practise jazz-piano voicings by chord degree, in twelve keys, at a MIDI piano.",
        epilog="Without a command the practice screen opens.  example: trainer drill 'shells' --input 'Digital Piano'",
    )
    parser.set_defaults(run=_open_screen, input=None, records=None, seed=None, set=None)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    def command(
        name: str, run: Callable[[argparse.Namespace], int], words: str, example: str
    ) -> argparse.ArgumentParser:
        added = commands.add_parser(
            name,
            help=words,
            description=words[0].upper() + words[1:] + ".",
            epilog=f"examples:\n{example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(run=run)
        return added

    spell = command(
        "spell",
        _spell,
        "spell a chord, or a voicing of it, by degrees and notes",
        "  trainer spell Ebm7b5\n"
        "  trainer spell Cm7 --voicing 'rootless from the third'\n"
        "  trainer spell D7 --voicing 'b7 3 13' --why\n"
        "  trainer spell - --json < symbols.txt",
    )
    spell.add_argument("chord", help="a chord symbol, or - to read one a line from standard input")
    spell.add_argument("--voicing", metavar="NAME|DEGREES", help="a family's name, or degrees from the bottom up")
    spell.add_argument("--why", action="store_true", help="say why each octave was chosen or refused")
    spell.add_argument("--german", action="store_true", help="read H as B and B as B flat")
    spell.add_argument("--json", action="store_true", help="one JSON object a line")

    drill = command(
        "drill",
        _drill,
        "drill one set",
        "  trainer drill 'minor sevenths'\n"
        "  trainer drill my-set.toml --input 'Digital Piano'\n"
        "  trainer drill my-set.toml --input take.mid --headless --json\n"
        "  trainer drill 07-minor-sevenths-from-the-third --input script --headless --seed 3",
    )
    drill.add_argument("set", metavar="SET", help="a file, or a shipped set or one of your own by part of its name")
    drill.add_argument(
        "--input",
        metavar="PORT|FILE.mid|computer|script",
        help="a MIDI port by part of its name, a Standard MIDI File, the computer keyboard, or the scripted player",
    )
    drill.add_argument("--headless", action="store_true", help="without the screen: one line an event")
    drill.add_argument("--json", action="store_true", help="with --headless: one JSON object a line for each attempt")
    drill.add_argument("--seed", type=int, metavar="N", help="makes random orders and the scripted player repeatable")
    drill.add_argument("--records", metavar="FILE", help="keep the record in this file")

    ports = command("ports", _ports, "list the MIDI ports", "  trainer ports\n  trainer ports --json")
    ports.add_argument("--json", action="store_true", help="one JSON object")

    progress = command(
        "progress",
        _progress,
        "show accuracy and response time by root",
        "  trainer progress\n  trainer progress --set 'minor sevenths' --json",
    )
    progress.add_argument("--set", metavar="TITLE", help="only attempts of sets with this in their title")
    progress.add_argument("--records", metavar="FILE", help="read the record from this file")
    progress.add_argument("--json", action="store_true", help="one JSON object for each root")

    check = command(
        "check",
        _check,
        "look for every fault in drill sets",
        "  trainer check my-set.toml",
    )
    check.add_argument("files", nargs="+", metavar="FILE")
    check.add_argument("--json", action="store_true", help="the faults as a JSON list")
    return parser


if __name__ == "__main__":
    sys.exit(main())
