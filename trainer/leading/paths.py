"""The cheapest path through slots: what a move costs, and the path told as stations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from fractions import Fraction
from functools import cached_property, lru_cache, partial
from itertools import pairwise
from math import isfinite, lcm
from operator import sub
from typing import Final

from trainer.leading.choices import Candidates, LeadingError, Plan, Slot, candidates
from trainer.leading.graphs import Graph, Matrix, closed_path, closed_through, open_path, open_through
from trainer.pitch import Degree, key_name
from trainer.voicings import Placement

FREE_STEP_SEMITONES: Final = 2
"""The top voice may move so far, a whole step, before it leaps."""


@dataclass(frozen=True, slots=True)
class Weights:
    """What a path pays for. Finite and not below 0.

    `motion`: each semitone that a voice moves. `top_leap`: each semitone that the top voice moves beyond a whole step.
    `centre`: each semitone between the middle of a voicing and the plan's centre. `repeated_form`: the same form again
    for another chord. `parallel`, `contrary`: a move whose lowest and highest voices go the same way, or opposite ways.
    """

    motion: float = 1.0
    top_leap: float = 0.0
    centre: float = 0.0
    repeated_form: float = 0.0
    parallel: float = 0.0
    contrary: float = 0.0

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if not isfinite(value) or value < 0:
                raise LeadingError(f"the weight {item.name} must be 0 or more, not {value}")


@dataclass(frozen=True, slots=True)
class Move:
    """From one voicing to the next.

    `motion_semitones` of all voices together, `top_semitones` of the top voice (up is positive), `held` keys that stay,
    `outer`: how the lowest and the highest voice go (``still``, ``oblique``, ``parallel``, ``contrary``); `parts` of
    the `cost` by weight, those that are not 0.
    """

    motion_semitones: int
    top_semitones: int
    held: int
    outer: str
    cost: float
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Station:
    """One slot of a path.

    `number` is the slot's index. `chosen` is the index among `candidates.placements`. `move` leads into this station;
    None at the start of a path that is not a loop.
    """

    number: int
    slot: Slot
    candidates: Candidates
    chosen: int
    place_cost: float
    move: Move | None
    others: Callable[[], tuple[float, ...]] = field(repr=False, compare=False)

    @property
    def extra_costs(self) -> tuple[float, ...]:
        """How much dearer the cheapest whole path through each of the candidates would be (0: just as cheap). It is
        found for all stations when one is first asked."""
        return self.others()

    @property
    def placement(self) -> Placement:
        return self.candidates.placements[self.chosen]


@dataclass(frozen=True, slots=True)
class Path:
    """A cheapest path: its stations in order, its whole cost, and its motion. In a loop the first station's move comes
    from the last station."""

    stations: tuple[Station, ...]
    cost: float
    motion_semitones: int
    loop: bool


def motion(first: Sequence[int], second: Sequence[int]) -> int:
    """Semitones that all voices move together; both ascending, neither empty. See the module's head for the rule.

    >>> motion((53, 57, 60, 64), (53, 57, 59, 64)), motion((48, 58), (53, 57, 62))
    (1, 10)
    """
    if len(first) == len(second):
        return sum(map(abs, map(sub, first, second)))
    small, large = (first, second) if len(first) < len(second) else (second, first)
    # best[i]: the voices of the large chord seen so far are joined to the first i + 1 of the small one.
    far = 1 << 30
    best = [abs(small[0] - large[0])] + [far] * (len(small) - 1)
    for key in large[1:]:
        best = [min(best[at], best[at - 1] if at else far) + abs(low - key) for at, low in enumerate(small)]
    return best[-1]


def _outer(first: Sequence[int], second: Sequence[int]) -> str:
    low, high = second[0] - first[0], second[-1] - first[-1]
    if not low and not high:
        return "still"
    if not low or not high:
        return "oblique"
    return "parallel" if (low > 0) == (high > 0) else "contrary"


def _parts(before: Placement, after: Placement, weights: Weights) -> dict[str, float]:
    """What a move costs, by weight."""
    first, second = before.keys, after.keys
    parts = {"motion": weights.motion * motion(first, second)}
    if weights.top_leap:
        parts["top_leap"] = weights.top_leap * max(0, abs(second[-1] - first[-1]) - FREE_STEP_SEMITONES)
    if weights.repeated_form and before.recipe.name == after.recipe.name:
        if before.root != after.root or before.recipe.degrees != after.recipe.degrees:
            parts["repeated_form"] = weights.repeated_form
    outer = _outer(first, second) if weights.parallel or weights.contrary else ""
    if outer == "parallel":
        parts["parallel"] = weights.parallel
    elif outer == "contrary":
        parts["contrary"] = weights.contrary
    return parts


def move(before: Placement, after: Placement, weights: Weights | None = None) -> Move:
    """One move and what it costs."""
    parts = _parts(before, after, weights or Weights())
    return Move(
        motion(before.keys, after.keys),
        after.keys[-1] - before.keys[-1],
        len(set(before.keys) & set(after.keys)),
        _outer(before.keys, after.keys),
        sum(parts.values()),
        tuple((name, cost) for name, cost in parts.items() if cost),
    )


def place_cost(placement: Placement, plan: Plan, weights: Weights) -> float:
    """What a voicing costs for lying where it lies."""
    return weights.centre * abs((placement.keys[0] + placement.keys[-1]) / 2 - plan.centre)


def lead(
    slots: Sequence[Slot], plan: Plan | None = None, weights: Weights | None = None, *, loop: bool = False
) -> Path:
    """A cheapest path through the candidates of all slots; of equally cheap ones the first by the order of candidates.

    With `loop` the last chord leads into the first. Raises `LeadingError` where there is no chord, or where a chord has
    no candidate; it then names the chord and why each voicing was refused.

    >>> from trainer.chords import parse
    >>> path = lead([Slot(parse(symbol)) for symbol in ("Dm7", "G7", "Cmaj7")])
    >>> [station.move.motion_semitones for station in path.stations[1:]], path.cost
    ([1, 5], 6.0)
    """
    plan, weights = plan or Plan(), weights or Weights()
    sounding = [(number, slot) for number, slot in enumerate(slots) if slot.chord.root is not None]
    if not sounding:
        raise LeadingError("there is no chord to voice")
    layers = []
    known: dict[Slot, Candidates] = {}
    for number, slot in sounding:
        layer = known.get(slot)
        if layer is None:
            layer = known[slot] = _checked(number, slot, plan)
        layers.append(layer)
    costs = _costs_of(weights)
    graph = Graph(
        [costs.stands(layer, plan.centre) for layer in layers],
        [costs.moves(*pair) for pair in pairwise([*layers, layers[0]] if loop else layers)],
    )
    path, cost = closed_path(graph) if loop else open_path(graph)
    return _told(sounding, layers, path, _Others(graph, loop, cost, costs.scale), weights, plan)


def _checked(number: int, slot: Slot, plan: Plan) -> Candidates:
    try:
        layer = candidates(slot, plan)
    except LeadingError as fault:
        raise LeadingError(str(fault), number) from None
    if not layer.placements:
        under = "" if slot.melody_key is None else f" under {key_name(slot.melody_key)}"
        why = f" {layer.refused[0].name}: {layer.refused[0].reason}" if layer.refused else ""
        raise LeadingError(
            f"chord {number + 1}, {slot.chord.symbol}{under}, has no voicing that fits.{why}", number, layer.refused
        )
    return layer


class _Others:
    """A graph with its cheapest path's cost, and how much dearer every other way is, found when it is asked for."""

    def __init__(self, graph: Graph, loop: bool, cost: int, scale: int) -> None:
        self.graph = graph
        self.loop = loop
        self.cost = cost
        self.scale = scale

    @cached_property
    def through(self) -> list[list[int]]:
        return closed_through(self.graph) if self.loop else open_through(self.graph)

    def at(self, station: int) -> tuple[float, ...]:
        return tuple([(cost - self.cost) / self.scale for cost in self.through[station]])


