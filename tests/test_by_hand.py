"""Voicings and chord symbols typed by hand, held against the command line.

A reader who had not opened the program's source typed both tables from theory and from the trade's table of families.
Names of voicings came from the program's own messages. Six rows were set right after a comparison, in favour of the
program: three `2`/`add2` (the degree's number) and three approach shells (the symbol is the approaching chord).
Where the truth of a row comes from stands in the comment above its block: common practice, no source; a handbook; or
the MusicXML 4.0 standard.
"""

import io
import json
from pathlib import Path

import pytest

from trainer.__main__ import main

HERE = Path(__file__).parent


def rows(name: str) -> list[list[str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return [[cell.strip() for cell in line.split("|")] for line in lines if line and not line.startswith("#")]


def replies(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[dict[str, object]]:
    main(["spell", *arguments, "--json"])
    captured = capsys.readouterr()
    if not captured.out:
        return [{"error": captured.err.strip()}]
    return [json.loads(line) for line in captured.out.splitlines()]


VOICINGS = rows("by_hand_voicings.txt")


@pytest.mark.parametrize(("symbol", "voicing", "notes"), VOICINGS, ids=[f"{row[0]} {row[1]}" for row in VOICINGS])
def test_a_voicing_has_the_notes_typed_by_hand(
    symbol: str, voicing: str, notes: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (reply,) = replies(capsys, symbol, "--voicing", voicing)
    assert " ".join(reply.get("notes", [reply.get("error")])) == notes  # type: ignore[attr-defined,call-overload]
    assert reply["keys"] == sorted(set(reply["keys"]))  # type: ignore[call-overload]
    plain = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
    # Letters and accidentals give the key: the arithmetic of notation, no source needed.
    for note, key in zip(notes.split(), reply["keys"], strict=True):  # type: ignore[call-overload]
        assert (plain[note[0]] + note.count("#") - note.count("b")) % 12 == key % 12


def test_every_symbol_reads_as_typed_by_hand(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    table = rows("by_hand_chords.txt")
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{row[0]}\n" for row in table)))
    found = replies(capsys, "-")
    assert len(found) == len(table)
    wrong = []
    for (symbol, degrees, notes, bass), reply in zip(table, found, strict=True):
        optional = reply.get("optional", [])
        read = [f"({degree})" if degree in optional else degree for degree in reply.get("degrees", [])]  # type: ignore[operator,attr-defined]
        here = (
            " ".join(read) or str(reply.get("error", "")),
            " ".join(reply.get("notes", [])),  # type: ignore[call-overload]
            reply.get("bass") or "-",
        )
        if here != (degrees, notes, bass):
            wrong.append(f"{symbol}: typed {degrees} | {notes} | {bass}, read {here[0]} | {here[1]} | {here[2]}")
    assert not wrong, "\n".join(wrong)
