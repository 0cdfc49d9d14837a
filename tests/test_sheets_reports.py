"""The report of practice: it says what the record holds, every text from outside is data, every page has ink."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from invented import invented_record
from lxml import etree
from scipy import stats
from test_sheets_pages import engraved
from test_storage_passes import TWO_FIVE_ONE

from trainer.__main__ import main
from trainer.grading import CAUSES
from trainer.progress import Attempt, AttemptTallies, Only, Remembered, progress, roots, tempo_table
from trainer.progress.practice import LONGEST_PAUSE_S, practice_seconds
from trainer.progress.words import WORK_ON
from trainer.sheets.documents import Document, Figure, Points, Table
from trainer.sheets.drawings import Drawing, Label, clean, svg_element
from trainer.sheets.pdf import pdf
from trainer.sheets.report_figures import roots_figure, tempo_figure
from trainer.sheets.reports import Asked, report, right_words, time_words
from trainer.sheets.web_pages import web_page
from trainer.storage.records import Records
from trainer.timing import PassRecord

RECORD = tuple(invented_record(days=48, a_day=28))
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
MARCH = Asked(date(2026, 4, 1), "Alma Quint", date(2026, 3, 1), date(2026, 3, 31))
IN_MARCH = tuple(attempt for attempt in RECORD if attempt.utc.startswith("2026-03"))


def some_passes() -> list[PassRecord]:
    slot = TWO_FIVE_ONE.slots[0]
    passes = []
    for number in range(20):
        slots = tuple(
            replace(slot, index=at, error_ms=-12.0 + 9 * ((number + at) % 5), move="" if at == 0 else "ii to V")
            for at in range(4)
        )
        key = ("C", "F", "Bb", "F#")[number % 4]
        passes.append(
            replace(
                TWO_FIVE_ONE,
                number=number,
                utc=f"2026-03-{1 + number:02d}T19:00:00.000Z",
                key=key,
                section="",
                tempo_bpm=60.0 + 4 * number,
                clean=key != "F#",
                slots=slots,
            )
        )
    return passes


PASSES = some_passes()
SOURCE = Remembered(AttemptTallies(RECORD))


def march(source: Any = SOURCE, passes: Iterable[PassRecord] = PASSES, asked: Asked = MARCH) -> Document:
    seconds = practice_seconds(((one.session, one.utc) for one in IN_MARCH), passes)
    return report(source, list(passes), seconds, asked)


REPORT = march()

NASTY = (
    "<script>window.reached = 1</script>",
    "<img src=x onerror='window.reached = 2'>",
    "&lt;b&gt; \"quoted\" 'single'",
    "\u202eturned round",
    "\x1b[31mred\nand a line",
    "]]><b>",
    "x" * 300,
    "שלום עולם",
)


def nasty_report() -> Document:
    attempts = [
        replace(one, set_title=NASTY[at % len(NASTY)], voicing=NASTY[at % len(NASTY)], port=NASTY[0])
        for at, one in enumerate(RECORD[:400])
    ]
    passes = [replace(one, title=NASTY[at % len(NASTY)]) for at, one in enumerate(PASSES)]
    asked = Asked(date(2026, 4, 1), NASTY[1], sets=NASTY)
    return report(AttemptTallies(attempts), passes, {}, asked)


def section(document: Document, name: str) -> Any:
    return next(each for each in document.sections if each.name == name)


def words(document: Document, name: str) -> str:
    return " ".join(
        f"{lead} {text}"
        for block in section(document, name).blocks
        if isinstance(block, Points)
        for lead, text in block.points
    )


# -- what it says


def test_it_tells_days_answers_and_accuracy_of_its_period() -> None:
    told = words(REPORT, "in-short")
    days = {attempt.utc[:10] for attempt in IN_MARCH} | {record.utc[:10] for record in PASSES}
    right = sum(attempt.right_first_try for attempt in IN_MARCH)
    interval = stats.binomtest(right, len(IN_MARCH)).proportion_ci(method="wilson")
    assert f"{len(days)} days" in told
    assert f"{len(IN_MARCH):,} prompts answered, {right:,} right at the first try" in told
    assert f"({100 * interval.low:.0f}–{100 * interval.high:.0f})" in told
    assert f"20 passes through forms, {sum(record.clean for record in PASSES)} of them clean" in told


def test_what_is_learned_is_told_as_it_stood_at_the_periods_end_and_what_is_new() -> None:
    until_april = progress(one for one in RECORD if one.utc < "2026-04")
    until_march = progress(one for one in RECORD if one.utc < "2026-03")
    new = set(until_april.learned) - set(until_march.learned)
    lost = set(until_march.learned) - set(until_april.learned)
    told = words(REPORT, "in-short")
    assert f"{len(until_april.learned)} voicings on their roots" in told
    assert f"New in this period: {len(new)}" in told and f"won back: {len(lost)}" in told


def test_the_table_behind_the_roots_holds_the_records_figures() -> None:
    figure = next(block for block in section(REPORT, "roots").blocks if isinstance(block, Figure))
    rows = roots(SOURCE, MARCH.only)
    assert [row[0] for row in figure.table.rows] == "C F B♭ E♭ A♭ D♭ G♭ B E A D G".split()
    for cells, row in zip(figure.table.rows, rows, strict=True):
        assert cells[1:5] == (str(row.attempts), str(row.right), right_words(row), time_words(row))
        assert cells[3] in figure.description


def test_what_to_work_on_names_cause_place_and_remedy() -> None:
    told = words(REPORT, "work-on")
    wrong = [one for one in IN_MARCH if not one.right_first_try and one.tries[0].cause == "half_step"]
    most = max({one.root for one in wrong}, key=lambda root: sum(one.root == root for one in wrong))
    assert told.startswith("One finger a half step off ")
    assert f"{len(wrong)} times in {len(IN_MARCH)} first tries" in told
    assert sum(one.root == most for one in wrong) >= 1 and "Most on " in told
    assert WORK_ON["half_step"] in told


def test_every_cause_has_a_remedy() -> None:
    assert set(WORK_ON) == set(CAUSES)


def test_tempo_and_steadiness_are_told_by_key_voicing_and_move() -> None:
    figure, by_voicing, by_move, _ = section(REPORT, "in-time").blocks
    assert isinstance(figure, Figure) and isinstance(by_voicing, Table) and isinstance(by_move, Table)
    assert [row[0] for row in figure.table.rows] == ["C", "F", "B♭", "G♭"]
    assert figure.table.rows[-1][1:] == ("–", "–", "0 of 5")
    assert by_move.rows[0][:2] == ("ii to V", "60")
    offsets = [slot.error_ms for record in PASSES for slot in record.slots]
    middle = stats.quantile_test(offsets, q=0, p=0.5).confidence_interval(0.95)
    assert f"({middle.low:+.0f} to {middle.high:+.0f})" in by_voicing.rows[0][3]


def test_nothing_played_is_a_report_as_well() -> None:
    empty = report(AttemptTallies([]), [], {}, Asked(date(2026, 4, 1)))
    assert [each.name for each in empty.sections] == ["in-short", "method"]
    assert "Nothing was played" in web_page(empty)


def test_a_single_answer_is_a_report_without_times() -> None:
    one = report(AttemptTallies(IN_MARCH[:1]), [], {}, MARCH)
    assert "not enough yet" in words(one, "in-short")
    assert "Slow roots" in web_page(one)


@pytest.mark.parametrize(
    ("asked", "period", "only"),
    [
        (Asked(date(2026, 4, 1)), "Everything up to 2026-04-01", Only()),
        (MARCH, "2026-03-01 to 2026-03-31", Only(since="2026-03-01", until="2026-04-01")),
        (Asked(date(2026, 4, 1), since=date(2026, 3, 9)), "From 2026-03-09 on", Only(since="2026-03-09")),
        (Asked(date(2026, 4, 1), until=date(2026, 3, 9)), "Up to 2026-03-09", Only(until="2026-03-10")),
    ],
)
def test_a_period_includes_both_its_days(asked: Asked, period: str, only: Only) -> None:
    assert (asked.period, asked.only) == (period, only)


# -- minutes


def test_long_pauses_count_one_minute_and_sessions_are_apart() -> None:
    answers = [("a", f"2026-03-01T10:0{minute}:00Z") for minute in (0, 1, 5)]
    assert practice_seconds([*answers, ("b", "2026-03-01T10:05:10Z")]) == {"2026-03-01": 60 + LONGEST_PAUSE_S}


def test_a_pass_counts_with_its_beats_at_its_tempo() -> None:
    # 16 beats at 80 a minute last 12 seconds.
    assert practice_seconds([], [TWO_FIVE_ONE]) == {"2026-03-02": 12.0}


def test_times_that_cannot_be_read_or_run_backwards_count_nothing() -> None:
    answers = [("a", "2026-03-01T10:00:00Z"), ("a", "when?"), ("a", "2026-03-01T09:00:00Z"), ("a", "2026-03-01")]
    assert sum(practice_seconds(answers).values()) == 0
    assert practice_seconds([]) == {}


# -- as HTML


def parsed(document: Document) -> Any:
    return etree.HTML(web_page(document))


def test_every_figure_has_title_description_and_a_table_behind_it() -> None:
    page = parsed(REPORT)
    figures = page.findall(".//figure")
    assert len(figures) > 8
    for figure in figures:
        drawn = figure.find(".//svg")
        title, description = drawn.find("title"), drawn.find("desc")
        assert drawn.get("role") == "img"
        assert drawn.get("aria-labelledby").split() == [title.get("id"), description.get("id")]
        assert title.text and description.text
        table = figure.find(".//details//table")
        assert table.find("caption").text
        assert {head.get("scope") for head in table.find("thead").iter("th")} == {"col"}
        assert all(row.find("th").get("scope") == "row" for row in table.find("tbody").iter("tr"))


def test_ids_are_unique_and_labels_point_at_them() -> None:
    page = parsed(REPORT)
    ids = [each.get("id") for each in page.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    for each in page.iter():
        for name in (each.get("aria-labelledby") or "").split():
            assert name in ids


def test_headings_go_down_one_step_at_a_time() -> None:
    levels = [int(each.tag[1]) for each in parsed(REPORT).iter("h1", "h2", "h3", "h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in zip(levels, levels[1:], strict=False))


def test_nothing_in_it_is_fetched_and_no_script_runs() -> None:
    text = web_page(REPORT)
    assert not re.search(r"https?:|//[a-z]|src=|url\(|@import|<script|<link|\son\w+=", text)
    assert "default-src 'none'" in text


def test_every_text_from_outside_is_escaped_and_its_controls_are_shown() -> None:
    text = web_page(nasty_report())
    assert "<script" not in text and "<img" not in text and "<b>" not in text
    assert "&lt;script&gt;" in text
    assert not set("\x1b\u202e") & set(text)
    page = etree.HTML(text)
    assert "<img src=x onerror='window.reached = 2'>" in page.find(".//header").xpath("string()")


def test_the_same_record_gives_the_same_page() -> None:
    assert web_page(march()) == web_page(REPORT)


def test_labels_of_drawings_are_data() -> None:
    drawing = Drawing(10, 10, (Label(0, 0, "<b>\x1b"),))
    text = svg_element(drawing, "x", "<t>", '"d"')
    assert "<b>" not in text and "<t>" not in text and "\x1b" not in text
    assert etree.fromstring(text.encode()) is not None


def test_a_key_without_a_clean_pass_has_a_dash() -> None:
    (row,) = tempo_table(PASSES)
    labels = [mark.text for mark in tempo_figure(row).marks if isinstance(mark, Label)]
    assert labels.count("–") == 1
    assert max(int(text) for text in labels if text.isdigit()) == 132  # the latest clean pass: 60 + 4 x 18


def test_a_drawing_stays_within_its_field() -> None:
    for drawing in (
        roots_figure(roots(SOURCE)),
        *[block.drawing for each in REPORT.sections for block in each.blocks if isinstance(block, Figure)],
    ):
        for mark in drawing.marks:
            assert -1 <= mark.y <= drawing.height + 1
            assert -1 <= mark.x <= drawing.width + 1


# -- as PDF


DOTS_PER_MM = 2.0
POINTS_PER_MM = 72 / 25.4


def drawn(data: bytes) -> list[Any]:
    """The pages of a PDF file as PDFium draws them: arrays of rows of dots of red, green and blue."""
    import pypdfium2

    document = pypdfium2.PdfDocument(data)
    scale = DOTS_PER_MM / POINTS_PER_MM
    pages = [document[number].render(scale=scale).to_numpy().copy() for number in range(len(document))]
    document.close()
    return pages


def assert_inked(page: Any, margin_mm: float) -> None:
    """There is ink, and none nearer to an edge than the margin."""
    inked = page.min(axis=2) < 200
    down, across = inked.any(axis=1).nonzero()[0], inked.any(axis=0).nonzero()[0]
    assert len(down), "a page without ink"
    margin = margin_mm * DOTS_PER_MM
    assert down[0] >= margin and across[0] >= margin
    assert down[-1] <= page.shape[0] - margin and across[-1] <= page.shape[1] - margin


def size_mm(page: Any) -> tuple[float, float]:
    return page.shape[1] / DOTS_PER_MM, page.shape[0] / DOTS_PER_MM


def as_pdf(document: Document, paper: str = "A4") -> bytes:
    from trainer.sheets.report_pages import document_pages

    return pdf(document_pages(document, paper))


@engraved
@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("made", [REPORT, nasty_report()], ids=["march", "nasty"])
def test_every_page_has_ink_and_keeps_its_margins(made: Document, paper: str) -> None:
    pages = drawn(as_pdf(made, paper))
    assert len(pages) >= 4
    for page in pages:
        assert size_mm(page) == pytest.approx(PAPERS_MM[paper], abs=0.6)
        assert_inked(page, margin_mm=12)


@engraved
def test_its_words_can_be_searched() -> None:
    import pypdfium2

    document = pypdfium2.PdfDocument(as_pdf(REPORT))
    text = " ".join(" ".join(page.get_textpage().get_text_bounded().split()) for page in document)
    document.close()
    for said in ("Alma Quint", "What to work on next", "one finger a half step off", "Times are this player's own"):
        assert said in text


@engraved
def test_a_heading_never_stands_alone_at_the_foot_of_a_page() -> None:
    from trainer.sheets.report_pages import document_pages

    headings = {each.heading for each in REPORT.sections}
    for page in document_pages(REPORT):
        assert page.says.split("  ")[-1] not in headings
        assert not any(page.says.rstrip().endswith(heading) for heading in headings)


@engraved
def test_long_words_are_cut_to_the_line() -> None:
    from trainer.sheets.outlines import width_of
    from trainer.sheets.report_pages import lines_of

    lines = lines_of(f"a {'x' * 400} b", 300, "regular", 3000)
    assert "".join(lines).replace(" ", "") == f"a{'x' * 400}b"
    assert all(width_of(line, 300) <= 3000 for line in lines)
    assert lines_of("", 300, "regular", 3000) == [""]


# -- from the command line


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    keep(path, RECORD[-300:])
    return path


def keep(path: Path, attempts: Iterable[Attempt]) -> None:
    with Records.open(path) as records:
        for attempt in attempts:
            records.append(attempt)
        for record in PASSES:
            records.append_pass(record)


@pytest.fixture
def run(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    return lambda *options: main(["report", "--records", str(kept), *map(str, options)])


@engraved
def test_a_month_is_written_as_html_and_as_pdf(run: Any, tmp_path: Path) -> None:
    for name, start in (("march.html", b"<!DOCTYPE html>"), ("march.pdf", b"%PDF-1.7")):
        assert run("--month", "2026-03", "--player", "Alma Quint", "--output", tmp_path / name) == 0
        assert (tmp_path / name).read_bytes().startswith(start)
    text = (tmp_path / "march.html").read_text(encoding="utf-8")
    assert "2026-03-01 to 2026-03-31" in text and "Alma Quint" in text


def test_a_students_report_bears_the_students_name(run: Any, kept: Path, tmp_path: Path) -> None:
    with Records.open(kept) as records:
        for attempt in IN_MARCH[:12]:
            records.append(attempt, student="Ada Finch")
    assert run("--student", "ada", "--output", tmp_path / "ada.html") == 0
    text = (tmp_path / "ada.html").read_text(encoding="utf-8")
    assert "Player: Ada Finch" in text and "12 prompts answered" in text


def test_a_set_narrows_the_report(run: Any, tmp_path: Path) -> None:
    assert run("--set", "three notes", "--output", tmp_path / "set.html") == 0
    text = (tmp_path / "set.html").read_text(encoding="utf-8")
    assert "Dominants in three notes" in text and "rootless from" not in text


@pytest.mark.parametrize(
    ("options", "code", "words_of_it"),
    [
        (["--month", "2026-13"], 2, "2026-03"),
        (["--month", "2026-03", "--since", "2026-03-01"], 2, "--since"),
        (["--since", "2026-03-02", "--until", "2026-03-01"], 2, "earlier day first"),
        (["--since", "soon"], 2, "2026-03-01"),
        (["--month", "2031-01"], 1, "nothing was played"),
        (["--set", "no such set"], 1, "Two five one"),
    ],
)
def test_what_cannot_be_reported_is_one_line_and_nothing_is_written(
    run: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], code: int, words_of_it: str
) -> None:
    assert run("--output", tmp_path / "report.html", *options) == code
    told = capsys.readouterr().err
    assert words_of_it in told and told.count("\n") == 1
    assert not (tmp_path / "report.html").exists()


def test_a_file_that_is_there_is_replaced_only_on_request(
    run: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "report.html"
    path.write_text("mine", encoding="utf-8")
    assert run("--output", path) == 3
    assert path.read_text(encoding="utf-8") == "mine" and "--replace" in capsys.readouterr().err
    assert run("--output", path, "--replace") == 0
    assert run("--output", tmp_path / "report.txt") == 2
    assert run("--output", tmp_path / "report.html" / "inside.html") == 3


def test_a_pdf_without_its_libraries_says_what_to_install(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from trainer.commands import reporting

    monkeypatch.setattr(reporting, "_LIBRARIES", ("no_such_library",))
    assert run("--output", tmp_path / "report.pdf") == 3
    assert "pip install '.[print]'" in capsys.readouterr().err
    assert run("--output", tmp_path / "report.html") == 0


def test_musical_signs_are_no_control_codes() -> None:
    assert clean("D♭7(♯9) – B𝄫 ø △") == "D♭7(♯9) – B𝄫 ø △"
