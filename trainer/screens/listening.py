"""Play, and read: what is held, as degrees of a chord or as every chord it may be."""

from __future__ import annotations

from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.timer import Timer
from textual.widgets import Footer, Input, Static

from trainer.capture import Kind, NoteEvent
from trainer.chords import Chord, ChordError, parse
from trainer.naming import Naming, NamingError, name, readings
from trainer.pitch import MidiNote, key_name, keys_of, pretty
from trainer.screens.drawing import data
from trainer.screens.lists import Level

_GATHER_S: Final = 0.06
_MOST_READINGS: Final = 8


class ListenScreen(Level):
    """Names the keys held; the last ones stay until others are played."""

    DEFAULT_CSS = """
    ListenScreen Input { height: 3; margin: 0 2; }
    ListenScreen #read { height: 1fr; padding: 1 2; }
    """
    hears = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "keep", "Keep as a drill", key_display="F5"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._held = 0
        self._played = 0
        self._shown = 0
        self._naming: Naming | None = None
        self._gather: Timer | None = None

    def compose(self) -> ComposeResult:
        yield Static(Content("Play, and read"), classes="title")
        yield Input(placeholder="a chord, as in Cm7; empty: every chord the keys may be", id="chord")
        with VerticalScroll(id="read"):
            yield Static(Content("Play a chord on the piano."), id="words")
        yield Footer(show_command_palette=False, compact=True)

    def heard(self, event: NoteEvent) -> None:
        """An event of the piano."""
        if event.kind is Kind.DOWN:
            self._held |= 1 << event.key
            self._played = self._held  # a chord may be let go again before it is read
        elif event.kind is Kind.UP:
            self._held &= ~(1 << event.key)
        elif event.kind in (Kind.QUIET, Kind.PORT_LOST):
            self._held = 0
        # Keys let go are not read again: what was held stays on the screen.
        if event.kind is Kind.DOWN and self._gather is None:
            self._gather = self.set_timer(_GATHER_S, self._read)

    def on_input_changed(self, event: Input.Changed) -> None:
        self._tell()

    def _read(self) -> None:
        self._gather = None
        self._shown = self._played
        self._tell()

    def _tell(self) -> None:
        lines = [data(line) for line in self._words().split("\n")]
        self.query_one("#words", Static).update(Content("\n").join(lines))

    def _words(self) -> str:
        """What is to be read now."""
        self._naming = None
        symbol = self.query_one("#chord", Input).value.strip()
        chord: Chord | None = None
        if symbol:
            try:
                chord = parse(symbol)
            except ChordError as error:
                return str(error)
        if not self._shown:
            return "Play a chord on the piano."
        keys = keys_of(self._shown)
        held = "  ".join(pretty(key_name(MidiNote(key))) for key in keys)
        try:
            if chord is not None:
                self._naming = name(keys, chord)
                ladder = "\n".join(
                    f"{pretty(each.degree):>5}  {pretty(each.note)}" for each in reversed(self._naming.keys)
                )
                return f"{held}\n\n{ladder}\n\n{self._naming.sentence}\n\n{self._naming.drill}"
            found = readings(keys)
        except NamingError as error:
            return str(error)
        if not found:
            return f"{held}\n\nThese keys are no chord that has a name here."
        return f"{held}\n\n" + "\n".join(reading.sentence for reading in found[:_MOST_READINGS])

    def action_keep(self) -> None:
        """Write the row for a drill set into the player's own sets."""
        if self._naming is None:
            self.app.tell("Write the chord and play its voicing; then it can be kept.")
        else:
            self.app.keep_row(self._naming.drill)
