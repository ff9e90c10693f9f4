"""A mesh as the figures of a report: to turn about, with its sizes, by its named bodies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.geometry.mesh.model import Mesh, Upright
from optimizer.geometry.pieces import Array, LocalThickness
from optimizer.report.colours import plain_colours, quantity_colours, region_colours
from optimizer.report.figures.model import MeshView, Still
from optimizer.report.picture import picture
from optimizer.report.thinned import decimated
from optimizer.report.wording import in_units, listed
from optimizer.results_geometry import GeometryResult
from optimizer.units.systems import SI, System

#: Most faces of a view that is turned about in the page.
MOST_FACES = 10_000
_MM = 1e3
#: Ends of a range closer than this share are one value.
_EVEN = 1e-6


def thickness_view(
    result: GeometryResult,
    mesh: Mesh,
    upright: Upright,
    local: LocalThickness | None,
    units: System = SI,
) -> MeshView:
    """The mesh of ``geometry``, coloured by its wall thickness where that is known."""
    thickness = np.full(len(mesh.faces), np.nan) if local is None else local.thickness
    shown = thickness * 1e6 * units.value(1.0, "um")
    found = result.wall_thickness
    if found is None:
        words = "The mesh, to turn about. Its wall thickness is not known."
    else:
        low, high, mean = (in_units(x, "um", units) for x in (found.p05_um, found.p95_um, found.mean_um))
        words = (
            f"The mesh, coloured by its wall thickness in {units.unit('um')}: {mean} in the mean, 5 % of the "
            f"area below {low} and 5 % above {high}, thinnest {in_units(found.least_um, 'um', units)}."
        )
    title = "The mesh" if found is None else "Wall thickness from place to place"
    legend = f"wall thickness, {units.unit('um')}"
    return view_of(title, words, mesh, upright, shown, legend, units)


def mesh_still(
    result: GeometryResult, mesh: Mesh, upright: Upright, local: LocalThickness | None, units: System = SI
) -> Still:
    """The picture with its sizes, for the first page."""
    if local is None:
        colours = plain_colours(len(mesh.faces))
    else:
        shown = local.thickness * 1e6 * units.value(1.0, "um")
        colours = quantity_colours(shown, f"wall thickness, {units.unit('um')}")
    sides = " x ".join(in_units(x, "mm", units, 4) for x in result.size_mm)
    words = (
        f"{result.title} from the front, from the right, from above and from a corner. Along x, y and z it "
        f"measures {sides} {units.unit('mm')}; openings: {len(result.openings)}."
    )
    return Still(result.title, words, picture(mesh, upright, colours, units=units))


def bodies_view(result: GeometryResult, mesh: Mesh, upright: Upright, units: System = SI) -> Still | None:
    """The named bodies of the file, each in its colour; None where there is only one."""
    if len(result.bodies) < 2:
        return None
    words = areas_said([x.name for x in result.bodies], [x.area_cm2 for x in result.bodies], units)
    colours = region_colours(mesh.body, mesh.bodies, "bodies")
    return Still("Named bodies", words, picture(mesh, upright, colours, units=units))


def view_of(
    title: str,
    words: str,
    mesh: Mesh,
    up: Upright,
    value: Array,
    legend: str,
    units: System,
    span: tuple[float, float] | None = None,
) -> MeshView:
    """value (m,) in the unit of ``legend``; span: see MeshView."""
    value = _evened(value)
    shape = decimated(mesh, value, True, MOST_FACES)
    used, faces = np.unique(shape.faces, return_inverse=True)
    still = picture(mesh, up, quantity_colours(value, legend, span=span), units=units)
    vertices = shape.vertices[used] * _MM
    whole = faces.reshape(-1, 3).astype(np.int64)
    return MeshView(title, words, vertices, whole, shape.value, legend, still, span)


def _evened(value: Array) -> Array:
    """Values that differ by rounding alone as one, or neighbours would fall in two classes of colour."""
    known = np.isfinite(value)
    if not known.any():
        return value
    low, high = float(value[known].min()), float(value[known].max())
    even = high - low <= _EVEN * max(abs(low), abs(high))
    return np.where(known, 0.5 * (low + high), np.nan) if even else value


def areas_said(names: Sequence[str], areas: Sequence[float], units: System) -> str:
    """areas [cm2]."""
    texts = [f"{name} {in_units(a, 'cm2', units)}" for name, a in zip(names, areas, strict=True)]
    return f"Area of each in {units.unit('cm2')}: {listed(texts)}."
