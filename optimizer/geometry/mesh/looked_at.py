"""What is known of the openings of a mesh beyond their edges: mouths of solids, flanges, covers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.covered import with_covers
from optimizer.geometry.mesh.findings import Findings
from optimizer.geometry.mesh.flanges import with_flanges
from optimizer.geometry.mesh.model import Faces, Opening, Vertices
from optimizer.geometry.mesh.mouths import mouths, numbered
from optimizer.geometry.words import figure, mm

#: A mesh of so many solids is looked at for their mouths.
_MOST_SOLIDS = 12

_Numbers = NDArray[np.int64]


def looked_at(
    vertices: Vertices,
    faces: Faces,
    found: tuple[Opening, ...],
    owners: tuple[_Numbers, _Numbers, tuple[str, ...]],
    solid: NDArray[np.bool_],
    findings: Findings,
) -> tuple[tuple[Opening, ...], float | None]:
    """The openings with their flanges and covers and those of solids, and the room of these [m3] or None.

    owners: connected piece and body of each face (m,), and the names of the bodies; solid (s,): pieces that
    are the solid of a wall.
    """
    piece, body, names = owners
    found = with_flanges(vertices, faces, found, piece)
    rooms: list[float | None] = []
    for k in np.flatnonzero(solid)[:_MOST_SOLIDS].tolist():
        chosen = piece == k
        name = names[int(np.bincount(body[chosen]).argmax())]
        made, room = mouths(vertices, faces, chosen, name, k)
        found = numbered([*found, *made])
        rooms.append(room)
    if len(np.unique(piece)) > 1:
        found = with_covers(vertices, faces, found, piece, body, names)
    _say(found, rooms, findings)
    known = [room for room in rooms if room is not None]
    return found, sum(known) if known and len(known) == np.count_nonzero(solid) else None


def _say(found: tuple[Opening, ...], rooms: list[float | None], findings: Findings) -> None:
    if any(room is None for room in rooms):
        findings.notes.append(
            "no flat rim joins the two faces of the solid: its mouth, if it has one, and the room inside "
            "cannot be told"
        )
    elif rooms:
        each = ", ".join(f"{figure(1e4 * o.area, 4)} cm2 ({mm(o.diameter)} across)" for o in found[:3])
        findings.notes.append(f"the solid is open within its flat rim: {each}")
    for o in found:
        if o.flange:
            findings.notes.append(
                f"opening {o.number} has a flange of {figure(1e4 * o.flange, 4)} cm2 in its plane, part of "
                f"the wall: gas passes a cover over {figure(1e4 * o.clear, 4)} cm2 only"
            )
        if o.of_cover:
            findings.notes.append(f"opening {o.number}, of '{o.body}', is the open side of a cover")
        elif o.covered_by:
            findings.notes.append(f"opening {o.number} is covered by '{o.covered_by}'")
