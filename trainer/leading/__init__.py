"""Voice leading: the cheapest path through many chords' candidate voicings, found exactly.

A `Slot` is a chord to be voiced, perhaps under a melody key. Its candidates are every form of the voicings asked for,
in every octave that range, low-interval limits and reach allow. A path takes one candidate for each slot; it costs

    the sum of its moves (`Weights.motion` for each semitone, and what the other weights say)
    + the sum of its places (`Weights.centre`)

and `lead` returns a cheapest one: by dynamic programming, which is exact because no cost looks further back than one
chord. A loop also pays the move from its last chord into its first: the same computation once for each candidate of
the slot that has fewest. Work grows with the number of chords, not with the number of paths.

Motion is counted in keys of the piano, voice by voice, each voice of one chord going to one voice of the next. For
equally many voices that is the taxicab distance, and the order from the bottom up is the cheapest pairing. Where one
chord has more voices, each of them is joined to one of the smaller chord's, and each of the smaller chord's to at
least one: a voice divides, or two meet, and each way is counted. No voice appears from nowhere or falls silent.

Optional notes of a recipe count as played. A slash bass is left to the bass player. `N.C.` has no voicing: the chord
before it leads into the one after it.

Sources: taxicab size of a voice leading: Tymoczko, "The Geometry of Musical Chords", Science 313 (2006); its further
doublings in chords of equal size are not used. Weights other than motion are off until asked for: their sizes are a
teacher's taste.
"""

from trainer.leading.choices import (
    DEFAULT_VOICINGS,
    FALLBACK_VOICINGS,
    MIDDLE_C,
    Candidates,
    LeadingError,
    Plan,
    Refusal,
    Slot,
    candidates,
)
from trainer.leading.paths import Move, Path, Station, Weights, lead, motion, move, place_cost
from trainer.leading.telling import path_rows, path_text, path_values

__all__ = [
    "DEFAULT_VOICINGS",
    "FALLBACK_VOICINGS",
    "MIDDLE_C",
    "Candidates",
    "LeadingError",
    "Move",
    "Path",
    "Plan",
    "Refusal",
    "Slot",
    "Station",
    "Weights",
    "candidates",
    "lead",
    "motion",
    "move",
    "path_rows",
    "path_text",
    "path_values",
    "place_cost",
]
