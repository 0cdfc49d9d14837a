"""A scripted player: answers prompts right, wrong and slowly on purpose, from a seed.

It shows a drill being played where there is no piano, and plays in tests. Its mistakes are those that the grader tells
apart (`MISTAKES`). How it plays: the time to the first note is log-normal around `think_ms`, the notes of a chord come
within 15 to 40 ms of each other (one hand's spread in open piano corpora has its median at 16 to 25 ms), a share of the
answers is three times as slow.
"""

from __future__ import annotations

import heapq
import threading
from collections.abc import Callable, Sequence
from random import Random
from time import perf_counter_ns
from typing import Final

from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.grading import Target
from trainer.inputs.source import Post, Stopped
from trainer.pitch import MidiNote
from trainer.timing import Grid, Slot
from trainer.voicings import VoicingError, place, recipe

PLAYER: Final = "scripted player"
Keys = list[int]


def _finger_off(target: Target, chance: Random) -> Keys:
    keys: Keys = list(target.keys)
    index, off = chance.choice([(i, d) for i, key in enumerate(keys) for d in (-1, 1) if key + d not in keys])
    keys[index] += off
    return keys


def _other_quality(target: Target, chance: Random) -> Keys:
    keys: Keys = list(target.keys)
    half_diminished = target.chord.quality.colour == "m7b5"
    for index, degree in enumerate(target.degrees):
        # The fifth of a half-diminished chord makes it a minor seventh; elsewhere third or seventh tell the quality.
        if degree.simple.number in ((5,) if half_diminished else (7, 3)) and degree.alteration in (0, -1):
            keys[index] += 1 if degree.alteration == -1 else -1
            break
    return keys


def _without_third(target: Target, chance: Random) -> Keys:
    return [key for key, degree in zip(target.keys, target.degrees, strict=True) if degree.simple.number != 3] or list(
        target.keys[1:]
    )


def _other_root(target: Target, chance: Random) -> Keys:
    moved = chance.choice((-5, -2, -1, 1, 2, 5))
    return [key + moved for key in target.keys]


def _other_form(target: Target, chance: Random) -> Keys:
    other = target.placement.recipe.other
    if other is None:
        return _inversion(target, chance)
    try:
        return list(place(recipe(other, target.chord.quality), target.root).keys)
    except VoicingError:
        return _inversion(target, chance)


def _octave(target: Target, chance: Random) -> Keys:
    moved = chance.choice((-12, 12))
    return [key + moved for key in target.keys]


def _inversion(target: Target, chance: Random) -> Keys:
    first, *rest = target.keys
    while first <= max(rest, default=first):
        first = MidiNote(first + 12)
    return [*rest, first]


def _left_out(target: Target, chance: Random) -> Keys:
    keys: Keys = list(target.keys)
    keys.pop(chance.randrange(len(keys)))
    return keys


def _added(target: Target, chance: Random) -> Keys:
    return [*target.keys, target.keys[-1] + chance.choice((3, 4))]


def _no_relation(target: Target, chance: Random) -> Keys:
    """Keys well above the voicing, none of them one of its notes."""
    own = {key % 12 for key in target.keys}
    lowest = target.keys[-1] + 3
    return [key for key in range(lowest, lowest + 12) if key % 12 not in own][: len(target.keys)]


MISTAKES: Final[dict[str, Callable[[Target, Random], Keys]]] = {
    "half_step": _finger_off,
    "wrong_quality": _other_quality,
    "third_missed": _without_third,
    "other_root": _other_root,
    "other_form": _other_form,
    "octave": _octave,
    "inversion": _inversion,
    "left_out": _left_out,
    "added": _added,
    "no_relation": _no_relation,
}
"""Cause as the grader codes it -> the keys of such an answer. ``previous_chord`` is played from memory instead."""


