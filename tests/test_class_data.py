"""The data files of engine classes, fuels and trials: they read, and they hang together.

What is checked against printed figures names them; the rest is common practice, no source.
"""

import csv
import math
import re
import statistics
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

import haulplan
from haulplan.scenario.schema import Engine, Fuel, Gear
from haulplan.units import WATER_DENSITY, parse

PACKAGE = Path(haulplan.__file__).parent
POUND, FOOT = 0.45359237, 0.3048


def _toml(name: str) -> dict[str, Any]:
    return tomllib.loads((PACKAGE / "scenario" / name).read_text(encoding="utf-8"))


def _trials() -> list[dict[str, str]]:
    path = PACKAGE / "evidence" / "trials.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CLASSES = _toml("engine_classes.toml")
FUELS = _toml("fuels.toml")
TRIALS = _trials()

CLASS_KINDS: Mapping[str, str] = {
    "weight": "mass",
    "weight_on_drivers": "mass",
    "pressure": "pressure",
    "bore": "length",
    "stroke": "length",
    "low_pressure_bore": "length",
    "wheel_diameter": "length",
    "tyre_width": "length",
    "grate_area": "area",
    "heating_surface": "area",
    "boiler_water": "water",
    "boiler_metal": "mass",
    "tank": "water",
    "bunker": "coal",
    "frontal_area": "area",
}
CLASS_PLAIN = {"title", "period", "source", "fuel", "cylinders", "tyre", "gears"}
FUEL_KINDS: Mapping[str, str] = {"heating_value": "heating value", "ash": "share"}
#: Kind of each trial input; "number" and "word" are plain.
INPUT_KINDS: Mapping[str, str] = {
    "nominal_hp": "number",
    "rated_bhp": "number",
    "bhp": "number",
    "full_bhp": "number",
    "cylinder_ratio": "number",
    "cylinders": "number",
    "crank_speed": "number",
    "runs": "number",
    "type": "word",
    "class": "word",
    "tyre": "word",
    "wagon_tyre": "word",
    "surface": "word",
    "includes": "word",
    "statistic": "word",
    "pressure": "pressure",
    "bore": "length",
    "stroke": "length",
    "heating_surface": "area",
    "grate_area": "area",
    "heating_value": "heating value",
    "feed_temperature": "temperature",
    "cut_off": "share",
    "condensation": "share",
    "loaded_share": "share",
    "engine_weight": "mass",
    "useful_load": "mass",
    "wagon_tare": "mass",
    "climb": "grade",
    "hill_grade": "grade",
    "speed": "speed",
    "distance": "length",
    "miles_per_day": "length",
    "standing": "duration",
    "hours": "duration",
    "tank": "water",
}
WORDS: Mapping[str, set[str]] = {
    "type": {"simple", "compound", "uniflow", "not stated"},
    "class": set(CLASSES),
    "tyre": {"steel", "rubber"},
    "wagon_tyre": {"steel", "rubber"},
    "surface": {"asphalt", "macadam", "worn macadam", "gravel", "earth"},
    "includes": {"running standing", "running standing lighting-up"},
    "statistic": {"median"},
}
MEASURED_UNITS: Mapping[str, set[str]] = {
    "measured_water": {"lb/bhp-h", "lb/ihp-h", "imp gal/mi"},
    "measured_coal": {"lb/bhp-h", "lb/ihp-h", "lb/mi", "lb/h", "lb/day"},
    "measured_ratio": {"lb/lb"},
}
ROAD_INPUTS = {
    "class", "engine_weight", "useful_load", "wagon_tare", "loaded_share", "tyre", "wagon_tyre",
    "surface", "climb", "hill_grade", "speed", "standing", "feed_temperature", "heating_value",
    "includes",
}  # fmt: skip
BRAKE_INPUTS = {
    "nominal_hp", "rated_bhp", "bhp", "full_bhp", "type", "pressure", "heating_surface",
    "grate_area", "heating_value", "feed_temperature",
}  # fmt: skip


