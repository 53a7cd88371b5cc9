"""The demand of a road stretch by stretch, as an engineer checks it line by line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import DEFAULTS, SURFACES, WEATHER, Assumption
from haulplan.demand.glass import Crest, find_crests
from haulplan.demand.haul import LIMITS, Haul
from haulplan.demand.hills import Descent, Hill, find_descents, find_hills
from haulplan.demand.plant import banking_coal, lighting_up_coal
from haulplan.demand.segment import choose_gears, haul_on, road_warnings
from haulplan.demand.uncertainty import Band, band_of, deviates_at, sensitivities
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = [
    "PROCESSION",
    "Stretch",
    "Survey",
    "deviates_for",
    "learned_from_logs",
    "rests_on",
    "survey",
]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: Stretches are not cut finer than this. [m]
_LEAST_LENGTH = 150.0
#: Walking pace of a procession. [m s⁻¹]
PROCESSION = 2 * 0.44704


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """One stretch: sums over its length, means over its time, the most pull.

    `limit` names what holds the speed longest: gear, road or steam. [m], [s], [kg], SI.
    """

    begin: float
    end: float
    name: str
    climb: float
    descent: float
    grade: float
    surface: str
    gear: str
    speed: float
    pull: float
    power: float
    steam: float
    water: float
    coal: float
    duration: float
    limit: str


@dataclass(frozen=True, kw_only=True)
class Survey:
    """The whole road: stretches, hills with their price, crests, totals with their band.

    `cleaning_coal` is the part of the stretches' coal that cleaning the fire costs [kg];
    `procession_water` and `procession_coal` are use at 2 mph were the road level [kg s⁻¹].
    """

    aboard: float
    pessimism: float | None
    stretches: tuple[Stretch, ...]
    hills: tuple[Hill, ...]
    descents: tuple[Descent, ...]
    crests: tuple[Crest, ...]
    water: Band
    coal: Band
    duration: Band
    cleaning_coal: float
    standing_water: float
    standing_coal: float
    procession_water: float
    procession_coal: float
    lighting_up_coal: float
    banking_coal: float
    best_steam: float
    full_pull: float
    grip_pull: float
    warnings: tuple[str, ...]


def survey(
    scenario: Scenario, route: Route, *, aboard: float | None = None, pessimism: float | None = None
) -> Survey:
    """Reckon the demand of a road at one load, with how far it may be off.

    Parameters
    ----------
    scenario, route
        With engine, fuel and heights.
    aboard
        Water and coal aboard throughout; tank and bunkers full where None. [kg]
    pessimism
        Chance that the truth is no thirstier; typical figures where None. [-]

    Returns
    -------
    survey
        Stretches in driving order, and what the engine and its boiler can do.

    Raises
    ------
    ValueError
        If the scenario has no engine or fuel, or the pessimism is out of range.
    """
    stores = scenario.file.stores
    load = stores.tank + stores.bunker if aboard is None else aboard
    deviates = deviates_for(scenario, route, pessimism)
    haul, _ = haul_on(scenario, route, deviates)
    carried = np.full(haul.length.size, load)
    gear = choose_gears(haul, carried)
    typical, _ = haul_on(scenario, route)
    kept = choose_gears(typical, carried)
    bands = [_band(scenario, route, carried, kept, name) for name in ("water", "coal", "duration")]
    engine, fuel = scenario.file.engine, scenario.file.fuel
    assert engine is not None
    assert fuel is not None
    lowest = len(haul.gears) - 1
    procession = _procession(haul, carried)
    return Survey(
        aboard=load,
        pessimism=pessimism,
        stretches=_stretches(route, haul, carried, gear),
        hills=find_hills(haul, route.distance, carried, gear),
        descents=find_descents(haul, route.distance),
        crests=find_crests(route.distance, route.elevation, engine.glass),
        water=bands[0],
        coal=bands[1],
        duration=bands[2],
        cleaning_coal=_cleaning(haul, carried, gear),
        standing_water=haul.standing_water,
        standing_coal=haul.standing_coal,
        procession_water=procession[0],
        procession_coal=procession[1],
        lighting_up_coal=lighting_up_coal(engine, fuel.heating_value, scenario.file.conditions),
        banking_coal=banking_coal(engine),
        best_steam=haul.boiler.best,
        full_pull=float(haul.steam_pull(lowest)),
        grip_pull=float(haul.grip_pull(load).min()),
        warnings=road_warnings(scenario, route, haul, carried, gear),
    )


def _cleaning(haul: Haul, carried: Array, gear: Gears) -> float:
    """Coal lost with the clinker and in making up the fire, under way [kg]."""
    share = haul.boiler.cleaning / (1.0 + haul.boiler.cleaning)
    return share * float(haul.evaluate(carried, gear).coal.sum())


def _procession(haul: Haul, carried: Array) -> tuple[float, float]:
    """Water and coal of walking pace on the road's surfaces, were they level [kg s⁻¹]."""
    pace = np.minimum(haul.road_limit, PROCESSION)
    level = replace(haul, grade=np.zeros_like(haul.grade), road_limit=pace)
    use = level.evaluate(carried, choose_gears(level, carried))
    total = float(use.duration.sum())
    return float(use.water.sum()) / total, float(use.coal.sum()) / total


def _names() -> list[str]:
    rolling = [f"{s}, {tyre} tyre" for s in SURFACES for tyre in ("rubber", "steel")]
    weather = [f"{w}, {kind} road" for w in WEATHER if w != "dry" for kind in ("hard", "soft")]
    return [*DEFAULTS, *rolling, *weather]


