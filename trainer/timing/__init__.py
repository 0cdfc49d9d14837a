"""A take against the beats of a form: which gesture answers which chord, early or late.

`grid` turns beats into moments, `slots` says what is to be played when, `records` what is kept of a pass.
"""

from trainer.timing.grid import STRAIGHT, SWUNG, Grid
from trainer.timing.records import SLOT_VERDICTS, PassRecord, SlotRecord
from trainer.timing.slots import PARTS, Slot

__all__ = ["PARTS", "SLOT_VERDICTS", "STRAIGHT", "SWUNG", "Grid", "PassRecord", "Slot", "SlotRecord"]
