"""A record of many years: ``python tests/benchmarks/bench_million.py [--quick] [--attempts N] [--keep FILE]``.

Builds a record of 1,000,000 invented attempts (667 a day, 480 items in 20 sets, two pianos), sums it, and measures what
a player waits for: opening, an append, the figures of the screens, and the bytes on disk. ``--keep FILE`` keeps the
record there and takes it up again the next time. `--quick` builds 20,000.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from random import Random

from trainer.pitch import TWELVE_ROOTS
from trainer.progress import Attempt, Only, tables
from trainer.storage.records import Records
from trainer.storage.records.log import ATTEMPT
from trainer.storage.records.rows import ATTEMPT_COLUMNS, attempt_row

sys.path.insert(0, str(Path(__file__).parent))
from bench_records import typical  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402

A_DAY = 667
KINDS = [(f"voicing {number}", quality) for number in range(10) for quality in ("m7", "7", "maj7", "m7b5")]
FIRST_DAY = date(2022, 1, 1)


def practice(count: int) -> Iterator[Attempt]:
    """Invented days of practice: some forms a day through all roots, times that scatter as a person's do."""
    chance = Random(1)
    samples = [typical(number) for number in range(48)]
    for number in range(count):
        day, of_day = divmod(number, A_DAY)
        if of_day == 0:
            todays = chance.sample(range(len(KINDS)), 12)
        kind = todays[of_day // 12 % 12]
        root = TWELVE_ROOTS[of_day % 12].name
        sample = samples[chance.randrange(48)]
        response = round(chance.lognormvariate(7.3, 0.35), 3)
        second = 64_800 + of_day * 5
        yield replace(
            sample,
            session=f"{day:032x}",
            number=of_day,
            utc=f"{FIRST_DAY + timedelta(day)}T{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}.000Z",
            set_title=f"Set {kind // 2}, voicings by degree",
            voicing=KINDS[kind][0],
            quality=KINDS[kind][1],
            root=root,
            port="Upright:Upright MIDI 1 24:0" if day % 5 == 0 else sample.port,
            response_ms=response if sample.right_first_try else None,
            tries=(
                replace(sample.tries[0], think_ms=round(response - 17.708, 3))
                if sample.right_first_try
                else sample.tries[0],
                *sample.tries[1:],
            ),
        )


def build(path: Path, count: int) -> None:
    start = time.perf_counter()
    places = ", ".join("?" * len(ATTEMPT_COLUMNS))
    with Records.open(path) as records:
        records._connection.execute("PRAGMA synchronous = OFF")
        with records.database.writing():
            records.database.change_many(
                f"INSERT INTO attempts ({', '.join(ATTEMPT_COLUMNS)}) VALUES ({places})",
                (attempt_row(attempt, "") for attempt in practice(count)),
            )
            records.database.change(
                "INSERT INTO pending (student, session, number, kind) "
                f"SELECT student, session, number, '{ATTEMPT}' FROM attempts"
            )
        print(f"built {count} attempts in {time.perf_counter() - start:.0f} s", flush=True)
        records._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        log_bytes = path.stat().st_size
        start = time.perf_counter()
        records.rebuild_summaries()
        print(f"summed them in {time.perf_counter() - start:.0f} s", flush=True)
        records._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        print(f"{log_bytes / count:.0f} bytes an attempt, {path.stat().st_size / count:.0f} with the summaries")


def milliseconds(what: Callable[[], object], times: int = 5) -> tuple[float, float]:
    """The first time and the median of the further ones."""
    took = []
    for _ in range(times + 1):
        start = time.perf_counter()
        what()
        took.append((time.perf_counter() - start) * 1000)
    return took[0], sorted(took[1:])[times // 2]


def opening(path: Path) -> float:
    """A fresh program that opens the record and reads the latest figures of nothing: what start-up pays for it."""
    code = (
        "import sys, time\nfrom trainer.storage.records import Records\n"
        "start = time.perf_counter()\nRecords.open(sys.argv[1]).close()\nprint((time.perf_counter() - start) * 1000)"
    )
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    ended = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True, env=env)
    return float(ended.stdout)


def measure(path: Path, count: int) -> None:
    first_ms, again_ms = opening(path), opening(path)
    print(f"open, first of the day {first_ms:8.1f} ms; again {again_ms:.1f}, {opening(path):.1f} ms")
    tell_row(f"a record of {count:,} attempts opened, first of the day", first_ms, "ms", None)
    last = list(practice(1))[0]
    with Records.open(path) as records:
        took_us = []
        for number in range(500):
            attempt = replace(last, session="bench", number=number, utc=f"2035-01-01T10:00:{number % 60:02d}.000Z")
            start = time.perf_counter_ns()
            records.append(attempt)
            took_us.append((time.perf_counter_ns() - start) / 1000)
        took_us.sort()
        print(f"append: p50 {took_us[250]:.0f} us, p99 {took_us[495]:.0f} us, longest {took_us[-1]:.0f} us")
        start = time.perf_counter()
        records.bring_up_to_date()
        print(f"summing those 500: {(time.perf_counter() - start) * 1000:.0f} ms")
        counted = records.counted()
        end = FIRST_DAY + timedelta(count // A_DAY)
        month = Only(since=(end - timedelta(30)).isoformat())
        half = Only(since=(FIRST_DAY + timedelta(45)).isoformat(), until=(end - timedelta(45)).isoformat())
        evening = Only(since=f"{end - timedelta(90)}T23:00")
        one_set = Only(sets=("Set 3, voicings by degree",))
        one_port = Only(ports=("Upright:Upright MIDI 1 24:0",))
        item = (*KINDS[3], "Eb")
        asked: list[tuple[str, Callable[[], object]]] = [
            ("twelve roots, all time", lambda: tables.roots(counted)),
            ("twelve roots, last month", lambda: tables.roots(counted, month)),
            ("twelve roots, nearly all days", lambda: tables.roots(counted, half)),
            ("twelve roots, 90 local days", lambda: tables.roots(counted, evening)),
            ("twelve roots of a set", lambda: tables.roots(counted, one_set)),
            ("twelve roots on one piano", lambda: tables.roots(counted, one_port)),
            ("voicing x root, all time", lambda: tables.voicing_table(counted)),
            ("voicing x root, last month", lambda: tables.voicing_table(counted, month)),
            ("a cause on the twelve roots", lambda: tables.cause_by_root(counted, "half_step")),
            ("mistakes, all time", lambda: tables.mistakes(counted)),
            ("learning curve of an item", lambda: tables.learning_curve(counted, item)),
            ("where the time goes", lambda: tables.time_parts(counted)),
            ("learned and practised", lambda: tables.standing_table(counted)),
            ("sets, ports, kinds", lambda: counted.found()),
            ("20 latest attempts at an item", lambda: records.latest_attempts(item, 20)),
            ("how many there are", lambda: records.count()),
        ]
        slowest = 0.0
        for name, what in asked:
            first, again = milliseconds(what)
            slowest = max(slowest, first)
            print(f"  {name:<32} {first:8.1f} ms first, {again:8.1f} ms again")
        tell_row(f"the slowest figure of {count:,} attempts, asked for the first time", slowest, "ms", 100)
        tell_row(f"an attempt appended to {count:,}, p99", took_us[495] / 1000, "ms", None)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    add_rows(parser)
    parser.add_argument("--attempts", type=int)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    count = options.attempts or (20_000 if options.quick else 1_000_000)
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        path = options.keep or Path(folder) / "records.sqlite"
        if not path.exists():
            build(path, count)
        measure(path, count)


if __name__ == "__main__":
    main()
