"""What the programme is told of stops, stores and days: minutes from departure, kg."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

__all__ = [
    "LEAST_TAKEN",
    "Bound",
    "Cart",
    "Duty",
    "Fire",
    "Halt",
    "Limits",
    "Meal",
    "Offer",
    "Rules",
]

#: A stop is made for at least this share of a store, or all there is. haulplan's assumption.
LEAST_TAKEN: Final = 0.02


@dataclass(frozen=True, kw_only=True)
class Offer:
    """What a supply or a truck offers; `row` tells its passes belong together.

    `opens` is minus infinity and `closes` infinity where it never shuts; both are of the
    first day. `blowdown` is the share of the water taken that is blown down before moving
    off, `most_water` what may be taken of it at one stop. `access_` is the drive off the
    road, there and back.
    """

    row: int
    water: float
    water_rate: float
    water_price: float
    coal: float
    coal_rate: float
    coal_price: float
    call_out: float
    set_up: float
    opens: float
    closes: float
    truck: bool = False
    in_turn: bool = False
    blowdown: float = 0.0
    most_water: float = math.inf
    access_time: float = 0.0
    access_water: float = 0.0
    access_coal: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Bound:
    """base + water W + coal C + cart V + boiler B ≤ most, at a bridge [kg].

    `loose` is what the bound gives way by when the train is uncoupled.
    """

    name: str
    row: int
    base: float
    water: float
    coal: float
    cart: float
    boiler: float
    most: float
    loose: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Halt:
    """What may happen at a node besides serving.

    `stay` is a call that must be made, arriving in time for `closes` on day `day`.
    `bounds` hold on leaving the node; `uncouple` and `drain` [kg/min] are ways over.
    `crest` is the boiler water above the working level carried past the node.
    """

    stands: bool = False
    stay: float | None = None
    opens: float = -math.inf
    closes: float = math.inf
    day: int | None = None
    night: bool = False
    night_price: float = 0.0
    bounds: tuple[Bound, ...] = ()
    uncouple: float | None = None
    drain: float | None = None
    crest: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Stores, reserves and levels, the margin for straightening already added [kg]."""

    tank: float
    bunker: float
    reserve_water: float
    reserve_coal: float
    start_water: float
    start_coal: float
    finish_water: float
    finish_coal: float
    standing_water: float
    standing_coal: float
    mass_margin: float
    time_margin: float


@dataclass(frozen=True, kw_only=True)
class Fire:
    """How the fire is kept overnight, what that takes, and the lead of lighting up."""

    name: str
    water: float
    coal: float
    lead: float


@dataclass(frozen=True, kw_only=True)
class Duty:
    """Work due after so many minutes of running, or so many metres.

    `since` is what has run up at the start already, in the same measure.
    """

    name: str
    minutes: float
    metres: float
    takes: float
    beside: bool
    since: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Meal:
    """A meal that begins between two clocks of each day.

    `today` tells whether the first day owes it, where that is known before the departure
    is: of a day begun before the problem does.
    """

    name: str
    earliest: float
    latest: float
    takes: float
    today: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Cart:
    """A towed store of water, emptied into the tank while standing."""

    room: float
    start: float
    rate: float


@dataclass(frozen=True, kw_only=True)
class Rules:
    """The days, the crew and the stores beyond tank and bunker.

    `earliest` and `latest` are when wheels may turn, one pair a day; there are as many
    nights at most as days after the first. `boiler` is the room above the working level
    and `feed` what the injectors move per minute; infinite feed leaves the boiler out.
    `most_stops` may be made, any number where None.
    """

    halts: Mapping[int, Halt] = field(default_factory=dict)
    depart_by: float = 0.0
    earliest: tuple[float, ...] = (-math.inf,)
    latest: tuple[float, ...] = (math.inf,)
    crew: float = math.inf
    rest: float = 0.0
    lead: float = 0.0
    fires: tuple[Fire, ...] = ()
    duties: tuple[Duty, ...] = ()
    meals: tuple[Meal, ...] = ()
    cart: Cart | None = None
    boiler: float = 0.0
    feed: float = math.inf
    most_stops: int | None = None

    @property
    def nights(self) -> int:
        """Most nights on the way."""
        return len(self.latest) - 1

    @property
    def by_the_clock(self) -> bool:
        """Whether any stop goes by the time of day or the length of the day."""
        ends = any(math.isfinite(latest) for latest in self.latest)
        return ends or math.isfinite(self.crew) or bool(self.nights or self.meals)

    @property
    def has_boiler(self) -> bool:
        """Whether the boiler is a store of its own."""
        return math.isfinite(self.feed)

    @property
    def plain(self) -> bool:
        """Whether the tank is filled at supplies only, and steamed from only."""
        return self.cart is None and not self.has_boiler
