"""Rules against the chart they are for: what no chord fits, what no voicing gives, what cannot be placed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Final

from trainer.charts import FormChord, twelve_keys
from trainer.chords import Chord, Quality, parse_quality
from trainer.drills.checks import Checks, listed, meant, shown
from trainer.drills.lessons import Lesson
from trainer.drills.places import Path
from trainer.drills.rules import CONDITIONS, MELODY, Facts, Manner, Rule, key_shift, manner_of
from trainer.drills.voicing_checks import checked_recipe, recipe_or_fault
from trainer.leading import LeadingError
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, key_name
from trainer.voicings import Recipe, VoicingError, VoicingRow, families, plain_name, recipes_for, row_for

_PLACING: Final = ("bottom", "lowest", "highest", "reach_semitones", "limits", "hand", "top", "optional", "voicing")
_ALL_KEYS: Final = 12
_BY_PITCH_CLASS: Final[Mapping[int, Note]] = {root.pitch_class: root for root in TWELVE_ROOTS}


def check_voicings(checks: Checks, rules: Sequence[Rule], rows: tuple[VoicingRow, ...], lesson: Lesson | None) -> bool:
    """Whether every voicing of every rule can be read; told by a chord of the chart it is for, where there is one."""
    good = True
    for index, rule in enumerate(rules):
        good = _names(checks, ("rule", index), rule, rows, lesson) and good
    return good


def check_against_chart(checks: Checks, lesson: Lesson, *, whole: bool) -> None:
    """Note what is wrong between the rules of a lesson and its chart.

    Where not `whole`, some rule could not be read, and only what each rule says by itself is judged.
    """
    if not lesson.chords:
        checks.fault((lesson.origin[0],), None, "a chord", "the chart has no chord to voice")
        return
    fine = all([_conditions(checks, ("rule", index), rule, lesson) for index, rule in enumerate(lesson.rules)])
    if not (check_voicings(checks, lesson.rules, lesson.rows, lesson) and whole and fine):
        return
    judged = [(one, facts, *manner_of(lesson.rules, facts)) for one, facts in lesson.chords]
    for index, rule in enumerate(lesson.rules):
        its_own = [(one, manner) for one, _, manner, by in judged if by.get("rhythm") == index]
        _rhythm(checks, ("rule", index), rule, lesson, its_own)
        if rule.top == MELODY and not any(bar.melody for bar in lesson.chart.bars):
            message = "the chart has no melody to voice a chord under"
            checks.fault(("rule", index, "top"), MELODY, 'a degree such as "9"', message)
    if _forms(checks, lesson, judged):
        _places(checks, lesson, judged)


Judged = Sequence[tuple[FormChord, Facts, Manner, Mapping[str, int]]]


def _conditions(checks: Checks, path: Path, rule: Rule, lesson: Lesson) -> bool:
    """Whether a rule is for any chord, and each value of each condition for one."""
    every = [facts for _, facts in lesson.chords]
    left = every
    for name in CONDITIONS:
        good = True
        for position, value in enumerate(getattr(rule, name)):
            if not any(_only(name, (value,)).is_for(facts) for facts in every):
                item = (*path, name, position)
                _nowhere(checks, item if item in checks.places.spots else item[:-1], name, value, lesson)
                good = False
        if not good:
            return False
        if getattr(rule, name):
            left = [facts for facts in left if _only(name, getattr(rule, name)).is_for(facts)]
        if not left:
            message = "no chord fits this and the other conditions, too"
            checks.fault((*path, name), None, "conditions that some chord fits", message)
            return False
    return True


def _only(name: str, values: tuple[object, ...]) -> Rule:
    """A rule with one condition."""
    return Rule(**{name: values})  # type: ignore[arg-type]  # the values are those of a rule's own field


def _nowhere(checks: Checks, path: Path, name: str, value: object, lesson: Lesson) -> None:
    """Tell that no chord of the chart fits one value of a condition."""
    facts = [each for _, each in lesson.chords]
    last = max(played.number for played in lesson.chart.played)
    letters = dict.fromkeys([*(each.letter for each in facts if each.letter), *lesson.sections])
    there: Mapping[str, Sequence[str]] = {
        "chord": list(dict.fromkeys(shown(each.quality.text) for each in facts)),
        "colour": list(dict.fromkeys(shown(each.quality.colour) for each in facts)),
        "section": list(map(shown, letters)),
        "bar": [f"{0 if lesson.chart.pickup_beats else 1} to {last}"],
    }
    names = ", ".join(there.get(name, ()))
    if names:
        near = meant(str(value), list(letters)) if name == "section" else None
        better = f'did you mean "{near}"?' if near else f"the {name}s are {names}"
        checks.fault(path, None, names, f"no chord of the chart is here; {better}")
    elif name == "section":
        checks.fault(path, None, "another condition", "the chart has no sections; a letter marks one, as in [A]")
    else:
        checks.fault(path, None, "where a chord of the chart is", f"no chord of the chart is on this {name}")


# -- voicings by name


def _family_names(rows: tuple[VoicingRow, ...]) -> dict[str, str]:
    return {plain_name(family): family for family in families(rows)}


def _named(name: str, rows: tuple[VoicingRow, ...]) -> bool:
    if plain_name(name) in _family_names(rows):
        return True
    try:
        row_for(name, rows)
    except VoicingError:
        return False
    return True


def _names(checks: Checks, path: Path, rule: Rule, rows: tuple[VoicingRow, ...], lesson: Lesson | None) -> bool:
    """Whether every voicing of a rule is a family, a name, or degrees that can be read."""
    qualities = [facts.quality for _, facts in lesson.chords if rule.is_for(facts)] if lesson is not None else []
    good = True
    for position, name in enumerate(rule.voicing or ()):
        if plain_name(name) in checks.spoiled:
            good = False  # its own definition was faulty; that was told there
        elif not _named(name, rows):
            item = (*path, "voicing", position)
            here = item if item in checks.places.spots else item[:-1]
            quality = qualities[0] if qualities else parse_quality("7")
            found = checked_recipe(checks, here, name, quality, rows, tuple(families(rows)))
            good = good and isinstance(found, Recipe)
    return good


@cache
def _suits(name: str, quality: Quality, rows: tuple[VoicingRow, ...]) -> bool:
    family = _family_names(rows).get(plain_name(name))
    if family is not None:
        return any(form.family == family for form in recipes_for(quality, rows))
    return isinstance(recipe_or_fault(name, quality, rows), Recipe)


def _forms(checks: Checks, lesson: Lesson, judged: Judged) -> bool:
    """Whether every chord has a form in one of its voicings; a triad may fall back on a close triad."""
    told: set[tuple[int, str]] = set()
    for one, facts, manner, by in judged:
        if "voicing" not in by or facts.quality.seventh is None:
            continue
        index, quality = by["voicing"], facts.quality
        if (index, quality.text) in told or any(_suits(name, quality, lesson.rows) for name in manner.voicing):
            continue
        told.add((index, quality.text))
        fitting = dict.fromkeys(form.family for form in recipes_for(quality, lesson.rows))
        there = f"for {shown(quality.text)} there are the families {'; '.join(fitting)}"
        names = listed(manner.voicing)
        message = f"{names} has no form for {one.chord.symbol} in bar {one.label}; {there}"
        checks.fault(("rule", index, "voicing"), names.strip('"'), there, message)
    return not told


# -- rhythms


def _rhythm(checks: Checks, path: Path, rule: Rule, lesson: Lesson, chords: list[tuple[FormChord, Manner]]) -> None:
    if rule.rhythm is None or not chords:
        return
    here = (*path, "rhythm")
    most = max(lesson.chart.bars[one.written].meter.beats for one, _ in chords)
    for hit in rule.rhythm:
        if hit.count >= most + 1:
            message = f"{str(hit)!r}: the bars here have {most} beats"
            checks.fault(here, str(hit), f"counts from 1 to {most}", message)
    if any(hit.part == "approach" for hit in rule.rhythm) and all(manner.approach == "none" for _, manner in chords):
        expected = 'approach = "above" or approach = "below"'
        checks.fault(here, None, expected, f"no rule says from where the approach comes; write {expected}")


# -- places


def _said_at(by: Mapping[str, int], names: Sequence[str], lesson: Lesson) -> Path:
    """Where the first of some fields was said, else where the chart comes from."""
    return next((("rule", by[name], name) for name in names if name in by), (lesson.origin[0],))


def _places(checks: Checks, lesson: Lesson, judged: Judged) -> None:
    """Whether each chord can be placed, in the lesson's own key and in the eleven others."""
    refused: dict[Path, tuple[list[str], str]] = {}
    optional: dict[int, set[Degree]] = {}
    own = lesson.chart.key
    keys = sorted(twelve_keys(own.minor), key=lambda key: key.root.pitch_class != own.root.pitch_class)
    sung = [note.key for bar in lesson.chart.bars for note in bar.melody]
    for key in keys:
        if any(not 0 <= each + key_shift(own.root, key.root) <= 127 for each in sung):
            message = f"in {key} the melody would leave the keys 0 to 127"
            checks.fault((lesson.origin[0],), None, "a melody nearer to the middle", message)
            return
    # A chord that comes again is asked once.
    alike = {
        (one.chord, one.melody_key if manner.top == MELODY else None, manner, frozenset(by.items())): (one, manner, by)
        for one, _, manner, by in reversed(judged)
    }
    for one, manner, by in reversed(alike.values()):
        for key in keys:
            found, reason, names = _choices(lesson, one, manner, key_shift(own.root, key.root))
            if key is keys[0] and "optional" in by:
                optional.setdefault(by["optional"], set()).update(found)
            if reason:
                why = f"{one.chord.symbol} in bar {one.label}: {reason}"
                in_keys, _ = refused.setdefault(_said_at(by, names, lesson), ([], why))
                if key.name not in in_keys:
                    in_keys.append(key.name)
    for path, (in_keys, why) in refused.items():
        where = "in any key" if len(in_keys) == _ALL_KEYS else f"in {', '.join(in_keys)}"
        checks.fault(path, None, "another voicing or wider bounds", f"this cannot be placed {where}: {why}")
    if refused:
        return
    for index, rule in enumerate(lesson.rules):
        for position, degree in enumerate(rule.optional or ()):
            used = any(by.get("optional") == index for _, _, _, by in judged)
            if used and degree not in optional.get(index, set()):
                item = ("rule", index, "optional", position)
                here = item if item in checks.places.spots else item[:-1]
                message = f"{shown(degree.name)} stands in no voicing that this rule is for"
                checks.fault(here, degree.name, "a degree of the voicing", message)


