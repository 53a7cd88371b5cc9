"""How likely a plan runs dry, by driving it many times, and the reserve a chance asks for.

One factor holds for the whole day (crew, coal, weather) and one for each stretch; both
multiply the use of water and coal. The day's is drawn once, a hard day taking of both, and
moves each store by its own spread where the engine's logs give one. At a stop the crew
fills to the plan's mark, as far as the supply goes, and nothing else is done about a
thirsty day.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, linearise
from haulplan.errors import NoPlanError
from haulplan.plan.legs import compress
from haulplan.plan.plan import Plan, Stop, Thirst
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Risk

__all__ = ["DRIVES", "plan_for_thirst", "run_dry", "with_reserve"]

Array = NDArray[np.float64]

#: Drives of a simulation; its interval is then within a tenth of a chance of 1 %.
DRIVES: Final = 200_000
_SEED: Final = 20270522
#: Reserves are tried in steps of this share of the stores, up to half of them.
_STEP: Final = 0.005
_STEPS: Final = 100
#: Nobody is thriftier than this share of the reckoned use.
_THRIFTIEST: Final = 0.2


@dataclass
class _Drive:
    """Levels of every drive at once [kg], and which have run dry."""

    tank: Array
    bunker: Array
    cart: Array
    dry: NDArray[np.bool_]

    def use(self, water: Array, coal: Array) -> None:
        """Take from both stores; note the drives in which one is empty."""
        self.tank = self.tank - water
        self.bunker = self.bunker - coal
        self.dry |= (self.tank < 0.0) | (self.bunker < 0.0)


def run_dry(
    scenario: Scenario,
    demand: Demand,
    plan: Plan,
    risk: Risk,
    *,
    drives: int = DRIVES,
    seed: int = _SEED,
) -> Thirst:
    """The chance that the usable tank or bunker is empty somewhere on the way.

    Parameters
    ----------
    scenario, demand
        The problem the plan is for.
    plan
        Its stops give the marks that the crew fills to.
    risk
        Spread of the whole day and of each stretch.
    drives
        How many are simulated, at least 1,000.
    seed
        Of the random numbers.

    Returns
    -------
    thirst
        With its 95 % interval.

    Raises
    ------
    ValueError
        If the day's spread is neither stated nor learned; a scenario that was read has one.

    Notes
    -----
    Use of a stretch = (base + slope × mass then aboard) × day × stretch, both factors
    normal about 1; the day's is no less than 0.2. Its spread is `risk.day`, or what the
    engine's logs say of a run to come.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404: the interval.
    """
    draw = np.random.default_rng(seed)
    hard = draw.standard_normal(drives)
    day = tuple(np.maximum(1.0 + spread * hard, _THRIFTIEST) for spread in _spreads(scenario, risk))
    first = plan.stops[0]
    state = _Drive(
        tank=np.full(drives, first.tank_arrive),
        bunker=np.full(drives, first.bunker_arrive),
        cart=np.full(drives, first.cart_arrive),
        dry=np.zeros(drives, dtype=np.bool_),
    )
    stretches = _stretches(demand, plan, risk)
    left: dict[tuple[str, int, str], Array] = {}
    for number, stop in enumerate(plan.stops):
        if number:
            for a, b, c, d, spread in stretches[number - 1]:
                factor = np.maximum(draw.normal(1.0, spread, drives), 0.0)
                aboard = np.maximum(state.tank, 0) + np.maximum(state.bunker, 0) + state.cart
                water, coal = (a + b * aboard) * day[0], (c + d * aboard) * day[1]
                state.use(water * factor, coal * factor)
        if stop.row is not None:
            _stand(scenario, demand, state, stop, day, left)
    count = int(state.dry.sum())
    low, high = _interval(count, drives)
    return Thirst(chance=count / drives, low=low, high=high, drives=drives)


def _spreads(scenario: Scenario, risk: Risk) -> tuple[float, float]:
    """Spread of a whole day's water and coal: as stated, else as the logs have it."""
    if risk.day is not None:
        return risk.day, risk.day
    engine = scenario.file.engine
    known = None if engine is None else engine.water_factor or engine.coal_factor
    if engine is None or known is None:
        raise ValueError("the spread of a day is neither stated nor learned")
    # With one store learned the other has the same spread: a hard day takes of both.
    return (engine.water_factor or known).spread, (engine.coal_factor or known).spread


