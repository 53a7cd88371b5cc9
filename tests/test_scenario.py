"""Reading a scenario: every fault is told once, plainly, with all the others."""

import copy
import csv
import datetime as dt
import io
import math
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from haulplan.errors import InputError, Problem
from haulplan.scenario import read_road_table, read_scenario, schema
from haulplan.scenario.classes import class_figures

Toml = dict[str, Any]
Write = Callable[..., Path]
Key = tuple[str | int, ...]

#: Every key of scenario.toml that `steam` leaves out, so that each can be spoilt.
MORE: Toml = {
    "route": {
        "file": "road.gpx", "track": "road", "grades": "grades.csv", "surface": "gravel",
        "snap": "80 m", "longest_gap": "1 km",
        "network": "road.gpx", "heights": "road.gpx", "keep_off": "road.gpx",
    },
    "outline": {
        "height": "3.4 m", "width": "2.5 m", "heaviest_axle": "9 t", "steepest_climb": "1 in 9",
        "avoid": ["sand"], "fords": "take",
    },
    "engine": {
        "low_gear_descent": "6 %", "gear_change": "2 min", "running_cut_off": "50 %",
        "longest_cut_off": "75 %", "diagram_factor": "75 %", "condensation": "20 %",
        "transmission_efficiency": "80 %", "adhesion": "40 %", "auxiliary_steam": "3 %",
        "firing_rate": "40 lb/sq ft/h", "kind": "road-locomotive", "low_pressure_bore": "29 cm",
        "tyre_width": "40 cm", "control": "cut-off", "frontal_area": "6 m2",
        "steepest_descent": "1 in 8", "water_factor": {"typical": 1.1, "spread": 0.08},
        "coal_factor": {"typical": 0.9, "spread": 0.1}, "feed_rate": "25 L/min",
        "gears": [
            {"name": "low", "ratio": 18.0, "speed": "3 km/h", "meshes": 3},
            {"name": "high", "ratio": 9.0, "speed": "7 km/h", "meshes": 2},
        ],
        "glass": {
            "crown_back": "48 in", "tubes_front": "-60 in", "tubes_height": "-8 in",
            "glass_at": "50 in", "glass_bottom": "1 in", "glass_length": "8 in",
            "minimum_cover": "2 in", "swell": "1 in", "surface_area": "2 m2",
            "working_level": "4 in", "highest_level": "7 in",
        },
        "axles": {"wheelbase": "3 m", "tank_ahead": "-0.5 m", "bunker_ahead": "-0.8 m"},
    },
    "fuel": {"kind": "bituminous-good"},
    "train": {
        "wagons": [
            {
                "name": "Van", "tare": "3 t", "load": "1 t", "tyre": "rubber", "count": 2,
                "wheel_diameter": "1 m", "tyre_width": "20 cm", "axles": 2, "wheelbase": "3 m",
                "behind": "4 m",
            },
            {"name": "Barrel", "tare": "1 t", "tyre": "rubber", "axles": 1, "behind": "4 m"},
        ]
    },
    "conditions": {
        "weather": "wet", "wind_speed": "10 mph", "wind_from": 270.0,
        "feed_temperature": "60 degF", "feed_solids": "200 ppm",
    },
    "depart_by": "08:00",
    "last_resort": {"water": "60 L", "coal": "10 kg"},
    "serving": "in turn",
    "hours": {
        "earliest": "06:00", "latest": "21:00", "light": "sun", "utc_offset": "1 h",
        "latitude": "55.0", "longitude": "-2.0", "crew": "13 h", "rest": "9 h",
    },
    "lighting_up": {"cold": "3 h", "banked": "1 h"},
    "duties": [
        {"name": "Oil round", "hours": "2 h", "takes": "10 min", "beside": "yes"},
        {"name": "Rake the ashpan", "miles": "10 mile", "takes": "8 min", "beside": "no"},
    ],
    "meals": [{"name": "Noon", "earliest": "11:30", "latest": "13:30", "takes": "30 min"}],
    "nights": {
        "most": 1, "banked_water": "40 L", "banked_coal": "30 kg", "dropped_water": "10 L",
        "dropped_coal": "70 kg", "fire": "banked",
    },
    "quality": {
        "most_hard": "80 %", "most_muddy": "40 %", "most_alkaline": "30 %", "strain": "6 min",
    },
    "coaling": {"people": 2, "sack": "25 kg", "sacks_per_hour": 48},
    "risk": {"chance": "5 %", "day": "10 %", "stretch": "8 %", "length": "1 km"},
    "paces": ["80 %", "100 %"],
    "sheet": {
        "revision": "B", "go_no_go": ["No run on a day of high fire danger."],
        "contacts": [{"name": "Ida Marl", "telephone": "555-0102", "role": "support driver"}],
        "carry": ["sand"], "slack": "15 %", "ring_ahead": "4 day", "permit_ahead": "21 day",
        "width": "8 ft", "height": "11 ft", "certificate_expires": dt.date(2027, 9, 30),
        "insurance_expires": dt.date(2028, 1, 31),
    },
    "pessimism": "80 %",
    "bridge_margin": "2 %",
    "bridge_formula": "yes",
    "standing_water": "20 L/h",
    "standing_coal": "4 kg/h",
    "stale_after": "30 day",
}  # fmt: skip
WEIGHTS: Toml = {"minute": 1.0, "money": 0.5, "stop": 10}

