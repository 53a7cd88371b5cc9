"""The sheets of a plan hold what a crew must know; one plan, one revision."""

import datetime as dt
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from long_run import Run, long_run

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.paper import SHEETS, told
from haulplan.outputs.returning import turned
from haulplan.outputs.roadbook import Book, alternatives, letter_of, open_book, sunset
from haulplan.outputs.sheets import draw_sheets
from haulplan.outputs.strip import coal_list
from haulplan.outputs.turns import find_turns
from haulplan.plan.plan import Fallback, Plan
from haulplan.route.build import Line
from haulplan.units import UNIT_SYSTEMS

US = UNIT_SYSTEMS["us"]
HOSTILE = "<img src=x onerror=alert(1)>\u202e"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return long_run(tmp_path_factory.mktemp("run"), 4, 24_000.0, days=2)


@pytest.fixture(scope="module")
def book(run: Run) -> Book:
    return open_book(run.scenario, run.route, run.plan, US)


@pytest.fixture(scope="module")
def pages(book: Book) -> dict[str, str]:
    return draw_sheets(book)


class _Text(HTMLParser):
    """What a reader reads, and whether every element is closed in its order."""

    EMPTY = frozenset({"meta", "link", "br"})

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not {"style", "title"} & set(self.open):
            self.words.append(data)


def read(page: str) -> str:
    parser = _Text()
    parser.feed(page)
    assert parser.open == []
    return re.sub(r"\s+", " ", " ".join(parser.words))


def test_every_sheet_is_drawn_from_one_plan_and_revision(pages: dict[str, str], book: Book) -> None:
    assert list(pages) == list(SHEETS)
    for name, page in pages.items():
        words = read(page)
        assert f"revision {book.revision}" in words, name
        assert "units: mi, ft, US gal, lb, short ton" in words, name
        assert "default-src 'none'" in page, name
        assert "<script" not in page, name
        assert "http:" not in page, name
        assert "https:" not in page, name


def test_another_plan_has_another_revision(run: Run, book: Book) -> None:
    stops = (*run.plan.stops[:-1], replace(run.plan.stops[-1], tank_arrive=500.0))
    other = open_book(run.scenario, run.route, replace(run.plan, stops=stops), US)
    assert other.revision != book.revision
    assert other.revision.startswith("B (")


