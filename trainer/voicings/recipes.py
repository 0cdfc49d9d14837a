"""Recipes: a voicing, by name or by degrees, in one quality; voicings under a melody; approach shells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import SequenceMatcher, get_close_matches
from functools import lru_cache
from typing import Final, Literal

from trainer.chords import COLOURS, Quality
from trainer.pitch import Degree, Note, PitchError, respelled
from trainer.voicings.degrees import ELEVENTH, NINTH, THIRTEENTH, VoicingError, Written, degree_of, read_degrees, slots
from trainer.voicings.table import Hand, VoicingRow, all_rows

BY_DEGREES: Final = "by degrees"
"""The family of a recipe that was written as degrees."""

ONE_HAND_SEMITONES: Final = 14
"""A ninth: the widest interval that one hand is asked for unless the player says more (a judgement)."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """A voicing in one quality: degrees bottom to top, on no root yet.

    `optional` holds indices of degrees that may be left out; `split` counts the degrees that are the left hand's (None:
    one hand plays all); `rootless` leaves the root to a bass below; `other` names the other form of the family.
    """

    name: str
    family: str
    degrees: tuple[Degree, ...]
    optional: frozenset[int] = frozenset()
    hand: Hand = "left"
    rootless: bool = True
    source: str = ""
    other: str | None = None
    split: int | None = None

    @property
    def text(self) -> str:
        """The degrees as one reads them: ``b7 3 5 (9)``."""
        return " ".join(f"({degree})" if at in self.optional else str(degree) for at, degree in enumerate(self.degrees))


_SIGNS: Final = str.maketrans({"♭": "b", "♯": "#", ",": " ", "-": " ", "–": " "})


@lru_cache(maxsize=2048)
def plain_name(text: str) -> str:
    """A name as it is looked up: case, commas, hyphens and white space do not count.

    >>> plain_name(" Rootless  from the THIRD ,altered")
    'rootless from the third altered'
    """
    return " ".join(text.translate(_SIGNS).casefold().split())


_ALIASES: Final = {
    "upper structure triad bv": "upper-structure triad, #IV",
    "upper structure triad bv minor": "upper-structure triad, #IV minor",
}


def _rows(extra_rows: tuple[VoicingRow, ...]) -> tuple[VoicingRow, ...]:
    """The table and a teacher's rows, of which one takes the place of a row of the same name."""
    own = {plain_name(row.name) for row in extra_rows}
    return (*(row for row in all_rows() if plain_name(row.name) not in own), *extra_rows)


@lru_cache(maxsize=64)
def _index(extra_rows: tuple[VoicingRow, ...]) -> dict[str, VoicingRow]:
    rows = {plain_name(row.name): row for row in _rows(extra_rows)}
    return rows | {alias: rows[plain_name(name)] for alias, name in _ALIASES.items() if alias not in rows}


@lru_cache(maxsize=64)
def families(extra_rows: tuple[VoicingRow, ...] = ()) -> dict[str, tuple[VoicingRow, ...]]:
    """Every family with its rows, in the order of the table. Do not change the result."""
    found: dict[str, list[VoicingRow]] = {}
    for row in _rows(extra_rows):
        found.setdefault(row.family, []).append(row)
    return {family: tuple(rows) for family, rows in found.items()}


def _near(wanted: str, names: Iterable[str], count: int = 4, least: float = 0.6) -> list[str]:
    """Names like `wanted`, best first; the beginning of a name is like it, too, since names are long."""
    matcher = SequenceMatcher(b=wanted, autojunk=False)
    scored = []
    for name in names:
        alike = 0.0
        for part in (name, name[: len(wanted)]):
            matcher.set_seq1(part)
            alike = max(alike, matcher.ratio())
        scored.append((alike, name))
    # A shorter name first among equals: it is the plain form.
    scored.sort(key=lambda pair: (-pair[0], len(pair[1])))
    return [name for alike, name in scored[:count] if alike >= least]


def row_for(name: str, extra_rows: tuple[VoicingRow, ...] = ()) -> VoicingRow:
    """The row of a name; a teacher's row comes before one of the table. Raises `VoicingError` listing near names."""
    index, wanted = _index(extra_rows), plain_name(name)
    if wanted in index:
        return index[wanted]
    for family, rows in families(extra_rows).items():
        if plain_name(family) == wanted:
            names = tuple(row.name for row in rows)
            raise VoicingError(f"{name!r} is a family; name one of its forms: {'; '.join(names)}", near=names)
    names = tuple(dict.fromkeys(index[found].name for found in _near(wanted, index)))
    meant = f"; near it are: {'; '.join(names)}" if names else "; write a name from the table, or degrees as in b7 3 13"
    raise VoicingError(f"{name!r} is no voicing of the table{meant}", near=names)


