"""What is sounded for the player: click, count-in, bass, voicings and melody, as notes in beats and as MIDI in time.

    notes = [*count_in(FOUR_FOUR), *click(bars_of(chart)), *walking(bass_chords(chart))]
    cues(notes, Grid(tempo_bpm=120, start_ns=...))      # MIDI messages with the moment of each

`notes` holds the values and turns beats into time, `clicks` the click and the count-in by meter, `bass` the root or a
walking line, `chords` voicings in the rhythm of a form, the melody, and what was played beside what was asked.

Quiet by default: `QUIET` is the velocity of an unaccented note. Everything that has a pitch goes out on channel 1,
because many a digital piano listens to that one alone; the click goes out on channel 10.
"""

from trainer.accompaniment.bass import BassChord, bass_chords, roots, walking
from trainer.accompaniment.chords import (
    Chord,
    heard_beside,
    held_chord,
    melody,
    root_below,
    slot_chords,
    voiced,
)
from trainer.accompaniment.clicks import CLICKS, BarAt, bars_of, click, count_in, even_bars, groups
from trainer.accompaniment.notes import QUIET, TONES, Cue, SoundNote, cues, first_beat, last_beat

__all__ = [
    "CLICKS",
    "QUIET",
    "TONES",
    "BarAt",
    "BassChord",
    "Chord",
    "Cue",
    "SoundNote",
    "bars_of",
    "bass_chords",
    "click",
    "count_in",
    "cues",
    "even_bars",
    "first_beat",
    "groups",
    "heard_beside",
    "held_chord",
    "last_beat",
    "melody",
    "root_below",
    "roots",
    "slot_chords",
    "voiced",
    "walking",
]
