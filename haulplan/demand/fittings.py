"""What the planner must know of engine and places besides the use of the road."""

from dataclasses import replace

from haulplan.demand.axles import axle_loads, groups
from haulplan.demand.boiler import blowdown_share
from haulplan.demand.daylight import wheel_hours
from haulplan.demand.defaults import DEFAULTS
from haulplan.demand.demand import BoilerStore, Demand, Serving
from haulplan.demand.glass import find_crests
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import WATER_DENSITY

__all__ = ["fit_out"]


def fit_out(scenario: Scenario, route: Route, demand: Demand) -> Demand:
    file = scenario.file
    engine = file.engine
    cart = next((s.name for s in scenario.stores if s.kind == "cart"), None)
    axles = axle_loads(engine, file.train.wagons, cart)
    boiler, crests = None, ()
    if engine is not None and engine.glass is not None:
        glass = engine.glass
        if glass.working_level is not None and glass.highest_level is not None and engine.feed_rate:
            room = (glass.highest_level - glass.working_level) * glass.surface_area * WATER_DENSITY
            boiler = BoilerStore(room=room, feed=engine.feed_rate)
            crests = tuple(
                c
                for c in find_crests(route.distance, route.elevation, glass)
                if c.above_working > 0
            )
    nights = file.nights
    return replace(
        demand,
        hours=wheel_hours(scenario, route),
        serving=tuple(
            Serving(
                water=s.water_rate,
                coal=s.coal_rate,
                blowdown=0.0
                if s.solids is None
                else blowdown_share(s.solids, DEFAULTS["blowdown_limit"].value),
            )
            for s in scenario.supplies
        ),
        nights={
            "banked": (nights.banked_water or 0.0, nights.banked_coal or 0.0),
            "dropped": (nights.dropped_water or 0.0, nights.dropped_coal or 0.0),
        },
        leads=(file.lighting_up.cold or 0.0, file.lighting_up.banked or 0.0),
        engine_weight=None if engine is None else engine.weight,
        axles=axles,
        tandems=groups(axles),
        boiler=boiler,
        crests=crests,
    )
