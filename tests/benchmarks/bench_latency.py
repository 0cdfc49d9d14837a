"""From key to glass: a virtual piano on JACK's dummy server, the real application in a pty, bytes read from the pty.

    python tests/benchmarks/bench_latency.py [--chords 1000] [--screens light,full] [--between 0,20]

Measured is the time from the last note of a four-note chord handed to the port until the bytes of its verdict have been
read from the terminal's other end: one host, one monotonic clock. Light is the practice screen at 120×36 as it opens;
full draws the keyboard as well. `--between` is the time between the notes of a chord in milliseconds: 0 for a chord of
a machine, 20 for a person's. Targets: 99 of 100 within 12 ms (light) and 16.7 ms (full). The start-up is timed too:
process start until the first prompt has been read; target under a second.

Needs jackd2 and a python with an RtMidi binding; no sound card. What terminal and monitor add is not in it.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import pty
import select
import shutil
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from rows import add_rows, tell_row

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from trainer.capture import Kind, NoteEvent  # noqa: E402
from trainer.inputs.ports import PortInput  # noqa: E402
from trainer.storage.records import Records  # noqa: E402

RUN = os.environ.setdefault("TRAINER_BENCH", str(os.getpid()))
"""Tells this run apart from another one on the same machine; the application under test inherits it."""
SERVER = f"trainer-bench-{RUN}"
PIANO = "Bench piano"
COLUMNS, LINES = 120, 36
VERDICT = b"Hold the keys"
PROMPT = b"before:"
FIRST_PROMPT = b"rootless from the third"
TARGETS_MS = {"light": 12.0, "full": 16.7}
WARM_UP = 30
HEARD_FILE = Path(tempfile.gettempdir()) / f"bench-latency-heard-{RUN}"
"""What the program's port heard, two bytes an event: the library's JACK output now and then swallows or doubles a note,
and such a chord says nothing about the program."""


def plan_keys(chords: int) -> list[tuple[int, ...]]:
    """The keys of every prompt, in order."""
    from trainer.chords import parse_quality
    from trainer.pitch import TWELVE_ROOTS
    from trainer.voicings import place, recipe

    chosen = recipe("rootless from the third", parse_quality("m7"))
    keys = [tuple(int(key) for key in place(chosen, root).keys) for root in TWELVE_ROOTS]
    return [keys[index % 12] for index in range(chords)]


def application(screen: str, chords: int) -> int:
    """The program under test, in the pty."""
    import trainer.screens  # noqa: F401 (sets the frame rate)
    from trainer.chords import Chord, parse_quality
    from trainer.grading import Target
    from trainer.pitch import TWELVE_ROOTS
    from trainer.screens.app import Hand, PracticeApp, Preferences, SetEntry, run
    from trainer.session import Particulars, Session, Task
    from trainer.voicings import place, recipe

    quality = parse_quality("m7")
    chosen = recipe("rootless from the third", quality)
    targets = [Target(Chord(root, quality, None), place(chosen, root)) for root in TWELVE_ROOTS]
    tasks = [Task(targets[index % 12], "Bench") for index in range(chords)]

    def open_session(entry: SetEntry, hand: Hand) -> Session:
        stamp = datetime.now(UTC).isoformat()
        return Session(tasks, Particulars("bench", lambda: stamp, hand.port, hand.stamp_origin, hand.controls))

    records = Records.open(Path(tempfile.mkdtemp()) / "records.sqlite")
    app = PracticeApp(
        sets=[SetEntry("bench", "Bench")],
        open_session=open_session,
        store=lambda attempt, replaces: records.append(attempt, replacing=replaces),
        source=open_port(),
        crash_report=Path(tempfile.gettempdir()) / "bench-latency-crash.log",
        preferences=Preferences(keyboard_shown=screen == "full"),
    )
    return run(app)


def open_port() -> PortInput:
    """The program's own port, with a note of each key heard written where the bench reads it."""
    heard = os.open(HEARD_FILE, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)

    class Port(PortInput):
        def start(self, post: Callable[[NoteEvent], None]) -> None:
            def arrived(event: NoteEvent) -> None:
                os.write(heard, bytes((event.kind is Kind.DOWN, event.key)))
                post(event)

            super().start(arrived)

    return Port([PIANO])


