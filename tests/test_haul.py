"""The steam model put together: balances that close, and what must make use rise."""

from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest
from hauling import GOOD_COAL, engine_of, haul_of, road_of, totals, use_of, wagons_of
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS97

from haulplan.demand.boiler import blowdown_share, furnace_efficiency, heat_of_steam
from haulplan.demand.defaults import DEFAULTS, SURFACES, WEATHER
from haulplan.demand.resistance import GRAVITY
from haulplan.demand.segment import choose_gears
from haulplan.demand.steam import liquid_enthalpy, saturated_liquid_enthalpy
from haulplan.units import ATMOSPHERE

some = settings(max_examples=60, deadline=None)

PRESSURE = 10e5 + ATMOSPHERE
FEED = DEFAULTS["feed_temperature"].value
GRADES = st.floats(-0.06, 0.06)
LOADS = st.floats(1.0, 12.0)

COMPOUND: Mapping[str, object] = {"cylinders": 2, "bore": "17 cm", "low_pressure_bore": "28 cm"}
ENGINES: Mapping[str, Mapping[str, object]] = {
    "simple": {},
    "compound": COMPOUND,
    "by the lever": {"control": "cut-off"},
    "early cut-off": {"running_cut_off": "25 %"},
    "dry cylinders": {"condensation": "0 %", "diagram_factor": "100 %"},
}


# --- balances


@some
@given(
    st.lists(GRADES, min_size=1, max_size=4),
    LOADS,
    st.floats(18e6, 36e6),
    st.floats(0.0, 1700.0),
    st.sampled_from([0.0, 150.0, 900.0]),
    st.sampled_from(list(ENGINES)),
)
def test_the_coal_burnt_pays_for_what_leaves_the_boiler(
    grades: list[float], load: float, value: float, aboard: float, solids: float, kind: str
) -> None:
    """Coal x heat x efficiency = heat of steam and blowdown + radiation, at every segment."""
    conditions = {"feed_solids": f"{solids!r} ppm"} if solids else {}
    engine = engine_of(**ENGINES[kind])
    haul = haul_of(road_of(grades), engine, wagons_of(load), conditions, heating_value=value)
    use = use_of(haul, aboard)
    burnt = use.coal / use.duration / (1 + DEFAULTS["fire_cleaning"].value)
    b = DEFAULTS["furnace_b"].value * DEFAULTS["hand_firing"].value
    efficiency = furnace_efficiency(
        burnt, engine.heating_surface, b=b, a=DEFAULTS["furnace_a"].value
    )
    assert (np.asarray(efficiency) < b).all()
    share = solids / (1e6 * DEFAULTS["blowdown_limit"].value - solids)
    steam = use.water / use.duration / (1 + share)
    heat = heat_of_steam(PRESSURE, FEED, DEFAULTS["dryness"].value)
    drained = saturated_liquid_enthalpy(PRESSURE) - liquid_enthalpy(FEED, PRESSURE)
    wanted = steam * (heat + share * drained) + haul.boiler.radiation
    assert burnt * value * efficiency == pytest.approx(wanted, rel=1e-9)


@some
@given(st.lists(GRADES, min_size=1, max_size=4), LOADS, st.sampled_from(list(ENGINES)))
def test_no_more_heat_becomes_work_than_the_coal_holds(
    grades: list[float], load: float, kind: str
) -> None:
    haul = haul_of(road_of(grades), engine_of(**ENGINES[kind]), wagons_of(load))
    count = haul.length.size
    state = haul.state(np.full(count, 800.0), np.zeros(count, dtype=np.int64))
    use = use_of(haul)
    heat = use.coal / use.duration * GOOD_COAL
    assert (state.power < heat).all()
    rim = state.force * state.speed
    assert (rim <= state.power * haul.efficiency[0] + 1e-6).all()
    assert 0 < haul.efficiency[0] < 1


@cache
def ideal_work(boiler: float, back: float) -> float:
    """Work of dry saturated steam on Rankine's cycle [J/kg], by the second library."""
    dry, water, vapour = (IAPWS97(P=p / 1e6, x=x) for p, x in ((boiler, 1), (back, 0), (back, 1)))
    share = (dry.s - water.s) / (vapour.s - water.s)
    return float(1e3 * (dry.h - water.h - share * (vapour.h - water.h)))


