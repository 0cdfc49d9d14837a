"""Figures of a long record come from summaries, and are those that its attempts give one by one."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import count
from pathlib import Path
from random import Random
from typing import Any

import pytest
from test_storage_passes import TWO_FIVE_ONE
from test_storage_records import CM7, MISSED, make_older

from trainer.progress import (
    LATEST_TIMES,
    MISSED_BY,
    TALLIED_BY,
    Attempt,
    AttemptTallies,
    Only,
    TryRecord,
    VerdictRecord,
    tallies,
)
from trainer.storage.files import StorageError
from trainer.storage.records import Records, counted, summed, sums
from trainer.storage.records.sums import Sum, periods_between

RIGHT = replace(MISSED, right=True, cause=None, causes=(), verdicts=())

TRIES = (
    (RIGHT,),
    (RIGHT,),
    (MISSED, RIGHT),
    (MISSED,),
    (replace(MISSED, cause=None, verdicts=(VerdictRecord("3", "missing"), *MISSED.verdicts)),),
    (replace(MISSED, cause="whole_step", verdicts=(VerdictRecord("3", "missing"), *MISSED.verdicts)),),
    (replace(MISSED, cause="octave", verdicts=()), MISSED, RIGHT),
    (),
)
DAYS = ("2025-12-04", "2025-12-05", "2025-12-06", "2025-12-31", "2026-01-01", "2026-01-07", "2026-02-03")
SINCE = (
    "",
    "",
    "2025",
    "2025-12-05",
    "2025-12-05T11:30",
    "2025-12-05T18",
    "2026-01-01",
    "2026-01-07T12",
    "2026-02-03T09",
)
UNTIL = ("", "", "2026-01", "2025-12-06T09:15", "2026-02-03T11", "2026-02-03T16:20:00", "2025-12-05T19", "2027", "2025")


def several_attempts(chance: Random, most: int) -> list[Attempt]:
    """Attempts of a few items on a few days, no two of them at the same moment, in any order."""
    minutes = chance.sample([(day, minute) for day in DAYS for minute in range(1440)], chance.randint(0, most))
    found = []
    for number, (day, minute) in enumerate(minutes):
        some: tuple[TryRecord, ...] = chance.choice(TRIES)
        right = bool(some) and some[0].right
        found.append(
            replace(
                CM7,
                session=chance.choice("ab"),
                number=number,
                utc=f"{day}T{minute // 60:02d}:{minute % 60:02d}:00.000Z",
                set_title=chance.choice(["one", "two"]),
                root=chance.choice(["C", "C", "F#", "Gb"]),
                quality=chance.choice(["m7", "m7", "7"]),
                tries=some,
                outcome=chance.choice(["right", "right", "right", "wrong", "wrong", "void", "skipped"]),
                right_first_try=right,
                response_ms=chance.randint(300_000, 9_000_000) / 1000 if right else None,
                settle_ms=chance.choice([None, 0.0, chance.randint(0, 9_000_000) / 1000]),
                hint=chance.choice(["", "", "", "shown"]),
                set_aside=chance.choice(["", "", "", "after a pause"]),
                port=chance.choice(["Stage piano", "Upright"]),
                stamp_origin=chance.choice(["callback"] * 6 + ["keyboard", "script"]),
            )
        )
    return found


def any_question(chance: Random) -> Only:
    return Only(
        since=chance.choice(SINCE),
        until=chance.choice(UNTIL),
        sets=chance.choice([(), (), (), ("one",), ("one", "two")]),
        ports=chance.choice([(), (), (), ("Upright",)]),
        voicings=chance.choice([(), (), (CM7.voicing,), (CM7.voicing, "drop 2")]),
        qualities=chance.choice([(), (), (), ("m7",), ("7",)]),
        roots=chance.choice([(), (), (), ("Gb", "C"), ("Gb",)]),
    )


def everything_counted(tallies: Any, by: Sequence[str], missed_by: Sequence[str], only: Only) -> list[object]:
    return [
        dict(tallies.tallies(by, only)),
        dict(tallies.tallies(by, only, times=False)),
        dict(tallies.latest_times(by, only)),
        dict(tallies.latest_times(by, only, list(tallies.tallies(by, only, times=False)))),
        dict(tallies.misses(missed_by, only)),
        dict(tallies.parts(by, only)),
        dict(tallies.standings(only)),
        tallies.found(),
    ]


@pytest.mark.parametrize("may_write", [True, False], ids=["writable", "only readable"])
@pytest.mark.parametrize("seed", range(8))
def test_the_record_counts_as_its_attempts_are_counted_one_by_one(
    seed: int, may_write: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    chance = Random(seed)
    if seed >= 4:  # so few that most groups have more
        for module in (counted, sums, tallies):
            monkeypatch.setattr(module, "LATEST_TIMES", 5)
        monkeypatch.setattr(counted, "_FIRST_STRETCH", 2)
    attempts = several_attempts(chance, most=15 if seed % 2 else 250)
    before = chance.randint(0, len(attempts))
    with Records.open(":memory:") as records:
        for attempt in attempts[:before]:
            records.append(attempt)
        records.bring_up_to_date()
        for attempt in attempts[before:]:
            records.append(attempt)
        records.append(replace(CM7, session="of a student"), student="Ada")
        records._connection.execute(f"PRAGMA query_only = {int(not may_write)}")
        one_by_one = AttemptTallies(attempts)
        for _ in range(12):
            by = chance.sample(TALLIED_BY, chance.randint(0, 3))
            missed_by = chance.sample(MISSED_BY, chance.randint(0, 3))
            only = any_question(chance)
            wanted = everything_counted(one_by_one, by, missed_by, only)
            assert everything_counted(records.counted(), by, missed_by, only) == wanted, (by, missed_by, only)
        records._connection.execute("PRAGMA query_only = 0")
        assert list(records.check_summaries()) == []


def practised(number: int) -> Attempt:
    """Right answers, one a minute, each a little quicker than the one before."""
    return replace(
        CM7,
        number=number,
        utc=f"2026-03-{1 + number // 1440:02d}T{number // 60 % 24:02d}:{number % 60:02d}:00.000Z",
        tries=(RIGHT,),
        outcome="right",
        right_first_try=True,
        response_ms=5000.0 - number,
        settle_ms=0.0,
    )


def test_response_times_are_the_latest_of_each_group_however_they_were_added() -> None:
    attempts = [practised(number) for number in range(3 * LATEST_TIMES)]
    wanted = tuple(attempt.response_ms for attempt in attempts[-LATEST_TIMES:])
    with Records.open(":memory:") as records:
        for attempt in attempts[::-2] + attempts[::2]:
            records.append(attempt)
            if attempt.number % 50 == 0:
                records.bring_up_to_date()
        [tally] = records.counted().tallies(("root",)).values()
        assert (tally.attempts, tally.times_ms) == (len(attempts), wanted)
        assert list(records.check_summaries()) == []


@pytest.mark.parametrize("seed", range(5))
def test_sums_add_up_to_the_same_in_any_order_and_in_any_groups(seed: int) -> None:
    chance = Random(seed)
    counted = [attempt for attempt in several_attempts(chance, 600) if attempt.counts]
    in_order = Sum()
    for attempt in counted:
        in_order.add(Sum.of(attempt))
    chance.shuffle(counted)
    first, second = Sum(), Sum()
    for attempt in counted:
        chance.choice((first, second)).add(Sum.of(attempt))
    first.add(second)
    assert first.row() == in_order.row()
    assert Sum.of_row(first.row()).row() == first.row()


def test_periods_are_the_fewest_that_make_up_the_days() -> None:
    for begin in (date(2023, 12, 30), date(2024, 1, 1), date(2024, 2, 28)):
        for days in (0, 1, 3, 31, 62, 365, 366, 800):
            end = begin + timedelta(days)
            inside = [begin + timedelta(n) for n in range(days)]
            periods = periods_between(begin, end)
            for day in inside:
                assert sum(day.isoformat().startswith(period) for period in periods) == 1
            assert len(periods) <= 90
            outside = (begin - timedelta(1), end)
            assert not any(day.isoformat().startswith(period) for day in outside for period in periods)


# -- what changes afterwards


def test_an_attempt_that_takes_the_place_of_another_is_counted_once() -> None:
    right = practised(0)
    with Records.open(":memory:") as records:
        records.append(right)
        records.append(practised(1))
        assert records.counted().tallies(())[()].right == 2
        wrong = replace(right, tries=(MISSED,), outcome="wrong", right_first_try=False, response_ms=None)
        records.append(wrong, replacing=True)
        tally = records.counted().tallies(())[()]
        assert (tally.attempts, tally.right, tally.times_ms) == (2, 1, (4999.0,))
        assert records.counted().misses(("cause",)) == {("half_step",): 1}
        assert list(records.check_summaries()) == []


def test_summaries_are_made_again_from_the_log(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    with Records.open(path) as records:
        for number in range(20):
            records.append(practised(number))
        before = records.counted().tallies(("day",))
        records._connection.execute("UPDATE summaries SET right_unaided = 0, times = '' WHERE period = ''")
        assert records.counted().tallies(())[()].right == 0
        faults = list(records.check_summaries())
        assert len(faults) == 1 and "period ''" in faults[0]
        records.rebuild_summaries()
        assert records.counted().tallies(("day",)) == before
        assert records.counted().tallies(())[()].right == 20
        assert list(records.check_summaries()) == []


def test_a_program_that_ends_between_log_and_summary_leaves_both_true(tmp_path: Path) -> None:
    path = tmp_path / "records.sqlite"
    failing = count()

    class Ended(Exception):
        pass

    with Records.open(path) as records:
        for number in range(10):
            records.append(practised(number))
        plain = records.database.change_many

        def ends_somewhere(statement: str, rows: Any) -> None:
            if next(failing) == 2:
                raise Ended
            plain(statement, rows)

        records.database.change_many = ends_somewhere  # type: ignore[method-assign]
        with pytest.raises(Ended):
            records.bring_up_to_date()
    with Records.open(path) as records:
        assert records._connection.execute("SELECT COUNT(*) FROM pending").fetchone() == (10,)
        assert records._connection.execute("SELECT COUNT(*) FROM summaries").fetchone() == (0,)
        assert records.counted().tallies(())[()].attempts == 10
        assert list(records.check_summaries()) == []


def test_a_damaged_summary_is_a_storage_error_and_can_be_made_again() -> None:
    with Records.open(":memory:") as records:
        records.append(practised(0))
        records.bring_up_to_date()
        records._connection.execute("UPDATE summaries SET misses = '[[1]]', times = 'x'")
        records.append(practised(1))
        with pytest.raises(StorageError, match="damaged"):
            records.bring_up_to_date()
        records.rebuild_summaries()
        assert records.counted().tallies(())[()].attempts == 2


# -- students and assignments


def test_each_students_attempts_and_those_for_an_assignment_are_counted_apart() -> None:
    with Records.open(":memory:") as records:
        records.append(practised(0))
        for student, attempts in (("Ada", 3), ("Bo", 2)):
            found = [replace(practised(number), assignment="week-1" if number else "") for number in range(attempts)]
            records.append_results(student, "week-1", "d", "2026-03-09T10:00:00.000Z", found)
        assert records.counted().tallies(())[()].attempts == 1
        assert records.counted("Ada").tallies(())[()].attempts == 3
        assert records.counted("Ada", "week-1").tallies(())[()].attempts == 2
        assert records.counted("Bo", "week-1").found().kinds == ((CM7.voicing, "m7"),)
        assert records.counted("Nobody").tallies(()) == {}
        assert list(records.check_summaries()) == []


def test_what_was_computed_of_an_assignment_is_kept_until_something_is_played_for_it() -> None:
    week = replace(practised(0), assignment="week-1")
    with Records.open(":memory:") as records:
        for student in ("Ada", "Bo"):
            records.append(week, student=student)
            records.bring_up_to_date()
            records.keep_derived("assignment", "week-1", f"as {student} stands", student=student)
        both = {("Ada", "week-1"): "as Ada stands", ("Bo", "week-1"): "as Bo stands"}
        assert records.derived("assignment") == both
        records.append(practised(1), student="Ada")
        assert records.derived("assignment", "week-1") == both
        records.append(replace(week, number=2), student="Ada")
        assert records.derived("assignment") == {("Bo", "week-1"): "as Bo stands"}
        records.append_pass(replace(TWO_FIVE_ONE, assignment="week-1"), student="Bo")
        assert records.derived("assignment") == {}


def test_what_was_computed_of_the_log_is_kept_until_something_older_comes_in() -> None:
    with Records.open(":memory:") as records:
        records.append(practised(5))
        records.keep_derived("log", "plan", "up to five")
        records.append(practised(6))
        assert records.derived("log") == {("", "plan"): "up to five"}
        records.append(practised(4))
        assert records.derived("log") == {}
        records.keep_derived("log", "plan", "up to six")
        records.append(replace(practised(6), outcome="wrong"), replacing=True)
        assert records.derived("log") == {}


def test_a_record_from_before_there_were_summaries_is_summed_when_figures_are_asked_for(tmp_path: Path) -> None:
    make_older(tmp_path / "records.sqlite", 2)
    with Records.open(tmp_path / "records.sqlite") as records:
        assert records.counted().misses(("cause", "degree")) == {("half_step", "b7"): 1}
    with sqlite3.connect(tmp_path / "records.sqlite") as connection:
        assert connection.execute("SELECT COUNT(*) FROM pending").fetchone() == (0,)
    connection.close()


def test_a_root_that_is_no_note_never_costs_the_attempt_or_the_figures() -> None:
    with Records.open(":memory:") as records:
        records.append(replace(practised(0), root="H#"))
        records.append(replace(practised(1), utc="yesterday"))
        assert records.counted().tallies(("root",)).keys() == {("H#",), ("C",)}
        assert list(records.check_summaries()) == []


def test_a_word_that_is_not_counted_by_is_refused() -> None:
    with Records.open(":memory:") as records:
        with pytest.raises(ValueError, match="not counted by 'mood'"):
            records.counted().tallies(("mood",))
        records.append(practised(0))
        with pytest.raises(ValueError, match="no beginning of a time"):
            records.counted().tallies((), Only(since="last week"))


@pytest.mark.parametrize("many", [0, 3, 10_000])
def test_very_many_at_once_are_summed_as_few_are(many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(summed, "MANY", many)
    attempts = several_attempts(Random(7), 300)
    with Records.open(":memory:") as records:
        for begin in range(0, len(attempts), 100):
            for attempt in attempts[begin : begin + 100]:
                records.append(attempt, student=attempt.session)
            records.bring_up_to_date()
        for student in "ab":
            own = AttemptTallies([attempt for attempt in attempts if attempt.session == student])
            assert records.counted(student).tallies(("day", "root")) == own.tallies(("day", "root"))
        assert list(records.check_summaries()) == []
        records.rebuild_summaries()
        assert list(records.check_summaries()) == []
