"""The map opens in a browser with no network and shows the plan's own figures."""

import base64
import datetime as dt
import json
import math
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.charts import GRADE_CLASSES
from haulplan.outputs.maps import draw_map
from haulplan.outputs.tables import crossings_frame, stops_frame
from haulplan.plan.plan import Crossing, Plan, Stop
from haulplan.route import Line, Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    import pandas as pd
    from playwright.sync_api import Browser, Dialog, Locator, Page

_US = UNIT_SYSTEMS["us"]
_CHROMIUM = shutil.which("chromium")
_HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(1)</script>",
    "{{7*7}}{% raw %}{# #}",
    "A name of forty letters, spaces included",
)
_SIZES = pytest.mark.parametrize("size", [(360, 640), (1280, 800)], ids=["phone", "desk"])
#: Counts the pixels of a picture that are close to each colour.
_COUNT = """async ([picture, colours]) => {
  const image = new Image();
  image.src = picture;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width;
  canvas.height = image.height;
  const brush = canvas.getContext("2d");
  brush.drawImage(image, 0, 0);
  const dots = brush.getImageData(0, 0, image.width, image.height).data;
  return colours.map(([r, g, b]) => {
    let count = 0;
    for (let i = 0; i < dots.length; i += 4) {
      const off = Math.max(
        Math.abs(dots[i] - r), Math.abs(dots[i + 1] - g), Math.abs(dots[i + 2] - b));
      count += off <= 10 ? 1 : 0;
    }
    return count;
  });
}"""


def _latitude(run: float) -> float:
    return 41.2 + 0.05 * run + 0.01 * math.sin(9 * run)


def _longitude(run: float) -> float:
    return -77.3 + 0.22 * run


def _write_road(folder: Path, *, back: bool) -> None:
    """A road of about 20 km over two hills; `back` turns it round to end where it began."""
    points = []
    for step in range(401):
        share = step / 400
        run = 1 - abs(1 - 2 * share) if back else share
        latitude, longitude = _latitude(run), _longitude(run)
        height = 200 + 170 * math.sin(11 * run) ** 2
        points.append(
            f'<trkpt lat="{latitude:.6f}" lon="{longitude:.6f}"><ele>{height:.1f}</ele></trkpt>'
        )
    text = "".join(points)
    (folder / "road.gpx").write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><name>road</name><trkseg>{text}</trkseg></trk></gpx>",
        encoding="utf-8",
    )


def _write_scenario(folder: Path, *, back: bool) -> None:
    _write_road(folder, back=back)
    quoted = [name.replace('"', '""') for name in _HOSTILE]
    (folder / "scenario.toml").write_text(
        f"""
title = "Hauling {_HOSTILE[0]} <!-- <script src=x >"
start = "Yard {_HOSTILE[1]}"
finish = "Field"
date = 1911-06-03
depart = "07:30"
stores = {{tank = "250 US gal", bunker = "900 lb"}}
at_start = {{water = "full", coal = "full"}}
at_finish = {{water = "50 US gal", coal = "100 lb"}}
reserve = {{water = "40 US gal", coal = "90 lb"}}
route = {{file = "road.gpx"}}
train = {{dry_weight = "12 short ton"}}
""",
        encoding="utf-8",
    )
    pond = f",{_latitude(0.7):.6f},{_longitude(0.7):.6f}" if back else "12 km,,"
    (folder / "supply.csv").write_text(
        "name,kind,at,latitude,longitude,water_available,water_rate,coal_available,coal_rate,"
        "call_out,opens,note\n"
        f'"{quoted[0]}",creek,4 km,,,unlimited,30 US gal/min,,,,,"{quoted[1]}"\n'
        f'"{quoted[1]}",hydrant,4 km,,,500 US gal,60 US gal/min,,,12 USD,06:00,\n'
        f'"{quoted[2]}","{quoted[0]}",8 km,,,500 US gal,20 US gal/min,2000 lb,90 lb/min,,,\n'
        f'"{quoted[3]}",pond,{pond},unlimited,20 US gal/min,,,,08:00,\n',
        encoding="utf-8",
    )
    (folder / "bridges.csv").write_text(
        f'name,at,limit,note\n"{quoted[1]} bridge",10 km,16 short ton,"{quoted[0]}"\n'
        "Long bridge,15 km,14.5 short ton,\n",
        encoding="utf-8",
    )
    (folder / "places.csv").write_text(
        f'name,at,note\n"{quoted[0]}",2 km,"{quoted[2]}"\nCrossroads,13.5 km,\n', encoding="utf-8"
    )
    (folder / "demand.csv").write_text(
        "from,to,duration,water,coal\n0 km,18 km,200 min,400 US gal,700 lb\n", encoding="utf-8"
    )


