"""The planner against brute force on small random problems.

The oracle knows nothing of legs, compression or the programme: it tries every subset of
stops and every choice of gears, and solves a linear programme over every stretch for
each. It reads the generated figures, not haulplan's.
"""

import itertools
import random
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from haulplan.demand import build_demand
from haulplan.errors import NoPlanError
from haulplan.plan import Plan, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import read_scenario

DEPART = 8 * 60.0


@dataclass
class Tap:
    at: float
    water: float | None
    water_rate: float
    water_price: float
    coal: float | None
    coal_rate: float
    coal_price: float
    call_out: float
    set_up: float
    opens: float
    closes: float


@dataclass
class Stretch:
    begin: float
    end: float
    minutes: float
    water: float
    coal: float
    water_slope: float
    coal_slope: float


@dataclass
class Problem:
    tank: float
    bunker: float
    reserve: tuple[float, float]
    start: tuple[float, float]
    finish: tuple[float, float]
    standing: tuple[float, float]
    dry: float
    aim: dict[str, float | str]
    stretches: list[list[Stretch]]
    taps: list[Tap]
    bridges: list[tuple[float, float]] = field(default_factory=list)


def make_problem(seed: int) -> Problem:
    """A random problem; about one in five has no plan."""
    draw = random.Random(seed)
    rows = draw.randint(4, 7)
    stretches = []
    for k in range(rows):
        water = draw.uniform(60, 160)
        options = [
            Stretch(
                1000.0 * k, 1000.0 * (k + 1), draw.uniform(8, 15), water, draw.uniform(6, 18),
                draw.choice([0.0, draw.uniform(0, 4e-3)]), draw.uniform(0, 5e-4),
            )
        ]  # fmt: skip
        if k == rows // 2 and draw.random() < 0.5:
            low = options[0]
            options.append(
                Stretch(
                    low.begin, low.end, low.minutes * draw.uniform(1.2, 1.8),
                    low.water * draw.uniform(0.6, 0.95), low.coal * draw.uniform(0.6, 1.0),
                    low.water_slope * draw.uniform(0.5, 1.2), low.coal_slope,
                )
            )  # fmt: skip
        stretches.append(options)
    length = 1000.0 * rows
    tank = draw.uniform(260, 480)
    bunker = draw.uniform(60, 110)
    taps: list[Tap] = []
    for _ in range(draw.randint(3, 5)):
        at = draw.choice([1000.0 * draw.randint(0, rows - 1), draw.uniform(200, length - 200)])
        if any(abs(at - tap.at) < 1 for tap in taps):
            continue
        opens = DEPART + draw.uniform(-60, 60) if draw.random() < 0.3 else 0.0
        closes = DEPART + draw.uniform(60, 180) if draw.random() < 0.3 else 1440.0
        opens, closes = float(int(opens)), float(int(closes))
        taps.append(
            Tap(
                at=at,
                water=draw.choice([None, 1e9, 1e9, draw.uniform(50, 250)]),
                water_rate=draw.uniform(20, 120), water_price=draw.uniform(0, 0.02),
                coal=draw.choice([None, 1e9, draw.uniform(10, 40)]),
                coal_rate=draw.uniform(5, 20), coal_price=draw.uniform(0.1, 0.4),
                call_out=draw.choice([0.0, draw.uniform(5, 40)]),
                set_up=draw.uniform(2, 15), opens=opens, closes=closes,
            )
        )  # fmt: skip
    taps = [tap for tap in taps if tap.water is not None or tap.coal is not None]
    dry = 20_000.0
    bridges = []
    if draw.random() < 0.4:
        bridges.append((draw.uniform(0, length), dry + draw.uniform(0.3, 1.0) * tank))
    aim: dict[str, float | str] = draw.choice(
        [
            {"first": "earliest"},
            {"first": "cheapest"},
            {"first": "fewest stops"},
            {"minute": 1.0, "money": draw.uniform(0, 3), "stop": draw.uniform(0, 20)},
        ]
    )
    return Problem(
        tank=tank, bunker=bunker,
        reserve=(draw.uniform(0, 30), draw.uniform(0, 5)),
        start=(tank * draw.uniform(0.7, 1.0), bunker * draw.uniform(0.5, 1.0)),
        finish=(draw.uniform(30, 100), draw.uniform(5, 15)),
        standing=(draw.uniform(0, 0.5), draw.uniform(0, 0.2)),
        dry=dry, aim=aim, stretches=stretches, taps=taps, bridges=bridges,
    )  # fmt: skip


