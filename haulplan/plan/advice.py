"""What each other aim would cost, and what would help: every figure from a plan of its own."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from haulplan.demand import Demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan.plan import Plan
from haulplan.plan.trial import Case, solved_plan, tap
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Price", "helps", "prices"]

_AIMS: Final = ("earliest", "cheapest", "fewest stops")
_BIGGER: Final = 1.25
_LIGHTER: Final = 0.9
#: A cart holds half a tank and weighs half of what it holds. haulplan's assumption.
_CART: Final = 0.5
#: Most time for one plan where no limit is given. [s]
_TIME: Final = 20.0


@dataclass(frozen=True, kw_only=True)
class Price:
    """What something other than the plan costs against it, or brings where below nothing.

    `later` [s], `dearer` [currency] and `more_stops` are None where there is no plan;
    `why` then tells it.
    """

    what: str
    plan: Plan | None
    later: float | None = None
    dearer: float | None = None
    more_stops: int | None = None
    why: str = ""

    @property
    def proven(self) -> bool:
        """Whether the other plan is proved best by its aim."""
        return self.plan is not None and self.plan.proven


def prices(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    plan: Plan,
    *,
    time_limit: float = _TIME,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Price, ...]:
    """What the other aims would cost, and one stop fewer.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    plan
        The plan to measure against.
    time_limit
        Most time for each of them. [s]
    progress
        Told what is being done.

    Returns
    -------
    prices
        One for every aim that is not the plan's, then one stop fewer where it makes any.

    Notes
    -----
    The reserves are those the plan was made with.
    """
    case = _with_reserves(Case(scenario=scenario, route=route, demand=demand), plan)
    found = []
    for aim in _AIMS:
        if aim != plan.aim:
            progress(f"trying for {aim}")
            tried = _Try(case=case, aim=Aim.model_validate({"first": aim}))
            found.append(_price(f"aim: {aim}", plan, tried, time_limit))
    stops = _stops(plan)
    if stops:
        progress("trying with one stop fewer")
        tried = _Try(case=case, aim=_aim_of(scenario, plan), most_stops=stops - 1)
        found.append(_price("one stop fewer", plan, tried, time_limit))
    return tuple(found)


def helps(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    plan: Plan,
    *,
    time_limit: float = _TIME,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Price, ...]:
    """What would help: each change planned anew, by the plan's aim.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    plan
        The plan to measure against.
    time_limit
        Most time for each of them. [s]
    progress
        Told what is being done.

    Returns
    -------
    helps
        Bigger tank, water cart, second hose, another stop, lighter train; those that the
        scenario has nothing to change for are left out.
    """
    case = _with_reserves(Case(scenario=scenario, route=route, demand=demand), plan)
    aim = _aim_of(scenario, plan)
    found = []
    for what, change in _changes(case, plan):
        progress(f"trying {what}")
        found.append(_best_of(what, plan, change, aim, time_limit))
    return tuple(found)


def _best_of(
    what: str, plan: Plan, changes: Sequence[Callable[[], Case]], aim: Aim, time_limit: float
) -> Price:
    """The first of the changes that leaves a plan; else why the first leaves none."""
    tried = []
    for change in changes:
        try:
            price = _price(what, plan, _Try(case=change(), aim=aim), time_limit)
        except NoPlanError as error:  # a hill that holds the train in no gear
            price = Price(what=what, plan=None, why=_short(error))
        if price.plan is not None:
            return price
        tried.append(price)
    return tried[0]


def _changes(case: Case, plan: Plan) -> Sequence[tuple[str, Sequence[Callable[[], Case]]]]:
    """What is tried, in words, and how it changes the problem.

    What stores more starts full, or where that leaves no plan, with no more than before.
    """
    scenario = case.scenario
    system = UNIT_SYSTEMS[scenario.file.units]
    tank = scenario.file.stores.tank
    stores = scenario.file.stores.model_copy(update={"tank": _BIGGER * tank})
    start = scenario.file.at_start
    before = start.model_copy(update={"water": min(start.water, tank)})
    leg = max(plan.legs, key=lambda leg: leg.length)
    middle = plan.stops[leg.begin].distance + leg.length / 2
    another = tap(scenario, "water", middle, name=_unused("another stop", scenario))
    name = _unused("water cart", scenario)
    room = _CART * tank
    tare = max(_CART * room, 1.0)
    changes: list[tuple[str, Sequence[Callable[[], Case]]]] = [
        (
            f"a tank of {system.water.text(_BIGGER * tank)}",
            (
                lambda: case.with_file(stores=stores),
                lambda: case.with_file(stores=stores, at_start=before),
            ),
        ),
        (
            f"a cart of {system.water.text(room)}, {system.coal.text(tare)} empty",
            (
                lambda: case.with_cart(name, room, tare, room),
                lambda: case.with_cart(name, room, tare, 0.0),
            ),
        ),
    ]
    rates = [s.water_rate for s in scenario.supplies] + [s.water_rate for s in scenario.stores]
    if any(rate is not None for rate in rates):
        changes.append(("a second hose: water twice as fast", (lambda: _with_hoses(case),)))
    changes.append(
        (
            f"a tap at {system.distance.text(middle)}, on the longest leg",
            (lambda: case.with_supplies((*scenario.supplies, another)),),
        )
    )
    if case.load > 0:
        less = (1 - _LIGHTER) * case.load
        lighter = f"a train lighter by {system.mass.text(less)}, a tenth of its load"
        changes.append((lighter, (lambda: case.with_load(_LIGHTER),)))
    return changes


def _with_hoses(case: Case) -> Case:
    """Every tap, pump and truck twice as quick; a cart's own pump as it is."""

    def double(row: float | None) -> float | None:
        return None if row is None else 2 * row

    stores = [
        s.model_copy(update={"water_rate": double(s.water_rate)}) if s.kind == "truck" else s
        for s in case.scenario.stores
    ]
    supplies = [
        s.model_copy(update={"water_rate": double(s.water_rate)}) for s in case.scenario.supplies
    ]
    return case.with_stores(stores).with_supplies(supplies)


