"""Tables of the plan: figures, labels, clocks, hostile text and the terminal's page."""

import csv
import datetime as dt
import io
import re
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from haulplan.demand.defaults import Assumption
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import (
    crossings_frame,
    days_frame,
    legs_csv,
    legs_frame,
    plain,
    stops_csv,
    stops_frame,
)
from haulplan.outputs.terminal import render_terminal
from haulplan.plan.plan import Crest, Crossing, Day, Leg, Plan, Stop
from haulplan.route.build import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Store
from haulplan.units import UNIT_SYSTEMS

# Factors: NIST Special Publication 811 (2008), Appendix B.8. Water weighs 0.999 kg/L
# (haulplan's own choice, see haulplan.units).
MILE, FOOT, POUND = 1609.344, 0.3048, 0.45359237
US_GALLON, IMPERIAL_GALLON = 3.785411784 * 0.999, 4.54609 * 0.999
SHORT_TON, LONG_TON = 907.18474, 1016.0469088

US = UNIT_SYSTEMS["us"]

SCENARIO = """
title = "Trial run [bold]over[/bold] the Quarrel Hills"
start = "Ashcombe Lower Works yard, the north gate"
finish = "Wrenfold showground, by the far paddock"
date = 2031-06-14
depart = "07:30"
[stores]
tank = "300 US gal"
bunker = "1200 lb"
[at_start]
water = "full"
coal = "full"
[at_finish]
water = "60 US gal"
[reserve]
water = "40 US gal"
[route]
file = "route.csv"
[train]
dry_weight = "15 short ton"
"""
NAMES = [f"Pump {i} by the long mill race, {w} lock" for i, w in enumerate("abcdef", start=1)]


@dataclass(frozen=True, kw_only=True)
class Case:
    scenario: Scenario
    route: Route
    plan: Plan


