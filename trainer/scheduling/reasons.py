"""Why something is asked, in one sentence for the player. Every sentence states what the record holds, and no more."""

from __future__ import annotations

from datetime import date

from trainer.progress import Item, to_ten_ms
from trainer.scheduling.history import STAGE_ANSWERS, Answer, History
from trainer.scheduling.pool import Form

OUTCOME_WORDS = {
    "right": "right",
    "corrected": "right only after a correction",
    "shown": "played with the answer shown",
    "wrong": "wrong",
}


def ago_words(day: date, today: date) -> str:
    """A day as one says it.

    >>> ago_words(date(2026, 3, 9), date(2026, 3, 10)), ago_words(date(2026, 3, 1), date(2026, 3, 10))
    ('yesterday', '9 days ago')
    """
    days = (today - day).days
    return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"


def seconds_words(milliseconds: float) -> str:
    """A time to a tenth of a second: ``1.9 s``."""
    return f"{to_ten_ms(milliseconds) / 1000:.1f} s"


def answered_words(history: History, answer: Answer, day: date, just_now: bool = False) -> str:
    """What became of an answer and how its time compares: ``right yesterday, 1.9 s slower than your median``."""
    when = "just now" if just_now else ago_words(answer.day, day)
    words = f"{OUTCOME_WORDS[answer.kind]} {when}"
    median_ms = history.median_ms
    if answer.kind != "right" or answer.response_ms is None:
        return words
    if median_ms is not None and answer.response_ms - median_ms >= 100:
        return f"{words}, {seconds_words(answer.response_ms - median_ms)} slower than your median"
    return f"{words}, in {seconds_words(answer.response_ms)}"


def why_faded(history: History, item: Item, day: date) -> str:
    """Why an item that was right is asked again."""
    known, recall = history.items[item], history.recall(item, day)
    assert known.latest is not None and recall is not None
    return (
        f"{history.pool.label(item)}: {answered_words(history, known.latest, day)}, "
        f"and due again (about {100 * recall:.0f} % likely to be right still)."
    )


def why_wrong(history: History, item: Item, day: date) -> str:
    """Why an item that was missed is asked again."""
    known = history.items[item]
    assert known.latest is not None
    return f"{history.pool.label(item)}: {answered_words(history, known.latest, day)}."


def why_slow(history: History, item: Item, day: date) -> str:
    """Why an item that is right but slow is asked: against the median, or against what the set aims at."""
    known = history.items[item]
    assert known.latest is not None
    words = answered_words(history, known.latest, day)
    form, first_ms = history.pool.form_of(item[0], item[1]), known.first_ms
    if form is not None and first_ms is not None and first_ms > form.aim_ms:
        words += (
            f"; the first of a day lately took {seconds_words(first_ms)}, to aim at is {seconds_words(form.aim_ms)}"
        )
    return f"{history.pool.label(item)}: {words}."


def why_rest(history: History, item: Item, day: date) -> str:
    """Why an item that needs nothing is asked: to keep it in the shuffle."""
    known = history.items[item]
    assert known.latest is not None
    words = answered_words(history, known.latest, day)
    return f"{history.pool.label(item)}: {words}; it keeps the roots well mixed."


def why_new(history: History, form: Form, item: Item) -> str:
    """Why an item of the new form is asked."""
    of_form = history.forms.get((form.voicing, form.quality))
    label = history.pool.label(item)
    if of_form is None:
        return f"{label}: new; it is the next form in the set “{form.set_title}”."
    right = sum(of_form.recent)
    share = f"{right} of the latest {len(of_form.recent)} answers in this form were right"
    if item[2] not in of_form.roots:
        return f"{label}: new on this root; {share}."
    if len(of_form.recent) < STAGE_ANSWERS:
        return f"{label}: still new; {share}."
    return f"{label}: still new; {share}, about four in five are wanted."


def why_back(history: History, item: Item, day: date) -> str:
    """Why an item comes back within a session."""
    known = history.items[item]
    assert known.latest is not None
    return f"{history.pool.label(item)}: {answered_words(history, known.latest, day, just_now=True)}, so it comes back."
