"""The steam model against published trials, none of which set its figures.

`trials.csv` holds what each source states and every input we had to supply, written
before the first comparison (`ASSUMPTIONS.md`); this module reckons each case with the
model as it stands and sets the two side by side.
"""

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from statistics import median

import numpy as np

from haulplan.demand.defaults import DEFAULTS, SURFACES
from haulplan.demand.engine import steam_line
from haulplan.demand.haul import Haul, Road, assemble
from haulplan.demand.plant import Figures, lighting_up_coal, make_boiler
from haulplan.demand.segment import choose_gears
from haulplan.demand.uncertainty import Band, band_of
from haulplan.scenario.classes import class_figures
from haulplan.scenario.schema import Conditions, Engine, Wagon
from haulplan.units import ATMOSPHERE, WATER_DENSITY, parse

__all__ = ["Case", "Comparison", "compare", "compare_all", "pooled", "read_cases"]

_POUND = 0.45359237
_HORSEPOWER = 745.6998715822702
_HOUR = 3600.0
_MILE = 1609.344
_GALLON = 4.54609e-3 * WATER_DENSITY
#: Size in SI of the units measured figures are given in.
_UNITS: Mapping[str, float] = {
    "lb/bhp-h": _POUND / (_HORSEPOWER * _HOUR),
    "lb/ihp-h": _POUND / (_HORSEPOWER * _HOUR),
    "imp gal/mi": _GALLON / _MILE,
    "lb/mi": _POUND / _MILE,
    "lb/h": _POUND / _HOUR,
    "lb/day": _POUND,
    "lb/lb": 1.0,
}
_TRIPLES = ("climb", "tank")
#: A band wider than this says nothing; it is cut to it, evenly about the typical figure.
_WIDEST = 2.0
_NINETY = 1.6449

Deviates = Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Case:
    """One published case: what was measured, and the inputs it is reckoned from."""

    id: str
    kind: str
    source: str
    place: str
    status: str
    given: str
    measured: Mapping[str, str]
    bound: str
    flag: str
    inputs: Mapping[str, str]
    assumed: str


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One measured figure beside the model's, both in the source's unit.

    `band` is cut to a factor of two between its ends; `full_ratio` is what it was before.
    """

    case: Case
    quantity: str
    unit: str
    measured: float
    band: Band
    full_ratio: float

    @property
    def error(self) -> float:
        """Model less measured, as a share of measured [-]."""
        return self.band.typical / self.measured - 1.0

    @property
    def inside(self) -> bool:
        """Whether the measured figure lies in the model's band, or above its low end if a bound."""
        if self.case.bound == "at most":
            return self.band.low <= self.measured
        return self.band.low <= self.measured <= self.band.high


@cache
def read_cases() -> tuple[Case, ...]:
    """Every case of trials.csv."""
    text = (files("haulplan.evidence") / "trials.csv").read_text(encoding="utf-8")
    cases = []
    for row in csv.DictReader(io.StringIO(text)):
        pairs = (pair.split("=", 1) for pair in row["inputs"].split(";") if pair.strip())
        measured = {
            name: row[f"measured_{name}"]
            for name in ("water", "coal", "ratio")
            if row[f"measured_{name}"]
        }
        cases.append(
            Case(
                id=row["id"],
                kind=row["kind"],
                source=row["source"],
                place=row["place"],
                status=row["status"],
                given=row["given"],
                measured=measured,
                bound=row["bound"],
                flag=row["flag"],
                inputs={key.strip(): value.strip() for key, value in pairs},
                assumed=row["assumed"],
            )
        )
    return tuple(cases)


