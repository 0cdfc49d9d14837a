"""The application: it is handed everything that touches the world, and runs sessions on the screen.

    app = PracticeApp(
        sets=[SetEntry("minor-sevens", "Minor sevens", "Rootless, both forms", prompts=24), ...],
        open_session=lambda entry, hand: Session(plan, Particulars(..., port=hand.port,
                                                 stamp_origin=hand.stamp_origin, controls=hand.controls)),
        store=append,                     # (attempt, replaces): every attempt, before its verdict is painted
        history=lambda entry: attempts,   # earlier attempts for the wheel of roots and the summary, oldest first
        ports=list_ports,                 # -> Listing(names, problem); asked every 2 s while needed, on a thread
        open_port=open_port,              # name -> Source; raises one of `refusals`
        computer_keyboard=None,           # () -> KeyboardSource, or None
        scripted_player=None,             # () -> ScriptedSource, or None
        in_time=None,                     # InTime: forms at a tempo, and what sounds and keeps them; or None
        relist=None,                      # () -> the sets as they are now, asked when they are listed; None: as given
        outcome=lambda attempts: (),      # lines to say under the figures of a session, such as of an assignment
        notices=(),                       # lines to tell when the program has opened
        sounding=None,                    # Sounding: sounds voicings, and is told what the player plays; or None
        describe=lambda entry: entry,     # a set's row with all that takes time to find out, asked when sets are listed
        teaching=None,                    # charts to teach by playing, and where lessons go: a `teaching.Desk`, or None
        making=None,                      # writes sets put together on the screen, and changes them: a `making.Maker`
        counted=None,                     # () -> Tallies: the record, counted, for progress to look at; or None
        passes=None,                      # Only -> passes of forms in time, for the same; or None
        keep=None,                        # a named drill's TOML row -> a line for the player; writes it away; or None
        manual=chapters,                  # () -> the chapters to read from the help screen
        preferences=Preferences(),        # what was remembered
        remember=lambda preferences: None,
        today=None,                       # Todays: today's practice, which the program then opens on; or None
        break_minutes=0,                  # after how many minutes of practice a break is proposed; 0 never
        first_set="",                     # name of the set to open with; "" the remembered one, else the first
        source=None,                      # a Source chosen already (--port, --keyboard, --script); None: look for one
        clock=time.perf_counter_ns,       # the clock that stamps the sources' events
        now=utc_now,                      # wall clock as an aware datetime, for "how long ago"
        crash_report=path,                # where a report of trouble is written; None: nowhere
        refusals=(OSError, ValueError),   # exceptions whose text is one line for the player
    )
    exit_code = run(app)                  # 0 done, 1 crashed (the report's path has been printed to standard error)

What is handed in may raise an exception of `refusals` (a voicing that cannot be placed, a port that is taken, a disk
that is full): the player is told its text and the program goes on. `hand` is a `Hand`: what is played and its commands;
`hand.controls` is handed through as it is, because what the player teaches it later changes it in place.

A source's `start(post)` may call `post` from any thread; events cross over by `loop.call_soon_threadsafe`, which the
lab found faster and steadier than the library's own ways (see `driving`). A `KeyboardSource` is told each printable
key by `press(character)`. A `ScriptedSource` is told each prompt by `prompted(target)` and plays it, from a thread of
its own. A source that loses its port posts PORT_LOST, and PORT_FOUND once it has it again. A source for which
`reconnects` is absent or False is opened again by the app when its port is back in the listing.

The caller checks that there is a terminal: without one the library never ends.

When the prompt is on the glass cannot be known from inside. `painted` runs when the library has handed the prompt's
bytes to the thread that writes them to the terminal and the loop has gone round once more; that thread writes at once
(under a millisecond when the terminal reads), and what the terminal and the monitor add is not seen here.
"""

from __future__ import annotations

import asyncio
import contextvars
import gc
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Final, Protocol, runtime_checkable

from textual import events
from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from trainer.capture import Kind, NoteEvent
from trainer.grading import Target
from trainer.in_time import FormSession, PassBegan
from trainer.manual import Chapter, chapters
from trainer.progress import Attempt, Only, Tallies, plain_root
from trainer.screens.driving import Drive
from trainer.screens.hearing import HearIt, Sounding
from trainer.screens.lists import FormsScreen, Level, PianoScreen, SetsScreen, SummaryScreen
from trainer.screens.practice import PracticeScreen
from trainer.screens.readings import Wheel
from trainer.screens.summary import summary_text
from trainer.screens.themes import THEME_NAMES, THEMES
from trainer.screens.today import Breaks, Todays, TodayScreen
from trainer.session import Command, Finished, HearingAsked, Prompted, Session, SessionEvent, State, Task
from trainer.timing import Grid, PassRecord, Slot

