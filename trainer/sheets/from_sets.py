"""Drill sets as sheets: one voicing a bar, all roots of a drill under one heading."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random
from typing import Final, Literal

from trainer.drills import Drill, DrillSet, targets_of, turns
from trainer.grading import Target
from trainer.pitch import TWELVE_ROOTS, Note, pretty
from trainer.sheets.musicxml import quality_text
from trainer.sheets.scores import WHOLE_QUARTERS, Bar, Block, Clef, Sheet, Sound, fitting_clef, writable
from trainer.voicings import Placement, Recipe, VoicingError
from trainer.voicings.recipes import BY_DEGREES

ClefWish = Literal["auto", "treble", "bass", "grand"]
CLEF_WISHES: Final[tuple[ClefWish, ...]] = ("auto", "treble", "bass", "grand")

_NONE: Final = Fraction(0)
FEW_BARS: Final = 4
MANY_BARS: Final = 6
"""Voicings on a line: four where there is one drill, six where there are more."""

_FEW: Final = 12
_FLAT: Final = re.compile(r"(?<![A-Za-z])b(?=b?[IV\d])")


class SheetError(ValueError):
    """What is asked for cannot be written out: one sentence, with the remedy."""


@dataclass(frozen=True, slots=True)
class Choices:
    """What whoever prints may choose."""

    clef: ClefWish = "auto"
    degrees: bool = True


def in_hands(placements: Iterable[Placement], wish: ClefWish) -> tuple[Clef, ...]:
    """The clefs under which placements stand: both where two hands play or where it is wished, else the fitting one."""
    found = list(placements)
    if wish == "grand" or (wish == "auto" and any(each.split is not None for each in found)):
        return ("treble", "bass")
    if wish != "auto":
        return (wish,)
    return (fitting_clef([sound_of(each, Choices()) for each in found]),)


def sound_of(
    placement: Placement,
    choices: Choices,
    start: Fraction = _NONE,
    quarters: Fraction = WHOLE_QUARTERS,
    fingers: tuple[int, ...] = (),
) -> Sound:
    """A voicing as one sound, optional degrees in brackets."""
    degrees = _degrees(placement.recipe) if choices.degrees else ()
    return Sound(start, quarters, tuple(map(writable, placement.notes)), placement.keys, degrees, fingers)


def _degrees(recipe: Recipe) -> tuple[str, ...]:
    shown = [pretty(degree.name) for degree in recipe.degrees]
    return tuple(f"({text})" if at in recipe.optional else text for at, text in enumerate(shown))


def part_of(sound: Sound, start: int, stop: int) -> Sound:
    """Some notes of a sound, counted from the bottom."""
    return Sound(
        sound.start,
        sound.quarters,
        sound.notes[start:stop],
        sound.keys[start:stop],
        sound.degrees[start:stop],
        sound.fingers[start:stop],
        sound.tied,
    )


def on_staves(sound: Sound, placement: Placement, clefs: Sequence[Clef]) -> tuple[Sound, ...]:
    """A voicing on the staves of the piano, from the top: each hand on its own where there are two."""
    if len(clefs) == 1:
        return (sound,)
    count = len(sound.notes)
    split = placement.split
    if split is None:
        split = 0 if placement.recipe.hand == "right" else count
    return part_of(sound, split, count), part_of(sound, 0, split)


def of_set(
    drill_set: DrillSet, choices: Choices | None = None, root: Note | None = None, *, all_roots: bool = False
) -> Sheet:
    """A set: a block for each drill, or where the set goes root by root, one in that order.

    With `root` only its voicings, with `all_roots` the twelve in the cycle of fourths whatever the set drills. Roots
    that the set leaves to chance stand in the cycle of fourths. Raises `SheetError` where a voicing has no place.
    """
    choices = choices or Choices()
    drills = drill_set.drills
    if root is None and not all_roots and drill_set.sequence == "root by root" and len(drills) > 1:
        return Sheet(drill_set.title, (_by_root(drill_set, choices),))
    if root is not None:
        asked = [one for drill in drills for one in _asked(drill, root)]
        return Sheet(drill_set.title, (_block(f"On {pretty(root.name)}", "", asked, choices, FEW_BARS),))
    blocks = []
    for drill in drills:
        asked = [one for each in (TWELVE_ROOTS if all_roots else drill.pool) for one in _asked(drill, each)]
        blocks.append(_block(_heading(drill), _detail(drill), asked, choices, 0))
    bars = sum(len(block.bars) for block in blocks)
    few = len(blocks) == 1 and bars <= _FEW
    return Sheet(
        drill_set.title,
        tuple(_in_lines(block, _line(1 + len(drill.then), few)) for block, drill in zip(blocks, drills, strict=True)),
    )


def _line(together: int, few: bool) -> int:
    """Voicings on a line, so that those which belong together stay so."""
    most = FEW_BARS if few else MANY_BARS
    return together * max(1, most // together) if together <= MANY_BARS else MANY_BARS


def _by_root(drill_set: DrillSet, choices: Choices) -> Block:
    drills = drill_set.drills
    order = turns(_fixed(drill_set), Random(0))
    asked = [one for index, root in order for one in _asked(drills[index], root)]
    together = sum(1 + len(drill.then) for drill in drills)
    detail = "; ".join(": ".join(filter(None, (_heading(drill), _detail(drill)))) for drill in drills)
    return _block("", detail, asked, choices, _line(together, few=False))


def _fixed(drill_set: DrillSet) -> DrillSet:
    """Each root once, in an order that no chance decides."""
    return replace(drill_set, drills=tuple(replace(drill, roots=drill.pool, rounds=1) for drill in drill_set.drills))


def _asked(drill: Drill, root: Note) -> list[tuple[Target, tuple[int, ...]]]:
    """What a drill asks on a root, a move's steps in order, each with its fingers: a step has none."""
    try:
        targets = targets_of(drill, root)
    except VoicingError as error:
        raise SheetError(str(error)) from None
    return [(target, () if at else drill.fingers) for at, target in enumerate(targets)]


