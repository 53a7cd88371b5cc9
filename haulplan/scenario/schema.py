"""What a scenario may say: every key and column, its kind, bounds and meaning.

The models are frozen; their figures are SI floats, turned from text by `haulplan.units`.
Bounds catch slips of unit or decimal point, not unusual engines.
"""

from typing import Annotated, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from haulplan.scenario.fields import (
    Along,
    Clock,
    Date,
    Text,
    Weight,
    amount,
    angle,
    level,
    price,
    quantity,
)

__all__ = [
    "Aim",
    "Bridge",
    "Conditions",
    "DemandRow",
    "Engine",
    "Fuel",
    "Gear",
    "Glass",
    "Levels",
    "Model",
    "Outline",
    "Place",
    "RoadRow",
    "RouteSource",
    "ScenarioFile",
    "Stores",
    "Supply",
    "SurfaceRow",
    "Train",
    "Wagon",
]

_DAY = 86400.0
Surface = Literal[
    "asphalt", "brick", "setts", "macadam", "worn macadam", "gravel", "loose gravel", "earth",
    "sand",
]  # fmt: skip


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=True)


#: What rows of tables beside a scenario are made of too.
Model = _Model


class Gear(_Model):
    """One gear: crank turns per turn of the driving wheels, and the speed it is driven at."""

    name: Text
    ratio: Annotated[float, Field(ge=1, le=100, strict=True)]
    speed: Annotated[float, quantity("speed", "0.2 mph", "20 mph")]
    meshes: Annotated[int, Field(ge=1, le=6, strict=True)] | None = None


class Glass(_Model):
    """The boiler's shape where the water glass matters, from its owner or inspector.

    Distances along the boiler are from the middle of the free water surface, backwards
    positive; heights are above the highest point of the firebox crown.
    """

    crown_back: Annotated[float, quantity("length", "0 in", "150 in")]
    tubes_front: Annotated[float, quantity("length", "-200 in", "0 in")]
    tubes_height: Annotated[float, quantity("length", "-60 in", "60 in")]
    glass_at: Annotated[float, quantity("length", "-150 in", "150 in")]
    glass_bottom: Annotated[float, quantity("length", "-20 in", "20 in")]
    glass_length: Annotated[float, quantity("length", "2 in", "40 in")]
    minimum_cover: Annotated[float, quantity("length", "0 in", "20 in")]
    swell: Annotated[float, quantity("length", "0 in", "10 in")]
    surface_area: Annotated[float, quantity("area", "0.05 m2", "20 m2")]


