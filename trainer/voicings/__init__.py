"""The voicing table, a recipe in a quality, and a placing on a root, in a register, within a reach.

    recipe("rootless from the third", quality)   degrees bottom to top
    place(recipe, root)                          spelled notes and keys

`table` holds the rows and states how they are written, `degrees` the rule by which a symbol's tensions take their
place, `recipes` reads names and degrees, `placing` chooses the octave and says why.
"""

from trainer.voicings.degrees import VoicingError
from trainer.voicings.placing import (
    LOW_INTERVAL_LIMITS,
    Limits,
    Placement,
    Register,
    alternatives,
    default_register,
    fitting_bounds,
    fitting_places,
    place,
    place_under,
    reach_fault,
)
from trainer.voicings.recipes import (
    BY_DEGREES,
    ONE_HAND_SEMITONES,
    Recipe,
    approach_root,
    check_row,
    dominants_in_diminished,
    families,
    in_hand,
    melody_degree,
    names_for,
    plain_name,
    recipe,
    recipes_for,
    row_for,
    stacked,
    under,
)
from trainer.voicings.table import VoicingRow, all_rows, dropped

__all__ = [
    "BY_DEGREES",
    "LOW_INTERVAL_LIMITS",
    "Limits",
    "ONE_HAND_SEMITONES",
    "Placement",
    "Recipe",
    "Register",
    "VoicingError",
    "VoicingRow",
    "all_rows",
    "alternatives",
    "approach_root",
    "check_row",
    "default_register",
    "dominants_in_diminished",
    "dropped",
    "families",
    "fitting_bounds",
    "fitting_places",
    "in_hand",
    "melody_degree",
    "names_for",
    "place",
    "place_under",
    "plain_name",
    "reach_fault",
    "recipe",
    "recipes_for",
    "row_for",
    "stacked",
    "under",
]
