"""What attempts come to when they are counted by voicing, root, set, port or day: the few numbers every figure needs.

Figures of a long record are not computed from its attempts one by one. They are asked of a `Tallies`: a store answers
from what it keeps ready, `AttemptTallies` from attempts in hand, and both give the same.

    record.tallies(("voicing", "root"), Only(since="2026-03-01"))     # {(voicing, root): Tally}
    record.misses(("cause",), Only(voicings=("shell",)))              # {(cause,): how often}

A key has one text for each word asked `by`, in that order; a root stands under its name among the twelve, a day is
what the source takes for one (`day_of`). Groups without an attempt that counts are not there. Response times are the
latest `LATEST_TIMES` of each group: what the hands can do now, not what they could do years ago, and so that groups
of unlike size are described alike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol

from trainer.progress.attempts import Attempt

Key = tuple[str, ...]

TALLIED_BY: Final = ("voicing", "quality", "root", "set", "port", "day")
MISSED_BY: Final = ("cause", "degree", "voicing", "quality", "root", "set", "port", "day")

LATEST_TIMES: Final = 100
"""How many response times describe a group: the interval of a median of 100 is some 6 % to either side, narrower than
what changes within weeks of practice (a judgement; width computed as in `trainer.estimates`)."""


@dataclass(frozen=True, slots=True)
class Only:
    """Which attempts are asked for; what is empty leaves its side free.

    `since` (included) and `until` (excluded) are beginnings of UTC times, as in ``2026-03-01``; of the tuples an
    attempt must have one value each. Roots are names among the twelve.
    """

    since: str = ""
    until: str = ""
    sets: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    voicings: tuple[str, ...] = ()
    qualities: tuple[str, ...] = ()
    roots: tuple[str, ...] = ()

    def admits(self, attempt: Attempt) -> bool:
        """Whether an attempt is asked for."""
        return (
            (not self.since or attempt.utc >= self.since)
            and (not self.until or attempt.utc < self.until)
            and (not self.sets or attempt.set_title in self.sets)
            and (not self.ports or attempt.port in self.ports)
            and (not self.voicings or attempt.voicing in self.voicings)
            and (not self.qualities or attempt.quality in self.qualities)
            and (not self.roots or attempt.plain_root in self.roots)
        )


EVERYTHING: Final = Only()


@dataclass(frozen=True, slots=True)
class Tally:
    """Attempts that count, how many were right unaided, the latest response times (ms, oldest first), the last utc."""

    attempts: int
    right: int
    times_ms: tuple[float, ...] = ()
    last_utc: str = ""


@dataclass(frozen=True, slots=True)
class Parts:
    """Where the time went (ms): think and spread of the latest response times, settle of the latest right answers."""

    think_ms: tuple[float, ...] = ()
    spread_ms: tuple[float, ...] = ()
    settle_ms: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """How an item stands: days on which it was practised, when last, and whether it is learned (see `progress`)."""

    days: int
    last_utc: str
    learned: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What a record holds to choose from, each in the order of the alphabet: sets, ports, (voicing, quality) pairs."""

    sets: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    kinds: tuple[tuple[str, str], ...] = ()


class Tallies(Protocol):
    """A record of practice, counted. Raises ValueError for words that it does not count by."""

    def tallies(self, by: Sequence[str], only: Only = EVERYTHING, *, times: bool = True) -> Mapping[Key, Tally]:
        """The tally of each group; `by` are words of `TALLIED_BY`. Without `times` it has none, and comes sooner."""
        ...

    def latest_times(
        self, by: Sequence[str], only: Only = EVERYTHING, groups: Iterable[Key] | None = None
    ) -> Mapping[Key, tuple[float, ...]]:
        """The response times of each group's tally, where it has any; `groups` are all there are, where that is known:
        it comes sooner then."""
        ...

    def misses(self, by: Sequence[str], only: Only = EVERYTHING) -> Mapping[Key, int]:
        """How many wrong first tries each group has; `by` are words of `MISSED_BY`.

        A try counts once under its first cause; by degree it counts once under each degree missing or replaced, and
        not at all where there is none.
        """
        ...

    def parts(self, by: Sequence[str], only: Only = EVERYTHING) -> Mapping[Key, Parts]:
        """Where the time went in each group; `by` are words of `TALLIED_BY`."""
        ...

    def standings(self, only: Only = EVERYTHING) -> Mapping[tuple[str, str, str], Standing]:
        """How each item practised (voicing, quality, root) stands at the end of the period asked for."""
        ...

    def found(self) -> Found:
        """What there is to choose from."""
        ...


