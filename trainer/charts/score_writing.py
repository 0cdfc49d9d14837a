"""Charts to MusicXML 4.0: a lead sheet of one staff, chord symbols above a melody.

* Chords stand where they fall; those of a bar that is written as a repeat of the one before are there for programs and
  not printed. Degrees are written as symbols.
* A chart with a form line is written out in its order, since a score has no such line.
* Without a melody the staff has slashes to be drawn and rests to count by.
* A pick-up is measure 0. Times, keys, repeats, endings and section letters are kept.

Source: MusicXML 4.0, schema/musicxml.xsd and its notes; the tests validate against that schema.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import lcm
from typing import Final
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from trainer.charts.note_values import Piece, pieces_of
from trainer.charts.score_measures import clean
from trainer.charts.values import FOUR_FOUR, Bar, Chart, ChartChord, Key, MelodyNote, Meter, rearranged, sections_of
from trainer.chords import write_harmony
from trainer.pitch import MidiNote, Note

MOST_DIVISIONS: Final = 16_384
"""Of a quarter, for the whole score; a rhythm that needs more has divisions of its own in each measure."""

_TOP: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_ACCIDENTALS: Final = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_BEAT_UNITS: Final = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th"}


def laid_out(chart: Chart) -> Chart:
    """A chart whose form line is written out: its sections in the order in which they are played."""
    if not chart.form:
        return chart
    sections = {chart.bars[section.start].letter: section for section in sections_of(chart.bars)}
    order = [*sections.get("", ()), *(at for letter in chart.form for at in sections[letter])]
    return rearranged(chart, order)


def write_score(chart: Chart, *, tempo_bpm: float | None = None) -> str:
    """The text of a chart as an uncompressed score; `tempo_bpm` counts beats of its time. Raises `ChartError` where its
    form cannot be played."""
    _ = chart.played
    chart = laid_out(chart)
    root = Element("score-partwise", {"version": "4.0"})
    if title := clean(chart.title):
        SubElement(SubElement(root, "work"), "work-title").text = title
    identification = SubElement(root, "identification")
    SubElement(SubElement(identification, "encoding"), "supports", {"element": "accidental", "type": "yes"})
    if about := clean(chart.about):
        remarks = SubElement(identification, "miscellaneous")
        SubElement(remarks, "miscellaneous-field", {"name": "about"}).text = about
    part = SubElement(SubElement(root, "part-list"), "score-part", {"id": "P1"})
    SubElement(part, "part-name").text = "Lead sheet"
    _Writer(chart, tempo_bpm).write(SubElement(root, "part", {"id": "P1"}))
    indent(root, " ")
    return _TOP + tostring(root, encoding="unicode") + "\n"


def _quarters(bar: Bar) -> Fraction:
    """The length of a beat of a bar."""
    return Fraction(4, bar.meter.unit)


def _cuts(bar: Bar) -> list[Fraction]:
    """Every time in a bar at which something begins or ends, in quarters."""
    spans = [(one.beat, one.beats) for one in bar.chords] + [(one.beat, one.beats) for one in bar.melody]
    times = [beat + more - 1 for beat, beats in spans for more in (0, beats)]
    return [time * _quarters(bar) for time in [*times, Fraction(bar.beats)]]


class _Writer:
    def __init__(self, chart: Chart, tempo_bpm: float | None) -> None:
        self.chart = chart
        self.tempo_bpm = tempo_bpm
        self.slashes = not any(bar.melody for bar in chart.bars)
        self.divisions = 0
        self.whole = lcm(*(cut.denominator for bar in chart.bars for cut in _cuts(bar)))
        self.ends = ending_brackets(chart.bars)
        self.opened = repeat_openings(chart.bars, bool(chart.pickup_beats), self.ends)

    def write(self, part: Element) -> None:
        bars = self.chart.bars
        first = 0 if self.chart.pickup_beats else 1
        for at, bar in enumerate(bars):
            number = at + first
            measure = SubElement(part, "measure", {"number": str(number)})
            if not number:
                measure.set("implicit", "yes")
            self.left(measure, at)
            self.attributes(measure, at)
            if bar.letter:
                direction = SubElement(measure, "direction", {"placement": "above"})
                SubElement(SubElement(direction, "direction-type"), "rehearsal").text = clean(bar.letter)
            if at == 0 and self.tempo_bpm:
                self.tempo(measure, bar.meter, self.tempo_bpm)
            self.music(measure, at)
            self.right(measure, at)

    # ------------------------------------------------------------ signs

    def left(self, measure: Element, at: int) -> None:
        bar = self.chart.bars[at]
        opens = bar.opens or at in self.opened
        if not (opens or bar.endings):
            return
        line = SubElement(measure, "barline", {"location": "left"})
        if opens:
            SubElement(line, "bar-style").text = "heavy-light"
        if bar.endings:
            SubElement(line, "ending", {"number": _numbers(bar), "type": "start"}).text = _numbers(bar) + "."
        if opens:
            SubElement(line, "repeat", {"direction": "forward"})

    def right(self, measure: Element, at: int) -> None:
        bars = self.chart.bars
        bar, last = bars[at], at == len(bars) - 1
        ending = self.ends.get(at)
        section = not last and bool(bars[at + 1].letter)
        if not (bar.closes or ending or section or last):
            return
        line = SubElement(measure, "barline", {"location": "right"})
        if bar.closes or last:
            SubElement(line, "bar-style").text = "light-heavy"
        elif section and not bars[at + 1].opens:
            SubElement(line, "bar-style").text = "light-light"
        if ending:
            numbers, kind = ending
            SubElement(line, "ending", {"number": numbers, "type": kind})
        if bar.closes:
            repeat = SubElement(line, "repeat", {"direction": "backward"})
            if bar.closes > 2:
                repeat.set("times", str(bar.closes))

    def attributes(self, measure: Element, at: int) -> None:
        bars, keys = self.chart.bars, self.chart.keys
        bar = bars[at]
        divisions = self.whole if self.whole <= MOST_DIVISIONS else lcm(*(cut.denominator for cut in _cuts(bar)))
        # The written time of a pick-up is that of the tune.
        meter = bar.meter if at else (bars[0].meter if bars else FOUR_FOUR)
        new_meter = not at or meter != bars[at - 1].meter
        new_key = not at or keys[at] != keys[at - 1]
        if divisions == self.divisions and not (new_meter or new_key):
            return
        element = SubElement(measure, "attributes")
        if divisions != self.divisions:
            SubElement(element, "divisions").text = str(divisions)
            self.divisions = divisions
        if new_key:
            _put_key(element, keys[at])
        if new_meter:
            time = SubElement(element, "time")
            SubElement(time, "beats").text = str(meter.beats)
            SubElement(time, "beat-type").text = str(meter.unit)
        if not at:
            clef = SubElement(element, "clef")
            SubElement(clef, "sign").text = "G"
            SubElement(clef, "line").text = "2"
            if self.slashes:
                style = SubElement(element, "measure-style")
                SubElement(style, "slash", {"type": "start", "use-stems": "no"})

    def tempo(self, measure: Element, meter: Meter, tempo_bpm: float) -> None:
        direction = SubElement(measure, "direction", {"placement": "above"})
        metronome = SubElement(SubElement(direction, "direction-type"), "metronome")
        SubElement(metronome, "beat-unit").text = _BEAT_UNITS[meter.unit]
        SubElement(metronome, "per-minute").text = f"{tempo_bpm:g}"
        SubElement(direction, "sound", {"tempo": f"{tempo_bpm * 4 / meter.unit:g}"})

    # ------------------------------------------------------------ music

    def music(self, measure: Element, at: int) -> None:
        bar = self.chart.bars[at]
        beat = _quarters(bar)
        length = bar.beats * beat
        waiting = [((one.beat - 1) * beat, one) for one in bar.chords]
        events: list[tuple[Fraction, Fraction]] = []
        sung: list[MelodyNote | None] = []
        for note in bar.melody:
            start = (note.beat - 1) * beat
            if start > (reached := events[-1][1] if events else Fraction(0)):
                events.append((reached, start))
                sung.append(None)
            events.append((start, start + note.beats * beat))
            sung.append(note)
        if not events:
            # Rests to count the chords by.
            times = [start for start, _ in waiting] if self.slashes and waiting else [Fraction(0)]
            events = list(zip(times, [*times[1:], length], strict=True))
            sung = [None] * len(events)
        elif events[-1][1] < length:
            events.append((events[-1][1], length))
            sung.append(None)
        accidentals = _signature(self.chart.keys[at])
        pieces = pieces_of(events, length)
        for index, piece in enumerate(pieces):
            while waiting and waiting[0][0] < piece.start + piece.length:
                start, one = waiting.pop(0)
                self.chord(measure, one, bar.sign and len(bar.chords) == 1, start - piece.start)
            melody = sung[piece.event]
            if melody is None:
                whole = piece.length == length and not self.slashes and bar.beats == bar.meter.beats
                self.rest(measure, piece, whole)
                continue
            before = index > 0 and pieces[index - 1].event == piece.event
            after = index + 1 < len(pieces) and pieces[index + 1].event == piece.event
            held_on = index + 1 == len(pieces) and self.is_held_on(at)
            stop, start_tie = before or melody.tied, after or held_on
            self.note(measure, piece, melody, stop, start_tie, accidentals)

    def is_held_on(self, at: int) -> bool:
        """Whether the melody's last note goes on in the next bar."""
        following = self.chart.bars[at + 1] if at + 1 < len(self.chart.bars) else None
        return following is not None and bool(following.melody) and following.melody[0].tied

    def chord(self, measure: Element, one: ChartChord, hidden: bool, offset: Fraction) -> None:
        harmony = write_harmony(one.chord)
        if hidden:
            harmony.set("print-object", "no")
        if offset:
            SubElement(harmony, "offset").text = self.ticks(offset)
        measure.append(harmony)

    def ticks(self, quarters: Fraction) -> str:
        return str(int(quarters * self.divisions))

    def rest(self, measure: Element, piece: Piece, whole_bar: bool) -> None:
        element = SubElement(measure, "note")
        SubElement(element, "rest", {"measure": "yes"} if whole_bar else {})
        SubElement(element, "duration").text = self.ticks(piece.length)
        SubElement(element, "voice").text = "1"
        if not whole_bar:
            self.value(element, piece)
            self.notations(element, piece)

    def note(
        self,
        measure: Element,
        piece: Piece,
        melody: MelodyNote,
        stop: bool,
        start: bool,
        accidentals: dict[tuple[str, int], int],
    ) -> None:
        element = SubElement(measure, "note")
        pitch = SubElement(element, "pitch")
        note, octave = melody.note, _octave(melody.note, melody.key)
        SubElement(pitch, "step").text = note.letter
        if note.alteration:
            SubElement(pitch, "alter").text = str(note.alteration)
        SubElement(pitch, "octave").text = str(octave)
        SubElement(element, "duration").text = self.ticks(piece.length)
        ties = [kind for kind, there in (("stop", stop), ("start", start)) if there]
        for kind in ties:
            SubElement(element, "tie", {"type": kind})
        SubElement(element, "voice").text = "1"
        place = (note.letter, octave)
        sign = None
        if not stop and accidentals.get(place, accidentals[note.letter, -1]) != note.alteration:
            accidentals[place] = note.alteration
            sign = _ACCIDENTALS[note.alteration]
        self.value(element, piece, sign)
        self.notations(element, piece, ties)

    def value(self, element: Element, piece: Piece, accidental: str | None = None) -> None:
        SubElement(element, "type").text = piece.name
        for _ in range(piece.dots):
            SubElement(element, "dot")
        if accidental:
            SubElement(element, "accidental").text = accidental
        if piece.actual > 1:
            change = SubElement(element, "time-modification")
            SubElement(change, "actual-notes").text = str(piece.actual)
            SubElement(change, "normal-notes").text = str(piece.normal)

    def notations(self, element: Element, piece: Piece, ties: Sequence[str] = ()) -> None:
        marks = [("tied", kind) for kind in ties]
        marks += [("tuplet", kind) for kind, there in (("start", piece.opens), ("stop", piece.closes)) if there]
        if marks:
            notations = SubElement(element, "notations")
            for tag, kind in marks:
                SubElement(notations, tag, {"type": kind})


