"""A linear programme, grown column by column and row by row."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import highspy
import numpy as np

__all__ = ["Programme"]

_Row = dict[int, float]


@dataclass
class Programme:
    """A linear programme, grown column by column and row by row."""

    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    rows: list[_Row] = field(default_factory=list)
    least: list[float] = field(default_factory=list)
    most: list[float] = field(default_factory=list)
    constant: float = 0.0

    def column(self, low: float = 0.0, high: float = math.inf, cost: float = 0.0) -> int:
        self.low.append(low)
        self.high.append(high)
        self.cost.append(cost)
        return len(self.low) - 1

    def row(self, terms: Iterable[tuple[int | None, float]], least: float, most: float) -> None:
        """`least` <= sum of coefficient x column <= `most`; columns that are None are left out."""
        row: _Row = {}
        for column, value in terms:
            if column is not None:
                row[column] = row.get(column, 0.0) + value
        self.rows.append(row)
        self.least.append(least)
        self.most.append(most)

    def minimum(self) -> float | None:
        """Least cost, None where nothing fits."""
        if any(a > b + 1e-9 for a, b in zip(self.low, self.high, strict=True)):
            return None
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.low), len(self.rows)
        lp.col_cost_ = np.array(self.cost)
        lp.col_lower_, lp.col_upper_ = np.array(self.low), np.array(self.high)
        lp.row_lower_, lp.row_upper_ = np.array(self.least), np.array(self.most)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(row) for row in self.rows)])
        lp.a_matrix_.index_ = np.array([c for row in self.rows for c in row], dtype=np.int32)
        lp.a_matrix_.value_ = np.array([v for row in self.rows for v in row.values()])
        status = highspy.HighsModelStatus.kNotset
        for method, scaling, tolerance in _WAYS:
            solver = _solver()
            solver.setOptionValue("solver", method)
            solver.setOptionValue("simplex_scale_strategy", scaling)
            solver.setOptionValue("primal_feasibility_tolerance", tolerance)
            solver.passModel(lp)
            solver.run()
            status = solver.getModelStatus()
            if status == highspy.HighsModelStatus.kOptimal:
                return float(solver.getInfo().objective_function_value) + self.constant
            if status == highspy.HighsModelStatus.kInfeasible:
                return None
        raise AssertionError(f"the oracle's own programme ended {status}")


#: A solver now and then gives up on a programme without a solution: it is asked again.
_WAYS = (("simplex", 1, 1e-9), ("simplex", 0, 1e-9), ("ipm", 1, 1e-7), ("simplex", 0, 1e-7))
_SOLVERS: list[highspy.Highs] = []


def _solver() -> highspy.Highs:
    if not _SOLVERS:
        solver = highspy.Highs()
        solver.setOptionValue("output_flag", False)
        _SOLVERS.append(solver)
    return _SOLVERS[0]
