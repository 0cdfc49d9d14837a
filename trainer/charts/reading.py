"""Chart text to bars, every fault with its line and column.

How a chart is written
----------------------
Lines ``word: value`` come first: title, key, time (4/4 where it is not said), pickup (beats of a pick-up bar, which is
then the first bar and belongs to no section), form (the order of the letters: ``A A B A``), about. Then lines of bars:

    [A] |: Cm7 F7 | Bbmaj7 |1. Am7b5 D7 | Gm6 :|2. Cm7 F7 | Bb6 |

* Each line of bars begins and ends with a bar line: ``|``, ``||``, ``|:`` opens a repeat, ``:|`` closes it (``:|x3``:
  played three times), ``:|:`` does both. A closing sign without an opening one goes back to the beginning of its
  section.
* ``1.`` or ``1,2.`` straight after a bar line begins an ending.
* A letter or name in a box, ``[A]``, before the first bar line begins a section.
* Chords are symbols (``Cm7``) or degrees of the key (``iim7``, ``bII7``, ``V7/V``), or ``N.C.`` Chords in a bar share
  its beats equally. Where they do not, a stroke ``/`` holds the chord for one more beat: ``Cm7 / / F7``. Twice as many
  marks as beats are half a beat each, and so on: ``Cm7 / / / / / / F7`` brings F7 in half a beat before the next bar.
* ``%`` repeats the bar before. ``3/4`` at the beginning of a bar changes the time from there on, ``key:Eb`` the key.
* A line that begins with ``~`` is the melody of the line of bars above it, bar for bar. What stands in a bar shares it
  equally: a note with its octave (``Bb4``), ``_`` for one held on, ``.`` for a rest; eight of them in 4/4 are eighths.
* A line that begins with ``;`` is a remark.

Accidentals are b and #, or the musical signs.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

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
    chord_on,
    held_over,
    play_order,
)
from trainer.chords import ChordError, parse, parse_degree_chord
from trainer.pitch import MidiNote, Note, PitchError, parse_key

MOST_LETTERS: Final = 256 * 1024
MOST_BARS: Final = 2_000
MOST_TIMES: Final = 16
MOST_FAULTS: Final = 100
MOST_IN_A_BAR: Final = 480
"""Marks of chords, or of melody: triplets, quintuplets and 32nds of one bar of 4/4 have it in common."""

HEADERS: Final = ("title", "key", "time", "pickup", "form", "about")

_HEADER: Final = re.compile(r"\s*([A-Za-z]+)\s*:(?!\|)\s*(.*?)\s*$")
_BAR_LINE: Final = re.compile(r":\|:|:\|{1,2}|\|:|\|{1,2}")
_BOX: Final = re.compile(r"\s*\[([^\[\]|]*)\]")
_TIMES: Final = re.compile(r"[x×](\d+)(?=\s|$)")
_ENDING: Final = re.compile(r"(\d+(?:,\d+)*)\.(?=\s|$)")
_METER: Final = re.compile(r"(\d{1,2})/(\d{1,2})")
_DEGREE_CHORD: Final = re.compile(r"[b#♭♯]{0,2}[IViv]")
_WORD: Final = re.compile(r"\S+")
_KEY: Final = "key:"
_UNITS: Final = (1, 2, 4, 8, 16)
_SECTION_LETTERS: Final = 16


@dataclass(frozen=True, slots=True)
class _Word:
    """A word of the text and where it stands (from 1)."""

    text: str
    line: int
    column: int


@dataclass(slots=True)
class _Cell:
    """What stands between two bar lines."""

    words: list[_Word]
    line: int
    column: int
    opens: bool = False
    closes: int = 0


class _Reader:
    def __init__(self, text: str) -> None:
        self.text = text
        self.faults: list[ChartFault] = []
        self.said: dict[str, _Word] = {}
        self.key = Key(Note.parse("C"))  # of the bars being read
        self.meter = FOUR_FOUR
        self.bars: list[Bar] = []
        self.places: list[_Cell] = []
        self.row: list[int] = []  # indices of the bars of the last line of bars, for the melody below it
        self.letter = ""  # of the section that the next bar begins

    def fault(self, at: _Word | _Cell, expected: str, message: str, found: str | None = None) -> None:
        if found is None:
            found = at.text if isinstance(at, _Word) else ""
        if len(self.faults) < MOST_FAULTS:
            self.faults.append(ChartFault(at.line, at.column, found, expected, message))

    def read(self) -> Chart:
        if len(self.text) > MOST_LETTERS:
            message = f"the text has {len(self.text)} letters; a chart has at most {MOST_LETTERS}"
            raise ChartError([ChartFault(1, 1, "", f"at most {MOST_LETTERS} letters", message)])
        lines = self.text.removeprefix("\ufeff").splitlines()
        music: list[tuple[int, str]] = []
        for number, line in enumerate(lines, 1):
            bare = line.strip()
            if not bare or bare.startswith(";"):
                continue
            header = _HEADER.match(line)
            if header is not None and not music and "|" not in line[: header.start(2)]:
                self.header(number, line, header)
            else:
                music.append((number, line))
        pickup = self.headers()
        home = self.key
        for number, line in music:
            if len(self.bars) > MOST_BARS:
                message = f"a chart has at most {MOST_BARS} bars"
                self.fault(_Word("", number, 1), "fewer bars", message)
                break
            if line.lstrip().startswith("~"):
                self.melody(number, line)
            else:
                self.music(number, line, pickup)
        if not self.bars and not self.faults:
            self.fault(
                _Word("", max(1, len(lines)), 1), "a line of bars, as in | Dm7 | G7 | Cmaj7 |", "there are no bars"
            )
        form = self.form()
        self.order(form)
        if self.faults:
            raise ChartError(self.faults)
        title, about = (self.said[name].text if name in self.said else "" for name in ("title", "about"))
        return Chart(title, home, tuple(self.bars), pickup, form, about)

    # ------------------------------------------------------------ headers

    def header(self, number: int, line: str, match: re.Match[str]) -> None:
        name = match[1].lower()
        word = _Word(match[1], number, match.start(1) + 1)
        if name not in HEADERS:
            self.fault(word, ", ".join(HEADERS), f"{match[1]!r} is no word of a chart; there are {', '.join(HEADERS)}")
        elif name in self.said:
            self.fault(word, "each word once", f"{name} is said twice")
        elif not match[2]:
            self.fault(word, "a value", f"{name} has no value")
        else:
            self.said[name] = _Word(match[2], number, match.start(2) + 1)

    def headers(self) -> int:
        """Key and time as the text says; the beats of the pick-up."""
        if (said := self.said.get("key")) is not None:
            try:
                self.key = Key.parse(said.text)
            except PitchError as fault:
                self.fault(said, "a note, with m for minor", str(fault))
        if (said := self.said.get("time")) is not None:
            self.meter = self.time(said) or self.meter
        if (said := self.said.get("pickup")) is None:
            return 0
        most = self.meter.beats - 1
        if said.text.isascii() and said.text.isdigit() and len(said.text) < 3 and 1 <= int(said.text) <= most:
            return int(said.text)
        message = f"a pick-up in {self.meter} has 1 to {most} beats, not {said.text!r}"
        self.fault(said, f"1 to {most}", message)
        return 0

    def time(self, word: _Word) -> Meter | None:
        match = _METER.fullmatch(word.text)
        if match is not None and 1 <= int(match[1]) <= 32 and int(match[2]) in _UNITS:
            return Meter(int(match[1]), int(match[2]))
        self.fault(
            word, "a time such as 4/4, 3/4 or 6/8", f"{word.text!r} is not a time; write beats and unit, as in 4/4"
        )
        return None

    def form(self) -> tuple[str, ...]:
        said = self.said.get("form")
        return () if said is None else tuple(said.text.split())

    def order(self, form: tuple[str, ...]) -> None:
        if not self.bars:
            return
        for fault in play_order(self.bars, form)[1]:
            at: _Word | _Cell = self.said["form"] if fault.bar < 0 and form else self.places[max(fault.bar, 0)]
            self.fault(at, fault.expected, fault.message, fault.found)

    # ------------------------------------------------------------ lines of bars

    def cells(self, number: int, line: str, start: int) -> list[_Cell] | None:
        """The line cut at its bar lines; None where it does not begin or end with one."""
        lines = list(_BAR_LINE.finditer(line, start))
        before = line[start : lines[0].start()] if lines else line[start:]
        if not lines or before.strip():
            at = _first_word(number, line, start)
            self.fault(at, "|", "a line of bars begins with a bar line, as in | Dm7 | G7 |")
            return None
        found = []
        for sign, following in zip(lines, lines[1:], strict=False):
            words = [
                _Word(word[0], number, word.start() + 1) for word in _WORD.finditer(line, sign.end(), following.start())
            ]
            cell = _Cell(words, number, sign.end() + 1, sign[0] in {"|:", ":|:"})
            if following[0].startswith(":"):
                cell.closes = 2
            found.append(cell)
            if sign[0].startswith(":"):
                self.times(line, sign, found)
        last = lines[-1]
        tail_start = last.end()
        if last[0].startswith(":"):
            tail_start += self.times(line, last, [*found, None])
        if last[0] in {"|:", ":|:"}:
            self.fault(_Word(last[0], number, last.start() + 1), "| or :|", "a repeat opens with no bar after it")
        elif line[tail_start:].strip():
            at = _first_word(number, line, tail_start)
            self.fault(at, "|", f"{at.text!r} stands after the last bar line; end the line with |")
            return None
        return found

    def times(self, line: str, sign: re.Match[str], found: list[_Cell] | list[_Cell | None]) -> int:
        """A number of times straight after a closing sign, given to the bar before it. Letters it takes up."""
        match = _TIMES.match(line, sign.end())
        closed = found[-2] if len(found) > 1 else None
        if match is None:
            return 0
        following = found[-1]
        if following is not None and following.words and following.words[0].text == match[0]:
            del following.words[0]
        if closed is not None:
            closed.closes = int(match[1]) if len(match[1]) < 3 else 0
            if not 2 <= closed.closes <= MOST_TIMES:
                word = _Word(match[0], closed.line, match.start() + 1)
                self.fault(word, f"x2 to x{MOST_TIMES}", f"a repeat is played 2 to {MOST_TIMES} times, not {match[1]}")
                closed.closes = 2
        return len(match[0])

    def music(self, number: int, line: str, pickup: int) -> None:
        letter, start = "", 0
        box = _BOX.match(line)
        if box is not None:
            start, letter = box.end(), box[1].strip()
            if not letter or len(letter) > _SECTION_LETTERS or len(letter.split()) != 1:
                word = _Word(box[0].strip(), number, box.start(1) + 1)
                self.fault(word, "a letter, as in [A]", "a section is named by a letter or one short word in a box")
                letter = letter[:_SECTION_LETTERS]
        cells = self.cells(number, line, start)
        self.row = []
        self.letter = letter or self.letter
        first = _BAR_LINE.search(line, start)
        if cells and first is not None and first[0].startswith(":"):
            word = _Word(first[0], number, first.start() + 1)
            self.fault(word, "| or |:", "a closing sign stands after the bar that it closes, at the end of its line")
        for cell in cells or ():
            self.row.append(len(self.bars))
            beats = pickup if pickup and not self.bars else None
            # A pick-up belongs to no section: it comes once, before the first.
            here, self.letter = ("", self.letter) if beats else (self.letter, "")
            self.bars.append(replace(self.bar(cell, beats), letter=here))
            self.places.append(cell)
        if cells is not None and not cells:
            self.fault(_first_word(number, line, start), "a bar between two bar lines", "this line has no bar")

    def bar(self, cell: _Cell, pickup_beats: int | None) -> Bar:
        words = list(cell.words)
        endings: tuple[int, ...] = ()
        if words and (match := _ENDING.fullmatch(words[0].text)) is not None:
            numbers = [int(number) for number in match[1].split(",") if len(number) < 3]
            endings = tuple(numbers) if all(1 <= number <= MOST_TIMES for number in numbers) else ()
            if not endings:
                self.fault(words[0], "1. or 2.", f"an ending is for the passes 1 to {MOST_TIMES}")
            del words[0]
        key = None
        while words and (words[0].text.startswith(_KEY) or _METER.fullmatch(words[0].text)):
            word = words.pop(0)
            if word.text.startswith(_KEY):
                key = self.key = self.change_of_key(word)
            else:
                self.meter = self.time(word) or self.meter
        beats = self.meter.beats if pickup_beats is None else pickup_beats
        empty = Bar((), self.meter, beats, (), "", cell.opens, cell.closes, endings, key=key)
        if not words:
            self.fault(cell, "a chord, % or N.C.", "an empty bar; write a chord, % for the bar before, or N.C.")
            return empty
        if [word.text for word in words] == ["%"]:
            return self.repeated(words[0], empty)
        return replace(empty, chords=self.chords(words, beats))

    def change_of_key(self, word: _Word) -> Key:
        said = _Word(word.text.removeprefix(_KEY), word.line, word.column + len(_KEY))
        try:
            return Key.parse(said.text)
        except PitchError as fault:
            self.fault(said, "a note, with m for minor", str(fault))
            return self.key

    def repeated(self, word: _Word, bar: Bar) -> Bar:
        before = self.bars[-1] if self.bars else None
        if before is None:
            self.fault(word, "a chord", "there is no bar before this one to repeat")
            return bar
        if before.beats != bar.beats:
            self.fault(
                word, "a chord", f"the bar before has {before.beats} beats and this one {bar.beats}: write it out"
            )
            return bar
        if bar.key is not None:
            self.fault(word, "a chord", "the key changes here: write the bar out")
            return bar
        return replace(bar, chords=before.chords, sign=True)

    def chords(self, words: list[_Word], beats: int) -> tuple[ChartChord, ...]:
        strokes = [word for word in words if word.text == "/"]
        if words[0].text == "/":
            self.fault(words[0], "a chord", "a stroke holds the chord before it, and there is none in this bar")
            return ()
        count = len(words)
        if count > MOST_IN_A_BAR:
            self.fault(words[0], f"at most {MOST_IN_A_BAR}", f"a bar has at most {MOST_IN_A_BAR} chords and strokes")
            return ()
        if strokes and count % beats:
            message = f"with strokes each mark is a beat or a part of one: there are {count} and the bar has {beats}"
            self.fault(words[0], f"{beats} chords and strokes", message, str(count))
            return ()
        if not strokes and beats % count and count % beats:
            message = (
                f"{count} chords do not share {beats} beats equally; write a stroke / for each beat a chord is held"
            )
            self.fault(words[0], f"{beats} chords and strokes", message, str(count))
        share = Fraction(beats, count)
        found: list[ChartChord] = []
        for at, word in enumerate(words):
            if word.text == "/":
                found[-1] = replace(found[-1], beats=found[-1].beats + share)
            else:
                found.append(replace(self.chord(word), beat=1 + at * share, beats=share))
        return tuple(found)

    def chord(self, word: _Word) -> ChartChord:
        try:
            if _DEGREE_CHORD.match(word.text):
                degree = parse_degree_chord(word.text)
                return ChartChord(chord_on(degree, self.key), degree=degree)
            return ChartChord(parse(word.text))
        except ChordError as fault:
            at = _Word(word.text, word.line, word.column + fault.at)
            if word.text == "%":
                self.fault(word, "a chord", "% stands for a whole bar and must be alone in it")
            else:
                self.fault(at, fault.expected, str(fault))
            return ChartChord(parse("N.C."))

    # ------------------------------------------------------------ melody

    def melody(self, number: int, line: str) -> None:
        start = line.index("~") + 1
        if not self.row:
            self.fault(_Word("~", number, start), "a line of bars above", "a melody stands under its line of bars")
            return
        cells = self.cells(number, line, start)
        if cells is None:
            return
        row, self.row = self.row, []
        if len(cells) != len(row):
            message = f"the melody has {len(cells)} bars and the line above it {len(row)}"
            self.fault(_Word("~", number, start), f"{len(row)} bars", message, str(len(cells)))
            return
        for at, cell in zip(row, cells, strict=True):
            self.bars[at] = replace(self.bars[at], melody=self.notes(cell, at))

    def notes(self, cell: _Cell, at: int) -> tuple[MelodyNote, ...]:
        bar = self.bars[at]
        if not cell.words:
            self.fault(cell, "notes, _ or .", "an empty bar of melody; write . for a rest")
            return ()
        if len(cell.words) > MOST_IN_A_BAR:
            self.fault(cell, f"at most {MOST_IN_A_BAR}", f"a bar of melody has at most {MOST_IN_A_BAR} notes")
            return ()
        share = Fraction(bar.beats, len(cell.words))
        found: list[MelodyNote] = []
        sounding = False
        for index, word in enumerate(cell.words):
            beat = 1 + index * share
            if word.text == ".":
                sounding = False
            elif word.text == "_":
                if sounding:
                    found[-1] = replace(found[-1], beats=found[-1].beats + share)
                    continue
                before = held_over(self.bars[at - 1]) if at and not index else None
                if before is None:
                    self.fault(word, "a note or .", "_ holds the note before it, and none sounds there")
                    continue
                found.append(MelodyNote(before.note, before.key, beat, share, tied=True))
                sounding = True
            else:
                note = self.note(word)
                if note is not None:
                    found.append(MelodyNote(*note, beat, share))
                    sounding = True
        return tuple(found)

    def note(self, word: _Word) -> tuple[Note, MidiNote] | None:
        name = word.text.replace("♭", "b").replace("♯", "#")
        head = re.match(r"[A-G](?:bb?|##?)?", name)
        try:
            if head is not None:
                return Note.parse(head[0]), parse_key(name)
        except PitchError:
            pass
        self.fault(
            word, "a note with its octave, _ or .", f"{word.text!r} is not a note with its octave, as in Bb4 or C5"
        )
        return None


def _first_word(number: int, line: str, start: int) -> _Word:
    match = _WORD.search(line, start)
    return _Word("", number, len(line) + 1) if match is None else _Word(match[0], number, match.start() + 1)


def read_chart(text: str) -> Chart:
    """Read a chart (see the module's head). Raises `ChartError` with every fault.

    >>> chart = read_chart("key: Bb\\n| iim7 V7 | I6 |")
    >>> [one.chord.symbol for one in chart.unrolled()]
    ['Cm7', 'F7', 'Bb6']
    """
    return _Reader(text).read()
