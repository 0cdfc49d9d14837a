"""Drills, on the screen and without it: sessions of sets with a source of notes and the store."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.guiding import every_chapter
from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.sets import WAYS, found_set, load_set, read_lesson_file, read_set, wanted_name, way_name
from trainer.commands.store import Store
from trainer.commands.streams import json_line
from trainer.commands.todays import TODAY, Todays

if TYPE_CHECKING:
    from trainer.capture import Capture
    from trainer.commands.hearing import Speaker
    from trainer.drills import DrillSet, Fault
    from trainer.in_time import Course
    from trainer.inputs.running import Live, Script, Take
    from trainer.progress import Attempt
    from trainer.screens.app import Hand, PracticeApp, SetEntry, Source
    from trainer.session import Command, Session

BLUETOOTH_MS: Final = 15
"""By how much the windows of hearing are widened on a Bluetooth port, whose stamps scatter (a judgement)."""


def drill(options: argparse.Namespace) -> int:
    options.set = wanted_name(options.set, moves=options.moves, section=options.section)
    if options.plain:
        from trainer.commands.plain import practise_plainly

        return practise_plainly(options)
    if not options.headless:
        return open_screen(options)
    from random import Random
    from time import perf_counter_ns

    from trainer.inputs.source import InputError
    from trainer.session import Command

    drill_set = load_set(options.set)
    try:
        source = without_screen(options, None)
        store = Store(options.records, to_practise=True)
        try:
            session = session_of(Random(options.seed), drill_set, store, source.name, source.stamp_origin, {})
            printer = Printer(options.json)
            try:
                for event in source.run(session):
                    store.keep(event)
                    printer.show(event, session.attempts)
            except KeyboardInterrupt:
                # What was begun is kept as unfinished, and what was decided is told, before the program ends.
                # The interrupt may have come between a decision and its record: that one is told too, so it is kept.
                for attempt in session.attempts[-2:]:
                    store.append(attempt, True)
                for event in session.command(Command.FINISH, perf_counter_ns()):
                    store.keep(event)
                    printer.show(event, session.attempts)
                raise
        finally:
            store.close()
    except InputError as error:
        raise Refusal(str(error)) from None
    return DONE


def session_of(
    chance: Random, drill_set: DrillSet, store: Store, port: str, stamp_origin: str, controls: Mapping[int, Command]
) -> Session:
    """A session of a set, its order drawn by chance, weak roots taken from the record."""
    from uuid import uuid4

    from trainer.session import Particulars, Session, tasks
    from trainer.storage.files import utc_now
    from trainer.voicings import VoicingError

    weakness = [store.weakness(drill) for drill in drill_set.drills]
    try:
        plan = tasks(drill_set, chance, weakness, store.settings.reach_semitones)
    except VoicingError as error:
        raise Refusal(str(error)) from None
    return Session(plan, Particulars(uuid4().hex, utc_now, port, stamp_origin, controls), hearing(port))


def hearing(port: str) -> Capture:
    """What hears a port: with wider windows where its stamps scatter."""
    from trainer.capture import MILLISECOND_NS, Capture, Windows
    from trainer.inputs.ports import is_bluetooth

    return Capture(Windows().widened(BLUETOOTH_MS * MILLISECOND_NS) if is_bluetooth(port) else Windows())


def without_screen(
    options: argparse.Namespace, channel: int | None, speaker: Speaker | None = None
) -> Take | Script | Live:
    """What plays where there is no screen: a take, the scripted player, or a live port, as ``--input`` says; without
    what the `speaker` sounds, where the instrument sends that back."""
    from random import Random

    from trainer.inputs.running import Live, Script, Take

    wanted: str | None = options.input
    if wanted == "script":
        return Script(Random(options.seed))
    if wanted == "computer":
        raise Refusal("the computer keyboard needs the screen; leave --headless out", USED_WRONGLY)
    if wanted is not None and is_take(wanted):
        return Take(wanted)
    from trainer.inputs.ports import PortInput, list_ports

    if not wanted:
        listing = list_ports()
        if not listing.backend:
            raise Refusal(listing.problem or "there is no MIDI on this machine")
        if not listing.names:
            print(f"trainer: {listing.problem or 'No MIDI port found.'} The drill waits for one.", file=sys.stderr)
    source = PortInput([wanted] if wanted else [], channel=channel)
    return Live(source) if speaker is None else Live(source, speaker.player)


def is_take(wanted: str) -> bool:
    """Whether what to listen to is a recorded file and no port."""
    return wanted.lower().endswith((".mid", ".midi", ".smf")) or Path(wanted).is_file()


class Printer:
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
                    print(json_line(attempt_object(attempt)), flush=True)
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


def need_terminal() -> None:
    """Raise `Refusal` where there is no terminal for the screen: without one the library never ends."""
    if sys.stdin is None or not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Refusal(
            "the screen needs a terminal, and there is none here; without one: trainer drill SET --plain",
            USED_WRONGLY,
        )


def open_screen(options: argparse.Namespace) -> int:
    if options.plain:
        from trainer.commands.plain import practise_plainly

        return practise_plainly(options)
    need_terminal()
    from trainer.screens.app import run

    store = Store(options.records, to_practise=True)
    try:
        return run(practice_app(options, store))
    finally:
        store.close()


def practice_app(options: argparse.Namespace, store: Store, course: Course | None = None) -> PracticeApp:
    """The application with its sets, sources and store: what `trainer` opens; `course` is played in time at once.

    Raises `Refusal`.
    """
    # Textual reads its frame rate when it is imported, and importing trainer.screens sets it.
    import trainer.screens  # noqa: F401
    from trainer.commands.assigned import Assigned
    from trainer.commands.hearing import Hearing, Speaker
    from trainer.commands.in_time import in_time_of
    from trainer.commands.making import Making
    from trainer.commands.teaching import TeachingDesk
    from trainer.screens.app import PracticeApp

    assigned = Assigned(store)
    todays = Todays(store, getattr(options, "minutes", None))
    sets = _Sets(store, options.seed, todays)
    speaker = Speaker(store.settings, getattr(options, "output_port", None) or "")
    chosen = sets.name_of(options.set) if options.set else ""
    return PracticeApp(
        sets=assigned.at_the_head(sets.entries()),
        open_session=sets.session,
        store=store.append,
        history=sets.history,
        counted=store.counted,
        passes=store.passes,
        keep=store.keep_row,
        teaching=TeachingDesk(store.places),
        making=Making(store.places, sets.forget),
        describe=lambda entry: assigned.told(sets.described(entry)),
        relist=lambda: assigned.at_the_head(sets.entries()),
        outcome=assigned.after,
        notices=assigned.troubles,
        preferences=store.preferences(),
        remember=store.remember,
        today=todays if todays.wanted else None,
        break_minutes=store.settings.break_minutes,
        first_set=chosen,
        in_time=in_time_of(options, store, course, speaker),
        sounding=Hearing(speaker) if store.settings.sound else None,
        manual=every_chapter,
        crash_report=store.places.log,
        **_sources(options, store),
    )


class _Sets:
    """The drill sets as the screen lists them, and sessions of them."""

    def __init__(self, store: Store, seed: int | None, todays: Todays) -> None:
        from random import Random

        self._store = store
        self._todays = todays
        self._chance = Random(seed)
        self._read: dict[str, tuple[DrillSet | None, tuple[Fault, ...]]] = {}

    def _set(self, name: str) -> tuple[DrillSet | None, tuple[Fault, ...]]:
        if name not in self._read:
            self._read[name] = read_set(Path(name))
        return self._read[name]

    def forget(self, name: str) -> None:
        """Read a set's file anew when it is next asked for."""
        self._read.pop(name, None)

    def name_of(self, wanted: str) -> str:
        """The listed name of a set asked for on the command line, which must be without faults."""
        path = str(found_set(wanted))
        drill_set, faults = self._set(path)
        if drill_set is None or faults:
            raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
        return path

    def entries(self) -> list[SetEntry]:
        """One row a file, with the title it gives itself: the screen opens before all of them are read whole."""
        from trainer.screens.app import SetEntry
        from trainer.storage.places import name_of, title_of

        places = self._store.places
        lessons = set(map(str, places.lesson_files()))
        paths = dict.fromkeys([*map(str, places.drill_files()), *map(str, places.lesson_files()), *self._read])
        found = []
        for path in paths:
            title = title_of(Path(path)) or name_of(Path(path))
            ways = [SetEntry(way_name(path, way), f"{title}: {way}") for way in WAYS] if path in lessons else []
            if ways:
                ways.append(SetEntry(path, f"{title}: in time", "Counted in, at a tempo.", in_time=True))
            found.append(SetEntry(path, title, ways=tuple(ways)))
        return found

    def described(self, entry: SetEntry) -> SetEntry:
        """A row with the set's text and number of prompts; a faulty one with what is wrong with it."""
        from random import Random

        from trainer.drills import turns

        drill_set, faults = self._set(entry.name)
        if drill_set is None or faults:
            return replace(entry, about=f"This set has a fault. {faults[0]}", ways=())
        if entry.in_time:
            return entry
        if entry.ways:
            lesson, _ = read_lesson_file(Path(entry.name))
            return replace(entry, about=lesson.about if lesson is not None else "")
        prompts = sum(1 + len(drill_set.drills[index].then) for index, _ in turns(drill_set, Random(0)))
        return replace(entry, title=drill_set.title, about=drill_set.about, prompts=prompts)

    def session(self, entry: SetEntry, hand: Hand) -> Session:
        """A session of a listed set, or of today's plan. Raises `Refusal` with one line where it cannot be."""
        if entry.name == TODAY:
            return self._todays.session(hand.port, hand.stamp_origin, hand.controls, sound=self._store.settings.sound)
        drill_set, faults = self._set(entry.name)
        if drill_set is None or faults:
            raise Refusal(str(faults[0]))
        return session_of(self._chance, drill_set, self._store, hand.port, hand.stamp_origin, hand.controls)

    def history(self, entry: SetEntry) -> list[Attempt]:
        """Earlier attempts of a set, oldest first; for today's plan the latest of all."""
        if entry.name == TODAY:
            return list(self._todays.latest)
        drill_set, _ = self._set(entry.name)
        if drill_set is None:
            return []
        return list(self._store.records.attempts(set_title=drill_set.title, with_events=False))


