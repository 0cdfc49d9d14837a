"""Today's practice, on the screen and without it: the sets and the record as a plan, and the plan as a session."""

from __future__ import annotations

import argparse
import sys
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.commands.store import Store
    from trainer.drills import DrillSet
    from trainer.progress import Attempt
    from trainer.scheduling import Chooser, History, Plan, TempoOffer
    from trainer.session import Command, Session

TODAY: Final = "today"
TITLE: Final = "Today's practice"

HISTORY_DAYS: Final = 400
"""What lies further back is not read: a voicing that was not played for so long is met as a new one."""

WHEEL_ATTEMPTS: Final = 500
MOST_MINUTES: Final = 240


def local_day(utc: str) -> date:
    """The day of a UTC text in the calendar of this machine, by the rules that held at that moment. Raises ValueError.

    Also OSError or OverflowError for a year that the machine's calendar does not know.
    """
    return datetime.fromisoformat(utc).astimezone().date()


class Todays:
    """Today's practice of one player. What takes time is done in `steps`, so that a screen stays awake meanwhile."""

    title = TITLE

    def __init__(self, store: Store, minutes: float | None = None) -> None:
        """`minutes` None: those of the settings."""
        from trainer.scheduling import DEFAULT_MINUTES

        self._store = store
        self.wanted = minutes is not None or store.settings.daily_minutes > 0
        self.minutes = float(minutes or store.settings.daily_minutes or DEFAULT_MINUTES)
        self._steps: Iterator[None] | None = None
        self._history: History | None = None
        self._plan: Plan | None = None
        self._sets: list[DrillSet] = []
        self._offers: list[TempoOffer] = []
        self._chooser: Chooser | None = None
        self.latest: deque[Attempt] = deque(maxlen=WHEEL_ATTEMPTS)

    def steps(self) -> Iterator[None]:
        """The work that is still to be done until there is a plan, a little at a time. Raises `Refusal`."""
        if self._plan is None:
            if self._steps is None:
                self._steps = self._work()
            yield from self._steps

    def plan(self) -> Plan:
        """The plan; what is left of the work is done first. Raises `Refusal`."""
        for _ in self.steps():
            pass
        assert self._plan is not None
        return self._plan

    def _work(self) -> Iterator[None]:
        from trainer.commands.sets import read_set
        from trainer.scheduling import History, plan_of, pool_of
        from trainer.storage.files import StorageError

        try:
            places = self._store.places
            if not self._sets:
                shipped = places.shipped_drills
                # What a player wrote is what they want to play: it is met before what is shipped.
                files = sorted(
                    places.drill_files(), key=lambda path: shipped is not None and path.is_relative_to(shipped)
                )
                for path in files:
                    drill_set, faults = read_set(path)
                    if drill_set is not None and not faults:
                        self._sets.append(drill_set)
                    yield
                for path in places.lesson_files():
                    self._read_lesson(path)
                    yield
            assigned = [assignment.content for assignment in self._store.assignments]
            pool = pool_of([*assigned, *self._sets], self._store.settings.reach_semitones)
            history = History(pool, datetime.now(UTC).astimezone().date(), local_day)
            since = (datetime.now(UTC) - timedelta(days=HISTORY_DAYS)).date().isoformat()
            self.latest.clear()
            for number, attempt in enumerate(self._store.records.answers(since)):
                history.add(attempt)
                self.latest.append(attempt)
                if number % 100 == 99:
                    yield
            passes = list(self._store.records.passes(with_events=False))
        except StorageError as error:
            raise Refusal(str(error)) from None
        yield
        self._plan = plan_of(history, self.minutes, self._offers, passes)
        self._history = history
        self._steps = None

    def _read_lesson(self, path: Path) -> None:
        """A lesson's voicings are items as those of sets are; with all of them learned it can be played in time."""
        from trainer.commands.sets import read_lesson_file
        from trainer.leading import LeadingError
        from trainer.scheduling import TempoOffer

        lesson, faults = read_lesson_file(path)
        if lesson is None or faults:
            return
        try:
            drill_set = lesson.drill_set()
        except (LeadingError, ValueError):
            return
        self._sets.append(drill_set)
        needs = frozenset((drill.recipe.name, drill.quality.text) for drill in drill_set.drills)
        self._offers.append(TempoOffer(lesson.title, needs, name=str(path)))

    def session(self, port: str, stamp_origin: str, controls: Mapping[int, Command], *, sound: bool = False) -> Session:
        """A session of the plan; a second one of the same evening is planned anew. `sound`: voicings can be heard, so
        that a prompt may be nothing but its sound. Raises `Refusal`."""
        from uuid import uuid4

        from trainer.commands.practising import hearing
        from trainer.scheduling import Chooser
        from trainer.session import Particulars, Session
        from trainer.storage.files import utc_now

        if self._chooser is not None:
            self._plan = None
        plan = self.plan()
        assert self._history is not None
        chooser = Chooser(plan, self._history, sound)
        if not chooser.targets:
            raise Refusal("there is nothing to practise: no drill set has a voicing within your reach")
        self._chooser = chooser
        return Session(chooser, Particulars(uuid4().hex, utc_now, port, stamp_origin, controls), hearing(port))

    def why(self) -> str:
        """Why the prompt in hand is asked, in one sentence; "" where none is."""
        choice = self._chooser.choice if self._chooser is not None else None
        return choice.why if choice is not None else ""


# -- without the screen


