"""Engine and boiler as their owner states them, defaults where not: pressure to coal."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.boiler import (
    blowdown_share,
    coal_rate,
    furnace_efficiency,
    heat_of_steam,
    raising_heat,
)
from haulplan.demand.defaults import DEFAULTS, Assumption, Default
from haulplan.demand.engine import SteamLine, steam_line
from haulplan.demand.steam import liquid_enthalpy, saturated_liquid_enthalpy
from haulplan.scenario.schema import Conditions, Engine
from haulplan.units import ATMOSPHERE

__all__ = [
    "Boiler",
    "Figures",
    "banking_coal",
    "engine_line",
    "lighting_up_coal",
    "make_boiler",
]

Array = NDArray[np.float64]


class Figures:
    """Owner's figures where given, defaults where not; a list of the latter is kept.

    `deviates` moves defaults towards the worse end of their bands, by name; `stated`
    holds figures known for the case in hand.
    """

    def __init__(
        self,
        engine: Engine | None,
        deviates: Mapping[str, float],
        stated: Mapping[str, float] | None = None,
    ) -> None:
        self.engine = engine
        self.deviates = deviates
        self.stated = stated or {}
        self.used: dict[str, Assumption] = {}

    def take(self, name: str, given: float | None = None) -> float:
        """The owner's figure, else the default, noted."""
        field = "adhesion" if name.startswith("adhesion_") else name
        owner = self.stated.get(name) if given is None else given
        if owner is None:
            owner = getattr(self.engine, field, None)
        return float(owner) if owner is not None else self.note(name, DEFAULTS[name])

    def note(self, name: str, default: Default) -> float:
        """The default's value, put on the list."""
        words = name.replace("_", " ")
        self.used[name] = Assumption(name=words, value=default.shown, source=default.origin)
        return default.at(self.deviates.get(name, 0.0))


@dataclass(frozen=True, kw_only=True)
class Boiler:
    """Heat, coal and the most steam of one boiler, per second and in SI."""

    heat: float
    best: float
    auxiliary: float
    radiation: float
    surface: float
    heating_value: float
    dryness: float
    blowdown: float
    cleaning: float
    b: float
    a: float

    def coal(self, steam: Array) -> Array:
        """Coal for steam leaving the boiler, moisture counted, both per second."""
        heat = steam * self.heat + self.radiation
        rate = coal_rate(heat, self.heating_value, self.surface, b=self.b, a=self.a)
        return rate * (1.0 + self.cleaning)


def engine_line(engine: Engine, figures: Figures, pressure: float, air: float) -> SteamLine:
    """The engine's steam line.

    Parameters
    ----------
    engine
        With cylinders and lever.
    figures
        The owner's, and defaults.
    pressure
        Of the boiler, absolute. [Pa]
    air
        Round the exhaust. [Pa]

    Returns
    -------
    line
        Of all its cylinders together.
    """
    ratio, kind = 1.0, ""
    if engine.low_pressure_bore is not None:
        ratio, kind = (engine.low_pressure_bore / engine.bore) ** 2, "compound_"
    cut_off = figures.take(f"{kind}cut_off" if kind else "running_cut_off", engine.running_cut_off)
    condensation = figures.take(f"{kind}condensation", engine.condensation)
    return steam_line(
        pressure,
        running_cut_off=cut_off,
        longest_cut_off=figures.take("longest_cut_off"),
        shortest_cut_off=min(0.25, cut_off) if engine.control == "cut-off" else None,
        diagram_factor=figures.take(f"{kind}diagram_factor", engine.diagram_factor),
        back_pressure=figures.take("back_pressure") + air,
        clearance=figures.take("clearance"),
        condensation=condensation,
        volume_ratio=ratio,
    )


def make_boiler(
    engine: Engine,
    heating_value: float,
    conditions: Conditions,
    figures: Figures,
    pressure: float,
) -> Boiler:
    """The boiler at a pressure with a fuel.

    Parameters
    ----------
    engine
        With grate and heating surface.
    heating_value
        Of the fuel as fired. [J kg⁻¹]
    conditions
        For the feed.
    figures
        The owner's, and defaults.
    pressure
        Absolute. [Pa]

    Returns
    -------
    boiler
        With its best at the hardest firing.
    """
    a = figures.take("furnace_a")
    b = figures.take("furnace_b") * figures.take("hand_firing")
    feed = figures.take("feed_temperature", conditions.feed_temperature)
    dryness = figures.take("dryness")
    blowdown = 0.0
    if conditions.feed_solids > 0:
        limit = max(figures.take("blowdown_limit"), DEFAULTS["blowdown_limit"].low)
        blowdown = blowdown_share(conditions.feed_solids, limit)
    heat = heat_of_steam(pressure, feed, dryness)
    heat += blowdown * (saturated_liquid_enthalpy(pressure) - liquid_enthalpy(feed, pressure))
    firing = figures.take("firing_rate") * engine.grate_area
    total = firing * heating_value * float(
        furnace_efficiency(firing, engine.heating_surface, b=b, a=a)
    )  # fmt: skip
    radiation = figures.take("radiation") * total
    best = (total - radiation) / heat
    return Boiler(
        heat=heat,
        best=best,
        auxiliary=figures.take("auxiliary_steam") * best,
        radiation=radiation,
        surface=engine.heating_surface,
        heating_value=heating_value,
        dryness=dryness,
        blowdown=blowdown,
        cleaning=figures.take("fire_cleaning"),
        b=b,
        a=a,
    )


def lighting_up_coal(engine: Engine, heating_value: float, conditions: Conditions) -> float:
    """Coal to raise steam from cold.

    Parameters
    ----------
    engine
        With the boiler's water and metal.
    heating_value
        Of the fuel as fired. [J kg⁻¹]
    conditions
        For the cold water.

    Returns
    -------
    coal
        [kg]
    """
    cold = conditions.feed_temperature or DEFAULTS["feed_temperature"].value
    heat = raising_heat(
        engine.boiler_water,
        engine.boiler_metal,
        DEFAULTS["metal_heat"].value,
        engine.pressure + ATMOSPHERE,
        cold,
    )
    return heat / (DEFAULTS["raising_efficiency"].value * heating_value)


def banking_coal(engine: Engine) -> float:
    """Coal to keep a fire in overnight.

    Parameters
    ----------
    engine
        With its grate.

    Returns
    -------
    coal
        [kg]
    """
    return DEFAULTS["banking_coal"].value * engine.grate_area
