"""The bridge formula is shown where it is asked for, beside our figure, and nowhere else."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from haulplan.demand import build_demand
from haulplan.errors import InputError
from haulplan.outputs.check import render_check
from haulplan.outputs.exchange import plan_document
from haulplan.outputs.formula import FORMULA_NOTE, axle_groups, formula_rows
from haulplan.outputs.overleaf import overleaf
from haulplan.outputs.roadbook import open_book
from haulplan.plan import make_plan
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import UNIT_SYSTEMS

Toml = dict[str, Any]
Write = Callable[..., Path]
US = UNIT_SYSTEMS["us"]
POUND, FOOT = 0.45359237, 0.3048


@pytest.fixture
def asked(steam: Toml) -> Toml:
    """An engine on a wheelbase of 10 ft, a wagon with axles 10 ft apart 20 ft behind."""
    steam["engine"]["axles"] = {
        "wheelbase": "10 ft", "tank_ahead": "-2 ft", "bunker_ahead": "0 ft",
    }  # fmt: skip
    steam["train"]["wagons"] = [
        {"name": "Van", "tare": "3 t", "load": "1 t", "tyre": "rubber", "axles": 2,
         "wheelbase": "10 ft", "behind": "20 ft"}
    ]  # fmt: skip
    return steam | {"bridge_formula": "yes"}


@pytest.fixture
def read(write: Write, road_csv: str) -> Callable[..., Scenario]:
    return lambda toml, **tables: read_scenario(write(toml, {"route.csv": road_csv, **tables}))


def test_the_figures_are_the_laws_and_ours(asked: Toml, read: Callable[..., Scenario]) -> None:
    groups = {(g.first, g.last): g for g in axle_groups(read(asked))}
    # 23 CFR 658.17(e): W = 500 (L N / (N - 1) + 12 N + 36); the printed table (FHWA) has
    # 40,000 lb for 2 axles at 10 ft and 68,500 lb for 4 at 40 ft
    assert groups[1, 2].formula / POUND == pytest.approx(40_000)
    assert groups[1, 4].formula / POUND == pytest.approx(500 * (40 * 4 / 3 + 48 + 36))
    assert groups[1, 4].formula / POUND == pytest.approx(68_500, abs=250)
    assert groups[1, 4].empty == pytest.approx(12_000 + 4_000)
    assert groups[1, 4].full == pytest.approx(16_000 + 1200 * 0.999 + 500, rel=1e-3)
    assert groups[3, 4].empty == groups[3, 4].full == pytest.approx(4_000)


def test_the_nearest_to_the_formula_comes_first(asked: Toml, read: Callable[..., Scenario]) -> None:
    groups = axle_groups(read(asked))
    shares = [max(g.empty, g.full) / g.formula for g in groups]
    assert shares == sorted(shares, reverse=True)
    assert (groups[0].first, groups[0].last) == (1, 2)
    assert len(formula_rows(groups, US, most=2)) == 2


def checked(scenario: Scenario) -> str:
    route = build_route(scenario)
    console = Console(file=io.StringIO(), width=80, color_system=None)
    console.print(render_check(scenario, route, build_demand(scenario, route), US))
    assert isinstance(console.file, io.StringIO)
    return " ".join(console.file.getvalue().split())


def test_only_who_asks_is_shown_it(asked: Toml, read: Callable[..., Scenario]) -> None:
    tap = "name,kind,at,water_available,water_rate\nTap,tap,2 km,unlimited,60 L/min\n"
    for wanted in (True, False):
        asked["bridge_formula"] = "yes" if wanted else "no"
        scenario = read(asked, **{"supply.csv": tap})
        route = build_route(scenario)
        plan = make_plan(scenario, route, build_demand(scenario, route))
        assert (FORMULA_NOTE in checked(scenario)) is wanted
        assert ("1-2: leading" in checked(scenario)) is wanted
        back = overleaf(open_book(scenario, route, plan, US), 1, ())
        assert ("leading axle to driving axle" in back) is wanted
        told = plan_document(scenario, route, plan)["bridge_formula"]
        assert len(told) == (6 if wanted else 0)
        assert plan.warnings == make_plan(scenario, route, build_demand(scenario, route)).warnings


def test_without_axles_asking_is_refused(steam: Toml, read: Callable[..., Scenario]) -> None:
    with pytest.raises(InputError, match=r"bridge_formula.*axles.*give \[engine.axles\]"):
        read(steam | {"bridge_formula": "yes"})


def test_two_carts_are_refused(asked: Toml, read: Callable[..., Scenario]) -> None:
    asked["train"]["wagons"] += [{"name": n, "tare": "1 t", "tyre": "rubber"} for n in ("A", "B")]
    stores = "name,kind,water,water_rate\nA,cart,800 L,60 L/min\nB,cart,800 L,60 L/min\n"
    with pytest.raises(InputError, match=r"bridge_formula.*several carts"):
        read(asked, **{"stores.csv": stores})
