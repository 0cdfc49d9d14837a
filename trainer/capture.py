"""Timed note events in, settled gestures out.

A *gesture* is what a hand does to answer a prompt: the keys it strikes, together, rolled or one by one, until the
answer is decided. This module decides when, on events and deadlines and never by polling, because a whole chord can
be down together for as little as 50 ms (measured, open corpora of played piano).

The rules, each window a field of `Windows`:

- A note-on within `gap_ns` of the last belongs to the gesture.
- Settled as soon as the keys held are exactly an accepted answer. Where a further optional key could still come,
  after the gap.
- Settled as wrong `silence_ns` after the last note-on once a key was struck that no accepted answer contains, or
  where the keys held cannot become an accepted answer by adding to them.
- Settled at full release, once no further note-on can belong to it.
- While all keys held belong to an answer and some are missing, it waits: building a chord slowly is not wrong.
- A key left over from the gesture before is no wrong key for its first `leftover_ns`; a held common tone serves.
- A key of the answer released within `graze_ns` before the last note-on still counts: a short touch is one touch.
- A wrong key released within `graze_ns` before the chord settles is a graze, reported with the gesture.

What is held is what the fingers hold; the pedal is recorded and does not hold keys, unless `sounding` is asked for.
Keys are sets as integers, bit n for key n (`pitch.mask_of`). Times are integer nanoseconds of one monotonic clock.

Sources: the windows come from the open Vienna 4x22 piano corpus and two more (aggregates in the design notes: gap
80 ms keeps 97-99 % of written chords whole; the gap between two chords of one hand has p1 = 201 ms; together is
75 ms for one hand and 110 ms for two); `leftover_ns` and `graze_ns` are judgements.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum, StrEnum
from typing import Final, Protocol

from trainer.pitch import MidiNote, keys_of, mask_of

MILLISECOND_NS: Final = 1_000_000
PERCUSSION_CHANNEL: Final = 9
"""MIDI channel 10, counted from 0: General MIDI percussion."""


class Kind(StrEnum):
    """What happened at the piano."""

    DOWN = "down"
    UP = "up"
    PEDAL = "pedal"
    QUIET = "quiet"
    PORT_LOST = "port lost"
    PORT_FOUND = "port found"


@dataclass(frozen=True, slots=True)
class NoteEvent:
    """One event of a piano, stamped on a monotonic clock the moment it arrived.

    `value` is the velocity of a key, the controller value of the sustain pedal (64 and over is down), or the
    controller number that silenced the port (CC120, CC123-127; 0 for active sensing gone silent).
    `channel` is 0-15. An UP event is what MIDI calls note-off or a note-on with velocity 0.
    """

    time_ns: int
    kind: Kind
    key: MidiNote = MidiNote(0)
    value: int = 0
    channel: int = 0
    port: str = ""


@dataclass(frozen=True, slots=True)
class Windows:
    """The windows of hearing, in nanoseconds."""

    gap_ns: int = 80 * MILLISECOND_NS
    silence_ns: int = 200 * MILLISECOND_NS
    leftover_ns: int = 120 * MILLISECOND_NS
    graze_ns: int = 60 * MILLISECOND_NS
    together_one_hand_ns: int = 75 * MILLISECOND_NS
    together_two_hands_ns: int = 110 * MILLISECOND_NS
    rolled_ns: int = 100 * MILLISECOND_NS

    def widened(self, by_ns: int) -> Windows:
        """The same windows for a port whose stamps scatter more (Bluetooth: 15 ms)."""
        return replace(
            self,
            gap_ns=self.gap_ns + by_ns,
            silence_ns=self.silence_ns + by_ns,
            leftover_ns=self.leftover_ns + by_ns,
            graze_ns=self.graze_ns + by_ns,
            together_one_hand_ns=self.together_one_hand_ns + by_ns,
            together_two_hands_ns=self.together_two_hands_ns + by_ns,
        )


_LEAST_STAND_NS: Final = 10 * MILLISECOND_NS
"""Keys let go at once do not arrive at once; a chord that stood shorter without its wrong key did not stand."""


def stand_ns(beside_ns: int) -> int:
    """How long a chord must stand alone for a key that was down beside it for `beside_ns` to count as brushed."""
    return max(beside_ns, _LEAST_STAND_NS)


class Standing(Enum):
    """How the keys held stand to what is asked."""

    COMPLETE = "an accepted answer to which nothing can be added"
    GROWABLE = "an accepted answer that an optional key could still join"
    PARTIAL = "part of an accepted answer"
    WRONG = "no part of any accepted answer"


class Judge(Protocol):
    """What capture must know of the target: how a set of keys stands, and which keys any answer contains."""

    @property
    def members(self) -> int:
        """Every key that some accepted answer contains, as a mask."""

    def standing(self, held: int) -> Standing:
        """How the held keys, as a mask, stand."""


@dataclass(frozen=True, slots=True)
class Gesture:
    """A decided answer.

    `struck` are (key, onset in ns) in order of arrival; `held` is the mask of keys that count as the answer, common
    tones and overheld keys among them; `grazed` are wrong keys released just before the chord settled.
    """

    struck: tuple[tuple[MidiNote, int], ...]
    held: int
    grazed: tuple[MidiNote, ...]
    first_ns: int
    last_ns: int
    settled_ns: int

    @property
    def keys(self) -> tuple[MidiNote, ...]:
        return keys_of(self.held)

    @property
    def spread_ns(self) -> int:
        return self.last_ns - self.first_ns

    def manner(self, windows: Windows, two_hands: bool = False) -> str:
        """``together``, ``rolled`` (wide, three keys or more, strictly one direction) or ``spread``."""
        keys = [key for key, _ in self.struck]
        rising = all(low < high for low, high in zip(keys, keys[1:], strict=False))
        falling = all(low > high for low, high in zip(keys, keys[1:], strict=False))
        if self.spread_ns > windows.rolled_ns and len(keys) >= 3 and (rising or falling):
            return "rolled"
        together = windows.together_two_hands_ns if two_hands else windows.together_one_hand_ns
        return "together" if self.spread_ns <= together else "spread"


@dataclass(slots=True)
class _Growing:
    """A gesture under way."""

    first_ns: int
    last_ns: int
    carried: int  # keys held since before the gesture and not let go since
    struck: list[tuple[MidiNote, int]] = field(default_factory=list)
    struck_mask: int = 0
    released: dict[MidiNote, int] = field(default_factory=dict)
    best: int = 0  # the fullest set held together after a note-on
    let_go: bool = False
    waits_for_leftovers: bool = False
    crowded_ns: int | None = None  # since when the whole target is down with a wrong key beside it
    stands_ns: int | None = None  # when a chord that lost its wrong key has stood without it long enough
    pressed: int = 0  # wrong keys that were more than brushed


class Capture:
    """Hears events, holds the set of keys down, and returns gestures as they settle.

    Feed every event to `feed` in time order and call `tick` at or after `deadline_ns`. Both return the gestures that
    settled, oldest first. The clock is the events' own; nothing here reads one.
    """

    __slots__ = (
        "windows",
        "sounding",
        "channel",
        "down",
        "pedal_down",
        "_held",
        "_growing",
        "_correction_ns",
        "_missed",
    )

    def __init__(self, windows: Windows | None = None, *, sounding: bool = False, channel: int | None = None) -> None:
        self.windows = windows or Windows()
        self.sounding = sounding
        self.channel = channel
        self.down = 0
        """Keys the fingers hold, as a mask."""
        self.pedal_down = False
        self._held = 0  # keys that are judged: those down, or sounding where that is asked for
        self._growing: _Growing | None = None
        self._correction_ns: int | None = None  # when a wrong chord became right by letting a key go
        self._missed = False  # the last gesture of this attempt was wrong

    @property
    def held(self) -> int:
        """Keys that are judged as held, as a mask."""
        return self._held

    @property
    def hears_gesture(self) -> bool:
        return self._growing is not None

    def ignores(self, event: NoteEvent) -> bool:
        """Percussion, and every channel but the chosen one."""
        if event.kind in (Kind.PORT_LOST, Kind.PORT_FOUND):
            return False
        if self.channel is not None:
            return event.channel != self.channel
        return event.channel == PERCUSSION_CHANNEL

    def forget(self) -> None:
        """Drop the gesture under way and start a new attempt; the keys held stay held."""
        self._growing = None
        self._correction_ns = None
        self._missed = False

    def missed(self) -> None:
        """The last gesture was judged wrong: letting a wrong key go may now correct it."""
        self._missed = True

    def silence(self) -> None:
        """No key is held any more: mode message, sensing lost, port gone."""
        self.down = 0
        self._held = 0
        self.pedal_down = False
        self.forget()

    def feed(self, event: NoteEvent, judge: Judge) -> list[Gesture]:
        """Take one event. Deadlines that passed before it are served first."""
        if self.ignores(event):
            return []
        settled = self.tick(event.time_ns, judge)
        bit = 1 << event.key
        if event.kind is Kind.DOWN:
            if self._held & bit:  # struck again without a release between, or under the pedal
                settled += self._let_go(event.key, event.time_ns, judge)
            self.down |= bit
            settled += self._strike(event.key, event.time_ns, judge)
        elif event.kind is Kind.UP:
            self.down &= ~bit
            if self._held & bit and not (self.sounding and self.pedal_down):
                settled += self._let_go(event.key, event.time_ns, judge)
        elif event.kind is Kind.PEDAL:
            self.pedal_down = event.value >= 64
            if self.sounding and not self.pedal_down:
                for key in keys_of(self._held & ~self.down):
                    settled += self._let_go(key, event.time_ns, judge)
        elif event.kind is not Kind.PORT_FOUND:
            self.silence()
        return settled

    def track(self, event: NoteEvent) -> None:
        """Keep the held keys true without listening for an answer."""
        bit = 1 << event.key
        if event.kind is Kind.DOWN:
            self.down |= bit
            self._held |= bit
        elif event.kind is Kind.UP:
            self.down &= ~bit
            if not (self.sounding and self.pedal_down):
                self._held &= ~bit
        elif event.kind is Kind.PEDAL:
            self.pedal_down = event.value >= 64
            if self.sounding and not self.pedal_down:
                self._held = self.down
        elif event.kind is not Kind.PORT_FOUND:
            self.silence()

    def deadline_ns(self, judge: Judge) -> int | None:
        """When `tick` has something to decide if no event comes first; None: nothing is due."""
        growing = self._growing
        if growing is None:
            return None if self._correction_ns is None else self._correction_ns + self.windows.silence_ns
        if growing.stands_ns is not None:
            return growing.stands_ns
        if growing.let_go:
            return growing.last_ns + self.windows.gap_ns
        due = self._grace_end_ns(growing, judge)
        match self._standing(growing, judge):
            case Standing.WRONG:
                settle = growing.last_ns + self.windows.silence_ns
                return settle if due is None else min(settle, due)
            case Standing.GROWABLE:
                settle = growing.last_ns + self.windows.gap_ns
                return settle if due is None else min(settle, due)
            case _:
                return due

    def tick(self, now_ns: int, judge: Judge) -> list[Gesture]:
        """Serve every deadline up to and including `now_ns`."""
        while (due := self.deadline_ns(judge)) is not None and due <= now_ns:
            growing = self._growing
            if growing is None:
                self._correction_ns = None
                held = self._held
                return [Gesture((), held, (), due, due, due)]
            if growing.stands_ns is None and not growing.let_go and due == self._grace_end_ns(growing, judge):
                self._overhold(growing, judge)
                continue
            return [self._settle(due, judge)]
        return []

    def finish(self, now_ns: int, judge: Judge) -> list[Gesture]:
        """Nothing more will be heard: the gesture under way as it stands."""
        return [] if self._growing is None else [self._settle(now_ns, judge)]

    # -- what one key does

    def _strike(self, key: MidiNote, now_ns: int, judge: Judge) -> list[Gesture]:
        settled: list[Gesture] = []
        self._correction_ns = None
        growing = self._growing
        if growing is not None and self._starts_anew(growing, now_ns, judge):
            settled.append(self._settle(now_ns, judge))
            growing = None
        if growing is None:
            growing = self._growing = _Growing(now_ns, now_ns, carried=self._held)
        bit = 1 << key
        self._held |= bit
        growing.carried &= ~bit
        growing.struck.append((key, now_ns))
        growing.struck_mask |= bit
        growing.released.pop(key, None)
        growing.last_ns = now_ns
        growing.let_go = False
        growing.stands_ns = None
        short = self._just_released(growing, now_ns) & judge.members
        counted = self._counted(growing, judge) | short
        if counted.bit_count() >= growing.best.bit_count():
            growing.best = counted
        growing.waits_for_leftovers = False
        if growing.crowded_ns is None and counted & ~judge.members:
            if judge.standing(counted & judge.members) is Standing.COMPLETE:
                growing.crowded_ns = now_ns
        if judge.standing(counted) is Standing.COMPLETE:
            if counted == self._held | short:
                settled.append(self._settle(now_ns, judge))
            else:  # right but for keys left over from before, which may yet go
                growing.waits_for_leftovers = True
        return settled

    def _let_go(self, key: MidiNote, now_ns: int, judge: Judge) -> list[Gesture]:
        bit = 1 << key
        growing = self._growing
        if growing is not None and growing.waits_for_leftovers and bit & judge.members:
            settled = [self._settle(now_ns, judge)]
            self._held &= ~bit
            return settled
        self._held &= ~bit
        self._correction_ns = None
        if growing is None:
            if self._missed and judge.standing(self._held) in (Standing.COMPLETE, Standing.GROWABLE):
                self._correction_ns = now_ns
            return []
        growing.carried &= ~bit
        if growing.struck_mask & bit:
            growing.released[key] = now_ns
        if growing.stands_ns is not None and bit & judge.members:
            # The chord never stood without its wrong key: all of it was let go together.
            growing.pressed |= growing.struck_mask & ~judge.members
            return [self._settle(now_ns, judge)]
        if not bit & judge.members or growing.waits_for_leftovers:
            counted = self._counted(growing, judge)
            if counted == self._held and judge.standing(counted) is Standing.COMPLETE:
                growing.best = counted
                return self._stood(growing, bit, now_ns, judge)
        if self._held == 0:
            growing.let_go = True
            if now_ns > growing.last_ns + self.windows.gap_ns:
                return [self._settle(now_ns, judge)]
        return []

    def _stood(self, growing: _Growing, let_go: int, now_ns: int, judge: Judge) -> list[Gesture]:
        """What is held is the target now that a key was let go. Was that key brushed, or was it one of the chord?

        Brushed is what was down beside the whole chord for no longer than a graze, and for no longer than the chord
        then stands without it; the latter is still to come.
        """
        since_ns = growing.crowded_ns if let_go & growing.struck_mask & ~judge.members else None
        beside_ns = 0 if since_ns is None else now_ns - since_ns
        if beside_ns > self.windows.graze_ns:
            growing.pressed |= let_go
            settled = [self._settle(now_ns, judge)]
            self._correction_ns = now_ns
            return settled
        if since_ns is not None:
            growing.stands_ns = now_ns + stand_ns(beside_ns)
            return []
        return [self._settle(now_ns, judge)]

    # -- where a gesture begins and ends

    def _starts_anew(self, growing: _Growing, now_ns: int, judge: Judge) -> bool:
        """A note-on past the gap opens a new gesture where the old one is spoilt and no longer held as it was."""
        if now_ns - growing.last_ns <= self.windows.gap_ns:
            return False
        if growing.let_go:
            return True
        spoilt = growing.struck_mask & ~judge.members
        return bool(spoilt) and not spoilt & self._held

    def _grace_end_ns(self, growing: _Growing, judge: Judge) -> int | None:
        """When keys left over from before begin to count; None where there are none."""
        if growing.carried & ~judge.members & self._held:
            return growing.first_ns + self.windows.leftover_ns
        return None

    def _overhold(self, growing: _Growing, judge: Judge) -> None:
        """Leftover keys are held beyond their grace: from now on they are part of the answer."""
        overheld = growing.carried & ~judge.members
        growing.carried &= ~overheld
        growing.struck_mask |= overheld
        growing.best |= overheld & self._held
        growing.waits_for_leftovers = False

    def _counted(self, growing: _Growing, judge: Judge) -> int:
        """The keys that count now: those held, less leftovers in their grace."""
        return self._held & ~(growing.carried & ~judge.members)

    def _just_released(self, growing: _Growing, now_ns: int) -> int:
        """Keys of this gesture let go so shortly ago that they were one touch with the key that comes now."""
        if not growing.released:
            return 0
        since_ns = now_ns - self.windows.graze_ns
        return mask_of(key for key, released_ns in growing.released.items() if released_ns >= since_ns)

    def _standing(self, growing: _Growing, judge: Judge) -> Standing:
        counted = self._counted(growing, judge)
        now = judge.standing(counted)
        if now is Standing.PARTIAL and growing.struck_mask & ~judge.members:
            return Standing.WRONG  # a wrong key was struck and let go; what is left is no longer the answer
        if now is Standing.COMPLETE and growing.waits_for_leftovers:
            return Standing.PARTIAL
        return now

    def _settle(self, now_ns: int, judge: Judge) -> Gesture:
        growing = self._growing
        assert growing is not None
        self._growing = None
        held = growing.best
        spoilt = growing.struck_mask & ~judge.members & ~self._held
        grazed: list[MidiNote] = []
        if judge.standing(held) in (Standing.COMPLETE, Standing.GROWABLE):
            for key in keys_of(spoilt):
                released_ns = growing.released.get(key)
                brushed = not growing.pressed & 1 << key
                if brushed and released_ns is not None and now_ns - released_ns <= self.windows.graze_ns:
                    grazed.append(key)
                else:
                    held |= 1 << key
        return Gesture(tuple(growing.struck), held, tuple(grazed), growing.first_ns, growing.last_ns, now_ns)
