"""Stated chances against chances drawn: what a pessimism and a band really cover."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from haulplan.demand.defaults import DEFAULTS, SURFACES
from haulplan.demand.segment import choose_gears, haul_on
from haulplan.demand.stretches import Survey, deviates_for, survey
from haulplan.demand.uncertainty import Slope, band_of, deviates_at, sensitivities
from haulplan.route import Route
from haulplan.route.build import build_route
from haulplan.scenario import Scenario, read_scenario

Array = NDArray[np.float64]
Deviates = Mapping[str, float]

DEMO = Path(__file__).resolve().parent.parent / "scenarios" / "hobmere-penniford"
CHANCES = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95]
NAMES = [*DEFAULTS, *(f"{s}, {t} tyre" for s in SURFACES for t in ("rubber", "steel"))]


# --- the rule itself, on a result whose logarithm is straight: 20,000 draws


SLOPES = {"a": 0.12, "b": -0.08, "c": 0.05, "d": 0.03, "e": 0.0}


def straight(deviates: Deviates) -> float:
    return 500.0 * float(np.exp(sum(s * deviates.get(n, 0.0) for n, s in SLOPES.items())))


@pytest.fixture(scope="module")
def straight_draws() -> Array:
    drawn = np.random.default_rng(20270522).standard_normal((20_000, len(SLOPES)))
    totals: Array = 500.0 * np.exp(drawn @ np.array(list(SLOPES.values())))
    return totals


@pytest.mark.parametrize("chance", CHANCES)
def test_a_pessimism_is_the_share_of_draws_below_it(chance: float, straight_draws: Array) -> None:
    found = deviates_at(sensitivities(straight, SLOPES), chance)
    assert (straight_draws <= straight(found)).mean() == pytest.approx(chance, abs=0.012)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 0.95])
def test_a_band_holds_its_share_of_draws(share: float, straight_draws: Array) -> None:
    band = band_of(straight, SLOPES, share)
    inside = (straight_draws >= band.low) & (straight_draws <= band.high)
    assert inside.mean() == pytest.approx(share, abs=0.012)
    below, above = (straight_draws < band.low).mean(), (straight_draws > band.high).mean()
    assert below == pytest.approx(above, abs=0.012)


def test_the_design_point_is_the_likeliest_with_its_result() -> None:
    """No other deviates give as much with less square sum (Hasofer and Lind, 1974)."""
    found = deviates_at(sensitivities(straight, SLOPES), 0.9)
    nearest = sum(u * u for u in found.values())
    rng = np.random.default_rng(7)
    for _ in range(2000):
        other = dict(zip(SLOPES, rng.normal(0, 1, len(SLOPES)), strict=True))
        if straight(other) >= straight(found):
            assert sum(u * u for u in other.values()) >= nearest * (1 - 1e-9)


@settings(max_examples=100, deadline=None)
@given(
    st.dictionaries(st.text(max_size=3), st.floats(-0.5, 0.5), min_size=1, max_size=6),
    st.floats(0.01, 0.99),
    st.floats(0.01, 0.99),
)
def test_more_pessimism_never_gives_less(slopes: dict[str, float], p: float, q: float) -> None:
    even = {name: Slope(up=slope, down=slope) for name, slope in slopes.items()}

    def shift(chance: float) -> float:
        return sum(slopes[n] * u for n, u in deviates_at(even, chance).items())

    low, high = sorted((p, q))
    assert shift(low) <= shift(high) + 1e-12
    assert abs(shift(0.5)) < 1e-12


@pytest.mark.parametrize("chance", [0.0, 1.0, -0.1, 1.5, float("nan")])
def test_a_certain_pessimism_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match="between 0 % and 100 %"):
        deviates_at({"a": Slope(up=0.1, down=0.1)}, chance)


def test_nothing_uncertain_leaves_every_default_alone() -> None:
    assert deviates_at({}, 0.9) == {}
    assert deviates_at({"a": Slope(up=0.0, down=0.0)}, 0.9) == {}
    assert band_of(lambda _: 3.0, ["a"]).ratio == 1.0


@pytest.mark.parametrize("name", DEFAULTS)
def test_a_default_moves_from_end_to_end_of_its_band(name: str) -> None:
    default = DEFAULTS[name]
    worst, best = default.at(1.6449), default.at(-1.6449)
    assert default.at(0.0) == default.value
    assert sorted((worst, best)) == pytest.approx([default.low, default.high], rel=1e-4)
    assert (worst > best) is (default.worse > 0)


# --- the demonstration road through the whole model: 1,000 draws


@dataclass(frozen=True, kw_only=True)
class Drawn:
    scenario: Scenario
    route: Route
    survey: Survey
    totals: Mapping[str, Array]


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    scenario = read_scenario(DEMO)
    route = build_route(scenario)
    stores = scenario.file.stores
    typical, _ = haul_on(scenario, route)
    aboard = np.full(typical.length.size, stores.tank + stores.bunker)
    gear = choose_gears(typical, aboard)
    rng = np.random.default_rng(20270522)
    uses = []
    for _ in range(1000):
        deviates = dict(zip(NAMES, rng.standard_normal(len(NAMES)).tolist(), strict=True))
        uses.append(haul_on(scenario, route, deviates)[0].evaluate(aboard, gear))
    totals = {
        name: np.array([getattr(use, name).sum() for use in uses])
        for name in ("water", "coal", "duration")
    }
    return Drawn(scenario=scenario, route=route, survey=survey(scenario, route), totals=totals)


def water_at(drawn: Drawn, chance: float) -> float:
    """The road's water at a stated pessimism, in the gears of typical figures."""
    stores = drawn.scenario.file.stores
    typical, _ = haul_on(drawn.scenario, drawn.route)
    aboard = np.full(typical.length.size, stores.tank + stores.bunker)
    deviates = deviates_for(drawn.scenario, drawn.route, chance)
    haul, _ = haul_on(drawn.scenario, drawn.route, deviates)
    return float(haul.evaluate(aboard, choose_gears(typical, aboard)).water.sum())


