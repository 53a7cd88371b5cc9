"""What a scenario may say: every key and column, its kind, bounds and meaning.

The models are frozen; their figures are SI floats, turned from text by `haulplan.units`.
Bounds catch slips of unit or decimal point, not unusual engines.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from haulplan.scenario.fields import Clock, Date, Text, Weight, angle, level, quantity
from haulplan.scenario.rows import (
    Bridge,
    DemandRow,
    LevelCrossing,
    Model,
    Place,
    RoadRow,
    Store,
    Supply,
    Surface,
    SurfaceRow,
    YesNo,
)
from haulplan.scenario.sheet import Contact, Sheet

__all__ = [
    "Aim",
    "Axles",
    "Bridge",
    "Coaling",
    "Conditions",
    "Contact",
    "DemandRow",
    "Duty",
    "Engine",
    "Fuel",
    "Gear",
    "Glass",
    "Hours",
    "Learned",
    "LevelCrossing",
    "Levels",
    "LightingUp",
    "Meal",
    "Model",
    "Nights",
    "Outline",
    "Place",
    "Risk",
    "RoadRow",
    "RouteSource",
    "ScenarioFile",
    "Sheet",
    "Store",
    "Stores",
    "Supply",
    "Surface",
    "SurfaceRow",
    "Train",
    "Wagon",
]

_DAY = 86400.0


class Learned(Model):
    """A factor on what the steam model reckons, as the engine's logs have it.

    `spread` is the spread of its logarithm for a run to come, one standard deviation.
    """

    typical: Annotated[float, Field(ge=0.3, le=3.0, strict=True)]
    spread: Annotated[float, Field(ge=0.0, le=1.0, strict=True)]


class Gear(Model):
    """One gear: crank turns per turn of the driving wheels, and the speed it is driven at."""

    name: Text
    ratio: Annotated[float, Field(ge=1, le=100, strict=True)]
    speed: Annotated[float, quantity("speed", "0.2 mph", "20 mph")]
    meshes: Annotated[int, Field(ge=1, le=6, strict=True)] | None = None


class Glass(Model):
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
    working_level: Annotated[float, quantity("length", "0 in", "40 in")] | None = None
    highest_level: Annotated[float, quantity("length", "0 in", "60 in")] | None = None
    minimum_cover: Annotated[float, quantity("length", "0 in", "20 in")]
    swell: Annotated[float, quantity("length", "0 in", "10 in")]
    surface_area: Annotated[float, quantity("area", "0.05 m2", "20 m2")]


class Axles(Model):
    """Where the engine's weight stands: lever arms from the driving axle, ahead positive.

    `wheelbase` is from the driving axle to the leading one; the boiler's water is in
    `weight` and `weight_on_drivers` at the working level.
    """

    wheelbase: Annotated[float, quantity("length", "2 ft", "40 ft")]
    tank_ahead: Annotated[float, quantity("length", "-20 ft", "40 ft")]
    bunker_ahead: Annotated[float, quantity("length", "-20 ft", "40 ft")]


class Engine(Model):
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
    axles: Axles | None = None
    feed_rate: Annotated[float, quantity("water rate", "1 L/min", "2000 L/min")] | None = None
    water_factor: Learned | None = None
    coal_factor: Learned | None = None
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


class Wagon(Model):
    """One kind of wagon in the train.

    `wheelbase` is between its outer axles, `behind` from the axle before it to its first.
    """

    name: Text
    tare: Annotated[float, quantity("mass", "1 kg", "60 t")]
    load: Annotated[float, quantity("mass", "0 kg", "100 t")] = 0.0
    tyre: Literal["steel", "rubber"]
    wheel_diameter: Annotated[float, quantity("length", "0.2 m", "3 m")] | None = None
    tyre_width: Annotated[float, quantity("length", "1 in", "20 in")] | None = None
    count: Annotated[int, Field(ge=1, le=60, strict=True)] = 1
    axles: Annotated[int, Field(ge=1, le=8, strict=True)] = 2
    wheelbase: Annotated[float, quantity("length", "1 ft", "60 ft")] | None = None
    behind: Annotated[float, quantity("length", "1 ft", "60 ft")] | None = None


class Train(Model):
    """The wagons; `dry_weight` states engine and train together where no engine is given."""

    wagons: Annotated[tuple[Wagon, ...], Field(max_length=60)] = ()
    dry_weight: Annotated[float, quantity("mass", "0 kg", "500 t")] | None = None


class Stores(Model):
    """Usable room in the tank and in the bunkers."""

    tank: Annotated[float, quantity("water", "1 L", "50000 L")]
    bunker: Annotated[float, quantity("coal", "0 kg", "20 t")]


class Levels(Model):
    """Water in the tank and coal in the bunkers."""

    water: Annotated[float, level("water")]
    coal: Annotated[float, level("coal")] = 0.0


class Fuel(Model):
    """The fuel; `kind` names the one that figures not given are taken from."""

    name: Text
    kind: Text | None = None
    heating_value: Annotated[float, quantity("heating value", "5000 Btu/lb", "16000 Btu/lb")]


class Conditions(Model):
    """The day's conditions."""

    weather: Literal["dry", "wet", "mud", "frost"] = "dry"
    wind_speed: Annotated[float, quantity("speed", "0 mph", "60 mph")] = 0.0
    wind_from: Annotated[float, Field(ge=0, le=360, strict=True)] | None = None
    feed_temperature: Annotated[float, quantity("temperature", "32 degF", "180 degF")] | None = None
    feed_solids: Annotated[float, quantity("solids", "0 ppm", "1900 ppm")] = 0.0


