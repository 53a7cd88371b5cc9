"""The steam model on many combinations at once.

The formulae are those of `haulplan.demand`; where its functions take arrays they are called,
where they take one figure their arithmetic stands here on arrays and a test holds the two
together. Steam properties come from `haulplan.demand.steam` through a table.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.boiler import coal_rate, furnace_efficiency
from haulplan.demand.resistance import GRAVITY, air_drag, tractive_force
from haulplan.demand.steam import (
    saturated_liquid_enthalpy,
    saturated_steam_density,
    saturated_steam_enthalpy,
    saturation_temperature,
)

__all__ = ["Boilers", "Cells", "Engines", "Lines", "Run", "boilers", "drive", "lines", "steam_at"]

Array = NDArray[np.float64]

#: Slower than this an engine stops to raise steam, as in the planner's model. [m s⁻¹]
_CRAWL = 0.5 * 0.44704


@cache
def _table(name: str) -> tuple[Array, Array]:
    """A property of saturated steam against absolute pressure, 0.2 to 25 bar."""
    functions: Mapping[str, Callable[[float], float]] = {
        "density": saturated_steam_density,
        "liquid": saturated_liquid_enthalpy,
        "steam": saturated_steam_enthalpy,
        "temperature": saturation_temperature,
    }
    pressure = np.geomspace(2e4, 2.5e6, 500)
    return pressure, np.array([functions[name](p) for p in pressure.tolist()])


def steam_at(name: str, pressure: Array) -> Array:
    """A property of saturated steam at many pressures.

    Parameters
    ----------
    name
        "density" [kg m⁻³], "liquid" or "steam" enthalpy [J kg⁻¹], "temperature" [K].
    pressure
        Absolute, 0.2 to 25 bar. [Pa]

    Returns
    -------
    value
        Within 0.01 % of `haulplan.demand.steam`.

    Examples
    --------
    >>> round(16.01846 / float(steam_at("density", np.array([1135504.0]))[0]), 3)
    2.757
    """
    return np.interp(pressure, *_table(name))


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Willans lines: pressures [Pa] and steam per swept volume [kg m⁻³], shape (draws, 1)."""

    pressure: tuple[Array, Array, Array, Array]
    steam: tuple[Array, Array, Array, Array]

    def at(self, pressure: Array) -> Array:
        """Steam per swept volume at mean pressures, shape (draws, cells)."""
        drawn = np.maximum(pressure, 0.0)
        found = self.steam[0]
        for n in range(3):
            p0, p1, s0, s1 = *self.pressure[n : n + 2], *self.steam[n : n + 2]
            slope = (s1 - s0) / (p1 - p0)
            top = drawn - p0 if n == 2 else np.minimum(drawn, p1) - p0
            found = found + slope * np.maximum(top, 0.0)
        return found

    def pressure_at(self, steam: Array) -> Array:
        """The mean pressure that takes so much steam; infinite above full gear."""
        found = np.zeros_like(steam)
        for n in range(3):
            p0, p1, s0, s1 = *self.pressure[n : n + 2], *self.steam[n : n + 2]
            found = found + np.clip((steam - s0) / (s1 - s0), 0.0, 1.0) * (p1 - p0)
        return np.where(steam >= self.steam[3], np.inf, found)


