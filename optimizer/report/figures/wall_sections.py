"""Walls cut open, for the first page of a report and for the section on its walls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from optimizer.report.figures.model import SectionDrawing, SectionLayer
from optimizer.report.wording import capital, figure, with_unit
from optimizer.results import ChosenLayer, LayerState, PredictResult
from optimizer.units.systems import SI, System

#: Humidities [%] that differ by less than this are told as one.
_SAME = 1.0
#: End of the name of a wall under a label that has several thicknesses.
_COMMONEST = ", at its commonest thickness"


def wall_drawings(
    result: PredictResult,
    units: System = SI,
) -> tuple[SectionDrawing, ...]:
    """Every wall of a prediction, the largest first."""
    return drawings_of({wall: result.structure[wall] for wall in walls_by_area(result)}, result.layers, units)


def drawings_of(
    structure: Mapping[str, Sequence[ChosenLayer]],
    states: Sequence[LayerState] = (),
    units: System = SI,
    prefix: str = "",
) -> tuple[SectionDrawing, ...]:
    """The walls of a structure in its order, each layer with the humidity in its middle where it is known.

    prefix: before the title, such as 'Baseline'."""
    return tuple(_drawing(wall, layers, states, units, prefix) for wall, layers in structure.items())


def lightest_drawings(lightest: Mapping[str, Any] | None, units: System = SI) -> tuple[SectionDrawing, ...]:
    """The walls of the lightest package that passes, as ``check`` gives it; nothing where none was found."""
    if lightest is None or lightest.get("scale") is None:
        return ()
    structure = {
        wall: [ChosenLayer(str(x["material"]), float(x["thickness_um"])) for x in layers]
        for wall, layers in lightest["walls"].items()
    }
    return drawings_of(structure, (), units, "Lightest that passes")


def walls_by_area(result: PredictResult) -> tuple[str, ...]:
    """Names of the walls in ``structure``, those with the largest area of the package first."""
    area = dict.fromkeys(result.structure, 0.0)
    shown = {wall.removesuffix(_COMMONEST): wall for wall in area}
    for row in result.geometry:
        wall = shown.get(str(row.get("wall", "")))
        if wall is not None:
            area[wall] += float(row["area_cm2"])
    return tuple(sorted(area, key=lambda wall: -area[wall]))


def _drawing(
    wall: str, layers: Sequence[ChosenLayer], states: Sequence[LayerState], units: System, prefix: str
) -> SectionDrawing:
    own = [x for x in states if x.wall == wall]
    notes = [_humidity(own, k, layer.material) for k, layer in enumerate(layers)]
    total = with_unit(sum(layer.thickness_um for layer in layers), "um", 4, units)
    told = [
        f"{x.material} {with_unit(x.thickness_um, 'um', 4, units)}" + (f" ({note})" if note else "")
        for x, note in zip(layers, notes, strict=True)
    ]
    title = f"wall {wall}, {total}"
    return SectionDrawing(
        capital(f"{prefix}: {title}" if prefix else title),
        f"{capital(f'wall {wall}')}, {total} in all, from inside to outside: {', '.join(told)}.",
        tuple(
            SectionLayer(x.material, units.value(x.thickness_um, "um"), note)
            for x, note in zip(layers, notes, strict=True)
        ),
        units.unit("um"),
    )


def _humidity(states: Sequence[LayerState], place: int, material: str) -> str:
    """'56 to 78 % RH' over the stages, of the layer at ``place`` from inside; '' where it is not known."""
    by_stage: dict[str, list[LayerState]] = {}
    for x in states:
        by_stage.setdefault(x.stage, []).append(x)
    own = [sorted(rows, key=lambda x: x.index)[place] for rows in by_stage.values() if place < len(rows)]
    if not own or any(x.material != material for x in own):
        return ""
    found = [x.humidity_mid_pct for x in own]
    low, high = min(found), max(found)
    if high - low < _SAME:
        return f"{figure(low, 2)} % RH"
    return f"{figure(low, 2)} to {figure(high, 2)} % RH"