#: A complete row of every table; the two ways of putting a place on the road in two rows.
ROWS: Mapping[str, tuple[type[BaseModel], tuple[dict[str, str], ...]]] = {
    "supply.csv": (
        schema.Supply,
        (
            {
                "name": "Pump", "kind": "hydrant", "at": "2 km", "water_available": "unlimited",
                "water_rate": "60 L/min", "water_price": "0.01 USD/L", "coal_available": "200 kg",
                "coal_rate": "20 kg/min", "coal_price": "0.4 USD/kg", "call_out": "5 USD",
                "set_up": "10 min", "opens": "06:00", "closes": "20:00", "side": "left",
                "contact": "the miller", "permit": "no. 3", "last_confirmed": "2027-05-01",
                "note": "low wall", "serving": "together", "access": "200 m",
                "access_surface": "earth", "access_time": "8 min", "access_water": "12 L",
                "access_coal": "2 kg", "turning_time": "3 min", "turning": "yes",
                "night": "yes", "night_price": "15 USD", "standing": "dry only",
                "quality": "hard", "solids": "300 ppm",
            },
            {
                "name": "Pond", "kind": "pond", "latitude": "55.01", "longitude": "-2",
                "water_available": "500 L", "water_rate": "60 L/min", "lift": "9 ft",
                "coal_available": "1 t", "sacks": "yes",
            },
        ),
    ),
    "bridges.csv": (
        schema.Bridge,
        (
            {
                "name": "Arch", "at": "3 km", "limit": "30 t", "last_confirmed": "2027-05-01",
                "note": "stone", "uncouple": "15 min", "drain": "80 L/min",
            },
            {
                "name": "Span", "latitude": "55.02", "longitude": "-2", "limit": "12 t",
                "kind": "tandem",
            },
        ),
    ),
    "places.csv": (
        schema.Place,
        (
            {"name": "Oak", "at": "4 km", "note": "shade", "halt": "yes", "turning": "yes",
             "turning_time": "6 min", "pull_in": "yes"},
            {
                "name": "Elm", "latitude": "55.03", "longitude": "-2", "night": "yes",
                "night_price": "20 USD", "stay": "40 min", "opens": "09:00", "closes": "17:00",
                "day": "2",
            },
        ),
    ),
    "crossings.csv": (
        schema.LevelCrossing,
        (
            {
                "name": "Halt", "at": "5 km", "telephone": "555-0109", "note": "half barriers",
                "last_confirmed": "2027-05-01",
            },
            {"name": "Siding", "latitude": "55.04", "longitude": "-2"},
        ),
    ),
    "stores.csv": (
        schema.Store,
        (
            {
                "name": "Barrel", "kind": "cart", "water": "900 L", "at_start": "800 L",
                "water_rate": "60 L/min",
            },
            {
                "name": "Flatbed", "kind": "truck", "water": "2000 L", "coal": "500 kg",
                "loads": "2", "water_rate": "200 L/min", "coal_rate": "20 kg/min",
                "water_price": "0.02 USD/L", "coal_price": "0.5 USD/kg", "call_out": "40 USD",
                "set_up": "5 min",
            },
        ),
    ),
    "surfaces.csv": (
        schema.SurfaceRow,
        ({"from": "1 km", "to": "2 km", "surface": "brick", "speed_limit": "5 km/h"},),
    ),
    "demand.csv": (
        schema.DemandRow,
        (
            {
                "from": "0 km", "to": "12 km", "gear": "high", "duration": "2 h",
                "water": "900 kg", "coal": "150 kg", "water_per_mass": "0.001",
                "coal_per_mass": "0.0001",
            },
        ),
    ),
    "grades.csv": (
        schema.RoadRow,
        (
            {"distance": "0 km", "elevation": "100 m", "surface": "brick"},
            {"distance": "9 km", "elevation": "120 m"},
        ),
    ),
}  # fmt: skip


GLASS = {k: v for k, v in MORE["engine"]["glass"].items() if not k.endswith("level")}
AXLES: Toml = MORE["engine"]["axles"]
OILING = {"name": "Oil", "hours": "1 h", "takes": "5 min"}
NOON = {"name": "Noon", "earliest": "11:30", "latest": "13:00", "takes": "20 min"}


def table(rows: tuple[dict[str, str], ...]) -> str:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in models_in(part)]


def is_list(annotation: object) -> bool:
    return getattr(annotation, "__origin__", None) is tuple or any(
        is_list(part) for part in get_args(annotation)
    )


def keys_of(model: type[BaseModel], at: Key = ()) -> Iterator[tuple[Key, str, bool]]:
    """Every key of scenario.toml, its sort, and whether it must be given."""
    for name, field in model.model_fields.items():
        inner = models_in(field.annotation)
        key = (*at, name)
        if is_list(field.annotation):
            sort = "list"
            key_within: Key = (*key, 0)
        else:
            sort = "section" if inner else "text" if is_text(field.metadata) else "value"
            key_within = key
        yield key, sort, field.is_required()
        for owner in inner:
            yield from keys_of(owner, key_within)


def is_text(metadata: list[Any]) -> bool:
    return any(getattr(item, "max_length", None) == 200 for item in metadata)


def annotated_text(model: type[BaseModel], name: str) -> bool:
    field = model.model_fields[name]
    return is_text(field.metadata) or any(
        getattr(item, "max_length", None) == 200
        for part in get_args(field.annotation)
        for item in getattr(part, "__metadata__", ())
    )


KEYS = list(keys_of(schema.ScenarioFile))
#: Optional text is annotated one level deeper than the model shows.
OPTIONAL_TEXT = {
    ("route", "file"), ("route", "track"), ("route", "grades"), ("engine", "kind"),
    ("fuel", "kind"), ("route", "network"), ("route", "heights"), ("route", "keep_off"),
    ("sheet", "revision"), ("sheet", "contacts", 0, "role"),
}  # fmt: skip
BAD: Mapping[str, tuple[object, ...]] = {
    "text": ("", "bell \a", "x" * 201, 5, True, [1], {"a": 1}),
    "value": ("lots", "", "5 parsec", "\a", "nan", [1], {"a": 1}, True, math.nan, math.inf),
    "section": (5, "text", [1], True),
    "list": (5, "text", {"a": 1}, [5], True),
}  # fmt: skip


BAD_CELLS = ("lots", "5 parsec", "nan", "inf", "1e999 km", "1,200", "1.200,5 kg", "-5 kg", "5 gal")


def name_of(key: Key) -> str:
    return "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in key)[1:]


def get(toml: Toml, key: Key) -> Any:  # noqa: ANN401  a key may hold anything
    value: Any = toml
    for part in key:
        value = value[part]
    return value


def spoil(toml: Toml, key: Key, value: object) -> Toml:
    toml = copy.deepcopy(toml)
    if key[0] == "aim" and key[1:] and key[1] != "first":
        toml["aim"] = dict(WEIGHTS)
    if key == ("duties", 0, "miles"):
        toml["duties"].reverse()
    get(toml, key[:-1])[key[-1]] = value
    return toml


@pytest.fixture
def full(steam: Toml) -> Toml:
    """A steam scenario with every key there is (the aim's weights apart)."""
    for key, value in copy.deepcopy(MORE).items():
        steam[key] = {**steam.get(key, {}), **value} if isinstance(value, dict) else value
    return steam


@pytest.fixture
def tables(gpx_text: Callable[..., str]) -> dict[str, str]:
    """Every table, complete."""
    files = {name: table(rows) for name, (_, rows) in ROWS.items()}
    files["road.gpx"] = gpx_text([(55.0, -2.0, 100.0), (55.08, -2.0, 120.0)])
    return files


def problems_of(folder: Path) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        read_scenario(folder)
    return caught.value.problems


def only_line(folder: Path) -> str:
    problems = problems_of(folder)
    assert len(problems) == 1, "\n".join(map(str, problems))
    line = str(problems[0])
    assert len(line.splitlines()) == 1
    assert line.isprintable()
    assert problems[0].remedy
    return line


# --- what is right is read ------------------------------------------------------------