@some
@given(st.floats(0.0, 0.06), LOADS, st.sampled_from(list(ENGINES)), st.integers(0, 1))
def test_the_cylinders_never_beat_the_ideal_engine(
    grade: float, load: float, kind: str, gear: int
) -> None:
    haul = haul_of(road_of([grade]), engine_of(**ENGINES[kind]), wagons_of(load))
    state = haul.state(np.array([800.0]), np.array([gear]))
    dry = state.steam * DEFAULTS["dryness"].value
    back = DEFAULTS["back_pressure"].value + ATMOSPHERE
    assert (state.power <= dry * ideal_work(PRESSURE, back)).all()


@some
@given(st.lists(GRADES, min_size=1, max_size=5), LOADS)
def test_the_boiler_is_never_asked_for_more_than_its_best(grades: list[float], load: float) -> None:
    haul = haul_of(road_of(grades), wagons=wagons_of(load))
    for gear in (0, 1):
        count = haul.length.size
        state = haul.state(np.full(count, 800.0), np.full(count, gear))
        assert (state.evaporation <= haul.boiler.best * (1 + 1e-9)).all()
        assert (state.speed <= haul.gear_speed[gear] * (1 + 1e-9)).all()
        held = state.limit == 2
        assert state.evaporation[held] == pytest.approx(haul.boiler.best, rel=1e-9)


# --- what makes use rise


@some
@given(st.floats(0.0, 0.06), LOADS, st.floats(0.1, 4.0), st.floats(1.0, 500.0))
def test_use_rises_with_what_is_drawn_and_carried(
    grade: float, load: float, more: float, aboard: float
) -> None:
    light = totals(haul_of(road_of([grade]), wagons=wagons_of(load)))
    train = totals(haul_of(road_of([grade]), wagons=wagons_of(load + more)))
    water = totals(haul_of(road_of([grade]), wagons=wagons_of(load)), aboard=800.0 + aboard)
    for heavy in (train, water):
        assert (heavy[:2] > light[:2]).all()
        assert heavy[2] >= light[2]


@some
@given(st.floats(0.0, 0.05), st.floats(0.001, 0.02), LOADS)
def test_use_rises_with_the_grade(grade: float, more: float, load: float) -> None:
    gentle, steep = (
        totals(haul_of(road_of([g]), wagons=wagons_of(load))) for g in (grade, grade + more)
    )
    assert (steep[:2] > gentle[:2]).all()


def test_use_rises_from_surface_to_worse_surface() -> None:
    order = ["asphalt", "macadam", "gravel", "worn macadam", "earth", "loose gravel", "sand"]
    used = [totals(haul_of(road_of([0.0], surface=name)), gear=1) for name in order]
    assert (np.diff(np.array(used), axis=0)[:, :2] > 0).all()


@pytest.mark.parametrize("surface", ["asphalt", "macadam", "earth"])
def test_use_rises_from_dry_to_wet_to_mud(surface: str) -> None:
    dry, wet, mud = (
        totals(haul_of(road_of([0.0], surface=surface), conditions={"weather": w}), gear=1)
        for w in ("dry", "wet", "mud")
    )
    assert (dry[:2] < wet[:2]).all()
    assert (wet[:2] < mud[:2]).all()


@pytest.mark.parametrize("weather", ["wet", "mud", "frost"])
@pytest.mark.parametrize("tyre", ["rubber", "steel"])
def test_bad_weather_takes_grip_by_its_factor(weather: str, tyre: str) -> None:
    engine = engine_of(tyre=tyre)
    dry, bad = (
        haul_of(road_of([0.05]), engine, conditions={"weather": w}).grip_pull(500.0)[0]
        for w in ("dry", weather)
    )
    factor = getattr(WEATHER[weather], f"grip_{tyre}").value
    assert bad == pytest.approx(factor * dry)
    assert factor < 1


@some
@given(st.floats(0.1, 20.0), LOADS)
def test_a_headwind_costs_and_a_tailwind_helps(wind: float, load: float) -> None:
    against, still, behind = (
        totals(haul_of(road_of([0.01], headwind=w), wagons=wagons_of(load)))
        for w in (wind, 0.0, -wind)
    )
    assert (against[:2] > still[:2]).all()
    assert (behind[:2] < still[:2]).all()


