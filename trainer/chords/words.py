"""Qualities in words, and degrees with musical signs.

Source: common practice, no source.
"""

from __future__ import annotations

import re
from typing import Final

_QUALITY_WORDS: Final = (
    ("mMaj", "minor, major "),
    ("dimMaj", "diminished, major "),
    ("m7b5", "half-diminished"),
    ("dim7", "diminished 7"),
    ("dim", "diminished"),
    ("aug", "augmented"),
    ("maj", "major "),
    ("7alt", "altered dominant"),
    ("sus", " suspended "),
    ("m", "minor "),
)


def quality_words(text: str) -> str:
    """A quality in words; tensions keep their figures.

    >>> quality_words("m7"), quality_words("7"), quality_words("maj7"), quality_words("7(b9)"), quality_words("m7b5")
    ('minor 7', 'dominant 7', 'major 7', 'dominant 7 (♭9)', 'half-diminished')
    >>> quality_words("mMaj7"), quality_words("add9"), quality_words("7(b9,b13)")
    ('minor, major 7', 'major added 9', 'dominant 7 (♭9, ♭13)')
    >>> quality_words(""), quality_words("6"), quality_words("m6"), quality_words("9sus4"), quality_words("7#9")
    ('major', 'major 6', 'minor 6', 'dominant 9 suspended 4', 'dominant 7 ♯9')
    """
    rest = text
    words = ""
    for written, said in _QUALITY_WORDS:
        if rest.startswith(written):
            words, rest = said, rest[len(written) :]
            break
    if not words:
        number = re.match(r"7|9|11|13", rest)
        words = "dominant " if number else "major " if not rest.startswith("5") else ""
    rest = rest.replace("sus", " suspended ")
    match = re.match(r"(?:6/9|\d*)", rest)
    head = match[0] if match else ""
    tail = rest[len(head) :]
    tail = re.sub(r"(?<=[b#\d)])\(", " (", tail) if tail else tail
    if tail and not tail.startswith(" "):
        tail = " " + tail
    said_tail = re.sub(r"b(?=\d)", "♭", tail).replace("#", "♯")
    said_tail = said_tail.replace("add", "added ").replace("no", "without ").replace(",", ", ")
    return re.sub(r" +", " ", f"{words}{head}{said_tail}").strip() if text != "5" else "root and fifth"


def pretty_degrees(voicing: str) -> str:
    """A voicing's name; where it is its degrees, with musical signs.

    >>> pretty_degrees("rootless from the third"), pretty_degrees("b7 3 13")
    ('rootless from the third', '♭7 3 13')
    """
    return re.sub(r"[b#]+(?=\d)", lambda match: match[0].replace("b", "♭").replace("#", "♯"), voicing)
