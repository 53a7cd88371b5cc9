"""What an event may say: every key of event.toml and every column of its tables."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from haulplan import units
from haulplan.scenario.fields import (
    Along,
    Clock,
    Date,
    Reading,
    Text,
    amount,
    angle,
    level,
    price,
    quantity,
)
from haulplan.scenario.schema import Conditions, RouteSource

__all__ = [
    "AIMS",
    "Aim",
    "Anywhere",
    "Chances",
    "EventFile",
    "FleetRow",
    "MixRow",
    "Procession",
    "Service",
    "SiteRow",
    "SpanRow",
    "StandingRow",
    "TruckRow",
]

Aim = Literal["fewest stations", "best service", "least cost"]
AIMS: tuple[Aim, ...] = ("fewest stations", "best service", "least cost")
Side = Literal["left", "right"]
YesNo = Literal["yes", "no"]
_Share = quantity("share", "0 %", "95 %")
_Spread = quantity("share", "0 %", "60 %")
_Pause = quantity("duration", "0 s", "4 h")


def _per_length(value: object) -> float:
    """Water per length of road, as in '14 imp gal/mi' [kg m⁻¹]."""
    water, slash, length = str(value).rpartition("/")
    if not slash:
        raise ValueError("write water per length, as in '14 imp gal/mi' or '40 L/km'")
    found = units.parse("water", water) / units.parse("length", f"1 {length.strip()}")
    if not 0 <= found <= 0.5:
        raise ValueError("allowed is 0 to 500 L/km")
    return found


Thirst = Annotated[float, Reading(_per_length, takes="water for a length, 0 to 500 L/km")]
Hourly = Annotated[float, quantity("water rate", "0 L/h", "5000 L/h")]
Tank = Annotated[float, quantity("water", "1 L", "50000 L")]
Weight = Annotated[float, quantity("mass", "10 kg", "100 t")]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=True)


class Procession(_Model):
    """How the engines go: one behind another, nobody overtakes on the road."""

    pace: Annotated[float, quantity("speed", "0.5 mph", "20 mph")]
    stagger: Annotated[float, quantity("duration", "0 s", "2 h")] = 120.0
    gap: Annotated[float, quantity("length", "0 m", "2 km")] = 100.0
    laps: Annotated[int, Field(ge=1, le=50, strict=True)] = 1
    keeps: Side = "left"
    cross_road: bool = False


class Service(_Model):
    """What a stop takes, and the most that may be laid on."""

    position: Annotated[float, _Pause] = 120.0
    connect: Annotated[float, _Pause] = 60.0
    clear: Annotated[float, _Pause] = 120.0
    bag_time: Annotated[float, quantity("duration", "0 s", "10 min")] = 20.0
    bag: Annotated[float, quantity("coal", "1 kg", "200 kg")] = 25.0
    longest_wait: Annotated[float, quantity("duration", "0 s", "24 h")] = 3600.0
    allowance: Annotated[float, _Pause] = 900.0
    standing_length: Annotated[float, quantity("length", "3 m", "60 m")] = 20.0
    hoses: Annotated[int, Field(ge=1, le=1000, strict=True)] | None = None
    rendezvous: Annotated[int, Field(ge=0, le=200, strict=True)] = 0
    in_hand: Annotated[float, _Share] = 0.25


class Chances(_Model):
    """How far the day may be from the figures, and what must hold all the same."""

    nobody_dry: Annotated[float, quantity("share", "50 %", "99.9 %")] = 0.98
    pessimism: Annotated[float, quantity("share", "50 %", "99.9 %")] = 0.9
    reserve: Annotated[float, _Share] = 0.1
    day: Annotated[float, _Spread] = 0.08
    engine: Annotated[float, _Spread] = 0.08
    leg: Annotated[float, _Spread] = 0.06
    runs: Annotated[int, Field(ge=10, le=100_000, strict=True)] = 300
    draw: Annotated[int, Field(ge=0, le=2**31, strict=True)] = 1


class Anywhere(_Model):
    """Stations where a stretch of hard standing allows one, besides the listed sites."""

    spacing: Annotated[float, quantity("length", "50 m", "20 km")]
    hoses: Annotated[int, Field(ge=1, le=20, strict=True)] = 2
    rate: Annotated[float, quantity("water rate", "1 L/min", "5000 L/min")]
    call_out: Annotated[float, price(None)] = 0.0


class EventFile(_Model):
    """event.toml."""

    title: Text
    start: Text
    finish: Text
    date: Date
    depart: Clock
    units: Literal["us", "imperial", "metric"] = "imperial"
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "GBP"
    aims: Annotated[tuple[Aim, ...], Field(min_length=1, max_length=3)] = AIMS
    route: RouteSource
    procession: Procession
    service: Service = Service()
    chances: Chances = Chances()
    anywhere: Anywhere | None = None
    conditions: Conditions = Conditions()
    stale_after: Annotated[float, quantity("duration", "1 day", "3650 day")] = 90 * 86400.0

    @model_validator(mode="after")
    def _aims_once(self) -> Self:
        if len(set(self.aims)) < len(self.aims):
            raise ValueError("an aim stands twice in 'aims'; name each once, the first first")
        return self


class FleetRow(_Model):
    """One row of fleet.csv: an engine by its own figures, by class, or both."""

    engine: Text
    kind: Text | None = None
    tank: Tank | None = None
    at_start: Annotated[float, level("water")] = float("inf")
    thirst_hour: Hourly | None = None
    thirst_mile: Thirst | None = None
    standing: Hourly | None = None
    speed: Annotated[float, quantity("speed", "0.5 mph", "20 mph")] | None = None
    width: Annotated[float, quantity("length", "0.3 m", "6 m")] | None = None
    weight: Weight | None = None
    coal: Annotated[float, quantity("coal", "0 kg", "10 t")] | None = None
    slot: Annotated[int, Field(ge=1, le=100_000)] | None = None
    lifts_water: YesNo = "no"
    joins: Along | None = None
    leaves: Along | None = None
    contact: Text | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.kind is None and self.tank is None:
            raise ValueError("neither kind nor tank; give the engine's class, or its own figures")
        if self.kind is None and self.thirst_hour is None and self.thirst_mile is None:
            raise ValueError("no thirst; give thirst_hour or thirst_mile, or the engine's class")
        if self.joins is not None and self.leaves is not None and self.joins >= self.leaves:
            raise ValueError("'joins' is not before 'leaves'; swap or mend them")
        return self


class MixRow(_Model):
    """One row of mix.csv: so many engines of a class, drawn within its bands."""

    kind: Text
    count: Annotated[int, Field(ge=1, le=500)]


class _Located(_Model):
    """A row put on the route by distance (`at`) or by latitude and longitude."""

    name: Text
    at: Along | None = None
    latitude: Annotated[float, angle(90)] | None = None
    longitude: Annotated[float, angle(180)] | None = None

    @model_validator(mode="after")
    def _located_once(self) -> Self:
        both = self.latitude is not None and self.longitude is not None
        if (self.latitude is None) is not (self.longitude is None) or both is (self.at is not None):
            raise ValueError(
                "not put on the road once; give either 'at' or 'latitude' and 'longitude'"
            )
        return self


class SiteRow(_Located):
    """One row of sites.csv: where a station may, must or must not be."""

    kind: Literal["hydrant", "tap", "pond", "truck", "lay-by"]
    status: Literal["candidate", "existing", "forbidden"] = "candidate"
    side: Literal["left", "right", "both"] = "both"
    hoses: Annotated[int, Field(ge=1, le=50)] = 1
    rate: Annotated[float, quantity("water rate", "0.1 L/min", "20000 L/min")]
    flow: Annotated[float, quantity("water rate", "0.1 L/min", "20000 L/min")] | None = None
    water: Annotated[float, amount("water")] = float("inf")
    hard_standing: Annotated[float, quantity("length", "5 m", "5 km")] | None = None
    widest: Annotated[float, quantity("length", "0.5 m", "10 m")] | None = None
    heaviest: Weight | None = None
    call_out: Annotated[float, price(None)] = 0.0
    water_price: Annotated[float, price("water")] = 0.0
    coal: YesNo = "no"
    contact: Text | None = None
    permit: Text | None = None
    last_confirmed: Date | None = None
    note: Text | None = None


class StandingRow(_Model):
    """One row of hard_standing.csv: a stretch where a station may be put anywhere."""

    begin: Along
    end: Along
    side: Literal["left", "right", "both"] = "both"
    depth: Annotated[float, quantity("length", "5 m", "5 km")]

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.end <= self.begin:
            raise ValueError("'to' is not beyond 'from'; swap or mend them")
        return self


class SpanRow(_Located):
    """One row of bridges.csv: the posted gross limit, the clear width, or both."""

    limit: Annotated[float, quantity("mass", "0.1 t", "500 t")] | None = None
    width: Annotated[float, quantity("length", "1 m", "30 m")] | None = None
    last_confirmed: Date | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _limits_something(self) -> Self:
        if self.limit is None and self.width is None:
            raise ValueError("neither limit nor width; give at least one")
        return self


class TruckRow(_Model):
    """One row of trucks.csv: a tank truck, where it fills, and what it is for."""

    truck: Text
    role: Literal["station", "roving"] = "station"
    volume: Annotated[float, quantity("water", "100 L", "50000 L")]
    tare: Weight
    pump: Annotated[float, quantity("water rate", "1 L/min", "20000 L/min")]
    speed: Annotated[float, quantity("speed", "2 mph", "50 mph")]
    base: Along = 0.0
    fill_at: Along = 0.0
    fill_off: Annotated[float, quantity("length", "0 m", "100 km")] = 0.0
    fill_rate: Annotated[float, quantity("water rate", "1 L/min", "20000 L/min")]
    set_up: Annotated[float, _Pause] = 300.0
    ready: Clock = 0.0
    cost: Annotated[float, price(None)] = 0.0
    contact: Text | None = None
    note: Text | None = None
