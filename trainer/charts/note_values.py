"""Lengths as a musician writes them: notes, dots, ties and tuplets for a bar of any rhythm.

Times are quarters from the beginning of the bar. A note is cut at the borders of tuplets, in 4/4 at the middle of the
bar where it does not go from beat to beat, and where no single note with two dots at most is as long.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, lcm
from typing import Final

_TYPES: Final = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
    Fraction(1, 64): "256th",
    Fraction(1, 128): "512th",
    Fraction(1, 256): "1024th",
}
_DOTTED: Final = (Fraction(7, 4), Fraction(3, 2), Fraction(1))
_VALUES: Final = sorted(
    ((value * dots, name, len(_DOTTED) - 1 - at) for value, name in _TYPES.items() for at, dots in enumerate(_DOTTED)),
    reverse=True,
)
"""(quarters, name of the note, dots), longest first."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One written note or rest: where it begins, how long it sounds, its name and dots.

    `event` is the index of what it is a piece of. In a tuplet `actual` notes stand for `normal` of them; `opens` and
    `closes` mark its first and last piece.
    """

    event: int
    start: Fraction
    length: Fraction
    name: str
    dots: int
    actual: int = 1
    normal: int = 1
    opens: bool = False
    closes: bool = False


@dataclass(frozen=True, slots=True)
class _Tuplet:
    start: Fraction
    end: Fraction
    actual: int

    @property
    def normal(self) -> int:
        """The largest power of two below: 3 for 2, 5 for 4."""
        return 1 << self.actual.bit_length() - 1


def _is_plain(time: Fraction) -> bool:
    """Whether halving quarters leads to it."""
    return time.denominator & (time.denominator - 1) == 0


def _odd(number: int) -> int:
    return number // (number & -number)


def _tuplets(cuts: Sequence[Fraction], spans: Sequence[tuple[Fraction, Fraction]], length: Fraction) -> list[_Tuplet]:
    """The tuplets that a rhythm needs, each over one beat, or over two or four where a note runs across a beat."""
    odd = [cut for cut in cuts if not _is_plain(cut)]
    beats = {floor(cut): 1 for cut in odd}
    for start, end in spans:
        if _is_plain(start) and _is_plain(end):
            continue
        first, last = floor(start), ceil(end)
        # From beat to off-beat: over several beats only where one note without a dot says it.
        if (_is_plain(start) or _is_plain(end)) and _odd(int((end - start) * 3 * 1024)) != 1:
            continue
        for size in (2, 4):
            window = Fraction(first // size * size)
            within = [cut - window for cut in odd if window <= cut < window + size]
            fine = size == 2 or all((3 * cut).denominator == 1 and (3 * cut) % 2 == 0 for cut in within)
            if last - first > 1 and last <= window + size <= length and fine:
                for beat in range(int(window), int(window) + size):
                    beats[beat] = max(size, beats.get(beat, 1))
                break
    found: list[_Tuplet] = []
    for beat in sorted(beats):
        size = beats[beat]
        start = Fraction(beat // size * size)
        if found and start < found[-1].end:
            continue
        end = min(start + size, length)
        parts = lcm(*(((cut - start) / (end - start)).denominator for cut in odd if start <= cut < end))
        if (actual := _odd(parts)) > 1:
            found.append(_Tuplet(start, end, actual))
    return found


def _middle(start: Fraction, end: Fraction, length: Fraction) -> bool:
    """Whether a note is cut at the middle of a bar of four quarters."""
    if length != 4 or not start < 2 < end or start == 0:
        return False
    return not start.denominator == end.denominator == 1


def _values(length: Fraction) -> list[tuple[Fraction, str, int]]:
    """A length as note values, longest first."""
    found = []
    for value in _VALUES:
        while value[0] <= length:
            found.append(value)
            length -= value[0]
    if length:
        raise ValueError(f"{length} of a quarter is shorter than any note")
    return found


def pieces_of(events: Sequence[tuple[Fraction, Fraction]], length: Fraction) -> list[Piece]:
    """Events (start, end) that follow one another without a gap, as written notes.

    Raises `ValueError` for one that is finer than any note.

    >>> start, later, end = Fraction(0), Fraction(2, 3), Fraction(4)
    >>> [(piece.name, piece.dots, piece.actual) for piece in pieces_of([(start, later), (later, end)], end)]
    [('quarter', 0, 3), ('eighth', 0, 3), ('half', 1, 1)]
    """
    cuts = sorted({time for event in events for time in event})
    tuplets = _tuplets(cuts, events, length)
    found: list[Piece] = []
    for index, (start, end) in enumerate(events):
        borders = {start, end, *(border for one in tuplets for border in (one.start, one.end) if start < border < end)}
        ordered = sorted(borders)
        if not any(one.start < 2 < one.end for one in tuplets):
            parts = zip(ordered, ordered[1:], strict=False)
            ordered = sorted({*ordered, *(Fraction(2) for at, stop in parts if _middle(at, stop, length))})
        for at, stop in zip(ordered, ordered[1:], strict=False):
            inside = next((one for one in tuplets if one.start <= at < one.end), None)
            scale = Fraction(1) if inside is None else Fraction(inside.actual, inside.normal)
            for value, name, dots in _values((stop - at) * scale):
                sounding = value / scale
                if inside is None:
                    found.append(Piece(index, at, sounding, name, dots))
                else:
                    opens, closes = at == inside.start, at + sounding == inside.end
                    tuplet = (inside.actual, inside.normal, opens, closes)
                    found.append(Piece(index, at, sounding, name, dots, *tuplet))
                at += sounding
    return found
