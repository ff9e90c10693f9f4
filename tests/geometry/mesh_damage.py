"""Sound meshes of three packages, and the ways in which a file of one can be damaged."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable

import numpy as np
import trimesh

KINDS = ("stl", "text stl", "obj", "ply", "text ply", "off", "glb", "3mf")
TEXT = ("text stl", "obj", "text ply", "off")
INDEXED = ("obj", "ply", "text ply", "off", "glb")

Pair = tuple[np.ndarray, np.ndarray]


def by_cad(cadquery) -> dict[str, Pair]:
    """A bottle with a neck (closed), a round tray with a flange and fillets (the solid of its wall) and a jar
    (open at the top), in mm, from a general CAD modeller."""
    plane = cadquery.Workplane
    profile = plane("XZ").lineTo(28, 0).threePointArc((31, 1.2), (32, 4)).lineTo(32, 95)
    profile = profile.spline([(28, 112), (16, 126), (13.5, 132)], includeCurrent=True)
    bottle = profile.lineTo(13.5, 150).lineTo(0, 150).close().revolve(360, (0, 0, 0), (0, 1, 0))
    wall = plane("XZ").lineTo(40, 0).threePointArc((43.5, 1.5), (45, 5)).lineTo(52, 34.2).lineTo(65, 34.2)
    wall = wall.lineTo(65, 35).lineTo(51.4, 35).lineTo(44.2, 5.1).threePointArc((42.9, 2.1), (39.8, 0.8))
    tray = wall.lineTo(0, 0.8).close().revolve(360, (0, 0, 0), (0, 1, 0))
    jar = plane().circle(35).extrude(80).faces("<Z").edges().fillet(6)
    out = {name: _facets(body) for name, body in (("bottle", bottle), ("tray", tray))}
    points, faces = _facets(jar)
    out["jar"] = points, faces[points[faces][:, :, 2].min(axis=1) < 79.999]
    return {name: _used(*mesh) for name, mesh in out.items()}


def _used(points, faces) -> Pair:
    used, number = np.unique(faces, return_inverse=True)
    return points[used], number.reshape(-1, 3)


def _facets(body) -> Pair:
    points, faces = body.val().tessellate(0.05, 0.2)
    return np.array([p.toTuple() for p in points]), np.array(faces)


def by_trimesh() -> dict[str, Pair]:
    """The like by trimesh, with the noise of a measured surface."""
    rng = np.random.default_rng(5)
    profile = [(0, 0), (28, 0), (31, 1.2), (32, 4), (32, 50), (32, 95), (28, 112), (16, 126), (13.5, 132)]
    bottle = trimesh.creation.revolve([*profile, (13.5, 150), (0, 150)], sections=96)
    tray = trimesh.creation.annulus(59.2, 60, 30, sections=180)
    jar = trimesh.creation.cylinder(35, 80, sections=90).subdivide().subdivide()
    jar.faces = jar.faces[jar.vertices[jar.faces][:, :, 2].min(axis=1) < 39.9]
    for mesh in (bottle, jar):
        mesh.vertices += rng.normal(scale=0.01, size=mesh.vertices.shape)
    return {n: _used(m.vertices, m.faces) for n, m in (("bottle", bottle), ("tray", tray), ("jar", jar))}


def written(points: np.ndarray, faces: np.ndarray, kind: str) -> tuple[str, bytes]:
    """Ending and content of a file; lengths are mm, in GLB metres."""
    scale = 1e-3 if kind == "glb" else 1.0
    mesh = trimesh.Trimesh(points * scale, faces, process=False, validate=False)
    ending = kind.split()[-1]
    options = {"text stl": {"file_type": "stl_ascii"}, "text ply": {"file_type": "ply", "encoding": "ascii"}}
    with np.errstate(all="ignore"):
        data = mesh.export(**options.get(kind, {"file_type": ending}))
    return ending, data.encode() if isinstance(data, str) else data


def unit(kind: str) -> float:
    return 1.0 if kind == "glb" else 1e-3


# --- damage to the mesh before it is written


def _patch(rng, points, faces, share):
    """Faces nearest to a point of the surface."""
    centres = points[faces].mean(axis=1)
    distance = np.linalg.norm(centres - centres[rng.integers(len(faces))], axis=1)
    return np.argsort(distance)[: max(1, int(share * len(faces)))]


def hole(rng, points, faces):
    return points, np.delete(faces, _patch(rng, points, faces, rng.choice([0, 0.005, 0.05])), axis=0)


def turned(rng, points, faces):
    faces = faces.copy()
    chosen = _patch(rng, points, faces, rng.choice([0, 0.01, 0.2]))
    faces[chosen] = faces[chosen][:, ::-1]
    return points, faces


def copied(rng, points, faces):
    return np.vstack([points, points]), np.vstack([faces, faces + len(points)])


def crossing(rng, points, faces):
    shift = rng.uniform(0.1, 0.3, size=3) * np.ptp(points, axis=0)
    return np.vstack([points, points + shift]), np.vstack([faces, faces + len(points)])


def not_numbers(rng, points, faces):
    points = points.copy()
    points[faces[rng.integers(len(faces)), 0], rng.integers(3)] = rng.choice([np.nan, np.inf, 1e35])
    return points, faces


def spike(rng, points, faces):
    points = points.copy()
    way = rng.normal(size=3)
    points[faces[rng.integers(len(faces)), 0]] += way / np.linalg.norm(way) * rng.uniform(100, 500)
    return points, faces


def collapsed(rng, points, faces):
    points = points.copy()
    chosen = np.unique(faces[_patch(rng, points, faces, 0.02)])
    points[chosen] = points[chosen[0]]
    return points, faces


def repeated(rng, points, faces):
    return points, np.vstack([faces, faces[_patch(rng, points, faces, 0.01)]])


def thousandfold(rng, points, faces):
    return points * rng.choice([1e3, 1e-3]), faces


def scattered(rng, points, faces):
    """Indices of a stretch of faces exchanged at random."""
    faces = faces.copy()
    start = rng.integers(len(faces) - 20)
    faces[start : start + 20] = rng.permutation(faces[start : start + 20].ravel()).reshape(-1, 3)
    return points, faces


IN_MESH: list[Callable] = [hole, turned, copied, crossing, not_numbers, spike, collapsed, repeated]
IN_MESH += [thousandfold, scattered]


# --- damage to the file


def cut(rng, data, kind):
    return data[: rng.integers(1, len(data) - 2)]


def flipped(rng, data, kind):
    out = bytearray(data)
    for place in rng.integers(len(data), size=rng.integers(1, 4)):
        out[place] ^= 1 << rng.integers(8)
    return bytes(out)


def zeroed(rng, data, kind):
    start, size = rng.integers(len(data) - 20), 1 << rng.integers(4, 12)
    return data[:start] + bytes(len(data[start : start + size])) + data[start + size :]


def dropped(rng, data, kind):
    start = rng.integers(len(data) - 20)
    return data[:start] + data[start + rng.integers(1, 500) :]


def doubled(rng, data, kind):
    start = rng.integers(len(data) - 20)
    return data[: start + rng.integers(1, 500)] + data[start:]


def garbage(rng, data, kind):
    start = rng.integers(len(data) - 20)
    return data[:start] + rng.bytes(rng.integers(1, 60)) + data[start:]


def lines_lost(rng, data, kind):
    lines = data.split(b"\n")
    start = rng.integers(len(lines) - 12)
    return b"\n".join(lines[:start] + lines[start + rng.integers(1, 12) :])


def prose(rng, data, kind):
    lines = data.split(b"\n")
    lines.insert(
        rng.integers(len(lines) - 1), b"# lost+found 12 3" if kind == "ply" else b"lost and found 12 3"
    )
    return b"\n".join(lines)


def swapped(rng, data, kind):
    """Numbers of four bytes in the other order of bytes."""
    start = {"stl": 84, "ply": data.find(b"end_header") + 11, "glb": data.find(b"BIN\0") + 4}[kind]
    if kind == "stl":
        records = np.frombuffer(data[84:], np.dtype([("f", "<f4", 12), ("a", "<u2")])).copy()
        records["f"] = records["f"].byteswap()
        return data[:84] + records.tobytes()
    whole = (len(data) - start) // 4 * 4
    turned_round = np.frombuffer(data[start : start + whole], "<u4").byteswap().tobytes()
    return data[:start] + turned_round + data[start + whole :]


def miscounted(rng, data, kind):
    """A count in the header that is not that of what follows."""
    by = int(rng.choice([-7, -1, 1, 1000]))
    if kind == "stl":
        return data[:80] + struct.pack("<I", int.from_bytes(data[80:84], "little") + by) + data[84:]
    key = {"off": b"OFF\n", "ply": b"element face ", "text ply": b"element vertex ", "glb": b'"count":'}[kind]
    start = data.index(key) + len(key)
    end = start + len(data[start : start + 20].split(b" " if kind == "off" else b"\n")[0].split(b",")[0])
    number = str(int(data[start:end]) + by).encode().rjust(end - start)
    return data[:start] + number + data[end:]


def out_of_range(rng, data, kind):
    """A face that names a vertex which is not there."""
    if kind in ("ply", "glb"):
        return data[:-4] + struct.pack("<I", 2_000_000)
    lines = data.split(b"\n")
    faces = [k for k, line in enumerate(lines) if line.startswith((b"f ", b"3 ")) and line.count(b" ") >= 3]
    chosen = faces[rng.integers(len(faces) // 2, len(faces))]
    lines[chosen] = lines[chosen].rsplit(b" ", 1)[0] + b" 2000000"
    return b"\n".join(lines)


def other_unit(rng, data, kind):
    """The file states another unit than the project."""
    if kind == "glb":
        return data  # the caller gives the unit millimetre
    return _in_archive(data, lambda text: text.replace(b'unit="millimeter"', b'unit="inch"'))


def xml_lost(rng, data, kind):
    """A stretch of the XML is lost before it is packed, so that the checksum fits."""

    def lose(text):
        start = rng.integers(len(text) // 4, len(text) - 600)
        return text[:start] + text[start + rng.integers(1, 500) :]

    return _in_archive(data, lose)


def _in_archive(data, change):
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, change(text) if name.endswith(".model") else text)
    return out.getvalue()


BYTES: list[tuple[Callable, tuple[str, ...]]] = [
    *((fault, KINDS) for fault in (cut, flipped, zeroed, dropped, doubled, garbage)),
    *((fault, TEXT) for fault in (lines_lost, prose)),
    (swapped, ("stl", "ply", "glb")),
    (miscounted, ("stl", "off", "ply", "text ply", "glb")),
    (out_of_range, INDEXED),
    (other_unit, ("3mf", "glb")),
    (xml_lost, ("3mf",)),
]


def damaged(seed: int, sound: dict[str, Pair]) -> tuple[str, str, str, str, bytes]:
    """Package, format, fault, ending and content of damaged file number ``seed``."""
    rng = np.random.default_rng(seed)
    package = list(sound)[seed % 3]
    number = seed % (len(IN_MESH) + len(BYTES))
    if number < len(IN_MESH):
        kind = KINDS[rng.integers(len(KINDS))]
        fault = IN_MESH[number]
        return package, kind, fault.__name__, *written(*fault(rng, *sound[package]), kind)
    fault, kinds = BYTES[number - len(IN_MESH)]
    kind = kinds[rng.integers(len(kinds))]
    ending, data = written(*sound[package], kind)
    return package, kind, fault.__name__, ending, fault(rng, data, kind)
