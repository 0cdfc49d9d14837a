"""Chords as ``<harmony>`` elements of MusicXML 4.0, in and out; elements only, no files.

Rules, where the standard leaves room
-------------------------------------
* A degree of type *add* is counted from a dominant chord (so a plain 7 is the minor seventh), *alter* and *subtract*
  from the kind. *alter* on a degree that the kind lacks adds it.
* The thirteenth kinds hold the eleventh; here it is optional, as is the major third of an eleventh kind.
* A dominant whose kind text ends in "alt", with some of its tones in brackets or not, is the altered chord, whatever
  degrees spell it out.
* ``other`` is the root and its added degrees. ``none`` is N.C. An empty kind is read from its text.
* The functional kinds (Neapolitan, Italian, French, German, pedal, Tristan) name no chord tones in the standard and are
  refused, and so are roots given as a numeral or a function, which need a key.

Source: MusicXML 4.0, schema/musicxml.xsd (kind-value, degree-type) and its notes.
"""

from __future__ import annotations

import re
from typing import Final
from xml.etree.ElementTree import Element, SubElement

from trainer.chords.qualities import Chord, ChordError, Quality, quality_of_tones
from trainer.chords.reading import parse_quality
from trainer.chords.tones import (
    ALTERED,
    ANY,
    BIT_OF_DEGREE,
    DEGREE_OF_BIT,
    ELEVENTH,
    HEADS,
    SUSPENSIONS,
    Head,
    fits,
    settle,
    settled,
    tones,
)
from trainer.pitch import Degree, Note

_ROOT_ALONE: Final = Head(tones("1"), 0, 0)

KINDS: Final = {
    "major": HEADS["", ""],
    "minor": HEADS["m", ""],
    "augmented": HEADS["+", ""],
    "diminished": HEADS["o", ""],
    "dominant": HEADS["", "7"],
    "major-seventh": HEADS["M", "7"],
    "minor-seventh": HEADS["m", "7"],
    "diminished-seventh": HEADS["o", "7"],
    "augmented-seventh": HEADS["+", "7"],
    "half-diminished": HEADS["h", "7"],
    "major-minor": HEADS["mM", "7"],
    "major-sixth": HEADS["", "6"],
    "minor-sixth": HEADS["m", "6"],
    "dominant-ninth": HEADS["", "9"],
    "major-ninth": HEADS["M", "9"],
    "minor-ninth": HEADS["m", "9"],
    "dominant-11th": HEADS["", "11"],
    "major-11th": HEADS["M", "11"],
    "minor-11th": HEADS["m", "11"],
    "dominant-13th": HEADS["", "13"],
    "major-13th": HEADS["M", "13"],
    "minor-13th": HEADS["m", "13"],
    "suspended-second": Head(tones("1 5") | SUSPENSIONS["2"], 0, 0),
    "suspended-fourth": Head(tones("1 5") | SUSPENSIONS["4"], 0, 0),
    "power": HEADS["", "5"],
    "other": _ROOT_ALONE,
    "none": Head(0, 0, 0),
}
"""The kinds that name chord tones, of the 33 of the standard."""

FUNCTIONAL_KINDS: Final = ("Neapolitan", "Italian", "French", "German", "pedal", "Tristan")
"""The kinds that name a function and no tones."""

_ALTERED_TEXT: Final = re.compile(r"alt((?:\((?:[b#](?:9|11|13),?)+\))?)$", re.IGNORECASE)
_WRITTEN_KINDS: Final = [(kind, head) for kind, head in KINDS.items() if kind not in ("other", "none")]
_TYPES: Final = ("add", "alter", "subtract")


def _text(element: Element, path: str) -> str:
    return (element.findtext(path) or "").strip()


def _whole(element: Element, path: str, about: str) -> int:
    """A whole number below `element`, 0 where it is missing."""
    text = _text(element, path)
    try:
        number = float(text or "0")
    except ValueError:
        number = 0.5
    if number != int(number) or abs(number) > 24:
        raise ChordError(text, 0, "a whole number of semitones", f"{about} is not one")
    return int(number)


def _note(element: Element, name: str) -> Note:
    step = _text(element, f"{name}-step")
    alter = _whole(element, f"{name}-alter", f"the {name}'s alteration")
    if len(step) != 1 or step not in "ABCDEFG" or not -2 <= alter <= 2:
        raise ChordError(step, 0, f"a {name} A to G, altered by two semitones at most")
    return Note(Note.parse(step).fifths + 7 * alter)


def _changed(mask: int, optional: int, degrees: list[Element]) -> tuple[int, int]:
    for element in degrees:
        value = _whole(element, "degree-value", "the degree")
        alter = _whole(element, "degree-alter", "the degree's alteration")
        kind = _text(element, "degree-type")
        if kind not in _TYPES or value not in ANY:
            raise ChordError(f"{kind} {value}", 0, "add, alter or subtract and a degree 1 to 15")
        present = mask & ANY[value]
        if kind == "subtract":
            if not present:
                raise ChordError(f"{kind} {value}", 0, "a degree of the kind", "this chord has no such degree")
            mask &= ~present
            continue
        if kind == "alter" and present:
            lowest = present & -present
            alteration = DEGREE_OF_BIT[lowest].alteration + alter
            mask &= ~lowest
        else:
            alteration = alter - (value == 7)
        if not -2 <= alteration <= 2:
            raise ChordError(f"{kind} {value}", 0, "a degree altered by two semitones at most")
        bit = BIT_OF_DEGREE[Degree(value, alteration)]
        mask |= bit
        optional &= ~bit
    return settled(mask, optional & mask)


