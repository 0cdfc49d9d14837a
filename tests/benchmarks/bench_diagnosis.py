"""How often the cause of a miss is named: every cause x every voicing x every root, played through the real session.

Each answer is generated for one cause, with a player's spread and order of fingers from a seed, heard by the session
(so by capture) and graded among a set of several drills after another prompt. An answer that by accident is right is
discarded, and so is one that no hand can play (two fingers on one key). Truth is what was generated: the generators
know the voicing table and the piano, nothing of the grader.

Bars: at least 98 % named for every cause, ties counted; nothing wrong called right, nothing right called wrong; a right
answer graded within 20 us, a wrong one with its diagnosis within 200 us (medians).
Run: python tests/benchmarks/bench_diagnosis.py [seeds] [--quick] [--rows] [causes whose misses are printed ...]
"""

from __future__ import annotations

import statistics
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from random import Random
from time import perf_counter, perf_counter_ns

from rows import tell_row

from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.chords import Chord, Quality, parse_quality
from trainer.grading import Passes, Surroundings, Target, grade
from trainer.pitch import TWELVE_ROOTS, MidiNote, mask_of
from trainer.session import Particulars, Session, Task, TryGraded, replay
from trainer.voicings import LOW_INTERVAL_LIMITS, VoicingError, all_rows, place, recipe, recipes_for, stacked

QUALITIES = (
    "m7", "7", "maj7", "m7b5", "dim7", "6", "m6", "mMaj7", "7sus4", "7alt", "7(b9)", "maj7#5", "13", "m9", "maj9",
    "6/9", "m11", "", "m", "dim", "aug", "sus4", "5",
)  # fmt: skip
SEVENTHS = ("maj7", "7", "m7", "m7b5", "mMaj7", "6", "m6", "dim7", "7sus4", "7alt", "7(b9)", "maj7#5")
TRIADS = ("", "m", "dim", "aug", "sus4")
BY_DEGREES = (("7", "b7 3 5 (9)"), ("m7", "b3 5 b7 (9)"), ("maj7", "3 7 (9)"), ("7", "b7 3 13 (9)"))

PASSES = {
    "as asked": Passes(),
    "any inversion": Passes(order="inversion"),
    "any octave": Passes(octave="any"),
    "any order and octave": Passes(order="any", octave="any"),
    "doublings, root below": Passes(doublings=True, root_below=True),
}


@dataclass(frozen=True)
class Scene:
    """One prompt: the target, the chord before it, and the others of its set."""

    target: Target
    previous: Target
    others: tuple[Target, ...]


Keys = Sequence[int] | None
"""The keys of an answer; None where this cause cannot be played here."""


@lru_cache(maxsize=None)
def quality(text: str) -> Quality:
    return parse_quality(text)


def near(target: Target, heights: Sequence[int], place_of_bottom: int) -> list[int]:
    """A shape with its bottom note as near as possible to the bottom note asked for."""
    bottom = target.keys[0] + (place_of_bottom - target.keys[0] + 6) % 12 - 6
    return [bottom + height for height in heights]


def finger(target: Target, index: int, semitones: int) -> Keys:
    keys: list[int] = list(target.keys)
    keys[index] += semitones
    return keys if len(set(keys)) == len(keys) else None


def half_step(scene: Scene, chance: Random) -> Keys:
    return finger(scene.target, chance.randrange(len(scene.target.keys)), chance.choice((-1, 1)))


def whole_step(scene: Scene, chance: Random) -> Keys:
    return finger(scene.target, chance.randrange(len(scene.target.keys)), chance.choice((-2, 2)))


def third_missed(scene: Scene, chance: Random) -> Keys:
    target = scene.target
    thirds = [at for at, degree in enumerate(target.degrees) if degree.number in (3, 10) and degree.alteration <= 0]
    if not thirds:
        return None
    at = chance.choice(thirds)
    if chance.random() < 0.3:
        return [key for index, key in enumerate(target.keys) if index != at] or None
    return finger(target, at, chance.choice((-1, 1)))


def other_in_place(target: Target, other: Quality) -> Keys:
    """Third, fifth and seventh as another quality has them, all else as asked, which that chord must bear."""
    if other.colour != "7" and any(degree.name in ("b9", "#9", "b13") for degree in target.degrees):
        return None
    if any(degree.number > 7 for degree in other.degrees):
        return None
    keys: list[int] = list(target.keys)
    theirs = {degree.number: degree for degree in other.degrees}
    for at, degree in enumerate(target.degrees):
        if degree.number in (3, 5, 7) and degree in target.chord.quality.degrees and degree.number in theirs:
            keys[at] += theirs[degree.number].alteration - degree.alteration
        elif degree.number == 4 and target.chord.quality.colour == "sus" and 3 in theirs:
            keys[at] += theirs[3].pitch_class - degree.pitch_class
    return keys if len(set(keys)) == len(keys) else None


