"""Sheets of a check: both packages side by side, the changes, the lightest that passes, both predictions."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.report.check import check_page
from optimizer.report.excel.cells import Share, Value
from optimizer.report.excel.predict import key_facts, prediction_tables
from optimizer.report.excel.table import (
    Row,
    Table,
    basis_tables,
    fact,
    facts_of,
    filled,
    side_by_side,
    whole,
)
from optimizer.report.predict import worst_stage
from optimizer.report.wording import limit_name
from optimizer.results import CheckResult, PartThickness, PredictResult

#: Sheets whose rows are of one package each: in two sheets, for charts.
_OVER_TIME = "Time series"


def check_tables(result: CheckResult) -> dict[str, Table]:
    """All sheets of ``check``."""
    now, before = prediction_tables(result.changed), prediction_tables(result.baseline)
    series = {
        _OVER_TIME: now.pop(_OVER_TIME, None),
        f"Baseline {_OVER_TIME.lower()}": before.pop(_OVER_TIME, None),
    }
    own = {
        "Side by side": Table("The changed package beside its baseline.", tuple(_compared(result))),
        "Changes": Table(
            "What was changed.",
            tuple({"what": c.what, "baseline": c.baseline, "changed": c.now} for c in result.changes),
        ),
        "Thickness": Table(
            "Local thickness of each part and layer; least: its thinnest place.",
            tuple(row for part in result.thickness for row in _thickness(part)),
            _THICKNESS_UNITS,
        ),
        "Lightest": Table("The lightest package that still passes.", tuple(_lightest(result))),
        "Lightest structure": Table(
            "Walls of the lightest package that still passes, inside to outside.",
            tuple(_lightest_layers(result)),
            {"thickness": "um"},
        ),
    }
    both = side_by_side({"changed": now, "baseline": before})
    basis = basis_tables(
        result.warnings,
        result.assumptions,
        dict.fromkeys([*result.changed.cautions, *result.baseline.cautions]),
        result.sources,
    )
    over_time = {name: table for name, table in series.items() if table is not None}
    last = [fact("input checksum of the baseline", result.baseline.inputs_sha256)]
    sheets = {**filled(own), **both, **over_time}
    return whole(result, check_page(result), _facts(result), sheets, last=last, basis=basis)


def _facts(result: CheckResult) -> Iterator[Row]:
    yield from key_facts(result.changed)
    yield fact("margin to the target", result.margin_pct, "%")
    for name, days in result.shelf_life_days.items():
        yield fact(f"shelf life, {name}", days, "days")
    for what, share in (
        ("probability that it passes", result.confidence),
        ("confidence asked for in the check", result.confidence_asked),
        ("probability that it lasts at least as long as the baseline", result.at_least_as_long),
        ("standard error of that", result.at_least_as_long_error),
    ):
        if share is not None:
            yield fact(what, Share(share))
    for row in key_facts(result.baseline):
        yield {**row, "item": f"baseline: {row['item']}"}


def _compared(result: CheckResult) -> Iterator[Row]:
    old, new = result.baseline, result.changed
    yield _pair("shelf life", old.shelf_life_days, new.shelf_life_days, "days")
    before = {(o.name, o.wall): o for o in old.limits}
    after = {(o.name, o.wall): o for o in new.limits}
    for key in dict.fromkeys([*before, *after]):
        a, b = before.get(key), after.get(key)
        shown = b or a
        assert shown is not None
        what = limit_name(shown.name) + (f" of {shown.wall}" if shown.wall else " at target")
        yield _pair(what, a.at_target if a else None, b.at_target if b else None, shown.unit)
    for gas in dict.fromkeys(t.gas for t in (*new.transmission, *old.transmission)):
        (first, unit), (second, other) = _worst(old, gas), _worst(new, gas)
        yield _pair(f"{gas} transmission in the worst stage", first, second, other or unit)
    yield _pair("mass", old.mass_g, new.mass_g, "g")
    same = new.currency if new.currency == old.currency else f"{old.currency}, {new.currency}"
    yield _pair("material cost", old.cost_per_package, new.cost_per_package, same)


def _pair(what: str, old: float | None, new: float | None, unit: str) -> Row:
    change: Value = None
    if old is not None and new is not None and old != 0.0:
        change = 100.0 * (new / old - 1.0)
    return {"quantity": what, "baseline": old, "changed": new, "unit": unit or None, "difference (%)": change}


def _worst(result: PredictResult, gas: str) -> tuple[float | None, str]:
    """Transmission of the whole package in its worst stage, and its unit."""
    rows = [t for t in result.transmission if t.gas == gas]
    if not rows:
        return None, ""
    stage = worst_stage(rows, gas)
    return sum(t.value for t in rows if t.stage == stage), rows[0].unit


def _lightest(result: CheckResult) -> Iterator[Row]:
    told = dict(result.lightest_passing or {})
    told.pop("walls", None)
    if told.get("limited_by"):
        told["limited_by"] = limit_name(told["limited_by"])
    return facts_of(told, {"cost_per_package": str(told.get("currency") or "")})


def _lightest_layers(result: CheckResult) -> Iterator[Row]:
    for wall, layers in ((result.lightest_passing or {}).get("walls") or {}).items():
        for i, layer in enumerate(layers, 1):
            told = {"material": layer["material"], "thickness": layer["thickness_um"]}
            yield {"wall": wall, "layer": i, **told}


_THICKNESS_UNITS = {
    "baseline": "um",
    "changed": "um",
    "difference": "%",
    "baseline, least": "um",
    "changed, least": "um",
}


def _thickness(part: PartThickness) -> Iterator[Row]:
    yield {
        "part": part.part,
        "layer": "all",
        "baseline": part.baseline_um,
        "changed": part.now_um,
        "difference": part.change_pct,
        "baseline, least": part.baseline_least_um,
        "changed, least": part.now_least_um,
    }
    for layer in part.layers:
        yield {
            "part": part.part,
            "layer": layer.material,
            "baseline": layer.baseline_um,
            "changed": layer.now_um,
            "difference": layer.change_pct,
            "baseline, least": None,
            "changed, least": None,
        }
