"""Engine and train apart from the road's use: axles, the boiler's own store, fires."""

from collections.abc import Mapping
from dataclasses import replace

from haulplan.demand.access import access_assumptions, access_use, turning_assumptions
from haulplan.demand.axles import axle_loads, groups
from haulplan.demand.daylight import wheel_hours
from haulplan.demand.defaults import STOPS, Assumption
from haulplan.demand.demand import Demand, Serving
from haulplan.demand.fires import fires_of
from haulplan.demand.glass import boiler_room, crest_water
from haulplan.demand.plant import Figures, make_boiler
from haulplan.demand.resistance import standard_air
from haulplan.demand.serving import serving_assumptions, serving_rates
from haulplan.demand.waters import water_assumptions, water_of
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["fit_out"]


def fit_out(
    demand: Demand,
    scenario: Scenario,
    route: Route,
    deviates: Mapping[str, float] | None = None,
) -> Demand:
    """The demand with what a plan needs of engine and train besides.

    Parameters
    ----------
    demand
        Of the road.
    scenario, route
        The problem.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.

    Returns
    -------
    demand
        With axles, the engine's weight, feed, crests, fires, places and what they assume.
    """
    file = scenario.file
    engine = file.engine
    glass = None if engine is None else engine.glass
    carts = [store.name for store in scenario.stores if store.kind == "cart"]
    crests = crest_water(route.distance, route.elevation, glass) if route.has_heights else ()
    fires = fires_of(file)
    feed = _feed_rate(scenario, route)
    known = {assumption.name for assumption in demand.assumptions}
    assumptions = [*demand.assumptions, *fires.assumptions, *serving_assumptions(scenario)]
    more = (
        *access_assumptions(scenario),
        *turning_assumptions(scenario),
        *water_assumptions(scenario),
    )
    assumptions += [a for a in more if a.name not in known]
    if crests and engine is not None and engine.feed_rate is None:
        default = STOPS["feed_over_best"]
        assumptions.append(
            Assumption(name="feed of one injector", value=default.shown, source=default.origin)
        )
    axles = axle_loads(engine, file.train.wagons, carts[0] if len(carts) == 1 else None)
    altitude = float(route.elevation.mean()) if route.has_heights else 0.0

    def access(row: int, aboard: float) -> tuple[float, float, float]:
        return access_use(
            scenario, scenario.supplies[row], aboard, altitude=altitude, deviates=deviates
        )

    return replace(
        demand,
        axles=axles,
        tandems=groups(axles),
        serving=_serving(scenario, altitude),
        access=access,
        hours=wheel_hours(scenario, route),
        engine_weight=None if engine is None else engine.weight,
        feed_rate=feed,
        crests=crests,
        boiler_room=boiler_room(glass),
        leads=fires.leads,
        banked=fires.banked,
        dropped=fires.dropped,
        assumptions=tuple(assumptions),
    )


def _serving(scenario: Scenario, altitude: float) -> tuple[Serving, ...]:
    """Rates, and what each supply's water asks."""
    waters = [water_of(scenario.file, supply) for supply in scenario.supplies]
    return tuple(
        Serving(
            water=water,
            coal=coal,
            blowdown=asks.blowdown,
            strain=asks.strain,
            most=asks.most,
        )
        for asks, (water, coal) in zip(waters, serving_rates(scenario, altitude), strict=True)
    )


def _feed_rate(scenario: Scenario, route: Route) -> float | None:
    """The owner's, else from the boiler's best; None where neither is known."""
    file = scenario.file
    engine = file.engine
    if engine is None or engine.feed_rate is not None or file.fuel is None:
        return None if engine is None else engine.feed_rate
    air, _ = standard_air(float(route.elevation.mean()))
    boiler = make_boiler(
        engine, file.fuel.heating_value, file.conditions, Figures(engine, {}), engine.pressure + air
    )
    return STOPS["feed_over_best"].value * boiler.best
