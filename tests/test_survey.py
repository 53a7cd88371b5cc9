"""The survey of a road: it covers it once, sums to the demand, and fits its page."""

import csv
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from haulplan.demand import build_demand
from haulplan.demand.segment import choose_gears, haul_on
from haulplan.demand.stretches import Survey, survey
from haulplan.outputs.charts import draw_demand
from haulplan.outputs.survey import (
    hills_frame,
    render_survey,
    stretches_csv,
    stretches_frame,
    survey_outputs,
)
from haulplan.route import Route
from haulplan.route.build import build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

DEMO = Path(__file__).resolve().parent.parent / "scenarios" / "hobmere-penniford"
SYSTEMS = list(UNIT_SYSTEMS)
Read = tuple[Scenario, Route]


@pytest.fixture(scope="module")
def demo() -> Read:
    scenario = read_scenario(DEMO)
    return scenario, build_route(scenario)


@pytest.fixture(scope="module")
def found(demo: Read) -> Survey:
    return survey(*demo)


def page(demo: Read, found: Survey, width: int, system: str = "us") -> str:
    out = io.StringIO()
    Console(file=out, width=width, no_color=True, highlight=False).print(
        render_survey(*demo, found, UNIT_SYSTEMS[system])
    )
    return out.getvalue()


def changed(
    write: Callable[..., Path],
    toml: dict[str, Any],
    road: str,
    tables: dict[str, str] | None = None,
) -> Read:
    scenario = read_scenario(write(toml, {"route.csv": road, **(tables or {})}))
    return scenario, build_route(scenario)


# --- stretches


def test_stretches_cover_the_road_once(demo: Read, found: Survey) -> None:
    route = demo[1]
    assert found.stretches[0].begin == 0.0
    assert found.stretches[-1].end == pytest.approx(route.length)
    for one, two in zip(found.stretches, found.stretches[1:], strict=False):
        assert one.end == two.begin
        assert one.end > one.begin


def test_stretches_sum_to_the_demand(demo: Read, found: Survey) -> None:
    demand = build_demand(*demo)
    use = demand.evaluate(np.full(demand.segments, found.aboard), demand.gear)
    for name in ("water", "coal", "duration"):
        total = sum(getattr(stretch, name) for stretch in found.stretches)
        assert total == pytest.approx(float(getattr(use, name).sum()), rel=1e-9)
        assert getattr(found, name).typical == pytest.approx(total, rel=1e-9)


def test_climb_less_fall_is_the_rise_of_the_road(demo: Read, found: Survey) -> None:
    rise = sum(s.climb - s.descent for s in found.stretches)
    assert rise == pytest.approx(float(demo[1].elevation[-1] - demo[1].elevation[0]), abs=1e-6)


def test_a_stretch_keeps_one_gear_and_one_surface(demo: Read, found: Survey) -> None:
    scenario, route = demo
    haul, _ = haul_on(scenario, route)
    gear = choose_gears(haul, np.full(haul.length.size, found.aboard))
    for stretch in found.stretches:
        own = slice(route.index(stretch.begin), route.index(stretch.end))
        assert {haul.gears[g] for g in gear[own]} == {stretch.gear}
        assert set(route.surface[own]) == {stretch.surface}


def test_steam_stays_at_or_below_the_boilers_best(found: Survey) -> None:
    for stretch in found.stretches:
        assert 0 < stretch.steam <= found.best_steam * (1 + 1e-9)
        assert stretch.limit in {"gear", "road", "steam"}


# --- what stands beside


def test_cleaning_coal_is_part_of_the_coal(found: Survey) -> None:
    coal = sum(s.coal for s in found.stretches)
    assert found.cleaning_coal == pytest.approx(coal * 0.04 / 1.04, rel=1e-9)


def test_a_procession_takes_more_than_standing_and_less_than_the_boilers_best(
    found: Survey,
) -> None:
    assert found.standing_water < found.procession_water < found.best_steam
    assert found.standing_coal < found.procession_coal