def clock(minutes: float) -> str:
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


def write_problem(problem: Problem, folder: Path) -> Path:
    """The problem as a scenario folder."""
    folder.mkdir(parents=True, exist_ok=True)
    aim = "\n".join(
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value!r}"
        for key, value in problem.aim.items()
    )
    levels = "\n".join(
        f'[{section}]\nwater = "{water!r} kg"\ncoal = "{coal!r} kg"'
        for section, (water, coal) in (
            ("reserve", problem.reserve),
            ("at_start", problem.start),
            ("at_finish", problem.finish),
        )
    )
    (folder / "scenario.toml").write_text(
        f'title = "small"\nstart = "A"\nfinish = "B"\ndate = 2027-05-01\ndepart = "08:00"\n'
        f'units = "metric"\n'
        f'standing_water = "{problem.standing[0]!r} kg/min"\n'
        f'standing_coal = "{problem.standing[1]!r} kg/min"\n'
        f'[stores]\ntank = "{problem.tank!r} kg"\nbunker = "{problem.bunker!r} kg"\n'
        f'{levels}\n[train]\ndry_weight = "{problem.dry!r} kg"\n[aim]\n{aim}\n'
    )
    rows = [
        f"{s.begin!r},{s.end!r},g{number},{s.minutes!r},{s.water!r},{s.coal!r},"
        f"{s.water_slope!r},{s.coal_slope!r}"
        for options in problem.stretches
        for number, s in enumerate(options)
    ]
    header = (
        "from [m],to [m],gear,duration [min],water [kg],coal [kg],"
        "water_per_mass [kg/kg],coal_per_mass [kg/kg]"
    )
    (folder / "demand.csv").write_text("\n".join([header, *rows]) + "\n")
    if problem.taps:
        header = (
            "name,kind,at [m],water_available,water_rate [kg/min],water_price,"
            "coal_available,coal_rate [kg/min],coal_price,call_out,set_up [min],opens,closes"
        )
        lines = [header]
        for number, tap in enumerate(problem.taps):
            cells = [f"tap {number}", "tap", repr(tap.at)]
            for amount, rate, price in (
                (tap.water, tap.water_rate, tap.water_price),
                (tap.coal, tap.coal_rate, tap.coal_price),
            ):
                cells += (
                    ["", "", ""]
                    if amount is None
                    else ["unlimited" if amount > 1e8 else f"{amount!r} kg", repr(rate),
                          f"{price!r} USD/kg"]
                )  # fmt: skip
            cells += [
                f"{tap.call_out!r} USD", repr(tap.set_up), clock(tap.opens), clock(tap.closes),
            ]  # fmt: skip
            lines.append(",".join(cells))
        (folder / "supply.csv").write_text("\n".join(lines) + "\n")
    if problem.bridges:
        lines = ["name,at [m],limit [kg]"]
        lines += [f"bridge {n},{at!r},{limit!r}" for n, (at, limit) in enumerate(problem.bridges)]
        (folder / "bridges.csv").write_text("\n".join(lines) + "\n")
    return folder