def _stretches(
    demand: Demand, plan: Plan, risk: Risk
) -> list[list[tuple[float, float, float, float, float]]]:
    """Of each leg its stretches: water and coal as base and slope in the mass aboard, spread.

    A segment that is n stretches long has the spread of the mean of n.
    """
    gear = demand.geared(plan.choices)
    samples = [demand.index(stop.distance) for stop in plan.stops]
    aboard = np.zeros(demand.segments)
    for before, after, begin, end in zip(
        plan.stops, plan.stops[1:], samples, samples[1:], strict=False
    ):
        full = before.tank_depart + before.bunker_depart + before.cart_depart
        empty = after.tank_arrive + after.bunker_arrive + after.cart_arrive
        aboard[begin:end] = np.linspace(full, empty, max(end - begin, 1))[: end - begin]
    linear = linearise(demand, aboard, gear)
    lengths = np.diff(demand.distance)
    legs = []
    for begin, end in pairwise(samples):
        length = demand.distance[end] - demand.distance[begin]
        pieces = max(math.ceil(length / risk.length - 1e-9), 1)
        edges = demand.distance[begin] + length * np.arange(pieces + 1) / pieces
        cuts = np.unique(np.searchsorted(demand.distance, edges - 1e-6).clip(begin, end))
        cuts[0], cuts[-1] = begin, end
        stretches = []
        for i, j in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
            p, q = compress(linear, i, j)
            own = slice(i, j)
            stretches.append(
                (
                    float((linear.water[own] - linear.water_slope[own] * q[:-1]).sum()),
                    float((linear.water_slope[own] * p[:-1]).sum()),
                    float((linear.coal[own] - linear.coal_slope[own] * q[:-1]).sum()),
                    float((linear.coal_slope[own] * p[:-1]).sum()),
                    risk.stretch / math.sqrt(max(round(lengths[own].sum() / risk.length), 1)),
                )
            )
        legs.append(stretches)
    return legs


def _stand(
    scenario: Scenario,
    demand: Demand,
    state: _Drive,
    stop: Stop,
    day: tuple[Array, ...],
    left: dict[tuple[str, int, str], Array],
) -> None:
    """A stop: the way off the road, filling to the mark, standing, the night."""
    state.use(stop.access_water / 2 * day[0], stop.access_coal / 2 * day[1])
    tank = stop.tank_arrive - stop.access_water / 2 + stop.water_taken + stop.cart_emptied
    bunker = stop.bunker_arrive - stop.access_coal / 2 + stop.coal_taken
    water, coal = _available(scenario, stop)
    most = demand.serving[stop.row or 0].most if stop.kind == "supply" else math.inf
    source = ("truck", stop.truck) if stop.truck is not None else (stop.kind, stop.row or 0)
    if stop.water_taken + stop.cart_filled > 0:
        wanted = np.clip(tank - state.tank, 0.0, most)
        taken = _take(left, (*source, "water"), water, wanted)
        state.tank += taken
        if stop.cart_filled > 0:
            wanted = np.minimum(stop.cart_arrive + stop.cart_filled - state.cart, most - taken)
            state.cart += _take(left, (*source, "water"), water, wanted)
    if stop.coal_taken > 0:
        state.bunker += _take(left, (*source, "coal"), coal, bunker - state.bunker)
    if stop.cart_emptied > 0:
        poured = np.clip(tank - state.tank, 0.0, state.cart)
        state.tank += poured
        state.cart -= poured
    state.use(
        demand.standing_water * stop.stay * day[0] + stop.drained + stop.blown_down,
        demand.standing_coal * stop.stay * day[1],
    )
    state.use(stop.access_water / 2 * day[0], stop.access_coal / 2 * day[1])
    state.use(np.full(day[0].size, stop.night_water), np.full(day[1].size, stop.night_coal))