def make_stop(**changes: object) -> Stop:
    base = Stop(
        kind="supply", name="Pump", number=1, row=0, distance=0.0, arrive=0.0, depart=0.0,
        wait=0.0, tank_arrive=0.0, tank_depart=0.0, bunker_arrive=0.0, bunker_depart=0.0,
        water_taken=0.0, coal_taken=0.0, water_standing=0.0, coal_standing=0.0, money=0.0,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def make_stops(scenario: Scenario) -> tuple[Stop, ...]:
    start = make_stop(
        kind="start", name=scenario.file.start, number=0, row=None, arrive=27000.0, depart=27000.0,
        tank_arrive=300 * US_GALLON, tank_depart=300 * US_GALLON,
        bunker_arrive=1200 * POUND, bunker_depart=1200 * POUND,
    )  # fmt: skip
    supplies = [
        make_stop(
            name=name, number=i + 1, row=i, distance=(3 + 4 * i) * MILE,
            arrive=32400.0 + 5400 * i, depart=33900.0 + 5400 * i, wait=720.0 if i == 2 else 0.0,
            tank_arrive=120.4 * US_GALLON, water_taken=180 * US_GALLON,
            water_standing=2.4 * US_GALLON, tank_depart=298 * US_GALLON,
            bunker_arrive=(1200 - 100 * i) * POUND, bunker_depart=(1150 - 100 * i) * POUND,
            coal_taken=0.0 if i % 2 else 55 * POUND, coal_standing=5 * POUND,
            money=0.0 if i % 2 else 45.5,
        )
        for i, name in enumerate(NAMES)
    ]  # fmt: skip
    finish = make_stop(
        kind="finish", name=scenario.file.finish, number=7, row=None, distance=27 * MILE,
        arrive=64800.0, depart=64800.0, tank_arrive=70 * US_GALLON, tank_depart=70 * US_GALLON,
        bunker_arrive=300 * POUND, bunker_depart=300 * POUND,
    )  # fmt: skip
    return (start, *supplies, finish)


def make_plan(scenario: Scenario) -> Plan:
    stops = make_stops(scenario)
    legs = tuple(
        Leg(
            begin=i, end=i + 1, distance=a.distance, length=b.distance - a.distance,
            climb=300 * FOOT, descent=60 * FOOT, duration=3600.0, water=176 * US_GALLON,
            coal=97 * POUND,
            gears={"low": (b.distance - a.distance) / 4, "high": (b.distance - a.distance) / 4 * 3},
        )
        for i, (a, b) in enumerate(pairwise(stops))
    )  # fmt: skip
    crossings = tuple(
        Crossing(
            name=bridge.name, row=row, distance=bridge.at or 0.0, clock=33060.0,
            gross=16.7 * SHORT_TON, limit=bridge.limit,
        )
        for row, bridge in enumerate(scenario.bridges)
    )  # fmt: skip
    return Plan(
        title=scenario.file.title, date=scenario.file.date, aim="earliest", objective=37800.0,
        bound=37418.0, gap=0.0101, proven=False, stops=stops, legs=legs, crossings=crossings,
        choices=(), dry_weight=15 * SHORT_TON, lighting_up_coal=110 * POUND,
        warnings=("Pump 1 was last confirmed long ago",),
        assumptions=(
            Assumption(name="adhesion", value="30 %", source="A Writer, A Book (1901), p. 12"),
            Assumption(name="dryness", value="97 %", source="assumption: steam as it leaves"),
            Assumption(name="radiation", value="2 %", source="from memory: lagged boiler"),
        ),
        versions={"solver": "1.0"},
    )  # fmt: skip


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("scenario")
    return make_case(folder, SCENARIO)


def make_case(folder: Path, text: str) -> Case:
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    header = "name,at,kind,water_available,water_rate,coal_available,coal_rate,opens,closes,side\n"
    rows = [
        f'"{name}",{3 + 4 * i} mi,stream,unlimited,30 US gal/min,2000 lb,60 lb/min,08:00,24:00,left'
        for i, name in enumerate(NAMES)
    ]
    (folder / "supply.csv").write_text(header + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "bridges.csv").write_text(
        "name,at,limit,last_confirmed,note\n"
        "Iron trough,5 mi,20 short ton,2030-02-01,plate on the east side\n"
        "Brick arch,9 mi,18 short ton,,\n",
        encoding="utf-8",
    )
    (folder / "route.csv").write_text("distance [mi],elevation [ft]\n0,100\n10,400\n27,200\n")
    (folder / "demand.csv").write_text(
        "from,to,duration,water,coal\n0 mi,27 mi,9 h,1000 US gal,1000 lb\n"
    )
    scenario = read_scenario(folder)
    return Case(scenario=scenario, route=build_route(scenario), plan=make_plan(scenario))


def page(case: Case, width: int = 80, system: str = "us", *, verbose: bool = False) -> str:
    """What a pipe receives."""
    console = Console(width=width, file=io.StringIO(), force_terminal=False)
    shown = render_terminal(
        case.scenario, case.route, case.plan, UNIT_SYSTEMS[system], width=None, verbose=verbose
    )
    with console.capture() as capture:
        console.print(shown)
    return capture.get()


def joined(text: str) -> str:
    """The page with all wrapping undone."""
    return " ".join(text.split())


def with_stop(case: Case, place: int, **changes: object) -> Case:
    stops = list(case.plan.stops)
    stops[place] = replace(stops[place], **changes)  # type: ignore[arg-type]
    return replace(case, plan=replace(case.plan, stops=tuple(stops)))


# --- stops -----------------------------------------------------------------------------


def test_stops_read_as_the_crew_needs_them(case: Case) -> None:
    frame = stops_frame(case.scenario, case.plan, US)
    assert frame.iloc[1].to_dict() == {
        "number": 1,
        "stop": "Pump 1 by the long mill race, a lock",
        "kind": "stream",
        "distance [mi]": 3.0,
        "day": 1,
        "arrive": "09:00",
        "leave": "09:25",
        "wait [min]": 0,
        "standing [min]": 25,
        "off the road [min]": 0,
        "night [min]": "",
        "tank on arrival [US gal]": 120,
        "water taken [US gal]": 180,
        "water used standing [US gal]": 2,
        "tank on leaving [US gal]": 298,
        "bunker on arrival [lb]": 1200,
        "coal taken [lb]": 55,
        "coal used standing [lb]": 5,
        "bunker on leaving [lb]": 1150,
        "to do": "",
        "to pay [USD]": 45.5,
        "side": "left",
        "contact": "",
        "permit": "",
        "open": "08:00-24:00",
        "last confirmed": "",
        "note": "",
    }


def test_start_and_finish_stay_blank_where_nothing_applies(case: Case) -> None:
    frame = stops_frame(case.scenario, case.plan, US)
    for place, kind, blank in ((0, "start", "arrive"), (-1, "finish", "leave")):
        row = frame.iloc[place]
        assert row["kind"] == kind
        for column in ("number", blank, "wait [min]", "water taken [US gal]", "to pay [USD]"):
            assert row[column] == ""


def test_each_system_labels_and_converts_its_own_units(case: Case) -> None:
    metric = stops_frame(case.scenario, case.plan, UNIT_SYSTEMS["metric"]).iloc[1]
    imperial = stops_frame(case.scenario, case.plan, UNIT_SYSTEMS["imperial"]).iloc[1]
    assert metric["distance [km]"] == 4.8
    assert metric["tank on leaving [L]"] == 1128  # 298 x 3.785411784
    assert metric["bunker on leaving [kg]"] == 522  # 1150 x 0.45359237
    assert imperial["tank on leaving [imp gal]"] == 248  # 298 x 3.785411784 / 4.54609


@pytest.mark.parametrize("system", ["us", "imperial", "metric"])
def test_every_column_of_numbers_names_its_unit(case: Case, system: str) -> None:
    units = UNIT_SYSTEMS[system]
    for frame in (
        stops_frame(case.scenario, case.plan, units),
        legs_frame(case.scenario, case.plan, units),
        crossings_frame(case.scenario, case.plan, units),
    ):
        for name in frame.columns:
            numbers = [v for v in frame[name] if isinstance(v, int | float)]
            assert (
                name in {"number", "day"}
                or not numbers
                or re.fullmatch(r"[a-z ]+ \[[^\]]+\]", name)
            )


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0.0, "00:00"),
        (27029.0, "07:30"),
        (27031.0, "07:31"),
        (86369.0, "23:59"),
        (86399.9, "00:00 +1 d"),
        (86400.0, "00:00 +1 d"),
        (2 * 86400.0 + 3660, "01:01 +2 d"),
    ],
)
def test_clocks_are_rounded_to_the_minute_and_count_days(
    case: Case, seconds: float, shown: str
) -> None:
    changed = with_stop(case, 1, arrive=seconds)
    assert stops_frame(changed.scenario, changed.plan, US).iloc[1]["arrive"] == shown


