"""Degrees, and the voicings of each family by the table that the program itself plays from."""

from __future__ import annotations

from itertools import groupby
from typing import Final

from trainer.chords import parse_quality
from trainer.manual import Chapter
from trainer.pitch import pretty
from trainer.voicings import Recipe, VoicingError, VoicingRow, all_rows, recipe

_SHOWN: Final = ("maj7", "6", "m7", "7", "m7b5", "dim7", "m6", "mMaj7", "7sus4", "7alt", "7(b9)", "", "m")
"""The qualities that stand in the tables, where a family has a form for them."""

_ABOUT: Final = {
    "shell": "Root and one or two tones; the third or seventh decides the chord.",
    "guide tones": "Third and seventh alone: in fourths, the one becomes the other.",
    "three-note rootless": "Guide tones and one colour; the root is the bass player's.",
    "four-note rootless": "The left hand's everyday form, in two positions.",
    "four-way close": "Four tones as close as they lie.",
    "drop 2": "The second voice from the top an octave down.",
    "drop 3": "The third voice from the top an octave down.",
    "drop 2 and 4": "Second and fourth from the top an octave down.",
    "quartal": "Fourths on fourths.",
    "two-hand spread": "Root and support below, colours above.",
    "upper-structure triad": "A triad in the right hand over third and seventh in the left.",
    "approach shell": "The shell a half step away, resolving into the chord.",
}

_TURNED: Final = ("four-way close", "drop 2", "drop 3", "drop 2 and 4", "close triad", "open triad")
"""Families made of the turns of one form: one quality shows them all."""

_HEAD: Final = """\
A degree is a chord tone counted from the root: ♭3, 5, ♭7, 9. The letter is counted too, so the ♭7 of D♭7 is C♭, \
though \
the key is that of B; where the spelling is odd the plain key stands beside it. 9 and 2, 11 and 4, 13 and 6 are the \
same \
tone an octave apart.

Voicings are written from the bottom note up. A stroke | parts the hands. Degrees in brackets may be left out. Where \
two \
books give one form different letters, the degrees decide: so forms have no letters here, they are called by their \
lowest degree.

    trainer spell Cm7 --all
    trainer spell D7 --voicing 'b7 3 13' --why

What follows is read off the table that the program plays from."""

_FOOT: Final = """\
# Where the tables come from
"""


def voicings_chapter() -> Chapter:
    """The chapter, its tables generated."""
    parts = [_HEAD]
    sources: dict[str, list[str]] = {}
    for family, rows in groupby(all_rows(), lambda row: row.family):
        found = tuple(rows)
        for row in found:
            named = sources.setdefault(row.source, [])
            if family not in named:
                named.append(family)
        if " with " in family:
            continue
        about = _ABOUT.get(family, "")
        parts.append(f"# {family[0].upper()}{family[1:]}" + (f"\n{about}" if about else ""))
        if family in _TURNED:
            parts.append(_turns(found))
        else:
            parts += [block for row in found if (block := _row(row))]
    parts.append(
        "Four-way close and the drops are there too with 9 for 1, with 13 for 5, and with both; any family may be "
        "asked for under a given top note, as in drop 2 under 9."
    )
    parts.append(_FOOT + "\n".join(f"- {', '.join(families)}: {source}." for source, families in sources.items()))
    return Chapter("voicings", "Degrees and voicings", "\n\n".join(parts))


def _turns(rows: tuple[VoicingRow, ...]) -> str:
    """The turns of a form on one quality; on others they have that chord's own tones."""
    quality = "" if "triad" in rows[0].family else "m7"
    told = [f": {row.name.rpartition(', ')[2]} | {_degrees(recipe(row.name, parse_quality(quality)))}" for row in rows]
    return f"On {quality or 'a major triad'}, and so on other chords with their own tones:\n" + "\n".join(told)


def _row(row: VoicingRow) -> str:
    """One voicing: its name, and its degrees for each quality, alike ones together."""
    forms: dict[str, list[str]] = {}
    for text in _SHOWN:
        try:
            found = recipe(row.name, parse_quality(text))
        except VoicingError:
            continue
        forms.setdefault(_degrees(found), []).append(pretty(text) or "major")
    if not forms:
        return ""
    name = row.name.removeprefix(f"{row.family}, ")
    return f"{pretty(name)}:\n" + "\n".join(f": {', '.join(names)} | {degrees}" for degrees, names in forms.items())


def _degrees(found: Recipe) -> str:
    told = [f"({each.name})" if row in found.optional else each.name for row, each in enumerate(found.degrees)]
    if found.split is not None:
        told.insert(found.split, "|")
    return pretty(" ".join(told))
