"""The plan: what the crew does, stop by stop; figures in SI, clock in seconds of the day."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from haulplan.demand import Demand
from haulplan.demand.defaults import Assumption
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = [
    "Crest",
    "Crossing",
    "Day",
    "Fallback",
    "Leg",
    "Plan",
    "Proof",
    "Stop",
    "Telling",
    "Thirst",
    "Trace",
]

#: What is found out besides a plan.
Telling = Literal["all", "refusals", "nothing"]


@dataclass(frozen=True, kw_only=True)
class Stop:
    """The start, a place where the train stands, or the finish.

    `row` is its place in its table: supply.csv, places.csv for a halt, bridges.csv for a
    bridge crossed uncoupled or lightened (None at start and finish); `truck` is the row in
    stores.csv of the truck that serves a halt. `number` counts the stops from 1.
    `arrive` is on reaching the place, `depart` on moving off, next morning after a night;
    `stay` of that is standing by day, `wait` included, `access_time` the drive off the
    road. `boiler` figures are above the working level. `fire` tells how the fire was kept
    where a night was spent; `spare` is how much further, at the rate of the leg just driven,
    the train could have come with the reserve left [m].
    """

    kind: Literal["start", "supply", "halt", "bridge", "finish"]
    name: str
    number: int
    row: int | None
    distance: float
    day: int = 1
    arrive: float
    depart: float
    wait: float
    stay: float = 0.0
    access_time: float = 0.0
    access_water: float = 0.0
    access_coal: float = 0.0
    truck: int | None = None
    tank_arrive: float
    tank_depart: float
    bunker_arrive: float
    bunker_depart: float
    water_taken: float
    coal_taken: float
    blown_down: float = 0.0
    water_standing: float
    coal_standing: float
    cart_arrive: float = 0.0
    cart_depart: float = 0.0
    cart_filled: float = 0.0
    cart_emptied: float = 0.0
    boiler_arrive: float = 0.0
    boiler_depart: float = 0.0
    drained: float = 0.0
    uncoupled: bool = False
    fire: str | None = None
    night_water: float = 0.0
    night_coal: float = 0.0
    spare: float = 0.0
    meals: tuple[str, ...] = ()
    duties: tuple[str, ...] = ()
    money: float

    @property
    def night(self) -> float:
        """From the end of the day's work to moving off in the morning [s]."""
        return self.depart - self.arrive - self.stay - self.access_time


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
    """A posted bridge as the train meets it.

    `gross` is our figure for what the post limits: everything on the span (the engine alone
    where uncoupled), or the heaviest axle or tandem, named in `what`.
    """

    name: str
    row: int
    distance: float
    clock: float
    gross: float
    limit: float
    what: str = "gross"
    uncoupled: bool = False


@dataclass(frozen=True, kw_only=True)
class Crest:
    """A crest the boiler is filled for: water above the working level, needed and carried."""

    distance: float
    needed: float
    carried: float


@dataclass(frozen=True, kw_only=True)
class Day:
    """One day of the run: fire lit, wheels turning from `depart` to `arrive`, daylight."""

    date: dt.date
    lit: float
    depart: float
    arrive: float
    earliest: float
    latest: float


@dataclass(frozen=True, kw_only=True)
class Thirst:
    """The chance of running dry, its 95 % interval, and how many drives it was seen in."""

    chance: float
    low: float
    high: float
    drives: int


@dataclass(frozen=True, kw_only=True)
class Fallback:
    """What to do when nothing of one kind is to be had at a stop.

    `stop` is its number. It is known too late beyond `decide_at`, where the train stands
    at `decide_name`; from there the next stop is `next_name`, and the day ends `later`
    than planned. Where there is none at all, `next_name` is None. With `turn_name` the train
    turns round there first and goes back to `next_name`, then on again, turned round once
    more at `again_name`.
    """

    stop: int
    kind: Literal["water", "coal"]
    decide_at: float
    decide_name: str
    next_name: str | None
    next_distance: float
    later: float
    turn_name: str | None = None
    turn_at: float = 0.0
    again_name: str | None = None


@dataclass(frozen=True, kw_only=True)
class Proof:
    """A way that turns back as a plan over the road it drives, for the replay."""

    scenario: Scenario
    route: Route
    demand: Demand
    plan: "Plan"


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Levels sample by sample along the route, at the moment of leaving each sample."""

    distance: tuple[float, ...]
    tank: tuple[float, ...]
    bunker: tuple[float, ...]
    cart: tuple[float, ...]
    boiler: tuple[float, ...]
    clock: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A plan that survived its replay.

    `objective` is what the aim minimised (seconds, money, stops or weighted points),
    `bound` the proven best there could be, `gap` their distance relative to `objective`.
    `feeds` are distances between stops with the boiler water above the working level there,
    where the boiler is a store of its own [m], [kg]. The reserves are those planned with;
    `survives` tells that a way on is left whichever stop is found shut. `proofs` are the
    ways on that turn back.
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
    crests: tuple[Crest, ...] = ()
    feeds: tuple[tuple[float, float], ...] = ()
    days: tuple[Day, ...] = ()
    fallbacks: tuple[Fallback, ...] = ()
    proofs: tuple[Proof, ...] = field(default=(), compare=False, repr=False)
    reserve_water: float = 0.0
    reserve_coal: float = 0.0
    survives: bool = False
    thirst: Thirst | None = None
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