def _result(scenario: Scenario, route: Route, carried: Array, gear: Gears, name: str) -> "_Total":
    return _Total(scenario=scenario, route=route, carried=carried, gear=gear, name=name)


@dataclass(frozen=True, kw_only=True)
class _Total:
    """One total of the road as a function of the defaults' deviates."""

    scenario: Scenario
    route: Route
    carried: Array
    gear: Gears
    name: str

    def __call__(self, deviates: Mapping[str, float]) -> float:
        haul, _ = haul_on(self.scenario, self.route, deviates)
        return float(getattr(haul.evaluate(self.carried, self.gear), self.name).sum())


def rests_on(assumptions: Sequence[Assumption]) -> list[str]:
    """Names of the defaults with a band among what was assumed.

    Parameters
    ----------
    assumptions
        That a steam model used.

    Returns
    -------
    names
        As `deviates` of the model wants them, in the order of the defaults.
    """
    used = {item.name for item in assumptions}
    return [name for name in _names() if name.replace("_", " ") in used]


def _used(scenario: Scenario, route: Route) -> list[str]:
    """Names of the defaults this scenario rests on."""
    return rests_on(haul_on(scenario, route)[1])


def _band(scenario: Scenario, route: Route, carried: Array, gear: Gears, name: str) -> Band:
    own = [] if name == "duration" else learned_from_logs(scenario)
    names = own or _used(scenario, route)
    return band_of(_result(scenario, route, carried, gear, name), names)


def learned_from_logs(scenario: Scenario) -> list[str]:
    """The factors learned from logs, whose spread stands for that of the defaults.

    Parameters
    ----------
    scenario
        With or without them in [engine].

    Returns
    -------
    names
        None at all where nothing was learned.
    """
    engine = scenario.file.engine
    if engine is None or not (engine.water_factor or engine.coal_factor):
        return []
    return ["water_factor", "coal_factor"]


def deviates_for(scenario: Scenario, route: Route, pessimism: float | None) -> dict[str, float]:
    """Standard deviations of the defaults at a stated pessimism of the road's water.

    Parameters
    ----------
    scenario, route
        With engine, fuel and heights.
    pessimism
        Chance that the truth is no thirstier; typical figures where None. [-]

    Returns
    -------
    deviates
        By default's name; empty at typical figures.

    Raises
    ------
    ValueError
        If the pessimism is not between 0 and 1.
    """
    if pessimism is None:
        return {}
    if own := learned_from_logs(scenario):
        if not 0.0 < pessimism < 1.0:
            raise ValueError("a pessimism lies between 0 % and 100 %, ends excluded")
        return dict.fromkeys(own, NormalDist().inv_cdf(pessimism))
    stores = scenario.file.stores
    haul, _ = haul_on(scenario, route)
    carried = np.full(haul.length.size, stores.tank + stores.bunker)
    gear = choose_gears(haul, carried)
    total = _result(scenario, route, carried, gear, "water")
    return deviates_at(sensitivities(total, _used(scenario, route)), pessimism)


def _stretches(route: Route, haul: Haul, carried: Array, gear: Gears) -> tuple[Stretch, ...]:
    use, state = haul.evaluate(carried, gear), haul.state(carried, gear)
    rise = np.diff(route.elevation)
    stretches = []
    for first, last in _cuts(route, gear):
        own = slice(first, last)
        duration, length = use.duration[own], haul.length[own]
        total = float(duration.sum())
        share = [float(duration[state.limit[own] == k].sum()) for k in range(len(LIMITS))]
        begin, end = float(route.distance[first]), float(route.distance[last])
        stretches.append(
            Stretch(
                begin=begin,
                end=end,
                name=_place(route, begin),
                climb=float(np.maximum(rise[own], 0.0).sum()),
                descent=float(np.maximum(-rise[own], 0.0).sum()),
                grade=float(rise[own].sum() / length.sum()),
                surface=route.surface[first],
                gear=haul.gears[gear[first]],
                speed=float(length.sum()) / total,
                pull=float(state.force[own].max()),
                power=float((state.power[own] * duration).sum()) / total,
                steam=float((state.evaporation[own] * duration).sum()) / total,
                water=float(use.water[own].sum()),
                coal=float(use.coal[own].sum()),
                duration=total,
                limit=LIMITS[int(np.argmax(share))],
            )
        )
    return tuple(stretches)


def _cuts(route: Route, gear: Gears) -> list[tuple[int, int]]:
    """Samples at which stretches begin and end: places, gears, surfaces, main grades."""
    surface = np.array(route.surface)
    marks = {0, gear.size}
    marks |= set((np.flatnonzero(np.diff(gear)) + 1).tolist())
    marks |= set((np.flatnonzero(surface[1:] != surface[:-1]) + 1).tolist())
    firm = sorted(marks)
    for passing in route.passings:
        sample = route.index(passing.distance)
        if min(abs(route.distance[sample] - route.distance[m]) for m in firm) >= _LEAST_LENGTH:
            firm = sorted({*firm, sample})
    return [(a, b) for a, b in pairwise(firm) if b > a]


def _place(route: Route, distance: float) -> str:
    """The last place met at or before a distance."""
    met = [p for p in route.passings if p.distance <= distance + 1e-6]
    return met[-1].label if met else "start"
