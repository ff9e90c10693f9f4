"""Oxygen gain and CO2 loss by hand in closed form, and the day on which the limit is reached."""

from __future__ import annotations

from optimizer.constants import DAY
from optimizer.shelflife.worked.inside import Closing
from optimizer.shelflife.worked.means import Outcome, days, limit_of, shares_headspace
from optimizer.shelflife.worked.relax import MET, TRIALS, Relaxation, Relaxing, first_trial
from optimizer.shelflife.worked.sheet import Ref
from optimizer.shelflife.worked.stages import Stages


def gas_limit(stages: Stages, closing: Closing) -> Outcome:
    """Oxygen gain or CO2 loss in closed form."""
    followed = stages.followed
    gas = "CO2" if followed.limit.name == "co2_loss" else "O2"
    relaxing = Relaxing(stages, gas, closing.amounts[gas])
    times: list[Ref] = []
    for span in followed.spans[:-1]:
        stages.open(span)
        time = stages.duration(span)
        relaxing.pass_through(relaxing.enter(span), time, span.name)
        times.append(time)
    span = followed.spans[-1]
    stages.open(span)
    stage = relaxing.enter(span)
    if gas == "CO2":
        return _loss(stages, relaxing, stage, times, closing)
    if not shares_headspace(followed):
        return _all_that_came_in(stages, relaxing, stage, times)
    gain = _Gain(stages, relaxing, stage, closing)
    return gain.solve(times)


def _loss(
    stages: Stages, relaxing: Relaxing, stage: Relaxation, times: list[Ref], closing: Closing
) -> Outcome:
    sheet, followed = stages.sheet, stages.followed
    if not followed.solves:
        time = stages.duration(followed.spans[-1])
        dn = relaxing.exchanged(stage, time, followed.spans[-1].name)
        moved = (
            dn
            if relaxing.moved is None
            else sheet.work("CO2 that left in all", "n = n_1 + n_2", "mol", "", n_1=relaxing.moved, n_2=dn)
        )
        sheet.section("The limit")
        limit_of(stages)
        title = f"CO2 loss after {followed.end / DAY:.6g} days"
        return Outcome(
            sheet.work(title, "x = 100 * n / n_0", "%", "", n=moved, n_0=closing.amounts["CO2"]), False
        )
    sheet.section("The limit")
    allowed = sheet.work(
        "CO2 that may leave", "N = x / 100 * n_0", "mol", "", x=limit_of(stages), n_0=closing.amounts["CO2"]
    )
    return Outcome(_by_logarithm(stages, relaxing, stage, times, allowed, "(p_0 - p_e)"), True)


def _all_that_came_in(stages: Stages, relaxing: Relaxing, stage: Relaxation, times: list[Ref]) -> Outcome:
    """The product neither dissolves nor uses oxygen: all that came in counts."""
    sheet, followed = stages.sheet, stages.followed
    m, molar = stages.inside.mass(), sheet.constant("M_O2")
    if not followed.solves:
        dn = relaxing.exchanged(stage, stages.duration(followed.spans[-1]), followed.spans[-1].name)
        moved = (
            dn
            if relaxing.moved is None
            else sheet.work("O2 that came in, in all", "n = n_1 + n_2", "mol", "", n_1=relaxing.moved, n_2=dn)
        )
        sheet.section("The limit")
        limit_of(stages)
        title = f"Oxygen gain after {followed.end / DAY:.6g} days"
        return Outcome(
            sheet.work(title, "x = 1000000 * n * M / m", "mg/kg", "", n=moved, M=molar, m=m), False
        )
    sheet.section("The limit")
    allowed = sheet.work(
        "Oxygen that the limit allows", "N = x / 1000000 * m / M", "mol", "", x=limit_of(stages), m=m, M=molar
    )
    return Outcome(_by_logarithm(stages, relaxing, stage, times, allowed, "(p_e - p_0)"), True)


def _by_logarithm(
    stages: Stages, relaxing: Relaxing, stage: Relaxation, times: list[Ref], allowed: Ref, way: str
) -> Ref:
    sheet, name = stages.sheet, stages.followed.spans[-1].name
    rest = allowed
    if relaxing.moved is not None:
        rest = sheet.work(f"Left for {name}", "n = N - n_0", "mol", "", N=allowed, n_0=relaxing.moved)
    time = sheet.work(
        f"Time in {name} until the limit is reached",
        f"t = -tau * ln(1 - n / (C * {way}))",
        "s",
        "the exponential solved for the time",
        tau=stage.tau,
        n=rest,
        C=stage.capacity,
        p_e=stage.end,
        p_0=stage.start,
    )
    return days(sheet, [*times, time])


