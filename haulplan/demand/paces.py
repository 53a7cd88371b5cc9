"""Operating points: each stretch driven at one of several paces, those worth having.

A slower train rolls easier on hard roads, meets less air, and asks less of its grate, which
then burns its coal better; but what the boiler takes by the hour is taken for longer. So a
pace trades minutes against water and coal, and which of them counts depends on the next
supply. A pace is a share of every gear's speed. The gears are chosen segment by segment at
each pace, as at full pace; that pattern of gears is an operating point.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.demand import Choice, Demand, Use, resolved
from haulplan.demand.haul import Haul
from haulplan.demand.hills import find_hills
from haulplan.route import Passing, Route
from haulplan.scenario import Scenario

__all__ = ["SPARED", "WORTH", "at_paces", "efficient", "stretches_of"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: A point of a stretch is kept if beside each other one it saves more than this share of the
#: tank or of the bunker, or more than so many seconds.
WORTH, SPARED = 0.002, 30.0
#: ... of a store without room, more than this. [kg]
_TRIFLE = 1e-3
#: Stretches are no shorter than this [m], nor than this part of the road.
_SHORTEST, _PARTS = 500.0, 30


@dataclass(frozen=True, kw_only=True)
class _Totals:
    """Use of stretches in each point at several masses: shape (points, masses, stretches)."""

    duration: Array
    water: Array
    coal: Array


def at_paces(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    hauls: Sequence[Haul],
    patterns: Sequence[Gears],
    paces: Sequence[float],
) -> Demand:
    """A demand with its road open to several paces.

    Parameters
    ----------
    scenario, route
        The problem.
    demand
        At the first pace.
    hauls
        Engine and train at each pace.
    patterns
        Gear of each segment at each pace, shape (segments,) each.
    paces
        Shares of each gear's speed, the fastest first. [-]

    Returns
    -------
    demand
        As it was for a single pace. Else each stretch with more than one efficient point
        is a choice, full pace first.

    Notes
    -----
    Stretches meet only where every point is in the same gear on both sides, so that a
    change of gear belongs to one stretch and costs what it costs whatever lies beside it.
    """
    stacked = _stack(hauls, paces)
    if len(hauls) == 1:
        return replace(demand, gears=stacked.gears)
    own = len(demand.gears)
    points = tuple(pattern + own * k for k, pattern in enumerate(patterns))
    first = len(stacked.gears)

    def evaluate(aboard: Array, gear: Gears) -> Use:
        return stacked.evaluate(aboard, resolved(gear, points, first))

    cuts = stretches_of(scenario, route, hauls[0], stacked.volume[np.array(points)])
    stores = scenario.file.stores
    full = stores.tank + stores.bunker
    least = scenario.file.reserve.water + scenario.file.reserve.coal
    masses = (np.full(demand.segments, least), np.minimum(full, demand.heaviest))
    totals = _totals([[evaluate(mass, point) for mass in masses] for point in points], cuts)
    choices = []
    for number, (begin, end) in enumerate(pairwise(cuts)):
        kept = efficient(
            totals.duration[..., number],
            totals.water[..., number],
            totals.coal[..., number],
            worth=(SPARED, max(WORTH * stores.tank, _TRIFLE), max(WORTH * stores.bunker, _TRIFLE)),
        )
        if len(kept) > 1:
            choices.append(Choice(first=begin, last=end, gears=tuple(first + k for k in kept)))
    return replace(
        demand,
        gears=(*stacked.gears, *(f"{100 * pace:g} % pace" for pace in paces)),
        choices=tuple(choices),
        evaluate=evaluate,
        points=points,
    )


def _stack(hauls: Sequence[Haul], paces: Sequence[float]) -> Haul:
    """The gears of every pace in one: those of the first, then those of the next."""
    names = [
        name if pace == 1.0 else f"{name} at {100 * pace:g} % pace"
        for haul, pace in zip(hauls, paces, strict=True)
        for name in haul.gears
    ]

    def each(name: str) -> Array:
        return np.concatenate([getattr(haul, name) for haul in hauls])

    return replace(
        hauls[0],
        gears=tuple(names),
        engine_rolling=each("engine_rolling"),
        train_rolling=each("train_rolling"),
        drag=each("drag"),
        volume=each("volume"),
        efficiency=each("efficiency"),
        gear_speed=each("gear_speed"),
    )


def stretches_of(scenario: Scenario, route: Route, haul: Haul, volume: Array) -> list[int]:
    """Samples between which the pace is one choice.

    Parameters
    ----------
    scenario, route, haul
        The problem.
    volume
        Swept per metre in each point's gear at each segment, which tells gears apart, shape
        (points, segments). [m²]

    Returns
    -------
    cuts
        The road's ends; where the train may stand, bridges, feet and tops of hills, changes
        of surface, in this order of importance; thirty stretches at most.
    """
    distance = route.distance
    settled = (volume == volume[0]).all(axis=0)
    still = np.flatnonzero(settled[:-1] & settled[1:]) + 1
    shortest = max(_SHORTEST, route.length / _PARTS)
    cuts = [0, settled.size]
    for marks in _marks(scenario, route, haul):
        for mark in marks:
            if not still.size:
                continue
            near = int(still[np.argmin(np.abs(distance[still] - distance[mark]))])
            gap = min(abs(distance[near] - distance[cut]) for cut in cuts)
            if gap >= shortest and abs(distance[near] - distance[mark]) < shortest / 2:
                cuts.append(near)
    return sorted(cuts)


def _marks(scenario: Scenario, route: Route, haul: Haul) -> list[list[int]]:
    """Samples at which the pace may well change, by importance."""
    surface = np.array(route.surface)
    segments = haul.length.size
    hills = find_hills(haul, route.distance, np.zeros(segments), np.zeros(segments, dtype=int))
    return [
        [route.index(p.distance) for p in route.passings if _stands(scenario, p)],
        [route.index(p.distance) for p in route.passings if p.kind == "bridge"],
        [sample for hill in hills for sample in (hill.first, hill.last)],
        (np.flatnonzero(surface[1:] != surface[:-1]) + 1).tolist(),
    ]


def _stands(scenario: Scenario, passing: Passing) -> bool:
    """Whether the train may stand there."""
    if passing.kind != "place":
        return passing.kind == "supply"
    place = scenario.places[passing.row]
    return place.halt == "yes" or place.night == "yes" or place.stay is not None


def _totals(uses: Sequence[Sequence[Use]], cuts: Sequence[int]) -> _Totals:
    def total(name: str) -> Array:
        use = np.array([[getattr(each, name) for each in by_mass] for by_mass in uses])
        return np.add.reduceat(use, cuts[:-1], axis=-1)

    return _Totals(duration=total("duration"), water=total("water"), coal=total("coal"))


def efficient(
    duration: Array, water: Array, coal: Array, *, worth: tuple[float, float, float]
) -> list[int]:
    """The points of a stretch that are worth having; the first always is.

    Parameters
    ----------
    duration, water, coal
        Of each point at each of several masses aboard, shape (points, masses). [s], [kg]
    worth
        What another point must save at one of the masses to be worth having: of time, of
        water or of coal. [s], [kg], [kg]

    Returns
    -------
    kept
        Numbers of the points.

    Notes
    -----
    Use is straight in the mass within a regime, so what holds at the least and at the
    greatest mass holds between.

    Examples
    --------
    >>> minutes, water = np.array([[10.0], [12.0], [13.0]]), np.array([[100.0], [90.0], [95.0]])
    >>> efficient(60 * minutes, water, np.zeros((3, 1)), worth=(30, 1, 1))
    [0, 1]
    """
    saved = (duration, water, coal)
    figures = np.array([each / least for each, least in zip(saved, worth, strict=True)])

    def apart(point: int, others: Sequence[int]) -> bool:
        """Whether the point saves something worth having beside each of the others."""
        return all((figures[:, other] - figures[:, point]).max() > 1.0 for other in others)

    kept = [0]
    for point in range(1, duration.shape[0]):
        if apart(point, kept):
            kept.append(point)
    for point in kept[1:]:  # a later one may have left an earlier one behind
        if not apart(point, [other for other in kept if other != point]):
            kept.remove(point)
    return kept
