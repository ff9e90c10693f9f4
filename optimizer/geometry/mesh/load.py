"""A mesh file as a cleaned mesh, or as the surface of a part in one patch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from optimizer.geometry.mesh.clean import check_unit, clean
from optimizer.geometry.mesh.files import read
from optimizer.geometry.mesh.model import Mesh
from optimizer.geometry.mesh.pieces import middle_of, whole_surface
from optimizer.geometry.mesh.solids import Shows
from optimizer.geometry.surface import Surface


def load(
    path: Path | str,
    unit: float,
    shows: Shows | None = None,
    contents: Callable[[Path], bytes] = Path.read_bytes,
) -> Mesh:
    """Read, clean and measure a mesh file in which one unit of length is ``unit`` [m].

    shows: which faces of the wall the file has, where the user says so; see ``clean``. contents: gives
    the bytes of the file.
    Raises GeometryError for a file or a mesh that cannot be used.
    """
    check_unit(unit)
    path = Path(path)
    return clean(replace(read(path, contents), name=path.name), unit, shows)


def load_surface(path: Path | str, unit: float, dimensions: str = "outside") -> Surface:
    """The whole of a mesh file as one patch of even thickness; see ``load`` and ``whole_surface``."""
    middle_of(dimensions)  # a wrong word is told before a large file is read
    return whole_surface(load(path, unit), dimensions)