_LIKE_A_DEGREE: Final = re.compile(r"[(.·!]*(?:[b♭]{0,2}|[#♯]{0,2})\d.*|\|")
_A_WORD: Final = re.compile(r"[^\W\d_]{3,}")


def _written_as_degrees(text: str) -> bool:
    words = text.split()
    if not words or _LIKE_A_DEGREE.fullmatch(words[0]):
        return True
    alike = sum(_LIKE_A_DEGREE.fullmatch(word) is not None for word in words)
    return 2 * alike >= len(words) and not any(_A_WORD.search(word) for word in words)


@lru_cache(maxsize=4096)
def stacked(degrees: tuple[Degree, ...]) -> tuple[int, ...]:
    """Semitones of each degree over the bottom one, each at the next key above the one below it.

    >>> stacked(tuple(map(Degree.parse, "1 b7 3".split())))
    (0, 10, 16)
    """
    heights = [0]
    for lower, upper in zip(degrees, degrees[1:], strict=False):
        heights.append(heights[-1] + ((upper.pitch_class - lower.pitch_class) % 12 or 12))
    return tuple(heights)


def span(heights: tuple[int, ...], optional: frozenset[int], start: int = 0, stop: int | None = None) -> int:
    """Semitones that the notes from index `start` up to `stop` ask of one hand; optional notes ask nothing."""
    needed = [height for at, height in enumerate(heights[start:stop], start) if at not in optional]
    return needed[-1] - needed[0] if needed else 0


def fitting_split(
    heights: tuple[int, ...], reach_semitones: int, wanted: int, optional: frozenset[int] = frozenset()
) -> int | None:
    """How many notes from the bottom the left hand takes so that both hands reach theirs: `wanted` if that does, else
    the nearest count, the smaller first; None where no split does.

    >>> fitting_split((0, 7, 16, 23), 14, 3), fitting_split((0, 20, 40), 14, 1)
    (2, None)
    """
    for split in sorted(range(1, len(heights)), key=lambda count: (abs(count - wanted), count)):
        if max(span(heights, optional, 0, split), span(heights, optional, split)) <= reach_semitones:
            return split
    return None


def in_hand(form: Recipe, hand: str) -> Recipe:
    """A recipe in the hand that is wanted (``left``, ``right``, ``both``); two hands share it where they reach it
    best, one that says nothing leaves it as it is."""
    if hand == "both":
        if form.split is not None or len(form.degrees) == 1:
            return form
        half = (len(form.degrees) + 1) // 2
        split = fitting_split(stacked(form.degrees), 12, half, form.optional) or half
        return replace(form, hand="both", split=split)
    if hand == "left":
        return replace(form, hand="left", split=None)
    if hand == "right":
        return replace(form, hand="right", split=None)
    return form


def _without_root(degrees: tuple[Degree, ...]) -> bool:
    return all(degree.pitch_class != 0 for degree in degrees)


def _by_degrees(text: str, quality: Quality) -> Recipe:
    written = read_degrees(text)
    place = slots(quality)
    degrees = tuple(degree_of(token, place, as_written=True) for token in written.tokens)
    optional = frozenset(at for at, token in enumerate(written.tokens) if token.optional)
    heights = stacked(degrees)
    split = written.split
    if split is None and span(heights, optional) > ONE_HAND_SEMITONES:
        # Nobody said which hand plays what: the left takes half, and the odd one.
        half = (len(degrees) + 1) // 2
        split = fitting_split(heights, ONE_HAND_SEMITONES, half, optional) or half
    return Recipe(
        name=" ".join(text.split()),
        family=BY_DEGREES,
        degrees=degrees,
        optional=optional,
        hand="left" if split is None else "both",
        rootless=_without_root(degrees),
        source="as written",
        split=split,
    )


def _spelled(row: VoicingRow, written: Written, quality: Quality) -> Recipe:
    place = slots(quality)
    degrees = tuple(degree_of(token, place, as_written=False) for token in written.tokens)
    # A doubling that the row does not write is a sign that the form does not suit the chord: C6 has no 13 beside its 6.
    doubled = Counter(degree.pitch_class for degree in degrees)
    meant = Counter(token.text.strip("()!") for token in written.tokens)
    if sum(count - 1 for count in doubled.values()) > sum(count - 1 for count in meant.values()):
        raise VoicingError("two of its degrees would be the same key")
    return Recipe(
        name=row.name,
        family=row.family,
        degrees=degrees,
        optional=frozenset(at for at, token in enumerate(written.tokens) if token.optional),
        hand=row.hand,
        rootless=row.rootless or _without_root(degrees),
        source=row.source,
        other=row.other,
        split=written.split,
    )


