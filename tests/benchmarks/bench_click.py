"""A click over JACK's dummy server, measured at the receiving port: does it drift, and how much does it scatter?

    python tests/benchmarks/bench_click.py [--minutes 30] [--tempo 120] [--frames 64] [--busy] [--no-realtime]
                                          [--quick]

The click is the program's own (`accompaniment.click`, `sound.Sound`), four to the bar, in this process; the receiving
port is in another one. Moments of arrival are RtMidi's own: its times since the message before, added up, are JACK's
clock (`jack_get_time`, microseconds) at the period in which the message arrived, taken without the interpreter. Planned
moments are `perf_counter_ns`; both clocks are the machine's monotonic one.

Drift is the slope of (arrived - planned) over planned, by least squares, in parts per million, and what it comes to
over the whole take. Scatter is the distance of each click from the median of (arrived - planned), in milliseconds; a
period of the server (printed) alone makes it half a period at most. How late each click was handed to the library is
printed, too: what scatters beyond that is the server's. With `--busy`, another thread computes all the while as the
screen does, and the interpreter is handed over every 0.5 ms. Bar: p99 under 2 ms, drift within what can be measured.

The server runs before other programs where the system allows it, as a musician sets it up; without that, its own thread
waits for whatever else runs, and what is measured is how busy the machine was.

Needs jackd2 and python-rtmidi; no sound card.
"""

from __future__ import annotations

import argparse
import gc
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from rows import add_rows, tell_row  # noqa: E402
from virtual_module import SENSING, VirtualModule  # noqa: E402

from trainer.accompaniment import click, cues, even_bars  # noqa: E402
from trainer.charts import Meter  # noqa: E402
from trainer.sound import open_sound  # noqa: E402
from trainer.timing import Grid  # noqa: E402

SERVER = f"trainer-bench-click-{os.getpid()}"
BAR_P99_MS = 2.0
RATE = 48000


def receive() -> None:
    """The receiving port: prints the key, and the microseconds since the first message, of every note-on."""
    with VirtualModule("Bench module") as module:
        print("there", flush=True)
        ended = threading.Event()
        threading.Thread(target=lambda: (sys.stdin.readline(), ended.set()), daemon=True).start()
        now = 0.0
        while not ended.wait(0.2):
            for delta, message in module.timed():
                now += delta
                if message != SENSING and message[0] & 0xF0 == 0x90:
                    print(message[1], round(now * 1e6), flush=True)


def percentile(values: list[float], share: float) -> float:
    """Of sorted values."""
    return values[min(len(values) - 1, round(share * (len(values) - 1)))]


def figures(values: list[float]) -> str:
    """Of sorted values in milliseconds."""
    cut = "  ".join(f"p{share} {percentile(values, share / 100):.2f}" for share in (50, 95, 99))
    return f"{cut}  max {values[-1]:.2f} ms"


def line_through(times: list[float], values: list[float]) -> tuple[float, float]:
    """Slope by least squares, and its standard error."""
    count = len(times)
    mean_time, mean_value = sum(times) / count, sum(values) / count
    spread = sum((each - mean_time) ** 2 for each in times)
    slope = sum((each - mean_time) * (value - mean_value) for each, value in zip(times, values, strict=True)) / spread
    rest = sum(
        (value - mean_value - slope * (each - mean_time)) ** 2 for each, value in zip(times, values, strict=True)
    )
    return slope, (rest / max(1, count - 2) / spread) ** 0.5


def may_go_first() -> bool:
    """Whether a thread may run before those of other programs."""
    told: list[bool] = []

    def ask() -> None:
        try:
            os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
            told.append(True)
        except (AttributeError, OSError):
            told.append(False)

    asking = threading.Thread(target=ask)
    asking.start()
    asking.join()
    return told[0]


def compute(ended: threading.Event) -> None:
    """Python at work, as while a screen is painted, with short rests."""
    while not ended.is_set():
        ends = time.perf_counter() + 0.01
        while time.perf_counter() < ends:
            "".join(str(number) for number in range(200))
        time.sleep(0.005)