def _inputs(trial: Mapping[str, str]) -> dict[str, str]:
    pairs = [part.split("=") for part in trial["inputs"].split(";")]
    found = {key.strip(): value.strip() for key, value in pairs}
    assert len(found) == len(pairs), "an input is given twice"
    return found


def _measured(text: str) -> tuple[float, str]:
    number, unit = text.split(" ", 1)
    return float(number), unit


def _triple(kind: str, texts: list[str]) -> list[float]:
    values = [parse(kind, text) for text in texts]
    assert len(values) == 3
    assert values == sorted(values)
    return values


def _typical(engine: Mapping[str, Any], name: str) -> float:
    return parse(CLASS_KINDS[name], engine[name][1])


def _brake_runs() -> list[dict[str, str]]:
    return [trial for trial in TRIALS if re.fullmatch(r"4\.20[a-o]", trial["id"])]


# --- engine classes ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", CLASSES)
def test_class_has_every_key_and_a_source(name: str) -> None:
    engine = CLASSES[name]
    wanted = CLASS_PLAIN | set(CLASS_KINDS) - {"low_pressure_bore"}
    assert wanted <= set(engine) <= wanted | {"low_pressure_bore"}
    assert "memory" in engine["source"]
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name)
    assert engine["fuel"] in {"coal", "wood"}


@pytest.mark.parametrize("name", CLASSES)
def test_class_triples_parse_and_rise(name: str) -> None:
    for key in CLASS_KINDS.keys() & CLASSES[name].keys():
        _triple(CLASS_KINDS[key], CLASSES[name][key])


@pytest.mark.parametrize("name", CLASSES)
@pytest.mark.parametrize("place", [0, 1, 2], ids=["low", "typical", "high"])
def test_class_is_an_engine_the_scenario_accepts(name: str, place: int) -> None:
    engine = CLASSES[name]
    known = {
        key: value[place] if key in CLASS_KINDS else value
        for key, value in engine.items()
        if key in Engine.model_fields and key != "gears"
    }
    gears = tuple(
        {key: value for key, value in gear.items() if key in Gear.model_fields}
        for gear in engine["gears"]
    )
    Engine.model_validate({**known, "name": engine["title"], "gears": gears}, strict=False)


@pytest.mark.parametrize("name", CLASSES)
def test_class_boiler_and_crank_are_in_proportion(name: str) -> None:
    engine = CLASSES[name]
    assert 20 <= _typical(engine, "heating_surface") / _typical(engine, "grate_area") <= 35
    assert 0.55 <= _typical(engine, "weight_on_drivers") / _typical(engine, "weight") <= 0.8
    assert _typical(engine, "boiler_metal") < 0.5 * _typical(engine, "weight")
    fastest = {"small-tractor": 300, "steam-wagon": 300, "four-inch-scale": 450}.get(name, 250)
    for gear in engine["gears"]:
        around = math.pi * _typical(engine, "wheel_diameter")
        turns = 60 * parse("speed", gear["speed"]) / around * gear["ratio"]
        assert 120 <= turns <= fastest
        assert 2 <= gear["meshes"] <= 4


@pytest.mark.parametrize("name", CLASSES)
def test_only_compounds_have_a_low_pressure_cylinder(name: str) -> None:
    engine = CLASSES[name]
    assert ("compound" in engine["title"].split(", ")) is ("low_pressure_bore" in engine)
    assert engine["cylinders"] == (2 if "low_pressure_bore" in engine else 1)
    if "low_pressure_bore" in engine:
        ratio = (_typical(engine, "low_pressure_bore") / _typical(engine, "bore")) ** 2
        assert 2.2 <= ratio <= 3.2


