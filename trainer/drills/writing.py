"""`DrillSet` -> text of its file; and changes to a text that keep its comments and order."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, Final

from trainer.drills.places import Path
from trainer.drills.reading import DRILL_FIELDS, LIMIT_NAMES
from trainer.drills.values import SEQUENCES, Drill, DrillSet, Step
from trainer.drills.voicing_checks import OWN_SOURCE
from trainer.grading import Passes
from trainer.pitch import Degree, key_name
from trainer.voicings import VoicingRow

NAME_OF_LIMIT: Final = {semitones: name for name, semitones in LIMIT_NAMES.items()}
_ESCAPES: Final = {"\\": "\\\\", '"': '\\"', "\t": "\\t", "\n": "\\n", "\r": "\\r", "\b": "\\b", "\f": "\\f"}
_PLAIN: Final = Passes()
_KEYS: Final = ("lowest", "highest")


def _letter(letter: str) -> str:
    if letter in _ESCAPES:
        return _ESCAPES[letter]
    if letter < " " or letter == "\x7f":
        return f"\\u{ord(letter):04X}"
    return letter


def text_value(text: str) -> str:
    """A text between quotes."""
    return '"' + "".join(map(_letter, text)) + '"'


def long_text(text: str) -> str:
    """A text of several lines between three quotes."""
    if "\n" not in text:
        return text_value(text)
    return '"""\n' + "\n".join("".join(map(_letter, line)) for line in text.split("\n")) + '"""'


def toml_value(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{text_value(name)} = {toml_value(item)}" for name, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return text_value(value) if isinstance(value, str) else str(value)


def _passes(passes: Passes) -> str:
    fields = ((name, getattr(passes, name)) for name in Passes.__slots__)
    said = [f"{name} = {toml_value(value)}" for name, value in fields if value != getattr(_PLAIN, name)]
    return "{ " + ", ".join(said) + " }"


def _drill_fields(drill: Drill) -> dict[str, str]:
    """The fields of a drill that differ from the format's own defaults, as they are written."""
    said: dict[str, str] = {}
    for name in DRILL_FIELDS:
        value = getattr(drill, name)
        if value == Drill.__dataclass_fields__[name].default:
            continue
        if name == "passes":
            said[name] = _passes(value)
        elif name in _KEYS:
            said[name] = text_value(key_name(value))
        elif name == "roots" and isinstance(value, tuple):
            said[name] = toml_value([root.name for root in value])
        elif name == "fingers":
            said[name] = toml_value(list(value))
        elif name == "limits" and isinstance(value, tuple):
            said[name] = toml_value({NAME_OF_LIMIT[semitones]: key_name(key) for semitones, key in value})
        else:
            said[name] = toml_value(value)
    return said


_NUMERALS: Final = ("I", "II", "III", "IV", "V", "VI", "VII")


def numeral(degree: Degree) -> str:
    """A degree of a key in Roman numerals, without a kind of chord.

    >>> numeral(Degree.parse("b7"))
    'bVII'
    """
    return f"{degree.simple.name.rstrip('1234567')}{_NUMERALS[degree.simple.number - 1]}"


def _step_values(step: Step) -> dict[str, object]:
    said: dict[str, object] = {"on": numeral(step.on), "chord": step.quality.text, "voicing": step.voicing}
    if step.hand is not None:
        said["hand"] = step.hand
    if step.rise_semitones is not None:
        said["rise_semitones"] = step.rise_semitones
    return said


def row_lines(row: VoicingRow) -> list[str]:
    """A teacher's own voicing as its table."""
    lines = ["[[voicing]]", f"name = {text_value(row.name)}"]
    if row.family != row.name:
        lines.append(f"family = {text_value(row.family)}")
    lines += [f"hand = {text_value(row.hand)}", f"rootless = {toml_value(row.rootless)}"]
    if row.other is not None:
        lines.append(f"other = {text_value(row.other)}")
    if row.source != OWN_SOURCE:
        lines.append(f"source = {text_value(row.source)}")
    return [
        *lines,
        "[voicing.forms]",
        *(f"{text_value(colours)} = {text_value(degrees)}" for colours, degrees in row.forms),
    ]


def write(drill_set: DrillSet) -> str:
    """The text of a set's file; what all its drills share stands once, at the top. `read` gives the set back.

    The values are not checked here: checking is reading.
    """
    fields = [_drill_fields(drill) for drill in drill_set.drills]
    shared = (
        {name: text for name, text in fields[0].items() if all(said.get(name) == text for said in fields)}
        if len(fields) > 1
        else {}
    )
    lines = [f"title = {text_value(drill_set.title)}"]
    if drill_set.about:
        lines.append(f"about = {long_text(drill_set.about)}")
    if drill_set.sequence != SEQUENCES[0]:
        lines.append(f"sequence = {text_value(drill_set.sequence)}")
    lines += [f"{name} = {text}" for name, text in shared.items()]
    for row in drill_set.voicings:
        lines += ["", *row_lines(row)]
    for drill, said in zip(drill_set.drills, fields, strict=True):
        lines += [
            "",
            "[[drill]]",
            f"chord = {text_value(drill.quality.text)}",
            f"voicing = {text_value(drill.voicing)}",
        ]
        lines += [f"{name} = {text}" for name, text in said.items() if name not in shared]
        if drill.on != Degree(1):
            lines.append(f"on = {text_value(numeral(drill.on))}")
        if drill.then:
            lines.append(f"then = {toml_value([_step_values(step) for step in drill.then])}")
    return "\n".join(lines) + "\n"


Change = str | int | bool | list[Any] | dict[str, Any] | None


def edited(text: str, changes: Mapping[Path, Change]) -> str:
    """A file's text with some values changed, added or (None) taken out; comments and order stay.

    Paths are as in `places`: ``{("title",): "Shells", ("drill", 0, "tries"): 1, ("drill", 2): None}``; the position
    after the last drill adds one. They are applied in turn, so a removal shifts what comes after it. Raises
    `ValueError` for a text that is not TOML or a path that leads nowhere. The result is not checked as a drill set.

    >>> edited('title = "A" # mine\\n', {("title",): "B", ("tries",): 1})
    'title = "B" # mine\\ntries = 1\\n'
    """
    # Loaded here: only an edit needs it, and it would take a tenth of the time in which the screen opens.
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
        wanted: Any = tomllib.loads(text)
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise ValueError(f"the text is not TOML: {error}") from error
    for path, value in changes.items():
        _change(wanted, path, value, styled=False)
        _change(document, path, value, styled=True)
    result = tomlkit.dumps(document)
    if tomllib.loads(result) != wanted:
        raise ValueError("the text is written in a way that cannot be changed piece by piece; write the set anew")
    return result


def _change(whole: Any, path: Path, value: Change, *, styled: bool) -> None:
    if not path:
        raise ValueError("a change needs a path")
    try:
        for part in path[:-1]:
            whole = whole[part]
        container: Any = whole
        last: Any = path[-1]
        if value is None:
            del container[last]
        elif isinstance(container, list) and last == len(container):
            container.append(_styled(value) if styled else value)
        elif isinstance(container, dict) or isinstance(container, list) and isinstance(last, int):
            container[last] = _styled(value) if styled else value
        else:
            raise ValueError(f"{path!r} leads into a single value")
    except (KeyError, IndexError, TypeError) as error:
        raise ValueError(f"{path!r} leads nowhere in the text") from error


def _styled(value: Any) -> Any:
    import tomlkit

    if isinstance(value, dict):
        table = tomlkit.table()
        for name, item in value.items():
            table[name] = tomlkit.item(item)
        return table
    return tomlkit.item(value)