def test_no_minus_zero_is_shown(case: Case) -> None:
    changed = with_stop(case, 1, distance=-1e-9, tank_arrive=-1e-9, money=-1e-9)
    assert "-0" not in stops_csv(changed.scenario, changed.plan, US).splitlines()[2]


@given(
    kilograms=st.floats(0, 1e6),
    metres=st.floats(0, 1e7),
    system=st.sampled_from(sorted(UNIT_SYSTEMS)),
)
def test_frames_hold_what_the_unit_system_prints(
    kilograms: float, metres: float, system: str, case: Case
) -> None:
    units = UNIT_SYSTEMS[system]
    changed = with_stop(case, 1, distance=metres, tank_arrive=kilograms, bunker_arrive=kilograms)
    row = stops_frame(changed.scenario, changed.plan, units).iloc[1]
    for column, unit, value in (
        ("distance", units.distance, metres),
        ("tank on arrival", units.water, kilograms),
        ("bunker on arrival", units.coal, kilograms),
    ):
        shown = row[f"{column} [{unit.label}]"]
        assert f"{shown:,.{unit.decimals}f}" == unit.number(value)


# --- legs and crossings ----------------------------------------------------------------


def test_legs_show_road_use_and_gears(case: Case) -> None:
    frame = legs_frame(case.scenario, case.plan, US)
    assert len(frame) == 7
    assert frame.iloc[1].to_dict() == {
        "from": "Pump 1 by the long mill race, a lock",
        "to": "Pump 2 by the long mill race, b lock",
        "begin [mi]": 3.0,
        "length [mi]": 4.0,
        "climb [ft]": 300,
        "descent [ft]": 60,
        "driving [min]": 60,
        "mean speed [mph]": 4.0,
        "water [US gal]": 176,
        "coal [lb]": 97,
        "water per distance [US gal/mi]": 44.0,
        "gears [mi]": "low 1.0, high 3.0",
    }


