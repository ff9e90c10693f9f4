"""Objects placed in a scene, as bodies in its coordinates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import MeshFault
from optimizer.geometry.mesh.model import Faces, RawBody, Vertices
from optimizer.geometry.mesh.polygons import told_apart

Matrix = NDArray[np.float64]

#: More faces than this in one scene are a file made to fill the memory.
MOST_FACES = 20_000_000

#: A transform whose volume is this share of its largest scale cubed flattens the body.
FLATTENS = 1e-9


@dataclass(frozen=True)
class Item:
    """A mesh and where it stands. matrix (4, 4): for columns of coordinates."""

    name: str
    vertices: Vertices
    faces: Faces
    matrix: Matrix


def bodies(items: Sequence[Item], file: str) -> tuple[RawBody, ...]:
    """The items in the coordinates of the scene. A lone item without a name has that of the file.

    A transform that mirrors would turn the faces inside out, so their corners are listed the other way.
    Raises MeshFault.
    """
    total = sum(len(item.faces) for item in items)
    if total > MOST_FACES:
        raise MeshFault(
            f"{total} faces, more than the {MOST_FACES} that are read",
            "export a coarser mesh of less objects",
        )
    names = told_apart([item.name or file for item in items])
    return tuple(_placed(name, item) for name, item in zip(names, items, strict=True))


def _placed(name: str, item: Item) -> RawBody:
    turn, shift = item.matrix[:3, :3], item.matrix[:3, 3]
    if not np.array_equal(item.matrix[3], [0, 0, 0, 1]):
        raise MeshFault(f"the transform of {name} is not affine")
    with np.errstate(all="ignore"):  # what overflows is refused here or with the coordinates
        size = float(np.linalg.det(turn))
        if not np.isfinite(size) or not abs(size) > FLATTENS * float(np.abs(turn).max()) ** 3:
            raise MeshFault(f"the transform of {name} flattens it", "check the scales of the objects")
        vertices = item.vertices @ turn.T + shift
    return RawBody(name, vertices, item.faces if size > 0 else item.faces[:, ::-1])
