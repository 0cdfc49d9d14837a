"""A recorded take: what a MIDI file says, in exact times; every broken file refused in words; a take written back.

Facts from outside: Standard MIDI Files 1.1 (the bytes below are written by hand from it) and MIDI 1.0; times of whole
files are compared with mido's own playback order and clock.
"""

from __future__ import annotations

import io
import random
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.capture import Kind, NoteEvent
from trainer.inputs.files import LARGEST_FILE_BYTES, MOST_EVENTS, FileInput, events_of, read_events, take_bytes
from trainer.inputs.files import write_take as write
from trainer.inputs.source import InputError
from trainer.pitch import MidiNote

SECOND_NS = 1_000_000_000
MILLISECOND_NS = 1_000_000


def file_of(*tracks: bytes, form: int = 1, division: int = 480, announced: int | None = None) -> bytes:
    """A file by the standard's chunk layout; an end of track is added to each body."""
    count = len(tracks) if announced is None else announced
    head = b"MThd" + (6).to_bytes(4) + form.to_bytes(2) + count.to_bytes(2) + division.to_bytes(2)
    bodies = [body + b"\x00\xff\x2f\x00" for body in tracks]
    return head + b"".join(b"MTrk" + len(body).to_bytes(4) + body for body in bodies)


def tempo(microseconds: int) -> bytes:
    return b"\xff\x51\x03" + microseconds.to_bytes(3)