def test_a_leg_without_length_or_time_has_no_means(case: Case) -> None:
    leg = replace(case.plan.legs[0], length=0.0, duration=0.0)
    row = legs_frame(case.scenario, replace(case.plan, legs=(leg,)), US).iloc[0]
    assert row["mean speed [mph]"] == ""
    assert row["water per distance [US gal/mi]"] == ""


def test_bridges_show_the_posted_figure_beside_ours(case: Case) -> None:
    frame = crossings_frame(case.scenario, case.plan, US)
    assert frame.to_dict("records") == [
        {
            "bridge": "Iron trough", "distance [mi]": 5.0, "clock": "09:11",
            "limited": "gross", "posted limit [short ton]": 20.0,
            "our figure [short ton]": 16.7, "uncoupled": "",
            "last confirmed": "2030-02-01", "note": "plate on the east side",
        },
        {
            "bridge": "Brick arch", "distance [mi]": 9.0, "clock": "09:11",
            "limited": "gross", "posted limit [short ton]": 18.0,
            "our figure [short ton]": 16.7, "uncoupled": "",
            "last confirmed": "", "note": "",
        },
    ]  # fmt: skip


def test_a_road_without_bridges_has_an_empty_table_with_its_header(case: Case) -> None:
    frame = crossings_frame(case.scenario, replace(case.plan, crossings=()), US)
    assert len(frame) == 0
    assert list(frame.columns) == list(crossings_frame(case.scenario, case.plan, US).columns)


# --- what else a stop may be -----------------------------------------------------------


def busy(case: Case) -> Case:
    """The third stop with everything a stop may hold, and a night at it."""
    return with_stop(
        case, 3, kind="halt", row=0, truck=0, access_time=480.0, access_water=9 * US_GALLON,
        access_coal=12 * POUND, drained=20 * US_GALLON, uncoupled=True,
        cart_arrive=90 * US_GALLON, cart_depart=40 * US_GALLON, cart_emptied=50 * US_GALLON,
        boiler_arrive=3 * US_GALLON, boiler_depart=25 * US_GALLON, blown_down=4 * US_GALLON,
        meals=("dinner",), duties=("oil round", "[b]ash[/b]"), fire="banked",
        night_water=12 * US_GALLON, night_coal=55 * POUND, stay=1800.0,
        arrive=61200.0, depart=61200.0 + 1800 + 480 + 13 * 3600,
    )  # fmt: skip


@pytest.fixture
def laden(case: Case) -> Case:
    """The case with a truck and a cart in its tables."""
    store = {"water": "500 US gal", "water_rate": "40 US gal/min"}
    rows = (
        Store.model_validate({"name": "Tender truck", "kind": "truck", **store}),
        Store.model_validate({"name": "Cart", "kind": "cart", **store}),
    )
    return busy(replace(case, scenario=replace(case.scenario, stores=rows)))


