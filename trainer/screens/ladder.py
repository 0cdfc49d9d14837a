"""The ladder: the voicing asked for, one rung for each degree, the bottom note lowest.

As keys go down the rungs fill; further keys stand beside the ladder at their height. Every state has a sign and a word
(`STATES`), so it is never told by colour alone. Where the place is too low for rungs, the ladder lies down: one line
with degree and sign for each rung.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rich.cells import cell_len

from trainer.screens.drawing import Drawn, Span, fitted


@dataclass(frozen=True, slots=True)
class State:
    """How a rung stands: sign, word, role of its colour, and what the rung itself is drawn with."""

    sign: str
    word: str
    role: str
    rung: str


STATES: Final = {
    "waiting": State("○", "waiting", "faint", "┄"),
    "held": State("●", "held", "held", "━"),
    "replaced": State("✗", "instead", "wrong", "╌"),
    "moved": State("↕", "elsewhere", "moved", "━"),
    "missing": State("◌", "missing", "wrong", " "),
    "left out": State("–", "left out, fine", "faint", " "),
    "extra": State("+", "too many", "wrong", " "),
}


@dataclass(frozen=True, slots=True)
class Rung:
    """One degree: its names as shown ("" while they are hidden), its key, its state, and what to say beside it.

    `detail` takes the place of the state's word: "B instead", "an octave low".
    """

    degree: str
    note: str
    key: int
    state: str = "waiting"
    detail: str = ""

    @property
    def words(self) -> str:
        return self.detail or STATES[self.state].word


@dataclass(frozen=True, slots=True)
class Beside:
    """A key that is held and belongs to no rung: its height and its name."""

    key: int
    name: str


class Ladder(Drawn):
    """Rungs bottom up, and the keys beside them."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.rungs: tuple[Rung, ...] = ()
        self.beside: tuple[Beside, ...] = ()

    def show(self, rungs: Sequence[Rung], beside: Sequence[Beside] = ()) -> None:
        """Show other rungs; only what differs is painted."""
        self.rungs, self.beside = tuple(rungs), tuple(beside)
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        count = len(self.rungs)
        if count == 0:
            return []
        if height < count or width < 18:
            return self._lying(width, height)
        spaced = height >= 2 * count + 1
        drawn = self._standing(width, spaced)
        above = max(0, (height - len(drawn)) // 2)
        return [()] * above + drawn

    # -- standing

    def _standing(self, width: int, spaced: bool) -> list[list[Span]]:
        """Lines from the top: a rung each, with a line between them (and at both ends) where there is room."""
        notes = max((cell_len(rung.note) for rung in self.rungs), default=0)
        notes = max(notes, 2)
        rail = max(2, min(14, width - 5 - 2 - 1 - notes - 2 - 18))
        left = f"{'':4} ┃{' ' * rail}┃ "
        lines: list[list[Span]] = []
        ascending = sorted(self.rungs, key=lambda rung: rung.key)
        below_first = [beside for beside in self.beside if beside.key < ascending[0].key]
        for index, rung in enumerate(ascending):
            above = ascending[index + 1].key if index + 1 < len(ascending) else 1000
            between = [beside for beside in self.beside if rung.key < beside.key < above]
            if index == 0 and spaced:
                lines.append([(left, "faint"), *_names(below_first)])
                below_first = []
            crowd = [] if spaced else [*below_first, *between]
            below_first = []
            lines.append(self._rung(rung, rail, notes, crowd))
            if spaced:
                lines.append([(left, "faint"), *_names(between)])
        return lines[::-1]

    @staticmethod
    def _rung(rung: Rung, rail: int, notes: int, crowd: list[Beside]) -> list[Span]:
        state = STATES[rung.state]
        padding = " " * (notes - cell_len(rung.note))
        role = "strong" if rung.state in ("waiting", "held") else state.role
        spans: list[Span] = [
            (f"{rung.degree:>4} ", "strong"),
            ("┣", "faint"),
            (state.rung * rail, state.role),
            ("┫ ", "faint"),
            (rung.note + padding, role),
            ("  ", "text"),
            (f"{state.sign} {rung.words}", state.role),
        ]
        if crowd:
            spans += [("  ", "text"), *_names(crowd)]
        return spans

    # -- lying

    def _lying(self, width: int, height: int) -> list[list[Span]]:
        """Rungs one after the other, wrapped into the lines there are: ``♭3● 5○ ♭7✗B``."""
        words: list[list[Span]] = []
        for rung in sorted(self.rungs, key=lambda rung: rung.key):
            state = STATES[rung.state]
            words.append([(rung.degree or "·", "strong"), (state.sign, state.role)])
            if rung.state == "replaced":
                words[-1].append((rung.words.split(" ")[0], "wrong"))
        words += [[(f"+{beside.name}", "wrong")] for beside in self.beside]
        lines: list[list[Span]] = [[]]
        used = 0
        for spans in words:
            size = sum(cell_len(text) for text, _ in spans)
            if used and used + 2 + size > width and len(lines) < height:
                lines.append([])
                used = 0
            if used:
                lines[-1].append(("  ", "text"))
                used += 2
            lines[-1] += spans
            used += size
        return lines


def _names(beside: Sequence[Beside]) -> list[Span]:
    """The names of keys beside the ladder, the lowest first."""
    if not beside:
        return []
    names = " ".join(each.name for each in sorted(beside, key=lambda each: each.key))
    return [(fitted(f"{STATES['extra'].sign} {names} {STATES['extra'].word}", 24), "wrong")]
