"""By hand with given mean pressures: in each stage amount = conductance x difference of pressure x time."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.constants import DAY, ZERO_CELSIUS
from optimizer.shelflife.contents import solubility
from optimizer.shelflife.predict import TRADE
from optimizer.shelflife.worked.inside import Closing, activity_at, content
from optimizer.shelflife.worked.run import Followed, Span, by_name
from optimizer.shelflife.worked.sheet import Ref, Sheet
from optimizer.shelflife.worked.stages import Drive, Stages

#: Stages that are still told apart; beyond, those of one name are taken together.
MOST_SPANS = 12
#: Error of a day, as a share of it, from which the quantity on that day is worked out instead.
_SHARP = 2e-5


@dataclass(frozen=True)
class Outcome:
    """What comes out by hand: days, or the quantity of the limit after the days of the simulation. loss: the
    largest amount that it is a difference of, over that difference. from_headspace: share of an oxygen gain
    that the headspace lost, by a pressure from the simulation."""

    value: Ref
    in_days: bool
    loss: float = 1.0
    from_headspace: float = 0.0


@dataclass(frozen=True)
class Flow:
    """A stage with the amount [mol] that moved in it in the sense of the limit."""

    span: Span
    drive: Drive
    duration: Ref
    amount: Ref


def spans_of(stages: Stages) -> tuple[Span, ...]:
    spans = stages.followed.spans
    return spans if len(spans) <= MOST_SPANS else by_name(stages.followed)


def flows(stages: Stages, gas: str, *, out: bool, by_hand: bool, moving: bool) -> list[Flow]:
    """Stage by stage; out: amounts that leave count as positive."""
    found = []
    for span in spans_of(stages):
        stages.open(span)
        drive = stages.drive(span, gas, by_hand=by_hand, moving=moving)
        assert drive.inside is not None
        time = stages.duration(span)
        way = "(p_i - p_o)" if out else "(p_o - p_i)"
        amount = stages.sheet.work(
            f"{gas} that {'leaves' if out else 'comes in'} during {span.name}",
            f"n = G * {way} * t",
            "mol",
            "",
            G=drive.conductance,
            p_o=drive.outside,
            p_i=drive.inside,
            t=time,
        )
        found.append(Flow(span, drive, time, amount))
    return found


def limit_of(stages: Stages) -> Ref:
    """The limit as given in its trade unit."""
    limit = stages.followed.limit
    factor, unit, _ = TRADE[limit.name]
    return stages.sheet.give(
        f"Limit on {limit.name}", limit.value * factor, "" if unit == "-" else unit, "input"
    )


def simple(
    stages: Stages, gas: str, *, by_hand: bool, moving: bool, closing: Closing | None = None
) -> Outcome:
    """Limits on what moved in all: CO2 that left, water taken up or lost, a water activity."""
    sheet, limit = stages.sheet, stages.followed.limit
    out = limit.name in ("co2_loss", "water_loss", "water_activity_min")
    found = flows(stages, gas, out=out, by_hand=by_hand, moving=moving)
    sheet.section("The limit")
    allowed = _allowed(stages, closing)
    if stages.followed.solves and _sharp(stages, found, allowed.value):
        return Outcome(day_of(stages, found, allowed, out=out), True)
    moved = sheet.total(f"{gas} moved in all", "n", [f.amount for f in found], "mol")
    return Outcome(_quantity(stages, moved, closing), False)


def _sharp(stages: Stages, found: list[Flow], total: float) -> bool:
    """Whether the day follows from amounts that sum up to ``total`` [mol], each with seven digits."""
    last = found[-1]
    speed = abs(last.amount.value) / last.span.duration if last.span.duration else 0.0
    return speed * stages.followed.end > 1e-6 / _SHARP * total


def day_of(stages: Stages, found: list[Flow], needed: Ref, *, out: bool) -> Ref:
    """The day on which the amounts of the stages reach ``needed`` [mol], in the last of them."""
    sheet, last = stages.sheet, found[-1]
    rest = needed
    if len(found) > 1:
        names = {f"n_{i}": f.amount for i, f in enumerate(found[:-1], start=1)}
        rest = sheet.work(
            f"Left for {last.span.name}", f"n = N - {' - '.join(names)}", "mol", "", N=needed, **names
        )
    way = "(p_i - p_o)" if out else "(p_o - p_i)"
    assert last.drive.inside is not None
    time = sheet.work(
        f"Time in {last.span.name} until the limit is reached",
        f"t = n / (G * {way})",
        "s",
        "",
        n=rest,
        G=last.drive.conductance,
        p_o=last.drive.outside,
        p_i=last.drive.inside,
    )
    return days(sheet, [*(f.duration for f in found[:-1]), time])


def days(sheet: Sheet, times: list[Ref]) -> Ref:
    """Days of times in seconds."""
    title, day = "Day on which the limit is reached", sheet.constant("day")
    if len(times) == 1:
        return sheet.work(title, "D = t / d", "days", "", t=times[0], d=day)
    names = {f"t_{i}": t for i, t in enumerate(times, start=1)}
    return sheet.work(title, f"D = ({' + '.join(names)}) / d", "days", "", d=day, **names)


def _allowed(stages: Stages, closing: Closing | None) -> Ref:
    """Amount [mol] that the limit lets move."""
    sheet, limit, x = stages.sheet, stages.followed.limit, limit_of(stages)
    if limit.name == "co2_loss":
        assert closing is not None
        return sheet.work(
            "CO2 that may leave", "N = x / 100 * n_0", "mol", "", x=x, n_0=closing.amounts["CO2"]
        )
    if limit.name in ("water_gain", "water_loss"):
        return sheet.work(
            "Water that the limit allows",
            "N = x / 100 * m / M",
            "mol",
            "",
            x=x,
            m=stages.inside.mass(),
            M=sheet.constant("M_H2O"),
        )
    moisture = stages.followed.case.product.moisture
    assert moisture is not None
    start = content(sheet, moisture.isotherm, stages.inside.activity(), "at closing")
    end = content(sheet, moisture.isotherm, x, "at the limit")
    way = "(X_0 - X)" if limit.name == "water_activity_min" else "(X - X_0)"
    return sheet.work(
        "Water that the limit allows",
        f"N = m * {way} / M",
        "mol",
        "",
        m=stages.inside.dry_mass(),
        X=end,
        X_0=start,
        M=sheet.constant("M_H2O"),
    )


def _quantity(stages: Stages, moved: Ref, closing: Closing | None) -> Ref:
    """The quantity of the limit, in its trade unit, after ``moved`` [mol]."""
    sheet, limit = stages.sheet, stages.followed.limit
    day = f"after {stages.followed.end / DAY:.6g} days"
    if limit.name == "co2_loss":
        assert closing is not None
        return sheet.work(
            f"CO2 loss {day}", "x = 100 * n / n_0", "%", "", n=moved, n_0=closing.amounts["CO2"]
        )
    if limit.name in ("water_gain", "water_loss"):
        title = "Water gain" if limit.name == "water_gain" else "Water loss"
        return sheet.work(
            f"{title} {day}",
            "x = 100 * n * M / m",
            "%",
            "",
            n=moved,
            M=sheet.constant("M_H2O"),
            m=stages.inside.mass(),
        )
    moisture = stages.followed.case.product.moisture
    if moisture is None:
        return stages.inside.activity()
    start = content(sheet, moisture.isotherm, stages.inside.activity(), "at closing")
    sign = "-" if limit.name == "water_activity_min" else "+"
    end = sheet.work(
        f"Water content of the product {day}",
        f"X = X_0 {sign} n * M / m",
        "kg/kg dry",
        "",
        X_0=start,
        n=moved,
        M=sheet.constant("M_H2O"),
        m=stages.inside.dry_mass(),
    )
    return activity_at(sheet, moisture.isotherm, end, day)


def oxygen(stages: Stages, closing: Closing, *, moving: bool) -> Outcome:
    """Oxygen gain: what came in, with the headspace's own where the product dissolves or uses oxygen."""
    sheet, followed = stages.sheet, stages.followed
    found = flows(stages, "O2", out=False, by_hand=False, moving=moving)
    sheet.section("The limit")
    x, mass, molar = limit_of(stages), stages.inside.mass(), sheet.constant("M_O2")
    allowed = sheet.work(
        "Oxygen that the limit allows", "N = x / 1000000 * m / M", "mol", "", x=x, m=mass, M=molar
    )
    ends = _headspace_end(stages) if shares_headspace(followed) else None
    total = allowed.value + (0.0 if ends is None else ends.value + closing.headspace["O2"].value)
    lost = 0.0 if ends is None else (closing.headspace["O2"].value - ends.value) / allowed.value
    if followed.solves and _sharp(stages, found, total):
        needed = allowed
        if ends is not None:
            needed = sheet.work(
                "Oxygen that must come in",
                "n = N + n_e - n_h",
                "mol",
                "the product takes what came in and what the headspace lost",
                N=allowed,
                n_e=ends,
                n_h=closing.headspace["O2"],
            )
        return Outcome(day_of(stages, found, needed, out=False), True, from_headspace=lost)
    moved = sheet.total("O2 that came in, in all", "n", [f.amount for f in found], "mol")
    equation, symbols = "x = 1000000 * n * M / m", {}
    if ends is not None:
        equation = "x = 1000000 * (n + n_h - n_e) * M / m"
        symbols = dict(n_h=closing.headspace["O2"], n_e=ends)
    title = f"Oxygen gain after {followed.end / DAY:.6g} days"
    gain = sheet.work(title, equation, "mg/kg", "", n=moved, M=molar, m=mass, **symbols)
    return Outcome(gain, False, total / allowed.value, lost)


