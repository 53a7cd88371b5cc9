"""What must hold of the steam model and of the arithmetic on it, whatever the figures."""

import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from iapws import IAPWS95, IAPWS97
from numpy.typing import NDArray

from haulplan.demand import Demand, build_demand, linearise
from haulplan.demand.boiler import (
    coal_rate,
    furnace_efficiency,
    heat_of_steam,
    heat_rate,
)
from haulplan.demand.defaults import DEFAULTS, SURFACES
from haulplan.demand.engine import SteamLine, mean_effective_pressure, steam_line
from haulplan.demand.resistance import GRAVITY, tractive_force
from haulplan.demand.steam import (
    liquid_enthalpy,
    saturated_liquid_enthalpy,
    saturated_steam_density,
    saturated_steam_enthalpy,
    saturation_pressure,
    saturation_temperature,
    steam_enthalpy,
)
from haulplan.errors import NoPlanError
from haulplan.plan import make_plan
from haulplan.plan.legs import build_chain, compress
from haulplan.replay import replay
from haulplan.route.build import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.units import ATMOSPHERE, parse

Array = NDArray[np.float64]

# Factors by definition (yard and pound agreement of 1959).
PSI = 0.45359237 * 9.80665 / 0.0254**2
SHORT_TON = 907.18474

#: Scenarios are read from disk; a slow disk is no failure.
few = settings(max_examples=40, deadline=None)
many = settings(max_examples=200, deadline=None)

FILE = """
title = "Trial"
start = "Start"
finish = "Finish"
date = 2031-06-14
depart = "07:00"
stores = {{ tank = "1200 kg", bunker = "500 kg" }}
at_start = {{ water = "full", coal = "full" }}
at_finish = {{ water = "0 kg" }}
reserve = {{ water = "0 kg" }}
"""
STEAM = """
[route]
file = "route.csv"
[engine]
name = "Test engine"
weight = "16 t"
weight_on_drivers = "11 t"
pressure = "150 psi"
cylinders = 2
bore = "7 in"
stroke = "10 in"
wheel_diameter = "2 m"
tyre = "{tyre}"
grate_area = "0.8 m2"
heating_surface = "16 m2"
boiler_water = "1000 kg"
boiler_metal = "5 t"
gears = [{gears}]
[fuel]
name = "Coal"
heating_value = "{heating_value!r} MJ/kg"
[[train.wagons]]
name = "Wagon"
tare = "{train!r} t"
tyre = "rubber"
"""
LOW = '{ name = "low", ratio = 18, speed = "2 mph" }'
THREE = (
    f'{LOW}, {{ name = "middle", ratio = 10, speed = "3.3 mph" }},'
    ' { name = "top", ratio = 6.5, speed = "5 mph" }'
)


@dataclass(frozen=True, kw_only=True)
class Case:
    scenario: Scenario
    route: Route
    demand: Demand

    def totals(self, aboard: float = 800.0) -> tuple[float, float, float]:
        """Water and coal [kg] and minutes over the road with the same mass all along."""
        use = self.demand.evaluate(np.full(self.demand.segments, aboard), self.demand.gear)
        return float(use.water.sum()), float(use.coal.sum()), float(use.duration.sum()) / 60


def steam_case(
    grades: Sequence[float],
    *,
    surface: str = "asphalt",
    train: float = 10.0,
    tyre: str = "rubber",
    heating_value: float = 30.0,
    gears: str = LOW,
) -> Case:
    """Kilometres of road, one for each grade in percent; train in tonnes, coal in MJ/kg."""
    heights = 500.0 + 10.0 * np.concatenate([[0.0], np.cumsum(grades)])
    rows = [f"{k},{height!r},{surface}" for k, height in enumerate(heights.tolist())]
    text = FILE.format() + STEAM.format(
        tyre=tyre, gears=gears, heating_value=heating_value, train=train
    )
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "scenario.toml").write_text(text, encoding="utf-8")
        road = "\n".join(["distance [km],elevation [m],surface", *rows])
        Path(folder, "route.csv").write_text(road, encoding="utf-8")
        scenario = read_scenario(folder)
        route = build_route(scenario)
    return Case(scenario=scenario, route=route, demand=build_demand(scenario, route))


