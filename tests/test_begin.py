"""A scenario begun from a track: it plans, and what is invented says so."""

import csv
import datetime as dt
import io
import math
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulplan.begin import Asked, Begun, begin
from haulplan.begin.along import named_apart, tells_of
from haulplan.begin.folder import MARK
from haulplan.demand import build_demand
from haulplan.errors import InputError
from haulplan.plan import make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.scenario.classes import engine_classes, fuels
from haulplan.scenario.quoting import toml_text
from haulplan.units import UNIT_SYSTEMS, parse

TODAY = dt.date(2026, 11, 28)  # a Saturday
CLUB = Path("/work/shared/data/gpx")

#: Invented roads [mi], heights [m] by distance: none too steep for an engine alone.
ROADS: dict[str, tuple[float, Callable[[float], float]]] = {
    "level": (10.0, lambda _: 50.0),
    "rolling": (14.0, lambda x: 100 + 30 * math.sin(2 * x)),
    "hilly": (9.0, lambda x: 200 + 60 * math.sin(3 * x)),
    "climb": (7.0, lambda x: 40 * x),
}
Gpx = Callable[..., str]


def table_of(road: str) -> str:
    length, height = ROADS[road]
    ats = [length * k / 100 for k in range(101)]
    return "distance [mi],elevation [m]\n" + "".join(f"{x:.3f},{height(x):.2f}\n" for x in ats)


def marked(text: str, *marks: tuple[float, float, str, str]) -> str:
    """A GPX text with waypoints: latitude, longitude, name and symbol, escaped already."""
    points = "".join(
        f'<wpt lat="{lat}" lon="{lon}"><ele>5</ele><name>{name}</name><sym>{sym}</sym></wpt>'
        for lat, lon, name, sym in marks
    )
    return text.replace("<trk>", f"{points}<trk>", 1)


def track(gpx_text: Gpx, miles: float = 12.0, heights: bool = True, name: str = "road") -> str:
    """A road due north, gently rolling."""
    step = 100.0 / 111_200
    count = round(miles * 16.09344)
    return gpx_text(
        [
            (51 + k * step, -1.0, 80 + 15 * math.sin(k / 12) if heights else None)
            for k in range(count + 1)
        ],
        name=name,
    )


def put(folder: Path, begun: Begun) -> Path:
    """The folder as it is written."""
    folder.mkdir()
    for name, content in begun.files.items():
        data = content if isinstance(content, bytes) else content.encode()
        (folder / name).write_bytes(data)
    return folder


def planned(folder: Path) -> None:
    """Read anew, planned by the command's own way and driven once more."""
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    replay(scenario, route, demand, make_plan(scenario, route, demand))


def rows_of(begun: Begun, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(str(begun.files[name]))))


# --- it plans -------------------------------------------------------------------------


