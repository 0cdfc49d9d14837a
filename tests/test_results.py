"""Results handed in: whole, the student's own and nothing else, and graded anew from what was played.

The attempts are those of a real session, played by the scripted player; what is changed in a file is changed by hand.
"""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.desk import standing
from trainer.drills import read, tasks
from trainer.drills.assignments import Assignment, Done
from trainer.inputs.running import Script
from trainer.progress import Attempt
from trainer.results import Results, ResultsError, check_results, read_results, write_results
from trainer.session import AttemptEnded, Particulars, Session

SET = """title = "Sevenths"
tries = 1
[[drill]]
chord = "m7"
voicing = "rootless from the third"
[[drill]]
chord = "7"
voicing = "b7 3 13"
passes = { octave = "any" }
"""


def assignment() -> Assignment:
    content, faults = read(SET, "s.toml")
    assert content is not None, faults
    return Assignment("week-1", "Sevenths by Friday", content, SET, done=Done(tries=1))


def played(seed: int) -> list[Attempt]:
    """A session of the assignment's set, in part right."""
    found: list[Attempt] = []
    plan = tasks(assignment().content, Random(seed))
    session = Session(plan, Particulars(f"s{seed}", lambda: "2026-11-25T18:00:00.000Z", "Piano", "callback"))
    for event in Script(Random(seed)).run(session):
        if isinstance(event, AttemptEnded):
            if event.replaces:
                found.pop()
            found.append(replace(event.attempt, assignment="week-1"))
    return found


PLAYED = played(1)


def changed(text: str, change: dict[int, dict[str, Any]]) -> str:
    """A file with fields of some attempts changed, and its seal made to fit again, as a forger would."""
    lines = text.splitlines()
    for index, fields in change.items():
        line = json.loads(lines[index + 1])
        line["attempt"] |= fields
        lines[index + 1] = json.dumps(line, separators=(",", ":"))
    return sealed(lines)


def sealed(lines: list[str]) -> str:
    body = "".join(f"{line}\n" for line in lines[1:])
    header = json.loads(lines[0]) | {"sha256": sha256(body.encode()).hexdigest()}
    return json.dumps(header) + "\n" + body


def test_what_is_handed_in_is_what_was_played_and_nothing_else() -> None:
    other = replace(PLAYED[0], assignment="", number=99)
    text = write_results(assignment(), "Ada", [*PLAYED, other])
    found = read_results(text)
    assert found.attempts == tuple(PLAYED)
    assert (found.mark, found.student) == ("week-1", "Ada")


@pytest.mark.parametrize("seed", range(6))
def test_honest_results_are_graded_as_they_were(seed: int) -> None:
    attempts = played(seed)
    assert {attempt.outcome for attempt in attempts} == {"right", "wrong"}
    checked = check_results(assignment(), read_results(write_results(assignment(), "Ada", attempts)))
    assert [one.differs for one in checked] == [False] * len(attempts)
    assert [one.found.right_first_try for one in checked] == [attempt.right_first_try for attempt in attempts]


def test_a_wrong_answer_claimed_as_right_shows() -> None:
    wrong = next(index for index, attempt in enumerate(PLAYED) if not attempt.right_first_try)
    text = changed(
        write_results(assignment(), "Ada", PLAYED),
        {wrong: {"right_first_try": True, "outcome": "right", "response_ms": 900.0}},
    )
    checked = check_results(assignment(), read_results(text))
    assert [index for index, one in enumerate(checked) if one.differs] == [wrong]
    assert not checked[wrong].found.right_first_try


def test_a_time_made_shorter_shows() -> None:
    right = next(index for index, attempt in enumerate(PLAYED) if attempt.right_first_try)
    text = changed(write_results(assignment(), "Ada", PLAYED), {right: {"response_ms": 500.0}})
    checked = check_results(assignment(), read_results(text))
    assert [index for index, one in enumerate(checked) if one.differs] == [right]
    assert checked[right].found.response_ms == pytest.approx(PLAYED[right].response_ms, abs=1)


def test_keys_made_to_fit_the_answer_show() -> None:
    """Who played the shape on another root may not say that those keys had been asked for."""
    attempts, wrong = next(
        (attempts, index)
        for attempts in map(played, range(20))
        for index, attempt in enumerate(attempts)
        if attempt.tries[0].cause == "other_root"
    )
    text = write_results(assignment(), "Ada", attempts)
    text = changed(text, {wrong: {"keys": sorted(attempts[wrong].tries[0].held), "right_first_try": True}})
    found = check_results(assignment(), read_results(text))[wrong]
    assert found.why == "its keys are no place of that voicing"
    assert not found.found.right_first_try


def test_the_standing_rests_on_what_was_played() -> None:
    text = changed(
        write_results(assignment(), "Ada", PLAYED),
        {index: {"right_first_try": True, "outcome": "right"} for index in range(len(PLAYED))},
    )
    found = [one.found for one in check_results(assignment(), read_results(text))]
    assert standing(assignment(), found).done == standing(assignment(), PLAYED).done
    assert standing(assignment(), PLAYED).done < len(assignment().places)


GOOD = write_results(assignment(), "Ada", PLAYED[:3])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no JSON"),
        ("{}", "no results file"),
        ("[1]", "no JSON object"),
        (GOOD[:-40], "is not whole"),
        (GOOD.replace("Piano", "Pjano"), "is not whole"),
        (GOOD.replace('"results":1', '"results":2'), "format 1"),
        ("[" * 100_000, "no JSON"),
        (sealed([GOOD.splitlines()[0], "null"]), "no JSON object"),
        (sealed([*GOOD.splitlines(), '{"shell": "rm"}']), "neither an attempt nor a pass"),
        (sealed([*GOOD.splitlines(), GOOD.splitlines()[1]]), "as many"),
        (changed(GOOD, {0: {"keys": [1000]}}), "no key from 0 to 127"),
        (changed(GOOD, {0: {"response_ms": "fast"}}), "no number"),
        (changed(GOOD, {0: {"chord": "C\u001b[31m"}}), "control character"),
        (changed(GOOD, {0: {"chord": "C\u202e"}}), "control character"),
        (changed(GOOD, {0: {"root": "../../etc"}}), "is no root"),
        (changed(GOOD, {0: {"assignment": "week-2"}}), "another assignment"),
        (changed(GOOD, {0: {"events": [[0, "down", 60, 64, 99]]}}), "channel"),
        (changed(GOOD, {0: {"extra field": 1}}), "unknown or missing"),
        (GOOD.replace('"attempts":3', '"attempts":NaN'), "no JSON"),
    ],
)
def test_a_file_that_is_not_right_is_refused_with_its_line(text: str, told: str) -> None:
    with pytest.raises(ResultsError, match=told):
        read_results(text)


def test_results_of_another_version_of_the_task_are_refused() -> None:
    found = read_results(GOOD)
    with pytest.raises(ResultsError, match="another version"):
        check_results(replace(assignment(), done=Done(tries=9)), found)
    with pytest.raises(ResultsError, match="not of week-2"):
        check_results(replace(assignment(), mark="week-2"), found)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_no_change_of_a_file_does_more_than_be_refused(data: st.DataObject) -> None:
    text = GOOD
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        text = text[:at] + data.draw(st.text(max_size=4)) + text[at + data.draw(st.integers(0, 6)) :]
    lines = text.split("\n")
    try:
        text = sealed(lines)
    except ValueError:
        pass
    try:
        found: Results = read_results(text)
        check_results(assignment(), found)
    except ResultsError:
        pass
