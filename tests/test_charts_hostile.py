"""Scores from outside that mean harm or are broken: only `ChartError`, with a place, in bounded time and memory.

The forms of attack are those listed for XML and zip files in the documentation of Python's `xml` package and in the
advice on zip archives that is common practice: entity expansion, external entities, decompression bombs, paths that
lead out of the archive, deep nesting.
"""

from __future__ import annotations

import struct
import tracemalloc
import zipfile
import zlib
from io import BytesIO
from pathlib import Path
from random import Random
from time import perf_counter
from xml.sax.saxutils import escape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mutated_scores import GOOD, SCORES, changed_text, mutated

from trainer.charts import ChartError, form_chart, read_chart, write_chart
from trainer.charts.score_files import (
    LARGEST_FILE_BYTES,
    MOST_DEPTH,
    MOST_ELEMENTS,
    compressed,
    read_tree,
    unpacked,
)
from trainer.charts.score_reading import read_score
from trainer.charts.score_writing import write_score


def refusal(data: bytes) -> str:
    with pytest.raises(ChartError) as caught:
        read_score(data)
    faults = caught.value.faults
    assert all(one.line >= 1 and one.column >= 1 and one.message for one in faults)
    assert len(str(caught.value)) < 100_000
    return str(caught.value)


def packed(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    made = BytesIO()
    with zipfile.ZipFile(made, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name), data, method)
    return made.getvalue()


def listed(place: str) -> dict[str, bytes]:
    row = f'<container><rootfiles><rootfile full-path="{place}"/></rootfiles></container>'
    return {"META-INF/container.xml": row.encode()}


# ------------------------------------------------------------- XML

LAUGHS = "".join(f'<!ENTITY l{at} "{f"&l{at - 1};" * 10 if at else "ha"}">' for at in range(10))


@pytest.mark.parametrize(
    ("document", "word"),
    [
        (f"<!DOCTYPE score-partwise [{LAUGHS}]><score-partwise>&l9;</score-partwise>", "entities of its own"),
        ('<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><a>&x;</a>', "entities of its own"),
        ('<!DOCTYPE a [<!ENTITY % x SYSTEM "http://127.0.0.1:9/x.dtd"> %x;]><a/>', "entities of its own"),
        ('<!DOCTYPE a SYSTEM "file:///etc/passwd" []><a/>', "entities of its own"),
        ('<!DOCTYPE a SYSTEM "http://127.0.0.1:9/x.dtd"><a>&x;</a>', "'x' is not one of"),
        ("<a>&x;</a>", "undefined entity"),
        ("<score-partwise>" + "<part>" * 10_000, f"more than {MOST_DEPTH} deep"),
        (f"<score-partwise>{'<part/>' * (MOST_ELEMENTS + 1)}</score-partwise>", "more than 500,000 elements"),
        ("<score-partwise><part>", "no element found"),
        ("", "no element found"),
        ("just words", "syntax error"),
        ("<html><body/></html>", "no score"),
        ("<opus/>", "no score"),
        ("<score-partwise/>", "no measures"),
        ("<score-partwise><part/></score-partwise>", "no measures"),
        ("<score-partwise><part><measure/></part></score-partwise>", "no chord symbols"),
        (f"<score-partwise><part>{'<measure/>' * 2_001}</part></score-partwise>", "at most 2,000 bars"),
        ('<?xml version="1.0" encoding="rot13"?><a/>', "encoding"),
        ('<?xml version="1.0" encoding="shift_jis"?><a/>', "encoding"),
        ('<?xml version="1.0" encoding="no-such-thing"?><a/>', "encoding"),
        ('<?xml version="1.0" encoding="UTF-16"?><a/>', "not XML as it should be"),
        ("<a>\0</a>", "not well-formed"),
        ("\0" * 1000, "not well-formed"),
        ("<a>\x1b</a>", "not well-formed"),
    ],
)
def test_a_document_that_means_harm_is_refused_with_its_place(document: str, word: str) -> None:
    assert word in refusal(document.encode())


def test_a_file_that_entities_name_is_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    secret = tmp_path / "secret.dtd"
    secret.write_text('<!ENTITY x "secret">', encoding="utf-8")
    text = f'<!DOCTYPE score-partwise SYSTEM "{secret.as_uri()}"><score-partwise>&x;</score-partwise>'

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a file was opened")

    monkeypatch.setattr("builtins.open", opened)
    assert "secret" not in refusal(text.encode())


def test_the_standards_own_document_type_is_passed_over() -> None:
    assert "<!DOCTYPE" in GOOD
    assert read_score(GOOD.encode()) == form_chart("jazz blues").by_symbol


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "cp1252"])
def test_a_score_is_read_in_the_encoding_that_it_declares(encoding: str) -> None:
    declared = "utf-16" if encoding == "utf-16" else encoding.removesuffix("-sig")
    text = GOOD.replace('encoding="UTF-8"', f'encoding="{declared}"').replace("jazz blues", "Blüte")
    assert read_score(text.encode(encoding)).title == "Blüte"