if TYPE_CHECKING:
    from trainer.drills import Lesson
    from trainer.screens.making import Maker
    from trainer.screens.teaching import Desk

if TYPE_CHECKING:
    from trainer.scheduling import TempoSlot

Post = Callable[[NoteEvent], None]

LOOK_FOR_PORTS_S: Final = 2.0
TODAY: Final = "today"
"""The name of the entry that stands for today's practice; every other entry is named by its file."""
CRASHED: Final = 1
SWITCH_S: Final = 0.0005


class Source(Protocol):
    """Where notes come from. `name` is shown; `stamp_origin` is callback, file, keyboard or script."""

    @property
    def name(self) -> str: ...

    @property
    def stamp_origin(self) -> str: ...

    def start(self, post: Post) -> None: ...

    def stop(self) -> None: ...


@runtime_checkable
class KeyboardSource(Source, Protocol):
    """The computer's keyboard as a piano."""

    def press(self, character: str) -> None: ...


@runtime_checkable
class ScriptedSource(Source, Protocol):
    """A player that answers by itself."""

    def prompted(self, target: Target) -> None: ...

    def performed(self, slots: Sequence[Slot], grid: Grid) -> None: ...


class Listing(Protocol):
    """The MIDI ports there are, and in one line what keeps them from being listed ("" for nothing)."""

    @property
    def names(self) -> Sequence[str]: ...

    @property
    def problem(self) -> str: ...

    def unasked(self, wanted: str) -> str:
        """The port to listen to unasked: the one remembered, else one that may be a piano; "" for none."""


@dataclass(frozen=True, slots=True)
class NoPorts:
    """A listing of the names it is given; of nothing by itself."""

    names: tuple[str, ...] = ()
    problem: str = ""

    def unasked(self, wanted: str) -> str:
        return wanted if wanted in self.names else next(iter(self.names), "")


@dataclass(frozen=True, slots=True)
class SetEntry:
    """A drill set as listed: `name` tells it apart, the rest is shown. A lesson has `ways` of practising it instead of
    prompts: entries to choose from once it is chosen.

    `keys` are its lowest and highest key, for the small keyboard; it widens by itself where a prompt lies outside.
    `standing` is what is done and to do of it, where it is an assignment.
    """

    name: str
    title: str
    about: str = ""
    prompts: int = 0
    keys: tuple[int, int] = (48, 72)
    ways: tuple[SetEntry, ...] = ()
    in_time: bool = False
    standing: str = ""


@dataclass(frozen=True, slots=True)
class Hand:
    """What a session is played with: port and origin of its stamps for the record, controls for its commands."""

    port: str
    stamp_origin: str
    controls: Mapping[int, Command] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class InTime:
    """What forms at a tempo need. `forms` are listed; `open` opens one of them by name, or the one of the command line
    by ""; `accompany` sounds a pass and returns a line for the player; `silence` ends all sound at once, `close` for
    good.
    """

    forms: Sequence[SetEntry]
    open: Callable[[str, Hand], FormSession]
    store: Callable[[PassRecord], None]
    accompany: Callable[[PassBegan], str]
    silence: Callable[[], None]
    close: Callable[[], None] = lambda: None
    at_once: bool = False


@dataclass(frozen=True, slots=True)
class Preferences:
    """What is remembered from one evening to the next. `controls` maps a piano key (-1: the pedal) to a command."""

    port: str = ""
    last_set: str = ""
    theme: str = THEME_NAMES[0]
    keyboard_shown: bool = False
    controls: Mapping[int, str] = field(default_factory=dict)
    chord_style: str = "house"


