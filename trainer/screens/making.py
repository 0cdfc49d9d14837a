"""Make a set without a file: a form whose rows are chosen from lists or typed; and change a set of one's own.

The form lists what is chosen so far and says how many prompts that makes, or what is still missing. Enter on a row
opens its choices; Esc goes back to the form, and from there to the sets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import ClassVar, Final, Protocol

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, Input, OptionList, Static
from textual.widgets.option_list import Option

from trainer.drills.building import (
    COMMON_QUALITIES,
    EDITABLE,
    ORDERS,
    Choices,
    Edit,
    built,
    changed,
    chord_or_fault,
    milliseconds_or_fault,
    named,
    roots_or_fault,
    voicings_of,
)
from trainer.drills.values import HANDS, HINTS, SEQUENCES
from trainer.screens.drawing import data
from trainer.screens.lists import Choices as ChoiceList
from trainer.screens.lists import Level


class Maker(Protocol):
    """What making needs of the world. All of it may raise one of the application's refusals."""

    def write(self, choices: Choices) -> str:
        """Write a new set; its name in the list."""

    def open(self, name: str) -> Edit:
        """What a set of the player's own says."""

    def change(self, name: str, edit: Edit, values: Mapping[str, object]) -> str:
        """Change a set of the player's own; its name in the list."""


LABELS: Final = {
    "title": "Title",
    "chords": "Chords",
    "voicings": "Voicings",
    "roots": "Roots",
    "sequence": "Order",
    "tries": "Tries",
    "hint": "Shown",
    "target_ms": "Time",
    "hand": "Hand",
}
_LISTED: Final[Mapping[str, tuple[object, ...]]] = {
    "title": (),
    "chords": COMMON_QUALITIES,
    "voicings": (),
    "roots": ORDERS,
    "sequence": SEQUENCES,
    "tries": (1, 2, 3, 4, 5, 10, 20),
    "hint": HINTS,
    "target_ms": (None, 1000, 1500, 2000, 3000, 5000),
    "hand": (None, *HANDS),
}
_TYPED: Final = {
    "title": "the title, then Enter",
    "chords": "another, such as 7(b9) or m9, then Enter",
    "voicings": "a part of the name, to find it",
    "roots": "or roots of your own, such as C F Bb, then Enter",
    "target_ms": "or seconds, such as 1.8, then Enter",
}
_NONE: Final = {"target_ms": "no time to reach", "hand": "as the voicing has it"}
_DIFFERENT: Final = "differs from drill to drill"


