"""Every figure in tests/published/*.csv, reckoned through haulplan and compared.

A row names a quantity and its inputs; `QUANTITIES` says which functions reckon it. The
tolerance is half the last printed digit or the uncertainty or range that the source
states; the note says which.
"""

import csv
import datetime as dt
import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haulplan.demand import build_demand
from haulplan.demand.axles import bridge_formula
from haulplan.demand.boiler import (
    blowdown_share,
    coal_rate,
    furnace_efficiency,
    heat_of_steam,
    heat_rate,
    raising_heat,
)
from haulplan.demand.daylight import daylight
from haulplan.demand.defaults import DEFAULTS, SURFACES, Default
from haulplan.demand.engine import (
    SteamLine,
    expansion_factor,
    mean_effective_pressure,
    pull,
    steam_line,
    swept_volume_per_metre,
)
from haulplan.demand.glass import level_needed
from haulplan.demand.haul import Road, assemble
from haulplan.demand.resistance import (
    GRAVITY,
    REFERENCE_WHEEL,
    air_drag,
    rolling_coefficient,
    standard_air,
    tractive_force,
)
from haulplan.demand.serving import lift_limit, lift_share, sack_rate, suction_head
from haulplan.demand.steam import (
    liquid_enthalpy,
    saturated_liquid_enthalpy,
    saturated_steam_density,
    saturated_steam_enthalpy,
    saturation_pressure,
    saturation_temperature,
    steam_enthalpy,
)
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route.build import build_route
from haulplan.route.profile import along
from haulplan.scenario import read_scenario
from haulplan.scenario.classes import class_figures
from haulplan.scenario.schema import Coaling, Conditions, Engine, Glass, Wagon
from haulplan.units import ATMOSPHERE, WATER_DENSITY, parse

Inputs = Mapping[str, str]

FOLDER = Path(__file__).parent / "published"

# Factors by definition: yard and pound agreement of 1959; 1 Btu/lb = 2326 J/kg (ISO 31-4).
POUND, FOOT = 0.45359237, 0.3048
FORCE = POUND * 9.80665
BTU = 2326.0 * POUND
#: Tank water on a mild day, as haulplan takes it. [K]
MILD = DEFAULTS["feed_temperature"].value
HORSEPOWER = 550 * FOOT * FORCE

#: SI size of each unit of the tables, and what is then taken away.
UNITS: Mapping[str, tuple[float, float]] = {
    "": (1.0, 0.0),
    "%": (0.01, 0.0),
    "1/h": (1 / 3600, 0.0),
    "Btu/h": (BTU / 3600, 0.0),
    "Btu/lb": (2326.0, 0.0),
    "K": (1.0, 0.0),
    "Pa": (1.0, 0.0),
    "N": (1.0, 0.0),
    "in": (FOOT / 12, 0.0),
    "kg/h": (1 / 3600, 0.0),
    "kg/m3": (1.0, 0.0),
    "mph": (5280 * FOOT / 3600, 0.0),
    "MBtu": (1e6 * BTU, 0.0),
    "MPa": (1e6, 0.0),
    "deg": (math.pi / 180, 0.0),
    "degF": (1 / 1.8, 459.67),
    "ft": (FOOT, 0.0),
    "ft3/h": (FOOT**3 / 3600, 0.0),
    "ft3/lb": (FOOT**3 / POUND, 0.0),
    "h": (3600.0, 0.0),
    "hp": (HORSEPOWER, 0.0),
    "kJ/kg": (1e3, 0.0),
    "lb": (POUND, 0.0),
    "lb/ft3": (POUND / FOOT**3, 0.0),
    "lb/h": (POUND / 3600, 0.0),
    "lb/hp h": (POUND / HORSEPOWER / 3600, 0.0),
    "lb/lb": (1.0, 0.0),
    "lbf": (FORCE, 0.0),
    "lbf/long ton": (1 / 2240, 0.0),
    "lbf/short ton": (1 / 2000, 0.0),
    "m": (1.0, 0.0),
    "min": (60.0, 0.0),
    "money": (1.0, 0.0),
    "psi": (FORCE / (FOOT / 12) ** 2, 0.0),
    "ratio": (1.0, 0.0),
    "short ton/h": (2000 * POUND / 3600, 0.0),
    "sq ft": (FOOT**2, 0.0),
    "units": (1.0, 0.0),
}


@dataclass(frozen=True, kw_only=True)
class Row:
    file: str
    id: str
    quantity: str
    inputs: Inputs
    expected: float
    unit: str
    tolerance: float
    source: str
    place: str
    status: str
    note: str


