"""Charts: what a musician reads, in any key, and how the form is played.

Chords of the progressions in C, and ♭II7 in G♭ as G7: common practice (worked out by hand), no source. Transposition:
music21's own, by the interval between the keys. Orders of repeats and endings: by hand, as on paper.
"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import interval, key, pitch

from trainer.charts import (
    FORMS,
    ChartError,
    ChartFault,
    FormError,
    FormRow,
    Key,
    degree_of,
    form_chart,
    form_row,
    in_twelve_keys,
    lead_chart,
    lead_text,
    lead_values,
    read_chart,
    slots_of,
    transposed,
    twelve_keys,
    write_chart,
)
from trainer.chords import parse, parse_degree_chord
from trainer.leading import LeadingError, Plan
from trainer.pitch import TWELVE_ROOTS, MidiNote, Note, PitchError

DEMO = Path(__file__).parent.parent / "drills" / "demo-the-kettle-takes-its-time.chart"


def symbols(text: str) -> list[str]:
    return [one.chord.symbol for one in read_chart(text).unrolled()]


def faults(text: str) -> tuple[ChartFault, ...]:
    with pytest.raises(ChartError) as caught:
        read_chart(text)
    return caught.value.faults


# ------------------------------------------------------------- reading


def test_bars_hold_chords_by_symbol_and_by_degree() -> None:
    assert symbols("key: Bb\n| Cm7 F7 | Imaj7 | bII7/3 | N.C. |") == ["Cm7", "F7", "Bbmaj7", "Cb7/Eb", "N.C."]


def test_chords_share_a_bar_equally_and_strokes_hold_them() -> None:
    chart = read_chart("| C7 | C7 F7 | C7 / / F7 | C7 F7 G7 C7 |\n| 3/4 C7 | C7 / F7 | 6/8 C7 F7 |")
    assert [(one.bar, one.beat, one.beats) for one in chart.unrolled()] == [
        (1, 1, 4),
        (2, 1, 2), (2, 3, 2),
        (3, 1, 3), (3, 4, 1),
        (4, 1, 1), (4, 2, 1), (4, 3, 1), (4, 4, 1),
        (5, 1, 3),
        (6, 1, 2), (6, 3, 1),
        (7, 1, Fraction(3, 2)), (7, 4, Fraction(3, 2)),  # eighths count half, after quarters
    ]  # fmt: skip


def test_more_marks_than_beats_are_parts_of_a_beat() -> None:
    chart = read_chart("| C7 / / / / / / F7 | 3/4 C7 / / / F7 / / / / | C7 F7 G7 C7 F7 G7 |")
    assert [(one.bar, one.beat, one.beats) for one in chart.unrolled()][:4] == [
        (1, 1, Fraction(7, 2)), (1, Fraction(9, 2), Fraction(1, 2)),
        (2, 1, Fraction(4, 3)), (2, Fraction(7, 3), Fraction(5, 3)),
    ]  # fmt: skip
    assert {one.beats for one in chart.bars[2].chords} == {Fraction(1, 2)}
    assert read_chart(write_chart(chart)) == chart


def test_degrees_count_in_the_key_of_their_bar() -> None:
    text = "key: F\n\n| iim7 V7 | Imaj7 | key:Ab iim7 V7 | Imaj7 | key:Fm 3/4 im6 |\n"
    chart = read_chart(text)
    assert symbols(text) == "Gm7 C7 Fmaj7 Bbm7 Eb7 Abmaj7 Fm6".split()
    assert [found.name for found in chart.keys] == ["F", "F", "Ab", "Ab", "Fm"]
    assert write_chart(chart).splitlines()[3:] == ["| iim7 V7 | Imaj7 | key:Ab iim7 V7 | Imaj7 |", "| 3/4 key:Fm im6 |"]
    assert read_chart(write_chart(chart)) == chart
    assert chart.by_symbol.by_degree == chart
    moved = transposed(chart, Note.parse("Gb"))
    # Common practice, no source: a tune in Gb whose bridge lies a minor third up is in A there, not in Bbb.
    assert [one.chord.symbol for one in moved.unrolled()] == "Abm7 Db7 Gbmaj7 Bm7 E7 Amaj7 F#m6".split()
    assert [found.name for found in moved.keys] == ["Gb", "Gb", "A", "A", "F#m"]
    assert transposed(moved, Note.parse("F")) == chart


def test_a_bar_is_named_with_its_beat_where_a_chord_is_not_on_one() -> None:
    assert [one.label for one in read_chart("| C7 | Gm7 C7 |").unrolled()] == ["1", "2", "2.3"]


def test_an_eighth_stays_an_eighth_where_the_unit_of_the_time_changes() -> None:
    chart = read_chart("| C7 F7 | 6/8 C7 F7 | 2/2 C7 F7 | 4/4 C7 |")
    assert [(one.label, one.start_beats, one.beats) for one in chart.unrolled()] == [
        ("1", 0, 2), ("1.3", 2, 2),
        ("2", 4, Fraction(3, 2)), ("2.4", Fraction(11, 2), Fraction(3, 2)),
        ("3", 7, 2), ("3.2", 9, 2),
        ("4", 11, 4),
    ]  # fmt: skip
    assert [one.beats for one in chart.played] == [4, 3, 4, 4]


def test_a_pickup_bar_is_bar_nought_and_lies_before_the_form() -> None:
    chart = read_chart("time: 4/4\npickup: 1\n[A] | G7 | C6 | F6 |\n")
    assert [(one.bar, one.start_beats, one.letter) for one in chart.unrolled()] == [
        (0, -1, ""),
        (1, 0, "A"),
        (2, 4, "A"),
    ]
    assert [one.chord.symbol for one in chart.unrolled(pickup=False)] == ["C6", "F6"]


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("| C | D | E |", "C D E"),
        ("|: C | D :| E |", "C D C D E"),
        ("| C | D :| E |", "C D C D E"),
        ("| C |: D :|x3 E |", "C D D D E"),
        ("|: C :|x3\n| E |", "C C C E"),
        ("|: C :|: D :|", "C C D D"),
        ("|: C |1. D :|2. E | F |", "C D C E F"),
        ("|: C |1,2. D :|3. E |", "C D C D C E"),
        ("|: C |1. D | E :|\n|2. F | G :|3. A | B |", "C D E C F G C A B"),
        ("|: C |1. D :|2. E |: F :| G |", "C D C E F F G"),
        ("| C | % | D |", "C C D"),
        ("[A] | C |\n[B] | D |\n[A] | E |", "C D E"),
        ("form: A A B A\n[A] | C |\n[B] | D |", "C C D C"),
        ("form: A B A\n| G |\n[A] |: C |1. D :|2. E |\n[B] | F |", "G C D C E F C D C E"),
        ("[A] | C |\n[B] | D | E :|", "C D E D E"),
        ("pickup: 1\n| G | C | D :|", "G C D C D"),
        ("[A] |: C |\n[B] | D :|\n[C] | E |", "C D C D E"),
        ("[A] |: C |\n[B] | D |1. E :|2. F |\n[C] | G | A :|", "C D E C D F G A G A"),
    ],
)
def test_repeats_endings_and_letters_are_played_as_on_paper(text: str, order: str) -> None:
    assert " ".join(symbols(text)) == order


def test_the_aaba_form_has_32_bars_and_a_cycle_of_dominants_in_the_bridge() -> None:
    chart = form_chart("AABA, dominants in the bridge")
    assert len(chart.played) == 32
    bridge = [one.chord.symbol for one in chart.unrolled() if one.letter == "B"]
    assert list(dict.fromkeys(bridge)) == ["E7", "A7", "D7", "G7"]


def test_melody_notes_share_their_bar_and_are_held_over_the_bar_line() -> None:
    chart = read_chart("| Cm7 | F7 |\n~ | Eb5 _ . G4 | _ C#5 _ _ |")
    first, second = (bar.melody for bar in chart.bars)
    assert [(note.note.name, note.key, note.beat, note.beats) for note in first] == [("Eb", 75, 1, 2), ("G", 67, 4, 1)]
    assert [(note.note.name, note.beat, note.beats, note.tied) for note in second] == [
        ("G", 1, 1, True),
        ("C#", 2, 3, False),
    ]
    assert [one.melody_key for one in chart.unrolled()] == [75, 67]


def test_eight_melody_marks_in_four_four_are_eighths() -> None:
    (bar,) = read_chart("| C7 |\n~ | C5 D5 E5 F5 G5 A5 Bb5 C6 |").bars
    assert [note.beats for note in bar.melody] == [Fraction(1, 2)] * 8


def test_musical_signs_are_read_as_well() -> None:
    assert symbols("key: B♭\n| ♭II7 | C♯ø7 | E♭△7 |") == ["Cb7", "C#m7b5", "Ebmaj7"]


# ------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("text", "line", "column", "word"),
    [
        ("", 1, 1, "no bars"),
        ("key: H\n| C |", 1, 6, "not a note"),
        ("key: C dur\n| C |", 1, 6, "not a key"),
        ("tempo: 120\n| C |", 1, 1, "no word of a chart"),
        ("key: C\nkey: F\n| C |", 2, 1, "twice"),
        ("title:\n| C |", 1, 1, "no value"),
        ("time: 4/5\n| C |", 1, 7, "not a time"),
        ("pickup: 4\n| C |", 1, 9, "1 to 3 beats"),
        ("| C7 | Hm7 |", 1, 8, "cannot be read"),
        ("| C7 | Cm7x |", 1, 11, "cannot be read"),
        ("| iim7 | VIIIx |", 1, 13, "cannot be read"),
        ("| C7 |  |", 1, 7, "empty bar"),
        ("C7 | F7 |", 1, 1, "begins with a bar line"),
        ("| C7 | F7", 1, 8, "after the last bar line"),
        ("| C7 F7 G7 |", 1, 3, "do not share"),
        ("| C7 / F7 |", 1, 3, "bar has 4"),
        ("| / C7 / / |", 1, 3, "no"),
        ("| % |", 1, 3, "no bar before"),
        ("| C7 | 3/4 % |", 1, 12, "write it out"),
        ("| C7 | key:D % |", 1, 14, "key changes here"),
        ("| key:Q C7 |", 1, 7, "not a note"),
        ("| C7 / / / / F7 |", 1, 3, "bar has 4"),
        ("| C " + "/ " * 500 + "|", 1, 3, "at most 480"),
        ("| C7 % |", 1, 6, "alone"),
        ("|: C7 | F7 |", 1, 3, "never closes"),
        ("|: C7 |: F7 :|", 1, 9, "has not closed"),
        ("|: C7 |1. F7 :|3. G7 |", 1, 8, "endings"),
        ("|: C7 |1. F7 |2. G7 |", 1, 8, "close"),
        ("|: C7 |1. F7 :|2. G7 :|", 1, 16, "last ending"),
        ("| C7 | F7 |\n:| G7 |", 2, 1, "closing sign"),
        ("| C7 |:", 1, 6, "no bar after"),
        ("| C7 :|x40 G7 |", 1, 8, "2 to 16"),
        ("form: A C\n[A] | C7 |", 1, 7, "names C"),
        ("form: A\n[A] | C7 |\n[B] | F7 |", 3, 6, "not in the form"),
        ("form: A\n[A] | C7 |\n[A] | F7 |", 3, 6, "twice"),
        ("[] | C7 |", 1, 2, "letter"),
        ("~ | C5 |", 1, 1, "stands under"),
        ("| C7 |\n~ | C5 | D5 |", 2, 1, "2 bars"),
        ("| C7 |\n~ | H5 |", 2, 5, "not a note"),
        ("| C7 |\n~ | _ C5 |", 2, 5, "none sounds"),
        ("| C7 |\n~ | |", 2, 4, "empty bar of melody"),
    ],
)
def test_a_fault_is_told_with_its_place(text: str, line: int, column: int, word: str) -> None:
    found = faults(text)
    assert word in found[0].message
    assert (found[0].line, found[0].column) == (line, column)
    assert len(found) == 1


def test_every_fault_is_told_at_once_in_the_order_of_the_text() -> None:
    found = faults("key: Q\ntempo: 3\n| C7 | Hm7 |  |\n| C7 F7 G7 |")
    assert [fault.line for fault in found] == [1, 2, 3, 3, 4]


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="|:[]ABCb#7m%/~_.x123 \niIvV;=ékey", max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        chart = read_chart(text)
    except ChartError as fault:
        assert fault.faults and all(one.message and one.line > 0 and one.column > 0 for one in fault.faults)
    else:
        assert read_chart(write_chart(chart)) == chart


def test_a_form_longer_than_any_tune_is_refused() -> None:
    assert "more than a tune" in faults("form: " + "A " * 2000 + "\n[A] " + "| C " * 20 + "|")[0].message


# ------------------------------------------------------------- writing


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_reads_back_as_written_in_twelve_keys(row: FormRow) -> None:
    for chart in in_twelve_keys(form_chart(row.name)):
        assert read_chart(write_chart(chart)) == chart
        assert read_chart(write_chart(chart.by_symbol)) == chart.by_symbol


def test_a_chart_is_written_as_it_is_read_on_paper() -> None:
    text = (
        "title: Two Spoons\nkey: Bb\ntime: 4/4\npickup: 1\nform: A B A\nabout: invented\n\n"
        "    | N.C. |\n[A] |: Cm7 / / F7 | % | 1. Bb6 :| 2. Bb7 |\n[B] | 3/4 Eb6 :|x3 4/4 F7 |\n"
    )
    assert write_chart(read_chart(text)) == text


def test_the_demo_tune_reads_back_and_is_a_jazz_form_blues_with_a_pickup() -> None:
    chart = read_chart(DEMO.read_text(encoding="utf-8"))
    assert read_chart(write_chart(chart)) == chart
    assert [played.number for played in chart.played] == list(range(13))
    form = form_chart("jazz blues", Note.parse("F"))
    assert [one.chord for one in chart.unrolled(pickup=False)] == [one.chord for one in form.unrolled()]


# ------------------------------------------------------------- progressions, by hand

IN_C = {
    "ii-V-I": "Dm7 G7 Cmaj7 Cmaj7",
    "ii-V-i minor": "Dm7b5 G7(b9) Cm6 Cm6",
    "iii-VI-ii-V": "Em7 A7 Dm7 G7",
    "I-vi-ii-V": "Cmaj7 Am7 Dm7 G7",
    "backdoor": "Fm7 Bb7 Cmaj7 Cmaj7",
    "tritone substitute": "Dm7 Db7 Cmaj7 Cmaj7",
    "blues": "C7 C7 C7 C7 F7 F7 C7 C7 G7 F7 C7 G7",
    "jazz blues": "C7 F7 C7 Gm7 C7 F7 F#dim7 C7 Em7 A7 Dm7 G7 C7 A7 Dm7 G7",
    "minor blues": "Cm7 Fm7 Cm7 Cm7 Fm7 Fm7 Cm7 Cm7 Ab7 G7 Cm7 Dm7b5 G7",
}


@pytest.mark.parametrize(("name", "chords"), IN_C.items())
def test_a_progression_in_c_is_the_one_a_musician_writes(name: str, chords: str) -> None:
    assert [one.chord.symbol for one in form_chart(name).unrolled()] == chords.split()


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_has_its_usual_number_of_bars(row: FormRow) -> None:
    bars = len(form_chart(row.name).played)
    assert bars == {"blues": 12, "jazz blues": 12, "minor blues": 12}.get(row.name, bars)
    assert bars in {2, 4, 8, 12, 32}


@pytest.mark.parametrize(
    ("name", "root", "chords"),
    [
        ("tritone substitute", "Gb", "Abm7 G7 Gbmaj7"),
        ("tritone substitute", "Db", "Ebm7 D7 Dbmaj7"),
        ("backdoor", "Gb", "Cbm7 Fb7 Gbmaj7"),
        ("jazz blues", "B", "B7 E7 B7 F#m7 B7 E7 E#dim7 B7 D#m7 G#7 C#m7 F#7 B7 G#7 C#m7 F#7"),
        ("ii-V-I", "F#", "G#m7 C#7 F#maj7"),
    ],
)
def test_a_progression_is_spelled_for_its_key(name: str, root: str, chords: str) -> None:
    found = [one.chord.symbol for one in form_chart(name, Note.parse(root)).unrolled()]
    assert found[: len(chords.split())] == chords.split()


@pytest.mark.parametrize("name", ["ii–V–I", "II-v-i", "Jazz  Blues", "AABA dominants in the bridge"])
def test_a_form_is_found_however_it_is_typed(name: str) -> None:
    assert form_row(name).name


def test_case_tells_a_minor_degree_from_a_dominant() -> None:
    assert form_row("I-vi-ii-V").bars != form_row("I-VI-ii-V").bars
    with pytest.raises(FormError) as caught:
        form_row("i-Vi-Ii-v")
    assert "I-vi-ii-V" in caught.value.near


def test_an_unknown_form_is_refused_with_near_names() -> None:
    with pytest.raises(FormError) as caught:
        form_row("jaz blues")
    assert "jazz blues" in caught.value.near


# ------------------------------------------------------------- any key from any key


def test_the_twelve_minor_keys_have_a_signature_in_music21() -> None:
    for one in twelve_keys(minor=True):
        assert abs(key.Key(one.root.name.replace("b", "-").lower(), "minor").sharps) <= 7
    assert [one.root for one in twelve_keys()] == list(TWELVE_ROOTS)


@pytest.mark.parametrize("name", ["F", "Cm", "C minor", "Bb major", "F#m", "E♭"])
def test_a_key_reads_back(name: str) -> None:
    assert Key.parse(Key.parse(name).name) == Key.parse(name)


def test_no_key_has_a_double_accidental() -> None:
    with pytest.raises(PitchError):
        Key.parse("Bbb")


def in_music21(note: Note) -> pitch.Pitch:
    return pitch.Pitch(note.name.replace("b", "-"))


@pytest.mark.parametrize("start", TWELVE_ROOTS, ids=str)
@pytest.mark.parametrize("end", [*TWELVE_ROOTS, Note.parse("F#"), Note.parse("Cb")], ids=str)
def test_chords_and_melody_are_transposed_as_music21_does(start: Note, end: Note) -> None:
    degrees = [parse_degree_chord(text) for text in "I iim7 bIII6 #IVdim7 V7/3 bVII7 ivm6".split()]
    melody = "~ | G4 | A4 | Eb5 | C5 | B4 | D5 | Ab4 |"
    before = transposed(read_chart(f"| {' | '.join(map(str, degrees))} |\n{melody}"), start).by_symbol
    after = transposed(before, end)
    between = interval.Interval(in_music21(start), in_music21(end))
    for degree, one, other in zip(degrees, before.unrolled(), after.unrolled(), strict=True):
        assert one.chord.root and other.chord.root
        expected = in_music21(one.chord.root).transpose(between)
        assert other.chord.root.pitch_class == expected.pitchClass
        # Where either key has a double accidental there, the root goes by its plain name, which music21 does not do.
        if one.chord.root == start + degree.degree_root and abs(int(expected.alter)) < 2:
            assert other.chord.root.name.replace("b", "-") == expected.name
        assert other.chord.quality == degree.quality
        assert (other.chord.bass is None) == (degree.bass is None)
        assert one.melody_key is not None and other.melody_key is not None
        shift = other.melody_key - one.melody_key
        assert -5 <= shift <= 6 and (shift - between.semitones) % 12 == 0


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
@pytest.mark.parametrize("start", TWELVE_ROOTS, ids=str)
def test_a_form_read_from_symbols_in_any_key_is_the_same_form_in_any_other(row: FormRow, start: Note) -> None:
    written = form_chart(row.name, start).by_symbol
    for end in TWELVE_ROOTS:
        assert [one.chord for one in transposed(written, end).unrolled()] == [
            one.chord for one in form_chart(row.name, end).unrolled()
        ]


@pytest.mark.parametrize(
    ("symbol", "name", "degree"),
    [
        ("G7", "Gb", "bII7"),
        ("Gdim7", "Gb", "#idim7"),
        ("D7", "Gb", "bVI7"),
        ("B7", "F", "#IV7"),
        ("Cb7/A", "Gb", "IV7/b7"),
        ("Bbm7", "Cm", "bviim7"),
    ],
)
def test_a_plain_root_is_taken_back_for_the_degree_it_stands_for(symbol: str, name: str, degree: str) -> None:
    found = degree_of(parse(symbol), Key.parse(name))
    assert found is not None and found.symbol == degree


def test_a_melody_that_would_leave_the_piano_keys_is_refused() -> None:
    with pytest.raises(PitchError, match="leave the keys"):
        transposed(read_chart("| C |\n~ | G9 |"), Note.parse("D"))


# ------------------------------------------------------------- led


def test_a_chord_held_over_several_bars_is_voiced_once() -> None:
    chords, slots = slots_of(form_chart("blues"))
    assert [chord.label for chord in chords] == ["1", "5", "7", "9", "10", "11", "12"]
    assert len(slots) == 7


def test_a_form_comes_round_without_its_pickup() -> None:
    chart = read_chart(DEMO.read_text(encoding="utf-8"))
    found = lead_chart(chart, loop=True, melody=False)
    assert found.chords[0].bar == 1
    assert found.path.stations[0].move is not None


def test_every_form_is_led_in_twelve_keys() -> None:
    for row in FORMS:
        for chart in in_twelve_keys(form_chart(row.name)):
            found = lead_chart(chart, loop=True)
            assert len(found.path.stations) == len(found.chords)


def test_a_chart_is_led_under_its_melody_in_twelve_keys() -> None:
    for chart in in_twelve_keys(read_chart(DEMO.read_text(encoding="utf-8"))):
        found = lead_chart(chart)
        for station in found.path.stations:
            assert station.placement.keys[-1] == station.slot.melody_key


def test_a_two_five_one_is_told_bar_by_bar() -> None:
    found = lead_chart(form_chart("ii-V-I", Note.parse("F")))
    assert lead_text(found).splitlines()[0] == "ii-V-I, in F"
    assert [line.split()[0] for line in lead_text(found).splitlines()[2:5]] == ["1", "2", "3"]
    told = json.loads(json.dumps(lead_values(found)))
    assert [chord["chord"] for chord in told["chords"]] == ["Gm7", "C7", "Fmaj7"]


def test_a_bar_that_cannot_be_voiced_is_named() -> None:
    chart = read_chart("| Dm7 | G7 |\n~ | C6 | C2 |")
    with pytest.raises(LeadingError, match="bar 2"):
        lead_chart(chart, Plan(("rootless from the third",)))
    assert MidiNote(36) == chart.unrolled()[1].melody_key
