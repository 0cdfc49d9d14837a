"""The whole record as a text file that any program can read: JSON Lines, one JSON object a line, in ASCII.

A file whose name ends in ``.gz`` is compressed. The lines:

* the first: ``{"practice_record": 1, "written_utc": ...}``; 1 is the version of this format;
* then, in any order, objects with one member: ``{"attempt": {...}}``, ``{"pass": {...}}``, ``{"calibration": {...}}``,
  ``{"assignment": {...}}``, ``{"result": {...}}``. Their members are named like the fields of `Attempt` (its tries
  and verdicts like those of `TryRecord` and `VerdictRecord`), `PassRecord` (`SlotRecord`), `Calibration`,
  `KeptAssignment` and `KeptResult`, with ``student`` where it is not the player's own. Raw events are lists of
  [microseconds, kind, key, value, channel];
* the last: ``{"end": {"attempt": how many, ...}}``, so that a file that was cut off shows.

What is read is from anywhere: every line is bounded and checked, every fault is told with its line, and nothing is
taken in unless all of it can be.
"""

from __future__ import annotations

import gzip
import json
import math
import re
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from typing import Any, BinaryIO, Final

from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.storage.files import StorageError, trouble, written_whole
from trainer.storage.records import Calibration, KeptAssignment, KeptResult, Records
from trainer.timing import PassRecord, SlotRecord

VERSION: Final = 1

MOST_LINE_BYTES: Final = 16_000_000
"""Of one line; an attempt with the most events that are kept has some 3 MB."""

MOST_LINES: Final = 50_000_000
FAULTS_TOLD: Final = 20

Entry = tuple[str, str, Any]
"""Kind (a word of `KINDS`), student ("" for the player's own), and the value."""

KINDS: Final[Mapping[str, type]] = {
    "attempt": Attempt,
    "pass": PassRecord,
    "calibration": Calibration,
    "assignment": KeptAssignment,
    "result": KeptResult,
}


class ExchangeError(StorageError):
    """A file of a record cannot be taken in; `faults` are sentences with the line that each is of."""

    def __init__(self, path: Path, faults: list[str]) -> None:
        self.faults = faults
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        super().__init__(path, f"cannot be taken in: {faults[0]}{more}", "nothing of it was")


# -- writing


def entries_of(records: Records) -> Iterator[Entry]:
    """Everything that a record holds, of one moment. Raises `StorageError`."""
    with records.database.reading():
        for student in (records.database.owner, *records.students()):
            named = "" if student == records.database.owner else student
            yield from (("attempt", named, one) for one in records.attempts(student=student))
            yield from (("pass", named, one) for one in records.passes(student=student))
            yield from (("assignment", named, one) for one in records.assignments(student=student))
        if not records.shared:  # a school's database measures no piano
            yield from (("calibration", "", one) for one in records.calibrations())
        yield from (("result", "", one) for one in records.results())


def lines_of(entries: Iterable[Entry], written_utc: str) -> Iterator[str]:
    """The lines of a file, without their ends."""
    yield _encode({"practice_record": VERSION, "written_utc": written_utc})
    counts: Counter[str] = Counter()
    for kind, student, value in entries:
        counts[kind] += 1
        yield _encode({kind: {"student": student, **_members(value)} if student else _members(value)})
    yield _encode({"end": dict(counts)})


_encode: Final = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode


def _members(value: Any) -> dict[str, Any]:
    found = {name: getattr(value, name) for name in _FIELDS[type(value)]}
    if isinstance(value, Attempt):
        found["tries"] = [
            _members(one) | {"verdicts": [_members(said) for said in one.verdicts]} for one in value.tries
        ]
    elif isinstance(value, PassRecord):
        found["slots"] = [_members(slot) for slot in value.slots]
    return found


def write_file(path: Path, lines: Iterable[str]) -> None:
    """Write lines to a file, whole or not at all; compressed where its name ends in ``.gz``. Raises `StorageError`."""
    with written_whole(path) as new:
        if path.name.casefold().endswith(".gz"):
            with gzip.GzipFile("", "wb", 6, new, 0) as compressed:
                _write(compressed, lines)
        else:
            _write(new, lines)


def _write(file: BinaryIO | gzip.GzipFile, lines: Iterable[str]) -> None:
    for line in lines:
        file.write(line.encode("ascii") + b"\n")


# -- reading


def read_file(path: Path) -> Iterator[tuple[int, Entry | str]]:
    """Every line of a file with its number: an entry, or the sentence of a fault. Raises `StorageError`.

    Ends after the first fault that leaves no sense in what follows. A file that was cut off is such a fault.
    """
    try:
        with path.open("rb") as file:
            start = file.read(2)
            file.seek(0)
            if start == b"\x1f\x8b":
                with gzip.GzipFile(fileobj=file) as compressed:
                    yield from _read(compressed)
            else:
                yield from _read(file)
    except OSError as error:
        if isinstance(error, gzip.BadGzipFile):
            raise StorageError(path, "is damaged (compressed data)", "fetch or write the file again") from error
        raise trouble(path, error) from error
    except (EOFError, zlib.error) as error:
        raise StorageError(path, "is cut off or damaged", "fetch or write the file again") from error


