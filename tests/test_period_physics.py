"""The many-at-once model against the planner's own, figure by figure."""

from dataclasses import replace

import numpy as np
import pytest

from haulplan.demand.defaults import DEFAULTS, SURFACES
from haulplan.demand.engine import steam_line
from haulplan.demand.haul import Road, assemble
from haulplan.demand.plant import Figures, make_boiler
from haulplan.demand.resistance import rolling_coefficient
from haulplan.demand.segment import choose_gears
from haulplan.demand.steam import saturated_steam_density
from haulplan.period.physics import Cells, Engines, boilers, drive, lines, steam_at
from haulplan.period.trip import MODEL_DEFAULTS
from haulplan.scenario.classes import class_figures
from haulplan.scenario.schema import Conditions, Engine, Wagon
from haulplan.units import ATMOSPHERE

AIR = ATMOSPHERE
ONE = np.ones(1)


def figures_of(engine: Engine, **others: float) -> dict[str, np.ndarray]:
    found = {name: np.array([DEFAULTS[name].value]) for name in MODEL_DEFAULTS}
    own = {
        name: np.array([getattr(engine, name)])
        for name in ("pressure", "grate_area", "heating_surface")
    }
    return found | own | {name: np.array([value]) for name, value in others.items()}


def engine_of(key: str) -> Engine:
    return Engine.model_validate({**class_figures(key), "name": key})


def test_the_table_of_steam_is_that_of_the_standard() -> None:
    pressures = np.array([3e5, 8.123e5, 1.4e6])
    expected = [saturated_steam_density(p) for p in pressures.tolist()]
    assert steam_at("density", pressures) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("key", ["general-purpose-8", "road-locomotive"])
def test_the_willans_lines_are_the_planner_s(key: str) -> None:
    engine = engine_of(key)
    ratio, kind = 1.0, ""
    if engine.low_pressure_bore is not None:
        ratio, kind = (engine.low_pressure_bore / engine.bore) ** 2, "compound_"
    one = steam_line(
        engine.pressure + AIR,
        running_cut_off=DEFAULTS[f"{kind}cut_off" if kind else "running_cut_off"].value,
        longest_cut_off=DEFAULTS["longest_cut_off"].value,
        diagram_factor=DEFAULTS[f"{kind}diagram_factor"].value,
        back_pressure=DEFAULTS["back_pressure"].value + AIR,
        clearance=DEFAULTS["clearance"].value,
        condensation=DEFAULTS[f"{kind}condensation"].value,
        volume_ratio=ratio,
    )
    many = lines(figures_of(engine), AIR, ratio=ratio * ONE, kind=kind)
    pressures = np.linspace(0.0, 1.1 * one.full_pressure, 30)
    assert many.at(pressures[None, :])[0] == pytest.approx(one.steam(pressures), rel=1e-4)
    steam = one.steam(pressures[pressures < one.full_pressure])
    back = many.pressure_at(steam[None, :])[0]
    assert back == pytest.approx(pressures[pressures < one.full_pressure], rel=1e-3, abs=50)


def test_the_boilers_are_the_planner_s() -> None:
    engine = engine_of("road-locomotive")
    one = make_boiler(engine, 30e6, Conditions(), Figures(engine, {}), engine.pressure + AIR)
    many = boilers(figures_of(engine, heating_value=30e6), AIR)
    assert float(many.heat[0, 0]) == pytest.approx(one.heat, rel=1e-3)
    assert float(many.best[0, 0]) == pytest.approx(one.best, rel=1e-3)
    assert float(many.auxiliary[0, 0]) == pytest.approx(one.auxiliary, rel=1e-3)
    steam = np.array([[0.02, 0.1]])
    assert many.coal(steam)[0] == pytest.approx(one.coal(steam[0]), rel=1e-3)


@pytest.mark.parametrize("key", ["general-purpose-8", "road-locomotive"])
@pytest.mark.parametrize("surface", ["macadam", "earth"])
def test_a_mile_takes_what_the_planner_says(key: str, surface: str) -> None:
    engine = engine_of(key).model_copy(update={"tyre": "steel"})
    wagon = Wagon.model_validate({"name": "w", "tare": "9 t", "tyre": "steel"})
    grade = np.array([0.03, -0.03, 0.0])
    share = np.array([0.2, 0.2, 0.6])
    road = Road(
        length=1609.344 * share,
        grade=grade,
        surface=(surface,) * 3,
        speed_limit=np.full(3, np.inf),
        sharp=np.zeros(3, dtype=bool),
        headwind=np.zeros(3),
        altitude=0.0,
    )
    haul, _ = assemble(engine, 30e6, (wagon,), Conditions(), road)
    haul = replace(haul, change=0.0)  # a historian counts gear changes as standing
    use = haul.evaluate(np.zeros(3), choose_gears(haul, np.zeros(3)))
    run = drive(many_of(engine, haul.boiler.heating_value), cells_of(engine, surface, grade, share),
                np.array([[9000.0]]))  # fmt: skip
    assert not run.held[0]
    assert 1609.344 * run.duration[0] == pytest.approx(use.duration.sum(), rel=2e-3)
    assert 1609.344 * run.water[0] == pytest.approx(use.water.sum(), rel=2e-3)
    assert 1609.344 * run.coal[0] == pytest.approx(use.coal.sum(), rel=2e-3)


