"""Chords by degree of a key: ``iim7``, ``bII7``, ``#IV°7``, ``V7/V``, and the same on a key.

Numerals count on the major scale of the key, so a minor key writes bIII, bVI and bVII. A lower-case numeral is a minor
chord unless its quality says otherwise (ii7 = IIm7, viiø7); an upper-case one is what its quality says. After a slash,
a numeral is the key that the chord belongs to for the moment (V7/V), a plain number the bass as a degree of the chord
(I/3).

Source: common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from trainer.chords.qualities import Chord, ChordError, Quality
from trainer.chords.reading import parse_quality_and_bass
from trainer.pitch import Degree, Note, respelled

_NUMERALS: Final = ("I", "II", "III", "IV", "V", "VI", "VII")
_NUMBER_OF: Final = {form: number for number, name in enumerate(_NUMERALS, 1) for form in (name, name.lower())}
_ONE: Final = "VII|VI|V|IV|III|II|I|vii|vi|v|iv|iii|ii|i"
_ACCIDENTAL: Final = "bb?|##?|♭♭?|♯♯?|"
_HEAD: Final = re.compile(rf"\s*({_ACCIDENTAL})({_ONE})\s*")
_APPLIED: Final = re.compile(rf"\s*/\s*({_ACCIDENTAL})({_ONE})\s*$")
_NAMES_ITS_THIRD: Final = re.compile(r"mi|min|m(?!a)|-|−|–|o|°|º|ø|Ø|h|dim|dom|sus|\+|aug")
_MINOR_TRIAD: Final = "m"


def _degree(accidental: str, numeral: str) -> Degree:
    sign = accidental.replace("♭", "b").replace("♯", "#")
    return Degree(_NUMBER_OF[numeral], sign.count("#") - sign.count("b"))


@dataclass(frozen=True, slots=True)
class DegreeChord:
    """A chord by its root's degree in a key, its quality, and the bass as a degree of the chord."""

    degree_root: Degree
    quality: Quality
    bass: Degree | None = None

    def on(self, key: Note) -> Chord:
        """The chord in a key; a root with a double accidental takes its plain name (bII7 in Gb is G7).

        >>> parse_degree_chord("bII7").on(Note.parse("Gb")).symbol
        'G7'
        """
        root = respelled(key + self.degree_root)
        return Chord(root, self.quality, None if self.bass is None else root + self.bass)

    @property
    def symbol(self) -> str:
        """House style: ``iim7``, ``bII7``, ``V7``; lower case for a minor third. Reads back as the same chord."""
        third = self.quality.third
        numeral = _NUMERALS[self.degree_root.number - 1]
        text = self.quality.text
        if third is not None and third.alteration < 0:
            numeral = numeral.lower()
            text = "" if text == _MINOR_TRIAD else text
        accidental = self.degree_root.name.rstrip("1234567")
        return f"{accidental}{numeral}{text}" + (f"/{self.bass}" if self.bass else "")

    def __str__(self) -> str:
        return self.symbol


def parse_degree_chord(text: str) -> DegreeChord:
    """Read ``iim7``, ``♭II7``, ``#IV°7``, ``V7/V``, ``I/3``. Raises `ChordError`.

    >>> parse_degree_chord("V7/V").on(Note.parse("C")).symbol
    'D7'
    >>> parse_degree_chord("ii7").quality.text
    'm7'
    """
    match = _HEAD.match(text)
    if match is None:
        raise ChordError(text, len(text) - len(text.lstrip()), "a numeral I to VII or i to vii, with b or # before it")
    root = _degree(match[1], match[2])
    applied = _APPLIED.search(text, match.end())
    end = applied.start() if applied else len(text)
    minor = match[2].islower() and not _NAMES_ITS_THIRD.match(text, match.end(), end)
    quality, bass = parse_quality_and_bass(text, match.end(), end, "m" if minor else "")
    if applied:
        root = Degree.from_step(root.step + _degree(applied[1], applied[2]).step)
        if abs(root.alteration) > 2:
            raise ChordError(text, applied.start(1), "a numeral nearer to the key")
    return DegreeChord(root, quality, bass)
