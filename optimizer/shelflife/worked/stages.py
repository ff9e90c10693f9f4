"""The stages of storage on the sheet: conditions, pressures outside, conductances, capacities."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import DAY, DRY_AIR, ZERO_CELSIUS
from optimizer.shelflife.contents import inside_activity
from optimizer.shelflife.package import Package
from optimizer.shelflife.worked.inside import Inside, saturation
from optimizer.shelflife.worked.run import Followed, Span
from optimizer.shelflife.worked.sheet import Ref, Sheet
from optimizer.shelflife.worked.walls import Place, Ways, conductances

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Drive:
    """What moves a gas in one stage: conductance [mol/(s Pa)], pressures outside and inside [Pa] (inside
    None where it is to be worked out)."""

    conductance: Ref
    outside: Ref
    inside: Ref | None


class Stages:
    """Stages on one sheet. package: as simulated, with values for N2 where that is followed."""

    def __init__(
        self, sheet: Sheet, followed: Followed, package: Package, ways: Ways, inside: Inside
    ) -> None:
        self.sheet, self.followed, self.inside = sheet, followed, inside
        self._package, self._ways = package, ways
        self._conductance: dict[tuple[Place, str], Ref] = {}

    def _conditions(self, span: Span) -> tuple[float, float, float]:
        """Temperature [K], activity outside and total pressure [Pa]: the mean ones where they change."""
        s, own = self.followed.segments, np.array(span.segments)
        columns = (s.temperature[own], s.humidity[own], s.pressure[own])
        if span.one:
            return tuple(float(x[0]) for x in columns)  # type: ignore[return-value]
        width = np.minimum(s.end[own], self.followed.end) - s.start[own]
        return tuple(float(x @ width / width.sum()) for x in columns)  # type: ignore[return-value]

    def open(self, span: Span) -> None:
        """The heading of a stage."""
        t, a, _ = self._conditions(span)
        air = f"{'' if span.one else 'on average '}{t - ZERO_CELSIUS:.4g} degC, {100 * a:.4g} %RH"
        self.sheet.section(f"Stage {span.name}, from day {span.start / DAY:.6g}, {air}")

    def place(self, span: Span, activity: float | None = None) -> Place:
        """Conditions of a stage; activity: inside, that at closing unless given."""
        sheet, (t, a, p) = self.sheet, self._conditions(span)
        origin = "input" if span.one else "program"
        origin = origin if self.followed.case.outer is None else "simulation"
        if activity is None or activity == inside_activity(self.followed.case.product):
            inside = self.inside.activity()
        else:
            title, why = f"Mean water activity inside during {span.name}", "it moves with the water"
            inside = sheet.give(title, activity, "", "simulation", why)
        warm = "input" if span.one else "program"
        return Place(
            sheet.give(f"Temperature {t - ZERO_CELSIUS:.6g} degC", t, "K", warm),
            sheet.give("Total pressure outside", p, "Pa", origin),
            saturation(sheet, t),
            inside,
            sheet.give(f"Water activity outside, {100 * a:.6g} %RH", a, "", origin),
        )

    def duration(self, span: Span) -> Ref:
        """Duration of a stage up to the end of what is worked out [s]."""
        sheet = self.sheet
        title = f"Time spent in {span.name} from day {span.start / DAY:.6g}"
        until = self.followed.reached and self.followed.last in span.segments
        origin, remark = ("simulation", "until the limit is reached there") if until else ("input", "")
        days = sheet.give(title, span.duration / DAY, "days", origin, remark, digits=9)
        return sheet.work(f"{title}, in seconds", "t = z * d", "s", "", z=days, d=sheet.constant("day"))

    def conductance(self, place: Place, gas: str) -> Ref:
        key = (place, gas)
        if key not in self._conductance:
            self._conductance[key] = self._ways.conductance(place, gas)
        return self._conductance[key]

    def outside(self, span: Span, place: Place, gas: str) -> Ref:
        """Partial pressure outside [Pa] in a stage of one set of surroundings."""
        sheet = self.sheet
        if gas == "H2O":
            return sheet.work(
                "Vapour pressure outside",
                "p_o = a_o * p_s",
                "Pa",
                "",
                a_o=place.outside,
                p_s=place.saturation,
            )
        shares = self.followed.segments.shares
        if shares is None:
            y = sheet.give(f"Share of {gas} in dry air", DRY_AIR[gas], "", "constant")
        else:
            value = float(shares[gas][span.segments[0]])
            y = sheet.give(
                f"Share of {gas} in the dry gas outside", value, "", "simulation", "in the outer pack"
            )
        return sheet.work(
            f"Pressure of {gas} outside",
            "p_o = y * (p - a_o * p_s)",
            "Pa",
            "of the dry part of the pressure",
            y=y,
            p=place.pressure,
            a_o=place.outside,
            p_s=place.saturation,
        )

    def capacity(self, place: Place, gas: str) -> tuple[Ref, Ref | None]:
        """Moles of a gas in a rigid headspace and the product per Pa, and of these in the product (None
        where it dissolves none)."""
        sheet = self.sheet
        h = self.inside.solubility(gas, place.temperature.value)
        symbols = dict(V=self.inside.headspace, R=sheet.constant("R"), T=place.temperature)
        if h is None:
            title = f"{gas} in the headspace per pressure"
            return sheet.work(title, "C = V / (R * T)", "mol/Pa", "", **symbols), None
        held = sheet.work(
            f"{gas} in the product per pressure", "h = H * V_p", "mol/Pa", "", H=h, V_p=self.inside.volume()
        )
        title = f"{gas} in headspace and product per pressure"
        return sheet.work(title, "C = V / (R * T) + h", "mol/Pa", "", h=held, **symbols), held

    def drive(self, span: Span, gas: str, *, by_hand: bool, moving: bool) -> Drive:
        """Conductance and mean pressures of a stage, those inside from the simulation. by_hand: water at a
        fixed activity, whose pressure inside needs no simulation; moving: the conductance changes with the
        activity inside."""
        place = self.place(span, span.activity if moving else None)
        conductance = self.conductance(place, gas)
        if not span.one:
            return self._weighted(span, gas, place, conductance)
        outside = self.outside(span, place, gas)
        if by_hand:
            inside = self._vapour(place)
            self._rate(conductance, outside, inside)
            return Drive(conductance, outside, inside)
        why = "weighted with the conductance, which changes" if moving else "over the time of the stage"
        known = self._known(span, gas, place.inside.value)
        value = float(self._pressures(gas)[span.segments[0]])
        value -= _over(span.moved[gas], float(known[0]) * span.duration)
        return Drive(conductance, outside, self._mean_inside(span, gas, value, outside.value, why))

    def _known(self, span: Span, gas: str, activity: float) -> Array:
        """The program's own conductances in the segments of a stage, beside those worked out here."""
        s, own = self.followed.segments, np.array(span.segments)
        conditions = (s.temperature[own], s.humidity[own], s.pressure[own])
        return conductances(self._package, gas, activity, conditions)

    def _pressures(self, gas: str) -> Array:
        """Pressures of a gas or of water vapour outside in every segment [Pa]."""
        s = self.followed.segments
        return s.humidity * s.saturation if gas == "H2O" else s.outside_pressure(gas)

    def _vapour(self, place: Place) -> Ref:
        return self.sheet.work(
            "Vapour pressure inside", "p_i = a_i * p_s", "Pa", "", a_i=place.inside, p_s=place.saturation
        )

    def _rate(self, conductance: Ref, outside: Ref, inside: Ref) -> None:
        """Water that passes, in trade units, for comparison."""
        sheet = self.sheet
        sheet.work(
            "Water through the package, outwards",
            "w = G * (p_i - p_o) * M * 1000 * d",
            "g/(package*day)",
            "",
            G=conductance,
            p_i=inside,
            p_o=outside,
            M=sheet.constant("M_H2O"),
            d=sheet.constant("day"),
        )

    def _mean_inside(self, span: Span, gas: str, value: float, outside: float, why: str) -> Ref:
        digits = 7
        if 0 < abs(value - outside) < 0.1 * abs(outside):
            digits = min(13, 7 + int(np.ceil(np.log10(abs(outside) / abs(value - outside)))))
        name = "vapour" if gas == "H2O" else gas
        title = f"Mean pressure of {name} inside during {span.name} from day {span.start / DAY:.6g}"
        return self.sheet.give(title, value, "Pa", "simulation", why, digits=digits)

    def _weighted(self, span: Span, gas: str, place: Place, at_mean: Ref) -> Drive:
        """Means over many conditions: conductance over time, pressures weighted with it."""
        s, sheet = self.followed.segments, self.sheet
        own = np.array(span.segments)
        width = np.minimum(s.duration[own], np.maximum(self.followed.end - s.start[own], 0.0))
        each, pressures = self._known(span, gas, place.inside.value), self._pressures(gas)
        weight = each * width
        if not weight.sum() > 0:
            weight = width
        mean = float(each @ width / width.sum())
        out = float(pressures[own] @ weight / weight.sum())
        where = f"during {span.name} from day {span.start / DAY:.6g}"
        ratio = f"{100 * (mean / at_mean.value - 1):+.3g} %" if at_mean.value else "-"
        g = sheet.give(
            f"Mean conductance to {gas} {where}",
            mean,
            "mol/(s Pa)",
            "simulation",
            f"over its {len(own)} conditions; {ratio} against that at the mean conditions, worked out above",
        )
        outside = sheet.give(
            f"Mean pressure of {gas} outside {where}",
            out,
            "Pa",
            "simulation",
            "weighted with the conductance",
        )
        value = outside.value - _over(span.moved[gas], g.value * span.duration)
        return Drive(g, outside, self._mean_inside(span, gas, value, out, "weighted with the conductance"))


def _over(amount: float, by: float) -> float:
    return amount / by if by else 0.0
