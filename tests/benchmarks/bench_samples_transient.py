"""How quick samples with walls in transient are, compiled and in numpy, side by side.

Run: python tests/benchmarks/bench_samples_transient.py [samples] The case (``transient.coupled``, invented)
is a fatty powder behind five layers, one of which humidity changes; water (GAB) and oxygen (Michaelis-Menten)
diffuse through all of them, twelve stages over two years. The same in an hourly climate of two years. All
properties, thicknesses, limits and conditions vary, also the temperature. Errors are the greatest (and the
root of the mean square) relative errors of a crossing time, and the greatest of a worst value up to the
target, against the compiled march on finer elements at a tolerance of 1e-6 (fixed steps: four of order 4 in
each hour). Times are of the least of repeats: of the processors for many samples, of the clock for one
package.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from transient.coupled import coupled, hourly

from optimizer.shelflife.package import Case, Limit
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.transient import run, simulate_walls
from optimizer.shelflife.transient.compiled import compiled_march
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.samples import transient_samples
from optimizer.shelflife.variation import Variation

#: Hourly samples that are timed; the time of ten thousand is that of these, multiplied.
HOURLY_SAMPLES = 64


def variation_of(case: Case, size: int) -> Variation:
    rng = np.random.default_rng(1)

    def factor(spread: float) -> np.ndarray:
        return np.exp(spread * rng.standard_normal(size))

    names = sorted({x.material.name for x in case.package.walls["wall"].layers})
    return Variation(
        size,
        permeability={(m, g): factor(0.1) for m in names for g in ("O2", "H2O")},
        diffusivity={(m, "O2"): factor(0.1) for m in names},
        thickness={"wall": factor(0.05)},
        layer_thickness={("wall", "barrier"): factor(0.1)},
        limit={x.name: factor(0.1) for x in case.product.limits},
        consumption=factor(0.2),
        isotherm=factor(0.05),
        headspace_oxygen=factor(0.1),
        temperature=rng.standard_normal(size),
        humidity=0.02 * rng.standard_normal(size),
    )


def least(job: Callable[[], Any], repeats: int, clock: Callable[[], float]) -> tuple[float, Any]:
    best, answer = np.inf, None
    for _ in range(repeats):
        start = clock()
        answer = job()
        best = min(best, clock() - start)
    return best, answer


def fine(case: Case, variation: Variation | None, **more: Any) -> Any:
    given = {"rtol": 1e-6, "degree": 5, **more}
    plan = plan_of(case, variation, degree=given.pop("degree"))
    target = case.horizon if case.target is None else case.target
    segments = lay_out(case.storage, case.horizon)
    return compiled_march(plan, segments, end=case.horizon, target=target, **given)


def errors(found: Any, exact: Any) -> str:
    both = np.isfinite(found.crossing) & np.isfinite(exact.crossing) & (exact.crossing > 0.0)
    off = np.abs(found.crossing[both] / exact.crossing[both] - 1.0)
    worst = np.abs(found.extreme / exact.extreme - 1.0).max()
    if not both.any():
        return f"no crossing, worst value {worst:.0e}"
    return f"crossing {off.max():.0e} ({np.sqrt((off**2).mean()):.0e}), worst value {worst:.0e}"


def first(outcome: Any, count: int) -> Any:
    return replace(outcome, crossing=outcome.crossing[:count], extreme=outcome.extreme[:count])


def many_samples(case: Case, samples: int) -> None:
    variation = variation_of(case, samples)
    few = variation.take(slice(0, min(samples, 256)))
    exact = fine(case, few)
    for threads in (1, None):
        clock, _ = least(
            lambda n=threads: transient_samples(case, variation, engine="compiled", threads=n),
            2,
            time.perf_counter,
        )
        spent, outcome = least(
            lambda n=threads: transient_samples(case, variation, engine="compiled", threads=n),
            2,
            time.process_time,
        )
        print(
            f"  compiled, {threads or 'all'} threads: {clock:.2f} s, {1e6 * spent / samples:.0f} us "
            f"of processor each; {errors(first(outcome, few.size), exact)}"
        )
    spent, outcome = least(lambda: transient_samples(case, few, engine="numpy"), 1, time.process_time)
    print(f"  numpy ({few.size} of them): {1e6 * spent / few.size:.0f} us each; {errors(outcome, exact)}")


def hourly_samples(case: Case) -> None:
    variation = variation_of(case, HOURLY_SAMPLES)
    exact = fine(case, variation.take(slice(0, 8)), steps=4, rtol=1.0, degree=4)
    spent, outcome = least(
        lambda: transient_samples(case, variation, engine="compiled"), 2, time.process_time
    )
    each = spent / HOURLY_SAMPLES
    print(
        f"  compiled: {1e3 * each:.2f} ms of processor each, so {1e4 * each / 2:.0f} s for 10,000 on two "
        f"processors (extrapolated from {HOURLY_SAMPLES}); {errors(first(outcome, 8), exact)}"
    )


def one_package(case: Case, weather: Case) -> None:
    clock, found = least(lambda: simulate_walls(weather), 5, time.perf_counter)
    exact = fine(weather, None, steps=4, rtol=1.0, degree=4)
    print(f"  hourly, two years, all in: {1e3 * clock:.0f} ms; {errors(found, exact)}")
    exact = fine(case, None, rtol=1e-7, degree=6)
    for degree, rtol in ((2, 1e-2), (3, 1e-3), (3, 1e-4), (4, 1e-4)):
        clock, found = least(
            lambda d=degree, r=rtol: fine(case, None, degree=d, rtol=r), 9, time.perf_counter
        )
        print(
            f"  twelve stages, compiled, degree {degree}, {rtol:.0e}: {1e3 * clock:.2f} ms, "
            f"{found.steps[0]} steps; {errors(found, exact)}"
        )
    clock, found = least(lambda: run.simulate_walls(case), 2, time.perf_counter)
    print(f"  twelve stages, numpy: {1e3 * clock:.0f} ms, {found.steps} steps; {errors(found, exact)}")


def main() -> None:
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    case = coupled()
    limits = (Limit("oxygen_gain", 20e-6), Limit("water_activity_max", 0.17))
    case = replace(case, product=replace(case.product, limits=limits))
    weather = hourly(case)
    print(f"{len(os.sched_getaffinity(0))} processors, load {os.getloadavg()[0]:.1f}")
    start = time.perf_counter()
    transient_samples(case, variation_of(case, 8), engine="compiled", say=print)
    print(f"first call: {time.perf_counter() - start:.2f} s")
    print(f"{samples} samples, twelve stages:")
    many_samples(case, samples)
    print("hourly, two years:")
    hourly_samples(weather)
    print("one package:")
    one_package(case, weather)


if __name__ == "__main__":
    main()