class _Gain:
    """Oxygen gain of a product that dissolves or uses oxygen, in the last stage."""

    def __init__(self, stages: Stages, relaxing: Relaxing, stage: Relaxation, closing: Closing) -> None:
        self._stages, self._relaxing, self._stage, self._closing = stages, relaxing, stage, closing

    def value(self, pressure: Ref, used: Ref | None, when: str) -> Ref:
        """The gain [mg/kg] at a pressure and a use."""
        sheet, terms, symbols = self._stages.sheet, [], {}
        if self._stage.held is not None:
            terms, symbols = ["h * p"], dict(h=self._stage.held, p=pressure)
        if used is not None:
            terms, symbols = [*terms, "u"], {**symbols, "u": used}
        inner = " + ".join(terms) or "0"
        if self._closing.dissolved is not None:
            inner, symbols = f"{inner} - n_d", {**symbols, "n_d": self._closing.dissolved}
        symbols |= dict(M=sheet.constant("M_O2"), m=self._stages.inside.mass())
        remark = "dissolved and used up, less what was dissolved at closing"
        return sheet.work(
            f"Oxygen gain {when}", f"x = 1000000 * ({inner}) * M / m", "mg/kg", remark, **symbols
        )

    def solve(self, times: list[Ref]) -> Outcome:
        stages, stage, relaxing = self._stages, self._stage, self._relaxing
        sheet, followed = stages.sheet, stages.followed
        if not followed.solves:
            time = stages.duration(followed.spans[-1])
            pressure, used = relaxing.after(stage, time, "at the end")
            sheet.section("The limit")
            limit_of(stages)
            return Outcome(self.value(pressure, used, f"after {followed.end / DAY:.6g} days"), False)
        sheet.section("The limit")
        limit = limit_of(stages)
        if stage.use is None:
            return Outcome(self._by_logarithm(times, limit), True)
        return Outcome(self._by_trials(times, limit), True)

    def _by_logarithm(self, times: list[Ref], limit: Ref) -> Ref:
        sheet, stage = self._stages.sheet, self._stage
        assert stage.held is not None
        equation, symbols = "p = x / 1000000 * m / M / h", {}
        if self._closing.dissolved is not None:
            equation, symbols = "p = (x / 1000000 * m / M + n_d) / h", dict(n_d=self._closing.dissolved)
        pressure = sheet.work(
            "Pressure of O2 at which the product holds the limit",
            equation,
            "Pa",
            "",
            x=limit,
            m=self._stages.inside.mass(),
            M=sheet.constant("M_O2"),
            h=stage.held,
            **symbols,
        )
        time = sheet.work(
            "Time in the last stage until then",
            "t = -tau * ln((p_e - p) / (p_e - p_0))",
            "s",
            "the exponential solved for the time",
            tau=stage.tau,
            p_e=stage.end,
            p=pressure,
            p_0=stage.start,
        )
        return days(sheet, [*times, time])

    def _by_trials(self, times: list[Ref], limit: Ref) -> Ref:
        """Newton's method on the day, each trial written out; the last one checks the answer."""
        stages, stage = self._stages, self._stage
        sheet = stages.sheet
        assert stage.use is not None
        time = first_trial(stages)
        for i in range(1, TRIALS + 1):
            pressure, used = self._relaxing.after(stage, time, f"in trial {i}")
            gain = self.value(pressure, used, f"in trial {i}")
            if abs(gain.value - limit.value) <= MET * abs(limit.value):
                break
            time = self._corrected(time, pressure, gain, limit, i)
        return days(sheet, [*times, time])

    def _corrected(self, time: Ref, pressure: Ref, gain: Ref, limit: Ref, trial: int) -> Ref:
        sheet, stage = self._stages.sheet, self._stage
        equation = "r = 1000000 * U * p * M / m"
        symbols = dict(U=stage.use, p=pressure, M=sheet.constant("M_O2"), m=self._stages.inside.mass())
        if stage.held is not None:
            equation = "r = 1000000 * (h * (p_e - p) / tau + U * p) * M / m"
            symbols |= dict(h=stage.held, p_e=stage.end, tau=stage.tau)
        rate = sheet.work(
            f"Its change per second in trial {trial}",
            equation,
            "mg/(kg s)",
            "",
            **{k: v for k, v in symbols.items() if v is not None},
        )
        return sheet.work(
            f"Trial {trial + 1}",
            "t = t_0 + (L - x) / r",
            "s",
            "what is missing, over the change per second",
            t_0=time,
            L=limit,
            x=gain,
            r=rate,
        )
