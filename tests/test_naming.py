"""Held keys named.

Expected results: the trade's check facts (common practice, no source), the identities of set classes (checked here with
music21's Forte numbers), and the chord finders of music21 and pychord, which know nothing of voicings.
"""

from __future__ import annotations

from time import perf_counter

import music21
import pychord
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.chords import Chord, parse, parse_quality
from trainer.drills import read
from trainer.naming import NamingError, name, readings
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, parse_key
from trainer.voicings import place, recipe, recipes_for


def keys(text: str) -> list[int]:
    return [parse_key(word) for word in text.split()]


def symbols(text: str, previous: str | None = None, bass: str | None = None) -> list[str]:
    found = readings(keys(text), parse(previous) if previous else None, parse_key(bass) if bass else None)
    return [reading.symbol for reading in found]


# -- on a given chord


@pytest.mark.parametrize(
    ("held", "symbol", "degrees", "voicing"),
    [  # the trade's check facts: common practice, no source
        ("C4 F#4 B4", "D7", "b7 3 13", "three-note rootless, seventh low with 13"),
        ("Db4 G4 Bb4", "Eb7", "b7 3 5", "three-note rootless, seventh low with 5"),
        ("C4 E4 G4 B4", "Am7", "b3 5 b7 9", "rootless from the third"),
        ("Db3 B3", "Db7", "1 b7", "shell, root and seventh"),
        ("Eb3 G3 Bb3 D4", "Cm7", "b3 5 b7 9", "rootless from the third"),
        ("D3 G3 C4 F4 A4", "Dm7", "1 11 b7 b3 5", "quartal, fourths with a third on top"),  # Levine 1989, ch. 12
        ("G3 C4 E4 B4", "Cmaj7", "5 1 3 7", "drop 2, root position"),  # C E G B with its G down: arranging handbooks
    ],
)
def test_keys_are_named_as_degrees_and_as_the_voicing_of_the_table(
    held: str, symbol: str, degrees: str, voicing: str
) -> None:
    named = name(keys(held), parse(symbol))
    assert " ".join(key.degree for key in named.keys) == degrees
    assert voicing in [fit.voicing for fit in named.fits if fit.spacing == "as written"]


def test_the_flat_seventh_of_d_flat_is_spelled_c_flat() -> None:
    named = name(keys("Db3 B3"), parse("Db7"))
    assert [key.note for key in named.keys] == ["Db", "Cb"] and named.keys[1].key_name == "B3"


def test_what_is_missing_and_what_is_added_are_named() -> None:
    named = name(keys("C3 E3 A3"), parse("C7"))
    assert named.missing == ("5", "b7") and named.extra == ("13",)


def test_a_finger_beside_a_voicing_is_near_it() -> None:
    named = name(keys("Eb3 G3 B3 D4"), parse("Cm7"))
    assert named.fits[0].voicing == "rootless from the third" and named.fits[0].spacing == "near"
    assert (named.fits[0].missing, named.fits[0].extra) == (("b7",), ("7",))
    assert named.sentence == (
        "On Cm7 these keys are ♭3 5 7 9: near rootless from the third, without its ♭7 and with 7 besides."
    )


def test_every_voicing_on_every_root_is_named_with_its_own_degrees_and_its_drill_row_asks_for_it_again() -> None:
    for text in ("m7", "7", "maj7", "m7b5", "7alt", "6", "7sus4", "dim7", "", "m"):
        quality = parse_quality(text)
        for form in recipes_for(quality):
            for root in TWELVE_ROOTS[:: 5 if "drop" in form.family else 1]:
                placed = place(form, root)
                named = name(placed.keys, Chord(root, quality, None))
                exact = [fit.voicing for fit in named.fits if fit.spacing == "as written"]
                assert form.name in exact, (text, form.name, root)
            drill_set, faults = read(f'title = "named"\n{named.drill}', "named.toml")
            assert drill_set is not None and not faults, (named.drill, faults)
            asked = drill_set.drills[0]
            heights = [key - placed.keys[0] for key in placed.keys]
            again = place(recipe(asked.recipe.name, asked.quality), root)
            assert [key - again.keys[0] for key in again.keys] == heights
            assert again.keys[0] % 12 == placed.keys[0] % 12


def test_keys_in_no_voicing_get_a_row_by_degrees() -> None:
    named = name(keys("C3 Gb3 B3 F4"), parse("C7"))
    assert 'voicing = "1 #11 7 11"' in named.drill and not named.closed_up
    assert name(keys("C2 E3 F#4 B5"), parse("C7")).closed_up
    drill_set, faults = read(f'title = "named"\n{named.drill}', "named.toml")
    assert drill_set is not None and not faults


