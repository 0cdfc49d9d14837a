"""Placing: a recipe on a root, in a register, within a reach, above the low-interval limits.

Each degree is put at the next key above the one below it that has its pitch class, so a recipe leaves one choice:
the octave. The lowest octave that fits is taken, the same each time.

Sources: low-interval limits as arranging handbooks give them, from memory (handbooks differ by a tone or two; seconds
and the minor third are confirmed); "assume the root just below and check that interval, too": Lowell & Pullig,
Arranging for Large Jazz Ensemble (2003), ch. 1-4; registers: common practice (left-hand bottom not under D3, shells
from about C2 to G4, a thumb between C4 and C5).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations
from types import MappingProxyType
from typing import Final

from trainer.chords import Quality
from trainer.pitch import HIGHEST_PIANO_KEY, LOWEST_PIANO_KEY, MidiNote, Note, key_name
from trainer.voicings.degrees import VoicingError
from trainer.voicings.recipes import (
    BY_DEGREES,
    ONE_HAND_SEMITONES,
    Recipe,
    fitting_split,
    melody_degree,
    span,
    stacked,
    under,
)
from trainer.voicings.table import VoicingRow

LOW_INTERVAL_LIMITS: Final[Mapping[int, MidiNote]] = MappingProxyType(
    {
        1: MidiNote(52),  # m2 E3
        2: MidiNote(51),  # M2 Eb3
        3: MidiNote(48),  # m3 C3
        4: MidiNote(46),  # M3 Bb2
        5: MidiNote(46),  # P4 Bb2
        6: MidiNote(46),  # tritone Bb2
        7: MidiNote(34),  # P5 Bb1
        8: MidiNote(41),  # m6 F2
        9: MidiNote(41),  # M6 F2
        10: MidiNote(41),  # m7 F2
        11: MidiNote(41),  # M7 F2
        13: MidiNote(40),  # b9 E2
    }
)
"""Semitones of an interval -> the lowest key its lower note may be. Octaves and wider ones have none but the b9."""

INTERVAL_NAMES: Final = (
    "unison",
    "half step",
    "whole step",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "sixth",
    "seventh",
    "major seventh",
    "octave",
    "flat ninth",
    "ninth",
    "minor tenth",
    "tenth",
)


def _interval(semitones: int) -> str:
    return INTERVAL_NAMES[semitones] if semitones < len(INTERVAL_NAMES) else f"interval of {semitones} half steps"


def _an_interval(semitones: int) -> str:
    name = _interval(semitones)
    return f"an {name}" if name[0] in "iou" else f"a {name}"


Limits = bool | tuple[tuple[int, MidiNote], ...] | None
"""True: the usual low-interval limits; False: none; a table semitones -> lowest key; None: as the voicing's kind."""

_ROOM_SEMITONES: Final = 24
"""The room a register keeps when only one of its bounds is given and lies beyond the usual other one."""


@dataclass(frozen=True, slots=True)
class Register:
    """Where a voicing may lie: all of it from `lowest` to `highest`, inclusive.

    `limits` are low-interval limits (None: not checked), as `LOW_INTERVAL_LIMITS`. `reach_semitones` is the widest
    interval of one hand, optional notes apart. `assume_root` also checks the interval from the root just below a
    rootless voicing, where there are limits.
    """

    lowest: MidiNote
    highest: MidiNote
    limits: Mapping[int, int] | None = field(default=None, hash=False)
    reach_semitones: int = ONE_HAND_SEMITONES
    assume_root: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.lowest <= self.highest <= 127:
            raise VoicingError(
                f"a register goes from a lower to a higher key, not from {self.lowest} to {self.highest}"
            )
        if self.reach_semitones < 1:
            raise VoicingError(f"a reach of {self.reach_semitones} half steps holds no chord")

    @property
    def text(self) -> str:
        return f"{key_name(self.lowest)} to {key_name(self.highest)}"

    def within(
        self,
        lowest: MidiNote | None = None,
        highest: MidiNote | None = None,
        reach_semitones: int | None = None,
        limits: Limits = None,
    ) -> Register:
        """This register with some of it replaced.

        Where only one bound is given and passes the other, the other moves along with it. Raises `VoicingError` for a
        `lowest` above `highest`.
        """
        if highest is None and lowest is None:
            lowest, highest = self.lowest, self.highest
        elif highest is None and lowest is not None:
            highest = MidiNote(min(127, max(self.highest, lowest + _ROOM_SEMITONES)))
        elif lowest is None and highest is not None:
            lowest = MidiNote(max(0, min(self.lowest, highest - _ROOM_SEMITONES)))
        assert lowest is not None and highest is not None
        table = self.limits
        if isinstance(limits, tuple):
            table = MappingProxyType(dict(limits))
        elif limits is not None:
            table = LOW_INTERVAL_LIMITS if limits else None
        reach = self.reach_semitones if reach_semitones is None else reach_semitones
        return replace(self, lowest=lowest, highest=highest, limits=table, reach_semitones=reach)


