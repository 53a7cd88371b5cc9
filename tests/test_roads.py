"""Reading roads with their real-world dirt, heights, and what the engine may use."""

import gzip
import json
import math
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from roadworks import EAST, NORTH, roads_of, scenario_at

from haulplan.errors import InputError
from haulplan.roads.bans import Area, fact_bans, link_cautions, needs_of
from haulplan.roads.heights import ground_height, read_grids
from haulplan.roads.network import cut_links, ground_profile, steps
from haulplan.roads.osm import read_osm
from haulplan.roads.read import read_roads
from haulplan.roads.tags import read_facts, read_grade, read_length, read_mass, read_speed

# --- tags -----------------------------------------------------------------------------
# Meanings: OpenStreetMap wiki, pages Key:maxweight, Key:maxheight, Map features/Units,
# Key:incline, Key:oneway, Key:access (from memory). Values seen in extracts.


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("3.5 t", 3500), ("7.5", 7500), ("26", 26000), ("3,5", 3500), ("12 st", 10886.21688),
        ("20 lt", 20320.938176), ("6000 lbs", 2721.55422), ("7500 kg", 7500),
        ("3.5;7.5", 3500), ("none", math.inf), ("default", math.inf), ("unsigned", math.inf),
        ("below_default", None), ("3.5 t bus", None), ("", None), ("heavy", None), ("0", None),
        ("-3", None),
    ],
)  # fmt: skip
def test_posted_weights_are_read_as_people_write_them(text: str, kg: float | None) -> None:
    assert read_mass(text) == (kg if kg is None else pytest.approx(kg))


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("4.1", 4.1), ("4.1 m", 4.1), ("13'8\"", 4.1656), ("13'8", 4.1656), ("16'12\"", 5.1816),
        ("6\"4'", 1.3716), ("13 ft 8 in", 4.1656), ("410 cm", 4.1), ("14’", 4.2672),
        ("default", math.inf), ("none", math.inf), ("4,10", 4.1), ("low", None), ("3 4", None),
    ],
)  # fmt: skip
def test_posted_heights_are_read_as_people_write_them(text: str, metres: float | None) -> None:
    assert read_length(text) == (metres if metres is None else pytest.approx(metres))


@pytest.mark.parametrize(
    ("text", "grade"),
    [("10%", 0.1), ("-8 %", -0.08), ("1:12", 1 / 12), ("45°", 1.0), ("0", 0.0), ("7", None),
     ("steep", None)],
)  # fmt: skip
def test_posted_grades_are_read(text: str, grade: float | None) -> None:
    assert read_grade(text) == (grade if grade is None else pytest.approx(grade))


def test_up_and_down_say_no_figure() -> None:
    assert math.isnan(read_grade("up") or 0.0)
    assert math.isnan(read_grade("down") or 0.0)


@given(st.text(max_size=30))
def test_no_text_breaks_the_readers(text: str) -> None:
    for read in (read_mass, read_length, read_speed):
        found = read(text)
        assert found is None or found > 0
    read_grade(text)


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({"access": "private"}, True), ({"access": "no", "motor_vehicle": "yes"}, False),
        ({"access": "yes", "hgv": "no"}, True), ({"vehicle": "no"}, True), ({}, False),
        ({"access": "destination"}, False), ({"motorroad": "yes"}, True),
        ({"motor_vehicle": "agricultural;forestry"}, True),
    ],
)  # fmt: skip
def test_the_more_special_key_decides_access(tags: dict[str, str], expected: bool) -> None:
    facts = read_facts({"highway": "unclassified", **tags})
    assert facts is not None
    assert bool(facts.shut) is expected


