"""Drills of a lesson: one for each distinct voicing, one for each distinct move, in twelve keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from trainer.chords import Quality
from trainer.drills.lesson_chords import LessonMove, LessonVoicing
from trainer.drills.values import Drill, Step
from trainer.pitch import Degree, MidiNote, Note
from trainer.voicings import Recipe, VoicingError, VoicingRow, in_hand, place, recipe


def bare(form: Recipe) -> Recipe:
    """A recipe without what tells nothing of how it is played."""
    return replace(form, name="", family="", source="", other=None)


def as_written(form: Recipe, quality: Quality, rows: tuple[VoicingRow, ...], hand: str = "") -> tuple[str, Recipe]:
    """How a set's file writes a voicing, by name where the name says all of it and else by degrees, and what it then
    reads as."""
    degrees = form.text.split()
    if form.split is not None:
        degrees.insert(form.split, "|")
    for text in (form.name, " ".join(degrees)):
        try:
            read = in_hand(recipe(text, quality, rows), hand)
        except VoicingError:
            continue
        if bare(read) == bare(form) or text != form.name:
            return text, read
    raise VoicingError(f"{form.text!r} cannot be written for {quality.text or 'a major triad'}")


def voicing_drill(voicing: LessonVoicing, rows: tuple[VoicingRow, ...]) -> Drill:
    """A drill of a voicing as the lesson plays it: most of its places lie as the drill places them."""
    manner = voicing.places[0].manner
    hand = None if voicing.places[0].approach else manner.hand
    name, form = as_written(voicing.recipe, voicing.quality, rows, hand or "")
    drill = Drill(voicing.quality, name, form, hand=hand, passes=manner.passes)
    if not voicing.places[0].approach:
        reach = manner.reach_semitones
        drill = replace(drill, lowest=manner.lowest, reach_semitones=reach, limits=manner.limits)
    usual = drill.register.lowest
    bottoms = [one.target.keys[0] for one in voicing.places]
    offered = {usual, *(MidiNote(bottom) for bottom in bottoms)}
    # From `low` up, a root has its place within the next octave.
    inside = {low: sum(low <= bottom < low + 12 for bottom in bottoms) for low in offered}
    ordered = sorted(offered, key=lambda low: (-inside[low], low != usual, low))
    # Narrow bounds and low limits are given up one by one where a root would be left without a place.
    for changed in (
        *(drill if low == usual else replace(drill, lowest=low) for low in ordered),
        drill,
        replace(drill, limits=False),
        replace(drill, limits=False, reach_semitones=24),
    ):
        if _fits_everywhere(changed):
            return changed
    return replace(drill, lowest=None, limits=False, reach_semitones=24)


def _fits_everywhere(drill: Drill) -> bool:
    try:
        for root in drill.pool:
            place(drill.recipe, root, drill.register)
    except VoicingError:
        return False
    return True


def move_drill(move: LessonMove, key_of: Mapping[int, Note], rows: tuple[VoicingRow, ...]) -> Drill:
    """A drill of a move, in the key of the first chord's bar where it first comes."""
    before, after = move.first, move.second
    key = key_of[before.bar]
    first = voicing_drill(LessonVoicing(before.chord.quality, before.target.placement.recipe, (before,)), rows)
    hand = None if after.approach else after.manner.hand
    name, form = as_written(after.target.placement.recipe, after.chord.quality, rows, hand or "")
    rise = after.target.keys[0] - before.target.keys[0]
    if before.approach:
        # It lies where the chord that it leads into does.
        first = replace(first, lowest=None)
    elif first.lowest is not None:
        first = replace(first, lowest=min(first.lowest, after.target.keys[0]))
    step = Step(_on(after.target.root, key), after.chord.quality, name, form, hand, rise)
    return replace(first, on=_on(before.target.root, key), then=(step,))


def _on(root: Note, key: Note) -> Degree:
    """A root as a degree of a key, within a tritone of it on the line of fifths either way."""
    return Degree.from_step((root.fifths - key.fifths + 5) % 12 - 5).simple