_VALUES: Final[Mapping[str, Callable[[Attempt], str]]] = {
    "voicing": lambda attempt: attempt.voicing,
    "quality": lambda attempt: attempt.quality,
    "root": lambda attempt: attempt.plain_root,
    "set": lambda attempt: attempt.set_title,
    "port": lambda attempt: attempt.port,
}


def utc_day(utc: str) -> str:
    """The UTC day of a time as it is recorded."""
    return utc[:10]


class AttemptTallies:
    """The tallies of attempts in hand. `day_of` gives the day of a `utc` text, in a form that sorts by time."""

    def __init__(self, attempts: Iterable[Attempt], day_of: Callable[[str], str] = utc_day) -> None:
        self._attempts = sorted(attempts, key=lambda attempt: (attempt.utc, attempt.session, attempt.number))
        self._day_of = day_of

    def _key(self, by: Sequence[str], known: Sequence[str]) -> Callable[[Attempt], Key]:
        if unknown := [word for word in by if word not in known]:
            raise ValueError(f"attempts are not counted by {unknown[0]!r}; they can be by {', '.join(known)}")
        values = [self._day if word == "day" else _VALUES[word] for word in by if word not in ("cause", "degree")]
        return lambda attempt: tuple([value(attempt) for value in values])

    def _day(self, attempt: Attempt) -> str:
        return self._day_of(attempt.utc)

    def _groups(self, by: Sequence[str], only: Only) -> dict[Key, list[Attempt]]:
        key = self._key(by, TALLIED_BY)
        groups: dict[Key, list[Attempt]] = {}
        for attempt in self._attempts:
            if attempt.counts and only.admits(attempt):
                groups.setdefault(key(attempt), []).append(attempt)
        return groups

    def tallies(self, by: Sequence[str], only: Only = EVERYTHING, *, times: bool = True) -> dict[Key, Tally]:
        """See `Tallies.tallies`."""
        return {
            key: Tally(
                len(members),
                sum(attempt.right_unaided for attempt in members),
                _latest(attempt.response_ms for attempt in members if times and attempt.timed),
                members[-1].utc,
            )
            for key, members in self._groups(by, only).items()
        }

    def latest_times(
        self, by: Sequence[str], only: Only = EVERYTHING, groups: Iterable[Key] | None = None
    ) -> dict[Key, tuple[float, ...]]:
        """See `Tallies.latest_times`."""
        return {key: tally.times_ms for key, tally in self.tallies(by, only).items() if tally.times_ms}

    def misses(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Key, int]:
        """See `Tallies.misses`."""
        key = self._key(by, MISSED_BY)
        counts: Counter[Key] = Counter()
        for attempt in self._attempts:
            if not (attempt.missed and only.admits(attempt)):
                continue
            first = attempt.tries[0]
            values = iter(key(attempt))
            keys: list[Key] = [()]
            for word in by:
                if word == "degree":
                    found: Sequence[str] = first.degrees_missed
                elif word == "cause":
                    found = [first.cause] if first.cause else []
                else:
                    found = [next(values)]
                keys = [(*begun, value) for begun in keys for value in found]
            counts.update(keys)
        return dict(counts)

    def parts(self, by: Sequence[str], only: Only = EVERYTHING) -> dict[Key, Parts]:
        """See `Tallies.parts`."""
        return {
            key: Parts(
                _latest(attempt.tries[0].think_ms for attempt in members if attempt.timed and attempt.tries),
                _latest(attempt.tries[0].spread_ms for attempt in members if attempt.timed and attempt.tries),
                _latest(attempt.settle_ms for attempt in members if attempt.settled),
            )
            for key, members in self._groups(by, only).items()
        }

    def standings(self, only: Only = EVERYTHING) -> dict[tuple[str, str, str], Standing]:
        """See `Tallies.standings`."""
        days: dict[tuple[str, str, str], dict[str, list[Attempt]]] = {}
        for attempt in self._attempts:
            if attempt.counts and only.admits(attempt):
                item = (attempt.voicing, attempt.quality, attempt.plain_root)
                days.setdefault(item, {}).setdefault(self._day(attempt), []).append(attempt)
        standings = {}
        for item, answers in days.items():
            latest = max(answers)
            before = any(attempt.right_unaided for day, some in answers.items() if day < latest for attempt in some)
            learned = before and answers[latest][0].right_unaided
            standings[item] = Standing(len(answers), answers[latest][-1].utc, learned)
        return standings

    def found(self) -> Found:
        """See `Tallies.found`."""
        counted = [attempt for attempt in self._attempts if attempt.counts]
        return Found(
            tuple(sorted({attempt.set_title for attempt in counted})),
            tuple(sorted({attempt.port for attempt in counted})),
            tuple(sorted({(attempt.voicing, attempt.quality) for attempt in counted})),
        )


