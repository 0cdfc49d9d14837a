"""The first screen: today's practice, what is planned and why. Any key of the piano, let go again, begins it."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar, Final, Protocol

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Footer, Static

from trainer.capture import Kind, NoteEvent
from trainer.pitch import pretty
from trainer.screens.drawing import data
from trainer.screens.lists import Level

if TYPE_CHECKING:
    from trainer.scheduling import Plan

BREAK_OFF_S: Final = 300
"""A pause this long is a break (five minutes off after every twenty-five)."""

FIRST_PICTURE_S: Final = 0.02

BEGIN: Final = "Play any key of the piano and let it go to begin, or press Enter."
CARE: Final = "Warm up first. Stop when something hurts, tingles or goes numb."


class Todays(Protocol):
    """Today's practice, as it is handed to the application. What takes time is done in `steps`, a little at a time."""

    @property
    def title(self) -> str: ...

    def steps(self) -> Iterator[None]: ...

    def plan(self) -> Plan: ...

    def why(self) -> str:
        """Why the prompt in hand is asked; "" for none."""


class TodayScreen(Level):
    """What is planned for today, and why."""

    hears = True

    DEFAULT_CSS = """
    TodayScreen .part { height: auto; }
    TodayScreen .why { height: auto; padding: 0 0 0 9; }
    TodayScreen .remark { height: auto; padding: 1 0 0 0; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "begin", "Begin", key_display="Enter"),
        Binding("f8", "app.sets", "Other sets", key_display="F8"),
        Binding("w", "why", "Why each"),
        Binding("f9", "app.piano", "Piano", key_display="F9"),
        Binding("f11", "app.progress", "Progress", key_display="F11"),
        Binding("f1,question_mark", "app.help", "Help", key_display="F1"),
        Binding("escape", "back", "Last set", key_display="Esc"),
    ]

    def __init__(self, todays: Todays) -> None:
        super().__init__()
        self.todays = todays
        self.every_why = False
        self._pressed = False
        self._planned: Plan | None = None

    def compose(self) -> ComposeResult:
        yield Static(data(self.todays.title), classes="title", id="today-title")
        yield Static(Content(BEGIN), classes="line", id="today-begin")
        with VerticalScroll(id="text"):
            yield Static(Content("Looking at what you have played …"))
        yield Static(Content(""), classes="line", id="today-piano")
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        self.query_one("#text").focus()
        self.renew()
        # The first picture is on the glass before the work begins.
        self.call_after_refresh(self.set_timer, FIRST_PICTURE_S, self._look)

    async def _look(self) -> None:
        """Make the plan, with the screen awake meanwhile."""
        try:
            for _ in self.todays.steps():
                await asyncio.sleep(0)
            self._planned = self.todays.plan()
        except self.app.refusals as error:
            await self._fill([Static(data(str(error)))])
            return
        if self.is_attached:
            await self._show()

    def renew(self) -> None:
        """Tell again what is listened to."""
        self.query_one("#today-piano", Static).update(data(self.app.listening_words))

    async def _show(self) -> None:
        if self._planned is not None:
            self.query_one("#today-title", Static).update(data(f"{self.todays.title}, {self._planned.minutes_words}"))
            lines = plan_lines(self._planned, self.every_why)
            await self._fill([Static(Content(start) + words, classes=kind) for kind, start, words in lines])

    async def _fill(self, lines: list[Static]) -> None:
        text = self.query_one("#text")
        await text.remove_children()
        await text.mount(*lines)

    def heard(self, event: NoteEvent) -> None:
        """A key of the piano: once it is let go the hand is free, and the first prompt comes."""
        if event.kind is Kind.DOWN:
            self._pressed = True
        elif event.kind is Kind.UP and self._pressed:
            self.action_begin()

    def action_begin(self) -> None:
        """The first prompt."""
        self.app.begin_today()

    async def action_why(self) -> None:
        """The reason for every choice, or for the first of each part again."""
        self.every_why = not self.every_why
        await self._show()

    def action_back(self) -> None:
        self.app.leave_today()


def plan_lines(plan: Plan, every_why: bool = False) -> Iterator[tuple[str, str, Content]]:
    """A plan as lines, each with its class and text: what is to be done, and set in below it why."""
    for part in plan.parts:
        words = part.words
        if part.kind == "new" and plan.new_form is not None:
            words += f": {plan.new_form.name}"
        elif len(part.choices) > 1:
            words += f", {len(part.choices)} chords"
        yield ("part", f"{max(1, round(part.minutes)):>3} min  ", data(words).stylize("bold"))
        for choice in part.choices if every_why else part.choices[:1]:
            yield ("why", "", data(choice.why))
    if (tempo := plan.tempo) is not None:
        words = f"A form at tempo: {tempo.title} in {pretty(tempo.key)} at {tempo.tempo_bpm:.0f}"
        yield ("part", f"{max(1, round(tempo.minutes)):>3} min  ", data(words).stylize("bold"))
        yield ("why", "", data(tempo.why))
    for remark in (*plan.remarks, CARE):
        yield ("remark", "", data(remark))


class Breaks:
    """When a break is due: after some minutes of practice with no pause of five minutes in them. 0 minutes: never."""

    def __init__(self, minutes: float) -> None:
        self.minutes = minutes
        self._since_ns: int | None = None
        self._last_ns = 0

    def due(self, now_ns: int) -> bool:
        """Whether to propose one, now that a prompt is given; it is proposed once."""
        if self._since_ns is None or now_ns - self._last_ns > BREAK_OFF_S * 1_000_000_000:
            self._since_ns = now_ns
        self._last_ns = now_ns
        if self.minutes <= 0 or now_ns - self._since_ns < self.minutes * 60_000_000_000:
            return False
        self._since_ns = now_ns
        return True