def measure(minutes: float, tempo_bpm: float, frames: int, busy: bool) -> None:
    receiver = subprocess.Popen(
        [sys.executable, __file__, "--receive"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert receiver.stdin is not None and receiver.stdout is not None
    assert receiver.stdout.readline() == "there\n"
    bars = max(1, round(minutes * tempo_bpm / 4))
    arrived: list[tuple[int, int]] = []

    def take() -> None:
        assert receiver.stdout is not None
        arrived.extend((int(key), int(stamp)) for key, stamp in map(str.split, receiver.stdout))

    taking = threading.Thread(target=take)
    taking.start()
    with open_sound("Bench module", backend="JACK") as sound:
        notes = click(even_bars(Meter(4, 4), bars))
        handed: list[int] = []
        send = sound._output.send

        def sent(message: Sequence[int]) -> None:
            send(message)
            if message[0] & 0xF0 == 0x90:
                handed.append(time.perf_counter_ns())

        gc.collect()
        gc.freeze()  # as the program does: a full pass of the collector would hold the interpreter for milliseconds
        sound._output.send = sent  # type: ignore[method-assign]
        planned = cues(notes, Grid(tempo_bpm, time.perf_counter_ns() + 1_000_000_000))
        sound.play(planned)
        ended = threading.Event()
        if busy:
            sys.setswitchinterval(0.0005)
            worker = threading.Thread(target=compute, args=(ended,))
            worker.start()
        sound.wait()
        ended.set()
        time.sleep(0.5)
    receiver.communicate("\n")
    taking.join()
    on = [cue for cue in planned if cue.message[0] & 0xF0 == 0x90]
    if len(arrived) != len(on):
        print(
            f"{len(on)} clicks sent and {len(arrived)} arrived: the server lost or doubled some; match by key and time"
        )
    errors, times = [], []
    first = arrived[0][1]
    # The first click that arrived is the first one sent; the rest are matched in order, without those that are alone.
    index = 0
    for cue in on:
        due = (cue.time_ns - on[0].time_ns) / 1e6
        while index < len(arrived) and (arrived[index][1] - first) / 1e3 < due - 100:
            index += 1
        if index == len(arrived):
            break
        error = (arrived[index][1] - first) / 1e3 - due
        if arrived[index][0] == cue.message[1] and abs(error) < 100:
            errors.append(error)
            times.append(due)
            index += 1
    slope, sure = line_through(times, errors)
    middle = percentile(sorted(errors), 0.5)
    scatter = sorted(abs(error - middle) for error in errors)
    whole_ms = slope * (times[-1] - times[0])
    p99 = percentile(scatter, 0.99)
    late = sorted((stamp - cue.time_ns) / 1e6 for stamp, cue in zip(handed, on, strict=True))
    print(
        f"{minutes:g} min at {tempo_bpm:g}{', busy' if busy else ''}, a period of {frames} frames "
        f"({1000 * frames / RATE:.2f} ms): {len(errors)} of {len(on)} clicks; "
        f"drift {slope * 1e6:+.3f} ppm (standard error {sure * 1e6:.3f}), {whole_ms:+.3f} ms over the take; "
        f"scatter {figures(scatter)}, bar p99 {BAR_P99_MS} ms {'met' if p99 < BAR_P99_MS else 'MISSED'}; "
        f"handed over late by {figures(late)}",
        flush=True,
    )
    tell_row(f"a click{' beside a busy program' if busy else ''}: scatter at the port, p99", p99, "ms", BAR_P99_MS)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--tempo", type=float, default=120)
    parser.add_argument("--frames", type=int, default=64, help="of a period of the server")
    parser.add_argument("--busy", action="store_true", help="the main thread computes meanwhile")
    parser.add_argument("--quick", action="store_true", help="a quarter of a minute, quiet and busy")
    parser.add_argument("--no-realtime", action="store_true", help="the server waits for other programs, too")
    add_rows(parser)
    parser.add_argument("--receive", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.receive:
        receive()
        return
    if shutil.which("jackd") is None:
        raise SystemExit("jackd is not installed")
    os.environ["JACK_DEFAULT_SERVER"] = SERVER
    os.environ["JACK_NO_START_SERVER"] = "1"
    command = ["jackd", "-S", "-n", SERVER, "-R" if may_go_first() and not options.no_realtime else "-r"]
    command += ["-d", "dummy", "-r", str(RATE), "-p", str(options.frames)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        time.sleep(1.5)
        if options.quick:
            measure(0.25, options.tempo, options.frames, False)
            measure(0.25, options.tempo, options.frames, True)
        else:
            measure(options.minutes, options.tempo, options.frames, options.busy)
    finally:
        server.terminate()
        server.wait(10)


if __name__ == "__main__":
    main()
