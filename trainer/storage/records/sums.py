"""What attempts add to figures, in a form that can itself be added: the rows of the summary tables.

A `Sum` of some attempts and a `Sum` of others, no attempt being in both, make the `Sum` of all of them, in whatever
order they are added. So a day, a month, a year and all time of an item are each one row, a new attempt is added to
each, and any period is put together from a few of them. Lists of times hold the latest `LATEST_TIMES`: the latest of
a whole are among the latest of its parts. In a row such a list is text: moments, then each of their values, as 64-bit
numbers in base64, since a screen reads thousands of them and JSON takes ten times as long.

Days are those of UTC, kept as a set of bits: bit n for the nth day of this century, bit 0 for what is none. Moments
are milliseconds since 1970; a time that cannot be read as one stands at 0.
"""

from __future__ import annotations

import json
from binascii import Error as BinasciiError
from binascii import a2b_base64, b2a_base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from struct import error as PackError
from struct import pack, unpack
from typing import Any, Final, TypeVar

from trainer.pitch import PitchError
from trainer.progress import LATEST_TIMES, Attempt, plain_root

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_DAY_0: Final = date(1999, 12, 31).toordinal()

Opening = tuple[str, str, int, bool]
"""The first answer of a day: its utc, session and number, and whether it was right unaided."""

Time = tuple[int, float, float, float]
"""Moment, and response time, think and spread in milliseconds (below 0 where there is none)."""

NOTHING_MS: Final = -1.0

_Entry = TypeVar("_Entry", Time, tuple[int, float])

SUM_COLUMNS: Final = (
    "attempts right_unaided missed last_utc days_practised days_right opening misses settles times".split()
)
"""In the order of the fields of `Sum`. The lists of times come last: a row is read without them by leaving them off."""


@dataclass(slots=True)
class Sum:
    """What the figures need of some attempts; see the head of this module.

    `opening` is the first answer of the latest day; `misses` counts wrong first tries by cause ("" for none) and the
    degrees missed; `settles` are (moment, ms).
    """

    attempts: int = 0
    right: int = 0
    missed: int = 0
    last_utc: str = ""
    days_practised: int = 0
    days_right: int = 0
    opening: Opening | None = None
    misses: dict[tuple[str, tuple[str, ...]], int] = field(default_factory=dict)
    settles: list[tuple[int, float]] = field(default_factory=list)
    times: list[Time] = field(default_factory=list)

    @staticmethod
    def of(attempt: Attempt) -> Sum:
        """The sum of one attempt, which must count (`Attempt.counts`)."""
        right = attempt.right_unaided
        day = _day_bit(attempt.utc[:10])
        at = moment(attempt.utc)
        one = Sum(1, int(right), 0, attempt.utc, day, day if right else 0)
        one.opening = (attempt.utc, attempt.session, attempt.number, right)
        first = attempt.tries[0] if attempt.tries else None
        if attempt.missed and first is not None:
            one.missed = 1
            one.misses[first.cause or "", first.degrees_missed] = 1
        if attempt.settled and attempt.settle_ms is not None:
            one.settles.append((at, attempt.settle_ms))
        if attempt.timed and attempt.response_ms is not None:
            think_ms = first.think_ms if first is not None else None
            spread_ms = first.spread_ms if first is not None else NOTHING_MS
            one.times.append((at, attempt.response_ms, NOTHING_MS if think_ms is None else think_ms, spread_ms))
        return one

    def add(self, other: Sum) -> None:
        """Take in another sum."""
        self.attempts += other.attempts
        self.right += other.right
        self.missed += other.missed
        self.last_utc = max(self.last_utc, other.last_utc)
        self.days_practised |= other.days_practised
        self.days_right |= other.days_right
        self.opening = _later_opening(self.opening, other.opening)
        for miss, count in other.misses.items():
            self.misses[miss] = self.misses.get(miss, 0) + count
        self.settles = _joined(self.settles, other.settles)
        self.times = _joined(self.times, other.times)

    @property
    def learned(self) -> bool:
        """Whether the first answer of the latest day was right, and one on an earlier day (see `progress`)."""
        if self.opening is None or not self.opening[3]:
            return False
        return bool(self.days_right & (_day_bit(self.opening[0][:10]) - 1))

    def row(self) -> tuple[object, ...]:
        """The values of `SUM_COLUMNS`."""
        misses = [[cause, list(degrees), count] for (cause, degrees), count in sorted(self.misses.items())]
        return (
            self.attempts,
            self.right,
            self.missed,
            self.last_utc,
            _bits_text(self.days_practised),
            _bits_text(self.days_right),
            _json(self.opening),
            _json(misses),
            _columns(self.settles),
            _columns(self.times),
        )

    @staticmethod
    def of_row(row: Sequence[Any]) -> Sum:
        """From the values of `SUM_COLUMNS`, or the first of them; raises ValueError or TypeError for others."""
        attempts, right, missed, last_utc, practised, days_right, opening, misses, *lists = row
        found = Sum(attempts, right, missed, last_utc, _bits(practised), _bits(days_right))
        found.opening = tuple(json.loads(opening)) if opening != "null" else None
        found.misses = misses_of(misses)
        if lists:
            found.settles, found.times = settles_of(lists[0]), times_of(lists[1])
        return found


def misses_of(text: str) -> dict[tuple[str, tuple[str, ...]], int]:
    """The misses of a row, by cause and degrees. Raises ValueError or TypeError where the text is none."""
    if text == "[]":
        return {}
    return {(cause, tuple(degrees)): count for cause, degrees, count in json.loads(text)}


def settles_of(text: str) -> list[tuple[int, float]]:
    """The list of settle times of a row."""
    moments, settles = _numbers(text, 2)
    return list(zip(moments, settles, strict=True))


