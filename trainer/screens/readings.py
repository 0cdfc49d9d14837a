"""What the session says, turned into what is drawn: rungs, sentences, figures of the wheel.

Pure functions from the session's values to the widgets'; the words a player reads are chosen here.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Final

from trainer.chords.words import pretty_degrees, quality_words
from trainer.grading import Grade, Target, Verdict, pretty_symbol
from trainer.pitch import TWELVE_ROOTS, MidiNote, Note, note_label, pretty, spelled_key
from trainer.progress import Attempt, Figures, figures
from trainer.screens.ladder import Beside, Rung
from trainer.screens.roots import RootCell
from trainer.session import Task, TryGraded

_STATE_OF_VERDICT: Final = {
    "right": "held",
    "moved": "moved",
    "missing": "missing",
    "left out": "left out",
    "replaced": "replaced",
}


def prompt_symbol(target: Target, style: str = "house") -> str:
    """The chord symbol with musical signs, in one of the writing styles: ``B♭m7``, ``B♭min7``, ``B♭-7``."""
    return pretty_symbol(target.chord.write(style))


def prompt_words(target: Target) -> str:
    """What is asked, in words: ``rootless from the third, minor 7, on C``."""
    quality = quality_words(target.chord.quality.text)
    return f"{pretty_degrees(target.voicing)}, {quality}, on {note_label(target.root)}"


def rungs_asked(task: Task, all_shown: bool = False) -> tuple[Rung, ...]:
    """The empty ladder of a prompt; how much of it is named is the task's hint (notes, degrees, name, sound)."""
    target = task.target
    hint = "notes" if all_shown else task.hint
    return tuple(
        Rung(
            pretty(degree.name) if hint in ("notes", "degrees") else "",
            _rung_note(note, key, lowest=index == 0) if hint == "notes" else "",
            key,
        )
        for index, (degree, note, key) in enumerate(zip(target.degrees, target.notes, target.keys, strict=True))
    )


def rungs_heard(asked: Sequence[Rung], target: Target, verdicts: Sequence[Verdict]) -> tuple[Rung, ...]:
    """The ladder while an answer is being played: what is not held is only waiting."""
    rungs = []
    for rung, verdict, graded in zip(asked, verdicts, _rungs(target, verdicts), strict=True):
        waiting = verdict.verdict in ("missing", "left out")
        rungs.append(rung if waiting else graded)
    return tuple(rungs)


def rungs_graded(target: Target, grade: Grade) -> tuple[Rung, ...]:
    """The ladder of a decided answer."""
    return _rungs(target, grade.verdicts)


def _rungs(target: Target, verdicts: Sequence[Verdict]) -> tuple[Rung, ...]:
    return tuple(
        Rung(
            pretty(verdict.degree.name),
            _rung_note(target.root + verdict.degree, key, lowest=index == 0),
            key,
            _STATE_OF_VERDICT[verdict.verdict],
            _detail(target, key, verdict),
        )
        for index, (key, verdict) in enumerate(zip(target.keys, verdicts, strict=True))
    )


def _rung_note(note: Note, key: MidiNote, *, lowest: bool) -> str:
    """A note of the ladder; the lowest one with its octave, since the register counts: ``E♭3``, ``C♭4 (B)``."""
    if not lowest:
        return note_label(note)
    shown = pretty(spelled_key(note, key))
    return shown if note.is_plain else f"{shown} ({pretty(note.plain().name)})"


def _detail(target: Target, asked: int, verdict: Verdict) -> str:
    if verdict.key is None:
        return ""
    if verdict.verdict == "replaced":
        return f"{note_label(target.root + (verdict.by or target.degree_of(verdict.key)))} instead"
    if verdict.verdict == "moved" and (moved := verdict.key - asked) % 12 == 0:
        octaves = abs(moved) // 12
        if octaves:
            return f"{'an octave' if octaves == 1 else f'{octaves} octaves'} {'high' if moved > 0 else 'low'}"
    return ""


