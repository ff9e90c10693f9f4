"""What is found in a mesh, in the units of the trade, for the user to compare with the drawing."""

from __future__ import annotations

import math

import numpy as np

from optimizer.geometry.mesh.holes import CAPPED
from optimizer.geometry.mesh.model import Mesh, Opening, Upright
from optimizer.geometry.pieces import Array, LocalThickness
from optimizer.results_geometry import BodyFound, GeometryResult, OpeningFound, ThicknessFound

_MM, _UM, _CM2, _ML = 1e3, 1e6, 1e4, 1e6


def survey(
    mesh: Mesh,
    upright: Upright,
    local: LocalThickness | None = None,
    *,
    unit: str,
    project: str,
    warnings: tuple[str, ...] = (),
    shown: bool = False,
    room: float | None = None,
    picture: str | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> GeometryResult:
    """The answer of ``geometry``. local: wall thickness at each face of the mesh, if it is known.

    shown: whether the user said which faces of the wall the mesh has; room [m3]: inside its inner face, where
    that was given.
    """
    facts = mesh.facts
    heights = upright.sign * mesh.vertices[:, upright.axis][mesh.faces]
    low = float(heights.min())
    noted = () if local is None else local.notes
    warned = () if local is None else local.warnings
    return GeometryResult(
        title=mesh.name,
        version=version,
        inputs_sha256=inputs_sha256,
        warnings=tuple(dict.fromkeys((*mesh.warnings, *warned, *warnings))),
        # openings are told one by one
        assumptions=tuple(x for x in dict.fromkeys((*mesh.notes, *noted)) if CAPPED not in x),
        unit=unit,
        size_mm=_three(np.array(facts.size) * _MM),
        height_mm=(float(heights.max()) - low) * _MM,
        up=axis_name(upright.axis, upright.sign),
        up_reason=upright.said,
        area_cm2=facts.area * _CM2,
        wall_area_cm2=facts.area * mesh.weight * _CM2,
        volume_ml=None if mesh.volume is None else mesh.volume * _ML,
        kind=mesh.kind,
        shows_given=shown,
        room_ml=None if room is None else room * _ML,
        faces=facts.faces,
        vertices=facts.vertices,
        pieces=facts.bodies,
        closed=facts.closed,
        open_edges=facts.open_edges,
        merged_vertices=facts.merged,
        dropped_faces=facts.dropped,
        turned_faces=facts.turned,
        used_pct=100.0 * facts.accounted,
        openings=tuple(_opening(x, upright, low) for x in mesh.openings),
        bodies=_bodies(mesh),
        wall_thickness=None if local is None else thickness_found(mesh.area, local),
        repairs=mesh.repairs,
        project=project,
        picture=picture,
    )


def axis_name(axis: int, sign: int) -> str:
    """'z', '-x'."""
    return ("" if sign > 0 else "-") + "xyz"[axis]


def _three(values: Array) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z


def _opening(opening: Opening, upright: Upright, low: float) -> OpeningFound:
    axis = int(np.abs(opening.normal).argmax())
    sign = 1 if opening.normal[axis] > 0 else -1
    share = min(float(abs(opening.normal[axis])) / float(np.linalg.norm(opening.normal)), 1.0)
    faces = axis_name(axis, sign)
    if axis == upright.axis:
        faces = "up" if sign == upright.sign else "down"
    return OpeningFound(
        number=opening.number,
        area_cm2=opening.area * _CM2,
        diameter_mm=opening.diameter * _MM,
        perimeter_mm=opening.perimeter * _MM,
        height_mm=(upright.sign * float(opening.centre[upright.axis]) - low) * _MM,
        centre_mm=_three(opening.centre * _MM),
        faces=faces,
        off_axis_deg=math.degrees(math.acos(share)),
        unevenness_um=opening.flatness * _UM,
    )


def _bodies(mesh: Mesh) -> tuple[BodyFound, ...]:
    count = len(mesh.bodies)
    faces = np.bincount(mesh.body, minlength=count).tolist()
    area = np.bincount(mesh.body, mesh.area, count).tolist()
    rows = zip(mesh.bodies, faces, area, strict=True)
    return tuple(BodyFound(name, n, a * _CM2) for name, n, a in rows)


def thickness_found(area: Array, local: LocalThickness) -> ThicknessFound | None:
    """Thickness by area (m,) [m2]; None where it is known nowhere."""
    counted = np.ones(len(area), dtype=bool) if local.counted is None else local.counted
    known = counted & np.isfinite(local.thickness) & (area > 0.0)
    if not known.any():
        return None
    thickness, weight = local.thickness[known], area[known]
    order = np.argsort(thickness, kind="stable")
    reached = np.cumsum(weight[order]) / float(weight.sum())
    at = np.minimum(np.searchsorted(reached, [0.05, 0.5, 0.95]), len(order) - 1)
    p05, p50, p95 = (thickness[order][at] * _UM).tolist()
    return ThicknessFound(
        method=local.method,
        mean_um=float(thickness @ weight) / float(weight.sum()) * _UM,
        least_um=float(thickness.min()) * _UM,
        p05_um=p05,
        p50_um=p50,
        p95_um=p95,
        most_um=float(thickness.max()) * _UM,
        unknown_pct=100.0 * max(1.0 - float(weight.sum()) / float(area[counted].sum()), 0.0),
    )
