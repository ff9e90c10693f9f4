"""How uncertain a shelf life is: its distribution over the samples, and what to measure better."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from optimizer.report.figures.model import Axis, BarChart, BarPart, Distribution, Rule
from optimizer.report.spread_bars import round_step
from optimizer.report.uncertainty import influence_name, passing
from optimizer.report.wording import capital, duration, duration_unit, listed, percent
from optimizer.results import PredictResult
from optimizer.results_uncertainty import UncertaintyResult

#: About so many bars of a distribution.
_BINS = 24
#: Percentiles that are marked and told.
_SHARES = {"p05": "5 % last", "p50": "half last", "p95": "95 % last"}
#: Influences that are shown, and the least share of the variance for that.
_SHOWN, _LEAST = 8, 0.01
_NONE = "none"


def life_distribution(result: PredictResult) -> Distribution | None:
    """Shelf lives of the samples; None where none were drawn, or in all of them nothing ends it."""
    found = distributions((("", result),))
    return found[0] if found else None


def distributions(packages: Sequence[tuple[str, PredictResult]]) -> tuple[Distribution, ...]:
    """One for each named package that has samples, all with the same edges; the last sets unit and target of
    the axis."""
    known = [(name, r, r.uncertainty) for name, r in packages if r.uncertainty and r.uncertainty.life_days]
    if not known:
        return ()
    lives = np.array(sorted(x for _, _, found in known for x in found.life_days))
    target = known[-1][1].target_days
    like = target or float(np.median(lives)) or float(lives[-1])
    length = duration_unit(like)[1]
    aim = None if target is None else target / length
    edges = _edges(float(lives[0]) / length, float(lives[-1]) / length, aim)
    return tuple(_distribution(name, r, found, edges, like) for name, r, found in known)


def influence_chart(found: UncertaintyResult | None) -> BarChart | None:
    """Share of the variance that goes with each uncertain input; None where none stands out."""
    rows = [] if found is None else [r for r in found.influences if r.total >= _LEAST][:_SHOWN]
    if found is None or not rows:
        return None
    of = str((found.details or {}).get("indices_of", "ln(shelf life)"))
    # sampling error can put what an input does alone above what it does in all
    alone = tuple(100.0 * min(max(r.first_order, 0.0), r.total) for r in rows)
    total = tuple(100.0 * r.total for r in rows)
    names = tuple(influence_name(r.name) for r in rows)
    said = "; ".join(f"{name} {percent(t)}" for name, t in zip(names, total, strict=True))
    return BarChart(
        "What to measure better",
        f"Share of the variance of {of} that goes with each uncertain input: {said}.",
        names,
        Axis("share of the variance", "%", zero=True),
        (
            BarPart("alone", alone),
            BarPart("together with others", tuple(t - a for t, a in zip(total, alone, strict=True))),
        ),
        labels=tuple(percent(t) for t in total),
    )


def _distribution(
    name: str,
    result: PredictResult,
    found: UncertaintyResult,
    edges: tuple[float, ...],
    like: float,
) -> Distribution:
    """like [days]: sets the unit."""
    unit, length = duration_unit(like)
    beyond = found.ended_by.get(_NONE, 0.0)
    counts, _ = np.histogram([x / length for x in found.life_days], edges)
    target = result.target_days
    rules = [
        Rule(f"{share} less than {duration(days, like)}", days / length, "x", "note")
        for key, share in _SHARES.items()
        if (days := found.shelf_life_days.get(key)) is not None
    ]
    if target is not None:
        rules.append(Rule(f"target {duration(target)}", target / length, "x", "target"))
    return Distribution(
        f"Shelf life in {found.samples} samples" + (f": {name}" if name else ""),
        _told(name, result, found, beyond),
        Axis("shelf life", unit),
        edges,
        tuple((counts / len(found.life_days) * (1.0 - beyond)).tolist()),
        tuple(rules),
        beyond,
        "" if target is None else "above",
    )


def _told(name: str, result: PredictResult, found: UncertaintyResult, beyond: float) -> str:
    texts = [
        f"{share} less than {duration(days, result.target_days)}"
        for key, share in _SHARES.items()
        if (days := found.shelf_life_days.get(key)) is not None
    ]
    # a percentile that no sample reaches is told by how many reach no limit
    text = f"Of the samples {listed(texts)}." if texts else "No sample reaches a limit."
    text = f"{capital(name)}: {text[0].lower()}{text[1:]}" if name else text
    if beyond > 0.0:
        text += f" In {percent(100.0 * beyond)} no limit is reached within {duration(result.horizon_days)}."
    if found.probability is not None:
        text += f" {passing(found)} at the target of {duration(result.target_days)}."
    return text


def _edges(low: float, high: float, target: float | None) -> tuple[float, ...]:
    """Round steps that hold all lives; the target is an edge where it lies among them."""
    if high - low > 1e-6 * high:
        step = round_step((high - low) / _BINS)
    else:
        step = round_step(0.1 * high) if high > 0.0 else 1.0
    start = target or 0.0
    first = math.floor((low - start) / step + 1e-9)
    last = max(math.ceil((high - start) / step - 1e-9), first + 1)
    # equal bars, also where the first begins below 0: then bars can be read as shares
    return tuple(start + k * step for k in range(first, last + 1))