def compare(case: Case) -> list[Comparison]:
    """The model's figures beside a case's measured ones.

    Parameters
    ----------
    case
        From `read_cases`; not a pooled one.

    Returns
    -------
    comparisons
        One for each measured figure, with the model's nine-in-ten band.
    """
    names = [*DEFAULTS, *(f"{s}, {t} tyre" for s in SURFACES for t in ("rubber", "steel"))]
    names += [name for name in _TRIPLES if "|" in case.inputs.get(name, "")]
    comparisons = []
    for quantity, text in case.measured.items():
        number, unit = text.split(" ", 1)
        size = _UNITS[unit]
        predict = _predictor(case, quantity)
        used = [n for n in names if predict({n: _NINETY}) != predict({n: -_NINETY})]
        band = band_of(predict, used)
        comparisons.append(
            Comparison(
                case=case,
                quantity=quantity,
                unit=unit,
                measured=float(number),
                band=_narrowed(band, size),
                full_ratio=band.ratio,
            )
        )
    return comparisons


def _narrowed(band: Band, size: float) -> Band:
    """The band in the source's unit, drawn in towards typical to a factor of two at most."""
    kept = min(1.0, math.log(_WIDEST) / math.log(band.ratio)) if band.ratio > 1.0 else 1.0
    typical = band.typical / size
    return Band(
        low=typical * (band.low / band.typical) ** kept,
        typical=typical,
        high=typical * (band.high / band.typical) ** kept,
    )


def compare_all() -> list[Comparison]:
    """Every case that can be reckoned by itself; the pooled medians come from `pooled`.

    Returns
    -------
    comparisons
        In the order of trials.csv.
    """
    return [c for case in read_cases() if "runs" not in case.inputs for c in compare(case)]


def pooled(comparisons: Iterable[Comparison], quantity: str) -> tuple[float, float]:
    """Median measured and median reckoned figure of the brake runs.

    Parameters
    ----------
    comparisons
        Of all cases.
    quantity
        "water", "coal" or "ratio".

    Returns
    -------
    measured, model
        In the source's unit.
    """
    rows = [
        c
        for c in comparisons
        if c.case.kind == "brake" and c.quantity == quantity and c.case.id.startswith("4.20")
    ]
    return median(c.measured for c in rows), median(c.band.typical for c in rows)


def _predictor(case: Case, quantity: str) -> Callable[[Deviates], float]:
    """The model's figure as a function of deviates: water or coal in SI, or their ratio."""
    reckon = _brake if "bhp" in case.inputs else _indicated if case.kind == "indicated" else _road

    def predict(deviates: Deviates) -> float:
        water, coal = reckon(case, deviates)
        if "|" in case.inputs.get("tank", ""):  # what was measured hangs on the tank's size
            tank = _number(case, "water", "tank", deviates)
            water *= _number(case, "water", "tank") / tank
        return {"water": water, "coal": coal, "ratio": water / coal}[quantity]

    return predict


def _number(case: Case, kind: str, key: str, deviates: Deviates | None = None) -> float:
    """An input in SI; a triple moves with its deviate, its high end the thirstier."""
    words = [parse(kind, word) for word in case.inputs[key].split("|")]
    if len(words) == 1:
        return words[0]
    low, typical, high = words
    deviate = (deviates or {}).get(key, 0.0)
    end = high if deviate > 0 else low
    return typical + (end - typical) * min(abs(deviate), 2.5) / _NINETY


def _trial_engine(case: Case) -> Engine:
    """The engine of a brake or indicator trial; only pressure, grate and surface matter."""
    figures = {
        **class_figures("farm-engine-65"),
        "name": case.id,
        "pressure": case.inputs["pressure"],
        "heating_surface": case.inputs["heating_surface"],
        "grate_area": case.inputs["grate_area"],
    }
    return Engine.model_validate(figures)


def _trial_figures(engine: Engine, deviates: Deviates) -> Figures:
    """Defaults of a trial: skilled firing and no fire cleaning in so short a run."""
    return Figures(engine, deviates, {"hand_firing": 1.0, "fire_cleaning": 0.0})


