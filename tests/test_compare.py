"""Variants side by side: what is altered, what comes of it, and how it is shown."""

import io
import json
import multiprocessing
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import pytest
from rich.console import Console

from haulplan.cli import main
from haulplan.compare import Outcome, Tally, compare, variants_of
from haulplan.demand import build_demand
from haulplan.errors import InputError, InternalError
from haulplan.outputs.compare import (
    best_of,
    comparison_csv,
    comparison_frame,
    differences,
    render_comparison,
)
from haulplan.outputs.compare_chart import comparison_page, draw_comparison
from haulplan.plan import make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.scenario.altered import alter, parse_alterations
from haulplan.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    from playwright.sync_api import Browser

TOP = Path(__file__).parents[1]
METRIC = UNIT_SYSTEMS["metric"]
SUPPLY = (
    "name,kind,at [km],water_available,water_rate,water_price,call_out\n"
    "Pump,tap,3,unlimited,60 L/min,0.01 USD/L,9 USD\nPond,pond,8,unlimited,20 L/min,,\n"
)
HOSTILE = (
    "<script>window.hit()</script>", "+1+1", "</svg><img src onerror>", "[bold]x[/]", "x" * 60,
    "%s{0}", "'\"&<>",
)  # fmt: skip
HOSTILE_VALUES = ("<script>window.hit=1</script>", "</svg><img src=x onerror=window.hit=1>")

Toml = dict[str, Any]
Write = Callable[..., Path]


@pytest.fixture
def mills(steam: Toml, road_csv: str, write: Write) -> Path:
    """A scenario whose tank does not last."""
    steam["stores"]["tank"] = "600 L"
    return write(steam, {"route.csv": road_csv, "supply.csv": SUPPLY})


def planned(
    folder: Path, *altered: str, over: Sequence[str] = (), workers: int = 1
) -> tuple[Outcome, ...]:
    return compare(variants_of([folder], altered, over), workers=workers)


def tallies(outcomes: Sequence[Outcome]) -> list[Tally]:
    found = [one.tally for one in outcomes if one.tally is not None]
    assert len(found) == len(outcomes), [one.refusal for one in outcomes]
    return found


def faults(call: Callable[[], object]) -> list[str]:
    with pytest.raises(InputError) as caught:
        call()
    return str(caught.value).splitlines()


# --- what is altered ------------------------------------------------------------------

RAW = {
    "depart": "07:00",
    "stores": {"tank": "320 US gal", "bunker": "1150.5 lb"},
    "train": {"wagons": [{"load": "2 t", "count": 2}, {"load": "3 t", "count": 1}]},
    "fuel": {"name": "Lump", "heating_value": "13300 Btu/lb"},
}


def altered(text: str) -> dict[str, Any]:
    problems: list[Any] = []
    found = alter(RAW, parse_alterations(text, "--with"), problems)
    if problems:
        raise InputError(problems)
    return found


@pytest.mark.parametrize(
    ("text", "path", "value"),
    [
        ("stores.tank = 420 US gal", ["stores", "tank"], "420 US gal"),
        ("stores.tank = '420 US gal'", ["stores", "tank"], "420 US gal"),
        ("stores.tank = plus 100 US gal", ["stores", "tank"], "420 US gal"),
        ("stores.tank = minus 20.5 US gal", ["stores", "tank"], "299.5 US gal"),
        ("stores.bunker = times 2", ["stores", "bunker"], "2301 lb"),
        ("train.wagons[2].load = times 1.5", ["train", "wagons", 1, "load"], "4.5 t"),
        ("train.wagons[*].load = times 0", ["train", "wagons", 0, "load"], "0 t"),
        ("train.wagons[1].count = plus 1", ["train", "wagons", 0, "count"], 3),
        ("depart = 08:15", ["depart"], "08:15"),
        ("depart = plus 90 min", ["depart"], "08:30"),
        ("depart = minus 1 h", ["depart"], "06:00"),
        ("depart = plus 17 h", ["depart"], "24:00"),
        ("paces = ['100 %', '80 %']", ["paces"], ["100 %", "80 %"]),
        ('fuel = {kind = "dry-wood"}', ["fuel"], {"kind": "dry-wood"}),
        ('title = "a; b = c"', ["title"], "a; b = c"),
        ("hours.crew = 9 h", ["hours", "crew"], "9 h"),
        ("hours.utc_offset = -4 h", ["hours", "utc_offset"], "-4 h"),
        ("nights.most = 2", ["nights", "most"], 2),
        ("; depart = 08:15;", ["depart"], "08:15"),
    ],
)
def test_a_key_holds_what_was_written(text: str, path: list[Any], value: object) -> None:
    found: Any = altered(text)
    for step in path:
        found = found[step]
    assert found == value
    assert type(found) is type(value)


