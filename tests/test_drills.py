"""Drill files: what ships, every fault with its place, and texts of any kind.

Lines and columns were counted by hand in the texts below. Musical facts are common practice, no source.
"""

from __future__ import annotations

import string
import time
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trainer.drills import Drill, DrillSet, Fault, edited, read, targets_of, turns, write
from trainer.drills.values import MOST_BYTES
from trainer.pitch import ROOT_ORDERS, TWELVE_ROOTS, Note
from trainer.voicings import place

ROOT = Path(__file__).parents[1]
SHIPPED = sorted(path for path in (ROOT / "drills").glob("*.toml") if not path.name.endswith(".lesson.toml"))
FAULTY = sorted((ROOT / "tests" / "faulty").glob("*.toml"))


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def _read(text: str) -> DrillSet:
    drill_set, faults = read(text, "set.toml")
    assert faults == ()
    assert drill_set is not None
    return drill_set


def _shipped(number: int) -> DrillSet:
    return _read(_text(SHIPPED[number - 1]))


def _faults(text: str) -> list[str]:
    drill_set, faults = read(text, "set.toml")
    assert drill_set is None
    assert faults
    return [str(fault) for fault in faults]


def _one(text: str) -> Fault:
    drill_set, faults = read(text, "set.toml")
    assert drill_set is None
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


HEAD = 'title = "A set"\n[[drill]]\n'
PLAIN = HEAD + 'chord = "m7"\nvoicing = "rootless from the third"\n'


# -- what ships --------------------------------------------------------------------------------------------------


def test_at_least_fourteen_sets_ship() -> None:
    assert len(SHIPPED) >= 14


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_set_has_no_fault_and_can_be_written_and_read_again(path: Path) -> None:
    drill_set, faults = read(_text(path), path.name)
    assert [str(fault) for fault in faults] == []
    assert drill_set is not None
    assert read(write(drill_set), path.name) == (drill_set, ())
    assert edited(_text(path), {}) == _text(path)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_set_tells_a_teacher_what_it_is_about_and_how_it_is_written(path: Path) -> None:
    drill_set = _read(_text(path))
    assert len(drill_set.about) > 100
    assert "Larkenfold" in drill_set.about or "seed merchant" in drill_set.about  # the invented scenario
    assert sum(line.lstrip().startswith("#") for line in _text(path).splitlines()) >= 1
    assert all(drill.target_ms is not None and 1500 <= drill.target_ms <= 5000 for drill in drill_set.drills)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_root_of_a_shipped_set_can_be_placed_on_the_piano(path: Path) -> None:
    for drill in _read(_text(path)).drills:
        for root in drill.pool:
            placement = place(drill.recipe, root, drill.register)
            assert drill.register.lowest <= placement.keys[0] <= placement.keys[-1] <= drill.register.highest


def test_sets_are_numbered_without_a_gap_in_teaching_order() -> None:
    numbers = [int(path.name[:2]) for path in SHIPPED]
    assert numbers == list(range(1, len(SHIPPED) + 1))
    titles = [_read(_text(path)).title for path in SHIPPED]
    assert len(set(titles)) == len(titles)
    first = {}
    for number, path in zip(numbers, SHIPPED, strict=True):
        for drill in _read(_text(path)).drills:
            first.setdefault(drill.recipe.family, number)
    # Common practice, no source: two notes before three, three before four.
    assert first["shell"] < first["guide tones"] < first["four-note rootless"]
    targets = [_read(_text(path)).drills[0].target_ms for path in SHIPPED]
    assert targets[0] == max(target for target in targets if target is not None)


def test_a_dominant_in_three_notes_on_d_is_c_f_sharp_b() -> None:
    drill = _shipped(5).drills[0]
    assert [str(note) for note in place(drill.recipe, Note.parse("D"), drill.register).notes] == ["C", "F#", "B"]


def test_the_ninth_on_top_of_e_flat_seven_is_f_and_may_be_left_out() -> None:
    drill = _shipped(6).drills[0]
    placement = place(drill.recipe, Note.parse("Eb"), drill.register)
    assert [str(note) for note in placement.notes] == ["Db", "G", "Bb", "F"]
    assert drill.recipe.optional == {3}


