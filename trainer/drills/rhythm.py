"""Rhythms in counting words: ``1 bass, 2& chord``.

A rhythm is a list of *hits*: a count of the bar and the part that plays there, ``bass``, ``chord`` or ``approach``.
Counts are a beat, or a beat and its quarter: ``2``, ``2e``, ``2&``, ``2a``. With ``before``, a hit comes ahead of its
chord, at the last such count before the chord begins: ``before 4& chord`` anticipates it, ``before 4 approach`` leads
into it. A hit in brackets may stay silent: ``1 chord, (3 chord)``.

Of a rhythm, a chord takes the hits that fall into its own time. Where a rhythm has hits for the chord and none of them
falls there, the chord is played once, where it begins.

Source: the counting of beats and their parts is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

HIT_PARTS: Final = ("bass", "chord", "approach")

MOST_HITS: Final = 64
EXPECTED: Final = 'counts and parts such as "1 bass, 2& chord"'

_PARTS_OF_A_BEAT: Final = {
    "": Fraction(0),
    "e": Fraction(1, 4),
    "&": Fraction(1, 2),
    "a": Fraction(3, 4),
}
_COUNT: Final = re.compile(r"(\d{1,2})(e|&|\+|a|)")
_WORD: Final = re.compile(r"\S+")


class RhythmError(ValueError):
    """A rhythm that cannot be read: `at` is the offset of the word, `expected` what could stand there."""

    def __init__(self, message: str, at: int, expected: str = EXPECTED) -> None:
        super().__init__(message)
        self.at = at
        self.expected = expected


@dataclass(frozen=True, slots=True)
class Hit:
    """One hit: its part, its count (1 is the first beat of the bar), whether it comes before its chord begins."""

    part: str
    count: Fraction
    before: bool = False
    optional: bool = False

    def __str__(self) -> str:
        text = f"{'before ' if self.before else ''}{count_text(self.count)} {self.part}"
        return f"({text})" if self.optional else text


def count_of(word: str) -> Fraction | None:
    """A counting word as a beat of the bar; None where it is none.

    >>> count_of("2&"), count_of("4a"), count_of("x")
    (Fraction(5, 2), Fraction(19, 4), None)
    """
    match = _COUNT.fullmatch(word)
    if match is None or int(match[1]) < 1:
        return None
    return int(match[1]) + _PARTS_OF_A_BEAT[match[2].replace("+", "&")]


def count_text(count: Fraction) -> str:
    """A beat of the bar as it is counted; one that has no word, as a number.

    >>> count_text(Fraction(5, 2)), count_text(Fraction(4)), count_text(Fraction(7, 3))
    ('2&', '4', '7/3')
    """
    whole, part = divmod(count, 1)
    word = next((word for word, length in _PARTS_OF_A_BEAT.items() if length == part), None)
    return str(count) if word is None else f"{whole}{word}"


def read_rhythm(text: str) -> tuple[Hit, ...]:
    """A rhythm from its counting words. Raises `RhythmError`.

    >>> [str(hit) for hit in read_rhythm("1 bass,  2+ chord, (before 4 approach)")]
    ['1 bass', '2& chord', '(before 4 approach)']
    """
    found: list[Hit] = []
    start = 0
    for piece in text.split(","):
        hit = _hit(piece, start)
        if any((hit.part, hit.count, hit.before) == (other.part, other.count, other.before) for other in found):
            raise RhythmError(f"{str(hit)!r} stands twice", start + len(piece) - len(piece.lstrip()), "each hit once")
        found.append(hit)
        start += len(piece) + 1
    if len(found) > MOST_HITS:
        raise RhythmError(f"a rhythm has at most {MOST_HITS} hits", 0)
    return tuple(found)


def _hit(piece: str, start: int) -> Hit:
    bare = piece.strip()
    at = start + len(piece) - len(piece.lstrip())
    if not bare:
        raise RhythmError("a count and a part must stand here", start)
    optional = bare.startswith("(")
    if optional != bare.endswith(")"):
        raise RhythmError(f"the bracket around {bare!r} is not closed", at, "a hit in brackets, as in (3 chord)")
    if optional:
        bare, at = bare[1:-1], at + 1
    words = [(match[0], at + match.start()) for match in _WORD.finditer(bare)]
    before = bool(words) and words[0][0].casefold() == "before"
    if before:
        del words[0]
    count = count_of(words[0][0]) if words else None
    if count is None:
        word, where = words[0] if words else (bare, at)
        expected = "a count: a beat, or a beat with e, & or a"
        raise RhythmError(f"{word!r} is no count; write a beat, or a beat with e, & or a, as in 2&", where, expected)
    if len(words) < 2:
        raise RhythmError(f"{words[0][0]!r} says no part; write bass, chord or approach after it", words[0][1])
    part = words[1][0].casefold()
    if part not in HIT_PARTS:
        expected = "bass, chord or approach"
        raise RhythmError(f"{words[1][0]!r} is no part; write {expected}", words[1][1], expected)
    if len(words) > 2:
        message = f"{words[2][0]!r} is too much; a comma stands between two hits"
        raise RhythmError(message, words[2][1], "a comma, or the end")
    if part == "approach" and not before:
        expected = f"before {words[0][0]} approach"
        raise RhythmError(f"an approach comes before its chord; write {expected}", words[0][1], expected)
    return Hit(part, count, before, optional)


def rhythm_text(hits: Sequence[Hit]) -> str:
    """The counting words of a rhythm; `read_rhythm` gives it back."""
    return ", ".join(map(str, hits))


@dataclass(frozen=True, slots=True)
class Frame:
    """A played bar as it is counted: `first_count` is where its count 1 lies (before a pick-up begins), `start` and
    `end` what there is of it, all in beats of the form."""

    first_count: Fraction
    start: Fraction
    end: Fraction

    def moment(self, count: Fraction) -> Fraction | None:
        """When a count of this bar sounds; None where the bar has no such count."""
        moment = self.first_count + count - 1
        return moment if self.start <= moment < self.end else None


def moments(
    hits: Sequence[Hit], start: Fraction, end: Fraction, frame: Frame, frame_before: Frame | None
) -> list[tuple[Hit, Fraction]]:
    """The hits of a chord that begins at `start` in a bar and ends at `end`, each with its moment, in order of time."""
    found: list[tuple[Hit, Fraction]] = []
    for hit in hits:
        here = frame.moment(hit.count)
        if not hit.before:
            if here is not None and start <= here < end:
                found.append((hit, here))
        elif here is not None and here < start:
            found.append((hit, here))
        elif frame_before is not None and (earlier := frame_before.moment(hit.count)) is not None:
            found.append((hit, earlier))
    wanted = not hits or any(hit.part == "chord" for hit in hits)
    if wanted and not any(hit.part == "chord" for hit, _ in found):
        found.append((Hit("chord", start - frame.first_count + 1), start))
    return sorted(found, key=lambda pair: pair[1])
