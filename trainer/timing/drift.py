"""How the player's beat runs beside the grid: a slow drift, followed so that it is told from chords missed.

`follow` matches gestures (both hands together) with moments of the form. It looks at the time from one match to the
next, not at the clock, so a player who is 5 % slower is followed from chord to chord; what the gestures hold says where
in the form they are. It keeps the likeliest few matches of each gesture, which is enough to find the way; the alignment
proper (`trainer.timing.alignment`) is then exact for the drift found here.

A drift is the player's offset from the grid at any moment, in ms: through the matches nearest in time goes a line with
a robust slope (the median of slopes between matches half a window apart, after Theil 1950 and Sen 1968) and a robust
height (the median). Slopes are held within `MOST_SLOPE`. Constants are judgements.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trainer.estimates import median
from trainer.grading.targets import folded

MOST_SLOPE: Final = 0.08
"""The drift followed at most: 5 %, and some for its estimate."""
_LEAST_MATCHES: Final = 5
_WINDOW: Final = 12
_KNOT_MS: Final = 1500.0

_SKIPPED: Final = 0.8
_MOST_SKIPPED: Final = 6
_STATES_KEPT: Final = 10
_ENTRY_BEATS: Final = 1.5
_STEADY_MS: Final = 40.0
_STEADY_SHARE: Final = 0.04
_GIVE: Final = 3.5
_LOOSE: Final = 1.5
_AWAY: Final = 0.15
_STOPPED: Final = 1.6
_STOPPED_BEATS: Final = 3.0
_RELATED: Final = 0.5
_OTHER_OCTAVE: Final = 0.9


@dataclass(frozen=True, slots=True)
class Touch:
    """Keys struck together by the gap rule, whichever hand."""

    at_ms: float
    keys: int


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the form: every key asked for then, as a mask."""

    at_ms: float
    keys: int
    optional: bool = False


_State = tuple[float, int, int, int, float, bool]
"""Of a touch at a moment: cost, the moment, the touch before (-1: none) and which of its states, how badly keys fit,
whether a new stretch begins with it."""

Match = tuple[float, float]
"""A moment (ms on the grid), and how long after it the player answered (ms)."""


@dataclass(frozen=True, slots=True)
class Drift:
    """The player's offset from the grid, between knots by straight lines, beyond them as at the last."""

    at_ms: tuple[float, ...] = (0.0,)
    offset_ms: tuple[float, ...] = (0.0,)

    def at(self, moment_ms: float) -> float:
        """The offset at a moment of the grid."""
        after = bisect_left(self.at_ms, moment_ms)
        if after == 0:
            return self.offset_ms[0]
        if after == len(self.at_ms):
            return self.offset_ms[-1]
        left, right = self.at_ms[after - 1], self.at_ms[after]
        share = (moment_ms - left) / (right - left)
        return self.offset_ms[after - 1] + share * (self.offset_ms[after] - self.offset_ms[after - 1])


NO_DRIFT: Final = Drift()


