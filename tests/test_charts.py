"""The picture of the road and the levels shows what the plan holds."""

import datetime as dt
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulplan.outputs.charts import GRADE_CLASSES, draw_profile, grade_runs
from haulplan.outputs.road import speeds
from haulplan.plan.plan import Crossing, Plan, Stop, Trace
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, parse

_US = UNIT_SYSTEMS["us"]
_SVG = "{http://www.w3.org/2000/svg}"
_TITLE = 'Hauling <img src=x onerror=alert(1)> & "more"'
_FIRST = "</svg><script>alert(1)</script>"
_SYSTEMS = pytest.mark.parametrize("system", UNIT_SYSTEMS)
#: Level, a climb, a steep climb, a descent, a steep descent, a kilometre each.
_ROAD = """distance,elevation
0 km,100 m
1 km,100 m
2 km,130 m
3 km,190 m
4 km,160 m
5 km,100 m
"""


@dataclass(frozen=True, kw_only=True)
class _Case:
    scenario: Scenario
    route: Route
    plan: Plan
    trace: Trace

    def draw(self, system: str = "us") -> str:
        return draw_profile(self.scenario, self.route, self.plan, self.trace, UNIT_SYSTEMS[system])

    def picture(self, system: str = "us") -> ET.Element:
        return ET.fromstring(self.draw(system))


def _write(folder: Path, *, bunker: str, heights: bool) -> None:
    coal = "0 lb" if bunker == "0 lb" else "90 lb"
    road = 'route = {file = "route.csv"}' if heights else ""
    (folder / "scenario.toml").write_text(
        f"""
title = '{_TITLE}'
start = "Yard"
finish = "Field"
date = 1911-06-03
depart = "07:30"
stores = {{tank = "250 US gal", bunker = "{bunker}"}}
at_start = {{water = "full", coal = "full"}}
at_finish = {{water = "40 US gal", coal = "{coal}"}}
reserve = {{water = "40 US gal", coal = "{coal}"}}
train = {{dry_weight = "12 short ton"}}
{road}
""",
        encoding="utf-8",
    )
    (folder / "route.csv").write_text(_ROAD, encoding="utf-8")
    (folder / "supply.csv").write_text(
        "name,kind,at,water_available,water_rate\n"
        f'"{_FIRST}",creek,1.5 km,unlimited,30 US gal/min\n'
        "Pond,pond,4 km,unlimited,20 US gal/min\n",
        encoding="utf-8",
    )
    (folder / "bridges.csv").write_text(
        'name,at,limit\n"Bridge <b>",2.5 km,16 short ton\n', encoding="utf-8"
    )
    (folder / "demand.csv").write_text(
        "from,to,duration,water,coal\n0 km,5 km,60 min,150 US gal,300 lb\n", encoding="utf-8"
    )


def _stop(
    kind: Literal["start", "supply", "finish"], name: str, number: int, at: float,
    tank: tuple[float, float],
) -> Stop:  # fmt: skip
    bunker = 400.0 - at / 25
    return Stop(
        kind=kind, name=name, number=number, row=number - 1 if number else None, distance=at,
        arrive=27000 + at, depart=27900 + at, wait=0.0, tank_arrive=tank[0], tank_depart=tank[1],
        bunker_arrive=bunker, bunker_depart=bunker, water_taken=tank[1] - tank[0],
        coal_taken=0.0, water_standing=0.0, coal_standing=0.0, money=0.0,
    )  # fmt: skip


def _case(folder: Path, *, bunker: str = "900 lb", heights: bool = True) -> _Case:
    _write(folder, bunker=bunker, heights=heights)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    stops = (
        _stop("start", "Yard", 0, 0.0, (900.0, 900.0)),
        _stop("supply", _FIRST, 1, 1500.0, (600.0, 940.0)),
        _stop("supply", "Pond", 2, 4000.0, (440.0, 700.0)),
        _stop("finish", "Field", 0, 5000.0, (500.0, 500.0)),
    )
    tank = [
        np.interp(d, [0, 1500], [900, 600]) if d < 1500
        else np.interp(d, [1500, 4000], [940, 440]) if d < 4000
        else np.interp(d, [4000, 5000], [700, 500])
        for d in route.distance
    ]  # fmt: skip
    trace = Trace(
        distance=tuple(route.distance.tolist()), tank=tuple(float(level) for level in tank),
        bunker=tuple(float(400 - d / 25) for d in route.distance),
        clock=tuple(float(27000 + d) for d in route.distance),
        cart=tuple(0.0 for _ in route.distance), boiler=tuple(0.0 for _ in route.distance),
    )  # fmt: skip
    crossing = Crossing(
        name="Bridge <b>", row=0, distance=2500.0, clock=30000.0, gross=12000.0, limit=14500.0
    )
    plan = Plan(
        title=scenario.file.title, date=dt.date(1911, 6, 3), aim="earliest", objective=1.0,
        bound=1.0, gap=0.0, proven=True, stops=stops, legs=(), crossings=(crossing,), choices=(),
        dry_weight=10886.0, lighting_up_coal=None, warnings=(), assumptions=(), versions={},
    )  # fmt: skip
    return _Case(scenario=scenario, route=route, plan=plan, trace=trace)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> _Case:
    return _case(tmp_path_factory.mktemp("chart"))


