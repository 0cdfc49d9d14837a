"""Charts as frozen values: bars, keys, the form as it is played, and any key from any key.

Beats are counted from 1 within a bar and may be fractions. A beat is the unit of the bar's time signature: 6/8 has six.
In the form as it is played, `start_beats` counts from the first full bar's first beat (0), so that a pick-up lies below
0, and lengths are in beats of the first bar throughout: after 4/4, a bar of 6/8 lasts three.

Transposition goes by degree: a chord's root is the same degree of the new key, a root with a double accidental takes
its plain name, its chord tones counted from there (bII7 in Gb is G7). Read from symbols, such a plain
name is taken back for the degree it stood for: where the other spelling of a root could not be written in the old key
without a double accidental, the degree nearer to the key is meant (G7 in Gb is bII7, not #I7), and for a diminished
chord the raised one (Gdim7 in Gb is #I, on its way up).

Twelve keys go by the trade's names; in minor, Db and Gb have no signature of seven flats or fewer and give way to C#
and F#.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Final

from trainer.chords import Chord, DegreeChord, Quality
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, PitchError, respelled

MOST_PLAYED_BARS: Final = 10_000


@dataclass(frozen=True, slots=True)
class ChartFault:
    """One fault of a chart: where (from 1), what was found, what could stand there, and one sentence."""

    line: int
    column: int
    found: str
    expected: str
    message: str

    def __str__(self) -> str:
        return f"{self.line}:{self.column}: {self.message}"


class ChartError(ValueError):
    """A chart that cannot be read: every fault, in the order of the text. `str()` has one fault a line."""

    def __init__(self, faults: Sequence[ChartFault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: (fault.line, fault.column)))
        super().__init__("\n".join(map(str, self.faults)))


@dataclass(frozen=True, slots=True)
class Key:
    """The key of a chart. Degrees count on the major scale of its root in minor, too."""

    root: Note
    minor: bool = False

    @property
    def name(self) -> str:
        """``F``, ``Cm``."""
        return self.root.name + ("m" if self.minor else "")

    @staticmethod
    def parse(text: str) -> Key:
        """Read ``F``, ``F major``, ``Cm``, ``C minor``, ``C♯m``. Raises `PitchError`.

        >>> Key.parse("Cm") == Key.parse("C minor"), Key.parse("Bb").name
        (True, 'Bb')
        """
        words = text.split()
        mode = words[1].lower() if len(words) == 2 else ""
        if not 1 <= len(words) <= 2 or (len(words) == 2 and mode not in {"major", "minor"}):
            raise PitchError(f"{text!r} is not a key; write a note for major, or with m for minor, as in Bb or Cm")
        name = words[0].replace("♭", "b").replace("♯", "#")
        minor = mode == "minor" or (not mode and name.endswith("m"))
        root = Note.parse(name.removesuffix("m") if minor else name)
        if not -1 <= root.alteration <= 1:
            raise PitchError(f"{text!r} is not a key; no key has a double accidental")
        return Key(root, minor)

    def __str__(self) -> str:
        return self.name


_MOST_FLATS: Final = 7


def twelve_keys(minor: bool = False) -> tuple[Key, ...]:
    """The twelve keys in the cycle of fourths.

    >>> " ".join(key.name for key in twelve_keys(minor=True))
    'Cm Fm Bbm Ebm Abm C#m F#m Bm Em Am Dm Gm'
    """
    keys = []
    for root in TWELVE_ROOTS:
        signature = root.fifths - 3 if minor else root.fifths
        keys.append(Key(Note(root.fifths + 12) if signature < -_MOST_FLATS else root, minor))
    return tuple(keys)


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature: `beats` of a whole note's `unit`-th in a bar."""

    beats: int = 4
    unit: int = 4

    def __str__(self) -> str:
        return f"{self.beats}/{self.unit}"


FOUR_FOUR: Final = Meter()


