"""Text of a prediction: verdict, limits, ways in and out, walls, mass and cost, what it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from optimizer.constants import PERMEANTS
from optimizer.report.basis import basis
from optimizer.report.page import Column, Page, number, word
from optimizer.report.uncertainty import at_confidence, spread_sections, uncertainty_sections
from optimizer.report.uneven import uneven_section
from optimizer.report.wording import (
    apart,
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
from optimizer.results import LayerState, LimitOutcome, PredictResult, Transmission
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.units.systems import SI, System

#: Gases up to this number have columns that are named in full.
_NAMED = 2
#: Status of a transmission limit, which is judged at its own test condition and not in time.
SPECIFIED = ("met", "exceeded")


def predict_page(result: PredictResult, *, units: System = SI) -> Page:
    """The whole answer of ``predict``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    page.verdict(verdict(result), result.passes)
    walls_line(page, result)
    uncertainty_sections(page, result)
    prediction_sections(page, result, units=units)
    spread_sections(page, result, units=units)
    ending(page, result, units=units)
    return page


def prediction_sections(page: Page, result: PredictResult, *, units: System = SI) -> None:
    """Limits, transmission, walls, mass and cost: what other pages show of a prediction too."""
    _limits(page, result, units)
    _ways(page, result.transmission, gases_of(result), units)
    _walls(page, result, units)
    uneven_section(page, result.geometry, units=units)
    _mass(page, result, units)


def ending(page: Page, result: PredictResult, *, units: System = SI) -> None:
    """Warnings, assumptions, cautions, sources."""
    basis(
        page,
        warnings=result.warnings,
        assumptions=result.assumptions,
        cautions=result.cautions,
        sources=result.sources,
        gases=gases_of(result),
        units=units,
    )


def gases_of(result: PredictResult) -> list[str]:
    """Gases that the text is about: O2 and H2O, and whatever a limit follows."""
    wanted = {"O2", "H2O"} | {
        LIMIT_GAS.get(o.name, o.name.removeprefix("transmission ")) for o in result.limits
    }
    return [gas for gas in PERMEANTS if gas in wanted]


def verdict(result: PredictResult) -> str:
    """The answer in one sentence, or two where a confidence was asked for."""
    chance = at_confidence(result)
    if not chance:
        return _as_given(result, result.passes)
    given = _as_given(result, all(o.passes for o in result.limits))
    if result.passes or not given.startswith("PASSES: "):
        return f"{given} {chance}"
    return f"FAILS: {chance} With the properties as given it {_passes(given.removeprefix('PASSES: '))}"


def _passes(text: str) -> str:
    """'passes: no limit ...', 'lasts 9 months ...': the sentence goes on after 'it'."""
    return text if text.startswith("lasts ") else f"passes: {text}"


def walls_line(page: Page, result: PredictResult, of: str = "") -> None:
    """How the walls were simulated, and why."""
    if result.wall_reason:
        reason = result.wall_reason
        why = reason if reason.startswith("asked") else f"because {reason}"
        page.line(f"Walls{of}: {result.wall_model}, {why}.")


def _as_given(result: PredictResult, passes: bool) -> str:
    """The verdict with the properties as given."""
    failed = [o for o in result.limits if not o.passes]
    life, target = result.shelf_life_days, result.target_days
    by = limit_name(result.limited_by) if result.limited_by else ""
    head = "PASSES" if passes else "FAILS"
    if life is not None and life <= 0.0:
        return (
            f"{head}: over a limit already at closing ({by or listed([limit_name(o.name) for o in failed])})."
        )
    if result.limits and all(o.status in SPECIFIED for o in result.limits):
        missed = f"Not met: {listed([_specified(o) for o in failed])}." if failed else ""
        return f"{head}: {missed or 'every transmission limit is met.'} No limit is on the shelf life."
    lasts, aim = _lasts(life, target, result.horizon_days)
    ended = f"; ended by {by}" if by and life is not None else ""
    if target is None:
        start = f"FAILS: {lasts}{ended}; no target was given."
        if passes:
            start = f"{lasts[0].upper()}{lasts[1:]}{ended}; no target was given."
    else:
        start = f"{head}: {lasts}, target {aim}{ended}."
    late = life is not None and target is not None and life < target
    others = [_specified(o) for o in failed if not (late and limit_name(o.name) == by)]
    if not passes and others:
        start += f" Not met: {listed(others)}."
    return start


def _specified(o: LimitOutcome) -> str:
    """'water loss', 'transmission O2 of bottle'."""
    return limit_name(o.name) + (f" of {o.wall}" if o.wall else "")


