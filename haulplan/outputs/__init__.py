"""What leaves haulplan: tables, map, chart and files."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from haulplan.plan.plan import Plan, Trace

if TYPE_CHECKING:
    from haulplan.demand import Demand
    from haulplan.route import Route
    from haulplan.scenario import Scenario
    from haulplan.units import UnitSystem

__all__ = ["all_outputs"]


def all_outputs(
    scenario: "Scenario",
    route: "Route",
    plan: Plan,
    trace: Trace,
    system: "UnitSystem",
    demand: "Demand | None" = None,
) -> Mapping[str, str | bytes]:
    """Every file of a plan by its name; the map only where the road has coordinates.

    Parameters
    ----------
    scenario, route, plan
        The problem and its proved plan.
    trace
        Levels along the way, from the replay.
    system
        Units of what is shown; plan.json is in SI.
    demand
        The demand the plan was made with; the scenario's own where None.

    Returns
    -------
    files
        Text or bytes by file name.
    """
    from haulplan.outputs import charts, exchange, maps, navigation, tables  # noqa: PLC0415  lazy start
    from haulplan.outputs.diary import plan_calendar  # noqa: PLC0415  as above
    from haulplan.outputs.roadbook import open_book  # noqa: PLC0415  as above
    from haulplan.outputs.sheets import draw_sheets  # noqa: PLC0415  as above
    from haulplan.outputs.workbook import plan_workbook  # noqa: PLC0415  as above

    book = open_book(scenario, route, plan, system, demand)
    files: dict[str, str | bytes] = {
        **draw_sheets(book),
        "plan.xlsx": plan_workbook(book),
        "plan.ics": plan_calendar(book),
        "stops.csv": tables.stops_csv(scenario, plan, system),
        "legs.csv": tables.legs_csv(scenario, plan, system),
        "plan.json": exchange.plan_json(scenario, route, plan),
        "profile.svg": charts.draw_profile(scenario, route, plan, trace, system),
    }
    if route.line is not None:
        files["plan.gpx"] = navigation.route_gpx(scenario, route, plan, system)
        files["plan.geojson"] = navigation.plan_geojson(scenario, route, plan, system)
        files["map.html"] = maps.draw_map(scenario, route, plan, system, book)
    return files