@pytest.mark.parametrize("number", [11, 17])
def test_a_two_five_one_goes_down_in_fifths_chord_by_chord_in_every_key(number: int) -> None:
    asked = turns(_shipped(number), Random(0))
    assert len(asked) == 36
    for two, five, one in zip(asked[::3], asked[1::3], asked[2::3], strict=True):
        assert [two[0], five[0], one[0]] == [0, 1, 2]
        # On the line of fifths the ii is one step over the V, and the V one step over the I; keys, not spellings.
        assert (two[1].pitch_class - five[1].pitch_class) % 12 == 7
        assert (five[1].pitch_class - one[1].pitch_class) % 12 == 7
    assert {root.pitch_class for index, root in asked if index == 2} == set(range(12))


# -- what the fixed fields mean ----------------------------------------------------------------------------------


def test_a_drill_needs_only_chord_and_voicing_and_goes_in_fourths_with_three_tries() -> None:
    drill = _read(PLAIN).drills[0]
    assert (drill.quality.text, drill.voicing, drill.roots, drill.tries) == (
        "m7",
        "rootless from the third",
        "fourths",
        3,
    )
    assert [root for _, root in turns(_read(PLAIN), Random(0))] == list(TWELVE_ROOTS)
    assert place(drill.recipe, Note.parse("C"), drill.register).keys == (51, 55, 58, 62)


def test_roots_are_drilled_in_the_order_in_which_they_are_listed() -> None:
    asked = turns(_read(PLAIN + 'roots = ["Bb", "C", "F#"]\n'), Random(0))
    assert [str(root) for _, root in asked] == ["Bb", "C", "F#"]


@pytest.mark.parametrize("chord", ["", "major"])
def test_an_empty_quality_is_a_plain_major_triad(chord: str) -> None:
    drill = _read(f'{HEAD}chord = "{chord}"\nvoicing = "1 3 5"\n').drills[0]
    assert [degree.name for degree in drill.quality.degrees] == ["1", "3", "5"]


def test_what_stands_at_the_top_holds_for_every_drill_that_does_not_say_otherwise() -> None:
    one, two = _read(
        'title = "A"\ntries = 1\n[passes]\norder = "any"\ngraze = true\n'
        '[[drill]]\nchord = "m7"\nvoicing = "b7 3 13"\ntries = 2\npasses = { order = "exact" }\n'
        '[[drill]]\nchord = "7"\nvoicing = "b7 3 13"\n'
    ).drills
    assert (one.tries, two.tries) == (2, 1)
    assert (one.passes.order, two.passes.order) == ("exact", "any")
    assert one.passes.graze and two.passes.graze


@pytest.mark.parametrize("hand", ["left", "right", "both"])
def test_a_hand_named_by_the_set_plays_the_voicing(hand: str) -> None:
    drill = _read(PLAIN + f'hand = "{hand}"\n').drills[0]
    assert drill.recipe.hand == hand
    assert (drill.recipe.split is None) == (hand != "both")


def test_one_bound_given_alone_moves_the_other_along() -> None:
    drill = _read(PLAIN + 'lowest = "C5"\n').drills[0]
    assert (drill.register.lowest, drill.register.highest) == (72, 96)


def test_limits_are_on_off_or_a_table_of_the_teachers() -> None:
    on, off = (_read(PLAIN + f"limits = {value}\n").drills[0].register.limits for value in ("true", "false"))
    own = _read(PLAIN + 'limits = { "minor third" = "E3" }\n').drills[0].register.limits
    assert on is not None and on[3] == 48
    assert off is None
    assert dict(own or {}) == {3: 52}


def test_fingers_are_one_for_each_note_from_the_bottom_up() -> None:
    assert _read(PLAIN + "fingers = [5, 3, 2, 1]\n").drills[0].fingers == (5, 3, 2, 1)
    fault = _one(PLAIN + "fingers = [5, 2, 1]\n")
    assert (fault.line, fault.column, fault.field) == (5, 11, "drill 1, fingers")
    assert "3 fingers for 4 notes; write one for each note of b3 5 b7 9" in fault.message
    # Fingers of the whole set that do not fit one drill: told at that drill.
    both = PLAIN.replace("\n", "\nfingers = [5, 3, 2, 1]\n", 1) + '[[drill]]\nchord = "m7"\nvoicing = "b7 b3 5"\n'
    fault = _one(both)
    assert (fault.line, fault.field) == (8, "drill 2, voicing")


