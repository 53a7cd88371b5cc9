"""Count what the solver calls best, and is not, with one option or another.

Run from the top of the repository:
    python tests/bench/solver.py [candidates] [--roads 150] [--write]
Prints Markdown; --write keeps it in tests/bench/SOLVER.md, the machine named. Every invented
road is put with and without coal, with and without inequalities, to each set of options; an
answer called best is wrong where another set has found a better one, or any at all. Worth
another look with every new HiGHS: presolve is off because of this table.
"""

import argparse
import math
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

import highspy
from instances import AIM, make_instance
from main_job import machine

from haulplan.plan import run, stages
from haulplan.plan.build import Posed, build_programme
from haulplan.scenario.schema import Aim

OPTIONS: dict[str, dict[str, Any]] = {
    "ours": {},
    "presolve": {"presolve": "on"},
    "presolve, wider tolerance": {"presolve": "on", "mip_feasibility_tolerance": 1e-6},
    "presolve and restarts": {"presolve": "on", "mip_allow_restart": True},
}
#: A better answer is better by more than this share.
_BETTER = 2e-6


def programmes(candidates: int, number: int) -> list[Any]:
    """One road's programmes, as HiGHS is given them."""
    found = []
    for coal in (True, False):
        chain, offers, limits = make_instance(candidates, number, coal=coal)
        posed = Posed(chain=chain, offers=offers, limits=limits)
        for tighten in (False, True):
            programme = build_programme(posed)
            aim = Aim(minute=AIM[0], money=AIM[1], stop=AIM[2])
            programme.problem.setObjective(stages._stages(programme, aim)[1][0])
            if tighten and not stages._tighten(programme, posed):
                continue
            solver = run._Solver(msg=False)
            solver.createAndConfigureSolver(programme.problem)
            solver.buildSolverModel(programme.problem)
            found.append(programme.problem.solverModel.getLp())
    return found


def solved(programme: Any, options: dict[str, Any]) -> tuple[float, float]:  # noqa: ANN401
    """Value, infinite without an answer, and processor seconds."""
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.passModel(programme)
    for option, value in {**dict(run._OPTIONS), "mip_rel_gap": 0.0, **options}.items():
        highs.setOptionValue(option, value)
    begin = time.process_time()
    highs.run()
    info = highs.getInfo()
    value = info.objective_function_value if info.primal_solution_status == 2 else math.inf
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
        "# What the solver calls best and is not",
        "",
        f"{machine()}, HiGHS {version('highspy')}. {count} programmes of {asked.roads} invented "
        f"roads with {asked.candidates} supplies.",
        "",
        "| options | wrong | by at most, min | processor s, all |",
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
