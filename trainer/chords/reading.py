"""Reading chord symbols: every spelling in common use, by table.

A symbol is a root, a head (words, a number, sus), a tail of changes, and a bass. Words, numbers, suspensions and
changes are table rows; the only grammar is their order. Places in errors are offsets into the text as given: signs are
translated one for one before reading.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final, NoReturn

from trainer.chords.published import read_published
from trainer.chords.qualities import Chord, ChordError, Quality, make_chord, quality_of_tones
from trainer.chords.spellings import CLASS_OF, GERMAN_ROOTS, IN_WORDS, ROOTS, SIGNS, word_pattern
from trainer.chords.tones import (
    ALTERED,
    ANY,
    BIT_OF_DEGREE,
    CHANGES,
    ELEVENTH,
    FIFTH,
    HEADS,
    PLAIN,
    SEVENTHS,
    SUSPENSIONS,
    THIRD,
    settled,
    tones,
)
from trainer.chords.writing import TEXTS
from trainer.pitch import Degree, Note

_ROOT_SIGN: Final = r"bb(?!5)|##(?!5)|b(?!5,)|#(?!5,)|x|𝄫|s(?!us)"
# A flat or sharp belongs to the letter before it, but the second of two before a 5, and one before a comma list after
# 5, belongs to the 5: Dbb5, Cb5,7.
_ROOT: Final = re.compile(rf"\s*([A-G](?:--?(?=:)|{_ROOT_SIGN})?)(\s?:)?")
_LOWER_ROOT: Final = re.compile(r"\s*(b(?:b(?=m|\s*$))?(?=m|\s*$|\s?/)|[ac-g](?:bb|##|[b#])?)(?=\W|[mMo\d]|sus|$)()")
_GERMAN_ROOT: Final = re.compile(
    r"\s*([AE]s(?!us)|[ACDEFGH]is|[CDFG]es|[ACDEFG](?:bb(?!5)|##(?!5)|[b#])?|H[b#]?|Bb?)(\s?:)?"
)


_SUS: Final = r"(?:sus(?:pended)?|Sus|SUS)"
_FOURTH_OR_SECOND: Final = r"(?:2/4|4/2|24|42|2|4)"
_BY: Final = rf"\s?{_FOURTH_OR_SECOND}|\s?\({_FOURTH_OR_SECOND}\)"
_HEAD: Final = re.compile(
    rf"\s*(?:({word_pattern('dm-M^oh+')})\s?({word_pattern('M^+')})?)?"
    rf"\s?(?:({_SUS})({_BY})?\s?)?"
    rf"(6/9|9/6|69|96|13|11|9|7|6|5|4|2|power)?(?:({_SUS})({_BY})?)?"
)
"""First word, second word, sus before the number and what suspends, number, sus after it and what suspends."""

_SIGN: Final = r"bb|##|[b#+\-♮]"
_TAIL: Final = re.compile(
    r"(?P<seventh_after>7M)"
    r"|(?P<loose>(?<!\d)[b#])\s(?=\d)"
    r"|(?P<run>(?:[b#+\-♮\d]|s(?=[\ds),/]|$))+)"
    r"|(?P<bass>[/\\]\s?(?:[A-H](?:bb|##|[b#x𝄫]|is|es|s(?!us))?|[a-g][b#+\-]?(?=[\s(]|$)))"
    rf"|(?P<low>[/\\]\s?(?P<low_sign>{_SIGN})?(?P<low_number>1[0-3]|[1-9])(?=\s*$))"
    r"|(?P<open>[(\[])|(?P<close>[)\]])"
    rf"|[\s,;.]*(?:[aA]dd|ADD)\s?(?P<add>(?:[mM]aj|ma|M|\^)7|7M|(?:{_SIGN})?1?\d)(?:th|nd|rd)?"
    r"|(?P<gap>[\s,;.]*alter\s|[\s,;.]+)"
    r"|(?P<slash>/\s?(?=[b#♮+\-]?\d|[mM]aj|ma|M|j|add|sus|\^))"
    rf"|{_SUS}(?P<sus>{_BY}|)"
    r"|(?:no|No|NO|[oO]mit|OMIT|subtract)\s?(?P<no>1?\d|root|R)(?:th|rd|d)?"
    r"|\*(?P<star>(?:bb|##|[b#])?1?\d)"
    r"|(?P<alt>(?:[aA]lt(?:ered)?|ALT)[.7]?)"
    r"|(?:maj(?:or)?|Maj|MAJ|ma|Ma|MA|M)(?:\s(?=7|9|1[13]))?(?P<major>7|9|11|13|)"
    r"|[\^j](?P<triangle>7|9|11|13|)"
    r"|(?P<sign>flat|sharp|aug|dim)\s?(?=\d)"
    r"|(?P<raised>aug)"
    r"|(?<=[\s,])(?P<minor>min?|m)(?=7)"
)
_PREFIXED: Final = re.compile(rf"({_SIGN}|s|)(1[0-5]|[2-9])")
_POSTFIXED: Final = re.compile(rf"(1[0-5]|[2-9])({_SIGN}|s|)")
_ALTERATIONS: Final = {None: 0, "": 0, "b": -1, "-": -1, "#": 1, "+": 1, "s": 1, "bb": -2, "##": 2, "♮": 0}
_SIGN_WORDS: Final = {"flat": "b", "dim": "b", "sharp": "#", "aug": "#", "b": "b", "#": "#"}
_CHANGES: Final = {
    sign + str(number): change
    for (alteration, number), change in CHANGES.items()
    for sign, meaning in _ALTERATIONS.items()
    if sign and meaning == alteration
}
_PLAIN_ADDED: Final = {str(number): PLAIN[number] for number in (2, 6, 9, 11, 13)}
_USUAL_AFTER: Final = {
    sign + number
    for number in ("5", "6", "9", "11", "13")
    for sign in "b#-+s"
    if (sign, number) not in {("b", "11"), ("-", "11")}
} - {"#13", "+13", "s13"}
# Changes as most charts write them, in one go: b9#11, (b9,#11,13).
_ITEM: Final = r"[b#](?:5|9|11|13)"
_LIST: Final = re.compile(rf"\(({_ITEM}(?:,?\s?{_ITEM}|,\s?(?:9|11|13)\b)*)\)|((?:{_ITEM})+)(?![\db#+\-♮s])")
_NO_DIGITS: Final = re.compile(r"\D+")
_CAPITAL_FLAT: Final = re.compile(r"B(?:5|9|13)")
_ITEMS: Final = re.compile(r"[b#]?\d+")
_NO_CHORDS: Final = re.compile(r"\s*(?:N\.?\s?C\.?|n\.?\s?c\.?|N|[nN][oO]\s?[cC]hord|NO CHORD)\s*$")

_EXPECTED_ROOT: Final = "a root A to G with b or #, as in Bb7, or N.C."
_EXPECTED_CHANGE: Final = "a change such as b9, #11, sus4, add9 or no5, or a slash and a bass"
_EXPECTED_BASS: Final = "the end of the symbol; a bass is one note, as in C7/E"

_NUMBER_NAMES: Final = {"6/9": "69", "9/6": "69", "96": "69", "power": "5", None: ""}
_SEVENTH: Final = tones("7")
_SIXTHS_OR_SEVENTHS: Final = SEVENTHS | ANY[6]
_UPPER: Final = (9, 11, 13)
_FURTHER: Final = (6, 9, 11, 13)
"""After a slash behind a plain triad these are further tones: no chart counts a bass so far up."""
_UNSURE_ROOTS: Final = {"As", "Es"}


class _Reader:
    """Reads one quality, and the bass after it, from an offset of the symbol on."""

    # Defaults in the class: most symbols change few of them, and reading is measured.
    mask = optional = added = seventh = named = 0
    number = word = note = bass = numbered = ""
    implied = literal = suspended = by_degree = False
    bass_at = alt_at = -1
    low: Degree | None = None

    def __init__(self, text: str, source: str, start: int) -> None:
        self.text = text
        self.source = source
        self.start = self.bare_at = start

    def fail(self, at: int, expected: str = _EXPECTED_CHANGE, reason: str = "") -> NoReturn:
        raise ChordError(self.text, at, expected, reason)

    def read(self) -> None:
        """Head, tail and bass into `mask`, `optional`, `bass` or `low`, and `note`."""
        source = self.source
        match = _HEAD.match(source, self.start)
        assert match is not None
        first, second, early, by, number, late, late_by = match.groups()
        word = ""
        if first:
            word = CLASS_OF[first]
            if second:
                word += CLASS_OF[second]
        number = _NUMBER_NAMES.get(number, number)
        end = match.end()
        head = HEADS.get((word, number))
        if head is None:
            if number:
                self.fail(match.start(5), _EXPECTED_CHANGE, f"{number} means nothing after {first}")
            self.fail(end, _EXPECTED_CHANGE, f"{second} means nothing after {first}")
        self.mask, self.optional, self.seventh = head
        self.number, self.word = number, word
        if word and (word, number) in _HEAD_NOTES:
            self.note = _HEAD_NOTES[word, number]
        if early:
            self.suspend(by or "")
        if late:
            self.suspend(late_by or "")
        if end < len(source):
            self.tail(end, "" if late else number)
            if not (self.mask | self.added) & _SIXTHS_OR_SEVENTHS:
                if self.implied:
                    self.mask |= self.seventh
                    self.note = "read with a seventh under the altered tone; write add for the tone alone"
                elif self.literal:
                    self.note = "read without a seventh; write 7 before the bracket for one"
                elif self.numbered and not self.note:
                    self.note = f"read without a seventh; write {self.numbered} without the bracket for one"
            self.mask |= self.added
            if self.alt_at >= 0:
                # A tone of alt that is named as well is meant to sound.
                self.optional &= ~(self.named | self.added)
                if self.mask != ALTERED.tones:
                    self.fail(
                        self.alt_at, "7 and the altered tones by name", "alt has its own tones: b9, #9, #11 and b13"
                    )
        self.mask, self.optional = settled(self.mask, self.optional)

    def suspend(self, by: str) -> None:
        by = _NO_DIGITS.sub("", by)
        if self.word in ("m", "-"):
            self.note = f"read without the minor third; write add{by or '4'} to keep it"
        self.mask = self.mask & ~ANY[3] & ~(self.optional & ELEVENTH) | SUSPENSIONS[by]
        if self.number == "11":
            self.mask &= ~ELEVENTH
        if "2" in by:
            self.mask &= ~PLAIN[9]
        self.optional &= self.mask
        self.suspended = True

    def tail(self, at: int, touching: str) -> None:
        """Everything after the head. `touching` is the head's number, for what follows it without a gap."""
        source, length, depth, sign = self.source, len(self.source), 0, ""
        if source[at] in "(b#" and self.mask & _SIXTHS_OR_SEVENTHS:
            listed = _LIST.match(source, at)
            if listed is not None:
                self.listed(listed[0])
                at = listed.end()
                touching = ""
        match_tail = _TAIL.match
        while at < length:
            match = match_tail(source, at)
            if match is None:
                if at > self.start and _CAPITAL_FLAT.match(source, at) and (depth or not source[at - 1].isspace()):
                    self.source = source = f"{source[:at]}b{source[at + 1 :]}"
                    self.note = "read with the capital B as a flat; write b"
                    continue
                if source.startswith("ped", at):
                    self.fail(at, "a chord and a slash and the bass held, as in F/C", "a pedal names no chord tones")
                if depth:
                    self.fail(at, "a change such as b9, or )")
                self.fail(at)
            kind = match.lastgroup
            end = match.end()
            if kind == "run":
                self.run(at, match[0], touching, sign, depth)
                sign = ""
            elif kind == "gap" or kind == "slash":
                pass
            elif kind == "open":
                depth += 1
            elif kind == "close":
                depth -= 1
                if depth < 0:
                    self.fail(at, _EXPECTED_CHANGE, "this bracket was not opened")
                if source[at - 1] in "([":
                    self.fail(at, "a change such as b9", "the brackets are empty")
            elif kind == "bass":
                if depth or self.bass:
                    self.fail(at, _EXPECTED_BASS)
                if end < length and source[end] not in " (\t\u00a0":
                    self.fail(end, _EXPECTED_BASS)
                self.bass = match["bass"][1:].lstrip()
                self.bass_at = end - len(self.bass)
            elif kind == "low":
                self.lower(at, _ALTERATIONS[match["low_sign"]], int(match["low_number"]), match, depth)
            elif kind == "sus":
                self.suspend(match["sus"])
            elif kind == "add":
                self.add(match.start("add"), match["add"])
            elif kind == "no" or kind == "star":
                self.omit(at, match[kind])
            elif kind == "alt":
                self.alter(at)
            elif kind == "major":
                self.major(match["major"], bool(touching), False)
            elif kind == "seventh_after":
                self.major("7", False, False)
            elif kind == "triangle":
                self.major(match["triangle"], bool(touching), True)
            elif kind == "sign" or kind == "loose":
                sign = _SIGN_WORDS[match[kind]]
            elif kind == "raised":
                self.change(at, 1, 5, depth)
            elif kind == "minor":
                self.change(at, -1, 3, depth)
            touching = ""
            at = end
        if depth:
            self.fail(length, ") or a further change", "a bracket is not closed")

    def listed(self, text: str) -> None:
        """Changes of the plain kind to a chord with its seventh or sixth: b9#11, (b9,#11,13)."""
        mask = self.mask
        for item in _ITEMS.findall(text):
            change = _CHANGES.get(item)
            if change is None:
                self.added |= _PLAIN_ADDED[item]
            else:
                mask = mask & ~change.clear | change.set
        self.mask = mask

    def run(self, at: int, run: str, touching: str, sign: str, depth: int) -> None:
        """Numbers and accidentals without a gap: b9#11, 9b13b, 911#, -5, a lone +.

        The accidental stands before its number, unless the run ends in one (9b13b) or goes on from the head's own
        number (the 9b13 of 79b13): then after it.
        """
        run = sign + run
        ends_in_sign = not run[-1].isdigit()
        starts_in_sign = not run[0].isdigit()
        if ends_in_sign and starts_in_sign:
            if run[0] == "+" and (run == "+" or touching == "7"):
                self.change(at, 1, 5, depth)
                if touching == "5":
                    self.mask |= THIRD
                elif touching:
                    self.note = (
                        "read as a raised fifth; in some countries this + means the major seventh, written maj7 here"
                    )
                run = run[1:]
                if not run:
                    return
                at += 1
            elif touching in ("5", "6", "9", "11", "13"):
                run = touching + run
                at -= len(touching)
                if touching == "5":
                    self.mask |= THIRD
                elif run == "9-":
                    self.note = "read as b9; write m9 for minor"
            else:
                self.fail(at)
        elif run[:2] in ("+b", "+#"):
            self.change(at, 1, 5, depth)
            run = run[1:]
            at += 1
        elif touching == "6" and run == "-9":
            self.note = "read as b9; write 6/9 for the plain ninth"
        postfixed = ends_in_sign or (touching and not starts_in_sign)
        pairs = _POSTFIXED if postfixed else _PREFIXED
        if postfixed and not ends_in_sign and not run.isdigit():
            self.note = "read with each accidental after its number; write 7(9,b13) for the other reading"
        items = pairs.findall(run)
        mixed = ends_in_sign and starts_in_sign
        place = 0
        for before, after in items:
            sign, digits = (after, before) if postfixed else (before, after)
            if sign:
                change = _CHANGES.get(sign + digits)
                if change is None:
                    self.fail(at + place, _EXPECTED_CHANGE, "no chord has this degree")
                if mixed and sign + digits not in _USUAL_AFTER:
                    self.fail(
                        at + place, "brackets or commas, as in 11(b9,b13)", "it is unclear whose accidental this is"
                    )
                self.mask = self.mask & ~change.clear | change.set
                self.named |= change.set
                if digits not in "234567":
                    self.altered(depth)
            elif digits in _PLAIN_ADDED:
                self.added |= _PLAIN_ADDED[digits]
                if digits in ("9", "11", "13"):
                    self.numbered = digits
            else:
                self.plain(at + place, int(digits))
            place += len(before) + len(after)
        if place != len(run):
            self.fail(at + place)

    def altered(self, depth: int) -> None:
        """Note an altered 9, 11 or 13, which stands on a seventh unless a bracket or `add` says otherwise."""
        if depth and self.word != "M" and not self.suspended:
            self.literal = True
        else:
            self.implied = True

    def change(self, at: int, alteration: int, number: int, depth: int) -> None:
        change = CHANGES.get((alteration, number))
        if change is None:
            self.fail(at, _EXPECTED_CHANGE, "no chord has this degree")
        self.mask = self.mask & ~change.clear | change.set
        self.named |= change.set
        if number in _UPPER:
            self.altered(depth)

    def plain(self, at: int, number: int) -> None:
        """A number without accidental after the head: 7(13), C(9), 6/9, 7911."""
        if str(number) in _PLAIN_ADDED:
            self.added |= PLAIN[number]
        elif number == 7 and not self.mask & SEVENTHS:
            self.added |= self.seventh
        elif number == 4 and self.mask & THIRD:
            self.suspend("4")
            self.note = "read as sus4; write add4 to keep the third"
        elif number == 4:
            self.added |= PLAIN[4]
        elif number == 5 and self.mask & THIRD and self.mask & FIFTH and not self.number and not self.word:
            self.mask &= ~THIRD
        else:
            self.fail(at, _EXPECTED_CHANGE, f"a plain {number} changes nothing")

    def lower(self, at: int, alteration: int, number: int, match: re.Match[str], depth: int) -> None:
        """A number after the last slash: a bass by degree (C/3, Am/b7), or one more tone (C6/9, C7/b9)."""
        bare = at == self.bare_at
        further = (
            number in _FURTHER and not self.by_degree
            if bare
            else not (
                number in (1, 3)
                and alteration <= 0
                or number == 5
                and not alteration
                or number == 7
                and (alteration < 0 or self.mask & SEVENTHS)
            )
        )
        if not further:
            if depth:
                self.fail(at)
            self.low = Degree(number, alteration) if number > 1 else None
            self.note = (
                "read as a bass by its degree; write a bracket, as in C(add9), for a further tone"
                if bare
                else "read as a bass by its degree; write b5 or #5 for an altered fifth"
                if number == 5
                else ""
            )
            return
        if not (self.mask | self.added) & _SIXTHS_OR_SEVENTHS:
            self.note = "read as a further tone; write a bass by its name, as in C/A"
        if match["low_sign"]:
            self.change(match.start("low_sign"), alteration, number, 0)
        else:
            self.plain(match.start("low_number"), number)

    def add(self, at: int, text: str) -> None:
        if text[-2:] in ("j7", "a7", "M7", "^7", "7M"):
            self.added |= _SEVENTH
            return
        match = _PREFIXED.fullmatch(text)
        if match is None:
            self.fail(at, "a degree to add, 2 to 15, as in add9")
        number = int(match[2])
        if number == 7 and not match[1]:
            self.added |= self.seventh
        else:
            self.added |= BIT_OF_DEGREE[Degree(number, _ALTERATIONS[match[1]])]

    def omit(self, at: int, text: str) -> None:
        """A tone left out; the third of a chord that has none already may be named too (sus4 no3)."""
        number = int(text.lstrip("b#")) if text not in ("root", "R") else 1
        places = ANY.get(number, 0)
        if not self.mask & places and number != 3:
            self.fail(at, _EXPECTED_CHANGE, "this chord has no such tone to leave out")
        self.mask &= ~places
        self.optional &= self.mask

    def alter(self, at: int) -> None:
        if self.word not in ("", "d", "+") or self.number not in ("", "7") or self.suspended:
            self.fail(at, _EXPECTED_CHANGE, "only a dominant seventh is altered")
        self.mask = ALTERED.tones
        self.optional = ALTERED.optional
        self.alt_at = at

    def major(self, stack: str, touching: bool, triangle: bool) -> None:
        """maj or a triangle after the head: 7M, m(maj7), °7(maj7)."""
        if not (stack or touching or triangle or self.mask & _NOT_MAJOR):
            return
        self.mask = self.mask & ~_FLAT_SEVENTH | _SEVENTH
        stacked = HEADS["M", stack or "7"]
        self.mask |= stacked.tones & ~_MAJOR_SEVENTH_CHORD
        self.optional |= stacked.optional & ANY[11]

    def chord(self, root: Note, roots: dict[str, Note]) -> Chord:
        """What was read, on a root."""
        quality = quality_of_tones(self.mask, self.optional)
        if self.bass:
            name = self.bass[0].upper() + _LOWER_SIGNS.get(self.bass[1:], self.bass[1:])
            bass = roots.get(name)
            if bass is None:
                self.fail(self.bass_at, "a bass A to G with b or #, as in C7/Eb", "no such note in these note names")
            return make_chord(root, quality, bass, self.note)
        if self.low is not None:
            return make_chord(root, quality, root + self.low, self.note)
        return make_chord(root, quality, None, self.note)