# ------------------------------------------------------------- zip files


def test_a_zip_bomb_is_stopped_at_its_bound() -> None:
    bomb = packed({**listed("score.xml"), "score.xml": b" " * 50_000_000})
    assert len(bomb) < 100_000
    tracemalloc.start()
    started = perf_counter()
    assert "unpacks to more than" in refusal(bomb)
    assert tracemalloc.get_traced_memory()[1] < 2 * LARGEST_FILE_BYTES + 4_000_000
    tracemalloc.stop()
    assert perf_counter() - started < 20  # far above what it takes; unbounded it would be minutes


def test_a_file_that_lies_about_its_size_is_stopped_as_well() -> None:
    data = bytearray(packed({**listed("score.xml"), "score.xml": b" " * 50_000_000}))
    for at in (data.find(b"PK\x01\x02", data.find(b"PK\x01\x02") + 1) + 24, data.rfind(b"PK\x03\x04") + 22):
        data[at : at + 4] = struct.pack("<I", 100)
    refusal(bytes(data))


@pytest.mark.parametrize("place", ["../../score.xml", "/etc/passwd", "C:\\score.xml", "a/../../b", "", "\x01"])
def test_a_path_in_a_compressed_score_leads_nowhere(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    row = place.replace("\x01", "&#1;")
    refusal(packed({**listed(row), "other.txt": b"x"}))
    assert not list(tmp_path.rglob("*"))


def test_a_score_under_a_path_that_leads_out_is_read_in_memory_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    found = read_score(packed({**listed("../../score.xml"), "../../score.xml": GOOD.encode()}))
    assert found == form_chart("jazz blues").by_symbol
    assert not list(tmp_path.rglob("*"))


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"PK\x03\x04 not a zip file", "cannot be unpacked"),
        (packed({"readme.txt": b"none"}), "holds no score"),
        (packed({"META-INF/container.xml": b"<container/>"}), "holds no score"),
        (packed(listed("score.xml")), "does not hold it"),
        (packed({"META-INF/container.xml": LAUGHS.encode(), "score.xml": GOOD.encode()}), "not XML"),
        (packed({**listed("score.xml"), "score.xml": b""}), "no element found"),
        (packed({**listed("score.xml"), "score.xml": GOOD.encode()}, zipfile.ZIP_BZIP2), "does not allow"),
        (packed({**listed("score.xml"), "score.xml": GOOD.encode()}, zipfile.ZIP_LZMA), "does not allow"),
        (packed({"META-INF/container.xml": b" " * 70_000}), "unpacks to more than"),
        (packed({f"{at}.txt": b"" for at in range(1_001)}), "more than 1000 files"),
        (packed({**listed("score.mxl"), "score.mxl": compressed(GOOD)}), "not well-formed"),
    ],
)
def test_a_compressed_file_that_is_no_score_is_refused(data: bytes, word: str) -> None:
    assert word in refusal(data)


def test_a_locked_score_is_refused() -> None:
    data = bytearray(packed({"score.xml": GOOD.encode()}))
    for sign, at in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        data[data.find(sign) + at] |= 1
    assert "locked" in refusal(bytes(data))


def test_a_wrong_check_sum_is_refused() -> None:
    data = bytearray(packed({"score.xml": GOOD.encode()}))
    place = data.find(b"PK\x01\x02") + 16
    data[place : place + 4] = struct.pack("<I", zlib.crc32(b"other"))
    assert "cannot be unpacked" in refusal(bytes(data))


# ------------------------------------------------------------- music that cannot be

HARMONY = "<harmony><root><root-step>C</root-step></root><kind>{}</kind></harmony>"
MEASURE = f'<score-partwise><part id="P"><measure number="5">{{}}{HARMONY}{{}}</measure></part></score-partwise>'