def test_a_quarter_note_lasts_half_a_second_where_no_tempo_is_given() -> None:
    # SMF 1.1: without a tempo, 120 quarters a minute. 480 ticks = 83h 60h as a variable-length number.
    (down, up) = events_of(file_of(b"\x00\x90\x3c\x40\x83\x60\x3c\x00"))
    assert (down.time_ns, down.kind, down.key, down.value) == (0, Kind.DOWN, 60, 64)
    assert (up.time_ns, up.kind, up.key) == (SECOND_NS // 2, Kind.UP, 60)


def test_a_tempo_change_in_one_track_moves_the_notes_of_all() -> None:
    conductor = b"\x00" + tempo(1_000_000) + b"\x83\x60" + tempo(250_000)
    piano = b"\x83\x60\x90\x3c\x40\x83\x60\x80\x3c\x40"
    assert [event.time_ns for event in events_of(file_of(conductor, piano))] == [SECOND_NS, SECOND_NS * 5 // 4]


def test_times_do_not_drift_over_a_long_take() -> None:
    # 1,000,003 microseconds a quarter and 7 ticks to it: no tick is a whole number of nanoseconds.
    body = b"\x00" + tempo(1_000_003) + b"\x01\x90\x3c\x40" + b"\x01\x3c\x40" * 6_999
    events = events_of(file_of(body, division=7))
    assert events[-1].time_ns == 7_000 * 1_000_003 * 1_000 // 7


@pytest.mark.parametrize(
    ("frames_byte", "ticks", "one_second_ns"),
    [(0xE8, 40, SECOND_NS), (0xE7, 40, SECOND_NS), (0xE2, 80, SECOND_NS), (0xE3, 80, 1_001_000_000)],
)
def test_a_file_in_frames_is_read_by_frames(frames_byte: int, ticks: int, one_second_ns: int) -> None:
    # SMF 1.1: the high byte is minus the frames a second, 29 meaning 30 drop frame; the example E7h 28h is 1 ms a tick.
    frames = {0xE8: 24, 0xE7: 25, 0xE3: 30, 0xE2: 30}[frames_byte]
    delta = frames * ticks
    body = b"\x00" + tempo(1_000) + bytes((delta >> 7 | 0x80, delta & 0x7F)) + b"\x90\x3c\x40"
    (down,) = events_of(file_of(body, division=frames_byte << 8 | ticks))
    assert down.time_ns == one_second_ns


def test_drums_are_not_heard_and_other_channels_are() -> None:
    body = b"\x00\x99\x23\x40\x00\x90\x3c\x40\x00\x9f\x40\x40"
    assert [(event.key, event.channel) for event in events_of(file_of(body))] == [(60, 0), (64, 15)]


def test_velocity_zero_is_a_release_and_the_pedal_and_mode_messages_are_heard() -> None:
    body = bytes.fromhex("00903c40 00b0407f 00b04000 00903c00 00b00764 00b07b00 00b07900")
    heard = [(event.kind, event.value) for event in events_of(file_of(body))]
    assert heard == [(Kind.DOWN, 64), (Kind.PEDAL, 127), (Kind.PEDAL, 0), (Kind.UP, 0), (Kind.QUIET, 123)]


def test_notes_of_one_moment_keep_the_order_of_the_tracks() -> None:
    left, right = b"\x10\x90\x30\x40\x00\x37\x40", b"\x10\x91\x3c\x40\x00\x40\x40"
    assert [event.key for event in events_of(file_of(left, right))] == [48, 55, 60, 64]


def test_what_no_piano_is_heard_by_cannot_stop_the_notes() -> None:
    odd = bytes.fromhex("00ff59026363 00ff01036180ff 00ff7f00 00f0027ef7 00c005 00e00102")
    (down,) = events_of(file_of(odd + b"\x05\x90\x3c\x40"))
    assert down.key == 60


def test_chunks_of_another_kind_are_passed_over_as_the_standard_asks() -> None:
    data = file_of(b"\x00\x90\x3c\x40")
    assert len(events_of(data[:14] + b"XYZ!" + (3).to_bytes(4) + b"abc" + data[14:] + b"\0\0 trailing")) == 1


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "byte 0, it begins with nothing"),
        (b"ID3\x03 a song", "it begins with 49 44 33 03"),
        (b"MThd\0\0", "ends within its header"),
        (file_of(b"", form=2), "format 2, a set of separate pieces; save the take as format 0 or 1"),
        (file_of(b"", form=7), "its format is 7"),
        (file_of(b"", division=0), "0 ticks"),
        (file_of(b"", division=0x9001), "9001h"),
        (file_of(announced=0), "no track"),
        (file_of(b"", announced=3), "breaks off after 1 of 3 tracks"),
        (file_of(b"\x00\x90\x3c\x40")[:-6], "a track announces 8 bytes and the file holds 2 more"),
        (file_of(b"\x00\x90\x3c\xf0"), "at byte 25, a data byte is F0h"),
        (file_of(b"\x00\x3c\x40"), "at byte 23, a data byte (3Ch)"),
        (file_of(b"\x00\xf1\x40"), "F1h begins no event"),
        (file_of(b"\x80\x80\x80\x80\x80\x00\x90\x3c\x40"), "at byte 22, a time or length runs over"),
        (file_of(b"\x00\xff\x01\xff\xff\xff\x7f"), "an event announces 268,435,455 bytes"),
        (file_of(b"\x00\xff\x51\x02\x01\x02"), "is no tempo"),
        (file_of(b"\x00" + tempo(16_777_215) + b"\xff\xff\xff\x7f\x90\x3c\x40", division=1), "longer than a day"),
        (file_of(b"\x00\x90\x3c\x40" + b"\x00\x3c\x40" * MOST_EVENTS), "more than 250,000 events"),
        (bytes(LARGEST_FILE_BYTES + 1), "larger than 16 MB"),
    ],
)
def test_a_broken_file_is_refused_in_words(data: bytes, said: str) -> None:
    with pytest.raises(InputError) as refused:
        events_of(data, "take.mid")
    assert str(refused.value).startswith("take.mid ")
    assert said in str(refused.value)


def test_a_million_continuation_bytes_are_refused_at_once() -> None:
    with pytest.raises(InputError, match="runs over more than four bytes"):
        events_of(file_of(b"\xff" * 1_000_000))


def plain_takes() -> list[bytes]:
    """Files written by mido with everything a sequencer puts in."""
    rng = random.Random(4)
    takes = []
    for form in (0, 1):
        file = mido.MidiFile(type=form, ticks_per_beat=rng.choice([96, 480, 960]))
        for _ in range(1 + 2 * form):
            track = file.add_track("piano")
            for _ in range(40):
                wait, key = rng.randrange(400), rng.randrange(21, 109)
                track.append(
                    rng.choice(
                        [
                            mido.Message("note_on", note=key, velocity=rng.randrange(128), time=wait),
                            mido.Message("note_off", note=key, time=wait),
                            mido.Message("control_change", control=rng.choice([64, 7, 123]), time=wait),
                            mido.Message("sysex", data=[1, 2, 3], time=wait),
                            mido.Message("pitchwheel", pitch=100, time=wait),
                            mido.MetaMessage("set_tempo", tempo=rng.randrange(200_000, 900_000), time=wait),
                            mido.MetaMessage("text", text="bars 1-4", time=wait),
                        ]
                    )
                )
        written = io.BytesIO()
        file.save(file=written)
        takes.append(written.getvalue())
    return takes


