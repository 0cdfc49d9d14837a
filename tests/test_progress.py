"""Figures: what is said of a player's accuracy, speed and mistakes, checked against statistics from outside."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from trainer.pitch import PitchError
from trainer.progress import (
    GROUPINGS,
    Attempt,
    Mistakes,
    Progress,
    TryRecord,
    VerdictRecord,
    by_root,
    causes,
    figures,
    figures_by,
    group,
    plain_root,
    progress,
    slowest_roots,
    time_split,
    to_ten_ms,
)

CYCLE_OF_FOURTHS = "C F Bb Eb Ab Db Gb B E A D G".split()  # common practice, no source

RIGHT_TRY = TryRecord((51, 55, 58, 62), (), (), True, None, (), "Right.", 900.0, 20.0)
WRONG_TRY = TryRecord(
    (51, 55, 59),
    (
        VerdictRecord("b3", "right", 51),
        VerdictRecord("5", "moved", 67),
        VerdictRecord("b7", "replaced", 59, "7", 1),
        VerdictRecord("9", "missing"),
        VerdictRecord("11", "left out"),
    ),
    (),
    False,
    "half_step",
    ("half_step", "wrong_quality"),
    "A half step high.",
    900.0,
    20.0,
)
ATTEMPT = Attempt(
    session="s",
    number=0,
    utc="2026-03-01T18:30:00.000Z",
    set_title="Minor sevenths",
    drill=0,
    chord="Cm7",
    quality="m7",
    root="C",
    voicing="rootless from the third",
    degrees=("b3", "5", "b7", "9"),
    notes=("Eb", "G", "Bb", "D"),
    keys=(51, 55, 58, 62),
    tries=(RIGHT_TRY,),
    outcome="right",
    right_first_try=True,
    response_ms=920.0,
    settle_ms=0.0,
    pool_size=12,
    stamp_origin="callback",
)


def right(root: str = "C", ms: float = 920.0, number: int = 0, utc: str = ATTEMPT.utc) -> Attempt:
    return replace(ATTEMPT, root=root, response_ms=ms, number=number, utc=utc)


def wrong(root: str = "C", number: int = 0, utc: str = ATTEMPT.utc) -> Attempt:
    return replace(
        ATTEMPT,
        root=root,
        number=number,
        utc=utc,
        tries=(WRONG_TRY,),
        outcome="wrong",
        right_first_try=False,
        response_ms=None,
        settle_ms=None,
    )


def test_times_are_shown_to_ten_milliseconds() -> None:
    assert [to_ten_ms(ms) for ms in (0, 4.9, 5.1, 1234.9, 1235.1)] == [0, 0, 10, 1230, 1240]


# -- roots


def test_the_twelve_roots_always_stand_in_the_cycle_of_fourths() -> None:
    for attempts in ([], [right("G"), wrong("Db"), right("C")]):
        assert [row.root for row in by_root(attempts)] == CYCLE_OF_FOURTHS


def test_a_root_never_asked_has_no_figures() -> None:
    row = by_root([right("G")])[0]
    assert (row.attempts, row.right, row.times) == (0, 0, 0)
    assert (row.accuracy, row.low, row.high, row.median_ms, row.last_utc) == (None,) * 5


def test_a_single_attempt_has_an_accuracy_but_no_median_yet() -> None:
    row = by_root([right("C")])[0]
    assert (row.attempts, row.right, row.accuracy) == (1, 1, 1.0)
    assert row.low == pytest.approx(0.2065, abs=1e-4)  # n/(n + z^2) with n = 1
    assert (row.times, row.median_ms, row.median_low_ms, row.median_high_ms) == (1, None, None, None)


@pytest.mark.parametrize(
    ("written", "plain"),
    [("F#", "Gb"), ("C#", "Db"), ("Cb", "B"), ("G#", "Ab"), ("D#", "Eb"), ("A#", "Bb"), ("E#", "F"), ("B#", "C")],
)
def test_an_enharmonic_root_is_counted_under_its_name_among_the_twelve(written: str, plain: str) -> None:
    """Same key of the piano: common practice, no source."""
    assert plain_root(written) == plain
    counted = {row.root: row.attempts for row in by_root([right(written), right(plain)])}
    assert counted[plain] == 2 and sum(counted.values()) == 2


def test_a_root_that_is_no_note_is_refused() -> None:
    with pytest.raises(PitchError):
        by_root([right("H")])


def test_only_decided_attempts_count_toward_accuracy() -> None:
    undecided = [replace(ATTEMPT, outcome=outcome) for outcome in ("skipped", "unfinished", "void")]
    one = figures([right(), wrong(), *undecided])
    assert (one.attempts, one.right, one.accuracy, one.times) == (2, 1, 0.5, 1)


def test_a_chord_that_was_shown_counts_as_not_right() -> None:
    one = figures([right(), replace(ATTEMPT, hint="shown")])
    assert (one.attempts, one.right, one.times) == (2, 1, 1)


def test_a_chord_corrected_at_the_second_try_counts_as_not_right_and_has_no_time() -> None:
    corrected = replace(ATTEMPT, tries=(WRONG_TRY, RIGHT_TRY), right_first_try=False, response_ms=None)
    one = figures([corrected])
    assert (one.attempts, one.right, one.times) == (1, 0, 0)


@pytest.mark.parametrize("changed", [{"set_aside": "anticipation"}, {"stamp_origin": "keyboard"}])
def test_a_time_that_was_set_aside_or_typed_is_kept_out_of_the_times_only(changed: dict[str, str]) -> None:
    one = figures([replace(ATTEMPT, **changed)])  # type: ignore[arg-type]
    assert (one.attempts, one.right, one.times) == (1, 1, 0)


def test_the_median_of_a_root_is_that_of_its_right_first_tries() -> None:
    attempts = [right("Eb", ms) for ms in (1000, 1100, 1200, 1400, 1500, 3000)] + [wrong("Eb"), right("C", 9)]
    row = by_root(attempts)[3]
    assert (row.root, row.times, row.median_ms, row.median_low_ms, row.median_high_ms) == ("Eb", 6, 1300, 1000, 3000)


def test_a_root_tells_when_it_was_last_asked() -> None:
    days = [f"2026-03-0{day}T10:00:00.000Z" for day in (3, 5, 4)]
    skipped = replace(ATTEMPT, utc="2026-03-09T10:00:00.000Z", outcome="skipped")
    assert by_root([*(wrong(utc=day) for day in days), skipped])[0].last_utc == days[1]


outcomes = st.sampled_from(["right", "wrong", "skipped", "unfinished", "void"])
any_attempts = st.lists(
    st.builds(
        lambda root, outcome, first, ms, hint, aside, voicing: replace(
            ATTEMPT,
            root=root,
            outcome=outcome,
            right_first_try=first,
            response_ms=ms,
            hint=hint,
            set_aside=aside,
            voicing=voicing,
        ),
        st.sampled_from([*CYCLE_OF_FOURTHS, "F#", "C#", "Cb"]),
        outcomes,
        st.booleans(),
        st.none() | st.floats(1, 60_000),
        st.sampled_from(["", "shown"]),
        st.sampled_from(["", "anticipation"]),
        st.sampled_from(["shell", "quartal"]),
    ),
    max_size=60,
)


@settings(deadline=None)
@given(any_attempts)
def test_the_roots_together_are_the_whole(attempts: list[Attempt]) -> None:
    rows = by_root(attempts)
    whole = figures(attempts)
    assert sum(row.attempts for row in rows) == whole.attempts
    assert sum(row.right for row in rows) == whole.right
    assert sum(row.times for row in rows) == whole.times <= whole.right
    for row in rows:
        if row.accuracy is not None:
            assert row.low is not None and row.high is not None
            assert 0 <= row.low <= row.accuracy <= row.high <= 1


@settings(deadline=None)
@given(any_attempts, st.sampled_from(sorted(GROUPINGS)))
def test_every_attempt_is_in_one_group(attempts: list[Attempt], by: str) -> None:
    groups = group(attempts, by)
    assert sorted(map(id, attempts)) == sorted(id(one) for members in groups.values() for one in members)
    assert {name: one.attempts for name, one in figures_by(attempts, by).items()} == {
        name: sum(member.counts for member in members) for name, members in groups.items()
    }


def test_attempts_are_grouped_by_item_voicing_quality_set_and_day() -> None:
    attempts = [right("F#"), replace(right("Gb"), voicing="shell", utc="2026-03-02T00:00:00.000Z")]
    third = "rootless from the third"
    assert list(group(attempts, "item")) == [(third, "m7", "Gb"), ("shell", "m7", "Gb")]
    assert list(group(attempts, "voicing")) == [third, "shell"]
    assert list(group(attempts, "quality")) == ["m7"]
    assert list(group(attempts, "root")) == ["Gb"]
    assert list(group(attempts, "set")) == ["Minor sevenths"]
    assert list(group(attempts, "day")) == ["2026-03-01", "2026-03-02"]
    with pytest.raises(ValueError, match="voicing"):
        group(attempts, "mood")


# -- slow roots


def timed(root: str, *milliseconds: float) -> list[Attempt]:
    return [
        right(root, ms, number, f"2026-03-01T18:{number // 60:02d}:{number % 60:02d}.000Z")
        for number, ms in enumerate(milliseconds)
    ]


def a_round(count: int, slow: dict[str, float]) -> list[Attempt]:
    return [one for root in CYCLE_OF_FOURTHS for one in timed(root, *[slow.get(root, 1000.0)] * count)]


SLOW = {"B": 1400.0, "Gb": 1700.0, "Db": 1500.0}


def test_under_twelve_times_each_no_root_is_called_slow() -> None:
    assert slowest_roots([]) is None
    assert slowest_roots(a_round(11, SLOW)) is None


def test_from_twelve_times_each_the_slowest_three_are_named_but_not_the_slowest() -> None:
    for count in (12, 19):
        found = slowest_roots(a_round(count, SLOW))
        assert found is not None
        assert (found.roots, found.slowest, found.tries) == (("Gb", "Db", "B"), None, count)
        assert list(found.compared) == CYCLE_OF_FOURTHS and found.not_yet == ()


def test_from_twenty_times_each_the_slowest_is_named() -> None:
    found = slowest_roots(a_round(20, SLOW))
    assert found is not None and found.slowest == "Gb" and found.roots == ("Gb", "Db", "B")


def test_a_root_asked_too_seldom_is_said_to_be_left_out_and_keeps_the_slowest_open() -> None:
    attempts = [one for one in a_round(20, SLOW) if one.root != "E"] + [wrong("E")] * 30 + timed("E", 9000)
    found = slowest_roots(attempts)
    assert found is not None
    assert (found.not_yet, found.slowest, found.roots) == (("E",), None, ("Gb", "Db", "B"))
    assert "E" not in found.compared


def test_every_root_is_judged_by_the_same_number_of_its_latest_times() -> None:
    attempts = a_round(12, SLOW) + timed("A", *[9000.0] * 40, *[1000.0] * 12)
    found = slowest_roots([one for one in attempts if one.root != "A"] + attempts[-52:])
    assert found is not None
    assert (found.roots, found.tries) == (("Gb", "Db", "B"), 12)


def test_times_are_compared_by_the_mean_of_their_logarithms() -> None:
    """One long pause does not make a root slow: mean 1,967 against 1,500 ms, geometric mean 1,219 against 1,500."""
    pause = [1000.0] * 11 + [12_600.0]
    steady = [1500.0] * 12
    assert sum(pause) > sum(steady)
    assert stats.gmean(pause) < stats.gmean(steady)
    attempts = timed("C", *pause) + timed("F", *steady) + timed("Bb", *[900.0] * 12) + timed("Eb", *[800.0] * 12)
    found = slowest_roots(attempts)
    assert found is not None and found.roots == ("F", "C", "Bb")


def test_equally_slow_roots_keep_the_cycle_of_fourths() -> None:
    found = slowest_roots(a_round(12, {}))
    assert found is not None and found.roots == ("C", "F", "Bb")


def test_of_three_roots_only_the_slowest_is_worth_naming() -> None:
    three = {"C", "F", "Bb"}
    assert slowest_roots([one for one in a_round(19, {"F": 1500.0}) if one.root in three]) is None
    found = slowest_roots([one for one in a_round(20, {"F": 1500.0}) if one.root in three])
    assert found is not None and (found.roots, found.slowest) == (("F",), "F")


def test_naming_the_slowest_is_as_sure_as_was_computed() -> None:
    """Shifted log-normal times (median 1.2 s, shift .35, sigma .55), one root of twelve 30 % slower.

    The stated shares are 85 % among the slowest three at 12 times and 76 % slowest at 20.
    """
    chance = numpy.random.default_rng(7)
    rounds, among_three, alone = 300, 0, 0
    for _ in range(rounds):
        drawn = 350 + numpy.exp(chance.normal(math.log(850), 0.55, (12, 20)))
        drawn[4] *= 1.3
        for count in (12, 20):
            found = slowest_roots(
                [one for root, row in zip(CYCLE_OF_FOURTHS, drawn, strict=True) for one in timed(root, *row[:count])]
            )
            assert found is not None
            among_three += count == 12 and CYCLE_OF_FOURTHS[4] in found.roots
            alone += found.slowest == CYCLE_OF_FOURTHS[4]
    assert among_three / rounds > 0.80
    assert alone / rounds > 0.70


# -- mistakes


def test_mistakes_are_counted_by_cause_degree_root_and_voicing() -> None:
    left_out = replace(WRONG_TRY, cause="left_out", verdicts=(VerdictRecord("9", "missing"),))
    attempts = [
        wrong("F#"),
        wrong("Gb"),
        replace(wrong("C"), tries=(left_out, WRONG_TRY, WRONG_TRY), voicing="shell"),
        right("C"),
    ]
    found = causes(attempts)
    assert found.total == 3
    assert list(found.cause.items()) == [("half_step", 2), ("left_out", 1)]
    assert list(found.degree.items()) == [("9", 3), ("b7", 2)]
    assert list(found.root.items()) == [("Gb", 2), ("C", 1)]
    assert list(found.voicing.items()) == [("rootless from the third", 2), ("shell", 1)]


def test_a_miss_that_was_put_right_is_still_a_miss() -> None:
    corrected = replace(ATTEMPT, tries=(WRONG_TRY, RIGHT_TRY), right_first_try=False)
    assert causes([corrected]).cause == {"half_step": 1}


def test_no_mistakes_without_wrong_tries() -> None:
    void = replace(wrong(), outcome="void")
    silent = replace(wrong(), tries=())
    assert causes([]) == causes([right(), void, silent]) == Mistakes()


# -- learned


def on(day: int, hour: int = 10) -> str:
    return f"2026-03-{day:02d}T{hour:02d}:00:00.000Z"


ITEM = ("rootless from the third", "m7", "C")


@pytest.mark.parametrize(
    ("attempts", "learned"),
    [
        ([right(utc=on(1)), right(utc=on(1, 11))], False),
        ([right(utc=on(1)), right(utc=on(2))], True),
        ([wrong(utc=on(1)), right(utc=on(1, 11)), right(utc=on(2))], True),
        ([wrong(utc=on(1)), right(utc=on(2))], False),
        ([right(utc=on(1)), wrong(utc=on(2)), right(utc=on(2, 11))], False),
        ([right(utc=on(1)), right(utc=on(2)), wrong(utc=on(3))], False),
        ([right(utc=on(1)), right(utc=on(2)), wrong(utc=on(2, 11))], True),
        ([right(utc=on(1)), replace(right(utc=on(2)), hint="shown")], False),
    ],
    ids=[
        "twice on one day",
        "on two days",
        "put right, then on another day",
        "never right before",
        "right on another day only after a miss",
        "lost since",
        "a slip later that day",
        "shown on the other day",
    ],
)
def test_learned_is_what_is_still_right_on_another_day(attempts: list[Attempt], learned: bool) -> None:
    assert progress(attempts) == Progress((ITEM,), (ITEM,) if learned else ())
    assert progress(attempts[::-1]) == progress(attempts)


def test_nothing_practised_is_nothing_learned() -> None:
    assert progress([]) == progress([replace(ATTEMPT, outcome="skipped")]) == Progress((), ())


def test_an_evening_and_the_next_morning_can_be_one_day_where_the_player_lives() -> None:
    attempts = [right(utc=on(1, 23)), right(utc=on(2, 1))]
    assert progress(attempts).learned == (ITEM,)
    assert progress(attempts, day_of=lambda utc: "2026-03-02").learned == ()


# -- where the time goes


def test_think_spread_and_settle_are_told_apart() -> None:
    at_once = [
        replace(ATTEMPT, number=n, tries=(replace(RIGHT_TRY, think_ms=800.0 + n, spread_ms=10.0 + n),))
        for n in range(6)
    ]
    corrected = replace(
        ATTEMPT, tries=(WRONG_TRY, RIGHT_TRY), right_first_try=False, response_ms=None, settle_ms=2000.0
    )
    split = time_split([*at_once, corrected])
    assert split.think_ms is not None and split.spread_ms is not None and split.settle_ms is not None
    assert (split.think_ms.count, split.think_ms.median) == (6, 802.5)
    assert (split.spread_ms.low, split.spread_ms.high) == (10, 15)
    assert (split.settle_ms.count, split.settle_ms.median, split.settle_ms.high) == (7, 0, 2000)


def test_a_time_split_needs_six_tries() -> None:
    for attempts in ([], [ATTEMPT] * 5, [replace(ATTEMPT, set_aside="anticipation")] * 9, [wrong()] * 9):
        split = time_split(attempts)
        assert (split.think_ms, split.spread_ms, split.settle_ms) == (None, None, None)
