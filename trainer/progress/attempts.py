"""Attempts: one prompt and all that was answered to it, as it is recorded.

Times are milliseconds from the moment the prompt was shown, on a monotonic clock; `Attempt.utc` is the only wall-clock
value.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Final

from trainer.pitch import TWELVE_ROOTS, Note


@dataclass(frozen=True, slots=True)
class VerdictRecord:
    """The verdict on one degree: `key` is the key that answers for it (None where none does)."""

    degree: str
    verdict: str
    key: int | None = None
    by: str | None = None
    semitones: int = 0


@dataclass(frozen=True, slots=True)
class TryRecord:
    """One graded gesture. `cause` is the code of the first of `causes` (ties), None when right."""

    held: tuple[int, ...]
    verdicts: tuple[VerdictRecord, ...]
    extra: tuple[int, ...]
    right: bool
    cause: str | None
    causes: tuple[str, ...]
    sentence: str
    think_ms: float | None
    spread_ms: float

    @property
    def degrees_missed(self) -> tuple[str, ...]:
        """Degrees missing or replaced, from the bottom up, each once; one in another octave was found."""
        missed = [said.degree for said in self.verdicts if said.verdict in ("missing", "replaced")]
        return tuple(dict.fromkeys(missed))


RawEvent = tuple[int, str, int, int, int]
"""Microseconds from the prompt, kind, key, value, channel (0-15)."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One prompt answered, skipped, left or voided.

    `outcome` is right, wrong, skipped, unfinished or void; `set_aside` says why response times do not count
    ("" when they do); `stamp_origin` says what took the time stamps; `assignment` is the mark of the one it was played
    for ("" for none). `rules` says what passed (see `trainer.grading.rules`), `tries_allowed` how many tries there
    were (0: recorded before both were).
    """

    session: str
    number: int
    utc: str
    set_title: str
    drill: int
    chord: str
    quality: str
    root: str
    voicing: str
    degrees: tuple[str, ...]
    notes: tuple[str, ...]
    keys: tuple[int, ...]
    tries: tuple[TryRecord, ...]
    outcome: str
    right_first_try: bool
    response_ms: float | None
    settle_ms: float | None
    pool_size: int
    hint: str = ""
    set_aside: str = ""
    port: str = ""
    stamp_origin: str = ""
    target_ms: float | None = None
    events: tuple[RawEvent, ...] = ()
    assignment: str = ""
    rules: str = ""
    tries_allowed: int = 0

    @property
    def item(self) -> tuple[str, str, str]:
        """What is learned as one thing: voicing, quality, root."""
        return (self.voicing, self.quality, self.root)

    @property
    def counts(self) -> bool:
        """Whether it counts toward accuracy: it was decided, and not played by the scripted player."""
        return self.outcome in ("right", "wrong") and self.stamp_origin != "script"

    @property
    def right_unaided(self) -> bool:
        """Right at the first try, with nothing shown: what accuracy counts as right."""
        return self.counts and self.right_first_try and not self.hint

    @property
    def timed(self) -> bool:
        """Whether its times count: right unaided, not set aside, and heard from a piano."""
        return (
            self.right_unaided
            and not self.set_aside
            and self.stamp_origin != "keyboard"
            and self.response_ms is not None
            and self.response_ms > 0
        )

    @property
    def missed(self) -> bool:
        """Whether it counts and its first try was wrong: what mistakes are told of."""
        return self.counts and bool(self.tries) and not self.tries[0].right

    @property
    def settled(self) -> bool:
        """Whether its settle time counts: ended right with nothing shown, not set aside, heard from a piano."""
        return (
            self.counts
            and self.outcome == "right"
            and self.settle_ms is not None
            and not self.hint
            and not self.set_aside
            and self.stamp_origin != "keyboard"
        )

    @property
    def plain_root(self) -> str:
        """The root under its name among the twelve: Gb for F#. Raises `trainer.pitch.PitchError` if it is no note."""
        return plain_root(self.root)


def attempt_object(attempt: Attempt) -> dict[str, object]:
    """An attempt as plain values for machines, without its raw events: what `trainer drill --json` prints a line of."""
    return {
        "prompt": {
            "chord": attempt.chord,
            "root": attempt.root,
            "voicing": attempt.voicing,
            "degrees": list(attempt.degrees),
            "notes": list(attempt.notes),
            "keys": list(attempt.keys),
        },
        "tries": [asdict(one) for one in attempt.tries],
        "outcome": attempt.outcome,
        "right_first_try": attempt.right_first_try,
        "response_ms": attempt.response_ms,
        "settle_ms": attempt.settle_ms,
        "pool_size": attempt.pool_size,
        "hint": attempt.hint,
        "set_aside": attempt.set_aside,
    }


_TWELVE: Final = {note.pitch_class: note.name for note in TWELVE_ROOTS}


@lru_cache(maxsize=128)
def plain_root(root: str) -> str:
    """A root under the name that its key has among the twelve. Raises `trainer.pitch.PitchError`.

    >>> plain_root("F#"), plain_root("Cb"), plain_root("Bb")
    ('Gb', 'B', 'Bb')
    """
    return _TWELVE[Note.parse(root).pitch_class]


def to_ten_ms(milliseconds: float) -> int:
    """A time as it is shown: to the nearest 10 ms, a screen and a keyboard know it no finer.

    >>> to_ten_ms(1234.9), to_ten_ms(1235.1)
    (1230, 1240)
    """
    return 10 * round(milliseconds / 10)