@pytest.mark.parametrize(
    ("attributes", "kind", "notes", "word"),
    [
        ("<attributes><divisions>0</divisions></attributes>", "major", "", "divisions must be above 0"),
        ("<attributes><divisions>x</divisions></attributes>", "major", "", "divisions is 'x'"),
        ("<attributes><divisions>1e9</divisions></attributes>", "major", "", "divisions is '1e9'"),
        ("<attributes><time><beats>4</beats><beat-type>5</beat-type></time></attributes>", "major", "", "4/5"),
        ("<attributes><time><beats>999</beats><beat-type>4</beat-type></time></attributes>", "major", "", "999/4"),
        ("<attributes><key><fifths>99</fifths></key></attributes>", "major", "", "names no key"),
        ("<attributes><transpose><chromatic>1.5</chromatic></transpose></attributes>", "major", "", "transposition"),
        ("", "Neapolitan", "", "chord symbol cannot be read"),
        ("", "nonsense", "", "chord symbol cannot be read"),
        ("", "major", "<note><rest/><duration>-4</duration></note>", "below nothing"),
        ("", "major", "<note><rest/><duration>999999999</duration></note>", "whole beats"),
        ("", "major", "<note><rest/><duration>9999999999999999999</duration></note>", "should be a number"),
        ("", "major", "<note><pitch><step>H</step><octave>4</octave></pitch><duration>4</duration></note>", "no note"),
        ("", "major", "<note><pitch><step>C</step><octave>44</octave></pitch><duration>4</duration></note>", "no note"),
        (
            "",
            "major",
            "<note><pitch><step>C</step><alter>0.5</alter><octave>4</octave></pitch><duration>4</duration></note>",
            "0.5 semitones",
        ),
        ("", "major", "<note><pitch><step>B</step><octave>9</octave></pitch><duration>4</duration></note>", "outside"),
        ("", "major", "<note><rest/><duration>3.0000001</duration></note>" * 2, "whole beats"),
        ("<attributes><divisions>9973</divisions></attributes>", "major",
         "<note><pitch><step>B</step><octave>4</octave></pitch><duration>7</duration></note>"
         "<note><rest/><duration>39885</duration></note>", "simplify its rhythm"),
        ("", "major", '<barline><repeat direction="backward" times="99"/></barline>', "2 to 16 times"),
        ("", "major", '<barline><repeat direction="forward"/></barline>', "never closes"),
        ("", "major", '<barline><ending number="2" type="start"/></barline>', "endings here are 2"),
    ],
)  # fmt: skip
def test_music_that_cannot_be_is_refused_with_its_measure(attributes: str, kind: str, notes: str, word: str) -> None:
    told = refusal(MEASURE.format(attributes, kind, notes).encode())
    assert word in told and "measure 5: " in told


def test_every_fault_is_told_with_its_own_line() -> None:
    text = GOOD.replace(">dominant<", ">Tristan<")
    lines = [int(line.split(":")[0]) for line in refusal(text.encode()).splitlines()]
    opened = [at for at, line in enumerate(text.splitlines(), 1) if "<harmony" in line]
    assert len(lines) == text.count(">Tristan<") and set(lines) <= set(opened)


def test_two_thousand_measures_of_everything_are_read_in_time() -> None:
    chart = read_chart("| C7 F7 G7 C7 |\n~ | C5 D5 E5 F5 G5 A5 Bb5 C6 |")
    score = write_score(read_chart(write_chart(chart).replace("|\n", "| % " * 99 + "|\n", 1).split("~")[0]))
    big = score.replace("</part>", score.split('<part id="P1">')[1].split("</part>")[0] * 19 + "</part>")
    started = perf_counter()
    assert len(read_score(big.encode()).bars) == 2_000
    assert perf_counter() - started < 20


# ------------------------------------------------------------- mutated and drawn


def test_a_mutated_lead_sheet_is_read_or_refused_in_words() -> None:
    chance = Random(1)
    read = 0
    for _ in range(600):
        data = mutated(chance)
        try:
            chart = read_score(data)
        except ChartError as error:
            assert error.faults and all(one.message for one in error.faults)
        else:
            read += 1
            assert read_chart(write_chart(chart)) == chart
    assert 0 < read < 600


@pytest.mark.parametrize("path", sorted(SCORES.glob("*.musicxml")), ids=lambda path: path.name)
def test_a_lead_sheet_with_other_numbers_is_read_or_refused_in_words(path: Path) -> None:
    chance, text = Random(path.name), path.read_text(encoding="utf-8")
    for _ in range(60):
        try:
            chart = read_score(changed_text(chance, text).encode())
        except ChartError as error:
            assert error.faults
        else:
            assert read_chart(write_chart(chart)) == chart
            assert read_score(write_score(chart).encode()).unrolled() == chart.unrolled()


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_a_score_or_refused(data: bytes) -> None:
    for candidate in (data, b"PK" + data, b"<score-partwise>" + data):
        with pytest.raises(ChartError):
            read_score(candidate)


@settings(max_examples=50, deadline=None)
@given(st.text(max_size=80))
def test_any_text_in_a_score_stays_text(text: str) -> None:
    allowed = "".join(sign for sign in text if sign.isprintable())
    score = GOOD.replace("jazz blues", escape(allowed))
    assert read_score(score.encode("utf-8", "replace")).title == " ".join(allowed.split())


def test_what_is_unpacked_is_what_was_packed() -> None:
    assert unpacked(compressed(GOOD)) == GOOD.encode()
    assert read_tree(GOOD.encode()).root.tag == "score-partwise"
