"""How quick and how good the design search is, against differential evolution on the same problems, side
by side.

Run: python tests/benchmarks/bench_design.py [seconds per run of the rival, default 60] [names of
problems ...]

The rival is ``scipy.optimize.differential_evolution`` on the exact model of the wall.
Genes, two per slot: one picks among the materials that may touch the layer before it (or the end of the
wall), one the thickness on a log scale; broken limits and rules are penalised; a whole generation is
drawn at once, its points evaluated in groups of one sequence; at the end the best structures met are
polished by the project's own local solver. Two seeds, stopped by its own convergence test or by the
clock. It proves nothing; the search proves 0.1 %.

Problems are random and their properties stand-ins (see design/instances.py). Times are wall seconds on
one machine in one run, search and rival in turn; the share of the search spent in mixed-integer models
is measured by wrapping its solver.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from design.enumeration import UM, demands_of, rules_broken
from design.instances import random_problem

from optimizer.design import highs
from optimizer.design.exact import ExactModel
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice, Problem
from optimizer.design.search import Outcome, Search

Array = NDArray[np.float64]

ALL = "HDPE,LDPE,PP,tie,EVOH 32,EVOH 44,PA6,PET,PVDC"
BARRIER = "HDPE,tie,EVOH 32,tie,LDPE"
PROBLEMS = {
    "5 layers, 5 materials, 1 stage, O2": dict(
        names="HDPE,LDPE,tie,EVOH 32,PET", layers=5, reference=BARRIER, stages=1, gases="O2", evoh_share=0.06
    ),
    "5 layers, 9 materials, 2 stages, O2 H2O": dict(
        names=ALL, layers=5, reference=BARRIER, stages=2, evoh_share=0.06
    ),
    "7 layers, 9 materials, 3 stages, O2 H2O": dict(
        names=ALL, layers=7, reference=BARRIER, stages=3, evoh_share=0.05
    ),
    "7 layers, 9 materials, 3 stages, water varies": dict(
        names=ALL, layers=7, reference=BARRIER, stages=3, evoh_share=0.06, water_varies=True
    ),
    "7 layers, 9 materials, 3 gases, wet outside": dict(
        names=ALL,
        layers=7,
        reference=BARRIER.replace("LDPE", "HDPE"),
        stages=3,
        gases="O2 H2O CO2",
        wet="outside",
        evoh_share=0.06,
        water_varies=True,
    ),
    "9 layers, 9 materials, 4 stages, O2 H2O": dict(
        names=ALL, layers=9, reference=BARRIER, stages=4, evoh_share=0.05
    ),
}


class Rival:
    """Differential evolution over sequences and thicknesses of one wall."""

    def __init__(self, problem: Problem, seconds: float) -> None:
        self.problem, self.seconds = problem, seconds
        (self.wall,) = problem.walls
        self.after = [
            [int(b) for b in np.flatnonzero(row)] + ([-1] if end else [])
            for row, end in zip(self.wall.touching, self.wall.end, strict=True)
        ]
        self.first = [int(m) for m in np.flatnonzero(self.wall.start)]
        self.seen: dict[tuple[int, ...], tuple[float, Array]] = {}

    def decode(self, genes: Array) -> tuple[tuple[int, ...], Array]:
        pick, size = genes[::2], genes[1::2]
        sequence: list[int] = []
        for g in pick:
            allowed = self.after[sequence[-1]] if sequence else self.first
            if not allowed:
                break
            m = allowed[min(int(g * len(allowed)), len(allowed) - 1)]
            if m < 0:
                break
            sequence.append(m)
        index = list(sequence)
        least, most = self.wall.least[index], self.wall.most[index]
        return tuple(sequence), least * (most / least) ** size[: len(index)] / UM

    def values(self, genes: Array) -> Array:
        """Penalised objective of a generation (n genes, points)."""
        decoded = [self.decode(g) for g in np.atleast_2d(genes.T)]
        groups: dict[tuple[int, ...], list[int]] = {}
        for i, (sequence, _) in enumerate(decoded):
            groups.setdefault(sequence, []).append(i)
        result = np.empty(len(decoded))
        for sequence, members in groups.items():
            x = np.array([decoded[i][1] for i in members])
            cost = x @ (self.wall.rate[list(sequence)] * UM)
            over = np.maximum(demands_of(self.problem, (sequence,), x) - 1.0, 0.0).sum(axis=1)
            broken = np.maximum(rules_broken(self.problem, (sequence,), x), 0.0)
            unfinished = 0.0 if self.wall.end[sequence[-1]] else 1.0
            penalty = np.minimum(over, 1e3) + broken + unfinished
            result[members] = cost * (1.0 + 10.0 * penalty) + 0.01 * (penalty > 1e-9)
            best = int(np.argmin(result[members]))
            if not unfinished and (
                sequence not in self.seen or result[members][best] < self.seen[sequence][0]
            ):
                self.seen[sequence] = (float(result[members][best]), x[best])
        return result

    def run(self, seed: int) -> tuple[float, float]:
        """Best objective after polishing (inf if none) and seconds."""
        begin = time.perf_counter()
        self.seen = {}
        differential_evolution(
            self.values,
            [(0.0, 1.0)] * (2 * self.wall.max_layers),
            popsize=15,
            maxiter=100_000,
            seed=seed,
            tol=1e-6,
            polish=False,
            vectorized=True,
            updating="deferred",
            callback=lambda *_, **__: time.perf_counter() - begin > self.seconds,
        )
        polisher = Polisher(ExactModel(self.problem))
        found: list[Choice] = []
        for sequence, (_, x) in sorted(self.seen.items(), key=lambda item: item[1][0])[:20]:
            choice = polisher.best((sequence,), [x])
            if choice is not None:
                found.append(choice)
        return min((c.objective for c in found), default=np.inf), time.perf_counter() - begin


def timed_search(problem: Problem) -> tuple[Outcome, float, float]:
    """Outcome, seconds, and seconds inside the mixed-integer solver."""
    inside = [0.0]
    original = highs.Solver.solve

    def solve(self: highs.Solver, time_limit: float) -> highs.Proposal:
        begin = time.perf_counter()
        try:
            return original(self, time_limit)
        finally:
            inside[0] += time.perf_counter() - begin

    highs.Solver.solve = solve  # type: ignore[method-assign]
    try:
        begin = time.perf_counter()
        outcome = Search(problem).run(gap=1e-3, time_limit=300.0)
        return outcome, time.perf_counter() - begin, inside[0]
    finally:
        highs.Solver.solve = original  # type: ignore[method-assign]


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    names = sys.argv[2:] or list(PROBLEMS)
    timed_search(random_problem(1, "HDPE,PET", layers=1, reference="HDPE"))  # imports and first calls
    print(
        f"{'problem':48} {'search':>8} {'milp':>5} {'gap':>7} | {'rival 1':>8} {'excess':>8} | "
        f"{'rival 2':>8} {'excess':>8} | time ratio"
    )
    ratios = []
    for name in names:
        problem = random_problem(5, **PROBLEMS[name])  # type: ignore[arg-type]
        outcome, taken, milp = timed_search(problem)
        best = outcome.best.objective if outcome.best else np.inf
        cells, slower = [], []
        for seed in (1, 2):
            value, rival_taken = Rival(problem, seconds).run(seed)
            cells.append(f"{rival_taken:7.1f}s {100 * (value / best - 1):+7.1f}%")
            slower.append(rival_taken / taken)
        ratios.append(float(np.sqrt(np.prod(slower))))
        print(
            f"{name:48} {taken:7.2f}s {100 * milp / taken:4.0f}% {100 * outcome.gap:6.3f}% | "
            f"{cells[0]} | {cells[1]} | "
            f"{ratios[-1]:.1f}",
            flush=True,
        )
    print(f"geometric mean of the time ratios (rival / search): {np.exp(np.mean(np.log(ratios))):.1f}")


if __name__ == "__main__":
    main()
