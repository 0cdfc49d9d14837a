"""Stored attempts graded again: with today's grader nothing changes, and what does change is shown for what it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from test_session import CM7, MS, chord, ended, play, session, task

from trainer.capture import Capture, Kind, NoteEvent, Windows
from trainer.drills import read
from trainer.pitch import MidiNote
from trainer.progress import Attempt
from trainer.regrading import Regraded, regraded
from trainer.session import AttemptEnded, Command, Particulars, Prompted, Session, SessionEvent, State, Voided, tasks

SETS = [path for path in sorted((Path(__file__).parents[1] / "drills").glob("*.toml")) if ".lesson" not in path.name]


class Player:
    """Plays a session as nobody should: right and wrong, overlapping, brushing, breaking off, at random from a seed."""

    def __init__(self, what: Session, chance: Random) -> None:
        self.session, self.chance = what, chance
        self.attempts: dict[int, Attempt] = {}
        self.now_ns = 1_000_000_000
        self.down: set[int] = set()

    def _take(self, happened: list[SessionEvent]) -> None:
        for event in happened:
            if isinstance(event, AttemptEnded | Voided):
                self.attempts[event.attempt.number] = event.attempt
            if isinstance(event, Prompted):
                self.session.prompt_shown(max(self.now_ns, event.time_ns))

    def _wait(self, milliseconds: float) -> None:
        until_ns = self.now_ns + round(milliseconds * MS) + self.chance.randrange(1_000_000)
        while (due := self.session.deadline_ns) is not None and due <= until_ns:
            self.now_ns = max(self.now_ns, due)
            self._take(self.session.tick(due))
        self.now_ns = until_ns

    def _hear(self, kind: Kind, key: int = 0, value: int = 0) -> None:
        if kind is Kind.DOWN:
            self.down.add(key)
        elif kind is Kind.UP:
            self.down.discard(key)
        self._take(self.session.hear(NoteEvent(self.now_ns, kind, MidiNote(key), value)))

    def _strike(self, keys: list[int], spread_ms: int) -> None:
        for key in keys:
            self._hear(Kind.DOWN, key, 64)
            self._wait(self.chance.uniform(0, spread_ms))

    def _lift(self, keys: list[int]) -> None:
        for key in keys:
            if key in self.down:
                self._hear(Kind.UP, key)
                self._wait(self.chance.uniform(0, 30))

    def run(self) -> list[Attempt]:
        self._take(self.session.start(self.now_ns))
        while self.session.state is not State.FINISHED and self.session.task is not None and self.now_ns < 4e12:
            self._answer(list(self.session.task.target.keys))
        return [self.attempts[number] for number in sorted(self.attempts)]

    def _answer(self, keys: list[int]) -> None:
        chance = self.chance
        self._wait(chance.choice([30, 170, 400, 1500]))
        chance.shuffle(keys)
        if chance.random() < 0.4:
            keys[0] = min(127, max(0, keys[0] + chance.choice([-12, -2, -1, 1, 2, 12])))
        if chance.random() < 0.1:
            keys = keys[1:]
        if chance.random() < 0.1:
            self._hear(Kind.PEDAL, 0, chance.choice([0, 127]))
        brushed = keys[-1] + 1 if chance.random() < 0.15 else None
        if brushed is not None and brushed < 128:
            self._strike([brushed], 20)
            self._wait(chance.choice([5, 40, 90]))
            self._lift([brushed])
        self._strike(keys, chance.choice([10, 40, 120, 400]))
        self._wait(chance.choice([20, 120, 500]))
        if chance.random() < 0.15:
            command = chance.choice([Command.SKIP, Command.SHOW, Command.AGAIN, Command.PAUSE])
            self._take(self.session.command(command, self.now_ns))
            if self.session.state is State.PAUSED:
                self._lift(sorted(self.down))
                self._take(self.session.command(Command.RESUME, self.now_ns))
        if chance.random() < 0.03:
            self._hear(Kind.QUIET, 0, 123)
            self.down.clear()
        if chance.random() < 0.8:
            self._lift(sorted(self.down))
        elif self.down:
            self._lift([chance.choice(sorted(self.down))])


def changes(attempts: list[Attempt]) -> Iterator[Regraded]:
    return (one for one in regraded([attempts]) if one.changed)


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_a_session_graded_again_with_the_same_grader_is_as_it_was(path: Path) -> None:
    drill_set, faults = read(path.read_text(encoding="utf-8"), path.name)
    assert drill_set is not None and faults == ()
    chance = Random(path.stem)
    plan = tasks(drill_set, chance)[:30]
    particulars = Particulars("s", lambda: "2026-01-05T18:00:00.000Z", "Piano", "callback")
    attempts = Player(Session(plan, particulars), chance).run()
    assert len(attempts) >= len(plan)
    assert [(one.before, one.after) for one in changes(attempts) if one.verdict_changed] == []
    # Asking for a chord again leaves no mark in the record: what came before a prompt is then told wrongly, rarely.
    assert sum(1 for _ in changes(attempts)) <= 1


def test_an_attempt_from_before_rules_were_kept_is_graded_as_the_voicing_exactly_as_asked() -> None:
    happened = play(session(task("Cm7"), task("Fm7")), chord(1200, CM7), chord(3000, (56, 60, 63, 67)))
    old = [replace(attempt, rules="", tries_allowed=0) for attempt in ended(happened)]
    assert list(changes(old)) == []


def test_a_verdict_that_a_grader_of_old_gave_is_put_right() -> None:
    [right, wrong] = ended(
        play(session(task("Cm7"), task("Fm7", tries=1)), chord(1200, CM7), chord(3000, (56, 60, 63, 68)))
    )
    said_wrong = replace(
        right,
        outcome="wrong",
        right_first_try=False,
        response_ms=None,
        tries=(replace(right.tries[0], right=False, cause="half_step", causes=("half_step",)),),
    )
    other_cause = replace(wrong, tries=(replace(wrong.tries[0], cause="octave", causes=("octave",)),))
    first, second = regraded([[said_wrong, other_cause]])
    assert first.verdict_changed and first.cause_changed and first.after == right
    assert second.changed and not second.verdict_changed and second.cause_changed and second.after == wrong


def test_what_the_events_do_not_tell_is_taken_from_the_record() -> None:
    what = session(task("Cm7"), task("Fm7"))
    what.start(0)
    what.prompt_shown(0)
    happened = what.command(Command.SHOW, 300 * MS)
    for event in chord(1200, CM7):
        happened += what.hear(event)
    [plain] = ended(happened)
    assert plain.hint == "" and plain.right_first_try  # this set shows the notes anyway: nothing was given away
    shown = replace(plain, hint="shown", right_first_try=False, response_ms=None)
    assert list(changes([shown, replace(plain, number=1, set_aside="after a pause")])) == []


def test_keys_that_gave_commands_are_no_notes() -> None:
    what = session(task("Cm7"), task("Fm7"), controls={21: Command.SHOW})
    show = [NoteEvent(500 * MS, Kind.DOWN, MidiNote(21), 60), NoteEvent(600 * MS, Kind.UP, MidiNote(21))]
    [first, *_] = ended(play(what, show, chord(1200, CM7)))
    assert first.outcome == "right"
    assert [one.changed for one in regraded([[first]], controls=(21,))] == [False]
    assert [one.changed for one in regraded([[first]])] == [True]


def test_a_port_whose_stamps_scatter_keeps_its_wider_windows() -> None:
    # 90 ms between two notes: one gesture with windows widened by 15 ms, two without.
    late = [*chord(1200, (51, 55, 58)), *chord(1290, (63,))]
    wide = Windows().widened(15 * MS)
    particulars = Particulars("s", lambda: "2026-01-05T18:00:00.000Z", "Bluetooth piano", "callback")
    [first] = ended(play(Session([task("Cm7", tries=1)], particulars, Capture(wide)), late))
    assert list(regraded([[first]], lambda port: wide)) == [Regraded(first, first)]


@pytest.mark.parametrize(
    "change",
    [
        {"quality": "what"},
        {"rules": "sideways", "tries_allowed": 3},
        {"events": ()},
        {"events": ((0, "telephone", 0, 0, 0),)},
        {"events": ((-5, "held", 51, 0, 0),)},
        {"outcome": "void"},
        {"degrees": (), "keys": ()},
    ],
)
def test_what_cannot_be_graded_stays_as_it_is(change: dict[str, object]) -> None:
    [first, *_] = ended(play(session(), chord(1200, CM7)))
    odd = replace(first, right_first_try=False, **change)  # type: ignore[arg-type]
    assert [one.after for one in regraded([[odd]])] == [odd]
