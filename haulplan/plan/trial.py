"""A problem changed and tried again: whole, or only for whether there is a plan at all."""

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from haulplan.demand import Demand, build_demand
from haulplan.errors import InternalError
from haulplan.plan.build import Posed, build_programme
from haulplan.plan.legs import build_chain, nodes_of
from haulplan.plan.plan import Plan
from haulplan.plan.reading import Margin, read_limits, read_offers, read_rules
from haulplan.plan.run import run
from haulplan.plan.solve import solve
from haulplan.plan.timetable import write_plan
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim, Store, Supply, Wagon

__all__ = ["Case", "least", "possible", "solved_plan", "tap"]

#: A supply nobody knows yet, where the scenario has none to go by. haulplan's assumption.
_RATE: Final = {"water": 1.0, "coal": 0.5}
_SET_UP: Final = 300.0


@dataclass(frozen=True, kw_only=True)
class Case:
    """A scenario with its road and demand, made anew for every change."""

    scenario: Scenario
    route: Route
    demand: Demand

    def with_file(self, **changes: object) -> "Case":
        """With other keys in scenario.toml; figures of the road's use are reckoned again."""
        file = self.scenario.file.model_copy(update=changes)
        return self._reckoned(replace(self.scenario, file=file), self.route)

    def with_supplies(self, supplies: Sequence[Supply]) -> "Case":
        """With another supply.csv; the road's places are met again."""
        scenario = replace(self.scenario, supplies=tuple(supplies))
        return self._reckoned(scenario, build_route(scenario))

    def with_stores(self, stores: Sequence[Store]) -> "Case":
        """With another stores.csv."""
        return self._reckoned(replace(self.scenario, stores=tuple(stores)), self.route)

    def with_load(self, share: float) -> "Case":
        """With this share of what the wagons are loaded with."""
        train = self.scenario.file.train
        wagons = tuple(w.model_copy(update={"load": share * w.load}) for w in train.wagons)
        lifted = (1.0 - share) * self.load
        weight = None if train.dry_weight is None else train.dry_weight - lifted
        return self.with_file(
            train=train.model_copy(update={"wagons": wagons, "dry_weight": weight})
        )

    def with_cart(self, name: str, water: float, tare: float, start: float) -> "Case":
        """With a water cart behind the train, so much in it at the start [kg]."""
        train = self.scenario.file.train
        drawn = {"name": name, "tare": f"{tare!r} kg", "tyre": "rubber"}
        wagon = Wagon.model_validate(drawn)
        weight = None if train.dry_weight is None else train.dry_weight + tare
        rate, _ = _usual(self.scenario, "water")
        cart = {"kind": "cart", "water": f"{water!r} kg", "water_rate": f"{rate!r} kg/s"}
        cart["at_start"] = f"{start!r} kg"
        store = Store.model_validate({"name": name, **cart})
        file = self.scenario.file.model_copy(
            update={
                "train": train.model_copy(
                    update={"wagons": (*train.wagons, wagon), "dry_weight": weight}
                )
            }
        )
        stores = (*self.scenario.stores, store)
        return self._reckoned(replace(self.scenario, file=file, stores=stores), self.route)

    @property
    def load(self) -> float:
        """What the wagons are loaded with [kg]."""
        return sum(w.count * w.load for w in self.scenario.file.train.wagons)

    def _reckoned(self, scenario: Scenario, route: Route) -> "Case":
        return Case(scenario=scenario, route=route, demand=build_demand(scenario, route))


