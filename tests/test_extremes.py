"""Extreme but legal scenarios give a right plan or a clear error, never a fault of ours."""

import json
import math
import os
import random
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from hostile import TOML

from haulplan.cli import main

#: Scenarios drawn at the bounds of the schema.
DRAWN = 400 if os.environ.get("HAULPLAN_NIGHTLY") else 8
TABLED, DRAWN_ROAD = TOML.replace("ROAD", "route.csv"), TOML.replace("ROAD", "road.gpx")
SUPPLY = "name,kind,at,water_available,water_rate,coal_available,coal_rate\n"
Made = tuple[int, str, str, dict[str, object]]
Plan = Callable[..., Made]


@pytest.fixture
def plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Plan:
    """Plans a scenario written here: exit code, what was said, plan.json."""

    def go(toml: str, tables: Mapping[str, str], *words: str) -> Made:
        folder, out = tmp_path / "scenario", tmp_path / "out"
        folder.mkdir()
        for name, text in {"scenario.toml": toml, **tables}.items():
            (folder / name).write_text(text, encoding="utf-8")
        with pytest.raises(SystemExit) as ended:
            main(["plan", str(folder), "--out", str(out), *words])
        said = capsys.readouterr()
        assert "internal fault" not in said.err
        assert "Traceback" not in said.err
        made = json.loads((out / "plan.json").read_text("utf-8")) if out.exists() else {}
        return int(str(ended.value.code)), said.out, said.err, made

    return go


def road(*rows: tuple[float, float]) -> dict[str, str]:
    """A road from distances [km] and heights [m]."""
    lines = "".join(f"{at},{height}\n" for at, height in rows)
    return {"route.csv": f"distance [km],elevation [m]\n{lines}"}


def track(*points: tuple[float, float, float]) -> dict[str, str]:
    """A road from latitudes, longitudes and heights."""
    inner = "".join(
        f'<trkpt lat="{a:.8f}" lon="{b:.8f}"><ele>{c}</ele></trkpt>' for a, b, c in points
    )
    head = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    return {"road.gpx": f"{head}{inner}</trkseg></trk></gpx>"}


def wagons(count: int, tare: str) -> str:
    """The scenario with a train."""
    train = (
        f'[train]\nwagons = [{{name = "W", tare = "{tare}", tyre = "steel", count = {count}}}]\n'
    )
    return TABLED.replace("[engine]", train + "[engine]")


# --- short and long -------------------------------------------------------------------


@pytest.mark.parametrize("metres", [1, 0.01, 30])
def test_a_road_of_a_metre_takes_next_to_nothing(metres: float, plan: Plan) -> None:
    code, out, _, _ = plan(TABLED, road((0, 100), (metres / 1000, 100)))
    assert code == 0
    assert "arrive 07:00" in out


@pytest.mark.parametrize("degrees", [1e-7, 9e-6])
def test_a_recorded_road_of_a_metre_is_planned(degrees: float, plan: Plan) -> None:
    code, out, _, _ = plan(DRAWN_ROAD, track((50, 0, 100), (50 + degrees, 0, 100)))
    assert code == 0
    assert "arrive 07:00" in out


def test_two_thousand_kilometres_are_planned(plan: Plan) -> None:
    toml = TABLED.replace('tank = "900 L"', 'tank = "50000 L"').replace('"500 kg"', '"20 t"')
    toml = toml.replace('"400 kg"', '"full"')
    supply = SUPPLY + "".join(
        f"T{i},tap,{i * 100 + 50} km,unlimited,900 L/min,unlimited,200 kg/min\n" for i in range(20)
    )
    tables = {**road((0, 100), (1000, 400), (2000, 100)), "supply.csv": supply}
    code, out, err, _ = plan(toml, tables, "--time-limit", "20")
    assert code == 0, err
    assert "2,000.0 km" in out
    assert "midnight" in out  # and it says what it does not know


# --- small stores ---------------------------------------------------------------------


def tiny(bunker: str = "500 kg") -> str:
    toml = TABLED.replace('tank = "900 L"', 'tank = "1 US gal"').replace('"500 kg"', f'"{bunker}"')
    return toml.replace('"100 L"', '"0 L"').replace('"90 L"', '"0 L"')


def test_a_tank_of_a_gallon_goes_as_far_as_a_gallon(plan: Plan) -> None:
    assert plan(tiny(), road((0, 100), (0.02, 100)))[0] == 0


def test_a_tank_of_a_gallon_does_not_reach_far(plan: Plan) -> None:
    code, _, err, _ = plan(tiny(), road((0, 100), (12, 100)))
    assert code == 1
    assert re.search(r"the tank falls \d+ L below its reserve", err)


