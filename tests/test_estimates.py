"""Proportions and medians with their intervals, checked against statistics from outside."""

from __future__ import annotations

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from trainer.estimates import median, median_interval, median_rank, percentile, wilson

# -- proportions


@settings(deadline=None)
@given(st.integers(1, 2000), st.data())
def test_the_interval_of_an_accuracy_is_wilsons(tries: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, tries))
    expected = stats.binomtest(count, tries).proportion_ci(confidence_level=0.95, method="wilson")
    assert wilson(count, tries) == pytest.approx((expected.low, expected.high), abs=1e-12)


@pytest.mark.parametrize(("tries", "percent"), [(5, 57), (8, 68), (10, 72), (12, 76), (20, 84)])
def test_all_right_in_a_few_tries_is_not_mastery(tries: int, percent: int) -> None:
    """Brown, Cai & DasGupta (2001) recommend the interval; the values follow from Wilson's formula by hand."""
    interval = wilson(tries, tries)
    assert interval is not None
    assert round(100 * interval[0]) == percent
    assert interval[1] == 1


@pytest.mark.parametrize(("bound", "tries"), [(0.80, 16), (0.85, 22), (0.90, 35)])
def test_a_lower_bound_takes_so_many_right_in_a_row(bound: float, tries: int) -> None:
    """Wilson's formula at k = n: the bound is n/(n + z^2)."""
    enough, too_few = wilson(tries, tries), wilson(tries - 1, tries - 1)
    assert enough is not None and too_few is not None
    assert too_few[0] < bound <= enough[0]


def test_no_tries_have_no_interval_and_impossible_counts_are_refused() -> None:
    assert wilson(0, 0) is None
    for count, tries in ((1, 0), (3, 2), (-1, 2)):
        with pytest.raises(ValueError):
            wilson(count, tries)


# -- medians


@pytest.mark.parametrize("count", [*range(300), 999, 5000, 100_000])
def test_the_rank_that_bounds_the_median_is_the_binomials(count: int) -> None:
    """Checked by its definition against scipy's binomial distribution."""
    rank = median_rank(count)
    if rank is None:
        assert count < 6
        assert 2 * stats.binom.cdf(0, count, 0.5) > 0.05
    else:
        assert 2 * stats.binom.cdf(rank - 1, count, 0.5) <= 0.05 < 2 * stats.binom.cdf(rank, count, 0.5)


@pytest.mark.parametrize(
    ("count", "low", "high", "percent"),
    [(6, 1, 6, 96.9), (9, 2, 8, 96.1), (12, 3, 10, 96.1), (17, 5, 13, 95.1), (20, 6, 15, 95.9)],
)
def test_the_interval_of_a_median_runs_between_these_tries(count: int, low: int, high: int, percent: float) -> None:
    """The printed table of exact intervals for a median (order statistics; see `median_rank`)."""
    middle = median_interval(range(1, count + 1))
    assert middle is not None
    assert (middle.low, middle.high) == (low, high)
    assert round(100 * (1 - 2 * stats.binom.cdf(low - 1, count, 0.5)), 1) == percent


def test_under_six_tries_a_median_has_no_interval() -> None:
    for count in range(6):
        assert median_interval(range(count)) is None
    assert median_interval(range(6)) is not None


def test_equal_times_give_an_interval_of_no_width() -> None:
    middle = median_interval([1000.0] * 12)
    assert middle is not None
    assert middle.low == middle.median == middle.high == 1000


@settings(deadline=None, max_examples=50)
@given(st.lists(st.sampled_from([700.0, 800.0, 800.0, 900.0]) | st.floats(300, 9000), min_size=6, max_size=60))
def test_the_interval_of_a_median_is_that_of_another_library_also_where_times_are_tied(values: list[float]) -> None:
    """scipy's test of a quantile, an implementation of its own."""
    middle = median_interval(values)
    expected = stats.quantile_test(values, q=0, p=0.5).confidence_interval(0.95)
    assert middle is not None
    assert (middle.low, middle.high) == (expected.low, expected.high)


times = st.floats(1, 60_000)


@settings(deadline=None)
@given(st.lists(times, min_size=1, max_size=40), st.floats(0, 100))
def test_percentiles_are_those_of_another_library(values: list[float], percent: float) -> None:
    assert percentile(values, percent) == pytest.approx(float(numpy.percentile(values, percent)), rel=1e-9)
    assert median(values) == pytest.approx(float(numpy.median(values)), rel=1e-12)


@settings(deadline=None)
@given(st.lists(times, min_size=6, max_size=60), st.randoms())
def test_a_median_lies_in_its_interval_in_whatever_order_the_times_came(values: list[float], chance: object) -> None:
    middle = median_interval(values)
    assert middle is not None
    assert min(values) <= middle.low <= middle.median <= middle.high <= max(values)
    chance.shuffle(values)  # type: ignore[attr-defined]
    assert median_interval(values) == middle


def test_percentiles_of_nothing_and_of_one_value() -> None:
    assert percentile([], 10) is None and median([]) is None
    assert [percentile([7], percent) for percent in (0, 50, 100)] == [7, 7, 7]
    for percent in (-1, 101):
        with pytest.raises(ValueError):
            percentile([1], percent)