def many_of(engine: Engine, heating_value: float) -> Engines:
    figures = figures_of(engine, heating_value=heating_value)
    low = engine.low_pressure_bore
    bore = engine.bore if low is None else low
    ratio = 1.0 if low is None else (low / engine.bore) ** 2
    working = engine.cylinders if low is None else engine.cylinders // 2
    swept = working * bore**2 * engine.stroke / (2 * engine.wheel_diameter)
    gears = sorted(engine.gears, key=lambda gear: gear.ratio)
    mesh, journal = DEFAULTS["mesh_efficiency"].value, DEFAULTS["journal_efficiency"].value
    return Engines(
        mass=np.array([[engine.weight]]),
        drivers=np.array([[engine.weight_on_drivers]]),
        volume=[np.array([[swept * gear.ratio]]) for gear in gears],
        efficiency=[
            np.array([[mesh ** (g.meshes or 0) * journal ** ((g.meshes or 0) + 1)]]) for g in gears
        ],
        speed=[np.array([[gear.speed]]) for gear in gears],
        friction=np.array([[DEFAULTS["friction_pressure"].value]]),
        frontal_area=np.array([[engine.frontal_area or DEFAULTS["frontal_area"].value]]),
        drag=np.array([[DEFAULTS["drag"].value]]),
        low_descent=np.array([[DEFAULTS["low_gear_descent"].value]]),
        line=lines(figures, AIR, ratio=ratio * ONE, kind="" if low is None else "compound_"),
        boiler=boilers(figures, AIR),
    )


def cells_of(engine: Engine, surface: str, grade: np.ndarray, share: np.ndarray) -> Cells:
    row = SURFACES[surface]
    gears = sorted(engine.gears, key=lambda gear: gear.ratio)

    def rolling(width: float | None) -> list[np.ndarray]:
        return [
            np.full(
                (1, 3),
                rolling_coefficient(
                    row.steel.value,
                    hard=row.hard,
                    speed=gear.speed,
                    tabled_speed=row.steel_speed,
                    speed_slope=DEFAULTS["speed_slope"].value if row.hard else 0.0,
                    tyre_width=width,
                    soft_width=DEFAULTS["soft_width"].value,
                ),
            )
            for gear in gears
        ]

    wheels = DEFAULTS["engine_rolling"].value
    return Cells(
        grade=grade[None, :],
        share=share[None, :],
        grip=np.full((1, 3), 0.6),
        engine_rolling=[wheels * c for c in rolling(engine.tyre_width)],
        train_rolling=rolling(None),
        headwind=np.zeros((1, 1)),
        density=1.225,
    )


def test_a_hill_too_steep_for_the_train_is_gone_up_in_parts() -> None:
    engine = engine_of("general-purpose-8")
    share = np.array([0.2, 0.2, 0.6])
    many = many_of(engine, 30e6)
    gentle, steep = (
        drive(many, cells_of(engine, "macadam", np.array([g, -g, 0.0]), share),
              np.array([[44000.0]]))
        for g in (0.01, 0.06)
    )  # fmt: skip
    assert gentle.parted[0] == 0.0
    assert steep.parted[0] == pytest.approx(0.2)
    assert steep.duration[0] > gentle.duration[0]


def test_a_train_that_not_even_a_quarter_of_passes_is_held() -> None:
    engine = engine_of("general-purpose-6")
    cells = cells_of(engine, "sand", np.array([0.2, -0.2, 0.0]), np.array([0.2, 0.2, 0.6]))
    run = drive(many_of(engine, 30e6), cells, np.array([[60000.0]]))
    assert run.held[0]


def test_turning_the_way_round_exchanges_climb_and_fall() -> None:
    engine = engine_of("general-purpose-8")
    many = many_of(engine, 30e6)
    train = np.array([[8000.0]])
    share = np.array([0.3, 0.2, 0.5])
    out = drive(many, cells_of(engine, "macadam", np.array([0.02, -0.03, 0.0]), share), train)
    back = drive(
        many, cells_of(engine, "macadam", np.array([-0.02, 0.03, 0.0]), share), train,
        forwards=False,
    )  # fmt: skip
    assert back.water[0] == pytest.approx(out.water[0])


def test_a_wind_ahead_costs_water() -> None:
    engine = engine_of("road-locomotive")
    still = cells_of(engine, "macadam", np.zeros(3), np.array([0.2, 0.2, 0.6]))
    windy = replace(still, headwind=np.full((1, 1), 8.0))
    train = np.array([[20000.0]])
    many = many_of(engine, 30e6)
    assert drive(many, windy, train).water[0] > drive(many, still, train).water[0]