@pytest.mark.parametrize(
    ("tags", "way"),
    [({"oneway": "yes"}, 1), ({"oneway": "-1"}, -1), ({"oneway": "no"}, 0),
     ({"junction": "roundabout"}, 1), ({"junction": "roundabout", "oneway": "no"}, 0), ({}, 0)],
)  # fmt: skip
def test_one_way_streets(tags: dict[str, str], way: int) -> None:
    facts = read_facts({"highway": "residential", **tags})
    assert facts is not None
    assert facts.oneway == way


def test_a_culvert_is_no_tunnel_and_a_footpath_no_road() -> None:
    culvert = read_facts({"highway": "service", "tunnel": "culvert"})
    assert culvert is not None
    assert not culvert.tunnel
    assert read_facts({"highway": "footway"}) is None
    assert read_facts({"building": "yes"}) is None


def test_an_unreadable_limit_is_never_taken_for_none() -> None:
    facts = read_facts({"highway": "service", "maxweight": "see sign"})
    assert facts is not None
    assert facts.unread == ("maxweight=see sign",)


# --- extracts -------------------------------------------------------------------------

OSM = """<?xml version="1.0"?><osm version="0.6">
<node id="1" lat="50.0" lon="11.0"/><node id="2" lat="50.01" lon="11.0"/>
<node id="3" lat="50.02" lon="11.0"><tag k="railway" v="level_crossing"/></node>
<node id="4" lat="50.03" lon="11.0"><tag k="barrier" v="bollard"/></node>
<node id="5" lat="50.04" lon="11.0"><tag k="highway" v="turning_circle"/></node>
<node id="6" lat="50.02" lon="11.01"><tag k="emergency" v="fire_hydrant"/></node>
<way id="10"><nd ref="1"/><nd ref="2"/><nd ref="3"/><nd ref="4"/><nd ref="5"/>
<tag k="highway" v="tertiary"/><tag k="name" v="Long Road"/><tag k="maxweight" v="12"/></way>
<way id="11"><nd ref="2"/><nd ref="99"/><nd ref="3"/><nd ref="6"/>
<tag k="highway" v="residential"/></way>
<way id="12"><nd ref="1"/><nd ref="6"/><tag k="highway" v="steps"/></way>
</osm>"""


@pytest.mark.parametrize("packed", [False, True])
def test_an_extract_is_read_with_what_stands_on_its_roads(tmp_path: Path, packed: bool) -> None:
    path = tmp_path / ("roads.osm.gz" if packed else "roads.osm")
    path.write_bytes(gzip.compress(OSM.encode()) if packed else OSM.encode())
    roads = read_roads(path)
    assert {road.name for road in roads.roads} == {"10", "11.0"}  # 99 is not in the extract
    assert roads.crossings == {"3"}
    assert roads.barriers == {"4": "bollard"}
    assert roads.turning == {"5"}
    assert [spring.kind for spring in roads.springs] == ["fire hydrant"]
    network = cut_links(roads)
    assert sum(link.facts.max_mass == 12000 for link in network.links) == 3  # cut at 3 and 4


def test_a_packed_binary_extract_reads_as_its_text(tmp_path: Path) -> None:
    osmium = pytest.importorskip("osmium")
    text = tmp_path / "roads.osm"
    text.write_text(OSM, encoding="utf-8")
    binary = tmp_path / "roads.osm.pbf"
    with osmium.SimpleWriter(str(binary)) as writer:
        for item in osmium.FileProcessor(str(text)):
            writer.add(item)
    one, other = read_osm(text), read_osm(binary)
    assert [(r.name, list(r.points), r.facts) for r in one.roads] == [
        (r.name, list(r.points), r.facts) for r in other.roads
    ]
    for name, position in one.points.items():
        assert other.points[name] == pytest.approx(position, nan_ok=True)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('<!DOCTYPE x [<!ENTITY a "b">]><osm>&a;</osm>', "document type or entities"),
        ("<gpx></gpx>", "root element 'gpx'"), ("<osm><node", "not well-formed"),
        ("<osm></osm>", "no roads"),
        ('<osm><node id="1" lat="950" lon="0"/></osm>', "no usable lat and lon"),
    ],
)  # fmt: skip
def test_a_bad_extract_is_refused(tmp_path: Path, text: str, complaint: str) -> None:
    path = tmp_path / "roads.osm"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=complaint):
        read_roads(path)


