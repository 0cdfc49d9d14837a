"""Chord and quality as frozen values, and the one error of the chord modules.

Source of the colours: the rows of the voicing table (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from trainer.chords.tones import ALTERED, ANY, BIT_OF_DEGREE, BIT_OF_NAME, DEGREE_OF_BIT, degrees_of, tones
from trainer.chords.writing import HOUSE, NO_CHORD, write_root, write_tones
from trainer.pitch import Degree, Note

_LONGEST_TOLD: Final = 60
"""Characters of an unreadable symbol that its error repeats; the longest symbol in use has some twenty."""


class ChordError(ValueError):
    """A chord symbol that cannot be read: `text`, the offset `at` where reading stopped, what could stand there."""

    def __init__(self, text: str, at: int, expected: str, reason: str = "") -> None:
        self.text = text
        self.at = min(max(at, 0), len(text))
        self.expected = expected
        self.reason = reason
        super().__init__(text, at, expected, reason)

    def __str__(self) -> str:
        found = self.text[self.at : self.at + 12]
        place = f"at {found!r} (character {self.at + 1})" if found else "at its end"
        why = f": {self.reason}" if self.reason else ""
        text = self.text if len(self.text) <= _LONGEST_TOLD else f"{self.text[:_LONGEST_TOLD]}..."
        return f"{text!r} cannot be read as a chord {place}{why}; here could stand {self.expected}"


COLOURS: Final = (
    "major",
    "minor",
    "dim",
    "aug",
    "power",
    "maj7",
    "6",
    "m7",
    "7",
    "m7b5",
    "dim7",
    "m6",
    "mMaj7",
    "sus",
    "alt",
    "augmaj7",
    "dimMaj7",
    "none",
)
"""Every colour: the seventh chord (or triad) that a quality rests on. ``none`` is that of N.C."""

_THIRDS: Final = {tones("3"): "major", tones("b3"): "minor"}

# third, seventh or sixth -> colour; the fifth then refines it in _BY_FIFTH.
_BY_SEVENTH: Final = {
    ("major", "b7"): "7",
    ("major", "7"): "maj7",
    ("major", "bb7"): "6",
    ("major", "6"): "6",
    ("major", ""): "major",
    ("minor", "b7"): "m7",
    ("minor", "7"): "mMaj7",
    ("minor", "bb7"): "dim7",
    ("minor", "6"): "m6",
    ("minor", ""): "minor",
    ("", "b7"): "7",
    ("", "7"): "maj7",
    ("", "bb7"): "dim7",
    ("", "6"): "6",
    ("", ""): "power",
}
_BY_FIFTH: Final = {
    ("maj7", "#5"): "augmaj7",
    ("major", "#5"): "aug",
    ("m7", "b5"): "m7b5",
    ("mMaj7", "b5"): "dimMaj7",
    ("m6", "b5"): "dim7",
    ("minor", "b5"): "dim",
}


def _colour(mask: int, optional: int) -> str:
    if not mask:
        return "none"
    if optional & ALTERED.optional and mask & ALTERED.tones == ALTERED.tones:
        return "alt"
    third = "major" if mask & BIT_OF_NAME["3"] else "minor" if mask & BIT_OF_NAME["b3"] else ""
    if not third and mask & (ANY[4] | ANY[2]):
        return "sus"
    seventh = next((name for name in ("b7", "bb7", "7", "6") if mask & BIT_OF_NAME[name]), "")
    colour = _BY_SEVENTH[third, seventh]
    fifths = mask & ANY[5]
    fifth = DEGREE_OF_BIT[fifths].name if fifths in DEGREE_OF_BIT else ""
    return _BY_FIFTH.get((colour, fifth), colour)


_OPEN_DOMINANT: Final = tones("1 3 5 b7")


def _mask(degrees: Iterable[Degree]) -> int:
    mask = 0
    for degree in degrees:
        mask |= BIT_OF_DEGREE[degree]
    return mask


@dataclass(frozen=True, slots=True)
class Quality:
    """A chord without its root: degrees in stack order, and which of them may be left out.

    >>> Quality.of("1 3 5 b7 9 (11) 13").text
    '13'
    """

    degrees: tuple[Degree, ...]
    optional: frozenset[Degree] = frozenset()
    tones: int = field(init=False, default=0, repr=False, compare=False)
    """The tone mask of `degrees`."""
    steps: tuple[int, ...] = field(init=False, default=(), repr=False, compare=False)
    """Steps along the line of fifths, one for one with `degrees`."""

    def __post_init__(self) -> None:
        tones = _mask(self.degrees)
        degrees = degrees_of(tones)
        object.__setattr__(self, "degrees", degrees)
        object.__setattr__(self, "tones", tones)
        object.__setattr__(self, "steps", tuple(degree.step for degree in degrees))

    @staticmethod
    def of(text: str) -> Quality:
        """From degrees, the optional ones in brackets: ``1 b3 5 b7 (9)``. Raises `ChordError`."""
        mask = optional = 0
        for word in text.split():
            name = word.strip("()")
            if name not in BIT_OF_NAME:
                raise ChordError(text, text.find(word), "degrees such as 1 b3 5 b7 (9)")
            mask |= BIT_OF_NAME[name]
            optional |= BIT_OF_NAME[name] if word != name else 0
        return quality_of_tones(mask, optional)

    @property
    def text(self) -> str:
        """House style, without root: ``m7``, ``7(b9)``; empty for a major triad."""
        return written(self, HOUSE)

    @property
    def colour(self) -> str:
        """One of `COLOURS`."""
        return _colour_of(self)

    def _first(self, number: int) -> Degree | None:
        return next((degree for degree in self.degrees if degree.number == number), None)

    @property
    def third(self) -> Degree | None:
        return self._first(3)

    @property
    def fifth(self) -> Degree | None:
        return self._first(5)

    @property
    def seventh(self) -> Degree | None:
        return self._first(7)

    @property
    def ninth(self) -> Degree | None:
        return self._first(9)

    @property
    def open(self) -> bool:
        """A dominant that names no tension, so allows those of its scale."""
        return self.tones == _OPEN_DOMINANT

    def __repr__(self) -> str:
        shown = (f"({degree})" if degree in self.optional else str(degree) for degree in self.degrees)
        return f"Quality.of({' '.join(shown)!r})"

    def __str__(self) -> str:
        return self.text


@lru_cache(maxsize=4096)
def quality_of_tones(mask: int, optional: int) -> Quality:
    """The quality of two tone masks; equal masks give one object."""
    return Quality(degrees_of(mask), frozenset(degrees_of(optional)))


@lru_cache(maxsize=4096)
def _colour_of(quality: Quality) -> str:
    return _colour(quality.tones, _mask(quality.optional))


@lru_cache(maxsize=4096)
def written(quality: Quality, style: str) -> str:
    """A quality in one of the writing styles. Raises `KeyError` for an unknown style."""
    return write_tones(quality.tones, _mask(quality.optional), style)


_NOTES: Final = {fifths: Note(fifths) for fifths in range(-60, 61)}


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord symbol read: root (None for N.C.), quality, and the bass where a slash names one.

    `reading` is empty, or one sentence where the text could mean something else: which reading was taken and how to
    write the other. It takes no part in equality.
    """

    root: Note | None
    quality: Quality
    bass: Note | None = None
    reading: str = field(default="", compare=False)

    @property
    def degrees(self) -> tuple[Degree, ...]:
        return self.quality.degrees

    @property
    def notes(self) -> tuple[Note, ...]:
        """Spelled notes, one for one with the degrees; the bass is not among them unless it is a chord tone."""
        if self.root is None:
            return ()
        root = self.root.fifths
        return tuple([_NOTES[root + step] for step in self.quality.steps])

    @property
    def symbol(self) -> str:
        """House style, ASCII: ``Cm7``, ``Bb7(b9)/D``, ``N.C.``; reads back as the same chord."""
        return self.write(HOUSE)

    def write(self, style: str) -> str:
        """In one of the writing styles (`STYLES`); reads back as the same chord. Raises `KeyError` for another name."""
        if self.root is None:
            return NO_CHORD
        text = written(self.quality, style)
        if text[:1] == "5" and abs(self.root.alteration) > 1:
            # Dbb5 is read as Db with a flat five.
            text = f"({text[2:-1]},no3)" if len(text) > 1 else "(no3)"
        text = write_root(self.root.name, style) + text
        return text if self.bass is None else f"{text}/{write_root(self.bass.name, style)}"

    def on(self, root: Note) -> Chord:
        """The same chord on another root; the bass keeps its interval. N.C. stays N.C."""
        if self.root is None:
            return self
        bass = None if self.bass is None else Note(self.bass.fifths - self.root.fifths + root.fifths)
        return Chord(root, self.quality, bass)

    def __str__(self) -> str:
        return self.symbol


_new_chord: Final = Chord.__new__
_set_root, _set_quality, _set_bass, _set_reading = (
    vars(Chord)[name].__set__ for name in ("root", "quality", "bass", "reading")
)


def make_chord(root: Note, quality: Quality, bass: Note | None, reading: str) -> Chord:
    """The same as ``Chord(...)`` in half the time, for reading: a frozen class otherwise sets each field by name."""
    chord = _new_chord(Chord)
    _set_root(chord, root)
    _set_quality(chord, quality)
    _set_bass(chord, bass)
    _set_reading(chord, reading)
    return chord
