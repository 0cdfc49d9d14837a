"""Which prompt comes next within a session: fed with the attempts that have ended, it answers to what was played.

What was missed comes back first, two prompts later at the earliest and after each further miss a prompt later still;
then the parts of the plan in their order; the rest of the time goes to what is slow, the slowest and longest not asked
first. The same item is never asked again before two others (where the plan has three items or more).

Source of the order: Mettler, Massey & Kellman (2011, 2016): priority grows with the prompts since an item was asked,
for errors far more than for slowness, with an enforced gap of two prompts.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from trainer.drills import Task
from trainer.grading import Target
from trainer.progress import Attempt, Item
from trainer.scheduling import reasons
from trainer.scheduling.history import LONGEST_PROMPT_S, History
from trainer.scheduling.planning import Choice, Plan, slowness

GAP: Final = 2
"""Prompts that lie between two of the same item, at least."""

WAITED_MOST: Final = 24
LEAST_NEED: Final = 0.03


class Chooser:
    """A plan as prompts, one after another; a `session.Prompter`. `choice` is the one in hand, with its reason."""

    def __init__(self, plan: Plan, history: History, sound: bool = False) -> None:
        """`history` is the one that the plan was made of; it is kept up to date. `sound`: voicings can be heard."""
        self.plan = plan
        self.history = history
        self.choice: Choice | None = None
        self.elapsed_s = 0.0
        self._sound = sound
        self._chosen = {choice.item: choice for choice in plan.choices}
        self._queue = [choice for part in plan.parts if part.kind in ("faded", "wrong") for choice in part.choices]
        self._new = [choice.item for part in plan.parts if part.kind == "new" for choice in part.choices]
        self._new_s = 0.0
        self._asked: dict[Item, int] = {}
        self._missed: dict[Item, int] = {}
        self._back: dict[Item, None] = {}
        self._number = 0
        self._counted = 0
        self._before_ns: int | None = None

    # -- what a session asks

    @property
    def targets(self) -> tuple[Target, ...]:
        found = [self.history.pool.target(item) for item in self._chosen]
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
        """What to ask next, and why."""
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
            self._number += 1
            self._asked[self.choice.item] = self._number
        return self.choice

    # -- how it chooses

    def _heard(self, attempt: Attempt) -> None:
        item = self.history.add(attempt)
        if item is None or item not in self._chosen:
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
        return asked is None or self._number - asked >= min(gap, len(self._chosen) - 1)

    def _next(self) -> Choice | None:
        for item in self._back:
            if self._free(item, GAP + self._missed[item] - 1):
                return Choice(item, self._chosen[item].part, reasons.why_back(self.history, item, self.plan.day))
        for index, choice in enumerate(self._queue):
            if self._free(choice.item):
                return self._queue.pop(index)
        if (
            self._is_blocked
            and (self._new_s < 60 * self.plan.new_minutes or not self._mixed)
            and (new := self._of_new())
        ):
            return new
        return self._of_mixed() or self._of_new()

    @property
    def _is_blocked(self) -> bool:
        form = self.plan.new_form
        if form is None or not self._new:
            return False
        of_form = self.history.forms.get((form.voicing, form.quality))
        return of_form is None or not of_form.passed

    @property
    def _mixed(self) -> list[Item]:
        """What is in the shuffle: all of the plan but a form that is still blocked."""
        if not self._is_blocked:
            return list(self._chosen)
        new = set(self._new)
        return [item for item in self._chosen if item not in new]

    def _of_new(self) -> Choice | None:
        """The next root of the new form: one never asked, else the one asked longest ago."""
        form = self.plan.new_form
        if form is None:
            return None
        free = [item for item in self._new if self._free(item)]
        if not free:
            return None
        of_form = self.history.forms.get((form.voicing, form.quality))
        unmet = [item for item in free if of_form is None or item[2] not in of_form.roots]
        item = unmet[0] if unmet else min(free, key=lambda item: self._asked.get(item, 0))
        return Choice(item, "new", reasons.why_new(self.history, form, item))

    def _of_mixed(self) -> Choice | None:
        best: Item | None = None
        highest = -1.0
        for item in self._mixed:
            if not self._free(item):
                continue
            asked = self._asked.get(item)
            waited = WAITED_MOST if asked is None else min(self._number - asked, WAITED_MOST)
            priority = waited * max(LEAST_NEED, slowness(self.history, item))
            if priority > highest:
                best, highest = item, priority
        if best is None:
            return None
        known = self.history.items.get(best)
        if best not in self._asked and best in self._chosen and self._chosen[best].part != "new":
            return self._chosen[best]
        if known is None or known.latest is None:
            return self._chosen[best]
        return Choice(best, "slow", reasons.why_slow(self.history, best, self.plan.day))
