"""Engraved pages: ink on each of them, nothing off the page, the same everywhere; and the command that prints them.

From outside: PDFium draws the PDF files (pypdfium2), lxml reads the pictures. The engraving libraries are the extra
``print``; without them these tests are skipped, or fail where TRAINER_REQUIRE_PRINT=1 says that they must be there.
"""

from __future__ import annotations

import importlib.util
import os
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from trainer.__main__ import main
from trainer.charts import form_chart, read_chart
from trainer.drills import DrillSet, lesson_of, read
from trainer.pitch import Note
from trainer.sheets.from_lessons import of_lessons
from trainer.sheets.from_sets import of_set
from trainer.sheets.scores import Sheet
from trainer.sheets.vectors import Page, Shape, box_of, svg

missing = [name for name in ("verovio", "fontTools", "brotli") if importlib.util.find_spec(name) is None]
if missing and os.environ.get("TRAINER_REQUIRE_PRINT") == "1":
    pytest.fail(f"TRAINER_REQUIRE_PRINT=1, and {', '.join(missing)} cannot be imported", pytrace=False)
engraved = pytest.mark.skipif(bool(missing), reason=f"the extra print is not installed: {', '.join(missing)}")

DRILLS = Path(__file__).parents[1] / "drills"
SETS = sorted(DRILLS.glob("[0-9]*.toml"))
MARGIN_UNITS = 1_000
"""A centimetre: printers leave less than that white."""


def _set(text: str) -> DrillSet:
    drill_set, faults = read(text, "set.toml")
    assert faults == () and drill_set is not None
    return drill_set


def _shipped(number: int) -> DrillSet:
    return _set(SETS[number - 1].read_text("utf-8"))


def _drill(chord: str, voicing: str, more: str = "", title: str = "A set") -> DrillSet:
    return _set(f'title = "{title}"\n[[drill]]\nchord = "{chord}"\nvoicing = "{voicing}"\n{more}\n')


def _pages(sheet: Sheet, paper: str = "A4") -> tuple[Page, ...]:
    from trainer.sheets.layout import pages

    return pages(sheet, paper)


def _form(name: str, keys: int = 1) -> Sheet:
    return of_lessons(lesson_of(form_chart(name)).in_twelve_keys()[:keys])


def _inked(pages: tuple[Page, ...]) -> list[float]:
    """The share of each page that is not white, as PDFium draws it; and that the file has as many pages."""
    import pypdfium2

    from trainer.sheets.pdf import pdf

    document = pypdfium2.PdfDocument(pdf(pages))
    assert len(document) == len(pages)
    found = []
    for number, page in enumerate(pages):
        drawn = document[number]
        size = drawn.get_size()
        assert size == pytest.approx((page.width / 2540 * 72, page.height / 2540 * 72), abs=0.01)
        grey = drawn.render(scale=0.5, grayscale=True).to_numpy()
        found.append(float((grey < 200).mean()))
    document.close()
    return found


def _inside(page: Page) -> None:
    left, top, right, bottom = box_of(page.shapes)
    assert left >= MARGIN_UNITS and top >= MARGIN_UNITS
    assert right <= page.width - MARGIN_UNITS and bottom <= page.height - MARGIN_UNITS


# -- pages


@engraved
@pytest.mark.parametrize(
    ("number", "count"),
    # Looked at, once, page by page: look at the sheet itself before you change a number.
    [(1, 1), (5, 1), (7, 1), (11, 1), (16, 2), (19, 2)],
)
def test_every_page_of_a_set_has_ink_and_all_of_it_lies_on_the_page(number: int, count: int) -> None:
    pages = _pages(of_set(_shipped(number)))
    assert len(pages) == count
    for page in pages:
        _inside(page)
    assert all(0.005 < share < 0.3 for share in _inked(pages))


@engraved
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("chord", "voicing"),
    [
        ("m7", "shell, root and seventh"),
        ("7", "rootless from the third"),
        ("maj7", "drop 2, second inversion"),
        ("m7", "two-hand spread, root and seventh below four"),
        ("m7", "quartal, four fourths"),
        ("7", "upper-structure triad, bVI"),
    ],
)
def test_twelve_roots_of_any_family_are_on_one_page(chord: str, voicing: str, paper: str) -> None:
    (page,) = _pages(of_set(_drill(chord, voicing)), paper)
    _inside(page)


@engraved
def test_twelve_roots_are_made_smaller_before_they_are_parted() -> None:
    wide = "1 5 | 9 b3 5 b7 9 11"
    (page,) = _pages(of_set(_drill("m7", wide, 'highest = "C8"\nreach_semitones = 24')))
    _inside(page)


