"""A likely run put to the planner: stages of a day's work, where water must have been."""

import math
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand, build_demand
from haulplan.errors import HaulplanError, NoPlanError
from haulplan.period.folder import stage_files
from haulplan.period.likely import Likely
from haulplan.period.way import Way, cut_way, reversed_way
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.classes import fuels
from haulplan.units import parse

__all__ = ["Stage", "Variant", "Window", "plan_run", "run_files", "solve_run"]

Array = NDArray[np.float64]

_MILE = 1609.344
#: Nobody sets out for the way back with less than this of the day left. [-]
_TURN = 0.3
#: Most time for the solver, a stage. [s]
_LIMIT = 10.0
#: Parts of the train that are tried where the whole does not pass.
_SHARES = (1.0, 0.85, 0.7, 0.55, 0.4, 0.25)
_WORSE_FUEL = {
    "dry-wood": "green-wood",
    "air-dry-wood": "green-wood",
    "green-wood": "green-wood",
    "bituminous-poor": "subbituminous",
    "subbituminous": "lignite",
    "lignite": "lignite",
}
_WORSE_STATE = {"dry": "wet", "wet": "mud", "mud": "mud"}


@dataclass(frozen=True, kw_only=True)
class Window:
    """Where a water stop must have been: not before `begin`, not beyond `end` [m]."""

    begin: float
    end: float


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One day's way: its scenario files, and its plan or why there is none.

    `begin` and `end` lie along the way out or back [m].
    """

    day: int
    back: bool
    begin: float
    end: float
    names: tuple[str, str]
    files: Mapping[str, str]
    plan: Plan | None
    trouble: str | None
    windows: tuple[Window, ...]


@dataclass(frozen=True, kw_only=True)
class Variant:
    """The run under one set of conditions: what changed, its stages and totals; SI.

    `share` is the part of the train that passes every hill, one for the whole of it.
    """

    name: str
    share: float
    state: str
    fuel: str
    stages: tuple[Stage, ...]
    crew: int
    standing: float

    @property
    def days(self) -> int:
        """Days on the road."""
        return max(stage.day for stage in self.stages)

    @property
    def solved(self) -> bool:
        """Whether every stage has a plan."""
        return all(stage.plan is not None for stage in self.stages)

    @property
    def trouble(self) -> str | None:
        """Why there is no plan, None where there is one."""
        return next((s.trouble for s in self.stages if s.plan is None), None)

    @property
    def plans(self) -> tuple[Plan, ...]:
        """The plans there are."""
        return tuple(stage.plan for stage in self.stages if stage.plan is not None)

    @property
    def water_stops(self) -> int:
        """Stops for water under way."""
        return sum(len(plan.stops) - 2 for plan in self.plans)

    @property
    def water(self) -> float:
        """Water used under way and standing [kg]."""
        return sum(
            sum(leg.water for leg in plan.legs) + sum(s.water_standing for s in plan.stops)
            for plan in self.plans
        )

    @property
    def coal(self) -> float:
        """Coal for the way, standing and lighting up [kg]."""
        return sum(
            sum(leg.coal for leg in plan.legs)
            + sum(s.coal_standing for s in plan.stops)
            + (plan.lighting_up_coal or 0.0)
            for plan in self.plans
        )

    @property
    def driving(self) -> float:
        """Time under way [s]."""
        return sum(leg.duration for plan in self.plans for leg in plan.legs)

    @property
    def crew_days(self) -> int:
        """People times days."""
        return self.crew * self.days


def solve_run(
    likely: Likely, *, progress: Callable[[str], None] = lambda _: None
) -> tuple[Variant, ...]:
    """Plan the likely run, a wet week, and poor fuel.

    Parameters
    ----------
    likely
        The run.
    progress
        Told what is being done.

    Returns
    -------
    variants
        The run as likely, with the road one state worse, and with poor fuel.
    """
    poor = _WORSE_FUEL.get(likely.fuel, "bituminous-poor")
    heat = float(_heating_value(poor))
    variants = [
        ("as likely", likely),
        ("a wet week", replace(likely, state=_WORSE_STATE[likely.state])),
        ("poor fuel", replace(likely, fuel=poor, heating_value=min(heat, likely.heating_value))),
    ]
    found = []
    for name, run in variants:
        progress(f"planning the likely run: {name}")
        found.append(plan_run(name, run))
    return tuple(found)


def plan_run(name: str, run: Likely) -> Variant:
    """Plan a run with the largest train that passes; whole and unsolved where none does.

    Parameters
    ----------
    name
        Of the conditions.
    run
        What is run under them.

    Returns
    -------
    variant
        With a plan for each stage, or the first stage that has none.
    """
    made = None
    for share in _SHARES:
        part = replace(
            run, useful=share * run.useful, carried=share * run.carried, tare=share * run.tare
        )
        stages = _stages(part)
        tried = Variant(
            name=name, share=share, state=run.state, fuel=run.fuel, stages=stages, crew=run.crew,
            standing=run.standing,
        )  # fmt: skip
        made = made or tried
        if tried.solved:
            return tried
    assert made is not None
    return made


def _heating_value(fuel: str) -> float:
    return parse("heating value", fuels()[fuel]["heating_value"][1])


def run_files(variants: Sequence[Variant]) -> dict[str, dict[str, str]]:
    """Scenario folders of the likely run, one for each stage.

    Parameters
    ----------
    variants
        From `solve_run`; the first is the run as likely.

    Returns
    -------
    folders
        Files by folder name, such as "day-1".

    Raises
    ------
    NoPlanError
        If there is no run: the record holds tables only, or no combination agrees.
    """
    if not variants:
        raise NoPlanError("no likely run follows from this record: see its oddities")
    stages = variants[0].stages
    names = [f"day-{stage.day}{'-back' if stage.back else ''}" for stage in stages]
    return {name: dict(stage.files) for name, stage in zip(names, stages, strict=True)}


def _stages(likely: Likely) -> tuple[Stage, ...]:
    """Out, and back where the record has it so, cut into days of work."""
    stages: list[Stage] = []
    day, left = 1, likely.hours
    for back in (False, True)[: 2 if likely.back else 1]:
        way = reversed_way(likely.way) if back else likely.way
        loaded = not back or likely.back == "loaded"
        if left < _TURN * likely.hours:
            day, left = day + 1, likely.hours
        parts, left = _days(likely, way, loaded, left)
        for number, (begin, end) in enumerate(parts):
            day += 1 if number else 0
            part = cut_way(way, begin, end)
            files = stage_files(likely, part, day, loaded=loaded, spaced=False)
            stages.append(_solved(likely, part, files, day, back, (begin, end), loaded))
            if stages[-1].plan is None:
                return tuple(stages)
    return tuple(stages)


def _days(
    likely: Likely, way: Way, loaded: bool, left: float
) -> tuple[list[tuple[float, float]], float]:
    """The way cut where the hours of a day run out, at places where there are any.

    `left` is what is left of the first day [s]; what the last day leaves comes back.
    """
    clock, distance = _clock(likely, way, loaded)
    parts = []
    begin = 0.0
    while True:
        start = float(np.interp(begin, distance, clock))
        reach = float(np.interp(start + left, clock, distance))
        if reach >= 0.99 * way.length:
            parts.append((begin, way.length))
            return parts, start + left - float(clock[-1])
        within = [s.at for s in way.spots if begin + 0.4 * (reach - begin) < s.at <= reach]
        reach = within[-1] if within else reach
        parts.append((begin, reach))
        begin, left = reach, likely.hours


def _clock(likely: Likely, way: Way, loaded: bool) -> tuple[Array, Array]:
    """Hours of the journey against distance, standing included [s], [m]."""
    files = stage_files(likely, way, 1, loaded=loaded, spaced=True)
    try:
        scenario, route, demand = _read(files)
    except HaulplanError:  # a hill is refused, or a figure: reckon by the lowest gear's speed
        speed = likely.pace * 0.8
        return np.array([0.0, way.length / speed / (1 - likely.standing)]), np.array(
            [0.0, way.length]
        )
    stores = scenario.file.stores
    aboard = np.full(demand.segments, (stores.tank + stores.bunker) / 2)
    use = demand.evaluate(aboard, demand.gear)
    clock = np.concatenate([[0.0], np.cumsum(use.duration)]) / (1.0 - likely.standing)
    return clock, route.distance


def _read(files: Mapping[str, str]) -> tuple[Scenario, Route, Demand]:
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        scenario = read_scenario(folder)
        route = build_route(scenario)
        return scenario, route, build_demand(scenario, route)


def _solved(
    likely: Likely,
    way: Way,
    files: Mapping[str, str],
    day: int,
    back: bool,
    span: tuple[float, float],
    loaded: bool,
) -> Stage:
    """One stage's plan; where the named water does not serve, water is looked for each mile."""
    plan, trouble = None, None
    windows: tuple[Window, ...] = ()
    for spaced in (False, True):
        tried = files if not spaced else stage_files(likely, way, day, loaded=loaded, spaced=True)
        try:
            scenario, route, demand = _read(tried)
            windows = _windows(scenario, route, demand)
            plan = make_plan(scenario, route, demand, time_limit=_LIMIT)
            replay(scenario, route, demand, plan)
        except HaulplanError as error:  # the reader is told, whatever stopped the planner
            trouble = trouble or "; ".join(str(error).splitlines())
            continue
        files = tried
        break
    return Stage(
        day=day,
        back=back,
        begin=span[0],
        end=span[1],
        names=(way.spots[0].name, way.spots[-1].name),
        files=files,
        plan=plan,
        trouble=trouble,
        windows=windows,
    )


def _windows(scenario: Scenario, route: Route, demand: Demand) -> tuple[Window, ...]:
    """Where the fewest water stops must have been, tank full at the start and at each."""
    stores, reserve = scenario.file.stores, scenario.file.reserve.water
    aboard = np.full(demand.segments, (stores.tank + stores.bunker) / 2)
    used = np.concatenate([[0.0], np.cumsum(demand.evaluate(aboard, demand.gear).water)])
    usable = stores.tank - reserve
    count = max(math.ceil(float(used[-1]) / usable) - 1, 0)
    return tuple(
        Window(
            begin=float(np.interp(used[-1] - (count - k) * usable, used, route.distance)),
            end=float(np.interp((k + 1) * usable, used, route.distance)),
        )
        for k in range(count)
    )
