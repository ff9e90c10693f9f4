"""Projects with meshes made from formulas, for the tests; all of them are invented."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from optimizer.errors import InputError
from optimizer.project import Project, load_project
from optimizer.shelflife.package import WallPart
from optimizer.shelflife.predict import predict

Array = NDArray[np.float64]

PROJECT = """\
format: 1
title: Invented beaker
materials:
  - name: plain stuff
    density: 1000 kg/m3
    price: 1 EUR/kg
    gauge: {{min: 1 um, max: 50 mm}}
    permeability:
      - {{gas: O2,  value: "100 cm3*mm/(m2*day*atm)", temperature: 23 degC, humidity: 0 %}}
      - {{gas: H2O, value: "0.5 g*mm/(m2*day)", temperature: 23 degC, humidity: 90 %}}
product:
  mass: 200 g
  volume: {volume}
  water_activity: 0.5
  headspace: {{volume: 10 mL, gas: {{N2: 100 %}}}}
  limits: {{headspace_oxygen: 5 %}}
package:
  parts:
{parts}
walls:
  side:
    layers: [{{material: plain stuff, thickness: 300 um}}, {{material: plain stuff, thickness: 100 um}}]
  other: {{layers: [{{material: plain stuff, thickness: 1 mm}}]}}
wall: steady
storage: [{{duration: 6 months, temperature: 23 degC, humidity: 50 %}}]
target: {{shelf_life: 6 months}}
"""
#: Permeability of the material in the test [cm3(STP) mm/(m2 day atm)].
PERMEABILITY = 100.0
#: Nominal thickness of the walls [mm].
SIDE, OTHER = 0.4, 1.0
#: Radius and height of the beaker [mm], sides of its polygon.
RADIUS, HEIGHT, SIDES = 30.0, 100.0, 96
#: Its perimeter [mm] and the area of its base [mm2]: a regular polygon inscribed in the circle.
AROUND = 2 * SIDES * RADIUS * math.sin(math.pi / SIDES)
BASE = 0.5 * SIDES * RADIUS**2 * math.sin(2 * math.pi / SIDES)
#: Room inside [mL].
ROOM = BASE * HEIGHT / 1e3


def write(folder: Path, *parts: str, volume: str = f"{ROOM - 10:.3f} mL", **texts: str) -> Path:
    """A project with ``parts``, one line each; ``texts``: (what stands in it, what is put instead)."""
    text = PROJECT.format(parts="\n".join(f"    {part}" for part in parts), volume=volume)
    for before, after in texts.items():
        assert before in text
        text = text.replace(before, after)
    path = folder / "project.yaml"
    path.write_text(text, "utf-8")
    return path


def read(folder: Path, *parts: str, **texts: str) -> Project:
    return load_project(write(folder, *parts, **texts))


def said(folder: Path, *parts: str, **texts: str) -> list[str]:
    """Every problem of the project, without its folder."""
    try:
        load_project(write(folder, *parts, **texts))
    except InputError as error:
        return [str(p).replace(f"{folder}/", "") for p in error.problems]
    return []


def walls(project: Project) -> dict[str, WallPart]:
    return {p.name: p for p in project.case.package.parts if isinstance(p, WallPart)}


def conductance(part: WallPart, thickness: float = SIDE) -> float:
    """Sum of area over local thickness [mm2/mm]."""
    return 1e6 * part.permeation_area(thickness * 1e-3) / thickness


def oxygen(project: Project) -> dict[str, float]:
    """What ``predict`` says each part lets through, as a sum of area over thickness [mm2/mm]."""
    rows = predict(project.case).transmission
    return {r.part: 1e6 * r.value / PERMEABILITY for r in rows if r.gas == "O2"}


def ring_mesh(radii: Array, heights: Array, sides: int = SIDES) -> tuple[Array, NDArray[np.int64]]:
    """Vertices and faces of a body of revolution, a polygon of ``sides``, without ends."""
    angle = 2 * math.pi * np.arange(sides) / sides
    x, y = np.outer(radii, np.cos(angle)), np.outer(radii, np.sin(angle))
    z = np.repeat(heights[:, None], sides, axis=1)
    vertices = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    low = np.arange(len(radii) - 1)[:, None] * sides + np.arange(sides)
    right = np.arange(len(radii) - 1)[:, None] * sides + (np.arange(sides) + 1) % sides
    a, b, c, d = (k.reshape(-1) for k in (low, right, right + sides, low + sides))
    return vertices, np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def beaker(rings: int = 100, radius: float = RADIUS, height: float = HEIGHT, base: float = 0.0) -> Any:
    """A straight round body with a flat base at height ``base`` and an open top, as a trimesh [mm]."""
    radii = np.array([0.0, radius / 2, *[radius] * (rings + 1)])
    heights = np.array([base, base, *np.linspace(base, height, rings + 1)])
    vertices, faces = ring_mesh(radii, heights)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    mesh.merge_vertices()
    mesh.update_faces(mesh.nondegenerate_faces())
    return mesh


def save(folder: Path, mesh: Any, name: str = "beaker.stl") -> str:
    mesh.export(folder / name)
    return name
