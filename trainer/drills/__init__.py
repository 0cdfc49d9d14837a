"""Drill sets and lessons: text <-> values; every fault a value with file, line, column and field.

Of drill sets, `values` holds the values and the order of prompts, `reading` states the fields of the format, `writing`
writes and edits, `prompts` makes prompts of drills. Of lessons, `rules` says which rule holds for which chord, `rhythm`
reads counting words, `lessons` derives the form, `lesson_chords` holds what it consists of, and `lesson_drills` makes
drills of its voicings and moves; `lesson_reading` states the fields of the format, `lesson_checks` holds rules against
the chart, `lesson_writing` writes. `places` says where things stand in a TOML text, `syntax` reads TOML, `checks` and
`voicing_checks` check single values. `schema` tells editors the formats, `starting` has an example of each.
"""

from trainer.drills.lesson_chords import LessonChord, LessonMove, LessonVoicing, Stroke, bars_text, bass_target
from trainer.drills.lesson_reading import is_lesson, read_lesson
from trainer.drills.lesson_writing import write_lesson
from trainer.drills.lessons import Lesson, lesson_of
from trainer.drills.prompts import Task, target_of, targets_of, task_of, tasks
from trainer.drills.reading import read
from trainer.drills.rhythm import RhythmError, read_rhythm, rhythm_text
from trainer.drills.rules import Manner, Rule
from trainer.drills.values import HANDS, HINTS, SEQUENCES, Drill, DrillSet, Fault, Step, turns
from trainer.drills.writing import edited, write

__all__ = [
    "HANDS",
    "HINTS",
    "SEQUENCES",
    "Drill",
    "DrillSet",
    "Fault",
    "Lesson",
    "LessonChord",
    "LessonMove",
    "LessonVoicing",
    "Manner",
    "RhythmError",
    "Rule",
    "Step",
    "Stroke",
    "Task",
    "bars_text",
    "bass_target",
    "edited",
    "is_lesson",
    "lesson_of",
    "read",
    "read_lesson",
    "read_rhythm",
    "rhythm_text",
    "target_of",
    "targets_of",
    "task_of",
    "tasks",
    "turns",
    "write",
    "write_lesson",
]
