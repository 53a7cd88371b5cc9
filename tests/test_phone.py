"""The phone page: Python's figures to the printed digit, on any phone, with no signal."""

import json
import os
import random
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import pytest
from one_day import one_day

from haulplan.demand import build_demand
from haulplan.outputs.phone import draw_phone, phone_document, sentences
from haulplan.outputs.tables import clock_text
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.underway.log import read_log
from haulplan.underway.pocket import Pocket, make_pocket
from haulplan.underway.reckon import Look, day_at, reckon
from haulplan.underway.spans import water_spans
from haulplan.underway.task import Task
from haulplan.units import UNIT_SYSTEMS, DisplayUnit

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Dialog, Page

TWO_DAYS = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"
DEMO = one_day(TWO_DAYS, Path(tempfile.mkdtemp()))
CHROMIUM = shutil.which("chromium")
HOSTILE = ("<img src=x onerror=alert(1)>", "</script><script>alert(2)</script>", '"; alert(3); "')
BLOCKED = """Object.defineProperty(window, "localStorage", {
  get() { throw new DOMException("denied", "SecurityError"); } });"""


@dataclass(frozen=True, kw_only=True)
class Made:
    task: Task
    plan: Plan
    pocket: Pocket
    page: str


@cache
def made(units: str = "us", *, hostile: bool = False, days: int = 1) -> Made:
    scenario = read_scenario(DEMO if days == 1 else TWO_DAYS)
    supplies = scenario.supplies
    if hostile:
        names = [*HOSTILE, *(s.name for s in supplies[len(HOSTILE) :])]
        named = zip(supplies, names, strict=True)
        supplies = tuple(s.model_copy(update={"name": name}) for s, name in named)
    title = HOSTILE[0] if hostile else scenario.file.title
    file = scenario.file.model_copy(update={"units": units, "title": title})
    scenario = replace(scenario, file=file, supplies=supplies)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    task = Task(scenario=scenario, route=route, demand=demand)
    trace = replay(scenario, route, demand, plan)
    pocket = make_pocket(task, plan, trace)
    return Made(task=task, plan=plan, pocket=pocket, page=draw_phone(task, plan, trace))


# --- the sums -------------------------------------------------------------------------


def test_on_the_planned_levels_the_pocket_says_the_plans_own_figures() -> None:
    run = made()
    water = UNIT_SYSTEMS["us"].water
    first = run.plan.stops[0]
    looks = [Look(at=0.0, clock=first.depart, dip=water.value(first.tank_arrive))]
    for k, stop in enumerate(run.plan.stops[1:-1]):
        found = reckon(run.pocket, looks)
        assert found["name"] == stop.name
        lines = sentences(run.pocket, found, UNIT_SYSTEMS["us"])
        assert lines["order"] == f"GO ON to {stop.name}"
        assert lines["next"].endswith(f"with {water.text(stop.tank_arrive)}")
        assert clock_text(stop.arrive) in lines["next"]
        assert (lines["late"], lines["off"], lines["thirst"]) in {
            ("on time", "tank as planned", "1.00"),
        } or k > 0
        looks.append(
            Look(
                at=run.pocket.stops[k].at,
                clock=stop.depart,
                dip=water.value(stop.tank_arrive),
                filled=water.value(stop.tank_depart),
            )
        )