def test_farm_engine_carries_what_its_source_prints() -> None:
    # A restored 65-hp engine, in a farm-steam periodical, Sep-Oct 1980; US gallon, lb.
    engine = CLASSES["farm-engine-65"]
    gallon = 231 * (FOOT / 12) ** 3 * WATER_DENSITY
    assert _typical(engine, "boiler_water") == pytest.approx(2260 * POUND)
    assert _typical(engine, "tank") == pytest.approx(219 * gallon)
    assert _typical(engine, "bunker") == pytest.approx(900 * POUND)
    full = sum(_typical(engine, key) for key in ("weight", "tank", "bunker"))
    assert full == pytest.approx(13 * 2000 * POUND, rel=0.01)


def test_large_farm_engine_has_the_printed_cylinder() -> None:
    # 32-hp class, single cylinder 12 x 12 in: brake test of 1909, reprinted in a periodical.
    engine = CLASSES["farm-engine-110"]
    assert _typical(engine, "bore") == _typical(engine, "stroke") == pytest.approx(FOOT)
    assert _typical(engine, "tank") / WATER_DENSITY * 1000 == pytest.approx(366 * 3.785411784)


# --- fuels ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FUELS)
def test_fuel_is_whole_and_accepted_by_the_scenario(name: str) -> None:
    fuel = FUELS[name]
    assert all(fuel[key].strip() for key in ("title", "source", "status", "remarks"))
    for key, kind in FUEL_KINDS.items():
        _triple(kind, fuel[key])
    for value in fuel["heating_value"]:
        Fuel.model_validate({"name": fuel["title"], "heating_value": value})
    assert fuel["bulk_density_kg_m3"] == sorted(fuel["bulk_density_kg_m3"])
    assert len(fuel["bulk_density_kg_m3"]) == 3
    assert fuel["bags"]
    assert all(5 <= parse("coal", bag) <= 60 for bag in fuel["bags"])
    assert ("moisture" in fuel) is name.endswith("wood")


@pytest.mark.parametrize("name", [name for name in FUELS if name.endswith("wood")])
def test_wetter_wood_gives_the_heat_of_its_dry_part(name: str) -> None:
    # Dry wood 8,600 Btu/lb whatever the species: extension table (row 6.12).
    for heat, moisture in zip(
        FUELS[name]["heating_value"], reversed(FUELS[name]["moisture"]), strict=True
    ):
        dry = parse("heating value", "8600 Btu/lb") * (1 - parse("share", moisture))
        assert parse("heating value", heat) == pytest.approx(dry, rel=0.03)


@pytest.mark.parametrize(
    ("name", "pounds", "least", "most"),
    [("bituminous-good", 49, 40, 48), ("anthracite", 54, 40, 43)],
)
def test_coal_in_the_heap_weighs_as_printed(
    name: str, pounds: float, least: float, most: float
) -> None:
    # Farm directory of 1919 (row 6.11): lb per cubic foot, cubic feet per (long) ton.
    low, typical, high = FUELS[name]["bulk_density_kg_m3"]
    per = POUND / FOOT**3
    assert typical == pytest.approx(pounds * per, abs=0.5)
    assert (low, high) == pytest.approx((2240 / most * per, 2240 / least * per), abs=0.7)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    # Kent / Marks, typical heat as fired in Btu/lb (row 6.10, from memory).
    [
        ("bituminous-good", 12500, 13800),
        ("anthracite", 12500, 13500),
        ("subbituminous", 8500, 10000),
        ("lignite", 6000, 7500),
    ],
)
def test_coal_gives_the_handbooks_heat(name: str, low: float, high: float) -> None:
    heat = FUELS[name]["heating_value"]
    assert (parse("heating value", heat[0]), parse("heating value", heat[2])) == pytest.approx(
        (low * 2326, high * 2326), rel=1e-3
    )


# --- trials -----------------------------------------------------------------------------------


