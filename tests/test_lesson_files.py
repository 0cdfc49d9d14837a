"""Lesson files: what ships, note by note; every fault with its place; texts of any kind.

Lines and columns were counted by hand in the texts. Musical facts are common practice, no source; the notes of the demo
lesson were written by hand from the trade's tables of forms.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trainer.charts import FORMS, form_chart
from trainer.drills import Lesson, Rule, edited, is_lesson, lesson_of, read, read_lesson, write, write_lesson
from trainer.drills.rhythm import Hit
from trainer.pitch import Degree, MidiNote, Note, parse_key
from trainer.scheduling.pool import pool_of

ROOT = Path(__file__).parents[1]
SHIPPED = sorted((ROOT / "drills").glob("*.lesson.toml"))
FAULTY = sorted((ROOT / "tests" / "faulty" / "lessons").glob("*.toml"))


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def _shipped(path: Path) -> Lesson:
    lesson, faults = read_lesson(_text(path), path.name, lambda name: _text(path.with_name(name)))
    assert [str(fault) for fault in faults] == []
    assert lesson is not None
    return lesson


def _faults(text: str) -> list[str]:
    lesson, faults = read_lesson(text, "lesson.toml")
    assert lesson is None
    return [str(fault) for fault in faults]


def _read(text: str) -> Lesson:
    lesson, faults = read_lesson(text, "lesson.toml")
    assert [str(fault) for fault in faults] == []
    assert lesson is not None
    return lesson


# -- what ships --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_a_shipped_lesson_has_no_fault_and_can_be_written_and_read_again(path: Path) -> None:
    lesson = _shipped(path)
    again, faults = read_lesson(write_lesson(lesson), path.name, lambda name: _text(path.with_name(name)))
    assert (again, faults) == (lesson, ())
    assert edited(_text(path), {}) == _text(path)
    assert "invented" in lesson.about and "nvented" in _text(path).split("title")[0]
    for made in (lesson.drill_set(), lesson.moves_set()):
        assert read(write(made), "made.toml") == (made, ())


# The left hand of the demo lesson, bar by bar, written by hand: bar, chord, notes from the bottom up. The ways into the
# I and the IV are Gb7 and Cb7: 1 and b7 a half step above.
DEMO = {
    "F": [
        ("0.4", "Gb7", "Gb Fb"), ("1", "F7", "F A Eb"), ("2", "Bb7", "D G Ab C"), ("3", "F7", "F A Eb"),
        ("4", "Cm7", "Bb D Eb G"), ("4.3", "F7", "A D Eb G"), ("4.4", "Cb7", "Cb Bbb"), ("5", "Bb7", "Ab C D G"),
        ("6", "Bdim7", "Ab B D F"), ("7", "F7", "F A Eb"), ("8", "Am7", "G B C E"), ("8.3", "D7", "F# B C E"),
        ("9", "Gm7", "F A Bb D"), ("10", "C7", "E A Bb D"), ("11", "F7", "F A Eb"), ("11.3", "D7", "F# B C E"),
        ("12", "Gm7", "F A Bb D"), ("12.3", "C7", "E A Bb D"),
    ],
}  # fmt: skip
HOME = {
    # The two bars that do not depend on the way: the shell of the I, and ii and V of the IV as the rules give them.
    "C": ("Db Cb", "C E Bb", "F A Bb D", "E A Bb D", "Gb Fb"),
    "F": ("Gb Fb", "F A Eb", "Bb D Eb G", "A D Eb G", "Cb Bbb"),
    "Bb": ("Cb Bbb", "Bb D Ab", "Eb G Ab C", "D G Ab C", "Fb Ebb"),
    "Eb": ("Fb Ebb", "Eb G Db", "Ab C Db F", "G C Db F", "A G"),
    "Gb": ("G F", "Gb Bb Fb", "Cb Eb Fb Ab", "Bb Eb Fb Ab", "C Bb"),
}


def _notes(lesson: Lesson) -> list[tuple[str, str, str]]:
    return [(one.label, one.chord.symbol, " ".join(note.name for note in one.target.notes)) for one in lesson.form]


def test_the_demo_lesson_in_its_own_key_is_what_a_hand_wrote() -> None:
    lesson = _shipped(SHIPPED[0])
    # Where two forms would do, the hand wrote the one that the path had taken; every note is that of the form's table.
    assert _notes(lesson) == DEMO["F"]
    assert [one.label for one in lesson.form if one.approach] == ["0.4", "4.4"]
    (ninth,) = [one for one in lesson.form if one.target.optional]
    assert ninth.label == "4.3" and ninth.target.notes[3].name == "G"


@pytest.mark.parametrize("key", HOME)
def test_the_approach_the_shell_and_the_ii_and_v_into_the_iv_in_other_keys(key: str) -> None:
    found = {label: notes for label, _, notes in _notes(_shipped(SHIPPED[0]).in_key(Note.parse(key)))}
    assert tuple(found[label] for label in ("0.4", "1", "4", "4.3", "4.4")) == HOME[key]


def test_the_demo_lesson_is_played_in_the_rhythm_that_it_says() -> None:
    slots = _shipped(SHIPPED[0]).slots()
    by_bar = {bar: [(slot.part, slot.beat) for slot in slots if slot.bar == bar] for bar in (0, 1, 4, 9, 11)}
    half = Fraction(1, 2)
    assert by_bar == {
        0: [("chord", 4)],
        1: [("chord", 1), ("chord", 3)],
        4: [("chord", 1), ("chord", 3), ("chord", 4)],
        9: [("bass", 1), ("chord", 2 + half)],
        11: [("chord", 1), ("chord", 2 + half)],
    }
    assert all(first.start_beats <= second.start_beats for first, second in zip(slots, slots[1:], strict=False))


def test_the_two_five_one_leaves_out_the_thirteenth_or_not_and_may_be_silent_in_its_last_bar() -> None:
    lesson = _shipped(SHIPPED[1])
    assert _notes(lesson) == [
        ("1", "Dm7", "F A C E"), ("2", "G7", "F A B E"), ("3", "Cmaj7", "E G B D"), ("4", "Cmaj7", "E G B D"),
    ]  # fmt: skip
    assert [slot.optional for slot in lesson.slots()] == [False, False, False, True]
    assert lesson.form[1].target.optional == {3}


# What each bar of the demo lesson may be, by hand from the trade's tables: the root's degree of the key, and the
# degrees of the voicing, more than one where two forms would do.
FORMS_OF = [
    ("0.4", "b2", ("1 b7",)), ("1", "1", ("1 3 b7",)), ("2", "4", ("3 13 b7 9", "b7 9 3 13")),
    ("3", "1", ("1 3 b7",)), ("4", "5", ("b7 9 b3 5",)), ("4.3", "1", ("3 13 b7 9",)), ("4.4", "b5", ("1 b7",)),
    ("5", "4", ("3 13 b7 9", "b7 9 3 13")), ("6", "#4", ("b3 b5 bb7 1", "bb7 1 b3 b5")), ("7", "1", ("1 3 b7",)),
    ("8", "3", ("b3 5 b7 9", "b7 9 b3 5")), ("8.3", "6", ("3 13 b7 9", "b7 9 3 13")),
    ("9", "2", ("b3 5 b7 9", "b7 9 b3 5")), ("10", "5", ("3 13 b7 9", "b7 9 3 13")), ("11", "1", ("1 3 b7",)),
    ("11.3", "6", ("3 13 b7 9", "b7 9 3 13")), ("12", "2", ("b3 5 b7 9", "b7 9 b3 5")),
    ("12.3", "5", ("3 13 b7 9", "b7 9 3 13")),
]  # fmt: skip

_LETTERS = "CDEFGAB"
_WHITE = dict(zip(_LETTERS, (0, 2, 4, 5, 7, 9, 11), strict=True))
_MAJOR = (0, 2, 4, 5, 7, 9, 11)


def _spelled(root: str, degree: str) -> str:
    """Letter and accidental of a degree, counted on letters and semitones: not by the line of fifths of the program."""
    number = int(degree.lstrip("b#"))
    letter = _LETTERS[(_LETTERS.index(root[0]) + number - 1) % 7]
    wanted = _WHITE[root[0]] + root.count("#") - root.count("b", 1) + _MAJOR[(number - 1) % 7]
    wanted += degree.count("#") - degree.count("b")
    off = (wanted - _WHITE[letter] + 6) % 12 - 6
    return letter + ("#" * off if off > 0 else "b" * -off)


def _plain(note: str) -> str:
    """A root that would have a double accidental by its plain name, as the trade writes it."""
    if len(note) < 3:
        return note
    semitones = (_WHITE[note[0]] + note.count("#") - note.count("b", 1)) % 12
    return next(letter for letter, white in _WHITE.items() if white == semitones)


@pytest.mark.parametrize("key", ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"])
def test_every_bar_of_the_demo_lesson_in_every_key_has_a_form_of_the_trade_s_table(key: str) -> None:
    lesson = _shipped(SHIPPED[0]).in_key(Note.parse(key))
    assert [one.label for one in lesson.form] == [label for label, _, _ in FORMS_OF]
    for one, (label, degree, forms) in zip(lesson.form, FORMS_OF, strict=True):
        root = _plain(_spelled(key, degree)) if not one.approach else one.target.root.name
        if one.approach:
            # A half step above the chord it leads into, by its own letter or by its plain name.
            above = _spelled(key, degree)
            assert one.target.root.name in (above, _plain(above)), label
        assert one.target.root.name == root, label
        notes = [note.name for note in one.target.notes]
        assert notes in [[_spelled(root, each) for each in form.split()] for form in forms], label
        assert all(low < high for low, high in zip(one.target.keys, one.target.keys[1:], strict=False))
        assert 41 <= one.target.keys[0] and one.target.keys[-1] <= 72, label  # F2 to C5, the left hand's own


def test_a_change_to_a_lesson_keeps_its_comments_and_its_order() -> None:
    text = _text(SHIPPED[0])
    changed = edited(text, {("rule", 0, "rhythm"): "1 chord, 2& chord", ("key",): "Bb"})
    assert [line for line in changed.splitlines() if line.startswith("#")] == [
        line for line in text.splitlines() if line.startswith("#")
    ]
    assert changed.count("\n") == text.count("\n") + 1
    lesson, faults = read_lesson(changed, "a.lesson.toml", lambda name: _text(SHIPPED[0].with_name(name)))
    assert faults == () and lesson is not None and lesson.chart.key.name == "Bb"


def test_the_lesson_in_the_readme_is_a_lesson() -> None:
    blocks = re.findall(r"```toml\n(.*?)```", _text(ROOT / "README.md"), re.DOTALL)
    (block,) = [block for block in blocks if "[[rule]]" in block]
    lesson = _read(block)
    assert [one.approach for one in lesson.form].count(True) == 1


def test_moves_are_no_items_of_what_is_scheduled() -> None:
    lesson = _shipped(SHIPPED[1])
    assert len(pool_of([lesson.drill_set(), lesson.moves_set()]).forms) == len(lesson.voicings())


# -- faults ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)
def test_a_faulty_lesson_is_told_everything_that_is_wrong_with_it(path: Path) -> None:
    expected = path.with_suffix(".txt").read_text(encoding="utf-8").splitlines()
    assert expected
    assert [str(fault) for fault in read_lesson(_text(path), path.name)[1]] == expected


HEAD = 'title = "A"\nform = "ii-V-I"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('title = "A"\n', 'lesson.toml:1:1: chart: is missing; write chart, chart_file or form'),
        ('title = "A"\nform = "blus"\n', 'lesson.toml:2:8: form: "blus" is no form; did you mean "blues"?'),
        (HEAD + 'chart = "| C |"\n', "lesson.toml:3:1: chart: form is given already; a lesson has one of chart, "
         "chart_file and form"),
        (HEAD + 'key = "H"\n', 'lesson.toml:3:7: key: "H" is no key; write a key such as "F" or "Cm"'),
        (HEAD + 'key = "Cm"\n', 'lesson.toml:3:7: key: the chart is in major, and "Cm" is not; write "C"'),
        (HEAD + "repeats = 1\n", "lesson.toml:3:11: repeats: 1 is a whole number; write true or false"),
        (HEAD + '[[rule]]\noptional = "13"\nvoicing = "b7 3"\n', 'lesson.toml:4:12: rule 1, optional: "13" stands in '
         "no voicing that this rule is for"),
        (HEAD + '[[rule]]\ntop = "melody"\n', "lesson.toml:4:7: rule 1, top: the chart has no melody to voice a chord "
         "under"),
        (HEAD + '[[rule]]\nrhythm = "before 4 approach, 1 chord"\n', "lesson.toml:4:10: rule 1, rhythm: no rule says "
         'from where the approach comes; write approach = "above" or approach = "below"'),
        ('title = "A"\nchart = """\n| N.C. |\n"""\n', "lesson.toml:2:9: chart: the chart has no chord to voice"),
    ],
)  # fmt: skip
def test_a_fault_of_a_lesson_has_its_place_and_what_could_stand_there(text: str, said: str) -> None:
    assert _faults(text) == [said]


@pytest.mark.parametrize("name", ["../a.chart", "/a.chart", "a\\b.chart", "C:a.chart", ".chart", "a.toml", "b/a.chart"])
def test_no_path_leaves_the_folder_of_a_lesson(name: str) -> None:
    quoted = name.replace("\\", "\\\\")

    def never(asked: str) -> str:
        raise AssertionError(f"{asked} was asked for")

    _, faults = read_lesson(f'title = "A"\nchart_file = "{quoted}"\n', "lesson.toml", never)
    assert [(fault.line, fault.field) for fault in faults] == [(2, "chart_file")]


def test_faults_of_a_neighbouring_chart_are_told_with_its_own_name_and_lines() -> None:
    text = 'title = "A"\nchart_file = "tune.chart"\n'
    _, faults = read_lesson(text, "songs/a.lesson.toml", lambda name: "key: F\n| F7 | Hb7 |\n")
    assert [(fault.file, fault.line, fault.column) for fault in faults] == [("songs/tune.chart", 2, 8)]

    def gone(name: str) -> str:
        raise FileNotFoundError(f"{name} is not there")

    _, faults = read_lesson(text, "a.lesson.toml", gone)
    assert str(faults[0]).endswith('"tune.chart" cannot be read: tune.chart is not there')


def test_a_chart_inside_a_lesson_is_faulted_at_its_line_and_column_of_the_file() -> None:
    text = 'title = "A"\nchart = """\nkey: F\n| F7 | Hb7 |\n"""\n'
    assert _faults(text)[0].startswith("lesson.toml:4:8: chart: ")
    escaped = 'title = "A"\nchart = "| F7 | \\u0048b7 |"\n'
    assert _faults(escaped)[0].startswith("lesson.toml:2:17: chart: ")


def test_a_lesson_is_told_from_a_set_even_where_it_is_faulty() -> None:
    assert is_lesson('title = "A"\nform = \n') and is_lesson("chart = '''| C |'''")
    assert not is_lesson('title = "A"\n[[drill]]\nchord = "m7"\nform = 3\nx')


# -- texts of any kind -------------------------------------------------------------------------------------------------


@given(st.text(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_text_is_read_or_refused_without_trouble(text: str) -> None:
    for whole in (text, HEAD + text, f"{HEAD}[[rule]]\nrhythm = {text!r}\n", f'title = "A"\nchart = """\n{text}\n"""'):
        lesson, faults = read_lesson(whole, "lesson.toml")
        assert (lesson is None) == bool(faults)


_VOICINGS = st.sampled_from(
    ["four-note rootless", "rootless from the third", "shell", "guide tones", "drop 2", "shell, root and seventh"]
)
_HITS = st.builds(
    Hit,
    st.sampled_from(["bass", "chord"]),
    st.integers(4, 19).map(lambda quarter: Fraction(quarter, 4)),
    st.booleans(),
    st.booleans(),
)


@st.composite
def _rules(draw: st.DrawFn) -> Rule:
    return Rule(
        degree=draw(st.sampled_from([(), (Degree(2),), (Degree(5), Degree(1))])),
        bar=draw(st.sampled_from([(), ((1, 2),), ((2, 2), (1, 4))])),
        beat=draw(st.sampled_from([(), (Fraction(1),)])),
        colour=draw(st.sampled_from([(), ("m7", "7", "maj7")])),
        voicing=tuple(draw(st.lists(_VOICINGS, min_size=1, max_size=3, unique=True))),
        hand=draw(st.sampled_from([None, "left", "both"])),
        rhythm=draw(
            st.none()
            | st.lists(_HITS, min_size=1, max_size=4, unique_by=lambda hit: (hit.part, hit.count, hit.before)).map(
                tuple
            )
        ),
        approach=draw(st.sampled_from([None, "above", "below", "none"])),
        lowest=draw(st.sampled_from([None, MidiNote(45), parse_key("C3")])),
        reach_semitones=draw(st.sampled_from([None, 14, 17])),
        limits=draw(st.sampled_from([None, True, False, ((3, MidiNote(48)),)])),
        passes=draw(st.sampled_from([(), (("octave", "any"), ("doublings", True))])),
    )


@given(st.lists(_rules(), max_size=4), st.sampled_from(["C", "Gb", "B"]), st.booleans(), st.text('aé"\\\n', max_size=9))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_written_is_read_again_as_the_same_lesson(
    rules: list[Rule], key: str, repeats: bool, about: str
) -> None:
    chart = form_chart("ii-V-I", Note.parse(key))
    lesson = Lesson("A lesson", chart, tuple(rules), about, repeats)
    found, faults = read_lesson(write_lesson(lesson), "lesson.toml")
    told = [fault.message for fault in faults if "fits this and the other" not in fault.message]
    # What the values ask for may have no place or form; that is told, and nothing else is wrong.
    assert all("cannot be placed" in message or "has no form" in message for message in told), told
    if found is not None:
        assert found == lesson
        assert found.form and found.slots() is not None
        for made in (found.drill_set(), found.moves_set()):
            again, wrong = read(write(made), "made.toml")
            assert (again, [str(fault) for fault in wrong]) == (made, [])


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_a_lesson_of_every_form_is_written_and_read_again(row: object) -> None:
    from trainer.charts import FormRow

    assert isinstance(row, FormRow)
    lesson = lesson_of(form_chart(row.name), repeats=row.repeats)
    assert _read(write_lesson(lesson)) == lesson
    by_name = _read(f'title = "A"\nform = "{row.name}"\n')
    assert by_name.chart == lesson.chart
