"""Practice as plain lines: for screen readers, simple terminals and logs. One line an event, nothing is ever redrawn.

What the player may ask for is typed as a word and Enter; the piano's own command keys work as on the screen.
"""

from __future__ import annotations

import argparse
import re
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from queue import SimpleQueue
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, Refusal
from trainer.commands.store import Store
from trainer.session import Command

if TYPE_CHECKING:
    from trainer.progress import Attempt
    from trainer.session import SessionEvent, Task

WORDS: Final[Mapping[str, Command]] = {
    "again": Command.AGAIN,
    "skip": Command.SKIP,
    "show": Command.SHOW,
    "hear": Command.HEAR,
    "pause": Command.PAUSE,
    "go on": Command.RESUME,
    "end": Command.FINISH,
}
"""What may be typed while a drill runs; the first letters suffice where they are no other word's."""

HOW: Final = f"Type {', '.join(list(WORDS)[:-1])} or {list(WORDS)[-1]}, and Enter."

_SPOKEN: Final = {
    "♭♭": " double flat ", "𝄫": " double flat ", "𝄪": " double sharp ", "♭": " flat ", "♯": " sharp ",
    "ø": " half-diminished ", "°": " diminished ", "△": " major ", "Δ": " major ", "–": "-", "·": ",", "…": "...",
}  # fmt: skip
_LOOSE: Final = re.compile(r" +([,.;:)])")


def spoken(text: str) -> str:
    """A text in words that a voice reads rightly.

    >>> spoken("E♭m7: ♭3 5 (♭9), B♭.")
    'E flat m7: flat 3 5 (flat 9), B flat.'
    """
    for sign, words in _SPOKEN.items():
        text = text.replace(sign, words)
    return _LOOSE.sub(r"\1", " ".join(text.split())).replace("( ", "(")


def meant(typed: str) -> Command | None:
    """The wish of a typed line.

    >>> meant("sk"), meant("AGAIN "), meant("s"), meant("g")
    (<Command.SKIP: 'skip'>, <Command.AGAIN: 'again'>, None, <Command.RESUME: 'go on'>)
    """
    wanted = " ".join(typed.casefold().split())
    fits = {command for word, command in WORDS.items() if wanted and word.startswith(wanted)}
    return WORDS.get(wanted) or (fits.pop() if len(fits) == 1 else None)