def test_a_procession_is_two_miles_an_hour_on_the_level(
    write: Callable[..., Path], steam: dict[str, Any]
) -> None:
    steam["engine"]["gears"] = [{"name": "only", "ratio": 12.0, "speed": "2 mph"}]
    flat = survey(*changed(write, steam, "distance [km],elevation [m]\n0,100\n4,100\n"))
    (stretch,) = flat.stretches
    assert flat.procession_water == pytest.approx(stretch.water / stretch.duration, rel=1e-6)
    assert flat.procession_coal == pytest.approx(stretch.coal / stretch.duration, rel=1e-6)


def test_steep_descents_are_listed_where_nobody_stops(demo: Read, found: Survey) -> None:
    route = demo[1]
    assert found.descents
    for descent in found.descents:
        own = slice(route.index(descent.begin), route.index(descent.end))
        assert descent.steepest == pytest.approx(-float(route.grade[own].min()))
        assert descent.steepest > 0.05
    steep = route.distance[:-1][route.grade < -0.05]
    listed = [(d.begin, d.end) for d in found.descents]
    assert all(any(a <= at < b for a, b in listed) for at in steep)


# --- water over coal


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, None),
        # A boiler of hardly any surface for its grate throws the heat away.
        ({"heating_surface": "2.5 m2"}, "of water to 1 of coal by weight"),
    ],
)
def test_odd_water_over_coal_is_warned_of_in_plan_and_survey(
    write: Callable[..., Path],
    steam: dict[str, Any],
    road_csv: str,
    changes: dict[str, str],
    said: str | None,
) -> None:
    steam["engine"] |= changes
    read = changed(write, steam, road_csv)
    found = survey(*read)
    for warnings in (build_demand(*read).warnings, found.warnings):
        odd = [w for w in warnings if "of water to 1 of" in w]
        assert bool(odd) is (said is not None)
        if said is not None:
            assert said in odd[0]
            numbers = re.search(r"takes ([\d.]+) of .* usually ([\d.]+) to ([\d.]+)", odd[0])
            assert numbers is not None
            ratio, low, high = map(float, numbers.groups())
            use = [sum(getattr(s, n) for s in found.stretches) for n in ("water", "coal")]
            assert ratio == pytest.approx(use[0] / use[1], abs=0.051)
            # Good coal, 13,000 Btu/lb, 5 to 10: in proportion to its heat.
            scale = 30e6 / (13000 * 2326)
            assert (low, high) == pytest.approx((5 * scale, 10 * scale), abs=0.051)
            assert ratio < low
            assert "MJ/kg" in odd[0]


def test_water_over_coal_is_held_to_the_fuels_own_heat(
    write: Callable[..., Path], steam: dict[str, Any], road_csv: str
) -> None:
    for kind in ("welsh-steam-coal", "bituminous-good", "subbituminous", "lignite", "dry-wood"):
        steam["fuel"] = {"name": "Any", "kind": kind}
        steam["units"] = "us"
        warnings = build_demand(*changed(write, steam, road_csv)).warnings
        assert not [w for w in warnings if "of water to 1 of" in w], kind


# --- the page


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("width", [80, 100, 120, 200])
def test_no_line_is_cut_and_none_is_too_long(
    demo: Read, found: Survey, width: int, system: str
) -> None:
    text = page(demo, found, width, system)
    assert "…" not in text
    assert max(map(len, text.splitlines())) <= width


def test_a_heavy_haul_fits_eighty_columns_too(
    write: Callable[..., Path], steam: dict[str, Any]
) -> None:
    """Five figures in every column that can have them."""
    steam["engine"]["kind"] = "large-road-locomotive"
    for key in ("weight", "weight_on_drivers", "bore", "stroke", "grate_area", "heating_surface"):
        del steam["engine"][key]
    steam["engine"]["gears"] = [{"name": "a gear of many words", "ratio": 30.0, "speed": "2 mph"}]
    steam["units"] = "imperial"
    steam["stores"] = {"tank": "20000 L", "bunker": "5 t"}
    steam["train"] = {"wagons": [{"name": "Van", "tare": "30 t", "tyre": "rubber", "count": 2}]}
    road = "distance [km],elevation [m]\n" + "".join(f"{k},{100 + k}\n" for k in range(0, 400, 20))
    read = changed(write, steam, road)
    text = page(read, survey(*read), 80)
    assert "…" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_wide_page_shows_what_a_narrow_one_leaves_out(demo: Read, found: Survey) -> None:
    narrow, wide = page(demo, found, 80), page(demo, found, 120)
    for word in ("After", "Fall", "Grade"):
        assert word in wide
        assert word not in narrow
    for word in ("Climb", "Surface", "Gear", "Speed", "Pull", "Power", "Steam", "Held"):
        assert word in wide
        assert word in narrow