def shares_headspace(followed: Followed) -> bool:
    """Whether the gain is what the product takes, and not all that came in."""
    product = followed.case.product
    dissolves = float(solubility(product, "O2", product.closing_temperature)) > 0.0
    return followed.contents.reacts or dissolves


def _headspace_end(stages: Stages) -> Ref:
    """O2 in the headspace at the end, from its pressure and volume in the simulation [mol]."""
    sheet, followed = stages.sheet, stages.followed
    rigid = followed.case.product.headspace.rigid
    volume = stages.inside.headspace
    if not rigid:
        volume = sheet.give(
            "Headspace volume at the end",
            float(followed.seen.volume),
            "m3",
            "simulation",
            "a flexible package gives way",
        )
    return sheet.work(
        "O2 in the headspace at the end",
        "n_e = p * V / (R * T)",
        "mol",
        "",
        p=sheet.give("Pressure of O2 inside at the end", followed.pressure("O2"), "Pa", "simulation"),
        V=volume,
        R=sheet.constant("R"),
        T=_warmth_at_the_end(stages),
    )


def headspace_share(stages: Stages, closing: Closing, *, moving: bool) -> Outcome:
    """Share of oxygen in the headspace at the end, from what moved of every gas."""
    sheet, followed = stages.sheet, stages.followed
    gases = followed.contents.gases
    moved: dict[str, list[Ref]] = {g: [] for g in gases}
    for span in spans_of(stages):
        stages.open(span)
        time = stages.duration(span)
        for gas in gases:
            drive = stages.drive(span, gas, by_hand=False, moving=moving)
            assert drive.inside is not None
            moved[gas].append(
                sheet.work(
                    f"{gas} that comes in during {span.name}",
                    "n = G * (p_o - p_i) * t",
                    "mol",
                    "",
                    G=drive.conductance,
                    p_o=drive.outside,
                    p_i=drive.inside,
                    t=time,
                )
            )
    sheet.section("The limit")
    limit_of(stages)
    pressures = {gas: _end_pressure(stages, closing, gas, moved[gas]) for gas in gases}
    names = {f"p_{gas}": p for gas, p in pressures.items()}
    title = f"O2 in the headspace after {followed.end / DAY:.6g} days, of the dry gas"
    equation = f"y = 100 * p_O2 / ({' + '.join(names)})"
    return Outcome(sheet.work(title, equation, "%", "", **names), False)


