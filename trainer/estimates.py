"""Estimates with their uncertainty: proportions with Wilson's interval, medians with the order-statistic one.

Every proportion and every median that the program shows comes from here, 95 % throughout; under six values a median has
no interval, and the figure is None: "not enough yet". Values are in the caller's own unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

_Z_95: Final = 1.959963984540054
"""The 97.5 % point of the standard normal distribution."""


def wilson(right: int, tries: int) -> tuple[float, float] | None:
    """The 95 % Wilson interval of a proportion, as two numbers between 0 and 1; None for no tries.

    With p = right/tries, n = tries and z the 97.5 % point of the standard normal distribution:
    (p + z^2/2n -+ z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n).
    Source: Wilson (1927), J. Am. Stat. Assoc. 22; recommended for small n by Brown, Cai & DasGupta (2001),
    Statistical Science 16. Raises ValueError unless 0 <= right <= tries.

    >>> [round(100 * bound) for bound in wilson(5, 5)]
    [57, 100]
    >>> wilson(0, 0) is None
    True
    """
    if not 0 <= right <= tries:
        raise ValueError(f"{right} right of {tries} tries cannot be")
    if tries == 0:
        return None
    share, z_squared = right / tries, _Z_95 * _Z_95
    middle = share + z_squared / (2 * tries)
    reach = _Z_95 * math.sqrt(share * (1 - share) / tries + z_squared / (4 * tries * tries))
    scale = 1 + z_squared / tries
    low = 0.0 if right == 0 else (middle - reach) / scale
    high = 1.0 if right == tries else (middle + reach) / scale
    return low, high


def percentile(values: Iterable[float], percent: float) -> float | None:
    """The value below which `percent` of the values lie, in their own unit; None for no values.

    Linear between the two nearest order statistics, at position (n - 1) percent/100 counted from 0: type 7 of Hyndman &
    Fan (1996), The American Statistician 50. Raises ValueError unless 0 <= percent <= 100.

    >>> percentile([4, 1, 3, 2], 50), percentile([7], 90), percentile([], 50)
    (2.5, 7.0, None)
    """
    if not 0 <= percent <= 100:
        raise ValueError(f"{percent} is not between 0 and 100")
    ordered = sorted(values)
    if not ordered:
        return None
    below, share = divmod((len(ordered) - 1) * percent / 100, 1)
    low = ordered[int(below)]
    if share == 0:
        return float(low)
    return low + share * (ordered[int(below) + 1] - low)


def median(values: Iterable[float]) -> float | None:
    """The middle value, or the mean of the two middle ones, in the values' unit; None for no values.

    >>> median([3, 1, 2]), median([1, 2]), median([])
    (2.0, 1.5, None)
    """
    return percentile(values, 50)


@lru_cache(maxsize=1024)
def median_rank(count: int) -> int | None:
    """Which order statistic, from below and from above (counted from 1), bounds the median with 95 %; None under 6.

    The greatest r with P(X <= r - 1) <= 2.5 %, X binomial with n = count and p = 1/2: the median lies between the r-th
    lowest and the r-th highest value with probability 1 - 2 P(X <= r - 1), whatever the distribution.
    Source: order statistics, as in David & Nagaraja, Order Statistics (2003), 7.1.

    >>> [median_rank(count) for count in (5, 6, 9, 12, 17, 20)]
    [None, 1, 2, 3, 5, 6]
    """
    # Far below the middle the probabilities vanish (under 1e-20 at five times the root of n), so begin there.
    index = max(0, int(count / 2 - 5 * math.sqrt(count)))
    below = 0.0
    while True:
        logarithm = math.lgamma(count + 1) - math.lgamma(index + 1) - math.lgamma(count - index + 1)
        below += math.exp(logarithm - count * math.log(2))
        if below > 0.025:
            return index or None
        index += 1


@dataclass(frozen=True, slots=True)
class Middle:
    """A median with its 95 % interval, in the unit of its values, and how many values there were."""

    count: int
    median: float
    low: float
    high: float


def median_interval(values: Iterable[float]) -> Middle | None:
    """The median with its exact 95 % interval (`median_rank`); None, "not enough yet", under six values.

    >>> median_interval([1, 2, 3, 4, 5, 9])
    Middle(count=6, median=3.5, low=1, high=9)
    >>> median_interval([1, 2, 3, 4, 5]) is None
    True
    """
    ordered = sorted(values)
    rank = median_rank(len(ordered))
    middle = median(ordered)
    if rank is None or middle is None:
        return None
    return Middle(len(ordered), middle, ordered[rank - 1], ordered[-rank])