@dataclass(frozen=True, kw_only=True)
class _Axis:
    """A panel's scale as its frame and printed figures give it."""

    top: float
    bottom: float
    left: float
    right: float
    figures: tuple[float, ...]

    def value(self, y: float) -> float:
        share = (self.bottom - y) / (self.bottom - self.top)
        return self.figures[0] + share * (self.figures[-1] - self.figures[0])


def _axes(picture: ET.Element) -> list[_Axis]:
    """The panels from above, read from the picture alone."""
    axes = []
    for frame in picture.iter(f"{_SVG}rect"):
        words = [
            (float(text.get("y", "")), float((text.text or "").replace(",", "")))
            for text in picture.iter(f"{_SVG}text")
            if frame.get("y") is not None and text.get("data-axis") == frame.get("y")
        ]
        if words:
            top, left = float(frame.get("y", "")), float(frame.get("x", ""))
            axes.append(
                _Axis(
                    top=top, bottom=top + float(frame.get("height", "")), left=left,
                    right=left + float(frame.get("width", "")),
                    figures=tuple(value for _, value in sorted(words, reverse=True)),
                )
            )  # fmt: skip
    return sorted(axes, key=lambda axis: axis.top)


def _line(picture: ET.Element, store: str, name: str) -> ET.Element:
    found = [
        shape
        for shape in picture.iter()
        if shape.get("data-store") == store and shape.get("data-line") == name
    ]
    assert len(found) == 1
    return found[0]


def _points(shape: ET.Element) -> list[tuple[float, float]]:
    pairs = re.findall(r"([\d.-]+) ([\d.-]+)", shape.get("d", ""))
    return [(float(x), float(y)) for x, y in pairs]


def _words(picture: ET.Element) -> list[str]:
    return [text.text or "" for text in picture.iter(f"{_SVG}text")]


def test_the_picture_has_a_text_alternative(case: _Case) -> None:
    picture = case.picture()
    assert picture.tag == f"{_SVG}svg"
    assert picture.get("role") == "img"
    ids = (picture.get("aria-labelledby") or "").split()
    told = [item.text or "" for item in picture.iter() if item.get("id") in ids]
    assert told[0] == f"{_TITLE}: the road, tank, bunkers and speed"
    assert f"stop 1, {_FIRST}, at 0.9 mi" in told[1]
    assert "tank lowest at 116 US gal of 250 US gal, reserve 40 US gal" in told[1]


def test_hostile_names_stay_text(case: _Case) -> None:
    text = case.draw()
    tags = {shape.tag.removeprefix(_SVG) for shape in ET.fromstring(text).iter()}
    allowed = {"svg", "title", "desc", "defs", "pattern", "rect", "line", "path", "text"}
    assert tags == allowed
    assert "<script" not in text
    assert "<img" not in text
    assert _TITLE in _words(case.picture())
    assert "Bridge <b>" in [item.get("data-bridge") for item in case.picture().iter()]


@pytest.mark.parametrize("name", ["a\ufffeb", "a\uffffb", "a\u202eb"])
def test_characters_that_xml_or_eyes_cannot_bear_are_replaced(case: _Case, name: str) -> None:
    named = replace(case, plan=replace(case.plan, title=name))
    assert "a\ufffdb" in _words(named.picture())


def test_no_address_stands_in_the_picture_but_the_name_of_svg(case: _Case) -> None:
    assert set(re.findall(r"https?://[^\"'<> ]+", case.draw())) == {"http://www.w3.org/2000/svg"}