def beside(target: Target, extra: Iterable[MidiNote]) -> tuple[Beside, ...]:
    """The keys that belong to no rung, spelled on the prompted root."""
    return tuple(Beside(key, note_label(target.root + target.degree_of(key))) for key in extra)


def times_words(graded: TryGraded, stamp_origin: str) -> str:
    """The times of a try, to a hundredth of a second; the computer's keyboard takes none."""
    if stamp_origin == "keyboard" or graded.think_ms is None:
        return ""
    manner = {"together": "together", "rolled": "rolled", "spread": "spread"}.get(graded.manner, graded.manner)
    spread = f"{manner} over {graded.spread_ms / 1000:.2f} s" if manner != "together" else "together"
    return f"{graded.think_ms / 1000:.2f} s to note-on, {spread}"


def heading_words(graded: TryGraded, style: str = "house") -> str:
    """What became of a try: ``Cm7 right``, ``Cm7 not yet, 2 tries left``, ``Cm7 missed``."""
    symbol = prompt_symbol(graded.task.target, style)
    if graded.grade.right:
        return f"{symbol} right"
    if graded.left:
        return f"{symbol} not yet: {graded.left} {'try' if graded.left == 1 else 'tries'} left"
    return f"{symbol} missed"


def ago_words(then_utc: str, now: datetime) -> str:
    """How long ago, in at most five letters; "" for a stamp that cannot be read.

    >>> from datetime import UTC
    >>> now = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
    >>> ago_words("2026-03-10T11:59:00+00:00", now), ago_words("2026-03-10T10:00:00+00:00", now)
    ('now', '2 h')
    >>> ago_words("2026-03-03T12:00:00+00:00", now)
    '7 d'
    """
    try:
        then = datetime.fromisoformat(then_utc)
    except ValueError:
        return ""
    if then.tzinfo is None:
        then = then.replace(tzinfo=now.tzinfo)
    seconds = (now - then).total_seconds()
    for size, unit in ((365 * 86400, "y"), (86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size:
            count = int(seconds // size)
            if unit == "min" and count < 5:
                return "now"
            return f"{count}{unit}" if unit == "min" else f"{count} {unit}"
    return "now"


LATEST_TRIES: Final = 30
"""The wheel shows the latest tries on each root: what the hands can do now."""


class Wheel:
    """The figures behind the wheel of roots, kept root by root so that a new attempt costs one root's figures."""

    def __init__(self, attempts: Iterable[Attempt] = ()) -> None:
        self._latest: dict[str, deque[Attempt]] = {note.name: deque(maxlen=LATEST_TRIES) for note in TWELVE_ROOTS}
        self._figures: dict[str, Figures] = {}
        for attempt in attempts:
            if attempt.counts and (latest := self._latest.get(attempt.plain_root)) is not None:
                latest.append(attempt)
        for root, latest in self._latest.items():
            self._figures[root] = figures(latest)

    def add(self, attempt: Attempt) -> None:
        """Count one more attempt; one of the same number takes the place of the last (see `trainer.session`)."""
        latest = self._latest.get(attempt.plain_root)
        if latest is None:
            return
        if latest and (latest[-1].session, latest[-1].number) == (attempt.session, attempt.number):
            latest.pop()
        if attempt.counts:
            latest.append(attempt)
        self._figures[attempt.plain_root] = figures(latest)

    def cells(self, now: datetime, spelled: Mapping[str, str] | None = None) -> tuple[RootCell, ...]:
        """The twelve cells; `spelled` gives a set's own name for a root (Gb: F#)."""
        return tuple(
            RootCell(
                (spelled or {}).get(root, root),
                root,
                each.attempts,
                each.accuracy,
                each.low,
                each.median_ms,
                ago_words(each.last_utc, now) if each.last_utc else "",
            )
            for root, each in self._figures.items()
        )
