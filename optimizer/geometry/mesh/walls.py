"""Both faces of a wall as triangles, each with the way into its material."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import triangles as tri
from optimizer.geometry.mesh.casting import Scene
from optimizer.geometry.mesh.findings import percent, place, sides
from optimizer.geometry.mesh.model import Mesh
from optimizer.geometry.mesh.shells import same
from optimizer.geometry.pieces import Array
from optimizer.units.figures import figure

#: Share of a mesh's area that may lie on the wrong side of the other before the two do not fit.
_POKING = 1e-4
#: By how much of its size an inner face may reach beyond the outer one: at the edge of an open neck.
_BEYOND = 0.01
#: About so many faces of a piece, evenly by number, look for a piece that lies round it.
_LOOKS = 20_000
_MM = 1e3


@dataclass(frozen=True)
class Walls:
    """Triangles that bound the material of a wall, in millimetres.

    centre (m, 3) [mm]; into (m, 3): unit vectors into the material, zero for a
    triangle of no area; area (m,) [mm2]; asked: the first of them, whose thickness is wanted; across: whether
    only the others can be the far face; warnings: what to look into.
    """

    centre: Array
    into: Array
    area: Array
    asked: int
    across: bool
    scene: Scene
    warnings: tuple[str, ...] = ()


def walls_of(mesh: Mesh, inner: Mesh | None) -> Walls:
    """The wall that a mesh has both faces of, or that lies between ``mesh`` and ``inner``.

    Raises GeometryError where there is one face only, and where the two do not fit into each other.
    """
    if inner is None:
        return _own_walls(mesh)
    for one in (mesh, inner):
        if one.kind == "walls":
            raise GeometryError(
                f"{one.name}: has both faces of the wall already",
                field="inner",
                hint="leave out inner, or give one face of the wall in each file",
            )
    _check_other(mesh, inner)
    return _nested_walls(mesh, inner)


def _own_walls(mesh: Mesh) -> Walls:
    if mesh.kind != "walls":
        raise GeometryError(
            f"{mesh.name}: has one face of the wall only, so that no thickness can be told",
            field="thickness",
            hint="give the inner face of the wall in a second file (inner: ...), draw the wall with both its "
            "faces, or give a table of local thickness",
        )
    centre, normal, area = _measured(mesh)
    normal *= _shell_signs(mesh, centre, normal, area)[mesh.shell][:, None]
    scene = Scene((mesh.vertices * _MM, mesh.faces))
    return Walls(centre, _into(mesh, centre, normal, area, scene), area, len(area), False, scene)


def _measured(mesh: Mesh) -> tuple[Array, Array, Array]:
    """Centres [mm], unit normals and areas [mm2] of the faces."""
    vertices = mesh.vertices * _MM
    double = tri.cross(vertices, mesh.faces)
    size = tri.lengths(double)
    return tri.centres(vertices, mesh.faces), double / np.where(size > 0, size, 1.0)[:, None], size / 2


def _shell_signs(mesh: Mesh, centre: Array, normal: Array, area: Array) -> Array:
    """For each connected piece +1 where its normals point away from the room that it encloses, else -1."""
    count = int(mesh.shell.max(initial=0)) + 1
    members = np.bincount(mesh.shell, minlength=count)
    total = np.stack([np.bincount(mesh.shell, centre[:, k], count) for k in range(3)], axis=1)
    middle = total / np.maximum(members, 1)[:, None]
    away = np.einsum("ij,ij->i", centre - middle[mesh.shell], normal)
    return np.where(np.bincount(mesh.shell, away * area, count) < 0, -1.0, 1.0)


def _into(mesh: Mesh, centre: Array, normal: Array, area: Array, scene: Scene) -> Array:
    """Unit vectors into the material; normal (m, 3): away from the room inside each connected piece.

    The material lies inside a piece, unless that piece is a hollow in another one: then looking outward from
    it one meets the other from its inside.
    """
    count = int(mesh.shell.max(initial=0)) + 1
    if count == 1:
        return -normal
    around = np.full(count, -1)
    for piece in range(count):
        mine = np.flatnonzero(mesh.shell == piece)
        mine = mine[:: 1 + len(mine) // _LOOKS]
        hit, _ = scene.first(centre[mine], normal[mine], mine)
        # behind every face: the piece whose inside is met, or none
        seen = (hit >= 0) & (np.einsum("ij,ij->i", normal[mine], normal[hit]) > 0)
        behind = np.where(seen & (mesh.shell[hit] != piece), mesh.shell[hit], -1)
        met = np.bincount(behind + 1, area[mine], count + 1)[1:]
        if met.max() > area[mine].sum() / 2:
            around[piece] = int(met.argmax())
    depth = np.array([_depth(around, piece) for piece in range(count)])
    return np.where(depth[mesh.shell] % 2 == 0, -1.0, 1.0)[:, None] * normal


def _depth(around: NDArray[np.int64], piece: int) -> int:
    """How many pieces lie round this one."""
    steps = 0
    while around[piece] >= 0 and steps <= len(around):
        piece, steps = int(around[piece]), steps + 1
    return steps


def _nested_walls(mesh: Mesh, inner: Mesh) -> Walls:
    """The wall between two files; the normals of both point away from the contents."""
    _check_box(mesh, inner)
    outside, inside = _measured(mesh), _measured(inner)
    centre, normal, area = (np.concatenate(pair) for pair in zip(outside, inside, strict=True))
    count = len(mesh.faces)
    # an open neck is shut for the sight lines: nothing may be seen through it
    scene = _closed(mesh, inner)
    warnings = _check_sides(mesh, inner, (centre, normal, area), scene)
    normal[:count] *= -1
    return Walls(centre, normal, area, count, True, scene, warnings)


def _check_other(mesh: Mesh, inner: Mesh) -> None:
    """Raises GeometryError where the two are one surface: no larger one than the other, in the same box."""
    area = np.array([mesh.area.sum(), inner.area.sum()])
    low, high = (
        np.stack([f(part.vertices[part.faces.reshape(-1)], axis=0) for part in (mesh, inner)])
        for f in (np.min, np.max)
    )
    if same(area, low, high):
        raise GeometryError(
            f"{inner.name}: is the same surface as {mesh.name}",
            field="inner",
            hint="give the inner face of the wall, or leave out inner",
        )


def _check_box(mesh: Mesh, inner: Mesh) -> None:
    """Raises GeometryError where the inner face reaches out of the box of the outer one."""
    outer, within = mesh.vertices[mesh.faces.reshape(-1)], inner.vertices[inner.faces.reshape(-1)]
    low, high = outer.min(axis=0), outer.max(axis=0)
    beyond = np.maximum(low - within.min(axis=0), within.max(axis=0) - high)
    worst = int(beyond.argmax())
    if beyond[worst] <= _BEYOND * float(np.linalg.norm(high - low)):
        return
    sizes = [sides(part.max(axis=0) - part.min(axis=0)) for part in (within, outer)]
    raise GeometryError(
        f"{inner.name}: the inner face ({sizes[0]}) reaches {figure(_MM * beyond[worst])} mm beyond "
        f"{mesh.name} ({sizes[1]}) along {'xyz'[worst]}",
        field="inner",
        hint="both files must have the same unit and coordinates, the inner face inside the outer one",
    )


def _check_sides(mesh: Mesh, inner: Mesh, faces: tuple[Array, Array, Array], scene: Scene) -> tuple[str, ...]:
    """Raises GeometryError where the inner face pokes through the outer one; warns where it hardly does."""
    centre, normal, area = faces
    count, total = len(mesh.faces), len(area)
    is_inner = np.arange(total) >= count
    # outward from the outer face nothing of the inner one may come next, inward from the inner one nothing of
    # the outer
    ways = np.where(is_inner[:, None], -normal, normal)
    hit, _ = scene.first(centre, ways, np.arange(total))
    crossed = (hit >= 0) & (hit < total) & ((hit >= count) != is_inner)
    if not crossed.any():
        return ()
    share = max(float(area[part & crossed].sum() / area[part].sum()) for part in (is_inner, ~is_inner))
    where = place(centre[crossed][int(area[crossed].argmax())] / _MM)
    message = (
        f"{inner.name}: the inner face pokes through {mesh.name} over {percent(share)} of the area, among "
        f"others at {where}"
    )
    if share <= _POKING:
        return (message,)
    raise GeometryError(
        message,
        field="inner",
        hint="the inner face must lie inside the outer one: check that both have the same coordinates, and "
        "that the meshes are fine enough for so thin a wall",
    )


def _closed(mesh: Mesh, inner: Mesh) -> Scene:
    """Both meshes, the faces of ``mesh`` first, and the caps of their openings last."""
    caps = np.concatenate([_caps(mesh), _caps(inner)]).reshape(-1, 3)
    parts = (mesh.vertices * _MM, inner.vertices * _MM, caps)
    faces = (mesh.faces, inner.faces, np.arange(len(caps)).reshape(-1, 3))
    starts = np.cumsum([0, *(len(part) for part in parts[:-1])])
    numbers = [part + start for part, start in zip(faces, starts, strict=True)]
    return Scene((np.concatenate(parts), np.concatenate(numbers)))


def _caps(mesh: Mesh) -> Array:
    """Triangles (k, 3, 3) [mm] over the openings: fans about their centres."""
    fans = [np.empty((0, 3, 3))]
    for opening in mesh.openings:
        edge = mesh.vertices[opening.loop]
        middle = np.broadcast_to(opening.centre, edge.shape)
        fans.append(np.stack([middle, edge, np.roll(edge, -1, axis=0)], axis=1))
    return _MM * np.concatenate(fans)
