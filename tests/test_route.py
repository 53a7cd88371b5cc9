"""The road: GPX files as they come, heights fit to reckon from, places put on the line."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from haulplan.demand import build_demand
from haulplan.errors import InputError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.route.gpx import Recording, read_gpx
from haulplan.route.profile import (
    along,
    clean_profile,
    climb_of,
    level_steps,
    steepest_sustained,
)
from haulplan.scenario import read_scenario

Toml = dict[str, Any]
Write = Callable[..., Path]
Gpx = Callable[..., str]
Array = NDArray[np.float64]
Point = tuple[float, float, float | None]

GPX_11 = "http://www.topografix.com/GPX/1/1"
GPX_10 = "http://www.topografix.com/GPX/1/0"
#: About one metre of latitude at 55° north. [°]
METRE = 1 / 111_330


def north(
    begin: float, end: float, *, step: float = 20.0, rise: float = 0.02, height: float = 100.0
) -> list[Point]:
    """Points up the 2nd meridian west, from `begin` to `end` metres north of 55°."""
    count = max(round(abs(end - begin) / step), 1)
    metres = np.linspace(begin, end, count + 1).tolist()
    return [(55 + m * METRE, -2.0, height + rise * abs(m - begin)) for m in metres]


@pytest.fixture
def road(steam: Toml, write: Write) -> Callable[..., Route]:
    """Builds the route of a steam scenario whose road is the given GPX."""

    def build(gpx: str | bytes, tables: dict[str, str] | None = None, **route: object) -> Route:
        steam["route"] = {"file": "road.gpx", "surface": "macadam", **route}
        return build_route(read_scenario(write(steam, {"road.gpx": gpx, **(tables or {})})))

    return build


@pytest.fixture
def refusal(road: Callable[..., Route]) -> Callable[..., str]:
    """The one line a GPX is refused with."""

    def refuse(gpx: str | bytes, tables: dict[str, str] | None = None, **route: object) -> str:
        with pytest.raises(InputError) as caught:
            road(gpx, tables, **route)
        line = str(caught.value)
        assert len(line.splitlines()) == 1
        return line

    return refuse


def recording(tmp_path: Path, text: str | bytes, track: str | None = None) -> Recording:
    path = tmp_path / "road.gpx"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_gpx(path, track=track)


def gpx(body: str, *, namespace: str = GPX_11, version: str = "1.1", head: str = "") -> str:
    return f'{head}<gpx version="{version}" creator="t" xmlns="{namespace}">{body}</gpx>'


UTF_8 = '<?xml version="1.0" encoding="UTF-8"?>'
TWO = '<trkpt lat="55" lon="-2"><ele>9</ele></trkpt><trkpt lat="55.1" lon="-2"><ele>8</ele></trkpt>'
TRACK = f"<trk><name>n</name><trkseg>{TWO}</trkseg></trk>"


# --- GPX as it comes ------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        gpx(TRACK),
        gpx(TRACK, namespace=GPX_10, version="1.0"),
        gpx(TRACK, head=f"{UTF_8}\n<!-- a road -->\n"),
        f"<gpx>{TRACK}</gpx>",
        gpx(f"<rte><name>n</name>{TWO.replace('trkpt', 'rtept')}</rte>"),
        gpx(TRACK).replace("<", "<g:").replace("<g:/", "</g:").replace("xmlns=", "xmlns:g="),
        gpx(TRACK.replace("</trkpt>", "<time>noon</time><hdop>x</hdop><sat>y</sat></trkpt>")),
        gpx(
            TRACK.replace(
                "</trkpt>",
                '<extensions><e xmlns="urn:watch"><ele>99</ele></e></extensions></trkpt>',
            )
        ),
        gpx('<metadata><bounds minlat="x"/></metadata><wpt lat="q" lon=""/>' + TRACK),
        gpx(TRACK.replace(">n<", ">  n\n <")),
        gpx(TRACK.replace('"55"', '" +55.0e0 "')),
    ],
    ids=[
        "1.1", "1.0", "declaration", "no namespace", "route", "prefix", "foreign fields",
        "extensions", "waypoints", "name", "number",
    ],
)  # fmt: skip
def test_a_gpx_file_is_read(text: str, tmp_path: Path) -> None:
    read = recording(tmp_path, text)
    (piece,) = read.pieces
    assert piece.latitude.tolist() == [55.0, 55.1]
    assert piece.longitude.tolist() == [-2.0, -2.0]
    assert piece.elevation.tolist() == [9.0, 8.0]
    assert read.name == "n"
    assert read.warnings == ()


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "UTF-16", "utf-8-sig", "US-ASCII"])
def test_encodings_that_are_declared_are_read(encoding: str, tmp_path: Path) -> None:
    name = "M&#252;hle" if encoding == "US-ASCII" else "Mühle"
    declared = "UTF-8" if encoding == "utf-8-sig" else encoding
    head = f'<?xml version="1.0" encoding="{declared}"?>'
    data = gpx(TRACK.replace(">n<", f">{name}<"), head=head).encode(encoding)
    assert recording(tmp_path, data).name == "Mühle"


def test_a_foreign_namespace_is_warned_of(tmp_path: Path) -> None:
    read = recording(tmp_path, gpx(TRACK, namespace="urn:else"))
    assert read.warnings == ("road.gpx: foreign namespace 'urn:else', read as GPX",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not well-formed XML"),
        (" \n ", "not well-formed XML"),
        (gpx(TRACK)[:-2], "not well-formed XML"),
        (gpx(TRACK).replace("lat=", "lat='1' lat="), "not well-formed XML"),
        (gpx(TRACK.replace(">n<", ">&#27;[31m<")), "not well-formed XML"),
        (gpx(TRACK).replace("<trkpt", "\0<trkpt"), "not well-formed XML"),
        (gpx(TRACK, head=UTF_8).encode("utf-16-le"), "not well-formed XML"),
        (b"\x89PNG\r\n\x1a\n", "not well-formed XML"),
        (b"\x1f\x8b\x08\x00", "compressed with gzip; unpack it first"),
        ('<kml xmlns="http://www.opengis.net/kml/2.2"/>', "root element 'kml', not 'gpx'"),
        ('<?xml version="1.0"?><!DOCTYPE gpx>' + gpx(TRACK), "declares a document type"),
        (
            '<!DOCTYPE gpx [<!ENTITY a "b"><!ENTITY c "&a;&a;">]>' + gpx(TRACK),
            "declares a document type",
        ),
        (
            '<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
            + gpx(TRACK.replace(">n<", ">&a;<")),
            "declares a document type",
        ),
        (gpx(TRACK.replace(">n<", ">&undeclared;<")), "not well-formed XML"),
        (gpx(""), "fewer than two points"),
        (gpx(TRACK.replace("trkpt", "wpt")), "fewer than two points"),
        (gpx('<trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk>'), "fewer than two points"),
        (gpx("<a>" * 50_000 + "</a>" * 50_000), "more than 100 elements deep"),
        (gpx("<trk>" * 50_000 + "</trk>" * 50_000), "more than 100 elements deep"),
        (
            gpx(f"<extensions>{'<a>' * 999}{'</a>' * 999}</extensions>" + TRACK),
            "more than 100 elements deep",
        ),
    ],
    ids=lambda item: repr(item)[:30],
)  # fmt: skip
def test_what_is_not_gpx_is_refused_by_one_line(
    text: str | bytes, said: str, refusal: Callable[..., str]
) -> None:
    line = refusal(text)
    assert line.startswith("road.gpx: ")
    assert said in line


def test_the_text_of_an_outside_file_is_never_shown(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("the miller's key")
    include = (
        f'<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="{secret}" parse="text"/>'
    )
    read = recording(tmp_path, gpx(TRACK.replace(">n<", f">n{include}<")))
    assert read.name == "n"


@pytest.mark.parametrize(
    ("number", "wanted", "shown"),
    [
        ("NaN", "lat", "'NaN'"),
        ("inf", "lat", "'inf'"),
        ("90.001", "lat", "'90.001'"),
        ("55,5", "lat", "'55,5'"),
        ("5_5.5", "lat", "'5_5.5'"),
        ("0x10", "lat", "'0x10'"),
        ("1e400", "lat", "'1e400'"),
        ("٥٥", "lat", "'٥٥'"),
        ("", "lat", "''"),
        ("-180.5", "lon", "'-180.5'"),
        ("2 W", "lon", "'2 W'"),
        ("Infinity", "ele", "'Infinity'"),
        ("12,5", "ele", "'12,5'"),
        ("1e9", "ele", "'1e9'"),
    ],
)
def test_a_number_that_is_none_is_refused_by_point(
    number: str, wanted: str, shown: str, refusal: Callable[..., str]
) -> None:
    figures = {"lat": "55.1", "lon": "-2", "ele": "8"} | {wanted: number}
    second = (
        f'<trkpt lat="{figures["lat"]}" lon="{figures["lon"]}"><ele>{figures["ele"]}</ele></trkpt>'
    )
    line = refusal(gpx(TRACK.replace("</trkseg>", second + "</trkseg>")))
    assert line.startswith(f"road.gpx, point 3, {wanted}: {shown} is not allowed; write a decimal")


def test_a_point_without_longitude_is_refused(refusal: Callable[..., str]) -> None:
    line = refusal(gpx(TRACK.replace(' lon="-2"', "", 1)))
    assert line.startswith("road.gpx, point 1, lon: missing is not allowed")


def test_many_bad_numbers_are_told_together(road: Callable[..., Route], gpx_text: Gpx) -> None:
    text = gpx_text(north(0, 2000)).replace(".", ",")
    with pytest.raises(InputError) as caught:
        road(text.replace('"1,1"', '"1.1"'))
    assert 20 < len(caught.value.problems) <= 24


# --- pieces ---------------------------------------------------------------------------


def test_segments_and_tracks_are_joined_in_file_order(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    first = gpx_text(north(0, 1000), north(1050, 2000), name="first")
    second = gpx_text(north(2030, 3000), name="second")
    body = second[second.index("<trk>") : -len("</gpx>")]
    route = road(first.replace("</gpx>", f"{body}</gpx>"))
    assert route.length == pytest.approx(3000, rel=1e-3)
    assert route.warnings == ("road.gpx: 2 tracks joined in file order",)


def test_a_track_is_chosen_by_name(
    road: Callable[..., Route], refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    first = gpx_text(north(0, 1000), name="to the mill")
    second = gpx_text(north(9000, 11000), name="to the fair")
    body = second[second.index("<trk>") : -len("</gpx>")]
    both = first.replace("</gpx>", f"{body}</gpx>")
    route = road(both, track="to the fair")
    assert route.length == pytest.approx(2000, rel=1e-3)
    assert (route.name, route.warnings) == ("to the fair", ())
    line = refusal(both, track="to the moon")
    assert "no track or route named 'to the moon'" in line
    assert "named there: 'to the mill', 'to the fair'" in line


def test_a_route_is_chosen_by_name_beside_tracks(tmp_path: Path) -> None:
    points = TWO.replace("trkpt", "rtept").replace("55.1", "55.3")
    text = gpx(f"{TRACK}<rte><name>drawn</name>{points}</rte>")
    assert recording(tmp_path, text).warnings == (
        "road.gpx: has tracks and routes; the tracks are driven",
    )
    assert recording(tmp_path, text, track="drawn").pieces[0].latitude[-1] == 55.3


def test_a_gap_is_warned_of_and_a_longer_one_refused(
    road: Callable[..., Route], refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    text = gpx_text(north(0, 1000), north(1500, 2000))
    assert road(text).warnings == (
        "road.gpx: gap of 500 m before piece 2, at 1.0 km, is driven straight",
    )
    line = refusal(text, longest_gap="400 m")
    assert line.startswith("road.gpx, piece 2: begins 0.5 km from the end of the piece before")
    assert "route.track" in line
    assert "route.longest_gap" in line


def test_a_road_of_no_length_is_refused(refusal: Callable[..., str], gpx_text: Gpx) -> None:
    assert "road.gpx: length 0; " in refusal(gpx_text([(55.0, -2.0, 100.0)] * 50))


# --- heights --------------------------------------------------------------------------


def test_heights_missing_over_a_stretch_are_warned_of(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    points = [
        (a, b, None if 1000 < i * 20 < 2000 else c) for i, (a, b, c) in enumerate(north(0, 4000))
    ]
    route = road(gpx_text(points))
    assert route.warnings == (
        "road.gpx: heights missing over 1.0 km of 4.0 km, taken as an even grade there",
    )
    assert route.grade == pytest.approx(0.02, abs=1e-3)  # fmt: skip


def test_a_height_now_and_then_is_enough(road: Callable[..., Route], gpx_text: Gpx) -> None:
    points = [(a, b, c if i % 4 == 0 else None) for i, (a, b, c) in enumerate(north(0, 4000))]
    assert road(gpx_text(points)).warnings == ()


def test_voids_of_a_terrain_grid_count_as_missing(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    points = [
        (a, b, -32768.0 if 1000 < i * 20 < 2000 else c)
        for i, (a, b, c) in enumerate(north(0, 4000))
    ]
    route = road(gpx_text(points))
    assert "heights missing over 1.0 km" in route.warnings[0]
    assert route.elevation.min() > 90  # fmt: skip


@pytest.mark.parametrize(("height", "said"), [(None, "no heights"), (0.0, "height 0 throughout")])
def test_a_road_without_hills_is_refused_with_the_remedy(
    height: float | None, said: str, refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    line = refusal(gpx_text([(a, b, height) for a, b, _ in north(0, 4000)]))
    assert line.startswith(f"road.gpx: {said}; ")
    assert "name a table of distance and elevation (or grade) as route.grades" in line


def test_a_road_of_one_height_is_level_and_said_to_be(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    route = road(gpx_text([(a, b, 77.0) for a, b, _ in north(0, 4000)]))
    assert route.grade == pytest.approx(0.0, abs=1e-12)
    assert "one and the same height throughout, 77 m: driven as a level road" in route.warnings[0]


@pytest.mark.parametrize(
    "table",
    [
        "distance [km],elevation [m]\n0,100\n2,140\n4,100\n",
        "distance [km],grade [%]\n0,2\n2,-2\n4,\n",
        "distance [mi],grade\n0,1 in 50\n1.242742,-1 in 50\n2.485485,\n",
    ],
)
def test_a_table_of_heights_or_grades_mends_it(
    table: str, road: Callable[..., Route], gpx_text: Gpx
) -> None:
    text = gpx_text([(a, b, None) for a, b, _ in north(0, 4000)])
    route = road(text, {"heights.csv": table}, grades="heights.csv")
    assert route.has_heights
    up, down = route.grade[route.distance[1:] < 1990], route.grade[route.distance[:-1] > 2010]
    assert up == pytest.approx(0.02, abs=1e-3)
    assert down == pytest.approx(-0.02, abs=1e-3)


def test_a_table_that_ends_before_the_road_is_refused(
    refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    line = refusal(
        gpx_text(north(0, 4000)),
        {"heights.csv": "distance [km],grade [%]\n0,2\n2,\n"},
        grades="heights.csv",
    )
    assert line.startswith("heights.csv, column distance: covers 2.0 km of a road of 4.0 km; ")


def test_a_cliff_is_warned_of(road: Callable[..., Route], gpx_text: Gpx) -> None:
    cliff = north(0, 2000) + north(2020, 4000, height=1000.0)
    (warning,) = road(gpx_text(cliff)).warnings
    assert warning.startswith("road.gpx: heights jump by 860 m at 2.0 km, as no road does; ")


def test_a_steep_road_is_warned_of(road: Callable[..., Route], gpx_text: Gpx) -> None:
    steep = north(0, 2000) + north(2020, 4000, rise=0.3, height=146.0)
    (warning,) = road(gpx_text(steep)).warnings
    assert re.match(r"a grade of 3\d % at \d\.\d km: few roads are so steep; check", warning)


def test_a_typed_road_is_taken_as_given(steam: Toml, road_csv: str, write: Write) -> None:
    route = build_route(read_scenario(write(steam, {"route.csv": road_csv})))
    assert route.length == 12_000
    assert route.line is None
    assert route.height(4500) == pytest.approx(145)
    assert np.diff(route.distance).max() <= 100
    assert route.grade.max() == pytest.approx(0.05)


# --- distances ------------------------------------------------------------------------


def test_distances_are_geodesic() -> None:
    """Flinders Peak to Buninyong, 54 972.271 m.

    ICSM, Geocentric Datum of Australia Technical Manual, version 2.4, chapter 4, test
    line (GRS 80, whose flattening differs from that of WGS 84 in the eighth figure).
    """
    peak = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    other = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    line = along(np.array([peak[0], other[0]]), np.array([peak[1], other[1]]))
    assert line[1] == pytest.approx(54_972.271, abs=0.001)
    sphere = 6_371_008.8 * math.acos(
        math.sin(math.radians(peak[0])) * math.sin(math.radians(other[0]))
        + math.cos(math.radians(peak[0]))
        * math.cos(math.radians(other[0]))
        * math.cos(math.radians(peak[1] - other[1]))
    )
    assert abs(sphere - 54_972.271) > 40  # a sphere would show


def test_a_road_across_the_date_line_is_short(road: Callable[..., Route], gpx_text: Gpx) -> None:
    points = [(-16.8, (179.99 + 0.0002 * i + 180) % 360 - 180, 10 + 0.1 * i) for i in range(101)]
    middle = points[50]
    place = f"name,latitude,longitude\nMarker,{middle[0]},{middle[1]:.6f}\n"
    route = road(gpx_text(points), {"places.csv": place})
    # 0.02 of a degree of longitude, 111.32 km on the equator, at 16.8° south
    assert route.length == pytest.approx(0.02 * 111_320 * math.cos(math.radians(16.8)), rel=2e-3)
    (passing,) = route.passings
    assert passing.distance == pytest.approx(route.length / 2, abs=1)
    assert route.line is not None
    for distance in np.linspace(0, route.length, 7):
        latitude, longitude = route.line.position(float(distance))
        assert latitude == pytest.approx(-16.8)
        assert 179.98 < abs(longitude) <= 180


def test_a_road_round_the_pole_meets_a_place_once(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    points = [(89.9, 3.0 * i - 180, 10 + 0.1 * i) for i in range(120)]
    place = "name,latitude,longitude\nFlag,89.9,0\n"
    route = road(gpx_text(points), {"places.csv": place})
    # a circle of 0.1° of arc about the pole: 11.17 km of meridian as its radius
    assert route.length == pytest.approx(2 * math.pi * 11_169 * 119 / 120, rel=2e-3)
    (passing,) = route.passings
    assert passing.distance == pytest.approx(route.length * 60 / 119, rel=1e-3)
    assert passing.offset < 0.01


def test_a_road_over_the_pole_is_short(road: Callable[..., Route], gpx_text: Gpx) -> None:
    up = [(89.95 + 0.001 * i, 20.0, 10.0 + i) for i in range(51)]
    down = [(90 - 0.001 * i, -160.0, 60.0 - i) for i in range(1, 51)]
    route = road(gpx_text(up + down))
    assert route.length == pytest.approx(0.1 * 111_694, rel=1e-3)  # 1° of meridian at the pole


# --- the profile ----------------------------------------------------------------------

#: Rolling resistance against which the work of hauling is reckoned, 40 lb per short ton:
#: setts or worn macadam. [-]
ROLLING = 0.02


def work(distance: Array, elevation: Array) -> float:
    """Height through which the load's weight is as good as lifted; none gained downhill."""
    return float(np.maximum(ROLLING * np.diff(distance) + np.diff(elevation), 0).sum())


