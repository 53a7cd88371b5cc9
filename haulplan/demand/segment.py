"""The steam model: from road, engine, train and fuel to use per segment."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.boiler import coal_rate, furnace_efficiency, heat_of_steam, raising_heat
from haulplan.demand.defaults import DEFAULTS, ENGINE_ROLLING, SURFACES, Assumption, Default
from haulplan.demand.demand import Demand, Use
from haulplan.demand.engine import SteamLine, steam_line, swept_volume_per_metre
from haulplan.demand.resistance import GRAVITY, rolling_coefficient, tractive_force
from haulplan.errors import NoPlanError
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Engine
from haulplan.units import ATMOSPHERE, UNIT_SYSTEMS

__all__ = ["steam_demand"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: No gear is taken for less road than this, if a slower one or one beside it serves. [m]
_SHORTEST_RUN = 300.0


@dataclass(frozen=True, kw_only=True)
class _Boiler:
    heat: float
    best: float
    auxiliary: float
    radiation: float
    surface: float
    heating_value: float
    dryness: float
    b: float
    a: float

    def coal(self, water: Array) -> Array:
        """Coal for a rate of evaporation, both per second."""
        heat = water * self.heat + self.radiation
        return coal_rate(heat, self.heating_value, self.surface, b=self.b, a=self.a)


@dataclass(frozen=True, kw_only=True)
class _Haul:
    """The steam model's inputs on one road; gears ordered from the fastest down."""

    length: Array
    grade: Array
    engine_mass: float
    engine_rolling: Array
    train_mass: float
    train_rolling: Array
    gears: tuple[str, ...]
    volume: Array
    speed: Array
    line: SteamLine
    friction: float
    efficiency: float
    grip: float
    grip_mass: float
    boiler: _Boiler
    change: float
    standing_water: float
    standing_coal: float

    def force(self, aboard: Array | float) -> Array:
        """Force along the road at each segment with so much water and coal aboard [N]."""
        engine = tractive_force(self.engine_mass + aboard, self.engine_rolling, self.grade)
        train = tractive_force(self.train_mass, self.train_rolling, self.grade)
        return np.asarray(engine + train)

    def steam_pull(self, gear: Gears | int) -> Array:
        """The most the cylinders can pull in a gear [N]."""
        pressure = self.line.full_pressure - self.friction
        return np.asarray(pressure * self.volume[gear] * self.efficiency)

    def grip_pull(self, aboard: float) -> float:
        """The most the driving wheels can pull before they slip [N]."""
        return self.grip * GRAVITY * (self.grip_mass * (1 + aboard / self.engine_mass))

    def evaluate(self, aboard: Array, gear: Gears) -> Use:
        """Use of each segment."""
        run = self.length * np.sqrt(1.0 + self.grade**2)
        volume = self.volume[gear]
        pressure = self.force(aboard) / (volume * self.efficiency) + self.friction
        steam = volume * self.line.steam(pressure) / self.boiler.dryness
        spare = self.boiler.best - self.boiler.auxiliary
        segments = np.arange(run.size)
        pace = np.maximum(1.0 / self.speed[gear, segments], steam / spare)
        duration = run * pace
        water = run * steam + self.boiler.auxiliary * duration
        coal = self.boiler.coal(water / duration) * duration
        changes = np.concatenate([[0.0], (np.diff(gear) != 0) * self.change])
        return Use(
            duration=duration + changes,
            water=water + changes * self.standing_water,
            coal=coal + changes * self.standing_coal,
        )


def steam_demand(scenario: Scenario, route: Route) -> Demand:
    """Use along the route from the steam model.

    Parameters
    ----------
    scenario
        With engine, fuel and train.
    route
        With heights.

    Returns
    -------
    demand
        One gear for each segment: the fastest the heaviest train can keep, none changed
        for less than 300 m, the lowest on steep descents.

    Raises
    ------
    NoPlanError
        If a hill is too steep in the lowest gear even with the tank near empty.
    """
    haul, assumptions = _haul(scenario, route)
    stores = scenario.file.stores
    full = stores.tank + stores.bunker
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    heaviest = _heaviest(haul, least)
    _refuse_hills(scenario, route, haul, heaviest, least)
    gear = _choose_gears(haul, scenario, route, np.minimum(full, heaviest))
    return Demand(
        distance=route.distance,
        gears=haul.gears,
        gear=gear,
        choices=(),
        heaviest=np.where(heaviest >= full, np.inf, heaviest),
        evaluate=haul.evaluate,
        dry_weight=haul.engine_mass + haul.train_mass,
        standing_water=haul.standing_water,
        standing_coal=haul.standing_coal,
        lighting_up_coal=_lighting_up(scenario, haul.boiler),
        assumptions=assumptions,
        warnings=_warnings(scenario, haul, route),
    )


