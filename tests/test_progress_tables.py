"""Figures laid out to be looked at: from tallies as from attempts one by one, and right in cases made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from invented import invented_record
from scipy import stats
from test_progress import ATTEMPT, CYCLE_OF_FOURTHS, RIGHT_TRY, WRONG_TRY, any_attempts, on, right, wrong
from test_storage_passes import TWO_FIVE_ONE

from trainer.progress import (
    LATEST_TIMES,
    LEARNED,
    NOT_YET,
    PRACTISED,
    TALLIED_BY,
    Attempt,
    AttemptTallies,
    Figures,
    Mistakes,
    Only,
    Remembered,
    Tally,
    by_root,
    cause_by_root,
    causes,
    figures,
    figures_each,
    group,
    learning_curve,
    mistakes,
    progress,
    roots,
    slow_roots,
    slowest_roots,
    standing_table,
    tempo_table,
    time_parts,
    time_parts_each,
    time_split,
    voicing_table,
    whole,
)
from trainer.timing import PassRecord

RECORD = tuple(invented_record(days=30, a_day=40))
COUNTED = AttemptTallies(RECORD)
THIRD = "rootless from the third"
NOTHING = AttemptTallies([])


# -- tallies and attempts agree


@settings(deadline=None)
@given(any_attempts)
def test_figures_from_tallies_are_those_of_the_attempts(attempts: list[Attempt]) -> None:
    counted = AttemptTallies(attempts)
    assert whole(counted) == figures(attempts)
    assert roots(counted) == by_root(attempts)
    assert mistakes(counted) == causes(attempts)
    assert time_parts(counted) == time_split(attempts)
    assert slow_roots(counted) == slowest_roots(attempts)


@pytest.mark.parametrize("by", ["voicing", "quality", "set", "day"])
def test_figures_of_groups_are_those_of_their_attempts(by: str) -> None:
    some = RECORD[-90:]
    assert figures_each(AttemptTallies(some), by) == {
        name: figures(members) for name, members in group(some, by).items()
    }


def test_the_slowest_roots_are_told_from_tallies_as_from_attempts() -> None:
    # The seeded player is slowest on Gb (see `invented`).
    found = slow_roots(COUNTED, Only(voicings=("1 7",)))
    assert found is not None and found.roots[0] == "Gb"
    of_voicing = [attempt for attempt in RECORD if attempt.voicing == "1 7"]
    assert found == slowest_roots(of_voicing)


def test_a_group_is_described_by_its_latest_times() -> None:
    attempts = [right(ms=10_000 - number, number=number) for number in range(LATEST_TIMES + 50)]
    tally = AttemptTallies(attempts[::-1]).tallies(())[()]
    assert tally.attempts == tally.right == LATEST_TIMES + 50
    assert tally.times_ms == tuple(10_000 - number for number in range(50, LATEST_TIMES + 50))


def test_nothing_practised_gives_nothing_everywhere() -> None:
    skipped = AttemptTallies([replace(ATTEMPT, outcome="skipped")])
    for source in (NOTHING, skipped):
        assert source.tallies(TALLIED_BY) == source.misses(("cause",)) == source.parts(()) == source.standings() == {}
        assert whole(source) == figures([])
        assert [row.root for row in roots(source)] == CYCLE_OF_FOURTHS
        assert voicing_table(source) == learning_curve(source, (THIRD, "m7", "C")) == standing_table(source) == ()
        assert mistakes(source) == Mistakes()
        assert time_parts(source).think_ms is None and slow_roots(source) is None
        assert all(share.share is None for share in cause_by_root(source, "half_step").values())
        assert source.found().sets == source.found().kinds == ()


def test_a_single_attempt_has_an_accuracy_everywhere_and_a_time_nowhere() -> None:
    source = AttemptTallies([right("F#")])
    row = voicing_table(source)[0]
    assert (row.voicing, row.quality) == (THIRD, "m7")
    cell = row.roots[6]
    assert (cell.root, cell.attempts, cell.accuracy, cell.times, cell.median_ms) == ("Gb", 1, 1.0, 1, None)
    assert [other.attempts for other in row.roots].count(0) == 11
    day = learning_curve(source, (THIRD, "m7", "Gb"))
    assert [(one.day, one.attempts, one.accuracy) for one in day] == [("2026-03-01", 1, 1.0)]


def test_words_that_are_not_counted_by_are_refused() -> None:
    with pytest.raises(ValueError, match="mood"):
        NOTHING.tallies(("mood",))
    with pytest.raises(ValueError, match="cause"):
        NOTHING.tallies(("cause",))


# -- filters


@pytest.mark.parametrize(
    ("only", "wanted"),
    [
        (Only(), 4),
        (Only(since="2026-03-02"), 3),
        (Only(until="2026-03-02"), 1),
        (Only(since="2026-03-02", until="2026-03-03"), 1),
        (Only(sets=("Other",)), 1),
        (Only(sets=("Other", "Minor sevenths")), 4),
        (Only(ports=("Upright",)), 1),
        (Only(voicings=("shell",)), 1),
        (Only(qualities=("7",)), 0),
        (Only(roots=("Gb",)), 1),
    ],
)
def test_only_what_is_asked_for_is_counted(only: Only, wanted: int) -> None:
    attempts = [
        right("F#", utc=on(1)),
        replace(right(utc=on(2)), set_title="Other"),
        replace(right(utc=on(3)), port="Upright"),
        replace(right(utc=on(4)), voicing="shell"),
    ]
    assert whole(AttemptTallies(attempts), only).attempts == wanted


# -- voicing by root


def test_a_row_of_the_table_is_one_kind_of_voicing_on_twelve_roots() -> None:
    table = voicing_table(COUNTED)
    assert [(row.voicing, row.quality) for row in table] == sorted({(one.voicing, one.quality) for one in RECORD})
    for row in table:
        own = [one for one in RECORD if (one.voicing, one.quality) == (row.voicing, row.quality)]
        assert row.roots == by_root(own)
        assert row.whole == figures(own) or row.whole.times == LATEST_TIMES
        assert row.whole.attempts == sum(cell.attempts for cell in row.roots)


# -- a learning curve


def test_a_learning_curve_has_one_point_a_day_with_intervals_from_outside() -> None:
    """Wilson's and the order-statistic interval as scipy computes them (binomtest, quantile_test)."""
    attempts = [right("Eb", 3000 - 100 * number, number, on(1, 10)) for number in range(8)]
    attempts += [wrong("Eb", number, on(1, 11)) for number in range(8, 10)]
    attempts += [right("Eb", ms, number, on(3)) for number, ms in enumerate([900, 900, 900, 950, 950, 2000, 2000])]
    attempts += [right("C", 100, utc=on(3)), wrong("Eb", 0, on(5))]
    first, second, third = learning_curve(AttemptTallies(attempts), (THIRD, "m7", "Eb"))
    assert [one.day for one in (first, second, third)] == ["2026-03-01", "2026-03-03", "2026-03-05"]
    share = stats.binomtest(8, 10).proportion_ci(method="wilson")
    assert (first.low, first.high) == pytest.approx((share.low, share.high))
    times = [3000 - 100 * number for number in range(8)]
    for day, values in ((first, times), (second, [900, 900, 900, 950, 950, 2000, 2000])):
        middle = stats.quantile_test(values, q=0, p=0.5).confidence_interval(0.95)
        assert (day.median_low_ms, day.median_high_ms) == (middle.low, middle.high)
    assert (third.attempts, third.right, third.times, third.median_ms) == (1, 0, 0, None)
    assert third.low == 0


