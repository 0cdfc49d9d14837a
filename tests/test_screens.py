"""The screens: what a player sees and touches, at any size, without colour, from the piano and from the keyboard.

Expected spellings and words are common practice in the trade, no source; the screens' own words are read off golden
texts in tests/snapshots, which TRAINER_WRITE_SNAPSHOTS=1 writes anew.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.geometry import Region
from textual.pilot import Pilot
from textual.widgets import OptionList

from trainer.capture import Kind, NoteEvent
from trainer.chords import Chord, parse_quality
from trainer.grading import Target
from trainer.pitch import TWELVE_ROOTS, MidiNote, Note
from trainer.progress import Attempt
from trainer.screens.app import Hand, NoPorts, PracticeApp, Preferences, SetEntry, write_crash_report
from trainer.screens.arranging import PANELS, arrange
from trainer.screens.drawing import data, fitted, line_of, shown, wrapped
from trainer.screens.glyphs import GLYPHS, large
from trainer.screens.ladder import STATES, Beside, Ladder, Rung
from trainer.screens.lists import PianoScreen, Question, SetsScreen, SummaryScreen, TextScreen
from trainer.screens.readings import prompt_symbol, prompt_words
from trainer.screens.roots import STRIP_CELLS, RootCell, RootStrip
from trainer.screens.themes import THEME_NAMES
from trainer.session import Command, Particulars, Session, State, Task
from trainer.voicings import place, recipe

SNAPSHOTS = Path(__file__).parent / "snapshots"
SIZES = ((80, 24), (120, 40))
NOW = datetime(2026, 3, 10, 20, 0, tzinfo=UTC)


class Piano:
    """A source that a test plays."""

    stamp_origin = "callback"
    reconnects = True

    def __init__(self, clock: Callable[[], int], name: str = "Stage piano") -> None:
        self.name = name
        self.clock = clock
        self.post: Callable[[NoteEvent], None] = lambda event: None
        self.running = False

    def start(self, post: Callable[[NoteEvent], None]) -> None:
        self.post = post
        self.running = True

    def stop(self) -> None:
        self.running = False


class Computer(Piano):
    """The computer's keyboard, as a test sees it."""

    stamp_origin = "keyboard"

    def __init__(self, clock: Callable[[], int]) -> None:
        super().__init__(clock, "the computer's keyboard")
        self.pressed: list[str] = []

    def press(self, character: str) -> None:
        self.pressed.append(character)