class _Figures:
    """Owner's figures where given, defaults where not, keeping a list of the latter."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.used: list[Assumption] = []

    def take(self, name: str, given: float | None = None) -> float:
        """The owner's figure, else the default, noted."""
        field = "adhesion" if name.startswith("adhesion_") else name
        owner = given if given is not None else getattr(self.engine, field, None)
        return float(owner) if owner is not None else self.note(name, DEFAULTS[name])

    def note(self, name: str, default: Default) -> float:
        """The default's value, put on the list."""
        source = (
            default.source
            if default.status == "published"
            else (f"{default.status}: {default.source}")
        )
        self.used.append(
            Assumption(name=name.replace("_", " "), value=default.shown, source=source)
        )
        return default.value


def _haul(scenario: Scenario, route: Route) -> tuple[_Haul, tuple[Assumption, ...]]:
    engine, fuel = scenario.file.engine, scenario.file.fuel
    if engine is None or fuel is None:
        raise ValueError("the steam model needs the scenario's engine and fuel")
    figures = _Figures(engine)
    air = ATMOSPHERE * (1 - 2.25577e-5 * float(route.elevation.mean())) ** 5.25588
    pressure = engine.pressure + air
    boiler = _boiler(scenario, figures, pressure)
    line = steam_line(
        pressure,
        running_cut_off=figures.take("running_cut_off"),
        longest_cut_off=figures.take("longest_cut_off"),
        diagram_factor=figures.take("diagram_factor"),
        back_pressure=figures.take("back_pressure") + air,
        clearance=figures.take("clearance"),
        condensation=figures.take("condensation"),
    )
    gears = sorted(engine.gears, key=lambda gear: gear.ratio)
    engine_rolling, train_rolling, train_mass = _rolling(scenario, route, figures)
    share = engine.weight_on_drivers / engine.weight
    standby = figures.take("standby_firing") * engine.grate_area
    standing_water = scenario.file.standing_water
    standing_coal = scenario.file.standing_coal
    if standing_water is None:
        standing_water = boiler.auxiliary
    if standing_coal is None:
        standing_coal = float(boiler.coal(np.array(standing_water))) + standby
    grade = route.grade
    figures.take("low_gear_descent")
    speed = np.array([np.minimum(gear.speed, route.speed_limit) for gear in gears])
    haul = _Haul(
        length=np.diff(route.distance),
        grade=grade,
        engine_mass=engine.weight,
        engine_rolling=engine_rolling,
        train_mass=train_mass,
        train_rolling=train_rolling,
        gears=tuple(gear.name for gear in gears),
        volume=np.array(
            [
                swept_volume_per_metre(
                    engine.cylinders, engine.bore, engine.stroke, g.ratio, engine.wheel_diameter
                )
                for g in gears
            ]
        ),
        speed=speed,
        line=line,
        friction=figures.take("friction_pressure"),
        efficiency=figures.take("transmission_efficiency"),
        grip=figures.take(f"adhesion_{engine.tyre}"),
        grip_mass=share * engine.weight,
        boiler=boiler,
        change=figures.take("gear_change"),
        standing_water=standing_water,
        standing_coal=standing_coal,
    )
    return haul, tuple(figures.used)


def _rolling(scenario: Scenario, route: Route, figures: _Figures) -> tuple[Array, Array, float]:
    """Coefficients of engine and train at each segment, and the mass of the train."""
    engine = scenario.file.engine
    assert engine is not None
    names, where = np.unique(np.array(route.surface), return_inverse=True)
    on_surface = [rolling_coefficient(n, engine.tyre, engine=True) for n in names.tolist()]
    wagons = scenario.file.train.wagons
    masses = [wagon.count * (wagon.tare + wagon.load) for wagon in wagons]
    total = sum(masses)
    train = [
        sum(
            mass * rolling_coefficient(n, wagon.tyre, engine=False)
            for mass, wagon in zip(masses, wagons, strict=True)
        )
        / (total or 1.0)
        for n in names.tolist()
    ]
    figures.note("engine rolling resistance", ENGINE_ROLLING)
    tyres = {engine.tyre, *(wagon.tyre for wagon in wagons)}
    for name in names.tolist():
        for tyre in sorted(tyres):
            figures.note(f"{name}, {tyre} tyre", getattr(SURFACES[name], tyre))
    return np.array(on_surface)[where], np.array(train)[where], total


def _boiler(scenario: Scenario, figures: _Figures, pressure: float) -> _Boiler:
    engine, fuel = scenario.file.engine, scenario.file.fuel
    assert engine is not None and fuel is not None  # noqa: PT018  the caller checked
    b, a = figures.take("furnace_b"), figures.take("furnace_a")
    feed = figures.take("feed_temperature", scenario.file.conditions.feed_temperature)
    dryness = figures.take("dryness")
    heat = heat_of_steam(pressure, feed, dryness)
    firing = figures.take("firing_rate") * engine.grate_area
    efficiency = float(furnace_efficiency(firing, engine.heating_surface, b=b, a=a))
    total = firing * fuel.heating_value * efficiency
    radiation = figures.take("radiation") * total
    best = (total - radiation) / heat
    return _Boiler(
        heat=heat,
        best=best,
        auxiliary=figures.take("auxiliary_steam") * best,
        radiation=radiation,
        surface=engine.heating_surface,
        heating_value=fuel.heating_value,
        dryness=dryness,
        b=b,
        a=a,
    )