@contextmanager
def jack() -> Iterator[None]:
    """JACK's dummy server under a name of its own."""
    os.environ["JACK_DEFAULT_SERVER"] = SERVER
    os.environ["JACK_NO_START_SERVER"] = "1"
    command = ["jackd", "-S", "-n", SERVER, "-r", "-d", "dummy", "-r", "48000", "-p", "64"]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(1.5)
    try:
        yield
    finally:
        server.terminate()
        server.wait(10)


class Glass:
    """The other end of the program's terminal: what was written and when."""

    def __init__(self, arguments: list[str]) -> None:
        self.started_ns = time.perf_counter_ns()
        self.process, self.terminal = pty.fork()
        if self.process == 0:
            os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
            os.execv(sys.executable, [sys.executable, __file__, *arguments])
        fcntl.ioctl(self.terminal, termios.TIOCSWINSZ, struct.pack("HHHH", LINES, COLUMNS, 0, 0))
        self.seen = b""
        self.bytes_read = 0

    def read(self, timeout_s: float) -> int | None:
        """Read what there is and return when it was there."""
        ready, _, _ = select.select([self.terminal], [], [], timeout_s)
        if not ready:
            return None
        now_ns = time.perf_counter_ns()
        try:
            chunk = os.read(self.terminal, 1 << 16)
        except OSError:
            raise SystemExit(f"the program has ended: {self.seen[-2000:].decode(errors='replace')}") from None
        now_ns = max(now_ns, time.perf_counter_ns())
        self.bytes_read += len(chunk)
        self.seen = (self.seen + chunk)[-200_000:]
        return now_ns

    def wait_for(self, text: bytes, timeout_s: float) -> int | None:
        """When `text` had been read; None if it did not come. Forgets what was seen up to it."""
        limit = time.perf_counter() + timeout_s
        when: int | None = time.perf_counter_ns()
        while True:
            place = self.seen.find(text)
            if place >= 0:
                self.seen = self.seen[place + len(text) :]
                return when
            if (left := limit - time.perf_counter()) <= 0:
                return None
            when = self.read(left) or when

    def quiet(self, for_s: float) -> None:
        """Read until nothing has come for a while."""
        while self.read(for_s) is not None:
            pass
        self.seen = b""

    def close(self) -> None:
        """Leave the program by its own key, and wait for it."""
        os.write(self.terminal, b"\x11")
        try:
            while self.read(3) is not None:
                pass
        except SystemExit:  # it has ended
            pass
        os.waitpid(self.process, 0)
        os.close(self.terminal)


def heard_since(place: int, count: int) -> set[tuple[bool, int]]:
    """The first events that the program's port heard from a place in its log on."""
    log = HEARD_FILE.read_bytes()[place : place + 2 * count]
    return {(bool(log[index]), log[index + 1]) for index in range(0, len(log) - 1, 2)}


def unstick(glass: Glass, piano: object, keys: tuple[int, ...], decided: bool) -> int:
    """After a garbled chord: no key is held any more, and the prompt is answered again until the next one is up.

    Returns how many prompts of the plan to leave out (0: the next one is up).
    """
    for _ in range(5):
        piano.send_message([0xB0, 123, 0])  # type: ignore[attr-defined]
        if decided and glass.wait_for(PROMPT, 0.5) is not None:
            return 0
        time.sleep(0.3)
        for key in keys:
            piano.send_message([0x90, key, 80])  # type: ignore[attr-defined]
            time.sleep(0.003)
        decided = glass.wait_for(VERDICT, 0.5) is not None
        for key in keys:
            piano.send_message([0x80, key, 0])  # type: ignore[attr-defined]
            time.sleep(0.003)
        if glass.wait_for(PROMPT, 0.5) is not None:
            return 0
    raise SystemExit("the program and the bench have lost each other")