def test_a_teachers_own_voicing_is_used_by_its_name() -> None:
    drill_set = _read(
        'title = "A"\n[[voicing]]\nname = "stairs"\nforms = { m7 = "b7 9 b3", "7 alt" = ".7 .3" }\n'
        '[[drill]]\nchord = "m7"\nvoicing = "stairs"\n'
    )
    assert drill_set.drills[0].recipe.text == "b7 9 b3"
    assert drill_set.voicings[0].rootless
    assert read(write(drill_set), "a") == (drill_set, ())


def test_text_that_looks_like_markup_is_kept_as_it_stands() -> None:
    title = "[bold]C7[b9][/x] {0} %s <b> &amp; \u05d0\u05d1"
    drill_set = _read(PLAIN.replace("A set", title))
    assert drill_set.title == title
    assert read(write(drill_set), "a") == (drill_set, ())


def test_a_mark_that_tells_the_encoding_and_other_line_ends_do_no_harm() -> None:
    assert read("\ufeff" + PLAIN.replace("\n", "\r\n"), "a") == read(PLAIN, "a")
    assert _one("\ufeff" + (PLAIN + "tries = 0\n").replace("\n", "\r\n")).line == 5


# -- the order of prompts ----------------------------------------------------------------------------------------

TWO = (
    'title = "A"\nsequence = "{}"\nroots = ["C", "F"]\n'
    '[[drill]]\nchord = "m7"\nvoicing = "b3 b7"\nrounds = 2\n[[drill]]\nchord = "7"\nvoicing = "3 b7"\n'
)


def _asked(sequence: str, seed: int = 0) -> list[str]:
    return [f"{index}{root}" for index, root in turns(_read(TWO.format(sequence)), Random(seed))]


def test_drill_by_drill_finishes_one_drill_before_the_next() -> None:
    assert _asked("drill by drill") == ["0C", "0F", "0C", "0F", "1C", "1F"]


def test_root_by_root_takes_each_drill_in_turn() -> None:
    assert _asked("root by root") == ["0C", "1C", "0F", "1F", "0C", "0F"]


@pytest.mark.parametrize("seed", range(20))
def test_shuffled_asks_everything_round_by_round_and_nothing_twice_running(seed: int) -> None:
    asked = _asked("shuffled", seed)
    assert sorted(asked[:4]) == ["0C", "0F", "1C", "1F"]
    assert sorted(asked[4:]) == ["0C", "0F"]
    assert all(one != other for one, other in zip(asked, asked[1:], strict=False))


def test_weakest_first_begins_with_the_players_weak_roots() -> None:
    drill_set = _read(PLAIN + 'roots = "weakest first"\n')
    weak = (Note.parse("Ab"), Note.parse("E"))
    assert [str(root) for _, root in turns(drill_set, Random(0), [weak])][:3] == ["Ab", "E", "C"]


@pytest.mark.parametrize("order", [*ROOT_ORDERS, "random", "weakest first"])
def test_every_order_of_roots_can_be_asked_for_and_has_twelve(order: str) -> None:
    assert len({root for _, root in turns(_read(PLAIN + f'roots = "{order}"\n'), Random(1))}) == 12


# -- faults ------------------------------------------------------------------------------------------------------

