"""What a player has done so far, rebuilt by replaying attempts: ratings, what is due, levels, and minutes a day.

The first answer to an item on a day is rated and fed to FSRS (the `fsrs` package, its default weights, no fuzz, no
steps within a day); repeats within a day are drill:

    again   wrong at every try, or the answer was shown
    hard    right after a correction, or slower than twice the player's own median
    good    right at the first try
    easy    the same, faster than the set's target, after three earlier days on which the first answer was that, too

No interval is longer than `LONGEST_DAYS`: hand skills fade sooner than facts (a judgement: FSRS was fitted to facts).
The player's median is that of the latest `MEDIAN_OF` response times before the answer, from `LEAST_TIMES` on.

A day is one of the player's own calendar: `day_of` tells it for a UTC text. What is dated after `today` (a clock that
was wrong) counts as today's; an answer dated before its item's latest day is drill. Answers of the scripted player
count for nothing. Replay is linear in the number of attempts (some 2 s for a million); ratings are turned into FSRS
states only for the items that are asked about, from their latest `RATINGS_KEPT` days at most.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from enum import IntEnum
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from trainer.pitch import PitchError
from trainer.progress import Attempt, Item, plain_root
from trainer.scheduling.pool import Form, Pool

if TYPE_CHECKING:
    import fsrs

LONGEST_DAYS: Final = 30
RATINGS_KEPT: Final = 24
MEDIAN_OF: Final = 100
LEAST_TIMES: Final = 6
"""Under six times there is no median to speak of; see `progress.median_interval`."""

FAST_DAYS: Final = 3
SURE: Final = 0.9
"""An item counts as fast enough where its pace is this much of the aim: an estimate is only an estimate."""

FIRST_PART: Final = 0.5
WITHIN_PART: Final = 0.4
MOST_SURPRISE: Final = 0.5
NIGHT: Final = 0.2
NIGHTS: Final = 12
"""How a pace follows the answers (see `ItemHistory.pace_ms`); all of it a judgement.

The first answer of a day moves it by half of the difference (of logarithms), a later one by two fifths, and neither by
more than half: one answer in twenty is an interruption, three times as long. `NIGHT` is what a night costs (20 % of the
time) until `NIGHTS` of the player's own are known.
"""

SLOW_TIMES: Final = 2.0

STAGE_ANSWERS: Final = 12
STAGE_RIGHT: Final = 0.8
"""A new form is practised by itself until about 80 % of its latest answers are right, then it joins the shuffle.