def _heading(drill: Drill) -> str:
    """The quality and the voicing's name, of a move each."""
    steps = [(drill.quality, drill.recipe, drill.voicing)]
    steps += [(step.quality, step.recipe, step.voicing) for step in drill.then]
    return " – ".join(
        f"{quality_text(quality)}, {_written(recipe) if recipe.family == BY_DEGREES else _name(voicing)}"
        for quality, recipe, voicing in steps
    )


def _name(voicing: str) -> str:
    """A voicing's name with the musical signs.

    >>> _name("upper-structure triad, bVI"), _name("b9 on a bend")
    ('upper-structure triad, ♭VI', '♭9 on a bend')
    """
    return _FLAT.sub("♭", voicing).replace("#", "♯")


def _detail(drill: Drill) -> str:
    """The degrees from the bottom up, of a move those of each step, where the heading does not say them."""
    recipes = [drill.recipe, *(step.recipe for step in drill.then)]
    if all(recipe.family == BY_DEGREES for recipe in recipes):
        return ""
    return " – ".join(map(_written, recipes))


def _written(recipe: Recipe) -> str:
    shown = list(_degrees(recipe))
    if recipe.split is not None:
        shown.insert(recipe.split, "|")
    return " ".join(shown)


def _block(
    heading: str, detail: str, asked: Sequence[tuple[Target, tuple[int, ...]]], choices: Choices, line: int
) -> Block:
    clefs = in_hands([target.placement for target, _ in asked], choices.clef)
    bars = []
    for target, fingers in asked:
        sound = sound_of(target.placement, choices, fingers=fingers)
        staves = tuple((each,) for each in on_staves(sound, target.placement, clefs))
        bars.append(Bar(staves, ((sound.start, target.chord),)))
    block = Block(heading, clefs, tuple(bars), detail)
    return _in_lines(block, line) if line else block


def _in_lines(block: Block, line: int) -> Block:
    bars = tuple(replace(bar, starts_line=at > 0 and at % line == 0) for at, bar in enumerate(block.bars))
    return replace(block, bars=bars)