IN_A_DRILL = [
    ("tries = 0", 5, 9, "tries", "0 is out of range; write a whole number from 1 to 20"),
    ("tries = 21", 5, 9, "tries", "21 is out of range"),
    ("tries = true", 5, 9, "tries", "true is true or false; write a whole number"),
    ('tries = "3"', 5, 9, "tries", '"3" is text; write a whole number'),
    ("tries = 2.0", 5, 9, "tries", "2.0 is a number; write a whole number"),
    ("rounds = 99", 5, 10, "rounds", "99 is out of range"),
    ("target_ms = 2", 5, 13, "target_ms", "2 is out of range; write milliseconds as a whole number from 200 to 60000"),
    ('hint = "note"', 5, 8, "hint", 'did you mean "notes"?'),
    ('hand = "leftt"', 5, 8, "hand", 'did you mean "left"?'),
    ('hand = ["left"]', 5, 8, "hand", 'a list stands here; write "left", "right" or "both"'),
    ('lowest = "H3"', 5, 10, "lowest", '"H3" is no key'),
    ('highest = "C9"', 5, 11, "highest", '"C9" lies off the piano'),
    ("lowest = 50", 5, 10, "lowest", "50 is a whole number; write a key of the piano"),
    ("reach_semitones = 40", 5, 19, "reach_semitones", "40 is out of range"),
    ("limits = 3", 5, 10, "limits", "3 is a whole number; write true, false or a table"),
    ('limits = { "minor thrid" = "C3" }', 5, 12, "limits.minor thrid", 'did you mean "minor third"?'),
    ('limits = { "fifth" = "X" }', 5, 22, "limits.fifth", '"X" is no key'),
    ("roots = []", 5, 9, "roots", "the list is empty"),
    ("roots = 3", 5, 9, "roots", "3 is a whole number; write an order"),
    ('roots = "forths"', 5, 9, "roots", 'did you mean "fourths"?'),
    ('roots = ["C", "F", "C"]', 5, 20, "roots, item 3", '"C" stands twice'),
    ('roots = ["C", "H"]', 5, 15, "roots, item 2", '"H" is no root'),
    ('roots = ["bb"]', 5, 10, "roots, item 1", 'did you mean "Bb"?'),
    ('roots = ["C", 7]', 5, 15, "roots, item 2", "7 is a whole number; write a root"),
    ('roots = ["Abb"]', 5, 10, "roots, item 1", 'double accidental; write its plain key, "G"'),
    ('roots = [\n  "C",\n  "Q",\n]', 7, 3, "roots, item 2", '"Q" is no root'),
    ("passes = 3", 5, 10, "passes", "3 is a whole number; write a table"),
    ('passes = { order = "anny" }', 5, 20, "passes.order", 'did you mean "any"?'),
    ("passes.graze = 1", 5, 16, "passes.graze", "1 is a whole number; write true or false"),
    ("passes = { graces = true }", 5, 12, "passes.graces", 'did you mean "graze"?'),
    ("fingers = []", 5, 11, "fingers", "a list stands here; write a list of fingers from the bottom note up"),
    ("fingers = [5, 3, 2, 6]", 5, 21, "fingers, item 4", "6 is out of range; write a finger from 1 to 5"),
    ('fingers = ["5", 3, 2, 1]', 5, 12, "fingers, item 1", '"5" is text; write a finger'),
    ("fingerz = [5, 3, 2, 1]", 5, 1, "fingerz", 'did you mean "fingers"?'),
    ("trys = 3", 5, 1, "trys", 'there is no such field; did you mean "tries"?'),
    ("colour = 3", 5, 1, "colour", "the fields here are chord, voicing, roots, tries"),
    ('title = "B"', 5, 1, "title", "title stands at the top of the file, before the first [[drill]]"),
    ("tries = 1979-05-27", 5, 9, "tries", "is a date or time"),
]


@pytest.mark.parametrize(("line", "at", "column", "field", "says"), IN_A_DRILL)
def test_a_faulty_field_of_a_drill_is_told_with_its_place(
    line: str, at: int, column: int, field: str, says: str
) -> None:
    fault = _one(PLAIN + line + "\n")
    assert (fault.line, fault.column, fault.field) == (at, column, f"drill 1, {field}")
    assert says in fault.message
    assert fault.expected
    assert str(fault).startswith(f"set.toml:{at}:{column}: drill 1, {field}: ")


@pytest.mark.parametrize(
    ("line", "at", "column", "field", "says"),
    [row for row in IN_A_DRILL if row[0].split(" =")[0] not in {"trys", "colour", "title", "fingerz"}],
)
def test_the_same_fault_at_the_top_of_the_file_is_told_once(
    line: str, at: int, column: int, field: str, says: str
) -> None:
    fault = _one(f'title = "A set"\n{line}\n' + PLAIN.removeprefix('title = "A set"\n') + PLAIN.split("\n", 1)[1])
    assert (fault.line, fault.column, fault.field) == (at - 3, column, field)
    assert says in fault.message


