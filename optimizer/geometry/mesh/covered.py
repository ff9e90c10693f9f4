"""Which openings of a mesh another body lies over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Mesh, Opening, Vertices
from optimizer.geometry.pieces import Array

#: Openings that are looked at, the largest first.
MOST = 12
#: A cover lies no farther before the plane of an opening than its diameter, and no deeper behind it than
#: this share of that: it may touch.
_BEHIND = 0.01
#: An opening is covered where a body lies over its middle and over so many points round it, on each of two
#: rings: so far from the middle to the edge.
_ROUND = 8
_RINGS = 0.5, 0.9
#: Cosine from which on two openings face each other.
_FACING = 0.9
#: What a cover without a name of its own is called.
_UNNAMED = "another piece"

_Numbers = NDArray[np.int64]


def with_covers(
    vertices: Vertices,
    faces: Faces,
    found: tuple[Opening, ...],
    shell: _Numbers,
    body: _Numbers,
    names: tuple[str, ...],
) -> tuple[Opening, ...]:
    """The openings of one mesh, with the bodies that lie over them; shell, body (m,): of each face."""
    over = [_shells_over(vertices, faces, opening, shell) for opening in found[:MOST]]
    out = list(found)
    for i, shells in enumerate(over):
        if len(shells):
            most = np.bincount(body[np.isin(shell, shells)]).argmax()
            out[i] = replace(out[i], covered_by=_name(names[int(most)], out[i]))
    for i, shells in enumerate(over):
        for k, other in enumerate(found):
            if other.shell in shells and faces_into(other, found[i]) and not out[k].covered_by:
                out[k] = replace(other, covered_by=_name(found[i].body, other), of_cover=True)
    return tuple(out)


def _name(name: str, opening: Opening) -> str:
    return name if name != opening.body else _UNNAMED


def _shells_over(vertices: Vertices, faces: Faces, opening: Opening, shell: _Numbers) -> _Numbers:
    others = np.flatnonzero(shell != opening.shell)
    if not len(others):
        return others
    return np.unique(shell[others[covers(opening, vertices[opening.loop], vertices, faces[others])]])


def covered_by(opening: Opening, mesh: Mesh, other: Mesh) -> bool:
    """Whether the mesh of another part, drawn in the same coordinates, lies over an opening of ``mesh``."""
    return len(covers(opening, mesh.vertices[opening.loop], other.vertices, other.faces)) > 0


def faces_into(one: Opening, other: Opening) -> bool:
    """Whether ``one`` is the open side of a cap that is on the neck ``other``: they face each other about one
    axis, and its edge lies at or behind the plane of the neck, by no more than its diameter."""
    apart = one.centre - other.centre
    depth = -float(apart @ other.normal)
    aside = float(np.linalg.norm(apart + depth * other.normal))
    near = -_BEHIND * other.diameter <= depth <= one.diameter
    return near and float(one.normal @ other.normal) < -_FACING and aside < other.diameter / 2


def covers(opening: Opening, edge: Array, vertices: Vertices, faces: Faces) -> _Numbers:
    """Numbers (k,) of the faces that lie over an opening, none where they leave a part of it free.

    edge (e, 3) [m]: points round the opening. Looked for square to its plane.
    """
    around = edge[np.linspace(0, len(edge), min(_ROUND, len(edge)), endpoint=False).astype(int)]
    points = np.concatenate(
        [[opening.centre], *(opening.centre + share * (around - opening.centre) for share in _RINGS)]
    )
    one = np.cross(opening.normal, np.eye(3)[np.abs(opening.normal).argmin()])
    one /= np.linalg.norm(one)
    axes = np.stack([one, np.cross(opening.normal, one)], axis=1)
    places = (points - opening.centre) @ axes
    away = vertices - opening.centre
    height, flat = away @ opening.normal, away @ axes
    low, high = -_BEHIND * opening.diameter, opening.diameter
    reach = float(np.abs(places).max())
    near = np.ones(len(faces), dtype=bool)
    for values, least, most in ((height, low, high), *((flat[:, k], -reach, reach) for k in (0, 1))):
        a, b, c = (values[faces[:, k]] for k in range(3))
        near &= (np.maximum(np.maximum(a, b), c) >= least) & (np.minimum(np.minimum(a, b), c) <= most)
    number = np.flatnonzero(near)
    met = np.zeros(len(number), dtype=bool)
    for place in places:
        at = _height_at(flat[faces[number]] - place, height[faces[number]])
        hit = (at >= low) & (at <= high)
        if not hit.any():
            return np.empty(0, dtype=np.int64)
        met |= hit
    return number[met]


def _height_at(corners: Array, height: Array) -> Array:
    """(k,) height at the origin of triangles (k, 3, 2) whose corners have heights (k, 3); NaN beside them."""
    x, y = corners[..., 0], corners[..., 1]
    # twice the areas that the origin spans with the sides, each against the corner across
    part = np.roll(x, -1, 1) * np.roll(y, -2, 1) - np.roll(x, -2, 1) * np.roll(y, -1, 1)
    whole = part.sum(axis=1)
    inside = ((part >= 0).all(axis=1) | (part <= 0).all(axis=1)) & (whole != 0)
    share = part / np.where(whole != 0, whole, 1.0)[:, None]
    return np.where(inside, (share * height).sum(axis=1), np.nan)