class Typed:
    """The lines of standard input, from a thread of its own: to whoever waits for one, or as wishes to a session."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self._waiting: SimpleQueue[str | None] = SimpleQueue()
        self._to: Callable[[Command], None] | None = None
        self._thread = threading.Thread(target=self._read, daemon=True, name="typed lines")
        self._thread.start()

    def _read(self) -> None:
        for line in self._lines:
            to = self._to
            if to is None:
                self._waiting.put(line)
            elif (command := meant(line)) is not None:
                to(command)
            elif line.strip():
                print(HOW, flush=True)
        self._waiting.put(None)

    def line(self) -> str | None:
        """The next line; None when there will be no more."""
        return self._waiting.get()

    def to(self, put: Callable[[Command], None] | None) -> None:
        """Lines become wishes, given to `put`; None: they are kept for `line` again."""
        self._to = put


def told(event: SessionEvent) -> Sequence[str]:
    """The lines of an event of a session, for people."""
    from trainer.session import AnswerShown, AttemptEnded, Finished, Paused, Prompted, Resumed, TryGraded, Voided

    match event:
        case Prompted():
            return [f"{event.number} of {event.total}. {asked(event.task)}"]
        case TryGraded():
            time = "" if event.think_ms is None else f" {(event.think_ms + event.spread_ms) / 1000:.2f} seconds."
            again = " Once more." if event.left else ""
            verdict = "" if event.grade.right else "Wrong. "  # a right one's sentence says so itself
            return [f"{verdict}{event.grade.sentence}{time}{again}"]
        case AnswerShown():
            return [f"It is {answer(event.task)}."]
        case AttemptEnded() if event.attempt.outcome == "skipped":
            return [f"Skipped. It is {answer(event.task)}."]
        case Voided():
            return [f"This one does not count: {event.reason}."]
        case Paused():
            return [event.reason]
        case Resumed():
            return ["Going on."]
        case Finished():
            return summary(event.attempts)
    return []


def asked(task: Task) -> str:
    """A prompt in one line: the chord, the voicing, and what is shown of it."""
    from trainer.grading import pretty_symbol

    target = task.target
    line = f"{pretty_symbol(target.chord.symbol)}, {target.voicing}"
    if task.hint == "notes":
        return f"{line}: {answer(task)}."
    if task.hint == "degrees":
        return f"{line}: {degrees(task)}."
    return f"{line}."


def degrees(task: Task) -> str:
    from trainer.pitch import pretty

    return " ".join(pretty(degree.name) for degree in task.target.degrees)


def answer(task: Task) -> str:
    """The degrees and notes of the answer, from the bottom up."""
    from trainer.pitch import note_label, pretty

    target = task.target
    pairs = zip(target.degrees, target.notes, strict=True)
    return ", ".join(f"{pretty(degree.name)} {note_label(note)}" for degree, note in pairs)


def summary(attempts: Sequence[Attempt]) -> list[str]:
    """What became of a session: how many were right, and the roots to look at."""
    from trainer.estimates import median
    from trainer.pitch import pretty
    from trainer.progress import by_root, response_times_ms

    decided = [attempt for attempt in attempts if attempt.outcome in ("right", "wrong")]
    right = sum(attempt.right_first_try for attempt in decided)
    lines = [f"Done. {right} of {len(decided)} right at the first try."]
    middle = median(response_times_ms(decided))
    if middle is not None:
        lines.append(f"Half of the right ones came within {middle / 1000:.1f} seconds.")
    weak = [pretty(row.root) for row in by_root(decided) if row.attempts and row.right < row.attempts]
    if weak:
        lines.append(f"Not yet right at the first try: {', '.join(weak)}.")
    return lines


def choose(typed: Typed, titles: Sequence[str]) -> int | None:
    """The position of the title that the player types the number of; None: the player ends."""
    for number, title in enumerate(titles, 1):
        print(spoken(f"{number}. {title}"), flush=True)
    while True:
        print(f"Type a number from 1 to {len(titles)} and Enter, or end.", flush=True)
        line = typed.line()
        if line is None or line.strip().casefold() in ("end", "e"):
            return None
        text = line.strip()
        if text.isdecimal() and 1 <= int(text) <= len(titles):
            return int(text) - 1


def practise_plainly(options: argparse.Namespace) -> int:
    """A whole practice session in lines: sets are chosen, drilled and summed up until the player ends it."""
    from pathlib import Path
    from random import Random

    from trainer.commands.hearing import Hearing, Speaker
    from trainer.commands.practising import session_of, without_screen
    from trainer.commands.sets import found_set, listed_names, load_set
    from trainer.inputs.running import Live
    from trainer.inputs.source import InputError
    from trainer.screens.hearing import HearIt
    from trainer.session import HearingAsked, Prompted

    store = Store(options.records, to_practise=True)
    speaker = Speaker(store.settings, told=lambda line: print(spoken(line), flush=True))
    hearing = Hearing(speaker)
    typed = Typed(iter(()) if sys.stdin is None else iter(sys.stdin))
    chance = Random(options.seed)
    try:
        source = without_screen(options, store.settings.channel - 1 if store.settings.channel else None, speaker)
        print(spoken(f"Listening to {source.name}. {HOW}"), flush=True)
        names, titles = zip(*listed_names(store.places), strict=True)
        wanted = found_set(options.set) if options.set else None
        while True:
            if wanted is None:
                chosen = choose(typed, titles)
                if chosen is None:
                    return DONE
                wanted = Path(names[chosen])
            drill_set = load_set(str(wanted))
            print(spoken(f"{drill_set.title}. {drill_set.about}"), flush=True)
            controls = store.preferences().controls
            known = {str(command): command for command in Command}
            given = {key: known[name] for key, name in controls.items() if name in known}
            session = session_of(chance, drill_set, store, source.name, source.stamp_origin, given)
            typed.to(source.wish if isinstance(source, Live) else None)
            hear_it = HearIt(hearing)
            for event in source.run(session):
                store.keep(event)
                hear_it.saw(event)
                for line in told(event):
                    print(spoken(line), flush=True)
                if isinstance(event, HearingAsked):
                    print(spoken(hear_it.press(source.name)), flush=True)
                elif isinstance(event, Prompted) and event.task.hint == "sound":
                    if problem := hearing.hear(event.task.target, piano=source.name):
                        print(spoken(problem), flush=True)
            typed.to(None)
            following = choose(typed, ("Once more", "Another set"))
            if following is None:
                return DONE
            wanted = wanted if following == 0 else None
    except InputError as error:
        raise Refusal(str(error)) from None
    finally:
        speaker.close()
        store.close()
