"""Time the planner's first aim against a plain model of the same problem in HiGHS.

Run from the top of the repository:
    python tests/bench/planner.py [candidates ...] [--roads 15] [--limit 60] [--write]
Prints Markdown; --write keeps it in tests/bench/PLANNER.md, the machine named. Times are
processor seconds on invented roads; a road without any plan is passed over.
"""

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from unittest import mock

import highspy
import pulp
from instances import AIM, make_instance
from main_job import machine

from haulplan.plan import run, stages
from haulplan.plan.build import Posed
from haulplan.plan.legs import Chain
from haulplan.plan.model import Programme
from haulplan.plan.rules import LEAST_TAKEN, Limits, Offer
from haulplan.scenario.schema import Aim

Instance = tuple[Chain, dict[int, Offer], Limits]


class _InHighs(run._Relaxed):
    """Whole numbers too, as far from wrong answers as HiGHS can be had (SOLVER.md)."""

    def createAndConfigureSolver(self, lp: Any) -> None:  # noqa: ANN401, N802  PuLP's name
        """Make the solver."""
        super().createAndConfigureSolver(lp)
        for option, value in (
            ("mip_rel_gap", 0.0),
            ("mip_abs_gap", 1e-9),
            ("mip_feasibility_tolerance", 1e-7),
            ("mip_allow_restart", False),
            ("mip_heuristic_run_rins", False),
            ("mip_heuristic_run_rens", False),
            ("time_limit", self.timeLimit),
        ):
            lp.solverModel.setOptionValue(option, value)


def in_highs(programme: Programme, deadline: float, **_: Any) -> run.Outcome:  # noqa: ANN401
    """One run of the same programme in HiGHS."""
    problem = programme.problem
    problem.solve(_InHighs(msg=False, timeLimit=deadline - time.monotonic()))
    proven = problem.solverModel.getModelStatus() == highspy.HighsModelStatus.kOptimal
    value = float(pulp.value(problem.objective))
    return run.Outcome(found=True, proven=bool(proven), value=value, bound=value)


PARTS: dict[str, dict[str, Any]] = {
    "ours": {},
    "no inequalities": {"violated": lambda *_: []},
    "HiGHS for SCIP": {"run_by_night": in_highs},
}


def ours(instance: Instance, limit: float, part: str) -> tuple[float, float, bool]:
    """Processor seconds, value, proven."""
    aim = Aim(minute=AIM[0], money=AIM[1], stop=AIM[2])
    with ExitStack() as stack:
        for name, other in PARTS[part].items():
            stack.enter_context(mock.patch.object(stages, name, other))
        begin = time.process_time()
        done = time.monotonic() + limit
        staged = stages.solve_stages(
            Posed(chain=instance[0], offers=instance[1], limits=instance[2]), aim, done, brief=True
        )
        taken = time.process_time() - begin
    assert staged is not None
    return taken, staged.first.value, staged.first.proven


class Plain:
    """Levels on arrival, takes, stay and stop of each node; q ≤ cap y; nothing more."""

    def __init__(self, instance: Instance) -> None:
        self.chain, self.offers, self.limits = instance
        self.highs = highspy.Highs()
        self.highs.setOptionValue("output_flag", False)
        self.columns = 0
        self.drive = sum(legs[0].duration for legs in self.chain.legs) / 60
        last = len(self.chain.nodes) - 1
        self.level = [self._levels(i, last) for i in range(last + 1)]
        for i in range(last):
            self._leg(i)
        self.highs.changeObjectiveOffset(self.drive * AIM[0])

    def _column(self, cost: float, low: float, high: float, *, whole: bool = False) -> int:
        self.highs.addCol(cost, low, high, 0, [], [])
        if whole:
            self.highs.changeColIntegrality(self.columns, highspy.HighsVarType.kInteger)
        self.columns += 1
        return self.columns - 1

    def _row(self, low: float, high: float, terms: dict[int, float]) -> None:
        self.highs.addRow(low, high, len(terms), list(terms), list(terms.values()))

    def _levels(self, i: int, last: int) -> tuple[int, int]:
        m = self.limits
        if i == 0:
            return (
                self._column(0, m.start_water, m.start_water),
                self._column(0, m.start_coal, m.start_coal),
            )
        water = max(m.reserve_water, m.finish_water) if i == last else m.reserve_water
        coal = max(m.reserve_coal, m.finish_coal) if i == last else m.reserve_coal
        return self._column(0, water, m.tank), self._column(0, coal, m.bunker)

    def _stop(self, i: int) -> tuple[dict[int, float], dict[int, float]]:
        """Terms of water and coal on leaving."""
        m, offer, inf = self.limits, self.offers[i], highspy.kHighsInf
        stop = self._column(AIM[2] + AIM[1] * offer.call_out, 0, 1, whole=True)
        stay = self._column(AIM[0], 0, inf)
        leaving: list[dict[int, float]] = []
        idle, worth = {stay: 1.0, stop: -offer.set_up}, {stop: 1.0}
        for level, room, amount, rate, price, standing in (
            (0, m.tank, offer.water, offer.water_rate, offer.water_price, m.standing_water),
            (1, m.bunker, offer.coal, offer.coal_rate, offer.coal_price, m.standing_coal),
        ):
            arrive, most = self.level[i][level], min(amount, room)
            leaving.append({arrive: 1.0, stay: -standing})
            if most > 0:
                take = self._column(AIM[1] * price, 0, most)
                leaving[-1][take] = 1.0
                self._row(-inf, room, {arrive: 1.0, take: 1.0})
                self._row(-inf, 0, {take: 1.0, stop: -most})
                self._row(-inf, 0, {stop: offer.set_up, take: 1 / rate, stay: -1.0})
                idle[take] = -1 / rate
                worth[take] = -1 / min(LEAST_TAKEN * room, most)
        self._row(-inf, 0, idle)
        if m.standing_water + m.standing_coal > 0:
            self._row(-inf, 0, worth)
        return leaving[0], leaving[1]

    def _leg(self, i: int) -> None:
        (leg,) = self.chain.legs[i]
        here, there = self.level[i], self.level[i + 1]
        both = self._stop(i) if i in self.offers else ({here[0]: 1.0}, {here[1]: 1.0})
        mass: dict[int, float] = {}
        for terms in both:
            for column, value in terms.items():
                mass[column] = mass.get(column, 0.0) + value
        for terms, after, base, slope in (
            (both[0], there[0], leg.water, leg.water_slope),
            (both[1], there[1], leg.coal, leg.coal_slope),
        ):
            row = {c: terms.get(c, 0.0) - slope * value for c, value in mass.items()}
            self._row(base, base, row | {after: -1.0})
        for bound in leg.limits:
            self._row(-highspy.kHighsInf, bound.most, mass)

    def solve(self, limit: float) -> tuple[float, float, bool]:
        """Processor seconds, value, proven."""
        highspy.Highs.resetGlobalScheduler(True)
        for option, value in (
            ("mip_rel_gap", 0.0), ("mip_abs_gap", 1e-9), ("threads", 1), ("time_limit", limit),
        ):  # fmt: skip
            self.highs.setOptionValue(option, value)
        begin = time.process_time()
        self.highs.run()
        taken = time.process_time() - begin
        proven = self.highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        return taken, float(self.highs.getInfo().objective_function_value), bool(proven)