def solve_subset(  # noqa: PLR0912, PLR0915  one programme, to be read in one go
    problem: Problem, gears: tuple[int, ...], made: frozenset[int]
) -> float | None:
    """Least aim value with exactly these stops and gears, or None.

    Variables: for each boundary j of the finest cut of the road, arriving water and coal,
    leaving water and coal, clock; for each stop made, water and coal taken, stay, wait.
    """
    cuts = sorted(
        {0.0, *(s[0].end for s in problem.stretches), *(t.at for t in problem.taps),
         *(at for at, _ in problem.bridges)}
    )  # fmt: skip
    stops = sorted(made)
    names: dict[tuple[str, int], int] = {}
    for j in range(len(cuts)):
        for name in ("wa", "ca", "wl", "cl", "t"):
            names[name, j] = len(names)
    for i in stops:
        for name in ("q", "p", "stay", "wait"):
            names[name, i] = len(names)
    size = len(names)
    low, high = np.zeros(size), np.full(size, np.inf)
    equal: list[tuple[dict[int, float], float]] = []
    upper: list[tuple[dict[int, float], float]] = []
    at_cut = {problem.taps[i].at: i for i in stops}
    for j, distance in enumerate(cuts):
        for arrive, leave, room, least in (
            ("wa", "wl", problem.tank, problem.reserve[0]),
            ("ca", "cl", problem.bunker, problem.reserve[1]),
        ):
            for name in (arrive, leave):
                low[names[name, j]], high[names[name, j]] = least, room
        here = at_cut.get(distance)
        for arrive, leave, take, standing in (
            ("wa", "wl", "q", problem.standing[0]),
            ("ca", "cl", "p", problem.standing[1]),
        ):
            row = {names[leave, j]: 1.0, names[arrive, j]: -1.0}
            if here is not None:
                row[names[take, here]] = -1.0
                row[names["stay", here]] = standing
            equal.append((row, 0.0))
    for k, (name, level) in enumerate(zip(("wa", "ca"), problem.start, strict=True)):
        equal.append(({names[name, 0]: 1.0}, level))
        low[names[name, 0]] = 0.0
        last = names[name, len(cuts) - 1]
        low[last] = max(low[last], problem.finish[k])
    equal.append(({names["t", 0]: 1.0}, DEPART))
    for j, (begin, end) in enumerate(itertools.pairwise(cuts)):
        number = next(n for n, s in enumerate(problem.stretches) if s[0].end >= end - 1e-9)
        stretch = problem.stretches[number][gears[number]]
        share = (end - begin) / (stretch.end - stretch.begin)
        w, c = names["wl", j], names["cl", j]
        for arrive, base, slope, own in (
            ("wa", stretch.water, stretch.water_slope, w),
            ("ca", stretch.coal, stretch.coal_slope, c),
        ):
            row = {names[arrive, j + 1]: 1.0, w: slope * share, c: slope * share}
            row[own] = row[own] - 1.0
            equal.append((row, -base * share))
        row = {names["t", j + 1]: 1.0, names["t", j]: -1.0}
        here = at_cut.get(begin)
        if here is not None:
            row[names["stay", here]] = -1.0
        equal.append((row, stretch.minutes * share))
    for at, limit in problem.bridges:
        j = cuts.index(at)
        upper.append(({names["wl", j]: 1.0, names["cl", j]: 1.0}, limit - problem.dry))
    for i in stops:
        tap, j = problem.taps[i], cuts.index(problem.taps[i].at)
        stay, wait = names["stay", i], names["wait", i]
        high[wait] = max(tap.opens - DEPART, 0.0)
        worth: dict[int, float] = {}  # nobody stops for next to nothing
        idle = {stay: 1.0, wait: -1.0}  # nobody stands to burn water off before a bridge
        for take, amount, rate, arrive, room in (
            ("q", tap.water, tap.water_rate, "wa", problem.tank),
            ("p", tap.coal, tap.coal_rate, "ca", problem.bunker),
        ):
            high[names[take, i]] = amount or 0.0
            upper.append(({names[take, i]: 1.0, names[arrive, j]: 1.0}, room))
            upper.append(({names[take, i]: 1.0 / rate, wait: 1.0, stay: -1.0}, -tap.set_up))
            idle[names[take, i]] = -1.0 / rate
            if amount:
                worth[names[take, i]] = -1.0 / min(0.02 * room, amount)
        upper.append((idle, tap.set_up))
        if sum(problem.standing) > 0:
            upper.append((worth, -1.0))
        upper.append(({names["t", j]: -1.0, wait: -1.0}, -tap.opens))
        if tap.closes < 1440:
            upper.append(({names["t", j]: 1.0, stay: 1.0}, tap.closes))
    cost, constant = objective(problem, names, len(cuts), stops)

    def matrix(
        rows: list[tuple[dict[int, float], float]],
    ) -> tuple[np.ndarray, np.ndarray]:
        a = np.zeros((len(rows), size))
        for r, (row, _) in enumerate(rows):
            for column, value in row.items():
                a[r, column] += value
        return a, np.array([right for _, right in rows])

    a_eq, b_eq = matrix(equal)
    a_ub, b_ub = matrix(upper) if upper else (None, None)
    answer = linprog(
        cost, A_ub=a_ub, b_ub=b_ub, A_eq=a_eq, b_eq=b_eq,
        bounds=list(zip(low.tolist(), high.tolist(), strict=True)), method="highs",
    )  # fmt: skip
    return None if answer.fun is None or answer.status != 0 else float(answer.fun) + constant


