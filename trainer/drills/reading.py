"""Text of a drill file -> `DrillSet`, or every fault of it at once.

Fields by table (``*`` must stand there); every drill field but chord and voicing may also stand at the top of the
file, as the default of all drills:

============  ==================================================================================================
top           ``title*`` ``about`` ``sequence``
[[drill]]*    ``chord*`` ``voicing*`` ``roots`` ``tries`` ``rounds`` ``hint`` ``hand`` ``target_ms`` ``lowest``
              ``highest`` ``reach_semitones`` ``limits`` ``fingers`` ``passes``; of a move ``on`` ``then``
then          ``on*`` ``chord*`` ``voicing*`` ``hand`` ``rise_semitones``
passes        ``order`` ``octave`` ``doublings`` ``root_below`` ``graze``
[[voicing]]   ``name*`` ``forms*`` ``family`` ``hand`` ``rootless`` ``other`` ``source``
============  ==================================================================================================

Nothing in a file is obeyed: texts are data, bounded in length, and refused where they hold control characters.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from trainer.drills.checks import NOTHING, Checks, Nothing, meant, shown
from trainer.drills.places import Path, places
from trainer.drills.prompts import targets_of
from trainer.drills.syntax import parsed
from trainer.drills.values import (
    ABOUT_LETTERS,
    HANDS,
    HINTS,
    MOST_DRILLS,
    SEQUENCES,
    TITLE_LETTERS,
    Drill,
    DrillSet,
    Fault,
    Step,
    register_of,
)
from trainer.drills.voicing_checks import (
    CHORD_EXPECTED,
    DEGREE_EXPECTED,
    NAME_LETTERS,
    VOICING_EXPECTED,
    checked_degree_of_key,
    checked_quality,
    checked_recipe,
    own_rows,
    tables,
)
from trainer.grading import OCTAVES_THAT_PASS, ORDERS_THAT_PASS, Passes
from trainer.pitch import CHANCE_ORDERS, HIGHEST_PIANO_KEY, ROOT_ORDERS, MidiNote, Note, key_name
from trainer.voicings import (
    Limits,
    VoicingError,
    VoicingRow,
    in_hand,
    names_for,
    plain_name,
    recipe,
)
from trainer.voicings.placing import INTERVAL_NAMES
from trainer.voicings.recipes import span, stacked

ORDERS: Final = (*ROOT_ORDERS, *CHANCE_ORDERS)
LIMIT_NAMES: Final = {name: semitones for semitones, name in enumerate(INTERVAL_NAMES) if semitones}

_ROOTS: Final = f'an order ({", ".join(ORDERS)}) or a list of roots such as ["C", "F", "Bb"]'
_TITLE: Final = 'a title such as "Shells in twelve keys"'
_ABOUT: Final = "a text about the set"
_LIMITS: Final = 'true, false or a table of intervals and keys such as { "minor third" = "C3" }'
_FINGERS: Final = "a list of fingers from the bottom note up, 1 the thumb, such as [5, 3, 2, 1]"


def _roots(checks: Checks, path: Path, value: object) -> str | tuple[Note, ...] | Nothing:
    if isinstance(value, str):
        if value in ORDERS:
            return value
        near = meant(value, ORDERS)
        better = f'did you mean "{near}"?' if near else f"write {_ROOTS}"
        return checks.fault(path, value, _ROOTS, f"{shown(value)} is no order of roots; {better}")
    if not isinstance(value, list):
        return checks.wrong_kind(path, value, _ROOTS)
    if not value:
        return checks.fault(path, value, _ROOTS, f"the list is empty; write {_ROOTS}")
    found: list[Note] = []
    for position, item in enumerate(value):
        root = checks.root((*path, position), item)
        if isinstance(root, Nothing):
            continue
        if root in found:
            checks.fault((*path, position), item, "each root once", f"{shown(item)} stands twice; write each root once")
        found.append(root)
    return tuple(found) if len(found) == len(set(found)) == len(value) else NOTHING


def _limits(checks: Checks, path: Path, value: object) -> Limits | Nothing:
    if isinstance(value, bool):
        return value
    table = checks.table(path, value, _LIMITS)
    if isinstance(table, Nothing):
        return NOTHING
    found: list[tuple[int, MidiNote]] = []
    good = True
    for name, item in table.items():
        if name not in LIMIT_NAMES:
            near = meant(name.replace("_", " "), LIMIT_NAMES)
            there = f"the intervals are {', '.join(LIMIT_NAMES)}"
            better = f'did you mean "{near}"?' if near else there
            checks.fault((*path, name), name, there, f"there is no such interval; {better}", at_key=True)
            good = False
            continue
        key = checks.key((*path, name), item)
        if isinstance(key, Nothing):
            good = False
        else:
            found.append((LIMIT_NAMES[name], key))
    return tuple(sorted(found)) if good else NOTHING


MOST_STEPS: Final = 32
_THEN: Final = 'a list of tables such as { on = "V", chord = "7", voicing = "rootless from the seventh" }'

MOST_FINGERS: Final = 20
"""More notes no two hands take."""


def _fingers(checks: Checks, path: Path, value: object) -> tuple[int, ...] | Nothing:
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_FINGERS:
        return checks.wrong_kind(path, value, _FINGERS)
    found = [checks.number((*path, position), item, 1, 5, "a finger") for position, item in enumerate(value)]
    good = tuple(finger for finger in found if not isinstance(finger, Nothing))
    return good if len(good) == len(found) else NOTHING


BOUNDS: Final[Mapping[str, tuple[int, int, str]]] = {
    "tries": (1, 20, "a whole number"),
    "rounds": (1, 20, "a whole number"),
    "target_ms": (200, 60_000, "milliseconds as a whole number"),
    "reach_semitones": (5, 24, "semitones as a whole number"),
    "rise_semitones": (-48, 48, "a whole number"),
}
"""Least and most of each field that is a number, and what it counts."""


def _number(name: str) -> Callable[[Checks, Path, object], int | Nothing]:
    least, most, what = BOUNDS[name]
    return lambda checks, path, value: checks.number(path, value, least, most, what)


PASSES_FIELDS: Final[Mapping[str, Callable[[Checks, Path, object], object]]] = {
    "order": lambda checks, path, value: checks.word(path, value, ORDERS_THAT_PASS),
    "octave": lambda checks, path, value: checks.word(path, value, OCTAVES_THAT_PASS),
    "doublings": Checks.truth,
    "root_below": Checks.truth,
    "graze": Checks.truth,
}


def _passes(checks: Checks, path: Path, value: object) -> dict[str, object] | Nothing:
    """The fields of a passes table that stand there; what a drill leaves out is the set's."""
    table = checks.table(path, value, 'a table such as { order = "inversion", octave = "any" }')
    if isinstance(table, Nothing):
        return NOTHING
    found = {name: check(checks, (*path, name), table[name]) for name, check in PASSES_FIELDS.items() if name in table}
    for name in table:
        if name not in PASSES_FIELDS:
            checks.unknown((*path, name), tuple(PASSES_FIELDS))
    return found if NOTHING not in found.values() and found.keys() == table.keys() else NOTHING