def test_altering_leaves_the_given_keys_as_they_are() -> None:
    before = json.dumps(RAW)
    altered("train.wagons[*].load = times 9; stores.tank = none; depart = 09:00")
    assert json.dumps(RAW) == before


def test_none_leaves_a_key_out() -> None:
    assert "tank" not in altered("stores.tank = none")["stores"]


def test_one_value_does_not_bring_in_other_keys() -> None:
    found = altered("title = 1 # x")
    assert set(found) == {*RAW, "title"}
    with pytest.raises(InputError):
        altered("title = 1\nstart = 2")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("stores.tank", "not a key and a value; write KEY = VALUE"),
        ("stores.tank =", "not a key and a value"),
        (" ; ", "not a key and a value"),
        ("stores..tank = 1", "not a key and a value"),
        ("depart = 1; depart = 2", "given twice"),
        ("depart.x = 1", "'depart' is no section"),
        ("train.wagons.load = 1 t", "'wagons' is a list; write wagons[1], or wagons[*] for each"),
        ("train.wagons[3].load = 1 t", "there is no wagons[3]; the scenario has 2"),
        ("stores[1].tank = 1 L", "'stores' is no list; leave the number out"),
        ("stores.tank = plus 100 L", "'100 L' is in another unit; write it in US gal"),
        ("stores.tank = times 2 L", "'2 L' is no figure"),
        ("depart = times 2", "no single figure there to change by 'times'"),
        ("depart = minus 8 h", "not on the same day"),
        ("depart = plus 5 US gal", "no single figure there to change by 'plus'"),
        ("hours.crew = times 2", "no single figure there"),
        ("hours.crew = none", "nothing there to leave out"),
        ("x" * 600, "longer than 500 letters"),
        ("title = a\u202eb", "letters that do not print"),
    ],
)
def test_what_cannot_be_altered_is_said(text: str, says: str) -> None:
    (line,) = faults(lambda: altered(text))
    assert says in line


def test_faults_of_all_variants_are_told_in_the_words_of_the_schema(mills: Path) -> None:
    lines = faults(
        lambda: planned(
            mills, "big: stores.tank = 420 gal", "stors.tank = 600 L", "route.file = ../route.csv"
        )
    )
    assert lines[0].startswith("variant 'big': scenario.toml, stores.tank: '420 gal'")
    assert "US gal" in lines[0]
    assert lines[1].startswith("variant 'stors.tank = 600 L': scenario.toml, stors: unknown name;")
    assert "did you mean 'stores'?" in lines[1]
    assert lines[2].startswith("variant 'route.file = ../route.csv': scenario.toml, route.file: ")
    assert len(lines) == 3


