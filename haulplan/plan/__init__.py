"""Choose stops and amounts, and write the plan."""

from collections.abc import Callable

from haulplan.demand import Demand
from haulplan.plan.plan import (
    Crest,
    Crossing,
    Day,
    Fallback,
    Leg,
    Plan,
    Stop,
    Telling,
    Thirst,
    Trace,
)
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim

__all__ = [
    "Crest",
    "Crossing",
    "Day",
    "Fallback",
    "Leg",
    "Plan",
    "Stop",
    "Thirst",
    "Trace",
    "make_plan",
    "may_have_plan",
]


def make_plan(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    *,
    aim: Aim | None = None,
    time_limit: float | None = None,
    survive: bool = False,
    telling: Telling = "all",
    progress: Callable[[str], None] = lambda _: None,
) -> Plan:
    """The best plan for an aim.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    aim
        What to be best at; the scenario's own where None.
    time_limit
        Most time for the solver in all, none where None. [s]
    survive
        True for a plan that leaves a way on whichever one of its stops is found shut.
    telling
        What is found out besides the plan: what to do where a stop is found shut, and why
        there is none ("all"), the latter only, or nothing; each takes longer than a plan.
        The error of a plan that tells nothing can be asked later why.
    progress
        Told what is being done.

    Returns
    -------
    plan
        To be proved by `haulplan.replay.replay` before anybody acts on it.

    Raises
    ------
    NoPlanError
        If no choice of stops keeps every limit; names the stretch and the shortfall.
    InternalError
        If the solver fails.
    """
    from haulplan.plan.solve import solve  # noqa: PLC0415  the solver loads when needed
    from haulplan.plan.thirst import plan_for_thirst  # noqa: PLC0415  as above
    from haulplan.plan.timetable import write_plan  # noqa: PLC0415  as above

    def plan_with(reserved: Scenario) -> Plan:
        solution = solve(
            reserved,
            route,
            demand,
            aim=aim,
            time_limit=time_limit,
            survive=survive,
            telling=telling,
            progress=progress,
        )
        return write_plan(reserved, route, demand, solution)

    if scenario.file.risk is None:
        return plan_with(scenario)
    return plan_for_thirst(scenario, demand, scenario.file.risk, plan_with)


def may_have_plan(scenario: Scenario, route: Route, demand: Demand) -> bool:
    """Whether there may be a plan at all, found out far sooner than the plan.

    Parameters
    ----------
    scenario, route, demand
        The problem; its `[risk]` is left out of account.

    Returns
    -------
    may
        False where `make_plan` finds none; True promises nothing.
    """
    from haulplan.plan.solve import may_have_plan as may  # noqa: PLC0415  as above

    return may(scenario, route, demand)
