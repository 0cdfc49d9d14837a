"""What a chord may be voiced as: every form asked for in every octave that fits, and why the others do not.

Source of the left hand's register: "thumb between C4 and C5", university handout, and the bottom note not under D3,
common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final

from trainer.chords import Chord, Quality
from trainer.pitch import HIGHEST_PIANO_KEY, LOWEST_PIANO_KEY, Degree, MidiNote, Note, key_name
from trainer.voicings import (
    Limits,
    Placement,
    Recipe,
    Register,
    VoicingError,
    VoicingRow,
    alternatives,
    default_register,
    families,
    fitting_bounds,
    fitting_places,
    in_hand,
    melody_degree,
    place_under,
    plain_name,
    recipe,
    recipes_for,
    under,
)

DEFAULT_VOICINGS: Final = ("rootless from the third", "rootless from the seventh")
"""What a chord is voiced in where nothing else is asked for: the plain forms, no alteration that nobody wrote."""

FALLBACK_VOICINGS: Final = ("close triad", "power")
"""For a chord that has no form in any voicing asked for: a triad has no rootless form."""

MIDDLE_C: Final = MidiNote(60)
ROOTLESS_LOWEST: Final = MidiNote(50)
THUMB_HIGHEST: Final = MidiNote(72)
"""C5: the highest key of a left-hand voicing where the plan names no register."""


class LeadingError(ValueError):
    """Slots that cannot be led; `slot` is the index of the chord at fault (None: none of them), `refused` says why."""

    def __init__(self, message: str, slot: int | None = None, refused: tuple[Refusal, ...] = ()) -> None:
        super().__init__(message)
        self.slot = slot
        self.refused = refused


@dataclass(frozen=True, slots=True)
class Slot:
    """A chord to be voiced: under `melody_key` where there is one; in its own `voicings` where they are named; by its
    own `plan` where it has one (its centre apart, which is that of the whole)."""

    chord: Chord
    melody_key: MidiNote | None = None
    voicings: tuple[str, ...] = ()
    plan: Plan | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """How chords are to be voiced.

    `voicings`: families, names of forms, or degrees (``b7 3 13``), all of them candidates. `register`: where they may
    lie (None: the usual one of each kind, with `lowest`, `highest` and `limits` instead where they are given);
    `reach_semitones` replaces its reach. `inversions`: also every turn of a form. `centre`: the key around which
    `Weights.centre` gathers them. `hand`: left, right or both, "" for each form's own. `optional`: degrees that may be
    left out wherever they stand, beside each form's own. `top`: the degree on top. `bottom`: the very key at the
    bottom, wherever that lies.
    """

    voicings: tuple[str, ...] = DEFAULT_VOICINGS
    register: Register | None = None
    reach_semitones: int | None = None
    inversions: bool = False
    centre: MidiNote = MIDDLE_C
    extra_rows: tuple[VoicingRow, ...] = ()
    lowest: MidiNote | None = None
    highest: MidiNote | None = None
    limits: Limits = None
    hand: str = ""
    optional: tuple[Degree, ...] = ()
    top: Degree | None = None
    bottom: MidiNote | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A voicing that is no candidate, and why in one sentence; `keys` is empty where it was never placed."""

    name: str
    keys: tuple[MidiNote, ...]
    reason: str


class Candidates:
    """What a slot may be voiced as, in the order in which equal ones are preferred, and what was refused (looked for
    when it is asked for, since most paths are not asked why)."""

    def __init__(self, placements: tuple[Placement, ...], why: Callable[[], tuple[Refusal, ...]]) -> None:
        self.placements = placements
        self._why = why

    @cached_property
    def refused(self) -> tuple[Refusal, ...]:
        return self._why()


def _turned(found: Recipe) -> Iterable[Recipe]:
    """Every turn of a recipe, itself first."""
    yield found
    for turn in range(1, len(found.degrees)):
        degrees = (*found.degrees[turn:], *found.degrees[:turn])
        optional = frozenset((at - turn) % len(degrees) for at in found.optional)
        yield replace(found, name=f"{found.name}, from its {degrees[0]}", degrees=degrees, optional=optional)


