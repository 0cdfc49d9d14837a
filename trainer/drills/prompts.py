"""Drills as prompts: what is to be played, placed on its root, and what is shown of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from trainer.chords import Chord
from trainer.drills.values import Drill, DrillSet, register_of, turns
from trainer.grading import Target
from trainer.leading import motion
from trainer.pitch import Note, respelled
from trainer.voicings import Placement, Recipe, Register, alternatives, place


@dataclass(frozen=True, slots=True)
class Task:
    """One prompt of a plan: what to play, from which set and drill, how many tries, and what is shown of it.

    `hint` is one of `HINTS`, or ``sound``: the voicing is heard and only its root is named.
    """

    target: Target
    set_title: str = ""
    drill: int = 0
    tries: int = 3
    target_ms: float | None = None
    hint: str = "notes"


def target_of(drill: Drill, root: Note, reach_semitones: int | None = None) -> Target:
    """A drill's voicing on a root, in the drill's register; of a move, its first. See `targets_of`."""
    return targets_of(drill, root, reach_semitones)[0]


def targets_of(drill: Drill, root: Note, reach_semitones: int | None = None) -> tuple[Target, ...]:
    """What one turn of a drill on a root (of a move: in a key) asks for: its voicing, and each step after it, in order.

    `reach_semitones` is the player's own reach where the drill states none. The first voicing lies in the lowest octave
    that fits, of a move the lowest in which every step fits, too. Raises `VoicingError` where it cannot be placed.
    """
    first = respelled(root + drill.on)
    register = _register(drill, drill.recipe, reach_semitones)
    way = [place(drill.recipe, first, register)]
    if drill.then:
        starts = [each for each, fits, _ in alternatives(drill.recipe, first, register) if fits]
        ways = (_way(drill, root, start, reach_semitones, strict) for strict in (True, False) for start in starts)
        way = next((way for way in ways if way is not None), way)
    steps = ((step.quality, step.recipe) for step in drill.then)
    return tuple(
        Target(Chord(placed.root, quality, None), placed, drill.passes, _register(drill, form, reach_semitones).limits)
        for placed, (quality, form) in zip(way, ((drill.quality, drill.recipe), *steps), strict=True)
    )


def _register(drill: Drill, form: Recipe, reach_semitones: int | None) -> Register:
    reach = reach_semitones if drill.reach_semitones is None else drill.reach_semitones
    return register_of(form, drill.lowest, drill.highest, reach, drill.limits)


def _way(
    drill: Drill, root: Note, start: Placement, reach_semitones: int | None, strict: bool
) -> list[Placement] | None:
    """The placements of a move that begins with `start`; None where a step has no place.

    Where not `strict`, a step may lie outside its register, as long as the piano has its keys.
    """
    way = [start]
    for step in drill.then:
        register = _register(drill, step.recipe, reach_semitones)
        choices = alternatives(step.recipe, respelled(root + step.on), register)
        places = [each for each, fits, _ in choices if fits or not strict]
        if step.rise_semitones is not None:
            bottom = way[-1].keys[0] + step.rise_semitones
            exact = [each for each in places if each.keys[0] == bottom]
            places = exact if strict else exact or places
        if not places:
            return None
        before = way[-1].keys
        way.append(min(places, key=lambda each: motion(before, each.keys)))
    return way


def task_of(drill: Drill, target: Target, set_title: str, index: int, hint: str = "") -> Task:
    """The prompt for a drill's target; `hint` says what is shown where it is not what the drill says."""
    target_ms = None if drill.target_ms is None else float(drill.target_ms)
    return Task(target, set_title, index, drill.tries, target_ms, hint or drill.hint)


def tasks(
    drill_set: DrillSet,
    chance: Random,
    weakness: Sequence[Sequence[Note]] = (),
    reach_semitones: int | None = None,
) -> tuple[Task, ...]:
    """The prompts of a drill set, in order; those of a move follow each other.

    `chance` serves random orders, `weakness` gives for each drill its roots from weak to strong, `reach_semitones` is
    the player's own reach where a drill states none. Raises `VoicingError` where a voicing cannot be placed.
    """
    placed: dict[tuple[int, Note], tuple[Target, ...]] = {}
    plan = []
    for index, root in turns(drill_set, chance, weakness):
        drill = drill_set.drills[index]
        if (index, root) not in placed:
            placed[index, root] = targets_of(drill, root, reach_semitones)
        plan += [task_of(drill, target, drill_set.title, index) for target in placed[index, root]]
    return tuple(plan)