def _suspended(quality: Quality) -> Quality:
    """An eleventh chord whose third is optional, as the suspended chord it is played as: C11 as C7sus4.

    Its plain 9 is every rootless form's own, so it is no tension that keeps the 13 out.
    """
    degrees = (degree for degree in quality.degrees if degree not in {NINTH, ELEVENTH} and degree.number != 3)
    return Quality((*degrees, Degree(4)), quality.optional - {Degree(3)})


_PLAYED_SUSPENDED: Final = frozenset({"three-note rootless", "four-note rootless"})


def _from_row(row: VoicingRow, quality: Quality) -> Recipe:
    if row.family in _PLAYED_SUSPENDED and Degree(3) in quality.optional and quality.colour == "7":
        suspended = _suspended(quality)
        if row.degrees_for(suspended.colour) is not None:
            quality = suspended
    text = row.degrees_for(quality.colour)
    if text is None:
        colours = ", ".join(colour for form, _ in row.forms for colour in form.split())
        raise VoicingError(
            f"{row.name!r} has no form for a chord of colour {quality.colour!r}; it has one for {colours}",
            other=row.other,
        )
    written = read_degrees(text)
    try:
        return _spelled(row, written, quality)
    except VoicingError as fault:
        shown = quality.text or "a major triad"
        raise VoicingError(f"{row.name!r} does not suit {shown}: {fault}", other=row.other) from None


_UNDER: Final = re.compile(r"(.+?)\s+under\s+(\S+)", re.IGNORECASE)


@lru_cache(maxsize=16384)
def recipe(voicing: str, quality: Quality, extra_rows: tuple[VoicingRow, ...] = ()) -> Recipe:
    """A voicing in one quality.

    `voicing` is a name of the table (or of a teacher's `extra_rows`), or degrees from the bottom note up, optional ones
    in brackets (``b7 3 5 (9)``), or either with a melody degree on top (``drop 2 under 9``, see `under`). Degrees are
    spelled as written; names follow the symbol's tensions. Raises `VoicingError`.

    >>> recipe("rootless from the third", Quality.of("1 b3 5 b7")).text
    'b3 5 b7 9'
    >>> recipe("b7 3 5 (9)", Quality.of("1 3 5 b7")).optional
    frozenset({3})
    """
    name = plain_name(voicing)
    if name not in _index(extra_rows):
        if (match := _UNDER.fullmatch(voicing.strip())) is not None:
            return under(match[1], quality, match[2], extra_rows)
        if _written_as_degrees(voicing):
            return _by_degrees(voicing, quality)
    return _from_row(row_for(voicing, extra_rows), quality)


def check_row(row: VoicingRow) -> None:
    """Whether a teacher's row can be read at all: a name, known colours, degrees. Raises `VoicingError`."""
    if not plain_name(row.name):
        raise VoicingError("a voicing needs a name")
    if _LIKE_A_DEGREE.fullmatch(row.name.split()[0]):
        raise VoicingError(f"{row.name!r} reads like degrees; a name begins with a word")
    if not row.forms:
        raise VoicingError(f"{row.name!r} has degrees for no colour of chord")
    for colours, degrees in row.forms:
        for colour in colours.split():
            if colour not in COLOURS:
                raise VoicingError(
                    f"{row.name!r}: {colour!r} is no colour of chord; the colours are {', '.join(COLOURS)}",
                    near=tuple(get_close_matches(colour, COLOURS)),
                )
        try:
            read_degrees(degrees)
        except VoicingError as fault:
            raise VoicingError(f"{row.name!r}: {fault}", at=fault.at) from None


@lru_cache(maxsize=1024)
def recipes_for(quality: Quality, extra_rows: tuple[VoicingRow, ...] = ()) -> tuple[Recipe, ...]:
    """The recipe of every row that suits a quality, in the order of the table."""
    found = []
    for row in _rows(extra_rows):
        try:
            found.append(_from_row(row, quality))
        except VoicingError:
            continue
    return tuple(found)


def names_for(quality: Quality, extra_rows: tuple[VoicingRow, ...] = ()) -> tuple[str, ...]:
    """Every name that has a recipe for a quality, in the order of the table."""
    return tuple(found.name for found in recipes_for(quality, extra_rows))


