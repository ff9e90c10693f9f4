"""How long a package drawn as a mesh takes from the project file to the answer, and the memory at most.

Run: python tests/benchmarks/bench_geometry.py [faces ...]; with --profile the slowest functions follow.
The mesh is an invented bottle, open at its neck, binary STL with three vertices for each face. Side by side
in one run, each in a fresh process, what it takes to import included:
  predict    a project file: the mesh, its thickness by a table of heights, three regions, a lid over its neck
  walls      the same with both faces of the wall in the mesh and its thickness between them
  geometry   the command ``layerwright geometry`` on the mesh, with its picture
  trimesh    the general library alone: load, area, volume, whether it is watertight
Ratios are to trimesh on the same file. Times are seconds on the clock and of the processor.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

#: Seconds on two cores, and GB, that a count of faces may take.
TARGETS = {200_000: (2.0, 2.0), 1_000_000: (10.0, 2.0)}
CASES = ("trimesh", "predict", "walls", "geometry")
PROJECT = """\
format: 1
title: Invented bottle as a mesh
materials:
  - name: plain stuff
    density: 1350 kg/m3
    permeability:
      - {{gas: O2,  value: "2 cm3*mm/(m2*day*atm)", temperature: 23 degC, humidity: 0 %}}
      - {{gas: N2,  value: "0.5 cm3*mm/(m2*day*atm)", temperature: 23 degC, humidity: 0 %}}
      - {{gas: H2O, value: "0.5 g*mm/(m2*day)", temperature: 23 degC, humidity: 90 %}}
product:
  mass: 600 g
  volume: 600 mL
  water_activity: 0.5
  headspace: {{volume: 30 mL, gas: {{N2: 100 %}}}}
  limits: {{headspace_oxygen: 5 %}}
