"""Degrees as a row writes them, and what they become in one chord: the tension rule.

A row is written for its colour's plain symbol; what the symbol names beyond that takes its place by rule, so C7(b9),
C13 and C7(#5) need no rows of their own. The rule is stated token by token at the head of `trainer.voicings.table`.

Source: common practice; the results are checked against the handbook table of forms in the tests.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from trainer.chords import Quality
from trainer.pitch import Degree, PitchError


class VoicingError(ValueError):
    """A voicing that cannot be read, spelled or placed; `str()` is one sentence.

    `at` is the offset in the text where reading stopped, `near` holds names that were perhaps meant, `other` the
    name of another form to offer instead.
    """

    def __init__(self, message: str, *, at: int = 0, near: tuple[str, ...] = (), other: str | None = None) -> None:
        super().__init__(message)
        self.at = at
        self.near = near
        self.other = other


@dataclass(frozen=True, slots=True)
class Token:
    """One degree as written: `own` is the word after a dot ("3", "5/13") or empty, `exact` stands for the ``!``."""

    text: str
    at: int
    own: str = ""
    degree: Degree = Degree(1)
    exact: bool = False
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """A text of degrees read: tokens bottom to top; `split` counts those of the left hand where ``|`` stands."""

    tokens: tuple[Token, ...]
    split: int | None


MOST_NOTES: Final = 10
OWN_WORDS: Final = ("3", "5", "7", "9", "10", "5/13", "5/#11", "1/9", "1/9/11")
_PLACES: Final = {"3": "third", "10": "third", "7": "seventh"}
"""What an own word stands for where it is not the fifth or ninth, in words."""

_WORD: Final = re.compile(r"\S+")


def _token(word: str, at: int) -> Token:
    optional = word.startswith("(") and word.endswith(")")
    inner = word[1:-1] if optional else word
    if inner[:1] in {".", "·"}:
        if inner[1:] not in OWN_WORDS:
            known = ", ".join(f".{name}" for name in OWN_WORDS)
            raise VoicingError(
                f"{word!r} at character {at + 1} is no degree of the chord's own; there are {known}", at=at
            )
        return Token(word, at, own=inner[1:], optional=optional)
    exact = inner.startswith("!")
    try:
        degree = Degree.parse(inner[1:] if exact else inner)
    except PitchError:
        raise VoicingError(
            f"{word!r} at character {at + 1} is not a degree; write 1 to 15 with b or # before it, as in b7, "
            "and an optional one in brackets, as in (9)",
            at=at,
        ) from None
    return Token(word, at, degree=degree, exact=exact, optional=optional)


@lru_cache(maxsize=4096)
def read_degrees(text: str) -> Written:
    """Read degrees bottom to top. Raises `VoicingError` that points at the bad word.

    >>> [token.degree.name for token in read_degrees("b7 3 | 5 (9)").tokens], read_degrees("b7 3 | 5 (9)").split
    (['b7', '3', '5', '9'], 2)
    """
    tokens: list[Token] = []
    split: int | None = None
    for match in _WORD.finditer(text):
        if match[0] == "|":
            if split is not None or not tokens:
                raise VoicingError(
                    f"'|' at character {match.start() + 1} has no left hand of its own", at=match.start()
                )
            split = len(tokens)
            continue
        tokens.append(_token(match[0], match.start()))
    if not tokens:
        raise VoicingError("a voicing needs at least one degree, written from the bottom note up, as in b7 3 13")
    if split == len(tokens):
        raise VoicingError("'|' at the end leaves the right hand nothing to play", at=len(text.rstrip()) - 1)
    if len(tokens) > MOST_NOTES:
        raise VoicingError(f"{len(tokens)} degrees are more than ten fingers hold", at=tokens[MOST_NOTES].at)
    if all(token.optional for token in tokens):
        raise VoicingError("at least one degree must stand outside brackets")
    return Written(tuple(tokens), split)


NINTH: Final = Degree(9)
ELEVENTH: Final = Degree(11)
SHARP_ELEVENTH: Final = Degree(11, 1)
THIRTEENTH: Final = Degree(13)
SHARP_NINTH: Final = Degree(9, 1)
FLAT_THIRTEENTH: Final = Degree(13, -1)

_ALTERED_TONES: Final = frozenset({0, 4, 10, 1, 3, 6, 8})  # 1 3 b7 b9 #9 #11 b13
_ALTERED_FOLLOW: Final = {5: FLAT_THIRTEENTH, 9: SHARP_NINTH, 11: Degree(11, 1), 13: FLAT_THIRTEENTH}
_TWO_NAMES: Final = {
    FLAT_THIRTEENTH: Degree(5, 1),
    Degree(5, 1): FLAT_THIRTEENTH,
    Degree(11, 1): Degree(5, -1),
    Degree(5, -1): Degree(11, 1),
}
"""Two names for one key of which a symbol may use either: the voicing takes the symbol's."""


@dataclass(frozen=True, slots=True)
class Slots:
    """What one quality puts in each place of a voicing. None: the quality has nothing there."""

    quality: Quality
    named: tuple[Degree, ...]
    third: Degree | None
    fifth: Degree | None
    seventh: Degree | None
    ninth: Degree
    fifth_or_colour: Degree | None
    lydian: bool = False
    """A dominant whose #11 stands over a plain fifth and beside no altered tone: its 9 and 13 are natural."""

    def own(self, word: str) -> Degree | None:
        if word in {"1/9", "1/9/11"}:
            if any(degree.number == 9 for degree in self.named):
                return self.ninth
            return ELEVENTH if word == "1/9/11" and ELEVENTH in self.named else Degree(1)
        if word == "5/#11":
            return SHARP_ELEVENTH if SHARP_ELEVENTH in self.named else _numbered(self.quality.degrees, 5) or Degree(5)
        if word == "10":
            return None if self.third is None else Degree(10, self.third.alteration) if self.third.number == 3 else None
        return {
            "3": self.third,
            "5": self.fifth,
            "7": self.seventh,
            "9": self.ninth,
            "5/13": self.fifth_or_colour,
        }[word]


