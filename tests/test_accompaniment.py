"""What is sounded: click and count-in by meter, bass lines, voicings in rhythm, and MIDI messages in time.

Facts from outside: General MIDI System Level 1 (percussion keys 76, 77, 51, 44 on channel 10); MIDI 1.0 by mido; chord
tones by music21; the rest common practice, no source, by hand.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.accompaniment import (
    CLICKS,
    BarAt,
    SoundNote,
    bars_of,
    bass_chords,
    click,
    count_in,
    cues,
    even_bars,
    first_beat,
    groups,
    heard_beside,
    held_chord,
    last_beat,
    melody,
    root_below,
    roots,
    slot_chords,
    voiced,
    walking,
)
from trainer.charts import FORMS, Chart, FormRow, MelodyNote, Meter, form_chart, read_chart
from trainer.drills import Rule, lesson_of, read_rhythm
from trainer.pitch import MidiNote, Note
from trainer.timing import STRAIGHT, SWUNG, Grid


def shown(notes: tuple[SoundNote, ...]) -> list[tuple[float, int]]:
    return [(float(note.start_beats), note.key) for note in notes]


def loudness(notes: tuple[SoundNote, ...]) -> str:
    """One sign a note: ``X`` for the loudest velocity, ``x`` for the next, ``.`` for the rest."""
    levels = sorted({note.velocity for note in notes}, reverse=True)
    signs = {velocity: sign for velocity, sign in zip(levels, "Xx." if len(levels) > 2 else "X.", strict=False)}
    return "".join(signs[note.velocity] for note in notes)


# -- the click


@pytest.mark.parametrize(
    ("meter", "accents"),
    [
        ("2/4", "X."),
        ("3/4", "X.."),
        ("4/4", "X..."),
        ("5/4", "X..x."),
        ("6/4", "X..x.."),
        ("7/4", "X...x.."),
        ("6/8", "X..x.."),
        ("7/8", "X.x.x.."),
        ("9/8", "X..x..x.."),
        ("12/8", "X..x..x..x.."),
        ("5/8", "X..x."),
        ("2/2", "X."),
    ],
)
def test_accents_go_by_the_groups_of_the_meter(meter: str, accents: str) -> None:
    beats, unit = map(int, meter.split("/"))
    notes = click(even_bars(Meter(beats, unit), 1))
    assert loudness(notes) == accents
    assert [note.start_beats for note in notes] == list(range(beats))
    assert {note.channel for note in notes} == {9}
    assert [note.key for note in notes] == [76] + [77] * (beats - 1)


@given(st.integers(1, 32), st.sampled_from([1, 2, 4, 8, 16]))
def test_the_groups_of_every_meter_fill_its_bar(beats: int, unit: int) -> None:
    assert sum(groups(Meter(beats, unit))) == beats
    assert min(groups(Meter(beats, unit))) >= 1 and len(groups(Meter(beats, unit))) <= beats


def test_two_and_four_is_the_jazz_click() -> None:
    assert shown(click(even_bars(Meter(4, 4), 2), "two and four")) == [(1, 77), (3, 77), (5, 77), (7, 77)]


def test_a_ride_cymbal_swings_its_eighths_over_a_hi_hat_on_two_and_four() -> None:
    notes = click(even_bars(Meter(4, 4), 1), "ride")
    assert [at for at, key in shown(notes) if key == 51] == [0, 1, 1.5, 2, 3, 3.5]
    assert [at for at, key in shown(notes) if key == 44] == [1, 3]
    on = [cue.time_ns for cue in cues(notes, Grid(60, 0, SWUNG)) if cue.message[:2] == (0x99, 51)]
    assert [round(time / 1e9, 3) for time in on] == [0, 1, 1.667, 2, 3, 3.667]


@pytest.mark.parametrize("kind", CLICKS)
def test_every_kind_of_click_sounds_in_every_meter_of_a_pickup_chart(kind: str) -> None:
    for beats, unit in ((4, 4), (3, 4), (6, 8), (5, 4)):
        bars = (BarAt(Fraction(-1), Meter(beats, unit), Fraction(1)), *even_bars(Meter(beats, unit), 2))
        notes = click(bars, kind)
        assert notes and all(-1 <= note.start_beats < 2 * beats for note in notes)


def test_a_pickup_bar_is_the_end_of_a_bar_and_has_no_accent() -> None:
    chart = read_chart("title: Pick-up\nkey: C\ntime: 4/4\n| C7 | F7 |")
    bars = (BarAt(Fraction(-2), Meter(4, 4), Fraction(2)), *bars_of(chart))
    notes = click(bars)
    assert [note.key for note in notes] == [77, 77, 76, 77, 77, 77, 76, 77, 77, 77]
    assert shown(click(bars, "two and four"))[:2] == [(-1, 77), (1, 77)]


# -- the count-in


def test_one_bar_is_counted_whole_and_two_bars_by_half_first() -> None:
    assert [float(note.start_beats) for note in count_in(Meter(4, 4), 1)] == [-4, -3, -2, -1]
    assert [float(note.start_beats) for note in count_in(Meter(4, 4), 2)] == [-8, -6, -4, -3, -2, -1]
    assert [float(note.start_beats) for note in count_in(Meter(3, 4), 2)] == [-6, -3, -2, -1]
    assert [float(note.start_beats) for note in count_in(Meter(6, 8), 2)] == [-12, -9, -6, -5, -4, -3, -2, -1]


def test_before_a_pickup_a_whole_bar_and_the_beats_up_to_it_are_counted() -> None:
    notes = count_in(Meter(4, 4), 1, pickup_beats=1)
    assert [float(note.start_beats) for note in notes] == [-8, -7, -6, -5, -4, -3, -2]
    assert loudness(notes) == "X...X.."
    assert [float(note.start_beats) for note in count_in(Meter(3, 4), 1, pickup_beats=2)] == [-6, -5, -4, -3]


def test_a_pickup_of_an_eighth_is_counted_up_to_the_beat_before_it() -> None:
    notes = count_in(Meter(4, 4), 1, pickup_beats=Fraction(1, 2))
    assert [float(note.start_beats) for note in notes] == [-8, -7, -6, -5, -4, -3, -2, -1]
    assert click((BarAt(Fraction(-1, 2), Meter(4, 4), Fraction(1, 2)),)) == ()
    assert shown(click((BarAt(Fraction(-3, 2), Meter(4, 4), Fraction(3, 2)),))) == [(-1, 77)]


# -- the bass


def test_the_root_stands_where_each_chord_comes_in() -> None:
    line = roots(bass_chords(form_chart("I-vi-ii-V", Note.parse("Bb"))))
    assert [(float(note.start_beats), float(note.beats)) for note in line] == [(0, 2), (2, 2), (4, 2), (6, 2)]
    assert [note.key % 12 for note in line] == [10, 7, 0, 5]  # Bb G C F
    assert all(28 <= note.key <= 51 for note in line)


def test_a_slash_chord_stands_on_its_bass_and_no_chord_is_silence() -> None:
    line = roots(bass_chords(read_chart("key: C\n| C7/E | N.C. | F7 |")))
    assert [(float(note.start_beats), note.key % 12) for note in line] == [(0, 4), (8, 5)]


def music21_tones(symbol: str) -> set[int]:
    from music21 import harmony

    written = symbol.replace("b", "-") if symbol[1:2] == "b" else symbol
    figure = written.replace("m7b5", "ø7").replace("dim7", "o7")
    return {pitch.pitchClass for pitch in harmony.ChordSymbol(figure).pitches}


@pytest.mark.parametrize("key", ["C", "Eb", "F#", "B"])
@pytest.mark.parametrize("form", ["ii-V-I", "jazz blues", "iii-VI-ii-V", "cycle of dominants"])
def test_a_walking_line_keeps_its_rule_in_every_key(form: str, key: str) -> None:
    chords = bass_chords(form_chart(form, Note.parse(key)))
    line = walking(chords, loop=True)
    at = {note.start_beats: note.key for note in line}
    for one, following in zip(chords, [*chords[1:], chords[0]], strict=True):
        root = one.chord.root
        assert root is not None
        first = at[one.start_beats]
        assert first % 12 == root.pitch_class
        steps = [at[step] for step in one.steps]
        assert abs(steps[-1] - at[following.start_beats]) == 1, "a half step leads into the next chord"
        tones = music21_tones(one.chord.symbol)
        assert {key % 12 for key in steps[:-1]} <= tones, one.chord.symbol
    assert all(28 <= note.key <= 51 for note in line)
    assert all(one.key != two.key for one, two in zip(line, line[1:], strict=False))
    assert all(one.end_beats == two.start_beats for one, two in zip(line, line[1:], strict=False))


def test_a_line_by_hand() -> None:
    """D F A Ab | G F D Db | C E G B | C: common practice, no source."""
    line = walking(bass_chords(form_chart("ii-V-I")))
    assert [note.key for note in line] == [38, 41, 45, 44, 43, 41, 38, 37, 36, 40, 43, 47, 48]
    assert line[-1].beats == 4


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_can_be_walked_through(row: FormRow) -> None:
    chart = form_chart(row.name)
    for line in (walking(bass_chords(chart)), walking(bass_chords(chart), loop=True), roots(bass_chords(chart))):
        assert line[0].start_beats == 0 and last_beat(line) == sum(bar.beats for bar in chart.played)


@pytest.mark.parametrize("symbol", ["C", "Cm", "Csus", "C7sus", "Cdim", "Caug", "C5", "Calt", "C7b5", "C6/9", "C13"])
def test_any_chord_can_be_walked_through(symbol: str) -> None:
    for time in ("4/4", "3/4", "6/8", "5/4", "7/4", "12/8"):
        line = walking(bass_chords(read_chart(f"key: C\ntime: {time}\n| {symbol} | F7 |")))
        assert line[0].key % 12 == 0 and line[-1].key % 12 == 5


def test_in_six_eight_the_bass_steps_on_the_dotted_quarters() -> None:
    line = walking(bass_chords(read_chart("key: C\ntime: 6/8\n| C7 | F7 |")))
    assert [float(note.start_beats) for note in line] == [0, 3, 6]


# -- voicings and melody


def test_the_voicings_of_a_form_sound_as_its_rhythm_says() -> None:
    lesson = lesson_of(form_chart("ii-V-I"), (Rule(rhythm=read_rhythm("1 chord, 2& chord")),))
    chords = slot_chords(lesson.slots())
    assert [float(one.start_beats) for one in chords] == [0, 1.5, 4, 5.5, 8, 9.5, 12, 13.5]
    notes = voiced(chords)
    assert len(notes) == sum(len(one.keys) for one in chords)
    assert {note.key for note in notes if note.start_beats == 0} == set(lesson.form[0].target.keys)


def melody_chart() -> Chart:
    chart = read_chart("title: Ours\nkey: C\n| C7 | F7 |")
    first = MelodyNote(Note.parse("E"), MidiNote(64), Fraction(3), Fraction(2))
    second = MelodyNote(Note.parse("E"), MidiNote(64), Fraction(1), Fraction(1), tied=True)
    third = MelodyNote(Note.parse("F"), MidiNote(65), Fraction(2), Fraction(1))
    bars = (replace(chart.bars[0], melody=(first,)), replace(chart.bars[1], melody=(second, third)))
    return replace(chart, bars=bars)


def test_a_tied_note_of_the_melody_sounds_once() -> None:
    assert [(float(n.start_beats), float(n.beats), n.key) for n in melody(melody_chart())] == [(2, 3, 64), (5, 1, 65)]


# -- one voicing by itself


def test_a_root_is_sounded_at_least_a_fifth_below() -> None:
    assert root_below((51, 55, 58, 62), Note.parse("C")) == 36
    assert root_below((53, 57, 60, 64), Note.parse("Bb")) == 46
    assert root_below((30, 40), Note.parse("C")) is None


def test_what_was_played_is_heard_before_what_was_asked_over_the_same_root() -> None:
    notes = heard_beside((51, 55, 58, 61), (51, 55, 58, 62), 36)
    assert [key for at, key in shown(notes) if at == 0] == [36, 51, 55, 58, 61]
    assert [key for at, key in shown(notes) if at == 2.5] == [36, 51, 55, 58, 62]
    assert shown(heard_beside((), (60,))) == [(0, 60)]


def test_all_is_quiet_unless_asked_otherwise() -> None:
    chart = form_chart("ii-V-I")
    notes = [
        *click(bars_of(chart)),
        *count_in(Meter(4, 4)),
        *walking(bass_chords(chart)),
        *voiced(slot_chords(lesson_of(chart).slots())),
        *held_chord((60, 64)),
    ]
    assert max(note.velocity for note in notes) <= 72 and {note.channel for note in notes} == {0, 9}
    assert all(note.velocity == 20 for note in held_chord((60,), velocity=20))


# -- messages


NOTES = st.builds(
    SoundNote,
    st.fractions(-8, 32, max_denominator=12),
    st.fractions(Fraction(1, 64), 8, max_denominator=64),
    st.integers(58, 62),
    st.integers(1, 127),
    st.sampled_from([0, 9]),
)


@given(st.lists(NOTES, max_size=30), st.sampled_from([STRAIGHT, SWUNG]), st.sampled_from([30.0, 120.0, 300.0]))
def test_every_key_is_let_go_before_it_is_struck_again_and_at_the_end(
    notes: list[SoundNote], swing: Fraction, tempo: float
) -> None:
    found = cues(notes, Grid(tempo, 5_000_000_000, swing))
    assert [cue.time_ns for cue in found] == sorted(cue.time_ns for cue in found)
    down: set[tuple[int, int]] = set()
    for cue in found:
        message = mido.Message.from_bytes(cue.message)
        key = (message.channel, message.note)
        if message.type == "note_on":
            assert message.velocity > 0 and key not in down
            down.add(key)
        else:
            assert message.type == "note_off"
            down.remove(key)
    assert not down
    struck = {(note.channel, note.key, Grid(tempo, 5_000_000_000, swing).time_ns(note.start_beats)) for note in notes}
    assert sum(cue.message[0] & 0xF0 == 0x90 for cue in found) == len(struck)


def test_a_repeated_key_is_let_go_ten_milliseconds_before() -> None:
    notes = [SoundNote(Fraction(beat), Fraction(1), 60) for beat in range(2)]
    assert [(cue.time_ns // 1_000_000, cue.message[0]) for cue in cues(notes, Grid(60))] == [
        (0, 0x90),
        (990, 0x80),
        (1000, 0x90),
        (2000, 0x80),
    ]


def test_a_note_that_midi_cannot_sound_is_refused() -> None:
    for key, velocity, channel, beats in (
        (128, 1, 0, 1),
        (60, 0, 0, 1),
        (60, 128, 0, 1),
        (60, 1, 16, 1),
        (60, 1, 0, 0),
    ):
        with pytest.raises(ValueError, match="no note that MIDI can sound"):
            SoundNote(Fraction(0), Fraction(beats), key, velocity, channel)


def test_nothing_to_sound_is_no_message() -> None:
    assert cues([], Grid(120)) == () and first_beat([]) == last_beat([]) == 0