def test_a_stop_tells_all_that_is_done_there(laden: Case) -> None:
    row = stops_frame(laden.scenario, laden.plan, US).iloc[3]
    assert row["to do"].split("; ") == [
        "off the road and back: 8 min, 9 US gal, 12 lb",
        "meet Tender truck",
        "uncouple: engine over alone, then the wagons one by one",
        "run off 20 US gal from the tank",
        "empty 50 US gal from the cart into the tank",
        "blow down 4 US gal",
        "dinner",
        "oil round",
        "[b]ash[/b]",
        "boiler 25 US gal above its working level",
        "night: bank the fire, 12 US gal and 55 lb till morning",
    ]
    assert (row["kind"], row["number"], row["contact"]) == ("halt", 3, "")


def test_a_night_and_the_way_off_the_road_are_not_counted_as_standing(laden: Case) -> None:
    row = stops_frame(laden.scenario, laden.plan, US).iloc[3]
    assert row["standing [min]"] == 30
    assert row["off the road [min]"] == 8
    assert row["night [min]"] == 13 * 60
    assert row["leave"] == "06:38 +1 d"


def test_cart_and_boiler_have_columns_only_where_they_are(case: Case, laden: Case) -> None:
    row = stops_frame(laden.scenario, laden.plan, US).iloc[3]
    assert row["cart on arrival [US gal]"] == 90
    assert row["cart on leaving [US gal]"] == 40
    assert row["boiler extra on arrival [US gal]"] == 3
    assert row["boiler extra on leaving [US gal]"] == 25
    without = stops_frame(case.scenario, case.plan, US)
    assert not [c for c in map(str, without) if "cart" in c or "boiler" in c]


def test_the_terminal_lists_what_is_done_and_keeps_its_width(laden: Case) -> None:
    text = page(laden, 80)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
    assert "- [b]ash[/b]" in text
    assert "- dinner" in text


def test_days_show_fire_and_daylight(case: Case) -> None:
    days = (
        Day(date=dt.date(2031, 6, 14), lit=15600.0, depart=27000.0, arrive=61200.0,
            earliest=19080.0, latest=74700.0),
        Day(date=dt.date(2031, 6, 15), lit=105000.0, depart=108000.0, arrive=120000.0,
            earliest=86400.0 + 19080, latest=2 * 86400.0),
    )  # fmt: skip
    changed = replace(case, plan=replace(case.plan, days=days))
    frame = days_frame(changed.scenario, changed.plan, US)
    assert frame.iloc[0].to_dict() == {
        "day": 1, "date": "2031-06-14", "fire lit": "04:20", "leave": "07:30",
        "arrive": "17:00", "wheels may turn from": "05:18", "wheels may turn until": "20:45",
    }  # fmt: skip
    assert frame.iloc[1].tolist()[2:] == ["05:10", "06:00", "09:20", "05:18", "24:00"]
    assert "2031-06-15    05:10" in page(changed)


def test_a_fire_lit_the_evening_before_counts_days_backwards(case: Case) -> None:
    day = Day(date=dt.date(2031, 6, 14), lit=-3600.0, depart=9000.0, arrive=61200.0,
              earliest=0.0, latest=86400.0)  # fmt: skip
    frame = days_frame(case.scenario, replace(case.plan, days=(day,)), US)
    assert frame.iloc[0]["fire lit"] == "23:00 -1 d"


def test_crests_show_what_the_boiler_is_asked_for_and_carries(case: Case) -> None:
    crest = Crest(distance=5 * MILE, needed=18 * US_GALLON, carried=21 * US_GALLON)
    text = page(replace(case, plan=replace(case.plan, crests=(crest,))))
    lines = text.splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("Boiler over the crests"))
    assert lines[place + 4].split() == ["5.0", "18", "21"]