class PracticeApp(App[int]):
    """See the head of this module."""

    TITLE = "Voicings"
    CSS = """
    Screen { background: $background; color: $foreground; }
    """
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+q", "leave", "Quit", show=False, priority=True)]

    def __init__(
        self,
        *,
        sets: Sequence[SetEntry],
        open_session: Callable[[SetEntry, Hand], Session],
        store: Callable[[Attempt, bool], None],
        history: Callable[[SetEntry], Sequence[Attempt]] = lambda entry: (),
        ports: Callable[[], Listing] = NoPorts,
        open_port: Callable[[str], Source] | None = None,
        computer_keyboard: Callable[[], KeyboardSource] | None = None,
        scripted_player: Callable[[], ScriptedSource] | None = None,
        in_time: InTime | None = None,
        sounding: Sounding | None = None,
        counted: Callable[[], Tallies] | None = None,
        passes: Callable[[Only], Sequence[PassRecord]] | None = None,
        keep: Callable[[str], str] | None = None,
        teaching: Desk | None = None,
        making: Maker | None = None,
        describe: Callable[[SetEntry], SetEntry] = lambda entry: entry,
        relist: Callable[[], Sequence[SetEntry]] | None = None,
        outcome: Callable[[Sequence[Attempt]], Sequence[str]] = lambda attempts: (),
        notices: Sequence[str] = (),
        manual: Callable[[], Sequence[Chapter]] = chapters,
        preferences: Preferences | None = None,
        remember: Callable[[Preferences], None] = lambda preferences: None,
        today: Todays | None = None,
        break_minutes: float = 0,
        first_set: str = "",
        source: Source | None = None,
        clock: Callable[[], int] = time.perf_counter_ns,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        crash_report: Path | None = None,
        refusals: tuple[type[Exception], ...] = (OSError, ValueError),
    ) -> None:
        """Raises ValueError where there is no set."""
        if not sets:
            raise ValueError("there is no drill set to practise")
        super().__init__()
        for theme in THEMES:
            self.register_theme(theme)
        self.preferences = preferences or Preferences()
        known = self.preferences.theme in THEME_NAMES
        self.theme = self.preferences.theme if known else THEME_NAMES[0]
        self.drill_sets = tuple(sets)
        self._open_session = open_session
        self._store_attempt = store
        self._history = history
        self._list_ports = ports
        self._open_port = open_port
        self._computer_keyboard = computer_keyboard
        self._scripted_player = scripted_player
        self.in_time = in_time
        self._form_first = in_time is not None and in_time.at_once
        self._sounding = sounding
        self._hear_it = None if sounding is None else HearIt(sounding)
        self._counted = counted
        self._passes = passes
        self._keep = keep
        self._teaching = teaching
        self.making = making
        self._describe = describe
        self._relist = relist
        self._outcome = outcome
        self._notices = tuple(notices)
        self.manual = manual
        self._remember = remember
        self._clock = clock
        self._now = now
        self.crash_report = crash_report
        self.refusals = refusals
        self._today = today
        self._today_set = SetEntry(TODAY, today.title) if today is not None else None
        self._today_waits = today is not None and not first_set and not (in_time is not None and in_time.at_once)
        self._breaks = Breaks(break_minutes)
        self.crashed = False
        wanted = first_set or self.preferences.last_set
        every = [way for entry in self.drill_sets for way in (entry, *entry.ways)]
        self._set = next((entry for entry in every if entry.name == wanted), self.drill_sets[0])
        self._set = next(iter(self._set.ways), self._set)
        self.controls = _controls(self.preferences.controls)
        self.practice = PracticeScreen()
        self.practice.keyboard_wanted = self.preferences.keyboard_shown
        self.listing: Listing = NoPorts()
        self.source = source
        self._lost = ""
        self._drive: Drive | None = None
        self._wheel = Wheel()
        self._spelled: dict[str, str] = {}
        self._before: tuple[Attempt, ...] = ()
        self._paused_by_level = False
        self.register = (48, 72)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._app_context = contextvars.copy_context()

    # -- start and end

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return {"white-key": "#ffffff", "black-key": "#000000"}

    def get_default_screen(self) -> Screen[None]:
        return self.practice

    def on_mount(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._loop.set_exception_handler(self._trouble_in_the_loop)
        self._app_context = contextvars.copy_context()
        if self._today_waits:
            self._open_today()
        if self.source is not None:
            self._listen_to(self.source)
        else:
            self.listing = self._list_ports()
            self._listed(first=True)
        for notice in self._notices:
            self.tell(notice)
        if self._sounding is not None:
            self._sounding.tell_to(self._told)
        self.set_interval(LOOK_FOR_PORTS_S, self._look_for_ports)
        # A full pass of the collector over everything loaded takes 40 ms and more: what start-up made is set aside.
        self.call_after_refresh(_settle_collector)

    def on_unmount(self) -> None:
        if self._drive is not None:
            self._drive.stop()
        if self.source is not None:
            self.source.stop()
        if self.in_time is not None:
            self.in_time.close()
        if self._sounding is not None:
            self._sounding.close()

    def action_leave(self) -> None:
        """Leave the program; an attempt that was begun is kept as unfinished."""
        if self._drive is not None and self._drive.session.state is not State.FINISHED:
            self._drive.leave()
        self.exit(0)

    # -- sources

    @property
    def has_computer_keyboard(self) -> bool:
        return self._computer_keyboard is not None

    @property
    def has_scripted_player(self) -> bool:
        return self._scripted_player is not None

    @property
    def stamp_origin(self) -> str:
        return self.source.stamp_origin if self.source is not None else ""

    async def _look_for_ports(self) -> None:
        """See what ports there are, where somebody wants to know: on a thread, for it may take its time."""
        if not self.screen_stack:  # the program is ending
            return
        waits = self.source is None or (self._lost and not getattr(self.source, "reconnects", False))
        if waits or isinstance(self.screen, PianoScreen):
            self.listing = await asyncio.get_running_loop().run_in_executor(None, self._list_ports)
            self._listed()

    def _listed(self, first: bool = False) -> None:
        """Take a port where nothing is listened to, or the one that went away."""
        if isinstance(self.screen, PianoScreen):
            self.screen.renew()
        names = self.listing.names
        if self.source is None:
            if wanted := self.listing.unasked(self.preferences.port):
                self._listen_to_port(wanted)
            elif first or self._drive is None:
                self._nothing_to_listen_to()
        elif self._lost in names and self._lost and not getattr(self.source, "reconnects", False):
            self._listen_to_port(self._lost)

    def _listen_to_port(self, name: str) -> None:
        if self._open_port is None:
            return
        try:
            source = self._open_port(name)
        except self.refusals as error:
            self.practice.say(str(error))
            return
        self._listen_to(source)

    def _listen_to(self, source: Source) -> None:
        """Listen to another source; the drill begins, or begins again where it stood."""
        again = self._lost != "" and self._drive is not None
        if self.source is not None and self.source is not source:
            self.source.stop()
        self.source = source
        self._lost = ""
        self.practice.status.listening(True, f"listening to {source.name}")
        if again:
            self._arrived(NoteEvent(self._clock(), Kind.PORT_FOUND, port=source.name))
        elif not self._today_waits:
            self._begin()
        try:
            source.start(self._post)
        except self.refusals as error:
            self.practice.say(str(error))
        self._renew_today()
        if self._form_first:
            self._form_first = False
            self.call_after_refresh(self.play_form, "")

    def _nothing_to_listen_to(self) -> None:
        self.practice.status.listening(False, "no piano")
        self.practice.no_piano(self.listening_words)
        self._renew_today()

    @property
    def listening_words(self) -> str:
        """What is listened to, or how to get there."""
        if self.source is not None:
            return f"{self._lost} is not connected." if self._lost else f"Listening to {self.source.name}."
        found = self.listing.problem or "No MIDI port was found."
        ways = "Switch the piano on and plug it into the computer: the drill starts by itself."
        others = []
        if self.has_computer_keyboard:
            others.append("try it with the computer's keyboard")
        if self.has_scripted_player:
            others.append("watch a scripted player")
        if others:
            ways += f" Or press F9 to {' or '.join(others)}."
        return f"{ways} {found}"

    def choose_source(self, kind: str, name: str) -> None:
        """What the player chose to listen to: a port by name, the computer's keyboard, or the scripted player."""
        self.back()
        self._lost = ""
        if kind == "port":
            self.preferences = replace(self.preferences, port=name)
            self._remember(self.preferences)
            self._listen_to_port(name)
        elif kind == "keyboard" and self._computer_keyboard is not None:
            self._listen_to(self._computer_keyboard())
        elif kind == "script" and self._scripted_player is not None:
            self._listen_to(self._scripted_player())

    def pressed(self, character: str) -> bool:
        """A printable key of the computer; True where it is the piano's."""
        if isinstance(self.source, KeyboardSource):
            self.source.press(character)
            return True
        return False

    def _post(self, event: NoteEvent) -> None:
        """Called by the source, on any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._arrived, event, context=self._app_context)

    def _told(self, line: str) -> None:
        """Called by what sounds, on any thread, with a line for the player."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self.tell, line, context=self._app_context)

    def _arrived(self, event: NoteEvent) -> None:
        if self._sounding is not None and self._sounding.player(event):
            return
        if self._hear_it is not None and event.kind is Kind.DOWN and event.key not in self.controls:
            self._hear_it.struck()
        if event.kind is Kind.PORT_LOST:
            self._lost = event.port or (self.source.name if self.source is not None else "")
            self.practice.status.listening(False, f"{self._lost} is not connected")
        elif event.kind is Kind.PORT_FOUND and self.source is not None:
            self._lost = ""
            self.practice.status.listening(True, f"listening to {self.source.name}")
        if event.kind in (Kind.PORT_LOST, Kind.PORT_FOUND):
            self._renew_today()
        if isinstance(self.screen, PianoScreen) and self.screen.learning is not None:
            self.screen.heard(event)
            return
        if isinstance(self.screen, Level) and self.screen.hears:
            self.screen.heard(event)
            return
        if isinstance(self.screen, SummaryScreen) and event.kind is Kind.DOWN:
            self._command_after(self.controls.get(event.key))
            return
        if self._drive is not None:
            self._drive.arrived(event)

    # -- sessions

    @property
    def state(self) -> State:
        return self._drive.session.state if self._drive is not None else State.READY

    def _begin(self) -> None:
        """Open the set in hand and give its first prompt."""
        if self._drive is not None:
            self._drive.stop()
            self._drive = None
        source = self.source
        if source is None:
            self._nothing_to_listen_to()
            return
        try:
            session = self._open_session(self._set, Hand(source.name, source.stamp_origin, self.controls))
        except self.refusals as error:
            self.practice.no_piano(str(error))
            return
        self._before = tuple(self._history(self._set))
        self._wheel = Wheel(self._before)
        self._spelled = {}
        self.register = self._set.keys
        self.practice.begin(self.register)
        self._figures()
        self._drive = Drive(session, clock=self._clock, store=self._store, show=self._show)
        self._drive.begin()

    def _store(self, attempt: Attempt, replaces: bool) -> None:
        try:
            self._store_attempt(attempt, replaces)
        except self.refusals as error:
            self.notify(str(error), title="This attempt could not be kept", severity="error", markup=False, timeout=20)
        self._wheel.add(attempt)

    def _show(self, happened: Sequence[SessionEvent]) -> None:
        self.practice.show(happened)
        for event in happened:
            if self._hear_it is not None:
                self._hear_it.saw(event)
            if isinstance(event, Prompted):
                self._tell_prompt(event.task)
            elif isinstance(event, HearingAsked):
                self._sound_it()
            elif isinstance(event, Finished):
                self._finished(event)

    def _tell_prompt(self, task: Task) -> None:
        target = task.target
        if self._breaks.due(self._clock()):
            self.notify(
                f"{self._breaks.minutes:.0f} minutes at the piano: take five off, and let your hands hang loose.",
                title="A break",
                markup=False,
                timeout=20,
            )
        self.register = (min(self.register[0], *target.keys), max(self.register[1], *target.keys))
        if plain_root(target.root.name) != target.root.name:
            self._spelled[plain_root(target.root.name)] = target.root.name
        if isinstance(self.source, ScriptedSource):
            self.source.prompted(target)
        if task.hint == "sound" and self._sounding is not None:
            problem = self._sounding.hear(target, piano=self._piano)
            if problem:
                self.practice.name_prompt(target)
                self.practice.say(problem)

    def painted(self, happened: Sequence[SessionEvent]) -> None:
        """What was shown is on its way to the terminal."""
        if self._drive is not None and any(isinstance(event, Prompted) for event in happened):
            self._drive.prompt_painted()
            self._figures()

    def _figures(self) -> None:
        self.practice.figures(self._wheel.cells(self._now(), self._spelled))

    def _finished(self, event: Finished) -> None:
        text = summary_text(event.attempts, self._before, self._outcome(event.attempts))
        self.push_screen(SummaryScreen(self._set.title, text, self._then_in_time()))

    def command(self, command: Command) -> None:
        """A command of the session, from the computer."""
        if self._drive is not None:
            self._drive.command(command)

    def _command_after(self, command: Command | None) -> None:
        """A command from the piano while the figures are up."""
        if command is Command.FINISH:
            self.next_set()
        elif command is Command.AGAIN:
            self.same_again()

    def disturbed(self, reason: str) -> None:
        """The player's eyes were taken off the prompt: its times do not count."""
        if self._drive is not None:
            self._drive.disturbed(reason)

    def on_app_blur(self, event: events.AppBlur) -> None:
        """Another window is in front."""
        self.disturbed("another window")

    @property
    def how_to_go_on(self) -> str:
        """What ends a pause."""
        return "" if self._lost else "F6 goes on."

    @property
    def can_hear(self) -> bool:
        return self._sounding is not None

    @property
    def _piano(self) -> str:
        return self.source.name if self.source is not None else ""

    def hear(self) -> None:
        """Sound the voicing in hand: the session is told, since what was heard is a hint."""
        if self.state is State.PAUSED:
            self.practice.say("The drill waits. F6 goes on; then you can hear it.")
        else:
            self.command(Command.HEAR)

    def _sound_it(self) -> None:
        if self._hear_it is not None:
            self._say(self._hear_it.press(self._piano))

    def _say(self, words: str) -> None:
        if words:
            self.practice.say(words)

    # -- levels

    def _open(self, level: Level) -> None:
        """Put a level over the practice screen; the drill waits."""
        while len(self.screen_stack) > 1:
            self.pop_screen()
        if self.state in (State.PROMPTED, State.ANSWERED):
            self.command(Command.PAUSE)
            self._paused_by_level = True
        self.push_screen(level)

    def back(self) -> None:
        """Back to the practice screen; a drill that waited for this goes on."""
        while len(self.screen_stack) > 1:
            self.pop_screen()
        if self._paused_by_level and not self._lost:
            self.command(Command.RESUME)
        self._paused_by_level = False
        if self._today_waits:
            self._open_today()

    def action_help(self) -> None:
        """The help page, and from there the manual."""
        # Loaded here, so that the program opens sooner.
        from trainer.screens.guide import HelpScreen

        self._open(HelpScreen())

    def open_chapters(self, name: str = "") -> None:
        """The chapters of the manual to choose from, the named one under the bar."""
        from trainer.screens.guide import ChaptersScreen

        self._open(ChaptersScreen(tuple(self.manual()), name))

    def open_chapter(self, chapter: Chapter) -> None:
        """A chapter of the manual."""
        from trainer.screens.guide import ChapterScreen

        self._open(ChapterScreen(chapter))

    def action_listen(self) -> None:
        """Play, and read what it is."""
        # Loaded here, so that the program opens sooner.
        from trainer.screens.listening import ListenScreen

        self._open(ListenScreen())

    def action_progress(self) -> None:
        """Progress to look at."""
        if self._counted is None:
            self.tell("There is no record to look at here.")
            return
        from trainer.screens.looking_back import ProgressScreen
        from trainer.screens.tempo_views import no_passes

        try:
            level = ProgressScreen(self._counted(), self._now(), self._passes or no_passes)
        except self.refusals as error:
            self.tell(str(error))
            return
        self._open(level)

    def keep_row(self, row: str) -> None:
        """Keep a drill that was named, in a set of the player's own."""
        if self._keep is None:
            self.tell("There is no folder for sets of your own here.")
            return
        try:
            self.tell(self._keep(row))
        except self.refusals as error:
            self.tell(str(error))

    def action_teach(self) -> None:
        """Teach a tune by playing: choose its chart."""
        from trainer.screens.teaching import ChartsScreen

        if self._teaching is not None:
            self._open(ChartsScreen(self._teaching))

    def teach(self, name: str) -> None:
        """Teach a chart by playing."""
        from trainer.screens.teaching import TeachScreen

        if self._teaching is None:
            return
        try:
            self._open(TeachScreen(self._teaching.open(name), self._teaching))
        except self.refusals as error:
            self.tell(str(error))

    def keep_lesson(self, desk: Desk, lesson: Lesson) -> None:
        """Keep a lesson that was taught and go back to the drill."""
        try:
            self.tell(desk.keep(lesson))
        except self.refusals as error:
            self.tell(str(error))
            return
        self.back()

    def tell(self, words: str) -> None:
        """A line that goes by itself."""
        self.notify(words, markup=False)

    def action_make(self) -> None:
        """Make a set of one's own."""
        from trainer.screens.making import MakeScreen

        if self.making is not None:
            self._open(MakeScreen(self.making))

    def change_set(self, name: str) -> None:
        """Change a set of the player's own."""
        from trainer.screens.making import MakeScreen

        if self.making is None:
            return
        try:
            self._open(MakeScreen(self.making, name, self.making.open(name)))
        except self.refusals as error:
            self.tell(str(error))

    def keep_made(self, write: Callable[[], str]) -> None:
        """Write what was put together, which gives its set's name, and show it in the list."""
        try:
            name = write()
        except self.refusals as error:
            self.tell(str(error))
            return
        self.tell("Written; it is among your sets.")
        self.action_sets(name)

    def action_sets(self, current: str = "") -> None:
        """Choose a set; the named one under the bar, or the one in hand."""
        try:
            if self._relist is not None:
                self.drill_sets = tuple(self._relist()) or self.drill_sets
            described = tuple(map(self._describe, self.drill_sets))
        except self.refusals as error:
            self.tell(str(error))
            return
        self._open(SetsScreen(described, current or self._set.name))

    def action_in_time(self) -> None:
        """Choose a form to play in time."""
        if self.in_time is not None:
            self._open(FormsScreen(tuple(self.in_time.forms)))

    def play_form(self, name: str) -> None:
        """Play a form in time; "" the one that was asked for on the command line."""
        # Loaded here, so that the program opens sooner.
        from trainer.screens.in_time import FormScreen

        if self.in_time is None:
            return
        source = self.source
        try:
            hand = Hand(source.name, source.stamp_origin, self.controls) if source is not None else Hand("", "")
            session = self.in_time.open(name, hand)
        except self.refusals as error:
            self.tell(str(error))
            return
        self._open(FormScreen(session, self.in_time, clock=self._clock))

    def action_piano(self) -> None:
        """Choose the piano and its command keys."""
        self._open(PianoScreen())

    def choose_set(self, entry: SetEntry) -> None:
        """Practise a set; of a lesson, choose first in which way."""
        if entry.in_time:
            self.play_form(entry.name)
            return
        if entry.ways:
            self._open(SetsScreen(tuple(map(self._describe, entry.ways)), self._set.name, entry.title))
            return
        self._paused_by_level = self._today_waits = False
        self.back()
        self._set = entry
        if entry is not self._today_set:
            self.preferences = replace(self.preferences, last_set=entry.name)
            self._remember(self.preferences)
        self._begin()

    # -- today's practice

    def _open_today(self) -> None:
        if self._today is not None:
            self.push_screen(TodayScreen(self._today))

    def _renew_today(self) -> None:
        if isinstance(self.screen, TodayScreen) and self.screen.is_mounted:
            self.screen.renew()

    def begin_today(self) -> None:
        """The first prompt of today's practice."""
        if self._today_set is not None:
            self.choose_set(self._today_set)

    def leave_today(self) -> None:
        """Something else instead: the set practised last."""
        self.choose_set(self._set)

    def action_today(self) -> None:
        """Today's plan, to begin it or to look at it."""
        if self._today is not None:
            self._open(TodayScreen(self._today))

    def action_why(self) -> None:
        """Why this is asked."""
        if self._today is not None and (why := self._today.why() if self._set is self._today_set else ""):
            self.tell(why)

    def _then_in_time(self) -> TempoSlot | None:
        """What today's plan has to be played in time once its drills are over."""
        if self._today is None or self._set is not self._today_set or self.in_time is None:
            return None
        return self._today.plan().tempo

    def same_again(self) -> None:
        """The set in hand from its beginning."""
        self.choose_set(self._set)

    def next_set(self) -> None:
        """The set after the one in hand, round and round."""
        every = [way for entry in self.drill_sets for way in entry.ways or (entry,) if not way.in_time]
        row = next((row for row, entry in enumerate(every) if entry.name == self._set.name), -1)
        self.choose_set(every[(row + 1) % len(every)])

    def learn(self, command: Command, control: int | None) -> None:
        """Give a command a control of the piano, or none; it counts at once."""
        controls = {key: given for key, given in self.controls.items() if given is not command and key != control}
        if control is not None:
            controls[control] = command
        # The session in hand holds this very mapping, so what was learned counts at once.
        self.controls.clear()
        self.controls.update(controls)
        self.preferences = replace(self.preferences, controls={key: str(given) for key, given in controls.items()})
        self._remember(self.preferences)

    def remember_keyboard(self, wanted: bool) -> None:
        """Keep whether the small keyboard is drawn."""
        self.preferences = replace(self.preferences, keyboard_shown=wanted)
        self._remember(self.preferences)

    def write_as(self, style: str) -> None:
        """Take a style of writing chord symbols and keep it."""
        self.preferences = replace(self.preferences, chord_style=style)
        self._remember(self.preferences)

    def use_theme(self, name: str) -> None:
        """Take a theme and keep it."""
        self.theme = name
        self.preferences = replace(self.preferences, theme=name)
        self._remember(self.preferences)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette finds."""
        yield SystemCommand("Help", "how it goes, what the signs mean", self.action_help)
        yield SystemCommand("Manual", "chapters to read: the piano, voicings, figures", self.open_chapters)
        if self._today is not None:
            yield SystemCommand("Today's practice", "what is planned, and why", self.action_today)
            yield SystemCommand("Why this one", "the reason for the chord that is asked", self.action_why)
        yield SystemCommand("Choose a set", "practise something else", self.action_sets)
        if self.making is not None:
            yield SystemCommand("Make a set", "chords, voicings, roots and times, without a file", self.action_make)
        if self.in_time is not None:
            yield SystemCommand("Play a form in time", "with a count-in, at a tempo", self.action_in_time)
        yield SystemCommand("Play, and read", "what the keys you hold are called", self.action_listen)
        if self._teaching is not None:
            yield SystemCommand("Teach a tune", "a lesson written by playing it", self.action_teach)
        yield SystemCommand("Progress", "the twelve roots, curves, causes, what is learned", self.action_progress)
        yield SystemCommand("Choose the piano", "ports, and command keys on the piano", self.action_piano)
        if screen is self.practice:
            for command, words in _COMMAND_WORDS.items():
                yield SystemCommand(words[0], words[1], lambda command=command: self.command(command))
            yield SystemCommand("Small keyboard", "draw it, or put it away", self.practice.action_keyboard)
            if self.can_hear:
                yield SystemCommand("Hear it", "sound the voicing", self.hear)
        for style, example in _CHORD_STYLES.items():
            title = f"Chords written as {example}"
            yield SystemCommand(title, "from the next chord", lambda style=style: self.write_as(style))
        for name in THEME_NAMES:
            yield SystemCommand(f"Colours: {name}", "how the screen looks", lambda name=name: self.use_theme(name))
        yield SystemCommand("Leave the program", "what was played is kept", self.action_leave)

    # -- trouble

    def _trouble_in_the_loop(self, loop: asyncio.AbstractEventLoop, context: dict[str, object]) -> None:
        """A fault while an event of the piano was heard: it ends the program as any other, and is not printed."""
        error = context.get("exception")
        if isinstance(error, Exception):
            self._handle_exception(error)

    def _fatal_error(self) -> None:
        """In place of the library's report, which prints local variables to the screen: ours, into a file."""
        error = self._exception or sys.exc_info()[1]
        self.crashed = True
        if error is not None:
            write_crash_report(self.crash_report, error, self._now())
        self._close_messages_no_wait()


_CHORD_STYLES: Final = {"house": "Cm7, Cmaj7", "words": "Cmin7, Cmaj7", "signs": "C-7, C△7"}

_COMMAND_WORDS: Final = {
    Command.AGAIN: ("Again", "the chord before once more"),
    Command.SKIP: ("Skip", "go on to the next chord"),
    Command.SHOW: ("Show the answer", "all degrees and notes on the ladder"),
    Command.PAUSE: ("Pause", "the drill waits"),
    Command.RESUME: ("Go on", "end the pause"),
    Command.FINISH: ("End the set", "see the figures"),
}


def _settle_collector() -> None:
    gc.collect()
    gc.freeze()


def _controls(remembered: Mapping[int, str]) -> dict[int, Command]:
    """Controls as remembered; a command that is not known any more is dropped."""
    known = {str(command): command for command in Command}
    return {int(key): known[name] for key, name in remembered.items() if name in known}


def write_crash_report(path: Path | None, error: BaseException, now: datetime) -> None:
    """Append what went wrong and where in the code: no values, no message, no folder names, nothing personal."""
    if path is None:
        return
    lines = [f"{now.isoformat(timespec='seconds')} {type(error).__name__}"]
    for frame in traceback.extract_tb(error.__traceback__):
        lines.append(f"  {Path(frame.filename).name}:{frame.lineno} in {frame.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
    except OSError:
        # The report is a courtesy; the exit code says that there was trouble.
        return


def run(app: PracticeApp) -> int:
    """Run the application in the terminal and return its exit code; trouble is one line on standard error."""
    # Notes arrive on one thread and the terminal is written to by another: neither may wait long for the interpreter.
    sys.setswitchinterval(SWITCH_S)
    result: int | None = None
    try:
        result = app.run()
    except Exception as error:  # noqa: BLE001  whatever it is, a player gets one line and a report, no traceback
        app.crashed = True
        write_crash_report(app.crash_report, error, datetime.now(UTC))
    if app.crashed:
        where = f" A report is in {app.crash_report}." if app.crash_report is not None else ""
        print(f"trainer: the program had to stop because of a fault of its own.{where}", file=sys.stderr)
        return CRASHED
    return result if isinstance(result, int) else app.return_code or 0