def test_the_second_day_goes_by_its_own_clock_and_the_night_is_counted() -> None:
    run = made(days=2)
    water = UNIT_SYSTEMS["us"].water
    stops = run.plan.stops

    def lines(k: int, at: str) -> dict[str, str]:
        stop = stops[k]
        arriving = at == "arriving"
        looks = [
            Look(
                at=run.pocket.stops[k - 1].at if k else 0.0,
                clock=stop.arrive if arriving else stop.depart,
                dip=water.value(stop.tank_arrive if arriving else stop.tank_depart),
            )
        ]
        return sentences(run.pocket, reckon(run.pocket, looks), UNIT_SYSTEMS["us"])

    night = next(k for k, stop in enumerate(stops) if stop.fire is not None)
    filled = next(s for s in stops[1:] if s.kind == "supply")
    # from the start past the call and the dinner at the market hall, which has no water
    start = lines(0, "leaving")
    assert start["order"] == f"GO ON to {filled.name}"
    assert (
        f"there {clock_text(filled.arrive)} with {water.text(filled.tank_arrive)}"
        in (start["next"])
    )
    # in the evening the night lies before the next water, in the morning behind
    after = stops[night + 1]
    evening, morning = lines(night, "arriving"), lines(night, "leaving")
    for said in (evening, morning):
        assert said["order"] == f"GO ON to {after.name}"
        assert (
            f"there {clock_text(after.arrive)} with {water.text(after.tank_arrive)}"
            in (said["next"])
        )
        assert said["late"] == "on time"
    assert "bank the fire" in evening["here"]
    assert f"leave {clock_text(stops[night].depart)}" in evening["here"]
    assert morning["here"] == ""
    assert morning["off"] == evening["off"] == "tank as planned"
    # the tenth of a mile that a crew reads is at the stop too
    typed = round(run.pocket.stops[night - 1].at, 1) + 0.01
    look = Look(at=typed, clock=stops[night].arrive, dip=water.value(stops[night].tank_arrive))
    said = sentences(run.pocket, reckon(run.pocket, [look]), UNIT_SYSTEMS["us"])
    assert (said["late"], said["off"]) == ("on time", "tank as planned")
    assert day_at(run.pocket, typed, stops[night].arrive) == 0
    assert evening["day"] == "Day 1, Saturday 2027-05-22"
    assert morning["day"] == "Day 2, Sunday 2027-05-23"
    assert morning["light"] == "Wheels may turn until 20:42"


def test_a_time_of_day_is_of_the_day_the_plan_passes_the_place_on() -> None:
    run = made(days=2)
    for stop in run.plan.stops[1:-1]:
        at = UNIT_SYSTEMS["us"].distance.value(stop.distance)
        for clock in (stop.arrive, stop.depart):
            assert day_at(run.pocket, at, clock % 86400) == clock // 86400
    assert day_at(run.pocket, 14.0, 7 * 3600.0) == 1
    assert day_at(run.pocket, 7.0, 13 * 3600.0) == 0


def test_a_night_is_no_thirst() -> None:
    run = made(days=2)
    water = UNIT_SYSTEMS["us"].water
    looks = [Look(at=0.0, clock=run.plan.stops[0].depart, dip=run.pocket.tank)]
    for stop, here in zip(run.plan.stops[1:-1], run.pocket.stops, strict=False):
        dip = water.value(stop.tank_arrive)
        filled = here.mark if here.has_water else None
        looks.append(Look(at=here.at, clock=stop.arrive, dip=dip, filled=filled))
    assert reckon(run.pocket, looks)["thirst"] == pytest.approx(1.0, abs=0.01)


def test_a_thirsty_day_shows_and_one_short_leg_moves_little() -> None:
    pocket = made().pocket
    start = Look(at=0.0, clock=25200.0, dip=pocket.tank)

    def thirst(at: float, times: float) -> float:
        row = next(r for r in pocket.rows if r.at >= at)
        used = times * row.water
        found = reckon(pocket, [start, Look(at=row.at, clock=30000.0, dip=pocket.tank - used)])
        return float(found["thirst"])

    assert 1.0 < thirst(0.5, 1.5) < 1.1 < thirst(7.0, 1.5) < 1.5
    assert thirst(7.0, 1.0) == pytest.approx(1.0)


def test_a_dry_stop_is_passed_over_and_an_empty_tank_stands() -> None:
    pocket = made().pocket
    name = pocket.stops[0].name
    look = Look(at=9.0, clock=33000.0, dip=0.4 * pocket.tank)
    assert reckon(pocket, [look])["name"] == name
    assert reckon(pocket, [look], [name])["name"] != name
    stranded = Look(at=16.5, clock=40000.0, dip=1.0)
    everything = [water.name for water in pocket.waters]
    found = reckon(pocket, [stranded], everything)
    assert found["order"] == "STAND, and have water brought"
    assert found["reach"] == -1.0


def test_the_last_point_is_where_the_way_on_and_back_leaves_the_reserve() -> None:
    pocket = made().pocket
    look = Look(at=7.0, clock=31500.0, dip=0.6 * pocket.tank)
    found = reckon(pocket, [look])
    last, home = float(found["last"]), str(found["home"])
    assert 7.0 < last < float(found["reach"])
    (water,) = [w for w in pocket.waters if w.name == home]

    def column(name: str, at: float) -> float:
        rows = pocket.rows
        k = next(i for i, row in enumerate(rows) if row.at >= at)
        share = (at - rows[k - 1].at) / (rows[k].at - rows[k - 1].at)
        low, high = getattr(rows[k - 1], name), getattr(rows[k], name)
        return float(low + share * (high - low))

    gone = column("water", last) - column("water", 7.0)
    gone += column("back", last) - column("back", water.at)
    assert look.dip - gone == pytest.approx(pocket.reserve, abs=0.05)