def tap(
    scenario: Scenario,
    kind: Literal["water", "coal"],
    at: float,
    *,
    name: str,
    available: float | None = None,
) -> Supply:
    """A supply of one kind that is not there yet, as quick as those that are.

    Parameters
    ----------
    scenario
        Its supplies of that kind give the rate and the set-up: the middle ones.
    kind
        What is to be had.
    at
        Where on the road. [m]
    name
        What it is called.
    available
        How much there is, no end of it where None. [kg]

    Returns
    -------
    supply
        Free of charge and always open.
    """
    rate, set_up = _usual(scenario, kind)
    row = {
        "name": name,
        "kind": "not there yet",
        "at": f"{at!r} m",
        "set_up": f"{set_up!r} s",
        f"{kind}_available": "unlimited",
        f"{kind}_rate": f"{rate!r} kg/s",
    }
    supply = Supply.model_validate(row)
    if available is None:
        return supply
    return supply.model_copy(update={f"{kind}_available": available})


def _usual(scenario: Scenario, kind: str) -> tuple[float, float]:
    """Rate and set-up of the middle one of a scenario's supplies [kg s⁻¹], [s]."""
    known = [s for s in scenario.supplies if getattr(s, f"{kind}_rate") is not None]
    if not known:
        return _RATE[kind], _SET_UP
    rate = statistics.median_low(float(getattr(s, f"{kind}_rate")) for s in known)
    return rate, statistics.median_low(s.set_up for s in known)


def solved_plan(
    case: Case,
    *,
    aim: Aim | None = None,
    most_stops: int | None = None,
    survive: bool = False,
    time_limit: float | None = None,
) -> Plan:
    """The best plan of a changed problem, what to do at a locked tap left out.

    Parameters
    ----------
    case
        The problem.
    aim
        What to be best at; the scenario's own where None.
    most_stops
        That may be made, any number where None.
    survive
        True for a plan that leaves a way on whichever one of its stops is found shut.
    time_limit
        Most time for the solver, none where None. [s]

    Returns
    -------
    plan
        As `haulplan.plan.make_plan` gives it, without fallbacks.

    Raises
    ------
    NoPlanError
        If no choice of stops keeps every limit.
    """
    solution = solve(
        case.scenario,
        case.route,
        case.demand,
        aim=aim,
        most_stops=most_stops,
        survive=survive,
        time_limit=time_limit,
        telling="refusals",
    )
    return write_plan(case.scenario, case.route, case.demand, solution)


def possible(case: Case, deadline: float) -> bool:
    """Whether a problem has a plan at all, but for the error of straightening it once.

    Parameters
    ----------
    case
        The problem.
    deadline
        When to be done, by `time.monotonic`. [s]

    Returns
    -------
    possible
        False too where it is not known by then.
    """
    scenario, demand = case.scenario, case.demand
    nodes = nodes_of(case.route, demand, scenario)
    aboard = 0.5 * (scenario.file.stores.tank + scenario.file.stores.bunker)
    gears = tuple(choice.gears[0] for choice in demand.choices)
    programme = build_programme(
        Posed(
            chain=build_chain(
                scenario, case.route, demand, np.full(demand.segments, aboard), gears
            ),
            offers=read_offers(scenario, demand, nodes, {}),
            limits=read_limits(scenario, demand, Margin(mass=0.0, time=0.0)),
            rules=read_rules(scenario, demand, nodes),
        )
    )
    programme.problem.setObjective(programme.clock[-1] * 0.0)
    try:
        return run(programme, deadline, optional=True).found
    except InternalError:  # the plan itself is solved with more care
        return False


def least(
    enough: Callable[[float], bool], *, first: float, most: float, step: float
) -> float | None:
    """The least figure that is enough, to within a step: doubled, then halved.

    Parameters
    ----------
    enough
        Asked for a figure; where it is, more is too.
    first
        Tried first.
    most
        Nothing beyond is tried.
    step
        How near to the least to come.

    Returns
    -------
    least
        None where even the most is not enough.

    Examples
    --------
    >>> least(lambda figure: figure >= 7.3, first=1.0, most=100.0, step=0.25)
    7.5
    """
    low, high = 0.0, min(first, most)
    while not enough(high):
        if high >= most:
            return None
        low, high = high, min(2.0 * high, most)
    while high - low > step * (1 + 1e-9):
        middle = (low + high) / 2
        if enough(middle):
            high = middle
        else:
            low = middle
    return high
