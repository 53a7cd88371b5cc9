"""The plan: what the crew does, stop by stop; figures in SI, clock in seconds of the day."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from haulplan.demand.defaults import Assumption

__all__ = ["Crossing", "Leg", "Plan", "Stop", "Trace"]


@dataclass(frozen=True, kw_only=True)
class Stop:
    """The start, a supply stopped at, or the finish.

    `row` is the supply's place in supply.csv (None at start and finish); `number` counts
    the supplies stopped at from 1. `wait` is standing before the supply opens.
    """

    kind: Literal["start", "supply", "finish"]
    name: str
    number: int
    row: int | None
    distance: float
    arrive: float
    depart: float
    wait: float
    tank_arrive: float
    tank_depart: float
    bunker_arrive: float
    bunker_depart: float
    water_taken: float
    coal_taken: float
    water_standing: float
    coal_standing: float
    money: float


@dataclass(frozen=True, kw_only=True)
class Leg:
    """The road between two stops. `gears` gives the distance driven in each gear."""

    begin: int
    end: int
    distance: float
    length: float
    climb: float
    descent: float
    duration: float
    water: float
    coal: float
    gears: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """A posted bridge as the train meets it."""

    name: str
    row: int
    distance: float
    clock: float
    gross: float
    limit: float


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Levels sample by sample along the route, at the moment of leaving each sample."""

    distance: tuple[float, ...]
    tank: tuple[float, ...]
    bunker: tuple[float, ...]
    clock: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A plan that survived its replay.

    `objective` is what the aim minimised (seconds, money, stops or weighted points),
    `bound` the proven best there could be, `gap` their distance relative to `objective`.
    """

    title: str
    date: dt.date
    aim: str
    objective: float
    bound: float
    gap: float
    proven: bool
    stops: tuple[Stop, ...]
    legs: tuple[Leg, ...]
    crossings: tuple[Crossing, ...]
    choices: tuple[int, ...]
    dry_weight: float
    lighting_up_coal: float | None
    warnings: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    versions: Mapping[str, str]

    @property
    def arrival(self) -> float:
        """Clock at the finish, seconds from midnight of the date [s]."""
        return self.stops[-1].arrive

    @property
    def money(self) -> float:
        """What the plan pays at its stops [currency]."""
        return sum(stop.money for stop in self.stops)
