"""Note-on to verdict in the session, and 1,000 attempts replayed headless.

Bars (issue of the first part): under 1 ms at the 99th percentile; under 2 s.
Run: python tests/benchmarks/bench_session.py
"""

from __future__ import annotations

import argparse
import statistics
from random import Random
from time import perf_counter, perf_counter_ns

from rows import add_rows, tell_row

from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.chords import Chord, parse_quality
from trainer.grading import Target
from trainer.pitch import TWELVE_ROOTS, MidiNote
from trainer.session import Particulars, Session, Task, TryGraded, replay
from trainer.voicings import place, recipe

QUALITIES = ("m7", "7", "maj7", "m7b5", "7alt")


def plan(count: int) -> list[Task]:
    tasks = []
    for index in range(count):
        quality = parse_quality(QUALITIES[index // 12 % len(QUALITIES)])
        root = TWELVE_ROOTS[index % 12]
        placement = place(recipe("rootless from the third", quality), root)
        tasks.append(Task(Target(Chord(root, quality, None), placement), "bench", 0, tries=1))
    return tasks


def take(tasks: list[Task], chance: Random) -> list[NoteEvent]:
    """One chord a task; a third of them with one finger off by a half step."""
    events, now_ms = [], 0.0
    for task in tasks:
        keys = list(task.target.keys)
        if chance.random() < 1 / 3:
            keys[chance.randrange(len(keys))] += chance.choice((-1, 1))
        now_ms += 800
        for key in keys:
            events.append(NoteEvent(round(now_ms * MILLISECOND_NS), Kind.DOWN, MidiNote(key), 70))
            now_ms += 15
        now_ms += 400
        events += [NoteEvent(round(now_ms * MILLISECOND_NS), Kind.UP, MidiNote(key)) for key in sorted(set(keys))]
    return events


def particulars() -> Particulars:
    return Particulars("bench", lambda: "2026-01-01T00:00:00.000Z")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="as it is: this takes a second")
    add_rows(parser)
    parser.parse_args()
    tasks = plan(1000)
    events = take(tasks, Random(1))
    started = perf_counter()
    attempts = len([event for event in replay(Session(tasks, particulars()), events) if isinstance(event, TryGraded)])
    took_s = perf_counter() - started
    print(f"{attempts} attempts replayed headless, targets new: {took_s:.3f} s (bar 2 s)")
    tell_row("1,000 attempts replayed headless", took_s, "s", 2)

    session = Session(plan(1000), particulars())
    session.start(0)
    session.prompt_shown(0)
    durations_ms: list[float] = []
    for event in events:
        while (due := session.deadline_ns) is not None and due <= event.time_ns:
            session.tick(due)
        began = perf_counter_ns()
        happened = session.hear(event)
        took_ms = (perf_counter_ns() - began) / 1e6
        if event.kind is Kind.DOWN:
            durations_ms.append(took_ms)
        for each in happened:
            if type(each).__name__ == "Prompted":
                session.prompt_shown(event.time_ns)
    centiles = statistics.quantiles(durations_ms, n=100)
    tell_row("note-on to verdict in the session, p99", centiles[98], "ms", 1)
    print(
        f"note-on to answer of the session, {len(durations_ms)} note-ons: p50 {centiles[49]:.3f} ms, "
        f"p95 {centiles[94]:.3f} ms, p99 {centiles[98]:.3f} ms, max {max(durations_ms):.3f} ms (bar: p99 under 1 ms)"
    )


if __name__ == "__main__":
    main()
