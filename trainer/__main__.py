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
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from trainer.inputs import Source
    from trainer.progress import Attempt
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
    from trainer.pitch import Note, note_label, pretty
    from trainer.grading import pretty_symbol

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
    from trainer.storage import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return drills.read(text, str(path))


def _load_set(name: str) -> Any:
    from trainer.storage import StorageError, find_set

    try:
        path = find_set(name)
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
    from trainer.storage import utc_now
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
        from trainer.inputs import InputError, read_events

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
        from trainer.inputs import ScriptedPlayer

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

        from trainer.inputs import InputError
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
    from trainer.inputs import InputError, PortInput

    wanted: str | None = options.input
    if wanted == "script":
        return _Script(options.seed)
    if wanted == "computer":
        raise Refusal("the computer keyboard needs the screen; leave --headless out", USED_WRONGLY)
    if wanted is not None and (wanted.lower().endswith((".mid", ".midi", ".smf")) or Path(wanted).is_file()):
        return _Take(wanted)
    try:
        return _Live(PortInput([wanted] if wanted else None))
    except InputError as error:
        raise Refusal(str(error)) from None


class _Store:
    """The record of practice, opened at the first attempt at the latest, and what it says when it cannot be kept."""

    def __init__(self, path: str | None) -> None:
        from trainer.storage import Records, StorageError, places

        try:
            self.records = Records.open(places().records if path is None else Path(path))
        except StorageError as error:
            raise Refusal(str(error)) from None

    def keep(self, event: object) -> None:
        """Store what a session event decided, before anything of it is shown."""
        from trainer.session import AttemptEnded, Voided
        from trainer.storage import StorageError

        if isinstance(event, AttemptEnded | Voided):
            try:
                self.records.append(event.attempt, replacing=event.replaces)
            except StorageError as error:
                raise Refusal(str(error)) from None

    def close(self) -> None:
        self.records.close()


class _Printer:
    """Attempts as lines: JSON on standard output for machines, sentences for people."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self._printed = 0

    def show(self, event: object, attempts: Sequence[Attempt]) -> None:
        from trainer.grading import pretty_symbol
        from trainer.session import Finished, Paused, Prompted, TryGraded, Voided

        if isinstance(event, Prompted | Finished):  # what was decided before is final now
            for attempt in attempts[self._printed :]:
                if self._as_json:
                    print(json.dumps(_attempt_object(attempt), ensure_ascii=False), flush=True)
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


def _attempt_object(attempt: Attempt) -> dict[str, Any]:
    return {
        "prompt": {
            "chord": attempt.chord,
            "root": attempt.root,
            "voicing": attempt.voicing,
            "degrees": list(attempt.degrees),
            "notes": list(attempt.notes),
            "keys": list(attempt.keys),
        },
        "tries": [
            {
                "held": list(one.held),
                "verdicts": [
                    {"degree": v.degree, "verdict": v.verdict, "key": v.key, "by": v.by, "semitones": v.semitones}
                    for v in one.verdicts
                ],
                "extra": list(one.extra),
                "right": one.right,
                "cause": one.cause,
                "causes": list(one.causes),
                "sentence": one.sentence,
                "think_ms": one.think_ms,
                "spread_ms": one.spread_ms,
            }
            for one in attempt.tries
        ],
        "outcome": attempt.outcome,
        "right_first_try": attempt.right_first_try,
        "response_ms": attempt.response_ms,
        "settle_ms": attempt.settle_ms,
        "pool_size": attempt.pool_size,
        "hint": attempt.hint,
        "set_aside": attempt.set_aside,
    }


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

    check = command(
        "check",
        _check,
        "look for every fault in drill sets",
        "  trainer check my-set.toml",
    )
    check.add_argument("files", nargs="+", metavar="FILE")
    check.add_argument("--json", action="store_true", help="the faults as a JSON list")
    return parser
