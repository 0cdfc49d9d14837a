"""What passed for an attempt is written into its record, and gives the same target again."""

from __future__ import annotations

import pytest

from trainer.chords import Chord, parse_quality
from trainer.grading import OCTAVES_THAT_PASS, ORDERS_THAT_PASS, Passes, Target, grade, rules_text, target_from
from trainer.pitch import TWELVE_ROOTS, Note, mask_of
from trainer.voicings import place, recipe, recipes_for


def again(target: Target) -> Target:
    return target_from(
        target.chord.quality.text,
        target.root.name,
        target.voicing,
        tuple(degree.name for degree in target.degrees),
        tuple(target.keys),
        rules_text(target),
    )


@pytest.mark.parametrize("quality", ["maj7", "m7", "7", "m7b5", "7alt", "6"])
def test_the_target_of_every_voicing_is_made_again_from_its_record(quality: str) -> None:
    read = parse_quality(quality)
    for found in recipes_for(read):
        for root in TWELVE_ROOTS[::5]:
            target = Target(Chord(root, read), place(found, root))
            assert again(target).accepted == target.accepted
            one_off = mask_of((target.keys[0] + 1, *target.keys[1:]))
            for held in (mask_of(target.keys), one_off, one_off << 1, mask_of(target.keys[:-1])):
                assert grade(again(target), held) == grade(target, held), (found.name, root)


@pytest.mark.parametrize("order", ORDERS_THAT_PASS)
@pytest.mark.parametrize("octave", OCTAVES_THAT_PASS)
def test_what_passes_comes_back(order: str, octave: str) -> None:
    read = parse_quality("7")
    for flags in range(8):
        passes = Passes(order, octave, bool(flags & 1), bool(flags & 2), bool(flags & 4))
        target = Target(Chord(Note.parse("Eb"), read), place(recipe("b7 3 5 (9)", read), Note.parse("Eb")), passes)
        assert again(target).passes == passes
        assert again(target).optional == {3}


def test_the_usual_rules_are_an_empty_text_and_others_are_named() -> None:
    read = parse_quality("m7")
    placed = place(recipe("rootless from the third", read), Note.parse("C"))
    chord = Chord(Note.parse("C"), read)
    assert rules_text(Target(chord, placed)) == ""
    limited = Target(chord, placed, Passes(order="any", root_below=True), {3: 40, 4: 41})
    assert rules_text(limited) == "order=any root-below limits=3:40,4:41"
    assert again(limited).limits == {3: 40, 4: 41}


def test_an_attempt_from_before_rules_were_kept_is_read_as_the_table_has_its_voicing() -> None:
    degrees, rules = ("b7", "3", "5", "9"), None
    found = target_from("7", "Eb", "b7 3 5 (9)", degrees, (61, 67, 70, 77), rules)
    assert found.optional == {3} and found.passes == Passes()
    own = target_from("7", "Eb", "our own grip", degrees, (61, 67, 70, 77), rules)
    assert own.optional == set() and own.voicing == "our own grip"


@pytest.mark.parametrize(
    ("quality", "root", "degrees", "keys", "rules"),
    [
        ("what", "C", ("1",), (60,), ""),
        ("7", "Q", ("1",), (60,), ""),
        ("7", "C", ("x",), (60,), ""),
        ("7", "C", ("1", "3"), (60,), ""),
        ("7", "C", (), (), ""),
        ("7", "C", ("1",), (200,), ""),
        ("7", "C", ("1", "3"), (64, 60), ""),
        ("7", "C", ("1",), (60,), "order=sideways"),
        ("7", "C", ("1",), (60,), "optional=4"),
        ("7", "C", ("1",), (60,), "limits=1:999"),
        ("7", "C", ("1",), (60,), "[b]"),
    ],
)
def test_a_record_that_describes_no_target_is_refused(
    quality: str, root: str, degrees: tuple[str, ...], keys: tuple[int, ...], rules: str
) -> None:
    with pytest.raises(ValueError):
        target_from(quality, root, "by hand", degrees, keys, rules)
