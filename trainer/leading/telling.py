"""A path told: as a table for the screen, and as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from trainer.leading.choices import Refusal
from trainer.leading.paths import Path, Station
from trainer.pitch import Degree, pretty, spelled_key


def number_text(value: float) -> str:
    """A cost without needless decimals: 6.0 -> ``6``, 2.5 -> ``2.5``."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _outside(refusal: Refusal) -> bool:
    """Whether a refusal is only that of another octave, which needs no telling."""
    return bool(refusal.keys) and any(words in refusal.reason for words in (" lies below ", " lies above "))


def path_rows(path: Path, labels: Mapping[int, str] | None = None) -> list[tuple[str, str, str, str, str, str]]:
    """One row a station: label, chord, degrees, keys, voicing, what the move into it costs."""
    rows = []
    for station in path.stations:
        placement = station.placement
        label = (labels or {}).get(station.number, str(station.number + 1))
        cost = "" if station.move is None else number_text(station.move.cost)
        spelled = zip(placement.notes, placement.keys, strict=True)
        keys = " ".join(pretty(spelled_key(note, key)) for note, key in spelled)
        degrees = pretty_degrees(placement.recipe.degrees)
        rows.append((label, station.slot.chord.symbol, degrees, keys, placement.recipe.name, cost))
    return rows


def pretty_degrees(degrees: Iterable[Degree]) -> str:
    """Degrees with musical signs, bottom to top: ``♭3 5 ♭7 9``."""
    return " ".join(pretty(degree.name) for degree in degrees)


def path_text(path: Path, labels: Mapping[int, str] | None = None, *, why: bool = False) -> str:
    """A path as a table for the screen; `labels` name slots by index (bar numbers).

    With `why`, what else was possible for each chord and how much dearer it would make the whole, and what was refused.
    """
    head = ("", "chord", "degrees", "keys", "voicing", "move")
    rows = [head, *path_rows(path, labels)]
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    lines = []
    for at, row in enumerate(rows):
        cells = [cell.ljust(width) for cell, width in zip(row[:5], widths, strict=True)]
        paid = _paid(path.stations[at - 1]) if at else ""
        lines.append("  ".join([*cells, row[5].rjust(4), paid]).rstrip())
        if why and at:
            lines += _why(path.stations[at - 1])
    total = f"{path.motion_semitones} semitones in all"
    if path.cost != path.motion_semitones:
        total += f", cost {number_text(path.cost)}"
    if path.loop:
        total += "; the first move comes from the last chord"
    return "\n".join([*lines, total + "."])


def _paid(station: Station) -> str:
    """What a station pays for beside motion: ``5 motion + 2 top leap; 1.5 off the centre``."""
    parts = [] if station.move is None else [*station.move.parts]
    told = " + ".join(f"{number_text(cost)} {name.replace('_', ' ')}" for name, cost in parts)
    if [name for name, _ in parts] == ["motion"]:
        told = ""
    if station.place_cost:
        told += f"{'; ' if told else ''}{number_text(station.place_cost)} off the centre"
    return told


def _why(station: Station) -> list[str]:
    lines = []
    for at, placement in enumerate(station.candidates.placements):
        if at != station.chosen:
            dearer = station.extra_costs[at]
            text = f"{number_text(dearer)} more in all" if dearer else "just as cheap"
            lines.append(
                f"    {placement.recipe.name} from {pretty(spelled_key(placement.notes[0], placement.keys[0]))}: {text}"
            )
    for refusal in station.candidates.refused:
        if not _outside(refusal):
            lines.append(f"    {refusal.name}: {refusal.reason}")
    return lines


def path_values(path: Path, labels: Mapping[int, str] | None = None) -> dict[str, object]:
    """A path as plain values for JSON; costs in the plan's units, keys as MIDI notes."""
    return {
        "cost": path.cost,
        "motion_semitones": path.motion_semitones,
        "loop": path.loop,
        "chords": [_values(station, (labels or {}).get(station.number)) for station in path.stations],
    }


def _values(station: Station, label: str | None) -> dict[str, object]:
    placement, made = station.placement, station.move
    return {
        "number": station.number,
        "label": label,
        "chord": station.slot.chord.symbol,
        "melody_key": station.slot.melody_key,
        "voicing": placement.recipe.name,
        "degrees": [degree.name for degree in placement.recipe.degrees],
        "notes": [note.name for note in placement.notes],
        "keys": list(placement.keys),
        "place_cost": station.place_cost,
        "move": None
        if made is None
        else {
            "motion_semitones": made.motion_semitones,
            "top_semitones": made.top_semitones,
            "held": made.held,
            "outer": made.outer,
            "cost": made.cost,
            "parts": dict(made.parts),
        },
        "others": [
            {"voicing": other.recipe.name, "keys": list(other.keys), "extra_cost": station.extra_costs[at]}
            for at, other in enumerate(station.candidates.placements)
            if at != station.chosen
        ],
        "refused": [
            {"voicing": refusal.name, "keys": list(refusal.keys), "reason": refusal.reason}
            for refusal in station.candidates.refused
        ],
    }
