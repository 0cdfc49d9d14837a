"""Attempts, and every figure computed from attempts.

An `Attempt` is one prompt and all that was answered to it. It is the record: everything else (figures, schedules)
is computed from attempts and can be computed again. Times are milliseconds from the moment the prompt was shown,
on a monotonic clock; `utc` is the only wall-clock value.

Which attempts count for what
-----------------------------
* *Accuracy*: attempts that were decided (outcome right or wrong). Right are those whose first try was right with
  nothing shown; an attempt with a hint counts as not right. Skipped, unfinished and void ones do not count at all.
* *Response time* (think plus spread, "time to note-on"): right first tries that are not set aside (anticipations, the
  first prompt after a pause ...). Answers on the computer keyboard have none. Shown to 10 ms, never finer: `to_ten_ms`.
* Every proportion comes with its Wilson interval and every median with its exact order-statistic interval, both 95 %;
  under six times there is no interval, and the figure is None: "not enough yet".

Choosing among twelve roots is slower than among three, and one voicing is not another: figures compare roots fairly
only within one kind of drill. Group or filter first (`group`, `Attempt.pool_size`).

`attempts` holds the values, `figures` what is computed from attempts in hand; `tallies` is how a long record is
counted, `tables` lays out figures of it to be looked at, `passes` those of forms in time.
"""

from trainer.progress.attempts import Attempt, RawEvent, TryRecord, VerdictRecord, attempt_object, plain_root, to_ten_ms
from trainer.progress.figures import (
    GROUPINGS,
    LEAST_FOR_ONE,
    LEAST_FOR_THREE,
    Figures,
    Item,
    Mistakes,
    Progress,
    RootFigures,
    SlowRoots,
    TimeSplit,
    by_root,
    causes,
    figures,
    figures_by,
    group,
    progress,
    ranked,
    response_times_ms,
    slowest_of,
    slowest_roots,
    time_split,
)
from trainer.progress.passes import TempoRow, tempo_table
from trainer.progress.tables import (
    LEARNED,
    LEAST_TIMES,
    NOT_YET,
    PRACTISED,
    DayFigures,
    Share,
    StandingRow,
    TableRow,
    cause_by_root,
    cause_shares,
    curve,
    figures_each,
    learning_curve,
    mistakes,
    points_of,
    roots,
    slow_roots,
    standing_table,
    time_parts,
    time_parts_each,
    voicing_cells,
    voicing_table,
    whole,
)
from trainer.progress.tallies import (
    EVERYTHING,
    LATEST_TIMES,
    MISSED_BY,
    TALLIED_BY,
    AttemptTallies,
    Found,
    Only,
    Parts,
    Remembered,
    Standing,
    Tallies,
    Tally,
    utc_day,
)

__all__ = [
    "Attempt",
    "AttemptTallies",
    "DayFigures",
    "EVERYTHING",
    "Figures",
    "Found",
    "GROUPINGS",
    "Item",
    "LATEST_TIMES",
    "LEARNED",
    "LEAST_FOR_ONE",
    "LEAST_FOR_THREE",
    "LEAST_TIMES",
    "MISSED_BY",
    "Mistakes",
    "NOT_YET",
    "Only",
    "PRACTISED",
    "Parts",
    "Progress",
    "RawEvent",
    "Remembered",
    "RootFigures",
    "Share",
    "SlowRoots",
    "Standing",
    "StandingRow",
    "TALLIED_BY",
    "TableRow",
    "Tallies",
    "Tally",
    "TempoRow",
    "TimeSplit",
    "TryRecord",
    "VerdictRecord",
    "attempt_object",
    "by_root",
    "cause_by_root",
    "cause_shares",
    "curve",
    "causes",
    "figures",
    "figures_by",
    "figures_each",
    "group",
    "learning_curve",
    "mistakes",
    "plain_root",
    "points_of",
    "progress",
    "ranked",
    "response_times_ms",
    "roots",
    "slow_roots",
    "slowest_of",
    "slowest_roots",
    "standing_table",
    "tempo_table",
    "time_parts",
    "time_parts_each",
    "time_split",
    "to_ten_ms",
    "utc_day",
    "voicing_cells",
    "voicing_table",
    "whole",
]