def _read(file: BinaryIO | gzip.GzipFile) -> Iterator[tuple[int, Entry | str]]:
    counts: Counter[str] = Counter()
    ended = False
    number = 0
    while line := file.readline(MOST_LINE_BYTES + 1):
        number += 1
        if len(line) > MOST_LINE_BYTES:
            yield number, f"a line of more than {MOST_LINE_BYTES // 1_000_000} MB"
            return
        if number > MOST_LINES:
            yield number, f"more than {MOST_LINES} lines"
            return
        if not line.strip():
            continue
        found = _entry(line, first=number == 1)
        if ended:
            yield number, "something after the end"
            return
        if isinstance(found, str):
            yield number, found
            if number == 1:
                return
        elif found[0] == "end":
            ended = True
            if found[2] != counts:
                yield number, f"an end that counts {_shown(dict(found[2]))}, where there are {_shown(dict(counts))}"
        elif found[0] != "head":
            counts[found[0]] += 1
            yield number, found
    if number == 0:
        yield 1, "nothing at all"
    elif not ended:
        yield number, "no end: the file was cut off"


def _entry(line: bytes, first: bool) -> Entry | str:
    """What a line holds (``head`` and ``end`` are kinds of their own here), or the sentence of its fault."""
    try:
        value = json.loads(line.decode("utf-8-sig" if first else "utf-8"), parse_constant=_no_number)
    except UnicodeDecodeError:
        return "bytes that are no UTF-8"
    except (ValueError, RecursionError):
        return "no JSON"
    if not isinstance(value, dict):
        return f"{_shown(value)}, where an object is expected"
    if first:
        version = value.get("practice_record")
        if type(version) is not int:
            return 'no practice record: the first line begins {"practice_record": 1'
        if version > VERSION:
            return f"version {version} of the format, written by a newer version of this program"
        return ("head", "", None)
    if len(value) != 1:
        return f"{len(value)} members, where one is expected"
    [(kind, members)] = value.items()
    if not isinstance(members, dict):
        return f"{kind}: {_shown(members)}, where an object is expected"
    if kind == "end":
        if any(name not in KINDS or type(count) is not int for name, count in members.items()):
            return f"an end that counts {_shown(members)}"
        return ("end", "", Counter(members))
    if kind not in KINDS:
        return f"an object of the kind {_shown(kind)}; known are {', '.join(KINDS)}"
    student = members.pop("student", "") if kind in ("attempt", "pass", "assignment") else ""
    try:
        return (kind, _text(student), _value(KINDS[kind], members))
    except _Fault as fault:
        return f"{kind}: {fault}"


def _no_number(name: str) -> None:
    raise ValueError(name)