def test_no_coal_at_all_is_said(plan: Plan) -> None:
    toml = TABLED.replace('"500 kg"', '"0 kg"').replace('"400 kg"', '"0 kg"')
    toml = toml.replace('"30 kg"', '"0 kg"').replace('"20 kg"', '"0 kg"')
    code, _, err, _ = plan(toml, road((0, 100), (3, 100)))
    assert code == 1
    assert "bunker" in err


# --- hills ----------------------------------------------------------------------------


@pytest.mark.parametrize("grade", [-30, -15, -5, -0.001, 0.001, 5, 8, 12, 16, 20, 30, 39])
def test_a_hill_is_planned_over_or_refused_by_name(grade: float, plan: Plan) -> None:
    code, out, err, _ = plan(TABLED, road((0, 1000), (1, 1000), (1.5, 1000 + 5 * grade), (2, 1000)))
    assert code in {0, 1}
    if code == 1:
        assert abs(grade) > 12
        assert "hill at 1.0" in err or "hill at 1.5" in err
        assert "What would mend it" in err
    if abs(grade) > 20:
        assert "few roads are so steep" in out + err


def test_a_wall_is_refused(plan: Plan) -> None:
    code, _, err, _ = plan(TABLED, road((0, 100), (0.00001, 101)))
    assert code == 1
    assert "few roads are so steep" in err


# --- trains ---------------------------------------------------------------------------


def test_sixty_light_wagons_or_one_of_their_weight_are_the_same(plan: Plan) -> None:
    code, _, _, many = plan(wagons(60, "100 kg"), road((0, 100), (3, 110)))
    assert code == 0
    assert isinstance(many["dry_weight_kg"], float)
    assert math.isclose(many["dry_weight_kg"], 18000, rel_tol=1e-9)


def test_sixty_heavy_wagons_are_refused_with_what_would_pass(plan: Plan) -> None:
    code, _, err, _ = plan(wagons(60, "20 t"), road((0, 100), (3, 110)))
    assert code == 1
    assert "What would mend it" in err


def test_sixty_one_wagons_of_a_kind_are_too_many(plan: Plan) -> None:
    code, _, err, _ = plan(wagons(61, "1 t"), road((0, 100), (3, 110)))
    assert code == 2
    assert "train.wagons[1].count: '61' is not allowed; write a number of at most 60" in err


# --- places on the globe --------------------------------------------------------------


@pytest.mark.parametrize(
    "points",
    [
        [(89.999, i * 6 - 180.0, 10 + i % 5) for i in range(60)],
        [(90 - 2e-4 * abs(i - 50), 0 if i < 50 else 180, 10 + i % 5) for i in range(100)],
        [(-90 + 2e-4 * (i + 1), 10.0, 2800 + i % 5) for i in range(100)],
    ],
    ids=["round the pole", "over the pole", "from the south pole"],
)
def test_a_road_at_a_pole_is_planned(points: list[tuple[float, float, float]], plan: Plan) -> None:
    code, _, err, _ = plan(DRAWN_ROAD, track(*points))
    assert code == 0, err


def test_a_road_over_the_date_line_is_no_longer_than_elsewhere(plan: Plan) -> None:
    def points(west: float) -> list[tuple[float, float, float]]:
        return [(10, (west + i * 4e-4 + 180) % 360 - 180, 50 + i % 9) for i in range(60)]

    supply = "name,kind,latitude,longitude,water_available,water_rate\nA,tap,10,{},900 L,60 L/min\n"
    there = {**track(*points(179.99)), "supply.csv": supply.format(-179.999)}
    code, out, err, _ = plan(DRAWN_ROAD, there)
    assert code == 0, err
    assert "2.6 km" in out  # 59 steps of 4e-4 degree at 10 degrees north: 2.59 km


# --- days -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "weekday"),
    [
        ("2027-03-14", "Sunday"),  # clocks go forward in the United States
        ("2027-03-28", "Sunday"),  # and in Europe
        ("2027-10-31", "Sunday"),  # and back in Europe
        ("2028-02-29", "Tuesday"),
        ("1900-02-28", "Wednesday"),
        ("1800-01-01", "Wednesday"),
        ("2999-12-31", "Tuesday"),
    ],
)
def test_a_run_over_midnight_counts_its_clocks_through(day: str, weekday: str, plan: Plan) -> None:
    """Weekdays by Zeller's congruence; clocks are those of the first day, counted on."""
    toml = TABLED.replace("2027-06-05", day).replace('"07:00"', '"23:30"')
    code, out, _, _ = plan(toml, road((0, 100), (6, 110)))
    assert code == 0
    assert f"{weekday} {day}, leave 23:30, arrive 00:21 +1 d" in out
    assert "after midnight" in out


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "1799-12-31", '"2027-02-29"'])
def test_a_day_out_of_time_is_refused(day: str, plan: Plan) -> None:
    code, _, err, _ = plan(TABLED.replace("2027-06-05", day), road((0, 100), (6, 110)))
    assert code == 2
    assert "scenario.toml, date: " in err
    assert "1800 to 2999" in err