def _stop(
    kind: Literal["start", "supply", "finish"], name: str, number: int, row: int | None, at: float
) -> Stop:
    taken = 500.0 if kind == "supply" else 0.0
    clock = 27000.0 + at
    return Stop(
        kind=kind, name=name, number=number, row=row, distance=at, arrive=clock,
        depart=clock + 900, wait=0.0, tank_arrive=300.0 + at / 100,
        tank_depart=300.0 + at / 100 + taken, bunker_arrive=400 - at / 100,
        bunker_depart=400 - at / 100, water_taken=taken, coal_taken=0.0, water_standing=3.0,
        coal_standing=1.0, money=12.0 if number == 2 else 0.0,
    )  # fmt: skip


def _plan(scenario: Scenario, route: Route) -> Plan:
    """Stops at the first three supplies, two of which stand at the same place, and at any
    that is passed twice."""
    met = [p for p in route.passings if p.kind == "supply" and (p.row < 3 or p.of > 1)]
    stops = [
        _stop("start", scenario.file.start, 0, None, 0.0),
        *(_stop("supply", p.name, n, p.row, p.distance) for n, p in enumerate(met, start=1)),
        _stop("finish", scenario.file.finish, 0, None, route.length),
    ]
    crossings = [
        Crossing(
            name=p.name, row=p.row, distance=p.distance, clock=31000.0 + p.distance,
            gross=13000.0, limit=scenario.bridges[p.row].limit,
        )
        for p in route.passings
        if p.kind == "bridge"
    ]  # fmt: skip
    return Plan(
        title=scenario.file.title, date=dt.date(1911, 6, 3), aim="earliest", objective=1.0,
        bound=1.0, gap=0.0, proven=True, stops=tuple(stops), legs=(), crossings=tuple(crossings),
        choices=(), dry_weight=10886.0, lighting_up_coal=None, warnings=(), assumptions=(),
        versions={},
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Case:
    scenario: Scenario
    route: Route
    plan: Plan
    html: str


def _case(folder: Path, *, back: bool = False) -> _Case:
    _write_scenario(folder, back=back)
    scenario = read_scenario(folder)
    route = build_route(scenario)
    plan = _plan(scenario, route)
    html = draw_map(scenario, route, plan, _US)
    return _Case(scenario=scenario, route=route, plan=plan, html=html)


@pytest.fixture(scope="module", params=[False, True], ids=["one way", "there and back"])
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> _Case:
    return _case(tmp_path_factory.mktemp("map"), back=request.param)


def _missing(what: str) -> None:
    """Skip, except on the server that runs the checks."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright")
        raise
    if _CHROMIUM is None:
        _missing("chromium")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=_CHROMIUM,
            args=[
                "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update",
                "--disable-sync",
            ],
        )  # fmt: skip
        yield opened
        opened.close()


@dataclass(frozen=True)
class _Ear:
    """What a page asked for and complained of."""

    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def watch(self, page: "Page") -> None:
        def dismiss(dialog: "Dialog") -> None:
            self.complaints.append(dialog.message)
            dialog.dismiss()

        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda line: self.complaints.append(line.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", dismiss)


@contextmanager
def _opened(
    browser: "Browser", case: _Case, size: tuple[int, int], folder: Path
) -> "Iterator[tuple[Page, _Ear]]":
    """The page in a window without network; leaving checks that it stayed quiet."""
    file = folder / "map.html"
    file.write_text(case.html, encoding="utf-8")
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        offline=True,
        reduced_motion="reduce",  # a page that slides under the mouse is clicked beside
    )
    page = context.new_page()
    page.set_default_timeout(20_000)
    watch = _Ear()
    watch.watch(page)
    try:
        page.goto(file.as_uri())
        yield page, watch
        assert watch.requests == [file.as_uri()]
        assert watch.complaints == []
    finally:
        context.close()


def _marks(page: "Page", kind: str) -> "list[Locator]":
    return page.locator(f".leaflet-marker-icon.mark:has(> .mark > i.{kind})").all()


@dataclass(frozen=True, kw_only=True)
class _Details:
    """What a mark opens."""

    heading: str
    rows: list[list[str]]
    remark: str


def _read_details(page: "Page", mark: "Locator") -> _Details:
    """Click a mark, read what opens, close it."""
    mark.click()
    popup = page.locator(".leaflet-popup-content")
    details = _Details(
        heading=popup.locator("h2").text_content() or "",
        rows=[
            [cell.text_content() or "" for cell in row.locator("th, td").all()]
            for row in popup.locator("tr").all()
        ],
        remark="".join(popup.locator("p").all_text_contents()),
    )
    page.locator(".leaflet-popup-close-button").click()
    popup.wait_for(state="detached")
    return details


@dataclass(frozen=True, kw_only=True)
class _Visit:
    """What a reader who opens everything has seen in the end."""

    case: _Case
    stops: list[_Details]
    bridges: list[_Details]
    title: str
    pictures: int
    scripts: int


@pytest.fixture(scope="module", params=[(360, 640), (1280, 800)], ids=["phone", "desk"])
def visit(
    request: pytest.FixtureRequest,
    browser: "Browser",
    case: _Case,
    tmp_path_factory: pytest.TempPathFactory,
) -> _Visit:
    with _opened(browser, case, request.param, tmp_path_factory.mktemp("visit")) as (page, _):
        marks = [mark for kind in ("start", "stop", "finish") for mark in _marks(page, kind)]
        return _Visit(
            case=case,
            stops=[_read_details(page, mark) for mark in marks],
            bridges=[_read_details(page, mark) for mark in _marks(page, "bridge")],
            title=page.title(),
            pictures=page.locator("img").count(),
            scripts=page.locator("script").count(),
        )


def _expected(frame: "pd.DataFrame") -> list[list[list[str]]]:
    """Labels and texts of each row, without the cells that do not apply."""
    labels = [str(label) for label in frame.columns]
    return [
        [[label, str(cell)] for label, cell in zip(labels, row, strict=True) if cell != ""]
        for row in frame.to_numpy().tolist()
    ]


def _box(mark: "Locator") -> tuple[float, float, float, float]:
    box = mark.bounding_box()
    assert box is not None
    return box["x"], box["y"], box["width"], box["height"]


def _colour(text: str) -> list[int]:
    return [int(text[place : place + 2], 16) for place in (1, 3, 5)]


def _count_colours(page: "Page", colours: list[str]) -> list[int]:
    picture = base64.b64encode(page.locator(".folium-map").screenshot()).decode()
    shades = [_colour(colour) for colour in colours]
    counts: list[int] = page.evaluate(_COUNT, [f"data:image/png;base64,{picture}", shades])
    return counts


@_SIZES
def test_the_page_opens_offline_and_asks_for_nothing_else(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    with _opened(browser, case, size, tmp_path) as (page, watch):
        assert page.locator("h1").text_content() == case.plan.title
        assert watch.requests


def test_no_address_stands_in_the_page_but_the_name_of_svg(case: _Case) -> None:
    found = set(re.findall(r"https?://[^\"'<>\s)]+|[\"'(]//[a-z]", case.html))
    assert found == {"http://www.w3.org/2000/svg"}
    assert "sourceMappingURL" not in case.html


@_SIZES
def test_every_class_of_grade_is_seen_on_the_map(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    colours = [shown.colour for shown in GRADE_CLASSES]
    with _opened(browser, case, size, tmp_path) as (page, _):
        seen = _count_colours(page, colours)
        page.add_style_tag(
            content=".leaflet-overlay-pane, .leaflet-marker-pane, .leaflet-control-container"
            " { display: none !important; }"
        )
        left = _count_colours(page, colours)
    assert min(seen) > 20
    assert sum(seen) > 500
    assert left == [0] * len(colours)


def test_every_stop_shows_the_figures_of_its_row(visit: _Visit) -> None:
    frame = stops_frame(visit.case.scenario, visit.case.plan, _US)
    assert [details.rows for details in visit.stops] == _expected(frame)


@_SIZES
def test_no_two_marks_of_stops_cover_each_other(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    with _opened(browser, case, size, tmp_path) as (page, _):
        boxes = [
            _box(mark)
            for kind in ("start", "stop", "finish", "bridge")
            for mark in _marks(page, kind)
        ]
    centres = [(x + w / 2, y + h / 2) for x, y, w, h in boxes]
    apart = [math.dist(a, b) for n, a in enumerate(centres) for b in centres[:n]]
    assert len(centres) == len(case.plan.stops) + len(case.plan.crossings)
    assert min(apart) >= 24


def test_stops_on_the_same_spot_have_marks_apart(
    browser: "Browser", case: _Case, tmp_path: Path
) -> None:
    """Rows 0 and 1 of supply.csv stand at the same distance."""
    first, second = case.plan.stops[1:3]
    assert first.distance == second.distance
    with _opened(browser, case, (360, 640), tmp_path) as (page, _):
        one, two = (_box(mark) for mark in _marks(page, "stop")[:2])
    assert math.dist(one[:2], two[:2]) >= 34


def test_bridges_show_the_posted_figure_beside_ours_and_judge_nothing(visit: _Visit) -> None:
    frame = crossings_frame(visit.case.scenario, visit.case.plan, _US)
    assert [details.rows for details in visit.bridges] == _expected(frame)
    for details in visit.bridges:
        labels = [label for label, _ in details.rows]
        assert labels[4:6] == ["posted limit [short ton]", "our figure [short ton]"]
        assert "road authority decide" in details.remark
        assert not re.search(r"safe|strong|\bok\b|passes", details.remark, re.IGNORECASE)


def test_a_supply_passed_by_shows_its_offer(browser: "Browser", tmp_path: Path) -> None:
    case = _case(tmp_path)
    with _opened(browser, case, (1280, 800), tmp_path) as (page, _):
        (mark,) = _marks(page, "supply")
        rows = dict(_read_details(page, mark).rows)
    assert rows["kind"] == "pond"
    assert rows["water available [US gal]"] == "unlimited"
    assert rows["water rate [US gal/min]"] == "20"
    assert rows["open"] == "08:00-24:00"


def test_hostile_names_are_shown_as_they_stand_and_run_nothing(visit: _Visit) -> None:
    """What ran would have asked, complained or left an element; the visit listened."""
    names = [stop.name for stop in visit.case.plan.stops]
    assert [details.heading.split(" (pass")[0] for details in visit.stops] == names
    assert visit.title == visit.case.plan.title
    assert visit.pictures == 0
    assert visit.scripts == visit.case.html.count("<script>")
    assert "alert(1)>" in visit.title


def test_a_supply_stopped_at_twice_says_which_pass(visit: _Visit) -> None:
    passes = [d.heading.partition(" (pass ")[2] for d in visit.stops if "(pass" in d.heading]
    twice = any(passing.of > 1 for passing in visit.case.route.passings)
    assert passes == (["1 of 2)", "2 of 2)"] if twice else [])


def test_labels_of_marks_hold_the_names_as_text(
    browser: "Browser", case: _Case, tmp_path: Path
) -> None:
    with _opened(browser, case, (1280, 800), tmp_path) as (page, _):
        labels = {label.text_content() for label in page.locator(".label").all()}
    assert set(_HOSTILE[:3]) <= labels


@_SIZES
def test_cautions_stand_on_the_page(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    with _opened(browser, case, size, tmp_path) as (page, _):
        summary = page.locator("#cautions summary")
        assert summary.is_visible()
        if size[0] < 400:
            summary.click()
        shown = [item.inner_text() for item in page.locator("#cautions li").all()]
    assert shown == list(CAUTIONS)


@_SIZES
def test_nothing_is_wider_than_the_window_or_covers_the_map(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    with _opened(browser, case, size, tmp_path) as (page, _):
        width = page.evaluate("document.documentElement.scrollWidth")
        chart = _box(page.locator(".folium-map"))
        panels = [_box(page.locator(name)) for name in ("#heading", "#cautions", "#key")]
    assert width <= size[0]
    assert chart[2] >= min(360, size[0] * 0.7)
    assert chart[3] >= 0.6 * size[1]
    for x, y, w, h in panels:
        beside = x + w <= chart[0] + 1 or chart[0] + chart[2] <= x + 1
        apart = y + h <= chart[1] + 1 or chart[1] + chart[3] <= y + 1
        assert beside or apart


@_SIZES
def test_what_a_finger_touches_is_at_least_44_pixels(
    browser: "Browser", case: _Case, size: tuple[int, int], tmp_path: Path
) -> None:
    """44 px: WCAG 2.2, success criterion 2.5.5 Target Size (Enhanced)."""
    with _opened(browser, case, size, tmp_path) as (page, _):
        _marks(page, "stop")[0].click()
        touched = page.locator(
            ".leaflet-marker-icon.mark, summary, .leaflet-bar a, .leaflet-popup-close-button"
        )
        sizes = [_box(item)[2:] for item in touched.all() if item.is_visible()]
    assert len(sizes) >= 10
    assert round(min(min(pair) for pair in sizes), 1) >= 44


def test_marks_are_reached_and_opened_by_the_keyboard(
    browser: "Browser", case: _Case, tmp_path: Path
) -> None:
    with _opened(browser, case, (1280, 800), tmp_path) as (page, _):
        names = []
        for _ in range(60):
            page.keyboard.press("Tab")
            names.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
            if names[-1] and names[-1].startswith("stop 3"):
                break
        assert f"stop 3, {_HOSTILE[2]}" in names
        page.keyboard.press("Enter")
        assert page.locator(".leaflet-popup-content h2").text_content() == _HOSTILE[2]
        page.keyboard.press("Escape")
        page.locator(".leaflet-popup-content").wait_for(state="detached")


def test_the_map_can_be_looked_at_closer(browser: "Browser", case: _Case, tmp_path: Path) -> None:
    with _opened(browser, case, (360, 640), tmp_path) as (page, _):
        scale = page.locator(".leaflet-control-scale-line")
        before = scale.text_content() or ""
        page.locator(".leaflet-control-zoom-in").click()
        page.locator(f".leaflet-control-scale-line:not(:text-is('{before}'))").wait_for()
        miles = [float(text.removesuffix(" mi")) for text in (before, scale.text_content() or "")]
    assert miles[1] < miles[0]


def test_a_road_without_positions_is_refused(case: _Case) -> None:
    with pytest.raises(ValueError, match="no positions to draw"):
        draw_map(case.scenario, replace(case.route, line=None), case.plan, _US)


def test_the_same_plan_gives_the_same_page(case: _Case) -> None:
    assert draw_map(case.scenario, case.route, case.plan, _US) == case.html


def test_a_road_without_heights_says_so(case: _Case) -> None:
    flat = replace(case.route, has_heights=False, elevation=case.route.elevation * 0)
    page = draw_map(case.scenario, flat, case.plan, _US)
    assert "Heights: not given." in page
    assert "steep climb" not in page


def test_a_long_recording_stays_a_small_page(case: _Case) -> None:
    """A track of 123 km and 8,234 points, the size of a day's recording."""
    share = np.linspace(0.0, 1.0, 8234)
    line = Line(
        latitude=41 + share + 0.02 * np.sin(40 * share), longitude=-77 + 0.3 * share,
        distance=share * 123_000,
    )  # fmt: skip
    distance = np.linspace(0.0, 123_000, 12_301)
    route = replace(
        case.route, line=line, distance=distance, elevation=60 * np.sin(distance / 700),
        passings=(),
    )  # fmt: skip
    page = draw_map(case.scenario, route, case.plan, _US)
    assert len(page.encode()) < 1_500_000


def test_a_road_across_the_date_line_is_drawn_in_one_piece(case: _Case) -> None:
    line = case.route.line
    assert line is not None
    moved = (line.longitude + 77.2 + 360.0) % 360.0 - 180.0
    route = replace(case.route, line=replace(line, longitude=moved))
    assert np.ptp(moved) > 300
    page = draw_map(case.scenario, route, case.plan, _US)
    found = re.search(r'"bounds":(\[\[.*?\]\])', page)
    assert found is not None
    (_, west), (_, east) = json.loads(found[1])
    assert 0.2 < east - west < 0.3
