"""Chord symbols: text to quality, bass and tones, and back; exchange with scores; chords by degree of a key.

What a symbol means, where practice differs
-------------------------------------------
Degrees stand in stack order, as written: 1 2 3 4 5 6 7 9 11 13. Optional degrees may be played or left out.

* 13 chords hold 9 and an optional 11; a #11 takes its place. In an 11 chord the major third is optional.
* The plain fifth is optional beside b13. `alt` is 1 3 b7 with b9 #9 #11 b13 all optional, but one
  that is named as well, as in C7alt(b9), is not.
* A flat five or raised five replaces the 5 (C7b5); #11 and b13 are added to it (C7#11). `add` never replaces.
* A triangle (^, j) alone is a major seventh; the word maj alone is the triad. dim, o and the ring alone are triads; the
  barred ring (h, %) alone is the half-diminished seventh. A 7 after dim is the diminished seventh.
* C2 is 1 2 3 5, C4 and C7(4) are suspended, Csus is sus4, C5 is 1 5, C6/9 is 1 3 5 6 9.
* A number on its own in brackets, or after a slash, is a further tone: C7(13), C7/9, and after a plain triad C/6 is C6
  and C/9 is Cadd9. A slash with 1, 3, 5 or a flat seven is a bass by its degree, as are 2, 4 and 7 straight after the
  root (C/2). In the published colon syntax every number after the slash is a bass (C:maj/9).
* b9, #9, #11 or b13 without bracket and without seventh stand on the seventh (Cm b9, Csus b9); in brackets after a
  plain triad they are that tone alone: C(#11).
* An accidental belongs to the letter before it: Db5 is D flat and its fifth; D(b5) is the flat five. Of two before
  a 5 the second belongs to the 5: Dbb5 is D flat with a flat five, but Dbb7 the seventh chord on D double flat. Right
  after a number that follows another without a gap it belongs to the number before it: C79b13 has b9 and 13.
* A plus after a number raises the fifth (C7+, C9+), a plus or minus before one raises or lowers it (C7+9, C7-5).
* A capital B before 5, 9 or 13 is a flat where no slash or space stands before it (C7B9), a capital O is the ring.
* Lower-case roots are read where they cannot be a degree (am7, f#; not bb7); H is German and read only on request.
* In the published colon syntax (C:7(b5)) bracketed degrees add and never replace.

Where a text could well mean something else, `Chord.reading` says which reading was taken and how to write the other.
What has no meaning is refused with the place and what could stand there.

Source: common practice, no source, except where a file of this package names one.
"""

from trainer.chords.exchange import read_harmony, write_harmony
from trainer.chords.numerals import DegreeChord, parse_degree_chord
from trainer.chords.qualities import COLOURS, Chord, ChordError, Quality
from trainer.chords.reading import parse, parse_quality
from trainer.chords.writing import STYLES

__all__ = [
    "COLOURS",
    "STYLES",
    "Chord",
    "ChordError",
    "DegreeChord",
    "Quality",
    "parse",
    "parse_degree_chord",
    "parse_quality",
    "read_harmony",
    "write_harmony",
]
