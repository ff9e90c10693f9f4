"""Text of a comparison: who is ahead and by how much, the price to tie, what cannot be told apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from optimizer.report.basis import basis
from optimizer.report.cautions import gathered
from optimizer.report.design import structure_text
from optimizer.report.page import Column, Page, number
from optimizer.report.wording import (
    change,
    duration,
    figure,
    in_units,
    in_words,
    least,
    less,
    listed,
    percent,
    with_unit,
)
from optimizer.results_compare import CompareResult, OfferOutcome, Pair
from optimizer.shelflife.words import sentence
from optimizer.units.figures import written_out
from optimizer.units.systems import SI, System

#: Most names in the verdict of what the best cannot be told apart from.
_CLOSE = 3
_TOLD = {True: "told apart", False: "CANNOT be told apart", None: "not worked out"}


def compare_page(result: CompareResult, *, units: System = SI) -> Page:
    """The whole answer of ``compare``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    ranked = [o for o in result.offers if o.rank is not None]
    if not result.feasible:
        late = result.status == "time_limit"
        text = "TIME LIMIT: no structure was found for any offer in the time given."
        page.verdict(text if late else "INFEASIBLE: no offer can meet the target.", False)
    unpriced = [o for o in result.offers if o.unpriced]
    if ranked and result.feasible:
        _verdict(page, result, ranked, units)
    elif result.feasible:
        page.verdict("NOT RANKED: no offer that meets the target has a price.", False)
    for offer in unpriced:
        page.line(_without_price(offer, result, units))
    if ranked or unpriced:
        _ranking(page, result, [*ranked, *unpriced], units)
        _ties(page, [*ranked, *unpriced], units)
        _apart(page, result, ranked, units)
        page.heading(f"Walls, inside to outside, in {units.unit('um')}")
        for offer in [*ranked, *unpriced]:
            page.hanging("-", f"{offer.name}: {structure_text(offer.structure, units)}")
        page.bullets("What would have to be true", _conditions(result, ranked, units))
    page.bullets("No structure meets the target", _impossible(result))
    _ending(page, result, units)
    return page


# -- who is ahead --------------------------------------------------------------------------------------------


def _amount(result: CompareResult, value: float | None, units: System, digits: int = 4) -> str:
    return with_unit(value, result.objective_unit, digits, units)


def _what(offer: OfferOutcome) -> str:
    if offer.baseline:
        return f"the {offer.name}"
    return (
        offer.name if offer.name.endswith(f" for {offer.material}") else f"{offer.name} for {offer.material}"
    )


def _who(name: str, result: CompareResult) -> str:
    """The name within a sentence."""
    return f"the {name}" if any(o.baseline and o.name == name for o in result.offers) else name


