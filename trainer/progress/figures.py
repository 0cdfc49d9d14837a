"""Figures of some attempts: accuracy and response time, slow roots, mistakes, what is learned, where the time goes.

Each function takes attempts; what counts for what is said in `trainer.progress`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from trainer.estimates import Middle, median_interval, wilson
from trainer.pitch import TWELVE_ROOTS
from trainer.progress.attempts import Attempt
from trainer.progress.tallies import Tally


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Accuracy and response time of some attempts.

    `accuracy`, `low` and `high` lie between 0 and 1 and are None where nothing counts; `median_ms` and its bounds are
    None under six `times`; `last_utc` is the latest counted attempt's.
    """

    attempts: int
    right: int
    accuracy: float | None
    low: float | None
    high: float | None
    times: int
    median_ms: float | None
    median_low_ms: float | None
    median_high_ms: float | None
    last_utc: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RootFigures(Figures):
    """The figures of one root, under its name among the twelve."""

    root: str


def figures(attempts: Iterable[Attempt]) -> Figures:
    """Accuracy (right/attempts, `wilson`) and response time (`median_interval`, ms) of the attempts that count.

    >>> figures([]).accuracy is None
    True
    """
    counted = [attempt for attempt in attempts if attempt.counts]
    right = sum(attempt.right_unaided for attempt in counted)
    last_utc = max((attempt.utc for attempt in counted), default=None)
    return Figures(**_estimated(len(counted), right, response_times_ms(counted), last_utc))


def estimated(tally: Tally | None) -> dict[str, Any]:
    """The fields of `Figures` of a tally (see `trainer.progress.tallies`); of nothing for None.

    >>> estimated(Tally(attempts=2, right=1))["accuracy"], estimated(None)["accuracy"]
    (0.5, None)
    """
    if tally is None:
        return _estimated(0, 0, (), None)
    return _estimated(tally.attempts, tally.right, tally.times_ms, tally.last_utc)


def _estimated(attempts: int, right: int, times_ms: Sequence[float], last_utc: str | None) -> dict[str, Any]:
    interval = wilson(right, attempts)
    middle = median_interval(times_ms)
    return {
        "attempts": attempts,
        "right": right,
        "accuracy": right / attempts if attempts else None,
        "low": interval[0] if interval else None,
        "high": interval[1] if interval else None,
        "times": len(times_ms),
        "median_ms": middle.median if middle else None,
        "median_low_ms": middle.low if middle else None,
        "median_high_ms": middle.high if middle else None,
        "last_utc": last_utc,
    }


def response_times_ms(attempts: Iterable[Attempt]) -> list[float]:
    """The response times that count, in the order of the attempts; empty where there are none.

    >>> response_times_ms([])
    []
    """
    return [attempt.response_ms for attempt in attempts if attempt.timed and attempt.response_ms is not None]


def by_root(attempts: Iterable[Attempt]) -> tuple[RootFigures, ...]:
    """The `figures` of each of the twelve roots, always all of them, in the cycle of fourths.

    An attempt on F# is counted under Gb, its name among the twelve. Raises `trainer.pitch.PitchError` for a root that
    is no note.

    >>> [row.root for row in by_root([])]
    ['C', 'F', 'Bb', 'Eb', 'Ab', 'Db', 'Gb', 'B', 'E', 'A', 'D', 'G']
    """
    groups = group(attempts, "root")
    rows = []
    for note in TWELVE_ROOTS:
        one = figures(groups.get(note.name, ()))
        rows.append(RootFigures(root=note.name, **{name: getattr(one, name) for name in Figures.__slots__}))
    return tuple(rows)


GROUPINGS: Final[Mapping[str, Callable[[Attempt], Hashable]]] = {
    "item": lambda attempt: (attempt.voicing, attempt.quality, attempt.plain_root),
    "root": lambda attempt: attempt.plain_root,
    "voicing": lambda attempt: attempt.voicing,
    "quality": lambda attempt: attempt.quality,
    "set": lambda attempt: attempt.set_title,
    "day": lambda attempt: attempt.utc[:10],
}
"""What attempts can be grouped by; a day is one of UTC."""


