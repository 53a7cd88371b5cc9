"""The steam model on a scenario's road: gears, hills that bound the load, use per segment."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import DEFAULTS, Assumption
from haulplan.demand.demand import Demand
from haulplan.demand.haul import Haul, Road, assemble
from haulplan.demand.hills import refuse_hills
from haulplan.demand.paces import at_paces
from haulplan.demand.plant import lighting_up_coal
from haulplan.route import Line, Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import ScenarioFile
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "choose_gears",
    "haul_on",
    "haul_over",
    "heaviest_aboard",
    "paces_of",
    "road_of",
    "road_warnings",
    "steam_demand",
]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: A corner: the road turns by so much [rad] within so far [m].
_TURN, _WITHIN = 1.0, 25.0
#: Feed hotter than this fails most injectors. [K]
_HOT_FEED = 310.93
#: A steam lifter warms the water by so much (a maker's test: 10 °F at 5 ft of lift). [K]
_LIFTER_RISE = 5.56
#: Water over coal that runs an engine: good coal 5 to 10, in proportion to its heat [J kg⁻¹];
#: wood 2 to 4 when dry, from memory: 2½ lb of it do what 1 lb of coal does.
_RATIOS = {"coal": (5.0, 10.0, 13000 * 2326.0), "wood": (2.0, 4.0, 7000 * 2326.0)}


def steam_demand(
    scenario: Scenario, route: Route, deviates: Mapping[str, float] | None = None
) -> Demand:
    """Use along the route from the steam model.

    Parameters
    ----------
    scenario
        With engine, fuel and train.
    route
        With heights.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.

    Returns
    -------
    demand
        One gear for each segment: the fastest the heaviest train can keep, none changed
        that gains less time than the change takes, the lowest on steep descents. Where the
        scenario names several paces, each stretch is a choice of its efficient ones.

    Raises
    ------
    NoPlanError
        If a hill is too steep in the lowest gear even with the tank near empty.
    """
    paces = paces_of(scenario)
    haul, assumptions = haul_on(scenario, route, deviates, pace=paces[0])
    stores = scenario.file.stores
    full = stores.tank + stores.bunker
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    heaviest = heaviest_aboard(haul, least)
    refuse_hills(scenario, route, haul, heaviest, least)
    fullest = np.minimum(full, heaviest)
    gear = choose_gears(haul, fullest)
    engine, fuel = scenario.file.engine, scenario.file.fuel
    assert engine is not None
    assert fuel is not None
    demand = Demand(
        distance=route.distance,
        gears=haul.gears,
        gear=gear,
        choices=(),
        heaviest=np.where(heaviest >= full, np.inf, heaviest),
        evaluate=haul.evaluate,
        dry_weight=haul.engine_mass + haul.train_mass,
        standing_water=haul.standing_water,
        standing_coal=haul.standing_coal,
        lighting_up_coal=lighting_up_coal(engine, fuel.heating_value, scenario.file.conditions),
        assumptions=(*_from_kinds(scenario), *assumptions),
        warnings=road_warnings(scenario, route, haul, fullest, gear),
    )
    # a slower train rolls no harder, so the fastest pace's hills bound them all
    slower = [haul_on(scenario, route, deviates, pace=pace)[0] for pace in paces[1:]]
    return at_paces(
        scenario,
        route,
        demand,
        [haul, *slower],
        [gear, *(choose_gears(other, fullest) for other in slower)],
        paces,
    )


def paces_of(scenario: Scenario) -> tuple[float, ...]:
    """Shares of each gear's speed that may be driven, the fastest first.

    Parameters
    ----------
    scenario
        With or without paces.

    Returns
    -------
    paces
        Each once; full pace where none is named. [-]

    Examples
    --------
    >>> from types import SimpleNamespace as Like
    >>> paces_of(Like(file=Like(paces=(0.8, 1.0, 0.8))))
    (1.0, 0.8)
    """
    return tuple(sorted(set(scenario.file.paces), reverse=True)) or (1.0,)


def _from_kinds(scenario: Scenario) -> list[Assumption]:
    """Figures of engine and fuel taken from their class, for want of the owner's."""
    kinds = {"engine": scenario.file.engine, "fuel": scenario.file.fuel}
    return [
        Assumption(
            name=key, value=value,
            source=f"assumption: typical of {getattr(kinds[key.partition('.')[0]], 'kind', '')}",
        )
        for key, value in scenario.filled.items()
    ]  # fmt: skip