class Evening:
    """An application with everything handed in, under a clock that a test moves."""

    def __init__(
        self,
        *,
        hint: str = "notes",
        quality: str = "m7",
        voicing: str = "rootless from the third",
        ports: Sequence[str] = (),
        source: bool = True,
        titles: Sequence[str] = ("Minor sevens", "Dominants"),
        controls: dict[int, str] | None = None,
        **handed_in: Any,
    ) -> None:
        self.now_ns = 10_000_000_000
        self.stored: list[Attempt] = []
        self.remembered: list[Preferences] = []
        self.ports = tuple(ports)
        self.hint, self.quality, self.voicing = hint, quality, voicing
        self.piano = Piano(lambda: self.now_ns)
        self.computer = Computer(lambda: self.now_ns)
        self.problem = ""
        self.app = PracticeApp(
            sets=[SetEntry(f"set-{row}", title, "Twelve roots", 12) for row, title in enumerate(titles)],
            open_session=self.open_session,
            store=lambda attempt, replaces: self.stored.append(attempt),
            ports=lambda: NoPorts(self.ports, self.problem),
            open_port=lambda name: self.piano,
            computer_keyboard=lambda: self.computer,
            preferences=Preferences(controls=controls or {}),
            remember=self.remembered.append,
            source=self.piano if source else None,
            clock=lambda: self.now_ns,
            now=lambda: NOW,
            **handed_in,
        )

    def open_session(self, entry: SetEntry, hand: Hand) -> Session:
        quality = parse_quality(self.quality)
        chosen = recipe(self.voicing, quality)
        targets = [Target(Chord(root, quality, None), place(chosen, root)) for root in TWELVE_ROOTS]
        plan = [Task(target, entry.title, hint=self.hint) for target in targets]
        return Session(plan, Particulars("s", lambda: NOW.isoformat(), hand.port, hand.stamp_origin, hand.controls))

    @asynccontextmanager
    async def running(self, size: tuple[int, int] = (80, 24)) -> AsyncIterator[Pilot[int]]:
        async with self.app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            await pilot.pause()
            yield pilot

    async def later(self, milliseconds: float, pilot: Pilot[int]) -> None:
        """Move the clock and serve what is due."""
        self.now_ns += round(milliseconds * 1e6)
        if (drive := self.app._drive) is not None:
            drive._take(drive.session.tick(self.now_ns))
            drive.paint()
        await pilot.pause()

    async def down(self, keys: Sequence[int], pilot: Pilot[int], *, between_ms: float = 10) -> None:
        for index, key in enumerate(keys):
            self.now_ns += round(between_ms * 1e6) if index else 0
            self.piano.post(NoteEvent(self.now_ns, Kind.DOWN, MidiNote(key), 64))
        await self.settle(pilot)

    async def up(self, keys: Sequence[int], pilot: Pilot[int]) -> None:
        self.now_ns += 100_000_000
        for key in keys:
            self.piano.post(NoteEvent(self.now_ns, Kind.UP, MidiNote(key)))
        await self.settle(pilot)

    async def settle(self, pilot: Pilot[int]) -> None:
        await asyncio.sleep(0.012)
        await pilot.pause()
        await pilot.pause()

    @property
    def target(self) -> Target:
        task = self.app.practice.asked_task
        assert task is not None
        return task.target

    async def play(self, keys: Sequence[int], pilot: Pilot[int]) -> None:
        await self.later(800, pilot)
        await self.down(keys, pilot)
        await self.up(keys, pilot)

    async def miss(self, pilot: Pilot[int]) -> list[int]:
        """The top finger a half step high, and a key too many below; the keys stay down."""
        keys = [*self.target.keys[:-1], self.target.keys[-1] + 1]
        await self.later(900, pilot)
        await self.down(keys, pilot)
        await self.later(250, pilot)
        return keys


