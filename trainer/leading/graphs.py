"""Cheapest paths through layers of candidates, open or closed to a loop: exact, in whole numbers.

An open path is found from its end: what is still to come after each candidate, layer by layer.

A closed path is the cheapest of the open ones that begin and end at the same candidate of one layer, the smallest. Two
things save most of the work, and what is found is the same number:

* A path from a candidate that may end anywhere costs no more than the loop from it. Beginnings whose free path is
  dearer than a loop already found are not followed.
* Often the costs from two beginnings differ by the same amount at every candidate of some layer; then they do so for
  ever, since from there on both continue alike. They are followed as one, and what each is dearer is kept aside. In
  a long form nearly all soon are.

What the cheapest path through every single candidate costs (`open_through`, `closed_through`) is another question,
which takes a second pass and is asked apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import add

Matrix = Sequence[Sequence[int]]
Vector = Sequence[int]


@dataclass(frozen=True, slots=True)
class Graph:
    """Layers of candidates: `stands[t][i]` is what candidate i of layer t costs, `moves[t][i][j]` the move from it to
    candidate j of the next layer; in a loop the last of `moves` leads into the first layer."""

    stands: list[list[int]]
    moves: list[Matrix]

    def turned(self, start: int) -> Graph:
        """A loop as it is from another layer on."""
        return Graph(self.stands[start:] + self.stands[:start], self.moves[start:] + self.moves[:start])

    @property
    def cut(self) -> int:
        """The layer with the fewest candidates: where a loop is cut."""
        sizes = [len(stands) for stands in self.stands]
        return sizes.index(min(sizes))


def _earlier(stands: Vector, rows: Matrix, following: Vector) -> list[int]:
    """What is to come after each candidate, its own stand included, from what is after those of the next layer."""
    return [stand + min(map(add, row, following)) for stand, row in zip(stands, rows, strict=True)]


def _to_come(graph: Graph, end: Vector) -> list[list[int]]:
    """For each candidate of each layer what is to come, `end` being paid after those of the last."""
    ahead = [list(map(add, graph.stands[-1], end))]
    for stands, rows in zip(graph.stands[-2::-1], graph.moves[len(graph.stands) - 2 :: -1], strict=False):
        ahead.append(_earlier(stands, rows, ahead[-1]))
    ahead.reverse()
    return ahead


def _columns(moves: Sequence[Matrix]) -> list[Matrix]:
    """Matrices turned; the same one is turned once."""
    known: dict[int, Matrix] = {}
    for rows in moves:
        if id(rows) not in known:
            known[id(rows)] = list(zip(*rows, strict=True))
    return [known[id(rows)] for rows in moves]


def _walk(path: list[int], moves: Sequence[Matrix], ahead: Sequence[Vector]) -> list[int]:
    """A path followed along what is cheapest; of equal candidates the first."""
    for rows, following in zip(moves, ahead, strict=False):
        ways = list(map(add, rows[path[-1]], following))
        path.append(ways.index(min(ways)))
    return path


def open_path(graph: Graph) -> tuple[list[int], int]:
    """A cheapest path, of equal ones the first by the order of candidates, and its cost."""
    ahead = _to_come(graph, [0] * len(graph.stands[-1]))
    least = min(ahead[0])
    return _walk([ahead[0].index(least)], graph.moves, ahead[1:]), least


def open_through(graph: Graph) -> list[list[int]]:
    """The cost of the cheapest path through each candidate of each layer."""
    ahead = _to_come(graph, [0] * len(graph.stands[-1]))
    reached = [0] * len(graph.stands[0])
    through = [ahead[0]]
    columns = _columns(graph.moves[: len(graph.stands) - 1])
    for stands, turned, following in zip(graph.stands[:-1], columns, ahead[1:], strict=True):
        left = list(map(add, reached, stands))
        reached = [min(map(add, column, left)) for column in turned]
        through.append(list(map(add, reached, following)))
    return through


# ---------------------------------------------------------------- loops


@dataclass(frozen=True, slots=True)
class _Together:
    """Beginnings of a loop at one layer: `classes` are costs less their least one, `of[b]` is the class of the b-th
    beginning and `dearer[b]` that least cost."""

    classes: list[tuple[int, ...]]
    of: list[int]
    dearer: list[int]

    @staticmethod
    def of_vectors(vectors: Sequence[Vector], of: Sequence[int], dearer: Sequence[int]) -> _Together:
        """Vectors, one for each former class, with their least cost taken off; equal ones become one class."""
        classes: dict[tuple[int, ...], int] = {}
        renamed, least = [], []
        for vector in vectors:
            smallest = min(vector)
            renamed.append(classes.setdefault(tuple([cost - smallest for cost in vector]), len(classes)))
            least.append(smallest)
        more = [cost + least[one] for cost, one in zip(dearer, of, strict=True)]
        return _Together(list(classes), [renamed[one] for one in of], more)


def closed_path(graph: Graph) -> tuple[list[int], int]:
    """A cheapest loop, of equal ones the first by the order of candidates at its cut, and its cost."""
    cut = graph.cut
    turned = graph.turned(cut)
    path, cost = _closed(turned)
    back = len(path) - cut
    return path[back:] + path[:back], cost


def _closed(graph: Graph) -> tuple[list[int], int]:
    if len(graph.stands) == 1:
        alone = _of_one(graph)
        return [alone.index(min(alone))], min(alone)
    free = _to_come(graph, [min(row) for row in graph.moves[-1]])[0]
    order = sorted(range(len(free)), key=lambda start: (free[start], start))
    best = _best_from(graph, order[:1])
    left = [start for start in sorted(order[1:]) if (free[start], start) < (best[1], best[0][0])]
    if left:
        other = _best_from(graph, left)
        if (other[1], other[0][0]) < (best[1], best[0][0]):
            best = other
    return best


def _of_one(graph: Graph) -> list[int]:
    """The loops of one chord into itself."""
    return [stand + graph.moves[0][at][at] for at, stand in enumerate(graph.stands[0])]


def _best_from(graph: Graph, starts: Sequence[int]) -> tuple[list[int], int]:
    """The cheapest loop from some beginnings, of equal ones the first; and its cost."""
    ahead = _ahead(graph, starts)
    costs = _loop_costs(graph, starts, ahead[0])
    least = min(costs)
    chosen = costs.index(least)
    vectors = [here.classes[here.of[chosen]] for here in ahead]
    return _walk([starts[chosen]], graph.moves, vectors), least


def _loop_costs(graph: Graph, starts: Sequence[int], second: _Together) -> list[int]:
    """What the loop from each beginning costs, from what is to come after the second layer."""
    rows, stands = graph.moves[0], graph.stands[0]
    return [
        stands[start] + second.dearer[at] + min(map(add, rows[start], second.classes[second.of[at]]))
        for at, start in enumerate(starts)
    ]


def _ahead(graph: Graph, starts: Sequence[int]) -> list[_Together]:
    """From each candidate of the second layer on, what is still to come until each beginning is reached again."""
    ends = [list(map(add, graph.stands[-1], [row[start] for row in graph.moves[-1]])) for start in starts]
    now = _Together.of_vectors(ends, range(len(starts)), [0] * len(starts))
    found = [now]
    for stands, rows in zip(graph.stands[-2:0:-1], graph.moves[-2:0:-1], strict=True):
        now = _Together.of_vectors([_earlier(stands, rows, following) for following in now.classes], now.of, now.dearer)
        found.append(now)
    found.reverse()
    return found


def closed_through(graph: Graph) -> list[list[int]]:
    """The cost of the cheapest loop through each candidate of each layer."""
    cut = graph.cut
    through = _closed_through(graph.turned(cut))
    back = len(through) - cut
    return through[back:] + through[:back]


def _closed_through(graph: Graph) -> list[list[int]]:
    if len(graph.stands) == 1:
        return [_of_one(graph)]
    starts = range(len(graph.stands[0]))
    ahead = _ahead(graph, starts)
    first = [[graph.stands[0][start] + cost for cost in graph.moves[0][start]] for start in starts]
    now = _Together.of_vectors(first, starts, [0] * len(starts))
    found = [_loop_costs(graph, starts, ahead[0]), _joined(now, ahead[0])]
    columns = _columns(graph.moves[1 : len(graph.stands) - 1])
    for stands, turned, following in zip(graph.stands[1:-1], columns, ahead[1:], strict=True):
        left = [list(map(add, stands, reached)) for reached in now.classes]
        vectors = [[min(map(add, column, costs)) for column in turned] for costs in left]
        now = _Together.of_vectors(vectors, now.of, now.dearer)
        found.append(_joined(now, following))
    return found


def _joined(reached: _Together, ahead: _Together) -> list[int]:
    """For each candidate, the least over all beginnings of what it costs to reach it and to go on from it."""
    least: dict[tuple[int, int], int] = {}
    for pair, before, after in zip(zip(reached.of, ahead.of, strict=True), reached.dearer, ahead.dearer, strict=True):
        cost = before + after
        if pair not in least or cost < least[pair]:
            least[pair] = cost
    rows = [
        [cost + one + other for one, other in zip(reached.classes[before], ahead.classes[after], strict=True)]
        for (before, after), cost in least.items()
    ]
    return rows[0] if len(rows) == 1 else list(map(min, *rows))