@engraved
@pytest.mark.parametrize("name", ["AABA, dominants in the bridge", "jazz blues"])
def test_a_long_form_goes_on_over_the_page(name: str) -> None:
    pages = _pages(_form(name, keys=4))
    assert len(pages) >= 2
    for page in pages:
        _inside(page)
    assert all(share > 0.005 for share in _inked(pages))


@engraved
def test_systems_do_not_overlap() -> None:
    from trainer.sheets.engraving import systems

    block = _form("AABA, dominants in the bridge").blocks[0]
    lines = systems(block, 18_000)
    assert len(lines) == 8
    (page, *_) = _pages(_form("AABA, dominants in the bridge"))
    tops = []
    down = 0.0
    for line in lines:
        assert line.box[1] == pytest.approx(0)
        assert line.box[2] <= 18_000 + 50
        tops.append((down, down + line.height))
        down += line.height + 1
    assert all(first[1] < second[0] for first, second in pairwise(tops))
    _inside(page)


@engraved
def test_a_tune_with_melody_repeats_endings_and_other_times_is_drawn() -> None:
    text = """title: An invented one
key: Bb
time: 3/4

      | Bb6     |: Cm7      F7 / |1. Dm7 :|2. G7 |
~     | D5 _ F5 | Eb5 D5 C5      | F5 _ . | B4 . . |
[B]   | 6/8 Cm7           | 4/4 F7       | Bb6 |
~     | C5 _ D5 Eb5 _ _   | F5 Eb5 D5 C5 A4 _ C5 _ | Bb4 |
"""
    pages = _pages(of_lessons([lesson_of(read_chart(text))]))
    assert len(pages) == 1
    _inside(pages[0])
    assert _inked(pages)[0] > 0.01


@engraved
def test_a_line_with_more_notes_than_fit_on_it_is_made_smaller() -> None:
    bar = " ".join("D5 Eb5 F5 Gb5 Ab4 B4 C#5 D5".split() * 2)
    text = f"key: B\n\n  | C#m7 F#7 Bmaj7 A#7alt | C#m7 | F#7 | Bmaj7 |\n~ | {bar} | {bar} | {bar} | {bar} |\n"
    (page,) = _pages(of_lessons([lesson_of(read_chart(text))]))
    _inside(page)


@engraved
@pytest.mark.parametrize("sign", ["♭", "♯"])
def test_the_accidental_of_a_chord_symbol_is_drawn(sign: str) -> None:
    from trainer.sheets.engraving import systems
    from trainer.sheets.outlines import glyph

    root = {"♭": "Eb", "♯": "F#"}[sign]
    (line,) = systems(of_set(_drill("m7", "1 b7"), root=Note.parse(root)).blocks[0], 18_000)
    outline = glyph(sign, "bold").shape
    assert outline is not None
    wanted = _form_of(outline)
    # Largest first: those of the symbol are bold text and larger than those of the degrees below.
    alike = [shape for shape in line.shapes if _form_of(shape) == wanted]
    assert any(shape.box[3] < 1_000 for shape in alike)


def _form_of(shape: Shape) -> tuple[tuple[float, float], ...]:
    """Where the points of an outline lie in its own box."""
    left, top, right, bottom = shape.box
    return tuple(
        (round((x - left) / (right - left), 2), round((y - top) / (bottom - top), 2))
        for _, points in shape.segments
        for x, y in points
    )


@engraved
def test_the_same_sheet_gives_the_same_bytes() -> None:
    from trainer.sheets.pdf import pdf

    made = [_pages(of_set(_shipped(7))) for _ in "ab"]
    assert pdf(made[0]) == pdf(made[1])
    assert svg(made[0][0]) == svg(made[1][0])


@engraved
def test_a_picture_needs_nothing_from_outside() -> None:
    picture = etree.fromstring(svg(_pages(of_set(_shipped(7)))[0]).encode())
    tags = {element.tag.split("}")[1] for element in picture.iter()}
    assert tags == {"svg", "title", "desc", "path"}
    assert picture.findtext("{*}title") == "Minor sevenths, low rung on the third"


