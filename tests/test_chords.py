"""Chord symbols against theory written by hand and three libraries that read some of the same texts."""

from __future__ import annotations

import pickle
from pathlib import Path

import mir_eval.chord
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from music21 import harmony
from pychord.constants import qualities as pychord_qualities

from trainer.chords import COLOURS, STYLES, Chord, ChordError, Quality, parse, parse_quality
from trainer.pitch import TWELVE_ROOTS, Degree, Note


def _spellings() -> list[tuple[str, str]]:
    """(spelling on C, degrees) of every row of the hand-written list."""
    rows = []
    for line in (Path(__file__).parent / "chord_spellings.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            degrees, spellings = line.split(" : ")
            rows += [(spelling, degrees) for spelling in spellings.split(" | ")]
    return rows


SPELLINGS = _spellings()
DEGREES = list(dict.fromkeys(degrees for _, degrees in SPELLINGS))

# Semitones of the plain degrees, and letters in order: common practice, kept apart from the module under test.
_PLAIN_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_LETTERS = "CDEFGAB"
_NATURAL_SEMITONES = dict(zip(_LETTERS, _PLAIN_SEMITONES, strict=True))


def _spelled_by_counting(root: str, degree: str) -> str:
    """A chord tone by counting letters and semitones, as a pupil does on paper."""
    number = int(degree.strip("b#()"))
    letter = _LETTERS[(_LETTERS.index(root[0]) + number - 1) % 7]
    root_semitone = _NATURAL_SEMITONES[root[0]] + root.count("#") - root.count("b")
    wanted = root_semitone + _PLAIN_SEMITONES[(number - 1) % 7] + degree.count("#") - degree.count("b")
    off = (wanted - _NATURAL_SEMITONES[letter] + 6) % 12 - 6
    return letter + ("#" * off if off > 0 else "b" * -off)


def test_the_list_of_spellings_is_long_and_repeats_none() -> None:
    assert len(SPELLINGS) > 900
    assert len({spelling for spelling, _ in SPELLINGS}) == len(SPELLINGS)


@pytest.mark.parametrize(("spelling", "degrees"), SPELLINGS)
def test_a_spelling_stands_for_its_degrees(spelling: str, degrees: str) -> None:
    chord = parse(spelling)
    assert (chord.root, chord.bass) == (Note.parse("C"), None)
    assert chord.quality == Quality.of(degrees)


@pytest.mark.parametrize("root", [*map(str, TWELVE_ROOTS), "C#", "F#", "Cb", "G#", "D#"])
def test_every_spelling_on_every_root_spells_its_chord_tones(root: str) -> None:
    for spelling, degrees in SPELLINGS:
        chord = parse(root + spelling[1:])
        names = [name.strip("()") for name in degrees.split()]
        assert list(map(str, chord.degrees)) == names, spelling
        assert list(map(str, chord.notes)) == [_spelled_by_counting(root, name) for name in names], spelling


@pytest.mark.parametrize("root", [*map(str, TWELVE_ROOTS), "C#", "F#", "Cb"])
@pytest.mark.parametrize("style", STYLES)
def test_what_is_written_reads_back_in_every_style(style: str, root: str) -> None:
    for degrees in DEGREES:
        for bass in (None, Note.parse("Bb"), Note.parse("F#")):
            chord = Chord(Note.parse(root), Quality.of(degrees), bass)
            assert parse(chord.write(style)) == chord, chord.write(style)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("root", ["Dbb", "F##"])
def test_what_is_written_on_a_root_with_a_double_accidental_reads_back(root: str, style: str) -> None:
    for degrees in DEGREES:
        chord = Chord(Note.parse(root), Quality.of(degrees))
        assert parse(chord.write(style)) == chord, chord.write(style)


_DEGREE_NAMES = "1 b2 2 #2 b3 3 4 #4 b5 5 #5 b6 6 bb7 b7 7 b9 9 #9 b11 11 #11 b13 13 #13".split()


@example({"1", "b2", "2", "#2", "b3", "b9", "11"}, "house", Note(0))
@example({"2", "b9"}, "signs", Note(0))
@given(st.sets(st.sampled_from(_DEGREE_NAMES), min_size=1), st.sampled_from(STYLES), st.sampled_from(TWELVE_ROOTS))
def test_any_set_of_degrees_can_be_written_and_read_again(names: set[str], style: str, root: Note) -> None:
    chord = Chord(root, Quality.of(" ".join(names)))
    assert set(parse(chord.write(style)).degrees) == set(chord.degrees)


# Common practice, no source: the double accidentals are those of the trade's own table.
@pytest.mark.parametrize(
    ("symbol", "notes"),
    [
        ("Db7", "Db F Ab Cb"),
        ("Ebo7", "Eb Gb Bbb Dbb"),
        ("B7#9", "B D# F# A C##"),
        ("F#m7b5", "F# A C E"),
        ("G♭Δ", "Gb Bb Db F"),
        ("A#m", "A# C# E#"),
        ("Fbmaj7", "Fb Ab Cb Eb"),
        ("C##", "C## E## G##"),
        ("C𝄪m", "C## E# G##"),
        ("Cx7", "C## E## G## B#"),
        ("D𝄫", "Dbb Fb Abb"),
    ],
)
def test_chord_tones_keep_their_letters(symbol: str, notes: str) -> None:
    assert " ".join(map(str, parse(symbol).notes)) == notes


@pytest.mark.parametrize(
    ("symbol", "root", "quality", "bass"),
    [
        ("C/E", "C", "", "E"),
        ("C7/Bb", "C", "7", "Bb"),
        ("D-7/C", "D", "m7", "C"),
        ("F-/Ab", "F", "m", "Ab"),
        ("Bbmaj7/D", "Bb", "maj7", "D"),
        ("F#-7b5/E", "F#", "m7b5", "E"),
        ("C6/9/E", "C", "6/9", "E"),
        ("C/F#", "C", "", "F#"),  # no chord tone
        ("D/Eb", "D", "", "Eb"),
        ("Ab+j7/C", "Ab", "maj7(#5)", "C"),
        ("Gm7 / C", "G", "m7", "C"),
        ("G7(b9)/B", "G", "7(b9)", "B"),
        ("C7susadd3/B", "C", "7(add4)", "B"),
        ("A♭/B♭", "Ab", "", "Bb"),
        ("D/f#", "D", "", "F#"),
        ("D/f+", "D", "", "F#"),
        ("Gm/b-", "G", "m", "Bb"),
        ("G/b", "G", "", "B"),
        ("E7/b9", "E", "7(b9)", None),
        ("G/bb", "G", "", "Bb"),
        ("D7/F# add b9", "D", "7(b9)", "F#"),
        ("C/G add 2", "C", "add2", "G"),
        ("C/3", "C", "", "E"),
        ("A/b7", "A", "", "G"),
        ("D/5", "D", "", "A"),
        ("Am/b7", "A", "m", "G"),
        ("C7/5", "C", "7", "G"),
        ("G:sus4(b7,9)/2", "G", "9sus4", "A"),
        ("E:min7/b7", "E", "m7", "D"),
        ("C:maj/E", "C", "", "E"),
        ("E:1/1", "E", "5(no5)", None),
        ("B:maj/bb6", "B", "", "Gb"),
        ("D:maj(*1)/#1", "D", "(no1)", "D#"),
        ("E:(b3,b7)/b7", "E", "m7(no5)", "D"),
        ("D:min7(2,*b3,4)", "D", "sus24(addb7)", None),
        ("A-:min7", "Ab", "m7", None),  # the flat of one corpus syntax, known by the colon after it
        ("B-:7", "Bb", "7", None),
        ("Cs7", "C#", "7", None),
        ("Fsmin/Cs", "F#", "m", "C#"),
        ("Csus4", "C", "sus4", None),
        ("Db5,7", "D", "7(b5)", None),
        ("Dbb5", "Db", "(b5)", None),
        ("Abb5/Eb", "Ab", "(b5)", "Eb"),
        ("F##5", "F#", "aug", None),
        ("Bbb(no3)", "Bbb", "5", None),
        ("A/9", "A", "add9", None),
        ("A:maj/9", "A", "", "B"),
        ("(Bb7/D)", "Bb", "7", "D"),
        ("C major-seventh/G", "C", "maj7", "G"),
        ("C7/B", "C", "7", "B"),
        ("Abb5,M7", "Ab", "maj7(b5)", None),
    ],
)
def test_root_quality_and_bass_are_told_apart(symbol: str, root: str, quality: str, bass: str | None) -> None:
    chord = parse(symbol)
    assert (str(chord.root), chord.quality.text, chord.bass and str(chord.bass)) == (root, quality, bass)


@pytest.mark.parametrize("text", ["N.C.", "NC", "N.C", "n.c.", "nc", "N", "No Chord", "no chord", " N.C. "])
def test_no_chord_has_no_root_and_no_notes(text: str) -> None:
    chord = parse(text)
    assert (chord.root, chord.notes, chord.symbol, chord.quality.colour) == (None, (), "N.C.", "none")
    assert chord.on(Note.parse("D")) is chord


@pytest.mark.parametrize(
    ("text", "quality", "other"),
    [
        ("Db5", "5", "D(b5)"),
        ("F#5", "5", "F(#5)"),
        ("C-5", "(b5)", "m"),
        ("C7+", "7(#5)", "maj7"),
        ("C79b13", "7(b9,13)", "7(9,b13)"),
        ("C7(4)", "7sus4", "add4"),
        ("C(b9)", "(addb9)", "7"),
        ("Csusb9", "7sus4(b9)", "add"),
        ("Cm+7", "mMaj7", "m7(#5)"),
        ("am", "m", "capital"),
        ("Es7", "7", "German"),
        ("C/2", "", "bracket"),
        ("C9-", "7(b9)", "m9"),
        ("C6-9", "6(b9)", "6/9"),
        ("Dbb5", "(b5)", "Dbb(no3)"),
        ("F##5", "aug", "F##(no3)"),
        ("Bbb7", "7", "Bb7"),
        ("Dbb9", "9", "Db(b9)"),
        ("B b7", "7", "Bb"),
        ("C/9", "add9", "bass"),
        ("C/6", "6", "bass"),
        ("Cm/9", "madd9", "bass"),
        ("C/13", "(add13)", "bass"),
        ("C7/5", "7", "b5"),
        ("Cmsus4", "sus4", "add4"),
        ("Cm(9)", "madd9", "9"),
        ("Cmaj(13)", "(add13)", "13"),
        ("(C7)", "7", "brackets"),
        ("C7B9", "7(b9)", "capital"),
    ],
)
def test_a_text_with_two_meanings_says_which_was_taken(text: str, quality: str, other: str) -> None:
    chord = parse(text)
    assert chord.quality.text == quality
    assert other in chord.reading


@pytest.mark.parametrize("text", ["C", "Bb9", "Eb13", "C#11", "F#7", "Db(b5)", "C7b9", "C6/9", "Am7/G", "C:7(b5)"])
def test_a_text_with_one_meaning_carries_no_remark(text: str) -> None:
    assert parse(text).reading == ""


def test_the_remark_does_not_tell_equal_chords_apart() -> None:
    assert parse("Db5") == Chord(Note.parse("Db"), Quality.of("1 5"))


# Common practice, no source.
@pytest.mark.parametrize(
    ("text", "colour"),
    [
        *(("C" + text, "major") for text in ("", "add9", "(b5)")),
        *(("C" + text, "minor") for text in ("m", "m(#5)", "madd9", "-b6")),
        ("Cdim", "dim"),
        ("C+", "aug"),
        ("C5", "power"),
        *(("C" + text, "maj7") for text in ("maj7", "maj9", "maj13", "maj7#11", "maj7b5")),
        *(("C" + text, "6") for text in ("6", "6/9")),
        *(("C" + text, "m7") for text in ("m7", "m9", "m11", "m13", "m7(b9)")),
        *(("C" + text, "7") for text in ("7", "9", "11", "13", "7b9", "7#5", "7b5", "7(no3)", "7(no5)")),
        *(("C" + text, "m7b5") for text in ("m7b5", "ø9", "m11b5")),
        *(("C" + text, "dim7") for text in ("dim7", "°9", "°7(addmaj7)")),
        *(("C" + text, "m6") for text in ("m6", "m6/9")),
        *(("C" + text, "mMaj7") for text in ("mMaj7", "mMaj9")),
        *(("C" + text, "sus") for text in ("sus4", "sus2", "7sus4", "9sus4", "13sus4(b9)")),
        ("C7alt", "alt"),
        *(("C" + text, "augmaj7") for text in ("maj7#5", "+M9")),
        ("CdimMaj7", "dimMaj7"),
    ],
)
def test_a_chord_has_the_colour_of_its_seventh_chord(text: str, colour: str) -> None:
    assert parse(text).quality.colour == colour
    assert colour in COLOURS


def test_a_dominant_is_open_until_it_names_a_tension() -> None:
    opened = [
        text for text in ("7", "9", "7b9", "13", "7#5", "7sus4", "m7", "maj7", "7alt") if parse_quality(text).open
    ]
    assert opened == ["7"]


def test_third_fifth_seventh_and_ninth_are_named() -> None:
    quality = parse_quality("m9b5")
    found = (quality.third, quality.fifth, quality.seventh, quality.ninth)
    assert list(map(str, found)) == ["b3", "b5", "b7", "9"]
    assert parse_quality("sus4").third is None


def test_a_chord_moves_to_another_root_with_its_bass() -> None:
    assert parse("Cm7/Bb").on(Note.parse("F#")).symbol == "F#m7/E"


def test_qualities_sort_their_degrees_and_survive_copying() -> None:
    quality = Quality((Degree(7, -1), Degree(1), Degree(3)))
    assert [str(degree) for degree in quality.degrees] == ["1", "3", "b7"]
    assert pickle.loads(pickle.dumps(parse("C7b9/E"))) == parse("C7b9/E")


@pytest.mark.parametrize(
    ("text", "symbol"),
    [
        ("H7", "B7"),
        ("B7", "Bb7"),
        ("Bb7", "Bb7"),
        ("Fism7", "F#m7"),
        ("Es7/B", "Eb7/Bb"),
        ("Asus4", "Asus4"),
        ("As", "Ab"),
        ("Cis/Gis", "C#/G#"),
        ("Hm7b5/F", "Bm7b5/F"),
        ("B/H", "Bb/B"),
        ("Ges6", "Gb6"),
    ],
)
def test_german_note_names_are_read_on_request(text: str, symbol: str) -> None:
    assert parse(text, german=True).symbol == symbol


@pytest.mark.parametrize(
    ("text", "symbol"), [("c", "C"), ("am7", "Am7"), ("f#m", "F#m"), ("eb", "Eb"), ("bbm7", "Bbm7"), ("bm", "Bm")]
)
def test_a_lower_case_root_is_read_where_it_can_be_no_degree(text: str, symbol: str) -> None:
    assert parse(text).symbol == symbol


# text, where reading stops, and a word of what could stand there
@pytest.mark.parametrize(
    ("text", "at", "expected"),
    [
        ("", 0, "root"),
        ("  ", 2, "root"),
        ("X", 0, "root"),
        ("%", 0, "root"),
        ("H7", 0, "root"),
        ("bb7", 0, "root"),
        ("b9", 0, "root"),
        ("/E", 0, "root"),
        ("(Cfoo)", 2, "change"),
        ("(C7))", 0, "root"),
        ("C7 B9", 3, "change"),
        ("CB9", 1, "change"),
        ("B b", 2, "change"),
        ("7", 0, "root"),
        ("Cfoo", 1, "change"),
        ("Cm7 foo", 4, "change"),
        ("C7(b9", 5, ")"),
        ("C7b9)", 4, "change"),
        ("C7()", 3, "change"),
        ("C7(b9,x)", 6, ")"),
        ("Cmaj7alt", 5, "change"),
        ("C7altmaj7", 2, "altered"),
        ("D/C7", 3, "bass"),
        ("C/E/G", 3, "bass"),
        ("C/", 1, "change"),
        ("C/X", 1, "change"),
        ("Cm5", 2, "change"),
        ("C8", 1, "change"),
        ("C3", 1, "change"),
        ("C77", 2, "change"),
        ("C7add", 2, "change"),
        ("C7(no13)", 3, "change"),
        ("C7#3", 2, "change"),
        ("C11b913b", 1, "commas"),
        ("Cpedal", 1, "bass held"),
        ("E♭7♭♭♭", 3, "change"),
        ("C:", 2, "quality"),
        ("C:min(*7)", 6, "degree"),
    ],
)
def test_what_cannot_be_read_is_refused_at_its_place(text: str, at: int, expected: str) -> None:
    with pytest.raises(ChordError) as caught:
        parse(text)
    assert (caught.value.text, caught.value.at) == (text, at)
    assert expected in caught.value.expected
    assert repr(text) in str(caught.value)


@given(st.text() | st.text(alphabet="ABCDEFGHabcdeghijmnorstuxΔø°♭♯𝄪+-#%^ ()[],./:*0123456789", max_size=12))
@example("A---:7")
@example("C/Bis")
@example("\x00")
def test_any_text_is_read_or_refused_within_itself(text: str) -> None:
    for german in (False, True):
        try:
            chord = parse(text, german=german)
        except ChordError as error:
            assert 0 <= error.at <= len(text)
            assert error.expected and str(error)
        else:
            for style in STYLES:
                assert parse(chord.write(style)) == chord
    try:
        parse_quality(text)
    except ChordError as error:
        assert 0 <= error.at <= len(text)


def _may_sound(quality: Quality, pitch_classes: set[int]) -> bool:
    """The other reading holds all tones that must sound and none that may not."""
    allowed = {degree.pitch_class for degree in quality.degrees}
    optional = {degree.pitch_class for degree in quality.optional}
    return allowed - optional <= pitch_classes <= allowed


# That library takes a bare 4 as an added fourth and puts an eleventh into one altered dominant.
_PYCHORD_DIFFERS = {"4", "7b9b13"}


@pytest.mark.parametrize(
    ("name", "components"), [row for row in pychord_qualities.DEFAULT_QUALITIES if row[0] not in _PYCHORD_DIFFERS]
)
def test_pychord_reads_the_same_chord(name: str, components: tuple[str, ...]) -> None:
    assert _may_sound(parse("C" + name).quality, {Degree.parse(text).pitch_class for text in components})


_FUNCTIONAL = {"Neapolitan", "Italian", "French", "German", "pedal", "Tristan"}


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (kind, text)
        for kind, (_, texts) in harmony.CHORD_TYPES.items()
        for text in texts
        if kind not in _FUNCTIONAL and (text or kind == "major")
    ],
)
def test_music21_reads_the_same_chord(kind: str, text: str) -> None:
    other = harmony.ChordSymbol(root="C", kind=kind)
    assert _may_sound(parse("C" + text).quality, {pitch.pitchClass for pitch in other.pitches})


