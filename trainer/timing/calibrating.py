"""What a port, and the player with it, adds to every moment: measured by playing along with a click.

    calibration = calibrate(onsets_ns, clicks_ns)
    align(..., calibration_ms=calibration.offset_ms)

The beats are told from the clicks by one steady offset: the one under which most clicks have an onset near them; the
nearest onset then counts for each click, so that a beat left out or struck twice does no harm. The offset is the median
of what the beats are off, the scatter 1.4826 times the median distance from it (as in `trainer.timing.answers`).

Whoever taps along with a click is a little before it as a rule, 20-80 ms without musical training (Repp, "Sensorimotor
synchronization", Psychonomic Bulletin & Review 12, 2005; from memory): what is measured is the port and the player.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trainer.capture import MILLISECOND_NS
from trainer.estimates import median
from trainer.timing.answers import NORMAL

BEATS: Final = 16
LEAST_BEATS: Final = 10
MOST_SCATTER_MS: Final = 60.0
"""With sixteen beats, a median then has a standard error under 20 ms (a judgement: more is not worth subtracting)."""

_TOGETHER_MS: Final = 80.0
_NEAR_SHARE: Final = 0.15


@dataclass(frozen=True, slots=True)
class Calibration:
    """The steady offset (later than the click: above 0) and the scatter in ms, to 0.1, and the beats they rest on."""

    offset_ms: float
    scatter_ms: float
    beats_used: int


def calibrate(onsets_ns: Sequence[int], clicks_ns: Sequence[int]) -> Calibration:
    """Offset and scatter of playing along with a click.

    `onsets_ns` are note-ons, `clicks_ns` when the clicks sounded, on one clock, any order. Raises ValueError, a
    sentence for the player, where fewer than `LEAST_BEATS` clicks were given or played along with, or where the playing
    was too unsteady to tell an offset.
    """
    clicks = sorted(click / MILLISECOND_NS for click in clicks_ns)
    if len(clicks) < LEAST_BEATS:
        raise ValueError(f"{len(clicks)} clicks are too few to measure by; at least {LEAST_BEATS} are needed.")
    period = median([after - before for before, after in zip(clicks, clicks[1:], strict=False)])
    assert period is not None
    if period <= 0:
        raise ValueError("The clicks have no distance from each other.")
    onsets: list[float] = []
    for onset in sorted(onset / MILLISECOND_NS for onset in onsets_ns):
        # Two keys of one touch, or one that bounces, are one beat.
        if not onsets or onset - onsets[-1] > min(_TOGETHER_MS, period / 4):
            onsets.append(onset)
    near = _NEAR_SHARE * period
    steady = _most_supported([onset - click for click in clicks for onset in onsets], period / 2, near)
    errors = [] if steady is None else _errors(clicks, onsets, steady, near)
    if len(errors) < LEAST_BEATS:
        raise ValueError(
            f"Only {len(errors)} of {len(clicks)} beats were played along with steadily; "
            f"at least {LEAST_BEATS} are needed. Play one key on every click."
        )
    offset = median(errors)
    assert offset is not None
    away = median([abs(error - offset) for error in errors])
    assert away is not None
    scatter = NORMAL * away
    if scatter > MOST_SCATTER_MS:
        raise ValueError(
            f"The beats scatter by {scatter:.0f} ms, more than {MOST_SCATTER_MS:.0f}: too much to tell an offset. "
            "Try again, perhaps slower."
        )
    return Calibration(round(offset, 1), round(scatter, 1), len(errors))


def _most_supported(differences: Sequence[float], furthest: float, near: float) -> float | None:
    """The difference, within half a beat, that most others lie near to; the middle of those."""
    inside = sorted(each for each in differences if -furthest <= each <= furthest)
    best: tuple[int, float] | None = None
    low = high = 0
    for each in inside:
        while inside[low] < each - near:
            low += 1
        while high < len(inside) and inside[high] <= each + near:
            high += 1
        middle = median(inside[low:high])
        assert middle is not None
        if best is None or (high - low, -abs(middle)) > (best[0], -abs(best[1])):
            best = (high - low, middle)
    return None if best is None else best[1]


def _errors(clicks: Sequence[float], onsets: Sequence[float], steady: float, near: float) -> list[float]:
    """How far from its click each beat was played, where one was played near enough to the steady offset."""
    errors = []
    for click in clicks:
        nearest = min(onsets, key=lambda onset: abs(onset - click - steady), default=None)
        if nearest is not None and abs(nearest - click - steady) <= 2 * near:
            errors.append(nearest - click)
    return errors