def test_trial_ids_are_unique_and_every_case_is_there() -> None:
    ids = [trial["id"] for trial in TRIALS]
    assert len(ids) == len(set(ids))
    brakes = {f"4.20{letter}" for letter in "abcdefghijklmno"}
    others = {"4.21-4.23", "4.01-4.02", "4.04-4.06", "C3", "C4", "C5", "C6", "C7", "C8", "C9"}
    assert set(ids) == brakes | others | {"C14a", "C14b", "C18", "C19"}


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: trial["id"])
def test_trial_states_source_bound_and_assumptions(trial: Mapping[str, str]) -> None:
    for key in ("source", "place", "status", "given", "assumed"):
        assert trial[key].strip()
    assert trial["bound"] in {"equal", "at most", "about"}
    assert trial["kind"] in {"brake", "indicated", "road", "hourly", "day"}
    given = {key: trial[key] for key in MEASURED_UNITS if trial[key]}
    assert given, "nothing measured"
    for key, text in given.items():
        number, unit = _measured(text)
        assert number > 0
        assert unit in MEASURED_UNITS[key]


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: trial["id"])
def test_trial_inputs_can_be_read(trial: Mapping[str, str]) -> None:
    for key, value in _inputs(trial).items():
        kind = INPUT_KINDS[key]
        if kind == "number":
            assert float(value) > 0
        elif kind == "word":
            assert value in WORDS[key]
        elif "|" in value:
            _triple(kind, value.split("|"))
        else:
            assert parse(kind, value) >= 0


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: trial["id"])
def test_trial_has_what_its_kind_needs(trial: Mapping[str, str]) -> None:
    inputs = _inputs(trial)
    if trial["flag"] == "pooled":
        assert float(inputs["runs"]) == len(_brake_runs())
    elif trial["kind"] == "brake" or "bhp" in inputs:
        assert set(inputs) >= BRAKE_INPUTS
    elif trial["kind"] != "indicated":
        assert set(inputs) >= ROAD_INPUTS


@pytest.mark.parametrize("trial", _brake_runs(), ids=lambda trial: trial["id"])
def test_brake_run_rates_follow_from_its_weights(trial: Mapping[str, str]) -> None:
    # Prony-brake runs, Ohio 1955-61: the table prints load, coal and water of the run.
    found = re.search(r"load ([\d.]+) bhp, coal (\d+) lb, water (\d+) lb", trial["given"])
    assert found is not None
    load, coal, water = map(float, found.groups())
    assert float(_inputs(trial)["bhp"]) == load
    for key, figure in (
        ("measured_water", water / load),
        ("measured_coal", coal / load),
        ("measured_ratio", water / coal),
    ):
        assert _measured(trial[key])[0] == pytest.approx(figure, abs=0.0051)


#: lb per bhp-h of water and coal, lb/lb, as our table of published figures carries them.
PRINTED: Mapping[str, tuple[float, float, float]] = {
    "4.20a": (32.57, 5.93, 5.49),
    "4.20b": (35.83, 6.44, 5.56),
    "4.20c": (31.5, 4.66, 6.76),
    "4.20d": (20.19, 2.31, 8.75),
    "4.20e": (28.66, 3.57, 8.04),
    "4.20f": (31.98, 5.78, 5.53),
    "4.20g": (30.3, 3.47, 8.72),
    "4.20h": (29.6, 3.30, 8.97),
    "4.20i": (30.59, 4.59, 6.67),
    "4.20j": (29.84, 2.99, 9.97),
    "4.20k": (29.4, 3.52, 8.35),
    "4.20l": (39.87, 5.42, 7.36),
    "4.20m": (27.32, 4.15, 6.59),
    "4.20n": (25.01, 2.99, 8.36),
    "4.20o": (32.18, 3.69, 8.72),
}


@pytest.mark.parametrize("trial", _brake_runs(), ids=lambda trial: trial["id"])
def test_brake_run_rates_are_the_sources(trial: Mapping[str, str]) -> None:
    ours = tuple(_measured(trial[key])[0] for key in MEASURED_UNITS)
    assert ours == pytest.approx(PRINTED[trial["id"]], abs=0.011)


