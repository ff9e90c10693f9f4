"""How quick and how exact transient walls are, against general solvers on the same problem, side by side.

Run: python tests/benchmarks/bench_transient.py [--markdown] [--write] [--quick]; --write keeps the table for
docs/validation.md.

The case (``transient.coupled``, invented) is a fatty powder behind skin, tie, humidity-dependent barrier, tie
and skin: water and oxygen diffuse through every layer, the oxygen's permeability follows the water, the
product holds water by a GAB isotherm and uses oxygen up by Michaelis-Menten kinetics; twelve stages over two
years. Rivals: LSODA of scipy with a banded Jacobian on finite volumes, and FiPy, a general finite-volume
package, each at several costs; they are described in ``fipy_rival``. The error is the greatest relative error
at the end of the pressure of oxygen inside, the oxygen used, the water gained and the oxygen in the wall,
against ``transient/reference.json`` (Radau 1e-9, Richardson's limit over three meshes). Times are processor
seconds of one process in one run, of "ours" the median of repeats; ratios are to "ours" of the first row.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import json
import math
import statistics
import sys
import time
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.fipy_rival import Answer, fipy, lsoda
from transient.coupled import CASES, coupled, hourly

from optimizer.shelflife.package import Case
from optimizer.shelflife.segments import lay_out
from optimizer.shelflife.transient.compiled import compiled_march
from optimizer.shelflife.transient.plan import plan_of
from optimizer.shelflife.transient.run import Run

REFERENCE = Path(__file__).resolve().parents[1] / "transient" / "reference.json"
KEYS = ("p O2", "used", "gain", "wall O2")
#: Settings of ours, of LSODA and of FiPy, from cheap to dear.
OURS: tuple[dict[str, Any], ...] = (
    {"by": "compiled", "degree": 3, "rtol": 1e-4},
    {"by": "compiled", "degree": 2, "rtol": 1e-3},
    {"by": "numpy", "degree": 2, "rtol": 1e-3},
    {"by": "numpy", "degree": 3, "rtol": 1e-4},
)
LSODA = ({"cells": 5}, {"cells": 10}, {"cells": 20}, {"cells": 40, "rtol": 1e-8})
FIPY = (
    {"cells": 5, "steps": 10, "sweeps": 2},
    {"cells": 10, "steps": 20, "sweeps": 2},
    {"cells": 10, "steps": 60, "sweeps": 2},
)
REPEATS = 21
TABLE = Path(__file__).with_name("transient_table.md")
HEAD = """\
## Walls in transient: error and cost beside general solvers

Written by `python tests/benchmarks/bench_transient.py --write`: a fatty powder behind five layers, water and
oxygen in transient, a barrier whose oxygen permeability follows the humidity, a GAB product, Michaelis-Menten
kinetics, twelve stages over two years (invented). Processor seconds in one run on one machine; the error is
the largest at the end of the oxygen pressure, the oxygen used up, the water gained and (where the march says
it) the oxygen in the wall, against finite volumes with Radau at 1e-9 and Richardson's limit over three
meshes.

