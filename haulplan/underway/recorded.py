"""Logs beside the model: what each stretch took, what it was reckoned to take, what is wrong."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from haulplan.demand import Demand, build_demand
from haulplan.demand.stretches import survey
from haulplan.errors import NoPlanError
from haulplan.plan import make_plan
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.underway.learn import Fit, Sample, fit_thirst
from haulplan.underway.log import Run
from haulplan.underway.spans import Span, coal_spans, water_spans
from haulplan.underway.task import drive
from haulplan.units import UNIT_SYSTEMS

__all__ = [
    "Compared",
    "Lessons",
    "bare",
    "known_factors",
    "learn",
    "prior_spreads",
    "reserve_advice",
]

#: Factors by which a slip of units is off, and how it is said.
_SLIPS = (
    (3.785, "gallons (US) read as litres, or the reverse"),
    (4.546, "imperial gallons read as litres, or the reverse"),
    (2.2046, "pounds read as kilograms, or the reverse"),
    (1.6093, "miles read as kilometres, or the reverse"),
    (8.33, "pounds read as gallons, or the reverse"),
)
#: A stretch off by more than this is looked at for a slip of units: logarithms.
_ODD, _NEAR = math.log(1.55), math.log(1.12)
#: Off by more than this nothing is believed.
_IMPOSSIBLE = math.log(3.0)
#: Water over coal by weight of good coal (field notes: 6 to 8, outside 5 to 10 a warning),
#: in proportion to its heat [J kg⁻¹]; beyond half as much again it cannot be.
_RATIO, _HEAT, _BEYOND = (5.0, 10.0), 13000 * 2326.0, 1.5
#: Faster than its fastest gear by so much, time or distance is wrong.
_FAST = 1.5
#: Spread of the thirst before any log where there is no engine to reckon a band for.
_NO_MODEL = 0.15
#: Water covers a stretch of coal if so much of the road is told.
_COVERED = 0.95


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One stretch: recorded and reckoned use [kg], what is wrong with it, what it weighed.

    `believed` is False where `remark` says why it cannot be.
    """

    run: str
    span: Span
    reckoned: float
    remark: str
    believed: bool
    weight: float

    @property
    def ratio(self) -> float:
        """Recorded over reckoned [-]."""
        return self.span.used / self.reckoned


@dataclass(frozen=True, kw_only=True)
class Lessons:
    """What the logs teach of water and of coal, None where they hold none of it."""

    water: Fit | None
    coal: Fit | None
    stretches: tuple[Compared, ...]
    notes: tuple[str, ...]


def learn(scenario: Scenario, route: Route, runs: Sequence[Run]) -> Lessons:
    """Set logs beside the model and fit the engine's thirst.

    Parameters
    ----------
    scenario, route
        The road the logs were kept on; what was learned before is put aside, so that the
        same logs teach the same again.
    runs
        As read.

    Returns
    -------
    lessons
        Stretches in the order of the logs.
    """
    plain = bare(scenario)

    @cache
    def demand(weather: str) -> Demand:
        file = plain.file
        if weather and not plain.demand:
            conditions = file.conditions.model_copy(update={"weather": weather})
            file = file.model_copy(update={"conditions": conditions})
        return build_demand(replace(plain, file=file), route)

    stretches: list[Compared] = []
    notes: list[str] = []
    for run in runs:
        water, left_out = water_spans(run, scenario.file.stores.tank)
        notes += [f"{run.name}: {note}" for note in (*run.notes, *left_out)]
        own = [_compare(scenario, demand(run.weather), run, span) for span in water]
        own += [_compare(scenario, demand(run.weather), run, span) for span in coal_spans(run)]
        stretches += _with_ratio(scenario, own)
    by_name = {run.name: run for run in runs}
    fits: dict[str, Fit | None] = {}
    spread = prior_spreads(scenario, route)
    for kind in ("water", "coal"):
        told = [k for k, one in enumerate(stretches) if one.span.kind == kind and one.believed]
        fits[kind] = None
        if told:
            samples = [_sample(route, by_name[stretches[k].run], stretches[k]) for k in told]
            fit = fit_thirst(samples, spread[kind])
            fits[kind] = fit
            for k, weight in zip(told, fit.weights, strict=True):
                stretches[k] = replace(stretches[k], weight=weight)
    return Lessons(
        water=fits["water"], coal=fits["coal"], stretches=tuple(stretches), notes=tuple(notes)
    )