def test_a_truncated_archive_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "roads.osm.gz"
    path.write_bytes(gzip.compress(OSM.encode())[:200])
    with pytest.raises(InputError, match=r"not well-formed|ended before"):
        read_roads(path)


def test_an_unknown_form_is_refused(tmp_path: Path) -> None:
    (tmp_path / "roads.shp").write_text("x")
    with pytest.raises(InputError, match="not a network of roads"):
        read_roads(tmp_path / "roads.shp")


# --- tables and GeoJSON ---------------------------------------------------------------

NODES = "id,latitude,longitude,elevation [m],name\na,50,11,100,Ash\nb,50.01,11,110,\n"


def tables(
    folder: Path, nodes: str = NODES, roads: str = "id,from,to\nr,a,b\n", **more: str
) -> Path:
    for name, text in {"nodes": nodes, "roads": roads, **more}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def test_tables_are_read_with_their_geometry(tmp_path: Path) -> None:
    shape = "id,order,latitude,longitude,elevation\nr,2,50.008,11.001,108 m\nr,1,50.004,11,103 m\n"
    roads = read_roads(tables(tmp_path, geometry=shape))
    assert list(roads.roads[0].points) == ["a", "r#1", "r#2", "b"]
    assert roads.measured
    profile = ground_profile(cut_links(roads), ())
    assert profile.height[[0, -1]].tolist() == [100, 110]


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"roads": "id,from,to\nr,a,c\n"}, "roads.csv, row 2, column to: no node 'c'"),
        ({"roads": "id,from,to\nr,a,b\nr,b,a\n"}, "row 3, column id: 'r' stands in row 2 too"),
        ({"roads": "id,from,to,surface\nr,a,b,mud\n"}, "roads.csv, row 2, column surface"),
        ({"roads": "id,from\nr,a\n"}, "missing column to"),
        ({"nodes": NODES.replace("110", "")}, "row 3, column elevation: missing"),
        ({"nodes": NODES.replace("50.01", "95")}, "row 3, column latitude"),
        ({"geometry": "id,order,latitude,longitude\nx,1,50,11\n"}, "no road 'x'"),
        ({"roads": "id,from,to,max_mass\nr,a,b,12 ton\n"}, "max_mass"),
    ],
)  # fmt: skip
def test_a_fault_in_the_tables_names_its_place(
    tmp_path: Path, changes: dict[str, str], complaint: str
) -> None:
    with pytest.raises(InputError, match=complaint):
        read_roads(tables(tmp_path, **changes))


def line(*points: tuple[float, ...], **tags: object) -> dict[str, Any]:
    return {"type": "Feature", "properties": tags,
            "geometry": {"type": "LineString", "coordinates": points}}  # fmt: skip


def test_geojson_lines_that_share_a_position_meet_there(tmp_path: Path) -> None:
    path = tmp_path / "roads.geojson"
    features = [line((11, 50, 90), (11.01, 50, 95)), line((11.01, 50, 95), (11.01, 50.01, 99))]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    network = cut_links(read_roads(path))
    assert len(network.node_names) == 3
    assert network.measured


@pytest.mark.parametrize(
    ("document", "complaint"),
    [
        ({"type": "Feature"}, "no FeatureCollection"), ({"features": []}, "no lines"),
        ({"features": [line((11, 95), (11, 50))]}, "feature 1: position"),
        ({"features": [line((11, 50), (11, float("nan")))]}, "feature 1: position"),
        ({"features": [line((1, 5), (2, 5))], "crs": {"name": "EPSG:25832"}}, "WGS 84"),
    ],
)  # fmt: skip
def test_bad_geojson_is_refused(tmp_path: Path, document: object, complaint: str) -> None:
    path = tmp_path / "roads.geojson"
    path.write_text(json.dumps(document))
    with pytest.raises(InputError, match=complaint):
        read_roads(path)