#: What one kilometre a row of measured use takes: minutes, water, coal, per mass aboard.
Measured = tuple[float, float, float, float]


def measured_case(rows: Sequence[Measured], stops: Sequence[float] = ()) -> Case:
    """Measured use, with supplies standing at `stops` [km]."""
    table = ["from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass"]
    table += [
        f"{k},{k + 1},{minutes:.9f},{water:.9f},{coal:.9f},{slope:.9f}"
        for k, (minutes, water, coal, slope) in enumerate(rows)
    ]
    supply = ["name,kind,at [km],water_available,water_rate"]
    supply += [f"Pump {n},pump,{at!r},unlimited,60 L/min" for n, at in enumerate(stops)]
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "scenario.toml").write_text(FILE.format(), encoding="utf-8")
        Path(folder, "demand.csv").write_text("\n".join(table), encoding="utf-8")
        if stops:
            Path(folder, "supply.csv").write_text("\n".join(supply), encoding="utf-8")
        scenario = read_scenario(folder)
        route = build_route(scenario)
    return Case(scenario=scenario, route=route, demand=build_demand(scenario, route))


def driven(demand: Demand, start: float) -> SimpleNamespace:
    """Water, coal and time when the mass aboard falls from segment to segment."""
    aboard, water, coal, time = start, 0.0, 0.0, 0.0
    for k in range(demand.segments):
        use = demand.evaluate(np.full(demand.segments, aboard), demand.gear)
        water, coal = water + float(use.water[k]), coal + float(use.coal[k])
        time += float(use.duration[k])
        aboard -= float(use.water[k]) + float(use.coal[k])
    return SimpleNamespace(water=water, coal=coal, time=time)


# --- properties of water and steam, against a second library


BOILER_PRESSURES = st.floats(1e5, 20e5)


@many
@given(BOILER_PRESSURES)
def test_saturated_steam_agrees_with_a_second_library(pressure: float) -> None:
    water, steam = (IAPWS97(P=pressure / 1e6, x=x) for x in (0, 1))
    assert saturation_temperature(pressure) == pytest.approx(steam.T, rel=2e-4)
    assert saturated_liquid_enthalpy(pressure) == pytest.approx(1e3 * water.h, rel=2e-4)
    assert saturated_steam_enthalpy(pressure) == pytest.approx(1e3 * steam.h, rel=2e-4)
    assert saturated_steam_density(pressure) == pytest.approx(steam.rho, rel=2e-4)
    assert saturation_pressure(steam.T) == pytest.approx(pressure, rel=2e-4)


@many
@given(BOILER_PRESSURES, st.floats(0.0, 0.98))
def test_cold_water_agrees_with_a_second_library(pressure: float, share: float) -> None:
    temperature = 280.0 + share * (saturation_temperature(pressure) - 280.0)
    other = IAPWS97(P=pressure / 1e6, T=temperature)
    assert liquid_enthalpy(temperature, pressure) == pytest.approx(1e3 * other.h, rel=2e-4)


@many
@given(BOILER_PRESSURES, st.floats(0.5, 300.0))
def test_hot_steam_agrees_with_a_second_library(pressure: float, superheat: float) -> None:
    temperature = saturation_temperature(pressure) + superheat
    other = IAPWS97(P=pressure / 1e6, T=temperature)
    assert steam_enthalpy(temperature, pressure) == pytest.approx(1e3 * other.h, rel=2e-4)


