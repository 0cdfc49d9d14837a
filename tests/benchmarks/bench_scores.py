"""Lead sheets in and out, and broken ones by the thousand: `python tests/benchmarks/bench_scores.py [--quick]`.

Prints how long a lead sheet takes to read and to write, and of scores broken on purpose how many were read, how many
refused as documented, how many anything else, with the longest time and the highest memory. Checks nothing.
"""

from __future__ import annotations

import argparse
import sys
import tracemalloc
from collections import Counter
from pathlib import Path
from random import Random
from statistics import median
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parent.parent))

from mutated_scores import GOOD, SCORES, changed_text, mutated  # noqa: E402
from rows import add_rows, tell_row  # noqa: E402

from trainer.charts import ChartError, form_chart  # noqa: E402
from trainer.charts.score_files import compressed  # noqa: E402
from trainer.charts.score_reading import read_score  # noqa: E402
from trainer.charts.score_writing import write_score  # noqa: E402


def milliseconds(work: object, times: int) -> float:
    spent = []
    for _ in range(times):
        started = perf_counter()
        work()  # type: ignore[operator]
        spent.append((perf_counter() - started) * 1e3)
    return median(spent)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer broken scores")
    add_rows(parser)
    count = 1_000 if parser.parse_args().quick else 20_000
    chart = form_chart("AABA, dominants in the bridge")
    score = write_score(chart)
    packed = compressed(score)
    print(f"{'a 32-bar lead sheet':40} {'ms':>8}")
    for name, work in (
        ("written", lambda: write_score(chart)),
        ("read", lambda: read_score(score.encode())),
        ("read, compressed", lambda: read_score(packed)),
    ):
        took_ms = milliseconds(work, 20)
        print(f"{name:40} {took_ms:8.1f}")
        tell_row(f"a 32-bar lead sheet {name}", took_ms, "ms", None)
    chance, outcomes, slowest = Random(7), Counter[str](), 0.0
    texts = [path.read_text(encoding="utf-8") for path in sorted(SCORES.glob("*.musicxml"))] + [GOOD]
    tracemalloc.start()
    peak = 0
    for at in range(count):
        data = mutated(chance) if at % 2 else changed_text(chance, chance.choice(texts)).encode()
        tracemalloc.reset_peak()
        started = perf_counter()
        try:
            read_score(data)
            outcomes["read"] += 1
        except ChartError:
            outcomes["refused"] += 1
        except Exception as error:  # noqa: BLE001  counted, whatever it is
            outcomes[type(error).__name__] += 1
        slowest = max(slowest, perf_counter() - started)
        peak = max(peak, tracemalloc.get_traced_memory()[1])
    other = count - outcomes["read"] - outcomes["refused"]
    tell_row(f"of {count:,} broken scores neither read nor refused", other, "", 0)
    told = ", ".join(f"{name} {number:,}" for name, number in outcomes.most_common())
    print(
        f"\n{count:,} broken scores: {told}; slowest {slowest * 1e3:.0f} ms (traced), most memory {peak / 1e6:.1f} MB"
    )


if __name__ == "__main__":
    main()
