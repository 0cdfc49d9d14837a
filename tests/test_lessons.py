"""Lessons: rules, rhythms, the form with its strokes, distinct voicings and moves, drills of them.

Expected notes and moments were written by hand from the trade's tables; all of them are common practice, no source,
unless a test names one.
"""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest

from trainer.charts import FORMS, form_chart, read_chart
from trainer.drills import Lesson, Rule, lesson_of, read_rhythm, rhythm_text, tasks
from trainer.drills.rhythm import RhythmError
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, parse_key


def chart_of(bars: str, head: str = "key: C") -> Lesson:
    return lesson_of(read_chart(f"{head}\n{bars}"))


def with_rules(lesson: Lesson, *rules: Rule) -> Lesson:
    return lesson_of(lesson.chart, rules, repeats=lesson.repeats)


def keys(names: str) -> tuple[int, ...]:
    return tuple(parse_key(name) for name in names.split())


def told(lesson: Lesson) -> list[tuple[str, str, list[str]]]:
    """Label, chord and strokes ``bass@1`` of each chord."""
    return [
        (one.label, one.chord.symbol, [f"{stroke.part}@{stroke.start_beats}" for stroke in one.strokes])
        for one in lesson.form
    ]


# -- rhythms ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["1 bass, 2& chord", "before 4& chord, 2a chord", "1 chord, (3e chord)"])
def test_counting_words_are_read_and_written_again(text: str) -> None:
    assert rhythm_text(read_rhythm(text)) == text


@pytest.mark.parametrize(
    ("text", "at"),
    [("", 0), ("1 bass, ", 7), ("x bass", 0), ("1", 0), ("1 base", 2), ("1 bass chord", 7), ("4 approach", 0),
     ("1 bass, 1 bass", 8), ("(1 bass", 0), ("0 chord", 0)],
)  # fmt: skip
def test_a_rhythm_that_cannot_be_read_says_where(text: str, at: int) -> None:
    with pytest.raises(RhythmError) as caught:
        read_rhythm(text)
    assert caught.value.at == at


def test_bass_on_one_and_the_chord_on_the_and_of_two() -> None:
    rule = Rule(rhythm=read_rhythm("1 bass, 2& chord"))
    lesson = with_rules(chart_of("| Dm7 | G7 |"), rule)
    assert told(lesson) == [
        ("1", "Dm7", ["bass@0", "chord@3/2"]),
        ("2", "G7", ["bass@4", "chord@11/2"]),
    ]
    bass = lesson.slots()[0]
    assert (bass.part, bass.target.notes[0].name, bass.target.keys[0]) == ("bass", "D", 38)


def test_a_chord_takes_the_hits_of_its_own_time_and_else_is_played_where_it_begins() -> None:
    rule = Rule(rhythm=read_rhythm("1 bass, 2& chord"))
    assert told(with_rules(chart_of("| Dm7 G7 |"), rule)) == [
        ("1", "Dm7", ["bass@0", "chord@3/2"]),
        ("1.3", "G7", ["chord@2"]),
    ]


def test_an_anticipated_chord_takes_the_place_of_the_chord_before_and_the_first_is_not_anticipated() -> None:
    rule = Rule(rhythm=read_rhythm("before 4& chord, 4& chord"))
    assert told(with_rules(chart_of("| Dm7 | G7 | Cmaj7 |"), rule)) == [
        # The first has no bar before it and keeps its own 4& only until the G7 sounds there.
        ("1", "Dm7", []),
        ("2", "G7", ["chord@7/2"]),
        ("3", "Cmaj7", ["chord@15/2", "chord@23/2"]),
    ]


def test_strokes_last_until_the_next_of_their_part_and_no_longer_than_their_chord() -> None:
    rule = Rule(rhythm=read_rhythm("1 bass, 2 chord, 4 chord"))
    strokes = with_rules(chart_of("| Dm7 | G7 |"), rule).form[0].strokes
    assert [(stroke.part, stroke.beats) for stroke in strokes] == [("bass", 4), ("chord", 2), ("chord", 1)]


# -- rules -----------------------------------------------------------------------------------------------------------