@pytest.mark.parametrize("bar", [1, 2, 5, 10, 15, 20])
def test_saturated_steam_agrees_with_the_scientific_formulation(bar: int) -> None:
    """IAPWS-95 (R6-95) is another equation altogether, not the industrial one of 1997."""
    steam = IAPWS95(P=bar / 10, x=1)
    assert saturation_temperature(bar * 1e5) == pytest.approx(steam.T, rel=2e-4)
    assert saturated_steam_enthalpy(bar * 1e5) == pytest.approx(1e3 * steam.h, rel=2e-4)
    assert saturated_steam_density(bar * 1e5) == pytest.approx(steam.rho, rel=2e-4)


@many
@given(BOILER_PRESSURES, st.floats(275.0, 350.0), st.floats(0.9, 1.0))
def test_heat_of_steam_is_what_remains_above_the_feed(
    pressure: float, feed: float, dryness: float
) -> None:
    """Handbooks take the feed at its own boiling pressure: they leave out the pump's work."""
    water, steam = saturated_liquid_enthalpy(pressure), saturated_steam_enthalpy(pressure)
    handbook = water + dryness * (steam - water) - liquid_enthalpy(feed, saturation_pressure(feed))
    pumped = handbook - heat_of_steam(pressure, feed, dryness)
    assert 0 < pumped < 1.05e-3 * pressure  # a little over the volume of a kilogram


# --- fire and engine


COAL = st.floats(15e6, 36e6)
FIRING = st.floats(1e-4, 0.2)
SURFACE = st.floats(2.0, 60.0)
FURNACE_B, FURNACE_A = DEFAULTS["furnace_b"].value, DEFAULTS["furnace_a"].value
BY_HAND = DEFAULTS["hand_firing"].value


@many
@given(FIRING, SURFACE)
def test_a_furnace_gives_less_than_the_coal_holds(firing: float, surface: float) -> None:
    efficiency = furnace_efficiency(firing, surface, b=FURNACE_B, a=FURNACE_A)
    assert 0 < efficiency < FURNACE_B < 1


@many
@given(FIRING, SURFACE, st.floats(1.01, 5.0))
def test_a_pushed_fire_gives_more_heat_at_less_efficiency(
    firing: float, surface: float, push: float
) -> None:
    low, high = (
        furnace_efficiency(rate, surface, b=FURNACE_B, a=FURNACE_A)
        for rate in (firing, push * firing)
    )
    assert high < low
    assert heat_rate(push * firing, 30e6, float(high)) > heat_rate(firing, 30e6, float(low))


@many
@given(FIRING, SURFACE, COAL)
def test_coal_rate_turns_the_furnace_round(firing: float, surface: float, value: float) -> None:
    efficiency = furnace_efficiency(firing, surface, b=FURNACE_B, a=FURNACE_A)
    heat = np.array([heat_rate(firing, value, float(efficiency))])
    coal = coal_rate(heat, value, surface, b=FURNACE_B, a=FURNACE_A)
    assert coal[0] == pytest.approx(firing, rel=1e-9)


@cache
def ideal_steam(boiler: float, back: float) -> float:
    """Steam per work of the ideal engine, dry saturated steam to the back pressure [kg/J].

    Rankine's cycle, entropies from the second library.
    """
    dry, water, vapour = (IAPWS97(P=p / 1e6, x=x) for p, x in ((boiler, 1), (back, 0), (back, 1)))
    share = (dry.s - water.s) / (vapour.s - water.s)
    return float(1e-3 / (dry.h - water.h - share * (vapour.h - water.h)))


@pytest.mark.parametrize(("gauge", "published"), [(100, 17.93), (150, 15.14), (200, 13.61)])
def test_the_ideal_engine_is_the_published_one(gauge: int, published: float) -> None:
    """Row 4.33 of published/boiler_and_trials.csv, lb per horsepower hour."""
    ideal = ideal_steam(gauge * PSI + ATMOSPHERE, 2 * PSI + ATMOSPHERE)
    per_horsepower = ideal * 550 * 0.3048 * 9.80665 * 3600
    assert per_horsepower == pytest.approx(published, abs=0.005)


