"""Voicings: the golden table typed by hand, every row on twelve roots against outside spelling, names and degrees.

Sources are named beside each check. "By hand" means spelled by a person from the recipe, not produced by code;
where no book is named the recipe itself is common practice, no source.
"""

from __future__ import annotations

import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.chords import Quality, parse, parse_quality
from trainer.pitch import TWELVE_ROOTS, Degree, Note
from trainer.voicings import (
    VoicingError,
    VoicingRow,
    all_rows,
    approach_root,
    check_row,
    dominants_in_diminished,
    families,
    melody_degree,
    names_for,
    place,
    recipe,
    recipes_for,
    row_for,
    under,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21
    import pychord

# Symbol | voicing | notes bottom to top | keys (where typed). By hand; recipes: common practice, no source, but for the
# four-note rootless forms, whose degree lists are those of DeGreg, Jazz Keyboard Harmony (1994).
GOLDEN = """
Cmaj7   | shell, root and seventh | C B | 48 59
C7      | shell, root and seventh | C Bb | 48 58
C6      | shell, root and seventh | C A | 48 57
Db7     | shell, root and seventh | Db Cb | 49 59
Gb7     | shell, root and seventh | Gb Fb | 42 52
Bm7     | shell, root and seventh | B A | 47 57
F7      | shell, root and seventh | F Eb | 41 51
E7      | shell, root and seventh | E D | 52 62
Ebdim7  | shell, root and seventh | Eb Dbb | 51 60
Cmaj7   | shell, root and third | C E | 48 52
Dbmaj7  | shell, root and third | Db F | 49 53
Dbm7    | shell, root and third | Db Fb | 49 52
Gb7     | shell, root and third | Gb Bb | 54 58
B7      | shell, root and third | B D# | 47 51
Bm7     | shell, root and third | B D | 59 62
C7sus4  | shell, root and third | C F | 48 53
F       | shell, root and third | F A | 53 57
Cm7     | shell, root third seventh | C Eb Bb | 48 51 58
Db7     | shell, root third seventh | Db F Cb | 49 53 59
Gb7     | shell, root third seventh | Gb Bb Fb | 54 58 64
Bmaj7   | shell, root third seventh | B D# A# | 47 51 58
Cmaj7   | shell, root seventh tenth | C B E | 48 59 64
Db7     | shell, root seventh tenth | Db Cb F | 49 59 65
Gb7     | shell, root seventh tenth | Gb Fb Bb | 42 52 58
Bm7     | shell, root seventh tenth | B A D | 47 57 62
Db7     | approach shell, half step above | Db Cb | 49 59

C7      | guide tones, third low | E Bb | 52 58
Db7     | guide tones, third low | F Cb | 53 59
Gb7     | guide tones, third low | Bb Fb | 58 64
B7      | guide tones, third low | D# A | 51 57
Dbm7    | guide tones, third low | Fb Cb | 52 59
Bmaj7   | guide tones, third low | D# A# | 51 58
C7sus4  | guide tones, third low | F Bb | 53 58
C6      | guide tones, third low | E A | 52 57
C7      | guide tones, seventh low | Bb E | 58 64
Db7     | guide tones, seventh low | Cb F | 59 65
Gb7     | guide tones, seventh low | Fb Bb | 52 58
B7      | guide tones, seventh low | A D# | 57 63
Dbm7    | guide tones, seventh low | Cb Fb | 59 64
Bmaj7   | guide tones, seventh low | A# D# | 58 63

D7      | three-note rootless, seventh low with 13 | C F# B | 60 66 71
C7      | three-note rootless, seventh low with 13 | Bb E A | 58 64 69
Db7     | three-note rootless, seventh low with 13 | Cb F Bb | 59 65 70
Gb7     | three-note rootless, seventh low with 13 | Fb Bb Eb | 52 58 63
B7      | three-note rootless, seventh low with 13 | A D# G# | 57 63 68
Cmaj7   | three-note rootless, seventh low with 13 | B E A | 59 64 69
Cm7     | three-note rootless, seventh low with 13 | Bb Eb A | 58 63 69
Dbm7    | three-note rootless, seventh low with 13 | Cb Fb Bb | 59 64 70
Bmaj7   | three-note rootless, seventh low with 13 | A# D# G# | 58 63 68
C7(b13) | three-note rootless, seventh low with 13 | Bb E Ab | 58 64 68
Eb7     | three-note rootless, seventh low with 5 | Db G Bb | 61 67 70
C7      | three-note rootless, seventh low with 5 | Bb E G | 58 64 67
Db7     | three-note rootless, seventh low with 5 | Cb F Ab | 59 65 68
Gb7     | three-note rootless, seventh low with 5 | Fb Bb Db | 52 58 61
B7      | three-note rootless, seventh low with 5 | A D# F# | 57 63 66
Cm7b5   | three-note rootless, seventh low with 5 | Bb Eb Gb | 58 63 66
Cdim7   | three-note rootless, seventh low with 5 | Bbb Eb Gb | 57 63 66
Dbmaj7  | three-note rootless, seventh low with 5 | C F Ab | 60 65 68
C6      | three-note rootless, seventh low with 5 | A E G | 57 64 67
C7      | three-note rootless, third low with 9 | E Bb D | 52 58 62
Db7     | three-note rootless, third low with 9 | F Cb Eb | 53 59 63
Gb7     | three-note rootless, third low with 9 | Bb Fb Ab | 58 64 68
B7      | three-note rootless, third low with 9 | D# A C# | 51 57 61
Dbm7    | three-note rootless, third low with 9 | Fb Cb Eb | 52 59 63
Bmaj7   | three-note rootless, third low with 9 | D# A# C# | 51 58 61
C7(b9)  | three-note rootless, third low with 9 | E Bb Db | 52 58 61
C7      | three-note rootless, third low with 13 | E A Bb | 52 57 58
Db7     | three-note rootless, third low with 13 | F Bb Cb | 53 58 59
Gb7     | three-note rootless, third low with 13 | Bb Eb Fb | 58 63 64
B7      | three-note rootless, third low with 13 | D# G# A | 51 56 57
C7      | three-note rootless, seventh low with #9 | Bb E D# | 58 64 75
Db7     | three-note rootless, seventh low with #9 | Cb F E | 59 65 76
B7alt   | three-note rootless, seventh low with #9 | A D# C## | 57 63 74
C7      | three-note rootless, third low with #9 | E Bb D# | 52 58 63
Gb7     | three-note rootless, third low with #9 | Bb Fb A | 58 64 69
B7      | three-note rootless, third low with #9 | D# A C## | 51 57 62
C7      | three-note rootless, seventh low with b13 | Bb E Ab | 58 64 68
Db7     | three-note rootless, seventh low with b13 | Cb F Bbb | 59 65 69
Gb7     | three-note rootless, seventh low with b13 | Fb Bb Ebb | 52 58 62
B7      | three-note rootless, seventh low with b13 | A D# G | 57 63 67
C7      | three-note rootless, seventh low with #11 | Bb E F# | 58 64 66
Db7     | three-note rootless, seventh low with #11 | Cb F G | 59 65 67
Gb7     | three-note rootless, seventh low with #11 | Fb Bb C | 52 58 60
B7      | three-note rootless, seventh low with #11 | A D# E# | 57 63 65

Cmaj7   | rootless from the third | E G B D | 52 55 59 62
Dbmaj7  | rootless from the third | F Ab C Eb | 53 56 60 63
Gbmaj7  | rootless from the third | Bb Db F Ab | 58 61 65 68
Bmaj7   | rootless from the third | D# F# A# C# | 51 54 58 61
C6      | rootless from the third | E G A D | 52 55 57 62
Db6     | rootless from the third | F Ab Bb Eb | 53 56 58 63
Gb6     | rootless from the third | Bb Db Eb Ab | 58 61 63 68
B6      | rootless from the third | D# F# G# C# | 51 54 56 61
Cm7     | rootless from the third | Eb G Bb D | 51 55 58 62
Am7     | rootless from the third | C E G B | 60 64 67 71
Dbm7    | rootless from the third | Fb Ab Cb Eb | 52 56 59 63
Gbm7    | rootless from the third | Bbb Db Fb Ab | 57 61 64 68
Bm7     | rootless from the third | D F# A C# | 50 54 57 61
C7      | rootless from the third | E A Bb D | 52 57 58 62
Db7     | rootless from the third | F Bb Cb Eb | 53 58 59 63
Gb7     | rootless from the third | Bb Eb Fb Ab | 58 63 64 68
B7      | rootless from the third | D# G# A C# | 51 56 57 61
C9      | rootless from the third | E G Bb D | 52 55 58 62
Db9     | rootless from the third | F Ab Cb Eb | 53 56 59 63
C13     | rootless from the third | E A Bb D | 52 57 58 62
Cm7b5   | rootless from the third | Eb Gb Bb C | 51 54 58 60
Dbm7b5  | rootless from the third | Fb Abb Cb Db | 52 55 59 61
Gbm7b5  | rootless from the third | Bbb Dbb Fb Gb | 57 60 64 66
Bm7b5   | rootless from the third | D F A B | 50 53 57 59
C7alt   | rootless from the third | E Ab Bb D# | 52 56 58 63
Db7alt  | rootless from the third | F Bbb Cb E | 53 57 59 64
Gb7alt  | rootless from the third | Bb Ebb Fb A | 58 62 64 69
B7alt   | rootless from the third | D# G A C## | 51 55 57 62
C7(b9)  | rootless from the third | E G Bb Db | 52 55 58 61
Db7(b9) | rootless from the third | F Ab Cb Ebb | 53 56 59 62
Gb7(b9) | rootless from the third | Bb Db Fb Abb | 58 61 64 67
B7(b9)  | rootless from the third | D# F# A C | 51 54 57 60
C13b9   | rootless from the third | E A Bb Db | 52 57 58 61
Db13b9  | rootless from the third | F Bb Cb Ebb | 53 58 59 62
B13b9   | rootless from the third | D# G# A C | 51 56 57 60
Cm6     | rootless from the third | Eb G A D | 51 55 57 62
Dbm6    | rootless from the third | Fb Ab Bb Eb | 52 56 58 63
Gbm6    | rootless from the third | Bbb Db Eb Ab | 57 61 63 68
Bm6     | rootless from the third | D F# G# C# | 50 54 56 61
CmMaj7  | rootless from the third | Eb G B D | 51 55 59 62
DbmMaj7 | rootless from the third | Fb Ab C Eb | 52 56 60 63
BmMaj7  | rootless from the third | D F# A# C# | 50 54 58 61
C7sus4  | rootless from the third | F A Bb D | 53 57 58 62
Db7sus4 | rootless from the third | Gb Bb Cb Eb | 54 58 59 63
Gb7sus4 | rootless from the third | Cb Eb Fb Ab | 59 63 64 68
B7sus4  | rootless from the third | E G# A C# | 52 56 57 61
Cdim7   | rootless from the third | Eb Gb Bbb C | 51 54 57 60
Ebdim7  | rootless from the third | Gb Bbb Dbb Eb | 54 57 60 63
Bdim7   | rootless from the third | D F Ab B | 50 53 56 59
C7(#9)  | rootless from the third | E G Bb D# | 52 55 58 63
Db7(#9) | rootless from the third | F Ab Cb E | 53 56 59 64
C7b9b13 | rootless from the third | E Ab Bb Db | 52 56 58 61
C7#5    | rootless from the third | E G# Bb D | 52 56 58 62
B7#5    | rootless from the third | D# F## A C# | 51 55 57 61
C7(b13) | rootless from the third | E Ab Bb D | 52 56 58 62
C7b5    | rootless from the third | E Gb Bb D | 52 54 58 62
C7#11   | rootless from the third | E F# Bb D | 52 54 58 62
C9#11   | rootless from the third | E F# Bb D | 52 54 58 62
C13#11  | rootless from the third | E A Bb D | 52 57 58 62
C7#5#9  | rootless from the third | E G# Bb D# | 52 56 58 63
Cmaj7#11 | rootless from the third | E F# B D | 52 54 59 62
Cmaj7#5 | rootless from the third | E G# B D | 52 56 59 62
C7      | rootless from the third, altered | E Ab Bb D# | 52 56 58 63
C7      | rootless from the third, with b9 | E G Bb Db | 52 55 58 61
C7      | rootless from the third, with b9 and 13 | E A Bb Db | 52 57 58 61
C7      | rootless from the third, with 5 | E G Bb D | 52 55 58 62
Cm7b5   | rootless from the third, with 9 | Eb Gb Bb D | 51 54 58 62
Cm7b5   | rootless from the third, with 11 | Eb Gb Bb F | 51 54 58 65

Cmaj7   | rootless from the seventh | B D E G | 59 62 64 67
Dbmaj7  | rootless from the seventh | C Eb F Ab | 60 63 65 68
Gbmaj7  | rootless from the seventh | F Ab Bb Db | 53 56 58 61
Bmaj7   | rootless from the seventh | A# C# D# F# | 58 61 63 66
C6      | rootless from the seventh | A D E G | 57 62 64 67
Db6     | rootless from the seventh | Bb Eb F Ab | 58 63 65 68
Gb6     | rootless from the seventh | Eb Ab Bb Db | 51 56 58 61
B6      | rootless from the seventh | G# C# D# F# | 56 61 63 66
Cm7     | rootless from the seventh | Bb D Eb G | 58 62 63 67
Dbm7    | rootless from the seventh | Cb Eb Fb Ab | 59 63 64 68
Gbm7    | rootless from the seventh | Fb Ab Bbb Db | 52 56 57 61
Bm7     | rootless from the seventh | A C# D F# | 57 61 62 66
C7      | rootless from the seventh | Bb D E A | 58 62 64 69
Db7     | rootless from the seventh | Cb Eb F Bb | 59 63 65 70
Gb7     | rootless from the seventh | Fb Ab Bb Eb | 52 56 58 63
B7      | rootless from the seventh | A C# D# G# | 57 61 63 68
Cm7b5   | rootless from the seventh | Bb C Eb Gb | 58 60 63 66
Dbm7b5  | rootless from the seventh | Cb Db Fb Abb | 59 61 64 67
Gbm7b5  | rootless from the seventh | Fb Gb Bbb Dbb | 52 54 57 60
Bm7b5   | rootless from the seventh | A B D F | 57 59 62 65
C7alt   | rootless from the seventh | Bb D# E Ab | 58 63 64 68
Db7alt  | rootless from the seventh | Cb E F Bbb | 59 64 65 69
Gb7alt  | rootless from the seventh | Fb A Bb Ebb | 52 57 58 62
B7alt   | rootless from the seventh | A C## D# G | 57 62 63 67
C7(b9)  | rootless from the seventh | Bb Db E G | 58 61 64 67
Db7(b9) | rootless from the seventh | Cb Ebb F Ab | 59 62 65 68
B7(b9)  | rootless from the seventh | A C D# F# | 57 60 63 66
C13b9   | rootless from the seventh | Bb Db E A | 58 61 64 69
Cm6     | rootless from the seventh | A D Eb G | 57 62 63 67
Dbm6    | rootless from the seventh | Bb Eb Fb Ab | 58 63 64 68
Bm6     | rootless from the seventh | G# C# D F# | 56 61 62 66
CmMaj7  | rootless from the seventh | B D Eb G | 59 62 63 67
DbmMaj7 | rootless from the seventh | C Eb Fb Ab | 60 63 64 68
BmMaj7  | rootless from the seventh | A# C# D F# | 58 61 62 66
C7sus4  | rootless from the seventh | Bb D F A | 58 62 65 69
Db7sus4 | rootless from the seventh | Cb Eb Gb Bb | 59 63 66 70
B7sus4  | rootless from the seventh | A C# E G# | 57 61 64 68
Cdim7   | rootless from the seventh | Bbb C Eb Gb | 57 60 63 66
C7      | rootless from the seventh, altered | Bb D# E Ab | 58 63 64 68

Dm7     | quartal, fourths with a third on top | D G C F A | 50 55 60 65 69
C6      | quartal, four fourths | E A D G C | 52 57 62 67 72
Cm7     | quartal, three fourths | C F Bb Eb | 48 53 58 63
Cm7     | two-hand spread, stacked fifths a half step apart | C G D Eb Bb F | 48 55 62 63 70 77
C7      | upper-structure triad, II | E Bb D F# A
C7      | upper-structure triad, bIII | E Bb D# G Bb
C7      | upper-structure triad, bV | E Bb F# Bb Db
C7      | upper-structure triad, bVI | E Bb Ab C D#
C7      | upper-structure triad, VI | E Bb A Db E
C7      | upper-structure triad, i minor | E Bb C D# G
C7      | upper-structure triad, #iv minor | E Bb F# A Db
"""

GOLDEN_LINES = [line for line in GOLDEN.splitlines() if line.strip()]


@pytest.mark.parametrize("line", GOLDEN_LINES)
def test_a_voicing_typed_by_hand_comes_out_note_for_note(line: str) -> None:
    symbol, voicing, notes, *keys = (part.strip() for part in line.split("|"))
    chord = parse(symbol)
    assert chord.root is not None
    placed = place(recipe(voicing, chord.quality), chord.root)
    assert " ".join(note.name for note in placed.notes) == notes
    if keys:
        assert " ".join(map(str, placed.keys)) == keys[0]


# Degrees by form: Levine, The Jazz Piano Book (1989), ch. 7 and 8; DeGreg (1994); what the last four rows take from
# the symbol is common practice, no source.
HANDBOOK_FORMS = {
    "m9": ("b3 5 b7 9", "b7 9 b3 5"),
    "13": ("3 13 b7 9", "b7 9 3 13"),
    "9": ("3 5 b7 9", "b7 9 3 5"),
    "maj9": ("3 5 7 9", "7 9 3 5"),
    "6/9": ("3 5 6 9", "6 9 3 5"),
    "m7b5": ("b3 b5 b7 1", "b7 1 b3 b5"),
    "7alt": ("3 b13 b7 #9", "b7 #9 3 b13"),
    "13b9": ("3 13 b7 b9", "b7 b9 3 13"),
    "mMaj9": ("b3 5 7 9", "7 9 b3 5"),
    "m6/9": ("b3 5 6 9", "6 9 b3 5"),
    "13sus4": ("4 13 b7 9", "b7 9 4 13"),
    "m13": ("b3 13 b7 9", "b7 9 b3 13"),
    "maj13": ("3 13 7 9", "7 9 3 13"),
    "7b5b9": ("3 b5 b7 b9", "b7 b9 3 b5"),
    "m9b5": ("b3 b5 b7 9", "b7 9 b3 b5"),
}


@pytest.mark.parametrize(("symbol", "forms"), HANDBOOK_FORMS.items())
def test_the_two_rootless_forms_are_the_handbooks(symbol: str, forms: tuple[str, str]) -> None:
    quality = parse_quality(symbol)
    assert recipe("rootless from the third", quality).text == forms[0]
    assert recipe("rootless from the seventh", quality).text == forms[1]


# Degree -> interval name, typed by hand: an outside spelling of every degree that the table can give.
INTERVALS = {
    "1": "P1",
    "b9": "m9",
    "9": "M9",
    "#9": "A9",
    "2": "M2",
    "b3": "m3",
    "3": "M3",
    "4": "P4",
    "11": "P11",
    "#11": "A11",
    "b5": "d5",
    "5": "P5",
    "#5": "A5",
    "6": "M6",
    "b13": "m13",
    "13": "M13",
    "bb7": "d7",
    "b7": "m7",
    "7": "M7",
}

SYMBOLS = (
    "maj7 6 m7 7 m7b5 dim7 m6 mMaj7 7sus4 7alt maj7#5 dimMaj7 9 13 7b9 7#9 13b9 7b9b13 7#5 7b5 7#11 9#11 maj9 maj13 "
    "maj7#11 m9 m11 m13 m9b5 6/9 m6/9 13sus4 9sus4 m sus4 sus2 5 dim aug 11 13#11 7b13 7#5#9 add9"
).split()


def outside_spelling(root: Note, degree: Degree) -> tuple[str, int]:
    """Name and pitch class of a degree by music21's own interval arithmetic."""
    tonic = music21.pitch.Pitch(root.name.replace("b", "-"))
    found = music21.interval.Interval(INTERVALS[degree.name]).transposePitch(tonic)
    return found.name.replace("-", "b"), found.pitchClass


@pytest.fixture(scope="module")
def spelled() -> dict[tuple[Note, str], tuple[str, int]]:
    return {(root, name): outside_spelling(root, Degree.parse(name)) for root in TWELVE_ROOTS for name in INTERVALS}


@pytest.mark.parametrize("symbol", ["", *SYMBOLS])
def test_every_row_on_twelve_roots_is_spelled_as_music21_spells_it(
    symbol: str, spelled: dict[tuple[Note, str], tuple[str, int]]
) -> None:
    found = recipes_for(parse_quality(symbol))
    assert found
    for voicing in found:
        for root in TWELVE_ROOTS:
            placed = place(voicing, root)
            for degree, note, midi_note in zip(voicing.degrees, placed.notes, placed.keys, strict=True):
                assert (note.name, midi_note % 12) == spelled[root, degree.name], (voicing.name, root, degree)


def test_every_row_of_the_table_suits_some_chord_and_names_a_source() -> None:
    reached = {name for symbol in ["", *SYMBOLS] for name in names_for(parse_quality(symbol))}
    for row in all_rows():
        check_row(row)
        assert row.name in reached
        assert row.source
        assert row.other is None or row_for(row.other).family == row.family
    assert len({row.name for row in all_rows()}) == len(all_rows())


# pychord's name of the chord that a close position spells out (a library of its own; pitch classes only).
PYCHORD_CLOSE = {
    "maj7": "M7",
    "6": "6",
    "m7": "m7",
    "7": "7",
    "m7b5": "m7-5",
    "dim7": "dim7",
    "m6": "m6",
    "mMaj7": "mM7",
    "7sus4": "7sus4",
}
PYCHORD_NINTHS = {"maj7": "M9", "m7": "m9", "9": "9", "7b9": "7-9", "7#9": "7+9"}


def pychord_classes(root: Note, quality: str) -> set[int]:
    names = pychord.Chord(root.name + quality).components()
    return {music21.pitch.Pitch(name.replace("b", "-")).pitchClass for name in names}


@pytest.mark.parametrize(("symbol", "outside"), PYCHORD_CLOSE.items())
def test_four_way_close_holds_the_tones_that_pychord_knows(symbol: str, outside: str) -> None:
    for root in TWELVE_ROOTS:
        placed = place(recipe("four-way close, second inversion", parse_quality(symbol)), root)
        assert {midi_note % 12 for midi_note in placed.keys} == pychord_classes(root, outside)


@pytest.mark.parametrize(("symbol", "outside"), PYCHORD_NINTHS.items())
def test_rootless_forms_are_the_ninth_chord_without_its_root(symbol: str, outside: str) -> None:
    for root in TWELVE_ROOTS:
        for form in ("rootless from the third", "rootless from the seventh"):
            placed = place(recipe(form, parse_quality(symbol)), root)
            assert {midi_note % 12 for midi_note in placed.keys} == pychord_classes(root, outside) - {root.pitch_class}


# Forte's names, as music21 computes them from the keys.
SET_CLASSES = (
    ("C7", "rootless from the third", "4-16A"),
    ("C7alt", "rootless from the third", "4-16A"),
    ("C13b9", "rootless from the third", "4-18A"),
    ("Cm7", "rootless from the third", "4-20"),
    ("Cmaj7", "rootless from the third", "4-26"),
    ("CmMaj7", "rootless from the third", "4-19B"),
    ("C6", "rootless from the third", "4-23"),
    ("C9", "rootless from the third", "4-27A"),
    ("C7b9", "rootless from the third", "4-28"),
    ("C7", "four-way close, root position", "4-27B"),
    ("Cm7b5", "four-way close, first inversion", "4-27A"),
    ("Cm6", "four-way close, root position", "4-27A"),
    ("Cm7", "drop 2, root position", "4-26"),
    ("Cmaj7", "drop 3, first inversion", "4-20"),
    ("Cdim7", "drop 2 and 4, root position", "4-28"),
    ("CmMaj7", "four-way close, root position", "4-19A"),
    ("Cmaj7#5", "four-way close, root position", "4-19B"),
    ("C7#5", "four-way close, root position", "4-24"),
    ("C7b5", "four-way close, root position", "4-25"),
    ("C7sus4", "four-way close, root position", "4-23"),
    ("C", "close triad, first inversion", "3-11B"),
    ("Cm", "open triad, root position", "3-11A"),
    ("Caug", "close triad, root position", "3-12"),
    ("Cdim", "close triad, root position", "3-10"),
    ("Csus4", "close triad, root position", "3-9"),
    ("Cm7", "quartal, two fourths", "3-9"),
    ("C6", "quartal, three fourths", "4-23"),
    ("Dm7", "quartal, fourths with a third on top", "5-35"),
    ("C6", "quartal, four fourths", "5-35"),
    ("C7", "two-hand spread, root and seventh below three", "5-24A"),
    ("Cm7", "two-hand spread, stacked fifths a half step apart", "6-32"),
)


@pytest.mark.parametrize(("symbol", "voicing", "forte"), SET_CLASSES)
def test_a_voicing_belongs_to_its_set_class(symbol: str, voicing: str, forte: str) -> None:
    chord = parse(symbol)
    assert chord.root is not None
    assert music21.chord.Chord(list(place(recipe(voicing, chord.quality), chord.root).keys)).forteClass == forte


@pytest.mark.parametrize(
    ("one", "other"),
    [
        # Common practice, no source: the same keys under two names.
        (("Dm7", "rootless from the third"), ("Fmaj7", "four-way close, root position")),
        (("C9", "rootless from the third"), ("Em7b5", "four-way close, root position")),
        (("G13", "rootless from the seventh"), ("Db7alt", "rootless from the third")),
        (("C6", "four-way close, root position"), ("Am7", "four-way close, first inversion")),
        (("Cm6", "four-way close, root position"), ("Am7b5", "four-way close, first inversion")),
    ],
)
def test_two_chords_may_share_their_keys(one: tuple[str, str], other: tuple[str, str]) -> None:
    classes = []
    for symbol, voicing in (one, other):
        chord = parse(symbol)
        assert chord.root is not None
        classes.append({midi_note % 12 for midi_note in place(recipe(voicing, chord.quality), chord.root).keys})
    assert classes[0] == classes[1]


def test_from_am7_to_d7_two_tones_stay() -> None:
    # Common practice, no source: b3 stays as b7, 9 stays as 13, the inner two close on the third.
    minor = place(recipe("rootless from the third", parse_quality("m7")), Note.parse("A"))
    dominant = place(recipe("b7 3 13", parse_quality("7")), Note.parse("D"))
    assert [note.name for note in minor.notes] == ["C", "E", "G", "B"]
    assert [note.name for note in dominant.notes] == ["C", "F#", "B"]
    assert (minor.keys[0], minor.keys[3]) == (dominant.keys[0], dominant.keys[2])


def test_an_optional_degree_stands_in_brackets_and_asks_no_reach() -> None:
    # Common practice, no source: Eb7 as Db G Bb, the F on top by choice.
    found = recipe("b7 3 5 (9)", parse_quality("7"))
    assert (found.text, found.optional, found.hand, found.rootless) == ("b7 3 5 (9)", frozenset({3}), "left", True)
    assert [note.name for note in place(found, Note.parse("Eb")).notes] == ["Db", "G", "Bb", "F"]


def test_degrees_by_hand_are_spelled_as_written() -> None:
    quality = parse_quality("7#5")
    assert recipe("b7 3 b13", quality).text == "b7 3 b13"
    assert recipe("1 b7 10", quality).text == "1 b7 10"
    assert recipe("♭7 3 ♯11", quality).text == "b7 3 #11"


def test_the_chords_own_degrees_may_be_written_with_a_dot() -> None:
    assert recipe(".7 .3 13", parse_quality("maj7")).text == "7 3 13"
    assert recipe("·7 ·3 .9", parse_quality("7b9")).text == "b7 3 b9"


def test_a_bar_parts_the_hands() -> None:
    found = recipe("1 b7 | 3 13 9", parse_quality("7"))
    assert (found.hand, found.split) == ("both", 2)


@pytest.mark.parametrize(
    ("text", "at", "word"),
    [
        ("b7 foo 3", 3, "foo"),
        ("b7 3 13x", 5, "13x"),
        ("b7 (3", 3, "(3"),
        ("b7 | | 3", 5, "'|'"),
        ("| b7 3", 0, "'|'"),
        ("b7 3 |", 5, "'|'"),
        ("3 b7 .11", 5, ".11"),
        ("3 b7 17", 5, "17"),
        ("1 2 3 4 5 6 7 9 11 13 1", 22, "ten fingers"),
        ("(9)", 0, "brackets"),
        ("", 0, "at least one degree"),
    ],
)
def test_a_bad_word_among_degrees_is_pointed_at(text: str, at: int, word: str) -> None:
    with pytest.raises(VoicingError) as caught:
        recipe(text, parse_quality("7"))
    assert caught.value.at == at
    assert word in str(caught.value)


@pytest.mark.parametrize(
    "text",
    ["Rootless from the Third", "  rootless   from the third ", "ROOTLESS FROM THE THIRD", "rootless-from-the-third"],
)
def test_a_name_is_read_in_any_case_and_spacing(text: str) -> None:
    assert recipe(text, parse_quality("m7")).name == "rootless from the third"


def test_an_unknown_name_lists_near_ones() -> None:
    with pytest.raises(VoicingError) as caught:
        recipe("rotless from the thrid", parse_quality("m7"))
    assert "rootless from the third" in caught.value.near
    with pytest.raises(VoicingError, match="write a name from the table"):
        recipe("zzz", parse_quality("m7"))


def test_a_family_alone_asks_for_one_of_its_forms() -> None:
    with pytest.raises(VoicingError) as caught:
        recipe("drop 2", parse_quality("maj7"))
    assert caught.value.near == tuple(row.name for row in families()["drop 2"])


# Common practice, no source.
@pytest.mark.parametrize(
    ("symbol", "voicing", "degrees"),
    [
        ("11", "rootless from the third", "4 13 b7 9"),
        ("11", "rootless from the seventh", "b7 9 4 13"),
        ("11", "three-note rootless, seventh low with 13", "b7 4 13"),
        ("m7b5(11)", "rootless from the third", "b3 b5 b7 11"),
        ("m7b5(11)", "rootless from the seventh", "b7 1 b3 b5"),
        ("7#11", "two-hand spread, root and seventh below four", "1 b7 3 #11 13 9"),
        ("maj7#11", "two-hand spread, root and seventh below four", "1 7 3 #11 13 9"),
        ("7alt(b9)", "rootless from the third", "3 b13 b7 b9"),
        ("7alt(#11)", "rootless from the seventh", "b7 #9 3 #11"),
    ],
)
def test_a_tension_that_the_symbol_names_is_in_the_voicing(symbol: str, voicing: str, degrees: str) -> None:
    assert recipe(voicing, parse_quality(symbol)).text == degrees


@pytest.mark.parametrize("symbol", ["7#11", "9#11", "13#11"])
def test_a_lydian_dominant_takes_no_altered_ninth_or_thirteenth(symbol: str) -> None:
    for form in ("rootless from the third, altered", "rootless from the seventh, altered"):
        with pytest.raises(VoicingError, match="#11 and with it a natural"):
            recipe(form, parse_quality(symbol))


def test_a_symbol_that_names_another_tension_refuses_the_row_and_says_why() -> None:
    # Common practice, no source: a closed symbol allows the tensions that it names.
    with pytest.raises(VoicingError, match="13 where the symbol has b13"):
        recipe("upper-structure triad, II", parse_quality("7b13"))
    assert "upper-structure triad, II" not in names_for(parse_quality("7b9"))
    assert "upper-structure triad, VI" not in names_for(parse_quality("7alt"))
    assert "upper-structure triad, bVI" in names_for(parse_quality("7alt"))
    with pytest.raises(VoicingError, match="no form for a chord of colour 'minor'"):
        recipe("rootless from the third", parse_quality("m"))
    with pytest.raises(VoicingError, match="the symbol has no seventh"):
        recipe("rootless from the third", parse_quality("sus4"))


OWN = VoicingRow("Tuesday shape", "class voicings", (("m7 m7b5", "b7 .3 .5 (11)"), ("7", "b7 9 3 13")))


def test_a_teachers_row_is_spelled_placed_and_offered_like_any_other() -> None:
    check_row(OWN)
    assert recipe("tuesday  SHAPE", parse_quality("m7b5"), (OWN,)).text == "b7 b3 b5 (11)"
    assert recipe("Tuesday shape", parse_quality("7b9"), (OWN,)).text == "b7 b9 3 13"
    assert "Tuesday shape" in names_for(parse_quality("m7"), (OWN,))
    assert place(recipe("Tuesday shape", parse_quality("m7"), (OWN,)), Note.parse("C")).keys == (58, 63, 67, 77)
    with pytest.raises(VoicingError):
        recipe("Tuesday shape", parse_quality("m7"))


def test_a_teachers_row_takes_the_place_of_one_of_the_same_name() -> None:
    own = VoicingRow("Rootless from the third", "class voicings", (("m7", "b3 b7 9"),))
    assert recipe("rootless from the third", parse_quality("m7"), (own,)).text == "b3 b7 9"
    assert names_for(parse_quality("m7"), (own,)).count("rootless from the third") == 0


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (VoicingRow("", "x", (("7", "3"),)), "needs a name"),
        (VoicingRow("7 up", "x", (("7", "3"),)), "begins with a word"),
        (VoicingRow("mine", "x", ()), "no colour"),
        (VoicingRow("mine", "x", (("m77", "3"),)), "'m77' is no colour"),
        (VoicingRow("mine", "x", (("7", "3 h"),)), "'h' at character 3"),
    ],
)
def test_a_teachers_row_that_cannot_be_read_is_refused(row: VoicingRow, message: str) -> None:
    with pytest.raises(VoicingError, match=message):
        check_row(row)


