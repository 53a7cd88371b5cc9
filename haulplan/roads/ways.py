"""Choose the way together with its stops: optimal over both, with a proof or a stated gap.

The graph of stops has a node for the start, each supply, each via point and the finish; its
arcs are the ways between neighbouring stops that one tank reaches: every one where there
are few, else the efficient ones in time, water and hills. Ways through it come out in the
order of their floors (`order`), each is laid out as a road and planned, and the search ends
when a floor passes the best plan. With every arc in the graph that proves the plan best
over ways and stops; with efficient arcs only, the floor of all roads states the gap.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.demand import Demand
from haulplan.demand.outfit import fit_out
from haulplan.demand.segment import haul_on, steam_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, Trace, make_plan
from haulplan.replay import replay
from haulplan.roads.drive import Driven
from haulplan.roads.floor import lay_floor, least_of_all, prices_of, time_onward
from haulplan.roads.order import ways_in_order
from haulplan.roads.quest import Quest
from haulplan.roads.search import Arc, Streets, efficient_ways, least_time_from, least_to
from haulplan.roads.usage import heaviest_passing, water_room
from haulplan.scenario.schema import Aim

__all__ = ["Chosen", "Way", "choose_way", "plan_way", "quickest"]

Array = NDArray[np.float64]

#: Floors this near the best plan cannot bring a better one that matters.
_SAME: Final = 1e-6
#: Labels within which every way between stops is listed, and ways begun in all.
_EVERY: Final = 4_000
_WAYS: Final = 20_000
#: Labels for the efficient ways from one stop.
_LABELS: Final = 200_000
#: Efficient ways this much longer in time than the quickest are not looked for: first the
#: nearer ones, then, if the best plan takes longer than those, the others.
_DETOURS: Final = (1.1, 1.35)
_MOST_TURNINGS: Final = 12
#: A corner reaches so far along the road. [m]
_CORNER: Final = 13.0


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way with its plan, proved by replay; `floor` is the least any plan could be."""

    driven: Driven
    demand: Demand
    plan: Plan
    trace: Trace
    floor: float

    @property
    def edges(self) -> tuple[int, ...]:
        """In driving order."""
        return self.driven.edges


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """The best way found, and how good it is proved to be.

    `bound` holds for every way there is, planned or not. `complete` says that all ways in
    the graph of stops were planned or shut out by their floors; with `every` the graph
    holds every way between stops, so that the best is proved over ways and stops.
    """

    best: Way
    tried: tuple[Way, ...]
    bound: float
    complete: bool
    every: bool
    planned: int
    barren: int

    @property
    def gap(self) -> float:
        """How far the best may be from the best there is, as a share of it."""
        value = self.best.plan.objective
        return max(value - self.bound, 0.0) / max(abs(value), 1e-9)

    @property
    def proven(self) -> bool:
        """Whether no way and no stops can be better."""
        return self.complete and self.every and self.best.plan.proven


def quickest(quest: Quest) -> tuple[int, ...]:
    """The quickest way past all targets, whatever it drinks.

    Parameters
    ----------
    quest
        The question.

    Returns
    -------
    edges
        In driving order.
    """
    way: list[int] = []
    node = quest.start
    time_of = quest.streets.usage.time.min(axis=(1, 2))
    for target in quest.targets:
        ahead = least_to(quest.streets, time_of, [target])[0]
        while node != target:
            edge = min(
                (e for e in quest.streets.out[node] if np.isfinite(ahead[quest.streets.head[e]])),
                key=lambda e: time_of[e] + ahead[quest.streets.head[e]],
            )
            way.append(edge)
            node = quest.streets.head[edge]
    return tuple(way)


def plan_way(
    quest: Quest, edges: Sequence[int], *, aim: Aim | None = None, floor: float = 0.0
) -> Way:
    """Plan one way and drive the plan to prove it.

    Parameters
    ----------
    quest
        The question.
    edges
        Of the way, in driving order.
    aim
        What to be best at; the scenario's own where None.
    floor
        Least its plan can come to.

    Returns
    -------
    way
        With its plan.

    Raises
    ------
    NoPlanError
        If no stops on this way keep every limit.
    """
    driven = quest.drive(edges)
    demand = fit_out(
        steam_demand(driven.scenario, driven.route, quest.deviates),
        driven.scenario, driven.route, quest.deviates,
    )  # fmt: skip
    plan = make_plan(driven.scenario, driven.route, demand, aim=aim)
    trace = replay(driven.scenario, driven.route, demand, plan)
    return Way(driven=driven, demand=demand, plan=plan, trace=trace, floor=floor)