def _melody_degree(top: Degree | str) -> Degree:
    if isinstance(top, Degree):
        return top
    try:
        return Degree.parse(top)
    except PitchError as fault:
        raise VoicingError(f"the melody note must be a degree: {fault}") from None


def _candidates(voicing: str, quality: Quality, extra_rows: tuple[VoicingRow, ...]) -> list[Recipe]:
    wanted = plain_name(voicing)
    for family, rows in families(extra_rows).items():
        if plain_name(family) == wanted:
            found = [candidate for candidate in recipes_for(quality, extra_rows) if candidate.family == family]
            if not found:
                raise VoicingError(f"no form of {rows[0].family!r} suits {quality.text or 'a major triad'}")
            return found
    first = recipe(voicing, quality, extra_rows)
    return [first, *(other for other in recipes_for(quality, extra_rows) if other.family == first.family)]


@lru_cache(maxsize=4096)
def under(voicing: str, quality: Quality, top: Degree | str, extra_rows: tuple[VoicingRow, ...] = ()) -> Recipe:
    """A voicing with a given degree as its top note. Raises `VoicingError`.

    `voicing` is a family, a row's name or degrees. In this order: a form of the family that has the degree on top; for
    the four-way close family and its drops also the form with 9 for 1 or 13 for 5; the form turned until the degree
    is on top; else the form as it is in the left hand, and the melody above it in the right.

    >>> under("four-way close", Quality.of("1 3 5 7"), "5").text
    '7 1 3 5'
    >>> under("shell, root and seventh", Quality.of("1 b3 5 b7"), "9").text
    '1 b7 9'
    """
    melody = _melody_degree(top)
    forms = _candidates(voicing, quality, extra_rows)
    base = forms[0]
    name = f"{voicing.strip()} under {melody}"
    if base.family.split(" with ")[0] in _WITH_TENSIONS:
        stem = base.family.split(" with ")[0]
        forms += [form for form in recipes_for(quality, extra_rows) if form.family.split(" with ")[0] == stem]
    for form in forms:
        if form.degrees[-1].pitch_class == melody.pitch_class:
            return replace(form, name=name, degrees=(*form.degrees[:-1], melody), other=form.name)
    places = [degree.pitch_class for degree in base.degrees]
    if melody.pitch_class in places:
        turn = places.index(melody.pitch_class) + 1
        degrees = (*base.degrees[turn:], *base.degrees[: turn - 1], melody)
        optional = frozenset((at - turn) % len(degrees) for at in base.optional)
        return replace(base, name=name, degrees=degrees, optional=optional, other=base.name)
    return replace(
        base, name=name, degrees=(*base.degrees, melody), hand="both", split=len(base.degrees), other=base.name
    )


_WITH_TENSIONS: Final = frozenset({"four-way close", "drop 2", "drop 3", "drop 2 and 4"})

_TENSION_NAMES: Final = ("1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "b7", "7")


def melody_degree(quality: Quality, semitones: int) -> Degree:
    """How a key so many semitones above the root is spelled over a chord: a chord tone, else the usual tension.

    >>> melody_degree(Quality.of("1 b3 5 b7"), 3), melody_degree(Quality.of("1 3 5 b7"), 15)
    (Degree('b3'), Degree('#9'))
    """
    pitch_class = semitones % 12
    for degree in quality.degrees:
        if degree.pitch_class == pitch_class:
            return degree
    found = Degree.parse(_TENSION_NAMES[pitch_class])
    if found == THIRTEENTH and quality.colour == "dim7":
        return Degree(7, -2)
    return found


Side = Literal["above", "below"]


def approach_root(target: Note, side: Side) -> Note:
    """The root of the shell that resolves to `target` by half step; from above it is the tritone substitute's.

    >>> approach_root(Note.parse("C"), "above"), approach_root(Note.parse("Gb"), "above")
    (Note('Db'), Note('G'))
    """
    if side not in {"above", "below"}:
        raise VoicingError(f"an approach comes from above or below, not from {side!r}")
    return respelled(target + (Degree(2, -1) if side == "above" else Degree(7)))


def dominants_in_diminished(root: Note) -> tuple[Note, ...]:
    """Roots of the four dominants whose 3 5 b7 b9 is the diminished seventh on `root`: a half step under each tone.

    In the order in which `root` is their third, fifth, flat seventh and flat ninth.

    >>> [note.name for note in dominants_in_diminished(Note.parse("C"))]
    ['Ab', 'F', 'D', 'B']
    """
    return tuple(respelled(Note(root.fifths - Degree.parse(name).step)) for name in ("3", "5", "b7", "b9"))
