"""Checks of chords' qualities, voicings' names and a teacher's own voicings, which drill sets and lessons share."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from trainer.chords import COLOURS, ChordError, Quality, parse, parse_degree_chord, parse_quality
from trainer.drills.checks import NOTHING, Checks, Nothing, listed, meant, shown
from trainer.drills.places import Path
from trainer.drills.values import HANDS, MOST_VOICINGS
from trainer.pitch import Degree
from trainer.voicings import (
    Recipe,
    VoicingError,
    VoicingRow,
    all_rows,
    families,
    names_for,
    plain_name,
    recipe,
    row_for,
)
from trainer.voicings.degrees import read_degrees

NAME_LETTERS: Final = 120
CHORD_EXPECTED: Final = 'a quality such as "m7", "7(b9)" or "" for a major triad'
VOICING_EXPECTED: Final = 'a voicing\'s name, or degrees from the bottom note up such as "b7 3 13"'
DEGREE_EXPECTED: Final = 'a degree of the key in Roman numerals, such as "II" or "bVII"'
_NUMERAL: Final = re.compile(r"\s*(?:bb?|##?|♭♭?|♯♯?|)(?:VII|VI|V|IV|III|II|I)\s*", re.IGNORECASE)
_FORMS: Final = 'a table of chord colours and degrees such as { m7 = "b3 5 b7 9", "7 alt" = "3 b13 b7 #9" }'
ROW_FIELDS: Final = ("name", "forms", "family", "hand", "rootless", "other", "source")
_MOST_REMEDIES: Final = 50
"""With more faults than this, no near name is searched for: it is not a slip but another kind of file."""


def tables(
    checks: Checks, name: str, value: object, most: int, single: str
) -> Iterator[tuple[Path, Mapping[str, object]]]:
    """The tables of an array of tables, each with its path."""
    expected = f"[[{name}]] in double brackets, with {single}"
    if not isinstance(value, list):
        checks.wrong_kind((name,), value, expected)
        return
    for index, item in enumerate(value):
        if index >= most:
            checks.fault(
                (name, index), None, f"at most {most}", f"a set has at most {most} of these; this one has {len(value)}"
            )
            return
        table = checks.table((name, index), item, expected)
        if not isinstance(table, Nothing):
            yield (name, index), table


def own_rows(checks: Checks, value: object) -> Iterator[VoicingRow]:
    """The teacher's own voicings that have no fault."""
    taken: set[str] = set()
    others: list[tuple[Path, str]] = []
    for path, table in tables(checks, "voicing", value, MOST_VOICINGS, "a name and its forms; a drill has its own"):
        row = _row(checks, path, table)
        if "other" in table and isinstance(table["other"], str):
            others.append(((*path, "other"), table["other"]))
        if isinstance(row, Nothing):
            if isinstance(table.get("name"), str):
                checks.spoiled.add(plain_name(str(table["name"])))
            continue
        if plain_name(row.name) in taken:
            checks.fault((*path, "name"), row.name, "a name of its own", f"{shown(row.name)} is defined twice")
            continue
        taken.add(plain_name(row.name))
        yield row
    known = [*taken, *checks.spoiled, *(row.name for row in all_rows())]
    plain = set(map(plain_name, known))
    for other_path, other in others:
        if plain_name(other) not in plain:
            expected = "the name of another voicing"
            near = _near(other, known)
            better = f'did you mean "{near}"?' if near else f"write {expected}"
            checks.fault(other_path, other, expected, f"{shown(other)} is no voicing; {better}")


def _row(checks: Checks, path: Path, table: Mapping[str, object]) -> VoicingRow | Nothing:
    before = len(checks.faults)
    for name in table:
        if name not in ROW_FIELDS:
            checks.unknown((*path, name), ROW_FIELDS)
    for name, expected in (("name", 'a name such as "open fourths"'), ("forms", _FORMS)):
        if name not in table:
            checks.missing((*path, name), expected)
    texts = {
        name: checks.text((*path, name), table[name], "a text", NAME_LETTERS)
        for name in ("name", "family", "other", "source")
        if name in table
    }
    forms = _forms(checks, (*path, "forms"), table["forms"]) if "forms" in table else ()
    degrees = [words.split() for _, words in forms]
    hand = "both" if any("|" in words for words in degrees) else "left"
    rootless = not any("1" in words for words in degrees)
    if "hand" in table:
        checks.word((*path, "hand"), table["hand"], HANDS)
        hand = str(table["hand"])
    if "rootless" in table:
        rootless = checks.truth((*path, "rootless"), table["rootless"]) is True
    if len(checks.faults) > before or "name" not in table or not forms:
        return NOTHING
    said = {name: text for name, text in texts.items() if isinstance(text, str)}
    row = VoicingRow(said["name"], said.get("family", said["name"]), forms, rootless=rootless, other=said.get("other"))
    row = replace(row, hand="both" if hand == "both" else "right" if hand == "right" else "left")
    return replace(row, source=said["source"]) if "source" in said else replace(row, source=OWN_SOURCE)


OWN_SOURCE: Final = "the set's own"


