"""The computer's keyboard and the scripted player as sources of notes."""

from __future__ import annotations

import threading
from itertools import count
from random import Random

import pytest

from trainer.capture import Kind, NoteEvent
from trainer.chords import parse
from trainer.grading import Target, grade
from trainer.inputs.computer import LAYOUT, ComputerKeyboard
from trainer.inputs.script import MISTAKES, LiveScript, ScriptedPlayer
from trainer.pitch import mask_of
from trainer.voicings import place, recipe


def target(symbol: str = "Cm7") -> Target:
    chord = parse(symbol)
    assert chord.root is not None
    return Target(chord, place(recipe("rootless from the third", chord.quality), chord.root))


def test_the_letters_lie_as_the_keys_of_a_piano_do() -> None:
    # White keys D E F G A B C D E on the bottom row; the black ones between them on the row above.
    assert [LAYOUT[letter] for letter in "zxcvbnm,."] == [50, 52, 53, 55, 57, 59, 60, 62, 64]
    assert [LAYOUT[letter] for letter in "sfghkl"] == [51, 54, 56, 58, 61, 63]
    assert [LAYOUT[letter] for letter in "qwertyuiop"] == [65, 67, 69, 71, 72, 74, 76, 77, 79, 81]
    assert [LAYOUT[letter] for letter in "2346790"] == [66, 68, 70, 73, 75, 78, 80]


def test_letters_keep_their_keys_down_until_the_space_bar() -> None:
    heard: list[NoteEvent] = []
    ticks = count()
    with ComputerKeyboard(clock=lambda: next(ticks)) as keyboard:
        keyboard.start(heard.append)
        for character in "svh,z":  # Eb3 G3 Bb3 D4, and D3 by mistake
            keyboard.press(character)
        keyboard.press("Z")
        assert keyboard.down == (51, 55, 58, 62)
        keyboard.press(" ")
    assert [event.key for event in heard if event.kind is Kind.DOWN] == [51, 55, 58, 62, 50]
    assert sorted(event.key for event in heard if event.kind is Kind.UP) == [50, 51, 55, 58, 62]


def test_the_octave_can_be_shifted_by_two_and_no_further() -> None:
    keyboard = ComputerKeyboard()
    keyboard.start(lambda event: None)
    for character in "]]]]z":
        keyboard.press(character)
    assert keyboard.down == (74,)


def test_the_same_seed_plays_the_same() -> None:
    takes = [[event for _ in range(20) for event in ScriptedPlayer(Random(3)).answer(target(), 0)] for _ in "ab"]
    assert takes[0] == takes[1]


@pytest.mark.parametrize("cause", MISTAKES)
@pytest.mark.parametrize("symbol", ["Cm7", "F#7", "Bbmaj7", "Em7b5"])
def test_a_mistake_made_on_purpose_is_named_by_the_grader(cause: str, symbol: str) -> None:
    asked = target(symbol)
    for seed in range(10):
        graded = grade(asked, mask_of(MISTAKES[cause](asked, Random(seed))))
        assert not graded.right
        assert cause in [one.code for one in graded.causes] or (cause == "other_form" and graded.cause == "inversion")


def test_a_player_who_is_always_right_is_always_right() -> None:
    player = ScriptedPlayer(Random(1), share_right=1.0)
    for _ in range(50):
        events = player.answer(target(), 0)
        assert {event.key for event in events if event.kind is Kind.DOWN} == set(target().keys)
        assert player.mistake is None


def test_in_real_time_every_key_that_goes_down_comes_up_and_no_thread_is_left() -> None:
    heard: list[NoteEvent] = []
    done = threading.Event()

    def post(event: NoteEvent) -> None:
        heard.append(event)
        if len(heard) == 8:
            done.set()

    before = threading.active_count()
    with LiveScript(ScriptedPlayer(Random(1), share_right=1.0, share_slow=0.0, think_ms=5)) as script:
        script.start(post)
        script.prompted(target())
        assert done.wait(10)
    assert [event.kind for event in heard] == [Kind.DOWN] * 4 + [Kind.UP] * 4
    assert threading.active_count() == before
