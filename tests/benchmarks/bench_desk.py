"""The teacher's desk over a whole school: ``python tests/benchmarks/bench_desk.py [--quick] [--keep FOLDER]``.

Builds a teacher's record of 30 students, 50 assignments and 5,000,000 invented attempts (with ``--quick`` 5 assignments
and 60,000), works out every standing once, as happens while results come in, and then measures what the teacher waits
for: the desk, the desk after one student handed in more, and a page of figures of one student.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from trainer.commands.assigning import GIVEN, class_views
from trainer.commands.store import Store
from trainer.drills.assignments import Assignment, read_assignment
from trainer.progress import tables
from trainer.storage.records import Records
from trainer.storage.records.log import ATTEMPT
from trainer.storage.records.rows import ATTEMPT_COLUMNS, attempt_row

sys.path.insert(0, str(Path(__file__).parent))
from bench_records import typical  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402

STUDENTS = [f"Student {number:02d}" for number in range(30)]
QUALITIES = ("m7", "7", "maj7", "m7b5", "7alt")
FAMILIES = ("rootless from the third", "rootless from the seventh")


def task(number: int) -> tuple[str, Assignment]:
    quality, family = QUALITIES[number % 5], FAMILIES[number // 5 % 2]
    text = (
        f'assignment = "week-{number:02d}"\ntitle = "Week {number}"\n'
        f'set = """\ntitle = "Week {number}"\n[[drill]]\nchord = "{quality}"\nvoicing = "{family}"\n"""\n'
        "[done]\ntries = 4\naccuracy_percent = 75\n"
    )
    found, faults = read_assignment(text, "bench")
    assert found is not None, faults
    return text, found


def build(path: Path, weeks: int, each: int) -> None:
    """`each` attempts of every student for every assignment, a third of them wrong."""
    start = time.perf_counter()
    texts = [task(number) for number in range(weeks)]
    places = {name: index for index, name in enumerate(ATTEMPT_COLUMNS)}
    with Records.open(path) as records:
        records._connection.execute("PRAGMA synchronous = OFF")
        with records.database.writing():
            for text, assignment in texts:
                records.keep_assignment(assignment.mark, text, "2026-01-01T08:00:00.000Z", GIVEN)
            columns = ", ".join(ATTEMPT_COLUMNS)
            marks = ", ".join("?" * len(ATTEMPT_COLUMNS))

            def rows() -> object:
                sample = typical(1)
                wrong = replace(typical(0), outcome="wrong", tries=typical(0).tries[:1])
                for week, (_, assignment) in enumerate(texts):
                    drill = assignment.content.drills[0]
                    cells = []
                    for root in dict.fromkeys(root for _, root in assignment.places):
                        shape = {"quality": drill.quality.text, "voicing": drill.recipe.name, "root": root.name}
                        common = {"set_title": assignment.content.title, "assignment": assignment.mark, "events": ()}
                        cells.append(
                            [list(attempt_row(replace(one, **shape, **common), "")) for one in (sample, sample, wrong)]
                        )
                    for student in STUDENTS:
                        for number in range(each):
                            row = cells[number % 12][number // 12 % 3]
                            minute = number % 1440
                            row[places["student"]] = student
                            row[places["session"]] = f"{week:02d} {student}"
                            row[places["number"]] = number
                            day = f"2026-{1 + week % 12:02d}-{1 + number // 1440:02d}"
                            row[places["utc"]] = f"{day}T{minute // 60:02d}:{minute % 60:02d}:00.000Z"
                            yield row

            records.database.change_many(f"INSERT INTO attempts ({columns}) VALUES ({marks})", rows())  # type: ignore[arg-type]
            records.database.change(
                "INSERT INTO pending (student, session, number, kind) "
                f"SELECT student, session, number, '{ATTEMPT}' FROM attempts"
            )
            for student in STUDENTS:
                records.database.change("INSERT INTO results VALUES (?, '', '', '')", (student,))
        print(f"built {len(STUDENTS) * weeks * each} attempts in {time.perf_counter() - start:.0f} s", flush=True)
        start = time.perf_counter()
        records.rebuild_summaries()
        print(f"summed them in {time.perf_counter() - start:.0f} s", flush=True)


def timed_ms(what: Callable[[], object]) -> float:
    start = time.perf_counter()
    what()
    return (time.perf_counter() - start) * 1000


def measure(weeks: int, each: int) -> None:
    store = Store(None)
    count = len(STUDENTS) * weeks * each
    print(f"every standing worked out once: {timed_ms(lambda: class_views(store)) / 1000:.0f} s", flush=True)
    desk_ms = sorted(timed_ms(lambda: class_views(store)) for _ in range(3))[1]
    print(f"the desk: {desk_ms:.0f} ms")
    _, assignment = task(1)
    last = next(store.records.attempts(student=STUDENTS[3], assignment=assignment.mark))
    more = [replace(last, session="new", number=number, utc="2027-01-01T10:00:00.000Z") for number in range(12)]
    store.records.append_results(STUDENTS[3], assignment.mark, "new", "2027-01-01T11:00:00.000Z", more)
    after_ms = timed_ms(lambda: class_views(store))
    print(f"the desk after one student handed in more: {after_ms:.0f} ms")
    counted = store.records.counted(STUDENTS[7])
    page_ms = timed_ms(lambda: (tables.roots(counted), tables.mistakes(counted), tables.standing_table(counted)))
    print(f"the figures of one student: {page_ms:.0f} ms")
    store.close()
    tell_row(f"the desk: 30 students, {weeks} assignments, {count:,} attempts", desk_ms, "ms", 1000)
    tell_row("the desk, after one student handed in more", after_ms, "ms", 1000)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--keep", type=Path)
    add_rows(parser)
    options = parser.parse_args()
    weeks, each = (5, 400) if options.quick else (50, 3334)
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        home = options.keep or Path(folder)
        home.mkdir(exist_ok=True)
        os.environ["TRAINER_HOME"] = str(home)
        if not (home / "records.sqlite").exists():
            build(home / "records.sqlite", weeks, each)
        measure(weeks, each)


if __name__ == "__main__":
    main()
