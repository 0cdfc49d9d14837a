"""Chords in and out of MusicXML 4.0 harmony elements, and chords by degree of a key."""

from __future__ import annotations

from pathlib import Path
from xml.etree.ElementTree import Element, fromstring, tostring

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import converter, harmony

from trainer.chords import (
    Chord,
    ChordError,
    Quality,
    parse,
    parse_degree_chord,
    read_harmony,
    write_harmony,
)
from trainer.pitch import ROOT_ORDERS, TWELVE_ROOTS, Note

# MusicXML 4.0, musicxml.xsd, kind-value; the semitones are the usual ones of the names (common practice).
KINDS = {
    "major": "0 4 7",
    "minor": "0 3 7",
    "augmented": "0 4 8",
    "diminished": "0 3 6",
    "dominant": "0 4 7 10",
    "major-seventh": "0 4 7 11",
    "minor-seventh": "0 3 7 10",
    "diminished-seventh": "0 3 6 9",
    "augmented-seventh": "0 4 8 10",
    "half-diminished": "0 3 6 10",
    "major-minor": "0 3 7 11",
    "major-sixth": "0 4 7 9",
    "minor-sixth": "0 3 7 9",
    "dominant-ninth": "0 4 7 10 14",
    "major-ninth": "0 4 7 11 14",
    "minor-ninth": "0 3 7 10 14",
    "dominant-11th": "0 4 7 10 14 17",
    "major-11th": "0 4 7 11 14 17",
    "minor-11th": "0 3 7 10 14 17",
    "dominant-13th": "0 4 7 10 14 17 21",
    "major-13th": "0 4 7 11 14 17 21",
    "minor-13th": "0 3 7 10 14 17 21",
    "suspended-second": "0 2 7",
    "suspended-fourth": "0 5 7",
    "power": "0 7",
    "other": "0",
}
DEGREES = [
    line.split(" : ")[0]
    for line in (Path(__file__).parent / "chord_spellings.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]
FUNCTIONAL = ("Neapolitan", "Italian", "French", "German", "pedal", "Tristan")


_PARTS = ("value", "alter", "type")


def _harmony(kind: str, degrees: str = "", root: str = "C", more: str = "", text: str = "") -> Element:
    """`degrees`: triples value,alter,type with spaces between."""
    parts = "".join(
        "<degree>{}</degree>".format(
            "".join(
                f"<degree-{name}>{part}</degree-{name}>" for name, part in zip(_PARTS, triple.split(","), strict=True)
            )
        )
        for triple in degrees.split()
    )
    alter = f"<root-alter>{root.count('#') - root.count('b')}</root-alter>" if len(root) > 1 else ""
    root_xml = f"<root><root-step>{root[0]}</root-step>{alter}</root>"
    return fromstring(f'<harmony>{root_xml}<kind text="{text}">{kind}</kind>{more}{parts}</harmony>')


def test_the_standard_has_thirty_three_kinds_and_each_is_read_or_refused_by_rule() -> None:
    assert len(KINDS) + len(FUNCTIONAL) + len(["none"]) == 33


@pytest.mark.parametrize(("kind", "semitones"), KINDS.items())
def test_every_kind_with_chord_tones_is_read(kind: str, semitones: str) -> None:
    chord = read_harmony(_harmony(kind))
    assert [degree.semitones for degree in chord.degrees] == list(map(int, semitones.split()))


@pytest.mark.parametrize("kind", FUNCTIONAL)
def test_a_kind_that_names_a_function_is_refused(kind: str) -> None:
    with pytest.raises(ChordError, match="function"):
        read_harmony(_harmony(kind))


def test_the_kind_none_is_no_chord() -> None:
    assert read_harmony(_harmony("none")) == parse("N.C.")


# The rules of degree-type in the standard's notes: add counts from a dominant chord, alter and subtract from the kind.
@pytest.mark.parametrize(
    ("kind", "degrees", "symbol"),
    [
        ("suspended-fourth", "7,0,add", "C7sus4"),
        ("suspended-fourth", "7,0,add 9,0,add 13,0,add", "C13sus4"),
        ("suspended-fourth", "7,1,add", "Cmaj7sus4"),
        ("major-sixth", "9,0,add", "C6/9"),
        ("dominant", "5,1,alter 9,1,add", "C7(#5,#9)"),
        ("dominant", "9,-1,add", "C7(b9)"),
        ("dominant", "9,-1,alter", "C7(b9)"),
        ("dominant-ninth", "9,-1,alter", "C7(b9)"),
        ("dominant-13th", "11,1,alter", "C13(#11)"),
        ("dominant-13th", "11,0,subtract", "C9(13)"),
        ("minor-seventh", "5,-1,alter", "Cm7b5"),
        ("half-diminished", "9,0,add", "Cm7b5(9)"),
        ("diminished-seventh", "7,1,alter", "Cm7b5"),
        ("major", "9,0,add", "Cadd9"),
        ("major", "2,0,add", "Cadd2"),
        ("major", "3,0,subtract", "C5"),
        ("minor", "7,1,add", "CmMaj7"),
        ("other", "4,0,add 7,0,add", "C5(addb7,add4,no5)"),
    ],
)
def test_degrees_add_alter_and_subtract(kind: str, degrees: str, symbol: str) -> None:
    found = read_harmony(_harmony(kind, degrees))
    assert found == parse(symbol)


def test_root_bass_and_inversion_are_read() -> None:
    bass = "<bass><bass-step>D</bass-step><bass-alter>-1</bass-alter></bass>"
    assert read_harmony(_harmony("dominant", root="Eb", more=bass)) == parse("Eb7/Db")
    assert read_harmony(_harmony("minor", root="F#", more="<inversion>1</inversion>")) == parse("F#m/A")


def test_an_empty_kind_is_read_from_its_text() -> None:
    assert read_harmony(_harmony("", text="-7b5")) == parse("Cm7b5")


def test_the_altered_chord_keeps_its_tones_optional() -> None:
    assert read_harmony(_harmony("dominant", "5,1,alter 9,1,add", text="7alt")) == parse("C7alt")


@pytest.mark.parametrize(
    "xml",
    [
        "<harmony/>",
        "<harmony><kind>major</kind></harmony>",
        "<harmony><numeral><numeral-root>2</numeral-root></numeral><kind>minor</kind></harmony>",
        "<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>",
        "<harmony><root><root-step>C</root-step><root-alter>0.5</root-alter></root><kind>major</kind></harmony>",
        "<harmony><root><root-step>C</root-step></root><kind>dominant-15th</kind></harmony>",
        "<harmony><root><root-step>C</root-step></root><kind>major</kind><inversion>9</inversion></harmony>",
        "<harmony><root><root-step>C</root-step></root><kind>major</kind><degree/></harmony>",
        "<harmony><root><root-step>C</root-step></root><kind>major</kind>"
        "<root><root-step>D</root-step></root><kind>major</kind></harmony>",
    ],
)
def test_an_element_without_sense_is_refused(xml: str) -> None:
    with pytest.raises(ChordError):
        read_harmony(fromstring(xml))


@given(st.recursive(st.text(max_size=3), lambda inner: st.lists(inner, max_size=4), max_leaves=12), st.data())
def test_no_element_raises_anything_but_a_chord_error(tree: object, data: st.DataObject) -> None:
    names = (
        "harmony",
        "root",
        "root-step",
        "root-alter",
        "kind",
        "bass",
        "bass-step",
        "degree",
        "degree-value",
        "inversion",
    )

    def build(node: object) -> Element:
        element = Element(data.draw(st.sampled_from(names)))
        if isinstance(node, list):
            element.extend(build(child) for child in node)
        else:
            element.text = str(node)
        return element

    try:
        read_harmony(build(tree))
    except ChordError as error:
        assert 0 <= error.at <= len(error.text)


@pytest.mark.parametrize("root", TWELVE_ROOTS, ids=str)
def test_every_chord_survives_the_way_through_a_score(root: Note) -> None:
    for degrees in DEGREES:
        for bass in (None, Note.parse("F#")):
            chord = Chord(root, Quality.of(degrees), bass)
            assert read_harmony(fromstring(tostring(write_harmony(chord)))).quality.degrees == chord.degrees
            assert read_harmony(write_harmony(chord)).bass == bass


@pytest.mark.parametrize("symbol", "C Cm7 Bb7 F#m7b5 Ebmaj7 Abdim7 DmMaj7 G9 A13 Csus4 C6 Cm6 C+ C5 Gm11 C7/E".split())
def test_music21_hears_the_same_tones_in_what_is_written(symbol: str) -> None:
    chord = parse(symbol)
    measure = "<measure number='1'><attributes><divisions>1</divisions></attributes>{}{}</measure>".format(
        tostring(write_harmony(chord), encoding="unicode"),
        "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>",
    )
    score = converter.parseData(
        "<score-partwise version='4.0'><part-list><score-part id='P1'><part-name/></score-part></part-list>"
        f"<part id='P1'>{measure}</part></score-partwise>",
        format="musicxml",
    )
    (found,) = score.recurse().getElementsByClass(harmony.ChordSymbol)
    assert {pitch.pitchClass for pitch in found.pitches} == {note.pitch_class for note in chord.notes}


# Common practice, no source.
@pytest.mark.parametrize(
    ("text", "in_c", "in_g_flat"),
    [
        ("iim7", "Dm7", "Abm7"),
        ("ii7", "Dm7", "Abm7"),
        ("IIm7", "Dm7", "Abm7"),
        ("V7", "G7", "Db7"),
        ("Imaj7", "Cmaj7", "Gbmaj7"),
        ("♭II7", "Db7", "G7"),
        ("bII7", "Db7", "G7"),
        ("#IV°7", "F#dim7", "Cdim7"),
        ("vi", "Am", "Ebm"),
        ("V7/V", "D7", "Ab7"),
        ("viiø7", "Bm7b5", "Fm7b5"),
        ("v m7", "Gm7", "Dbm7"),
        ("bVIImaj7", "Bbmaj7", "Fbmaj7"),
        ("bIII", "Eb", "A"),
        ("bVImaj7", "Abmaj7", "Dmaj7"),
        ("imMaj7", "CmMaj7", "GbmMaj7"),
        ("i(maj7)", "CmMaj7", "GbmMaj7"),
        ("iv6", "Fm6", "Cbm6"),
        ("V7alt", "G7alt", "Db7alt"),
        ("V13sus4", "G13sus4", "Db13sus4"),
        ("I/3", "C/E", "Gb/Bb"),
        ("vii°7/ii", "C#dim7", "Gdim7"),
        ("ii-7", "Dm7", "Abm7"),
        ("V7/bVI", "Eb7", "A7"),
    ],
)
def test_a_chord_by_degree_stands_in_any_key(text: str, in_c: str, in_g_flat: str) -> None:
    chord = parse_degree_chord(text)
    assert (chord.on(Note.parse("C")).symbol, chord.on(Note.parse("Gb")).symbol) == (in_c, in_g_flat)
    assert parse_degree_chord(chord.symbol) == chord


def test_no_root_of_a_progression_keeps_a_double_accidental() -> None:
    for key in ROOT_ORDERS["fourths"]:
        for numeral in "I bII II bIII III IV #IV V bVI VI bVII VII".split():
            root = parse_degree_chord(numeral + "7").on(key).root
            assert root is not None and abs(root.alteration) <= 1


@pytest.mark.parametrize(
    ("text", "at"),
    [("", 0), ("X7", 0), ("VIII", 3), ("iix", 2), ("V7/", 2), ("Vi", 1), ("V7/E", 4), ("V7(b9", 5), ("Vm7b", 3)],
)
def test_what_is_no_chord_by_degree_is_refused_at_its_place(text: str, at: int) -> None:
    with pytest.raises(ChordError) as caught:
        parse_degree_chord(text)
    assert (caught.value.text, caught.value.at) == (text, at)


@given(st.text(alphabet="IViv b#♭♯7m°ø/()9+-maj", max_size=10) | st.text())
def test_any_text_is_a_chord_by_degree_or_refused_within_itself(text: str) -> None:
    try:
        chord = parse_degree_chord(text)
    except ChordError as error:
        assert 0 <= error.at <= len(text)
    else:
        assert parse_degree_chord(chord.symbol) == chord
