"""The result of ``compare`` from what was found for each contender."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.constants import DAY, PERMEANTS
from optimizer.design.breakeven import TIE, BreakEven
from optimizer.design.contender import Contender, Structure
from optimizer.design.optimise import Optimum
from optimizer.design.problem import Choice
from optimizer.design.solve import objective_unit
from optimizer.design.spread import Z95, Effects, deviation
from optimizer.results import ChosenLayer, PredictResult
from optimizer.results_compare import CompareResult, OfferOutcome, Pair
from optimizer.shelflife.package import LIMIT_GAS
from optimizer.uncertainty.sources import BETWEEN_LABORATORIES

#: Said once for every comparison.
ASSUMPTIONS = (
    "Each offer stands in for its material in every wall of the package and is optimised anew to the same "
    "target; everything else is as in the project, and two offers are never combined.",
    "What an offer does not state is that of the material it replaces.",
    "The break-even price is that at which the offer, optimised anew, costs as much as the best of the others"
    " for the same material (the project as it is among them) at its present price.",
    f"Spread is a relative standard deviation. Where none is stated, and for the permeabilities of the "
    f"project, {100 * BETWEEN_LABORATORIES:g} % is assumed: a WVTR study of films and blisters by four "
    "laboratories has 2 to 5 % between them, and 17 % near the limit of detection.",
    "Two offers can be told apart when their difference is larger than its 95 % interval from the spread and "
    "than what the gap of the proofs leaves open. The spread of materials that no offer replaces is left out,"
    " because all offers share it.",
)
CAUTION = (
    "An offer says nothing of food contact or of its test: ask each supplier for the declaration of "
    "compliance and the test report of the grade."
)


@dataclass(frozen=True, eq=False)
class Compared:
    """best: the search at the price offered; structure, value and bound of the whole package in SI (currency,
    kg or m), None and inf without one. missing: why other walls are not part of the cost."""

    contender: Contender
    best: Optimum
    structure: Structure | None
    value: float
    bound: float
    effects: Effects
    tie: BreakEven | None = None
    missing: str = ""

    @property
    def ranked(self) -> bool:
        """Whether it has a structure and, where that counts, a price."""
        return self.structure is not None and not self.contender.unpriced

    @property
    def predicted(self) -> PredictResult | None:
        """Of a search of its own where that holds the offered material: the structure may be that of an offer
        with the same properties, which has other sources and warnings."""
        own = self.best
        found = None if self.structure is None else self.structure.predicted
        if found is None or own.choice is None or own.predicted is None:
            return found
        held = set(self.contender.replaced) & {i for wall in own.choice.sequences for i in wall}
        return own.predicted if held or not self.contender.unpriced else found

    @property
    def barrier_unused(self) -> bool:
        """Whether the offered material stands at its least gauge and the spread of what it lets through
        changes nothing, so that a better barrier would not either."""
        if not self.ranked or self.structure is None or not self.effects.complete:
            return False
        candidates, choice = self.contender.options.candidates, self.structure.choice
        least = min((candidates[i].gauge[0] for i in self.contender.replaced), default=0.0)
        layers = zip(sum(choice.sequences, ()), sum(choice.thickness, ()), strict=True)
        thick = [t for i, t in layers if i in self.contender.replaced]
        names = {candidates[i].web or candidates[i].name for i in self.contender.replaced}
        own = [effect for (_, name, _), effect in self.effects.by.items() if name in names]
        nil = bool(own) and max(map(abs, own)) <= TIE * abs(self.value)
        return nil and bool(thick) and max(thick) <= least * (1.0 + TIE)

    def rival_of(self, others: Iterable[Compared]) -> Compared | None:
        """The best of the others for the same material, the project as it is among them."""
        own = self.contender.replaced
        found = [
            c
            for c in others
            if c.contender is not self.contender
            and c.ranked
            and (not own or c.contender.baseline or c.contender.replaced == own)
        ]
        return min(found, key=lambda c: c.value, default=None)


@dataclass(frozen=True)
class Apart:
    """Difference of two values (second less first, not negative), its 95 % half-width (None: not worked
    out), and what of the difference the proofs leave certain. What is within ``TIE`` of nothing is 0."""

    difference: float
    half: float | None
    certain: float

    @property
    def told(self) -> bool | None:
        return None if self.half is None else self.certain > self.half


def in_order(compared: Sequence[Compared]) -> list[Compared]:
    """By rank, equals as they came; then those without a price, then those without a structure."""
    return sorted(compared, key=lambda c: (c.structure is None, not c.ranked, _rank(c, compared)))


def _rank(one: Compared, compared: Iterable[Compared]) -> int:
    """1 for the best; values within ``TIE`` share one."""
    if not one.ranked:
        return 0
    return 1 + sum(c.ranked and c.value < one.value - TIE * abs(one.value) for c in compared)


def apart(better: Compared, other: Compared, price_only: bool) -> Apart:
    """price_only: both share their structures, so that the gap cannot change which is cheaper."""
    nothing = TIE * abs(better.value)
    difference = other.value - better.value
    complete = better.effects.complete and other.effects.complete
    half = Z95 * deviation(better.effects, other.effects) if complete else None
    if half is not None and half <= nothing:
        half = 0.0
    certain = difference if price_only else min(difference, other.bound - better.value)
    if difference <= nothing:
        certain = difference = 0.0
    return Apart(difference, half, max(certain, 0.0))


def answer(
    compared: Sequence[Compared],
    pairs: Sequence[tuple[Compared, Compared, bool]],
    *,
    volume: float | None,
    rates: Mapping[str, float],
    warnings: Sequence[str],
    solver: Mapping[str, Any],
    version: str,
    inputs_sha256: str,
) -> CompareResult:
    """Everything in the units of the trade, by rank."""
    first = compared[0].contender
    factor, unit = objective_unit(first.options)
    found = {(id(a), id(b)): apart(a, b, same) for a, b, same in pairs}
    ordered = in_order(compared)
    outcomes = tuple(_outcome(c, ordered, found, factor, volume) for c in ordered)
    feasible = any(c.structure is not None and not c.contender.baseline for c in compared)
    late = any(c.best.status == "time_limit" for c in compared)
    predicted = [c.predicted for c in ordered if c.predicted is not None]
    currency = next((m.currency for m in first.options.candidates if m.currency), "")
    return CompareResult(
        title=first.case.title,
        version=version,
        inputs_sha256=inputs_sha256,
        status="time_limit" if late else "done" if feasible else "infeasible",
        minimised=first.options.minimise,
        objective_unit=unit,
        currency=currency,
        target_days=None if first.case.target is None else first.case.target / DAY,
        volume_per_year=volume,
        offers=outcomes,
        pairs=tuple(
            Pair(
                a.contender.name,
                b.contender.name,
                factor * x.difference,
                None if x.half is None else factor * x.half,
                x.told,
                x.certain / x.half if x.half and not x.told and x.certain > 0.0 else None,
                factor * (x.difference - x.certain),
            )
            for a, b, x in ((a, b, found[id(a), id(b)]) for a, b, _ in pairs)
        ),
        gases=_gases(predicted),
        rates=dict(rates),
        warnings=_warnings(compared, warnings),
        assumptions=tuple(
            dict.fromkeys(
                [
                    *ASSUMPTIONS,
                    "Walls are steady, whatever the project says of them, and no confidence is asked for.",
                    *(
                        f"1 {a.partition('/')[0]} is {v:g} {a.partition('/')[2]}, as given."
                        for a, v in rates.items()
                    ),
                    *(text for p in predicted for text in p.assumptions),
                ]
            )
        ),
        sources=_sources(ordered),
        cautions=tuple(dict.fromkeys([CAUTION, *(text for p in predicted for text in p.cautions)])),
        solver=solver,
    )


def _gases(predicted: Sequence[PredictResult]) -> tuple[str, ...]:
    names = {x.name for p in predicted for x in p.limits}
    wanted = {"O2", "H2O"} | {LIMIT_GAS.get(name, name.removeprefix("transmission ")) for name in names}
    return tuple(gas for gas in PERMEANTS if gas in wanted)


def _outcome(
    one: Compared,
    ordered: Sequence[Compared],
    found: Mapping[tuple[int, int], Apart],
    factor: float,
    volume: float | None,
) -> OfferOutcome:
    contender, structure, best = one.contender, one.structure, one.best
    price = contender.price
    rival = one.rival_of(ordered) if structure is not None else None
    cost = grams = difference = gap = None
    told: Apart | None = None
    if structure is not None:
        grams = 1e3 * float(sum(structure.kg[i] for i in contender.replaced))
    if structure is not None and one.ranked:
        cost = None if contender.without_price else _number(structure.cost(contender.prices))
        gap = (one.value - one.bound) / one.value if one.value > 0.0 else 0.0
    if rival is not None and one.ranked:
        told = found.get((id(one), id(rival))) or found.get((id(rival), id(one)))
    if rival is not None and told is not None:
        difference = factor * (told.difference if one.value > rival.value else -told.difference)
    tie = one.tie
    even = None if tie is None or tie.price is None or price is None else tie.price / price.factor
    return OfferOutcome(
        name=contender.name,
        supplier=contender.supplier,
        material=contender.material,
        grade=contender.grade,
        baseline=contender.baseline,
        status=best.status,
        rank=_rank(one, ordered) if one.ranked else None,
        structure={} if structure is None else _layers(contender, structure.choice),
        value=factor * one.value if one.ranked else None,
        lower_bound=factor * one.bound if one.ranked else None,
        gap=gap,
        cost_per_package=cost,
        cost_per_year=None if cost is None or volume is None else cost * volume,
        mass_g=None if structure is None else structure.predicted.mass_g,
        offered_g=grams if contender.replaced else None,
        shelf_life_days=None if structure is None else structure.predicted.shelf_life_days,
        price=None if price is None or contender.unpriced else price.number,
        price_unit="" if price is None else price.unit,
        break_even_price=even,
        break_even_tolerance=None if even is None or rival is None else _left_open(one, rival),
        break_even_note=_note(one, rival),
        rival="" if rival is None else rival.contender.name,
        difference=difference,
        plus_minus=None if told is None or told.half is None else factor * told.half,
        distinguishable=None if told is None else told.told,
        spread_pct={gas: 100.0 * s for gas, s in contender.stated.items()},
        conflict=best.why.conflict if best.why else (),
        nearest=best.why.nearest if best.why else "",
        barrier_unused=one.barrier_unused,
    )


def _number(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _left_open(one: Compared, rival: Compared) -> float | None:
    """What the gaps of both proofs mean for the break-even price, in the unit of the price."""
    tie, price = one.tie, one.contender.price
    if tie is None or price is None or tie.kg <= 0.0 or one.contender.options.minimise != "cost":
        return None
    open_cost = (one.value - one.bound) + (rival.value - rival.bound)
    return float(open_cost / tie.kg / price.factor)


def _note(one: Compared, rival: Compared | None) -> str:
    if one.tie is not None:
        return one.tie.why
    if one.structure is None:
        return (
            "no structure meets the target"
            if one.best.status == "infeasible"
            else "no structure was found in time"
        )
    if rival is None:
        return "there is nothing to tie with"
    if one.contender.baseline:
        return "the offers replace several materials"
    return "no price is given"


def _layers(contender: Contender, choice: Choice) -> dict[str, tuple[ChosenLayer, ...]]:
    return {
        name: tuple(
            ChosenLayer(contender.options.candidates[m].name, round(t * 1e6, 6))
            for m, t in zip(sequence, thickness, strict=True)
        )
        for name, sequence, thickness in zip(
            contender.options.walls, choice.sequences, choice.thickness, strict=True
        )
    }


def _warnings(compared: Sequence[Compared], given: Sequence[str]) -> tuple[str, ...]:
    """Those of the project first; an offer's own under its name."""
    found = list(given)
    for one in compared:
        name = one.contender.name
        own = list(one.predicted.warnings) if one.predicted is not None else []
        if one.best.status == "time_limit":
            own.append("stopped before the proof was complete; allow more with --time-limit")
        own += one.effects.unsure
        if one.missing:
            found.append(f"Only the designed walls are counted in the cost. {one.missing}")
        found += [text if one.contender.baseline else f"{name}: {text}" for text in own if text not in found]
    return tuple(dict.fromkeys(found))


def _sources(ordered: Sequence[Compared]) -> tuple[dict[str, str], ...]:
    rows: list[dict[str, str]] = []
    for one in sorted(ordered, key=lambda c: not c.contender.baseline):
        if one.predicted is not None:
            rows += [dict(row) for row in one.predicted.sources if row not in rows]
    return tuple(rows)