def line_of(gauge: float, cut_off: float, **changes: float) -> SteamLine:
    figures = {
        name: DEFAULTS[name].value for name in ("diagram_factor", "condensation", "clearance")
    } | changes
    return steam_line(
        gauge * PSI + ATMOSPHERE,
        running_cut_off=cut_off,
        longest_cut_off=max(cut_off, DEFAULTS["longest_cut_off"].value),
        back_pressure=DEFAULTS["back_pressure"].value + ATMOSPHERE,
        **figures,
    )


@many
@given(
    st.floats(60, 250),
    st.floats(0.25, 0.75),
    st.floats(0.65, 1.0),
    st.floats(0.0, 0.4),
    st.floats(0.05, 0.15),
    st.floats(0.02, 1.0),
)
@example(60, 0.25, 1.0, 0.0, 0.05, 1.0)
@example(60, 0.25, 1.0, 0.0, 0.05, 0.5)
@example(250, 0.25, 1.0, 0.0, 0.05, 1.0)
def test_no_setting_beats_the_ideal_engine(
    gauge: float, cut_off: float, diagram: float, condensation: float, clearance: float, load: float
) -> None:
    """Even throttling and condensing nothing; a cylinder without clearance does not exist."""
    line = line_of(
        gauge, cut_off, diagram_factor=diagram, condensation=condensation, clearance=clearance
    )
    pressure = load * line.full_pressure
    used = float(line.steam(np.array(pressure))) / pressure
    back = DEFAULTS["back_pressure"].value + ATMOSPHERE
    assert used >= ideal_steam(gauge * PSI + ATMOSPHERE, back)


@many
@given(st.floats(60, 250), st.floats(0.25, 0.74))
def test_steam_rises_with_pull_without_a_jump(gauge: float, cut_off: float) -> None:
    line = line_of(gauge, cut_off)
    pressure = np.linspace(0.0, line.full_pressure, 500)
    steam = line.steam(pressure)
    assert (np.diff(steam) > 0).all()
    at_knee = line.steam(np.array([line.knee_pressure * s for s in (1 - 1e-9, 1 + 1e-9)]))
    assert at_knee == pytest.approx(line.knee_steam, rel=1e-6)
    slopes = np.diff(line.steam_at) / np.diff(line.pressure)
    assert (slopes[line.knee :] > slopes[0]).all()  # lever forward: dearer than the throttle


@many
@given(
    st.floats(40, 300),
    st.floats(0.15, 0.9),
    st.floats(0.3, 0.95),
    st.floats(0.5, 1.0),
    st.floats(1.0, 9.0),
)
@example(60.0, 0.7499999999999999, 0.75, 0.75, 1.0)
@example(40.0, 0.15, 0.75, 0.5, 1.0)
@example(150.0, 0.5, 0.75, 0.75, 9.0)
def test_any_engine_has_a_rising_line_or_is_refused(
    gauge: float, running: float, longest: float, diagram: float, ratio: float
) -> None:
    boiler, back = gauge * PSI + ATMOSPHERE, 2 * PSI + ATMOSPHERE
    try:
        line = steam_line(
            boiler,
            running_cut_off=running,
            longest_cut_off=longest,
            diagram_factor=diagram,
            back_pressure=back,
            clearance=0.07,
            condensation=0.2,
            volume_ratio=ratio,
        )
    except NoPlanError:
        fullest = mean_effective_pressure(
            diagram * boiler, max(running, longest - 0.01) / ratio, back
        )
        assert fullest <= 0
        return
    assert (np.diff(line.pressure) > 0).all()
    assert (np.diff(line.steam_at) > 0).all()
    assert line.idle > 0
    steam = line.steam(np.linspace(0.0, 1.1 * line.full_pressure, 50))
    assert np.isfinite(steam).all()