def test_every_key_and_column_can_be_given(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    elsewhere: dict[Key, Toml] = {("aim", name): {"aim": WEIGHTS} for name in WEIGHTS}
    elsewhere["duties", 0, "miles"] = {"duties": full["duties"][1:]}
    for key, _, _ in KEYS:
        if key != ("train", "dry_weight"):
            get(elsewhere.get(key, full), key)
    for model, rows in ROWS.values():
        given = {column for row in rows for column in row} | {"grade"}
        columns = {{"begin": "from", "end": "to"}.get(n, n) for n in model.model_fields}
        assert columns <= given
    scenario = read_scenario(write(full, tables))
    assert (len(scenario.supplies), len(scenario.bridges), len(scenario.places)) == (2, 2, 2)


def test_figures_become_si(full: Toml, tables: dict[str, str], write: Write) -> None:
    full["stores"]["tank"] = "320 US gal"
    full["engine"]["pressure"] = "155 psi"
    full["depart"] = dt.time(6, 45, 30)
    scenario = read_scenario(write(full, tables))
    engine = scenario.file.engine
    assert engine is not None
    # 231 cu in to the US gallon, 0.0254 m to the inch, 0.45359237 kg to the pound (NIST
    # SP 811, Appendix B); water at 999 kg/m³ as haulplan/units.py states
    assert scenario.file.stores.tank == pytest.approx(320 * 231 * 0.0254**3 * 999)
    assert engine.pressure == pytest.approx(155 * 0.45359237 * 9.80665 / 0.0254**2)
    assert scenario.file.depart == 6 * 3600 + 45 * 60 + 30
    assert scenario.file.at_start.water == math.inf
    pump = scenario.supplies[0]
    assert pump.water_available == math.inf
    assert pump.water_rate == pytest.approx(0.999)
    assert pump.water_price == pytest.approx(0.01 / 0.999)
    assert (pump.opens, pump.closes) == (6 * 3600, 20 * 3600)
    assert pump.last_confirmed == dt.date(2027, 5, 1)


def test_units_stand_in_the_header_or_in_the_cell(steam: Toml, road_csv: str, write: Write) -> None:
    head = "name,kind,at [km],set_up [min],water_available,water_rate [L/min]\n"
    rows = "A,tap,2,12,300 L,60\nB,tap,2500 m,0.2 h,unlimited,1 L/s\nC,tap,2.,12,1 m3,.6e2\n"
    supplies = read_scenario(
        write(steam, {"route.csv": road_csv, "supply.csv": head + rows})
    ).supplies
    assert [supply.at for supply in supplies] == [2000, 2500, 2000]
    assert {round(supply.set_up, 9) for supply in supplies} == {720.0}
    assert {round(supply.water_rate or 0, 9) for supply in supplies} == {0.999}


def test_a_byte_order_mark_and_windows_line_ends_are_no_matter(
    steam: Toml, road_csv: str, toml_text: Callable[[Toml], str], write: Write
) -> None:
    supply = table(ROWS["supply.csv"][1][:1])
    plain = read_scenario(write(steam, {"route.csv": road_csv, "supply.csv": supply}))
    crlf = {
        "scenario.toml": toml_text(steam), "route.csv": road_csv, "supply.csv": supply,
    }  # fmt: skip
    marked = {n: b"\xef\xbb\xbf" + t.replace("\n", "\r\n").encode() for n, t in crlf.items()}
    folder = write(marked.pop("scenario.toml"), marked, name="marked")
    again = read_scenario(folder)
    assert again.file == plain.file
    assert again.supplies == plain.supplies


def test_blank_lines_and_rows_of_commas_are_skipped(
    steam: Toml, road_csv: str, write: Write
) -> None:
    text = "name,at [km]\n\nOak,2\n,\n  ,  \nElm,3\n"
    scenario = read_scenario(write(steam, {"route.csv": road_csv, "places.csv": text}))
    assert [place.name for place in scenario.places] == ["Oak", "Elm"]


def test_an_absent_table_is_an_empty_one(steam: Toml, road_csv: str, write: Write) -> None:
    scenario = read_scenario(write(steam, {"route.csv": road_csv}))
    assert not any((scenario.supplies, scenario.bridges, scenario.places))


# --- one fault, one line --------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value"),
    [
        (key, value)
        for key, sort, _ in KEYS
        for value in BAD["text" if key in OPTIONAL_TEXT else sort]
    ],
    ids=lambda item: repr(item)[:40],
)
def test_a_bad_value_in_any_key_gives_one_line(
    key: Key, value: object, full: Toml, tables: dict[str, str], write: Write
) -> None:
    line = only_line(write(spoil(full, key, value), tables))
    place = name_of((*key, 0)) if value == [5] else name_of(key)
    assert line.startswith(f"scenario.toml, {place}: ")
    if isinstance(value, str) and value.isprintable():
        assert f"'{value[:57]}" in line
    assert "input should" not in line.casefold()
    assert "pydantic" not in line


@pytest.mark.parametrize(
    ("key", "value"),
    [
        (key, value)
        for key, sort, _ in KEYS
        if sort == "value"
        for value in (-1e300, 1e300, 10**400)
        if key not in {("date",), ("depart",)}
    ],
    ids=lambda item: repr(item)[:40],
)
def test_numbers_without_bounds_are_refused(
    key: Key, value: float, full: Toml, tables: dict[str, str], write: Write
) -> None:
    assert name_of(key) in only_line(write(spoil(full, key, value), tables))


@pytest.mark.parametrize(
    ("file", "number", "column", "value"),
    [
        (file, number, column, value)
        for file, (model, rows) in ROWS.items()
        for number, row in enumerate(rows, start=2)
        for column in row
        for value in (
            ("bell \a", "x" * 201)
            if annotated_text(model, {"from": "begin", "to": "end"}.get(column, column))
            else BAD_CELLS
        )
    ],
    ids=lambda item: repr(item)[:40],
)  # fmt: skip
def test_a_bad_cell_in_any_column_gives_one_line(
    file: str,
    number: int,
    column: str,
    value: str,
    full: Toml,
    tables: dict[str, str],
    write: Write,
) -> None:
    rows = copy.deepcopy(ROWS[file][1])
    rows[number - 2][column] = value
    tables[file] = table(rows)
    folder = write(full, tables)
    if file == "grades.csv":
        problems: list[Problem] = []
        read_road_table(folder / file, problems)
        assert len(problems) == 1
        line = str(problems[0])
    else:
        line = only_line(folder)
    assert line.startswith(f"{file}, row {number}, column {column}: ")
    if value.isprintable():
        assert f"'{value[:57]}" in line
    assert "input should" not in line.casefold()