def bare(scenario: Scenario) -> Scenario:
    """A scenario at typical figures with nothing learned.

    Parameters
    ----------
    scenario
        Any.

    Returns
    -------
    scenario
        What the model itself says of it.
    """
    engine = scenario.file.engine
    if engine is not None:
        engine = engine.model_copy(update={"water_factor": None, "coal_factor": None})
    file = scenario.file.model_copy(update={"engine": engine, "pessimism": None})
    return replace(scenario, file=file)


def prior_spreads(scenario: Scenario, route: Route) -> dict[str, float]:
    """How far the engine may be off the model before any log, from the defaults' bands.

    Parameters
    ----------
    scenario, route
        The problem.

    Returns
    -------
    spreads
        Of the logarithm of water and coal, one standard deviation. [-]
    """
    if scenario.demand:
        return {"water": _NO_MODEL, "coal": _NO_MODEL}
    found = survey(bare(scenario), route)
    bands = {"water": found.water, "coal": found.coal}
    return {kind: math.log(band.ratio) / (2 * 1.6449) for kind, band in bands.items()}


def known_factors(scenario: Scenario) -> dict[str, float]:
    """The factors a scenario plans with.

    Parameters
    ----------
    scenario
        Any.

    Returns
    -------
    factors
        Of water and coal; 1 where none is kept. [-]
    """
    engine = scenario.file.engine
    kept = (None, None) if engine is None else (engine.water_factor, engine.coal_factor)
    return {
        kind: 1.0 if factor is None else factor.typical
        for kind, factor in zip(("water", "coal"), kept, strict=True)
    }


def reserve_advice(scenario: Scenario, route: Route, lessons: Lessons) -> list[str]:
    """What the learned spread asks of the reserve on the plan's longest legs.

    Parameters
    ----------
    scenario, route
        The run.
    lessons
        What its logs taught.

    Returns
    -------
    lines
        One for each store; empty where there is no plan.
    """
    system = UNIT_SYSTEMS[scenario.file.units]
    plain = bare(scenario)
    try:
        plan = make_plan(plain, route, build_demand(plain, route))
    except NoPlanError:
        return []
    lines = []
    for kind, fit, unit in (
        ("water", lessons.water, system.water),
        ("coal", lessons.coal, system.coal),
    ):
        if fit is None:
            continue
        leg = max(plan.legs, key=lambda one: getattr(one, kind))
        typical = getattr(leg, kind) * fit.factor.typical
        hard = typical * math.expm1(1.6449 * math.hypot(fit.next_run, fit.leg_spread))
        kept = unit.text(getattr(scenario.file.reserve, kind))
        lines.append(
            f"{kind}: from {plan.stops[leg.begin].name} to {plan.stops[leg.end].name} takes "
            f"{unit.text(typical)}, on one run in twenty {unit.text(hard)} more; the reserve is "
            f"{kept}"
        )
    return lines