@pytest.mark.parametrize("cut_off", [0.75, 0.8])
def test_an_engine_without_forward_lever_left_is_still_throttled(cut_off: float) -> None:
    line = steam_line(
        150 * PSI + ATMOSPHERE,
        running_cut_off=cut_off,
        longest_cut_off=0.75,
        diagram_factor=0.75,
        back_pressure=2 * PSI + ATMOSPHERE,
        clearance=0.07,
        condensation=0.2,
    )
    idling, half, full = line.steam(np.array([0.0, 0.5, 1.0]) * line.full_pressure)
    assert idling == pytest.approx(line.idle)
    assert idling < half < full


# --- the road


GRADES = st.floats(-0.3, 0.3)


@many
@given(st.floats(100, 1e5), st.floats(0.0, 0.2), GRADES)
def test_turning_the_road_round_changes_only_the_sign_of_the_climb(
    mass: float, coefficient: float, grade: float
) -> None:
    there, back = (float(tractive_force(mass, coefficient, g)) for g in (grade, -grade))
    slant = np.sqrt(1 + grade**2)
    assert there + back == pytest.approx(2 * mass * GRAVITY * coefficient / slant, abs=1e-6)
    assert there - back == pytest.approx(2 * mass * GRAVITY * grade / slant, abs=1e-6)


@many
@given(st.floats(100, 1e5), st.floats(0.0, 0.2), GRADES, st.floats(1, 10))
def test_force_is_in_proportion_to_mass(
    mass: float, coefficient: float, grade: float, times: float
) -> None:
    """Morin: resistance is in proportion to load (row 1.30 of the sources, King 1894, s. 53)."""
    one, other = (float(tractive_force(m, coefficient, grade)) for m in (mass, times * mass))
    assert other == pytest.approx(times * one, rel=1e-12, abs=1e-9)


@many
@given(st.floats(0.001, 0.2), st.floats(0.001, 0.2))
def test_the_work_of_a_climb_is_weight_times_height(grade: float, coefficient: float) -> None:
    run = 100.0 * np.sqrt(1 + grade**2)
    bare, rolling = (float(tractive_force(1000.0, f, grade)) * run for f in (0.0, coefficient))
    assert bare == pytest.approx(1000.0 * GRAVITY * 100.0 * grade, rel=1e-12)
    assert rolling - bare == pytest.approx(1000.0 * GRAVITY * coefficient * 100.0, rel=1e-9)


# --- use on the road, in one gear


UPHILL = st.floats(0.0, 8.0)
TRAIN = st.floats(1.0, 12.0)


@few
@given(UPHILL, TRAIN, st.floats(0.1, 6.0))
def test_a_heavier_train_takes_more(grade: float, train: float, more: float) -> None:
    light, heavy = (steam_case([grade], train=t).totals() for t in (train, train + more))
    assert heavy[0] > light[0]
    assert heavy[1] > light[1]
    assert heavy[2] >= light[2]


@few
@given(UPHILL, TRAIN, st.floats(0.1, 2.0))
def test_a_steeper_hill_takes_more(grade: float, train: float, more: float) -> None:
    gentle, steep = (steam_case([g], train=train).totals() for g in (grade, grade + more))
    assert steep[0] > gentle[0]
    assert steep[1] > gentle[1]
    assert steep[2] >= gentle[2]


@few
@given(st.floats(0.0, 2.0), st.floats(1.0, 6.0), st.sampled_from(["rubber", "steel"]))
def test_a_worse_surface_takes_more(grade: float, train: float, tyre: str) -> None:
    """Wagons on rubber, the engine on either; surfaces in the order of both together."""

    def resistance(name: str) -> tuple[float, float]:
        own = {"rubber": SURFACES[name].rubber.value, "steel": SURFACES[name].steel.value}
        return own[tyre], own["rubber"]

    names = [n for n in SURFACES if resistance(n) < resistance("sand")]
    use = {n: steam_case([grade], surface=n, train=train, tyre=tyre).totals() for n in names}
    compared = 0
    for good in names:
        for bad in names:
            if all(a < b for a, b in zip(resistance(good), resistance(bad), strict=True)):
                compared += 1
                assert use[bad][0] > use[good][0]
                assert use[bad][1] > use[good][1]
                assert use[bad][2] >= use[good][2]
    assert compared >= 10