def objective(
    problem: Problem, names: dict[tuple[str, int], int], cuts: int, stops: list[int]
) -> tuple[np.ndarray, float]:
    """Cost vector and constant of the aim."""
    aim = problem.aim
    weights = {
        "earliest": (1.0, 0.0, 0.0), "cheapest": (0.0, 1.0, 0.0), "fewest stops": (0.0, 0.0, 1.0),
    }  # fmt: skip
    if "first" in aim:
        minute, money, stop = weights[str(aim["first"])]
    else:
        minute, money, stop = (float(aim[k]) for k in ("minute", "money", "stop"))
    cost = np.zeros(len(names))
    cost[names["t", cuts - 1]] = minute
    constant = -minute * DEPART + stop * len(stops)
    for i in stops:
        tap = problem.taps[i]
        cost[names["q", i]] += money * tap.water_price
        cost[names["p", i]] += money * tap.coal_price
        constant += money * tap.call_out
    return cost, constant


def brute_force(problem: Problem) -> float | None:
    best = None
    options = [range(len(stretch)) for stretch in problem.stretches]
    for gears in itertools.product(*options):
        for count in range(len(problem.taps) + 1):
            for made in itertools.combinations(range(len(problem.taps)), count):
                value = solve_subset(problem, gears, frozenset(made))
                if value is not None and (best is None or value < best):
                    best = value
    return best


def plan_of(folder: Path) -> Plan:
    scenario = read_scenario(folder)
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    replay(scenario, route, demand, plan)
    return plan


@pytest.mark.parametrize("seed", range(200))
def test_planner_equals_brute_force(seed: int, tmp_path: Path) -> None:
    problem = make_problem(seed)
    folder = write_problem(problem, tmp_path)
    expected = brute_force(problem)
    if expected is None:
        with pytest.raises(NoPlanError, match="no plan: "):
            plan_of(folder)
        return
    plan = plan_of(folder)
    scale = 60.0 if plan.aim == "earliest" else 1.0
    assert plan.proven
    assert plan.objective / scale == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_random_problems_include_each_kind() -> None:
    problems = [make_problem(seed) for seed in range(200)]
    solved = [brute_force(problem) for problem in problems[:60]]
    assert 5 <= sum(value is None for value in solved) <= 40
    assert sum(bool(p.bridges) for p in problems) >= 40
    assert sum(any(len(s) > 1 for s in p.stretches) for p in problems) >= 40
    assert sum(any(t.closes < 1440 or t.opens > 0 for t in p.taps) for p in problems) >= 40
