"""How quick batches of varied cases are, side by side: in numpy, compiled, and one case after the other.

Run: python tests/benchmarks/bench_samples.py [samples]
The case is invented: a fatty powder in a pouch with a humidity-dependent barrier, twelve stages over two
years; water through a GAB isotherm, oxygen used up by Michaelis-Menten kinetics, walls that hold oxygen. All
properties, thicknesses, limits and conditions vary. Errors are against the same way at a tolerance of 1e-7:
the greatest of a crossing time, and of a worst value up to the target.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shelflife.builders import barrier_wall, case_of, dry_powder, seasons
from shelflife.test_samples import stored, variation_of

from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import Case, Limit
from optimizer.shelflife.samples import simulate_samples
from optimizer.shelflife.simulate import simulate
from optimizer.shelflife.variation import Outcomes, Variation
from optimizer.shelflife.varied import varied

LIMITS = (Limit("oxygen_gain", 45e-6), Limit("water_activity_max", 0.19))


def coupled() -> Case:
    return case_of(dry_powder(LIMITS), stored(barrier_wall()), seasons())


def timed(job: Callable[[], Outcomes], repeats: int = 3) -> tuple[float, float, Outcomes]:
    """Least time on the wall clock and in the processors [s], and the answer."""
    best, least = np.inf, np.inf
    for _ in range(repeats):
        clock, processor = time.perf_counter(), time.process_time()
        outcome = job()
        best = min(best, time.perf_counter() - clock)
        least = min(least, time.process_time() - processor)
    return best, least, outcome


def errors(found: Outcomes, exact: Outcomes) -> tuple[float, float]:
    both = np.isfinite(found.crossing) & np.isfinite(exact.crossing) & (exact.crossing > 0.0)
    crossing = np.abs(found.crossing[both] / exact.crossing[both] - 1.0)
    return float(crossing.max()), float(np.abs(found.extreme / exact.extreme - 1.0).max())


def one_by_one(case: Case, variation: Variation, count: int) -> float:
    start = time.process_time()
    for i in range(count):
        own = varied(case, variation, i)
        simulate(own.product, exchange_of(own), rtol=1e-5)
    return (time.process_time() - start) / count


def main() -> None:
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    case = coupled()
    variation = variation_of(case, samples, seed=1)
    few = variation.take(slice(0, min(samples, 512)))
    print(f"{samples} samples, {len(os.sched_getaffinity(0))} processors, load {os.getloadavg()[0]:.1f}")
    print(f"{'wall':14s} {'way':9s} {'clock s':>8s} {'processor s':>12s} {'us each':>8s} {'errors':>18s}")
    for wall in ("steady", "lag-corrected"):
        for engine in ("numpy", "compiled"):
            clock = time.perf_counter()
            simulate_samples(case, few, wall=wall, engine=engine, say=print)
            first = time.perf_counter() - clock
            exact = simulate_samples(case, few, wall=wall, engine=engine, rtol=1e-7)
            best, least, outcome = timed(
                lambda w=wall, e=engine: simulate_samples(case, variation, wall=w, engine=e)
            )
            n = few.size
            part = Outcomes(outcome.crossing[:n], outcome.extreme[:n], outcome.excess[:n])
            crossing, extreme = errors(part, exact)
            print(
                f"{wall:14s} {engine:9s} {best:8.3f} {least:12.3f} {1e6 * least / samples:8.1f} "
                f"{crossing:9.1e} {extreme:8.1e}   first call {first:.2f} s"
            )
    each = one_by_one(case, variation, 20)
    print(f"{'steady':14s} one by one, rtol 1e-5: {1e6 * each:.0f} us each, {samples * each:.0f} s in all")


if __name__ == "__main__":
    main()
