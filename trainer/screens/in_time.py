"""A form at a tempo on the screen: the beat, the chord of now and the next, the map of the form, the answer to a pass.

The computer's keys are not needed while it runs: passes follow one another, each after its count-in. What is sounded
(click, bass) is handed over whole when a pass begins, so that no paint and no note of the player delays it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar, Final

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.geometry import Region
from textual.widget import Widget

from trainer.capture import NoteEvent
from trainer.grading import pretty_symbol
from trainer.in_time import (
    BeatCame,
    CourseFinished,
    CoursePaused,
    FormEvent,
    FormSession,
    PassBegan,
    PassEnded,
    Phase,
    Piece,
    SlotsAnswered,
)
from trainer.pitch import pretty
from trainer.screens.drawing import Drawn, Span, fitted, wrapped
from trainer.screens.foot import Foot, FootKey
from trainer.screens.form import BarPicture, Beats, ChordsAhead, FormMap
from trainer.screens.lists import Level
from trainer.screens.status import StatusLine
from trainer.session import Command
from trainer.timing import PassRecord, Slot

if TYPE_CHECKING:
    from trainer.screens.app import InTime

TEMPO_STEP_BPM: Final = 4
_SIDE_BY_SIDE_FROM: Final = 60


class PassAnswer(Drawn):
    """What became of a pass, or how to go on, in a few lines."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.said: tuple[tuple[str, str], ...] = ()

    def show(self, said: Sequence[tuple[str, str]]) -> None:
        """Sentences with their roles."""
        self.said = tuple(said)
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[list[Span]]:
        return [[(line, role)] for words, role in self.said for line in wrapped(words, width)]


