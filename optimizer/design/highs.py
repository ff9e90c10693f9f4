"""HiGHS behind Pyomo: one solve, its status in our own words, and the proved bound."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

from pyomo.contrib.appsi.base import TerminationCondition
from pyomo.contrib.appsi.solvers.highs import Highs

from optimizer.design.layout import UM
from optimizer.design.milp import BoundModel
from optimizer.errors import SolverError


class Status(Enum):
    OPTIMAL = "optimal"
    INFEASIBLE = "infeasible"
    TIME_LIMIT = "time_limit"


@dataclass(frozen=True)
class Proposal:
    """Solution of one bound model. bound and value in the objective's unit; sequences and thickness [m] by
    wall; None where no solution was found in time."""

    status: Status
    bound: float
    value: float | None
    sequences: tuple[tuple[int, ...], ...] | None
    thickness: tuple[tuple[float, ...], ...] | None


class Solver:
    """HiGHS for one model."""

    def __init__(self, model: BoundModel, *, gap: float) -> None:
        self.model = model
        self.highs = Highs()
        self.highs.config.load_solution = False
        self.highs.highs_options = {
            "mip_rel_gap": gap,
            "mip_abs_gap": 0.0,
            "primal_feasibility_tolerance": 1e-8,
            "dual_feasibility_tolerance": 1e-8,
            "mip_feasibility_tolerance": 1e-7,
            "presolve": "off",
            "random_seed": 0,
        }

    def solve(self, time_limit: float) -> Proposal:
        if self.model.empty:
            return Proposal(Status.INFEASIBLE, float("inf"), None, None, None)
        self.highs.config.time_limit = max(0.05, time_limit)
        outcome: Any = self.highs.solve(self.model.model)
        condition = outcome.termination_condition
        if condition in (TerminationCondition.infeasible, TerminationCondition.infeasibleOrUnbounded):
            return Proposal(Status.INFEASIBLE, float("inf"), None, None, None)
        if condition not in (TerminationCondition.optimal, TerminationCondition.maxTimeLimit):
            raise SolverError(f"HiGHS stopped with {condition.name}")
        status = Status.OPTIMAL if condition == TerminationCondition.optimal else Status.TIME_LIMIT
        scale = self.model.scale
        bound = outcome.best_objective_bound
        bound = -float("inf") if bound is None else float(bound) / scale
        if outcome.best_feasible_objective is None:
            return Proposal(status, bound, None, None, None)
        outcome.solution_loader.load_vars()
        sequences, thickness = self._read()
        return Proposal(status, bound, float(outcome.best_feasible_objective) / scale, sequences, thickness)

    def _read(self) -> tuple[tuple[tuple[int, ...], ...], tuple[tuple[float, ...], ...]]:
        sequences, thickness = [], []
        for w, states in enumerate(self.model.states):
            chosen = sorted(s for s in states if (self.model.x[w, s].value or 0.0) > 0.5)
            sequences.append(tuple(s[1] for s in chosen))
            thickness.append(tuple(max(0.0, self.model.thick[w, s].value or 0.0) * UM for s in chosen))
        return tuple(sequences), tuple(thickness)