package:
  parts:
    body:
      mesh: mesh.stl
      unit: mm
      wall: side
      dimensions: middle
      up: z
      thickness: {thickness}
      regions:
        foot: {{below: 20 mm}}
        panel: {{above: 60 mm, below: 120 mm}}
        neck: {{above: 180 mm}}
{lid}walls: {{side: {{layers: [{{material: plain stuff, thickness: 400 um}}]}}}}
wall: steady
storage: [{{duration: 6 months, temperature: 23 degC, humidity: 50 %}}]
target: {{shelf_life: 6 months}}
"""
LID = "    lid: {opening_of: body, wall: side}\n"


class Cost(NamedTuple):
    """Seconds on the clock and of the processor, GB at most, faces or what was found in words."""

    seconds: float
    processor: float
    peak: float
    said: str


def bottle(count: int, depth: float = 0.0) -> np.ndarray:
    """Corners (about count, 3, 3) [mm] of a bottle with a wavy wall, ``depth`` inside of its outer face."""
    rows = max(3, int((count / 4) ** 0.5))
    height = np.linspace(0.0, 200.0, rows + 1)
    shoulder = 1.0 / (1.0 + np.exp((height - 160.0) / 6.0))
    radius = 14.0 + shoulder * (20.0 + 1.5 * np.cos(height / 8.0))
    slope = np.gradient(radius, height)
    out = np.stack([np.ones_like(slope), -slope]) / np.hypot(1.0, slope)
    out[1, [0, -1]] = 0.0
    radius, height = radius - depth * out[0], np.maximum(height - depth * out[1], depth)
    turn = np.linspace(0.0, 2 * np.pi, 2 * rows + 1)
    wall = np.stack(
        np.broadcast_arrays(radius[:, None] * np.cos(turn), radius[:, None] * np.sin(turn), height[:, None]),
        axis=-1,
    )
    wall[:, -1] = wall[:, 0]
    a, b, c, d = wall[:-1, :-1], wall[:-1, 1:], wall[1:, 1:], wall[1:, :-1]
    middle = np.broadcast_to([0.0, 0.0, depth], a[0].shape)
    base = np.stack([middle, b[0], a[0]], axis=-2)
    return np.concatenate([base, *(np.stack(x, axis=-2).reshape(-1, 3, 3) for x in ((a, b, c), (a, c, d)))])


def prepare(folder: Path, case: str, count: int) -> None:
    """The mesh, and the project that names it."""
    both = case == "walls"
    faces = np.concatenate([bottle(count // 2), bottle(count // 2, 0.5)[:, ::-1]]) if both else bottle(count)
    rows = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("rest", "<u2")])
    rows["corner"] = faces
    (folder / "mesh.stl").write_bytes(bytes(80) + np.uint32(len(faces)).tobytes() + rows.tobytes())
    table = "".join(f"{h},{600 - 300 * min(h, 60) / 60 + max(h - 150, 0) * 8:g}\n" for h in range(0, 201, 5))
    (folder / "local.csv").write_text("height mm,thickness um\n" + table, "utf-8")
    text = PROJECT.format(thickness="between faces" if both else "local.csv", lid="" if both else LID)
    (folder / "project.yaml").write_text(text, "utf-8")


def job(case: str, folder: Path) -> str:
    """One case in this process; what it found, in words."""
    if case == "trimesh":
        import trimesh

        mesh = trimesh.load(folder / "mesh.stl")
        return f"{len(mesh.faces)} faces, {mesh.area:.4g}, {mesh.volume:.4g}, {mesh.is_watertight}"
    if case == "geometry":
        from optimizer.cli.run_geometry import run

        picture, record = str(folder / "picture.svg"), str(folder / "record.json")
        return f"status {run(str(folder / 'mesh.stl'), 'mm', None, None, None, picture, False, record)}"
    from optimizer.project import load_project
    from optimizer.shelflife.predict import predict

    rows = predict(load_project(folder / "project.yaml").case).transmission
    return f"{len(rows)} rows, O2 {sum(r.value for r in rows if r.gas == 'O2'):.6g}"


def profiled(case: str, folder: Path) -> None:
    import cProfile
    import pstats

    profile = cProfile.Profile()
    profile.runcall(job, case, folder)
    pstats.Stats(profile).sort_stats("tottime").print_stats(18)


def run(case: str, folder: Path) -> None:
    """One case with what it costs, as the last line."""
    start, processor = time.perf_counter(), time.process_time()
    said = job(case, folder)
    used = time.perf_counter() - start, time.process_time() - processor
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{used[0]:.3f}|{used[1]:.3f}|{peak:.3f}|{said}", flush=True)


def measured(case: str, folder: Path, *more: str) -> str:
    """Output of one case in a fresh process."""
    command = [sys.executable, __file__, "--run", case, str(folder), *more]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def main(arguments: list[str]) -> None:
    if arguments[:1] == ["--run"]:
        (profiled if "--profile" in arguments else run)(arguments[1], Path(arguments[2]))
        return
    profile = "--profile" in arguments
    counts = [int(word) for word in arguments if word != "--profile"] or list(TARGETS)
    print("case          faces  seconds  processor  GB at most  over trimesh")
    for count in counts:
        for case in CASES[1:]:
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                prepare(folder, case, count)
                costs = {}
                for job_name in ("trimesh", case):
                    first, second, third, said = (
                        measured(job_name, folder).strip().splitlines()[-1].split("|")
                    )
                    costs[job_name] = Cost(float(first), float(second), float(third), said)
                ours, theirs = costs[case], costs["trimesh"]
                seconds, memory = TARGETS.get(count, (float("inf"), float("inf")))
                late = "" if ours.seconds <= seconds and ours.peak <= memory else "  OVER THE TARGET"
                print(
                    f"{case:10s} {count:8d} {ours.seconds:8.2f} {ours.processor:10.2f} {ours.peak:11.2f} "
                    f"{ours.seconds / theirs.seconds:8.2f} of {theirs.seconds:.2f} s  {ours.said}{late}",
                    flush=True,
                )
                if profile:
                    print(measured(case, folder, "--profile"))


if __name__ == "__main__":
    main(sys.argv[1:])
