"""Sound: the one port of the program that sounds, hear it, and `trainer hear`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow, whole_number
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.accompaniment import BassChord, SoundNote
    from trainer.capture import NoteEvent
    from trainer.drills import Lesson
    from trainer.grading import Target
    from trainer.sound import Sound
    from trainer.storage.settings import Settings

CLICK_KINDS: Final = ("beats", "two and four", "one", "ride")
BASS_KINDS: Final = ("walking", "roots", "none")
TEMPO_BPM: Final = 120
CHORD_TEMPO_BPM: Final = 60
_NOWHERE: Final = "Nothing is sounded: sound is turned off (trainer settings sound true turns it on)."


class Speaker:
    """The one port that the program sounds on: opened when something is first to be heard, and shared by all that
    sounds, because on some systems a port can be opened only once.

    `wanted` names it (else the settings do); `told` takes a line for the player when it goes away or comes back.
    """

    def __init__(self, settings: Settings, wanted: str = "", told: Callable[[str], None] | None = None) -> None:
        self.settings = settings
        self._wanted = wanted or settings.sound_port
        self._told = told
        self._sound: Sound | None = None

    def open(self, piano: str = "") -> Sound:
        """The port, opened where it is not yet: without a name the one beside the piano listened to. Raises `PortError`
        with what was found and what to do."""
        from trainer.midi.names import PortError
        from trainer.sound import open_sound

        if not self.settings.sound:
            raise PortError(_NOWHERE)
        if self._sound is None:
            self._sound = open_sound(self._wanted, beside=piano, told=self._tell)
        return self._sound

    def tell_to(self, told: Callable[[str], None]) -> None:
        """Lines for the player go here from now on; it is called on a thread of the sound's own."""
        self._told = told

    def _tell(self, line: str) -> None:
        if self._told is not None:
            self._told(line)

    def player(self, event: NoteEvent) -> bool:
        """Take an event of the player's piano; True where it is only what was sounded, sent back by the instrument."""
        return self._sound is not None and self._sound.player(event)

    def stop(self) -> None:
        """All notes off at once."""
        if self._sound is not None:
            self._sound.stop()

    def close(self) -> None:
        """All notes off, and the port let go of; may be called twice."""
        sound, self._sound = self._sound, None
        if sound is not None:
            sound.close()


