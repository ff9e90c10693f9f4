"""Small linear and whole-number programmes through HiGHS directly (a tenth of a millisecond of overhead)."""

from __future__ import annotations

from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SmallSolution:
    """feasible: False when proved infeasible. value: lower bound of the optimum; x: the point, None if infeasible."""

    feasible: bool
    value: float
    x: Array | None


class SmallSolver:
    """Solves min c x, low <= A x <= high, least <= x <= most, some x whole; one HiGHS instance kept."""

    def __init__(self) -> None:
        self.highs = highspy.Highs()
        for name, value in (
            ("output_flag", False),
            ("presolve", "off"),
            ("primal_feasibility_tolerance", 1e-9),
            ("dual_feasibility_tolerance", 1e-9),
            ("mip_rel_gap", 1e-5),
        ):
            self.highs.setOptionValue(name, value)

    def solve(
        self, cost: Array, rows: Array, low: Array, high: Array, least: Array, most: Array, whole: bool = False
    ) -> SmallSolution:
        """cost (n,), rows (m, n); all x whole if ``whole``. Solver failures count as 'no bound' (-inf)."""
        count, size = rows.shape
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = size, count
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = cost, least, most
        lp.row_lower_, lp.row_upper_ = low, high
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.num_col_, lp.a_matrix_.num_row_ = size, count
        lp.a_matrix_.start_ = np.arange(0, count * size + 1, size, dtype=np.int32)
        lp.a_matrix_.index_ = np.tile(np.arange(size, dtype=np.int32), count)
        lp.a_matrix_.value_ = rows.ravel()
        if whole:
            lp.integrality_ = [highspy.HighsVarType.kInteger] * size
        self.highs.passModel(lp)
        self.highs.run()
        status = self.highs.getModelStatus()
        if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
            return SmallSolution(False, np.inf, None)
        if status != highspy.HighsModelStatus.kOptimal:
            return SmallSolution(True, -np.inf, None)
        info = self.highs.getInfo()
        value = info.mip_dual_bound if whole else info.objective_function_value
        return SmallSolution(True, float(value), np.array(self.highs.getSolution().col_value))
