"""MusicXML lead sheets to charts: chord symbols, one melody, and the form.

What is read, and what becomes of it
------------------------------------
* Chords are those of the first part that has any. The melody is the first voice with notes on the upper staff of that
  part or, where it has none, of the first part that has; of notes struck together the highest. Grace and cue notes,
  unpitched ones and slashes are no melody. `part` names another part for both; where that has no chords, they are
  those of the first that has.
* A transposing instrument's part is read as it sounds: melody, chords and keys alike.
* A bar without a chord goes on with the one before; before the first there is N.C. A bar that says the bar before once
  more (nothing new, chords that are not printed, or several chords the same again) becomes a repeated bar.
* A first measure that is shorter than its time is a pick-up; of a part of a beat it is begun by a rest. Any other
  implicit measure, and one that an implicit one completes, keeps its own length as a time of its own. What else is
  too short is filled with a rest, and what is too long keeps its length.
* Rehearsal marks are section letters, a change of key signature is a change of key; a mode of the church is major or
  minor by its third. Without a mode a signature is that of a major key.
* Repeats and endings are kept. After endings of which the last pass has no bracket, it goes on behind them. D.C., D.S.,
  Coda and Fine have no signs in a chart: the bars are then written out as they are played, the last ending and no
  repeats after the jump (common practice, no source).
* Timewise scores are read as well, measure by measure put back into parts.
* Layout, lyrics, dynamics, tempo and sounds are left out.

Every fault is a `ChartError` whose lines and columns are those of the XML and whose messages name the measure.

Source: MusicXML 4.0, its schema and notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm
from typing import Final
from xml.etree.ElementTree import Element

from trainer.charts.reading import MOST_BARS, MOST_FAULTS, MOST_IN_A_BAR
from trainer.charts.score_files import ScoreTree, fault, is_compressed, read_tree, unpacked
from trainer.charts.score_jumps import written_out
from trainer.charts.score_measures import MOST_BEATS, UNITS, Measure, PartReader, Sound, clean
from trainer.charts.values import (
    FOUR_FOUR,
    Bar,
    Chart,
    ChartChord,
    ChartError,
    ChartFault,
    Key,
    MelodyNote,
    Meter,
    held_over,
    play_order,
)
from trainer.chords import Chord, parse
from trainer.pitch import Note

_NO_CHORD: Final = parse("N.C.")


# ---------------------------------------------------------------- measures to bars


class _Bars:
    """Makes bars of measures, one after the other."""

    def __init__(self, faults: list[ChartFault]) -> None:
        self.faults = faults
        self.bars: list[Bar] = []
        self.key: Key | None = None
        self.chord = _NO_CHORD
        self.late: tuple[Chord, bool] | None = None  # a chord that stood at the end of the measure before
        self.letter = ""  # one that stood over the pick-up and belongs to the bar after it
        self.pickup_beats = 0

    def fault(self, measure: Measure, message: str, found: str = "", expected: str = "") -> None:
        if len(self.faults) < MOST_FAULTS:
            text = f"measure {measure.number}: {message}"
            self.faults.append(ChartFault(measure.line, 1, found, expected, text))

    def add(self, measure: Measure, sounds: Sequence[Sound], following: Measure | None) -> None:
        meter, length, start = self.length(measure, following)
        first = not self.bars
        beats = int(length * meter.unit / 4)
        if first and beats < meter.beats:
            self.pickup_beats = beats
        letter = measure.letter or self.letter
        self.letter = ""
        if first and self.pickup_beats:
            letter, self.letter = "", letter
        # What changes in the pick-up's attributes is the chart's own key.
        key = measure.key if measure.key != self.key and not first else None
        self.key = measure.key or self.key
        bar = Bar((), meter, beats, (), letter, measure.opens, measure.closes, measure.endings, key=key)
        chords = self.chords(measure, bar, start, length)
        self.bars.append(replace(chords, melody=self.melody(measure, bar, sounds, start, length)))

    def length(self, measure: Measure, following: Measure | None) -> tuple[Meter, Fraction, Fraction]:
        """The meter and length of a bar, and where in it the measure begins (for a pick-up of a part of a beat)."""
        meter = measure.meter or FOUR_FOUR
        full = Fraction(4 * meter.beats, meter.unit)
        length = measure.length
        if not length:
            return meter, full, Fraction(0)
        if length < full and not self.bars:
            beat = Fraction(4, meter.unit)
            whole = ceil(length / beat) * beat
            return meter, whole, whole - length
        completed = following is not None and following.implicit and length + following.length == full
        if length == full or (length < full and measure.meter and not measure.implicit and not completed):
            return meter, full, Fraction(0)
        for unit in UNITS[UNITS.index(meter.unit) :]:
            beats = length * unit / 4
            if beats.denominator == 1 and beats <= MOST_BEATS:
                return Meter(int(beats), unit), length, Fraction(0)
        message = f"it lasts {float(length):g} quarters, and a bar has at most {MOST_BEATS} whole beats"
        self.fault(measure, message, f"{float(length):g}", str(meter))
        return meter, full, Fraction(0)

    def chords(self, measure: Measure, bar: Bar, start: Fraction, length: Fraction) -> Bar:
        placed: dict[Fraction, tuple[Chord, bool]] = {}
        if self.late is not None:
            placed[Fraction(0)], self.late = self.late, None
        for at in sorted(measure.chords):
            if start + at < length:
                placed[start + at] = measure.chords[at]
            else:
                self.late = measure.chords[at]
        before = self.bars[-1] if self.bars else None
        repeats = before is not None and bar.key is None and before.beats == bar.beats and before.meter == bar.meter
        if not placed and repeats and before is not None and len(before.chords) == 1:
            return replace(bar, chords=before.chords, sign=True)
        printed = any(shown for _, shown in placed.values())
        if Fraction(0) not in placed:
            placed[Fraction(0)] = (self.chord, False)
        times = sorted(placed)
        self.chord = placed[times[-1]][0]
        beat = Fraction(bar.meter.unit, 4)
        found = tuple(
            ChartChord(placed[at][0], 1 + at * beat, (end - at) * beat)
            for at, end in zip(times, [*times[1:], length], strict=True)
        )
        marks = lcm(*(one.beats.denominator for one in found))
        if marks * bar.beats > MOST_IN_A_BAR:
            message = "its chords cannot be counted on equal parts of its beats; put them on simple ones"
            self.fault(measure, message, ", ".join(str(one.beat) for one in found)[:80])
            found = (ChartChord(found[0].chord, Fraction(1), Fraction(bar.beats)),)
        same = repeats and before is not None and found == before.chords and (len(found) > 1 or not printed)
        return replace(bar, chords=found, sign=same)

    def melody(
        self, measure: Measure, bar: Bar, sounds: Sequence[Sound], start: Fraction, length: Fraction
    ) -> tuple[MelodyNote, ...]:
        beat = Fraction(bar.meter.unit, 4)
        found: list[MelodyNote] = []
        for sound, end in _one_at_a_time(sounds, length - start):
            at, beats = 1 + (start + sound.at) * beat, (end - sound.at) * beat
            before = found[-1] if found else held_over(self.bars[-1] if self.bars else None) if at == 1 else None
            goes_on = before is not None and sound.tied and before.key == sound.key
            if found and goes_on and found[-1].beat + found[-1].beats == at:
                found[-1] = replace(found[-1], beats=found[-1].beats + beats)
            else:
                found.append(MelodyNote(sound.note, sound.key, at, beats, tied=goes_on and not found))
        marks = lcm(*((beats / bar.beats).denominator for one in found for beats in (one.beat - 1, one.beats)))
        if marks > MOST_IN_A_BAR:
            message = "its melody cannot be counted on equal parts of the bar; simplify its rhythm, or leave it out"
            self.fault(measure, message, f"{marks} parts", f"at most {MOST_IN_A_BAR}")
            return ()
        return tuple(found)


def _one_at_a_time(sounds: Iterable[Sound], length: Fraction) -> Iterator[tuple[Sound, Fraction]]:
    """The highest of the notes struck together, each ended where the next begins or the bar does; and those ends."""
    highest: dict[Fraction, Sound] = {}
    for sound in sounds:
        known = highest.get(sound.at)
        if sound.at < length and (known is None or sound.key > known.key):
            highest[sound.at] = sound
    times = sorted(highest)
    for at, following in zip(times, [*times, length][1:], strict=True):
        yield highest[at], min(at + highest[at].length, following)


def _signs_of_a_chart(bars: list[Bar], stops: Sequence[bool], pickup: bool) -> None:
    """Repeats and endings as a chart has them; `stops` says where a bracket of an ending stops.

    A closing repeat without an opening one goes back to where the last repeat was over, or to the beginning; in a chart
    it goes back to the beginning of its section. Where that is another bar an opening sign is written. The pass after
    the last bracket gets an ending of its own, behind the brackets.
    """
    target = 1 if pickup else 0
    opened = other = False  # whether a sign opened the repeat; whether a chart would go back to another bar
    passes: tuple[int, ...] = ()
    behind = -1  # the bar behind the brackets
    for at in range(len(bars)):
        bar = bars[at]
        if bar.opens:
            target, opened, other, passes = at, True, False, ()
        elif bar.letter and at > target and not opened:
            other = True
        if bar.endings and at != behind:
            passes += bar.endings
        if bar.closes:
            if other and not opened:
                bars[target] = replace(bars[target], opens=True)
            if passes:
                bars[at] = replace(bars[at], closes=2)
            following = bars[at + 1].endings if at + 1 < len(bars) else ()
            if passes and not following and at + 1 < len(bars) and sorted(passes) == [*range(1, len(passes) + 1)]:
                behind = at + 1
                bars[behind] = replace(bars[behind], endings=(len(passes) + 1,))
            if not following:
                target, opened, other, passes = at + 1, False, bool(passes), ()
        elif passes and stops[at]:
            target, opened, other, passes = at + 1, False, True, ()


# ---------------------------------------------------------------- the whole score


def _partwise(tree: ScoreTree) -> list[tuple[Element, list[Element]]]:
    """Every part with its measures. Raises `ChartError`."""
    root = tree.root
    if root.tag == "score-partwise":
        return [(part, part.findall("measure")) for part in root.findall("part")]
    if root.tag != "score-timewise":
        message = f"the file is XML and no score: it begins with {root.tag[:40]!r}; export it as MusicXML"
        raise fault(message, root.tag[:40], "score-partwise", tree.lines[root])
    parts: dict[str, tuple[Element, list[Element]]] = {}
    for measure in root.findall("measure"):
        for part in measure.findall("part"):
            # A part within a measure holds what a measure within a part does.
            turned = Element("measure", measure.attrib)
            turned[:] = list(part)
            tree.lines[turned] = tree.lines[part]
            parts.setdefault(part.get("id", ""), (part, []))[1].append(turned)
    return list(parts.values())


def _names(root: Element) -> dict[str, str]:
    """The name of each part by its id."""
    rows = root.findall("part-list/score-part")
    return {row.get("id", ""): clean(row.findtext("part-name") or "", 40) for row in rows}


def _title(root: Element) -> str:
    for path in ("work/work-title", "movement-title"):
        if title := clean(root.findtext(path) or ""):
            return title
    for credit in root.findall("credit"):
        if (credit.findtext("credit-type") or "").strip() == "title":
            return clean(credit.findtext("credit-words") or "")
    return ""


def _about(root: Element) -> str:
    for remark in root.findall("identification/miscellaneous/miscellaneous-field"):
        if remark.get("name") == "about":
            return clean(remark.text or "")
    creators = [clean(one.text or "", 60) for one in root.findall("identification/creator")]
    return clean(", ".join(filter(None, creators)))


def _chosen(tree: ScoreTree, parts: list[tuple[Element, list[Element]]], wanted: str) -> list[int]:
    """Indices of the part that has the chords and the part that has the melody. Raises `ChartError`."""
    with_chords = [at for at, (_, found) in enumerate(parts) if any(one.find("harmony") is not None for one in found)]
    if not with_chords:
        message = "the score has no chord symbols; write them above the staff and export it again"
        raise fault(message, expected="harmony")
    if wanted:
        names = _names(tree.root)
        for at, (part, _) in enumerate(parts):
            name = part.get("id", "")
            if wanted.casefold() in (name.casefold(), names.get(name, "").casefold()):
                return [at if at in with_chords else with_chords[0], at]
        known = ", ".join(names.get(part.get("id", ""), "") or part.get("id", "") for part, _ in parts)
        raise fault(f"the score has no part {wanted!r}; its parts are {known}", wanted, known)
    chords = with_chords[0]
    sung = [at for at, (_, found) in enumerate(parts) if any(one.find("note/pitch") is not None for one in found)]
    return [chords, chords if chords in sung or not sung else sung[0]]


def read_score(data: bytes, *, part: str = "", melody: bool = True) -> Chart:
    """The chart of a lead sheet in MusicXML, compressed or not (see the module's head), its chords as symbols.

    `part` is the name or the id of the part to be read (empty: by rule); without `melody` the chords alone are read.
    Raises `ChartError`, and nothing else, whatever the bytes are.
    """
    tree = read_tree(unpacked(data) if is_compressed(data) else data)
    parts = _partwise(tree)
    most = max((len(measures) for _, measures in parts), default=0)
    if not most:
        raise fault("the score has no measures; export it again", expected="a part with its measures")
    if most > MOST_BARS:
        raise fault(f"the score has {most:,} measures; a chart has at most {MOST_BARS:,} bars", f"{most}")
    with_chords, with_melody = _chosen(tree, parts, part)
    faults: list[ChartFault] = []
    measures = PartReader(tree.lines, faults).measures(parts[with_chords][1])
    sung = measures
    if with_melody != with_chords:
        sung = PartReader(tree.lines, faults).measures(parts[with_melody][1])
    voice = next(iter(sorted({staff for one in sung for staff, _ in one.voices})), 0)
    names = dict.fromkeys(name for one in sung for staff, name in one.voices if staff == voice)
    chosen = (voice, next(iter(names), ""))
    if melody:
        faults += [one for measure in sung for one in measure.wrong.get(chosen, [])]
    making = _Bars(faults)
    for at, measure in enumerate(measures):
        sounds = sung[at].voices.get(chosen, []) if melody and at < len(sung) else []
        if measure.length == 0 and at < len(sung):
            measure.length = sung[at].length
        making.add(measure, sounds, measures[at + 1] if at + 1 < len(measures) else None)
    bars, pickup = making.bars, making.pickup_beats
    _signs_of_a_chart(bars, [one.ending_stops for one in measures], bool(pickup))
    order, wrong = play_order(bars)
    for one in wrong:
        making.fault(measures[max(one.bar, 0)], one.message, one.found, one.expected)
    if faults:
        raise ChartError(faults)
    key = measures[0].key or Key(Note.parse("C"))
    chart = Chart(_title(tree.root), key, tuple(bars), pickup, (), _about(tree.root))
    return written_out(chart, order, [one.jumps for one in measures])