_FLAT_SEVENTH: Final = tones("b7")
_NOT_MAJOR: Final = tones("b3 #5")
_MAJOR_SEVENTH_CHORD: Final = tones("1 3 5 7")
_LOWER_SIGNS: Final = {"+": "#", "-": "b"}
_HEAD_NOTES: Final = {
    ("-", "5"): "read as a flat five; write m for minor",
    ("m+", "7"): "read as minor with major seventh; write m7(#5) for a raised fifth",
    ("-+", "7"): "read as minor with major seventh; write m7(#5) for a raised fifth",
}


def parse_quality(text: str) -> Quality:
    """A quality text without root: ``m7``, ``-7b5``, ``7(b9,#11)``. Raises `ChordError`.

    >>> parse_quality("-7b5").degrees
    (Degree('1'), Degree('b3'), Degree('b5'), Degree('b7'))
    """
    reader = _Reader(text, text if text.isascii() else text.translate(SIGNS), 0)
    reader.read()
    if reader.bass or reader.low is not None:
        raise ChordError(text, len(text), "no bass: a quality stands without root and bass")
    return quality_of_tones(reader.mask, reader.optional)


def parse_quality_and_bass(text: str, start: int, end: int, before: str) -> tuple[Quality, Degree | None]:
    """A quality from `start` to `end` of a longer text, read as if `before` stood before it, and its bass by degree.

    Places in errors are offsets into `text`. Raises `ChordError`.
    """
    part = text[start:end]
    reader = _Reader(before + part, before + (part if part.isascii() else part.translate(SIGNS)), 0)
    reader.bare_at, reader.by_degree = len(before), True
    try:
        reader.read()
        if reader.bass:
            reader.fail(len(before + part), "no bass by name; a chord by degree has its bass by degree, as in I/3")
    except ChordError as error:
        at = max(error.at - len(before), 0) + start
        raise ChordError(text, at, error.expected, error.reason) from None
    return quality_of_tones(reader.mask, reader.optional), reader.low


