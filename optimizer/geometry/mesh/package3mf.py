"""3MF files: a zip archive with models in XML. The unit is stated in the model.

Source, from memory: 3MF Consortium, 3MF Core Specification 1.3; Production Extension 1.1 for its paths.
"""

from __future__ import annotations

import io
import lzma
import posixpath
import struct
import zipfile
import zlib
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import numpy as np

from optimizer.geometry.mesh import polygons
from optimizer.geometry.mesh.fault import DAMAGED, MeshFault, several
from optimizer.geometry.mesh.model import Faces, RawMesh, Vertices
from optimizer.geometry.mesh.scene import MOST_FACES, Item, Matrix, bodies

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MODEL_LINK = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
LINKS = "http://schemas.openxmlformats.org/package/2006/relationships"

#: Metres in one unit.
UNITS = {
    "micron": 1e-6,
    "millimeter": 1e-3,
    "centimeter": 1e-2,
    "inch": 0.0254,
    "foot": 0.3048,
    "meter": 1.0,
}

#: A part of the archive larger than this is made to fill the memory; a million faces need about 0.1 GB.
LARGEST_PART = 1 << 30

#: Components inside components deeper, or objects placed more often than this, are damage.
DEEPEST, MOST_PLACED = 32, 20_000

VERTEX, TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"

#: Elements of extensions that are a body without triangles.
SHAPES = {"beamlattice", "slicestack", "volumetricstack", "implicitfunction", "levelset", "booleanshape"}

#: What the unpacking of a damaged archive ends in.
UNPACKING = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, ValueError, LookupError),
    *(NotImplementedError, RuntimeError, EOFError, OSError),
)

Key = tuple[str, str]


@dataclass
class _Object:
    """One object of a model: a mesh, or other objects with their transforms."""

    name: str
    kind: str
    vertices: Vertices = field(default_factory=lambda: np.empty((0, 3)))
    faces: Faces = field(default_factory=lambda: np.empty((0, 3), dtype=np.int64))
    parts: list[tuple[Key, Matrix]] = field(default_factory=list)


def read(data: bytes, name: str) -> RawMesh:
    """One body for every mesh that the build list places. Raises MeshFault."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            package = _Package(archive)
            notes: list[str] = []
            items = package.items(notes)
    except UNPACKING as error:
        reason = " ".join(str(error).split())[:80] or type(error).__name__
        raise MeshFault(f"the archive cannot be unpacked ({reason})") from None
    return RawMesh(name, bodies(items, name), package.unit, tuple(notes))


class _Package:
    """The archive and the models read from it so far."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self.objects: dict[Key, _Object] = {}
        self.read: set[str] = set()
        self.root = self._root()
        model = self._model(self.root)
        self.unit, self.build = model.unit, model.build

    def _part(self, path: str) -> bytes:
        try:
            info = self.archive.getinfo(path)
        except KeyError:
            raise MeshFault(f"the archive has no part {path[:80]!r}") from None
        if info.file_size > LARGEST_PART:
            raise MeshFault(
                f"{path[:80]} unpacks to {info.file_size / 1e9:.1f} GB, more than is read",
                "export a coarser mesh",
            )
        with self.archive.open(info) as stream:  # checks the CRC at the end, so all is read
            out = stream.read(info.file_size + 1)
            out += stream.read(1)
        if len(out) != info.file_size:
            raise MeshFault(f"{path[:80]} is not as long as the archive says")
        return out

    def _root(self) -> str:
        """Path of the model that the archive starts with."""
        found: list[str] = []

        def start(tag: str, given: dict[str, str]) -> None:
            if tag == f"{LINKS} Relationship" and given.get("Type") == MODEL_LINK:
                found.append(given.get("Target", "").lstrip("/"))

        _parse(self._part("_rels/.rels"), "_rels/.rels", start, None)
        if not found:
            raise MeshFault("the archive names no 3D model", f"{DAMAGED} as 3MF")
        return posixpath.normpath(found[0])

    def _model(self, path: str) -> _Model:
        model = _Model(path)
        _parse(self._part(path), path, model.start, model.end)
        if not model.unit:
            raise MeshFault(f"{path[:80]} is not a 3MF model")
        self.read.add(path)
        self.objects |= model.objects
        if path != self.root and model.unit != self.unit:
            raise MeshFault(f"{path[:80]} has another unit than {self.root[:80]}", "export it in one unit")
        return model

    def items(self, notes: list[str]) -> list[Item]:
        """Every mesh that is placed, components in components included."""
        out: list[Item] = []
        left_out, visits, faces = 0, 0, 0
        waiting = [(key, matrix, "", 0) for key, matrix in reversed(self.build)]
        while waiting:
            key, matrix, above, depth = waiting.pop()
            visits += 1
            if key[0] not in self.read:
                self._model(key[0])
            if key not in self.objects:
                raise MeshFault(f"object {key[1][:20]!r} is placed but not in the file")
            thing = self.objects[key]
            if thing.kind in ("support", "solidsupport"):
                left_out += 1
                continue
            faces += len(thing.faces)
            if depth > DEEPEST or visits > MOST_PLACED or faces > MOST_FACES:
                raise MeshFault(
                    "objects are placed in one another without end", "export fewer or simpler objects"
                )
            own = thing.name or above
            if len(thing.faces):
                out.append(Item(own, thing.vertices, thing.faces, matrix))
            for part, inner in reversed(thing.parts):
                waiting.append((part, matrix @ inner, own, depth + 1))
        if left_out:
            notes.append(f"{several(left_out, 'support')} for printing left out")
        for thing in self.objects.values():
            polygons.unused_note(len(thing.vertices), thing.faces, notes)
        return out