@pytest.mark.parametrize("chance", [0.25, 0.5, 0.75, 0.9, 0.95])
def test_a_pessimism_covers_its_share_of_the_road_waters(chance: float, drawn: Drawn) -> None:
    share = (drawn.totals["water"] <= water_at(drawn, chance)).mean()
    assert share == pytest.approx(chance, abs=0.05)


@pytest.mark.parametrize("name", ["water", "coal", "duration"])
def test_nine_in_ten_of_the_roads_totals_lie_in_their_band(name: str, drawn: Drawn) -> None:
    band = getattr(drawn.survey, name)
    total = drawn.totals[name]
    inside = ((total >= band.low) & (total <= band.high)).mean()
    assert inside == pytest.approx(0.9, abs=0.06)


def test_the_surveys_water_rises_with_pessimism(drawn: Drawn) -> None:
    def total(chance: float) -> float:
        found = survey(drawn.scenario, drawn.route, pessimism=chance)
        return sum(s.water for s in found.stretches)

    waters = [total(chance) for chance in (0.1, 0.3, 0.5, 0.7, 0.9, 0.99)]
    assert waters == sorted(waters)
    assert waters[0] < waters[-1]


def test_no_pessimism_is_the_typical_figures(drawn: Drawn) -> None:
    assert deviates_for(drawn.scenario, drawn.route, None) == {}
    assert drawn.survey.water.typical == pytest.approx(
        sum(stretch.water for stretch in drawn.survey.stretches)
    )


@pytest.mark.parametrize("chance", [0.0, 1.0])
def test_a_survey_refuses_certainty(chance: float, drawn: Drawn) -> None:
    with pytest.raises(ValueError, match="between 0 % and 100 %"):
        survey(drawn.scenario, drawn.route, pessimism=chance)


def test_weather_widens_the_band(
    write: Callable[..., Path], steam: dict[str, Any], road_csv: str
) -> None:
    ratios = []
    for weather in ("dry", "mud"):
        steam["conditions"] = {"weather": weather}
        scenario = read_scenario(write(steam, {"route.csv": road_csv}))
        ratios.append(survey(scenario, build_route(scenario)).water.ratio)
    assert ratios[1] > ratios[0] > 1


def test_what_the_owner_states_is_not_uncertain(
    write: Callable[..., Path], steam: dict[str, Any], road_csv: str
) -> None:
    scenario = read_scenario(write(steam, {"route.csv": road_csv}))
    route = build_route(scenario)
    assert "diagram_factor" in deviates_for(scenario, route, 0.9)
    steam["engine"]["diagram_factor"] = "75 %"
    scenario = read_scenario(write(steam, {"route.csv": road_csv}))
    assert "diagram_factor" not in deviates_for(scenario, route, 0.9)