def read_harmony(element: Element) -> Chord:
    """The chord of one ``<harmony>`` element. Raises `ChordError`, whose text is the part that was refused."""
    kinds = element.findall("kind")
    if len(kinds) != 1:
        raise ChordError("", 0, "one kind in a harmony element", "chords stacked on one another are not read")
    shown = (kinds[0].get("text") or "").strip()
    kind = (kinds[0].text or "").strip()
    if kind == "none":
        return Chord(None, quality_of_tones(0, 0))
    root_element = element.find("root")
    if root_element is None:
        raise ChordError(kind, 0, "a root with its step", "a numeral or a function needs a key")
    root = _note(root_element, "root")
    quality = _quality(kind, shown, element.findall("degree"))
    bass_element = element.find("bass")
    if bass_element is not None:
        return Chord(root, quality, _note(bass_element, "bass"))
    inversion = _whole(element, "inversion", "the inversion")
    if not 0 <= inversion < len(quality.degrees):
        raise ChordError(str(inversion), 0, "an inversion that the chord has")
    return Chord(root, quality, root + quality.degrees[inversion] if inversion else None)


def _quality(kind: str, shown: str, degrees: list[Element]) -> Quality:
    if not kind:
        return parse_quality(shown)
    head = KINDS.get(kind)
    if head is None:
        reason = "it names a function and no chord tones" if kind in FUNCTIONAL_KINDS else ""
        raise ChordError(kind, 0, "a kind of MusicXML 4.0 with chord tones, as dominant", reason)
    if kind == "dominant" and (altered := _ALTERED_TEXT.search(shown)):
        return parse_quality("7alt" + altered[1])
    return quality_of_tones(*_changed(head.tones, head.optional, degrees))


_Change = tuple[int, int, str]


def _changes(head: Head, mask: int) -> list[_Change]:
    """Degrees (value, alter, type) that turn the tones of a head into `mask`."""
    changes: list[_Change] = []
    for number, places in ANY.items():
        have, want = head.tones & places, mask & places
        missing, extra = have & ~want, want & ~have
        while missing and extra:
            old, new = missing & -missing, extra & -extra
            changes.append((number, DEGREE_OF_BIT[new].alteration - DEGREE_OF_BIT[old].alteration, "alter"))
            missing ^= old
            extra ^= new
        if missing:
            changes.append((number, 0, "subtract"))
        while extra:
            new = extra & -extra
            changes.append((number, DEGREE_OF_BIT[new].alteration + (number == 7), "add"))
            extra ^= new
    return changes


def _described(mask: int, optional: int) -> tuple[str, list[_Change]]:
    """The kind and the degrees that come nearest; `optional` tones that a kind has anyway stay so."""
    best: tuple[bool, int, str, list[_Change]] | None = None
    for kind, head in _WRITTEN_KINDS:
        if not fits(head, mask):
            continue
        changes = _changes(head, mask | (head.optional & ELEVENTH & optional))
        kept = settle(mask, head.optional & mask) == optional
        if best is None or (not kept, len(changes)) < best[:2]:
            best = (not kept, len(changes), kind, changes)
    assert best is not None
    return best[2], best[3]


def _put_note(parent: Element, name: str, note: Note) -> None:
    element = SubElement(parent, name)
    SubElement(element, f"{name}-step").text = note.letter
    if note.alteration:
        SubElement(element, f"{name}-alter").text = str(note.alteration)


def write_harmony(chord: Chord) -> Element:
    """One ``<harmony>`` element, its kind text in the house style, so its degrees are not printed a second time."""
    harmony = Element("harmony")
    if chord.root is None:
        root = SubElement(harmony, "root")
        SubElement(root, "root-step", {"text": ""}).text = "C"
        SubElement(harmony, "kind", {"text": chord.symbol}).text = "none"
        return harmony
    _put_note(harmony, "root", chord.root)
    mask = chord.quality.tones
    optional = sum(BIT_OF_DEGREE[degree] for degree in chord.quality.optional)
    if chord.quality.colour == "alt" and mask == ALTERED.tones:
        kind, changes = "dominant", _changes(KINDS["dominant"], mask)
    else:
        kind, changes = _described(mask, optional)
    SubElement(harmony, "kind", {"text": chord.quality.text}).text = kind
    if chord.bass is not None:
        _put_note(harmony, "bass", chord.bass)
    for value, alter, change in changes:
        degree = SubElement(harmony, "degree", {"print-object": "no"})
        SubElement(degree, "degree-value").text = str(value)
        SubElement(degree, "degree-alter").text = str(alter)
        SubElement(degree, "degree-type").text = change
    return harmony
