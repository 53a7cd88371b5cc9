"""Truly different ways side by side, and what each brings and risks."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from haulplan.errors import NoPlanError
from haulplan.roads.bans import link_cautions
from haulplan.roads.floor import lay_floor, prices_of
from haulplan.roads.order import ways_in_order
from haulplan.roads.quest import Quest
from haulplan.roads.roadmap import Spring
from haulplan.roads.search import Arc, Streets, least_to
from haulplan.roads.ways import Chosen, Way, plan_way
from haulplan.route.passings import line_feet
from haulplan.route.profile import climb_of, steepest_sustained
from haulplan.scenario.schema import Aim

__all__ = ["Account", "account_of", "different_ways", "shared_length"]

#: Ways that share more of the shorter one's length are one and the same to a crew.
_SHARED: Final = 0.7
#: Roads of ways already found count so much more.
_WORN: Final = 1.6
#: ... and are made to count more, so many times, before the search gives up.
_ROUNDS: Final = 4
#: Mapped water so near a way is told of. [m]
_BESIDE: Final = 200.0
#: Grades are those held so far. [m]
_HELD: Final = 100.0


@dataclass(frozen=True, kw_only=True)
class Account:
    """What one way brings: sums of its plan, and what it meets, in SI.

    `springs` are mapped places that may have water, with the distance along the way and
    off it [m]: nobody has said that they may be used.
    """

    length: float
    duration: float
    water: float
    coal: float
    climb: float
    steepest_up: float
    steepest_down: float
    bridges: int
    posted: int
    crossings: int
    gates: int
    stops: int
    money: float
    roads: tuple[tuple[str, float], ...]
    cautions: tuple[str, ...]
    springs: tuple[tuple[float, float, Spring], ...]


def account_of(quest: Quest, way: Way) -> Account:
    """What a way brings and risks.

    Parameters
    ----------
    quest
        The question.
    way
        With its plan.

    Returns
    -------
    account
        Cautions name the road they belong to.
    """
    network, plan, route = quest.network, way.plan, way.driven.route
    links = [network.links[edge // 2] for edge in way.edges]
    nodes = [int(network.head[edge]) for edge in way.edges]
    named: dict[str, float] = {}
    for link in links:
        label = link.facts.label or link.facts.kind
        named[label] = named.get(label, 0.0) + link.length
    cautions = [
        f"{link.facts.label or link.facts.kind}: {said}"
        for link in links for said in link_cautions(link, quest.needs)
    ]  # fmt: skip
    gates, crossings = (
        int(np.count_nonzero(flags[nodes])) for flags in (network.gate, network.crossing)
    )
    if gates:
        cautions.append(f"gates or toll bars on the road: {gates}; have them opened")
    if crossings:
        cautions.append(
            f"level crossings: {crossings}; ask the railway about length, weight and height"
        )
    longest = sorted(named.items(), key=lambda item: -item[1])
    return Account(
        length=route.length,
        duration=plan.arrival - plan.stops[0].arrive,
        water=sum(leg.water for leg in plan.legs),
        coal=sum(leg.coal for leg in plan.legs),
        climb=climb_of(route.elevation),
        steepest_up=steepest_sustained(route.distance, route.elevation, _HELD),
        steepest_down=steepest_sustained(
            route.distance[-1] - route.distance[::-1], route.elevation[::-1], _HELD
        ),
        bridges=_groups([link.facts.bridge for link in links]),
        posted=len(plan.crossings),
        crossings=max(crossings, len(route.level_crossings)),
        gates=gates,
        stops=len(plan.stops) - 2,
        money=plan.money,
        roads=tuple(longest),
        cautions=tuple(dict.fromkeys([*cautions, *plan.warnings])),
        springs=tuple(_springs(quest, way)),
    )


def _springs(quest: Quest, way: Way) -> Iterator[tuple[float, float, Spring]]:
    """Mapped places with water beside a way, in driving order."""
    line = way.driven.route.line
    assert line is not None
    found = []
    for spring in quest.springs:
        along, off = line_feet(line, spring.latitude, spring.longitude)
        nearest = int(np.argmin(off))
        if off[nearest] <= _BESIDE:
            found.append((float(along[nearest]), float(off[nearest]), spring))
    yield from sorted(found, key=lambda item: item[0])


def _groups(flags: Sequence[bool]) -> int:
    """How many times something begins along the way."""
    return sum(now and not before for before, now in zip([False, *flags], flags, strict=False))


def shared_length(quest: Quest, first: Sequence[int], second: Sequence[int]) -> float:
    """Share of the shorter of two ways that both drive.

    Parameters
    ----------
    quest
        The question.
    first, second
        Edges of the ways.

    Returns
    -------
    share
        From 0 to 1; the direction driven does not matter. [-]
    """
    length = quest.network.length
    one, other = ({edge // 2 for edge in edges} for edges in (first, second))
    both = float(sum(length[link] for link in one & other))
    shorter = min(float(sum(length[link] for link in links)) for links in (one, other))
    return both / shorter if shorter > 0 else 1.0


def different_ways(
    quest: Quest,
    chosen: Chosen,
    count: int,
    *,
    aim: Aim | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Way, ...]:
    """The best way and others that leave it for most of their length.

    Parameters
    ----------
    quest
        The question.
    chosen
        The best way and those planned on the way to it.
    count
        Most ways in all.
    aim
        What to be best at; the scenario's own where None.
    progress
        Told what is being done.

    Returns
    -------
    ways
        The best first, the others by how good they are; each shares at most 70 % of the
        shorter one's length with any before it. Roads of the ways found are made to count
        more until another way comes out, so these are good ways, not proved the next best.
    """
    aim = aim or quest.scenario.file.aim
    found = [chosen.best]

    def fresh(edges: Sequence[int]) -> bool:
        return all(shared_length(quest, way.edges, edges) <= _SHARED for way in found)

    worn = np.ones(quest.network.edges)
    while len(found) < count:
        known = next((way for way in chosen.tried if fresh(way.edges)), None)
        if known is None:
            progress(f"looking for way {len(found) + 1}")
            known = _another(quest, aim, found, worn, fresh)
        if known is None:
            break
        found.append(known)
    best, *others = found
    return (best, *sorted(others, key=lambda way: (way.plan.objective, way.plan.arrival)))


def _another(
    quest: Quest,
    aim: Aim,
    found: Sequence[Way],
    worn: "np.ndarray",
    fresh: Callable[[Sequence[int]], bool],
) -> Way | None:
    """A way that leaves those found, None where none comes out."""
    for _ in range(_ROUNDS):
        for way in found:
            links = np.array(way.edges) // 2
            worn[2 * links] *= _WORN
            worn[2 * links + 1] *= _WORN
        for edges in _dear_ways(quest, aim, worn):
            if fresh(edges):
                try:
                    return plan_way(quest, edges, aim=aim)
                except NoPlanError:
                    continue
    return None


def _dear_ways(quest: Quest, aim: Aim, worn: "np.ndarray", most: int = 3) -> list[tuple[int, ...]]:
    """The first ways by stops where worn roads take longer."""
    usage = quest.streets.usage
    dear = usage.time * worn[:, None, None]
    streets = replace(quest.streets, usage=replace(usage, least_time=dear, time=dear))
    rows = [row for here in quest.supplies.values() for row in here]
    prices = replace(
        prices_of(quest.scenario, aim, rows, quest.lowest), second=1.0, money=0.0, stop=0.0
    )  # fmt: skip
    floor = lay_floor(streets, prices, quest.targets, quest.start)
    stops = sorted({quest.start, *quest.targets, *quest.supplies})
    arcs = _shortest_arcs(streets, stops)
    ways: list[tuple[int, ...]] = []
    for _, edges in ways_in_order(
        streets, floor, arcs, quest.start, quest.offers, thin=True, budget=4000
    ):
        if edges is None or len(ways) == most:
            break
        ways.append(edges)
    return ways


def _shortest_arcs(streets: Streets, stops: Sequence[int]) -> Mapping[int, list[Arc]]:
    """The quickest way from each stop to each other one, from every road that leaves it."""
    time = streets.usage.time.min(axis=(1, 2))
    ahead = least_to(streets, time, stops)
    arcs: dict[int, list[Arc]] = {stop: [] for stop in stops}
    for number, end in enumerate(stops):
        least = ahead[number]
        for begin in stops:
            for first in streets.out[begin] if begin != end else ():
                edges = _follow(streets, time, least, first, end)
                if edges is not None:
                    arcs[begin].append(streets.arc(edges))
    return arcs


def _follow(
    streets: Streets, time: "np.ndarray", least: "np.ndarray", first: int, end: int
) -> list[int] | None:
    """Quickest edges from one edge on; None if they lead back over it."""
    edges = [first]
    while (node := streets.head[edges[-1]]) != end:
        open_ = [
            e for e in streets.out[node]
            if math.isfinite(least[streets.head[e]]) and (edges[-1], e) not in streets.barred
        ]  # fmt: skip
        if not open_ or len(edges) > streets.nodes:
            return None
        edges.append(min(open_, key=lambda e: time[e] + least[streets.head[e]]))
        if edges[-1] == first ^ 1 or edges[-1] == edges[-2] ^ 1:
            return None
    return edges
