"""Parts of a project that are drawn as a mesh: where the gas passes, and which faces belong to which part."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from optimizer.geometry.pieces import Array
from optimizer.project import Project
from optimizer.project.mesh_faces import PartFaces, mesh_faces
from optimizer.report.colours import region_colours
from optimizer.report.figures.mesh_drawn import areas_said, view_of
from optimizer.report.figures.model import MeshView, Still
from optimizer.report.picture import picture
from optimizer.report.wording import figure, percent
from optimizer.results import PredictResult
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.units.systems import SI, System

#: Ends of a range closer than this are one value.
_EVEN = 1e-6


# -- where the gas passes ------------------------------------------------------------------------------------


def mesh_views(
    project: Project,
    result: PredictResult,
    units: System = SI,
    span: tuple[float, float] | None = None,
) -> tuple[MeshView, ...]:
    """A view of each part that is drawn as a mesh, coloured by how much of the leading gas passes where.

    The leading gas is the one that ends the shelf life, else O2; the stage is that in which most of it
    passes. None where the walls' transmission of it is not known. span: see MeshView.
    """
    views = []
    for part, shown, gas, stage, unit in _shown(project, result, units):
        words = _passing_said(part, shown, result, gas, stage, unit)
        title = f"Where {gas} passes the wall of {part.name}"
        legend = f"{gas} through the wall, {unit}"
        note = _left_out(part, project, result)
        words = f"{words} {note}".strip()
        view = view_of(title, words, part.mesh, part.upright, shown, legend, units, span)
        views.append(replace(view, note=note))
    return tuple(views)


def common_span(
    packages: Sequence[tuple[Project, PredictResult]], units: System = SI
) -> tuple[float, float] | None:
    """Span for the views of several packages, so that their colours can be compared: from the lowest to the
    highest hundredth of all their faces. None where they are not of one gas and stage, or have no mesh."""
    found = [row for project, result in packages for row in _shown(project, result, units)]
    if len({(gas, stage) for _, _, gas, stage, _ in found}) != 1:
        return None
    values = np.concatenate([shown[np.isfinite(shown)] for _, shown, *_ in found])
    low, high = (float(x) for x in np.percentile(values, [1.0, 99.0]))
    return (low, high) if high - low > _EVEN * abs(high) else None


def _shown(
    project: Project, result: PredictResult, units: System
) -> Iterator[tuple[PartFaces, Array, str, str, str]]:
    """Each mesh part with the rate at its faces (m,), the gas, the stage and the unit of the rate."""
    gas = leading_gas(result)
    stage = _stage(result, gas)
    rows = [x for x in result.film_transmission if x.gas == gas and x.stage == stage]
    if not rows:
        return
    films, unit = {x.wall: x.value for x in rows}, rows[0].unit
    for part in mesh_faces(project):
        rate = local_rates(part, films)
        if np.isfinite(rate).any():
            yield part, units.value(1.0, unit) * rate, gas, stage, units.unit(unit)


def local_rates(part: PartFaces, films: dict[str, float]) -> Array:
    """Transmission per mid-wall area at each face (m,), in the unit of ``films``: that of the wall at its
    listed thickness. Layers are scaled alike, so that it goes with one over the local thickness. NaN under a
    seal, and where the thickness or the wall is not known."""
    nominal = np.array([films.get(wall, math.nan) for wall in part.walls])[part.owner]
    return np.asarray(np.where(part.sealed, np.nan, nominal / part.ratio), dtype=float)


def leading_gas(result: PredictResult) -> str:
    """The gas that ends the shelf life; where none does, O2, or whichever there is."""
    known = list(dict.fromkeys(x.gas for x in result.film_transmission))
    wanted = LIMIT_GAS.get(result.limited_by or "", "O2")
    return wanted if wanted in known or not known else known[0]


def _stage(result: PredictResult, gas: str) -> str:
    """In which most passes the whole package."""
    total: dict[str, float] = {}
    for row in result.transmission:
        if row.gas == gas:
            total[row.stage] = total.get(row.stage, 0.0) + row.value
    return max(total, key=lambda stage: total[stage], default="")


def _passing_said(
    part: PartFaces, rate: Array, result: PredictResult, gas: str, stage: str, unit: str
) -> str:
    """What the view shows, for those who cannot see it; rate (m,) in ``unit``."""
    texts = [
        f"{gas} that passes each piece of the wall of {part.name} during {stage}, in {unit} of wall: "
        f"{_mean_said(rate, part.area)}."
    ]
    if len(part.parts) > 1:
        own = [_part_said(part, i, rate) for i in range(len(part.parts))]
        texts.append(f"By part: {'; '.join(own)}.")
    for row in result.geometry:
        if row["part"] in part.parts and "worst_tenth_place" in row:
            share, place = percent(row["worst_tenth_share_pct"]), row["worst_tenth_place"]
            texts.append(f"The thinnest tenth of {row['part']}, {place}, lets {share} of its {gas} through.")
    return " ".join(texts)


def _left_out(part: PartFaces, project: Project, result: PredictResult) -> str:
    """What lies around the mesh and is not in the view."""
    texts = [
        f"The label {cover.name} on {percent(100.0 * cover.share)} of {cover.part} is not in the view: "
        "where it lies is not known, and less passes under it."
        for cover in project.case.package.covers
        if cover.part in part.parts
    ]
    if result.outer_pack is not None:
        texts.append("The outer pack is not in the view: shown is the wall of the package in it.")
    return " ".join(texts)


def _part_said(part: PartFaces, number: int, rate: Array) -> str:
    chosen = part.owner == number
    name = part.parts[number]
    if part.sealed[chosen].all():
        return f"{name} lies under a seal and lets nothing through"
    if not np.isfinite(rate[chosen]).any():
        return f"{name} is not known"
    return f"{name} {_mean_said(rate[chosen], part.area[chosen])}"


def _mean_said(value: Array, area: Array) -> str:
    """'3.1 to 9, 6.5 in the mean'; value (m,), NaN where there is none."""
    known = np.isfinite(value)
    low, high = float(value[known].min()), float(value[known].max())
    mean = float((value[known] * area[known]).sum() / area[known].sum())
    if high - low <= _EVEN * abs(high):
        return f"{figure(mean)} all over"
    return f"{figure(low)} to {figure(high)}, {figure(mean)} in the mean"


# -- regions -------------------------------------------------------------------------------------------------


def region_views(project: Project, units: System = SI) -> tuple[Still, ...]:
    """A picture of each mesh that is split into several parts, each part in its colour."""
    views = []
    for part in mesh_faces(project):
        if len(part.parts) > 1:
            colours = region_colours(part.owner, part.parts, "parts")
            drawn = picture(part.mesh, part.upright, colours, units=units)
            areas = [float(part.area[part.owner == i].sum()) * 1e4 for i in range(len(part.parts))]
            views.append(
                Still(f"Parts of the mesh of {part.name}", areas_said(part.parts, areas, units), drawn)
            )
    return tuple(views)
