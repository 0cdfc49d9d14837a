"""Results: what a student hands in for an assignment, as one file, and reading it back without trusting it.

The file is JSON Lines: a header, then a line for each attempt and each pass that was played
for the assignment, raw events included, and nothing else of the student's.

    {"results": 1, "assignment": MARK, "digest": ..., "student": NAME, "attempts": 12, "passes": 0, "sha256": ...}
    {"attempt": {...}}            the fields of `trainer.progress.Attempt`
    {"pass": {...}}               the fields of `trainer.timing.PassRecord`

`digest` is the assignment's (`Assignment.digest`), so that results of another task under the same mark are refused;
``sha256`` is of all lines after the header, so that a file that was cut off or damaged is told. Neither is a signature:
whoever edits the file can compute both anew. So every attempt is graded again from its raw events, by the rules of the
assignment itself, and what the file claims is set beside what was played (`Regraded.differs`).

Everything is bounded, every value is checked for its kind, and texts are data; see `ResultsError`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, asdict, dataclass, fields, replace
from fractions import Fraction
from hashlib import sha256
from typing import Any, Final

from trainer.capture import Kind
from trainer.charts import Key
from trainer.drills import target_of
from trainer.drills.assignments import NAME_LETTERS, Assignment
from trainer.drills.values import printable
from trainer.grading import Target
from trainer.leading import LeadingError
from trainer.pitch import Note, PitchError
from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.regrading import played_again
from trainer.session import HELD
from trainer.timing import Circumstances, Grid, PassRecord, SlotRecord, align, events_of, record_of
from trainer.voicings import VoicingError, alternatives

FORMAT: Final = 1
MOST_BYTES: Final = 50_000_000
MOST_LINES: Final = 50_000
LONGEST_LINE: Final = 1_000_000
LONGEST_TEXT: Final = 4_000
MOST_ITEMS: Final = 20_000
MOST_EVENTS: Final = 20_000


class ResultsError(ValueError):
    """A results file that cannot be used: the line (from 1), and one sentence with finding and remedy."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(f"line {line}: {message}")
        self.line = line


@dataclass(frozen=True, slots=True)
class Results:
    """What a file of results holds; `digest` is of the assignment it was played for."""

    mark: str
    digest: str
    student: str
    attempts: tuple[Attempt, ...]
    passes: tuple[PassRecord, ...]
    sha256: str


# -- written


def write_results(
    assignment: Assignment, student: str, attempts: Iterable[Attempt], passes: Iterable[PassRecord] = ()
) -> str:
    """The text of a results file; attempts and passes of anything else are left out."""
    mine = [attempt for attempt in attempts if attempt.assignment == assignment.mark]
    played = [one for one in passes if one.assignment == assignment.mark]
    lines = [_json({"attempt": asdict(attempt)}) for attempt in mine]
    lines += [_json({"pass": asdict(one)}) for one in played]
    body = "".join(f"{line}\n" for line in lines)
    header = {
        "results": FORMAT,
        "assignment": assignment.mark,
        "digest": assignment.digest,
        "student": student,
        "attempts": len(mine),
        "passes": len(played),
        "sha256": sha256(body.encode()).hexdigest(),
    }
    return f"{_json(header)}\n{body}"


def _json(value: object) -> str:
    return json.dumps(value, separators=(",", ":"), allow_nan=False)


# -- read