DRILL_FIELDS: Final[Mapping[str, Callable[[Checks, Path, object], object]]] = {
    "roots": _roots,
    "tries": _number("tries"),
    "rounds": _number("rounds"),
    "hint": lambda checks, path, value: checks.word(path, value, HINTS),
    "hand": lambda checks, path, value: checks.word(path, value, HANDS),
    "target_ms": _number("target_ms"),
    "lowest": Checks.key,
    "highest": Checks.key,
    "reach_semitones": _number("reach_semitones"),
    "limits": _limits,
    "fingers": _fingers,
    "passes": _passes,
}
"""Fields of a drill that may also stand at the top as the default of all drills, with their checks."""

_PLACING: Final = ("roots", "hand", "lowest", "highest", "reach_semitones", "limits")
_MOST_REMEDIES: Final = 50
"""With more faults than this, no remedy is searched for: it is not a slip but another kind of file."""

SET_FIELDS: Final = ("title", "about", "sequence", "drill", "voicing", *DRILL_FIELDS)
FIELDS_OF_A_DRILL: Final = ("chord", "voicing", *DRILL_FIELDS, "on", "then")
STEP_FIELDS: Final = ("on", "chord", "voicing", "hand", "rise_semitones")


def read(text: str, file_name: str) -> tuple[DrillSet | None, tuple[Fault, ...]]:
    """A drill set from the text of its file, or None and every fault, in the order of the file. Never raises.

    >>> drill_set, faults = read('title = "Shells"\\n[[drill]]\\nchord = "m7"\\nvoicing = "b3 b7 x"\\n', "a.toml")
    >>> str(faults[0])[:50]
    "a.toml:4:18: drill 1, voicing: 'x' at character 7 "
    """
    text = text.removeprefix("\ufeff")  # what some editors write before the text to tell its encoding
    data, text, broken = parsed(text, file_name)
    if data is None:
        return None, broken
    checks = Checks(file_name, places(text), whole=not broken, faults=list(broken))
    found = _set(checks, data)
    if checks.faults or isinstance(found, Nothing):
        return None, tuple(sorted(checks.faults, key=lambda fault: (fault.line, fault.column)))
    return found, ()


