"""GLB files: glTF 2.0 in one binary file, decoded and placed by trimesh. Lengths are metres.

trimesh fails with an error of its own, or takes without a word, what it does not know and what is damaged:
compression, fans, data past the end, positions outside the limits stated, nodes in no scene or below a
camera. So the document is checked first, and trimesh gets a plain one of the frames and triangles checked.

Source of the format, from memory: Khronos Group, glTF 2.0 Specification, sections 3 (concepts) and 4 (GLB).
"""

from __future__ import annotations

import io
import json
import struct
from typing import Any

import numpy as np

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import MeshFault, decoding, several
from optimizer.geometry.mesh.model import Faces, RawMesh, Vertices
from optimizer.geometry.mesh.scene import Item, bodies

JSON_CHUNK, BIN_CHUNK = 0x4E4F534A, 0x004E4942

#: Bytes of a number of each type that positions and corners may have, and numbers in one value.
SIZES = {5121: 1, 5123: 2, 5125: 4, 5126: 4}
WIDTHS = {"SCALAR": 1, "VEC3": 3}

TRIANGLES = 4
STRIPS = {5, 6}

#: Extensions that change nothing about the surface.
LOOKS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "MSFT_texture_", "KHR_xmp")

#: Positions may pass the limits that the file states for them by this share of its size: text rounding.
LIMIT_SHARE = 1e-3

#: Nodes inside nodes deeper than this are damage.
DEEPEST = 100

PLAIN = "export the GLB without compression, quantisation or references to other files"

Document = dict[str, Any]


def read(data: bytes, name: str) -> RawMesh:
    """One body for every node that shows a mesh. Raises MeshFault."""
    document, binary = _chunks(data)
    guard = _Guard(document, len(binary))
    notes: list[str] = []
    shown = guard.shown(notes)
    scene = _decoded(guard.plain, binary)
    decoded = list(scene.geometry.values())
    meshes = {number: guard.joined(number, decoded, notes) for number in guard.primitives}
    items = [
        Item(title, *meshes[mesh], np.array(scene.graph.get(str(node))[0], dtype=float))
        for node, mesh, title in shown
    ]
    return RawMesh(name, bodies(items, name), 1.0, tuple(notes))


def _chunks(data: bytes) -> tuple[Document, bytes]:
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


def _decoded(document: Document, binary: bytes) -> Any:
    """The scene by trimesh: a frame for every node, named by its number, and a mesh for every primitive."""
    import trimesh

    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    head = struct.pack("<4sIIII", b"glTF", 2, 28 + len(text) + len(binary), len(text), JSON_CHUNK)
    data = b"".join((head, text, struct.pack("<II", len(binary), BIN_CHUNK), binary))
    with decoding():
        return trimesh.load_scene(io.BytesIO(data), file_type="glb", process=False, validate=False)


