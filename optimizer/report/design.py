"""Text of a design: the structure, how near the best it is, what holds it there, then its prediction."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number
from optimizer.report.predict import ending, prediction_sections, verdict, walls_line
from optimizer.report.uncertainty import chance, plain_share, spread_sections, uncertainty_sections
from optimizer.report.wording import (
    figure,
    in_units,
    in_words,
    less,
    limit_name,
    listed,
    money,
    percent,
    with_unit,
)
from optimizer.results import Binding, ChosenLayer, DesignResult
from optimizer.shelflife.words import sentence
from optimizer.units.systems import SI, System

#: What is proved of a saving may be this much more before it is told as 'at least'.
_FAR = 1.2


def design_page(result: DesignResult, *, units: System = SI) -> Page:
    """The whole answer of ``design``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    if result.status == "infeasible":
        return _infeasible(page, result, units)
    if not result.structure or result.objective is None:
        page.verdict(_nothing(result), False)
        page.line(_bound(result, units))
        _confidence(page, result, units)
        return _closing(page, result, units)
    predicted = result.predicted
    good = predicted is not None and predicted.passes
    page.verdict(_headline(result, units), good)
    if predicted is not None:
        page.line(verdict(predicted))
        walls_line(page, predicted)
    page.line(_proof(result, units))
    _structures(page, result, units)
    _confidence(page, result, units)
    _binding(page, result, units)
    _alternatives(page, result, units)
    if predicted is not None:
        uncertainty_sections(page, predicted)
        prediction_sections(page, predicted, units=units)
        spread_sections(page, predicted, units=units)
    return _closing(page, result, units)


def _headline(result: DesignResult, units: System) -> str:
    head = _head(result) + (": best found so far" if result.status == "time_limit" else "")
    return f"{head}: {result.minimised} {_amount(result, result.objective, units)}."


def _nothing(result: DesignResult) -> str:
    if result.stopped_by in (None, "unsettled") and result.lower_bound is None:
        return "NONE FOUND: no structure that passes among those tried."
    until = {"interrupt": "so far", "memory": "in the memory given"}
    end = until.get(result.stopped_by or "", "in the time given")
    head = "TIME LIMIT" if result.stopped_by is None else _head(result)
    return f"{head}: no structure that passes was found {end}."


def _head(result: DesignResult) -> str:
    """The first words: how the search ended."""
    if result.status != "time_limit":
        return result.status.upper()
    if result.stopped_by in (None, "unsettled"):
        return "NOT SETTLED"
    return {"interrupt": "INTERRUPTED", "memory": "MEMORY LIMIT"}.get(result.stopped_by or "", "TIME LIMIT")


def _amount(result: DesignResult, value: float | None, units: System) -> str:
    return (
        money(value, result.objective_unit)
        if result.minimised == "cost"
        else with_unit(value, result.objective_unit, 4, units)
    )


def _proof(result: DesignResult, units: System) -> str:
    """The claim that the lower bound allows, never rounded in its favour."""
    better = less(result.minimised)
    corrected = bool(result.solver.get("corrected_to"))
    rules = "of these candidates under these rules" + (" and the corrected limits" if corrected else "")
    if result.lower_bound is None or result.objective is None or result.objective <= 0.0:
        return "No bound was proved: a better structure may exist."
    share = 100.0 * (result.objective - result.lower_bound) / result.objective
    bound = _amount(result, result.lower_bound, units)
    if share <= 1e-7:
        return f"Proved: no structure {rules} is {better} (lower bound {bound})."
    start = "Proved" if result.status == "optimal" else "Proved so far"
    return f"{start}: no structure {rules} is more than {_up(share)} % {better} (lower bound {bound})."


def _bound(result: DesignResult, units: System) -> str:
    if result.lower_bound is None:
        return "Nothing was proved." + ("" if result.stopped_by is None else " Let the search run longer.")
    return (
        f"Whatever meets the limits has a {result.minimised} of at least "
        f"{_amount(result, result.lower_bound, units)}; give the search more time with --time-limit."
    )


