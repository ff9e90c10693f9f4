"""The same design for another objective than the project's own."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from optimizer.design.options import OBJECTIVES, DesignOptions
from optimizer.errors import InputError, Problem
from optimizer.project.load import Project

_PLACE = ("design", "choose_from")


def with_objective(project: Project, minimise: str | None) -> DesignOptions:
    """The project's design options, minimising something else where ``minimise`` says so.

    Raises InputError when the project has no design section, or when prices are missing for the cost.
    """
    options = project.design
    if options is None:
        hint = "add design: {walls: [...], minimise: cost, choose_from: [...]}"
        raise InputError(Problem("the project has no design section", str(project.path), hint=hint))
    if minimise is None or minimise == options.minimise:
        return options
    if minimise not in OBJECTIVES:
        raise InputError(
            Problem(f"'{minimise}' cannot be minimised", field="--minimise", hint=", ".join(OBJECTIVES))
        )
    if minimise == "cost":
        _check_prices(project, options)
    return replace(options, minimise=minimise)


def _check_prices(project: Project, options: DesignOptions) -> None:
    """Every candidate has a price, all in one currency."""
    problems = [
        project.source.problem(
            _place(project, m.web or m.name),
            f"'{m.web or m.name}' has no price, and the cost is to be minimised",
            f"add {{name: {m.web or m.name}, price: 1.30 EUR/kg}}, say, under 'materials', or minimise mass",
        )
        for m in options.candidates
        if m.price is None
    ]
    currencies = sorted({m.currency for m in options.candidates if m.price is not None})
    if len(currencies) > 1:
        text = "the prices are in different currencies: " + ", ".join(currencies)
        problems.append(project.source.problem(_PLACE, text, "give all prices in one currency"))
    if problems:
        raise InputError(tuple(dict.fromkeys(problems)))


def _place(project: Project, name: str) -> tuple[str | int, ...]:
    """Where the candidate stands; the whole list for one that is there under another name."""
    design: Any = project.data.get("design") or {}
    names = design.get("choose_from") or []
    return (*_PLACE, names.index(name)) if name in names else _PLACE