# --- which variants -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("over", "values"),
    [
        ("depart = 06:00 to 07:30 by 30 min", ["06:00", "06:30", "07:00", "07:30"]),
        ("depart = 6:00 to 9:00 by 2 h", ["06:00", "08:00"]),
        ("stores.tank = 250 to 350 by 50 US gal", ["250 US gal", "300 US gal", "350 US gal"]),
        ("stores.tank = 1.5 m3 to 1.8 m3 by 0.1 m3", ["1.5 m3", "1.6 m3", "1.7 m3", "1.8 m3"]),
        ("nights.most = 0, 1, 2", ["0", "1", "2"]),
        ("aim.first = earliest, fewest stops", ["earliest", "fewest stops"]),
        ("paces = ['100 %', '80 %'], ['100 %']", ["['100 %', '80 %']", "['100 %']"]),
    ],
)
def test_a_sweep_is_a_variant_for_each_value(over: str, values: list[str]) -> None:
    first, *swept = variants_of(["mill"], over=[over])
    assert first.alterations == ()
    assert [one.alterations[0].value for one in swept] == values


def test_what_follows_a_semicolon_holds_for_the_whole_sweep() -> None:
    _, *swept = variants_of(["mill"], over=["depart = 06:00, 09:00; depart_by = none"])
    assert [str(one.alterations[1]) for one in swept] == ["depart_by = none"] * 2


@pytest.mark.parametrize(
    ("over", "says"),
    [
        ("depart = 06:00", "not two values or more"),
        ("depart = 09:00 to 06:00 by 30 min", "the step does not lead to the last value"),
        ("depart = 06:00 to 09:00 by 0 min", "the step does not lead to the last value"),
        ("depart = 00:00 to 24:00 by 1 min", "1441 values; give at most 100"),
        ("stores.tank = 1 L to 3 US gal by 1 L", "not figures of one unit"),
        ("stores.tank = a to b by c", "not figures of one unit, nor clocks"),
        ("stores.tank = 5,,6", "not two values or more"),
        ("stores.tank", "not a key and a value"),
    ],
)
def test_what_is_no_sweep_is_said(over: str, says: str) -> None:
    assert any(says in line for line in faults(lambda: variants_of(["mill"], over=[over])))


def test_variants_are_two_or_more_each_of_its_own_name() -> None:
    assert "only one; add --with" in faults(lambda: variants_of(["mill"]))[0]
    twice = faults(lambda: variants_of(["mill"], ["a: depart = 6:00", "a: depart = 7:00"]))
    assert twice == [
        "variants, a: given twice; give each once, or a name of its own before a colon"
    ]
    over = [f"stores.tank = {n}0 to {n}9 by 1 L" for n in range(1, 12)]
    assert "at most 100" in faults(lambda: variants_of(["mill"], over=over))[0]
    for name in ("", " ", "x" * 61, "a\u202eb"):
        assert faults(partial(variants_of, ["mill"], [f"{name}: depart = 6:00"]))


def test_several_scenarios_are_each_altered(tmp_path: Path) -> None:
    found = variants_of([tmp_path / "a", tmp_path / "b"], ["late: depart = 9:00"])
    assert [one.name for one in found] == ["a", "a, late", "b", "b, late"]
    found = variants_of([tmp_path / "a" / "x", tmp_path / "b" / "x"])
    assert len({one.name for one in found}) == 2


# --- what comes of them ---------------------------------------------------------------


def test_the_figures_are_those_of_single_plans(mills: Path) -> None:
    outcomes = planned(mills, "aim.first = fewest stops")
    for one, found in zip(outcomes, tallies(outcomes), strict=True):
        scenario = read_scenario(mills, one.variant.alterations)
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        plan = make_plan(scenario, route, demand)
        trace = replay(scenario, route, demand, plan)
        assert found.arrive == pytest.approx(plan.arrival, abs=0.01)
        assert found.money == pytest.approx(plan.money, abs=0.01)
        assert found.stops == len(plan.stops) - 2
        assert found.margin_water >= -0.1
        assert found.margin_water == pytest.approx(
            min(*trace.tank, *(s.tank_arrive for s in plan.stops[1:])) - scenario.file.reserve.water
        )
        # what was there and taken, less what is left, was used
        for used, store, taken in (
            (found.water, "tank", "water_taken"), (found.coal, "bunker", "coal_taken"),
        ):  # fmt: skip
            first = getattr(plan.stops[0], f"{store}_arrive")
            left = getattr(plan.stops[-1], f"{store}_arrive")
            got = sum(getattr(stop, taken) for stop in plan.stops)
            assert used == pytest.approx(first + got - left, abs=0.5)
        on_the_way = found.arrive - found.depart
        spent = found.driving + found.standing + found.resting
        assert spent == pytest.approx(on_the_way, abs=1.0)