@pytest.mark.parametrize(
    ("voicing", "symbol", "top", "expected"),
    [
        # Common practice, no source: block chords under each chord tone, 9 for 1 and 13 for 5 under a tension.
        ("four-way close", "maj7", "7", "1 3 5 7"),
        ("four-way close", "maj7", "1", "3 5 7 1"),
        ("four-way close", "maj7", "5", "7 1 3 5"),
        ("four-way close", "m7", "9", "b3 5 b7 9"),
        ("four-way close", "7", "13", "b7 1 3 13"),
        ("drop 2", "maj7", "7", "5 1 3 7"),
        ("drop 2", "maj7", "9", "7 3 5 9"),
        ("drop 2", "7", "13", "3 b7 1 13"),
        ("rootless from the third", "m7", "5", "b7 9 b3 5"),
        ("rootless from the third", "m7", "b7", "9 b3 5 b7"),
        ("shell, root and seventh", "7", "#11", "1 b7 #11"),
        ("guide tones, third low", "m7", "11", "b3 b7 11"),
        ("b7 3 13", "7", "3", "13 b7 3"),
    ],
)
def test_a_voicing_under_a_melody_has_it_on_top(voicing: str, symbol: str, top: str, expected: str) -> None:
    quality = parse_quality(symbol)
    assert under(voicing, quality, top).text == expected
    assert recipe(f"{voicing} under {top}", quality).text == expected


