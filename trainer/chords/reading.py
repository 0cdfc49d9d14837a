"""Reading chord symbols: every spelling in common use, by table.

A symbol is a root, a head (words, a number, sus), a tail of changes, and a bass. Words, numbers, suspensions and
changes are table rows; the only grammar is their order. Places in errors are offsets into the text as given: signs are
translated one for one before reading.
"""

from __future__ import annotations

import re
from typing import Final, NoReturn

from trainer.chords.qualities import Chord, ChordError, Quality, quality_of_tones
from trainer.chords.tones import (
    ALTERED,
    ANY,
    BIT_OF_DEGREE,
    CHANGES,
    ELEVENTH,
    HEADS,
    PLAIN,
    SEVENTHS,
    SUSPENSIONS,
    THIRD,
    TRIADS,
    settle,
    tones,
)
from trainer.pitch import Degree, Note

# One character for one, so that offsets stay true.
_SIGNS: Final = str.maketrans(
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

_ROOTS: Final = {
    letter + sign: Note.parse(letter + {"x": "##", "s": "#", "𝄫": "bb"}.get(sign, sign))
    for letter in "ABCDEFG"
    for sign in ("", "b", "#", "bb", "##", "x", "𝄫", "s")
}
_GERMAN_ROOTS: Final = {
    text.replace("B", "Bb", 1) if text[0] == "B" and len(text) == 1 else text: note for text, note in _ROOTS.items()
}


_WORDS: Final = {
    "M": "M",
    "m": "m",
    "-": "-",
    "^": "^",
    "°": "o",
    "o": "o",
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


def _variants(words: list[str]) -> str:
    """A pattern of the words, the longest first, each also capitalised and in capitals."""
    spelled = {
        form for word in words for form in ((word,) if len(word) == 1 else (word, word.capitalize(), word.upper()))
    }
    return "|".join(
        re.escape(word) + ("(?!dd|ug)" if word.lower() == "ma" else "")
        for word in sorted(spelled, key=lambda word: (-len(word), word))
    )


_SECOND: Final = [word for word, kind in _WORDS.items() if kind in "M^+"]
_SUS: Final = r"(?:sus(?:pended)?|Sus|SUS)"
_HEAD: Final = re.compile(
    rf"\s*(?:(?P<first>{_variants(list(_WORDS))})\s?(?P<second>{_variants(_SECOND)})?)?"
    rf"\s?(?:(?P<early>{_SUS})(?P<by>2/4|4/2|24|42|2|4)?\s?)?"
    r"(?P<number>6/9|9/6|69|96|13|11|9|7|6(?!\s?/9)|5|4|2)?"
)

_TAIL: Final = re.compile(
    r"(?P<run>[b#+\-♮\d]+)"
    r"|(?P<open>[(\[])|(?P<close>[)\]])"
    r"|(?P<gap>[\s,;.]+)"
    r"|(?P<slash>/\s?(?=[b#♮+\-]?\d|[mM]a?j|M\d|add|sus|\^))"
    rf"|{_SUS}(?P<sus>2/4|4/2|24|42|2|4|)"
    r"|(?i:add)\s?(?P<add>(?:maj|Maj|ma|M|\^)7|7M|(?:bb|##|[b#+\-♮])?1?\d)(?:th|nd|rd)?"
    r"|(?i:no|omit)\s?(?P<no>1?\d|root|R)(?:th|rd|d)?"
    r"|\*(?P<star>(?:bb|##|[b#])?1?\d)"
    r"|(?P<alt>(?i:alt(?:ered)?)\.?)"
    r"|(?P<major>maj(?:or)?|Maj|MAJ|ma|Ma|MA|M|\^|j)(?P<stack>7|9|11|13)?"
    r"|(?P<sign>flat|sharp|aug|dim)\s?(?=\d)"
    r"|(?P<aug>aug)"
)
_PREFIXED: Final = re.compile(r"(bb|##|[b#+\-♮])?(1[0-5]|[2-9])")
_POSTFIXED: Final = re.compile(r"(1[0-5]|[2-9])(bb|##|[b#+\-♮])?")
_BASS: Final = re.compile(r"\s*[/\\]\s*([A-Ga-g])(bb|##|[b#x𝄫s])?\s*$")
_ALTERATIONS: Final = {
    "b": -1,
    "-": -1,
    "#": 1,
    "+": 1,
    "bb": -2,
    "##": 2,
    "♮": 0,
    "flat": -1,
    "sharp": 1,
    "dim": -1,
    "aug": 1,
}
_NO_CHORDS: Final = re.compile(r"\s*(?:N\.?\s?C\.?|n\.?\s?c\.?|N|(?i:no\s?chord))\s*$")

_DEGREE_BASS: Final = re.compile(r"\s*/\s*(bb|##|[b#])?(1[0-3]|[1-9])\s*$")
_HARTE: Final = re.compile(
    r"\(\s*(\*?(?:b{1,2}|#{1,2})?(?:1[0-5]|[1-9])(?:\s*,\s*\*?(?:b{1,2}|#{1,2})?(?:1[0-5]|[1-9]))*)\s*\)\s*$"
)
_HARTE_ITEM: Final = re.compile(r"(\*?)(b{0,2}|#{0,2})(1[0-5]|[1-9])")

_EXPECTED_ROOT: Final = "a root A to G with b or #, as in Bb7, or N.C."
_EXPECTED_HEAD: Final = "m, maj, dim, aug, sus, a number such as 7, a change such as (b9), or a slash and a bass"
_EXPECTED_CHANGE: Final = "a change such as b9, #11, sus4, add9 or no5, or a slash and a bass"


class _Reader:
    """Reads one quality text; `base` is its offset in the whole symbol, for errors."""

    __slots__ = ("text", "whole", "base", "mask", "optional", "added", "seventh", "note", "number", "word")

    def __init__(self, text: str, whole: str, base: int) -> None:
        self.text = text
        self.whole = whole
        self.base = base
        self.added = 0
        self.note = ""

    def fail(self, at: int, expected: str = _EXPECTED_CHANGE, reason: str = "") -> NoReturn:
        raise ChordError(self.whole, self.base + at, expected, reason)

    def read(self) -> None:
        """Head and tail into `mask`, `optional` and `note`."""
        text = self.text
        match = _HEAD.match(text)
        assert match is not None
        first, second, early, by, number = match.groups()
        word = ""
        if first:
            word = _WORDS[first if len(first) == 1 else first.lower()]
            if second:
                word += _WORDS[second if len(second) == 1 else second.lower()]
        number = _NUMBER_NAMES.get(number, number) or ""
        end = match.end()
        head = HEADS.get((word, number))
        if head is None:
            if word in TRIADS and number:  # such as m5: give the number back to the tail, which may know it
                self.fail(match.start("number"), _EXPECTED_CHANGE, f"{number} means nothing here")
            self.fail(match.start("second"), "a number such as 7, or a change")
        self.mask, self.optional, self.seventh = head
        self.number, self.word = number, word
        if early is not None:
            self.suspend(by or "")
        if end < len(text):
            self.tail(end, number if match.end("number") == end else "")
        self.mask |= self.added
        self.optional = settle(self.mask, self.optional)

    def suspend(self, by: str) -> None:
        self.mask = self.mask & ~ANY[3] & ~(self.optional & ELEVENTH) | SUSPENSIONS[by.replace("/", "")]
        if self.number == "11":
            self.mask &= ~ELEVENTH
        self.optional &= self.mask

    def tail(self, at: int, touching: str) -> None:
        """`touching` is the head's number where the tail follows it without a gap."""
        text, whole_length, depth, sign = self.text, len(self.text), 0, ""
        match_tail = _TAIL.match
        after = ""
        while at < whole_length:
            match = match_tail(text, at)
            if match is None:
                self.fail(at, _EXPECTED_CHANGE if depth == 0 else "a change such as b9, or )")
            kind = match.lastgroup
            if kind == "run":
                self.run(at, match[0], touching if not after else "", sign, depth)
                sign = ""
            elif kind == "open":
                depth += 1
            elif kind == "close":
                depth -= 1
                if depth < 0:
                    self.fail(at, _EXPECTED_CHANGE, "this bracket was not opened")
            elif kind == "sus":
                self.suspend(match["sus"])
            elif kind == "add":
                self.add(at, match["add"])
            elif kind in ("no", "star"):
                self.omit(match[kind])
            elif kind == "alt":
                self.alter(at)
            elif kind in ("major", "stack"):
                self.major(match["major"], match["stack"] or "", at, touching if not after else "")
            elif kind == "sign":
                sign = match["sign"]
            elif kind == "aug":
                self.change(at, 1, 5)
            after = kind or ""
            at = match.end()
        if depth:
            self.fail(at, ") or a further change", "a bracket is not closed")

    def run(self, at: int, run: str, touching: str, sign: str, depth: int) -> None:
        """Numbers and accidentals without a gap: b9#11, 9b13b, 911#, -5, a lone +.

        The accidental stands before its number, unless the run ends in one (9b13b) or goes on from the head's own number
        (the 9b13 of 79b13): then after it.
        """
        if sign:
            run = {"flat": "b", "sharp": "#", "aug": "#", "dim": "b"}[sign] + run
        ends_in_sign = not run[-1].isdigit()
        starts_in_sign = not run[0].isdigit()
        if ends_in_sign and starts_in_sign:
            if run == "+" or (run[0] == "+" and touching == "7"):
                self.change(at, 1, 5)
                if touching:
                    self.note = f"read as a raised fifth; write (#{touching}) or maj7 for the other reading"
                run = run[1:]
                if not run:
                    return
            elif touching in ("5", "6", "9", "11", "13"):
                run = touching + run
                at -= len(touching)
                if touching == "5":
                    self.mask |= THIRD
            else:
                self.fail(at)
        if ends_in_sign or (touching and not starts_in_sign):
            pairs = _POSTFIXED
            if not ends_in_sign and any(character in "b#" for character in run):
                self.note = (
                    "read with each accidental after its number; write commas, as in 7(9,b13), for the other reading"
                )
        else:
            pairs = _PREFIXED
        place = 0
        while place < len(run):
            match = pairs.match(run, place)
            if match is None:
                self.fail(at + place)
            if pairs is _PREFIXED:
                accidental, number = match.groups()
            else:
                number, accidental = match.groups()
            if accidental:
                self.change(at + place, _ALTERATIONS[accidental], int(number))
            else:
                self.plain(at + place, int(number), depth)
            place = match.end()

    def change(self, at: int, alteration: int, number: int) -> None:
        change = CHANGES.get((alteration, number))
        if change is None:
            self.fail(at, _EXPECTED_CHANGE, "no chord has this degree")
        self.mask = self.mask & ~change.clear | change.set
        if number == 11:
            self.optional &= ~ELEVENTH

    def plain(self, at: int, number: int, depth: int) -> None:
        """A number without accidental after the head: 7(13), C(9), 6/9, 7911."""
        if number in (2, 6, 9, 11, 13):
            self.added |= PLAIN[number]
        elif number == 7:
            if not self.mask & SEVENTHS:
                self.added |= self.seventh
        elif number == 4:
            if self.mask & THIRD:
                self.suspend("4")
            else:
                self.added |= PLAIN[4]
        else:
            self.fail(at, _EXPECTED_CHANGE, f"a plain {number} changes nothing")

    def add(self, at: int, text: str) -> None:
        if "M" in text or "m" in text or "^" in text:
            self.added |= tones("7")
            return
        match = _PREFIXED.fullmatch(text)
        if match is None:
            self.fail(at, "a degree to add, 2 to 15, as in add9")
        alteration = _ALTERATIONS[match[1]] if match[1] else 0
        number = int(match[2])
        if number == 7 and not match[1]:
            self.added |= self.seventh
        else:
            self.added |= BIT_OF_DEGREE[Degree(number, alteration)]

    def omit(self, text: str) -> None:
        number = re.sub(r"\D", "", text) or "1"
        self.mask &= ~ANY[int(number)]
        self.optional &= self.mask

    def alter(self, at: int) -> None:
        if self.word not in ("", "d", "+") or self.number not in ("", "7"):
            self.fail(at, _EXPECTED_CHANGE, "only a dominant seventh is altered")
        self.mask = ALTERED.tones
        self.optional = ALTERED.optional

    def major(self, text: str, stack: str, at: int, touching: str) -> None:
        """maj after the head: 7M, m(maj7), °7(maj7)."""
        if not stack and not touching and text not in "^j" and not self.mask & tones("b3 #5"):
            return
        self.mask = self.mask & ~tones("b7") | tones("7")
        stacked = HEADS["M", stack or "7"]
        self.mask |= stacked.tones & ~tones("1 3 5 7")
        self.optional |= stacked.optional


_NUMBER_NAMES: Final = {"6/9": "69", "9/6": "69", "96": "69"}


def parse_quality(text: str) -> Quality:
    """A quality text without root: ``m7``, ``-7b5``, ``7(b9,#11)``. Raises `ChordError`.

    >>> parse_quality("-7b5").degrees
    (Degree('1'), Degree('b3'), Degree('b5'), Degree('b7'))
    """
    reader = _Reader(text if text.isascii() else text.translate(_SIGNS), text, 0)
    reader.read()
    return quality_of_tones(reader.mask, reader.optional)


_ROOT: Final = re.compile(r"\s*([A-G](?:bb|##|[b#x𝄫]|s(?!us))?)\s*(:?)")


def parse(text: str, *, german: bool = False) -> Chord:
    """A chord symbol as written on charts. With `german`, H is B and B is Bb. Raises `ChordError`.

    >>> parse("E♭°7").notes
    (Note('Eb'), Note('Gb'), Note('Bbb'), Note('Dbb'))
    >>> parse("N.C.").symbol
    'N.C.'
    """
    source = text if text.isascii() else text.translate(_SIGNS)
    match = _ROOT.match(source)
    if match is None:
        if _NO_CHORDS.match(source):
            return Chord(None, quality_of_tones(0, 0))
        raise ChordError(text, len(source) - len(source.lstrip()), _EXPECTED_ROOT)
    root = _ROOTS[match[1]]
    start = match.end()
    bass = None
    end = len(source)
    if "/" in source:
        slash = _BASS.search(source, start)
        if slash:
            bass = _ROOTS[slash[1].upper() + (slash[2] or "")]
            end = slash.start()
    reader = _Reader(source[start:end].rstrip(), text, start)
    reader.read()
    return Chord(root, quality_of_tones(reader.mask, reader.optional), bass, reader.note)
