"""Attempts and passes as rows, and back.

Columns are named like the fields of `Attempt` and `PassRecord`, with ``student`` before them. ``cause``, ``think_ms``
and ``spread_ms`` of an attempt repeat those of its first try, so that figures can be had in SQL. Lists are JSON text
without spaces: ``degrees``, ``notes`` and ``keys`` plain lists, ``events`` a list of
[microseconds, kind, key, value, channel], ``tries`` a list of
[held, verdicts, extra, right, cause, causes, sentence, think_ms, spread_ms] with each verdict as
[degree, verdict, key, by, semitones], ``slots`` a list of lists in the order of the fields of `SlotRecord`.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any, Final

from trainer.progress import Attempt, TryRecord, VerdictRecord
from trainer.timing import PassRecord, SlotRecord

Row = tuple[object, ...]

ATTEMPT_COLUMNS: Final = (
    "student session number utc set_title drill chord quality root voicing degrees notes keys outcome right_first_try "
    "cause think_ms spread_ms response_ms settle_ms target_ms pool_size hint set_aside port stamp_origin assignment "
    "rules tries_allowed tries events"
).split()
"""``events`` stands last: reading without them replaces the last column."""

ANSWER_COLUMNS: Final = (
    "session number utc set_title drill chord quality root voicing outcome right_first_try response_ms settle_ms "
    "target_ms pool_size hint set_aside stamp_origin assignment"
).split()
"""What is read of an attempt where neither its tries nor what was asked note by note is wanted: a long record is read
in a tenth of the time."""

VERDICT_FIELDS: Final = "outcome right_first_try response_ms settle_ms set_aside tries".split()
"""The fields of an attempt that come from grading its events; another grader may see them otherwise."""

PASS_COLUMNS: Final = (
    "student session number utc title section key tempo_bpm swing beats meter outcome clean extra offset_ms scatter_ms "
    "calibration_ms port stamp_origin assignment slots events"
).split()


_json: Final = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode


def _checked(columns: Sequence[str], row: Row) -> Row:
    for name, value in zip(columns, row, strict=True):
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{name} is {value}")  # SQLite would keep "not a number" as nothing at all
    return row


@lru_cache(maxsize=4096)
def _list(text: str) -> tuple[Any, ...]:
    """A plain list of a row; the same few come again and again."""
    return tuple(json.loads(text))


def _events(text: str) -> tuple[Any, ...]:
    return tuple(map(tuple, json.loads(text))) if text != "[]" else ()


# -- attempts


def attempt_row(attempt: Attempt, student: str) -> Row:
    """An attempt as the values of `ATTEMPT_COLUMNS`. Raises ValueError where a time is no finite number."""
    first = attempt.tries[0] if attempt.tries else None
    tries = [
        (
            one.held,
            [(said.degree, said.verdict, said.key, said.by, said.semitones) for said in one.verdicts],
            one.extra,
            one.right,
            one.cause,
            one.causes,
            one.sentence,
            one.think_ms,
            one.spread_ms,
        )
        for one in attempt.tries
    ]
    computed = {
        "student": student,
        "degrees": _json(attempt.degrees),
        "notes": _json(attempt.notes),
        "keys": _json(attempt.keys),
        "right_first_try": int(attempt.right_first_try),
        "cause": first.cause if first is not None else None,
        "think_ms": first.think_ms if first is not None else None,
        "spread_ms": first.spread_ms if first is not None else None,
        "tries": _json(tries),
        "events": _json(attempt.events),
    }
    row = tuple(computed[name] if name in computed else getattr(attempt, name) for name in ATTEMPT_COLUMNS)
    return _checked(ATTEMPT_COLUMNS, row)


_verdict: Final = lru_cache(maxsize=4096, typed=True)(VerdictRecord)


def attempt_of(row: Sequence[Any]) -> Attempt:
    """The attempt that `attempt_row` took apart. Raises ValueError or TypeError where it is none."""
    values = dict(zip(ATTEMPT_COLUMNS, row, strict=True))
    for not_a_field in ("student", "cause", "think_ms", "spread_ms"):
        del values[not_a_field]
    for name in ("degrees", "notes", "keys"):
        values[name] = _list(values[name])
    values["right_first_try"] = bool(values["right_first_try"])
    values["events"] = _events(values["events"])
    values["tries"] = tuple(
        TryRecord(
            held=tuple(held),
            verdicts=tuple([_verdict(*said) for said in verdicts]),
            extra=tuple(extra),
            right=right,
            cause=cause,
            causes=tuple(causes),
            sentence=sentence,
            think_ms=think_ms,
            spread_ms=spread_ms,
        )
        for held, verdicts, extra, right, cause, causes, sentence, think_ms, spread_ms in json.loads(values["tries"])
    )
    return Attempt(**values)


def answer_of(row: Sequence[Any]) -> Attempt:
    """An attempt of `ANSWER_COLUMNS` alone; its degrees, notes, keys, tries and events are empty."""
    (
        session, number, utc, set_title, drill, chord, quality, root, voicing, outcome, right_first_try, response_ms,
        settle_ms, target_ms, pool_size, hint, set_aside, stamp_origin, assignment,
    ) = row  # fmt: skip
    return Attempt(
        session, number, utc, set_title, drill, chord, quality, root, voicing, (), (), (), (), outcome,
        right_first_try == 1, response_ms, settle_ms, pool_size, hint, set_aside, "", stamp_origin, target_ms, (),
        assignment,
    )  # fmt: skip


# -- passes

_SLOT_FIELDS: Final = tuple(field.name for field in fields(SlotRecord))
_SLOT_LISTS: Final = frozenset({"degrees", "keys", "held", "causes"})


def pass_row(one: PassRecord, student: str) -> Row:
    """A pass as the values of `PASS_COLUMNS`. Raises ValueError where a number is not finite."""
    computed = {
        "student": student,
        "clean": int(one.clean),
        "slots": _json([[getattr(slot, name) for name in _SLOT_FIELDS] for slot in one.slots]),
        "events": _json(one.events),
    }
    row = tuple(computed[name] if name in computed else getattr(one, name) for name in PASS_COLUMNS)
    return _checked(PASS_COLUMNS, row)


def _slot(values: Sequence[Any]) -> SlotRecord:
    # A slot that was stored before a field was added has fewer values: the rest are that field's default.
    given: dict[str, Any] = dict(zip(_SLOT_FIELDS, values, strict=False))
    for name in _SLOT_LISTS & given.keys():
        given[name] = tuple(given[name])
    return SlotRecord(**given)


def pass_of(row: Sequence[Any]) -> PassRecord:
    """The pass that `pass_row` took apart. Raises ValueError or TypeError where it is none."""
    values = dict(zip(PASS_COLUMNS, row, strict=True))
    del values["student"]
    values["clean"] = bool(values["clean"])
    values["slots"] = tuple(map(_slot, json.loads(values["slots"])))
    values["events"] = _events(values["events"])
    return PassRecord(**values)


# -- what no database holds

_NOT_STORABLE: Final = re.compile("[\0\ud800-\udfff]")
_TEXT_FIELDS: Final = {
    kind: tuple(field.name for field in fields(kind) if field.type == "str") for kind in (Attempt, PassRecord)
}


def storable_text(text: str) -> str:
    """A text with NUL and lone surrogates, which no database holds, replaced by U+FFFD."""
    return _NOT_STORABLE.sub("\ufffd", text)


def _changed_texts(one: Attempt | PassRecord) -> dict[str, Any]:
    return {
        name: storable_text(getattr(one, name))
        for name in _TEXT_FIELDS[type(one)]
        if _NOT_STORABLE.search(getattr(one, name))
    }


def storable(attempt: Attempt) -> Attempt:
    """The attempt with every character that a database cannot hold as text replaced by U+FFFD.

    Those are NUL and lone surrogates; they come in, if at all, with the name of a port or the title of a set. Any
    other attempt is returned as it is.
    """
    changed = _changed_texts(attempt)
    tries = tuple(
        replace(one, cause=storable_text(one.cause))
        if one.cause is not None and _NOT_STORABLE.search(one.cause)
        else one
        for one in attempt.tries
    )
    return replace(attempt, tries=tries, **changed) if changed or tries != attempt.tries else attempt


def storable_pass(one: PassRecord) -> PassRecord:
    """As `storable`, for a pass; the texts of its slots are JSON, which holds any character."""
    changed = _changed_texts(one)
    return replace(one, **changed) if changed else one