def test_a_day_is_the_players_own_where_the_source_says_so() -> None:
    late, early = right(utc=on(1, 23)), right(utc=on(2, 1))
    source = AttemptTallies([late, early], day_of=lambda utc: "2026-03-02")
    assert [one.attempts for one in learning_curve(source, (THIRD, "m7", "C"))] == [2]


def test_days_are_taken_together_until_they_have_six_times() -> None:
    attempts = [
        right("C", 1000 + 100 * day + n, n, on(day))
        for day, count in ((1, 4), (2, 2), (3, 7), (5, 1))
        for n in range(count)
    ]
    attempts.append(wrong("C", 9, on(2)))
    points = learning_curve(AttemptTallies(attempts), (THIRD, "m7", "C"), join=True)
    assert [(one.first, one.day, one.days, one.attempts, one.times) for one in points] == [
        ("2026-03-01", "2026-03-02", 2, 7, 6),
        ("2026-03-03", "2026-03-03", 1, 7, 7),
        ("2026-03-05", "2026-03-05", 1, 1, 1),
    ]
    together = stats.quantile_test([1100, 1101, 1102, 1103, 1200, 1201], q=0, p=0.5).confidence_interval(0.95)
    assert (points[0].median_low_ms, points[0].median_high_ms) == (together.low, together.high)
    assert points[2].median_ms is None


def test_what_is_remembered_is_what_was_answered_and_is_asked_once() -> None:
    remembered = Remembered(COUNTED)
    only = Only(voicings=("1 7",))
    for _ in range(2):
        assert remembered.tallies(("root",), only) is remembered.tallies(("root",), only)
        assert remembered.tallies(("root",), only) == COUNTED.tallies(("root",), only)
        assert remembered.tallies(("set",), only, times=False) == COUNTED.tallies(("set",), only, times=False)
        assert remembered.tallies(("set",), only) == COUNTED.tallies(("set",), only)
        assert remembered.latest_times(("set",), only) == COUNTED.latest_times(("set",), only)
        assert remembered.misses(("cause",)) == COUNTED.misses(("cause",))
        assert remembered.parts(()) == COUNTED.parts(())
        assert remembered.standings(only) == COUNTED.standings(only)
        assert remembered.found() is remembered.found()


# -- mistakes