def choose_way(
    quest: Quest,
    *,
    aim: Aim | None = None,
    most_plans: int = 12,
    time_limit: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Chosen:
    """The best way and its stops for an aim.

    Parameters
    ----------
    quest
        The question.
    aim
        What to be best at; the scenario's own where None.
    most_plans
        Most ways to plan where not every way is listed; where every way is, the search
        goes on to its proof.
    time_limit
        Most time for the search, none where None; then the gap is stated. [s]
    progress
        Told what is being done.

    Returns
    -------
    chosen
        With every way planned on the way to it, best first.

    Raises
    ------
    NoPlanError
        If no way can be driven within the limits.
    """
    aim = aim or quest.scenario.file.aim
    hunt = _Hunt(quest=quest, aim=aim, most_plans=most_plans, progress=progress)
    deadline = None if time_limit is None else time.monotonic() + time_limit
    while not hunt.run(deadline) or hunt.widen():
        pass
    if not hunt.tried:
        raise NoPlanError(_no_way(quest, hunt.barren, complete=hunt.complete and hunt.every))
    tried = sorted(hunt.tried, key=lambda w: (w.plan.objective, w.plan.arrival, w.plan.money))
    least = hunt.lowest
    if not hunt.every:
        least = least_of_all(quest.streets, hunt.floor, quest.start, quest.supplies)
    return Chosen(
        best=tried[0], tried=tuple(tried), bound=min(least, tried[0].plan.bound),
        complete=hunt.complete, every=hunt.every, planned=len(tried), barren=len(hunt.barren),
    )  # fmt: skip


class _Hunt:
    """The search: what was planned, what proved too steep, how low the floor still is."""

    def __init__(
        self, *, quest: Quest, aim: Aim, most_plans: int, progress: Callable[[str], None]
    ) -> None:
        self.quest, self.aim, self.most_plans, self.progress = quest, aim, most_plans, progress
        self.streets = quest.streets
        rows = [row for here in quest.supplies.values() for row in here]
        self.floor = lay_floor(
            quest.streets, prices_of(quest.scenario, aim, rows, quest.lowest),
            quest.targets, quest.start,
        )  # fmt: skip
        self.tried: list[Way] = []
        self.barren: list[tuple[tuple[int, ...], str]] = []
        self.known: set[tuple[int, ...]] = set()
        self.steep: set[tuple[int, ...]] = set()
        self.lowest, self.complete, self.every = np.inf, True, True
        usual = time_onward(quest.streets, quest.streets.usage.time, quest.targets, quest.start)
        self.quickest = float(usual[0, -1].min())
        if np.isinf(self.quickest):
            raise NoPlanError(_must_turn(quest, usual))
        self.detour = _DETOURS[0] if aim.first == "earliest" else _DETOURS[-1]

    def widen(self) -> bool:
        """Look further afield, where a plan so long may be bettered there."""
        near = any(w.plan.objective <= self.detour * self.quickest for w in self.tried)
        if self.every or near or self.detour == _DETOURS[-1]:
            return False
        self.detour = _DETOURS[-1]
        return True

    def run(self, deadline: float | None) -> bool:
        """Plan ways in the order of their floors; False to begin anew with fewer roads."""
        self.progress("listing the ways between stops")
        arcs, self.every = _arcs(self.quest, self.streets, self.detour)
        ways = ways_in_order(
            self.streets, self.floor, arcs, self.quest.start, self.quest.offers,
            thin=not self.every, budget=_WAYS,
        )  # fmt: skip
        for least, edges in ways:
            best = min((way.plan.objective for way in self.tried), default=np.inf)
            over = least >= best * (1 - _SAME) - _SAME
            late = deadline is not None and time.monotonic() > deadline
            enough = not self.every and (
                len(self.tried) >= self.most_plans or len(self.barren) >= 3 * self.most_plans
            )
            if over or edges is None or enough or (late and self.tried):
                self.lowest, self.complete = least, over
                return True
            if edges not in self.known and not self._plan(edges, least) and not self.every:
                return False
        return True

    def _plan(self, edges: tuple[int, ...], least: float) -> bool:
        """Plan one way; False where it holds a hill that may now be left out of the search."""
        if any(_holds(edges, part) for part in self.steep):
            return True
        self.known.add(edges)
        self.progress(f"planning way {len(self.known)}")
        parts = _too_steep(self.quest, edges)
        try:
            self.tried.append(plan_way(self.quest, edges, aim=self.aim, floor=least))
        except NoPlanError as error:
            self.barren.append((edges, str(error)))
        self.steep |= parts
        short = [part for part in parts if len(part) <= 2]
        self.streets = self.streets.barring(short)
        return not short


def _holds(edges: tuple[int, ...], part: tuple[int, ...]) -> bool:
    """Whether a way drives these edges one after the other."""
    size = len(part)
    return any(edges[k : k + size] == part for k in range(len(edges) - size + 1))


def _too_steep(quest: Quest, edges: tuple[int, ...]) -> set[tuple[int, ...]]:
    """Edges about each segment of a way that no gear holds, corners included."""
    driven = quest.drive(edges)
    haul, _ = haul_on(driven.scenario, driven.route, quest.deviates)
    reserve = quest.scenario.file.reserve
    least = reserve.water + reserve.coal
    held = np.flatnonzero(heaviest_passing(haul, least) < least)
    distance = driven.route.distance
    first = np.searchsorted(driven.starts, distance[held] - _CORNER, side="right") - 1
    last = np.searchsorted(driven.starts, distance[held + 1] + _CORNER, side="left")
    return {
        edges[max(a, 0) : max(b, a + 1)] for a, b in zip(first.tolist(), last.tolist(), strict=True)
    }


def _must_turn(quest: Quest, onward: Array) -> str:
    """Where the train would have to turn round, the roads themselves joining."""
    places = [*(quest.network.node_names[node].lstrip("@") for node in quest.targets)]
    where = quest.scenario.file.start
    for stage, target in enumerate(quest.targets[:-1], start=1):
        reached = np.array(quest.streets.head) == target
        if np.isinf(onward[stage, :-1][reached]).all():
            where = places[stage - 1]
    return (
        f"from '{where}' the train gets on only by turning round, and no turning place is "
        "known there; mark one in the network, or put the place on another road"
    )


def _no_way(quest: Quest, barren: Sequence[tuple[tuple[int, ...], str]], *, complete: bool) -> str:
    """Why no way keeps every limit, by the first way tried."""
    which = "on none of the ways" if complete else "on none of the ways tried"
    if not barren:
        return (
            f"{which} do the stores reach from one supply to the next, filled at every one; "
            "add a supply, lower the reserve, or mark where the train can turn round"
            + "".join(f"\n{said}" for said in quest.left_out)
        )
    return f"{which} ({len(barren)}) does a plan keep every limit. The quickest: {barren[0][1]}"


def _arcs(
    quest: Quest, streets: Streets, detour: float = _DETOURS[-1]
) -> tuple[dict[int, list[Arc]], bool]:
    """Ways between neighbouring stops by the node they leave; whether it is every one."""
    turnings = [node for node, may in enumerate(streets.turning) if may]
    if len(turnings) > _MOST_TURNINGS:
        turnings = []
    stops = frozenset({quest.start, *quest.targets, *quest.supplies, *turnings})
    stores, reserve = quest.scenario.file.stores, quest.scenario.file.reserve
    room = (water_room(quest.scenario) - reserve.water, stores.bunker - reserve.coal)

    def ways(limits: Mapping[int, tuple[Array, float]] | None) -> dict[int, list[Arc]]:
        """With limits the efficient ones only."""
        return {
            stop: list(
                efficient_ways(
                    streets, stop, stops, water=room[0], coal=room[1],
                    every=limits is None, budget=_EVERY if limits is None else _LABELS,
                    limit=None if limits is None else limits[stop],
                )
            )
            for stop in sorted(stops)
        }  # fmt: skip

    try:
        return ways(None), True
    except OverflowError:
        return ways(_limits(quest, streets, stops, detour)), False


def _limits(
    quest: Quest, streets: Streets, stops: frozenset[int], detour: float
) -> dict[int, tuple[Array, float]]:
    """For each stop: least time of a way by it and on from each edge; the most of all.

    Stage by stage, for a road past via points may use a stop on any of its stages.
    """
    time_of = streets.usage.time
    onward = time_onward(streets, time_of, quest.targets, quest.start)
    begins = [quest.start, *quest.targets[:-1]]
    total = float(onward[0, -1].min())
    before = np.zeros((len(begins), streets.nodes))
    for stage, begin in enumerate(begins):
        reached = np.array(streets.head) == begin
        left = total if stage == 0 else float(onward[stage, :-1][reached].min())
        before[stage] = total - left + least_time_from(streets, time_of, begin)
    return {
        stop: (np.min(before[:, stop, None, None] + onward, axis=0), detour * total)
        for stop in stops
    }
