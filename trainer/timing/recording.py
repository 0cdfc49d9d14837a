"""An aligned take as it is recorded, and a record as a take again.

    record = record_of(aligned, Circumstances(...))
    align(events_of(record), slots, Grid(record.tempo_bpm, 0, ...), calibration_ms=record.calibration_ms)

gives the same answers: events are kept in microseconds from beat 0, and `align` cuts every time that way first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from trainer.capture import Kind, NoteEvent
from trainer.pitch import MidiNote
from trainer.timing.answers import Aligned, Answer
from trainer.timing.records import PassRecord, SlotRecord

CLEAN_SCATTER_MS: Final = 50.0
"""A pass that scatters more is not clean (a judgement; players of an ensemble are 30-40 ms apart as a rule)."""


def is_clean(aligned: Aligned, scatter_ms: float = CLEAN_SCATTER_MS) -> bool:
    """The rule of the tempo ladder. A pass is clean when it was played whole, the port was there throughout, every slot
    that is not optional was right and an optional one right or left out, none of them further from its moment than its
    bound (before it or after), and the take scatters no more than `scatter_ms`. Gestures too many do not count.
    """
    return (
        aligned.whole
        and not aligned.lost
        and bool(aligned.answers)
        and all(answer.in_time or answer.verdict == "left out" for answer in aligned.answers)
        and any(answer.verdict == "right" for answer in aligned.answers)
        and (aligned.scatter_ms is None or aligned.scatter_ms <= scatter_ms)
    )


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a pass is recorded with besides the take; see `PassRecord`."""

    session: str
    number: int
    utc: str
    title: str
    key: str
    beats: float
    meter: str = "4/4"
    section: str = ""
    port: str = ""
    stamp_origin: str = ""
    assignment: str = ""


def record_of(aligned: Aligned, circumstances: Circumstances) -> PassRecord:
    """A pass for the record. Its outcome: void where the port was lost, stopped where slots were not reached."""
    return PassRecord(
        session=circumstances.session,
        number=circumstances.number,
        utc=circumstances.utc,
        title=circumstances.title,
        section=circumstances.section,
        key=circumstances.key,
        tempo_bpm=float(aligned.grid.tempo_bpm),
        swing=float(aligned.grid.swing),
        beats=circumstances.beats,
        meter=circumstances.meter,
        outcome="void" if aligned.lost else "whole" if aligned.whole else "stopped",
        clean=is_clean(aligned),
        slots=tuple(map(slot_record, aligned.answers)),
        extra=len(aligned.extra),
        offset_ms=aligned.offset_ms,
        scatter_ms=aligned.scatter_ms,
        calibration_ms=aligned.calibration_ms,
        port=circumstances.port,
        stamp_origin=circumstances.stamp_origin,
        events=raw_events(aligned.events, aligned.grid.start_ns),
        assignment=circumstances.assignment,
    )


def slot_record(answer: Answer) -> SlotRecord:
    """A slot and what became of it, for the record."""
    slot, target, graded = answer.slot, answer.slot.target, answer.grade
    return SlotRecord(
        index=slot.index,
        bar=slot.bar,
        beat=beat_text(slot.beat),
        part=slot.part,
        chord=target.chord.symbol,
        root=target.root.name,
        quality=target.chord.quality.text,
        voicing=target.voicing,
        degrees=tuple(degree.name for degree in target.degrees),
        keys=tuple(target.keys),
        verdict=answer.verdict,
        held=tuple(answer.held),
        error_ms=None if answer.error_ms is None else float(answer.error_ms),
        spread_ms=None if answer.spread_ms is None else float(answer.spread_ms),
        cause=None if graded is None else graded.cause,
        causes=() if graded is None else tuple(cause.code for cause in graded.causes),
        sentence=answer.sentence,
        move=slot.move,
    )


def beat_text(beat: Fraction) -> str:
    """A beat as a number.

    >>> beat_text(Fraction(1)), beat_text(Fraction(5, 2)), beat_text(Fraction(8, 3))
    ('1', '2.5', '2.667')
    """
    return f"{round(float(beat), 3):g}"


RawEvents = tuple[tuple[int, str, int, int, int], ...]


def raw_events(events: Sequence[NoteEvent], start_ns: int) -> RawEvents:
    """A take for the record, in microseconds from beat 0."""
    return tuple(
        ((event.time_ns - start_ns) // 1000, str(event.kind), int(event.key), event.value, event.channel)
        for event in events
    )


def events_of(record: PassRecord) -> tuple[NoteEvent, ...]:
    """The take of a record, on a clock whose 0 is beat 0."""
    return tuple(
        NoteEvent(time_us * 1000, Kind(kind), MidiNote(key), value, channel, record.port)
        for time_us, kind, key, value, channel in record.events
    )
