"""A drill set put together by choosing: what was chosen -> a set and its text, or in words why there is none yet.

`Choices` is everything chosen so far, some of it perhaps wrong; `built` says what it comes to. `Edit` is a file and
what it says; `changed` gives its text with other values, and its comments and order stay.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields
from random import Random
from typing import Final

from trainer.chords import ChordError, Quality, parse_quality
from trainer.drills.places import Path
from trainer.drills.reading import BOUNDS, read
from trainer.drills.values import HINTS, SEQUENCES, Drill, DrillSet, turns
from trainer.drills.writing import Change, edited, write
from trainer.pitch import CHANCE_ORDERS, ROOT_ORDERS, Note, PitchError
from trainer.voicings import VoicingError, names_for, recipe

COMMON_QUALITIES: Final = (
    "maj7", "m7", "7", "m7b5", "dim7", "6", "m6", "m(maj7)", "7sus4", "7(b9)", "7alt", "", "m",
)  # fmt: skip
"""Offered without typing: the chords that most tunes are made of (common practice, no source)."""

ORDERS: Final = (*ROOT_ORDERS, *CHANCE_ORDERS)
_FILE_LETTERS: Final = 60


@dataclass(frozen=True, slots=True)
class Choices:
    """What was chosen: chords by their qualities, and voicings for each by name, in the order in which they were taken.

    `roots` is the name of an order, or roots as typed (``C F Bb``). None is no target, and the voicing's own hand.
    """

    title: str = ""
    chords: tuple[str, ...] = ()
    voicings: tuple[tuple[str, str], ...] = ()
    roots: str = ORDERS[0]
    sequence: str = SEQUENCES[0]
    tries: int = 3
    hint: str = HINTS[0]
    target_ms: int | None = None
    hand: str | None = None

    def with_chord(self, quality: str) -> Choices:
        """With a chord more, or where it was chosen, without it and its voicings."""
        if quality in self.chords:
            left = tuple(each for each in self.voicings if each[0] != quality)
            return _but(self, chords=tuple(each for each in self.chords if each != quality), voicings=left)
        return _but(self, chords=(*self.chords, quality))

    def with_voicing(self, quality: str, name: str) -> Choices:
        """With a voicing of a chord more, or without it."""
        pair = (quality, name)
        if pair in self.voicings:
            return _but(self, voicings=tuple(each for each in self.voicings if each != pair))
        return _but(self, voicings=(*self.voicings, pair))


def _but(choices: Choices, **changes: object) -> Choices:
    return Choices(**{each.name: getattr(choices, each.name) for each in fields(choices)} | changes)


@dataclass(frozen=True, slots=True)
class Built:
    """What choices come to: the set, its text and how many prompts it has; or the `faults`, a sentence each."""

    drill_set: DrillSet | None = None
    text: str = ""
    prompts: int = 0
    faults: tuple[str, ...] = ()


def chord_or_fault(text: str) -> Quality | str:
    """A quality as typed, or one sentence that says what cannot be read.

    >>> chord_or_fault("m7").text
    'm7'
    >>> chord_or_fault("m7x")[:4]
    'm7x:'
    """
    try:
        return parse_quality(text)
    except ChordError as error:
        return f"{text}: {error}"


def voicings_of(quality: str) -> tuple[str, ...]:
    """The names of the voicings that a chord can have; () for what is no chord."""
    found = chord_or_fault(quality)
    return () if isinstance(found, str) else tuple(names_for(found))


def roots_or_fault(text: str) -> str | tuple[Note, ...]:
    """An order's name as it is, or roots as typed. Raises `ValueError` with one sentence.

    >>> roots_or_fault("fourths"), [root.name for root in roots_or_fault("C, F  Bb")]
    ('fourths', ['C', 'F', 'Bb'])
    """
    if text in ORDERS:
        return text
    try:
        found = tuple(Note.parse(name) for name in text.replace(",", " ").split())
    except PitchError as error:
        raise ValueError(f"Roots: {error}") from None
    if not found:
        raise ValueError("Roots: choose an order, or type roots such as C F Bb")
    return found


def milliseconds_or_fault(text: str) -> int | None:
    """A time typed in seconds as milliseconds; None for nothing typed. Raises `ValueError` with one sentence.

    >>> milliseconds_or_fault("1.5"), milliseconds_or_fault("2,25 s"), milliseconds_or_fault(" ")
    (1500, 2250, None)
    """
    typed = text.strip().removesuffix("s").strip().replace(",", ".")
    if not typed:
        return None
    least, most, _ = BOUNDS["target_ms"]
    if re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,4})?", typed):
        found = round(float(typed) * 1000)
        if least <= found <= most:
            return found
    raise ValueError(f"Time: write seconds from {least / 1000:g} to {most / 1000:g}, such as 1.5")


def built(choices: Choices) -> Built:
    """The set that was chosen, checked as its file will be; or every reason why it cannot be written yet."""
    faults = []
    if not choices.title.strip():
        faults.append("It has no title yet.")
    if not choices.chords:
        faults.append("No chord is chosen yet.")
    with_voicing = {quality for quality, _ in choices.voicings}
    faults += [f"No voicing is chosen yet for {named(each)}." for each in choices.chords if each not in with_voicing]
    drills = []
    try:
        roots = roots_or_fault(choices.roots)
    except ValueError as error:
        faults.append(str(error))
        roots = ORDERS[0]
    for text, voicing in choices.voicings:
        quality = chord_or_fault(text)
        if isinstance(quality, str):
            faults.append(quality)
            continue
        try:
            form = recipe(voicing, quality)
        except VoicingError as error:
            faults.append(f"{named(text)}: {error}")
            continue
        drills.append(
            Drill(quality, voicing, form, roots, choices.tries, 1, choices.hint, choices.target_ms, choices.hand)
        )
    if faults or not drills:
        return Built(faults=tuple(faults))
    wanted = DrillSet(choices.title.strip(), tuple(drills), sequence=choices.sequence)
    text = write(wanted)
    drill_set, found = read(text, "")
    if drill_set is None:
        return Built(faults=tuple(fault.message for fault in found))
    return Built(drill_set, text, len(turns(drill_set, Random(0))))


def named(quality: str) -> str:
    """A chord's quality as it is called in a list.

    >>> named("m7"), named("")
    ('m7', 'major triad')
    """
    return quality or "major triad"


def file_stem(title: str, taken: Collection[str]) -> str:
    """A file's name for a title, of plain letters, and none that is `taken` (in any capitals).

    >>> file_stem("Minor Sevens, left!", ()), file_stem("../../x", {"x"}), file_stem("", ())
    ('minor-sevens-left', 'x-2', 'my-set')
    """
    stem = re.sub(r"[^a-z0-9]+", "-", title.lower())[:_FILE_LETTERS].strip("-") or "my-set"
    used = {name.casefold() for name in taken}
    number = 1
    while (name := stem if number == 1 else f"{stem}-{number}") in used:
        number += 1
    return name


@dataclass(frozen=True, slots=True)
class Edit:
    """What a file says of its set as a whole: `values` by field; one in which its drills differ is missing."""

    text: str
    values: Mapping[str, object] = field(default_factory=dict)


EDITABLE: Final = ("title", "sequence", "roots", "tries", "hint", "target_ms", "hand")
_OF_DRILLS: Final = EDITABLE[2:]


def edit_of(text: str) -> Edit:
    """What can be changed of a file without an editor. Raises `ValueError` with the first fault, where it has any."""
    drill_set, faults = read(text, "")
    if drill_set is None:
        raise ValueError(faults[0].message)
    values: dict[str, object] = {"title": drill_set.title, "sequence": drill_set.sequence}
    for name in _OF_DRILLS:
        said = [getattr(drill, name) for drill in drill_set.drills]
        if all(value == said[0] for value in said):
            values[name] = " ".join(root.name for root in said[0]) if isinstance(said[0], tuple) else said[0]
    return Edit(text, values)


def changed(edit: Edit, values: Mapping[str, object]) -> str:
    """The file's text with those values changed that differ; one of drills changes in each drill that says its own.

    Raises `ValueError` with one sentence where the set would have a fault then, or cannot be changed piece by piece.
    """
    table = tomllib.loads(edit.text)
    changes: dict[Path, Change] = {}
    for name in EDITABLE:
        if name not in values or (name in edit.values and values[name] == edit.values[name]):
            continue
        value = values[name]
        if name == "roots":
            roots = roots_or_fault(str(value))
            value = roots if isinstance(roots, str) else [root.name for root in roots]
        if name == "title" and not str(value).strip():
            raise ValueError("It has no title yet.")
        own = [index for index, drill in enumerate(table["drill"]) if name in drill] if name in _OF_DRILLS else []
        change: Change = value if isinstance(value, str | int | list) else None
        for index in own:
            changes["drill", index, name] = change
        if name in table or (change is not None and len(own) < len(table["drill"])):
            changes[(name,)] = change
    result = edited(edit.text, changes) if changes else edit.text
    drill_set, faults = read(result, "")
    if drill_set is None:
        raise ValueError(faults[0].message)
    return result
