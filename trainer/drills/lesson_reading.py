"""Text of a lesson file -> `Lesson`, or every fault of it at once.

Fields by table (``*`` must stand there; of ``chart``, ``chart_file`` and ``form`` exactly one):

============  ==================================================================================================
top           ``title*`` ``about`` ``chart`` (chart text between three quotes) ``chart_file`` (a file of the same
              folder) ``form`` (a progression or form by name) ``key`` ``repeats``
[[rule]]      for which chords: ``chord`` ``colour`` ``degree`` ``section`` ``bar`` ``beat``, each one value or a list
              of values any of which will do; what holds for them: ``voicing`` ``optional`` ``hand`` ``top``
              ``bottom`` ``rhythm`` ``approach`` ``lowest`` ``highest`` ``reach_semitones`` ``limits`` ``passes``
passes        as in a drill set
[[voicing]]   as in a drill set
============  ==================================================================================================

A rule is for every chord that fits all its conditions; of two that say the same field, the later one holds. A rule that
no chord fits, and a voicing that cannot be placed in each of the twelve keys, are faults. How a chart is written is
stated in `trainer.charts.reading`, how a rhythm is in `rhythm`, what the fields say in `rules`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Final, TypeVar

from trainer.charts import (
    FORMS,
    Chart,
    ChartError,
    ChartFault,
    FormError,
    Key,
    form_chart,
    form_row,
    read_chart,
    transposed,
)
from trainer.chords import COLOURS
from trainer.drills.checks import NOTHING, Checks, Nothing, meant, shown
from trainer.drills.lesson_checks import check_against_chart, check_voicings
from trainer.drills.lessons import Lesson
from trainer.drills.places import Path, places
from trainer.drills.reading import DRILL_FIELDS
from trainer.drills.rhythm import EXPECTED, Hit, RhythmError, count_of, read_rhythm
from trainer.drills.rules import APPROACHES, MELODY, Rule
from trainer.drills.syntax import parsed
from trainer.drills.values import ABOUT_LETTERS, MOST_BYTES, TITLE_LETTERS, Fault
from trainer.drills.voicing_checks import (
    DEGREE_EXPECTED,
    NAME_LETTERS,
    checked_degree_of_key,
    checked_quality,
    own_rows,
    tables,
)
from trainer.pitch import Degree, PitchError

MOST_RULES: Final = 500
MOST_OF_A_CONDITION: Final = 200
MOST_BAR: Final = 10_000

Beside = Callable[[str], str]
"""The text of a file of the lesson's own folder by its name. Raises `OSError` or `ValueError` with one line."""

Value = TypeVar("Value")

SOURCES: Final = ("chart", "chart_file", "form")

_TITLE: Final = 'a title such as "A blues with shells"'
_ABOUT: Final = "a text about the lesson"
_CHART: Final = "a chart between three quotes, with lines such as | Dm7 | G7 | Cmaj7 |"
_CHART_FILE: Final = 'the name of a chart in the same folder, such as "my-tune.chart"'
_FORM: Final = 'a progression or form by name, such as "ii-V-I" or "jazz blues"'
_KEY: Final = 'a key such as "F" or "Cm"'
_BAR: Final = 'a bar such as 4, or bars such as "5-8"'
_BEAT: Final = 'a beat such as 3, or a count such as "2&"'
_SECTION: Final = 'a section\'s letter such as "A"'
_VOICINGS: Final = 'a family, a voicing\'s name, or degrees such as "b7 3 13"; or a list of these'
_DEGREES: Final = 'a degree that may be left out, such as "9", or a list of degrees'
_TOP_NOTE: Final = f'a degree such as "9", or "{MELODY}"'
_CHART_NAME: Final = re.compile(r"[^/\\:\x00-\x1f]+\.chart", re.IGNORECASE)
_BARS: Final = re.compile(r"\s*(\d{1,5})\s*(?:-|–)\s*(\d{1,5})\s*")
_LESSON_FIELD: Final = re.compile(r"[ \t]*(?:chart|chart_file|form)[ \t]*=")


def is_lesson(text: str) -> bool:
    """Whether a TOML text means to be a lesson (it may be faulty): a field before its first table names its chart.

    >>> is_lesson('title = "A blues"\\nform = "blues"\\n'), is_lesson('title = "Shells"\\n[[drill]]\\n')
    (True, False)
    """
    try:
        return not set(SOURCES).isdisjoint(tomllib.loads(text.removeprefix("\ufeff")))
    except (ValueError, RecursionError):
        pass
    for line in text.splitlines():
        if line.lstrip().startswith("["):
            return False
        if _LESSON_FIELD.match(line):
            return True
    return False


