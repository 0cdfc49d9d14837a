"""Teach a tune by playing: its chords one after the other, and what the hands gave each.

The hands need no key of the computer: a voicing held and let go is taken, the next chord follows, and the last voicing
played once more ends it. The commands that the player taught the piano serve here, too: *again* goes back a chord,
*skip* takes the same voicing as before, *show the answer* says which notes may be left out, *next set* is done.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Final, Protocol

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from trainer.capture import Kind, NoteEvent
from trainer.drills import Lesson
from trainer.drills.teaching import (
    Asked,
    Complete,
    Finished,
    Hearing,
    NotTaken,
    Taken,
    TaughtChord,
    Teaching,
    TeachingEvent,
    Voiced,
    Wish,
)
from trainer.grading import pretty_symbol
from trainer.naming import NamingError, name
from trainer.pitch import MidiNote, Note, note_label, pretty
from trainer.screens.drawing import data
from trainer.screens.ladder import Ladder, Rung
from trainer.screens.lists import Choices, Level
from trainer.screens.prompt import Prompt
from trainer.session import PEDAL_CONTROL, Command


class Desk(Protocol):
    """What teaching needs of the world."""

    def charts(self) -> Sequence[tuple[str, str]]:
        """Names and titles of the charts there are."""

    def open(self, name: str) -> Teaching:
        """The teaching of a chart; may raise one of the application's refusals."""

    def keep(self, lesson: Lesson) -> str:
        """Write a lesson away; one line for the player. May raise one of the application's refusals."""


WISHES: Final = {
    Command.AGAIN: Wish.BACK,
    Command.SKIP: Wish.SAME,
    Command.SHOW: Wish.OPTIONAL,
    Command.FINISH: Wish.DONE,
}
"""What a command given from the piano means here."""


class ChartsScreen(Level):
    """Choose the chart to teach."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self.charts = tuple(desk.charts())

    def compose(self) -> ComposeResult:
        yield Static(Content("Teach a tune by playing"), classes="title")
        yield Choices(*(Option(data(title)) for _, title in self.charts), markup=False, id="charts")
        yield Footer(show_command_palette=False, compact=True)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.app.teach(self.charts[event.option_index][0])


class TeachScreen(Level):
    """The chord in hand, what is heard as a ladder, and what was taken."""

    DEFAULT_CSS = """
    TeachScreen #prompt { position: relative; height: 9; margin: 0 2; }
    TeachScreen #ladder { position: relative; height: 1fr; min-height: 2; margin: 0 2; }
    TeachScreen #said { height: auto; padding: 0 2; }
    """
    hears = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "wish('back')", "Chord before", key_display="F2"),
        Binding("f3", "wish('same as before')", "Same as before", key_display="F3"),
        Binding("f11", "wish('may be left out')", "May be left out", key_display="F11"),
        Binding("f10", "wish('done')", "Done", key_display="F10"),
    ]

    def __init__(self, teaching: Teaching, desk: Desk) -> None:
        super().__init__()
        self.teaching = teaching
        self.desk = desk
        self.prompt = Prompt(id="prompt")
        self.ladder = Ladder(id="ladder")
        self._said = ""

    def compose(self) -> ComposeResult:
        yield Static(data(self.teaching.title), classes="title")
        yield self.prompt
        yield self.ladder
        yield Static(Content(""), id="said")
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        self._show(self.teaching.start())

    # -- what comes in

    def heard(self, event: NoteEvent) -> None:
        """An event of the piano."""
        control = self._control(event)
        if control is not None:
            if event.kind is not Kind.UP and control in WISHES:
                self._show(self.teaching.command(WISHES[control]))
            return
        self._show(self.teaching.hear(event))

    def _control(self, event: NoteEvent) -> Command | None:
        if event.kind in (Kind.DOWN, Kind.UP):
            return self.app.controls.get(event.key)
        if event.kind is Kind.PEDAL and event.value >= 64:
            return self.app.controls.get(PEDAL_CONTROL)
        return None

    def on_key(self, event: events.Key) -> None:
        """A printable key of the computer is the piano's where that is played on."""
        if event.character is not None and event.is_printable and self.app.pressed(event.character):
            event.stop()
            event.prevent_default()

    def action_wish(self, wish: str) -> None:
        """A wish from the computer."""
        self._show(self.teaching.command(Wish(wish)))

    # -- what is shown

    def _show(self, happened: Sequence[TeachingEvent]) -> None:
        for event in happened:
            match event:
                case Asked():
                    self._ask(event)
                case Hearing():
                    self._hold(event.keys)
                case Taken():
                    self._said = f"{event.chord.label}: {event.voiced.sentence}"
                    self.ladder.show(_rungs(event.voiced))
                case NotTaken():
                    self._said = event.words
                case Complete():
                    words = "Every chord has its voicing: play the last one once more and let it go to keep the lesson"
                    self.prompt.show("", words)
                case Finished():
                    self._finish()
        if self.is_mounted:
            self.query_one("#said", Static).update(data(self._said))

    def _ask(self, event: Asked) -> None:
        chord = event.chord.one.chord
        words = f"{event.chord.label}, chord {event.number} of {event.total}"
        if event.before is not None:
            words += f"; the same as before would be {event.before.voicing}"
        self.prompt.show(pretty_symbol(chord.symbol), words)

    def _hold(self, keys: tuple[MidiNote, ...]) -> None:
        """What is held, as degrees of the chord in hand."""
        chord = self._chord_in_hand()
        if not keys or chord is None:
            return
        try:
            named = name(keys, chord.one.chord)
        except NamingError:
            return
        self.ladder.show(_rungs(Voiced(keys, named)))

    def _chord_in_hand(self) -> TaughtChord | None:
        """The chord that is played: the one asked for, or where that is not so, the last one."""
        if self.teaching.leaves_out or self.teaching.chord is None:
            return self.teaching.chords[len(self.teaching.voiced) - 1]
        return self.teaching.chord

    def _finish(self) -> None:
        self.app.keep_lesson(self.desk, self.teaching.lesson())


def _rungs(voiced: Voiced) -> list[Rung]:
    return [
        Rung(
            pretty(each.degree),
            note_label(Note.parse(each.note)),
            each.key,
            "held",
            "held; may be left out" if each.key in voiced.optional else "",
        )
        for each in voiced.naming.keys
    ]