class Hearing:
    """Hear it: sounds the voicing asked for, also beside what was played."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker

    def hear(self, target: Target, played: Sequence[int] = (), piano: str = "") -> str:
        """Sound the keys played, where there are any, and then the voicing; "" or why nothing sounds, as a sentence."""
        from trainer.accompaniment import heard_beside, held_chord, root_below
        from trainer.midi.names import PortError

        settings = self._speaker.settings
        root = None
        if settings.sound_root and target.placement.recipe.rootless:
            root = root_below((*target.keys, *played), target.chord.bass or target.root)
        try:
            sound = self._speaker.open(piano)
        except PortError as error:
            return str(error)
        if not sound.connected:
            return f"{sound.name} is not connected: nothing is sounded until it is back."
        if played:
            notes = heard_beside(played, target.keys, root, velocity=settings.sound_velocity)
        else:
            notes = held_chord(target.keys, root, velocity=settings.sound_velocity)
        sound.hear(notes, tempo_bpm=CHORD_TEMPO_BPM)
        return ""

    def player(self, event: NoteEvent) -> bool:
        """See `Speaker.player`."""
        return self._speaker.player(event)

    def tell_to(self, told: Callable[[str], None]) -> None:
        """See `Speaker.tell_to`."""
        self._speaker.tell_to(told)

    def close(self) -> None:
        """See `Speaker.close`."""
        self._speaker.close()


# -- trainer hear


@dataclass(frozen=True, slots=True)
class Heard:
    """What is to be sounded: its name, its notes, the beats of a bar, and a line for each chord where it comes in."""

    title: str
    notes: tuple[SoundNote, ...]
    lines: tuple[tuple[Fraction, str], ...] = ()


def hear(options: argparse.Namespace) -> int:
    """Sound a chord, a progression, a chart or a lesson; Ctrl-C stops it."""
    import gc
    from time import perf_counter_ns, sleep

    from trainer.accompaniment import cues, first_beat
    from trainer.commands.charts import shown
    from trainer.midi.names import PortError
    from trainer.sound import open_sound
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places
    from trainer.storage.settings import read_settings
    from trainer.timing import STRAIGHT, SWUNG, Grid

    try:
        settings, _ = read_settings(Places.found().settings)
    except StorageError as error:
        raise Refusal(str(error)) from None
    velocity = options.velocity or settings.sound_velocity
    heard = _heard(options, velocity, settings.sound_root and not options.no_root)
    if options.json:
        for note in heard.notes:
            print(
                json_line(
                    {
                        "start_beats": float(note.start_beats),
                        "beats": float(note.beats),
                        "key": note.key,
                        "velocity": note.velocity,
                        "channel": note.channel + 1,
                    }
                )
            )
        return DONE
    tempo = options.tempo or (TEMPO_BPM if heard.lines else CHORD_TEMPO_BPM)
    try:
        sound = open_sound(options.output_port or settings.sound_port, beside=settings.port, told=_to_standard_error)
    except PortError as error:
        raise Refusal(str(error)) from None
    with sound:
        print(f"trainer: {shown(heard.title)} on {sound.name}; Ctrl-C stops.", file=sys.stderr)
        gc.freeze()  # a full pass of the collector would delay a click by milliseconds
        messages = cues(heard.notes, Grid(tempo, 0, STRAIGHT if options.straight else SWUNG))
        begins = perf_counter_ns() + 100_000_000
        grid = Grid(tempo, begins, STRAIGHT if options.straight else SWUNG)
        shift = grid.time_ns(0) - grid.time_ns(first_beat(heard.notes))
        sound.play(replace(cue, time_ns=cue.time_ns + begins + shift) for cue in messages)
        for start, line in heard.lines:
            due = grid.time_ns(start) + shift
            while (left := due - perf_counter_ns()) > 0:
                sleep(min(left / 1e9, 0.1))
            print(shown(line), flush=True)
        sound.wait()
        return DONE if sound.connected else UNUSABLE


def _to_standard_error(line: str) -> None:
    print(f"trainer: {line}", file=sys.stderr, flush=True)


def _heard(options: argparse.Namespace, velocity: int, root_below: bool) -> Heard:
    from trainer.charts import FormError, form_row
    from trainer.chords import ChordError, parse

    name: str = options.what
    named = Path(name).is_file() or Path(name).suffix in (".toml", ".chart")
    if not named:
        try:
            form_row(name)
            named = True
        except FormError:
            pass
    if not named:
        try:
            chord = parse(name)
        except ChordError:
            pass
        else:
            return _one_chord(chord.symbol, options, velocity, root_below)
    return _form(options, velocity)


def _one_chord(symbol: str, options: argparse.Namespace, velocity: int, root_below: bool) -> Heard:
    from trainer.accompaniment import held_chord
    from trainer.accompaniment import root_below as below
    from trainer.chords import parse
    from trainer.leading import LeadingError, Plan, Slot, lead
    from trainer.pitch import pretty, spelled_key
    from trainer.voicings import VoicingError, place, recipe

    chord = parse(symbol)
    if chord.root is None:
        raise Refusal(f"{symbol} is no chord, so there is nothing to hear", USED_WRONGLY)
    try:
        if options.voicing:
            placed = place(recipe(options.voicing[0], chord.quality), chord.root)
        else:
            placed = lead([Slot(chord, None)], Plan()).stations[0].placement
    except (VoicingError, LeadingError) as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    root = below(placed.keys, chord.bass or chord.root) if root_below and placed.recipe.rootless else None
    names = " ".join(pretty(spelled_key(note, key)) for note, key in zip(placed.notes, placed.keys, strict=True))
    title = f"{pretty(chord.symbol)}, {placed.recipe.name}: {names}"
    return Heard(title, held_chord(placed.keys, root, beats=4, velocity=velocity))


def _form(options: argparse.Namespace, velocity: int) -> Heard:
    """A progression, chart or lesson, as often as asked for."""
    from trainer.accompaniment import bars_of, bass_chords, click, count_in, melody, roots, slot_chords, voiced, walking
    from trainer.charts import ChartError
    from trainer.commands.sets import load_lesson
    from trainer.grading import pretty_symbol
    from trainer.leading import LeadingError
    from trainer.pitch import pretty, spelled_key

    lesson = _as_asked(options, load_lesson(options.what, options.key))
    chart = lesson.chart
    try:
        start, end = lesson.section_beats(options.section)
        form = [one for one in lesson.form if not options.section or one.section == options.section]
        chords = slot_chords(lesson.slots(options.section, bass=options.bass == "none"))
    except (ChartError, LeadingError, ValueError) as error:
        raise Refusal(f"{lesson.title}: {error}", USED_WRONGLY) from None
    louder = min(127, velocity + 12)
    bars = [bar for bar in bars_of(chart) if start <= bar.start_beats < end]
    every_step = bass_chords(chart)
    again = max(start, Fraction(0))  # where the form begins when it comes round: a pick-up does not
    notes: list[SoundNote] = []
    steps: list[BassChord] = []
    lines: list[tuple[Fraction, str]] = []
    for number in range(options.times):
        first, later = (again if number else start), number * (end - again)
        once = [*voiced(chords, velocity)]
        if options.melody:
            once += melody(chart, louder)
        if options.click:
            once += click((bar for bar in bars if bar.start_beats >= first), options.click, velocity)
        notes += [
            replace(note, start_beats=note.start_beats + later) for note in once if first <= note.start_beats < end
        ]
        steps += [one.later(later) for one in every_step if first <= one.start_beats < end]
        for one in form:
            if first <= one.start_beats:
                placed = zip(one.target.notes, one.target.keys, strict=True)
                keys = " ".join(pretty(spelled_key(note, key)) for note, key in placed)
                line = f"{one.label:<6} {pretty_symbol(one.target.chord.symbol):<10} {keys}"
                lines.append((one.start_beats + later, line))
    if options.bass != "none":
        notes += walking(steps, louder) if options.bass == "walking" else roots(steps, louder)
    if not notes:
        raise Refusal(f"{lesson.title}: there is nothing to hear in it", USED_WRONGLY)
    if options.click and options.count_in:
        meter = chart.bars[0].meter
        notes += count_in(meter, options.count_in, max(Fraction(0), -start), velocity, again)
    return Heard(f"{lesson.title}, in {chart.key}", tuple(notes), tuple(sorted(lines)))


def _as_asked(options: argparse.Namespace, lesson: Lesson) -> Lesson:
    """The lesson, in other voicings or another rhythm where some are asked for."""
    from trainer.drills import RhythmError, Rule, read_rhythm

    rule = Rule()
    if options.voicing:
        rule = replace(rule, voicing=tuple(options.voicing))
    if options.rhythm:
        try:
            rule = replace(rule, rhythm=read_rhythm(options.rhythm))
        except RhythmError as error:
            raise Refusal(str(error), USED_WRONGLY) from None
    return replace(lesson, rules=(*lesson.rules, rule))


def _hear_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "what",
        metavar="CHORD|LESSON",
        help="a chord symbol; or a lesson by its file or part of its name, a chart, or a progression or form by name",
    )
    parser.add_argument(
        "--voicing", action="append", metavar="NAME|DEGREES", help="in this voicing; of a form, may come again"
    )
    parser.add_argument("--key", metavar="KEY", help="the key of a form, as in Bb or Cm")
    parser.add_argument("--section", metavar="NAME", default="", help="one section of a form, as in A or A2")
    parser.add_argument("--tempo", type=whole_number(20, 400), metavar="BPM", help=f"beats a minute ({TEMPO_BPM})")
    parser.add_argument("--straight", action="store_true", help="straight eighths in place of swing")
    parser.add_argument(
        "--times", type=whole_number(1, 50), default=1, metavar="N", help="how often a form comes round"
    )
    parser.add_argument("--rhythm", metavar="COUNTS", help="when each chord is struck, as in '1 chord, 2& chord'")
    parser.add_argument("--melody", action="store_true", help="with the melody of the chart")
    parser.add_argument("--bass", choices=BASS_KINDS, default="none", help="a bass below (none: as the lesson says)")
    parser.add_argument("--click", nargs="?", choices=CLICK_KINDS, const=CLICK_KINDS[0], help="what clicks (beats)")
    parser.add_argument(
        "--count-in", type=whole_number(0, 8), default=1, metavar="BARS", help="bars counted in, with a click (1)"
    )
    parser.add_argument("--no-root", action="store_true", help="a rootless chord without its root below")
    parser.add_argument("--velocity", type=whole_number(1, 127), metavar="N", help="how loud, 1 to 127")
    parser.add_argument("--output-port", metavar="PORT", help="the MIDI port to sound on, by part of its name")
    parser.add_argument("--json", action="store_true", help="one JSON object for each note; nothing is sounded")


COMMANDS: Final = (
    CommandRow(
        "hear",
        hear,
        "sound a chord, a progression, a chart or a lesson through MIDI",
        "  trainer hear Cm7 --voicing 'rootless from the third'\n"
        "  trainer hear ii-V-I --key Bb --tempo 120 --bass walking --click\n"
        "  trainer hear 'jazz blues' --rhythm '1 chord, 2& chord' --bass roots --click 'two and four' --times 3\n"
        "  trainer hear kettle --melody --section A --output-port 'Digital Piano'",
        _hear_arguments,
    ),
)
