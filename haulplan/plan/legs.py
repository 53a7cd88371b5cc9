"""Exact compression: the road between two events as one affine map of what is aboard.

With M kg of water and coal aboard, a segment uses a + b M of water and d + e M of coal,
so M' = (1 - b - e) M - (a + d). Such maps compose; over n segments M_n = P_n M - Q_n,
with P and Q from one cumulative product and sum, and every total is affine in M at the
leg's start. The optimiser's size is the number of events, not of segments.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Choice, Demand, Linear, linearise
from haulplan.route import Passing, Route
from haulplan.scenario import Scenario

__all__ = ["AffineLeg", "Chain", "MassLimit", "Node", "build_chain", "compress", "nodes_of"]

Array = NDArray[np.float64]

#: Order of events at one place: what is aboard is settled before a bridge or a crest.
_RANK = {"supply": 0, "halt": 1, "crest": 2, "bridge": 3, "gear": 4}


@dataclass(frozen=True, kw_only=True)
class MassLimit:
    """Most water and coal aboard at a leg's start, and the place that asks for it [kg]."""

    most: float
    kind: str
    name: str
    distance: float
    row: int


@dataclass(frozen=True, kw_only=True)
class AffineLeg:
    """Use of a leg as base + slope x mass aboard at its start, in one gear choice."""

    gear: int
    duration: float
    duration_slope: float
    water: float
    water_slope: float
    coal: float
    coal_slope: float
    limits: tuple[MassLimit, ...]


@dataclass(frozen=True, kw_only=True)
class Node:
    """An event of the chain: a passing of something that matters, a gear boundary, an end.

    `crest` is the boiler water above its working level to be carried past it [kg].
    """

    kind: str
    name: str
    sample: int
    distance: float
    passing: Passing | None = None
    crest: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Chain:
    """Nodes in driving order; `legs[i]` holds the gear options from node i to i + 1."""

    nodes: tuple[Node, ...]
    legs: tuple[tuple[AffineLeg, ...], ...]
    choices: tuple[int | None, ...]


def compress(linear: Linear, first: int, last: int) -> tuple[Array, Array]:
    """Mass aboard at each sample of a leg as P M - Q, M the mass at its start.

    Parameters
    ----------
    linear
        Straight-line use of every segment.
    first, last
        Samples at which the leg begins and ends.

    Returns
    -------
    p, q
        Of shape (last - first + 1,); p[0] is 1, q[0] is 0. [-], [kg]

    Notes
    -----
    P_k = Π (1 - b_j - e_j); Q_k = P_k Σ (a_j + d_j) / P_(j+1).

    References
    ----------
    .. [1] Composition of affine maps; tests compare it with stepping segment by segment.
    """
    own = slice(first, last)
    p = np.concatenate([[1.0], np.cumprod(1 - linear.water_slope[own] - linear.coal_slope[own])])
    used = (linear.water[own] + linear.coal[own]) / p[1:]
    return p, p * np.concatenate([[0.0], np.cumsum(used)])


def nodes_of(route: Route, demand: Demand, scenario: Scenario) -> tuple[Node, ...]:
    """The events at which the crew can act, in driving order.

    Parameters
    ----------
    route, demand, scenario
        The problem.

    Returns
    -------
    nodes
        Start, each passing of a supply, halt, or bridge that is more than a mass limit, each
        crest the boiler is filled for, each end of a gear choice or of a stretch that
        outruns the feed, finish.
    """
    marks = [
        Node(
            kind=kind, name=p.label, sample=demand.index(p.distance), distance=p.distance, passing=p
        )
        for p in route.passings
        if (kind := _event(scenario, p)) is not None
    ]
    for crest in demand.crests if demand.has_boiler else ():
        at = demand.index(crest.distance)
        marks.append(
            Node(
                kind="crest",
                name="crest",
                sample=at,
                distance=float(demand.distance[at]),
                crest=crest.water,
            )
        )
    for sample in sorted({s for c in demand.choices for s in (c.first, c.last)} | _outrun(demand)):
        if 0 < sample < demand.segments:
            marks.append(
                Node(
                    kind="gear",
                    name="change of gear or of feed",
                    sample=sample,
                    distance=float(demand.distance[sample]),
                )
            )
    marks.sort(key=lambda node: (node.sample, _RANK[node.kind]))
    ends = [
        Node(kind=kind, name=name, sample=sample, distance=distance)
        for kind, name, sample, distance in (
            ("start", scenario.file.start, 0, 0.0),
            ("finish", scenario.file.finish, demand.segments, float(demand.distance[-1])),
        )
    ]
    return (ends[0], *marks, ends[1])


def _outrun(demand: Demand) -> set[int]:
    """Samples between which the boiler is drawn on faster, or slower, than it is fed.

    Between two of them its level can be kept rising or falling, so that bounds on both
    ends bound it all the way.
    """
    if not demand.has_boiler or demand.feed_rate is None:
        return set()
    gears = {0, *(gear for choice in demand.choices for gear in choice.gears)}
    patterns = [demand.gear, *(np.full(demand.segments, gear) for gear in sorted(gears))]
    found: set[int] = set()
    for gear in patterns:
        use = demand.evaluate(np.zeros(demand.segments), gear)
        faster = use.water > demand.feed_rate * use.duration
        found |= set((np.flatnonzero(np.diff(faster)) + 1).tolist())
    return found