def _up(value: float, digits: int = 2) -> str:
    """``value`` rounded up to ``digits`` significant digits."""
    step = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return figure(math.ceil(value / step - 1e-9) * step, digits)


def _structures(page: Page, result: DesignResult, units: System) -> None:
    for wall, layers in result.structure.items():
        total = sum(layer.thickness_um for layer in layers)
        page.heading(f"Wall {wall}, {with_unit(total, 'um', 4, units)}, inside to outside")
        page.table(
            [Column("material"), number(units.unit("um")), number(units.unit("g")), number("cost share")],
            [
                [layer.material, in_units(layer.thickness_um, "um", units, 4), *_layer_extras(layer, units)]
                for layer in layers
            ],
        )


def _layer_extras(layer: ChosenLayer, units: System) -> tuple[str, str]:
    """Mass and share of cost of a layer, where the result holds them."""
    mass, share = layer.mass_g, layer.cost_share_pct
    weight = "" if mass is None else in_units(mass, "g", units)
    return weight, "" if share is None else percent(share)


def _confidence(page: Page, result: DesignResult, units: System) -> None:
    """What the confidence asked for costs, and how sure that is; without a structure, what can be reached."""
    told = result.confidence
    if told is None:
        return
    page.heading(f"Confidence: {percent(100.0 * told['asked'], 4)} asked for")
    probability, error = told.get("probability"), told.get("probability_error")
    if probability is not None:
        share = "All" if probability >= 1.0 else f"{chance(probability, error)} of"
        page.indented(
            f"{share} {told['samples']} samples that the search has not seen pass "
            f"(seed {told['fresh_seed']}, standard error {percent(100.0 * (error or 0.0), 2)})."
        )
    if "price" in told:
        price, without = (_amount(result, told[key], units) for key in ("price", "objective_without"))
        page.indented(f"The confidence costs {price}: without it the {result.minimised} is {without}.")
        kept = [f"{percent(100.0 * share)} of {limit_name(name)}" for name, share in told["reserve"].items()]
        page.indented(f"Left unused with the properties as given: {listed(kept)}.")
    if "highest_probability" in told:
        reached = chance(told["highest_probability"], told["highest_probability_error"])
        page.indented(
            f"The highest chance reached is {reached}, at a {result.minimised} of "
            f"{_amount(result, told['highest_objective'], units)}."
        )
    if told.get("perfect_walls_probability") is not None:
        most = plain_share(told["perfect_walls_probability"], 1.0 / told["samples"])
        page.indented(f"With designed walls that let nothing through, {most} of the samples would pass.")
    if "samples" in told:
        page.indented(
            f"Searched on {told['samples']} samples, the same throughout (seed {told['seed']}, walls "
            f"{told['wall']}); searches: {told['searches']}."
        )
    for note in told.get("notes", ()):
        page.indented(sentence(note))


def _binding(page: Page, result: DesignResult, units: System) -> None:
    """What one step of relaxation saves, what one step tighter costs, and the designs that look different."""
    rows = result.binding
    if not rows and not result.binding_notes:
        return
    page.heading("What holds the optimum")
    if rows:
        page.table(
            [Column("limit or rule"), Column("relaxed by"), number("saves"), Column("unit")],
            [[limit_name(b.name), b.unit, _saved(b, units), units.unit(b.saves_unit)] for b in rows],
        )
    dearer = [b for b in rows if b.costs is not None]
    if dearer:
        page.line()
        page.table(
            [Column("limit or rule"), Column("tightened by"), number("costs"), Column("unit")],
            [
                [
                    limit_name(b.name),
                    b.tighter,
                    in_units(b.costs, b.saves_unit, units),
                    units.unit(b.saves_unit),
                ]
                for b in dearer
            ],
        )
    for b in rows:
        if b.structure:
            page.indented(f"{limit_name(b.name)}, {b.unit}: {structure_text(b.structure, units)}")
    notes = [f"{b.name}: {b.note}" for b in rows if b.note]
    for note in (*notes, *result.binding_notes):
        page.indented(in_words(note))


