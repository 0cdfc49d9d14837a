"""Drill sets: text <-> values; every fault a value with file, line, column and field.

`values` holds the values and the order of prompts, `places` where things stand in a TOML text, `syntax` reads TOML,
`checks` checks single values, `reading` states the fields of the format, `writing` writes and edits, `prompts` makes
prompts of drills.
"""

from trainer.drills.prompts import Task, target_of, task_of, tasks
from trainer.drills.reading import read
from trainer.drills.values import HANDS, HINTS, SEQUENCES, Drill, DrillSet, Fault, turns
from trainer.drills.writing import edited, write

__all__ = [
    "HANDS", "HINTS", "SEQUENCES", "Drill", "DrillSet", "Fault", "Task", "edited", "read", "target_of", "task_of",
    "tasks", "turns", "write",
]  # fmt: skip
