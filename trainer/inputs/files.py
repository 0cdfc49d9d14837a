"""A Standard MIDI File in, notes out; and a take written as one.

Formats 0 and 1 are read: all tracks merged in file order, times exact through the tempo map (a tempo change counts
for every track), or by frames where the file is divided that way. Format 2 holds separate pieces and is refused.

A file is foreign data: its structure is checked first, byte by byte and within bounds, and only what a piano is heard
by (notes, controllers, tempo) is handed to mido. So a fault is told with the byte where it stands, a text or key
signature that nobody needs cannot stop the notes, and nothing in a file can make the reader hang or grow.

Times are integer nanoseconds from the start of the file, rounded once from exact fractions.

Source: Standard MIDI Files 1.1 (chunks, variable-length numbers, division, FF 51); MIDI 1.0 (status bytes, running
status, controllers 64, 120 and 123-127).
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

import mido

from trainer.capture import PERCUSSION_CHANNEL, Kind, NoteEvent
from trainer.inputs.source import SUSTAIN, InputError, Post, Stopped, event_of, printable

LARGEST_FILE_BYTES: Final = 16_000_000
MOST_EVENTS: Final = 250_000
"""Over all tracks, messages of every kind: more than three hours of dense playing, read in a few seconds."""
LONGEST_TAKE_NS: Final = 24 * 3600 * 1_000_000_000

TAKE_TICKS_PER_QUARTER: Final = 500
TAKE_TEMPO_US: Final = 500_000
"""With this division and tempo one tick is one millisecond exactly."""

_DEFAULT_TEMPO_US: Final = 500_000
_LONGEST_NUMBER: Final = 4  # bytes of a variable-length number
_FRAMES_PER_SECOND: Final = {
    24: Fraction(24),
    25: Fraction(25),
    29: Fraction(30_000, 1001),  # 30 drop frame
    30: Fraction(30),
}


class _Fault(Exception):
    """What is wrong, and the byte offset where."""

    def __init__(self, what: str, at: int) -> None:
        super().__init__(what)
        self.what = what
        self.at = at


# -- checking the structure


class _Track:
    """Walks the events of one track chunk and keeps what a piano is heard by, as a track mido can read."""

    def __init__(self, data: bytes, start: int, end: int, most_events: int) -> None:
        self.data = data
        self.at = start
        self.end = end
        self.most_events = most_events
        self.events = 0
        self.kept = bytearray()

    def number(self) -> int:
        """A variable-length number: seven bits a byte, four bytes at most."""
        start, value = self.at, 0
        for _ in range(_LONGEST_NUMBER):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise _Fault("a time or length runs over more than four bytes", start)

    def byte(self) -> int:
        if self.at >= self.end:
            raise _Fault("the track breaks off in the middle of an event", self.at)
        byte = self.data[self.at]
        self.at += 1
        return byte

    def skip(self, length: int) -> bytes:
        """The next `length` bytes."""
        if length > self.end - self.at:
            raise _Fault(
                f"an event announces {length:,} bytes and its track holds {self.end - self.at:,} more", self.at
            )
        self.at += length
        return self.data[self.at - length : self.at]

    def walk(self) -> bytes:
        """Check all events; the kept ones come back as the body of a track."""
        running: int | None = None
        waiting = 0  # ticks since the last kept event
        while self.at < self.end:
            self.events += 1
            if self.events > self.most_events:
                raise _Fault(f"more than {MOST_EVENTS:,} events", self.at)
            waiting += self.number()
            start = self.at
            status = self.byte()
            if status < 0x80:
                if running is None:
                    raise _Fault(f"a data byte ({status:02X}h) stands where an event should begin", start)
                self.at -= 1
                status = running
            if status < 0xF0:
                running = status
                body = self.skip(1 if status & 0xF0 in (0xC0, 0xD0) else 2)
                for index, byte in enumerate(body):
                    if byte > 0x7F:
                        raise _Fault(f"a data byte is {byte:02X}h, above 7Fh", self.at - len(body) + index)
                if status & 0xF0 in (0x80, 0x90, 0xB0):
                    waiting = self.keep(waiting, bytes((status, *body)))
            elif status == 0xFF:
                kind = self.byte()
                body = self.skip(self.number())
                if kind == 0x2F:
                    break
                if kind == 0x51:
                    if len(body) != 3 or not any(body):
                        raise _Fault(f"a tempo of {body.hex(' ') or 'no bytes'} is no tempo", start)
                    waiting = self.keep(waiting, b"\xff\x51\x03" + body)
            elif status in (0xF0, 0xF7):
                running = None
                self.skip(self.number())
            else:
                raise _Fault(f"{status:02X}h begins no event of a file", start)
        return bytes(self.kept)

    def keep(self, delta: int, event: bytes) -> int:
        self.kept += _number(delta) + event
        return 0


def _number(value: int) -> bytes:
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))


def _checked(data: bytes) -> tuple[int, list[bytes]]:
    """The division and, for each track, its kept events. Raises `_Fault`."""
    at = data.find(b"MThd", 4) if data[:4] == b"RIFF" else 0  # the same file in a RIFF wrapper
    if at < 0 or data[at : at + 4] != b"MThd":
        raise _Fault(f"it begins with {data[:4].hex(' ') or 'nothing'} and a MIDI file begins with MThd", max(at, 0))
    if len(data) < at + 14:
        raise _Fault("it ends within its header", len(data))
    length = int.from_bytes(data[at + 4 : at + 8])
    if length < 6 or length > len(data) - at - 8:
        raise _Fault(f"its header announces {length:,} bytes", at + 4)
    form = int.from_bytes(data[at + 8 : at + 10])
    announced = int.from_bytes(data[at + 10 : at + 12])
    division = int.from_bytes(data[at + 12 : at + 14])
    if form == 2:
        raise _Fault("it is of format 2, a set of separate pieces; save the take as format 0 or 1", at + 8)
    if form > 2:
        raise _Fault(f"its format is {form} and only 0 and 1 hold a take", at + 8)
    if announced == 0:
        raise _Fault("it announces no track", at + 10)
    _unit(division, at + 12)
    at += 8 + length
    tracks: list[bytes] = []
    left = MOST_EVENTS
    while len(tracks) < announced:
        if at == len(data):
            raise _Fault(f"it breaks off after {len(tracks)} of {announced} tracks", at)
        if len(data) - at < 8:
            raise _Fault("it breaks off between two tracks", at)
        length = int.from_bytes(data[at + 4 : at + 8])
        if length > len(data) - at - 8:
            raise _Fault(f"a track announces {length:,} bytes and the file holds {len(data) - at - 8:,} more", at + 4)
        if data[at : at + 4] == b"MTrk":
            track = _Track(data, at + 8, at + 8 + length, left)
            tracks.append(track.walk())
            left -= track.events
        at += 8 + length  # chunks of other kinds are passed over, as the standard asks
    return division, tracks


def _unit(division: int, at: int) -> Fraction | None:
    """Nanoseconds a tick where the division counts frames; None where it counts quarters."""
    if not division & 0x8000:
        if division == 0:
            raise _Fault("it divides a quarter note into 0 ticks", at)
        return None
    frames = _FRAMES_PER_SECOND.get(256 - (division >> 8))
    ticks = division & 0xFF
    if frames is None or ticks == 0:
        raise _Fault(f"its division {division:04X}h is neither quarters nor 24, 25, 29 or 30 frames a second", at)
    return Fraction(1_000_000_000) / (frames * ticks)


# -- reading


def _messages(tracks: list[bytes]) -> list[tuple[int, mido.Message]]:
    """Every kept message with its tick, tracks merged stably."""
    header = b"MThd" + (6).to_bytes(4) + (1).to_bytes(2) + len(tracks).to_bytes(2) + (480).to_bytes(2)
    chunks = b"".join(b"MTrk" + len(body).to_bytes(4) + body for body in tracks)
    merged: list[tuple[int, mido.Message]] = []
    for track in mido.MidiFile(file=io.BytesIO(header + chunks)).tracks:
        tick = 0
        for message in track:
            tick += message.time
            merged.append((tick, message))
    merged.sort(key=lambda pair: pair[0])
    return merged


def _times_ns(timed: list[tuple[int, mido.Message]], division: int) -> Iterator[tuple[int, mido.Message]]:
    """Ticks as nanoseconds, by the tempo map or by frames."""
    unit = _unit(division, 0)
    tempo_us, since_tick, passed = _DEFAULT_TEMPO_US, 0, 0  # passed: ticks times microseconds a quarter
    for tick, message in timed:
        if unit is not None:
            exact = tick * unit
        else:
            passed += (tick - since_tick) * tempo_us
            since_tick = tick
            exact = Fraction(passed * 1000, division)
        if exact > LONGEST_TAKE_NS:
            raise _Fault("it lasts longer than a day", 0)
        yield (2 * exact.numerator + exact.denominator) // (2 * exact.denominator), message
        if message.type == "set_tempo":
            tempo_us = message.tempo


def events_of(data: bytes, name: str = "the file") -> tuple[NoteEvent, ...]:
    """The notes, pedal and mode messages of a MIDI file's bytes, in time order, as events of port `name`.

    Raises `InputError`, and nothing else, for bytes that are no MIDI file, broken or too large.
    """
    name = printable(name)
    if len(data) > LARGEST_FILE_BYTES:
        raise InputError(
            f"{name} is larger than {LARGEST_FILE_BYTES // 1_000_000} MB. A take of an hour has well under 1 MB: "
            "choose a recording of the piano alone."
        )
    try:
        division, tracks = _checked(data)
        timed = _times_ns(_messages(tracks), division)
        heard = (event_of(message.bytes(), time_ns, name) for time_ns, message in timed)
        return tuple(event for event in heard if event is not None and event.channel != PERCUSSION_CHANNEL)
    except _Fault as fault:
        raise InputError(
            f"{name} cannot be read as a MIDI file: at byte {fault.at:,}, {fault.what}. "
            "Export it again from where it was recorded, as a Standard MIDI File of format 0 or 1."
        ) from fault
    except Exception as fault:
        raise InputError(f"{name} cannot be read as a MIDI file: {fault}. Export it again.") from fault


@dataclass(frozen=True, slots=True)
class TempoChange:
    """Where a tempo begins in a file: quarters and nanoseconds from its start, and microseconds a quarter."""

    quarters: Fraction
    time_ns: int
    quarter_us: int


def tempi_of(data: bytes, name: str = "the file") -> tuple[TempoChange, ...]:
    """The tempo map of a MIDI file's bytes, in order of time; the first tempo holds from the start.

    A file that is divided by frames has no quarters: its map is empty. Raises `InputError` as `events_of`.
    """
    events_of(data, name)  # the same refusals, in the same words
    division, tracks = _checked(data)
    if division & 0x8000:
        return ()
    found = [TempoChange(Fraction(0), 0, _DEFAULT_TEMPO_US)]
    timed = _messages(tracks)
    for (tick, _), (time_ns, message) in zip(timed, _times_ns(timed, division), strict=True):
        if message.type == "set_tempo":
            found.append(TempoChange(Fraction(tick, division), time_ns, message.tempo))
    last = {change.quarters: change for change in found}
    return tuple(last[quarters] for quarters in sorted(last))


def read_tempi(path: str | os.PathLike[str]) -> tuple[TempoChange, ...]:
    """The tempo map of the MIDI file at `path`. Raises `InputError`."""
    return tempi_of(*_read(path))


def read_events(path: str | os.PathLike[str]) -> tuple[NoteEvent, ...]:
    """The events of the MIDI file at `path`, from its start in nanoseconds. Raises `InputError`."""
    return events_of(*_read(path))


def _read(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    """The bytes of a file, one more than the largest at most, and its name."""
    place = Path(path)
    name = printable(place.name)
    try:
        if place.exists() and not place.is_file():
            raise InputError(f"{name} is no file. Give the path of a MIDI file, such as take.mid.")
        with place.open("rb") as file:
            return file.read(LARGEST_FILE_BYTES + 1), name
    except FileNotFoundError as fault:
        raise InputError(f"There is no file {printable(str(path))}. Check the name and the folder.") from fault
    except (OSError, ValueError) as fault:
        reason = printable(getattr(fault, "strerror", None) or str(fault))
        raise InputError(f"{name} cannot be opened: {reason}. Check that you may read it.") from fault


class FileInput(Stopped):
    """A recorded take as a source, under a virtual clock that starts at `start_ns`.

    `start` posts the whole take at once and in order, stamped as it was played; `events` is the same as a generator.
    The file is read, and refused with `InputError`, when the source is made.
    """

    stamp_origin = "file"

    def __init__(self, path: str | os.PathLike[str], start_ns: int = 0) -> None:
        self.name = printable(Path(path).name)
        self._events = read_events(path)
        self._start_ns = start_ns
        self._stopped = False

    def events(self) -> Iterator[NoteEvent]:
        """Every event, its stamp on the virtual clock."""
        for event in self._events:
            yield NoteEvent(
                self._start_ns + event.time_ns, event.kind, event.key, event.value, event.channel, event.port
            )

    def start(self, post: Post) -> None:
        self._stopped = False
        for event in self.events():
            if self._stopped:
                return
            post(event)

    def stop(self) -> None:
        self._stopped = True


# -- writing


def take_bytes(events: Iterable[NoteEvent], start_ns: int | None = None) -> bytes:
    """Events in time order as a MIDI file of format 0 in which one tick is one millisecond.

    Times count from `start_ns` (None: from the first event); each is rounded to the nearest millisecond by itself, so
    no error adds up. Events of the port itself (lost, found) are no music and left out. Raises `ValueError` where
    times run backwards.
    """
    first_ns = start_ns
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=TAKE_TEMPO_US)])
    latest_ms = 0
    for event in events:
        message = _message(event)
        if message is None:
            continue
        if first_ns is None:
            first_ns = event.time_ns
        at_ms = (event.time_ns - first_ns + 500_000) // 1_000_000
        if at_ms < latest_ms:
            raise ValueError("the events of a take must be in time order")
        track.append(message.copy(time=at_ms - latest_ms))
        latest_ms = at_ms
    file = mido.MidiFile(type=0, ticks_per_beat=TAKE_TICKS_PER_QUARTER, tracks=[track])
    written = io.BytesIO()
    file.save(file=written)
    return written.getvalue()


def _message(event: NoteEvent) -> mido.Message | None:
    match event.kind:
        case Kind.DOWN:  # velocity 0 would read as a release
            return mido.Message("note_on", note=event.key, velocity=event.value or 1, channel=event.channel)
        case Kind.UP:
            return mido.Message("note_off", note=event.key, velocity=event.value, channel=event.channel)
        case Kind.PEDAL:
            return mido.Message("control_change", control=SUSTAIN, value=event.value, channel=event.channel)
        case Kind.QUIET:  # sensing gone silent (0) has no message of its own: all notes off
            return mido.Message("control_change", control=event.value or 123, value=0, channel=event.channel)
        case _:
            return None


def write_take(path: str | os.PathLike[str], events: Iterable[NoteEvent], start_ns: int | None = None) -> None:
    """Write events as a MIDI file: division 500, tempo 500,000, so that one tick is one millisecond.

    Times count from `start_ns` (None: from the first event). Raises `InputError` where the file cannot be written.
    """
    data = take_bytes(events, start_ns)
    try:
        Path(path).write_bytes(data)
    except (OSError, ValueError) as fault:
        reason = printable(getattr(fault, "strerror", None) or str(fault))
        raise InputError(f"{printable(str(path))} cannot be written: {reason}.") from fault
