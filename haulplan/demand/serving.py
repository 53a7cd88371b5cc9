"""How fast water and coal come aboard: lifters by lift and altitude, sacks by people."""

import math
from typing import Final

from haulplan.demand.defaults import DEFAULTS, STOPS, Assumption
from haulplan.demand.resistance import GRAVITY, standard_air
from haulplan.demand.steam import saturation_pressure
from haulplan.errors import InputError, Problem
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Coaling, Supply
from haulplan.scenario.wording import short
from haulplan.units import UNIT_SYSTEMS, WATER_DENSITY

__all__ = [
    "lift_limit",
    "lift_share",
    "sack_rate",
    "serving_assumptions",
    "serving_rates",
    "suction_head",
]

Rates = tuple[float | None, float | None]
_HOUR: Final = 3600.0


def suction_head(altitude: float, temperature: float) -> float:
    """Height of a column of water that the air holds up over a perfect vacuum.

    Parameters
    ----------
    altitude
        Above sea level, up to 11,000 m. [m]
    temperature
        Of the water, 273.15 K to 373 K. [K]

    Returns
    -------
    head
        Above zero. [m]

    Notes
    -----
    (p_air − p_steam) / (ρ g).

    References
    ----------
    .. [1] ISO 2533:1975 for the air, IAPWS R7-97(2012) eq. 30 for the steam.

    Examples
    --------
    >>> round(suction_head(0.0, 288.7056) / 0.3048, 1)
    33.3
    """
    air, _ = standard_air(altitude)
    return max(air - saturation_pressure(temperature), 0.0) / (WATER_DENSITY * GRAVITY)


def lift_limit(altitude: float, temperature: float) -> float:
    """Highest lift from which lifters and pumps are reckoned to draw.

    Parameters
    ----------
    altitude
        Above sea level, up to 11,000 m. [m]
    temperature
        Of the water, 273.15 K to 373 K. [K]

    Returns
    -------
    lift
        Two thirds of what the air holds up. [m]

    References
    ----------
    .. [1] NWCG, Drafting Guidelines, s. 3.5.

    Examples
    --------
    >>> round(lift_limit(0.0, 288.7056) / 0.3048, 1)
    22.2
    """
    return STOPS["attainable_lift"].value * suction_head(altitude, temperature)


def lift_share(lift: float, altitude: float, temperature: float, *, stated: float) -> float:
    """Flow of a lifter or suction pump over its flow at the stated lift by the sea.

    Parameters
    ----------
    lift
        From the water's surface up to the lifter, at most `lift_limit`. [m]
    altitude
        Above sea level, up to 11,000 m. [m]
    temperature
        Of the water, 273.15 K to 373 K. [K]
    stated
        Lift at which the stated flow was measured. [m]

    Returns
    -------
    share
        [-]

    Notes
    -----
    √((v H(altitude) − lift) / (v H(0) − stated)): what the vacuum leaves over the lift
    drives the water through hose and lifter, whose friction goes with the flow squared.
    v is the part of a perfect vacuum that is drawn.

    References
    ----------
    .. [1] Bernoulli's equation for the suction; v from the operators' rule of 22 in of
       mercury.

    Examples
    --------
    >>> round(lift_share(20 * 0.3048, 0.0, 288.7056, stated=10 * 0.3048), 2)
    0.56
    """
    drawn = STOPS["lift_vacuum"].value
    here = drawn * suction_head(altitude, temperature) - lift
    measured = drawn * suction_head(0.0, temperature) - stated
    return math.sqrt(max(here, 0.0) / measured)


def sack_rate(coaling: Coaling) -> float:
    """Coal carried aboard in sacks.

    Parameters
    ----------
    coaling
        How many people carry how many sacks each.

    Returns
    -------
    rate
        [kg s⁻¹]

    Examples
    --------
    >>> round(sack_rate(Coaling.model_construct(people=2, sack=25.0, sacks_per_hour=48)), 3)
    0.667
    """
    return coaling.people * coaling.sack * coaling.sacks_per_hour / _HOUR


def serving_rates(scenario: Scenario, altitude: float) -> tuple[Rates, ...]:
    """Rates at which each supply gives water and coal.

    Parameters
    ----------
    scenario
        With its supplies; a stated water rate with `lift` is taken as that at 5 ft of
        lift by the sea, as a maker's test has it, and falls with lift and altitude.
    altitude
        Of the road. [m]

    Returns
    -------
    rates
        Of water and coal, in the order of supply.csv; None where it is not to be had.
        [kg s⁻¹]

    Raises
    ------
    InputError
        If a lift is more than the air can do there.
    """
    temperature = scenario.file.conditions.feed_temperature or DEFAULTS["feed_temperature"].value
    limit = lift_limit(altitude, temperature)
    rates: list[Rates] = []
    problems = []
    for row, supply in enumerate(scenario.supplies, start=2):
        water, coal = supply.water_rate, supply.coal_rate
        if supply.lift is not None and supply.lift > limit:
            problems.append(_too_high(scenario, row, supply, altitude, limit))
        elif supply.lift is not None and water is not None:
            stated = STOPS["stated_lift"].value
            water *= lift_share(supply.lift, altitude, temperature, stated=stated)
        if supply.sacks == "yes" and scenario.file.coaling is not None:
            coal = sack_rate(scenario.file.coaling)
        rates.append((water, coal))
    if problems:
        raise InputError(problems)
    return tuple(rates)


def _too_high(
    scenario: Scenario, row: int, supply: Supply, altitude: float, limit: float
) -> Problem:
    unit = UNIT_SYSTEMS[scenario.file.units].height

    def shown(height: float) -> str:
        return f"{unit.value(height):.1f} {unit.label}"

    return Problem(
        file="supply.csv",
        where=f"row {row}, column lift",
        found=f"{shown(supply.lift or 0.0)} at {short(supply.name)}, more than can be drawn up "
        f"{unit.text(altitude)} above the sea",
        remedy=f"give at most {shown(limit)}, two thirds of what the air holds up there; stand "
        "lower, or have it pumped from beside the water",
    )


def serving_assumptions(scenario: Scenario) -> tuple[Assumption, ...]:
    """What the rates of lifters rest on, where a scenario has any.

    Parameters
    ----------
    scenario
        With its supplies.

    Returns
    -------
    assumptions
        None where nothing is lifted.
    """
    if all(supply.lift is None for supply in scenario.supplies):
        return ()
    return tuple(
        Assumption(name=name.replace("_", " "), value=STOPS[name].shown, source=STOPS[name].origin)
        for name in ("attainable_lift", "lift_vacuum", "stated_lift")
    )
