"""What chart writers use for roots and triad words, as rows: signs, note names, words in every case.

Source: common practice, no source.
"""

from __future__ import annotations

import re
from typing import Final

from trainer.pitch import Note

# One character for one, so that offsets stay true.
SIGNS: Final = str.maketrans(
    {
        "♭": "b",
        "♯": "#",
        "＃": "#",
        "𝄪": "x",
        "ᵇ": "b",
        "Δ": "^",
        "∆": "^",
        "△": "^",
        "▲": "^",
        "ᐃ": "^",
        "Ø": "ø",
        "∅": "ø",
        "⌀": "ø",
        "º": "°",
        "˚": "°",
        "ᵒ": "°",
        "−": "-",
        "–": "-",
        "—": "-",
        "‐": "-",
        "‑": "-",
        "⁻": "-",
        "⁺": "+",
        "＋": "+",
        "⁽": "(",
        "⁾": ")",
        "（": "(",
        "）": ")",
        "／": "/",
        "⁄": "/",
        "∕": "/",
        "ᵐ": "m",
        "ᴹ": "M",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        **dict(zip("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789", strict=True)),
        **dict(zip("₀₁₂₃₄₅₆₇₈₉", "0123456789", strict=True)),
    }
)

_ROOT_SIGNS: Final = {"": "", "b": "b", "#": "#", "bb": "bb", "##": "##", "x": "##", "𝄫": "bb", "s": "#"}
ROOTS: Final = {
    letter + sign: Note.parse(letter + meaning) for letter in "ABCDEFG" for sign, meaning in _ROOT_SIGNS.items()
}
GERMAN_ROOTS: Final = {
    **{letter + sign: Note.parse(letter + sign) for letter in "ACDEFG" for sign in ("", "b", "#", "bb", "##")},
    **{letter + "is": Note.parse(letter + "#") for letter in "ACDEFG"},
    **{letter + "es": Note.parse(letter + "b") for letter in "CDFG"},
    **{name: Note.parse("B" + sign) for name, sign in (("H", ""), ("Hb", "b"), ("H#", "#"), ("His", "#"))},
    **{name: Note.parse(flat) for name, flat in (("B", "Bb"), ("Bb", "Bb"), ("Es", "Eb"), ("As", "Ab"))},
}

WORDS: Final = {
    "M": "M",
    "m": "m",
    "-": "-",
    "^": "^",
    "°": "o",
    "o": "o",
    "O": "o",
    "0": "o",
    "ø": "h",
    "h": "h",
    "%": "h",
    "+": "+",
    "j": "^",
    "maj": "M",
    "major": "M",
    "ma": "M",
    "mj": "M",
    "min": "m",
    "minor": "m",
    "mi": "m",
    "dim": "o",
    "diminished": "o",
    "aug": "+",
    "augmented": "+",
    "dom": "d",
    "dominant": "d",
    "hdim": "h",
    "halfdim": "h",
    "half-dim": "h",
    "half dim": "h",
    "halfdiminished": "h",
    "half-diminished": "h",
    "half diminished": "h",
}
"""Triad words, in lower case where they are longer than a letter; their classes are those of `TRIADS`."""

CLASS_OF: Final = {
    form: kind
    for word, kind in WORDS.items()
    for form in (word, *(() if len(word) == 1 else (word.capitalize(), word.upper())))
}
"""The class of each word in every case it is written in."""

_NOT_BEFORE: Final = {"ma": "(?!dd|ug)", "o": "(?!mit|MIT)"}
"""What must not follow a word: madd9 is m and add9, omit3 is no o."""


def word_pattern(kinds: str) -> str:
    """A pattern of the words of some classes, the longest first."""
    words = sorted((word for word, kind in CLASS_OF.items() if kind in kinds), key=lambda word: (-len(word), word))
    return "|".join(re.escape(word) + _NOT_BEFORE.get(word.lower(), "") for word in words)


_ORDINALS: Final = {
    "6": ("sixth",),
    "7": ("seventh",),
    "9": ("ninth",),
    "11": ("11th", "eleventh"),
    "13": ("13th", "thirteenth"),
}
_NUMBERED_WORDS: Final = (
    ("major", "maj", tuple(_ORDINALS)),
    ("minor", "m", tuple(_ORDINALS)),
    ("dominant", "", ("7", "9", "11", "13")),
    ("diminished", "dim", ("7",)),
    ("augmented", "+", ("7",)),
)

IN_WORDS: Final = {
    gap + word + join + ordinal: quality
    for word, ordinal, quality in (
        ("suspended", "second", "sus2"),
        ("suspended", "fourth", "sus4"),
        *(
            (word, ordinal, text + number)
            for word, text, numbers in _NUMBERED_WORDS
            for number in numbers
            for ordinal in _ORDINALS[number]
        ),
    )
    for gap in ("", " ")
    for join in ("-", " ")
}
"""The kinds of MusicXML 4.0 and the like as a text, with a hyphen or a space, and the quality they stand for."""