def test_a_cause_on_each_root_is_a_share_of_what_was_asked_there() -> None:
    attempts = [wrong("F#"), right("Gb"), right("Gb"), right("Gb"), replace(wrong("C"), tries=(RIGHT_TRY,)), right("F")]
    found = cause_by_root(AttemptTallies(attempts), "half_step")
    assert list(found) == CYCLE_OF_FOURTHS
    interval = stats.binomtest(1, 4).proportion_ci(method="wilson")
    share = found["Gb"]
    assert (share.attempts, share.count, share.share) == (4, 1, 0.25)
    assert (share.low, share.high) == pytest.approx((interval.low, interval.high))
    assert (found["C"].count, found["F"].share, found["B"].share) == (0, 0.0, None)


def test_misses_are_counted_by_several_words_at_once() -> None:
    no_cause = replace(wrong("C"), tries=(replace(WRONG_TRY, cause=None, causes=()),))
    source = AttemptTallies([wrong("C"), wrong("F"), no_cause])
    assert source.misses(("root",)) == {("C",): 2, ("F",): 1}
    assert source.misses(("cause", "root")) == {("half_step", "C"): 1, ("half_step", "F"): 1}
    assert source.misses(("root", "degree")) == {("C", "b7"): 2, ("C", "9"): 2, ("F", "b7"): 1, ("F", "9"): 1}
    assert source.misses(()) == {(): 3}


# -- times


def test_where_the_time_goes_is_told_voicing_by_voicing() -> None:
    quick = [replace(right(number=n), voicing="shell", tries=(replace(RIGHT_TRY, think_ms=500.0),)) for n in range(6)]
    slow = [right(number=n) for n in range(6)]
    found = time_parts_each(AttemptTallies(quick + slow), "voicing")
    assert list(found) == [THIRD, "shell"]
    assert found["shell"].think_ms is not None and found["shell"].think_ms.median == 500
    assert found[THIRD].think_ms is not None and found[THIRD].think_ms.median == 900


def test_a_scripted_player_has_no_settle_time() -> None:
    assert time_split([replace(ATTEMPT, stamp_origin="script")] * 9).settle_ms is None


# -- learned beside practised


def test_an_item_is_learned_practised_or_not_yet() -> None:
    attempts = [right("C", utc=on(1)), right("C", utc=on(2)), right("F", utc=on(2)), wrong("B", utc=on(2))]
    (row,) = standing_table(AttemptTallies(attempts))
    assert row.roots == (LEARNED, PRACTISED, *[NOT_YET] * 5, PRACTISED, *[NOT_YET] * 4)
    assert (row.count(LEARNED), row.count(PRACTISED), row.count(NOT_YET)) == (1, 2, 9)


@settings(deadline=None)
@given(any_attempts)
def test_what_is_learned_is_told_from_tallies_as_from_attempts(attempts: list[Attempt]) -> None:
    spread_out = [replace(one, utc=on(1 + number % 4), number=number) for number, one in enumerate(attempts)]
    standings = AttemptTallies(spread_out).standings()
    told = progress(spread_out)
    assert set(standings) == set(told.practised)
    assert {item for item, one in standings.items() if one.learned} == set(told.learned)


def test_a_tally_of_nothing_has_no_figures() -> None:
    assert figures([]) == Figures(**{name: getattr(whole(NOTHING), name) for name in Figures.__slots__})
    assert Tally(0, 0).times_ms == ()


# -- forms in time


def one_pass(key: str, tempo: float, clean: bool, number: int, **changed: object) -> PassRecord:
    played = replace(TWO_FIVE_ONE, key=key, tempo_bpm=tempo, clean=clean, number=number, section="")
    return replace(played, **changed)  # type: ignore[arg-type]


def test_the_highest_clean_tempo_stands_under_each_of_the_twelve_keys() -> None:
    passes = [
        one_pass("F#", 80, True, 0),
        one_pass("Gb", 92, True, 1),
        one_pass("Gb", 100, False, 2),
        one_pass("Cm", 60, True, 3),
        one_pass("C", 72, False, 4),
        one_pass("F", 120, True, 5, stamp_origin="script"),
        one_pass("B", 120, True, 6, outcome="stopped"),
        one_pass("C", 66, True, 7, section="B"),
        one_pass("no key", 66, True, 8),
    ]
    whole_form, in_minor, section = tempo_table(passes)
    assert [(row.title, row.section, row.minor) for row in (whole_form, in_minor, section)] == [
        ("Two five one", "", False),
        ("Two five one", "", True),
        ("Two five one", "B", False),
    ]
    told = {cell.key: (cell.tempo_bpm, cell.passes, cell.clean) for cell in whole_form.keys if cell is not None}
    assert told == {"Gb": (92, 1, 1), "C": (None, 1, 0)}
    assert whole_form.keys[6] is not None and whole_form.keys[6].key == "Gb"
    assert in_minor.keys[0] is not None and in_minor.keys[0].tempo_bpm == 60
    assert [cell is None for cell in section.keys] == [False, *[True] * 11]