CHORDS_AND_VOICINGS = [
    ('chord = "m7x"\nvoicing = "b7 3"', 3, 12, "drill 1, chord", '"x" in "m7x" cannot be read; here could stand'),
    ('chord = "7(b9"\nvoicing = "b7 3"', 3, 14, "drill 1, chord", "a bracket is not closed"),
    ('chord = "Cm7"\nvoicing = "b7 3"', 3, 10, "drill 1, chord", 'names a root, C; write the quality alone, "m7"'),
    ('chord = 7\nvoicing = "b7 3"', 3, 9, "drill 1, chord", "7 is a whole number; write a quality"),
    ('voicing = "b7 3"', 2, 1, "drill 1, chord", "is missing; write a quality"),
    ('chord = "m7"', 2, 1, "drill 1, voicing", "is missing; write a voicing's name, or degrees"),
    ('chord = "m7"\nvoicing = ""', 4, 11, "drill 1, voicing", "is empty"),
    ('chord = "m7"\nvoicing = ["b7", "3"]', 4, 11, "drill 1, voicing", "a list stands here"),
    (
        'chord = "m7"\nvoicing = "rootles from the third"',
        4,
        11,
        "drill 1, voicing",
        '"rootles from the third" is no voicing; did you mean "rootless from the third"?',
    ),
    ('chord = "m7"\nvoicing = "b7 3 h"', 4, 17, "drill 1, voicing", "'h' at character 6 is not a degree"),
    ('chord = "m7"\nvoicing = "b7 3 99"', 4, 17, "drill 1, voicing", "'99' at character 6 is not a degree"),
    (
        'chord = "m7"\nvoicing = "rootless from the third, altered"',
        4,
        11,
        "drill 1, voicing",
        'has no form for "m7"; did you mean "rootless from the third"?',
    ),
    ('chord = "m7"\nvoicing = "four-way close"', 4, 11, "drill 1, voicing", "is a whole family; name one of its forms"),
    ('chord = "m7"\nvoicing = "(9)"', 4, 11, "drill 1, voicing", "at least one degree must stand outside brackets"),
    ('chord = "m7"\nvoicing = "qqqq"', 4, 11, "drill 1, voicing", "is no voicing"),
    (
        'chord = "m7"\nvoicing = "rootless from the third"\nlowest = "D4"\nhighest = "D3"',
        5,
        10,
        "drill 1, lowest",
        "lowest (D4) lies above highest (D3)",
    ),
    (
        # Eleven half steps wide: from D3 to F4 the bottom is D3 to Gb3, the third of B, C, Db, D and Eb.
        'chord = "m7"\nvoicing = "rootless from the third"\nlowest = "D3"\nhighest = "F4"',
        4,
        11,
        "drill 1, voicing",
        "cannot be placed on F, Bb, Ab, Gb, E, A, G from D3 to F4 with a reach of 14 semitones; "
        'highest = "C5" would do',
    ),
    (
        'chord = "m7"\nvoicing = "rootless from the third"\nlowest = "D3"\nhighest = "F4"\nroots = ["C", "F"]',
        7,
        15,
        "drill 1, roots, item 2",
        'cannot be placed on F from D3 to F4 with a reach of 14 semitones; highest = "G4" would do',
    ),
    (
        'chord = "m7"\nvoicing = "rootless from the third"\nreach_semitones = 8\nhand = "left"',
        4,
        11,
        "drill 1, voicing",
        'cannot be placed on any root from D3 to C6 with a reach of 8 semitones; hand = "both" would do',
    ),
]


@pytest.mark.parametrize(("lines", "at", "column", "field", "says"), CHORDS_AND_VOICINGS)
def test_a_faulty_chord_or_voicing_is_told_with_its_place_and_what_could_stand_there(
    lines: str, at: int, column: int, field: str, says: str
) -> None:
    fault = _one(HEAD + lines + "\n")
    assert (fault.line, fault.column, fault.field) == (at, column, field)
    assert says in fault.message