def _register(lowest: int, highest: int, *, limits: bool = False) -> Register:
    return Register(MidiNote(lowest), MidiNote(highest), LOW_INTERVAL_LIMITS if limits else None)


# Each leaves room for the widest form in twelve keys, so the lowest place from `lowest` up is always there.
ROOTLESS: Final = _register(50, 84)
"""Left hand without the root: bottom note from D3 to Db4."""

WITH_ROOT: Final = _register(41, 84, limits=True)
"""Left hand, or both, with the root: bottom note from F2, low-interval limits on."""

RIGHT_HAND: Final = _register(60, 88)
"""Right hand: bottom note from C4."""

ROOTLESS_BOTH: Final = _register(50, 96)
WITH_ROOT_BOTH: Final = _register(41, 96, limits=True)

FAMILY_REGISTERS: Final[Mapping[str, Register]] = MappingProxyType(
    {
        # As the close position from C4 up leaves them when its voices are dropped.
        "drop 2": _register(55, 96),
        "drop 3": _register(52, 96),
        "drop 2 and 4": _register(48, 96, limits=True),
        "open triad": _register(48, 96, limits=True),
        # "Fourth voicings within an octave of middle C": a university handout.
        "quartal": _register(48, 96, limits=True),
    }
)
"""Default registers of families that do not go by hand and root alone."""


def default_register(recipe: Recipe) -> Register:
    """The register a recipe is placed in where a set gives none: by family, else by hand and root."""
    stem = recipe.family.split(" with ")[0]
    if stem in FAMILY_REGISTERS and recipe.hand == "both":
        return FAMILY_REGISTERS[stem]
    if recipe.hand == "right":
        return RIGHT_HAND
    # Where the root is written but not at the bottom ("b7 3 1"), the voicing lies as rootless ones do.
    rooted = recipe.degrees[0].pitch_class == 0 if recipe.family == BY_DEGREES else not recipe.rootless
    if recipe.hand == "both":
        return WITH_ROOT_BOTH if rooted else ROOTLESS_BOTH
    return WITH_ROOT if rooted else ROOTLESS


@dataclass(frozen=True, slots=True)
class Placement:
    """A recipe on a root: spelled `notes` and `keys`, bottom to top, one for one with the recipe's degrees.

    `split` counts the notes of the left hand; None where one hand plays all. It differs from the recipe's where the
    player's reach asks for another.
    """

    recipe: Recipe
    root: Note
    notes: tuple[Note, ...]
    keys: tuple[MidiNote, ...]
    split: int | None = None


def _heights(recipe: Recipe) -> tuple[int, ...]:
    return stacked(recipe.degrees)


def _at(recipe: Recipe, root: Note, bottom: int, split: int | None) -> Placement:
    notes = tuple(root + degree for degree in recipe.degrees)
    return Placement(recipe, root, notes, tuple(MidiNote(bottom + height) for height in _heights(recipe)), split)


def _too_low(keys: tuple[int, ...], limits: Mapping[int, int]) -> tuple[int, int] | None:
    """The lowest pair of keys whose interval lies under its limit."""
    for lower, upper in combinations(keys, 2):
        if lower < limits.get(upper - lower, 0):
            return lower, upper
    return None


