"""The faces of a cleaned mesh as pieces of a part's surface, upright, and the whole of it as one patch."""

from __future__ import annotations

import math

import numpy as np

from optimizer.errors import GeometryError
from optimizer.geometry.checks import MIDDLE_OFFSET
from optimizer.geometry.mesh.model import Mesh, Upright
from optimizer.geometry.mesh.triangles import centres
from optimizer.geometry.pieces import Array, Pieces
from optimizer.geometry.surface import Patch, Surface

AXES = "xyz"
#: An opening faces along the axis when the cosine of the angle between them is more than this.
UPWARD = 0.9


def upright(mesh: Mesh, given: str | None = None) -> Upright:
    """Which way is up: as ``given`` (x, y, z, -x, -y, -z), else the way the only opening faces, else z.

    Raises GeometryError for another word.
    """
    if given is not None:
        if given.removeprefix("-") not in tuple(AXES):
            raise GeometryError(
                f"up is '{given}'", field="up", hint="write x, y, z, -x, -y or -z: the axis that points up"
            )
        sign = -1 if given.startswith("-") else 1
        return Upright(AXES.index(given[-1]), sign, f"up is {given}, as given")
    if len(mesh.openings) != 1:
        count = "no opening" if not mesh.openings else f"{len(mesh.openings)} openings"
        return Upright(2, 1, f"up is taken as z: the mesh has {count} to go by")
    normal = mesh.openings[0].normal
    axis = int(np.abs(normal).argmax())
    sign = 1 if normal[axis] > 0 else -1
    word = ("" if sign > 0 else "-") + AXES[axis]
    return Upright(axis, sign, f"up is taken as {word}: the only opening faces that way")


def pieces_of(mesh: Mesh, way: Upright, dimensions: str) -> Pieces:
    """A piece for each face (m,), its centre placed by height, radius and angle about the axis.

    dimensions: whether the mesh is the outside, inside or middle of the wall; of no account for a mesh with
    both faces of the wall, whose middle lies between them. The axis runs along ``way`` through the centre of
    the only opening where that faces up or down, and else through the area-weighted centre of the part.
    Raises GeometryError for an unknown word.
    """
    middle = middle_of(dimensions)
    centre = centres(mesh.vertices, mesh.faces)
    along = mesh.vertices[:, way.axis] * way.sign
    along -= along.min()
    a, b, c = (along[mesh.faces[:, k]] for k in range(3))
    axis = _axis(mesh, way, centre)
    one, two = (centre[:, k] - axis[k] for k in range(3) if k != way.axis)
    return Pieces(
        area=mesh.area * mesh.weight,
        slope=mesh.slope * middle,
        curvature=mesh.curvature * middle**2,
        height=(a + b + c) / 3,
        radius=np.hypot(one, two),
        angle=np.arctan2(two, one),
        centre=centre,
        span=np.stack([np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)], axis=1),
    )


def turning(mesh: Mesh, way: Upright) -> str:
    """How the angles of ``pieces_of`` turn, in words."""
    first, second = (AXES[k] for k in range(3) if k != way.axis)
    about = "the centre of the opening" if _neck(mesh, way) is not None else "the middle of the part"
    return f"angles turn from {first} (0 degrees) to {second} (90 degrees) about the axis through {about}"


def _axis(mesh: Mesh, way: Upright, centre: Array) -> Array:
    """A point (3,) [m] of the axis: a handle moves the middle of the part, and not its neck."""
    neck = _neck(mesh, way)
    if neck is not None:
        return neck
    return np.array([(mesh.area * x).sum() / mesh.area.sum() for x in centre.T])


def _neck(mesh: Mesh, way: Upright) -> Array | None:
    """Centre (3,) [m] of the only opening where it faces along the axis."""
    if len(mesh.openings) != 1 or abs(mesh.openings[0].normal[way.axis]) < UPWARD:
        return None
    return mesh.openings[0].centre


def whole_surface(mesh: Mesh, dimensions: str) -> Surface:
    """The mesh as one patch of even thickness; the words of ``dimensions`` as for ``pieces_of``."""
    middle = middle_of(dimensions)
    area = float(mesh.area.sum()) * mesh.weight
    patch = Patch(area, 1.0, float(mesh.slope.sum()) * middle, float(mesh.curvature.sum()) * middle**2)
    notes = (*mesh.repairs, *mesh.notes)
    if mesh.volume is None or mesh.kind == "walls":
        return Surface((patch,), mesh.volume, 0.0, notes, warnings=mesh.warnings)
    inner = middle - 0.5  # where the inner face lies
    largest = min(mesh.facts.size) / (-2 * inner) if inner else math.inf
    return Surface((patch,), mesh.volume, inner * area if inner else 0.0, notes, largest, mesh.warnings)


def middle_of(dimensions: str) -> float:
    """How far outward of the mesh the middle of the wall lies, in wall thicknesses.

    Raises GeometryError for a word other than outside, inside and middle.
    """
    if dimensions not in MIDDLE_OFFSET:
        raise GeometryError(
            f"dimensions is '{dimensions}'",
            field="dimensions",
            hint="write outside, inside or middle: which face of the wall the mesh shows",
        )
    return MIDDLE_OFFSET[dimensions]