def drift_through(stretches: Sequence[Sequence[Match]]) -> Drift:
    """The drift of a take, from its matches in order of time, by stretches between which the player stopped short or
    left something out; none where there are too few to tell."""
    if sum(map(len, stretches)) < _LEAST_MATCHES:
        return NO_DRIFT
    knots: list[float] = []
    offsets: list[float] = []
    for matches in stretches:
        if not matches:
            continue
        first, last = matches[0][0], matches[-1][0]
        pieces = max(1, round((last - first) / _KNOT_MS))
        moments = [at for at, _ in matches]
        for piece in range(pieces + 1 if last > first else 1):
            knot = first + (last - first) * piece / pieces
            low = max(0, min(bisect_left(moments, knot) - _WINDOW // 2, len(matches) - _WINDOW))
            knots.append(knot)
            offsets.append(line_at(matches[low : low + _WINDOW], knot))
    return Drift(tuple(knots), tuple(offsets))


def in_stretches(matches: Sequence[Match], like: Sequence[Sequence[Match]]) -> list[list[Match]]:
    """Matches (in order of time) in stretches that begin where those of `like` begin."""
    found: list[list[Match]] = [[]]
    begins = [stretch[0][0] for stretch in like[1:] if stretch]
    for match in matches:
        while begins and match[0] >= begins[0]:
            begins.pop(0)
            found.append([])
        found[-1].append(match)
    return found


def slope(matches: Sequence[Match]) -> float | None:
    """The robust slope of the offsets (ms a ms), not held within bounds; None where no two moments differ."""
    half = (len(matches) + 1) // 2
    pairs = zip(matches, matches[half:], strict=False)
    return median([(late - soon) / (to - at) for (at, soon), (to, late) in pairs if to > at])


def line_at(matches: Sequence[Match], moment_ms: float) -> float:
    """The robust line through some matches, at a moment."""
    tilt = (slope(matches) or 0.0) if len(matches) >= _LEAST_MATCHES else 0.0
    tilt = max(-MOST_SLOPE, min(MOST_SLOPE, tilt))
    height = median([offset - tilt * (at - moment_ms) for at, offset in matches])
    return 0.0 if height is None else height


def follow(touches: Sequence[Touch], moments: Sequence[Moment], beat_ms: float) -> list[list[Match]]:
    """The matches of the cheapest way through a take, those that hold something of what was asked, in stretches: a new
    one begins where the player stopped short, or left something out, and went on from there.

    The cost of a way: what is skipped, how badly keys fit, how far each step differs from the grid's, each new stretch,
    and a little for lying away from the grid at all.
    """
    if not touches or not moments:
        return []
    times = [moment.at_ms for moment in moments]
    skipped = [0.0]
    for moment in moments:
        skipped.append(skipped[-1] + (_SKIPPED / 2 if moment.optional else _SKIPPED))
    rows: list[list[_State]] = []
    for number, touch in enumerate(touches):
        at_ms = touch.at_ms
        near_ms = _ENTRY_BEATS * beat_ms
        best: dict[int, tuple[float, int, int, bool]] = {}
        for at in range(bisect_left(times, at_ms - near_ms), bisect_right(times, at_ms + near_ms)):
            off = (at_ms - times[at]) / near_ms
            best[at] = (number * _SKIPPED + skipped[at] + 0.5 * off * off, -1, -1, False)
        for back in range(number - 1, max(-1, number - 2 - _MOST_SKIPPED), -1):
            between_ms = at_ms - touches[back].at_ms
            passed_over = (number - back - 1) * _SKIPPED
            for place, (cost, earlier, _, _, _, _) in enumerate(rows[back]):
                cost += passed_over - skipped[earlier + 1]
                due_ms = times[earlier] + between_ms
                if not place:
                    stopped_ms = _STOPPED_BEATS * beat_ms
                    low, high = bisect_left(times, due_ms - stopped_ms), bisect_right(times, due_ms + stopped_ms)
                    for at in range(max(low, earlier + 1), high):
                        total = cost + skipped[at] + _STOPPED
                        if at not in best or total < best[at][0]:
                            best[at] = (total, back, place, True)
                give_ms = _GIVE * (_STEADY_MS + _STEADY_SHARE * between_ms)
                for at in range(bisect_left(times, due_ms - give_ms), bisect_right(times, due_ms + give_ms)):
                    if at <= earlier:
                        continue
                    loose = (times[at] - due_ms) / give_ms
                    total = cost + skipped[at] + _LOOSE * loose * loose
                    if at not in best or total < best[at][0]:
                        best[at] = (total, back, place, False)
        away_ms = near_ms + MOST_SLOPE * max(0.0, at_ms - times[0])
        row = []
        for at, (total, back, place, anew) in best.items():
            misfit = _misfit(touch.keys, moments[at].keys)
            off = (at_ms - times[at]) / away_ms
            row.append((total + misfit + _AWAY * min(1.0, off * off), at, back, place, misfit, anew))
        row.sort()
        rows.append(row[:_STATES_KEPT])
    return _walked_back(rows, touches, times, skipped)


def _walked_back(
    rows: Sequence[Sequence[_State]],
    touches: Sequence[Touch],
    times: Sequence[float],
    skipped: Sequence[float],
) -> list[list[Match]]:
    best: tuple[float, int, int] | None = None
    for number, row in enumerate(rows):
        left = (len(rows) - number - 1) * _SKIPPED
        for place, (cost, at, _, _, _, _) in enumerate(row):
            total = cost + left + skipped[-1] - skipped[at + 1]
            if best is None or total < best[0]:
                best = (total, number, place)
    if best is None:
        return []
    stretches: list[list[Match]] = [[]]
    _, number, place = best
    while number >= 0:
        _, at, back, place_before, misfit, anew = rows[number][place]
        if misfit <= _RELATED:
            stretches[-1].append((times[at], touches[number].at_ms - times[at]))
        if anew:
            stretches.append([])
        number, place = back, place_before
    return [matches[::-1] for matches in reversed(stretches) if matches]


def _misfit(struck: int, asked: int) -> float:
    """0 where all that was asked is there and nothing else, 1 where nothing is; another octave is nearly right."""
    here = _share(struck, asked)
    return (
        1.0 - here if here >= _OTHER_OCTAVE else 1.0 - max(here, _OTHER_OCTAVE * _share(folded(struck), folded(asked)))
    )


def _share(struck: int, asked: int) -> float:
    return max(0.0, (struck & asked).bit_count() - 0.5 * (struck & ~asked).bit_count()) / asked.bit_count()
