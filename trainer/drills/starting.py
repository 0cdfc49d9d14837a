"""Commented examples from which a teacher starts a set or a lesson; every field of the formats stands in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from trainer.drills.writing import text_value

_SET: Final = """\
# A drill set. What stands after a # is a remark; take the # at the beginning of a line away and the line holds.
# `trainer check` tells every fault of this file with line and column, `trainer sheet` prints it.
title = @TITLE@
about = \"\"\"
What the set is for, and how to practise it.\"\"\"
# sequence = "root by root"     # first all drills on one root; "drill by drill" is usual, "shuffled" mixes all

# What stands here, above the first [[drill]], holds for each drill that does not say otherwise.
hand = "left"                   # or "right", "both"
target_ms = 3000                # the response time to aim at
# tries = 1                     # the first gesture decides; 3 are usual
# rounds = 2                    # all roots, and once more
# hint = "degrees"              # what the prompt shows: "notes" is usual, "name" is the least
# lowest = "D3"                 # no key below this one; C4 is middle C
# highest = "C6"                # and none above this one
# reach_semitones = 16          # the widest interval asked of one hand; 14, a ninth, is usual
# limits = true                 # lie high enough for each interval to sound clear

[[drill]]
chord = "m7"                    # what stands after the root in a symbol; "" is a major triad
voicing = "rootless from the third"   # a name, or degrees from the bottom note up: "b3 5 b7 9"
roots = "fourths"               # "fifths", "chromatic up", "random", ... or a list: ["C", "F", "Bb"]
# fingers = [5, 3, 2, 1]        # one for each note from the bottom up, 1 the thumb
# passes = { order = "inversion", octave = "any", doublings = true, root_below = true, graze = true }

[[drill]]
chord = "7"
voicing = "b7 3 13 (9)"         # a degree in brackets may be left out
roots = ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"]

# A move: two voicings in succession in each key, on degrees of that key.
# [[drill]]
# on = "II"
# chord = "m7"
# voicing = "rootless from the third"
# then = [{ on = "V", chord = "7", voicing = "rootless from the seventh", rise_semitones = 0, hand = "left" }]

# A voicing of your own, which drills call by its name.
# [[voicing]]
# name = "five steps"
# family = "steps"
# forms = { "m7 7 maj7" = "1 .7 | .3 .5 .9" }   # .3 is the chord's own third; | parts the hands
# hand = "both"
# rootless = false
# other = "shell, root and seventh"             # offered where this one does not fit
# source = "our own class"
"""

_LESSON: Final = """\
# A lesson: a chart, and rules for playing it. What stands after a # is a remark; take the # at the beginning of a line
# away and the line holds. `trainer check` tells every fault, `trainer lesson` all of it, `trainer sheet` prints it.
title = @TITLE@
about = \"\"\"
What the lesson is for, and how to practise it.\"\"\"
# repeats = true                # played round and round
# key = "Bb"                    # put it into this key

# The chart, here or in a file of its own beside this one (chart_file = "my-tune.chart"), or a form by its name
# (form = "jazz blues"): one of the three.
chart = \"\"\"
key: F
time: 4/4

[A] | Gm7 | C7 | Fmaj7 | %  |
[B] | Am7 | D7 | Gm7   | C7 |
\"\"\"

# A rule without a condition is for all chords. Of two that say the same, the later one holds.
[[rule]]
voicing = ["rootless from the third", "rootless from the seventh"]   # those that move least are taken
hand = "left"
rhythm = "1 chord, 3 chord"     # counts and parts: "1 bass, 2& chord"; in brackets: may stay silent
# optional = "9"                # a degree that may be left out
# lowest = "D3"
# highest = "C5"
# reach_semitones = 14
# limits = false
# passes = { octave = "any" }

# Conditions say for which chords: chord, colour, degree, section, bar, beat; each one value or a list.
[[rule]]
degree = "I"
voicing = "shell, root third seventh"
approach = "above"              # led into by the shell a half step above; "below", "none"

[[rule]]
section = "B"
bar = "5-8"
beat = 1
# chord = "m7"
# colour = ["m7", "7"]
rhythm = "1 bass, 2& chord"

# [[rule]]
# bar = 8
# top = "9"                     # the degree on top, or "melody"
# voicing = "rootless from the third"

# [[rule]]
# bar = 3
# bottom = "A3"                 # the very key of the bottom note
# voicing = "rootless from the third"

# A voicing of your own stands under [[voicing]] as in a drill set.
"""

KINDS: Final[Mapping[str, str]] = {"set": _SET, "lesson": _LESSON}
"""By what is started: its example."""


def example(kind: str, title: str) -> str:
    """The text of a new file of a kind (`KINDS`) under a title.

    >>> example("set", "Shells").splitlines()[2]
    'title = "Shells"'
    """
    return KINDS[kind].replace("@TITLE@", text_value(title))
