"""A chart as text that reads back as the same chart: four bars a line, a new line at each section."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Final

from trainer.charts.values import FOUR_FOUR, Bar, Chart, ChartChord
from trainer.pitch import spelled_key

BARS_A_LINE: Final = 4


def chord_text(one: ChartChord) -> str:
    """As it was written: by degree or as a symbol, in house style."""
    return one.chord.symbol if one.degree is None else one.degree.symbol


def _bar_text(bar: Bar, time: str) -> str:
    words = [",".join(map(str, bar.endings)) + "."] if bar.endings else []
    words += [time] if time else []
    words += [] if bar.key is None else [f"key:{bar.key}"]
    count = len(bar.chords)
    if bar.sign:
        words.append("%")
    elif bar.beats % count == 0 and all(one.beats == Fraction(bar.beats, count) for one in bar.chords):
        words += [chord_text(one) for one in bar.chords]
    else:
        marks = lcm(*(one.beats.denominator for one in bar.chords))
        for one in bar.chords:
            words += [chord_text(one), *["/"] * (int(one.beats * marks) - 1)]
    return " ".join(words)


def _melody_text(bar: Bar) -> str:
    """The melody in as few equal shares as it can be written."""
    if not bar.melody:
        return "."
    parts = 1
    for note in bar.melody:
        for beats in (note.beat - 1, note.beats):
            parts = lcm(parts, (beats / bar.beats).denominator)
    words = ["."] * parts
    for note in bar.melody:
        first = int((note.beat - 1) * parts / bar.beats)
        last = int((note.beat - 1 + note.beats) * parts / bar.beats)
        words[first:last] = ["_"] * (last - first)
        if not note.tied:
            words[first] = spelled_key(note.note, note.key)
    return " ".join(words)


def _lines(chart: Chart) -> list[list[int]]:
    lines: list[list[int]] = []
    pickup = bool(chart.pickup_beats)
    for at, bar in enumerate(chart.bars):
        full = lines and len(lines[-1]) >= BARS_A_LINE + (pickup and len(lines) == 1 and lines[0][0] == 0)
        if not lines or bar.letter or full:
            lines.append([])
        lines[-1].append(at)
    return lines


def _sign(before: Bar | None, after: Bar | None) -> str:
    """The bar line between two bars of a line, or at one end of it."""
    closes = before.closes if before is not None else 0
    opens = after is not None and after.opens
    if closes:
        return (":|:" if opens else ":|") + (f"x{closes}" if closes > 2 else "")
    return "|:" if opens else "|"


def write_chart(chart: Chart) -> str:
    """The text of a chart, chords as they were written (see `Chart.by_degree`, `Chart.by_symbol`), one newline at the
    end. Remarks are not kept."""
    head = [f"title: {chart.title}"] if chart.title else []
    head.append(f"key: {chart.key}")
    first = chart.bars[0].meter if chart.bars else FOUR_FOUR
    head.append(f"time: {first}")
    if chart.pickup_beats:
        head.append(f"pickup: {chart.pickup_beats}")
    if chart.form:
        head.append(f"form: {' '.join(chart.form)}")
    if chart.about:
        head.append(f"about: {chart.about}")
    rows: list[tuple[str, list[str], list[str], list[str]]] = []
    meter = first
    for line in _lines(chart):
        bars = [chart.bars[at] for at in line]
        cells = []
        for bar in bars:
            cells.append(_bar_text(bar, "" if bar.meter == meter else str(bar.meter)))
            meter = bar.meter
        signs = [_sign(*pair) for pair in zip([None, *bars], [*bars, None], strict=True)]
        sung = [_melody_text(bar) for bar in bars] if any(bar.melody for bar in bars) else []
        rows.append((f"[{bars[0].letter}]" if bars[0].letter else "", signs, cells, sung))
    indent = max((len(box) for box, *_ in rows), default=0)
    has_melody = any(sung for *_, sung in rows)
    indent = max(indent, 1 if has_melody else 0)
    body = []
    for box, signs, cells, sung in rows:
        widths = [max(len(cell), len(notes)) for cell, notes in zip(cells, sung or [""] * len(cells), strict=True)]
        body.append(_row(box.ljust(indent), signs, cells, widths if sung else None))
        if sung:
            bare = ["|".rjust(len(sign)) if sign else "|" for sign in signs]
            body.append(_row("~".ljust(indent), bare, sung, widths))
    return "\n".join([*head, "", *body]) + "\n"


def _row(start: str, signs: list[str], cells: list[str], widths: list[int] | None) -> str:
    padded = cells if widths is None else [cell.ljust(width) for cell, width in zip(cells, widths, strict=True)]
    parts = [signs[0]]
    for cell, sign in zip(padded, signs[1:], strict=True):
        parts += [cell, sign]
    return (f"{start} " if start else "") + " ".join(parts).rstrip()


def chart_values(chart: Chart) -> dict[str, object]:
    """A chart as plain values for JSON: written bars with beats as numbers, `played` the order of their indices."""
    bars = []
    for bar in chart.bars:
        chords = [
            {
                "chord": one.chord.symbol,
                "degree": None if one.degree is None else one.degree.symbol,
                "beat": float(one.beat),
                "beats": float(one.beats),
            }
            for one in bar.chords
        ]
        melody = [
            {
                "note": note.note.name,
                "key": note.key,
                "beat": float(note.beat),
                "beats": float(note.beats),
                "tied": note.tied,
            }
            for note in bar.melody
        ]
        bars.append(
            {
                "time": str(bar.meter),
                "beats": bar.beats,
                "key": None if bar.key is None else bar.key.name,
                "letter": bar.letter,
                "opens": bar.opens,
                "closes": bar.closes,
                "endings": list(bar.endings),
                "sign": bar.sign,
                "chords": chords,
                "melody": melody,
            }
        )
    return {
        "title": chart.title,
        "about": chart.about,
        "key": chart.key.name,
        "pickup_beats": chart.pickup_beats,
        "form": list(chart.form),
        "bars": bars,
        "played": [one.written for one in chart.played],
    }