def screen_text(app: PracticeApp) -> str:
    """The screen as text: one line a row, ends stripped."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips) + "\n"


def check_snapshot(app: PracticeApp, name: str) -> None:
    """Compare the screen with its golden text; write it, and the picture, where asked to."""
    text = screen_text(app)
    path = SNAPSHOTS / f"{name}.txt"
    if os.environ.get("TRAINER_WRITE_SNAPSHOTS"):
        SNAPSHOTS.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        if pictures := os.environ.get("TRAINER_PICTURES"):
            (Path(pictures) / f"{name}.svg").write_text(app.export_screenshot(), encoding="utf-8")
    assert text == path.read_text(encoding="utf-8"), f"{name} looks different; TRAINER_WRITE_SNAPSHOTS=1 writes it anew"


# -- golden screens


async def the_prompt(evening: Evening, pilot: Pilot[int]) -> None:
    pass


async def half_the_chord_held(evening: Evening, pilot: Pilot[int]) -> None:
    await evening.later(900, pilot)
    await evening.down(evening.target.keys[:2], pilot)


async def right_and_still_held(evening: Evening, pilot: Pilot[int]) -> None:
    await evening.later(900, pilot)
    await evening.down(evening.target.keys, pilot)


async def the_next_prompt(evening: Evening, pilot: Pilot[int]) -> None:
    await evening.play(evening.target.keys, pilot)


async def a_miss_with_the_keyboard_drawn(evening: Evening, pilot: Pilot[int]) -> None:
    await pilot.press("f7")
    await evening.miss(pilot)


async def paused(evening: Evening, pilot: Pilot[int]) -> None:
    await evening.play(evening.target.keys, pilot)
    await pilot.press("f6")


async def unplugged(evening: Evening, pilot: Pilot[int]) -> None:
    evening.piano.post(NoteEvent(evening.now_ns, Kind.PORT_LOST, port="Stage piano"))
    await evening.settle(pilot)


async def the_sets(evening: Evening, pilot: Pilot[int]) -> None:
    await pilot.press("f8")


async def the_piano(evening: Evening, pilot: Pilot[int]) -> None:
    evening.ports = ("Stage piano", "Another [piano]")
    await pilot.press("f9")
    await evening.app._look_for_ports()


async def play_and_read(evening: Evening, pilot: Pilot[int]) -> None:
    await pilot.press("f12")
    await evening.down((53, 57, 60, 64), pilot)  # rootless Dm9, the keys of Fmaj7 (evidence.md section 7)
    await pilot.pause(0.2)


async def a_voicing_named(evening: Evening, pilot: Pilot[int]) -> None:
    await pilot.press("f12", *"Cm7")
    await evening.down((51, 55, 58, 62), pilot)
    await pilot.pause(0.2)


async def the_help(evening: Evening, pilot: Pilot[int]) -> None:
    await pilot.press("f1")


async def the_figures(evening: Evening, pilot: Pilot[int]) -> None:
    for number in range(12):
        if number == 4:
            keys = await evening.miss(pilot)
            await evening.up(keys, pilot)
        await evening.play(evening.target.keys, pilot)


SCENES = (
    the_prompt,
    half_the_chord_held,
    right_and_still_held,
    the_next_prompt,
    a_miss_with_the_keyboard_drawn,
    paused,
    unplugged,
    the_sets,
    the_piano,
    play_and_read,
    a_voicing_named,
    the_help,
    the_figures,
)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.__name__)
async def test_a_screen_looks_as_it_did(scene: Any, size: tuple[int, int]) -> None:
    evening = Evening()
    async with evening.running(size) as pilot:
        await scene(evening, pilot)
        await evening.settle(pilot)
        check_snapshot(evening.app, f"{scene.__name__}-{size[0]}x{size[1]}")


async def test_with_no_piano_it_says_so_and_what_to_do() -> None:
    evening = Evening(source=False)
    async with evening.running() as pilot:
        check_snapshot(evening.app, "no_piano-80x24")
        await pilot.press("f9", "enter")
        await evening.settle(pilot)
        assert evening.computer.running
        assert "listening to the computer's keyboard" in screen_text(evening.app)


# -- a drill


async def test_a_drill_runs_from_the_piano_alone() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        for root in TWELVE_ROOTS:
            assert evening.target.root == root
            await evening.play(evening.target.keys, pilot)
        assert isinstance(evening.app.screen, SummaryScreen)
    assert [attempt.outcome for attempt in evening.stored] == ["right"] * 12
    # From the prompt on the glass (800 ms before the first note) to the last of four notes 10 ms apart.
    assert all(attempt.response_ms == pytest.approx(830, abs=0.5) for attempt in evening.stored[1:])


async def test_the_ladder_fills_as_keys_go_down() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        # Cm7 from the third: E flat, G, B flat, D (common practice).
        rungs = evening.app.practice.ladder.rungs
        assert [(rung.degree, rung.note, rung.state) for rung in rungs] == [
            ("♭3", "E♭3", "waiting"),
            ("5", "G", "waiting"),
            ("♭7", "B♭", "waiting"),
            ("9", "D", "waiting"),
        ]
        await evening.down([51, 58], pilot)
        states = [rung.state for rung in evening.app.practice.ladder.rungs]
        assert states == ["held", "waiting", "held", "waiting"]


async def test_a_further_key_stands_beside_the_ladder_at_its_height() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await evening.down([51, 53, 55], pilot)
        lines = evening.app.practice.ladder.text().split("\n")
        third = next(row for row, line in enumerate(lines) if "♭3" in line)
        extra = next(row for row, line in enumerate(lines) if "+ F too many" in line)
        fifth = next(row for row, line in enumerate(lines) if " 5 " in line)
        assert third > extra > fifth


async def test_a_miss_is_told_degree_by_degree_with_its_cause() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        keys = await evening.miss(pilot)
        text = screen_text(evening.app)
        assert "✗ Cm7 not yet: 2 tries left" in text
        assert "✗ E♭ instead" in text
        assert "The ♭3, 5 and ♭7 are right." in text
        await evening.up(keys, pilot)
        assert "✗ E♭ instead" in screen_text(evening.app), "the verdict stays while the hand lets go"
        await evening.down(evening.target.keys, pilot)
        assert evening.stored[-1].outcome == "right"
        assert not evening.stored[-1].right_first_try


async def test_the_verdict_before_stays_readable_while_the_next_prompt_is_up() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await evening.later(900, pilot)
        await evening.down(evening.target.keys, pilot)
        assert "Hold the keys to read on; let go for the next." in " ".join(evening.app.practice.answer.text().split())
        await evening.up(evening.target.keys, pilot)
        assert prompt_symbol(evening.target) == "Fm7"
        assert "before: ✓ Cm7 right" in screen_text(evening.app)


async def test_an_attempt_is_stored_before_its_verdict_is_shown() -> None:
    evening = Evening()
    seen: list[int] = []
    async with evening.running() as pilot:
        graded = evening.app.practice._graded
        evening.app.practice._graded = lambda event: (seen.append(len(evening.stored)), graded(event))[1]  # type: ignore[method-assign]
        await evening.play(evening.target.keys, pilot)
    assert seen == [1]


async def test_what_cannot_be_kept_is_told_and_the_drill_goes_on() -> None:
    evening = Evening()

    def full(attempt: Attempt, replaces: bool) -> None:
        raise OSError("the disk is full [/]")

    evening.app._store_attempt = full
    async with evening.running() as pilot:
        await evening.play(evening.target.keys, pilot)
        for _ in range(100):
            await pilot.pause(0.05)
            if "the disk is full [/]" in screen_text(evening.app):
                break
        assert "the disk is full [/]" in screen_text(evening.app)
        assert prompt_symbol(evening.target) == "Fm7"


async def test_degrees_only_or_nothing_is_named_where_the_set_says_so() -> None:
    for hint, degree, note in (("degrees", "♭3", ""), ("name", "", "")):
        evening = Evening(hint=hint)
        async with evening.running() as pilot:
            lowest = evening.app.practice.ladder.rungs[0]
            assert (lowest.degree, lowest.note) == (degree, note)
            await pilot.press("f4")
            lowest = evening.app.practice.ladder.rungs[0]
            assert (lowest.degree, lowest.note) == ("♭3", "E♭3")


async def test_an_unplugged_piano_pauses_and_plugged_in_again_goes_on() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await evening.play(evening.target.keys, pilot)
        evening.piano.post(NoteEvent(evening.now_ns, Kind.PORT_LOST, port="Stage piano"))
        await evening.settle(pilot)
        assert evening.app.state is State.PAUSED
        assert "○ Stage piano is not connected" in screen_text(evening.app)
        evening.piano.post(NoteEvent(evening.now_ns, Kind.PORT_FOUND, port="Stage piano"))
        await evening.settle(pilot)
        assert evening.app.state is State.PROMPTED
        assert prompt_symbol(evening.target) == "Fm7"
        assert "● listening to Stage piano" in screen_text(evening.app)


async def test_a_piano_plugged_in_later_starts_the_drill() -> None:
    evening = Evening(source=False)
    async with evening.running() as pilot:
        assert evening.app.state is State.READY
        evening.ports = ("Stage piano",)
        await evening.app._look_for_ports()
        await evening.settle(pilot)
        assert evening.app.state is State.PROMPTED
        assert "listening to Stage piano" in screen_text(evening.app)


async def test_commands_come_from_the_piano_where_they_were_learned() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await pilot.press("f9", "tab", "down", "enter")  # the second command: skip
        await evening.down([21], pilot)
        await pilot.press("escape")
        await evening.settle(pilot)
        assert evening.remembered[-1].controls == {21: "skip"}
        await evening.down([21], pilot)
        await evening.up([21], pilot)
        assert evening.stored[-1].outcome == "skipped"
        assert prompt_symbol(evening.target) == "Fm7"


async def test_a_learned_key_is_forgotten_only_after_another_key_confirms() -> None:
    evening = Evening(controls={21: "again"})
    async with evening.running() as pilot:
        await pilot.press("f9", "tab", "delete")
        assert isinstance(evening.app.screen, Question)
        await pilot.press("escape")
        assert evening.app.controls == {21: Command.AGAIN}
        await pilot.press("delete", "y")
        await pilot.pause()
        assert evening.app.controls == {}


async def test_a_resize_keeps_the_time_of_this_prompt_out_of_the_figures() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await pilot.resize_terminal(100, 30)
        await evening.settle(pilot)
        await evening.play(evening.target.keys, pilot)
        await evening.play(evening.target.keys, pilot)
    assert [attempt.set_aside for attempt in evening.stored] == ["resize", ""]


# -- the computer's keyboard, and no other thing needed


async def test_printable_keys_go_to_the_computers_keyboard_where_it_is_played() -> None:
    evening = Evening(source=False)
    async with evening.running() as pilot:
        await pilot.press("f9", "enter")
        await evening.settle(pilot)
        await pilot.press("a", "s", "y", "question_mark")
        assert evening.computer.pressed == ["a", "s", "y", "?"]
        assert evening.app.screen is evening.app.practice


async def test_every_place_is_reached_by_keys_and_escape_goes_back_and_never_quits() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        for key, level in (("f1", TextScreen), ("f8", SetsScreen), ("f9", PianoScreen)):
            await pilot.press(key)
            assert isinstance(evening.app.screen, level)
            assert evening.app.state is State.PAUSED
            await pilot.press("escape")
            assert evening.app.screen is evening.app.practice
            assert evening.app.state is State.PROMPTED
        await pilot.press("escape", "escape", "escape")
        assert evening.app.is_running
        await pilot.press("f10")
        assert isinstance(evening.app.screen, SummaryScreen)
        await pilot.press("enter")
        await evening.settle(pilot)
        assert evening.app.state is State.PROMPTED
        await pilot.press("f8", "down", "enter")
        await evening.settle(pilot)
        assert evening.remembered[-1].last_set == "set-1"
        assert "Dominants" in screen_text(evening.app)


async def test_again_skip_and_pause_work_from_the_computer() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await evening.play(evening.target.keys, pilot)
        await pilot.press("f2")
        await evening.settle(pilot)
        assert prompt_symbol(evening.target) == "Cm7"
        await pilot.press("f3")
        await evening.settle(pilot)
        assert prompt_symbol(evening.target) == "Fm7"
        await pilot.press("f6")
        assert evening.app.state is State.PAUSED
        assert "F6 goes on" in screen_text(evening.app)
        await pilot.press("f6")
        assert evening.app.state is State.PROMPTED


async def test_the_command_palette_knows_the_programs_own_commands_only() -> None:
    evening = Evening()
    async with evening.running():
        titles = [command.title for command in evening.app.get_system_commands(evening.app.screen)]
        assert {"Help", "Choose a set", "Choose the piano", "Play, and read"} <= set(titles)
        assert titles[-1] == "Leave the program"
        assert {f"Colours: {name}" for name in THEME_NAMES} <= set(titles)


async def test_leaving_keeps_an_attempt_that_was_begun() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        keys = await evening.miss(pilot)
        await evening.up(keys, pilot)
        await pilot.press("ctrl+q")
        await pilot.pause()
    assert [attempt.outcome for attempt in evening.stored] == ["unfinished"]


# -- any size


@settings(max_examples=300, deadline=None)
@given(st.integers(1, 220), st.integers(1, 70), st.booleans())
def test_at_any_size_panels_lie_within_the_screen_and_apart(width: int, height: int, keyboard: bool) -> None:
    places = arrange(width, height, keyboard)
    screen = Region(0, 0, width, height)
    assert {"prompt"} <= set(places) <= set(PANELS)
    if width > 1:
        assert "ladder" in places
    for name, region in places.items():
        assert region.area > 0, name
        assert screen.contains_region(region), name
    regions = list(places.values())
    for index, one in enumerate(regions):
        for other in regions[index + 1 :]:
            assert not one.overlaps(other)


@pytest.mark.parametrize("size", [(40, 10), (20, 5), (80, 1), (60, 3), (66, 18), (200, 60)])
async def test_at_any_size_prompt_and_ladder_can_be_read(size: tuple[int, int]) -> None:
    evening = Evening()
    async with evening.running(size) as pilot:
        await evening.later(900, pilot)
        await evening.down([51, 55], pilot)
        text = screen_text(evening.app)
        lines = evening.app.practice.ladder.text()
        assert "small" not in text
        assert all(cell_len(line) <= size[0] for line in text.split("\n"))
        for degree in ("♭3", "5", "♭7", "9"):
            assert degree in lines
        assert lines.count(STATES["held"].sign) == 2
        assert "Cm7" in evening.app.practice.prompt.text() or "█" in evening.app.practice.prompt.text()


async def test_in_forty_by_ten_the_cause_of_a_miss_is_there_in_full() -> None:
    evening = Evening()
    async with evening.running((40, 10)) as pilot:
        await evening.miss(pilot)
        told = " ".join(evening.app.practice.answer.text().split())
        assert "E♭ for D on top: a half step high; the 9 of C is D." in told


# -- text is data


@given(st.text(max_size=60))
@settings(max_examples=300, deadline=None)
def test_any_text_is_drawn_as_itself(text: str) -> None:
    drawn = shown(text)
    assert shown(drawn) == drawn
    assert all(character.isprintable() for character in drawn)
    if text.isprintable() and not any(0xFE00 <= ord(character) <= 0xFE0F for character in text):
        assert drawn == text
    assert data(text).plain == drawn


@given(st.text(max_size=80), st.integers(0, 40))
@settings(max_examples=300, deadline=None)
def test_any_text_fits_where_it_is_put(text: str, width: int) -> None:
    assert cell_len(fitted(shown(text), width)) <= max(width, 0)
    assert sum(cell_len(part) for part, _ in line_of([(text, "text")], width)) == width
    if width >= 2:
        assert all(cell_len(line) <= width for line in wrapped(text, width))


HOSTILE = ("C7[b9] [bold]x[/bold] [/x]", "a\x1b[2Jb\r\n\tc", "[@click=app.leave()]press[/]", "♭♯ 音楽 \u202eabc", "")


@pytest.mark.parametrize("title", HOSTILE)
async def test_titles_and_port_names_are_shown_as_themselves(title: str) -> None:
    evening = Evening(titles=(title, "Another"), ports=(title,))
    evening.piano.name = title
    async with evening.running((120, 40)) as pilot:
        assert f"listening to {shown(title)}" in screen_text(evening.app)
        assert evening.app.practice.status.title == title
        for key in ("f8", "f9"):
            await pilot.press(key)
            await evening.app._look_for_ports()
            options = evening.app.screen.query(OptionList).first()
            assert shown(title) in str(options.get_option_at_index(0).prompt)
            assert shown(title) in screen_text(evening.app)
            await pilot.press("escape")


# -- signs, letters, strip


def test_every_state_has_a_sign_and_a_word_of_its_own() -> None:
    assert len({state.sign for state in STATES.values()}) == len(STATES)
    assert len({state.word for state in STATES.values()}) == len(STATES)
    assert all(cell_len(state.sign) == 1 for state in STATES.values())


@pytest.mark.parametrize("quality", ["m7", "7", "maj7", "m7b5", "dim7", "mMaj7", "7alt", "6", "m6", "7sus4", "7(b9)"])
@pytest.mark.parametrize("root", ["C", "Bb", "F#", "Gb"])
def test_every_symbol_of_a_drill_stands_in_large_letters_in_half_of_80_columns(quality: str, root: str) -> None:
    note = Note.parse(root)
    target = Target(Chord(note, parse_quality(quality), None), place(recipe("1 3 b7", parse_quality("7")), note))
    drawn = large(prompt_symbol(target), 44, 10)
    assert drawn
    assert all(len(line) <= 44 for line in drawn)
    assert prompt_words(target).endswith(f"on {root.replace('b', '♭').replace('#', '♯')}")


def test_letters_are_seven_dots_high_and_even() -> None:
    for character, rows in GLYPHS.items():
        assert len(rows) == 7, character
        assert len({len(row) for row in rows}) == 1, character


def test_the_wheel_fits_eighty_columns_and_reads_without_colour() -> None:
    strip = RootStrip()
    cells = [RootCell(note.name, note.name, 30, 1.0, 0.88, 12_340.0, "29 d") for note in TWELVE_ROOTS]
    strip.cells = tuple(cells)
    strip.current = "Gb"
    lines = ["".join(text for text, _ in line_of(spans, STRIP_CELLS)) for spans in strip.lines(STRIP_CELLS, 6)]
    assert STRIP_CELLS <= 80
    assert lines[0].split()[1:] == "C F B♭ E♭ A♭ D♭ [G♭] B E A D G".split()  # cycle of fourths, common practice
    assert lines[1].split() == ["right", *["100%"] * 12]
    assert lines[2].split() == ["time", *["12s"] * 12]
    assert lines[3].split() == ["at", "least", *["88%"] * 12]


def test_a_ladder_of_eight_rungs_stands_in_the_place_of_eighty_by_twenty_four() -> None:
    ladder = Ladder()
    ladder.rungs = tuple(Rung(f"{number}", "F♭♭ (D)", 40 + 3 * number, "held") for number in range(1, 9))
    ladder.beside = (Beside(41, "F"), Beside(80, "A♭"))
    place_of_ladder = arrange(80, 24)["ladder"]
    lines = [
        "".join(text for text, _ in line_of(spans, place_of_ladder.width))
        for spans in ladder.lines(place_of_ladder.width, place_of_ladder.height)
    ]
    assert len(lines) <= place_of_ladder.height
    assert sum("● held" in line for line in lines) == 8
    assert sum("too many" in line for line in lines) == 2


# -- trouble


async def test_a_fault_of_the_program_ends_in_a_report_without_values(tmp_path: Path) -> None:
    report = tmp_path / "state" / "trouble.log"
    name = "Somebody's secret name"
    try:
        raise KeyError(name)
    except KeyError as error:
        write_crash_report(report, error, NOW)
    text = report.read_text(encoding="utf-8")
    assert "KeyError" in text
    assert "test_screens.py" in text
    assert name not in text
    assert str(Path(__file__).parent) not in text


async def test_a_fault_while_the_piano_is_heard_ends_the_program_with_a_report(tmp_path: Path) -> None:
    report = tmp_path / "trouble.log"
    evening = Evening(crash_report=report)

    def broken(attempt: Attempt, replaces: bool) -> None:
        raise TypeError("a fault of the program's own")

    evening.app._store_attempt = broken
    with pytest.raises(TypeError, match="a fault of the program's own"):  # what the test driver makes of a crash
        async with evening.running() as pilot:
            await evening.play(evening.target.keys, pilot)
    assert evening.app.crashed
    assert "TypeError" in report.read_text(encoding="utf-8")


async def test_a_click_on_the_foot_does_what_it_says() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        left = next(left for left, key in evening.app.practice.foot._places(80) if key.word == "Pause")
        await pilot.click("#foot", offset=(left + 1, 0))
        assert evening.app.state is State.PAUSED


@pytest.mark.parametrize("theme", THEME_NAMES)
async def test_every_theme_draws(theme: str) -> None:
    evening = Evening()
    async with evening.running() as pilot:
        evening.app.use_theme(theme)
        await evening.settle(pilot)
        assert evening.app.theme == theme
        assert "waiting" in screen_text(evening.app)