def _with_reserves(case: Case, plan: Plan) -> Case:
    """With the reserves the plan was made with, and no chance to keep besides."""
    if case.scenario.file.risk is None:
        return case
    reserve = case.scenario.file.reserve.model_copy(
        update={"water": plan.reserve_water, "coal": plan.reserve_coal}
    )
    file = case.scenario.file.model_copy(update={"reserve": reserve, "risk": None})
    return replace(case, scenario=replace(case.scenario, file=file))


@dataclass(frozen=True, kw_only=True)
class _Try:
    """What is solved instead of the plan's problem."""

    case: Case
    aim: Aim
    most_stops: int | None = None


def _price(what: str, plan: Plan, tried: _Try, time_limit: float) -> Price:
    try:
        other = solved_plan(
            tried.case,
            aim=tried.aim,
            most_stops=tried.most_stops,
            survive=plan.survives,
            time_limit=time_limit,
        )
    except NoPlanError as error:
        fewer = tried.most_stops is not None
        return Price(
            what=what, plan=None, why="other limits cannot be kept" if fewer else _short(error)
        )
    except InternalError as error:  # the plan stands without this advice
        return Price(what=what, plan=None, why=f"not decided: {error}")
    return Price(
        what=what,
        plan=other,
        later=other.arrival - plan.arrival,
        dearer=other.money - plan.money,
        more_stops=_stops(other) - _stops(plan),
    )


def _short(error: NoPlanError) -> str:
    """The first of the reasons, without what would mend it."""
    return str(error).splitlines()[0].partition(" What would mend it")[0].rstrip(".")


def _stops(plan: Plan) -> int:
    return len(plan.stops) - 2


def _aim_of(scenario: Scenario, plan: Plan) -> Aim:
    if plan.aim in _AIMS:
        return Aim.model_validate({"first": plan.aim})
    return scenario.file.aim


def _unused(name: str, scenario: Scenario) -> str:
    """A name that neither supply nor wagon has."""
    taken = {s.name for s in scenario.supplies} | {w.name for w in scenario.file.train.wagons}
    while name in taken:
        name += "*"
    return name
