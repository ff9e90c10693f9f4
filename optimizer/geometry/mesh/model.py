"""What a mesh is at each step: as read, and as cleaned and checked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.pieces import Array

Vertices = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True)
class RawBody:
    """One named object of a mesh file with the scene's transforms applied, in the unit of the file.

    vertices (n, 3), finite; faces (m, 3), numbers of vertices within range.
    """

    name: str
    vertices: Vertices
    faces: Faces


@dataclass(frozen=True)
class RawMesh:
    """A mesh file as read. name: that of the file; stated_unit: the length [m] that the file itself says is
    one unit (3MF; GLB is metres by its standard), None where the format has none. notes: what the reader did.
    """

    name: str
    bodies: tuple[RawBody, ...]
    stated_unit: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Opening:
    """A hole in a mesh whose edge lies in a plane: an open neck, the rim of a tray.

    number: from 1, largest first. area [m2] of its flat cap; perimeter [m]; centre (3,) [m] in the
    coordinates of the mesh; normal (3,): unit vector out of the package; flatness [m]: farthest that the edge
    leaves its plane; loop (k,): numbers of the vertices round it.

    body: name of the body whose edge it is, shell: number of its connected piece; empty and -1 where that was
    not looked for. flange [m2]: of the wall that lies in its plane between the room and its edge, so that gas
    passes a cover over ``clear`` only. covered_by: name of another body that lies over it, empty if none
    does; of_cover: whether it is the open side of a body that covers another opening.
    """

    number: int
    area: float
    perimeter: float
    centre: Array
    normal: Array
    flatness: float
    loop: NDArray[np.int64]
    body: str = ""
    shell: int = -1
    flange: float = 0.0
    covered_by: str = ""
    of_cover: bool = False

    @property
    def clear(self) -> float:
        """Area within the flange [m2], that of the cap where there is none."""
        return self.area - self.flange

    @property
    def diameter(self) -> float:
        """Of the circle of the same area [m]."""
        return float(2.0 * np.sqrt(self.area / np.pi))


@dataclass(frozen=True)
class MeshFacts:
    """What was found in a mesh, for the user to compare with the drawing.

    size: the three sides of the bounding box [m]; area [m2]; volume [m3] that it encloses with its openings
    capped, or None if it encloses none; faces and vertices after cleaning; bodies: connected pieces; closed:
    watertight without caps; open_edges: edges with one face only; dropped: degenerate and repeated faces left
    out; turned: faces whose winding was reversed; merged: vertices that became one with another. accounted:
    share of the area that is used, 1 where all is. wall: mean thickness of the wall as drawn [m], where the
    mesh has both its faces.
    """

    size: tuple[float, float, float]
    area: float
    volume: float | None
    faces: int
    vertices: int
    bodies: int
    closed: bool
    open_edges: int
    dropped: int
    turned: int
    merged: int = 0
    accounted: float = 1.0
    wall: float | None = None


@dataclass(frozen=True)
class Mesh:
    """A cleaned mesh in metres, its faces wound so that their normals point away from the contents.

    kind: "surface" where the mesh is one face of the wall; "walls" where it has both faces of it (two nested
    shells, or the solid of the wall), so that each face stands for half of its area. body (m,): number of the
    named body of each face, into ``bodies``. shell (m,): number of the connected piece of each face.
    slope (m,) [m] and curvature (m,) [-]: change of each face's area with the distance e by which the surface
    moves outward, area + slope e + curvature e**2 (Steiner); zero where kind is "walls". openings: those
    with an edge in a plane, and the mouths of solids; rims: edges of the outer face of a wall that is drawn
    as two shells, where its inner face has openings. volume [m3]: of the inside, openings capped, None where
    it has none or where kind is "walls" and no inside can be told. repairs: what was mended; notes: what was
    assumed; warnings: what to look into. nested: numbers, as in shell, of an inner piece and of the one that
    it lies in, for each two faces of a wall.
    """

    name: str
    vertices: Vertices
    faces: Faces
    kind: str
    bodies: tuple[str, ...]
    body: NDArray[np.int64]
    shell: NDArray[np.int64]
    area: Array
    slope: Array
    curvature: Array
    openings: tuple[Opening, ...]
    volume: float | None
    facts: MeshFacts
    repairs: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    rims: tuple[Opening, ...] = ()
    nested: tuple[tuple[int, int], ...] = ()

    @property
    def weight(self) -> float:
        """Share of each face's area that counts: a wall drawn with both faces has its middle between them."""
        return 0.5 if self.kind == "walls" else 1.0


@dataclass(frozen=True)
class Upright:
    """Which way is up in a mesh. axis: 0, 1, 2 for x, y, z; sign: +1 or -1; said: why, in words."""

    axis: int
    sign: int
    said: str
