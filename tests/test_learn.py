"""Learning an engine's thirst: honest about what a log can tell."""

import math
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from haulplan.demand import build_demand
from haulplan.demand.stretches import deviates_for, survey
from haulplan.errors import InputError
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Learned
from haulplan.underway.keep import keep_lessons, with_factors, write_new
from haulplan.underway.learn import Fit, Sample, fit_thirst, noticed
from haulplan.underway.log import Run, read_log
from haulplan.underway.recorded import Lessons, bare, learn, prior_spreads
from haulplan.underway.task import drive

DEMO = Path(__file__).parents[1] / "scenarios" / "hobmere-penniford"
PRIOR = 0.15
GALLON = 3.785411784 * 0.999


@cache
def _road() -> tuple[Scenario, Route]:
    scenario = read_scenario(DEMO)
    return scenario, build_route(scenario)


def season(
    rng: np.random.Generator,
    factor: float,
    runs: int,
    *,
    run: float = 0.08,
    leg: float = 0.05,
    legs: int = 6,
    effects: Sequence[dict[str, float]] = (),
) -> list[Sample]:
    """Stretches of a season with known factor and noise."""
    shifts = rng.normal(0.0, run, runs)
    return [
        Sample(
            run=str(k),
            value=math.log(factor) + shifts[k] + float(rng.normal(0.0, leg)),
            error=0.0,
            effects=effects[k] if effects else {},
        )
        for k in range(runs)
        for _ in range(legs)
    ]


# --- the fit --------------------------------------------------------------------------


def test_nine_in_ten_intervals_hold_nine_in_ten_engines() -> None:
    """A quick look; the whole study of 500 seasons is tests/bench/learning.py."""
    rng = np.random.default_rng(20270522)
    inside = 0
    for _ in range(150):
        factor = math.exp(rng.normal(0.0, PRIOR))
        fit = fit_thirst(season(rng, factor, int(rng.integers(1, 7))), PRIOR)
        inside += fit.factor.low <= factor <= fit.factor.high
    assert 0.85 <= inside / 150 <= 0.97  # two standard errors about 0.9 to 0.94


def test_more_runs_teach_more_and_one_moves_little() -> None:
    def fit(runs: int) -> Fit:
        samples = [
            Sample(run=str(k), value=math.log(1.2), error=0.0, effects={})
            for k in range(runs)
            for _ in range(5)
        ]
        return fit_thirst(samples, PRIOR)

    one, many = fit(1), fit(12)
    assert 1.0 < one.factor.typical < 1.17 < many.factor.typical < 1.2
    assert many.factor.sd < one.factor.sd < PRIOR
    short = fit_thirst([Sample(run="a", value=math.log(1.2), error=0.2, effects={})], PRIOR)
    assert short.factor.typical < 1 + 0.4 * (one.factor.typical - 1) + 0.04
    assert not noticed(one, 1.0)
    assert noticed(many, 1.0)
    assert many.next_run >= many.run_spread > 0.03


def test_a_wild_reading_moves_the_fit_little() -> None:
    rng = np.random.default_rng(3)
    samples = season(rng, 1.0, 4)
    wild = [*samples[:-1], replace(samples[-1], value=samples[-1].value + 0.9)]
    calm, shaken = fit_thirst(samples, PRIOR), fit_thirst(wild, PRIOR)
    assert shaken.weights[-1] < 0.4
    assert abs(math.log(shaken.factor.typical / calm.factor.typical)) < 0.02


def test_crew_weather_and_surface_are_told_apart_where_the_data_allow() -> None:
    rng = np.random.default_rng(8)
    effects = [{"crew A": 1.0} if k % 2 else {"crew B": 1.0, "weather wet": 1.0} for k in range(16)]
    samples = [
        replace(s, value=s.value + 0.15 * s.effects.get("crew B", 0.0))
        for s in season(rng, 1.0, 16, run=0.03, effects=effects)
    ]
    fit = fit_thirst(samples, PRIOR)
    found = {effect.name: effect.factor for effect in fit.effects}
    assert set(found) == {"crew A", "crew B", "weather wet"}
    thirstier = math.log(found["crew B"].typical * found["weather wet"].typical)
    assert thirstier - math.log(found["crew A"].typical) > 0.09
    # Crew B drove in the wet only: neither may take all the blame.
    assert found["crew B"].typical < 1.12
    same = fit_thirst([replace(s, effects={"crew A": 1.0}) for s in samples], PRIOR)
    assert same.effects == ()


def test_nothing_to_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="no stretch"):
        fit_thirst([], PRIOR)


# --- logs beside the model ------------------------------------------------------------


