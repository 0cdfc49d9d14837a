"""Stored attempts graded again: today's capture and grading over the events that were recorded.

Every attempt is replayed by itself, through the same `trainer.session` that runs live: its target is made again from
the record (`trainer.grading.target_from`), the keys held when its prompt was given are told by its events (`HELD`) or,
where older records do not say, by the attempts before, and its events come at their own times. What the events do not
say is taken from the record: that the answer was shown, that a prompt was skipped or left, what set the times aside.

What cannot be told from the record is taken as follows. An attempt from before rules were kept is graded as the voicing
exactly as asked, with the optional degrees of the table; its tries are those that it had, at least three unless it
ended wrong. *Another chord of the set* means any that was asked from the same set in the attempts given. Void attempts,
skipped ones without a try, and attempts without events stay as they are, and so does what names no chord.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from trainer.capture import Capture, Kind, NoteEvent, Windows
from trainer.grading import Surroundings, Target, target_from
from trainer.pitch import MidiNote
from trainer.progress import Attempt, RawEvent, TryRecord
from trainer.session import HELD, AttemptEnded, Command, Particulars, Session, SessionEvent, State, Task, TryGraded

USUAL_TRIES: Final = 3
"""How many tries a prompt had that was recorded before that was kept."""

SAME_TIME_MS: Final = 0.002
"""Events are stored to a microsecond: times that differ by no more are the same."""

AFTER_A_PAUSE: Final = "after a pause"
_NOTES: Final = (Kind.DOWN, Kind.UP)

_UNRELIABLE: Final = "anticipation"
"""What sets an attempt's times aside by its events; everything else that does is taken from the record."""


@dataclass(frozen=True, slots=True)
class Regraded:
    """An attempt as it was recorded and as it is graded today, the same object where nothing changes."""

    before: Attempt
    after: Attempt

    @property
    def changed(self) -> bool:
        return self.after != self.before

    @property
    def verdict_changed(self) -> bool:
        """Whether accuracy changes: what is right at the first try, or how it ended."""
        one, other = self.before, self.after
        return (one.outcome, one.right_first_try) != (other.outcome, other.right_first_try)

    @property
    def cause_changed(self) -> bool:
        """Whether another cause is told of the first try."""
        return _cause(self.before) != _cause(self.after)


def _cause(attempt: Attempt) -> str | None:
    return attempt.tries[0].cause if attempt.tries else None


def regraded(
    sessions: Iterable[Sequence[Attempt]],
    windows_of: Callable[[str], Windows] = lambda port: Windows(),
    controls: Collection[int] = (),
    others: Callable[[str], Sequence[Target]] = lambda set_title: (),
) -> Iterator[Regraded]:
    """Every attempt of some sessions, each session's in the order of their numbers, graded again.

    `windows_of` gives the windows of hearing for a port's name; `controls` are keys that gave commands and are no
    notes; `others` gives what else is asked from a set by its title, besides what the session at hand asked.
    """
    for session in sessions:
        held: set[int] = set()
        previous: Target | None = None
        one_earlier: Target | None = None
        before: Attempt | None = None
        asked = _targets(session)
        beside = {id(target): target for target in asked if target is not None}
        for attempt, target in zip(session, asked, strict=True):
            after = attempt
            if target is not None and _gradable(attempt):
                # A prompt given again after a pause follows what it followed the first time.
                again = target is previous and attempt.set_aside == AFTER_A_PAUSE
                beside |= {id(target): target for target in others(attempt.set_title)}
                around = Surroundings(one_earlier if again else previous, tuple(beside.values()))
                follows_answer = before is not None and _waits_for_keys(before, attempt)
                heard = _heard(attempt, held, follows_answer, controls)
                after = _graded_again(attempt, target, heard, around, windows_of(attempt.port))
            yield Regraded(attempt, after)
            _follow(held, attempt.events)
            if target is not None and attempt.outcome not in ("void", "unfinished"):
                one_earlier = one_earlier if target is previous else previous
                previous = target
            before = attempt


