"""Screens of lists and text that the practice screen gives way to: sets, piano, figures, help, and a question.

While one of them is up the drill is paused; Esc goes back a level. What comes from files and ports is data.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from trainer.capture import Kind, NoteEvent
from trainer.pitch import MidiNote, key_name, pretty
from trainer.screens.drawing import data
from trainer.session import PEDAL_CONTROL, Command

if TYPE_CHECKING:
    from trainer.scheduling import TempoSlot
    from trainer.screens.app import PracticeApp, SetEntry

_BACK: Final = Binding("escape", "back", "Back", key_display="Esc")


class Level(Screen[None]):
    """A screen one level above the practice screen. One that `hears` gets the events of the piano."""

    app: PracticeApp
    hears: ClassVar[bool] = False

    DEFAULT_CSS = """
    Level { layout: vertical; }
    Level .title { height: auto; padding: 0 2;  text-style: bold; color: $primary; }
    Level .line { height: auto; padding: 0 2; color: $foreground; }
    Level Choices { height: 1fr; min-height: 1; border: none; padding: 0 2; background: $background;
        scrollbar-size-vertical: 1; }
    Level Choices:focus { border: none; background-tint: $background 0%; }
    Level #choices { height: auto; max-height: 50%; }
    Level VerticalScroll { height: 1fr; padding: 0 2; scrollbar-size-vertical: 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [_BACK]

    def heard(self, event: NoteEvent) -> None:
        """An event of the piano, for a level that hears."""

    def action_back(self) -> None:
        """One level back."""
        self.app.back()


class Choices(OptionList):
    """A list to choose from; Enter is told at the foot."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "select", "Choose", key_display="Enter")]


class SetsScreen(Level):
    """Choose the set to practise, or with a `heading` the way of practising a lesson."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "in_time", "In time"),
        Binding("m", "make", "Make a set"),
        Binding("e", "change", "Change it"),
    ]

    def __init__(self, sets: Sequence[SetEntry], current: str, heading: str = "") -> None:
        super().__init__()
        self.sets = tuple(sets)
        self.current = current
        self.heading = heading

    def compose(self) -> ComposeResult:
        yield Static(data(self.heading or "Choose a set"), classes="title")
        chosen = Choices(*(Option(_set_line(entry)) for entry in self.sets), markup=False, id="sets")
        chosen.highlighted = next(
            (
                row
                for row, entry in enumerate(self.sets)
                if self.current in (entry.name, *(way.name for way in entry.ways))
            ),
            0,
        )
        yield chosen
        yield Footer(show_command_palette=False, compact=True)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Forms in time are offered where there are some; a way of practising a lesson is not made here."""
        if action in ("make", "change"):
            return self.app.making is not None and not self.heading
        return self.app.in_time is not None if action == "in_time" else True

    def action_make(self) -> None:
        """To the making of a set."""
        self.app.action_make()

    def action_change(self) -> None:
        """Change the set under the bar."""
        row = self.query_one("#sets", OptionList).highlighted
        if row is not None:
            self.app.change_set(self.sets[row].name)

    def action_in_time(self) -> None:
        """To the forms that can be played in time."""
        self.app.action_in_time()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.app.choose_set(self.sets[event.option_index])

    def action_back(self) -> None:
        if self.heading:
            self.app.action_sets()
        else:
            super().action_back()


class FormsScreen(Level):
    """Choose the form to play in time."""

    def __init__(self, forms: Sequence[SetEntry]) -> None:
        super().__init__()
        self.forms = tuple(forms)

    def compose(self) -> ComposeResult:
        yield Static(Content("Choose a form to play in time"), classes="title")
        yield Choices(*(Option(_set_line(entry)) for entry in self.forms), markup=False, id="forms")
        yield Footer(show_command_palette=False, compact=True)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.app.play_form(self.forms[event.option_index].name)


def _set_line(entry: SetEntry) -> Content:
    line = data(entry.title).stylize("bold")
    if entry.prompts:
        line += Content(f"   {entry.prompts} prompts")
    elif entry.ways:
        line += Content("   a lesson")
    if entry.standing:
        line += Content("\n") + data(entry.standing).stylize("bold")
    if entry.about:
        line += Content("\n") + data(entry.about)
    return line


class TextScreen(Level):
    """A title and text to scroll through."""

    def __init__(self, title: str, text: Content) -> None:
        super().__init__()
        self.heading = title
        self.text = text

    def compose(self) -> ComposeResult:
        yield Static(data(self.heading), classes="title")
        with VerticalScroll(id="text"):
            yield Static(self.text, id="words")
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        self.query_one("#text").focus()


class SummaryScreen(TextScreen):
    """The figures of a session that has ended."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "in_time", "In time"),
        Binding("enter", "same_again", "Once more", key_display="Enter"),
        Binding("n", "next_set", "Next set"),
        Binding("f8", "app.sets", "Sets", key_display="F8"),
        Binding("f11", "app.progress", "Progress", key_display="F11"),
    ]

    def __init__(self, title: str, text: Content, in_time: TempoSlot | None = None) -> None:
        """`in_time`: what is to be played in time next."""
        if in_time is not None:
            words = f"{in_time.title} in {pretty(in_time.key)} at {in_time.tempo_bpm:.0f}"
            text = Content("Now in time (T): ") + data(words).stylize("bold") + Content("\n\n") + text
        super().__init__(title, text)
        self.in_time = in_time

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A form in time is offered where the plan has one."""
        return self.in_time is not None if action == "in_time" else True

    def action_in_time(self) -> None:
        """The form at tempo of today's plan."""
        if self.in_time is not None:
            self.app.play_form(self.in_time.name or self.in_time.title)

    def action_same_again(self) -> None:
        """The same set again."""
        self.app.same_again()

    def action_next_set(self) -> None:
        """The set after this one."""
        self.app.next_set()

    def action_back(self) -> None:
        self.app.same_again()


