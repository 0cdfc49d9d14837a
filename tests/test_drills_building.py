"""Sets put together by choosing, and files changed without an editor. Common practice, no source, for the chords."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.drills import read
from trainer.drills.building import (
    COMMON_QUALITIES,
    EDITABLE,
    Choices,
    built,
    changed,
    edit_of,
    file_stem,
    milliseconds_or_fault,
    roots_or_fault,
    voicings_of,
)
from trainer.drills.values import HINTS, SEQUENCES

BY_HAND = """# for Thursday
title = "Shells"   # the short ones
tries = 2

[[drill]]  # first the minor ones
voicing = "shell, root and seventh"
chord = "m7"
tries = 1 # sharp

[[drill]]
chord = "7"
voicing = "shell, root and third"
"""


def two_chords() -> Choices:
    chosen = Choices(title="Two").with_chord("m7").with_chord("7")
    return chosen.with_voicing("m7", "rootless from the third").with_voicing("7", "rootless from the seventh")


def test_what_was_chosen_becomes_the_text_of_a_set_that_is_read_back() -> None:
    made = built(two_chords())
    assert made.faults == ()
    assert made.prompts == 24
    assert read(made.text, "a.toml") == (made.drill_set, ())
    assert made.drill_set is not None
    assert [(drill.quality.text, drill.voicing) for drill in made.drill_set.drills] == [
        ("m7", "rootless from the third"),
        ("7", "rootless from the seventh"),
    ]


def test_everything_that_is_missing_is_told_at_once() -> None:
    assert built(Choices()).faults == ("It has no title yet.", "No chord is chosen yet.")
    assert built(Choices(title="x").with_chord("")).faults == ("No voicing is chosen yet for major triad.",)
    assert built(two_chords().with_chord("m6")).faults == ("No voicing is chosen yet for m6.",)
    assert "H" in built(Choices(**{**as_values(two_chords()), "roots": "C H"})).faults[0]  # type: ignore[arg-type]


def as_values(choices: Choices) -> dict[str, object]:
    return {name: getattr(choices, name) for name in Choices.__slots__}


def test_a_voicing_that_one_hand_cannot_reach_is_refused_with_what_would_do() -> None:
    chosen = Choices(**{**as_values(Choices(title="Wide").with_chord("m7")), "hand": "left"})  # type: ignore[arg-type]
    faults = built(chosen.with_voicing("m7", "drop 2 and 4, root position")).faults
    assert len(faults) == 1 and "cannot be placed on" in faults[0] and "would do" in faults[0]


def test_taking_a_chord_back_takes_its_voicings_back() -> None:
    chosen = two_chords().with_chord("m7")
    assert (chosen.chords, [chord for chord, _ in chosen.voicings]) == (("7",), ["7"])
    assert chosen.with_voicing(*chosen.voicings[0]).voicings == ()


def test_every_chord_that_is_offered_has_voicings() -> None:
    assert all(voicings_of(quality) for quality in COMMON_QUALITIES)
    assert voicings_of("m7x") == ()


@pytest.mark.parametrize("typed", ["0.1", "61", "soon", "1e3", "-1", "1.5.2", "٣"])
def test_a_time_that_is_none_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="write seconds from 0.2 to 60"):
        milliseconds_or_fault(typed)


@pytest.mark.parametrize("typed", ["", " , ", "C X", "fourth"])
def test_roots_that_are_none_are_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="Roots: "):
        roots_or_fault(typed)


@settings(deadline=None)
@given(st.text(max_size=200), st.sets(st.sampled_from(["my-set", "a", "My-Set-2"])))
def test_a_file_name_is_plain_and_free(title: str, taken: set[str]) -> None:
    name = file_stem(title, taken)
    assert name not in {each.casefold() for each in taken}
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") and 0 < len(name) < 70


# -- changing a file


def test_a_change_leaves_comments_and_order_of_a_file_as_they_are() -> None:
    edit = edit_of(BY_HAND)
    assert "tries" not in edit.values, "the drills differ in it"
    result = changed(edit, {**edit.values, "title": "Shells again", "target_ms": 1500})
    assert result == BY_HAND.replace('"Shells"', '"Shells again"').replace(
        "tries = 2\n", "tries = 2\ntarget_ms = 1500\n"
    )


def test_a_value_of_drills_is_changed_where_each_says_it() -> None:
    edit = edit_of(BY_HAND)
    result = changed(edit, {**edit.values, "tries": 5})
    assert result == BY_HAND.replace("tries = 2", "tries = 5").replace("tries = 1 # sharp", "tries = 5 # sharp")
    again = edit_of(result)
    assert again.values["tries"] == 5
    assert changed(again, again.values) == result


def test_a_change_that_would_be_a_fault_is_refused() -> None:
    edit = edit_of(BY_HAND)
    for values in ({"title": " "}, {"roots": "C Q"}, {"tries": 99}):
        with pytest.raises(ValueError):
            changed(edit, {**edit.values, **values})
    with pytest.raises(ValueError, match="title"):
        edit_of("[[drill]]\n")


@settings(deadline=None, max_examples=40)
@given(
    st.fixed_dictionaries(
        {},
        optional={
            "title": st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=20),
            "sequence": st.sampled_from(SEQUENCES),
            "roots": st.sampled_from(["random", "fourths", "C F Bb"]),
            "tries": st.integers(1, 20),
            "hint": st.sampled_from(HINTS),
            "target_ms": st.one_of(st.none(), st.integers(200, 60_000)),
            "hand": st.sampled_from([None, "left", "right"]),
        },
    )
)
def test_what_was_changed_is_what_the_file_says_then(values: dict[str, object]) -> None:
    edit = edit_of(BY_HAND)
    wanted = {**edit.values, **values}
    result = changed(edit, wanted)
    after = edit_of(result).values
    assert {name: after[name] for name in EDITABLE if name in wanted} == wanted
    for comment in ("# for Thursday", "# the short ones", "# first the minor ones"):
        assert comment in result