@few
@given(UPHILL, TRAIN, st.floats(18.0, 30.0), st.floats(0.1, 6.0))
def test_better_coal_burns_less_and_costs_no_time(
    grade: float, train: float, value: float, more: float
) -> None:
    poor, good = (
        steam_case([grade], train=train, heating_value=v).totals() for v in (value, value + more)
    )
    assert good[1] < poor[1]
    assert good[2] <= poor[2]


@few
@given(st.floats(0.1, 8.0), TRAIN)
def test_down_takes_less_than_level_and_level_less_than_up(grade: float, train: float) -> None:
    down, level, up = (steam_case([g], train=train).totals() for g in (-grade, 0.0, grade))
    # The slant of the road itself is longer than the level by less than half a percent.
    assert down[0] < 1.004 * level[0] < 1.004 * up[0]
    assert down[1] < 1.004 * level[1] < 1.004 * up[1]
    assert min(down) > 0


@few
@given(st.floats(0.0, 12.0), TRAIN)
def test_a_coasting_train_keeps_its_speed_along_the_slant(grade: float, train: float) -> None:
    metres = 1000.0 * np.sqrt(1 + (grade / 100) ** 2)
    minutes = metres / (2 * 1609.344 / 60)
    assert steam_case([-grade], train=train).totals()[2] == pytest.approx(minutes, rel=1e-9)


@few
@given(st.floats(0.0, 9.0), st.floats(1.0, 30.0), st.floats(0.1, 6.0))
def test_a_heavier_train_is_never_sooner_whatever_the_gears(
    grade: float, train: float, more: float
) -> None:
    """Water may fall where a heavier train asks for a lower gear and less forward lever."""
    try:
        light, heavy = (
            steam_case([grade], train=t, gears=THREE).totals() for t in (train, train + more)
        )
    except NoPlanError:
        assume(False)
        raise
    assert heavy[2] >= light[2] - 1e-9


def _boiler_pressure(case: Case) -> float:
    """Absolute; the air thins with height by the standard atmosphere (ISO 2533:1975)."""
    assert case.scenario.file.engine is not None
    height = float(case.route.elevation.mean())
    air: float = ATMOSPHERE * (1 - 0.0065 * height / 288.15) ** 5.255877
    return case.scenario.file.engine.pressure + air


@few
@given(
    st.lists(st.floats(-6.0, 8.0), min_size=1, max_size=4),
    TRAIN,
    st.floats(18.0, 36.0),
    st.floats(0.0, 1700.0),
)
def test_the_coal_pays_for_the_steam_and_the_lagging(
    grades: list[float], train: float, value: float, aboard: float
) -> None:
    """Coal x heating value x efficiency = heat of the steam + radiation, segment by segment.

    Of the coal, what goes out with the clinker heats nothing.
    """
    case = steam_case(grades, train=train, heating_value=value)
    engine = case.scenario.file.engine
    assert engine is not None
    use = case.demand.evaluate(np.full(case.demand.segments, aboard), case.demand.gear)
    surface, value = engine.heating_surface, 1e6 * value

    def fire(coal: Array | float) -> Array:
        efficiency = furnace_efficiency(coal, surface, b=FURNACE_B * BY_HAND, a=FURNACE_A)
        return np.asarray(coal * value * efficiency)

    hardest = DEFAULTS["firing_rate"].value * engine.grate_area
    radiation = DEFAULTS["radiation"].value * float(fire(hardest))
    feed, dryness = DEFAULTS["feed_temperature"].value, DEFAULTS["dryness"].value
    heat = heat_of_steam(_boiler_pressure(case), feed, dryness)
    burnt = use.coal / use.duration / (1 + DEFAULTS["fire_cleaning"].value)
    given_out = fire(burnt) * use.duration
    wanted = use.water * heat + radiation * use.duration
    assert given_out == pytest.approx(wanted, rel=1e-6)
    assert (burnt <= hardest * (1 + 1e-9)).all()


