"""Time to append an attempt, and bytes that it takes: ``python tests/benchmarks/bench_records.py [attempts]``."""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from rows import add_rows, tell_row

from trainer.pitch import TWELVE_ROOTS
from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.storage.records import Records


def typical(number: int) -> Attempt:
    """A four-note chord of a fifty-prompt session; every fourth is missed once before it is right."""
    keys = (51, 55, 58, 62)
    degrees = ("b3", "5", "b7", "9")
    verdicts = tuple(VerdictRecord(degree, "right", key) for degree, key in zip(degrees, keys, strict=True))
    right = TryRecord(keys, verdicts, (), True, None, (), "Right.", 1234.567, 17.708)
    wrong = replace(
        right,
        verdicts=(*verdicts[:2], VerdictRecord("b7", "replaced", 59, "7", 1), verdicts[3]),
        right=False,
        cause="half_step",
        causes=("half_step", "wrong_quality"),
        sentence="♭3 5 9 right. B for B♭: a half step high; the ♭7 of C is B♭.",
    )
    missed = number % 4 == 0
    strikes = 2 if missed else 1
    events = tuple(
        (1_234_567 + 1_500_000 * strike + 5_903 * index + 400_000 * (kind == "up"), kind, key, 64, 0)
        for strike in range(strikes)
        for kind in ("down", "up")
        for index, key in enumerate(keys)
    )
    return Attempt(
        session=f"{number // 50:032x}",
        number=number % 50,
        utc=f"2026-03-{1 + number // 1000 % 28:02d}T18:{number // 17 % 60:02d}:{number % 60:02d}.{number % 1000:03d}Z",
        set_title="Minor sevenths, rootless",
        drill=0,
        chord=f"{TWELVE_ROOTS[number % 12]}m7",
        quality="m7",
        root=TWELVE_ROOTS[number % 12].name,
        voicing="rootless from the third",
        degrees=degrees,
        notes=("Eb", "G", "Bb", "D"),
        keys=keys,
        tries=(wrong, right) if missed else (right,),
        outcome="right",
        right_first_try=not missed,
        response_ms=None if missed else 1252.275,
        settle_ms=0.0,
        pool_size=12,
        port="Stage piano:Stage piano MIDI 1 20:0",
        stamp_origin="callback",
        events=events,
    )


def main(count: int) -> None:
    attempts = [typical(number) for number in range(count)]
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        path = Path(folder) / "records.sqlite"
        took_us = []
        with Records.open(path) as records:
            for attempt in attempts:
                start = time.perf_counter_ns()
                records.append(attempt)
                took_us.append((time.perf_counter_ns() - start) / 1000)
            start = time.perf_counter_ns()
            read = sum(1 for _ in records.attempts())
            reading_ms = (time.perf_counter_ns() - start) / 1e6
            start = time.perf_counter_ns()
            sum(1 for _ in records.attempts(with_events=False))
            figures_ms = (time.perf_counter_ns() - start) / 1e6
        took_us.sort()
        start = time.perf_counter_ns()
        Records.open(path).close()
        opening_ms = (time.perf_counter_ns() - start) / 1e6
        start = time.perf_counter_ns()
        Records.open(path).close()
        again_ms = (time.perf_counter_ns() - start) / 1e6
        print(f"append, {count} attempts: p50 {took_us[count // 2]:.0f} us, p99 {took_us[count * 99 // 100]:.0f} us, ")
        print(f"longest {took_us[-1]:.0f} us; {path.stat().st_size / count:.0f} bytes an attempt")
        tell_row("an attempt appended, p99", took_us[count * 99 // 100] / 1000, "ms", None)
        tell_row("an attempt kept", path.stat().st_size / count, "bytes", None)
        print(f"read {read} attempts: {reading_ms:.0f} ms, without raw events {figures_ms:.0f} ms")
        print(f"open: first of the day (check and copy) {opening_ms:.1f} ms, after that {again_ms:.1f} ms")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("attempts", type=int, nargs="?", default=10_000)
    parser.add_argument("--quick", action="store_true", help="1,000 attempts")
    add_rows(parser)
    options = parser.parse_args()
    main(1_000 if options.quick else options.attempts)
