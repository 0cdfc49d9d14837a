"""Figures over many passes: how often right and how well in time, by voicing, by move, by chord, by root.

Which slots count: those of whole and stopped passes at a piano (no scripted player, no computer keyboard, no pass that
lost its port), but not slots left out as they may be. *Right in time* is the verdict right; late ones are counted
apart. Errors are of every slot that was answered, right or wrong: a wrong chord on the beat was on the beat. They are
in ms, later than the beat above 0; the offset is their median with its 95 % interval (None under six), the scatter
as in `trainer.timing.answers`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from trainer.estimates import Middle, median_interval, wilson
from trainer.timing.answers import steadiness
from trainer.timing.records import PassRecord, SlotRecord


@dataclass(frozen=True, slots=True)
class InTimeFigures:
    """What became of some slots, and how they lay in time.

    `slots` counts those asked for; `share` of them were right in time, between `low` and `high` (95 %); all three are
    None where there are none. `timed` slots were answered; `offset` and `scatter_ms` are of their errors. `causes`
    counts the first causes of the wrong ones, the most frequent first.
    """

    slots: int = 0
    right: int = 0
    late: int = 0
    wrong: int = 0
    missed: int = 0
    share: float | None = None
    low: float | None = None
    high: float | None = None
    timed: int = 0
    offset: Middle | None = None
    scatter_ms: float | None = None
    causes: Mapping[str, int] = field(default_factory=dict)


def figures_in_time(slots: Iterable[SlotRecord]) -> InTimeFigures:
    """The figures of some slots.

    >>> figures_in_time([]).share is None
    True
    """
    asked = [slot for slot in slots if slot.verdict != "left out"]
    verdicts = Counter(slot.verdict for slot in asked)
    errors = [slot.error_ms for slot in asked if slot.error_ms is not None]
    interval = wilson(verdicts["right"], len(asked))
    causes = Counter(slot.cause for slot in asked if slot.verdict == "wrong" and slot.cause is not None)
    return InTimeFigures(
        slots=len(asked),
        right=verdicts["right"],
        late=verdicts["late"],
        wrong=verdicts["wrong"],
        missed=verdicts["missed"],
        share=verdicts["right"] / len(asked) if asked else None,
        low=None if interval is None else interval[0],
        high=None if interval is None else interval[1],
        timed=len(errors),
        offset=median_interval(errors),
        scatter_ms=steadiness(errors)[1],
        causes=dict(sorted(causes.items(), key=lambda pair: (-pair[1], pair[0]))),
    )


SLOT_GROUPINGS: Final[Mapping[str, Callable[[SlotRecord], str]]] = {
    "voicing": lambda slot: slot.voicing,
    "move": lambda slot: slot.move,
    "chord": lambda slot: slot.chord,
    "root": lambda slot: slot.root,
    "part": lambda slot: slot.part,
    "bar": lambda slot: str(slot.bar),
}
"""What slots can be grouped by."""


def in_time_by(passes: Iterable[PassRecord], by: str) -> dict[str, InTimeFigures]:
    """The figures of the slots of some passes under each value of a row of `SLOT_GROUPINGS`, in the order in which the
    values first come; slots without one (the first of a form has no move) under none. {} for no passes.

    Raises ValueError for any other name.

    >>> in_time_by([], "move")
    {}
    """
    if by not in SLOT_GROUPINGS:
        raise ValueError(f"slots are not grouped by {by!r}; they can be by {', '.join(SLOT_GROUPINGS)}")
    value = SLOT_GROUPINGS[by]
    groups: dict[str, list[SlotRecord]] = {}
    for slot in counted_slots(passes):
        name = value(slot)
        if name:
            groups.setdefault(name, []).append(slot)
    return {name: figures_in_time(slots) for name, slots in groups.items()}


def counted_slots(passes: Iterable[PassRecord]) -> list[SlotRecord]:
    """The slots that count; see the head of this module."""
    return [
        slot
        for record in passes
        if record.outcome in ("whole", "stopped") and record.stamp_origin not in ("script", "keyboard")
        for slot in record.slots
    ]