def test_the_page_asks_for_nothing_and_holds_no_markup_of_names() -> None:
    page = made(hostile=True).page
    assert "http://" not in page
    assert "https://" not in page
    for name in HOSTILE:
        assert name not in page
    data = page.partition('id="run">')[2].partition("</script>")[0]
    assert json.loads(data)["waters"][1]["name"] == HOSTILE[1]


# --- in the browser -------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser() -> Iterator["Browser"]:
    if CHROMIUM is None or not _has_playwright():
        if os.environ.get("CI"):
            pytest.fail("the browser tests must run: install Chromium and playwright")
        pytest.skip("no Chromium or playwright here")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM,
            args=[
                "--disable-gpu", "--no-sandbox", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
            ],
        )  # fmt: skip
        yield browser
        browser.close()


def _has_playwright() -> bool:
    from importlib.util import find_spec

    return find_spec("playwright") is not None


class Open(Protocol):
    """Opens a page as a phone does."""

    def __call__(
        self, text: str, *, private: bool = False, size: tuple[int, int] = (360, 640)
    ) -> "Phone": ...


@dataclass(frozen=True, kw_only=True)
class Phone:
    page: "Page"
    faults: list[str]

    def say(self, name: str) -> str:
        return self.page.locator(f"#say-{name}").inner_text()

    def enter(self, **fields: str) -> None:
        for name, text in fields.items():
            self.page.fill(f"#{name}", text)
        self.page.click("button.main")


@pytest.fixture
def phone(browser: "Browser", tmp_path: Path) -> "Iterator[Open]":
    """Opens a page as a phone does, its network off; faults and dialogs are collected."""
    contexts = []

    def make(text: str, *, private: bool = False, size: tuple[int, int] = (360, 640)) -> Phone:
        file = tmp_path / "phone.html"
        file.write_text(text, "utf-8")
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce",
            offline=True, accept_downloads=True,
        )  # fmt: skip
        contexts.append(context)
        if private:
            context.add_init_script(BLOCKED)
        page = context.new_page()
        page.set_default_timeout(20_000)
        faults: list[str] = []

        def hear(dialog: "Dialog") -> None:
            faults.append(dialog.message)
            dialog.dismiss()

        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: faults.append(message.text))
        page.on("dialog", hear)
        page.on("request", lambda r: faults.append(r.url) if not _own(r.url) else None)
        page.goto(file.as_uri())
        return Phone(page=page, faults=faults)

    yield make
    for context in contexts:
        context.close()


def _own(url: str) -> bool:
    return url.startswith(("file:", "blob:", "data:"))


def _random_logs(pocket: Pocket, count: int) -> list[tuple[list[Look], list[str]]]:
    pick = random.Random(20270522)
    end = pocket.rows[-1].at
    logs = []
    for _ in range(count):
        places = sorted(pick.uniform(0, end) for _ in range(pick.randint(1, 6)))
        if pick.random() < 0.4:
            places[-1] = pick.choice(pocket.stops[:-1]).at
            places.sort()
        clock, looks = 25200.0, []
        for at in places:
            clock += pick.uniform(0, 5000 + 20000 * (len(pocket.days) - 1))
            dip = pick.choice(
                [pocket.tank / 3, pick.uniform(0, pocket.tank), round(pick.uniform(0, 99))]
            )
            filled = pick.uniform(dip, pocket.tank) if pick.random() < 0.4 else None
            bags = pick.choice([None, 2.0, 0.5, 7.0])
            looks.append(Look(at=at, clock=clock, dip=dip, filled=filled, bags=bags))
        names = [water.name for water in pocket.waters]
        logs.append((looks, pick.sample(names, pick.choice([0, 0, 1, 4, len(names)]))))
    return logs