def _recipes(names: Iterable[str], quality: Quality, plan: Plan) -> tuple[list[Recipe], list[Refusal]]:
    """The recipes of names and families in a quality, each set of degrees once; and the names that have none.

    Raises `LeadingError` for a name that no voicing has.
    """
    found: dict[tuple[Degree, ...], Recipe] = {}
    refused = []
    kinds = {plain_name(family): family for family in families(plan.extra_rows)}
    for name in names:
        family = kinds.get(plain_name(name))
        if family is not None:
            forms = [form for form in recipes_for(quality, plan.extra_rows) if form.family == family]
            if not forms:
                refused.append(Refusal(name, (), f"No form of {name} suits {quality.text or 'a major triad'}."))
        else:
            try:
                forms = [recipe(name, quality, plan.extra_rows)]
            except VoicingError as fault:
                if fault.near or not _known(name, plan):
                    raise LeadingError(str(fault)) from None
                forms = []
                refused.append(Refusal(name, (), _sentence(str(fault))))
        if plan.top is not None and forms:
            fitting = [form for form in forms if form.degrees[-1].pitch_class == plan.top.pitch_class]
            forms = fitting or [under(name, quality, plan.top, plan.extra_rows)]
        for form in forms:
            for turn in _turned(form) if plan.inversions else (form,):
                found.setdefault(turn.degrees, _as_planned(turn, plan))
    return list(found.values()), refused


def _as_planned(form: Recipe, plan: Plan) -> Recipe:
    """A form in the hand of the plan, with the plan's optional degrees."""
    if plan.optional:
        also = frozenset(at for at, degree in enumerate(form.degrees) if degree in plan.optional)
        # One note at least must be played.
        if len(form.optional | also) < len(form.degrees):
            form = replace(form, optional=form.optional | also)
    return in_hand(form, plan.hand) if plan.hand else form


def _known(name: str, plan: Plan) -> bool:
    """Whether a name is that of a row, so that its fault lies with the chord and not with the name."""
    return plain_name(name) in _row_names(plan.extra_rows)


@lru_cache(maxsize=64)
def _row_names(extra_rows: tuple[VoicingRow, ...]) -> frozenset[str]:
    return frozenset(plain_name(row.name) for rows in families(extra_rows).values() for row in rows)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _register(form: Recipe, plan: Plan, fallback: bool) -> Register:
    if plan.bottom is not None:
        # Where the bottom note is given, it lies where it lies.
        reach = plan.reach_semitones or default_register(form).reach_semitones
        return Register(plan.bottom, HIGHEST_PIANO_KEY, None, reach)
    if plan.register is not None:
        register = plan.register
    elif fallback:
        # A triad among rootless forms lies where they lie.
        register = Register(ROOTLESS_LOWEST, THUMB_HIGHEST)
    else:
        register = default_register(form)
        if form.hand == "left":
            # Placing alone leaves room above so that no root is without a place; a choice of forms does not need it.
            register = replace(register, highest=THUMB_HIGHEST)
    return register.within(plan.lowest, plan.highest, plan.reach_semitones, plan.limits)


@dataclass(frozen=True, slots=True)
class _Form:
    """A recipe in its register, and the lowest and highest bottom key with which it fits there."""

    recipe: Recipe
    register: Register
    bounds: tuple[int, int]


@lru_cache(maxsize=1024)
def _forms(quality: Quality, plan: Plan) -> tuple[tuple[_Form, ...], tuple[Refusal, ...]]:
    """The forms of a quality, and the names that have none; they are the same on every root."""
    found, refused = _recipes(plan.voicings, quality, plan)
    fallback = not found
    if fallback:
        found = _recipes(FALLBACK_VOICINGS, quality, plan)[0]
    forms = []
    for one in found:
        register = _register(one, plan, fallback)
        forms.append(_Form(one, register, fitting_bounds(one, register)))
    return tuple(forms), tuple(refused)


def _elsewhere(form: _Form, root: Note) -> list[Refusal]:
    """Every octave in which a form does not fit, and why."""
    tried = alternatives(form.recipe, root, form.register)
    return [Refusal(form.recipe.name, placement.keys, reason) for placement, fits, reason in tried if not fits]