def _event(scenario: Scenario, passing: Passing) -> str | None:
    """What kind of node a passing makes, if any."""
    if passing.kind == "supply":
        return "supply"
    if passing.kind == "place":
        place = scenario.places[passing.row]
        stands = "yes" in (place.halt, place.night) or place.stay is not None
        return "halt" if stands else None
    bridge = scenario.bridges[passing.row]
    plain = bridge.kind == "gross" and bridge.uncouple is None and bridge.drain is None
    return None if plain else "bridge"


def build_chain(
    scenario: Scenario, route: Route, demand: Demand, aboard: Array, chosen: Sequence[int]
) -> Chain:
    """The whole road as a chain of affine legs, straightened at the mass expected aboard.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    aboard
        Mass of water and coal expected at each segment, shape (segments,). [kg]
    chosen
        Gear of each choice, at which segments outside choices are straightened.

    Returns
    -------
    chain
        Nodes and legs; a leg inside a choice has one option per gear.
    """
    nodes = nodes_of(route, demand, scenario)
    gear = demand.geared(tuple(chosen))
    base = linearise(demand, aboard, gear)
    by_gear = {
        number: linearise(demand, aboard, np.full(demand.segments, number))
        for number in sorted({g for choice in demand.choices for g in choice.gears})
    }
    bounds = _bounds(scenario, route, demand)
    legs, choices = [], []
    for begin, end in pairwise(nodes):
        number = _choice_at(demand.choices, begin.sample, end.sample)
        choices.append(number)
        if number is None:
            options = [(-1, base)]
        else:
            options = [(g, by_gear[g]) for g in demand.choices[number].gears]
        legs.append(
            tuple(
                _leg(gear_number, linear, begin.sample, end.sample, bounds)
                for gear_number, linear in options
            )
        )
    return Chain(nodes=nodes, legs=tuple(legs), choices=tuple(choices))


def _choice_at(choices: Sequence[Choice], first: int, last: int) -> int | None:
    for number, choice in enumerate(choices):
        if first < last and choice.first <= first and last <= choice.last:
            return number
    return None


def _bounds(scenario: Scenario, route: Route, demand: Demand) -> list[tuple[int, MassLimit]]:
    """Bridges and hills: most water and coal aboard at a sample."""
    bounds = [
        (
            demand.index(p.distance),
            MassLimit(
                most=scenario.bridges[p.row].limit * (1.0 - scenario.file.bridge_margin)
                - demand.dry_weight,
                kind="bridge",
                name=p.label,
                distance=p.distance,
                row=p.row,
            ),
        )
        for p in route.passings
        if p.kind == "bridge" and _event(scenario, p) is None
    ]
    finite = np.flatnonzero(np.isfinite(demand.heaviest))
    for group in np.split(finite, np.flatnonzero(np.diff(finite) > 1) + 1):
        bounds += [
            (
                int(k),
                MassLimit(
                    most=float(demand.heaviest[k]),
                    kind="hill",
                    name=f"hill at {demand.distance[group[0]] / 1000:.2f} km",
                    distance=float(demand.distance[k]),
                    row=-1,
                ),
            )
            for k in group.tolist()
        ]
    return bounds


def _leg(
    gear: int,
    linear: Linear,
    first: int,
    last: int,
    bounds: Sequence[tuple[int, MassLimit]],
) -> AffineLeg:
    p, q = compress(linear, first, last)
    own = slice(first, last)

    def total(base: Array, slope: Array) -> tuple[float, float]:
        at = slope[own]
        return float((base[own] - at * q[:-1]).sum()), float((at * p[:-1]).sum())

    duration = total(linear.duration, linear.duration_slope)
    water = total(linear.water, linear.water_slope)
    coal = total(linear.coal, linear.coal_slope)
    limits = [
        MassLimit(
            most=float((bound.most + q[k - first]) / p[k - first]),
            kind=bound.kind,
            name=bound.name,
            distance=bound.distance,
            row=bound.row,
        )
        for k, bound in bounds
        if first <= k < last or (k == last == linear.water.size and first < last)
    ]
    return AffineLeg(
        gear=gear,
        duration=duration[0],
        duration_slope=duration[1],
        water=water[0],
        water_slope=water[1],
        coal=coal[0],
        coal_slope=coal[1],
        limits=_tightest(limits),
    )


def _tightest(limits: Sequence[MassLimit]) -> tuple[MassLimit, ...]:
    """Each bridge, and of each hill the one segment that asks most."""
    kept: dict[tuple[str, str], MassLimit] = {}
    for limit in limits:
        key = (limit.kind, limit.name)
        if key not in kept or limit.most < kept[key].most:
            kept[key] = limit
    return tuple(kept.values())