@pytest.mark.parametrize(("units", "days"), [("us", 1), ("metric", 1), ("us", 2)])
def test_every_figure_is_pythons_to_the_printed_digit(phone: Open, units: str, days: int) -> None:
    run = made(units, days=days)
    system = UNIT_SYSTEMS[units]
    logs = _random_logs(run.pocket, 400)
    wanted = [sentences(run.pocket, reckon(run.pocket, looks, dry), system) for looks, dry in logs]
    asked = [[[vars(look) for look in looks], dry] for looks, dry in logs]
    there = phone(run.page)
    found = there.page.evaluate("(logs) => logs.map(([l, d]) => sentences(reckon(l, d)))", asked)
    assert found == wanted
    hours = [(pick / 7, pick * 1217.0 % 86400) for pick in range(130)]
    days_found = there.page.evaluate("(h) => h.map(([at, hour]) => dayAt(at, hour))", hours)
    assert days_found == [day_at(run.pocket, at, hour) for at, hour in hours]
    orders = {line["order"].split(" to ")[0].split(" at ")[0] for line in wanted}
    assert len(orders) >= 5, "the random logs must reach every kind of answer"
    assert there.faults == []


def test_the_page_rounds_as_python_does(phone: Open) -> None:
    pick = random.Random(5)
    values = [k / 8 for k in range(-40, 41)] + [pick.uniform(-5000, 5000) for _ in range(500)]
    values += [0.05, 0.15, 0.25, 1.005, 2.675, 1234.5, 999.95, 99999.5, -0.04]
    there = phone(made().page)
    for decimals in (0, 1, 2):
        unit = DisplayUnit(label="", size=1.0, decimals=decimals)
        found = there.page.evaluate(
            "([v, d]) => v.map((x) => number({ decimals: d }, x))", [values, decimals]
        )
        assert found == [unit.number(value) for value in values]
    clocks = [k * 30.0 for k in range(3, 6000, 37)]
    assert there.page.evaluate("(c) => c.map(clockText)", clocks) == [clock_text(c) for c in clocks]


def test_an_entry_is_answered_and_kept_over_a_reload_and_a_turn(phone: Open) -> None:
    run = made()
    there = phone(run.page)
    there.enter(at="0", time="07:00", dip="full")
    there.enter(at="7", time="8:40", dip="1/3", bags="4")
    tank = run.pocket.tank
    now = Look(at=7.0, clock=31200.0, dip=tank * (1 / 3), bags=4.0)
    looks = [Look(at=0.0, clock=25200.0, dip=tank), now]
    wanted = sentences(run.pocket, reckon(run.pocket, looks), UNIT_SYSTEMS["us"])
    assert {name: there.say(name) for name in wanted if wanted[name]} == {
        name: text for name, text in wanted.items() if text
    }
    there.page.fill("#dip", "12")
    there.page.set_viewport_size({"width": 640, "height": 360})
    assert there.page.input_value("#dip") == "12"
    there.page.reload()
    assert there.say("order") == wanted["order"]
    assert there.page.input_value("#dip") == "12"
    assert there.page.locator("#count").inner_text() == "2"
    assert there.page.locator("#unkept").is_hidden()
    there.page.click("#undo")
    assert there.page.locator("#count").inner_text() == "1"
    assert there.faults == []


def test_the_day_is_taken_from_the_place_or_said(phone: Open) -> None:
    run = made(days=2)
    there = phone(run.page)
    there.enter(at="14", time="06:50", dip="2/3")
    assert there.say("day") == "Day 2, Sunday 2027-05-23"
    assert there.say("light") == "Wheels may turn until 20:42"
    there.page.click("#undo")
    there.page.select_option("#day", "0")
    there.enter(at="14", time="15:00", dip="2/3")
    assert there.say("day") == "Day 1, Saturday 2027-05-22"
    assert there.page.input_value("#day") == ""
    there.enter(at="15.1", time="07:05", dip="1/2")
    text = there.page.evaluate("logText()")
    assert [line.split(",")[0] for line in text.splitlines()[1:]] == ["2027-05-22", "2027-05-23"]
    there.page.clock.install(time="2027-05-23T06:58:00")
    there.page.reload()
    there.page.click("#now")
    assert there.page.input_value("#day") == "1"
    assert there.page.input_value("#time") == "06:58"
    assert there.faults == []


def test_a_run_of_one_day_asks_for_no_day(phone: Open) -> None:
    there = phone(made().page)
    assert there.page.locator("#day").is_hidden()
    there.enter(at="5", time="8:00", dip="50 %")
    assert there.page.locator("#say-day").is_hidden()


def test_without_storage_the_page_works_and_says_that_nothing_is_kept(phone: Open) -> None:
    there = phone(made().page, private=True)
    assert there.page.locator("#unkept").is_visible()
    there.enter(at="5", time="8:00", dip="50 %")
    assert there.say("order")
    assert there.page.locator("#unkept").is_visible()
    assert there.faults == []


