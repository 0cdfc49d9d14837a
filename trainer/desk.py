"""What became of an assignment: one student's state, and a class seen together.

A *cell* is one root of one drill of the assignment; its state is read from the first answers given for it, by the rule
of the assignment (`trainer.drills.assignments.Done`):

    not started   nothing that counts was played
    begun         played, not yet what is asked
    stuck         played at least twice as often as asked, and still fewer right than asked (a judgement)
    done          what is asked was there; what was done stays done

Attempts count as everywhere (`Attempt.counts`): decided ones, not the scripted player's. `day_of` gives the day of a
``utc`` text in a form that sorts by time. Who is *stuck where, and why* is told by the most frequent first cause of
wrong first tries; what the *class* misses is ranked by how many students have not done a cell that they began, then by
their share of wrong first tries.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final

from trainer.drills.assignments import Assignment, Done, least_right
from trainer.estimates import median
from trainer.progress import Attempt, plain_root, response_times_ms
from trainer.timing import PassRecord

NOT_STARTED: Final = "not started"
BEGUN: Final = "begun"
STUCK: Final = "stuck"
DONE: Final = "done"
STATES: Final = (NOT_STARTED, BEGUN, STUCK, DONE)

STUCK_AFTER: Final = 2
"""How many times the asked tries a root takes before a student counts as stuck there (a judgement)."""


def utc_day(utc: str) -> str:
    """The UTC day of a time as it is recorded."""
    return utc[:10]


@dataclass(frozen=True, slots=True)
class Cell:
    """One root of one drill (for a tempo: of the lesson, drill -1) and how a student stands there.

    `tries` and `right` count first answers; `days` on which it was right; `median_ms` is of the latest right ones asked
    for, None where none is timed; `cause` the most frequent cause of a miss; `lacking` what is still asked, as a
    sentence ("" when done); `done_utc` when it was first done.
    """

    drill: int
    root: str
    state: str = NOT_STARTED
    tries: int = 0
    right: int = 0
    days: int = 0
    median_ms: float | None = None
    cause: str = ""
    lacking: str = ""
    done_utc: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """One student and one assignment: the cells in the order of `Assignment.places`, and when it was last worked at."""

    mark: str
    student: str
    cells: tuple[Cell, ...]
    last_utc: str = ""

    @property
    def done(self) -> int:
        return sum(cell.state == DONE for cell in self.cells)

    @property
    def state(self) -> str:
        """``done`` when every cell is, ``stuck`` where one is, ``not started`` where none is begun."""
        states = {cell.state for cell in self.cells}
        if states <= {DONE}:
            return DONE
        if STUCK in states:
            return STUCK
        return NOT_STARTED if states == {NOT_STARTED} else BEGUN

    def sentence(self, due: date | None, today: date) -> str:
        """The state as the student reads it."""
        if self.state == DONE:
            return "Done."
        left = len(self.cells) - self.done
        words = f"{self.done} of {len(self.cells)} done, {left} to go"
        if due is None:
            return f"{words}."
        days = (due - today).days
        when = "due today" if days == 0 else f"due in {days} days" if days > 1 else "due tomorrow"
        return f"{words}, {when if days >= 0 else f'due {-days} days ago' if days < -1 else 'due yesterday'}."


def standing(
    assignment: Assignment,
    attempts: Iterable[Attempt],
    passes: Iterable[PassRecord] = (),
    student: str = "",
    day_of: Callable[[str], str] = utc_day,
) -> Standing:
    """How a student stands with an assignment, by the attempts and passes played for it; others are left aside."""
    played: dict[tuple[int, str], list[Attempt]] = {}
    last_utc = ""
    for attempt in sorted(attempts, key=lambda attempt: (attempt.utc, attempt.session, attempt.number)):
        if attempt.assignment == assignment.mark and attempt.counts:
            index = assignment.drill_of(attempt.quality, attempt.degrees)
            if index is not None:
                played.setdefault((index, attempt.plain_root), []).append(attempt)
                last_utc = attempt.utc
    cells = [
        _cell(index, root.name, played.get((index, plain_root(root.name)), []), assignment.done, day_of)
        for index, root in assignment.places
    ]
    if assignment.done.tempo_bpm is not None:
        mine = [one for one in passes if one.assignment == assignment.mark and one.stamp_origin != "script"]
        last_utc = max([last_utc, *(one.utc for one in mine)])
        roots = dict.fromkeys(plain_root(root.name) for _, root in assignment.places)
        cells += [
            _tempo_cell(
                root, [one for one in mine if plain_root(one.key.removesuffix("m")) == root], assignment.done, day_of
            )
            for root in roots
        ]
    return Standing(assignment.mark, student, tuple(cells), last_utc)


def _cell(drill: int, root: str, played: Sequence[Attempt], done: Done, day_of: Callable[[str], str]) -> Cell:
    right = [attempt for attempt in played if attempt.right_unaided]
    done_utc = next(
        (played[end - 1].utc for end in range(1, len(played) + 1) if not _lacking(played[:end], done, day_of)), ""
    )
    lacking = "" if done_utc else _lacking(played, done, day_of)
    missed = Counter(
        attempt.tries[0].cause
        for attempt in played
        if attempt.tries and attempt.tries[0].cause and not attempt.right_first_try
    )
    return Cell(
        drill=drill,
        root=root,
        state=_state(played, done, bool(done_utc)),
        tries=len(played),
        right=len(right),
        days=len({day_of(attempt.utc) for attempt in right}),
        median_ms=_latest_median_ms(played, done),
        cause=str(missed.most_common(1)[0][0]) if missed else "",
        lacking=lacking,
        done_utc=done_utc,
    )


def _state(played: Sequence[Attempt], done: Done, is_done: bool) -> str:
    if is_done:
        return DONE
    if not played:
        return NOT_STARTED
    latest_right = sum(attempt.right_unaided for attempt in played[-done.tries :])
    if len(played) >= STUCK_AFTER * done.tries and latest_right < least_right(done):
        return STUCK
    return BEGUN


def _latest_median_ms(played: Sequence[Attempt], done: Done) -> float | None:
    return median(response_times_ms(played[-done.tries :]))


def _lacking(played: Sequence[Attempt], done: Done, day_of: Callable[[str], str]) -> str:
    """What is still asked after some answers, "" when nothing is."""
    latest = played[-done.tries :]
    right = sum(attempt.right_unaided for attempt in latest)
    parts = []
    if len(latest) < done.tries:
        parts.append(f"{done.tries - len(latest)} more tries" if done.tries - len(latest) > 1 else "one more try")
    elif right < least_right(done):
        parts.append(f"{right} of the latest {done.tries} right, asked are {least_right(done)}")
    if done.response_ms is not None and not parts:
        middle = _latest_median_ms(played, done)
        if middle is None:
            parts.append("no time from a piano yet")
        elif middle > done.response_ms:
            parts.append(f"{middle / 1000:.1f} s, asked are {done.response_ms / 1000:g} s")
    days = len({day_of(attempt.utc) for attempt in played if attempt.right_unaided})
    if days < done.days:
        parts.append(f"right on {days} of {done.days} days")
    return ", ".join(parts)


def _tempo_cell(root: str, played: Sequence[PassRecord], done: Done, day_of: Callable[[str], str]) -> Cell:
    wanted = done.tempo_bpm or 0
    ordered = sorted(played, key=lambda one: (one.utc, one.session, one.number))
    clean = [one for one in ordered if one.clean and one.tempo_bpm >= wanted and not one.section]
    days: list[str] = []
    done_utc = ""
    for one in clean:
        day = day_of(one.utc)
        if day not in days:
            days.append(day)
        if len(days) >= done.days and not done_utc:
            done_utc = one.utc
    best = max((one.tempo_bpm for one in ordered if one.clean and not one.section), default=None)
    lacking = ""
    if not done_utc:
        lacking = f"no clean pass yet, asked at {wanted}"
        if best is not None:
            lacking = f"clean at {best:g}, asked at {wanted}"
        if clean:
            lacking = f"clean at {wanted} on {len(days)} of {done.days} days"
    causes = Counter(slot.cause for one in ordered for slot in one.slots if slot.cause)
    state = DONE if done_utc else BEGUN if ordered else NOT_STARTED
    return Cell(
        drill=-1,
        root=root,
        state=state,
        tries=len(ordered),
        right=len(clean),
        days=len(days),
        cause=str(causes.most_common(1)[0][0]) if causes else "",
        lacking=lacking,
        done_utc=done_utc,
    )


# -- a class


@dataclass(frozen=True, slots=True)
class Missed:
    """A cell that the class misses: how many began it and have not done it, how many did, and the cause met most."""

    drill: int
    root: str
    begun: int
    done: int
    tries: int
    wrong: int
    cause: str


@dataclass(frozen=True, slots=True)
class ClassView:
    """An assignment across a class: students in the order given, each with a standing (None: not handed in)."""

    mark: str
    students: tuple[str, ...]
    standings: tuple[Standing | None, ...]

    def by_state(self, state: str) -> tuple[str, ...]:
        """The students in a state; who has handed in nothing has not started."""
        return tuple(
            student
            for student, one in zip(self.students, self.standings, strict=True)
            if (NOT_STARTED if one is None else one.state) == state
        )

    @property
    def missed(self) -> tuple[Missed, ...]:
        """What the class misses, first what to teach next: cells begun and not done by most students."""
        cells: dict[tuple[int, str], list[Cell]] = {}
        for one in self.standings:
            for cell in one.cells if one is not None else ():
                if cell.state != NOT_STARTED:
                    cells.setdefault((cell.drill, cell.root), []).append(cell)
        found = []
        for (drill, root), members in cells.items():
            causes = Counter(cell.cause for cell in members if cell.cause)
            tries = sum(cell.tries for cell in members)
            done = sum(cell.state == DONE for cell in members)
            wrong = tries - sum(cell.right for cell in members)
            cause = causes.most_common(1)[0][0] if causes else ""
            found.append(Missed(drill, root, len(members) - done, done, tries, wrong, cause))
        ranked = sorted(found, key=lambda one: (-one.begun, -(one.wrong / one.tries if one.tries else 0), one.drill))
        return tuple(one for one in ranked if one.begun)

    @property
    def causes(self) -> Mapping[str, int]:
        """How many students meet each cause most often somewhere, the most frequent first."""
        counts: Counter[str] = Counter()
        for one in self.standings:
            counts.update(
                {cell.cause for cell in one.cells if cell.cause and cell.state != DONE} if one is not None else ()
            )
        return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))


# -- as plain values, so that what was computed once can be kept


def standing_object(one: Standing) -> dict[str, Any]:
    """A standing as plain values for JSON."""
    return asdict(one)


def standing_from(values: Mapping[str, Any]) -> Standing:
    """A standing from the plain values of `standing_object`. Raises KeyError or TypeError for others."""
    cells = tuple(Cell(**cell) for cell in values["cells"])
    return Standing(values["mark"], values["student"], cells, values["last_utc"])
