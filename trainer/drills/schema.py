"""The format of drill sets and lessons as a JSON Schema, so that an editor completes and explains it.

It is made from the readers' own tables of fields (`reading`, `voicing_checks`, `lesson_reading`), their bounds and
their lists of words; each field has one row here with what it says to a teacher and the kind of value it takes. A file
that the readers take is valid by it. The other way round it says less than they do: whether a voicing suits its chord,
or has room on the piano, only reading tells.

Source: JSON Schema, draft-07 (IETF draft-handrews-json-schema-validation-01, 2018), which editors of TOML read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from trainer.charts import FORMS
from trainer.chords import COLOURS
from trainer.drills.lesson_reading import (
    LESSON_FIELDS,
    MOST_BAR,
    MOST_OF_A_CONDITION,
    MOST_RULES,
    RULE_FIELDS,
    SOURCES,
)
from trainer.drills.reading import (
    BOUNDS,
    DRILL_FIELDS,
    FIELDS_OF_A_DRILL,
    LIMIT_NAMES,
    MOST_FINGERS,
    MOST_STEPS,
    ORDERS,
    PASSES_FIELDS,
    SET_FIELDS,
    STEP_FIELDS,
)
from trainer.drills.rules import APPROACHES, MELODY
from trainer.drills.values import (
    ABOUT_LETTERS,
    HANDS,
    HINTS,
    MOST_BYTES,
    MOST_DRILLS,
    MOST_VOICINGS,
    SEQUENCES,
    TITLE_LETTERS,
)
from trainer.drills.voicing_checks import NAME_LETTERS, ROW_FIELDS
from trainer.grading import OCTAVES_THAT_PASS, ORDERS_THAT_PASS
from trainer.voicings import all_rows, families

Schema = dict[str, Any]

_KEY: Final = {
    "type": "string",
    "pattern": r"^([A-G](b|bb|#|##)?-?[0-9]{1,2}|[0-9]{1,3})$",
    "examples": ["D3", "C4", "Bb2"],
}
_ROOT: Final = {"type": "string", "pattern": "^[A-G](b|#|♭|♯)?$", "examples": ["C", "F", "Bb"]}
_TRUTH: Final = {"type": "boolean"}
_QUALITIES: Final = ("m7", "7", "maj7", "m7b5", "dim7", "m6", "mMaj7", "6", "7sus4", "7alt", "7(b9)", "")


def _words(words: Iterable[str]) -> Schema:
    return {"enum": list(words)}


def _text(most: int = NAME_LETTERS, least: int = 1) -> Schema:
    return {"type": "string", "minLength": least, "maxLength": most}


def _number(name: str) -> Schema:
    least, most, _ = BOUNDS[name]
    return {"type": "integer", "minimum": least, "maximum": most}


def _known_or_own(known: Iterable[str], kind: Schema) -> Schema:
    """A text of its own, for which an editor offers what is known."""
    return {"anyOf": [_words(known), kind]}


def _one_or_more(one: Schema) -> Schema:
    several = {"type": "array", "items": one, "minItems": 1, "maxItems": MOST_OF_A_CONDITION, "uniqueItems": True}
    return {"anyOf": [one, several]}


def _tables(name: str, most: int, least: int = 0) -> Schema:
    return {"type": "array", "items": {"$ref": f"#/definitions/{name}"}, "maxItems": most, "minItems": least}


_CHORD: Final = _known_or_own(_QUALITIES, _text(least=0))
_DEGREE_OF_KEY: Final = _known_or_own(("I", "II", "III", "IV", "V", "VI", "VII", "bVII", "bII", "#IV"), _text())
_LIMITS: Final = {
    "anyOf": [
        _TRUTH,
        {"type": "object", "propertyNames": _words(LIMIT_NAMES), "additionalProperties": _KEY},
    ]
}


def _names(of_families: bool) -> list[str]:
    known = list(families()) if of_families else []
    return list(dict.fromkeys([*known, *(row.name for row in all_rows())]))


def _forms() -> Schema:
    colour = "|".join(map(re.escape, COLOURS))
    return {
        "type": "object",
        "minProperties": 1,
        "propertyNames": {"pattern": rf"^\s*({colour})(\s+({colour}))*\s*$"},
        "additionalProperties": _text(),
    }


_SHARED: Final[Mapping[str, tuple[str, Schema]]] = {
    "hand": ("Which hand plays it; both share it where they reach it best.", _words(HANDS)),
    "lowest": ("No key lies below this one. C4 is middle C.", _KEY),
    "highest": ("No key lies above this one.", _KEY),
    "reach_semitones": (
        "The widest interval asked of one hand, in half steps: 14 is a ninth.",
        _number("reach_semitones"),
    ),
    "limits": (
        "true: keep to the usual lowest places for each interval, so that nothing sounds muddy; false: lie anywhere; "
        'or a table of your own, as in { "minor third" = "C3" }.',
        _LIMITS,
    ),
    "passes": ("What passes for right.", {"$ref": "#/definitions/passes"}),
}

_ROWS: Final[Mapping[str, Mapping[str, tuple[str, Schema]]]] = {
    "set": {
        "title": ("The name of the set.", _text(TITLE_LETTERS)),
        "about": ("What the set is for, in some lines.", _text(ABOUT_LETTERS, 0)),
        "sequence": ("How drills follow each other; drill by drill where nothing is said.", _words(SEQUENCES)),
        "drill": ("The drills, each under [[drill]].", _tables("drill", MOST_DRILLS, 1)),
        "voicing": ("Voicings of your own, each under [[voicing]].", _tables("voicing", MOST_VOICINGS)),
    },
    "drill": {
        "chord": ('The quality: what stands after the root in a symbol, as in m7; "" is a major triad.', _CHORD),
        "voicing": (
            "A voicing by name, or degrees from the bottom note up, as in b7 3 13, optional ones in brackets.",
            _known_or_own(_names(False), _text()),
        ),
        "roots": (
            "An order of the twelve roots by name, or a list of roots in the order in which they are drilled.",
            {
                "anyOf": [
                    _words(ORDERS),
                    {"type": "array", "items": _ROOT, "minItems": 1, "uniqueItems": True},
                ]
            },
        ),
        "tries": ("Gestures allowed before an attempt ends; 1: the first one decides.", _number("tries")),
        "rounds": ("How often it goes round all roots.", _number("rounds")),
        "hint": ("What a prompt shows beside the chord.", _words(HINTS)),
        "target_ms": ("The response time to aim at, in milliseconds.", _number("target_ms")),
        "fingers": (
            "Fingers, one for each note from the bottom up, 1 the thumb; printed on sheets.",
            {
                "type": "array",
                "items": {"type": "integer", "minimum": 1, "maximum": 5},
                "minItems": 1,
                "maxItems": MOST_FINGERS,
            },
        ),
        "on": ("Of a move: the degree of the key that the first chord stands on.", _DEGREE_OF_KEY),
        "then": (
            "Of a move: the voicings that follow, in order.",
            {"type": "array", "items": {"$ref": "#/definitions/step"}, "minItems": 1, "maxItems": MOST_STEPS},
        ),
    },
    "step": {
        "on": ("The degree of the key that the chord stands on.", _DEGREE_OF_KEY),
        "chord": ("The quality of the chord.", _CHORD),
        "voicing": ("A voicing by name, or degrees.", _known_or_own(_names(False), _text())),
        "rise_semitones": (
            "By how many half steps the bottom note lies above the one before; below: less than 0.",
            _number("rise_semitones"),
        ),
    },
    "passes": {
        "order": ("exact from the bottom up, any inversion, or any order and spacing.", _words(ORDERS_THAT_PASS)),
        "octave": ("Whether it may lie in any octave.", _words(OCTAVES_THAT_PASS)),
        "doublings": ("Whether notes of the voicing may be doubled.", _TRUTH),
        "root_below": ("Whether a root may stand below.", _TRUTH),
        "graze": ("Whether a brushed key is forgiven.", _TRUTH),
    },
    "voicing": {
        "name": ("The voicing's name, which drills and rules use.", _text()),
        "forms": ("For each colour of chord, or several: its degrees from the bottom up; | parts the hands.", _forms()),
        "family": ("The family it belongs to; its own name where nothing is said.", _text()),
        "rootless": ("Whether the root is left to a bass below.", _TRUTH),
        "other": ("The other form, offered where this one does not fit.", _text()),
        "source": ("Where it comes from.", _text()),
    },
    "lesson": {
        "title": ("The name of the lesson.", _text(TITLE_LETTERS)),
        "about": ("What the lesson is for, in some lines.", _text(ABOUT_LETTERS, 0)),
        "chart": ("The chart itself, between three quotes.", _text(MOST_BYTES)),
        "chart_file": ("A chart in the same folder.", _text()),
        "form": ("A progression or form by name.", _known_or_own((row.name for row in FORMS), _text())),
        "key": ("The key to play it in, as in Bb or Cm.", _text()),
        "repeats": ("Whether the form is played round and round.", _TRUTH),
        "rule": (
            "The rules, each under [[rule]]; of two that say the same, the later holds.",
            _tables("rule", MOST_RULES),
        ),
        "voicing": ("Voicings of your own, each under [[voicing]].", _tables("voicing", MOST_VOICINGS)),
    },
    "rule": {
        "chord": ("Only for chords of this quality, or of these.", _one_or_more(_CHORD)),
        "colour": ("Only for chords of this colour.", _one_or_more(_words(COLOURS))),
        "degree": ("Only for chords on this degree of the key.", _one_or_more(_DEGREE_OF_KEY)),
        "section": ("Only in this section.", _one_or_more(_text())),
        "bar": (
            'Only in this bar, or in bars such as "5-8".',
            _one_or_more({"anyOf": [{"type": "integer", "minimum": 0, "maximum": MOST_BAR}, _text()]}),
        ),
        "beat": (
            "Only for chords that begin on this beat.",
            _one_or_more({"anyOf": [{"type": "integer", "minimum": 1, "maximum": 32}, _text()]}),
        ),
        "voicing": (
            "A family, a voicing by name, or degrees; of several, those that move least are taken.",
            _one_or_more(_known_or_own(_names(True), _text())),
        ),
        "optional": ("Degrees that may be left out.", _one_or_more(_text())),
        "top": (f"The degree on top, or {MELODY}: the melody's note.", _known_or_own((MELODY,), _text())),
        "bottom": ("The very key of the bottom note.", _KEY),
        "rhythm": ('Counts and parts, as in "1 bass, 2& chord".', _text(ABOUT_LETTERS)),
        "approach": ("The shell a half step above or below, which leads into the chord.", _words(APPROACHES)),
    },
}
"""By kind of table: for each field what it says, and what may stand there."""

_REQUIRED: Final[Mapping[str, tuple[str, ...]]] = {
    "set": ("title", "drill"),
    "drill": ("chord", "voicing"),
    "step": ("on", "chord", "voicing"),
    "voicing": ("name", "forms"),
    "lesson": ("title",),
}

TABLES: Final[Mapping[str, tuple[str, ...]]] = {
    "set": SET_FIELDS,
    "drill": FIELDS_OF_A_DRILL,
    "step": STEP_FIELDS,
    "passes": tuple(PASSES_FIELDS),
    "voicing": ROW_FIELDS,
    "lesson": LESSON_FIELDS,
    "rule": tuple(RULE_FIELDS),
}
"""By kind of table: the fields that the readers know."""


def _table(kind: str) -> Schema:
    """The schema of one kind of table. Raises `KeyError` for a field of a reader that no row here describes."""
    rows = dict(_SHARED) | dict(_ROWS[kind])
    if kind == "set":
        rows = {name: _ROWS["drill"].get(name, _SHARED.get(name, ("", {}))) for name in DRILL_FIELDS} | rows
    properties = {name: {"description": rows[name][0], **rows[name][1]} for name in TABLES[kind]}
    found: Schema = {"type": "object", "additionalProperties": False, "properties": properties}
    if kind in _REQUIRED:
        found["required"] = list(_REQUIRED[kind])
    return found


def json_schema() -> Schema:
    """The schema of drill sets and lessons, as plain values. A lesson is what names a chart.

    >>> json_schema()["definitions"]["drill"]["properties"]["tries"]["maximum"]
    20
    """
    lesson = _table("lesson")
    lesson["oneOf"] = [{"required": [name]} for name in SOURCES]
    definitions = {kind: _table(kind) for kind in TABLES} | {"lesson": lesson}
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "A drill set or a lesson",
        "description": "What a teacher writes: voicings over roots, or a chart and rules for playing it.",
        "type": "object",
        "if": {"anyOf": [{"required": [name]} for name in SOURCES]},
        "then": {"$ref": "#/definitions/lesson"},
        "else": {"$ref": "#/definitions/set"},
        "definitions": definitions,
    }


def schema_text() -> str:
    """The same as the text of a file, one value a line, so that a change shows."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"
