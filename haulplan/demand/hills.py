"""Hills as a crew meets them: what each costs, which hold the train, how else to get up."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.haul import Haul
from haulplan.demand.resistance import tractive_force
from haulplan.errors import NoPlanError
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Wagon
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "Descent",
    "Doubling",
    "Hill",
    "double_hill",
    "find_descents",
    "find_hills",
    "heaviest_train",
    "refuse_hills",
]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]

#: A hill climbs at least so much [m], and ends where the road falls back by so much [m].
_LEAST_RISE, _FALL_BACK = 8.0, 3.0
#: What is within this of its foot or of its top is level ground before or after it. [m]
_LEVEL = 0.5
#: Steep descents no further apart than this are one. [m]
_BREATHER = 100.0


@dataclass(frozen=True, kw_only=True)
class Hill:
    """One climb: segments `first` to `last` excluded, and its price above a level road.

    `restarts` tells whether the train can be started again on its steepest part.
    """

    first: int
    last: int
    begin: float
    length: float
    rise: float
    steepest: float
    water: float
    coal: float
    duration: float
    restarts: bool


@dataclass(frozen=True, kw_only=True)
class Descent:
    """A descent on which nobody stops: from, to [m], its fall [m] and steepest grade."""

    begin: float
    end: float
    fall: float
    steepest: float


@dataclass(frozen=True, kw_only=True)
class Doubling:
    """Taking the train up in parts: `parts` of wagons, and what it costs in all."""

    parts: int
    passes: int
    duration: float
    water: float
    coal: float


def find_hills(haul: Haul, distance: Array, aboard: Array, gear: Gears) -> tuple[Hill, ...]:
    """Every climb of 8 m or more, in driving order, with its price.

    Parameters
    ----------
    haul
        Engine and train on the road.
    distance
        Of the samples, shape (segments + 1,). [m]
    aboard
        Water and coal aboard at each segment, shape (segments,). [kg]
    gear
        Of each segment, shape (segments,).

    Returns
    -------
    hills
        The price is use on the hill less use on a level road as long, in the fastest
        gear that holds it, on the same surface. [kg], [s]
    """
    rise = np.concatenate([[0.0], np.cumsum(haul.grade * haul.length)])
    use = haul.evaluate(aboard, gear)
    flat = replace(haul, grade=np.zeros_like(haul.grade))
    level = flat.evaluate(aboard, _fastest(flat, aboard))
    hills = []
    for first, last in _climbs(rise):
        own = slice(first, last)
        worst = first + int(np.argmax(haul.grade[own]))
        hills.append(
            Hill(
                first=first,
                last=last,
                begin=float(distance[first]),
                length=float(distance[last] - distance[first]),
                rise=float(rise[last] - rise[first]),
                steepest=float(haul.grade[worst]),
                water=float((use.water - level.water)[own].sum()),
                coal=float((use.coal - level.coal)[own].sum()),
                duration=float((use.duration - level.duration)[own].sum()),
                restarts=_restarts(haul, worst, float(aboard[worst])),
            )
        )
    return tuple(hills)


def find_descents(haul: Haul, distance: Array) -> tuple[Descent, ...]:
    """Stretches steeper down than the low gear is kept for: nobody stops on them.

    Parameters
    ----------
    haul
        Engine and train on the road.
    distance
        Of the samples, shape (segments + 1,). [m]

    Returns
    -------
    descents
        In driving order; those less than 100 m apart are one.

    References
    ----------
    .. [1] H. J. Maggard, Rough and Tumble Engineering: do not stop on a steep descent.
    """
    rise = haul.grade * haul.length
    steep = np.flatnonzero(haul.grade < -haul.low_descent)
    parts = np.split(steep, np.flatnonzero(_gaps(distance, steep) > _BREATHER) + 1)
    return tuple(
        Descent(
            begin=float(distance[part[0]]),
            end=float(distance[part[-1] + 1]),
            fall=-float(rise[part[0] : part[-1] + 1].sum()),
            steepest=-float(haul.grade[part].min()),
        )
        for part in parts
        if part.size
    )


def _gaps(distance: Array, segments: Gears) -> Array:
    """Road between each of the segments and the next of them [m]."""
    return np.asarray(distance[segments[1:]] - distance[segments[:-1] + 1])


def _fastest(haul: Haul, aboard: Array) -> Gears:
    """The fastest gear that holds each segment, the lowest where none does."""
    gear = np.full(aboard.size, len(haul.gears) - 1)
    for number in reversed(range(len(haul.gears))):
        gear[haul.force(aboard, number) <= haul.steam_pull(number)] = number
    return gear


def _climbs(rise: Array) -> list[tuple[int, int]]:
    """Climbs between samples: from a low point to the high point before a real fall."""
    climbs = []
    low = high = 0
    for k in range(1, rise.size):
        if rise[k] > rise[high]:
            high = k
        elif rise[high] - rise[k] > _FALL_BACK or rise[k] < rise[low]:
            climbs.append((low, high))
            low = high = k
    climbs.append((low, high))
    return [_trimmed(rise, a, b) for a, b in climbs if rise[b] - rise[a] >= _LEAST_RISE]


def _trimmed(rise: Array, low: int, high: int) -> tuple[int, int]:
    """The climb without the level ground before its foot and after its top."""
    own = rise[low : high + 1]
    foot = int(np.flatnonzero(own <= own[0] + _LEVEL)[-1])
    top = int(np.flatnonzero(own >= own[-1] - _LEVEL)[0])
    return (low + foot, low + top) if foot < top else (low, high)


def _restarts(haul: Haul, segment: int, aboard: float) -> bool:
    """Whether the lowest gear starts the train again on a segment."""
    lowest = len(haul.gears) - 1
    force = float(haul.force(aboard, lowest, rolling=haul.starting)[segment])
    return force <= _pull(haul, segment, aboard)


def heaviest_train(haul: Haul, segment: int, aboard: float) -> float:
    """Most that may be behind the engine for the lowest gear to hold a segment.

    Parameters
    ----------
    haul
        Engine and train on the road.
    segment
        Number of the segment.
    aboard
        Water and coal on the engine. [kg]

    Returns
    -------
    mass
        Below zero where the engine alone does not pass, infinite where the train runs down
        by itself. [kg]
    """
    lowest = len(haul.gears) - 1
    alone = float(haul.force(aboard, lowest, train=0.0)[segment])
    coefficient = float(haul.train_rolling[lowest, segment])
    per_mass = float(tractive_force(1.0, coefficient, haul.grade[segment]))
    if per_mass <= 0:
        return math.inf
    return (_pull(haul, segment, aboard) - alone) / per_mass


def _pull(haul: Haul, segment: int, aboard: float) -> float:
    """The most the lowest gear pulls on a segment, by steam and grip [N]."""
    steam = float(haul.most_pull(len(haul.gears) - 1))
    return min(steam, float(haul.grip_pull(aboard)[segment]))


def double_hill(
    haul: Haul, wagons: Sequence[Wagon], first: int, last: int, aboard: float
) -> Doubling | None:
    """Take the train up a stretch in parts that pass, the heaviest wagons placed first.

    Parameters
    ----------
    haul
        Engine and train on the road.
    wagons
        Of the train; none is divided.
    first, last
        Samples between which the engine goes up and comes back.
    aboard
        Water and coal on the engine. [kg]

    Returns
    -------
    doubling
        Up with each part and down alone between, in the lowest gear; None if one wagon
        alone is too heavy.
    """
    most = min(heaviest_train(haul, segment, aboard) for segment in range(first, last))
    masses = sorted((w.tare + w.load for w in wagons for _ in range(w.count)), reverse=True)
    if not masses or masses[0] > most:
        return None
    parts: list[float] = []
    for mass in masses:  # first fit, heaviest first
        fit = next((k for k, part in enumerate(parts) if part + mass <= most), None)
        if fit is None:
            parts.append(mass)
        else:
            parts[fit] += mass
    lowest = np.full(haul.length.size, len(haul.gears) - 1)
    carried = np.full(haul.length.size, aboard)
    own = slice(first, last)
    down = _turned(haul)
    trips = [haul.evaluate(carried, lowest, train=part) for part in parts]
    trips += [down.evaluate(carried, lowest, train=0.0)] * (len(parts) - 1)
    return Doubling(
        parts=len(parts),
        passes=2 * len(parts) - 1,
        duration=float(sum(use.duration[own].sum() for use in trips)),
        water=float(sum(use.water[own].sum() for use in trips)),
        coal=float(sum(use.coal[own].sum() for use in trips)),
    )


def _turned(haul: Haul) -> Haul:
    """The same road the other way, segment by segment."""
    return replace(haul, grade=-haul.grade)


def refuse_hills(
    scenario: Scenario, route: Route, haul: Haul, heaviest: Array, least: float
) -> None:
    """Raise NoPlanError for the worst hill that no gear holds, naming what would pass.

    Parameters
    ----------
    scenario, route, haul
        The problem.
    heaviest
        Most water and coal aboard with which the lowest gear holds each segment. [kg]
    least
        Least that must be aboard, the reserves. [kg]

    Raises
    ------
    NoPlanError
        If `heaviest` is below `least` anywhere.
    """
    held = heaviest < least
    if not held.any():
        return
    lowest = len(haul.gears) - 1
    force = np.where(held, haul.force(least, lowest), -np.inf)
    worst = int(np.argmax(force))
    system = UNIT_SYSTEMS[scenario.file.units]
    pull, what = min(
        (float(haul.grip_pull(least)[worst]), "grip of the driving wheels"),
        (float(haul.steam_pull(lowest)), "pull of the cylinders"),
        (float(haul.boiler_pull(lowest)), "steam the boiler raises at a crawl"),
    )
    grade = float(haul.grade[worst])
    steepness = f"{100 * grade:.1f} %, 1 in {1 / grade:.0f}, " if grade > 0.002 else ""
    raise NoPlanError(
        f"the {'hill' if grade > 0.002 else 'road'} at "
        f"{system.distance.text(route.distance[worst])} "
        f"({steepness}{route.surface[worst]}) asks "
        f"{system.pull.text(float(force[worst]))} of the rim; the {what} in "
        f"{haul.gears[-1]} gear ends at {system.pull.text(pull)}. What would mend it: "
        + "; ".join(_remedies(scenario, haul, held, worst, least))
    )


def _remedies(
    scenario: Scenario,
    haul: Haul,
    held: NDArray[np.bool_],
    worst: int,
    least: float,
) -> list[str]:
    """A lighter train, doubling the hill, a second engine: each with its figures."""
    system = UNIT_SYSTEMS[scenario.file.units]
    stores = scenario.file.stores
    ends = (least, stores.tank + stores.bunker)
    passing = min(
        heaviest_train(haul, segment, aboard)
        for segment in np.flatnonzero(held).tolist()
        for aboard in ends
    )
    step = system.mass.size / 10**system.mass.decimals
    if not haul.train_mass or not math.isfinite(passing):
        passing = 0.0  # without a train none can be lighter
    shown = math.floor(passing / step - 1e-9) * step  # never more than passes
    remedies = [
        f"a train of at most {system.mass.text(shown)} behind the engine would pass, full or "
        f"empty (now {system.mass.text(haul.train_mass)})"
        if passing > 0
        else "the engine alone does not pass"
    ]
    first, last = worst, worst + 1
    while first > 0 and (held[first - 1] or haul.grade[first - 1] > 0.5 * haul.grade[worst]):
        first -= 1
    while last < held.size and (held[last] or haul.grade[last] > 0.5 * haul.grade[worst]):
        last += 1
    hardest = min(ends, key=lambda aboard: heaviest_train(haul, worst, aboard))
    doubling = double_hill(haul, scenario.file.train.wagons, first, last, hardest)
    if doubling is not None and doubling.parts > 1:
        remedies.append(
            f"doubling the hill in {doubling.parts} parts: {doubling.passes} passes, "
            f"{math.ceil(doubling.duration / 60)} min, {system.water.text(doubling.water)} of "
            f"water, {system.coal.text(doubling.coal)} of coal besides coupling"
        )
    lowest = len(haul.gears) - 1
    lacking = max(
        float(haul.force(aboard, lowest)[worst]) - _pull(haul, worst, aboard) for aboard in ends
    )
    remedies.append(
        f"a second engine giving at least {system.pull.text(lacking)} besides what takes itself "
        "up; or another road"
    )
    return remedies
