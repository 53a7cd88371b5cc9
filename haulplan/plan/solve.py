"""Solve the programme again and again, straightening until the answer fits the bent curve."""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan.explain import explain_shortage
from haulplan.plan.legs import Chain, build_chain, nodes_of
from haulplan.plan.model import Limits, Offer, Programme, build_programme
from haulplan.plan.run import run
from haulplan.plan.stages import Staged, solve_stages
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim

__all__ = ["AIMS", "Solution", "solve"]

Array = NDArray[np.float64]

AIMS: Final = ("earliest", "cheapest", "fewest stops", "weighted")
#: Straightening is repeated until it needs a margin below this share of the stores ...
_SETTLED: Final = 1e-4
#: ... and an error below this share needs none.
_TINY: Final = 2e-7
#: Of a limited time, what the first round may take: it only shows what is carried where.
_FIRST_SHARE: Final = 0.3
_ROUNDS: Final = 8


@dataclass(frozen=True, kw_only=True)
class _Margin:
    """Mass [kg] and time [s] held back for straightening, or found to be off by it."""

    mass: float
    time: float

    def within(self, other: "_Margin", room: float) -> bool:
        """Whether this error is covered by the margin `other`, or too small to matter."""
        mass, time = max(other.mass, _TINY * room), max(other.time, _TINY * 86400)
        return self.mass <= mass and self.time <= time


@dataclass(frozen=True, kw_only=True)
class Solution:
    """What to do at each node and in each choice, and how good it is proved to be.

    Arrays have shape (nodes,), masses in kg, times in s; `aboard` is the water and coal
    aboard at each segment when it is driven, shape (segments,).
    """

    chain: Chain
    gears: tuple[int, ...]
    arrive_water: Array
    arrive_coal: Array
    leave_water: Array
    leave_coal: Array
    take_water: Array
    take_coal: Array
    stopped: NDArray[np.bool_]
    wait: Array
    stay: Array
    clock: Array
    aboard: Array
    aim: str
    objective: float
    bound: float
    proven: bool

    @property
    def gap(self) -> float:
        """How far the answer may be from the best, as a share of it."""
        return max(self.objective - self.bound, 0.0) / max(abs(self.objective), 1e-9)


def solve(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    *,
    aim: Aim | None = None,
    time_limit: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
    tighten: bool = True,
) -> Solution:
    """Choose stops and amounts.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    aim
        What to be best at; the scenario's own where None.
    time_limit
        Most time for the solver in all, none where None. [s]
    progress
        Told what is being done.
    tighten
        False to leave every acceleration out: the same answer, later.

    Returns
    -------
    solution
        Best for the aim; ties broken by the other aims in a fixed order.

    Raises
    ------
    NoPlanError
        If no choice of stops keeps every limit; names the stretch and the shortfall.
    InternalError
        If the solver fails, or its straightened model does not settle.

    Notes
    -----
    The demand is straightened at the mass expected aboard, solved, straightened again at
    the mass the answer carries, until the levels stand still. Reserves and limits carry a
    margin of twice the remaining movement, so that the plan holds on the bent curve.
    """
    aim = aim or scenario.file.aim
    offers = _offers(scenario, route, demand)
    chosen = tuple(choice.gears[0] for choice in demand.choices)
    stores = scenario.file.stores
    room = stores.tank + stores.bunker
    aboard = np.full(demand.segments, 0.5 * room)
    margin, error = _Margin(mass=0.0, time=0.0), None
    stopped: list[bool] | None = None
    hint: dict[str, float] | None = None
    begun = time.monotonic()
    solution: Solution | None = None
    for number in range(_ROUNDS):
        deadline = _deadline(begun, time_limit, first=number == 0)
        if solution is not None and deadline is not None and time.monotonic() >= deadline:
            stopped = solution.stopped.tolist()
        progress(f"choosing stops, round {number + 1}")
        chain = build_chain(scenario, route, demand, aboard, chosen)
        staged = solve_stages(
            chain,
            offers,
            _limits(scenario, demand, margin),
            aim,
            deadline,
            stopped=stopped,
            hint=hint,
            brief=number == 0,
            tighten=tighten,
        )
        if staged is None:
            bare = _limits(scenario, demand, _Margin(mass=0.0, time=0.0))
            elastic = _elastic(chain, offers, bare)
            if margin.mass == 0 and not elastic.broken:
                raise InternalError("the solver contradicts itself; please report the scenario")
            raise NoPlanError(explain_shortage(scenario, demand, chain, elastic))
        solution = _as_proven(_solution(chain, staged), solution if stopped else None)
        hint = {d.name: float(round(_value(d))) for d in staged.programme.decisions}
        chosen = solution.gears
        aboard = _carried(demand, solution)
        moved = _movement(demand, solution, aboard)
        if number and moved.within(margin, room) and margin.mass <= _SETTLED * room:
            return replace(solution, aboard=aboard)
        if error is not None and moved.mass >= 0.5 * error.mass:
            stopped = solution.stopped.tolist()
        error = moved
        margin = _Margin(mass=min(2 * moved.mass, 1e-3 * room), time=2 * moved.time)
    raise InternalError("the straightened model did not settle; please report the scenario")


def _deadline(begun: float, time_limit: float | None, *, first: bool) -> float | None:
    if time_limit is None:
        return None
    return begun + time_limit * (_FIRST_SHARE if first else 1.0)


def _as_proven(solution: Solution, before: Solution | None) -> Solution:
    """With the stops of the round before, no better proved than it was."""
    if before is None:
        return solution
    bound = solution.objective * (1.0 - before.gap)
    return replace(solution, proven=before.proven, bound=bound)


