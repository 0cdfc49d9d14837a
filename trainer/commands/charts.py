"""Charts: found by file or by name, shown, put into another key, and written for other programs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.commands.refusals import DONE, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import json_line

if TYPE_CHECKING:
    from trainer.charts import Chart, ChartError
    from trainer.drills import Lesson
    from trainer.sheets.midi_files import Voiced

SCORES: Final = (".musicxml", ".xml", ".mxl")
TEXTS: Final = (".chart", ".txt")
MIDI_FILES: Final = (".mid", ".midi")
LESSONS: Final = (".toml",)
CHART_HELP: Final = "a chart file, a MusicXML lead sheet, a lesson file, or a progression or form by name"

_LONGEST_LINE: Final = 2_000


def shown(text: str) -> str:
    """A text from outside as it may go to a terminal: line by line, without controls or signs that turn writing."""
    lines = text.split("\n")
    return "\n".join("".join(sign if sign.isprintable() else "\ufffd" for sign in line) for line in lines)


def found_chart(name: str, key: str | None = None, *, part: str = "", melody: bool = True) -> Chart:
    """A chart from anything that has one: a chart file, a MusicXML lead sheet, a lesson file, a progression or form by
    name.

    `key` puts it into another key of its mode. `part` names the part of a lead sheet; without `melody` there are its
    chords alone. Raises `Refusal`, with every fault and its place.
    """
    from trainer.charts import FormError, form_chart

    path = Path(name)
    if path.suffix.lower() in (*SCORES, *TEXTS, *MIDI_FILES, *LESSONS) or path.is_file():
        lesson = _lesson(path)
        found = in_key(_read(path, part, melody) if lesson is None else lesson.chart, key)
        return found if melody else replace(found, bars=tuple(replace(bar, melody=()) for bar in found.bars))
    try:
        return in_key(form_chart(name), key)
    except FormError as error:
        raise Refusal(f"{error}. A chart of your own is named by its file", USED_WRONGLY) from None


def _lesson(path: Path) -> Lesson | None:
    """The lesson of a file, where it is one. Raises `Refusal` with every fault."""
    from trainer.commands.sets import read_lesson_file

    if path.suffix.lower() not in LESSONS:
        return None
    lesson, faults = read_lesson_file(path)
    if lesson is None:
        raise Refusal(shown("\ntrainer: ".join(str(fault)[:_LONGEST_LINE] for fault in faults)))
    return lesson


def _read(path: Path, part: str, melody: bool) -> Chart:
    from trainer.charts import ChartError, read_chart
    from trainer.charts.score_files import LARGEST_FILE_BYTES, is_compressed
    from trainer.charts.score_reading import read_score
    from trainer.storage.files import StorageError, decoded, read_bytes

    try:
        data = read_bytes(path, LARGEST_FILE_BYTES)
        if data[:4] == b"MThd":
            raise StorageError(path, "is a MIDI file, which has no chord symbols", "name a chart or a MusicXML file")
        # By what it is; a file of another kind under this name is told as what its name promises.
        first = data[:512].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
        if is_compressed(data) or first.startswith(b"<") or path.suffix.lower() in SCORES:
            return read_score(data, part=part, melody=melody)
        return read_chart(decoded(data, path))
    except StorageError as error:
        raise Refusal(str(error)) from None
    except ChartError as error:
        raise Refusal(_faults(path, error)) from None


def _faults(path: Path, error: ChartError) -> str:
    return shown("\ntrainer: ".join(f"{path}:{str(fault)[:_LONGEST_LINE]}" for fault in error.faults))


def in_key(chart: Chart, key: str | None) -> Chart:
    """A chart in the key of that name (None: its own). Raises `Refusal`."""
    from trainer.charts import Key, transposed
    from trainer.pitch import PitchError

    if key is None:
        return chart
    try:
        wanted = Key.parse(key)
        if wanted.minor and not chart.key.minor:
            message = f"{chart.title or 'the chart'} is in a major key; name a major one"
            raise Refusal(f"{shown(message)}, as in --key {wanted.root}", USED_WRONGLY)
        return transposed(chart, wanted.root)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def twelve(chart: Chart) -> tuple[Chart, ...]:
    """A chart in all twelve keys. Raises `Refusal` where its melody would leave the keys."""
    from trainer.charts import in_twelve_keys
    from trainer.pitch import PitchError

    try:
        return in_twelve_keys(chart)
    except PitchError as error:
        raise Refusal(str(error), USED_WRONGLY) from None


def chart(options: argparse.Namespace) -> int:
    """Show a chart, or write it as a file of the kind that the name says."""
    from trainer.charts import chart_values, write_chart

    found = found_chart(options.chart, options.key, part=options.part, melody=not options.without_melody)
    charts: Iterable[Chart] = twelve(found) if options.all_keys else (found,)
    if options.by_degree:
        charts = [one.by_degree for one in charts]
    elif options.by_symbol:
        charts = [one.by_symbol for one in charts]
    if options.output is not None:
        _write_all(list(charts), Path(options.output), options)
        return DONE
    for index, one in enumerate(charts):
        if options.json:
            print(json_line(chart_values(one)))
        else:
            print(("\n" if index else "") + shown(write_chart(one)), end="")
    return DONE


def _write_all(charts: list[Chart], path: Path, options: argparse.Namespace) -> None:
    from trainer.storage.files import StorageError, write_bytes_atomically

    suffix = path.suffix.lower()
    kinds = (TEXTS[0], *SCORES, *MIDI_FILES)
    if suffix not in kinds:
        known = ", ".join(kinds)
        raise Refusal(f"{path.name!r} ends in no kind of file that a chart is written as ({known})", USED_WRONGLY)
    if options.tempo is not None and not 10 <= options.tempo <= 400:
        raise Refusal(f"a tempo is 10 to 400 beats a minute, not {options.tempo:g}", USED_WRONGLY)
    made: list[tuple[Path, bytes]] = []
    for one in charts:
        place = path if len(charts) == 1 else path.with_name(f"{path.stem}-{one.key}{path.suffix}")
        if place.exists() and not options.replace:
            raise Refusal(f"{str(place)!r} is there already; name another file, or add --replace", USED_WRONGLY)
        made.append((place, _bytes_of(one, suffix, options)))
    try:
        for place, data in made:
            write_bytes_atomically(place, data)
            print(f"written: {place}", file=sys.stderr)
    except StorageError as error:
        raise Refusal(str(error)) from None


def _bytes_of(one: Chart, suffix: str, options: argparse.Namespace) -> bytes:
    from trainer.charts import ChartError, write_chart
    from trainer.charts.score_files import compressed
    from trainer.charts.score_writing import write_score
    from trainer.leading import LeadingError

    try:
        if suffix in MIDI_FILES:
            return _midi(one, options)
        if suffix == ".mxl":
            return compressed(write_score(one, tempo_bpm=options.tempo))
        text = write_score(one, tempo_bpm=options.tempo) if suffix in SCORES else write_chart(one)
        return text.encode("utf-8")
    except (ChartError, LeadingError) as error:
        raise Refusal(shown(str(error)), USED_WRONGLY) from None


def _midi(one: Chart, options: argparse.Namespace) -> bytes:
    from trainer.charts import lead_chart
    from trainer.leading import Plan
    from trainer.sheets.midi_files import DEFAULT_TEMPO_BPM, midi_bytes, voiced, voiced_slots

    chords: tuple[Voiced, ...] = ()
    if (lesson := _lesson(Path(options.chart))) is not None and not options.voicing:
        chords = voiced_slots(lesson.in_key(one.key.root).slots())
    elif any(sounding.chord.root is not None for bar in one.bars for sounding in bar.chords):
        plan = Plan(voicings=tuple(options.voicing)) if options.voicing else Plan()
        chords = voiced(lead_chart(one, plan, melody=False))
    return midi_bytes(one, chords, tempo_bpm=options.tempo or DEFAULT_TEMPO_BPM)


def _chart_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chart", metavar="CHART", help=CHART_HELP)
    parser.add_argument("--key", metavar="KEY", help="put it into this key, as in Bb or Cm")
    parser.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    written = parser.add_mutually_exclusive_group()
    written.add_argument("--by-degree", action="store_true", help="write chords by degree of the key")
    written.add_argument("--by-symbol", action="store_true", help="write chords as symbols")
    parser.add_argument(
        "--output", metavar="FILE", help="write a file: .chart, .musicxml, .mxl (compressed) or .mid, by its name"
    )
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")
    parser.add_argument("--tempo", metavar="BPM", type=float, help="beats a minute, for a score or a MIDI file")
    parser.add_argument(
        "--voicing",
        action="append",
        metavar="NAME|DEGREES",
        help="for a MIDI file: choose from these, not those of a lesson",
    )
    parser.add_argument("--part", metavar="NAME", default="", help="the part of a lead sheet to read")
    parser.add_argument("--without-melody", action="store_true", help="leave the melody aside")
    parser.add_argument("--json", action="store_true", help="one JSON object for each key")


COMMANDS: Final = (
    CommandRow(
        "chart",
        chart,
        "show a chart in any key, and write it as a lead sheet or MIDI file",
        "  trainer chart 'jazz blues' --key Eb --by-symbol\n"
        "  trainer chart lead-sheet.mxl --by-degree --output my-tune.chart\n"
        "  trainer chart my-tune.chart --all-keys --output my-tune.musicxml\n"
        "  trainer chart my-tune.chart --output my-tune.mid --tempo 132",
        _chart_arguments,
    ),
)
