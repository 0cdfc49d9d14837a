"""The first screen: today's plan, begun from the piano, left for something else, at any size.

The screens' words are read off golden texts in tests/snapshots. The player of the record is invented.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import date, timedelta
from typing import Any

import pytest
from test_scheduling import SEVENTH, THIRD, TODAY, a_pool, attempt, day_of, passed_form
from test_screens import Evening, check_snapshot, screen_text
from test_screens_hearing import Module
from textual.pilot import Pilot

from trainer.capture import Kind, NoteEvent
from trainer.pitch import MidiNote
from trainer.progress import Attempt
from trainer.scheduling import Chooser, Plan, TempoOffer, plan_of
from trainer.scheduling.history import replay
from trainer.screens.app import TODAY as TODAY_NAME
from trainer.screens.app import Hand, SetEntry
from trainer.screens.lists import PianoScreen, SetsScreen, SummaryScreen
from trainer.screens.practice import PracticeScreen
from trainer.screens.today import Breaks, TodayScreen
from trainer.session import Command, Particulars, Session, State

AN_EVENING = [
    *passed_form(days_ago=5),
    attempt("F", 1, "wrong"),
    attempt("Bb", 1, response_ms=4000, number=1),
]


class Planned:
    """Today's practice as a test hands it in."""

    title = "Today's practice"

    def __init__(self, played: list[Attempt], minutes: float = 15, refusal: str = "", today: date = TODAY) -> None:
        self.played, self.minutes, self.refusal = played, minutes, refusal
        self.history = replay(played, a_pool(), today, day_of)
        self.steps_taken = 0
        self.chooser: Chooser | None = None

    def steps(self) -> Iterator[None]:
        if self.refusal:
            raise ValueError(self.refusal)
        self.steps_taken += 1
        yield

    def plan(self) -> Plan:
        return plan_of(self.history, self.minutes, [TempoOffer("Kettle blues", frozenset({(THIRD, "m7")}))])

    def why(self) -> str:
        return self.chooser.choice.why if self.chooser is not None and self.chooser.choice is not None else ""


class FirstEvening(Evening):
    """The application opening on today's practice."""

    def __init__(self, planned: Planned | None = None, **handed_in: Any) -> None:
        self.planned = planned or Planned(AN_EVENING)
        super().__init__(today=self.planned, **handed_in)

    def open_session(self, entry: SetEntry, hand: Hand) -> Session:
        if entry.name != TODAY_NAME:
            return super().open_session(entry, hand)
        self.planned.chooser = chooser = Chooser(self.planned.plan(), self.planned.history)
        utc = "2026-03-10T19:00:00.000Z"
        return Session(chooser, Particulars("t", lambda: utc, hand.port, hand.stamp_origin, hand.controls))

    @asynccontextmanager
    async def running(self, size: tuple[int, int] = (80, 24)) -> AsyncIterator[Pilot[int]]:
        async with super().running(size) as pilot:
            await self.settle(pilot)
            yield pilot


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (40, 10)], ids=lambda size: f"{size[0]}x{size[1]}")
async def test_the_first_screen_says_what_is_planned_and_why(size: tuple[int, int]) -> None:
    evening = FirstEvening()
    async with evening.running(size) as pilot:
        check_snapshot(evening.app, f"today-{size[0]}x{size[1]}")
        await pilot.press("w")
        await evening.settle(pilot)
        check_snapshot(evening.app, f"today_why-{size[0]}x{size[1]}")


async def test_a_first_evening_has_one_new_thing() -> None:
    evening = FirstEvening(Planned([]))
    async with evening.running():
        check_snapshot(evening.app, "today_first-80x24")


async def test_any_key_of_the_piano_begins_it_once_it_is_let_go() -> None:
    evening = FirstEvening()
    async with evening.running() as pilot:
        assert isinstance(evening.app.screen, TodayScreen)
        await evening.down([60], pilot)
        assert isinstance(evening.app.screen, TodayScreen)
        await evening.up([60], pilot)
        assert isinstance(evening.app.screen, PracticeScreen)
        assert evening.app.state is State.PROMPTED
        assert not evening.stored
        await evening.play(evening.target.keys, pilot)
        assert [one.outcome for one in evening.stored] == ["right"]
        assert not evening.remembered  # today's plan is not a set to come back to


async def test_enter_begins_it_and_ctrl_y_says_why() -> None:
    evening = FirstEvening()
    async with evening.running() as pilot:
        await pilot.press("enter")
        await evening.settle(pilot)
        choice = evening.planned.chooser and evening.planned.chooser.choice
        assert choice is not None
        await pilot.press("ctrl+y")
        await pilot.pause()
        assert [note.message for note in evening.app._notifications] == [choice.why]