def _offers(scenario: Scenario, route: Route, demand: Demand) -> dict[int, Offer]:
    depart = scenario.file.depart
    offers = {}
    for number, node in enumerate(nodes_of(route, demand, scenario)):
        if node.passing is None:
            continue
        supply = scenario.supplies[node.passing.row]
        offers[number] = Offer(
            row=node.passing.row,
            water=supply.water_available or 0.0,
            water_rate=60 * (supply.water_rate or 1.0),
            water_price=supply.water_price,
            coal=supply.coal_available or 0.0,
            coal_rate=60 * (supply.coal_rate or 1.0),
            coal_price=supply.coal_price,
            call_out=supply.call_out,
            set_up=supply.set_up / 60,
            opens=(supply.opens - depart) / 60,
            closes=math.inf if supply.closes >= 86400.0 else (supply.closes - depart) / 60,
        )
    return offers


def _limits(scenario: Scenario, demand: Demand, margin: _Margin) -> Limits:
    file = scenario.file
    tank, bunker = file.stores.tank, file.stores.bunker
    coal_margin = min(margin.mass, 1e-3 * bunker)
    return Limits(
        tank=tank,
        bunker=bunker,
        reserve_water=file.reserve.water + margin.mass,
        reserve_coal=file.reserve.coal + coal_margin,
        start_water=min(file.at_start.water, tank),
        start_coal=min(file.at_start.coal, bunker),
        finish_water=min(file.at_finish.water, tank) + margin.mass,
        finish_coal=min(file.at_finish.coal, bunker) + coal_margin,
        standing_water=60 * demand.standing_water,
        standing_coal=60 * demand.standing_coal,
        mass_margin=margin.mass,
        time_margin=margin.time / 60,
    )


def _value(variable: Any) -> float:  # noqa: ANN401  a PuLP variable
    return float(variable.varValue or 0.0)


def _solution(chain: Chain, staged: Staged) -> Solution:
    programme, first = staged.programme, staged.first
    count = len(chain.nodes)

    def at_nodes(values: dict[int, Any], scale: float = 1.0) -> Array:
        return np.array([scale * _value(values[i]) if i in values else 0.0 for i in range(count)])

    stopped = at_nodes(programme.stop) > 0.5
    gears = tuple(
        max(drive, key=lambda gear: _value(drive[gear]))
        for _, drive in sorted(programme.drive.items())
    )
    objective = float(pulp.value(staged.expression))
    return Solution(
        chain=chain,
        gears=gears,
        arrive_water=np.array([_value(v) for v in programme.arrive_water]),
        arrive_coal=np.array([_value(v) for v in programme.arrive_coal]),
        leave_water=np.array([_value(v) for v in programme.leave_water]),
        leave_coal=np.array([_value(v) for v in programme.leave_coal]),
        take_water=at_nodes(programme.take_water) * stopped,
        take_coal=at_nodes(programme.take_coal) * stopped,
        stopped=stopped,
        wait=at_nodes(programme.wait, 60.0) * stopped,
        stay=at_nodes(programme.stay, 60.0) * stopped,
        clock=np.array([60 * _value(v) for v in programme.clock]),
        aboard=np.zeros(0),
        aim=staged.aim,
        objective=objective,
        bound=min(first.bound, objective),
        proven=first.proven,
    )


def _carried(demand: Demand, solution: Solution) -> Array:
    """Mass aboard at each segment when the solution is driven on the bent curve."""
    aboard = np.zeros(demand.segments)
    gear = demand.geared(solution.gears)
    nodes = solution.chain.nodes
    left = (solution.leave_water + solution.leave_coal).tolist()
    first = np.array([node.sample for node in nodes])
    start = np.zeros(demand.segments)
    for number, node in enumerate(nodes[:-1]):
        start[node.sample :] = left[number]
    begin = first[np.searchsorted(first, np.arange(demand.segments), side="right") - 1]
    for _ in range(demand.segments + 1):
        use = demand.evaluate(aboard, gear)
        used = np.concatenate([[0.0], np.cumsum(use.water + use.coal)])
        carried: Array = start - (used[:-1] - used[begin])
        if np.abs(carried - aboard).max(initial=0.0) <= 1e-9 * max(start.max(initial=0.0), 1.0):
            break
        aboard = carried
    return carried


def _movement(demand: Demand, solution: Solution, carried: Array) -> _Margin:
    """Most by which the bent curve is off the straight one, summed from the start."""
    use = demand.evaluate(carried, demand.geared(solution.gears))
    samples = [node.sample for node in solution.chain.nodes]

    def off(used: Array, straight: Array) -> float:
        total = np.concatenate([[0.0], np.cumsum(used)])[samples]
        return float(np.abs(np.diff(total) - straight).cumsum().max(initial=0.0))

    water = off(use.water, solution.leave_water[:-1] - solution.arrive_water[1:])
    coal = off(use.coal, solution.leave_coal[:-1] - solution.arrive_coal[1:])
    time = off(use.duration, np.diff(solution.clock) - solution.stay[:-1])
    return _Margin(mass=max(water, coal), time=time)


def _elastic(chain: Chain, offers: dict[int, Offer], limits: Limits) -> Programme:
    """The programme with every limit breakable, solved for the least broken."""
    programme = build_programme(chain, offers, limits, elastic=True)
    programme.problem.setObjective(programme.shortage)
    if not run(programme, None).found:
        raise InternalError("the elastic programme has no answer; please report the scenario")
    return programme
