"""Lessons written by playing: from a MIDI port or a take without the screen, and what the screen needs for it."""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Final

from trainer.commands.charts import CHART_HELP, found_chart, shown
from trainer.commands.practising import is_take
from trainer.commands.refusals import DONE, NO, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.sets import CHARTS

if TYPE_CHECKING:
    from trainer.capture import NoteEvent
    from trainer.drills import Fault, Lesson
    from trainer.drills.teaching import Teaching, TeachingEvent, Wish
    from trainer.storage.places import Places

HOW: Final = "Play a voicing and let it go. Or type: back, same, left out, again, done."


def teach(options: argparse.Namespace) -> int:
    """Step through a chart, take a voicing for each chord, and write the lesson."""
    from trainer.drills.teaching import Teaching
    from trainer.inputs.source import InputError

    path = Path(options.output)
    if path.suffix != ".toml":
        raise Refusal(
            f"{path.name!r} ends in no kind of file for a lesson; name it as in my-tune.lesson.toml", USED_WRONGLY
        )
    if path.exists() and not options.replace:
        raise Refusal(f"{str(path)!r} is there already; name another file, or add --replace", USED_WRONGLY)
    chart = found_chart(options.chart, options.key)
    try:
        teaching = Teaching(chart, title=options.title or chart.title or Path(options.chart).stem)
        for event in _taught(teaching, options.input):
            if not options.json:
                for line in told(event):
                    print(shown(line), flush=True)
    except (InputError, ValueError) as error:
        raise Refusal(str(error)) from None
    if not teaching.voiced:
        print("trainer: nothing was taught, so no lesson was written.", file=sys.stderr)
        return NO
    faults = written(teaching.lesson(), path)
    count, total = len(teaching.voiced), len(teaching.chords)
    rest = "" if count == total else " The other chords follow the usual rule."
    print(f"{path}: {count} of {total} chords taught.{rest}", file=sys.stderr)
    for fault in faults:
        print(fault, file=sys.stderr)
    if options.json:
        from trainer.commands.streams import json_line
        from trainer.drills.lesson_telling import lesson_values

        print(json_line(lesson_values(teaching.lesson())))
    return NO if faults else DONE


def written(lesson: Lesson, path: Path) -> tuple[Fault, ...]:
    """Write a lesson whole, and tell what is wrong with it all the same (a voicing that fits only in its own key)."""
    from trainer.drills import read_lesson, write_lesson
    from trainer.storage.files import StorageError, write_text_atomically

    text = write_lesson(lesson)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text_atomically(path, text)
    except StorageError as error:
        raise Refusal(str(error)) from None
    except OSError as error:
        raise Refusal(f"{path} cannot be written; {error.strerror}") from None
    return read_lesson(text, str(path))[1]


def _taught(teaching: Teaching, wanted: str | None) -> Iterator[TeachingEvent]:
    """Everything that happens while a take or a port is played, to the end of either."""
    from trainer.drills.teaching import Finished, Wish
    from trainer.inputs.files import read_events

    if wanted is not None and is_take(wanted):
        yield from teaching.start()
        for event in read_events(wanted):
            yield from teaching.hear(event)
        yield from teaching.command(Wish.DONE)
        return
    for came in _live(wanted):
        if came is None:
            happened = teaching.start()
        else:
            happened = teaching.command(came) if isinstance(came, Wish) else teaching.hear(came)
        yield from happened
        if any(isinstance(event, Finished) for event in happened):
            return