@pytest.mark.parametrize("data", plain_takes())
def test_notes_and_times_are_those_of_an_independent_player(data: bytes) -> None:
    """mido's playback iterator is the other reader; its times are floating seconds."""
    seconds, expected = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        seconds += message.time
        if message.type in ("note_on", "note_off"):
            expected.append((seconds, message.note))
    heard = [event for event in events_of(data) if event.kind in (Kind.DOWN, Kind.UP)]
    assert [event.key for event in heard] == [key for _, key in expected]
    assert [event.time_ns / SECOND_NS for event in heard] == pytest.approx([at for at, _ in expected], abs=1e-6)


@given(st.binary(max_size=400))
def test_no_bytes_can_do_more_than_be_refused(data: bytes) -> None:
    for whole in (data, file_of(data), b"MThd\0\0\0\6" + data):
        try:
            events = events_of(whole)
        except InputError:
            continue
        assert list(events) == sorted(events, key=lambda event: event.time_ns)


@pytest.mark.parametrize("seed", range(4))
def test_no_damage_to_a_real_file_can_do_more_than_be_refused(seed: int) -> None:
    rng = random.Random(seed)
    takes = plain_takes()
    for _ in range(400):
        damaged = bytearray(rng.choice(takes))
        for _ in range(rng.randrange(1, 6)):
            at = rng.randrange(len(damaged))
            match rng.randrange(4):
                case 0:
                    damaged[at] = rng.randrange(256)
                case 1:
                    del damaged[at : at + rng.randrange(1, 9)]
                case 2:
                    damaged[at:at] = rng.randbytes(rng.randrange(1, 9))
                case _:
                    del damaged[max(1, at) :]
        try:
            events = events_of(bytes(damaged))
        except InputError:
            continue
        assert all(0 <= event.key < 128 and event.time_ns >= 0 for event in events)


def event_lists() -> st.SearchStrategy[list[NoteEvent]]:
    keys, values = st.integers(0, 127).map(MidiNote), st.integers(1, 127)
    channels = st.sampled_from([0, 1, 8, 10, 15])
    one = st.one_of(
        st.tuples(st.sampled_from([Kind.DOWN, Kind.UP]), keys, values, channels),
        st.tuples(st.just(Kind.PEDAL), st.just(MidiNote(0)), values, channels),
        st.tuples(st.just(Kind.QUIET), st.just(MidiNote(0)), st.sampled_from([120, 123, 127]), channels),
    )
    return st.lists(st.tuples(st.integers(0, 100_000), one), max_size=30).map(
        lambda timed: [
            NoteEvent(at_ms * MILLISECOND_NS, *what, port="take.mid")
            for at_ms, what in sorted(timed, key=lambda pair: pair[0])
        ]
    )


@given(event_lists())
def test_a_take_written_and_read_again_is_the_same_to_the_millisecond(events: list[NoteEvent]) -> None:
    data = take_bytes(events, start_ns=0)
    assert list(events_of(data, "take.mid")) == events
    file = mido.MidiFile(file=io.BytesIO(data))
    assert file.ticks_per_beat == 500
    assert file.tracks[0][0].tempo == 500_000


def test_a_take_written_to_a_folder_is_replayed_on_a_virtual_clock(tmp_path: Path) -> None:
    path = tmp_path / "Take 1.mid"
    write(
        path, [NoteEvent(7 * SECOND_NS, Kind.DOWN, MidiNote(60), 64), NoteEvent(9 * SECOND_NS, Kind.UP, MidiNote(60))]
    )
    posted: list[NoteEvent] = []
    with FileInput(path, start_ns=100) as source:
        assert source.name == "Take 1.mid"
        source.start(posted.append)
        assert posted == list(source.events())
    assert [event.time_ns for event in posted] == [100, 2 * SECOND_NS + 100]


def test_events_out_of_order_are_no_take() -> None:
    with pytest.raises(ValueError, match="time order"):
        take_bytes([NoteEvent(5 * SECOND_NS, Kind.DOWN), NoteEvent(0, Kind.DOWN)])


def test_a_missing_file_or_a_folder_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="There is no file .*none.mid"):
        read_events(tmp_path / "none.mid")
    with pytest.raises(InputError, match="is no file"):
        read_events(tmp_path)
    with pytest.raises(InputError, match="cannot be opened"):
        read_events("a\0b.mid")
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "no" / "folder.mid", [])
