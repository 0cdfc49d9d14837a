"""How many slots of a take are assigned as they were generated: 10,000 takes of invented players with a known truth.

Takes come from `tests/simulated_takes.py`: six forms in twelve keys, eight rhythms of one and two hands, 60 to 240
beats a minute, straight and swung, with jitter, drift up to 5 %, chords missed, wrong, too many, struck twice, late,
rolled, held over and brushed; and players who stop short and go on, which is more than the bar asks. Beside it stands
what the nearest stroke in time would give, for comparison.

Bar: at least 99 % of all slots assigned as generated. Times are processor time on the machine at hand: of the
alignment of a whole take, and of an event of a take that is followed live (`Following`); and how much of what it had
told by the end is what the alignment says.
Run: PYTHONPATH=. python tests/benchmarks/bench_timing.py [--quick] [--takes N] [--seed N]
"""

from __future__ import annotations

import argparse
import gc
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from time import thread_time_ns
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from rows import add_rows, tell_row
from simulated_takes import Score, Take, any_take, due_ms, scores

from trainer.capture import Kind
from trainer.timing import Following, align

BAR = 0.99
LIVE_EVERY = 10
SPLIT = 46
TEMPI = ((60, 90), (90, 130), (130, 180), (180, 241))


class Row(NamedTuple):
    """A slot of a take, without the take: a heap of takes would make the collector pause into the times."""

    kind: str
    assigned: bool
    graded: bool | None
    drift: str
    tempo: str
    hands: str


def rows_of(take: Take, found: Sequence[Score]) -> list[Row]:
    low, high = next((low, high) for low, high in TEMPI if low <= take.grid.tempo_bpm < high)
    hands = "two" if any(slot.part == "bass" for slot in take.slots) else "one"
    return [
        Row(score.kind, score.assigned, score.graded, take.player.drift, f"{low:3} to {high - 1}", hands)
        for score in found
    ]


def live(take: Take, spent_ns: list[int]) -> Following:
    """A take followed event by event, its deadlines served."""
    following = Following(take.slots, take.grid)

    def timed(what: Callable[[], object]) -> None:
        begun = thread_time_ns()
        what()
        spent_ns.append(thread_time_ns() - begun)

    gc.disable()  # the program freezes what it has loaded; this bench holds a heap of its own
    for event in take.events:
        while (due := following.deadline_ns) is not None and due <= event.time_ns:
            timed(lambda due=due: following.tick(due))  # type: ignore[misc]
        timed(lambda event=event: following.hear(event))  # type: ignore[misc]
    gc.enable()
    while (due := following.deadline_ns) is not None:
        following.tick(due)
    return following


def nearest_in_time(take: Take) -> list[bool]:
    """What a rule without alignment gives: each slot takes the nearest stroke within half its length, the hands split
    at B flat 2."""
    hands: dict[bool, list[float]] = {False: [], True: []}
    for event in take.events:
        if event.kind is Kind.DOWN:
            hands[event.key < SPLIT].append((event.time_ns - take.grid.start_ns) / 1e6)
    right = []
    for slot, truth in zip(take.slots, take.truth, strict=True):
        downs = hands[slot.part == "bass"]
        due = due_ms(slot, take.grid)
        reach = float(slot.beats) * take.grid.beat_ns / 2e6
        near = min(downs, key=lambda down: abs(down - due), default=None)
        answered = near is not None and abs(near - due) <= reach
        if truth is None or near is None or not answered:
            right.append(answered == (truth is not None))
        else:
            right.append(truth.first_ms - 1 <= near <= truth.last_ms + 1)
    return right


def share(found: Sequence[bool]) -> str:
    return f"{len(found):>9,} {100 * sum(found) / len(found):9.2f} %" if found else f"{0:>9}"


def table(title: str, rows: dict[str, list[bool]]) -> None:
    print(f"\n{title:<36}{'slots':>9} {'as generated':>11}")
    for name, found in rows.items():
        if found:
            print(f"  {name:<34}{share(found)}")


def percentile(ordered: Sequence[int], percent: float) -> float:
    return ordered[min(len(ordered) - 1, int(percent / 100 * len(ordered)))] / 1000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="300 takes")
    parser.add_argument("--takes", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    add_rows(parser)
    options = parser.parse_args()
    takes = 300 if options.quick else options.takes
    found: list[Row] = []
    nearest: list[bool] = []
    take_ns: list[int] = []
    event_ns: list[int] = []
    agreed: dict[bool, list[bool]] = {False: [], True: []}
    extra: list[bool] = []
    slots: Counter[str] = Counter()
    for number in range(takes):
        take = any_take(Random(f"{options.seed} {number}"))
        begun = thread_time_ns()
        aligned = align(take.events, take.slots, take.grid)
        take_ns.append(thread_time_ns() - begun)
        found += rows_of(take, scores(take, aligned))
        nearest += nearest_in_time(take)
        extra.append(len(aligned.extra) == take.extra)
        slots["all"] += len(take.slots)
        if number % LIVE_EVERY == 0:
            following = live(take, event_ns)
            stopped = take.player.drift == "hesitating"
            agreed[stopped] += [told == meant for told, meant in zip(following.answers, aligned.answers, strict=True)]
    kinds = sorted({row.kind for row in found})
    table("assigned, by what was played", {kind: [row.assigned for row in found if row.kind == kind] for kind in kinds})
    graded = {kind: [row.graded for row in found if row.kind == kind and row.graded is not None] for kind in kinds}
    table("graded, keys and verdict", graded)
    for title, name in (("drift", "drift"), ("beats a minute", "tempo"), ("hands", "hands")):
        values = sorted({getattr(row, name) for row in found})
        table(f"assigned, by {title}", {v: [row.assigned for row in found if getattr(row, name) == v] for v in values})
    whole = [row.assigned for row in found]
    table("whole", {"the nearest stroke in time": nearest, "the alignment": whole})
    print(f"\ntakes with as many gestures too many as generated: {100 * sum(extra) / len(extra):.1f} %")
    take_ns.sort()
    event_ns.sort()
    print(
        f"alignment of a take of {slots['all'] / takes:.0f} slots: median {percentile(take_ns, 50) / 1000:.1f} ms, ",
        end="",
    )
    print(f"99 % {percentile(take_ns, 99) / 1000:.1f} ms")
    print(f"an event live: median {percentile(event_ns, 50):.0f} us, 99 % {percentile(event_ns, 99):.0f} us, ", end="")
    print(f"at most {event_ns[-1] / 1000:.0f} us")
    for stopped, same in agreed.items():
        who = "players who stop short" if stopped else "all others"
        print(f"told live as it came out, {who}: {100 * sum(same) / len(same):.2f} % of {len(same):,} slots")
    reached = sum(whole) / len(whole)
    tell_row("slots of a take assigned as played", 100 * reached, "%", 100 * BAR, more_is_better=True)
    by_time = 100 * sum(nearest) / len(nearest)
    tell_row(
        "slots of a take assigned as played, beside a plain rule",
        100 * reached,
        "%",
        by_time,
        "the nearest stroke in time",
        more_is_better=True,
    )
    tell_row("alignment of a whole take, median", percentile(take_ns, 50) / 1000, "ms", None)
    print(
        f"\nassigned as generated: {100 * reached:.3f} % of {len(whole):,} slots in {takes:,} takes; "
        f"bar {100 * BAR:.0f} %"
    )
    return 0 if reached >= BAR else 1


if __name__ == "__main__":
    sys.exit(main())