def test_the_run_sheet_begins_each_day_with_the_next_water(pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    assert "day 1 of 2" in words
    assert "day 2 of 2" in words
    # four supplies between 0 and four fifths of 24 km: 3.84 km apart
    assert "NEXT WATER 2.4 mi: A place whose name has forty" in words
    assert words.count("NEXT WATER") == 2
    assert "never below 48 US gal" in words


def test_the_columns_stand_in_the_order_a_crew_reads(pages: dict[str, str]) -> None:
    heads = re.findall(r'<th scope="col">(.*?)</th>', pages["run-sheet.html"])
    assert heads[:9] == [
        "mi", "clock", "place", "hill", "ACTION", "tank", "next", "else", "actual",
    ]  # fmt: skip


def test_the_run_sheet_names_bridges_crossings_and_crests(pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    # 40 t posted and 21 t of ours in short tons of 907.18474 kg
    assert "BRIDGE: posted 44.09, ours 23.15 short ton" in words
    assert "ring 555-0199" in words
    assert "telephone not known: ask the railway" in words
    assert "ask the boiler's inspector" in words


def test_every_caution_and_contact_stands_overleaf(pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    assert all(caution in words for caution in CAUTIONS)
    assert "Ida Marl, 555-0102" in words
    assert "No run with a gale forecast." in words
    assert "UNCONFIRMED" in words
    assert "boiler certificate runs out (not stated)" in words


def test_tank_on_arrival_is_shown_planned_and_thirsty(book: Book, pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    low = book.reached[1]
    shown = "DRY" if low.dry_at is not None else US.water.number(low.tank)
    assert f"{US.water.number(book.plan.stops[1].tank_arrive)} ({shown})" in words


def test_clocks_are_ranges_that_grow_with_the_driving(pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    ranges = re.findall(r"\b(\d\d:\d\d)–(\d\d:\d\d)", words)
    assert ranges
    assert all(early < late for early, late in ranges)


def test_proved_fallbacks_and_the_chance_are_shown(run: Run) -> None:
    far = run.plan.stops[3]
    way = Fallback(
        stop=2, kind="water", decide_at=1609.344, decide_name="Oak", next_name=far.name,
        next_distance=far.distance, later=1500.0,
    )  # fmt: skip
    weak = replace(way, stop=3, next_name=None)
    plan = replace(run.plan, fallbacks=(way, weak))
    words = read(draw_sheets(open_book(run.scenario, run.route, plan, US))["run-sheet.html"])
    assert f"water shut: decide by Oak at 1.0 mi, next {far.name}" in words
    assert "25 min later" in words
    assert "to c by 1.0" in words
    assert "NO WAY ON is proved" in words


def test_a_weak_stop_is_called_so_once(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("haulplan.outputs.overleaf.alternatives", lambda *_: ())
    way = Fallback(
        stop=2, kind="water", decide_at=1609.344, decide_name="Oak", next_name=None,
        next_distance=0.0, later=0.0,
    )  # fmt: skip

    def said(plan: Plan) -> tuple[int, int]:
        page = draw_sheets(open_book(run.scenario, run.route, plan, US))["run-sheet.html"]
        words = read(page)
        return words.count("water: NO WAY ON"), words.count("water: no other place is listed")

    proved, listed = said(replace(run.plan, fallbacks=()))
    assert proved == 0
    # the stop of a night stands on the sheets of both days
    assert said(replace(run.plan, fallbacks=(way,))) in {(1, listed - 1), (2, listed - 2)}


def test_what_holds_for_every_day_stands_once(pages: dict[str, str]) -> None:
    words = read(pages["run-sheet.html"])
    assert words.count("Habits") == words.count("Engine and train") == 1
    assert words.index("day 2 of 2") < words.index(": every day") < words.index("Habits")


def test_a_telephone_number_is_not_broken(pages: dict[str, str]) -> None:
    assert '<span class="whole">555-0102</span>' in pages["run-sheet.html"]


def test_places_to_turn_to_are_the_nearest_on_either_side(run: Run) -> None:
    found = alternatives(run.scenario, run.route, run.plan.stops[2], "water")
    assert [(o.row, o.ahead) for o in found] == [(2, True), (0, False)]
    assert [o.apart for o in found] == pytest.approx([3840.0, 3840.0])
    assert alternatives(run.scenario, run.route, run.plan.stops[0], "water") == ()
    assert alternatives(run.scenario, run.route, run.plan.stops[2], "coal") == ()


def test_sunset_is_the_almanacs(run: Run) -> None:
    # The Old Farmer's Almanac is not at hand; NOAA's solar equations (Meeus) from memory:
    # at 40 N on a June solstice the sun sets 7 h 31 min after local noon, to a few minutes.
    shown = sunset(run.scenario, run.route, dt.date(2031, 6, 21))
    minutes = int(shown[:2]) * 60 + int(shown[3:])
    noon = 12 * 60 + 80 * 4 - 240 + 2  # 80 W, clock 4 h behind UTC, sun 2 min late
    assert abs(minutes - noon - 451) <= 3


def test_without_a_clock_the_sunset_is_not_guessed(run: Run) -> None:
    hours = run.scenario.file.hours.model_copy(update={"utc_offset": None})
    file = run.scenario.file.model_copy(update={"hours": hours})
    text = sunset(replace(run.scenario, file=file), run.route, run.plan.date)
    assert text.startswith("not known")


@pytest.mark.parametrize("name", list(SHEETS))
def test_what_a_user_wrote_is_shown_and_not_obeyed(run: Run, name: str) -> None:
    stops = tuple(replace(stop, name=HOSTILE) for stop in run.plan.stops)
    supplies = tuple(
        s.model_copy(update={"name": HOSTILE, "kind": HOSTILE, "side": HOSTILE, "permit": HOSTILE,
                             "contact": HOSTILE, "note": HOSTILE})
        for s in run.scenario.supplies
    )  # fmt: skip
    passings = tuple(replace(p, name=HOSTILE) for p in run.route.passings)
    scenario = replace(run.scenario, supplies=supplies)
    plan = replace(run.plan, title=HOSTILE, stops=stops)
    page = draw_sheets(open_book(scenario, replace(run.route, passings=passings), plan, US))[name]
    assert "<img" not in page
    assert "\u202e" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;\ufffd" in page
    read(page)


@given(st.text())
def test_told_text_holds_no_markup(text: str) -> None:
    assert not set("<>\"'") & set(told(text))


# --- the others' sheets ----------------------------------------------------------------


def test_the_steersman_reads_stops_and_crossings_in_order(pages: dict[str, str]) -> None:
    rows = re.findall(r'<tr><td data-name="mi"><div>([\d.]+)</div>', pages["steersman.html"])
    found = [float(row) for row in rows]
    assert len(found) > 10
    assert sum(b < a for a, b in pairwise(found)) <= 1  # a day begins anew
    assert "LEVEL CROSSING Halt Lane" in read(pages["steersman.html"])


def test_each_supply_has_a_card(pages: dict[str, str], run: Run) -> None:
    words = read(pages["station-keeper.html"])
    assert words.count("Engine comes") == 4
    assert "Water: 209 US gal planned" in words  # 790 kg of 3.7816 kg a gallon


def test_a_truck_is_told_where_to_fill_again(run: Run) -> None:
    from haulplan.scenario.schema import Store

    truck = Store.model_validate(
        {"name": "Flatbed", "kind": "truck", "water": "1500 kg", "loads": 3,
         "water_rate": "100 L/min"}
    )  # fmt: skip
    stops = tuple(
        replace(s, kind="halt", row=0, truck=0) if s.kind == "supply" else s for s in run.plan.stops
    )
    scenario = replace(run.scenario, stores=(truck,))
    book = open_book(scenario, run.route, replace(run.plan, stops=stops), US)
    words = read(draw_sheets(book)["support-driver.html"])
    # one filling of 1500 kg serves one stop of 790: filled again before every other one
    assert [f"before stop {n}" in words for n in (1, 2, 3, 4)] == [False, True, True, True]


def test_the_tail_car_knows_the_pull_ins_and_the_water_behind(pages: dict[str, str]) -> None:
    words = read(pages["tail-car.html"])
    assert "Oak pull-in: let traffic by" in words
    assert "last water: stop 1" in words


def test_the_road_home_swaps_hills_and_distances(run: Run) -> None:
    back = turned(run.route)
    assert back.length == run.route.length
    assert back.elevation[0] == run.route.elevation[-1]
    assert back.grade == pytest.approx(-run.route.grade[::-1])
    twice = turned(back)
    assert twice.distance == pytest.approx(run.route.distance)
    assert [p.name for p in twice.passings] == [p.name for p in run.route.passings]
    assert back.line is not None and run.route.line is not None  # noqa: PT018
    assert back.line.position(0.0) == pytest.approx(run.route.line.position(run.route.length))


def test_the_return_sheet_says_it_is_no_plan(pages: dict[str, str]) -> None:
    words = read(pages["return-run.html"])
    assert "Not a proved plan." in words
    assert words.index("START finish") < words.index("WATER A place") < words.index("FINISH start")


def test_a_turn_is_told_with_its_side_and_new_heading() -> None:
    # 3 km east, then 3 km north: a left turn by a right angle
    step = np.arange(0.0, 3001.0, 50.0) / 111_195
    line = Line(
        latitude=np.concatenate([np.zeros(step.size), step[1:]]),
        longitude=np.concatenate([step, np.full(step.size - 1, step[-1])]),
        distance=np.arange(0.0, 6001.0, 50.0),
    )
    (turn,) = find_turns(line)
    assert turn.distance == pytest.approx(3000.0, abs=40)
    assert turn.angle == pytest.approx(-90.0, abs=2)
    assert turn.words == "left, then north"


def test_a_straight_road_has_no_turns() -> None:
    at = np.linspace(0.0, 1.0, 50)
    assert find_turns(Line(latitude=at, longitude=at, distance=at * 157_000)) == ()


# --- strip and lists -------------------------------------------------------------------


def test_the_strip_goes_down_from_full_to_the_reserve(pages: dict[str, str]) -> None:
    words = read(pages["dip-strip.html"])
    assert "full 320" in words
    assert "1/4 80" in words
    assert "STOP 48" in words


def test_coal_adds_up_with_lighting_up_nights_and_reserve(book: Book) -> None:
    lines = {name: amount for name, amount, _ in coal_list(book)}
    assert lines["lighting up"] == pytest.approx(70.0)
    assert lines["driving"] == pytest.approx(5 * 90.0)
    assert lines["reserve, never burnt by plan"] == pytest.approx(90 * 0.45359237)
    assert lines["in hand for poor coal"] == pytest.approx(
        0.2 * sum(v for k, v in lines.items() if k != "in hand for poor coal")
    )


def test_calls_have_dates_ahead_of_the_run(pages: dict[str, str]) -> None:
    words = read(pages["lists.html"])
    # three days and fourteen before 14 June 2031
    assert "2031-06-11 Halt Lane: slow train over the crossing 555-0199" in words
    assert "2031-05-31 Arch: posted figure and our weight road authority" in words


@pytest.mark.parametrize(("number", "letters"), [(0, "a"), (25, "z"), (26, "aa"), (51, "az")])
def test_letters_go_on_after_z(number: int, letters: str) -> None:
    assert letter_of(number) == letters


def test_measured_use_says_what_is_not_known(run: Run, tmp_path: Path) -> None:
    from haulplan.route import build_route
    from haulplan.scenario import read_scenario

    for file in run.scenario.folder.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "demand.csv").write_text(
        f"from,to,duration,water,coal\n0 m,{run.route.length} m,5 h,2 t,200 kg\n", encoding="utf-8"
    )
    scenario = read_scenario(tmp_path)
    route = build_route(scenario)
    pages = draw_sheets(open_book(scenario, route, run.plan, US))
    assert "keep your own margin" in read(pages["run-sheet.html"])
    assert "hills change sides" in read(pages["return-run.html"])