async def test_something_else_lists_the_sets_and_esc_comes_back_to_the_plan() -> None:
    evening = FirstEvening()
    async with evening.running() as pilot:
        await pilot.press("f8")
        assert isinstance(evening.app.screen, SetsScreen)
        await pilot.press("escape")
        await evening.settle(pilot)
        assert isinstance(evening.app.screen, TodayScreen)
        await pilot.press("f8", "down", "enter")
        await evening.settle(pilot)
        assert evening.app.state is State.PROMPTED
        assert evening.remembered[-1].last_set == "set-1"


async def test_esc_opens_the_set_practised_last() -> None:
    evening = FirstEvening()
    async with evening.running() as pilot:
        await pilot.press("escape")
        await evening.settle(pilot)
        assert isinstance(evening.app.screen, PracticeScreen)
        assert evening.app.practice.status.title == "Minor sevens"


async def test_without_a_piano_the_plan_stands_and_a_piano_that_comes_does_not_begin_it() -> None:
    evening = FirstEvening(source=False)
    async with evening.running() as pilot:
        assert "No MIDI port was" in screen_text(evening.app)
        evening.ports = ("Stage piano",)
        await evening.app._look_for_ports()
        await evening.settle(pilot)
        assert "Listening to Stage piano." in screen_text(evening.app)
        assert isinstance(evening.app.screen, TodayScreen)
        await pilot.press("f9")
        assert isinstance(evening.app.screen, PianoScreen)
        await pilot.press("enter")
        await evening.settle(pilot)
        assert isinstance(evening.app.screen, TodayScreen)
        evening.piano.post(NoteEvent(evening.now_ns, Kind.DOWN, MidiNote(60), 64))
        evening.piano.post(NoteEvent(evening.now_ns, Kind.UP, MidiNote(60)))
        await evening.settle(pilot)
        assert evening.app.state is State.PROMPTED


async def test_what_keeps_the_plan_from_being_made_is_told_in_a_line() -> None:
    evening = FirstEvening(Planned([], refusal="records.sqlite is damaged [b]"))
    async with evening.running():
        assert "records.sqlite is damaged [b]" in screen_text(evening.app)


async def test_a_set_that_was_asked_for_opens_at_once() -> None:
    evening = FirstEvening(first_set="set-1")
    async with evening.running():
        assert isinstance(evening.app.screen, PracticeScreen)
        assert evening.app.practice.status.title == "Dominants"


async def test_after_the_drills_the_form_at_tempo_is_named() -> None:
    evening = FirstEvening(Planned(AN_EVENING, minutes=8))
    async with evening.running() as pilot:
        await pilot.press("enter")
        await evening.settle(pilot)
        await evening.play(evening.target.keys, pilot)
        await pilot.press("f10")
        await evening.settle(pilot)
        assert isinstance(evening.app.screen, SummaryScreen)
        # Nothing is handed in here that could play it; so it is not offered.
        assert "in time" not in screen_text(evening.app)


async def test_the_minutes_end_the_session() -> None:
    evening = FirstEvening(Planned(AN_EVENING, minutes=1))
    async with evening.running() as pilot:
        await pilot.press("enter")
        await evening.settle(pilot)
        for _ in range(30):
            if isinstance(evening.app.screen, SummaryScreen):
                break
            await evening.later(5_000, pilot)
            await evening.play(evening.target.keys, pilot)
        assert isinstance(evening.app.screen, SummaryScreen)
        assert 60 <= 5.9 * len(evening.stored) <= 66


async def test_a_prompt_of_sound_alone_names_only_its_root() -> None:
    module = Module()
    evening = Evening(hint="sound", sounding=module)
    async with evening.running():
        assert evening.app.practice.prompt.symbol == "C"
        assert evening.app.practice.prompt.words == "Play what you hear, on C."
        assert len(module.sounded) == 1


def test_a_break_is_proposed_once_after_its_minutes_and_again_after_as_many() -> None:
    minute = 60_000_000_000
    breaks = Breaks(25)
    due = [number for number in range(60) if breaks.due(number * minute)]
    assert due == [25, 50]
    # Six minutes away from the piano were a break.
    rested = Breaks(25)
    assert not any(rested.due(number * minute) for number in (*range(24), *range(30, 54)))
    assert not any(Breaks(0).due(number * minute) for number in range(100))


def test_the_invented_record_is_the_one_meant() -> None:
    plan = Planned(AN_EVENING).plan()
    assert [part.kind for part in plan.parts] == ["faded", "wrong", "new", "slow"]
    assert plan.new_form is not None and plan.new_form.voicing == SEVENTH
    assert plan.day == TODAY == date(2026, 3, 9) + timedelta(days=1)
    assert Command.FINISH  # F10 ends a session with it
