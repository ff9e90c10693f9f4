"""Offers side by side: what each makes of the package, at which price it ties, which can be told apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from optimizer.errors import UnitError
from optimizer.report.figures.model import Axis, BarChart, BarPart, Rule
from optimizer.report.figures.thousand import thousand
from optimizer.report.wording import change, figure, in_units, percent, with_unit
from optimizer.results_compare import CompareResult, OfferOutcome, Pair
from optimizer.units import read
from optimizer.units.systems import SI, System

#: Pairs that a chart shows at most, those of the best first.
_MOST_PAIRS = 12
_TOLD = {True: "told apart", False: "cannot be told apart", None: "not worked out"}


def ranked_of(result: CompareResult) -> tuple[OfferOutcome, ...]:
    """Offers with a structure, the best first."""
    return tuple(o for o in result.offers if o.rank is not None and o.value is not None)


def value_chart(result: CompareResult, units: System = SI) -> BarChart | None:
    """What each offer makes of the package, split into the offered material and the rest where that can be
    told; None without a structure."""
    ranked = ranked_of(result)
    if not ranked:
        return None
    unit = result.objective_unit
    labels = tuple(with_unit(o.value, unit, 4, units) for o in ranked)
    told = [_value_said(o, label, unit, units) for o, label in zip(ranked, labels, strict=True)]
    known = any(o.plus_minus is not None for o in ranked)
    whisker = (
        " The whisker is the 95 % interval of the difference from the best of the others." if known else ""
    )
    return BarChart(
        f"{result.minimised.capitalize()} of the package with each offer",
        f"{result.minimised.capitalize()} of the package, optimised anew with each offer: "
        f"{'; '.join(told)}.{whisker}",
        tuple(o.name for o in ranked),
        Axis(result.minimised, units.unit(unit), zero=True),
        _parts(result, ranked, units),
        tuple(None if o.plus_minus is None else units.value(o.plus_minus, unit) for o in ranked)
        if known
        else (),
        labels,
    )


def _value_said(offer: OfferOutcome, label: str, unit: str, units: System) -> str:
    if not offer.plus_minus or not offer.rival:
        return f"{offer.name} {label}"
    return f"{offer.name} {label} (+-{in_units(offer.plus_minus, unit, units, 2)} against {offer.rival})"


def _parts(result: CompareResult, ranked: Sequence[OfferOutcome], units: System) -> tuple[BarPart, ...]:
    """The offered material and the rest; one part where that cannot be told of every offer."""
    whole = [o.value or 0.0 for o in ranked]
    shares = [_offered(result, o) for o in ranked]
    own = [s for s, w in zip(shares, whole, strict=True) if s is not None and 0.0 <= s <= w]
    unit = result.objective_unit
    if len(own) < len(whole):
        return (BarPart(result.minimised, tuple(units.value(w, unit) for w in whole)),)
    rest = [w - s for w, s in zip(whole, own, strict=True)]
    others = "all else, with passes and scrap" if result.minimised == "cost" else "all else"
    return (
        BarPart("offered material", tuple(units.value(s, unit) for s in own)),
        BarPart(others, tuple(units.value(r, unit) for r in rest)),
    )


def _offered(result: CompareResult, offer: OfferOutcome) -> float | None:
    """What the offered material has of the value, without the scrap of it; None where that cannot be told."""
    if offer.offered_g is None:
        return None
    if result.minimised == "mass":
        return offer.offered_g
    price = price_per_kg(offer, result.currency, result.rates)
    return None if price is None or result.minimised != "cost" else 1e-3 * offer.offered_g * price


def price_per_kg(offer: OfferOutcome, currency: str, rates: Mapping[str, float]) -> float | None:
    """The price of an offer in the project's currency per kg; None where it is paid for by the area."""
    paid, _, per = offer.price_unit.partition("/")
    rate = 1.0 if paid == currency else rates.get(f"{paid}/{currency}")
    if offer.price is None or rate is None or not per:
        return None
    try:
        return offer.price * rate / read(f"1 {per}", "mass").value
    except UnitError:
        return None


# -- prices --------------------------------------------------------------------------------------------------


