"""Run the solvers through PuLP: honest status, a start, a relaxation that grows.

SCIP solves the programme: it is quicker than HiGHS on these and has called no answer best
that was not (tests/bench/SOLVER.md). HiGHS solves relaxations, which begin where the one
before ended.
"""

import math
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

import highspy
import numpy as np
import pulp
from numpy.typing import NDArray
from pyscipopt.scip import PY_SCIP_PARAMSETTING as SCIP_PARAMSETTING

from haulplan.errors import InternalError
from haulplan.plan.model import Programme
from haulplan.plan.tighten import Inequality

__all__ = ["TOO_LATE", "Model", "Outcome", "Relaxation", "run"]

Array = NDArray[np.float64]

_SETTINGS: Final[Mapping[str, Any]] = {
    # Of values up to some thousand kilograms, a replay sees a millionth of the range.
    "numerics/feastol": 1e-7,
    "limits/absgap": 1e-9,
    # Programmes of a road are many and small: long preparations, heaps of inequalities and long
    # trials of what to branch on take longer than they save. Chosen on roads of tests/bench
    # other than those it reports.
    "presolving/maxrestarts": 0,
    "estimation/restarts/restartpolicy": "n",
    "propagating/probing/maxprerounds": 0,
    "separating/maxroundsroot": 5,
    "separating/maxrounds": 1,
    "cutselection/hybrid/minorthoroot": 0.5,
    "separating/aggregation/trynegscaling": False,
    "separating/aggregation/maxfailsroot": 20,
    "branching/relpscost/maxreliable": 2.0,
    "branching/relpscost/maxproprounds": 0,
    "conflict/enable": False,
    # The keyboard is looked at here, not by the solver.
    "misc/catchctrlc": False,
}
#: For a first answer where none is known: a problem within the problem ...
_FIRST_ANSWER: Final[Mapping[str, int]] = {"heuristics/rens/freq": 0}
#: ... and where time is short, dives, which find one on long roads where the former does not.
_IN_A_HURRY: Final[Mapping[str, int]] = {
    "heuristics/simplerounding/freq": 1,
    "heuristics/coefdiving/freq": 10,
    "heuristics/fracdiving/freq": 10,
}
#: An answer no further from its bound than this share is proved best.
_ALIKE: Final = 1e-9
#: What a run says that found nothing within its time.
TOO_LATE: Final = (
    "the solver found no plan within the time limit; raise --time-limit. This does not show "
    "that none exists"
)
#: A run is given at least this, deadline or not, and the solver knows no longer time. [s]
_LEAST_TIME: Final = 0.5
_MOST_TIME: Final = 1e9


class _Solver(pulp.SCIP_PY):  # type: ignore[misc]
    """PuLP's SCIP interface with a gap of nothing, a start, and a limit to the objective."""

    #: Values by variable name to start from.
    start: Mapping[str, float] | None = None
    #: How far from the best an answer may be, as a share of it.
    gap: float = 0.0
    #: Only answers below this are looked for.
    below: float = math.inf

    def buildSolverModel(self, lp: Any) -> Any:  # noqa: ANN401, N802  PuLP's name
        """Hand the model over, then what is asked of the solver."""
        handed = super().buildSolverModel(lp)
        solver = lp.solverModel
        solver.setPresolve(SCIP_PARAMSETTING.FAST)
        solver.setHeuristics(SCIP_PARAMSETTING.OFF)
        blind = self.start is None and math.isinf(self.below)
        asked = {**_SETTINGS, "limits/gap": self.gap}
        if blind:
            asked |= _FIRST_ANSWER
        if blind and self.timeLimit is not None:
            asked |= _IN_A_HURRY
        for name, value in asked.items():
            solver.setParam(name, value)
        solver.addObjoffset(float(pulp.value(lp.objective.constant or 0.0)))
        if math.isfinite(self.below):
            solver.setObjlimit(self.below)
        if self.start is not None:
            answer = solver.createSol()
            for variable in solver.getVars():
                solver.setSolVal(answer, variable, self.start.get(variable.name, 0.0))
            solver.addSol(answer)
        return handed

    def callSolver(self, lp: Any) -> None:  # noqa: ANN401, N802  PuLP's name
        """Run beside this thread, so that Ctrl-C ends the run and not only what follows."""
        solver = lp.solverModel
        beside = threading.Thread(target=solver.optimizeNogil)
        beside.start()
        try:
            while beside.is_alive():
                beside.join(0.1)
        except KeyboardInterrupt:
            solver.interruptSolve()
            beside.join()
            raise


class _SilentHighs(highspy.Highs):  # type: ignore[misc]
    """HiGHS that keeps its banner off the crew's screen."""

    def enableCallbacks(self) -> None:  # noqa: N802  highspy's name
        """Silence output before highspy's own set-up prints its banner."""
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()


class _Relaxed(pulp.HiGHS):  # type: ignore[misc]
    """PuLP's HiGHS interface with a silent solver, for whole numbers left out."""

    def createAndConfigureSolver(self, lp: Any) -> None:  # noqa: ANN401, N802  PuLP's name
        """Make the solver with our options."""
        lp.solverModel = _SilentHighs()
        lp.solverModel.setOptionValue("presolve", "off")
        lp.solverModel.setOptionValue("primal_feasibility_tolerance", 1e-7)


def _columns(problem: Any) -> dict[str, int]:  # noqa: ANN401  a PuLP problem
    """Column of each variable by its name; PuLP 4 leaves variables without a row out."""
    ordered = getattr(problem, "exported_variables", problem.variables)()
    return {variable.name: column for column, variable in enumerate(ordered)}


