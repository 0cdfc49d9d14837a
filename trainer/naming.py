"""Held keys named: as degrees of a chord, as a voicing of the table, and as the chords they may be.

    name(keys, chord)                    each key as a degree of the chord, the voicings it belongs to, a drill's row
    readings(keys, previous, bass)       every chord the keys may be, likely ones first, and what would decide

One set of keys has many names: rootless Dm9 is Fmaj7, rootless G13 is D flat 7 altered. `readings` says them all; the
order among them is a judgement by points (`_points`): a voicing spaced as the table has it, the root at the bottom, a
bass note given, a root that the chord before leads to, a chord that is met often.

Keys are MIDI numbers. Sources: common practice; the identities are those of the set classes in the tests.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from trainer.chords import Chord, Quality, parse_quality
from trainer.grading import degrees_in, pretty_symbol
from trainer.pitch import TWELVE_ROOTS, Degree, MidiNote, Note, key_name, mask_of, note_label, pretty
from trainer.voicings import Recipe, VoicingError, VoicingRow, all_rows, recipe, recipes_for, stacked


class NamingError(ValueError):
    """Keys that cannot be named: none held, or a chord symbol without a root. `str()` is one sentence."""


@dataclass(frozen=True, slots=True)
class NamedKey:
    """One key: its number, plain name with octave, spelled note, and degree of the chord."""

    key: int
    key_name: str
    note: str
    degree: str


@dataclass(frozen=True, slots=True)
class Fit:
    """A voicing of the table that the keys are, or nearly are.

    `spacing`: ``as written`` (the keys are the recipe, bottom to top), ``wider`` (in its order, opened up), ``turned``
    (the same notes in another order) or ``near`` (`missing` degrees are not held, `extra` ones are).
    """

    voicing: str
    family: str
    degrees: str
    spacing: str
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Naming:
    """Keys as a voicing of one chord.

    `missing` are chord tones that are not held, `extra` degrees held that the symbol does not name. `drill` is the row
    for a drill set (TOML); `closed_up` says that its degrees, stacked, lie closer than the keys.
    """

    symbol: str
    keys: tuple[NamedKey, ...]
    fits: tuple[Fit, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    drill: str
    closed_up: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One chord that the keys may be; `points` order the readings of one call and mean nothing between calls.

    `degrees` and `notes` are one for one with the keys, ascending. `voicing` is None where the whole chord is held in
    no voicing of the table; `also` are further voicings of the same chord that fit. `missing` are named tones that are
    not held (the root of a rootless voicing among them), `extra` degrees are no part of it. `decided_by` is what would
    decide for this reading.
    """

    symbol: str
    chord: Chord
    voicing: str | None
    family: str | None
    also: tuple[str, ...]
    degrees: tuple[str, ...]
    notes: tuple[str, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    rootless: bool
    decided_by: tuple[str, ...]
    points: float
    sentence: str


# -- as a voicing of a given chord

_SPACINGS: Final = ("as written", "wider", "turned", "near")
_NEAR_FITS: Final = 3


def name(keys: Iterable[int], chord: Chord, rows: tuple[VoicingRow, ...] = ()) -> Naming:
    """Keys as degrees of a chord, and the voicings of the table (and of a teacher's `rows`) they belong to.

    Raises `NamingError` where no key is held or the chord has no root.

    >>> from trainer.chords import parse
    >>> named = name([51, 55, 58, 62], parse("Cm7"))
    >>> [key.degree for key in named.keys], named.fits[0].voicing
    (['b3', '5', 'b7', '9'], 'rootless from the third')
    """
    held = _held(keys)
    if chord.root is None:
        raise NamingError("N.C. has no root, so keys have no degrees on it")
    root = chord.root
    fits = _fits(held, root, chord.quality, rows)
    names = degrees_in(chord.quality)
    best = fits[0] if fits and fits[0].spacing in _SPACINGS[:2] else None
    if best is not None:
        spelled = tuple(map(Degree.parse, best.degrees.split()))
        degrees = [next(d for d in spelled if d.pitch_class == (key - root.pitch_class) % 12) for key in held]
    else:
        degrees = [names[(key - root.pitch_class) % 12] for key in held]
    places = {degree.pitch_class for degree in degrees}
    named_places = {degree.pitch_class for degree in chord.degrees}
    missing = tuple(
        degree.name for degree in chord.degrees
        if degree.pitch_class not in places and degree not in chord.quality.optional
    )  # fmt: skip
    extra = tuple(dict.fromkeys(degree.name for degree in degrees if degree.pitch_class not in named_places))
    exact = bool(fits) and fits[0].spacing == "as written"
    closed_up = not exact and list(stacked(tuple(degrees))) != [key - held[0] for key in held]
    voicing = fits[0].voicing if exact else " ".join(degree.name for degree in degrees)
    drill = f'[[drill]]\nchord = "{chord.quality.text or "maj"}"\nvoicing = "{voicing}"\n'
    return Naming(
        symbol=chord.symbol,
        keys=tuple(
            NamedKey(key, key_name(key), (root + degree).name, degree.name)
            for key, degree in zip(held, degrees, strict=True)
        ),
        fits=fits,
        missing=missing,
        extra=extra,
        drill=drill,
        closed_up=closed_up,
        sentence=_naming_sentence(chord, degrees, fits, missing),
    )


def _held(keys: Iterable[int]) -> tuple[MidiNote, ...]:
    held = sorted(set(keys))
    if not held:
        raise NamingError("no key is held, so there is nothing to name")
    if held[0] < 0 or held[-1] > 127:
        raise NamingError(f"{held[0] if held[0] < 0 else held[-1]} is no MIDI key; keys are 0 to 127")
    return tuple(map(MidiNote, held))


def _fits(held: Sequence[MidiNote], root: Note, quality: Quality, rows: tuple[VoicingRow, ...]) -> tuple[Fit, ...]:
    """The voicings of a chord that the keys are, the closest first; near ones only where there is no other."""
    relative = tuple([(key - root.pitch_class) % 12 for key in held])
    heights = tuple([key - held[0] for key in held])
    names = degrees_in(quality)
    sure: list[Fit] = []
    near: list[tuple[int, Fit]] = []
    for form in recipes_for(quality, rows):
        spacing = _spacing(form, relative, heights)
        if spacing is not None:
            sure.append(Fit(form.name, form.family, _text(form.degrees), spacing))
            continue
        places = {degree.pitch_class for degree in form.degrees}
        gone = tuple(degree.name for degree in form.degrees if degree.pitch_class not in relative)
        more = tuple(dict.fromkeys(names[place].name for place in relative if place not in places))
        if len(gone) + len(more) == 1 or len(gone) == len(more) == 1 and len(places) > 2:
            near.append((len(gone) + len(more), Fit(form.name, form.family, _text(form.degrees), "near", gone, more)))
    if sure:
        return tuple(sorted(sure, key=lambda fit: _SPACINGS.index(fit.spacing)))
    return tuple(fit for _, fit in sorted(near, key=lambda entry: entry[0])[:_NEAR_FITS])


def _text(degrees: Sequence[Degree]) -> str:
    return " ".join([degree.name for degree in degrees])


def _spacing(form: Recipe, relative: tuple[int, ...], heights: tuple[int, ...]) -> str | None:
    """How keys are spaced that have the notes of a recipe; None where they have others."""
    places = tuple([degree.pitch_class for degree in form.degrees])
    if mask_of(relative) != mask_of(places):
        return None
    return _spacing_of(places, stacked(form.degrees), relative, heights)


def _spacing_of(
    places: tuple[int, ...], form_heights: tuple[int, ...], relative: tuple[int, ...], heights: tuple[int, ...]
) -> str:
    if places == relative:
        return "as written" if form_heights == heights else "wider"
    return "turned"


def _naming_sentence(chord: Chord, degrees: Sequence[Degree], fits: tuple[Fit, ...], missing: tuple[str, ...]) -> str:
    symbol = pretty_symbol(chord.symbol)
    shown = pretty_degrees(degrees)
    if not fits:
        lacks = f"; {_list(missing)} {'is' if len(missing) == 1 else 'are'} missing" if missing else ""
        return f"On {symbol} these keys are {shown}, in no voicing of the table{lacks}."
    best = fits[0]
    if best.spacing == "near":
        faults = [f"without its {_list(best.missing)}"] if best.missing else []
        faults += [f"with {_list(best.extra)} besides"] if best.extra else []
        return f"On {symbol} these keys are {shown}: near {best.voicing}, {' and '.join(faults)}."
    manner = {"as written": "", "wider": ", opened up", "turned": ", in another order"}[best.spacing]
    others = [fit.voicing for fit in fits[1:] if fit.spacing == best.spacing]
    also = f"; also {' or '.join(others)}" if others else ""
    return f"On {symbol} these keys are {shown}: {best.voicing}{manner}{also}."


def pretty_degrees(degrees: Sequence[Degree]) -> str:
    return " ".join([pretty(degree.name) for degree in degrees])


def _list(names: Sequence[str]) -> str:
    shown = [pretty(text) for text in names]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


# -- as any chord

_MOST_READINGS: Final = 10

_QUALITIES: Final = (
    ("maj7", 1.0), ("7", 1.0), ("m7", 1.0), ("maj9", 0.8), ("9", 0.8), ("m9", 0.8), ("13", 0.8), ("6", 0.8),
    ("6/9", 0.7), ("m7b5", 0.8), ("dim7", 0.8), ("7alt", 0.6), ("7(b9)", 0.7), ("7(#9)", 0.6), ("7(b13)", 0.4),
    ("7(#11)", 0.5), ("9(#11)", 0.4), ("13(#11)", 0.4), ("13(b9)", 0.6), ("7#5", 0.5), ("9#5", 0.3), ("7b5", 0.3),
    ("m11", 0.6), ("m13", 0.4), ("maj13", 0.5), ("maj7(#11)", 0.5), ("maj9(#11)", 0.4), ("maj7#5", 0.4), ("m6", 0.7),
    ("m6/9", 0.6), ("mMaj7", 0.5), ("mMaj9", 0.4), ("m7b5(9)", 0.3), ("m7b5(11)", 0.4), ("7sus4", 0.7),
    ("9sus4", 0.7), ("13sus4", 0.6), ("", 1.0), ("m", 1.0), ("dim", 0.7), ("aug", 0.7), ("sus4", 0.6), ("sus2", 0.4),
    ("5", 0.5), ("add9", 0.5), ("madd9", 0.4),
)  # fmt: skip
"""Qualities that readings are sought among, and how often they are met (a judgement)."""

_SPACING_POINTS: Final = {"as written": 2.0, "wider": 1.2, "turned": 0.4}
_FAMILY_POINTS: Final = {"shell": 0.4, "four-note rootless": 0.5, "three-note rootless": 0.3, "guide tones": 0.2}


@dataclass(frozen=True, slots=True)
class _Known:
    """A quality on no root: its tones as places over the root, and those that a plain chord must have."""

    index: int
    quality: Quality
    often: float
    places: int
    needed: int


@lru_cache(maxsize=1)
def _known() -> tuple[_Known, ...]:
    known = []
    for index, (text, often) in enumerate(_QUALITIES):
        quality = parse_quality(text)
        places = mask_of(degree.pitch_class for degree in quality.degrees)
        needed = mask_of(degree.pitch_class for degree in quality.degrees if degree not in quality.optional)
        if quality.seventh is not None and quality.fifth == Degree(5):
            needed &= ~(1 << 7)  # a plain fifth may be missing from a seventh chord
        known.append(_Known(index, quality, often, places, needed))
    return tuple(known)


_Form = tuple[Recipe, tuple[int, ...], tuple[int, ...]]
"""A recipe, its degrees as semitones over the root (0-11), and its heights over its bottom note."""


@lru_cache(maxsize=256)
def _rows_with(colour: str, count: int) -> tuple[str, ...]:
    """The rows that have a form of so many different notes for a colour. An approach shell is a shell by use only."""
    found = []
    for row in all_rows():
        text = row.degrees_for(colour) if row.family != "approach shell" else None
        if text is not None and len({token.strip("()!") for token in text.split()} - {"|"}) == count:
            found.append(row.name)
    return tuple(found)


@lru_cache(maxsize=1024)
def _forms(index: int, count: int) -> dict[int, tuple[_Form, ...]]:
    """The voicings of a quality of `_QUALITIES` with so many different notes, by their set of places over the root."""
    quality = _known()[index].quality
    found: dict[int, list[_Form]] = {}
    for row_name in _rows_with(quality.colour, count):
        try:
            form = recipe(row_name, quality)
        except VoicingError:
            continue
        places = tuple([degree.pitch_class for degree in form.degrees])
        found.setdefault(mask_of(places), []).append((form, places, stacked(form.degrees)))
    return {places: tuple(forms) for places, forms in found.items()}


def readings(keys: Iterable[int], previous: Chord | None = None, bass: MidiNote | None = None) -> tuple[Reading, ...]:
    """The chords that keys may be, likely ones first: voicings of the table on every root, and whole chords.

    `previous` is the chord before, `bass` a note that sounds below (someone else's, or the player's other hand); both
    only change the order. One reading for each root and kind of chord. Where the keys are no chord, those of all keys
    but one, which is `extra`. Empty where that gives nothing, too. Raises `NamingError` where no key is held.

    >>> [reading.symbol for reading in readings([53, 57, 60, 64])][:2]
    ['Fmaj7', 'Dm9']
    """
    held = _held(keys)
    found = _readings(held, previous, bass)
    if not found and len(held) > 3:
        for key in held:
            rest = _readings(tuple([other for other in held if other != key]), previous, bass)
            for kind, reading in rest.items():
                besides = _besides(reading, held, key)
                if kind not in found or besides.points > found[kind].points:
                    found[kind] = besides
    ranked = sorted(found.values(), key=lambda reading: (-reading.points, reading.symbol))
    return tuple(ranked[:_MOST_READINGS])


def _readings(
    held: tuple[MidiNote, ...], previous: Chord | None, bass: MidiNote | None
) -> dict[tuple[Note, str], Reading]:
    """The best reading for each root and colour."""
    found: dict[tuple[Note, str], Reading] = {}
    for root in TWELVE_ROOTS:
        relative = tuple([(key - root.pitch_class) % 12 for key in held])
        places = mask_of(relative)
        for known in _known():
            if not places & ~known.places:
                reading = _reading(held, relative, root, known, previous, bass)
                if reading is not None:
                    kind = (root, known.quality.colour)
                    if kind not in found or reading.points > found[kind].points:
                        found[kind] = reading
    return found


def _besides(reading: Reading, held: tuple[MidiNote, ...], key: MidiNote) -> Reading:
    """A reading of all keys but one, as a reading of all."""
    root = reading.chord.root
    assert root is not None
    degree = degrees_in(reading.chord.quality)[(key - root.pitch_class) % 12]
    at = held.index(key)
    return replace(
        reading,
        degrees=(*reading.degrees[:at], degree.name, *reading.degrees[at:]),
        notes=(*reading.notes[:at], (root + degree).name, *reading.notes[at:]),
        extra=(degree.name,),
        points=round(reading.points - 2.0, 2),
        sentence=f"{reading.sentence} {note_label(root + degree)}, the {pretty(degree.name)}, is no part of it.",
    )


def _reading(
    held: tuple[MidiNote, ...],
    relative: tuple[int, ...],
    root: Note,
    known: _Known,
    previous: Chord | None,
    bass: MidiNote | None,
) -> Reading | None:
    """One quality on one root as a reading; None where the keys are neither a voicing of it nor the whole chord."""
    quality, places = known.quality, mask_of(relative)
    heights = tuple([key - held[0] for key in held])
    forms = _forms(known.index, places.bit_count()).get(places, ())
    fits = [(form, _spacing_of(at, form_heights, relative, heights)) for form, at, form_heights in forms]
    fits.sort(key=lambda fit: -_SPACING_POINTS[fit[1]] - _FAMILY_POINTS.get(fit[0].family, 0.0))
    if known.needed & ~places and not fits:
        return None
    form, spacing = fits[0] if fits else (None, None)
    names = degrees_in(quality, form.degrees if form is not None else ())
    degrees = [names[place] for place in relative]
    missing = tuple([d.name for d in quality.degrees if not places >> d.pitch_class & 1 and d not in quality.optional])
    rootless = not places & 1
    leads = _leads(previous, root, quality)
    points = known.often + leads + _bass_points(bass, root)
    points += (_SPACING_POINTS[spacing] + _FAMILY_POINTS.get(form.family, 0.0)) if form and spacing else 0.5
    points += 2.0 if relative[0] == 0 else 0.3 if not rootless else 0.0
    points -= sum([0.15 if text in ("1", "5") else 0.5 for text in missing])
    on_bass = None
    if bass is not None and bass % 12 != root.pitch_class:
        on_bass = root + names[(bass - root.pitch_class) % 12]
    chord = Chord(root, quality, on_bass)
    decided_by = tuple(_deciders(root, quality, rootless or relative[0] != 0))
    also = tuple([other.name for other, other_spacing in fits[1:] if other_spacing == spacing])
    said = f"{form.name}{_MANNER[spacing]}" if form and spacing else "the whole chord, in no voicing of the table"
    return Reading(
        symbol=chord.symbol,
        chord=chord,
        voicing=form.name if form is not None else None,
        family=form.family if form is not None else None,
        also=also,
        degrees=tuple([degree.name for degree in degrees]),
        notes=tuple([(root + degree).name for degree in degrees]),
        missing=missing,
        extra=(),
        rootless=rootless,
        decided_by=decided_by,
        points=round(points, 2),
        sentence=_reading_sentence(chord, said, degrees, rootless, decided_by, previous if leads > 0 else None, bass),
    )


_MANNER: Final = {"as written": "", "wider": ", opened up", "turned": ", in another order"}


def _bass_points(bass: MidiNote | None, root: Note) -> float:
    return 0.0 if bass is None else 4.0 if bass % 12 == root.pitch_class else -1.5


def _is_dominant(quality: Quality) -> bool:
    return quality.colour in ("7", "alt", "sus")


def _leads(previous: Chord | None, root: Note, quality: Quality) -> float:
    """How strongly the chord before leads to a root: a fifth down, a half step down, or none."""
    if previous is None or previous.root is None:
        return 0.0
    down = (previous.root.pitch_class - root.pitch_class) % 12
    if down == 7:  # A7 to Dm7, Dm7 to G7
        usual = _is_dominant(previous.quality) or _is_dominant(quality) and previous.quality.third == Degree(3, -1)
        return 2.5 if usual else 1.5
    if down == 1:  # the tritone substitute: Db7 to C
        return 2.0 if _is_dominant(previous.quality) or _is_dominant(quality) else 0.5
    return 0.3 if down == 0 else 0.0


def _deciders(root: Note, quality: Quality, needs_bass: bool) -> Iterator[str]:
    """What would decide for a reading: its root in the bass, a chord before that leads to it."""
    if needs_bass:
        yield f"{note_label(root)} in the bass"
    fifth_above = (root + Degree(5)).plain()
    if not _is_dominant(quality):
        yield f"{pretty(fifth_above.name)}7 before it"
    elif quality.colour == "alt" or any(degree.name in ("b9", "b13") for degree in quality.degrees):
        yield f"{pretty(fifth_above.name)}m7♭5 before it"
    else:
        yield f"{pretty(fifth_above.name)}m7 before it"


def _reading_sentence(
    chord: Chord,
    said: str,
    degrees: Sequence[Degree],
    rootless: bool,
    decided_by: tuple[str, ...],
    previous: Chord | None,
    bass: MidiNote | None,
) -> str:
    assert chord.root is not None
    symbol = pretty_symbol(chord.symbol)
    bass_is_root = bass is not None and bass % 12 == chord.root.pitch_class
    without = " without its root" if rootless and not bass_is_root else ""
    parts = [f"{symbol}{without}: {said} ({pretty_degrees(degrees)})."]
    if bass_is_root:
        parts.append(f"The {note_label(chord.root)} in the bass speaks for it.")
    if previous is not None:
        parts.append(f"{pretty_symbol(previous.symbol)} before it leads there.")
    if not bass_is_root and previous is None:
        parts.append(f"{_capital(' or '.join(decided_by))} would decide for it.")
    return " ".join(parts)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