def _end_pressure(stages: Stages, closing: Closing, gas: str, moved: list[Ref]) -> Ref:
    sheet, followed = stages.sheet, stages.followed
    names = {f"n_{i}": n for i, n in enumerate(moved, start=1)}
    equation = "n = n_0 + " + " + ".join(names)
    symbols = {"n_0": closing.amounts[gas], **names}
    if gas == "O2" and followed.contents.reacts:
        equation += " - u"
        symbols["u"] = sheet.give("O2 used up by the product", float(followed.used), "mol", "simulation")
    amount = sheet.work(f"{gas} in the package at the end", equation, "mol", "", **symbols)
    t = float(followed.segments.temperature[followed.last])
    volume = stages.inside.headspace
    if not followed.case.product.headspace.rigid:
        volume = sheet.give(
            "Headspace volume at the end",
            float(followed.seen.volume),
            "m3",
            "simulation",
            "a flexible package gives way",
        )
    bottom, more = "V / (R * T)", {}
    h = stages.inside.solubility(gas, t)
    if h is not None:
        bottom += " + H * V_p"
        more = dict(H=h, V_p=stages.inside.volume())
    return sheet.work(
        f"Pressure of {gas} inside at the end",
        f"p = n / ({bottom})",
        "Pa",
        "",
        n=amount,
        V=volume,
        R=sheet.constant("R"),
        T=_warmth_at_the_end(stages),
        **more,
    )


def _warmth_at_the_end(stages: Stages) -> Ref:
    """Temperature [K] of the last moment: that of its stage, or one of those of the weather."""
    t = float(stages.followed.segments.temperature[stages.followed.last])
    origin = "input" if spans_of(stages)[-1].one else "program"
    return stages.sheet.give(f"Temperature {t - ZERO_CELSIUS:.6g} degC", t, "K", origin)