OF_THE_FILE = [
    (PLAIN.replace('"A set"', "3"), 1, 9, "title", "3 is a whole number; write a title"),
    (PLAIN.replace('"A set"', '""'), 1, 9, "title", "is empty; write a title"),
    (PLAIN.replace('title = "A set"\n', ""), 1, 1, "title", "is missing; write a title"),
    (PLAIN.replace('"A set"', f'"{"x" * 121}"'), 1, 9, "title", "has 121 characters; at most 120 are read"),
    (PLAIN.replace("A set", "A\\u0007set"), 1, 11, "title", "U+0007 is a control character"),
    (PLAIN.replace("A set", "A\\nset"), 1, 11, "title", "U+000A is a control character"),
    (PLAIN.replace("A set", "ab\u202ecd"), 1, 12, "title", "U+202E turns the direction of writing"),
    ('about = """\nok\n\\u001b[31m"""\n' + PLAIN, 3, 1, "about", "U+001B is a control character"),
    ('sequence = "drill"\n' + PLAIN, 1, 12, "sequence", "cannot stand here"),
    ('title = "A"\n', 1, 1, "drill", "is missing; write at least one [[drill]]"),
    ('title = "A"\ndrill = []\n', 2, 1, "drill", "is missing; write at least one [[drill]]"),
    ('title = "A"\n[drill]\nchord = "m7"\n', 2, 1, "drill", "a table stands here; write [[drill]] in double brackets"),
    ('title = "A"\ndrill = [3]\n', 2, 10, "drill 1", "3 is a whole number; write [[drill]]"),
    ('chord = "m7"\n' + PLAIN, 1, 1, "chord", "chord stands in each [[drill]]"),
    ('voicing = "b7 3"\n' + PLAIN, 1, 11, "voicing", '"b7 3" is text; write [[voicing]] in double brackets'),
    ('tittle = "m7"\n' + PLAIN, 1, 1, "tittle", 'did you mean "title"?'),
    ("x = [\n" + PLAIN, 2, 1, "title", "a list or table above this line is not closed"),
    (PLAIN + "tries = 3\ntries = 4\n", 6, 10, "tries", "this field stands twice"),
    (PLAIN + "tries 4\n", 5, 7, "", "a field is written name = value"),
    (PLAIN + "tries =\n", 5, 8, "tries", "no value can be read here"),
    (PLAIN + 'hint = "name\n', 5, 13, "hint", "a text is not closed with a quote"),
    (PLAIN + "tries = 3 4\n", 5, 11, "tries", "only a comment may follow a value"),
    (PLAIN + "[[drill]\n", 5, 8, "", "a bracket is not closed"),
    (PLAIN + "[drill]\n", 5, 7, "", "this table cannot stand here a second time"),
    (PLAIN + "x = " + "[" * 3000, 1, 1, "", "nested too deeply"),
    ("# " + "x" * 5000, 1, 4001, "", "the line has 5002 characters; at most 4000 are read"),
    ("#" * 70 + "\n" + ("#" * 99 + "\n") * 3000, 1, 1, "", "the file has 293 KB; at most 256 KB are read"),
]


@pytest.mark.parametrize(("text", "at", "column", "field", "says"), OF_THE_FILE, ids=[row[-1] for row in OF_THE_FILE])
def test_a_fault_of_the_file_itself_is_told_with_its_place(
    text: str, at: int, column: int, field: str, says: str
) -> None:
    fault = _one(text)
    assert (fault.line, fault.column, fault.field) == (at, column, field)
    assert says in fault.message


OWN_VOICINGS = [
    ('forms = { m7 = "b7 3" }', 2, 1, "voicing 1, name", "is missing"),
    ('name = "own"', 2, 1, "voicing 1, forms", "is missing"),
    ('name = "own"\nforms = { m7 = "b7 x" }', 4, 20, "voicing 1, forms.m7", "'x' at character 4 is not a degree"),
    ('name = "own"\nforms = { m77 = "b7" }', 4, 11, "voicing 1, forms.m77", 'did you mean "m7"?'),
    ('name = "own"\nforms = {}', 4, 9, "voicing 1, forms", "the table is empty"),
    ('name = "own"\nforms = { m7 = "b7", "7 m7" = "3" }', 4, 22, "voicing 1, forms.7 m7", '"m7" stands twice'),
    ('name = "own"\nforms = { m7 = "b7" }\nhand = "l"', 5, 8, "voicing 1, hand", "cannot stand here"),
    ('name = "own"\nforms = { m7 = "b7" }\nother = "shel, root and third"', 5, 9, "voicing 1, other", "did you mean"),
    ('name = "own"\nforms = { m7 = "b7" }\nrecipe = "l"', 5, 1, "voicing 1, recipe", "no such field"),
    (
        'name = "own"\nforms = { m7 = "b7" }\n[[voicing]]\nname = "Own"\nforms = { 7 = "b7" }',
        6,
        8,
        "voicing 2, name",
        '"Own" is defined twice',
    ),
]


@pytest.mark.parametrize(("lines", "at", "column", "field", "says"), OWN_VOICINGS)
def test_a_faulty_voicing_of_the_teachers_own_is_told_with_its_place(
    lines: str, at: int, column: int, field: str, says: str
) -> None:
    text = f'title = "A"\n[[voicing]]\n{lines}\n[[drill]]\nchord = "m7"\nvoicing = "b7 b3"\n'
    fault = _one(text)
    assert (fault.line, fault.column, fault.field) == (at, column, field)
    assert says in fault.message


@pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)
def test_a_faulty_file_is_told_everything_that_is_wrong_with_it(path: Path) -> None:
    expected = path.with_suffix(".txt").read_text(encoding="utf-8").splitlines()
    assert [str(fault) for fault in read(_text(path), path.name)[1]] == expected