def test_a_bridge_limited_by_axle_or_crossed_uncoupled_says_so(case: Case) -> None:
    crossing = replace(case.plan.crossings[0], what="driving axle", uncoupled=True)
    changed = replace(case, plan=replace(case.plan, crossings=(crossing,)))
    row = crossings_frame(changed.scenario, changed.plan, US).iloc[0]
    assert (row["limited"], row["uncoupled"]) == ("driving axle", "yes")
    text = page(changed)
    assert "driving axle" in text
    assert "uncoupled" in text


# --- CSV and hostile text --------------------------------------------------------------


def test_csv_reads_back_as_the_frame(case: Case) -> None:
    for text, frame in (
        (stops_csv(case.scenario, case.plan, US), stops_frame(case.scenario, case.plan, US)),
        (legs_csv(case.scenario, case.plan, US), legs_frame(case.scenario, case.plan, US)),
    ):
        header, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
        assert header == list(frame.columns)
        assert rows == [[str(value) for value in row] for row in frame.to_numpy().tolist()]
        assert "\r" not in text
        assert text.count("\n") == len(frame) + 1


def test_cells_with_commas_and_quotes_are_quoted_as_rfc_4180_says(case: Case) -> None:
    changed = with_stop(case, 0, name='The "Old" yard, north')
    line = stops_csv(changed.scenario, changed.plan, US).splitlines()[1]
    assert line.startswith(',"The ""Old"" yard, north",start,')


# The leading characters are those of the OWASP page "CSV Injection" (from memory).
@pytest.mark.parametrize("name", ["=1+2", "+44 1", "-3", "@SUM(A1)", "\tx", "\rx", "＝1"])
def test_text_that_looks_like_a_formula_gets_an_apostrophe(case: Case, name: str) -> None:
    changed = with_stop(case, 0, name=name)
    _, row, *_ = csv.reader(io.StringIO(stops_csv(changed.scenario, changed.plan, US)))
    assert not row[1].startswith(("=", "+", "-", "@", "\t", "\r", "＝"))
    assert row[1] in {f"'{name}", f"\N{REPLACEMENT CHARACTER}{name[1:]}"}


def test_numbers_below_zero_stay_numbers(case: Case) -> None:
    changed = with_stop(case, 1, distance=-3 * MILE)
    _, _, row, *_ = csv.reader(io.StringIO(stops_csv(changed.scenario, changed.plan, US)))
    assert row[3] == "-3.0"


@given(name=st.text(max_size=30), gear=st.text(max_size=30))
def test_any_text_survives_the_way_through_csv(name: str, gear: str, case: Case) -> None:
    changed = with_stop(case, 0, name=name)
    leg = replace(case.plan.legs[0], gears={gear: MILE})
    plan = replace(changed.plan, legs=(leg,))
    _, stop, *_ = csv.reader(io.StringIO(stops_csv(case.scenario, plan, US), newline=""))
    _, drive = csv.reader(io.StringIO(legs_csv(case.scenario, plan, US), newline=""))
    assert stop[1].removeprefix("'") == plain(name).removeprefix("'")
    assert drive[-1].removeprefix("'") == f"{plain(gear)} 1.0".removeprefix("'")


@pytest.mark.parametrize(
    "letter",
    ["\x00", "\x1b", "\x7f", "\x9b", "\n", "\u061c", "\u200e", "\u202e", "\u2066", "\u2028"],
)
def test_control_and_direction_characters_are_replaced(case: Case, letter: str) -> None:
    changed = with_stop(case, 0, name=f"a{letter}b")
    for text in (stops_csv(changed.scenario, changed.plan, US), page(changed)):
        assert f"a{letter}b" not in text
        assert "a\N{REPLACEMENT CHARACTER}b" in text


@pytest.mark.parametrize("text", ["Mühle — œuvre", "水車", "نهر", "क्‍ष"])
def test_ordinary_text_of_any_script_is_kept(text: str) -> None:
    assert plain(text) == text


