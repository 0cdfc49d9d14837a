"""The record counted: what `trainer.progress.Tallies` asks for, answered from the summaries.

Whole days are read from the summaries, parts of a day (where `Only.since` or `until` name a time within one) from the
log. Days are those of UTC. Answers agree with `trainer.progress.AttemptTallies` of the same attempts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from trainer.progress import EVERYTHING, LATEST_TIMES, MISSED_BY, TALLIED_BY, Found, Only, Parts, Standing, Tally
from trainer.storage.files import StorageError
from trainer.storage.records.summed import Summed
from trainer.storage.records.sums import (
    SUM_COLUMNS,
    Key,
    Sum,
    latest,
    moment,
    periods_between,
    settles_of,
    sums_of,
    times_of,
)

Group = tuple[str, ...]

_PLACES: Final = {"voicing": 0, "quality": 1, "root": 2, "day": 3, "set": 4, "port": 5}
_NAMES: Final = "voicing, quality, root, period, set_title, port"
_IN: Final = {"sets": "set_title", "ports": "port", "voicings": "voicing", "qualities": "quality", "roots": "root"}


@dataclass(frozen=True, slots=True)
class _Span:
    """The days that are asked for: whole ones from `begin` up to `end`, and stretches of days that are cut short.

    Without `begin` and `end`, all days.
    """

    begin: date | None = None
    end: date | None = None
    stretches: Sequence[tuple[str, str]] = ()


class Counted:
    """A `trainer.progress.Tallies` of one student's attempts (by default the player's), or those for one assignment."""

    def __init__(self, records: Summed, student: str | None = None, assignment: str | None = None) -> None:
        self._records = records
        self._database = records.database
        self._student = records.database.owner if student is None else student
        self._assignment = assignment

    # -- what Tallies asks for

    def tallies(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Group, Tally]:
        """See `trainer.progress.Tallies.tallies`."""
        groups = self._groups(by, TALLIED_BY, only, "attempts, right_unaided, last_utc, times")
        return {
            group: Tally(
                sum(row[0] for row in rows),
                sum(row[1] for row in rows),
                tuple([time[1] for time in _latest_of([(row[2], row[3]) for row in rows], times_of)]),
                max(row[2] for row in rows),
            )
            for group, rows in groups.items()
        }

    def misses(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Group, int]:
        """See `trainer.progress.Tallies.misses`."""
        plain = [word for word in by if word not in ("cause", "degree")]
        groups = self._groups(by, MISSED_BY, only, "missed, misses", plain)
        counts: Counter[Group] = Counter()
        for group, rows in groups.items():
            if plain == list(by):
                counts[group] += sum(row[0] for row in rows)
                continue
            for row in rows:
                if row[0]:
                    for (cause, degrees), count in Sum.of_row((0, 0, 0, "", "", "", "null", row[1])).misses.items():
                        for key in _missed_keys(by, group, cause, degrees):
                            counts[key] += count
        return {group: count for group, count in counts.items() if count}

    def parts(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Group, Parts]:
        """See `trainer.progress.Tallies.parts`."""
        groups = self._groups(by, TALLIED_BY, only, "last_utc, settles, times")
        found = {}
        for group, rows in groups.items():
            times = _latest_of([(row[0], row[2]) for row in rows], times_of)
            settles = _latest_of([(row[0], row[1]) for row in rows], settles_of)
            found[group] = Parts(
                tuple([time[2] for time in times if time[2] >= 0]),
                tuple([time[3] for time in times if time[3] >= 0]),
                tuple([settle for _, settle in settles]),
            )
        return found

    def standings(self, only: Only = EVERYTHING) -> dict[tuple[str, str, str], Standing]:
        """See `trainer.progress.Tallies.standings`."""
        columns = "attempts, right_unaided, missed, last_utc, days_practised, days_right, opening"
        found = {}
        for group, rows in self._groups(("voicing", "quality", "root"), TALLIED_BY, only, columns).items():
            whole = Sum()
            for row in rows:
                whole.add(Sum.of_row((*row, "[]")))
            voicing, quality, root = group
            found[voicing, quality, root] = Standing(whole.days_practised.bit_count(), whole.last_utc, whole.learned)
        return found

    def found(self) -> Found:
        """See `trainer.progress.Tallies.found`."""
        groups = self._groups(("set", "port", "voicing", "quality"), TALLIED_BY, EVERYTHING, "attempts")
        return Found(
            tuple(sorted({group[0] for group in groups})),
            tuple(sorted({group[1] for group in groups})),
            tuple(sorted({(group[2], group[3]) for group in groups})),
        )

    # -- how

    def _groups(
        self, by: Sequence[str], known: Sequence[str], only: Only, columns: str, plain: Sequence[str] | None = None
    ) -> dict[Group, list[Sequence[Any]]]:
        """The rows of each group, each as the values of the columns asked for."""
        if unknown := [word for word in by if word not in known]:
            raise ValueError(f"attempts are not counted by {unknown[0]!r}; they can be by {', '.join(known)}")
        places = [_PLACES[word] for word in (by if plain is None else plain)]
        names = len(_PLACES)
        groups: dict[Group, list[Sequence[Any]]] = {}
        for row in self._rows(only, columns, by_day="day" in by):
            groups.setdefault(tuple([row[place] for place in places]), []).append(row[names:])
        return groups

    def _rows(self, only: Only, columns: str, by_day: bool) -> list[Any]:
        """Rows of names and the columns asked for: from the summaries, from days cut short, from what is pending."""
        try:
            self._records.bring_up_to_date()
        except StorageError:
            pass  # what is pending is then added on the way; reading the rest will say what is wrong
        with self._database.reading():
            span = self._span(only)
            rows = self._summary_rows(only, columns, span, by_day)
            extra: list[Any] = []
            for since, until in span.stretches:
                extra += self._records.attempts(
                    since, until, assignment=self._assignment, student=self._student, with_events=False
                )
            pending = self._records.pending_attempts(self._student)
        extra_keys = {(one.session, one.number) for one in extra}
        extra += [
            one
            for one in pending
            if (one.session, one.number) not in extra_keys and self._assignment in (None, one.assignment)
        ]
        admitted = [(self._student, one) for one in extra if one.counts and only.admits(one)]
        if not admitted:
            return rows
        wanted = columns.split(", ")
        for key, one in sums_of(admitted).items():
            if len(key[_PERIOD]) == (10 if by_day else 0):
                rows.append(_as_row(key, one, wanted))
        return rows

    def _summary_rows(self, only: Only, columns: str, span: _Span, by_day: bool) -> list[Any]:
        conditions = ["student = ?"]
        values: list[str] = [self._student]
        if by_day:
            conditions.append("LENGTH(period) = 10")
        if span.begin is None or span.end is None:
            conditions += [] if by_day else ["period = ''"]
        elif span.begin >= span.end:
            return []
        elif by_day:
            conditions.append("period >= ? AND period < ?")
            values += (span.begin.isoformat(), span.end.isoformat())
        else:
            periods = periods_between(span.begin, span.end)
            conditions.append(f"period IN ({', '.join('?' * len(periods))})")
            values += periods
        for name, column in _IN.items():
            if among := getattr(only, name):
                conditions.append(f"{column} IN ({', '.join('?' * len(among))})")
                values += among
        if self._assignment is not None:
            conditions.append("assignment = ?")
            values.append(self._assignment)
        return self._database.rows(
            f"SELECT {_NAMES}, {columns} FROM summaries WHERE {' AND '.join(conditions)}", values
        )

    def _span(self, only: Only) -> _Span:
        if not only.since and not only.until:
            return _Span()
        first = self._database.rows(
            "SELECT period FROM summaries WHERE student = ? AND period > '' ORDER BY period LIMIT 1", (self._student,)
        )
        last = self._database.rows(
            "SELECT period FROM summaries WHERE student = ? ORDER BY period DESC LIMIT 1", (self._student,)
        )
        if not first or not last:
            return _Span(date.min, date.min)
        begin = max(_day(only.since or "0001"), _day(first[0][0], date.min))
        end = min(_day(only.until or "9999-12-31"), _next(_day(last[0][0], date.max)))
        stretches = []
        cut_end = len(only.until) > 10 and _day(only.until) == end
        if len(only.since) > 10 and _day(only.since) == begin:
            begin = _next(begin)
            stretches.append((only.since, min(begin.isoformat(), only.until or "9999-99")))
        if cut_end and end >= begin:
            stretches.append((end.isoformat(), only.until))
        return _Span(begin, end, stretches)


_PERIOD: Final = 4


def _as_row(key: Key, one: Sum, wanted: Sequence[str]) -> tuple[Any, ...]:
    values = dict(zip(SUM_COLUMNS, one.row(), strict=True))
    _, voicing, quality, root, period, set_title, port, _ = key
    return (voicing, quality, root, period, set_title, port, *(values[name] for name in wanted))


def _missed_keys(by: Sequence[str], group: Group, cause: str, degrees: Sequence[str]) -> Iterator[Group]:
    """The groups of a miss: one for each degree missed where it is asked by degree."""
    of_degree: Sequence[str] = degrees if "degree" in by else ("",)
    if "cause" in by and not cause:
        return
    for degree in of_degree:
        plain = iter(group)
        yield tuple([cause if word == "cause" else degree if word == "degree" else next(plain) for word in by])


def _latest_of(rows: list[tuple[str, str]], read: Callable[[str], list[Any]]) -> list[Any]:
    """The latest entries of many rows' lists, each row with the time after which it has none: old rows stay unread."""
    found: list[Any] = []
    oldest = None
    for last_utc, text in sorted(rows, reverse=True):
        if oldest is not None and moment(last_utc) < oldest:
            break
        if text != "[]":
            found += read(text)
        if len(found) >= LATEST_TIMES:
            found = latest(found)
            oldest = found[0][0]
    return latest(found)


def _day(text: str, otherwise: date | None = None) -> date:
    """The day on which a beginning of a UTC text begins: of ``2026`` the first of January."""
    try:
        return date.fromisoformat((text + "0000-01-01"[len(text) :])[:10])
    except ValueError:
        if otherwise is None:
            raise ValueError(f"{text!r} is no beginning of a time such as 2026-03-01") from None
        return otherwise


def _next(day: date) -> date:
    return date.fromordinal(day.toordinal() + 1) if day < date.max else day
