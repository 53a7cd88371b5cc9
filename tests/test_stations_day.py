"""An organised event from its folder to its sheets; every name and figure is invented."""

import csv
import io
import itertools
import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from haulplan.cli import main
from haulplan.errors import InputError, NoPlanError
from haulplan.outputs.stations import fleet_frame, remarks, stations_outputs
from haulplan.stations import Event, Organised, build_course, build_fleet, organise, read_event
from haulplan.stations.day import Factors, play_day
from haulplan.stations.explain import serves
from haulplan.stations.fleet import draw_fleet
from haulplan.stations.task import build_task, factor_at, pace_of, passing_times
from haulplan.stations.trucks import Load, Rota, plan_trucks, way_between
from haulplan.units import UNIT_SYSTEMS

Make = Callable[..., Path]
METRIC = UNIT_SYSTEMS["metric"]

TOML = """title = "Four mills"
start = "Upper mill"
finish = "Lower mill"
date = 2027-06-05
depart = "09:00"
units = "metric"
currency = "USD"
{aims}
[route]
file = "route.csv"
[procession]
pace = "5 km/h"
stagger = "2 min"
{procession}
[service]
allowance = "10 min"
{service}
[chances]
runs = 160
draw = 3
{chances}
"""
ROAD = "distance [km],elevation [m]\n0,10\n10,30\n20,10\n"
FLEET = """engine,tank,thirst_hour,speed,slot,coal,joins,leaves,contact
Alder,600 L,220 L/h,5 km/h,1,60 kg,,,
Birch,600 L,240 L/h,5 km/h,2,,,,"=HYPERLINK(1)"
Cedar,2000 L,300 L/h,6 km/h,3,,,,
"<b>Dogwood</b>",500 L,200 L/h,4 km/h,4,,,15 km,
Elm,600 L,220 L/h,5 km/h,5,,6 km,,
"""
SITES = """name,kind,at [km],hoses,rate [L/min],water,hard_standing [m],call_out,coal,status,side
Ford,hydrant,3,2,120,unlimited,60,30 USD,no,candidate,left
Green,truck,7,2,120,unlimited,80,20 USD,yes,candidate,left
Chapel,hydrant,10,1,100,unlimited,80,20 USD,no,candidate,right
Mill,truck,12,2,120,unlimited,80,20 USD,yes,candidate,left
Quarry,tap,16,1,30,900 L,40,5 USD,no,candidate,left
"""
TRUCKS = """truck,role,volume,tare,pump,speed,base,fill_at,fill_rate,ready,cost
Plum,station,4000 L,4 t,200 L/min,30 km/h,0 km,0 km,400 L/min,08:00,100 USD
Sloe,station,3000 L,3 t,200 L/min,30 km/h,0 km,0 km,400 L/min,08:00,80 USD
"""
BRIDGES = "name,at [km],limit\nHump,9,7.5 t\n"


@pytest.fixture(scope="module")
def make(tmp_path_factory: pytest.TempPathFactory) -> Make:
    """Writes an event folder; tables by name replace the usual ones."""

    def write(tables: dict[str, str] | None = None, **parts: str) -> Path:
        folder = tmp_path_factory.mktemp("event")
        text = TOML.format(
            **{key: parts.get(key, "") for key in ("aims", "procession", "service", "chances")}
        )
        usual = {
            "event.toml": text, "route.csv": ROAD, "fleet.csv": FLEET, "sites.csv": SITES,
            "trucks.csv": TRUCKS, "bridges.csv": BRIDGES,
        }  # fmt: skip
        for name, content in (usual | (tables or {})).items():
            if content:
                (folder / name).write_text(content, encoding="utf-8")
        return folder

    return write


@pytest.fixture(scope="module")
def event(make: Make) -> Event:
    return read_event(make())


@pytest.fixture(scope="module")
def found(event: Event) -> Organised:
    return organise(event)


# --- reading --------------------------------------------------------------------------


