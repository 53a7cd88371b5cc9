"""What comes of one variant: its plan's figures, proved by replay, or why there is none."""

import datetime as dt
from dataclasses import dataclass, replace

from haulplan.compare.variants import Variant
from haulplan.demand import build_demand
from haulplan.errors import InputError, InternalError, NoPlanError
from haulplan.plan import make_plan
from haulplan.plan.plan import Plan, Stop, Trace
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario

__all__ = ["Outcome", "Tally", "outcome_of", "read_variant", "tally"]


@dataclass(frozen=True, kw_only=True)
class Tally:
    """A plan in figures: clocks since midnight of its date [s], masses used [kg].

    `driving`, `standing` (by day) and `resting` (nights) make up the time on the way [s].
    `margin_water` is the least the tank holds above the reserve, `margin_at` where [m];
    `gap` is how far the plan may be from the best, as a share of its aim.
    """

    depart: float
    arrive: float
    days: int
    stops: int
    driving: float
    standing: float
    resting: float
    water: float
    coal: float
    money: float
    margin_water: float
    margin_coal: float
    margin_at: float
    proven: bool
    gap: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of a variant; `tally` is None where `refusal` says why there is no plan.

    `units` are those of what is shown.
    """

    variant: Variant
    units: str
    date: dt.date
    currency: str
    aim: str
    tally: Tally | None
    refusal: str = ""


def read_variant(variant: Variant) -> Scenario:
    """Read a variant's scenario, altered and checked like any other.

    Parameters
    ----------
    variant
        A folder and what is altered.

    Returns
    -------
    scenario
        As if its scenario.toml had been written so.

    Raises
    ------
    InputError
        With every problem, the variant named in each.
    """
    try:
        return read_scenario(variant.folder, variant.alterations)
    except InputError as error:
        raise _of(variant, error) from None


def outcome_of(
    variant: Variant, *, units: str | None = None, time_limit: float | None = None
) -> Outcome:
    """Plan a variant and prove the plan.

    Parameters
    ----------
    variant
        What to plan.
    units
        Units of what a refusal shows, instead of the scenario's own.
    time_limit
        Most time for the solver, none where None. [s]

    Returns
    -------
    outcome
        With figures, or with the reason why there is no plan.

    Raises
    ------
    InputError
        If the scenario or its road has faults, the variant named in each.
    InternalError
        If the solver or the proof fails.
    """
    scenario = read_variant(variant)
    if units is not None:
        scenario = replace(scenario, file=scenario.file.model_copy(update={"units": units}))
    file = scenario.file
    found: Tally | None = None
    refusal = ""
    try:
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        plan = make_plan(scenario, route, demand, time_limit=time_limit, telling="refusals")
        found = tally(plan, replay(scenario, route, demand, plan))
    except InputError as error:
        raise _of(variant, error) from None
    except NoPlanError as error:
        refusal = str(error).partition("\n")[0].removeprefix("no plan: ")
    except InternalError as error:
        raise InternalError(f"variant '{variant.name}': {error}") from error
    return Outcome(
        variant=variant, units=file.units, date=file.date, currency=file.currency,
        aim=file.aim.first or "weighted", tally=found, refusal=refusal,
    )  # fmt: skip


def tally(plan: Plan, trace: Trace) -> Tally:
    """A plan in figures.

    Parameters
    ----------
    plan
        To be compared.
    trace
        Of its replay.

    Returns
    -------
    tally
        What it takes in time, water, coal and money.
    """
    between = plan.stops[1:-1]
    tanks = [*zip(trace.tank, trace.distance, strict=True)]
    tanks += [(stop.tank_arrive, stop.distance) for stop in plan.stops[1:]]
    least, at = min(tanks)
    coal = min(*trace.bunker, *(stop.bunker_arrive for stop in plan.stops[1:]))
    return Tally(
        depart=plan.stops[0].depart,
        arrive=plan.arrival,
        days=plan.stops[-1].day,
        stops=len(between),
        driving=sum(leg.duration for leg in plan.legs) + sum(s.access_time for s in between),
        standing=sum(stop.stay for stop in between),
        resting=sum(stop.night for stop in between if stop.fire is not None),
        water=sum(leg.water for leg in plan.legs) + sum(map(_water_at, plan.stops)),
        coal=sum(leg.coal for leg in plan.legs) + sum(map(_coal_at, plan.stops)),
        money=plan.money,
        margin_water=least - plan.reserve_water,
        margin_coal=coal - plan.reserve_coal,
        margin_at=at,
        proven=plan.proven,
        gap=plan.gap,
    )


def _water_at(stop: Stop) -> float:
    """Water a stop takes of the engine itself [kg]."""
    lost = stop.access_water + stop.blown_down + stop.drained
    return stop.water_standing + stop.night_water + lost


def _coal_at(stop: Stop) -> float:
    return stop.coal_standing + stop.night_coal + stop.access_coal


def _of(variant: Variant, error: InputError) -> InputError:
    """The problems with the variant's name before them."""
    name = f"variant '{variant.name}'"
    return InputError([replace(one, file=f"{name}: {one.file}") for one in error.problems])