class _Guard:
    """Looks things up in the document, says what is wrong with it, and copies what was found right."""

    def __init__(self, document: Document, length: int) -> None:
        self.document, self.length = document, length
        strange = [
            name for name in self._list(document, "extensionsRequired") if not str(name).startswith(LOOKS)
        ]
        if strange:
            raise MeshFault(f"the GLB needs {', '.join(map(str, strange))}", PLAIN)
        self.plain: Document = {"asset": {"version": "2.0"}, "buffers": [{"byteLength": length}]}
        self.plain |= {key: [] for key in ("meshes", "accessors", "bufferViews")}
        #: for every mesh the accessors of positions of its primitives, with their places among those decoded
        self.primitives: dict[int, list[tuple[int, int]]] = {}

    def _list(self, where: Document, key: str) -> list[Any]:
        found = where.get(key, [])
        if not isinstance(found, list):
            raise MeshFault(f"the GLB has {key} that are not a list")
        return found

    def _get(self, key: str, number: Any) -> Document:
        """Entry ``number`` of one of the document's lists."""
        entries = self._list(self.document, key)
        whole = isinstance(number, int) and not isinstance(number, bool)
        if not whole or not 0 <= number < len(entries) or not isinstance(entries[number], dict):
            raise MeshFault(f"the GLB refers to {key} {number!r:.20}, which it does not have")
        found: Document = entries[number]
        return found

    def shown(self, notes: list[str]) -> list[tuple[int, int, str]]:
        """Every node of the scene that has a mesh, that mesh, and a name."""
        nodes = [self._get("nodes", k) for k in range(len(self._list(self.document, "nodes")))]
        if "scenes" in self.document:
            roots = self._list(self._get("scenes", self.document.get("scene", 0)), "nodes")
        else:
            hung = {str(child) for node in nodes for child in self._list(node, "children")}
            roots = [k for k in range(len(nodes)) if str(k) not in hung]
        frames: list[Document] = [{"name": str(k)} for k in range(len(nodes))]
        self.plain |= {"scenes": [{"nodes": roots}], "scene": 0, "nodes": frames}
        seen: set[int] = set()
        out: list[tuple[int, int, str]] = []
        waiting: list[tuple[Any, int]] = [(root, 0) for root in reversed(roots)]
        while waiting:
            number, depth = waiting.pop()
            node = self._get("nodes", number)
            if number in seen or depth > DEEPEST:
                raise MeshFault(f"node {number} of the GLB has two parents or hangs in itself")
            seen.add(number)
            below = self._list(node, "children")
            frames[number] |= _place(node) | {"children": below}
            waiting.extend((child, depth + 1) for child in reversed(below))
            if "mesh" in node and self._has_faces(node, notes):
                given = node.get("name") or self._get("meshes", node["mesh"]).get("name")
                out.append((number, node["mesh"], str(given or f"object {len(out) + 1}")))
        hidden = sum("mesh" in node for k, node in enumerate(nodes) if k not in seen)
        if hidden:
            notes.append(f"check: {several(hidden, 'object')} in no scene that is shown, left out")
        return out

    def _has_faces(self, node: Document, notes: list[str]) -> bool:
        """Copies the triangles of a node's mesh, each primitive as a mesh of its own."""
        if "skin" in node:
            raise MeshFault("the GLB has a mesh bent by a skin", "export it in its final shape")
        number = node["mesh"]
        mesh = self._get("meshes", number)
        if number not in self.primitives:
            self.primitives[number] = []
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
                self._triangles(number, where, primitive)
        return bool(self.primitives[number])

    def _triangles(self, mesh: int, where: int, primitive: Document) -> None:
        copy: Document = {"attributes": {"POSITION": self._accessor(where, "VEC3", {5126})}}
        corners = where
        if "indices" in primitive:
            corners = primitive["indices"]
            copy["indices"] = self._accessor(corners, "SCALAR", {5121, 5123, 5125})
        count = self._get("accessors", corners)["count"]
        if count % 3:
            raise MeshFault(f"the GLB lists {count} corners of triangles, not a multiple of 3")
        if count:
            self.primitives[mesh].append((where, len(self.plain["meshes"])))
            self.plain["meshes"].append({"primitives": [copy]})

    def _accessor(self, number: Any, shape: str, allowed: set[int]) -> int:
        """Number of the copy of an accessor that is plain and within the binary chunk."""
        accessor = self._get("accessors", number)
        component, count = accessor.get("componentType"), accessor.get("count", -1)
        if accessor.get("type") != shape or component not in allowed:
            raise MeshFault("the GLB has positions or corners of a type that is not plain glTF 2.0", PLAIN)
        if "sparse" in accessor or "bufferView" not in accessor:
            raise MeshFault("the GLB has sparse data", PLAIN)
        view = self._get("bufferViews", accessor["bufferView"])
        if view.get("buffer") != 0 or "uri" in self._get("buffers", 0):
            raise MeshFault("the GLB refers to another file", PLAIN)
        size = SIZES[component] * WIDTHS[shape]
        offset, step = accessor.get("byteOffset", 0), view.get("byteStride", size)
        begin, length = view.get("byteOffset", 0), view.get("byteLength")
        whole = (count, offset, step, begin, length)
        if not all(isinstance(n, int) and n >= 0 for n in whole) or step < size:
            raise MeshFault("the GLB has lengths that are not whole numbers")
        needed = offset + step * (count - 1) + size if count else offset
        if needed > length or begin + length > self.length:
            raise MeshFault(f"the GLB needs data past the end of its {self.length} bytes")
        stride = {} if step == size else {"byteStride": step}
        copies = self.plain["accessors"]
        self.plain["bufferViews"].append({"buffer": 0, "byteOffset": begin, "byteLength": length, **stride})
        copies.append({"bufferView": len(copies), "byteOffset": offset, "count": count})
        copies[-1] |= {"componentType": component, "type": shape}
        return len(copies) - 1

    def joined(self, number: int, decoded: list[Any], notes: list[str]) -> tuple[Vertices, Faces]:
        """One mesh of its primitives as decoded; those that share their positions keep sharing them."""
        starts: dict[int, int] = {}
        positions, faces, total = [np.empty((0, 3))], [np.empty((0, 3), dtype=np.int64)], 0
        for where, place in self.primitives[number]:
            vertices = np.array(decoded[place].vertices, dtype=float)
            corners = np.array(decoded[place].faces, dtype=np.int64)
            polygons.check_range(corners, len(vertices))
            if where not in starts:
                _check_limits(self._get("accessors", where), vertices)
                starts[where] = total
                positions.append(vertices)
                total += len(vertices)
            faces.append(corners + starts[where])
        joined = np.concatenate(faces)
        polygons.unused_note(total, joined, notes)
        return np.concatenate(positions), joined


def _positions(primitive: Any) -> int:
    """Number of the accessor of a primitive's positions."""
    attributes = primitive.get("attributes") if isinstance(primitive, dict) else None
    where = attributes.get("POSITION") if isinstance(attributes, dict) else None
    if not isinstance(where, int):
        raise MeshFault("the GLB has a primitive without positions")
    return where


def _check_limits(accessor: Document, vertices: Vertices) -> None:
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


def _place(node: Document) -> Document:
    """What places a node, checked: its matrix, or how it is scaled, turned and moved."""
    lengths = {"matrix": 16} if "matrix" in node else {"translation": 3, "rotation": 4, "scale": 3}
    found = {key: _numbers(node[key], count) for key, count in lengths.items() if key in node}
    if "rotation" in found and not 0.99 < float(np.linalg.norm(found["rotation"])) < 1.01:
        raise MeshFault("a node of the GLB has a rotation that is not a unit quaternion")
    return dict(found)


def _numbers(given: Any, count: int) -> list[float]:
    try:
        out = np.array(given, dtype=float)
    except (TypeError, ValueError):
        out = np.empty(0)
    if out.shape != (count,) or not np.isfinite(out).all():
        raise MeshFault(f"a node of the GLB has a transform that is not {count} numbers")
    return [float(number) for number in out]
