"""How long progress takes to redraw over a long record: ``python tests/benchmarks/bench_progress.py [--quick]``.

Builds a record of 1,000,000 invented attempts (`bench_million`), or takes the one of ``--keep FILE``, opens the screen
of progress on it and presses keys. A redraw is all from the key to the finished lines of the screen: asking the store,
computing the figures, drawing every line. `--quick` builds 20,000.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from textual.pilot import Pilot

from trainer.progress import Only
from trainer.screens.app import Hand, PracticeApp, SetEntry
from trainer.screens.figure_parts import View
from trainer.screens.looking_back import ProgressScreen, beginning
from trainer.session import Session
from trainer.storage.records import Records

sys.path.insert(0, str(Path(__file__).parent))
from bench_million import build  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402

SIZES = ((80, 24), (200, 60))


def application(records: Records, now: datetime) -> PracticeApp:
    """The application with a record and nothing to play on."""

    def no_session(entry: SetEntry, hand: Hand) -> Session:
        raise ValueError("nothing is played here")

    return PracticeApp(
        sets=[SetEntry("a", "A set")],
        open_session=no_session,
        store=lambda attempt, replaces: None,
        counted=records.counted,
        passes=lambda only: list(records.passes(since=only.since or None, until=only.until or None, with_events=False)),
        now=lambda: now,
    )


async def measure(records: Records, size: tuple[int, int]) -> list[tuple[str, float, float]]:
    """(what, ms of the slowest redraw when it comes up, and of the slowest when the choice moves)."""
    now = datetime.fromisoformat(records.database.rows("SELECT MAX(utc) FROM attempts")[0][0]).astimezone(UTC)
    found = records.counted().found()
    month = Only(since=(now - timedelta(29)).date().isoformat())
    year = Only(since=beginning(now, 365))
    filters = {
        "all time": Only(),
        "last 30 days": month,
        "last 12 months": year,
        "one set": Only(sets=found.sets[:1]),
        "one piano": Only(ports=found.ports[:1]),
        "one voicing, 30 days": replace(month, voicings=(found.kinds[0][0],)),
    }
    app = application(records, now)
    rows = []
    async with app.run_test(size=size) as pilot:
        for words, only in filters.items():
            rows += [(f"{words}: {what}", *took) for what, *took in await looked_at(app, pilot, only)]
    return rows


def _moved(screen: ProgressScreen, view: View, timed: Callable[[Callable[[], object]], float]) -> float:
    """The slowest redraw of one press of an arrow: the first, or one that fills in."""
    slowest = timed(lambda: screen.action_move(1, 1))
    while view.incomplete:
        slowest = max(slowest, timed(screen.go_on))
    return slowest


async def looked_at(app: PracticeApp, pilot: Pilot[int], only: Only) -> list[tuple[str, float, float]]:
    """Every view of what is asked for, each for the first time and with its choice moved."""

    def timed(do: Callable[[], object]) -> float:
        start = time.perf_counter()
        do()
        app.screen._compositor.render_strips()
        return (time.perf_counter() - start) * 1000

    app.action_progress()
    await pilot.pause()
    screen = app.screen
    assert isinstance(screen, ProgressScreen)
    rows = []
    if only != Only():
        slowest = timed(lambda: screen._ask_for(only))
        while screen.view.incomplete:
            slowest = max(slowest, timed(screen.go_on))
        rows.append(("ask for it", slowest, 0.0))
    for index, view in enumerate(screen.views):
        first = timed(lambda at=index: screen.action_view(at))  # type: ignore[misc]
        while view.incomplete:
            first = max(first, timed(screen.go_on))
        await pilot.pause()
        moved = max(_moved(screen, view, timed) for _ in range(7))
        rows.append((view.word, first, moved))
    screen.action_view(1)
    await pilot.pause()
    rows.append(("curve of an item", timed(screen.action_curve), 0.0))
    app.back()
    await pilot.pause()
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--attempts", type=int, default=1_000_000)
    parser.add_argument("--keep", type=Path, help="a record of bench_million, built where it is not there")
    add_rows(parser)
    options = parser.parse_args()
    count = 20_000 if options.quick else options.attempts
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        path = options.keep or Path(folder) / "records.sqlite"
        if not path.exists():
            build(path, count)
        with Records.open(path) as records:
            records.bring_up_to_date()
            print(f"{records.count()} attempts")
            for size in SIZES:
                rows = asyncio.run(measure(records, size))
                print(f"\n{size[0]}x{size[1]:<30} first, ms   moving, ms")
                for words, first, moved in rows:
                    print(f"{words:<36} {first:8.1f}   {f'{moved:8.1f}' if moved else ''}")
                slowest, moved = max(rows, key=lambda row: row[1]), max(row[2] for row in rows)
                print(f"slowest: {slowest[0]}, {slowest[1]:.1f} ms; moving: {moved:.1f} ms")
                of = f"progress over {count:,} attempts, {size[0]}x{size[1]}"
                tell_row(f"{of}: the slowest view drawn for the first time", slowest[1], "ms", 100)
                tell_row(f"{of}: the slowest redraw while choosing", moved, "ms", 100)


if __name__ == "__main__":
    main()