@given(st.text())
def test_cleaned_text_keeps_its_length_and_cleans_no_further(text: str) -> None:
    assert len(plain(text)) == len(text)
    assert plain(plain(text)) == plain(text)


# --- the terminal ----------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("system", ["us", "imperial", "metric"])
def test_the_page_keeps_to_its_width_and_shortens_nothing(
    case: Case, system: str, width: int
) -> None:
    text = page(case, width, system, verbose=True)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "…" not in text


def test_a_given_width_is_kept_to_in_a_wider_terminal(case: Case) -> None:
    console = Console(width=200, file=io.StringIO())
    shown = render_terminal(case.scenario, case.route, case.plan, US, width=80)
    with console.capture() as capture:
        console.print(shown)
    lines = [line.rstrip() for line in capture.get().splitlines()]
    assert lines == [line.rstrip() for line in page(case, 80).splitlines()]


def test_forty_letter_names_take_at_most_two_lines_at_80_columns(case: Case) -> None:
    lines = page(case, 80).splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith(" 1 Pump 1"))
    assert lines[place].split()[-5:] == ["3.0", "arrive", "09:00", "120", "1,200"]
    assert lines[place + 1].split()[-6:] == ["leave", "09:25", "298", "180", "1,150", "55"]
    assert lines[place + 2].strip() == "stream"
    assert lines[place + 3].startswith(" 2 Pump 2")


@pytest.mark.parametrize("name", ["long " * 40, "L" * 200, "水" * 200])
def test_longer_names_are_shortened_and_the_figures_kept(case: Case, name: str) -> None:
    changed = with_stop(case, 1, name=name.strip())
    lines = [line.rstrip() for line in page(changed, 80).splitlines()]
    assert max(map(cell_len, lines)) <= 80
    first = next(line for line in lines if line.startswith(" 1 "))
    assert first.split()[-5:] == ["3.0", "arrive", "09:00", "120", "1,200"]
    assert any("…" in line for line in lines)


def test_a_wait_and_a_later_day_are_written_out(case: Case) -> None:
    changed = with_stop(case, 3, arrive=86000.0, depart=87000.0, wait=300.0)
    lines = page(changed, 80).splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith(" 3 Pump 3"))
    assert "arrive      23:53 " in lines[place]
    assert "wait        5 min" in lines[place + 1]
    assert "leave  00:10 +1 d" in lines[place + 2]


def test_markup_in_names_is_shown_and_not_obeyed(case: Case) -> None:
    changed = with_stop(case, 1, name="[red]Pump[/red] :smile: [link=x]y")
    text = page(changed, 120)
    assert "Trial run [bold]over[/bold] the Quarrel Hills" in text
    assert "[red]Pump[/red] :smile: [link=x]y" in text


def test_without_a_terminal_no_escape_sequences_are_written(case: Case) -> None:
    assert "\x1b" not in page(case)


def test_colour_carries_no_meaning(case: Case) -> None:
    console = Console(width=80, file=io.StringIO(), force_terminal=True, color_system="truecolor")
    shown = render_terminal(case.scenario, case.route, case.plan, US, width=None)
    with console.capture() as capture:
        console.print(shown)
    coloured = capture.get()
    assert "\x1b[1m" in coloured
    assert not re.search(r"\x1b\[[34]", coloured)
    assert Text.from_ansi(coloured).plain.split() == page(case).split()


def test_the_heading_names_day_road_weight_and_aim(case: Case) -> None:
    text = joined(page(case))
    assert "Saturday 2031-06-14, leave 07:30, arrive 18:00, 27.0 mi" in text
    assert "tank and bunkers empty: 15.00 short ton" in text
    assert "best found, may be improved by up to 1.1 %" in text  # 1.01 %, never rounded down