def lines(figures: Mapping[str, Array], air: float, *, ratio: Array, kind: str) -> Lines:
    """Willans lines of many engines, driven with the regulator.

    Parameters
    ----------
    figures
        Cut-offs, factors and pressures by the names of the steam model's defaults, and
        "pressure" of the boiler on the gauge, shape (draws,).
    air
        Round the exhaust, absolute. [Pa]
    ratio
        Low- over high-pressure volume; 1 for simple engines. [-]
    kind
        "compound_" or "".

    Returns
    -------
    lines
        As `haulplan.demand.engine.steam_line` reckons them one by one.
    """
    cut = figures[f"{kind}cut_off" if kind else "running_cut_off"]
    longest = np.maximum(figures["longest_cut_off"], cut + 0.01)
    admission = figures[f"{kind}diagram_factor"] * (figures["pressure"] + air)
    back = figures["back_pressure"] + air
    taken = 1.0 - figures[f"{kind}condensation"]

    def expansion(cut_off: Array) -> Array:
        return np.asarray(cut_off / ratio * (1.0 - np.log(cut_off / ratio)))

    def steam(pressure: Array, cut_off: Array) -> Array:
        filled = (cut_off + figures["clearance"]) / ratio
        return np.asarray(filled * steam_at("density", pressure) / taken)

    throttled = np.maximum(back / expansion(cut), 0.05 * admission)
    settings = (cut, (cut + longest) / 2, longest)
    pressures = [np.zeros_like(cut), *(admission * expansion(c) - back for c in settings)]
    steams = [steam(throttled, cut), *(steam(admission, c) for c in settings)]
    p, s = ([v[:, None] for v in values] for values in (pressures, steams))
    return Lines(pressure=(p[0], p[1], p[2], p[3]), steam=(s[0], s[1], s[2], s[3]))


@dataclass(frozen=True, kw_only=True)
class Boilers:
    """Many boilers, shape (draws, 1), SI and per second."""

    heat: Array
    best: Array
    auxiliary: Array
    radiation: Array
    surface: Array
    heating_value: Array
    dryness: Array
    cleaning: Array
    b: Array
    a: Array

    def coal(self, steam: Array) -> Array:
        """Coal for steam leaving the boilers."""
        heat = steam * self.heat + self.radiation
        rate = coal_rate(heat, self.heating_value, self.surface, b=self.b, a=self.a)
        return np.asarray(rate * (1.0 + self.cleaning))


def boilers(figures: Mapping[str, Array], air: float) -> Boilers:
    """Many boilers, each with its fuel.

    Parameters
    ----------
    figures
        By the names of the steam model's defaults, with "pressure", "grate_area",
        "heating_surface" and "heating_value", shape (draws,).
    air
        Round the boiler, absolute. [Pa]

    Returns
    -------
    boilers
        As `haulplan.demand.plant.make_boiler` makes them one by one.
    """
    pressure = figures["pressure"] + air
    a = figures["furnace_a"]
    b = figures["furnace_b"] * np.minimum(figures["hand_firing"], 1.0)
    dryness = np.minimum(figures["dryness"], 1.0)
    water = steam_at("liquid", pressure)
    cold = 4186.8 * (figures["feed_temperature"] - 273.15) + 1000.0
    heat = water + dryness * (steam_at("steam", pressure) - water) - cold
    firing = figures["firing_rate"] * figures["grate_area"]
    surface, value = figures["heating_surface"], figures["heating_value"]
    total = firing * value * furnace_efficiency(firing, surface, b=b, a=a)
    radiation = figures["radiation"] * total
    best = (total - radiation) / heat
    found = {
        "heat": heat, "best": best, "auxiliary": figures["auxiliary_steam"] * best,
        "radiation": radiation, "surface": surface, "heating_value": value,
        "dryness": dryness, "cleaning": figures["fire_cleaning"], "b": b, "a": a,
    }  # fmt: skip
    return Boilers(**{name: np.asarray(array)[:, None] for name, array in found.items()})


@dataclass(frozen=True, kw_only=True)
class Engines:
    """Many engines of one kind: masses, drive of each gear from the fastest, shape (draws, 1)."""

    mass: Array
    drivers: Array
    volume: Sequence[Array]
    efficiency: Sequence[Array]
    speed: Sequence[Array]
    friction: Array
    frontal_area: Array
    drag: Array
    low_descent: Array
    line: Lines
    boiler: Boilers


@dataclass(frozen=True, kw_only=True)
class Cells:
    """Pieces of road, shape (draws, cells): grade, share of the way, and what the ground does.

    `engine_rolling` and `train_rolling` are force per weight in each gear.
    """

    grade: Array
    share: Array
    grip: Array
    engine_rolling: Sequence[Array]
    train_rolling: Sequence[Array]
    headwind: Array
    density: float


