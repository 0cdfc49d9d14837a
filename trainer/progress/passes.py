"""Figures of passes at a tempo, laid out to be looked at: the highest clean tempo of each key of each form.

What a pass is, when it is clean, and figures by voicing and by move are in `trainer.timing`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from trainer.charts import Key
from trainer.pitch import TWELVE_ROOTS, PitchError
from trainer.progress.attempts import plain_root
from trainer.timing import HighestClean, PassRecord, highest_clean


@dataclass(frozen=True, slots=True)
class TempoRow:
    """One form, or one section of it: the highest clean tempo on each of the twelve roots, in the cycle of fourths.

    `minor` says that its keys are minor ones; None stands for a key in which it was never played whole.
    """

    title: str
    section: str
    minor: bool
    keys: tuple[HighestClean | None, ...]


def tempo_table(passes: Iterable[PassRecord]) -> tuple[TempoRow, ...]:
    """A row for each form and section that was played whole at a piano, in the order of their titles; () for none.

    A pass in F# counts under Gb. A record whose key is none is left out.

    >>> tempo_table([])
    ()
    """
    groups: dict[tuple[str, str, bool], list[PassRecord]] = {}
    for record in passes:
        try:
            key = Key.parse(record.key)
        except PitchError:
            continue
        named = replace(record, key=plain_root(key.root.name))
        groups.setdefault((record.title, record.section, key.minor), []).append(named)
    rows = []
    for group, records in sorted(groups.items()):
        found = highest_clean(records)
        if found:
            rows.append(TempoRow(*group, tuple(found.get(note.name) for note in TWELVE_ROOTS)))
    return tuple(rows)