def _shown(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


# -- checking values


class _Fault(Exception):
    """What stands somewhere and cannot: the sentence is told with the names of the members that lead there."""


_MOST_LETTERS: Final = 2_000
_LONG_TEXTS: Final = {"text": 4_000_000}
_MOST_ITEMS: Final = 256
_MOST_EVENTS: Final = 200_000
_UTC: Final = re.compile(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d{1,6})?Z")


def _text(value: object, most: int = _MOST_LETTERS) -> str:
    if not isinstance(value, str):
        raise _Fault(f"{_shown(value)}, where a text is expected")
    if len(value) > most:
        raise _Fault(f"a text of {len(value)} letters; the most are {most}")
    return value


def _utc(value: object) -> str:
    if not isinstance(value, str) or not _UTC.fullmatch(value):
        raise _Fault(f"{_shown(value)}, where a time such as 2026-03-01T18:30:00.000Z is expected")
    return value


def _whole(value: object) -> int:
    if type(value) is not int or not -(2**31) <= value < 2**31:
        raise _Fault(f"{_shown(value)}, where a whole number is expected")
    return value


def _key(value: object) -> int:
    if type(value) is not int or not 0 <= value <= 127:
        raise _Fault(f"{_shown(value)}, where a key from 0 to 127 is expected")
    return value


def _number(value: object) -> float:
    if type(value) not in (int, float) or not math.isfinite(value):  # type: ignore[arg-type]
        raise _Fault(f"{_shown(value)}, where a number is expected")
    return float(value)  # type: ignore[arg-type]


def _yes_or_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise _Fault(f"{_shown(value)}, where true or false is expected")
    return value


def _event(value: object) -> tuple[int, str, int, int, int]:
    if not isinstance(value, list) or len(value) != 5:
        raise _Fault(f"{_shown(value)}, where [microseconds, kind, key, value, channel] is expected")
    at, kind, key, level, channel = value
    if type(at) is not int or abs(at) >= 2**63 or type(channel) is not int or not 0 <= channel <= 15:
        raise _Fault(f"{_shown(value)}, which is no event")
    return (at, _text(kind, 20), _key(key), _key(level), channel)


def _list_of(check: Callable[[Any], Any], most: int = _MOST_ITEMS) -> Callable[[object], tuple[Any, ...]]:
    def checked(value: object) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise _Fault(f"{_shown(value)}, where a list is expected")
        if len(value) > most:
            raise _Fault(f"a list of {len(value)}; the most are {most}")
        return tuple([check(item) for item in value])

    return checked


def _or_nothing(check: Callable[[object], Any]) -> Callable[[object], Any]:
    return lambda value: None if value is None else check(value)


def _object(kind: type) -> Callable[[object], Any]:
    def checked(value: object) -> Any:
        if not isinstance(value, dict):
            raise _Fault(f"{_shown(value)}, where an object is expected")
        return _value(kind, value)

    return checked


_CHECKS: Final[Mapping[str, Callable[[object], Any]]] = {
    "str": _text,
    "str | None": _or_nothing(_text),
    "int": _whole,
    "int | None": _or_nothing(_whole),
    "float": _number,
    "float | None": _or_nothing(_number),
    "bool": _yes_or_no,
    "tuple[str, ...]": _list_of(_text),
    "tuple[int, ...]": _list_of(_key),
    "tuple[VerdictRecord, ...]": _list_of(_object(VerdictRecord)),
    "tuple[TryRecord, ...]": _list_of(_object(TryRecord), 2_000),
    "tuple[SlotRecord, ...]": _list_of(_object(SlotRecord), 20_000),
    "tuple[RawEvent, ...]": _list_of(_event, _MOST_EVENTS),
    "tuple[tuple[int, str, int, int, int], ...]": _list_of(_event, _MOST_EVENTS),
}
"""By the type of a field; every one of them is here, a test says."""


@dataclass(frozen=True, slots=True)
class _Field:
    check: Callable[[object], Any]
    required: bool


def _checks_of(kind: type) -> dict[str, _Field]:
    found = {}
    for field in fields(kind):
        check = _CHECKS[str(field.type)]
        if field.name.endswith("utc"):
            check = _utc
        elif field.name in _LONG_TEXTS:
            check = _long_text(_LONG_TEXTS[field.name])
        elif field.name == "key" and field.type == "int | None":
            check = _or_nothing(_key)
        found[field.name] = _Field(check, field.default is MISSING and field.default_factory is MISSING)
    return found


def _long_text(most: int) -> Callable[[object], str]:
    return lambda value: _text(value, most)


_FIELDS: Final = {kind: _checks_of(kind) for kind in (*KINDS.values(), TryRecord, VerdictRecord, SlotRecord)}


def _value(kind: type, members: Mapping[str, object]) -> Any:
    """A value of a kind from its members. Raises `_Fault`."""
    known = _FIELDS[kind]
    if unknown := [name for name in members if name not in known]:
        raise _Fault(f"{_shown(unknown[0])} is not known here")
    values = {}
    for name, member in known.items():
        if name in members:
            try:
                values[name] = member.check(members[name])
            except _Fault as fault:
                raise _Fault(f"{name}: {fault}") from None
        elif member.required:
            raise _Fault(f"{name} is missing")
    return kind(**values)


# -- taking in


@dataclass(slots=True)
class Taken:
    """What was taken in, by kind: `new`, `known` (there already), and of those how many stand `otherwise` graded."""

    new: Counter[str]
    known: Counter[str]
    otherwise: int = 0


def take_in(records: Records, path: Path, progress: Callable[[int], None] = lambda lines: None) -> Taken:
    """Add what a file holds to a record: all of it or nothing; twice is the same as once.

    An attempt that is there already stays as it is, also where it was graded otherwise since. `progress` is told the
    number of lines read, now and then. Raises `ExchangeError` with every fault found (`FAULTS_TOLD` at most), and
    `StorageError` where file or record cannot be used.
    """
    taken = Taken(Counter(), Counter())
    faults: list[str] = []
    with records.database.writing():
        for number, found in read_file(path):
            if number % 1000 == 0:
                progress(number)
            if isinstance(found, str):
                faults.append(f"line {number}: {found}")
            elif not faults:
                if fault := _taken(records, taken, *found):
                    faults.append(f"line {number}: {fault}")
            if len(faults) == FAULTS_TOLD:
                break
        if faults:
            raise ExchangeError(path, faults)
    return taken


def _taken(records: Records, taken: Taken, kind: str, student: str, value: Any) -> str:
    """Add one entry; the sentence of a fault where another one has its place, else ""."""
    whose = student or None
    if kind in ("attempt", "pass"):
        adding = records.add_attempt if kind == "attempt" else records.add_pass
        added = adding(value, student=whose)
        if added == "another":
            return f"{kind} {value.number} of session {_shown(value.session)} is another one than the record has"
        taken.otherwise += added == "otherwise"
        new = added == "new"
    elif kind == "calibration":
        new = records.keep_calibration(value.port, value.utc, value.offset_ms, value.scatter_ms, value.beats)
    elif kind == "assignment":
        new = records.add_assignment(value, student=whose)
    else:
        new = records.add_result(value)
    (taken.new if new else taken.known)[kind] += 1
    return ""