def _sources(options: argparse.Namespace, store: Store) -> dict[str, Any]:
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
    elif wanted is not None and is_take(wanted):
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


def _drill_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "set",
        metavar="SET",
        help="a drill set, a lesson or a chart: a file, or a shipped one or one of your own by part of its name",
    )
    parser.add_argument("--moves", action="store_true", help="of a lesson, its moves from one voicing to the next")
    parser.add_argument("--section", metavar="NAME", default="", help="of a lesson, one section, as in A or A2")
    parser.add_argument(
        "--input",
        metavar="PORT|FILE.mid|computer|script",
        help="a MIDI port by part of its name, a Standard MIDI File, the computer keyboard, or the scripted player",
    )
    parser.add_argument("--plain", action="store_true", help="in lines, for screen readers and simple terminals")
    parser.add_argument("--headless", action="store_true", help="without the screen: one line an event")
    parser.add_argument("--json", action="store_true", help="with --headless: one JSON object a line for each attempt")
    parser.add_argument("--seed", type=int, metavar="N", help="makes random orders and the scripted player repeatable")
    parser.add_argument("--records", metavar="FILE", help="keep the record in this file")


COMMANDS: Final = (
    CommandRow(
        "drill",
        drill,
        "drill one set",
        "  trainer drill 'guide tones'\n"
        "  trainer drill my-set.toml --input 'Digital Piano'\n"
        "  trainer drill kettle --moves\n"
        "  trainer drill my-set.toml --input take.mid --headless --json\n"
        "  trainer drill 07-minor-sevenths-from-the-third --input script --headless --seed 3",
        _drill_arguments,
    ),
)