LEARNED: Final = (Command.AGAIN, Command.SKIP, Command.SHOW, Command.HEAR, Command.PAUSE, Command.FINISH)
LOW_END: Final = 12
"""Control keys lie among the lowest or highest keys of an instrument, so that no voicing wants them."""


def control_name(control: int) -> str:
    """A control in words.

    >>> control_name(21), control_name(PEDAL_CONTROL)
    ('the key A0', 'the pedal')
    """
    return "the pedal" if control == PEDAL_CONTROL else f"the key {pretty(key_name(MidiNote(control)))}"


class PianoScreen(Level):
    """What is listened to, and which keys of the piano give commands."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("delete,backspace", "forget", "Forget a control", key_display="Del"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.learning: Command | None = None
        self.choices: list[tuple[str, str]] = []

    def compose(self) -> ComposeResult:
        yield Static(Content("What to listen to"), classes="title")
        yield Static(Content(""), classes="line", id="found")
        yield Choices(markup=False, id="choices")
        yield Static(Content("Commands from the piano (off unless set)"), classes="title")
        yield Choices(markup=False, id="controls")
        yield Static(Content(""), classes="line", id="learn")
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        self.renew()
        self.query_one("#choices").focus()

    def renew(self) -> None:
        """List again what there is."""
        listing = self.app.listing
        self.query_one("#found", Static).update(
            data(listing.problem or ("" if listing.names else "No MIDI port found."))
        )
        rows = [("port", name) for name in listing.names]
        if self.app.has_computer_keyboard:
            rows.append(("keyboard", "the computer's keyboard (to try it out; takes no times)"))
        if self.app.has_scripted_player:
            rows.append(("script", "a scripted player (watch a drill being played)"))
        if rows != self.choices:
            self.choices = rows
            choices = self.query_one("#choices", OptionList)
            row = choices.highlighted
            choices.clear_options()
            choices.add_options([Option(data(name)) for _, name in rows])
            if rows:
                choices.highlighted = min(row or 0, len(rows) - 1)
        self._controls()

    def _controls(self) -> None:
        controls = {command: control for control, command in self.app.controls.items()}
        table = self.query_one("#controls", OptionList)
        row = table.highlighted or 0
        table.clear_options()
        for command in self._learned:
            given = control_name(controls[command]) if command in controls else "off"
            table.add_option(Option(Content(f"{command.value:<16} {given}")))
        table.highlighted = row
        self._say("Enter on a command, then press its key: one of the lowest or highest of the piano, or the pedal.")

    @property
    def _learned(self) -> tuple[Command, ...]:
        """The commands that can be had."""
        return tuple(command for command in LEARNED if command is not Command.HEAR or self.app.can_hear)

    def _say(self, words: str) -> None:
        self.query_one("#learn", Static).update(data(words))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if event.option_list.id == "choices":
            kind, name = self.choices[event.option_index]
            self.app.choose_source(kind, name)
            return
        self.learning = self._learned[event.option_index]
        self._say(f"Press the piano key (or the pedal) for “{self.learning.value}”. Esc leaves it as it was.")

    def heard(self, event: NoteEvent) -> None:
        """A key of the piano, while a command is being learned."""
        if self.learning is None:
            return
        if event.kind is Kind.DOWN:
            control = int(event.key)
        elif event.kind is Kind.PEDAL and event.value >= 64:
            control = PEDAL_CONTROL
        else:
            return
        low, high = self.app.register
        if control != PEDAL_CONTROL and low - 2 <= control <= high + 2:
            self._say(f"{control_name(control).capitalize()} lies where this set is played; take one nearer to an end.")
            return
        learning, self.learning = self.learning, None
        self.app.learn(learning, control)
        self._controls()
        self._say(f"“{learning.value}” is now {control_name(control)}.")

    def action_forget(self) -> None:
        """Forget the control of the command in hand, after a question."""
        table = self.query_one("#controls", OptionList)
        if not table.has_focus or table.highlighted is None:
            return
        command = self._learned[table.highlighted]
        if command not in self.app.controls.values():
            return

        def answered(yes: bool | None) -> None:
            if yes:
                self.app.learn(command, None)
                self._controls()

        self.app.push_screen(Question(f"Forget the piano's key for “{command.value}”?"), answered)

    def action_back(self) -> None:
        if self.learning is not None:
            self.learning = None
            self._controls()
            return
        super().action_back()


class Question(ModalScreen[bool]):
    """A loss is confirmed with a key of its own."""

    DEFAULT_CSS = """
    Question { align: center middle; }
    Question Static { width: auto; max-width: 90%; height: auto; padding: 1 3; background: $panel; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "dismiss(True)", "Yes"),
        Binding("escape", "dismiss(False)", "No", key_display="Esc"),
    ]

    def __init__(self, question: str) -> None:
        super().__init__()
        self.question = question

    def compose(self) -> ComposeResult:
        yield Static(data(f"{self.question}\n\ny: yes    Esc: no"))
