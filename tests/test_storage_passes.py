"""Passes in time, calibrations, assignments and results: what goes in comes out, once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_storage_records import CM7, keys, plain_texts, raw_events, texts, times

from trainer.storage.files import StorageError
from trainer.storage.records import Calibration, KeptAssignment, KeptResult, Records
from trainer.timing import PassRecord, SlotRecord

FIRST_BAR = SlotRecord(
    index=0,
    bar=1,
    beat="1",
    part="chord",
    chord="Dm7",
    root="D",
    quality="m7",
    voicing="rootless from the third",
    degrees=("b3", "5", "b7", "9"),
    keys=(53, 57, 60, 64),
    verdict="right",
    held=(53, 57, 60, 64),
    error_ms=-21.5,
    spread_ms=12.0,
)
TWO_FIVE_ONE = PassRecord(
    session="p" * 32,
    number=0,
    utc="2026-03-02T18:30:00.000Z",
    title="Two five one",
    section="A",
    key="C",
    tempo_bpm=80.0,
    swing=0.5,
    beats=16.0,
    meter="4/4",
    outcome="whole",
    clean=False,
    slots=(FIRST_BAR, replace(FIRST_BAR, index=1, bar=2, verdict="missed", held=(), error_ms=None, spread_ms=None)),
    extra=1,
    offset_ms=-18.25,
    scatter_ms=14.5,
    calibration_ms=9.0,
    port="Stage piano",
    stamp_origin="callback",
    events=((-21500, "down", 53, 64, 0), (480000, "up", 53, 0, 0)),
)

whole = st.integers(0, 2**31 - 1)
slots = st.builds(
    SlotRecord,
    index=whole,
    bar=st.integers(-1, 500),
    beat=texts,
    part=texts,
    chord=texts,
    root=texts,
    quality=texts,
    voicing=texts,
    degrees=st.lists(texts, max_size=3).map(tuple),
    keys=keys,
    verdict=texts,
    held=keys,
    error_ms=st.none() | times,
    spread_ms=st.none() | times,
    cause=st.none() | texts,
    causes=st.lists(texts, max_size=2).map(tuple),
    sentence=texts,
    move=texts,
)
passes = st.builds(
    PassRecord,
    session=plain_texts,
    number=whole,
    utc=plain_texts,
    title=plain_texts,
    section=plain_texts,
    key=plain_texts,
    tempo_bpm=times,
    swing=times,
    beats=times,
    meter=plain_texts,
    outcome=plain_texts,
    clean=st.booleans(),
    slots=st.lists(slots, max_size=3).map(tuple),
    extra=whole,
    offset_ms=st.none() | times,
    scatter_ms=st.none() | times,
    calibration_ms=times,
    port=plain_texts,
    stamp_origin=plain_texts,
    events=st.lists(raw_events, max_size=3).map(tuple),
    assignment=plain_texts,
)


@settings(deadline=None)
@given(passes)
def test_a_pass_comes_back_with_every_slot_and_every_raw_event(one: PassRecord) -> None:
    with Records.open(":memory:") as records:
        assert records.append_pass(one)
        assert not records.append_pass(one)
        assert list(records.passes()) == [one]
        assert list(records.passes(with_events=False)) == [replace(one, events=())]


def test_another_pass_in_the_same_place_is_refused_and_the_first_stays() -> None:
    with Records.open(":memory:") as records:
        records.append_pass(TWO_FIVE_ONE)
        with pytest.raises(StorageError, match="holds another pass 0"):
            records.append_pass(replace(TWO_FIVE_ONE, key="F"))
        with pytest.raises(StorageError, match="finite"):
            records.append_pass(replace(TWO_FIVE_ONE, number=1, scatter_ms=float("nan")))
        assert list(records.passes()) == [TWO_FIVE_ONE]


def test_passes_are_asked_for_by_title_key_day_and_assignment() -> None:
    in_f = replace(TWO_FIVE_ONE, number=1, key="F", utc="2026-03-03T18:00:00.000Z")
    blues = replace(TWO_FIVE_ONE, number=2, title="Blues", assignment="week-1", utc="2026-03-04T18:00:00.000Z")
    with Records.open(":memory:") as records:
        for one in (blues, in_f, TWO_FIVE_ONE):
            records.append_pass(one)
        assert list(records.passes()) == [TWO_FIVE_ONE, in_f, blues]
        assert list(records.passes("Two five one")) == [TWO_FIVE_ONE, in_f]
        assert list(records.passes(key="F")) == [in_f]
        assert list(records.passes(since="2026-03-03", until="2026-03-04")) == [in_f]
        assert list(records.passes(assignment="week-1")) == [blues]


def test_the_latest_attempts_at_an_item_come_newest_first() -> None:
    several = [replace(CM7, number=n, utc=f"2026-03-0{1 + n}T18:00:00.000Z") for n in range(5)]
    with Records.open(":memory:") as records:
        for attempt in several:
            records.append(attempt)
        records.append(replace(CM7, number=9, root="F", chord="Fm7"))
        found = records.latest_attempts(CM7.item, 3, with_events=True)
        assert found == [several[4], several[3], several[2]]


def test_the_latest_calibration_of_a_port_counts() -> None:
    with Records.open(":memory:") as records:
        assert records.calibration("Stage piano") is None
        records.keep_calibration("Stage piano", "2026-03-01T10:00:00.000Z", 14.0, 3.0, 16)
        records.keep_calibration("Stage piano", "2026-03-02T10:00:00.000Z", 12.5, 2.0, 16)
        records.keep_calibration("Upright", "2026-03-03T10:00:00.000Z", 30.0, 9.0, 8)
        latest = Calibration("Stage piano", "2026-03-02T10:00:00.000Z", 12.5, 2.0, 16)
        assert records.calibration("Stage piano") == latest
        assert len(records.calibrations()) == 3


def test_an_assignment_keeps_when_it_was_opened_and_changes_its_state() -> None:
    with Records.open(":memory:") as records:
        records.keep_assignment("week-1", "text", "2026-03-01T10:00:00.000Z", "open")
        records.keep_assignment("week-1", "text", "2026-03-09T10:00:00.000Z", "done")
        assert records.assignments() == [KeptAssignment("week-1", "text", "2026-03-01T10:00:00.000Z", "done")]
        assert records.assignments("open") == []


def test_results_of_students_are_kept_apart_from_the_players_own_record(tmp_path: Path) -> None:
    own = replace(CM7, session="own")
    with Records.open(tmp_path / "records.sqlite") as records:
        records.append(own)
        for student in ("Ada", "Bo"):
            assert records.append_results(student, "week-1", "d1", "2026-03-05T10:00:00.000Z", [CM7], [TWO_FIVE_ONE])
        assert not records.append_results("Ada", "week-1", "d1", "2026-03-06T10:00:00.000Z", [CM7])
        assert list(records.attempts()) == [own]
        assert records.count() == 1
        assert list(records.attempts(student="Ada")) == [CM7]
        assert list(records.passes(student="Bo")) == [TWO_FIVE_ONE]
        assert records.results("week-1", student="Ada") == [
            KeptResult("Ada", "week-1", "d1", "2026-03-05T10:00:00.000Z")
        ]
        assert records.students() == ["Ada", "Bo"]


def test_results_that_contradict_earlier_ones_are_taken_in_not_at_all() -> None:
    with Records.open(":memory:") as records:
        records.append_results("Ada", "week-1", "d1", "2026-03-05T10:00:00.000Z", [CM7])
        with pytest.raises(StorageError, match="holds another attempt 0"):
            changed = [replace(CM7, number=1), replace(CM7, chord="Fm7")]
            records.append_results("Ada", "week-1", "d2", "2026-03-05T10:00:00.000Z", changed)
        assert list(records.attempts(student="Ada")) == [CM7]
        assert len(records.results()) == 1