def read_results(text: str) -> Results:
    """What a results file holds, whole and well-formed; nothing of it is believed yet. Raises `ResultsError`."""
    if len(text) > MOST_BYTES:
        raise ResultsError(
            1, f"the file is larger than {MOST_BYTES // 1_000_000} MB; results of one assignment are not"
        )
    first, _, body = text.partition("\n")
    header = _object(first, 1)
    if header.get("results") != FORMAT:
        found = printable(str(header.get("results", "nothing")), 20)
        raise ResultsError(1, f"this is no results file of format {FORMAT} (found {found}); ask for it again")
    mark, digest, student, sealed = (
        _text(header.get(name), name, 1) for name in ("assignment", "digest", "student", "sha256")
    )
    if len(student) > NAME_LETTERS:
        raise ResultsError(1, f"the student's name has more than {NAME_LETTERS} letters")
    if sha256(body.encode("utf-8", "surrogatepass")).hexdigest() != sealed:
        raise ResultsError(1, "the file is not whole: it was cut off or changed on its way; ask for it again")
    lines = body.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    if len(lines) > MOST_LINES:
        raise ResultsError(MOST_LINES, f"the file has more than {MOST_LINES} attempts")
    attempts: list[Attempt] = []
    passes: list[PassRecord] = []
    for number, line in enumerate(lines, 2):
        one = _object(line, number)
        if set(one) == {"attempt"}:
            attempts.append(_attempt(one["attempt"], number))
        elif set(one) == {"pass"}:
            passes.append(_pass(one["pass"], number))
        else:
            raise ResultsError(number, "this is neither an attempt nor a pass; the file was changed: ask for it again")
    if (len(attempts), len(passes)) != (header.get("attempts"), header.get("passes")):
        raise ResultsError(1, "the file has not as many attempts as it says; ask for it again")
    places = [(each.session, each.number) for each in attempts]
    if len(set(places)) != len(places):
        raise ResultsError(1, "an attempt stands twice; the file was changed: ask for it again")
    if not {each.assignment for each in attempts} | {each.assignment for each in passes} <= {mark}:
        raise ResultsError(1, "an attempt belongs to another assignment; the file was changed: ask for it again")
    return Results(mark, digest, student, tuple(attempts), tuple(passes), sealed)


def _object(line: str, number: int) -> Mapping[str, Any]:
    if len(line) > LONGEST_LINE:
        raise ResultsError(number, f"the line has more than {LONGEST_LINE} characters")
    try:
        found = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise ResultsError(number, "this is no JSON; the file was cut off or changed: ask for it again") from None
    if not isinstance(found, dict):
        raise ResultsError(number, "this is no JSON object; the file was changed: ask for it again")
    return found


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _text(value: object, name: str, line: int) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise ResultsError(line, f"{name} is no text of at most {LONGEST_TEXT} characters")
    if not all(sign.isprintable() for sign in value):
        raise ResultsError(line, f"{name} holds a control character")
    return value


def _number(value: object, name: str, line: int) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or abs(value) > 1e12:
        raise ResultsError(line, f"{name} is no number")
    return float(value)


def _whole(value: object, name: str, line: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > 10**12:
        raise ResultsError(line, f"{name} is no whole number")
    return value


def _truth(value: object, name: str, line: int) -> bool:
    if not isinstance(value, bool):
        raise ResultsError(line, f"{name} is neither true nor false")
    return value


Reader = Callable[[object, str, int], Any]


def _or_nothing(read: Reader) -> Reader:
    return lambda value, name, line: None if value is None else read(value, name, line)


def _list_of(read: Reader, most: int = MOST_ITEMS) -> Reader:
    def found(value: object, name: str, line: int) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) > most:
            raise ResultsError(line, f"{name} is no list of at most {most} items")
        return tuple(read(item, name, line) for item in value)

    return found


def _key(value: object, name: str, line: int) -> int:
    key = _whole(value, name, line)
    if not 0 <= key <= 127:
        raise ResultsError(line, f"{name} is no key from 0 to 127")
    return key


_KINDS: Final = frozenset((*map(str, Kind), HELD))


def _event(value: object, name: str, line: int) -> tuple[int, str, int, int, int]:
    if not isinstance(value, list) or len(value) != 5 or value[1] not in _KINDS:
        raise ResultsError(line, f"{name} holds what is no note event")
    time_us, kind, key, controller, channel = value
    if not 0 <= _whole(channel, name, line) <= 15:
        raise ResultsError(line, f"{name} holds a channel that is none")
    return _whole(time_us, name, line), str(kind), _key(key, name, line), _key(controller, name, line), channel