def test_no_key_and_no_root_are_refused_in_one_sentence() -> None:
    with pytest.raises(NamingError, match="no key is held"):
        readings([])
    with pytest.raises(NamingError, match="no root"):
        name([60], parse("N.C."))
    with pytest.raises(NamingError, match="no MIDI key"):
        name([60, 128], parse("C"))


# -- as any chord: the identities


@pytest.mark.parametrize(
    ("held", "both", "forte"),
    [
        ("F3 A3 C4 E4", ("Fmaj7", "Dm9"), "4-20"),  # rootless Dm9 = Fmaj7
        ("E3 G3 B3 D4", ("Em7", "Cmaj9"), "4-26"),  # rootless Cmaj9 = Em7
        ("E3 G3 Bb3 D4", ("Em7b5", "C9"), "4-27A"),  # rootless C9 = Em7b5
        ("E3 G3 Bb3 Db4", ("Edim7", "C7(b9)"), "4-28"),  # rootless C7b9 = dim7
        ("F3 A3 B3 E4", ("G13", "Db7alt"), "4-16A"),  # rootless G13 = rootless Db7alt
        ("C4 E4 G4 A4", ("C6", "Am7"), "4-26"),
        ("C4 Eb4 G4 A4", ("Cm6", "Am7b5"), "4-27A"),
        ("D3 G3 C4 F4 A4", ("Dm11", "F6/9"), "5-35"),
    ],
)
def test_both_names_of_one_set_of_keys_are_said(held: str, both: tuple[str, str], forte: str) -> None:
    found = symbols(held)
    assert set(both) <= set(found), found
    assert music21.chord.Chord(keys(held)).forteClassTnI.rstrip("AB") == forte.rstrip("AB")


def test_a_bass_note_decides() -> None:
    assert symbols("F3 A3 C4 E4")[0] == "Fmaj7"
    assert symbols("F3 A3 C4 E4", bass="D2")[0] == "Dm9"
    assert symbols("F3 A3 B3 E4", bass="Db2")[0] == "Db7alt" and symbols("F3 A3 B3 E4", bass="G2")[0] == "G13"
    assert symbols("C4 E4 G4 A4", bass="A2")[0] == "Am7"


def test_the_chord_before_decides() -> None:
    assert symbols("F3 A3 C4 E4", previous="A7")[0] == "Dm9"
    assert symbols("F3 A3 B3 E4", previous="Dm7")[0] == "G13"
    assert symbols("F3 A3 B3 E4", previous="Abm7")[0] == "Db7alt"
    assert symbols("E3 G3 B3 D4", previous="G7")[0] == "Cmaj9"


def test_a_reading_says_what_would_decide_for_it() -> None:
    second = readings(keys("F3 A3 C4 E4"))[1]
    assert second.rootless and second.missing == ("1",) and second.voicing == "rootless from the third"
    assert second.decided_by == ("D in the bass", "A7 before it")
    assert second.sentence == (
        "Dm9 without its root: rootless from the third (♭3 5 ♭7 9). D in the bass or A7 before it would decide for it."
    )
    assert "speaks for it" in readings(keys("F3 A3 C4 E4"), bass=MidiNote(38))[0].sentence
    assert "A7 before it leads there." in readings(keys("F3 A3 C4 E4"), parse("A7"))[0].sentence


def test_a_shell_is_every_chord_that_has_its_two_notes() -> None:
    assert {"C7", "Cm7"} <= set(symbols("C3 Bb3")[:3])


def test_a_foreign_key_among_a_chord_is_no_part_of_it() -> None:
    first = readings(keys("C3 E3 G3 Bb3 B3"))[0]
    assert first.symbol == "C7" and first.extra == ("7",) and first.degrees == ("1", "3", "5", "b7", "7")
    assert first.sentence.endswith("B, the 7, is no part of it.")
    assert readings(keys("C3 Db3 D3")) == ()


# -- other chord finders

CLOSE = {
    "": "1 3 5", "m": "1 b3 5", "dim": "1 b3 b5", "aug": "1 3 #5",
    "maj7": "1 3 5 7", "7": "1 3 5 b7", "m7": "1 b3 5 b7", "m7b5": "1 b3 b5 b7", "dim7": "1 b3 b5 bb7",
    "mMaj7": "1 b3 5 7",
}  # fmt: skip


