"""Hear it on the practice screen: what sounds when, what the player is told, and what it does to the attempt.

What a hint is: trainer/progress (an attempt with a hint counts as not right). Cm7 from the third: common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest
from test_screens import Evening, check_snapshot, screen_text

from trainer.capture import Kind, NoteEvent
from trainer.grading import Target
from trainer.screens.hearing import ASKED, BEFORE, BESIDE


class Module:
    """What sounds, as a test sees it."""

    def __init__(self, problem: str = "") -> None:
        self.problem = problem
        self.sounded: list[tuple[str, tuple[int, ...], str]] = []
        self.struck: list[int] = []
        self.echo: set[int] = set()
        self.closed = False
        self.told: Callable[[str], None] = lambda line: None

    def hear(self, target: Target, played: Sequence[int] = (), piano: str = "") -> str:
        self.sounded.append((target.chord.symbol, tuple(played), piano))
        return self.problem

    def player(self, event: NoteEvent) -> bool:
        if event.kind is Kind.DOWN:
            self.struck.append(event.key)
        return event.key in self.echo

    def tell_to(self, told: Callable[[str], None]) -> None:
        self.told = told

    def close(self) -> None:
        self.closed = True


def evening_with(module: Module, **handed_in: Any) -> Evening:
    return Evening(sounding=module, **handed_in)


def line(evening: Evening) -> str:
    """What the player is told below the answer."""
    return evening.app.practice.answer.next_step


async def test_the_voicing_asked_for_is_heard_and_the_screen_says_so() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        assert "F5 Hear" in screen_text(evening.app)
        await pilot.press("f5")
        await evening.settle(pilot)
        assert module.sounded == [("Cm7", (), "Stage piano")] and ASKED in screen_text(evening.app)
        check_snapshot(evening.app, "heard-80x24")
    assert module.closed


async def test_without_sound_it_is_not_offered() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        assert "Hear" not in screen_text(evening.app)
        await pilot.press("f5", "f9")
        await evening.settle(pilot)
        assert "hear it" not in screen_text(evening.app)


async def test_where_nothing_can_sound_the_reason_is_told() -> None:
    evening = evening_with(Module("There is no MIDI port to sound on: switch the piano on."))
    async with evening.running() as pilot:
        await pilot.press("f5")
        await evening.settle(pilot)
        assert "There is no MIDI port to sound on" in screen_text(evening.app)


async def test_on_a_miss_what_was_played_comes_first_and_pressed_again_what_is_asked_alone() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        keys = await evening.miss(pilot)
        await pilot.press("f5")
        await evening.settle(pilot)
        assert module.sounded[-1][:2] == ("Cm7", tuple(keys)) and line(evening) == BESIDE
        await pilot.press("f5")
        await evening.settle(pilot)
        assert module.sounded[-1][:2] == ("Cm7", ()) and line(evening) == ASKED
        await evening.up(keys, pilot)
        await evening.down(evening.target.keys[:1], pilot)
        await pilot.press("f5")
        await evening.settle(pilot)
        assert module.sounded[-1][1] == (), "a key struck begins a new answer"


async def test_at_the_next_prompt_pressing_again_gives_the_answer_before() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        keys = evening.target.keys
        await evening.play(keys, pilot)
        await pilot.press("f5")
        await evening.settle(pilot)
        await pilot.press("f5")
        await evening.settle(pilot)
        assert [each[:2] for each in module.sounded] == [("Fm7", ()), ("Cm7", keys)]
        assert line(evening) == BEFORE and "before: ✓ Cm7" in screen_text(evening.app)


async def test_from_the_piano_it_is_heard_with_its_command_key() -> None:
    module = Module()
    evening = evening_with(module, controls={21: "hear it"})
    async with evening.running() as pilot:
        await evening.down([21], pilot)
        await evening.up([21], pilot)
        assert module.sounded == [("Cm7", (), "Stage piano")]
        await pilot.press("f9")
        await evening.settle(pilot)
        assert "hear it          the key A0" in screen_text(evening.app)


@pytest.mark.parametrize(("hint", "right"), [("notes", True), ("degrees", False), ("name", False), ("sound", True)])
async def test_what_was_heard_before_the_answer_is_a_hint(hint: str, right: bool) -> None:
    evening = evening_with(Module(), hint=hint)
    async with evening.running() as pilot:
        await pilot.press("f5")
        await evening.play(evening.target.keys, pilot)
        assert evening.stored[-1].outcome == "right"
        assert evening.stored[-1].right_first_try is right
        assert evening.stored[-1].hint == ("" if right else "heard")


async def test_a_set_may_ask_by_sound_alone() -> None:
    module = Module()
    evening = evening_with(module, hint="sound")
    async with evening.running() as pilot:
        assert [each[0] for each in module.sounded] == ["Cm7"]
        await evening.play(evening.target.keys, pilot)
        assert [each[0] for each in module.sounded] == ["Cm7", "Fm7"]


async def test_where_the_sound_of_a_prompt_cannot_be_heard_its_name_is_shown() -> None:
    evening = evening_with(Module("There is no MIDI port to sound on."), hint="sound")
    async with evening.running():
        assert evening.app.practice.prompt.symbol == "Cm7"
        assert line(evening) == "There is no MIDI port to sound on."


async def test_an_echo_of_what_sounds_is_no_answer() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        module.echo = set(evening.target.keys)
        await evening.play(evening.target.keys, pilot)
        assert not evening.stored
        module.echo = set()
        await evening.play(evening.target.keys, pilot)
        assert evening.stored[-1].outcome == "right"


async def test_in_a_pause_it_is_said_how_to_go_on() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        await pilot.press("f6", "f5")
        await evening.settle(pilot)
        assert not module.sounded and "F6 goes on; then you can hear it." in line(evening)


async def test_a_port_that_goes_away_is_told() -> None:
    module = Module()
    evening = evening_with(module)
    async with evening.running() as pilot:
        module.told("Sound Module:in is not connected any more")
        await evening.settle(pilot)
        assert any("not connected any more" in str(each.message) for each in evening.app._notifications)