class Model(Protocol):
    """Anything that holds a PuLP problem."""

    @property
    def problem(self) -> Any:  # noqa: ANN401  a PuLP problem
        """The problem, its objective set."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How one run of the solver ended."""

    found: bool
    proven: bool
    value: float
    bound: float


def run(
    programme: Model,
    deadline: float | None,
    *,
    start: Mapping[str, float] | None = None,
    optional: bool = False,
    gap: float = 0.0,
    below: float = math.inf,
) -> Outcome:
    """Run the solver once and read its own words on how it ended.

    Parameters
    ----------
    programme
        With its objective set.
    deadline
        When to be done, by `time.monotonic`; never where None. [s]
    start
        Values by variable name to start from.
    optional
        True if the time limit may end the run without an answer: not found, not proven.
    gap
        How far from the best the answer may be, as a share of it. [-]
    below
        What the answer must stay below; not found where none does.

    Returns
    -------
    outcome
        Found and proven or not; value and bound of the objective.

    Raises
    ------
    InternalError
        If the solver fails, or finds nothing within the time limit.
    """
    problem = programme.problem
    limit = None if deadline is None else _within(deadline - time.monotonic())
    solver = _Solver(msg=False, timeLimit=limit)
    solver.start = start
    solver.gap = gap
    solver.below = below
    try:
        problem.solve(solver)
    except (pulp.PulpSolverError, KeyError) as error:  # a status PuLP has no word for
        raise InternalError(f"the solver failed: {error}") from error
    return _read(problem, optional=optional)


def _within(left: float) -> float:
    return min(max(left, _LEAST_TIME), _MOST_TIME)


def _ended(problem: Any) -> str:  # noqa: ANN401  a PuLP problem
    """The solver's own word."""
    return str(problem.solverModel.getStatus())


def _read(problem: Any, *, optional: bool) -> Outcome:  # noqa: ANN401  a PuLP problem
    solver, status = problem.solverModel, _ended(problem)
    if status in {"infeasible", "inforunbd"}:
        return Outcome(found=False, proven=True, value=math.inf, bound=math.inf)
    if status == "timelimit" and not solver.getNSols():
        if optional:
            return Outcome(found=False, proven=False, value=math.inf, bound=-math.inf)
        raise InternalError(TOO_LATE)
    if status not in {"optimal", "gaplimit", "timelimit"} or not solver.getNSols():
        raise InternalError(f"the solver ended with '{status}'")
    value = float(pulp.value(problem.objective))
    lag = 0.0 if status == "optimal" else value - float(solver.getDualbound())
    proven = lag <= _ALIKE * max(abs(value), 1.0)
    return Outcome(found=True, proven=proven, value=value, bound=value - max(lag, 0.0))


class Relaxation:
    """The programme without whole numbers, solved again after every row added to it."""

    def __init__(self, programme: Programme) -> None:
        problem = programme.problem
        solver = _Relaxed(msg=False, mip=False)
        solver.createAndConfigureSolver(problem)
        solver.buildSolverModel(problem)
        self._highs = problem.solverModel
        self._highs.setOptionValue("simplex_dual_edge_weight_strategy", 1)  # Devex: few pivots
        self._columns = _columns(problem)
        self._rows = int(self._highs.getNumRow())
        self._constant = float(pulp.value(problem.objective.constant or 0.0))
        self._offset = float(self._highs.getLp().offset_)
        self.added: list[Inequality] = []

    def solve(self) -> bool:
        """Solve; False where even the relaxation has no answer."""
        self._highs.run()
        return bool(self._highs.getModelStatus() == highspy.HighsModelStatus.kOptimal)

    def bound(self) -> float:
        """Solve; what no answer is below: infinite without one, its negative if not known."""
        solved, ended = self.solve(), highspy.HighsModelStatus
        if self._highs.getModelStatus() == ended.kInfeasible:
            return math.inf
        return self.value if solved else -math.inf

    def limit(self, bounds: Mapping[str, tuple[float, float]]) -> None:
        """Give variables other bounds, by name."""
        for name, (low, high) in bounds.items():
            self._highs.changeColBounds(self._columns[name], low, high)

    def add(self, inequalities: Sequence[Inequality]) -> None:
        """Put these rows in the place of the added ones that carry no price."""
        priced = self._prices()
        idle = [self._rows + number for number, price in enumerate(priced) if not price]
        if idle:
            self.added = self.binding
            self._highs.deleteRows(len(idle), np.array(idle, dtype=np.int32))
        for row in inequalities:
            columns = [self._columns[variable.name] for _, variable in row.terms]
            numbers = [coefficient for coefficient, _ in row.terms]
            self._highs.addRow(row.least, math.inf, len(columns), columns, numbers)
        self.added += inequalities

    @property
    def value(self) -> float:
        """The objective, its constant included."""
        value = float(self._highs.getInfo().objective_function_value)
        return value - self._offset + self._constant

    @property
    def values(self) -> dict[str, float]:
        """Value of each variable by name."""
        found = self._highs.getSolution().col_value
        return {name: found[column] for name, column in self._columns.items()}

    @property
    def binding(self) -> list[Inequality]:
        """The added rows that carry a price."""
        return [row for row, price in zip(self.added, self._prices(), strict=True) if price]

    def _prices(self) -> list[bool]:
        """Whether each added row carries a price."""
        duals = self._highs.getSolution().row_dual[self._rows :]
        return [abs(dual) > 1e-9 for dual in duals]
