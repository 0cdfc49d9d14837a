"""README shows the program as it is: its pictures are captured from the running screens and compared.

TRAINER_WRITE_SNAPSHOTS=1 writes them anew between their markers.
"""

from __future__ import annotations

import os
import re
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Final

import pytest
from test_form_screen import InTimeEvening, opened, play
from test_screens import screen_text
from test_screens_hearing import Module, evening_with
from test_screens_progress import Looking, press
from test_screens_today import FirstEvening

README = Path(__file__).parent.parent / "README.md"
SIZE = (80, 24)
PLACE = re.compile(r"<!-- screen: (?P<name>[a-z]+) -->\n(?P<shown>.*?)<!-- end of screen -->\n", re.DOTALL)


async def practice() -> str:
    evening = evening_with(Module())
    async with evening.running(SIZE) as pilot:
        await evening.play(evening.target.keys, pilot)
        await evening.miss(pilot)
        return screen_text(evening.app)


async def today() -> str:
    evening = FirstEvening()
    async with evening.running(SIZE):
        return screen_text(evening.app)


async def form() -> str:
    evening = InTimeEvening()
    async with evening.running(SIZE) as pilot:
        screen = await opened(evening, pilot)
        await play(evening, screen, [0, None, 10, 20])
        await evening.beats(screen, 8, pilot)
        await evening.settle(pilot)
        return screen_text(evening.app)


async def roots() -> str:
    evening = Looking()
    async with evening.running(SIZE) as pilot:
        await press(pilot, "f11 down")
        return screen_text(evening.app)


PICTURES: Final[dict[str, Callable[[], Awaitable[str]]]] = {
    "today": today,
    "practice": practice,
    "form": form,
    "roots": roots,
}


def block(text: str) -> str:
    """A picture as it stands in README: a block of text, without the empty lines at its foot."""
    return f"```text\n{text.rstrip()}\n```\n"


@pytest.mark.parametrize("name", PICTURES)
async def test_a_picture_shows_the_screen_of_today(name: str) -> None:
    wanted = block(await PICTURES[name]())
    text = README.read_text(encoding="utf-8")
    if os.environ.get("TRAINER_WRITE_SNAPSHOTS"):
        text = PLACE.sub(
            lambda found: (
                found[0].replace(found["shown"] + "<!-- end", wanted + "<!-- end")
                if found["name"] == name
                else found[0]
            ),
            text,
        )
        README.write_text(text, encoding="utf-8")
    shown = {found["name"]: found["shown"] for found in PLACE.finditer(text)}
    assert shown[name] == wanted, f"{name} looks different; TRAINER_WRITE_SNAPSHOTS=1 writes it anew"


def test_every_place_in_readme_has_its_picture_and_no_picture_lacks_its_place() -> None:
    text = README.read_text(encoding="utf-8")
    assert [found["name"] for found in PLACE.finditer(text)] == list(PICTURES)
    assert text.count("<!-- screen:") == text.count("<!-- end of screen -->") == len(PICTURES)


def test_the_first_block_opens_the_program_and_the_second_runs_the_tests() -> None:
    """`.ci/run` takes them by their number."""
    blocks = re.findall(r"(?m)^```.*\n([^`]*)^```$", README.read_text(encoding="utf-8"))
    assert blocks[0].rstrip().endswith(".venv/bin/trainer")
    assert blocks[1].rstrip().endswith("pytest -q")