def target_of_attempt(attempt: Attempt) -> Target | None:
    """What an attempt asked for, made again from its record; None where the record does not say."""
    try:
        return target_from(
            attempt.quality,
            attempt.root,
            attempt.voicing,
            attempt.degrees,
            attempt.keys,
            attempt.rules if attempt.tries_allowed else None,
        )
    except ValueError:
        return None


def _targets(session: Iterable[Attempt]) -> list[Target | None]:
    return [target_of_attempt(attempt) for attempt in session]


def _gradable(attempt: Attempt) -> bool:
    return bool(attempt.events) and attempt.outcome != "void" and (bool(attempt.tries) or attempt.outcome != "skipped")


@dataclass(frozen=True, slots=True)
class _Heard:
    """What a prompt heard: the keys down when it was given, when that was (microseconds), and the events since."""

    down: tuple[int, ...]
    given_us: int
    events: tuple[RawEvent, ...]


def _heard(attempt: Attempt, held: Collection[int], follows_answer: bool, controls: Collection[int]) -> _Heard:
    events = [event for event in attempt.events if event[2] not in controls or event[1] not in _NOTES]
    marks = [index for index, event in enumerate(events) if event[1] == HELD]
    if marks:
        down = tuple(events[index][2] for index in marks)
        return _Heard(down, events[marks[-1]][0], tuple(events[marks[-1] + 1 :]))
    early = _early(attempt)
    if attempt.tries_allowed or follows_answer:
        # It was given with all keys up: below 0 lies what the chord before let go, and, of an answer begun before the
        # prompt was on the glass, what was struck and stayed down.
        events = [event for event in events if event[0] >= 0 or (early and _stays_down(event, events))]
        held = ()
    struck = [event[0] for event in events if event[1] == Kind.DOWN and event[0] < 0]
    return _Heard(tuple(sorted(held)), struck[0] if early and struck else 0, tuple(events))


def _early(attempt: Attempt) -> bool:
    """Whether the answer was begun before its prompt was on the glass."""
    think_ms = attempt.tries[0].think_ms if attempt.tries else 0.0
    return think_ms is None or think_ms < 0


def _stays_down(event: RawEvent, events: Sequence[RawEvent]) -> bool:
    further = events[events.index(event) + 1 :]
    return event[1] == Kind.DOWN and not any(
        kind == Kind.UP and key == event[2] and microseconds < 0 for microseconds, kind, key, _, _ in further
    )


def _waits_for_keys(before: Attempt, attempt: Attempt) -> bool:
    """Whether the prompt was given when all keys were up, or when those that seemed to be down counted no more."""
    return before.outcome in ("right", "wrong", "skipped") and attempt.set_aside != AFTER_A_PAUSE


def _follow(held: set[int], events: Iterable[RawEvent]) -> None:
    """The keys that are down after some events."""
    for _, kind, key, _, _ in events:
        if kind == Kind.DOWN:
            held.add(key)
        elif kind == Kind.UP:
            held.discard(key)
        elif kind in (Kind.QUIET, Kind.PORT_LOST):
            held.clear()


def _tries_allowed(attempt: Attempt) -> int:
    if attempt.tries_allowed:
        return attempt.tries_allowed
    return max(1, len(attempt.tries)) if attempt.outcome == "wrong" else max(USUAL_TRIES, len(attempt.tries))


def _graded_again(
    attempt: Attempt, target: Target, heard: _Heard, around: Surroundings | None, windows: Windows
) -> Attempt:
    try:
        played = _played(attempt, target, heard, around, windows)
    except ValueError:  # an event of no kind that is known
        return attempt
    if played is None:
        return attempt
    hinted = attempt.hint != ""
    right_first = played.right_first_try and not hinted
    set_aside = played.set_aside
    if attempt.set_aside and attempt.set_aside != _UNRELIABLE:
        set_aside = attempt.set_aside
    tries = tuple(
        _with_old_times(one, attempt.tries[index] if index < len(attempt.tries) else None)
        for index, one in enumerate(played.tries)
    )
    return replace(
        attempt,
        tries=tries,
        outcome=_outcome(attempt, played),
        right_first_try=right_first,
        response_ms=_same_or(played.response_ms if right_first else None, attempt.response_ms),
        settle_ms=_same_or(played.settle_ms, attempt.settle_ms),
        set_aside=set_aside,
    )