def _fault(recipe: Recipe, root: Note, bottom: int, register: Register) -> str | None:
    """Why a bottom key is refused, as one sentence; None where it fits."""
    heights = _heights(recipe)
    keys = tuple(bottom + height for height in heights)
    # No octave helps a hand that is too small: said first.
    fault = reach_fault(recipe, register.reach_semitones)
    if fault is not None:
        return fault
    if bottom < register.lowest:
        return f"Its bottom note {key_name(MidiNote(bottom))} lies below {key_name(register.lowest)}."
    if keys[-1] > register.highest:
        return f"Its top note {key_name(MidiNote(min(keys[-1], 127)))} lies above {key_name(register.highest)}."
    if register.limits is None:
        return None
    pair = _too_low(keys, register.limits)
    if pair is not None:
        lower, upper = pair
        limit = register.limits[upper - lower]
        return (
            f"The {_interval(upper - lower)} on {key_name(MidiNote(lower))} sounds unclear "
            f"below {key_name(MidiNote(limit))}."
        )
    if register.assume_root and recipe.rootless and recipe.degrees[0].pitch_class != 0:
        below = bottom - recipe.degrees[0].pitch_class
        limit = register.limits.get(bottom - below, 0)
        if below < limit:
            return (
                f"With the root {key_name(MidiNote(below))} assumed just below, the {_interval(bottom - below)} "
                f"sounds unclear below {key_name(MidiNote(limit))}."
            )
    return None


def reach_fault(recipe: Recipe, reach_semitones: int) -> str | None:
    """Why the hands do not reach a recipe, as one sentence; None where they do."""
    heights = _heights(recipe)
    if recipe.split is None:
        width = span(heights, recipe.optional)
        if width <= reach_semitones:
            return None
        return (
            f"It spans {_an_interval(width)}, wider than a reach of {_an_interval(reach_semitones)}; "
            "split it between the hands or take a closer one."
        )
    if fitting_split(heights, reach_semitones, recipe.split, recipe.optional) is None:
        return f"However it is split, one hand has more to take than a reach of {_an_interval(reach_semitones)}."
    return None


def _split(recipe: Recipe, register: Register) -> int | None:
    if recipe.split is None:
        return None
    wanted = fitting_split(_heights(recipe), register.reach_semitones, recipe.split, recipe.optional)
    return wanted or recipe.split


def _bottoms(recipe: Recipe, root: Note, lowest: int = LOWEST_PIANO_KEY) -> range:
    """Every bottom key that keeps the whole recipe on the piano, ascending."""
    pitch_class = (root.pitch_class + recipe.degrees[0].pitch_class) % 12
    first = lowest + (pitch_class - lowest) % 12
    return range(first, HIGHEST_PIANO_KEY - _heights(recipe)[-1] + 1, 12)


def fitting_bounds(recipe: Recipe, register: Register) -> tuple[int, int]:
    """The lowest and the highest bottom key with which a recipe fits; none does where the first is the higher one.

    The root does not matter: bottom keys between them differ by what the recipe's own lowest degree allows.
    """
    heights = _heights(recipe)
    lowest: int = max(LOWEST_PIANO_KEY, register.lowest)
    highest = min(HIGHEST_PIANO_KEY, register.highest) - heights[-1]
    if reach_fault(recipe, register.reach_semitones) is not None:
        return lowest, lowest - 1
    if register.limits is not None:
        for lower, upper in combinations(heights, 2):
            lowest = max(lowest, register.limits.get(upper - lower, 0) - lower)
        above_root = recipe.degrees[0].pitch_class
        if register.assume_root and recipe.rootless and above_root:
            lowest = max(lowest, register.limits.get(above_root, 0) + above_root)
    return lowest, highest


def fitting_places(recipe: Recipe, root: Note, register: Register, bounds: tuple[int, int]) -> list[Placement]:
    """Every octave in which a recipe fits, ascending; `bounds` are its `fitting_bounds` in that register."""
    lowest, highest = bounds
    first = lowest + (root.pitch_class + recipe.degrees[0].pitch_class - lowest) % 12
    if first > highest:
        return []
    heights, split = _heights(recipe), _split(recipe, register)
    notes = tuple([root + degree for degree in recipe.degrees])
    return [
        Placement(recipe, root, notes, tuple([MidiNote(bottom + height) for height in heights]), split)
        for bottom in range(first, highest + 1, 12)
    ]