@pytest.mark.parametrize("trial", _brake_runs(), ids=lambda trial: trial["id"])
def test_brake_run_inputs_follow_the_written_rules(trial: Mapping[str, str]) -> None:
    inputs = _inputs(trial)
    assert trial["given"].startswith(f"{inputs['nominal_hp']}-{inputs['rated_bhp']} class")
    nominal, rated = float(inputs["nominal_hp"]), float(inputs["rated_bhp"])
    # 12-16 sq ft and 0.4 sq ft per boiler horsepower: Building Construction 4, s. 129-130.
    assert inputs["heating_surface"] == f"{14 * nominal:g} sq ft"
    assert inputs["grate_area"] == f"{0.4 * nominal:g} sq ft"
    # 93 at the brake from a rated 75: farm-steam periodical, Mar-Apr 1957 (row 3.14).
    assert float(inputs["full_bhp"]) == pytest.approx(93 / 75 * rated)
    assert ("cylinder_ratio" in inputs) is (inputs["type"] == "compound")
    assert ("condensation" in inputs) is (inputs["type"] in {"compound", "uniflow"})
    heated = inputs["feed_temperature"] != "60 degF"
    assert heated is ("heater" in trial["given"])


def test_pooled_medians_are_the_runs_medians() -> None:
    (pooled,) = [trial for trial in TRIALS if trial["flag"] == "pooled"]
    for key in MEASURED_UNITS:
        median = statistics.median(_measured(run[key])[0] for run in _brake_runs())
        assert _measured(pooled[key])[0] == pytest.approx(median, abs=0.0051)


def test_the_one_outlier_is_marked() -> None:
    assert [trial["id"] for trial in TRIALS if trial["flag"] == "outlier"] == ["4.20d"]


@pytest.mark.parametrize(
    ("case", "key", "figure"),
    [
        ("4.01-4.02", "measured_water", 3.2 * 7.62),  # coal x evaporation, Thurston (1878)
        ("4.04-4.06", "measured_water", 1.94 * 15),  # per useful ton-mile x 15 tons
        ("4.04-4.06", "measured_coal", 2.85 * 15),
        ("4.04-4.06", "measured_ratio", 1.94 * 10.0125 / 2.85),  # lb of an imperial gallon
        ("C3", "measured_coal", 2240 / 60),  # 1 long ton over 60 miles
        ("C4", "measured_coal", 112.0),
        ("C5", "measured_coal", 2.25 * 112 / 21.9),
        ("C6", "measured_coal", 112 / 12),
        ("C7", "measured_coal", (10 + 12) / 2),
        ("C8", "measured_water", 130 / 20),
        ("C9", "measured_water", 140 / 11),
        ("C14a", "measured_coal", 510 / 72 * 60),
        ("C14b", "measured_coal", 451 / 76 * 60),
        ("C18", "measured_ratio", 1.55 * 10.0125 / 2.5),
        ("C19", "measured_coal", 200_000 / 220 / 5 / POUND),
    ],
)
def test_figure_follows_from_what_the_source_states(case: str, key: str, figure: float) -> None:
    (trial,) = [trial for trial in TRIALS if trial["id"] == case]
    assert _measured(trial[key])[0] == pytest.approx(figure, rel=0.005)


@pytest.mark.parametrize(
    ("case", "miles", "hours"),
    [("C3", 60, 22), ("C5", 21.9, 10), ("C6", 32, 8), ("C7", 58, 15.25)],
)
def test_speed_and_standing_give_the_stated_day(case: str, miles: float, hours: float) -> None:
    (trial,) = [trial for trial in TRIALS if trial["id"] == case]
    inputs = _inputs(trial)
    moving = 1 - parse("duration", inputs["standing"]) / 3600
    covered = parse("speed", inputs["speed"]) * moving * hours * 3600
    assert covered / 1609.344 == pytest.approx(miles, rel=0.02)


def test_assumptions_page_names_every_case() -> None:
    page = (PACKAGE / "evidence" / "ASSUMPTIONS.md").read_text(encoding="utf-8")
    for trial in TRIALS:
        if not re.fullmatch(r"4\.20[b-n]|4\.21-4\.23", trial["id"]):
            assert trial["id"] in page