class Engine(_Model):
    """The engine, as its owner describes it.

    `weight` is with the boiler filled to the working level and the crew up, tank and
    bunkers empty. `kind` names the class that figures not given are taken from. With
    `low_pressure_bore` the engine is a compound and half its cylinders are of that bore.
    """

    name: Text
    kind: Text | None = None
    weight: Annotated[float, quantity("mass", "0.2 t", "80 t")]
    weight_on_drivers: Annotated[float, quantity("mass", "0.1 t", "80 t")]
    pressure: Annotated[float, quantity("pressure", "40 psi", "300 psi")]
    cylinders: Annotated[int, Field(ge=1, le=4, strict=True)]
    bore: Annotated[float, quantity("length", "1 in", "30 in")]
    low_pressure_bore: Annotated[float, quantity("length", "1 in", "40 in")] | None = None
    stroke: Annotated[float, quantity("length", "1 in", "40 in")]
    wheel_diameter: Annotated[float, quantity("length", "0.2 m", "4 m")]
    tyre: Literal["steel", "strakes", "rubber"]
    tyre_width: Annotated[float, quantity("length", "1 in", "40 in")] | None = None
    control: Literal["throttle", "cut-off"] = "throttle"
    grate_area: Annotated[float, quantity("area", "0.02 m2", "5 m2")]
    heating_surface: Annotated[float, quantity("area", "0.5 m2", "150 m2")]
    boiler_water: Annotated[float, quantity("water", "10 L", "20000 L")]
    boiler_metal: Annotated[float, quantity("mass", "50 kg", "40 t")]
    gears: Annotated[tuple[Gear, ...], Field(min_length=1, max_length=6)]
    low_gear_descent: Annotated[float, quantity("grade", "0 %", "40 %")] | None = None
    gear_change: Annotated[float, quantity("duration", "0 s", "30 min")] | None = None
    running_cut_off: Annotated[float, quantity("share", "15 %", "90 %")] | None = None
    longest_cut_off: Annotated[float, quantity("share", "30 %", "95 %")] | None = None
    diagram_factor: Annotated[float, quantity("share", "50 %", "100 %")] | None = None
    condensation: Annotated[float, quantity("share", "0 %", "60 %")] | None = None
    transmission_efficiency: Annotated[float, quantity("share", "40 %", "100 %")] | None = None
    adhesion: Annotated[float, quantity("share", "5 %", "100 %")] | None = None
    auxiliary_steam: Annotated[float, quantity("share", "0 %", "30 %")] | None = None
    frontal_area: Annotated[float, quantity("area", "0.2 m2", "20 m2")] | None = None
    steepest_descent: Annotated[float, quantity("grade", "0 %", "40 %")] | None = None
    glass: Glass | None = None
    firing_rate: (
        Annotated[float, quantity("firing rate", "1 lb/sq ft/h", "200 lb/sq ft/h")] | None
    ) = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.weight_on_drivers > self.weight:
            raise ValueError("weight_on_drivers is above weight; give the part of it on them")
        if self.low_pressure_bore is not None and (
            self.cylinders % 2 or self.low_pressure_bore <= self.bore
        ):
            raise ValueError(
                "a compound has a low-pressure cylinder of larger bore for each high-pressure "
                "one; count both in cylinders"
            )
        if len({gear.name for gear in self.gears}) < len(self.gears):
            raise ValueError("two gears have the same name; rename one")
        speeds = [gear.speed for gear in sorted(self.gears, key=lambda gear: -gear.ratio)]
        if speeds != sorted(set(speeds)):
            raise ValueError("a gear with a higher ratio is not slower; check ratio and speed")
        longest = 1.0 if self.longest_cut_off is None else self.longest_cut_off
        if self.running_cut_off is not None and self.running_cut_off > longest:
            raise ValueError("running_cut_off is above longest_cut_off; swap or mend them")
        return self


class Wagon(_Model):
    """One kind of wagon in the train."""

    name: Text
    tare: Annotated[float, quantity("mass", "1 kg", "60 t")]
    load: Annotated[float, quantity("mass", "0 kg", "100 t")] = 0.0
    tyre: Literal["steel", "rubber"]
    wheel_diameter: Annotated[float, quantity("length", "0.2 m", "3 m")] | None = None
    tyre_width: Annotated[float, quantity("length", "1 in", "20 in")] | None = None
    count: Annotated[int, Field(ge=1, le=60, strict=True)] = 1


class Train(_Model):
    """The wagons; `dry_weight` states engine and train together where no engine is given."""

    wagons: Annotated[tuple[Wagon, ...], Field(max_length=60)] = ()
    dry_weight: Annotated[float, quantity("mass", "0 kg", "500 t")] | None = None


class Stores(_Model):
    """Usable room in the tank and in the bunkers."""

    tank: Annotated[float, quantity("water", "1 L", "50000 L")]
    bunker: Annotated[float, quantity("coal", "0 kg", "20 t")]


class Levels(_Model):
    """Water in the tank and coal in the bunkers."""

    water: Annotated[float, level("water")]
    coal: Annotated[float, level("coal")] = 0.0


class Fuel(_Model):
    """The fuel; `kind` names the one that figures not given are taken from."""

    name: Text
    kind: Text | None = None
    heating_value: Annotated[float, quantity("heating value", "5000 Btu/lb", "16000 Btu/lb")]


class Conditions(_Model):
    """The day's conditions."""

    weather: Literal["dry", "wet", "mud", "frost"] = "dry"
    wind_speed: Annotated[float, quantity("speed", "0 mph", "60 mph")] = 0.0
    wind_from: Annotated[float, Field(ge=0, le=360, strict=True)] | None = None
    feed_temperature: Annotated[float, quantity("temperature", "32 degF", "180 degF")] | None = None
    feed_solids: Annotated[float, quantity("solids", "0 ppm", "1900 ppm")] = 0.0


