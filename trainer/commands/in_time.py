"""Forms in time: played with a count-in on the screen or without it, a recorded take graded, a port measured."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.hearing import BASS_KINDS, CLICK_KINDS, Speaker
from trainer.commands.refusals import DONE, NO, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow, whole_number
from trainer.commands.sets import load_lesson
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.capture import NoteEvent
    from trainer.commands.store import Store
    from trainer.in_time import ClickBegan, Course, FormEvent, FormSession, PassBegan, Piece
    from trainer.inputs.files import TempoChange
    from trainer.screens.app import Hand, InTime
    from trainer.timing import Aligned, Grid, PassRecord

START_BPM: Final = 80
INPUT: Final = "PORT|FILE.mid|computer|script"


# -- what is played


def course_of(options: argparse.Namespace, store: Store | None) -> Course:
    """The course that the command line asks for; each key begins a step under its highest clean tempo of the record."""
    from trainer.in_time import Course, piece_of
    from trainer.leading import LeadingError
    from trainer.timing import STRAIGHT, SWUNG

    lesson = load_lesson(options.form, options.key)
    lessons = lesson.in_twelve_keys() if options.all_keys else (lesson,)
    swing = STRAIGHT if options.straight else SWUNG
    try:
        pieces = [
            piece_of(each, options.tempo or START_BPM, section=options.section or "", swing=swing) for each in lessons
        ]
    except (ValueError, LeadingError) as error:
        raise Refusal(f"{lesson.title}: {error}", USED_WRONGLY) from None
    if options.tempo is None and store is not None:
        pieces = [replace(piece, tempo_bpm=_tempo_from(store, piece)) for piece in pieces]
    empty = next((piece for piece in pieces if not piece.slots), None)
    if empty is not None:
        raise Refusal(f"{empty.title} has nothing to be played; its chart has no chord", USED_WRONGLY)
    endless = len(pieces) == 1 and not options.headless
    return Course(tuple(pieces), endless, passes_each=options.passes, count_in_bars=options.count_in)


def _tempo_from(store: Store, piece: Piece) -> float:
    """Where the ladder goes on: the highest clean tempo of the piece in its key, else the usual start."""
    from trainer.storage.files import StorageError
    from trainer.timing import highest_clean

    try:
        passes = store.records.passes(title=piece.title, key=piece.key, with_events=False)
        found = highest_clean(one for one in passes if one.section == piece.section)
    except StorageError as error:
        raise Refusal(str(error)) from None
    best = found.get(piece.key)
    return piece.tempo_bpm if best is None or best.tempo_bpm is None else best.tempo_bpm


def form_session(course: Course, store: Store, port: str, stamp_origin: str, controls: Any) -> FormSession:
    """A session of a course with what the record knows of the port."""
    from uuid import uuid4

    from trainer.in_time import FormSession
    from trainer.session import Particulars
    from trainer.storage.files import StorageError, utc_now

    try:
        known = store.records.calibration(port) if port else None
    except StorageError as error:
        raise Refusal(str(error)) from None
    particulars = Particulars(uuid4().hex, utc_now, port, stamp_origin, controls)
    return FormSession(course, particulars, calibration_ms=known.offset_ms if known is not None else 0.0)


# -- accompanied


class Accompanist:
    """Sounds click and bass of each pass on a MIDI port out; without one it says so, and the beat is only seen."""

    def __init__(self, options: argparse.Namespace, store: Store, speaker: Speaker) -> None:
        self._speaker = speaker
        self._velocity = store.settings.sound_velocity
        self._click = getattr(options, "click", None) or "beats"
        self._bass = getattr(options, "bass", None) or "walking"
        self._silent = getattr(options, "silent", False)

    def begin(self, began: PassBegan, count_in_bars: int, piano: str) -> str:
        """Sound a pass from its count-in on; a line for the player where nothing sounds."""
        from trainer.accompaniment import cues
        from trainer.in_time import accompaniment_of
        from trainer.midi.names import PortError

        if self._silent:
            return "Without sound: follow the beat on the screen."
        try:
            sound = self._speaker.open(piano)
        except PortError as error:
            return f"Nothing sounds: follow the beat on the screen. {error}"
        notes = accompaniment_of(began.piece, count_in_bars, self._click, self._bass, self._velocity)
        sound.play(cues(notes, began.grid))
        return ""

    def click_along(self, began: ClickBegan, piano: str) -> str:
        """Sound the click that measures a port."""
        from trainer.accompaniment import click, cues, even_bars
        from trainer.charts import Meter
        from trainer.midi.names import PortError

        try:
            sound = self._speaker.open(piano)
        except PortError as error:
            return f"Nothing sounds: play with the beats as they are printed. {error}"
        bars = even_bars(Meter(began.count_in_beats, 4), began.beats // began.count_in_beats + 1, -began.count_in_beats)
        sound.play(cues(click(bars, "beats", self._velocity), began.grid))
        return ""

    def silence(self) -> None:
        """All notes off at once; nothing more of the pass sounds."""
        self._speaker.stop()

    def close(self) -> None:
        """Silence, and let go of the port."""
        self._speaker.close()


# -- played


def form(options: argparse.Namespace) -> int:
    """Play a form in time, on the screen, or in lines with ``--headless``."""
    from trainer.commands.store import Store

    store = Store(options.records, to_practise=True)
    try:
        course = course_of(options, store)
        if not options.headless:
            return _on_screen(options, store, course)
        return _in_lines(options, store, course)
    finally:
        store.close()


def _on_screen(options: argparse.Namespace, store: Store, course: Course) -> int:
    from trainer.commands.practising import need_terminal, practice_app

    need_terminal()
    from trainer.screens.app import run

    return run(practice_app(options, store, course))


def in_time_of(options: argparse.Namespace, store: Store, course: Course | None, speaker: Speaker) -> InTime:
    """What the screen needs for forms at a tempo: every progression and form of the table, and the course asked for."""
    from trainer.charts import FORMS
    from trainer.screens.app import InTime, SetEntry

    accompanist = Accompanist(options, store, speaker)
    played: list[tuple[Course, str]] = []

    def opened(name: str, hand: Hand) -> FormSession:
        chosen = course
        if name or chosen is None:
            asked = argparse.Namespace(
                form=name, key=None, all_keys=True, section=None, tempo=None, straight=False, headless=False
            )
            asked.passes, asked.count_in = 3, 2
            chosen = course_of(asked, store)
        played[:] = [(chosen, hand.port)]
        return form_session(chosen, store, hand.port, hand.stamp_origin, hand.controls)

    def accompany(began: PassBegan) -> str:
        chosen, port = played[0]
        return accompanist.begin(began, chosen.count_in_bars, port)

    return InTime(
        forms=[SetEntry(row.name, row.name, "in twelve keys") for row in FORMS],
        open=opened,
        store=store.append_pass,
        accompany=accompany,
        silence=accompanist.silence,
        close=accompanist.close,
        at_once=course is not None,
    )


def _in_lines(options: argparse.Namespace, store: Store, course: Course) -> int:
    from trainer.commands.practising import without_screen
    from trainer.in_time import BeatCame, PassBegan, SlotsAnswered
    from trainer.inputs.running import Live, Take
    from trainer.inputs.source import InputError

    speaker = Speaker(store.settings, options.output_port or "")
    accompanist = Accompanist(options, store, speaker)
    try:
        source = without_screen(options, store.settings.channel - 1 if store.settings.channel else None, speaker)
        if isinstance(source, Take):
            raise Refusal("a recorded take is graded by: trainer grade TAKE.mid --set LESSON", USED_WRONGLY)
        session = form_session(course, store, source.name, source.stamp_origin, {})
        live = isinstance(source, Live)
        for event in source.run_form(session):
            if isinstance(event, PassBegan) and live:
                if told := accompanist.begin(event, course.count_in_bars, source.name):
                    print(f"trainer: {told}", file=sys.stderr)
            elif not isinstance(event, BeatCame | SlotsAnswered):
                accompanist.silence()
            _show(event, store, options.json)
    except InputError as error:
        raise Refusal(str(error)) from None
    finally:
        accompanist.close()
    return DONE


def _show(event: FormEvent, store: Store, as_json: bool) -> None:
    from trainer.in_time import CourseFinished, CoursePaused, PassBegan, PassEnded

    match event:
        case PassBegan() if not as_json:
            piece = event.piece
            print(f"{event.number}. {piece.title} in {piece.key}, {piece.tempo_bpm:g} a minute", flush=True)
        case PassEnded():
            store.append_pass(event.record)
            if as_json:
                print(json_line(pass_object(event.record)), flush=True)
            else:
                for line in pass_lines(event.record):
                    print(f"  {line}", flush=True)
                print(f"  {event.why}", flush=True)
        case CoursePaused() if not as_json:
            print(event.reason, flush=True)
        case CourseFinished() if not as_json:
            clean = sum(record.clean for record in event.records)
            print(f"Done: {clean} of {len(event.records)} passes clean.", flush=True)


def pass_object(record: PassRecord) -> dict[str, Any]:
    """A pass as plain values for machines, without its raw events."""
    return {name: value for name, value in asdict(record).items() if name != "events"}


def pass_lines(record: PassRecord) -> Iterator[str]:
    """A pass as lines for people: each slot that was not right, and the time."""
    from trainer.grading import pretty_symbol

    asked = [slot for slot in record.slots if slot.verdict != "left out"]
    right = sum(slot.verdict == "right" for slot in asked)
    yield f"{right} of {len(asked)} right{', clean' if record.clean else ''}"
    for slot in asked:
        if slot.verdict == "right":
            continue
        beat = "" if slot.beat == "1" else f", beat {slot.beat}"
        late = "" if slot.error_ms is None else f" ({slot.error_ms:+.0f} ms)"
        said = f": {slot.sentence}" if slot.sentence else ""
        yield f"bar {slot.bar}{beat}, {pretty_symbol(slot.chord)} {slot.part}, {slot.verdict}{late}{said}"
    if record.offset_ms is not None:
        scatter = "" if record.scatter_ms is None else f", scattered by {record.scatter_ms:.0f} ms"
        taken = f", {record.calibration_ms:.0f} ms of the port taken off" if record.calibration_ms else ""
        yield f"on average {record.offset_ms:+.0f} ms from the beat{scatter}{taken}"


# -- graded from a file


def grade(options: argparse.Namespace) -> int:
    """Grade a recorded take of a form: by its own tempo map, or at a tempo that is told."""
    from trainer.in_time import piece_of
    from trainer.inputs.files import read_events, read_tempi
    from trainer.inputs.source import InputError
    from trainer.leading import LeadingError
    from trainer.timing import STRAIGHT, SWUNG, Circumstances, record_of

    lesson = load_lesson(options.set, options.key)
    swing = STRAIGHT if options.straight else SWUNG
    try:
        piece = piece_of(lesson, options.tempo or START_BPM, section=options.section or "", swing=swing)
        events = read_events(options.take)
        tempi = read_tempi(options.take)
    except (ValueError, LeadingError) as error:
        raise Refusal(f"{lesson.title}: {error}", USED_WRONGLY) from None
    except InputError as error:
        raise Refusal(str(error)) from None
    if not piece.slots:
        raise Refusal(f"{lesson.title} has nothing to be played; its chart has no chord", USED_WRONGLY)
    if not events:
        raise Refusal(f"{options.take} has no notes (channel 10 is not heard); record the piano's own channel")
    if options.tempo is None and not tempi:
        raise Refusal(f"{options.take} is divided by frames and has no beats; say its tempo: --tempo 120", USED_WRONGLY)
    aligned = _best(piece, events, _grids(options, piece, tempi, [event.time_ns for event in events if event.value]))
    record = record_of(
        aligned,
        Circumstances(
            session="", number=0, utc="", title=piece.title, key=piece.key, meter=piece.meter, section=piece.section,
            beats=float(piece.end_beats - piece.start_beats), port="", stamp_origin="file",
        ),
    )  # fmt: skip
    if options.json:
        print(json_line(pass_object(record)))
    else:
        begins = aligned.grid.start_ns / 1e9
        print(f"{piece.title} in {piece.key}, {record.tempo_bpm:g} a minute; beat 1 of bar 1 at {begins:.3f} s")
        for line in pass_lines(record):
            print(line)
    return DONE if record.clean else NO


MOST_BARS_BEFORE: Final = 8
"""How many bars of count-in a take may begin with."""


def _grids(
    options: argparse.Namespace, piece: Piece, tempi: Sequence[TempoChange], onsets_ns: Sequence[int]
) -> list[Grid]:
    """Where the form may begin in a take: at any of its first bars by the tempo map; at a told tempo, so that any of
    the first onsets answers one of the first slots."""
    from trainer.timing import Grid

    if options.tempo is not None:
        straight = Grid(options.tempo, 0, piece.swing)
        starts = dict.fromkeys(
            onset - straight.time_ns(slot.start_beats) for onset in onsets_ns[:24] for slot in piece.slots[:4]
        )
        return [replace(straight, start_ns=start) for start in starts]
    beats, unit = (int(part) for part in piece.meter.split("/"))
    in_quarters = Fraction(4, unit)
    first = piece.count_in_ends_beats
    begins = {in_quarters * (beats * bar - first) for bar in range(MOST_BARS_BEFORE + 1)}
    begins.add(-piece.start_beats * in_quarters)  # a take that begins with the pick-up itself
    return [_by_map(tempi, quarters, unit, piece.swing) for quarters in sorted(begins)]


def _by_map(tempi: Sequence[TempoChange], quarters: Fraction, unit: int, swing: Fraction) -> Grid:
    """A grid whose beat 0 lies so many quarters into a file; below 0 where only a later section was played."""
    from trainer.timing import Grid

    def bpm(change: TempoChange) -> float:
        return float(60_000_000 / change.quarter_us * unit / 4)

    here = next((change for change in reversed(tempi) if change.quarters <= quarters), tempi[0])
    start_ns = here.time_ns + round((quarters - here.quarters) * here.quarter_us * 1000)
    changes = tuple(((change.quarters - quarters) * Fraction(unit, 4), bpm(change)) for change in tempi[1:])
    return Grid(bpm(tempi[0]), start_ns, swing, changes)


def _best(piece: Piece, events: Sequence[NoteEvent], grids: Sequence[Grid]) -> Aligned:
    """The alignment under which most is right, and of those the nearest to the beat."""
    from trainer.timing import align

    def standing(aligned: Aligned) -> tuple[int, float]:
        right = sum(
            2 * (answer.verdict == "right") + (answer.verdict in ("late", "wrong")) for answer in aligned.answers
        )
        errors = [abs(answer.error_ms) for answer in aligned.answers if answer.error_ms is not None]
        return right, -sum(errors) / len(errors) if errors else 0.0

    return max((align(events, piece.slots, grid) for grid in grids), key=standing)


# -- a port measured


def calibrate(options: argparse.Namespace) -> int:
    """Measure a port by sixteen beats played along with the click."""
    from trainer.commands.practising import without_screen
    from trainer.commands.store import Store
    from trainer.in_time import BeatCame, Calibrated, CalibrationSession, ClickBegan
    from trainer.inputs.running import Live
    from trainer.inputs.source import InputError
    from trainer.storage.files import utc_now

    store = Store(options.records)
    speaker = Speaker(store.settings, options.output_port or "")
    accompanist = Accompanist(options, store, speaker)
    try:
        source = without_screen(options, store.settings.channel - 1 if store.settings.channel else None, speaker)
        if not isinstance(source, Live):
            raise Refusal("only a piano on a port can be measured; leave --input out, or name a port", USED_WRONGLY)
        session = CalibrationSession(options.tempo)
        for event in source.run_calibration(session):
            match event:
                case ClickBegan():
                    if told := accompanist.click_along(event, source.name):
                        print(f"trainer: {told}", file=sys.stderr)
                    print(f"Play one key with every beat. After {event.count_in_beats} beats it counts.", flush=True)
                case BeatCame():
                    print(f"{event.beat}{'' if event.bar >= 0 else ' (count-in)'}", flush=True)
                case Calibrated(calibration=None):
                    print(f"trainer: {event.problem}", file=sys.stderr)
                    return NO
                case Calibrated(calibration=found) if found is not None:
                    store.records.keep_calibration(
                        source.heard_port, utc_now(), found.offset_ms, found.scatter_ms, found.beats_used
                    )
                    print(
                        f"{source.heard_port}: {found.offset_ms:+.1f} ms from the click, scattered by "
                        f"{found.scatter_ms:.1f} ms, over {found.beats_used} beats. "
                        "From now on this is taken off in time, and shown as taken off."
                    )
    except InputError as error:
        raise Refusal(str(error)) from None
    finally:
        accompanist.close()
        store.close()
    return DONE


def _form_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("form", metavar="CHART", help="a lesson, a chart file, or a progression or form by name")
    _what(parser)
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    parser.add_argument(
        "--passes", type=whole_number(1, 50), default=3, metavar="N", help="at most so many in each key"
    )
    parser.add_argument("--count-in", type=whole_number(1, 8), default=2, metavar="BARS", help="bars to be counted in")
    parser.add_argument("--input", metavar=INPUT, help="what to listen to, as in trainer drill")
    parser.add_argument("--click", choices=CLICK_KINDS, help="what clicks (beats)")
    parser.add_argument("--bass", choices=BASS_KINDS, help="the bass under what you play (walking)")
    parser.add_argument("--silent", action="store_true", help="nothing sounds, the beat is only seen")
    parser.add_argument("--output-port", metavar="PORT", help="the MIDI port to sound on, by part of its name")
    parser.add_argument("--headless", action="store_true", help="without the screen: one line an event")
    parser.add_argument("--json", action="store_true", help="with --headless: one JSON object for each pass")
    parser.add_argument("--seed", type=int, metavar="N", help="makes the scripted player repeatable")
    parser.add_argument("--records", metavar="FILE", help="keep the record in this file")
    parser.set_defaults(set=None, plain=False)


def _what(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--key", metavar="NOTE", help="the key to play it in")
    parser.add_argument("--section", metavar="LETTER", help="only this section")
    parser.add_argument("--tempo", type=whole_number(20, 400), metavar="BPM", help="beats a minute")
    parser.add_argument("--straight", action="store_true", help="even eighths; without it they swing")


def _grade_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE.mid", help="a Standard MIDI File")
    parser.add_argument(
        "--set", required=True, metavar="CHART", help="the lesson, chart file, progression or form that was played"
    )
    _what(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")


def _calibrate_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--input", metavar=INPUT, help="the port to measure")
    parser.add_argument("--tempo", type=whole_number(40, 160), default=80, metavar="BPM", help="beats a minute (80)")
    parser.add_argument("--output-port", metavar="PORT", help="the MIDI port to click on, by part of its name")
    parser.add_argument("--records", metavar="FILE", help="keep the measurement in this record")
    parser.set_defaults(seed=None)


COMMANDS: Final = (
    CommandRow(
        "form",
        form,
        "play a form in time: counted in, graded chord by chord, faster when it was clean",
        "  trainer form ii-V-I --key Bb --tempo 96\n"
        "  trainer form 'jazz blues' --all-keys\n"
        "  trainer form my-tune.chart --section B --input script --headless",
        _form_arguments,
    ),
    CommandRow(
        "grade",
        grade,
        "grade a recorded MIDI file against a lesson, chart or form, in time",
        "  trainer grade take.mid --set ii-V-I --key F\n"
        "  trainer grade take.mid --set my-tune.chart --tempo 120 --json",
        _grade_arguments,
    ),
    CommandRow(
        "calibrate",
        calibrate,
        "measure what a port adds to your timing, by sixteen beats played along",
        "  trainer calibrate\n  trainer calibrate --input 'Digital Piano'",
        _calibrate_arguments,
    ),
)