def _set(checks: Checks, data: Mapping[str, object]) -> DrillSet | Nothing:
    for name in data:
        if name not in SET_FIELDS:
            hint = f"{name} stands in each [[drill]]" if name in FIELDS_OF_A_DRILL else None
            checks.unknown((name,), SET_FIELDS, hint)
    title: object = NOTHING
    if "title" in data:
        title = checks.text(("title",), data["title"], _TITLE, TITLE_LETTERS)
    else:
        checks.missing(("title",), _TITLE)
    about = checks.text(("about",), data.get("about", ""), _ABOUT, ABOUT_LETTERS, lines=True, empty=True)
    sequence = checks.word(("sequence",), data.get("sequence", SEQUENCES[0]), SEQUENCES)
    defaults = {name: check(checks, (name,), data[name]) for name, check in DRILL_FIELDS.items() if name in data}
    rows = tuple(own_rows(checks, data.get("voicing", [])))
    drills = _drills(checks, data, defaults, rows)
    if checks.faults or not (isinstance(title, str) and isinstance(about, str) and isinstance(sequence, str)):
        return NOTHING
    return DrillSet(title, drills, about, sequence, rows)


def _drills(
    checks: Checks, data: Mapping[str, object], defaults: Mapping[str, object], rows: tuple[VoicingRow, ...]
) -> tuple[Drill, ...]:
    if "drill" not in data or data["drill"] == []:
        checks.missing(("drill",), "at least one [[drill]] with a chord and a voicing")
        return ()
    found = []
    for path, table in tables(checks, "drill", data["drill"], MOST_DRILLS, "a chord and a voicing"):
        drill = _drill(checks, path, table, defaults, rows)
        if not isinstance(drill, Nothing):
            found.append(drill)
    return tuple(found)