def _outcome(attempt: Attempt, played: Attempt) -> str:
    """How it ended: what the player broke off stays broken off unless it proves to have been right before."""
    if played.outcome == "right":
        return "right"
    if attempt.outcome in ("unfinished", "skipped"):
        return attempt.outcome
    return "wrong"


def _same_or(new: float | None, old: float | None) -> float | None:
    return old if new is not None and old is not None and abs(new - old) <= SAME_TIME_MS else new


def _with_old_times(one: TryRecord, before: TryRecord | None) -> TryRecord:
    if before is None:
        return one
    spread_ms = _same_or(one.spread_ms, before.spread_ms)
    return replace(
        one,
        think_ms=_same_or(one.think_ms, before.think_ms),
        spread_ms=one.spread_ms if spread_ms is None else spread_ms,
    )


def played_again(attempt: Attempt, target: Target, windows: Windows | None = None) -> Attempt | None:
    """An attempt as its own events give it, graded against a target; None where they hold no try or are none.

    For an attempt by itself, of which nothing else of its session is known.
    """
    try:
        played = _played(attempt, target, _heard(attempt, (), True, ()), None, windows or Windows())
    except ValueError:
        return None
    return None if played is None else replace(played, outcome=_outcome(attempt, played))


def _played(
    attempt: Attempt, target: Target, heard: _Heard, around: Surroundings | None, windows: Windows
) -> Attempt | None:
    """The attempt that a session makes of the events; None where it hears no try in them. Raises ValueError."""
    task = Task(target, attempt.set_title, attempt.drill, _tries_allowed(attempt), attempt.target_ms)
    particulars = Particulars(attempt.session, lambda: attempt.utc, attempt.port, attempt.stamp_origin)
    session = Session([task], particulars, Capture(windows), around)
    given_ns = heard.given_us * 1000
    for key in heard.down:
        session.hear(NoteEvent(given_ns, Kind.DOWN, MidiNote(key)))
    session.start(given_ns)
    ended: list[Attempt] = []
    tries = 0

    def take(happened: Iterable[SessionEvent]) -> None:
        nonlocal tries
        for event in happened:
            if isinstance(event, AttemptEnded):
                ended[:] = [event.attempt]
            tries += isinstance(event, TryGraded)

    now_ns = given_ns
    for event in map(_note_event, heard.events):
        if event.time_ns >= 0:
            session.prompt_shown(0)
        while (due := session.deadline_ns) is not None and due <= event.time_ns:
            take(session.tick(due))
        take(session.hear(event))
        now_ns = event.time_ns
        if session.state is State.FINISHED:
            break
    session.prompt_shown(0)
    # What was broken off was left at a moment that nobody recorded: after as many tries as there had been.
    broken_off = len(attempt.tries) < task.tries and attempt.outcome != "right"
    while session.state is not State.FINISHED and (due := session.deadline_ns) is not None:
        if broken_off and tries >= len(attempt.tries):
            break
        now_ns = max(now_ns, due)
        take(session.tick(due))
    if not ended:
        if not broken_off:
            take(session.end(now_ns))
        else:
            take(session.command(Command.FINISH, now_ns))
    return ended[0] if ended else None


def _note_event(event: RawEvent) -> NoteEvent:
    microseconds, kind, key, value, _ = event
    # Every channel that was recorded was one that was listened to.
    return NoteEvent(microseconds * 1000, Kind(kind), MidiNote(key), value)
