"""Text and table of a frontier: what each shelf life costs, and where the structure changes."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping

from optimizer.constants import PERMEANTS
from optimizer.report.basis import basis
from optimizer.report.excel.cells import csv_text
from optimizer.report.page import Column, Page, number, word
from optimizer.report.wording import (
    apart,
    duration_unit,
    figure,
    in_units,
    in_words,
    less,
    limit_name,
    money,
    percent,
    with_unit,
)
from optimizer.results_tradeoff import Kink, Structure, TradeoffPoint, TradeoffResult
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.shelflife.words import sentence
from optimizer.units.systems import SI, System

#: Materials of every wall, inside to outside.
Key = tuple[tuple[str, ...], ...]

#: Characters of thicknesses that stand on one line.
_UNBROKEN = 16
_STOPPED = {"time": "TIME LIMIT", "interrupt": "INTERRUPTED", "memory": "MEMORY LIMIT"}


def tradeoff_page(result: TradeoffResult, *, units: System = SI) -> Page:
    """The whole answer of ``tradeoff``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    unit, length = duration_unit(result.target_days or result.to_days)
    if result.points:
        letters = letters_of(result)
        head = _STOPPED.get(result.status, "FRONTIER")
        page.verdict(f"{head}: {_headline(result, unit, length, units)}", head == "FRONTIER")
        page.line(_proof(result))
        page.line(_end(result, unit, length))
        _points(page, result, letters, unit, length, units)
        page.heading("Layers, inside to outside")
        for layers, letter in letters.items():
            page.hanging(letter, names_of(layers))
        kinks = [_kink(k, letters, unit, length, units) for k in result.kinks]
        page.bullets("Where the structure changes", kinks)
    elif result.status == "infeasible":
        shortest = f"{figure(result.from_days / length)} {unit}"
        page.verdict(
            f"INFEASIBLE: no structure of these candidates meets all limits and rules even for {shortest}.",
            False,
        )
        page.bullets("These cannot hold together", map(in_words, result.conflict))
        if result.nearest:
            page.heading("What comes nearest").indented(
                sentence(in_words(result.nearest.removeprefix("Nearest: ")))
            )
    else:
        page.verdict(f"{_STOPPED[result.status]}: no structure that passes was found before it ended.", False)
    return _closing(page, result, units)


# -- what is said first ------------------------------------------------------------------------------------


def _amount(result: TradeoffResult, value: float, units: System) -> str:
    if result.minimised == "cost":
        return money(value, result.unit)
    return with_unit(value, result.unit, 4, units)


def _headline(result: TradeoffResult, unit: str, length: float, units: System) -> str:
    first, last = result.points[0], result.points[-1]
    if len(result.points) == 1:
        return f"one point, {figure(first.shelf_life_days / length)} {unit}: {result.minimised} " + (
            f"{_amount(result, first.objective, units)}."
        )
    low, high = (figure(p.shelf_life_days / length) for p in (first, last))
    return (
        f"{len(result.points)} points from {low} to {high} {unit}: {result.minimised} "
        f"{in_units(first.objective, result.unit, units, 4)} to {_amount(result, last.objective, units)}."
    )


def _proof(result: TradeoffResult) -> str:
    """The claim that the widest gap allows, never rounded in its favour."""
    gaps = [p.gap for p in result.points]
    if any(g is None for g in gaps):
        return "Not every point has a proved bound."
    widest = 100.0 * max(g for g in gaps if g is not None)
    rules = "no structure of these candidates under these rules"
    better = less(result.minimised)
    if widest <= 1e-7:
        return f"Proved: at each point, {rules} is {better}."
    step = 10.0 ** (math.floor(math.log10(widest)) - 1)
    most = figure(math.ceil(widest / step - 1e-9) * step, 2)
    return f"Proved: at each point, {rules} is more than {most} % {better}."


def _end(result: TradeoffResult, unit: str, length: float) -> str:
    if result.longest_days is None:
        if result.points[-1].shelf_life_days < result.to_days * (1.0 - 1e-9):
            return "How long any structure can last was not found out before it ended."
        last = f"{figure(result.to_days / length)} {unit}"
        return f"Structures exist to the end of the span; longer than {last} was not looked at."
    because = ", ".join(in_words(x) for x in result.longest_because)
    if result.beyond_days is None:
        text = f"The longest found is {figure(result.longest_days / length)} {unit}"
    else:
        low, high = apart(result.longest_days / length, result.beyond_days / length)
        text = f"The longest possible is {low} {unit}; for {high} {unit} there is no structure"
    return f"{text}. It is held there by: {because}." if because else f"{text}."


# -- the points --------------------------------------------------------------------------------------------


def _points(
    page: Page,
    result: TradeoffResult,
    letters: Mapping[Key, str],
    unit: str,
    length: float,
    units: System,
) -> None:
    page.heading(f"Least {result.minimised} for each shelf life")
    first = result.points[0].objective
    rows = []
    for p in result.points:
        above = 100.0 * (p.objective / first - 1.0) if first > 0.0 else 0.0
        rows.append(
            [
                figure(p.shelf_life_days / length),
                in_units(p.objective, result.unit, units, 4),
                "" if above < 0.005 else f"+{figure(above, 2)} %",
                _beside(result, p, units),
                "" if p.gap is None else _small(100.0 * p.gap),
                letters[key_of(p.structure)],
                _thicknesses(p.structure, units),
                _note(result, p),
            ]
        )
    all_of_it = f"{result.currency} in all" if result.minimised == "mass" else f"{units.unit('g')} in all"
    page.table(
        [
            number(unit),
            number(units.unit(result.unit)),
            number("more"),
            number(all_of_it),
            number("gap"),
            word(""),
            Column(units.unit("um")),
            word(""),
        ],
        rows,
    )
    page.indented(
        "more: than the shortest; in all: the whole package; gap: the most that the bound leaves open"
    )