class RouteSource(_Model):
    """Where the road comes from, and how places are put on it.

    `network` names roads to choose a way from, `heights` grids of the ground under them,
    `keep_off` areas no way may enter.
    """

    file: Text | None = None
    track: Text | None = None
    grades: Text | None = None
    surface: Surface = "asphalt"
    snap: Annotated[float, quantity("length", "1 m", "5 km")] = 120.0
    longest_gap: Annotated[float, quantity("length", "0 m", "50 km")] = 2000.0
    network: Text | None = None
    heights: Text | None = None
    keep_off: Text | None = None


class Outline(_Model):
    """What the train needs of a road besides strength, and what its owner refuses."""

    height: Annotated[float, quantity("length", "0.5 m", "6 m")] | None = None
    width: Annotated[float, quantity("length", "0.5 m", "6 m")] | None = None
    heaviest_axle: Annotated[float, quantity("mass", "0.1 t", "60 t")] | None = None
    steepest_climb: Annotated[float, quantity("grade", "0 %", "40 %")] | None = None
    avoid: Annotated[tuple[Surface, ...], Field(max_length=9)] = ()
    fords: Literal["avoid", "take"] = "avoid"


class Aim(_Model):
    """What the plan is best at: one aim first, or a weight on each."""

    first: Literal["earliest", "cheapest", "fewest stops"] | None = None
    minute: Weight | None = None
    money: Weight | None = None
    stop: Weight | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        weights = (self.minute, self.money, self.stop)
        given = [weight for weight in weights if weight is not None]
        if (self.first is None) is (not given):
            raise ValueError(
                "neither or both of 'first' and weights; give 'first', or 'minute', 'money', 'stop'"
            )
        if given and not any(given):
            raise ValueError("all weights are zero; give at least one above zero")
        return self


class ScenarioFile(_Model):
    """scenario.toml."""

    title: Text
    start: Text
    finish: Text
    date: Date
    depart: Clock
    units: Literal["us", "imperial", "metric"] = "us"
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")] = "USD"
    aim: Aim = Aim(first="earliest")
    stores: Stores
    at_start: Levels
    at_finish: Levels
    reserve: Levels
    route: RouteSource = RouteSource()
    outline: Outline = Outline()
    engine: Engine | None = None
    fuel: Fuel | None = None
    train: Train = Train()
    conditions: Conditions = Conditions()
    standing_water: Annotated[float, quantity("water rate", "0 L/h", "5000 L/h")] | None = None
    standing_coal: Annotated[float, quantity("coal rate", "0 kg/h", "1000 kg/h")] | None = None
    bridge_margin: Annotated[float, quantity("share", "0 %", "50 %")] = 0.0
    pessimism: Annotated[float, quantity("share", "1 %", "99 %")] | None = None
    stale_after: Annotated[float, quantity("duration", "1 day", "3650 day")] = 90 * _DAY


class _Located(_Model):
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
            if offered is not (getattr(self, f"{store}_rate") is not None):
                raise ValueError(
                    f"{store}_available and {store}_rate are not both there; give both"
                )
        if self.opens >= self.closes:
            raise ValueError("'opens' is not before 'closes'; swap or mend them")
        return self


class Bridge(_Located):
    """One row of bridges.csv: a posted gross limit for everything on the span."""

    limit: Annotated[float, quantity("mass", "0.1 t", "500 t")]
    last_confirmed: Date | None = None
    note: Text | None = None


class Place(_Located):
    """One row of places.csv: a landmark."""

    note: Text | None = None


class SurfaceRow(_Model):
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


class RoadRow(_Model):
    """One row of route.csv or a grades table: the height there, or the grade from there on."""

    distance: Along
    elevation: Annotated[float, quantity("length", "-500 m", "9000 m")] | None = None
    grade: Annotated[float, quantity("grade", "-40 %", "40 %")] | None = None
    surface: Surface | None = None


class DemandRow(_Model):
    """One row of demand.csv: measured use of a stretch.

    Water and coal with nothing aboard, and the extra use per mass of water and coal
    aboard at the stretch's start.
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
        if self.end <= self.begin:
            raise ValueError("'to' is not beyond 'from'; swap or mend them")
        return self
