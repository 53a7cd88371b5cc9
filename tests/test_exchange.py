"""The plan's JSON document: what its schema says, and what a reader gets back."""

import datetime as dt
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulplan.demand.defaults import Assumption
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.exchange import plan_document, plan_json, plan_schema
from haulplan.plan.plan import Crest, Crossing, Day, Leg, Plan, Stop
from haulplan.route.build import Line, Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Store

SCENARIO = """
title = "Prüfstück: 水 & <b>coal</b>"
start = "Ashcombe"
finish = "Wrenfold"
date = 2031-06-14
depart = "22:30"
stores = { tank = "1200 L", bunker = "500 kg" }
at_start = { water = "full", coal = "full" }
at_finish = { water = "200 L", coal = "50 kg" }
reserve = { water = "150 L", coal = "50 kg" }
route = { file = "road.csv" }
train = { dry_weight = "15 t" }
"""
SUPPLY = """\
name,at,kind,water_available,water_rate,water_price,coal_available,coal_rate,call_out,opens,closes,contact,last_confirmed
Mill pond,4 km,stream,unlimited,100 L/min,0.004 USD/L,,,,,,,
Depot,9 km,yard,500 kg,50 kg/min,,2 t,30 kg/min,40 USD,06:00,24:00,ring first,2031-05-01
"""


@dataclass(frozen=True, kw_only=True)
class Case:
    scenario: Scenario
    route: Route
    plan: Plan

    def document(self) -> dict[str, Any]:
        """What a reader gets back from the text."""
        text = plan_json(self.scenario, self.route, self.plan)
        document: dict[str, Any] = json.loads(text, parse_constant=pytest.fail)
        return document


def make_stop(**changes: Any) -> Stop:  # noqa: ANN401  any field
    base = Stop(
        kind="supply", name="Mill pond", number=1, row=0, distance=4000.0, arrive=85800.0,
        depart=87000.25, wait=0.0, tank_arrive=400.0, tank_depart=1190.0, bunker_arrive=450.0,
        bunker_depart=445.0, water_taken=800.0, coal_taken=0.0, water_standing=10.0,
        coal_standing=5.0, money=3.2032032032032034,
    )  # fmt: skip
    return replace(base, **changes)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("scenario")
    return make_case(folder)


def make_case(folder: Path) -> Case:
    (folder / "scenario.toml").write_text(SCENARIO, encoding="utf-8")
    (folder / "supply.csv").write_text(SUPPLY, encoding="utf-8")
    (folder / "bridges.csv").write_text("name,at,limit\nIron trough,6 km,20 t\n")
    (folder / "road.csv").write_text("distance [km],elevation [m]\n0,100\n5,160\n12,130\n")
    (folder / "demand.csv").write_text("from,to,duration,water,coal\n0 km,12 km,3 h,2 t,200 kg\n")
    scenario = read_scenario(folder)
    still: dict[str, Any] = {"water_taken": 0.0, "water_standing": 0.0, "coal_standing": 0.0}
    stops = (
        make_stop(
            kind="start", name="Ashcombe", number=0, row=None, distance=0.0, arrive=81000.0,
            depart=81000.0, tank_arrive=1198.8, tank_depart=1198.8, money=0.0, **still,
        ),
        make_stop(),
        make_stop(
            kind="finish", name="Wrenfold", number=2, row=None, distance=12000.0, arrive=93000.0,
            depart=93000.0, tank_arrive=210.0, tank_depart=210.0, money=0.0, **still,
        ),
    )  # fmt: skip
    legs = tuple(
        Leg(
            begin=i, end=i + 1, distance=stops[i].distance, length=length, climb=50.0, descent=0.0,
            duration=5000.0, water=790.0, coal=90.0, gears={"low": length},
        )
        for i, length in enumerate((4000.0, 8000.0))
    )  # fmt: skip
    crossing = Crossing(
        name="Iron trough", row=0, distance=6000.0, clock=88000.0, gross=16500.0, limit=20000.0
    )
    plan = Plan(
        title=scenario.file.title, date=scenario.file.date, aim="earliest", objective=12000.0,
        bound=12000.0, gap=0.0, proven=True, stops=stops, legs=legs, crossings=(crossing,),
        choices=(0,), dry_weight=15000.0, lighting_up_coal=None, warnings=("look twice",),
        assumptions=(Assumption(name="use", value="demand.csv", source="the scenario"),),
        versions={"solver": "1.0", "haulplan": "0.1"},
        reserve_water=120.0, reserve_coal=25.0,
    )  # fmt: skip
    return Case(scenario=scenario, route=build_route(scenario), plan=plan)


