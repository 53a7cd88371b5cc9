"""Searches over the edges: what is least from everywhere, and every efficient way between.

The least times and amounts come from scipy's Dijkstra; ways efficient in several criteria
at once from labels that are set in the order of time, pruned by what one tank reaches.
"""

import heapq
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from operator import add, le
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from haulplan.roads.network import Network
from haulplan.roads.usage import Usage

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

__all__ = [
    "Arc",
    "Streets",
    "efficient_ways",
    "lay_streets",
    "least_time_from",
    "least_time_to",
    "least_to",
]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

#: A slower way must save this share of the water (or pass a hill with more aboard) to be kept.
_WORTH = 0.004
#: ... and at least so much. [kg]
_LEAST_SAVED = 0.5


@dataclass(frozen=True, kw_only=True)
class Arc:
    """A way between two stops: edges in driving order, sums of what they take.

    `least_time` has shape (gears, gears), as in `Usage`; `least_` holds at any load. [s], [kg]
    """

    edges: tuple[int, ...]
    tail: int
    head: int
    least_time: tuple[tuple[float, ...], ...]
    least_water: float
    least_coal: float


@dataclass(frozen=True, kw_only=True)
class Streets:
    """The edges in use with what each takes, laid out for searching.

    `out` lists for each node the edges that leave it; `barred` holds pairs of edges that
    may not be driven one after the other, a corner on a hill for one.
    """

    nodes: int
    head: tuple[int, ...]
    tail: tuple[int, ...]
    out: tuple[tuple[int, ...], ...]
    turning: tuple[bool, ...]
    usage: Usage
    usable: NDArray[np.bool_]
    barred: frozenset[tuple[int, int]] = frozenset()

    @cached_property
    def turns(self) -> tuple[Whole, Whole]:
        """Pairs of edges that may be driven one after the other, as two arrays."""
        used = np.flatnonzero(self.usable)
        onward = [self.out[self.head[edge]] for edge in used.tolist()]
        before = np.repeat(used, [len(edges) for edges in onward])
        after = np.array([edge for edges in onward for edge in edges], dtype=np.int64)
        back = (after == before ^ 1) & ~np.array(self.turning)[np.array(self.head)[before]]
        kept = ~back
        for one, other in self.barred:
            kept &= (before != one) | (after != other)
        return before[kept], after[kept]

    @cached_property
    def figures(self) -> tuple[list[Any], ...]:
        """Usual time by the gear left in, usual and least water, least coal, most aboard."""
        usage = self.usage
        return tuple(
            figures.tolist()
            for figures in (
                usage.time.transpose(0, 2, 1), usage.water, usage.least_water, usage.least_coal,
                usage.heaviest,
            )
        )  # fmt: skip

    def barring(self, parts: Collection[tuple[int, ...]]) -> "Streets":
        """The same without single edges and turns that proved too steep."""
        shut = {part[0] for part in parts if len(part) == 1}
        turns = {(part[0], part[1]) for part in parts if len(part) == 2}
        usable = self.usable.copy()
        usable[list(shut)] = False
        return replace(
            self,
            out=tuple(tuple(e for e in edges if e not in shut) for edges in self.out),
            usable=usable,
            barred=self.barred | turns,
        )

    def arc(self, edges: Sequence[int]) -> Arc:
        """The sums over edges in driving order."""
        own, usage = list(edges), self.usage
        return Arc(
            edges=tuple(own),
            tail=self.tail[own[0]],
            head=self.head[own[-1]],
            least_time=tuple(map(tuple, _joined(usage.least_time[own]).tolist())),
            least_water=float(usage.least_water[own].sum()),
            least_coal=float(usage.least_coal[own].sum()),
        )