def test_a_heavier_train_arrives_no_earlier_and_uses_no_less(mills: Path) -> None:
    found = tallies(planned(mills, over=["train.wagons[1].load = 0 t, 1 t, 2 t, 4 t"])[1:])
    for light, heavy in pairwise(found):
        assert heavy.arrive >= light.arrive - 1.0
        assert heavy.water > light.water
        assert heavy.coal > light.coal


def test_a_bigger_tank_makes_no_more_stops(mills: Path) -> None:
    found = tallies(
        planned(mills, over=["stores.tank = 500 to 1100 by 150 L; aim.first = fewest stops; "
                             "at_start.water = 500 L"])[1:]
    )  # fmt: skip
    stops = [one.stops for one in found]
    assert stops == sorted(stops, reverse=True)
    assert stops[0] > stops[-1]


def test_leaving_later_arrives_later(mills: Path) -> None:
    found = tallies(planned(mills, over=["depart = 07:00 to 08:00 by 30 min"])[1:])
    assert [one.depart for one in found] == [3600.0 * hour for hour in (7, 7.5, 8)]
    assert [one.arrive - found[0].arrive for one in found] == pytest.approx(
        [0.0, 1800.0, 3600.0], abs=2.0
    )


def test_pessimism_uses_more(mills: Path) -> None:
    plain, thirsty = tallies(planned(mills, "pessimism = 90 %"))
    assert thirsty.water > plain.water
    assert thirsty.coal > plain.coal


def test_other_roads_and_fuels_are_planned(mills: Path, road_csv: str) -> None:
    (mills / "level.csv").write_text("distance [km],elevation [m]\n0,100\n12,100\n")
    hilly, level, wood = planned(
        mills, "route.file = level.csv", 'wood: fuel = {kind = "dry-wood"}; stores.bunker = 2 t; '
        "at_start.coal = 2 t"
    )  # fmt: skip
    a, b, c = tallies([hilly, level, wood])
    assert b.water < a.water
    assert c.coal > a.coal


def test_a_variant_without_a_plan_is_a_row_of_its_own(mills: Path) -> None:
    outcomes = planned(mills, "small: stores.tank = 300 L", "steep: train.wagons[*].load = 60 t")
    assert outcomes[0].tally is not None
    small, steep = outcomes[1:]
    assert small.tally is None
    assert re.search(r"between .+ and .+ the tank falls [\d,]+ L below its reserve", small.refusal)
    assert steep.tally is None
    assert "the hill at" in steep.refusal
    frame = comparison_frame(outcomes)
    assert list(frame["no plan"]) == ["", small.refusal, steep.refusal]
    assert list(frame["stops"])[1:] == ["", ""]


def test_two_processes_give_what_one_gives(mills: Path) -> None:
    over = ["stores.tank = 500 to 800 by 100 L", "depart = 06:00, 08:00"]
    counted: list[int] = []
    variants = variants_of([mills], ["no: stores.tank = 300 L"], over)
    one = compare(variants)
    two = compare(variants, workers=2, progress=counted.append)
    assert two == one
    assert counted[-1] == len(variants)
    assert counted == sorted(counted)
    assert comparison_csv(two, METRIC) == comparison_csv(one, METRIC)
    assert comparison_page(two, METRIC) == comparison_page(one, METRIC)