_COMMON: Final = {
    text: parse_quality(text)
    for text in (
        *TEXTS,
        *"-7 -9 -6 -11 ^7 ^9 ^13 h7 o7 o j7 -j7 ^ M7 ma7 mi7 mi 7b9 7#9".split(),
        *"7#11 7#5 7b5 -7b5 7sus sus 69 13b9 9sus".split(),
    )
}
"""The qualities that charts are full of, read once; every other text is read when it comes."""

_COMMON.update((words, parse_quality(quality)) for words, quality in IN_WORDS.items())
_POWER: Final = _COMMON["5"]

_NOTHING: Final = quality_of_tones(0, 0)


_AFTER_ROOT: Final = re.compile(r"(\s?)([b#]?)(1[0-5]|[2-9])")


def _note_on_root(name: str, source: str, start: int) -> str:
    """A remark where an accidental between the root's letter and a number could belong to either; else empty."""
    match = _AFTER_ROOT.match(source, start)
    if match is None:
        return ""
    gap, sign, number = match.groups()
    alone = match.end() == len(source)
    if gap:
        return (
            f"read as the root {name}; write {name}{sign} without the space for that root"
            if sign and name in "ABCDEFG"
            else ""
        )
    if sign:
        if number == "5" and (source[start - 1] == sign or source.startswith(",", match.end())):
            return f"read as {name} with an altered fifth; write {name}{sign}(no3) for the fifth alone"
        return ""
    shorter, last = name[:-1], name[-1]
    if number == "5" and alone and last in "b#":
        return f"read as {name} with its fifth alone; write {shorter}({last}5) for an altered fifth"
    if len(name) == 3:
        other = f"({last}{number})" if last + number in _USUAL_AFTER else number
        return f"read as the root {name}; write {shorter}{other} for the root {shorter}"
    return ""


