"""Sheets of a frontier: a row for each shelf life, the layers of each, where the structure changes."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.report.design import structure_text
from optimizer.report.excel.cells import Share
from optimizer.report.excel.table import (
    LAYER_UNITS,
    Row,
    Table,
    fact,
    facts_of,
    layer_rows,
    listing,
    whole,
)
from optimizer.report.tradeoff import tradeoff_page
from optimizer.report.wording import in_words, limit_name
from optimizer.results_tradeoff import TradeoffResult


def tradeoff_tables(result: TradeoffResult) -> dict[str, Table]:
    """All sheets of ``tradeoff``."""
    unit = result.unit
    own = {
        "Frontier": Table(
            f"The least {result.minimised} for each shelf life.",
            tuple(_points(result)),
            {
                "shelf life": "days",
                "predicted life": "days",
                result.minimised: unit,
                "lower bound": unit,
                "mass of package": "g",
                "cost of package": f"{result.currency}/package",
            },
        ),
        "Changes": Table(
            "Where materials or their order change.",
            tuple(_kinks(result)),
            {"from": "days", "to": "days", "before": unit, "after": unit},
        ),
        "Structure": Table(
            "Layers of every point, inside to outside.",
            tuple(
                row
                for p in result.points
                for row in layer_rows(p.structure, {"shelf life": p.shelf_life_days})
            ),
            {"shelf life": "days", **LAYER_UNITS},
        ),
        "Changed structures": Table(
            "Layers on both sides of each change.",
            tuple(
                row
                for i, k in enumerate(result.kinks, 1)
                for side, structure in (("before", k.before), ("after", k.after))
                for row in layer_rows(structure, {"change no.": i, "side": side})
            ),
            LAYER_UNITS,
        ),
        "Limits": listing(map(limit_name, result.limits), "Limits that were kept.", "limit"),
        "Conflict": listing(map(in_words, result.conflict), "What cannot hold together."),
        "Solver": Table("How it was solved.", tuple(facts_of(result.solver, {"seconds": "s"}))),
    }
    return whole(result, tradeoff_page(result), _facts(result), own)


def _facts(result: TradeoffResult) -> Iterator[Row]:
    yield fact("status", result.status)
    yield fact("minimised", result.minimised)
    yield fact("target of the project", result.target_days, "days")
    yield fact("looked at from", result.from_days, "days")
    yield fact("looked at to", result.to_days, "days")
    longest = "structures exist to the end of the span" if result.points else "none was found"
    if result.longest_days is not None:
        longest = ", ".join(in_words(x) for x in result.longest_because)
    yield fact("longest shelf life", result.longest_days, "days", longest)
    yield fact("no structure for", result.beyond_days, "days")
    yield fact("changes of structure located to", Share(result.kink_tolerance))
    if result.nearest:
        yield fact("what comes nearest", in_words(result.nearest))


def _points(result: TradeoffResult) -> Iterator[Row]:
    for p in result.points:
        yield {
            "shelf life": p.shelf_life_days,
            "predicted life": p.reached_days,
            result.minimised: p.objective,
            "lower bound": p.lower_bound,
            "gap": None if p.gap is None else Share(p.gap),
            "mass of package": p.mass_g,
            "cost of package": p.cost_per_package,
            "life ended by": limit_name(p.limited_by) if p.limited_by else None,
            "structure, inside to outside (um)": structure_text(p.structure),
        }


def _kinks(result: TradeoffResult) -> Iterator[Row]:
    for i, k in enumerate(result.kinks, 1):
        yield {
            "no.": i,
            "from": k.between_days[0],
            "to": k.between_days[1],
            "change": k.change,
            "before": k.objective_before,
            "after": k.objective_after,
            "structure before (um)": structure_text(k.before),
            "structure after (um)": structure_text(k.after),
        }