def _read_rows() -> list[Row]:
    rows = []
    for path in sorted(FOLDER.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows += [_row(path.name, cells) for cells in csv.DictReader(file, strict=True)]
    return rows


def _row(file: str, cells: Mapping[str, str]) -> Row:
    pairs = [pair.partition("=") for pair in cells["inputs"].split(";") if pair]
    return Row(
        file=file,
        id=cells["id"],
        quantity=cells["quantity"],
        inputs={name: text for name, _, text in pairs},
        expected=float(cells["expected"]),
        unit=cells["unit"],
        tolerance=float(cells["tolerance"]),
        source=cells["source"],
        place=cells["place"],
        status=cells["status"],
        note=cells["note"],
    )


ROWS = _read_rows()


# --- resistance and pull


def _rolling(inputs: Inputs) -> float:
    """The table's own figure, at the table's own speed, wheel and tyre."""
    surface = SURFACES[inputs["surface"]]
    tabled: Default = getattr(surface, inputs["tyre"])
    speed: float = getattr(surface, f"{inputs['tyre']}_speed")
    slope = DEFAULTS["speed_slope"].value
    return float(
        rolling_coefficient(
            tabled.value, hard=surface.hard, speed=speed, tabled_speed=speed, speed_slope=slope
        )
    )


def _at_speed(inputs: Inputs, speed: float) -> float:
    surface = SURFACES[inputs["surface"]]
    slope = DEFAULTS["speed_slope"].value
    return float(rolling_coefficient(1.0, hard=surface.hard, speed=speed, speed_slope=slope))


def _first_rise(inputs: Inputs) -> float:
    """By bisection: the speed above which resistance rises."""
    low, high = 0.1, 5.0
    while high - low > 1e-6:
        speed = (low + high) / 2
        rises = _at_speed(inputs, speed) > _at_speed(inputs, 0.1)
        low, high = (low, speed) if rises else (speed, high)
    return low


def _twice_the_speed(inputs: Inputs) -> float:
    speed = parse("speed", inputs["speed"])
    return _at_speed(inputs, 2 * speed) / _at_speed(inputs, speed)


def _twice_the_wheel(inputs: Inputs) -> float:
    hard = SURFACES[inputs["surface"]].hard
    one, two = (
        float(rolling_coefficient(1.0, hard=hard, wheel_diameter=d))
        for d in (REFERENCE_WHEEL, 2.032)
    )
    return two / one


def _narrow_over_wide(inputs: Inputs) -> float:
    narrow, wide = (
        float(
            rolling_coefficient(
                1.0,
                hard=SURFACES[inputs["surface"]].hard,
                tyre_width=parse("length", inputs[name]),
                soft_width=DEFAULTS["soft_width"].value,
            )
        )
        for name in ("narrow", "wide")
    )
    return narrow / wide


def _drag(inputs: Inputs) -> float:
    speed = parse("speed", inputs["speed"])
    _, density = standard_air(parse("length", inputs["altitude"]))
    return float(air_drag(parse("area", inputs["area"]), 1.0, speed, 0.0, density))


def _speed_kept(inputs: Inputs) -> float:
    """Of a class's engine at a boiler pressure, in a gear, with a train on a grade."""
    figures = class_figures(inputs["class"])
    gear = next(g for g in figures["gears"] if g["name"] == inputs["gear"])
    figures |= {
        "name": "trade",
        "pressure": inputs["gauge"],
        "gears": [{**gear, "speed": inputs["driven_at"]}],
    }
    engine = Engine.model_validate(figures)
    wagon = {"name": "train", "tare": inputs["train"], "tyre": "rubber"}
    road = Road(
        length=np.array([1000.0]),
        grade=np.array([parse("grade", inputs["grade"])]),
        surface=(inputs["surface"],),
        speed_limit=np.array([np.inf]),
        sharp=np.array([False]),
        headwind=np.array([0.0]),
        altitude=0.0,
    )
    value = parse("heating value", inputs["heating_value"])
    haul, _ = assemble(engine, value, [Wagon.model_validate(wagon)], Conditions(), road)
    aboard = parse("mass", inputs["aboard"])
    assert float(haul.force(aboard, 0)[0]) <= min(
        float(haul.steam_pull(0)), float(haul.grip_pull(aboard)[0])
    )
    return float(haul.state(np.array([aboard]), np.array([0])).speed[0])


def _loss_of_cover(inputs: Inputs) -> float:
    """Level at the pivot that leaves the far edge of the crown just awash."""
    shape = Glass.model_construct(
        crown_back=parse("length", inputs["back"]),
        tubes_front=-2.0,
        tubes_height=-10.0,
        minimum_cover=0.0,
        swell=0.0,
    )
    return level_needed(shape, 0.0, parse("grade", inputs["grade"]))


def _level_force(inputs: Inputs) -> float:
    return float(tractive_force(parse("mass", inputs["load"]), _rolling(inputs), 0.0))


def _grade_force(inputs: Inputs) -> float:
    load, grade = parse("mass", inputs["load"]), parse("grade", inputs["grade"])
    return float(tractive_force(load, 0.0, grade))


def _tangent_excess(inputs: Inputs) -> float:
    grade = parse("grade", inputs["grade"])
    return GRAVITY * grade / float(tractive_force(1.0, 0.0, grade)) - 1


def _swept(inputs: Inputs) -> float:
    bore, stroke, wheel = (parse("length", inputs[name]) for name in ("bore", "stroke", "wheel"))
    cylinders, ratio = int(inputs["cylinders"]), float(inputs["ratio"])
    return swept_volume_per_metre(cylinders, bore, stroke, ratio, wheel)


def _pull(inputs: Inputs) -> float:
    return pull(parse("pressure", inputs["mean_pressure"]), _swept(inputs))


def _pull_lost(inputs: Inputs) -> float:
    friction = DEFAULTS["friction_pressure"].value
    pressure = 10 * friction
    return pull(pressure, _swept(inputs)) - pull(pressure, _swept(inputs), friction=friction)


def _cylinderfuls(inputs: Inputs) -> float:
    bore, stroke = parse("length", inputs["bore"]), parse("length", inputs["stroke"])
    return _swept_rate(inputs) / (math.pi / 4 * bore**2 * stroke)


def _swept_rate(inputs: Inputs) -> float:
    return _swept(inputs) * parse("speed", inputs["speed"])


def _indicated_power(inputs: Inputs) -> float:
    # A wheel of any size, on the crank: the power does not depend on it.
    wheel, stroke = 2.0, parse("length", inputs["stroke"])
    bore = math.sqrt(parse("area", inputs["area"]) * 4 / math.pi)
    force = pull(
        parse("pressure", inputs["mean_pressure"]),
        swept_volume_per_metre(1, bore, stroke, 1.0, wheel),
    )
    return force * math.pi * wheel * float(inputs["turns_per_minute"]) / 60


def _expansion(inputs: Inputs) -> float:
    cut_off = parse("share", inputs["cut_off"])
    assert mean_effective_pressure(1.0, cut_off, 0.0) == expansion_factor(cut_off)
    return expansion_factor(cut_off)


# --- steam

#: The saturated table counts its gauge pressures from 14.696 psi.
HANDBOOK_AIR = 14.696 * FORCE / (FOOT / 12) ** 2


def _absolute(inputs: Inputs) -> float:
    return parse("pressure", inputs["gauge"]) + HANDBOOK_AIR


def _handbook_feed(inputs: Inputs) -> float:
    """Enthalpy of feed as handbooks take it, at its own boiling pressure."""
    feed = parse("temperature", inputs["feed"])
    return liquid_enthalpy(feed, saturation_pressure(feed))


def _latent() -> float:
    return saturated_steam_enthalpy(ATMOSPHERE) - saturated_liquid_enthalpy(ATMOSPHERE)


def _evaporation_factor(inputs: Inputs) -> float:
    return (saturated_steam_enthalpy(_absolute(inputs)) - _handbook_feed(inputs)) / _latent()


def _old_boiler_horsepower(inputs: Inputs) -> float:
    rate = parse("water rate", inputs["rate"])
    return rate * (saturated_steam_enthalpy(_absolute(inputs)) - _handbook_feed(inputs))


def _boiler_horsepower_steam(inputs: Inputs) -> float:
    heat = heat_of_steam(_absolute(inputs), parse("temperature", inputs["feed"]), 1.0)
    return parse("water rate", "34.5 lb/h") * _latent() / heat


def _injector(inputs: Inputs) -> float:
    pressure = _absolute(inputs)
    feed, delivery = (
        liquid_enthalpy(parse("temperature", inputs[name]), ATMOSPHERE)
        for name in ("feed", "delivery")
    )
    return (saturated_steam_enthalpy(pressure) - delivery) / (delivery - feed)


def _raising(inputs: Inputs) -> float:
    return raising_heat(
        parse("water", inputs["water"]),
        parse("mass", inputs["metal"]),
        DEFAULTS["metal_heat"].value,
        _absolute(inputs),
        parse("temperature", inputs["cold"]),
    )


# --- boiler and trials


def _line(inputs: Inputs, condensation: float | None = None) -> SteamLine:
    """The steam line at a gauge pressure with every default."""
    default = {name: figure.value for name, figure in DEFAULTS.items()}
    return steam_line(
        parse("pressure", inputs.get("gauge", "150 psi")) + ATMOSPHERE,
        running_cut_off=default["running_cut_off"],
        longest_cut_off=default["longest_cut_off"],
        diagram_factor=default["diagram_factor"],
        back_pressure=default["back_pressure"] + ATMOSPHERE,
        clearance=default["clearance"],
        condensation=default["condensation"] if condensation is None else condensation,
    )


def _supplied(inputs: Inputs) -> float:
    dry = _line(inputs, condensation=0.0).knee_steam
    wet = _line(inputs, condensation=parse("share", inputs["condensation"])).knee_steam
    return float(inputs["shown"]) * UNITS["lb/hp h"][0] * wet / dry


def _brake_water(inputs: Inputs) -> float:
    """Feed water per work at the crank, full steam at the running cut-off."""
    line = _line(inputs)
    work = line.knee_pressure - DEFAULTS["friction_pressure"].value
    steam = float(line.steam(np.array(line.knee_pressure)))
    return steam / DEFAULTS["dryness"].value / work


def _evaporation(inputs: Inputs) -> float:
    """Water fed per coal burnt, radiation off."""
    value = parse("heating value", inputs["heating_value"])
    heat = heat_rate(1.0, value, _skilled_furnace(inputs)) * (1 - DEFAULTS["radiation"].value)
    feed = parse("temperature", inputs["feed"])
    return heat / heat_of_steam(_absolute(inputs), feed, DEFAULTS["dryness"].value)


def _furnace(inputs: Inputs) -> float:
    """As the model reckons on the road, fired by hand."""
    return _skilled_furnace(inputs) * DEFAULTS["hand_firing"].value


def _skilled_furnace(inputs: Inputs) -> float:
    """As on a trial: the brake runs were fired by skilled crews."""
    firing = parse("firing rate", inputs["firing"])
    return float(
        furnace_efficiency(
            firing,
            float(inputs["heating_per_grate"]),
            b=DEFAULTS["furnace_b"].value,
            a=DEFAULTS["furnace_a"].value,
        )
    )


def _part_load(inputs: Inputs) -> float:
    idle, load = float(inputs["idle"]), float(inputs["load"])
    line = SteamLine(pressure=(0.0, 1.0, 1.2), steam_at=(idle, 1.0, 1.4), knee=1)
    return float(line.steam(np.array(load))) / load


def _saved_against_ideal(inputs: Inputs) -> float:
    """How far the best point of our line falls below the ideal engine, 0 if it does not."""
    line = _line(inputs)
    pressure = np.linspace(0.01, 1.0, 400) * line.full_pressure
    best = float((line.steam(pressure) / pressure).min())
    return max(float(inputs["ideal"]) * UNITS["lb/hp h"][0] - best, 0.0)


def _raising_coal(inputs: Inputs) -> float:
    value, share = parse("heating value", inputs["heating_value"]), inputs["efficiency"]
    return _raising(inputs) / heat_rate(1.0, value, parse("share", share))


def _grate(inputs: Inputs) -> float:
    coal = parse("water rate", inputs["steam"]) / float(inputs["evaporation"])
    return coal / parse("firing rate", inputs["firing"])


def _boiler_horsepowers(inputs: Inputs) -> float:
    steam = parse("coal rate", inputs["coal"]) * float(inputs["evaporation"])
    return steam * _latent() / (33475 * BTU / 3600)


def _evaporation_by_factor(inputs: Inputs) -> float:
    """Water per coal at an efficiency that does not change with firing."""
    value = parse("heating value", inputs["heating_value"])
    heat = np.array([float(inputs["factor"]) * _latent()])
    return 1 / float(coal_rate(heat, value, 1.0, b=parse("share", inputs["efficiency"]), a=0.0)[0])


def _road_evaporation(inputs: Inputs) -> float:
    return parse("water", inputs["water"]) / parse("coal", inputs["coal"])


# --- geodesy


def _degrees(text: str) -> tuple[float, float]:
    """Latitude and longitude written in degrees, or in degrees, minutes and seconds."""
    parts = [float(part) for part in text.split()]
    if len(parts) == 2:
        return parts[0], parts[1]
    latitude, longitude = (
        math.copysign(abs(d) + m / 60 + s / 3600, d) for d, m, s in (parts[:3], parts[3:])
    )
    return latitude, longitude


def _length(inputs: Inputs) -> float:
    begin, end = _degrees(inputs["begin"]), _degrees(inputs["end"])
    return float(along(np.array([begin[0], end[0]]), np.array([begin[1], end[1]]))[-1])


def _sphere_excess(inputs: Inputs) -> float:
    return 1 - float(inputs["sphere"]) / _length(inputs)


def _sunrise(inputs: Inputs) -> float:
    clock = -4 * 3600.0  # kept at the place; the row may want universal time
    begin, _ = daylight(
        dt.date.fromisoformat(inputs["date"]),
        float(inputs["latitude"]),
        float(inputs["longitude"]),
        clock,
        "sun",
    )
    return begin - clock + parse("duration", inputs["offset"])


def _sun_at_0h(inputs: Inputs, latitude: float) -> tuple[float, float]:
    """Sunrise and sunset where it is noon at 0 h of universal time."""
    return daylight(dt.date.fromisoformat(inputs["date"]), latitude, 180.0, 12 * 3600.0, "sun")


def _equation_of_time(inputs: Inputs) -> float:
    return 12 * 3600.0 - sum(_sun_at_0h(inputs, 0.0)) / 2


def _declination(inputs: Inputs) -> float:
    """By bisection: what gives the day its length at 50° north."""
    begin, end = _sun_at_0h(inputs, 50.0)
    half, north = math.radians((end - begin) / 2 / 240.0), math.radians(50.0)
    low, high = -0.5, 0.5
    while high - low > 1e-9:
        middle = (low + high) / 2
        cosine = (math.cos(math.radians(90 + 50 / 60)) - math.sin(north) * math.sin(middle)) / (
            math.cos(north) * math.cos(middle)
        )
        low, high = (middle, high) if math.acos(cosine) < half else (low, middle)
    return low


# --- water and coal coming aboard


def _air_column(inputs: Inputs) -> float:
    """What the air holds up, the water's own steam left out as the source has it."""
    steam = saturation_pressure(MILD) / (WATER_DENSITY * GRAVITY)
    return suction_head(parse("length", inputs["altitude"]), MILD) + steam


def _pressure_lost(inputs: Inputs) -> float:
    return standard_air(0.0)[0] - standard_air(parse("length", inputs["climb"]))[0]


def _flow_left(inputs: Inputs) -> float:
    stated, lift = (parse("length", inputs[name]) for name in ("stated", "lift"))
    return lift_share(lift, 0.0, MILD, stated=stated)


def _sacks(inputs: Inputs) -> float:
    given = {
        "people": int(inputs["people"]),
        "sack": inputs["sack"],
        "sacks_per_hour": float(inputs["sacks_per_hour"]),
    }
    return sack_rate(Coaling.model_validate(given))


# --- optimisation: through scenario folder, route, demand, planner and replay. A unit of
# --- fuel (or of goods) is a kilogram of water, a unit of distance a kilometre.

_SCENARIO = """
title = "Published example"
start = "Start"
finish = "Finish"
date = 2031-06-14
depart = "06:00"
aim = {{ first = "{aim}" }}
stores = {{ tank = "{tank!r} kg", bunker = "0 kg" }}
at_start = {{ water = "{start}" }}
at_finish = {{ water = "0 kg" }}
reserve = {{ water = "0 kg" }}
"""


@dataclass(frozen=True, kw_only=True)
class Shop:
    """A supply: where [km], price per unit, price per stop."""

    at: float
    price: float
    call_out: float = 0.0


def _plan(
    folder: Path, *, aim: str, tank: float, start: str, use: list[float], shops: list[Shop]
) -> Plan:
    """The proved plan over kilometre stretches `use[k]`; nothing but water matters."""
    text = _SCENARIO.format(aim=aim, tank=tank, start=start)
    folder.joinpath("scenario.toml").write_text(text, encoding="utf-8")
    demand = ["from [km],to [km],duration [min],water [kg],coal [kg]"]
    demand += [f"{k},{k + 1},1,{used!r},0" for k, used in enumerate(use)]
    folder.joinpath("demand.csv").write_text("\n".join(demand), encoding="utf-8")
    # The fastest supply the schema knows: hundreds of kilograms take a second.
    supply = ["name,kind,at [km],water_available,water_rate,water_price,call_out"]
    supply += [
        f"Shop {n},shop,{s.at!r},unlimited,20000 L/min,{s.price!r} USD/kg,{s.call_out!r} USD"
        for n, s in enumerate(shops, start=1)
    ]
    folder.joinpath("supply.csv").write_text("\n".join(supply), encoding="utf-8")
    scenario = read_scenario(folder)
    route = build_route(scenario)
    measured = build_demand(scenario, route)
    plan = make_plan(scenario, route, measured)
    replay(scenario, route, measured, plan)
    assert plan.proven
    return plan


def _numbers(text: str) -> list[float]:
    return [float(part) for part in text.split()]


def _fuel_plan(inputs: Inputs, folder: Path) -> Plan:
    stations, prices = _numbers(inputs["stations"]), _numbers(inputs["prices"])
    return _plan(
        folder,
        aim="cheapest",
        tank=float(inputs["capacity"]),
        start=f"{inputs['start']} kg",
        use=[1.0] * int(inputs["length"]),
        shops=[Shop(at=a, price=p) for a, p in zip(stations, prices, strict=True)],
    )


def _fuel_cost(inputs: Inputs, folder: Path) -> float:
    return _fuel_plan(inputs, folder).money


def _fuel_bought(inputs: Inputs, folder: Path) -> float:
    plan = _fuel_plan(inputs, folder)
    return sum(s.water_taken for s in plan.stops if s.row == int(inputs["station"]) - 1)


def _least_tank(inputs: Inputs, folder: Path) -> float:
    """By bisection: the least tank with which the planner needs no more than `stops`."""
    legs, allowed = _numbers(inputs["legs"]), int(inputs["stops"])
    shops = [Shop(at=float(k), price=0.0) for k in range(1, len(legs))]
    low, high = 1.0, 2048.0
    while high - low > 0.25:
        tank = (low + high) / 2
        try:
            plan = _plan(folder, aim="fewest stops", tank=tank, start="full", use=legs, shops=shops)
            enough = len(plan.stops) - 2 <= allowed
        except NoPlanError:
            enough = False
        low, high = (low, tank) if enough else (tank, high)
    return high


def _lot_plan(inputs: Inputs, folder: Path) -> tuple[Plan, float]:
    """Lot sizing as a road, and what is to be taken from its money.

    Period t = 1 ... T is the kilometre from t - 1 to t; its demand d_t is the use there.
    A lot x_t is taken at a supply at t - 1 whose call-out is the set-up K_t. What is left
    at the end of period t, I_t = sum(x_s - d_s for s <= t), costs h to hold:

        h sum_t I_t = sum_s h (T + 1 - s) x_s - sum_s h (T + 1 - s) d_s

    since a unit made in period s is counted at the ends of s, s + 1, ... T. So holding
    is a unit price that falls by h from one period to the next, less a constant.
    """
    demand, hold = _numbers(inputs["demand"]), float(inputs["holding"])
    set_up = _numbers(inputs["set_up"])
    set_up = set_up * len(demand) if len(set_up) == 1 else set_up
    price = [hold * (len(demand) - t) for t in range(len(demand))]
    shops = [
        Shop(at=float(t), price=p, call_out=k)
        for t, (p, k) in enumerate(zip(price, set_up, strict=True))
    ]
    plan = _plan(folder, aim="cheapest", tank=sum(demand), start="0 kg", use=demand, shops=shops)
    return plan, sum(p * d for p, d in zip(price, demand, strict=True))


def _lot_cost(inputs: Inputs, folder: Path) -> float:
    plan, constant = _lot_plan(inputs, folder)
    return plan.money - constant


def _lot_made(inputs: Inputs, folder: Path) -> float:
    plan, _ = _lot_plan(inputs, folder)
    return sum(s.water_taken for s in plan.stops if s.row == int(inputs["period"]) - 1)


# --- warnings

_WARM = """
title = "Warm feed"
start = "Start"
finish = "Finish"
date = 2031-06-14
depart = "06:00"
stores = {{ tank = "1 t", bunker = "300 kg" }}
at_start = {{ water = "full", coal = "full" }}
at_finish = {{ water = "0 kg" }}
reserve = {{ water = "0 kg" }}
route = {{ file = "route.csv" }}
engine = {{ name = "Any", kind = "general-purpose-6" }}
fuel = {{ name = "Any", kind = "bituminous-good" }}
conditions = {{ feed_temperature = "{feed!r} degF" }}
"""


def _hot_feed(inputs: Inputs, folder: Path) -> float:
    """By bisection: the feed temperature above which the plan warns of the injector."""
    folder.joinpath("route.csv").write_text("distance [km],elevation [m]\n0,10\n2,10\n")
    low, high = parse("temperature", inputs["low"]), parse("temperature", inputs["high"])
    size, offset = UNITS["degF"]
    while high - low > 0.01:
        feed = (low + high) / 2
        folder.joinpath("scenario.toml").write_text(_WARM.format(feed=feed / size - offset))
        scenario = read_scenario(folder)
        warnings = build_demand(scenario, build_route(scenario)).warnings
        warned = any("injectors" in warning for warning in warnings)
        low, high = (low, feed) if warned else (feed, high)
    return low


PLANNED: Mapping[str, Callable[[Inputs, Path], float]] = {
    "feed too hot for most injectors": _hot_feed,
    "cost of the cheapest fuel": _fuel_cost,
    "fuel bought at a station": _fuel_bought,
    "least tank for a number of stops": _least_tank,
    "cost of the cheapest lots": _lot_cost,
    "lot made in a period": _lot_made,
}

QUANTITIES: Mapping[str, Callable[[Inputs], float]] = {
    "rolling resistance of a wagon": _rolling,
    "rolling resistance of an engine": lambda i: DEFAULTS["engine_rolling"].value * _rolling(i),
    "speed above which resistance rises": _first_rise,
    "resistance at twice the speed": _twice_the_speed,
    "resistance of a wheel twice as large": _twice_the_wheel,
    "draught on narrow over wide tyres": _narrow_over_wide,
    "pressure of the air": lambda i: standard_air(parse("length", i["altitude"]))[0],
    "density of the air": lambda i: standard_air(parse("length", i["altitude"]))[1],
    "force of the air": _drag,
    "speed kept with a train": _speed_kept,
    "blowdown": lambda i: (
        parse("water rate", i["steam"])
        * blowdown_share(parse("solids", i["feed"]), parse("solids", i["boiler"]))
    ),
    "factor of evaporation, feed pumped to pressure": lambda i: (
        heat_of_steam(_absolute(i), parse("temperature", i["feed"]), 1.0) / _latent()
    ),
    "loss of cover on a grade": _loss_of_cover,
    "weight on a group of axles": lambda i: bridge_formula(
        parse("length", i["length"]), int(i["axles"])
    ),
    "force to draw a load on the level": _level_force,
    "grade resistance": _grade_force,
    "what tan for sin adds to grade resistance": _tangent_excess,
    "mean over initial pressure": _expansion,
    "pull at the rim": _pull,
    "pull lost to friction of the engine": _pull_lost,
    "adhesion of driving wheels": lambda i: DEFAULTS[f"adhesion_{i['tyre']}"].value,
    "cylinderfuls of steam per hour": _cylinderfuls,
    "volume swept per hour": _swept_rate,
    "indicated power": _indicated_power,
    "enthalpy of liquid water": lambda i: liquid_enthalpy(
        parse("temperature", i["temperature"]), float(i["pressure"])
    ),
    "enthalpy of steam": lambda i: steam_enthalpy(
        parse("temperature", i["temperature"]), float(i["pressure"])
    ),
    "saturation pressure": lambda i: saturation_pressure(parse("temperature", i["temperature"])),
    "saturation temperature": lambda i: saturation_temperature(float(i["pressure"])),
    "enthalpy of dry steam at the gauge": lambda i: saturated_steam_enthalpy(_absolute(i)),
    "boiling point at the gauge": lambda i: saturation_temperature(_absolute(i)),
    "volume of dry steam at the gauge": lambda i: 1 / saturated_steam_density(_absolute(i)),
    "factor of evaporation": _evaporation_factor,
    "density of feed water": lambda _: WATER_DENSITY,
    "weight of a gallon of feed water": lambda i: parse("water", i["gallon"]),
    "heat of a boiler horsepower": lambda i: parse("water rate", i["rate"]) * _latent(),
    "heat of a boiler horsepower, old definition": _old_boiler_horsepower,
    "feed an injector lifts with a pound of steam": _injector,
    "steam of a boiler horsepower": _boiler_horsepower_steam,
    "heat to raise steam": _raising,
    "steam supplied for steam shown by the indicator": _supplied,
    "water per brake horsepower hour, running cut-off": _brake_water,
    "coal per brake horsepower hour, running cut-off": lambda i: _brake_water(i) / _evaporation(i),
    "evaporation": _evaporation,
    "share of full steam used idling": lambda i: _line(i).idle / _line(i).knee_steam,
    "steam per power at part load over full load": _part_load,
    "steam saved against the ideal engine": _saved_against_ideal,
    "furnace efficiency": _furnace,
    "coal to raise steam": _raising_coal,
    "grate that burns the coal for the steam": _grate,
    "boiler horsepower of a coal rate": _boiler_horsepowers,
    "evaporation from a factor of evaporation": _evaporation_by_factor,
    "evaporation of a road run": _road_evaporation,
    "length of a line": _length,
    "excess of the ellipsoid over the sphere": _sphere_excess,
    "lift over a perfect vacuum": _air_column,
    "pressure of the air lost by climbing": _pressure_lost,
    "highest lift in practice": lambda i: lift_limit(parse("length", i["altitude"]), MILD),
    "flow left by a higher lift": _flow_left,
    "coal carried aboard in sacks": _sacks,
    "sunrise by the clock": _sunrise,
    "equation of time": _equation_of_time,
    "declination of the sun": _declination,
}


def _reckoned(row: Row, folder: Path) -> float:
    size, offset = UNITS[row.unit]
    planned = PLANNED.get(row.quantity)
    value = QUANTITIES[row.quantity](row.inputs) if planned is None else planned(row.inputs, folder)
    return value / size - offset


#: Rows the model does not meet, and by how much: kept in sight, not bent into agreement.
MISSED: Mapping[str, str] = {
    "boiler_and_trials.csv:5.03-hard": "hand-fired and pushed to 40 lb/sq ft/h the model's "
    "furnace gives 46.0 %; the source's plants, 54-70 %, were not pushed so hard",
    **{
        f"serving.csv:8.06-{feet}": "two thirds of the air's column falls by 0.8 ft in 1,000 ft "
        f"at first, the source's table by 1 ft: ours is {more} ft higher"
        for feet, more in (
            ("3960", 1.2),
            ("5280", 1.2),
            ("6600", 1.3),
            ("7920", 1.5),
            ("10560", 0.8),
        )
    },
    "serving.csv:8.11-15": "the root of the vacuum left gives 81 %, and 56 % at 20 ft, where the "
    "source has 60 %: no such root goes through both of its points",
}


def _marked(row: Row) -> Any:  # noqa: ANN401  pytest's own type is private
    key = f"{row.file}:{row.id}"
    marks = [pytest.mark.xfail(strict=True, reason=MISSED[key])] if key in MISSED else []
    return pytest.param(row, id=key, marks=marks)


@pytest.mark.parametrize("row", [_marked(row) for row in ROWS])
def test_haulplan_agrees_with_the_published_figure(row: Row, tmp_path: Path) -> None:
    reckoned = _reckoned(row, tmp_path)
    # The last digits of binary arithmetic are not a disagreement.
    rounding = 1e-12 * abs(row.expected)
    assert abs(reckoned - row.expected) <= row.tolerance + rounding, (
        f"{row.quantity}: reckoned {reckoned:.9g} {row.unit}, "
        f"published {row.expected:.9g} +- {row.tolerance:g} ({row.source}, {row.place})"
    )


@pytest.mark.parametrize("row", ROWS, ids=[f"{row.file}:{row.id}" for row in ROWS])
def test_a_row_says_where_it_comes_from(row: Row) -> None:
    assert row.source.strip()
    assert row.place.strip()
    assert row.note.strip()
    known = ("VERIFIED", "COMPUTED", "FROM MEMORY", "INPUTS FROM MEMORY")
    assert row.status.startswith(known)
    if "FROM MEMORY" in row.status:
        assert "not seen" in row.place
    assert row.tolerance > 0


def test_no_row_stands_twice() -> None:
    twice = [key for key, n in Counter((r.file, r.id) for r in ROWS).items() if n > 1]
    assert twice == []


def test_every_way_of_reckoning_is_used() -> None:
    assert {row.quantity for row in ROWS} == set(QUANTITIES) | set(PLANNED)
    assert {row.unit for row in ROWS} == set(UNITS)


def test_there_are_enough_rows_of_every_topic() -> None:
    counts = Counter(row.file for row in ROWS)
    assert set(counts) == {
        "resistance.csv",
        "pull.csv",
        "steam.csv",
        "boiler_and_trials.csv",
        "bridges.csv",
        "serving.csv",
        "geodesy.csv",
        "optimisation.csv",
    }
    assert min(counts.values()) >= 5
    assert counts.total() >= 45
