"""How long the cheapest path takes: `python tests/benchmarks/bench_leading.py`. Prints milliseconds; checks nothing.

Aims: a 12-bar form in twelve keys under 50 ms, 10,000 chords under 2 s, twice the chords in twice the time.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from statistics import median
from time import perf_counter_ns

from trainer.charts import form_chart, in_twelve_keys, lead_chart
from trainer.chords import parse
from trainer.leading import Path, Plan, Slot, Weights, lead
from trainer.leading.choices import _candidates
from trainer.pitch import TWELVE_ROOTS, Note, respelled

BLUES = "C7 F7 C7 Gm7 C7 F7 F#dim7 C7 Em7 A7 Dm7 G7 C7 A7 Dm7 G7".split()
"""The jazz form of the blues, one slot a chord."""

ALL_WEIGHTS = Weights(top_leap=1, centre=0.1, repeated_form=1, parallel=0.5, contrary=0.25)


def milliseconds(work: Callable[[], object], times: int) -> float:
    spent = []
    for _ in range(times):
        start = perf_counter_ns()
        work()
        spent.append((perf_counter_ns() - start) / 1e6)
    return median(spent)


def blues_in_twelve_keys() -> list[list[Slot]]:
    forms = []
    for root in TWELVE_ROOTS:
        chords = [parse(symbol) for symbol in BLUES]
        roots = [respelled(Note(chord.root.fifths + root.fifths)) for chord in chords if chord.root]
        forms.append([Slot(chord.on(root)) for chord, root in zip(chords, roots, strict=True)])
    return forms


def lead_all(forms: list[list[Slot]], plan: Plan, weights: Weights, loop: bool) -> list[Path]:
    return [lead(form, plan, weights, loop=loop) for form in forms]


def main() -> None:
    forms = blues_in_twelve_keys()
    known = _candidates

    def cold(plan: Plan, weights: Weights, loop: bool) -> None:
        known.cache_clear()
        lead_all(forms, plan, weights, loop)

    plans = {
        "both rootless forms": Plan(),
        "four-note rootless, 11 forms": Plan(("four-note rootless",)),
        "drop 2, 4 forms": Plan(("drop 2",)),
    }
    for name, plan in plans.items():
        for weights, told in ((Weights(), "motion"), (ALL_WEIGHTS, "all weights")):
            lead_all(forms, plan, weights, False)
            for loop in (False, True):
                warm = milliseconds(lambda: lead_all(forms, plan, weights, loop), 9)  # noqa: B023
                first = milliseconds(lambda: cold(plan, weights, loop), 5)  # noqa: B023
                kind = "loop" if loop else "open"
                print(f"12 bars x 12 keys, {name}, {told}, {kind}: {warm:.1f} ms, candidates made anew {first:.1f} ms")
    blues = form_chart("jazz blues")
    whole = milliseconds(lambda: [lead_chart(chart, loop=True) for chart in in_twelve_keys(blues)], 9)
    print(f"the form by degree put into 12 keys, unrolled and led as a loop: {whole:.1f} ms")
    chance = Random(1)
    every = [
        Slot(parse(root.name + kind))
        for root in TWELVE_ROOTS
        for kind in ("m7", "7", "maj7", "m7b5", "7(b9)", "6", "dim7", "7alt")
    ]
    for count in (2_500, 5_000, 10_000):
        slots = chance.choices(every, k=count)
        for name, plan in plans.items():
            for loop in (False, True):
                known.cache_clear()
                spent = milliseconds(lambda: lead(slots, plan, loop=loop), 3)  # noqa: B023
                print(f"{count} random chords, {name}, {'loop' if loop else 'open'}: {spent:.0f} ms")


if __name__ == "__main__":
    main()
