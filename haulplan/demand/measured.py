"""Measured use (demand.csv) in place of the steam model."""

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import Assumption
from haulplan.demand.demand import Choice, Demand, Use
from haulplan.demand.glass import crest_water
from haulplan.errors import InputError, Problem
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import DemandRow

__all__ = ["measured_demand", "mirrored"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]


def measured_demand(scenario: Scenario, route: Route) -> Demand:
    """Use along the route from demand.csv.

    Rows with the same ends are gears to choose from. A place inside a row splits it, and
    its use, in proportion to distance.

    Parameters
    ----------
    scenario
        With demand rows.
    route
        The road they cover.

    Returns
    -------
    demand
        Straight in the mass aboard; a choice for each stretch with several rows.

    Raises
    ------
    InputError
        If the rows overlap, leave part of the road out, or repeat a gear.
    """
    stretches = _stretches(scenario.demand, route)
    cuts = {0.0, route.length, *(p.distance for p in route.passings)}
    cuts |= {d for begin, end, _ in stretches for d in (begin, end)}
    glass = None if scenario.file.engine is None else scenario.file.engine.glass
    if route.has_heights:
        cuts |= {c.distance for c in crest_water(route.distance, route.elevation, glass)}
    distance = np.array(sorted(cuts))
    distance = distance[np.r_[True, np.diff(distance) > 1e-3]]
    distance[-1] = route.length
    gears = tuple(dict.fromkeys(row.gear for row in scenario.demand))
    figures = {
        name: np.zeros((len(gears), distance.size - 1))
        for name in ("duration", "water", "coal", "water_per_mass", "coal_per_mass")
    }
    gear = np.zeros(distance.size - 1, dtype=np.int64)
    choices = []
    for begin, end, rows in stretches:
        first, last = (int(np.argmin(np.abs(distance - d))) for d in (begin, end))
        share = np.diff(distance[first : last + 1]) / (distance[last] - distance[first])
        for row in rows:
            number = gears.index(row.gear)
            for name, figure in figures.items():
                figure[number, first:last] = getattr(row, name) * share
        gear[first:last] = gears.index(rows[0].gear)
        if len(rows) > 1:
            numbers = tuple(gears.index(row.gear) for row in rows)
            choices.append(Choice(first=first, last=last, gears=numbers))
    segments = np.arange(distance.size - 1)

    def evaluate(aboard: Array, gear: Gears) -> Use:
        def at(name: str) -> Array:
            return figures[name][gear, segments]

        return Use(
            duration=at("duration"),
            water=at("water") + at("water_per_mass") * aboard,
            coal=at("coal") + at("coal_per_mass") * aboard,
        )

    file = scenario.file
    dry = file.train.dry_weight or 0.0
    if file.engine is not None:
        wagons = sum(w.count * (w.tare + w.load) for w in file.train.wagons)
        dry = file.engine.weight + wagons
    return Demand(
        distance=distance,
        gears=gears,
        gear=gear,
        choices=tuple(choices),
        heaviest=np.full(distance.size - 1, np.inf),
        evaluate=evaluate,
        dry_weight=dry,
        standing_water=file.standing_water or 0.0,
        standing_coal=file.standing_coal or 0.0,
        lighting_up_coal=None,
        assumptions=(
            Assumption(
                name="use of water, coal and time", value="demand.csv", source="the scenario"
            ),
        ),
        warnings=(),
    )


def mirrored(rows: tuple[DemandRow, ...], length: float) -> tuple[DemandRow, ...]:
    """Rows of the way back, by distance from the finish.

    Parameters
    ----------
    rows
        Each from a distance to a lesser one.
    length
        Of the road. [m]

    Returns
    -------
    rows
        As the road in reverse meets them.
    """
    return tuple(
        row.model_copy(update={"begin": max(length - row.begin, 0.0), "end": length - row.end})
        for row in rows
    )


def _stretches(
    rows: tuple[DemandRow, ...], route: Route
) -> list[tuple[float, float, list[DemandRow]]]:
    """Rows gathered by stretch, in driving order, checked to cover the road once."""
    gathered: dict[tuple[float, float], list[DemandRow]] = {}
    for row in rows:
        gathered.setdefault((row.begin, row.end), []).append(row)
    ordered = sorted(gathered.items())
    problems = []
    reached = 0.0
    for (begin, end), same in ordered:
        if abs(begin - reached) > 0.5:
            kind = "a gap" if begin > reached else "an overlap"
            problems.append((f"from {begin / 1000:g} km", f"{kind} after {reached / 1000:g} km"))
        if len({row.gear for row in same}) < len(same):
            problems.append((f"from {begin / 1000:g} km", "the same gear in two rows"))
        reached = max(reached, end)
    if abs(reached - route.length) > 0.01 * route.length + 1.0:
        problems.append(
            ("column to", f"ends at {reached / 1000:g} km of {route.length / 1000:.3f} km")
        )
    if problems:
        raise InputError(
            Problem(
                file="demand.csv",
                where=where,
                found=found,
                remedy="cover the road once from start to finish; repeat a stretch only with "
                "another gear",
            )
            for where, found in problems
        )
    length = route.length
    return [(b, length if e == reached else e, same) for (b, e), same in ordered]
