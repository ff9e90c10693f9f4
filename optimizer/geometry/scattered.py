"""Values measured at scattered points, told at other points of the same surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Measured points that count at one place, and one more that sets how far they count.
_NEIGHBOURS = 8
#: Closer than this share of the distance to the next point is at the point.
_AT = 1e-9
#: Slopes that the points do not tell (across a surface, across a line) are held at zero by this share.
_HELD = 1e-4
#: Places worked on at once.
_CHUNK = 50_000


def interpolated(points: Array, values: Array, places: Array) -> tuple[Array, Array]:
    """Values (n,) at places (n, d), and the distance (n,) from each to the nearest point.

    points (k, d), no two the same; values (k,). A plane is laid through the nearest points by least squares,
    each with the weight ((R - d) / (R d))**2, where d is its distance and R that of the first that no longer
    counts: exact at the points, continuous, and within the range of the points that count. Source of the
    weights: R. Franke, G. Nielson, Smooth interpolation of large sets of scattered data, Int. J. Numer.
    Methods Eng. 15 (1980) 1691 (from memory).
    """
    from scipy.spatial import cKDTree

    count = min(len(points), _NEIGHBOURS + 1)
    distance, near = cKDTree(points).query(places, k=np.arange(1, count + 1), workers=-1)
    told = np.empty(len(places))
    for first in range(0, len(places), _CHUNK):
        part = slice(first, first + _CHUNK)
        told[part] = _planes(points, values, places[part], distance[part], near[part])
    return told, distance[:, 0]


def _planes(points: Array, values: Array, places: Array, distance: Array, near: NDArray[np.intp]) -> Array:
    if distance.shape[1] > _NEIGHBOURS:
        reach, distance, near = distance[:, -1:], distance[:, :-1], near[:, :-1]
        fade = 1.0 - distance / reach
    else:
        fade = np.ones_like(distance)
    nearest = distance[:, :1]
    at = nearest[:, 0] <= _AT * distance[:, -1]
    # all weights in terms of that of the nearest point, which stay finite as its distance goes to zero
    weight = (fade * np.where(at[:, None], 1.0, nearest) / np.where(at[:, None], 1.0, distance)) ** 2
    total = weight.sum(axis=1, keepdims=True)
    # of points that are all equally far, none fades
    weight = np.where(total > 0, weight, 1.0)
    weight /= weight.sum(axis=1, keepdims=True)
    value, from_place = values[near], points[near] - places[:, None, :]
    mean, middle = (weight * value).sum(axis=1), np.einsum("nk,nkd->nd", weight, from_place)
    apart = from_place - middle[:, None, :]
    moment = np.einsum("nk,nki,nkj->nij", weight, apart, apart, optimize=True)
    spread = np.trace(moment, axis1=1, axis2=2)
    held = np.where(spread > 0, _HELD * spread, 1.0)[:, None, None] * np.eye(points.shape[1])
    pull = np.einsum("nk,nkd->nd", weight * (value - mean[:, None]), apart)
    slope = np.linalg.solve(moment + held, pull[..., None])[..., 0]
    told = mean - np.einsum("nd,nd->n", slope, middle)
    return np.where(at, value[:, 0], np.clip(told, value.min(axis=1), value.max(axis=1)))
