"""The formats as a JSON Schema, the commented examples, and what is suggested for a slip.

From outside: jsonschema judges by draft-07. Musical facts are common practice, no source.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.__main__ import main
from trainer.drills import edited, read, read_lesson
from trainer.drills.checks import meant, meant_note
from trainer.drills.reading import BOUNDS, DRILL_FIELDS
from trainer.drills.schema import TABLES, json_schema, schema_text
from trainer.drills.starting import KINDS, example

ROOT = Path(__file__).parents[1]
SHIPPED = sorted((ROOT / "drills").glob("*.toml"))
FILE = ROOT / "drills" / "drill-sets-and-lessons.schema.json"
VALIDATOR = jsonschema.Draft7Validator(json_schema())

SET = 'title = "A set"\n[[drill]]\nchord = "m7"\nvoicing = "rootless from the third"\n'
LESSON = 'title = "A lesson"\nform = "jazz blues"\n[[rule]]\nvoicing = "shell"\n'


def _is_valid(text: str) -> bool:
    return VALIDATOR.is_valid(tomllib.loads(text))


def _in_drill(name: str, value: Any) -> str:
    return edited(SET, {("drill", 0, name): value})


# -- the schema


def test_the_schema_is_one_itself_and_the_shipped_file_is_it() -> None:
    jsonschema.Draft7Validator.check_schema(json_schema())
    # After a change of a field: trainer check --schema > drills/drill-sets-and-lessons.schema.json
    assert FILE.read_text(encoding="utf-8") == schema_text()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_what_ships_is_valid(path: Path) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(tomllib.loads(path.read_text("utf-8")))] == []


def test_every_field_of_the_readers_is_in_the_schema_and_says_something() -> None:
    for kind, names in TABLES.items():
        properties = json_schema()["definitions"][kind]["properties"]
        assert list(properties) == list(names)
        for name, row in properties.items():
            assert row["description"].endswith("."), (kind, name)
            assert len(row) > 1, (kind, name)


@pytest.mark.parametrize(
    "text",
    [
        'title = "A"\n',
        SET.replace('chord = "m7"\n', ""),
        SET.replace("chord", "chrod"),
        SET + "tries = 0\n",
        SET + 'tries = "3"\n',
        SET + 'roots = "forths"\n',
        SET + 'roots = ["C", "C"]\n',
        SET + 'roots = ["H"]\n',
        SET + "fingers = [6]\n",
        SET + 'lowest = "Z3"\n',
        SET + 'limits = { "minor thrid" = "C3" }\n',
        SET + 'passes = { order = "anny" }\n',
        SET + '[[voicing]]\nname = "x"\nforms = { m77 = "1 b7" }\n',
        SET + 'then = [{ on = "V" }]\n',
        SET.replace("A set", "x" * 121),
        LESSON + 'approach = "sideways"\n',
        LESSON + "bar = -1\n",
        LESSON.replace("form", "key"),
        LESSON + "extra = 1\n",
        'chart = "| C7 |"\n' + LESSON,
    ],
)
def test_what_a_reader_would_refuse_for_its_form_is_not_valid(text: str) -> None:
    assert not _is_valid(text)
    reader = read_lesson if "form =" in text or "chart =" in text else read
    assert reader(text, "a.toml")[1]


@pytest.mark.parametrize("name", [name for name in BOUNDS if name in DRILL_FIELDS])
def test_bounds_are_the_readers_own(name: str) -> None:
    least, most, _ = BOUNDS[name]
    for value, good in ((least - 1, False), (least, True), (most, True), (most + 1, False)):
        text = _in_drill(name, value)
        assert _is_valid(text) == good
        said = [fault for fault in read(text, "a.toml")[1] if "out of range" in fault.message]
        assert (not said) == good


_VALUES: dict[str, Any] = {
    "title": st.text(st.characters(codec="utf-8"), max_size=125),
    "about": st.text(st.characters(codec="utf-8"), max_size=30),
    "sequence": st.sampled_from(["drill by drill", "root by root", "shuffled", "x"]),
    "roots": st.sampled_from(["fourths", "random", "C", "forths"])
    | st.lists(st.sampled_from(["C", "F#", "E♭", "B#", "Abb", "h", "Cb"]), max_size=3),
    "hint": st.sampled_from(["notes", "name", "sound"]),
    "hand": st.sampled_from(["left", "both", "foot"]),
    "tries": st.integers(-1, 22),
    "rounds": st.booleans() | st.integers(0, 3),
    "lowest": st.sampled_from(["D3", "C-1", "Cb4", "50", "A0", "d3", "B##2"]),
    "highest": st.sampled_from(["C6", "108", "C9"]),
    "reach_semitones": st.integers(4, 25),
    "limits": st.booleans() | st.dictionaries(st.sampled_from(["fifth", "third"]), st.sampled_from(["C3", "x"])),
    "fingers": st.lists(st.integers(0, 6), max_size=5),
    "passes": st.fixed_dictionaries(
        {},
        optional={"order": st.sampled_from(["any", "x"]), "octave": st.just("any"), "graze": st.booleans()},
    ),
}


@given(st.fixed_dictionaries({}, optional=_VALUES), st.booleans())
@settings(deadline=None, max_examples=300)
def test_whatever_the_reader_takes_is_valid(fields: dict[str, Any], in_drill: bool) -> None:
    changes: dict[tuple[Any, ...], Any] = {}
    for name, value in fields.items():
        drill = in_drill and name not in ("title", "about", "sequence")
        changes[("drill", 0, name) if drill else (name,)] = value
    text = edited(SET, changes)
    if read(text, "a.toml")[0] is not None:
        assert [error.message for error in VALIDATOR.iter_errors(tomllib.loads(text))] == []


def test_an_editor_is_offered_voicings_orders_and_forms_by_name() -> None:
    text = schema_text()
    for name in ("rootless from the third", "drop 2, first inversion", "weakest first", "jazz blues", "minor third"):
        assert json.dumps(name) in text


def test_the_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out) == json_schema()
    assert main(["check"]) == 2


# -- the examples


def _read(kind: str, text: str) -> list[str]:
    faults = read_lesson(text, "a.toml")[1] if kind == "lesson" else read(text, "a.toml")[1]
    return [str(fault) for fault in faults]


@pytest.mark.parametrize("kind", KINDS)
def test_an_example_is_right_as_it_stands_and_every_line_that_is_left_out_of_it_can_be_used(kind: str) -> None:
    text = example(kind, "Thursday")
    assert _read(kind, text) == []
    lines = text.split("\n")
    for at, line in enumerate(lines):
        if _is_a_line_left_out(line) and not _belongs_to_a_table_left_out(lines, at + 1):
            alone = [*lines[:at], line[2:], *lines[at + 1 :]]
            assert _read(kind, "\n".join(alone)) == [], line
    whole = "\n".join(line[2:] if _is_a_line_left_out(line) else line for line in lines)
    assert VALIDATOR.is_valid(tomllib.loads(whole))
    # All at once; but the lesson's bottom key is that of the key its chart is written in.
    assert _read(kind, whole.replace('\nkey = "Bb"', "")) == []


def _is_a_line_left_out(line: str) -> bool:
    return line.startswith("# [[") or (
        line.startswith("# ") and " = " in line[2:] and line[2:].split(" = ")[0].isidentifier()
    )


def _belongs_to_a_table_left_out(lines: list[str], at: int) -> bool:
    for line in reversed(lines[:at]):
        if line.startswith("# [["):
            return True
        if not line.startswith("# "):
            return False
    return False


def test_every_field_of_a_format_stands_in_its_example() -> None:
    for kind, tables in (("set", ("set", "drill", "step", "voicing")), ("lesson", ("lesson", "rule"))):
        text = example(kind, "Thursday")
        for table in tables:
            missing = [name for name in TABLES[table] if f"{name} = " not in text and f"[[{name}]]" not in text]
            assert missing == []


@pytest.mark.parametrize(
    ("kind", "name", "file", "title"),
    [
        ("set", "thursday-shells", "thursday-shells.toml", "Thursday shells"),
        ("set", "thursday.toml", "thursday.toml", "Thursday"),
        ("lesson", "my_blues", "my_blues.lesson.toml", "My blues"),
        ("lesson", "my.lesson.toml", "my.lesson.toml", "My"),
        ("set", 'a "quoted" one', 'a "quoted" one.toml', 'A "quoted" one'),
    ],
)
def test_a_new_file_is_started_and_checked_without_a_fault(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str, name: str, file: str, title: str
) -> None:
    assert main(["new", kind, str(tmp_path / name)]) == 0
    path = tmp_path / file
    assert tomllib.loads(path.read_text("utf-8"))["title"] == title
    assert main(["check", str(path)]) == 0


def test_nothing_that_is_there_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.toml").write_text("mine", encoding="utf-8")
    (tmp_path / "link.toml").symlink_to(tmp_path / "nowhere.toml")
    for name in ("mine", "link"):
        assert main(["new", "set", str(tmp_path / name)]) == 3
        assert "is there already" in capsys.readouterr().err
    assert (tmp_path / "mine.toml").read_text("utf-8") == "mine"
    assert not (tmp_path / "nowhere.toml").exists()


# -- did you mean


@pytest.mark.parametrize(
    ("written", "note"),
    [
        ("c", "C"), ("bb", "Bb"), ("F SHARP", "F#"), ("e-flat", "Eb"), ("Ab3", "Ab3"), ("d3", "D3"),
        # German names of notes: H is B, -is sharp, -es flat.
        ("H", "B"), ("Es", "Eb"), ("As", "Ab"), ("Fis", "F#"), ("Des", "Db"), ("cis4", "C#4"),
        ("Cs", None), ("I", None), ("", None), ("Abb", None),
    ],
)  # fmt: skip
def test_a_note_in_other_words_is_understood_well_enough_to_suggest_it(written: str, note: str | None) -> None:
    assert meant_note(written) == note


@pytest.mark.parametrize(
    ("text", "better"),
    [
        (_in_drill("roots", ["Es"]), "Eb"),
        (_in_drill("roots", ["b flat"]), "Bb"),
        (_in_drill("lowest", "d3"), "D3"),
        (_in_drill("target", 3000), "target_ms"),
        (_in_drill("reach", 14), "reach_semitones"),
        (_in_drill("voicing", "rootles form the third"), "rootless from the third"),
        (SET.replace('"m7"', '"Cm7"'), "m7"),
        (_in_drill("hint", "degree"), "degrees"),
        (_in_drill("passes", {"octaves": "any"}), "octave"),
    ],
)
def test_a_slip_in_a_set_is_told_with_what_was_meant(text: str, better: str) -> None:
    (fault,) = read(text, "a.toml")[1]
    assert f'"{better}"' in fault.message


@pytest.mark.parametrize(
    ("text", "better"),
    [
        (LESSON.replace("jazz blues", "jaz blues"), "jazz blues"),
        (LESSON + 'rythm = "1 chord"\n', "rhythm"),
        (LESSON + 'approach = "abov"\n', "above"),
        (LESSON.replace("shell", "shel"), "shell"),
        (LESSON + 'colour = "m7b4"\n', "m7b5"),
        (LESSON + 'bottom = "eb3"\n', "Eb3"),
        (LESSON + 'top = "melodie"\n', "melody"),
    ],
)
def test_a_slip_in_a_lesson_is_told_with_what_was_meant(text: str, better: str) -> None:
    faults = read_lesson(text, "a.toml")[1]
    assert any(f'did you mean "{better}' in fault.message for fault in faults), [str(fault) for fault in faults]


def test_a_name_that_begins_like_two_fields_suggests_neither() -> None:
    assert meant("ro", ["roots", "rounds"]) is None
    assert meant("roo", ["roots", "rounds"]) == "roots"
