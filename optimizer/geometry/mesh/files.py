"""Triangle meshes from files: which reader takes which file, and what holds for all of them.

Decoded by trimesh, a general mesh library: STL, binary PLY and GLB. Guards of our own stand before and behind
it, because it takes some damage without a word and tells of the rest in its own terms, without a line.
Read by our own lines, because trimesh (4.6 to 5.2) gets them wrong or is slow (times for 400,000 faces):
* OBJ: it counts relative numbers (-1) from the end of the file, so that an object gets the corners of a later
  one; drops faces of two corners; fails at a comment behind numbers; splits polygons with a dent wrongly.
* 3MF: it leaves out items whose object is in another model of the archive, places all objects of that model
  where one is meant, mixes up objects of one number in two models, and takes supports for printing as bodies.
* OFF and text PLY: 1.7 s and 1.4 s, ours 0.4 s; polygons with a dent are split wrongly.
trimesh is imported when a file needs it: that takes half a second.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import cast

import numpy as np

from optimizer.errors import GeometryError
from optimizer.geometry.mesh.fault import DAMAGED, MeshFault
from optimizer.geometry.mesh.model import RawMesh

#: Endings, and the module that reads such a file.
READERS = {"stl": "stl", "obj": "obj", "ply": "ply", "off": "off", "glb": "glb", "3mf": "package3mf"}
TEXT_ONLY = ("obj", "off")

#: A coordinate beyond this is damage, and its square could overflow.
LARGEST_NUMBER = 1e30

#: A file larger than this [bytes] would fill the memory.
LARGEST_FILE = 4_000_000_000

EXPORT = "export the surface as STL, OBJ, PLY, OFF, GLB or 3MF"


def read(path: Path, contents: Callable[[Path], bytes] = Path.read_bytes) -> RawMesh:
    """The bodies of a mesh file in its own unit, with its transforms applied; ``contents`` gives its bytes.

    All coordinates are finite and every face names vertices that are there. Notes that begin with "check: "
    tell of what may be damage. Raises GeometryError for a file that cannot be used.
    """
    try:
        kind = path.suffix.lower().lstrip(".")
        if kind not in READERS:
            raise MeshFault(f"a .{kind} file is not a triangle mesh that can be read", _export_hint(kind))
        data = _bytes(path, contents)
        if kind in TEXT_ONLY and b"\0" in data:
            raise MeshFault(f"has zero bytes, which no text of an {kind.upper()} file has")
        mesh = cast(RawMesh, import_module(f"optimizer.geometry.mesh.{READERS[kind]}").read(data, path.stem))
        _check(mesh)
    except MeshFault as fault:
        where = f"{path.name}:{fault.line}" if fault.line else path.name
        raise GeometryError(f"{where}: {fault.message}", field="mesh", hint=fault.hint) from None
    except MemoryError:
        raise GeometryError(
            f"{path.name}: too large for the memory", field="mesh", hint="export a coarser mesh"
        ) from None
    return mesh


def _export_hint(kind: str) -> str:
    if kind in ("step", "stp", "iges", "igs", "x_t", "sat", "brep"):
        return f"{EXPORT} with the CAD program's mesh export"
    if kind == "gltf":
        return "export it as GLB, which has all in one file"
    return EXPORT + "; from STEP or IGES use the CAD program's mesh export"


def _bytes(path: Path, contents: Callable[[Path], bytes]) -> bytes:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise MeshFault("the file is larger than 4 GB", "export a coarser mesh")
        data = contents(path)
    except FileNotFoundError:
        raise MeshFault(f"no such file in {path.parent}", "check the name and the folder") from None
    except OSError as error:
        raise MeshFault(f"cannot be read ({error.strerror})", "check the file's permissions") from None
    if not data.strip():
        raise MeshFault("the file is empty", "export the mesh again")
    return data


def _check(mesh: RawMesh) -> None:
    """What is asked of every file whatever its format."""
    if not any(len(body.faces) for body in mesh.bodies):
        raise MeshFault("holds no faces", "export a surface of triangles, not points or lines")
    bad = sum(
        int(np.count_nonzero(~(np.abs(body.vertices) < LARGEST_NUMBER).all(axis=1))) for body in mesh.bodies
    )
    if bad:
        raise MeshFault(f"{bad} vertices are not finite numbers of a sensible size", DAMAGED)
    for body in mesh.bodies:
        if len(body.faces) and not (body.faces.min() >= 0 and body.faces.max() < len(body.vertices)):
            raise MeshFault("a face names a vertex that is not in the file", DAMAGED)
