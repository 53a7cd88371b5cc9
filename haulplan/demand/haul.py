"""Engine, train, fuel and weather on a road: everything a segment's use is reckoned from."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import SURFACES, WEATHER, Assumption
from haulplan.demand.demand import Use
from haulplan.demand.engine import SteamLine, swept_volume_per_metre
from haulplan.demand.plant import Boiler, Figures, engine_line, make_boiler
from haulplan.demand.resistance import (
    GRAVITY,
    air_drag,
    rolling_coefficient,
    standard_air,
    tractive_force,
)
from haulplan.scenario.schema import Conditions, Engine, Gear, Learned, Wagon

__all__ = ["LIMITS", "Haul", "Road", "State", "assemble"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: Slower than this, an engine stops to raise steam. haulplan's assumption. [m s⁻¹]
_CRAWL = 0.5 * 0.44704
#: What holds the speed down, by the number in `State.limit`.
LIMITS = ("gear", "road", "steam")


@dataclass(frozen=True, kw_only=True)
class Road:
    """Segments of road: arrays of shape (segments,), lengths horizontal [m].

    `sharp` marks corners; `headwind` blows against the train [m s⁻¹].
    """

    length: Array
    grade: Array
    surface: tuple[str, ...]
    speed_limit: Array
    sharp: NDArray[np.bool_]
    headwind: Array
    altitude: float


@dataclass(frozen=True, kw_only=True)
class State:
    """How each segment is driven, shape (segments,).

    `limit` numbers `LIMITS`; `steam` is what the cylinders take, `evaporation` all that
    leaves the boiler [kg s⁻¹]; `pressure` is mean and indicated.
    """

    force: Array
    speed: Array
    pressure: Array
    power: Array
    steam: Array
    evaporation: Array
    limit: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Haul:
    """The steam model's inputs on one road; gears ordered from the fastest down.

    Rolling coefficients, drag and speed have shape (gears, segments).
    """

    length: Array
    grade: Array
    road_limit: Array
    engine_mass: float
    engine_rolling: Array
    train_mass: float
    train_rolling: Array
    drag: Array
    gears: tuple[str, ...]
    volume: Array
    efficiency: Array
    gear_speed: Array
    line: SteamLine
    friction: float
    grip: Array
    grip_mass: float
    boiler: Boiler
    change: float
    starting: float
    low_descent: float
    standing_water: float
    standing_coal: float
    water_factor: float
    coal_factor: float

    def force(
        self,
        aboard: Array | float,
        gear: Gears | int,
        *,
        train: float | None = None,
        rolling: float = 1.0,
    ) -> Array:
        """Force along the road at each segment with so much water and coal aboard.

        `train` replaces the mass behind the engine [kg]; `rolling` multiplies rolling
        resistance, as at starting.
        """
        own = np.arange(self.length.size)
        behind = self.train_mass if train is None else train
        engine = tractive_force(
            self.engine_mass + aboard, rolling * self.engine_rolling[gear, own], self.grade
        )
        wagons = tractive_force(behind, rolling * self.train_rolling[gear, own], self.grade)
        return np.asarray(engine + wagons + self.drag[gear, own])

    def steam_pull(self, gear: Gears | int) -> Array:
        """The most the cylinders can pull in a gear [N]."""
        pressure = self.line.full_pressure - self.friction
        return np.asarray(pressure * self.volume[gear] * self.efficiency[gear])

    def boiler_pull(self, gear: Gears | int) -> Array:
        """The most pull the boiler can find steam for at a crawl of 0.5 mph [N].

        Slower than that an engine stops to raise steam: the hill holds it.
        """
        supply = (self.boiler.best - self.boiler.auxiliary) / _CRAWL * self.boiler.dryness
        allowed = supply / self.volume[gear]
        line = self.line
        pressure = np.interp(allowed, line.steam_at, line.pressure, left=0.0)
        pull = (pressure - self.friction) * self.volume[gear] * self.efficiency[gear]
        return np.asarray(np.where(allowed >= line.steam_at[-1], np.inf, pull))

    def most_pull(self, gear: Gears | int) -> Array:
        """The most pull in a gear, by cylinders and boiler [N]."""
        return np.minimum(self.steam_pull(gear), self.boiler_pull(gear))

    def grip_pull(self, aboard: float) -> Array:
        """The most the driving wheels can pull before they slip, by segment [N]."""
        weight = GRAVITY * self.grip_mass * (1 + aboard / self.engine_mass)
        grip: Array = self.grip * weight / np.sqrt(1.0 + self.grade**2)
        return grip

    def state(self, aboard: Array, gear: Gears, *, train: float | None = None) -> State:
        """How each segment is driven with so much aboard in the given gears."""
        segments = np.arange(self.length.size)
        volume, efficiency = self.volume[gear], self.efficiency[gear]
        force = self.force(aboard, gear, train=train)
        pressure = force / (volume * efficiency) + self.friction
        per_metre = volume * self.line.steam(pressure) / self.boiler.dryness
        wanted = np.minimum(self.gear_speed[gear], self.road_limit[segments])
        pace = per_metre / (self.boiler.best - self.boiler.auxiliary)
        speed = 1.0 / np.maximum(1.0 / wanted, pace)
        limit = np.where(self.road_limit < self.gear_speed[gear], 1, 0)
        return State(
            force=force,
            speed=speed,
            pressure=pressure,
            power=np.maximum(pressure, 0.0) * volume * speed,
            steam=per_metre * speed,
            evaporation=per_metre * speed + self.boiler.auxiliary,
            limit=np.where(speed < wanted * (1 - 1e-9), 2, limit),
        )

    def evaluate(self, aboard: Array, gear: Gears, *, train: float | None = None) -> Use:
        """Use of each segment."""
        state = self.state(aboard, gear, train=train)
        duration = self.length * np.sqrt(1.0 + self.grade**2) / state.speed
        # a slower pace is no other gear: what is changed is the ratio
        changes = np.concatenate([[0.0], (np.diff(self.volume[gear]) != 0) * self.change])
        water = state.evaporation * (1.0 + self.boiler.blowdown) * duration
        coal = self.boiler.coal(state.evaporation) * duration
        return Use(
            duration=duration + changes,
            water=water * self.water_factor + changes * self.standing_water,
            coal=coal * self.coal_factor + changes * self.standing_coal,
        )


def assemble(
    engine: Engine,
    heating_value: float,
    wagons: Sequence[Wagon],
    conditions: Conditions,
    road: Road,
    *,
    deviates: Mapping[str, float] | None = None,
    standing_water: float | None = None,
    standing_coal: float | None = None,
) -> tuple[Haul, tuple[Assumption, ...]]:
    """Put engine, train, fuel and weather on a road.

    Parameters
    ----------
    engine
        As a scenario states it.
    heating_value
        Of the fuel as fired. [J kg⁻¹]
    wagons, conditions
        As a scenario states them.
    road
        The segments.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.
    standing_water, standing_coal
        The owner's own use while standing, None for the model's. [kg s⁻¹]

    Returns
    -------
    haul
        Ready to be evaluated.
    assumptions
        Every default used.
    """
    figures = Figures(engine, deviates or {})
    air, density = standard_air(road.altitude)
    boiler = make_boiler(engine, heating_value, conditions, figures, engine.pressure + air)
    line = engine_line(engine, figures, engine.pressure + air, air)
    gears = sorted(engine.gears, key=lambda gear: gear.ratio)
    rolling = _rolling(engine, wagons, conditions, road, gears, figures)
    standby = figures.take("standby_firing") * engine.grate_area
    learned = [_learned(engine, name, figures) for name in ("water_factor", "coal_factor")]
    if standing_water is None:
        standing_water = boiler.auxiliary * learned[0]
    if standing_coal is None:
        standing = float(boiler.coal(np.array(boiler.auxiliary))) + standby
        standing_coal = standing * learned[1]
    speeds = np.array([gear.speed for gear in gears])
    area, drag = figures.take("frontal_area"), figures.take("drag")
    haul = Haul(
        length=road.length,
        grade=road.grade,
        road_limit=road.speed_limit,
        engine_mass=engine.weight,
        engine_rolling=rolling[0],
        train_mass=sum(w.count * (w.tare + w.load) for w in wagons),
        train_rolling=rolling[1],
        drag=np.array([air_drag(area, drag, v, road.headwind, density) for v in speeds]),
        gears=tuple(gear.name for gear in gears),
        volume=np.array([_volume(engine, gear) for gear in gears]),
        efficiency=np.array([_efficiency(gear, figures) for gear in gears]),
        gear_speed=speeds,
        line=line,
        friction=figures.take("friction_pressure"),
        grip=_grip(engine, conditions, road, figures),
        grip_mass=engine.weight_on_drivers,
        boiler=boiler,
        change=figures.take("gear_change"),
        starting=figures.take("starting"),
        low_descent=figures.take("low_gear_descent"),
        standing_water=standing_water,
        standing_coal=standing_coal,
        water_factor=learned[0],
        coal_factor=learned[1],
    )
    return haul, tuple(figures.used.values())


def _learned(engine: Engine, name: str, figures: Figures) -> float:
    """What the engine's own logs multiply the model by, moved with its spread."""
    factor: Learned | None = getattr(engine, name)
    other = engine.water_factor or engine.coal_factor
    # With one store learned the other has the same spread: a hard day takes of both.
    spread = 0.0 if other is None else (factor or other).spread
    typical = 1.0 if factor is None else factor.typical
    if factor is not None:
        figures.used[name] = Assumption(
            name=name.replace("_", " "), value=f"{typical:.2f} x the model", source="its own logs"
        )
    return typical * math.exp(spread * figures.deviates.get(name, 0.0))


