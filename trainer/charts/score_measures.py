"""The measures of one part of a MusicXML score, as what they say: chords, notes, times, keys and signs.

`trainer.charts.score_reading` states what is read and how.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final
from xml.etree.ElementTree import Element

from trainer.charts.reading import MOST_FAULTS, MOST_TIMES
from trainer.charts.score_jumps import Jumps
from trainer.charts.values import FOUR_FOUR, ChartFault, Key, Meter
from trainer.chords import Chord, ChordError, read_harmony
from trainer.pitch import MidiNote, Note

MOST_LETTERS_OF_A_TITLE: Final = 200
MOST_BEATS: Final = 32
UNITS: Final = (1, 2, 4, 8, 16)
_LONGEST_LETTER: Final = 16

_NUMBER: Final = re.compile(r"-?\d{1,9}(\.\d{0,9})?")
_MODES: Final = {  # the tonic, as a step along the line of fifths from the signature's major key, and the third
    "": (0, False),
    "none": (0, False),
    "major": (0, False),
    "ionian": (0, False),
    "lydian": (-1, False),
    "mixolydian": (1, False),
    "dorian": (2, True),
    "minor": (3, True),
    "aeolian": (3, True),
    "phrygian": (4, True),
    "locrian": (5, True),
}


@dataclass(slots=True)
class Sound:
    """A note of the melody where it stands: quarters from the beginning of its measure."""

    at: Fraction
    length: Fraction
    note: Note
    key: MidiNote
    tied: bool
    line: int


@dataclass(slots=True)
class Measure:
    """What one measure of a part says; times are quarters from its beginning. `wrong` holds the faults of each voice,
    which matter where it is the melody."""

    number: str
    line: int
    implicit: bool
    length: Fraction = Fraction(0)
    meter: Meter | None = FOUR_FOUR
    key: Key | None = None
    chords: dict[Fraction, tuple[Chord, bool]] = field(default_factory=dict)  # the chord, and whether it is printed
    voices: dict[tuple[int, str], list[Sound]] = field(default_factory=dict)
    wrong: dict[tuple[int, str], list[ChartFault]] = field(default_factory=dict)
    letter: str = ""
    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()
    ending_stops: bool = False
    jumps: Jumps = field(default_factory=Jumps)


class PartReader:
    """Walks the measures of one part."""

    def __init__(self, lines: dict[Element, int], faults: list[ChartFault]) -> None:
        self.lines = lines
        self.faults = faults
        self.divisions = Fraction(1)
        self.meter: Meter | None = FOUR_FOUR
        self.later_key: Key | None = None  # one that stood in the middle of a measure
        self.fifths = 0  # what is written to what sounds, as a step along the line of fifths
        self.semitones = 0
        self.now = Measure("", 1, False)
        self.at = Fraction(0)
        self.struck = Fraction(0)  # where the last note began, for those struck with it

    def fault(self, element: Element, message: str, found: str = "", expected: str = "") -> None:
        if len(self.faults) < MOST_FAULTS:
            text = f"measure {self.now.number}: {message}"
            self.faults.append(ChartFault(self.lines.get(element, self.now.line), 1, found[:80], expected, text))

    def number(self, element: Element, path: str, default: int = 0) -> Fraction:
        """A number below an element; `default` where there is none, and a fault where it is not one."""
        text = (element.findtext(path) or "").strip()
        if not text:
            return Fraction(default)
        if _NUMBER.fullmatch(text):
            return Fraction(text)
        self.fault(element, f"{path} is {text[:40]!r}, and should be a number", text, "a number")
        return Fraction(default)

    def measures(self, elements: Sequence[Element]) -> list[Measure]:
        return [self.measure(element, index) for index, element in enumerate(elements)]

    def measure(self, element: Element, index: int) -> Measure:
        number = clean(element.get("number", ""), 20) or str(index + 1)
        self.now = Measure(number, self.lines[element], element.get("implicit") == "yes", meter=self.meter)
        self.now.key, self.later_key = self.later_key, None
        self.at = self.struck = Fraction(0)
        for child in element:
            match child.tag:
                case "attributes":
                    self.attributes(child)
                case "note":
                    self.note(child)
                case "harmony":
                    self.harmony(child)
                case "forward":
                    self.move(self.duration(child))
                case "backup":
                    self.move(-self.duration(child))
                case "direction":
                    self.direction(child)
                case "sound":
                    self.now.jumps.hear(child)
                case "barline":
                    self.barline(child)
        return self.now

    def move(self, quarters: Fraction) -> None:
        self.at = max(Fraction(0), self.at + quarters)
        self.now.length = max(self.now.length, self.at)

    def duration(self, element: Element) -> Fraction:
        ticks = self.number(element, "duration")
        if ticks < 0:
            self.fault(element, "a duration is below nothing", str(ticks), "a number above 0")
            return Fraction(0)
        return ticks / self.divisions

    # ------------------------------------------------------------ attributes

    def attributes(self, element: Element) -> None:
        if element.find("divisions") is not None:
            divisions = self.number(element, "divisions", 1)
            if divisions <= 0:
                self.fault(element, "divisions must be above 0", str(divisions), "a number above 0")
            self.divisions = divisions if divisions > 0 else Fraction(1)
        for transpose in element.findall("transpose")[:1]:
            chromatic = self.number(transpose, "chromatic")
            diatonic = self.number(transpose, "diatonic") if transpose.find("diatonic") is not None else None
            octaves = self.number(transpose, "octave-change")
            if any(one.denominator != 1 or abs(one) > 60 for one in (chromatic, diatonic or chromatic, octaves)):
                self.fault(transpose, "the transposition is no interval of whole semitones", str(chromatic))
                continue
            near = (7 * int(chromatic) + 5) % 12 - 5
            self.fifths = near if diatonic is None else int(7 * chromatic - 12 * diatonic)
            self.semitones = int(chromatic + 12 * octaves)
        for time in element.findall("time")[:1]:
            self.meter = self.time(time)
            if not self.at:
                self.now.meter = self.meter
        for key in element.findall("key")[:1]:
            if (found := self.key(key)) is None:
                continue
            if self.at:
                self.later_key = found
            else:
                self.now.key = found

    def time(self, element: Element) -> Meter | None:
        """The meter; None for a free one. Several times added up have the finest unit of theirs."""
        if element.find("senza-misura") is not None:
            return None
        beats = [(one.text or "").strip() for one in element.findall("beats")]
        units = [(one.text or "").strip() for one in element.findall("beat-type")]
        pairs = []
        for beat, unit in zip(beats, units, strict=False):
            counts = beat.split("+")
            if all(re.fullmatch(r"\s*\d{1,3}\s*", one) for one in counts) and re.fullmatch(r"\d{1,2}", unit):
                pairs.append((sum(map(int, counts)), int(unit)))
        if pairs and len(pairs) == len(beats) and all(unit in UNITS for _, unit in pairs):
            finest = max(unit for _, unit in pairs)
            count = sum(beat * finest // unit for beat, unit in pairs)
            if 1 <= count <= MOST_BEATS:
                return Meter(count, finest)
        shown = f"{' '.join(beats)}/{' '.join(units)}"
        self.fault(element, f"the time {shown[:40]!r} is not one of a chart", shown, "a time such as 4/4, 3/4 or 6/8")
        return self.meter

    def key(self, element: Element) -> Key | None:
        if element.find("fifths") is None:
            return None  # accidentals one by one name no key
        signature = self.number(element, "fifths")
        mode = (element.findtext("mode") or "").strip().lower()
        step, minor = _MODES.get(mode, (0, False))
        fifths = signature + self.fifths + step
        for position in (fifths, fifths - 12, fifths + 12):
            if position.denominator == 1 and -1 <= Note(int(position)).alteration <= 1:
                return Key(Note(int(position)), minor)
        self.fault(element, f"a signature of {signature} fifths names no key", str(signature), "-7 to 7")
        return None

    # ------------------------------------------------------------ chords and notes

    def sounding(self, note: Note) -> Note:
        moved = Note(note.fifths + self.fifths)
        return moved if -1 <= moved.alteration <= 1 else moved.plain()

    def harmony(self, element: Element) -> None:
        if element.get("type") == "alternate":
            return
        try:
            chord = read_harmony(element)
        except ChordError as error:
            reason = str(error)
            self.fault(element, f"a chord symbol cannot be read: {reason}", error.text, error.expected)
            return
        if self.fifths and chord.root is not None:
            bass = None if chord.bass is None else self.sounding(chord.bass)
            chord = Chord(self.sounding(chord.root), chord.quality, bass)
        at = max(Fraction(0), self.at + self.number(element, "offset") / self.divisions)
        self.now.chords[at] = (chord, element.get("print-object") != "no")

    def note(self, element: Element) -> None:
        if element.find("grace") is not None:
            return
        length = self.duration(element)
        if element.find("chord") is None:
            self.struck = self.at
            self.move(length)
        pitch = element.find("pitch")
        head = (element.findtext("notehead") or "").strip()
        if pitch is None or not length or head == "slash" or element.find("cue") is not None:
            return
        place = (int(self.number(element, "staff", 1)), (element.findtext("voice") or "1").strip())
        sounds = self.now.voices.setdefault(place, [])
        known = len(self.faults)
        found = self.pitch(pitch)
        self.now.wrong.setdefault(place, []).extend(self.faults[known:])
        del self.faults[known:]
        if found is not None:
            ties = {tie.get("type") for path in ("tie", "notations/tied") for tie in element.findall(path)}
            sounds.append(Sound(self.struck, length, *found, "stop" in ties, self.lines[element]))

    def pitch(self, element: Element) -> tuple[Note, MidiNote] | None:
        step = (element.findtext("step") or "").strip()
        octave, alter = self.number(element, "octave", 4), self.number(element, "alter")
        if len(step) != 1 or step not in "ABCDEFG" or octave.denominator != 1 or not 0 <= octave <= 9:
            self.fault(
                element, f"{step[:10]}{octave} is no note", f"{step[:10]}{octave}", "A to G and an octave 0 to 9"
            )
            return None
        if alter.denominator != 1 or not -2 <= alter <= 2:
            message = f"{step}{octave} is altered by {float(alter)} semitones; a melody has whole ones, two at most"
            self.fault(element, message, str(alter), "-2 to 2")
            return None
        note = Note(Note.parse(step).fifths + 7 * int(alter))
        natural = Note.parse(step).pitch_class
        key = 12 * (int(octave) + 1) + natural + int(alter) + self.semitones
        if not 0 <= key <= 127:
            self.fault(element, f"{note}{octave} sounds outside the MIDI keys", str(key), "0 to 127")
            return None
        return (self.sounding(note) if self.fifths else note), MidiNote(key)

    # ------------------------------------------------------------ signs

    def direction(self, element: Element) -> None:
        for kind in element.findall("direction-type/*"):
            text = clean(kind.text or "", 80)
            if kind.tag == "rehearsal" and not self.now.letter:
                self.now.letter = re.sub(r"[\[\]|]", "", text).replace(" ", "-")[:_LONGEST_LETTER]
            else:
                self.now.jumps.read(kind.tag, text)
        for sound in element.findall("sound"):
            self.now.jumps.hear(sound)

    def barline(self, element: Element) -> None:
        repeat, ending = element.find("repeat"), element.find("ending")
        if ending is not None and ending.get("type") == "start":
            said = f"{ending.get('number', '')} {ending.text or ''}"
            self.now.endings = _passes(ending.get("number", "")) or _passes(said)
        elif ending is not None:
            self.now.ending_stops = True
        if repeat is None:
            return
        if repeat.get("direction") == "forward":
            self.now.opens = True
            return
        times = repeat.get("times", "2")
        if not times.isascii() or not times.isdigit() or not 2 <= int(times[:4]) <= MOST_TIMES:
            message = f"a repeat is played 2 to {MOST_TIMES} times, not {times[:10]}"
            self.fault(element, message, times, f"2 to {MOST_TIMES}")
            times = "2"
        self.now.closes = int(times)


def clean(text: str, most: int = MOST_LETTERS_OF_A_TITLE) -> str:
    """A text from outside on one line: without controls or signs that turn the direction of writing."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text[: 4 * most]).split())[:most].strip()


def _passes(text: str) -> tuple[int, ...]:
    """``1``, ``1, 2`` and ``1-3`` as passes."""
    found: list[int] = []
    for first, last in re.findall(r"(\d{1,2})(?:\s*-\s*(\d{1,2}))?", text):
        found += range(int(first), min(int(last or first), MOST_TIMES) + 1)
    return tuple(dict.fromkeys(number for number in found if 1 <= number <= MOST_TIMES))
