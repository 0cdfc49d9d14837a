"""Making a set on the screen, and changing one, with the keyboard and the mouse; its words are golden texts."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import pytest
from test_screens import SIZES, check_snapshot, screen_text
from textual.pilot import Pilot
from textual.widgets import Input, OptionList

from trainer.commands.practising import practice_app
from trainer.commands.sets import read_set
from trainer.commands.store import Store
from trainer.screens.app import PracticeApp
from trainer.screens.lists import SetsScreen
from trainer.screens.making import MakeScreen


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))
    found = Store(None)
    yield found
    found.close()


def opened(store: Store) -> PracticeApp:
    return practice_app(argparse.Namespace(set=None, seed=1, input="computer"), store)


async def choose(pilot: Pilot[int], *keys: str) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()


async def type_title(pilot: Pilot[int], title: str) -> None:
    await choose(pilot, "home", "enter")
    pilot.app.screen.query_one("#typed", Input).value = title
    await choose(pilot, "enter")


async def fill_in(pilot: Pilot[int]) -> None:
    """A title, m7 from the list, 7(b9) typed, a voicing each found by a part of its name."""
    await type_title(pilot, "Thursday [/]")
    await choose(pilot, "home", "down", "enter", "home", "down", "enter")
    pilot.app.screen.query_one("#typed", Input).focus()
    await choose(pilot, *"7", "(", "b", "9", ")", "enter", "escape")
    await choose(pilot, "down", "enter")
    pilot.app.screen.query_one("#typed", Input).focus()
    await choose(pilot, *"guide", "space", *"third", "down", "home", "enter", "end", "enter", "escape")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_a_set_is_made_with_the_keyboard_alone(store: Store, size: tuple[int, int]) -> None:
    app = opened(store)
    async with app.run_test(size=size) as pilot:
        await choose(pilot, "f8", "m")
        assert isinstance(app.screen, MakeScreen)
        assert "It has no title yet." in screen_text(app)
        await fill_in(pilot)
        check_snapshot(app, f"make_a_set-{size[0]}x{size[1]}")
        await choose(pilot, "home", "down", "enter")
        check_snapshot(app, f"make_a_set_chords-{size[0]}x{size[1]}")
        await choose(pilot, "escape", "f2")
        await pilot.pause()
        assert isinstance(app.screen, SetsScreen)
        path = store.places.own_drills / "thursday.toml"
        assert app.screen.current == str(path)
        assert any(entry.title == "Thursday [/]" and entry.prompts == 24 for entry in app.screen.sets)
        await choose(pilot, "enter")
        assert app._set.name == str(path)
    drill_set, faults = read_set(path)
    assert drill_set is not None, faults
    assert [(each.quality.text, each.voicing) for each in drill_set.drills] == [
        ("m7", "guide tones, third low"),
        ("7(b9)", "guide tones, third low"),
    ]


async def test_a_name_that_is_taken_is_never_written_over(store: Store) -> None:
    own = store.places.own_drills
    own.mkdir(parents=True)
    (own / "thursday.toml").write_text("mine", encoding="utf-8")
    app = opened(store)
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_make()
        await pilot.pause()
        await fill_in(pilot)
        await choose(pilot, "f2")
    assert (own / "thursday.toml").read_text("utf-8") == "mine"
    assert read_set(own / "thursday-2.toml")[0] is not None


async def test_what_is_wrong_is_told_and_nothing_is_written(store: Store) -> None:
    app = opened(store)
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_make()
        await pilot.pause()
        await choose(pilot, "f2")
        assert isinstance(app.screen, MakeScreen)
        await choose(pilot, "home", "down", "enter")
        typed = app.screen.query_one("#typed", Input)
        typed.focus()
        typed.value = "m7[/x]"
        await choose(pilot, "enter")
        assert "m7[/x]:" in screen_text(app)
        assert typed.value == "m7[/x]"
        await choose(pilot, "escape")
        assert app.screen.picking == ""
        await choose(pilot, "escape")
        assert isinstance(app.screen, SetsScreen)
        await choose(pilot, "escape")
        assert not isinstance(app.screen, SetsScreen | MakeScreen)
    assert not store.places.own_drills.exists()


async def test_with_the_mouse_and_on_a_small_terminal(store: Store) -> None:
    app = opened(store)
    async with app.run_test(size=(40, 10)) as pilot:
        app.action_make()
        await pilot.pause()
        await pilot.click("#rows", offset=(5, 3))
        await pilot.pause()
        assert isinstance(app.screen, MakeScreen)
        assert app.screen.picking == "roots"
        await pilot.click("#rows", offset=(5, 1))
        await pilot.pause()
        assert (app.screen.picking, app.screen.values["roots"]) == ("", "fifths")
        rows = app.screen.query_one("#rows", OptionList)
        for row in range(rows.option_count - 1):
            rows.highlighted = row
            await choose(pilot, "enter", "escape")


async def test_a_set_of_ones_own_is_changed_and_its_comments_stay(store: Store) -> None:
    own = store.places.own_drills
    own.mkdir(parents=True)
    path = own / "mine.toml"
    text = '# mine\ntitle = "Mine"\n\n[[drill]] # one\nchord = "m7"\nvoicing = "guide tones, third low"\n'
    path.write_text(text, encoding="utf-8")
    app = opened(store)
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_sets(str(path))
        await pilot.pause()
        await choose(pilot, "e")
        assert isinstance(app.screen, MakeScreen)
        assert "Nothing is changed yet." in screen_text(app)
        await type_title(pilot, "Mine again")
        check_snapshot(app, "change_a_set-80x24")
        await choose(pilot, "f2")
        assert isinstance(app.screen, SetsScreen)
        assert any(entry.title == "Mine again" for entry in app.screen.sets)
        assert path.read_text("utf-8") == text.replace('"Mine"', '"Mine again"')
        # A file that was changed elsewhere meanwhile is left alone, and a shipped set is not opened.
        await choose(pilot, "e")
        await type_title(pilot, "Mine a third time")
        path.write_text(text, encoding="utf-8")
        await choose(pilot, "f2")
        assert isinstance(app.screen, MakeScreen)
        assert path.read_text("utf-8") == text
        app.change_set(app.drill_sets[0].name)
        await pilot.pause()
        assert app.screen.set_name == str(path)