_PUBLISHED = [
    *sorted(
        each for each in {*mir_eval.chord.QUALITIES, *mir_eval.chord.EXTENDED_QUALITY_REDUX} if each[:1] not in "b#"
    ),
    *("maj(9)", "sus4(b7,9)", "min7(*5,b6)", "7(#9)", "maj6(9)", "7(b5)", "(3,5,b7)", "(1,5)", "maj(*3)", "5(b7)"),
    *("min(*b3)", "7(*5)", "hdim7(9)", "sus4(2)", "maj9(*7)", "aug(b7)", "dim(7)", "(b3,b7)", "maj(#11)", "1"),
]


@pytest.mark.parametrize("root", list(map(str, TWELVE_ROOTS)))
@pytest.mark.parametrize("quality", _PUBLISHED)
def test_mir_eval_reads_the_same_chord_in_the_published_syntax(quality: str, root: str) -> None:
    label = f"{root}:{quality}"
    _, base, degrees, _ = mir_eval.chord.split(label, reduce_extended_chords=True)
    # Bare degree lists leave the root to the letter before the colon.
    pitch_classes = {0, *(index for index, sounds in enumerate(mir_eval.chord.QUALITIES[base]) if sounds)}
    for degree in degrees:
        semitone = mir_eval.chord.scale_degree_to_semitone(degree.lstrip("*")) % 12
        pitch_classes = pitch_classes - {semitone} if degree.startswith("*") else pitch_classes | {semitone}
    assert _may_sound(parse(label).quality, pitch_classes)


@pytest.mark.parametrize("bass", "1 2 b3 3 4 b5 5 #5 6 b7 7 9".split())
def test_mir_eval_finds_the_same_bass_in_the_published_syntax(bass: str) -> None:
    root, _, interval = mir_eval.chord.encode(f"Eb:maj/{bass}")
    found = parse(f"Eb:maj/{bass}")
    assert (found.bass or found.root or Note(0)).pitch_class == (root + interval) % 12
