"""What may be practised: the forms of the sets at hand, in the order in which they are to be learned.

A *form* is one voicing in one quality; with a root it is an item. Where two drills ask for the same degrees in the same
quality they are one form, under the name and with the rules of the first; answers to either count for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from trainer.drills import Drill, DrillSet, Task, target_of, task_of
from trainer.grading import Target, pretty_symbol
from trainer.pitch import TWELVE_ROOTS, Degree, Note, pretty
from trainer.progress import Item, plain_root
from trainer.voicings import VoicingError

DEFAULT_AIM_MS: Final = 2000.0
"""The response time to aim at where a set says none (a judgement)."""


@dataclass(frozen=True, slots=True)
class Form:
    """A voicing in a quality, and the drill that asks for it. `roots` are its roots in the order of the drill."""

    voicing: str
    quality: str
    set_title: str
    index: int
    drill: Drill
    roots: tuple[Note, ...]

    @property
    def aim_ms(self) -> float:
        """The response time to aim at."""
        return DEFAULT_AIM_MS if self.drill.target_ms is None else float(self.drill.target_ms)

    @property
    def name(self) -> str:
        """``m7, rootless from the third``."""
        quality = pretty_symbol(f"C{self.quality}")[1:] or "major"
        return f"{quality}, {pretty_voicing(self.voicing)}"

    @property
    def items(self) -> tuple[Item, ...]:
        """An item for each root, the root under its name among the twelve."""
        return tuple((self.voicing, self.quality, plain_root(root.name)) for root in self.roots)


def pretty_voicing(voicing: str) -> str:
    """A voicing's name; one that is its degrees with musical signs.

    >>> pretty_voicing("b7 3 13"), pretty_voicing("drop 2")
    ('♭7 3 13', 'drop 2')
    """
    return " ".join(pretty(word) if any(letter.isdigit() for letter in word) else word for word in voicing.split(" "))


@dataclass(frozen=True)
class Pool:
    """Forms in the order in which they are met. Build it with `pool_of`."""

    forms: tuple[Form, ...]
    aliases: dict[tuple[str, str], int]
    reach_semitones: int | None = None
    _targets: dict[Item, Target | None] = field(default_factory=dict, compare=False, repr=False)

    def form_of(self, voicing: str, quality: str) -> Form | None:
        """The form that an answer under these names counts for; None where the pool has none."""
        index = self.aliases.get((voicing, quality))
        return None if index is None else self.forms[index]

    def target(self, item: Item) -> Target | None:
        """What an item asks for; None where the hand or the register does not allow it."""
        if item not in self._targets:
            form = self.form_of(item[0], item[1])
            root = next((r for r in form.roots if plain_root(r.name) == item[2]), None) if form is not None else None
            try:
                found = None if form is None or root is None else target_of(form.drill, root, self.reach_semitones)
            except VoicingError:
                found = None
            self._targets[item] = found
        return self._targets[item]

    def task(self, item: Item, hint: str) -> Task:
        """The prompt for an item. Raises ValueError where there is none."""
        form, target = self.form_of(item[0], item[1]), self.target(item)
        if form is None or target is None:
            raise ValueError(f"{item} cannot be asked from this pool")
        return task_of(form.drill, target, form.set_title, form.index, hint)

    def label(self, item: Item) -> str:
        """An item as it is named to the player: ``E♭m7, rootless from the seventh``."""
        return f"{pretty_symbol(item[2] + item[1])}, {pretty_voicing(item[0])}"


def pool_of(sets: Iterable[DrillSet | tuple[DrillSet, Sequence[int]]], reach_semitones: int | None = None) -> Pool:
    """The forms of some sets, in order; a set may come with the numbers of those of its drills that are meant.

    `reach_semitones` is the player's own reach, for drills that state none.
    """
    forms: list[Form] = []
    aliases: dict[tuple[str, str], int] = {}
    known: dict[tuple[object, ...], int] = {}
    for entry in sets:
        drill_set, chosen = entry if isinstance(entry, tuple) else (entry, range(len(entry.drills)))
        for index in chosen:
            drill = drill_set.drills[index]
            if drill.then or drill.on != Degree(1):
                continue  # a move is no item; its voicings are, in the drills of their own
            name = (drill.recipe.name, drill.quality.text)
            same = (drill.recipe.degrees, drill.recipe.optional, drill.quality.text)
            at = aliases.get(name, known.get(same))
            roots = tuple(dict.fromkeys(drill.pool or TWELVE_ROOTS))
            if at is None:
                at = len(forms)
                forms.append(Form(*name, drill_set.title, index, drill, roots))
            else:
                there = {plain_root(root.name) for root in forms[at].roots}
                more = tuple(root for root in roots if plain_root(root.name) not in there)
                one = forms[at]
                forms[at] = Form(one.voicing, one.quality, one.set_title, one.index, one.drill, (*one.roots, *more))
            aliases.setdefault(name, at)
            known.setdefault(same, at)
    return Pool(tuple(forms), aliases, reach_semitones)
