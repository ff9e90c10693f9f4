"""PLY files, text and binary. Source, from memory: G. Turk, The PLY Polygon File Format, Stanford, 1994."""

from __future__ import annotations

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
    vertices, corners, counts = (
        _text(body, len(head) + 1, elements) if order is None else _binary(body, order, elements)
    )
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


def _binary(body: bytes, order: str, elements: list[_Element]) -> Read:
    vertices, corners = np.empty((0, 3)), (np.empty(0, np.int64), np.empty(0, np.int64))
    start = 0
    for element in elements:
        if element.name == "vertex":
            x, y, z = _coordinates(element)
            table, start = _records(body, start, order, element, {})
            # damaged numbers are refused later
            with np.errstate(invalid="ignore"):
                vertices = np.stack([table[f"p{k}"].astype(float) for k in (x, y, z)], axis=1)
        elif element.name == "face":
            corners, start = _faces(body, start, order, element)
        elif any(own.counter for own in element.properties):
            raise MeshFault(f"the PLY file has lists in {element.name}", "export vertices and faces only")
        else:
            _, start = _records(body, start, order, element, {})
    if body[start:].strip(b"\r\n"):
        raise MeshFault(
            f"has {several(len(body) - start, 'byte')} of data too many for what its header announces"
        )
    return vertices, *corners


def _records(
    body: bytes, start: int, order: str, element: _Element, lengths: dict[int, int]
) -> tuple[NDArray[np.void], int]:
    """The records of an element whose lists have the given lengths, and where they end."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    for k, own in enumerate(element.properties):
        if own.counter:
            fields.append((f"n{k}", order + own.counter))
            fields.append((f"p{k}", order + own.kind, (lengths[k],)))
        else:
            fields.append((f"p{k}", order + own.kind))
    kind = np.dtype(fields)
    whole = (len(body) - start) // kind.itemsize if kind.itemsize else element.count
    if whole < element.count:
        raise MeshFault(f"the file ends after {max(whole, 0)} of {element.count} {element.name} records")
    return np.frombuffer(body, kind, element.count, start), start + kind.itemsize * element.count


def _faces(
    body: bytes, start: int, order: str, element: _Element
) -> tuple[tuple[NDArray[np.int64], NDArray[np.int64]], int]:
    """All corners in one row with the corners of each face, and where the faces end.

    Tried first: lists as long in every face as in the first one. Otherwise face by face.
    """
    place = element.place(CORNERS)
    lists = [k for k, own in enumerate(element.properties) if own.counter]
    if place not in lists:
        raise MeshFault("the corners of the PLY file are not in lists")
    least = sum(np.dtype(own.counter or own.kind).itemsize for own in element.properties)
    if element.count > (len(body) - start) // least:
        raise MeshFault(
            f"{element.count} face records do not fit into the {len(body) - start} bytes that follow"
        )
    lengths, _, _ = _walk(body, start, order, element, min(1, element.count))
    table: NDArray[np.void] | None = None
    if element.count:
        first = {k: int(lengths[0, k]) for k in lists}
        try:
            table, end = _records(body, start, order, element, first)
        except MeshFault:
            table = None
    if table is not None and all((table[f"n{k}"] == first[k]).all() for k in lists):
        corners = table[f"p{place}"].astype(np.int64).ravel()
        counts = np.full(element.count, first[place], dtype=np.int64)
    else:
        lengths, corners, end = _walk(body, start, order, element, element.count)
        counts = lengths[:, place]
    few = np.flatnonzero(counts < 3)
    if few.size:
        raise MeshFault(f"face {few[0] + 1} has {counts[few[0]]} corners, at least 3 are needed")
    return (corners, counts), end


def _walk(
    body: bytes, start: int, order: str, element: _Element, count: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """Record by record: (count, properties) lengths of all lists, all corners in one row, where they end."""
    kinds = [
        (np.dtype(order + own.counter) if own.counter else None, np.dtype(order + own.kind))
        for own in element.properties
    ]
    place = element.place(CORNERS)
    lengths = np.ones((count, len(kinds)), dtype=np.int64)
    corners: list[NDArray[np.int64]] = []
    for record in range(count):
        for k, (counter, kind) in enumerate(kinds):
            length = 1
            if counter is not None:
                if start + counter.itemsize > len(body):
                    raise MeshFault(f"the file ends after {record} of {element.count} face records")
                length = int(np.frombuffer(body, counter, 1, start)[0])
                start += counter.itemsize
            if not 0 <= length <= (len(body) - start) // kind.itemsize:
                raise MeshFault(f"the file ends after {record} of {element.count} face records")
            if k == place:
                corners.append(np.frombuffer(body, kind, length, start).astype(np.int64))
            lengths[record, k] = length
            start += length * kind.itemsize
    return lengths, np.concatenate([np.empty(0, np.int64), *corners]), start
