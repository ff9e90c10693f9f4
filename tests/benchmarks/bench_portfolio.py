"""How much of the machine a portfolio uses: the same projects one after another, and on a local cluster.

Run: python tests/benchmarks/bench_portfolio.py [command, default predict] [projects, default 500]
     [workers, default one for each core]

The projects are variants of the examples (invented): limits, prices, thicknesses, storage temperatures and
targets changed by factors drawn from a seed, in folders of fifty with one shared table of prices each.
One after another means the same work in one process without a cluster: read, compute, save. The time of the
cluster includes its start and end; parallel efficiency is t_one / (workers * t_cluster). Of a machine that
others use too, the CPU time says more than the clock: the overhead is what all processes of the cluster take
over what the one took.
"""

from __future__ import annotations

import os
import random
import re
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

import optimizer
from optimizer.portfolio import run_portfolio
from optimizer.portfolio.cluster import cores
from optimizer.portfolio.collect import bundle, find_projects
from optimizer.portfolio.store import Store
from optimizer.portfolio.work import Task, work

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
#: The search for the sparkling bottle is the quickest; the others take many seconds each.
NAMES = {
    "predict": ("oat_drink_bottle", "sparkling_bottle", "cracker_pouch"),
    "design": ("sparkling_bottle",),
}
FOLDER = 50
#: What is changed, and by how much: pattern with the number in group 2, least and greatest factor.
CHANGES = (
    (r"(price: )([\d.]+)( EUR)", 0.8, 1.25),
    (r"(oxygen_gain: )([\d.]+)( mg)", 0.8, 1.25),
    (r"(co2_loss: )([\d.]+)( %)", 0.95, 1.2),
    (r"(thickness: )([\d.]+)( um\})", 0.9, 1.15),
    (r"(temperature: )(1\d|2\d|3\d)( degC, humidity: \d+ %\}\n)", 0.9, 1.1),
    (r"(shelf_life: )([\d.]+)( )", 0.85, 1.1),
)


def variant(text: str, chance: random.Random) -> str:
    """The project with every number of CHANGES drawn anew."""
    for pattern, least, most in CHANGES:
        draw = partial(chance.uniform, least, most)
        text = re.sub(pattern, partial(scaled, draw), text)
    return text


def scaled(draw: Callable[[], float], match: re.Match[str]) -> str:
    return f"{match[1]}{float(match[2]) * draw():.4g}{match[3]}"


def fill(folder: Path, command: str, count: int) -> None:
    chance = random.Random(20260)
    for i in range(count):
        name = NAMES[command][i % len(NAMES[command])]
        place = folder / f"group_{i // FOLDER:02}"
        place.mkdir(parents=True, exist_ok=True)
        text = (EXAMPLES / name / "project.yaml").read_text(encoding="utf-8")
        (place / f"{name}_{i:03}.yaml").write_text(variant(text, chance), encoding="utf-8")
        table = (EXAMPLES / "cracker_pouch/quotes.csv").read_bytes()
        (place / "quotes.csv").write_bytes(table)


def one_after_another(folder: Path, command: str) -> None:
    store = Store(folder / "one", command, {}, optimizer.__version__)
    store.prepare()
    options = {} if command == "predict" else {"time_limit": None, "gap": None}
    for path in find_projects(folder).projects:
        name = str(path.relative_to(folder))
        store.save(name, work(Task(command, options, name, optimizer.__version__, bundle(path))))


def measured(action: Callable[[], object]) -> tuple[float, float]:
    """Clock and CPU seconds of this process and those it started."""
    begin, used = time.perf_counter(), os.times()
    action()
    now = os.times()
    cpu = sum(now[:4]) - sum(used[:4])
    return time.perf_counter() - begin, cpu


def main() -> None:
    command = sys.argv[1] if len(sys.argv) > 1 else "predict"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    workers = int(sys.argv[3]) if len(sys.argv) > 3 else cores()
    load = "{:.1f} {:.1f} {:.1f}".format(*os.getloadavg()) if hasattr(os, "getloadavg") else "unknown"
    print(f"{count} x {command}, {workers} workers, {cores()} cores; load of the machine before: {load}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fill(folder, command, count)
        one_clock, one_cpu = measured(lambda: one_after_another(folder, command))
        print(f"one after another: {one_clock:6.1f} s, CPU {one_cpu:6.1f} s", flush=True)

        tables, ready, begin = [], [], []

        def progress(done: int, total: int, text: str) -> None:
            if done:
                ready.append(time.perf_counter())

        def together() -> None:
            begin.append(time.perf_counter())
            results = folder / "together"
            tables.append(run_portfolio(folder, command, workers=workers, results=results, progress=progress))

        clock, cpu = measured(together)
        until = ready[0] - begin[0]
        print(
            f"cluster:           {clock:6.1f} s, CPU {cpu:6.1f} s; first answers after {until:.1f} s",
            flush=True,
        )
        again, _ = measured(together)
        first, second = tables
        assert (first.computed, second.computed, second.rows) == (count, 0, first.rows)
        print(f"second run, nothing to compute: {again:.1f} s")
        print(f"speed-up {one_clock / clock:.2f}, parallel efficiency {one_clock / (workers * clock):.2f}")
        print(f"CPU time over that of one process: {cpu / one_cpu:.2f}")
        states = sorted({row.status for row in first.rows})
        print(", ".join(f"{first.count(state)} {state}" for state in states))


if __name__ == "__main__":
    main()