def _saved(b: Binding, units: System) -> str:
    saved, least = proved_saving(b)
    return f"{'>= ' if least else ''}{in_units(saved, b.saves_unit, units)}"


def proved_saving(b: Binding) -> tuple[float, bool]:
    """What is told of a saving, and whether it is its lower end: where what is proved reaches far above."""
    if b.saves_least is not None and b.saves_most is not None and b.saves_most > _FAR * b.saves:
        return b.saves_least, True
    return b.saves, False


def _alternatives(page: Page, result: DesignResult, units: System) -> None:
    if not result.alternatives:
        return
    page.heading(f"Next best, inside to outside, {units.unit('um')}")
    rows = [
        [
            f"+{percent(a.excess_pct)}{'' if a.proved else ' *'}",
            _amount(result, a.objective, units),
            structure_text(a.structure, units),
        ]
        for a in result.alternatives
    ]
    page.table([number("above best"), number(result.minimised), Column("structure")], rows)
    if all(a.proved for a in result.alternatives):
        page.indented("Each is proved best of its own sequence, and nothing cheaper was left out.")
    else:
        page.indented("* good, but not proved to be next: the time set aside for this was up")


def structure_text(structure: Mapping[str, Sequence[ChosenLayer]], units: System = SI) -> str:
    """'HDPE 320 / tie PE 8 / EVOH 32 12'; the wall is named when there are several."""
    several = len(structure) > 1
    walls = []
    for wall, layers in structure.items():
        text = " / ".join(f"{layer.material} {in_units(layer.thickness_um, 'um', units)}" for layer in layers)
        walls.append(f"{wall}: {text}" if several else text)
    return "; ".join(walls)


def _infeasible(page: Page, result: DesignResult, units: System) -> Page:
    page.verdict("INFEASIBLE: no structure of these candidates meets all limits and rules.", False)
    page.bullets("These cannot hold together", map(in_words, result.conflict))
    if result.nearest:
        page.heading("What comes nearest").indented(
            sentence(in_words(result.nearest.removeprefix("Nearest: ")))
        )
    _confidence(page, result, units)
    if result.structure:
        _structures(page, result, units)
    if result.predicted is not None:
        page.line().line(verdict(result.predicted))
        prediction_sections(page, result.predicted, units=units)
    return _closing(page, result, units)


def _closing(page: Page, result: DesignResult, units: System) -> Page:
    predicted = result.predicted
    if predicted is None:
        basis(page, warnings=result.warnings, assumptions=result.assumptions, units=units)
    else:
        from dataclasses import replace

        # One list each: what the design adds stands after what the prediction says.
        merged = replace(
            predicted,
            warnings=tuple(dict.fromkeys([*predicted.warnings, *result.warnings])),
            assumptions=tuple(dict.fromkeys([*predicted.assumptions, *result.assumptions])),
        )
        ending(page, merged, units=units)
    if result.solver:
        page.heading("Solver").indented(", ".join(_solver(*item) for item in result.solver.items()))
    return page


def _solver(key: str, value: object) -> str:
    """'HiGHS', 'gap asked 0.1 %', '2.3 s', 'rounds 4'."""
    if key == "name":
        return str(value)
    if key == "seconds":
        return f"{_plain(value)} s"
    if key == "gap_asked" and isinstance(value, float):
        return f"gap asked {percent(100.0 * value)}"
    return f"{key.replace('_', ' ')} {_plain(value)}"


def _plain(value: object) -> str:
    if isinstance(value, float):
        return figure(value)
    if isinstance(value, Mapping):
        return "(" + ", ".join(f"{k} {_plain(v)}" for k, v in value.items()) + ")"
    return str(value)