def _verdict(page: Page, result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> None:
    best = ranked[0]
    head = least(result.minimised).upper()
    told = f"{_what(best)}, {_amount(result, best.value, units)}"
    page.verdict(f"{head}: {told}{_unsure(result, ranked)}.", True)
    equal = [o for o in ranked[1:] if o.rank == 1]
    if equal:
        page.line(f"The same with {listed([_who(o.name, result) for o in equal])}.")
    for other in _against(result, ranked):
        pair = _pair(result, best, other)
        if pair is None:
            continue
        share, better = percent(_share(pair, other)), less(result.minimised)
        text = (
            f"{_amount(result, pair.difference, units, 3)} ({share}) {better} than {_who(other.name, result)}"
        )
        saved = _per_year(best, other)
        if saved is not None and result.volume_per_year is not None:
            many = written_out(result.volume_per_year)
            text += f": {written_out(saved)} {result.currency} a year at {many} packages"
        page.line(text + ".")
        page.indented(_certainty(result, pair, best.barrier_unused and other.barrier_unused, units))
    for text in _unused(result, ranked, units):
        page.line(text)
    if len({o.material for o in result.offers if not o.baseline}) > 1:
        page.line(
            "Offers for different materials do not exclude each other; two together were not looked at."
        )


def _without_price(offer: OfferOutcome, result: CompareResult, units: System) -> str:
    """Why it has no rank, and the price at which it would have that of its rival."""
    text = f"{_what(offer)} has no price and is not ranked"
    if offer.break_even_price is None:
        return f"{text}: {offer.break_even_note}."
    ties = with_unit(offer.break_even_price, offer.price_unit, 4, units)
    return f"{text}; it would tie with {_who(offer.rival, result)} at {ties}."


def _unused(result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> Iterator[str]:
    """Where the barrier offered is not used, because the wall is as thin as it may be."""
    for material in dict.fromkeys(o.material for o in ranked if not o.baseline):
        own = [o for o in ranked if o.barrier_unused and o.material == material]
        offered = [_who(o.name, result) for o in own]
        if not any(not o.baseline for o in own):
            continue
        found = {in_units(x, "um", units) for o in own for x in _thicknesses(o)}
        one, several = len(found) == 1, len(own) > 1
        where = "of each" if several else "it may have"
        if one:
            where = f"it may have, {found.pop()} {units.unit('um')}"
        only = {"cost": "price and density", "mass": "density"}.get(result.minimised, "") if one else ""
        yield (
            f"The barrier of {material} is not used to the full: with {listed(offered)} it stands at the "
            f"thinnest gauge {where}, and the spread of what it lets through changes nothing"
            f"{f'; they differ by {only} only' if several and only else ''}."
        )


def _thicknesses(offer: OfferOutcome) -> list[float]:
    return [x.thickness_um for wall in offer.structure.values() for x in wall if x.material == offer.material]


def _unsure(result: CompareResult, ranked: Sequence[OfferOutcome]) -> str:
    """What the sentence must add where the lead is within the spread."""
    pairs = [(o.name, _pair(result, ranked[0], o)) for o in ranked[1:] if o.rank != 1]
    close = [_who(name, result) for name, p in pairs if p is not None and p.distinguishable is False]
    if len(close) > _CLOSE:
        close = [*close[: _CLOSE - 1], f"{len(close) - _CLOSE + 1} others"]
    return f"; it cannot be told apart from {listed(close)}" if close else ""


def _against(result: CompareResult, ranked: Sequence[OfferOutcome]) -> list[OfferOutcome]:
    """Whom the best is held against in words: the next, and the project as it is."""
    behind = [o for o in ranked[1:] if o.rank != 1]
    found = behind[:1]
    return found + [o for o in behind[1:] if o.baseline]


def _pair(result: CompareResult, one: OfferOutcome, two: OfferOutcome) -> Pair | None:
    return next((p for p in result.pairs if {p.first, p.second} == {one.name, two.name}), None)


def _share(pair: Pair, other: OfferOutcome) -> float:
    return 100.0 * pair.difference / other.value if other.value else 0.0


def _per_year(best: OfferOutcome, other: OfferOutcome) -> float | None:
    if best.cost_per_year is None or other.cost_per_year is None:
        return None
    return other.cost_per_year - best.cost_per_year


def _certainty(result: CompareResult, pair: Pair, thinnest: bool, units: System) -> str:
    """thinnest: both stand at the least gauge, whatever the measurements say."""
    if pair.distinguishable is None or pair.plus_minus is None:
        return "  Whether they can be told apart was not worked out."
    if pair.plus_minus > 0.0:
        half = _amount(result, pair.plus_minus, units, 2)
        reasons = [f"95 % interval from the spread of the measurements +-{half}"]
    else:
        why = "both stand at the thinnest gauge" if thinnest else "rules and gauges decide the walls"
        reasons = [f"no effect of the spread of the measurements, for {why}"]
    if pair.left_open > 0.0 and (not pair.plus_minus or not pair.distinguishable):
        reasons.append(f"the proofs leave {_amount(result, pair.left_open, units, 2)} open")
    head = "Certain within the model" if pair.distinguishable else "The two cannot be told apart"
    return f"{head}: {'; '.join(reasons)}."


# -- tables --------------------------------------------------------------------------------------------------


def _ranking(page: Page, result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> None:
    aim = "" if result.target_days is None else f", {duration(result.target_days)}"
    page.heading(f"At equal shelf life{aim}" if aim else "At equal specification")
    several = len({o.material for o in ranked if not o.baseline}) > 1
    cost = f"{result.currency}/package"
    columns = [
        Column("", number=True, keep=True),
        Column("offer"),
        Column("in place of"),
        number(units.unit(result.objective_unit) if result.minimised == "thickness" else ""),
        number(cost),
        number(f"{result.currency}/year"),
        number(units.unit("g/package")),
        number(f"{units.unit('g')} offered"),
    ]
    rows = []
    for o in ranked:
        rows.append(
            [
                "" if o.rank is None else str(o.rank),
                o.name,
                o.material if several and not o.baseline else "",
                in_units(o.value, "um", units, 4) if result.minimised == "thickness" else "",
                _cost(o, ranked),
                "" if o.cost_per_year is None else written_out(o.cost_per_year),
                in_units(o.mass_g, "g", units, 4),
                "" if o.offered_g is None else in_units(o.offered_g, "g", units),
            ]
        )
    page.table(columns, rows)


def _cost(offer: OfferOutcome, shown: Sequence[OfferOutcome]) -> str:
    """shown: all that stand in the table; where none has a cost, that of none is missing."""
    if offer.cost_per_package is not None:
        return figure(offer.cost_per_package, 4)
    some = any(o.cost_per_package is not None for o in shown)
    missing = offer.price is None and not offer.baseline and some
    return "no price" if offer.unpriced or missing else ""


def _ties(page: Page, ranked: Sequence[OfferOutcome], units: System) -> None:
    """Price offered, price to tie, with whom."""
    rows = []
    for o in ranked:
        if o.price is None and not o.unpriced:
            continue
        offered, even = (in_units(x, o.price_unit, units, 4) for x in (o.price, o.break_even_price))
        offered = "-" if o.unpriced else offered
        if o.break_even_price is None:
            even = "never" if o.rival else "-"
        difference = change(o.price, o.break_even_price)
        rows.append([o.name, offered, even, units.unit(o.price_unit), difference, o.rival])
    if rows:
        page.heading("Price at which each ties, optimised anew at every price")
        columns = [Column("offer"), number("offered"), number("ties at"), Column("unit", keep=True)]
        page.table([*columns, number("change"), Column("with")], rows)


def _apart(page: Page, result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> None:
    """Each against the best of the others, then every other pair that cannot be told apart."""
    shown: list[Pair] = []
    for o in ranked:
        rival = next((r for r in ranked if r.name == o.rival), None)
        pair = None if rival is None else _pair(result, o, rival)
        if pair is not None and pair not in shown:
            shown.append(pair)
    if not shown:
        return
    unit = result.objective_unit
    page.heading(f"Can they be told apart? Differences in {units.unit(unit)}")
    rows = [
        [
            p.first,
            p.second,
            in_units(p.difference, unit, units) if p.difference else "same",
            "no effect" if p.plus_minus == 0.0 else in_units(p.plus_minus, unit, units, 2),
            _TOLD[p.distinguishable],
        ]
        for p in shown
    ]
    columns = [Column("ahead"), Column("of"), number("by"), number("+- 95 %"), Column("")]
    page.table(columns, rows)
    if shown and all(p.plus_minus == 0.0 for p in result.pairs):
        thin = all(o.barrier_unused for o in ranked)
        why = "every offer stands at its thinnest gauge" if thin else "rules and gauges decide every wall"
        page.indented(f"The spread of the measurements has no effect: {why}.")
        left = max(p.left_open for p in result.pairs)
        if left > 0.0:
            told = _amount(result, left, units, 2)
            page.indented(f"Of a difference the proofs leave up to {told} open, which is counted.")
    also = [p for p in result.pairs if p not in shown and p.distinguishable is False]
    if also:
        pairs = "; ".join(f"{_who(p.first, result)} and {_who(p.second, result)}" for p in also)
        page.indented(f"Also cannot be told apart: {pairs}.")


# -- in words ------------------------------------------------------------------------------------------------


def _conditions(result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> Iterator[str]:
    for o in ranked:
        if o.price is None:
            continue
        offered, ties = (with_unit(x, o.price_unit, 4, units) for x in (o.price, o.break_even_price))
        name, rival = sentence(_who(o.name, result)).rstrip("."), _who(o.rival, result)
        even = o.break_even_price
        if even is None:
            if o.rival:
                yield f"{name}: {o.break_even_note}."
        elif change(o.price, even) in ("same", ""):
            yield f"{name}: at {offered} it ties with {rival}."
        elif even > o.price:
            yield f"{name} stays ahead of {rival} up to {ties} (now {offered})."
        else:
            yield f"{name} would beat {rival} below {ties} (now {offered})."
    for p in result.pairs:
        if p.spread_needed is not None:
            share = percent(100.0 * p.spread_needed)
            first, second = _who(p.first, result), _who(p.second, result)
            yield f"To tell {first} from {second}, the spreads would have to be {share} of what they are."


def _impossible(result: CompareResult) -> Iterator[str]:
    for o in result.offers:
        if o.rank is not None or o.unpriced:
            continue
        if o.status == "time_limit":
            yield f"{_what(o)}: none was found in the time given."
            continue
        why = "; ".join(map(in_words, o.conflict))
        near = in_words(o.nearest)
        yield ": ".join(filter(None, (_what(o), why))) + (f". {near}" if near else "")


def _leading(result: CompareResult) -> set[str]:
    """Offers that win, or that cannot be told from the winner."""
    best = next((o for o in result.offers if o.rank == 1), None)
    found = {o.name for o in result.offers if o.rank == 1}
    for p in result.pairs if best is not None else ():
        if best is not None and best.name in (p.first, p.second) and not p.distinguishable:
            found |= {p.first, p.second}
    return found


def _ending(page: Page, result: CompareResult, units: System) -> None:
    """Warnings about offers that win or are close stand first."""
    materials = {row.get("material", "") for row in result.sources}
    gases = result.gases
    leading, first, last = _leading(result), list[str](), list[str]()
    left = list(result.warnings)
    for name in [o.name for o in result.offers if not o.baseline]:
        own = [w.removeprefix(f"{name}: ") for w in left if w.startswith(f"{name}: ")]
        left = [w for w in left if not w.startswith(f"{name}: ")]
        told = [f"{name}: {text}" for text in gathered(own, materials, gases)]
        (first if name in leading else last).extend(told)
    basis(
        page,
        warnings=[*first, *gathered(left, materials, gases), *last],
        assumptions=result.assumptions,
        cautions=result.cautions,
        sources=result.sources,
        gases=gases,
        units=units,
    )
    solver = result.solver
    if solver:
        gap = percent(100.0 * float(solver["gap_asked"]))
        page.heading("Solver").indented(
            f"{solver['name']}, {solver['optimised']} optimisations, gap asked {gap}, "
            f"{figure(solver['seconds'])} s"
        )
