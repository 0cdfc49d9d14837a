"""A form at a tempo as a state table: count-in, pass, answer, next pass.

Like `trainer.session` it is fed note events, commands and the clock and answers with events in the past tense; it does
no I/O and reads no clock, so that the same object runs under the screen, headless, and over a recorded file, and all
three agree to the millisecond on the same events. Times are integer nanoseconds of one monotonic clock.

    READY --start--> COUNTING --beat 0 or pick-up--> PLAYING --form over--> RESTING --> COUNTING ... --> FINISHED
    COUNTING/PLAYING/RESTING --pause, port lost--> PAUSED --resume, port found--> COUNTING (the same pass anew)

A *piece* is a form in one key (or a section of it), a *course* the pieces in order and how often each comes round: in
each key the tempo follows the ladder (`trainer.timing.next_tempo`); after `passes_each` passes, or once `clean_each` of
them were clean, the next key begins. A course of one piece goes on until the player ends it.

What is heard before the last beat of the count-in is not part of the pass (hands find their place there).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import Final

from trainer.accompaniment import (
    CLICKS,
    BarAt,
    SoundNote,
    bars_of,
    bass_chords,
    click,
    count_in,
    roots,
    walking,
)
from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.charts import Chart, Meter
from trainer.drills import Lesson
from trainer.session import Command, Particulars
from trainer.timing import (
    BEATS,
    STRAIGHT,
    Answer,
    Calibration,
    Circumstances,
    Following,
    Grid,
    PassRecord,
    Slot,
    TempoLadder,
    calibrate,
    next_tempo,
    record_of,
)
from trainer.timing.ladder import FASTEST_BPM, SLOWEST_BPM

LEAD_NS: Final = 600 * MILLISECOND_NS
"""From the start of a pass to the first beat of its count-in; the sound is handed over meanwhile (a judgement)."""

REST_NS: Final = 5_000 * MILLISECOND_NS
"""How long the answer to a pass stands before the next count-in (a judgement)."""

HEARD_FROM_BEATS: Final = 1
"""How many beats before the first slot the pass begins to be heard."""


class Phase(StrEnum):
    """Where a course stands."""

    READY = "ready"
    COUNTING = "counting in"
    PLAYING = "playing"
    RESTING = "resting"
    PAUSED = "paused"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class FormBar:
    """A bar of a form as it is played: its number (0: the pick-up), where it starts and how long it is, in beats."""

    number: int
    start_beats: Fraction
    beats: Fraction


@dataclass(frozen=True, slots=True)
class Piece:
    """A form, or a section of it, in one key, with the tempo at which it begins."""

    title: str
    section: str
    key: str
    meter: str
    bars: tuple[FormBar, ...]
    slots: tuple[Slot, ...]
    tempo_bpm: float
    swing: Fraction
    chart: Chart | None = None
    """What is accompanied; without it there is a click alone."""

    @property
    def start_beats(self) -> Fraction:
        """Where the form begins: below 0 with a pick-up, later than 0 for a section."""
        return self.bars[0].start_beats

    @property
    def end_beats(self) -> Fraction:
        last = self.bars[-1]
        return last.start_beats + last.beats

    @property
    def count_in_ends_beats(self) -> Fraction:
        """The first beat of the first whole bar: a pick-up is played in the end of the count-in."""
        return next((bar.start_beats for bar in self.bars if bar.number), self.start_beats)


def piece_of(lesson: Lesson, tempo_bpm: float, *, section: str = "", swing: Fraction = STRAIGHT) -> Piece:
    """A lesson, or one section of it, as a piece; in `lesson`'s own key.

    Beats stay those of the whole form, for a section too. Raises ValueError for a section that is not there,
    `LeadingError` where the form cannot be voiced.
    """
    start, end = lesson.section_beats(section)
    bars = tuple(
        FormBar(played.number, played.start_beats, played.beats)
        for played in lesson.chart.played
        if start <= played.start_beats < end
    )
    meter = str(lesson.chart.bars[0].meter)
    return Piece(
        lesson.title, section, lesson.chart.key.name, meter, bars, lesson.slots(section), tempo_bpm, swing, lesson.chart
    )


CLICK_KINDS: Final = tuple(CLICKS)
BASS_KINDS: Final = ("walking", "roots", "none")


def accompaniment_of(
    piece: Piece, count_in_bars: int, click_kind: str, bass_kind: str, velocity: int
) -> tuple[SoundNote, ...]:
    """What sounds while a piece is played: count-in, click, and a bass where the player's own part has none.

    `click_kind` is one of `CLICK_KINDS`, `bass_kind` one of `BASS_KINDS`; `velocity` is 1-127, the bass a little louder
    than an unaccented click.
    """
    start, end = piece.count_in_ends_beats, piece.end_beats
    beats, unit = (int(part) for part in piece.meter.split("/"))
    notes = list(count_in(Meter(beats, unit), count_in_bars, 0, velocity, start))
    if piece.chart is None:
        bars = [BarAt(bar.start_beats, Meter(beats, unit), bar.beats) for bar in piece.bars if bar.number]
        return (*notes, *click(bars, click_kind, velocity))
    inside = [bar for bar in bars_of(piece.chart) if start <= bar.start_beats < end]
    notes += click(inside, click_kind, velocity)
    if bass_kind != "none" and all(slot.part != "bass" for slot in piece.slots):
        chords = [one for one in bass_chords(piece.chart) if start <= one.start_beats < end]
        louder = min(127, velocity + 12)
        notes += walking(chords, louder) if bass_kind == "walking" else roots(chords, louder)
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class Course:
    """What is played: the pieces in order, how often each, the count-in in bars, and between which tempi.

    An `endless` course stays with its first piece until the player ends it or asks for the next.
    """

    pieces: tuple[Piece, ...]
    endless: bool = False
    passes_each: int = 3
    clean_each: int = 1
    count_in_bars: int = 2
    slowest_bpm: int = SLOWEST_BPM
    fastest_bpm: int = FASTEST_BPM


@dataclass(frozen=True, slots=True)
class PassBegan:
    """A pass begins with its count-in at `count_in_ns`; `number` counts from 1."""

    piece: Piece
    grid: Grid
    number: int
    count_in_ns: int
    count_in_beats: int


@dataclass(frozen=True, slots=True)
class BeatCame:
    """A beat: the bar's position in the piece (-1: count-in), the beat in it from 1, and of how many."""

    bar: int
    beat: int
    of: int
    start_beats: Fraction


