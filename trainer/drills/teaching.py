"""A lesson written by playing: a voicing for each chord of a chart, as a state table.

    teaching = Teaching(chart)
    events = teaching.start()              # Asked
    events = teaching.hear(note_event)     # Hearing, Taken, Asked ... Complete, Finished
    events = teaching.command(Wish.BACK)   # Asked
    teaching.lesson()                      # what has been taught so far

No I/O, no clock, no deadline: a voicing is taken when all its keys have been let go. It is what was held at its last
note-on; a key brushed before the others were let go is none of it (as `trainer.capture` says what is brushed). The next
chord follows at once. Wishes come from the computer or from keys of the piano:

    AGAIN      forget what is being held
    BACK       back to the chord before, whose voicing is forgotten
    SAME       as the last time this chord came, else as the last chord of its kind, at its nearest to what came before
    OPTIONAL   of the voicing taken last, the notes that the next one leaves out may be left out
    DONE       that is all; chords not taught follow the usual rule

Once every chord is taught, playing the last voicing once more is as good as DONE.

    READY --start--> ASKED --taken--> ASKED ... --last one--> COMPLETE --DONE--> FINISHED
    ASKED/COMPLETE --OPTIONAL--> LEAVING_OUT --taken--> ASKED/COMPLETE

A chart's bar is taught once, however often the form comes round to it, and a chord that goes on into the next bar is
one chord. In the lesson, a chord of one degree and kind that was voiced alike throughout has one rule; otherwise
its rules go by bar and beat.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from typing import Final

from trainer.capture import PERCUSSION_CHANNEL, Kind, NoteEvent, Windows, stand_ns
from trainer.charts import Chart, FormChord, degree_of
from trainer.drills.lessons import Lesson
from trainer.drills.rhythm import count_text
from trainer.drills.rules import Facts, Rule
from trainer.leading import motion
from trainer.naming import Naming, NamingError, name
from trainer.pitch import HIGHEST_PIANO_KEY, LOWEST_PIANO_KEY, MidiNote, pretty
from trainer.voicings import ONE_HAND_SEMITONES, VoicingError, VoicingRow, reach_fault, recipe

WIDEST_REACH_SEMITONES: Final = 24
LEAST_KEYS: Final = 2
"""A key touched by itself is no voicing."""


class Stage(StrEnum):
    """Where the teaching of a lesson stands."""

    READY = "ready"
    ASKED = "asked"
    LEAVING_OUT = "leaving out"
    COMPLETE = "complete"
    FINISHED = "finished"


class Wish(StrEnum):
    """What a teacher may ask for; see the head of this module."""

    AGAIN = "again"
    BACK = "back"
    SAME = "same as before"
    OPTIONAL = "may be left out"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class TaughtChord:
    """A chord to be taught: where it first falls, its facts, the bars of the form where it stands (and its count in
    them)."""

    one: FormChord
    facts: Facts
    bars: tuple[int, ...]
    alone: bool
    """Whether its bars hold no other chord."""

    @property
    def label(self) -> str:
        """``bar 4``, ``bar 4, beat 3``."""
        return f"bar {self.one.bar}" + ("" if self.facts.count == 1 else f", beat {count_text(self.facts.count)}")


@dataclass(frozen=True, slots=True)
class Voiced:
    """A voicing that was taken: its keys, how it is named on its chord, and which of its keys may be left out."""

    keys: tuple[MidiNote, ...]
    naming: Naming
    optional: frozenset[MidiNote] = frozenset()

    @property
    def sentence(self) -> str:
        """What it is on its chord, in one sentence."""
        closer = " The lesson plays its notes close together." if self.naming.closed_up else ""
        optional = [pretty(each.degree) for each in self.naming.keys if each.key in self.optional]
        left_out = f" May be left out: {', '.join(optional)}." if optional else ""
        return f"{self.naming.sentence}{closer}{left_out}"

    @property
    def voicing(self) -> str:
        """As a rule says it: a name of the table where the keys are just that, else degrees."""
        fit = self.naming.fits[0] if self.naming.fits else None
        if fit is not None and fit.spacing == "as written" and not self.optional:
            return fit.voicing
        return " ".join(f"({each.degree})" if each.key in self.optional else each.degree for each in self.naming.keys)


@dataclass(frozen=True, slots=True)
class Asked:
    """A voicing is asked for: the chord, counted from 1 to `total`, and what may be said of it before it is played."""

    chord: TaughtChord
    number: int
    total: int
    before: Voiced | None


@dataclass(frozen=True, slots=True)
class Hearing:
    """What is held has changed."""

    keys: tuple[MidiNote, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """A voicing was taken for a chord; `again` where its notes that may be left out were said."""

    chord: TaughtChord
    voiced: Voiced
    again: bool = False


@dataclass(frozen=True, slots=True)
class NotTaken:
    """What was played or wished for cannot be; `words` say why."""

    words: str


@dataclass(frozen=True, slots=True)
class Complete:
    """Every chord has its voicing."""


@dataclass(frozen=True, slots=True)
class Finished:
    """The teacher is done; `taught` of `total` chords have a voicing."""

    taught: int
    total: int


TeachingEvent = Asked | Hearing | Taken | NotTaken | Complete | Finished


@dataclass(slots=True)
class _Touch:
    """What is being played: when each key went down and up."""

    down_ns: dict[MidiNote, int] = field(default_factory=dict)
    up_ns: dict[MidiNote, int] = field(default_factory=dict)
    last: tuple[MidiNote, ...] = ()
    """The keys held just after the last note-on."""

    def keys(self, graze_ns: int) -> tuple[MidiNote, ...]:
        """The voicing, once every key is up: what was held at the last note-on, without keys only brushed."""
        kept = []
        for key in self.last:
            beside_ns = self.up_ns[key] - self.down_ns[key]
            others = [self.up_ns[other] for other in self.last if other != key]
            brushed = beside_ns < graze_ns and others and min(others) - self.up_ns[key] >= stand_ns(beside_ns)
            if not brushed:
                kept.append(key)
        return tuple(sorted(kept))


def chords_to_teach(lesson: Lesson) -> tuple[TaughtChord, ...]:
    """The chords of a chart that are taught, in the order in which they first come."""
    chords = lesson.chords
    found: dict[tuple[int, Fraction], list[int]] = {}
    for at, (one, _) in enumerate(chords):
        before = chords[at - 1][0] if at else None
        goes_on = before is not None and one.chord == before.chord and one.bar > before.bar
        if not goes_on or (one.written, one.beat) in found:
            found.setdefault((one.written, one.beat), []).append(at)
    in_bar = Counter(written for written, _ in {(one.written, one.beat) for one, _ in chords})
    taught = []
    for (written, _), places in found.items():
        bars = {chords[at][0].bar for at in places}
        for at in places:
            # Where the chord goes on into the bars after it, they are its own, too.
            for other, _ in chords[at + 1 :]:
                named = (other.written, other.beat) in found
                if named or other.chord != chords[at][0].chord or in_bar[other.written] > 1:
                    break
                bars.add(other.bar)
        taught.append(TaughtChord(*chords[places[0]], tuple(sorted(bars)), in_bar[written] == 1))
    return tuple(taught)


class Teaching:
    """The state table; see the head of this module."""

    def __init__(
        self, chart: Chart, rows: tuple[VoicingRow, ...] = (), windows: Windows | None = None, title: str = ""
    ) -> None:
        """Raises ValueError for a chart without chords."""
        self._bare = Lesson(title or chart.title or "Untitled", chart, rows=rows)
        self.chords: Final = chords_to_teach(self._bare)
        if not self.chords:
            raise ValueError("the chart has no chord to voice")
        self.stage = Stage.READY
        self.voiced: list[Voiced] = []
        """The voicings taken, one for each chord from the first."""
        self._windows = windows or Windows()
        self._touch = _Touch()
        self._held: set[MidiNote] = set()

    @property
    def chord(self) -> TaughtChord | None:
        """The chord asked for; None once every one is taught."""
        return self.chords[len(self.voiced)] if len(self.voiced) < len(self.chords) else None

    @property
    def title(self) -> str:
        return self._bare.title

    @property
    def leaves_out(self) -> bool:
        """Whether the next voicing says what of the last one may be left out."""
        return self.stage is Stage.LEAVING_OUT

    def start(self) -> list[TeachingEvent]:
        """Ask for the first chord."""
        return self._ask() if self.stage is Stage.READY else []

    def hear(self, event: NoteEvent) -> list[TeachingEvent]:
        """Take one event of the piano."""
        if self.stage in (Stage.READY, Stage.FINISHED) or event.channel == PERCUSSION_CHANNEL:
            return []
        if event.kind in (Kind.QUIET, Kind.PORT_LOST):
            return self._forget()
        if event.kind is Kind.DOWN:
            self._held.add(event.key)
            self._touch.down_ns[event.key] = event.time_ns
            self._touch.last = tuple(sorted(self._held))
            return [Hearing(self._touch.last)]
        if event.kind is Kind.UP and event.key in self._held:
            self._held.discard(event.key)
            self._touch.up_ns[event.key] = event.time_ns
            if self._held:
                return []
            touch, self._touch = self._touch, _Touch()
            return self._take(touch.keys(self._windows.graze_ns))
        return []

    def command(self, wish: Wish) -> list[TeachingEvent]:
        """Serve a wish; one that means nothing in this stage does nothing."""
        action = _WISHES.get((self.stage, wish))
        return action(self) if action is not None else []

    # -- taking

    def _take(self, keys: tuple[MidiNote, ...]) -> list[TeachingEvent]:
        if self.stage is Stage.LEAVING_OUT:
            return self._leave_out(keys)
        chord = self.chord
        if chord is None:
            if keys == self.voiced[-1].keys:
                return self._done()
            return [NotTaken("Every chord has its voicing. Play the last one once more to end.")]
        if len(keys) < LEAST_KEYS:
            return [NotTaken("One note is no voicing; hold all of it, and let it go together.")]
        try:
            voiced = Voiced(keys, name(keys, chord.one.chord, self._bare.rows))
            _reach_of(voiced, chord, self._bare.rows)
        except (NamingError, VoicingError) as error:
            return [NotTaken(str(error))]
        return self._keep(voiced)

    def _keep(self, voiced: Voiced) -> list[TeachingEvent]:
        chord = self.chord
        assert chord is not None
        self.voiced.append(voiced)
        return [Taken(chord, voiced), *self._ask()]

    def _ask(self) -> list[TeachingEvent]:
        chord = self.chord
        if chord is None:
            self.stage = Stage.COMPLETE
            return [Complete()]
        self.stage = Stage.ASKED
        return [Asked(chord, len(self.voiced) + 1, len(self.chords), self._before(chord))]

    def _leave_out(self, keys: tuple[MidiNote, ...]) -> list[TeachingEvent]:
        last = self.voiced[-1]
        chord = self.chords[len(self.voiced) - 1]
        left_out = frozenset(last.keys) - set(keys)
        if not set(keys) < set(last.keys):
            return [NotTaken("Play the last voicing without the notes that may be left out.")]
        voiced = replace(last, optional=left_out)
        try:
            _reach_of(voiced, chord, self._bare.rows)
        except VoicingError as error:
            return [NotTaken(str(error))]
        self.voiced[-1] = voiced
        return [Taken(chord, voiced, again=True), *self._ask()]

    # -- wishes

    def _forget(self) -> list[TeachingEvent]:
        self._touch = _Touch()
        self._held.clear()
        return [Hearing(())]

    def _again(self) -> list[TeachingEvent]:
        happened = self._forget()
        return happened + self._ask() if self.stage is Stage.LEAVING_OUT else happened

    def _back(self) -> list[TeachingEvent]:
        self._forget()
        if not self.voiced:
            return [NotTaken("This is the first chord.")]
        if self.stage is not Stage.LEAVING_OUT:
            self.voiced.pop()
        return self._ask()

    def _same(self) -> list[TeachingEvent]:
        self._forget()
        chord = self.chord
        assert chord is not None
        before = self._before(chord)
        if before is None:
            return [NotTaken(f"No {chord.one.chord.quality.text or 'major'} chord has been voiced yet.")]
        return self._keep(before)

    def _before(self, chord: TaughtChord) -> Voiced | None:
        """What ``same as before`` means for a chord: the same chord as last voiced, else the last of its kind moved to
        its root, to where it lies nearest to the chord before."""
        earlier = list(zip(self.chords, self.voiced, strict=False))
        for other, voiced in reversed(earlier):
            if other.one.chord == chord.one.chord:
                return voiced
        for other, voiced in reversed(earlier):
            if other.facts.quality == chord.facts.quality and (moved := self._moved(voiced, other, chord)) is not None:
                return moved
        return None

    def _moved(self, voiced: Voiced, other: TaughtChord, chord: TaughtChord) -> Voiced | None:
        assert other.one.chord.root is not None and chord.one.chord.root is not None
        up = (chord.one.chord.root.pitch_class - other.one.chord.root.pitch_class) % 12
        last = self.voiced[-1].keys
        fitting = [
            by
            for by in range(up - 96, 97, 12)
            if LOWEST_PIANO_KEY <= voiced.keys[0] + by and voiced.keys[-1] + by <= HIGHEST_PIANO_KEY
        ]
        if not fitting:
            return None

        def keys_at(by: int, of: Sequence[MidiNote]) -> tuple[MidiNote, ...]:
            return tuple(MidiNote(key + by) for key in of)

        by = min(fitting, key=lambda by: motion(last, keys_at(by, voiced.keys)))
        keys = keys_at(by, voiced.keys)
        return Voiced(
            keys, name(keys, chord.one.chord, self._bare.rows), frozenset(keys_at(by, tuple(voiced.optional)))
        )

    def _optional(self) -> list[TeachingEvent]:
        self._forget()
        if not self.voiced:
            return [NotTaken("No voicing has been taken yet.")]
        self.stage = Stage.LEAVING_OUT
        return [NotTaken("Play the last voicing without the notes that may be left out.")]

    def _done(self) -> list[TeachingEvent]:
        self._forget()
        if not self.voiced:
            return [NotTaken("No voicing has been taken yet.")]
        self.stage = Stage.FINISHED
        return [Finished(len(self.voiced), len(self.chords))]

    # -- the lesson

    def lesson(self) -> Lesson:
        """The lesson as it has been taught so far."""
        taught = list(zip(self.chords, self.voiced, strict=False))
        alike: dict[tuple[int, str], list[tuple[TaughtChord, Voiced]]] = {}
        for chord, voiced in taught:
            alike.setdefault((chord.facts.step_semitones, chord.facts.quality.text), []).append((chord, voiced))
        rules: list[Rule] = []
        for places in alike.values():
            chord, voiced = places[0]
            says = _said(voiced, chord, self._bare.rows)
            if all(_said(other, there, self._bare.rows) == says for there, other in places):
                key = self._bare.chart.keys[chord.one.written]
                degree = degree_of(chord.one.chord, key)
                assert degree is not None
                rules.append(replace(says, chord=(chord.facts.quality,), degree=(degree.degree_root,)))
                continue
            by_rule: dict[tuple[Rule, Fraction | None], list[int]] = {}
            for there, other in places:
                beat = None if there.alone else there.facts.count
                by_rule.setdefault((_said(other, there, self._bare.rows), beat), []).extend(there.bars)
            for (said, beat), bars in by_rule.items():
                rules.append(replace(said, bar=_spans(bars), beat=() if beat is None else (beat,)))
        return replace(self._bare, rules=tuple(rules), about=TAUGHT)


def wish_of(text: str) -> Wish | None:
    """A wish as it may be typed: a word of it, or its beginning.

    >>> wish_of("back"), wish_of("left out"), wish_of("sa"), wish_of("x")
    (<Wish.BACK: 'back'>, <Wish.OPTIONAL: 'may be left out'>, <Wish.SAME: 'same as before'>, None)
    """
    wanted = " ".join(text.casefold().split())
    fits = {wish for word, wish in _WISH_WORDS.items() if wanted and word.startswith(wanted)}
    return fits.pop() if len(fits) == 1 else None


_WISH_WORDS: Final = {
    "again": Wish.AGAIN,
    "back": Wish.BACK,
    "same as before": Wish.SAME,
    "optional": Wish.OPTIONAL,
    "left out": Wish.OPTIONAL,
    "may be left out": Wish.OPTIONAL,
    "done": Wish.DONE,
    "end": Wish.DONE,
}

TAUGHT: Final = "Taught by playing: for each chord the voicing that was played, where it was played."

_WISHES: Final[Mapping[tuple[Stage, Wish], Callable[[Teaching], list[TeachingEvent]]]] = {
    (Stage.ASKED, Wish.AGAIN): Teaching._again,
    (Stage.ASKED, Wish.BACK): Teaching._back,
    (Stage.ASKED, Wish.SAME): Teaching._same,
    (Stage.ASKED, Wish.OPTIONAL): Teaching._optional,
    (Stage.ASKED, Wish.DONE): Teaching._done,
    (Stage.LEAVING_OUT, Wish.AGAIN): Teaching._again,
    (Stage.LEAVING_OUT, Wish.BACK): Teaching._back,
    (Stage.LEAVING_OUT, Wish.DONE): Teaching._done,
    (Stage.COMPLETE, Wish.AGAIN): Teaching._again,
    (Stage.COMPLETE, Wish.BACK): Teaching._back,
    (Stage.COMPLETE, Wish.OPTIONAL): Teaching._optional,
    (Stage.COMPLETE, Wish.DONE): Teaching._done,
}


def _reach_of(voiced: Voiced, chord: TaughtChord, rows: tuple[VoicingRow, ...]) -> int | None:
    """The reach a rule must state for a voicing (None: the usual one). Raises `VoicingError` where no hands reach."""
    form = recipe(voiced.voicing, chord.facts.quality, rows)
    reaches = (ONE_HAND_SEMITONES, *range(ONE_HAND_SEMITONES + 1, WIDEST_REACH_SEMITONES + 1))
    for reach in reaches:
        if reach_fault(form, reach) is None:
            return None if reach == ONE_HAND_SEMITONES else reach
    raise VoicingError(f"{form.text} is wider than two hands reach")


def _said(voiced: Voiced, chord: TaughtChord, rows: tuple[VoicingRow, ...]) -> Rule:
    """What a rule says of a voicing, for no chord yet."""
    return Rule(voicing=(voiced.voicing,), bottom=voiced.keys[0], reach_semitones=_reach_of(voiced, chord, rows))


def _spans(bars: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Bars in as few spans as can be.

    >>> _spans([1, 3, 4, 5])
    ((1, 1), (3, 5))
    """
    spans: list[tuple[int, int]] = []
    for bar in sorted(set(bars)):
        if spans and spans[-1][1] == bar - 1:
            spans[-1] = (spans[-1][0], bar)
        else:
            spans.append((bar, bar))
    return tuple(spans)
