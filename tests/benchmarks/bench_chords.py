"""Reading speed beside two libraries, in one run: python tests/benchmarks/bench_chords.py

Every symbol is read anew with its spelled notes; nothing is kept from one reading of a text to the next. Times are the
best of many rounds, in microseconds of processor time a symbol; the ratio is what carries from machine to machine.
The common symbols are those both libraries know; the rare ones show the reading without the row of common qualities.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence

from music21 import harmony
from pychord import Chord as PychordChord
from rows import add_rows, tell_row

from trainer.chords import parse

ROOTS = "C F Bb Eb Ab Db Gb B E A D G".split()
COMMON = [root + text for root in ROOTS for text in "m7 7 maj7 m7b5 dim7 6 m6 7b9 9 13 sus4 7sus4 aug m9".split()]
RARE = [
    *(root + text for root in ROOTS for text in ("7(b9,#11,13)", "79b13b", "j7911#", "13sus4(b9)", "-7/F", "m11(b5)")),
    *(root + text for root in ROOTS for text in (":maj7(9)/3", ":sus4(b7,9)", "7 add b9", "+7b9", "°7(add maj7)")),
]


def _notes(symbol: str) -> object:
    return parse(symbol).notes


def _pychord(symbol: str) -> object:
    return PychordChord(symbol).components()


def _music21(symbol: str) -> object:
    return harmony.ChordSymbol(symbol.replace("b", "-", 1) if symbol[1:2] == "b" else symbol).pitches


def best_us(read: Callable[[str], object], symbols: Sequence[str], rounds: int) -> float:
    """Microseconds a symbol in the best round."""
    best = float("inf")
    for _ in range(rounds):
        start_ns = time.process_time_ns()
        for symbol in symbols:
            read(symbol)
        best = min(best, (time.process_time_ns() - start_ns) / len(symbols) / 1000)
    return best


def slowest_us(symbols: Sequence[str], rounds: int) -> tuple[float, str]:
    """The slowest symbol, each in its own best round of 200."""
    return max((best_us(_notes, [symbol] * 200, rounds), symbol) for symbol in symbols)


def main(out: Callable[[str], object] = sys.stdout.write) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer rounds")
    add_rows(parser)
    rounds = 20 if parser.parse_args().quick else 100
    ours, theirs = best_us(_notes, COMMON, rounds), best_us(_pychord, COMMON, 15)
    sample = COMMON[::40]
    score = best_us(_music21, sample, 3)
    out(f"common  {len(COMMON)} symbols   ours {ours:7.2f} us\n")
    out(f"                         pychord {theirs:7.2f} us   {theirs / ours:6.1f} times ours\n")
    out(f"        {len(sample)} of them       music21 {score:7.2f} us   {score / ours:6.1f} times ours\n")
    rare = best_us(_notes, RARE, rounds)
    out(f"rare    {len(RARE)} symbols   ours {rare:7.2f} us\n")
    tell_row("a common chord symbol read", ours, "µs", theirs, "pychord")
    tell_row("a common chord symbol read, beside a sample", ours, "µs", score, "music21")
    tell_row("a rare chord symbol read", rare, "µs", 10)
    out(
        "slowest on C     {:7.2f} us   {}\n".format(
            *slowest_us([symbol for symbol in [*COMMON, *RARE] if symbol[0] == "C"], 40)
        )
    )


if __name__ == "__main__":
    main()