def test_the_page_has_every_total_with_its_unit(demo: Read, found: Survey) -> None:
    system = UNIT_SYSTEMS["us"]
    text = " ".join(page(demo, found, 120).split())
    for figure in (
        system.coal.text(found.cleaning_coal),
        system.coal.text(found.lighting_up_coal),
        system.coal.text(found.banking_coal),
        system.water.text(3600 * found.procession_water),
        system.water.text(3600 * found.standing_water),
        system.pull.text(found.full_pull),
        f"{system.water.number(found.water.low)} to {system.water.number(found.water.high)}",
    ):
        assert figure in text
    assert "Nobody stops on these descents" in text
    assert "safe" not in text.casefold()


def test_pessimism_shows_beside_the_typical_figures(demo: Read) -> None:
    worse = survey(*demo, pessimism=0.9)
    system = UNIT_SYSTEMS["us"]
    text = " ".join(page(demo, worse, 120).split())
    total = sum(s.water for s in worse.stretches)
    assert total > worse.water.typical
    assert f"{system.water.number(total)} {system.water.number(worse.water.typical)}" in text
    assert "90 % pessimism" in text


def test_names_cannot_colour_the_page(
    write: Callable[..., Path], steam: dict[str, Any], road_csv: str
) -> None:
    steam["title"] = "[red]Mills[/red]"
    steam["engine"]["gears"][1]["name"] = "[b]h"
    read = changed(write, steam, road_csv)
    text = page(read, survey(*read), 120)
    assert "[red]Mills[/red]" in text
    assert "[b]h" in text


# --- files


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_csv_has_every_column_with_its_unit(found: Survey, system: str) -> None:
    units = UNIT_SYSTEMS[system]
    rows = list(csv.DictReader(io.StringIO(stretches_csv(found, units))))
    d, h, w, c = (u.label for u in (units.distance, units.height, units.water, units.coal))
    assert list(rows[0]) == [
        f"from [{d}]", f"to [{d}]", "after", f"climb [{h}]", f"fall [{h}]", "grade [%]",
        "surface", "gear", f"speed [{units.speed.label}]", f"pull [{units.pull.label}]",
        "power [ihp]", f"steam [{c}/h]", f"water [{w}]", f"coal [{c}]", "time [min]", "held by",
    ]  # fmt: skip
    assert len(rows) == len(found.stretches)
    for row, stretch in zip(rows, found.stretches, strict=True):
        step = 0.51 * 10.0**-units.water.decimals
        assert float(row[f"water [{w}]"]) == pytest.approx(
            units.water.value(stretch.water), abs=step
        )
        assert row["surface"] == stretch.surface


def test_frames_have_a_row_for_each_stretch_and_hill(found: Survey) -> None:
    units = UNIT_SYSTEMS["metric"]
    assert len(stretches_frame(found, units)) == len(found.stretches)
    hills = hills_frame(found, units)
    assert hills["hill"].tolist() == list(range(1, len(found.hills) + 1))
    assert hills["water [L]"].tolist() == [round(units.water.value(h.water)) for h in found.hills]


def test_the_survey_writes_three_files(demo: Read, found: Survey) -> None:
    files = survey_outputs(*demo, found, UNIT_SYSTEMS["us"])
    assert set(files) == {"stretches.csv", "hills.csv", "demand.svg"}


# --- the picture

SVG = "{http://www.w3.org/2000/svg}"


def picture(read: Read, found: Survey, system: str = "us") -> ET.Element:
    return ET.fromstring(draw_demand(*read, found, UNIT_SYSTEMS[system]))