@dataclass(frozen=True, slots=True)
class ChartChord:
    """A chord in a bar: at `beat` (from 1), for `beats`; `degree` where it was written by degree."""

    chord: Chord
    beat: Fraction = Fraction(1)
    beats: Fraction = Fraction(4)
    degree: DegreeChord | None = None


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A note of the melody: spelled, its key, at `beat` (from 1), for `beats`; `tied` to the one before it."""

    note: Note
    key: MidiNote
    beat: Fraction
    beats: Fraction
    tied: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """A written bar.

    `beats` is its length (a pick-up is shorter than its meter). `letter` names the section that begins here. `opens`
    and `closes` are repeat signs; `closes` counts how often all is played (0: no sign). `endings` are the passes that
    the ending beginning here is for. `sign`: the bar is written as a repeat of the one before. `key` is that of the
    music from here on, where it changes.
    """

    chords: tuple[ChartChord, ...]
    meter: Meter = FOUR_FOUR
    beats: int = 4
    melody: tuple[MelodyNote, ...] = ()
    letter: str = ""
    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()
    sign: bool = False
    key: Key | None = None


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """A bar as the form is played: `number` from 1 (0: the pick-up), `written` its index in the chart, the section
    letter it belongs to, where it starts and how long it lasts."""

    number: int
    written: int
    letter: str
    start_beats: Fraction
    beats: Fraction


@dataclass(frozen=True, slots=True)
class FormChord:
    """A chord where it falls in the form as played: `beat` is that of its own bar, `start_beats` and `beats` are those
    of the form. `melody_key` is what the melody sounds at its beginning."""

    bar: int
    beat: Fraction
    start_beats: Fraction
    beats: Fraction
    chord: Chord
    letter: str
    written: int
    melody_key: MidiNote | None = None

    @property
    def label(self) -> str:
        """Bar, and the beat where it is not the first: ``4``, ``4.3``, ``4.3&`` for half a beat later."""
        whole, part = divmod(self.beat, 1)
        after = "" if not part else "&" if part == Fraction(1, 2) else f"+{part}"
        return str(self.bar) if self.beat == 1 else f"{self.bar}.{whole}{after}"


@dataclass(frozen=True)
class Chart:
    """A tune or progression. `form` is the order of its letters (empty: as written); `pickup_beats` is the length of
    the first bar where that is a pick-up (0: none)."""

    title: str
    key: Key
    bars: tuple[Bar, ...]
    pickup_beats: int = 0
    form: tuple[str, ...] = ()
    about: str = field(default="")

    @cached_property
    def played(self) -> tuple[PlayedBar, ...]:
        """Every bar in the order in which it is played, repeats, endings and form followed. Raises `ChartError`."""
        order, faults = play_order(self.bars, self.form)
        if faults:
            raise ChartError(
                [ChartFault(1, fault.bar + 1, fault.found, fault.expected, fault.message) for fault in faults]
            )
        found = []
        start = Fraction(-self.pickup_beats)
        number = 0 if self.pickup_beats else 1
        letters = _letters(self.bars)
        for written in order:
            bar = self.bars[written]
            beats = bar.beats * self.beat_of(bar)
            found.append(PlayedBar(number, written, letters[written], start, beats))
            start += beats
            number += 1
        return tuple(found)

    def beat_of(self, bar: Bar) -> Fraction:
        """How long a beat of a bar lasts, in beats of the first bar: half of one for an eighth after 4/4."""
        return Fraction(self.bars[0].meter.unit, bar.meter.unit)

    def unrolled(self, *, pickup: bool = True) -> tuple[FormChord, ...]:
        """Every chord of the form as it is played; without the pick-up, one chorus as it comes round again."""
        found = []
        for played in self.played:
            if played.number == 0 and not pickup:
                continue
            bar = self.bars[played.written]
            for one in bar.chords:
                melody = next((note.key for note in bar.melody if note.beat <= one.beat < note.beat + note.beats), None)
                scale = self.beat_of(bar)
                start, beats = played.start_beats + (one.beat - 1) * scale, one.beats * scale
                found.append(
                    FormChord(played.number, one.beat, start, beats, one.chord, played.letter, played.written, melody)
                )
        return tuple(found)

    def in_key(self, root: Note) -> Chart:
        """The same in another key of the same mode, spelled for it; the melody goes to the nearer octave."""
        return transposed(self, root)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The key of each written bar."""
        found, key = [], self.key
        for bar in self.bars:
            key = bar.key or key
            found.append(key)
        return tuple(found)

    @property
    def by_degree(self) -> Chart:
        """The same with every chord written by degree, of the key of its bar."""
        return _with_chords(self, lambda one, key: replace(one, degree=one.degree or degree_of(one.chord, key)))

    @property
    def by_symbol(self) -> Chart:
        """The same with every chord written as a symbol."""
        return _with_chords(self, lambda one, _: replace(one, degree=None))