def read_lesson(text: str, file_name: str, beside: Beside | None = None) -> tuple[Lesson | None, tuple[Fault, ...]]:
    """A lesson from the text of its file, or None and every fault, in the order of the file. Never raises.

    `beside` gives a chart that the lesson names by file; faults in that are told with its own name and lines.

    >>> lesson, faults = read_lesson('title = "A blues"\\nform = "bluse"\\n', "a.toml")
    >>> str(faults[0])
    'a.toml:2:8: form: "bluse" is no form; did you mean "blues"?'
    """
    text = text.removeprefix("\ufeff")
    data, text, broken = parsed(text, file_name)
    if data is None:
        return None, broken
    checks = Checks(file_name, places(text), whole=not broken, faults=list(broken))
    found = _lesson(checks, data, beside)
    if checks.faults or isinstance(found, Nothing):
        own = [fault for fault in checks.faults if fault.file == file_name]
        others = [fault for fault in checks.faults if fault.file != file_name]
        return None, (*sorted(own, key=lambda fault: (fault.line, fault.column)), *others)
    return found, ()


def _lesson(checks: Checks, data: Mapping[str, object], beside: Beside | None) -> Lesson | Nothing:
    for name in data:
        if name not in LESSON_FIELDS:
            hint = (
                f"{name} stands in a [[rule]]; one without conditions is for all chords"
                if name in RULE_FIELDS
                else None
            )
            checks.unknown((name,), LESSON_FIELDS, hint)
    title: object = NOTHING
    if "title" in data:
        title = checks.text(("title",), data["title"], _TITLE, TITLE_LETTERS)
    else:
        checks.missing(("title",), _TITLE)
    about = checks.text(("about",), data.get("about", ""), _ABOUT, ABOUT_LETTERS, lines=True, empty=True)
    chart, origin, repeats = _source(checks, data, beside)
    if "repeats" in data:
        said = checks.truth(("repeats",), data["repeats"])
        repeats = said if isinstance(said, bool) else repeats
    chart = _in_key(checks, data, chart)
    own = data.get("voicing", [])
    if isinstance(own, str):
        message = "voicing stands in a [[rule]]; one without conditions is for all chords"
        checks.fault(("voicing",), own, "[[rule]] before it", message, at_key=True)
        own = []
    rows = tuple(own_rows(checks, own))
    rules: list[Rule] = []
    whole = True
    for path, table in tables(checks, "rule", data.get("rule", []), MOST_RULES, "what holds for which chords"):
        rule = _rule(checks, path, table)
        if isinstance(rule, Nothing):
            whole = False
            rule = Rule()  # keeps the place of the faulty one, and says nothing
        rules.append(rule)
    if isinstance(chart, Nothing):
        check_voicings(checks, rules, rows, None)
        return NOTHING
    words = [text if isinstance(text, str) else "" for text in (title, about)]
    lesson = Lesson(words[0], chart, tuple(rules), words[1], repeats, rows, origin)
    # A faulty rule may say what other rules are judged by, so without it only what stands alone is judged.
    check_against_chart(checks, lesson, whole=whole)
    return lesson


# -- the chart


def _source(
    checks: Checks, data: Mapping[str, object], beside: Beside | None
) -> tuple[Chart | Nothing, tuple[str, str], bool]:
    """The chart, where it comes from, and whether it repeats unless the lesson says otherwise."""
    given = [name for name in data if name in SOURCES]
    nowhere: tuple[Nothing, tuple[str, str], bool] = NOTHING, ("chart", ""), True
    if not given:
        checks.missing(("chart",), "chart, chart_file or form")
        return nowhere
    for extra in given[1:]:
        message = f"{given[0]} is given already; a lesson has one of chart, chart_file and form"
        checks.fault((extra,), extra, "one of chart, chart_file and form", message, at_key=True)
    name = given[0]
    value = data[name]
    if name == "form":
        return _form(checks, value)
    if name == "chart_file":
        return _chart_file(checks, value, beside)
    text = checks.text(("chart",), value, _CHART, MOST_BYTES, lines=True)
    if isinstance(text, Nothing):
        return nowhere
    try:
        return read_chart(text), ("chart", ""), True
    except ChartError as error:
        for fault in error.faults:
            checks.fault(("chart",), fault.found, fault.expected, fault.message, letter=_letter(text, fault))
        return nowhere


def _letter(text: str, fault: ChartFault) -> int:
    """The character of a chart's text at which a fault stands."""
    lines = text.split("\n")
    before = sum(len(line) + 1 for line in lines[: fault.line - 1])
    return min(before + fault.column - 1, len(text))


