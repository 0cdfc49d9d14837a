"""Rows of the table of figures: how a benchmark says in one line what came out, and what that stands beside.

A benchmark that is given `--rows` prints, among its other lines, rows of the form

    | name | value | bar or reference | ratio |

and `bench_all.py` gathers them. A ratio over 1 is better than what stands beside it, whichever way is better.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import Final

OPTION: Final = "--rows"


def add_rows(parser: argparse.ArgumentParser) -> None:
    """Let a benchmark take `--rows`."""
    parser.add_argument(OPTION, action="store_true", help="also print rows for bench_all.py")


def row_of(
    name: str, value: float, unit: str, beside: float | None, of: str = "bar", more_is_better: bool = False
) -> str:
    """A row; `beside` is the bar, or the figure of what is called `of`, in the same unit; None where there is none.

    >>> row_of("a take", 4.0, "ms", 10.0)
    '| a take | 4 ms | 10 ms (bar) | 2.5 |'
    >>> row_of("named", 99.5, "%", 98.0, more_is_better=True)
    '| named | 99.5 % | 98 % (bar) | 1.02 |'
    >>> row_of("lost", 0, "", 0)
    '| lost | 0 | 0 (bar) | met |'
    """
    told = f"{_short(value)} {unit}".strip()
    if beside is None:
        return f"| {name} | {told} | – | – |"
    above, below = (value, beside) if more_is_better else (beside, value)
    # Nothing is no ratio: beside a bar of 0 it is met or it is not.
    ratio = _short(above / below) if above and below else "met" if above >= below else "missed"
    return f"| {name} | {told} | {f'{_short(beside)} {unit}'.strip()} ({of}) | {ratio} |"


def tell_row(
    name: str, value: float, unit: str, beside: float | None, of: str = "bar", more_is_better: bool = False
) -> None:
    """Print a row where rows are asked for."""
    if OPTION in sys.argv:
        print(row_of(name, value, unit, beside, of, more_is_better), flush=True)


def rows_in(output: str) -> list[Sequence[str]]:
    """The rows among a benchmark's lines, as their four cells.

    >>> rows_in("so and so\\n| a take | 4 ms | 10 ms (bar) | 2.5 |\\n")
    [('a take', '4 ms', '10 ms (bar)', '2.5')]
    """
    found = []
    for line in output.splitlines():
        cells = tuple(cell.strip() for cell in line.strip().strip("|").split("|"))
        if line.startswith("| ") and line.rstrip().endswith(" |") and len(cells) == 4:
            found.append(cells)
    return found


def _short(value: float) -> str:
    """Three figures that count, without a power of ten.

    >>> _short(0.01234), _short(1234.5), _short(99.96), _short(3)
    ('0.0123', '1,234', '100', '3')
    """
    return f"{value:,.0f}" if abs(value) >= 100 else f"{float(f'{value:.3g}'):g}"