def _heaviest(haul: _Haul, least: float) -> Array:
    """Most water and coal aboard with which the lowest gear holds each segment [kg]."""
    limit = float(haul.steam_pull(haul.volume.size - 1))
    empty = haul.force(0.0)
    per_mass = (haul.force(1000.0) - empty) / 1000.0
    with np.errstate(divide="ignore", invalid="ignore"):
        heaviest = np.where(per_mass > 0, (limit - empty) / per_mass, np.inf)
    slipping = haul.force(least) > haul.grip_pull(least)
    return np.where(slipping, -np.inf, heaviest)


def _refuse_hills(
    scenario: Scenario, route: Route, haul: _Haul, heaviest: Array, least: float
) -> None:
    """Raise NoPlanError for the worst hill that no gear holds, naming what would pass."""
    if not (heaviest < least).any():
        return
    force = haul.force(least)
    worst = int(np.argmax(np.where(heaviest < least, force, -np.inf)))
    steam, grip = float(haul.steam_pull(haul.volume.size - 1)), haul.grip_pull(least)
    system = UNIT_SYSTEMS[scenario.file.units]
    what = "grip of the driving wheels" if grip < steam else "pull of the cylinders"
    grade = haul.grade[worst]
    per_train = float(tractive_force(1.0, haul.train_rolling[worst], grade))
    passing = haul.train_mass - (float(force[worst]) - min(steam, grip)) / per_train
    remedy = (
        f"a train of at most {system.mass.text(passing)} behind the engine would pass"
        if passing > 0
        else "the engine alone does not pass"
    )
    raise NoPlanError(
        f"the hill at {system.distance.text(route.distance[worst])} "
        f"({100 * grade:.1f} %, 1 in {1 / grade:.0f}, {route.surface[worst]}) asks "
        f"{system.pull.text(float(force[worst]))} of the rim; the {what} in "
        f"{haul.gears[-1]} gear ends at {system.pull.text(min(steam, grip))}. What would mend "
        f"it: {remedy} (now {system.mass.text(haul.train_mass)}); or a second engine, or "
        "another road"
    )


def _choose_gears(haul: _Haul, scenario: Scenario, route: Route, aboard: Array) -> Gears:
    """Fastest gear that holds at the heaviest, changes spared; index 0 is the fastest."""
    force = haul.force(aboard)
    count = haul.volume.size
    pace = np.full((count, force.size), np.inf)
    for gear in range(count):
        use = haul.evaluate(aboard, np.full(force.size, gear))
        holds = force <= haul.steam_pull(gear)
        if gear < count - 1:
            steep = haul.grade < -_low_descent(scenario)
            holds &= ~steep
        pace[gear, holds] = (use.duration / haul.length)[holds]
    pace[-1, ~np.isfinite(pace[-1])] = 1e9
    wanted = np.argmin(np.round(pace, 9), axis=0).astype(np.int64)
    return _spare_changes(wanted, np.isfinite(pace), np.diff(route.distance))


def _low_descent(scenario: Scenario) -> float:
    engine = scenario.file.engine
    given = None if engine is None else engine.low_gear_descent
    return DEFAULTS["low_gear_descent"].value if given is None else given


def _spare_changes(wanted: Gears, holds: NDArray[np.bool_], length: Array) -> Gears:
    """Drop runs in a gear too short to be worth two changes."""
    gear = wanted.copy()
    while True:
        cuts = np.flatnonzero(np.diff(gear)) + 1
        begins, ends = np.r_[0, cuts], np.r_[cuts, gear.size]
        runs = [
            (float(length[a:b].sum()), a, b)
            for a, b in zip(begins.tolist(), ends.tolist(), strict=True)
        ]
        for run, a, b in sorted(runs):
            if run >= _SHORTEST_RUN:
                return gear
            beside = [gear[i] for i in (a - 1, b) if 0 <= i < gear.size]
            slower = [g for g in beside if g > gear[a]]
            usable = [g for g in beside if g < gear[a] and holds[g, a:b].all()]
            if usable or slower:
                gear[a:b] = max(usable) if usable else min(slower)
                break
        else:
            return gear


def _lighting_up(scenario: Scenario, boiler: _Boiler) -> float:
    """Coal to raise steam from cold [kg]."""
    engine = scenario.file.engine
    assert engine is not None
    cold = scenario.file.conditions.feed_temperature or DEFAULTS["feed_temperature"].value
    heat = raising_heat(
        engine.boiler_water,
        engine.boiler_metal,
        DEFAULTS["metal_heat"].value,
        engine.pressure + ATMOSPHERE,
        cold,
    )
    return heat / (DEFAULTS["raising_efficiency"].value * boiler.heating_value)


def _warnings(scenario: Scenario, haul: _Haul, route: Route) -> tuple[str, ...]:
    system = UNIT_SYSTEMS[scenario.file.units]
    steepest = int(np.argmin(haul.grade))
    if haul.grade[steepest] >= -_low_descent(scenario):
        return ()
    return (
        f"descent of {-100 * haul.grade[steepest]:.1f} % at "
        f"{system.distance.text(route.distance[steepest])}: lowest gear, brakes proved "
        "at the top, nobody stops on it",
    )