@pytest.mark.parametrize(
    ("aim", "objective", "shown"),
    [
        ("earliest", 37800.0, "Aim: earliest; arrives 18:00; proved best"),
        ("cheapest", 136.5, "Aim: cheapest; pays 136.50 USD; proved best"),
        ("fewest stops", 6.0, "Aim: fewest stops; stops 6; proved best"),
        ("weighted", 1234.56, "Aim: weighted; points 1,234.6; proved best"),
    ],
)
def test_each_aim_tells_what_it_reached(case: Case, aim: str, objective: float, shown: str) -> None:
    plan = replace(case.plan, aim=aim, objective=objective, proven=True, gap=0.0)
    assert shown in joined(page(replace(case, plan=plan)))


def test_payments_coal_and_warnings_are_listed(case: Case) -> None:
    text = joined(page(case))
    assert "To pay: 136.50 USD" in text
    assert "- 3 Pump 3 by the long mill race, c lock: 45.50" in text
    assert "Coal for lighting up, besides the figures above: 110 lb" in text
    assert "- Pump 1 was last confirmed long ago" in text


def test_what_is_not_reckoned_or_stated_says_so(case: Case) -> None:
    plan = replace(case.plan, lighting_up_coal=None, dry_weight=0.0)
    text = joined(page(replace(case, plan=plan)))
    assert "besides the figures above: not reckoned" in text
    assert "tank and bunkers empty: not stated" in text


def test_assumptions_are_counted_and_listed_when_asked_for(case: Case) -> None:
    short, long = joined(page(case)), joined(page(case, verbose=True))
    assert "Assumptions: 3, of which 1 from published sources: see plan.json" in short
    assert "dryness" not in short
    assert "- dryness: 97 % (assumption: steam as it leaves)" in long


def test_warnings_of_the_road_are_shown_once(case: Case) -> None:
    route = replace(case.route, warnings=("Pump 1 was last confirmed long ago", "a steep grade"))
    text = joined(page(replace(case, route=route)))
    assert text.count("last confirmed long ago") == 1
    assert "- a steep grade" in text


def test_a_plan_without_bridges_and_heights_leaves_them_out(case: Case) -> None:
    changed = replace(
        case, plan=replace(case.plan, crossings=()), route=replace(case.route, has_heights=False)
    )
    text = page(changed)
    assert "Bridges\n" not in text
    leg = next(line for line in text.splitlines() if line.startswith("1-2 "))
    assert leg.split()[:4] == ["1-2", "4.0", "60", "4.0"]


def test_gears_are_broken_between_and_not_inside_their_figures(case: Case) -> None:
    gears = {"high": 4 * MILE, "middle gear": 0.5 * MILE, "low": 1.1 * MILE}
    leg = replace(case.plan.legs[0], gears=gears)
    lines = page(replace(case, plan=replace(case.plan, legs=(leg,)))).splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("S-1 "))
    assert lines[place].rstrip().endswith(" high 4.0,")
    assert lines[place + 1].strip() == "middle gear 0.5,"
    assert lines[place + 2].strip() == "low 1.1"


def test_the_cautions_stand_at_the_end(case: Case) -> None:
    text = joined(page(case))
    assert text.endswith(joined(" ".join(f"- {caution}" for caution in CAUTIONS)))


def test_no_output_passes_judgement(case: Case) -> None:
    words = re.compile(r"\b(ok|okay|safe|safely|pass|passes|passed)\b", re.IGNORECASE)
    bridges = crossings_frame(case.scenario, case.plan, US).to_csv()
    for text in (page(case, verbose=True), bridges, stops_csv(case.scenario, case.plan, US)):
        assert not words.search(text)


def test_the_weekday_of_the_date_is_named(case: Case) -> None:
    # 1 January 2000 was a Saturday; 32 years with 8 leap days later, 29 February is a Sunday.
    plan = replace(case.plan, date=dt.date(2032, 2, 29))
    assert "Sunday 2032-02-29" in page(replace(case, plan=plan))
