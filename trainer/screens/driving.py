"""Between the session and the glass: events in, one repaint out.

Everything here runs on the application's own event loop. An event of the piano is given to the session the moment it
arrives, so the verdict never waits for a paint; what is to be painted is gathered for `GATHER_S`, because a repaint for
each note of a chord would make the next note queue behind it. An attempt is stored before anything of its verdict is
shown. Deadlines are served by one timer set for exactly the session's next one.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Final

from trainer.capture import NoteEvent
from trainer.progress import Attempt
from trainer.session import AttemptEnded, Command, Prompted, Session, SessionEvent, TryGraded, Voided

GATHER_S: Final = 0.003


class Drive:
    """Runs one session for a screen.

    `clock` gives monotonic nanoseconds, the same clock that stamps the events. `store` is called for every attempt,
    decided or void; `show` with the session events of one repaint, in order. All calls on one loop's thread.
    """

    def __init__(
        self,
        session: Session,
        *,
        clock: Callable[[], int],
        store: Callable[[Attempt, bool], None],
        show: Callable[[Sequence[SessionEvent]], None],
    ) -> None:
        self.session = session
        self._clock = clock
        self._store = store
        self._show = show
        self._gathered: list[SessionEvent] = []
        self._paint: asyncio.TimerHandle | None = None
        self._deadline: asyncio.TimerHandle | None = None
        self._deadline_ns: int | None = None

    def begin(self) -> None:
        """Give the first prompt."""
        self._take(self.session.start(self._clock()))
        self.paint()

    def arrived(self, event: NoteEvent) -> None:
        """An event of the piano."""
        self._take(self.session.hear(event))

    def command(self, command: Command) -> None:
        """The player asks for something at the computer."""
        self._take(self.session.command(command, self._clock()))
        self.paint()

    def prompt_painted(self) -> None:
        """The prompt's bytes are on their way to the terminal: response times count from here."""
        self.session.prompt_shown(self._clock())

    def disturbed(self, reason: str) -> None:
        """The player's eyes were taken off the prompt."""
        self.session.disturbed(reason)

    def paint(self) -> None:
        """Show now what has been gathered."""
        if self._paint is not None:
            self._paint.cancel()
            self._paint = None
        if self._gathered:
            gathered, self._gathered = self._gathered, []
            self._show(gathered)

    def leave(self) -> None:
        """End the session without showing it: an attempt that was begun is stored as unfinished."""
        for event in self.session.command(Command.FINISH, self._clock()):
            if isinstance(event, AttemptEnded):
                self._store(event.attempt, event.replaces)
        self.stop()

    def stop(self) -> None:
        """Let go of the timers; nothing is shown any more."""
        for handle in (self._paint, self._deadline):
            if handle is not None:
                handle.cancel()
        self._paint = self._deadline = None
        self._deadline_ns = None
        self._gathered = []

    def _take(self, happened: list[SessionEvent]) -> None:
        decided = False
        for event in happened:
            if isinstance(event, (AttemptEnded, Voided)):
                self._store(event.attempt, event.replaces)
            decided = decided or isinstance(event, (TryGraded, Prompted))
        self._gathered += happened
        if decided:
            # Nothing more of this chord will come: there is no note to wait for.
            self.paint()
        elif self._gathered and self._paint is None:
            self._paint = asyncio.get_running_loop().call_later(GATHER_S, self._gather_over)
        self._set_deadline()

    def _gather_over(self) -> None:
        self._paint = None
        self.paint()

    def _set_deadline(self) -> None:
        due_ns = self.session.deadline_ns
        if due_ns == self._deadline_ns:
            return
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
        self._deadline_ns = due_ns
        if due_ns is not None:
            delay = max(0.0, (due_ns - self._clock()) / 1e9)
            self._deadline = asyncio.get_running_loop().call_later(delay, self._deadline_due)

    def _deadline_due(self) -> None:
        self._deadline = None
        self._deadline_ns = None
        self._take(self.session.tick(self._clock()))