def test_every_fault_is_named_at_once_with_its_place(make: Make) -> None:
    folder = make(
        {
            "fleet.csv": "engine,kind,tank,thirst_hour\nAlder,,600 gal,200 L/h\n"
            "Birch,Small Tractor,,\nCedar,,600 L,\nCedar,,600 L,200 L/h\n",
            "sites.csv": "name,kind,at [km],rate [L/min]\nFord,river,3,100\n",
        },
        service="hosses = 3",
    )
    with pytest.raises(InputError) as caught:
        read_event(folder)
    text = str(caught.value)
    assert "fleet.csv, row 2, column tank: '600 gal' is not allowed; a bare gallon" in text
    assert (
        "fleet.csv, row 3, column kind: 'Small Tractor' is not known; did you mean 'small-tractor'?"
        in text
    )
    assert "fleet.csv, row 4: no thirst; give thirst_hour or thirst_mile" in text
    assert "sites.csv, row 2, column kind: 'river' is not allowed" in text
    assert "event.toml, service.hosses: unknown name; did you mean 'hoses'?" in text


def test_two_engines_of_one_name_or_slot_are_refused(make: Make) -> None:
    folder = make({"fleet.csv": FLEET.replace("Birch", "Alder")})
    with pytest.raises(InputError, match="row 3, column engine: 'Alder' stands in row 2 too"):
        read_event(folder)
    event = read_event(make({"fleet.csv": FLEET.replace("5 km/h,2,", "5 km/h,1,")}))
    with pytest.raises(InputError, match="row 3, column slot: slot 1 is Alder's too"):
        build_fleet(event, build_course(event))


def test_too_few_runs_to_show_the_chance_are_refused(make: Make) -> None:
    event = read_event(make(chances="nobody_dry = '99 %'"))
    with pytest.raises(
        InputError, match=r"160 runs cannot show a chance of 99.0%; play at least 299"
    ):
        organise(event)


def test_a_site_off_the_road_is_named_in_its_own_file(make: Make) -> None:
    event = read_event(make({"sites.csv": SITES.replace("tap,16", "tap,26")}))
    with pytest.raises(InputError, match=r"sites.csv, row 6"):
        build_course(event)


def test_thirst_by_the_mile_needs_a_length(make: Make) -> None:
    table = "engine,tank,thirst_mile\nAlder,600 L,40 L\n"
    with pytest.raises(InputError, match="write water per length, as in '14 imp gal/mi'"):
        read_event(make({"fleet.csv": table}))


# --- the procession -------------------------------------------------------------------


def test_use_goes_by_the_hour_behind_slower_engines(event: Event) -> None:
    course = build_course(event)
    fleet = build_fleet(event, course)
    task = build_task(event, course, fleet, 1.0)
    hour = 3600.0
    # Elm goes behind Dogwood's 4 km/h for the whole way they could share, so 14 km take 3.5 h.
    assert pace_of(fleet)[4] == pytest.approx(4000 / hour)
    assert task.drinkers[4].total == pytest.approx(220 * 0.999 * 3.5, rel=1e-3)
    assert task.drinkers[0].total == pytest.approx(220 * 0.999 * 4.0, rel=1e-3)


def test_nobody_overtakes(event: Event) -> None:
    course = build_course(event)
    fleet = build_fleet(event, course)
    times = passing_times(event, fleet, np.linspace(0, 20_000, 41).tolist())
    for before, after in itertools.pairwise(times):
        both = ~np.isnan(before) & ~np.isnan(after)
        assert (after[both] > before[both]).all()


def test_an_engine_that_joins_and_leaves_uses_only_its_part(event: Event) -> None:
    course = build_course(event)
    fleet = build_fleet(event, course)
    task = build_task(event, course, fleet, 1.0)
    assert task.drinkers[3].may.tolist() == [True, True, False, True, False]  # leaves at 15 km
    assert task.drinkers[4].may.tolist() == [False, True, False, True, True]  # joins at 6 km


def test_a_site_across_the_road_serves_only_where_crossing_is_allowed(make: Make) -> None:
    event = read_event(make(procession="cross_road = true"))
    course = build_course(event)
    task = build_task(event, course, build_fleet(event, course), 1.0)
    assert task.drinkers[0].may.all()


