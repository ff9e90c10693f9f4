"""Writes ``reference.json``: finite volumes, Radau at 1e-9 in time, Richardson's limit over three meshes.

Run: python tests/transient/write_references.py [case ...]   (one to ten minutes a case)

For the coupled cases also when each limit is reached [s]: by LSODA at 1e-9, Richardson's limit over the same
meshes at times around it, and a cubic spline through those.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from optimizer.constants import DAY, MOLAR_MASS
from optimizer.shelflife.contents import solubility
from optimizer.shelflife.package import Case
from transient import lines
from transient.coupled import CASES, reference_times
from transient.volumes import extrapolated

Array = NDArray[np.float64]
FILE = Path(__file__).with_name("reference.json")
#: Cells per layer of the coarsest of three meshes.
CELLS = {"coupled": 16, "coupled headspace": 16, "ten days of weather": 8}


def quantity(case: Case, name: str, times: Array, found: dict[str, Array]) -> Array:
    """Value of a limit's quantity at ``times``; at the end of a stage of that stage."""
    if name == "water_activity_max":
        return found["activity"]
    ends = np.cumsum([s.duration for s in case.storage])
    stage = np.minimum(np.searchsorted(ends * (1 + 1e-12), times), len(ends) - 1)
    warm = np.array([case.storage[k].temperature for k in stage])
    product = case.product
    dissolved = product.volume * solubility(product, "O2", warm) * found["p O2"]
    return (found["used"] + dissolved) * MOLAR_MASS["O2"] / product.mass


def crossings(case: Case, cells: int) -> dict[str, float]:
    """When each limit is first reached [s]."""
    days = np.arange(0.0, case.horizon + 1.0, DAY)
    rough = lines.solve(case, days, cells=8)
    answer = {}
    for limit in case.product.limits:
        first = int(np.argmax(quantity(case, limit.name, days, rough) > limit.value))
        times = np.linspace(days[first] - 1.5 * DAY, days[first] + 0.5 * DAY, 17)
        found, _ = extrapolated(lines.solve, case, list(times), cells, rtol=1e-9)
        excess = CubicSpline(times, quantity(case, limit.name, times, found) - limit.value)
        answer[limit.name] = float(brentq(excess, times[0], times[-1], xtol=1e-3))
    return answer


def main(names: list[str]) -> None:
    kept = json.loads(FILE.read_text()) if FILE.exists() else {}
    for name in names or list(CASES):
        case = CASES[name]()
        times = reference_times(case)
        cells = CELLS.get(name, 24)
        best, doubt = extrapolated(lines.radau, case, times, cells, rtol=1e-9)
        moved = {k: v for k, v in best.items() if np.any(v != 0.0)}
        relative = {k: float(np.max(doubt[k] / (np.abs(v).max() + 1e-300))) for k, v in moved.items()}
        kept[name] = {
            "made by": f"finite volumes, Radau 1e-9, Richardson over {cells}, {2 * cells}, {4 * cells} cells",
            "times": times,
            "values": {k: [float(x) for x in v] for k, v in moved.items()},
            "doubt": relative,
        }
        if name.startswith("coupled"):
            kept[name]["crossings"] = crossings(case, cells)
        FILE.write_text(json.dumps(kept, indent=1) + "\n")
        print(name, {k: f"{x:.0e}" for k, x in relative.items()}, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