# ---------------------------------------------------------------- the form as it is played


@dataclass(frozen=True, slots=True)
class OrderFault:
    """A fault of repeats, endings or form: the index of the bar it belongs to (-1: the form as a whole)."""

    bar: int
    found: str
    expected: str
    message: str


def _letters(bars: Sequence[Bar]) -> list[str]:
    letters, letter = [], ""
    for bar in bars:
        letter = bar.letter or letter
        letters.append(letter)
    return letters


def sections_of(bars: Sequence[Bar]) -> list[range]:
    """The bars of each section, what stands before the first letter among them."""
    starts = [0, *(at for at, bar in enumerate(bars) if bar.letter and at)]
    return [range(start, end) for start, end in zip(starts, [*starts[1:], len(bars)], strict=True)]


def play_order(bars: Sequence[Bar], form: Sequence[str] = ()) -> tuple[list[int], list[OrderFault]]:
    """Indices of the bars as they are played, and every fault of their signs.

    A closing repeat goes back to the last opening one, else to the beginning of its section (not to a pick-up). It may
    span several sections where no form says their order.
    """
    faults: list[OrderFault] = []
    if not form:
        order = _in_order(bars, range(len(bars)), faults)
    else:
        sections = sections_of(bars)
        played = [_in_order(bars, section, faults) for section in sections]
        order = _by_form(bars, sections, played, form, faults)
    if len(order) > MOST_PLAYED_BARS:
        faults.append(
            OrderFault(
                -1,
                str(len(order)),
                f"at most {MOST_PLAYED_BARS}",
                f"the form has {len(order)} bars, more than a tune has",
            )
        )
    return order, faults


def _by_form(
    bars: Sequence[Bar],
    sections: list[range],
    played: list[list[int]],
    form: Sequence[str],
    faults: list[OrderFault],
) -> list[int]:
    by_letter: dict[str, list[int]] = {}
    order: list[int] = []
    for section, part in zip(sections, played, strict=True):
        letter = bars[section.start].letter if len(section) else ""
        if not letter:
            order += part
        elif letter in by_letter:
            message = f"the letter {letter} stands twice; with a form line each section is written once"
            faults.append(OrderFault(section.start, letter, "another letter", message))
        else:
            by_letter[letter] = part
            if letter not in form:
                message = f"the section {letter} is not in the form {' '.join(form)}"
                faults.append(OrderFault(section.start, letter, "a letter of the form", message))
    known = ", ".join(by_letter) or "none"
    for letter in dict.fromkeys(form):
        if letter not in by_letter:
            faults.append(OrderFault(-1, letter, known, f"the form names {letter}; the sections are {known}"))
    for letter in form:
        order += by_letter.get(letter, [])
        if len(order) > MOST_PLAYED_BARS:
            break
    return order


