"""A lesson told: bar by bar, its distinct voicings with their places, its moves, its slots; as text and as values."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from trainer.drills.lesson_chords import BASS, LessonChord
from trainer.drills.lesson_drills import bare
from trainer.drills.lessons import Lesson
from trainer.drills.rhythm import count_text
from trainer.grading import Target, pretty_symbol
from trainer.pitch import pretty, spelled_key

PARTS: Final = ("form", "voicings", "moves", "slots")
"""What can be told of a lesson."""

TOLD: Final = PARTS[:3]
"""What is told unless something else is asked for."""


def lesson_text(lesson: Lesson, parts: Sequence[str] = TOLD, section: str = "") -> str:
    """A lesson for the screen: a heading, and a table for each part. Raises `LeadingError` and ValueError."""
    heading = f"{lesson.title}, in {pretty(lesson.chart.key.name)}" + (f", section {section}" if section else "")
    tables = {"form": _form_rows, "voicings": _voicing_rows, "moves": _move_rows, "slots": _slot_rows}
    return "\n\n".join([heading, *("\n".join(_aligned(tables[part](lesson, section))) for part in parts)])


def _aligned(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _degrees(target: Target) -> str:
    return " ".join(
        pretty(f"({degree})" if at in target.optional else degree.name) for at, degree in enumerate(target.degrees)
    )


def _keys(target: Target) -> str:
    return " ".join(pretty(spelled_key(note, key)) for note, key in zip(target.notes, target.keys, strict=True))


def _label(label: str) -> str:
    return f"{label.split('.')[1]} before" if label.startswith("0.") else label


def _chords(lesson: Lesson, section: str) -> list[LessonChord]:
    lesson.section_beats(section)
    return [one for one in lesson.form if not section or one.section == section]


def _form_rows(lesson: Lesson, section: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("bar", "chord", "degrees", "keys", "played on", "")]
    met: dict[object, str] = {}
    chords = _chords(lesson, section)
    for at, one in enumerate(chords):
        notes = []
        if one.approach:
            into = chords[at + 1].chord.symbol if at + 1 < len(chords) else "the next chord"
            notes.append(f"into {pretty_symbol(into)}")
        mark = (one.chord.symbol, bare(one.target.placement.recipe), one.target.keys)
        if mark in met:
            notes.append(f"as in bar {_label(met[mark])}")
        met.setdefault(mark, one.label)
        told = (_label(one.label), pretty_symbol(one.chord.symbol), _degrees(one.target), _keys(one.target))
        rows.append((*told, _strokes(one), ", ".join(notes)))
    return rows


def _strokes(one: LessonChord) -> str:
    """The counts at which a chord is played, in the bar where each of them lies."""
    words = []
    with_parts = any(stroke.part == BASS for stroke in one.strokes)
    for stroke in one.strokes:
        word = count_text(stroke.beat) + (f" {stroke.part}" if with_parts else "")
        if stroke.bar != one.bar:
            word += " before"
        words.append(f"({word})" if stroke.optional else word)
    return ", ".join(words) or "silent"


def _voicing_rows(lesson: Lesson, section: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("voicing", "degrees", "chords", "where")]
    for voicing in lesson.voicings(section):
        target = voicing.places[0].target
        quality = pretty(voicing.quality.text) or "major"
        symbols = dict.fromkeys(pretty_symbol(one.chord.symbol) for one in voicing.places)
        rows.append((f"{quality}, {target.voicing}", _degrees(target), " ".join(symbols), voicing.where))
    return rows


def _move_rows(lesson: Lesson, section: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("move", "from", "to", "where")]
    for move in lesson.moves(section):
        first, second = move.first, move.second
        symbols = f"{pretty_symbol(first.chord.symbol)} to {pretty_symbol(second.chord.symbol)}"
        rows.append((symbols, _keys(first.target), _keys(second.target), move.where))
    return rows


def _slot_rows(lesson: Lesson, section: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("bar", "count", "part", "chord", "keys", "beats")]
    for slot in lesson.slots(section):
        told = (str(slot.bar), count_text(slot.beat), slot.part + (" (may stay silent)" if slot.optional else ""))
        rows.append((*told, pretty_symbol(slot.target.chord.symbol), _keys(slot.target), _number(slot.beats)))
    return rows


def _number(beats: Fraction) -> str:
    return f"{float(beats):g}"


def lesson_values(lesson: Lesson, parts: Sequence[str] = TOLD, section: str = "") -> dict[str, object]:
    """The same as plain values for JSON: keys as MIDI notes, beats as numbers."""
    told: dict[str, object] = {
        "title": lesson.title,
        "key": lesson.chart.key.name,
        "repeats": lesson.repeats,
        "sections": list(lesson.sections),
    }
    if "form" in parts:
        told["form"] = [_chord_values(one) for one in _chords(lesson, section)]
    if "voicings" in parts:
        told["voicings"] = [
            {
                "quality": voicing.quality.text,
                **_target_values(voicing.places[0].target),
                "places": [{"bar": one.bar, "beat": float(one.beat)} for one in voicing.places],
            }
            for voicing in lesson.voicings(section)
        ]
    if "moves" in parts:
        told["moves"] = [
            {
                "move": move.text,
                "from": _target_values(move.first.target),
                "to": _target_values(move.second.target),
                "places": [{"bar": first.bar, "beat": float(first.beat)} for first, _ in move.places],
            }
            for move in lesson.moves(section)
        ]
    if "slots" in parts:
        told["slots"] = [
            {
                "bar": slot.bar,
                "beat": float(slot.beat),
                "start_beats": float(slot.start_beats),
                "beats": float(slot.beats),
                "part": slot.part,
                "optional": slot.optional,
                "section": slot.section,
                **_target_values(slot.target),
            }
            for slot in lesson.slots(section)
        ]
    return told


def _target_values(target: Target) -> dict[str, object]:
    return {
        "chord": target.chord.symbol,
        "voicing": target.voicing,
        "degrees": [degree.name for degree in target.degrees],
        "optional": sorted(target.optional),
        "notes": [note.name for note in target.notes],
        "keys": list(target.keys),
    }


def _chord_values(one: LessonChord) -> dict[str, object]:
    return {
        "bar": one.bar,
        "beat": float(one.beat),
        "start_beats": float(one.start_beats),
        "beats": float(one.beats),
        "section": one.section,
        "approach": one.approach,
        **_target_values(one.target),
        "strokes": [
            {
                "part": stroke.part,
                "bar": stroke.bar,
                "beat": float(stroke.beat),
                "start_beats": float(stroke.start_beats),
                "beats": float(stroke.beats),
                "optional": stroke.optional,
            }
            for stroke in one.strokes
        ],
    }