def _choices(lesson: Lesson, one: FormChord, manner: Manner, semitones: int) -> tuple[set[Degree], str, Sequence[str]]:
    """The degrees that a chord's voicings have, so many semitones higher; or why it has none, and the fields that may
    be at fault."""
    root = one.chord.root
    assert root is not None
    if semitones:
        root = _BY_PITCH_CLASS[(root.pitch_class + semitones) % 12]
        melody = None if one.melody_key is None else MidiNote(one.melody_key + semitones)
        bottom = None if manner.bottom is None else MidiNote(manner.bottom + semitones)
        one = replace(one, chord=Chord(root, one.chord.quality, None), melody_key=melody)
        manner = replace(manner, bottom=bottom)
    try:
        found = lesson.choices(one, manner)
    except (LeadingError, VoicingError) as error:
        return set(), str(error), ("lowest", "highest", "voicing")
    degrees = {degree for placement in found.placements for degree in placement.recipe.degrees}
    if found.placements:
        return degrees, "", ()
    if manner.bottom is not None:
        bottoms = sorted({refusal.keys[0] % 12 for refusal in found.refused if refusal.keys})
        if bottoms and manner.bottom % 12 not in bottoms:
            return set(), f"its voicing has no {key_name(manner.bottom)} at the bottom", _PLACING
    # The refusal nearest to fitting is the one of the lowest octave that is not too low.
    told = next((refusal for refusal in found.refused if refusal.keys and " lies below " not in refusal.reason), None)
    told = told or next(iter(found.refused), None)
    return set(), told.reason.rstrip(".") if told is not None else "it has no voicing that fits", _PLACING