def _told(
    sounding: list[tuple[int, Slot]],
    layers: list[Candidates],
    path: list[int],
    others: _Others,
    weights: Weights,
    plan: Plan,
) -> Path:
    chosen = [layer.placements[at] for layer, at in zip(layers, path, strict=True)]
    moves: list[Move | None] = []
    made: dict[tuple[int, int], Move] = {}
    places: dict[int, float] = {}
    for at, placement in enumerate(chosen):
        if id(placement) not in places:
            places[id(placement)] = place_cost(placement, plan, weights)
        if at == 0 and not others.loop:
            moves.append(None)
            continue
        pair = id(chosen[at - 1]), id(placement)
        if pair not in made:
            made[pair] = move(chosen[at - 1], placement, weights)
        moves.append(made[pair])
    stations = [
        Station(number, slot, layers[at], path[at], places[id(chosen[at])], moves[at], partial(others.at, at))
        for at, (number, slot) in enumerate(sounding)
    ]
    motions = sum(one.motion_semitones for one in moves if one is not None)
    return Path(tuple(stations), others.cost / others.scale, motions, others.loop)


# ---------------------------------------------------------------- what moves cost, in whole numbers


class _Known(dict[int, int]):
    """What moves between kinds of voicings cost, found once for each distance; see `_Costs.moves` for the keys."""

    def __init__(self, costs: _Costs, same_root: bool) -> None:
        super().__init__()
        self.costs = costs
        self.same_root = same_root

    def __missing__(self, key: int) -> int:
        first, second, apart = key >> 20, key >> 8 & 0xFFF, (key & 0xFF) - 128
        found = self[key] = self.costs.between(first, second, apart, self.same_root)
        return found