# --- heights --------------------------------------------------------------------------
# SRTM layout: USGS, "SRTM Topography" (SRTM_Topo.txt), sec. 2.1: big-endian 16-bit metres,
# north row first, named after the south-west corner, void -32768 (from memory).


def tile(folder: Path, name: str, height: "np.ndarray[Any, Any]", *, pack: bool = False) -> None:
    data = height.astype(">i2").tobytes()
    if pack:
        with zipfile.ZipFile(folder / f"{name}.hgt.zip", "w") as archive:
            archive.writestr(f"{name}.hgt", data)
    else:
        (folder / f"{name}.hgt").write_bytes(data)


def sloping(south: float, west: float) -> "np.ndarray[Any, Any]":
    """1000 m a degree to the north and 500 to the east, shared edges alike."""
    rows = south + 1 - np.arange(1201) / 1200
    columns = west + np.arange(1201) / 1200
    return np.round(1000 * (rows[:, None] - 49) + 500 * (columns[None, :] - 11))


@pytest.fixture
def two_tiles(tmp_path: Path) -> Path:
    lower = sloping(49, 11)
    lower[600:620, 600:620] = -32768
    tile(tmp_path, "N49E011", lower)
    tile(tmp_path, "N50E011", sloping(50, 11), pack=True)
    return tmp_path


def test_a_tile_is_laid_out_as_published(two_tiles: Path) -> None:
    grids = read_grids(two_tiles)
    latitude, longitude = np.array([49.2, 49.9999, 50.0, 50.7]), np.array([11.5, 11.3, 11.3, 11.9])
    expected = 1000 * (latitude - 49) + 500 * (longitude - 11)
    assert ground_height(grids, latitude, longitude) == pytest.approx(expected, abs=1.0)


def test_the_seam_of_two_tiles_is_no_step(two_tiles: Path) -> None:
    latitude = np.linspace(49.995, 50.005, 101)
    height = ground_height(read_grids(two_tiles), latitude, np.full(101, 11.4))
    assert np.abs(np.diff(height)).max() < 1.1  # whole metres in the tiles


def test_a_void_and_the_outside_have_no_height(two_tiles: Path) -> None:
    grids = read_grids(two_tiles)
    height = ground_height(grids, np.array([49.49, 52.0]), np.array([11.51, 11.5]))
    assert np.isnan(height).all()


def test_esri_grids_are_read(tmp_path: Path) -> None:
    # the sample of Esri's "ASCII raster format" page in form, figures ours
    text = "ncols 3\nnrows 2\nxllcorner 11\nyllcorner 50\ncellsize 0.1\nNODATA_value -9999\n"
    (tmp_path / "g.asc").write_text(text + "1 2 3\n4 5 -9999\n")
    grids = read_grids(tmp_path / "g.asc")
    height = ground_height(grids, np.array([50.15, 50.05]), np.array([11.05, 11.15]))
    assert height == pytest.approx([1.0, 5.0])


@pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")  # rasterio's own
def test_geotiff_is_read(tmp_path: Path) -> None:
    rasterio = pytest.importorskip("rasterio")
    from rasterio.transform import from_origin

    cells = np.arange(12, dtype="float32").reshape(3, 4)
    with rasterio.open(
        tmp_path / "g.tif", "w", driver="GTiff", width=4, height=3, count=1, dtype="float32",
        crs="EPSG:4326", transform=from_origin(11, 51, 0.1, 0.1), nodata=11,
    ) as file:  # fmt: skip
        file.write(cells, 1)
    grids = read_grids(tmp_path)
    height = ground_height(grids, np.array([50.95, 50.75]), np.array([11.05, 11.35]))
    assert height[0] == 0.0
    assert np.isnan(height[1])