def _trial_specific(case: Case, figures: Figures, share: float | None) -> float:
    """Steam leaving the boiler per brake or indicated energy [kg J⁻¹]."""
    air = ATMOSPHERE
    compound = case.inputs.get("type") == "compound"
    kind = "compound_" if compound else ""
    cut_off = _given(
        case, "cut_off", figures, "compound_cut_off" if compound else "running_cut_off"
    )
    line = steam_line(
        parse("pressure", case.inputs["pressure"]) + air,
        running_cut_off=cut_off,
        longest_cut_off=max(cut_off, figures.take("longest_cut_off")),
        diagram_factor=figures.take(f"{kind}diagram_factor"),
        back_pressure=figures.take("back_pressure") + air,
        clearance=figures.take("clearance"),
        condensation=_given(case, "condensation", figures, f"{kind}condensation"),
        volume_ratio=float(case.inputs.get("cylinder_ratio", "1")),
    )
    dryness = figures.take("dryness")
    if share is None:
        return line.knee_steam / line.knee_pressure / dryness
    friction = figures.take("friction_pressure")
    brake = share * (line.knee_pressure - friction)
    return float(line.steam(np.array(brake + friction))) / brake / dryness


def _given(case: Case, key: str, figures: Figures, default: str) -> float:
    """The case's own figure, moved as the default would be; else the default."""
    base = figures.take(default)
    if key not in case.inputs:
        return base
    return parse("share", case.inputs[key]) * base / DEFAULTS[default].value


def _trial(
    case: Case, deviates: Deviates, power: float, share: float | None
) -> tuple[float, float]:
    """Water and coal per energy at a power [W]: (kg J⁻¹, kg J⁻¹)."""
    engine = _trial_engine(case)
    figures = _trial_figures(engine, deviates)
    heating = parse("heating value", case.inputs["heating_value"])
    conditions = Conditions.model_validate({"feed_temperature": case.inputs["feed_temperature"]})
    boiler = make_boiler(engine, heating, conditions, figures, engine.pressure + ATMOSPHERE)
    specific = _trial_specific(case, figures, share)
    evaporation = specific * power + boiler.auxiliary
    coal = float(boiler.coal(np.array(evaporation)))
    return evaporation / power, coal / power


def _brake(case: Case, deviates: Deviates) -> tuple[float, float]:
    bhp, full = float(case.inputs["bhp"]), float(case.inputs["full_bhp"])
    water, coal = _trial(case, deviates, bhp * _HORSEPOWER, bhp / full)
    if case.kind == "hourly":
        return water * bhp * _HORSEPOWER, coal * bhp * _HORSEPOWER
    return water, coal


def _indicated(case: Case, deviates: Deviates) -> tuple[float, float]:
    bore, stroke = parse("length", case.inputs["bore"]), parse("length", case.inputs["stroke"])
    engine = _trial_engine(case)
    figures = _trial_figures(engine, {})
    cut_off = parse("share", case.inputs["cut_off"])
    line = steam_line(
        engine.pressure + ATMOSPHERE,
        running_cut_off=cut_off,
        longest_cut_off=0.75,
        diagram_factor=figures.take("diagram_factor"),
        back_pressure=figures.take("back_pressure") + ATMOSPHERE,
        clearance=figures.take("clearance"),
        condensation=figures.take("condensation"),
    )
    swept = np.pi / 4 * bore**2 * stroke * 2 * float(case.inputs["crank_speed"]) / 60
    return _trial(case, deviates, line.knee_pressure * swept, None)


def _road(case: Case, deviates: Deviates) -> tuple[float, float]:
    """Water and coal per metre, per second, or per day, as the case is measured."""
    engine = _road_engine(case)
    heating = parse("heating value", case.inputs["heating_value"])
    conditions = Conditions.model_validate({"feed_temperature": case.inputs["feed_temperature"]})
    road = _mile(case, deviates)
    useful, tare = (_number(case, "mass", k) for k in ("useful_load", "wagon_tare"))
    loaded = parse("share", case.inputs["loaded_share"])
    moving = water = coal = 0.0
    haul = None
    for share, load in ((loaded, useful), (1.0 - loaded, 0.0)):
        if share == 0.0:
            continue
        haul = _loaded(case, engine, heating, conditions, road, load, tare, deviates)
        gear = choose_gears(haul, np.zeros(road.length.size))
        use = haul.evaluate(np.zeros(road.length.size), gear)
        moving += share * float(use.duration.sum())
        water += share * float(use.water.sum())
        coal += share * float(use.coal.sum())
    assert haul is not None
    return _per_unit(case, engine, heating, conditions, haul, (moving, water, coal))