def _live(wanted: str | None) -> Iterator[NoteEvent | Wish | None]:
    """None once the port is listened to, and then what comes from it and from standard input, as it comes."""
    from trainer.drills.teaching import wish_of
    from trainer.inputs.ports import PortInput, list_ports

    listing = list_ports()
    if not wanted and not listing.backend:
        raise Refusal(listing.problem or "there is no MIDI on this machine")
    heard: SimpleQueue[NoteEvent | Wish] = SimpleQueue()

    def typed() -> None:
        try:
            for line in sys.stdin:
                wish = wish_of(line)
                if wish is not None:
                    heard.put(wish)
                elif line.strip():
                    print(HOW, flush=True)
        except (OSError, ValueError):
            return  # nothing can be typed there, or what was typed is no text: the piano says enough

    source = PortInput([wanted] if wanted else [])
    source.start(heard.put)
    try:
        if sys.stdin is not None:
            threading.Thread(target=typed, daemon=True, name="typed lines").start()
        print(f"Listening to {source.name}. {HOW}", flush=True)
        yield None
        while True:
            yield heard.get()
    finally:
        source.stop()


def told(event: TeachingEvent) -> Sequence[str]:
    """The lines of an event of teaching, for people."""
    from trainer.drills.teaching import Asked, Complete, Finished, NotTaken, Taken
    from trainer.grading import pretty_symbol

    match event:
        case Asked():
            return [
                f"{event.number} of {event.total}, {event.chord.label}: {pretty_symbol(event.chord.one.chord.symbol)}"
            ]
        case Taken():
            return [f"  {event.voiced.sentence}"]
        case NotTaken():
            return [f"  {event.words}"]
        case Complete():
            return ["Every chord has its voicing. Play the last one once more, or type done."]
        case Finished():
            return ["Done."]
        case _:
            return []


# -- for the screen


class TeachingDesk:
    """Charts to teach, and where what was taught is kept: in the player's own folder, under a name not yet taken."""

    def __init__(self, places: Places) -> None:
        self._places = places

    def charts(self) -> list[tuple[str, str]]:
        """Names and titles: the player's own charts, those that shipped, and the progressions and forms."""
        from trainer.charts import FORMS

        found = []
        for folder in (self._places.own_drills, self._places.shipped_drills):
            if folder is not None and folder.is_dir():
                paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in CHARTS)
                found += [(str(path), path.stem) for path in paths]
        return found + [(row.name, row.name) for row in FORMS]

    def open(self, name: str) -> Teaching:
        """The teaching of a chart. Raises `Refusal`."""
        from trainer.drills.teaching import Teaching

        chart = found_chart(name)
        try:
            return Teaching(chart, title=chart.title or Path(name).stem)
        except ValueError as error:
            raise Refusal(str(error)) from None

    def keep(self, lesson: Lesson) -> str:
        """Write a lesson into the player's own folder; one line for the player. Raises `Refusal`."""
        from trainer.storage.places import LESSON_ENDING

        words = "".join(sign if sign.isalnum() else " " for sign in lesson.title.casefold()).split()
        stem = "-".join(words)[:60].strip("-") or "lesson"
        names = (f"{stem}{'' if number == 1 else f'-{number}'}{LESSON_ENDING}" for number in range(1, 10_000))
        path = next(self._places.own_drills / name for name in names if not (self._places.own_drills / name).exists())
        faults = written(lesson, path)
        return f"Kept in {path}." + (f" {faults[0].message}" if faults else "")


def _teach_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chart", metavar="CHART", help=CHART_HELP)
    parser.add_argument("--input", metavar="PORT|FILE.mid", help="a MIDI port by part of its name, or a recorded take")
    parser.add_argument("--output", metavar="FILE.lesson.toml", required=True, help="the lesson to write")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--key", metavar="KEY", help="the key to teach it in, as in Bb or Cm")
    parser.add_argument("--title", metavar="TEXT", default="", help="the lesson's title; else the chart's")
    parser.add_argument("--json", action="store_true", help="at the end, the lesson as one JSON object")


COMMANDS: Final = (
    CommandRow(
        "teach",
        teach,
        "write a lesson by playing a voicing for each chord of a chart",
        "  trainer teach my-tune.chart --output my-tune.lesson.toml\n"
        "  trainer teach 'jazz blues' --key Bb --input 'Digital Piano' --output blues.lesson.toml\n"
        "  trainer teach my-tune.chart --input take.mid --output my-tune.lesson.toml --replace",
        _teach_arguments,
    ),
)
