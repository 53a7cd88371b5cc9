"""The way and its stops: equal to exhaustive search, right on odd networks."""

import json
import math
import shutil
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from roadworks import EAST, NORTH, exhaustive, random_quest, roads_of, scenario_at, tap

from haulplan.cli import cli
from haulplan.demand import build_demand
from haulplan.errors import InputError, NoPlanError
from haulplan.plan import make_plan
from haulplan.roads import Quest, choose_way, prepare, turned_back
from haulplan.roads import ways as ways_module
from haulplan.roads.others import account_of, different_ways, shared_length
from haulplan.roads.roadmap import Spring
from haulplan.roads.search import Streets, efficient_ways, least_to
from haulplan.roads.steer import turns_of
from haulplan.roads.usage import Usage, reckon_usage
from haulplan.roads.ways import Chosen, plan_way
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import (
    Aim,
    Bridge,
    Duty,
    LightingUp,
    Meal,
    Nights,
    Place,
    Store,
    Wagon,
)

DEMO = Path(__file__).parents[1] / "scenarios" / "ellersby-coldwater"

#: A direct hill road and a level one round by C; a tap on each.
PLACES = {
    "A": (0.0, 0.0, 100.0),
    "B": (3000.0, 600.0, 190.0),
    "C": (2500.0, -1500.0, 102.0),
    "Z": (6000.0, 0.0, 104.0),
}
LINKS = [("A", "B"), ("B", "Z"), ("A", "C"), ("C", "Z")]


@pytest.fixture(scope="module")
def plain_scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return scenario_at(tmp_path_factory.mktemp("roads"))


def quest_of(
    scenario: Scenario,
    links: Sequence[Any] = LINKS,
    **more: Any,  # noqa: ANN401  handed on
) -> Quest:
    places = PLACES | more.pop("places", {})
    turning = more.pop("turning", ())
    supplies = more.pop("supplies", ())
    return prepare(
        replace(scenario, supplies=tuple(supplies)),
        roads=roads_of(places, links, turning=turning),
        **more,
    )


def path_of(quest: Quest, edges: Sequence[int]) -> str:
    network = quest.network
    nodes = [int(network.tail[edges[0]]), *(int(network.head[edge]) for edge in edges)]
    return "".join(network.node_names[node] for node in nodes)


# --- equal to exhaustive search -------------------------------------------------------


@pytest.mark.parametrize("block", range(8))
def test_the_choice_equals_exhaustive_search(block: int, plain_scenario: Scenario) -> None:
    """112 random networks in all, every way and every subset of its stops."""
    for seed in range(14 * block, 14 * block + 14):
        try:
            quest = random_quest(seed, plain_scenario)
        except (NoPlanError, InputError):
            continue  # A and Z do not join; tried below
        least = exhaustive(quest)
        try:
            chosen = choose_way(quest)
        except NoPlanError:
            assert math.isinf(least), f"seed {seed}: a way was there"
            continue
        assert chosen.best.plan.objective == pytest.approx(least, rel=5e-4), f"seed {seed}"
        assert chosen.proven
        assert chosen.bound <= least * (1 + 5e-4)


def test_efficient_ways_alone_keep_their_stated_gap(
    plain_scenario: Scenario, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ways_module, "_EVERY", 0)
    missed = tried = 0
    for seed in range(200, 218):
        try:
            quest = random_quest(seed, plain_scenario)
            chosen = choose_way(quest)
        except (NoPlanError, InputError):
            continue
        least = exhaustive(quest)
        tried += 1
        assert not chosen.proven
        assert chosen.bound <= least * (1 + 5e-4), f"seed {seed}: the bound is no bound"
        assert chosen.best.plan.objective <= least / (1 - chosen.gap) * (1 + 5e-4)
        missed += chosen.best.plan.objective > least * 1.005
    assert tried >= 10
    assert missed <= 1  # efficient ways are nearly always enough


@pytest.mark.parametrize("first", ["cheapest", "fewest stops"])
def test_every_aim_is_proved(plain_scenario: Scenario, first: str) -> None:
    quest = quest_of(
        plain_scenario,
        places={"D": (4500.0, 0.0, 103.0)},
        links=[*LINKS, ("C", "D"), ("D", "Z")],
        supplies=[
            tap("Dear", PLACES["B"], call_out="50 USD"),
            tap("Cheap", PLACES["C"], call_out="1 USD"),
        ],
    )
    stores = quest.scenario.file.stores.model_copy(update={"tank": 250.0})
    poor = replace(quest.scenario, file=quest.scenario.file.model_copy(update={"stores": stores}))
    quest = replace(quest, scenario=poor)
    chosen = choose_way(quest, aim=Aim.model_validate({"first": first}))
    assert chosen.proven
    assert chosen.best.plan.money <= 1.0 + 1e-6
    assert chosen.best.plan.objective == pytest.approx(chosen.bound)