def measure(screen: str, between_ms: float, chords: int) -> None:
    import rtmidi

    keys_of_prompts = plan_keys(chords + WARM_UP)
    piano = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=PIANO)
    piano.open_virtual_port(PIANO)
    glass = Glass(["--application", screen, "--chords", str(chords + WARM_UP)])
    first_ns = glass.wait_for(FIRST_PROMPT, 20)
    if first_ns is None:
        raise SystemExit("the first prompt did not come")
    start_up_ms = (first_ns - glass.started_ns) / 1e6
    glass.quiet(1.0)
    latencies_ms = []
    lost = garbled = 0
    bytes_before = 0
    number = 0
    while number < len(keys_of_prompts):
        keys = keys_of_prompts[number]
        place = HEARD_FILE.stat().st_size
        if number == WARM_UP:
            bytes_before = glass.bytes_read
        time.sleep(0.002 * (number % 9))  # no beat between the screen's period and ours
        glass.seen = b""
        for index, key in enumerate(keys):
            if index and between_ms:
                limit = time.perf_counter() + between_ms / 1000
                while (left := limit - time.perf_counter()) > 0:
                    glass.read(left)
            piano.send_message([0x90, key, 80])
        sent_ns = time.perf_counter_ns()
        shown_ns = glass.wait_for(VERDICT, 1.0)
        arrived = heard_since(place, len(keys)) == {(True, key) for key in keys}
        if number >= WARM_UP and arrived:
            if shown_ns is None:
                lost += 1
            else:
                latencies_ms.append((shown_ns - sent_ns) / 1e6)
        elif number >= WARM_UP:
            garbled += 1
        glass.quiet(0.03)
        for key in keys:
            piano.send_message([0x80, key, 0])
        if number + 1 < len(keys_of_prompts):
            if glass.wait_for(PROMPT, 0.3) is None:
                number += unstick(glass, piano, keys, shown_ns is not None)
            glass.quiet(0.04)
        number += 1
    written = (glass.bytes_read - bytes_before) / max(1, chords)
    glass.close()
    piano.close_port()
    del piano
    latencies_ms.sort()
    cut = statistics.quantiles(latencies_ms, n=100, method="inclusive")
    verdict = "met" if cut[98] <= TARGETS_MS[screen] and not lost else "MISSED"
    print(
        f"{screen:<6} {between_ms:>4.0f} ms between notes, {len(latencies_ms)} chords: "
        f"p50 {cut[49]:.1f}  p95 {cut[94]:.1f}  p99 {cut[98]:.1f}  max {latencies_ms[-1]:.1f} ms, "
        f"lost {lost} (and {garbled} garbled on the way), {written / 1000:.1f} kB a chord, "
        f"target p99 {TARGETS_MS[screen]} ms {verdict}; "
        f"start-up to first prompt {start_up_ms:.0f} ms",
        flush=True,
    )
    tell_row(f"key to glass, {screen} screen, {between_ms:g} ms between notes, p99", cut[98], "ms", TARGETS_MS[screen])
    tell_row(f"start to first prompt, {screen} screen", start_up_ms, "ms", 1000)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--chords", type=int, default=1000)
    parser.add_argument("--quick", action="store_true", help="200 chords, 20 ms between notes")
    add_rows(parser)
    parser.add_argument("--screens", default="light,full")
    parser.add_argument("--between", default="0,20", help="milliseconds between the notes of a chord")
    parser.add_argument("--application", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.application:
        sys.exit(application(options.application, options.chords))
    if options.quick:
        options.chords, options.between = 200, "20"
    if shutil.which("jackd") is None:
        raise SystemExit("jackd is not installed")
    with jack():
        HEARD_FILE.touch()
        for screen in options.screens.split(","):
            for between in options.between.split(","):
                measure(screen, float(between), options.chords)


if __name__ == "__main__":
    main()
