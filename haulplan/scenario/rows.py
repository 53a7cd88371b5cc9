"""What the tables of a scenario may say: every column, its kind, bounds and meaning."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from haulplan.scenario.fields import (
    Along,
    Clock,
    Date,
    Text,
    amount,
    angle,
    level,
    price,
    quantity,
)

__all__ = [
    "Bridge",
    "DemandRow",
    "LevelCrossing",
    "Model",
    "Place",
    "RoadRow",
    "Store",
    "Supply",
    "Surface",
    "SurfaceRow",
    "YesNo",
]

_DAY = 86400.0
Surface = Literal[
    "asphalt", "brick", "setts", "macadam", "worn macadam", "gravel", "loose gravel", "earth",
    "sand",
]  # fmt: skip
YesNo = Literal["yes", "no"]


class Model(BaseModel):
    """A frozen row or section; unknown columns and keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=True)


class _Located(Model):
    """A row put on the route by distance (`at`) or by latitude and longitude."""

    name: Text
    at: Along | None = None
    latitude: Annotated[float, angle(90)] | None = None
    longitude: Annotated[float, angle(180)] | None = None

    @model_validator(mode="after")
    def _located_once(self) -> Self:
        if (self.latitude is None) is not (self.longitude is None):
            raise ValueError("latitude and longitude are not both there; give both, or 'at'")
        if (self.at is None) is (self.latitude is None):
            raise ValueError(
                "not put on the road once; give either 'at' or 'latitude' and 'longitude'"
            )
        return self


class Supply(_Located):
    """One row of supply.csv: a place where water or coal may be taken."""

    kind: Text
    water_available: Annotated[float, amount("water")] | None = None
    water_rate: Annotated[float, quantity("water rate", "0.1 L/min", "20000 L/min")] | None = None
    water_price: Annotated[float, price("water")] = 0.0
    coal_available: Annotated[float, amount("coal")] | None = None
    coal_rate: Annotated[float, quantity("coal rate", "0.1 kg/min", "5000 kg/min")] | None = None
    coal_price: Annotated[float, price("coal")] = 0.0
    call_out: Annotated[float, price(None)] = 0.0
    set_up: Annotated[float, quantity("duration", "0 s", "12 h")] = 0.0
    opens: Clock = 0.0
    closes: Clock = _DAY
    lift: Annotated[float, quantity("length", "0 ft", "30 ft")] | None = None
    sacks: YesNo = "no"
    serving: Literal["together", "in turn"] | None = None
    access: Annotated[float, quantity("length", "0 m", "20 km")] = 0.0
    access_surface: Surface | None = None
    access_time: Annotated[float, quantity("duration", "0 s", "12 h")] | None = None
    access_water: Annotated[float, quantity("water", "0 L", "20000 L")] | None = None
    access_coal: Annotated[float, quantity("coal", "0 kg", "5 t")] | None = None
    turning_time: Annotated[float, quantity("duration", "0 s", "3 h")] = 0.0
    turning: YesNo = "no"
    night: YesNo = "no"
    night_price: Annotated[float, price(None)] = 0.0
    standing: Literal["hard", "dry only"] = "hard"
    quality: Literal["good", "hard", "muddy", "alkaline"] = "good"
    solids: Annotated[float, quantity("solids", "0 ppm", "20000 ppm")] | None = None
    side: Text | None = None
    contact: Text | None = None
    permit: Text | None = None
    last_confirmed: Date | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _offers_something(self) -> Self:
        if self.water_available is None and self.coal_available is None:
            raise ValueError("neither water_available nor coal_available; give at least one")
        for store in ("water", "coal"):
            offered = getattr(self, f"{store}_available") is not None
            rated = getattr(self, f"{store}_rate") is not None
            rated |= offered and store == "coal" and self.sacks == "yes"
            if offered is not rated:
                raise ValueError(
                    f"{store}_available and {store}_rate are not both there; give both"
                )
        if self.opens >= self.closes:
            raise ValueError("'opens' is not before 'closes'; swap or mend them")
        return self


class Bridge(_Located):
    """One row of bridges.csv: a posted limit, of everything on the span or of its axles.

    With `uncouple` the engine may go over alone and the wagons one by one, in that time;
    with `drain` the tank may be run off there at that rate.
    """

    limit: Annotated[float, quantity("mass", "0.1 t", "500 t")]
    kind: Literal["gross", "axle", "tandem"] = "gross"
    uncouple: Annotated[float, quantity("duration", "1 s", "12 h")] | None = None
    drain: Annotated[float, quantity("water rate", "0.1 L/min", "20000 L/min")] | None = None
    last_confirmed: Date | None = None
    note: Text | None = None


