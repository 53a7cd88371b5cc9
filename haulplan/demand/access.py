"""What it takes to reach a supply that lies off the road, and to come back."""

from collections.abc import Mapping

import numpy as np

from haulplan.demand.defaults import STOPS, Assumption
from haulplan.demand.haul import Haul, Road, assemble
from haulplan.errors import InputError, Problem
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Place, Supply
from haulplan.scenario.wording import short

__all__ = ["access_assumptions", "access_use", "turning_assumptions"]


def access_use(
    scenario: Scenario,
    supply: Supply,
    aboard: float,
    *,
    altitude: float = 0.0,
    deviates: Mapping[str, float] | None = None,
) -> tuple[float, float, float]:
    """Time, water and coal of leaving the road for a supply and coming back to it.

    Parameters
    ----------
    scenario
        The problem.
    supply
        One of its supplies; what it states of access goes before the model, figure by
        figure.
    aboard
        Water and coal aboard meanwhile. [kg]
    altitude
        Of the road. [m]
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.

    Returns
    -------
    duration, water, coal
        There and back, turning included; nothing at a supply on the road, where nobody
        turns to take water. [s], [kg], [kg]

    Raises
    ------
    InputError
        If the train does not get over the surface in the lowest gear.

    Notes
    -----
    The whole train drives there and back, on the level, in the fastest gear that is driven
    no faster than a yard allows and holds the train, else the lowest held back to that
    speed. While it turns the engine takes what it takes standing. In a scenario with
    measured use only what the supply states is known.
    """
    duration, water, coal = 0.0, 0.0, 0.0
    stated = (supply.access_time, supply.access_water, supply.access_coal)
    if supply.access == 0 and not any(stated):
        return 0.0, 0.0, 0.0
    if not scenario.demand and None in stated:
        haul, _ = _yard(scenario, supply, altitude, deviates)
        water = haul.standing_water * supply.turning_time
        coal = haul.standing_coal * supply.turning_time
        if supply.access > 0:
            gear = _gear(scenario, supply, haul, aboard)
            use = haul.evaluate(np.full(2, aboard), np.full(2, gear))
            duration += float(use.duration.sum())
            water += float(use.water.sum())
            coal += float(use.coal.sum())
    time, water_stated, coal_stated = stated
    return (
        (duration if time is None else time) + supply.turning_time,
        water if water_stated is None else water_stated,
        coal if coal_stated is None else coal_stated,
    )


def access_assumptions(scenario: Scenario) -> tuple[Assumption, ...]:
    """What the ways off the road rest on, besides what the road does.

    Parameters
    ----------
    scenario
        The problem.

    Returns
    -------
    assumptions
        Each once; none where no way is reckoned.
    """
    found: dict[str, Assumption] = {}
    for supply in scenario.supplies:
        stated = (supply.access_time, supply.access_water, supply.access_coal)
        if scenario.demand or supply.access == 0 or None not in stated:
            continue
        _, used = _yard(scenario, supply, 0.0, None)
        speed = STOPS["yard_speed"]
        own = Assumption(name="yard speed", value=speed.shown, source=speed.origin)
        found |= {assumption.name: assumption for assumption in (*used, own)}
    return tuple(found.values())


def turning_assumptions(scenario: Scenario) -> tuple[Assumption, ...]:
    """What turning round rests on, where a place is fit for it and its time is not given.

    Parameters
    ----------
    scenario
        The problem.

    Returns
    -------
    assumptions
        One or none.
    """
    places: list[Supply | Place] = [*scenario.supplies, *scenario.places]
    if all(place.turning == "no" or place.turning_time for place in places):
        return ()
    usual = STOPS["turn_round"]
    return (Assumption(name="turning round", value=usual.shown, source=usual.origin),)


def _yard(
    scenario: Scenario, supply: Supply, altitude: float, deviates: Mapping[str, float] | None
) -> tuple[Haul, tuple[Assumption, ...]]:
    """Engine and train on the way there and the way back."""
    file = scenario.file
    if file.engine is None or file.fuel is None:
        raise ValueError("the steam model needs the scenario's engine and fuel")
    road = Road(
        length=np.full(2, supply.access),
        grade=np.zeros(2),
        surface=(supply.access_surface or file.route.surface,) * 2,
        speed_limit=np.full(2, STOPS["yard_speed"].value),
        sharp=np.zeros(2, dtype=bool),
        headwind=np.zeros(2),
        altitude=altitude,
    )
    return assemble(
        file.engine,
        file.fuel.heating_value,
        file.train.wagons,
        file.conditions,
        road,
        deviates=deviates,
        standing_water=file.standing_water,
        standing_coal=file.standing_coal,
    )


def _gear(scenario: Scenario, supply: Supply, haul: Haul, aboard: float) -> int:
    """The fastest gear, from 0 down, that a yard allows and that holds the train."""
    lowest = len(haul.gears) - 1
    for gear in range(len(haul.gears)):
        force = float(haul.force(aboard, gear)[0])
        holds = force <= min(float(haul.most_pull(gear)), float(haul.grip_pull(aboard)[0]))
        allowed = gear == lowest or haul.gear_speed[gear] <= STOPS["yard_speed"].value
        if holds and allowed:
            return gear
    raise InputError(
        [
            Problem(
                file="supply.csv",
                where=f"row {scenario.supplies.index(supply) + 2}, column access_surface",
                found=f"the train does not get over that surface to {short(supply.name)}, even in "
                "the lowest gear",
                remedy="leave the supply out, mend the surface or the weather, or state "
                "access_time, access_water and access_coal of another way",
            )
        ]
    )