def _lasts(life: float | None, target: float | None, horizon: float) -> tuple[str, str]:
    """'lasts 14.2 months' and '9 months (58 % longer)', in one unit and told apart."""
    if life is None:
        return f"no limit is reached within {duration(horizon, target or horizon)}", duration(target)
    if target is None:
        return f"lasts {duration(life)}", ""
    unit, length = duration_unit(target)
    own, aim = apart(life / length, target / length)
    margin = 100.0 * (life / target - 1.0)
    comparison = "longer" if margin >= 0 else "short"
    lasts = duration(life) if life < 0.1 * length else f"{own} {unit}"
    return f"lasts {lasts}", f"{aim} {unit} ({percent(abs(margin))} {comparison})"


def limit_verdict(outcome: LimitOutcome) -> str:
    """'holds, 38 % left' or what went wrong."""
    if outcome.status == "exceeded at closing":
        return "over at closing"
    if not outcome.passes:
        return "EXCEEDED"
    if outcome.at_target is None and outcome.status == "reached":
        return "no target to hold it to"
    if outcome.margin_pct is None:
        return "holds"
    return f"holds, {percent(outcome.margin_pct)} left"


def _limits(page: Page, result: PredictResult, units: System) -> None:
    timed = [o for o in result.limits if o.status not in SPECIFIED]
    specified = [o for o in result.limits if o.status in SPECIFIED]
    if timed:
        page.heading("Limits")
        at = "at target" if result.target_days is not None else ""
        page.table(
            [
                Column("limit"),
                number("allowed"),
                number(at),
                Column("unit"),
                Column("reached after"),
                Column("verdict"),
            ],
            [[*_limit_cells(o, units), _reached(o, result.target_days), limit_verdict(o)] for o in timed],
        )
        if any(" left" in limit_verdict(o) for o in timed):
            page.indented("left: share of the permitted change that is still unused at the target")
    if specified:
        page.heading("Transmission limits")
        page.table(
            [Column("limit"), number("allowed"), number("value"), Column("unit"), Column("verdict")],
            [[*_limit_cells(o, units), limit_verdict(o)] for o in specified],
        )
        if any(" left" in limit_verdict(o) for o in specified):
            page.indented("left: share of the allowed value that is not used")
    for note in dict.fromkeys(f"{limit_name(o.name)}: {o.note}" for o in result.limits if o.note):
        page.indented(note)


def _limit_cells(o: LimitOutcome, units: System) -> list[str]:
    allowed, reached = apart(units.value(o.limit, o.unit), converted(o.at_target, o.unit, units))
    name = limit_name(o.name) + (f" ({o.wall})" if o.wall else "")
    return [name, allowed, "" if o.at_target is None else reached, plain_unit(o.unit, units)]


def _reached(o: LimitOutcome, target: float | None) -> str:
    if o.status == "exceeded at closing":
        return "at closing"
    return o.status if o.reached_after_days is None else duration(o.reached_after_days, target)


def worst_stage(rows: Iterable[Transmission], gas: str) -> str:
    """Stage with the largest transmission of ``gas`` for the package."""
    totals: dict[str, float] = {}
    for row in rows:
        if row.gas == gas:
            totals[row.stage] = totals.get(row.stage, 0.0) + abs(row.value)
    return max(totals, key=lambda stage: totals[stage])


def _ways(page: Page, rows: tuple[Transmission, ...], gases: list[str], units: System) -> None:
    if not rows:
        return
    stages = list(dict.fromkeys(r.stage for r in rows))
    gases = [gas for gas in gases if any(r.gas == gas for r in rows)]
    page.heading("Where it comes through")
    table = []
    for gas in gases:
        stage = worst_stage(rows, gas)
        own = sorted((r for r in rows if r.gas == gas and r.stage == stage), key=lambda r: -abs(r.share))
        for i, row in enumerate(own):
            first = i == 0
            share = percent(100.0 * row.share)
            table.append(
                [
                    gas if first else "",
                    row.part,
                    share,
                    in_units(row.value, row.unit, units),
                    units.unit(row.unit) if first else "",
                ]
            )
            if len(stages) > 1:
                table[-1].insert(1, stage if first else "")
    stage_column = [Column("worst stage")] if len(stages) > 1 else []
    page.table(
        [word("gas"), *stage_column, Column("part"), number("share"), number("transmission"), Column("unit")],
        table,
    )
    if len(stages) > 1:
        page.line()
        table = []
        for stage in stages:
            totals = [
                sum(units.value(r.value, r.unit) for r in rows if r.stage == stage and r.gas == gas)
                for gas in gases
            ]
            table.append([stage, *(figure(t) for t in totals)])
        page.table([Column("whole package, by stage"), *(number(gas) for gas in gases)], table)