def check(document: object) -> None:
    schema = plan_schema()
    jsonschema.Draft202012Validator(schema).validate(document)


def nodes(schema: object, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema inside the schema, with its place."""
    if isinstance(schema, dict):
        yield path, schema
        for key, value in schema.items():
            yield from nodes(value, f"{path}/{key}")


def properties() -> dict[str, dict[str, Any]]:
    return {
        f"{path}/{name}": field
        for path, node in nodes(plan_schema())
        if "additionalProperties" in node
        for name, field in node.get("properties", {}).items()
    }


# --- the schema ------------------------------------------------------------------------


def test_the_schema_is_a_valid_draft_2020_12_schema() -> None:
    schema = plan_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


def test_every_field_is_described() -> None:
    assert len(properties()) > 80
    bare = [place for place, field in properties().items() if len(field["description"]) < 8]
    assert bare == []


def test_every_number_ends_its_description_with_its_unit() -> None:
    units = ("[m]", "[kg]", "[s]", "[°]", "[-]", "[currency]", "[currency/kg]", "[kg/s]", "[unit]")
    numeric = {
        place: field
        for place, field in properties().items()
        if {"number", "integer"} & set(np.atleast_1d(field.get("type", "")).tolist())
    }
    assert len(numeric) > 40
    assert [p for p, field in numeric.items() if not field["description"].endswith(units)] == []


@pytest.mark.parametrize(
    ("ending", "unit"),
    [("_m", "[m]"), ("_s", "[s]"), ("_deg", "[°]"), ("_kg_per_s", "[kg/s]")],
)
def test_the_ending_of_a_name_agrees_with_its_unit(ending: str, unit: str) -> None:
    fields = {p: f for p, f in properties().items() if p.endswith(ending)}
    if ending == "_s":
        fields = {p: f for p, f in fields.items() if not p.endswith("_per_s")}
    assert fields
    assert {p for p, f in fields.items() if not f["description"].endswith(unit)} == set()


def test_no_object_takes_or_lacks_fields_unnoticed() -> None:
    for path, node in nodes(plan_schema()):
        if "properties" in node and "type" in node:
            assert node["additionalProperties"] is False, path
            assert node["required"] == list(node["properties"]), path


# --- the document ----------------------------------------------------------------------


def test_a_document_is_what_the_schema_describes(case: Case) -> None:
    check(case.document())


@pytest.mark.parametrize(
    ("field", "value"), [("stops", []), ("date", "14 June"), ("surprise", 1), ("currency", "usd")]
)
def test_the_schema_refuses_a_wrong_document(case: Case, field: str, value: object) -> None:
    with pytest.raises(jsonschema.ValidationError):
        check({**case.document(), field: value})


def test_a_stop_carries_its_levels_clock_and_supply(case: Case) -> None:
    assert case.document()["stops"][1] == {
        "kind": "supply", "name": "Mill pond", "number": 1, "day": 1, "distance_m": 4000.0,
        "latitude_deg": None, "longitude_deg": None,
        "arrive": "2031-06-14T23:50:00", "arrive_s": 85800.0,
        "leave": "2031-06-15T00:10:00", "leave_s": 87000.25, "wait_s": 0.0,
        "off_road": None, "night": None, "meals": [], "duties": [], "uncoupled": False,
        "tank_on_arrival_kg": 400.0, "water_taken_kg": 800.0, "water_used_standing_kg": 10.0,
        "blown_down_kg": 0.0, "run_off_kg": 0.0,
        "tank_on_leaving_kg": 1190.0, "bunker_on_arrival_kg": 450.0, "coal_taken_kg": 0.0,
        "coal_used_standing_kg": 5.0, "bunker_on_leaving_kg": 445.0,
        "cart_on_arrival_kg": 0.0, "cart_filled_kg": 0.0, "cart_emptied_kg": 0.0,
        "cart_on_leaving_kg": 0.0, "boiler_extra_on_arrival_kg": 0.0,
        "boiler_extra_on_leaving_kg": 0.0, "money": 3.203203, "truck": None,
        "supply": {
            "name": "Mill pond", "kind": "stream",
            # 100 L/min at 0.999 kg/L; 0.004 USD/L over 0.999 kg/L
            "water": {
                "available_kg": None, "rate_kg_per_s": 1.665, "price_per_kg": 0.004004004004,
            },
            "coal": None, "call_out": 0.0, "set_up_s": 0.0, "opens_s": 0.0, "closes_s": 86400.0,
            "side": None, "contact": None, "permit": None, "last_confirmed": None, "note": None,
        },
    }  # fmt: skip


def test_a_night_halt_with_a_truck_is_carried_over(case: Case) -> None:
    truck = Store.model_validate(
        {"name": "Tender", "kind": "truck", "water": "900 L", "water_rate": "40 L/min"}
    )
    halt = make_stop(
        kind="halt", row=0, truck=0, stay=600.0, depart=130000.0, access_time=120.0,
        access_water=4.0, access_coal=1.0, fire="dropped", night_water=30.0, night_coal=2.0,
        meals=("supper",), duties=("ash",), uncoupled=False, cart_arrive=9.0, boiler_depart=5.0,
        drained=7.0, day=1,
    )  # fmt: skip
    plan = replace(
        case.plan,
        stops=(case.plan.stops[0], halt, case.plan.stops[2]),
        days=(
            Day(date=case.plan.date, lit=-1800.0, depart=81000.0, arrive=85800.0, earliest=0.0,
                latest=86400.0),
        ),
        crests=(Crest(distance=5000.0, needed=30.0, carried=31.5),),
    )  # fmt: skip
    scenario = replace(case.scenario, stores=(truck,))
    document = replace(case, plan=plan, scenario=scenario).document()
    check(document)
    stop = document["stops"][1]
    assert (stop["kind"], stop["number"], stop["truck"], stop["supply"]) == (
        "halt", 1, "Tender", None,
    )  # fmt: skip
    assert stop["off_road"] == {"duration_s": 120.0, "water_kg": 4.0, "coal_kg": 1.0}
    assert stop["night"] == {
        "fire": "dropped", "duration_s": 130000.0 - 85800 - 600 - 120, "water_kg": 30.0,
        "coal_kg": 2.0,
    }  # fmt: skip
    assert (stop["meals"], stop["duties"], stop["run_off_kg"]) == (["supper"], ["ash"], 7.0)
    assert document["days"][0]["fire_lit"] == "2031-06-13T23:30:00"
    assert document["days"][0]["fire_lit_s"] == -1800.0
    assert document["crests"] == [
        {"distance_m": 5000.0, "boiler_extra_needed_kg": 30.0, "boiler_extra_carried_kg": 31.5}
    ]


def test_legs_and_crossings_are_in_driving_order_and_si(case: Case) -> None:
    document = case.document()
    assert document["legs"][1] == {
        "begin": 1, "end": 2, "distance_m": 4000.0, "length_m": 8000.0, "climb_m": 50.0,
        "descent_m": 0.0, "duration_s": 5000.0, "water_kg": 790.0, "coal_kg": 90.0,
        "gears": [{"name": "low", "distance_m": 8000.0}],
    }  # fmt: skip
    assert document["crossings"] == [
        {
            "name": "Iron trough", "distance_m": 6000.0, "clock": "2031-06-15T00:26:40",
            "clock_s": 88000.0, "posted_limit_kg": 20000.0, "limited": "gross",
            "our_figure_kg": 16500.0, "uncoupled": False,
            "last_confirmed": None, "note": None,
        }
    ]  # fmt: skip


def test_the_document_names_itself_its_aim_and_its_grounds(case: Case) -> None:
    document = case.document()
    assert document["schema"] == {"name": "haulplan-plan", "version": 2}
    assert document["objective"] == {
        "value": 12000.0, "unit": "s", "bound": 12000.0, "gap": 0.0, "proven": True,
    }  # fmt: skip
    assert document["finish"] == {
        "name": "Wrenfold", "clock": "2031-06-15T01:50:00", "clock_s": 93000.0,
    }  # fmt: skip
    assert document["cautions"] == list(CAUTIONS)
    assert document["assumptions"] == [
        {"name": "use", "value": "demand.csv", "source": "the scenario"}
    ]
    assert document["warnings"] == ["look twice"]
    assert list(document["versions"]) == ["haulplan", "solver"]
    assert document["lighting_up_coal_kg"] is None
    assert document["reserve"] == {"water_kg": 120.0, "coal_kg": 25.0}


@pytest.mark.parametrize(
    ("aim", "unit"), [("cheapest", "USD"), ("fewest stops", "stops"), ("weighted", "points")]
)
def test_the_objective_tells_the_unit_of_its_aim(case: Case, aim: str, unit: str) -> None:
    plan = replace(case.plan, aim=aim)
    assert plan_document(case.scenario, case.route, plan)["objective"]["unit"] == unit


def test_a_supply_with_all_its_columns_is_carried_over(case: Case) -> None:
    stops = (case.plan.stops[0], make_stop(name="Depot", row=1), case.plan.stops[2])
    document = replace(case, plan=replace(case.plan, stops=stops)).document()
    check(document)
    supply = document["stops"][1]["supply"]
    assert supply["water"]["available_kg"] == 500.0
    assert supply["coal"] == {"available_kg": 2000.0, "rate_kg_per_s": 0.5, "price_per_kg": 0.0}
    assert supply["call_out"] == 40.0
    assert (supply["opens_s"], supply["closes_s"]) == (21600.0, 86400.0)
    assert (supply["contact"], supply["last_confirmed"]) == ("ring first", "2031-05-01")


def test_stops_on_a_drawn_road_have_a_position(case: Case) -> None:
    line = Line(
        latitude=np.array([50.0, 50.12]),
        longitude=np.array([10.0, 10.06]),
        distance=np.array([0.0, 12000.0]),
    )
    document = replace(case, route=replace(case.route, line=line)).document()
    check(document)
    assert document["road"]["is_drawn"] is True
    assert document["stops"][1]["latitude_deg"] == pytest.approx(50.04)
    assert document["stops"][1]["longitude_deg"] == pytest.approx(10.02)


def test_a_road_without_heights_has_no_climb(case: Case) -> None:
    document = replace(case, route=replace(case.route, has_heights=False)).document()
    check(document)
    assert {leg["climb_m"] for leg in document["legs"]} == {None}


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_what_is_not_finite_becomes_null(case: Case, value: float) -> None:
    document = replace(case, plan=replace(case.plan, bound=value, gap=value)).document()
    check(document)
    assert document["objective"]["bound"] is None
    assert document["objective"]["gap"] is None


def test_rounding_noise_does_not_make_a_level_negative(case: Case) -> None:
    stops = (case.plan.stops[0], make_stop(tank_arrive=-1e-9), case.plan.stops[2])
    document = replace(case, plan=replace(case.plan, stops=stops)).document()
    check(document)
    assert str(document["stops"][1]["tank_on_arrival_kg"]) == "0.0"


def test_text_is_kept_as_the_owner_wrote_it(case: Case) -> None:
    text = plan_json(case.scenario, case.route, case.plan)
    assert "Prüfstück: 水 & <b>coal</b>" in text
    assert text.encode("utf-8").decode("utf-8") == text
    assert text.endswith("}\n")


@given(name=st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_any_name_comes_back_unchanged(name: str, case: Case) -> None:
    document = replace(case, plan=replace(case.plan, title=name)).document()
    assert document["title"] == name


def test_equal_plans_give_equal_text_whatever_the_order_of_versions(case: Case) -> None:
    turned = replace(case.plan, versions={"haulplan": "0.1", "solver": "1.0"})
    assert plan_json(case.scenario, case.route, turned) == plan_json(
        case.scenario, case.route, case.plan
    )


@given(clock=st.floats(0, 3e5))
def test_date_times_agree_with_the_seconds_beside_them(clock: float, case: Case) -> None:
    stops = (case.plan.stops[0], make_stop(arrive=clock, depart=clock), case.plan.stops[2])
    stop = replace(case, plan=replace(case.plan, stops=stops)).document()["stops"][1]
    since = dt.datetime.fromisoformat(stop["arrive"]) - dt.datetime(2031, 6, 14)
    assert abs(since.total_seconds() - stop["arrive_s"]) <= 0.500001