class ScriptedPlayer:
    """Answers one prompt after another. The same seed and prompts give the same events."""

    def __init__(
        self, chance: Random, *, share_right: float = 0.7, share_slow: float = 0.2, think_ms: float = 1200.0
    ) -> None:
        """`share_right` and `share_slow` lie between 0 and 1; `think_ms` is the median time to the first note."""
        self._chance = chance
        self._share_right = share_right
        self._share_slow = share_slow
        self._think_ms = think_ms
        self._previous: Target | None = None
        self.mistake: str | None = None
        """The mistake of the last answer; None where it was right."""

    def answer(self, target: Target, prompt_ns: int, *, again: bool = False) -> list[NoteEvent]:
        """The events of one answer to a prompt shown at `prompt_ns`, in order; a second try (`again`) is right."""
        chance = self._chance
        keys: Sequence[int] = target.keys
        self.mistake = None
        if not again and chance.random() >= self._share_right:
            mistakes = [*MISTAKES, "previous_chord"] if self._previous is not None else [*MISTAKES]
            self.mistake = chance.choice(mistakes)
            if self.mistake == "previous_chord" and self._previous is not None:
                keys = self._previous.keys
            else:
                keys = MISTAKES[self.mistake](target, chance)
        self._previous = target
        played = sorted({key for key in keys if 0 <= key <= 127})
        think_ms = self._think_ms * chance.lognormvariate(0.0, 0.35)
        if chance.random() < self._share_slow:
            think_ms *= 3
        onsets_ms = [think_ms + chance.uniform(0, 15)]
        onsets_ms += [think_ms + chance.uniform(15, 40) for _ in played[1:]]
        chance.shuffle(onsets_ms)
        held_ms = max(onsets_ms) + chance.uniform(700, 1100)
        events = []
        for key, onset_ms in zip(played, onsets_ms, strict=True):
            velocity = chance.randint(50, 80)
            down_ns = prompt_ns + round(onset_ms * MILLISECOND_NS)
            up_ns = prompt_ns + round((held_ms + chance.uniform(0, 40)) * MILLISECOND_NS)
            events.append(NoteEvent(down_ns, Kind.DOWN, MidiNote(key), velocity, 0, PLAYER))
            events.append(NoteEvent(up_ns, Kind.UP, MidiNote(key), 0, 0, PLAYER))
        return sorted(events, key=lambda event: event.time_ns)

    def perform(self, slots: Sequence[Slot], grid: Grid) -> list[NoteEvent]:
        """The events of one pass through a form, in order: chords around their beats (scattered by 20 ms, a spread as
        in `answer`), a share of them wrong. Keys are let go before the next chord of their part."""
        chance = self._chance
        events: list[NoteEvent] = []
        for slot in slots:
            keys: Sequence[int] = slot.target.keys
            if slot.part == "chord" and chance.random() >= self._share_right:
                keys = MISTAKES[chance.choice([*MISTAKES])](slot.target, chance)
            begins = grid.time_ns(slot.start_beats) + round(chance.gauss(0, 20) * MILLISECOND_NS)
            ends = grid.time_ns(slot.start_beats + slot.beats)
            for key in sorted({key for key in keys if 0 <= key <= 127}):
                down_ns = begins + round(chance.uniform(0, 25) * MILLISECOND_NS)
                up_ns = max(down_ns + 40 * MILLISECOND_NS, ends - round(chance.uniform(60, 120) * MILLISECOND_NS))
                events.append(NoteEvent(down_ns, Kind.DOWN, MidiNote(key), chance.randint(50, 80), 0, PLAYER))
                events.append(NoteEvent(up_ns, Kind.UP, MidiNote(key), 0, 0, PLAYER))
        return sorted(events, key=lambda event: event.time_ns)


class LiveScript(Stopped):
    """The scripted player in real time, on a thread of its own.

    `prompted` is told each prompt. An answer that was wrong on purpose is followed by a right one, unless another
    prompt comes first.
    """

    stamp_origin = "script"
    name = PLAYER
    _AGAIN_NS: Final = 2_500 * MILLISECOND_NS

    def __init__(self, player: ScriptedPlayer, clock: Callable[[], int] = perf_counter_ns) -> None:
        self._player = player
        self._clock = clock
        self._post: Post | None = None
        self._waiting: list[tuple[int, int, NoteEvent]] = []
        self._down: set[MidiNote] = set()
        self._count = 0
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None

    def start(self, post: Post) -> None:
        self._post = post
        self._thread = threading.Thread(target=self._play, name="scripted player", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        with self._changed:
            self._post = None
            self._waiting.clear()
            self._changed.notify()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join()
        self._thread = None

    def prompted(self, target: Target) -> None:
        """Answer a prompt that is shown now; what was still to be struck for the one before is dropped."""
        now_ns = self._clock()
        events = self._player.answer(target, now_ns)
        if self._player.mistake is not None:
            let_go_ns = events[-1].time_ns if events else now_ns
            events += self._player.answer(target, max(let_go_ns, now_ns) + self._AGAIN_NS, again=True)
        self._plan(events)

    def _plan(self, events: Sequence[NoteEvent]) -> None:
        with self._changed:
            kept = [entry for entry in self._waiting if entry[2].kind is Kind.UP and entry[2].key in self._down]
            self._waiting = kept
            for event in events:
                self._count += 1
                self._waiting.append((event.time_ns, self._count, event))
            heapq.heapify(self._waiting)
            self._changed.notify()

    def performed(self, slots: Sequence[Slot], grid: Grid) -> None:
        """Play a pass that has been counted in; what was still to be struck is dropped."""
        self._plan(self._player.perform(slots, grid))

    def _play(self) -> None:
        while True:
            with self._changed:
                while self._post is not None:
                    wait_ns = self._waiting[0][0] - self._clock() if self._waiting else None
                    if wait_ns is not None and wait_ns <= 0:
                        break
                    self._changed.wait(None if wait_ns is None else wait_ns / 1e9)
                if self._post is None:
                    return
                planned = heapq.heappop(self._waiting)[2]
                post = self._post
                (self._down.add if planned.kind is Kind.DOWN else self._down.discard)(planned.key)
            post(NoteEvent(self._clock(), planned.kind, planned.key, planned.value, 0, PLAYER))