class FormScreen(Level):
    """One course at a time; the session decides, the screen draws."""

    hears = True

    DEFAULT_CSS = """
    FormScreen { layout: vertical; overflow: hidden hidden; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "do('again')", "Again", key_display="F2"),
        Binding("f3", "do('skip')", "Next key", key_display="F3"),
        Binding("minus", "tempo(-1)", "Slower", key_display="-"),
        Binding("plus,equals_sign", "tempo(1)", "Faster", key_display="+"),
        Binding("f6", "do('pause')", "Pause", key_display="F6"),
        Binding("f10", "do('next set')", "End", key_display="F10"),
        Binding("escape", "back", "Back", key_display="Esc"),
    ]

    def __init__(self, session: FormSession, in_time: InTime, *, clock: Callable[[], int]) -> None:
        """`clock` gives monotonic nanoseconds, the same clock that stamps the events."""
        super().__init__()
        self.session = session
        self._clock = clock
        self._in_time = in_time
        self._timer: asyncio.TimerHandle | None = None
        self._slots: tuple[Slot, ...] = ()
        self.status = StatusLine(id="form-status")
        self.beats = Beats(id="beats")
        self.chords = ChordsAhead(id="chords")
        self.map = FormMap(id="map")
        self.answer = PassAnswer(id="pass-answer")
        self.foot = Foot(id="form-foot")

    def compose(self) -> ComposeResult:
        yield from (self.status, self.beats, self.chords, self.map, self.answer, self.foot)

    def on_mount(self) -> None:
        bindings = [binding for binding in self.BINDINGS if isinstance(binding, Binding)]
        keys = [FootKey(each.key_display or each.key, each.description, each.action) for each in bindings]
        self.foot.show(keys)
        told = self.session.particulars
        self.status.listening(bool(told.port), f"listening to {told.port}" if told.port else "no piano")
        self.take_places()
        self._take(self.session.start(self._clock()))

    def on_unmount(self) -> None:
        """Whatever ends the screen ends the sound."""
        self._stop()

    def on_resize(self, event: events.Resize) -> None:
        self.take_places()

    def take_places(self) -> None:
        """Give every part its place for the size of now; a low terminal loses parts, from the map up."""
        width, height = self.app.size
        places: dict[Widget, Region] = {}
        if height >= 6:
            places[self.status] = Region(0, 0, width, 1)
            places[self.foot] = Region(0, height - 1, width, 1)
        top, bottom = (1, height - 1) if height >= 6 else (0, height)
        body = bottom - top
        answer = 4 if body >= 20 else 2 if body >= 8 else 0
        head = 8 if body >= 18 else 6 if body >= 14 else 2 if body >= 5 else 1
        side = 24 if width >= _SIDE_BY_SIDE_FROM else width // 2
        places[self.beats] = Region(1, top, side - 1, head)
        places[self.chords] = Region(side, top, width - side, head)
        below = bottom - top - head - answer
        if below > 1:
            places[self.map] = Region(1, top + head + 1, width - 2, below - 1)
        if answer:
            places[self.answer] = Region(1, bottom - answer, width - 2, answer)
        for part in (self.status, self.beats, self.chords, self.map, self.answer, self.foot):
            region = places.get(part)
            part.display = region is not None
            if region is not None:
                part.styles.offset = (region.x, region.y)
                part.styles.width, part.styles.height = region.width, region.height

    # -- what happens

    def heard(self, event: NoteEvent) -> None:
        """An event of the piano."""
        self._take(self.session.hear(event))

    def _due(self) -> None:
        self._timer = None
        self._take(self.session.tick(self._clock()))

    def _take(self, happened: Sequence[FormEvent]) -> None:
        for event in happened:
            match event:
                case PassBegan():
                    self._began(event)
                case BeatCame():
                    self._beat(event)
                case SlotsAnswered():
                    self.map.decide({answer.slot.index: answer.verdict for answer in event.answers})
                case PassEnded():
                    self._ended(event)
                case CoursePaused():
                    self._in_time.silence()
                    self.beats.show(0, self.beats.of, "waits")
                    self.answer.show([(event.reason, "strong"), ("F6 goes on with a new count-in.", "faint")])
                case CourseFinished():
                    self._in_time.silence()
                    self.beats.show(0, self.beats.of, "done")
        self._set_timer()

    def _set_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due = self.session.deadline_ns
        if due is not None:
            delay_s = max(0.0, (due - self._clock()) / 1e9)
            self._timer = asyncio.get_running_loop().call_later(delay_s, self._due)

    def _began(self, event: PassBegan) -> None:
        piece = event.piece
        self._slots = piece.slots
        self.map.show(pictures(piece))
        told = self._in_time.accompany(event)
        if (performed := getattr(self.app.source, "performed", None)) is not None:
            performed(piece.slots, event.grid)
        self.status.progress(heading(piece), 0, 0)
        self.beats.show(0, int(piece.bars[-1].beats), "count-in")
        self._chord_at(piece.start_beats)
        self.answer.show([(told, "faint")] if told else [])

    def _beat(self, event: BeatCame) -> None:
        self.beats.show(
            event.beat, event.of, "count-in" if event.bar < 0 else f"{self.session.piece.tempo_bpm:g} a minute"
        )
        self.map.at(event.bar)
        self._chord_at(event.start_beats)

    def _chord_at(self, beats: Fraction) -> None:
        chords = [slot for slot in self._slots if slot.part == "chord"] or list(self._slots)
        past = [slot for slot in chords if slot.start_beats < beats + 1]
        now = past[-1] if past else chords[0]
        ahead = [slot for slot in chords if slot.start_beats > now.start_beats]
        following = pretty_symbol(ahead[0].target.chord.symbol) if ahead else ""
        degrees = " ".join(pretty(degree.name) for degree in now.target.degrees)
        self.chords.show(pretty_symbol(now.target.chord.symbol), f"{now.target.voicing}: {degrees}", following)

    def _ended(self, event: PassEnded) -> None:
        self._in_time.silence()
        self._in_time.store(event.record)
        self.map.decide({slot.index: slot.verdict for slot in event.record.slots})
        self.map.at(-1)
        self.beats.show(0, self.beats.of, "rest" if event.next_piece else "done")
        said = [(sentence, role) for sentence, role in pass_sentences(event.record)]
        if event.why:
            said.append((event.why, "faint"))
        self.answer.show(said)

    # -- what the player asks for at the computer

    def action_do(self, command: str) -> None:
        """A command of the course."""
        self._in_time.silence()
        self._take(self.session.command(Command(command), self._clock()))

    def action_tempo(self, steps: int) -> None:
        """Slower or faster, with a new count-in."""
        self._in_time.silence()
        self._take(self.session.change_tempo(steps * TEMPO_STEP_BPM, self._clock()))

    def action_back(self) -> None:
        """Back to the practice screen; a pass in hand ends here."""
        if self.session.phase is not Phase.FINISHED:
            for event in self.session.command(Command.FINISH, self._clock()):
                if isinstance(event, PassEnded):
                    self._in_time.store(event.record)
        self._stop()
        self.app.back()

    def _stop(self) -> None:
        self._in_time.silence()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


def heading(piece: Piece) -> str:
    """Title, section, key and tempo in one line."""
    section = f", section {piece.section}" if piece.section else ""
    return f"{piece.title}{section}, in {pretty(piece.key)}, {piece.tempo_bpm:g} a minute"


def pictures(piece: Piece) -> tuple[BarPicture, ...]:
    """The bars of a piece for the map: a chord where a new one begins, and every slot."""
    found = []
    before = ""
    letter = ""
    for bar in piece.bars:
        inside = [slot for slot in piece.slots if bar.start_beats <= slot.start_beats < bar.start_beats + bar.beats]
        chords: list[tuple[Fraction, str]] = []
        for slot in inside:
            name = pretty_symbol(slot.target.chord.symbol)
            if name != before:
                chords.append(((slot.start_beats - bar.start_beats) / bar.beats, name))
                before = name
        section = inside[0].section if inside else letter
        begins = section if section != letter else ""
        letter = section
        slots = tuple(((slot.start_beats - bar.start_beats) / bar.beats, slot.index) for slot in inside)
        found.append(BarPicture(bar.number, begins, bar.beats, tuple(chords), slots))
    return tuple(found)


def pass_sentences(record: PassRecord) -> list[tuple[str, str]]:
    """A pass in a few sentences with their roles: how many were right, the first thing to mend, the time."""
    asked = [slot for slot in record.slots if slot.verdict != "left out"]
    right = sum(slot.verdict == "right" for slot in asked)
    said = [
        (f"{'✓ Clean: ' if record.clean else ''}{right} of {len(asked)} right.", "held" if record.clean else "strong")
    ]
    worst = next((slot for slot in asked if slot.verdict == "wrong"), None)
    missed = [slot for slot in asked if slot.verdict == "missed"]
    late = [slot for slot in asked if slot.verdict == "late"]
    if worst is not None:
        said.append((f"✗ Bar {worst.bar}, {pretty_symbol(worst.chord)}: {worst.sentence}", "wrong"))
    if missed:
        bars = ", ".join(str(slot.bar) for slot in missed[:6])
        said.append((f"– Not played: bar {bars}{' and more' if len(missed) > 6 else ''}.", "wrong"))
    if late:
        said.append((f"› Late: bar {', '.join(str(slot.bar) for slot in late[:6])}.", "moved"))
    said.append((time_sentence(record), "text"))
    return [(fitted(words, 400), role) for words, role in said if words]


def time_sentence(record: PassRecord) -> str:
    """How it stood to the beat, to the nearest millisecond; "" where nothing was played."""
    if record.offset_ms is None:
        return ""
    side = "behind" if record.offset_ms >= 0 else "ahead of"
    words = f"On average {abs(record.offset_ms):.0f} ms {side} the beat"
    if record.scatter_ms is not None:
        words += f", scattered by {record.scatter_ms:.0f} ms"
    if record.calibration_ms:
        words += f" ({record.calibration_ms:.0f} ms of the port taken off)"
    return words + "."
