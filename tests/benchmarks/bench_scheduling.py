"""Learners who are not FSRS practise fifteen minutes a day, by the real schedule and by three plain habits.

    python tests/benchmarks/bench_scheduling.py [--quick] [--learners N] [--world NAME ...]

Goal: all twelve roots of six voicings right and under 2 s on another day. Bar: at least 25 % fewer minutes than the
best of the three habits, and worse for no tenth of the learners. Invented learners; nothing was fitted to a person.

The learner
-----------
Every item (voicing x quality x root) has a strength m, in effective answers. Each answer leaves a trace; all traces of
a day decay together by a power law of the nights since, (1 + nights)^-decay, and m is their sum.

* Response time: floor + (start - floor) exp(-m/rate): individuals improve exponentially (Heathcote, Brown & Mewhort
  2000). Times are log-normal about it; 1 answer in 20 is a lapse and takes three times as long.
* Wrong is an answer with chance slip + unknown exp(-m/(KNOW rate)): one knows a chord before one plays it fast. A wrong
  answer is corrected, which takes time and leaves a weaker trace.
* Forgetting follows a power law (as FSRS's own curve does; its exponent here is free and lies far from FSRS's).
* A trace is weaker where the same item was played just before (spaced against massed retrieval: g = .74, Latimier et
  al. 2021) and with each repeat on the same day.
* Playing an item strengthens those of the same voicing, more where the hand finds the same pattern of black and white
  keys. No size was found in the literature: a judgement, varied below.
* Items, roots, voicings and learners differ; the spreads are judgements, varied below.

The times of a prompt: the response, `READ_S` to read and let go, and for a miss the correction. Hints are not modelled.

The measures
------------
*Exam*: each morning, before practice and without learning, for the learner's true state: every item's median under 2 s
and its chance to be known at least 90 %. Slips and lapses are left out of it: 72 answers are hardly ever free of them.
It asks nothing of the schedule and is the same for all. *Record*: what was seen in practice: every item has once been
right and under 2 s at the first answer of a day later than its first; luck helps here, and asking often.
Who has not reached the goal after 60 days counts with all of the 900 minutes (the restricted mean): that is kind to
whoever fails more often, and how many fail is told.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from time import perf_counter

import numpy as np
from rows import add_rows, tell_row

from trainer import drills
from trainer.pitch import TWELVE_ROOTS
from trainer.progress import Attempt, Item
from trainer.scheduling import Chooser, History, Pool, plan_of, pool_of

DAYS, MINUTES, AIM_S = 60, 15.0, 2.0
FIRST_DAY = date(2026, 1, 1)
READ_S, CORRECT_S = 2.0, 2.0
KNOW = 0.6
BLACK = {1, 3, 6, 8, 10}

SET = 'title = "Six voicings"\nhint = "name"\ntarget_ms = 2000\n' + "".join(
    f'[[drill]]\nchord = "{quality}"\nvoicing = "rootless from the {form}"\n'
    for quality in ("m7", "7", "maj7")
    for form in ("third", "seventh")
)


@dataclass(frozen=True)
class World:
    """What is true of all learners. Sigmas are of logarithms."""

    start_s: float = 6.0
    start_sigma: float = 0.3
    floor_s: float = 1.0
    floor_sigma: float = 0.12
    rate: float = 6.0
    learner_sigma: float = 0.3
    item_sigma: float = 0.3
    root_sigma: float = 0.15
    voicing_sigma: float = 0.15
    decay: float = 0.25
    decay_sigma: float = 0.25
    unknown: float = 0.5
    slip: float = 0.03
    lapse: float = 0.05
    noise_sigma: float = 0.35
    same_shape: float = 0.25
    same_voicing: float = 0.05
    massed: float = 0.5
    repeat: float = 0.9
    wrong_gain: float = 0.6


WORLDS = {
    "as stated": World(),
    "no transfer": World(same_shape=0.0, same_voicing=0.0),
    "much transfer": World(same_shape=0.5, same_voicing=0.15),
    "items alike": World(item_sigma=0.1, root_sigma=0.05, voicing_sigma=0.05),
    "items unlike": World(item_sigma=0.5, root_sigma=0.25, voicing_sigma=0.25),
    "fast forgetting": World(decay=0.4),
    "slow forgetting": World(decay=0.12),
    "quick learners": World(rate=3.5),
    "slow learners": World(rate=9.0),
    "more slips": World(slip=0.08, lapse=0.1, noise_sigma=0.5),
    "massing harmless": World(massed=0.0, repeat=1.0),
    "massing useless": World(massed=0.8, repeat=0.75),
}
"""The stated world, and one thing at a time otherwise."""


def the_pool() -> Pool:
    found, faults = drills.read(SET, "six.toml")
    assert found is not None and not faults
    return pool_of([found])


POOL = the_pool()
ITEMS: tuple[Item, ...] = tuple(item for form in POOL.forms for item in form.items)


def shapes() -> list[tuple[object, ...]]:
    """For each item its voicing and the colours of its keys."""
    found = []
    for item in ITEMS:
        target = POOL.target(item)
        assert target is not None
        found.append((item[:2], tuple(key % 12 in BLACK for key in target.keys)))
    return found


SHAPES = shapes()


class Learner:
    """One learner in a world; see the head of the module."""

    def __init__(self, world: World, seed: int) -> None:
        chance = Random(seed)
        normal = chance.gauss
        count = len(ITEMS)
        self.world = world
        self.floor_s = min(1.5, world.floor_s * math.exp(normal(0, world.floor_sigma)))
        start_s = world.start_s * math.exp(normal(0, world.start_sigma))
        rate = world.rate * math.exp(normal(0, world.learner_sigma))
        self.decay = world.decay * math.exp(normal(0, world.decay_sigma))
        of_root = {root.name: normal(0, world.root_sigma) for root in TWELVE_ROOTS}
        of_form = {(form.voicing, form.quality): normal(0, world.voicing_sigma) for form in POOL.forms}
        hard = [of_root[item[2]] + of_form[item[:2]] + normal(0, world.item_sigma) for item in ITEMS]
        self.rates = [rate * math.exp(each) for each in hard]
        self.starts_s = [max(self.floor_s + 0.5, start_s * math.exp(each / 2)) for each in hard]
        self.transfer = np.zeros((count, count))
        for one in range(count):
            for other in range(count):
                if one == other:
                    self.transfer[one, other] = 1.0
                elif SHAPES[one] == SHAPES[other]:
                    self.transfer[one, other] = world.same_shape
                elif SHAPES[one][0] == SHAPES[other][0]:
                    self.transfer[one, other] = world.same_voicing
        self.traces = np.zeros((count, DAYS + 1))
        self.strength = np.zeros(count)
        self.day = 0
        self.repeats = [0] * count
        self.asked_at = [-99] * count
        self.number = 0

    @property
    def work(self) -> float:
        """The strength that all items need together: how far this learner has to go."""
        return sum(
            rate * math.log((start - self.floor_s) / (AIM_S - self.floor_s)) if start > AIM_S else 0.0
            for rate, start in zip(self.rates, self.starts_s, strict=True)
        )

    def morning(self, day: int) -> None:
        self.day = day
        nights = np.arange(day, 0, -1)
        self.strength = self.traces[:, :day] @ (1.0 + nights) ** -self.decay if day else np.zeros(len(ITEMS))
        self.repeats = [0] * len(ITEMS)

    def examined(self) -> bool:
        rates, starts = np.array(self.rates), np.array(self.starts_s)
        times = self.floor_s + (starts - self.floor_s) * np.exp(-self.strength / rates)
        unknown = self.world.unknown * np.exp(-self.strength / (KNOW * rates))
        return bool(times.max() <= AIM_S and unknown.max() <= 0.1)

    def answer(self, index: int, chance: Random) -> tuple[bool, float, float]:
        """Right at the first try, its response time, and the time until the next prompt, in seconds."""
        world, rate, m = self.world, self.rates[index], float(self.strength[index])
        middle_s = self.floor_s + (self.starts_s[index] - self.floor_s) * math.exp(-m / rate)
        response_s = middle_s * math.exp(chance.gauss(0, world.noise_sigma))
        if chance.random() < world.lapse:
            response_s *= 3
        response_s = max(0.3, response_s)
        right = chance.random() >= world.slip + world.unknown * math.exp(-m / (KNOW * rate))
        seconds = response_s + READ_S + (0.0 if right else middle_s + CORRECT_S)
        self.number += 1
        lag = self.number - self.asked_at[index]
        gain = (1.0 if right else world.wrong_gain) * (1 - world.massed * math.exp(-(lag - 1) / 3))
        gain *= max(0.2, world.repeat ** self.repeats[index])
        self.asked_at[index] = self.number
        self.repeats[index] += 1
        gains = gain * self.transfer[index]
        self.strength += gains
        self.traces[:, self.day] += gains
        return right, response_s, seconds


# -- the schedules: day(number) begins a day, next() gives an item's index or None, heard() says what became of it


class Fourths:
    """Voicing after voicing round the cycle of fourths, going on next day where it stopped."""

    def __init__(self, chance: Random) -> None:
        self.at = -1

    def begin(self, day: int) -> None:
        pass

    def next(self, elapsed_s: float) -> int | None:
        self.at = (self.at + 1) % len(ITEMS)
        return self.at

    def heard(self, right: bool, response_s: float) -> None:
        pass


class Chance(Fourths):
    """Any item at random, but never the same twice running."""

    def __init__(self, chance: Random) -> None:
        super().__init__(chance)
        self.chance = chance

    def next(self, elapsed_s: float) -> int | None:
        before = self.at
        while self.at == before:
            self.at = self.chance.randrange(len(ITEMS))
        return self.at


class Boxes(Fourths):
    """Five boxes by accuracy: right moves an item up, wrong back to the first; a box rests 1, 2, 4, 8 or 16 days.

    What is due comes in random order, a miss again at the end of it until it is right; then new items, voicing by
    voicing; the rest of the time goes round the cycle of fourths.
    """

    RESTS = (1, 2, 4, 8, 16)

    def __init__(self, chance: Random) -> None:
        super().__init__(chance)
        self.chance = chance
        self.box: dict[int, int] = {}
        self.due: dict[int, int] = {}
        self.queue: deque[int] = deque()
        self.moved: set[int] = set()
        self.around = -1
        self.today = 0

    def begin(self, day: int) -> None:
        self.today = day
        self.moved = set()
        due = [item for item, when in self.due.items() if when <= day]
        self.chance.shuffle(due)
        self.queue = deque(due)

    def next(self, elapsed_s: float) -> int | None:
        before = self.at
        if self.queue:
            self.at = self.queue.popleft()
        elif len(self.box) < len(ITEMS):
            self.at = len(self.box)
        else:
            self.around = (self.around + 1) % len(ITEMS)
            self.at = self.around if self.around != before else (self.around + 1) % len(ITEMS)
        return self.at

    def heard(self, right: bool, response_s: float) -> None:
        item = self.at
        if item not in self.moved:
            self.box[item] = min(self.box.get(item, -1) + 1, len(self.RESTS) - 1) if right else 0
            self.due[item] = self.today + self.RESTS[self.box[item]]
            self.moved.add(item)
        if not right:
            self.queue.append(item)


class Today:
    """The real schedule: `trainer.scheduling`, fed with attempts as a session would record them."""

    def __init__(self, chance: Random) -> None:
        self.history = History(POOL, FIRST_DAY, lambda utc: date.fromisoformat(utc[:10]))
        self.attempts: list[Attempt] = []
        self.index = {item: number for number, item in enumerate(ITEMS)}
        self.item = ITEMS[0]
        self.template = Attempt(
            session="", number=0, utc="", set_title="Six voicings", drill=0, chord="", quality="", root="", voicing="",
            degrees=(), notes=(), keys=(), tries=(), outcome="right", right_first_try=True, response_ms=None,
            settle_ms=None, pool_size=72, stamp_origin="callback", target_ms=2000.0,
        )  # fmt: skip

    def begin(self, day: int) -> None:
        self.today = FIRST_DAY + timedelta(days=day)
        self.history.today = self.today
        self.chooser = Chooser(plan_of(self.history, MINUTES), self.history)
        self.attempts = []
        self.elapsed_s = 0.0

    def next(self, elapsed_s: float) -> int | None:
        self.elapsed_s = elapsed_s
        choice = self.chooser.next_choice(self.attempts, round(elapsed_s * 1e9))
        if choice is None:
            return None
        self.item = choice.item
        return self.index[choice.item]

    def heard(self, right: bool, response_s: float) -> None:
        at = datetime(self.today.year, self.today.month, self.today.day, 19, tzinfo=UTC)
        voicing, quality, root = self.item
        self.attempts.append(
            replace(
                self.template,
                session=str(self.today),
                number=len(self.attempts),
                utc=(at + timedelta(seconds=self.elapsed_s)).isoformat(timespec="milliseconds"),
                voicing=voicing,
                quality=quality,
                root=root,
                right_first_try=right,
                response_ms=1000 * response_s if right else None,
            )
        )


SCHEDULES: dict[str, Callable[[Random], Fourths | Today]] = {
    "fourths": Fourths,
    "random": Chance,
    "boxes": Boxes,
    "today": Today,
}
HABITS = ("fourths", "random", "boxes")


@dataclass(frozen=True)
class Run:
    """Days and minutes until the goal by the exam and by the record; None where it was not reached."""

    exam_days: int | None
    exam_minutes: float
    record_days: int | None
    record_minutes: float


def practise(world: World, seed: int, name: str) -> Run:
    """One learner under one schedule."""
    learner = Learner(world, seed)
    chance = Random(f"{seed} {name}")
    schedule = SCHEDULES[name](chance)
    minutes = 0.0
    exam: tuple[int, float] | None = None
    record: tuple[int, float] | None = None
    first_met: dict[int, int] = {}
    shown: set[int] = set()
    for day in range(DAYS):
        learner.morning(day)
        if exam is None and learner.examined():
            exam = (day, minutes)
        if exam is not None and record is not None:
            break
        schedule.begin(day)
        elapsed_s = 0.0
        asked: set[int] = set()
        while elapsed_s < 60 * MINUTES and (index := schedule.next(elapsed_s)) is not None:
            right, response_s, seconds = learner.answer(index, chance)
            schedule.heard(right, response_s)
            elapsed_s += seconds
            if index not in asked:
                asked.add(index)
                if first_met.setdefault(index, day) < day and right and response_s < AIM_S:
                    shown.add(index)
            if record is None and len(shown) == len(ITEMS):
                record = (day, minutes + elapsed_s / 60)
        minutes += elapsed_s / 60
    whole = DAYS * MINUTES
    return Run(
        exam[0] if exam else None,
        min(exam[1], whole) if exam else whole,
        record[0] if record else None,
        min(record[1], whole) if record else whole,
    )


def practise_all(task: tuple[World, int]) -> tuple[float, dict[str, Run]]:
    world, seed = task
    return Learner(world, seed).work, {name: practise(world, seed, name) for name in SCHEDULES}


# -- figures


def saving(ours: Sequence[float], theirs: Sequence[float], chance: Random, rounds: int = 2000) -> tuple[float, ...]:
    """The share of minutes saved, and its 95 % bootstrap interval over learners (percentiles; learners are paired)."""
    count = len(ours)
    a, b = np.array(ours), np.array(theirs)
    picks = np.random.default_rng(chance.randrange(2**32)).integers(0, count, (rounds, count))
    shares = 1 - a[picks].sum(axis=1) / b[picks].sum(axis=1)
    return 1 - a.sum() / b.sum(), float(np.percentile(shares, 2.5)), float(np.percentile(shares, 97.5))


def told(name: str, world: World, learners: int, workers: multiprocessing.pool.Pool) -> None:
    begun = perf_counter()
    results = workers.map(practise_all, [(world, seed) for seed in range(learners)], chunksize=2)
    print(f"\n{name}: {learners} learners, {perf_counter() - begun:.0f} s")
    for measure in ("exam", "record"):
        minutes = {s: [getattr(runs[s], f"{measure}_minutes") for _, runs in results] for s in SCHEDULES}
        days = {s: [getattr(runs[s], f"{measure}_days") for _, runs in results] for s in SCHEDULES}
        for schedule in SCHEDULES:
            reached = [day for day in days[schedule] if day is not None]
            middle = sorted(DAYS if day is None else day for day in days[schedule])[learners // 2]
            print(
                f"  {measure:<7}{schedule:<9} minutes {np.mean(minutes[schedule]):6.1f}   median days {middle:3d}"
                f"   reached {100 * len(reached) / learners:5.1f} %"
            )
        best = min(HABITS, key=lambda habit: float(np.mean(minutes[habit])))
        share, low, high = saving(minutes["today"], minutes[best], Random(1))
        tell_row(
            f"minutes until all is learned ({measure}, learners {name})",
            float(np.mean(minutes["today"])),
            "min",
            float(np.mean(minutes[best])),
            f"best plain habit: {best}",
        )
        order = sorted(range(learners), key=lambda one: results[one][0])
        tenths = []
        for tenth in range(10):
            members = order[tenth * learners // 10 : (tenth + 1) * learners // 10]
            if members:
                least = min(float(np.mean([minutes[habit][one] for one in members])) for habit in HABITS)
                tenths.append(1 - float(np.mean([minutes["today"][one] for one in members])) / least)
        print(
            f"  {measure:<7}saved against {best}: {100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f}); "
            f"by tenths of learners, least work first, against the best habit of each: "
            + " ".join(f"{100 * each:.0f}" for each in tenths)
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    add_rows(parser)
    parser.add_argument("--quick", action="store_true", help="24 learners of the stated world")
    parser.add_argument("--learners", type=int, help="how many learners (200; 60 in the other worlds)")
    parser.add_argument("--world", nargs="*", choices=[*WORLDS], help="which worlds; all where none is named")
    options = parser.parse_args()
    names = options.world or (["as stated"] if options.quick else [*WORLDS])
    with multiprocessing.Pool(2) as workers:
        for name in names:
            usual = 24 if options.quick else 200 if name == "as stated" else 60
            told(name, WORLDS[name], options.learners or usual, workers)


if __name__ == "__main__":
    main()
