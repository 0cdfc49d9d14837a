"""Note events as strokes of the hands, in whole milliseconds from beat 0; and what a run of strokes holds.

The rules are those of `trainer.capture`, for a take that goes on whatever is played:

- What counts is keys down; the pedal is recorded and holds nothing. A second note-on for a key that is down is a
  re-strike. A mode message, or a port that is gone, lets every key go.
- A further stroke within the gap of the last belongs to the same gesture. The gap is `Windows.gap_ns`, but never wider
  than half the shortest distance between two slots of that hand. A key struck again after more than `Windows.graze_ns`
  begins a new gesture; sooner, it is a bounce.
- What is held is the fullest set of keys down together; a key let go up to `graze_ns` before the last one still counts.
- A held common tone serves; a key left over from before, foreign to the chord, is none of it for `leftover_ns`
  into the gesture, nor where the chord was let go first; after that it is a graze if it is let go within `silence_ns`
  of the last stroke and before the chord, else part of the answer.
- A wrong key is a graze under the same conditions as in `trainer.capture`; else it belongs to the answer.

Hands are split by rule: where slots of two parts are near in time, each stroke goes to the part whose slot (the nearest
in time of each part) alone has that key among its accepted answers, else to the part that asks for the key nearest to
it. A tie goes to the first part of `PARTS`.

Times are cut to microseconds, as a pass is recorded, and then rounded to milliseconds, halves up, as a take is written
to a file; so a take gives the same figures live, from its record and from its file.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from trainer.capture import MILLISECOND_NS, Capture, Gesture, Judge, Kind, NoteEvent, Standing, Windows, stand_ns
from trainer.grading import Target
from trainer.pitch import MidiNote, keys_of

STILL_DOWN: Final = 1 << 60

ACCEPTED: Final = (Standing.COMPLETE, Standing.GROWABLE)


def whole_ms(time_ns: int, start_ns: int) -> int:
    """A moment in whole milliseconds from `start_ns`.

    >>> whole_ms(1_000_499_999, 0), whole_ms(1_000_500_000, 0), whole_ms(0, 1_500_000)
    (1000, 1001, -1)
    """
    return ((time_ns - start_ns) // 1000 + 500) // 1000


@dataclass(slots=True, eq=False)
class Stroke:
    """A key struck, and when it was let go (`STILL_DOWN` until then)."""

    key: MidiNote
    down_ms: int
    up_ms: int = STILL_DOWN

    def is_down(self, at_ms: int) -> bool:
        """Whether it is held at a moment not before it was struck."""
        return self.up_ms > at_ms or self.down_ms == at_ms


class Listener:
    """Turns note events, in their order, into strokes; a stroke handed out learns later when it was let go."""

    def __init__(self, start_ns: int, channel: int | None = None) -> None:
        self._start_ns = start_ns
        self._capture = Capture(channel=channel)
        self._down: dict[MidiNote, Stroke] = {}

    def hear(self, event: NoteEvent) -> Stroke | None:
        """Take one event; the stroke, if it is one."""
        if self._capture.ignores(event) or event.kind in (Kind.PEDAL, Kind.PORT_FOUND):
            return None
        now_ms = whole_ms(event.time_ns, self._start_ns)
        if event.kind not in (Kind.DOWN, Kind.UP):
            for stroke in self._down.values():
                stroke.up_ms = now_ms
            self._down.clear()
            return None
        before = self._down.pop(event.key, None)
        if before is not None:
            before.up_ms = now_ms
        if event.kind is Kind.UP:
            return None
        stroke = self._down[event.key] = Stroke(event.key, now_ms)
        return stroke


def strokes_of(events: Iterable[NoteEvent], start_ns: int, channel: int | None = None) -> list[Stroke]:
    """The strokes of a take."""
    listener = Listener(start_ns, channel)
    return [stroke for event in events if (stroke := listener.hear(event)) is not None]


class Hand:
    """The strokes of one part, each with the strokes still down when it came, and when its key was struck before."""

    def __init__(self) -> None:
        self.strokes: list[Stroke] = []
        self.carried: list[tuple[Stroke, ...]] = []
        self.before_ms: list[int | None] = []
        self._down: dict[MidiNote, Stroke] = {}
        self._struck_ms: dict[MidiNote, int] = {}

    def __len__(self) -> int:
        return len(self.strokes)

    def append(self, stroke: Stroke) -> None:
        now_ms = stroke.down_ms
        for key in [key for key, other in self._down.items() if other.up_ms <= now_ms]:
            del self._down[key]
        self.carried.append(tuple(self._down.values()))
        self.before_ms.append(self._struck_ms.get(stroke.key))
        self._struck_ms[stroke.key] = now_ms
        self._down[stroke.key] = stroke
        self.strokes.append(stroke)


class Splitter:
    """Gives each stroke to a part; see the head of this module.

    `lanes` are, for each part, the moments of its slots (ms, ascending) and their targets.
    """

    def __init__(self, lanes: Sequence[tuple[Sequence[float], Sequence[Target]]]) -> None:
        self._lanes = lanes

    def lane(self, key: MidiNote, at_ms: float) -> int:
        """Which of the lanes a stroke belongs to."""
        if len(self._lanes) == 1:
            return 0
        asked = [targets[_nearest(moments, at_ms)] for moments, targets in self._lanes]
        accepting = [lane for lane, target in enumerate(asked) if target.members >> key & 1]
        if len(accepting) == 1:
            return accepting[0]
        away = [min(abs(key - other) for other in target.keys) for target in asked]
        return away.index(min(away))


def _nearest(moments: Sequence[float], at_ms: float) -> int:
    after = bisect_left(moments, at_ms)
    if after == 0:
        return 0
    if after == len(moments):
        return after - 1
    return after if moments[after] - at_ms < at_ms - moments[after - 1] else after - 1


def gap_ms(moments: Sequence[float], windows: Windows) -> float:
    """The gap rule at a tempo: how long after the last stroke another still belongs to the gesture.

    >>> gap_ms([0, 500, 625], Windows()), gap_ms([0, 2000], Windows())
    (62.5, 80.0)
    """
    distances = [after - before for before, after in zip(moments, moments[1:], strict=False) if after > before]
    return min([windows.gap_ns / MILLISECOND_NS, *(distance / 2 for distance in distances)])


def gesture_of(hand: Hand, first: int, stop: int, judge: Judge, windows: Windows) -> Gesture:
    """What the strokes `first` up to (not with) `stop` hold, as an answer to a target. Its times are from beat 0."""
    strokes = hand.strokes[first:stop]
    graze_ms = windows.graze_ns // MILLISECOND_NS
    members = judge.members
    struck = 0
    for stroke in strokes:
        struck |= 1 << stroke.key
    carried = [stroke for stroke in hand.carried[first] if not struck >> stroke.key & 1]
    best = 0
    for index, stroke in enumerate(strokes):
        counted = _counted(strokes[: index + 1], carried, stroke.down_ms, members, graze_ms)
        if counted.bit_count() >= best.bit_count():
            best = counted
    own = [stroke for stroke in strokes if best >> stroke.key & 1]
    complete_ms = max(stroke.down_ms for stroke in own)
    let_go_ms = min(stroke.up_ms for stroke in own if stroke.is_down(complete_ms))
    begin_ms, last_ms = strokes[0].down_ms, strokes[-1].down_ms
    left_over, left_brushed = 0, 0
    for stroke in carried:
        grace_end_ms = begin_ms + windows.leftover_ns // MILLISECOND_NS
        if not members >> stroke.key & 1 and min(stroke.up_ms, let_go_ms) > grace_end_ms:
            if stroke.up_ms <= let_go_ms and stroke.up_ms <= last_ms + windows.silence_ns // MILLISECOND_NS:
                left_brushed |= 1 << stroke.key
            else:
                left_over |= 1 << stroke.key
    if left_over:
        left_over, left_brushed = left_over | left_brushed, 0
    held, grazed = best | left_over, 0
    if judge.standing(held & ~(struck & ~members)) in ACCEPTED:
        held, grazed = _with_wrong_keys(strokes, held & ~(struck & ~members), members, graze_ms)
        grazed |= left_brushed
    counting = [stroke for stroke in strokes if held >> stroke.key & 1] or strokes
    return Gesture(
        tuple((stroke.key, stroke.down_ms * MILLISECOND_NS) for stroke in counting),
        held,
        keys_of(grazed),
        counting[0].down_ms * MILLISECOND_NS,
        counting[-1].down_ms * MILLISECOND_NS,
        strokes[-1].down_ms * MILLISECOND_NS,
    )


def _counted(strokes: Sequence[Stroke], carried: Sequence[Stroke], now_ms: int, members: int, graze_ms: int) -> int:
    """The keys down together at a moment, keys of the chord let go just before among them."""
    counted = 0
    for stroke in strokes:
        bit = 1 << stroke.key
        if stroke.is_down(now_ms) or (bit & members and stroke.up_ms >= now_ms - graze_ms):
            counted |= bit
    for stroke in carried:
        bit = 1 << stroke.key
        if bit & members and stroke.up_ms > now_ms:
            counted |= bit
    return counted


def _with_wrong_keys(strokes: Sequence[Stroke], good: int, members: int, graze_ms: int) -> tuple[int, int]:
    """A right chord beside which wrong keys were struck: what counts as held, and what was only brushed."""
    own = [stroke for stroke in strokes if good >> stroke.key & 1]
    held, grazed = good, 0
    if not own:
        return held, grazed
    complete_ms = max(stroke.down_ms for stroke in own)
    let_go_ms = min(stroke.up_ms for stroke in own if stroke.is_down(complete_ms))
    for stroke in strokes:
        if members >> stroke.key & 1:
            continue
        if stroke.up_ms <= complete_ms:
            brushed = complete_ms - stroke.up_ms <= graze_ms
        else:
            beside_ms = stroke.up_ms - max(stroke.down_ms, complete_ms)
            stands_ms = stand_ns(beside_ms * MILLISECOND_NS) // MILLISECOND_NS
            brushed = beside_ms <= graze_ms and let_go_ms >= stroke.up_ms + stands_ms
        if brushed:
            grazed |= 1 << stroke.key
        else:
            held |= 1 << stroke.key
    return held, grazed & ~held
