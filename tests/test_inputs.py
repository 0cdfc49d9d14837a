"""The contract that every source of notes keeps, over all rows of `SOURCES`."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
from virtual_piano import VirtualPiano, listen, until

from trainer.capture import Kind, NoteEvent
from trainer.chords import parse
from trainer.grading import Target
from trainer.inputs import SOURCES
from trainer.inputs.files import write_take
from trainer.inputs.script import ScriptedPlayer
from trainer.inputs.source import Source
from trainer.pitch import MidiNote
from trainer.voicings import place, recipe

KEYS = (51, 55, 58, 62)  # Eb3 G3 Bb3 D4: Cm7, rootless from the third
ORIGINS = {"port", "file", "keyboard", "script"}

Play = Callable[[], object]
"""Has a started source play a chord, down and up."""


def _port(request: pytest.FixtureRequest, folder: Path) -> tuple[Any, Play]:
    request.getfixturevalue("jack_server")
    piano = VirtualPiano()
    request.addfinalizer(piano.unplug)
    return SOURCES["port"].load()([piano.port], backend="JACK"), lambda: piano.play(KEYS)  # type: ignore[call-arg]


def _file(request: pytest.FixtureRequest, folder: Path) -> tuple[Any, Play]:
    downs = [NoteEvent(0, Kind.DOWN, MidiNote(key), 64) for key in KEYS]
    ups = [NoteEvent(500_000_000, Kind.UP, MidiNote(key)) for key in KEYS]
    write_take(folder / "take.mid", downs + ups)
    return SOURCES["file"].load()(folder / "take.mid"), lambda: None  # type: ignore[call-arg]


def _computer(request: pytest.FixtureRequest, folder: Path) -> tuple[Any, Play]:
    keyboard: Any = SOURCES["computer"].load()()
    return keyboard, lambda: [keyboard.press(character) for character in "svh, "]


def _script(request: pytest.FixtureRequest, folder: Path) -> tuple[Any, Play]:
    player = ScriptedPlayer(Random(1), share_right=1.0, share_slow=0.0, think_ms=5)
    chord = parse("Cm7")
    assert chord.root is not None
    target = Target(chord, place(recipe("rootless from the third", chord.quality), chord.root))
    script: Any = SOURCES["script"].load()(player)  # type: ignore[call-arg]
    return script, lambda: script.prompted(target)


MAKERS = {"port": _port, "file": _file, "computer": _computer, "script": _script}
ROWS = [pytest.param(name, marks=pytest.mark.port if name == "port" else ()) for name in SOURCES]


@pytest.fixture
def made(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Any, Play]]:
    source, play = MAKERS[request.param](request, tmp_path)
    yield source, play
    source.stop()


every_source = pytest.mark.parametrize("made", ROWS, indirect=True)


@every_source
def test_a_source_has_a_name_to_show_and_says_where_its_stamps_come_from(made: tuple[Any, Play]) -> None:
    source, _ = made
    assert isinstance(source, Source)
    assert source.name and source.name.isprintable()
    assert source.stamp_origin in ORIGINS


@every_source
def test_a_chord_is_posted_whole_in_the_order_of_its_stamps(made: tuple[Any, Play]) -> None:
    source, play = made
    heard: list[NoteEvent] = []
    listen(source, heard.append)
    assert source.stamp_origin in ORIGINS
    play()
    assert until(lambda: len(heard) >= 8)
    source.stop()
    assert sorted(event.key for event in heard if event.kind is Kind.DOWN) == list(KEYS)
    assert sorted(event.key for event in heard if event.kind is Kind.UP) == list(KEYS)
    stamps = [event.time_ns for event in heard]
    assert stamps == sorted(stamps)
    assert all(event.port.isprintable() for event in heard)


@every_source
def test_after_stopping_nothing_more_is_posted_and_no_thread_is_left(made: tuple[Any, Play]) -> None:
    source, play = made
    threads = threading.active_count()
    heard: list[NoteEvent] = []
    with source:
        listen(source, heard.append)
        play()
    after_stop = len(heard)
    assert threading.active_count() == threads
    time.sleep(0.05)
    assert len(heard) == after_stop


@every_source
def test_a_source_can_be_stopped_before_it_starts_twice_and_started_again(made: tuple[Any, Play]) -> None:
    source, play = made
    source.stop()
    source.stop()
    for _ in range(2):
        heard: list[NoteEvent] = []
        listen(source, heard.append)
        play()
        assert until(lambda heard=heard: len(heard) >= 8)
        source.stop()


def test_every_row_has_a_player_here() -> None:
    assert MAKERS.keys() == SOURCES.keys()


def test_the_table_of_sources_loads_no_midi_library() -> None:
    program = "import sys, trainer.inputs; assert not {'mido', 'rtmidi', 'rtmidi2'} & sys.modules.keys()"
    assert subprocess.run([sys.executable, "-c", program]).returncode == 0