@few
@given(st.floats(0.0, 10.0), TRAIN, st.floats(18.0, 36.0))
def test_work_at_the_rim_is_less_than_any_heat_engine_could_give(
    grade: float, train: float, value: float
) -> None:
    case = steam_case([grade], train=train, heating_value=value)
    engine = case.scenario.file.engine
    assert engine is not None
    _, coal, _ = case.totals(0.0)
    coefficient = SURFACES["asphalt"].rubber.value  # the engine's own is above it
    force = float(tractive_force(engine.weight + 1000 * train, coefficient, grade / 100))
    work = force * 1000.0 * np.sqrt(1 + (grade / 100) ** 2)
    hot = saturation_temperature(_boiler_pressure(case))
    carnot = 1 - saturation_temperature(ATMOSPHERE) / hot
    assert work < coal * value * 1e6 * FURNACE_B * carnot


# --- straight lines and their composition


HILLS = st.lists(st.floats(-6.0, 7.0), min_size=1, max_size=5)


@few
@given(HILLS, TRAIN, st.floats(0.0, 1700.0), st.sampled_from([LOW, THREE]))
def test_the_straight_line_touches_the_curve(
    grades: list[float], train: float, aboard: float, gears: str
) -> None:
    demand = steam_case(grades, train=train, gears=gears).demand
    mass = np.full(demand.segments, aboard)
    use, line = demand.evaluate(mass, demand.gear), linearise(demand, mass, demand.gear)
    for name in ("duration", "water", "coal"):
        straight = getattr(line, name) + getattr(line, f"{name}_slope") * mass
        assert straight == pytest.approx(getattr(use, name), rel=1e-9)