def wrong_quality(scene: Scene, chance: Random) -> Keys:
    """The same voicing as the table has it for another quality, or the chord's own tones altered in their places."""
    target = scene.target
    texts = TRIADS if target.chord.quality.seventh is None and len(target.chord.quality.degrees) <= 3 else SEVENTHS
    others = [quality(text) for text in texts if quality(text) != target.chord.quality]
    chance.shuffle(others)
    for other in others:
        if chance.random() < 0.5:
            keys = other_in_place(target, other)
        else:
            try:
                form = recipe(target.voicing, other)
            except VoicingError:
                continue
            keys = near(target, stacked(form.degrees), (target.root + form.degrees[0]).pitch_class)
        if keys is not None and not_the_same(target, keys):
            return keys
    return None


def not_the_same(target: Target, keys: Sequence[int]) -> bool:
    """Another answer than the one asked for, wherever it lies."""
    return [key - target.keys[0] for key in target.keys] != [key - keys[0] for key in keys] or bool(
        (keys[0] - target.keys[0]) % 12
    )


def other_root(scene: Scene, chance: Random) -> Keys:
    target = scene.target
    return near(target, stacked(target.degrees), target.keys[0] + chance.randrange(1, 12))


def other_form(scene: Scene, chance: Random) -> Keys:
    target = scene.target
    name = target.placement.recipe.other
    if name is None:
        return None
    try:
        form = recipe(name, target.chord.quality)
    except VoicingError:
        return None
    if chance.random() < 0.5:
        try:
            return list(place(form, target.root).keys)
        except VoicingError:
            return None
    return near(target, stacked(form.degrees), (target.root + form.degrees[0]).pitch_class)


def octave(scene: Scene, chance: Random) -> Keys:
    return [key + chance_octave for chance_octave in [chance.choice((-24, -12, 12, 24))] for key in scene.target.keys]


def below_limit(scene: Scene, chance: Random) -> Keys:
    for octaves in (1, 2):
        keys = [key - 12 * octaves for key in scene.target.keys]
        pairs = [(low, high - low) for at, low in enumerate(keys) for high in keys[at + 1 :]]
        if any(low < LOW_INTERVAL_LIMITS.get(interval, 0) for low, interval in pairs):
            return keys
    return None


def inversion(scene: Scene, chance: Random) -> Keys:
    keys: list[int] = list(scene.target.keys)
    if len(keys) < 2:
        return None
    down = chance.choice((0, 12))
    for _ in range(chance.randrange(1, len(keys))):
        keys.sort()
        while keys[0] < keys[-1] or len(set(keys)) < len(keys):
            keys[0] += 12
            if keys[0] > max(keys[1:]):
                break
    return [key - down for key in keys]


def left_out(scene: Scene, chance: Random) -> Keys:
    target = scene.target
    needed = [at for at in range(len(target.keys)) if at not in target.optional]
    gone = chance.choice(needed)
    return [key for at, key in enumerate(target.keys) if at != gone] or None


def added(scene: Scene, chance: Random) -> Keys:
    """A colour or foreign note more, inside the hand or just outside it."""
    keys = scene.target.keys
    more = [key for key in range(min(keys) - 4, max(keys) + 5) if key not in keys]
    return [*keys, chance.choice(more)]


def previous_chord(scene: Scene, chance: Random) -> Keys:
    return scene.previous.keys


def another_of_set(scene: Scene, chance: Random) -> Keys:
    others = [other for other in scene.others if other is not scene.target and other is not scene.previous]
    return chance.choice(others).keys


def no_relation(scene: Scene, chance: Random) -> Keys:
    """Keys at random: at most one pitch class in four is the chord's, and the shape is not the voicing's."""
    target = scene.target
    own = {key % 12 for key in target.keys}
    shape = {key - min(target.keys) for key in target.keys}
    span = range(min(target.keys) - 5, max(target.keys) + 6)
    for _ in range(200):
        keys = sorted(chance.sample(span, len(target.keys)))
        common = len(own & {key % 12 for key in keys})
        if 4 * common <= len(keys) and {key - keys[0] for key in keys} != shape:
            return keys
    return None


def graze(scene: Scene, chance: Random) -> Keys:
    return scene.target.keys  # the brush is added as events


def right(scene: Scene, chance: Random) -> Keys:
    """One of the answers that pass: with and without what is optional."""
    target = scene.target
    return [key for at, key in enumerate(target.keys) if at not in target.optional or chance.random() < 0.5]


