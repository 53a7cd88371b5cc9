"""Use of water, coal and time along a route."""

from haulplan.demand.demand import Begun, Choice, Demand, Linear, Use, linearise
from haulplan.demand.measured import measured_demand
from haulplan.demand.outfit import fit_out
from haulplan.demand.segment import steam_demand
from haulplan.demand.stretches import deviates_for
from haulplan.route import Route
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
    if scenario.demand:
        return fit_out(measured_demand(scenario, route), scenario, route)
    share = scenario.file.pessimism if pessimism is None else pessimism
    deviates = deviates_for(scenario, route, share)
    return fit_out(steam_demand(scenario, route, deviates), scenario, route, deviates)