def _table(kind: type, readers: Mapping[str, Reader]) -> Reader:
    """A reader of a frozen dataclass: every field by its row; unknown and missing fields are faults."""
    needed = {field.name for field in fields(kind) if field.default is MISSING and field.default_factory is MISSING}

    def found(value: object, name: str, line: int) -> Any:
        if not isinstance(value, dict):
            raise ResultsError(line, f"{name} is no JSON object")
        wrong = next(iter(set(value) - set(readers)), None) or next(iter(needed - set(value)), None)
        if wrong is not None:
            raise ResultsError(line, f"{name}: {printable(wrong, 40)} is unknown or missing; ask for the file again")
        return kind(**{field: readers[field](item, field, line) for field, item in value.items()})

    return found


_TEXTS: Final = _list_of(_text, 100)
_KEYS: Final = _list_of(_key, 128)
_verdict: Final = _table(
    VerdictRecord,
    {"degree": _text, "verdict": _text, "key": _or_nothing(_key), "by": _or_nothing(_text), "semitones": _whole},
)
_try: Final = _table(
    TryRecord,
    {
        "held": _KEYS, "verdicts": _list_of(_verdict, 128), "extra": _KEYS, "right": _truth,
        "cause": _or_nothing(_text), "causes": _TEXTS, "sentence": _text,
        "think_ms": _or_nothing(_number), "spread_ms": _number,
    },
)  # fmt: skip
_attempt_fields: Final[Mapping[str, Reader]] = {
    "session": _text, "number": _whole, "utc": _text, "set_title": _text, "drill": _whole, "chord": _text,
    "quality": _text, "root": _text, "voicing": _text, "degrees": _TEXTS, "notes": _TEXTS, "keys": _KEYS,
    "tries": _list_of(_try, 1000), "outcome": _text, "right_first_try": _truth, "response_ms": _or_nothing(_number),
    "settle_ms": _or_nothing(_number), "pool_size": _whole, "hint": _text, "set_aside": _text, "port": _text,
    "stamp_origin": _text, "target_ms": _or_nothing(_number), "events": _list_of(_event, MOST_EVENTS),
    "assignment": _text, "rules": _text, "tries_allowed": _whole,
}  # fmt: skip
_slot: Final = _table(
    SlotRecord,
    {
        "index": _whole, "bar": _whole, "beat": _text, "part": _text, "chord": _text, "root": _text, "quality": _text,
        "voicing": _text, "degrees": _TEXTS, "keys": _KEYS, "verdict": _text, "held": _KEYS,
        "error_ms": _or_nothing(_number), "spread_ms": _or_nothing(_number), "cause": _or_nothing(_text),
        "causes": _TEXTS, "sentence": _text, "move": _text,
    },
)  # fmt: skip
_pass_fields: Final[Mapping[str, Reader]] = {
    "session": _text, "number": _whole, "utc": _text, "title": _text, "section": _text, "key": _text,
    "tempo_bpm": _number, "swing": _number, "beats": _number, "meter": _text, "outcome": _text, "clean": _truth,
    "slots": _list_of(_slot), "extra": _whole, "offset_ms": _or_nothing(_number), "scatter_ms": _or_nothing(_number),
    "calibration_ms": _number, "port": _text, "stamp_origin": _text, "events": _list_of(_event, 10 * MOST_EVENTS),
    "assignment": _text,
}  # fmt: skip


def _attempt(value: object, line: int) -> Attempt:
    found: Attempt = _table(Attempt, _attempt_fields)(value, "attempt", line)
    try:
        Note.parse(found.root)
    except PitchError:
        raise ResultsError(line, f"{printable(found.root, 20)} is no root; the file was changed") from None
    return found


def _pass(value: object, line: int) -> PassRecord:
    found: PassRecord = _table(PassRecord, _pass_fields)(value, "pass", line)
    return found


# -- graded anew