class RouteSource(Model):
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


class Outline(Model):
    """What the train needs of a road besides strength, and what its owner refuses."""

    height: Annotated[float, quantity("length", "0.5 m", "6 m")] | None = None
    width: Annotated[float, quantity("length", "0.5 m", "6 m")] | None = None
    heaviest_axle: Annotated[float, quantity("mass", "0.1 t", "60 t")] | None = None
    steepest_climb: Annotated[float, quantity("grade", "0 %", "40 %")] | None = None
    avoid: Annotated[tuple[Surface, ...], Field(max_length=9)] = ()
    fords: Literal["avoid", "take"] = "avoid"


class Aim(Model):
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


class Hours(Model):
    """When wheels may turn, and how long the crew may be on duty in a day.

    With `light` they turn only between sunrise and sunset, or in civil twilight too, at
    `latitude` and `longitude` (the road's start where not given), `utc_offset` ahead of
    universal time. The crew's duty begins with lighting up.
    """

    earliest: Clock = 0.0
    latest: Clock = 86400.0
    light: Literal["any", "sun", "civil twilight"] = "any"
    utc_offset: Annotated[float, quantity("duration", "-14 h", "14 h")] | None = None
    latitude: Annotated[float, angle(90)] | None = None
    longitude: Annotated[float, angle(180)] | None = None
    crew: Annotated[float, quantity("duration", "1 h", "24 h")] | None = None
    rest: Annotated[float, quantity("duration", "0 h", "24 h")] = 0.0

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.earliest >= self.latest:
            raise ValueError("'earliest' is not before 'latest'; swap or mend them")
        if self.light != "any" and self.utc_offset is None:
            raise ValueError("light needs utc_offset, as in '-4 h'; give it or take light out")
        if (self.latitude is None) is not (self.longitude is None):
            raise ValueError("latitude and longitude are not both there; give both or neither")
        return self


class LightingUp(Model):
    """How long before moving off the fire is lit: from cold, or brought round from a bank."""

    cold: Annotated[float, quantity("duration", "0 h", "24 h")] | None = None
    banked: Annotated[float, quantity("duration", "0 h", "24 h")] | None = None


class Duty(Model):
    """Work on the engine after so much running: by the clock on the road, or by distance.

    `beside` tells whether it is done while water or coal is taken.
    """

    name: Text
    hours: Annotated[float, quantity("duration", "5 min", "48 h")] | None = None
    miles: Annotated[float, quantity("length", "100 m", "500 km")] | None = None
    takes: Annotated[float, quantity("duration", "0 s", "5 h")]
    beside: YesNo = "yes"

    @model_validator(mode="after")
    def _one_interval(self) -> Self:
        if (self.hours is None) is (self.miles is None):
            raise ValueError("give either 'hours' or 'miles', the interval between two")
        return self