def test_spoilt_storage_is_left_behind(phone: Open) -> None:
    there = phone(made().page)
    for text in ("{", "null", '{"entries": 3}', '{"entries": [], "dry": [], "draft": null}'):
        there.page.evaluate("(t) => localStorage.setItem(run.key, t)", text)
        there.page.reload()
        there.enter(at="5", time="8:00", dip="50 %")
        assert there.say("order")
    assert there.faults == []


def test_hostile_names_are_only_text(phone: Open) -> None:
    there = phone(made(hostile=True).page)
    there.page.click("text=Found dry or shut")
    shown = there.page.locator("#waters").inner_text()
    assert all(name in shown for name in HOSTILE)
    there.enter(at="1.5", time="7:30", dip="1/2")
    there.page.click("text=Pressure, crew")
    there.enter(at="3", time="7:50", dip="1/3", remarks=HOSTILE[0], crew="=1+1")
    assert there.page.locator("#log img, #log script").count() == 0
    assert there.page.title().startswith(HOSTILE[0])
    assert there.faults == []


def test_what_cannot_be_is_refused_in_words(phone: Open) -> None:
    there = phone(made().page)
    there.enter(at="99", time="7", dip="tall", filled="9999")
    words = there.page.locator("#faults").inner_text()
    for part in (
        "distance: give 0 to 19.4 mi",
        "time: give it",
        "dip: give 1/3",
        "filled to: give",
    ):
        assert part in words
    assert there.page.locator("#count").inner_text() == "0"


def test_five_hundred_entries_are_kept_and_read_back_as_a_log(phone: Open, tmp_path: Path) -> None:
    run = made()
    there = phone(run.page)
    there.page.evaluate(
        """(tank) => {
          for (let k = 0; k < 500; k += 1) {
            state.entries.push({ at: k * 0.038, clock: 25200 + k * 40, dip: tank * (0.9 - k / 999),
              filled: k % 100 === 99 ? tank : null, time: "", bags: k % 50 ? "" : "1",
              pressure: "150", crew: "=Ada, \\"B\\"", weather: "dry", remarks: "\\u2603, ok",
              place: "" });
          }
          save();
        }""",
        run.pocket.tank,
    )
    there.page.reload()
    assert there.page.locator("#count").inner_text() == "500"
    with there.page.expect_download() as kept:
        there.page.click("#export")
    assert kept.value.suggested_filename == "log-2027-05-22.csv"
    file = tmp_path / "log.csv"
    kept.value.save_as(file)
    assert file.read_text("utf-8") == there.page.input_value("#text")
    (log,) = read_log(file, run.task.scenario, run.task.route)
    assert len(log.entries) == 500
    assert log.crew == '\'=Ada, "B"'
    tank = run.task.scenario.file.stores.tank
    spans, notes = water_spans(log, tank)
    assert notes == ()
    assert sum(span.used for span in spans) == pytest.approx(
        tank * (0.9 - (0.9 - 499 / 999) + sum(1 - (0.9 - k / 999) for k in range(99, 499, 100))),
        rel=0.05,  # looks too close to a filling to tell anything are left out
    )
    assert there.faults == []


@pytest.mark.parametrize("size", [(360, 640), (640, 360)])
def test_targets_are_large_and_nothing_runs_off_the_screen(
    phone: Open, size: tuple[int, int]
) -> None:
    there = phone(made(hostile=True).page, size=size)
    there.enter(at="7", time="8:40", dip="1/3")
    for summary in there.page.locator("summary").all():
        summary.click()
    boxes = [
        element.bounding_box()
        for element in there.page.locator(
            "button, input:not([type=checkbox]), select, #waters label, summary"
        ).all()
    ]
    assert len(boxes) > 20
    assert all(box["height"] >= 48 and box["width"] >= 44 for box in boxes if box is not None)
    assert there.page.evaluate("document.documentElement.scrollWidth") == size[0]


def test_the_tables_of_a_page_are_the_pockets_own() -> None:
    run = made()
    document = phone_document(run.pocket, "Yard", UNIT_SYSTEMS["us"])
    assert document["rows"][5][1] == run.pocket.rows[5].water
    assert document["tank"] == pytest.approx(320)
    steps = [b.at - a.at for a, b in zip(run.pocket.rows[:-1], run.pocket.rows[1:], strict=True)]
    assert max(steps) * 1609.344 < 300
    assert min(steps) >= 0
    assert sum(step == 0 for step in steps) == len(run.plan.stops) - 2  # arriving and leaving
