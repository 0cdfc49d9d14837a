"""The sentences of grading: what was right first, then what was not, as a teacher would say it.

A sentence claims only what is true of the keys held. Degrees and notes carry musical signs; a note whose spelling is
odd at the keyboard has its plain key beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from trainer.chords import Chord
from trainer.grading.targets import Target
from trainer.grading.verdicts import Verdict
from trainer.pitch import Degree, MidiNote, Note, note_label, pretty


@lru_cache(maxsize=1024)
def pretty_symbol(symbol: str) -> str:
    """A chord symbol for the screen: its root's and its tensions' accidentals as musical signs.

    >>> pretty_symbol("Bbm7b5"), pretty_symbol("F#7#9"), pretty_symbol("Cm7/Bb"), pretty_symbol("Cdim7")
    ('B♭m7♭5', 'F♯7♯9', 'Cm7/B♭', 'Cdim7')
    """
    shown = []
    for index, character in enumerate(symbol):
        before = symbol[index - 1] if index else ""
        after = symbol[index + 1 : index + 2]
        flat = character == "b" and (before in set("ABCDEFG") or after.isdigit() or before == "b")
        shown.append("♯" if character == "#" else "♭" if flat else character)
    return "".join(shown)


def asked(target: Target) -> str:
    return pretty_symbol(target.chord.symbol)


def named(degree: Degree) -> str:
    """A degree in running text.

    >>> named(Degree(1)), named(Degree(7, -1))
    ('root', '♭7')
    """
    return "root" if degree == Degree(1) else _signed(degree)


@lru_cache(maxsize=256)
def _signed(degree: Degree) -> str:
    return pretty(degree.name)


def listed(words: Sequence[str]) -> str:
    """
    >>> listed(["3"]), listed(["3", "5"]), listed(["3", "5", "9"])
    ('3', '3 and 5', '3, 5 and 9')
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def note_at(target: Target, key: int) -> str:
    """The note of a key, spelled on the prompted root."""
    return note_label(target.root + target.degree_of(key))


def degrees_held(verdicts: Sequence[Verdict]) -> str:
    return " ".join([_signed(verdict.degree) for verdict in verdicts if verdict.verdict != "left out"])


def what_was_right(verdicts: Sequence[Verdict]) -> str:
    """``The ♭3, 5 and 9 are right.``; empty where nothing was."""
    right = [named(verdict.degree) for verdict in verdicts if verdict.verdict == "right"]
    if not right:
        return ""
    if all(verdict.verdict in ("right", "left out") for verdict in verdicts):
        return "Every note of the voicing is there."
    return f"The {listed(right)} {'is' if len(right) == 1 else 'are'} right."


# -- one finger


def replaced(target: Target, index: int, verdict: Verdict) -> str:
    """``B for B♭ on top: a half step high; the ♭7 of C is B♭.``"""
    assert verdict.by is not None
    played = note_label(target.root + verdict.by)
    wanted = note_label(target.root + verdict.degree)
    where = " on top" if index == len(target.degrees) - 1 else " at the bottom" if index == 0 else ""
    size = "a half step" if abs(verdict.semitones) == 1 else "a whole step"
    way = "high" if verdict.semitones > 0 else "low"
    root = pretty(target.root.name)
    fact = (
        f"the root is {wanted}" if verdict.degree == Degree(1) else f"the {named(verdict.degree)} of {root} is {wanted}"
    )
    return f"{played} for {wanted}{where}: {size} {way}; {fact}."


def missing(target: Target, verdicts: Sequence[Verdict]) -> str:
    """``The 3 is missing: E.``"""
    degrees = listed([named(verdict.degree) for verdict in verdicts])
    notes = listed([note_label(target.root + verdict.degree) for verdict in verdicts])
    return f"The {degrees} {'is' if len(verdicts) == 1 else 'are'} missing: {notes}."


def added(target: Target, keys: Sequence[MidiNote]) -> str:
    """What each further key is: a doubling, the root that is left to the bass, a colour, or a foreign note."""
    said = []
    own = {note.pitch_class for note in target.notes}
    doubled = [note_at(target, key) for key in keys if key % 12 in own]
    roots = [key for key in keys if key % 12 not in own and key % 12 == target.root.pitch_class]
    foreign = [key for key in keys if key % 12 not in own and key % 12 != target.root.pitch_class]
    if foreign:
        notes = listed([note_at(target, key) for key in foreign])
        degrees = listed([named(target.degree_of(key)) for key in foreign])
        verb, it = ("is", "it") if len(foreign) == 1 else ("are", "them")
        said.append(f"{notes}, the {degrees}, {verb} added; this voicing leaves {it} out.")
    if roots:
        said.append(f"{note_at(target, roots[0])}, the root, is added; this voicing does without it.")
    if doubled:
        said.append(f"There is one {listed(list(dict.fromkeys(doubled)))} too many.")
    return " ".join(said)


def astray(verdicts: Sequence[Verdict]) -> str:
    """Right notes that lie in other octaves than asked."""
    degrees = listed([named(verdict.degree) for verdict in verdicts])
    single = len(verdicts) == 1
    return f"The {degrees} {'lies in another octave' if single else 'lie in other octaves'} than asked."


# -- the whole chord


_NUMBERS: Final = {2: "two", 3: "three", 4: "four", 5: "five"}


def displaced(semitones: int) -> str:
    """``an octave too low``"""
    octaves = abs(semitones) // 12
    size = "an octave" if octaves == 1 else f"{_NUMBERS.get(octaves, octaves)} octaves"
    return f"{size} too {'high' if semitones > 0 else 'low'}"


def too_low(target: Target, semitones: int, pair: tuple[int, int]) -> str:
    lower, upper = (note_at(target, key) for key in pair)
    return f"The right notes, {displaced(semitones)}: down there {lower} with {upper} above it sounds muddy."


def other_root(target: Target, root: Note) -> str:
    played = pretty_symbol(target.chord.on(root).symbol)
    return f"The shape is right, the root is not: this is {played}, asked was {asked(target)}."


def other_quality(target: Target, chord: Chord) -> str:
    return f"The root is right, the quality is not: this is {pretty_symbol(chord.symbol)}, asked was {asked(target)}."


def other_form(target: Target, name: str) -> str:
    return f"The right chord in another form: {name}; asked was {target.voicing}."


def inverted(target: Target, bottom: Degree) -> str:
    low, wanted = (f"{named(degree)}, {note_label(target.root + degree)}," for degree in (bottom, target.degrees[0]))
    return f"The right notes, inverted: the {low} is at the bottom, where the {wanted} belongs."
