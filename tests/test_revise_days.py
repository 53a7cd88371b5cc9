"""Revising a run of several days: each day has its own light, hours, work and levels."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haulplan.demand import Begun, build_demand
from haulplan.errors import InputError, InternalError
from haulplan.plan import Plan, Stop, Trace, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.underway.asked import Asked, understand
from haulplan.underway.change import Change
from haulplan.underway.drills import run_drills
from haulplan.underway.rest import remainder
from haulplan.underway.revise import Revision, revise
from haulplan.underway.sofar import begun_at, gone_on, old_stops
from haulplan.underway.task import Reading, Task, as_planned

Toml = dict[str, Any]
Write = Callable[..., Path]
MILE = 1609.344
HOUR, DAY = 3600.0, 86400.0
DEMO = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"


@dataclass(frozen=True, kw_only=True)
class Run:
    """A run with its plan, ready to be revised."""

    task: Task
    plan: Plan
    trace: Trace

    def revise(self, reading: Reading, change: Change | None = None) -> Revision:
        return revise(self.task, reading, change, old=old_stops(self.plan))

    def stop(self, name: str) -> Stop:
        return next(stop for stop in self.plan.stops if stop.name == name)

    def readings(self, between: int) -> Iterator[tuple[Reading, int]]:
        """Planned levels at every stop, arriving and leaving, and so often between two.

        With each the number of stops that are behind.
        """
        distance = np.array(self.trace.distance)
        for number, stop in enumerate(self.plan.stops[:-1]):
            if number:
                yield arriving(stop), number
                yield leaving(stop), number + 1
            after = self.plan.stops[number + 1].distance
            for share in np.linspace(0, 1, between + 2)[1:-1]:
                k = int(np.searchsorted(distance, stop.distance + share * (after - stop.distance)))
                if stop.distance + 1 < distance[k] < after - 1:
                    at = Reading(
                        distance=self.trace.distance[k], clock=self.trace.clock[k],
                        water=self.trace.tank[k], coal=self.trace.bunker[k],
                        cart=self.trace.cart[k],
                    )  # fmt: skip
                    yield at, number + 1


def arriving(stop: Stop) -> Reading:
    return Reading(
        distance=stop.distance, clock=stop.arrive, water=stop.tank_arrive,
        coal=stop.bunker_arrive, cart=stop.cart_arrive,
    )  # fmt: skip


def leaving(stop: Stop) -> Reading:
    return Reading(
        distance=stop.distance, clock=stop.depart, water=stop.tank_depart,
        coal=stop.bunker_depart, cart=stop.cart_depart, leaving=True,
    )  # fmt: skip


def planned(folder: Path) -> Run:
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    trace = replay(scenario, route, demand, plan)
    task = as_planned(Task(scenario=scenario, route=route, demand=demand), plan)
    return Run(task=task, plan=plan, trace=trace)


@cache
def demo() -> Run:
    return planned(DEMO)


def never_worse(run: Run, between: int, *, every: int = 1) -> None:
    """Everywhere on plan the whole plan is kept, and the finish reached no later."""
    for reading, behind in list(run.readings(between))[::every]:
        found = run.revise(reading)
        where = f"at {reading.distance:.0f} m, {reading.clock / HOUR:.2f} h"
        assert found.verdict == "go on", f"{where}: {found.why_not}"
        assert found.ahead is not None
        assert found.ahead.whole, where
        assert found.ahead.plan.arrival <= run.plan.arrival + 1.0, where
        assert found.day == (run.plan.stops[behind - 1].depart // DAY), where
        assert found.off_plan == pytest.approx((0.0, 0.0, 0.0), abs=0.5), where
        left = [s.money for s in run.plan.stops[behind:]]
        if found.ahead.plan.arrival > run.plan.arrival - 1.0:
            assert sum(s.money for s in found.ahead.plan.stops) <= sum(left) + 0.02, where


def test_on_plan_the_demo_is_never_revised_for_the_worse() -> None:
    never_worse(demo(), between=1, every=2)


def test_revising_in_the_morning_gives_what_is_left_of_the_plan() -> None:
    run = demo()
    night = next(k for k, stop in enumerate(run.plan.stops) if stop.fire is not None)
    morning = run.plan.stops[night]
    found = run.revise(leaving(morning))
    assert found.ahead is not None
    plan = found.ahead.plan
    assert plan.date == run.plan.date
    assert plan.arrival == pytest.approx(run.plan.arrival, abs=0.5)
    (today,) = plan.days
    second = run.plan.days[1]
    assert (today.date, today.earliest, today.latest) == (
        second.date, second.earliest, second.latest
    )  # fmt: skip
    assert today.lit == pytest.approx(second.lit, abs=1)
    for new, old in zip(plan.stops[1:], run.plan.stops[night + 1 :], strict=True):
        assert (new.name, new.day, new.duties, new.meals) == (
            old.name, old.day, old.duties, old.meals
        )  # fmt: skip
        assert new.arrive == pytest.approx(old.arrive, abs=1)
        assert new.water_taken == pytest.approx(old.water_taken, abs=1)
        assert new.distance + morning.distance == pytest.approx(old.distance, abs=0.5)


def test_the_second_day_is_held_against_its_own_light_and_hours() -> None:
    """What once said TURN BACK at 12.9, 15.1 and 18 miles."""
    run = demo()
    for mile in (14.0, 15.1, 18.0):
        asked = Asked(at=f"{mile} mi", clock="07:30")
        reading, change = understand(run.task, asked, old_stops(run.plan))
        assert reading.clock == 7.5 * HOUR + DAY
        found = run.revise(reading, change)
        assert (found.verdict, found.day) == ("go on", 1)
        assert found.until == run.task.demand.hours[1][1]


# --- small runs, by hand --------------------------------------------------------------


def columns(rows: list[dict[str, str]]) -> str:
    names = list(dict.fromkeys(name for row in rows for name in row))
    lines = [",".join(names), *(",".join(row.get(n, "") for n in names) for row in rows)]
    return "\n".join(lines) + "\n"


def tap(name: str, at: str, **more: str) -> dict[str, str]:
    plain = {
        "kind": "tap", "set_up": "5 min", "water_available": "unlimited",
        "water_rate": "50 kg/min", "coal_available": "unlimited", "coal_rate": "40 kg/min",
    }  # fmt: skip
    return {"name": name, "at": at, **plain, **more}


@pytest.fixture
def long_road(measured: Toml) -> tuple[Toml, dict[str, list[dict[str, str]]]]:
    """20 km at 60 kg of water, 4 kg of coal and 20 min each: more than a crew's day."""
    measured |= {
        "hours": {"crew": "6 h", "rest": "8 h", "earliest": "05:00", "latest": "21:00"},
        "lighting_up": {"cold": "2 h", "banked": "45 min"},
        "nights": {
            "most": 2, "fire": "either", "banked_water": "10 kg", "banked_coal": "4 kg",
            "dropped_water": "14 kg", "dropped_coal": "9 kg",
        },
        "duties": [{"name": "oil round", "hours": "1 h 50 min", "takes": "6 min"},
                   {"name": "ash", "miles": "7 km", "takes": "9 min"}],
        "meals": [{"name": "dinner", "earliest": "08:30", "latest": "10:40", "takes": "30 min"}],
    }  # fmt: skip
    supplies = [tap("Mill", "4.5 km"), tap("Weir", "9 km", night="yes"),
                tap("Lock", "13.5 km", night="yes"), tap("Ford", "17 km")]  # fmt: skip
    places = [
        {"name": name, "at": at, "halt": "yes"}
        for name, at in (("Oak", "3 km"), ("Elm", "7 km"), ("Ash", "15.5 km"))
    ]
    return measured, {"supply": supplies, "places": places}