def test_laps_pass_every_site_again_and_need_the_water_of_all_laps(make: Make) -> None:
    event = read_event(make(procession="laps = 2"))
    course = build_course(event)
    fleet = build_fleet(event, course)
    assert [round(v.distance / 1000) for v in course.visits] == [
        3, 7, 10, 12, 16, 23, 27, 30, 32, 36
    ]  # fmt: skip
    once = build_fleet(read_event(make()), build_course(read_event(make())))
    assert fleet[0].used(fleet[0].leaves) == pytest.approx(2 * once[0].used(once[0].leaves))
    assert len(organise(event).choice.stops[0]) >= 2


def test_a_draw_gives_the_same_fleet_again_and_keeps_to_its_class(make: Make) -> None:
    event = read_event(
        make({"mix.csv": "kind,count\nsmall-tractor,8\nroad-roller,3\n", "fleet.csv": ""})
    )
    drawn = draw_fleet(event)
    assert drawn == draw_fleet(event)
    assert len({one.row.engine for one in drawn}) == 11
    tanks = [one.row.tank for one in drawn if one.row.kind == "small-tractor"]
    assert all(110 * 4.5 <= (tank or 0) <= 150 * 4.55 for tank in tanks)
    assert [one.row.speed for one in drawn] == sorted(
        (one.row.speed for one in drawn), key=lambda v: -(v or 0)
    )


def test_a_class_drinks_more_uphill_than_down(make: Make) -> None:
    up = "distance [km],elevation [m]\n0,0\n20,400\n"
    down = "distance [km],elevation [m]\n0,400\n20,0\n"
    table = "engine,kind\nAlder,general-purpose-6\n"
    used = []
    for road in (up, down):
        event = read_event(make({"route.csv": road, "fleet.csv": table, "bridges.csv": ""}))
        course = build_course(event)
        used.append(build_fleet(event, course)[0].used(course.length))
    assert used[0] > 1.5 * used[1] > 0


def test_an_engine_too_heavy_or_too_wide_for_a_bridge_is_refused(make: Make) -> None:
    fleet = "engine,tank,thirst_hour,weight,width\nAlder,600 L,200 L/h,9 t,2.6 m\n"
    bridges = "name,at [km],limit,width\nHump,9,7.5 t,2.5 m\n"
    event = read_event(make({"fleet.csv": fleet, "bridges.csv": bridges}))
    with pytest.raises(NoPlanError) as caught:
        build_fleet(event, build_course(event))
    assert "Alder at Hump: 9.00 t with tank and bunker full, posted 7.50 t" in str(caught.value)
    assert "Alder at Hump: 2.60 m wide, 2.50 m clear" in str(caught.value)


# --- the day played -------------------------------------------------------------------


def test_the_day_at_planned_thirst_keeps_every_planned_level(found: Organised) -> None:
    assert found.heavy.halts
    planned = {(e, g.visit): g for e, stops in enumerate(found.choice.stops) for g in stops}
    allowed = found.event.file.service.allowance
    for halt in found.heavy.halts:
        if halt.planned and halt.wait < allowed:
            # Order changes at stations: a little is lost behind slower engines.
            slack = 0.02 * found.fleet[halt.engine].tank
            assert halt.level >= planned[halt.engine, halt.visit].arrive - slack
    for engine, day in zip(found.fleet, found.heavy.engines, strict=True):
        assert not day.dry
        assert day.lowest >= (0.1 - 0.02) * engine.tank


def test_nobody_runs_dry_at_the_stated_chance(found: Organised) -> None:
    assert found.odds.runs == 160
    assert found.odds.at_most <= 0.02
    assert found.odds.dry == 0


def test_more_thirst_than_planned_makes_the_play_run_dry(found: Organised) -> None:
    """The play must be able to fail: the same plan, everybody half as thirsty again."""
    factors = Factors(engines=[found.factor * 1.6] * len(found.fleet))
    day = play_day(found.event, found.course, found.fleet, found.choice, factors)
    assert any(engine.dry for engine in day.engines)


