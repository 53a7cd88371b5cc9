"""Use of water, coal and time, segment by segment: the face the planner and replay see.

A `Demand` answers one question: with so much aboard at each segment, what does each
segment take? Behind it stands the steam model or the scenario's own measured use.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.axles import Axle
from haulplan.demand.defaults import Assumption
from haulplan.demand.glass import CrestWater

__all__ = [
    "Begun",
    "Choice",
    "Demand",
    "Linear",
    "Serving",
    "Use",
    "linearise",
    "no_way_back",
    "resolved",
]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Use:
    """What each segment takes, shape (segments,): [s], [kg], [kg]."""

    duration: Array
    water: Array
    coal: Array


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A stretch of segments driven in one of several gears, `first` to `last` excluded.

    `gears` are numbers of gears, or of operating points.
    """

    first: int
    last: int
    gears: tuple[int, ...]


def resolved(gear: Gears, points: Sequence[Gears], first: int) -> Gears:
    """Operating points replaced by the gears they stand for.

    Parameters
    ----------
    gear
        Gear or operating point of each segment, shape (segments,).
    points
        Gear of each segment in each operating point, shape (segments,) each.
    first
        Number of the first operating point; what is below is a gear.

    Returns
    -------
    gear
        Gears only.

    Examples
    --------
    >>> resolved(np.array([0, 2, 3]), [np.array([0, 0, 0]), np.array([1, 1, 1])], 2)
    array([0, 0, 1])
    """
    for number, point in enumerate(points, start=first):
        gear = np.where(gear == number, point, gear)
    return gear


@dataclass(frozen=True, kw_only=True)
class Serving:
    """Rates at one supply [kg s⁻¹], and what its water asks.

    `blowdown` is the share of the water taken that is blown down, `strain` what straining
    adds to the set-up [s]; `most` may be taken at one stop [kg].
    """

    water: float | None
    coal: float | None
    blowdown: float = 0.0
    strain: float = 0.0
    most: float = math.inf


@dataclass(frozen=True, kw_only=True)
class Begun:
    """What of a day lies behind where a problem begins part-way through it.

    `left` is when wheels first turned that day, on its own clock, and `on_duty` how long
    the crew has been since it lit the fire, at the problem's earliest departure [s];
    `since` is what has run up since each duty was done, in the duty's own measure [s] or
    [m]; `had` names the day's meals already eaten.
    """

    left: float
    on_duty: float
    since: tuple[float, ...] = ()
    had: tuple[str, ...] = ()


def _no_access(row: int, aboard: float) -> tuple[float, float, float]:
    return 0.0, 0.0, 0.0


def no_way_back(first: int, last: int) -> "Demand | None":
    """The way back where it is not known.

    Parameters
    ----------
    first, last
        Samples.

    Returns
    -------
    demand
        None.
    """
    return None


