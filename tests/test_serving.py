"""How fast water and coal come aboard: what lifts can do, and what people carry."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.demand.serving import (
    lift_limit,
    lift_share,
    serving_assumptions,
    serving_rates,
    suction_head,
)
from haulplan.errors import InputError
from haulplan.scenario import Scenario, read_scenario

Write = Callable[..., Path]
some = settings(max_examples=100, deadline=None)
FOOT = 0.3048
MILD = 288.7056
heights = st.floats(0, 3500)
warmths = st.floats(274, 330)


@pytest.fixture
def with_supplies(steam: dict[str, Any], road_csv: str, write: Write) -> Callable[..., Scenario]:
    def make(text: str, **keys: object) -> Scenario:
        return read_scenario(write({**steam, **keys}, {"route.csv": road_csv, "supply.csv": text}))

    return make


WATER = "name,kind,at [km],water_available,water_rate,lift\n"
SACKS = "name,kind,at [km],coal_available,coal_rate,sacks\n"
COALING = {"people": 2, "sack": "25 kg", "sacks_per_hour": 48}


# --- lifts


def test_a_lifters_rate_is_the_makers_at_the_makers_lift(
    with_supplies: Callable[..., Scenario],
) -> None:
    # One maker's test: 70 US gal/min at 5 ft of lift
    scenario = with_supplies(WATER + "Brook,lifter,2,unlimited,70 US gal/min,5 ft\n")
    ((water, coal),) = serving_rates(scenario, 0.0)
    assert water == pytest.approx(70 * 231 * 0.0254**3 * 999 / 60)
    assert coal is None


def test_a_rate_without_lift_is_taken_as_it_stands(
    with_supplies: Callable[..., Scenario],
) -> None:
    scenario = with_supplies(WATER + "Tap,tap,2,unlimited,60 L/min,\n")
    assert serving_rates(scenario, 2500.0)[0][0] == pytest.approx(0.999)
    assert serving_assumptions(scenario) == ()


def test_the_rate_falls_as_the_vacuum_left_falls(with_supplies: Callable[..., Scenario]) -> None:
    scenario = with_supplies(WATER + "Brook,lifter,2,unlimited,60 L/min,4 m\n")
    # by hand: 22 of 29.92 in of mercury, 101325 Pa by the sea, steam of water at 60 °F 1766 Pa
    head = 22 / 29.92 * (101325 - 1766) / (999 * 9.80665)
    share = ((head - 4.0) / (head - 5 * FOOT)) ** 0.5
    assert serving_rates(scenario, 0.0)[0][0] == pytest.approx(0.999 * share, rel=1e-3)
    assert [a.name for a in serving_assumptions(scenario)] == [
        "attainable lift",
        "lift vacuum",
        "stated lift",
    ]


@some
@given(altitude=heights, higher=st.floats(1, 500), warmth=warmths, lift=st.floats(0, 4))
def test_height_warmth_and_lift_all_take_from_the_flow(
    altitude: float, higher: float, warmth: float, lift: float
) -> None:
    flow = lift_share(lift, altitude, warmth, stated=5 * FOOT)
    assert lift_share(lift, altitude + higher, warmth, stated=5 * FOOT) <= flow
    assert lift_share(lift + 0.1, altitude, warmth, stated=5 * FOOT) <= flow
    assert suction_head(altitude, warmth + 1) < suction_head(altitude, warmth)
    assert lift_limit(altitude + higher, warmth) < lift_limit(altitude, warmth)


@some
@given(altitude=heights, warmth=st.floats(274, 311))
def test_what_may_be_lifted_still_flows(altitude: float, warmth: float) -> None:
    limit = lift_limit(altitude, warmth)
    assert lift_share(limit, altitude, warmth, stated=5 * FOOT) > 0.1


def test_a_lift_beyond_the_air_is_refused_with_every_other(
    with_supplies: Callable[..., Scenario],
) -> None:
    rows = "Brook,lifter,2,unlimited,60 L/min,24 ft\nPond,pump,3,unlimited,60 L/min,29 ft\n"
    scenario = with_supplies(WATER + rows, units="us")
    with pytest.raises(InputError) as caught:
        serving_rates(scenario, 1500 * FOOT)
    first, second = map(str, caught.value.problems)
    assert first.startswith("supply.csv, row 2, column lift: 24.0 ft at Brook, more than can be")
    assert "1,500 ft above the sea; give at most 21.0 ft, two thirds of what the air" in first
    assert second.startswith("supply.csv, row 3, column lift: 29.0 ft at Pond")


def test_a_lift_that_serves_by_the_sea_is_refused_in_the_mountains(
    with_supplies: Callable[..., Scenario],
) -> None:
    scenario = with_supplies(WATER + "Brook,lifter,2,unlimited,60 L/min,20 ft\n")
    assert serving_rates(scenario, 0.0)[0][0]
    with pytest.raises(InputError, match="row 2, column lift"):
        serving_rates(scenario, 3000.0)


# --- sacks


def test_people_carry_sacks_at_their_own_rate(with_supplies: Callable[..., Scenario]) -> None:
    scenario = with_supplies(SACKS + "Yard,coal yard,2,unlimited,,yes\n", coaling=COALING)
    ((water, coal),) = serving_rates(scenario, 0.0)
    assert water is None
    assert coal == pytest.approx(2 * 25 * 48 / 3600)


@pytest.mark.parametrize(
    ("row", "keys", "said"),
    [
        ("Yard,yard,2,1 t,,yes", {}, "no [coaling] in scenario.toml; give [coaling]"),
        ("Yard,yard,2,1 t,2 kg/s,yes", {"coaling": COALING}, "beside coal_rate; give one"),
    ],
)
def test_sacks_at_odds_are_told(
    row: str, keys: dict[str, object], said: str, with_supplies: Callable[..., Scenario]
) -> None:
    with pytest.raises(InputError) as caught:
        with_supplies(SACKS + row + "\n", **keys)
    (problem,) = caught.value.problems
    assert str(problem).startswith(f"supply.csv, row 2, column sacks: {said}")
