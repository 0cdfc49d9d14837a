"""Figures laid out to be looked at: roots, voicing by root, a learning curve, mistakes, times, what is learned.

Each is asked of a `Tallies`, so a record of any length answers as quickly as its store counts. Rows keep the order of
the alphabet by voicing and quality, roots the cycle of fourths, days that of time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from trainer.estimates import median_interval, wilson
from trainer.pitch import TWELVE_ROOTS
from trainer.progress.figures import (
    Figures,
    Item,
    Mistakes,
    RootFigures,
    SlowRoots,
    TimeSplit,
    estimated,
    ranked,
    slowest_of,
)
from trainer.progress.tallies import EVERYTHING, Key, Only, Parts, Tallies, Tally

TWELVE: Final = tuple(note.name for note in TWELVE_ROOTS)

LEARNED: Final = "learned"
PRACTISED: Final = "practised"
NOT_YET: Final = "not yet"

LEAST_TIMES: Final = 6
"""Under so many times a median has no interval (see `trainer.estimates`)."""


def whole(source: Tallies, only: Only = EVERYTHING, *, times: bool = True) -> Figures:
    """The figures of all that is asked for together; without `times` they come sooner, here and below."""
    return _figures(source.tallies((), only, times=times).get(()))


def roots(source: Tallies, only: Only = EVERYTHING, *, times: bool = True) -> tuple[RootFigures, ...]:
    """The figures of each of the twelve roots, always all of them, in the cycle of fourths."""
    found = source.tallies(("root",), only, times=times)
    return tuple(_root(root, found.get((root,))) for root in TWELVE)


def _root(root: str, tally: Tally | None) -> RootFigures:
    return RootFigures(root=root, **estimated(tally))


def _figures(tally: Tally | None) -> Figures:
    return Figures(**estimated(tally))


def figures_each(source: Tallies, by: str, only: Only = EVERYTHING, *, times: bool = True) -> dict[str, Figures]:
    """The figures of each voicing, set, port, quality, root or day that was practised, in the order of its name."""
    return {key[0]: _figures(tally) for key, tally in sorted(source.tallies((by,), only, times=times).items())}


# -- voicing by root


@dataclass(frozen=True, slots=True)
class TableRow:
    """One kind of voicing (voicing and quality) on the twelve roots, and its figures over all of them."""

    voicing: str
    quality: str
    whole: Figures
    roots: tuple[RootFigures, ...]


def voicing_table(source: Tallies, only: Only = EVERYTHING) -> tuple[TableRow, ...]:
    """A row for each voicing in each quality that was practised; () where nothing was."""
    cells = source.tallies(("voicing", "quality", "root"), only)
    return tuple(
        TableRow(voicing, quality, _figures(tally), _cells(cells, voicing, quality))
        for (voicing, quality), tally in sorted(source.tallies(("voicing", "quality"), only).items())
    )


def voicing_cells(source: Tallies, only: Only = EVERYTHING) -> tuple[TableRow, ...]:
    """The same without times, in a fraction of the time."""
    cells = source.tallies(("voicing", "quality", "root"), only, times=False)
    kinds: dict[tuple[str, str], list[Tally]] = {}
    for (voicing, quality, _), tally in sorted(cells.items()):
        kinds.setdefault((voicing, quality), []).append(tally)
    return tuple(
        TableRow(
            voicing,
            quality,
            _figures(Tally(sum(one.attempts for one in own), sum(one.right for one in own), (), _last(own))),
            _cells(cells, voicing, quality),
        )
        for (voicing, quality), own in kinds.items()
    )


def _cells(cells: Mapping[Key, Tally], voicing: str, quality: str) -> tuple[RootFigures, ...]:
    return tuple(_root(root, cells.get((voicing, quality, root))) for root in TWELVE)


def _last(tallies: Sequence[Tally]) -> str:
    return max(one.last_utc for one in tallies)


# -- day by day


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFigures(Figures):
    """The figures of one day, or of `days` practice days from `first` to `day` taken together."""

    day: str
    first: str
    days: int


def curve(source: Tallies, only: Only = EVERYTHING, *, join: bool = False) -> tuple[DayFigures, ...]:
    """The figures of what is asked for, on each day on which it was practised, in the order of time.

    With `join`, days are taken together, the earliest first, until they have `LEAST_TIMES` response times: an item is
    seldom asked six times in one day, and under six a median says nothing. The last point may have fewer.
    """
    days = [(key[0], tally) for key, tally in sorted(source.tallies(("day",), only).items())]
    return points_of(days, join=join)


def points_of(days: Iterable[tuple[str, Tally]], *, join: bool = False) -> tuple[DayFigures, ...]:
    """The points of a `curve` of days and their tallies, in the order of time."""
    points: list[DayFigures] = []
    begun: list[tuple[str, Tally]] = []
    for one in days:
        begun.append(one)
        if not join or sum(len(each.times_ms) for _, each in begun) >= LEAST_TIMES:
            points.append(_together(begun))
            begun = []
    return (*points, _together(begun)) if begun else tuple(points)


def _together(days: Sequence[tuple[str, Tally]]) -> DayFigures:
    tally = Tally(
        sum(each.attempts for _, each in days),
        sum(each.right for _, each in days),
        tuple([time for _, each in days for time in each.times_ms]),
        _last([each for _, each in days]),
    )
    return DayFigures(day=days[-1][0], first=days[0][0], days=len(days), **estimated(tally))


def learning_curve(
    source: Tallies, item: Item, only: Only = EVERYTHING, *, join: bool = False
) -> tuple[DayFigures, ...]:
    """The `curve` of one item (voicing, quality, root); () where it never was practised."""
    voicing, quality, root = item
    return curve(source, replace(only, voicings=(voicing,), qualities=(quality,), roots=(root,)), join=join)


# -- mistakes


def mistakes(source: Tallies, only: Only = EVERYTHING) -> Mistakes:
    """How often first tries were wrong, by cause, degree, root and voicing, the most frequent first."""
    return Mistakes(
        source.misses((), only).get((), 0),
        *(
            ranked({key[0]: count for key, count in source.misses((by,), only).items()})
            for by in ("cause", "degree", "root", "voicing")
        ),
    )


@dataclass(frozen=True, slots=True)
class Share:
    """How many of `attempts` had something, and their share with its Wilson interval (0 to 1, None for no attempts)."""

    attempts: int
    count: int
    share: float | None
    low: float | None
    high: float | None


def cause_by_root(source: Tallies, cause: str, only: Only = EVERYTHING) -> dict[str, Share]:
    """On each of the twelve roots, how many first tries were missed through a cause."""
    missed = source.misses(("cause", "root"), only)
    asked = source.tallies(("root",), only)
    return {
        root: _share(missed.get((cause, root), 0), asked[(root,)].attempts if (root,) in asked else 0)
        for root in TWELVE
    }


def cause_shares(source: Tallies, only: Only = EVERYTHING) -> dict[str, Share]:
    """How many of all first tries were missed through each cause, the most frequent first."""
    asked = source.tallies((), only).get(())
    return {
        cause: _share(count, asked.attempts if asked else 0) for cause, count in mistakes(source, only).cause.items()
    }


def _share(count: int, attempts: int) -> Share:
    interval = wilson(count, attempts)
    if interval is None:
        return Share(attempts, count, None, None, None)
    return Share(attempts, count, count / attempts, *interval)


# -- times


def time_parts(source: Tallies, only: Only = EVERYTHING) -> TimeSplit:
    """Think, spread and settle of all that is asked for together."""
    return _split(source.parts((), only).get(()))


def time_parts_each(source: Tallies, by: str, only: Only = EVERYTHING) -> dict[str, TimeSplit]:
    """Think, spread and settle of each voicing, set, root ..., in the order of its name."""
    return {key[0]: _split(parts) for key, parts in sorted(source.parts((by,), only).items())}


def _split(parts: Parts | None) -> TimeSplit:
    found = parts or Parts()
    return TimeSplit(*map(median_interval, (found.think_ms, found.spread_ms, found.settle_ms)))


def slow_roots(source: Tallies, only: Only = EVERYTHING) -> SlowRoots | None:
    """The three slowest roots and the slowest one, as `trainer.progress.slowest_roots` tells them."""
    return slowest_of({root: tally.times_ms for (root,), tally in source.tallies(("root",), only).items()})


# -- learned beside practised


@dataclass(frozen=True, slots=True)
class StandingRow:
    """One kind of voicing on the twelve roots: learned, practised or not yet, in the cycle of fourths."""

    voicing: str
    quality: str
    roots: tuple[str, ...]

    def count(self, state: str) -> int:
        """On how many roots it is in a state."""
        return self.roots.count(state)


def standing_table(source: Tallies, only: Only = EVERYTHING) -> tuple[StandingRow, ...]:
    """A row for each kind of voicing that was practised on any root; () where nothing was."""
    found = source.standings(only)
    kinds = sorted({(voicing, quality) for voicing, quality, _ in found})

    def state(item: Item) -> str:
        return NOT_YET if item not in found else LEARNED if found[item].learned else PRACTISED

    return tuple(StandingRow(*kind, tuple(state((*kind, root)) for root in TWELVE)) for kind in kinds)
