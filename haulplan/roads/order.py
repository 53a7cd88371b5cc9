"""Ways over stops in the order of what they can cost at least.

A way's floor is reckoned from its least time, water and coal, at any load and in any gear:
the time driven, the water that must be taken at the fastest tap, and the fewest stops that
can keep the levels. Ways come out with rising floors, so that the search may end as soon
as a floor passes the best plan found: nothing left can beat it.
"""

import heapq
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import add

import numpy as np
from numpy.typing import NDArray

from haulplan.roads.search import Arc, Streets, least_time_to, least_to
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim

__all__ = [
    "Floor", "Prices", "lay_floor", "least_of_all", "least_onward", "prices_of", "ways_in_order",
]  # fmt: skip

Array = NDArray[np.float64]

#: Levels below a limit by less are rounding. [kg]
_ROUNDING = 1e-6
#: Water of two ways begun that differ by less are alike. [kg]
_ALIKE = 5.0


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What the aim makes of time, water, coal and stops, each at the cheapest there is.

    `water_time` and `coal_time` are seconds to take a kg at the fastest supply, `set_up`
    and `call_out` the least of any; weights are by second, money and stop.
    """

    second: float
    money: float
    stop: float
    water_time: float
    coal_time: float
    water_price: float
    coal_price: float
    set_up: float
    call_out: float
    start_water: float
    start_coal: float
    finish_water: float
    finish_coal: float
    reserve_water: float
    reserve_coal: float
    tank: float
    bunker: float

    def value(self, time: float, water: float, coal: float, stops: int) -> float:
        """Least the aim can come to with so much time, water, coal and so many stops."""
        water_taken = max(water + self.finish_water - self.start_water, 0.0)
        coal_taken = max(coal + self.finish_coal - self.start_coal, 0.0)
        fewest = max(
            stops,
            _fills(water_taken, self.tank - self.reserve_water),
            _fills(coal_taken, self.bunker - self.reserve_coal),
        )
        stay = max(water_taken * self.water_time, coal_taken * self.coal_time)
        paid = water_taken * self.water_price + coal_taken * self.coal_price
        return (
            self.second * (time + stay + fewest * self.set_up)
            + self.money * (paid + fewest * self.call_out)
            + self.stop * fewest
        )

    @property
    def water_worth(self) -> float:
        """What a kg of water used comes to at least, once any must be taken."""
        return self.second * self.water_time + self.money * self.water_price


def _fills(amount: float, room: float) -> int:
    """Fewest times a store is filled to take so much."""
    if amount <= _ROUNDING or math.isinf(amount):
        return 0
    return math.ceil(amount / room - 1e-9) if room > 0 else 0


def prices_of(scenario: Scenario, aim: Aim, rows: Sequence[int]) -> Prices:
    """What the aim makes of time, water, coal and stops.

    Parameters
    ----------
    scenario
        The problem.
    aim
        What to be best at. Its first part alone is bounded.
    rows
        Of the supplies that lie on roads in use.

    Returns
    -------
    prices
        Lower bounds all.
    """
    file = scenario.file
    supplies = [scenario.supplies[row] for row in rows]
    water = [s for s in supplies if s.water_rate is not None]
    coal = [s for s in supplies if s.coal_rate is not None]
    weights = {
        "earliest": (1.0, 0.0, 0.0),
        "cheapest": (0.0, 1.0, 0.0),
        "fewest stops": (0.0, 0.0, 1.0),
    }
    second, money, stop = (
        weights[aim.first]
        if aim.first is not None
        else ((aim.minute or 0.0) / 60, aim.money or 0.0, aim.stop or 0.0)
    )
    tank, bunker = file.stores.tank, file.stores.bunker
    return Prices(
        second=second,
        money=money,
        stop=stop,
        water_time=min((1 / (s.water_rate or math.inf) for s in water), default=0.0),
        coal_time=min((1 / (s.coal_rate or math.inf) for s in coal), default=0.0),
        water_price=min((s.water_price for s in water), default=0.0),
        coal_price=min((s.coal_price for s in coal), default=0.0),
        set_up=min((s.set_up for s in supplies), default=0.0),
        call_out=min((s.call_out for s in supplies), default=0.0),
        start_water=min(file.at_start.water, tank),
        start_coal=min(file.at_start.coal, bunker),
        finish_water=max(min(file.at_finish.water, tank), file.reserve.water),
        finish_coal=max(min(file.at_finish.coal, bunker), file.reserve.coal),
        reserve_water=file.reserve.water,
        reserve_coal=file.reserve.coal,
        tank=tank,
        bunker=bunker,
    )


@dataclass(frozen=True, kw_only=True)
class Floor:
    """Least time, water, coal and worth still to come, by stage.

    Stage k is on the way to `targets[k]`; amounts have shape (stages, nodes), time and
    worth (stages, edges + 1, gears) by the edge and gear driven last, the last row being
    the start.
    """

    prices: Prices
    targets: tuple[int, ...]
    time: Array
    water: Array
    coal: Array
    worth: Array

    def at(
        self,
        stage: int,
        node: int,
        last: int,
        time: Sequence[float],
        water: float,
        coal: float,
        stops: int,
    ) -> float:
        """Least the aim can come to from here on, so much being used; `last` -1 at the start."""
        prices = self.prices
        ideal = prices.value(
            min(map(add, time, self.time[stage, last].tolist())),
            water + float(self.water[stage, node]),
            coal + float(self.coal[stage, node]),
            stops,
        )
        if prices.water_worth <= 0 or not math.isfinite(ideal):
            return ideal
        # time and water least on one and the same way, not each on its own
        spare = prices.start_water - prices.finish_water
        ahead = self.worth[stage, last].tolist()
        joint = min(prices.second * t + w for t, w in zip(time, ahead, strict=True))
        joint += prices.water_worth * (water - spare)
        fixed = stops * (
            prices.second * prices.set_up + prices.money * prices.call_out + prices.stop
        )
        return max(ideal, joint + fixed)


def lay_floor(
    streets: Streets, prices: Prices, targets: Sequence[int], start: int
) -> Floor:
    """Least sums from every node to the end of the road, by way of the targets still ahead.

    Parameters
    ----------
    streets
        The edges in use.
    prices
        Of the aim.
    targets
        Via points in order, the finish last.
    start
        Node the road begins at.

    Returns
    -------
    floor
        Infinite from where there is no way.
    """
    usage = streets.usage
    water = prices.water_worth * usage.least_water
    worth = prices.second * usage.least_time + water[:, None, None]

    return Floor(
        prices=prices,
        targets=tuple(targets),
        time=_timed(streets, usage.least_time, targets, start),
        water=least_onward(streets, usage.least_water, targets),
        coal=least_onward(streets, usage.least_coal, targets),
        worth=_timed(streets, worth, targets, start),
    )


def least_of_all(streets: Streets, floor: Floor, start: int, supplies: Collection[int]) -> float:
    """Least the aim can come to on any way there is.

    Parameters
    ----------
    streets
        The edges in use.
    floor
        From `lay_floor`.
    start
        Node the road begins at.
    supplies
        Nodes with water or coal.

    Returns
    -------
    least
        Where a stop cannot be spared, of the ways that pass a supply.
    """
    nothing = (0.0,) * streets.usage.gears
    least = floor.at(0, start, -1, nothing, 0.0, 0.0, 0)
    prices = floor.prices
    dry = (
        prices.start_water - float(floor.water[0, start]) < prices.finish_water - _ROUNDING
        or prices.start_coal - float(floor.coal[0, start]) < prices.finish_coal - _ROUNDING
    )
    if not dry or start in supplies or not supplies:
        return least
    past: Array | None = None
    for stage in reversed(range(len(floor.targets))):
        here = least_time_to(streets, streets.usage.least_time, supplies, start, floor.time[stage])
        if past is not None:  # or at a supply after the target
            target = [floor.targets[stage]]
            later = least_time_to(streets, streets.usage.least_time, target, start, past)
            here = np.minimum(here, later)
        past = here
    assert past is not None
    by_supply = prices.value(
        float(past[-1].min()), float(floor.water[0, start]), float(floor.coal[0, start]), 1
    )
    return max(least, by_supply)


def _timed(streets: Streets, time: Array, targets: Sequence[int], start: int) -> Array:
    """As `least_onward`, by the edge and gear driven last."""
    least: list[Array] = []
    for target in reversed(targets):
        least.append(least_time_to(streets, time, [target], start, least[-1] if least else None))
    return np.stack(least[::-1])


def least_onward(streets: Streets, weight: Array, targets: Sequence[int]) -> Array:
    """Least sum of a weight from every node to each target and on by those after it.

    Parameters
    ----------
    streets
        The edges in use.
    weight
        Of each edge, shape (edges,).
    targets
        Nodes in the order they are passed.

    Returns
    -------
    least
        Shape (targets, nodes).
    """
    least = least_to(streets, weight, targets)
    for stage in reversed(range(len(targets) - 1)):  # those after it are summed up already
        least[stage] += float(least[stage + 1, targets[stage]])
    return least


@dataclass(frozen=True, kw_only=True)
class _Store:
    """A store filled as late as can be: fewest stops, and the most aboard for so many.

    `since` is what was used since the last supply passed where it could have been filled.
    """

    level: float
    since: float
    stops: int

    def drawn(self, use: float, least: float, room: float) -> "_Store | None":
        """After so much use, filled at the last supply passed if need be; None if dry."""
        level, since = self.level - use, self.since + use
        if level >= least - _ROUNDING:
            return _Store(level=level, since=since, stops=self.stops)
        if room - since < least - _ROUNDING:
            return None
        return _Store(level=room - since, since=math.inf, stops=self.stops + 1)

    def passing(self) -> "_Store":
        """At a supply."""
        return _Store(level=self.level, since=0.0, stops=self.stops)


@dataclass(frozen=True, kw_only=True)
class _State:
    """A way begun: where it stands, what it took, and the arcs behind it."""

    node: int
    stage: int
    time: tuple[float, ...]
    water: float
    coal: float
    tank: _Store
    bunker: _Store
    arcs: tuple[Arc, ...]
    driven: frozenset[int]

    @property
    def last(self) -> int:
        """The edge driven last, -1 at the start."""
        return self.arcs[-1].edges[-1] if self.arcs else -1

    @property
    def stops(self) -> int:
        """Fewest stops so far."""
        return max(self.tank.stops, self.bunker.stops)


def ways_in_order(
    streets: Streets,
    floor: Floor,
    arcs: Mapping[int, Sequence[Arc]],
    start: int,
    offers: Mapping[int, tuple[bool, bool]],
    *,
    thin: bool = False,
    budget: int = 100_000,
) -> Iterator[tuple[float, tuple[int, ...] | None]]:
    """Ways from the start by the targets to the finish, their floors rising.

    Parameters
    ----------
    streets
        The edges in use.
    floor
        From `lay_floor`.
    arcs
        Ways between stops by the node they leave.
    start
        Node.
    offers
        Whether water and coal can be had, by node.
    thin
        True to drop ways begun that another at the same place betters in floor, water,
        stops and what was used since the last supply: far fewer come out, the best among
        them.
    budget
        Most ways to begin.

    Yields
    ------
    floor, edges
        No stretch is driven twice the same way between two targets, nothing is turned
        but at turning places, and no store runs dry even where it is filled whenever it
        can be. Edges are None with the last floor when the budget is spent.
    """
    prices = floor.prices
    first = _State(
        node=start, stage=0, time=(0.0,) * streets.usage.gears, water=0.0, coal=0.0,
        tank=_Store(level=prices.start_water, since=math.inf, stops=0),
        bunker=_Store(level=prices.start_coal, since=math.inf, stops=0),
        arcs=(), driven=frozenset(),
    )  # fmt: skip
    first = _at_node(first, floor, offers)
    heap: list[tuple[float, int, bool, _State]] = []
    kept: dict[tuple[int, int, int], list[tuple[float, ...]]] = {}
    ticket = begun = 0

    def push(state: _State | None, done: bool) -> None:
        nonlocal ticket
        if state is None:
            return
        least = (
            prices.value(min(state.time), state.water, state.coal, state.stops)
            if done
            else floor.at(
                state.stage, state.node, state.last, state.time, state.water, state.coal,
                state.stops,
            )
        )  # fmt: skip
        if math.isfinite(least):
            ticket += 1
            heapq.heappush(heap, (least, ticket, done, state))

    push(first, done=False)
    while heap:
        least, _, done, state = heapq.heappop(heap)
        if done:
            yield least, tuple(edge for arc in state.arcs for edge in arc.edges)
            continue
        begun += 1
        if begun > budget:
            yield least, None
            return
        if thin and _bettered(state, kept):
            continue
        for arc in arcs.get(state.node, ()):
            following = _along(state, arc, streets, floor, offers)
            if following is not None and following.stage == len(floor.targets):
                push(_finished(following, prices), done=True)
            else:
                push(following, done=False)


def _bettered(state: _State, kept: dict[tuple[int, int, int], list[tuple[float, ...]]]) -> bool:
    """Whether a way that came before, so with no higher floor, is as good in all else."""
    own = kept.setdefault((state.node, state.stage, state.last), [])
    mine = (*state.time, state.water, state.stops, state.tank.since, state.bunker.since)
    if any(all(a <= b + _ALIKE for a, b in zip(other, mine, strict=True)) for other in own):
        return True
    own.append(mine)
    return False


def _at_node(state: _State, floor: Floor, offers: Mapping[int, tuple[bool, bool]]) -> _State:
    """The state with what its node offers, one stage on if the node is the target."""
    water, coal = offers.get(state.node, (False, False))
    reached = state.stage < len(floor.targets) and state.node == floor.targets[state.stage]
    return _State(
        node=state.node,
        stage=state.stage + reached,
        time=state.time,
        water=state.water,
        coal=state.coal,
        tank=state.tank.passing() if water else state.tank,
        bunker=state.bunker.passing() if coal else state.bunker,
        arcs=state.arcs,
        driven=frozenset() if reached else state.driven,
    )


def _along(
    state: _State,
    arc: Arc,
    streets: Streets,
    floor: Floor,
    offers: Mapping[int, tuple[bool, bool]],
) -> _State | None:
    """The state at the end of an arc, None where it may not be driven or a store is dry."""
    prices = floor.prices
    if state.arcs:
        last, first = state.arcs[-1].edges[-1], arc.edges[0]
        if (first == last ^ 1 and not streets.turning[state.node]) or (
            (last, first) in streets.barred
        ):
            return None
    if not state.driven.isdisjoint(arc.edges):
        return None
    tank = state.tank.drawn(arc.least_water, prices.reserve_water, prices.tank)
    bunker = state.bunker.drawn(arc.least_coal, prices.reserve_coal, prices.bunker)
    if tank is None or bunker is None:
        return None
    moved = _State(
        node=arc.head,
        stage=state.stage,
        time=tuple(
            min(map(add, state.time, column)) for column in zip(*arc.least_time, strict=True)
        ),
        water=state.water + arc.least_water,
        coal=state.coal + arc.least_coal,
        tank=tank,
        bunker=bunker,
        arcs=(*state.arcs, arc),
        driven=state.driven.union(arc.edges),
    )
    return _at_node(moved, floor, offers)


def _finished(state: _State, prices: Prices) -> _State | None:
    """The state at the finish with the levels wanted there."""
    tank = state.tank.drawn(0.0, prices.finish_water, prices.tank)
    bunker = state.bunker.drawn(0.0, prices.finish_coal, prices.bunker)
    if tank is None or bunker is None:
        return None
    return _State(
        node=state.node, stage=state.stage, time=state.time, water=state.water,
        coal=state.coal, tank=tank, bunker=bunker, arcs=state.arcs, driven=state.driven,
    )  # fmt: skip