def _form(checks: Checks, value: object) -> tuple[Chart | Nothing, tuple[str, str], bool]:
    text = checks.text(("form",), value, _FORM, NAME_LETTERS)
    if isinstance(text, Nothing):
        return NOTHING, ("form", ""), True
    try:
        row = form_row(text)
    except FormError as error:
        names = [row.name for row in FORMS]
        near = meant(text, names) or next(iter(error.near), None)
        better = f'did you mean "{near}"?' if near else f"there are {'; '.join(names)}"
        fault = checks.fault(("form",), text, "; ".join(names), f"{shown(text)} is no form; {better}")
        return fault, ("form", ""), True
    return form_chart(row.name), ("form", row.name), row.repeats


def _chart_file(checks: Checks, value: object, beside: Beside | None) -> tuple[Chart | Nothing, tuple[str, str], bool]:
    path: Path = ("chart_file",)
    nowhere: tuple[Nothing, tuple[str, str], bool] = NOTHING, ("chart_file", ""), True
    name = checks.text(path, value, _CHART_FILE, NAME_LETTERS)
    if isinstance(name, Nothing):
        return nowhere
    if not _CHART_NAME.fullmatch(name) or name.startswith("."):
        message = f"{shown(name)} is no chart of this folder; write {_CHART_FILE}"
        checks.fault(path, name, _CHART_FILE, message)
        return nowhere
    if beside is None:
        checks.fault(path, name, "chart, with the chart inside", "this lesson lies in no folder; put its chart inside")
        return nowhere
    try:
        text = beside(name)
    except (OSError, ValueError) as error:
        checks.fault(path, name, _CHART_FILE, f"{shown(name)} cannot be read: {error}")
        return nowhere
    try:
        return read_chart(text), ("chart_file", name), True
    except ChartError as error:
        folder = max(checks.file.rfind("/"), checks.file.rfind("\\")) + 1
        other = checks.file[:folder] + name
        checks.faults += [
            Fault(other, fault.line, fault.column, "", fault.found, fault.expected, fault.message)
            for fault in error.faults
        ]
        return nowhere


def _in_key(checks: Checks, data: Mapping[str, object], chart: Chart | Nothing) -> Chart | Nothing:
    if "key" not in data:
        return chart
    text = checks.text(("key",), data["key"], _KEY, NAME_LETTERS)
    if isinstance(text, Nothing) or isinstance(chart, Nothing):
        return NOTHING if isinstance(text, Nothing) else chart
    try:
        key = Key.parse(text)
    except PitchError:
        return checks.fault(("key",), text, _KEY, f"{shown(text)} is no key; write {_KEY}")
    if key.minor != chart.key.minor:
        mode = "minor" if chart.key.minor else "major"
        right = Key(key.root, chart.key.minor).name
        return checks.fault(("key",), text, right, f'the chart is in {mode}, and {shown(text)} is not; write "{right}"')
    if key == chart.key:
        return chart
    try:
        return transposed(chart, key.root)
    except PitchError as error:
        return checks.fault(("key",), text, "another key", str(error))


# -- rules


def _some(
    checks: Checks,
    path: Path,
    value: object,
    check: Callable[[Checks, Path, object], Value | Nothing],
    expected: str,
) -> tuple[Value, ...] | Nothing:
    """One value or a list of values, none twice."""
    if not isinstance(value, list):
        one = check(checks, path, value)
        return NOTHING if isinstance(one, Nothing) else (one,)
    if not value or len(value) > MOST_OF_A_CONDITION:
        size = "is empty" if not value else f"has {len(value)} values; at most {MOST_OF_A_CONDITION} are read"
        return checks.fault(path, value, expected, f"the list {size}; write {expected}")
    found: list[Value] = []
    good = True
    for position, item in enumerate(value):
        one = check(checks, (*path, position), item)
        if isinstance(one, Nothing):
            good = False
        elif one in found:
            checks.fault((*path, position), item, "each value once", f"{shown(item)} stands twice; write it once")
            good = False
        else:
            found.append(one)
    return tuple(found) if good else NOTHING


def _bars(checks: Checks, path: Path, value: object) -> tuple[int, int] | Nothing:
    if isinstance(value, str):
        match = _BARS.fullmatch(value)
        if match is None:
            return checks.fault(path, value, _BAR, f"{shown(value)} is no bar; write {_BAR}")
        first, last = int(match[1]), int(match[2])
        if first > last:
            message = f'{shown(value)} goes backwards; write "{last}-{first}"'
            return checks.fault(path, value, f'"{last}-{first}"', message)
        return first, last
    bar = checks.number(path, value, 0, MOST_BAR, "a bar")
    return NOTHING if isinstance(bar, Nothing) else (bar, bar)


