"""Water by hand in closed form: constant conductance and a straight isotherm."""

from __future__ import annotations

from optimizer.constants import DAY
from optimizer.physics.sorption import TableIsotherm
from optimizer.shelflife.worked.means import Outcome, days, limit_of
from optimizer.shelflife.worked.sheet import Ref
from optimizer.shelflife.worked.stages import Stages


def straight_isotherm(stages: Stages) -> Outcome:
    """The activity relaxes to that outside: a = a_o + (a_0 - a_o) exp(-t / tau), tau = m b / (M G p_s)."""
    sheet, followed = stages.sheet, stages.followed
    slope = _slope(stages)
    a, times = stages.inside.activity(), list[Ref]()
    if not followed.solves:
        limit_of(stages)
    for i, span in enumerate(followed.spans):
        stages.open(span)
        place = stages.place(span)
        tau = sheet.work(
            "Time constant of the water",
            "tau = m * b / (M * G * p_s)",
            "s",
            "",
            m=stages.inside.dry_mass(),
            b=slope,
            M=sheet.constant("M_H2O"),
            G=stages.conductance(place, "H2O"),
            p_s=place.saturation,
        )
        last = i == len(followed.spans) - 1
        if last and followed.solves:
            return Outcome(days(sheet, [*times, _time(stages, a, place.outside, tau, slope)]), True)
        time = stages.duration(span)
        times.append(time)
        a = sheet.work(
            f"Water activity inside after {span.name}",
            "a = a_o + (a_0 - a_o) * exp(-t / tau)",
            "",
            "",
            a_o=place.outside,
            a_0=a,
            t=time,
            tau=tau,
        )
    if followed.limit.name.startswith("water_activity"):
        return Outcome(a, False)
    sheet.section("The limit")
    way = "(a_0 - a)" if followed.limit.name == "water_loss" else "(a - a_0)"
    what = "Water loss" if followed.limit.name == "water_loss" else "Water gain"
    title = f"{what} after {followed.end / DAY:.6g} days"
    value = sheet.work(
        title,
        f"x = 100 * m_d * b * {way} / m",
        "%",
        "",
        m_d=stages.inside.dry_mass(),
        b=slope,
        a=a,
        a_0=stages.inside.activity(),
        m=stages.inside.mass(),
    )
    return Outcome(value, False)


def _time(stages: Stages, start: Ref, outside: Ref, tau: Ref, slope: Ref) -> Ref:
    """Time in the last stage until the limit is reached [s]."""
    sheet, followed = stages.sheet, stages.followed
    sheet.section("The limit")
    limit = limit_of(stages)
    if not followed.limit.name.startswith("water_activity"):
        sign = "-" if followed.limit.name == "water_loss" else "+"
        limit = sheet.work(
            "Water activity at the limit",
            f"a = a_0 {sign} x / 100 * m / (m_d * b)",
            "",
            "",
            a_0=stages.inside.activity(),
            x=limit,
            m=stages.inside.mass(),
            m_d=stages.inside.dry_mass(),
            b=slope,
        )
    return sheet.work(
        f"Time in {followed.spans[-1].name} until the limit is reached",
        "t = -tau * ln((a_o - a) / (a_o - a_0))",
        "s",
        "the exponential solved for the time",
        tau=tau,
        a_o=outside,
        a=limit,
        a_0=start,
    )


def _slope(stages: Stages) -> Ref:
    sheet, moisture = stages.sheet, stages.followed.case.product.moisture
    assert moisture is not None and isinstance(moisture.isotherm, TableIsotherm)
    (a1, x1), (a2, x2) = moisture.isotherm.points
    names = {
        "X_1": ("content 1", x1),
        "X_2": ("content 2", x2),
        "a_1": ("activity 1", a1),
        "a_2": ("activity 2", a2),
    }
    symbols = {k: sheet.give(f"Isotherm, {name}", value, "", "input") for k, (name, value) in names.items()}
    return sheet.work("Slope of the isotherm", "b = (X_2 - X_1) / (a_2 - a_1)", "kg/kg dry", "", **symbols)
