"""What the boiler gives for its coal: heat per mass of steam, firing, steam raising."""

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.steam import (
    liquid_enthalpy,
    saturated_liquid_enthalpy,
    saturated_steam_enthalpy,
    saturation_temperature,
)

__all__ = [
    "blowdown_share",
    "coal_rate",
    "furnace_efficiency",
    "heat_of_steam",
    "heat_rate",
    "raising_heat",
]

Array = NDArray[np.float64]


def heat_of_steam(pressure: float, feed_temperature: float, dryness: float) -> float:
    """Heat that turns feed water into steam.

    Parameters
    ----------
    pressure
        Absolute boiler pressure. [Pa]
    feed_temperature
        Of the water in the tank. [K]
    dryness
        Share of steam in what leaves the boiler. [-]

    Returns
    -------
    heat
        Per mass of water leaving. [J kg⁻¹]

    References
    ----------
    .. [1] IAPWS R7-97(2012); "factor of evaporation" of the steam handbooks.

    Examples
    --------
    >>> heat = heat_of_steam(687446.0, 283.15, 1.0)  # 85 psig, feed at 50 °F
    >>> round(heat / 2257e3, 2)
    1.2
    """
    water = saturated_liquid_enthalpy(pressure)
    steam = saturated_steam_enthalpy(pressure)
    return water + dryness * (steam - water) - liquid_enthalpy(feed_temperature, pressure)


def furnace_efficiency(
    firing: Array | float,
    heating_surface: Array | float,
    *,
    b: Array | float,
    a: Array | float,
) -> Array | float:
    """Share of the coal's heat that reaches the water; it falls as the fire is pushed.

    Parameters
    ----------
    firing
        Coal burnt. [kg s⁻¹]
    heating_surface
        [m²]
    b, a
        Rankine's constants, 0.95 and 0.3 (lb, sq ft, h) for forced draught. [-], [m² s kg⁻¹]

    Returns
    -------
    efficiency
        [-]

    Notes
    -----
    B / (1 + A F/S), F coal per grate area, S heating surface over grate area; so F/S is
    coal per heating surface.

    References
    ----------
    .. [1] W. J. M. Rankine, A Manual of the Steam Engine (from memory).

    Examples
    --------
    >>> a = 0.3 * 3600 * 0.09290304 / 0.45359237
    >>> round(furnace_efficiency(0.04, 20.0, b=0.95, a=a), 3)
    0.66
    """
    return b / (1.0 + a * firing / heating_surface)


def blowdown_share(feed_solids: float, boiler_limit: float) -> float:
    """Water blown down for each mass of steam, so that the boiler water stays clean enough.

    Parameters
    ----------
    feed_solids
        Dissolved solids of the feed, as a share of its mass, below the limit. [-]
    boiler_limit
        Most the boiler water may hold. [-]

    Returns
    -------
    share
        Blowdown over steam. [-]

    Notes
    -----
    F (S + D) = B D, so D/S = F / (B - F).

    References
    ----------
    .. [1] Mass balance, as in boiler-water suppliers' notes: 80 ppm feed, 3,500 ppm
       boiler, 4,000 kg/h of steam need 93.6 kg/h.

    Examples
    --------
    >>> round(4000 * blowdown_share(80e-6, 3500e-6), 1)
    93.6
    """
    if feed_solids >= boiler_limit:
        raise ValueError("the feed holds as much as the boiler may; use other water")
    return feed_solids / (boiler_limit - feed_solids)


def heat_rate(firing: float, heating_value: float, efficiency: float) -> float:
    """Heat into the boiler at a rate of firing.

    Parameters
    ----------
    firing
        [kg s⁻¹]
    heating_value
        [J kg⁻¹]
    efficiency
        [-]

    Returns
    -------
    heat
        [W]

    References
    ----------
    .. [1] Energy balance.

    Examples
    --------
    >>> heat_rate(0.05, 30e6, 0.6)
    900000.0
    """
    return firing * heating_value * efficiency


def coal_rate(
    heat: Array,
    heating_value: Array | float,
    heating_surface: Array | float,
    *,
    b: Array | float,
    a: Array | float,
) -> Array:
    """Coal burnt to give heat to the water.

    Parameters
    ----------
    heat
        Wanted, below the furnace's asymptote B·HV·H/A. [W]
    heating_value
        Of the coal as fired. [J kg⁻¹]
    heating_surface
        H. [m²]
    b, a
        Rankine's constants. [-], [m² s kg⁻¹]

    Returns
    -------
    coal
        [kg s⁻¹]

    Notes
    -----
    Q = m HV B / (1 + A m / H) solved for m: m = Q / (HV B - A Q / H).

    References
    ----------
    .. [1] W. J. M. Rankine, A Manual of the Steam Engine (from memory), solved.

    Examples
    --------
    >>> a = 0.3 * 3600 * 0.09290304 / 0.45359237
    >>> m = coal_rate(np.array([800e3]), 30e6, 20.0, b=0.95, a=a)
    >>> eta = furnace_efficiency(m, 20.0, b=0.95, a=a)
    >>> (m * 30e6 * eta).round(3).tolist()
    [800000.0]
    """
    return heat / (heating_value * b - a * heat / heating_surface)


def raising_heat(
    water: float, metal: float, metal_heat: float, pressure: float, cold: float
) -> float:
    """Heat that brings a cold boiler and its water to working pressure.

    Parameters
    ----------
    water
        In the boiler. [kg]
    metal
        Boiler metal warmed. [kg]
    metal_heat
        Its specific heat. [J kg⁻¹ K⁻¹]
    pressure
        Absolute working pressure. [Pa]
    cold
        Starting temperature. [K]

    Returns
    -------
    heat
        [J]

    References
    ----------
    .. [1] Enthalpies of IAPWS R7-97(2012) and the specific heat of steel.

    Examples
    --------
    >>> lb, gal = 0.45359237, 3.7816
    >>> heat = raising_heat(200 * gal, 9000 * lb, 0.115 * 4186.8, 1135504.0, 288.706)
    >>> round(heat / 1055.056e6, 2)  # million Btu
    0.83
    """
    rise = saturated_liquid_enthalpy(pressure) - liquid_enthalpy(cold, pressure)
    return water * rise + metal * metal_heat * (saturation_temperature(pressure) - cold)