def _volume(engine: Engine, gear: Gear) -> float:
    bore, cylinders = engine.bore, engine.cylinders
    if engine.low_pressure_bore is not None:
        bore, cylinders = engine.low_pressure_bore, engine.cylinders // 2
    return swept_volume_per_metre(cylinders, bore, engine.stroke, gear.ratio, engine.wheel_diameter)


def _efficiency(gear: Gear, figures: Figures) -> float:
    if gear.meshes is None:
        return figures.take("transmission_efficiency")
    mesh, journal = figures.take("mesh_efficiency"), figures.take("journal_efficiency")
    return float(mesh**gear.meshes * journal ** (gear.meshes + 1))


def _grip(engine: Engine, conditions: Conditions, road: Road, figures: Figures) -> Array:
    """Adhesion coefficient at each segment."""
    weather = WEATHER[conditions.weather]
    grip = figures.take(f"adhesion_{engine.tyre}")
    factor = weather.grip_rubber if engine.tyre == "rubber" else weather.grip_steel
    if conditions.weather != "dry":
        grip *= figures.note(f"{conditions.weather} grip, {engine.tyre} tyre", factor)
    tyre = "rubber" if engine.tyre == "rubber" else "steel"
    names, where = np.unique(np.array(road.surface), return_inverse=True)
    shares = [
        figures.note(f"grip on {name}, {tyre} tyre", getattr(SURFACES[name], f"{tyre}_grip"))
        for name in names.tolist()
    ]
    on_surface: Array = grip * np.array(shares)[where]
    return on_surface


