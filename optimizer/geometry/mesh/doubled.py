"""Pieces of a mesh that are listed twice: copies, which are refused, and surfaces drawn from both sides."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import several
from optimizer.geometry.mesh.findings import Findings, cm2, percent
from optimizer.geometry.mesh.merging import Repeats
from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.triangles import summed
from optimizer.geometry.pieces import Array

#: A mesh of more connected pieces than this has fallen apart.
MOST_PIECES = 500

#: From this share of its faces on, a piece is listed twice.
ALL = 0.99

#: A piece with less than this share of the area, drawn from both sides, is what a seam leaves.
STRAY = 1e-3

#: Points are in a plane where they leave it by less than this share of their spread.
IN_PLANE = 1e-5

_Numbers = NDArray[np.int64]
_Mask = NDArray[np.bool_]


def check_count(piece: _Numbers, findings: Findings) -> None:
    """Refuse a mesh that has fallen apart; piece (m,): the connected piece of each face."""
    count = int(piece.max()) + 1
    if count > MOST_PIECES:
        raise findings.fault(
            f"the mesh falls into {count} pieces that do not hang together",
            "its faces must share their vertices: join them in the CAD program and export again",
        )


def drawn_twice(
    piece: _Numbers,
    repeats: Repeats,
    owners: tuple[_Numbers, _Numbers, tuple[str, ...]],
    findings: Findings,
) -> _Mask:
    """(s,) which pieces are drawn from both sides; refuses those that are copies.

    owners: body of each face (m,), of each face with those that are listed again, and the names of bodies.
    """
    body, listed_body, names = owners
    count = int(piece.max()) + 1
    faces = np.bincount(piece, minlength=count)
    whose = piece[repeats.of]
    again = np.bincount(whose, minlength=count)
    extra_body = listed_body[repeats.extra]
    alike = repeats.same_way | (extra_body != body[repeats.of])
    doubled: _Mask = again >= ALL * faces
    twice = doubled & (np.bincount(whose[alike], minlength=count) > (1 - ALL) * faces)
    if twice.any():
        first = int(np.argmax(np.isin(whose, np.flatnonzero(twice))))
        one, two = names[body[repeats.of[first]]], names[extra_body[first]]
        said = f"the bodies '{one}' and '{two}' are the same" if one != two else "a body is there twice"
        raise findings.fault(
            f"{said}: {int(again[twice].sum())} faces are listed more than once",
            "take the copy out of the file, or its wall would be counted twice",
        )
    return doubled


def strays(
    vertices: Vertices, faces: Faces, area: Array, piece: _Numbers, doubled: _Mask, findings: Findings
) -> _Mask:
    """(m,) faces to leave out, of pieces that are drawn from both sides and as good as nothing; of larger
    ones it is said that they count once. doubled (s,): which pieces are drawn from both sides."""
    total = float(area.sum())
    stray = doubled & (summed(piece, area, len(doubled)) < STRAY * total)
    if stray.all():
        stray[:] = False
    _say_once(vertices, faces, area, (doubled & ~stray)[piece], findings)
    gone: _Mask = stray[piece]
    if gone.any():
        share = percent(float(area[gone].sum()) / total)
        findings.notes.append(
            f"{several(int(stray.sum()), 'stray piece')} with {share} of the area, each face drawn from both "
            "sides: left out"
        )
    return gone


def _say_once(vertices: Vertices, faces: Faces, area: Array, which: _Mask, findings: Findings) -> None:
    if not which.any():
        return
    once, share = float(area[which].sum()), float(area[which].sum() / area.sum())
    of_area = "" if percent(share) == "all" else f" of {percent(share)} of the area"
    if not _flat(vertices[faces[which].reshape(-1)]):
        findings.notes.append(f"each face{of_area} is drawn from both sides: it is counted once")
        return
    findings.warnings.append(
        f"a flat surface: each face{of_area} is drawn from both sides, and counted once, as {cm2(once)}; two "
        f"films on each other, as of a flat bag, have {cm2(2 * once)}: if they are meant, give the part "
        f"'area: {cm2(2 * once)}' instead of a mesh"
    )


def _flat(points: Vertices) -> bool:
    """Whether all points (k, 3) lie in one plane."""
    away = points - points.mean(axis=0)
    spread = np.linalg.eigvalsh(away.T @ away)
    return bool(spread[0] < IN_PLANE**2 * spread[2])