def test_a_move_is_read_with_its_steps_and_faults_of_them_have_their_place() -> None:
    step = 'then = [{ on = "V", chord = "7", voicing = "rootless from the seventh", rise_semitones = 0 }]\n'
    drill = _read(PLAIN + 'on = "II"\n' + step).drills[0]
    assert _read(write(DrillSet("A", (drill,)))).drills[0] == drill
    asked = [target.chord.symbol for target in targets_of(drill, Note.parse("Bb"))]
    assert asked == ["Cm7", "F7"]
    faulty = 'on = "ii7"\nthen = [{ on = "V", chord = "7", voicing = "rootless from the sevnth", up = 2 }, 3]\n'
    assert [(fault.line, fault.column, fault.field) for fault in read(PLAIN + faulty, "a.toml")[1]] == [
        (5, 6, "drill 1, on"),
        (6, 44, "drill 1, then.voicing, item 1"),
        (6, 72, "drill 1, then.up, item 1"),
        (6, 82, "drill 1, then, item 2"),
    ]


def test_what_can_be_read_beside_a_broken_line_is_judged_too() -> None:
    faults = _faults('title = "A\n[[drill]]\nchord = "m7"\nvoicing = "b7 3 x"\ntries = 99 9\nrounds = 0\n')
    assert [fault.split(": ")[0] for fault in faults] == [
        "set.toml:1:11",
        "set.toml:4:17",
        "set.toml:5:12",
        "set.toml:6:10",
    ]


def test_a_character_behind_escapes_is_still_found() -> None:
    assert _one(HEAD + 'chord = "\\u006d7x"\nvoicing = "b7 3"\n').column == 17


def test_a_fault_is_one_harmless_line_whatever_the_file_holds() -> None:
    text = HEAD + 'chord = "m7"\nvoicing = "b3 b7"\n"\\u001b[31m\\n\\u202e" = 1\nhint = "\\u001b\\n"\n'
    for fault in _faults(text):
        assert fault.isprintable()
    _, faults = read(text, "evil\n\x1b.toml")
    assert all(str(fault).isprintable() for fault in faults)


def test_more_than_five_hundred_drills_are_refused() -> None:
    drill = '[[drill]]\nchord = "m7"\nvoicing = "b3 b7"\n'
    assert len(_read('title = "A"\n' + drill * 500).drills) == 500
    fault = _one('title = "A"\n' + drill * 501)
    assert (fault.line, fault.message) == (1502, "a set has at most 500 of these; this one has 501")


def test_hostile_files_are_judged_in_bounded_time() -> None:
    texts = (
        "\n".join(".".join(["a"] * 1900) + f".b{number} = 1" for number in range(66)),
        "\n".join(f"tytle{number} = 1" for number in range(15_000)),
        'title = "a"\n' + '[[drill]]\nchord = "m7"\nvoicing = "rootless from the thrd"\nhighest = "D3"\n' * 3000,
        'title = "a"\n' + "x = {" * 40 + "\n",
    )
    for text in texts:
        assert len(text) < MOST_BYTES
        start = time.perf_counter()
        _, faults = read(text, "a")
        assert 0 < len(faults) <= 1000
        assert time.perf_counter() - start < 20  # generous: a slow machine, and no hang


# -- any text ----------------------------------------------------------------------------------------------------

_WORDS = st.sampled_from(
    ["title", "drill", "voicing", "chord", "roots", "tries", "passes", "limits", "forms", "name", "about", "hand", "x"]
)
_VALUES = st.sampled_from(
    [
        '"m7"',
        '"b7 3 13"',
        '"rootless from the third"',
        "3",
        "true",
        "[]",
        '["C", "F"]',
        "{}",
        '{ order = "any" }',
        '"D3"',
    ]
    + ['"left"', '"(9)"', '"| |"', '"under"', '"b7 under 9"', '"x under y"', "1.5", '"♭7 3"', '""', '{ m7 = "b7" }']
)


