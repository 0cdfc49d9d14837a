"""How much was practised: seconds on each day, from the moments of answers and the lengths of passes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Final

from trainer.progress.tallies import utc_day
from trainer.timing import PassRecord

LONGEST_PAUSE_S: Final = 60.0
"""Of a longer pause between two answers only so much counts as practice (a judgement)."""


def practice_seconds(
    answers: Iterable[tuple[str, str]], passes: Iterable[PassRecord] = (), day_of: Callable[[str], str] = utc_day
) -> dict[str, float]:
    """Seconds of practice on each day, in the order of days; {} for nothing played.

    `answers` are (session, utc) of attempts in the order of time. Between two answers of one session the time between
    them counts, of a pause longer than `LONGEST_PAUSE_S` only so much; before the first answer of a session nothing
    does. A pass counts with its beats at its tempo. A time that cannot be read counts as no time, on its day.

    >>> practice_seconds([("a", "2026-03-01T10:00:00Z"), ("a", "2026-03-01T10:00:08Z"), ("a", "2026-03-01T10:30:00Z")])
    {'2026-03-01': 68.0}
    """
    seconds: dict[str, float] = {}
    before: tuple[str, datetime | None] = ("", None)
    for session, utc in answers:
        now = _moment(utc)
        day = day_of(utc)
        seconds.setdefault(day, 0.0)
        if before[0] == session and before[1] is not None and now is not None:
            seconds[day] += max(0.0, min(LONGEST_PAUSE_S, (now - before[1]).total_seconds()))
        before = (session, now)
    for record in passes:
        day = day_of(record.utc)
        played = record.beats * 60 / record.tempo_bpm if record.tempo_bpm > 0 and record.outcome == "whole" else 0.0
        seconds[day] = seconds.get(day, 0.0) + played
    return dict(sorted(seconds.items()))


def _moment(utc: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(utc)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else None
