"""The tempo ladder, the highest clean tempo, figures over many passes, and the calibration by playing along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import numpy
import pytest
from scipy import stats

from trainer.timing import (
    Calibration,
    PassRecord,
    SlotRecord,
    TempoLadder,
    calibrate,
    figures_in_time,
    highest_clean,
    in_time_by,
    next_tempo,
    steadiness,
)

SLOT = SlotRecord(
    0, 1, "1", "chord", "Dm7", "D", "m7", "rootless from the third", ("b3", "5", "b7", "9"), (53, 57, 60, 64), "right",
    (53, 57, 60, 64), 12.0, 20.0,
)  # fmt: skip
PASS = PassRecord(
    session="s", number=1, utc="2026-01-01T10:00:00Z", title="A practice form", section="", key="C", tempo_bpm=120,
    swing=0.5, beats=32, meter="4/4", outcome="whole", clean=True, slots=(SLOT,), extra=0, offset_ms=12.0,
    scatter_ms=None, calibration_ms=0.0, port="Stage Piano", stamp_origin="callback",
)  # fmt: skip


# -- the ladder


def test_a_clean_pass_goes_up_one_step_and_another_down_two() -> None:
    ladder = TempoLadder(start_bpm=100)
    assert next_tempo(ladder, replace(PASS, tempo_bpm=100)) == 104
    assert next_tempo(ladder, replace(PASS, tempo_bpm=104)) == 108
    assert next_tempo(ladder, replace(PASS, tempo_bpm=108, clean=False)) == 100


@pytest.mark.parametrize("start", [30, 61, 80, 133, 319])
def test_every_step_up_is_undone_by_one_down(start: int) -> None:
    ladder = TempoLadder(start_bpm=start, steps_down=1)
    assert start in ladder.tempi and ladder.tempi[0] == 30 and ladder.tempi[-1] == 320
    assert list(ladder.tempi) == sorted(set(ladder.tempi))
    for tempo in ladder.tempi[:-1]:
        assert ladder.down(ladder.up(tempo)) == tempo


def test_the_ladder_ends_at_its_bounds() -> None:
    ladder = TempoLadder(start_bpm=60, slowest_bpm=58, fastest_bpm=63)
    assert ladder.tempi == (58, 60, 62, 63)
    assert (ladder.up(63), ladder.down(60), ladder.down(58), ladder.up(70), ladder.down(40)) == (63, 58, 58, 63, 58)


def test_a_pass_that_was_stopped_or_void_leaves_the_tempo() -> None:
    for outcome in ("stopped", "void"):
        assert next_tempo(TempoLadder(), replace(PASS, outcome=outcome, clean=False)) == 120


@pytest.mark.parametrize("wrong", [{"start_bpm": 20}, {"start_bpm": 400}, {"step_percent": 0}, {"steps_up": 0}])
def test_a_ladder_that_leads_nowhere_is_refused(wrong: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="a ladder"):
        TempoLadder(**wrong)  # type: ignore[arg-type]


def test_the_ladder_settles_where_two_passes_of_three_are_clean() -> None:
    """A player who is clean with a probability falling with the tempo: 2/3 at 120 (Kaernbach 1991)."""
    chance = Random(8)
    ladder = TempoLadder(start_bpm=80)
    tempo, tempi = 80.0, []
    for _ in range(4000):
        tempi.append(tempo)
        clean = chance.random() < 1 / (1 + numpy.exp((tempo - 120) / 8) / 2)
        tempo = next_tempo(ladder, replace(PASS, tempo_bpm=tempo, clean=bool(clean)))
    assert numpy.median(tempi[100:]) == pytest.approx(120, rel=0.04)


def test_the_highest_clean_tempo_of_each_key_is_told_with_its_tries() -> None:
    passes = [
        replace(PASS, tempo_bpm=100, utc="1"),
        replace(PASS, tempo_bpm=110, utc="2"),
        replace(PASS, tempo_bpm=110, utc="3", clean=False),
        replace(PASS, tempo_bpm=120, utc="4", clean=False),
        replace(PASS, tempo_bpm=130, utc="5", outcome="stopped"),
        replace(PASS, tempo_bpm=140, utc="6", stamp_origin="script"),
        replace(PASS, key="F", tempo_bpm=90, utc="7", clean=False),
    ]
    found = highest_clean(passes)
    assert list(found) == ["C", "F"]
    assert (found["C"].tempo_bpm, found["C"].first_utc, found["C"].passes, found["C"].clean) == (110, "2", 2, 1)
    expected = stats.binomtest(1, 2).proportion_ci(method="wilson")
    assert (found["C"].low, found["C"].high) == pytest.approx((expected.low, expected.high))
    assert (found["F"].tempo_bpm, found["F"].first_utc, found["F"].passes, found["F"].clean) == (None, None, 1, 0)


# -- figures


def slots(*verdicts: str, error_ms: float | None = 0.0, **changes: str) -> list[SlotRecord]:
    return [
        replace(SLOT, verdict=each, error_ms=None if each in ("missed", "left out") else error_ms, **changes)  # type: ignore[arg-type]
        for each in verdicts
    ]


def test_figures_count_what_was_asked_and_time_what_was_answered() -> None:
    found = figures_in_time(slots("right", "right", "late", "wrong", "missed", "left out"))
    assert (found.slots, found.right, found.late, found.wrong, found.missed, found.timed) == (5, 2, 1, 1, 1, 4)
    expected = stats.binomtest(2, 5).proportion_ci(method="wilson")
    assert found.share == 0.4 and (found.low, found.high) == pytest.approx((expected.low, expected.high))
    assert found.offset is None  # four are not enough for an interval


def test_no_slots_have_no_share() -> None:
    found = figures_in_time(slots("left out"))
    assert (found.slots, found.share, found.low, found.timed, found.scatter_ms) == (0, None, None, 0, None)


def test_moves_and_voicings_are_told_apart() -> None:
    rows = [
        *slots(*["right"] * 6, error_ms=20.0, move="Dm7 - G7"),
        *slots("wrong", "right", error_ms=80.0, move="G7 - Cmaj7", cause="half_step"),
        *slots("right"),
    ]
    by_move = in_time_by([replace(PASS, slots=tuple(rows))], "move")
    assert list(by_move) == ["Dm7 - G7", "G7 - Cmaj7"]
    assert by_move["Dm7 - G7"].offset is not None and by_move["Dm7 - G7"].offset.median == 20
    assert by_move["G7 - Cmaj7"].causes == {"half_step": 1}
    assert in_time_by([replace(PASS, slots=tuple(rows))], "voicing")["rootless from the third"].slots == 9
    with pytest.raises(ValueError, match="voicing, move"):
        in_time_by([], "weather")


@pytest.mark.parametrize("change", [{"outcome": "void"}, {"stamp_origin": "script"}, {"stamp_origin": "keyboard"}])
def test_passes_without_a_piano_count_for_nothing(change: dict[str, str]) -> None:
    assert in_time_by([replace(PASS, **change)], "root") == {}  # type: ignore[arg-type]


def test_the_scatter_is_that_of_another_library() -> None:
    chance = numpy.random.default_rng(4)
    errors = [float(round(each)) for each in chance.normal(30, 20, 101)]
    offset, scatter = steadiness(errors)
    assert offset == numpy.median(errors)
    assert scatter == pytest.approx(stats.median_abs_deviation(errors, scale="normal"), abs=0.06)


# -- calibration

BEAT_NS = 600_000_000
CLICKS = [7_000_000_000 + BEAT_NS * beat for beat in range(16)]


def along(offset_ms: float, jitter_ms: float = 12.0, seed: int = 1) -> list[int]:
    chance = Random(seed)
    return [click + round(1e6 * (offset_ms + chance.gauss(0, jitter_ms))) for click in CLICKS]


@pytest.mark.parametrize("offset_ms", [-60, -20, 0, 35, 150, 220])
def test_sixteen_beats_tell_the_offset(offset_ms: float) -> None:
    found = calibrate(along(offset_ms), CLICKS)
    assert found.offset_ms == pytest.approx(offset_ms, abs=10)
    assert found.scatter_ms == pytest.approx(12, abs=8)
    assert found.beats_used == 16


def test_the_offset_is_the_median_and_the_scatter_that_of_another_library() -> None:
    onsets = along(35)
    errors = [(onset - click) / 1e6 for onset, click in zip(onsets, CLICKS, strict=True)]
    found = calibrate(onsets, CLICKS)
    assert found.offset_ms == pytest.approx(numpy.median(errors), abs=0.06)
    assert found.scatter_ms == pytest.approx(stats.median_abs_deviation(errors, scale="normal"), abs=0.06)


def test_a_beat_left_out_or_struck_twice_does_no_harm() -> None:
    onsets = along(35)
    missing = [onset for index, onset in enumerate(onsets) if index not in (3, 9)]
    doubled = [*onsets, onsets[5] + 30_000_000, onsets[7] + 250_000_000, onsets[11] + 200_000_000]
    assert calibrate(missing, CLICKS).beats_used == 14
    for onsets in (missing, doubled):
        assert calibrate(onsets, CLICKS).offset_ms == pytest.approx(35, abs=10)


def test_the_onsets_may_come_in_any_order_and_two_keys_are_one_beat() -> None:
    onsets = along(20)
    both = [*reversed(onsets), *[onset + 4_000_000 for onset in onsets]]
    assert calibrate(both, CLICKS) == calibrate(onsets, CLICKS)


def test_two_chords_far_off_do_not_move_the_offset() -> None:
    onsets = along(20)
    off = [onset + (170_000_000 if index in (2, 6) else 0) for index, onset in enumerate(onsets)]
    assert calibrate(off, CLICKS).offset_ms == pytest.approx(calibrate(onsets, CLICKS).offset_ms, abs=6)


@pytest.mark.parametrize(
    ("onsets", "clicks", "sentence"),
    [
        ([], CLICKS, "Only 0 of 16 beats"),
        (along(20)[:9], CLICKS, "Only 9 of 16 beats"),
        (along(20), CLICKS[:8], "8 clicks are too few"),
        (along(20), [CLICKS[0]] * 16, "no distance"),
        (along(20, jitter_ms=110, seed=5), CLICKS, "beats"),
    ],
)
def test_too_little_to_measure_by_is_refused_in_a_sentence(
    onsets: Sequence[int], clicks: Sequence[int], sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence) as refused:
        calibrate(onsets, clicks)
    assert str(refused.value).endswith(".")


def test_random_keys_are_no_playing_along() -> None:
    refused = 0
    for seed in range(40):
        chance = Random(seed)
        onsets = [CLICKS[0] + round(chance.random() * 15 * BEAT_NS) for _ in range(16)]
        try:
            calibrate(onsets, CLICKS)
        except ValueError:
            refused += 1
    assert refused >= 38


def test_a_calibration_is_a_value() -> None:
    assert calibrate(along(35), CLICKS) == calibrate(along(35), CLICKS) != Calibration(0, 0, 0)