def _drill(
    checks: Checks,
    path: Path,
    table: Mapping[str, object],
    defaults: Mapping[str, object],
    rows: tuple[VoicingRow, ...],
) -> Drill | Nothing:
    for name in table:
        if name not in FIELDS_OF_A_DRILL:
            hint = f"{name} stands at the top of the file, before the first [[drill]]" if name in SET_FIELDS else None
            checks.unknown((*path, name), FIELDS_OF_A_DRILL, hint)
    for name, expected in (("chord", CHORD_EXPECTED), ("voicing", VOICING_EXPECTED)):
        if name not in table:
            checks.missing((*path, name), expected)
    quality = checked_quality(checks, (*path, "chord"), table["chord"]) if "chord" in table else NOTHING
    found = {name: check(checks, (*path, name), table[name]) for name, check in DRILL_FIELDS.items() if name in table}
    # A faulty value was told where it stands; what rests on it is not judged here.
    values = dict(defaults) | found
    passes: dict[str, object] = {}
    for level in (defaults.get("passes"), found.get("passes")):
        if isinstance(level, dict):
            passes |= level
    if "voicing" not in table:
        return NOTHING
    wanted = checks.text((*path, "voicing"), table["voicing"], VOICING_EXPECTED, NAME_LETTERS)
    if isinstance(wanted, Nothing) or isinstance(quality, Nothing):
        return NOTHING
    if plain_name(wanted) in checks.spoiled:
        return NOTHING  # its own definition was faulty; that was told there
    form = checked_recipe(checks, (*path, "voicing"), wanted, quality, rows)
    if isinstance(form, Nothing) or any(values.get(name) is NOTHING for name in _PLACING):
        return NOTHING
    values = {name: value for name, value in values.items() if value is not NOTHING}
    form = in_hand(form, str(values.get("hand", "")))
    fingers = values.get("fingers")
    if isinstance(fingers, tuple) and len(fingers) != len(form.degrees):
        # Fingers of the whole set are a fault of the drill that they do not fit.
        where = (*path, "fingers" if "fingers" in found else "voicing")
        expected = f"{len(form.degrees)} fingers, one for each note of {form.text}"
        message = f"{len(fingers)} fingers for {len(form.degrees)} notes; write one for each note of {form.text}"
        return checks.fault(where, table.get("fingers", wanted), expected, message)
    values["passes"] = Passes(**passes)  # type: ignore[arg-type]  # each field was checked by its row in PASSES_FIELDS
    if "on" in table:
        values["on"] = checked_degree_of_key(checks, (*path, "on"), table["on"])
    values["then"] = _steps(checks, (*path, "then"), table["then"], rows) if "then" in table else ()
    if NOTHING in (values.get("on"), values["then"]):
        return NOTHING
    drill = Drill(quality, wanted, form, **values)  # type: ignore[arg-type]  # likewise by DRILL_FIELDS
    return drill if _can_be_placed(checks, path, drill, rows) else NOTHING


def _steps(checks: Checks, path: Path, value: object, rows: tuple[VoicingRow, ...]) -> tuple[Step, ...] | Nothing:
    """What follows the first voicing of a move."""
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_STEPS:
        return checks.wrong_kind(path, value, _THEN)
    found = []
    for position, item in enumerate(value):
        table = checks.table((*path, position), item, _THEN)
        step = NOTHING if isinstance(table, Nothing) else _step(checks, (*path, position), table, rows)
        if not isinstance(step, Nothing):
            found.append(step)
    return tuple(found) if len(found) == len(value) else NOTHING


def _step(checks: Checks, path: Path, table: Mapping[str, object], rows: tuple[VoicingRow, ...]) -> Step | Nothing:
    before = len(checks.faults)
    for name in table:
        if name not in STEP_FIELDS:
            checks.unknown((*path, name), STEP_FIELDS)
    for name, expected in (("on", DEGREE_EXPECTED), ("chord", CHORD_EXPECTED), ("voicing", VOICING_EXPECTED)):
        if name not in table:
            checks.missing((*path, name), expected)
    on = checked_degree_of_key(checks, (*path, "on"), table["on"]) if "on" in table else NOTHING
    quality = checked_quality(checks, (*path, "chord"), table["chord"]) if "chord" in table else NOTHING
    hand = checks.word((*path, "hand"), table["hand"], HANDS) if "hand" in table else None
    rise = _number("rise_semitones")(checks, (*path, "rise_semitones"), table.get("rise_semitones", 0))
    wanted: str | Nothing = NOTHING
    if "voicing" in table:
        wanted = checks.text((*path, "voicing"), table["voicing"], VOICING_EXPECTED, NAME_LETTERS)
    if isinstance(wanted, Nothing) or isinstance(quality, Nothing) or plain_name(wanted) in checks.spoiled:
        return NOTHING
    form = checked_recipe(checks, (*path, "voicing"), wanted, quality, rows)
    if len(checks.faults) > before or isinstance(on, Nothing) or isinstance(form, Nothing):
        return NOTHING
    said = hand if isinstance(hand, str) else None
    by = rise if isinstance(rise, int) and "rise_semitones" in table else None
    return Step(on, quality, wanted, in_hand(form, said or ""), said, by)


