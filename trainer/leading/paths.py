"""The cheapest path: what a move costs, and dynamic programming over layers of candidates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from itertools import pairwise
from math import isfinite
from operator import add, sub
from typing import Final

from trainer.leading.choices import Candidates, LeadingError, Plan, Slot, candidates
from trainer.pitch import key_name
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

    `number` is the slot's index. `chosen` is the index among `candidates.placements`; `extra_costs`, one for one with
    them, is how much dearer the cheapest whole path through that candidate would be (0: just as cheap). `move` leads
    into this station; None at the start of a path that is not a loop.
    """

    number: int
    slot: Slot
    candidates: Candidates
    chosen: int
    extra_costs: tuple[float, ...]
    place_cost: float
    move: Move | None

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


Matrix = Sequence[Sequence[float]]


@dataclass(slots=True)
class _Graph:
    """Candidates as a layered graph: what each costs to stand on, and each move from one layer to the next.

    `forward[s][i][j]` is the cost of the move from candidate i of layer s to candidate j of the next one (after the
    last comes the first); `backward` is the same, turned: [s][j][i].
    """

    stands: list[list[float]]
    forward: list[Matrix]
    backward: list[Matrix]
    _known: dict[tuple[int, int], tuple[Matrix, Matrix]] = field(default_factory=dict)

    @staticmethod
    def of(layers: Sequence[Candidates], plan: Plan, weights: Weights, loop: bool) -> _Graph:
        graph = _Graph([], [], [])
        stands: dict[int, list[float]] = {}
        for layer in layers:
            if id(layer) not in stands:
                stands[id(layer)] = [place_cost(placement, plan, weights) for placement in layer.placements]
            graph.stands.append(stands[id(layer)])
        cost = _cost_function(weights)
        for before, after in pairwise([*layers, layers[0]] if loop else layers):
            known = graph._known.get((id(before), id(after)))
            if known is None:
                rows = [[cost(first, second) for second in after.placements] for first in before.placements]
                known = rows, list(zip(*rows, strict=True))
                graph._known[id(before), id(after)] = known
            graph.forward.append(known[0])
            graph.backward.append(known[1])
        return graph

    def turned(self, start: int) -> _Graph:
        """The loop as it is from another layer on."""
        return _Graph(
            self.stands[start:] + self.stands[:start],
            self.forward[start:] + self.forward[:start],
            self.backward[start:] + self.backward[:start],
        )

    def costs_to_go(self, end: Sequence[float]) -> list[list[float]]:
        """For each candidate of each layer, the cheapest way on from it, its own stand included; `end` is what the
        last layer's candidates pay for ending there."""
        to_go = [list(map(add, self.stands[-1], end))]
        for stands, rows in zip(
            reversed(self.stands[:-1]), reversed(self.forward[: len(self.stands) - 1]), strict=True
        ):
            following = to_go[-1]
            to_go.append([stand + min(map(add, row, following)) for stand, row in zip(stands, rows, strict=True)])
        to_go.reverse()
        return to_go

    def costs_before(self, start: Sequence[float]) -> list[list[float]]:
        """For each candidate of each layer, the cheapest way to it, its own stand left out."""
        before = [list(start)]
        for stands, columns in zip(self.stands[:-1], self.backward, strict=False):
            reached = list(map(add, before[-1], stands))
            before.append([min(map(add, column, reached)) for column in columns])
        return before

    def walk(self, to_go: Sequence[Sequence[float]], start: int) -> list[int]:
        """The path from a first candidate along the cheapest way on; of equal ones the first."""
        path = [start]
        for rows, following in zip(self.forward, to_go[1:], strict=False):
            ways = list(map(add, rows[path[-1]], following))
            path.append(ways.index(min(ways)))
        return path


_NEVER: Final = float("inf")


def _cost_function(weights: Weights) -> Callable[[Placement, Placement], float]:
    if weights == Weights(motion=weights.motion, centre=weights.centre):
        return lambda first, second: weights.motion * motion(first.keys, second.keys)
    return lambda first, second: sum(_parts(first, second, weights).values())


def _through(before: list[list[float]], to_go: list[list[float]]) -> list[list[float]]:
    return [list(map(add, reached, ahead)) for reached, ahead in zip(before, to_go, strict=True)]


def _open_path(graph: _Graph) -> tuple[list[int], list[list[float]]]:
    """A cheapest path, and the cost of the cheapest path through each candidate of each layer."""
    to_go = graph.costs_to_go([0.0] * len(graph.stands[-1]))
    before = graph.costs_before([0.0] * len(graph.stands[0]))
    return graph.walk(to_go, to_go[0].index(min(to_go[0]))), _through(before, to_go)


def _closed_path(graph: _Graph) -> tuple[list[int], list[list[float]]]:
    """The same for a loop: cut where there are fewest candidates, and solved for each of them."""
    sizes = [len(stands) for stands in graph.stands]
    cut = sizes.index(min(sizes))
    turned = graph.turned(cut)
    best: tuple[float, list[int]] | None = None
    through: list[list[float]] = [[_NEVER] * len(stands) for stands in turned.stands]
    for first in range(sizes[cut]):
        # The column of the move from the last layer into this first candidate closes the loop.
        to_go = turned.costs_to_go(turned.backward[-1][first])
        start = [_NEVER] * sizes[cut]
        start[first] = 0.0
        for known, now in zip(through, _through(turned.costs_before(start), to_go), strict=True):
            known[:] = map(min, known, now)
        if best is None or to_go[0][first] < best[0]:
            best = to_go[0][first], turned.walk(to_go, first)
    assert best is not None
    back = len(sizes) - cut
    return best[1][back:] + best[1][:back], through[back:] + through[:back]


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
    graph = _Graph.of(layers, plan, weights, loop)
    path, through = _closed_path(graph) if loop else _open_path(graph)
    return _told(sounding, layers, graph, path, through, weights, loop)


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


def _told(
    sounding: list[tuple[int, Slot]],
    layers: list[Candidates],
    graph: _Graph,
    path: list[int],
    through: list[list[float]],
    weights: Weights,
    loop: bool,
) -> Path:
    chosen = [layer.placements[at] for layer, at in zip(layers, path, strict=True)]
    moves: list[Move | None] = []
    known: dict[tuple[int, int], Move] = {}
    for at, placement in enumerate(chosen):
        if at == 0 and not loop:
            moves.append(None)
            continue
        pair = id(chosen[at - 1]), id(placement)
        if pair not in known:
            known[pair] = move(chosen[at - 1], placement, weights)
        moves.append(known[pair])
    stations = []
    for at, (number, slot) in enumerate(sounding):
        least = through[at][path[at]]
        extra = tuple([max(0.0, round(cost - least, 9)) for cost in through[at]])
        stations.append(Station(number, slot, layers[at], path[at], extra, graph.stands[at][path[at]], moves[at]))
    made = [one for one in moves if one is not None]
    cost = sum(station.place_cost for station in stations) + sum(one.cost for one in made)
    return Path(tuple(stations), cost, sum(one.motion_semitones for one in made), loop)
