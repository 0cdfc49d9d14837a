"""A take followed while it is played: which slot is now, and what became of those before.

    following = Following(slots, grid, calibration_ms=12.0)
    told = following.hear(event)             # answers decided or changed by this event
    told = following.tick(now_ns)            # serves following.deadline_ns
    following.slot_at(now_ns)                # what is due
    aligned = following.finish()             # exactly `align` over the same events

What is told while playing is provisional: it comes from the same alignment, over a window. A right chord is told the
moment it is complete; any other gesture once the gap after its last key is over; a slot that nothing answered once it
can no longer be answered. An answer told for a slot replaces the one told before. The window holds the slots within
whose reach now is, and the strokes not yet given away, at most `MOST_STROKES`; the player's drift is the line through
the last dozen answers. Where two slots in a row were missed or wrong, the last bars are searched for a player who
stopped short and went on, and slots given away meanwhile are opened again. So an event costs the same at the end of a
long form as at its beginning.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Final

from trainer.capture import MILLISECOND_NS, Gesture, Kind, NoteEvent, Windows
from trainer.timing.alignment import Lane, Run, assign, lanes_of
from trainer.timing.answers import (
    Aligned,
    Answer,
    Bounds,
    Marker,
    align,
    moments_of,
    splitter_of,
    touches_of,
)
from trainer.timing.drift import NO_DRIFT, Drift, Match, Touch, follow, line_at
from trainer.timing.grid import Grid
from trainer.timing.hearing import Hand, Listener, Stroke, gesture_of, whole_ms
from trainer.timing.slots import Slot

MOST_STROKES: Final = 40
_MATCHES_KEPT: Final = 12
_MATCHES_ANEW: Final = 3
_ANEW_MS: Final = 120.0
_LOST: Final = 2
_STROKES_SEARCHED: Final = 60
_SLOTS_BACK: Final = 6


class _Voice:
    """One lane while it is played: its frontier (slots and strokes before it are given away), and what was told."""

    def __init__(self, lane: Lane, marker: Marker) -> None:
        self.lane = lane
        self.marker = marker
        self.hand = Hand()
        self.slot = 0
        self.stroke = 0
        self.answered = (0, 0)  # the slot and the stroke after the last answer
        self.runs: dict[int, Run] = {}
        self.heard: dict[int, Gesture] = {}
        self.told: dict[int, Answer] = {}
        self.waits = False  # a gesture is not over, and is not right as it stands

    @property
    def undecided(self) -> bool:
        """The first slot is being answered by a gesture that is not over: it is not given away yet."""
        return self.waits and self.slot in self.runs and self.slot not in self.told

    def closes_ms(self, index: int, drift_ms: float) -> float:
        return self.lane.at_ms[index] + self.lane.late_ms[index] + drift_ms

    def opens_ms(self, index: int, drift_ms: float) -> float:
        return self.lane.at_ms[index] - self.lane.early_ms[index] + drift_ms


class Following:
    """See the head of this module. The arguments are those of `align`; raises nothing on foreign or late events."""

    def __init__(
        self,
        slots: Sequence[Slot],
        grid: Grid,
        *,
        calibration_ms: float = 0.0,
        channel: int | None = None,
        windows: Windows | None = None,
        bounds: Bounds | None = None,
    ) -> None:
        self.slots = tuple(slots)
        self.grid = grid
        self._calibration_ms = calibration_ms
        self._channel = channel
        self._windows = windows or Windows()
        self._bounds = bounds or Bounds()
        lanes = lanes_of(self.slots, grid, self._windows, calibration_ms)
        self._voices = [_Voice(lane, Marker(lane, self._windows, self._bounds)) for lane in lanes]
        self._by_part = {voice.lane.part: voice for voice in self._voices}
        self._splitter = splitter_of(lanes, NO_DRIFT)
        self._listener = Listener(grid.start_ns, channel)
        self._events: list[NoteEvent] = []
        self._matches: list[Match] = []
        self._strokes: list[Stroke] = []
        self._moments = moments_of(lanes)
        self._lost = 0  # slots given away in a row that were missed or wrong

    # -- what is asked of it

    @property
    def events(self) -> tuple[NoteEvent, ...]:
        """Everything heard."""
        return tuple(self._events)

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The answers told so far, the latest for each slot, in the order of the slots."""
        told = {id(answer.slot): answer for voice in self._voices for answer in voice.told.values()}
        return tuple(told[id(slot)] for slot in self.slots if id(slot) in told)

    def slot_at(self, now_ns: int, part: str = "chord") -> Slot | None:
        """The slot of a part that is due: the last whose moment has come by the grid, before the first one the first;
        None after the last has ended, or where nothing is asked of the part."""
        voice = self._by_part.get(part)
        if voice is None:
            return None
        lane = voice.lane
        now_ms = (now_ns - self.grid.start_ns) / MILLISECOND_NS + self._calibration_ms
        index = bisect_right(lane.at_ms, now_ms) - 1
        if index < 0:
            return lane.slots[0]
        ended = index + 1 == len(lane.slots) and now_ms >= lane.at_ms[index] + lane.length_ms[index]
        return None if ended else lane.slots[index]

    @property
    def deadline_ns(self) -> int | None:
        """When `tick` has something to tell if no event comes first; None: nothing is due any more."""
        due: list[float] = []
        drift_ms = self._drift_ms()
        for voice in self._voices:
            if voice.waits:
                due.append(voice.hand.strokes[-1].down_ms + voice.lane.gap_ms)
            if voice.slot < len(voice.lane.slots) and not voice.undecided:
                due.append(voice.closes_ms(voice.slot, drift_ms))
        return None if not due else self.grid.start_ns + (int(min(due)) + 1) * MILLISECOND_NS

    # -- what drives it

    def hear(self, event: NoteEvent) -> tuple[Answer, ...]:
        """Take one event; the answers that it decides or changes."""
        self._events.append(event)
        now_ms = whole_ms(event.time_ns, self.grid.start_ns)
        stroke = self._listener.hear(event)
        if stroke is None:
            return self._told(now_ms, None) if event.kind is not Kind.PEDAL else ()
        if not self._voices:
            return ()
        voice = self._voices[self._splitter.lane(stroke.key, stroke.down_ms - self._drift_ms())]
        voice.hand.append(stroke)
        self._strokes.append(stroke)
        if self._lost >= _LOST:
            self._lost = 0
            self._find_again(now_ms)
        return self._told(now_ms, voice)

    def tick(self, now_ns: int) -> tuple[Answer, ...]:
        """Serve what is due by now."""
        due = self.deadline_ns
        if due is None or now_ns < due:
            return ()
        return self._told(whole_ms(now_ns, self.grid.start_ns), None)

    def finish(self, until_ns: int | None = None) -> Aligned:
        """The whole take aligned; with `until_ns`, a pass stopped there."""
        return align(
            self._events,
            self.slots,
            self.grid,
            calibration_ms=self._calibration_ms,
            until_ns=until_ns,
            channel=self._channel,
            windows=self._windows,
            bounds=self._bounds,
        )

    # -- the window

    def _drift_ms(self) -> float:
        if len(self._matches) < _MATCHES_ANEW:
            return 0.0
        return line_at(self._matches, self._matches[-1][0])

    def _match(self, match: Match) -> None:
        """Keep an answer for the drift; where the last few all lie beside the line of those before, in one direction,
        the player has stopped short and goes on from there."""
        self._matches.append(match)
        self._matches.sort()
        del self._matches[:-_MATCHES_KEPT]
        before, latest = self._matches[:-_MATCHES_ANEW], self._matches[-_MATCHES_ANEW:]
        if len(before) >= _MATCHES_ANEW:
            off = [offset - line_at(before, at) for at, offset in latest]
            if min(off) > _ANEW_MS or max(off) < -_ANEW_MS:
                self._matches = latest

    def _find_again(self, now_ms: int) -> None:
        """Several slots in a row were not right: perhaps the player stopped short. Look anew where the last gestures
        belong, and go back to the slots that were given away meanwhile."""
        beat_ms = self.grid.beat_ns / MILLISECOND_NS
        latest = [stroke for stroke in self._strokes[-_STROKES_SEARCHED:] if stroke.down_ms > now_ms - 16 * beat_ms]
        drift_ms = self._drift_ms()
        near = [moment for moment in self._moments if abs(moment.at_ms + drift_ms - now_ms) <= 24 * beat_ms]
        touches = [Touch(each.at_ms - drift_ms, each.keys) for each in touches_of(latest, near, self._windows)]
        stretches = follow(touches, near, beat_ms)
        if not stretches or len(stretches[-1]) < _MATCHES_ANEW:
            return
        matches = [(at, offset + drift_ms) for at, offset in stretches[-1][-_MATCHES_KEPT:]]
        if abs(line_at(matches, matches[-1][0]) - drift_ms) <= _ANEW_MS:
            return
        self._matches = matches
        for voice in self._voices:
            voice.slot = max(voice.answered[0], voice.slot - _SLOTS_BACK)
            voice.stroke = voice.answered[1]
            voice.runs = {}
            self._realign(voice, now_ms, self._drift_ms())

    def _told(self, now_ms: int, struck: _Voice | None) -> tuple[Answer, ...]:
        drift_ms = self._drift_ms()
        told: list[Answer] = []
        for voice in self._voices:
            if voice is struck:
                self._realign(voice, now_ms, drift_ms)
            told += self._answers(voice, now_ms)
            while (
                voice.slot < len(voice.lane.slots)
                and now_ms > voice.closes_ms(voice.slot, drift_ms)
                and not voice.undecided
            ):
                told += self._give_away(voice, drift_ms)
        return tuple(told)

    def _realign(self, voice: _Voice, now_ms: int, drift_ms: float) -> None:
        """Align the window anew."""
        voice.stroke = max(voice.stroke, len(voice.hand) - MOST_STROKES)
        end = voice.slot
        while end < len(voice.lane.slots) and voice.opens_ms(end, drift_ms) <= now_ms:
            end += 1
        drift = Drift((0.0,), (drift_ms,))
        window = (voice.stroke, len(voice.hand))
        found = assign(voice.lane, voice.hand, self._windows, drift, (voice.slot, end), window)
        voice.runs = dict(found.answers)

    def _answers(self, voice: _Voice, now_ms: int) -> list[Answer]:
        """What is to be told of the runs in the window."""
        told = []
        voice.waits = False
        for index, run in voice.runs.items():
            target = voice.lane.slots[index].target
            gesture = gesture_of(voice.hand, run.first, run.stop, target, self._windows)
            over = now_ms > voice.hand.strokes[run.stop - 1].down_ms + voice.lane.gap_ms
            if not over and target.match(gesture.held)[1] is None:
                voice.waits = True
            elif gesture != voice.heard.get(index):
                voice.heard[index] = gesture
                answer = voice.marker.graded(index, gesture)
                if answer != voice.told.get(index):
                    voice.told[index] = answer
                    told.append(answer)
        return told

    def _give_away(self, voice: _Voice, drift_ms: float) -> list[Answer]:
        """The first slot of the window can no longer be answered: what it has stays, and its strokes with it."""
        index = voice.slot
        run = voice.runs.pop(index, None)
        voice.slot += 1
        if run is not None and index in voice.told:
            voice.stroke = max(voice.stroke, run.stop)
            voice.answered = (index + 1, run.stop)
            self._lost = self._lost + 1 if voice.told[index].verdict == "wrong" else 0
            at_ms = voice.lane.at_ms[index]
            self._match((at_ms, voice.hand.strokes[run.first].down_ms - at_ms))
            return []
        if voice.slot < len(voice.lane.slots):
            opens = voice.opens_ms(voice.slot, drift_ms)
            while voice.stroke < len(voice.hand) and voice.hand.strokes[voice.stroke].down_ms < opens:
                voice.stroke += 1
        self._lost += 1
        answer = voice.marker.silent(index)
        before = voice.told.get(index)
        voice.told[index] = answer
        return [] if before is not None and before.verdict == answer.verdict else [answer]
