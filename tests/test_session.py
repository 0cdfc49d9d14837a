"""A session from prompt to verdict, driven by events and a clock. Notes by hand from trade.md (common practice)."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.chords import parse
from trainer.grading import Passes, Target
from trainer.pitch import MidiNote
from trainer.progress import Attempt
from trainer.session import (
    _COMMANDS,
    HELD,
    AttemptEnded,
    Command,
    Finished,
    Heard,
    Particulars,
    Paused,
    Prompted,
    Resumed,
    Session,
    SessionEvent,
    State,
    Task,
    TryGraded,
    Voided,
    replay,
)
from trainer.voicings import place, recipe

MS = MILLISECOND_NS
CM7, FM7, BBM7 = (51, 55, 58, 62), (56, 60, 63, 67), (61, 65, 68, 72)  # rootless from the third, on C, F, Bb


def task(symbol: str, voicing: str = "rootless from the third", tries: int = 3, **passes: object) -> Task:
    chord = parse(symbol)
    assert chord.root is not None
    placement = place(recipe(voicing, chord.quality), chord.root)
    return Task(Target(chord, placement, Passes(**passes)), "A set", 0, tries)  # type: ignore[arg-type]


def session(*tasks: Task, controls: dict[int, Command] | None = None) -> Session:
    plan = tasks or (task("Cm7"), task("Fm7"), task("Bbm7"))
    particulars = Particulars("s", lambda: "2026-01-05T18:00:00.000Z", "Piano", "file", controls or {})
    return Session(plan, particulars)


def chord(time_ms: float, keys: Iterable[int], held_ms: float = 500) -> list[NoteEvent]:
    downs = [NoteEvent(round(time_ms * MS), Kind.DOWN, MidiNote(key), 70) for key in keys]
    return downs + [NoteEvent(round((time_ms + held_ms) * MS), Kind.UP, MidiNote(key)) for key in keys]


def play(what: Session, *events: list[NoteEvent]) -> list[SessionEvent]:
    ordered = sorted((event for group in events for event in group), key=lambda event: event.time_ns)
    return list(replay(what, ordered))


def ended(happened: list[SessionEvent]) -> list[Attempt]:
    """The attempts as a store has them in the end: later records of a number replace earlier ones."""
    latest = {event.attempt.number: event.attempt for event in happened if isinstance(event, AttemptEnded)}
    return list(latest.values())


def test_the_keys_of_three_minor_sevenths_are_those_of_the_trade() -> None:
    # Eb G Bb D, Ab C Eb G, Db F Ab C, around middle C (trade.md, common practice).
    assert [one.target.keys for one in (task("Cm7"), task("Fm7"), task("Bbm7"))] == [CM7, FM7, BBM7]


def test_three_right_chords_are_three_attempts_with_their_response_times() -> None:
    happened = play(session(), chord(1200, CM7), chord(3000, FM7), chord(5000, BBM7))
    attempts = ended(happened)
    assert [attempt.root for attempt in attempts] == ["C", "F", "Bb"]
    assert all(attempt.right_first_try for attempt in attempts)
    # The next prompt shows when the keys of the chord before are up: 1200 + 500, 3000 + 500.
    assert [attempt.response_ms for attempt in attempts] == [1200.0, 1300.0, 1500.0]
    assert isinstance(happened[-1], Finished)


def test_the_first_gesture_decides_where_one_try_is_allowed() -> None:
    happened = play(session(task("Cm7", tries=1), task("Fm7")), chord(900, (51, 55, 59, 62)), chord(3000, FM7))
    wrong, right = ended(happened)
    assert (wrong.outcome, wrong.tries[0].cause) == ("wrong", "half_step")
    assert wrong.response_ms is None
    assert right.right_first_try


def test_a_corrected_chord_is_right_but_not_at_the_first_try_and_its_settling_is_timed() -> None:
    happened = play(session(task("Cm7")), chord(900, (51, 55, 59, 62)), chord(2000, CM7))
    (attempt,) = ended(happened)
    assert (attempt.outcome, attempt.right_first_try) == ("right", False)
    assert [one.right for one in attempt.tries] == [False, True]
    assert attempt.settle_ms == 1100.0
    assert attempt.response_ms is None


def test_think_and_spread_are_kept_apart() -> None:
    events = [
        NoteEvent(round(time_ms * MS), Kind.DOWN, MidiNote(key), 70)
        for time_ms, key in zip((1000, 1030, 1060, 1090), CM7, strict=True)
    ]
    (attempt,) = ended(play(session(task("Cm7")), events))
    assert (attempt.tries[0].think_ms, attempt.tries[0].spread_ms, attempt.response_ms) == (1000.0, 90.0, 1090.0)


def test_a_wrong_key_that_still_belongs_to_the_gesture_turns_a_right_chord_wrong() -> None:
    # All five keys in one chord, the wrong one last: "target complete but a wrong key also down is wrong".
    late = [NoteEvent(1020 * MS, Kind.DOWN, MidiNote(65), 70), NoteEvent(1500 * MS, Kind.UP, MidiNote(65))]
    (attempt,) = ended(play(session(task("Cm7", tries=1)), chord(1000, CM7), late))
    assert (attempt.outcome, attempt.tries[0].cause) == ("wrong", "added")
    assert attempt.tries[0].held == (*CM7, 65)


def test_with_tries_left_the_reopened_attempt_goes_on() -> None:
    late = [NoteEvent(1020 * MS, Kind.DOWN, MidiNote(65), 70), NoteEvent(1500 * MS, Kind.UP, MidiNote(65))]
    (attempt,) = ended(play(session(task("Cm7")), chord(1000, CM7), late, chord(3000, CM7)))
    assert [one.right for one in attempt.tries] == [False, True]
    assert not attempt.right_first_try


def test_a_key_struck_after_the_gesture_is_over_changes_nothing() -> None:
    late = [NoteEvent(1200 * MS, Kind.DOWN, MidiNote(65), 70), NoteEvent(1500 * MS, Kind.UP, MidiNote(65))]
    (attempt,) = ended(play(session(task("Cm7")), chord(1000, CM7), late))
    assert attempt.right_first_try


def test_a_brushed_key_is_forgiven_only_where_the_set_says_so() -> None:
    brush = [NoteEvent(1010 * MS, Kind.DOWN, MidiNote(59), 30), NoteEvent(1040 * MS, Kind.UP, MidiNote(59))]
    strict = ended(play(session(task("Cm7", tries=1)), chord(1000, CM7), brush))
    lenient = ended(play(session(task("Cm7", tries=1, graze=True)), chord(1000, CM7), brush))
    assert ([one.outcome for one in strict], [one.outcome for one in lenient]) == (["wrong"], ["right"])


def test_a_note_sooner_than_150_ms_after_the_prompt_is_kept_out_of_the_times() -> None:
    attempts = ended(play(session(task("Cm7"), task("Fm7")), chord(140, CM7), chord(900, FM7)))
    assert [attempt.set_aside for attempt in attempts] == ["anticipation", ""]


def test_an_unplugged_piano_pauses_and_voids_and_plugged_in_again_the_same_prompt_returns() -> None:
    what = session(task("Cm7"))
    lost = [NoteEvent(1500 * MS, Kind.PORT_LOST, port="Piano")]
    found = [NoteEvent(9000 * MS, Kind.PORT_FOUND, port="Piano")]
    happened = play(what, chord(1000, (51, 55), held_ms=400), chord(1450, (51,), held_ms=9999), lost, found)
    kinds = [type(event) for event in happened if not isinstance(event, Heard | TryGraded)]
    assert kinds[:5] == [Prompted, Voided, Paused, Resumed, Prompted]
    happened = play(session(task("Cm7")), lost, found, chord(10_000, CM7))
    (attempt,) = ended(happened)
    assert (attempt.right_first_try, attempt.set_aside, attempt.response_ms) == (True, "after a pause", 1000.0)


def test_all_notes_off_in_mid_chord_voids_the_attempt_and_asks_again() -> None:
    quiet = [NoteEvent(1100 * MS, Kind.QUIET, value=123)]
    happened = play(session(task("Cm7")), chord(1000, (51, 55)), quiet, chord(3000, CM7))
    assert [event.reason for event in happened if isinstance(event, Voided)] == ["the piano said that no key is held"]
    assert [attempt.right_first_try for attempt in ended(happened)] == [True]


def test_all_notes_off_from_a_piano_at_rest_changes_nothing() -> None:
    quiet = [NoteEvent(500 * MS, Kind.QUIET, value=123)]
    happened = play(session(task("Cm7")), quiet, chord(1000, CM7))
    assert not [event for event in happened if isinstance(event, Voided)]
    assert ended(happened)[0].response_ms == 1000.0


def test_every_raw_event_is_in_exactly_one_record() -> None:
    happened = play(session(), chord(1200, CM7), chord(3000, FM7), chord(5000, BBM7))
    recorded = [event for attempt in ended(happened) for event in attempt.events]
    assert len(recorded) == 20  # all but the four releases after the last verdict
    assert [event[:3] for event in ended(happened)[1].events[:4]] == [(0, "up", key) for key in CM7]


def test_commands_can_be_given_from_the_piano() -> None:
    controls = {21: Command.SKIP, 108: Command.PAUSE}
    what = session(controls=controls)
    happened = play(what, chord(1000, [21], 100), chord(2000, [108], 100), chord(5000, [108], 100), chord(7000, FM7))
    kinds = [type(event) for event in happened]
    assert kinds.count(Paused) == kinds.count(Resumed) == 1
    assert [(attempt.root, attempt.outcome) for attempt in ended(happened)] == [("C", "skipped"), ("F", "right")]


def test_again_asks_the_chord_before_once_more() -> None:
    what = session(controls={21: Command.AGAIN})
    happened = play(what, chord(1000, CM7), chord(3000, [21], 100), chord(4000, CM7), chord(6000, FM7))
    assert [attempt.root for attempt in ended(happened)] == ["C", "C", "F"]


def test_a_take_that_stops_in_mid_attempt_leaves_it_unfinished() -> None:
    happened = play(session(task("Cm7")), chord(900, (51, 55, 59, 62)))
    assert [attempt.outcome for attempt in ended(happened)] == ["unfinished"]


def test_the_pool_is_the_number_of_different_prompts() -> None:
    assert session(task("Cm7"), task("Cm7"), task("Fm7")).pool_size == 2


def test_a_session_without_prompts_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="at least one prompt"):
        Session((), Particulars("s", lambda: ""))


@pytest.mark.parametrize(("state", "command"), list(_COMMANDS), ids=str)
def test_every_row_of_the_state_table_leads_to_a_state_of_the_table(state: State, command: Command) -> None:
    what = session()
    what.start(0)
    what.prompt_shown(0)
    if state is State.ANSWERED:
        for event in chord(1000, CM7)[:4]:
            what.hear(event)
    elif state is State.PAUSED:
        what.command(Command.PAUSE, 10 * MS)
    assert what.state is state
    what.command(command, 2000 * MS)
    assert what.state in State


ANYTHING = st.lists(
    st.tuples(st.integers(0, 300), st.sampled_from(list(Kind)), st.sampled_from([51, 55, 58, 59, 62, 56, 60, 63, 67])),
    max_size=60,
)


@settings(max_examples=200)
@given(ANYTHING)
def test_no_order_of_events_hangs_a_session_or_loses_a_note(played: list[tuple[int, Kind, int]]) -> None:
    what = session(task("Cm7", tries=1), task("Fm7", tries=2), task("Bbm7"))
    events, time_ms = [], 0
    for gap_ms, kind, key in played:
        time_ms += gap_ms
        events.append(NoteEvent(time_ms * MS, kind, MidiNote(key), 64))
    happened = list(replay(what, events))
    assert what.state is State.FINISHED
    records = [event.attempt for event in happened if isinstance(event, AttemptEnded | Voided)]
    latest = list({attempt.number: attempt for attempt in records}.values())
    assert [attempt.number for attempt in latest] == list(range(len(latest)))
    kept = [event for attempt in latest for event in attempt.events if event[1] != HELD]
    assert len(kept) <= len(events)


@pytest.mark.parametrize("command", [Command.SKIP, Command.PAUSE], ids=str)
def test_a_miss_stays_a_miss_whatever_the_player_does_next(command: Command) -> None:
    what = session(task("Cm7"), task("Fm7"), controls={21: command})
    happened = play(what, chord(900, (51, 55, 59, 62)), chord(2500, [21], 100))
    first = ended(happened)[0]
    assert (first.root, first.outcome, first.right_first_try) == ("C", "wrong", False)


def test_keys_that_are_down_when_a_prompt_is_given_are_told_in_its_record() -> None:
    what = session(task("Cm7"), task("Fm7"))
    happened = what.start(0)
    what.prompt_shown(0)
    for event in chord(1000, (51, 55))[:2]:
        happened += what.hear(event)
    happened += what.command(Command.AGAIN, 1500 * MS)
    what.prompt_shown(1600 * MS)
    happened += play_on(what, chord(2000, (58, 62))[:2])
    [attempt] = ended(happened)
    assert attempt.outcome == "right"
    assert [event for event in attempt.events if event[1] == HELD] == [
        (-100_000, HELD, 51, 0, 0),
        (-100_000, HELD, 55, 0, 0),
    ]


def play_on(what: Session, events: list[NoteEvent]) -> list[SessionEvent]:
    return [happened for event in events for happened in what.hear(event)]