@dataclass(frozen=True, slots=True)
class Regraded:
    """An attempt as it was handed in and as its events say; `why` it cannot be used ("" where it can)."""

    claimed: Attempt
    found: Attempt
    why: str = ""

    @property
    def differs(self) -> bool:
        """Whether the file claims what its events do not say."""
        claimed, found = self.claimed, self.found
        same_times = _near(claimed.response_ms, found.response_ms)
        return (
            bool(self.why)
            or not same_times
            or (claimed.right_first_try, claimed.outcome)
            != (
                found.right_first_try,
                found.outcome,
            )
        )


def _near(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= 1.0


def check_results(assignment: Assignment, results: Results) -> tuple[Regraded, ...]:
    """Every attempt graded again, by the assignment's own rules. Raises `ResultsError` for another assignment's."""
    if results.mark != assignment.mark:
        raise ResultsError(1, f"these are results of {printable(results.mark)}, not of {assignment.mark}")
    if results.digest != assignment.digest:
        raise ResultsError(
            1, f"these results were played for another version of {assignment.mark}; hand out the present one again"
        )
    return tuple(regraded(assignment, attempt) for attempt in results.attempts)


def regraded_pass(assignment: Assignment, record: PassRecord) -> PassRecord:
    """A pass graded again from its events; one that is none of the assignment's lesson is not clean."""
    if assignment.lesson is None:
        return replace(record, clean=False)
    try:
        key = Key.parse(record.key)
        lesson = assignment.lesson.in_key(key.root)
        slots = lesson.slots(record.section)
    except (PitchError, LeadingError, ValueError):
        return replace(record, clean=False)
    if not 1 <= record.tempo_bpm <= 1000 or not 0 < record.swing < 1:
        return replace(record, clean=False)
    grid = Grid(record.tempo_bpm, 0, Fraction(record.swing).limit_denominator(64))
    aligned = align(events_of(record), slots, grid, calibration_ms=record.calibration_ms)
    told = Circumstances(
        record.session, record.number, record.utc, record.title, record.key, record.beats, record.meter, record.section,
        record.port, record.stamp_origin, record.assignment,
    )  # fmt: skip
    found = record_of(aligned, told)
    return replace(found, clean=found.clean and record.outcome == "whole")


def regraded(assignment: Assignment, attempt: Attempt) -> Regraded:
    """One attempt graded from its events. What was not decided (skipped, unfinished, void) is left as it is."""
    lost = replace(attempt, outcome="void", right_first_try=False, response_ms=None)
    index = assignment.drill_of(attempt.quality, attempt.degrees)
    if index is None:
        return Regraded(attempt, lost, "the assignment asks for no such voicing")
    try:
        target = _target(assignment, index, attempt)
    except (VoicingError, PitchError) as error:
        return Regraded(attempt, lost, str(error))
    if target is None:
        return Regraded(attempt, lost, "its keys are no place of that voicing")
    if attempt.outcome not in ("right", "wrong"):
        return Regraded(attempt, attempt)
    found = played_again(attempt, target)
    if found is None or found.outcome not in ("right", "wrong"):
        return Regraded(attempt, lost, "its events decide nothing")
    kept = replace(
        attempt,
        outcome=found.outcome,
        right_first_try=found.right_first_try and not attempt.hint,
        response_ms=found.response_ms if not attempt.hint else None,
        settle_ms=found.settle_ms,
        tries=found.tries,
    )
    return Regraded(attempt, kept)


def _target(assignment: Assignment, index: int, attempt: Attempt) -> Target | None:
    """The assignment's target for an attempt: in the octave that the attempt was asked in, where that is allowed."""
    drill = assignment.content.drills[index]
    root = Note.parse(attempt.root)
    first = target_of(drill, root)
    if tuple(first.keys) == attempt.keys:
        return first
    for placed, fits, _ in alternatives(drill.recipe, root, drill.register):
        if fits and tuple(placed.keys) == attempt.keys:
            return replace(first, placement=placed)
    return None
