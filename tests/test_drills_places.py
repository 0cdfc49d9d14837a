"""The line index of TOML texts, held against `tomllib` (the standard library's reader is the truth outside)."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from trainer.drills.places import DEEPEST, Path, places

_KEYS = st.sampled_from(["title", "drill", "chord", "roots", "passes", "order", '"a b"', "'x.y'", '"\\u0041"', "7"])
_BLANKS = st.sampled_from(["", " ", "\t", "  "])
_COMMENTS = st.sampled_from(["", " # a note", ' # "quoted" [x] = {', "#"])
_ENDS = st.sampled_from(["\n", "\r\n", "\n\n", "\n# [[drill]]\n"])
_STRINGS = st.sampled_from(
    [
        '"Cm7"',
        "'C:\\path # no'",
        '"say \\"hi\\" \\u00e9 \\\\"',
        '"# [x] = {,"',
        '"""\nlong "quoted" text\\\n   folded\n[[drill]]\nx = 1"""',
        "'''\nraw ''two'' \\ text\r\n# none'''",
        '"""ends in quotes"""""',
        "''''one'''",
        '""',
        '""""""',
        '"♭ ø 𝄫"',
    ]
)
_SCALARS = st.sampled_from(
    ["1", "-3", "2.5e3", "true", "false", "1979-05-27 07:32:00", "07:32:00", "inf", "0xff", "1_000"]
)


@st.composite
def _values(draw: st.DrawFn, depth: int = 0) -> str:
    kind = draw(st.integers(0, 3 if depth < 3 else 1))
    blank = draw(_BLANKS)
    if kind == 0:
        return draw(_STRINGS)
    if kind == 1:
        return draw(_SCALARS)
    if kind == 2:
        items = draw(st.lists(_values(depth + 1), max_size=4))
        gap = draw(st.sampled_from([", ", ",", " ,\n  ", ", # [note], {\n\t", "\r\n,"]))
        tail = draw(st.sampled_from(["", ",", "\n", ",\n# end ]\n"])) if items else blank
        return "[" + blank + gap.join(items) + tail + "]"
    keys = draw(st.lists(_KEYS, max_size=3, unique=True))
    return "{" + blank + ", ".join(f"{key} ={blank}{draw(_values(depth + 1))}" for key in keys) + "}"


@st.composite
def _lines(draw: st.DrawFn) -> str:
    kind = draw(st.integers(0, 5))
    blank = draw(_BLANKS)
    key = draw(_BLANKS).join([draw(_KEYS), *("." + key for key in draw(st.lists(_KEYS, max_size=2)))])
    tail = blank + draw(_COMMENTS) + draw(_ENDS)
    if kind == 0:
        return f"{blank}[{blank}{key}{blank}]{tail}"
    if kind == 1:
        return f"{blank}[[{blank}{key}]]{tail}"
    return f"{blank}{key}{blank}={blank}{draw(_values())}{tail}"


def _leaves(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    if path:
        yield path, data
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for part, value in items:
        yield from _leaves(value, (*path, part))


def _replaced(data: Any, path: Path, value: Any) -> Any:
    if not path:
        return value
    items = data.items() if isinstance(data, dict) else enumerate(data)
    new = {part: _replaced(old, path[1:], value) if part == path[0] else old for part, old in items}
    return new if isinstance(data, dict) else list(new.values())


def _check(text: str) -> None:
    data = tomllib.loads(text)
    index = places(text)
    for path, value in _leaves(data):
        if len(path) > DEEPEST:
            continue
        spot = index.spots[path]
        if isinstance(path[-1], str):
            head = index.source[spot.key_at]
            assert head in "\"'[" or index.source.startswith(path[-1], spot.key_at)
        if isinstance(value, dict | list):
            continue
        # The place is right if writing something else there changes this value and nothing else.
        if isinstance(value, str):
            assert spot.text == value
            quote = index.source[spot.value_at]
            end = spot.letters[-1] + (3 if index.source.startswith(quote * 3, spot.value_at) else 1)
        else:
            token = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d|[^\s,\]}#]+").match(index.source, spot.value_at)
            assert token is not None
            end = token.end()
        changed = index.source[: spot.value_at] + "424242" + index.source[end:]
        # NaN never stands in these texts, so plain equality will do.
        assert tomllib.loads(changed) == _replaced(data, path, 424242)


@given(st.lists(_lines(), max_size=8).map("".join))
@example("drill = [{chord = 'm7', roots = ['C', \"F\"]}, {}]")
@example("[[drill]]\npasses.order = 'any'\n[drill.passes.x]\ny=1\n[[drill]]\n[[drill.deep]]\n[[drill.deep]]\nz = '1'")
def test_every_place_in_any_toml_text_is_the_place_tomllib_read_it_from(text: str) -> None:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        places(text)  # not promised to be right, but it ends
        return
    _check(text)


@given(st.text(alphabet="[]{}\"'=.,#\\\n\r\t abu01é", max_size=60))
def test_any_characters_at_all_are_indexed_without_an_exception(text: str) -> None:
    index = places(text)
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    _check(text)
    assert index.of_value(("nowhere",)) == (1, 1)


@pytest.mark.parametrize(
    ("path", "key", "value"),
    [
        (("title",), (2, 1), (2, 9)),
        (("drill", 0), (4, 1), (4, 1)),
        (("drill", 0, "chord"), (5, 3), (5, 11)),
        (("drill", 0, "roots", 1), (6, 17), (6, 17)),
        (("drill", 1, "passes", "order"), (8, 8), (8, 16)),
        (("drill", 1, "passes", "nothing"), (8, 1), (8, 1)),
    ],
)
def test_lines_and_columns_count_from_one(path: Path, key: tuple[int, int], value: tuple[int, int]) -> None:
    index = places(
        '# a set\r\ntitle = "A"\r\n\r\n[[drill]]\r\n  chord = "m7"\r\n  roots = ["C", "F"]\r\n'
        '[[drill]]\r\npasses.order = "any"\r\n'
    )
    assert (index.of_key(path), index.of_value(path)) == (key, value)


def test_a_character_inside_a_string_is_found_behind_escapes() -> None:
    index = places('chord = "\\u006d\\u0037x"')
    assert index.of_value(("chord",), 0) == (1, 10)
    assert index.of_value(("chord",), 2) == (1, 22)
    assert index.of_value(("chord",), 99) == (1, 23)


def test_deep_nesting_costs_no_stack() -> None:
    places("x = " + "[" * 50_000)
    places("x = " + "{a=" * 50_000)
    places(".".join(["a"] * 50_000) + " = 1")
