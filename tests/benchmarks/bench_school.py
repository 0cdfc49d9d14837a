"""A whole school sends at once: ``python tests/benchmarks/bench_school.py [--quick] [--students N]``.

Every student has a file of their own with an evening of practice (150 attempts, 4 passes) and sends it at the same
moment, over a connection of their own with a password, to a PostgreSQL server on this machine that waits for its disk.
Told are the time from the beginning of one sending to its end, of the first evening and of a second one, and whether
anything was lost. `--quick` has 20 students. The server has room for as many as it has by default (100), so that with
200 students half of them wait to be let in.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from multiprocessing.synchronize import Barrier
from pathlib import Path
from threading import Barrier as ThreadBarrier

from trainer.storage.records import Records
from trainer.storage.sending import patiently, send

sys.path += [str(Path(__file__).parent), str(Path(__file__).parents[1])]
from bench_records import typical  # noqa: E402
from postgres_server import ADMIN_PASSWORD, PostgresServer, programs  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402
from test_storage_passes import TWO_FIVE_ONE  # noqa: E402

ATTEMPTS = 150
PASSES = 4
PROCESSES = 8


def practise(path: Path, evening: int) -> None:
    with Records.open(path) as records, records.database.writing():
        for number in range(ATTEMPTS):
            at = f"2026-03-{1 + evening:02d}T18:{number // 10:02d}:{number % 10 * 6:02d}.000Z"
            records.append(replace(typical(number), session=f"evening {evening} of {path.stem}", number=number, utc=at))
        for number in range(PASSES):
            at = f"2026-03-{1 + evening:02d}T18:{30 + number:02d}:00.000Z"
            records.append_pass(replace(TWO_FIVE_ONE, session=f"forms {evening}", number=number, utc=at))


def send_some(folder: str, students: list[int], address: str, gate: Barrier, now: str) -> list[tuple[float, int]]:
    """The seconds that each student's sending took and how many attempts were new, for the students of one process."""
    together = ThreadBarrier(len(students) + 1)

    def one(student: int) -> tuple[float, int]:
        with Records.open(Path(folder) / f"{student}.sqlite") as mine:
            together.wait()
            start = time.perf_counter()
            name = f"student%20{student}@"
            with patiently(
                lambda: Records.open(address.replace("keeper@", name), password=f"secret {student}"), 300
            ) as server:
                new = send(mine, server, now).attempts
            return time.perf_counter() - start, new

    with ThreadPoolExecutor(len(students)) as threads:
        waiting = [threads.submit(one, student) for student in students]
        gate.wait()
        together.wait()
        return [each.result() for each in waiting]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--students", type=int)
    parser.add_argument("--connections", type=int, default=100)
    add_rows(parser)
    options = parser.parse_args()
    count = options.students or (20 if options.quick else 200)
    found = programs()
    if found is None:
        sys.exit("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    os.environ["PGPASSWORD"] = ADMIN_PASSWORD
    os.environ["TMPDIR"] = str(Path.cwd())
    server = PostgresServer(found)
    try:
        server.start(connections=options.connections, durable=True)
        with tempfile.TemporaryDirectory() as folder:
            measure(server.address(), folder, count)
    finally:
        server.stop()


def measure(address: str, folder: str, count: int) -> None:
    from trainer.storage.school import STUDENT, opened

    with opened(address) as school:
        school.prepare()
        for student in range(count):
            school.add(f"student {student}", STUDENT, ["all"], password=f"secret {student}")
    groups = [list(range(count))[start::PROCESSES] for start in range(min(PROCESSES, count))]
    context = get_context("spawn")
    for evening in range(2):
        for student in range(count):
            practise(Path(folder) / f"{student}.sqlite", evening)
        with context.Manager() as manager, context.Pool(len(groups)) as pool:
            gate = manager.Barrier(len(groups))
            asked = [(folder, group, address, gate, f"2026-03-{2 + evening:02d}T06:00:00.000Z") for group in groups]
            start = time.perf_counter()
            took = [each for group in pool.starmap(send_some, asked) for each in group]
            whole_s = time.perf_counter() - start
        seconds = sorted(each for each, _ in took)
        new = sum(each for _, each in took)
        print(
            f"evening {evening + 1}: {count} students, {new} attempts new of {count * ATTEMPTS}; one sending: "
            f"p50 {seconds[count // 2]:.2f} s, p99 {seconds[count * 99 // 100]:.2f} s, longest {seconds[-1]:.2f} s; "
            f"all in {whole_s:.1f} s",
            flush=True,
        )
    lost = 0
    with Records.open(address) as keeper:
        for student in range(count):
            with Records.open(Path(folder) / f"{student}.sqlite") as mine:
                there = keeper.attempts(student=f"student {student}")
                lost += list(there) != list(mine.attempts())
                lost += list(keeper.passes(student=f"student {student}")) != list(mine.passes())
    print(f"records that differ from what was played: {lost} of {2 * count}")
    tell_row(f"{count} students send an evening at once: p99 of one", seconds[count * 99 // 100], "s", None)
    tell_row(f"{count} students send an evening at once: records that differ", lost, "", 0)


if __name__ == "__main__":
    main()
