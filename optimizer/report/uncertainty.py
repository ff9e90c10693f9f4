"""Text of an uncertainty: chance of passing, percentiles, what ends the life, what to measure better."""

from __future__ import annotations

import math

from optimizer.report.page import Column, Page, number, word
from optimizer.report.spread_bars import bars
from optimizer.report.wording import duration, limit_name, listed, percent, with_unit
from optimizer.results import CheckResult, PredictResult
from optimizer.results_uncertainty import PercentileEnd, SpreadNote, UncertaintyResult
from optimizer.units.systems import SI, System

#: Influences that are shown, and the least share of the variance for that.
_SHOWN, _LEAST = 6, 0.01
_NONE = "none"
_SHARED = "shared: source "
ASSUMED = "assumed"


def uncertainty_sections(page: Page, result: PredictResult) -> None:
    """What the samples say; nothing where none were drawn."""
    found = result.uncertainty
    if found is None:
        return
    page.heading("How uncertain the shelf life is")
    if found.probability is not None:
        page.indented(f"{passing(found)} at the target of {duration(result.target_days)}.")
    page.indented(what_ends_it(found, result.horizon_days))
    if found.life_days:
        _percentiles(page, found, result)
        _distribution(page, found, result)
    _influences(page, found)


def compared_sections(page: Page, result: CheckResult) -> None:
    """Both packages of a check on the same numbers; nothing where none were drawn."""
    now, before = result.changed.uncertainty, result.baseline.uncertainty
    if now is None or before is None or result.at_least_as_long is None:
        return
    page.heading("How uncertain the shelf lives are")
    if now.probability is not None:
        page.indented(f"{passing(now)} at the target of {duration(result.changed.target_days)}.")
    longer = in_samples(result.at_least_as_long, result.at_least_as_long_error)
    page.indented(f"The changed package lasts at least as long as the baseline {longer}.")
    page.indented(what_ends_it(now, result.changed.horizon_days))
    if now.life_days or before.life_days:
        _both(page, before, now, result)
        _distribution(page, now, result.changed)


def _both(page: Page, before: UncertaintyResult, now: UncertaintyResult, result: CheckResult) -> None:
    """Percentiles side by side, and the chances of passing."""
    page.line()
    rows = []
    for a, b in zip(before.percentiles, now.percentiles, strict=True):
        lives = _life(a, result.baseline, result.changed), _life(b, result.changed, result.changed)
        ends = limit_name(a.limited_by or ""), limit_name(b.limited_by or "")
        rows.append([f"{b.percentile} %", lives[0], ends[0], lives[1], ends[1]])
    chances = [
        "" if x.probability is None else plain_share(x.probability, x.probability_error)
        for x in (before, now)
    ]
    if any(chances):
        rows.append(["passes", chances[0], "", chances[1], ""])
    page.table(
        [
            number("of the samples"),
            number("baseline"),
            Column("ended by"),
            number("changed"),
            Column("ended by"),
        ],
        rows,
    )
    page.indented("so many of the samples last less than this; 'passes': at the target of each")


def spread_sections(page: Page, result: PredictResult, *, units: System = SI) -> None:
    """What the samples rest on: spreads and the draw; nothing where none were drawn."""
    if result.uncertainty is not None:
        _spreads(page, result.uncertainty, units)
        _drawn(page, result.uncertainty)


def chance(probability: float, error: float | None) -> str:
    """'97.3 %', with as many digits as its error leaves."""
    places = 1 if not error else max(1, -math.floor(math.log10(100.0 * error)))
    return f"{100.0 * probability:.{places}f} %"


def passing(found: UncertaintyResult) -> str:
    """'97.3 % of the samples pass (standard error 0.2 %)'."""
    assert found.probability is not None
    if found.probability >= 1.0:
        return "All samples pass"
    if found.probability <= 0.0:
        return "No sample passes"
    error = found.probability_error
    return f"{chance(found.probability, error)} of the samples pass{error_text(error)}"


def in_samples(share: float, error: float | None) -> str:
    """'in 97.3 % of the samples (standard error 0.2 %)'."""
    if share >= 1.0:
        return "in all samples"
    return "in no sample" if share <= 0.0 else f"in {chance(share, error)} of the samples{error_text(error)}"


def error_text(error: float | None) -> str:
    """' (standard error 0.2 %)'."""
    return f" (standard error {percent(100.0 * (error or 0.0), 1)})"


def plain_share(share: float, error: float | None) -> str:
    """'97.3 %', and 'all' or 'none' where a sample cannot tell more."""
    return {1.0: "all", 0.0: "none"}.get(share, chance(share, error))


