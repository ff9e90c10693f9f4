"""Where a gas comes through, and what each layer does against it: shares, humidity, pressure in the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optimizer.constants import ZERO_CELSIUS
from optimizer.physics.water import saturation_pressure
from optimizer.report.figures.model import Axis, Band, BarChart, BarPart, Curve, LineChart
from optimizer.report.figures.wall_sections import walls_by_area
from optimizer.report.predict import gases_of, worst_stage
from optimizer.report.wording import duration, figure, listed, percent, plain_unit, with_unit
from optimizer.results import LayerState, PredictResult, StageSpan
from optimizer.units.systems import SI, System

#: Parts of a bar that have a colour of their own; the smaller ones share the last.
_PARTS = 8
#: Walls that are looked into, those of the largest area.
_WALLS = 4
#: Humidity differences [%] below this say nothing about the layers.
_LEAST_DROP = 0.1


def ways_chart(result: PredictResult, units: System = SI) -> BarChart | None:
    """Share of each part in the transmission, one row for each gas in its worst stage; None of one part."""
    rows = result.transmission
    several = len({row.stage for row in rows}) > 1
    shares: dict[str, dict[str, float]] = {}
    told = []
    for gas in gases_of(result):
        if not any(row.gas == gas for row in rows):
            continue
        stage = worst_stage(rows, gas)
        own = [row for row in rows if row.gas == gas and row.stage == stage]
        if not any(row.share for row in own):
            continue
        label = f"{gas}, {stage}" if several else gas
        shares[label] = {row.part: 100.0 * row.share for row in own}
        most = max(own, key=lambda row: row.share)
        total = with_unit(sum(row.value for row in own), most.unit, units=units)
        told.append(f"{label}: {percent(100.0 * most.share, 3)} through {most.part}, of {total}.")
    if len({part for row in shares.values() for part in row}) < 2:
        return None
    return BarChart(
        "Share of each part",
        f"Share of each part in what comes through the package. {' '.join(told)}",
        tuple(shares),
        Axis("share of the transmission", "%", zero=True),
        _parts(shares),
    )


def resistance_charts(result: PredictResult) -> tuple[BarChart, ...]:
    """Share of each layer in the resistance of its wall, for walls of several layers: one row for each gas,
    in the stage in which most of it passes."""
    charts = []
    for wall in walls_shown(result):
        rows = {}
        told = []
        for gas in gases_of(result):
            stage = _worst(result, wall, gas)
            layers = _layers(result, wall, stage)
            shares = _shares(layers, gas)
            if len(layers) < 2 or shares is None:
                continue
            label = f"{gas}, {stage}" if len(_stages(result, wall)) > 1 else gas
            rows[label] = dict(zip(_names(layers), shares, strict=True))
            most = int(np.argmax(shares))
            told.append(f"{label}: {percent(shares[most], 3)} in {_names(layers)[most]}.")
        if rows:
            charts.append(
                BarChart(
                    f"What holds the gas back in wall {wall}",
                    f"Share of each layer in the resistance of wall {wall}. {' '.join(told)}",
                    tuple(rows),
                    Axis("share of the resistance", "%", zero=True),
                    tuple(
                        BarPart(name, tuple(row.get(name, 0.0) for row in rows.values()))
                        for name in dict.fromkeys(n for row in rows.values() for n in row)
                    ),
                )
            )
    return tuple(charts)


def humidity_charts(result: PredictResult, units: System = SI, note: str = "") -> tuple[LineChart, ...]:
    """Relative humidity from the inner to the outer face of each wall, one curve for each stage. note: below
    each chart."""
    charts = []
    for wall in walls_shown(result):
        stages = _stages(result, wall)
        curves, ends = [], []
        for stage in stages:
            layers = _layers(result, wall, stage)
            x, y = [0.0], [layers[0].humidity_inside_face_pct]
            for start, layer in zip(_starts(layers), layers, strict=True):
                x += [start + 0.5 * layer.thickness_um, start + layer.thickness_um]
                y += [layer.humidity_mid_pct, layer.humidity_outside_face_pct]
            curves.append(Curve(stage, tuple(units.value(v, "um") for v in x), tuple(y)))
            ends.append(f"from {percent(y[0])} inside to {percent(y[-1])} outside in {stage}")
        first = _layers(result, wall, stages[0])
        charts.append(
            LineChart(
                f"Humidity through wall {wall}",
                f"Relative humidity through wall {wall}, with the inside as at closing: {listed(ends)}."
                f"{_wet_barrier(result, wall)}",
                _depth(units),
                Axis("relative humidity", "%", zero=True),
                tuple(curves),
                _bands(first, units),
                note=note,
            )
        )
    return tuple(charts)


def pressure_charts(result: PredictResult, units: System = SI, note: str = "") -> tuple[LineChart, ...]:
    """Partial pressure of each gas at the faces of the layers: from that inside when a stage begins to that
    outside, and of water vapour with the inside as at closing. note: below each chart."""
    charts = []
    for wall in walls_shown(result):
        for gas in [g for g in gases_of(result) if g != "H2O"] + ["H2O"]:
            profiles = [
                (stage, span, profile)
                for stage in _stages(result, wall)
                if (span := _span(result, stage)) is not None
                and (profile := _profile(result, wall, stage, span, gas)) is not None
            ]
            if profiles:
                charts.append(replace(_pressure_chart(result, wall, gas, profiles, units), note=note))
    return tuple(charts)


def walls_shown(result: PredictResult) -> list[str]:
    """Walls of which the layers are looked into: those of several layers, or just the largest of all."""
    known = {layer.wall for layer in result.layers}
    ordered = [wall for wall in walls_by_area(result) if wall in known]
    ordered += [wall for wall in dict.fromkeys(layer.wall for layer in result.layers) if wall not in ordered]
    several = [wall for wall in ordered if len(_layers(result, wall, _stages(result, wall)[0])) > 1]
    return (several or ordered[:1])[:_WALLS]


def _pressure_chart(
    result: PredictResult,
    wall: str,
    gas: str,
    profiles: Sequence[tuple[str, StageSpan, tuple[float, ...]]],
    units: System,
) -> LineChart:
    curves, told = [], []
    layers = _layers(result, wall, profiles[0][0])
    faces = [0.0, *(a + x.thickness_um for a, x in zip(_starts(layers), layers, strict=True))]
    x = tuple(units.value(v, "um") for v in faces)
    for stage, span, p in profiles:
        shown = tuple(units.value(v, "kPa") for v in p)
        curves.append(Curve(stage, x, shown))
        at = "" if gas == "H2O" or span.from_days <= 0.0 else f", from {duration(span.from_days)} on"
        told.append(
            f"{figure(shown[0])} inside and {with_unit(p[-1], 'kPa', units=units)} outside in {stage}{at}"
        )
    name = "Vapour pressure of water" if gas == "H2O" else f"Partial pressure of {gas}"
    when = "with the inside as at closing" if gas == "H2O" else "with the inside as each stage begins"
    return LineChart(
        f"{name} through wall {wall}{'' if gas == 'H2O' else ' as each stage begins'}",
        f"{name} at the faces of the layers of wall {wall}, {when}, steady: {listed(told)}.",
        _depth(units),
        Axis(
            "vapour pressure" if gas == "H2O" else f"partial pressure of {gas}", units.unit("kPa"), zero=True
        ),
        tuple(curves),
        _bands(layers, units),
    )


def _profile(
    result: PredictResult, wall: str, stage: str, span: StageSpan, gas: str
) -> tuple[float, ...] | None:
    """Pressure at the n + 1 faces from inside to outside [kPa]; None where it is not known."""
    layers = _layers(result, wall, stage)
    if gas == "H2O":
        saturation = 1e-3 * float(saturation_pressure(span.temperature_degC + ZERO_CELSIUS))
        faces = [layers[0].humidity_inside_face_pct, *(x.humidity_outside_face_pct for x in layers)]
        return tuple(0.01 * face * saturation for face in faces)
    series = result.time_series.get(f"{gas}_pressure_kPa")
    if (
        series is None
        or gas not in span.outside_kPa
        or any(gas not in x.resistance_share_pct for x in layers)
    ):
        return None
    days = np.asarray(result.time_series["days"])
    # the first moment of the stage itself: at its start the gas still has the temperature before
    first = min(int(np.searchsorted(days, span.from_days, side="right")), len(days) - 1)
    inside = float(series[first if span.from_days > 0.0 else 0])
    outside = span.outside_kPa[gas]
    shares = np.array([x.resistance_share_pct[gas] for x in layers])
    fallen = np.cumsum(shares) / shares.sum()
    return (inside, *(inside + (outside - inside) * fallen[:-1]).tolist(), outside)


def _wet_barrier(result: PredictResult, wall: str) -> str:
    """' EVOH 32, which holds most of the O2 back, stands at 55 % (warehouse) and 78 % (truck).'"""
    stages = _stages(result, wall)
    layers = _layers(result, wall, stages[0])
    shares = _shares(layers, "O2")
    if len(layers) < 2 or shares is None:
        return ""
    most = int(np.argmax(shares))
    at = [f"{percent(_layers(result, wall, s)[most].humidity_mid_pct, 3)} in {s}" for s in stages]
    return f" In the middle of {_names(layers)[most]}, which holds most of the O2 back: {listed(at)}."


def _parts(shares: dict[str, dict[str, float]]) -> tuple[BarPart, ...]:
    """The parts, the largest first; where there are too many, the small ones together as the last."""
    total: dict[str, float] = {}
    for row in shares.values():
        for part, share in row.items():
            total[part] = total.get(part, 0.0) + share
    order = sorted(total, key=lambda part: -total[part])
    kept = order if len(order) <= _PARTS else order[: _PARTS - 1]
    rest = order[len(kept) :]
    bars = [BarPart(part, tuple(row.get(part, 0.0) for row in shares.values())) for part in kept]
    if rest:
        sums = tuple(sum(row.get(part, 0.0) for part in rest) for row in shares.values())
        bars.append(BarPart(f"{len(rest)} others", sums))
    return tuple(bars)


def _shares(layers: Sequence[LayerState], gas: str) -> list[float] | None:
    """Share of each layer in the resistance [%]; of water from the fall of the humidity, where it is not told
    and there is one."""
    if all(gas in layer.resistance_share_pct for layer in layers):
        return [layer.resistance_share_pct[gas] for layer in layers]
    if gas != "H2O":
        return None
    drop = layers[-1].humidity_outside_face_pct - layers[0].humidity_inside_face_pct
    if abs(drop) < _LEAST_DROP:
        return None
    return [100.0 * (x.humidity_outside_face_pct - x.humidity_inside_face_pct) / drop for x in layers]


def _worst(result: PredictResult, wall: str, gas: str) -> str:
    """The stage in which most of the gas passes through the wall."""
    stages = _stages(result, wall)
    films = [x for x in result.film_transmission if x.wall == wall and x.gas == gas and x.stage in stages]
    return max(films, key=lambda x: x.value).stage if films else stages[0]


def _stages(result: PredictResult, wall: str) -> list[str]:
    return list(dict.fromkeys(layer.stage for layer in result.layers if layer.wall == wall))


def _layers(result: PredictResult, wall: str, stage: str) -> list[LayerState]:
    """Inside to outside."""
    return sorted(
        (x for x in result.layers if x.wall == wall and x.stage == stage), key=lambda layer: layer.index
    )


def _span(result: PredictResult, stage: str) -> StageSpan | None:
    """The first time of the stage."""
    return next((x for x in result.storage if x.stage == stage), None)


def _names(layers: Sequence[LayerState]) -> list[str]:
    """Materials, with the number of the layer from inside: two layers may be of one material."""
    return [f"{k + 1} {layer.material}" for k, layer in enumerate(layers)]


def _starts(layers: Sequence[LayerState]) -> list[float]:
    """Depth at which each layer begins [um]."""
    return [0.0, *np.cumsum([x.thickness_um for x in layers])[:-1].tolist()]


def _depth(units: System) -> Axis:
    return Axis("depth from the inner face", plain_unit("um", units), zero=True)


def _bands(layers: Sequence[LayerState], units: System) -> tuple[Band, ...]:
    starts = _starts(layers)
    return tuple(
        Band(x.material, units.value(a, "um"), units.value(a + x.thickness_um, "um"))
        for a, x in zip(starts, layers, strict=True)
    )