def test_faults_found_on_the_road_are_told_of_all_variants(mills: Path) -> None:
    (mills / "odd.csv").write_text("distance [km],elevation [m]\n0,100\n0,100\n")
    for workers in (1, 2):
        altered = ("odd: route.file = odd.csv", "fine: route.snap = 1 m", "route.file = odd.csv")
        lines = faults(partial(planned, mills, *altered, workers=workers))
        assert {line.partition(":")[0] for line in lines} == {
            "variant 'odd'", "variant 'route.file = odd.csv'",
        }  # fmt: skip


def test_a_process_that_ends_unforeseen_is_no_riddle(mills: Path) -> None:
    def end(_: int) -> None:
        for child in multiprocessing.active_children():
            child.kill()

    variants = variants_of([mills], over=["stores.tank = 500 to 900 by 100 L"])
    with pytest.raises(InternalError, match=r"ended unforeseen.+--workers 1"):
        compare(variants, workers=2, progress=end)
    deadline = time.monotonic() + 10  # another thread of ours may be reaping them yet
    while multiprocessing.active_children() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert multiprocessing.active_children() == []


# --- how it is shown ------------------------------------------------------------------


def shown(outcomes: Sequence[Outcome]) -> list[str]:
    screen = Console(width=80, file=io.StringIO())
    screen.print(render_comparison(outcomes, METRIC))
    assert isinstance(screen.file, io.StringIO)
    return screen.file.getvalue().splitlines()


def test_the_best_of_a_column_is_marked(mills: Path) -> None:
    outcomes = planned(mills, "light: train.wagons[*].load = 0 t", "no: stores.tank = 300 L")
    first, light, no = best_of(outcomes, METRIC)
    assert {"water", "coal", "arrive"} <= light
    assert not {"water", "coal", "arrive"} & first
    assert "days" not in light | first
    assert no == frozenset()
    row = next(line for line in shown(outcomes) if line.startswith("light"))
    a, b, _ = (one.tally for one in outcomes)
    assert a is not None
    assert b is not None
    assert f"{METRIC.water.number(b.water)}*" in row
    frame = comparison_frame(outcomes, METRIC)
    assert "water" in frame["best at"][1]
    said = differences(outcomes, METRIC)[0]
    assert f"{round(a.water / 0.999) - round(b.water / 0.999)} L of water less" in said


def test_everything_is_read_at_80_columns(mills: Path) -> None:
    page = shown(planned(mills, f"{'wide ' * 12}: stores.tank = 800 L", "x: stores.tank = 300 L"))
    assert max(map(len, page)) <= 80
    text = " ".join(" ".join(page).split())
    assert "no plan" in text
    assert "What would mend it" in text


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_stays_letters(name: str, mills: Path) -> None:
    values = [f"title = {value}" for value in HOSTILE_VALUES]
    outcomes = planned(mills, f"{name}: depart = 08:00", *values)
    picture = ElementTree.fromstring(draw_comparison(outcomes, METRIC))
    assert not [e for e in picture.iter() if e.tag.endswith(("script", "image", "img"))]
    page = comparison_page(outcomes, METRIC)
    assert "<script" not in page
    assert "<img" not in page
    assert not any(
        cell.startswith(("=", "+", "-", "@"))
        for line in comparison_csv(outcomes, METRIC).splitlines()
        for cell in line.split(",")[:1]
    )
    assert " ".join(name.split())[:20] in "".join(shown(outcomes)).replace("  ", " ")


