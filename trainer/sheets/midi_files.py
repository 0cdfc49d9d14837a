"""A chart as a Standard MIDI File: its chords voiced, its melody, and what a score says of time.

Format 1, three tracks: time (title, tempo, time and key signatures, section letters as markers), melody on channel 1,
chords on channel 2. The form is written as it is played, repeats and endings followed, from the first beat of the
pick-up on, whose measure has a time signature of its own so that bar lines lie where they belong.

Source: Standard MIDI Files 1.1 (FF 03, 06, 51, 58, 59).
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm
from typing import Final

import mido

from trainer.charts import Chart, ChartPath, Key
from trainer.pitch import MidiNote
from trainer.timing import Slot

DEFAULT_TEMPO_BPM: Final = 120
SLOWEST_BPM: Final = 10
FASTEST_BPM: Final = 400
MELODY_VELOCITY: Final = 84
CHORD_VELOCITY: Final = 62

_TICKS: Final = 480
"""Of a quarter; more where the rhythm needs them."""
_MOST_TICKS: Final = 30_720
_MINUTE_US: Final = 60_000_000
_MELODY_CHANNEL: Final = 0
_CHORD_CHANNEL: Final = 1
_OFF: Final = 0
_META: Final = 1
_ON: Final = 2
"""At one tick what ends goes before what begins."""

_Timed = tuple[int, int, mido.Message]


@dataclass(frozen=True, slots=True)
class Voiced:
    """Keys struck together in a form: where and for how long, in beats of the form."""

    start_beats: Fraction
    beats: Fraction
    keys: tuple[MidiNote, ...]


def voiced(found: ChartPath) -> tuple[Voiced, ...]:
    """Every chord of the form as a cheapest path voices it, struck anew where the chart writes it anew; without the
    melody's own note on top of a voicing under it."""
    by_number = {station.number: station for station in found.path.stations}
    starts = {chord.start_beats: number for number, chord in enumerate(found.chords)}
    chords: list[Voiced] = []
    station = None
    for one in found.chart.unrolled():
        if one.start_beats in starts:
            station = by_number.get(starts[one.start_beats])
        if station is None or one.chord.root is None:
            continue
        keys = station.placement.keys
        if len(keys) > 1 and keys[-1] == station.slot.melody_key:
            keys = keys[:-1]
        chords.append(Voiced(one.start_beats, one.beats, keys))
    return tuple(chords)


def voiced_slots(slots: Iterable[Slot]) -> tuple[Voiced, ...]:
    """What is to be played in a lesson, chords and bass, as its voicings are asked for."""
    return tuple(Voiced(one.start_beats, one.beats, one.target.keys) for one in slots)


def midi_bytes(chart: Chart, chords: Sequence[Voiced] = (), *, tempo_bpm: float = DEFAULT_TEMPO_BPM) -> bytes:
    """The file of a chart with these chords; `tempo_bpm` counts beats of its first bar. Raises `ChartError` where its
    form cannot be played and `ValueError` for a tempo outside `SLOWEST_BPM` to `FASTEST_BPM`."""
    if not SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM:
        raise ValueError(f"a tempo is {SLOWEST_BPM} to {FASTEST_BPM} beats a minute, not {tempo_bpm:g}")
    writer = _Writer(chart, chords)
    tracks = [writer.time(tempo_bpm), writer.melody(), writer.chords()]
    file = mido.MidiFile(type=1, ticks_per_beat=writer.ticks, tracks=tracks, charset="utf-8")
    made = io.BytesIO()
    file.save(file=made)
    return made.getvalue()


