"""GLB files: glTF 2.0 in one binary file. Lengths are metres and transforms are applied.

Source, from memory: Khronos Group, glTF 2.0 Specification, sections 3 (concepts) and 4 (GLB file format).
"""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import MeshFault, several
from optimizer.geometry.mesh.model import Faces, RawMesh, Vertices
from optimizer.geometry.mesh.scene import Item, Matrix, bodies

JSON_CHUNK, BIN_CHUNK = 0x4E4F534A, 0x004E4942

COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}

TRIANGLES = 4
STRIPS = {5, 6}

#: Extensions that change nothing about the surface.
LOOKS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "MSFT_texture_", "KHR_xmp")

#: Positions may pass the limits that the file states for them by this share of its size: text rounding.
LIMIT_SHARE = 1e-3

#: Nodes inside nodes deeper than this are damage.
DEEPEST = 100

PLAIN = "export the GLB without compression, quantisation or references to other files"

Pair = tuple[Vertices, Faces]


def read(data: bytes, name: str) -> RawMesh:
    """One body for every node that shows a mesh. Raises MeshFault."""
    reader = _Reader(*_chunks(data))
    notes: list[str] = []
    items = reader.items(notes)
    return RawMesh(name, bodies(items, name), 1.0, tuple(notes))


def _chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The document and the binary chunk."""
    if len(data) < 20 or data[:4] != b"glTF":
        raise MeshFault("does not begin as a GLB file")
    version, length = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise MeshFault(f"is GLB version {version}", "export glTF 2.0, the version this program reads")
    if length != len(data):
        raise MeshFault(f"the GLB announces {length} bytes, but has {len(data)}")
    chunks: list[tuple[int, bytes]] = []
    start = 12
    while start < length:
        if start + 8 > length:
            raise MeshFault("the last GLB chunk is cut off")
        size, kind = struct.unpack_from("<II", data, start)
        if start + 8 + size > length:
            raise MeshFault(f"GLB chunk {len(chunks) + 1} announces {size} bytes, but fewer follow")
        chunks.append((kind, data[start + 8 : start + 8 + size]))
        start += 8 + size
    if chunks[0][0] != JSON_CHUNK:
        raise MeshFault("the first GLB chunk is not the document")
    try:
        document = json.loads(chunks[0][1].decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise MeshFault(f"the document inside the GLB cannot be read ({error})") from None
    if not isinstance(document, dict):
        raise MeshFault("the document inside the GLB is not a glTF document")
    binary = [content for kind, content in chunks[1:2] if kind == BIN_CHUNK]
    return document, binary[0] if binary else b""


class _Reader:
    """Looks things up in the document, and says what is wrong with it."""

    def __init__(self, document: dict[str, Any], binary: bytes) -> None:
        self.document, self.binary = document, binary
        strange = [
            name for name in self._list(document, "extensionsRequired") if not str(name).startswith(LOOKS)
        ]
        if strange:
            raise MeshFault(f"the GLB needs {', '.join(map(str, strange))}", PLAIN)
        self.meshes: dict[int, Pair] = {}

    def _list(self, where: dict[str, Any], key: str) -> list[Any]:
        found = where.get(key, [])
        if not isinstance(found, list):
            raise MeshFault(f"the GLB has {key} that are not a list")
        return found

    def _get(self, key: str, number: Any) -> dict[str, Any]:
        """Entry ``number`` of one of the document's lists."""
        entries = self._list(self.document, key)
        whole = isinstance(number, int) and not isinstance(number, bool)
        if not whole or not 0 <= number < len(entries) or not isinstance(entries[number], dict):
            raise MeshFault(f"the GLB refers to {key} {number!r:.20}, which it does not have")
        found: dict[str, Any] = entries[number]
        return found

    def items(self, notes: list[str]) -> list[Item]:
        """Every node of the scene that has a mesh."""
        nodes = self._list(self.document, "nodes")
        if "scenes" in self.document:
            roots = self._list(self._get("scenes", self.document.get("scene", 0)), "nodes")
        else:
            children = {
                child
                for k in range(len(nodes))
                for child in self._list(self._get("nodes", k), "children")
                if isinstance(child, int)
            }
            roots = [k for k in range(len(nodes)) if k not in children]
        seen: set[int] = set()
        out: list[Item] = []
        waiting: list[tuple[Any, Matrix, int]] = [(root, np.eye(4), 0) for root in reversed(roots)]
        while waiting:
            number, above, depth = waiting.pop()
            node = self._get("nodes", number)
            if number in seen or depth > DEEPEST:
                raise MeshFault(f"node {number} of the GLB has two parents or hangs in itself")
            seen.add(number)
            matrix = above @ _matrix(node)
            waiting.extend((child, matrix, depth + 1) for child in reversed(self._list(node, "children")))
            if "mesh" in node:
                self._show(node, matrix, out, notes)
        hidden = sum("mesh" in self._get("nodes", k) for k in range(len(nodes)) if k not in seen)
        if hidden:
            notes.append(f"check: {several(hidden, 'object')} in no scene that is shown, left out")
        return out

    def _show(self, node: dict[str, Any], matrix: Matrix, out: list[Item], notes: list[str]) -> None:
        if "skin" in node:
            raise MeshFault("the GLB has a mesh bent by a skin", "export it in its final shape")
        number = node["mesh"]
        mesh = self._get("meshes", number)
        if number not in self.meshes:
            self.meshes[number] = self._mesh(mesh, notes)
        vertices, faces = self.meshes[number]
        given = node.get("name") or mesh.get("name") or f"object {len(out) + 1}"
        if len(faces):
            out.append(Item(str(given), vertices, faces, matrix))

    def _mesh(self, mesh: dict[str, Any], notes: list[str]) -> Pair:
        """Positions and faces of all primitives; those that share their positions keep sharing them."""
        positions: dict[Any, Vertices] = {}
        starts: dict[Any, int] = {}
        total = 0
        faces = [np.empty((0, 3), dtype=np.int64)]
        for primitive in self._list(mesh, "primitives"):
            where = _positions(primitive)
            mode = primitive.get("mode", TRIANGLES)
            if mode in STRIPS:
                raise MeshFault("the GLB holds strips or fans of triangles", "export single triangles")
            if mode != TRIANGLES:
                notes.append("points or lines left out")
                continue
            if "targets" in primitive:
                notes.append("check: shapes to blend towards left out")
            if where not in positions:
                with np.errstate(invalid="ignore"):  # damaged numbers are refused later
                    positions[where] = self._accessor(where, "VEC3", {5126}).astype(float)
                self._check_limits(self._get("accessors", where), positions[where])
                starts[where] = total
                total += len(positions[where])
            faces.append(self._faces(primitive, len(positions[where])) + starts[where])
        joined = np.concatenate(faces)
        polygons.unused_note(total, joined, notes)
        return np.concatenate([np.empty((0, 3)), *positions.values()]), joined

    def _faces(self, primitive: dict[str, Any], vertices: int) -> Faces:
        if "indices" in primitive:
            found = self._accessor(primitive["indices"], "SCALAR", {5121, 5123, 5125})
            corners = found.astype(np.int64).ravel()
        else:
            corners = np.arange(vertices, dtype=np.int64)
        if len(corners) % 3:
            raise MeshFault(f"the GLB lists {len(corners)} corners of triangles, not a multiple of 3")
        polygons.check_range(corners, vertices)
        return corners.reshape(-1, 3)

    def _accessor(self, number: Any, shape: str, allowed: set[int]) -> NDArray[Any]:
        """(n, width) values."""
        accessor = self._get("accessors", number)
        component, count = accessor.get("componentType"), accessor.get("count", -1)
        if accessor.get("type") != shape or component not in allowed:
            raise MeshFault("the GLB has positions or corners of a type that is not plain glTF 2.0", PLAIN)
        if "sparse" in accessor or "bufferView" not in accessor:
            raise MeshFault("the GLB has sparse data", PLAIN)
        view = self._get("bufferViews", accessor["bufferView"])
        buffer = self._get("buffers", view.get("buffer"))
        if view.get("buffer") != 0 or "uri" in buffer:
            raise MeshFault("the GLB refers to another file", PLAIN)
        kind = np.dtype(COMPONENTS[component])
        size = kind.itemsize * WIDTHS[shape]
        offset, step = accessor.get("byteOffset", 0), view.get("byteStride", size)
        begin, length = view.get("byteOffset", 0), view.get("byteLength")
        whole = (count, offset, step, begin, length)
        if not all(isinstance(n, int) and n >= 0 for n in whole) or step < size:
            raise MeshFault("the GLB has lengths that are not whole numbers")
        needed = offset + step * (count - 1) + size if count else offset
        if needed > length or begin + length > len(self.binary):
            raise MeshFault(f"the GLB needs data past the end of its {len(self.binary)} bytes")
        return np.ndarray((count, WIDTHS[shape]), kind, self.binary, begin + offset, (step, kind.itemsize))

    def _check_limits(self, accessor: dict[str, Any], vertices: Vertices) -> None:
        """The standard asks for the least and largest of the positions: a moved vertex shows here."""
        stated = [accessor.get("min"), accessor.get("max")]
        if not len(vertices) or stated == [None, None]:
            return
        try:
            low, high = (np.array(row, dtype=float).reshape(3) for row in stated)
        except (TypeError, ValueError):
            raise MeshFault("the GLB states limits of the positions that are not numbers") from None
        with np.errstate(invalid="ignore"):
            slack = LIMIT_SHARE * float(np.max(high - low))
            off = np.abs(vertices.min(axis=0) - low) + np.abs(vertices.max(axis=0) - high)
        if not (off <= slack).all():
            raise MeshFault("positions of the GLB are not within the limits that it states for them")


