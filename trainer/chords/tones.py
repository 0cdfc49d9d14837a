"""Sets of chord degrees as one integer, and the arithmetic of heads and changes that reading and writing share.

A set of degrees (a *tone mask*) has one bit for each degree 1 to 15 with an alteration of -2 to 2 semitones, in stack
order, so the lowest bit is the lowest degree: ``bit = 5 * (number - 1) + alteration + 2``. A symbol is a *head* (a
triad word and a number, as in m7) and *changes* to it (as in b5); both are table rows here.

Source: common practice; the thirds each number stacks up agree with the kinds of MusicXML 4.0.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from trainer.pitch import Degree

ALTERATIONS: Final = range(-2, 3)
DEGREE_OF_BIT: Final = {
    1 << (5 * (number - 1) + alteration + 2): Degree(number, alteration)
    for number in range(1, 16)
    for alteration in ALTERATIONS
}
"""Every degree a chord can hold, one object each, by its bit."""

BIT_OF_DEGREE: Final = {degree: bit for bit, degree in DEGREE_OF_BIT.items()}
BIT_OF_NAME: Final = {degree.name: bit for bit, degree in DEGREE_OF_BIT.items()}


def tones(names: str) -> int:
    """The mask of degrees named in a text: ``"1 b3 5"``."""
    mask = 0
    for name in names.split():
        mask |= BIT_OF_NAME[name]
    return mask


def degrees_of(mask: int) -> tuple[Degree, ...]:
    """The degrees of a mask in stack order.

    >>> degrees_of(tones("b7 1 5 b3"))
    (Degree('1'), Degree('b3'), Degree('5'), Degree('b7'))
    """
    found = []
    while mask:
        bit = mask & -mask
        found.append(DEGREE_OF_BIT[bit])
        mask ^= bit
    return tuple(found)


ANY: Final = {number: 0b11111 << 5 * (number - 1) for number in range(1, 16)}
"""All alterations of one degree number."""

PLAIN: Final = {number: 0b100 << 5 * (number - 1) for number in range(1, 16)}
"""The major or perfect degree of one number."""

FIFTH: Final = PLAIN[5]
THIRD: Final = PLAIN[3]
ELEVENTH: Final = PLAIN[11]
FLAT_THIRTEENTH: Final = BIT_OF_NAME["b13"]
SEVENTHS: Final = ANY[7]

ALTERED_TENSIONS: Final = tones("b9 #9 #11 b13")


class Triad(NamedTuple):
    """What a triad word stands for: `tones` without number, the seventh a number brings, and the number it implies."""

    tones: int
    seventh: int
    implied: str


def _triad(names: str, seventh: str, implied: str = "") -> Triad:
    return Triad(tones(names), tones(seventh), implied)


# Word classes: "" none, d dominant, m minor, - minus sign, M major word, ^ triangle, o diminished, h half-diminished,
# + augmented; two letters are two words in a row (-^ is minor with major seventh).
TRIADS: Final = {
    "": _triad("1 3 5", "b7"),
    "d": _triad("1 3 5", "b7", "7"),
    "m": _triad("1 b3 5", "b7"),
    "-": _triad("1 b3 5", "b7"),
    "M": _triad("1 3 5", "7"),
    "^": _triad("1 3 5", "7", "7"),
    "o": _triad("1 b3 b5", "bb7"),
    "h": _triad("1 b3 b5", "b7", "7"),
    "+": _triad("1 3 #5", "b7"),
    "mM": _triad("1 b3 5", "7", "7"),
    "m^": _triad("1 b3 5", "7", "7"),
    "-M": _triad("1 b3 5", "7", "7"),
    "-^": _triad("1 b3 5", "7", "7"),
    "+M": _triad("1 3 #5", "7", "7"),
    "+^": _triad("1 3 #5", "7", "7"),
    "M+": _triad("1 3 #5", "7"),
    "^+": _triad("1 3 #5", "7", "7"),
    "oM": _triad("1 b3 b5", "7", "7"),
    "o^": _triad("1 b3 b5", "7", "7"),
    "m+": _triad("1 b3 #5", "b7"),
    "-+": _triad("1 b3 #5", "b7"),
}


class Number(NamedTuple):
    """What the number of a symbol stacks on its triad: the seventh or not, further degrees, which is optional."""

    seventh: bool
    tones: int
    optional: int
    third_optional: bool = False


NUMBERS: Final = {
    "": Number(False, 0, 0),
    "2": Number(False, tones("2"), 0),
    "6": Number(False, tones("6"), 0),
    "69": Number(False, tones("6 9"), 0),
    "7": Number(True, 0, 0),
    "9": Number(True, tones("9"), 0),
    "11": Number(True, tones("9 11"), 0, third_optional=True),
    "13": Number(True, tones("9 11 13"), tones("11")),
}


class Head(NamedTuple):
    """The tones of a head, those of them that are optional, and the seventh that a bracketed (7) would add."""

    tones: int
    optional: int
    seventh: int


_NO_NUMBER: Final = {
    "d": {"2", "6", "69"},
    "o": {"2", "6", "69", "13"},
    "h": {"2", "6", "69"},
    "mM": {"2", "6", "69"},
    "m^": {"2", "6", "69"},
    "-M": {"2", "6", "69"},
    "-^": {"2", "6", "69"},
    "oM": {"2", "6", "69", "13"},
    "o^": {"2", "6", "69", "13"},
    "m+": {"2", "6", "69"},
    "-+": {"2", "6", "69"},
}
"""Numbers that mean nothing after a word."""


def _head(word: str, number: str) -> Head:
    triad, row = TRIADS[word], NUMBERS[number or TRIADS[word].implied]
    mask = triad.tones | row.tones | (triad.seventh if row.seventh else 0)
    optional = row.optional | (mask & THIRD if row.third_optional else 0)
    return Head(mask, optional, triad.seventh)


HEADS: Final = {
    (word, number): _head(word, number)
    for word in TRIADS
    for number in NUMBERS
    if number not in _NO_NUMBER.get(word, ())
} | {
    ("", "5"): Head(tones("1 5"), 0, tones("b7")),
    ("", "4"): Head(tones("1 4 5"), 0, tones("b7")),
    ("m", "4"): Head(tones("1 b3 4 5"), 0, tones("b7")),
    ("-", "4"): Head(tones("1 b3 4 5"), 0, tones("b7")),
    ("-", "5"): Head(tones("1 3 b5"), 0, tones("b7")),
    ("+", "5"): Head(tones("1 3 #5"), 0, tones("b7")),
    ("m+", "5"): Head(tones("1 b3 #5"), 0, tones("b7")),
    ("-+", "5"): Head(tones("1 b3 #5"), 0, tones("b7")),
    ("m+", "7"): Head(tones("1 b3 5 7"), 0, tones("7")),
    ("-+", "7"): Head(tones("1 b3 5 7"), 0, tones("7")),
}
"""Every head by word class and number."""

ALTERED: Final = Head(tones("1 3 b7") | ALTERED_TENSIONS, ALTERED_TENSIONS, tones("b7"))
"""`alt`: root, third and seventh, with all four altered tensions optional."""

SUSPENSIONS: Final = {"": tones("4"), "4": tones("4"), "2": tones("2"), "24": tones("2 4"), "42": tones("2 4")}


class Change(NamedTuple):
    """An alteration: tones to clear, tones to set."""

    clear: int
    set: int


def _changes() -> dict[tuple[int, int], Change]:
    """Alterations by (semitones, number). A b5 replaces the 5, a b9 the head's 9; #7 is the major seventh."""
    rows = {
        (alteration, number): Change(PLAIN[number], BIT_OF_DEGREE[Degree(number, alteration)])
        for number in (2, 4, 5, 6, 9, 11, 13)
        for alteration in (-1, 1)
    }
    rows[-1, 3] = Change(ANY[3], tones("b3"))
    rows[-1, 7] = Change(ANY[7], tones("b7"))
    rows[-2, 7] = Change(ANY[7], tones("bb7"))
    rows[1, 7] = Change(tones("b7"), tones("7"))
    rows[0, 7] = rows[1, 7]
    rows |= {(0, number): Change(ANY[number], PLAIN[number]) for number in (3, 5, 6, 9, 11, 13)}
    return rows


CHANGES: Final = _changes()


def settle(mask: int, optional: int) -> int:
    """The optional tones of a finished chord: the fifth is optional beside b13, the third only beside a plain 11."""
    if mask & FLAT_THIRTEENTH:
        optional |= FIFTH
    if not mask & ~optional & ELEVENTH:
        optional &= ~THIRD
    return optional & mask


def fits(head: Head, mask: int) -> bool:
    """Whether a head can carry these tones: alt has its own, and an optional 11 cannot stand beside a #11."""
    if head is ALTERED:
        return mask == head.tones
    return not head.optional & ELEVENTH or mask & _BOTH_ELEVENTHS != _BOTH_ELEVENTHS


def settled(mask: int, optional: int) -> tuple[int, int]:
    """A finished chord: an optional 11 gives way to a #11."""
    if not optional and not mask & FLAT_THIRTEENTH:
        return mask, 0
    if mask & _SHARP_ELEVENTH and optional & ELEVENTH:
        mask &= ~ELEVENTH
    return mask, settle(mask, optional)


_SHARP_ELEVENTH: Final = BIT_OF_NAME["#11"]
_BOTH_ELEVENTHS: Final = tones("11 #11")
