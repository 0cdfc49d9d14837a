"""Progress to look at: every view at every size, by keys and by mouse, and figures that are those of the record.

The player is invented (see `invented`); expected spellings are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import KINDS, invented_record
from rich.cells import cell_len
from test_screens import NOW, Evening, check_snapshot, screen_text
from test_storage_passes import TWO_FIVE_ONE
from textual.pilot import Pilot

from trainer.pitch import TWELVE_ROOTS
from trainer.progress import EVERYTHING, Attempt, AttemptTallies, Only, Remembered, Tallies
from trainer.screens.curve_view import CurveView
from trainer.screens.drawing import line_of
from trainer.screens.figure_lines import bar, squeezed
from trainer.screens.figure_parts import View
from trainer.screens.figure_views import LearnedView, MissesView, RootsView, TableView, TimesView
from trainer.screens.looking_back import PERIODS, Pick, ProgressScreen
from trainer.screens.practice import PracticeScreen
from trainer.screens.summary import share_words
from trainer.screens.tempo_views import SteadyView, TempoView
from trainer.session import State
from trainer.timing import PassRecord, in_time_by

RECORD = tuple(invented_record(days=38, a_day=30))
COUNTED = Remembered(AttemptTallies(RECORD))
VIEWS: tuple[type[View], ...] = (
    RootsView,
    TableView,
    CurveView,
    TimesView,
    MissesView,
    LearnedView,
    TempoView,
    SteadyView,
)
SIZES = ((80, 24), (120, 40), (40, 10))


def screen_of(evening: Evening) -> ProgressScreen:
    assert isinstance(evening.app.screen, ProgressScreen)
    return evening.app.screen


def some_passes() -> list[PassRecord]:
    """Invented passes of two forms: each key a little faster than the one before, every fourth not clean."""
    slot = TWO_FIVE_ONE.slots[0]
    passes = []
    for number in range(30):
        slots = tuple(
            replace(slot, index=at, error_ms=-15.0 + 7 * ((number + at) % 6), move="" if at == 0 else "ii to V")
            for at in range(4)
        )
        title = "Two five one" if number < 20 else "A blues in the kitchen"
        played = replace(TWO_FIVE_ONE, title=title, number=number, section="", slots=slots, clean=number % 4 != 3)
        root = TWELVE_ROOTS[number % 12].name
        passes.append(
            replace(played, key=root, tempo_bpm=72.0 + 2 * number, utc=f"2026-03-0{1 + number % 9}T19:00:00Z")
        )
    return passes


PASSES = some_passes()


class Looking(Evening):
    """An evening with a record to look at."""

    def __init__(self, counted: Tallies = COUNTED, **handed_in: Any) -> None:
        super().__init__(counted=lambda: counted, passes=lambda only: PASSES, **handed_in)


async def press(pilot: Pilot[int], keys: str) -> None:
    await pilot.press(*keys.split())
    await pilot.pause()


SCENES = {
    "progress_roots": "1 down",
    "progress_roots_of_a_cause": "1 end",
    "progress_voicings": "2 down down right right",
    "progress_curve": "2 right right enter",
    "progress_time": "4 down",
    "progress_misses": "5",
    "progress_learned": "6 down right",
    "progress_tempo": "7 down right",
    "progress_steady": "8",
    "progress_days": "d",
}


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_every_view_looks_as_it_did(size: tuple[int, int]) -> None:
    """All in one evening: opening the program takes longer than drawing ten views."""
    evening = Looking()
    async with evening.running(size) as pilot:
        for scene, keys in SCENES.items():
            evening.app.back()
            await press(pilot, f"f11 {keys}")
            check_snapshot(evening.app, f"{scene}-{size[0]}x{size[1]}")


# -- ways in, round and out


async def test_the_drill_waits_while_progress_is_looked_at_and_goes_on_after() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f11")
        assert evening.app.state is State.PAUSED
        screen_of(evening)
        await press(pilot, "escape")
        assert isinstance(evening.app.screen, PracticeScreen)
        assert evening.app.state is State.PROMPTED


async def test_progress_is_reached_from_the_summary() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f10 f11")
        screen_of(evening)


async def test_a_click_on_the_wheel_of_roots_shows_more() -> None:
    evening = Looking()
    async with evening.running((120, 40)) as pilot:
        await pilot.click("#roots")
        screen_of(evening)


async def test_without_a_record_it_says_so() -> None:
    evening = Evening()
    async with evening.running() as pilot:
        await press(pilot, "f11")
        assert isinstance(evening.app.screen, PracticeScreen)


async def test_a_record_that_cannot_be_read_is_told() -> None:
    def broken() -> Tallies:
        raise OSError("the record is in use [/]")

    evening = Evening(counted=broken)
    async with evening.running() as pilot:
        await press(pilot, "f11")
        assert isinstance(evening.app.screen, PracticeScreen)


async def test_a_record_that_cannot_be_read_any_more_is_told_and_the_screen_stays() -> None:
    class Taken(AttemptTallies):
        """A record that another program holds on to for a while."""

        held = False

        def tallies(self, by: Sequence[str], only: Only = EVERYTHING, *, times: bool = True) -> Any:
            if self.held:
                raise OSError("the record is in use by another program")
            return super().tallies(by, only, times=times)

    record = Taken(RECORD)
    evening = Looking(record)
    async with evening.running() as pilot:
        record.held = True
        await press(pilot, "f11 2 3 4 5 6 1 down enter v escape s escape")
        screen_of(evening)
        record.held = False
        await press(pilot, "1 down")
        assert "everything" in screen_text(evening.app)
        record.held = True
        await press(pilot, "down 2 enter")
        screen_of(evening)


async def test_digits_and_tab_take_every_view() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f11")
        for index, view in enumerate(VIEWS):
            await press(pilot, str(index + 1))
            assert f"[{index + 1} {view.word}]" in screen_text(evening.app)
        await press(pilot, "tab")
        assert "[1 Roots]" in screen_text(evening.app)
        await press(pilot, "shift+tab")
        assert "[8 Steady]" in screen_text(evening.app)


async def test_a_curve_goes_back_to_where_it_was_asked_for() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f11 2 enter")
        assert "[3 Curve]" in screen_text(evening.app)
        assert "1 7, major 7, on C" in screen_text(evening.app)
        await press(pilot, "escape")
        assert "[2 Voicings]" in screen_text(evening.app)
        await press(pilot, "escape")
        assert isinstance(evening.app.screen, PracticeScreen)


# -- what is asked for


async def test_a_period_a_set_a_voicing_and_a_piano_narrow_what_is_shown() -> None:
    evening = Looking()
    async with evening.running((120, 40)) as pilot:
        await press(pilot, "f11")
        screen = screen_of(evening)
        for key, wanted in (
            ("d", Only(since="2026-03-04")),
            ("s", Only(since="2026-03-04", sets=(sorted({kind.set_title for kind in KINDS})[0],))),
        ):
            await press(pilot, f"{key} down enter")
            assert screen.only == wanted
        asked = [attempt for attempt in RECORD if screen.only.admits(attempt)]
        assert f" {len(asked)} " in screen_text(evening.app)
        await press(pilot, "s home enter v down enter p down down enter")
        assert (screen.only.sets, screen.only.voicings, screen.only.ports) == (
            (),
            ("1 7",),
            ("Upright [practice room]",),
        )
        assert "Upright [practice room]" in screen_text(evening.app)
        await press(pilot, "d escape")
        assert screen.only.since == "2026-03-04"


async def test_periods_end_today_and_count_today() -> None:
    assert NOW == datetime(2026, 3, 10, 20, 0, tzinfo=UTC)
    evening = Looking()
    async with evening.running() as pilot:
        for row, since in ((1, "2026-03-04"), (2, "2026-02-09"), (3, "2025-12-11"), (4, "2025-04-01"), (0, "")):
            await press(pilot, "f11")
            screen = screen_of(evening)
            await press(pilot, "d home " + "down " * row + "enter")
            assert (PERIODS[row][0] in screen_text(evening.app), screen.only.since) == (True, since)


async def test_a_click_takes_a_tab_a_row_a_cell_and_what_is_asked() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f11")
        text = screen_text(evening.app).split("\n")
        await pilot.click(offset=(text[1].index("2 Voicings"), 1))
        assert "[2 Voicings]" in screen_text(evening.app)
        lines = screen_text(evening.app).split("\n")
        row = next(y for y, line in enumerate(lines) if line.startswith("  7  1 ♭7"))
        column = next(line for line in lines if " B♭ " in line).index("B♭")
        await pilot.click(offset=(column, row))
        assert "1 ♭7, dominant 7, on B♭" in screen_text(evening.app)
        await pilot.click(offset=(column, row))
        assert "[3 Curve]" in screen_text(evening.app)
        await press(pilot, "escape 1")
        await pilot.click(offset=(2, next(y for y, line in enumerate(lines) if y > 12)))
        await pilot.click(offset=(3, 0))
        assert isinstance(evening.app.screen, Pick)


async def test_the_wheel_of_the_mouse_moves_the_choice() -> None:
    evening = Looking()
    async with evening.running() as pilot:
        await press(pilot, "f11")
        figures = screen_of(evening).figures
        figures._scroll(1)
        assert "▸ 1 7 " in screen_text(evening.app)


# -- what is drawn


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.__name__)
@settings(deadline=None, max_examples=40)
@given(width=st.integers(1, 140), height=st.integers(1, 45), moves=st.lists(st.sampled_from("udlrm"), max_size=8))
def test_a_view_fits_any_size(view: type[View], width: int, height: int, moves: list[str]) -> None:
    for source, passes in ((COUNTED, PASSES), (AttemptTallies([]), [])):
        one = view(source, NOW)
        if isinstance(one, TempoView | SteadyView):
            one.passes = lambda only, passes=passes: passes  # type: ignore[misc]
        one.ask(Only())
        for move in moves:
            if move == "m":
                one.more()
            else:
                one.move((move == "d") - (move == "u"), (move == "r") - (move == "l"))
            lines = one.lines(width, height)
            one.click(width // 2, height // 2)
            one.ask_all()
        lines = one.lines(width, height)[:height]
        assert lines
        for spans in lines:
            assert cell_len("".join(text for text, _ in line_of(spans, width))) == width


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.__name__)
def test_a_view_of_one_attempt_draws(view: type[View]) -> None:
    one = view(AttemptTallies(RECORD[:1]), NOW)
    one.ask(Only())
    text = "\n".join("".join(text for text, _ in spans) for spans in one.lines(80, 20))
    assert text.strip()


def everything_drawn(view: View, width: int = 110, height: int = 60) -> str:
    view.ask(Only())
    return "\n".join("".join(text for text, _ in spans) for spans in view.lines(width, height))


def test_the_roots_tell_the_records_figures() -> None:
    """Counted here by hand, attempt by attempt."""
    of_e_flat = [attempt for attempt in RECORD if attempt.root == "Eb"]
    right = sum(attempt.right_first_try for attempt in of_e_flat)
    text = everything_drawn(RootsView(COUNTED, NOW))
    roots, rights = (next(line for line in text.split("\n") if mark in line) for mark in ("E♭", "right "))
    assert rights[roots.index("E♭") - 2 :].split()[0] == f"{100 * right / len(of_e_flat):.0f}%"


def test_a_cell_of_the_table_tells_the_records_figures() -> None:
    view = TableView(COUNTED, NOW)
    view.ask(Only())
    view.move(1, 3)
    own = [a for a in RECORD if (a.voicing, a.quality, a.root) == ("1 b7", "7", "Eb")]
    told = " ".join("".join(text for text, _ in spans) for spans in view.lines(120, 30)[-3:])
    right = sum(attempt.right_first_try for attempt in own)
    assert f"1 ♭7, dominant 7, on E♭: {len(own)} tries, {right} right at first" in told


def test_every_measure_of_the_table_has_its_heading() -> None:
    view = TableView(COUNTED, NOW)
    headings = set()
    for _ in range(4):
        headings.add(everything_drawn(view).split("\n")[0])
        view.more()
    assert len(headings) == 4 and everything_drawn(view).split("\n")[0] in headings


def test_the_tempo_of_a_key_is_told_with_its_passes() -> None:
    view = TempoView(COUNTED, NOW, lambda only: PASSES)
    view.ask(Only())
    view.move(1, 0)
    text = "\n".join("".join(part for part, _ in spans) for spans in view.lines(100, 20))
    # Of "Two five one", C was played at 72 and 96, both clean (passes 0 and 12 of those invented).
    assert "Two five one in C: clean at 96, 1 of 1 pass there (21–100 %)" in text


def test_steadiness_is_told_by_voicing_and_by_move() -> None:
    view = SteadyView(COUNTED, NOW, lambda only: PASSES)
    text = everything_drawn(view)
    figures = in_time_by(PASSES, "move")["ii to V"]
    assert figures.offset is not None
    line = next(line for line in text.split("\n") if "ii to V" in line)
    assert f"{figures.offset.median:+.0f} ms" in line and f"{figures.scatter_ms:.0f} ms" in line


def test_states_are_told_by_signs_and_words_not_by_colour() -> None:
    view = LearnedView(COUNTED, NOW)
    text = everything_drawn(view)
    assert "● learned" in text and "○ practised" in text and "· not yet" in text
    told = text.split("\n")[-1]
    assert "learned" in told or "not yet right" in told
    assert "[●]" in text or "[○]" in text


def test_a_name_from_outside_is_data() -> None:
    nasty = "\x1b[31m[bold]C7[/] \u202e‮"
    attempts = [replace(one, set_title=nasty, voicing=nasty, port=nasty) for one in RECORD[:200]]
    for view in VIEWS:
        text = everything_drawn(view(AttemptTallies(attempts), NOW))
        drawn = "".join(text for line in text.split("\n") for text, _ in line_of([(line, "text")], 200))
        assert "\x1b" not in drawn and "\u202e" not in drawn
        if view in (RootsView, TableView):
            assert "[bold]C7[/]" in drawn


async def test_a_nasty_name_stands_on_the_screen_as_it_is() -> None:
    nasty = "[bold]C7[/] \x1b[2J"
    attempts = [replace(one, set_title=nasty, port=nasty) for one in RECORD[:100]]
    evening = Looking(AttemptTallies(attempts))
    async with evening.running((120, 40)) as pilot:
        await press(pilot, "f11 s")
        assert "[bold]C7[/] ␛[2J" in screen_text(evening.app)
        await press(pilot, "down enter p down enter")
        assert screen_text(evening.app).split("\n")[0].count("[bold]C7[/] ␛[2J") == 2


def test_a_curve_joins_days_for_one_root_and_not_for_everything() -> None:
    view = CurveView(COUNTED, NOW)
    view.ask(Only())
    days = {attempt.utc[:10] for attempt in RECORD}
    assert view.count == len(days)
    table = TableView(COUNTED, NOW)
    table.ask(Only())
    assert table.subject is not None
    view.show(table.subject)
    view.ask_all()
    joined = view.count
    view.more()
    view.ask_all()
    assert view.count > joined
    assert all(point.days == 1 for point in view.points)


def test_the_chosen_day_is_always_drawn() -> None:
    # More than two years of days: the latest ninety are asked for first, and more when the player goes back.
    many = [replace(RECORD[0], utc=f"20{year}-{month:02d}-{day:02d}T10:00:00.000Z", number=day)
            for year in (24, 25) for month in range(1, 13) for day in range(1, 29)]  # fmt: skip
    view = CurveView(AttemptTallies(many), NOW)
    view.ask(Only())
    while view.count < len(many):
        before = view.count
        view.move(-10_000, 0)
        view.move(-1, 0)
        view.ask_all()
        assert view.count > before or view.days < 400
    for at in (len(many) - 1, 0, 300, 299, 10, len(many) - 1):
        view.move(at - view.chosen, 0)
        for width in (30, 80, 120):
            text = "\n".join("".join(part for part, _ in spans) for spans in view.lines(width, 20))
            assert "▲" in text
            assert many[at].utc[:10] in text


def test_long_bars_and_names_keep_their_ends() -> None:
    assert bar([3, 1, 1], 5, 10) == "██████▒▒░░"
    assert bar([5], 5, 10) == "█" * 10
    assert squeezed("Minor sevenths from the seventh", 24) == "Minor sevenths … seventh"


def figures_of(attempts: list[Attempt]) -> str:
    from trainer.progress import figures

    return share_words(figures(attempts))


def test_the_list_of_roots_holds_every_voicing_set_and_cause() -> None:
    text = everything_drawn(RootsView(COUNTED, NOW))
    for kind in KINDS:
        assert kind.set_title in text
        own = [attempt for attempt in RECORD if attempt.set_title == kind.set_title]
        assert next(line for line in text.split("\n") if kind.set_title in line).count(figures_of(own)) == 1
    assert "one finger a half step off" in text