@pytest.mark.parametrize("surface", ["earth", "loose gravel", "sand"])
def test_narrow_tyres_cost_on_soft_ground(surface: str) -> None:
    road = road_of([0.0], surface=surface)
    wide, narrow = (
        totals(haul_of(road, engine_of(), wagons_of(6.0, tyre_width=w)), gear=1)
        for w in ("12 cm", "6 cm")
    )
    assert (narrow[:2] > wide[:2]).all()
    coefficient = {
        w: haul_of(road, engine_of(), wagons_of(6.0, tyre_width=w)).train_rolling[0, 0]
        for w in ("12 cm", "6 cm")
    }
    doubled = 2 ** DEFAULTS["soft_width"].value
    assert coefficient["6 cm"] / coefficient["12 cm"] == pytest.approx(doubled)


@pytest.mark.parametrize("surface", ["asphalt", "brick", "setts", "macadam", "gravel"])
def test_tyre_width_does_not_matter_on_hard_roads(surface: str) -> None:
    """Morin's law, row 1.31: above 3 to 4 in on paved roads and hard macadam."""
    road = road_of([0.0], surface=surface)
    wide, narrow = (
        totals(haul_of(road, engine_of(), wagons_of(6.0, tyre_width=w))) for w in ("30 cm", "10 cm")
    )
    assert narrow.tolist() == wide.tolist()


def test_speed_matters_on_hard_roads_only() -> None:
    """Morin's law, row 1.32: macadam above 2.25 mph; earth and sand at no speed."""
    gears = [
        {"name": n, "ratio": r, "speed": s}
        for n, r, s in (
            ("creep", 30.0, "1 mph"), ("low", 18.0, "2.2 mph"), ("high", 7.0, "6 mph"),
        )
    ]  # fmt: skip
    engine = engine_of(gears=gears)
    hard, soft = (
        haul_of(road_of([0.0], surface=s), engine).train_rolling[:, 0] for s in ("macadam", "sand")
    )
    assert soft[0] == soft[1] == soft[2]
    assert hard[0] > hard[1]  # fastest first
    assert hard[1] == hard[2]


def test_a_sharp_corner_adds_its_share_of_rolling() -> None:
    plain, sharp = (haul_of(road_of([0.0], sharp=s)) for s in (False, True))
    more = 1 + DEFAULTS["turning"].value
    assert sharp.train_rolling == pytest.approx(more * plain.train_rolling)
    assert sharp.engine_rolling == pytest.approx(more * plain.engine_rolling)
    assert (totals(sharp)[:2] > totals(plain)[:2]).all()


def test_larger_wheels_roll_more_easily() -> None:
    small, large = (
        haul_of(road_of([0.0]), wagons=wagons_of(6.0, wheel_diameter=d)).train_rolling[0, 0]
        for d in ("0.6 m", "1.2 m")
    )
    assert small == pytest.approx(2 * large)  # Morin: as load over diameter


# --- engines and boilers


@pytest.mark.parametrize("grade", [0.0, 0.01, 0.02, 0.03])
def test_a_compound_drinks_less_than_a_simple_engine_of_the_same_pull(grade: float) -> None:
    compound = haul_of(road_of([grade]), engine_of(**COMPOUND))
    # One low-pressure cylinder sweeps what two simple ones of 1/sqrt(2) its bore do.
    simple = haul_of(road_of([grade]), engine_of(bore=f"{28 / 2**0.5!r} cm"))
    assert compound.volume == pytest.approx(simple.volume)
    assert totals(compound)[0] < totals(simple)[0]
    assert totals(compound)[1] < totals(simple)[1]


def test_a_compound_of_equal_bores_does_not_exist() -> None:
    with pytest.raises(ValueError, match="larger bore"):
        engine_of(low_pressure_bore="17 cm")


@pytest.mark.parametrize("load", [1.0, 4.0, 8.0])
def test_driving_by_the_lever_is_never_thirstier_than_by_the_regulator(load: float) -> None:
    throttle, lever = (
        haul_of(road_of([0.0, 0.01, 0.02]), engine_of(control=c), wagons_of(load))
        for c in ("throttle", "cut-off")
    )
    a, b = use_of(throttle), use_of(lever)
    assert (b.water <= a.water * (1 + 1e-12)).all()
    assert b.water.sum() < a.water.sum()
    # From the running cut-off up both have the same lever positions.
    knee = throttle.line.knee_pressure
    assert lever.line.full_pressure == throttle.line.full_pressure
    assert float(lever.line.steam(np.array(knee))) == pytest.approx(throttle.line.knee_steam)


def test_blowdown_takes_its_share_of_water_and_some_coal() -> None:
    clean, hard = (
        haul_of(road_of([0.02]), conditions={"feed_solids": f"{s} ppm"}) for s in (0, 300)
    )
    share = 300 / (3000 - 300)
    assert hard.boiler.blowdown == pytest.approx(share)
    a, b = totals(clean), totals(hard)
    # The boiler's best and its blower fall a little with what is drained hot.
    assert 1 + 0.95 * share < b[0] / a[0] <= 1 + share
    assert b[1] > a[1]