@_SYSTEMS
def test_the_axis_of_distance_runs_from_0_to_the_length_of_the_road(
    case: _Case, system: str
) -> None:
    picture = case.picture(system)
    words = [t for t in picture.iter(f"{_SVG}text") if t.get("data-axis") == "distance"]
    at = sorted((float(t.get("x", "")), float(t.text or "")) for t in words)
    axis = _axes(picture)[0]
    unit = UNIT_SYSTEMS[system].distance
    ends = [(axis.left, 0.0), (axis.right, float(unit.number(5000.0)))]
    assert [at[0], at[-1]] == ends
    for x, value in at[:-1]:
        share = value / unit.value(5000.0)
        assert x == pytest.approx(axis.left + share * (axis.right - axis.left), abs=0.01)


@_SYSTEMS
def test_the_axes_end_at_figures_around_what_they_show(case: _Case, system: str) -> None:
    unit = UNIT_SYSTEMS[system]
    heights, tank, bunkers, speed = _axes(case.picture(system))
    assert heights.figures[0] <= unit.height.value(100.0)
    assert heights.figures[-1] >= unit.height.value(190.0)
    assert tank.figures[0] == bunkers.figures[0] == 0
    assert tank.figures[-1] >= unit.water.value(parse("water", "250 US gal")) - 0.5
    assert bunkers.figures[-1] >= unit.coal.value(parse("coal", "900 lb")) - 0.5
    for axis in (heights, tank, bunkers, speed):
        assert len(axis.figures) >= 3
        assert np.ptp(np.diff(axis.figures)) == pytest.approx(0)


@_SYSTEMS
@pytest.mark.parametrize(
    ("panel", "name", "amount"),
    [
        (1, "reserve", "40 US gal"), (1, "room", "250 US gal"), (2, "reserve", "90 lb"),
        (2, "room", "900 lb"),
    ],
)  # fmt: skip
def test_lines_of_reserve_and_room_stand_at_their_figures(
    case: _Case, system: str, panel: int, name: str, amount: str
) -> None:
    store, kind = ("tank", "water") if panel == 1 else ("bunkers", "coal")
    picture = case.picture(system)
    axis = _axes(picture)[panel]
    line = _line(picture, store, name)
    assert line.get("y1") == line.get("y2")
    shown = axis.value(float(line.get("y1", "")))
    unit: DisplayUnit = getattr(UNIT_SYSTEMS[system], kind)
    assert shown == pytest.approx(unit.value(parse(kind, amount)), abs=axis.figures[-1] / 500)
    assert unit.text(parse(kind, amount)) in _words(picture)


def test_the_level_falls_to_each_arrival_and_rises_to_each_leaving(case: _Case) -> None:
    picture = case.picture("metric")
    axis = _axes(picture)[1]
    litres = UNIT_SYSTEMS["metric"].water
    level = [
        ((x - axis.left) / (axis.right - axis.left) * 5000, axis.value(y))
        for x, y in _points(_line(picture, "tank", "level"))
    ]
    for stop in case.plan.stops:
        here = [value for at, value in level if abs(at - stop.distance) < 1]
        assert here[0] == pytest.approx(litres.value(stop.tank_arrive), abs=2)
        assert here[-1] == pytest.approx(litres.value(stop.tank_depart), abs=2)
    (between,) = (value for at, value in level if abs(at - 2700) < 20)
    assert between == pytest.approx(litres.value(700), abs=2)


def test_a_road_of_few_samples_still_shows_both_levels_at_a_stop(case: _Case) -> None:
    """A trace holds the level on leaving only; the level on arrival is the stop's."""
    few = Trace(
        distance=(0.0, 1500.0, 4000.0, 5000.0), tank=(900.0, 940.0, 700.0, 500.0),
        bunker=(400.0, 340.0, 240.0, 200.0), clock=(0.0, 1.0, 2.0, 3.0),
        cart=(0.0,) * 4, boiler=(0.0,) * 4,
    )  # fmt: skip
    drawn = [
        _points(_line(replace(case, trace=trace).picture(), "tank", "level"))
        for trace in (few, case.trace)
    ]
    assert set(drawn[0]) <= set(drawn[1])
    assert len(set(drawn[0])) == 6


