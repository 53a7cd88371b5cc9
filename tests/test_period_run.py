"""The likely run: a typed itinerary made a road, stages that the planner solves."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.period import Reconstruction, reconstruct
from haulplan.period.cases import published_records
from haulplan.period.defaults import check_record
from haulplan.period.record import read_record
from haulplan.period.run import Variant, plan_run, run_files
from haulplan.period.way import Spot, Way, cut_way, places_csv, reversed_way, rolling_road
from haulplan.plan import make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

MILE = 1609.344
WAY = Way(
    spots=(
        Spot(name="Alder Bridge", at=0.0, height=50.0, surface="macadam"),
        Spot(name="Bell Inn", at=7 * MILE, height=110.0, surface="gravel", water="pond"),
        Spot(name="Cold Ash", at=12 * MILE, height=80.0, surface="macadam"),
    ),
    rise=0.01,
    hill=0.04,
)

RECORD = """
title = "Flour to Cold Ash"
source = "invented"
year = 1896
country = "uk"
[engine]
kind = "road-locomotive-steel"
[train]
load = "9 tons"
load_is = "useful"
[way]
distance = "12 miles"
distance_is = "one way"
back = "empty"
[use]
coal = "9 cwt"
coal_was = "burnt"
[cost]
wages_per_day = "18s"
coal_price = "16s"
coal_price_per = "1 long ton"
crew = 4
[[itinerary]]
place = "Alder Bridge"
at = "0 mi"
height = "160 ft"
surface = "macadam"
[[itinerary]]
place = "Bell Inn"
at = "7 mi"
height = "360 ft"
surface = "macadam"
water = "pond, bucket pump"
[[itinerary]]
place = "Cold Ash"
at = "12 mi"
height = "260 ft"
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Reconstruction:
    path = tmp_path_factory.mktemp("record") / "record.toml"
    path.write_text(RECORD, encoding="utf-8")
    return reconstruct(read_record(path, check=check_record), count=4000, seed=1)


def climb(rows: list[tuple[float, float, str]]) -> float:
    return float(np.maximum(np.diff([height for _, height, _ in rows]), 0.0).sum())


def test_a_typed_road_keeps_its_places_heights_and_surfaces() -> None:
    rows = rolling_road(WAY)
    by_distance = {round(at): (height, surface) for at, height, surface in rows}
    for spot in WAY.spots:
        assert by_distance[round(spot.at)][0] == pytest.approx(spot.height)
    assert by_distance[round(7 * MILE)][1] == "gravel"
    assert [at for at, _, _ in rows] == sorted({at for at, _, _ in rows})


@given(st.floats(0.0, 0.015), st.floats(0.02, 0.08))
def test_a_typed_road_climbs_what_it_shall(rise: float, hill: float) -> None:
    flat = Way(
        spots=(
            Spot(name="A", at=0.0, height=0.0, surface="macadam"),
            Spot(name="B", at=20_000.0, height=0.0, surface="macadam"),
        ),
        rise=rise,
        hill=max(hill, 2.1 * rise),
    )
    assert climb(rolling_road(flat)) == pytest.approx(rise * 20_000.0, rel=0.01, abs=1.0)


def test_turning_a_way_round_twice_gives_it_back() -> None:
    twice = reversed_way(reversed_way(WAY))
    assert [s.name for s in twice.spots] == [s.name for s in WAY.spots]
    assert [s.at for s in twice.spots] == pytest.approx([s.at for s in WAY.spots])
    assert [s.surface for s in twice.spots[:-1]] == [s.surface for s in WAY.spots[:-1]]


def test_a_way_cut_between_places_gets_a_night_halt() -> None:
    part = cut_way(WAY, 3 * MILE, 9 * MILE)
    assert [s.name for s in part.spots] == [
        "night halt at mile 3", "Bell Inn", "night halt at mile 9"
    ]  # fmt: skip
    assert part.spots[0].at == 0.0
    assert part.length == pytest.approx(6 * MILE)
    assert part.spots[0].height == pytest.approx(50 + 60 * 3 / 7)


def test_places_met_twice_keep_names_apart() -> None:
    spots = (*WAY.spots, Spot(name="Bell Inn", at=15 * MILE, height=110.0, surface="macadam"))
    text = places_csv(Way(spots=spots, rise=0.0, hill=0.04))
    assert "Bell Inn (2)" in text


def test_the_run_has_a_plan_for_each_stage(found: Reconstruction) -> None:
    as_likely = found.variants[0]
    assert [v.name for v in found.variants] == ["as likely", "a wet week", "poor fuel"]
    assert as_likely.solved
    assert as_likely.stages[0].names == ("Alder Bridge", "Cold Ash")
    assert as_likely.stages[-1].back
    assert as_likely.stages[-1].names[1] == "Alder Bridge"


def test_a_wet_week_and_poor_fuel_cost_more(found: Reconstruction) -> None:
    def coal_for_the_load(variant: Variant) -> float:
        return variant.coal / variant.share

    likely, wet, poor = found.variants
    assert coal_for_the_load(wet) > likely.coal
    assert poor.coal > likely.coal
    assert wet.days >= likely.days
    assert likely.crew_days == 4 * likely.days


def test_every_window_of_water_holds_a_way_to_fill(found: Reconstruction) -> None:
    for stage in found.variants[0].stages:
        for window in stage.windows:
            assert 0.0 < window.begin < window.end < stage.end - stage.begin


def test_the_files_are_scenarios_the_planner_solves(found: Reconstruction, tmp_path: Path) -> None:
    folders = run_files(found.variants)
    assert folders
    for name, files in folders.items():
        folder = tmp_path / name
        folder.mkdir()
        for file, text in files.items():
            (folder / file).write_text(text, encoding="utf-8")
        scenario = read_scenario(folder)
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        plan = make_plan(scenario, route, demand)
        replay(scenario, route, demand, plan)
        assert scenario.file.aim.first == "fewest stops"


def test_no_run_is_told(tmp_path: Path) -> None:
    assert tmp_path.exists()
    with pytest.raises(NoPlanError, match="no likely run"):
        run_files(())


def test_a_long_way_takes_several_days() -> None:
    found = reconstruct(published_records()["H7"], count=3000, seed=1, planned=False)
    assert found.likely is not None
    stages = plan_run("as likely", found.likely).stages
    assert len(stages) >= 2
    assert [s.day for s in stages] == list(range(1, len(stages) + 1))
    assert [s.begin for s in stages[1:]] == pytest.approx([s.end for s in stages[:-1]])
    assert stages[0].names[1] == stages[1].names[0]


def test_the_three_states_of_the_road_rise_in_thirst(found: Reconstruction) -> None:
    dry, wet, mud = found.states
    assert (dry.name, wet.name, mud.name) == ("dry", "wet", "mud")
    assert dry.water.after[1] < wet.water.after[1] < mud.water.after[1]
    assert dry.refused <= wet.refused <= mud.refused


def test_every_assumption_has_a_status_and_a_source(found: Reconstruction) -> None:
    statuses = {item.status for item in found.items}
    assert statuses == {"stated", "derived", "class default", "guess"}
    assert all(item.source for item in found.items)
    names = {item.name for item in found.items}
    assert {"use.coal", "Climb, where the record gives none", "condensation"} <= names