def today(options: argparse.Namespace) -> int:
    """Show today's plan, or practise it."""
    from trainer.commands.practising import open_screen
    from trainer.commands.store import Store

    if options.minutes is not None and not 0 < options.minutes <= MOST_MINUTES:
        raise Refusal(f"--minutes takes from 1 to {MOST_MINUTES}, not {options.minutes:g}", USED_WRONGLY)
    playing = options.headless or options.plain
    if not (options.plan or options.why or playing):
        if options.json:
            raise Refusal("--json goes with --plan or --headless", USED_WRONGLY)
        options.set = None
        return open_screen(options)
    store = Store(options.records, to_practise=True)
    try:
        todays = Todays(store, options.minutes)
        if options.plan or not playing:
            plan = todays.plan()
            print(json_line(plan_object(plan)) if options.json else "\n".join(plan_lines(plan, options.why)))
            return DONE
        return _practise(options, store, todays)
    finally:
        store.close()


def _practise(options: argparse.Namespace, store: Store, todays: Todays) -> int:
    from time import perf_counter_ns

    from trainer.commands.plain import HOW, Typed, spoken, told
    from trainer.commands.practising import Printer, without_screen
    from trainer.inputs.running import Live
    from trainer.inputs.source import InputError
    from trainer.session import Command, Finished, Prompted

    try:
        source = without_screen(options, store.settings.channel - 1 if store.settings.channel else None)
        plan = todays.plan()
        if not options.json:
            for line in plan_lines(plan, False):
                print(spoken(line) if options.plain else line, flush=True)
        session = todays.session(source.name, source.stamp_origin, {})
        printer = Printer(options.json)
        if options.plain:
            print(spoken(f"Listening to {source.name}. {HOW}"), flush=True)
            Typed(iter(()) if sys.stdin is None else iter(sys.stdin)).to(
                source.wish if isinstance(source, Live) else None
            )
        try:
            for event in source.run(session):
                store.keep(event)
                if options.plain:
                    for line in told(event):
                        print(spoken(line), flush=True)
                else:
                    printer.show(event, session.attempts)
                if isinstance(event, Prompted) and options.why:
                    print(f"  {todays.why()}", flush=True)
                if isinstance(event, Finished) and plan.tempo is not None and not options.json:
                    print(f"Now in time: {tempo_words(plan)}", flush=True)
        except KeyboardInterrupt:
            for event in session.command(Command.FINISH, perf_counter_ns()):
                store.keep(event)
                printer.show(event, session.attempts)
            raise
    except InputError as error:
        raise Refusal(str(error)) from None
    return DONE


def tempo_words(plan: Plan) -> str:
    """The form at tempo in a line: ``Kettle blues in B♭ at 88``; "" where there is none."""
    from trainer.pitch import pretty

    tempo = plan.tempo
    return "" if tempo is None else f"{tempo.title} in {pretty(tempo.key)} at {tempo.tempo_bpm:.0f}"


def plan_lines(plan: Plan, why: bool) -> list[str]:
    """A plan for people: a line for each part, with `why` one for each choice."""
    lines = [f"{TITLE}, {plan.minutes_words}"]
    for part in plan.parts:
        form = f": {plan.new_form.name}" if part.kind == "new" and plan.new_form is not None else ""
        count = f" ({len(part.choices)})" if part.kind != "new" else ""
        lines.append(f"{part.minutes:4.0f} min  {part.words}{form}{count}")
        chosen = part.choices if why else part.choices[:1]
        lines += [f"          {choice.why}" for choice in chosen]
    if plan.tempo is not None:
        lines.append(f"{plan.tempo.minutes:4.0f} min  A form at tempo: {tempo_words(plan)}")
        lines.append(f"          {plan.tempo.why}")
    return [*lines, *plan.remarks]


def plan_object(plan: Plan) -> dict[str, Any]:
    """A plan as plain values for machines."""
    return {
        "day": plan.day.isoformat(),
        "minutes": plan.minutes,
        "parts": [
            {
                "part": part.kind,
                "minutes": round(part.minutes, 1),
                "choices": [
                    {"voicing": one.item[0], "quality": one.item[1], "root": one.item[2], "why": one.why}
                    for one in part.choices
                ],
            }
            for part in plan.parts
        ],
        "tempo": None if plan.tempo is None else asdict(plan.tempo),
        "remarks": list(plan.remarks),
    }


def _today_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--minutes", type=float, metavar="N", help="how long; the setting daily_minutes is not changed")
    parser.add_argument("--plan", action="store_true", help="only show the plan")
    parser.add_argument(
        "--why",
        action="store_true",
        help="the plan with the reason for every choice; with --headless, for every prompt",
    )
    parser.add_argument(
        "--json", action="store_true", help="with --plan one JSON object; with --headless one an attempt"
    )
    parser.add_argument("--headless", action="store_true", help="practise without the screen: one line an event")
    parser.add_argument("--plain", action="store_true", help="in lines, for screen readers and simple terminals")
    parser.add_argument(
        "--input",
        metavar="PORT|FILE.mid|computer|script",
        help="a MIDI port by part of its name, a Standard MIDI File, the computer keyboard, or the scripted player",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="makes the scripted player repeatable")
    parser.add_argument("--records", metavar="FILE", help="keep the record in this file")
    parser.set_defaults(set=None, moves=False, section="")


COMMANDS: Final = (
    CommandRow(
        "today",
        today,
        "today's practice: what has faded, what was wrong, one new thing",
        "  trainer today\n"
        "  trainer today --minutes 20\n"
        "  trainer today --why\n"
        "  trainer today --plan --json\n"
        "  trainer today --headless --input 'Digital Piano'",
        _today_arguments,
    ),
)
