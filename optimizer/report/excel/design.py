"""Sheets of a design: the structure and its proof, what holds it, alternatives, then its prediction."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.report.design import design_page, structure_text
from optimizer.report.excel.cells import Share
from optimizer.report.excel.predict import key_facts, prediction_tables
from optimizer.report.excel.table import (
    LAYER_UNITS,
    Row,
    Table,
    basis_tables,
    fact,
    facts_of,
    filled,
    layer_rows,
    listing,
    whole,
)
from optimizer.report.wording import in_words, limit_name
from optimizer.results import DesignResult


def design_tables(result: DesignResult) -> dict[str, Table]:
    """All sheets of ``design``."""
    predicted = result.predicted
    facts = (*_key_facts(result), *([] if predicted is None else key_facts(predicted)))
    own = {
        "Structure": Table(
            "The structure chosen, inside to outside.", tuple(layer_rows(result.structure)), LAYER_UNITS
        ),
        "Alternatives": Table(
            "The next best structures, layer by layer.",
            tuple(_alternatives(result)),
            {"objective": result.objective_unit, "above best": "%", **LAYER_UNITS},
        ),
        "Binding": Table(
            "What one step of each limit or rule saves or costs, designed anew.", tuple(_binding(result))
        ),
        "Relaxed structures": Table(
            "Structures that come out where a limit or rule is relaxed by one step.",
            tuple(_relaxed(result)),
            LAYER_UNITS,
        ),
        "Binding notes": listing(map(in_words, result.binding_notes), "What was not looked at."),
        "Conflict": listing(map(in_words, result.conflict), "What cannot hold together."),
        "Confidence": Table("What the confidence asked for costs.", tuple(_confidence(result))),
        "Solver": Table("How it was solved.", tuple(facts_of(result.solver, {"seconds": "s"}))),
    }
    sheets = {} if predicted is None else prediction_tables(predicted)
    sheets.pop("Structure", None)  # that of the design says more
    return whole(result, design_page(result), facts, {**filled(own), **sheets}, basis=_basis(result))


def _basis(result: DesignResult) -> dict[str, Table]:
    """One list each: what the design adds stands after what the prediction says."""
    p = result.predicted
    warnings = dict.fromkeys([*(p.warnings if p else ()), *result.warnings])
    assumptions = dict.fromkeys([*(p.assumptions if p else ()), *result.assumptions])
    return basis_tables(warnings, assumptions, p.cautions if p else (), p.sources if p else ())


def _key_facts(result: DesignResult) -> Iterator[Row]:
    yield fact("status", result.status.replace("_", " "))
    if result.stopped_by is not None:
        yield fact("stopped by", result.stopped_by)
    yield fact("minimised", result.minimised)
    yield fact(f"{result.minimised} (objective)", result.objective, result.objective_unit)
    yield fact("lower bound proved", result.lower_bound, result.objective_unit)
    yield fact("gap to the bound", None if result.gap is None else Share(result.gap))
    if result.nearest:
        yield fact("what comes nearest", in_words(result.nearest))


def _alternatives(result: DesignResult) -> Iterator[Row]:
    for i, a in enumerate(result.alternatives, 1):
        before = {
            "no.": i,
            "objective": a.objective,
            "above best": a.excess_pct,
            "proved next best": a.proved,
        }
        yield from layer_rows(a.structure, before)


def _binding(result: DesignResult) -> Iterator[Row]:
    for b in result.binding:
        yield {
            "limit or rule": limit_name(b.name),
            "relaxed by": b.unit,
            "saves": b.saves,
            "saves at least": b.saves_least,
            "saves at most": b.saves_most,
            "tightened by": b.tighter or None,
            "costs": b.costs,
            "costs at least": b.costs_least,
            "costs at most": b.costs_most,
            "unit": b.saves_unit,
            "structure when relaxed (um)": structure_text(b.structure) or None,
            "note": b.note or None,
        }


def _relaxed(result: DesignResult) -> Iterator[Row]:
    for b in result.binding:
        yield from layer_rows(b.structure, {"limit or rule": limit_name(b.name), "relaxed by": b.unit})


def _confidence(result: DesignResult) -> Iterator[Row]:
    money = ("objective_without", "price", "highest_objective")
    return facts_of(result.confidence or {}, dict.fromkeys(money, result.objective_unit))