def made_up_road(draw: np.random.Generator) -> tuple[Array, Array]:
    """15 km: three sines of up to 1.5 % each, one hill of 5 to 9 % with 60 m vertical curves."""
    distance = np.arange(0, 15_001.0, 2.0)
    elevation = np.full(distance.size, 200.0)
    for length in (6000.0, 2500.0, 1200.0):
        swing = draw.uniform(0.5, 1.0) * 0.015 * length / (2 * np.pi)
        elevation += swing * np.sin(2 * np.pi * distance / length + draw.uniform(0, 2 * np.pi))
    foot, run, grade = draw.uniform(3000, 10_000), draw.uniform(600, 1500), draw.uniform(0.05, 0.09)
    hill = np.clip(distance - foot, 0, run) * grade
    return distance, elevation + uniform_filter1d(hill, 30, mode="nearest")


def recorded(
    draw: np.random.Generator, distance: Array, elevation: Array, *, noise: float
) -> tuple[Array, Array]:
    """Heights every 10 m or so with independent noise, a spike every 750 m, wrong ends."""
    stations = np.sort(np.r_[0, distance[-1], draw.uniform(0, distance[-1], 1500)])
    heights = np.interp(stations, distance, elevation) + noise * draw.normal(size=stations.size)
    spikes = np.arange(30, stations.size - 30, 75)
    heights[spikes] += draw.choice([-1, 1], spikes.size) * draw.uniform(10, 60, spikes.size)
    heights[0] += 25
    heights[-1] -= 25
    return stations, heights


