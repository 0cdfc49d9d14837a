"""The record counted: what `trainer.progress.Tallies` asks for, answered from the summaries.

Whole days are read from the summaries, parts of a day (where `Only.since` or `until` name a time within one) from the
log. Days are those of UTC. Answers agree with `trainer.progress.AttemptTallies` of the same attempts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from trainer.progress import (
    EVERYTHING,
    LATEST_TIMES,
    MISSED_BY,
    TALLIED_BY,
    Attempt,
    Found,
    Only,
    Parts,
    Standing,
    Tally,
)
from trainer.storage.files import StorageError
from trainer.storage.records.databases import Database
from trainer.storage.records.summed import Summed
from trainer.storage.records.sums import (
    KEY_COLUMNS,
    Sum,
    latest,
    misses_of,
    moment,
    periods_between,
    responses_of,
    settles_of,
    sums_of,
    times_of,
)

Group = tuple[str, ...]

_COLUMNS: Final = {
    "voicing": "voicing",
    "quality": "quality",
    "root": "root",
    "day": "period",
    "set": "set_title",
    "port": "port",
}
_KEY_PLACES: Final = {word: KEY_COLUMNS.index(column) for word, column in _COLUMNS.items()}
_PERIOD: Final = KEY_COLUMNS.index("period")
_OF_A_MISS: Final = ("cause", "degree")
_FIRST_STRETCH: Final = 8
_FEW_GROUPS: Final = 100
_RECENT_DAYS: Final = 16
"""Of all time these days are read first: a group that was practised in them often enough needs no more."""
_IN: Final = {"sets": "set_title", "ports": "port", "voicings": "voicing", "qualities": "quality", "roots": "root"}


@dataclass(frozen=True, slots=True)
class _Span:
    """The days that are asked for: whole ones from `begin` up to `end`, and stretches of days that are cut short.

    Without `begin` and `end`, all days.
    """

    begin: date | None = None
    end: date | None = None
    stretches: Sequence[tuple[str, str]] = ()

    @property
    def empty(self) -> bool:
        """Whether no whole day is asked for."""
        return self.begin is not None and self.end is not None and self.begin >= self.end


class Counted:
    """A `trainer.progress.Tallies` of one student's attempts (by default the player's), or those for one assignment."""

    def __init__(self, records: Summed, student: str | None = None, assignment: str | None = None) -> None:
        self._records = records
        self._database = records.database
        self._student = records.database.owner if student is None else student
        self._assignment = assignment

    # -- what Tallies asks for

    def tallies(self, by: Sequence[str], only: Only = EVERYTHING, *, times: bool = True) -> dict[Group, Tally]:
        """See `trainer.progress.Tallies.tallies`."""
        asked = self._ask(by, TALLIED_BY, only)
        counts = asked.groups("SUM(attempts)", "SUM(right_unaided)", "MAX(last_utc)")
        responses = asked.responses() if times else {}
        found = {}
        for group in dict.fromkeys((*counts, *asked.extra)):
            rows = counts.get(group, [])
            own = asked.extra.get(group, ())
            found[group] = Tally(
                sum(row[0] for row in rows) + sum(one.attempts for one in own),
                sum(row[1] for row in rows) + sum(one.right for one in own),
                responses.get(group, ()),
                max((*(row[2] for row in rows), *(one.last_utc for one in own))),
            )
        return found

    def latest_times(
        self, by: Sequence[str], only: Only = EVERYTHING, groups: Iterable[Group] | None = None
    ) -> dict[Group, tuple[float, ...]]:
        """See `trainer.progress.Tallies.latest_times`."""
        asked = self._ask(by, TALLIED_BY, only)
        asked.known = None if groups is None else frozenset(groups)
        return asked.responses()

    def misses(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Group, int]:
        """See `trainer.progress.Tallies.misses`."""
        plain = [word for word in by if word not in _OF_A_MISS]
        asked = self._ask(plain, TALLIED_BY, only, by, MISSED_BY)
        counts: Counter[Group] = Counter()
        if len(plain) == len(by):
            for group, rows in asked.groups("SUM(missed)").items():
                counts[group] += sum(row[0] for row in rows)
            for group, sums in asked.extra.items():
                counts[group] += sum(one.missed for one in sums)
            return {group: count for group, count in counts.items() if count}
        for group, rows in asked.groups("misses", "COUNT(*)", further=("misses",), only_missed=True).items():
            for misses, times in rows:
                for (cause, degrees), count in misses_of(misses).items():
                    for key in _missed_keys(by, group, cause, degrees):
                        counts[key] += count * times
        for group, sums in asked.extra.items():
            for one in sums:
                for (cause, degrees), count in one.misses.items():
                    for key in _missed_keys(by, group, cause, degrees):
                        counts[key] += count
        return dict(counts)

    def parts(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Group, Parts]:
        """See `trainer.progress.Tallies.parts`."""
        asked = self._ask(by, TALLIED_BY, only)
        groups = dict.fromkeys((*asked.groups(), *asked.extra))
        times = asked.latest("times", times_of, lambda one: one.times)
        settles = asked.latest("settles", settles_of, lambda one: one.settles)
        return {
            group: Parts(
                tuple([time[2] for time in times.get(group, ()) if time[2] >= 0]),
                tuple([time[3] for time in times.get(group, ()) if time[3] >= 0]),
                tuple([settle for _, settle in settles.get(group, ())]),
            )
            for group in groups
        }

    def standings(self, only: Only = EVERYTHING) -> dict[tuple[str, str, str], Standing]:
        """See `trainer.progress.Tallies.standings`."""
        asked = self._ask(("voicing", "quality", "root"), TALLIED_BY, only)
        columns = ("attempts", "right_unaided", "missed", "last_utc", "days_practised", "days_right", "opening")
        found = {}
        rows = asked.groups(*columns, grouped=False)
        for group in dict.fromkeys((*rows, *asked.extra)):
            whole = Sum()
            for row in rows.get(group, ()):
                whole.add(Sum.of_row((*row, "[]")))
            for one in asked.extra.get(group, ()):
                whole.add(one)
            voicing, quality, root = group
            found[voicing, quality, root] = Standing(whole.days_practised.bit_count(), whole.last_utc, whole.learned)
        return found

    def found(self) -> Found:
        """See `trainer.progress.Tallies.found`."""
        asked = self._ask(("set", "port", "voicing", "quality"), TALLIED_BY, EVERYTHING)
        groups = dict.fromkeys((*asked.groups(), *asked.extra))
        return Found(
            tuple(sorted({group[0] for group in groups})),
            tuple(sorted({group[1] for group in groups})),
            tuple(sorted({(group[2], group[3]) for group in groups})),
        )

    # -- how

    def _ask(
        self,
        by: Sequence[str],
        known: Sequence[str],
        only: Only,
        named: Sequence[str] | None = None,
        all_known: Sequence[str] = (),
    ) -> _Asked:
        """What there is to an answer. Raises ValueError for a word that is not counted by."""
        words, allowed = (by, known) if named is None else (named, all_known)
        if unknown := [word for word in words if word not in allowed]:
            raise ValueError(f"attempts are not counted by {unknown[0]!r}; they can be by {', '.join(allowed)}")
        try:
            self._records.bring_up_to_date()
        except StorageError:
            pass  # what is pending is then added on the way; reading the rest will say what is wrong
        with self._database.reading():
            span = self._span(only)
            extra: list[Attempt] = []
            for since, until in span.stretches:
                extra += self._records.attempts(
                    since, until, assignment=self._assignment, student=self._student, with_events=False
                )
            pending = self._records.pending_attempts(self._student)
        there = {(one.session, one.number) for one in extra}
        extra += [
            one
            for one in pending
            if (one.session, one.number) not in there and self._assignment in (None, one.assignment)
        ]
        conditions, values = ["student = ?"], [self._student]
        for name, column in _IN.items():
            if among := getattr(only, name):
                conditions.append(f"{column} IN ({', '.join('?' * len(among))})")
                values += among
        if self._assignment is not None:
            conditions.append("assignment = ?")
            values.append(self._assignment)
        asked = _Asked(self._database, by, span, conditions, values)
        admitted = [(self._student, one) for one in extra if one.counts and only.admits(one)]
        for key, one in sums_of(admitted).items():
            if len(key[_PERIOD]) == (10 if asked.by_day else 0):
                asked.extra.setdefault(tuple([key[_KEY_PLACES[word]] for word in by]), []).append(one)
        return asked

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


class _Asked:
    """The rows of the summaries that a question is answered from; `extra` are sums, by group, that they do not have."""

    def __init__(
        self, database: Database, by: Sequence[str], span: _Span, conditions: Sequence[str], values: Sequence[str]
    ) -> None:
        self.by_day = "day" in by
        self.extra: dict[Group, list[Sum]] = {}
        self._database, self._span = database, span
        self._conditions, self._values = conditions, values
        self._names = [_COLUMNS[word] for word in by]
        self.known: frozenset[Group] | None = None
        """The groups that the summaries have, once that is known."""

    @property
    def _stretches(self) -> list[Sequence[str]]:
        """The periods that are asked for in stretches, the latest first, each twice as long as the one before."""
        span = self._span
        if span.begin is None or span.end is None:
            return [("",)]
        periods = periods_between(span.begin, span.end)[::-1]
        found: list[Sequence[str]] = []
        length = _FIRST_STRETCH
        while periods:
            found.append(periods[:length])
            periods = periods[length:]
            length *= 2
        return found

    @property
    def _recent(self) -> list[Sequence[str]]:
        """The latest days, as one stretch; none for single items, few of which are practised often in so few days."""
        if {"voicing", "root"} <= set(self._names):
            return []
        last = self._database.rows(
            f"SELECT period FROM summaries WHERE {' AND '.join(self._conditions)} ORDER BY period DESC LIMIT 1",
            self._values,
        )
        if not last or len(last[0][0]) != 10:
            return []
        end = _day(last[0][0], date.max).toordinal()
        return [[date.fromordinal(end - back).isoformat() for back in range(min(_RECENT_DAYS, end))]]

    def _where(self, periods: Sequence[str] | None = None) -> tuple[str, list[str]]:
        conditions, values = list(self._conditions), list(self._values)
        span = self._span
        if periods is not None and not self.by_day:
            conditions.append(f"period IN ({', '.join('?' * len(periods))})")
            values += periods
        if self.by_day:
            conditions.append("LENGTH(period) = 10")
            if span.begin is not None and span.end is not None:
                conditions.append("period >= ? AND period < ?")
                values += (span.begin.isoformat(), span.end.isoformat())
        return " AND ".join(conditions), values

    def groups(
        self, *columns: str, further: Sequence[str] = (), grouped: bool = True, only_missed: bool = False
    ) -> dict[Group, list[Sequence[Any]]]:
        """The rows of each group, summed by the database where they are `grouped`: the columns asked for."""
        if self._span.empty:
            return {}
        periods = [period for stretch in self._stretches for period in stretch]
        where, values = self._where(periods)
        # Joined to nothing, a column is not looked for in an index: SQLite would read all of one to save a small sort.
        by = ", ".join(f"{name} || ''" for name in (*self._names, *further))
        # A constant to group by gives no row where there is none to sum, unlike a sum over nothing.
        group_by = f" GROUP BY {by or 'student'}" if grouped else ""
        missed = " AND missed > 0" if only_missed else ""
        names_selected = [f"{name} || ''" for name in self._names] if grouped else self._names
        # With nothing but names asked for, an index would have them all, and all of it would be read.
        columns = columns or ("SUM(attempts)",)
        columns = tuple(f"{column} || ''" if grouped and column in further else column for column in columns)
        selected = ", ".join((*names_selected, *columns)) or "student"
        found: dict[Group, list[Sequence[Any]]] = {}
        names = len(self._names)
        for row in self._database.rows(f"SELECT {selected} FROM summaries WHERE {where}{missed}{group_by}", values):
            found.setdefault(tuple(row[:names]), []).append(tuple(row[names:]))
        if not only_missed:
            self.known = frozenset(found)
        return found

    def responses(self) -> dict[Group, tuple[float, ...]]:
        """The latest response times of each group that has any."""
        found = self.latest("times", responses_of, lambda one: [time[:2] for time in one.times])
        return {group: tuple([response for _, response in times]) for group, times in found.items() if times}

    def latest(
        self, column: str, read: Callable[[str], list[Any]], of: Callable[[Sum], list[Any]]
    ) -> dict[Group, list[Any]]:
        """The latest entries of each group: the latest periods are read first, and no more of them than it takes."""
        found: dict[Group, list[Any]] = {}
        stretches = [] if self._span.empty else [()] if self.by_day else self._stretches
        if stretches == [("",)]:
            stretches = [*self._recent, ("",)]
        names = len(self._names)
        wanting: set[Group] | None = None
        for stretch in stretches:
            if stretch == ("",):
                # This row holds the recent days as well: what they gave is enough, or it is read anew.
                found = {group: lists for group, lists in found.items() if len(lists) == LATEST_TIMES}
            where, values = self._where(stretch)
            if wanting is not None and self._names and len(wanting) <= _FEW_GROUPS:
                one = f"({', '.join('?' * names)})"
                where += f" AND ({', '.join(self._names)}) IN (VALUES {', '.join([one] * len(wanting))})"
                values += [value for group in wanting for value in group]
            selected = ", ".join((*self._names, "last_utc", column))
            rows: dict[Group, list[tuple[str, str]]] = {}
            for row in self._database.rows(
                f"SELECT {selected} FROM summaries WHERE {where} AND {column} <> ''", values
            ):
                group = tuple(row[:names])
                if len(found.get(group, ())) < LATEST_TIMES:
                    rows.setdefault(group, []).append((row[names], row[names + 1]))
            for group, lists in rows.items():
                of_stretch = _latest_of(lists, read)
                found[group] = latest(of_stretch + found[group]) if group in found else of_stretch
            if stretch is not stretches[-1]:
                if wanting is None:
                    wanting = set(self.groups() if self.known is None else self.known)
                wanting = {group for group in wanting if len(found.get(group, ())) < LATEST_TIMES}
                if not wanting:
                    break
        for group, sums in self.extra.items():
            entries = [entry for one in sums for entry in of(one)]
            if entries:
                found[group] = latest(found.get(group, []) + entries)
        return found


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
    if len(rows) == 1:
        return read(rows[0][1])
    found: list[Any] = []
    oldest = None
    for last_utc, text in sorted(rows, reverse=True):
        if oldest is not None and moment(last_utc) < oldest:
            break
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