def with_plans(candidates: int, roads: int, *, coal: bool) -> list[Instance]:
    """The first roads that have a plan."""
    found: list[Instance] = []
    number = 0
    while len(found) < roads:
        instance = make_instance(candidates, number, coal=coal)
        relaxed = Plain(instance)
        relaxed.highs.setOptionValue("mip_max_improving_sols", 1)
        relaxed.highs.run()
        if relaxed.highs.getInfo().primal_solution_status == 2:
            found.append(instance)
        number += 1
    return found


def measure(candidates: int, roads: int, limit: float, *, coal: bool) -> str:
    """One line of the table."""
    instances = with_plans(candidates, roads, coal=coal)
    plain = [Plain(instance).solve(limit) for instance in instances]
    cells, base = [], [seconds for seconds, _, _ in plain]
    for part in PARTS:
        runs = [ours(instance, limit, part) for instance in instances]
        for (_, value, proven), (_, other, sure) in zip(runs, plain, strict=True):
            if proven and sure and abs(value - other) > 3e-6 * abs(other):
                raise AssertionError(f"two optima: {value} and {other}")
        times = [seconds for seconds, _, _ in runs]
        cells.append(f"{statistics.median(times):.2f}" + _open(runs))
        if part == "ours":
            ratios = [a / b for a, b in zip(base, times, strict=True)]
            cells.append(f"{statistics.median(ratios):.1f}")
    kind = "water and coal" if coal else "water"
    first = f"{statistics.median(base):.2f}{_open(plain)}"
    return f"| {candidates}, {kind} | {first} | " + " | ".join(cells) + " |\n"


def _open(runs: list[tuple[float, float, bool]]) -> str:
    count = sum(not proven for _, _, proven in runs)
    return f" ({count} not proven)" if count else ""


def report(sizes: list[int], roads: int, limit: float, out: Callable[[str], object]) -> None:
    """The whole report."""
    out(f"# The planner against a plain model\n\n{machine()}.\n\n")
    out(f"Median processor seconds of {roads} invented roads, first aim, at most {limit:g} s a")
    out(" run, gap 0 and one thread; the ratio is the median of each road's own.\n\n")
    others = " | ".join(name for name in PARTS if name != "ours")
    out(f"| candidates | plain | ours | plain / ours | {others} |\n|---|---|---|---|---|\n")
    for size in sizes:
        for coal in (True, False):
            out(measure(size, roads, limit, coal=coal))


def main() -> None:
    """Read the arguments and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sizes", nargs="*", type=int, default=[20, 100, 300])
    parser.add_argument("--roads", type=int, default=15)
    parser.add_argument("--limit", type=float, default=60.0)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    lines: list[str] = []

    def out(text: str) -> None:
        sys.stdout.write(text)
        sys.stdout.flush()
        lines.append(text)

    report(given.sizes, given.roads, given.limit, out)
    if given.write:
        Path(__file__).with_name("PLANNER.md").write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