def _joined(times: Array) -> Array:
    """Times of edges driven one after the other, by gear, as one; shape (gears, gears)."""
    while len(times) > 1:
        rest = times[len(times) // 2 * 2 :]
        even, odd = times[0 : len(times) // 2 * 2 : 2], times[1::2]
        times = np.concatenate([(even[:, :, :, None] + odd[:, None]).min(axis=2), rest])
    whole: Array = times[0]
    return whole


def lay_streets(network: Network, usage: Usage, usable: NDArray[np.bool_]) -> Streets:
    """Lay out the edges in use for searching.

    Parameters
    ----------
    network
        The roads.
    usage
        Of each edge.
    usable
        Edges in use, shape (edges,).

    Returns
    -------
    streets
        Roads that lead back to where they begin are left out: they lead nowhere.
    """
    driven = usable & (network.tail != network.head)
    out: list[list[int]] = [[] for _ in network.node_names]
    for edge in np.flatnonzero(driven).tolist():
        out[int(network.tail[edge])].append(edge)
    return Streets(
        nodes=len(network.node_names),
        head=tuple(network.head.tolist()),
        tail=tuple(network.tail.tolist()),
        out=tuple(tuple(edges) for edges in out),
        turning=tuple(network.turning.tolist()),
        usage=usage,
        usable=driven,
    )


def least_to(streets: Streets, weight: Array, targets: Sequence[int]) -> Array:
    """Least sum of a weight from every node to each target.

    Parameters
    ----------
    streets
        The edges in use.
    weight
        Of each edge, none below zero, shape (edges,).
    targets
        Nodes.

    Returns
    -------
    least
        Infinite where no way leads there, shape (targets, nodes).
    """
    from scipy.sparse import csr_matrix  # noqa: PLC0415  slow to load
    from scipy.sparse.csgraph import dijkstra  # noqa: PLC0415

    edges = np.flatnonzero(streets.usable)
    head, tail, cost = _least_parallel(
        np.array(streets.head)[edges], np.array(streets.tail)[edges], weight[edges]
    )
    matrix = csr_matrix((cost + 1e-12, (head, tail)), shape=(streets.nodes, streets.nodes))
    least: Array = dijkstra(matrix, indices=list(targets))
    return least


def least_time_to(
    streets: Streets,
    time: Array,
    targets: Collection[int],
    start: int,
    onward: Array | None = None,
) -> Array:
    """Least time from the end of every edge, in the gear it was driven in, to any target.

    Turning back on the road and barred turns are left out, so this is nearer the truth
    than times between nodes.

    Parameters
    ----------
    streets
        The edges in use.
    time
        Of each edge by gear, shape (edges, gears, gears). [s]
    targets
        Nodes, any of which ends the way.
    start
        Node whose least time, no edge driven yet, stands in the last row.
    onward
        What is still to come after the target by the edge it is reached by, of the shape
        returned; nothing where None. [s]

    Returns
    -------
    least
        Infinite where no way leads there, shape (edges + 1, gears). [s]
    """
    from scipy.sparse.csgraph import dijkstra  # noqa: PLC0415  slow to load

    count, gears = time.shape[:2]
    reached = np.flatnonzero(streets.usable & np.isin(streets.head, list(targets)))
    come = np.zeros((reached.size, gears)) if onward is None else onward[reached]
    matrix = _by_turns(streets, time, reached, come, forward=False)
    least = np.full((count + 1, gears), np.inf)
    least[:count] = dijkstra(matrix, indices=count * gears)[:-1].reshape(count, gears)
    if first := list(streets.out[start]):
        least[count] = (time[first] + least[first][:, None, :]).min()
    return least


def least_time_from(streets: Streets, time: Array, start: int) -> Array:
    """Least time from a node to every other one, gear changes and turns as they are.

    Parameters
    ----------
    streets
        The edges in use.
    time
        Of each edge by gear, shape (edges, gears, gears). [s]
    start
        Node.

    Returns
    -------
    least
        Infinite where no way leads there, shape (nodes,). [s]
    """
    from scipy.sparse.csgraph import dijkstra  # noqa: PLC0415  slow to load

    count, gears = time.shape[:2]
    first = np.array(streets.out[start], dtype=np.int64)
    matrix = _by_turns(streets, time, first, time[first].min(axis=1), forward=True)
    by_edge = dijkstra(matrix, indices=count * gears)[:-1].reshape(count, gears).min(axis=1)
    least = np.full(streets.nodes, np.inf)
    np.minimum.at(least, np.array(streets.head), by_edge)
    least[start] = 0.0
    return least


def _by_turns(
    streets: Streets, time: Array, ends: Whole, costs: Array, *, forward: bool
) -> "csr_matrix[np.float64]":
    """Edges and gears as nodes, turns as arcs; one node more leads to the ends given."""
    from scipy.sparse import csr_matrix  # noqa: PLC0415  slow to load

    count, gears = time.shape[:2]
    before, after = streets.turns
    state = np.arange(gears)
    begin = before[:, None, None] * gears + state[None, :, None]
    end = after[:, None, None] * gears + state[None, None, :]
    begin, end, cost = (
        part.reshape(-1) for part in np.broadcast_arrays(begin, end, time[after])
    )  # fmt: skip
    rows, columns = (begin, end) if forward else (end, begin)
    rows = np.concatenate([rows, np.full(ends.size * gears, count * gears)])
    columns = np.concatenate([columns, (ends[:, None] * gears + state).reshape(-1)])
    weight = np.concatenate([cost, costs.reshape(-1)]) + 1e-12
    finite = np.isfinite(weight)
    shape = (count * gears + 1, count * gears + 1)
    return csr_matrix((weight[finite], (rows[finite], columns[finite])), shape=shape)


def _least_parallel(head: Whole, tail: Whole, cost: Array) -> tuple[Whole, Whole, Array]:
    """Of parallel roads the least: scipy would add them up."""
    order = np.lexsort((cost, tail, head))
    head, tail, cost = head[order], tail[order], cost[order]
    best = np.ones(head.size, dtype=bool)
    best[1:] = (np.diff(head) != 0) | (np.diff(tail) != 0)
    return head[best], tail[best], cost[best]


def efficient_ways(
    streets: Streets,
    origin: int,
    targets: frozenset[int],
    *,
    water: float,
    coal: float,
    every: bool = False,
    limit: tuple[Array, float] | None = None,
    budget: int = 200_000,
) -> Iterator[Arc]:
    """Efficient ways from one stop to the next ones, passing through none between.

    Parameters
    ----------
    streets
        The edges in use.
    origin
        Node to begin at.
    targets
        Nodes to end at.
    water, coal
        The most that can be used on the way, a full store less its reserve. [kg]
    every
        True for every way that passes no node twice, efficient or not.
    limit
        Least time from each edge and gear to the end of the day's road, what was driven
        before included, shape (edges + 1, gears), and the most it may come to with the
        way to there. [s], [s]
    budget
        Most labels to set.

    Returns
    -------
    arcs
        A way is efficient if none by the same first and last road is as fast in every gear,
        as sparing of water and as light on the hills; ways that save less than 0.4 % of the
        water are not told apart.

    Raises
    ------
    OverflowError
        If the budget does not suffice.

    References
    ----------
    .. [1] E. Q. V. Martins, "On a multicriteria shortest path problem", European Journal
       of Operational Research 16 (1984), 236-245: label setting (from memory).
    """
    time, water_of, least_water, least_coal, most = streets.figures
    ahead, latest = ([], np.inf) if limit is None else (limit[0].tolist(), limit[1])
    trail = _Trail()
    start = (0.0,) * streets.usage.gears
    heap = [(0.0, trail.add(-1, -1), start, 0.0, 0.0, 0.0, np.inf, origin)]
    kept: dict[tuple[int, int, int], list[tuple[float, ...]]] = {}
    while heap:
        _, label, at, used, drawn, burnt, lightest, node = heapq.heappop(heap)
        last, ends = trail.edge[label], node in targets
        if label and not every:
            own = kept.setdefault((node, trail.first[label], last if ends else -1), [])
            mine = (used * (1 + _WORTH) + _LEAST_SAVED, -lightest, *at)
            if any(all(map(le, other, mine)) for other in own):
                continue
            own.append((used, -lightest, *at))
        if label and ends:
            yield streets.arc(trail.way(label))
            continue
        passed = {streets.tail[edge] for edge in trail.way(label)} if every else ()
        for edge in streets.out[node]:
            head = streets.head[edge]
            if edge == last ^ 1 or ((head in passed or head == origin) and head not in targets):
                continue
            if (head in passed and head != origin) or (last, edge) in streets.barred:
                continue
            drawn_then, burnt_then = drawn + least_water[edge], burnt + least_coal[edge]
            if drawn_then > water or burnt_then > coal:
                continue
            then = tuple([min(map(add, at, column)) for column in time[edge]])
            soonest = min(then)
            if ahead and min(map(add, then, ahead[edge])) > latest:
                continue
            used_then, mass = used + water_of[edge], min(lightest, most[edge])
            fresh = trail.add(label, edge)
            if fresh > budget:
                raise OverflowError
            heapq.heappush(
                heap, (soonest, fresh, then, used_then, drawn_then, burnt_then, mass, head)
            )


class _Trail:
    """The edge of every label, the label before it, and the first edge of its way."""

    def __init__(self) -> None:
        self.edge: list[int] = []
        self.before: list[int] = []
        self.first: list[int] = []

    def add(self, before: int, edge: int) -> int:
        """A new label."""
        self.edge.append(edge)
        self.before.append(before)
        self.first.append(edge if before <= 0 else self.first[before])
        return len(self.edge) - 1

    def way(self, label: int) -> list[int]:
        """Edges of a label's way in driving order."""
        edges = []
        while label > 0:
            edges.append(self.edge[label])
            label = self.before[label]
        return edges[::-1]