def points_of(root: ET.Element, line: str) -> list[tuple[float, float]]:
    (path,) = [p for p in root.iter(f"{SVG}path") if p.get("data-line") == line]
    pairs = re.findall(r"([\d.-]+) ([\d.-]+)", path.attrib["d"])
    return [(float(x), float(y)) for x, y in pairs]


@pytest.mark.parametrize("system", SYSTEMS)
def test_steam_steps_by_stretch_beneath_the_boilers_best(
    demo: Read, found: Survey, system: str
) -> None:
    root = picture(demo, found, system)
    points = points_of(root, "steam leaving the boiler")
    assert len(points) == 2 * len(found.stretches)
    (best,) = [x for x in root.iter(f"{SVG}line") if x.get("data-line") == "best"]
    assert "stroke-dasharray" in best.attrib
    height = float(best.attrib["y1"])
    # Both lines by one scale, from the foot of the panel: SVG counts downwards.
    foot = 382.0
    for (_, y), stretch in zip(points[::2], found.stretches, strict=True):
        assert (foot - y) / (foot - height) == pytest.approx(
            stretch.steam / found.best_steam, abs=0.002
        )


def test_water_steps_by_stretch_about_its_mean(demo: Read, found: Survey) -> None:
    root = picture(demo, found)
    points = points_of(root, "water")
    (mean,) = [x for x in root.iter(f"{SVG}line") if x.get("data-line") == "mean"]
    foot, height = 500.0, float(mean.attrib["y1"])
    each = sum(s.water for s in found.stretches) / demo[1].length
    for (_, y), stretch in zip(points[::2], found.stretches, strict=True):
        drawn = (foot - y) / (foot - height)
        assert drawn == pytest.approx(
            stretch.water / (stretch.end - stretch.begin) / each, abs=0.01
        )


def test_hills_are_numbered_with_their_price(demo: Read, found: Survey) -> None:
    root = picture(demo, found)
    words = [x.text for x in root.iter(f"{SVG}text")]
    system = UNIT_SYSTEMS["us"]
    for number, hill in enumerate(found.hills, start=1):
        assert f"{number}: {system.water.number(hill.water)}" in words
    assert len([x for x in root.iter() if x.get("data-hill")]) == len(found.hills)


def test_gears_stand_along_the_axis_by_letter_and_shade(demo: Read, found: Survey) -> None:
    root = picture(demo, found)
    boxes = [x for x in root.iter(f"{SVG}rect") if x.get("data-gear")]
    runs = [
        s.gear
        for k, s in enumerate(found.stretches)
        if k == 0 or s.gear != found.stretches[k - 1].gear
    ]
    assert [x.get("data-gear") for x in boxes] == runs
    shades = {x.get("data-gear"): x.get("fill") for x in boxes}
    assert len(set(shades.values())) == len(shades)
    words = {x.text for x in root.iter(f"{SVG}text")}
    assert {"H", "L"} <= words


def test_the_picture_tells_itself_in_words_and_asks_no_network(demo: Read, found: Survey) -> None:
    text = draw_demand(*demo, found, UNIT_SYSTEMS["us"])
    root = ET.fromstring(text)
    told = root.find(f"{SVG}desc")
    assert told is not None
    assert told.text is not None
    for number in range(1, len(found.hills) + 1):
        assert f"hill {number} at" in told.text
    assert re.findall(r"https?://[^\"]*", text) == ["http://www.w3.org/2000/svg"]
    assert "<script" not in text


def test_names_cannot_break_the_picture(
    write: Callable[..., Path], steam: dict[str, Any], road_csv: str
) -> None:
    steam["title"] = '<b>"Mills" & co</b>'
    steam["engine"]["gears"][0]["name"] = "<low>"
    steam["engine"]["gears"][1]["name"] = "<high>"
    read = changed(write, steam, road_csv)
    root = picture(read, survey(*read))
    titles = [x.text for x in root.iter(f"{SVG}text")]
    assert '<b>"Mills" & co</b>' in titles
    # Initials clash: numbers instead, from the lowest up.
    assert any(t is not None and "2 <high>, 1 <low>" in t for t in titles)
