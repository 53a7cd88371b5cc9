"""Logs kept by hand: understood where they can be, refused clearly where not."""

from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.errors import InputError
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.underway.cells import clock_of, tank_level
from haulplan.underway.log import COLUMNS, Run, log_template, read_log, read_logs
from haulplan.underway.spans import coal_spans, water_spans

DEMO = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"
Read = Callable[..., Run]
TANK = 320 * 3.785411784 * 0.999
POUND = 0.45359237


@cache
def _road() -> tuple[Scenario, Route]:
    scenario = read_scenario(DEMO)
    return scenario, build_route(scenario)


@pytest.fixture
def road() -> tuple[Scenario, Route]:
    return _road()


@pytest.fixture
def read(road: tuple[Scenario, Route], tmp_path: Path) -> Read:
    """Reads a log's text that holds one day."""

    def make(text: str) -> Run:
        file = tmp_path / "log.csv"
        file.write_text(text, "utf-8")
        (run,) = read_log(file, *road)
        return run

    return make


def test_a_tidy_log_is_read_as_written(read: Read) -> None:
    run = read(
        "date,place,time,distance [mi],dip [US gal],filled to [US gal],bags [50 lb],crew,weather\n"
        "2027-05-22,Yard,07:00,0,320,,,Nan,dry\n,,09:20,10.2,54,87,7,,\n"
    )
    assert (run.name, run.crew, run.weather, run.notes) == ("log", "Nan", "dry", ())
    first, second = run.entries
    assert (first.clock, second.clock) == (7 * 3600, 9 * 3600 + 20 * 60)
    assert second.distance == pytest.approx(10.2 * 1609.344)
    assert second.dip == pytest.approx(54 / 320 * TANK)
    assert second.filled == pytest.approx(87 / 320 * TANK)
    assert second.coal == pytest.approx(350 * POUND)


@pytest.mark.parametrize(
    ("text", "share"),
    [
        ("1/3", 1 / 3), ("⅓", 1 / 3), ("2 / 4 full", 0.5), ("33 %", 0.33), ("33,5%", 0.335),
        ("full", 1), ("Half", 0.5), ("quarter", 0.25), ("empty", 0), ("0.4", 0.4), (".4", 0.4),
        ("~⅝", 0.625),
    ],
)  # fmt: skip
def test_a_dip_may_be_a_share_of_the_tank(text: str, share: float) -> None:
    assert tank_level(text, "", 1200.0) == pytest.approx(1200 * share)


@pytest.mark.parametrize("text", ["105 US gal", "12 in", "1", "3", "about right", "-1/3"])
def test_what_is_no_share_is_not_taken_for_one(text: str) -> None:
    assert tank_level(text, "", 1200.0) is None


@given(st.integers(0, 23), st.integers(0, 59))
def test_every_way_to_write_a_time_is_the_same_time(hour: int, minute: int) -> None:
    half, wide = ("am" if hour < 12 else "pm"), f"{hour:02d}"
    clock = hour * 3600 + minute * 60
    for text in (
        f"{hour}:{minute:02d}", f"{hour}.{minute:02d}", f"{wide}{minute:02d}",
        f"{hour}h{minute:02d}", f"{(hour + 11) % 12 + 1}:{minute:02d} {half}",
    ):  # fmt: skip
        assert clock_of(text) == clock


@pytest.mark.parametrize("text", ["25:00", "10:75", "noon", "13:00 pm", "7"])
def test_what_is_no_time_is_none(text: str) -> None:
    assert clock_of(text) is None


def test_units_may_be_mixed_and_decimals_have_a_comma(read: Read) -> None:
    run = read(
        "place;distance;dip;bags\nYard;0 km;full;\nPond;10,2 mi;205 L;3 x 25 kg\n"
        "Store;18 km;62 US gal;100 lb\n"
    )
    assert [e.distance for e in run.entries] == pytest.approx([0, 16415.3088, 18000])
    assert [e.dip for e in run.entries] == pytest.approx([TANK, 204.795, 62 / 320 * TANK])
    assert [e.coal for e in run.entries[1:]] == pytest.approx([75, 100 * POUND])


def test_cells_may_be_missing_and_places_stand_for_distances(read: Read) -> None:
    run = read(
        "place,time,dip\nHobmere showgrund,,full\nNettle gap spring,,\nCROSSROADS STORE,,1/4\n"
    )
    assert [e.distance for e in run.entries] == pytest.approx([0, 18000], abs=60)
    spans, notes = water_spans(run, TANK)
    assert [s.used for s in spans] == pytest.approx([0.75 * TANK])
    assert notes == ()


def test_a_second_dip_at_one_place_is_what_it_was_filled_to(read: Read) -> None:
    run = read("miles,dip,bags [50 lb]\n0,full,\n6.8,1/3,4\n6.8,0.8,\n10.2,1/4,3\n")
    assert len(run.entries) == 3
    assert run.entries[1].filled == pytest.approx(0.8 * TANK)
    assert [s.used / TANK for s in water_spans(run, TANK)[0]] == pytest.approx([2 / 3, 0.55])
    assert [s.used for s in coal_spans(run)] == pytest.approx([200 * POUND, 150 * POUND])


def test_a_tank_that_rose_on_the_way_is_left_out_and_said(read: Read) -> None:
    run = read("miles,dip\n0,full\n5,1/2\n9,3/4\n12,1/2\n")
    spans, notes = water_spans(run, TANK)
    assert [s.rows for s in spans] == [(2, 3), (4, 5)]
    assert [s.used / TANK for s in spans] == pytest.approx([0.5, 0.25])
    assert notes == (
        "rows 3 to 4: the tank rose with no filling written; that stretch is left out",
    )


