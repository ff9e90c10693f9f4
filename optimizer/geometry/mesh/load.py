"""Surfaces from triangle meshes: STL, OBJ and PLY files. The only module that uses trimesh, and only to read.

A mesh carries no unit that can be trusted, so the caller states it, and the facts show what came of it.
"""

from __future__ import annotations

import io
import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import optimizer.geometry.mesh.text as meshtext
import optimizer.geometry.mesh.triangles as tri
from optimizer.errors import GeometryError
from optimizer.geometry.checks import MIDDLE_OFFSET
from optimizer.geometry.surface import Patch, Surface

FORMATS = ("stl", "obj", "ply")

DAMAGED = "the file is cut off or damaged: copy or export it again"
DAMAGED_PLY = (
    "the file is cut off or damaged, or it mixes triangles with other polygons: export triangles only"
)

#: A coordinate beyond this is damage, and its square could overflow.
LARGEST_NUMBER = 1e30

#: A package whose largest side is outside this range [m] is usually a wrong unit.
PLAUSIBLE_SIZE = 1e-3, 5.0

#: Vertices closer than this share of the diagonal are one where exact merging leaves gaps: text files round.
MERGE_SHARE = 1e-6

#: A closed mesh whose smallest side is less than this share of its largest is a sheet drawn from both sides.
FLAT_SHARE = 1e-6

#: A closed body with 2 V / A below this share of its smallest side is taken for the solid of a thin wall.
#: The share is 1/3 for a sphere and a cube, and near 1 for a flat pouch.
THIN_SHARE = 0.08


@dataclass(frozen=True)
class MeshFacts:
    """What was found in a mesh, for the user to compare with the drawing.

    size: the three sides of the bounding box [m]; area [m2]; volume [m3] or None if it encloses none; faces
    and vertices after cleaning; bodies: connected pieces; closed: watertight; open_edges: edges with one face
    only; dropped: degenerate and repeated faces left out; turned: faces whose winding was reversed.
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


@dataclass(frozen=True)
class MeshBody:
    """A mesh as a surface, and the facts about it."""

    surface: Surface
    facts: MeshFacts


def load_surface(path: Path | str, unit_in_metres: float, dimensions: str = "outside") -> Surface:
    """The surface of a mesh file; see ``load_mesh``."""
    return load_mesh(path, unit_in_metres, dimensions).surface


def load_mesh(path: Path | str, unit_in_metres: float, dimensions: str = "outside") -> MeshBody:
    """Read a mesh file in which one unit of length is ``unit_in_metres`` [m].

    dimensions: whether the mesh is the outside, inside or middle of the wall. The mid-wall area of a closed
    mesh follows from Steiner's formula; that of an open one is the area of the mesh, with a note. An open
    mesh has no volume. Raises GeometryError for a file or a mesh that cannot be used.
    """
    if dimensions not in MIDDLE_OFFSET:
        raise GeometryError(
            f"dimensions is '{dimensions}'",
            field="dimensions",
            hint="write outside, inside or middle: which face of the wall the mesh shows",
        )
    if not (math.isfinite(unit_in_metres) and unit_in_metres > 0):
        raise GeometryError(
            f"the unit of the mesh is {unit_in_metres:g} m",
            field="unit",
            hint="one unit of the mesh must be a length larger than zero, such as 1 mm",
        )
    path = Path(path)
    vertices, faces = _read(path)
    return _measure(path.name, vertices * unit_in_metres, faces, MIDDLE_OFFSET[dimensions])


def _fault(message: str, hint: str) -> GeometryError:
    return GeometryError(message, field="mesh", hint=hint)


def _read(path: Path) -> tuple[tri.Vertices, tri.Faces]:
    """Vertices in file units and faces, all finite and in range."""
    kind = path.suffix.lower().lstrip(".")
    name = path.name
    if kind not in FORMATS:
        raise _fault(
            f"{name}: a .{kind} file is not a triangle mesh that can be read",
            "export the surface as STL, OBJ or PLY; from STEP, IGES or 3MF use the CAD program's mesh export",
        )
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise _fault(f"{name}: no such file in {path.parent}", "check the name and the folder") from None
    except OSError as error:
        raise _fault(f"{name}: cannot be read ({error.strerror})", "check the file's permissions") from None
    if not data.strip():
        raise _fault(f"{name}: the file is empty", "export the mesh again")
    if kind == "obj" or (kind == "stl" and _is_text_stl(name, data)):
        vertices, faces = _parse_text(name, kind, data)
    elif kind == "stl":
        vertices, faces = _parse(name, kind, data)
    else:
        _check_ply(name, data)
        vertices, faces = _parse(name, kind, _without_texture(data))
    if not len(faces):
        raise _fault(f"{name}: holds no faces", "export a surface of triangles, not points or lines")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise _fault(f"{name}: a face names a vertex that is not in the file", DAMAGED)
    bad = int(np.count_nonzero(~(np.abs(vertices) < LARGEST_NUMBER).all(axis=1)))
    if bad:
        raise _fault(f"{name}: {bad} vertices are not finite numbers of a sensible size", DAMAGED)
    return vertices, faces


def _is_text_stl(name: str, data: bytes) -> bool:
    """A binary STL must be as long as its face count says; a text one must be finished."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if len(data) == 84 + 50 * count:
        return False
    text = data.lstrip().lower()
    if text.startswith(b"solid") and (b"facet" in text or b"endsolid" in text):
        if b"endsolid" not in text:
            raise _fault(f"{name}: the text STL has no endsolid: it is cut off", DAMAGED)
        return True
    if count < 0:
        raise _fault(f"{name}: {len(data)} bytes are too few for an STL file", DAMAGED)
    raise _fault(
        f"{name}: the binary STL announces {count} faces, {84 + 50 * count} bytes, but has {len(data)} bytes",
        DAMAGED,
    )


