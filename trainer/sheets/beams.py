"""Beams: the short notes of one beat under common beams.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from trainer.charts import Meter
from trainer.charts.note_values import Piece

_LEVELS: Final = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6, "512th": 7, "1024th": 8}


def beat_quarters(meter: Meter) -> Fraction:
    """The beat that is felt: three of the units in 6/8, 9/8 and 12/8, else the unit of the time signature.

    >>> [str(beat_quarters(Meter(*time))) for time in ((4, 4), (3, 4), (6, 8), (2, 2))]
    ['1', '1', '3/2', '2']
    """
    unit = Fraction(4, meter.unit)
    return 3 * unit if meter.unit >= 8 and meter.beats % 3 == 0 and meter.beats > 3 else unit


def beams(pieces: Sequence[Piece], sounding: Sequence[bool], meter: Meter) -> list[tuple[str, ...]]:
    """How each beam of each piece runs, from the first: ``begin``, ``continue``, ``end`` or a hook; () for no beam.

    `sounding` tells notes from rests, by event.
    """
    beat = beat_quarters(meter)
    groups: list[list[int]] = []
    last: int | None = None
    for at, piece in enumerate(pieces):
        if piece.name not in _LEVELS or not sounding[piece.event]:
            last = None
            continue
        number = int(piece.start // beat)
        if number != last:
            groups.append([])
        groups[-1].append(at)
        last = number
    found: list[tuple[str, ...]] = [()] * len(pieces)
    for group in groups:
        levels = [_LEVELS[pieces[at].name] for at in group]
        for place, at in enumerate(group if len(group) > 1 else ()):
            found[at] = tuple(_state(levels, place, level) for level in range(1, levels[place] + 1))
    return found


def _state(levels: Sequence[int], place: int, level: int) -> str:
    before = place > 0 and levels[place - 1] >= level
    after = place + 1 < len(levels) and levels[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"
