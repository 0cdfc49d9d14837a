"""Voice leading of a chart: its form as slots, and the cheapest path told bar by bar."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.charts.values import Chart, FormChord
from trainer.leading import LeadingError, Path, Plan, Slot, Weights, lead, path_text, path_values


@dataclass(frozen=True, slots=True)
class ChartPath:
    """A cheapest path through a chart: `chords[n]` is where the slot with number n begins."""

    chart: Chart
    chords: tuple[FormChord, ...]
    path: Path

    @property
    def labels(self) -> dict[int, str]:
        return {number: chord.label for number, chord in enumerate(self.chords)}


def slots_of(chart: Chart, *, melody: bool = True, pickup: bool = True) -> tuple[tuple[FormChord, ...], list[Slot]]:
    """The chords of the form as played and a slot for each; a chord that is only held on has none of its own.

    With `melody`, a chord is voiced under the note that the melody sounds when it comes in.
    """
    chords: list[FormChord] = []
    slots: list[Slot] = []
    for one in chart.unrolled(pickup=pickup):
        slot = Slot(one.chord, one.melody_key if melody else None)
        if slots and slots[-1] == slot:
            continue
        chords.append(one)
        slots.append(slot)
    return tuple(chords), slots


def lead_chart(
    chart: Chart,
    plan: Plan | None = None,
    weights: Weights | None = None,
    *,
    loop: bool = False,
    melody: bool = True,
) -> ChartPath:
    """The cheapest voicings of a whole chart, repeats and endings followed, under its melody where it has one.

    With `loop` the last chord leads into the first, and a pick-up, which does not come again, is left out. Raises
    `LeadingError` (it names the bar) and `ChartError`.
    """
    chords, slots = slots_of(chart, melody=melody, pickup=not loop)
    if loop and len(slots) > 1 and slots[0] == slots[-1]:
        # The form ends on the chord that it begins with: coming round, that chord is held on.
        chords, slots = chords[:-1], slots[:-1]
    try:
        path = lead(slots, plan, weights, loop=loop)
    except LeadingError as fault:
        if fault.slot is None:
            raise
        raise LeadingError(f"bar {chords[fault.slot].label}: {fault}", fault.slot, fault.refused) from None
    return ChartPath(chart, chords, path)


def lead_text(found: ChartPath, *, why: bool = False) -> str:
    """A heading and a line a chord, for the screen; `why` adds what else was possible and what was refused."""
    title = f"{found.chart.title}, in {found.chart.key}" if found.chart.title else f"In {found.chart.key}"
    return f"{title}\n{path_text(found.path, found.labels, why=why)}"


def lead_values(found: ChartPath) -> dict[str, object]:
    """The same as plain values for JSON."""
    return {"title": found.chart.title, "key": found.chart.key.name, **path_values(found.path, found.labels)}
