"""Text of a check: verdict, changed package beside its baseline, the changes, the lightest that passes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number, word
from optimizer.report.predict import SPECIFIED, gases_of, verdict, walls_line, worst_stage
from optimizer.report.uncertainty import (
    compared_sections,
    error_text,
    in_samples,
    plain_share,
    spread_sections,
)
from optimizer.report.uneven import uneven_section
from optimizer.report.wording import (
    apart,
    change,
    converted,
    duration,
    duration_unit,
    figure,
    in_units,
    limit_name,
    listed,
    money,
    percent,
    plain_unit,
    with_unit,
)
from optimizer.results import CheckResult, LayerThickness, OuterPackAnswer, PartThickness, PredictResult
from optimizer.units.systems import SI, System

Row = list[str]


def check_page(result: CheckResult, *, units: System = SI) -> Page:
    """The whole answer of ``check``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    page.verdict(verdict(result.changed), result.passes)
    page.line(f"Baseline {_lower_first(verdict(result.baseline))}")
    _wall_lines(page, result)
    page.heading("Side by side")
    page.table(
        [Column("quantity"), number("baseline"), number("changed"), word("unit"), number("difference")],
        list(_side_by_side(result.baseline, result.changed, units)),
    )
    rows = (*result.changed.transmission, *result.baseline.transmission)
    if rows:
        rates = dict.fromkeys(units.unit(row.unit) for row in rows)
        page.indented(f"Transmission in the worst stage, in {listed(tuple(rates))}.")
    compared_sections(page, result)
    _changes(page, result)
    _thickness(page, result, units)
    title = "Changed package: wall thickness from place to place"
    uneven_section(page, result.changed.geometry, title, units)
    _lightest(page, result, units)
    spread_sections(page, result.changed, units=units)
    basis(
        page,
        warnings=result.warnings,
        assumptions=result.assumptions,
        cautions=[*result.changed.cautions, *result.baseline.cautions],
        sources=result.sources,
        gases=gases_of(result.changed),
        also=[row.get("material", "") for row in result.baseline.sources],
        units=units,
    )
    return page


def _wall_lines(page: Page, result: CheckResult) -> None:
    """One line where both packages were simulated alike, and for the same reason."""
    old, new = result.baseline, result.changed
    if (old.wall_model, old.wall_reason) == (new.wall_model, new.wall_reason):
        walls_line(page, new)
        return
    walls_line(page, new, " of the changed package")
    walls_line(page, old, " of the baseline")


def _lower_first(text: str) -> str:
    head, colon, rest = text.partition(":")
    return head.lower() + colon + rest


def _side_by_side(old: PredictResult, new: PredictResult, units: System) -> Iterator[Row]:
    yield _life(old, new)
    before = {(o.name, o.wall): o for o in old.limits}
    after = {(o.name, o.wall): o for o in new.limits}
    for key in dict.fromkeys([*before, *after]):
        a, b = before.get(key), after.get(key)
        if (a is None or a.at_target is None) and (b is None or b.at_target is None):
            continue
        shown = b or a
        assert shown is not None
        what = f"{limit_name(shown.name)} at target"
        if shown.status in SPECIFIED:
            what = f"{limit_name(shown.name)} of {shown.wall or 'package'}"
        yield _row(what, a.at_target if a else None, b.at_target if b else None, shown.unit, units)
    for gas in gases_of(new):
        before_total, after_total = _total(old, gas, units), _total(new, gas, units)
        if before_total is not None or after_total is not None:
            yield _row(f"{gas} transmission", before_total, after_total, "", units)
    yield _row("mass", old.mass_g, new.mass_g, "g", units)
    currency = new.currency if new.currency == old.currency else ""
    if old.cost_per_package is not None or new.cost_per_package is not None:
        yield _row("cost", old.cost_per_package, new.cost_per_package, currency, units, digits=4)
    yield from _outer_rows(old.outer_pack, new.outer_pack, units)


def _outer_rows(old: OuterPackAnswer | None, new: OuterPackAnswer | None, units: System) -> Iterator[Row]:
    if old is None and new is None:
        return

    def both(what: str, name: str, unit: str) -> Row:
        before, now = (None if x is None else getattr(x, name) for x in (old, new))
        return _row(what, before, now, unit, units)

    yield both("outer pack, packages in it", "packages", "")
    yield both("outer pack, mass for each", "mass_per_package_g", "g")
    if any(x is not None and x.cost_per_package is not None for x in (old, new)):
        currency = next(x.currency for x in (new, old) if x is not None)
        yield both("outer pack, cost for each", "cost_per_package", currency)
    yield both("outer pack, O2 between", "oxygen_pct", "%")
    yield both("outer pack, humidity between", "humidity_pct", "%RH")


def _life(old: PredictResult, new: PredictResult) -> Row:
    a, b = old.shelf_life_days, new.shelf_life_days
    unit, length = duration_unit(new.target_days or b or a or new.horizon_days)
    shown = []
    for life, result in ((a, old), (b, new)):
        horizon = figure(result.horizon_days / length)
        target = result.target_days
        near = life if target is None else target
        shown.append(f"over {horizon}" if life is None else apart(life / length, (near or 0.0) / length)[0])
    return ["shelf life", *shown, unit, change(a, b)]


