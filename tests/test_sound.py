"""What is sounded, on a real MIDI backend: JACK's server with its dummy driver, and a sound module made of software.

Facts from outside: MIDI 1.0 (note on and off, CC64, CC123, active sensing at least every 300 ms).
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from virtual_module import CHORD, SENSING, VirtualModule, notes_left, play_on
from virtual_piano import until

from trainer.accompaniment import Cue, SoundNote, click, cues, even_bars, held_chord
from trainer.capture import Kind, NoteEvent
from trainer.charts import Meter
from trainer.midi.names import PortError
from trainer.pitch import MidiNote
from trainer.sound import Sound, list_outputs, open_sound, output_beside
from trainer.timing import Grid

pytestmark = pytest.mark.port
ROOT = Path(__file__).parents[1]
MS = 1_000_000
SILENCE = [(0xB0, 64, 0), (0xB0, 123, 0)]


@pytest.fixture
def module(jack_server: Any) -> Iterator[VirtualModule]:
    with VirtualModule() as module:
        yield module


@pytest.fixture
def sound(module: VirtualModule) -> Iterator[Sound]:
    with open_sound("sound module", backend="JACK") as sound:
        yield sound


def on(*keys: int, velocity: int = 48) -> list[tuple[int, ...]]:
    return [(0x90, key, velocity) for key in keys]


def off(*keys: int) -> list[tuple[int, ...]]:
    return [(0x80, key, 0) for key in keys]


def event(kind: Kind, key: int, value: int = 0) -> NoteEvent:
    return NoteEvent(time.perf_counter_ns(), kind, MidiNote(key), value)


# -- ports


def test_an_output_is_found_beside_the_piano_listened_to() -> None:
    names = ["Midi Through:Midi Through Port-0 14:0", "Stage Organ:in", "Stage Piano:in"]
    assert output_beside("Stage Piano:keys", names) == "Stage Piano:in"
    assert output_beside("Stage Piano:in", names) == "Stage Piano:in"
    assert output_beside("Table Piano:keys", names) == "Stage Organ:in"
    assert output_beside("", names[:1]) == ""


def test_outputs_are_listed(module: VirtualModule) -> None:
    listing = list_outputs("JACK")
    assert module.port in listing.names and (listing.backend, listing.problem) == ("JACK", "")


def test_without_a_port_it_is_said_what_to_do(jack_server: Any) -> None:
    assert until(lambda: not list_outputs("JACK").names)
    with pytest.raises(PortError, match="no MIDI port to sound on: switch the piano on and connect"):
        open_sound(backend="JACK")
    with pytest.raises(PortError, match="No MIDI port is called 'harp'"):
        open_sound("harp", backend="JACK")


# -- on time


def test_notes_arrive_as_they_were_planned(module: VirtualModule, sound: Sound) -> None:
    notes = [SoundNote(Fraction(beat, 4), Fraction(1, 8), 60 + beat) for beat in range(8)]
    planned = cues(notes, Grid(120, time.perf_counter_ns() + 50 * MS))
    sound.play(planned)
    assert sound.wait(5) and sound.silent
    time.sleep(0.02)
    arrived = [each for each in module.timed() if each[1] != SENSING]
    assert [message for _, message in arrived] == [cue.message for cue in planned]


def test_a_whole_click_with_a_chord_on_top_arrives_complete(module: VirtualModule, sound: Sound) -> None:
    notes = [*click(even_bars(Meter(4, 4), 4)), *held_chord(CHORD, 36, beats=16)]
    planned = cues(notes, Grid(960, time.perf_counter_ns() + 20 * MS))
    sound.play(planned)
    assert sound.wait(5)
    heard = module.heard(0.02)
    assert sorted(heard) == sorted(cue.message for cue in planned) and not notes_left(heard)


def test_what_is_played_later_joins_what_is_to_come(module: VirtualModule, sound: Sound) -> None:
    now = time.perf_counter_ns()
    sound.play([Cue(now + 60 * MS, (0x90, 62, 10)), Cue(now + 70 * MS, (0x80, 62, 0))])
    sound.play([Cue(now + 20 * MS, (0x90, 60, 10)), Cue(now + 30 * MS, (0x80, 60, 0))])
    assert sound.wait(5)
    assert module.heard(0.02) == [(0x90, 60, 10), (0x80, 60, 0), (0x90, 62, 10), (0x80, 62, 0)]


def test_a_note_whose_moment_is_long_past_is_left_out(module: VirtualModule, sound: Sound) -> None:
    now = time.perf_counter_ns()
    sound.play([Cue(now - 400 * MS, (0x90, 60, 10)), Cue(now - 100 * MS, (0x80, 60, 0))])
    sound.play([Cue(now - 50 * MS, (0x90, 62, 10)), Cue(now + 10 * MS, (0x80, 62, 0))])
    assert sound.wait(5)
    assert module.heard(0.02) == [(0x90, 62, 10), (0x80, 62, 0)]


# -- silence


def test_stop_is_immediate_and_sends_all_notes_off_on_every_channel_used(module: VirtualModule, sound: Sound) -> None:
    play_on(sound)
    assert until(lambda: len(sound._sounding) >= 4)
    before = module.heard(0.05)
    began = time.perf_counter()
    sound.stop()
    assert time.perf_counter() - began < 0.05
    after = module.heard(0.02)
    assert sound.silent and not notes_left(before + [each for each in after if each[0] & 0xF0 != 0xB0])
    drums = [(0xB9, 64, 0), (0xB9, 123, 0)]
    assert after[-4:] == SILENCE + drums
    assert module.heard(0.3) == SILENCE + drums  # said again, and no click any more


def test_what_is_played_after_a_stop_is_not_sent_off(module: VirtualModule, sound: Sound) -> None:
    sound.hear(held_chord(CHORD))
    assert until(lambda: not sound.silent)
    sound.stop()
    sound.play([Cue(time.perf_counter_ns(), (0x90, 60, 10))])
    assert notes_left(module.heard(0.1)) == {(0, 60)}


def test_closing_sends_all_notes_off_and_leaves_no_thread(module: VirtualModule) -> None:
    threads = threading.active_count()
    with open_sound("sound module", backend="JACK") as sound:
        play_on(sound)
        time.sleep(0.1)
    heard = module.heard(0.02)
    assert not notes_left(heard) and heard[-4:-2] == SILENCE
    assert threading.active_count() == threads
    sound.close()
    sound.play([Cue(0, (0x90, 60, 10))])
    assert not sound.hear(held_chord(CHORD)) and not sound.connected


def test_an_exception_sends_all_notes_off(module: VirtualModule) -> None:
    with pytest.raises(ZeroDivisionError), open_sound("sound module", backend="JACK") as sound:
        play_on(sound)
        time.sleep(0.05)
        1 / 0  # noqa: B018
    heard = module.heard(0.02)
    assert (0x90, CHORD[0], 48) in heard and not notes_left(heard) and heard[-4:-2] == SILENCE


PROGRAM = """
import sys, time
sys.path.insert(0, 'tests')
from virtual_module import play_on
from trainer.sound import open_sound
sound = open_sound('sound module', backend='JACK')
play_on(sound)
time.sleep(0.1)
print('sounding', flush=True)
"""


def run_program(ending: str) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM + ending],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert process.stdout is not None and process.stdout.readline() == "sounding\n"
    return process


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP], ids=["SIGTERM", "SIGHUP"])
def test_a_killed_program_sends_all_notes_off_first(module: VirtualModule, number: signal.Signals) -> None:
    with run_program("time.sleep(60)") as process:
        process.send_signal(number)
        assert process.wait(10) == -number
    heard = module.heard(0.02)
    assert (0x90, CHORD[0], 48) in heard and not notes_left(heard) and heard[-4:-2] == SILENCE


@pytest.mark.parametrize(
    ("ending", "code"),
    [("raise ValueError", 1), ("sys.exit(5)", 5), ("import os, signal; os.kill(os.getpid(), signal.SIGINT)", -2)],
    ids=["a fault", "an exit", "Ctrl-C"],
)
def test_a_program_that_ends_without_a_word_sends_all_notes_off(module: VirtualModule, ending: str, code: int) -> None:
    with run_program(ending) as process:
        process.communicate(timeout=10)
    assert process.returncode == code
    heard = module.heard(0.02)
    assert (0x90, CHORD[0], 48) in heard and not notes_left(heard) and heard[-4:-2] == SILENCE


def test_a_handler_of_the_program_s_own_has_its_turn_after_the_silence(module: VirtualModule) -> None:
    ending = (
        "import os, signal\n"
        "sound.close()\n"
        "signal.signal(signal.SIGTERM, lambda *_: (print('mine'), os._exit(7)))\n"
        "sound = open_sound('sound module', backend='JACK')\n"
        "os.kill(os.getpid(), signal.SIGTERM)\n"
    )
    with run_program(ending) as process:
        rest, _ = process.communicate(timeout=10)
    assert (rest, process.returncode) == ("mine\n", 7)


def test_an_instrument_is_kept_alive_so_that_it_falls_silent_when_the_program_cannot_say_so(
    module: VirtualModule, sound: Sound
) -> None:
    """MIDI 1.0: active sensing comes at least every 300 ms; 330 ms without anything, and all notes go off."""
    module.timed()
    time.sleep(1.0)
    gaps = [delta for delta, message in module.timed() if message == SENSING]
    assert len(gaps) >= 3
    if any(gaps):  # the other binding has no times
        assert max(gaps[1:]) < 0.33


# -- the port goes away


def test_a_vanished_port_is_told_once_and_sounded_on_again_when_it_is_back(module: VirtualModule) -> None:
    lines: list[str] = []
    with open_sound("sound module", backend="JACK", told=lines.append) as sound:
        play_on(sound)
        time.sleep(0.05)
        module.unplug()
        assert until(lambda: lines)
        sound.stop()
        began = time.perf_counter()
        sound.hear(held_chord(CHORD))
        sound.stop()
        assert time.perf_counter() - began < 0.1 and not sound.connected
        module.plug_in()
        assert until(lambda: len(lines) == 2) and sound.connected
        time.sleep(0.05)
        sound.hear(held_chord((60,)))
        assert until(lambda: not sound.silent)
        assert (0x90, 60, 48) in module.heard(0.05)
    assert lines == [
        "Sound Module:in is not connected any more: nothing is sounded until it is back.",
        "Sound Module:in is back.",
    ]
    assert not notes_left(module.heard(0.02))


@pytest.mark.parametrize("ends", [True, False], ids=["ends", "stands still"])
def test_a_server_that_ends_or_stands_still_hangs_nothing(ends: bool) -> None:
    """With a server of its own, since both ends of the port lose it: the library would wait for ever for room in the
    way out. Every process waits until the server has ended: it waits for those that go without a word."""
    from conftest import JackDaemon

    receiver = (
        "import sys\n"
        "sys.path.insert(0, 'tests')\n"
        "from virtual_module import VirtualModule\n"
        "module = VirtualModule()\n"
        "print('there', flush=True)\n"
        "sys.stdin.readline()\n"
        "import os; os._exit(0)\n"
    )
    sender = PROGRAM + (
        "sys.stdin.readline()\n"
        "time.sleep(0.2)\n"
        "from trainer.accompaniment import Cue\n"
        "now = time.perf_counter_ns()\n"
        "sound.play([Cue(now, (0x90, key % 128, 1 + key % 100)) for key in range(6000)])\n"
        "time.sleep(0.3)\n"
        "sound.stop()\n"
        "sound.close()\n"
        "print('closed', sound.connected, flush=True)\n"
        "sys.stdin.readline()\n"
    )
    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ["JACK_DEFAULT_SERVER"] = f"trainer-halted-{os.getpid()}"
    daemon = JackDaemon(os.environ["JACK_DEFAULT_SERVER"])
    running: list[subprocess.Popen[str]] = []

    def starts(text: str, says: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-c", text],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            cwd=ROOT,
        )
        running.append(process)
        assert process.stdout is not None and process.stdout.readline() == f"{says}\n"
        return process

    try:
        daemon.start()
        starts(receiver, "there")
        program = starts(sender, "sounding")
        assert program.stdin is not None and program.stdout is not None
        if ends:
            daemon.stop()
        else:
            daemon.halt()
        giving_up = threading.Timer(20, program.kill)
        giving_up.start()
        program.stdin.write("\n")
        program.stdin.flush()
        assert program.stdout.readline() == "closed False\n"
        giving_up.cancel()
        daemon.stop()
        rest, _ = program.communicate("\n", timeout=10)
        assert (rest, program.returncode) == ("", 0)
    finally:
        daemon.close()
        for process in running:
            process.kill()
            process.communicate()
        if before is None:
            del os.environ["JACK_DEFAULT_SERVER"]
        else:
            os.environ["JACK_DEFAULT_SERVER"] = before


# -- the player


def test_hear_it_sounds_at_once_and_ends(module: VirtualModule, sound: Sound) -> None:
    assert sound.hear(held_chord(CHORD, 36), tempo_bpm=600)
    assert sound.wait(5)
    assert module.heard(0.02) == on(36, *CHORD) + off(36, *CHORD)


def test_nothing_sounds_unasked_while_the_player_plays(module: VirtualModule, sound: Sound) -> None:
    sound.player(event(Kind.DOWN, 60, 70))
    assert sound.player_is_playing
    assert not sound.hear(held_chord(CHORD), asked=False)
    sound.player(event(Kind.UP, 60))
    assert sound.player_is_playing  # a moment ago
    assert module.heard(0.1) == []
    assert until(lambda: not sound.player_is_playing, 2)
    assert sound.hear(held_chord(CHORD), asked=False)


def test_asked_for_it_sounds_beside_the_keys_held_and_the_next_key_ends_it(module: VirtualModule, sound: Sound) -> None:
    sound.player(event(Kind.DOWN, 60, 70))
    assert sound.hear(held_chord(CHORD))
    assert module.heard(0.1) == on(*CHORD)
    sound.player(event(Kind.UP, 60))
    assert module.heard(0.05) == []
    sound.player(event(Kind.DOWN, 62, 70))
    assert module.heard(0.05) == off(*CHORD)  # softly: no CC123, which could cut the player's own note


def test_the_player_s_keys_do_not_end_an_accompaniment(module: VirtualModule, sound: Sound) -> None:
    play_on(sound)
    time.sleep(0.05)
    sound.player(event(Kind.DOWN, 62, 70))
    assert not sound.silent


def test_an_echo_of_what_was_sent_is_no_playing(module: VirtualModule, sound: Sound) -> None:
    sound.hear(held_chord((60, 64)))
    assert until(lambda: sound._sounding)
    assert sound.player(event(Kind.DOWN, 60, 48)) and sound.player(event(Kind.DOWN, 64, 48))
    assert not sound.player_is_playing
    assert not sound.player(event(Kind.DOWN, 60, 47)), "another velocity is the player's"
    assert sound.player_is_playing


def test_an_instrument_that_sends_nothing_back_is_believed(module: VirtualModule, sound: Sound) -> None:
    now = time.perf_counter_ns()
    sound.play(cues([SoundNote(Fraction(n), Fraction(1), 70) for n in range(9)], Grid(6000, now)))
    assert sound.wait(5)
    sound.hear(held_chord((60,)))
    assert until(lambda: sound._sounding)
    assert not sound.player(event(Kind.DOWN, 60, 48))