# --- a day's other business -----------------------------------------------------------


def changed(scenario: Scenario, **update: Any) -> Scenario:  # noqa: ANN401  keys of the file
    """The scenario with other figures in scenario.toml."""
    raw = scenario.file.model_dump() | update
    return replace(scenario, file=type(scenario.file).model_construct(**{
        name: update.get(name, getattr(scenario.file, name)) for name in raw
    }))  # fmt: skip


def place(name: str, at: tuple[float, float, float], **more: str) -> Place:
    """A place of places.csv."""
    x, y, _ = at
    position = {"latitude": f"{50 + y * NORTH:.9f}", "longitude": f"{11 + x * EAST:.9f}"}
    return Place.model_validate({"name": name} | position | more)


def agrees_with_every_way(quest: Quest, ways: Sequence[str], aim: Aim | None = None) -> Chosen:
    """The choice is the best of all the ways, each planned on its own; its bound holds."""
    chosen = choose_way(quest, aim=aim)
    best = math.inf
    ends = {
        (int(quest.network.tail[e]), int(quest.network.head[e])): e
        for e in range(quest.network.edges)
    }
    for way in ways:
        nodes = [quest.network.node_names.index(letter) for letter in way]
        try:
            planned = plan_way(quest, [ends[pair] for pair in pairwise(nodes)], aim=aim)
        except NoPlanError:
            continue
        best = min(best, planned.plan.objective)
        assert chosen.bound <= planned.plan.objective + 1e-6
    assert chosen.best.plan.objective == pytest.approx(best, rel=1e-6)
    assert chosen.bound == pytest.approx(best, rel=1e-6)
    return chosen


def test_a_night_and_a_meal_on_the_way(plain_scenario: Scenario) -> None:
    """With 75 minutes of crew a day, lighting up among them, the road asks for a night."""
    hours = plain_scenario.file.hours.model_copy(update={"crew": 75 * 60.0, "rest": 8 * 3600.0})
    nights = Nights.model_validate({
        "most": 1, "banked_water": "40 L", "banked_coal": "20 kg", "dropped_water": "0 L",
        "dropped_coal": "15 kg",
    })  # fmt: skip
    meal = Meal(name="dinner", earliest="07:10", latest="08:00", takes="15 min")  # type: ignore[arg-type]
    duty = Duty(name="oil round", hours="45 min", takes="5 min")  # type: ignore[arg-type]
    scenario = changed(
        plain_scenario, hours=hours, nights=nights, meals=(meal,), duties=(duty,),
        at_finish=plain_scenario.file.reserve,
        lighting_up=LightingUp(cold="30 min", banked="20 min"),  # type: ignore[arg-type]
    )  # fmt: skip
    quest = quest_of(
        replace(scenario, places=(place("Inn", PLACES["C"], halt="yes", night="yes"),)),
        supplies=[tap("Brook", PLACES["B"]), tap("Mill", PLACES["C"], coal_available="unlimited",
                                                 coal_rate="20 kg/min", night="yes")],
    )  # fmt: skip
    chosen = agrees_with_every_way(quest, ["ABZ", "ACZ"])
    assert len(chosen.best.plan.days) == 2
    assert path_of(quest, chosen.best.edges) == "ACZ"


def test_paces_and_a_cart_leave_the_floors_floors(plain_scenario: Scenario) -> None:
    train = plain_scenario.file.train
    cart = Wagon(name="Cart", tare="800 kg", tyre="steel", wheel_diameter="1 m")  # type: ignore[arg-type]
    wagons = train.model_copy(update={"wagons": (*train.wagons, cart)})
    stores = plain_scenario.file.stores.model_copy(update={"tank": 330.0})
    store = Store(name="Cart", kind="cart", water="600 L", water_rate="120 L/min")  # type: ignore[arg-type]
    for paces in ((), (1.0, 0.7)):
        for carts in ((), (store,)):
            scenario = changed(
                plain_scenario, paces=paces, stores=stores,
                train=wagons if carts else train,
                at_start=plain_scenario.file.at_start.model_copy(update={"water": 330.0}),
            )  # fmt: skip
            quest = quest_of(
                replace(scenario, stores=carts, places=(place("Oak", PLACES["C"], halt="yes"),)),
                supplies=[tap("Brook", PLACES["B"])],
            )
            agrees_with_every_way(quest, ["ABZ", "ACZ"])