GENERATORS: dict[str, Callable[[Scene, Random], Keys]] = {
    "half_step": half_step,
    "whole_step": whole_step,
    "third_missed": third_missed,
    "wrong_quality": wrong_quality,
    "other_root": other_root,
    "other_form": other_form,
    "octave": octave,
    "below_limit": below_limit,
    "inversion": inversion,
    "left_out": left_out,
    "added": added,
    "graze": graze,
    "previous_chord": previous_chord,
    "another_of_set": another_of_set,
    "no_relation": no_relation,
    "right": right,
}


def events_for(keys: Sequence[int], start_ms: float, chance: Random, brushed: int | None) -> list[NoteEvent]:
    """A chord as a hand plays it: fingers in any order over a spread of up to 70 ms, let go together-ish."""
    order = list(keys)
    chance.shuffle(order)
    step_ms = min(chance.choice((0.0, 3.0, 8.0, 15.0, 20.0)), 70 / max(1, len(order) - 1))
    played: list[tuple[float, Kind, int]] = []
    now_ms = start_ms
    for number, key in enumerate(order):
        if brushed is not None and number == len(order) - 1:
            played.append((now_ms - 1, Kind.DOWN, brushed))
            played.append((now_ms + 10, Kind.UP, brushed))
            now_ms += 20
        played.append((now_ms, Kind.DOWN, key))
        now_ms += step_ms * chance.uniform(0.5, 1.0)
    end_ms = start_ms + 450
    played += [(end_ms + chance.uniform(0, 30), Kind.UP, key) for key in order]
    played.sort(key=lambda entry: entry[0])
    return [NoteEvent(round(at * MILLISECOND_NS), kind, MidiNote(key), 70) for at, kind, key in played]


def accepted(target: Target, keys: Sequence[int]) -> bool:
    """Whether keys are right, by counting, independently of the grader: exact keys, optional ones at will."""
    held = set(keys)
    needed = {key for at, key in enumerate(target.keys) if at not in target.optional}
    return needed <= held <= set(target.keys)


def sets(seed: int) -> list[list[Target]]:
    """For every row (and some voicings by degrees) a set: twelve roots of it and of two more drills."""
    chance = Random(seed)
    suits: dict[str, list[str]] = defaultdict(list)
    for text in QUALITIES:
        for found in recipes_for(quality(text)):
            suits[found.name].append(text)
    drills = [(row.name, chance.choice(suits[row.name])) for row in all_rows()]
    drills += [(degrees, text) for text, degrees in BY_DEGREES]
    found_sets = []
    for drill in drills:
        targets = []
        for name, text in (drill, *chance.sample(drills, 2)):
            form = recipe(name, quality(text))
            for root in TWELVE_ROOTS:
                targets.append(Target(Chord(root, quality(text), None), place(form, root)))
        found_sets.append(targets)
    return found_sets


@dataclass
class Tally:
    played: int = 0
    named: int = 0
    first: int = 0
    ties: int = 0
    by_chance_right: int = 0


def play_set(targets: list[Target], seed: int, tallies: dict[str, Tally], faults: Counter[str], times: Times) -> None:
    chance = Random(seed)
    prompts = [(target, cause) for target in targets[:12] for cause in GENERATORS]
    prompts += [(target, "right") for target in targets[12:]]
    chance.shuffle(prompts)
    tasks, answers, events = [], [], []
    previous: Target | None = None
    now_ms = 1000.0
    for target, cause in prompts:
        if previous is None or previous is target:
            keys: Keys = target.keys
            cause = "right"
        else:
            keys = GENERATORS[cause](Scene(target, previous, tuple(targets)), chance)
        if keys is None or min(keys) < 0 or max(keys) > 127:
            continue
        brushed = None
        if cause == "graze":
            brushed = chance.choice(keys) + chance.choice((-1, 1))
            if brushed in keys:
                continue
        elif cause != "right" and accepted(target, keys):
            tallies[cause].by_chance_right += 1
            continue
        tasks.append(Task(target, "bench", 0, tries=1))
        answers.append((cause, sorted(keys), previous))
        events += events_for(keys, now_ms, chance, brushed)
        now_ms += 1500
        previous = target
    session = Session(tasks, Particulars("bench", lambda: "2026-01-01T00:00:00.000Z"))
    number = -1
    graded: dict[int, TryGraded] = {}
    for event in replay(session, events):
        name = type(event).__name__
        if name == "Prompted":
            number += 1
        elif isinstance(event, TryGraded):
            graded[number] = event
    assert number == len(tasks) - 1, "every prompt is answered once"
    others = session._others
    for number, (cause, keys, before) in enumerate(answers):
        result = graded[number].grade
        target = tasks[number].target
        tally = tallies[cause]
        tally.played += 1
        if list(result.held) != keys:
            faults[f"{cause}: other keys were heard than played"] += 1
        if cause == "right":
            if not result.right:
                faults["right called wrong"] += 1
        else:
            if result.right:
                faults["wrong called right"] += 1
                continue
            codes = [each.code for each in result.causes]
            tally.named += cause in codes
            tally.first += codes[0] == cause
            tally.ties += len(codes)
            if cause not in codes and cause in sys.argv:
                print(cause, target.chord.symbol, target.voicing, target.keys, keys, codes, result.sentence)
        if cause != "graze":
            times.take(target, mask_of(keys), Surroundings(before, others), result.right)