"""


class Row(NamedTuple):
    """solver and settings in words; seconds of processor time; error; how many times the time of ours, or
    None without ours."""

    solver: str
    settings: str
    seconds: float
    error: float
    ratio: float | None


def ours(case: Case, *, by: str = "compiled", degree: int = 2, rtol: float = 1e-3) -> Answer:
    """The engine on ``case`` to its horizon, everything counted from the case on. by: "compiled" or "numpy";
    the compiled march does not say what is in the wall (nan)."""
    begin = time.process_time()
    if by == "numpy":
        run = Run(case, None, None, None, [case.horizon], degree, rtol)
        found = run.trajectory()
        place, state = run.plan.gases[0], run.state
        assert run.segment is not None
        lanes = run.segment.lanes[0]
        wall = sum(sum(state[a:b]) for a, b in place.walls)
        wall += sum(x.face for x in lanes) * found.pressures["O2"][0, -1]
        wall += sum(x.layers[-1].storage[-1] * x.outside for x in lanes)
        values = (found.pressures["O2"][0, -1], found.used[0, -1], found.water[0, -1], wall)
    else:
        plan = plan_of(case, degree=degree)
        segments = lay_out(case.storage, case.horizon)
        end = float(segments.end[-1])
        row = compiled_march(plan, segments, end=end, target=end, times=[end], rtol=rtol).record[0, 0]
        values = (row[3], row[4], row[0] - plan.contents.water, math.nan)
    return Answer(*(float(x) for x in values), time.process_time() - begin)


def reference(name: str = "coupled") -> list[float]:
    """Values of ``KEYS`` at the end."""
    values = json.loads(REFERENCE.read_text())[name]["values"]
    return [values[k][-1] for k in KEYS]


def error_of(answer: Answer, expected: list[float]) -> float:
    """Greatest relative error of the values that are known."""
    known = [(x, y) for x, y in zip(answer[:4], expected, strict=True) if not math.isnan(x)]
    return max(abs(x / y - 1.0) for x, y in known)


def _median(job: Callable[[], Answer], repeats: int) -> Answer:
    answers = [job() for _ in range(repeats)]
    return answers[0]._replace(seconds=statistics.median(a.seconds for a in answers))


def _words(settings: Mapping[str, Any]) -> str:
    return ", ".join(f"{k} {v:g}" if isinstance(v, float) else f"{k} {v}" for k, v in settings.items())


def hourly_rows() -> list[Row]:
    """Ten days of hourly weather by LSODA and by ours, and two years of it by ours alone (error unknown)."""
    short, expected = CASES["ten days of weather"](), reference("ten days of weather")
    by_hour = {"degree": 6, "rtol": 1e-3}
    answer = _median(lambda: ours(short, **by_hour), 5)
    base = answer.seconds
    rows = [Row("ours", "ten days, hourly, degree 6", base, error_of(answer, expected), 1.0)]
    answer = lsoda(short, cells=10)
    error = error_of(answer, expected)
    ratio = answer.seconds / base
    rows.append(Row("LSODA, finite volumes", "ten days, hourly", answer.seconds, error, ratio))
    long = _median(lambda: ours(hourly(coupled()), rtol=1e-2), 3)
    rows.append(Row("ours", "two years, hourly", long.seconds, float("nan"), None))
    return rows


def table_rows(*, quick: bool = False) -> list[Row]:
    """Every solver at every cost on the coupled case. quick: leave out all but the cheapest of FiPy."""
    case, expected = coupled(), reference()
    for _ in range(REPEATS):  # compiling, caching and the first calls are not part of what is measured
        ours(case)
    jobs: list[tuple[str, Mapping[str, Any], Callable[[], Answer], int]] = []
    jobs += [("ours", s, lambda s=s: ours(case, **s), REPEATS) for s in OURS]
    jobs += [("LSODA, finite volumes", s, lambda s=s: lsoda(case, **s), 3) for s in LSODA]
    jobs += [("FiPy", s, lambda s=s: fipy(case, **s), 1) for s in FIPY[: 1 if quick else None]]
    rows: list[Row] = []
    for name, settings, job, repeats in jobs:
        answer = _median(job, repeats)
        base = rows[0].seconds if rows else answer.seconds
        row = Row(name, _words(settings), answer.seconds, error_of(answer, expected), answer.seconds / base)
        rows.append(row)
    return rows


def markdown(rows: list[Row]) -> str:
    """The rows as a Markdown table."""
    lines = [
        "| Solver | Settings | Time | Largest relative error | Time over ours |",
        "|---|---|---|---|---|",
    ]
    for r in rows:
        ratio = "-" if r.ratio is None else f"{r.ratio:,.3g}"
        lines.append(f"| {r.solver} | {r.settings} | {_time(r.seconds)} | {_error(r.error)} | {ratio} |")
    return "\n".join(lines)


def _error(error: float) -> str:
    return "not known" if math.isnan(error) else f"{error:.1e}"


def _time(seconds: float) -> str:
    return f"{seconds:.3g} s" if seconds >= 1.0 else f"{1e3 * seconds:.3g} ms"


def main(arguments: list[str]) -> None:
    warnings.simplefilter("ignore")
    rows = table_rows(quick="--quick" in arguments) + hourly_rows()
    if "--markdown" in arguments or "--write" in arguments:
        text = HEAD + markdown(rows) + "\n"
        print(text)
        if "--write" in arguments:
            TABLE.write_text(text, encoding="utf-8")
        return
    for r in rows:
        ratio = "" if r.ratio is None else f"{r.ratio:10.1f} times ours"
        print(f"{r.solver:24s} {r.settings:32s} {_time(r.seconds):>10s}  error {r.error:.1e} {ratio}")


if __name__ == "__main__":
    main(sys.argv[1:])
