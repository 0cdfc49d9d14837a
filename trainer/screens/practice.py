"""The practice screen: prompt, ladder, the answer before, the wheel of roots.

Nothing of the computer is touched while a drill runs. The layout is computed when the terminal changes its size and
never on a key; what a key changes is drawn by the widgets themselves, line by line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.screen import Screen
from textual.widget import Widget

from trainer.grading import Target
from trainer.pitch import TWELVE_ROOTS, mask_of, note_label, pretty
from trainer.progress import plain_root
from trainer.screens.answer import Answer, AnswerPanel
from trainer.screens.arranging import PANELS, arrange
from trainer.screens.foot import Foot, FootKey
from trainer.screens.ladder import Ladder, Rung
from trainer.screens.piano import Keyboard, register_of
from trainer.screens.prompt import Prompt
from trainer.screens.readings import (
    beside,
    heading_words,
    prompt_symbol,
    prompt_words,
    rungs_asked,
    rungs_graded,
    rungs_heard,
    times_words,
)
from trainer.screens.roots import RootCell, RootStrip
from trainer.screens.status import StatusLine
from trainer.session import (
    AnswerShown,
    AttemptEnded,
    Command,
    Finished,
    Heard,
    Paused,
    Prompted,
    Resumed,
    SessionEvent,
    State,
    Task,
    TryGraded,
    Voided,
)

if TYPE_CHECKING:
    from trainer.screens.app import PracticeApp

HOLD = "Hold the keys to read on; let go for the next."
LET_GO = "Let go and play it again."


class PracticeScreen(Screen[None]):
    """One drill at a time; the app hands it what happened, it draws."""

    app: PracticeApp

    DEFAULT_CSS = """
    PracticeScreen { layout: vertical; overflow: hidden hidden; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f1,question_mark", "app.help", "Help", key_display="F1"),
        Binding("f2", "do('again')", "Again", key_display="F2"),
        Binding("f3", "do('skip')", "Skip", key_display="F3"),
        Binding("f4", "do('show the answer')", "Show", key_display="F4"),
        Binding("f5", "hear", "Hear", key_display="F5"),
        Binding("f6", "pause", "Pause", key_display="F6"),
        Binding("f7", "keyboard", "Keys", key_display="F7", show=False),
        Binding("f8", "app.sets", "Sets", key_display="F8"),
        Binding("f9", "app.piano", "Piano", key_display="F9"),
        Binding("f10", "do('next set')", "End", key_display="F10"),
        Binding("ctrl+y", "app.why", "Why", show=False),
        Binding("f12", "app.listen", "Name", key_display="F12"),
        Binding("f11", "app.progress", "Progress", key_display="F11"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.status = StatusLine(id="status")
        self.prompt = Prompt(id="prompt")
        self.answer = AnswerPanel(id="answer")
        self.ladder = Ladder(id="ladder")
        self.keyboard = Keyboard(id="keyboard")
        self.roots = RootStrip(id="roots")
        self.roots.cells = tuple(RootCell(note.name, note.name) for note in TWELVE_ROOTS)
        self.foot = Foot(id="foot")
        self.keyboard_wanted = False
        self._sized: Size | None = None
        self.asked_task: Task | None = None
        self.asked: tuple[Rung, ...] = ()
        self._held = 0
        self._verdict_stays = False
        self._answer: Answer | None = None

    def compose(self) -> ComposeResult:
        yield self.status
        yield self.prompt
        yield self.answer
        yield self.ladder
        yield self.keyboard
        yield self.roots
        yield self.foot

    # -- places

    def on_mount(self) -> None:
        bindings = [binding for binding in self.BINDINGS if isinstance(binding, Binding) and binding.show]
        self.foot.show(
            [
                FootKey(binding.key_display or binding.key, binding.description, binding.action)
                for binding in bindings
                if self.check_action(binding.action, ())
            ]
        )
        self.take_places()

    def on_resize(self, event: events.Resize) -> None:
        self.take_places()
        if self._sized not in (None, self.app.size):  # the first size is the opening, not a change of it
            self.app.disturbed("resize")
        self._sized = self.app.size

    def take_places(self) -> None:
        """Give every panel its place for the size of now."""
        width, height = self.app.size
        places = arrange(width, height, self.keyboard_wanted)
        for name in PANELS:
            place(self.query_one(f"#{name}"), places.get(name))

    def action_keyboard(self) -> None:
        """Show or hide the small keyboard."""
        self.keyboard_wanted = not self.keyboard_wanted
        self.take_places()
        self.app.remember_keyboard(self.keyboard_wanted)

    # -- what happened

    def show(self, happened: Sequence[SessionEvent]) -> None:
        """Draw what the session said; one repaint for all of it."""
        last = len(happened) - 1
        for index, event in enumerate(happened):
            match event:
                case Prompted():
                    self._prompted(event)
                case Heard():
                    # Of the notes of a chord that arrive together, only the last picture is drawn.
                    later = happened[index + 1 :] if index < last else ()
                    self._heard(event, draw=not any(isinstance(each, (Heard, TryGraded, Prompted)) for each in later))
                case TryGraded():
                    self._graded(event)
                case AttemptEnded():
                    self._ended(event)
                case AnswerShown():
                    self.ladder.show(rungs_asked(event.task, all_shown=True))
                    self.asked = rungs_asked(event.task, all_shown=True)
                case Voided():
                    self._say(f"This one does not count: {event.reason}.")
                case Paused():
                    self._paused(event)
                case Resumed() | Finished():
                    pass
        if any(isinstance(event, (Prompted, TryGraded, Paused)) for event in happened):
            self.call_after_refresh(self.app.painted, happened)

    def _prompted(self, event: Prompted) -> None:
        self.asked_task = event.task
        target = event.task.target
        self.asked = rungs_asked(event.task)
        self._held = 0
        self._verdict_stays = False
        if event.task.hint == "sound" and self.app.can_hear:
            self.prompt.show(pretty(target.root.name), f"Play what you hear, on {note_label(target.root)}.")
        else:
            self.name_prompt(target)
        self.ladder.show(self.asked)
        self.status.progress(event.task.set_title, event.number, event.total)
        self.roots.mark(plain_root(target.root.name))
        self.keyboard.span(*register_of((self.keyboard.low + 1, self.keyboard.high - 1, *target.keys)))
        self.keyboard.show(0)
        self.answer.show(self._answer, "", before=True)

    def name_prompt(self, target: Target) -> None:
        """Name the chord and the voicing asked for, as where it cannot be heard."""
        self.prompt.show(prompt_symbol(target, self.app.preferences.chord_style), prompt_words(target))

    def _heard(self, event: Heard, *, draw: bool) -> None:
        task = self.asked_task
        if task is None:
            return
        new = event.held & ~self._held
        self._held = event.held
        # A verdict stays to be read while the hand lets go; the next key down starts a new picture.
        if self._verdict_stays and not new:
            return
        self._verdict_stays = False
        if not draw:
            return
        self.ladder.show(rungs_heard(self.asked, task.target, event.verdicts), beside(task.target, event.extra))
        self.keyboard.show(event.held, event.held & ~task.target.members)

    def _graded(self, event: TryGraded) -> None:
        target = event.task.target
        self._verdict_stays = True
        rungs = rungs_graded(target, event.grade)
        self.ladder.show(rungs, beside(target, event.grade.extra))
        held = mask_of(event.grade.held)
        self._held |= held
        self.keyboard.show(held, held & ~target.members)
        self._answer = Answer(
            event.grade.right,
            heading_words(event, self.app.preferences.chord_style),
            rungs,
            event.grade.sentence,
            times_words(event, self.app.stamp_origin),
        )
        self.answer.show(self._answer, LET_GO if event.left else HOLD)

    def _ended(self, event: AttemptEnded) -> None:
        if event.attempt.outcome in ("skipped", "unfinished"):
            target = event.task.target
            symbol = prompt_symbol(target, self.app.preferences.chord_style)
            heading = f"{symbol} {'skipped' if event.attempt.outcome == 'skipped' else 'left'}"
            rungs = rungs_asked(event.task, all_shown=True)
            self._answer = Answer(False, heading, rungs, f"It is {_notes(target)}.")
            self.answer.show(self._answer, "")

    def _paused(self, event: Paused) -> None:
        self.answer.show(self._answer, f"{event.reason} {self.app.how_to_go_on}".strip())

    def _say(self, words: str) -> None:
        self.answer.show(self._answer, words, before=self.answer.before)

    def say(self, words: str) -> None:
        """A line for the player where the way on is told."""
        self._say(words)

    def no_piano(self, found: str) -> None:
        """There is nothing to listen to: say what was found and what can be done."""
        self.asked_task = None
        self._answer = None
        roomy = self.app.size.height > 4  # below that there is no line for the answer, or one
        self.prompt.show("", "No piano is connected." if roomy else f"No piano is connected. {found}")
        self.ladder.show(())
        self.answer.show(None, found if roomy else "")

    def figures(self, cells: Sequence[RootCell]) -> None:
        """The figures of the wheel of roots."""
        self.roots.show(cells)

    def begin(self, keys: tuple[int, int]) -> None:
        """A session begins: nothing was answered yet, and the small keyboard is as wide as the set's register."""
        self._answer = None
        self.keyboard.span(*register_of(keys))

    # -- what the player asks for at the computer

    def action_do(self, command: str) -> None:
        """A command of the session."""
        self.app.command(Command(command))

    def action_pause(self) -> None:
        """Pause, or go on."""
        paused = self.app.state is State.PAUSED
        self.app.command(Command.RESUME if paused else Command.PAUSE)

    def action_hear(self) -> None:
        """Sound the voicing, where sound was handed in."""
        self.app.hear()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """What cannot be had is not offered at the foot."""
        return self.app.can_hear if action == "hear" else True

    def on_key(self, event: events.Key) -> None:
        """Printable keys are the piano's where the computer's keyboard is played."""
        if event.character is not None and event.is_printable and self.app.pressed(event.character):
            event.stop()


def place(widget: Widget, region: Region | None) -> None:
    """Put a widget where it belongs, or away."""
    widget.display = region is not None
    if region is not None:
        styles = widget.styles
        styles.offset = (region.x, region.y)
        styles.width = region.width
        styles.height = region.height


def _notes(target: Target) -> str:
    return " ".join(note_label(note) for note in target.notes)