class MakeScreen(Level):
    """The form of a new set, or with an `edit` that of a file."""

    DEFAULT_CSS = """
    MakeScreen Input { height: 3; margin: 0 2; }
    MakeScreen #state { max-height: 40%; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "write", "Write the set", key_display="F2"),
        Binding("down", "to_list", "", show=False),
    ]

    def __init__(self, maker: Maker, name: str = "", edit: Edit | None = None) -> None:
        super().__init__()
        self.maker = maker
        self.set_name = name
        self.edit = edit
        self.values: dict[str, object] = (
            dict(edit.values) if edit is not None else {each: getattr(Choices(), each) for each in LABELS}
        )
        self.rows = [each for each in LABELS if edit is None or each in EDITABLE]
        self.picking = ""
        self._offered: list[object] = []

    def compose(self) -> ComposeResult:
        yield Static(Content(""), classes="title", id="heading")
        yield ChoiceList(markup=False, id="rows")
        yield Input(id="typed")
        yield Static(Content(""), classes="line", id="state")
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        self._show_form()

    @property
    def choices(self) -> Choices:
        """What is chosen so far of a new set."""
        return Choices(**self.values)  # type: ignore[arg-type]

    # -- the form

    def _show_form(self) -> None:
        row = self.rows.index(self.picking) if self.picking in self.rows else 0
        self.picking = ""
        heading = "Make a set" if self.edit is None else f"Change {self.edit.values.get('title', '')}"
        self.query_one("#heading", Static).update(data(heading))
        self.query_one("#typed", Input).display = False
        lines = [Content(f"{LABELS[each]:<10}") + data(self._words(each)) for each in self.rows]
        self._list([*lines, Content("Write the set")], row)
        self._say(self._state())
        self.query_one("#rows").focus()

    def _words(self, name: str) -> str:
        if name not in self.values:
            return _DIFFERENT
        value = self.values[name]
        if name == "voicings":
            return "; ".join(f"{named(chord)} {voicing}" for chord, voicing in self.choices.voicings) or "none yet"
        if name == "chords":
            return ", ".join(map(named, self.choices.chords)) or "none yet"
        return (str(value) or "none yet") if name == "title" else _value_words(name, value)

    def _state(self) -> Sequence[str]:
        """How many prompts there are, or what is missing."""
        if self.edit is None:
            made = built(self.choices)
            return made.faults or (f"{made.prompts} prompts. F2 writes the set.",)
        try:
            same = changed(self.edit, self.values) == self.edit.text
        except ValueError as error:
            return (str(error),)
        return ("Nothing is changed yet.",) if same else ("F2 writes what you changed; the rest of the file stays.",)

    def _say(self, lines: Sequence[str]) -> None:
        self.query_one("#state", Static).update(data("\n".join(lines)) if lines else Content(""))

    def _list(self, lines: Sequence[Content], row: int) -> None:
        listed = self.query_one("#rows", OptionList)
        listed.clear_options()
        listed.add_options([Option(line) for line in lines])
        listed.highlighted = min(row, len(lines) - 1) if lines else None

    # -- one row of it

    def _pick(self, name: str) -> None:
        self.picking = name
        self.query_one("#heading", Static).update(data(LABELS[name]))
        typed = self.query_one("#typed", Input)
        typed.display = name in _TYPED
        typed.placeholder = _TYPED.get(name, "")
        typed.value = str(self.values.get(name, "")) if name == "title" else ""
        self._say(())
        self._offer()
        self.query_one("#typed" if name == "title" else "#rows").focus()

    def _offer(self, row: int | None = None) -> None:
        """List what can be chosen; what is chosen has a mark."""
        name = self.picking
        self._offered = list(_LISTED[name])
        chosen: Sequence[object] = (self.values.get(name, ...),)
        if name == "chords":
            chosen = self.choices.chords
            self._offered += [each for each in chosen if each not in self._offered]
        elif name == "voicings":
            chosen = self.choices.voicings
            wanted = self.query_one("#typed", Input).value.casefold().split()
            every = [(chord, voicing) for chord in self.choices.chords for voicing in voicings_of(chord)]
            self._offered = [
                pair for pair in every if all(word in f"{named(pair[0])} {pair[1]}".casefold() for word in wanted)
            ]
            if not every:
                self._say(("Choose a chord first.",))
        lines = [Content("● " if each in chosen else "○ ") + data(_value_words(name, each)) for each in self._offered]
        first = next((place for place, each in enumerate(self._offered) if each in chosen), 0)
        self._list(lines, first if row is None else row)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        row = event.option_index
        if not self.picking:
            if row < len(self.rows):
                self._pick(self.rows[row])
            else:
                self.action_write()
            return
        value = self._offered[row]
        if self.picking == "chords":
            self._take(self.choices.with_chord(str(value)))
            self._offer(row)
        elif self.picking == "voicings" and isinstance(value, tuple):
            self._take(self.choices.with_voicing(*value))
            self._offer(row)
        else:
            self.values[self.picking] = value
            self._show_form()

    def _take(self, choices: Choices) -> None:
        self.values |= {"chords": choices.chords, "voicings": choices.voicings}

    def on_input_changed(self, event: Input.Changed) -> None:
        if self.picking == "voicings":
            self._offer()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        typed = event.value
        try:
            match self.picking:
                case "title":
                    self.values["title"] = typed.strip()
                case "roots":
                    roots_or_fault(typed.strip())
                    self.values["roots"] = typed.strip()
                case "target_ms":
                    self.values["target_ms"] = milliseconds_or_fault(typed)
                case "chords":
                    self._typed_chord(typed.strip())
                    return
                case _:
                    self.action_to_list()
                    return
        except ValueError as error:
            self._say((str(error),))
            return
        self._show_form()

    def _typed_chord(self, typed: str) -> None:
        found = chord_or_fault(typed)
        if isinstance(found, str):
            self._say((found,))
            return
        if typed and found.text not in self.choices.chords:
            self._take(self.choices.with_chord(found.text))
        self.query_one("#typed", Input).value = ""
        self._say(())
        self._offer()

    def action_to_list(self) -> None:
        """From what is typed to the list."""
        self.query_one("#rows").focus()

    # -- the end of it

    def action_write(self) -> None:
        """Write the file."""
        edit = self.edit
        if edit is not None:
            self.app.keep_made(lambda: self.maker.change(self.set_name, edit, self.values))
        elif faults := built(self.choices).faults:
            self._show_form()
            self._say(faults)
        else:
            self.app.keep_made(lambda: self.maker.write(self.choices))

    def action_back(self) -> None:
        if self.picking:
            self._show_form()
        else:
            self.app.action_sets(self.set_name)


def _value_words(name: str, value: object) -> str:
    if value is None:
        return _NONE[name]
    if isinstance(value, tuple):
        return f"{named(value[0]):<8} {value[1]}"
    if name == "target_ms":
        return f"{int(str(value)) / 1000:g} s"
    return named(str(value)) if name == "chords" else str(value)
