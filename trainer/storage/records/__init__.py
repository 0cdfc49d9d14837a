"""The record of practice: every attempt and every pass, committed the moment it is decided.

The log is the truth, figures and schedules are computed from it; so attempts and passes are added and never changed,
but for the attempt being decided.

    with Records.open(places.records) as records:
        records.append(attempt)                       # on disk when this returns
        figures = by_root(records.attempts(since="2026-03-01"))

`schema` holds the steps of the schema, `rows` takes attempts and passes apart and puts them together, `databases` says
what a database must do, `sqlite` does it in a file and looks after that file, `postgres` on a server, `log` adds and
reads, `summed` keeps the summaries beside the log as `sums` that can be added, `counted` answers for figures from them,
`verdicts` changes what an attempt was graded and changes it back, `assigned` keeps assignments and results, `opened` is
the record as a whole, `salvage` reads a damaged file. Figures of a record of any length: `Records.counted`.
What is measured: ``tests/benchmarks/bench_records.py`` and ``bench_million.py``.
"""

from trainer.storage.records.assigned import KeptAssignment, KeptResult
from trainer.storage.records.counted import Counted
from trainer.storage.records.log import Calibration
from trainer.storage.records.opened import Records, is_address
from trainer.storage.records.rows import storable
from trainer.storage.records.schema import MIGRATIONS, Migration
from trainer.storage.records.sqlite import BACKUPS_KEPT, BUSY_TIMEOUT_MS

__all__ = [
    "BACKUPS_KEPT",
    "BUSY_TIMEOUT_MS",
    "MIGRATIONS",
    "Calibration",
    "Counted",
    "KeptAssignment",
    "KeptResult",
    "Migration",
    "Records",
    "is_address",
    "storable",
]