@dataclass(frozen=True, slots=True)
class SlotsAnswered:
    """What became of some slots; it may change until the pass ends, when the take is judged as a whole."""

    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over and is to be stored; `next_piece` is what comes (None: nothing more), `why` a sentence on it."""

    record: PassRecord
    next_piece: Piece | None
    why: str


@dataclass(frozen=True, slots=True)
class CoursePaused:
    """The course waits; `reason` is a sentence for the player."""

    reason: str


@dataclass(frozen=True, slots=True)
class CourseFinished:
    """Nothing is left, or the player ended it."""

    records: tuple[PassRecord, ...]


FormEvent = PassBegan | BeatCame | SlotsAnswered | PassEnded | CoursePaused | CourseFinished


class FormSession:
    """The state table; see the head of this module."""

    def __init__(
        self, course: Course, particulars: Particulars, *, calibration_ms: float = 0.0, assignment: str = ""
    ) -> None:
        """`calibration_ms` is the steady offset measured for the port, `assignment` the mark of the one it is played
        for. Raises ValueError where a course has no piece, or a piece no slot.
        """
        if not course.pieces or any(not piece.slots for piece in course.pieces):
            raise ValueError("there is nothing to play in time here")
        self.course = course
        self.particulars = particulars
        self.calibration_ms = calibration_ms
        self.assignment = assignment
        self.phase = Phase.READY
        self.records: list[PassRecord] = []
        self._position = 0
        self._piece = course.pieces[0]
        self._in_this_key: list[PassRecord] = []
        self._grid = Grid(self._piece.tempo_bpm)
        self._following: Following | None = None
        self._heard_from_ns = 0
        self._beats: list[tuple[int, BeatCame]] = []
        self._ends_ns = 0
        self._rest_ends_ns = 0
        self._pass_utc = ""
        self._paused_by_port = False

    # -- what drives it

    @property
    def piece(self) -> Piece:
        return self._piece

    def start(self, now_ns: int) -> list[FormEvent]:
        """Begin the first pass."""
        return self._count_in(now_ns) if self.phase is Phase.READY else []

    def hear(self, event: NoteEvent) -> list[FormEvent]:
        """A note event. What the clock owes until its moment is served first."""
        happened = self.tick(event.time_ns)
        command = self.particulars.controls.get(event.key) if event.kind is Kind.DOWN else None
        if command is not None:
            return happened + self.command(command, event.time_ns)
        if event.kind is Kind.PORT_LOST and self.phase in _RUNNING:
            if self._following is not None:
                self._following.hear(event)
            happened += self._close(event.time_ns)
            self._paused_by_port = True
            self.phase = Phase.PAUSED
            return [*happened, CoursePaused(f"{event.port or 'The piano'} is not connected. This pass does not count.")]
        if event.kind is Kind.PORT_FOUND and self.phase is Phase.PAUSED and self._paused_by_port:
            return happened + self._count_in(event.time_ns)
        if self.phase in (Phase.COUNTING, Phase.PLAYING) and self._following is not None:
            if event.time_ns >= self._heard_from_ns:
                happened += _told(self._following.hear(event))
        return happened

    def tick(self, now_ns: int) -> list[FormEvent]:
        """Serve every beat and deadline up to now."""
        happened: list[FormEvent] = []
        while (due := self.deadline_ns) is not None and due <= now_ns:
            happened += self._serve(due)
        return happened

    @property
    def deadline_ns(self) -> int | None:
        """When `tick` has something to do; None: nothing is due."""
        if self.phase is Phase.RESTING:
            return self._rest_ends_ns
        if self.phase not in (Phase.COUNTING, Phase.PLAYING):
            return None
        due = self._ends_ns
        if self._beats:
            due = min(due, self._beats[0][0])
        if self._following is not None and self._following.deadline_ns is not None:
            due = min(due, max(self._following.deadline_ns, self._heard_from_ns))
        return due

    def command(self, command: Command, now_ns: int) -> list[FormEvent]:
        """A wish of the player; one that has no sense now does nothing."""
        wish = _COMMANDS.get(command)
        if wish is None or self.phase is Phase.FINISHED:
            return []
        return wish(self, now_ns)

    def change_tempo(self, by_bpm: float, now_ns: int) -> list[FormEvent]:
        """Faster or slower, within the ladder's bounds; the pass in hand begins anew."""
        tempo = min(self.course.fastest_bpm, max(self.course.slowest_bpm, self._piece.tempo_bpm + by_bpm))
        if tempo == self._piece.tempo_bpm or self.phase is Phase.FINISHED:
            return []
        happened = self._close(now_ns)
        self._piece = replace(self._piece, tempo_bpm=tempo)
        if self.phase in (Phase.READY, Phase.PAUSED):
            return happened
        return happened + self._count_in(now_ns)

    # -- the pass

    def _count_in(self, now_ns: int) -> list[FormEvent]:
        piece = self._piece
        first_bar = next((bar for bar in piece.bars if bar.number), piece.bars[0])
        count_in_beats = self.course.count_in_bars * max(1, int(first_bar.beats))
        count_in_ns = now_ns + LEAD_NS
        before = piece.count_in_ends_beats - count_in_beats
        straight = Grid(piece.tempo_bpm, 0, piece.swing)
        self._grid = replace(straight, start_ns=count_in_ns - straight.time_ns(before))
        self._following = Following(piece.slots, self._grid, calibration_ms=self.calibration_ms)
        self._heard_from_ns = self._grid.time_ns(piece.slots[0].start_beats - HEARD_FROM_BEATS)
        self._beats = self._beat_times(before, count_in_beats, int(first_bar.beats))
        # The last slot may be answered late: half a beat more is waited for.
        self._ends_ns = self._grid.time_ns(piece.end_beats + Fraction(1, 2))
        self._pass_utc = self.particulars.utc_now()
        self._paused_by_port = False
        self.phase = Phase.COUNTING
        return [PassBegan(piece, self._grid, len(self.records) + 1, count_in_ns, count_in_beats)]

    def _beat_times(self, before: Fraction, count: int, of: int) -> list[tuple[int, BeatCame]]:
        beats = [(before + beat, BeatCame(-1, beat % of + 1, of, before + beat)) for beat in range(count)]
        for position, bar in enumerate(self._piece.bars):
            if not bar.number:
                continue
            whole = max(1, -(-bar.beats.numerator // bar.beats.denominator))
            for beat in range(whole):
                at = bar.start_beats + beat
                beats.append((at, BeatCame(position, beat + 1, whole, at)))
        return [(self._grid.time_ns(at), came) for at, came in beats]

    def _serve(self, due_ns: int) -> list[FormEvent]:
        if self.phase is Phase.RESTING:
            return self._count_in(due_ns)
        happened: list[FormEvent] = []
        while self._beats and self._beats[0][0] <= due_ns:
            came = self._beats.pop(0)[1]
            if came.bar >= 0:
                self.phase = Phase.PLAYING
            happened.append(came)
        if self._following is not None and due_ns >= self._heard_from_ns:
            happened += _told(self._following.tick(due_ns))
        if due_ns >= self._ends_ns:
            happened += self._end_pass(due_ns)
        return happened

    def _end_pass(self, now_ns: int) -> list[FormEvent]:
        record = self._record()
        self._in_this_key.append(record)
        following, why = self._what_next(record)
        self._following = None
        if following is None:
            self.phase = Phase.FINISHED
            return [PassEnded(record, None, why), CourseFinished(tuple(self.records))]
        self._piece = following
        self.phase = Phase.RESTING
        self._rest_ends_ns = now_ns + REST_NS
        return [PassEnded(record, following, why)]

    def _what_next(self, record: PassRecord) -> tuple[Piece | None, str]:
        start = round(self.course.pieces[self._position].tempo_bpm)
        tempo = next_tempo(TempoLadder(start, self.course.slowest_bpm, self.course.fastest_bpm), record)
        here = replace(self._piece, tempo_bpm=tempo)
        why = f"Next at {tempo:g} a minute."
        clean = sum(one.clean for one in self._in_this_key)
        if self.course.endless:
            return here, why
        enough = len(self.course.pieces) > 1 and clean >= self.course.clean_each
        if not enough and len(self._in_this_key) < self.course.passes_each:
            return here, why
        if self._position + 1 >= len(self.course.pieces):
            return None, "That was the last key."
        self._to(self._position + 1)
        return self._piece, f"Next key: {self._piece.key}."

    def _to(self, position: int) -> None:
        self._position = position
        self._piece = self.course.pieces[position]
        self._in_this_key = []

    def _record(self, until_ns: int | None = None) -> PassRecord:
        assert self._following is not None
        told, piece = self.particulars, self._piece
        circumstances = Circumstances(
            session=told.session,
            number=len(self.records),
            utc=self._pass_utc,
            title=piece.title,
            key=piece.key,
            beats=float(piece.end_beats - piece.start_beats),
            meter=piece.meter,
            section=piece.section,
            port=told.port,
            stamp_origin=told.stamp_origin,
            assignment=self.assignment,
        )
        record = record_of(self._following.finish(until_ns), circumstances)
        self.records.append(record)
        return record

    def _close(self, now_ns: int) -> list[FormEvent]:
        """End the pass in hand before its time; one in which nothing was played leaves no record."""
        if self.phase not in (Phase.COUNTING, Phase.PLAYING) or self._following is None:
            return []
        played = any(event.kind is Kind.DOWN for event in self._following.events)
        happened: list[FormEvent] = []
        if played:
            happened.append(PassEnded(self._record(now_ns), self._piece, "Stopped before the end."))
        self._following = None
        return happened

    # -- wishes

    def _again(self, now_ns: int) -> list[FormEvent]:
        return [*self._close(now_ns), *self._count_in(now_ns)]

    def _skip(self, now_ns: int) -> list[FormEvent]:
        """On to the next key; after the last one, to the first."""
        happened = self._close(now_ns)
        self._to((self._position + 1) % len(self.course.pieces))
        return [*happened, *self._count_in(now_ns)]

    def _pause(self, now_ns: int) -> list[FormEvent]:
        if self.phase is Phase.PAUSED:
            return self._count_in(now_ns)
        if self.phase not in _RUNNING:
            return []
        happened = self._close(now_ns)
        self.phase = Phase.PAUSED
        return [*happened, CoursePaused("Paused.")]

    def _resume(self, now_ns: int) -> list[FormEvent]:
        return self._count_in(now_ns) if self.phase is Phase.PAUSED else []

    def _finish(self, now_ns: int) -> list[FormEvent]:
        happened = self._close(now_ns)
        self.phase = Phase.FINISHED
        return [*happened, CourseFinished(tuple(self.records))]


_RUNNING: Final = (Phase.COUNTING, Phase.PLAYING, Phase.RESTING)

_COMMANDS: Final[dict[Command, Callable[[FormSession, int], list[FormEvent]]]] = {
    Command.AGAIN: FormSession._again,
    Command.SKIP: FormSession._skip,
    Command.PAUSE: FormSession._pause,
    Command.RESUME: FormSession._resume,
    Command.FINISH: FormSession._finish,
}


def _told(answers: Sequence[Answer]) -> list[FormEvent]:
    return [SlotsAnswered(tuple(answers))] if answers else []


def replay_form(session: FormSession, events: Iterable[NoteEvent], start_ns: int = 0) -> Iterator[FormEvent]:
    """Run a course over recorded events under their own clock, until its first pass is over."""
    yield from session.start(start_ns)
    for event in events:
        yield from session.hear(event)
        if session.records:
            return
    while not session.records and (due := session.deadline_ns) is not None:
        yield from session.tick(due)


# -- measuring a port


@dataclass(frozen=True, slots=True)
class Calibrated:
    """The measurement is over: what was found, or a sentence why nothing was."""

    calibration: Calibration | None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class ClickBegan:
    """The click to be played along with: `beats` of it from `grid`'s beat 0, after a bar of count-in."""

    grid: Grid
    count_in_beats: int
    beats: int


CalibrationEvent = ClickBegan | BeatCame | Calibrated


class CalibrationSession:
    """Sixteen beats played along with a click, and what they say about the port; driven as a `FormSession`."""

    def __init__(self, tempo_bpm: float = 80) -> None:
        self.tempo_bpm = tempo_bpm
        self.phase = Phase.READY
        self._grid = Grid(tempo_bpm)
        self._onsets_ns: list[int] = []
        self._due: list[tuple[int, BeatCame]] = []
        self._ends_ns = 0

    def start(self, now_ns: int) -> list[CalibrationEvent]:
        """Begin to count in."""
        straight = Grid(self.tempo_bpm)
        self._grid = replace(straight, start_ns=now_ns + LEAD_NS + straight.time_ns(_BAR))
        beats = [Fraction(beat) for beat in range(-_BAR, BEATS)]
        self._due = [(self._grid.time_ns(at), BeatCame(int(at) // _BAR, int(at) % _BAR + 1, _BAR, at)) for at in beats]
        self._ends_ns = self._grid.time_ns(Fraction(2 * BEATS - 1, 2))
        self._onsets_ns = []
        self.phase = Phase.COUNTING
        return [ClickBegan(self._grid, _BAR, BEATS)]

    @property
    def deadline_ns(self) -> int | None:
        if self.phase not in (Phase.COUNTING, Phase.PLAYING):
            return None
        return min(self._ends_ns, self._due[0][0]) if self._due else self._ends_ns

    def hear(self, event: NoteEvent) -> list[CalibrationEvent]:
        """A note event; only the moments of keys going down matter."""
        happened = self.tick(event.time_ns)
        if self.phase not in (Phase.COUNTING, Phase.PLAYING):
            return happened
        if event.kind is Kind.PORT_LOST:
            self.phase = Phase.FINISHED
            return [*happened, Calibrated(None, f"{event.port or 'The piano'} is not connected.")]
        if event.kind is Kind.DOWN:
            self._onsets_ns.append(event.time_ns)
        return happened

    def tick(self, now_ns: int) -> list[CalibrationEvent]:
        """Serve every beat up to now, and the end."""
        happened: list[CalibrationEvent] = []
        while self._due and self._due[0][0] <= now_ns:
            came = self._due.pop(0)[1]
            self.phase = Phase.PLAYING if came.bar >= 0 else Phase.COUNTING
            happened.append(came)
        if self.phase is Phase.PLAYING and now_ns >= self._ends_ns:
            self.phase = Phase.FINISHED
            clicks = [self._grid.time_ns(beat) for beat in range(BEATS)]
            try:
                happened.append(Calibrated(calibrate(self._onsets_ns, clicks)))
            except ValueError as error:
                happened.append(Calibrated(None, str(error)))
        return happened


_BAR: Final = 4
