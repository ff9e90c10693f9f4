"""Sheets of a prediction: verdict and key numbers, limits, ways in and out, walls, storage, uncertainty."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimizer.report.excel.cells import Share
from optimizer.report.excel.table import (
    LAYER_UNITS,
    Row,
    Table,
    fact,
    facts_of,
    filled,
    heading_of,
    layer_rows,
    listing,
    record_rows,
    whole,
)
from optimizer.report.predict import limit_verdict, predict_page
from optimizer.report.wording import limit_name
from optimizer.results import OuterPackAnswer, PredictResult
from optimizer.results_uncertainty import UncertaintyResult

_NOT_REACHED = "no limit is reached within the time looked at"


def predict_tables(result: PredictResult) -> dict[str, Table]:
    """All sheets of ``predict``."""
    return whole(result, predict_page(result), key_facts(result), prediction_tables(result))


def key_facts(result: PredictResult) -> Iterator[Row]:
    """The numbers that one looks for first."""
    life = result.shelf_life_days
    yield fact("passes", result.passes)
    yield fact("shelf life", life, "days", _NOT_REACHED if life is None else "")
    yield fact("target", result.target_days, "days", "none was given" if result.target_days is None else "")
    yield fact("time looked at", result.horizon_days, "days")
    yield fact("ended by", limit_name(result.limited_by) if result.limited_by else None)
    found = result.uncertainty
    if found is not None and found.probability is not None:
        yield fact("probability of passing", Share(found.probability), remark="share of the samples")
    if result.confidence_asked is not None:
        yield fact("confidence asked for", Share(result.confidence_asked))
    yield fact("mass of one package", result.mass_g, "g")
    cost = result.cost_per_package
    missing = "a material has no price, or currencies are mixed" if cost is None else ""
    yield fact("material cost of one package", cost, result.currency, missing)
    yield fact("walls simulated as", result.wall_model, remark=result.wall_reason)


def prediction_tables(result: PredictResult) -> dict[str, Table]:
    """The sheets in between: what other commands show of a prediction too."""
    return filled(
        {
            "Limits": Table("Each limit, and when it is reached.", tuple(_limits(result))),
            "Transmission": Table(
                "What comes through each part, by stage; share: of the whole package.",
                tuple(_transmission(result)),
            ),
            "Film transmission": Table(
                "What comes through an area of each wall, by stage.", tuple(_films(result))
            ),
            "Layers": _layers(result),
            "Structure": Table(
                "Layers of each wall, inside to outside.", tuple(layer_rows(result.structure)), LAYER_UNITS
            ),
            "Mass": Table(
                "Mass of each material in one package.",
                tuple({"material": m, "mass": g, "unit": "g"} for m, g in result.mass_by_material_g.items()),
            ),
            "Parts": _parts(result),
            "Outer pack": _outer(result.outer_pack),
            "Storage": _storage(result),
            "Time series": series_table(result),
            **({} if result.uncertainty is None else uncertainty_tables(result.uncertainty)),
        }
    )


def _limits(result: PredictResult) -> Iterator[Row]:
    for o in result.limits:
        yield {
            "limit": limit_name(o.name),
            "wall": o.wall,
            "allowed": o.limit,
            "at target": o.at_target,
            "unit": o.unit,
            "reached after (days)": o.reached_after_days,
            "status": o.status,
            "passes": o.passes,
            "left (%)": o.margin_pct,
            "in words": limit_verdict(o),
            "note": o.note or None,
        }


def _transmission(result: PredictResult) -> Iterator[Row]:
    for t in result.transmission:
        yield {
            "stage": t.stage,
            "gas": t.gas,
            "part": t.part,
            "transmission": t.value,
            "unit": t.unit,
            "share": Share(t.share),
        }


def _films(result: PredictResult) -> Iterator[Row]:
    for f in result.film_transmission:
        yield {"wall": f.wall, "stage": f.stage, "gas": f.gas, "transmission": f.value, "unit": f.unit}


def _layers(result: PredictResult) -> Table:
    gases = list(dict.fromkeys(gas for layer in result.layers for gas in layer.resistance_share_pct))
    rows = tuple(
        {
            "wall": x.wall,
            "stage": x.stage,
            "layer": x.index,
            "material": x.material,
            "thickness": x.thickness_um,
            "humidity at inner face": x.humidity_inside_face_pct,
            "humidity in the middle": x.humidity_mid_pct,
            "humidity at outer face": x.humidity_outside_face_pct,
            **{f"{gas} resistance": x.resistance_share_pct.get(gas) for gas in gases},
        }
        for x in result.layers
    )
    faces = ("at inner face", "in the middle", "at outer face")
    units = {"thickness": "um", **{f"humidity {where}": "%RH" for where in faces}}
    units |= {f"{gas} resistance": "% of the wall" for gas in gases}
    return Table("Each layer, inside to outside, by stage: its humidity and its share.", rows, units)


def _parts(result: PredictResult) -> Table:
    rows, units = record_rows(result.geometry)
    return Table(
        "Each part: area, thickness, mass; where known, its thickness from place to place.", rows, units
    )


def _outer(outer: OuterPackAnswer | None) -> Table:
    if outer is None:
        return Table("", ())
    units = {"cost": outer.currency, "cost_per_package": outer.currency}
    return Table("The pack around several packages.", tuple(facts_of(outer.__dict__, units)))


def _storage(result: PredictResult) -> Table:
    gases = list(dict.fromkeys(gas for span in result.storage for gas in span.outside_kPa))
    rows = tuple(
        {
            "stage": x.stage,
            "from": x.from_days,
            "to": x.to_days,
            "temperature": x.temperature_degC,
            "humidity": x.humidity_pct,
            **{f"{gas} outside": x.outside_kPa.get(gas) for gas in gases},
        }
        for x in result.storage
    )
    units = {"from": "days", "to": "days", "temperature": "degC", "humidity": "%RH"}
    units |= {f"{gas} outside": "kPa" for gas in gases}
    return Table("Storage to the end of the time looked at; outside: partial pressures, means.", rows, units)


def series_table(result: PredictResult) -> Table:
    """What is followed over time; a column for each quantity."""
    series = result.time_series
    named = {key: heading_of(key) for key in series}
    rows = tuple(
        {named[key][0]: value for key, value in zip(series, values, strict=True)}
        for values in zip(*series.values(), strict=True)
    )
    units = {name: unit or "-" for name, unit in named.values()}
    return Table("What is in the package over time.", rows, units, even=True)


# -- uncertainty ---------------------------------------------------------------------------------------------


def uncertainty_tables(found: UncertaintyResult) -> dict[str, Table]:
    """What the samples say, and what they rest on."""
    influences: tuple[Row, ...] = tuple(
        {"input": x.name, "share in all": Share(x.total), "share alone": Share(x.first_order)}
        for x in found.influences
    )
    spreads: tuple[Row, ...] = tuple(
        {
            "input": s.name,
            "spread": s.size,
            "unit": s.unit,
            "from": s.origin,
            "shared source": s.source or None,
        }
        for s in found.spreads
    )
    ends: tuple[Row, ...] = tuple(
        {"ended by": limit_name(n), "share of samples": Share(s)} for n, s in found.ended_by.items()
    )
    return {
        "Uncertainty": Table("How the samples were drawn, and how many pass.", tuple(_drawn(found))),
        "Percentiles": Table("So many of the samples last less than this.", tuple(_percentiles(found))),
        "What ends it": Table("Share of the samples that each limit ends.", ends),
        "Influences": Table("Share of the variance that goes with each uncertain input.", influences),
        "Spreads": Table("Relative standard deviations of factors (%), and offsets.", spreads),
        "Sample lives": Table(
            "Shelf lives of the samples that reach a limit, in order.",
            tuple({"no.": i, "shelf life": days} for i, days in enumerate(found.life_days, 1)),
            {"shelf life": "days"},
            even=True,
        ),
        "Sampling notes": listing(found.notes, "What to know about the samples."),
    }


def _drawn(found: UncertaintyResult) -> Iterator[Row]:
    yield fact("samples", found.samples)
    yield fact("seed", found.seed)
    yield fact("walls simulated as", found.wall)
    if found.probability is not None:
        yield fact("probability of passing", Share(found.probability))
    if found.probability_error is not None:
        yield fact("standard error of the probability", Share(found.probability_error))
    details: dict[str, Any] = dict(found.details or {})
    yield from facts_of(details)


def _percentiles(found: UncertaintyResult) -> Iterator[Row]:
    for p in found.percentiles:
        yield {
            "of the samples (%)": p.percentile,
            "last less than": p.shelf_life_days,
            "unit": "days",
            "ended by": limit_name(p.limited_by) if p.limited_by else None,
            "remark": None if p.shelf_life_days is not None else _NOT_REACHED,
        }