class LevelCrossing(_Located):
    """One row of crossings.csv: a level crossing, and the telephone of its signaller."""

    telephone: Text | None = None
    last_confirmed: Date | None = None
    note: Text | None = None


class Place(_Located):
    """One row of places.csv: a landmark, a place to stand, or a call to be kept.

    With `stay` the train calls there for at least so long, arriving between `opens` and
    `closes` on day `day` of the run (any day where not given). A `pull_in` has room to let
    traffic by.
    """

    halt: YesNo = "no"
    turning: YesNo = "no"
    turning_time: Annotated[float, quantity("duration", "0 s", "3 h")] | None = None
    pull_in: YesNo = "no"
    night: YesNo = "no"
    night_price: Annotated[float, price(None)] = 0.0
    stay: Annotated[float, quantity("duration", "0 s", "24 h")] | None = None
    opens: Clock = 0.0
    closes: Clock = _DAY
    day: Annotated[int, Field(ge=1, le=10)] | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _call(self) -> Self:
        if self.opens >= self.closes:
            raise ValueError("'opens' is not before 'closes'; swap or mend them")
        if self.stay is None and (self.day is not None or self.opens > 0 or self.closes < _DAY):
            raise ValueError("hours or day without 'stay'; give how long the train calls there")
        return self


class Store(Model):
    """One row of stores.csv: a towed water cart, or a truck that meets the train.

    A cart is a wagon of the train, named as there; its water goes into the tank only while
    the train stands. A truck serves any halt, `loads` fillings of it in all.
    """

    name: Text
    kind: Literal["cart", "truck"]
    water: Annotated[float, quantity("water", "0 L", "50000 L")] = 0.0
    coal: Annotated[float, quantity("coal", "0 kg", "30 t")] = 0.0
    at_start: Annotated[float, level("water")] = float("inf")
    loads: Annotated[int, Field(ge=1, le=50)] = 1
    water_rate: Annotated[float, quantity("water rate", "0.1 L/min", "20000 L/min")] | None = None
    coal_rate: Annotated[float, quantity("coal rate", "0.1 kg/min", "5000 kg/min")] | None = None
    water_price: Annotated[float, price("water")] = 0.0
    coal_price: Annotated[float, price("coal")] = 0.0
    call_out: Annotated[float, price(None)] = 0.0
    set_up: Annotated[float, quantity("duration", "0 s", "12 h")] = 0.0

    @model_validator(mode="after")
    def _carries_something(self) -> Self:
        if self.kind == "cart" and (not self.water or self.coal):
            raise ValueError("a cart carries water and nothing else; mend water or coal")
        if not self.water and not self.coal:
            raise ValueError("neither water nor coal; give at least one")
        for name in ("water", "coal"):
            if (getattr(self, name) > 0) is not (getattr(self, f"{name}_rate") is not None):
                raise ValueError(f"{name} and {name}_rate are not both there; give both")
        return self


class SurfaceRow(Model):
    """One row of surfaces.csv: the surface, and a speed limit, of a stretch."""

    begin: Along
    end: Along
    surface: Surface | None = None
    speed_limit: Annotated[float, quantity("speed", "0.5 mph", "60 mph")] | None = None

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.end <= self.begin:
            raise ValueError("'to' is not beyond 'from'; swap or mend them")
        if self.surface is None and self.speed_limit is None:
            raise ValueError("neither surface nor speed_limit; give at least one")
        return self


class RoadRow(Model):
    """One row of route.csv or a grades table: the height there, or the grade from there on."""

    distance: Along
    elevation: Annotated[float, quantity("length", "-500 m", "9000 m")] | None = None
    grade: Annotated[float, quantity("grade", "-40 %", "40 %")] | None = None
    surface: Surface | None = None


class DemandRow(Model):
    """One row of demand.csv: measured use of a stretch.

    Water and coal with nothing aboard, and the extra use per mass of water and coal
    aboard at the stretch's start. A row `to` a lesser distance than `from` is of the way
    back.
    """

    begin: Along
    end: Along
    gear: Text = "-"
    duration: Annotated[float, quantity("duration", "0 s", "100 h")]
    water: Annotated[float, quantity("water", "0 kg", "100 t")]
    coal: Annotated[float, quantity("coal", "0 kg", "100 t")]
    water_per_mass: Annotated[float, quantity("mass per mass", "0", "0.5")] = 0.0
    coal_per_mass: Annotated[float, quantity("mass per mass", "0", "0.5")] = 0.0

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.end == self.begin:
            raise ValueError("'to' is where 'from' is; mend one of them")
        return self