def test_of_two_rules_the_later_one_holds_field_by_field() -> None:
    seventh = Rule(voicing=("shell, root and seventh",), hand="left")
    third = Rule(degree=(Degree.parse("5"),), voicing=("shell, root and third",))
    manners = with_rules(chart_of("| Dm7 | G7 | Cmaj7 |"), seventh, third).manners
    assert [manner.voicing[0] for manner in manners] == [
        "shell, root and seventh", "shell, root and third", "shell, root and seventh",
    ]  # fmt: skip
    assert {manner.hand for manner in manners} == {"left"}


@pytest.mark.parametrize(
    ("rule", "bars"),
    [
        (Rule(colour=("7",)), ["2", "4"]),
        (Rule(degree=(Degree.parse("2"),)), ["1", "4", "4.3"]),
        (Rule(section=("A",)), ["1", "2", "3"]),
        (Rule(section=("B",), beat=(Fraction(3),)), ["4.3"]),
        (Rule(bar=((2, 3), (5, 9))), ["2", "3", "5"]),
        (Rule(beat=(Fraction(1),)), ["1", "2", "3", "4", "5"]),
    ],
)
def test_a_rule_is_for_the_chords_that_fit_all_its_conditions(rule: Rule, bars: list[str]) -> None:
    lesson = chart_of("[A] | Dm7 | G7 | Cmaj7 |\n[B] | D7 Dm7 | Cmaj7 |")
    assert [one.label for one, facts in lesson.chords if rule.is_for(facts)] == bars


def test_a_section_that_comes_again_is_a_pass_of_its_own() -> None:
    lesson = lesson_of(form_chart("AABA, dominants in the bridge"))
    assert lesson.sections == ("A", "A2", "B", "A3")
    assert [lesson.section_beats(name) for name in lesson.sections] == [(0, 32), (32, 64), (64, 96), (96, 128)]
    bridge = lesson.slots("B")
    assert (bridge[0].start_beats, bridge[0].bar, bridge[0].target.chord.symbol) == (64, 17, "E7")
    assert [bar.number for bar in lesson.bars("B")] == list(range(17, 25))
    assert {slot.section for slot in bridge} == {"B"}
    with pytest.raises(ValueError, match="A, A2, B, A3"):
        lesson.slots("C")


def test_a_bottom_key_holds_in_its_own_key_and_moves_along_to_another() -> None:
    rule = Rule(voicing=("b3 5 b7 9",), chord=(chart_of("| Dm7 |").chords[0][1].quality,), bottom=MidiNote(65))
    lesson = with_rules(chart_of("| Dm7 | G7 |"), rule)
    assert lesson.form[0].target.keys == keys("F4 A4 C5 E5")
    assert lesson.in_key(Note.parse("Bb")).form[0].target.keys == keys("Eb4 G4 Bb4 D5")


def test_a_voicing_may_be_asked_for_with_a_degree_on_top_or_under_the_melody() -> None:
    top = with_rules(chart_of("| Dm7 |"), Rule(voicing=("four-note rootless",), top=Degree.parse("9")))
    assert top.form[0].target.keys == keys("F3 A3 C4 E4")
    tune = chart_of("| Cmaj7 |\n~ | E5 |")
    under = with_rules(tune, Rule(voicing=("four-way close",), top="melody"))
    assert under.form[0].target.keys == keys("G4 B4 C5 E5")


# -- approaches ------------------------------------------------------------------------------------------------------


def test_the_shell_a_half_step_above_leads_into_its_chord_on_the_beat_before() -> None:
    lesson = with_rules(
        chart_of("| G7 | C7 |"),
        Rule(voicing=("shell, root and seventh",)),
        Rule(degree=(Degree.parse("1"),), approach="above"),
    )
    assert told(lesson) == [
        ("1", "G7", ["chord@0"]),
        ("1.4", "Db7", ["chord@3"]),
        ("2", "C7", ["chord@4"]),
    ]
    approach, target = lesson.form[1], lesson.form[2]
    assert approach.approach and [note.name for note in approach.target.notes] == ["Db", "Cb"]
    # Both notes resolve by a half step.
    assert [a - b for a, b in zip(approach.target.keys, target.target.keys, strict=True)] == [1, 1]
    assert lesson.form[0].strokes[0].beats == 3