def _positions(primitive: Any) -> int:
    """Number of the accessor of a primitive's positions."""
    attributes = primitive.get("attributes") if isinstance(primitive, dict) else None
    where = attributes.get("POSITION") if isinstance(attributes, dict) else None
    if not isinstance(where, int):
        raise MeshFault("the GLB has a primitive without positions")
    return where


def _matrix(node: dict[str, Any]) -> Matrix:
    """The transform of a node, for columns of coordinates."""
    if "matrix" in node:
        return _numbers(node["matrix"], 16).reshape(4, 4).T
    out = np.eye(4)
    x, y, z, w = _numbers(node.get("rotation", [0, 0, 0, 1]), 4)
    length = np.sqrt(x * x + y * y + z * z + w * w)
    if not 0.99 < length < 1.01:
        raise MeshFault("a node of the GLB has a rotation that is not a unit quaternion")
    x, y, z, w = (float(part / length) for part in (x, y, z, w))
    out[:3, :3] = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    out[:3, :3] *= _numbers(node.get("scale", [1, 1, 1]), 3)
    out[:3, 3] = _numbers(node.get("translation", [0, 0, 0]), 3)
    return out


def _numbers(given: Any, count: int) -> NDArray[np.float64]:
    try:
        out = np.array(given, dtype=float)
    except (TypeError, ValueError):
        out = np.empty(0)
    if out.shape != (count,) or not np.isfinite(out).all():
        raise MeshFault(f"a node of the GLB has a transform that is not {count} numbers")
    return out