def test_a_wild_day_needs_a_higher_pessimism_or_is_refused(make: Make) -> None:
    event = read_event(make(chances="day = '25 %'\npessimism = '60 %'\nreserve = '0 %'"))
    try:
        reached = organise(event).pessimism
    except NoPlanError as error:
        said = str(error)
    else:
        said = "runs dry" if reached > 0.6 else ""
    assert re.search("runs dry|cannot get from", said)


def test_standing_engines_drink(make: Make) -> None:
    """One slow hose: who waits longest has drunk most by the time it is served."""
    sites = "name,kind,at [km],hoses,rate [L/min]\nFord,tap,5,1,20\n"
    rows = "".join(f"E{n},500 L,250 L/h,60 L/h,{n}\n" for n in range(1, 6))
    table = f"engine,tank,thirst_hour,standing,slot\n{rows}"
    road = "distance [km],elevation [m]\n0,10\n10,10\n"
    event = read_event(
        make({"sites.csv": sites, "fleet.csv": table, "route.csv": road, "trucks.csv": ""},
             service="longest_wait = '10 h'\nposition = '5 min'")
    )  # fmt: skip
    done = organise(event, aims=["fewest stations"])
    halts = sorted(done.typical.halts, key=lambda h: h.begin)
    assert len(halts) == 5
    assert halts[-1].wait > halts[0].wait + 600
    lost = 60 * 0.999 / 3600 * halts[-1].wait
    assert lost > 10
    best = halts[0]
    assert halts[-1].take == pytest.approx(best.take + lost, abs=3.0) or halts[-1].take < best.take


def test_the_least_reach_is_served_first() -> None:
    import simpy

    from haulplan.stations.queue import Yard

    env = simpy.Environment()
    yard = Yard(env=env, hoses=1)
    order: list[str] = []

    def one(name: str, clock: float, reach: float):  # type: ignore[no-untyped-def]  # noqa: ANN202
        yield env.timeout(clock)
        with yard.hose(reach) as request:
            yield request
            order.append(name)
            yield env.timeout(10)

    for name, clock, reach in (("first", 0, 9e3), ("far", 1, 8e3), ("near", 2, 1e3)):
        env.process(one(name, clock, reach))
    env.run()
    assert order == ["first", "near", "far"]


def test_a_longer_gap_between_starts_takes_the_queue_away(make: Make) -> None:
    rows = "".join(f"E{n},600 L,250 L/h,{n}\n" for n in range(1, 9))
    table = f"engine,tank,thirst_hour,slot\n{rows}"
    sites = "name,kind,at [km],hoses,rate [L/min]\nFord,tap,5,1,60\nDam,tap,12,1,60\n"
    event = read_event(
        make({"fleet.csv": table, "sites.csv": sites, "trucks.csv": ""},
             service="longest_wait = '5 h'")
    )  # fmt: skip
    done = organise(event)
    assert done.calm is not None
    assert done.staggers[0].longest_wait > 600 > done.calm.longest_wait
    assert done.calm.gap > done.staggers[0].gap
    waited = done.staggers[0].longest_wait  # what starting later costs, queues gave already
    assert done.calm.last_finish > done.staggers[0].last_finish - waited


def test_a_roving_truck_saves_who_would_run_dry(found: Organised, make: Make) -> None:
    rover = TRUCKS + "Haw,roving,2000 L,3 t,100 L/min,30 km/h,10 km,10 km,400 L/min,08:00,10 USD\n"
    event = read_event(make({"trucks.csv": rover}))
    factors = Factors(engines=[found.factor * 1.4] * len(found.fleet))
    day = play_day(event, found.course, found.fleet, found.choice, factors)
    without = play_day(found.event, found.course, found.fleet, found.choice, factors)
    assert sum(engine.calls for engine in day.engines) > 0
    assert sum(engine.dry for engine in day.engines) < sum(e.dry for e in without.engines)


