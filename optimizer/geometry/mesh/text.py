"""Mesh files that are text, OBJ and STL: vertex positions and faces, everything else passed over.

Read here so that a fault can be told with its line, and because the general reader needs an image library as
soon as an OBJ file has texture coordinates. Sources of the formats, both from memory: Wavefront Advanced
Visualizer manual, appendix B1, Object Files; 3D Systems, StereoLithography Interface Specification, 1989.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Vertex numbers beyond this do not fit the arrays they are kept in.
MOST_VERTICES = 2**31


class MeshTextError(ValueError):
    """A line that cannot be read: ``line`` counts from 1."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line = line


def read_stl(text: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(3 m, 3) vertices in file units and (m, 3) faces of a text STL, one or several solids.

    The normals are not read: they follow from the order of the vertices. Raises MeshTextError.
    """
    vertices: list[list[float]] = []
    in_loop = 0
    last = 0
    for last, line in enumerate(text.splitlines(), start=1):
        words = line.split()
        word = words[0].lower() if words else ""
        if word == "vertex":
            vertices.append(_vertex(last, words[1:]))
            in_loop += 1
        elif word == "endfacet":
            if in_loop != 3:
                raise MeshTextError(last, f"a facet has {in_loop} vertices, 3 are needed")
            in_loop = 0
    if in_loop:
        raise MeshTextError(last, "the last facet has no endfacet")
    points = np.array(vertices, dtype=float).reshape(-1, 3)
    return points, np.arange(len(points), dtype=np.int64).reshape(-1, 3)


def read_obj(text: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(n, 3) vertices in file units and (m, 3) faces of an OBJ.

    Polygons are split into fans. Raises MeshTextError.
    """
    vertices: list[list[float]] = []
    faces: list[tuple[int, int, int]] = []
    for number, line in _lines(text):
        words = line.split()
        if not words or words[0] not in ("v", "f"):
            continue
        if words[0] == "v":
            vertices.append(_vertex(number, words[1:]))
        else:
            corners = [_corner(number, word, len(vertices)) for word in words[1:]]
            if len(corners) < 3:
                raise MeshTextError(number, f"a face has {len(corners)} corners, at least 3 are needed")
            faces.extend((corners[0], *pair) for pair in zip(corners[1:], corners[2:], strict=False))
    return np.array(vertices, dtype=float).reshape(-1, 3), np.array(faces, dtype=np.int64).reshape(-1, 3)


def _lines(text: str) -> list[tuple[int, str]]:
    """Lines with their numbers; comments off, and a line that ends in a backslash joined with the next."""
    out: list[tuple[int, str]] = []
    start, held = 0, ""
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.split("#", 1)[0].rstrip()
        start = start or number
        if line.endswith("\\"):
            held += line[:-1] + " "
            continue
        out.append((start, held + line))
        start, held = 0, ""
    if held:
        out.append((start, held))
    return out


def _vertex(number: int, words: list[str]) -> list[float]:
    """The first three numbers; a weight or a colour may follow."""
    if len(words) < 3:
        raise MeshTextError(number, f"a vertex has {len(words)} numbers, 3 are needed")
    try:
        return [float(word) for word in words[:3]]
    except ValueError:
        raise MeshTextError(number, f"'{' '.join(words[:3])}' are not three numbers") from None


def _corner(number: int, word: str, count: int) -> int:
    """Vertex number from 0 of a corner such as 7, 7/1, 7/1/3, 7//3, or -1 for the latest vertex."""
    try:
        index = int(word.split("/", 1)[0])
    except ValueError:
        raise MeshTextError(number, f"'{word}' is not a vertex number") from None
    if index > MOST_VERTICES:
        raise MeshTextError(number, f"a face names vertex {index}, which is not in the file")
    if index == 0 or index < -count:
        raise MeshTextError(number, f"a face names vertex {index}, but vertices count from 1")
    return index - 1 if index > 0 else count + index
