"""Sessions run without a screen: from a recorded take or the scripted player under a virtual clock, or live.

Each of the three has `name` and `stamp_origin` for the record, and `run(session)`, which yields the session's events as
they happen; the caller stores and shows each before it asks for the next. So a prompt counts as shown once the caller
has come back for more.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from random import Random
from time import perf_counter_ns
from typing import Protocol, TypeVar

from trainer.capture import NoteEvent
from trainer.in_time import CalibrationEvent, CalibrationSession, FormEvent, FormSession, PassBegan, Phase
from trainer.inputs.files import read_events
from trainer.inputs.script import PLAYER, ScriptedPlayer
from trainer.inputs.source import Source, printable
from trainer.session import Command, Prompted, Session, SessionEvent, State, TryGraded, replay

Event = TypeVar("Event")


class Timed(Protocol[Event]):
    """What runs against the beat: a form, or the click that measures a port."""

    phase: Phase

    @property
    def deadline_ns(self) -> int | None: ...

    def start(self, now_ns: int) -> list[Event]: ...

    def hear(self, event: NoteEvent) -> list[Event]: ...

    def tick(self, now_ns: int) -> list[Event]: ...


class Take:
    """A recorded Standard MIDI File, under its own clock. Raises `InputError` where it cannot be used."""

    stamp_origin = "file"

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.name = printable(Path(path).name)
        self._events = read_events(path)

    def run(self, session: Session) -> Iterator[SessionEvent]:
        return replay(session, self._events)


class Script:
    """The scripted player under a virtual clock: it answers every prompt until the set ends."""

    name = PLAYER
    stamp_origin = "script"

    def __init__(self, chance: Random) -> None:
        self._player = ScriptedPlayer(chance)

    def run(self, session: Session) -> Iterator[SessionEvent]:
        waiting: list[NoteEvent] = []
        now_ns = 0
        happened = session.start(now_ns)
        while True:
            for event in happened:
                if isinstance(event, Prompted):
                    session.prompt_shown(event.time_ns)
                    waiting += self._player.answer(event.task.target, max(now_ns, event.time_ns))
                elif isinstance(event, TryGraded) and event.left:
                    let_go_ns = max((note.time_ns for note in waiting), default=now_ns)
                    waiting += self._player.answer(event.task.target, let_go_ns, again=True)
                yield event
            waiting.sort(key=lambda note: note.time_ns)
            due = session.deadline_ns
            if session.state is State.FINISHED or (due is None and not waiting):
                return
            if due is not None and (not waiting or due <= waiting[0].time_ns):
                now_ns = max(now_ns, due)
                happened = session.tick(due)
            else:
                now_ns = max(now_ns, waiting[0].time_ns)
                happened = session.hear(waiting.pop(0))

    def run_form(self, session: FormSession) -> Iterator[FormEvent]:
        """A form in time, pass after pass, until its course ends; wrong chords among the right ones."""
        waiting: list[NoteEvent] = []
        happened = session.start(0)
        while True:
            for event in happened:
                if isinstance(event, PassBegan):
                    waiting = self._player.perform(event.piece.slots, event.grid)
                yield event
            due = session.deadline_ns
            if session.phase is Phase.FINISHED or (due is None and not waiting):
                return
            if due is not None and (not waiting or due <= waiting[0].time_ns):
                happened = session.tick(due)
            else:
                happened = session.hear(waiting.pop(0))


class Live:
    """A source that plays in real time. `run` raises `InputError` where it cannot be opened.

    `is_echo` is shown every event on the source's thread, and what it is true of is left out: what was sounded, sent
    back by the instrument.
    """

    def __init__(self, source: Source, is_echo: Callable[[NoteEvent], bool] = lambda event: False) -> None:
        self._source = source
        self._is_echo = is_echo
        self._heard: SimpleQueue[NoteEvent | Command] = SimpleQueue()

    def _post(self, event: NoteEvent) -> None:
        if not self._is_echo(event):
            self._heard.put(event)

    @property
    def name(self) -> str:
        return self._source.name

    def wish(self, command: Command) -> None:
        """A wish of the player at the computer, from any thread; the session in hand serves it in its turn."""
        self._heard.put(command)

    @property
    def stamp_origin(self) -> str:
        return self._source.stamp_origin

    @property
    def heard_port(self) -> str:
        """The port that is listened to, once it has been opened; its name is what calibrations are kept under."""
        return self._source.name

    def run_form(self, session: FormSession) -> Iterator[FormEvent]:
        """A form in time; each event is yielded when it happens. Raises `InputError` where it cannot be opened."""
        return self._run(session, session.command)

    def run_calibration(self, session: CalibrationSession) -> Iterator[CalibrationEvent]:
        """A port being measured; as `run_form`."""
        return self._run(session, None)

    def _run(self, session: Timed[Event], command: Callable[[Command, int], list[Event]] | None) -> Iterator[Event]:
        heard = self._heard
        self._source.start(self._post)
        try:
            happened = session.start(perf_counter_ns())
            while True:
                yield from happened
                if session.phase is Phase.FINISHED:
                    return
                due = session.deadline_ns
                wait_s = None if due is None else max(0.0, (due - perf_counter_ns()) / 1e9)
                try:
                    came = heard.get(timeout=wait_s)
                    if not isinstance(came, Command):
                        happened = session.hear(came)
                    else:
                        happened = [] if command is None else command(came, perf_counter_ns())
                except Empty:
                    happened = session.tick(perf_counter_ns())
        finally:
            self._source.stop()

    def run(self, session: Session) -> Iterator[SessionEvent]:
        heard = self._heard
        self._source.start(self._post)
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
                    came = heard.get(timeout=wait_s)
                    if isinstance(came, Command):
                        happened = session.command(came, perf_counter_ns())
                    else:
                        happened = session.hear(came)
                except Empty:
                    happened = session.tick(perf_counter_ns())
        finally:
            self._source.stop()
