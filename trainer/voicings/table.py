"""The voicing table: every voicing of the trade as a row, its degrees written from the bottom note up.

A row lists *forms*: pairs (colours, degrees). The colours are those of `chords.Quality.colour`, several in one text
where they share a form; the degrees are written so that one form serves every chord of its colour:

=========  ==========================================================================================
``1``      the root
``.3``     the chord's own third (the 4 or 2 of a sus chord); likewise ``.5``, ``.7`` (the 6 of a sixth
           chord) and ``.9`` (the ninth the symbol names, else 9); ``·3`` reads the same
``.5/13``  the fifth's place: 13 if the symbol names it, else b13, else #5 or b5, else #11 (11 on a minor
           third), else 5; a dominant or sus symbol that names no tension takes 13
``.5/#11`` the fifth, or the #11 when the symbol names it
``.1/9``   the root, or the ninth when the symbol names one; ``.1/9/11`` the 11 before the root, too
``13``     a natural degree follows the symbol: on C7(b13) it is b13, on C7(#5) it is #5
``#9``     an altered degree stands as written, and the row is refused for a symbol that names another
``!9``     this natural degree and no other, or the row is refused
``(9)``    optional: played or left out, both right
``|``      left hand below, right hand above
=========  ==========================================================================================

A teacher's own voicing is the same `VoicingRow`. Sources: "common practice, no source" is the trade's usage written
from memory; books are named where a form can be looked up there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

Hand = Literal["left", "right", "both"]

PRACTICE: Final = "common practice, no source"
FORMS_TABLE: Final = "degree lists as in DeGreg, Jazz Keyboard Harmony (1994); Keller, lecture slides (2002)"
SHELL_BOOK: Final = "two-note and three-note shells: Levine, The Jazz Piano Book (1989), ch. 3; common practice"
UPPER_BOOK: Final = "triads over 3 b7: Levine, The Jazz Piano Book (1989), ch. 14"
FOURTHS_BOOK: Final = "stacked fourths: Levine, The Jazz Piano Book (1989), ch. 12 and 13"
DROP_RULE: Final = "by rule: the named voices from the top of the close position an octave down"


@dataclass(frozen=True, slots=True)
class VoicingRow:
    """One voicing by name. `forms` are pairs (colours, degrees bottom to top); see the module's head.

    `other` names the other form of the same family, which a teacher offers where this one does not fit.
    `rootless` means that the root is left to a bass below.
    """

    name: str
    family: str
    forms: tuple[tuple[str, str], ...]
    hand: Hand = "left"
    rootless: bool = True
    other: str | None = None
    source: str = PRACTICE

    def degrees_for(self, colour: str) -> str | None:
        """The degrees as written for a colour, None where the row has no form for it."""
        for colours, degrees in self.forms:
            if colour in colours.split():
                return degrees
        return None


SEVENTHS: Final = "maj7 6 m7 7 m7b5 dim7 m6 mMaj7 sus alt augmaj7 dimMaj7"
"""Every colour that has a seventh, or a sixth in its place."""

_TRIADS: Final = "major minor dim aug sus"
_WITH_NINE: Final = "maj7 6 m7 7 m7b5 m6 mMaj7 sus augmaj7"
_WITH_THIRTEEN: Final = "maj7 m7 7 mMaj7 sus"
_DOMINANT: Final = "7 alt"


def _shells() -> Iterator[VoicingRow]:
    for name, degrees, other, colours in (
        ("root and seventh", "1 .7", "root and third", SEVENTHS),
        ("root and third", "1 .3", "root and seventh", f"major minor dim aug {SEVENTHS}"),
        ("root third seventh", "1 .3 .7", "root seventh tenth", SEVENTHS),
        # The tenth is wider than most hands: the right hand takes it, so the row asks nobody to stretch.
        ("root seventh tenth", "1 .7 | .3", "root third seventh", SEVENTHS),
    ):
        yield VoicingRow(
            f"shell, {name}",
            "shell",
            ((colours, degrees),),
            hand="both" if "|" in degrees else "left",
            rootless=False,
            other=f"shell, {other}",
            source=SHELL_BOOK,
        )


def _guide_tones() -> Iterator[VoicingRow]:
    low, high = "guide tones, third low", "guide tones, seventh low"
    yield VoicingRow(low, "guide tones", ((SEVENTHS, ".3 .7"),), other=high)
    yield VoicingRow(high, "guide tones", ((SEVENTHS, ".7 .3"),), other=low)


def _three_note_rootless() -> Iterator[VoicingRow]:
    for name, colours, degrees, other in (
        ("seventh low with 13", _WITH_THIRTEEN, ".7 .3 13", "third low with 9"),
        ("seventh low with 5", SEVENTHS, ".7 .3 .5", "third low with 9"),
        ("third low with 9", f"{_WITH_NINE} alt", ".3 .7 .9", "seventh low with 5"),
        ("third low with 13", "7 sus", ".3 13 .7", "seventh low with 13"),
        ("third low with #9", _DOMINANT, "3 b7 #9", "seventh low with #9"),
        # From b7 up to #9 is an eleventh: the right hand takes the top note.
        ("seventh low with #9", _DOMINANT, "b7 3 | #9", "third low with #9"),
        ("seventh low with b13", _DOMINANT, "b7 3 b13", None),
        ("seventh low with #11", _DOMINANT, "b7 3 #11", None),
    ):
        yield VoicingRow(
            f"three-note rootless, {name}",
            "three-note rootless",
            ((colours, degrees),),
            hand="both" if "|" in degrees else "left",
            other=None if other is None else f"three-note rootless, {other}",
            source=SHELL_BOOK,
        )


_FROM_THE_THIRD: Final = (
    ("maj7", "3 .5/13 7 9"),
    ("6", "3 .5/13 6 9"),
    ("m7", "b3 .5/13 b7 9"),
    ("7", "3 .5/13 b7 9"),
    ("m7b5", "b3 b5 b7 .1/9"),
    ("alt", "3 .5/13 b7 .9"),
    ("m6", "b3 5 6 9"),
    ("mMaj7", "b3 .5/13 7 9"),
    ("sus", ".3 .5/13 .7 9"),
    ("augmaj7", "3 #5 7 9"),
    # The diminished seventh keeps its root, as the half-diminished does: every other tone is already there.
    ("dim7", "b3 b5 .7 1"),
)


def _swapped(degrees: str) -> str:
    """The form from the seventh: the upper pair of the form from the third goes below the lower pair."""
    tokens = degrees.split()
    return " ".join(tokens[2:] + tokens[:2])


def _four_note_rootless() -> Iterator[VoicingRow]:
    families: tuple[tuple[str, tuple[tuple[str, str], ...], str], ...] = (
        ("", _FROM_THE_THIRD, FORMS_TABLE),
        (", altered", ((_DOMINANT, "3 b13 b7 #9"),), FORMS_TABLE),
        (", with b9", (("7", "3 5 b7 b9"),), FORMS_TABLE),
        (", with b9 and 13", (("7", "3 !13 b7 b9"),), FORMS_TABLE),
        (", with 5", (("7", "3 5 b7 9"), ("sus", ".3 5 .7 9")), FORMS_TABLE),
        (", with 9", (("m7b5", "b3 b5 b7 9"),), PRACTICE),
    )
    for ending, forms, source in families:
        third, seventh = f"rootless from the third{ending}", f"rootless from the seventh{ending}"
        mirrored = tuple((colours, _swapped(degrees)) for colours, degrees in forms)
        # Mirrored, an 11 would lie more than an octave under the b5: only the form from the third takes it.
        forms = tuple((colours, degrees.replace(".1/9", ".1/9/11")) for colours, degrees in forms)
        yield VoicingRow(third, "four-note rootless", forms, other=seventh, source=source)
        yield VoicingRow(seventh, "four-note rootless", mirrored, other=third, source=source)
    # This choice has one form only, for the same reason.
    yield VoicingRow(
        "rootless from the third, with 11",
        "four-note rootless",
        (("m7b5", "b3 b5 b7 11"),),
        other="rootless from the seventh",
    )


INVERSIONS: Final = ("root position", "first inversion", "second inversion", "third inversion")

_CLOSE: Final = (
    ("", SEVENTHS, ("1", ".3", ".5", ".7")),
    (" with 9", f"{_WITH_NINE} alt", (".9", ".3", ".5", ".7")),
    (" with 13", _WITH_THIRTEEN, ("1", ".3", "13", ".7")),
    (" with 9 and 13", _WITH_THIRTEEN, (".9", ".3", "13", ".7")),
)

DROPS: Final = (("drop 2", (2,)), ("drop 3", (3,)), ("drop 2 and 4", (2, 4)))
"""Family and the voices, counted from the top, that go an octave down."""


def dropped(close: tuple[str, ...], voices_from_top: tuple[int, ...]) -> tuple[str, ...]:
    """A close position with the named voices from the top an octave down, bottom to top.

    Within one octave the dropped voices lie under all others and keep their order.

    >>> dropped(("1", "3", "5", "7"), (2,)), dropped(("1", "3", "5", "7"), (2, 4))
    (('5', '1', '3', '7'), ('1', '5', '3', '7'))
    """
    indices = {len(close) - voice for voice in voices_from_top}
    below = [token for index, token in enumerate(close) if index in indices]
    return (*below, *(token for index, token in enumerate(close) if index not in indices))


def _close_positions() -> Iterator[VoicingRow]:
    for ending, colours, tokens in _CLOSE:
        positions = [tokens[turn:] + tokens[:turn] for turn in range(4)]
        rootless = "1" not in tokens
        for turn, position in enumerate(positions):
            yield VoicingRow(
                f"four-way close{ending}, {INVERSIONS[turn]}",
                f"four-way close{ending}",
                ((colours, " ".join(position)),),
                hand="right",
                rootless=rootless,
                other=f"four-way close{ending}, {INVERSIONS[(turn + 2) % 4]}",
            )
        for family, voices in DROPS:
            for turn, position in enumerate(positions):
                spread = dropped(position, voices)
                below, above = spread[: len(voices)], spread[len(voices) :]
                yield VoicingRow(
                    f"{family}{ending}, {INVERSIONS[turn]}",
                    f"{family}{ending}",
                    ((colours, " ".join((*below, "|", *above))),),
                    hand="both",
                    rootless=rootless,
                    other=f"{family}{ending}, {INVERSIONS[(turn + 2) % 4]}",
                    source=DROP_RULE,
                )


def _triads() -> Iterator[VoicingRow]:
    tokens = ("1", ".3", ".5")
    for turn in range(3):
        position = tokens[turn:] + tokens[:turn]
        below, above = position[0], (position[2], position[1])
        following = INVERSIONS[(turn + 1) % 3]
        yield VoicingRow(
            f"close triad, {INVERSIONS[turn]}",
            "close triad",
            ((_TRIADS, " ".join(position)),),
            hand="right",
            rootless=False,
            other=f"close triad, {following}",
        )
        yield VoicingRow(
            f"open triad, {INVERSIONS[turn]}",
            "open triad",
            ((_TRIADS, " ".join((below, "|", *above))),),
            hand="both",
            rootless=False,
            other=f"open triad, {following}",
            source="by rule: the middle voice of the close position an octave up",
        )
    yield VoicingRow("power, root and fifth", "power", (("power major minor", "1 5"),), rootless=False)
    yield VoicingRow("power, root fifth octave", "power", (("power major minor", "1 5 1"),), rootless=False)


def _quartal() -> Iterator[VoicingRow]:
    for name, rootless, forms in (
        (
            "two fourths",
            True,
            (("m7", "11 b7 b3"), ("6", "3 6 9"), ("maj7", "7 3 !13"), ("7", "b7 3 !13"), ("sus", "5 1 4")),
        ),
        (
            "three fourths",
            False,
            (
                ("m7", "1 11 | b7 b3"),
                ("6", "3 6 | 9 5"),
                ("maj7", "3 !13 | !9 !5"),
                ("7", "b7 3 | !13 !9"),
                ("sus", "5 1 | 4 .7"),
            ),
        ),
        ("three fourths from the fifth", False, (("m7", "5 1 | 11 b7"),)),
        ("three fourths from the ninth", False, (("m7", "9 5 | 1 11"), ("sus", "9 5 | 1 4"))),
        ("three fourths from the seventh", True, (("maj7", "7 3 | !13 !9"),)),
        (
            "four fourths",
            False,
            (
                ("m7", "5 1 | 11 b7 b3"),
                ("6", "3 6 | 9 5 1"),
                ("maj7", "7 3 | !13 !9 !5"),
                ("7", "b7 3 | !13 !9 !5"),
                ("sus", "9 5 | 1 4 .7"),
            ),
        ),
        ("fourths with a third on top", False, (("m7", "1 11 | b7 b3 5"), ("maj7", "3 !13 | !9 !5 7"))),
    ):
        yield VoicingRow(
            f"quartal, {name}",
            "quartal",
            forms,
            hand="both" if "|" in forms[0][1] else "left",
            rootless=rootless,
            source=FOURTHS_BOOK,
        )


def _spreads() -> Iterator[VoicingRow]:
    three, four, tenth = "root and seventh below three", "root and seventh below four", "root fifth tenth below three"
    for name, other, forms in (
        (
            three,
            four,
            (
                ("maj7 7 m7 mMaj7 sus augmaj7", "1 .7 | .3 .5/13 .9"),
                ("6 m6", "1 .7 | .3 .5 .9"),
                ("m7b5", "1 b7 | b3 b5 11"),
                ("dim7", "1 bb7 | b3 b5 7"),
                ("alt", "1 b7 | 3 .5/13 .9"),
            ),
        ),
        (
            four,
            three,
            (
                ("maj7 7", "1 .7 | .3 .5/#11 13 9"),
                ("sus", "1 .7 | .3 5 13 9"),
                ("m7", "1 b7 | b3 11 5 9"),
                ("alt", "1 b7 | 3 b13 b9 #11"),
            ),
        ),
        (
            tenth,
            three,
            (
                ("maj7 7", "1 5 .3 | 13 .7 9"),
                ("m7", "1 5 b3 | b7 9 11"),
                ("mMaj7", "1 5 b3 | 13 7 9"),
            ),
        ),
        ("stacked fifths a half step apart", three, (("m7", "1 5 9 | b3 b7 11"),)),
    ):
        yield VoicingRow(
            f"two-hand spread, {name}",
            "two-hand spread",
            forms,
            hand="both",
            rootless=False,
            other=f"two-hand spread, {other}",
        )


UPPER_STRUCTURES: Final = (
    ("II", "!9 #11 !13"),
    ("bIII", "#9 !5 b7"),
    ("#IV", "#11 b7 b9"),
    ("bVI", "b13 1 #9"),
    ("VI", "!13 b9 3"),
    ("I minor", "1 #9 !5"),
    ("#IV minor", "#11 !13 b9"),
)
"""Triads heard over the third and flat seventh of a dominant, by their own root's degree."""


