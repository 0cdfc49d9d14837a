"""A storm of MIDI at a running session, and a port that goes and comes: nothing hangs, no note is lost or invented.

    python tests/benchmarks/bench_midi_storm.py [--seconds 60] [--rate 20000] [--cycles 100] [--quick]

The storm goes through a real port (JACK's dummy server) into the program's own `PortInput` and a running session: notes
on every key (velocity 0 among them), all 88 keys at once, pedals, pitch wheel, program changes, clock and active
sensing between them, whole and cut-off system-exclusive messages. What no sending library lets through (running status,
data bytes alone, illegal status bytes, messages cut short) is given to the layer that a library calls. Sent and
heard notes are compared one by one and in order. Then all keys are let go, and the next chord must be judged right.

The cycles unplug the piano and plug it in again in every state of a session (prompted, half a chord down, answered and
held, paused); after each, the session must pause, go on by itself, and judge the next chord right.

Figures are counts; all but the first column must be 0. Needs jackd2 and an RtMidi binding.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, SimpleQueue

ROOT = Path(__file__).parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from conftest import JackDaemon  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402
from virtual_piano import VirtualPiano, until  # noqa: E402

from trainer.capture import Kind, NoteEvent  # noqa: E402
from trainer.chords import Chord, parse_quality  # noqa: E402
from trainer.grading import Target  # noqa: E402
from trainer.inputs.ports import PortInput  # noqa: E402
from trainer.inputs.source import event_of  # noqa: E402
from trainer.pitch import TWELVE_ROOTS  # noqa: E402
from trainer.session import (  # noqa: E402
    Command,
    Particulars,
    Paused,
    Prompted,
    Session,
    SessionEvent,
    State,
    Task,
    TryGraded,
)
from trainer.voicings import place, recipe  # noqa: E402

PIANO = "Storm piano"
BURST = 20
"""Messages handed over between two looks at the clock."""


class Evening:
    """A session fed by a port, as the program feeds it."""

    def __init__(self, prompts: int) -> None:
        quality = parse_quality("m7")
        chosen = recipe("rootless from the third", quality)
        targets = [Target(Chord(root, quality, None), place(chosen, root)) for root in TWELVE_ROOTS]
        plan = [Task(targets[index % 12], "Storm", tries=1) for index in range(prompts)]
        self.session = Session(plan, Particulars("storm", lambda: "2026-11-25T20:00:00.000Z", PIANO, "callback"))
        self.heard: list[NoteEvent] = []
        self._queue: SimpleQueue[NoteEvent] = SimpleQueue()
        self.source = PortInput([f"{PIANO}:keys"])
        self.source.start(self._queue.put)
        self.happened: list[SessionEvent] = []
        self._take(self.session.start(time.perf_counter_ns()))

    def _take(self, happened: list[SessionEvent]) -> None:
        for event in happened:
            if isinstance(event, Prompted):
                self.session.prompt_shown(time.perf_counter_ns())
        self.happened += happened

    def serve(self, seconds: float = 0.0) -> None:
        """Everything that has arrived, and what the clock owes."""
        ends = time.monotonic() + seconds
        while True:
            due = self.session.deadline_ns
            if due is not None and due <= time.perf_counter_ns():
                self._take(self.session.tick(time.perf_counter_ns()))
            try:
                event = self._queue.get(timeout=0.002 if seconds else 0)
            except Empty:
                if time.monotonic() >= ends:
                    return
                continue
            self.heard.append(event)
            self._take(self.session.hear(event))

    def until(self, kind: type[SessionEvent], seconds: float = 10.0) -> bool:
        """Serve until an event of a kind has happened since the last call."""
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            self.serve(0.01)
            if any(isinstance(event, kind) for event in self.happened):
                return True
        return False

    def judges_right(self, piano: VirtualPiano) -> bool:
        """Whether the chord asked for, played, is judged right."""
        task = self.session.task
        if task is None:
            return False
        self.happened.clear()
        piano.play(task.target.keys, hold_s=0.05)
        if not self.until(TryGraded, 5):
            return False
        graded = next(event for event in self.happened if isinstance(event, TryGraded))
        self.serve(0.05)
        return graded.grade.right


def storm(chance: random.Random) -> Iterator[tuple[int, ...]]:
    """Messages without end, of everything a port may carry."""
    while True:
        kind = chance.random()
        key = chance.randrange(128)
        if kind < 0.45:
            yield (0x90, key, chance.choice((0, 1, 64, 127)))
        elif kind < 0.75:
            yield (0x80, key, chance.randrange(128))
        elif kind < 0.80:
            yield (0xB0, 64, chance.randrange(128))
        elif kind < 0.85:
            yield (chance.choice((0xF8, 0xFA, 0xFC, 0xFE)),)
        elif kind < 0.90:
            yield (0xE0, chance.randrange(128), chance.randrange(128))
        elif kind < 0.93:
            yield (0xC0, chance.randrange(128))
        elif kind < 0.96:
            yield (0xF0, *(chance.randrange(128) for _ in range(chance.randrange(20))), 0xF7)
        elif kind < 0.97:
            yield from ((0x90, each, 64) for each in range(21, 109))
        else:
            yield (0xB0, chance.choice((1, 7, 11, 120, 121, 123, 127)), chance.randrange(128))


def expected(message: tuple[int, ...]) -> tuple[str, int] | None:
    """What a message must be heard as, by the MIDI 1.0 tables: kind and key (or value)."""
    status = message[0] & 0xF0
    if status == 0x90:
        return ("down" if message[2] else "up", message[1])
    if status == 0x80:
        return ("up", message[1])
    if status == 0xB0 and message[1] == 64:
        return ("pedal", message[2])
    if status == 0xB0 and message[1] in (120, 123, 124, 125, 126, 127):
        return ("quiet", message[1])
    return None


def told(event: NoteEvent) -> tuple[str, int]:
    return (str(event.kind), event.value if event.kind in (Kind.PEDAL, Kind.QUIET) else event.key)


def send_storm(seconds: float, rate: int) -> None:
    """The sender, in a process of its own: prints when it begins and ends, and how many messages it sent."""
    with VirtualPiano(PIANO) as piano:
        print("ready", flush=True)
        sys.stdin.readline()
        messages = storm(random.Random(1))
        count = 0
        begins = time.perf_counter()
        while (passed := time.perf_counter() - begins) < seconds:
            if count >= passed * rate:
                time.sleep(0.0005)
                continue
            for _ in range(BURST):
                piano.send(*next(messages))
            count += BURST
        print(f"sent {count} {count / (time.perf_counter() - begins):.0f}", flush=True)
        sys.stdin.readline()
        for key in range(128):
            piano.send(0x80, key, 0)
        piano.send(0xB0, 123, 0)
        print("let go", flush=True)
        for line in sys.stdin:  # keys to be played, a chord a line
            piano.play([int(key) for key in line.split()], hold_s=0.05)


def through_the_port(seconds: float, rate: int) -> tuple[int, int, int, bool, float]:
    """Sent, lost or out of order, invented, whether the next chord is judged right, and the rate reached."""
    command = [sys.executable, __file__, "--send", "--seconds", str(seconds), "--rate", str(rate)]
    sender = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert sender.stdin is not None and sender.stdout is not None
    lines: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=lambda: [lines.put(line) for line in sender.stdout or ()], daemon=True).start()

    def say(line: str) -> None:
        assert sender.stdin is not None
        sender.stdin.write(f"{line}\n")
        sender.stdin.flush()

    try:
        lines.get(timeout=20)
        evening = Evening(200_000)  # a storm answers, too
        assert until(lambda: evening.source.connected), "the port was not found"
        evening.serve(0.3)
        evening.heard.clear()
        say("go")
        while lines.empty():
            evening.serve(0.05)
        _, count, reached = lines.get().split()
        evening.serve(2.0)
        messages = storm(random.Random(1))
        wanted = [each for each in (expected(next(messages)) for _ in range(int(count))) if each is not None]
        found = [told(event) for event in evening.heard if event.kind not in (Kind.PORT_LOST, Kind.PORT_FOUND)]
        lost = invented = 0
        at = 0
        for each in wanted:  # both walked side by side
            if at < len(found) and found[at] == each:
                at += 1
            elif each in found[at : at + 200]:
                invented += found.index(each, at) - at
                at = found.index(each, at) + 1
            else:
                lost += 1
        invented += len(found) - at
        say("let go")
        lines.get(timeout=20)
        evening.serve(0.5)
        if evening.session.state is State.PAUSED:
            evening._take(evening.session.command(Command.RESUME, time.perf_counter_ns()))
        task = evening.session.task
        assert task is not None
        evening.happened.clear()
        say(" ".join(map(str, task.target.keys)))
        right = evening.until(TryGraded, 5) and next(
            event.grade.right for event in evening.happened if isinstance(event, TryGraded)
        )
        evening.source.stop()
    finally:
        sender.kill()
        sender.communicate()
    return int(count), lost, invented, right, float(reached)


def raw_bytes(count: int) -> tuple[int, int]:
    """Bytes that no sender lets through, given to the layer below: how many, and how many were taken for a note."""
    chance = random.Random(2)
    wrong = 0
    for _ in range(count):
        message = tuple(chance.randrange(256) for _ in range(chance.randrange(7)))
        event = event_of(message, 0, "x")
        good = len(message) == 3 and all(byte < 128 for byte in message[1:])
        if event is not None and (not good or expected(message) is None):
            wrong += 1
        if event is not None and good and told(event) != expected(message):
            wrong += 1
    return count, wrong


def unplugged(cycles: int) -> tuple[int, int, int]:
    """Cycles, those in which the session did not pause or go on, and those after which a chord was judged wrong."""
    stuck = wrong = 0
    piano = VirtualPiano(PIANO)
    evening = Evening(4 * cycles + 20)
    assert until(lambda: evening.source.connected), "the port was not found"
    evening.serve(0.3)
    for cycle in range(cycles):
        task = evening.session.task
        assert task is not None
        state = cycle % 4
        if state == 1:  # half a chord down
            for key in task.target.keys[:2]:
                piano.send(0x90, key, 64)
        elif state == 2:  # answered, and held
            for key in task.target.keys:
                piano.send(0x90, key, 64)
        evening.serve(0.1)
        if state == 3:
            evening._take(evening.session.command(Command.PAUSE, time.perf_counter_ns()))
        evening.happened.clear()
        piano.unplug()
        if state != 3 and not evening.until(Paused, 10):
            stuck += 1
        if not until(lambda: (evening.serve(0.01), not evening.source.connected)[1], 10):
            stuck += 1
        evening.serve(0.05)
        evening.happened.clear()
        piano.plug_in()
        if not until(lambda: (evening.serve(0.01), evening.source.connected)[1], 10):
            stuck += 1
        evening.serve(0.1)
        if evening.session.state is State.PAUSED and state == 3:
            evening._take(evening.session.command(Command.RESUME, time.perf_counter_ns()))
        if not until(lambda: (evening.serve(0.01), evening.session.state is State.PROMPTED)[1], 10):
            stuck += 1
        wrong += not evening.judges_right(piano)
    evening.source.stop()
    piano.unplug()
    return cycles, stuck, wrong


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--rate", type=int, default=20_000)
    parser.add_argument("--cycles", type=int, default=100)
    parser.add_argument("--quick", action="store_true")
    add_rows(parser)
    parser.add_argument("--send", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.send:
        send_storm(options.seconds, options.rate)
        return 0
    if options.quick:
        options.seconds, options.cycles = 3, 8
    os.environ["JACK_DEFAULT_SERVER"] = name = f"trainer-storm-{os.getpid()}"
    daemon = JackDaemon(name)
    daemon.start()
    try:
        sent, lost, invented, right, reached = through_the_port(options.seconds, options.rate)
        print(
            f"storm: {sent} messages, {reached:.0f} a second; lost {lost}, invented {invented}, right after it: {right}"
        )
        tell_row(f"a storm of {sent:,} MIDI messages: notes lost or invented", lost + invented, "", 0)
        count, mistaken = raw_bytes(1_000_000 if not options.quick else 50_000)
        print(f"raw bytes: {count} messages; taken for what they are not {mistaken}")
        cycles, stuck, wrong = unplugged(options.cycles)
        print(f"unplugged: {cycles} times; stuck {stuck}, a right chord judged wrong afterwards {wrong}")
        tell_row(f"piano unplugged {cycles} times: stuck, or judged wrong afterwards", stuck + wrong, "", 0)
    finally:
        daemon.close()
    return 1 if lost or invented or mistaken or stuck or wrong or not right else 0


if __name__ == "__main__":
    sys.exit(main())
