"""Writing chord symbols: a house style and two others, each a column of one table of heads.

Whatever is written reads back as the same chord: heads by their table row, everything else as bracketed changes that
the reading grammar defines (``b5`` replaces, ``addb5`` adds, ``no5`` takes away).

Source: common practice, no source; the choice of the house style is a judgement.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from trainer.chords.tones import (
    ALTERED,
    ANY,
    BIT_OF_NAME,
    CHANGES,
    DEGREE_OF_BIT,
    HEADS,
    PLAIN,
    SEVENTHS,
    SUSPENSIONS,
    Head,
    degrees_of,
    fits,
    settle,
    tones,
)

HOUSE: Final = "house"
NO_CHORD: Final = "N.C."
STYLES: Final = (HOUSE, "words", "signs")
"""``house`` Cm7 Bbmaj7 F#m7b5, ``words`` Cmin7 Bbmaj7 F#halfdim7, ``signs`` C-7 B♭△7 F♯ø7."""


class _Row(NamedTuple):
    head: Head
    texts: tuple[str, str, str]


def _row(word: str, number: str, *texts: str) -> _Row:
    house, words, signs = texts if len(texts) == 3 else (texts[0],) * 3
    return _Row(HEADS[word, number], (house, words, signs))


def _with(word: str, number: str, added: str, *texts: str) -> _Row:
    row = _row(word, number, *texts)
    return row._replace(head=row.head._replace(tones=row.head.tones | tones(added)))


def _suspended(number: str, by: str, text: str, word: str = "") -> _Row:
    head = HEADS[word, number]
    mask = head.tones & ~ANY[3] & ~(head.optional & ANY[11]) | SUSPENSIONS[by]
    return _Row(Head(mask, head.optional & mask, head.seventh), (text, text, text.replace("maj", "△")))


# Where two heads need equally many changes, the upper row wins.
_ROWS: Final = (
    _row("", "", ""),
    _row("m", "", "m", "min", "-"),
    _row("o", "", "dim", "dim", "°"),
    _row("+", "", "aug", "aug", "+"),
    _row("", "5", "5"),
    _suspended("", "4", "sus4"),
    _suspended("", "2", "sus2"),
    _suspended("", "24", "sus24"),
    _row("", "6", "6"),
    _row("m", "6", "m6", "min6", "-6"),
    _row("", "69", "6/9"),
    _row("m", "69", "m6/9", "min6/9", "-6/9"),
    _row("", "7", "7"),
    _row("m", "7", "m7", "min7", "-7"),
    _row("M", "7", "maj7", "maj7", "△7"),
    _row("h", "7", "m7b5", "halfdim7", "ø7"),
    _row("o", "7", "dim7", "dim7", "°7"),
    _row("mM", "7", "mMaj7", "minmaj7", "-△7"),
    _row("oM", "7", "dimMaj7", "dimmaj7", "°△7"),
    _suspended("7", "4", "7sus4"),
    _suspended("7", "2", "7sus2"),
    _suspended("7", "4", "maj7sus4", "M"),
    _row("", "9", "9"),
    _row("m", "9", "m9", "min9", "-9"),
    _row("M", "9", "maj9", "maj9", "△9"),
    _row("mM", "9", "mMaj9", "minmaj9", "-△9"),
    _suspended("9", "4", "9sus4"),
    _row("", "11", "11"),
    _row("m", "11", "m11", "min11", "-11"),
    _row("M", "11", "maj11", "maj11", "△11"),
    _row("mM", "11", "mMaj11", "minmaj11", "-△11"),
    _row("", "13", "13"),
    _row("m", "13", "m13", "min13", "-13"),
    _row("M", "13", "maj13", "maj13", "△13"),
    _row("h", "13", "m13b5", "halfdim13", "ø13"),
    _row("mM", "13", "mMaj13", "minmaj13", "-△13"),
    _suspended("13", "4", "13sus4"),
    _with("", "", "9", "add9"),
    _with("m", "", "9", "madd9", "minadd9", "-add9"),
    _with("", "", "2", "add2"),
    _with("m", "", "2", "madd2", "minadd2", "-add2"),
    _Row(ALTERED, ("7alt", "7alt", "7alt")),
)


TEXTS: Final = frozenset(text.replace("△", "^") for _, texts in _ROWS for text in texts)
"""Every head text of every style, as reading sees it."""


def _changes(head: Head, mask: int) -> tuple[list[str], int]:
    """What turns the tones of a head into `mask`, as reading understands it, and what it costs."""
    changes: list[str] = []
    omitted: list[str] = []
    cost = 0
    firm = mask & (SEVENTHS | ANY[6])  # an altered 9 without seventh would be read as standing on one
    for number, places in ANY.items():
        have, want = head.tones & places, mask & places
        if have == want:
            continue
        missing, extra = have & ~want, want & ~have
        replacing = have == missing == PLAIN[number] and number != 7 and (number < 8 or firm)
        if missing and not (replacing and extra):
            omitted.append(f"no{number}")
            have, extra = places, want  # what is left out as a number comes back by add
        elif missing:
            have = 0
        while extra:
            bit = extra & -extra
            extra ^= bit
            degree = DEGREE_OF_BIT[bit]
            change = CHANGES.get((degree.alteration, number))
            cost += 1
            if bit == BIT_OF_NAME["7"]:
                changes.append("addmaj7")
                cost += 2
            elif degree.alteration and number != 7 and change and not change.clear & have and (number < 8 or firm):
                changes.append(degree.name)
            elif degree.alteration == 0 and number in (9, 11, 13) and head.tones & SEVENTHS:
                changes.append(degree.name)
            else:
                changes.append(f"add{degree.name}")
                cost += 2
    return changes + omitted, cost + 2 * len(omitted)


def write_tones(mask: int, optional: int, style: str) -> str:
    """The text of a quality, from its tone masks. Raises `KeyError` for an unknown style."""
    if style not in STYLES:
        raise KeyError(style)
    column = STYLES.index(style)
    if not mask:
        return NO_CHORD
    best: tuple[bool, int, str, list[str]] | None = None
    for head, texts in _ROWS:
        if not fits(head, mask):
            continue
        changes, cost = _changes(head, mask)
        kept = settle(mask, head.optional & mask) == optional
        if head is ALTERED and optional and not optional & ~ALTERED.optional:
            # The tones that alt holds for certain are named after it.
            changes = [degree.name for degree in degrees_of(mask & ALTERED.optional & ~optional)]
            kept = True
        if best is None or (not kept, cost) < best[:2]:
            best = (not kept, cost, texts[column], changes)
    assert best is not None
    *_, text, changes = best
    if changes:
        text += f"({','.join(changes)})"
    return signs(text) if style == "signs" else text


def signs(text: str) -> str:
    """ASCII accidentals as musical signs; only accidentals are written with b or # in this style."""
    return text.replace("b", "♭").replace("#", "♯")


def write_root(name: str, style: str) -> str:
    return name[0] + signs(name[1:]) if style == "signs" else name
