"""Which prompt comes next within a session: fed with the attempts that have ended, it answers to what was played.

What was missed comes back first, as soon as `BACK` prompts lie between, and one more after each further miss. Then the
parts of the plan in their order: what has faded and what was wrong once each, the new form by itself for its minutes
or until it is past its first stage. The rest of the time is shuffled: priority grows with the prompts since an item was
asked and with how slow it is, and falls with each time that it was asked today. The same item is never asked again
before `GAP` others (where the plan has more than that).

Another form is begun once the last one is past its stage, while the time for new things lasts, and only where all that
is unfinished could be asked `ROUNDS` times within the drill's minutes.

Sources: Mettler, Massey & Kellman (2011, 2016): priority by the prompts since an item was asked, by error and by
response time, with an enforced gap of two prompts; Latimier et al. (2021): spaced beats massed retrieval. The figures
are a judgement that was tried in simulation (`tests/benchmarks/bench_scheduling.py`): a gap of two after a miss, and
practising few items many times a day, both cost minutes there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from trainer.drills import Task
from trainer.grading import Target
from trainer.progress import Attempt, Item
from trainer.scheduling import reasons
from trainer.scheduling.history import LONGEST_PROMPT_S, History
from trainer.scheduling.planning import Choice, Plan

GAP: Final = 2
"""Prompts that lie between two of the same item, at least."""

BACK: Final = 5
"""Prompts before a first miss comes back; every further miss adds one."""

WAITED_MOST: Final = 24
"""Prompts since an item was asked beyond which it does not become more urgent; one not asked today counts so."""

LEAST_NEED: Final = 0.03
"""What is fast enough waits behind what is 3 % too slow."""

FEWER: Final = 0.9
"""Each time an item was asked today makes the next time less urgent by this."""

ROUNDS: Final = 2
"""How often everything unfinished could still be asked within the minutes where another form is begun."""


class Chooser:
    """A plan as prompts, one after another; a `session.Prompter`. `choice` is the one in hand, with its reason."""

    def __init__(self, plan: Plan, history: History, sound: bool = False) -> None:
        """`history` is the one that the plan was made of; it is kept up to date. `sound`: voicings can be heard."""
        self.plan = plan
        self.history = history
        self.choice: Choice | None = None
        self.elapsed_s = 0.0
        self._sound = sound
        self._planned = {choice.item: choice for choice in plan.choices}
        self._queue = [choice for part in plan.parts if part.kind in ("faded", "wrong") for choice in part.choices]
        self._new = [choice.item for part in plan.parts if part.kind == "new" for choice in part.choices]
        self._form = plan.new_form
        self._later = list(plan.later_forms)
        self._new_s = 0.0
        self._asked: dict[Item, int] = {}
        self._times: dict[Item, int] = {}
        self._missed: dict[Item, int] = {}
        self._back: dict[Item, None] = {}
        self._number = 0
        self._counted = 0
        self._before_ns: int | None = None

    # -- what a session asks

    @property
    def targets(self) -> tuple[Target, ...]:
        found = [self.history.pool.target(item) for item in self._planned]
        return tuple(target for target in found if target is not None)

    def next_task(self, attempts: Sequence[Attempt], now_ns: int) -> Task | None:
        """The next prompt; None when the minutes for drills are over."""
        choice = self.next_choice(attempts, now_ns)
        if choice is None:
            return None
        return self.history.pool.task(choice.item, self.history.hint(choice.item, self._sound))

    def prompts_left(self) -> int:
        """About how many more, at the player's own pace."""
        left_s = max(0.0, 60 * self.plan.drill_minutes - self.elapsed_s)
        return round(left_s / self.history.prompt_s)

    def next_choice(self, attempts: Sequence[Attempt], now_ns: int) -> Choice | None:
        """What to ask next, and why; None when the minutes for drills are over, or where nothing can be asked."""
        if self._before_ns is not None:
            seconds = min(max(0.0, (now_ns - self._before_ns) / 1e9), LONGEST_PROMPT_S)
            self.elapsed_s += seconds
            if self.choice is not None and self.choice.part == "new":
                self._new_s += seconds
        self._before_ns = now_ns
        for attempt in attempts[self._counted :]:
            self._heard(attempt)
        self._counted = len(attempts)
        self.choice = None if self.elapsed_s >= 60 * self.plan.drill_minutes else self._next()
        if self.choice is not None:
            item = self.choice.item
            self._number += 1
            self._asked[item] = self._number
            self._times[item] = self._times.get(item, 0) + 1
        return self.choice

    # -- how it chooses

    def _heard(self, attempt: Attempt) -> None:
        item = self.history.add(attempt)
        if item is None or item not in self._planned:
            return
        latest = self.history.items[item].latest
        if latest is not None and latest.kind == "right":
            self._back.pop(item, None)
        else:
            self._missed[item] = self._missed.get(item, 0) + 1
            self._back[item] = None

    def _free(self, item: Item, gap: int = GAP) -> bool:
        """Whether enough prompts lie behind an item; where the plan is too small for the gap, as many as there can."""
        asked = self._asked.get(item)
        return asked is None or self._number - asked >= min(gap, len(self._planned) - 1)

    def _next(self) -> Choice | None:
        for item in self._back:
            if self._free(item, BACK + self._missed[item] - 1):
                part = self._planned[item].part
                return Choice(item, part, reasons.why_back(self.history, item, self.plan.day))
        for index, choice in enumerate(self._queue):
            if self._free(choice.item):
                return self._queue.pop(index)
        new = None
        if self._new_s < 60 * self.plan.new_minutes:
            if not self._is_blocked:
                self._begin_another()
            new = self._of_new() if self._is_blocked else None
        return new or self._of_shuffle() or self._of_new()

    @property
    def _is_blocked(self) -> bool:
        if self._form is None:
            return False
        of_form = self.history.forms.get((self._form.voicing, self._form.quality))
        return of_form is None or not of_form.passed

    def _begin_another(self) -> None:
        if not self._later:
            return
        unfinished = sum(self.history.slowness(item) > 0 or item in self._back for item in self._planned)
        room = 60 * self.plan.drill_minutes / self.history.prompt_s
        if ROUNDS * (unfinished + len(self._later[0].items)) > room:
            return
        self._form = self._later.pop(0)
        self._new = [item for item in self._form.items if self.history.pool.target(item) is not None]
        for item in self._new:
            self._planned.setdefault(item, Choice(item, "new", reasons.why_new(self.history, self._form, item)))

    def _of_new(self) -> Choice | None:
        """The next root of the new form: one never asked, else the one asked longest ago."""
        free = [item for item in self._new if self._free(item)]
        if self._form is None or not free:
            return None
        of_form = self.history.forms.get((self._form.voicing, self._form.quality))
        met = of_form.roots if of_form is not None else set()
        unmet = [item for item in free if item[2] not in met and item not in self._asked]
        item = unmet[0] if unmet else min(free, key=lambda item: self._asked.get(item, 0))
        return Choice(item, "new", reasons.why_new(self.history, self._form, item))

    def _of_shuffle(self) -> Choice | None:
        """The most urgent item of the plan, a form that is still blocked left aside."""
        aside = {*self._new} if self._is_blocked else ()
        least = min(GAP, len(self._planned) - 1)
        best: Item | None = None
        highest = 0.0
        for item in self._planned:
            waited = self._number - self._asked.get(item, -WAITED_MOST)
            if waited < least or item in aside:
                continue
            known = self.history.items.get(item)
            need = LEAST_NEED if known is None or known.slowness < LEAST_NEED else known.slowness
            priority = (waited if waited < WAITED_MOST else WAITED_MOST) * need * FEWER ** self._times.get(item, 0)
            if priority > highest:
                best, highest = item, priority
        if best is None:
            return None
        if best not in self._asked:
            return self._planned[best]
        return Choice(best, "slow", reasons.why_slow(self.history, best, self.plan.day))
