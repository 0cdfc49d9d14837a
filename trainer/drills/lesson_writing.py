"""`Lesson` -> text of its file; `read_lesson` gives it back. Changes that keep comments: `edited`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, Final

from trainer.charts import write_chart
from trainer.drills.lessons import Lesson
from trainer.drills.rhythm import count_text, rhythm_text
from trainer.drills.rules import Rule
from trainer.drills.writing import NAME_OF_LIMIT, long_text, numeral, row_lines, text_value, toml_value
from trainer.pitch import key_name


def _one_or_all(values: list[Any]) -> Any:
    return values[0] if len(values) == 1 else values


def _beat(count: Fraction) -> int | str:
    return int(count) if count.denominator == 1 else count_text(count)


def _bars(span: tuple[int, int]) -> int | str:
    return span[0] if span[0] == span[1] else f"{span[0]}-{span[1]}"


def _plain(value: Any) -> Any:
    return value


_AS_WRITTEN: Final[Mapping[str, Callable[[Any], Any]]] = {
    "chord": lambda found: _one_or_all([quality.text for quality in found]),
    "colour": lambda found: _one_or_all(list(found)),
    "degree": lambda found: _one_or_all([numeral(degree) for degree in found]),
    "section": lambda found: _one_or_all(list(found)),
    "bar": lambda found: _one_or_all([_bars(span) for span in found]),
    "beat": lambda found: _one_or_all([_beat(count) for count in found]),
    "voicing": lambda found: _one_or_all(list(found)),
    "optional": lambda found: _one_or_all([degree.name for degree in found]),
    "hand": _plain,
    "top": str,
    "bottom": key_name,
    "rhythm": rhythm_text,
    "approach": _plain,
    "lowest": key_name,
    "highest": key_name,
    "reach_semitones": _plain,
    "limits": lambda limits: (
        {NAME_OF_LIMIT[semitones]: key_name(key) for semitones, key in limits} if isinstance(limits, tuple) else limits
    ),
    "passes": dict,
}
"""How each field of a rule is written, in the order of writing."""


def rule_values(rule: Rule) -> dict[str, Any]:
    """The fields of a rule as plain values of a file, those that say something."""
    fields = {name: getattr(rule, name) for name in _AS_WRITTEN}
    return {name: _AS_WRITTEN[name](value) for name, value in fields.items() if value is not None and value != ()}


def write_lesson(lesson: Lesson) -> str:
    """The text of a lesson's file, its chart inside unless it comes from another file or the table of forms.

    The values are not checked here: checking is reading.
    """
    lines = [f"title = {text_value(lesson.title)}"]
    if lesson.about:
        lines.append(f"about = {long_text(lesson.about)}")
    source, name = lesson.origin
    if source == "chart":
        lines.append(f"chart = {long_text(write_chart(lesson.chart))}")
    else:
        lines += [f"{source} = {text_value(name)}", f"key = {text_value(lesson.chart.key.name)}"]
    lines.append(f"repeats = {toml_value(lesson.repeats)}")
    for row in lesson.rows:
        lines += ["", *row_lines(row)]
    for rule in lesson.rules:
        lines += ["", "[[rule]]", *(f"{name} = {toml_value(value)}" for name, value in rule_values(rule).items())]
    return "\n".join(lines) + "\n"