class Times:
    """Grading times in microseconds: a target that has graded before, and one that has not."""

    def __init__(self) -> None:
        self.warm: dict[bool, list[float]] = {True: [], False: []}
        self.cold: dict[bool, list[float]] = {True: [], False: []}

    def take(self, target: Target, held: int, surroundings: Surroundings, is_right: bool) -> None:
        fresh = replace(target)
        for taken, subject in ((self.cold, fresh), (self.warm, target)):
            began = perf_counter_ns()
            grade(subject, held, surroundings)
            taken[is_right].append((perf_counter_ns() - began) / 1000)


def with_other_passes(seed: int) -> None:
    """What stays a fault whatever passes, under every way of passing: answers straight to the grader."""
    print("\nnamed, in per cent, where more passes (straight to the grader; an answer that passes is discarded)")
    causes = ("half_step", "third_missed", "wrong_quality", "other_root", "left_out", "no_relation")
    print(f"{'':24}" + "".join(f"{cause:>15}" for cause in causes))
    for name, passes in PASSES.items():
        chance = Random(seed)
        named: Counter[str] = Counter()
        played: Counter[str] = Counter()
        for targets in sets(seed):
            for target in targets[:12]:
                subject = replace(target, passes=passes)
                for cause in causes:
                    keys = GENERATORS[cause](Scene(subject, targets[20], tuple(targets)), chance)
                    if keys is None or min(keys) < 0 or max(keys) > 127:
                        continue
                    result = grade(subject, mask_of(keys), Surroundings(targets[20], ()))
                    if not result.right:
                        played[cause] += 1
                        named[cause] += cause in [each.code for each in result.causes]
        print(f"{name:24}" + "".join(f"{100 * named[cause] / max(1, played[cause]):15.1f}" for cause in causes))


def main() -> int:
    usual = 1 if "--quick" in sys.argv else 3
    seeds = next((int(word) for word in sys.argv[1:] if word.isdigit()), usual)
    tallies = {cause: Tally() for cause in GENERATORS}
    faults: Counter[str] = Counter()
    times = Times()
    began = perf_counter()
    for seed in range(seeds):
        for number, targets in enumerate(sets(seed)):
            play_set(targets, 1000 * seed + number, tallies, faults, times)
    played = sum(tally.played for tally in tallies.values())
    print(f"{played} answers, {seeds} seeds, {perf_counter() - began:.0f} s")
    print(f"{'cause':16}{'played':>8}{'named %':>9}{'first %':>9}{'causes named, mean':>20}{'right by chance':>17}")
    met = True
    for cause, tally in tallies.items():
        if cause != "right":
            share = 100 * tally.named / tally.played
            met &= share >= 98
            line = f"{cause:16}{tally.played:8}{share:9.2f}{100 * tally.first / tally.played:9.1f}"
            print(f"{line}{tally.ties / tally.played:20.2f}{tally.by_chance_right:17}")
    wrong = [tally for cause, tally in tallies.items() if cause != "right"]
    ties = sum(tally.ties for tally in wrong) / sum(tally.played for tally in wrong)
    least = min(100 * tally.named / tally.played for tally in wrong)
    tell_row("cause of a miss named, of the cause named least", least, "%", 98, more_is_better=True)
    tell_row("right called wrong, wrong called right", faults.total(), "", 0)
    print(f"causes named for a wrong answer, mean over all: {ties:.2f}")
    print(f"right answers played: {tallies['right'].played}")
    for fault in ("right called wrong", "wrong called right"):
        print(f"{fault}: {faults[fault]}")
        met &= not faults[fault]
    for fault, count in faults.items():
        if "called" not in fault:
            print(f"{fault}: {count}")
    for is_right, bar_us in ((True, 20), (False, 200)):
        warm, cold = statistics.median(times.warm[is_right]), statistics.median(times.cold[is_right])
        p99 = statistics.quantiles(times.warm[is_right], n=100)[98]
        kind = "right" if is_right else "wrong"
        print(f"{kind} answer: median {warm:.1f} us, p99 {p99:.1f}, new target {cold:.1f} (bar {bar_us})")
        met &= warm <= bar_us
        tell_row(f"a {kind} answer graded, median", warm, "µs", bar_us)
    with_other_passes(seeds)
    print("bars met" if met else "BARS NOT MET")
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())