@pytest.mark.parametrize("number", range(50))
def test_noise_and_spikes_leave_work_and_steepest_grade(number: int) -> None:
    """Work within 2 %, the steepest 200 m within 0.5 points of grade, at 0.5 m of noise.

    The limits are haulplan's own aim; that noise is a barometer's (common practice, no
    source).
    """
    draw = np.random.default_rng(number)
    distance, elevation = made_up_road(draw)
    stations, heights = recorded(draw, distance, elevation, noise=0.5)
    truth = work(distance, elevation)
    assert work(stations, heights) > 1.5 * truth  # raw heights are of no use
    grid, smooth = clean_profile(stations, heights)
    assert work(grid, smooth) == pytest.approx(truth, rel=0.02)
    for sign in (1, -1):
        steepest = steepest_sustained(distance, sign * elevation, 200)
        assert steepest_sustained(grid, sign * smooth, 200) == pytest.approx(steepest, abs=0.005)


def test_smooth_heights_are_left_alone() -> None:
    for number in range(20):
        distance, elevation = made_up_road(np.random.default_rng(number))
        grid, smooth = clean_profile(distance, elevation)
        assert np.abs(smooth - np.interp(grid, distance, elevation)).max() < 0.5
        assert climb_of(smooth) == pytest.approx(climb_of(elevation), rel=0.02)