def test_a_trip_meter_set_to_nothing_is_counted_on(read: Read) -> None:
    run = read("place,miles,dip\nYard,0,full\nStonebreakers' cistern,8.2,1/3\n,2.0,1/4\n,3,1/5\n")
    assert [e.distance for e in run.entries] == pytest.approx(
        [0, 8.2 * 1609.344, 10.2 * 1609.344, 11.2 * 1609.344]
    )
    assert run.notes == ("row 4: the distance starts anew; read as 10.2 mi",)


def test_coal_counted_now_and_then_covers_all_the_road_between(read: Read) -> None:
    run = read("miles,dip,bags [50 lb]\n0,full,\n4,1/2,\n8,1/4,5\n12,1/8,\n15,1/9,3\n")
    spans = coal_spans(run)
    assert [s.rows for s in spans] == [(2, 4), (4, 6)]
    assert [s.used for s in spans] == pytest.approx([250 * POUND, 150 * POUND])


def test_days_in_one_file_are_runs_of_their_own(
    road: tuple[Scenario, Route], tmp_path: Path
) -> None:
    file = tmp_path / "may.csv"
    file.write_text(
        "date,miles,dip,crew\n2027-05-01,0,full,A\n,5,1/2,\n2027-05-02,0,full,B\n,4,1/2,\n"
    )
    runs = read_log(file, *road)
    assert [(r.name, r.crew, len(r.entries)) for r in runs] == [
        ("may 2027-05-01", "A", 2), ("may 2027-05-02", "B", 2),
    ]  # fmt: skip
    twice = read_logs([file, file], *road)
    assert len({run.name for run in twice}) == 4


def test_weather_in_plain_words_is_understood_or_left_out(read: Read) -> None:
    run = read("miles,dip,weather\n0,full,Showers later\n5,1/2,grim\n")
    assert [e.weather for e in run.entries] == ["wet", ""]
    assert "'grim' is none of dry, wet, mud, frost" in run.notes[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no rows"),
        ("place,time\nYard,7:00\n", "header: neither a dip nor bags"),
        ("miles,dip\n", "no rows with a reading"),
        ("miles,dip\n5,90 gal\n", "row 2, column dip: '90 gal'; a bare gallon is ambiguous"),
        ("miles,dip\n5,90\n", "row 2, column dip: '90'; the unit is missing"),
        ("miles,dip\n5,12 in\n", "row 2, column dip: '12 in'; the unit 'in' is not one of"),
        (
            "miles,dip\n5,400 US gal\n",
            "row 2, column dip: '400 US gal' is more than the tank's 320",
        ),
        ("distance,dip\n5,1/2\n", "row 2, column distance: '5'; the unit is missing"),
        ("miles,dip\n50,1/2\n", "row 2, column distance: '50' is off the road"),
        ("miles,dip,bags\n5,1/2,3\n", "row 2, column bags: '3': how much is a bag"),
        ("miles,dip,time\n5,1/2,half ten\n", "row 2, column time: 'half ten'; write it as"),
        ("miles,dip,tank\n5,1/2,1/2\n", "header: the column dip stands twice"),
    ],
)
def test_what_cannot_be_understood_is_refused_by_its_cell(
    read: Read, text: str, words: str
) -> None:
    with pytest.raises(InputError) as error:
        read(text)
    assert words in str(error.value)
    assert "log.csv" in str(error.value)


def test_every_bad_cell_is_named_at_once(road: tuple[Scenario, Route], tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("miles,dip,time\n5,90,x\n70,1/2,\n")
    with pytest.raises(InputError) as error:
        read_logs([tmp_path / "a.csv", tmp_path / "b.csv"], *road)
    assert len(error.value.problems) == 6


@given(st.binary(max_size=300))
@settings(deadline=None)
def test_rubbish_is_refused_and_never_a_fault(data: bytes) -> None:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "rubbish.csv"
        file.write_bytes(data)
        with suppress(InputError):
            read_log(file, *_road())


CELLS = st.text("0123456789./,%~ xlbgalmi½⅓:pm-", max_size=8)


@given(st.lists(st.lists(CELLS, min_size=7, max_size=7), max_size=6))
@settings(deadline=None)
def test_scribbles_are_refused_or_read_and_never_a_fault(rows: list[list[str]]) -> None:
    quoted = [",".join(f'"{cell}"' for cell in row) for row in rows]
    text = "place,time,distance,dip,filled to,bags,date\n" + "\n".join(quoted)
    with TemporaryDirectory() as folder, suppress(InputError):
        file = Path(folder) / "scribble.csv"
        file.write_text(text, "utf-8")
        for run in read_log(file, *_road()):
            for span in (*water_spans(run, TANK)[0], *coal_spans(run)):
                assert span.end > span.begin


def test_the_template_filled_in_is_a_log(road: tuple[Scenario, Route], tmp_path: Path) -> None:
    scenario, route = road
    text = log_template(scenario, [("=Yard", 0.0), ("Pond", 16420.0), ("Field", route.length)])
    head, *rows = text.splitlines()
    assert [cell.split(" [")[0] for cell in head.split(",")] == list(COLUMNS)
    assert rows[0].startswith("2027-05-22,'=Yard,,0.00,")
    file = tmp_path / "filled.csv"
    at = COLUMNS.index("dip")
    filled = []
    for row, dip in zip(rows, ("full", "54", "25 %"), strict=True):
        cells = row.split(",")
        cells[at] = dip
        filled.append(",".join(cells))
    file.write_text("\n".join([head, *filled]), "utf-8")
    (run,) = read_log(file, scenario, route)
    assert [e.dip for e in run.entries] == pytest.approx([TANK, 54 / 320 * TANK, TANK / 4])