def _upper_structures() -> Iterator[VoicingRow]:
    for triad, degrees in UPPER_STRUCTURES:
        yield VoicingRow(
            f"upper-structure triad, {triad}",
            "upper-structure triad",
            ((_DOMINANT, f"3 b7 | {degrees}"),),
            hand="both",
            source=UPPER_BOOK,
        )


def _approach_shells() -> Iterator[VoicingRow]:
    above, below = "approach shell, half step above", "approach shell, half step below"
    # The prompted chord is the approach itself; `approach_root` finds it from the target.
    yield VoicingRow(above, "approach shell", ((SEVENTHS, "1 .7"),), rootless=False, other=below)
    yield VoicingRow(below, "approach shell", ((SEVENTHS, "1 .7"),), rootless=False, other=above)


def _colours_of_their_own() -> Iterator[VoicingRow]:
    yield VoicingRow(
        "sus, triad on the flat seventh",
        "sus",
        (("sus", "1 | b7 9 4"),),
        hand="both",
        rootless=False,
        source=UPPER_BOOK,
    )
    yield VoicingRow("sus, minor seventh on the fifth", "sus", (("sus", "1 | 5 b7 9 4"),), hand="both", rootless=False)
    yield VoicingRow("six-nine, root low", "six-nine", (("6 m6", "1 .3 6 9"),), rootless=False)
    yield VoicingRow(
        "six-nine, root and fifth below", "six-nine", (("6 m6", "1 5 | .3 6 9"),), hand="both", rootless=False
    )
    yield VoicingRow(
        "minor-major, triad on the fifth", "minor-major", (("mMaj7", "1 b3 | 5 7 9"),), hand="both", rootless=False
    )
    yield VoicingRow("lydian, from the third", "lydian", (("maj7", "3 #11 7 9"),), other="lydian, from the seventh")
    yield VoicingRow("lydian, from the seventh", "lydian", (("maj7", "7 9 3 #11"),), other="lydian, from the third")
    yield VoicingRow(
        "lydian, triad a whole step up", "lydian", (("maj7", "1 3 7 | 9 #11 13"),), hand="both", rootless=False
    )
    # A diminished seventh with one tone replaced by the note a whole step above it, on top: one shape, four names.
    for name, degrees in (
        ("with 9", "b3 b5 bb7 9"),
        ("with 11", "b5 bb7 1 11"),
        ("with b13", "bb7 1 b3 b13"),
        ("with 7", "1 b3 b5 7"),
    ):
        yield VoicingRow(
            f"diminished, {name}", "diminished", (("dim7", degrees),), hand="right", rootless="1" not in degrees.split()
        )
    # The diminished seventh chord on the 3, 5, b7 or b9 of a dominant is that dominant with a flat nine.
    for name, degrees in (
        ("on the third", "3 5 b7 b9"),
        ("on the fifth", "5 b7 b9 3"),
        ("on the seventh", "b7 b9 3 5"),
        ("on the flat ninth", "b9 3 5 b7"),
    ):
        yield VoicingRow(f"diminished, {name}", "diminished", (("7", degrees.replace("5", "!5")),))


@lru_cache(maxsize=1)
def all_rows() -> tuple[VoicingRow, ...]:
    """Every row of the table, in the order in which families are taught."""
    return (
        *_shells(),
        *_guide_tones(),
        *_three_note_rootless(),
        *_four_note_rootless(),
        *_close_positions(),
        *_triads(),
        *_quartal(),
        *_spreads(),
        *_upper_structures(),
        *_approach_shells(),
        *_colours_of_their_own(),
    )