def _forms(checks: Checks, path: Path, value: object) -> tuple[tuple[str, str], ...]:
    table = checks.table(path, value, _FORMS)
    if isinstance(table, Nothing):
        return ()
    if not table:
        checks.fault(path, value, _FORMS, f"the table is empty; write {_FORMS}")
    seen: set[str] = set()
    for colours, degrees in table.items():
        here = (*path, colours)
        for colour in colours.split() or [""]:
            if colour not in COLOURS:
                near = meant(colour, COLOURS)
                better = f'did you mean "{near}"?' if near else f"the colours are {', '.join(COLOURS)}"
                expected = f"one or more of {', '.join(COLOURS)}"
                checks.fault(here, colour, expected, f"{shown(colour)} is no colour of chord; {better}", at_key=True)
            elif colour in seen:
                checks.fault(here, colour, "each colour once", f"{shown(colour)} stands twice", at_key=True)
            seen.add(colour)
        text = checks.text(here, degrees, "degrees from the bottom note up", NAME_LETTERS)
        if isinstance(text, str):
            try:
                read_degrees(text)
            except VoicingError as error:
                checks.fault(here, text, "degrees such as b7 3 13", str(error), letter=error.at)
    return tuple((" ".join(colours.split()), text) for colours, text in table.items() if isinstance(text, str))


def checked_quality(checks: Checks, path: Path, value: object) -> Quality | Nothing:
    """A chord's quality, without a root."""
    text = checks.text(path, value, CHORD_EXPECTED, NAME_LETTERS, empty=True)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        return parse_quality(text)
    except ChordError as error:
        try:
            whole = parse(text)
        except ChordError:
            whole = None
        if whole is not None and whole.root is not None and whole.bass is None:
            rest = whole.quality.text
            message = f'{shown(text)} names a root, {whole.root}; write the quality alone, "{rest}", and roots in roots'
            return checks.fault(path, text, CHORD_EXPECTED, message, letter=0)
        left, expected = text[error.at :], error.expected.removesuffix(", or a slash and a bass")
        why = f" ({error.reason})" if error.reason else ""
        where = f"{shown(left)} in {shown(text)}" if left else f"the end of {shown(text)}"
        message = f"{where} cannot be read{why}; here could stand {expected}"
        return checks.fault(path, text, expected, message, letter=error.at)


def _near(text: str, names: list[str]) -> str | None:
    by_plain = {plain_name(name): name for name in names}
    near = get_close_matches(plain_name(text), by_plain, n=1, cutoff=0.6)
    return by_plain[near[0]] if near else None


@lru_cache(maxsize=1024)
def recipe_or_fault(text: str, quality: Quality, rows: tuple[VoicingRow, ...]) -> Recipe | VoicingError:
    """A refusal is remembered, too: looking for near names is slow, and a slip is often copied down a file."""
    try:
        return recipe(text, quality, rows)
    except VoicingError as error:
        return error


@lru_cache(maxsize=1024)
def _row_or_fault(text: str, rows: tuple[VoicingRow, ...]) -> VoicingRow | VoicingError:
    try:
        return row_for(text, rows)
    except VoicingError as error:
        return error


def checked_recipe(
    checks: Checks, path: Path, text: str, quality: Quality, rows: tuple[VoicingRow, ...], also: Sequence[str] = ()
) -> Recipe | Nothing:
    """The recipe of a name or of degrees, or a fault that says what could have been meant; `also` are other names that
    may stand there."""
    error = recipe_or_fault(text, quality, rows)
    if isinstance(error, Recipe):
        return error
    said = shown(quality.text) if quality.text else "a major triad"
    fitting = names_for(quality, rows)
    there = f"for {said} there are {'; '.join(fitting)}" if fitting else f"for {said} there is none by name"
    if error.at:  # a place inside the text: it was read as degrees
        return checks.fault(path, text, "degrees from the bottom note up", str(error), letter=error.at)
    in_family = {plain_name(family): members for family, members in families(rows).items()}.get(plain_name(text))
    if in_family is not None:
        forms = [row.name for row in in_family if row.name in fitting]
        better = f"name one of its forms: {listed(forms)}" if forms else there
        return checks.fault(path, text, there, f"{shown(text)} is a whole family; {better}")
    row = _row_or_fault(text, rows)
    if isinstance(row, VoicingError):
        if str(row) != str(error):  # it was not looked up as a name
            return checks.fault(path, text, VOICING_EXPECTED, str(error))
        near = None
        if len(checks.faults) < _MOST_REMEDIES:
            every = [*(row.name for row in (*all_rows(), *rows)), *also, *checks.spoiled]
            near = _near(text, list(fitting)) or _near(text, every)
        if near is None and not error.near:
            return checks.fault(path, text, there, f"{shown(text)} is no voicing; write {VOICING_EXPECTED}")
        better = f'did you mean "{near or error.near[0]}"?'
        return checks.fault(path, text, there, f"{shown(text)} is no voicing; {better}")
    near = _near(row.name, list(fitting))
    better = f'did you mean "{near}"?' if near else there
    return checks.fault(path, text, there, f"{shown(row.name)} has no form for {said}; {better}")


def checked_degree_of_key(checks: Checks, path: Path, value: object) -> Degree | Nothing:
    """A degree of a key in Roman numerals, without a kind of chord."""
    text = checks.text(path, value, DEGREE_EXPECTED, NAME_LETTERS)
    if isinstance(text, Nothing):
        return NOTHING
    try:
        chord = parse_degree_chord(text)
    except ChordError:
        return checks.fault(
            path, text, DEGREE_EXPECTED, f"{shown(text)} is no degree of a key; write {DEGREE_EXPECTED}"
        )
    if not _NUMERAL.fullmatch(text):
        name = re.match(_NUMERAL, text)
        alone = name[0].strip() if name else "II"
        message = f'{shown(text)} says more than a degree; write "{alone}", and the kind of chord in chord or colour'
        return checks.fault(path, text, DEGREE_EXPECTED, message)
    return chord.degree_root