def test_the_water_of_a_cart_opens_a_way_without_supplies(plain_scenario: Scenario) -> None:
    cart = Wagon(name="Cart", tare="800 kg", tyre="steel", wheel_diameter="1 m")  # type: ignore[arg-type]
    train = plain_scenario.file.train
    scenario = changed(
        plain_scenario,
        stores=plain_scenario.file.stores.model_copy(update={"tank": 300.0}),
        train=train.model_copy(update={"wagons": (*train.wagons, cart)}),
    )
    store = Store(name="Cart", kind="cart", water="900 L", water_rate="120 L/min")  # type: ignore[arg-type]
    oak = place("Oak", PLACES["C"], halt="yes")
    with pytest.raises(NoPlanError):
        choose_way(quest_of(replace(scenario, places=(oak,))))
    chosen = choose_way(quest_of(replace(scenario, places=(oak,), stores=(store,))))
    assert path_of(chosen_quest := quest_of(scenario), chosen.best.edges) == "ACZ"
    assert chosen_quest.offers == {}
    assert [s.name for s in chosen.best.plan.stops] == ["A", "Oak", "Z"]


def test_a_posted_axle_does_not_bar_the_whole_train(plain_scenario: Scenario) -> None:
    """Nor does a posted gross weight where the train is uncoupled."""
    x, y = 1500.0, 300.0
    position = {"latitude": f"{50 + y * NORTH:.9f}", "longitude": f"{11 + x * EAST:.9f}"}
    gross = Bridge.model_validate({"name": "Arch", "limit": "6 t"} | position)
    axle = gross.model_copy(update={"kind": "axle", "limit": 9000.0})
    supplies = [tap("Mill", PLACES["C"]), tap("Brook", PLACES["B"])]

    def barred(bridge: Bridge) -> bool:
        quest = quest_of(replace(plain_scenario, bridges=(bridge,)), supplies=supplies)
        return any("Arch" in ban.reason for ban in quest.bans)

    assert barred(gross)
    assert not barred(axle)
    assert not barred(gross.model_copy(update={"uncouple": 600.0}))
    quest = quest_of(replace(plain_scenario, bridges=(axle,)), supplies=supplies)
    driven = quest.drive(
        [e for e in range(quest.network.edges) if quest.network.tail[e] in {0, 1}][:1]
    )
    assert all(b.kind == "axle" for b in driven.scenario.bridges)


def test_a_call_is_a_via_and_a_truck_is_refused(plain_scenario: Scenario) -> None:
    call = place("Show field", PLACES["C"], stay="20 min")
    supplies = [tap("Mill", PLACES["C"])]
    with pytest.raises(InputError, match=r"'Show field' is a call.*--via 'Show field'"):
        quest_of(replace(plain_scenario, places=(call,)), supplies=supplies)
    quest = quest_of(
        replace(plain_scenario, places=(call,)), supplies=supplies, via=("Show field",)
    )
    stops = choose_way(quest).best.plan.stops
    assert next(s for s in stops if "Show field" in s.name).stay >= 20 * 60 - 1e-6
    truck = Store(name="Lorry", kind="truck", water="2000 L", water_rate="99 L/min")  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"stores\.csv, row 2.*'Lorry' is a truck"):
        quest_of(replace(plain_scenario, stores=(truck,)), supplies=supplies)


#: What the demo's day holds besides, in its own files.
BUSINESS = """
[hours]
crew = "2.5 h"
rest = "8 h"
[lighting_up]
cold = "45 min"
banked = "30 min"
[nights]
most = 1
banked_water = "10 US gal"
banked_coal = "40 lb"
dropped_water = "0 US gal"
dropped_coal = "40 lb"
[[duties]]
name = "oil round"
hours = "90 min"
takes = "5 min"
"""
TABLES = {
    "places.csv": "name,latitude,longitude,halt,night,stay\n"
    "Staith inn,44.480215,-90.081475,yes,yes,\n"
    "Cairn lay-by,44.535073,-90.109215,yes,,\n"
    "Wharf call,44.491906,-90.028518,,,10 min\n",
    "crossings.csv": "name,latitude,longitude,telephone\n"
    "River halt,44.485611,-90.056257,555 0100\n",
    "bridges.csv": "name,latitude,longitude,limit,uncouple\n"
    "Arch,44.48855,-90.0425,42 short ton,20 min\n",
    "stores.csv": "name,kind,water,water_rate\nLiving van,cart,30 US gal,20 US gal/min\n",
}