def _take(
    left: dict[tuple[str, int, str], Array],
    source: tuple[str, int, str],
    available: float,
    wanted: Array,
) -> Array:
    """As much as is wanted, and as is left of the source over all its passes."""
    rest = left.get(source, np.full(wanted.size, available))
    taken: Array = np.clip(wanted, 0.0, rest)
    left[source] = rest - taken
    return taken


def _available(scenario: Scenario, stop: Stop) -> tuple[float, float]:
    if stop.truck is not None:
        truck = scenario.stores[stop.truck]
        return truck.water * truck.loads, truck.coal * truck.loads
    if stop.kind != "supply" or stop.row is None:
        return 0.0, 0.0
    supply = scenario.supplies[stop.row]
    return supply.water_available or 0.0, supply.coal_available or 0.0


def _interval(count: int, drives: int) -> tuple[float, float]:
    """The exact 95 % interval of a chance seen `count` times."""
    from scipy.stats import beta  # noqa: PLC0415  scipy loads when needed

    low = 0.0 if count == 0 else float(beta.ppf(0.025, count, drives - count + 1))
    high = 1.0 if count == drives else float(beta.ppf(0.975, count + 1, drives - count))
    return low, high


def with_reserve(scenario: Scenario, share: float) -> Scenario:
    """The scenario with at least this share of both stores as its reserve.

    Parameters
    ----------
    scenario
        Its own reserve is never lowered.
    share
        Of tank and bunker. [-]

    Returns
    -------
    scenario
        With the reserve raised where it is below.
    """
    file = scenario.file
    reserve = file.reserve.model_copy(
        update={
            "water": max(file.reserve.water, share * file.stores.tank),
            "coal": max(file.reserve.coal, share * file.stores.bunker),
        }
    )
    return replace(scenario, file=file.model_copy(update={"reserve": reserve}))


def plan_for_thirst(
    scenario: Scenario, demand: Demand, risk: Risk, plan_with: Callable[[Scenario], Plan]
) -> Plan:
    """The plan with the least reserve that keeps the chance of running dry.

    Parameters
    ----------
    scenario, demand
        The problem.
    risk
        The chance, and the spread of the use.
    plan_with
        Plans the scenario with a reserve.

    Returns
    -------
    plan
        Its reserve is the scenario's own or a multiple of ½ % of the stores; the upper
        end of the chance's interval is at most what is asked.

    Raises
    ------
    NoPlanError
        If no reserve that leaves a plan is enough.
    """
    found: Plan | None = None
    last = "no plan at any reserve"
    low, high = -1, _STEPS + 1
    while high - low > 1:
        step = (low + high) // 2 if low >= 0 else 0
        share = _STEP * step
        try:
            plan = plan_with(with_reserve(scenario, share))
        except NoPlanError as error:
            if found is None and step == 0:
                raise
            last, high = str(error), step
            continue
        thirst = run_dry(scenario, demand, plan, risk)
        if thirst.high <= risk.chance:
            found, high = replace(plan, thirst=thirst), step
        else:
            low = step
            last = f"with a reserve of {100 * share:.1f} % the chance is {_shown(thirst)}"
    if found is None:
        raise NoPlanError(
            f"no plan: no reserve keeps the chance of running dry at {100 * risk.chance:g} % or "
            f"below; {last}. What would mend it: another supply, a bigger tank, a smaller "
            "spread by logging runs, or a larger chance"
        )
    return found


def _shown(thirst: Thirst) -> str:
    return f"{100 * thirst.chance:.2f} % ({100 * thirst.low:.2f} to {100 * thirst.high:.2f} %)"