def _check_ply(name: str, data: bytes) -> None:
    """A text PLY must have a line for all that its header announces; the reader checks a binary one."""
    head, end, body = data.partition(b"end_header")
    lines = head.decode("ascii", "replace").split("\n")
    if lines[0].strip() != "ply" or not end:
        raise _fault(f"{name}: does not have the header of a PLY file", DAMAGED)
    words = [line.split() for line in lines]
    if ["format", "ascii", "1.0"] not in words:
        return
    announced = sum(int(w[2]) for w in words if len(w) == 3 and w[0] == "element" and w[2].isdigit())
    found = sum(1 for line in body.splitlines() if line.strip())
    if found < announced:
        raise _fault(
            f"{name}: the PLY header announces {announced} lines of data, but {found} follow", DAMAGED
        )


def _without_texture(data: bytes) -> bytes:
    """PLY data with texture coordinates renamed: the reader needs an image library when it sees them."""
    head, end, body = data.partition(b"end_header")
    words = rb"\b(texture_u|texture_v|texcoord|u|v|s|t)(\s*)$"
    return re.sub(rb"(?m)^(property\b.*)" + words, rb"\1unused_\2\3", head) + end + body


def _parse_text(name: str, kind: str, data: bytes) -> tuple[tri.Vertices, tri.Faces]:
    read = meshtext.read_obj if kind == "obj" else meshtext.read_stl
    try:
        return read(data.decode("utf-8", "replace"))
    except meshtext.MeshTextError as error:
        raise _fault(f"{name}:{error.line}: {error}", DAMAGED) from None


def _parse(name: str, kind: str, data: bytes) -> tuple[tri.Vertices, tri.Faces]:
    import trimesh  # heavy, and needed only when a project has a mesh

    try:
        with warnings.catch_warnings():
            # numpy only warns where a number cannot be read, and drops the rest of the file
            warnings.filterwarnings("error", message="string or file could not be read")
            mesh = trimesh.load_mesh(io.BytesIO(data), file_type=kind, process=False, skip_materials=True)
            vertices = np.array(mesh.vertices, dtype=float).reshape(-1, 3)
            faces = np.array(mesh.faces, dtype=np.int64).reshape(-1, 3)
    except Exception as error:  # the reader raises whatever the damage leads to
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise _fault(
            f"{name}: cannot be read as {kind.upper()} ({reason})", DAMAGED_PLY if kind == "ply" else DAMAGED
        ) from None
    return vertices, faces