def test_a_melody_key_is_spelled_over_the_chord() -> None:
    # Common practice, no source.
    assert melody_degree(parse_quality("m7"), 3).name == "b3"
    assert melody_degree(parse_quality("7"), 3).name == "#9"
    assert melody_degree(parse_quality("7#5"), 8).name == "#5"
    assert melody_degree(parse_quality("7"), 8).name == "b13"
    assert melody_degree(parse_quality("m7b5"), 6).name == "b5"


def test_approach_shells_resolve_by_half_step() -> None:
    # Common practice, no source: the Db7 shell (Db Cb, the key B) leads to C; it is also the tritone substitute of G7.
    for target in TWELVE_ROOTS:
        above, below = approach_root(target, "above"), approach_root(target, "below")
        assert (above.pitch_class - target.pitch_class) % 12 == 1
        assert (target.pitch_class - below.pitch_class) % 12 == 1
        dominant = target + Degree.parse("5")
        assert (above.pitch_class - dominant.pitch_class) % 12 == 6
        assert abs(above.alteration) < 2
        assert abs(below.alteration) < 2
    shell = place(recipe("approach shell, half step above", parse_quality("7")), Note.parse("Db"))
    assert approach_root(Note.parse("C"), "above") == shell.root
    assert [note.name for note in shell.notes] == ["Db", "Cb"]
    assert shell.keys[1] % 12 == 11