def test_a_hill_that_begins_at_the_first_point_keeps_its_grade() -> None:
    distance = np.arange(0, 3000.0, 15.0)
    grid, smooth = clean_profile(distance, 0.07 * distance)
    assert np.diff(smooth) / np.diff(grid) == pytest.approx(0.07, abs=1e-6)


def test_one_wrong_height_makes_no_hill() -> None:
    distance = np.arange(0, 5000.0, 40.0)
    elevation = 0.01 * distance
    for index in (0, 1, 57, distance.size - 2, distance.size - 1):
        wrong = elevation.copy()
        wrong[index] += 60
        grid, smooth = clean_profile(distance, wrong)
        assert np.diff(smooth) / np.diff(grid) == pytest.approx(0.01, abs=2e-3)


def test_an_instrument_set_anew_makes_no_hill() -> None:
    distance = np.arange(0, 5000.0, 12.0)
    elevation = 0.02 * distance
    elevation += np.where(distance > 2000, 40, 0) - np.where(distance > 3000, 25, 0)
    level, steps = level_steps(distance, elevation)
    assert [(round(d), round(r)) for d, r in steps] == [(1992, 40), (3000, -25)]
    assert level == pytest.approx(0.02 * distance, abs=1)


@pytest.mark.parametrize("noise", [1.0, 3.0])
@pytest.mark.parametrize("spacing", [2.0, 10.0])
def test_noise_is_not_taken_for_an_instrument_set_anew(noise: float, spacing: float) -> None:
    for number in range(10):
        draw = np.random.default_rng(number)
        distance, elevation = made_up_road(draw)
        stations = np.arange(0, 15_000, spacing)
        heights = np.interp(stations, distance, elevation) + noise * draw.normal(size=stations.size)
        heights[200::150] += 40  # nor are spikes
        assert level_steps(stations, heights)[1] == []