def _walls(page: Page, result: PredictResult, units: System) -> None:
    if not result.layers:
        return
    gases = [gas for gas in gases_of(result) if any(gas in x.resistance_share_pct for x in result.layers)]
    # with more gases the names of the layers would have no room
    suffix, told = (" resistance", "resistance") if len(gases) <= _NAMED else ("", listed(gases))
    for wall in dict.fromkeys(layer.wall for layer in result.layers):
        stages = list(dict.fromkeys(layer.stage for layer in result.layers if layer.wall == wall))
        films = [f for f in result.film_transmission if f.wall == wall]
        worst = max((f for f in films if f.gas == films[0].gas), key=lambda f: f.value, default=None)
        stage = worst.stage if worst and worst.stage in stages else stages[0]
        during = f", during {stage}" if len(stages) > 1 else ""
        layers = [x for x in result.layers if x.wall == wall and x.stage == stage]
        _wall(page, result, sorted(layers, key=lambda x: x.index), suffix, during, units)
        for film in films:
            if film.stage == stage and film.gas in gases_of(result):
                page.indented(f"{film.gas} through the wall: {with_unit(film.value, film.unit, units=units)}")
    page.line()
    page.indented(
        f"mid RH: relative humidity in the middle of the layer; {told}: the layer's share of the "
        "wall's resistance to the gas"
    )


def _wall(
    page: Page, result: PredictResult, layers: Sequence[LayerState], suffix: str, during: str, units: System
) -> None:
    """The layers of one wall during one stage. suffix: of the headings of the gases."""
    wall = layers[0].wall
    total = with_unit(sum(layer.thickness_um for layer in layers), "um", 4, units)
    uneven = any(row["wall"] == wall and "thickness_method" in row for row in result.geometry)
    nominal = " nominal" if uneven else ""
    page.heading(f"Wall {wall}, {total}{nominal}, inside to outside{during}")
    gases = [gas for gas in gases_of(result) if any(gas in layer.resistance_share_pct for layer in layers)]
    drop = layers[-1].humidity_outside_face_pct - layers[0].humidity_inside_face_pct
    dry = "H2O" not in gases
    page.table(
        [
            Column("material"),
            number(units.unit("um")),
            number("mid RH"),
            *(number(f"{gas}{suffix}") for gas in gases),
            *([number(f"H2O{suffix}")] if dry else []),
        ],
        [
            [
                layer.material,
                in_units(layer.thickness_um, "um", units, 4),
                percent(layer.humidity_mid_pct, 3),
                *(percent(layer.resistance_share_pct.get(gas)) for gas in gases),
                *([_water_share(layer, drop)] if dry else []),
            ]
            for layer in layers
        ],
    )


def _water_share(layer: LayerState, drop: float) -> str:
    """Share of the humidity difference that lies over this layer, which is its share of the resistance."""
    if abs(drop) < 0.1:
        return ""
    return percent(100.0 * (layer.humidity_outside_face_pct - layer.humidity_inside_face_pct) / drop)


def _mass(page: Page, result: PredictResult, units: System) -> None:
    page.heading("Mass and cost of one package")
    whole = with_unit(result.mass_g, "g", 4, units)
    parts = [
        f"{name} {with_unit(mass, 'g', units=units)}" for name, mass in result.mass_by_material_g.items()
    ]
    if len(parts) == 1:
        page.indented(f"{whole} {next(iter(result.mass_by_material_g))}")
    else:
        page.indented(whole + (f": {', '.join(parts)}" if parts else ""))
    if result.cost_per_package is None:
        page.indented("no material cost: a material has no price, or currencies are mixed")
    else:
        page.indented(f"material cost {money(result.cost_per_package, result.currency)}")
    _outer(page, result, units)


def _outer(page: Page, result: PredictResult, units: System) -> None:
    """The pack around several packages: what it adds, and the gas in it."""
    outer = result.outer_pack
    if outer is None:
        return
    page.heading(f"Outer pack around {outer.packages} packages")
    each = with_unit(outer.mass_per_package_g, "g", units=units)
    own = f"{with_unit(outer.mass_g, 'g', 4, units)}, {each} for each package in it"
    if outer.cost_per_package is not None:
        own += f"; material cost {money(outer.cost_per_package, outer.currency)} each"
    page.indented(own)
    page.indented(
        f"between the packs after {figure(outer.at_days)} days: {figure(outer.oxygen_pct)} % O2 (dry gas), "
        f"{figure(outer.humidity_pct)} %RH"
    )