def times_of(text: str) -> list[Time]:
    """The list of response times of a row."""
    moments, responses, thinks, spreads = _numbers(text, 4)
    return list(zip(moments, responses, thinks, spreads, strict=True))


def responses_of(text: str) -> list[tuple[int, float]]:
    """The list of response times of a row, without their parts."""
    moments, responses = _numbers(text, 2)
    return list(zip(moments, responses, strict=True))


def _columns(entries: Sequence[tuple[float, ...]]) -> str:
    if not entries:
        return ""
    moments, *values = zip(*entries, strict=True)
    count = len(moments)
    packed = [pack(f"<{count}q", *moments), *(pack(f"<{count}d", *column) for column in values)]
    return " ".join(b2a_base64(column, newline=False).decode("ascii") for column in packed)


def _numbers(text: str, wanted: int) -> list[tuple[Any, ...]]:
    """The first columns of a list. Raises ValueError where the text is none."""
    if not text:
        return [()] * wanted
    parts = text.split(" ", wanted)[:wanted]
    try:
        raw = [a2b_base64(part) for part in parts]
        count = len(raw[0]) // 8
        return [unpack(f"<{count}q", raw[0]), *(unpack(f"<{count}d", column) for column in raw[1:])]
    except (BinasciiError, PackError) as error:
        raise ValueError(str(error)) from None


_json: Final = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode


def latest(entries: Iterable[_Entry]) -> list[_Entry]:
    """The latest of some entries in order of time; equal moments by their values, so that nothing else decides."""
    return sorted(entries)[-LATEST_TIMES:]


def _joined(some: list[_Entry], others: list[_Entry]) -> list[_Entry]:
    return latest(some + others) if others else some


def _later_opening(one: Opening | None, other: Opening | None) -> Opening | None:
    if one is None or other is None:
        return one or other
    if one[0][:10] != other[0][:10]:
        return one if one[0][:10] > other[0][:10] else other
    return min(one, other)


# -- days and moments


@lru_cache(maxsize=4096)
def _day_bit(day: str) -> int:
    try:
        return 1 << max(0, date.fromisoformat(day).toordinal() - _DAY_0)
    except ValueError:
        return 1


def _bits_text(bits: int) -> str:
    """A set of days as text: the lowest, a colon, and the rest from there in hexadecimal digits; "" for none."""
    if not bits:
        return ""
    lowest = (bits & -bits).bit_length() - 1
    return f"{lowest}:{bits >> lowest:x}"


@lru_cache(maxsize=4096)
def _bits(text: str) -> int:
    if not text:
        return 0
    lowest, _, rest = text.partition(":")
    return int(rest, 16) << int(lowest)


@lru_cache(maxsize=4096)
def moment(utc: str) -> int:
    """Milliseconds since 1970 of a UTC text; 0 where it cannot be read."""
    try:
        at = datetime.fromisoformat(utc)
    except ValueError:
        return 0
    at = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
    passed = at - _EPOCH
    return passed.days * 86_400_000 + passed.seconds * 1000 + passed.microseconds // 1000


# -- periods

Period = str
"""A day as ``2026-03-01``, a month as ``2026-03``, a year as ``2026``, or "" for all time."""


def periods_with(utc: str) -> tuple[Period, ...]:
    """The periods that a moment lies in, all time first."""
    return tuple(dict.fromkeys(("", utc[:4], utc[:7], utc[:10])))


def periods_between(first: date, end: date) -> list[Period]:
    """The fewest periods that make up the days from `first` up to, not including, `end`.

    >>> periods_between(date(2024, 11, 29), date(2026, 2, 2))
    ['2024-11-29', '2024-11-30', '2024-12', '2025', '2026-01', '2026-02-01']
    """
    found = []
    day = first
    while day < end:
        year_end = date(day.year + 1, 1, 1) if day.year < date.max.year else date.max
        month_end = year_end if day.month == 12 else date(day.year, day.month + 1, 1)
        if day.month == 1 and day.day == 1 and year_end <= end:
            found.append(f"{day.year:04d}")
            day = year_end
        elif day.day == 1 and month_end <= end:
            found.append(f"{day.year:04d}-{day.month:02d}")
            day = month_end
        else:
            found.append(day.isoformat())
            day = date.fromordinal(day.toordinal() + 1)
    return found


# -- items

Item = tuple[str, str, str]


def item_of(voicing: str, quality: str, root: str) -> Item:
    """Voicing, quality, and root under its name among the twelve (as it is, where it is no note)."""
    try:
        return (voicing, quality, plain_root(root))
    except PitchError:
        return (voicing, quality, root)


Key = tuple[str, str, str, str, Period, str, str, str]
"""Student, voicing, quality, root, period, set, port, assignment: what one row of the summaries is of."""

KEY_COLUMNS: Final = "student voicing quality root period set_title port assignment".split()


def sums_of(attempts: Iterable[tuple[str, Attempt]]) -> dict[Key, Sum]:
    """The rows that some attempts, each with its student, are added to; those that do not count are left out."""
    of_days: dict[tuple[str, ...], Sum] = {}
    for student, attempt in attempts:
        if attempt.counts:
            item = item_of(attempt.voicing, attempt.quality, attempt.root)
            key = (student, *item, attempt.utc[:10], attempt.set_title, attempt.port, attempt.assignment)
            one = Sum.of(attempt)
            if (there := of_days.get(key)) is None:
                of_days[key] = one
            else:
                there.add(one)
    found: dict[Key, Sum] = {}
    for (student, voicing, quality, root, day, *rest), one in of_days.items():
        set_title, port, assignment = rest
        for period in periods_with(day):
            found.setdefault((student, voicing, quality, root, period, set_title, port, assignment), Sum()).add(one)
    return found
