"""PLY files, text and binary. Source, from memory: G. Turk, The PLY Polygon File Format, Stanford, 1994.

trimesh decodes the binary ones. It takes all lists for as long as the first and does not look at the others:
that is checked afterwards, and where they differ (polygons of several kinds, damage) the faces are walked
through one by one. Text is read by our own lines: trimesh takes three to seven times as long for it.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import MeshFault, several
from optimizer.geometry.mesh.lines import counted_polygons, points, shown
from optimizer.geometry.mesh.model import RawBody, RawMesh, Vertices

TYPES = {
    name: code
    for code, names in {
        "i1": "char int8",
        "u1": "uchar uint8",
        "i2": "short int16",
        "u2": "ushort uint16",
        "i4": "int int32",
        "u4": "uint uint32",
        "f4": "float float32",
        "f8": "double float64",
    }.items()
    for name in names.split()
}

ORDERS = {"binary_little_endian": "<", "binary_big_endian": ">"}

CORNERS = {"vertex_indices", "vertex_index"}

END_OF_HEADER = re.compile(rb"(?m)^end_header[ \t]*(\r\n|\n|\r|\Z)")

#: Elements whose records stand for faces, but not one for each.
STRIPS = {"tristrips", "tristrip"}


@dataclass(frozen=True)
class _Property:
    """kind: code of the number type; counter: that of the length of a list, None for a single number."""

    name: str
    kind: str
    counter: str | None


@dataclass(frozen=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]

    def place(self, names: set[str]) -> int:
        """Position of the property with one of the names."""
        for place, own in enumerate(self.properties):
            if own.name in names:
                return place
        raise MeshFault(f"the PLY element {self.name} has no property {' or '.join(sorted(names))}")


def read(data: bytes, name: str) -> RawMesh:
    """Raises MeshFault."""
    end = END_OF_HEADER.search(data)
    head = data[: end.start()].decode("ascii", "replace").splitlines() if end else [""]
    if head[0].strip() != "ply" or not end:
        raise MeshFault("does not have the header of a PLY file")
    order, elements = _header(head[1:])
    for wanted in ("vertex", "face"):
        if sum(element.name == wanted for element in elements) != 1:
            lacking = "no faces" if wanted == "face" else "no one list of vertices"
            raise MeshFault(f"holds {lacking}", "export a surface of triangles, not points or lines")
    body = data[end.end() :]
    if order is None:
        vertices, corners, counts = _text(body, len(head) + 1, elements)
    else:
        vertices, corners, counts = _decoded(data, elements) or _walked(body, order, elements)
    notes: list[str] = []
    faces, _ = polygons.triangulated(vertices, corners, counts, notes)
    polygons.unused_note(len(vertices), faces, notes)
    return RawMesh(name, (RawBody(name, vertices, faces),), None, tuple(notes))


def _header(lines: list[str]) -> tuple[str | None, list[_Element]]:
    """Byte order, None for text, and the elements in their order."""
    style = ""
    names: list[tuple[str, int]] = []
    properties: list[list[_Property]] = []
    for number, line in enumerate(lines, start=2):
        match line.split():
            case [] | ["comment", *_] | ["obj_info", *_]:
                pass
            case ["format", given, "1.0"] if given == "ascii" or given in ORDERS:
                style = given
            case ["element", name, count] if count.isdecimal() and len(count) < 11:
                if name in STRIPS:
                    raise MeshFault("holds strips of triangles", "export single triangles")
                names.append((name, int(count)))
                properties.append([])
            case ["property", "list", counter, kind, name] if (
                properties and TYPES.get(counter, "f")[0] in "iu" and kind in TYPES
            ):
                properties[-1].append(_Property(name, TYPES[kind], TYPES[counter]))
            case ["property", kind, name] if properties and kind in TYPES:
                properties[-1].append(_Property(name, TYPES[kind], None))
            case _:
                raise MeshFault(f"'{shown(line.encode())}' is not a line of a PLY header", line=number)
    if not style:
        raise MeshFault("the PLY header has no format that is known: ascii or binary, 1.0")
    return ORDERS.get(style), [
        _Element(name, count, tuple(own)) for (name, count), own in zip(names, properties, strict=True)
    ]


def _coordinates(element: _Element) -> list[int]:
    if any(own.counter for own in element.properties):
        raise MeshFault("the vertices of the PLY file hold lists", "export positions only")
    return [element.place({axis}) for axis in "xyz"]


Read = tuple[Vertices, NDArray[np.int64], NDArray[np.int64]]


def _text(body: bytes, before: int, elements: list[_Element]) -> Read:
    lines = body.splitlines()
    at = [k for k, line in enumerate(lines) if line and not line.isspace()]
    announced = sum(element.count for element in elements)
    if len(at) != announced:
        raise MeshFault(f"the PLY header announces {announced} lines of data, but {len(at)} follow")
    vertices, corners = np.empty((0, 3)), (np.empty(0, np.int64), np.empty(0, np.int64))
    start = 0
    for element in elements:
        rows = at[start : start + element.count]
        start += element.count
        own, numbers = [lines[k] for k in rows], [before + k + 1 for k in rows]
        if element.name == "vertex":
            vertices = points(own, numbers, _coordinates(element))
        elif element.name == "face":
            place = element.place(CORNERS)
            if any(other.counter for other in element.properties[:place]):
                raise MeshFault("the PLY file has another list before the corners", "export triangles only")
            corners = counted_polygons(own, numbers, place)
    return vertices, *corners


def _decoded(data: bytes, elements: list[_Element]) -> Read | None:
    """By trimesh; None where it cannot, or where a list is not as long as the first of its kind."""
    from trimesh.exchange.ply import load_ply

    by_name = {element.name: element for element in elements}
    if set(by_name) != {"vertex", "face"}:
        return None
    _coordinates(by_name["vertex"])
    lists = _lists(by_name["face"])
    try:
        with np.errstate(invalid="ignore"):  # damaged numbers are refused later
            found = load_ply(io.BytesIO(data), fix_texture=False, skip_materials=True)
            vertices, faces = found["vertices"].astype(float), found["faces"].astype(np.int64)
        table = found["metadata"]["_ply_raw"]["face"]["data"]
        alike = all((table[name]["f0"] == table[name]["f1"].shape[1]).all() for name in lists)
    except Exception:  # of many kinds, for damage and for what it does not know
        return None
    if not alike or faces.shape[1] < 3:
        return None
    return vertices, faces.ravel(), np.full(len(faces), faces.shape[1])


def _lists(face: _Element) -> list[str]:
    """Names of the lists of a face, that of the corners among them."""
    corners = face.properties[face.place(CORNERS)]
    if not corners.counter:
        raise MeshFault("the corners of the PLY file are not in lists")
    return [own.name for own in face.properties if own.counter]


def _walked(body: bytes, order: str, elements: list[_Element]) -> Read:
    """Element by element and face by face, to where the file ends."""
    vertices, corners, counts = np.empty((0, 3)), np.empty(0, np.int64), np.empty(0, np.int64)
    start = 0
    for element in elements:
        if element.name == "face":
            corners, counts, start = _faces(body, start, order, element)
            continue
        places = _coordinates(element) if element.name == "vertex" else []
        if any(own.counter for own in element.properties):
            raise MeshFault(f"the PLY file has lists in {element.name}", "export vertices and faces only")
        kind = np.dtype([(f"p{k}", order + own.kind) for k, own in enumerate(element.properties)])
        fit = (len(body) - start) // max(kind.itemsize, 1)
        if fit < element.count:
            raise MeshFault(f"the file ends after {fit} of {element.count} {element.name} records")
        if places:
            table = np.frombuffer(body, kind, element.count, start)
            with np.errstate(invalid="ignore"):  # damaged numbers are refused later
                vertices = np.stack([table[f"p{k}"].astype(float) for k in places], axis=1)
        start += kind.itemsize * element.count
    if body[start:].strip(b"\r\n"):
        raise MeshFault(
            f"has {several(len(body) - start, 'byte')} of data too many for what its header announces"
        )
    return vertices, corners, counts


def _faces(
    body: bytes, start: int, order: str, element: _Element
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """All corners in one row, the corners of each face, and where the faces end."""
    _lists(element)
    least = sum(np.dtype(own.counter or own.kind).itemsize for own in element.properties)
    if element.count > (len(body) - start) // least:
        raise MeshFault(
            f"{element.count} face records do not fit into the {len(body) - start} bytes that follow"
        )
    kinds = [
        (np.dtype(order + own.counter) if own.counter else None, np.dtype(order + own.kind))
        for own in element.properties
    ]
    place = element.place(CORNERS)
    corners: list[NDArray[np.int64]] = [np.empty(0, np.int64)]
    for record in range(element.count):
        for k, (counter, kind) in enumerate(kinds):
            length = 1
            if counter is not None:
                there = start + counter.itemsize <= len(body)
                length = int(np.frombuffer(body, counter, 1, start)[0]) if there else -1
                start += counter.itemsize
            if not 0 <= length <= (len(body) - start) // kind.itemsize:
                raise MeshFault(f"the file ends after {record} of {element.count} face records")
            if k == place:
                if length < 3:
                    raise MeshFault(f"face {record + 1} has {length} corners, at least 3 are needed")
                corners.append(np.frombuffer(body, kind, length, start).astype(np.int64))
            start += length * kind.itemsize
    return np.concatenate(corners), np.array([len(row) for row in corners[1:]], dtype=np.int64), start
