"""Figures as words and as lines: cells of the twelve roots, rows to choose from, bars.

All of it is pure: figures in, spans out (see `drawing`), for any width. Numbers and signs carry the meaning, colour
only repeats it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeVar

from rich.cells import cell_len

from trainer.estimates import Middle
from trainer.pitch import pretty
from trainer.progress import Figures, RootFigures, Share
from trainer.screens.drawing import Span, fitted, shown
from trainer.screens.readings import ago_words
from trainer.screens.summary import share_words, time_words

Spans = list[Span]
T = TypeVar("T")

CHOSEN: Final = "▸"
NONE: Final = "·"
NOT_KNOWN: Final = "…"
"""For what is being asked for."""

# -- words


def figures_words(each: Figures, now: datetime, *, timed: bool = True) -> str:
    """Figures as a sentence."""
    if not each.attempts:
        return "not played in what is asked for."
    times = f", of the latest {each.times}" if each.median_ms is not None else ""
    last = ago_words(each.last_utc or "", now)
    ago = "just now" if last == "now" else f"{last} ago" if last else "unknown"
    told = f"{tries_words(each.attempts)}, {each.right} right at first: {share_words(each)}. "
    time = f"{time_words(each)}{times}" if timed else NOT_KNOWN
    return f"{told}Time: {time}. Last: {ago}.".replace("  ", " ")


def tries_words(count: int) -> str:
    """
    >>> tries_words(1), tries_words(1234)
    ('1 try', '1234 tries')
    """
    return f"{count} {'try' if count == 1 else 'tries'}"


def middle_words(middle: Middle | None) -> str:
    """A median of milliseconds with its interval, in seconds: ``1.10 s (1.02–1.23)``.

    >>> middle_words(Middle(6, 1100, 1020, 1230)), middle_words(None)
    ('1.10 s (1.02–1.23)', 'not enough yet')
    """
    if middle is None:
        return "not enough yet"
    return f"{middle.median / 1000:.2f} s ({middle.low / 1000:.2f}–{middle.high / 1000:.2f})"


def squeezed(text: str, width: int) -> str:
    """Text cut to `width` cells in its middle: names of voicings and sets differ in their last word.

    >>> squeezed("m7  rootless from the third", 20), squeezed("shell", 8), squeezed("rootless", 5)
    ('m7  rootless … third', 'shell', 'root…')
    """
    if cell_len(text) <= width:
        return text
    head, _, last = text.rpartition(" ")
    room = width - cell_len(last) - 3
    if room < width // 3:
        return fitted(text, width)
    while cell_len(head) > room:
        shorter = head.rpartition(" ")[0].rstrip()
        head = shorter if shorter else fitted(head, room).rstrip("…")
    return f"{head} … {last}"


def percent(share: float | None, cells: int) -> str:
    """A share for a cell of so many columns.

    >>> percent(0.925, 6), percent(1.0, 4), percent(None, 6)
    ('92%', '100', '·')
    """
    return NONE if share is None else f"{100 * share:.0f}{'%' if cells >= 5 else ''}"


def seconds(milliseconds: float | None, cells: int) -> str:
    """A time for a cell of so many columns: hundredths where there is room.

    >>> seconds(1234.0, 8), seconds(1234.0, 6), seconds(1234.0, 3), seconds(12345.0, 3), seconds(None, 6)
    ('1.23s', '1.2s', '1.2', '12', '·')
    """
    if milliseconds is None:
        return NONE
    value = milliseconds / 1000
    unit = "s" if cells >= 5 else ""
    if value >= 9.95:
        return f"{min(value, 999):.0f}{unit}"
    return f"{value:.2f}{unit}" if cells >= 8 else f"{value:.1f}{unit}"


def _range(low: str, high: str) -> str:
    return NONE if NONE in (low, high) else f"{low}–{high}"


# -- the strip of twelve roots

_LABEL: Final = 8
_WIDE_CELL: Final = 8
"""From this width on a cell has room for a range of times."""

StripRow = tuple[str, Callable[[T, int], str], str]
"""Label, text of a cell of so many columns, role."""


def figures_strip(
    cells: Sequence[RootFigures], width: int, now: datetime, most_rows: int, *, timed: bool = True
) -> list[Spans]:
    """The twelve roots: accuracy and its interval, time and its interval, how long ago, tries; the most telling first.

    Where they are not `timed`, times are being asked for.

    >>> from datetime import UTC
    >>> from trainer.progress import AttemptTallies, roots
    >>> [len(line) for line in figures_strip(roots(AttemptTallies([])), 80, datetime(2026, 3, 1, tzinfo=UTC), 2)]
    [13, 13]
    """

    def sure(cell: RootFigures, room: int) -> str:
        return _range(percent(cell.low, 4), percent(cell.high, 4))

    def known(cell: RootFigures, text: str) -> str:
        return text if timed or not cell.attempts else NOT_KNOWN

    def time_range(cell: RootFigures, room: int) -> str:
        return known(cell, _range(seconds(cell.median_low_ms, 4), seconds(cell.median_high_ms, 4)))

    bounds: tuple[StripRow[RootFigures], ...] = (
        ("from", lambda cell, room: known(cell, seconds(cell.median_low_ms, room)), "faint"),
        ("to", lambda cell, room: known(cell, seconds(cell.median_high_ms, room)), "faint"),
    )
    wide = _cell(width) >= _WIDE_CELL
    rows: list[StripRow[RootFigures]] = [
        ("right", lambda cell, room: percent(cell.accuracy, room), "text"),
        ("time", lambda cell, room: known(cell, seconds(cell.median_ms, room)), "text"),
        ("sure, %", sure, "faint") if wide else ("at least", lambda cell, room: percent(cell.low, room), "faint"),
        *([("sure, s", time_range, "faint")] if wide else bounds),
        ("last", lambda cell, room: ago_words(cell.last_utc or "", now) or NONE, "faint"),
        ("tries", lambda cell, room: str(cell.attempts) if cell.attempts else NONE, "faint"),
    ]
    if most_rows > len(rows):
        rows.insert(1, rows.pop(2))  # with room for all, each interval stands by its figure
    return _strip([cell.root for cell in cells], cells, rows, width, most_rows)


def shares_strip(shares: dict[str, Share], width: int, most_rows: int) -> list[Spans]:
    """The twelve roots: how often a first try was missed through one cause, and how sure that is."""
    rows: list[StripRow[Share]] = [
        ("missed", lambda cell, room: percent(cell.share, room), "text"),
        ("times", lambda cell, room: str(cell.count) if cell.attempts else NONE, "text"),
        ("at least", lambda cell, room: percent(cell.low, room), "faint"),
        ("at most", lambda cell, room: percent(cell.high, room), "faint"),
        ("of", lambda cell, room: str(cell.attempts) if cell.attempts else NONE, "faint"),
    ]
    return _strip(list(shares), list(shares.values()), rows, width, most_rows)


def _cell(width: int) -> int:
    return min(_WIDE_CELL, (width - (_LABEL if width >= 12 * 5 + _LABEL else 0)) // 12)


def _strip(
    names: Sequence[str], cells: Sequence[T], rows: Sequence[StripRow[T]], width: int, most_rows: int
) -> list[Spans]:
    """Rows of twelve cells under their roots; where twelve find no room, two blocks of six."""
    cell = _cell(width)
    if cell < 4 and len(names) > 6:
        half, most = len(names) // 2, max(1, most_rows // 2)
        if most == 1:  # root and first figure share a line
            texts = [f"{pretty(name)} {rows[0][1](each, 3)}" for name, each in zip(names, cells, strict=True)]
            six = max(1, width // 6)
            return [[(f"{fitted(text, six):<{six}}", "text") for text in texts[at : at + half]] for at in (0, half)]
        return [
            line
            for part in (slice(0, half), slice(half, None))
            for line in _strip(names[part], cells[part], rows, width, most)
        ]
    if len(names) == 6:
        cell = max(1, min(_WIDE_CELL, width // 6))
    label = _LABEL if cell >= 5 and width >= len(names) * cell + _LABEL else 0
    lines: list[Spans] = [[(" " * label, "faint"), *((f"{pretty(name):^{cell}}", "strong") for name in names)]]
    for name, text_of, role in rows[: max(0, most_rows - 1)]:
        texts = [f"{fitted(text_of(each, cell), cell):^{cell}}" for each in cells]
        lines.append([(f"{name:<{label}}"[:label], "faint"), *((text, role) for text in texts)])
    return lines


# -- rows to choose from


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a list: a name and its columns; a heading has none and cannot be chosen."""

    name: str
    columns: tuple[str, ...] = ()
    heading: bool = False