def test_a_profile_reversed_is_the_profile_reversed() -> None:
    draw = np.random.default_rng(3)
    stations, heights = recorded(draw, *made_up_road(draw), noise=0.5)
    grid, there = clean_profile(stations, heights)
    _, back = clean_profile(stations[-1] - stations[::-1], heights[::-1])
    assert back[::-1] == pytest.approx(there, abs=1e-6)
    assert grid[-1] == stations[-1]


def test_nothing_is_smoothed_across_a_gap(road: Callable[..., Route], gpx_text: Gpx) -> None:
    low = north(0, 2000, rise=0.0)
    high = north(2400, 4400, rise=0.0, height=120.0)
    route = road(gpx_text(low, high))
    begin, end = (float(np.round(d)) for d in (2000, 2400))
    before, after = route.distance < begin - 5, route.distance > end + 5
    assert route.elevation[before] == pytest.approx(100)
    assert route.elevation[after] == pytest.approx(120)
    across = route.grade[(route.distance[1:] > begin + 5) & (route.distance[:-1] < end - 5)]
    assert across == pytest.approx(20 / 400, rel=0.01)


def test_a_recorders_pause_is_no_gap(road: Callable[..., Route], gpx_text: Gpx) -> None:
    before = north(0, 2000, rise=0.0)
    after = north(2010, 4000, rise=0.0, height=104.0)
    route = road(gpx_text(before, after))
    assert route.warnings == ()
    assert route.grade.max() < 0.06  # 0.4 as recorded