def _rolling(
    engine: Engine,
    wagons: Sequence[Wagon],
    conditions: Conditions,
    road: Road,
    gears: Sequence[Gear],
    figures: Figures,
) -> tuple[Array, Array]:
    """Coefficients of engine and train, shape (gears, segments)."""
    names, where = np.unique(np.array(road.surface), return_inverse=True)
    wheels = figures.take("engine_rolling")
    masses = [w.count * (w.tare + w.load) for w in wagons]
    total = sum(masses) or 1.0
    turning = 1.0 + figures.take("turning") * road.sharp if road.sharp.any() else 1.0
    own = np.zeros((len(gears), names.size))
    behind = np.zeros_like(own)
    for g, gear in enumerate(gears):
        for k, name in enumerate(names.tolist()):
            tyre = "rubber" if engine.tyre == "rubber" else "steel"
            own[g, k] = wheels * _coefficient(
                name, tyre, gear.speed, None, engine.tyre_width, conditions, figures
            )
            behind[g, k] = sum(
                mass / total * _coefficient(
                    name, w.tyre, gear.speed, w.wheel_diameter, w.tyre_width, conditions, figures
                )
                for mass, w in zip(masses, wagons, strict=True)
            )  # fmt: skip
    return own[:, where] * turning, behind[:, where] * turning


def _coefficient(
    name: str,
    tyre: str,
    speed: float,
    wheel: float | None,
    width: float | None,
    conditions: Conditions,
    figures: Figures,
) -> float:
    surface = SURFACES[name]
    tabled = figures.note(f"{name}, {tyre} tyre", getattr(surface, tyre))
    if conditions.weather != "dry":
        weather = WEATHER[conditions.weather]
        kind = "hard" if surface.hard else "soft"
        tabled *= figures.note(f"{conditions.weather}, {kind} road", getattr(weather, kind))
    slope = figures.take("speed_slope") if surface.hard else 0.0
    soft = 0.25 if surface.hard else figures.take("soft_width")
    return float(
        rolling_coefficient(
            tabled,
            hard=surface.hard,
            speed=speed,
            tabled_speed=getattr(surface, f"{tyre}_speed"),
            speed_slope=slope,
            wheel_diameter=wheel,
            tyre_width=width,
            soft_width=soft,
        )
    )