Source: 80 to 90 % right as the aim of practice, and blocked, then mixed practice as the order (Wilson et al. 2019;
Carter & Grahn 2016; Stambaugh 2011); twelve as the number of answers is a judgement.
"""

LONGEST_PROMPT_S: Final = 60.0
"""More than this between two prompts is taken for a pause (a judgement)."""

PROMPT_S: Final = 10.0
"""What a prompt takes a player of whom nothing is known yet (a judgement)."""

LEVELS: Final = ("notes", "degrees", "name", "sound")
"""What is shown of an item, from all to nothing but its sound."""

RIGHT_TO_RISE: Final = 2
"""Right answers in a row before a hint fades by one level (a judgement); a wrong one brings it back."""


class Rating(IntEnum):
    """FSRS's four grades."""

    AGAIN = 1
    HARD = 2
    GOOD = 3
    EASY = 4


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as the schedule sees it: `kind` is right, corrected, shown or wrong; times only where they count."""

    day: date
    kind: str
    response_ms: float | None


@dataclass(slots=True)
class ItemHistory:
    """What is known of one item. `ratings` are one a day; `fast_days` counts first answers faster than the target."""

    ratings: list[tuple[date, Rating]] = field(default_factory=list)
    latest: Answer | None = None
    answers: int = 0
    fast_days: int = 0
    in_a_row: int = 0
    faded_levels: int = 0
    firsts: deque[float] = field(default_factory=lambda: deque(maxlen=3))
    pace_log: float | None = None
    slowness: float = 0.0
    within_log: float | None = None
    within_day: date | None = None
    card: Any = None
    card_of: tuple[int, int] = (0, 0)

    @property
    def pace_ms(self) -> float | None:
        """About what the first answer on another day would take; None where no time is known.

        It follows the first answers of days as they are, and later answers made slower by what a night usually costs
        the player: what is fast after many repeats is not yet fast tomorrow.
        """
        return None if self.pace_log is None else math.exp(self.pace_log)

    @property
    def first_ms(self) -> float | None:
        """The geometric mean of the latest first answers of a day, at most three; None where there are none."""
        return math.exp(math.fsum(self.firsts) / len(self.firsts)) if self.firsts else None


@dataclass(slots=True)
class FormHistory:
    """What is known of a form: its latest answers, the roots asked, and whether it is past its first stage."""

    recent: deque[bool] = field(default_factory=lambda: deque(maxlen=STAGE_ANSWERS))
    roots: set[str] = field(default_factory=set)
    passed: bool = False
    first_day: date | None = None
    latest_day: date | None = None


class History:
    """The replayed record; see the head of this module. Feed it with `add`, in order of time."""

    def __init__(self, pool: Pool, today: date, day_of: Callable[[str], date]) -> None:
        self.pool = pool
        self.today = today
        self._day_of = day_of
        self.items: dict[Item, ItemHistory] = {}
        self.forms: dict[tuple[str, str], FormHistory] = {}
        self.seconds: dict[date, float] = {}
        self._times: deque[float] = deque(maxlen=MEDIAN_OF)
        self._sorted: list[float] = []
        self._prompts: deque[float] = deque(maxlen=60)
        self._before: tuple[str, datetime, date] | None = None
        self._days: dict[str, date] = {}
        self._nights: deque[float] = deque(maxlen=100)
        self._night = NIGHT

    def add(self, attempt: Attempt) -> Item | None:
        """Count one more attempt and give its item, under its name in the pool; None where it counts for nothing.

        That is: not decided, played by the scripted player, or with a time or root that cannot be read.
        """
        if attempt.stamp_origin == "script":
            return None
        try:
            day = self._day(attempt.utc)
            self._clock(attempt, day)
            root = plain_root(attempt.root)
        except (ValueError, PitchError, OverflowError):
            return None
        if not attempt.counts:
            return None
        form = self.pool.form_of(attempt.voicing, attempt.quality)
        names = (attempt.voicing, attempt.quality) if form is None else (form.voicing, form.quality)
        item: Item = (*names, root)
        kind = "shown" if attempt.hint else "wrong" if attempt.outcome == "wrong" else "corrected"
        if attempt.right_unaided:
            kind = "right"
        response_ms = attempt.response_ms if attempt.timed else None
        self._answered(item, Answer(day, kind, response_ms), attempt.target_ms, form)
        return item

    def _day(self, utc: str) -> date:
        minute = utc[:16]  # no clock on earth is set by less than a quarter of an hour
        day = self._days.get(minute)
        if day is None:
            day = self._days[minute] = min(self._day_of(utc), self.today)
        return day

    def _clock(self, attempt: Attempt, day: date) -> None:
        """Seconds of practice: from prompt to prompt within a session; the last one of a session as long as usual."""
        at = datetime.fromisoformat(attempt.utc)
        before = self._before
        if before is not None:
            seconds = (at - before[1]).total_seconds()
            if before[0] == attempt.session and 0 < seconds <= LONGEST_PROMPT_S:
                self._prompts.append(seconds)
            else:
                seconds = self.prompt_s
            self.seconds[before[2]] = self.seconds.get(before[2], 0.0) + seconds
        self._before = (attempt.session, at, day)

    def _answered(self, item: Item, answer: Answer, target_ms: float | None, form: Form | None) -> None:
        known = self.items.get(item)
        if known is None:
            known = self.items[item] = ItemHistory()
        if not known.ratings or known.ratings[-1][0] < answer.day:
            known.ratings.append((answer.day, self._rating(answer, target_ms, known.fast_days)))
            if _faster(answer, target_ms):
                known.fast_days += 1
            first = True
        else:
            first = False
        if answer.response_ms is not None:
            self._paced(known, math.log(answer.response_ms), first, answer.day)
            if form is not None and known.pace_log is not None:
                known.slowness = max(0.0, known.pace_log - math.log(SURE * form.aim_ms))
        known.latest = answer
        known.answers += 1
        if answer.kind == "right":
            known.in_a_row += 1
            if known.in_a_row >= RIGHT_TO_RISE:
                known.in_a_row = 0
                least = LEVELS.index(form.drill.hint) if form is not None else 0
                known.faded_levels = min(known.faded_levels + 1, len(LEVELS) - 1 - least)
        else:
            known.in_a_row = 0
            known.faded_levels = max(known.faded_levels - 1, 0)
        if answer.response_ms is not None:
            if len(self._times) == MEDIAN_OF:
                del self._sorted[bisect_left(self._sorted, self._times[0])]
            self._times.append(answer.response_ms)
            insort(self._sorted, answer.response_ms)
        of_form = self.forms.get(item[:2])
        if of_form is None:
            of_form = self.forms[item[:2]] = FormHistory(first_day=answer.day)
        of_form.recent.append(answer.kind == "right")
        of_form.roots.add(item[2])
        of_form.latest_day = answer.day
        if not of_form.passed and form is not None:
            whole = len(of_form.roots) >= len(form.roots) and len(of_form.recent) == STAGE_ANSWERS
            of_form.passed = whole and sum(of_form.recent) >= STAGE_RIGHT * STAGE_ANSWERS

    def _paced(self, known: ItemHistory, log: float, first: bool, day: date) -> None:
        """Let an item's pace follow one more response time, given as its logarithm."""
        if first:
            known.firsts.append(log)
            if known.within_log is not None and known.within_day is not None and (day - known.within_day).days <= 3:
                self._nights.append(log - known.within_log)
                if len(self._nights) >= NIGHTS:
                    self._night = max(0.0, math.fsum(self._nights) / len(self._nights))
            known.within_log = None
        else:
            before = known.within_log
            known.within_log = log if before is None else before + WITHIN_PART * (log - before)
            known.within_day = day
            log += self._night
        if known.pace_log is None:
            known.pace_log = log
        else:
            surprise = max(-MOST_SURPRISE, min(MOST_SURPRISE, log - known.pace_log))
            known.pace_log += (FIRST_PART if first else WITHIN_PART) * surprise

    def _rating(self, answer: Answer, target_ms: float | None, fast_days: int) -> Rating:
        if answer.kind in ("wrong", "shown"):
            return Rating.AGAIN
        median_ms = self.median_ms
        slow = answer.response_ms is not None and median_ms is not None and answer.response_ms > SLOW_TIMES * median_ms
        if answer.kind == "corrected" or slow:
            return Rating.HARD
        return Rating.EASY if fast_days >= FAST_DAYS and _faster(answer, target_ms) else Rating.GOOD

    # -- what can be asked of it

    @property
    def median_ms(self) -> float | None:
        """The player's own median of the latest response times; None under `LEAST_TIMES`."""
        times = self._sorted
        if len(times) < LEAST_TIMES:
            return None
        middle = len(times) // 2
        return times[middle] if len(times) % 2 else (times[middle - 1] + times[middle]) / 2

    @property
    def prompt_s(self) -> float:
        """Seconds from one prompt to the next: the mean of the latest, `PROMPT_S` where there are under six."""
        return math.fsum(self._prompts) / len(self._prompts) if len(self._prompts) >= LEAST_TIMES else PROMPT_S

    def hint(self, item: Item, sound: bool) -> str:
        """What is shown of an item now: one of `LEVELS`, never more than its drill shows.

        Nothing but its sound only where there is a `sound` and it was faster than its target on `FAST_DAYS` days.
        """
        form, known = self.pool.form_of(item[0], item[1]), self.items.get(item)
        least = LEVELS.index(form.drill.hint) if form is not None else 0
        level = least + (known.faded_levels if known is not None else 0)
        if LEVELS[level] == "sound" and not (sound and known is not None and known.fast_days >= FAST_DAYS):
            level -= 1
        return LEVELS[level]

    def slowness(self, item: Item) -> float:
        """By how much an item's pace is slower than its set aims at, as a logarithm; 0 where it is not, or unknown."""
        known = self.items.get(item)
        return 0.0 if known is None else known.slowness

    def due(self, item: Item) -> date | None:
        """The day on which an item is due by FSRS; None where it was never rated."""
        card = self._card(item)
        return None if card is None else card.due.date()

    def recall(self, item: Item, day: date) -> float | None:
        """FSRS's chance, between 0 and 1, that an item is still right on a day; None where it was never rated."""
        card = self._card(item)
        return None if card is None else float(_scheduler().get_card_retrievability(card, _noon(day)))

    def _card(self, item: Item) -> fsrs.Card | None:
        known = self.items.get(item)
        if known is None or not known.ratings:
            return None
        count = len(known.ratings)
        # The window moves by half its length at a time, so that most days add one rating to the state at hand.
        half = RATINGS_KEPT // 2
        start = 0 if count <= RATINGS_KEPT else half * (-(-(count - RATINGS_KEPT) // half))
        done_from, done = known.card_of
        if known.card is None or done_from != start:
            known.card, done = _new_card(), start
        for day, rating in known.ratings[done:]:
            known.card = _reviewed(known.card, rating, day)
        known.card_of = (start, count)
        card: fsrs.Card = known.card
        return card


def replay(attempts: Iterable[Attempt], pool: Pool, today: date, day_of: Callable[[str], date]) -> History:
    """The history of some attempts, in whatever order they come."""
    history = History(pool, today, day_of)
    for attempt in sorted(attempts, key=lambda attempt: (attempt.utc, attempt.session, attempt.number)):
        history.add(attempt)
    return history


def _faster(answer: Answer, target_ms: float | None) -> bool:
    return (
        answer.kind == "right"
        and answer.response_ms is not None
        and target_ms is not None
        and answer.response_ms < target_ms
    )


# -- FSRS, loaded when first asked


@lru_cache(maxsize=1)
def _scheduler() -> fsrs.Scheduler:
    import fsrs

    return fsrs.Scheduler(learning_steps=(), relearning_steps=(), maximum_interval=LONGEST_DAYS, enable_fuzzing=False)


def _noon(day: date) -> datetime:
    """FSRS counts whole days between moments; the noons of two local days are whole days apart, whatever the clocks."""
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def _new_card() -> fsrs.Card:
    import fsrs

    return fsrs.Card(card_id=1, due=_noon(date(2000, 1, 1)))


def _reviewed(card: fsrs.Card, rating: Rating, day: date) -> fsrs.Card:
    import fsrs

    return _scheduler().review_card(card, fsrs.Rating(int(rating)), _noon(day))[0]


def intervals_days(ratings: Iterable[Rating]) -> tuple[int, ...]:
    """The intervals, in days, that follow some ratings each given on the day when it was due.

    >>> intervals_days([Rating.GOOD, Rating.GOOD, Rating.GOOD])
    (2, 11, 30)
    """
    card, day, intervals = _new_card(), date(2000, 1, 1), []
    for rating in ratings:
        card = _reviewed(card, rating, day)
        intervals.append((card.due - _noon(day)) // timedelta(days=1))
        day = card.due.date()
    return tuple(intervals)
