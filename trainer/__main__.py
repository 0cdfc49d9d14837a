"""The command line and the wiring: the one file directly in `trainer/` that touches the world.

Exit codes: 0 done, 1 the answer is no, 2 used wrongly, 3 a file or port is unusable. Data goes to standard output,
narration and errors to standard error. Nothing heavy is imported before the command that needs it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from trainer.inputs.source import Source
    from trainer.progress import Attempt, RootFigures
    from trainer.session import Session, SessionEvent

DONE: Final = 0
NO: Final = 1
USED_WRONGLY: Final = 2
UNUSABLE: Final = 3


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
    faults: list[Any] = []
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


def _fault_object(fault: Any) -> dict[str, Any]:
    return {name: getattr(fault, name) for name in ("file", "line", "column", "field", "found", "expected", "message")}


def _read_set(path: Path) -> tuple[Any, tuple[Any, ...]]:
    from trainer import drills
    from trainer.storage.files import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return drills.read(text, str(path))


def _load_set(name: str) -> Any:
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    try:
        path = Places.found().find_set(name)
    except StorageError as error:
        raise Refusal(str(error)) from None
    drill_set, faults = _read_set(path)
    if faults or drill_set is None:
        raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
    return drill_set


# -- drill


def _drill(options: argparse.Namespace) -> int:
    if not options.headless:
        return _open_screen(options)
    drill_set = _load_set(options.set)
    happenings = _happenings(options)
    store = _Store(options.records)
    try:
        session = _session(options, drill_set, store, happenings)
        printer = _Printer(options.json)
        for event in happenings.run(session):
            store.keep(event)
            printer.show(event, session.attempts)
    finally:
        store.close()
    return DONE


def _session(options: argparse.Namespace, drill_set: Any, store: _Store, source: Any) -> Any:
    """A session of a set, its order drawn from the seed, weak roots taken from the record."""
    from random import Random
    from uuid import uuid4

    from trainer.session import Particulars, Session, tasks
    from trainer.storage.files import utc_now
    from trainer.voicings import VoicingError

    chance = Random(options.seed)
    weakness = [store.weakness(drill) for drill in drill_set.drills]
    try:
        plan = tasks(drill_set, chance, weakness, store.settings.reach_semitones)
    except VoicingError as error:
        raise Refusal(str(error)) from None
    particulars = Particulars(uuid4().hex, utc_now, source.name, source.stamp_origin)
    return Session(plan, particulars)


class _Take:
    """A recorded take, replayed under its own clock."""

    stamp_origin = "file"

    def __init__(self, path: str) -> None:
        from trainer.inputs.files import read_events
        from trainer.inputs.source import InputError

        self.name = Path(path).name
        try:
            self._events = read_events(path)
        except InputError as error:
            raise Refusal(str(error)) from None

    def run(self, session: Session) -> Iterator[SessionEvent]:
        from trainer.session import replay

        return replay(session, self._events)


class _Script:
    """The scripted player under a virtual clock: it answers every prompt until the set ends."""

    name = "scripted player"
    stamp_origin = "script"

    def __init__(self, seed: int | None) -> None:
        from trainer.inputs.script import ScriptedPlayer

        self._player = ScriptedPlayer(0 if seed is None else seed)

    def run(self, session: Session) -> Iterator[SessionEvent]:
        from trainer.session import Prompted, State, TryGraded

        previous: tuple[Any, ...] | None = None
        waiting: list[Any] = []
        happened = session.start(0)
        now_ns = 0
        while True:
            for event in happened:
                if isinstance(event, Prompted):
                    session.prompt_shown(event.time_ns)
                    keys = event.task.target.keys
                    waiting += self._player.answer(keys, previous, max(now_ns, event.time_ns))
                    previous = keys
                elif isinstance(event, TryGraded) and event.left and not event.grade.right:
                    waiting += self._player.answer(event.task.target.keys, None, now_ns)
                yield event
            if session.state is State.FINISHED:
                return
            waiting.sort(key=lambda note: note.time_ns)
            due = session.deadline_ns
            if due is not None and (not waiting or due <= waiting[0].time_ns):
                now_ns = max(now_ns, due)
                happened = session.tick(due)
            elif waiting:
                now_ns = max(now_ns, waiting[0].time_ns)
                happened = session.hear(waiting.pop(0))
            else:
                return


class _Live:
    """A source that plays in real time, without a screen."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.name = source.name
        self.stamp_origin = source.stamp_origin

    def run(self, session: Session) -> Iterator[SessionEvent]:
        from queue import Empty, SimpleQueue
        from time import perf_counter_ns

        from trainer.inputs.source import InputError
        from trainer.session import Prompted, State

        heard: SimpleQueue[Any] = SimpleQueue()
        try:
            self._source.start(heard.put)
        except InputError as error:
            raise Refusal(str(error)) from None
        try:
            happened = session.start(perf_counter_ns())
            while True:
                for event in happened:
                    yield event
                    if isinstance(event, Prompted):
                        session.prompt_shown(perf_counter_ns())
                if session.state is State.FINISHED:
                    return
                due = session.deadline_ns
                wait_s = None if due is None else max(0.0, (due - perf_counter_ns()) / 1e9)
                try:
                    happened = session.hear(heard.get(timeout=wait_s))
                except Empty:
                    happened = session.tick(perf_counter_ns())
        finally:
            self._source.stop()


def _happenings(options: argparse.Namespace) -> _Take | _Script | _Live:
    """What plays: a take, the scripted player, or a live port, as ``--input`` says."""
    wanted: str | None = options.input
    if wanted == "script":
        return _Script(options.seed)
    if wanted == "computer":
        raise Refusal("the computer keyboard needs the screen; leave --headless out", USED_WRONGLY)
    if wanted is not None and (wanted.lower().endswith((".mid", ".midi", ".smf")) or Path(wanted).is_file()):
        return _Take(wanted)
    from trainer.inputs.ports import PortInput
    from trainer.inputs.source import InputError

    try:
        return _Live(PortInput([wanted] if wanted else None))
    except InputError as error:
        raise Refusal(str(error)) from None


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
        from trainer.storage.files import StorageError

        if isinstance(event, AttemptEnded | Voided):
            try:
                self.records.append(event.attempt, replacing=event.replaces)
            except StorageError as error:
                raise Refusal(str(error)) from None

    def weakness(self, drill: Any) -> list[Any]:
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


def _open_screen(options: argparse.Namespace) -> int:
    raise Refusal("no screen")


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