def _row(
    what: str, old: float | None, new: float | None, unit: str, units: System, *, digits: int = 3
) -> Row:
    both = converted(old, unit, units), converted(new, unit, units)
    texts = apart(*both) if digits == 3 else tuple(figure(x, digits) for x in both)
    return [what, *texts, plain_unit(unit, units), change(old, new)]


def _total(result: PredictResult, gas: str, units: System) -> float | None:
    rows = [t for t in result.transmission if t.gas == gas]
    if not rows:
        return None
    stage = worst_stage(rows, gas)
    return sum(units.value(t.value, t.unit) for t in rows if t.stage == stage)


def _changes(page: Page, result: CheckResult) -> None:
    page.heading("What was changed")
    if not result.changes:
        page.indented("nothing that this comparison looks at")
        return
    page.table(
        [Column("what"), Column("baseline"), Column("changed")],
        [[c.what, c.baseline, c.now] for c in result.changes],
    )


def _thickness(page: Page, result: CheckResult, units: System) -> None:
    """Local thickness of the parts that differ; nothing where none does."""
    parts = [p for p in result.thickness if p.change_pct is None or abs(p.change_pct) > 5e-4 or _moved(p)]
    if not parts:
        return
    page.heading(f"Local thickness, {units.unit('um')}")
    rows = []
    for part in parts:
        several = len(part.layers) > 1
        rows.append(_thick(part.part, "all" if several else part.layers[0].material, part, units))
        rows += [_thick("", layer.material, layer, units) for layer in part.layers if several]
        least = (part.baseline_least_um, part.now_least_um)
        if any(_uneven(a, b) for a, b in zip(least, (part.baseline_um, part.now_um), strict=True)):
            rows.append(["", "thinnest place", *(in_units(x, "um", units, 4) for x in least), change(*least)])
    page.table(
        [Column("part"), Column("layer"), number("baseline"), number("changed"), number("difference")], rows
    )
    same = [p.part for p in result.thickness if p not in parts]
    if same:
        page.indented(f"{listed(same)}: as before.")


def _moved(part: PartThickness) -> bool:
    return any(x.change_pct is None or abs(x.change_pct) > 5e-4 for x in part.layers)


def _uneven(least: float | None, mean: float | None) -> bool:
    return least is not None and mean is not None and least < mean * (1.0 - 1e-6)


def _thick(part: str, layer: str, row: PartThickness | LayerThickness, units: System) -> Row:
    return [
        part,
        layer,
        in_units(row.baseline_um, "um", units, 4),
        in_units(row.now_um, "um", units, 4),
        change(row.baseline_um, row.now_um),
    ]


def _lightest(page: Page, result: CheckResult, units: System) -> None:
    lightest = result.lightest_passing
    asked = result.confidence_asked
    at = "" if asked is None else f" at {percent(100.0 * asked, 4)}"
    page.heading(f"Lightest that still passes{at}")
    if lightest is None:
        page.indented("not looked for: it needs a target shelf life and a wall")
        return
    note = str(lightest.get("note") or "")
    if lightest.get("scale") is None:
        page.indented(f"none: {note}")
        return
    page.indented(_lightest_sentence(lightest, result.changed, result.baseline, units))
    for wall, layers in lightest["walls"].items():
        total = sum(layer["thickness_um"] for layer in layers)
        structure = " / ".join(
            f"{layer['material']} {in_units(layer['thickness_um'], 'um', units)}" for layer in layers
        )
        page.indented(f"wall {wall}, {with_unit(total, 'um', 4, units)}: {structure}")
    if lightest.get("probability") is not None:
        page.indented(_lightest_chance(lightest))
    if note:
        page.indented(f"Note: {note}")


def _lightest_chance(lightest: Mapping[str, Any]) -> str:
    text = f"Passes {in_samples(lightest['probability'], lightest['probability_error'])}"
    if lightest.get("fresh_probability") is None:
        return f"{text}."
    fresh, error = lightest["fresh_probability"], lightest["fresh_probability_error"]
    return (
        f"{text}; of others that the search did not see, {plain_share(fresh, error)} pass{error_text(error)}."
    )


def _lightest_sentence(
    lightest: Mapping[str, Any], now: PredictResult, before: PredictResult, units: System
) -> str:
    scale = 100.0 * float(lightest["scale"])
    mass = float(lightest["mass_g"])
    names = list(lightest["walls"])
    walls = f"wall{'' if len(names) == 1 else 's'} {listed(names)}"
    text = f"{figure(scale, 4)} % of the thickness of {walls}: {with_unit(mass, 'g', 4, units)}"
    against = [
        (change(now.mass_g, mass), "the changed package"),
        (change(before.mass_g, mass), "the baseline"),
    ]
    told = ", ".join(f"{x} against {what}" for x, what in against if x not in ("", "same"))
    text += f" ({told})" if told else ""
    if lightest.get("cost_per_package") is not None:
        text += f", {money(lightest['cost_per_package'], str(lightest.get('currency', '')))}"
    life = lightest.get("shelf_life_days")
    if life is not None:
        text += f", lasts {duration(life, now.target_days)}"
    return text + "."