def _per_unit(
    case: Case,
    engine: Engine,
    heating: float,
    conditions: Conditions,
    haul: Haul,
    mile: tuple[float, float, float],
) -> tuple[float, float]:
    """Add standing and lighting-up; per metre, second or day."""
    moving, water, coal = mile
    length = float(haul.length.sum())
    standing = parse("duration", case.inputs.get("standing", "0 min")) / _HOUR
    stood = moving * standing / (1.0 - standing)
    water += stood * haul.standing_water
    coal += stood * haul.standing_coal
    lighting = 0.0
    if "lighting-up" in case.inputs["includes"]:
        lighting = lighting_up_coal(engine, heating, conditions)
    if case.kind == "hourly":
        return water / (moving + stood), coal / (moving + stood)
    if case.kind == "day":
        miles = parse("duration", case.inputs["hours"]) / (moving + stood)
        return miles * water, miles * coal + lighting
    if lighting:
        lighting /= parse("length", case.inputs["miles_per_day"])
    return water / length, coal / length + lighting


def _road_engine(case: Case) -> Engine:
    figures = class_figures(case.inputs["class"])
    typical = Engine.model_validate({**figures, "name": case.id})
    weight = parse("mass", case.inputs["engine_weight"])
    drivers = typical.weight_on_drivers / typical.weight * weight
    speed = case.inputs["speed"]
    gears = [dict(gear) for gear in figures["gears"]]
    fastest = min(gears, key=lambda gear: gear["ratio"])
    slower = [
        g for g in gears if g is not fastest and parse("speed", g["speed"]) < parse("speed", speed)
    ]
    figures["gears"] = [*slower, {**fastest, "speed": speed}]
    figures |= {
        "name": case.id,
        "weight": f"{weight!r} kg",
        "weight_on_drivers": f"{drivers!r} kg",
        "tyre": case.inputs["tyre"],
    }
    if "pressure" in case.inputs:
        figures["pressure"] = case.inputs["pressure"]
    return Engine.model_validate(figures)


def _mile(case: Case, deviates: Deviates) -> Road:
    """A mile with its climb on hills of the typical grade, up and down, the rest level."""
    climb = max(_number(case, "grade", "climb", deviates), 0.0) * _MILE
    grade = parse("grade", case.inputs["hill_grade"])
    hill = min(climb / grade, _MILE / 2)
    steps = 8
    level = (_MILE - 2 * hill) / steps
    length = np.concatenate([np.full(steps, hill / steps)] * 2 + [np.full(steps, level)])
    grades = np.repeat([climb / hill if hill else 0.0, -climb / hill if hill else 0.0, 0.0], steps)
    return Road(
        length=np.maximum(length, 1e-6),
        grade=grades,
        surface=(case.inputs["surface"],) * length.size,
        speed_limit=np.full(length.size, np.inf),
        sharp=np.zeros(length.size, dtype=bool),
        headwind=np.zeros(length.size),
        altitude=0.0,
    )


def _loaded(
    case: Case,
    engine: Engine,
    heating: float,
    conditions: Conditions,
    road: Road,
    load: float,
    tare: float,
    deviates: Deviates,
) -> Haul:
    wagons = []
    carried = load + tare if tare > 0 else 0.0
    if carried > 0:
        wagon = {"name": "train", "tare": f"{carried!r} kg", "tyre": case.inputs["wagon_tyre"]}
        wagons.append(Wagon.model_validate(wagon))
    elif load > 0:  # a wagon that carries its own load
        weight = engine.weight + load
        drivers = engine.weight_on_drivers + 0.7 * load
        engine = engine.model_copy(update={"weight": weight, "weight_on_drivers": drivers})
    haul, _ = assemble(engine, heating, wagons, conditions, road, deviates=deviates)
    return haul