def _compare(scenario: Scenario, demand: Demand, run: Run, span: Span) -> Compared:
    """A stretch beside the model, driven with what the tank held at its beginning."""
    file = scenario.file
    first, last = demand.index(span.begin), demand.index(span.end)
    tank = file.stores.tank if span.level is None else span.level
    aboard = tank + min(file.at_start.coal, file.stores.bunker) / 2
    driven = drive(demand, first, last, aboard, demand.gear)
    # Samples need not stand where the crew looked: the rest in proportion to the road.
    length = float(demand.distance[last] - demand.distance[first])
    share = (span.end - span.begin) / length if length > 0 else 1.0
    reckoned = float(getattr(driven, span.kind)[-1]) * share
    if span.kind == "coal" and span.duration is not None:
        standing = max(span.duration - float(driven.duration[-1]) * share, 0.0)
        reckoned += demand.standing_coal * standing
    remark, believed = _doubt(scenario, span, reckoned)
    return Compared(
        run=run.name, span=span, reckoned=max(reckoned, 1e-6), remark=remark, believed=believed,
        weight=0.0,
    )  # fmt: skip


def _doubt(scenario: Scenario, span: Span, reckoned: float) -> tuple[str, bool]:
    """What is wrong with a stretch, and whether it can be believed all the same."""
    if reckoned <= 0:
        return "the model reckons with nothing here", False
    if span.duration is not None and span.duration > 0:
        engine = scenario.file.engine
        fastest = max(g.speed for g in engine.gears) if engine is not None else 5.0
        if (span.end - span.begin) / span.duration > _FAST * fastest:
            return "faster than the engine goes: time or distance is wrong", False
    off = math.log(span.used / reckoned) if span.used > 0 else -math.inf
    doubt = span.error / reckoned
    if math.isinf(off):
        return "nothing was used" if span.kind == "coal" else "the tank did not fall", False
    if abs(off) > _ODD + 2 * doubt:
        for factor, words in _SLIPS:
            if abs(abs(off) - math.log(factor)) < _NEAR:
                return f"{math.exp(abs(off)):.1f} times off: {words}?", False
    if abs(off) > _IMPOSSIBLE + 2 * doubt:
        return "more than three times off: look at the reading", False
    return "", True


def _with_ratio(scenario: Scenario, own: list[Compared]) -> list[Compared]:
    """A run's stretches, those of coal checked against the water boiled on the same road."""
    fuel = scenario.file.fuel
    if fuel is None:
        return own
    wood = (fuel.kind or "").endswith("wood")
    heat = fuel.heating_value / _HEAT
    low, high = (2.0, 4.0) if wood else (_RATIO[0] * heat, _RATIO[1] * heat)
    water = [one.span for one in own if one.span.kind == "water" and one.believed]
    checked = []
    for one in own:
        span = one.span
        inside = [w for w in water if span.begin - 1 <= w.begin and w.end <= span.end + 1]
        told = sum(w.end - w.begin for w in inside)
        if span.kind == "coal" and one.believed and told >= _COVERED * (span.end - span.begin):
            ratio = sum(w.used for w in inside) / span.used
            give = 1 + 2 * math.hypot(
                span.error / span.used, math.hypot(*(w.error for w in inside)) / (ratio * span.used)
            )
            if not low / give <= ratio <= high * give:
                sure = low / give / _BEYOND <= ratio <= high * give * _BEYOND
                words = f"{ratio:.1f} of water to 1 of coal; usual is {low:.1f} to {high:.1f}"
                checked.append(replace(one, remark=words, believed=sure))
                continue
        checked.append(one)
    return checked


def _sample(route: Route, run: Run, one: Compared) -> Sample:
    effects: dict[str, float] = {}
    if run.crew:
        effects[f"crew {run.crew}"] = 1.0
    if run.weather:
        effects[f"weather {run.weather}"] = 1.0
    middle = (route.distance[:-1] + route.distance[1:]) / 2
    inside = (middle >= one.span.begin) & (middle <= one.span.end)
    length = np.diff(route.distance) * inside
    total = float(length.sum())
    for name in dict.fromkeys(route.surface):
        share = float(length[np.array(route.surface) == name].sum()) / total if total else 0.0
        if share:
            effects[f"surface {name}"] = share
    return Sample(
        run=one.run,
        value=math.log(one.ratio),
        error=one.span.error / one.reckoned,
        effects=effects,
    )