def test_each_diminished_seventh_is_four_dominants_with_a_flat_ninth() -> None:
    # Common practice, no source: C diminished seventh over Ab, F, D and B.
    assert [root.name for root in dominants_in_diminished(Note.parse("C"))] == ["Ab", "F", "D", "B"]
    for root in TWELVE_ROOTS:
        diminished = place(recipe("four-way close, root position", parse_quality("dim7")), root)
        held = {midi_note % 12 for midi_note in diminished.keys}
        for dominant in dominants_in_diminished(root):
            flat_nine = place(recipe("diminished, on the third", parse_quality("7b9")), dominant)
            assert {midi_note % 12 for midi_note in flat_nine.keys} == held


def test_diminished_tensions_lie_a_whole_step_above_the_tone_they_replace() -> None:
    # Common practice, no source.
    quality = parse_quality("dim7")
    tones = {degree.pitch_class for degree in quality.degrees}
    for name in ("with 9", "with 11", "with b13", "with 7"):
        found = recipe(f"diminished, {name}", quality)
        replaced = tones - {degree.pitch_class for degree in found.degrees}
        assert replaced == {(found.degrees[-1].pitch_class - 2) % 12}


QUALITIES = st.sampled_from([parse_quality(symbol) for symbol in SYMBOLS])


@given(text=st.text(max_size=24), quality=QUALITIES)
def test_any_text_is_a_voicing_or_one_clear_refusal(text: str, quality: Quality) -> None:
    try:
        found = recipe(text, quality)
    except VoicingError as fault:
        assert str(fault)
    else:
        assert found.degrees


@given(names=st.lists(st.sampled_from(sorted(INTERVALS)), min_size=1, max_size=10), quality=QUALITIES)
def test_degrees_by_hand_read_back_as_written(names: list[str], quality: Quality) -> None:
    assert recipe(" ".join(names), quality).text == " ".join(names)


@given(
    voicing=st.sampled_from([row.name for row in all_rows()]),
    quality=QUALITIES,
    top=st.sampled_from(sorted(INTERVALS)),
)
def test_under_puts_exactly_the_melody_on_top(voicing: str, quality: Quality, top: str) -> None:
    if voicing in names_for(quality):
        assert under(voicing, quality, top).degrees[-1].name == top
