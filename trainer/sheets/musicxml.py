"""A sheet as MusicXML 4.0 text: for other programs, and, with `for_engraving`, as the engraver is fed.

Every altered note has ``<alter>`` (what sounds) and, where it shows one, ``<accidental>`` (what is printed). Degrees
are lyric lines, the top note's first, so that they stand in straight rows; for other programs fingers are
``<fingering>`` of each note, for the engraver one lyric line more, and chord symbols there are bare texts, since it
would print a symbol's degrees twice.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), musicxml.xsd and container.xsd.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from trainer.charts import Meter
from trainer.charts.note_values import Piece, pieces_of
from trainer.chords import Chord, Quality, write_harmony
from trainer.drills.values import printable
from trainer.pitch import MidiNote, Note, pretty
from trainer.sheets.beams import beams
from trainer.sheets.scores import Bar, Block, Clef, Sheet, Shown, Sound, accidentals, octave_of, signature_fifths

MOST_TITLE_LETTERS: Final = 200
SOFTWARE: Final = "jazz-piano-trainer"

_ACCIDENTALS: Final = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_CLEFS: Final[dict[Clef, tuple[str, str]]] = {"treble": ("G", "2"), "bass": ("F", "4")}
_UNTIMED: Final = Meter(4, 4)


def symbol_text(chord: Chord) -> str:
    """A chord symbol in house style with the musical signs.

    >>> from trainer.chords import parse
    >>> symbol_text(parse("Bb7(b9)/D"))
    'B♭7(♭9)/D'
    """
    if chord.root is None:
        return chord.symbol
    bass = "" if chord.bass is None else f"/{pretty(chord.bass.name)}"
    return pretty(chord.root.name) + _signs(chord.quality.text) + bass


def quality_text(quality: Quality) -> str:
    """A quality in house style with the musical signs, in a word where it has no text."""
    return _signs(quality.text) or "major triad"


def _signs(text: str) -> str:
    # In the text of a quality only accidentals are written with b or #.
    return text.replace("b", "♭").replace("#", "♯")


def _add(parent: Element, name: str, text: object = None, attributes: dict[str, str] | None = None) -> Element:
    element = SubElement(parent, name, attributes or {})
    if text is not None:
        element.text = str(text)
    return element


class _Writer:
    """One document: what all its blocks share."""

    def __init__(self, blocks: Sequence[Block], for_engraving: bool) -> None:
        self.blocks = blocks
        self.for_engraving = for_engraving
        self.melody = any(block.melody for block in blocks)
        self.hand_staves = max(len(block.hand_clefs) for block in blocks)
        self.rows: dict[int, int] = {}
        for bar in (bar for block in blocks for bar in block.bars):
            for staff, sounds in enumerate(bar.staves):
                rows = max((len(sound.degrees) for sound in sounds), default=0)
                self.rows[staff] = max(rows, self.rows.get(staff, 0))
        self.pieces: dict[tuple[int, int, int], tuple[list[Piece], list[tuple[str, ...]]]] = {}
        divisions = 1
        for number, block in enumerate(blocks):
            meter = _UNTIMED
            for at, bar in enumerate(block.bars):
                meter = bar.meter or meter
                for staff, sounds in enumerate(bar.staves):
                    pieces = pieces_of([(sound.start, sound.start + sound.quarters) for sound in sounds], bar.quarters)
                    runs = beams(pieces, [bool(sound.notes) for sound in sounds], meter)
                    self.pieces[number, at, staff] = pieces, runs
                    for piece in pieces:
                        divisions = lcm(divisions, piece.start.denominator, piece.length.denominator)
                divisions = lcm(divisions, bar.quarters.denominator, *(start.denominator for start, _ in bar.symbols))
        self.divisions = divisions

    def duration(self, quarters: Fraction) -> str:
        return str(int(quarters * self.divisions))

    # -- the document

    def document(self, title: str) -> Element:
        score = Element("score-partwise", {"version": "4.0"})
        if not self.for_engraving:
            _add(_add(score, "work"), "work-title", title)
            encoding = _add(_add(score, "identification"), "encoding")
            _add(encoding, "software", SOFTWARE)
            for name in ("accidental", "beam"):
                _add(encoding, "supports", None, {"element": name, "type": "yes"})
            for attribute in ("new-page", "new-system"):
                supported = {"attribute": attribute, "element": "print", "type": "yes", "value": "yes"}
                _add(encoding, "supports", None, supported)
        parts = _add(score, "part-list")
        names = [("P1", "Melody")] if self.melody else []
        names.append(("P2", "Piano"))
        for identity, name in names:
            part = _add(parts, "score-part", None, {"id": identity})
            _add(part, "part-name", "" if self.for_engraving else name, {"print-object": "no"})
        for identity, _ in names:
            self._part(_add(score, "part", None, {"id": identity}), melody=identity == "P1")
        return score

    def _part(self, part: Element, melody: bool) -> None:
        number = 0
        shown_time: Meter | None = None
        for block_number, block in enumerate(self.blocks):
            signs = list(accidentals(block.bars, block.key, melody=block.melody))
            for at, bar in enumerate(block.bars):
                number += 1
                printed = str(bar.number) if self.for_engraving and block.key is not None else str(number)
                measure = _add(part, "measure", None, {"number": printed})
                if number > 1 and (bar.starts_line or at == 0):
                    _add(measure, "print", None, {"new-system": "yes"})
                time = bar.meter or (_UNTIMED if at == 0 else None)
                time = None if time == shown_time and block.key is None else time
                shown_time = time or shown_time
                self._attributes(measure, block, first=number == 1, at=at, time=time, melody=melody)
                self._left(measure, bar)
                top = melody or not self.melody
                if top:
                    self._above(measure, block, bar, at)
                staves = self._staves(block, melody)
                for place, (staff, index) in enumerate(staves):
                    if place:
                        _add(_add(measure, "backup"), "duration", self.duration(bar.quarters))
                    if index is None:
                        self._silence(measure, bar, staff, len(staves))
                        continue
                    written = self.pieces[block_number, at, index]
                    self._staff(measure, bar, staff if len(staves) > 1 else 0, index, written, signs[at], staff)
                self._right(measure, bar, last=at == len(block.bars) - 1)

    def _staves(self, block: Block, melody: bool) -> list[tuple[int, int | None]]:
        """(number of the staff in its part, index of the block's staff or None where it is silent)."""
        if melody:
            return [(1, 0 if block.melody else None)]
        first = 1 if block.melody else 0
        count = len(block.hand_clefs)
        if count == self.hand_staves:
            return [(index + 1, first + index) for index in range(count)]
        return [(1, None), (2, first)] if block.hand_clefs[0] == "bass" else [(1, first), (2, None)]

    def _attributes(
        self, measure: Element, block: Block, *, first: bool, at: int, time: Meter | None, melody: bool
    ) -> None:
        new_key = block.key if at == 0 else block.bars[at].key
        if at and time is None and new_key is None:
            return
        attributes = _add(measure, "attributes")
        if first:
            _add(attributes, "divisions", self.divisions)
        if at == 0 or new_key is not None:
            key = _add(attributes, "key")
            _add(key, "fifths", signature_fifths(new_key))
            if new_key is not None:
                _add(key, "mode", "minor" if new_key.minor else "major")
        if time is not None:
            element = _add(attributes, "time", None, {"print-object": "no"} if block.key is None else None)
            _add(element, "beats", time.beats)
            _add(element, "beat-type", time.unit)
        if at:
            return
        staves = self._staves(block, melody)
        if len(staves) > 1 and first:
            _add(attributes, "staves", len(staves))
        for staff, index in staves:
            clef: Clef = block.clefs[index] if index is not None else "treble" if staff == 1 else "bass"
            sign, line = _CLEFS[clef]
            element = _add(attributes, "clef", None, {"number": str(staff)} if len(staves) > 1 else None)
            _add(element, "sign", sign)
            _add(element, "line", line)

    # -- bar lines

    def _left(self, measure: Element, bar: Bar) -> None:
        if not (bar.opens or bar.endings):
            return
        line = _add(measure, "barline", None, {"location": "left"})
        if bar.opens:
            _add(line, "bar-style", "heavy-light")
        if bar.endings:
            numbers = ",".join(map(str, bar.endings))
            _add(line, "ending", f"{numbers}.", {"number": numbers, "type": "start"})
        if bar.opens:
            _add(line, "repeat", None, {"direction": "forward"})

    def _right(self, measure: Element, bar: Bar, last: bool) -> None:
        if not (bar.closes or bar.last_of or last):
            return
        line = _add(measure, "barline", None, {"location": "right"})
        if bar.closes or last:
            _add(line, "bar-style", "light-heavy")
        if bar.last_of:
            numbers = ",".join(map(str, bar.last_of))
            _add(line, "ending", None, {"number": numbers, "type": "stop" if bar.closes else "discontinue"})
        if bar.closes:
            times = {"times": str(bar.closes)} if bar.closes > 2 else {}
            _add(line, "repeat", None, {"direction": "backward"} | times)

    # -- above the top staff

    def _above(self, measure: Element, block: Block, bar: Bar, at: int) -> None:
        if at == 0 and block.heading and not self.for_engraving:
            direction = _add(measure, "direction", None, {"placement": "above"})
            words = block.heading + (f": {block.detail}" if block.detail else "")
            text = printable(words, MOST_TITLE_LETTERS)
            _add(_add(direction, "direction-type"), "words", text, {"font-weight": "bold"})
        if bar.letter:
            direction = _add(measure, "direction", None, {"placement": "above"})
            _add(_add(direction, "direction-type"), "rehearsal", printable(bar.letter, 40))
        for start, chord in bar.symbols:
            harmony = self._harmony(chord)
            if start:
                _add(harmony, "offset", self.duration(start))
            measure.append(harmony)

    def _harmony(self, chord: Chord) -> Element:
        if not self.for_engraving:
            return write_harmony(chord)
        harmony = Element("harmony")
        root = _add(harmony, "root")
        _add(root, "root-step", "C", {"text": ""})
        _add(harmony, "kind", "other", {"text": symbol_text(chord)})
        return harmony

    # -- notes

    def _silence(self, measure: Element, bar: Bar, staff: int, staves: int) -> None:
        note = _add(measure, "note", None, {"print-object": "no"})
        _add(note, "rest", None, {"measure": "yes"})
        _add(note, "duration", self.duration(bar.quarters))
        _add(note, "voice", staff)
        if staves > 1:
            _add(note, "staff", staff)

    def _staff(
        self,
        measure: Element,
        bar: Bar,
        staff: int,
        index: int,
        written: tuple[list[Piece], list[tuple[str, ...]]],
        signs: dict[tuple[int, int, int], Shown],
        voice: int,
    ) -> None:
        sounds = bar.staves[index]
        pieces, runs = written
        for at, piece in enumerate(pieces):
            sound = sounds[piece.event]
            ends = at + 1 == len(pieces) or pieces[at + 1].event != piece.event
            tied_on = not ends or self._held_on(sounds, piece.event, bar, index)
            if not sound.notes:
                note = _add(measure, "note")
                whole = piece.start == 0 and piece.length == bar.quarters
                _add(note, "rest", None, {"measure": "yes"} if whole else None)
                self._length(note, piece, (), voice)
                if staff:
                    _add(note, "staff", staff)
                self._notations(note, piece, False, False, 0)
                continue
            fresh = piece.start == sound.start and not sound.tied
            for place, (spelled, key) in enumerate(zip(sound.notes, sound.keys, strict=True)):
                note = _add(measure, "note")
                if place:
                    _add(note, "chord")
                _pitch(note, spelled, key)
                ties = [kind for kind, stands in (("stop", not fresh), ("start", tied_on)) if stands]
                self._length(note, piece, ties, voice, _accidental(spelled, signs, (index, piece.event, place), fresh))
                if staff:
                    _add(note, "staff", staff)
                for level, state in enumerate(() if place else runs[at], 1):
                    _add(note, "beam", state, {"number": str(level)})
                finger = sound.fingers[place] if fresh and sound.fingers and not self.for_engraving else 0
                self._notations(note, piece, not fresh, tied_on, finger, in_chord=place > 0)
                if place == 0 and fresh:
                    self._lyrics(note, sound, index)

    def _held_on(self, sounds: Sequence[Sound], span: int, bar: Bar, index: int) -> bool:
        """Whether the sound after this one, here or in the next bar, holds its notes on."""
        if span + 1 < len(sounds):
            return sounds[span + 1].tied
        return index < len(bar.holds_on) and bar.holds_on[index]

    def _length(
        self, note: Element, piece: Piece, ties: Sequence[str], voice: int, accidental: Element | None = None
    ) -> None:
        _add(note, "duration", self.duration(piece.length))
        for kind in ties:
            _add(note, "tie", None, {"type": kind})
        _add(note, "voice", voice)
        _add(note, "type", piece.name)
        for _ in range(piece.dots):
            _add(note, "dot")
        if accidental is not None:
            note.append(accidental)
        if piece.actual > 1:
            modified = _add(note, "time-modification")
            _add(modified, "actual-notes", piece.actual)
            _add(modified, "normal-notes", piece.normal)

    def _notations(
        self, note: Element, piece: Piece, tied: bool, tied_on: bool, finger: int, in_chord: bool = False
    ) -> None:
        tuplets = [kind for kind, stands in (("start", piece.opens), ("stop", piece.closes)) if stands and not in_chord]
        if not (tied or tied_on or finger or tuplets):
            return
        notations = _add(note, "notations")
        for kind, stands in (("stop", tied), ("start", tied_on)):
            if stands:
                _add(notations, "tied", None, {"type": kind})
        for kind in tuplets:
            _add(notations, "tuplet", None, {"type": kind})
        if finger:
            _add(_add(notations, "technical"), "fingering", finger)

    def _lyrics(self, note: Element, sound: Sound, index: int) -> None:
        rows = list(enumerate(reversed(sound.degrees), 1))
        if self.for_engraving and sound.fingers:
            # The engraver takes a plain space for a new syllable, a narrow one (four to the em) not.
            rows.append((self.rows[index] + 1, "\u2005".join(map(str, sound.fingers))))
        for number, text in rows:
            if text:
                lyric = _add(note, "lyric", None, {"number": str(number)})
                _add(lyric, "syllabic", "single")
                _add(lyric, "text", text, {"font-style": "italic"} if number > len(sound.degrees) else None)


def _pitch(note: Element, spelled: Note, key: MidiNote) -> None:
    pitch = _add(note, "pitch")
    _add(pitch, "step", spelled.letter)
    if spelled.alteration:
        _add(pitch, "alter", spelled.alteration)
    _add(pitch, "octave", octave_of(spelled, key))


def _accidental(
    spelled: Note, signs: dict[tuple[int, int, int], Shown], place: tuple[int, int, int], fresh: bool
) -> Element | None:
    how = signs.get(place)
    if how is None or not fresh:
        return None
    element = Element("accidental", {"cautionary": "yes"} if how == "courtesy" else {})
    element.text = _ACCIDENTALS[spelled.alteration]
    return element


def musicxml(sheet: Sheet) -> str:
    """The text of a MusicXML file with all blocks of a sheet in order. The same sheet gives the same text."""
    return _text(_Writer(sheet.blocks, False).document(printable(sheet.title, MOST_TITLE_LETTERS)))


def engraver_text(block: Block) -> str:
    """One block as the engraver is fed."""
    return _text(_Writer([block], True).document(""))


def _text(score: Element) -> str:
    ElementTree.indent(score)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(score, encoding="unicode") + "\n"
