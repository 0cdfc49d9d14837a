"""The published colon syntax of annotation corpora: ``C:maj7(9)/3``, ``C:(3,5,b7)``, ``C:min7(*5,b6)``.

Degrees in brackets add, a star takes away, the number after the slash is the bass as a degree of the root; all degrees
are absolute (a plain 7 is the major seventh). A quality that is no shorthand of that syntax is left to the reading of
chart symbols.

Source: Harte, Sandler, Abdallah and Gomez, "Symbolic representation of musical chords" (ISMIR 2005), with the later
shorthands 1, 5, sus2, 11 and 13.
"""

from __future__ import annotations

import re
from typing import Final

from trainer.chords.qualities import Chord, ChordError, quality_of_tones
from trainer.chords.tones import ANY, BIT_OF_NAME, HEADS, SUSPENSIONS, Head, settled, tones
from trainer.pitch import Degree, Note

_ROOT_ALONE: Final = Head(tones("1"), 0, 0)
_SUSPENDED: Final = {by: Head(tones("1 5") | SUSPENSIONS[by], 0, 0) for by in ("2", "4")}
_SHORTHANDS: Final = {
    "1": _ROOT_ALONE,
    "5": HEADS["", "5"],
    "sus2": _SUSPENDED["2"],
    "sus4": _SUSPENDED["4"],
    **{"maj" + number: HEADS["M", number] for number in ("", "6", "7", "9", "11", "13")},
    **{"min" + number: HEADS["m", number] for number in ("", "6", "7", "9", "11", "13")},
    **{number: HEADS["", number] for number in ("6", "7", "9", "11", "13")},
    **{"minmaj" + number: HEADS["mM", number] for number in ("7", "9", "11", "13")},
    "dim": HEADS["o", ""],
    "dim7": HEADS["o", "7"],
    "hdim7": HEADS["h", "7"],
    "aug": HEADS["+", ""],
}

_DEGREE: Final = r"(?:b{0,2}|#{0,2})(?:1[0-5]|[1-9])"
_WHOLE: Final = re.compile(
    rf"\s*([a-z]*\d*)(?:\(\s*(\*?{_DEGREE}(?:\s*,\s*\*?{_DEGREE})*)\s*\))?"
    rf"(?:/(?:({_DEGREE})|([A-G](?:bb?|##?)?)))?\s*$"
)


def read_published(text: str, source: str, root: Note, start: int) -> Chord | None:
    """What stands after the colon, or None where it is not in this syntax. Raises `ChordError`."""
    match = _WHOLE.match(source, start)
    if match is None:
        return None
    shorthand, degrees, low, bass = match.groups()
    items = [item.strip() for item in degrees.split(",")] if degrees else []
    if shorthand:
        head = _SHORTHANDS.get(shorthand)
        if head is None:
            return None
    elif not items:
        raise ChordError(text, start, "a quality such as maj7, or degrees in brackets")
    else:
        head = HEADS["", ""] if all(item[0] == "*" for item in items) else _ROOT_ALONE
    mask, optional = head.tones, head.optional
    for item in items:
        if item[0] != "*":
            mask |= BIT_OF_NAME[item]
        elif mask & BIT_OF_NAME[item[1:]]:
            mask &= ~BIT_OF_NAME[item[1:]]
        elif mask & (places := ANY[int(item.lstrip("*b#"))]):
            mask &= ~places
        else:
            raise ChordError(
                text, source.find(item, start), "a degree that the chord has", "it cannot leave this one out"
            )
    note = Note.parse(bass) if bass else root + Degree.parse(low) if low and low != "1" else None
    return Chord(root, quality_of_tones(*settled(mask, optional)), note)
