"""The report as a browser shows and prints it: no errors, no requests, at every width, by keyboard, in black and white.

A skip for want of a browser fails where TRAINER_REQUIRE_BROWSER=1 (see `browser.required`).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from test_sheets_reports import NASTY, PAPERS_MM, REPORT, assert_inked, drawn, nasty_report, size_mm

from trainer.sheets.documents import Document, Figure
from trainer.sheets.web_pages import web_page

pytest.importorskip("fcntl", reason="the browser is spoken to over file descriptors, which Windows does not hand on")
from browser import Browser, Page, required  # noqa: E402

WIDTHS = (360, 800, 1280)


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    with Browser(required()) as browser:
        yield browser.page()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("reports")


def written(folder: Path, document: Document, name: str = "report.html") -> str:
    path = folder / name
    path.write_text(web_page(document), encoding="utf-8")
    return path.as_uri()


@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_the_window_and_asks_for_nothing(page: Page, folder: Path, width: int) -> None:
    address = written(folder, REPORT)
    page.open(address, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("document.title") == "Practice report, Player: Alma Quint"
    assert page.requests == [address]
    assert page.troubles == []
    # Everything that is wider than its box lies in one that scrolls.
    out = """[...document.querySelectorAll('body *')].filter(each => {
        const box = each.getBoundingClientRect();
        return box.right > innerWidth + 1 && !each.closest('.wide') && !each.closest('.skip');
    }).length"""
    assert page.evaluate(out) == 0


def test_letters_keep_a_readable_size_in_a_narrow_window(page: Page, folder: Path) -> None:
    page.open(written(folder, REPORT), 360)
    sizes = page.evaluate("[...document.querySelectorAll('svg text')].map(each => each.getBoundingClientRect().height)")
    assert min(sizes) >= 9


def test_every_link_leads_to_its_section(page: Page, folder: Path) -> None:
    page.open(written(folder, REPORT))
    assert page.evaluate("[...document.querySelectorAll('nav a')].length") == len(REPORT.sections)
    missing = "[...document.querySelectorAll('a')].filter(a => !document.querySelector(a.getAttribute('href'))).length"
    assert page.evaluate(missing) == 0
    page.evaluate("document.querySelector('nav a[href=\"#method\"]').click()")
    assert page.evaluate("location.hash") == "#method"


def test_the_keyboard_reaches_the_content_and_opens_the_tables(page: Page, folder: Path) -> None:
    page.open(written(folder, REPORT))
    page.press("Tab", 9)
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.evaluate("document.querySelector('summary').focus()")
    page.press("Enter", 13)
    assert page.evaluate("document.querySelector('details').open") is True
    assert page.evaluate("document.querySelector('details table').getBoundingClientRect().height") > 50


def test_a_screen_reader_meets_landmarks_headings_figures_and_tables(page: Page, folder: Path) -> None:
    page.open(written(folder, REPORT))
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    nodes = list(page.nodes())
    roles = [role for role, _ in nodes]
    assert roles.count("main") == roles.count("navigation") == roles.count("banner") == 1
    headings = [name for role, name in nodes if role == "heading"]
    assert headings == ["Practice report", *(section.heading for section in REPORT.sections)]
    figures = [block for section in REPORT.sections for block in section.blocks if isinstance(block, Figure)]
    pictures = [name for role, name in nodes if role in ("image", "img")]
    assert len(pictures) == len(figures)
    for figure, name in zip(figures, pictures, strict=True):
        assert name.startswith(figure.title) and figure.description in name
    assert all(name for role, name in nodes if role in ("table", "region", "navigation"))
    assert roles.count("columnheader") > 0 and roles.count("rowheader") > 0


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_it_prints_in_black_and_white_with_ink_on_every_page(page: Page, folder: Path, paper: str) -> None:
    page.open(written(folder, REPORT))
    pages = drawn(page.printed(*PAPERS_MM[paper]))
    assert 3 <= len(pages) <= 9
    for printed in pages:
        assert size_mm(printed) == pytest.approx(PAPERS_MM[paper], abs=0.8)
        assert_inked(printed, margin_mm=12)
        colours = printed.reshape(-1, printed.shape[2])[:, :3]
        assert (colours.max(axis=1) == colours.min(axis=1)).all(), "something is told by colour"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_ink_and_paper_differ_enough_in_light_and_dark(page: Page, folder: Path, scheme: str) -> None:
    """At least 7 to 1: WCAG 2.2, 1.4.6; relative luminance as defined there."""
    page.open(written(folder, REPORT), media={"prefers-color-scheme": scheme})
    colours = [page.evaluate(f"getComputedStyle(document.body).{name}") for name in ("color", "backgroundColor")]
    lighter, darker = sorted((luminance(colour) for colour in colours), reverse=True)
    assert (lighter + 0.05) / (darker + 0.05) >= 7


def luminance(colour: str) -> float:
    parts = [int(part) / 255 for part in colour.removeprefix("rgb(").removesuffix(")").split(",")]
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_names_from_outside_stand_there_as_text_and_do_nothing(page: Page, folder: Path) -> None:
    page.open(written(folder, nasty_report(), "nasty.html"), 360)
    assert page.troubles == []
    assert len(page.requests) == 1
    assert page.evaluate("document.querySelectorAll('script, img, iframe, b').length") == 0
    assert page.evaluate("window.reached") is None
    text = page.evaluate("document.body.textContent")
    for name in NASTY:
        assert name.split("\n")[0].split("\u202e")[0].split("\x1b")[0].strip() in text
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_an_empty_period_is_a_page_as_well(page: Page, folder: Path) -> None:
    from trainer.progress import AttemptTallies
    from trainer.sheets.reports import Asked, report

    page.open(written(folder, report(AttemptTallies([]), [], {}, Asked(date(2026, 4, 1))), "empty.html"))
    assert "Nothing was played" in page.evaluate("document.body.textContent")
    assert page.troubles == []