def _in_order(bars: Sequence[Bar], section: range, faults: list[OrderFault]) -> list[int]:
    """The bars of one section, or of several, as they are played."""
    order: list[int] = []
    # Where the next closing sign goes back to.
    back = section.start
    if len(section) and not section.start and bars[0].beats < bars[0].meter.beats:
        back = 1
        order.append(0)
    opened = False
    at = back
    while at < section.stop:
        bar = bars[at]
        if bar.letter and not opened:
            order += range(back, at)
            back = at
        if bar.opens:
            if opened:
                message = "a repeat opens inside another that has not closed"
                faults.append(OrderFault(at, "|:", ":| before it", message))
            order += range(back, at)
            back, opened = at, True
        if bar.endings:
            order += _with_endings(bars, range(back, section.stop), at, faults)
            at = back = _ending_blocks(bars, at, section.stop)[-1][1] + 1
            opened = False
            continue
        if bar.closes:
            order += [*range(back, at + 1)] * bar.closes
            back, opened = at + 1, False
        at += 1
    if opened:
        faults.append(OrderFault(back, "|:", ":| after it", "this repeat never closes"))
    return order + [*range(back, section.stop)]


def _begins(bar: Bar) -> bool:
    """Whether an ending before this bar is over."""
    return bool(bar.endings or bar.opens or bar.letter)


def _ending_blocks(bars: Sequence[Bar], first: int, stop: int) -> list[tuple[int, int]]:
    """(first, last) bar of each ending in a row. The last one is its first bar: from there the form goes on."""
    blocks = []
    start = first
    while True:
        end = start
        while not bars[end].closes and end + 1 < stop and not _begins(bars[end + 1]):
            end += 1
        if end + 1 < stop and bars[end + 1].endings:
            blocks.append((start, end))
            start = end + 1
        else:
            blocks.append((start, end if bars[end].closes else start))
            return blocks


def _with_endings(bars: Sequence[Bar], around: range, first: int, faults: list[OrderFault]) -> list[int]:
    blocks = _ending_blocks(bars, first, around.stop)
    passes = [number for start, _ in blocks for number in bars[start].endings]
    text = ", ".join(map(str, passes))
    if sorted(passes) != [*range(1, len(passes) + 1)] or len(passes) < 2:
        message = f"the endings here are {text}; each pass from 1 on needs one, and there are at least two"
        faults.append(OrderFault(first, text, "1. and 2.", message))
        return []
    for start, end in blocks[:-1]:
        if not bars[end].closes:
            faults.append(OrderFault(end, "|", ":|", f"the ending {bars[start].endings[0]} does not close with :|"))
    for _, end in blocks:
        if bars[end].closes > 2:
            message = "the endings say how often; :| takes no number here"
            faults.append(OrderFault(end, f"x{bars[end].closes}", ":|", message))
    last = blocks[-1]
    if bars[last[1]].closes:
        message = "the last ending goes back, and there is no ending for the pass after it"
        faults.append(OrderFault(last[1], ":|", "|", message))
    order = []
    for number in range(1, len(passes) + 1):
        start, end = next(block for block in blocks if number in bars[block[0]].endings)
        order += [*range(around.start, first), *range(start, end + 1)]
    return order


def rearranged(chart: Chart, order: Sequence[int]) -> Chart:
    """A chart's bars in another order, without its form line: keys are said where they change, and a bar is a repeated
    one, and a note tied, only where it still goes on with the bar before."""
    bars: list[Bar] = []
    keys, key = chart.keys, chart.key
    for at in order:
        bar = replace(chart.bars[at], key=None if keys[at] == key else keys[at])
        key = keys[at]
        before = bars[-1] if bars else None
        if bar.sign and (before is None or bar.key or before.chords != bar.chords or before.beats != bar.beats):
            bar = replace(bar, sign=False)
        if bar.melody and bar.melody[0].tied and held_over(before, bar.melody[0].key) is None:
            bar = replace(bar, melody=(replace(bar.melody[0], tied=False), *bar.melody[1:]))
        bars.append(bar)
    return replace(chart, bars=tuple(bars), form=())


def held_over(before: Bar | None, key: MidiNote | None = None) -> MelodyNote | None:
    """The note that sounds at the end of a bar, where there is one (and it has this key)."""
    if before is None or not before.melody:
        return None
    last = before.melody[-1]
    if last.beat + last.beats != before.beats + 1 or (key is not None and last.key != key):
        return None
    return last


# ---------------------------------------------------------------- any key from any key


_HIGHEST_STEP: Final = 10
"""#6: no chord stands on a higher degree."""