def haul_on(
    scenario: Scenario,
    route: Route,
    deviates: Mapping[str, float] | None = None,
    *,
    pace: float | None = None,
) -> tuple[Haul, tuple[Assumption, ...]]:
    """Engine, train, fuel and weather of a scenario on its road.

    Parameters
    ----------
    scenario, route
        The problem, with engine and fuel.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.
    pace
        Share of each gear's speed that is driven; the fastest of the scenario where None. [-]

    Returns
    -------
    haul
        Ready to be evaluated.
    assumptions
        Every default used.

    Raises
    ------
    ValueError
        If the scenario has no engine or no fuel.
    """
    return haul_over(scenario, road_of(scenario, route), deviates, pace=pace)


def haul_over(
    scenario: Scenario,
    road: Road,
    deviates: Mapping[str, float] | None = None,
    *,
    pace: float | None = None,
) -> tuple[Haul, tuple[Assumption, ...]]:
    """Engine, train, fuel and weather of a scenario on any road.

    Parameters
    ----------
    scenario
        With engine and fuel.
    road
        The segments.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.
    pace
        Share of each gear's speed that is driven; the fastest of the scenario where None. [-]

    Returns
    -------
    haul
        Ready to be evaluated.
    assumptions
        Every default used.

    Raises
    ------
    ValueError
        If the scenario has no engine or no fuel.
    """
    file = scenario.file
    if file.engine is None or file.fuel is None:
        raise ValueError("the steam model needs the scenario's engine and fuel")
    share = paces_of(scenario)[0] if pace is None else pace
    gears = [g.model_copy(update={"speed": g.speed * share}) for g in file.engine.gears]
    return assemble(
        file.engine.model_copy(update={"gears": tuple(gears)}),
        file.fuel.heating_value,
        file.train.wagons,
        file.conditions,
        road,
        deviates=deviates,
        standing_water=file.standing_water,
        standing_coal=file.standing_coal,
    )


def road_of(scenario: Scenario, route: Route) -> Road:
    """The route's segments as the steam model sees them.

    Parameters
    ----------
    scenario
        For the day's wind.
    route
        With heights.

    Returns
    -------
    road
        Segments of the route, in order.
    """
    count = route.grade.size
    sharp, heading = np.zeros(count, dtype=bool), None
    if route.line is not None:
        heading = _heading(route.line, route.distance)
        sharp = _corners(heading, route.distance)
    conditions = scenario.file.conditions
    headwind = np.full(count, conditions.wind_speed)
    if conditions.wind_from is not None and heading is not None:
        headwind = conditions.wind_speed * np.cos(heading - np.radians(conditions.wind_from))
    return Road(
        length=np.diff(route.distance),
        grade=route.grade,
        surface=route.surface,
        speed_limit=route.speed_limit,
        sharp=sharp,
        headwind=headwind,
        altitude=float(route.elevation.mean()),
    )


def _heading(line: Line, distance: Array) -> Array:
    """Direction of each segment, clockwise from north [rad]."""
    turn = np.unwrap(np.radians(line.longitude))
    latitude = np.interp(distance, line.distance, line.latitude)
    east = np.diff(np.interp(distance, line.distance, turn)) * np.cos(np.radians(latitude[:-1]))
    heading: Array = np.arctan2(east, np.diff(np.radians(latitude)))
    return heading


def _corners(heading: Array, distance: Array) -> NDArray[np.bool_]:
    """Segments within a corner."""
    middle = (distance[:-1] + distance[1:]) / 2
    turned = np.unwrap(heading)
    ahead = np.interp(middle + _WITHIN / 2, middle, turned)
    behind = np.interp(middle - _WITHIN / 2, middle, turned)
    corner: NDArray[np.bool_] = np.abs(ahead - behind) > _TURN
    return corner


def heaviest_aboard(haul: Haul, least: float) -> Array:
    """Most water and coal aboard with which the lowest gear holds each segment.

    Parameters
    ----------
    haul
        Engine and train on the road.
    least
        Aboard when grip is looked at, the reserves. [kg]

    Returns
    -------
    heaviest
        Shape (segments,): infinite where anything passes, below zero where nothing does. [kg]
    """
    lowest = len(haul.gears) - 1
    limit = float(haul.most_pull(lowest))
    empty = haul.force(0.0, lowest)
    per_mass = (haul.force(1000.0, lowest) - empty) / 1000.0
    with np.errstate(divide="ignore", invalid="ignore"):
        heaviest = np.where(per_mass > 0, (limit - empty) / per_mass, np.inf)
    slipping = haul.force(least, lowest) > haul.grip_pull(least)
    return np.where(slipping, -np.inf, heaviest)


