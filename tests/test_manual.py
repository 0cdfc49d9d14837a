"""The manual is true: its commands can be given, its keys are bound, its tables are the trade's, its lines fit.

Degrees expected here are the trade's, written by hand: common practice, no source.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from pkgutil import iter_modules

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from test_screens import Evening, screen_text
from textual.binding import Binding
from textual.dom import DOMNode

from trainer import screens
from trainer.__main__ import command_line, main
from trainer.commands import all_rows
from trainer.commands.guiding import every_chapter
from trainer.estimates import median_interval
from trainer.manual import Chapter, chapters, wrapped
from trainer.screens.guide import ChapterScreen, ChaptersScreen, HelpScreen, help_text
from trainer.screens.practice import PracticeScreen
from trainer.storage.settings import SETTINGS

MANUAL = every_chapter()
PARSER = command_line()
USAGES = {after.strip() for before, after in pairwise(MANUAL[-1].text.split("\n\n")) if before.startswith("# trainer")}
"""The lines that say how a command is written; they hold placeholders."""
NAMES = [chapter.name for chapter in MANUAL]


def chapter(name: str) -> Chapter:
    return next(each for each in MANUAL if each.name == name)


def words_of(name: str, width: int = 76) -> str:
    return " ".join(" ".join(wrapped(chapter(name), width)).split())


def typed_lines() -> Iterator[tuple[str, str]]:
    for each in MANUAL:
        for line in each.text.split("\n"):
            if line.startswith("    trainer"):
                yield each.name, line.strip()


@pytest.mark.parametrize(("name", "line"), sorted(set(typed_lines())))
def test_every_command_of_the_manual_can_be_given_as_it_stands(name: str, line: str) -> None:
    words = shlex.split(line.split("  in ~")[0].split(" | ")[0].split(" > ")[0].split(" < ")[0])
    if name == "commands" and line in USAGES:
        return
    PARSER.parse_args(words[1:])
    if words[1:2] == ["settings"] and len(words) > 2:
        assert words[2] in {row.name for row in SETTINGS}


@pytest.mark.parametrize("name", NAMES)
def test_every_command_option_and_setting_named_in_running_text_exists(name: str) -> None:
    commands = {row.name for row in all_rows()} | {""}
    prose = re.sub(r"(?m)^    .*$", "", chapter(name).text)
    for named in re.findall(r"\btrainer ([a-z][a-z-]+)", prose):
        assert named in commands
    known = set(re.findall(r"--[a-z][a-z-]+", chapter("commands").text)) | {"--help", "--plain"}
    assert set(re.findall(r"--[a-z][a-z-]+", chapter(name).text)) <= known
    if name != "commands":
        names = {row.name for row in SETTINGS}
        assert set(re.findall(r"\b[a-z]+_[a-z]+\b", prose)) <= names


def test_every_command_is_told_with_its_options() -> None:
    told = chapter("commands").text
    for row in all_rows():
        assert f"# trainer {row.name}\n" in told


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [20, 30, 40, 72, 88, 200])
def test_every_chapter_fits_its_width(name: str, width: int) -> None:
    lines = wrapped(chapter(name), width)
    assert max(map(cell_len, lines)) <= width
    assert all(line.isprintable() and line == line.rstrip() for line in lines)


@settings(max_examples=20, deadline=None)
@given(st.integers(20, 120))
def test_no_word_is_lost_at_any_width(width: int) -> None:
    for each in chapters():
        plain = re.sub(r" \| ", " ", re.sub(r"(?m)^: ", "", each.text))
        told = "".join("".join(wrapped(each, width)).split())
        assert told == "".join(plain.split()) or "|" in each.text


@pytest.mark.parametrize("name", NAMES)
def test_a_chapter_is_made_of_the_kinds_of_line_that_are_stated(name: str) -> None:
    for line in chapter(name).text.split("\n"):
        assert not line.startswith(" ") or line.startswith("    ")
        assert not line.startswith(": ") or " | " in line
        assert "\t" not in line


PROPER = set(
    """
    I II III IV V VI VII A B C D E F G Ctrl Enter Esc Tab Fn USB MIDI README JACK Linux Python TRAINER_HOME NO_COLOR
    Windows Bluetooth Standard File JSON XML MusicXML PDF SVG CSV FSRS UTC BAPAM NIOSH WHO ITU H Sunday Teach Colours
    Wilson Brown Cai DasGupta Sternberg Verwey Klapp Stambaugh Carter Grahn Vienna Hampel Kaernbach Rickard Lau Pashler
    Askenfelt Jansson Goebl Bresin Galembo Boyle Horvath Klickstein Levine DeGreg Keller Jazz Piano Book Harmony
    Keyboard The Ada Psychology Psychophysics Psychonomic Bulletin Review Perception Statistical Science Journal
    Research Booker Scripts Music Education American Association Frontiers Interval
    """.split()
)
"""Names that the manual may have: keys and roots, systems and standards, books and papers that are its sources."""


@pytest.mark.parametrize("name", [name for name in NAMES if name != "commands"])
def test_a_chapter_names_no_product(name: str) -> None:
    """A word with a capital that begins no sentence, point or term is a name; those that may stand there are listed."""
    for line in chapter(name).text.split("\n"):
        if line.startswith("    "):
            continue
        prose = re.sub(r"^(# |- |\d+\. |: )", "", line).replace(" | ", ". ")
        for found in re.finditer(r"(?<![\w♭♯])[A-Z][A-Za-z_]+", prose):
            before = prose[: found.start()].rstrip(' "“(')
            if before and before[-1] not in ".:?":
                assert found[0] in PROPER, f"{found[0]} in {line}"


def test_the_tables_are_the_trades() -> None:
    told = wrapped(chapter("voicings"), 76)

    def row(heading: str, name: str, quality: str) -> str:
        at = told.index(f"# {heading}")
        at = told.index(f"{name}:", at)
        line = next(line for line in told[at:] if quality in re.split(r", |  +", line))
        return re.split(r"  +", line)[1]

    assert row("Four-note rootless", "rootless from the third", "m7") == "♭3 5 ♭7 9"
    assert row("Four-note rootless", "rootless from the seventh", "7") == "♭7 9 3 13"
    assert row("Four-note rootless", "rootless from the third", "7alt") == "3 ♭13 ♭7 ♯9"
    assert row("Three-note rootless", "seventh low with 13", "7") == "♭7 3 13"
    assert row("Shell", "root and seventh", "maj7") == "1 7"
    assert row("Guide tones", "third low", "m7") == "♭3 ♭7"
    assert "root position     1 ♭3 5 ♭7" in told


def test_the_figures_are_those_that_the_program_uses() -> None:
    told = words_of("figures")
    assert "5 of 5 right means 57 to 100 %" in told  # Wilson's interval, as printed in tables of it
    assert "Under 6 times there is none" in told
    assert median_interval([1.0] * 5) is None and median_interval([1.0] * 6) is not None
    assert "No date is further off than 30 days" in told


@pytest.mark.parametrize(
    "words",
    ["Warm up", "pain, numbness or tingling", "clinician who treats musicians", "every 25 minutes", "moderate level"],
)
def test_hands_and_ears_are_looked_after(words: str) -> None:
    assert words in words_of("hands-and-ears")


# -- on the screen


def bound_keys() -> set[str]:
    """Every key that a screen of the program binds, as it is written."""
    found = {"Ctrl+P", "?", "Arrows"}  # the library's own command palette; F1's other key
    for found_module in iter_modules(screens.__path__):
        module = import_module(f"trainer.screens.{found_module.name}")
        for each in vars(module).values():
            if isinstance(each, type) and issubclass(each, DOMNode):
                for binding in each.__dict__.get("BINDINGS", ()):
                    assert isinstance(binding, Binding)
                    for key in binding.key.split(","):
                        found.add("+".join(part.capitalize() for part in key.split("+")))
    return found | {"Esc"} if "Escape" in found else found


def keys_named(text: str) -> set[str]:
    named = set(re.findall(r"\bF\d+\b|\bCtrl\+[A-Z]\b|\b(?:Enter|Esc|Tab)\b", text))
    for letters in re.findall(r"\b((?:[A-Z], )+[A-Z] and [A-Z])\b|\b([A-Z]) (?:in that list|tells the reason)", text):
        named |= set(re.findall(r"\b[A-Z]\b", " ".join(letters).replace(" and ", " ")))
    return named


def test_every_key_named_on_the_help_screen_is_bound() -> None:
    named = keys_named(help_text().plain)
    assert len(named) > 15
    assert named <= bound_keys()


@pytest.mark.parametrize("name", [name for name in NAMES if name not in ("commands", "voicings")])
def test_every_key_named_in_a_chapter_is_bound(name: str) -> None:
    assert keys_named(chapter(name).text) <= bound_keys()


async def test_the_manual_is_read_from_the_help_screen_and_left_level_by_level() -> None:
    evening = Evening(manual=lambda: MANUAL)
    async with evening.running() as pilot:
        await pilot.press("f1")
        assert isinstance(evening.app.screen, HelpScreen)
        await pilot.press("enter", "down", "down", "enter")
        await pilot.pause()
        assert isinstance(evening.app.screen, ChapterScreen)
        assert "What the screen shows" in screen_text(evening.app)
        assert "one rung for each degree" in screen_text(evening.app)
        await pilot.press("escape")
        assert isinstance(evening.app.screen, ChaptersScreen)
        await pilot.press("enter")
        assert evening.app.screen.chapter.name == "screen"
        await pilot.press("escape", "escape")
        assert isinstance(evening.app.screen, HelpScreen)
        await pilot.press("escape")
        assert isinstance(evening.app.screen, PracticeScreen)


@pytest.mark.parametrize("size", [(40, 10), (80, 24), (200, 60), (20, 4)])
async def test_a_chapter_is_broken_for_the_screen_it_is_read_on(size: tuple[int, int]) -> None:
    evening = Evening(manual=lambda: MANUAL)
    async with evening.running(size) as pilot:
        evening.app.open_chapter(chapter("figures"))
        await pilot.pause()
        lines = str(evening.app.screen.query_one("#words").render()).split("\n")
        assert lines == [line.removeprefix("# ") for line in wrapped(chapter("figures"), min(max(20, size[0] - 5), 88))]


# -- on the command line


def test_a_chapter_is_printed_plainly_for_the_width_there_is(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert main(["guide", "hands"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Hands and ears\n==============\n")
    assert max(map(cell_len, out.split("\n"))) <= 40
    assert "\x1b" not in out and "\n# " not in out


def test_chapters_are_listed_and_all_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", "--list"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == NAMES
    assert main(["guide"]) == 0
    assert "trainer guide first-evening" in capsys.readouterr().out
    assert main(["guide", "--all"]) == 0
    out = capsys.readouterr().out
    assert all(f"{each.title}\n====" in out for each in MANUAL)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("figurs", "did you mean figures"),
        ("s", "say setting-up or screen"),
        ("xylophone", "trainer guide tells what there is"),
        ("", "trainer guide tells what there is"),
    ],
)
def test_a_chapter_that_is_none_is_told_with_what_was_perhaps_meant(
    asked: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["guide", asked]) == 2
    assert said in capsys.readouterr().err


def test_the_manual_asks_for_nothing_of_this_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    assert main(["guide", "trouble"]) == 0
    assert not (tmp_path / "home").exists()