def _numbered(degrees: tuple[Degree, ...], *numbers: int) -> Degree | None:
    return next((degree for number in numbers for degree in degrees if degree.number == number), None)


def _first_named(named: tuple[Degree, ...], usual: Degree, other: Degree) -> Degree:
    return other if other in named and usual not in named else usual


@lru_cache(maxsize=1024)
def slots(quality: Quality) -> Slots:
    """The slots of a quality.

    >>> slots(Quality.of("1 3 5 b7 b9")).ninth, slots(Quality.of("1 3 5 b7")).fifth_or_colour
    (Degree('b9'), Degree('13'))
    """
    degrees, colour = quality.degrees, quality.colour
    named = tuple(degree for degree in degrees if degree not in quality.optional)
    third = _numbered(degrees, 3) if colour != "sus" else _numbered(degrees, 4, 2)
    seventh = _numbered(degrees, 7, 6)
    if colour == "alt":
        # All four altered tensions may stand; the trade's form takes b13 in the fifth's place and #9 in the ninth's.
        # A tone named after alt (C7alt(b9)) comes before its rival that is not.
        altered_ninth = _first_named(named, SHARP_NINTH, Degree(9, -1))
        altered_fifth = _first_named(named, FLAT_THIRTEENTH, SHARP_ELEVENTH)
        return Slots(quality, degrees, third, altered_fifth, seventh, altered_ninth, altered_fifth)
    fifth = _numbered(degrees, 5) or _numbered(named, 13, 11)
    ninth = _numbered(named, 9) or NINTH
    names_tension = any(degree.number in {9, 11, 13} or degree.number == 5 and degree.alteration for degree in named)
    minor = third is not None and third.number == 3 and third.alteration < 0
    order = (
        THIRTEENTH,
        FLAT_THIRTEENTH,
        Degree(5, 1),
        Degree(5, -1),
        Degree(11, 1),
        *((ELEVENTH,) if minor else ()),
    )
    colour_tone = next((degree for degree in order if degree in named), fifth)
    if colour in {"7", "sus"} and not names_tension:
        colour_tone = THIRTEENTH
    altered = any(degree.alteration for degree in named if degree.number in {5, 9, 13})
    lydian = colour == "7" and SHARP_ELEVENTH in named and Degree(5) in named and not altered
    return Slots(quality, named, third, fifth, seventh, ninth, colour_tone, lydian)


def _clash(token: Token, degree: Degree, by: object) -> VoicingError:
    return VoicingError(f"the voicing has {degree} where the symbol has {by}", at=token.at)


def _altered(token: Token, degree: Degree) -> Degree:
    if degree.pitch_class in _ALTERED_TONES:
        return degree
    if degree.alteration == 0 and not token.exact and degree.number in _ALTERED_FOLLOW:
        return _ALTERED_FOLLOW[degree.number]
    raise _clash(token, degree, "altered tensions only")


def _fixed_place(token: Token, place: Slots) -> None:
    """Third, fourth, sixth and seventh as written must be the chord's own. Raises `VoicingError`."""
    degree, colour = token.degree, place.quality.colour
    own: Degree | None
    if degree.number in {3, 10} or degree.number in {2, 4} and colour == "sus":
        own, wanted = place.third, Degree(3, degree.alteration) if degree.number == 10 else degree
    elif degree.number == 7 or degree.number == 6 and colour in {"6", "m6"}:
        own, wanted = place.seventh, degree
        # A diminished chord takes the 7 as a tension a whole step over its own seventh.
        if colour == "dim7" and degree == Degree(7):
            return
    else:
        return
    if own != wanted:
        raise _clash(token, degree, own or "none")


def _followed(token: Token, place: Slots) -> Degree:
    """A degree as a row writes it, as the symbol has it. Raises `VoicingError` where the symbol names another."""
    degree, named = token.degree, place.named
    if place.quality.colour == "alt":
        return _altered(token, degree)
    _fixed_place(token, place)
    if degree in named:
        return degree
    if place.lydian and degree.alteration and degree.number in {9, 13}:
        raise _clash(token, degree, f"#11 and with it a natural {degree.number}")
    if (twin := _TWO_NAMES.get(degree)) is not None and twin in named:
        return twin
    rivals = [other for other in named if other.number == degree.number]
    if degree == THIRTEENTH and Degree(5, 1) in named:
        rivals = rivals or [Degree(5, 1)]
    if degree == Degree(5):
        rivals = [place.fifth] if place.fifth not in {None, Degree(5)} and place.fifth is not None else []
    if not rivals or degree.number not in {5, 9, 11, 13}:
        return degree
    if degree.alteration or token.exact:
        # A plain fifth or eleventh in the symbol does not shut out its alteration; a named 9 or 13 does.
        if degree.number in {5, 11} and not token.exact:
            return degree
        raise _clash(token, degree, rivals[0])
    return rivals[0]


def degree_of(token: Token, place: Slots, *, as_written: bool) -> Degree:
    """The degree a token stands for in a quality; `as_written` for degrees typed by hand. Raises `VoicingError`."""
    if token.own:
        own = place.own(token.own)
        if own is None:
            raise VoicingError(f"the symbol has no {_PLACES.get(token.own, 'fifth')}", at=token.at)
        return own
    return token.degree if as_written else _followed(token, place)