class _Model:
    """What one model file says, gathered while it is parsed."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.unit = 0.0
        self.objects: dict[Key, _Object] = {}
        self.build: list[tuple[Key, Matrix]] = []
        self.current: _Object | None = None
        self.coordinates: list[float] = []
        self.corners: list[int] = []

    def start(self, tag: str, given: dict[str, str]) -> None:
        """An opening tag. The first two are by far the most frequent."""
        try:
            if tag == VERTEX:
                self.coordinates += (float(given["x"]), float(given["y"]), float(given["z"]))
            elif tag == TRIANGLE:
                self.corners += (int(given["v1"]), int(given["v2"]), int(given["v3"]))
            elif tag.startswith(CORE):
                self._other(tag.partition(" ")[2], given)
            elif tag.partition(" ")[2] == "model":
                raise MeshFault(f"{self.path[:80]} is a model of another kind than 3MF core 2015/02")
            elif tag.partition(" ")[2] in SHAPES:
                raise MeshFault(f"the 3MF has a {tag.partition(' ')[2]}", "export plain triangles")
        except KeyError as error:
            raise MeshFault(f"a {tag.partition(' ')[2]} of the 3MF has no {error}") from None
        except (ValueError, OverflowError):
            raise MeshFault(f"a {tag.partition(' ')[2]} of the 3MF has {shown(given)}, not numbers") from None

    def _other(self, tag: str, given: dict[str, str]) -> None:
        if tag == "model":
            unit = given.get("unit", "millimeter")
            if unit not in UNITS:
                raise MeshFault(f"the 3MF has the unit {unit[:20]!r}", f"known are {', '.join(UNITS)}")
            self.unit = UNITS[unit]
        elif tag == "object":
            label = given.get("name") or given.get("partnumber") or ""
            self.current = _Object(" ".join(label.split()), given.get("type", "model"))
            key = (self.path, given["id"])
            if key in self.objects:
                raise MeshFault(f"the 3MF has two objects {given['id'][:20]!r}")
            self.objects[key] = self.current
        elif tag == "component" and self.current is not None:
            self.current.parts.append(self._placed(given))
        elif tag == "item":
            self.build.append(self._placed(given))

    def _placed(self, given: dict[str, str]) -> tuple[Key, Matrix]:
        """What is placed, and the transform for columns of coordinates; the file has it for rows."""
        path = given.get(f"{PRODUCTION} path", self.path).lstrip("/")
        matrix = np.eye(4)
        if "transform" in given:
            numbers = [float(word) for word in given["transform"].split()]
            if len(numbers) != 12 or not np.isfinite(numbers).all():
                raise MeshFault(f"a transform of the 3MF has {len(numbers)} numbers, 12 are needed")
            matrix[:3] = np.array(numbers).reshape(4, 3).T
        return (posixpath.normpath(path), given["objectid"]), matrix

    def end(self, tag: str) -> None:
        if tag != f"{CORE} mesh":
            return
        if self.current is not None:
            self.current.vertices = np.array(self.coordinates, dtype=float).reshape(-1, 3)
            try:
                corners = np.array(self.corners, dtype=np.int64)
            except OverflowError:
                raise MeshFault("a face names a vertex that is not in the file") from None
            polygons.check_range(corners, len(self.current.vertices))
            self.current.faces = corners.reshape(-1, 3)
        self.coordinates, self.corners = [], []


def shown(given: dict[str, str]) -> str:
    return " ".join(f"{key}={value!r:.20}" for key, value in given.items())[:80]


def _parse(data: bytes, path: str, start: Any, end: Any) -> None:
    """Run an XML file through the two handlers. Entities are refused: they can grow without end."""

    def refuse(*_: Any) -> None:
        raise MeshFault(f"{path[:80]} declares a document type", f"{DAMAGED} as 3MF without one")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, UnicodeDecodeError, LookupError, ValueError) as error:
        raise MeshFault(f"{path[:80]} cannot be read ({error})") from None
