"""Use of water, coal and time along a route."""

from dataclasses import replace

from haulplan.demand.demand import Begun, Choice, Demand, Linear, Use, linearise
from haulplan.demand.measured import measured_demand, mirrored
from haulplan.demand.outfit import fit_out
from haulplan.demand.parts import cut
from haulplan.demand.segment import steam_demand
from haulplan.demand.stretches import deviates_for
from haulplan.errors import NoPlanError
from haulplan.route import Route
from haulplan.route.turned import reverse, stretch
from haulplan.scenario import Scenario

__all__ = ["Begun", "Choice", "Demand", "Linear", "Use", "build_demand", "linearise"]


def build_demand(scenario: Scenario, route: Route, *, pessimism: float | None = None) -> Demand:
    """Use along the route: from demand.csv where the scenario has one, else from steam.

    Parameters
    ----------
    scenario
        A checked scenario.
    route
        Its road.
    pessimism
        Chance that the truth is no thirstier than the steam model says; the scenario's
        own where None. Measured use is taken as given. [-]

    Returns
    -------
    demand
        Use segment by segment as a function of what is aboard.

    Raises
    ------
    InputError
        If demand.csv does not cover the road once.
    NoPlanError
        If a hill holds the train in no gear.
    """
    demand = _one_way(scenario, route, pessimism)

    def back(first: int, last: int) -> Demand | None:
        return _back(scenario, route, demand, pessimism, first, last)

    return replace(demand, back=back)


def _one_way(scenario: Scenario, route: Route, pessimism: float | None) -> Demand:
    if scenario.demand:
        return fit_out(measured_demand(scenario, route), scenario, route)
    share = scenario.file.pessimism if pessimism is None else pessimism
    deviates = deviates_for(scenario, route, share)
    return fit_out(steam_demand(scenario, route, deviates), scenario, route, deviates)


def _back(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    pessimism: float | None,
    first: int,
    last: int,
) -> Demand | None:
    """The road in reverse: measured if demand.csv has rows of the way back, else from steam."""
    if scenario.demand:
        if not scenario.demand_back:
            return None
        turned = replace(scenario, demand=mirrored(scenario.demand_back, route.length))
        whole = _one_way(turned, reverse(route), None)
        ends = route.length - demand.distance[[last, first]]
        return cut(whole, *(whole.index(float(end)) for end in ends))
    plain = replace(scenario, file=scenario.file.model_copy(update={"paces": ()}))
    try:
        return _one_way(plain, reverse(stretch(route, first, last)), pessimism)
    except NoPlanError:
        return None