def test_any_one_station_may_be_lost(make: Make) -> None:
    rows = "".join(f"S{at},hydrant,{at},2,120\n" for at in (2, 4, 6, 8, 10, 12, 14, 16, 18))
    sites = f"name,kind,at [km],hoses,rate [L/min]\n{rows}"
    event = read_event(make({"sites.csv": sites, "trucks.csv": ""}))
    done = organise(event, aims=["fewest stations"], losses=True)
    task = build_task(event, done.course, done.fleet, factor_at(event, done.pessimism))
    task = type(task)(**{**vars(task), "longest_wait": math.inf})
    assert all(serves(task, frozenset(done.choice.open) - {s}) for s in done.choice.open)
    assert [drill.lost for drill in done.drills] == list(done.choice.open)
    assert not any(drill.dry or drill.unmet for drill in done.drills)
    assert any("is lost: longest queue" in words for words in remarks(done, METRIC))
    alone = organise(event, aims=["fewest stations"])
    assert len(alone.choice.open) < len(done.choice.open)


# --- trucks ---------------------------------------------------------------------------


def fewest_unmet(event: Event, found: Organised, loads: list[Load]) -> float:
    """Least water unserved, by trying every truck for every load."""
    trucks = [t for t in event.trucks if t.role == "station"]
    best = math.inf
    for given in itertools.product([None, *range(len(trucks))], repeat=len(loads)):
        unmet = sum(load.water for load, k in zip(loads, given, strict=True) if k is None)
        if unmet < best and all(
            can_serve(event, found, k, [p for p, who in zip(loads, given, strict=True) if who == k])
            for k in range(len(trucks))
        ):
            best = unmet
    return best


def can_serve(event: Event, found: Organised, k: int, own: list[Load]) -> bool:
    """Whether one truck can go from load to load, refilling or not before each."""
    truck = event.trucks[k]
    if not own:
        return True
    for fills in itertools.product([True, False], repeat=len(own) - 1):
        if drives(found, truck, own, [True, *fills]):
            return True
    return False


def drives(found: Organised, truck, own: list[Load], fills: list[bool]) -> bool:  # type: ignore[no-untyped-def]  # noqa: ANN001
    at, clock = truck.base, truck.ready
    chain: list[tuple[float, float]] = []  # most on the way, water given
    for load, fill in zip(own, fills, strict=True):
        there = found.course.sites[load.place].distance
        first = not chain
        if fill and not first:
            way = way_between(found.course, at, truck.fill_at).length
            way += way_between(found.course, truck.fill_at, there).length
            clock += way / truck.speed + truck.volume / truck.fill_rate + truck.set_up
            limit = way_between(found.course, truck.fill_at, there).limit
        else:
            leg = way_between(found.course, at, there)
            clock, limit = clock + leg.length / truck.speed, leg.limit
        if clock + truck.set_up + 300 > load.begin:
            return False
        most = min(truck.volume, limit - truck.tare)
        if first or fill:
            chain.append((most, load.water))
            batch = [(most, load.water)]
        else:
            batch.append((most, load.water))
        carried = sum(w for _, w in batch)
        for cap, water in batch:  # what is still aboard on each way
            if carried > cap + 1e-6:
                return False
            carried -= water
        at, clock = there, load.end
    return True


@pytest.mark.parametrize("number", range(8))
def test_trucks_equal_exhaustive_search(found: Organised, number: int) -> None:
    draw = np.random.default_rng(number)
    loads = []
    for _ in range(4):
        begin = float(draw.uniform(32_000, 40_000))
        loads.append(
            Load(
                place=int(draw.choice([1, 3])), begin=begin,
                end=begin + float(draw.uniform(300, 1500)), water=float(draw.uniform(800, 3500)),
            )
        )  # fmt: skip
    loads.sort(key=lambda load: load.begin)
    rota = plan_trucks(found.event, found.course, loads)
    unmet = sum(load.water for load in rota.unmet)
    assert unmet == pytest.approx(fewest_unmet(found.event, found, loads), abs=1e-3)
    check_rota(found, rota)


def check_rota(found: Organised, rota: Rota) -> None:
    for shift in rota.shifts:
        truck = found.event.trucks[shift.truck]
        assert shift.gives <= shift.load + 1e-6 <= truck.volume + 2e-6
        assert shift.gross <= shift.limit + 1e-6
        assert shift.gross == pytest.approx(truck.tare + shift.load)
    for k in {shift.truck for shift in rota.shifts}:
        own = [shift for shift in rota.shifts if shift.truck == k]
        for before, after in itertools.pairwise(own):
            assert before.leave + after.travel <= after.arrive + 1e-6