def stack(root: Note, degrees: str) -> list[int]:
    return [48 + root.pitch_class + Degree.parse(text).semitones for text in degrees.split()]


def root_by_music21(root: Note, degrees: str, lowest: int = 0) -> int:
    """The root that music21 finds for a spelled chord with the named degree at the bottom."""
    names = [(root + Degree.parse(text)).name.replace("b", "-") for text in degrees.split()]
    found: int = music21.chord.Chord([*[f"{each}3" for each in names[lowest:]], *[f"{each}5" for each in names[:lowest]]]).root().pitchClass  # fmt: skip  # noqa: E501
    return found


@pytest.mark.parametrize("quality", CLOSE)
def test_chords_in_thirds_have_the_root_that_music21_finds(quality: str) -> None:
    for root in TWELVE_ROOTS:
        first = readings(stack(root, CLOSE[quality]))[0]
        assert first.chord.root is not None
        assert first.chord.root.pitch_class == root_by_music21(root, CLOSE[quality])
        assert first.chord.root == root and first.chord.quality == parse_quality(quality), (root, first.symbol)


@pytest.mark.parametrize("quality", ["", "m", "7", "maj7", "m7b5", "mMaj7"])
def test_inversions_of_chords_in_thirds_keep_the_root_that_music21_finds(quality: str) -> None:
    for root in TWELVE_ROOTS:
        held = stack(root, CLOSE[quality])
        for turn in range(1, len(held)):
            held = [*held[1:], held[0] + 12]
            theirs = root_by_music21(root, CLOSE[quality], turn)
            assert theirs in [found.chord.root.pitch_class for found in readings(held) if found.chord.root is not None]
            assert theirs == root.pitch_class


@pytest.mark.parametrize("quality", ["", "m", "7", "m7", "6", "sus4"])
def test_every_root_that_pychord_finds_is_among_the_readings(quality: str) -> None:
    for root in TWELVE_ROOTS:
        chord = Chord(root, parse_quality(quality), None)
        held = [48 + root.pitch_class + degree.semitones for degree in chord.degrees]
        plain = [MidiNote(key) for key in held]
        found = pychord.find_chords_from_notes([["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"][key % 12] for key in plain])  # fmt: skip  # noqa: E501
        theirs = {Note.parse(each.root).pitch_class for each in found}
        ours = {reading.chord.root.pitch_class for reading in readings(held) if reading.chord.root is not None}
        assert root.pitch_class in theirs and root.pitch_class in ours
        full = {
            Note.parse(each.root).pitch_class for each in found if str(each.quality) in ("6", "m6", "7", "m7", "maj7")
        }
        assert full <= ours, (root, found)


# -- any keys at all


@settings(max_examples=200, deadline=None)
@given(
    st.sets(st.integers(0, 127), min_size=1, max_size=10),
    st.sampled_from(("Cm7", "G7", "F#maj7", "Bb", "Ddim7", "Abm6", "E7alt", "B7sus4", "C5", "Cm7/Bb")),
    st.one_of(st.none(), st.integers(0, 127)),
)
def test_any_keys_have_degrees_that_are_those_keys(held: set[int], symbol: str, bass: int | None) -> None:
    chord = parse(symbol)
    assert chord.root is not None
    named = name(held, chord)
    assert [key.key for key in named.keys] == sorted(held)
    for key in named.keys:
        assert (chord.root + Degree.parse(key.degree)).pitch_class == key.key % 12
        assert Note.parse(key.note).pitch_class == key.key % 12
    assert named.sentence.endswith(".")
    found = readings(held, chord, None if bass is None else MidiNote(bass))
    assert [reading.points for reading in found] == sorted([reading.points for reading in found], reverse=True)
    for reading in found:
        assert reading.chord.root is not None
        assert parse(reading.symbol) == reading.chord
        for key_held, degree, note in zip(sorted(held), reading.degrees, reading.notes, strict=True):
            assert (reading.chord.root + Degree.parse(degree)).pitch_class == key_held % 12
            assert Note.parse(note).pitch_class == key_held % 12


def test_readings_take_less_than_twenty_milliseconds_once_the_table_is_read() -> None:
    held = keys("F3 A3 B3 E4")
    readings(held)
    took = []
    for _ in range(5):
        began = perf_counter()
        readings(held, parse("Dm7"))
        took.append(perf_counter() - began)
    assert min(took) < 0.020