class Meal(Model):
    """A meal that begins between two clocks, at a stop, nobody pumping meanwhile."""

    name: Text
    earliest: Clock
    latest: Clock
    takes: Annotated[float, quantity("duration", "1 min", "5 h")]

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.earliest >= self.latest:
            raise ValueError("'earliest' is not before 'latest'; swap or mend them")
        return self


class Nights(Model):
    """Nights on the way: how many at most, and what each kind of fire takes till morning."""

    most: Annotated[int, Field(ge=0, le=9, strict=True)]
    banked_water: Annotated[float, quantity("water", "0 L", "5000 L")] | None = None
    banked_coal: Annotated[float, quantity("coal", "0 kg", "5 t")] | None = None
    dropped_water: Annotated[float, quantity("water", "0 L", "20000 L")] | None = None
    dropped_coal: Annotated[float, quantity("coal", "0 kg", "5 t")] | None = None
    fire: Literal["either", "banked", "dropped"] = "either"


class Quality(Model):
    """What water that is not good asks: most of a tankful taken at one stop, and straining.

    `strain` is added to the set-up at a supply of muddy water.
    """

    most_hard: Annotated[float, quantity("share", "1 %", "100 %")] = 1.0
    most_muddy: Annotated[float, quantity("share", "1 %", "100 %")] = 1.0
    most_alkaline: Annotated[float, quantity("share", "1 %", "100 %")] = 1.0
    strain: Annotated[float, quantity("duration", "0 s", "2 h")] | None = None


class Coaling(Model):
    """Coal in sacks: what one person carries aboard."""

    people: Annotated[int, Field(ge=1, le=50, strict=True)]
    sack: Annotated[float, quantity("mass", "5 kg", "100 kg")]
    sacks_per_hour: Annotated[float, Field(ge=1, le=200, strict=True)]


class Risk(Model):
    """Spread of the thirst, as standard deviations: of the whole day, and of each stretch.

    That of the day is what the engine's logs say where it is left out: `water_factor` and
    `coal_factor` hold the spread of a run to come.
    """

    chance: Annotated[float, quantity("share", "0.1 %", "50 %")]
    day: Annotated[float, quantity("share", "0 %", "60 %")] | None = None
    stretch: Annotated[float, quantity("share", "0 %", "60 %")]
    length: Annotated[float, quantity("length", "100 m", "50 km")] = 1609.344


class ScenarioFile(Model):
    """scenario.toml.

    `paces` are the shares of each gear's speed that may be driven, full pace where none is
    given; with several the plan chooses one for each stretch.
    """

    title: Text
    start: Text
    finish: Text
    date: Date
    depart: Clock
    depart_by: Clock | None = None
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
    last_resort: Levels | None = None
    serving: Literal["together", "in turn"] = "together"
    hours: Hours = Hours()
    lighting_up: LightingUp = LightingUp()
    duties: Annotated[tuple[Duty, ...], Field(max_length=10)] = ()
    meals: Annotated[tuple[Meal, ...], Field(max_length=6)] = ()
    nights: Nights = Nights(most=0)
    quality: Quality = Quality()
    coaling: Coaling | None = None
    risk: Risk | None = None
    sheet: Sheet = Sheet()
    paces: Annotated[
        tuple[Annotated[float, quantity("share", "20 %", "100 %")], ...], Field(max_length=5)
    ] = ()
    standing_water: Annotated[float, quantity("water rate", "0 L/h", "5000 L/h")] | None = None
    standing_coal: Annotated[float, quantity("coal rate", "0 kg/h", "1000 kg/h")] | None = None
    bridge_margin: Annotated[float, quantity("share", "0 %", "50 %")] = 0.0
    bridge_formula: YesNo = "no"
    pessimism: Annotated[float, quantity("share", "1 %", "99 %")] | None = None
    stale_after: Annotated[float, quantity("duration", "1 day", "3650 day")] = 90 * _DAY

    @model_validator(mode="after")
    def _leave_in_order(self) -> Self:
        if self.depart_by is not None and self.depart_by < self.depart:
            raise ValueError("'depart_by' is before 'depart'; swap or mend them")
        return self