@dataclass(frozen=True, kw_only=True)
class Run:
    """Use per metre of way, shape (draws,): [s m⁻¹], [kg m⁻¹].

    `parted` is the share of the way over which the train is taken up in parts; `held`
    marks trains that even a quarter of the load does not let pass.
    """

    duration: Array
    water: Array
    coal: Array
    parted: Array
    held: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class _Pace:
    """One gear in each piece: whether it holds, speed and steam per metre."""

    holds: NDArray[np.bool_]
    speed: Array
    steam: Array


def _in_gear(
    engines: Engines, cells: Cells, train: Array, grade: Array, wind: Array, gear: int
) -> _Pace:
    wanted = engines.speed[gear]
    force = np.asarray(
        tractive_force(engines.mass, cells.engine_rolling[gear], grade)
        + tractive_force(train, cells.train_rolling[gear], grade)
    ) + air_drag(engines.frontal_area, engines.drag, wanted, wind, cells.density)
    volume = engines.volume[gear]
    pressure = force / (volume * engines.efficiency[gear]) + engines.friction
    steam = volume * engines.line.at(pressure) / engines.boiler.dryness
    supply = engines.boiler.best - engines.boiler.auxiliary
    crawl = engines.line.pressure_at(supply / _CRAWL * engines.boiler.dryness / volume)
    weight = engines.drivers * GRAVITY * cells.grip / np.sqrt(1.0 + grade**2)
    holds = (pressure <= np.minimum(engines.line.pressure[3], crawl)) & (force <= weight)
    return _Pace(holds=holds, speed=1.0 / np.maximum(1.0 / wanted, steam / supply), steam=steam)


def drive(engines: Engines, cells: Cells, train: Array, *, forwards: bool = True) -> Run:
    """Drive a way once with a train.

    The fastest gear that holds is taken in each piece, the lowest on steep descents.
    Where none holds the train goes up in two, three or four parts, the engine coming back
    light for each.

    Parameters
    ----------
    engines
        And their boilers.
    cells
        The way.
    train
        Behind the engine, shape (draws, 1). [kg]
    forwards
        False turns every grade and the wind round.

    Returns
    -------
    run
        Use per metre of way.
    """
    sign = 1.0 if forwards else -1.0
    grade, wind = sign * cells.grade, sign * cells.headwind
    speed, steam = np.zeros_like(grade), np.zeros_like(grade)
    lowest = len(engines.speed) - 1
    for gear in range(lowest + 1):
        pace = _in_gear(engines, cells, train, grade, wind, gear)
        allowed = pace.holds if gear == lowest else pace.holds & (grade >= -engines.low_descent)
        better = allowed & (pace.speed > speed)
        speed = np.where(better, pace.speed, speed)
        steam = np.where(better, pace.steam, steam)
    slow = np.where(speed > 0, 1.0 / np.where(speed > 0, speed, 1.0), 0.0)
    parted = speed == 0.0
    if parted.any():
        slow, steam = _in_parts(engines, cells, train, grade, wind, slow, steam)
    used = cells.share * (slow > 0)
    length = used * np.sqrt(1.0 + grade**2)
    rate = np.where(slow > 0, steam / np.where(slow > 0, slow, 1.0), 0.0)
    evaporation = rate + engines.boiler.auxiliary
    spent = length * slow
    return Run(
        duration=spent.sum(axis=1),
        water=(evaporation * spent).sum(axis=1),
        coal=(engines.boiler.coal(evaporation) * spent).sum(axis=1),
        parted=(cells.share * parted).sum(axis=1),
        held=(slow == 0.0).any(axis=1),
    )


def _in_parts(
    engines: Engines, cells: Cells, train: Array, grade: Array, wind: Array, slow: Array,
    steam: Array,
) -> tuple[Array, Array]:  # fmt: skip
    """Time and steam per metre where the train goes up in parts, else as they are."""
    lowest = len(engines.speed) - 1
    back = _in_gear(engines, cells, 0.0 * train, -grade, -wind, lowest)
    for parts in (2, 3, 4):
        up = _in_gear(engines, cells, train / parts, grade, wind, lowest)
        now = (slow == 0.0) & up.holds
        slow = np.where(now, parts / up.speed + (parts - 1) / back.speed, slow)
        steam = np.where(now, parts * up.steam + (parts - 1) * back.steam, steam)
    return slow, steam
