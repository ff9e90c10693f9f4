"""How long a mesh takes from the file to its pieces, and the memory at most, by stage.

Run: python tests/benchmarks/bench_mesh.py [faces ...]
The mesh is an invented bottle with a wavy wall, open at the neck, written as binary STL (each face with three
vertices of its own) and as binary PLY; half of the faces of a third file are wound the wrong way, and a
fourth has both faces of the wall. Each case runs in a fresh process. The last time is that of the processor,
which other work on the machine does not stretch as much.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

CASES = ("stl", "ply", "half wrong", "both faces")


def bottle(count: int, shrink: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Vertices [mm] and about ``count`` faces; ``shrink`` [mm]: how far its surface lies within."""
    rows = max(3, int((count / 4) ** 0.5))
    round_it = 2 * rows
    height = np.linspace(shrink, 200.0, rows + 1)
    turn = np.linspace(0, 2 * np.pi, round_it, endpoint=False)
    radius = np.where(
        height < 150, 35 + 2 * np.cos(height / 8), 15 + 20 * np.clip((190 - height) / 40, 0, 1) ** 2
    )
    radius = np.broadcast_to((radius - shrink)[:, None], (rows + 1, round_it))
    wall = np.stack(
        [radius * np.cos(turn), radius * np.sin(turn), np.broadcast_to(height[:, None], radius.shape)], axis=2
    ).reshape(-1, 3)
    low = np.arange(rows)[:, None] * round_it
    here, there = np.arange(round_it), np.roll(np.arange(round_it), -1)
    up = low + round_it
    faces = np.concatenate(
        [
            np.stack(np.broadcast_arrays(low + here, low + there, up + there), axis=2).reshape(-1, 3),
            np.stack(np.broadcast_arrays(low + here, up + there, up + here), axis=2).reshape(-1, 3),
            np.stack([np.full(round_it, len(wall)), there, here], axis=1),
        ]
    )
    return np.vstack([wall, [[0, 0, shrink]]]), faces


def write(path: Path, vertices: np.ndarray, faces: np.ndarray) -> None:
    """Binary STL or PLY."""
    if path.suffix == ".stl":
        rows = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("rest", "<u2")])
        rows["corner"] = vertices[faces]
        path.write_bytes(bytes(80) + np.uint32(len(faces)).tobytes() + rows.tobytes())
        return
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = np.zeros(len(faces), dtype=[("count", "u1"), ("corner", "<i4", 3)])
    rows["count"], rows["corner"] = 3, faces
    path.write_bytes(head.encode() + vertices.astype("<f4").tobytes() + rows.tobytes())


def prepare(folder: Path, case: str, count: int) -> Path:
    vertices, faces = bottle(count if case != "both faces" else count // 2)
    path = folder / ("mesh.stl" if case in ("stl", "both faces") else "mesh.ply")
    if case == "half wrong":
        wrong = np.random.default_rng(1).random(len(faces)) < 0.5
        faces[wrong] = faces[wrong][:, ::-1]
    if case == "both faces":
        inner, more = bottle(count // 2, 0.5)
        vertices, faces = np.vstack([vertices, inner]), np.vstack([faces, more + len(vertices)])
    write(path, vertices, faces)
    return path


def run(path: Path) -> None:
    """One case, in a process of its own."""
    start, processor = time.perf_counter(), time.process_time()
    from optimizer.geometry.mesh import clean, pieces_of, upright, whole_surface
    from optimizer.geometry.mesh.files import read

    marks = [time.perf_counter()]
    raw = read(path)
    marks.append(time.perf_counter())
    mesh = clean(raw, 1e-3)
    marks.append(time.perf_counter())
    pieces_of(mesh, upright(mesh), "outside")
    whole_surface(mesh, "outside")
    marks.append(time.perf_counter())
    stages = " ".join(f"{after - before:7.2f}" for before, after in zip([start, *marks], marks, strict=False))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    used = time.process_time() - processor
    print(f"{mesh.facts.faces:9d} {stages} {marks[-1] - start:7.2f} {used:9.2f} {peak:11.2f}", flush=True)


def main() -> None:
    if len(sys.argv) > 1 and sys.argv[1] == "--run":
        run(Path(sys.argv[2]))
        return
    counts = [int(word) for word in sys.argv[1:]] or [200_000, 1_000_000]
    print("case           faces  import    read   clean  pieces   total processor  GB at most")
    for count in counts:
        for case in CASES:
            with tempfile.TemporaryDirectory() as folder:
                path = prepare(Path(folder), case, count)
                print(f"{case:10s}", end=" ", flush=True)
                subprocess.run([sys.executable, __file__, "--run", str(path)], check=True)


if __name__ == "__main__":
    main()
