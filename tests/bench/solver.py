"""Count what a solver calls best, and is not, with one option or another.

Run from the top of the repository:
    python tests/bench/solver.py [candidates] [--roads 150] [--write]
Prints Markdown; --write keeps it in tests/bench/SOLVER.md, the machine named. Every invented
road is put with and without coal, with and without inequalities, to SCIP as the planner asks
it and to HiGHS with each set of options; an answer called best is wrong where another has
found a better one, or any at all. Worth another look with every new version of either.
"""

import argparse
import math
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

import highspy
import pulp
from instances import AIM, make_instance
from main_job import machine

from haulplan.plan import run, stages
from haulplan.plan.build import Posed, build_programme
from haulplan.plan.model import Programme
from haulplan.scenario.schema import Aim

#: What HiGHS is told; None is SCIP, as the planner asks it.
OPTIONS: dict[str, dict[str, Any] | None] = {
    "SCIP, ours": None,
    "HiGHS without presolve": {"presolve": "off", "mip_allow_restart": False},
    "HiGHS, restarts off": {"presolve": "on", "mip_allow_restart": False},
    "HiGHS, restarts off, wider tolerance": {
        "presolve": "on", "mip_allow_restart": False, "mip_feasibility_tolerance": 1e-6,
    },
    "HiGHS": {"presolve": "on"},
}  # fmt: skip
#: What each set of options is told besides.
_ALWAYS: dict[str, Any] = {
    "output_flag": False,
    "mip_abs_gap": 1e-9,
    "mip_rel_gap": 0.0,
    "mip_feasibility_tolerance": 1e-7,
    "primal_feasibility_tolerance": 1e-7,
    "mip_heuristic_run_rins": False,
    "mip_heuristic_run_rens": False,
}
#: A better answer is better by more than this share.
_BETTER = 2e-6


def programmes(candidates: int, number: int) -> list[Programme]:
    """One road's programmes."""
    found = []
    for coal in (True, False):
        chain, offers, limits = make_instance(candidates, number, coal=coal)
        posed = Posed(chain=chain, offers=offers, limits=limits)
        for tighten in (False, True):
            programme = build_programme(posed)
            aim = Aim(minute=AIM[0], money=AIM[1], stop=AIM[2])
            programme.problem.setObjective(stages._stages(programme, aim)[1][0])
            if not tighten or stages._tighten(programme, posed):
                found.append(programme)
    return found


def solved(programme: Programme, options: dict[str, Any] | None) -> tuple[float, float]:
    """Value, infinite without an answer, and processor seconds."""
    if options is None:
        begin = time.process_time()
        value = run.run(programme, None).value
        return value, time.process_time() - begin
    handed = run._Relaxed(msg=False)
    handed.createAndConfigureSolver(programme.problem)
    handed.buildSolverModel(programme.problem)
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.passModel(programme.problem.solverModel.getLp())
    constant = float(pulp.value(programme.problem.objective.constant or 0.0))
    constant -= float(highs.getLp().offset_)
    for option, value in {**_ALWAYS, **options}.items():
        highs.setOptionValue(option, value)
    begin = time.process_time()
    highs.run()
    info = highs.getInfo()
    found = info.primal_solution_status == 2
    value = info.objective_function_value + constant if found else math.inf
    return value, time.process_time() - begin


def main() -> None:
    """Print the report."""
    words = argparse.ArgumentParser()
    words.add_argument("candidates", type=int, nargs="?", default=20)
    words.add_argument("--roads", type=int, default=150)
    words.add_argument("--write", action="store_true")
    asked = words.parse_args()
    wrong, most = dict.fromkeys(OPTIONS, 0), dict.fromkeys(OPTIONS, 0.0)
    seconds, count = dict.fromkeys(OPTIONS, 0.0), 0
    for number in range(asked.roads):
        for programme in programmes(asked.candidates, number):
            answers = {name: solved(programme, options) for name, options in OPTIONS.items()}
            best = min(value for value, _ in answers.values())
            count += math.isfinite(best)
            for name, (value, taken) in answers.items():
                seconds[name] += taken
                if math.isfinite(best) and value > best * (1 + _BETTER):
                    wrong[name] += 1
                    most[name] = max(most[name], value - best)
    lines = [
        "# What a solver calls best and is not",
        "",
        f"{machine()}, HiGHS {version('highspy')}, PySCIPOpt {version('pyscipopt')}. {count} "
        f"programmes of {asked.roads} invented roads with {asked.candidates} supplies.",
        "",
        "| solver | wrong | by at most, min | processor s, all |",
        "|---|---|---|---|",
    ]
    for name in OPTIONS:
        by = "no answer" if math.isinf(most[name]) else f"{most[name]:.1f}"
        lines.append(f"| {name} | {wrong[name]} | {by} | {seconds[name]:.0f} |")
    text = "\n".join(lines) + "\n"
    sys.stdout.write(text)
    if asked.write:
        (Path(__file__).parent / "SOLVER.md").write_text(text)


if __name__ == "__main__":
    main()
