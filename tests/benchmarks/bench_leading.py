"""How long the cheapest path takes: `python tests/benchmarks/bench_leading.py [--quick]`. Checks nothing.

Aims: a 12-bar form in twelve keys, nothing known before, under 50 ms for every family of voicings; 10,000 chords under
2,000 ms; twice the chords in twice the time. Milliseconds of the processor's time, so that other programs do not count:
the median of several runs. "And others" also asks of every chord what each other voicing would cost (`--why`).
"""

from __future__ import annotations

import argparse
import gc
from collections.abc import Callable
from itertools import count
from pathlib import Path as FilePath
from random import Random
from statistics import median
from time import process_time_ns

from rows import add_rows, tell_row

from trainer.charts import form_chart, in_twelve_keys, lead_chart, read_chart
from trainer.chords import Chord, Quality, parse
from trainer.leading import Path, Plan, Slot, Weights, lead
from trainer.leading.choices import _candidates, _forms
from trainer.leading.paths import _costs_of
from trainer.pitch import TWELVE_ROOTS, Note, respelled
from trainer.voicings import families, recipes_for, under

BLUES = "C7 F7 C7 Gm7 C7 F7 F#dim7 C7 Em7 A7 Dm7 G7 C7 A7 Dm7 G7".split()
"""The jazz form of the blues, one slot a chord."""

ALL_WEIGHTS = Weights(top_leap=1, centre=0.1, repeated_form=1, parallel=0.5, contrary=0.25)
DEMO = FilePath(__file__).parent.parent.parent / "drills" / "demo-the-kettle-takes-its-time.chart"
KINDS = ("m7", "7", "maj7", "m7b5", "7(b9)", "6", "dim7", "7alt")


def milliseconds(work: Callable[[], object], times: int) -> float:
    spent = []
    for _ in range(times):
        gc.collect()
        start = process_time_ns()
        work()
        spent.append((process_time_ns() - start) / 1e6)
    return median(spent)


def forget() -> None:
    """Nothing is known any more of candidates and of what moves cost."""
    for known in (_candidates, _forms, _costs_of, under):
        known.cache_clear()


def blues_in_twelve_keys(family: str = "") -> list[list[Slot]]:
    """The form in each key; a chord that a family has no form for takes the next quality that it has one for."""
    chords = [parse(symbol) for symbol in BLUES]
    if family:
        others = [
            parse(f"C{kind}") for kind in (*KINDS, "m6", "mmaj7", "7sus4", "6/9", "maj7(#11)", "5", "", "m", "dim")
        ]
        fitting = [chord.quality for chord in others if _has(family, chord.quality)]
        turn = count()
        chords = [
            chord if _has(family, chord.quality) else Chord(chord.root, fitting[next(turn) % len(fitting)])
            for chord in chords
        ]
    forms = []
    for root in TWELVE_ROOTS:
        roots = [respelled(Note(chord.root.fifths + root.fifths)) for chord in chords if chord.root]
        forms.append([Slot(chord.on(root)) for chord, root in zip(chords, roots, strict=True)])
    return forms


def _has(family: str, quality: Quality) -> bool:
    return any(form.family == family for form in recipes_for(quality))


def lead_all(forms: list[list[Slot]], plan: Plan, weights: Weights, loop: bool) -> list[Path]:
    return [lead(form, plan, weights, loop=loop) for form in forms]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="three families, fewer chords")
    add_rows(parser)
    quick = parser.parse_args().quick

    def cold(forms: list[list[Slot]], plan: Plan, weights: Weights, others: bool = False) -> None:
        forget()
        for path in lead_all(forms, plan, weights, True):
            for station in path.stations if others else ():
                _ = station.extra_costs

    plans = {"both rootless forms": Plan()}
    plans |= {family: Plan((family,)) for family in (("drop 2",) if quick else families())}
    plans["four-note rootless, every turn"] = Plan(("four-note rootless",), inversions=True)
    print(f"{'12 bars x 12 keys, ms':32}{'candidates':>10}", end="")
    for head in ("known, open", "known, loop", "cold, loop", "all weights", "and others"):
        print(f"{head:>13}", end="")
    print()
    for name, plan in plans.items():
        forms = blues_in_twelve_keys(name if name in families() else "")
        paths = lead_all(forms, plan, Weights(), False)
        most = max(len(station.candidates.placements) for path in paths for station in path.stations)
        figures = [
            milliseconds(lambda: lead_all(forms, plan, Weights(), False), 5),  # noqa: B023
            milliseconds(lambda: lead_all(forms, plan, Weights(), True), 5),  # noqa: B023
            milliseconds(lambda: cold(forms, plan, Weights()), 5),  # noqa: B023
            milliseconds(lambda: cold(forms, plan, ALL_WEIGHTS), 5),  # noqa: B023
            milliseconds(lambda: cold(forms, plan, ALL_WEIGHTS, True), 5),  # noqa: B023
        ]
        tell_row(f"12 bars in 12 keys led as a loop, cold: {name}", figures[2], "ms", 50)
        print(f"{name:32}{most:10}" + "".join(f"{figure:13.1f}" for figure in figures))
    tune = in_twelve_keys(read_chart(DEMO.read_text(encoding="utf-8")))

    def under_melody() -> None:
        forget()
        for chart in tune:
            lead_chart(chart)

    print(f"\nthe demo tune under its melody in 12 keys, cold: {milliseconds(under_melody, 5):.1f} ms")
    blues = form_chart("jazz blues")
    whole = milliseconds(lambda: [lead_chart(chart, loop=True) for chart in in_twelve_keys(blues)], 9)
    print(f"the form by degree put into 12 keys, unrolled and led as a loop: {whole:.1f} ms")
    chance = Random(1)
    every = [Slot(parse(root.name + kind)) for root in TWELVE_ROOTS for kind in KINDS]
    counts = (1_000, 2_000) if quick else (2_500, 5_000, 10_000)
    print(
        "\nrandom chords, cold, ms         "
        + "".join(f"{f'{number:,} {way}':>14}" for number in counts for way in ("open", "loop"))
    )
    for name in ("both rootless forms", "four-note rootless", "drop 2", "drop 2 and 4", "shell"):
        plan = plans.get(name) or Plan((name,))
        row = ""
        for number in counts:
            slots = chance.choices(every, k=number)
            for loop in (False, True):

                def long() -> None:
                    forget()
                    lead(slots, plan, loop=loop)  # noqa: B023

                took_ms = milliseconds(long, 3)
                row += f"{took_ms:14.0f}"
                if loop and number == counts[-1]:
                    tell_row(f"{number:,} chords led as a loop, cold: {name}", took_ms, "ms", 2000 * number / 10_000)
        print(f"{name:32}{row}")


if __name__ == "__main__":
    main()
