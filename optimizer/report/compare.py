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

_TOLD = {True: "told apart", False: "CANNOT be told apart", None: "not worked out"}


def compare_page(result: CompareResult, *, units: System = SI) -> Page:
    """The whole answer of ``compare``. units: that numbers are shown in."""
    page = Page().line(result.title, "bold").line()
    ranked = [o for o in result.offers if o.rank is not None]
    if not result.feasible:
        late = result.status == "time_limit"
        text = "TIME LIMIT: no structure was found for any offer in the time given."
        page.verdict(text if late else "INFEASIBLE: no offer can meet the target.", False)
    if ranked:
        if result.feasible:
            _verdict(page, result, ranked, units)
        _ranking(page, result, ranked, units)
        _ties(page, ranked, units)
        _apart(page, result, ranked, units)
        page.heading(f"Walls, inside to outside, in {units.unit('um')}")
        for offer in ranked:
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
    page.verdict(f"{head}: {_what(best)}, {_amount(result, best.value, units)}.", True)
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
        page.indented(_certainty(result, pair, units))
    if len({o.material for o in result.offers if not o.baseline}) > 1:
        page.line(
            "Offers for different materials do not exclude each other; two together were not looked at."
        )


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


def _certainty(result: CompareResult, pair: Pair, units: System) -> str:
    if pair.distinguishable is None or pair.plus_minus is None:
        return "  Whether they can be told apart was not worked out."
    half = _amount(result, pair.plus_minus, units, 2)
    spread = f"95 % interval from the spread of the measurements +-{half}"
    if pair.distinguishable:
        return f"Certain within the model: {spread}."
    return f"The two cannot be told apart: {spread}."


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
                str(o.rank),
                o.name,
                o.material if several and not o.baseline else "",
                in_units(o.value, "um", units, 4) if result.minimised == "thickness" else "",
                "" if o.cost_per_package is None else figure(o.cost_per_package, 4),
                "" if o.cost_per_year is None else written_out(o.cost_per_year),
                in_units(o.mass_g, "g", units, 4),
                "" if o.offered_g is None else in_units(o.offered_g, "g", units),
            ]
        )
    page.table(columns, rows)


def _ties(page: Page, ranked: Sequence[OfferOutcome], units: System) -> None:
    """Price offered, price to tie, with whom."""
    rows = []
    for o in ranked:
        if o.price is None:
            continue
        offered, even = (in_units(x, o.price_unit, units, 4) for x in (o.price, o.break_even_price))
        even = "never" if o.break_even_price is None else even
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
            in_units(p.difference, unit, units),
            in_units(p.plus_minus, unit, units, 2),
            _TOLD[p.distinguishable],
        ]
        for p in shown
    ]
    columns = [Column("ahead"), Column("of"), number("by"), number("+- 95 %"), Column("")]
    page.table(columns, rows)
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
        if o.rank is not None:
            continue
        if o.status == "time_limit":
            yield f"{_what(o)}: none was found in the time given."
            continue
        why = "; ".join(map(in_words, o.conflict))
        near = in_words(o.nearest)
        yield ": ".join(filter(None, (_what(o), why))) + (f". {near}" if near else "")


def _ending(page: Page, result: CompareResult, units: System) -> None:
    materials = {row.get("material", "") for row in result.sources}
    gases = result.gases
    warnings: list[str] = []
    left = list(result.warnings)
    for name in [o.name for o in result.offers if not o.baseline]:
        own = [w.removeprefix(f"{name}: ") for w in left if w.startswith(f"{name}: ")]
        left = [w for w in left if not w.startswith(f"{name}: ")]
        warnings += [f"{name}: {text}" for text in gathered(own, materials, gases)]
    basis(
        page,
        warnings=[*gathered(left, materials, gases), *warnings],
        assumptions=result.assumptions,
        cautions=result.cautions,
        sources=result.sources,
        gases=gases,
        units=units,
        kept=("rules",),
    )
    solver = result.solver
    if solver:
        gap = percent(100.0 * float(solver["gap_asked"]))
        page.heading("Solver").indented(
            f"{solver['name']}, {solver['optimised']} optimisations, gap asked {gap}, "
            f"{figure(solver['seconds'])} s"
        )