def test_the_stops_and_the_bridge_stand_at_their_distances(case: _Case) -> None:
    picture = case.picture()
    axis = _axes(picture)[0]
    scale = (axis.right - axis.left) / 5000
    words = [t for t in picture.iter(f"{_SVG}text") if not t.get("data-axis")]
    numbers = {t.text: float(t.get("x", "")) for t in words}
    assert numbers["1"] == pytest.approx(axis.left + 1500 * scale, abs=0.1)
    assert numbers["start"] == pytest.approx(axis.left)
    assert numbers["finish"] == pytest.approx(axis.right)
    (bridge,) = (shape for shape in picture.iter() if shape.get("data-bridge"))
    x, y, size = (float(bridge.get(name, "")) for name in ("x", "y", "width"))
    assert x + size / 2 == pytest.approx(axis.left + 2500 * scale, abs=0.1)
    assert axis.value(y + size / 2) == pytest.approx(_US.height.value(160.0), abs=2)


def test_marks_of_near_stops_do_not_cover_each_other(case: _Case) -> None:
    stops = [replace(case.plan.stops[1], number=n, distance=400.0 + 60.0 * n) for n in range(1, 31)]
    plan = replace(case.plan, stops=(case.plan.stops[0], *stops, case.plan.stops[-1]))
    picture = replace(case, plan=plan).picture()
    marks = [
        tuple(float(shape.get(name, "")) for name in ("x", "y", "width", "height"))
        for shape in picture.iter(f"{_SVG}rect")
        if shape.get("rx")
    ]
    assert len(marks) == 32
    for n, (x, y, w, h) in enumerate(marks):
        for x2, y2, w2, h2 in marks[:n]:
            assert x >= x2 + w2 or x2 >= x + w or y >= y2 + h2 or y2 >= y + h


@_SYSTEMS
def test_words_stay_inside_the_picture(case: _Case, system: str) -> None:
    """Widths are estimated at 0.62 of the letters' height, Arial's mean with room to spare."""
    long = replace(case, plan=replace(case.plan, title="W" * 5 + " name" * 39))
    picture = long.picture(system)
    _, _, width, height = (float(part) for part in (picture.get("viewBox") or "").split())
    for text in picture.iter(f"{_SVG}text"):
        x, y, size = (float(text.get(name, "")) for name in ("x", "y", "font-size"))
        run = 0.62 * size * len(text.text or "")
        left = x - {"end": run, "middle": run / 2}.get(text.get("text-anchor", ""), 0.0)
        assert left >= 0
        assert left + run <= width
        assert size <= y <= height - 0.25 * size


def test_the_picture_reads_without_colour(case: _Case) -> None:
    patterns = [
        (item.get("patternTransform"), item.get("width"))
        for item in case.picture().iter(f"{_SVG}pattern")
    ]
    assert len(set(patterns)) == len(patterns) == 4
    assert len({(shown.width, shown.dash) for shown in GRADE_CLASSES}) == len(GRADE_CLASSES)
    dashes = {
        _line(case.picture(), "tank", name).get("stroke-dasharray")
        for name in ("reserve", "room", "level")
    }
    assert len(dashes) == 3


@_SYSTEMS
def test_every_figure_in_the_picture_is_finite(case: _Case, system: str) -> None:
    picture = case.picture(system)
    said = [value for shape in picture.iter() for value in (*shape.attrib.values(), shape.text)]
    assert not [text for text in said if text and re.search(r"\b(nan|inf|infinity)\b", text, re.I)]


def test_the_same_plan_gives_the_same_picture(case: _Case) -> None:
    assert case.draw() == case.draw()


def test_without_heights_the_picture_says_so(tmp_path: Path) -> None:
    case = _case(tmp_path, heights=False)
    assert not case.route.has_heights
    words = _words(case.picture())
    assert "No heights are given for this road." in words
    assert not [text for text in words if text.startswith(("Height", "Grade"))]
    assert len(_axes(case.picture())) == 3  # tank, bunkers, speed


def test_without_a_bunker_there_is_no_panel_of_it(tmp_path: Path) -> None:
    case = _case(tmp_path, bunker="0 lb")
    picture = case.picture()
    assert len(_axes(picture)) == 3  # heights, tank, speed
    assert not [shape for shape in picture.iter() if shape.get("data-store") == "bunkers"]
    assert "Bunkers" not in " ".join(_words(picture))


def test_the_speed_drawn_is_distance_over_time(case: _Case) -> None:
    picture = case.picture("metric")
    axis = _axes(picture)[-1]
    (line,) = (shape for shape in picture.iter() if shape.get("data-line") == "speed")
    # the trace takes a second for each metre: 3.6 km/h
    assert {round(axis.value(y), 1) for _, y in _points(line)} == {3.6}


