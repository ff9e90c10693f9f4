"""The mesh of ``examples/lightweight_bottle``: outer face of an invented juice bottle with an open neck.

The cross-section is a rounded square in the body and round at the neck, so no shape of the project file fits
it. ``python tests/examples/bottle_mesh.py`` writes the file anew.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FILE = Path(__file__).parents[2] / "examples/lightweight_bottle/bottle.stl"
#: Facets round the bottle.
ROUND = 96
#: Outline from the middle of the base to the rim: height, half width [mm], and exponent of the section.
#: A point of the section has |x|^n + |y|^n = (half width)^n: a circle for 2, nearly a square for 5.
OUTLINE = (
    (5.0, 0.0, 2.0),      # push-up of the base
    (4.2, 12.0, 2.0),
    (0.0, 24.0, 3.0),     # it stands on this ring
    (0.4, 28.0, 3.6),
    (3.0, 32.0, 4.2),
    (8.0, 34.2, 4.5),     # heel
    (12.0, 34.5, 4.5),
    (16.0, 33.9, 4.5),
    (20.0, 33.6, 4.5),    # label panel
    (120.0, 33.6, 4.5),
    (124.0, 33.9, 4.5),
    (128.0, 34.5, 4.4),
    (140.0, 34.5, 4.0),   # shoulder
    (155.0, 33.0, 3.4),
    (170.0, 29.6, 2.9),
    (185.0, 24.8, 2.5),
    (200.0, 19.8, 2.2),
    (210.0, 17.4, 2.0),
    (215.0, 16.5, 2.0),   # neck
    (236.0, 16.5, 2.0),
)  # fmt: skip
#: Longest step along the outline [mm].
_STEP = 8.0


def outline() -> Array:
    """Rows of height, half width and exponent, closer together than those of ``OUTLINE``: (k, 3)."""
    given = np.array(OUTLINE)
    rows = [given[:1]]
    for low, high in zip(given[:-1], given[1:], strict=True):
        count = int(np.ceil(np.hypot(*(high - low)[:2]) / _STEP))
        rows.append(low + (high - low) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(rows)


def section(half_width: float, exponent: float) -> Array:
    """Points of one ring, (ROUND, 2) [mm], anticlockwise seen from above."""
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    points: Array = half_width * way / (np.abs(way) ** exponent).sum(axis=1, keepdims=True) ** (1 / exponent)
    return points


def triangles() -> Array:
    """Corners of the faces, (n, 3, 3) [mm], rounded to a micrometre; anticlockwise seen from outside."""
    rows = outline()
    rings = np.stack([np.column_stack([section(w, n), np.full(ROUND, z)]).round(3) for z, w, n in rows])
    low, high = rings[:-1], rings[1:]
    low_next, high_next = np.roll(low, -1, axis=1), np.roll(high, -1, axis=1)
    faces = np.concatenate(
        [np.stack([low, low_next, high_next], 2)[1:], np.stack([low, high_next, high], 2)]
    ).reshape(-1, 3, 3)
    return faces


def stl() -> bytes:
    """The file: binary STL, 80 bytes of heading, number of faces, then normal and corners of each."""
    corners = triangles()
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    faces = np.zeros(len(corners), dtype=[("places", "<f4", (4, 3)), ("attribute", "<u2")])
    faces["places"] = np.concatenate([normal[:, None], corners], axis=1)
    heading = b"invented juice bottle, outer face, mm".ljust(80)
    return heading + np.uint32(len(corners)).tobytes() + faces.tobytes()


if __name__ == "__main__":
    FILE.write_bytes(stl())