class _Writer:
    def __init__(self, chart: Chart, voiced_chords: Sequence[Voiced]) -> None:
        self.chart = chart
        self.voiced_chords = voiced_chords
        self.bars = chart.played
        self.first_beats = self.bars[0].start_beats
        earliest = min((one.start_beats for one in voiced_chords), default=self.first_beats)
        if earliest < self.first_beats:
            # Something is played before the first bar line: whole bars before it keep bar lines where they are.
            bar_beats = Fraction(chart.bars[0].meter.beats)
            self.first_beats -= ceil((self.first_beats - earliest) / bar_beats) * bar_beats
        self.end_beats = self.bars[-1].start_beats + self.bars[-1].beats
        self.quarter = Fraction(4, chart.bars[0].meter.unit)  # quarters in a beat of the form
        times = [time for start, beats, _ in self.sung() for time in (start, start + beats)]
        times += [time for one in voiced_chords for time in (one.start_beats, one.start_beats + one.beats)]
        parts = lcm(*((time * self.quarter).denominator for time in times))
        whole = lcm(_TICKS, parts)
        self.ticks = whole if whole <= _MOST_TICKS else _TICKS

    def tick(self, beats: Fraction) -> int:
        """Ticks from the beginning of the file; to the nearest where the rhythm is finer than ticks can be."""
        return round((beats - self.first_beats) * self.quarter * self.ticks)

    def sung(self) -> Iterable[tuple[Fraction, Fraction, MidiNote]]:
        """The melody as it is played, tied notes as one: start, beats, key."""
        held: tuple[Fraction, Fraction, MidiNote] | None = None
        for played in self.bars:
            bar = self.chart.bars[played.written]
            scale = self.chart.beat_of(bar)
            for note in bar.melody:
                start, beats = played.start_beats + (note.beat - 1) * scale, note.beats * scale
                if held is not None and note.tied and held[2] == note.key and held[0] + held[1] == start:
                    held = (held[0], held[1] + beats, note.key)
                    continue
                if held is not None:
                    yield held
                held = (start, beats, note.key)
        if held is not None:
            yield held

    def time(self, tempo_bpm: float) -> mido.MidiTrack:
        events: list[_Timed] = []

        def say(tick: int, kind: str, **values: object) -> None:
            events.append((tick, _META, mido.MetaMessage(kind, **values)))

        if self.chart.title:
            say(0, "track_name", name=_text(self.chart.title))
        quarters = tempo_bpm * float(self.quarter)
        say(0, "set_tempo", tempo=max(1, round(_MINUTE_US / quarters)))
        keys = self.chart.keys
        meter, key = None, None
        if self.first_beats < self.bars[0].start_beats:
            first = self.chart.bars[0].meter
            meter = (first.beats, first.unit)
            say(0, "time_signature", numerator=first.beats, denominator=first.unit)
        for played in self.bars:
            bar = self.chart.bars[played.written]
            tick = self.tick(played.start_beats)
            if (bar.beats, bar.meter.unit) != meter:
                meter = (bar.beats, bar.meter.unit)
                say(tick, "time_signature", numerator=bar.beats, denominator=bar.meter.unit)
            if keys[played.written] != key:
                key = keys[played.written]
                if (name := _signature(key)) is not None:
                    say(tick, "key_signature", key=name)
            if bar.letter:
                say(tick, "marker", text=_text(bar.letter))
        return self.track(events)

    def melody(self) -> mido.MidiTrack:
        notes = [(start, beats, (key,)) for start, beats, key in self.sung()]
        return self.track(self.struck(notes, _MELODY_CHANNEL, MELODY_VELOCITY), "melody")

    def chords(self) -> mido.MidiTrack:
        notes = [(one.start_beats, one.beats, one.keys) for one in self.voiced_chords]
        return self.track(self.struck(notes, _CHORD_CHANNEL, CHORD_VELOCITY), "chords")

    def struck(
        self, notes: Iterable[tuple[Fraction, Fraction, Sequence[MidiNote]]], channel: int, velocity: int
    ) -> list[_Timed]:
        events: list[_Timed] = []
        for start, beats, keys in notes:
            first = self.tick(start)
            last = max(first + 1, self.tick(start + beats))
            for key in keys:
                note = {"note": key, "channel": channel}
                events.append((first, _ON, mido.Message("note_on", velocity=velocity, **note)))
                events.append((last, _OFF, mido.Message("note_off", velocity=0, **note)))
        return events

    def track(self, events: list[_Timed], name: str = "") -> mido.MidiTrack:
        """Events in order, each with the ticks since the one before; the track lasts as long as the form."""
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)] if name else [])
        now = 0
        for tick, _, message in sorted(events, key=lambda event: event[:2]):
            track.append(message.copy(time=tick - now))
            now = tick
        track.append(mido.MetaMessage("end_of_track", time=max(0, self.tick(self.end_beats) - now)))
        return track


def _text(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _signature(key: Key) -> str | None:
    """A key as the library names it; None for one whose signature no file can say (more than seven)."""
    fifths = key.root.fifths - 3 if key.minor else key.root.fifths
    return key.name if -7 <= fifths <= 7 else None
