"""Hear it: what the next press sounds, and the line that says so.

A press sounds the voicing asked for; pressed again, the answer before: what was played, then what was asked for. While
the verdict on a wrong answer stands and no key was struck since, it is the other way round: first what was played and
what was asked, pressed again what was asked alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, Protocol

from trainer.capture import NoteEvent
from trainer.grading import Target
from trainer.session import Prompted, SessionEvent, TryGraded

ASKED: Final = "This is what is asked for."
BESIDE: Final = "This is what you played, then what is asked for."
BEFORE: Final = "The answer before: this is what you played, then what was asked for."


class Sounding(Protocol):
    """What sounds a voicing; handed in."""

    def hear(self, target: Target, played: Sequence[int] = (), piano: str = "") -> str:
        """Sound the keys played, where there are any, and then the voicing; "" or a line that says why nothing sounds.
        `piano` is the port listened to. Returns at once."""

    def player(self, event: NoteEvent) -> bool:
        """Take an event of the piano, which ends what sounds; True where it is only an echo of it, to be left out."""

    def tell_to(self, told: Callable[[str], None]) -> None:
        """Lines for the player go here, from any thread."""

    def close(self) -> None:
        """All notes off, for good."""


class HearIt:
    """Follows a session, and knows what the next press sounds."""

    def __init__(self, sounding: Sounding) -> None:
        self._sounding = sounding
        self._asked: Target | None = None
        self._answered: Target | None = None
        self._played: tuple[int, ...] = ()
        self._wrong = False
        self._presses = 0

    def saw(self, event: SessionEvent) -> None:
        """Something happened in the session."""
        if isinstance(event, Prompted):
            self._asked = event.task.target
            self._wrong = False
            self._presses = 0
        elif isinstance(event, TryGraded):
            self._answered, self._played = event.task.target, tuple(event.grade.held)
            self._wrong = not event.grade.right
            self._presses = 0

    def struck(self) -> None:
        """A key of the piano went down: the verdict is over."""
        self._wrong = False
        self._presses = 0

    def press(self, piano: str) -> str:
        """Sound what is due; a line for the player."""
        asked = self._asked
        if asked is None:
            return ""
        choices: list[tuple[Target, tuple[int, ...], str]] = [(asked, (), ASKED)]
        if self._answered is not None and self._played:
            other = (self._answered, self._played, BESIDE if self._answered is asked else BEFORE)
            choices.insert(0 if self._wrong else 1, other)
        target, played, line = choices[self._presses % len(choices)]
        self._presses += 1
        return self._sounding.hear(target, played, piano) or line
