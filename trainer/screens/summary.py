"""The figures of a session that has ended, as text: per root, as a whole, and why answers missed."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from trainer.grading import CAUSES
from trainer.pitch import pretty
from trainer.progress import Attempt, Figures, by_root, causes, figures
from trainer.screens.drawing import data

NOT_ENOUGH = "not enough yet"


def share_words(each: Figures) -> str:
    """Accuracy with its interval: ``83 %  (55–95)``."""
    if each.accuracy is None or each.low is None or each.high is None:
        return "·"
    return f"{100 * each.accuracy:.0f} %  ({100 * each.low:.0f}–{100 * each.high:.0f})"


def time_words(each: Figures) -> str:
    """Median response time with its interval, to a hundredth of a second; or that there is too little to say."""
    if each.median_ms is None or each.median_low_ms is None or each.median_high_ms is None:
        return NOT_ENOUGH if each.attempts else "·"
    low, high = each.median_low_ms / 1000, each.median_high_ms / 1000
    return f"{each.median_ms / 1000:.2f} s  ({low:.2f}–{high:.2f})"


def summary_text(session: Sequence[Attempt], before: Sequence[Attempt] = (), first: Sequence[str] = ()) -> Content:
    """What a session came to. Times per root take the attempts `before` it in as well, since six are needed; the lines
    of `first` stand above the figures."""
    whole = figures(session)
    lines: list[Content] = [data(line).stylize("bold") for line in first]
    if lines:
        lines.append(Content(""))
    if not whole.attempts:
        lines.append(Content("Nothing was answered, so there is nothing to count."))
        return Content("\n").join(lines)
    lines.append(Content(f"Right at the first try: {whole.right} of {whole.attempts}, {share_words(whole)}"))
    lines.append(Content(f"Time from prompt to notes: {time_words(whole)}"))
    lines.append(Content(""))
    lines.append(
        Content(f"{'root':<6}{'tries':>5}   {'right at first':<16}   {'time, all your tries'}").stylize("bold")
    )
    ever = {row.root: row for row in by_root([*before, *session])}
    for row in by_root(session):
        time = time_words(ever[row.root])
        tries = str(row.attempts) if row.attempts else "·"
        lines.append(Content(f"{pretty(row.root):<6}{tries:>5}   {share_words(row):<16}   {time}"))
    lines.append(Content(""))
    mistakes = causes(session)
    if mistakes.total:
        lines.append(Content("Why first tries missed").stylize("bold"))
        for code, count in mistakes.cause.items():
            lines.append(Content(f"{count:>4}  ") + data(CAUSES.get(code, code)))
        degrees = "   ".join(f"{pretty(degree)} {count}×" for degree, count in mistakes.degree.items())
        if degrees:
            lines.append(Content(f"Degrees missed:  {degrees}"))
        lines.append(Content(""))
    lines.append(Content("Brackets: where the true figure lies with 95 % certainty; few tries leave it wide."))
    lines.append(Content("These figures are practice. What is still right on another day is progress."))
    return Content("\n").join(lines)