@engraved
@pytest.mark.parametrize(
    "title", ["<script>alert(1)</script>", "C7[b9] & \\(Tj ET) Tj", "\u202e\x1b]0;x\x07", "x" * 3000, "名 ♭ Ж é", ""]
)
def test_a_title_of_any_kind_does_no_harm_on_a_page(title: str) -> None:
    import pypdfium2

    from trainer.sheets.pdf import pdf

    sheet = replace(of_set(_drill("m7", "1 b7"), root=Note.parse("C")), title=title)
    pages = _pages(sheet)
    etree.fromstring(svg(pages[0]).encode())
    for page in pages:
        _inside(page)
    document = pypdfium2.PdfDocument(pdf(pages))
    words = document[0].get_textpage().get_text_bounded()
    assert "\x1b" not in words and "\u202e" not in words
    if title.startswith("C7"):
        assert words.startswith("C7[b9] & \\(Tj ET) Tj")
    document.close()


def test_a_number_is_written_short_and_a_line_as_wide_as_it_is() -> None:
    line = Shape.of((("M", ((0.0, 1.25),)), ("L", ((10.0, 1.25),))), 0.5)
    assert line.box == (-0.25, 1.0, 10.25, 1.5)
    assert 'd="M0 1.2L10 1.2"' in svg(Page(100, 100, (line,)))
    assert line.moved(1, 1, 2).box == (0.5, 3.0, 21.5, 4.0)


# -- the command


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@engraved
def test_a_set_a_lesson_a_chart_and_a_form_are_printed_by_name(folder: Path) -> None:
    for name, file in (
        ("guide tones", "guide-tones.pdf"),
        ("kettle", "the-kettle-takes-its-time-the-left-hand.pdf"),
        ("ii-V-I", "ii-v-i.pdf"),
        (str(DRILLS / "demo-the-kettle-takes-its-time.chart"), "demo-the-kettle-takes-its-time.pdf"),
    ):
        assert main(["sheet", name]) == 0
        assert (folder / file).read_bytes().startswith(b"%PDF-1.")


@engraved
def test_pictures_of_several_pages_are_numbered(folder: Path) -> None:
    assert main(["sheet", "AABA, dominants in the bridge", "--output", "form.svg"]) == 0
    names = {path.name for path in folder.glob("*.svg")}
    assert names == {"form-1.svg", "form-2.svg"}


def test_music_for_other_programs_is_plain_or_compressed(folder: Path) -> None:
    import zipfile

    assert main(["sheet", "guide tones", "--output", "a.musicxml", "--key", "Eb"]) == 0
    assert main(["sheet", "guide tones", "--output", "a.mxl", "--key", "Eb"]) == 0
    with zipfile.ZipFile(folder / "a.mxl") as archive:
        packed = archive.read(next(name for name in archive.namelist() if not name.startswith("META-INF")))
    assert packed == (folder / "a.musicxml").read_bytes()


def test_nothing_is_overwritten_unless_it_is_asked_for(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "a.musicxml").write_text("mine", encoding="utf-8")
    assert main(["sheet", "guide tones", "--output", "a.musicxml"]) == 3
    assert "is there already" in capsys.readouterr().err
    assert (folder / "a.musicxml").read_text("utf-8") == "mine"
    assert main(["sheet", "guide tones", "--output", "a.musicxml", "--replace"]) == 0


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["guide tones", "--output", "a.docx"], 2, ".pdf, .svg, .musicxml, .mxl"),
        (["guide tones", "--key", "H"], 2, "is not a note"),
        (["kettle", "--key", "H"], 2, "is not a note"),
        (["no such thing at all"], 3, "is neither a file nor a drill set"),
        (["guide tones", "--output", "a-file/below.musicxml"], 3, "a-file"),
    ],
)
def test_what_cannot_be_printed_is_refused_in_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, says: str
) -> None:
    (folder / "a-file").write_text("", encoding="utf-8")
    assert main(["sheet", *arguments]) == code
    error = capsys.readouterr().err
    assert says in error and error.count("\n") == 1
    assert not list(folder.glob("*.musicxml"))


def test_without_the_engraving_library_the_remedy_is_named_and_music_is_written_all_the_same(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, package=None: None)
    assert main(["sheet", "guide tones"]) == 3
    assert "pip install '.[print]'" in capsys.readouterr().err
    assert main(["sheet", "guide tones", "--output", "a.musicxml"]) == 0


def test_more_bars_than_anybody_prints_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bars = "".join("| Dm7 | G7 | Cmaj7 | C6 |\n" for _ in range(80))
    (folder / "long.chart").write_text(f"key: C\n\n{bars}", encoding="utf-8")
    assert main(["sheet", "long.chart", "--all-keys", "--output", "long.musicxml"]) == 3
    assert "name one key" in capsys.readouterr().err


@engraved
def test_beats_of_a_quarter_note_are_fractions_all_the_way() -> None:
    block = _form("iii-VI-ii-V").blocks[0]
    assert [start for start, _ in block.bars[0].symbols] == [Fraction(0), Fraction(2)]
