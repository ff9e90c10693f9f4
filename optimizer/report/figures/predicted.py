"""What a prediction looks like over time: every limited quantity, and the gas inside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.report.figures.amounts import time_axis
from optimizer.report.figures.model import Axis, Band, Curve, LineChart, Rule
from optimizer.report.predict import gases_of
from optimizer.report.wording import apart, capital, duration, limit_name, plain_unit, with_unit
from optimizer.results import LimitOutcome, PredictResult, StageSpan
from optimizer.shelflife.predict import TRADE
from optimizer.units.systems import SI, System

#: The time axis goes on this far past the target, and past the time at which the limit is reached.
_PAST_TARGET, _PAST_LIMIT = 1.25, 1.1
#: Quantities that have two limits, by their key in the time series; the others are named as their limit.
_WORDS = {"water_activity": "water activity"}
#: Quantities that start from nothing; the others are drawn where they are.
_FROM_ZERO = ("oxygen_gain", "headspace_oxygen", "water_gain", "water_loss", "co2_loss")
#: Series beside the limits -> (words, unit).
_BESIDE = {
    "water_activity": ("water activity inside", "-"),
    "outer_pack_oxygen_pct": ("O2 between the packs, in the dry gas", "%"),
    "outer_pack_humidity_pct": ("humidity between the packs", "%"),
}


@dataclass(frozen=True)
class Run:
    """One of the packages that a chart is about. name: '' where there is only one."""

    name: str
    result: PredictResult
    dashed: bool = False


def limit_charts(result: PredictResult, units: System = SI) -> tuple[LineChart, ...]:
    """One chart for each quantity that a limit follows: its course, the limit, the target, the stages."""
    return charts_of((Run("", result),), units)


def charts_of(runs: Sequence[Run], units: System = SI) -> tuple[LineChart, ...]:
    """The same for several packages, each as a curve; stages and unit of time are those of the first."""
    names = dict.fromkeys(o.name for run in runs for o in run.result.limits if o.name in TRADE)
    keys: dict[str, list[str]] = {}
    for name in names:
        keys.setdefault(TRADE[name][2], []).append(name)
    charts = []
    for key, limits in keys.items():
        own = [run for run in runs if key in run.result.time_series]
        if any(o.name in limits for run in own for o in run.result.limits):
            charts.append(_chart(key, limits, own, units))
    return tuple(charts)


def inside_charts(result: PredictResult, units: System = SI) -> tuple[LineChart, ...]:
    """Partial pressures inside, water activity where no limit follows it, and the gas between the packs."""
    series = result.time_series
    wanted = {
        f"{gas}_pressure_kPa": (f"{gas} inside, partial pressure", "kPa") for gas in gases_of(result)
    } | _BESIDE
    followed = {TRADE[o.name][2] for o in result.limits if o.name in TRADE}
    end = shown_days(result, result.shelf_life_days)
    charts = []
    for key, (words, unit) in wanted.items():
        if key not in series or key in followed:
            continue
        axis, length = time_axis(_like(result))
        values, short = series[key], words.partition(",")[0]
        at = result.target_days if result.target_days is not None else end
        then = float(np.interp(at, series["days"], values))
        where = f"at the target of {duration(at)}" if at == result.target_days else f"after {duration(at)}"
        amounts = [with_unit(value, unit, units=units) for value in (values[0], then)]
        charts.append(
            LineChart(
                capital(words),
                f"{capital(words)}: {amounts[0]} at closing, {amounts[1]} {where}.",
                axis,
                Axis(short, plain_unit(unit, units), zero=True),
                (_curve(short, series, key, end, length, unit, units),),
                bands_of(result.storage, end, length),
                _targets([Run("", result)], length),
            )
        )
    return tuple(charts)


def shown_days(result: PredictResult, reached: float | None) -> float:
    """End of the time axis [days]: past the target, or the shelf life where there is none, and past
    ``reached``; at most the horizon."""
    target = result.target_days
    ends = [_PAST_TARGET * target] if target is not None else [_PAST_LIMIT * (result.shelf_life_days or 0.0)]
    ends += [] if reached is None else [_PAST_LIMIT * reached]
    end = max(ends, default=0.0)
    return min(end, result.horizon_days) if end > 0.0 else result.horizon_days


def _like(result: PredictResult) -> float:
    """The time whose unit suits the axis [days]: the target, else the shelf life, else all that is known."""
    return result.target_days or result.shelf_life_days or result.horizon_days


def bands_of(storage: Sequence[StageSpan], end: float, length: float) -> tuple[Band, ...]:
    """The stages up to ``end`` [days], in units of ``length`` days."""
    return tuple(
        Band(x.stage, x.from_days / length, min(x.to_days, end) / length)
        for x in storage
        if x.from_days < end
    )


def _chart(key: str, names: Sequence[str], runs: Sequence[Run], units: System) -> LineChart:
    first = runs[0].result
    unit = TRADE[names[0]][1]
    words = _WORDS.get(key, limit_name(names[0]))
    found = [(run, o) for run in runs for o in run.result.limits if o.name in names]
    ends = [shown_days(run.result, o.reached_after_days) for run, o in found]
    end = max(ends)
    axis, length = time_axis(_like(first))
    curves = tuple(
        _curve(run.name or words, run.result.time_series, key, end, length, unit, units, run.dashed)
        for run in runs
    )
    rules = (
        *_limit_rules(found, len(names) > 1, units),
        *_targets(runs, length),
        *_reached_rules(found, length, first.target_days),
    )
    return LineChart(
        f"{capital(words)} over time",
        " ".join(_told(run, o, words, key, units) for run, o in found),
        axis,
        Axis(words, plain_unit(unit, units), zero=names[0] in _FROM_ZERO),
        curves,
        bands_of(first.storage, end, length),
        rules,
    )


def _curve(
    name: str,
    series: Mapping[str, tuple[float, ...]],
    key: str,
    end: float,
    length: float,
    unit: str,
    units: System,
    dashed: bool = False,
) -> Curve:
    """The series up to ``end`` [days]."""
    days, values = np.array(series["days"]), np.array(series[key])
    kept = days < end
    x, y = days[kept].tolist(), values[kept].tolist()
    if days[-1] >= end:
        x.append(end)
        y.append(float(np.interp(end, days, values)))
    shown = tuple(units.value(v, unit) for v in y)
    return Curve(name, tuple(d / length for d in x), shown, dashed=dashed)


def _limit_rules(found: Sequence[tuple[Run, LimitOutcome]], several: bool, units: System) -> list[Rule]:
    """Each limit once; whose it is where the packages have different ones."""
    values: dict[str, dict[float, str]] = {}
    for run, o in found:
        values.setdefault(o.name, {}).setdefault(o.limit, run.name)
    rules = []
    for run, o in found:
        own = values[o.name]
        if own.get(o.limit) != run.name:
            continue
        name = limit_name(o.name) if several else "limit"
        whose = f", {run.name}" if len(own) > 1 else ""
        rules.append(
            Rule(f"{name} {with_unit(o.limit, o.unit, units=units)}{whose}", units.value(o.limit, o.unit))
        )
    return rules


def _targets(runs: Sequence[Run], length: float) -> tuple[Rule, ...]:
    own = {run.result.target_days: run.name for run in reversed(runs) if run.result.target_days is not None}
    return tuple(
        Rule(
            f"target {duration(days)}" + (f", {name}" if len(own) > 1 else ""),
            days / length,
            "x",
            "target",
        )
        for days, name in own.items()
        if days is not None
    )


def _reached_rules(
    found: Sequence[tuple[Run, LimitOutcome]], length: float, target: float | None
) -> list[Rule]:
    rules = []
    for run, o in found:
        if o.reached_after_days is not None and o.reached_after_days > 0.0:
            whose = f"{run.name}: " if run.name else ""
            text = f"{whose}reached after {duration(o.reached_after_days, target)}"
            rules.append(Rule(text, o.reached_after_days / length, "x", "note"))
    return rules


def _told(run: Run, o: LimitOutcome, words: str, key: str, units: System) -> str:
    """'Oxygen gain rises to 3.16 mg/kg at the target of 9 months; the limit of 5 mg/kg is reached ...'"""
    result = run.result
    series, unit = result.time_series, plain_unit(o.unit, units)
    start = series[key][0]
    target = result.target_days
    then = series[key][-1] if o.at_target is None else o.at_target
    allowed, value = apart(units.value(o.limit, o.unit), units.value(then, o.unit))
    allowed, value = (f"{x} {unit}".strip() for x in (allowed, value))
    way = "rises to" if then > start else "falls to" if then < start else "stays at"
    if target is not None and o.at_target is not None:
        when = f"at the target of {duration(target)}"
    else:
        when = f"after {duration(series['days'][-1])}"
    head = f"{run.name}: {words}" if run.name else words
    return f"{capital(head)} {way} {value} {when}; {_limit_said(o, allowed, result)}."


def _limit_said(o: LimitOutcome, allowed: str, result: PredictResult) -> str:
    limit = f"the limit of {allowed}"
    if o.status == "exceeded at closing":
        return f"{limit} is exceeded at closing"
    if o.reached_after_days is None:
        return f"{limit} is not reached within {duration(result.horizon_days, result.target_days)}"
    return f"{limit} is reached after {duration(o.reached_after_days, result.target_days)}"
