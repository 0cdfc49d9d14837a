"""One practice session as a state table: prompt, hear, grade, next.

A session is fed note events, commands and the clock, and answers with session events in the past tense; it does no
I/O and reads no clock, so the same object runs under the screen and headless from a file. All times are integer
nanoseconds of one monotonic clock.

    events = session.start(now_ns)           # Prompted
    session.prompt_shown(now_ns)             # once the prompt is on the glass: response times count from here
    events = session.hear(note_event)        # Heard, TryGraded, AttemptEnded, Prompted ...
    events = session.tick(now_ns)            # serves session.deadline_ns

A right chord ends its attempt the moment it is complete. A further wrong key that still belongs to the same gesture
(within the gap after its last note) turns it wrong after all: the attempt is reopened, `AttemptEnded` comes again with
the same number, and the record of that number is to be replaced. An attempt is final once the next prompt is given.

States and what leads on:

    READY --start--> PROMPTED --attempt decided--> ANSWERED --all keys up--> PROMPTED ... --last one--> FINISHED
    PROMPTED/ANSWERED --pause, port lost--> PAUSED --resume, port found--> PROMPTED (the same prompt again)

Times of a try (milliseconds): *think* runs from the prompt to the first note-on (for a later try: from the moment the
try before was decided), *spread* from the first to the last note-on of the gesture. The response time is think plus
spread of a first try that was right. *Settle* runs from the last note-on of the first gesture to the right chord.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, Protocol

from trainer.capture import MILLISECOND_NS, Capture, Gesture, Kind, NoteEvent, Standing, stand_ns
from trainer.drills import Task as Task
from trainer.drills import tasks as tasks
from trainer.grading import Grade, Surroundings, Target, Verdict, grade, rules_text, verdicts_so_far
from trainer.pitch import MidiNote, keys_of
from trainer.progress import Attempt, RawEvent, TryRecord, VerdictRecord

ANTICIPATION_MS: Final = 150.0
"""A first note-on sooner after the prompt is no answer to it (from memory; stays a judgement)."""

PEDAL_CONTROL: Final = -1
"""Stands for the sustain pedal where a command is given from the piano."""

HELD: Final = "held"
"""Among the raw events of an attempt: a key that was down already when the prompt was given."""

_MOST_EVENTS_KEPT: Final = 100_000


class State(StrEnum):
    """Where a session stands."""

    READY = "ready"
    PROMPTED = "prompted"
    ANSWERED = "answered"
    PAUSED = "paused"
    FINISHED = "finished"


class Command(StrEnum):
    """What a player may ask for, from the computer or from the piano."""

    AGAIN = "again"
    SKIP = "skip"
    SHOW = "show the answer"
    PAUSE = "pause"
    RESUME = "go on"
    FINISH = "next set"
    HEAR = "hear it"


class Prompter(Protocol):
    """A plan that is asked for each prompt when its turn has come, so that it can answer to what was played."""

    @property
    def targets(self) -> Sequence[Target]:
        """Everything it may ask for."""

    def next_task(self, attempts: Sequence[Attempt], now_ns: int) -> Task | None:
        """The next prompt, given every attempt of the session so far (all final); None ends the session."""

    def prompts_left(self) -> int:
        """About how many prompts are still to come."""


@dataclass(frozen=True, slots=True)
class Prompted:
    """A prompt is to be shown; `number` counts from 1 to `total`, which a `Prompter` can only estimate."""

    task: Task
    number: int
    total: int
    time_ns: int


@dataclass(frozen=True, slots=True)
class Heard:
    """The keys held have changed; verdicts so far, bottom up (``missing`` is only not yet held)."""

    verdicts: tuple[Verdict, ...]
    extra: tuple[MidiNote, ...]
    held: int


@dataclass(frozen=True, slots=True)
class TryGraded:
    """A gesture was graded. `manner` is together, rolled or spread; `left` counts the tries that remain."""

    task: Task
    grade: Grade
    think_ms: float | None
    spread_ms: float
    manner: str
    left: int


@dataclass(frozen=True, slots=True)
class AttemptEnded:
    """An attempt is decided; it is to be stored before anything else is shown.

    With `replaces` it takes the place of one recorded before under its number (see the head of this module).
    """

    attempt: Attempt
    task: Task
    replaces: bool = False


@dataclass(frozen=True, slots=True)
class Voided:
    """The attempt in hand does not count, and the prompt will be given again; `attempt` is for the record."""

    reason: str
    attempt: Attempt
    replaces: bool = False


@dataclass(frozen=True, slots=True)
class AnswerShown:
    """The player asked to see the answer."""

    task: Task


@dataclass(frozen=True, slots=True)
class HearingAsked:
    """The player asked to hear the voicing; it is sounded by whoever drives the session."""

    task: Task


@dataclass(frozen=True, slots=True)
class Paused:
    """The session waits; `reason` is a sentence for the player."""

    reason: str


@dataclass(frozen=True, slots=True)
class Resumed:
    """The session goes on."""


@dataclass(frozen=True, slots=True)
class Finished:
    """No prompt is left, or the player ended the session. `attempts` are those that were decided."""

    attempts: tuple[Attempt, ...]


SessionEvent = (
    Prompted | Heard | TryGraded | AttemptEnded | Voided | AnswerShown | HearingAsked | Paused | Resumed | Finished
)


@dataclass(frozen=True, slots=True)
class Particulars:
    """What the session is told about its surroundings, for the record.

    `utc_now` gives the wall clock as ISO 8601 text in UTC; `controls` maps a key of the piano (or `PEDAL_CONTROL`)
    to the command that it gives.
    """

    session: str
    utc_now: Callable[[], str]
    port: str = ""
    stamp_origin: str = ""
    controls: Mapping[int, Command] = field(default_factory=dict)


class Session:
    """The state table; see the head of this module."""

    def __init__(
        self,
        plan: Sequence[Task] | Prompter,
        particulars: Particulars,
        capture: Capture | None = None,
        surroundings: Surroundings | None = None,
    ) -> None:
        """`plan` is the prompts in order, or what is asked for them; raises ValueError where there is none.

        `surroundings` are what was asked before and beside the plan, where that is known (see `trainer.regrading`).
        """
        self._prompter = None if isinstance(plan, Sequence) else plan
        self._queue = list(plan) if isinstance(plan, Sequence) else []
        targets = [task.target for task in plan] if isinstance(plan, Sequence) else plan.targets
        if not targets:
            raise ValueError("a session needs at least one prompt")
        self._position = 0
        self._particulars = particulars
        self.capture = capture or Capture()
        self.state = State.READY
        self.attempts: list[Attempt] = []
        others = {id(target): target for target in targets}
        self._others = tuple(others.values()) if surroundings is None else tuple(surroundings.others)
        self.pool_size = len({(t.voicing, t.chord.quality.text, t.root) for t in self._others})
        self._recorded = 0
        self._previous = None if surroundings is None else surroundings.previous
        self._prompt_ns: int | None = None
        self._prompt_utc = ""
        self._tries: list[TryRecord] = []
        self._first_gesture_end_ns: int | None = None
        self._last_settled_ns: int | None = None
        self._hint = ""
        self._set_aside = ""
        self._events: list[NoteEvent] = []
        self._given_ns, self._events_when_given = 0, 0
        self._held_when_given: tuple[MidiNote, ...] = ()
        self._events_recorded = 0
        self._paused_by_port = False
        self._right: Gesture | None = None  # the gesture that ended the attempt as right
        self._late: NoteEvent | None = None  # a wrong key after it, forgiven if it proves a graze
        self._stands_ns: int | None = None  # when it has proved one: the chord stood without it long enough
        self._reopened = False

    # -- what drives it

    @property
    def task(self) -> Task | None:
        """The prompt in hand, or the last one while its answer is still held."""
        return self._queue[self._position] if self._position < len(self._queue) else None

    @property
    def total(self) -> int:
        return len(self._queue) + (self._prompter.prompts_left() if self._prompter is not None else 0)

    def start(self, now_ns: int) -> list[SessionEvent]:
        """Give the first prompt."""
        return self._prompt(now_ns) if self.state is State.READY else []

    def prompt_shown(self, now_ns: int) -> None:
        """The prompt is on the glass since `now_ns`; response times count from there."""
        if self.state is State.PROMPTED and self._prompt_ns is None:
            self._prompt_ns = now_ns

    def disturbed(self, reason: str) -> None:
        """Something took the player's eyes off the prompt (a resize, another window): its times do not count."""
        if self.state is State.PROMPTED:
            self._set_aside = self._set_aside or reason

    @property
    def deadline_ns(self) -> int | None:
        """When `tick` is due if no event comes first."""
        if self.state is State.ANSWERED and self._late is not None:
            return self._stands_ns or self._late.time_ns + self.capture.windows.graze_ns
        if self.state is not State.PROMPTED or (task := self.task) is None:
            return None
        return self.capture.deadline_ns(task.target)

    def hear(self, event: NoteEvent) -> list[SessionEvent]:
        """Take one event of the piano."""
        if self.capture.ignores(event):
            return []
        happened = self.tick(event.time_ns)
        if len(self._events) < _MOST_EVENTS_KEPT and self.state is not State.FINISHED:
            self._events.append(event)
        control = self._control(event)
        if control is not None:
            if control is Command.PAUSE and self.state is State.PAUSED:
                control = Command.RESUME
            return happened + self.command(control, event.time_ns)
        if event.kind in _SILENCING:
            return happened + self._silenced(event)
        if event.kind is Kind.PORT_FOUND:
            if self.state is State.PAUSED and self._paused_by_port:
                happened += self.command(Command.RESUME, event.time_ns)
            return happened
        if event.key in self._particulars.controls and event.kind is Kind.UP:
            return happened
        return happened + _HEARING[self.state](self, event)

    def tick(self, now_ns: int) -> list[SessionEvent]:
        """Serve the deadlines up to and including `now_ns`."""
        happened: list[SessionEvent] = []
        while (due := self.deadline_ns) is not None and due <= now_ns:
            task = self.task
            assert task is not None
            if self.state is State.ANSWERED and self._stands_ns is not None:
                self._late = self._stands_ns = None  # brushed, and the set forgives it
                continue
            if self.state is State.ANSWERED:
                happened += self._reopen(due)
                continue
            for gesture in self.capture.tick(due, task.target):
                happened += self._take(gesture)
        return happened

    def end(self, now_ns: int) -> list[SessionEvent]:
        """Nothing more will be played: grade the chord under way as it is held, and finish."""
        happened: list[SessionEvent] = []
        if self.state is State.PROMPTED and (task := self.task) is not None:
            for gesture in self.capture.finish(now_ns, task.target):
                happened += self._take(gesture)
        return happened + self.command(Command.FINISH, now_ns)

    def command(self, command: Command, now_ns: int) -> list[SessionEvent]:
        """What the player asks for; a command that means nothing in this state does nothing."""
        action = _COMMANDS.get((self.state, command))
        return action(self, now_ns) if action is not None else []

    # -- hearing, by state

    def _ignore(self, event: NoteEvent) -> list[SessionEvent]:
        self.capture.track(event)
        return []

    def _hear_answer(self, event: NoteEvent) -> list[SessionEvent]:
        task = self.task
        assert task is not None
        if self._prompt_ns is None and event.kind is Kind.DOWN:
            self._prompt_ns = event.time_ns  # played before the prompt could be seen
        before = self.capture.held
        gestures = self.capture.feed(event, task.target)
        happened: list[SessionEvent] = []
        if self.capture.held != before:
            verdicts, extra = verdicts_so_far(task.target, self.capture.held)
            happened.append(Heard(verdicts, extra, self.capture.held))
        for gesture in gestures:
            if self.state is State.PROMPTED and self.task is task:
                happened += self._take(gesture)
        return happened

    def _hear_release(self, event: NoteEvent) -> list[SessionEvent]:
        self.capture.track(event)
        late, right = self._late, self._right
        if late is not None and right is not None and event.kind is Kind.UP:
            if event.key == late.key:
                self._stands_ns = event.time_ns + stand_ns(event.time_ns - late.time_ns)
            elif right.held & 1 << event.key:  # let go together: a chord with a wrong key, not a brushed one
                return self._reopen(event.time_ns)
        if event.kind is Kind.DOWN and self._spoils(event):
            self._late, self._stands_ns = event, None
            task = self.task
            if task is not None and not task.target.passes.graze:
                return self._reopen(event.time_ns)
        return self._next(event.time_ns) if self.capture.held == 0 else []

    def _spoils(self, event: NoteEvent) -> bool:
        """A wrong key that still belongs to the gesture which was taken for right."""
        right, task = self._right, self.task
        if right is None or task is None or event.time_ns - right.last_ns > self.capture.windows.gap_ns:
            return False
        return task.target.standing(right.held | 1 << event.key) in (Standing.WRONG, Standing.PARTIAL)

    def _reopen(self, now_ns: int) -> list[SessionEvent]:
        """The answer taken for right had one key more: grade it again with that key."""
        right, late = self._right, self._late
        assert right is not None and late is not None
        self.attempts.pop()
        self._recorded -= 1
        self._tries.pop()
        struck = (*right.struck, (late.key, late.time_ns))
        gesture = replace(
            right, struck=struck, held=right.held | 1 << late.key, last_ns=late.time_ns, settled_ns=now_ns
        )
        self.state = State.PROMPTED
        self._right = self._late = self._stands_ns = None
        self._reopened = True
        happened = self._take(gesture)
        if self.state is State.PROMPTED:
            task = self.task
            assert task is not None
            attempt = self._record("unfinished")
            self.attempts.pop()
            self._recorded -= 1
            happened.insert(0, AttemptEnded(attempt, task, self._reopened))
        return happened

    def _control(self, event: NoteEvent) -> Command | None:
        controls = self._particulars.controls
        if event.kind is Kind.DOWN:
            return controls.get(event.key)
        if event.kind is Kind.PEDAL and event.value >= 64 and not self.capture.pedal_down:
            command = controls.get(PEDAL_CONTROL)
            if command is not None:
                self.capture.track(event)
            return command
        return None

    def _silenced(self, event: NoteEvent) -> list[SessionEvent]:
        lost = event.kind is Kind.PORT_LOST
        busy = self.capture.held != 0 or self.capture.hears_gesture
        self.capture.silence()
        if self.state not in (State.PROMPTED, State.ANSWERED):
            return []
        if self.state is State.ANSWERED:
            happened = self._next(event.time_ns)
            return happened + self._pause_for_port(event) if lost and self.task is not None else happened
        if lost:
            return self._void(f"{event.port or 'the piano'} was unplugged") + self._pause_for_port(event)
        if not busy:
            return []
        return self._void("the piano said that no key is held") + self._prompt(event.time_ns)

    def _pause_for_port(self, event: NoteEvent) -> list[SessionEvent]:
        self._paused_by_port = True
        self.state = State.PAUSED
        name = event.port or "The piano"
        return [Paused(f"{name} is not connected. Plug it in again and the drill goes on where it stood.")]

    # -- attempts

    def _ask(self, now_ns: int) -> Task | None:
        """The prompt whose turn it is; a `Prompter` is asked for one where none is waiting."""
        if self.task is None and self._prompter is not None:
            task = self._prompter.next_task(self.attempts, now_ns)
            self._queue += [task] if task is not None else []
        return self.task

    def _prompt(self, now_ns: int) -> list[SessionEvent]:
        task = self._ask(now_ns)
        if task is None:
            return self._finish()
        self.state = State.PROMPTED
        self.capture.forget()
        self._prompt_ns = None
        self._prompt_utc = self._particulars.utc_now()
        self._tries = []
        self._first_gesture_end_ns = None
        self._last_settled_ns = None
        self._hint = ""
        self._set_aside = ""
        self._right = self._late = self._stands_ns = None
        self._reopened = False
        self._events = self._events[self._events_recorded :]
        self._events_recorded = 0
        self._given_ns, self._events_when_given = now_ns, len(self._events)
        self._held_when_given = keys_of(self.capture.held)
        return [Prompted(task, self._position + 1, self.total, now_ns)]

    def _take(self, gesture: Gesture) -> list[SessionEvent]:
        task = self.task
        assert task is not None
        graded = grade(task.target, gesture, Surroundings(self._previous, self._others))
        since_ns = self._last_settled_ns if self._tries else self._prompt_ns
        think_ms = None
        if gesture.struck and since_ns is not None:
            think_ms = _milliseconds(gesture.first_ns - since_ns)
            if not self._tries and think_ms < ANTICIPATION_MS:
                self._set_aside = self._set_aside or "anticipation"
        spread_ms = _milliseconds(gesture.spread_ns)
        if self._first_gesture_end_ns is None:
            self._first_gesture_end_ns = gesture.last_ns
        self._last_settled_ns = gesture.settled_ns
        self._tries.append(_try_record(graded, think_ms, spread_ms))
        left = 0 if graded.right else max(0, task.tries - len(self._tries))
        two_hands = task.target.placement.recipe.hand == "both"
        manner = gesture.manner(self.capture.windows, two_hands)
        happened: list[SessionEvent] = []
        if left == 0:
            settle_ms = None
            if graded.right:
                right_ns = gesture.last_ns if gesture.struck else gesture.settled_ns
                settle_ms = _milliseconds(right_ns - self._first_gesture_end_ns)
            attempt = self._record("right" if graded.right else "wrong", settle_ms)
            self._right = gesture if graded.right and gesture.struck else None
            happened.append(AttemptEnded(attempt, task, self._reopened))
        else:
            self.capture.missed()
        happened.append(TryGraded(task, graded, think_ms, spread_ms, manner, left))
        if left == 0:
            happened += self._answered(gesture.settled_ns)
        return happened

    def _answered(self, now_ns: int) -> list[SessionEvent]:
        self.state = State.ANSWERED
        self.capture.forget()
        return self._next(now_ns) if self.capture.held == 0 else []

    def _next(self, now_ns: int) -> list[SessionEvent]:
        if self._position < len(self._queue):
            self._previous = self._queue[self._position].target
        self._position += 1
        return self._prompt(now_ns)

    def _record(self, outcome: str, settle_ms: float | None = None) -> Attempt:
        task = self.task
        assert task is not None
        target = task.target
        first = self._tries[0] if self._tries else None
        right_first = outcome == "right" and first is not None and first.right and not self._hint
        response_ms = None
        if right_first and first is not None and first.think_ms is not None:
            response_ms = round(first.think_ms + first.spread_ms, 3)
        attempt = Attempt(
            session=self._particulars.session,
            number=self._recorded,
            utc=self._prompt_utc,
            set_title=task.set_title,
            drill=task.drill,
            chord=target.chord.symbol,
            quality=target.chord.quality.text,
            root=target.root.name,
            voicing=target.voicing,
            degrees=tuple(degree.name for degree in target.degrees),
            notes=tuple(note.name for note in target.notes),
            keys=tuple(target.keys),
            tries=tuple(self._tries),
            outcome=outcome,
            right_first_try=right_first,
            response_ms=response_ms,
            settle_ms=settle_ms,
            pool_size=self.pool_size,
            hint=self._hint,
            set_aside=self._set_aside,
            port=self._particulars.port,
            stamp_origin=self._particulars.stamp_origin,
            target_ms=task.target_ms,
            events=self._raw_events(),
            rules=rules_text(target),
            tries_allowed=task.tries,
        )
        self._recorded += 1
        if outcome != "void":
            self.attempts.append(attempt)
        return attempt

    def _raw_events(self) -> tuple[RawEvent, ...]:
        """Everything heard since the last record, on the prompt's clock; releases of the chord before lie below 0.

        Keys that were held already when the prompt was given stand there as `HELD`: rarely, since it waits for them.
        """
        events = self._events
        self._events_recorded = len(events)
        start_ns = self._prompt_ns if self._prompt_ns is not None else (events[-1].time_ns if events else 0)
        raw = [
            ((event.time_ns - start_ns) // 1000, str(event.kind), event.key, event.value, event.channel)
            for event in events
        ]
        if self._held_when_given:
            given = (self._given_ns - start_ns) // 1000
            at = self._events_when_given
            raw[at:at] = [(given, HELD, key, 0, 0) for key in self._held_when_given]
        return tuple(raw)

    def _void(self, reason: str) -> list[SessionEvent]:
        return [Voided(reason, self._record("void"), self._reopened)]

    # -- commands

    def _skip(self, now_ns: int) -> list[SessionEvent]:
        task = self.task
        assert task is not None
        # A miss stays a miss, whatever the player does next.
        ended = AttemptEnded(self._record("wrong" if self._tries else "skipped"), task, self._reopened)
        return [ended, *self._answered(now_ns)]

    def _force_next(self, now_ns: int) -> list[SessionEvent]:
        """Go on although a key seems to be held: its release may never come."""
        self.capture.silence()
        return self._next(now_ns)

    def _again(self, now_ns: int) -> list[SessionEvent]:
        """Ask the chord before once more; at the first prompt, this one."""
        happened = self._close()
        if self._position > 0:
            self._queue.insert(self._position, self._queue[self._position - 1])
        return happened + self._prompt(now_ns)

    def _again_after_answer(self, now_ns: int) -> list[SessionEvent]:
        self._queue.insert(self._position + 1, self._queue[self._position])
        return self._next(now_ns) if self.capture.held == 0 else []

    def _show(self, now_ns: int) -> list[SessionEvent]:
        task = self.task
        assert task is not None
        if task.hint != "notes":
            self._hint = "shown"
        return [AnswerShown(task)]

    def _hear_it(self, now_ns: int) -> list[SessionEvent]:
        task = self.task
        if task is None:
            return []
        # What sounds is a hint, unless the prompt shows or sounds as much by itself.
        if self.state is State.PROMPTED and task.hint not in ("notes", "sound"):
            self._hint = self._hint or "heard"
        return [HearingAsked(task)]

    def _pause(self, now_ns: int) -> list[SessionEvent]:
        happened: list[SessionEvent] = []
        if self.state is State.ANSWERED:
            self._position += 1
            if self._ask(now_ns) is None:
                return self._finish()
        elif self._tries:
            task = self.task
            assert task is not None
            happened.append(AttemptEnded(self._record("wrong"), task, self._reopened))
        elif self.capture.hears_gesture:
            happened += self._void("paused")
        self.state = State.PAUSED
        self._paused_by_port = False
        self.capture.forget()
        return [*happened, Paused("Paused.")]

    def _resume(self, now_ns: int) -> list[SessionEvent]:
        self._paused_by_port = False
        happened = self._prompt(now_ns)
        self._set_aside = "after a pause"
        return [Resumed(), *happened]

    def _end(self, now_ns: int) -> list[SessionEvent]:
        return [*self._close(), *self._finish()]

    def _close(self) -> list[SessionEvent]:
        """Record an attempt that was begun and will not be ended."""
        task = self.task
        if self.state is not State.PROMPTED or task is None or not self._tries:
            return []
        return [AttemptEnded(self._record("unfinished"), task, self._reopened)]

    def _finish(self) -> list[SessionEvent]:
        self.state = State.FINISHED
        self.capture.forget()
        return [Finished(tuple(self.attempts))]


_SILENCING: Final = (Kind.QUIET, Kind.PORT_LOST)

_HEARING: Final[dict[State, Callable[[Session, NoteEvent], list[SessionEvent]]]] = {
    State.READY: Session._ignore,
    State.PROMPTED: Session._hear_answer,
    State.ANSWERED: Session._hear_release,
    State.PAUSED: Session._ignore,
    State.FINISHED: Session._ignore,
}

_COMMANDS: Final[dict[tuple[State, Command], Callable[[Session, int], list[SessionEvent]]]] = {
    (State.PROMPTED, Command.AGAIN): Session._again,
    (State.PROMPTED, Command.SKIP): Session._skip,
    (State.PROMPTED, Command.SHOW): Session._show,
    (State.PROMPTED, Command.PAUSE): Session._pause,
    (State.PROMPTED, Command.FINISH): Session._end,
    (State.PROMPTED, Command.HEAR): Session._hear_it,
    (State.ANSWERED, Command.HEAR): Session._hear_it,
    (State.ANSWERED, Command.AGAIN): Session._again_after_answer,
    (State.ANSWERED, Command.SKIP): Session._force_next,
    (State.ANSWERED, Command.SHOW): Session._show,
    (State.ANSWERED, Command.PAUSE): Session._pause,
    (State.ANSWERED, Command.FINISH): Session._end,
    (State.PAUSED, Command.RESUME): Session._resume,
    (State.PAUSED, Command.FINISH): Session._end,
}


def replay(session: Session, events: Iterable[NoteEvent], start_ns: int = 0) -> Iterator[SessionEvent]:
    """Run a session over recorded events under their own clock; prompts are shown the moment they are given.

    Ends after the last event once nothing more can be decided. A chord that is still held then is graded as it stands;
    an attempt that was begun and could still have been mended is recorded as unfinished.
    """

    def shown(happened: list[SessionEvent]) -> list[SessionEvent]:
        for event in happened:
            if isinstance(event, Prompted):
                session.prompt_shown(event.time_ns)
        return happened

    now_ns = start_ns
    yield from shown(session.start(start_ns))
    for event in events:
        while (due := session.deadline_ns) is not None and due <= event.time_ns:
            yield from shown(session.tick(due))
        now_ns = event.time_ns
        yield from shown(session.hear(event))
        if session.state is State.FINISHED:
            return
    while (due := session.deadline_ns) is not None:
        now_ns = max(now_ns, due)
        yield from shown(session.tick(due))
    if session.state is not State.FINISHED:
        yield from shown(session.end(now_ns))


def _milliseconds(duration_ns: int) -> float:
    return round(duration_ns / MILLISECOND_NS, 3)


def _try_record(graded: Grade, think_ms: float | None, spread_ms: float) -> TryRecord:
    return TryRecord(
        held=tuple(graded.held),
        verdicts=tuple(
            VerdictRecord(
                verdict.degree.name,
                verdict.verdict,
                verdict.key,
                verdict.by.name if verdict.by is not None else None,
                verdict.semitones,
            )
            for verdict in graded.verdicts
        ),
        extra=tuple(graded.extra),
        right=graded.right,
        cause=graded.cause,
        causes=tuple(cause.code for cause in graded.causes),
        sentence=graded.sentence,
        think_ms=think_ms,
        spread_ms=spread_ms,
    )