def made_log(tmp_path: Path, *, water: float, coal: float, name: str = "made") -> tuple[Run, ...]:
    """A log as an engine of known factors would leave it, filled up at every stop."""
    scenario, route = _road()
    demand = build_demand(bare(scenario), route)
    stops = [0.0, 5000.0, 10000.0, 15000.0, 20000.0, 25000.0, 31000.0]
    tank = scenario.file.stores.tank
    lines = ["miles,dip,filled to,bags [1 lb]", "0,full,,"]
    for begin, end in pairwise(stops):
        first, last = route.index(begin), route.index(end)
        aboard = tank + scenario.file.at_start.coal / 2
        used = drive(demand, first, last, aboard, demand.gear)
        level = tank - water * float(used.water[-1])
        burnt = coal * float(used.coal[-1]) / 0.45359237
        lines.append(f"{end / 1609.344:.4f},{level / GALLON:.3f} US gal,full,{burnt:.2f}")
    text = "\n".join(lines)
    file = tmp_path / f"{name}.csv"
    file.write_text(text, "utf-8")
    return read_log(file, scenario, route)


def test_known_factors_are_found_in_logs_of_the_model_itself(tmp_path: Path) -> None:
    runs = [r for k in range(8) for r in made_log(tmp_path, water=1.2, coal=0.9, name=f"r{k}")]
    lessons = learn(*_road(), runs)
    assert lessons.water is not None
    assert lessons.coal is not None
    assert all(one.ratio == pytest.approx(1.2, abs=0.02) for one in lessons.stretches[:6])
    assert lessons.water.factor.typical == pytest.approx(1.2, abs=0.05)
    assert lessons.coal.factor.typical == pytest.approx(0.9, abs=0.05)
    assert lessons.water.factor.low < 1.2 < lessons.water.factor.high


def test_a_slip_of_units_is_named_and_left_out(tmp_path: Path) -> None:
    (run,) = made_log(tmp_path, water=1.0, coal=1.0)
    (spoilt,) = made_log(tmp_path, water=1.0, coal=1.0, name="spoilt")
    entries = list(spoilt.entries)
    assert entries[2].coal is not None
    entries[2] = replace(entries[2], coal=entries[2].coal * 2.2046)
    lessons = learn(*_road(), [run, replace(spoilt, entries=tuple(entries))])
    (odd,) = [one for one in lessons.stretches if not one.believed]
    assert odd.span.kind == "coal"
    assert "pounds read as kilograms" in odd.remark
    assert odd.weight == 0.0


def test_water_and_coal_that_do_not_go_together_are_flagged(tmp_path: Path) -> None:
    runs = made_log(tmp_path, water=1.2, coal=0.55)
    coal = [one for one in learn(*_road(), runs).stretches if one.span.kind == "coal"]
    assert all("of water to 1 of coal; usual is 5.1 to 10.2" in one.remark for one in coal)


def test_an_engine_faster_than_its_gears_is_not_believed(tmp_path: Path) -> None:
    scenario, route = _road()
    file = tmp_path / "fast.csv"
    file.write_text("time,miles,dip\n7:00,0,full\n7:15,5,60 %\n", "utf-8")
    (one,) = learn(scenario, route, read_log(file, scenario, route)).stretches
    assert not one.believed
    assert one.remark == "faster than the engine goes: time or distance is wrong"


def test_the_days_weather_is_reckoned_with_and_not_learned_as_thirst(tmp_path: Path) -> None:
    scenario, route = _road()
    file = tmp_path / "wet.csv"
    file.write_text("miles,dip,weather\n0,full,wet\n5,50 %,\n", "utf-8")
    (wet,) = learn(scenario, route, read_log(file, scenario, route)).stretches
    file.write_text("miles,dip,weather\n0,full,dry\n5,50 %,\n", "utf-8")
    (dry,) = learn(scenario, route, read_log(file, scenario, route)).stretches
    assert wet.reckoned > dry.reckoned
    assert wet.ratio < dry.ratio


def test_the_prior_is_the_band_of_the_class_defaults() -> None:
    scenario, route = _road()
    found, spreads = survey(scenario, route), prior_spreads(scenario, route)
    assert spreads["water"] == pytest.approx(math.log(found.water.ratio) / 3.2898)
    assert spreads["coal"] == pytest.approx(math.log(found.coal.ratio) / 3.2898)


# --- kept in the engine's file --------------------------------------------------------


def _lessons(water: float = 1.2) -> Lessons:
    samples = season(np.random.default_rng(1), water, 8)
    fit = fit_thirst(samples, PRIOR)
    return Lessons(water=fit, coal=fit, stretches=(), notes=())


def demo_copy(tmp_path: Path) -> Path:
    for file in DEMO.iterdir():
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path