def at_confidence(result: PredictResult) -> str:
    """Sentence on the confidence asked for; empty without one."""
    found, asked = result.uncertainty, result.confidence_asked
    if found is None or asked is None or found.probability is None:
        return ""
    return f"{passing(found)}; {percent(100.0 * asked, 4)} asked for."


def what_ends_it(found: UncertaintyResult, horizon: float) -> str:
    """'What ends it: oxygen gain in 75 % of the samples, nothing within 36 months in 4 %.'"""
    rows = sorted(((s, n) for n, s in found.ended_by.items() if s > 0.0 and n != _NONE), reverse=True)
    never = found.ended_by.get(_NONE, 0.0)
    if not rows:
        limited = set(found.ended_by) - {_NONE}
        within = f"No limit is reached within {duration(horizon)} in any sample."
        return within if limited else "No limit is on the shelf life."
    if len(rows) == 1 and never <= 0.0:
        return f"What ends it: {limit_name(rows[0][1])} in all samples."
    texts = [f"{limit_name(name)} in {_share(share)}" for share, name in rows]
    texts[0] += " of the samples"
    if never > 0.0:
        texts.append(f"nothing within {duration(horizon)} in {_share(never)}")
    return f"What ends it: {listed(texts)}."


def _share(share: float) -> str:
    """'12 %'; a share that is nearly all keeps the digits that tell it from all."""
    for digits in (2, 3, 4, 5):
        text = percent(100.0 * share, digits)
        if share == 1.0 or text != "100 %":
            return text
    return text


def _percentiles(page: Page, found: UncertaintyResult, result: PredictResult) -> None:
    page.line()
    rows = [
        [f"{row.percentile} %", _life(row, result, result), limit_name(row.limited_by or "")]
        for row in found.percentiles
    ]
    page.table([number("of the samples"), number("last less than"), Column("ended by")], rows)


def _life(row: PercentileEnd, result: PredictResult, like: PredictResult) -> str:
    """In the unit that suits the target of ``like``."""
    if row.shelf_life_days is None:
        return f"over {duration(result.horizon_days, like.target_days)}"
    return duration(row.shelf_life_days, like.target_days)


def _distribution(page: Page, found: UncertaintyResult, result: PredictResult) -> None:
    unit, rows = bars(found.life_days, found.ended_by.get(_NONE, 0.0), result.target_days)
    if not rows:
        return
    page.line()
    page.table(
        [number(unit), number("samples"), word("")],
        [[r.label, "" if r.share is None else _share(r.share), r.bar or " "] for r in rows],
    )


def _influences(page: Page, found: UncertaintyResult) -> None:
    rows = [r for r in found.influences if r.total >= _LEAST][:_SHOWN]
    if not rows:
        return
    details = found.details or {}
    of = str(details.get("indices_of", "ln(shelf life)"))
    page.heading("What to measure better")
    page.table(
        [Column("what"), number("in all"), number("alone")],
        [[influence_name(r.name), _share(r.total), _share(r.first_order)] for r in rows],
    )
    error = float(details.get("index_error", 0.0))
    about = f"; sampling error up to {percent(100.0 * error, 1)}" if error > 0.0 else ""
    page.indented(
        f"Share of the variance of {of} that goes with each: in all, with all it does together with the "
        f"others, and alone{about}. What stands first is worth a measurement; what is not shown is not."
    )


def influence_name(name: str) -> str:
    """What an influence is, in words."""
    if name.startswith(_SHARED):
        return f"what the properties from {name.removeprefix(_SHARED)} have in common"
    return name


def _spreads(page: Page, found: UncertaintyResult, units: System) -> None:
    page.heading("Spreads used")
    if not found.spreads:
        page.indented("none: nothing that the shelf life depends on is uncertain")
        return
    rows = sorted(found.spreads, key=lambda s: (s.unit != "%", -s.size, s.name))
    table, last = [], ""
    for row in rows:
        table.append([row.name, _size(row, units), "as above" if row.origin == last else row.origin])
        last = row.origin
    page.table([Column("of"), number("spread"), Column("from")], table)
    offsets = f"offsets in {units.unit('K')} and %RH are normal"
    page.indented(f"Relative standard deviations of lognormal factors; {offsets}.")
    assumed = sum(1 for row in rows if row.origin.startswith(ASSUMED))
    if assumed:
        many = "1 spread is" if assumed == 1 else f"{assumed} spreads are"
        page.indented(f"{many} assumed and not known: give your own as 'spread' beside the value.")


def _size(row: SpreadNote, units: System) -> str:
    return with_unit(row.size, row.unit, units=units)


def _drawn(page: Page, found: UncertaintyResult) -> None:
    page.bullets(
        "Drawn",
        [
            f"{found.samples} samples (scrambled Sobol points), seed {found.seed}, walls {found.wall}; the "
            "same seed gives the same answer",
            *found.notes,
        ],
    )