# --- the command ----------------------------------------------------------------------

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the command line here."""
    monkeypatch.setenv("COLUMNS", "80")

    def go(*words: str | Path) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as caught:
            main(["compare", *map(str, words)])
        said = capsys.readouterr()
        return int(str(caught.value.code)), said.out, said.err

    return go


def test_a_comparison_is_printed_and_written_whole(run: Run, mills: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = (mills, "--with", "no: stores.tank = 300 L", "--out", out, "--workers", "1")
    code, said, err = run(*words)
    assert (code, err) == (0, "")
    assert "as it stands" in said
    assert f"Written to {out}" in said.replace("\n", "")
    assert {path.name for path in out.iterdir()} == {"compare.html", "compare.svg", "compare.csv"}
    again = run(*words)
    assert again[0] == 2
    assert "already exists" in again[2]
    assert run(*words, "--force")[0] == 0


def test_no_plan_at_all_ends_with_1(run: Run, mills: Path, tmp_path: Path) -> None:
    text = (mills / "scenario.toml").read_text().replace("600 L", "300 L")
    (mills / "scenario.toml").write_text(text)
    code, said, err = run(mills, "--with", "depart = 08:00", "--out", tmp_path / "out")
    assert (code, said) == (1, "")
    assert "no variant has a plan" in err
    assert "depart = 08:00: no plan; between" in err
    assert not (tmp_path / "out").exists()


def test_bad_input_ends_with_2(run: Run, mills: Path) -> None:
    assert run(mills)[0] == 2
    assert run(mills / "none", "--with", "depart = 08:00")[0] == 2
    code, _, err = run(mills, "--with", "stores.tnk = 5 L")
    assert code == 2
    assert "did you mean 'tank'?" in err


@pytest.mark.skipif(os.name != "posix", reason="signals of a terminal")
@pytest.mark.parametrize("moment", [0.0, 0.5, 3.0])
def test_ctrl_c_ends_every_process(moment: float, tmp_path: Path) -> None:
    """While they start, while they load, while they plan."""
    out = tmp_path / "out"
    words = (
        "compare", "scenarios/hobmere-penniford", "--workers", "2", "--out", str(out), "--over",
        "stores.tank = 281 to 319 by 1 US gal; at_start.water = 281 US gal",
    )  # fmt: skip
    child = subprocess.Popen(
        [sys.executable, "-m", "haulplan", *words], cwd=TOP, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    own = Path(f"/proc/{child.pid}/task/{child.pid}/children")
    deadline = time.monotonic() + 60
    while own.exists() and len(own.read_text().split()) < 3 and time.monotonic() < deadline:
        time.sleep(0.05)  # two that plan, and the one that keeps their semaphores
    time.sleep(moment)
    os.killpg(child.pid, signal.SIGINT)  # as a terminal does: to all of them
    said, err = child.communicate(timeout=60)
    assert child.returncode == 130, err
    assert (said, err.strip()) == ("", "error: interrupted; nothing was written")
    assert not out.exists()
    assert _gone(child.pid)


def _gone(group: int) -> bool:
    """Whether no process of a group is left, waited for a little."""
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


@pytest.fixture
def chromium() -> "Iterator[Browser]":
    """An installed Chromium, or the test is skipped where none need be."""
    there = shutil.which("chromium") or shutil.which("google-chrome")
    if there is None and not os.environ.get("CI"):
        pytest.skip("chromium is missing")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=there, args=["--no-sandbox"])
        yield opened
        opened.close()


def test_the_page_asks_for_nothing_and_fits_a_phone(
    chromium: "Browser", mills: Path, tmp_path: Path
) -> None:
    outcomes = planned(
        mills,
        *(f"{name}: depart = 08:00" for name in HOSTILE),
        *(f"title = {value}" for value in HOSTILE_VALUES),
    )
    (tmp_path / "compare.html").write_text(comparison_page(outcomes, METRIC), "utf-8")
    asked: list[str] = []
    said: list[str] = []
    for width in (1200, 400):
        page = chromium.new_page(viewport={"width": width, "height": 900})
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.goto((tmp_path / "compare.html").as_uri())
        assert page.evaluate("window.hit === undefined")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        beyond = page.evaluate(
            "[...document.querySelectorAll('svg text')].filter(t => "
            "t.getBBox().x < 0 || t.getBBox().x + t.getBBox().width > 1000).length"
        )
        assert beyond == 0
        page.close()
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []
