"""A gas of its own in a rigid package relaxes exponentially in every stage.

C dp/dt = G (p_o - p) - U p, with C the moles per Pa in headspace and product and U the use of order 1, so
p = p_e + (p_0 - p_e) exp(-t / tau), tau = C / (G + U), p_e = G p_o / (G + U). The amount is kept at a change
of stage.
"""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.constants import DAY, ZERO_CELSIUS
from optimizer.shelflife.worked.run import Span
from optimizer.shelflife.worked.sheet import Ref
from optimizer.shelflife.worked.stages import Stages

#: Trials for a day end when the limit is met to this share.
MET = 1e-6
TRIALS = 8


@dataclass(frozen=True)
class Relaxation:
    """One gas in one stage: start pressure, end pressure, time constant, capacity, what the product holds per
    Pa (None: nothing), use per Pa (None: none)."""

    start: Ref
    end: Ref
    tau: Ref
    capacity: Ref
    held: Ref | None
    use: Ref | None


class Relaxing:
    """A gas followed stage by stage. used and moved [mol] so far; None before anything was."""

    def __init__(self, stages: Stages, gas: str, amount: Ref) -> None:
        self.stages, self.gas, self.amount = stages, gas, amount
        self.used: Ref | None = None
        self.moved: Ref | None = None
        self.leaves = gas == "CO2"

    def enter(self, span: Span) -> Relaxation:
        """The constants of a stage."""
        stages, sheet, gas = self.stages, self.stages.sheet, self.gas
        place = stages.place(span)
        g, outside = stages.conductance(place, gas), stages.outside(span, place, gas)
        capacity, held = stages.capacity(place, gas)
        use = self._use(span, place.temperature, capacity, held)
        start = sheet.work(
            f"Pressure of {gas} inside as the stage begins",
            "p_0 = n / C",
            "Pa",
            "",
            n=self.amount,
            C=capacity,
        )
        if use is None:
            tau = sheet.work(
                f"Time constant of {gas}",
                "tau = C / G",
                "s",
                f"{capacity.value / g.value / DAY:.4g} days",
                C=capacity,
                G=g,
            )
            return Relaxation(start, outside, tau, capacity, held, None)
        end = sheet.work(
            f"Pressure that {gas} tends to",
            "p_e = G * p_o / (G + U)",
            "Pa",
            "ingress against use",
            G=g,
            p_o=outside,
            U=use,
        )
        tau = sheet.work(f"Time constant of {gas}", "tau = C / (G + U)", "s", "", C=capacity, G=g, U=use)
        return Relaxation(start, end, tau, capacity, held, use)

    def _use(self, span: Span, temperature: Ref, capacity: Ref, held: Ref | None) -> Ref | None:
        """Oxygen used per time and Pa of its pressure [mol/(s Pa)]."""
        model, sheet = self.stages.followed.case.product.oxygen.consumption, self.stages.sheet
        if self.gas != "O2" or model is None:
            return None
        rate = sheet.give("Rate of oxygen use, as given", model.rate * DAY, "1/day", "input", "of order 1")
        k = sheet.work(
            "Rate of oxygen use at the temperature",
            "k = k_r / d * exp(-E / R * (1 / T - 1 / T_r))",
            "1/s",
            "",
            k_r=rate,
            d=sheet.constant("day"),
            E=sheet.give("Activation energy of oxygen use", model.activation_energy, "J/mol", "input"),
            R=sheet.constant("R"),
            T=temperature,
            T_r=sheet.give(
                "Temperature of the rate of oxygen use",
                model.temperature,
                "K",
                "input",
                f"{model.temperature - ZERO_CELSIUS:g} degC",
            ),
        )
        of = capacity if held is None else held
        what = "on what the product has dissolved" if held is not None else "on the oxygen of the headspace"
        return sheet.work("Oxygen use per pressure", "U = k * h", "mol/(s Pa)", what, k=k, h=of)

    def pass_through(self, stage: Relaxation, time: Ref, name: str) -> None:
        """A whole stage: the amounts after it."""
        sheet, gas = self.stages.sheet, self.gas
        if stage.use is None:
            dn = self.exchanged(stage, time, name)
            sign = "-" if self.leaves else "+"
            self.amount = sheet.work(
                f"{gas} in the package after {name}",
                f"n = n_0 {sign} n_s",
                "mol",
                "",
                n_0=self.amount,
                n_s=dn,
            )
            self.moved = (
                dn
                if self.moved is None
                else sheet.work(
                    f"{gas} that {'left' if self.leaves else 'came in'} so far",
                    "n = n_1 + n_2",
                    "mol",
                    "",
                    n_1=self.moved,
                    n_2=dn,
                )
            )
            return
        pressure, used = self.after(stage, time, f"after {name}")
        assert used is not None
        self.used = used
        self.amount = sheet.work(
            f"{gas} in the package after {name}", "n = C * p", "mol", "", C=stage.capacity, p=pressure
        )

    def exchanged(self, stage: Relaxation, time: Ref, name: str) -> Ref:
        """What comes in (CO2: leaves) in ``time`` [mol]."""
        way = "(p_0 - p_e)" if self.leaves else "(p_e - p_0)"
        return self.stages.sheet.work(
            f"{self.gas} that {'leaves' if self.leaves else 'comes in'} during {name}",
            f"n = C * {way} * (1 - exp(-t / tau))",
            "mol",
            "",
            C=stage.capacity,
            p_e=stage.end,
            p_0=stage.start,
            t=time,
            tau=stage.tau,
        )

    def after(self, stage: Relaxation, time: Ref, name: str) -> tuple[Ref, Ref | None]:
        """Pressure after ``time`` [Pa], and oxygen used up until then [mol]."""
        sheet = self.stages.sheet
        symbols = dict(p_e=stage.end, p_0=stage.start, t=time, tau=stage.tau)
        pressure = sheet.work(
            f"Pressure of {self.gas} inside {name}",
            "p = p_e + (p_0 - p_e) * exp(-t / tau)",
            "Pa",
            "",
            **symbols,
        )
        if stage.use is None:
            return pressure, None
        equation = "u = U * (p_e * t + (p_0 - p_e) * tau * (1 - exp(-t / tau)))"
        if self.used is not None:
            equation = equation.replace("u = ", "u = u_0 + ")
            symbols["u_0"] = self.used
        return pressure, sheet.work(
            f"Oxygen used up {name}", equation, "mol", "integral of U p", U=stage.use, **symbols
        )


def first_trial(stages: Stages) -> Ref:
    """A guess of the time in the last stage [s], two digits of what the simulation found."""
    sheet, followed = stages.sheet, stages.followed
    trial = sheet.give(
        "First trial, days in the last stage",
        (followed.end - followed.spans[-1].start) / DAY,
        "days",
        "simulation",
        "any guess will do: the trials correct it",
        digits=2,
    )
    return sheet.work("First trial", "t = z * d", "s", "", z=trial, d=sheet.constant("day"))
