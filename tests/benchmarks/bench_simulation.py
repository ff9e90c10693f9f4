"""How quick and how exact the simulation is, against LSODA of scipy on the same equations, side by side.

Run: python tests/benchmarks/bench_simulation.py
The case is invented: a fatty powder in a pouch with a humidity-dependent barrier, twelve stages over two
years;
water through a GAB isotherm, oxygen used up by Michaelis-Menten kinetics. LSODA gets the package's own
right-hand
side with its tabulated conductances, one call per stage, without and with the events that find when the
limits
are reached (what ``simulate`` always does, so that the run with events is the one to compare with). Times are
medians of interleaved repeats, in processor seconds.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shelflife.builders import barrier_wall, case_of, dry_powder, seasons
from shelflife.test_simulate import independent_powder

from optimizer.constants import DAY
from optimizer.shelflife.balance import balance_of
from optimizer.shelflife.contents import contents_of, simulated_gases
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.limits import quantities_of
from optimizer.shelflife.package import Limit
from optimizer.shelflife.simulate import limit_extremes, simulate

LIMITS = (Limit("oxygen_gain", 45e-6), Limit("water_activity_max", 0.19))
SAMPLES = 1000


def median(jobs: dict[str, Callable[[], object]], repeats: int) -> dict[str, float]:
    """Median processor time of each job [s], the jobs taken in turn."""
    seconds: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(repeats):
        for name, job in jobs.items():
            start = time.process_time()
            job()
            seconds[name].append(time.process_time() - start)
    return {name: float(np.median(x)) for name, x in seconds.items()}


def main() -> None:
    case = case_of(dry_powder(LIMITS), barrier_wall(), seasons())
    exchange = exchange_of(case)
    contents = contents_of(case.product, simulated_gases(case.product), True)
    segments = exchange.segments
    count = len(segments)
    balances = [balance_of(contents, exchange, k, True) for k in range(count)]
    scales = np.array(contents.scales())

    def reference_run(method: str, rtol: float, events: bool) -> NDArray[np.float64]:
        y = np.array(contents.start())
        for k in range(count):
            rhs = balances[k].rhs
            watched = None
            if events:
                watched = [
                    lambda t, y, q=q, x=x: q.value(y.tolist()) - x.value
                    for q, x in zip(quantities_of(contents, balances[k]), LIMITS, strict=True)
                ]
            span = (float(segments.start[k]), float(segments.end[k]))
            done = solve_ivp(
                lambda t, y, rhs=rhs: rhs(y.tolist()),
                span,
                y,
                method=method,
                rtol=rtol,
                atol=rtol * 1e-3 * scales,
                events=watched,
            )
            y = done.y[:, -1]
        return y

    def ours(rtol: float) -> NDArray[np.float64]:
        end = float(segments.end[-1])
        result = simulate(case.product, exchange, sample_times=[end], rtol=rtol)
        return np.array(
            [result.water[0, -1] + contents.water, result.amounts["O2"][0, -1], result.used[0, -1]]
        )

    exact = reference_run("Radau", 1e-12, False)
    print(
        "Single sample, two years, twelve stages. Relative error at the end of (water, O2 inside, O2 "
        "used up):"
    )
    for name, y in (
        ("LSODA 1e-6", reference_run("LSODA", 1e-6, False)),
        ("simulate 1e-5", ours(1e-5)),
        ("simulate 1e-6 (default)", ours(1e-6)),
    ):
        print(f"  {name:26s}", "  ".join(f"{e:.1e}" for e in np.abs(y / exact - 1)))
    times = median(
        {
            "LSODA 1e-6": lambda: reference_run("LSODA", 1e-6, False),
            "LSODA 1e-6 with events": lambda: reference_run("LSODA", 1e-6, True),
            "simulate 1e-5": lambda: simulate(case.product, exchange, rtol=1e-5),
            "simulate 1e-6 (default)": lambda: simulate(case.product, exchange),
            "tables of the wall": lambda: exchange_of(case),
        },
        repeats=41,
    )
    for name, seconds in times.items():
        print(f"  {name:26s} {1e3 * seconds:8.2f} ms")
    for mine in ("simulate 1e-5", "simulate 1e-6 (default)"):
        ratios = [times[other] / times[mine] for other in ("LSODA 1e-6", "LSODA 1e-6 with events")]
        print(f"  {mine}: {ratios[0]:.2f} times as fast as LSODA, {ratios[1]:.2f} times with events")

    ends = segments.end
    walls = median(
        {
            "wall": lambda: independent_powder(case, ends, 1e-6),
            "ours": lambda: simulate(case.product, exchange_of(case)),
        },
        repeats=3,
    )
    print("  With the wall solved at every call of LSODA's right-hand side, as without tables:")
    print(
        f"    LSODA 1e-6 {1e3 * walls['wall']:.0f} ms; exchange_of and simulate "
        f"{1e3 * walls['ours']:.1f} ms:",
        end="",
    )
    print(f" {walls['wall'] / walls['ours']:.1f} times as fast")

    spread = np.linspace(0.7, 1.4, SAMPLES)
    batch = exchange.scaled({"O2": spread, "H2O": spread[::-1]})
    until = float(segments.end[-1])
    jobs: dict[str, Callable[[], object]] = {
        "LSODA 1e-6": lambda: reference_run("LSODA", 1e-6, False),
        "LSODA 1e-6 with events": lambda: reference_run("LSODA", 1e-6, True),
        "batch with crossings 1e-5": lambda: simulate(case.product, batch, rtol=1e-5),
        "batch, extremes only 1e-5": lambda: limit_extremes(case.product, batch, until, rtol=1e-5),
        "batch, extremes only 1e-6": lambda: limit_extremes(case.product, batch, until),
    }
    times = median(jobs, repeats=5)
    print(f"{SAMPLES} variants in one batch, per sample:")
    for name in ("batch with crossings 1e-5", "batch, extremes only 1e-5", "batch, extremes only 1e-6"):
        each = times[name] / SAMPLES
        other = "LSODA 1e-6 with events" if "crossings" in name else "LSODA 1e-6"
        print(f"  {name:26s} {1e6 * each:8.1f} us, {times[other] / each:6.1f} times as fast as {other}")
    one = simulate(case.product, batch.sample(137), rtol=1e-9)
    together = simulate(case.product, batch, rtol=1e-5)
    gap = np.abs(together.crossing[137] - one.crossing[0]) / DAY
    print("  crossing of one sample in the batch against a tight run alone, days:", gap)


if __name__ == "__main__":
    main()