def price_chart(result: CompareResult, units: System = SI) -> BarChart | None:
    """Each price as a share of the one at which the offer ties; None where no price to tie is known."""
    rows = [o for o in ranked_of(result) if o.price is not None and o.break_even_price]
    if not rows:
        return None
    shares = tuple(100.0 * (o.price or 0.0) / (o.break_even_price or 1.0) for o in rows)
    labels = tuple(_prices(o, units) for o in rows)
    told = [
        f"{o.name} {label}, {'ahead of' if share < 100.0 else 'level with' if share == 100.0 else 'behind'} "
        f"{o.rival}"
        for o, label, share in zip(rows, labels, shares, strict=True)
    ]
    never = [o.name for o in ranked_of(result) if o.price is not None and not o.break_even_price]
    also = f" At no price: {', '.join(never)}." if never else ""
    return BarChart(
        "Prices against those at which the offers tie",
        f"What is asked for, as a share of the price at which each ties with the best of the others: "
        f"{'; '.join(told)}.{also}",
        tuple(o.name for o in rows),
        Axis("price, as a share of the one at which it ties", "%", zero=True),
        (BarPart("price", shares),),
        labels=labels,
        rules=(Rule("ties", 100.0, "x", "target"),),
    )


def _prices(offer: OfferOutcome, units: System) -> str:
    """'9.6, ties at 10.28 EUR/kg (+7.1 %)'."""
    asked = in_units(offer.price, offer.price_unit, units, 4)
    ties = with_unit(offer.break_even_price, offer.price_unit, 4, units)
    by = change(offer.price, offer.break_even_price)
    return f"{asked}, ties at {ties}" + (f" ({by})" if by else "")


# -- who can be told apart -----------------------------------------------------------------------------------


def pairs_chart(result: CompareResult, units: System = SI) -> BarChart | None:
    """Differences with their intervals; None without pairs."""
    pairs = _shown_pairs(result)
    if not pairs:
        return None
    amounts = [thousand(p.difference, result.objective_unit, units) for p in pairs]
    halves = [
        None if p.plus_minus is None else thousand(p.plus_minus, result.objective_unit, units)[0]
        for p in pairs
    ]
    unit = amounts[0][1]
    told = [
        f"{p.first} ahead of {p.second} by {figure(value)}"
        + (f" +-{figure(half, 2)}" if half else "")
        + f", {_TOLD[p.distinguishable]}"
        for p, (value, _), half in zip(pairs, amounts, halves, strict=True)
    ]
    left = len(result.pairs) - len(pairs)
    also = f" {left} more pairs are in the JSON answer." if left else ""
    return BarChart(
        "Which can be told apart",
        f"Differences in {unit} with their 95 % intervals; where the interval reaches zero, the two cannot "
        f"be told apart. {'; '.join(told)}.{also}",
        tuple(f"{p.first} ahead of {p.second}" for p in pairs),
        Axis("difference", unit, zero=True),
        (BarPart("difference", tuple(value for value, _ in amounts)),),
        tuple(halves) if any(half is not None for half in halves) else (),
        tuple(_TOLD[p.distinguishable] for p in pairs),
    )


def _shown_pairs(result: CompareResult) -> list[Pair]:
    ranked = ranked_of(result)
    best = ranked[0].name if ranked else ""
    pairs = sorted(result.pairs, key=lambda p: best not in (p.first, p.second))
    return pairs[:_MOST_PAIRS]


def ahead_by(result: CompareResult, units: System = SI) -> tuple[str, str]:
    """'0.49 %', and '0.108 EUR/1000 packages to Cedar; cannot be told apart'; empty without a second."""
    ranked = ranked_of(result)
    second = next((o for o in ranked if o.rank != 1), None)
    if second is None or not second.value:
        return "", ""
    names = {ranked[0].name, second.name}
    pair = next((p for p in result.pairs if {p.first, p.second} == names), None)
    if pair is None:
        return "", ""
    amount, unit = thousand(pair.difference, result.objective_unit, units)
    share = percent(100.0 * pair.difference / second.value)
    return share, f"{figure(amount)} {unit} to {second.name}; {_TOLD[pair.distinguishable]}"


def per_year(result: CompareResult) -> str:
    """What the best saves in a year against the project as it is; '' where that is not known."""
    ranked = ranked_of(result)
    base = next((o for o in ranked if o.baseline), None)
    if base is None or ranked[0].baseline or base.cost_per_year is None or ranked[0].cost_per_year is None:
        return ""
    return f"{figure(base.cost_per_year - ranked[0].cost_per_year)} {result.currency}"