@pytest.mark.parametrize("key", [key for key, _, required in KEYS if required], ids=name_of)
def test_a_missing_key_is_named(key: Key, full: Toml, tables: dict[str, str], write: Write) -> None:
    del get(full, key[:-1])[key[-1]]
    for section in ("engine", "fuel"):  # a kind would fill the gap
        full.get(section, {}).pop("kind", None)
    line = only_line(write(full, tables))
    assert line.startswith(f"scenario.toml, {name_of(key)}: missing; give {key[-1]}")


@pytest.mark.parametrize("key", ["weight", "bore", "gears", "grate_area"])
def test_a_missing_figure_of_an_engine_is_its_kinds(
    key: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    del full["engine"][key]
    scenario = read_scenario(write(full, tables))
    assert list(scenario.filled) == [f"engine.{key}"]
    whole = schema.Engine.model_validate({**class_figures("road-locomotive"), "name": "typical"})
    assert getattr(scenario.file.engine, key) == getattr(whole, key)


def test_a_kind_that_is_not_known_suggests_the_nearest(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    full["engine"]["kind"] = "road-locomotiv"
    line = only_line(write(full, tables))
    assert line.startswith("scenario.toml, engine.kind: 'road-locomotiv' is not known; ")
    assert "did you mean 'road-locomotive'?" in line


@pytest.mark.parametrize(
    ("file", "column"),
    [
        (file, {"begin": "from", "end": "to"}.get(name, name))
        for file, (model, _) in ROWS.items()
        if file != "grades.csv"
        for name, field in model.model_fields.items()
        if field.is_required()
    ],
)
def test_a_missing_column_or_cell_is_named(
    file: str, column: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    rows = copy.deepcopy(ROWS[file][1])
    rows[0][column] = " "
    tables[file] = table(rows)
    line = only_line(write(full, tables, name="cell"))
    assert line.startswith(f"{file}, row 2, column {column}: missing; give {column}")
    for row in rows:
        del row[column]
    tables[file] = table(rows)
    line = only_line(write(full, tables, name="column"))
    assert line.startswith(f"{file}, header: missing column {column}; ")


@pytest.mark.parametrize(
    ("key", "sort"),
    [((*key[:-1], f"{key[-1]}z"), sort) for key, sort, _ in KEYS],
    ids=lambda item: name_of(item) if isinstance(item, tuple) else item,
)
def test_an_unknown_key_suggests_the_nearest(
    key: Key, sort: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    del sort
    line = only_line(write(spoil(full, key, "1 km"), tables))
    assert line.startswith(f"scenario.toml, {name_of(key)}: unknown name; did you mean ")
    assert f"did you mean '{str(key[-1])[:-1]}'? allowed: " in line


@pytest.mark.parametrize(
    ("file", "column", "meant"),
    [
        ("supply.csv", "water_availible", "water_available"),
        ("supply.csv", "setup [min]", "set_up"),
        ("bridges.csv", "limits", "limit"),
        ("places.csv", "notes", "note"),
        ("surfaces.csv", "speed limits", "speed_limit"),
        ("demand.csv", "water_per_mas", "water_per_mass"),
    ],
)
def test_an_unknown_column_suggests_the_nearest(
    file: str, column: str, meant: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    head, *rest = tables[file].splitlines()
    tables[file] = "\n".join([f"{head},{column}", *(f"{row}," for row in rest)])
    line = only_line(write(full, tables))
    assert line.startswith(f"{file}, header, column '{column}': unknown column; ")
    assert f"did you mean '{meant}'? allowed: " in line


@pytest.mark.parametrize(("mark", "name"), [(";", "semicolons"), ("\t", "tabs")])
def test_cells_parted_by_no_commas_are_told(
    mark: str, name: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    tables["surfaces.csv"] = tables["surfaces.csv"].replace(",", mark)
    line = only_line(write(full, tables))
    assert line.startswith(f"surfaces.csv, header: cells separated by {name}; save it as CSV ")


def test_internal_names_of_columns_are_not_taken(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    tables["surfaces.csv"] = tables["surfaces.csv"].replace("from", "begin")
    line = only_line(write(full, tables))
    assert line.startswith("surfaces.csv, header, column 'begin': unknown column; ")
    assert "from, to" in line


# --- units ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "choices"),
    [
        (("stores", "tank"), "300 gal", ("'US gal'", "'imp gal'")),
        (("stores", "tank"), "300 Gallons", ("'US gal'", "'imp gal'")),
        (("stores", "tank"), "6 barrels", ("'US gal'", "'imp gal'")),
        (("engine", "weight"), "12 tons", ("'short ton'", "'long ton'", "'t'")),
        (("engine", "weight"), "240 cwt", ("'short cwt'", "'long cwt'")),
        (("stores", "bunker"), "12 bushels", ("lb or kg",)),
        (("stores", "bunker"), "1 cord", ("lb or kg",)),
        (("stores", "bunker"), "10 hundredweight", ("'short cwt'", "'long cwt'")),
        (("engine", "pressure"), "150 psia", ("gauge",)),
        (("engine", "pressure"), "8 hp", ("cylinders, pressure and speeds",)),
        (("engine", "pressure"), "8 NHP", ("cylinders, pressure and speeds",)),
        (("standing_water",), "5 gal/h", ("'US gal'", "'imp gal'")),
        (("standing_coal",), "0.1 ton/h", ("'short ton'", "'long ton'")),
        (("stores", "tank"), "300 parsecs", ("US gal", "imp gal")),
        (("stores", "tank"), "300", ("260 US gal",)),
        (("stores", "tank"), "US gal", ("260 US gal",)),
        (("stores", "tank"), "1,200 L", ("thousands marks",)),
        (("stores", "tank"), "1_200 L", ("thousands marks",)),
        (("stores", "tank"), "0x10 L", ("x10 L",)),
        (("stores", "tank"), "nan L", ("260 US gal",)),
        (("stores", "tank"), "1e999 L", ("too large",)),
        (("stores", "tank"), "-5 L", ("1 L to 50000 L",)),
        (("engine", "low_gear_descent"), "1 in 0", ("above zero",)),
    ],
)  # fmt: skip
def test_ambiguous_and_unreadable_units_name_the_choices(
    key: Key, value: str, choices: tuple[str, ...], full: Toml, write: Write, tables: dict[str, str]
) -> None:
    line = only_line(write(spoil(full, key, value), tables))
    assert name_of(key) in line
    for choice in choices:
        assert choice in line


@pytest.mark.parametrize(
    ("price", "choices"),
    [
        ("0.01 EUR/L", "the price is in EUR, the scenario in USD"),
        ("0.01 USD/gal", "'US gal'"),
        ("0.01 USD", "'0.5 USD/kg'"),
        ("0.01", "'0.5 USD/kg'"),
        ("-1 USD/L", "allowed is 0 to"),
        ("1e999 USD/L", "the number is too large"),
        ("free", "'0.5 USD/kg'"),
    ],
)
def test_prices_need_the_currency_and_the_amount(
    price: str, choices: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    tables["supply.csv"] = tables["supply.csv"].replace("0.01 USD/L", price)
    line = only_line(write(full, tables))
    assert line.startswith("supply.csv, row 2, column water_price: ")
    assert choices in line


def test_every_price_in_another_currency_is_told(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    full["currency"] = "GBP"
    told = [(p.file, p.where.split()[-1]) for p in problems_of(write(full, tables))]
    assert told == [
        ("supply.csv", "water_price"),
        ("supply.csv", "coal_price"),
        ("supply.csv", "call_out"),
        ("supply.csv", "night_price"),
        ("places.csv", "night_price"),
        ("stores.csv", "water_price"),
        ("stores.csv", "coal_price"),
        ("stores.csv", "call_out"),
    ]


# --- files ----------------------------------------------------------------------------


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "no such folder" in only_line(tmp_path / "nowhere")


def test_a_folder_without_scenario_toml_is_told(tmp_path: Path) -> None:
    assert only_line(tmp_path).endswith(
        ": no scenario.toml in it; give a folder that holds scenario.toml"
    )
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "scenario.toml").write_text("", "utf-8")
    told = f"it holds folders with one: give {tmp_path / 'run'}"
    assert only_line(tmp_path).endswith(told)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"title = Two mills\n", "not TOML: "),
        (b"title = \"a\"\ntitle = \"b\"\n", "not TOML: "),
        (b"date = 2027-13-45\n", "not TOML: "),
        (b"\r\ndate = 22.05.2027\r\n", "in 'date = 22.05.2027'; mend the file there"),
        (b"title = \"a\nstart = \"b\"\n", "in 'title = \"a'; close the quotes"),
        (b"a = " + b"[" * 50_000 + b"\n", "too deep"),
        (b"cylinders = " + b"9" * 5000 + b"\n", "not TOML: "),
        ("title = \"Mühle\"\n".encode("latin-1"), "not UTF-8 text; save it as UTF-8"),
        ("title = \"a\"\n".encode("utf-16"), "not UTF-8 text; save it as UTF-8"),
        (b"title = \"a\0b\"\n", "NUL bytes inside"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not UTF-8 text"),
        (b"depart = 07:00\n", "write depart = \"07:00\", in quotes, or 07:00:00"),
        (b"title = \"a\"\n  depart=7:30   # early\n", "write depart = \"7:30\", in quotes"),
    ],
    ids=lambda item: repr(item)[:30],
)  # fmt: skip
def test_a_scenario_that_is_not_toml_gives_one_line(text: bytes, said: str, write: Write) -> None:
    line = only_line(write(text))
    assert line.startswith("scenario.toml: ")
    assert said in line


def test_a_toml_fault_names_the_line(write: Write) -> None:
    assert "line 2" in only_line(write(b'title = "a"\ntank = 320 US gal\n'))


def test_a_whole_number_of_thousands_of_digits_is_refused(steam: Toml, write: Write) -> None:
    steam["engine"]["cylinders"] = "SPOILT"
    folder = write(steam)
    file = folder / "scenario.toml"
    file.write_text(file.read_text().replace('"SPOILT"', "0x" + "f" * 6000))
    assert "engine.cylinders: " in only_line(folder)


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("name,at\n\"Oak,1 km\n", "", "unclosed quote"),
        ("name,at\nOak,1 km\nElm\n", "row 3", "1 cells under 2 columns"),
        ("name,at\nOak,1 km,extra\n", "row 2", "3 cells under 2 columns"),
        ("name,at\nMill, 1,200 m\n", "row 2", "quote cells that hold commas"),
        ("name,at,at [km]\nOak,1 km,\n", "header, column 'at [km]'", "stands twice"),
        ("name;at\nOak;1 km\n", "header", "commas between cells"),
        ("name,at\n", "", "no rows; add rows or remove the file"),
        ("name,at\n\n,\n", "", "no rows; add rows or remove the file"),
        ("", "", "no rows; add rows or remove the file"),
        ("name,at\nOak,1 km\nElm,2 km\nOak,3 km\n", "row 4, column name", "in row 2 too"),
        ("name,at\nOak,1 km\n Oak ,3 km\n", "row 3, column name", "in row 2 too"),
        ("name,at\nOak\0,1 km\n", "", "NUL bytes inside"),
        ("name,at\n" + "x" * 140_000 + ",1 km\n", "", "not CSV: field larger"),
        ("name,latitude\nOak,55\n", "row 2", "give both"),
        ("name,note\nOak,shade\n", "row 2", "give either 'at' or 'latitude' and 'longitude'"),
        ("name,at,latitude,longitude\nOak,1 km,55,2\n", "row 2", "give either 'at' or"),
        ("name,latitude,longitude\nOak,91,2\n", "row 2, column latitude", "from -90 to 90"),
        ("name,latitude,longitude\nOak,9,181\n", "row 2, column longitude", "from -180 to 180"),
        ("name,latitude,longitude\nOak,\"55,5\",2\n", "row 2, column latitude", "decimal degrees"),
    ],
    ids=lambda item: repr(item)[:30],
)  # fmt: skip
def test_a_faulty_table_gives_one_line(
    text: str, where: str, said: str, steam: Toml, road_csv: str, write: Write
) -> None:
    line = only_line(write(steam, {"route.csv": road_csv, "places.csv": text}))
    assert line.startswith(f"places.csv, {where}: " if where else "places.csv: ")
    assert said in line


def test_a_table_in_utf_16_is_refused_by_name(steam: Toml, road_csv: str, write: Write) -> None:
    text = "name,at\nOak,1 km\n".encode("utf-16")
    line = only_line(write(steam, {"route.csv": road_csv, "places.csv": text}))
    assert line == "places.csv: not UTF-8 text; save it as UTF-8"


def test_a_table_of_too_many_rows_is_refused(steam: Toml, road_csv: str, write: Write) -> None:
    text = "name,at\n" + ",\n" * 100_001
    line = only_line(write(steam, {"route.csv": road_csv, "places.csv": text}))
    assert "more than 100000 rows; give at most 100000" in line


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_in_place_of_a_table_is_refused(steam: Toml, road_csv: str, write: Write) -> None:
    folder = write(steam, {"route.csv": road_csv})
    os.mkfifo(folder / "places.csv")
    assert only_line(folder).startswith("places.csv: not a plain file")


def test_a_folder_in_place_of_a_table_is_refused(steam: Toml, road_csv: str, write: Write) -> None:
    folder = write(steam, {"route.csv": road_csv})
    (folder / "places.csv").mkdir()
    assert only_line(folder).startswith("places.csv: not a plain file")


@pytest.mark.parametrize("key", ["file", "grades"])
@pytest.mark.parametrize(
    "name", ["../road.gpx", "/etc/hostname", "sub/../../road.gpx", "link.gpx", "circle.gpx"]
)
def test_a_road_outside_the_folder_is_refused(
    key: str, name: str, full: Toml, tables: dict[str, str], tmp_path: Path, write: Write
) -> None:
    (tmp_path / "road.gpx").write_text("not ours")
    full["route"][key] = name
    folder = write(full, tables)
    (folder / "link.gpx").symlink_to(tmp_path / "road.gpx")
    (folder / "circle.gpx").symlink_to(folder / "circle.gpx")
    line = only_line(folder)
    assert line.startswith(f"scenario.toml, route.{key}: ")
    if name != "circle.gpx":
        assert "outside the scenario folder; copy the file into the folder" in line


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere.gpx", "no file 'nowhere.gpx'; put it in the scenario folder"),
        ("scenario.toml", "neither .gpx nor .csv"),
        (".", "no file"),
        ("ü" * 200, "no file"),
    ],
)
def test_a_road_that_is_not_there_is_refused(
    name: str, said: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    full["route"]["file"] = name
    del full["route"]["grades"], full["route"]["track"]
    assert said in only_line(write(full, tables))


@pytest.mark.parametrize(("key", "value"), [("grades", "grades.csv"), ("track", "road")])
def test_what_only_a_recording_needs_is_not_ignored_beside_a_table(
    key: str, value: str, steam: Toml, tables: dict[str, str], road_csv: str, write: Write
) -> None:
    steam["route"][key] = value
    line = only_line(write(steam, {"route.csv": road_csv, "grades.csv": tables["grades.csv"]}))
    assert line.startswith(f"scenario.toml, route.{key}: without a GPX road")


# --- rules between keys ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "where", "said"),
    [
        (("at_start", "water"), "1300 L", "at_start.water", "above stores.tank"),
        (("at_finish", "coal"), "501 kg", "at_finish.coal", "above stores.bunker"),
        (("reserve", "water"), "1201 L", "reserve.water", "above stores.tank"),
        (("reserve", "coal"), "full", "reserve.coal", "a full reserve"),
        (("at_start", "coal"), "39 kg", "at_start.coal", "below reserve.coal"),
        (("at_finish", "water"), "149 L", "at_finish.water", "below reserve.water"),
        (("engine", "weight_on_drivers"), "13 t", "engine", "weight_on_drivers is above weight"),
        (("engine", "gears", 1, "name"), "low", "engine", "two gears have the same name"),
        (("engine", "gears", 1, "ratio"), 20, "engine", "a gear with a higher ratio is not slower"),
        (("engine", "gears"), [], "engine.gears", "give at least 1"),
        (("aim",), {}, "aim", "give 'first'"),
        (("aim",), {"first": "earliest", "stop": 1}, "aim", "give 'first', or"),
        (("aim",), {"stop": 0, "minute": 0}, "aim", "all weights are zero"),
        (("train", "dry_weight"), "20 t", "train.dry_weight", "given beside an engine"),
        (("last_resort",), {"water": "160 L"}, "last_resort.water", "above reserve.water"),
        (("last_resort",), {"water": "0 L", "coal": "full"}, "last_resort.coal", "above reserve"),
        (("depart_by",), "06:00", "", "'depart_by' is before 'depart'"),
        (("hours",), {"earliest": "08:00"}, "depart", "before hours.earliest; leave later"),
        (("hours",), {"latest": "07:00"}, "depart", "not before hours.latest"),
        (("hours",), {"earliest": "9:00", "latest": "8:00"}, "hours", "is not before 'latest'"),
        (("hours",), {"light": "sun"}, "hours", "light needs utc_offset"),
        (("hours",), {"latitude": "50"}, "hours", "give both or neither"),
        (("hours",), {"light": "sun", "utc_offset": "1 h"}, "hours.light", "where the sun is"),
        (("duties",), [OILING, OILING], "duties[2].name", "'Oil' stands there twice"),
        (("duties",), [OILING | {"miles": "5 km"}], "duties[1]", "either 'hours' or 'miles'"),
        (("meals",), [NOON, NOON], "meals[2].name", "'Noon' stands there twice"),
        (("meals",), [NOON | {"latest": "11:00"}], "meals[1]", "is not before 'latest'"),
        (("nights",), {"most": 1}, "nights.most", "no place to spend a night"),
        (("engine", "glass"), GLASS | {"working_level": "3 in"}, "engine.glass.highest_level",
         "missing; give both levels"),
        (("engine", "glass"), GLASS | {"working_level": "3 in", "highest_level": "3 in"},
         "engine.glass.highest_level", "not above working_level"),
        (("engine", "axles"), AXLES | {"tank_ahead": "-3 m", "wheelbase": "80 cm"},
         "engine.axles", "lift the leading axle off the road"),
    ],
    ids=lambda item: repr(item)[:30],
)  # fmt: skip
def test_keys_at_odds_are_told(
    key: Key, value: object, where: str, said: str, steam: Toml, road_csv: str, write: Write
) -> None:
    get(steam, key[:-1])[key[-1]] = value
    line = only_line(write(steam, {"route.csv": road_csv}))
    assert line.startswith(f"scenario.toml, {where}: " if where else "scenario.toml: ")
    assert said in line


def test_cut_offs_the_wrong_way_round_are_told(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    full["engine"] |= {"running_cut_off": "70 %", "longest_cut_off": "60 %"}
    assert "running_cut_off is above longest_cut_off" in only_line(write(full, tables))


@pytest.mark.parametrize(
    ("file", "changes", "said"),
    [
        ("supply.csv", {"water_available": "", "coal_available": ""}, "give at least one"),
        ("supply.csv", {"water_rate": ""}, "water_available and water_rate"),
        ("supply.csv", {"coal_available": ""}, "coal_available and coal_rate"),
        ("supply.csv", {"opens": "20:00"}, "'opens' is not before 'closes'"),
        ("places.csv", {"day": "1"}, "hours or day without 'stay'"),
        ("places.csv", {"stay": "1 h", "opens": "10:00", "closes": "9:00"}, "is not before"),
        ("stores.csv", {"coal": "1 t"}, "a cart carries water and nothing else"),
        ("stores.csv", {"water_rate": ""}, "water and water_rate are not both there"),
        ("stores.csv", {"kind": "truck", "water": "", "water_rate": ""}, "neither water nor"),
        ("surfaces.csv", {"to": "1 km"}, "'to' is not beyond 'from'"),
        ("surfaces.csv", {"surface": "", "speed_limit": ""}, "neither surface nor speed_limit"),
        ("demand.csv", {"to": "0 km"}, "'to' is where 'from' is"),
    ],
)
def test_cells_at_odds_are_told(
    file: str,
    changes: dict[str, str],
    said: str,
    full: Toml,
    tables: dict[str, str],
    write: Write,
) -> None:
    first, *rest = copy.deepcopy(ROWS[file][1])
    tables[file] = table((first | changes, *rest))
    line = only_line(write(full, tables))
    assert line.startswith(f"{file}, row 2: ")
    assert said in line


@pytest.mark.parametrize(
    ("file", "row", "changes", "where", "said"),
    [
        ("supply.csv", 1, {"sacks": "yes"}, "row 2, column sacks", "beside coal_rate; give one"),
        (
            "supply.csv",
            2,
            {},
            "row 3, column sacks",
            "no [coaling] in scenario.toml; give [coaling]",
        ),
        (
            "supply.csv",
            2,
            {"water_available": "", "water_rate": ""},
            "row 3, column lift",
            "no water_available; give it",
        ),
        (
            "supply.csv",
            2,
            {"coal_available": ""},
            "row 3, column sacks",
            "no coal_available; give it",
        ),
        (
            "supply.csv",
            2,
            {"access": "100 m"},
            "row 3, column access_time",
            "demand.csv does not tell",
        ),
        (
            "supply.csv",
            1,
            {"access_coal": ""},
            "row 2, column access_coal",
            "demand.csv does not tell",
        ),
        (
            "stores.csv",
            1,
            {"name": "Tub"},
            "row 2, column name",
            "no wagon is named 'Tub'; give [[tr",
        ),
        ("stores.csv", 1, {"name": "Van"}, "row 2, column name", "several wagons are named 'Van'"),
        (
            "stores.csv",
            1,
            {"at_start": "901 L"},
            "row 2, column at_start",
            "above water; give at most",
        ),
        (
            "stores.csv",
            1,
            {"loads": "3"},
            "row 2, column loads",
            "given for a cart; leave the cell",
        ),
        ("stores.csv", 1, {"call_out": "3 USD"}, "row 2, column call_out", "given for a cart"),
        ("stores.csv", 2, {"at_start": "10 L"}, "row 3, column at_start", "given for a truck"),
        (
            "stores.csv",
            1,
            {"kind": "truck", "at_start": ""},
            "row 3, column kind",
            "a second truck (the",
        ),
        (
            "places.csv",
            2,
            {"day": "3"},
            "row 3, column day",
            "day 3 of a run of at most 2; raise nights",
        ),
    ],
    ids=lambda item: repr(item)[:30],
)
def test_tables_at_odds_with_the_scenario_are_told(
    file: str,
    row: int,
    changes: dict[str, str],
    where: str,
    said: str,
    full: Toml,
    tables: dict[str, str],
    write: Write,
) -> None:
    rows = copy.deepcopy(ROWS[file][1])
    rows[row - 1].update(changes)
    tables[file] = table(rows)
    if "[coaling]" in said:
        del full["coaling"]
    line = only_line(write(full, tables))
    assert line.startswith(f"{file}, {where}: ")
    assert said in line


@pytest.mark.parametrize("kind", ["axle", "tandem"])
def test_a_limit_on_axles_needs_the_lever_arms(
    kind: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    del full["engine"]["axles"], full["bridge_formula"]
    tables["bridges.csv"] = f"name,at,limit,kind\nArch,3 km,9 t,{kind}\n"
    line = only_line(write(full, tables))
    assert line.startswith(f"bridges.csv, row 2, column kind: the {kind} limit needs the engine's")
    assert line.endswith("; give [engine.axles]: wheelbase, tank_ahead, bunker_ahead")


@pytest.mark.parametrize("key", ["behind", "wheelbase"])
def test_a_tandem_limit_needs_every_distance(
    key: str, full: Toml, tables: dict[str, str], write: Write
) -> None:
    del full["train"]["wagons"][0][key]
    line = only_line(write(full, tables))
    assert line.startswith("bridges.csv, row 3, column kind: the tandem limit needs ")
    assert line.endswith(f"; give train.wagons[1].{key}")


def test_axles_are_not_reckoned_with_two_carts(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    del full["bridge_formula"]
    full["train"]["wagons"].append({**full["train"]["wagons"][1], "name": "Tub"})
    cart = ROWS["stores.csv"][1][0]
    tables["stores.csv"] = table((cart, cart | {"name": "Tub"}))
    told = [(p.file, p.where) for p in problems_of(write(full, tables))]
    assert told == [
        ("bridges.csv", "row 2, column uncouple"),
        ("bridges.csv", "row 3, column kind"),
    ]
    tables["bridges.csv"] = "name,at,limit\nArch,3 km,30 t\n"
    assert read_scenario(write(full, tables)).stores


def test_uncoupling_needs_the_engines_weight(
    measured: Toml, tables: dict[str, str], write: Write
) -> None:
    bridges = "name,at,limit,uncouple\nArch,3 km,30 t,9 min\n"
    files = {"demand.csv": tables["demand.csv"], "bridges.csv": bridges}
    line = only_line(write(measured, files))
    assert line.startswith("bridges.csv, row 2, column uncouple: no [engine], whose weight")


@pytest.mark.parametrize(
    ("fire", "missing"),
    [
        ("banked", ["banked_water", "banked_coal"]),
        ("dropped", ["dropped_water", "dropped_coal"]),
        ("either", ["banked_water", "banked_coal", "dropped_water", "dropped_coal"]),
    ],
)
def test_nights_of_measured_use_need_their_own_figures(
    fire: str, missing: list[str], measured: Toml, tables: dict[str, str], write: Write
) -> None:
    measured["nights"] = {"most": 1, "fire": fire}
    files = {name: tables[name] for name in ("demand.csv", "places.csv")}
    told = [p.where for p in problems_of(write(measured, files))]
    assert told == [f"nights.{key}" for key in missing]


def test_a_row_that_cannot_be_read_is_not_missed_a_second_time(
    full: Toml, tables: dict[str, str], write: Write
) -> None:
    tables["supply.csv"] = table(ROWS["supply.csv"][1][1:])
    tables["places.csv"] = "name,at,night\nOak,4 km,maybe\n"
    assert only_line(write(full, tables)).startswith("places.csv, row 2, column night: ")


@pytest.mark.parametrize("key", ["engine", "fuel"])
def test_the_steam_model_needs_its_inputs(
    key: str, steam: Toml, road_csv: str, write: Write
) -> None:
    del steam[key]
    line = only_line(write(steam, {"route.csv": road_csv}))
    assert line.startswith(f"scenario.toml, {key}: missing; without demand.csv")


def test_the_steam_model_needs_a_road(steam: Toml, write: Write) -> None:
    del steam["route"]
    assert only_line(write(steam)).startswith("scenario.toml, route.file: missing; name the GPX")


def test_a_bridge_needs_the_weight_of_the_train(
    measured: Toml, tables: dict[str, str], write: Write
) -> None:
    del measured["train"]
    files = {"demand.csv": tables["demand.csv"], "bridges.csv": "name,at,limit\nArch,3 km,30 t\n"}
    assert "train.dry_weight: missing; bridges.csv needs" in only_line(write(measured, files))


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("distance [km],elevation [m]\n0,1\n", "", "one row; give at least two rows"),
        ("distance [km],elevation [m]\n0,1\n2,\n", "columns elevation and grade", "1 heights"),
        ("distance [km],elevation [m],grade [%]\n0,1,\n2,,3\n", "columns elev", "1 grades in 2"),
        ("distance [km],elevation [m]\n0,1\n\n2,1\n1,1\n", "row 5, column distance", "not grow"),
        ("distance [km],elevation [m]\n0,1\n2,1\n2,1\n", "row 4, column distance", "not grow"),
        ("distance [km],elevation [m]\n0,1\n2,9999\n", "row 3, column elevation", "9000 m"),
        ("distance [km],grade\n0,1 in 2\n2,\n", "row 2, column grade", "-40 % to 40 %"),
        ("elevation [m]\n1\n2\n", "header", "missing column distance"),
    ],
    ids=lambda item: repr(item)[:30],
)
def test_a_faulty_road_table_gives_one_line(
    text: str, where: str, said: str, tmp_path: Path
) -> None:
    (tmp_path / "road.csv").write_text(text)
    problems: list[Problem] = []
    read_road_table(tmp_path / "road.csv", problems)
    assert len(problems) == 1
    assert str(problems[0]).startswith(f"road.csv, {where}" if where else "road.csv: ")
    assert said in str(problems[0])


# --- many at once ---------------------------------------------------------------------


def test_all_faults_are_told_in_one_run(full: Toml, tables: dict[str, str], write: Write) -> None:
    full["stores"]["tank"] = "300 gal"
    full["engine"]["bore"] = 17
    full["engine"]["gears"][1]["sped"] = "3 mph"
    del full["finish"]
    first, second = ROWS["supply.csv"][1]
    tables["supply.csv"] = table(
        (first | {"set_up": "soon", "opens": "6"}, second, second | {"latitude": "95"})
    )
    tables["bridges.csv"] = "name,at,limits\nArch,1 km,3 t\n"
    tables["surfaces.csv"] = "from,to\n"
    tables["places.csv"] = "name,at\nOak,1 km\nOak,2 km\nElm\n"
    told = [(p.file, p.where) for p in problems_of(write(full, tables))]
    assert told == [
        ("scenario.toml", "finish"),
        ("scenario.toml", "stores.tank"),
        ("scenario.toml", "engine.bore"),
        ("scenario.toml", "engine.gears[2].sped"),
        ("supply.csv", "row 2, column set_up"),
        ("supply.csv", "row 2, column opens"),
        ("supply.csv", "row 4, column name"),
        ("supply.csv", "row 4, column latitude"),
        ("bridges.csv", "header, column 'limits'"),
        ("bridges.csv", "header"),
        ("places.csv", "row 3, column name"),
        ("places.csv", "row 4"),
        ("surfaces.csv", ""),
    ]


def test_a_message_shows_one_line_for_each_fault(write: Write) -> None:
    folder = write({"title": "a\nb", "start": "s"})
    with pytest.raises(InputError) as caught:
        read_scenario(folder)
    assert len(str(caught.value).splitlines()) == len(caught.value.problems) > 5


# --- whatever stands there ------------------------------------------------------------

UNITS = "km|m|L|US gal|kg|t|min|h|%|USD|USD/L|bar"
ANYTHING = st.one_of(
    st.text(max_size=40),
    st.from_regex(rf"-?[0-9]{{1,4}}(\.[0-9])? ?({UNITS})", fullmatch=True),
    st.sampled_from(["unlimited", "full", "{", "{0}", "%s", "\\", "é" * 200, "1 in 7", "24:00"]),
)  # fmt: skip
CELLS = [(f, n, c) for f, (_, rows) in ROWS.items() for n, row in enumerate(rows) for c in row]
FREELY = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def read_or_refuse(files: Mapping[str, bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, data in files.items():
            (Path(folder) / name).write_bytes(data)
        problems: tuple[Problem, ...] = ()
        message = ""
        try:
            scenario = read_scenario(folder)
        except InputError as error:
            problems, message = error.problems, str(error)
        else:
            assert scenario.file.stores.tank > 0
        assert len(message.splitlines()) == len(problems)


@FREELY
@given(
    where=st.sampled_from(CELLS),
    value=ANYTHING,
)  # fmt: skip
def test_any_text_in_any_cell_is_read_or_refused(
    where: tuple[str, int, str],
    value: str,
    full: Toml,
    tables: dict[str, str],
    toml_text: Callable[[Toml], str],
) -> None:
    file, number, column = where
    rows = copy.deepcopy(ROWS[file][1])
    rows[number][column] = value
    files = {**tables, file: table(rows), "scenario.toml": toml_text(full)}
    read_or_refuse({name: text.encode("utf-8", "replace") for name, text in files.items()})


@FREELY
@given(
    key=st.sampled_from([key for key, _, _ in KEYS]),
    value=st.one_of(ANYTHING, st.integers(), st.floats(), st.booleans(), st.lists(ANYTHING)),
)  # fmt: skip
def test_any_value_of_any_key_is_read_or_refused(
    key: Key,
    value: object,
    full: Toml,
    tables: dict[str, str],
    toml_text: Callable[[Toml], str],
) -> None:
    files = {**tables, "scenario.toml": toml_text(spoil(full, key, value))}
    read_or_refuse({name: text.encode("utf-8", "replace") for name, text in files.items()})


@FREELY
@given(
    name=st.sampled_from(["scenario.toml", *ROWS]),
    junk=st.one_of(st.binary(max_size=60), ANYTHING.map(lambda t: t.encode("utf-8", "replace"))),
    at=st.floats(0, 1),
)
def test_any_bytes_in_any_file_are_read_or_refused(
    name: str,
    junk: bytes,
    at: float,
    full: Toml,
    tables: dict[str, str],
    toml_text: Callable[[Toml], str],
) -> None:
    files = {n: t.encode() for n, t in {**tables, "scenario.toml": toml_text(full)}.items()}
    cut = int(at * len(files[name]))
    files[name] = files[name][:cut] + junk + files[name][cut:]
    read_or_refuse(files)
