"""Solve the programme again and again, straightening until the answer fits the bent curve."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan.build import Posed, Shut, build_programme
from haulplan.plan.explain import explain_shortage, find_shortages
from haulplan.plan.legs import Chain, build_chain, nodes_of
from haulplan.plan.model import STORES, Programme
from haulplan.plan.plan import Telling
from haulplan.plan.reading import Margin, read_last_resort, read_limits, read_offers, read_rules
from haulplan.plan.rules import Offer, Rules
from haulplan.plan.run import run
from haulplan.plan.stages import Staged, solve_stages
from haulplan.plan.survive import WayOn, broken_without, ways_on, weak_stops
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
#: An answer is at most this share off the bound that proves it.
_PROVEN: Final = 1e-5
#: Of a limited time, what the first round may take: it only shows what is carried where.
_FIRST_SHARE: Final = 0.3
_ROUNDS: Final = 8


@dataclass(frozen=True, kw_only=True)
class Work:
    """What is done at a node besides taking water and coal; masses in kg, times in s."""

    gap: float = 0.0
    access_time: float = 0.0
    access_water: float = 0.0
    access_coal: float = 0.0
    filled: float = 0.0
    emptied: float = 0.0
    drained: float = 0.0
    uncoupled: bool = False
    met: bool = False
    fire: int | None = None
    duties: tuple[int, ...] = ()
    meals: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Solution:
    """What to do at each node and in each choice, and how good it is proved to be.

    Arrays have shape (nodes,), masses in kg, times in s; `aboard` is the water and coal
    aboard at each segment when it is driven, shape (segments,).
    """

    chain: Chain
    offers: Mapping[int, Offer]
    rules: Rules
    gears: tuple[int, ...]
    arrive: Mapping[str, Array]
    leave: Mapping[str, Array]
    take_water: Array
    take_coal: Array
    stopped: NDArray[np.bool_]
    wait: Array
    stay: Array
    clock: Array
    work: tuple[Work, ...]
    ways: tuple[WayOn, ...]
    survives: bool
    aboard: Array
    aim: str
    objective: float
    bound: float
    proven: bool

    def carried(self, moment: Mapping[str, Array]) -> Array:
        """Everything consumable aboard at each node, on arrival or on leaving [kg]."""
        total: Array = np.sum(list(moment.values()), axis=0)
        return total

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
    survive: bool = False,
    most_stops: int | None = None,
    telling: Telling = "all",
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
    survive
        True for a plan that leaves a way on whichever one of its stops is found shut.
    most_stops
        That may be made, any number where None.
    telling
        What is found out besides the plan: what to do where a stop is found shut, and why
        there is none ("all"), the latter only, or nothing; each takes longer than a plan.
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
    nodes = nodes_of(route, demand, scenario)
    rules = replace(read_rules(scenario, demand, nodes), most_stops=most_stops)
    room = scenario.file.stores.tank + scenario.file.stores.bunker
    guess = _Guess(
        aboard=np.full(demand.segments, 0.5 * room),
        gears=tuple(choice.gears[0] for choice in demand.choices),
    )
    error: Margin | None = None
    begun = time.monotonic()
    solution: Solution | None = None
    for number in range(_ROUNDS):
        deadline = _deadline(begun, time_limit, first=number == 0)
        if solution is not None and deadline is not None and time.monotonic() >= deadline:
            guess = replace(guess, stopped=solution.stopped.tolist())
        progress(f"choosing stops, round {number + 1}")
        chain = build_chain(scenario, route, demand, guess.aboard, guess.gears)
        posed = Posed(
            chain=chain,
            offers=read_offers(scenario, demand, nodes, guess.arriving),
            limits=read_limits(scenario, demand, guess.margin),
            rules=rules,
            shut=guess.shut,
            last_resort=read_last_resort(scenario, demand, guess.margin) if survive else None,
        )
        staged, posed = _staged(scenario, demand, posed, aim, deadline, guess,
                                brief=number == 0, tighten=tighten)  # fmt: skip
        if staged is None:
            if telling == "nothing":
                raise NoPlanError("no plan")
            raise _refusal(scenario, demand, posed, guess.margin)
        solution = _as_proven(_solution(chain, staged), solution if guess.stopped else None)
        aboard = _carried(demand, solution)
        moved = _movement(demand, solution, aboard)
        if number and _within(moved, guess.margin, room) and guess.margin.mass <= _SETTLED * room:
            found: tuple[WayOn, ...] = ()
            if telling == "all":
                found = ways_on(staged.programme, _resorting(scenario, demand, posed))
            return replace(solution, aboard=aboard, ways=found, survives=survive)
        stuck = error is not None and moved.mass >= 0.5 * error.mass
        arrived = solution.carried(solution.arrive)
        guess = _Guess(
            aboard=aboard,
            gears=solution.gears,
            shut=posed.shut,
            arriving={i: float(arrived[i]) for i in posed.offers if solution.stopped[i]},
            stopped=solution.stopped.tolist() if stuck else guess.stopped,
            hint={d.name: float(round(_value(d))) for d in staged.programme.decisions},
            settled=number > 0,
            margin=Margin(mass=min(2 * moved.mass, 1e-3 * room), time=2 * moved.time),
        )
        error = moved
    raise InternalError("the straightened model did not settle; please report the scenario")


def _resorting(scenario: Scenario, demand: Demand, posed: Posed) -> Posed:
    """The problem with the levels of last resort, asked for or not."""
    if posed.last_resort is not None:
        return posed
    bare = Margin(mass=0.0, time=0.0)
    return replace(posed, last_resort=read_last_resort(scenario, demand, bare))


def _staged(
    scenario: Scenario,
    demand: Demand,
    posed: Posed,
    aim: Aim,
    deadline: float | None,
    guess: "_Guess",
    *,
    brief: bool,
    tighten: bool,
) -> tuple[Staged | None, Posed]:
    """One round: stages, and a second way on for every stop that needs one."""
    before: tuple[Programme, Sequence[Shut]] | None = None
    while True:
        staged = solve_stages(
            posed,
            aim,
            deadline,
            stopped=guess.stopped,
            hint=guess.hint,
            brief=brief,
            settled=guess.settled,
            tighten=tighten,
        )
        if staged is None and before is not None:
            raise NoPlanError(_weakness(scenario, demand, posed, *before))
        if staged is None or posed.last_resort is None:
            return staged, posed
        weak = weak_stops(staged.programme, posed)
        if not weak:
            return staged, posed
        before = staged.programme, weak
        posed = replace(posed, shut=(*posed.shut, *weak))


def _weakness(
    scenario: Scenario,
    demand: Demand,
    posed: Posed,
    programme: Programme,
    weak: Sequence[Shut],
) -> str:
    """Which stops leave no way on, and what would mend it."""
    lines = ["no plan: none survives every one of its stops found shut"]
    for shut in weak:
        least = broken_without(programme, posed, shut)
        why = explain_shortage(scenario, demand, posed.chain, least).removeprefix("no plan: ")
        lines.append(f"without {shut.kind} at {posed.chain.nodes[shut.node].name}: {why}")
    return "\n".join(lines)


@dataclass(frozen=True, kw_only=True)
class _Guess:
    """What a round starts from: the round before it."""

    aboard: Array
    gears: tuple[int, ...]
    shut: tuple[Shut, ...] = ()
    arriving: Mapping[int, float] = field(default_factory=dict)
    stopped: list[bool] | None = None
    hint: Mapping[str, float] | None = None
    settled: bool = False
    margin: Margin = field(default_factory=lambda: Margin(mass=0.0, time=0.0))


def _refusal(scenario: Scenario, demand: Demand, posed: Posed, margin: Margin) -> NoPlanError:
    """Why there is no plan, by the programme with every limit breakable."""
    bare = replace(posed, limits=read_limits(scenario, demand, Margin(mass=0.0, time=0.0)), shut=())
    elastic = build_programme(bare, elastic=True)
    elastic.problem.setObjective(elastic.shortage)
    if not run(elastic, None).found:
        raise InternalError("the elastic programme has no answer; please report the scenario")
    if margin.mass == 0 and not elastic.broken:
        raise InternalError("the solver contradicts itself; please report the scenario")
    return NoPlanError(
        explain_shortage(scenario, demand, posed.chain, elastic),
        find_shortages(scenario, posed.chain, elastic),
    )


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


def _within(error: Margin, margin: Margin, room: float) -> bool:
    """Whether an error is covered by a margin, or too small to matter."""
    mass, time = max(margin.mass, _TINY * room), max(margin.time, _TINY * 86400)
    return error.mass <= mass and error.time <= time


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
        offers=programme.offers,
        rules=programme.rules,
        gears=gears,
        arrive=_levels(programme.arrive),
        leave=_levels(programme.leave),
        take_water=at_nodes(programme.take_water) * stopped,
        take_coal=at_nodes(programme.take_coal) * stopped,
        stopped=stopped,
        wait=at_nodes(programme.wait, 60.0) * stopped,
        stay=at_nodes(programme.stay, 60.0) * stopped,
        clock=np.array([60 * _value(v) for v in programme.clock]),
        work=tuple(_work(programme, i) for i in range(count)),
        ways=(),
        survives=False,
        aboard=np.zeros(0),
        aim=staged.aim,
        objective=objective,
        bound=min(first.bound, objective),
        proven=first.proven,
    )


def _levels(variables: Mapping[str, list[Any]]) -> dict[str, Array]:
    count = len(variables["water"])
    return {
        store: np.array([_value(v) for v in variables[store]] or [0.0] * count) for store in STORES
    }


def _work(programme: Programme, i: int) -> Work:
    """What is done at node i besides taking water and coal."""

    def made(variables: Mapping[Any, Any], node: Any) -> float:  # noqa: ANN401  a key
        return _value(variables[node]) if node in variables else 0.0

    gap = 60 * made(programme.gap, i)
    if made(programme.stop, i) < 0.5:
        return Work(gap=gap if i == 0 else 0.0)
    offer = programme.offers.get(i)
    fires = [f for (j, _, f), z in programme.night.items() if j == i and _value(z) > 0.5]
    return Work(
        gap=gap if fires else 0.0,
        access_time=0.0 if offer is None else 60 * offer.access_time,
        access_water=0.0 if offer is None else offer.access_water,
        access_coal=0.0 if offer is None else offer.access_coal,
        filled=made(programme.fill, i),
        emptied=made(programme.empty, i),
        drained=made(programme.drained, i),
        uncoupled=made(programme.uncoupled, i) > 0.5,
        met=made(programme.met, i) > 0.5,
        fire=fires[0] if fires else None,
        duties=tuple(k for (j, k), o in programme.duty.items() if j == i and _value(o) > 0.5),
        meals=tuple(k for (j, k, _), m in programme.meal.items() if j == i and _value(m) > 0.5),
    )


def _carried(demand: Demand, solution: Solution) -> Array:
    """Mass aboard at each segment when the solution is driven on the bent curve."""
    aboard = np.zeros(demand.segments)
    gear = demand.geared(solution.gears)
    nodes = solution.chain.nodes
    left = solution.carried(solution.leave).tolist()
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


def _movement(demand: Demand, solution: Solution, carried: Array) -> Margin:
    """Most by which the bent curve is off the straight one, summed from the start."""
    use = demand.evaluate(carried, demand.geared(solution.gears))
    samples = [node.sample for node in solution.chain.nodes]
    access = _access_moved(demand, solution)
    leave, arrive = solution.leave, solution.arrive

    def off(used: Array, straight: Array, way: Array) -> float:
        total = np.concatenate([[0.0], np.cumsum(used)])[samples]
        return float(np.abs(np.diff(total) - straight + way[:-1]).cumsum().max(initial=0.0))

    gone = leave["water"] + leave["boiler"]
    come = arrive["water"] + arrive["boiler"]
    water = off(use.water, gone[:-1] - come[1:], access[1])
    coal = off(use.coal, leave["coal"][:-1] - arrive["coal"][1:], access[2])
    stood = np.array([work.gap + work.access_time for work in solution.work]) + solution.stay
    time = off(use.duration, np.diff(solution.clock) - stood[:-1], access[0])
    return Margin(mass=max(water, coal), time=time)


def _access_moved(demand: Demand, solution: Solution) -> Array:
    """By how much each drive off the road differs from what was reckoned, (3, nodes)."""
    moved = np.zeros((3, len(solution.work)))
    arrived = solution.carried(solution.arrive)
    for i, work in enumerate(solution.work):
        passing = solution.chain.nodes[i].passing
        if work.access_time and passing is not None:
            now = demand.access(passing.row, float(arrived[i]))
            planned = (work.access_time, work.access_water, work.access_coal)
            moved[:, i] = np.abs(np.subtract(now, planned))
    return moved
