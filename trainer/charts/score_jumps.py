"""D.C., D.S., Coda and Fine of a score: the bars written out as they are played, since a chart has no such signs.

Where a score says what is to be heard (``<sound dacapo="yes">`` and the like) that is taken; else the signs and words
that a reader sees. From a jump on no repeat is taken and of endings the last is played; a `Fine` and a `To Coda` count
only after the jump; one jump is followed. A pick-up does not come again.

Source: MusicXML 4.0 (sound); the playing of repeats after a jump: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.etree.ElementTree import Element

from trainer.charts.values import Bar, Chart, rearranged

_WORDS: Final = (
    ("to_coda", re.compile(r"to coda\b", re.IGNORECASE)),
    ("da_capo", re.compile(r"d\. ?c\.|da capo\b", re.IGNORECASE)),
    ("dal_segno", re.compile(r"d\. ?s\.|dal segno\b", re.IGNORECASE)),
    ("fine", re.compile(r"fine$", re.IGNORECASE)),
)
_HEARD: Final = {
    "segno": "segno",
    "coda": "coda",
    "tocoda": "to_coda",
    "dalsegno": "dal_segno",
    "dacapo": "da_capo",
    "fine": "fine",
}


@dataclass(slots=True)
class Jumps:
    """The jump signs of one measure, as they are heard and as they are seen."""

    heard: frozenset[str] = frozenset()
    seen: frozenset[str] = frozenset()

    def hear(self, sound: Element) -> None:
        found = {sign for name, sign in _HEARD.items() if sound.get(name, "no") != "no"}
        self.heard |= found

    def read(self, tag: str, text: str) -> None:
        if tag in ("segno", "coda"):
            self.seen |= {tag}
        elif tag == "words":
            for sign, words in _WORDS:
                if words.match(text):
                    self.seen |= {sign}


def written_out(chart: Chart, order: Sequence[int], jumps: Sequence[Jumps]) -> Chart:
    """The chart as it is where it has no jumps; else its bars in the order in which they are played."""
    signs = [one.heard for one in jumps] if any(one.heard for one in jumps) else _as_seen(jumps)
    jump = next((at for at, here in enumerate(signs) if {"da_capo", "dal_segno"} & here), None)
    if jump is None or jump not in order:
        return chart
    last = len(order) - 1 - list(reversed(order)).index(jump)
    first_bar = 1 if chart.pickup_beats else 0
    segno = next((at for at, here in enumerate(signs) if "segno" in here), first_bar)
    back = first_bar if "da_capo" in signs[jump] else segno
    played = [*order[: last + 1], *_after_jump(chart.bars, signs, back)]
    bars = tuple(replace(bar, opens=False, closes=0, endings=()) for bar in chart.bars)
    return rearranged(replace(chart, bars=bars), played)


def _as_seen(jumps: Sequence[Jumps]) -> list[frozenset[str]]:
    """The signs as a reader takes them: of two coda signs the first says where to leave, and a jump sign's own words
    (D.S. al Coda) are no place to leave."""
    found = [one.seen for one in jumps]
    codas = [at for at, here in enumerate(found) if "coda" in here]
    if len(codas) > 1:
        found[codas[0]] = found[codas[0]] - {"coda"} | {"to_coda"}
    return found


def _after_jump(bars: Sequence[Bar], signs: Sequence[frozenset[str]], back: int) -> list[int]:
    """Bars from the target of a jump to the end, the coda or Fine."""
    coda = next((at for at, here in enumerate(signs) if "coda" in here), None)
    found = []
    at = back
    skipping = False
    left = False
    while at < len(bars):
        bar = bars[at]
        if bar.endings:
            skipping = _goes_back(bars, at)
        if not skipping:
            found.append(at)
        elif bar.closes and not (at + 1 < len(bars) and bars[at + 1].endings):
            skipping = False
        if not left and "fine" in signs[at] and not skipping:
            break
        if not left and "to_coda" in signs[at] and coda is not None and coda > at and not skipping:
            left, at = True, coda
            continue
        at += 1
    return found


def _goes_back(bars: Sequence[Bar], first: int) -> bool:
    """Whether the ending that begins here ends with a repeat, so that it is not the last."""
    at = first
    while not bars[at].closes and at + 1 < len(bars) and not (bars[at + 1].endings or bars[at + 1].opens):
        if bars[at + 1].letter:
            return False
        at += 1
    return bool(bars[at].closes) and at + 1 < len(bars) and bool(bars[at + 1].endings)