def choose_gears(haul: Haul, aboard: Array) -> Gears:
    """Fastest gear that holds at the heaviest, changes spared; index 0 is the fastest.

    Parameters
    ----------
    haul
        Engine and train on the road.
    aboard
        The most water and coal that may be aboard at each segment, shape (segments,). [kg]

    Returns
    -------
    gear
        Of each segment, shape (segments,).
    """
    count = len(haul.gears)
    pace = np.full((count, aboard.size), np.inf)
    for number in range(count):
        gear = np.full(aboard.size, number)
        holds = haul.force(aboard, gear) <= haul.steam_pull(number)
        if number < count - 1:
            holds &= haul.grade >= -haul.low_descent
        pace[number, holds] = 1.0 / haul.state(aboard, gear).speed[holds]
    pace[-1, ~np.isfinite(pace[-1])] = 1e9
    wanted = np.argmin(np.round(pace, 9), axis=0).astype(np.int64)
    return _spare_changes(wanted, pace * haul.length, haul.change)


def _spare_changes(wanted: Gears, time: Array, change: float) -> Gears:
    """Drop runs in a gear that gain less time than their changes take.

    `time` is what each segment takes in each gear, infinite where it does not hold.
    """
    gear = wanted.copy()
    while True:
        cuts = np.flatnonzero(np.diff(gear)) + 1
        begins, ends = np.r_[0, cuts], np.r_[cuts, gear.size]
        best: tuple[float, int, int, int] | None = None
        for a, b in zip(begins.tolist(), ends.tolist(), strict=True):
            beside = [int(gear[i]) for i in (a - 1, b) if 0 <= i < gear.size]
            own = float(time[gear[a], a:b].sum())
            for other in set(beside):
                gain = beside.count(other) * change - (float(time[other, a:b].sum()) - own)
                if gain > 0 and (best is None or gain > best[0]):
                    best = (gain, a, b, other)
        if best is None:
            return gear
        gear[best[1] : best[2]] = best[3]


def road_warnings(
    scenario: Scenario, route: Route, haul: Haul, aboard: Array, gear: Gears
) -> tuple[str, ...]:
    """What a crew should be told of the road, and of figures that look wrong.

    Parameters
    ----------
    scenario, route, haul
        The problem, with fuel.
    aboard
        The most water and coal that may be aboard at each segment, shape (segments,). [kg]
    gear
        Of each segment, shape (segments,).

    Returns
    -------
    warnings
        Each in one line.
    """
    file = scenario.file
    use = haul.evaluate(aboard, gear)
    ratio = float(use.water.sum() / use.coal.sum())
    return (*_of_descents(scenario, route, haul), *_of_feed(scenario), *_of_ratio(file, ratio))


def _of_feed(scenario: Scenario) -> list[str]:
    feed = scenario.file.conditions.feed_temperature
    if (feed or 0.0) > _HOT_FEED:
        return ["feed above 100 °F: most injectors refuse it; cool the tank or pump"]
    lifters = [s.name for s in scenario.supplies if "lift" in s.kind.casefold()]
    if lifters and (feed or DEFAULTS["feed_temperature"].value) + _LIFTER_RISE > _HOT_FEED:
        return [
            f"a steam lifter warms the tank by about 10 °F, and feed above 100 °F fails most "
            f"injectors: see to it at {lifters[0]}"
        ]
    return []


def _of_ratio(file: ScenarioFile, ratio: float) -> list[str]:
    """Water over coal of running use beside what the fuel's heat usually gives."""
    assert file.fuel is not None
    fuel = "wood" if (file.fuel.kind or "").endswith("wood") else "coal"
    low, high, heat = _RATIOS[fuel]
    low, high = (bound * file.fuel.heating_value / heat for bound in (low, high))
    if low <= ratio <= high:
        return []
    value = (
        f"{file.fuel.heating_value / 1e6:.1f} MJ/kg"
        if file.units == "metric"
        else f"{file.fuel.heating_value / 2326:,.0f} Btu/lb"
    )
    return [
        f"running takes {ratio:.1f} of water to 1 of {fuel} by weight; with {value} it is "
        f"usually {low:.1f} to {high:.1f}: check the fuel, grate, heating surface and feed"
    ]


def _of_descents(scenario: Scenario, route: Route, haul: Haul) -> list[str]:
    system = UNIT_SYSTEMS[scenario.file.units]
    file = scenario.file
    warnings = []
    steepest = int(np.argmin(haul.grade))
    where = system.distance.text(route.distance[steepest])
    down = -float(haul.grade[steepest])
    if down > haul.low_descent:
        warnings.append(
            f"descent of {100 * down:.1f} % at {where}: lowest gear, brakes proved at the top, "
            "nobody stops on it"
        )
    limit = None if file.engine is None else file.engine.steepest_descent
    if limit is not None and down > limit:
        warnings.append(
            f"descent of {100 * down:.1f} % at {where} is steeper than the owner goes down "
            f"({100 * limit:.1f} %): another road, or a second engine behind"
        )
    return warnings
