"""Forms in time as commands: played by the scripted player, graded from files, and all ways agreeing to the
millisecond.

Moments in files are computed by hand from the Standard MIDI File's own definition (a tick is quarter / division).
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from fractions import Fraction
from pathlib import Path
from random import Random

import mido
import pytest
from virtual_module import VirtualModule
from virtual_piano import VirtualPiano, until

from trainer.__main__ import main
from trainer.charts import form_chart
from trainer.drills import lesson_of
from trainer.in_time import Course, FormSession, PassEnded, piece_of
from trainer.inputs.files import read_tempi
from trainer.inputs.running import Script
from trainer.pitch import Note
from trainer.session import Particulars
from trainer.storage.records import Records
from trainer.timing import STRAIGHT, Grid, PassRecord, align, events_of, record_of

TWO_FIVE_ONE = lesson_of(form_chart("ii-V-I", Note.parse("F")))


def saved(path: Path, onsets: dict[float, tuple[int, ...]], tempi: dict[float, float], division: int = 480) -> Path:
    """A file of chords at quarters from its start, each held for a quarter, under a tempo map in beats a minute."""
    timed: list[tuple[int, mido.Message | mido.MetaMessage]] = [
        (round(at * division), mido.MetaMessage("set_tempo", tempo=round(60e6 / bpm))) for at, bpm in tempi.items()
    ]
    for at, keys in onsets.items():
        timed += [(round(at * division), mido.Message("note_on", note=key, velocity=64)) for key in keys]
        timed += [(round((at + 1) * division), mido.Message("note_off", note=key)) for key in keys]
    timed.sort(key=lambda pair: pair[0])
    track = mido.MidiTrack()
    before = 0
    for tick, message in timed:
        track.append(message.copy(time=tick - before))
        before = tick
    mido.MidiFile(type=1, ticks_per_beat=division, tracks=[track]).save(path)
    return path


KEYS = [tuple(slot.target.keys) for slot in TWO_FIVE_ONE.slots()]


def graded(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, object]]:
    code = main(["grade", *arguments, "--set", "ii-V-I", "--key", "F", "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_take_is_graded_by_its_own_tempo_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = saved(tmp_path / "take.mid", {4.0 * bar: keys for bar, keys in enumerate(KEYS)}, {0: 132})
    code, found = graded(capsys, str(take))
    assert code == 0
    assert [slot["verdict"] for slot in found["slots"]] == ["right"] * len(KEYS)  # type: ignore[attr-defined]
    assert found["tempo_bpm"] == pytest.approx(132, abs=0.01)
    assert found["offset_ms"] == pytest.approx(0, abs=1)


def test_a_change_of_tempo_in_the_file_moves_its_beats(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = saved(tmp_path / "take.mid", {4.0 * bar: keys for bar, keys in enumerate(KEYS)}, {0: 120, 6: 60, 10: 200})
    code, found = graded(capsys, str(take))
    assert code == 0
    assert all(abs(slot["error_ms"]) <= 1 for slot in found["slots"])  # type: ignore[attr-defined]


def test_a_count_in_of_two_bars_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = saved(tmp_path / "take.mid", {8 + 4.0 * bar: keys for bar, keys in enumerate(KEYS)}, {0: 120})
    main(["grade", str(take), "--set", "ii-V-I", "--key", "F"])
    assert "beat 1 of bar 1 at 4.000 s" in capsys.readouterr().out  # eight quarters at 120 a minute


def test_a_section_alone_is_graded_from_its_own_beginning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bridge = piece_of(lesson_of(form_chart("AABA, dominants in the bridge")), 120, section="B")
    onsets = {float(slot.start_beats - bridge.start_beats): tuple(slot.target.keys) for slot in bridge.slots}
    take = saved(tmp_path / "take.mid", onsets, {0: 120})
    code = main(["grade", str(take), "--set", "AABA, dominants in the bridge", "--section", "B", "--straight"])
    assert (code, "8 of 8 right, clean" in capsys.readouterr().out) == (0, True)


def test_a_told_tempo_stands_where_the_file_has_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Played at 90 a minute from 0.7 s on, into a file whose own tempo says nothing (120, as when nobody set it).
    onsets = {2 * (0.7 + bar * 4 * 60 / 90): keys for bar, keys in enumerate(KEYS)}
    take = saved(tmp_path / "take.mid", onsets, {})
    code, found = graded(capsys, str(take), "--tempo", "90")
    assert code == 0
    assert all(abs(slot["error_ms"]) <= 2 for slot in found["slots"])  # type: ignore[attr-defined]


def test_a_missed_and_a_wrong_chord_are_told_and_the_answer_is_no(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    onsets = {4.0 * bar: keys for bar, keys in enumerate(KEYS)}
    onsets[4.0] = tuple(key + 1 for key in KEYS[1])
    del onsets[0.0]
    take = saved(tmp_path / "take.mid", {4 + at: keys for at, keys in onsets.items()}, {0: 120})
    code, found = graded(capsys, str(take))
    assert code == 1
    verdicts = [slot["verdict"] for slot in found["slots"]]  # type: ignore[attr-defined]
    assert verdicts == ["missed", "wrong", "right", "right"]


@pytest.mark.parametrize(
    ("data", "code", "told"),
    [(b"MThd", 3, "cannot be read as a MIDI file"), (b"", 3, "cannot be read as a MIDI file")],
)
def test_a_file_that_is_none_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], data: bytes, code: int, told: str
) -> None:
    (tmp_path / "x.mid").write_bytes(data)
    assert main(["grade", str(tmp_path / "x.mid"), "--set", "ii-V-I"]) == code
    assert told in capsys.readouterr().err


def test_the_tempo_map_of_a_file_is_read(tmp_path: Path) -> None:
    path = saved(tmp_path / "t.mid", {}, {0: 120, 8: 60})
    assert [(change.quarters, change.time_ns, change.quarter_us) for change in read_tempi(path)] == [
        (Fraction(0), 0, 500_000),
        (Fraction(8), 4_000_000_000, 1_000_000),
    ]


def scripted_passes(seed: int) -> list[PassRecord]:
    course = Course((piece_of(TWO_FIVE_ONE, 96),), passes_each=4)
    session = FormSession(course, Particulars("s", lambda: "2026-11-25T20:00:00.000Z", "script", "script"))
    return [event.record for event in Script(Random(seed)).run_form(session) if isinstance(event, PassEnded)]


@pytest.mark.parametrize("seed", range(5))
def test_live_again_from_the_record_and_from_a_file_agree_to_the_millisecond(seed: int, tmp_path: Path) -> None:
    from trainer.commands.in_time import _best, _by_map

    piece = piece_of(TWO_FIVE_ONE, 96)
    for record in scripted_passes(seed)[:1]:  # at 96 a minute; the ladder moves on from there
        again = align(events_of(record), piece.slots, Grid(96, 0, STRAIGHT))
        told = [(slot.verdict, slot.error_ms, slot.cause) for slot in record.slots]
        assert [(one.verdict, one.error_ms) for one in again.answers] == [(verdict, ms) for verdict, ms, _ in told]
        # As a file at 96 a minute whose ticks are whole milliseconds: 625 of them a quarter.
        track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=625_000)])
        before = 0
        events = [event for event in events_of(record) if event.time_ns >= -500_000_000]
        for event in events:
            tick = (event.time_ns + 2_500_500_000) // 1_000_000
            kind = "note_on" if event.kind == "down" else "note_off"
            track.append(mido.Message(kind, note=event.key, velocity=event.value, time=tick - before))
            before = tick
        mido.MidiFile(type=0, ticks_per_beat=625, tracks=[track]).save(tmp_path / "take.mid")
        from trainer.inputs.files import read_events

        aligned = _best(
            piece,
            read_events(tmp_path / "take.mid"),
            [_by_map(read_tempi(tmp_path / "take.mid"), Fraction(4), 4, STRAIGHT)],
        )
        assert [(one.verdict, one.error_ms) for one in aligned.answers] == [(verdict, ms) for verdict, ms, _ in told]
        assert record_of(aligned, _circumstances(record)).clean == record.clean


def _circumstances(record: PassRecord):  # type: ignore[no-untyped-def]
    from trainer.timing import Circumstances

    return Circumstances("s", 0, record.utc, record.title, record.key, record.beats)


def test_a_form_is_played_in_lines_and_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    records = tmp_path / "r.sqlite"
    arguments = ["form", "ii-V-I", "--all-keys", "--input", "script", "--seed", "2", "--headless", "--json"]
    assert main([*arguments, "--passes", "1", "--records", str(records)]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["key"] for line in lines] == "C F Bb Eb Ab Db Gb B E A D G".split()
    with Records.open(records) as opened:
        kept = list(opened.passes())
    assert [(one.key, one.clean) for one in kept] == [(line["key"], line["clean"]) for line in lines]
    assert all(one.events for one in kept)


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["form", "no such form", "--headless", "--input", "script"], 2, "ii-V-I"),
        (["form", "ii-V-I", "--section", "Q", "--headless", "--input", "script"], 2, "there is no section 'Q'"),
        (["form", "ii-V-I", "--key", "H", "--headless", "--input", "script"], 2, "H"),
        (["form", "ii-V-I"], 2, "needs a terminal"),
        (["form", "07-minor-sevenths-from-the-third", "--headless", "--input", "script"], 2, "is a drill set"),
    ],
)
def test_what_cannot_be_played_in_time_is_refused(
    arguments: list[str], code: int, told: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main([*arguments, "--records", str(tmp_path / "r.sqlite")]) == code
    assert told in capsys.readouterr().err


@pytest.mark.port
def test_click_and_bass_go_out_while_a_form_is_played_and_end_with_the_program(
    jack_server: object, tmp_path: Path
) -> None:
    root = Path(__file__).parent.parent
    command = [sys.executable, "-m", "trainer", "form", "ii-V-I", "--tempo", "300", "--headless", "--passes", "1"]
    command += ["--input", "Form piano", "--output-port", "Form module", "--records", str(tmp_path / "r.sqlite")]
    with VirtualPiano("Form piano"), VirtualModule("Form module") as module:
        process = subprocess.Popen(
            command, cwd=root, env=os.environ | {"TRAINER_HOME": str(tmp_path)}, stdout=subprocess.PIPE
        )
        try:
            seen: list[tuple[int, ...]] = []
            assert until(lambda: seen.extend(module.heard(0.05)) or len([m for m in seen if m[0] == 0x99]) >= 8, 30)
            assert until(lambda: seen.extend(module.heard(0.05)) or any(m[0] == 0x90 for m in seen), 10)
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=20)
            assert until(lambda: seen.extend(module.heard(0.05)) or any(m[:2] == (0xB9, 123) for m in seen), 5)
        finally:
            process.kill()
            process.communicate()
    clicks = [message for message in seen if message[0] == 0x99 and message[2]]
    assert clicks[0][1] == 76  # General MIDI: high wood block, on the first beat
    assert {message[1] for message in clicks} == {76, 77}
    assert any(message[:2] == (0xB0, 123) for message in seen)


@pytest.mark.port
def test_a_form_is_played_on_a_piano_and_its_pass_kept(jack_server: object, tmp_path: Path) -> None:
    """Chords sent on the beat of the form, as heard by its own clicks: right, in time and clean."""
    root = Path(__file__).parent.parent
    command = [
        sys.executable,
        "-m",
        "trainer",
        "form",
        "ii-V-I",
        "--key",
        "F",
        "--tempo",
        "150",
        "--headless",
        "--json",
    ]
    command += [
        "--input",
        "Form piano",
        "--output-port",
        "Form module",
        "--passes",
        "1",
        "--straight",
        "--bass",
        "none",
    ]
    with VirtualPiano("Form piano") as piano, VirtualModule("Form module") as module:
        process = subprocess.Popen(
            [*command, "--records", str(tmp_path / "r.sqlite")],
            cwd=root, env=os.environ | {"TRAINER_HOME": str(tmp_path)}, stdout=subprocess.PIPE,
        )  # fmt: skip
        try:
            downbeats: list[float] = []
            while len(downbeats) < 2:  # the first beats of the two bars of count-in
                now = time.perf_counter()
                assert process.poll() is None, "the program ended before it counted in"
                if any(message[0] == 0x99 and message[1] == 76 and message[2] for message in module.heard(0.001)):
                    downbeats.append(now)
            bar_s = 4 * 60 / 150
            for number, keys in enumerate(KEYS, 1):
                time.sleep(max(0.0, downbeats[1] + number * bar_s - time.perf_counter()))
                piano.play(keys, hold_s=0.3)
            out, _ = process.communicate(timeout=30)
        finally:
            process.kill()
            process.communicate()
    found = json.loads(out.splitlines()[0])
    assert [slot["verdict"] for slot in found["slots"]] == ["right"] * len(KEYS)
    assert all(abs(slot["error_ms"]) < 120 for slot in found["slots"])
    with Records.open(tmp_path / "r.sqlite") as records:
        assert [one.key for one in records.passes()] == ["F"]
