"""Figures in the trade's words: kinds of voicings, items, and what to work on after each cause of a miss."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from trainer.chords.words import pretty_degrees, quality_words
from trainer.grading import pretty_symbol
from trainer.pitch import pretty


def quality_sign(quality: str) -> str:
    """What stands after the root in a symbol, with musical signs; a word for the major triad, which has nothing.

    >>> quality_sign("m7b5"), quality_sign("")
    ('m7♭5', 'major')
    """
    return pretty_symbol(f"C{quality}")[1:] or "major"


def kind_words(voicing: str, quality: str) -> str:
    """A kind of voicing, the quality first so that a short line still tells kinds apart.

    >>> kind_words("rootless from the third", "m7b5"), kind_words("1 b7", "")
    ('m7♭5  rootless from the third', 'major  1 ♭7')
    """
    return f"{quality_sign(quality)}  {pretty_degrees(voicing)}"


def kind_in_words(voicing: str, quality: str) -> str:
    """A kind of voicing in a sentence.

    >>> kind_in_words("rootless from the third", "m7")
    'rootless from the third, minor 7'
    """
    return f"{pretty_degrees(voicing)}, {quality_words(quality)}"


def item_words(voicing: str, quality: str, root: str) -> str:
    """An item in words.

    >>> item_words("rootless from the third", "m7", "Eb")
    'rootless from the third, minor 7, on E♭'
    """
    return f"{kind_in_words(voicing, quality)}, on {pretty(root)}"


WORK_ON: Final[Mapping[str, str]] = {
    "previous_chord": "Let go and look up before the next chord: the hand was still on the one before.",
    "below_limit": "Play it an octave higher: so low these intervals sound muddy.",
    "other_form": "Keep the two forms apart: say which tone lies at the bottom, the third or the seventh, then play.",
    "third_missed": "Find third and seventh first, alone, on these roots; then add the rest around them.",
    "half_step": "Say the degrees aloud before you play, and check the one finger that went astray against the root.",
    "whole_step": "Say the degrees aloud before you play; the finger that went astray was on a neighbouring degree.",
    "wrong_quality": "Play the qualities of one root in turn (major 7, dominant 7, minor 7) and hear what changes.",
    "octave": "Mind the register: the same notes sit in another octave than the one asked for.",
    "inversion": "Start from the bottom note: name it before the hand goes down.",
    "other_root": "The shape is there: name the root, then its third, before the hand goes down.",
    "spacing": "Build it from the bottom up, one note at a time, until the spacing is in the hand.",
    "left_out": "Play it slowly and count the notes; then the same at the pace of the drill.",
    "added": "Lift the finger that is not needed: play the degrees one by one, then together.",
    "graze": "Prepare the hand just above its keys: a neighbouring key was brushed.",
    "another_of_set": "Read the whole symbol before you move: another chord of the set was played.",
    "no_relation": "Take a hint first (the degrees are shown), then the same chord again without it.",
}
"""What to do about each cause of a miss, by its code. Common practice, no source; a teacher knows better."""