class _Costs:
    """The weights in whole numbers (weights as they are written in decimals, times `scale`), so that sums are exact.

    What a move costs depends on the two forms and on how far their bottom notes lie apart, not on the key that they are
    in: it is found once for all twelve.
    """

    MOST_KINDS: Final = 4096
    MOST_KEPT: Final = 20_000

    def __init__(self, weights: Weights) -> None:
        exact = {item.name: Fraction(repr(float(getattr(weights, item.name)))) for item in fields(weights)}
        # A middle of two keys may be half a semitone off.
        self.scale = 2 * lcm(*(value.denominator for value in exact.values()))
        self.whole = {name: int(value * self.scale) for name, value in exact.items()}
        self.clear()

    def clear(self) -> None:
        self.numbers: dict[tuple[tuple[int, ...], str, tuple[Degree, ...]], int] = {}
        self.kinds: list[tuple[tuple[int, ...], str, tuple[Degree, ...]]] = []
        self.known = {same_root: _Known(self, same_root) for same_root in (False, True)}
        self.seen: dict[int, tuple[Candidates, list[int], list[int]]] = {}
        self.made: dict[tuple[int, int], tuple[Candidates, Candidates, Matrix]] = {}

    def between(self, first: int, second: int, apart: int, same_root: bool) -> int:
        """The cost of a move from one kind to another whose bottom note lies `apart` semitones higher."""
        (before, name, degrees), (shape, other_name, other_degrees) = self.kinds[first], self.kinds[second]
        after = tuple([height + apart for height in shape])
        whole = self.whole
        cost = whole["motion"] * motion(before, after)
        if whole["top_leap"]:
            cost += whole["top_leap"] * max(0, abs(after[-1] - before[-1]) - FREE_STEP_SEMITONES)
        if whole["repeated_form"] and name == other_name and not (same_root and degrees == other_degrees):
            cost += whole["repeated_form"]
        if whole["parallel"] or whole["contrary"]:
            cost += whole.get(_outer(before, after), 0)
        return cost

    def stands(self, layer: Candidates, centre: int) -> list[int]:
        """What each candidate costs for lying where it lies."""
        weight = self.whole["centre"] // 2
        if not weight:
            return [0] * len(layer.placements)
        return [weight * abs(one.keys[0] + one.keys[-1] - 2 * centre) for one in layer.placements]

    def numbered(self, layer: Candidates) -> tuple[list[int], list[int]]:
        """Each candidate as the first and as the second part of a key of `_Known`."""
        known = self.seen.get(id(layer))
        if known is None:
            firsts, seconds = [], []
            for one in layer.placements:
                bottom = one.keys[0]
                kind = tuple([key - bottom for key in one.keys]), one.recipe.name, one.recipe.degrees
                number = self.numbers.setdefault(kind, len(self.kinds))
                if number == len(self.kinds):
                    self.kinds.append(kind)
                firsts.append((number << 20) + 128 - bottom)
                seconds.append((number << 8) + bottom)
            # The layer is kept with its numbers, so that its id stays its own.
            known = self.seen[id(layer)] = layer, firsts, seconds
        return known[1:]

    def moves(self, before: Candidates, after: Candidates) -> Matrix:
        """A row for each candidate before, of what the move to each candidate after costs."""
        made = self.made.get((id(before), id(after)))
        if made is None:
            new = len(before.placements) + len(after.placements)
            if len(self.kinds) + new > self.MOST_KINDS or len(self.made) > self.MOST_KEPT:
                self.clear()
            known = self.known[before.placements[0].root == after.placements[0].root]
            firsts, seconds = self.numbered(before)[0], self.numbered(after)[1]
            rows = [[known[first + second] for second in seconds] for first in firsts]
            made = self.made[id(before), id(after)] = before, after, rows
        return made[2]


@lru_cache(maxsize=16)
def _costs_of(weights: Weights) -> _Costs:
    return _Costs(weights)