_FAR_ABOVE_SEMITONES: Final = 24
"""From here on a fitting place lies high above the chosen one."""


def alternatives(recipe: Recipe, root: Note, register: Register | None = None) -> list[tuple[Placement, bool, str]]:
    """Every octave of a recipe on the piano, ascending: placement, whether it fits, and why, in one sentence.

    The first that fits is the one `place` chooses. Where none does, each sentence offers the other form of the family.
    """
    chosen_register = default_register(recipe) if register is None else register
    found: list[tuple[Placement, bool, str]] = []
    chosen: Placement | None = None
    for bottom in _bottoms(recipe, root):
        placement = _at(recipe, root, bottom, _split(recipe, chosen_register))
        fault = _fault(recipe, root, bottom, chosen_register)
        if fault is None:
            if chosen is None:
                chosen = placement
                reason = f"Chosen: the lowest place from {key_name(chosen_register.lowest)} up where it fits."
            else:
                high = "lies high: " if bottom - chosen.keys[0] >= _FAR_ABOVE_SEMITONES else ""
                reason = f"Fits, too, but {high}{key_name(chosen.keys[0])} at the bottom is lower."
            found.append((placement, True, reason))
        else:
            found.append((placement, False, fault))
    if chosen is None and recipe.other:
        return [(placement, False, f"{why[:-1]}; its other form is {recipe.other!r}.") for placement, _, why in found]
    return found


def place(recipe: Recipe, root: Note, register: Register | None = None) -> Placement:
    """A recipe on a root in the lowest octave that fits; None stands for the default register of its kind.

    Raises `VoicingError` with the reason; its `other` is the name of the form to offer instead.

    >>> from trainer.voicings.recipes import recipe
    >>> place(recipe("rootless from the third", Quality.of("1 b3 5 b7")), Note.parse("C")).keys
    (51, 55, 58, 62)
    """
    chosen = default_register(recipe) if register is None else register
    for bottom in _bottoms(recipe, root, max(LOWEST_PIANO_KEY, chosen.lowest)):
        if _fault(recipe, root, bottom, chosen) is None:
            return _at(recipe, root, bottom, _split(recipe, chosen))
    raise VoicingError(_refusal(recipe, root, chosen), other=recipe.other)


def _refusal(recipe: Recipe, root: Note, register: Register) -> str:
    tried = alternatives(recipe, root, register)
    if not tried:
        return f"{recipe.name!r} on {root} is wider than the piano."
    # The octave nearest to the register tells most: its fault is the one that matters.
    middle = (register.lowest + register.highest) / 2
    nearest = min(tried, key=lambda entry: abs((entry[0].keys[0] + entry[0].keys[-1]) / 2 - middle))
    return f"{recipe.name!r} on {root} does not fit from {register.text}. {nearest[2]}"


def place_under(
    voicing: str,
    quality: Quality,
    root: Note,
    top_key: MidiNote,
    extra_rows: tuple[VoicingRow, ...] = (),
    *,
    limits: Mapping[int, int] | None = None,
    reach_semitones: int = ONE_HAND_SEMITONES,
) -> Placement:
    """A voicing under a melody: its top note is exactly `top_key`. Raises `VoicingError`.

    The key's degree is spelled over the chord (`melody_degree`), the form chosen as `under` chooses it.

    >>> place_under("four-way close", Quality.of("1 3 5 7"), Note.parse("C"), MidiNote(76)).keys
    (67, 71, 72, 76)
    """
    melody = melody_degree(quality, top_key - root.pitch_class)
    found = under(voicing, quality, melody, extra_rows)
    bottom = top_key - _heights(found)[-1]
    if not LOWEST_PIANO_KEY <= bottom <= top_key <= HIGHEST_PIANO_KEY:
        raise VoicingError(f"{found.name!r} on {root} under {key_name(top_key)} runs off the piano", other=found.other)
    register = Register(LOWEST_PIANO_KEY, HIGHEST_PIANO_KEY, limits, reach_semitones)
    fault = _fault(found, root, bottom, register)
    if fault is not None:
        raise VoicingError(
            f"{found.name!r} on {root} does not fit under {key_name(top_key)}: {fault}", other=found.other
        )
    return _at(found, root, bottom, _split(found, register))