@pytest.mark.parametrize("road", ROADS)
@pytest.mark.parametrize("engine", engine_classes())
def test_every_class_plans_on_every_road(engine: str, road: str, tmp_path: Path) -> None:
    path = tmp_path / "club.csv"
    path.write_text(table_of(road), "utf-8")
    begun = begin(Asked(track=path, engine=engine), today=TODAY)
    assert begun.refusal is None
    assert begun.plan is not None
    folder = put(tmp_path / "run", begun)
    if road == "rolling":
        planned(folder)
    else:  # its own plan, on what is read from the folder
        scenario = read_scenario(folder)
        route = build_route(scenario)
        replay(scenario, route, build_demand(scenario, route), begun.plan)
    sure_of_every_figure(begun, {"engine.kind"})
    assert {s.name for s in begun.wanted} <= {s.name for s in begun.scenario.supplies}


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    miles=st.floats(0.5, 25.0),
    rises=st.lists(st.floats(-0.04, 0.04), min_size=1, max_size=30),
    engine=st.sampled_from(sorted(engine_classes())),
)
def test_any_road_that_an_engine_climbs_plans(
    miles: float, rises: list[float], engine: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("any")
    step, height = miles / len(rises), 500.0
    text = f"distance [mi],elevation [m]\n0,{height}\n"
    for number, rise in enumerate(rises, start=1):
        height += rise * step * 1609.344
        text += f"{number * step:.4f},{height:.3f}\n"
    (folder / "any.csv").write_text(text, "utf-8")
    begun = begin(Asked(track=folder / "any.csv", engine=engine), today=TODAY)
    assert begun.refusal is None
    planned(put(folder / "run", begun))


def test_sixty_miles_are_answered_at_once(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    rows = [f"{k / 10},{100 + 40 * math.sin(k / 10):.2f}\n" for k in range(601)]
    path.write_text("distance [mi],elevation [m]\n" + "".join(rows), "utf-8")
    start = time.process_time()
    begun = begin(Asked(track=path, engine="road-locomotive"), today=TODAY)
    assert begun.plan is not None
    assert time.process_time() - start < 50  # ten times the target


@pytest.mark.skipif(not CLUB.is_dir(), reason="no recordings of others here")
@pytest.mark.parametrize("name", ["go-gpx__fells_loop.gpx", "gpx-animator__bikeride.gpx"])
def test_recordings_of_others_plan(name: str, tmp_path: Path) -> None:
    begun = begin(Asked(track=CLUB / name, engine="small-tractor"), today=TODAY)
    assert begun.plan is not None  # driven to its end
    assert read_scenario(put(tmp_path / "run", begun)).supplies == begun.scenario.supplies


def test_fewer_wanted_supplies_would_not_do(tmp_path: Path) -> None:
    path = tmp_path / "club.csv"
    path.write_text(table_of("rolling"), "utf-8")
    begun = begin(Asked(track=path, engine="farm-engine-65"), today=TODAY)
    assert len(begun.wanted) >= 2
    reach = {row.what: row for row in begun.open if row.what == "stores.tank"}[
        "stores.tank"
    ]  # how far a filling goes with the class's largest tank
    assert len(begun.wanted) >= math.ceil(begun.route.length / reach.high) - 1


def test_wanted_supplies_serve_nine_runs_in_ten(tmp_path: Path) -> None:
    path = tmp_path / "club.csv"
    path.write_text(table_of("rolling"), "utf-8")
    folder = put(tmp_path / "run", begin(Asked(track=path, engine="farm-engine-65"), today=TODAY))
    text = (folder / "scenario.toml").read_text("utf-8")
    (folder / "scenario.toml").write_text('pessimism = "90 %"\n' + text, "utf-8")
    planned(folder)


def test_coal_is_wanted_at_fewer_places_than_water(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_text("distance [mi],elevation [m]\n0,100\n15,120\n30,100\n", "utf-8")
    begun = begin(Asked(track=path, engine="general-purpose-8"), today=TODAY)
    coal = [s for s in begun.wanted if s.coal_available is not None]
    assert begun.plan is not None
    assert 0 < len(coal) < len(begun.wanted)
    # what the road takes must be carried or taken: no fewer fillings than that
    used = sum(leg.coal for leg in begun.plan.legs)
    stores = begun.scenario.file.stores
    assert len(coal) >= math.ceil(used / stores.bunker) - 1


# --- what is invented says so ---------------------------------------------------------


def sure_of_every_figure(begun: Begun, said: set[str]) -> None:
    """Each key says where it is from; what nobody said and no file holds is marked."""
    section = ""
    from_files = {"title", "route.file"} | (
        {"start", "finish"} if begun.files["scenario.toml"] and "route.csv" in begun.files
        and "name of the place" in str(begun.files["scenario.toml"]) else set()
    )  # fmt: skip
    keys: dict[str, str] = {}
    for line in (
        str(begun.files["scenario.toml"]).partition("# What else can be said")[0].split("\n")
    ):
        if line.startswith("["):
            section = line.strip("[]") + "."
        elif line and not line.startswith("#"):
            key, _, rest = line.partition(" = ")
            assert "  # " in rest, line
            keys[section + key] = rest.rpartition("  # ")[2]
    raw = tomllib.loads(str(begun.files["scenario.toml"]))
    assert flat(raw) == set(keys)
    for key, remark in keys.items():
        if key in said:
            assert remark == "you said so", key
        elif key not in from_files:
            assert remark.startswith(f"{MARK}: "), key
    for name in ("supply.csv",):
        for row in rows_of(begun, name) if name in begun.files else []:
            assert row["note"].startswith(f"{MARK}: ")
            assert row["permit"].startswith(f"{MARK}: ")


def flat(raw: dict[str, Any], before: str = "") -> set[str]:
    keys: set[str] = set()
    for key, value in raw.items():
        if isinstance(value, dict):
            keys |= flat(value, f"{before}{key}.")
        elif isinstance(value, list) and isinstance(value[0], dict):
            for item in value:
                keys |= flat(item, f"{before}{key}.")
        else:
            keys.add(before + key)
    return keys


def test_what_is_said_stands_there_as_said(tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"
    path.write_text(track(gpx_text), "utf-8")
    asked = Asked(
        track=path, only="road", engine="steam-wagon", engine_name="Copper Wren",
        train="3 long ton", tank="150 imp gal", bunker="5 long cwt", fuel="coke",
        surface="macadam", snap="200 m", longest_gap="1 km", date="2027-05-22", depart="07:30",
        units="imperial", title="To the fair", start="Yard", finish="Fair",
    )  # fmt: skip
    begun = begin(asked, today=TODAY)
    said = {
        "title", "start", "finish", "date", "depart", "units", "stores.tank", "stores.bunker",
        "route.track", "route.snap", "route.longest_gap", "route.surface", "engine.kind",
        "engine.name", "fuel.kind",
    }  # fmt: skip
    sure_of_every_figure(begun, said)
    file = begun.scenario.file
    assert (file.title, file.start, file.finish) == ("To the fair", "Yard", "Fair")
    assert file.stores.tank == parse("water", "150 imp gal")
    assert (file.date, file.depart) == (dt.date(2027, 5, 22), 7.5 * 3600)
    gross = sum(w.count * (w.tare + w.load) for w in file.train.wagons)
    assert gross == pytest.approx(parse("mass", "3 long ton"), rel=1e-3)
    assert not {"stores.tank", "stores.bunker", "train.wagons"} & {row.what for row in begun.open}


def test_a_date_nobody_said_is_the_saturday_to_come(tmp_path: Path) -> None:
    path = tmp_path / "club.csv"
    path.write_text(table_of("level"), "utf-8")
    for today in (TODAY, TODAY + dt.timedelta(days=1), TODAY + dt.timedelta(days=6)):
        begun = begin(Asked(track=path, engine="steam-wagon"), today=today)
        assert begun.scenario.file.date == dt.date(2026, 12, 5)


@pytest.mark.parametrize("engine", engine_classes())
def test_class_figures_behind_a_hash_are_those_in_use(engine: str, tmp_path: Path) -> None:
    """Taking the # away changes nothing."""
    path = tmp_path / "club.csv"
    path.write_text(table_of("level"), "utf-8")
    begun = begin(Asked(track=path, engine=engine), today=TODAY)
    folder = put(tmp_path / "run", begun)
    before, _, after = (folder / "scenario.toml").read_text("utf-8").partition("[engine]")
    body, mark, rest = after.partition("# What else")
    opened = "\n".join(
        line.removeprefix("# ")
        if " = " in line or line.strip() in ("# ]",) or "{" in line
        else line
        for line in body.split("\n")
    )
    (folder / "scenario.toml").write_text(before + "[engine]" + opened + mark + rest, "utf-8")
    again = read_scenario(folder)
    assert again.filled == {}
    assert again.file == begun.scenario.file


def test_open_figures_come_by_what_hangs_on_them(tmp_path: Path) -> None:
    path = tmp_path / "club.csv"
    path.write_text(table_of("rolling"), "utf-8")
    rows = begin(Asked(track=path, engine="road-locomotive"), today=TODAY).open
    spans = [row.high / row.low for row in rows]
    assert spans == sorted(spans, reverse=True)
    assert {"stores.tank", "train.wagons", "route.surface"} <= {row.what for row in rows}
    tank = next(row for row in rows if row.what == "stores.tank")
    low, _, high = (parse("water", t) for t in engine_classes()["road-locomotive"]["tank"])
    # a filling goes a little less far than its share: a full tank is hauled too
    assert high / low * 0.97 < tank.high / tank.low < high / low


def test_a_train_nobody_said_gives_way_to_a_hill(tmp_path: Path) -> None:
    path = tmp_path / "hill.csv"
    path.write_text("distance [km],elevation [m]\n0,0\n1,0\n1.5,60\n3,60\n", "utf-8")
    begun = begin(Asked(track=path, engine="general-purpose-6"), today=TODAY)
    assert begun.draft.lightened
    assert begun.plan is not None
    refused = begin(Asked(track=path, engine="general-purpose-6", train="20 long ton"), today=TODAY)
    assert refused.plan is None
    assert "hill at" in str(refused.refusal)
    assert read_scenario(put(tmp_path / "run", refused)).file.title == "hill"


# --- marks along the track ------------------------------------------------------------


def test_marks_become_supplies_and_landmarks(tmp_path: Path, gpx_text: Gpx) -> None:
    text = marked(
        track(gpx_text, 12.0),
        (51.05, -1.0, "Mill Lane", "Drinking Water"),
        (51.10, -1.0005, "Coal merchant", "Flag"),
        (51.12, -1.0, "Church", "Flag"),
        (51.13, -1.0, "No water here", "Flag"),
        (51.14, -1.2, "Far spring", "Flag"),
    )
    path = tmp_path / "club.gpx"
    path.write_text(text, "utf-8")
    begun = begin(Asked(track=path, engine="small-tractor"), today=TODAY)
    supplies = {s.name: s for s in begun.read}
    assert set(supplies) == {"Mill Lane", "Coal merchant"}
    assert supplies["Mill Lane"].coal_available is None
    assert supplies["Coal merchant"].water_available is None
    assert [row["name"] for row in rows_of(begun, "places.csv")] == ["Church", "No water here"]
    ((name, off),) = begun.left_out
    # 0.2° of the parallel at 51.14° north, N cos φ of the WGS 84 ellipsoid (NIMA TR8350.2)
    assert name == "Far spring"
    assert off == pytest.approx(13_997, rel=0.004)  # ours is of a sphere
    met = {p.name: p.distance for p in begun.route.passings}
    assert met["Mill Lane"] == pytest.approx(0.05 * 111_250, rel=0.002)
    planned(put(tmp_path / "run", begun))


def test_known_water_is_used_before_any_is_invented(tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"
    path.write_text(track(gpx_text, 24.0), "utf-8")
    asked = Asked(track=path, engine="small-tractor")
    bare = begin(asked, today=TODAY)
    assert len(bare.wanted) == 1
    path.write_text(marked(track(gpx_text, 24.0), (51.17, -1.0, "Tap", "")), "utf-8")
    assert begin(asked, today=TODAY).wanted == ()


def test_words_that_tell_of_water() -> None:
    assert tells_of(["Springs"]) == (True, False)
    assert tells_of(["Coal and water"]) == (True, True)
    assert tells_of(["Waterloo Street", "Flag"]) == (False, False)
    assert tells_of(["tap (locked)"]) == (False, False)


def test_names_are_made_different() -> None:
    names = named_apart(["a", "a", "a (2)", "a"])
    assert len(set(names)) == 4


HOSTILE = [
    'Say &quot;hi&quot; \\ &amp; &lt;script&gt;', "=HYPERLINK(1)", "a,b;c'", "#", "]]&gt; [engine]",
    "\N{PILE OF POO} \N{RIGHT-TO-LEFT OVERRIDE}x", "TO REPLACE: water near 7.5 mi", "n" * 900,
    "tap&#10;name = 1", "water", "water", "water (2)", "&#x7f;tap",
]  # fmt: skip


def test_hostile_names_of_places_pass_through(tmp_path: Path, gpx_text: Gpx) -> None:
    marks = [(51.01 + k / 100, -1.0, word, "") for k, word in enumerate(HOSTILE)]
    path = tmp_path / "club.gpx"
    path.write_text(marked(track(gpx_text, 16.0), *marks), "utf-8")
    begun = begin(Asked(track=path, engine="farm-engine-110"), today=TODAY)
    assert begun.plan is not None
    places = [*begun.scenario.supplies, *begun.scenario.places]
    assert len({place.name for place in places}) == len(places)
    assert all(place.name.isprintable() for place in places)
    assert len(begun.scenario.supplies) >= 5
    planned(put(tmp_path / "run", begun))


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_of_a_track_passes_through(name: str, tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"
    path.write_text(track(gpx_text, 2.0, name=name), "utf-8")
    begun = begin(Asked(track=path, engine="steam-wagon"), today=TODAY)
    assert begun.plan is not None
    assert begun.scenario.file.title == unescaped(name)[:80].strip()


def unescaped(name: str) -> str:
    """The words of a GPX name as they are shown: on one line, nothing that turns the writing."""
    text = ElementTree.fromstring(f"<a>{name}</a>").text or ""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


@given(st.text(max_size=60))
def test_toml_text_is_read_as_it_was(words: str) -> None:
    text = toml_text(words)
    assert "\n" not in text
    assert tomllib.loads(f"a = {text}  # b")["a"] == words


def test_half_a_surrogate_becomes_the_replacement_character() -> None:
    assert tomllib.loads(f"a = {toml_text(chr(0xD800))}")["a"] == "\N{REPLACEMENT CHARACTER}"


# --- roads of other kinds -------------------------------------------------------------


@pytest.mark.parametrize("filler", ["<ele>0</ele>", ""])
def test_a_track_without_heights_is_driven_level(
    filler: str, tmp_path: Path, gpx_text: Gpx
) -> None:
    path = tmp_path / "flat.gpx"
    path.write_text(
        track(gpx_text, heights=False).replace("></trkpt>", f">{filler}</trkpt>"), "utf-8"
    )
    begun = begin(Asked(track=path, engine="road-locomotive"), today=TODAY)
    assert begun.level
    assert begun.plan is not None
    (warning,) = [w for w in begun.route.warnings if "driven as a level road" in w]
    assert warning.startswith("heights.csv: one and the same height throughout")
    sure_of_every_figure(begun, {"engine.kind"})
    planned(put(tmp_path / "run", begun))


def test_a_way_typed_as_places(tmp_path: Path) -> None:
    path = tmp_path / "way.csv"
    path.write_text(
        "place,at [mi],height [ft],surface,water\n"
        '"Hobmere, the ""Bell""",0,210,,\nWimmick,3.5,,gravel,\n'
        "Brackle,6.2,260,,the ford\nBrackle,7,260,,\nPenniford,11,300,,\n",
        "utf-8",
    )
    begun = begin(Asked(way=path, engine="general-purpose-6", surface="setts"), today=TODAY)
    assert not begun.level
    file = begun.scenario.file
    assert (file.start, file.finish) == ('Hobmere, the "Bell"', "Penniford")
    assert [s.name for s in begun.read] == ["Brackle"]
    assert [p.name for p in begun.scenario.places] == ["Wimmick", "Brackle (2)"]
    assert begun.route.length == pytest.approx(11 * 1609.344, abs=0.1)
    foot, between = 0.3048, 210 + 50 * 3.5 / 6.2
    assert begun.route.height(3.5 * 1609.344) == pytest.approx(between * foot, abs=0.05)
    assert (begun.route.surface[0], begun.route.surface[-1]) == ("setts", "gravel")
    planned(put(tmp_path / "run", begun))


def test_a_way_without_heights_is_level(tmp_path: Path) -> None:
    path = tmp_path / "way.csv"
    path.write_text("place,at\nA,0 mi\nB,4 km\n", "utf-8")
    begun = begin(Asked(way=path, engine="steam-wagon", train="none"), today=TODAY)
    assert begun.level
    assert begun.scenario.file.train.wagons == ()


def test_a_record_of_the_past_is_a_way() -> None:
    record = Path(__file__).parents[1] / "scenarios" / "sallow-flat-1907" / "record.toml"
    begun = begin(Asked(way=record, engine="wood-burning-engine"), today=TODAY)
    assert begun.plan is not None
    assert begun.scenario.file.start == "Sallow Flat mine"
    assert fuels()["dry-wood"]["title"] == begun.scenario.file.fuel.name  # type: ignore[union-attr]


# --- what cannot be begun with --------------------------------------------------------


def complaint(asked: Asked) -> str:
    with pytest.raises(InputError) as caught:
        begin(asked, today=TODAY)
    return str(caught.value)


def test_all_that_is_wrong_with_what_was_said_is_told_at_once() -> None:
    told = complaint(
        Asked(engine="road-locmotive", tank="3 gallons", train="heavy", fuel="cole", units="si")
    )
    for words in (
        "--engine: 'road-locmotive' is not known; did you mean 'road-locomotive'?",
        "--fuel: 'cole' is not known; did you mean 'coke'?",
        "--tank: '3 gallons' is not allowed; a bare gallon is ambiguous",
        "--train: 'heavy' is not allowed", "--units: 'si' is not allowed; write us, imperial",
        "--track: no road",
    ):  # fmt: skip
        assert words in told


def test_what_the_schema_refuses_is_told_by_its_option(tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"
    path.write_text(track(gpx_text, 2.0), "utf-8")
    asked = Asked(track=path, engine="steam-wagon", date="soon", depart="noon", surface="cheese")
    told = complaint(replace(asked, bunker="90 t", tank="0 L", title="a\nb"))
    for option in ("--date", "--depart", "--surface", "--bunker", "--tank", "--title"):
        assert f"{option}: " in told
    assert "scenario.toml" not in told


def test_roads_that_are_none(tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"

    def told(text: str, **more: str) -> str:
        path.write_text(text, "utf-8")
        return complaint(Asked(track=path, engine="steam-wagon", **more))  # type: ignore[arg-type]

    road = track(gpx_text, 2.0)
    assert "club.gpx: fewer than two points" in told(gpx_text([]))
    marks = '<wpt lat="50.0" lon="9.0"><name>Well</name></wpt>'
    only_marks = f"<gpx xmlns='http://www.topografix.com/GPX/1/1' version='1.1'>{marks * 3}</gpx>"
    assert "club.gpx: 3 waypoints and no track" in told(only_marks)
    assert "club.gpx: the road is" in told(track(gpx_text, 0.05))
    assert "give a road of at least 656 ft" in told(track(gpx_text, 0.05))
    assert "club.gpx: not well-formed XML" in told("<gpx>")
    assert "club.gpx: root element 'kml'" in told("<kml/>")
    assert "club.gpx: length 0" in told(gpx_text([(51, 0, 3), (51, 0, 3)]))
    gap = gpx_text([(51, 0, 3), (51.1, 0, 4)], [(51.2, 0, 3), (51.3, 0, 4)])
    assert "name one track with --only, mend the file, or raise --longest-gap" in told(gap)
    assert "no track or route named 'x'" in told(road, only="x")
    assert "club.gpx, waypoint 1, lat" in told(marked(road, (99.0, 0.0, "a", "b")))
    assert "nowhere.gpx: " in complaint(Asked(track=tmp_path / "nowhere.gpx", engine="steam-wagon"))
    way = tmp_path / "way.csv"
    way.write_text("place,at\nA,1 mi\nB,4 km\n", "utf-8")
    assert "way.csv: 2 places, not from 0 onwards" in complaint(
        Asked(way=way, engine="steam-wagon")
    )
    assert "--track: two roads" in complaint(Asked(way=way, track=path, engine="steam-wagon"))
    table = tmp_path / "road.csv"
    table.write_text("distance,elevation\n0 km,1 m\n1 km,\n", "utf-8")
    assert "road.csv, columns elevation" in complaint(Asked(track=table, engine="steam-wagon"))


def test_a_loop_and_a_road_driven_twice(tmp_path: Path, gpx_text: Gpx) -> None:
    north = [(51 + k / 1000, -1.0, 50.0 + k % 7) for k in range(60)]
    path = tmp_path / "loop.gpx"
    path.write_text(marked(gpx_text([*north, *reversed(north)]), (51.03, -1.0, "Tap", "")), "utf-8")
    begun = begin(Asked(track=path, engine="farm-engine-110"), today=TODAY)
    assert [p.of for p in begun.route.passings if p.name == "Tap"] == [2, 2]
    planned(put(tmp_path / "run", begun))


def test_every_system_of_units_writes_what_it_reads(tmp_path: Path, gpx_text: Gpx) -> None:
    path = tmp_path / "club.gpx"
    path.write_text(track(gpx_text, 25.0), "utf-8")
    for units in UNIT_SYSTEMS:
        begun = begin(Asked(track=path, engine="four-inch-scale", units=units), today=TODAY)
        assert begun.scenario.file.stores.tank == pytest.approx(begun.draft.tank)
        assert begun.scenario.file.reserve.water == pytest.approx(0.15 * begun.draft.tank, rel=0.05)
        label = UNIT_SYSTEMS[units].water.label
        for row in rows_of(begun, "supply.csv"):
            assert row["water_available"].endswith(f" {label}")
            assert row["water_rate"].endswith(f" {label}/min")
