"""Amounts and times in the words and units of a report's pictures."""

from __future__ import annotations

from optimizer.report.figures.model import Axis
from optimizer.report.wording import duration, duration_unit, money, with_unit
from optimizer.units.systems import SI, System


def objective(value: float | None, minimised: str, unit: str, units: System = SI) -> str:
    """'0.0523 EUR', '28.4 g': what a design minimises."""
    return money(value, unit) if minimised == "cost" else with_unit(value, unit, 4, units)


def within(days: float | None, horizon: float, like: float | None) -> str:
    """'14.2 months', or 'over 27 months' where nothing ends it within the time looked at [days]."""
    return f"over {duration(horizon, like)}" if days is None else duration(days, like)


def time_axis(like: float, title: str = "time from closing") -> tuple[Axis, float]:
    """Axis in the unit that suits ``like`` [days], and the length of that unit in days."""
    unit, length = duration_unit(like)
    return Axis(title, unit, zero=True), length