def test_feed_with_as_much_as_the_boiler_may_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="use other water"):
        blowdown_share(2000e-6, 2000e-6)


def test_the_hardest_feed_is_reckoned_at_the_worst_of_the_limit() -> None:
    worst = haul_of(
        road_of([0.0]), conditions={"feed_solids": "1900 ppm"}, deviates={"blowdown_limit": 2.5}
    )
    assert worst.boiler.blowdown == pytest.approx(1900 / (2000 - 1900))


def test_thin_air_drags_less_and_lets_the_exhaust_out_more_easily() -> None:
    low, high = (haul_of(road_of([0.0], headwind=5.0, altitude=h)) for h in (0.0, 2000.0))
    assert high.drag / low.drag == pytest.approx(np.full_like(low.drag, 1.0065 / 1.225), rel=1e-3)
    # Gauge pressure as at the sea: the cylinders gain part of the air that is missing.
    missing = ATMOSPHERE - 79495.0
    gained = high.line.full_pressure - low.line.full_pressure
    assert 0 < gained < missing


def test_warm_feed_saves_coal_and_no_steam() -> None:
    cold, warm = (
        haul_of(road_of([0.02]), conditions={"feed_temperature": t})
        for t in ("45 degF", "100 degF")
    )
    assert totals(warm)[1] < totals(cold)[1]


def test_more_meshes_pull_less() -> None:
    def pull_of(meshes: int) -> float:
        gear = {"name": "one", "ratio": 15.0, "speed": "2 mph", "meshes": meshes}
        return float(haul_of(road_of([0.0]), engine_of(gears=[gear])).steam_pull(0))

    pulls = [pull_of(n) for n in (1, 2, 3, 4)]
    assert (np.diff(pulls) < 0).all()
    each = DEFAULTS["mesh_efficiency"].value * DEFAULTS["journal_efficiency"].value
    assert pulls[1] / pulls[0] == pytest.approx(each)


def test_a_change_of_gear_costs_its_time_and_standing_use() -> None:
    haul = haul_of(road_of([0.0, 0.0]))
    aboard = np.full(2, 800.0)
    changed = haul.evaluate(aboard, np.array([0, 1]))
    first = haul.evaluate(aboard, np.array([0, 0]))
    second = haul.evaluate(aboard, np.array([1, 1]))
    for name, price in (
        ("duration", 1.0), ("water", haul.standing_water), ("coal", haul.standing_coal),
    ):  # fmt: skip
        got, one, two = (getattr(use, name) for use in (changed, first, second))
        assert got[0] == one[0]
        assert got[1] == pytest.approx(two[1] + price * haul.change)


@some
@given(st.lists(st.floats(-0.05, 0.05), min_size=1, max_size=8), LOADS)
def test_chosen_gears_hold_every_hill_that_can_be_held(grades: list[float], load: float) -> None:
    haul = haul_of(road_of(grades), wagons=wagons_of(load))
    aboard = np.full(len(grades), 800.0)
    gear = choose_gears(haul, aboard)
    lowest = len(haul.gears) - 1
    can = haul.force(aboard, lowest) <= haul.steam_pull(lowest)
    holds = haul.force(aboard, gear) <= haul.steam_pull(gear)
    assert (holds | ~can).all()
    assert (gear[haul.grade < -haul.low_descent] == lowest).all()


def test_the_pull_of_gravity_alone_is_weight_times_sine() -> None:
    haul = haul_of(road_of([0.1]))
    up = haul.force(0.0, 0)[0] - haul.drag[0, 0]
    down = haul_of(road_of([-0.1])).force(0.0, 0)[0] - haul.drag[0, 0]
    weight = GRAVITY * (haul.engine_mass + haul.train_mass)
    assert (up - down) / 2 == pytest.approx(weight * 0.1 / np.sqrt(1.01))


def test_grip_is_less_on_loose_ground_and_never_more_than_tabled() -> None:
    grips = {
        name: float(haul_of(road_of([0.0], surface=name)).grip_pull(0.0)[0]) for name in SURFACES
    }
    assert max(grips.values()) == grips["asphalt"]
    for loose in ("loose gravel", "earth", "sand"):
        assert grips[loose] < grips["gravel"] < grips["asphalt"]