def _beneath(
    form: Recipe,
    placed: list[Placement],
    root: Note,
    quality: Quality,
    melody_key: MidiNote,
    register: Register,
    plan: Plan,
) -> tuple[list[Placement], list[Refusal]]:
    """A form whose top note is the melody, and a left-hand form (`placed`) below a melody that the right hand plays."""
    fitting, refused = [], []
    try:
        under = place_under(
            form.name if _known(form.name, plan) else form.text,
            quality,
            root,
            melody_key,
            plan.extra_rows,
            limits=register.limits,
            reach_semitones=register.reach_semitones,
        )
    except VoicingError as fault:
        refused.append(Refusal(form.name, (), _sentence(str(fault))))
    else:
        if under.keys[0] < register.lowest:
            reason = f"Its bottom note {key_name(under.keys[0])} lies below {key_name(register.lowest)}."
            refused.append(Refusal(under.recipe.name, under.keys, reason))
        else:
            fitting.append(under)
    if form.hand != "left":
        return fitting, refused
    melody = melody_degree(quality, melody_key - root.pitch_class)
    for placement in placed:
        if placement.keys[-1] >= melody_key:
            reason = f"Its top note {key_name(placement.keys[-1])} is not below the melody's {key_name(melody_key)}."
            refused.append(Refusal(form.name, placement.keys, reason))
            continue
        both = replace(
            form,
            name=f"{form.name} under {melody}",
            degrees=(*form.degrees, melody),
            hand="both",
            split=len(form.degrees),
            other=form.name,
        )
        notes, keys = (*placement.notes, root + melody), (*placement.keys, melody_key)
        fitting.append(Placement(both, root, notes, keys, len(form.degrees)))
    return fitting, refused


_OPEN_DOMINANT: Final = "1 3 5 b7"
_ALTERED_IN_THE_MELODY: Final = ("b9", "#9", "#11", "b13")


def _with_melody(quality: Quality, root: Note, melody_key: MidiNote) -> Quality:
    """An open dominant takes on an altered tension in its melody, so that no 9 lies under a b9."""
    degree = melody_degree(quality, melody_key - root.pitch_class).name
    if quality.open and degree in _ALTERED_IN_THE_MELODY:
        return Quality.of(f"{_OPEN_DOMINANT} {degree}")
    return quality


@lru_cache(maxsize=4096)
def _candidates(root: Note, quality: Quality, melody_key: MidiNote | None, plan: Plan) -> Candidates:
    placements = _placed(root, quality, melody_key, plan)[0]
    return Candidates(placements, lambda: _placed(root, quality, melody_key, plan, telling=True)[1])


def _placed(
    root: Note, quality: Quality, melody_key: MidiNote | None, plan: Plan, *, telling: bool = False
) -> tuple[tuple[Placement, ...], tuple[Refusal, ...]]:
    """Every voicing, and where `telling` every refusal."""
    if melody_key is not None:
        quality = _with_melody(quality, root, melody_key)
    forms, unsuited = _forms(quality, plan)
    refused = list(unsuited)
    fitting: dict[tuple[MidiNote, ...], Placement] = {}
    for form in forms:
        placed = fitting_places(form.recipe, root, form.register, form.bounds)
        if melody_key is not None:
            placed, faults = _beneath(form.recipe, placed, root, quality, melody_key, form.register, plan)
            refused += faults
        if telling and (melody_key is None or form.recipe.hand == "left"):
            refused += _elsewhere(form, root)
        for placement in placed:
            if plan.bottom is None or placement.keys[0] == plan.bottom:
                fitting.setdefault(placement.keys, placement)
            else:
                reason = f"Its bottom note is {key_name(placement.keys[0])}, not {key_name(plan.bottom)}."
                refused.append(Refusal(form.recipe.name, placement.keys, reason))
    return tuple(fitting.values()), tuple(refused)


def candidates(slot: Slot, plan: Plan | None = None) -> Candidates:
    """Every voicing of a slot and every refusal, forms in the order asked for, each from low to high.

    Raises `LeadingError` for N.C., for a melody off the piano and for a voicing that nobody knows.

    >>> from trainer.chords import parse
    >>> [placement.keys for placement in candidates(Slot(parse("Dm7"))).placements]
    [(53, 57, 60, 64), (60, 64, 65, 69)]
    """
    plan = plan or Plan()
    if slot.chord.root is None:
        raise LeadingError("N.C. has no voicing")
    if slot.melody_key is not None and not LOWEST_PIANO_KEY <= slot.melody_key <= HIGHEST_PIANO_KEY:
        raise LeadingError(f"the melody key {slot.melody_key} is not on the piano")
    plan = slot.plan or plan
    if slot.voicings:
        plan = replace(plan, voicings=slot.voicings)
    return _candidates(slot.chord.root, slot.chord.quality, slot.melody_key, plan)
