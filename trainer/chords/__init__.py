"""Chord symbols: text to quality, bass and tones, and back."""

from trainer.chords.qualities import COLOURS, Chord, ChordError, Quality
from trainer.chords.reading import parse, parse_quality
from trainer.chords.writing import STYLES

__all__ = ["COLOURS", "STYLES", "Chord", "ChordError", "Quality", "parse", "parse_quality"]