def _measure(name: str, vertices: tri.Vertices, faces: tri.Faces, middle: float) -> MeshBody:
    """Clean and measure a mesh in metres, in an order that lets each step trust the one before."""
    notes: list[str] = []
    before = len(faces)
    used = vertices[np.unique(faces)]
    size = used.max(axis=0) - used.min(axis=0)
    vertices, faces, edges = _clean(vertices, faces, float(np.linalg.norm(size)), notes)
    if not len(faces) or not tri.area(vertices, faces) > 0:
        raise _fault(
            f"{name}: the mesh has no area", "its faces are points or lines: export the surface again"
        )
    dropped = before - len(faces)
    if dropped:
        notes.append(f"{dropped} degenerate or repeated faces were left out")
    if not PLAUSIBLE_SIZE[0] <= size.max() <= PLAUSIBLE_SIZE[1]:
        notes.append(f"the mesh is {_sides(size)} in size: is the unit right?")

    body = tri.bodies(len(faces), edges)
    pieces = int(body.max()) + 1
    wound = tri.unify_winding(faces, edges) if edges.closed else None
    area = tri.area(vertices, faces)
    volume: float | None = None
    room: float | None = None  # the volume, where it is that of the inside and not of the material
    patch, turned, largest = Patch(area), 0, math.inf
    if wound is None:
        notes.append(_open_note(edges, middle))
    elif not size.min() > FLAT_SHARE * size.max():
        notes.append("the mesh is flat: it has an area but encloses no volume")
    else:
        given = faces
        faces = _outward(vertices, wound, body)
        turned = int(np.count_nonzero((faces != given).any(axis=1)))
        if turned:
            notes.append(f"the winding of {turned} of {len(faces)} faces was repaired: they pointed inward")
        edges = tri.Edges(faces)
        volume = float(tri.face_volumes(vertices, faces).sum())
        euler = len(np.unique(faces)) - len(edges.ends) + len(faces)
        slope = tri.bending(vertices, faces, edges) * middle
        patch = Patch(area, 1.0, slope, 2 * math.pi * euler * middle**2)
        if pieces > 1 and _nested(vertices, faces, body, pieces):
            volume = None
            notes.append(
                "one body lies inside another, as when a wall is drawn with both its faces: the areas of "
                "both are counted; export one face of the wall only"
            )
        elif 2 * volume / area < THIN_SHARE * size.min():
            notes.append(
                f"the mesh looks like the solid of a wall about {2000 * volume / area:.2g} mm thick: inner "
                "and outer face are both counted, so the area is about double and the volume is that of the "
                "material; export one face of the wall only"
            )
        else:
            room = volume
            largest = float(size.min()) / (1 - 2 * middle) if middle < 0.5 else math.inf
    if pieces > 1:
        notes.append(f"the mesh has {pieces} separate bodies; their areas are added")
    facts = MeshFacts(
        (float(size[0]), float(size[1]), float(size[2])),
        area,
        volume,
        len(faces),
        len(np.unique(faces)),
        pieces,
        edges.closed,
        int(np.count_nonzero(edges.uses == 1)),
        dropped,
        turned,
    )
    inner = middle - 0.5
    volume_slope = 0.0 if room is None or inner == 0 else inner * area
    return MeshBody(Surface((patch,), room, volume_slope, tuple(notes), largest), facts)


def _clean(
    vertices: tri.Vertices, faces: tri.Faces, diagonal: float, notes: list[str]
) -> tuple[tri.Vertices, tri.Faces, tri.Edges]:
    """Merge vertices, exactly or where that leaves gaps nearly; drop degenerate and repeated faces."""
    exact = tri.merge(vertices, faces)
    kept = tri.drop_duplicates(tri.drop_degenerate(exact[1]))
    edges = tri.Edges(kept)
    if edges.closed or diagonal == 0:
        return exact[0], kept, edges
    near = tri.merge(*exact, MERGE_SHARE * diagonal)
    joined = tri.drop_duplicates(tri.drop_degenerate(near[1]))
    joined_edges = tri.Edges(joined)
    if np.count_nonzero(joined_edges.uses == 1) < np.count_nonzero(edges.uses == 1):
        notes.append(f"vertices closer than {MERGE_SHARE * diagonal * 1e6:.2g} um were joined to close gaps")
        return near[0], joined, joined_edges
    return exact[0], kept, edges


def _outward(vertices: tri.Vertices, faces: tri.Faces, body: tri.Faces) -> tri.Faces:
    """Every body whose volume is negative is turned inside out."""
    volumes = np.bincount(body, weights=tri.face_volumes(vertices, faces))
    flip = volumes[body] < 0
    out = faces.copy()
    out[flip] = out[flip][:, ::-1]
    return out


def _nested(vertices: tri.Vertices, faces: tri.Faces, body: tri.Faces, pieces: int) -> bool:
    """Whether the bounding box of one body lies inside that of another."""
    low = np.full((pieces, 3), np.inf)
    high = np.full((pieces, 3), -np.inf)
    for corner in range(3):
        np.minimum.at(low, body, vertices[faces[:, corner]])
        np.maximum.at(high, body, vertices[faces[:, corner]])
    return any(bool(np.any(np.all((low[k] < low) & (high < high[k]), axis=1))) for k in range(pieces))


def _open_note(edges: tri.Edges, middle: float) -> str:
    if edges.closed:
        why = "the mesh is a one-sided surface"
    else:
        why = f"the mesh is not closed ({np.count_nonzero(edges.uses == 1)} open edges"
        crossing = np.count_nonzero(edges.uses > 2)
        why += f", {crossing} edges with more than two faces)" if crossing else ")"
    tail = "; its area is taken as that of the middle of the wall" if middle else ""
    return f"{why}: it has an area but no volume{tail}"


def _sides(size: tri.Vertices) -> str:
    return " x ".join(f"{side * 1000:.4g}" for side in size) + " mm"
