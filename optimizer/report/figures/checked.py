"""A changed package beside its baseline: the local thickness of each part, layer by layer."""

from __future__ import annotations

from optimizer.report.figures.model import Axis, BarChart, BarPart
from optimizer.report.wording import change, with_unit
from optimizer.results import CheckResult, PartThickness
from optimizer.units.systems import SI, System

BEFORE, NOW = "baseline", "changed"


def thickness_chart(result: CheckResult, units: System = SI) -> BarChart | None:
    """Mean thickness of every part before and after, made up of its materials; None without parts."""
    if not result.thickness:
        return None
    rows: dict[str, dict[str, float]] = {}
    labels, told = [], []
    for part in result.thickness:
        for name, total in ((BEFORE, part.baseline_um), (NOW, part.now_um)):
            if total is not None:
                rows[f"{part.part}, {name}"] = _by_material(part, name, units)
                labels.append(with_unit(total, "um", 4, units))
        told.append(_told(part, units))
    materials = dict.fromkeys(material for row in rows.values() for material in row)
    return BarChart(
        "Thickness of the parts",
        f"Mean local thickness of each part, all layers together: {'; '.join(told)}.",
        tuple(rows),
        Axis("mean thickness", units.unit("um"), zero=True),
        tuple(BarPart(m, tuple(row.get(m, 0.0) for row in rows.values())) for m in materials),
        labels=tuple(labels),
    )


def _by_material(part: PartThickness, name: str, units: System) -> dict[str, float]:
    values: dict[str, float] = {}
    for layer in part.layers:
        own = layer.baseline_um if name == BEFORE else layer.now_um
        if own is not None:
            values[layer.material] = values.get(layer.material, 0.0) + units.value(own, "um")
    return values


def _told(part: PartThickness, units: System) -> str:
    before, now = (with_unit(x, "um", 4, units) for x in (part.baseline_um, part.now_um))
    if part.baseline_um is None:
        return f"{part.part} {now}, not in the baseline"
    if part.now_um is None:
        return f"{part.part} {before} in the baseline, not in the changed package"
    return f"{part.part} {before} to {now} ({change(part.baseline_um, part.now_um)})"