def test_the_written_folder_holds_the_whole_day(tmp_path: Path) -> None:
    folder, out = tmp_path / "day", tmp_path / "out"
    shutil.copytree(DEMO, folder)
    toml = (folder / "scenario.toml").read_text(encoding="utf-8")
    (folder / "scenario.toml").write_text(toml + BUSINESS, encoding="utf-8")
    for name, text in TABLES.items():
        (folder / name).write_text(text, encoding="utf-8")
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["ways", str(folder), "--via", "Wharf call", "--count", "1", "--out", str(out)]
    )
    assert done.exit_code == 0, done.output
    scenario = read_scenario(out)
    route = build_route(scenario)
    plan = make_plan(scenario, route, build_demand(scenario, route))
    kept = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    assert [s.name for s in plan.stops] == [s["name"] for s in kept["stops"]]
    assert plan.arrival == pytest.approx(kept["finish"]["clock_s"], abs=30)
    assert len(plan.days) == 2
    assert [p.name for p in scenario.places] == ["Staith inn", "Wharf call"]
    assert [c.telephone for c in scenario.level_crossings] == ["555 0100"]
    assert [b.uncouple for b in scenario.bridges if b.name == "Arch"] == [1200.0]
    assert scenario.stores == read_scenario(folder).stores
    page = (out / "ways.html").read_text(encoding="utf-8")
    for number, stop in enumerate(plan.stops[1:-1], start=1):  # halts and calls among them
        assert f"stop {number}: {stop.name}" in page


# --- published searches ---------------------------------------------------------------


def streets_of(links: Sequence[tuple[str, str, float, float]]) -> tuple[Streets, list[str]]:
    """One-way roads with time and water, as the searches see them."""
    names = sorted({end for a, b, _, _ in links for end in (a, b)})
    head = [names.index(end) for a, b, _, _ in links for end in (b, a)]
    tail = [names.index(end) for a, b, _, _ in links for end in (a, b)]
    usable = np.array([True, False] * len(links))
    time = np.repeat([link[2] for link in links], 2).reshape(-1, 1, 1)
    water = np.repeat([link[3] for link in links], 2)
    zero = np.zeros(len(head))
    usage = Usage(
        least_time=time, least_water=zero, least_coal=zero, time=time, water=water, coal=zero,
        heaviest=zero + np.inf,
    )  # fmt: skip
    out = tuple(
        tuple(e for e in range(len(head)) if usable[e] and tail[e] == node)
        for node in range(len(names))
    )
    streets = Streets(
        nodes=len(names), head=tuple(head), tail=tuple(tail), out=out,
        turning=(False,) * len(names), usage=usage, usable=usable,
    )  # fmt: skip
    return streets, names


def test_a_textbook_shortest_path() -> None:
    # Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, 3rd ed., fig. 24.6
    # (from memory): distances from s are t 8, x 9, y 5, z 7.
    links = [("s", "t", 10), ("s", "y", 5), ("t", "x", 1), ("t", "y", 2), ("y", "t", 3),
             ("y", "x", 9), ("y", "z", 2), ("x", "z", 4), ("z", "x", 6), ("z", "s", 7)]  # fmt: skip
    streets, names = streets_of([(*link, 0.0) for link in links])
    targets = [names.index(name) for name in "txyz"]
    least = least_to(streets, streets.usage.time[:, 0, 0], targets)[:, names.index("s")]
    assert least == pytest.approx([8, 9, 5, 7])


