"""A chart as a MIDI file.

From outside: one file byte by byte, by hand from Standard MIDI Files 1.1; music21's own reader of MIDI files hears
notes and times; the reader of takes (`inputs.files`, which checks structure itself) hears milliseconds.
"""

from __future__ import annotations

from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import pytest
from music21 import converter, note

from trainer.capture import Kind
from trainer.charts import FORMS, FormRow, form_chart, in_twelve_keys, lead_chart, read_chart
from trainer.drills import lesson_of
from trainer.inputs.files import events_of
from trainer.pitch import MidiNote
from trainer.sheets.midi_files import Voiced, midi_bytes, voiced, voiced_slots

DEMO = Path(__file__).parent.parent / "drills" / "demo-the-kettle-takes-its-time.chart"


def keys(*found: int) -> tuple[MidiNote, ...]:
    return tuple(map(MidiNote, found))


def test_one_bar_is_written_as_the_standard_says() -> None:
    chart = read_chart("title: a\nkey: Bb\n[A] | C7 |\n~ | C5 _ _ . |")
    made = midi_bytes(chart, [Voiced(Fraction(0), Fraction(4), keys(52, 58))], tempo_bpm=120)
    # By hand: delta times in sevens of bits, 480 ticks a quarter (01E0h), 500,000 us a quarter (07A120h).
    time = "00 ff 03 01 61  00 ff 51 03 07 a1 20  00 ff 58 04 04 02 18 08  00 ff 59 02 fe 00"
    time += "00 ff 06 01 41  8f 00 ff 2f 00"
    melody = "00 ff 03 06 6d 65 6c 6f 64 79  00 90 48 54  8b 20 80 48 00  83 60 ff 2f 00"
    chords = "00 ff 03 06 63 68 6f 72 64 73  00 91 34 3e  00 3a 3e  8f 00 81 34 00  00 3a 00  00 ff 2f 00"
    expected = bytes.fromhex("4d 54 68 64  00 00 00 06  00 01 00 03 01 e0")
    for track in map(bytes.fromhex, (time, melody, chords)):
        expected += b"MTrk" + len(track).to_bytes(4, "big") + track
    assert made == expected


def test_music21_hears_melody_and_chords_where_they_are_meant() -> None:
    chart = read_chart(DEMO.read_text(encoding="utf-8"))
    path = lead_chart(chart, melody=False)
    parsed = converter.parseData(midi_bytes(chart, voiced(path)), format="midi", quantizePost=False)
    melody, chords = parsed.parts
    heard = [
        (float(one.getOffsetInHierarchy(melody)), one.pitch.midi) for one in melody.recurse().notes if not one.isChord
    ]
    # Bars of four quarters after a pick-up of one, as the chart has them.
    expected = []
    for at, bar in enumerate(chart.bars):
        start = 0 if at == 0 else 4 * at - 3
        expected += [(float(start + one.beat - 1), one.key) for one in bar.melody if not one.tied]
    assert heard == expected
    struck = [(float(one.getOffsetInHierarchy(chords)), one.pitches) for one in chords.recurse().notes]
    assert struck[0][0] == 1
    assert [pitch.midi for pitch in struck[0][1]] == list(path.path.stations[0].placement.keys)
    assert len(struck) == len(chart.unrolled(pickup=False))


def test_bar_lines_keys_letters_and_tempo_are_said_where_they_change() -> None:
    text = "time: 3/4\npickup: 1\nkey: F\n| N.C. |\n[A] |: C7 :|\n[B] | 6/8 key:Dm D7 |"
    file = midi_bytes(read_chart(text), tempo_bpm=90)
    said = {}
    tick = 0
    made = mido.MidiFile(file=BytesIO(file))
    for message in made.tracks[0]:
        tick += message.time
        said.setdefault(message.type, []).append((tick / made.ticks_per_beat, message))
    times = [(at, one.numerator, one.denominator) for at, one in said["time_signature"]]
    assert times == [(0, 1, 4), (1, 3, 4), (7, 6, 8)]
    assert [(at, one.key) for at, one in said["key_signature"]] == [(0, "F"), (7, "Dm")]
    assert [(at, one.text) for at, one in said["marker"]] == [(1, "A"), (4, "A"), (7, "B")]
    assert [one.tempo for _, one in said["set_tempo"]] == [round(60_000_000 / 90)]
    assert said["end_of_track"][0][0] == 10