def group(attempts: Iterable[Attempt], by: str) -> dict[Hashable, tuple[Attempt, ...]]:
    """Attempts under each value of a row of `GROUPINGS`, in the order in which the values first come; {} for none.

    Raises ValueError for any other name.

    >>> group([], "voicing")
    {}
    """
    if by not in GROUPINGS:
        raise ValueError(f"attempts are not grouped by {by!r}; they can be by {', '.join(GROUPINGS)}")
    value = GROUPINGS[by]
    groups: dict[Hashable, list[Attempt]] = {}
    for attempt in attempts:
        groups.setdefault(value(attempt), []).append(attempt)
    return {name: tuple(members) for name, members in groups.items()}


def figures_by(attempts: Iterable[Attempt], by: str) -> dict[Hashable, Figures]:
    """The `figures` of each group of `group`; {} for none. Raises ValueError for an unknown grouping.

    >>> figures_by([], "quality")
    {}
    """
    return {name: figures(members) for name, members in group(attempts, by).items()}


# -- slow roots

LEAST_FOR_THREE: Final = 12
LEAST_FOR_ONE: Final = 20
"""Response times of each root before the slowest three, or the slowest one, are named.

Source: simulation of twelve roots in a shifted log-normal, one of them truly 30 % slower: it is among the slowest
three of twelve times each in 85 % of cases, and is the slowest of twenty times each in 76 %.
"""


@dataclass(frozen=True, slots=True)
class SlowRoots:
    """`roots` are the three slowest, slowest first; `slowest` is the first of them where that can be told, else None.

    Where no more than three roots could be compared, `roots` is the slowest alone.
    Compared were the `compared` roots on their latest `tries` response times each; `not_yet` were asked, but too few
    of their times count.
    """

    roots: tuple[str, ...]
    slowest: str | None
    tries: int
    compared: tuple[str, ...]
    not_yet: tuple[str, ...]


def slowest_roots(attempts: Iterable[Attempt]) -> SlowRoots | None:
    """The three slowest roots, and the slowest one, each as soon as the times suffice; None: "not enough yet".

    Roots with at least `LEAST_FOR_THREE` response times are compared by the mean of the logarithms of the latest times,
    the same number for each root: as many as the root with the fewest has, at most `LEAST_FOR_ONE`. The slowest three
    are named out of four roots or more; the slowest one where each has `LEAST_FOR_ONE` times and no root is left
    out. Equal means keep the cycle of fourths. Sources: Rousselet & Wilcox (2020), median to describe, mean of logs to
    compare; Miller (1988), medians of unequal n do not compare.

    >>> slowest_roots([]) is None
    True
    """
    times: dict[str, list[float]] = {}
    for attempt in sorted(attempts, key=lambda attempt: (attempt.utc, attempt.session, attempt.number)):
        if attempt.counts:
            times.setdefault(attempt.plain_root, [])
        if attempt.timed and attempt.response_ms is not None:
            times[attempt.plain_root].append(attempt.response_ms)
    return slowest_of(times)


def slowest_of(times_ms: Mapping[str, Sequence[float]]) -> SlowRoots | None:
    """`slowest_roots` of the response times of each root that was asked, oldest first.

    >>> slowest_of({}) is None
    True
    """
    order = [note.name for note in TWELVE_ROOTS if note.name in times_ms]
    compared = tuple(root for root in order if len(times_ms[root]) >= LEAST_FOR_THREE)
    if len(compared) < 2:
        return None
    not_yet = tuple(root for root in order if root not in compared)
    tries = min(LEAST_FOR_ONE, *(len(times_ms[root]) for root in compared))
    means = {root: math.fsum(map(math.log, times_ms[root][-tries:])) / tries for root in compared}
    slow_first = sorted(compared, key=lambda root: -means[root])
    alone = tries == LEAST_FOR_ONE and not not_yet
    named = slow_first[:3] if len(compared) > 3 else slow_first[: int(alone)]
    if not named:
        return None
    return SlowRoots(tuple(named), slow_first[0] if alone else None, tries, compared, not_yet)


# -- mistakes