class Remembered:
    """The answers of another `Tallies`, each asked for once: for a screen or a report of a record that stands still."""

    def __init__(self, source: Tallies) -> None:
        self._source = source
        self._tallies: dict[tuple[Key, Only, bool], Mapping[Key, Tally]] = {}
        self._misses: dict[tuple[Key, Only], Mapping[Key, int]] = {}
        self._parts: dict[tuple[Key, Only], Mapping[Key, Parts]] = {}
        self._standings: dict[Only, Mapping[tuple[str, str, str], Standing]] = {}
        self._found: Found | None = None

    @property
    def has_found(self) -> bool:
        """Whether it is known what there is to choose from."""
        return self._found is not None

    def tallies(self, by: Sequence[str], only: Only = EVERYTHING, *, times: bool = True) -> Mapping[Key, Tally]:
        """See `Tallies.tallies`."""
        asked = (tuple(by), only, times)
        if asked not in self._tallies:
            self._tallies[asked] = self._with_times(by, only) if times else self._source.tallies(by, only, times=False)
        return self._tallies[asked]

    def _with_times(self, by: Sequence[str], only: Only) -> Mapping[Key, Tally]:
        if (tuple(by), only, False) not in self._tallies:
            return self._source.tallies(by, only)
        counts = self._tallies[tuple(by), only, False]
        times = self._source.latest_times(by, only, counts)
        return {key: replace(tally, times_ms=times.get(key, ())) for key, tally in counts.items()}

    def latest_times(
        self, by: Sequence[str], only: Only = EVERYTHING, groups: Iterable[Key] | None = None
    ) -> Mapping[Key, tuple[float, ...]]:
        """See `Tallies.latest_times`."""
        return {key: tally.times_ms for key, tally in self.tallies(by, only).items() if tally.times_ms}

    def misses(self, by: Sequence[str], only: Only = EVERYTHING) -> Mapping[Key, int]:
        """See `Tallies.misses`."""
        asked = (tuple(by), only)
        if asked not in self._misses:
            self._misses[asked] = self._source.misses(by, only)
        return self._misses[asked]

    def parts(self, by: Sequence[str], only: Only = EVERYTHING) -> Mapping[Key, Parts]:
        """See `Tallies.parts`."""
        asked = (tuple(by), only)
        if asked not in self._parts:
            self._parts[asked] = self._source.parts(by, only)
        return self._parts[asked]

    def standings(self, only: Only = EVERYTHING) -> Mapping[tuple[str, str, str], Standing]:
        """See `Tallies.standings`."""
        if only not in self._standings:
            self._standings[only] = self._source.standings(only)
        return self._standings[only]

    def found(self) -> Found:
        """See `Tallies.found`."""
        if self._found is None:
            self._found = self._source.found()
        return self._found


def _latest(times: Iterable[float | None]) -> tuple[float, ...]:
    return tuple([time for time in times if time is not None][-LATEST_TIMES:])