def _misplaced(drill: Drill, roots: tuple[Note, ...]) -> list[tuple[Note, VoicingError]]:
    """The roots on which a drill's voicing has no place, each with the reason."""
    found = []
    for root in roots:
        try:
            targets_of(drill, root)
        except VoicingError as error:
            found.append((root, error))
    return found


def _can_be_placed(checks: Checks, path: Path, drill: Drill, rows: tuple[VoicingRow, ...]) -> bool:
    try:
        register_of(drill.recipe, drill.lowest, drill.highest, drill.reach_semitones, drill.limits)
    except VoicingError:
        low, high = (key_name(key) for key in (drill.lowest, drill.highest) if key is not None)
        where = (*path, "lowest") if (*path, "lowest") in checks.places.spots else (*path, "highest")
        where = where if where in checks.places.spots else ("lowest",)
        checks.fault(where, low, f"a key not above {high}", f"lowest ({low}) lies above highest ({high})")
        return False
    misplaced = _misplaced(drill, drill.pool)
    if not misplaced:
        return True
    first = misplaced[0][0]
    place_of = (*path, "voicing")
    if isinstance(drill.roots, tuple) and (*path, "roots") in checks.places.spots:
        place_of = (*path, "roots", drill.roots.index(first))
    named = "any root" if len(misplaced) == 12 else ", ".join(root.name for root, _ in misplaced)
    register = drill.register
    remedy = _remedy(drill, rows) if len(checks.faults) < _MOST_REMEDIES else None
    expected = remedy or "another voicing or a wider register"
    message = (
        f"{shown(drill.voicing)} cannot be placed on {named} from {register.text} with a reach of "
        f"{register.reach_semitones} semitones; {expected} would do"
    )
    checks.fault(place_of, drill.voicing, expected, message)
    return False


def _remedy(drill: Drill, rows: tuple[VoicingRow, ...]) -> str | None:
    """The smallest change with which every root of a drill can be placed, in the words of the file."""

    def fits(changed: Drill) -> bool:
        return not _misplaced(changed, drill.pool)

    register = drill.register
    higher = range(register.highest + 1, min(register.highest + 25, HIGHEST_PIANO_KEY + 1))
    width = span(stacked(drill.recipe.degrees), drill.recipe.optional)
    if drill.recipe.split is None and width > register.reach_semitones:
        shared = replace(drill, recipe=in_hand(drill.recipe, "both"), lowest=register.lowest)
        for highest in map(MidiNote, (register.highest, *higher)):
            if fits(replace(shared, highest=highest)):
                more = f' with highest = "{key_name(highest)}"' if highest > register.highest else ""
                return f'hand = "both"{more}'
    for highest in map(MidiNote, higher):
        if fits(replace(drill, lowest=register.lowest, highest=highest)):
            return f'highest = "{key_name(highest)}"'
    for reach in range(register.reach_semitones + 1, 25):
        if fits(replace(drill, reach_semitones=reach)):
            return f"reach_semitones = {reach}"
    for highest in map(MidiNote, higher):
        if register.limits is not None and fits(replace(drill, lowest=register.lowest, highest=highest, limits=False)):
            return f'limits = false with highest = "{key_name(highest)}"'
    for name in names_for(drill.quality, rows):
        other = in_hand(recipe(name, drill.quality, rows), drill.hand or "")
        if other.family == drill.recipe.family and fits(replace(drill, recipe=other)):
            return f'voicing = "{name}"'
    return None