@few
@given(HILLS, TRAIN, st.floats(200.0, 1700.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_compressed_leg_is_the_leg_driven_segment_by_segment(
    grades: list[float], train: float, start: float, a: float, b: float
) -> None:
    demand = steam_case(grades, train=train).demand
    first, last = sorted(round(x * demand.segments) for x in (a, b))
    line = linearise(demand, np.full(demand.segments, 900.0), demand.gear)
    p, q = compress(line, first, last)
    mass = [start]
    for k in range(first, last):
        water = line.water[k] + line.water_slope[k] * mass[-1]
        coal = line.coal[k] + line.coal_slope[k] * mass[-1]
        mass.append(mass[-1] - float(water) - float(coal))
    assert p * start - q == pytest.approx(np.array(mass), rel=1e-9, abs=1e-9 * start)


@few
@given(HILLS, TRAIN, st.floats(200.0, 1700.0))
def test_the_totals_of_a_leg_are_those_of_its_segments(
    grades: list[float], train: float, start: float
) -> None:
    case = steam_case(grades, train=train)
    demand = case.demand
    expected = np.full(demand.segments, 900.0)
    chain = build_chain(case.scenario, case.route, demand, expected, ())
    line = linearise(demand, expected, demand.gear)
    (leg,) = chain.legs[0]
    p, q = compress(line, 0, demand.segments)
    mass = (p * start - q)[:-1]
    for name in ("duration", "water", "coal"):
        stepped = (getattr(line, name) + getattr(line, f"{name}_slope") * mass).sum()
        total = getattr(leg, name) + getattr(leg, f"{name}_slope") * start
        assert total == pytest.approx(stepped, rel=1e-9)


# --- measured use


ROW = st.tuples(st.floats(1, 60), st.floats(1, 300), st.floats(0, 60), st.just(0.0))
STOPS = st.lists(st.integers(1, 29), min_size=1, max_size=4, unique=True)


@few
@given(st.lists(ROW, min_size=3, max_size=3), STOPS)
def test_a_stop_inside_a_measured_stretch_changes_no_total(
    rows: list[Measured], tenths: list[int]
) -> None:
    whole = measured_case(rows)
    split = measured_case(rows, [tenth / 10 for tenth in tenths])
    assert split.demand.segments > whole.demand.segments or all(t % 10 == 0 for t in tenths)
    assert split.totals() == pytest.approx(whole.totals(), rel=1e-12)


@few
@given(st.floats(1e-4, 0.02), STOPS)
def test_splitting_use_that_depends_on_mass_errs_by_second_order_only(
    slope: float, tenths: list[int]
) -> None:
    """Each part reckons with the mass at its own start, a little below the stretch's."""
    rows = [(10.0, 20.0, 5.0, slope)] * 3
    whole = driven(measured_case(rows).demand, 1500.0)
    split = driven(measured_case(rows, [tenth / 10 for tenth in tenths]).demand, 1500.0)
    assert split.time == pytest.approx(whole.time)
    assert split.coal == pytest.approx(whole.coal)
    least = whole.water - 3 * slope * (25.0 + 1500.0 * slope)
    assert least <= split.water <= whole.water + 1e-9


# --- hills that no gear holds


@pytest.mark.parametrize(
    ("grade", "tyre", "surface", "limit"),
    [
        (13.0, "rubber", "asphalt", "pull of the cylinders in low gear"),
        (14.0, "rubber", "macadam", "pull of the cylinders in low gear"),
        (8.0, "steel", "gravel", "grip of the driving wheels in low gear"),
        (6.0, "steel", "macadam", "grip of the driving wheels in low gear"),
    ],
)
def test_a_refused_hill_names_its_limit_and_a_train_that_passes(
    grade: float, tyre: str, surface: str, limit: str
) -> None:
    with pytest.raises(NoPlanError, match=limit) as refused:
        steam_case([0.0, grade], tyre=tyre, surface=surface, train=40.0)
    assert f"{grade:.1f} %" in str(refused.value)
    found = re.search(r"a train of at most ([\d.]+ short ton) behind", str(refused.value))
    assert found is not None
    passing = parse("mass", found[1])

    def again(change: float) -> Case:
        train = (passing + change) / 1000
        return steam_case([0.0, grade], tyre=tyre, surface=surface, train=train)

    def heaviest(change: float) -> float:
        try:
            return float(again(change).demand.heaviest.min())
        except NoPlanError:
            return -np.inf

    # It passes full or empty: nothing bounds what may be aboard.
    assert np.isinf(again(0.0).demand.heaviest).all()
    # Rounded down to a hundredth of a ton: a train above it is refused with the stores at
    # their reserve, or may not take its stores full.
    assert heaviest(0.02 * SHORT_TON) < 1700.0
    less = again(0.0)
    trace = replay(
        less.scenario, less.route, less.demand, make_plan(less.scenario, less.route, less.demand)
    )
    assert trace.distance[-1] == pytest.approx(2000.0)


@few
@given(st.floats(9.0, 14.0), st.sampled_from(["asphalt", "macadam", "brick"]))
def test_the_very_train_a_refusal_prints_passes(grade: float, surface: str) -> None:
    with pytest.raises(NoPlanError) as refused:
        steam_case([grade], surface=surface, train=60.0)
    found = re.search(r"a train of at most ([\d.]+ short ton) behind", str(refused.value))
    assert found is not None
    case = steam_case([grade], surface=surface, train=parse("mass", found[1]) / 1000)
    assert np.isinf(case.demand.heaviest).all()


def test_a_hill_that_the_engine_alone_cannot_climb_is_said_so() -> None:
    with pytest.raises(NoPlanError, match="the engine alone does not pass"):
        steam_case([30.0], train=1.0)


def test_a_road_too_heavy_on_the_level_is_refused_as_level() -> None:
    with pytest.raises(NoPlanError, match="sand") as refused:
        steam_case([0.0], surface="sand", train=59.0)
    assert "inf" not in str(refused.value)
    assert "hill at" not in str(refused.value)
