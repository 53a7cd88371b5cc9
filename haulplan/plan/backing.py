"""Ways on that turn back, put to the programme: straightened, and straightened again."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.plan.answer import Solution, carried, movement, recourse_of
from haulplan.plan.build import Back, Posed, Shut
from haulplan.plan.legs import Chain, build_chain
from haulplan.plan.model import Programme
from haulplan.plan.reading import read_offers, read_rules
from haulplan.plan.survive import WayOn, way_back, ways_on
from haulplan.plan.turning import Turn, Turned, turn_back, turns_for
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["Carried", "Roads", "find_backs", "with_ways"]

Array = NDArray[np.float64]

_ROUNDS: Final = 6
#: An error of straightening below this share of the stores needs no margin.
_TINY: Final = 2e-7


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What is aboard at each segment of a road that turns back, and a margin [kg]."""

    aboard: Array
    margin: float


@dataclass(frozen=True, kw_only=True)
class Roads:
    """The roads with a turn back in them, each made when it is asked for."""

    scenario: Scenario
    route: Route
    turned: Callable[[Turn], Turned | None]

    @staticmethod
    def of(scenario: Scenario, route: Route, demand: Demand) -> "Roads":
        """Of a problem; what was made is kept."""

        @cache
        def turned(turn: Turn) -> Turned | None:
            return turn_back(scenario, route, demand, turn)

        return Roads(scenario=scenario, route=route, turned=turned)


def find_backs(
    roads: Roads,
    demand: Demand,
    chain: Chain,
    aboard: Array,
    gears: tuple[int, ...],
    arriving: Mapping[int, float],
    known: Mapping[Turn, Carried],
) -> Callable[[Shut, int], tuple[Back, ...]]:
    """The ways that turn back where a stop is found shut, for `Posed`.

    Parameters
    ----------
    roads
        With a turn back.
    demand
        Of the plan's own road.
    chain
        Its nodes.
    aboard
        Mass expected at each segment of it. [kg]
    gears
        Of each of its choices.
    arriving
        Mass expected on reaching a node. [kg]
    known
        What was carried on those roads when they were driven.

    Returns
    -------
    backs
        Called with the stop, and the node at which it is known to be shut.
    """

    @cache
    def straightened(turn: Turn) -> Back | None:
        turned = roads.turned(turn)
        if turned is None:
            return None
        first, last = demand.index(turn.again.distance), demand.index(turn.there.distance)
        middle = turned.demand.segments - demand.segments
        between = np.full(middle - (last - first), float(aboard.mean()))
        seen = known.get(turn)
        spread = np.concatenate([aboard[:last], between, aboard[first:]])
        return _straight(
            turned,
            spread if seen is None else seen.aboard,
            _gears(demand, turned.demand, gears, last, first),
            arriving,
            0.0 if seen is None else seen.margin,
        )

    def backs(shut: Shut, at: int) -> tuple[Back, ...]:
        passing = chain.nodes[shut.node].passing
        if passing is None or chain.nodes[shut.node].kind != "supply":
            return ()
        after = chain.nodes[at].distance
        turns = turns_for(roads.scenario, roads.route, shut.kind, passing, after)
        found = [back for turn in turns if (back := straightened(turn)) is not None]
        return tuple(back for back in found if _shares(chain, back.chain, at))

    return backs


def _straight(
    turned: Turned,
    aboard: Array,
    gears: tuple[int, ...],
    arriving: Mapping[int, float],
    margin: float = 0.0,
) -> Back:
    chain = build_chain(turned.scenario, turned.route, turned.demand, aboard, gears)
    return Back(
        turned=turned,
        chain=chain,
        offers=read_offers(turned.scenario, turned.demand, chain.nodes, arriving),
        rules=read_rules(turned.scenario, turned.demand, chain.nodes),
        margin=margin,
    )


def _gears(
    demand: Demand, turned: Demand, gears: tuple[int, ...], there: int, again: int
) -> tuple[int, ...]:
    """The plan's gears on its own road, the first to choose from on the way back."""
    before = [g for c, g in zip(demand.choices, gears, strict=True) if c.first < there]
    after = [g for c, g in zip(demand.choices, gears, strict=True) if c.last > again]
    between = turned.choices[len(before) : len(turned.choices) - len(after)]
    return (*before, *(choice.gears[0] for choice in between), *after)


def _shares(chain: Chain, turned: Chain, at: int) -> bool:
    """Whether both roads have the same nodes up to one."""
    pairs = zip(chain.nodes[: at + 1], turned.nodes[: at + 1], strict=True)
    return all((a.kind, a.sample) == (b.kind, b.sample) for a, b in pairs)


def _settled(
    programme: Programme, posed: Posed, base: Solution, way: WayOn
) -> tuple[WayOn, Solution] | Carried:
    """A way that turns back, straightened until it keeps its levels on the bent curve.

    With what the plan does before it; or what it would carry, where it does not hold.
    """
    room = posed.limits.tank + posed.limits.bunker
    for number in range(_ROUNDS):
        assert way.back is not None
        assert way.recourse is not None
        back = way.back
        solution = recourse_of(base, back.chain, way.recourse, back.rules)
        aboard = carried(back.turned.demand, solution)
        moved = movement(back.turned.demand, solution, aboard).mass
        if moved <= max(back.margin, _TINY * room):
            return way, replace(solution, aboard=aboard)
        margin = max(2 * moved, back.margin) if number else back.margin  # first straighten anew
        arrived = solution.carried(solution.arrive)
        arriving = {i: float(arrived[i]) for i in back.offers if solution.stopped[i]}
        again = _straight(back.turned, aboard, solution.gears, arriving, margin)
        found = way_back(programme, replace(posed, backs=_only(again)), way.shut, way.first)
        if found is None:
            break
        way = found
    return Carried(aboard=aboard, margin=max(margin, 2 * moved if number else 0.0, _TINY * room))


def with_ways(
    programme: Programme, posed: Posed, base: Solution
) -> tuple[Solution, Mapping[Turn, Carried]]:
    """An answer with what to do at each of its stops found shut.

    Parameters
    ----------
    programme
        The plan's, solved.
    posed
        Its problem, with levels of last resort.
    base
        Its answer.

    Returns
    -------
    solution
        Ways that turn back are whole answers too, over their own roads.
    lost
        Turns that held along straight lines only.
    """
    ways: list[WayOn] = []
    driven: dict[int, Solution] = {}
    lost: dict[Turn, Carried] = {}
    for number, way in enumerate(ways_on(programme, posed)):
        ways.append(way)
        if way.back is None:
            continue
        found = _settled(programme, posed, base, way)
        if isinstance(found, Carried):
            lost[way.back.turned.turn] = found
            ways[-1] = WayOn(shut=way.shut, first=0, stops=(), minutes=None)
        else:
            ways[-1], driven[number] = found
    return replace(base, ways=tuple(ways), driven=driven), lost


def _only(back: Back) -> Callable[[Shut, int], tuple[Back, ...]]:
    def backs(shut: Shut, at: int) -> tuple[Back, ...]:
        return (back,)

    return backs
