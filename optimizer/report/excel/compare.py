"""Sheets of a comparison: offers by rank, pairs, walls, what they state."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.report.compare import compare_page
from optimizer.report.excel.cells import Share, Value
from optimizer.report.excel.table import (
    LAYER_UNITS,
    Row,
    Table,
    fact,
    facts_of,
    layer_rows,
    whole,
)
from optimizer.report.wording import in_words
from optimizer.results_compare import CompareResult, OfferOutcome


def compare_tables(result: CompareResult) -> dict[str, Table]:
    """All sheets of ``compare``."""
    money = result.currency
    own = {
        "Offers": Table(
            "Each offer at equal shelf life, best first.",
            tuple(_offer(o) for o in result.offers),
            {
                "value": result.objective_unit,
                "lower bound": result.objective_unit,
                "cost": f"{money}/package",
                "cost per year": f"{money}/year",
                "mass": "g/package",
                "offered material": "g/package",
                "shelf life": "days",
            },
        ),
        "Prices": Table(
            "Price of each offer, and the price at which it costs as much as its rival, designed anew.",
            tuple(_price(o) for o in result.offers),
            {"difference to rival": result.objective_unit, "+- 95 %": result.objective_unit},
        ),
        "Pairs": Table(
            "Every two offers, the better first, and whether they can be told apart.",
            tuple(_pairs(result)),
            {name: result.objective_unit for name in ("difference", "+- 95 %", "left open by the proofs")},
        ),
        "Structure": Table(
            "Walls of each offer, inside to outside.",
            tuple(
                row
                for o in result.offers
                for row in layer_rows(o.structure, {"offer": o.name, "rank": o.rank})
            ),
            LAYER_UNITS,
        ),
        "Spreads": Table(
            "Relative standard deviation of what each offer states.",
            tuple(
                {"offer": o.name, "gas": gas, "spread": pct, "unit": "%"}
                for o in result.offers
                for gas, pct in o.spread_pct.items()
            ),
        ),
        "Conflict": Table("Why an offer cannot meet the target.", tuple(_conflicts(result))),
        "Exchange rates": Table(
            "Exchange rates used.",
            tuple(
                {"rate": name, "value": value, "unit": _rate_unit(name)}
                for name, value in result.rates.items()
            ),
        ),
        "Solver": Table("How it was solved.", tuple(facts_of(result.solver, {"seconds": "s"}))),
    }
    return whole(result, compare_page(result), _facts(result), own)


def _facts(result: CompareResult) -> Iterator[Row]:
    yield fact("status", result.status.replace("_", " "))
    yield fact("minimised", result.minimised)
    best = next((o for o in result.offers if o.rank == 1), None)
    if best is not None:
        yield fact("best", best.name)
        yield fact(f"{result.minimised} with the best", best.value, result.objective_unit)
    yield fact("target", result.target_days, "days")
    yield fact("packages per year", result.volume_per_year, "packages/year")
    yield fact("gases looked at", ", ".join(result.gases))


def _offer(o: OfferOutcome) -> Row:
    return {
        "rank": o.rank,
        "offer": o.name,
        "supplier": o.supplier or None,
        "material": o.material or None,
        "grade": o.grade or None,
        "as in the project": o.baseline,
        "status": o.status.replace("_", " "),
        "value": o.value,
        "lower bound": o.lower_bound,
        "gap": _share(o.gap),
        "cost": o.cost_per_package,
        "cost per year": o.cost_per_year,
        "mass": o.mass_g,
        "offered material": o.offered_g,
        "shelf life": o.shelf_life_days,
        "barrier not used": o.barrier_unused,
    }


def _price(o: OfferOutcome) -> Row:
    return {
        "rank": o.rank,
        "offer": o.name,
        "price": o.price,
        "ties at": o.break_even_price,
        "ties at, +-": o.break_even_tolerance,
        "price unit": o.price_unit or None,
        "rival": o.rival or None,
        "difference to rival": o.difference,
        "+- 95 %": o.plus_minus,
        "told apart": o.distinguishable,
        "note": o.break_even_note or None,
    }


def _pairs(result: CompareResult) -> Iterator[Row]:
    for p in result.pairs:
        yield {
            "ahead": p.first,
            "of": p.second,
            "difference": p.difference,
            "+- 95 %": p.plus_minus,
            "left open by the proofs": p.left_open,
            "told apart": p.distinguishable,
            "spread needed, of the present": _share(p.spread_needed),
        }


def _conflicts(result: CompareResult) -> Iterator[Row]:
    for o in result.offers:
        for text in (*o.conflict, *([o.nearest] if o.nearest else [])):
            yield {"offer": o.name, "text": in_words(text)}


def _rate_unit(name: str) -> str:
    """'EUR for 1 USD' from 'USD/EUR'."""
    given, _, wanted = name.partition("/")
    return f"{wanted} for 1 {given}"


def _share(value: float | None) -> Value:
    return None if value is None else Share(value)