@pytest.mark.parametrize(
    ("name", "data", "complaint"),
    [
        ("N49E011.hgt", b"x" * 10, "10 bytes"), ("here.hgt", b"x", "no corner in its name"),
        ("N49E011.hgt.zip", b"x", "not a zip archive"), ("a.asc", b"1 2 3", "no header"),
        ("a.asc", b"ncols 2\nnrows 2\nxllcorner 1\nyllcorner 1\ncellsize 1\n1 2 3", "3 heights"),
    ],
)  # fmt: skip
def test_a_bad_grid_is_refused(tmp_path: Path, name: str, data: bytes, complaint: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError, match=complaint):
        read_grids(tmp_path)


def test_an_empty_folder_of_heights_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no heights there"):
        read_grids(tmp_path)


def ravine(folder: Path, **facts: object) -> "np.ndarray[Any, Any]":
    """Heights along a level road north over a ravine 60 m deep and 300 m wide."""
    rows = 51 - np.arange(1201) / 1200
    depth = np.where(np.abs(rows - 50.5) * 111_300 < 150, 140.0, 200.0)
    tile(folder, "N50E011", np.repeat(depth[:, None], 1201, axis=1))
    far, near = 3000.0, 250.0
    roads = roads_of(
        {n: (40_000, 55_650 + y, 0) for n, y in
         (("S", -far), ("a", -near), ("b", near), ("N", far))},
        [("S", "a"), ("a", "b", facts), ("b", "N")],
    )  # fmt: skip
    from dataclasses import replace

    network = cut_links(replace(roads, measured=False))
    return ground_profile(network, read_grids(folder)).height


def test_a_deck_is_not_the_ground(tmp_path: Path) -> None:
    assert np.ptp(ravine(tmp_path, bridge=True)) < 0.5
    assert np.ptp(ravine(tmp_path, tunnel=True)) < 0.5
    assert np.ptp(ravine(tmp_path)) > 40.0


