"""Placing: octave, low-interval limits, reach, both hands, under a given key."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.chords import parse, parse_quality
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, parse_key
from trainer.voicings import (
    LOW_INTERVAL_LIMITS,
    Recipe,
    Register,
    VoicingError,
    alternatives,
    default_register,
    fitting_bounds,
    fitting_places,
    place,
    place_under,
    recipe,
    recipes_for,
)

SYMBOLS = "maj7 6 m7 7 m7b5 dim7 m6 mMaj7 7sus4 7alt maj7#5 7b9 13 m11 6/9 m sus4 5".split()
RECIPES = [voicing for symbol in SYMBOLS for voicing in recipes_for(parse_quality(symbol))]


def keys(symbol: str, voicing: str, register: Register | None = None) -> list[int]:
    chord = parse(symbol)
    assert chord.root is not None
    return list(place(recipe(voicing, chord.quality), chord.root, register).keys)


def named(text: str) -> list[int]:
    return [parse_key(name) for name in text.split()]


def test_limits_are_the_handbook_table() -> None:
    # Arranging handbooks, from memory; seconds and the minor third agree in three tables, the rest within a tone or so.
    typed = {
        1: "E3",
        2: "Eb3",
        3: "C3",
        4: "Bb2",
        5: "Bb2",
        6: "Bb2",
        7: "Bb1",
        8: "F2",
        9: "F2",
        10: "F2",
        11: "F2",
        13: "E2",
    }
    assert dict(LOW_INTERVAL_LIMITS) == {semitones: parse_key(name) for semitones, name in typed.items()}


def test_cm7_from_the_third_lies_around_middle_c() -> None:
    # Common practice, no source: Eb3 G3 Bb3 D4.
    assert keys("Cm7", "rootless from the third") == named("Eb3 G3 Bb3 D4") == [51, 55, 58, 62]


@pytest.mark.parametrize("root", TWELVE_ROOTS, ids=str)
def test_one_hand_rootless_voicings_have_their_bottom_from_d3_to_db4(root: Note) -> None:
    # Common practice, no source: lower sounds mud, higher leaves the hand.
    for voicing in RECIPES:
        if voicing.hand == "left" and voicing.rootless:
            assert 50 <= place(voicing, root).keys[0] <= 61, voicing.name


@pytest.mark.parametrize("root", TWELVE_ROOTS, ids=str)
def test_every_row_has_one_chosen_place_on_every_root(root: Note) -> None:
    for voicing in RECIPES:
        chosen = [entry for entry in alternatives(voicing, root) if entry[2].startswith("Chosen")]
        assert len(chosen) == 1, voicing.name
        assert chosen[0][0] == place(voicing, root)


@pytest.mark.parametrize("root", TWELVE_ROOTS, ids=str)
def test_shells_start_from_f2_and_respect_the_limits(root: Note) -> None:
    for symbol in ("maj7", "m7", "7"):
        quality = parse_quality(symbol)
        assert 41 <= place(recipe("shell, root and seventh", quality), root).keys[0] <= 52
        bottom, third = place(recipe("shell, root and third", quality), root).keys
        assert bottom >= LOW_INTERVAL_LIMITS[third - bottom]


# The second voice from the top of the close position an octave down: the drop-2 lines as handbooks print them for
# Cmaj7 from C4 E4 G4 B4, E4 G4 B4 C5, G4 B4 C5 E5 and B4 C5 E5 G5. The others by hand, by the same rule.
DROPPED = (
    ("drop 2, root position", "G3 C4 E4 B4"),
    ("drop 2, first inversion", "B3 E4 G4 C5"),
    ("drop 2, second inversion", "C4 G4 B4 E5"),
    ("drop 2, third inversion", "E4 B4 C5 G5"),
    ("drop 3, root position", "E3 C4 G4 B4"),
    ("drop 3, first inversion", "G3 E4 B4 C5"),
    ("drop 2 and 4, root position", "C3 G3 E4 B4"),
    ("drop 2 and 4, first inversion", "E3 B3 G4 C5"),
)


@pytest.mark.parametrize(("voicing", "expected"), DROPPED)
def test_dropped_voices_lie_where_the_close_position_leaves_them(voicing: str, expected: str) -> None:
    assert keys("Cmaj7", voicing) == named(expected)


@pytest.mark.parametrize("symbol", ["maj7", "m7", "7", "m7b5", "dim7", "6", "7b9"])
def test_dropping_moves_only_the_named_voices_of_the_close_position(symbol: str) -> None:
    quality = parse_quality(symbol)
    for root in TWELVE_ROOTS:
        for inversion in ("root position", "first inversion", "second inversion", "third inversion"):
            close = place(recipe(f"four-way close, {inversion}", quality), root).keys
            for family, voices in (("drop 2", (2,)), ("drop 3", (3,)), ("drop 2 and 4", (2, 4))):
                wanted = sorted(key - 12 * (4 - at in voices) for at, key in enumerate(close))
                found = place(recipe(f"{family}, {inversion}", quality), root).keys
                assert [key - found[0] for key in found] == [key - wanted[0] for key in wanted]


# Lowest bottom note of each form under the limits, and with the root assumed just below it: worked out by hand from the
# handbook table over all pairs of notes (the rule of the assumed root: Lowell & Pullig 2003, ch. 1-4).
LOWEST = (
    ("m7", "rootless from the third", "Bb2", "Eb3"),
    ("m7", "rootless from the seventh", "C3", "Eb3"),
    ("7", "rootless from the third", "B2", "D3"),
    ("7", "rootless from the seventh", "B2", "Eb3"),
    ("maj7", "rootless from the third", "C3", "D3"),
    ("maj7", "rootless from the seventh", "C3", "E3"),
    ("6", "rootless from the third", "C3", "D3"),
    ("6", "rootless from the seventh", "Bb2", "D3"),
    ("m7b5", "rootless from the third", "C3", "Eb3"),
    ("m7b5", "rootless from the seventh", "Eb3", "Eb3"),
    ("7alt", "rootless from the third", "B2", "D3"),
    ("7alt", "rootless from the seventh", "B2", "Eb3"),
    ("7", "shell, root and seventh", "F2", "F2"),
    ("maj7", "shell, root and third", "Bb2", "Bb2"),
    ("m7", "shell, root and third", "C3", "C3"),
    ("7", "shell, root seventh tenth", "F2", "F2"),
)


@pytest.mark.parametrize(("symbol", "voicing", "alone", "with_root"), LOWEST)
def test_the_lowest_clear_place_is_the_tables(symbol: str, voicing: str, alone: str, with_root: str) -> None:
    found = recipe(voicing, parse_quality(symbol))
    for assume_root, expected in ((False, alone), (True, with_root)):
        register = Register(MidiNote(21), MidiNote(108), LOW_INTERVAL_LIMITS, assume_root=assume_root)
        lowest = min(place(found, root, register).keys[0] for root in TWELVE_ROOTS)
        assert lowest == parse_key(expected)


def test_limits_are_a_setting() -> None:
    low = Register(parse_key("F2"), parse_key("C5"), {4: parse_key("F2")})
    assert keys("Fmaj7", "shell, root and third", low) == named("F2 A2")
    assert keys("Fmaj7", "shell, root and third") == named("F3 A3")


def test_outside_the_register_the_other_form_is_offered() -> None:
    # Common practice, no source: from D3 to G4, Bbm7 goes by the form from the seventh.
    register = Register(parse_key("D3"), parse_key("G4"))
    quality, root = parse_quality("m7"), Note.parse("Bb")
    with pytest.raises(VoicingError) as caught:
        place(recipe("rootless from the third", quality), root, register)
    assert caught.value.other == "rootless from the seventh"
    assert "other form is 'rootless from the seventh'" in str(caught.value)
    assert place(recipe(caught.value.other, quality), root, register).keys == tuple(named("Ab3 C4 Db4 F4"))


def test_alternatives_say_why_each_octave_is_chosen_or_refused() -> None:
    found = recipe("shell, root and third", parse_quality("m7"))
    register = Register(parse_key("F2"), parse_key("D5"), LOW_INTERVAL_LIMITS)
    reasons = [(entry[0].keys[0], entry[1], entry[2]) for entry in alternatives(found, Note.parse("B"), register)]
    assert reasons == [
        (23, False, "Its bottom note B0 lies below F2."),
        (35, False, "Its bottom note B1 lies below F2."),
        (47, False, "The minor third on B2 sounds unclear below C3."),
        (59, True, "Chosen: the lowest place from F2 up where it fits."),
        (71, True, "Fits, too, but B3 at the bottom is lower."),
        (83, False, "Its top note D6 lies above D5."),
        (95, False, "Its top note D7 lies above D5."),
    ]


def test_a_place_two_octaves_above_the_chosen_one_is_called_high() -> None:
    found = recipe("shell, root and seventh", parse_quality("7"))
    fitting = [
        entry for entry in alternatives(found, Note.parse("C"), Register(MidiNote(48), MidiNote(100))) if entry[1]
    ]
    assert [entry[2] for entry in fitting] == [
        "Chosen: the lowest place from C3 up where it fits.",
        "Fits, too, but C3 at the bottom is lower.",
        "Fits, too, but lies high: C3 at the bottom is lower.",
        "Fits, too, but lies high: C3 at the bottom is lower.",
    ]


def test_the_assumed_root_is_named_in_the_reason() -> None:
    register = Register(parse_key("C3"), parse_key("G5"), LOW_INTERVAL_LIMITS, assume_root=True)
    found = recipe("rootless from the third", parse_quality("m7"))
    reasons = [entry[2] for entry in alternatives(found, Note.parse("A"), register)]
    assert "With the root A2 assumed just below, the minor third sounds unclear below C3." in reasons


def test_a_reach_of_a_ninth_leaves_the_tenth_to_the_right_hand() -> None:
    # Most hands do not reach a tenth (Boyle, Boyle & Booker 2015): it is never insisted on.
    placed = place(recipe("shell, root seventh tenth", parse_quality("maj7")), Note.parse("C"))
    assert (placed.keys, placed.split) == ((48, 59, 64), 2)
    spread = recipe("two-hand spread, root fifth tenth below three", parse_quality("7"))
    assert spread.split == 3
    assert place(spread, Note.parse("C")).split == 2
    wide = Register(MidiNote(41), MidiNote(96), LOW_INTERVAL_LIMITS, reach_semitones=16)
    assert place(spread, Note.parse("C"), wide).split == 3


def test_a_hand_too_small_is_told_so() -> None:
    octave = Register(MidiNote(50), MidiNote(80), reach_semitones=12)
    with pytest.raises(VoicingError, match="spans a ninth, wider than a reach of an octave"):
        place(recipe("rootless from the third, with 11", parse_quality("m7b5")), Note.parse("C"), octave)
    with pytest.raises(VoicingError, match="one hand has more to take than a reach of an octave"):
        place(recipe("1 5 9 | 3 7 #11", parse_quality("maj7")), Note.parse("C"), octave)


def test_an_optional_top_note_does_not_count_for_the_reach() -> None:
    assert keys("Eb7", "b7 3 5 (9)") == named("Db4 G4 Bb4 F5")


def test_a_tenth_may_be_written_as_ten_or_as_three() -> None:
    assert keys("C7", "1 b7 10") == keys("C7", "1 b7 3") == named("C3 Bb3 E4")


@pytest.mark.parametrize(("low", "high"), [(60, 50), (-1, 60), (60, 128)])
def test_a_register_goes_upward_on_midi_keys(low: int, high: int) -> None:
    with pytest.raises(VoicingError):
        Register(MidiNote(low), MidiNote(high))


def test_a_register_too_narrow_refuses_with_a_reason() -> None:
    with pytest.raises(VoicingError, match="does not fit from C4 to E4"):
        keys("C7", "guide tones, third low", Register(MidiNote(60), MidiNote(64)))
    with pytest.raises(VoicingError, match="wider than the piano"):
        keys("C7", "1 1 1 1 1 1 1 1 1 1")


# By hand: close and dropped voicings, and a shell, under a melody (common practice, no source).
UNDER = (
    ("Cmaj7", "four-way close", "E5", "G4 B4 C5 E5"),
    ("Cmaj7", "drop 2", "E5", "C4 G4 B4 E5"),
    ("Dm7", "drop 2", "E5", "C4 F4 A4 E5"),
    ("G7", "four-way close", "E5", "F4 G4 B4 E5"),
    ("Db7", "shell, root and seventh", "Eb5", "Db4 Cb5 Eb5"),
)


@pytest.mark.parametrize(("symbol", "voicing", "top", "expected"), UNDER)
def test_a_voicing_under_a_given_key(symbol: str, voicing: str, top: str, expected: str) -> None:
    chord = parse(symbol)
    assert chord.root is not None
    placed = place_under(voicing, chord.quality, chord.root, parse_key(top))
    assert list(placed.keys) == named(expected)


def test_a_melody_too_low_for_the_voicing_is_refused() -> None:
    with pytest.raises(VoicingError, match="runs off the piano"):
        place_under("four-way close", parse_quality("maj7"), Note.parse("C"), MidiNote(24))
    with pytest.raises(VoicingError, match="does not fit under"):
        place_under("four-way close", parse_quality("maj7"), Note.parse("C"), MidiNote(48), limits=LOW_INTERVAL_LIMITS)


ROOTS = st.sampled_from(TWELVE_ROOTS)


@given(voicing=st.sampled_from(RECIPES), root=ROOTS, lowest=st.integers(30, 60), width=st.integers(12, 48))
def test_a_place_lies_in_its_register_ascends_and_sounds_its_notes(
    voicing: Recipe, root: Note, lowest: int, width: int
) -> None:
    register = Register(MidiNote(lowest), MidiNote(lowest + width), LOW_INTERVAL_LIMITS)
    try:
        placed = place(voicing, root, register)
    except VoicingError:
        assert not any(fits for _, fits, _ in alternatives(voicing, root, register))
        return
    assert len(placed.keys) == len(placed.notes) == len(voicing.degrees)
    assert lowest <= placed.keys[0]
    assert placed.keys[-1] <= lowest + width
    for lower, upper in zip(placed.keys, placed.keys[1:], strict=False):
        assert 0 < upper - lower <= 12
    for midi_note, note in zip(placed.keys, placed.notes, strict=True):
        assert midi_note % 12 == note.pitch_class


@given(voicing=st.sampled_from(RECIPES), root=ROOTS)
def test_a_fourth_up_keeps_the_degrees_and_the_shape(voicing: Recipe, root: Note) -> None:
    here, there = place(voicing, root), place(voicing, root + Degree.parse("4"))
    assert [root.degree_to(note) for note in here.notes] == [there.root.degree_to(note) for note in there.notes]
    assert [key - here.keys[0] for key in here.keys] == [key - there.keys[0] for key in there.keys]


@given(voicing=st.sampled_from(RECIPES), root=ROOTS)
def test_no_register_means_the_register_of_its_kind(voicing: Recipe, root: Note) -> None:
    assert place(voicing, root) == place(voicing, root, default_register(voicing))


REGISTERS = st.builds(
    lambda lowest, width, limits, reach, assumed: Register(
        MidiNote(lowest),
        MidiNote(min(127, lowest + width)),
        LOW_INTERVAL_LIMITS if limits else None,
        reach,
        assumed,
    ),
    st.integers(0, 100),
    st.integers(0, 60),
    st.booleans(),
    st.integers(5, 24),
    st.booleans(),
)


@given(st.sampled_from(RECIPES), st.sampled_from(TWELVE_ROOTS), REGISTERS)
def test_the_places_that_fit_are_those_that_each_octave_by_itself_is_told_to_fit(
    voicing: Recipe, root: Note, register: Register
) -> None:
    found = fitting_places(voicing, root, register, fitting_bounds(voicing, register))
    assert found == [placement for placement, fits, _ in alternatives(voicing, root, register) if fits]
