"""Text of a case worked by hand: every step with its equation, the numbers put in, and what comes out."""

from __future__ import annotations

from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number
from optimizer.report.wording import figure, in_units, in_words, limit_name
from optimizer.results_explain import ExplainResult, ExplainStep
from optimizer.units.systems import SI, System

#: Marks of an equation with the steps that it uses, and of the same with numbers and of what comes out.
_EQUATION, _NUMBERS = "    :", "    ="
#: What fits into one line beside a mark.
_ROOM = 64
#: What stands before a number that is put in as it is.
_FROM = {
    "input": "given",
    "constant": "constant",
    "table": "steam table",
    "program": "from the program",
    "simulation": "from the simulation",
}


def explain_page(result: ExplainResult, *, units: System = SI) -> Page:
    """The whole answer of ``explain``. units: of the stages; the steps are in SI units throughout."""
    page = Page().line(result.title, "bold").line()
    page.verdict(_verdict(result), result.agrees)
    page.line(_method(result))
    _answers(page, result)
    _stages(page, result, units)
    page.bullets("Taken from the program and its simulation", result.taken)
    _how_to_read(page, result)
    _steps(page, result)
    basis(
        page,
        warnings=result.warnings,
        assumptions=result.assumptions,
        sources=result.sources,
        gases=[result.gas] if result.gas == "H2O" else [result.gas, "H2O"],
        units=units,
        kept=("steps",),
    )
    return page


def _verdict(result: ExplainResult) -> str:
    name = limit_name(result.limit_name)
    if result.answer_unit == "days":
        text = f"the limit on {name} is reached after {figure(result.hand, 6)} days by hand"
        own = f"{figure(result.compared, 6)} days by the program"
    else:
        unit = "" if result.answer_unit in ("-", "1") else f" {result.answer_unit}"
        now = f"{figure(result.hand, 6)}{unit} (limit {figure(result.limit, 6)}{unit})"
        text = f"after {figure(result.at_days, 6)} days {name} is {now} by hand"
        own = f"{figure(result.compared, 6)}{unit} by the program"
    steady = "" if result.wall_model == "steady" else " with steady walls"
    head = "AGREES" if result.agrees else "DIFFERS"
    return f"{head}: {text}, {own}{steady}."


def _method(result: ExplainResult) -> str:
    if result.method == "closed form":
        return f"The hand calculation is exact: {result.method_reason}."
    if any(step.title.startswith("Mean conductance") for step in result.steps):
        return (
            "The hand calculation sums up with mean values from the program, because "
            f"{result.method_reason}. The conductance is such a mean too, so the sum agrees of itself: what "
            "checks it is the conductance at the mean conditions, worked out by hand before it."
        )
    return (
        f"The hand calculation checks the program with mean values from its simulation: "
        f"{result.method_reason}. Every product and the sum can be checked; the mean values cannot."
    )


def _answers(page: Page, result: ExplainResult) -> None:
    unit = "" if result.answer_unit in ("-", "1") else result.answer_unit
    rows = [["by hand", figure(result.hand, 7), unit]]
    steady = result.wall_model == "steady"
    rows.append(["program" if steady else "program, steady walls", figure(result.compared, 7), unit])
    if not steady:
        own = "not worked out" if result.program is None else figure(result.program, 7)
        rows.append(["program, walls in transient", own, unit])
    page.heading("Answers")
    page.table([Column("answer"), number("value"), Column("unit")], rows)
    page.indented(
        f"difference {result.difference:.1e}{'' if result.answer_unit == 'days' else ' of the limit'}, "
        f"allowed {result.tolerance:g}: every step is rounded to seven digits"
    )
    if not steady:
        page.indented(
            "The hand calculation has steady walls. What transient walls add is what the walls themselves "
            "hold, give off or take up, and the time that a change takes to pass them; a layer that uses gas "
            f"up and creep are left out by hand too. The program follows the walls: {result.wall_reason}."
        )


def _stages(page: Page, result: ExplainResult, units: System) -> None:
    spans = [s for s in result.storage if s.from_days < max(result.at_days, 1e-9)]
    if not spans or len(spans) > 12:
        return
    page.heading("Stages up to then")
    page.table(
        [
            Column("stage"),
            number("from day"),
            number("to day"),
            number(units.unit("degC")),
            number("%RH"),
            number(f"{result.gas} outside, {units.unit('kPa')}"),
        ],
        [
            [
                s.stage,
                figure(s.from_days, 5),
                figure(min(s.to_days, result.at_days), 5),
                in_units(s.temperature_degC, "degC", units, 4),
                figure(s.humidity_pct, 4),
                in_units(s.outside_kPa.get(result.gas), "kPa", units, 5),
            ]
            for s in spans
        ],
    )


def _how_to_read(page: Page, result: ExplainResult) -> None:
    page.heading("How to read the steps")
    for text in (
        "Each step has a number, its equation with the step that each symbol is from in square brackets, the "
        "same with the numbers put in, and the value with its unit. Values are rounded to seven digits, and "
        "the next steps go on with the rounded value.",
        "Thickness, temperature and humidity of the test of a value from the property table stand under "
        "'Sources used'.",
        "** is a power, ln the natural logarithm, exp its inverse.",
        "All steps are in SI units.",
    ):
        page.hanging("-", text)


def _steps(page: Page, result: ExplainResult) -> None:
    section = ""
    for step in result.steps:
        if step.section != section:
            section = step.section
            page.heading(in_words(section))
        _step(page, step)


def _step(page: Page, step: ExplainStep) -> None:
    mark = f"{step.number}."
    unit = f" {step.unit}" if step.unit else ""
    title = in_words(step.title)
    if step.origin != "worked":
        note = f" ({step.remark})" if step.remark else ""
        page.hanging(mark, f"{title}: {step.printed}{unit}; {_FROM[step.origin]}{note}")
        return
    page.hanging(mark, title + (f" ({step.remark})" if step.remark else ""))
    where = ", ".join(f"{symbol} {number}" for symbol, number in step.symbols.items())
    value = f"{step.printed}{unit}"
    if len(step.equation) + len(where) <= _ROOM:
        page.hanging(_EQUATION, f"{step.equation}   [{where}]")
    else:
        page.hanging(_EQUATION, step.equation)
        page.hanging(_EQUATION, f"[{where}]")
    if len(step.substituted) + len(value) <= _ROOM:
        page.hanging(_NUMBERS, f"{step.substituted} = {value}")
    else:
        page.hanging(_NUMBERS, step.substituted)
        page.hanging(_NUMBERS, value)