def test_no_truck_goes_over_a_bridge_heavier_than_posted(found: Organised) -> None:
    beyond = [Load(place=3, begin=40_000.0, end=41_000.0, water=3000.0)]
    rota = plan_trucks(found.event, found.course, beyond)
    (shift,) = rota.shifts
    assert shift.bridges == ("Hump",)
    assert shift.gross <= 7500.0
    too_much = [Load(place=3, begin=40_000.0, end=41_000.0, water=3600.0)]  # 4 t and 3 t trucks
    assert plan_trucks(found.event, found.course, too_much).unmet


def test_without_a_list_of_trucks_truck_places_are_taken_as_hired(make: Make) -> None:
    sites = "name,kind,at [km],hoses,rate [L/min]\nGreen,truck,7,2,120\nMill,truck,14,2,120\n"
    done = organise(read_event(make({"sites.csv": sites, "trucks.csv": ""})))
    assert done.rota.shifts == ()
    assert sum(halt.take for halt in done.typical.halts) > 1000


def test_trucks_that_cannot_follow_are_named(make: Make) -> None:
    sites = "name,kind,at [km],hoses,rate [L/min]\nGreen,truck,8.5,2,120\nDam,tap,14,2,120\n"
    trucks = TRUCKS.replace("08:00", "20:00")
    fleet = "engine,tank,thirst_hour\nAlder,600 L,220 L/h\n"
    event = read_event(make({"sites.csv": sites, "trucks.csv": trucks, "fleet.csv": fleet}))
    with pytest.raises(NoPlanError, match=r"the trucks cannot serve Green: .* another truck"):
        organise(event)


# --- outputs and the command ----------------------------------------------------------


def test_outputs_are_escaped_and_reach_for_nothing(found: Organised) -> None:
    files = stations_outputs(found, METRIC)
    assert set(files) == {
        "stations.csv", "fleet.csv", "trucks.csv", "orders.csv", "sheets.html", "queues.svg",
    }  # fmt: skip
    assert "<b>Dogwood" not in files["sheets.html"]
    assert "&lt;b&gt;Dogwood" in files["sheets.html"]
    assert "'=HYPERLINK(1)" in files["fleet.csv"]
    for text in (files["sheets.html"], files["queues.svg"].replace("http://www.w3.org", "")):
        assert not re.search(r"(?i)https?://", text)
    assert not re.search(r"(?i)\bsafe(ly)?\b", "".join(files.values()))


def test_the_fleet_table_gives_lowest_level_and_place(found: Organised) -> None:
    frame = fleet_frame(found, METRIC)
    assert len(frame) == 5
    rows = list(csv.DictReader(io.StringIO(stations_outputs(found, METRIC)["fleet.csv"])))
    for row, day in zip(rows, found.typical.engines, strict=True):
        assert int(row["lowest, typical day [L]"]) == round(day.lowest / 0.999)
        assert float(row["at [km]"]) == pytest.approx(day.where / 1000, abs=0.06)
        assert row["dry runs"] == "0"


def test_the_command_writes_everything_or_explains(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    with pytest.raises(SystemExit) as left:
        main(["stations", str(make()), "--out", str(out), "--units", "us"])
    assert left.value.code == 0
    page = capsys.readouterr().out
    assert "US gal" in page
    assert "proved best" in page
    assert (out / "sheets.html").stat().st_size > 2000
    bare = make({"sites.csv": SITES.splitlines()[0] + "\nFord,hydrant,3,2,120,,60,,,,\n"})
    with pytest.raises(SystemExit) as left:
        main(["stations", str(bare)])
    assert left.value.code == 1
    assert "cannot get from Ford to the finish" in capsys.readouterr().err
    with pytest.raises(SystemExit) as left:
        main(["stations", str(tmp_path / "nowhere")])
    assert left.value.code == 2
    assert "no such folder" in capsys.readouterr().err