@pytest.mark.parametrize("stages", [1, 3, 6])
def test_the_label_search_finds_every_efficient_path_of_hansen(stages: int) -> None:
    # P. Hansen, "Bicriterion path problems", 1980 (from memory): a chain of pairs of arcs
    # that cost (2^i, 0) and (0, 2^i) has 2^n efficient paths.
    links = []
    for k in range(stages):
        links += [(f"n{k}", f"n{k + 1}", 1e4 * 2**k, 0.0), (f"n{k}", f"n{k + 1}", 0.0, 1e4 * 2**k)]
    streets, names = streets_of(links)
    ends = frozenset({names.index("n0"), names.index(f"n{stages}")})
    found = list(
        efficient_ways(streets, names.index("n0"), ends, water=math.inf, coal=math.inf)
    )  # fmt: skip
    sums = {
        (sum(links[e // 2][2] for e in arc.edges), sum(links[e // 2][3] for e in arc.edges))
        for arc in found
    }
    total = 1e4 * (2**stages - 1)
    assert len(sums) == 2**stages
    assert all(time + water == pytest.approx(total) for time, water in sums)


# --- odd networks ---------------------------------------------------------------------


def test_a_one_way_road_is_not_driven_against(plain_scenario: Scenario) -> None:
    links = [("A", "B"), ("Z", "B", {"oneway": 1}), ("A", "C"), ("C", "Z")]
    q = quest_of(plain_scenario, links)
    assert path_of(q, choose_way(q).best.edges) == "ACZ"
    q = quest_of(plain_scenario, [("A", "B"), ("Z", "B", {"oneway": -1})])
    assert path_of(q, choose_way(q).best.edges) == "ABZ"


@pytest.mark.parametrize("turning", [(), ("E",)])
def test_a_dead_end_is_entered_only_where_the_train_can_turn(
    plain_scenario: Scenario, turning: tuple[str, ...]
) -> None:
    end = (2500.0, -2300.0, 102.0)
    stores = plain_scenario.file.stores.model_copy(update={"tank": 320.0})
    file = plain_scenario.file.model_copy(update={"stores": stores})
    dry = replace(plain_scenario, file=file)
    links = [("A", "C"), ("C", "Z"), ("C", "E")]
    quest = quest_of(
        dry, links, places={"E": end}, turning=turning, supplies=[tap("Tap", end)]
    )  # fmt: skip
    if turning:
        assert path_of(quest, choose_way(quest).best.edges) == "ACECZ"
    else:
        with pytest.raises(NoPlanError, match="from one supply to the next"):
            choose_way(quest)


def test_a_via_at_a_dead_end_says_that_the_train_must_turn(plain_scenario: Scenario) -> None:
    places = {"E": (2500.0, -2300.0, 102.0)}
    links = [("A", "C"), ("C", "Z"), ("C", "E")]
    quest = quest_of(plain_scenario, links, places=places, via=["E"])
    with pytest.raises(NoPlanError, match="from 'E' the train gets on only by turning round"):
        choose_way(quest)
    quest = quest_of(plain_scenario, links, places=places, via=["E"], turning=["E"])
    assert path_of(quest, choose_way(quest).best.edges) == "ACECZ"


def test_islands_are_named(plain_scenario: Scenario) -> None:
    with pytest.raises(NoPlanError, match="the roads do not join"):
        quest_of(plain_scenario, [("A", "B"), ("C", "Z")])


def test_a_barred_road_says_what_bars_it(plain_scenario: Scenario) -> None:
    weak = {"name": "Mill Lane", "max_mass": 5000.0}
    with pytest.raises(NoPlanError, match=r"Mill Lane: posted weight 5\.00 t, ours 20\.07 t"):
        quest_of(plain_scenario, [("A", "B"), ("B", "C", weak), ("C", "Z")])
    with pytest.raises(InputError, match="beside it is barred: Mill Lane, posted weight"):
        quest_of(plain_scenario, [("A", "B", weak), ("B", "Z")])


def test_of_parallel_roads_the_better_is_driven(plain_scenario: Scenario) -> None:
    links = [("A", "C"), ("C", "Z", {"surface": "earth"}), ("C", "Z")]
    quest = quest_of(plain_scenario, links)
    last = quest.network.links[choose_way(quest).best.edges[-1] // 2]
    assert last.facts.surface == "macadam"


def test_loops_and_roads_without_length_change_nothing(plain_scenario: Scenario) -> None:
    bare = choose_way(quest_of(plain_scenario, [("A", "C"), ("C", "Z")])).best.plan
    links = [("A", "C"), ("C", "C"), ("C", "D"), ("D", "Z"), ("D", "D")]
    quest = quest_of(plain_scenario, links, places={"D": PLACES["C"]})
    best = choose_way(quest).best
    assert path_of(quest, best.edges) == "ACDZ"
    assert best.plan.arrival == pytest.approx(bare.arrival, abs=1.0)


def test_an_unknown_surface_is_assumed_and_said(plain_scenario: Scenario) -> None:
    links = [("A", "C", {"surface_known": False}), ("C", "Z")]
    quest = quest_of(plain_scenario, links)
    assert any("no surface mapped" in said for said in quest.warnings)
    choose_way(quest)


def test_start_and_finish_in_one_place_want_a_via(plain_scenario: Scenario) -> None:
    file = plain_scenario.file.model_copy(update={"finish": "A"})
    round_trip = replace(plain_scenario, file=file)
    with pytest.raises(InputError, match="one place"):
        quest_of(round_trip)
    quest = quest_of(round_trip, via=["C", "Z"], supplies=[tap("Tap", PLACES["Z"])])
    assert path_of(quest, choose_way(quest).best.edges) == "ACZBA"


def test_a_place_nobody_knows_is_refused(plain_scenario: Scenario) -> None:
    with pytest.raises(InputError, match="nobody knows where 'Y' is"):
        quest_of(plain_scenario, via=["Y"])


def test_tables_by_distance_are_refused(plain_scenario: Scenario) -> None:
    row = tap("Tap", PLACES["B"]).model_copy(update={"at": 5.0})
    with pytest.raises(InputError, match="distance along one road"):
        quest_of(plain_scenario, supplies=[row])


# --- what is asked for ----------------------------------------------------------------


def test_a_bridge_binds_with_the_water_aboard(plain_scenario: Scenario) -> None:
    def over(limit: float) -> Quest:
        arch = {"max_mass": limit, "bridge": True, "name": "Arch"}
        return quest_of(plain_scenario, [("A", "C"), ("C", "Z", arch)])

    (crossing,) = choose_way(over(20_460.0)).best.plan.crossings
    assert 20_430.0 < crossing.gross <= crossing.limit
    with pytest.raises(NoPlanError, match="Arch"):
        choose_way(over(20_430.0))  # dry it may pass, with what must be aboard there it may not


def test_a_hill_too_steep_is_climbed_from_the_other_side_only(tmp_path: Path) -> None:
    steep = {"A": (0.0, 0.0, 100.0), "B": (900.0, 0.0, 180.0), "Z": (4000.0, 0.0, 104.0)}
    scenario = scenario_at(tmp_path, outline={"steepest_climb": "8 %"})
    quest = quest_of(scenario, [("A", "B"), ("B", "Z"), ("A", "C"), ("C", "Z")], places=steep)
    assert path_of(quest, choose_way(quest).best.edges) == "ACZ"
    back = prepare(turned_back(scenario), roads=roads_of(PLACES | steep, LINKS))
    assert path_of(back, choose_way(back).best.edges) in {"ZBA", "ZCA"}
    reasons = {ban.reason for ban in quest.bans}
    assert any("climb of 8.9 %" in reason for reason in reasons)
    assert any(ban.edge % 2 == 0 for ban in quest.bans)
    assert not any(ban.edge % 2 == 1 for ban in quest.bans)


def test_the_way_back_turns_the_hills_round(plain_scenario: Scenario) -> None:
    links = [("A", "C"), ("C", "Z")]
    out = choose_way(quest_of(plain_scenario, links)).best
    home = choose_way(
        prepare(turned_back(plain_scenario), roads=roads_of(PLACES, links))
    ).best  # fmt: skip
    assert home.driven.route.length == pytest.approx(out.driven.route.length)
    assert home.driven.route.elevation[0] == pytest.approx(out.driven.route.elevation[-1])
    assert np.sort(home.driven.route.grade) == pytest.approx(np.sort(-out.driven.route.grade))


def test_a_closed_road_is_gone_round(plain_scenario: Scenario) -> None:
    free = quest_of(plain_scenario)
    usual = choose_way(free).best
    middle = path_of(free, usual.edges)[1]
    shut = quest_of(plain_scenario, closed=[f"A{middle}-{LINKS.index(('A', middle))}"])
    detour = choose_way(shut).best
    assert middle not in path_of(shut, detour.edges)
    assert detour.plan.arrival >= usual.plan.arrival
    assert any("closed on the day" in ban.reason for ban in shut.bans)


def test_a_closure_nobody_knows_is_refused(plain_scenario: Scenario) -> None:
    with pytest.raises(InputError, match="no road 'AX-0'; nearest: ab-0"):
        quest_of(plain_scenario, closed=["AX-0"])


def test_keep_off_areas_are_gone_round(tmp_path: Path) -> None:
    (tmp_path / "areas.geojson").write_text("{}", encoding="utf-8")
    scenario = scenario_at(tmp_path, route={"network": "roads", "keep_off": "areas.geojson"})

    def box(place: str) -> list[list[float]]:
        x, y, _ = PLACES[place]
        return [[11 + (x + dx) * EAST, 50 + (y + dy) * NORTH]
                for dx, dy in ((-9, -9), (9, -9), (9, 9), (-9, 9), (-9, -9))]  # fmt: skip

    for place, expected in (("B", "ACZ"), ("C", "ABZ")):
        feature = {"type": "Feature", "properties": {"name": "Fair"},
                   "geometry": {"type": "Polygon", "coordinates": [box(place)]}}  # fmt: skip
        document = {"type": "FeatureCollection", "features": [feature]}
        (tmp_path / "areas.geojson").write_text(json.dumps(document), encoding="utf-8")
        quest = quest_of(scenario)
        assert path_of(quest, choose_way(quest).best.edges) == expected
        assert any("in 'Fair', to be kept off" in ban.reason for ban in quest.bans)


def test_other_ways_leave_the_best_for_most_of_their_length(plain_scenario: Scenario) -> None:
    quest = quest_of(plain_scenario)
    found = different_ways(quest, choose_way(quest), 3)
    assert {path_of(quest, way.edges) for way in found} == {"ABZ", "ACZ"}
    assert shared_length(quest, found[0].edges, found[1].edges) == 0.0
    up, level = sorted((account_of(quest, way) for way in found), key=lambda a: -a.climb)
    assert up.climb == pytest.approx(90.0, abs=1.0)
    assert up.steepest_up > level.steepest_up


def test_least_use_bounds_the_plan_at_any_load(plain_scenario: Scenario) -> None:
    """Floors may never lie above a plan: drive every way of a network at several loads."""
    quest = quest_of(plain_scenario)
    usage = reckon_usage(plain_scenario, quest.network, quest.profile)
    for way in different_ways(quest, choose_way(quest), 3):
        arc = replace(quest.streets, usage=usage).arc(way.edges)
        for load in (80.0, 300.0, 690.0):
            carried = np.full(way.demand.segments, load)
            use = way.demand.evaluate(carried, way.demand.gear)
            assert np.min(arc.least_time) <= use.duration.sum() + 1e-6
            assert arc.least_water <= use.water.sum() + 1e-6
            assert arc.least_coal <= use.coal.sum() + 1e-6


# --- what comes out -------------------------------------------------------------------


def test_turns_are_told_by_side_and_landmark(plain_scenario: Scenario) -> None:
    places = {"A": (0.0, 0.0, 0.0), "B": (1000.0, 0.0, 0.0), "C": (1000.0, -900.0, 0.0),
              "Z": (2000.0, -900.0, 0.0), "E": (2000.0, 0.0, 0.0)}  # fmt: skip
    links = [("A", "B", {"name": "High Street"}), ("B", "C", {"name": "Low Lane"}),
             ("C", "Z", {"name": "Low Lane"}), ("B", "E", {"name": "High Street"})]  # fmt: skip
    quest = quest_of(plain_scenario, links, places=places)
    turns = turns_of(quest, choose_way(quest).best)
    assert [(t.what, t.road) for t in turns] == [
        ("set out east", "High Street"), ("turn right", "Low Lane"), ("arrive", "Z"),
    ]  # fmt: skip
    assert turns[1].landmark == "B"
    assert turns[1].distance == pytest.approx(1000.0, rel=5e-3)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The demo's choice, written into a folder, and what was printed."""
    out = tmp_path_factory.mktemp("ways") / "out"
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["ways", str(DEMO), "--out", str(out)], catch_exceptions=False
    )
    assert done.exit_code == 0
    return out, done.output


def test_the_demo_shows_ways_side_by_side(written: tuple[Path, str]) -> None:
    folder, text = written
    assert "proved best over ways and stops" in text
    assert "way A  way B" in text
    assert all(len(line) <= 80 for line in text.splitlines() if not line.startswith("Written"))
    names = {path.name for path in folder.iterdir()}
    assert {
        "springs.csv",
        "ways.csv",
        "ways.html",
        "turns.csv",
        "bans.csv",
        "route.gpx",
        "plan.json",
    } <= names
    bans = (folder / "bans.csv").read_text(encoding="utf-8")
    assert "a ford of unknown depth" in bans
    assert "in 'Water meadows', to be kept off" in bans
    assert "the quarry's own" in bans


def test_the_chosen_way_is_an_ordinary_scenario(written: tuple[Path, str]) -> None:
    folder, _ = written
    scenario = read_scenario(folder)
    route = build_route(scenario)
    plan = make_plan(scenario, route, build_demand(scenario, route))
    kept = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    assert route.length == pytest.approx(kept["road"]["length_m"], rel=1e-4)
    assert plan.arrival == pytest.approx(kept["finish"]["clock_s"], abs=30)
    assert [s.name for s in plan.stops] == [s["name"] for s in kept["stops"]]


def test_the_gpx_of_a_way_is_read_again(written: tuple[Path, str]) -> None:
    import gpxpy

    folder, _ = written
    gpx = gpxpy.parse((folder / "route.gpx").read_text(encoding="utf-8"))
    assert gpx.waypoints[0].name == "001 set out east"
    assert gpx.tracks[0].segments[0].points[0].elevation == pytest.approx(142.0, abs=0.1)


def test_what_users_wrote_is_escaped_in_every_file(tmp_path: Path) -> None:
    from haulplan.outputs.ways import Compared, bans_csv, turns_csv, way_gpx, ways_csv
    from haulplan.outputs.ways_map import draw_ways
    from haulplan.units import UNIT_SYSTEMS

    evil = '=<script>alert("x")</script>&'
    scenario = scenario_at(tmp_path, title=evil)
    links = [("A", "C", {"name": evil}), ("C", "Z", {"name": evil}),
             ("A", "B", {"name": evil, "shut": evil}), ("B", "Z")]  # fmt: skip
    quest = quest_of(scenario, links, supplies=[tap(evil, PLACES["C"])])
    chosen = choose_way(quest)
    compared = Compared(
        quest=quest, chosen=chosen, ways=(chosen.best,), usual=None,
        accounts=(account_of(quest, chosen.best),), turns=turns_of(quest, chosen.best),
    )  # fmt: skip
    system = UNIT_SYSTEMS["metric"]
    assert "<script>alert" not in draw_ways(compared, system)
    assert "<script>" not in way_gpx(compared)
    for text in (turns_csv(compared, system), bans_csv(quest, system), ways_csv(compared, system)):
        assert ",=<script" not in text
        assert "\n=<script" not in text


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--closed", "Nowhere Road"], 2, "no road 'Nowhere Road'"),
        (["--via", "Atlantis"], 2, "nobody knows where 'Atlantis' is"),
        (["--closed", "Coldwater Road", "--closed", "River Road"], 2, "closed on the day"),
    ],
)
def test_a_fault_ends_with_its_exit_code(
    words: list[str], code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from haulplan.cli import main

    with pytest.raises(SystemExit) as left:
        main(["ways", str(DEMO), *words])
    assert left.value.code == code
    assert said in capsys.readouterr().err


def test_a_scenario_of_many_roads_is_not_planned_before_one_is_chosen() -> None:
    with pytest.raises(InputError, match="haulplan ways"):
        build_route(read_scenario(DEMO))


def test_the_detour_says_what_it_costs() -> None:
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["ways", str(DEMO), "--closed", "Iron Bridge", "--count", "1"]
    )
    assert done.exit_code == 0
    assert "Against the way with no road closed: " in done.output


def test_the_aim_is_asked_for_and_kept(tmp_path: Path) -> None:
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["ways", str(DEMO), "--aim", "cheapest", "--count", "1", "--out", str(tmp_path / "o")]
    )
    assert done.exit_code == 0
    assert "Aim: cheapest" in done.output
    assert read_scenario(tmp_path / "o").file.aim.first == "cheapest"


def test_mapped_water_is_told_of_and_no_supply(plain_scenario: Scenario) -> None:
    near, far = (
        Spring(name=name, kind="fire hydrant", latitude=50 + y * NORTH, longitude=11 + x * EAST)
        for name, x, y in (("Near", 2500, -1400), ("Far", 2500, 3000))
    )
    roads = replace(roads_of(PLACES, [("A", "C"), ("C", "Z")]), springs=(near, far))
    quest = prepare(plain_scenario, roads=roads)
    account = account_of(quest, choose_way(quest).best)
    assert [spring.name for _, _, spring in account.springs] == ["Near"]
    assert account.stops == 0


def test_the_way_back_is_chosen_by_the_command() -> None:
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["ways", str(DEMO), "--back", "--via", "Hause Farm", "--count", "1"]
    )
    assert done.exit_code == 0
    assert "Coldwater to Ellersby" in done.output
    assert "Ridge Road" in done.output