@dataclass(frozen=True, slots=True)
class Mistakes:
    """How often each was missed, the most frequent first: causes by code, degrees, roots among the twelve, voicings."""

    total: int = 0
    cause: Mapping[str, int] = field(default_factory=dict)
    degree: Mapping[str, int] = field(default_factory=dict)
    root: Mapping[str, int] = field(default_factory=dict)
    voicing: Mapping[str, int] = field(default_factory=dict)


def causes(attempts: Iterable[Attempt]) -> Mistakes:
    """Counts over the wrong first tries of the attempts that count; all empty where there are none.

    Each such try counts once under its first cause (ties stay in the record), its root and its voicing, and once
    under each degree that was missing or replaced. A degree in another octave was found, so it is not counted.

    >>> causes([])
    Mistakes(total=0, cause={}, degree={}, root={}, voicing={})
    """
    by_cause: Counter[str] = Counter()
    by_degree: Counter[str] = Counter()
    roots: Counter[str] = Counter()
    voicings: Counter[str] = Counter()
    total = 0
    for attempt in attempts:
        if not attempt.missed:
            continue
        first = attempt.tries[0]
        total += 1
        if first.cause is not None:
            by_cause[first.cause] += 1
        by_degree.update(first.degrees_missed)
        roots[attempt.plain_root] += 1
        voicings[attempt.voicing] += 1
    return Mistakes(total, ranked(by_cause), ranked(by_degree), ranked(roots), ranked(voicings))


def ranked(counts: Mapping[str, int]) -> dict[str, int]:
    """Counts, the most frequent first; equal ones in the order of their names.

    >>> ranked({"b": 1, "a": 1, "c": 2})
    {'c': 2, 'a': 1, 'b': 1}
    """
    return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))


# -- learned

Item = tuple[str, str, str]
"""Voicing, quality, root."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Items that were practised, and those among them that are learned, in the order in which they were first met."""

    practised: tuple[Item, ...]
    learned: tuple[Item, ...]


def progress(attempts: Iterable[Attempt], day_of: Callable[[str], str] = lambda utc: utc[:10]) -> Progress:
    """What was practised, and what of it is learned: still right on another day.

    An item is practised once an attempt at it counts. It is learned if the first answer on its latest day was right
    unaided and it had been right unaided on an earlier day: repeats within a day are practice, not progress.
    `day_of` gives the day of a `utc` text, in a form that sorts by time (by default the UTC day). Both are
    empty where nothing counts.
    Source: retention is measured on another day, as in Simmons (2012), J. Research in Music Education 59.

    >>> progress([])
    Progress(practised=(), learned=())
    """
    days: dict[Item, dict[str, list[bool]]] = {}
    for attempt in sorted(attempts, key=lambda attempt: (attempt.utc, attempt.session, attempt.number)):
        if attempt.counts:
            item = (attempt.voicing, attempt.quality, attempt.plain_root)
            days.setdefault(item, {}).setdefault(day_of(attempt.utc), []).append(attempt.right_unaided)
    learned = tuple(
        item
        for item, answers in days.items()
        if (latest := max(answers)) and answers[latest][0] and any(any(answers[day]) for day in answers if day < latest)
    )
    return Progress(tuple(days), learned)


# -- where the time goes


@dataclass(frozen=True, slots=True)
class TimeSplit:
    """Medians in ms: think (prompt to first note-on), spread (first to last note-on), settle (last to right)."""

    think_ms: Middle | None
    spread_ms: Middle | None
    settle_ms: Middle | None


def time_split(attempts: Sequence[Attempt]) -> TimeSplit:
    """The three parts of the time, each with its interval (`median_interval`, ms); None under six.

    Think and spread are those of the first tries whose response time counts; settle is that of every attempt that
    ended right with nothing shown (0 when right at once) and was not set aside. Settle is never added to the others.
    Source of the split: planning before the first key, execution after it (Sternberg et al. 1978; Verwey 2001).

    >>> time_split([])
    TimeSplit(think_ms=None, spread_ms=None, settle_ms=None)
    """
    first_tries = [attempt.tries[0] for attempt in attempts if attempt.timed and attempt.tries]
    return TimeSplit(
        median_interval(one.think_ms for one in first_tries if one.think_ms is not None),
        median_interval(one.spread_ms for one in first_tries),
        median_interval(one.settle_ms for one in attempts if one.settled and one.settle_ms is not None),
    )
