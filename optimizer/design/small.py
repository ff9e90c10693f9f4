"""Small linear and whole-number programmes through HiGHS directly (a tenth of a millisecond of overhead)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray
from pyomo.common.tee import capture_output

Array = NDArray[np.float64]

#: Nodes and seconds of one whole-number programme: its bound counts, however far it came.
_MOST_NODES, _MOST_SECONDS = 2000, 2.0


@dataclass(frozen=True)
class SmallSolution:
    """feasible: False when proved infeasible. value: lower bound of the optimum; x: the point, None if
    infeasible, or where a whole-number programme was cut short."""

    feasible: bool
    value: float
    x: Array | None
    dual: Array | None = None


class SmallSolver:
    """Solves min c x, low <= A x <= high, least <= x <= most, all x whole where asked for. Two HiGHS
    instances are kept, for continuous and for whole-number programmes: a new one greets and must be silenced.
    """

    def __init__(self, most_nodes: int = _MOST_NODES) -> None:
        with capture_output(capture_fd=True):  # the constructor greets on standard output
            self.highs, self.whole = _instance(), _instance()
        self.whole.setOptionValue("mip_max_nodes", most_nodes)
        self.whole.setOptionValue("time_limit", _MOST_SECONDS)

    def solve(
        self,
        cost: Array,
        rows: Array,
        low: Array,
        high: Array,
        least: Array,
        most: Array,
        whole: bool = False,
    ) -> SmallSolution:
        """cost (n,), rows (m, n); all x whole if ``whole``. Solver failures count as 'no bound' (-inf)."""
        lp = _programme(cost, rows, low, high, least, most)
        highs = self.whole if whole else self.highs
        if whole:
            lp.integrality_ = [highspy.HighsVarType.kInteger] * rows.shape[1]
        highs.passModel(lp)
        highs.run()
        status = highs.getModelStatus()
        if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
            return SmallSolution(False, np.inf, None)
        info = highs.getInfo()
        if whole and status in (highspy.HighsModelStatus.kSolutionLimit, highspy.HighsModelStatus.kTimeLimit):
            return SmallSolution(True, float(info.mip_dual_bound), None)
        if status != highspy.HighsModelStatus.kOptimal:
            return SmallSolution(True, -np.inf, None)
        value = info.mip_dual_bound if whole else info.objective_function_value
        solution = highs.getSolution()
        dual = None if whole else np.array(solution.row_dual)
        return SmallSolution(True, float(value), np.array(solution.col_value), dual)

    def sweep(
        self, costs: Sequence[Array], rows: Array, low: Array, high: Array, least: Array, most: Array
    ) -> list[float] | None:
        """Least value of each objective in ``costs`` over the same set; None when the set is proved empty,
        -inf where the solver failed. Each solve starts from the last basis."""
        self.highs.passModel(_programme(costs[0], rows, low, high, least, most))
        columns = np.arange(rows.shape[1], dtype=np.int32)
        values = []
        for number, cost in enumerate(costs):
            if number:
                self.highs.changeColsCost(len(columns), columns, cost)
            self.highs.run()
            status = self.highs.getModelStatus()
            if status == highspy.HighsModelStatus.kInfeasible:
                return None
            optimal = status == highspy.HighsModelStatus.kOptimal
            values.append(float(self.highs.getInfo().objective_function_value) if optimal else -np.inf)
        return values


def _instance() -> highspy.Highs:
    highs = highspy.Highs()
    for name, value in (
        ("output_flag", False),
        ("presolve", "off"),
        ("primal_feasibility_tolerance", 1e-9),
        ("dual_feasibility_tolerance", 1e-9),
        ("mip_rel_gap", 1e-5),
    ):
        highs.setOptionValue(name, value)
    return highs


def _programme(
    cost: Array, rows: Array, low: Array, high: Array, least: Array, most: Array
) -> highspy.HighsLp:
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
    return lp