@given(
    st.lists(
        st.one_of(
            st.builds("{} = {}".format, _WORDS, _VALUES),
            st.sampled_from(
                ["[[drill]]", "[[voicing]]", "[passes]", "[drill.passes]", "[limits]", "# note", "[voicing.forms]"]
            ),
        ),
        max_size=14,
    )
)
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_lines_of_the_format_in_any_order_give_a_set_or_faults(lines: list[str]) -> None:
    text = "\n".join(lines)
    drill_set, faults = read(text, "a.toml")
    assert (drill_set is None) == bool(faults)
    rows = text.split("\n")
    for fault in faults:
        assert 1 <= fault.line <= len(rows)
        assert 1 <= fault.column <= len(rows[fault.line - 1]) + 1
        assert str(fault).isprintable()
    if drill_set is not None:
        assert read(write(drill_set), "a.toml") == (drill_set, ())


@given(st.text(max_size=200) | st.text(alphabet=string.printable, max_size=200))
@settings(deadline=None)
def test_any_text_at_all_gives_a_set_or_faults(text: str) -> None:
    drill_set, faults = read(text, "a.toml")
    assert (drill_set is None) == bool(faults)


@given(st.text(st.characters(codec="utf-8"), max_size=130), st.text(st.characters(codec="utf-8"), max_size=60))
@settings(deadline=None)
def test_a_title_or_voicing_of_any_characters_is_read_as_it_stands_or_refused(title: str, voicing: str) -> None:
    base = _read(PLAIN)
    made = DrillSet(title, (Drill(base.drills[0].quality, voicing, base.drills[0].recipe),), about=title)
    drill_set, faults = read(write(made), "a.toml")
    if drill_set is not None:
        assert (drill_set.title, drill_set.about, drill_set.drills[0].voicing) == (title, title, voicing)
    assert (drill_set is None) == bool(faults)


_TRUE = st.booleans()


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "tries": st.integers(1, 20),
            "rounds": st.integers(1, 20),
            "hint": st.sampled_from(["notes", "degrees", "name"]),
            "target_ms": st.integers(200, 60_000),
            "hand": st.sampled_from(["left", "right", "both"]),
            "limits": _TRUE,
            "fingers": st.sampled_from([[5, 3, 2, 1], [4, 2, 1, 1]]),
            "roots": st.sampled_from([*ROOT_ORDERS, "random"])
            | st.lists(st.sampled_from(["C", "F#", "Gb", "E#", "Cb"]), min_size=1, unique=True),
            "passes": st.fixed_dictionaries(
                {},
                optional={
                    "order": st.sampled_from(["exact", "inversion", "any"]),
                    "octave": st.sampled_from(["as asked", "any"]),
                    "doublings": _TRUE,
                    "root_below": _TRUE,
                    "graze": _TRUE,
                },
            ),
        },
    ),
    st.integers(1, 3),
)
@settings(deadline=None)
def test_every_set_that_can_be_read_is_written_and_read_again_the_same(fields: dict[str, object], count: int) -> None:
    text = edited(PLAIN, {("drill", 0, name): value for name, value in fields.items()})  # type: ignore[misc]
    text += '[[drill]]\nchord = "7"\nvoicing = "b7 3 (13)"\n' * (count - 1)
    drill_set = _read(text)
    assert read(write(drill_set), "a.toml") == (drill_set, ())


# -- editing -----------------------------------------------------------------------------------------------------


def test_editing_keeps_a_teachers_comments_and_order() -> None:
    text = '# ours\ntitle = "A"  # the title\n\n[[drill]]  # first\nvoicing = "b7 3"\nchord = "7"\n'
    changed = edited(text, {("title",): "B", ("drill", 0, "tries"): 1})
    assert changed == (
        '# ours\ntitle = "B"  # the title\n\n[[drill]]  # first\nvoicing = "b7 3"\nchord = "7"\ntries = 1\n'
    )


def test_a_drill_is_added_after_the_last_and_taken_out_again() -> None:
    more = edited(PLAIN, {("drill", 1): {"chord": "7", "voicing": "b7 3 13", "roots": ["C", "F"]}})
    assert [drill.quality.text for drill in _read(more).drills] == ["m7", "7"]
    assert _read(edited(more, {("drill", 1): None})) == _read(PLAIN)


@pytest.mark.parametrize("path", [(), ("drill", 7, "tries"), ("nothing", "at", "all"), ("title", "x"), ("drill", "x")])
def test_a_change_that_leads_nowhere_is_refused(path: tuple[str | int, ...]) -> None:
    with pytest.raises(ValueError, match="path|nowhere|single value"):
        edited(PLAIN, {path: 1})


def test_a_text_that_is_not_toml_is_not_edited() -> None:
    with pytest.raises(ValueError, match="not TOML"):
        edited("title = ", {("title",): "x"})