# --- drawn at the bounds --------------------------------------------------------------

#: What each key is set to in turn: the ends of what is allowed, and beyond reason between.
ENDS: Mapping[str, tuple[str, ...]] = {
    "weight": ('"0.2 t"', '"80 t"'),
    "weight_on_drivers": ('"0.1 t"', '"80 t"'),
    "pressure": ('"40 psi"', '"300 psi"'),
    "cylinders": ("1", "4"),
    "bore": ('"1 in"', '"30 in"'),
    "stroke": ('"1 in"', '"40 in"'),
    "wheel_diameter": ('"0.2 m"', '"4 m"'),
    "tyre": ('"steel"', '"strakes"'),
    "grate_area": ('"0.02 m2"', '"5 m2"'),
    "heating_surface": ('"0.5 m2"', '"150 m2"'),
    "boiler_water": ('"10 L"', '"20000 L"'),
    "boiler_metal": ('"50 kg"', '"40 t"'),
    "gears": (
        '[{name = "a", ratio = 1, speed = "0.2 mph"}]',
        '[{name = "a", ratio = 100, speed = "20 mph"}]',
        '[{name = "a", ratio = 100, speed = "0.2 mph"}, {name = "b", ratio = 1, speed = "20 mph"}]',
    ),
    "stores": ('{tank = "1 L", bunker = "0 kg"}', '{tank = "50000 L", bunker = "20 t"}'),
    "at_start": ('{water = "full", coal = "full"}',),
    "at_finish": ('{water = "0 L", coal = "0 kg"}', '{water = "full", coal = "full"}'),
    "reserve": ('{water = "0 L", coal = "0 kg"}',),
    "aim": ('{first = "cheapest"}', '{first = "fewest stops"}', "{minute = 1e6, stop = 1e-6}"),
    "pessimism": ('"1 %"', '"99 %"'),
    "standing_water": ('"0 L/h"', '"5000 L/h"'),
    "standing_coal": ('"1000 kg/h"',),
    "depart": ('"00:00"', '"24:00"'),
}  # fmt: skip


def drawn(number: int) -> tuple[str, dict[str, str]]:
    """A scenario with some keys at their ends."""
    chance = random.Random(number)
    head, _, engine = TABLED.partition("[engine]")
    engine = re.sub(r"gears = \[.*?\n\]", "gears = []", engine, flags=re.DOTALL)
    parts = {"head": head, "engine": engine.replace("gears = []", "gears = " + ENDS["gears"][2])}
    for key in chance.sample(sorted(ENDS), chance.randint(1, 8)):
        value = chance.choice(ENDS[key])
        where = "engine" if re.search(rf"^{key} = ", parts["engine"], re.MULTILINE) else "head"
        line = f"{key} = {value}"
        changed, found = re.subn(rf"^{key} = .*$", line, parts[where], flags=re.MULTILINE)
        parts[where] = changed if found else f"{line}\n{changed}"
    rise = chance.choice((0, 0.1, 30, 200))
    supply = SUPPLY + "".join(
        f"T{i},tap,{chance.choice((0, 1, i, 9))} km,{chance.choice(('unlimited', '1 L', '0 L'))},"
        f"{chance.choice(('0.1 L/min', '20000 L/min'))},"
        f"{chance.choice((',', 'unlimited,0.1 kg/min', '1 kg,5000 kg/min'))}\n"
        for i in range(chance.choice((1, 3, 8)))
    )
    length = chance.choice((0.01, 9, 60))
    tables = {**road((0, 100), (length / 2, 100 + rise), (length, 100)), "supply.csv": supply}
    if length < 9:
        del tables["supply.csv"]
    return f"{parts['head']}[engine]{parts['engine']}", tables


@pytest.mark.parametrize("number", range(DRAWN))
def test_a_scenario_at_the_bounds_is_planned_or_refused(number: int, plan: Plan) -> None:
    toml, tables = drawn(number)
    code, _, err, _ = plan(toml, tables, "--time-limit", "5")
    assert code in {0, 1, 2} or "within the time limit" in err, err
    assert bool(err) is (code != 0)
