"""Progress to look at: one view of the record at a time, and what of the record it shows.

The views are in `figure_views` and `curve_view`. What is asked for (a period, a set, a voicing, a piano) holds for all
of them and stands in the first line; the figures of a view are asked of the store when it comes up and remembered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import ClassVar, Final

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.geometry import Region
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from trainer.chords.words import pretty_degrees
from trainer.progress import Found, Only, Remembered, Tallies
from trainer.screens.curve_view import CurveView
from trainer.screens.drawing import Drawn, Span, data, fitted, shown
from trainer.screens.figure_parts import View
from trainer.screens.figure_views import LearnedView, MissesView, RootsView, TableView, TimesView
from trainer.screens.foot import Foot, FootKey
from trainer.screens.lists import Choices, Level
from trainer.screens.practice import place
from trainer.screens.tempo_views import Passes, SteadyView, TempoView, no_passes

PERIODS: Final = (
    ("all time", 0),
    ("last 7 days", 7),
    ("last 30 days", 30),
    ("last 90 days", 90),
    ("last 12 months", 365),
)
"""What is asked for, and how many days back from today it goes (0: all); 365 from the first day of that month on."""

_VIEWS: Final[tuple[type[View], ...]] = (
    RootsView,
    TableView,
    CurveView,
    TimesView,
    MissesView,
    LearnedView,
    TempoView,
    SteadyView,
)


def beginning(now: datetime, days: int) -> str:
    """The first day of a period of `PERIODS` that ends today; "" for all days.

    >>> from datetime import UTC
    >>> now = datetime(2026, 3, 10, tzinfo=UTC)
    >>> beginning(now, 7), beginning(now, 365), beginning(now, 0)
    ('2026-03-04', '2025-04-01', '')
    """
    if not days:
        return ""
    first = (now - timedelta(days=days - 1)).date()
    if days >= 365:  # whole months, this one being the twelfth
        first = (first.replace(day=1) + timedelta(days=31)).replace(day=1)
    return first.isoformat()


class Tabs(Drawn):
    """The views by number and name, the one that is up marked; a click takes another."""

    def __init__(self, words: Sequence[str]) -> None:
        super().__init__(id="tabs")
        self.words = tuple(words)
        self.chosen = 0

    def show(self, chosen: int) -> None:
        self.chosen = chosen
        self.redraw()

    def _places(self) -> list[tuple[int, str]]:
        """Where each begins. In a narrow line only the chosen one has its name."""
        for short in (False, True):
            places = []
            left = 1
            for index, word in enumerate(self.words):
                text = f"{index + 1}" if short and index != self.chosen else f"{index + 1} {word}"
                text = f"[{text}]" if index == self.chosen else f" {text} "
                places.append((left, text))
                left += cell_len(text)
            if left <= self.size.width:
                break
        return places

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        spans: list[Span] = [(" ", "text")]
        spans += [(text, "mark" if index == self.chosen else "text") for index, (_, text) in enumerate(self._places())]
        return [spans]

    def on_click(self, event: events.Click) -> None:
        for index, (left, text) in enumerate(self._places()):
            if left <= event.x < left + cell_len(text):
                screen = self.screen
                assert isinstance(screen, ProgressScreen)
                screen.action_view(index)


class Asked(Drawn):
    """What of the record is looked at, in one line; a click on a part changes it."""

    def __init__(self) -> None:
        super().__init__(id="asked")
        self.parts: tuple[tuple[str, str], ...] = ()

    def show(self, parts: Sequence[tuple[str, str]]) -> None:
        """Show (words, action) of each part."""
        self.parts = tuple(parts)
        self.redraw()

    def _places(self, width: int) -> list[tuple[int, str, str]]:
        room = max(1, (width - 1 - 3 * (len(self.parts) - 1)) // max(1, len(self.parts)))
        spare = sum(max(0, room - cell_len(words)) for words, _ in self.parts)
        places = []
        left = 1
        for words, action in self.parts:
            text = fitted(words, max(room, min(cell_len(words), room + spare)))
            spare -= max(0, cell_len(text) - room)
            places.append((left, text, action))
            left += cell_len(text) + 3
        return places

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        spans: list[Span] = [(" ", "faint")]
        for index, (_, text, _) in enumerate(self._places(width)):
            spans += [(" · ", "faint")] * (index > 0) + [(text, "text")]
        return [spans]

    async def on_click(self, event: events.Click) -> None:
        for left, text, action in self._places(self.size.width):
            if left <= event.x < left + cell_len(text):
                await self.app.run_action(action, default_namespace=self.screen)
                return


class Figures(Drawn):
    """The view that is up."""

    def __init__(self) -> None:
        super().__init__(id="figures")
        self.view: View | None = None

    def show(self, view: View) -> None:
        self.view = view
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        return self.view.lines(width, height)[:height] if self.view is not None else []

    def on_click(self, event: events.Click) -> None:
        screen = self.screen
        if self.view is None or not isinstance(screen, ProgressScreen):
            return
        again: list[bool] = []
        screen.asking(lambda: again.append(self.view is not None and self.view.click(event.x, event.y)))
        self.redraw()
        if any(again):
            screen.action_curve()

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        self._scroll(1)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        self._scroll(-1)

    def _scroll(self, rows: int) -> None:
        if isinstance(self.screen, ProgressScreen):
            self.screen.action_move(rows, 0)


class Pick(ModalScreen[int | None]):
    """Choose one of a few; Esc leaves it as it was."""

    DEFAULT_CSS = """
    Pick { align: center middle; }
    Pick Static { width: 90%; max-width: 70; height: 1; padding: 0 2; background: $panel; text-style: bold; }
    Pick Choices { width: 90%; max-width: 70; height: auto; max-height: 80%; padding: 0 2;
        background: $panel; border: none; }
    Pick Choices:focus { border: none; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back", key_display="Esc")]

    def __init__(self, question: str, choices: Sequence[str], chosen: int) -> None:
        super().__init__()
        self.question = question
        self.choices = tuple(choices)
        self.chosen = chosen

    def compose(self) -> ComposeResult:
        yield Static(Content(self.question))
        listed = Choices(*(Option(data(each)) for each in self.choices), markup=False)
        listed.highlighted = self.chosen
        yield listed

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option_index)


