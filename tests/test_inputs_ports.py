"""Live ports, on a real MIDI backend: JACK's server with its dummy driver, and a piano made of software.

Facts from outside: MIDI 1.0 (status bytes, velocity 0, mode messages, active sensing).
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from virtual_piano import VirtualPiano, listen, until

from trainer.capture import Kind, NoteEvent
from trainer.inputs.ports import OWN_NAME, PortInput, choose, is_bluetooth, list_ports
from trainer.inputs.source import InputError, printable

THERE = ["Midi Through:Midi Through Port-0 14:0", "Stage Piano:Stage Piano MIDI 1 20:0", "Stage Organ:keys 24:0"]


# -- names, without a port


def test_a_port_is_chosen_by_its_full_name_or_any_part_in_any_case() -> None:
    assert choose(THERE[1], THERE) == THERE[1]
    assert choose("piano", THERE) == THERE[1]
    assert choose("ORGAN", THERE) == THERE[2]


def test_a_full_name_wins_over_longer_names_that_contain_it() -> None:
    assert choose("piano", ["Piano 2", "Piano"]) == "Piano"


def test_a_part_that_fits_two_ports_is_refused_with_both() -> None:
    with pytest.raises(InputError, match="'stage' fits several MIDI ports: Stage Piano.*; Stage Organ.*Write more"):
        choose("stage", THERE)


def test_a_missing_port_is_refused_with_what_there_is_and_what_to_do() -> None:
    with pytest.raises(InputError, match="No MIDI port is called 'harp'. Ports there are: .*Stage Organ.*connect it"):
        choose("harp", THERE)
    with pytest.raises(InputError, match="Ports there are: none"):
        choose("harp", [])


def test_a_name_from_outside_cannot_write_control_codes_to_the_terminal() -> None:
    with pytest.raises(InputError) as refused:
        choose("x\x1b[2J", ["Evil\x1b]0;title\x07 port\n"])
    assert str(refused.value).isprintable()
    assert printable("Evil\x1b]0;title\x07 port\u202e\n") == "Evil ]0;title port"
    assert choose("evil ]0;title port", ["Evil\x1b]0;title\x07 port\n"]) == "Evil\x1b]0;title\x07 port\n"


def test_a_bluetooth_port_says_so() -> None:
    assert is_bluetooth("Stage Piano Bluetooth") and is_bluetooth("BLE-MIDI Stage")
    assert not is_bluetooth("Table piano USB") and not is_bluetooth("Cable 1")


def test_without_a_server_a_listing_has_one_plain_sentence_and_the_terminal_stays_clean() -> None:
    """In a process of its own: what libraries write to its file descriptors is seen there."""
    program = (
        "from trainer.inputs.ports import PortInput, list_ports\n"
        "from trainer.inputs.source import InputError\n"
        "import threading, time\n"
        "listing = list_ports()\n"
        "assert listing.names == () and listing.backend == '' and listing.problem.endswith('.'), listing\n"
        "source = PortInput()\n"
        "source.start(print)\n"
        "time.sleep(0.8)\n"
        "source.stop()\n"
        "try:\n    PortInput(['harp']).start(print)\n"
        "except InputError as error:\n    assert 'harp' in str(error) and listing.problem in str(error)\n"
        "else:\n    raise AssertionError\n"
        "assert threading.active_count() == 1\n"
    )
    if Path("/dev/snd/seq").exists() or not sys.platform.startswith("linux"):
        pytest.skip("this machine has a MIDI system of its own")
    environment = {**os.environ, "JACK_DEFAULT_SERVER": "no such server"}
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environment)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


# -- real ports


@pytest.fixture
def piano(jack_server: Any) -> Iterator[VirtualPiano]:
    with VirtualPiano() as piano:
        yield piano


class Ear:
    """Keeps what was posted."""

    def __init__(self) -> None:
        self.events: list[NoteEvent] = []

    def __call__(self, event: NoteEvent) -> None:
        self.events.append(event)

    def heard(self) -> list[tuple[Kind, int, int]]:
        return [(event.kind, event.key, event.value) for event in self.events]

    def waits_for(self, count: int) -> bool:
        return until(lambda: len(self.events) >= count)

    def waits_for_kind(self, kind: Kind) -> bool:
        return until(lambda: any(event.kind is kind for event in self.events))


@pytest.mark.port
def test_a_chord_arrives_whole_in_order_and_stamped(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], backend="JACK") as source:
        before_ns = time.perf_counter_ns()
        listen(source, ear)
        assert source.name == piano.port and source.connected == (piano.port,)
        piano.play((51, 55, 58, 62))
        assert ear.waits_for(8)
        after_ns = time.perf_counter_ns()
    assert [event.key for event in ear.events] == [51, 55, 58, 62] * 2
    assert [event.kind for event in ear.events] == [Kind.DOWN] * 4 + [Kind.UP] * 4
    stamps = [event.time_ns for event in ear.events]
    assert stamps == sorted(stamps) and before_ns <= stamps[0] and stamps[-1] <= after_ns
    assert {event.port for event in ear.events} == {piano.port}


@pytest.mark.port
def test_of_a_thousand_notes_none_is_lost_or_out_of_order(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], backend="JACK") as source:
        listen(source, ear)
        for index in range(1000):
            piano.send(0x90, index % 128, 1 + index % 127)
            if index % 8 == 7:  # as fast as two hands never play, and no faster than a port takes
                time.sleep(0.002)
        assert ear.waits_for(1000)
    assert [(event.key, event.value) for event in ear.events] == [(n % 128, 1 + n % 127) for n in range(1000)]
    stamps = [event.time_ns for event in ear.events]
    assert stamps == sorted(stamps)


@pytest.mark.port
def test_only_notes_pedal_and_mode_messages_are_heard(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput(["stage"], backend="JACK") as source:
        listen(source, ear)
        for message in (
            (0xB0, 64, 127),
            (0xB0, 1, 50),
            (0xE0, 1, 2),
            (0xC0, 4),
            (0xF8,),
            (0x99, 35, 90),
            (0x90, 60, 50),
            (0xD0, 9),
            (0x90, 60, 0),
            (0xB0, 64, 0),
            (0xB0, 121, 0),
            *((0xB0, mode, 0) for mode in (120, 123, 124, 125, 126, 127)),
        ):
            piano.send(*message)
        assert ear.waits_for(10)
    quiet = [(Kind.QUIET, 0, mode) for mode in (120, 123, 124, 125, 126, 127)]
    pedal = [(Kind.PEDAL, 0, 127), (Kind.DOWN, 60, 50), (Kind.UP, 60, 0), (Kind.PEDAL, 0, 0)]
    assert ear.heard() == pedal + quiet


@pytest.mark.port
def test_a_chosen_channel_is_the_only_one_heard(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], channel=3, backend="JACK") as source:
        listen(source, ear)
        piano.send(0x90, 60, 50)
        piano.send(0x93, 64, 50)
        assert ear.waits_for(1)
    assert [(event.key, event.channel) for event in ear.events] == [(64, 3)]


@pytest.mark.port
def test_an_unplugged_piano_is_told_and_heard_again_once_plugged_in(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], backend="JACK") as source:
        listen(source, ear)
        piano.send(0x90, 60, 50)
        assert ear.waits_for(1)
        piano.unplug()
        assert ear.waits_for_kind(Kind.PORT_LOST)
        assert source.connected == () and source.name == piano.port
        piano.plug_in()
        assert ear.waits_for_kind(Kind.PORT_FOUND)
        piano.send(0x90, 62, 50)
        assert ear.waits_for(4)
    assert [event.kind for event in ear.events] == [Kind.DOWN, Kind.PORT_LOST, Kind.PORT_FOUND, Kind.DOWN]


@pytest.mark.port
def test_two_pianos_are_heard_at_once_each_under_its_name(piano: VirtualPiano) -> None:
    ear = Ear()
    with VirtualPiano("Table Piano") as other, PortInput(["stage", "table"], backend="JACK") as source:
        listen(source, ear)
        piano.send(0x90, 60, 50)
        other.send(0x90, 72, 50)
        assert ear.waits_for(2)
        other.unplug()
        assert ear.waits_for_kind(Kind.PORT_LOST)
        piano.send(0x90, 62, 50)
        assert ear.waits_for(4)
    assert {(event.key, event.port) for event in ear.events if event.kind is Kind.DOWN} == {
        (60, piano.port),
        (72, other.port),
        (62, piano.port),
    }


@pytest.mark.port
def test_without_a_name_the_first_piano_that_appears_is_taken(jack_server: Any) -> None:
    ear = Ear()
    with VirtualPiano("Midi Through"), VirtualPiano(f"{OWN_NAME}-out"), PortInput(backend="JACK") as source:
        listen(source, ear)
        assert source.connected == ()
        with VirtualPiano("Late Piano") as late:
            assert ear.waits_for_kind(Kind.PORT_FOUND)
            late.send(0x90, 60, 50)
            assert ear.waits_for(2)
            assert source.name == late.port
        assert ear.waits_for_kind(Kind.PORT_LOST)
        with VirtualPiano("Other Piano") as other:
            assert until(lambda: source.connected == (other.port,))
    assert [event.kind for event in ear.events] == [Kind.PORT_FOUND, Kind.DOWN, Kind.PORT_LOST, Kind.PORT_FOUND]


@pytest.mark.port
def test_active_sensing_that_falls_silent_means_no_key_is_held(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], backend="JACK") as source:
        listen(source, ear)
        piano.send(0xFE)
        piano.send(0x90, 60, 50)
        assert ear.waits_for(2)
        assert ear.heard() == [(Kind.DOWN, 60, 50), (Kind.QUIET, 0, 0)]
        assert ear.events[1].time_ns - ear.events[0].time_ns > 330_000_000
        piano.send(0xFE)
        piano.send(0x90, 62, 50)
        assert ear.waits_for(4)
    assert [event.kind for event in ear.events] == [Kind.DOWN, Kind.QUIET] * 2


@pytest.mark.port
def test_a_piano_without_active_sensing_may_be_silent(piano: VirtualPiano) -> None:
    ear = Ear()
    with PortInput([piano.port], backend="JACK") as source:
        listen(source, ear)
        piano.send(0x90, 60, 50)
        assert not until(lambda: len(ear.events) > 1, seconds=0.8)


@pytest.mark.port
def test_a_listener_that_fails_does_not_end_the_stream(piano: VirtualPiano) -> None:
    ear = Ear()

    def clumsy(event: NoteEvent) -> None:
        ear(event)
        raise RuntimeError("on the library's thread")

    with PortInput([piano.port], backend="JACK") as source:
        listen(source, clumsy)
        piano.play((60, 64))
        assert ear.waits_for(4)


@pytest.mark.port
def test_stopping_while_notes_pour_in_leaves_no_thread_and_no_late_note(piano: VirtualPiano) -> None:
    threads = threading.active_count()
    pours = threading.Event()

    def pour() -> None:
        while not pours.wait(0.001):
            piano.play((60, 64, 67))

    pouring = threading.Thread(target=pour)
    pouring.start()
    try:
        for _ in range(10):
            ear = Ear()
            with PortInput([piano.port], backend="JACK") as source:
                listen(source, ear)
                assert ear.waits_for(5)
            after_stop = len(ear.events)
            time.sleep(0.01)
            assert len(ear.events) == after_stop
    finally:
        pours.set()
        pouring.join()
    assert threading.active_count() == threads


@pytest.mark.port
def test_a_listing_names_the_ports_there_are(piano: VirtualPiano) -> None:
    listing = list_ports("JACK")
    assert piano.port in listing.names
    assert (listing.backend, listing.problem) == ("JACK", "")


@pytest.mark.port
def test_a_server_with_no_port_says_what_to_plug_in(jack_server: Any) -> None:
    assert until(lambda: not list_ports("JACK").names)
    listing = list_ports("JACK")
    assert listing.backend == "JACK" and "connect its USB-MIDI socket" in listing.problem
    with pytest.raises(InputError, match="No MIDI port is called 'harp'"):
        PortInput(["harp"], backend="JACK").start(lambda _: None)


@pytest.mark.port
def test_a_server_that_ends_and_comes_back_is_an_unplugged_piano(jack_server: Any) -> None:
    """In a process of its own, since both ends of the port lose their server."""
    program = (
        "import sys\n"
        "sys.path.insert(0, 'tests')\n"
        "from virtual_piano import until\n"
        "from trainer.inputs.ports import PortInput\n"
        "source = PortInput(['stage'])\n"
        "source.start(lambda event: print(event.kind, flush=True))\n"
        "print('listening', flush=True)\n"
        "sys.stdin.read()\n"
        "source.stop()\n"
    )
    player = (
        "import sys\n"
        "sys.path.insert(0, 'tests')\n"
        "from virtual_piano import VirtualPiano\n"
        "piano = VirtualPiano()\n"
        "print('plugged in', flush=True)\n"
        "if sys.stdin.read() == 'unplug':\n    piano.unplug()\n"
        "import os; os._exit(0)\n"  # what is left of it belongs to a server that is gone
    )

    def begin(text: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", text],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            cwd=Path(__file__).parents[1],
        )

    running: list[subprocess.Popen[str]] = []

    def starts(text: str, says: str) -> subprocess.Popen[str]:
        process = begin(text)
        running.append(process)
        assert process.stdout is not None and process.stdout.readline().strip() == says
        return process

    try:
        first_piano = starts(player, "plugged in")
        trainer = starts(program, "listening")
        assert trainer.stdout is not None
        jack_server.stop()
        assert trainer.stdout.readline().strip() == "port lost"
        first_piano.communicate()
        jack_server.start()
        second_piano = starts(player, "plugged in")
        assert trainer.stdout.readline().strip() == "port found"
        rest, _ = trainer.communicate()
        second_piano.communicate("unplug")
        assert (rest, trainer.returncode) == ("", 0)
    finally:
        for process in running:
            process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                if stream is not None:
                    stream.close()
