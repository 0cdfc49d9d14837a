"""Any size, any colours, none at all: what matters can be read.

Contrast is that of the W3C's Web Content Accessibility Guidelines 2.1 (success criteria 1.4.3 and 1.4.6): 4.5 for
text, 7 where contrast is meant to be high. Sizes are those the project promises, 40×10 to 200×60.
"""

from __future__ import annotations

from itertools import product

import pytest
from rich.cells import cell_len
from test_form_screen import InTimeEvening, opened, play
from test_screens import SNAPSHOTS, Evening, screen_text
from test_screens_progress import Looking
from textual.color import Color

from trainer.screens.themes import THEMES


def fits(evening: Evening, size: tuple[int, int]) -> str:
    text = screen_text(evening.app)
    lines = text.removesuffix("\n").split("\n")
    assert len(lines) == size[1]
    assert all(cell_len(line) <= size[0] for line in lines)
    assert text.strip(), "something is shown"
    return text


@pytest.mark.parametrize(("size", "theme"), [((40, 10), "high contrast"), ((200, 60), "light")], ids=str)
async def test_every_screen_can_be_read_and_left_at_any_size(size: tuple[int, int], theme: str) -> None:
    evening = Looking()
    async with evening.running(size) as pilot:
        evening.app.use_theme(theme)
        await evening.miss(pilot)
        assert "9" in fits(evening, size)
        for key, words in (
            ("f1", "Help"),
            ("f8", "Choose a set"),
            ("f9", "computer's keyboard"),
            ("f11", ""),
            ("f12", ""),
        ):
            await pilot.press(key)
            await evening.settle(pilot)
            text = fits(evening, size)
            assert words in text
            assert "Esc" in text, f"how to leave {key}"
            await pilot.press("escape")
            assert evening.app.screen is evening.app.practice
        await pilot.press("f10")
        await evening.settle(pilot)
        fits(evening, size)


@pytest.mark.parametrize("size", [(40, 10), (200, 60)], ids=str)
async def test_a_form_in_time_can_be_read_at_any_size(size: tuple[int, int]) -> None:
    evening = InTimeEvening()
    async with evening.running(size) as pilot:
        screen = await opened(evening, pilot)
        await play(evening, screen, [0, None, 10, 20])
        await evening.beats(screen, 8, pilot)
        await evening.settle(pilot)
        text = fits(evening, size)
        assert "3 of 4 right" in text
        assert "✓" in text and "–" in text


async def test_a_screen_that_is_made_smaller_and_larger_again_looks_as_before() -> None:
    evening = Evening()
    async with evening.running((80, 24)) as pilot:
        before = screen_text(evening.app)
        for size in ((40, 10), (200, 60), (20, 3), (80, 24)):
            await pilot.resize_terminal(*size)
            await evening.settle(pilot)
            fits(evening, size)
        assert screen_text(evening.app) == before


async def test_without_colour_the_screen_says_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    evening = Evening()
    async with evening.running() as pilot:
        await pilot.press("f7")
        await evening.miss(pilot)
        assert screen_text(evening.app) == (SNAPSHOTS / "a_miss_with_the_keyboard_drawn-80x24.txt").read_text("utf-8")
        drawn = [
            segment.style
            for strip in evening.app.screen._compositor.render_strips()
            for segment in strip
            if segment.style
        ]
        assert drawn
        for style in drawn:
            for colour in (style.color, style.bgcolor):
                if colour is not None and colour.triplet is not None:
                    assert colour.triplet.red == colour.triplet.green == colour.triplet.blue


def contrast(one: str, other: str) -> float:
    """The ratio of the guidelines: (lighter + 0.05) / (darker + 0.05) of relative luminance."""

    def luminance(text: str) -> float:
        def linear(value: int) -> float:
            share = value / 255
            return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

        colour = Color.parse(text)
        return 0.2126 * linear(colour.r) + 0.7152 * linear(colour.g) + 0.0722 * linear(colour.b)

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_is_that_of_the_guidelines() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # the guidelines' own well-known near miss


@pytest.mark.parametrize(
    ("theme", "part"),
    list(product(THEMES, ("foreground", "primary", "secondary", "success", "warning", "error", "accent"))),
    ids=lambda each: each if isinstance(each, str) else each.name,
)
def test_every_colour_of_a_theme_stands_out_from_its_ground(theme: object, part: str) -> None:
    least = 7.0 if theme.name == "high contrast" else 4.5  # type: ignore[attr-defined]
    assert contrast(getattr(theme, part), theme.background) >= least  # type: ignore[attr-defined]