def test_an_approach_from_below_is_of_the_chords_own_kind() -> None:
    approach = with_rules(chart_of("| Dm7 | Gm7 |"), Rule(bar=((2, 2),), approach="below")).form[1]
    assert (approach.chord.symbol, [note.name for note in approach.target.notes]) == ("F#m7", ["F#", "E"])


def test_an_approach_sounds_in_a_pick_up_and_is_left_out_where_there_is_no_beat_for_it() -> None:
    rule = Rule(approach="above")
    lesson = with_rules(chart_of("| N.C. | F7 | Bb7 |", "key: F\ntime: 4/4\npickup: 1"), rule)
    assert [(one.label, one.chord.symbol) for one in lesson.form] == [
        ("0.4", "Gb7"), ("1", "F7"), ("1.4", "Cb7"), ("2", "Bb7"),
    ]  # fmt: skip
    assert lesson.slots()[0].start_beats == -1
    assert [one.label for one in with_rules(chart_of("| F7 | Bb7 |"), rule).form] == ["1", "1.4", "2"]


# -- what follows from a lesson --------------------------------------------------------------------------------------


def test_distinct_voicings_are_told_with_every_place() -> None:
    lesson = lesson_of(form_chart("ii-V-I"), repeats=False)
    # The published rootless ii-V-I: from the third, from the seventh, from the third.
    assert [(v.quality.text, v.recipe.text, v.where) for v in lesson.voicings()] == [
        ("m7", "b3 5 b7 9", "bar 1"), ("7", "b7 9 3 13", "bar 2"), ("maj7", "3 5 7 9", "bars 3 and 4"),
    ]  # fmt: skip


def test_the_moves_of_a_two_five_one_are_two_and_in_a_loop_three() -> None:
    assert len(lesson_of(form_chart("ii-V-I"), repeats=False).moves()) == 2
    assert len(lesson_of(form_chart("ii-V-I")).moves()) == 3


def test_a_move_is_asked_as_two_prompts_in_succession_in_each_key() -> None:
    moves = lesson_of(form_chart("ii-V-I"), repeats=False).moves_set()
    asked = [(task.target.chord.symbol, task.target.keys) for task in tasks(moves, Random(0))]
    assert len(asked) == 2 * 12 * 2
    assert asked[:4] == [
        ("Dm7", keys("F3 A3 C4 E4")), ("G7", keys("F3 A3 B3 E4")),
        ("Gm7", keys("Bb3 D4 F4 A4")), ("C7", keys("Bb3 D4 E4 A4")),
    ]  # fmt: skip


def test_moves_stay_together_when_they_are_shuffled() -> None:
    from dataclasses import replace

    moves = replace(lesson_of(form_chart("ii-V-I"), repeats=False).moves_set(), sequence="shuffled")
    asked = [task.target.chord.symbol for task in tasks(moves, Random(4))]
    pairs = list(zip(asked[::2], asked[1::2], strict=True))
    assert ("Dm7", "G7") in pairs and ("G7", "Cmaj7") in pairs and asked[:2] != ["Dm7", "G7"]


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_makes_a_lesson_in_all_twelve_keys(row: object) -> None:
    from trainer.charts import FormRow

    assert isinstance(row, FormRow)
    lesson = lesson_of(form_chart(row.name), repeats=row.repeats)
    for each in lesson.in_twelve_keys():
        assert len(each.form) == len(lesson.form)
        assert each.slots() and each.voicings() and each.moves()
    for made in (lesson.drill_set(), lesson.moves_set()):
        turns = {(task.drill, task.target.root.pitch_class) for task in tasks(made, Random(0))}
        assert {drill for drill, _ in turns} == set(range(len(made.drills)))
        assert all(len({root for drill, root in turns if drill == each}) == 12 for each in range(len(made.drills)))
    assert {root.pitch_class for root in TWELVE_ROOTS} == set(range(12))