def _meant(step: int, base: Note, raised: bool) -> int:
    """A step along the line of fifths from `base`, taken back from a plain name; see the module's head."""
    for other in (step - 12, step + 12):
        writable = -1 <= Note(base.fifths + other).alteration <= 1
        if not writable and (step < other <= _HIGHEST_STEP if raised else abs(other) < abs(step)):
            return other
    return step


def degree_of(chord: Chord, key: Key) -> DegreeChord | None:
    """A chord by its degree in a key; None for N.C.

    >>> from trainer.chords import parse
    >>> degree_of(parse("G7"), Key.parse("Gb")).symbol, degree_of(parse("Gdim7"), Key.parse("Gb")).symbol
    ('bII7', '#idim7')
    """
    if chord.root is None:
        return None
    step = _meant(chord.root.fifths - key.root.fifths, key.root, _goes_up(chord.quality))
    bass = None
    if chord.bass is not None:
        bass = Degree.from_step(_meant(chord.bass.fifths - chord.root.fifths, chord.root, False))
    return DegreeChord(Degree.from_step(step), chord.quality, bass)


def _goes_up(quality: Quality) -> bool:
    return quality.colour in {"dim", "dim7"}


def chord_on(degree: DegreeChord, key: Key) -> Chord:
    """A chord by degree in a key, root and bass without double accidentals."""
    chord = degree.on(key.root)
    return chord if chord.bass is None else Chord(chord.root, chord.quality, respelled(chord.bass))


def _with_chords(chart: Chart, change: Callable[[ChartChord, Key], ChartChord]) -> Chart:
    bars = tuple(
        replace(bar, chords=tuple(change(one, key) for one in bar.chords))
        for bar, key in zip(chart.bars, chart.keys, strict=True)
    )
    return replace(chart, bars=bars)


def _key_beside(old: Key, home: Key, new_home: Key) -> Key:
    """What a key in a chart becomes when the chart's own key changes: as near to it on the line of fifths, with a
    signature of seven flats or sharps at most."""
    if old == home:
        return new_home
    written = old.root.fifths - home.root.fifths
    step = min((written, written - 12, written + 12), key=lambda one: (abs(one), one != written))
    fifths = new_home.root.fifths + step
    signature = fifths - 3 if old.minor else fifths
    if abs(signature) > _MOST_FLATS:
        fifths += 12 if signature < 0 else -12
    return Key(Note(fifths), old.minor)


def transposed(chart: Chart, root: Note) -> Chart:
    """A chart in another key of the same mode. Raises `PitchError` where the melody would leave the MIDI keys."""
    key = Key(root, chart.key.minor)
    step = root.fifths - chart.key.root.fifths
    semitones = (root.pitch_class - chart.key.root.pitch_class + 5) % 12 - 5

    def shifted(old: Key) -> Key:
        return _key_beside(old, chart.key, key)

    def moved(one: ChartChord, old: Key) -> ChartChord:
        degree = one.degree or degree_of(one.chord, old)
        if degree is None:
            return one
        return replace(one, chord=chord_on(degree, shifted(old)), degree=None if one.degree is None else degree)

    def sung(note: MelodyNote) -> MelodyNote:
        if not 0 <= note.key + semitones <= 127:
            raise PitchError(f"in {key} the melody would leave the keys 0 to 127")
        spelled = respelled(Note(note.note.fifths + step))
        return replace(note, note=spelled, key=MidiNote(note.key + semitones))

    bars = tuple(
        replace(
            bar,
            chords=tuple(moved(one, old) for one in bar.chords),
            melody=tuple(map(sung, bar.melody)),
            key=None if bar.key is None else shifted(bar.key),
        )
        for bar, old in zip(chart.bars, chart.keys, strict=True)
    )
    return replace(chart, key=key, bars=bars)


def in_twelve_keys(chart: Chart) -> tuple[Chart, ...]:
    """A chart in all twelve keys of its mode, in the cycle of fourths."""
    return tuple(transposed(chart, key.root) for key in twelve_keys(chart.key.minor))
