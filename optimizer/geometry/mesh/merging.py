"""The safe repairs of a mesh's tables: vertices that are one, faces of no extent, faces listed twice.

vertices: (n, 3) float array; faces: (m, 3) integer array of vertex numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.model import Faces, Vertices
from optimizer.geometry.mesh.triangles import connected

#: Odd numbers with well-mixed bits, to make one key of a row of three.
_MIX = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)


def group_rows(rows: NDArray[np.uint64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Equal rows of (n, 3): the first row of each group, in order (g,), and the group of each row (n,)."""
    keys = np.zeros(len(rows), dtype=np.uint64)
    for column in range(rows.shape[1]):
        keys ^= rows[:, column]
        keys *= _MIX[column]
        keys ^= keys >> np.uint64(29)
    order = np.argsort(keys, kind="stable")
    first, number = _numbered(order, _changes(keys[order]))
    if any((column[first][number] != column).any() for column in rows.T):
        # two different rows have made the same key
        order = np.lexsort(rows.T)
        fresh = np.any([_changes(rows[order, k]) for k in range(rows.shape[1])], axis=0)
        first, number = _numbered(order, fresh)
    return first, number


def _numbered(
    order: NDArray[np.int64], fresh: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """As ``group_rows``, from rows in a stable order (n,) and whether a group begins at each place there."""
    starts = order[fresh]
    leads = np.zeros(len(order), dtype=bool)
    leads[starts] = True
    number = np.empty(len(order), dtype=np.int64)
    number[order] = (np.cumsum(leads) - 1)[starts][np.cumsum(fresh) - 1]
    return np.flatnonzero(leads), number


def _changes(values: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """(n,) whether a value differs from the one before; true for the first."""
    fresh = np.ones(len(values), dtype=bool)
    fresh[1:] = values[1:] != values[:-1]
    return fresh


def merge(vertices: Vertices, faces: Faces) -> tuple[Vertices, Faces]:
    """Vertices that are equal become one, and those that no face uses go."""
    vertices, faces = compact(vertices, faces)
    # adding zero makes one of plus and minus zero, which are equal but differ in their bits
    first, number = group_rows((vertices + 0.0).view(np.uint64))
    if len(first) == len(vertices):
        return vertices, faces
    return vertices[first], number[faces]


def compact(vertices: Vertices, faces: Faces) -> tuple[Vertices, Faces]:
    """Without the vertices that no face uses."""
    used = in_use(len(vertices), faces)
    return (vertices, faces) if used.all() else (vertices[used], (np.cumsum(used) - 1)[faces])


def in_use(count: int, faces: Faces) -> NDArray[np.bool_]:
    """(count,) which vertices some face uses."""
    used = np.zeros(count, dtype=bool)
    used[faces.reshape(-1)] = True
    return used


def join_near(vertices: Vertices, faces: Faces, rim: NDArray[np.int64], reach: float) -> Faces:
    """Faces in which vertices of ``rim`` (k,) within ``reach`` of each other are one, also in chains."""
    from scipy.spatial import cKDTree

    # most of them fall together in a fine grid; the tree finds those that the grid has parted
    cells = np.round(vertices[rim] / (reach / 2)) + 0.0
    first, cell = group_rows(cells.view(np.uint64))
    pairs = cKDTree(vertices[rim[first]]).query_pairs(reach, output_type="ndarray")
    if not len(pairs) and len(first) == len(rim):
        return faces
    label = connected(len(first), pairs[:, 0], pairs[:, 1])[cell]
    leader = np.full(len(first), len(vertices), dtype=np.int64)
    np.minimum.at(leader, label, rim)
    number = np.arange(len(vertices))
    number[rim] = leader[label]
    joined: Faces = number[faces]
    return joined


def proper(faces: Faces) -> NDArray[np.bool_]:
    """(m,) whether a face uses three different vertices."""
    a, b, c = faces.T
    kept: NDArray[np.bool_] = (a != b) & (b != c) & (c != a)
    return kept


@dataclass(frozen=True)
class Repeats:
    """Faces that are listed more than once, whichever way round.

    kept: (g,) numbers of the faces that stay, the first of each; extra: (r,) numbers of the others; of: (r,)
    which of ``kept`` each of these repeats; same_way: (r,) whether it is also wound as that one.
    """

    kept: NDArray[np.int64]
    extra: NDArray[np.int64]
    of: NDArray[np.int64]
    same_way: NDArray[np.bool_]


def no_repeats(count: int) -> Repeats:
    """Of so many faces that all differ."""
    none = np.empty(0, dtype=np.int64)
    return Repeats(np.arange(count), none, none, np.empty(0, dtype=bool))


def repeats(faces: Faces) -> Repeats:
    """Repeated faces among proper ones."""
    a, b, c = faces.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    rows = np.stack([low, a + b + c - low - high, high], axis=1).astype(np.uint64)
    kept, number = group_rows(rows)
    extra = np.setdiff1d(np.arange(len(faces)), kept, assume_unique=True)
    # of the three steps round a face two go up when it runs low, middle, high, and one when it runs back
    even = (a < b).astype(int) + (b < c) + (c < a) == 2
    of = number[extra]
    return Repeats(kept, extra, of, even[extra] == even[kept[of]])