# --- places on the line ---------------------------------------------------------------


def tap_at(metres: float, aside: float = 0.0, name: str = "Tap") -> str:
    """A row of places.csv so far up the 2nd meridian west, and so far east of it."""
    east = aside * METRE / math.cos(math.radians(55))
    return f"{name},{55 + metres * METRE:.9f},{-2 + east:.9f}\n"


PLACES = "name,latitude,longitude\n"


def test_the_offset_of_a_place_is_told(road: Callable[..., Route], gpx_text: Gpx) -> None:
    route = road(gpx_text(north(0, 4000, step=250)), {"places.csv": PLACES + tap_at(1111, 80)})
    (passing,) = route.passings
    assert passing.distance == pytest.approx(1111, abs=3)
    assert passing.offset == pytest.approx(80, rel=0.01)
    assert (passing.number, passing.of, passing.label) == (1, 1, "Tap")
    assert route.distance[route.index(passing.distance)] == passing.distance


def test_a_place_off_the_road_is_refused_with_the_nearest_point(
    refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    line = refusal(gpx_text(north(0, 4000)), {"places.csv": PLACES + tap_at(1500, 300)})
    assert line.startswith("places.csv, row 2, column latitude: 'Tap' is 300 m from the road ")
    assert "(nearest at 1.50 km)" in line
    assert "raise route.snap (now 120 m)" in line


def test_a_wider_snap_takes_it(road: Callable[..., Route], gpx_text: Gpx) -> None:
    tables = {"places.csv": PLACES + tap_at(1500, 300)}
    (passing,) = road(gpx_text(north(0, 4000)), tables, snap="310 m").passings
    assert passing.distance == pytest.approx(1500, abs=3)


def test_swapped_latitude_and_longitude_are_hinted_at(
    refusal: Callable[..., str], gpx_text: Gpx
) -> None:
    swapped = {"places.csv": f"{PLACES}Tap,-2,55.01\n"}
    assert "latitude and longitude look swapped" in refusal(gpx_text(north(0, 4000)), swapped)
    far = {"places.csv": f"{PLACES}Tap,10,20\n"}
    assert "swapped" not in refusal(gpx_text(north(0, 4000)), far)


def test_a_road_driven_twice_meets_a_place_twice(road: Callable[..., Route], gpx_text: Gpx) -> None:
    there = north(0, 5000, step=50)
    route = road(gpx_text(there + there[-2::-1]), {"places.csv": PLACES + tap_at(2000, 30)})
    first, second = route.passings
    assert first.distance == pytest.approx(2000, abs=3)
    assert second.distance == pytest.approx(8000, abs=8)
    assert first.distance + second.distance == pytest.approx(route.length, abs=0.01)
    assert (first.label, second.label) == ("Tap (pass 1 of 2)", "Tap (pass 2 of 2)")
    assert first.row == second.row == 0


def test_a_place_near_the_turning_point_counts_once(
    road: Callable[..., Route], gpx_text: Gpx
) -> None:
    there = north(0, 5000, step=50)
    for metres in (4950, 5000, 5060):
        route = road(gpx_text(there + there[-2::-1]), {"places.csv": PLACES + tap_at(metres)})
        (passing,) = route.passings
        assert passing.distance == pytest.approx(min(metres, 5000), abs=8)


def test_a_loop_meets_its_start_again(road: Callable[..., Route], gpx_text: Gpx) -> None:
    side = np.linspace(0, 1000, 51)
    far = np.full(side.size, 1000.0)
    ring = [
        *zip(side, 0 * side, strict=True),
        *zip(far, side, strict=True),
        *zip(side[::-1], far, strict=True),
        *zip(0 * side, side[::-1], strict=True),
    ]
    east = METRE / math.cos(math.radians(55))
    points = [(55 + n * METRE, -2 + e * east, 100 + 0.01 * i) for i, (n, e) in enumerate(ring)]
    tables = {"places.csv": PLACES + tap_at(0) + tap_at(1000, 500, "Barn")}
    route = road(gpx_text(points), tables)
    assert [(p.label, round(p.distance, -2)) for p in route.passings] == [
        ("Tap (pass 1 of 2)", 0), ("Barn", 1500), ("Tap (pass 2 of 2)", 4000),
    ]  # fmt: skip


def test_a_distance_beyond_the_end_is_refused(refusal: Callable[..., str], gpx_text: Gpx) -> None:
    line = refusal(gpx_text(north(0, 4000)), {"places.csv": "name,at\nOak,4.2 km\n"})
    assert line.startswith("places.csv, row 2, column at: 4.20 km is beyond the road's end at 4.00")


def test_a_surface_beyond_the_end_is_refused(refusal: Callable[..., str], gpx_text: Gpx) -> None:
    table = "from,to,surface\n4.5 km,5 km,sand\n"
    line = refusal(gpx_text(north(0, 4000)), {"surfaces.csv": table})
    assert line.startswith("surfaces.csv, row 2, column from: 4.50 km is beyond the road's end")


def test_coordinates_on_a_road_without_any_are_refused(
    steam: Toml, road_csv: str, write: Write
) -> None:
    folder = write(steam, {"route.csv": road_csv, "places.csv": PLACES + tap_at(0)})
    with pytest.raises(InputError, match=r"places\.csv, row 2: 'Tap' has latitude and longitude"):
        build_route(read_scenario(folder))


def test_faults_of_all_places_are_told_together(road: Callable[..., Route], gpx_text: Gpx) -> None:
    tables = {
        "places.csv": PLACES + tap_at(0, 900) + tap_at(1000, 0, "Oak") + tap_at(2000, -900, "Elm"),
        "bridges.csv": "name,at,limit\nArch,9 km,20 t\n",
        "surfaces.csv": "from,to,surface\n8 km,9 km,sand\n",
    }
    with pytest.raises(InputError) as caught:
        road(gpx_text(north(0, 4000)), tables)
    assert [(p.file, p.where) for p in caught.value.problems] == [
        ("bridges.csv", "row 2, column at"),
        ("places.csv", "row 2, column latitude"),
        ("places.csv", "row 4, column latitude"),
        ("surfaces.csv", "row 2, column from"),
    ]


# --- surfaces and graph ---------------------------------------------------------------


def test_surfaces_and_limits_lie_where_the_table_says(
    steam: Toml, road_csv: str, write: Write
) -> None:
    tables = {
        "route.csv": road_csv,
        "surfaces.csv": "from [km],to [km],surface,speed_limit\n1,5,brick,\n3,4,sand,4 km/h\n"
        "11,99,,5 km/h\n",
    }
    route = build_route(read_scenario(write(steam, tables)))
    found = {
        middle: (route.surface[k], float(route.speed_limit[k]))
        for middle in (500, 2000, 3500, 4500, 6000, 11_500)
        for k in [int(np.searchsorted(route.distance, middle)) - 1]
    }
    assert found == {
        500: ("macadam", math.inf),
        2000: ("brick", math.inf),
        3500: ("sand", pytest.approx(4 / 3.6)),
        4500: ("brick", math.inf),
        6000: ("macadam", math.inf),
        11_500: ("macadam", pytest.approx(5 / 3.6)),
    }
    assert {1000.0, 3000.0, 4000.0, 5000.0, 11_000.0} <= set(route.distance.tolist())


def test_a_typed_road_carries_its_own_surfaces(steam: Toml, write: Write) -> None:
    text = "distance [km],elevation [m],surface\n0,1,\n1,2,sand\n2,3,\n3,4,brick\n4,5,\n"
    route = build_route(read_scenario(write(steam, {"route.csv": text})))
    at = [
        route.surface[int(np.searchsorted(route.distance, d)) - 1] for d in (500, 1500, 2500, 3500)
    ]
    assert at == ["macadam", "sand", "sand", "brick"]  # fmt: skip


def test_the_graph_holds_places_and_stretches_in_driving_order(
    steam: Toml, road_csv: str, write: Write
) -> None:
    tables = {
        "route.csv": road_csv,
        "supply.csv": "name,kind,at [km],water_available,water_rate\nPump,tap,4.5,1 m3,60 L/min\n",
        "bridges.csv": "name,at [km],limit\nArch,7.25,30 t\n",
        "places.csv": "name,at [km]\nOak,4.5\nElm,10\n",
        "surfaces.csv": "from [km],to [km],surface,speed_limit\n5,6,brick,\n6.5,7,sand,4 km/h\n",
    }
    route = build_route(read_scenario(write(steam, tables)))
    graph = route.graph
    assert [graph.nodes[n]["name"] for n in sorted(graph.nodes)] == [
        "Upper mill", "Oak", "Pump", "Arch", "Elm", "Lower mill",
    ]  # fmt: skip
    assert [graph.nodes[n]["kind"] for n in sorted(graph.nodes)] == [
        "start", "place", "supply", "bridge", "place", "finish",
    ]  # fmt: skip
    distances = [graph.nodes[n]["distance"] for n in sorted(graph.nodes)]
    assert distances == [0, 4500, 4500, 7250, 10_000, 12_000]
    assert sorted((a, b) for a, b, _ in graph.edges) == list(pairwise(range(6)))
    edges = [graph.edges[a, a + 1, 0] for a in range(5)]
    assert [edge["length"] for edge in edges] == np.diff(distances).tolist()
    assert sum(edge["length"] for edge in edges) == pytest.approx(route.length)
    assert edges[1]["grade"].size == 0
    for edge in edges:
        own = slice(edge["first"], edge["last"])
        assert edge["grade"] == pytest.approx(route.grade[own])
        assert edge["climb"] - edge["descent"] == pytest.approx(
            route.elevation[edge["last"]] - route.elevation[edge["first"]]
        )
    assert edges[0]["climb"] == pytest.approx(20 + 25)
    assert edges[2]["surfaces"] == ("macadam", "brick", "sand")
    assert [edge["speed_limit"] for edge in edges] == [
        math.inf, math.inf, pytest.approx(4 / 3.6), math.inf, math.inf,
    ]  # fmt: skip


# --- a road driven twice, planned -----------------------------------------------------


def plan_of(folder: Path) -> Plan:
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    replay(scenario, route, demand, plan)
    return plan


def out_and_back(measured: Toml, gpx_text: Gpx, rows: Sequence[str]) -> tuple[Toml, dict[str, str]]:
    """5 km and back at 100 kg/km; a slow tap at the turn, a quick one at 2 and 8 km."""
    there = north(0, 5000, step=100)
    measured["route"] = {"file": "road.gpx"}
    measured["stores"] = {"tank": "400 kg", "bunker": "100 kg"}
    measured["reserve"] = {"water": "40 kg"}
    measured["at_finish"] = {"water": "40 kg"}
    head = "name,kind,at,latitude,longitude,set_up,water_available,water_rate\n"
    slow = f"Slow,tap,,{55 + 5000 * METRE:.8f},-2,0 min,unlimited,10 kg/min\n"
    return measured, {
        "road.gpx": gpx_text(there + there[-2::-1]),
        "demand.csv": "from,to,duration,water,coal\n0 km,9.99 km,3 h,999 kg,0 kg\n",
        "supply.csv": head + slow + "".join(rows),
    }


def test_two_passes_of_one_supply_share_its_amount(
    measured: Toml, write: Write, gpx_text: Gpx
) -> None:
    """400 aboard and 640 to be taken on 1000 kg of road, of which the tap gives 350 in all."""
    where = f"{55 + 2000 * METRE:.8f},-2"
    one = [f"Quick,tap,,{where},0 min,350 kg,500 kg/min\n"]
    shared = plan_of(write(*out_and_back(measured, gpx_text, one), name="one"))
    taken = {stop.name: stop.water_taken for stop in shared.stops if stop.row is not None}
    quick = taken["Quick (pass 1 of 2)"] + taken["Quick (pass 2 of 2)"]
    assert quick == pytest.approx(350, abs=0.01)
    total = 999 + 40 + 40 - 40 - 400
    assert taken["Slow"] == pytest.approx(total - 350, abs=0.01)
    two = [
        f"{name},tap,{at} km,,,0 min,350 kg,500 kg/min\n"
        for name, at in (("Out", 2.0), ("Home", 8.0))
    ]
    split = plan_of(write(*out_and_back(measured, gpx_text, two), name="two"))
    taken = {stop.name: stop.water_taken for stop in split.stops if stop.row is not None}
    assert taken["Out"] + taken["Home"] > 351
    # filled at 2 km, six more to 8 km: 600 less 400 is drawn at the turn, with the reserve
    assert taken["Slow"] == pytest.approx(600 - 400 + 40, abs=1)
    assert split.arrival < shared.arrival - 60


def test_a_replayed_plan_that_takes_the_amount_twice_is_refused(
    measured: Toml, write: Write, gpx_text: Gpx
) -> None:
    where = f"{55 + 2000 * METRE:.8f},-2"
    row = [f"Quick,tap,,{where},0 min,{{}} kg,500 kg/min\n"]
    rich = write(*out_and_back(measured, gpx_text, [row[0].format(700)]), name="rich")
    scenario = read_scenario(rich)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    poor = replace(
        scenario, supplies=(scenario.supplies[0], scenario.supplies[1].model_copy(
            update={"water_available": 350.0}
        )),
    )  # fmt: skip
    with pytest.raises(Exception, match=r"water to be had at Quick \(pass 2 of 2\)"):
        replay(poor, route, demand, plan)