def test_standing_is_not_driving(case: _Case) -> None:
    at = case.trace.distance
    middle = len(at) // 2
    trace = replace(
        case.trace,
        distance=(*at[:middle], at[middle - 1], *at[middle:]),
        clock=(*case.trace.clock[:middle], *(c + 900.0 for c in case.trace.clock[middle - 1 :])),
    )
    assert {round(speed, 6) for _, _, speed in speeds(trace)} == {1.0}


def test_every_surface_has_its_place_and_name(case: _Case) -> None:
    surface = ("asphalt",) * 3 + ("gravel",) * (len(case.route.surface) - 3)
    changed = replace(case, route=replace(case.route, surface=surface))
    boxes = [shape for shape in changed.picture().iter() if shape.get("data-surface")]
    assert [box.get("data-surface") for box in boxes] == ["asphalt", "gravel"]
    axis = _axes(changed.picture())[0]
    cut = axis.left + (axis.right - axis.left) * case.route.distance[3] / case.route.length
    assert float(boxes[1].get("x", "")) == pytest.approx(cut, abs=0.1)


def test_a_boiler_that_is_a_store_has_a_panel(case: _Case) -> None:
    trace = replace(case.trace, boiler=tuple(40.0 for _ in case.trace.boiler))
    picture = replace(case, trace=trace).picture()
    assert len(_axes(picture)) == len(_axes(case.picture())) + 1
    assert "Boiler above its working level [US gal]" in _words(picture)


def test_grades_are_sorted_into_their_classes(case: _Case) -> None:
    """The road's grades are 0, 3, 6, -3 and -6 %, a kilometre each."""
    assert grade_runs(case.route) == [
        (0.0, 1000.0, 2), (1000.0, 2000.0, 3), (2000.0, 3000.0, 4), (3000.0, 4000.0, 1),
        (4000.0, 5000.0, 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("grade", "name"),
    [
        (0.0199, "level"), (0.02, "climb"), (0.0499, "climb"), (0.05, "steep climb"),
        (-0.0199, "level"), (-0.02, "descent"), (-0.0499, "descent"), (-0.05, "steep descent"),
    ],
)  # fmt: skip
def test_a_class_begins_at_its_figure(case: _Case, grade: float, name: str) -> None:
    distance = np.linspace(0.0, 730.0, 74)
    route = replace(case.route, distance=distance, elevation=400 + grade * distance)
    ((begin, end, kind),) = grade_runs(route)
    assert (begin, end) == (0.0, 730.0)
    assert GRADE_CLASSES[kind].name == name


@given(heights=st.lists(st.floats(-20, 20), min_size=2, max_size=60))
def test_runs_join_and_turning_round_mirrors_them(case: _Case, heights: list[float]) -> None:
    distance = np.linspace(0.0, 45.0 * (len(heights) - 1), len(heights))
    there = grade_runs(replace(case.route, distance=distance, elevation=np.array(heights)))
    back = grade_runs(replace(case.route, distance=distance, elevation=np.array(heights[::-1])))
    assert there[0][0] == 0
    assert there[-1][1] == distance[-1]
    assert all(a[1] == b[0] and a[2] != b[2] for a, b in pairwise(there))
    turned = [
        (distance[-1] - end, distance[-1] - begin, 4 - kind) for begin, end, kind in back[::-1]
    ]
    assert len(turned) == len(there)
    for ours, theirs in zip(there, turned, strict=True):
        assert ours == pytest.approx(theirs)


def test_a_long_road_stays_a_small_picture(case: _Case) -> None:
    distance = np.linspace(0.0, 123_000, 12_301)
    route = replace(case.route, distance=distance, elevation=60 * np.sin(distance / 700))
    stops = (*case.plan.stops[:-1], replace(case.plan.stops[-1], distance=123_000.0))
    long = replace(
        case,
        route=route,
        plan=replace(case.plan, stops=stops),
        trace=Trace(
            distance=tuple(distance.tolist()),
            tank=(500.0,) * 12_301,
            bunker=(200.0,) * 12_301,
            cart=(0.0,) * 12_301,
            boiler=(0.0,) * 12_301,
            clock=(0.0,) * 12_301,
        ),
    )
    text = long.draw()
    assert len(text) < 300_000
    assert math.isclose(_points(_line(ET.fromstring(text), "tank", "level"))[-1][0], 884.0)