def _beside(result: TradeoffResult, point: TradeoffPoint, units: System) -> str:
    """Cost or mass of the whole package, whichever is not minimised."""
    if result.minimised == "mass":
        return "" if point.cost_per_package is None else figure(point.cost_per_package)
    return in_units(point.mass_g, "g", units)


def _small(value: float) -> str:
    """A gap in per cent; what is below the last digit shown is not called zero."""
    return "0 %" if value == 0.0 else "<0.01 %" if value < 0.01 else f"{figure(value, 2)} %"


def _note(result: TradeoffResult, point: TradeoffPoint) -> str:
    for days, text in ((result.target_days, "target"), (result.longest_days, "longest")):
        if days is not None and abs(point.shelf_life_days - days) < 1e-6 * days:
            return text
    return ""


def _thicknesses(structure: Structure, units: System) -> str:
    walls = [[in_units(x.thickness_um, "um", units) for x in layers] for layers in structure.values()]
    text = "; ".join("/".join(wall) for wall in walls)
    # a long one is broken between two numbers, never within one
    return text if len(text) <= _UNBROKEN else "; ".join(" / ".join(wall) for wall in walls)


# -- structures --------------------------------------------------------------------------------------------


def key_of(structure: Structure) -> Key:
    """Materials of every wall, the wall's name first where there are several."""
    several = len(structure) > 1
    return tuple(
        (*([f"{wall}:"] if several else []), *(layer.material for layer in layers))
        for wall, layers in structure.items()
    )


def names_of(key: Key) -> str:
    texts = []
    for wall in key:
        head, rest = (f"{wall[0]} ", wall[1:]) if wall and wall[0].endswith(":") else ("", wall)
        texts.append(head + " / ".join(rest))
    return "; ".join(texts)


def letters_of(result: TradeoffResult) -> dict[Key, str]:
    """A letter for every order of layers, in the order of shelf life."""
    ordered = [(p.shelf_life_days, key_of(p.structure)) for p in result.points]
    for kink in result.kinks:
        ordered += [(kink.between_days[0], key_of(kink.before)), (kink.between_days[1], key_of(kink.after))]
    keys = dict.fromkeys(key for _, key in sorted(ordered))
    return {key: _letter(i) for i, key in enumerate(keys)}


def _letter(i: int) -> str:
    """A to Z, then AA, AB, ..."""
    text = ""
    i += 1
    while i:
        i, rest = divmod(i - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _kink(kink: Kink, letters: Mapping[Key, str], unit: str, length: float, units: System) -> str:
    low, high = apart(*(days / length for days in kink.between_days))
    before, after = letters[key_of(kink.before)], letters[key_of(kink.after)]
    costs = apart(*(units.value(x, kink.unit) for x in (kink.objective_before, kink.objective_after)))
    amount = f"{costs[0] if costs[0] == costs[1] else ' to '.join(costs)} {units.unit(kink.unit)}"
    return f"{before} to {after} between {low} and {high} {unit}, at {amount}: {kink.change}"


def _closing(page: Page, result: TradeoffResult, units: System) -> Page:
    gases = {LIMIT_GAS.get(name, name.removeprefix("transmission ")) for name in result.limits}
    basis(
        page,
        warnings=result.warnings,
        assumptions=result.assumptions,
        cautions=result.cautions,
        sources=result.sources,
        gases=[g for g in PERMEANTS if g in gases],
        units=units,
    )
    solver = result.solver
    taken = solver["taken_over"]
    page.heading("Solver").indented(
        f"{solver['name']}, {solver['searches']} searches, {taken} of {len(result.points)} points taken over "
        f"from beside, gap asked {percent(100.0 * solver['gap_asked'])}, {figure(solver['seconds'])} s"
    )
    return page


# -- table for other programs ------------------------------------------------------------------------------


def tradeoff_csv(result: TradeoffResult) -> str:
    """One row for each point, units in the header row; numbers in full, empty where there is none."""
    money_unit = f"{result.currency}/package" if result.currency else "per package"
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            "shelf life [days]",
            "predicted life [days]",
            f"{result.minimised} minimised [{result.unit}]",
            f"lower bound [{result.unit}]",
            "gap [%]",
            "mass of package [g]",
            f"cost of package [{money_unit}]",
            "life ended by",
            "structure, inside to outside [um]",
            "change since the row before",
        ]
    )
    before = 0.0
    for p in result.points:
        changes = [k.change for k in result.kinks if before <= k.between_days[0] < p.shelf_life_days]
        writer.writerow(
            [
                *map(_cell, (p.shelf_life_days, p.reached_days, p.objective, p.lower_bound)),
                _cell(None if p.gap is None else 100.0 * p.gap),
                *map(_cell, (p.mass_g, p.cost_per_package)),
                limit_name(p.limited_by) if p.limited_by else "",
                csv_text(_full(p.structure)),
                csv_text(", then ".join(changes)),
            ]
        )
        before = p.shelf_life_days
    return out.getvalue()


def _full(structure: Structure) -> str:
    """'PET 220.703'; the wall is named where there are several."""
    texts = {
        wall: " / ".join(f"{layer.material} {layer.thickness_um:.7g}" for layer in layers)
        for wall, layers in structure.items()
    }
    return "; ".join(f"{wall}: {text}" if len(texts) > 1 else text for wall, text in texts.items())


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"