def test_a_take_of_the_file_is_in_time_to_the_millisecond() -> None:
    chart = read_chart("time: 6/8\n| C7 | F7 |\n~ | C5 D5 E5 F5 G5 A5 Bb5 | C6 _ D6 |")
    file = midi_bytes(chart, [Voiced(Fraction(6), Fraction(6), keys(51, 57))], tempo_bpm=180)
    down = [(event.time_ns, event.key) for event in events_of(file) if event.kind is Kind.DOWN]
    # Six eighths at 180 a minute are 2 s; seven notes share them, two in a bar of three shares.
    expected = [(round(at * 2_000_000_000 / 7), key) for at, key in enumerate((72, 74, 76, 77, 79, 81, 82))]
    expected += [(2_000_000_000, 84), (2_000_000_000, 51), (2_000_000_000, 57), (round(2e9 + 2e9 * 2 / 3), 86)]
    assert sorted(key for _, key in down) == sorted(key for _, key in expected)
    assert [at for at, _ in down] == pytest.approx([at for at, _ in expected], abs=500_000)


def test_a_melody_tied_over_a_repeat_is_tied_only_where_it_goes_on() -> None:
    chart = read_chart("|: C7 | C7 :| C7 |\n~ | C5 | _ . | D5 |")
    parsed = converter.parseData(midi_bytes(chart), format="midi", quantizePost=False)
    notes = [one for one in parsed.parts[0].stripTies().recurse().notes if isinstance(one, note.Note)]
    assert [(float(one.quarterLength), one.pitch.midi) for one in notes] == [(6, 72), (6, 72), (4, 74)]


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_in_twelve_keys_is_a_file_with_each_chord_struck(row: FormRow) -> None:
    for chart in in_twelve_keys(form_chart(row.name)):
        chords = voiced(lead_chart(chart))
        assert len(chords) == len(chart.unrolled())
        down = [event for event in events_of(midi_bytes(chart, chords)) if event.kind is Kind.DOWN]
        assert [event.key for event in down] == [key for one in chords for key in one.keys]


@pytest.mark.parametrize("tempo", [9, 401, float("nan")])
def test_a_tempo_nobody_plays_is_refused(tempo: float) -> None:
    with pytest.raises(ValueError, match="10 to 400"):
        midi_bytes(form_chart("blues"), tempo_bpm=tempo)


def test_a_lesson_is_heard_as_it_asks_to_be_played() -> None:
    lesson = lesson_of(form_chart("ii-V-I"))
    slots = lesson.slots()
    down = [event for event in events_of(midi_bytes(lesson.chart, voiced_slots(slots))) if event.kind is Kind.DOWN]
    assert [event.key for event in down] == [key for one in slots for key in one.target.keys]
    assert [event.time_ns for event in down if event.key == down[0].key][0] == 0


def test_what_is_played_before_the_first_bar_line_gets_a_bar_before_it() -> None:
    chart = read_chart("time: 3/4\n| C7 | F7 |\n~ | C5 | F5 |")
    file = midi_bytes(chart, [Voiced(Fraction(-1, 2), Fraction(1), keys(60))], tempo_bpm=60)
    down = [(event.time_ns, event.key) for event in events_of(file) if event.kind is Kind.DOWN]
    assert down == [(2_500_000_000, 60), (3_000_000_000, 72), (6_000_000_000, 77)]
