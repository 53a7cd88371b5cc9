"""Ways over stops in the order of what they can cost at least.

Ways come out with rising floors (`floor`), so that the search may end as soon as a floor
passes the best plan found: nothing left can beat it.
"""

import heapq
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import add

from haulplan.roads.floor import Floor, Prices
from haulplan.roads.search import Arc, Streets

__all__ = ["ways_in_order"]

#: Levels below a limit by less are rounding. [kg]
_ROUNDING = 1e-6
#: Water of two ways begun that differ by less are alike. [kg]
_ALIKE = 5.0


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

    Returns
    -------
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