class ProgressScreen(Level):
    """The figures of the record."""

    DEFAULT_CSS = """
    ProgressScreen { layout: vertical; overflow: hidden hidden; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back", key_display="Esc"),
        *(Binding(str(index + 1), f"view({index})", view.word, show=False) for index, view in enumerate(_VIEWS)),
        Binding("tab", "next_view(1)", "Next", key_display="Tab"),
        Binding("shift+tab", "next_view(-1)", "View before", show=False),
        Binding("enter", "curve", "Curve", key_display="Enter"),
        Binding("m", "more", "More", key_display="M"),
        Binding("d", "period", "Days", key_display="D"),
        Binding("s", "set", "Set", key_display="S"),
        Binding("v", "voicing", "Voicing", key_display="V"),
        Binding("p", "port", "Piano", key_display="P"),
        Binding("up", "move(-1,0)", "Up", show=False),
        Binding("down", "move(1,0)", "Down", show=False),
        Binding("left", "move(0,-1)", "Left", show=False),
        Binding("right", "move(0,1)", "Right", show=False),
        Binding("pageup", "move(-10,0)", "Ten up", show=False),
        Binding("pagedown", "move(10,0)", "Ten down", show=False),
        Binding("home", "move(-100000,0)", "First", show=False),
        Binding("end", "move(100000,0)", "Last", show=False),
    ]

    def __init__(self, source: Tallies, now: datetime, passes: Passes = no_passes) -> None:
        super().__init__()
        self.source = Remembered(source)
        self.now = now
        self.only = Only()
        self.views = tuple(view(self.source, now) for view in _VIEWS)
        for view in self.views:
            if isinstance(view, TempoView | SteadyView):
                view.passes = passes
        self._asked: dict[int, Only] = {}
        self._before_curve: int | None = None
        self.up = 0
        self.period = 0
        self.asked = Asked()
        self.tabs = Tabs([view.word for view in _VIEWS])
        self.figures = Figures()
        self.foot = Foot(id="foot")

    def compose(self) -> ComposeResult:
        yield self.asked
        yield self.tabs
        yield self.figures
        yield self.foot

    def on_mount(self) -> None:
        self.take_places()
        self._show()

    def on_resize(self, event: events.Resize) -> None:
        self.take_places()
        self._show()

    def take_places(self) -> None:
        """Figures have what a line for what is asked, for the views and for the keys leave; the lines go first."""
        width, height = self.app.size
        margin = 2 if width >= 100 else 0
        top = 2 if height >= 6 else 1 if height >= 3 else 0
        foot = 1 if height >= 5 else 0
        place(self.asked, Region(0, 0, width, 1) if top == 2 else None)
        place(self.tabs, Region(0, top - 1, width, 1) if top else None)
        gap = 1 if height >= 20 else 0
        figures = Region(margin, top + gap, max(1, width - 2 * margin), max(1, height - top - gap - foot))
        place(self.figures, figures)
        place(self.foot, Region(0, height - 1, width, 1) if foot else None)

    @property
    def view(self) -> View:
        return self.views[self.up]

    def _show(self) -> None:
        """Draw the view that is up; its figures are asked for where what is asked has changed."""
        if self._asked.get(self.up) != self.only and self.asking(lambda: self.view.begin(self.only)):
            self._asked[self.up] = self.only
        self.tabs.show(self.up)
        narrow = self.app.size.width < 66
        parts = (
            (f"{'' if narrow else 'Progress: '}{PERIODS[self.period][0]}", "period", True),
            (self.only.sets[0] if self.only.sets else "all sets", "set", bool(self.only.sets)),
            (
                pretty_degrees(self.only.voicings[0]) if self.only.voicings else "all voicings",
                "voicing",
                bool(self.only.voicings),
            ),
            (self.only.ports[0] or "no port" if self.only.ports else "any piano", "port", bool(self.only.ports)),
        )
        # In a narrow line only what was asked for stands.
        self.asked.show([(shown(words), action) for words, action, asked in parts if asked or not narrow])
        further = self.view.further
        shown_keys = [each for each in self.BINDINGS if isinstance(each, Binding) and each.show]
        self.foot.show(
            [
                FootKey(
                    each.key_display or each.key, further if each.action == "more" else each.description, each.action
                )
                for each in shown_keys
                if each.action != "more" or further
            ]
        )
        self.figures.show(self.view)
        self._go_on_later()

    def _go_on_later(self) -> None:
        """What is not on the screen yet is asked for when the player has seen what is."""
        if self.view.incomplete:
            self.call_after_refresh(self.go_on)

    def go_on(self) -> None:
        """Ask for the next part of the view that is up, and draw it."""
        if not self.view.incomplete:
            return
        if not self.asking(self.view.go_on):
            self._asked.pop(self.up, None)
            return
        self.figures.redraw()
        self._go_on_later()

    def asking(self, ask: Callable[[], object]) -> bool:
        """Do what may ask the record; where it cannot be read the player is told, and False comes back."""
        try:
            ask()
        except self.app.refusals as error:
            self.app.tell(str(error))
            return False
        return True

    # -- what the player asks for

    def action_view(self, index: int) -> None:
        """Another view."""
        self.up = index
        self._before_curve = None
        self._show()

    def action_next_view(self, step: int) -> None:
        """The view after this one, round and round."""
        self.action_view((self.up + step) % len(self.views))

    def action_move(self, down: int, right: int) -> None:
        """Choose another place in the view."""
        self.asking(lambda: self.view.move(down, right))
        self.figures.redraw()
        self._go_on_later()

    def action_more(self) -> None:
        """What M does in this view."""
        self.asking(self.view.more)
        self._show()

    def action_curve(self) -> None:
        """The curve of what is chosen."""
        subject = self.view.subject
        curve_at = _VIEWS.index(CurveView)
        curve = self.views[curve_at]
        if subject is None or not isinstance(curve, CurveView) or self.up == curve_at:
            return
        curve.only = self.only
        if not self.asking(lambda: curve.show(subject)):
            return
        self._asked[curve_at] = self.only
        before = self.up
        self.action_view(curve_at)
        self._before_curve = before

    def action_period(self) -> None:
        """Ask for another period."""

        def chosen(index: int | None) -> None:
            if index is not None:
                self.period = index
                days = PERIODS[index][1]
                self._ask_for(replace(self.only, since=beginning(self.now, days)))

        self.app.push_screen(Pick("Which days?", [words for words, _ in PERIODS], self.period), chosen)

    def found(self) -> Found:
        """What there is to choose from; nothing where the record cannot be read."""
        self.asking(self.source.found)
        return self.source.found() if self.source.has_found else Found()

    def action_set(self) -> None:
        """Ask for one set, or all."""
        names = self.found().sets
        self._pick("Which set?", "all sets", names, self.only.sets, lambda only, value: replace(only, sets=value))

    def action_voicing(self) -> None:
        """Ask for one voicing, or all."""
        names = tuple(dict.fromkeys(voicing for voicing, _ in self.found().kinds))
        now = self.only.voicings
        self._pick("Which voicing?", "all voicings", names, now, lambda only, value: replace(only, voicings=value))

    def action_port(self) -> None:
        """Ask for one piano, or any."""
        names = self.found().ports
        self._pick("Which piano?", "any piano", names, self.only.ports, lambda only, value: replace(only, ports=value))

    def _pick(
        self,
        question: str,
        all_of_them: str,
        names: Sequence[str],
        now: tuple[str, ...],
        change: Callable[[Only, tuple[str, ...]], Only],
    ) -> None:
        def chosen(index: int | None) -> None:
            if index is not None:
                self._ask_for(change(self.only, (names[index - 1],) if index else ()))

        row = names.index(now[0]) + 1 if now and now[0] in names else 0
        written = [pretty_degrees(name) for name in names] if question == "Which voicing?" else list(names)
        self.app.push_screen(Pick(question, [all_of_them, *written], row), chosen)

    def _ask_for(self, only: Only) -> None:
        self.only = only
        self._show()

    def action_back(self) -> None:
        """One level back: from a curve to where it was asked for, else to the practice screen."""
        if self._before_curve is not None:
            self.action_view(self._before_curve)
            return
        self.app.back()
