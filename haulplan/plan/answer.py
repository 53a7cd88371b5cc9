"""The solver's answer: what is done at every node, and how far the straight lines were off."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.plan.legs import Chain
from haulplan.plan.model import STORES, Programme
from haulplan.plan.reading import Margin
from haulplan.plan.rules import Offer, Rules
from haulplan.plan.stages import Staged

if TYPE_CHECKING:
    from haulplan.plan.survive import WayOn

__all__ = ["Solution", "Work", "answer_of", "carried", "movement", "recourse_of"]

Array = NDArray[np.float64]


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
    aboard at each segment when it is driven, shape (segments,). `driven` has the whole of
    each of its `ways` that turns back, by number.
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
    ways: "tuple[WayOn, ...]"
    driven: "Mapping[int, Solution]" = field(default_factory=dict)
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


def _value(solved: Any) -> float:  # noqa: ANN401  a PuLP variable, expression or number
    return float(pulp.value(solved) or 0.0)


def answer_of(chain: Chain, staged: Staged) -> Solution:
    """The answer of a programme solved in stages.

    Parameters
    ----------
    chain
        Its nodes.
    staged
        The programme at its answer.

    Returns
    -------
    solution
        Without the ways on at a locked tap.
    """
    objective = float(pulp.value(staged.expression))
    found = _read(chain, staged.programme, staged.programme.offers, staged.programme.rules)
    return replace(
        found,
        aim=staged.aim,
        objective=objective,
        bound=min(staged.first.bound, objective),
        proven=staged.first.proven,
    )


def recourse_of(base: Solution, chain: Chain, recourse: Programme, rules: Rules) -> Solution:
    """A way on from a locked tap, with what the plan does before it.

    Parameters
    ----------
    base
        The plan's answer.
    chain
        Nodes of the way on; those before its first are the plan's.
    recourse
        Solved.
    rules
        Of its nodes.

    Returns
    -------
    solution
        Best for arrival.
    """
    first = recourse.first
    offers = {**{i: o for i, o in base.offers.items() if i < first}, **recourse.offers}
    found = _read(chain, recourse, offers, rules)

    def on(before: Array, after: Array) -> Array:
        return np.concatenate([before[:first], after[first:]])

    return replace(
        found,
        arrive={s: on(base.arrive[s], found.arrive[s]) for s in STORES},
        leave={s: on(base.leave[s], found.leave[s]) for s in STORES},
        take_water=on(base.take_water, found.take_water),
        take_coal=on(base.take_coal, found.take_coal),
        stopped=np.concatenate([base.stopped[:first], found.stopped[first:]]),
        wait=on(base.wait, found.wait),
        stay=on(base.stay, found.stay),
        clock=on(base.clock, found.clock),
        work=(*base.work[:first], *found.work[first:]),
    )


def _read(
    chain: Chain, programme: Programme, offers: Mapping[int, Offer], rules: Rules
) -> Solution:
    """What the variables of a programme say."""
    count = len(chain.nodes)

    def at_nodes(values: dict[int, Any], scale: float = 1.0) -> Array:
        return np.array([scale * _value(values[i]) if i in values else 0.0 for i in range(count)])

    stopped = at_nodes(programme.stop) > 0.5
    gears = tuple(
        max(drive, key=lambda gear: _value(drive[gear]))
        for _, drive in sorted(programme.drive.items())
    )
    minutes = _value(programme.clock[-1])
    return Solution(
        chain=chain,
        offers=offers,
        rules=rules,
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
        aim="earliest",
        objective=minutes,
        bound=minutes,
        proven=False,
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


def carried(demand: Demand, solution: Solution) -> Array:
    """Mass aboard at each segment when the solution is driven on the bent curve.

    Parameters
    ----------
    demand
        Of its road.
    solution
        What is done.

    Returns
    -------
    aboard
        Shape (segments,). [kg]
    """
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
        gone: Array = start - (used[:-1] - used[begin])
        if np.abs(gone - aboard).max(initial=0.0) <= 1e-9 * max(start.max(initial=0.0), 1.0):
            break
        aboard = gone
    return gone


def movement(demand: Demand, solution: Solution, aboard: Array) -> Margin:
    """Most by which the bent curve is off the straight one, summed from the start.

    Parameters
    ----------
    demand
        Of its road.
    solution
        What is done.
    aboard
        Mass carried at each segment. [kg]

    Returns
    -------
    margin
        In mass and time.
    """
    use = demand.evaluate(aboard, demand.geared(solution.gears))
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