def test_a_recording_knows_the_deck(tmp_path: Path) -> None:
    rows = [f"{50 + (55_650 + y) * NORTH:.7f},{11 + 40_000 * EAST:.7f},{205 + y / 50}"
            for y in range(-3000, 3001, 15)]  # fmt: skip
    text = "latitude,longitude,elevation [m]\n" + "\n".join(rows)
    (tmp_path / "levels.csv").write_text(text, encoding="utf-8")
    height = ravine(tmp_path, bridge=True)
    assert np.diff(height[20:-20]).min() > -0.05  # an even rise of 1 in 50, over the ravine too
    assert height.max() - height.min() == pytest.approx(120, abs=8)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [("latitude,longitude\n50,11\n", "missing column elevation"),
     ("latitude,longitude,elevation\n50,11,100 m\n", "fewer than two points"),
     ("latitude,longitude,elevation\n50,11,100\n", "elevation")],
)  # fmt: skip
def test_a_bad_table_of_heights_is_refused(tmp_path: Path, text: str, complaint: str) -> None:
    (tmp_path / "levels.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=complaint):
        read_grids(tmp_path)


def test_heights_are_taken_from_a_gpx_recording(
    tmp_path: Path, gpx_text: Callable[..., str]
) -> None:
    points = [(50 + k * 10 * NORTH, 11.0, 100.0 + k) for k in range(50)]
    (tmp_path / "driven.gpx").write_text(gpx_text(points), encoding="utf-8")
    grids = read_grids(tmp_path)
    height = ground_height(grids, np.array([50 + 200 * NORTH, 50.3]), np.array([11.0, 11.0]))
    assert height[0] == pytest.approx(120, abs=0.6)
    assert np.isnan(height[1])


def test_smoothing_keeps_an_even_hill(tmp_path: Path) -> None:
    from dataclasses import replace

    tile(
        tmp_path,
        "N50E011",
        np.round(6000 * (51 - np.arange(1201)[:, None] / 1200 - 50) + np.zeros(1201)),
    )
    roads = roads_of({"S": (10_000, 5_000, 0), "N": (10_000, 15_000, 0)}, [("S", "N")])
    network = cut_links(replace(roads, measured=False))
    profile = ground_profile(network, read_grids(tmp_path))
    inner = (profile.distance > 500) & (profile.distance < 9500)
    height, distance = profile.height[inner], profile.distance[inner]
    grade = (height[8:] - height[:-8]) / (distance[8:] - distance[:-8])  # over 200 m
    assert grade == pytest.approx(6000 / 111_250, rel=0.03)


def test_steps_agree_with_the_geodesic() -> None:
    from geopy.distance import geodesic  # Karney's algorithm, carried by geopy

    rng = np.random.default_rng(4)
    for _ in range(50):
        lat, lon = rng.uniform(-65, 65), rng.uniform(-179, 179)
        points = np.array(
            [[lat, lon], [lat + rng.uniform(-0.02, 0.02), lon + rng.uniform(-0.02, 0.02)]]
        )
        ours = steps(points[:, 0], points[:, 1])[0]
        assert ours == pytest.approx(geodesic(*points.tolist()).m, rel=1e-6)


# --- what the engine may use ----------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "reason"),
    [
        ({"max_mass": 15_000.0}, "posted weight 15.00 t, ours 20.07 t"),
        ({"max_axle": 6_000.0}, "posted axle weight"), ({"max_height": 3.0}, "posted height"),
        ({"max_width": 2.0}, "posted width"), ({"surface": "sand"}, "surface: sand"),
        ({"ford": True}, "a ford of unknown depth"), ({"shut": "private"}, "private"),
        ({"unread": ("maxweight=?",)}, "cannot be read: maxweight=?"),
    ],
)  # fmt: skip
def test_each_banned_road_says_why(tmp_path: Path, facts: dict[str, Any], reason: str) -> None:
    outline = {"height": "3.4 m", "width": "2.5 m", "heaviest_axle": "9 t", "avoid": ["sand"]}
    needs = needs_of(scenario_at(tmp_path, outline=outline))
    network = cut_links(roads_of({"A": (0, 0, 0), "Z": (900, 0, 0)}, [("A", "Z", facts)]))
    bans = fact_bans(network, needs)
    assert {ban.edge for ban in bans} == {0, 1}
    assert all(reason in ban.reason for ban in bans)
    assert (
        fact_bans(cut_links(roads_of({"A": (0, 0, 0), "Z": (9, 0, 0)}, [("A", "Z")])), needs) == []
    )


def test_metal_tyres_on_planks_defer_to_the_road_authority(tmp_path: Path) -> None:
    scenario = scenario_at(tmp_path, engine={"tyre": "steel"})
    roads = roads_of(
        {"A": (0, 0, 0), "Z": (900, 0, 0)}, [("A", "Z", {"bridge": True, "planking": True})]
    )
    network = cut_links(roads)
    assert fact_bans(network, needs_of(scenario)) == []
    said = link_cautions(network.links[0], needs_of(scenario))
    assert any("planked" in words and "road authority" in words for words in said)
    rubber = link_cautions(network.links[0], needs_of(scenario_at(tmp_path)))
    assert not any("planked" in words for words in rubber)


def test_an_area_holds_what_is_inside_its_ring_and_not_in_its_hole() -> None:
    def ring(half: float) -> "np.ndarray[Any, Any]":
        corners = [(-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)]
        return np.array([(11 + x * EAST, 50 + y * NORTH) for x, y in corners])

    area = Area(name="park", rings=(ring(1000.0), ring(300.0)))
    latitude = 50 + np.array([0.0, 500.0, 1500.0]) * NORTH
    assert area.holds(latitude, np.full(3, 11.0)).tolist() == [False, True, False]