_BRACKETED: Final = re.compile(r"\s*\((\s*[A-Ha-g][^()]*(?:\([^()]*\)[^()]*)*)\)\s*")


def _without_brackets(text: str, first: int, last: int, german: bool) -> Chord:
    """A whole symbol in brackets, which lie just outside `first` and `last`. Raises `ChordError`."""
    try:
        chord = parse(" " * first + text[first:last], german=german)
    except ChordError as error:
        raise ChordError(text, error.at, error.expected, error.reason) from None
    return replace(chord, reading=chord.reading or "read without the brackets around it")


def parse(text: str, *, german: bool = False) -> Chord:
    """A chord symbol as written on charts. Raises `ChordError`.

    With `german`, H is B, B is Bb, and Fis, Es and As are read.

    >>> parse("E♭°7").notes
    (Note('Eb'), Note('Gb'), Note('Bbb'), Note('Dbb'))
    >>> parse("N.C.").symbol
    'N.C.'
    >>> parse("Db5").reading
    'read as Db with its fifth alone; write D(b5) for an altered fifth'
    """
    source = text if text.isascii() else text.translate(SIGNS)
    roots = GERMAN_ROOTS if german else ROOTS
    match = (_GERMAN_ROOT if german else _ROOT).match(source)
    note = ""
    if match is None:
        if _NO_CHORDS.match(source):
            return Chord(None, _NOTHING)
        match = None if german else _LOWER_ROOT.match(source)
        if match is None and (bracketed := _BRACKETED.fullmatch(source)) is not None:
            first, last = bracketed.span(1)
            return _without_brackets(text, first, last, german)
        if match is None:
            at = len(source) - len(source.lstrip())
            hint = "H is the German B, read only with the German names on" if source[at : at + 1] == "H" else ""
            raise ChordError(text, at, _EXPECTED_ROOT, hint)
        note = f"read as the root {match[1].capitalize()}; write roots as capitals"
    name, colon = match.groups()
    root = roots.get(name) or roots[name[0].upper() + name[1:].replace("-", "b")]
    start = match.end()
    if colon:
        published = read_published(text, source, root, start)
        if published is not None:
            return published
    else:
        quality_text, slash, bass_text = source[start:].partition("/")
        common = _COMMON.get(quality_text)
        if (
            common is not None
            and not note
            and name not in _UNSURE_ROOTS
            and not (len(name) > 1 and (common is _POWER or len(name) > 2 and quality_text[:1].isdigit()))
        ):
            if not slash:
                return make_chord(root, common, None, "")
            if bass_text in roots:
                return make_chord(root, common, roots[bass_text], "")
    reader = _Reader(text, source, start)
    reader.read()
    if note and not reader.note:
        reader.note = note
    elif not colon and (root_note := _note_on_root(name, source, start)):
        reader.note = root_note
    elif name in _UNSURE_ROOTS and not german:
        reader.note = f"read as {name[0]}#; with the German names on it is {name[0]}b"
    return reader.chord(root, roots)