@dataclass(frozen=True, kw_only=True)
class Demand:
    """Use along the route.

    `distance` has shape (segments + 1,) [m]; `gear` gives each segment's gear unless a
    `Choice` opens it. An operating point is a pattern of gears over the road, one for each
    segment: `points` holds them, and they are numbered after the gears proper, so that
    `gears` names gears and then points. `heaviest` is the most water and coal that may be
    aboard at a segment for any gear or point it may be driven in to hold the hill [kg],
    infinite where anything passes.
    `evaluate(aboard, gear)` takes the mass of water and coal aboard at each segment [kg],
    and gears or operating points.

    Of engine and train besides: `axles`, none where they are not known; `engine_weight`
    [kg]; `feed_rate` from tank to boiler [kg s⁻¹]; `crests` and `boiler_room` above the
    working level [kg]; `leads` of lighting up from cold and from a banked fire [s]; water
    and coal of a night with the fire `banked` or `dropped` [kg]. None where not known.

    Of places: `serving` goes with supply.csv, and `access(row, aboard)` is what leaving the
    road for a supply takes [s], [kg], [kg]. `hours` is when wheels may turn on each day [s];
    `tandems` number axles that stand close together. `back(first, last)` is the demand of
    the road in reverse, from sample `last` to sample `first`, None where it is not known or
    no gear holds the train on it.

    Of a problem that begins part-way through a day: `begun`, what of it lies behind.
    """

    distance: Array
    gears: tuple[str, ...]
    gear: Gears
    choices: tuple[Choice, ...]
    heaviest: Array
    evaluate: Callable[[Array, Gears], Use]
    dry_weight: float
    standing_water: float
    standing_coal: float
    lighting_up_coal: float | None
    assumptions: tuple[Assumption, ...]
    warnings: tuple[str, ...]
    axles: tuple[Axle, ...] = ()
    engine_weight: float | None = None
    feed_rate: float | None = None
    crests: tuple[CrestWater, ...] = ()
    boiler_room: float = 0.0
    leads: tuple[float, float] = (0.0, 0.0)
    banked: tuple[float, float] | None = None
    dropped: tuple[float, float] | None = None
    tandems: tuple[tuple[int, ...], ...] = ()
    serving: tuple[Serving, ...] = ()
    access: Callable[[int, float], tuple[float, float, float]] = _no_access
    hours: tuple[tuple[float, float], ...] = ((0.0, 86400.0),)
    points: tuple[Gears, ...] = ()
    back: "Callable[[int, int], Demand | None]" = no_way_back
    begun: Begun | None = None

    @property
    def lead(self) -> float:
        """How long the crew is on duty before it may first move off [s]."""
        return self.leads[0] if self.begun is None else self.begun.on_duty

    @property
    def has_boiler(self) -> bool:
        """Whether the boiler's water is a store of its own: a crest asks for more of it."""
        return bool(self.crests) and self.feed_rate is not None

    @property
    def nights(self) -> Mapping[str, tuple[float, float]]:
        """Water and coal till morning for each way of keeping the fire [kg]."""
        return {"banked": self.banked or (0.0, 0.0), "dropped": self.dropped or (0.0, 0.0)}

    @property
    def segments(self) -> int:
        """Number of segments."""
        return self.distance.size - 1

    def geared(self, chosen: tuple[int, ...]) -> Gears:
        """Gear of each segment when choice i is driven in gear or point `chosen[i]`."""
        gear = self.gear.copy()
        for choice, number in zip(self.choices, chosen, strict=True):
            gear[choice.first : choice.last] = number
        return resolved(gear, self.points, len(self.gears) - len(self.points))

    def index(self, distance: float) -> int:
        """Number of the sample that stands at a distance."""
        return int(np.argmin(np.abs(self.distance - distance)))


@dataclass(frozen=True, kw_only=True)
class Linear:
    """Use as base + slope x mass aboard, each of shape (segments,)."""

    duration: Array
    duration_slope: Array
    water: Array
    water_slope: Array
    coal: Array
    coal_slope: Array


def linearise(demand: Demand, aboard: Array, gear: Gears, *, step: float = 5.0) -> Linear:
    """The demand as straight lines in the mass aboard, touching it at `aboard`.

    Parameters
    ----------
    demand
        What to straighten.
    aboard
        Mass of water and coal aboard at each segment, shape (segments,). [kg]
    gear
        Gear of each segment, shape (segments,).
    step
        Half the width over which the slope is taken. [kg]

    Returns
    -------
    linear
        Equal to the demand at `aboard`, and everywhere within one regime but for the
        coal's mild curve.

    Notes
    -----
    Measured use is straight already, so its lines are exact.
    """
    low = np.maximum(aboard - step, 0.0)
    high = low + 2 * step
    here, before, after = (demand.evaluate(mass, gear) for mass in (aboard, low, high))

    def line(name: str) -> tuple[Array, Array]:
        slope = (getattr(after, name) - getattr(before, name)) / (2 * step)
        return getattr(here, name) - slope * aboard, slope

    duration, duration_slope = line("duration")
    water, water_slope = line("water")
    coal, coal_slope = line("coal")
    return Linear(
        duration=duration,
        duration_slope=duration_slope,
        water=water,
        water_slope=water_slope,
        coal=coal,
        coal_slope=coal_slope,
    )