def test_factors_are_kept_and_every_comment_with_them(tmp_path: Path) -> None:
    file = demo_copy(tmp_path) / "scenario.toml"
    before = file.read_text("utf-8")
    lessons = _lessons()
    keep_lessons(file, lessons)
    keep_lessons(file, lessons)
    after = file.read_text("utf-8")
    assert [line for line in after.splitlines() if "_factor" not in line] == before.splitlines()
    engine = read_scenario(tmp_path).file.engine
    assert engine is not None
    assert engine.water_factor is not None
    assert lessons.water is not None
    assert engine.water_factor.typical == pytest.approx(lessons.water.factor.typical, abs=6e-4)
    assert engine.water_factor.spread == pytest.approx(lessons.water.next_run, abs=6e-4)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("[engine]", "[engine]\n"),
        ("[engine]\nname = 'x'  # mine", "[engine]\nname = 'x'  # mine\n"),
        ("[engine]\r\nname = 'x'\r\n\r\n# more\r\n[[engine.gears]]\r\na = 2\r\n", "# more\r\n[["),
        ("[ engine ]\nwater_factor = { typical = 2.0, spread = 0.1 } # why\n[fuel]\n", "# why\n"),
    ],
)  # fmt: skip
def test_factors_go_into_any_lawful_engine_section(text: str, kept: str) -> None:
    new = with_factors(text, _lessons())
    engine = tomllib.loads(new)["engine"]
    assert engine["water_factor"]["typical"] > 1.1
    assert kept in new
    assert ("\r\n" in text) is ("\r\n" in new)


def test_an_engine_that_is_no_section_is_left_alone_with_the_lines_to_write() -> None:
    with pytest.raises(InputError, match=r"no section \[engine\].*water_factor = \{ typical = 1"):
        with_factors("engine = { name = 'x' }\n", _lessons())


def test_a_file_that_cannot_be_written_stands_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = demo_copy(tmp_path) / "scenario.toml"
    before = file.read_bytes()

    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(InputError, match="cannot be written"):
        keep_lessons(file, _lessons())
    assert file.read_bytes() == before
    assert not [path for path in tmp_path.iterdir() if ".new-" in path.name]


def test_a_template_never_replaces_a_file(tmp_path: Path) -> None:
    write_new(tmp_path / "log.csv", "a\n")
    with pytest.raises(InputError, match="is there already"):
        write_new(tmp_path / "log.csv", "b\n")
    assert (tmp_path / "log.csv").read_text("utf-8") == "a\n"


# --- and used -------------------------------------------------------------------------


def _with(water: Learned | None, coal: Learned | None) -> Scenario:
    scenario, _ = _road()
    engine = scenario.file.engine
    assert engine is not None
    engine = engine.model_copy(update={"water_factor": water, "coal_factor": coal})
    return replace(scenario, file=scenario.file.model_copy(update={"engine": engine}))


def _use(scenario: Scenario, pessimism: float | None = None) -> NDArray[np.float64]:
    _, route = _road()
    demand = build_demand(scenario, route, pessimism=pessimism)
    use = demand.evaluate(np.full(demand.segments, 800.0), demand.gear)
    standing = [demand.standing_water, demand.standing_coal]
    return np.array([use.water.sum(), use.coal.sum(), *standing])


def test_a_learned_factor_multiplies_the_use_and_is_listed() -> None:
    learned = _with(Learned(typical=1.2, spread=0.1), Learned(typical=0.9, spread=0.1))
    plain = _use(_with(None, None))
    np.testing.assert_allclose(_use(learned) / plain, [1.2, 0.9, 1.2, 0.9], rtol=3e-3)
    names = {item.name: item for item in build_demand(learned, _road()[1]).assumptions}
    assert names["water factor"].value == "1.20 x the model"
    assert names["water factor"].source == "its own logs"


def test_the_learned_spread_takes_the_place_of_the_defaults_band() -> None:
    learned = _with(Learned(typical=1.2, spread=0.1), Learned(typical=1.0, spread=0.05))
    hard, typical = _use(learned, 0.95), _use(learned)
    np.testing.assert_allclose(
        hard[:2] / typical[:2], np.exp(1.6449 * np.array([0.1, 0.05])), rtol=2e-3
    )
    assert set(deviates_for(learned, _road()[1], 0.95)) == {"water_factor", "coal_factor"}
    band = survey(learned, _road()[1]).water
    assert band.high / band.typical == pytest.approx(math.exp(0.1645), rel=3e-3)
    with pytest.raises(ValueError, match="between 0 % and 100 %"):
        build_demand(learned, _road()[1], pessimism=1.5)


def test_learning_again_from_the_same_logs_teaches_the_same(tmp_path: Path) -> None:
    runs = made_log(tmp_path, water=1.2, coal=1.0)
    _, route = _road()
    first = learn(_with(None, None), route, runs)
    again = learn(_with(Learned(typical=1.2, spread=0.1), None), route, runs)
    assert first.water == again.water


@pytest.mark.parametrize("factor", [{"typical": 0.2, "spread": 0.1}, {"typical": 1.0}, 1.1])
def test_a_factor_that_cannot_be_is_refused(
    write: Callable[..., Path], steam: dict[str, dict[str, object]], road_csv: str, factor: object
) -> None:
    steam["engine"]["water_factor"] = factor
    with pytest.raises(InputError, match=r"engine\.water_factor"):
        read_scenario(write(steam, {"route.csv": road_csv}))