USE = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,20,400,1200,80\n"


def run_of(write: Write, toml: Toml, tables: dict[str, list[dict[str, str]]], name: str) -> Run:
    files = {f"{table}.csv": columns(rows) for table, rows in tables.items()}
    return planned(write(toml, {"demand.csv": USE, **files}, name=name))


def test_on_plan_a_small_run_of_days_is_never_revised_for_the_worse(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    draw = random.Random(11)
    days = set()
    for number in range(3):
        toml["nights"]["fire"] = draw.choice(["either", "banked", "dropped"])
        toml["hours"]["crew"] = draw.choice(["6 h", "6 h 40 min", "9 h"])
        toml["duties"][0]["hours"] = draw.choice(["1 h 50 min", "2 h 30 min"])
        toml["duties"][1]["miles"] = draw.choice(["5 km", "7 km"])
        toml["meals"][0]["latest"] = draw.choice(["09:50", "10:40"])
        tables["supply"][1]["opens"] = draw.choice(["", "08:00"])
        tables["supply"][3]["water_available"] = draw.choice(["unlimited", "220 kg"])
        run = run_of(write, toml, tables, f"run {number}")
        days.add(len(run.plan.days))
        never_worse(run, between=1)
    assert days >= {2}


def test_a_cart_and_a_call_on_the_second_day_go_on_as_planned(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    toml["train"] = {
        "dry_weight": "20 t", "wagons": [{"name": "Cart", "tare": "500 kg", "tyre": "rubber"}]
    }  # fmt: skip
    tables["stores"] = [
        {"name": "Cart", "kind": "cart", "water": "300 kg", "water_rate": "25 kg/min"}
    ]
    tables["places"].append(
        {"name": "Green", "at": "16 km", "stay": "20 min", "opens": "09:00", "closes": "14:00",
         "day": "2"}
    )  # fmt: skip
    run = run_of(write, toml, tables, "cart")
    assert any(stop.cart_emptied > 1 for stop in run.plan.stops)
    never_worse(run, between=1)
    weir = run.stop("Weir")
    asked = Asked(at="9 km", clock="12:00", cart="120 kg")
    reading, _ = understand(run.task, asked, old_stops(run.plan))
    assert reading.cart == 120
    found = run.revise(replace(arriving(weir), cart=0.0))
    assert found.ahead is not None
    assert found.ahead.plan.stops[0].cart_arrive == 0.0
    with pytest.raises(InputError, match="--cart: more than the cart holds"):
        understand(run.task, Asked(at="9 km", cart="301 kg"), old_stops(run.plan))


@pytest.fixture
def small(write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]) -> Run:
    return run_of(write, *long_road, "small")


def test_what_has_run_up_is_read_from_the_plan(small: Run) -> None:
    """Of each duty by hand: from where it was done last, in its own measure."""
    old = old_stops(small.plan)
    for reading, behind in small.readings(2):
        begun = begun_at(small.task, old, reading)
        today = [s for s in small.plan.stops[:behind] if s.depart // DAY == reading.clock // DAY]
        nights = [s for s in today if s.fire is not None or s.kind == "start"]
        lit = 2 * HOUR if nights[0].fire in {None, "dropped"} else 0.75 * HOUR
        assert begun.on_duty == pytest.approx(
            reading.clock - nights[0].depart + lit, abs=31
        )  # a clock is read to the minute, in the crew's favour
        for duty, since, each in zip(("oil round", "ash"), begun.since, (1200, 1000), strict=True):
            done = [s for s in today if duty in s.duties or s in nights]
            run = (reading.distance - done[-1].distance) / 1000 * each
            assert since == pytest.approx(max(run, 0), abs=51)
        eaten = {meal for s in today if s not in nights for meal in s.meals}
        assert set(begun.had) == eaten


def test_a_meal_planned_later_has_not_been_had(small: Run) -> None:
    stop = next(s for s in small.plan.stops if "dinner" in s.meals)
    before = arriving(stop)
    assert before.clock > 8.5 * HOUR  # its time has begun
    found = small.revise(before)
    assert found.ahead is not None
    assert any("dinner" in s.meals for s in found.ahead.plan.stops)
    after = small.revise(leaving(stop))
    assert after.ahead is not None
    assert all("dinner" not in s.meals for s in after.ahead.plan.stops if s.day == stop.day)
    bare = replace(found.ahead.plan, stops=tuple(
        replace(s, meals=(), arrive=s.arrive, depart=s.depart) for s in found.ahead.plan.stops
    ))  # fmt: skip
    begun = begun_at(small.task, old_stops(small.plan), before)
    here = small.task.route.index(before.distance)
    rest = remainder(small.task, here, before, {}, begun)
    with pytest.raises(InternalError, match="no dinner on day 1"):
        replay(rest.scenario, rest.route, rest.demand, bare)


def test_the_replay_holds_a_plan_to_what_lies_behind(small: Run) -> None:
    """The same plan, had more run up, or the crew been longer on duty."""
    found = small.revise(arriving(small.plan.stops[1]))
    assert found.ahead is not None
    here = small.task.route.index(small.plan.stops[1].distance)
    reading = arriving(small.plan.stops[1])
    begun = begun_at(small.task, old_stops(small.plan), reading)

    def proved(begun: Begun) -> None:
        rest = remainder(small.task, here, reading, {}, begun)
        assert found.ahead is not None
        lower = {"water": 0.9 * 40, "coal": 0.9 * 5}  # what a revision gives is no matter here
        reserve = rest.scenario.file.reserve.model_copy(update=lower)
        file = rest.scenario.file.model_copy(
            update={"reserve": reserve, "at_finish": rest.scenario.file.at_finish.model_copy(
                update={"water": 45.0, "coal": 9.0})}
        )  # fmt: skip
        scenario = replace(rest.scenario, file=file)
        plan = replace(found.ahead.plan, reserve_water=0.0, reserve_coal=0.0)
        replay(scenario, rest.route, rest.demand, plan)

    proved(begun)
    with pytest.raises(InternalError, match="oil round"):
        proved(replace(begun, since=(begun.since[0] + 6000, begun.since[1])))
    with pytest.raises(InternalError, match="ash"):
        proved(replace(begun, since=(begun.since[0], begun.since[1] + 6000)))
    with pytest.raises(InternalError, match="crew on day 1"):
        proved(replace(begun, on_duty=begun.on_duty + 6 * HOUR))


def test_a_dropped_fire_takes_its_own_lead_in_the_morning(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    toml["nights"]["fire"] = "dropped"
    run = run_of(write, toml, tables, "dropped")
    night = next(s for s in run.plan.stops if s.fire == "dropped")
    found = run.revise(arriving(night))
    assert found.ahead is not None
    assert found.ahead.plan.arrival <= run.plan.arrival + 1
    assert {day.depart - day.lit for day in found.ahead.plan.days[1:]} == {2 * HOUR}
    assert night.arrive > found.ahead.plan.days[0].lit + 2 * HOUR  # the day so far is longer


def test_a_duty_by_distance_grows_by_metres_and_one_by_hours_by_seconds(small: Run) -> None:
    before = Begun(left=0.0, on_duty=100.0, since=(600.0, 2000.0), had=("dinner",))
    after = gone_on(small.task, before, 1200.0, 1000.0)
    assert after.since == (1800.0, 3000.0)
    assert after.on_duty == 1300.0
    assert after.had == ("dinner",)


def test_on_the_way_to_water_below_the_reserve_metres_stay_metres(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    """With 3.6 km to Mill at 20 min a km, 4,320 s taken for metres would be over the 5 km."""
    toml, tables = long_road
    toml["duties"] = [{"name": "ash", "miles": "5 km", "takes": "9 min"}]
    del tables["places"]
    run = run_of(write, toml, tables, "metres")
    begin = Reading(
        distance=900.0, clock=run.plan.stops[0].depart + 18 * 60, water=230.0, coal=80.0
    )
    found = run.revise(begin)
    assert found.verdict == "go on into the reserve"
    assert found.ahead is not None
    _here, mill, *_ = found.ahead.calls
    assert mill.name == "Mill"
    assert mill.tank == pytest.approx(230 - 3.6 * 60, abs=0.5)
    # 4.5 km are run at Mill, 4.5 more to Weir: ash falls due at Mill, and not before it
    done = {call.name for call in found.ahead.calls if "ash" in call.doing}
    assert done
    assert found.ahead.over == ()


# --- which day ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "day", "leaves"),
    [
        ({"at": "6.3 mi", "clock": "10:00"}, 0, False),
        ({"at": "6.3 mi", "clock": "12:28"}, 0, True),
        ({"at": "11.2 mi", "clock": "13:45"}, 0, False),
        ({"at": "11.2 mi", "clock": "14:00", "water": "93 US gal", "coal": "612 lb"}, 0, True),
        ({"at": "11.2 mi", "clock": "14:00", "water": "48 US gal"}, 0, False),
        ({"at": "12.9 mi", "clock": "14:30"}, 0, False),
        ({"at": "12.9 mi", "clock": "06:20"}, 1, True),
        ({"at": "15.1 mi", "clock": "07:00"}, 1, False),
        ({"at": "15.1 mi", "clock": "15:30", "day": 1}, 0, False),
        ({"at": "13.3 mi", "clock": "06:30", "day": 2}, 1, False),
    ],
)
def test_the_day_is_the_one_nearest_to_the_plan_or_the_one_said(
    words: dict[str, Any], day: int, leaves: bool
) -> None:
    run = demo()
    reading, _ = understand(run.task, Asked(**words), old_stops(run.plan))
    assert (reading.clock // DAY, reading.leaving) == (day, leaves)


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ({"day": 2}, "--day: no time; give --time too"),
        ({"cart": "5 US gal"}, "--cart: no cart in stores.csv; leave it out"),
    ],
)
def test_a_day_without_a_time_and_a_cart_that_is_not_there_are_refused(
    words: dict[str, Any], fault: str
) -> None:
    run = demo()
    with pytest.raises(InputError, match=fault):
        understand(run.task, Asked(at="14 mi", **words), old_stops(run.plan))


def test_asked_before_the_nights_rest_is_over_nobody_leaves(small: Run) -> None:
    night = next(s for s in small.plan.stops if s.fire is not None)
    lead = 2 * HOUR if night.fire == "dropped" else 0.75 * HOUR
    rested = night.arrive + night.stay + 8 * HOUR + lead
    asked = max(DAY + 1.0, rested - 2 * HOUR)
    if asked < rested:
        found = small.revise(replace(leaving(night), clock=asked))
        assert found.ahead is not None
        assert found.ahead.calls[0].depart >= rested - 1


# --- over the hours -------------------------------------------------------------------


def test_a_crew_over_its_hours_is_told_so_and_where_to_stand() -> None:
    run = demo()
    asked = Asked(at="8.2 mi", clock="14:45")
    reading, change = understand(run.task, asked, old_stops(run.plan))
    found = run.revise(reading, change)
    assert found.verdict == "go on over the hours"
    assert found.ahead is not None
    assert found.ahead.reserve == 1.0
    (over,) = found.ahead.over
    assert (over.kind, over.day) == ("crew", 0)
    night = next(c for c in found.ahead.calls if c.fire is not None)
    stop = next(s for s in found.ahead.plan.stops if s.fire is not None)
    # the crew lit its fire at 06:00 and may work ten hours
    assert over.by == pytest.approx(stop.depart - stop.night - 16 * HOUR, abs=61)
    assert over.name == "Crossroads store"
    assert over.clock <= 16 * HOUR
    assert night.name == "Highfold Farm tanks"


def test_after_dark_is_told_in_minutes(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    del toml["duties"], toml["meals"]
    toml["hours"] = {"earliest": "05:00", "latest": "14:00", "rest": "8 h"}
    toml["nights"]["most"] = 1
    tables["supply"][2]["night"] = ""
    run = run_of(write, toml, tables, "dark")
    last = run.plan.stops[-1]
    reading = Reading(distance=18000.0, clock=DAY + 13.75 * HOUR, water=300.0, coal=60.0)
    assert last.day == 2
    found = run.revise(reading)
    assert found.verdict == "go on over the hours"
    assert found.ahead is not None
    (over,) = found.ahead.over
    # two km at 20 min from 13:45 end at 14:25
    assert (over.kind, over.day) == ("light", 1)
    assert over.by == pytest.approx(25 * 60, abs=1)


# --- drills ---------------------------------------------------------------------------


def test_drills_hold_for_each_day_and_leave_halts_alone(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    tables["places"][0]["stay"] = "15 min"
    small = run_of(write, toml, tables, "drilled")
    drills = run_drills(small.task, small.plan)
    shut = [drill.name for drill in drills if drill.name.endswith(" shut")]
    assert shut == [f"{s.name} shut" for s in small.plan.stops if s.kind == "supply"]
    assert any(s.kind == "halt" for s in small.plan.stops)
    for day in range(1, len(small.plan.days) + 1):
        for words in ("coal poor", "an hour lost"):
            (drill,) = [d for d in drills if d.name.startswith(words) and f"day {day}" in d.name]
            assert drill.revision is not None
            assert drill.revision.day == day - 1
    assert len(small.plan.days) > 1


def test_a_truck_that_does_not_come_is_drilled(
    write: Write, long_road: tuple[Toml, dict[str, list[dict[str, str]]]]
) -> None:
    toml, tables = long_road
    tables["stores"] = [
        {"name": "Bowser", "kind": "truck", "water": "900 kg", "water_rate": "90 kg/min"}
    ]
    tables["supply"] = [tap("Lock", "13.5 km", night="yes"), tap("Weir", "9 km", night="yes")]
    run = run_of(write, toml, tables, "truck")
    met = [stop for stop in run.plan.stops if stop.truck is not None]
    assert met
    drills = run_drills(run.task, run.plan)
    for stop in met:
        (drill,) = [d for d in drills if d.name == f"Bowser does not come to {stop.name}"]
        assert drill.revision is not None
        for one in (drill.revision.ahead, drill.revision.after):
            assert one is None or all(s.truck is None for s in one.plan.stops)


def test_a_drill_that_leaves_the_night_out_says_so() -> None:
    scenario = read_scenario(DEMO)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    drills = run_drills(Task(scenario=scenario, route=route, demand=demand), plan)
    sooner = [drill for drill in drills if (drill.late or 0.0) < -6 * 3600]
    assert sooner
    assert all("a night sooner" in drill.answer for drill in sooner)
    others = [drill for drill in drills if drill not in sooner]
    assert not any("a night sooner" in drill.answer for drill in others)