def _beat(checks: Checks, path: Path, value: object) -> Fraction | Nothing:
    if isinstance(value, str):
        count = count_of(value.strip())
        return checks.fault(path, value, _BEAT, f"{shown(value)} is no beat; write {_BEAT}") if count is None else count
    beat = checks.number(path, value, 1, 32, "a beat")
    return NOTHING if isinstance(beat, Nothing) else Fraction(beat)


def _degree(checks: Checks, path: Path, value: object) -> Degree | Nothing:
    text = checks.text(path, value, _DEGREES, NAME_LETTERS)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        return Degree.parse(text.strip())
    except PitchError:
        return checks.fault(path, text, _DEGREES, f"{shown(text)} is no degree; write {_DEGREES}")


def _top(checks: Checks, path: Path, value: object) -> Degree | str | Nothing:
    if isinstance(value, str) and value.strip().casefold() == MELODY:
        return MELODY
    text = checks.text(path, value, _TOP_NOTE, NAME_LETTERS)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        return Degree.parse(text.strip())
    except PitchError:
        near = meant(text, (MELODY,))
        better = f'did you mean "{near}"?' if near else f"write {_TOP_NOTE}"
        return checks.fault(path, text, _TOP_NOTE, f"{shown(text)} is no degree; {better}")


def _rhythm(checks: Checks, path: Path, value: object) -> tuple[Hit, ...] | Nothing:
    text = checks.text(path, value, EXPECTED, ABOUT_LETTERS)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        return read_rhythm(text)
    except RhythmError as error:
        return checks.fault(path, text, error.expected, str(error), letter=error.at)


def _text(expected: str) -> Callable[[Checks, Path, object], str | Nothing]:
    return lambda checks, path, value: checks.text(path, value, expected, NAME_LETTERS)


def _listed(
    check: Callable[[Checks, Path, object], Value | Nothing], expected: str
) -> Callable[[Checks, Path, object], tuple[Value, ...] | Nothing]:
    return lambda checks, path, value: _some(checks, path, value, check, expected)


def _passes(checks: Checks, path: Path, value: object) -> tuple[tuple[str, object], ...] | Nothing:
    found = DRILL_FIELDS["passes"](checks, path, value)
    return tuple(found.items()) if isinstance(found, dict) else NOTHING


RULE_FIELDS: Final[Mapping[str, Callable[[Checks, Path, object], object]]] = {
    "chord": _listed(checked_quality, 'a quality such as "m7"'),
    "colour": _listed(lambda checks, path, value: checks.word(path, value, COLOURS), "a colour of chord"),
    "degree": _listed(checked_degree_of_key, DEGREE_EXPECTED),
    "section": _listed(_text(_SECTION), _SECTION),
    "bar": _listed(_bars, _BAR),
    "beat": _listed(_beat, _BEAT),
    "voicing": _listed(_text(_VOICINGS), _VOICINGS),
    "optional": _listed(_degree, _DEGREES),
    "hand": DRILL_FIELDS["hand"],
    "top": _top,
    "bottom": Checks.key,
    "rhythm": _rhythm,
    "approach": lambda checks, path, value: checks.word(path, value, APPROACHES),
    "lowest": DRILL_FIELDS["lowest"],
    "highest": DRILL_FIELDS["highest"],
    "reach_semitones": DRILL_FIELDS["reach_semitones"],
    "limits": DRILL_FIELDS["limits"],
    "passes": _passes,
}
"""Fields of a rule with their checks, named as in `Rule`."""

LESSON_FIELDS: Final = ("title", "about", *SOURCES, "key", "repeats", "rule", "voicing")


def _rule(checks: Checks, path: Path, table: Mapping[str, object]) -> Rule | Nothing:
    for name in table:
        if name not in RULE_FIELDS:
            hint = f"{name} stands at the top of the file, before the first [[rule]]" if name in LESSON_FIELDS else None
            checks.unknown((*path, name), tuple(RULE_FIELDS), hint)
    found = {name: check(checks, (*path, name), table[name]) for name, check in RULE_FIELDS.items() if name in table}
    if NOTHING in found.values() or found.keys() != table.keys():
        return NOTHING
    rule = Rule(**found)  # type: ignore[arg-type]  # each field was checked by its row in RULE_FIELDS
    if not rule.says:
        expected = "what holds for these chords, such as voicing or rhythm"
        return checks.fault(path, None, expected, f"this rule says nothing; write {expected}", at_key=True)
    return rule