def list_lines(
    rows: Sequence[Row], chosen: int, top: int, width: int, height: int, widths: Sequence[int]
) -> list[Spans]:
    """The rows from `top` on: name, then columns of these widths, as many as leave the name a third of the line."""
    kept, name_room = _columns(width, widths)
    lines: list[Spans] = []
    for index, row in enumerate(rows[top : top + height], top):
        if row.heading:
            lines.append([(f"  {row.name}", "faint")])
            continue
        sign, role = (CHOSEN, "mark") if index == chosen else (" ", "text")
        name = padded(squeezed(shown(row.name), name_room), name_room)
        columns = "".join(
            f"{fitted(text, each):>{each}}" for text, each in zip(row.columns[:kept], widths[:kept], strict=True)
        )
        lines.append([(f"{sign} {name}", role), (columns, role if index == chosen else "text")])
    return lines


def heading_line(headings: Sequence[str], width: int, widths: Sequence[int]) -> Spans:
    """What stands over the columns of `list_lines`."""
    kept, name_room = _columns(width, widths)
    columns = "".join(
        f"{fitted(text, each):>{each}}" for text, each in zip(headings[:kept], widths[:kept], strict=True)
    )
    return [(" " * (name_room + 2), "faint"), (columns, "faint")]


def _columns(width: int, widths: Sequence[int]) -> tuple[int, int]:
    """How many columns are kept, and the room for names beside them."""
    room = width - 2
    kept = 0
    while kept < len(widths) and room - widths[kept] >= max(10, width // 3):
        room -= widths[kept]
        kept += 1
    return kept, max(1, room)


def padded(text: str, width: int) -> str:
    """Text filled up with spaces to so many columns of the terminal.

    >>> padded("和音", 6) + "|"
    '和音  |'
    """
    return text + " " * max(0, width - cell_len(text))


def window(count: int, chosen: int, top: int, height: int) -> int:
    """The first row shown, so that the chosen one is among `height` rows and no more moves than must.

    >>> window(10, 7, 0, 5), window(10, 2, 4, 5), window(3, 2, 2, 5)
    (3, 2, 0)
    """
    top = max(0, min(top, count - height))
    return min(chosen, max(top, chosen - height + 1))


# -- bars

BAR_SIGNS: Final = ("█", "▒", "░")


def bar(parts: Iterable[float], whole: float, width: int) -> str:
    """A bar of up to three parts, each with a sign of its own; `whole` would fill `width` columns.

    >>> bar([2, 1], 4, 8), bar([], 0, 8), bar([0.1], 10, 8)
    ('████▒▒', '', '█')
    """
    if whole <= 0 or width <= 0:
        return ""
    drawn = ""
    total = 0.0
    for sign, part in zip(BAR_SIGNS, parts, strict=False):
        total += part
        drawn += sign * (min(width, round(total / whole * width)) - len(drawn))
    return drawn if drawn or total <= 0 else BAR_SIGNS[0]
