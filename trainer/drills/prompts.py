"""Drills as prompts: what is to be played, placed on its root, and what is shown of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

from trainer.chords import Chord
from trainer.drills.values import Drill, DrillSet, turns
from trainer.grading import Target
from trainer.pitch import Note
from trainer.voicings import place


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
    """A drill's voicing on a root, in the drill's register.

    `reach_semitones` is the player's own reach where the drill states none. Raises `VoicingError` where none fits.
    """
    register = drill.register
    if drill.reach_semitones is None and reach_semitones is not None:
        register = replace(register, reach_semitones=reach_semitones)
    return Target(Chord(root, drill.quality, None), place(drill.recipe, root, register), drill.passes, register.limits)


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
    """The prompts of a drill set, in order.

    `chance` serves random orders, `weakness` gives for each drill its roots from weak to strong, `reach_semitones` is
    the player's own reach where a drill states none. Raises `VoicingError` where a voicing cannot be placed.
    """
    placed: dict[tuple[int, Note], Target] = {}
    plan = []
    for index, root in turns(drill_set, chance, weakness):
        drill = drill_set.drills[index]
        if (index, root) not in placed:
            placed[index, root] = target_of(drill, root, reach_semitones)
        plan.append(task_of(drill, placed[index, root], drill_set.title, index))
    return tuple(plan)
