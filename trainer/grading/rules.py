"""What passed for an attempt, as one short text in its record, and the target again from it.

Words separated by spaces, each only where it differs from the usual: ``order=inversion`` ``octave=any`` ``doublings``
``root-below`` ``graze`` ``optional=3,4`` (indices of degrees from the bottom, 0 the lowest) ``hand=both``
``limits=1:52,2:51`` (semitones of an interval, and the lowest key of its lower note). "" is the voicing as asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final

from trainer.chords import Chord, ChordError, parse_quality
from trainer.grading.targets import OCTAVES_THAT_PASS, ORDERS_THAT_PASS, Passes, Target
from trainer.pitch import Degree, MidiNote, Note, PitchError
from trainer.voicings import LOW_INTERVAL_LIMITS, Placement, Recipe, VoicingError, recipe

_FLAGS: Final = {"doublings": "doublings", "root-below": "root_below", "graze": "graze"}
_HANDS: Final = ("left", "right", "both")


def rules_text(target: Target) -> str:
    """What passes for a target, as the head of this module says."""
    passes, asked = target.passes, target.placement.recipe
    words = []
    if passes.order != "exact":
        words.append(f"order={passes.order}")
    if passes.octave != "as asked":
        words.append(f"octave={passes.octave}")
    words += [word for word, name in _FLAGS.items() if getattr(passes, name)]
    if asked.optional:
        words.append("optional=" + ",".join(map(str, sorted(asked.optional))))
    if asked.hand != "left":
        words.append(f"hand={asked.hand}")
    if target.limits is not None and dict(target.limits) != dict(LOW_INTERVAL_LIMITS):
        words.append("limits=" + ",".join(f"{interval}:{key}" for interval, key in sorted(target.limits.items())))
    return " ".join(words)


@lru_cache(maxsize=4096)
def target_from(
    quality: str,
    root: str,
    voicing: str,
    degrees: Sequence[str],
    keys: Sequence[int],
    rules: str | None,
) -> Target:
    """The target that an attempt's record describes; the same record gives the same object.

    `rules` is None for an attempt that was recorded before rules were: what passed is then taken to be the voicing
    exactly as asked, with the optional degrees that the table gives it. Raises ValueError where the texts are no
    chord, root, degrees or rules, or do not fit each other.
    """
    try:
        chord = Chord(Note.parse(root), parse_quality(quality))
        spelled = tuple(Degree.parse(name) for name in degrees)
    except (ChordError, PitchError) as error:
        raise ValueError(str(error)) from None
    if len(spelled) != len(keys) or not keys or not all(0 <= key <= 127 for key in keys):
        raise ValueError(f"{len(keys)} keys for {len(spelled)} degrees")
    if list(keys) != sorted(set(keys)):
        raise ValueError("keys that do not rise")
    asked = _recipe(voicing, chord, spelled)
    passes, limits = Passes(), None
    if rules is not None:
        passes, asked, limits = _read(rules, asked)
    note = Note.parse(root)
    notes = tuple(note + degree for degree in spelled)
    return Target(chord, Placement(asked, note, notes, tuple(map(MidiNote, keys))), passes, limits)


def _recipe(voicing: str, chord: Chord, degrees: tuple[Degree, ...]) -> Recipe:
    """The voicing as the table has it where its degrees are those asked for; else by its degrees alone."""
    for text in (voicing, " ".join(degree.name for degree in degrees)):
        try:
            found = recipe(text, chord.quality)
        except (VoicingError, ValueError):
            continue
        if found.degrees == degrees:
            return replace(found, name=voicing)
    return Recipe(voicing, voicing, degrees)


def _read(rules: str, asked: Recipe) -> tuple[Passes, Recipe, dict[int, int] | None]:
    passes, limits = Passes(), None
    asked = replace(asked, optional=frozenset(), hand="left")
    for word in rules.split():
        name, _, value = word.partition("=")
        if name == "order" and value in ORDERS_THAT_PASS:
            passes = replace(passes, order=value)
        elif name == "octave" and value in OCTAVES_THAT_PASS:
            passes = replace(passes, octave=value)
        elif word in _FLAGS:
            flag: dict[str, Any] = {_FLAGS[word]: True}
            passes = replace(passes, **flag)
        elif name == "optional":
            asked = replace(asked, optional=frozenset(_indices(value, len(asked.degrees))))
        elif name == "hand" and value in _HANDS:
            asked = replace(asked, hand="both" if value == "both" else "right" if value == "right" else "left")
        elif name == "limits":
            pairs = [pair.partition(":") for pair in value.split(",") if pair]
            limits = {_number(interval, 127): _number(key, 127) for interval, _, key in pairs}
        else:
            raise ValueError(f"{word!r} is no rule of what passes")
    return passes, asked, limits


def _indices(text: str, count: int) -> list[int]:
    return [_number(part, count - 1) for part in text.split(",")]


def _number(text: str, most: int) -> int:
    if not (text.isascii() and text.isdigit()) or len(text) > 3 or int(text) > most:
        raise ValueError(f"{text!r} is no number from 0 to {most}")
    return int(text)
