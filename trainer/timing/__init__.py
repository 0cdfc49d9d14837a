"""A take against the beats of a form: which gesture answers which chord, early or late.

    aligned = align(events, slots, Grid(tempo_bpm, start_ns, SWUNG), calibration_ms=12.0)
    record = record_of(aligned, Circumstances(...))

`grid` turns beats into moments, `slots` says what is to be played when. `hearing` makes strokes of events, splits the
hands and says what a gesture holds; `drift` follows the player's own tempo; `alignment` gives strokes to slots, the
cheapest way; `answers` grades them and tells the player's time: `align`. `following` does so while the take is played.
`records` is what is kept of a pass and `recording` makes it; `ladder` takes the tempo up and down, `figures` sums up
many passes, `calibrating` measures what a port adds.
"""

from trainer.timing.answers import Aligned, Answer, Bounds, Extra, align, steadiness
from trainer.timing.calibrating import BEATS, Calibration, calibrate
from trainer.timing.figures import SLOT_GROUPINGS, InTimeFigures, figures_in_time, in_time_by
from trainer.timing.following import Following
from trainer.timing.grid import STRAIGHT, SWUNG, Grid
from trainer.timing.ladder import HighestClean, TempoLadder, highest_clean, next_tempo
from trainer.timing.recording import CLEAN_SCATTER_MS, Circumstances, events_of, is_clean, record_of
from trainer.timing.records import SLOT_VERDICTS, PassRecord, SlotRecord
from trainer.timing.slots import PARTS, Slot

__all__ = [
    "BEATS",
    "CLEAN_SCATTER_MS",
    "PARTS",
    "SLOT_GROUPINGS",
    "SLOT_VERDICTS",
    "STRAIGHT",
    "SWUNG",
    "Aligned",
    "Answer",
    "Bounds",
    "Calibration",
    "Circumstances",
    "Extra",
    "Following",
    "Grid",
    "HighestClean",
    "InTimeFigures",
    "PassRecord",
    "Slot",
    "SlotRecord",
    "TempoLadder",
    "align",
    "calibrate",
    "events_of",
    "figures_in_time",
    "highest_clean",
    "in_time_by",
    "is_clean",
    "next_tempo",
    "record_of",
    "steadiness",
]
