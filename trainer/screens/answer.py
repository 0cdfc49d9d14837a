"""The answer before: what became of it, degree by degree, one sentence of cause, and the times.

It stands in a place of its own and stays readable while the next prompt is already up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.cells import cell_len

from trainer.screens.drawing import Drawn, Span, wrapped
from trainer.screens.ladder import STATES, Rung


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as shown: a heading with its sign, the degrees, the sentence, the times, and what comes next."""

    right: bool
    heading: str
    rungs: tuple[Rung, ...]
    sentence: str
    times: str = ""


class AnswerPanel(Drawn):
    """The last answer, and a line that says how to go on."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.answer: Answer | None = None
        self.next_step = ""
        self.before = False

    def show(self, answer: Answer | None, next_step: str, *, before: bool = False) -> None:
        """Show another answer, and how to go on; `before` says that it answers the prompt before this one."""
        self.answer, self.next_step, self.before = answer, next_step, before
        self.redraw()

    def lines(self, width: int, height: int) -> Sequence[Iterable[Span]]:
        next_step: list[list[Span]] = [[(line, "faint")] for line in wrapped(self.next_step, width)]
        answer = self.answer
        if answer is None:
            return next_step
        sign, role = ("✓", "held") if answer.right else ("✗", "wrong")
        sentence: list[list[Span]] = [[(line, "text")] for line in wrapped(answer.sentence, width)]
        before = "before: " if self.before else ""
        heading: list[Span] = [(before, "faint"), (f"{sign} {answer.heading}", role)]
        if height <= 1:
            return [[(f"{sign} {answer.sentence}", role)]]
        times: list[list[Span]] = []
        if answer.times:
            if cell_len(before + answer.heading) + cell_len(answer.times) + 6 <= width:
                heading.append((f"   {answer.times}", "text"))
            else:
                times = [[(line, "text")] for line in wrapped(answer.times, width)]
        lines = [heading]
        degrees = [] if answer.right else [_degrees(answer.rungs)]
        # What is left out first where the place is low: the times, the degrees, then how to go on.
        room = height - 1 - len(sentence)
        if room >= len(next_step) + len(degrees):
            lines += degrees
            room -= len(degrees)
        lines += sentence
        if room >= len(next_step) + len(times):
            lines += times
            room -= len(times)
        if room >= len(next_step):
            if room > len(next_step):
                lines.append([])
            lines += next_step
        return lines


def _degrees(rungs: tuple[Rung, ...]) -> list[Span]:
    """Degree and sign for each rung, bottom up: ``♭3 ●  5 ●  ♭7 ✗ B``."""
    spans: list[Span] = []
    for rung in sorted(rungs, key=lambda rung: rung.key):
        state = STATES[rung.state]
        spans += [(f"{rung.degree} ", "strong"), (state.sign, state.role)]
        if rung.state == "replaced":
            spans.append((f" {rung.words.split(' ')[0]}", state.role))
        spans.append(("  ", "text"))
    return spans