def _octave(note: Note, key: MidiNote) -> int:
    """The octave of the letter: key 59 as Cb lies in octave 4."""
    return (key - note.alteration) // 12 - 1


def _signature(key: Key) -> dict[tuple[str, int], int]:
    """The alteration of each letter by the key's signature, at octave -1."""
    sharps = _fifths(key)
    found = {}
    for at, letter in enumerate("FCGDAEB"):
        # The n-th letter on the line of fifths is sharp from n sharps on, the n-th from its end flat.
        found[letter, -1] = (sharps - at + 6) // 7 if sharps >= 0 else -((-sharps - (6 - at) + 6) // 7)
    return found


def _fifths(key: Key) -> int:
    return key.root.fifths - 3 if key.minor else key.root.fifths


def _put_key(parent: Element, key: Key) -> None:
    element = SubElement(parent, "key")
    SubElement(element, "fifths").text = str(_fifths(key))
    SubElement(element, "mode").text = "minor" if key.minor else "major"


def _numbers(bar: Bar) -> str:
    return ", ".join(map(str, bar.endings))


def ending_brackets(bars: Sequence[Bar]) -> dict[int, tuple[str, str]]:
    """The bars in which a bracket ends: its passes, and how. The last one is drawn over its first bar only."""
    found = {}
    for at, bar in enumerate(bars):
        if not bar.endings:
            continue
        end = at
        while not bars[end].closes and end + 1 < len(bars):
            following = bars[end + 1]
            if following.endings or following.opens or following.letter:
                break
            end += 1
        if bars[end].closes or (end + 1 < len(bars) and bars[end + 1].endings):
            found[end] = (_numbers(bar), "stop")
        else:
            found[at] = (_numbers(bar), "discontinue")
    return found


def repeat_openings(bars: Sequence[Bar], pickup: bool, ends: Mapping[int, tuple[str, str]]) -> frozenset[int]:
    """Bars without an opening sign that a closing one goes back to by the rule of charts: the beginning of its section,
    or where the last repeat was over. All but the first bar get a sign in a score, whose readers differ there."""
    found = set()
    back, opened = int(pickup), False
    for at, bar in enumerate(bars):
        if bar.opens:
            back, opened = at, True
        elif bar.letter and not opened:
            back = at
        if bar.closes:
            if not opened and back:
                found.add(back)
            if not (at + 1 < len(bars) and bars[at + 1].endings):
                back, opened = at + 1, False
        elif ends.get(at, ("", ""))[1] == "discontinue":
            back, opened = at + 1, False
    return frozenset(found)
