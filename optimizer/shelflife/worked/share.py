"""Share of oxygen in a rigid headspace by hand in closed form: every gas relaxes on its own."""

from __future__ import annotations

from optimizer.constants import DAY
from optimizer.shelflife.worked.inside import Closing
from optimizer.shelflife.worked.means import Outcome, days, limit_of
from optimizer.shelflife.worked.relax import MET, TRIALS, Relaxation, Relaxing, first_trial
from optimizer.shelflife.worked.sheet import Ref, Sheet
from optimizer.shelflife.worked.stages import Stages


def headspace_share(stages: Stages, closing: Closing) -> Outcome:
    """Share of oxygen in the dry headspace of a rigid package: every gas relaxes on its own."""
    followed, sheet = stages.followed, stages.sheet
    every = [Relaxing(stages, gas, closing.amounts[gas]) for gas in followed.contents.gases]
    times: list[Ref] = []
    for span in followed.spans[:-1]:
        stages.open(span)
        time = stages.duration(span)
        times.append(time)
        for gas in every:
            gas.leaves = False
            gas.pass_through(gas.enter(span), time, span.name)
    span = followed.spans[-1]
    stages.open(span)
    last = {}
    for gas in every:
        gas.leaves = False
        last[gas.gas] = (gas, gas.enter(span))
    if not followed.solves:
        time = stages.duration(span)
        pressures = {g: r.after(stage, time, "at the end")[0] for g, (r, stage) in last.items()}
        sheet.section("The limit")
        limit_of(stages)
        when = f"after {followed.end / DAY:.6g} days"
        return Outcome(_share(sheet, pressures, when), False)
    sheet.section("The limit")
    return Outcome(_trials(stages, last, times, limit_of(stages)), True)


def _share(sheet: Sheet, pressures: dict[str, Ref], when: str) -> Ref:
    names = {f"p_{g}": p for g, p in pressures.items()}
    return sheet.work(
        f"O2 in the dry headspace {when}", f"y = 100 * p_O2 / ({' + '.join(names)})", "%", "", **names
    )


def _trials(
    stages: Stages, last: dict[str, tuple[Relaxing, Relaxation]], times: list[Ref], limit: Ref
) -> Ref:
    """Newton's method on the day, with the change of the share per second."""
    sheet = stages.sheet
    time = first_trial(stages)
    for i in range(1, TRIALS + 1):
        now = {g: r.after(stage, time, f"in trial {i}")[0] for g, (r, stage) in last.items()}
        share = _share(sheet, now, f"in trial {i}")
        if abs(share.value - limit.value) <= MET * abs(limit.value):
            break
        symbols = {f"p_{g}": p for g, p in now.items()}
        for g, (_, stage) in last.items():
            symbols |= {f"e_{g}": stage.end, f"tau_{g}": stage.tau}
        total = " + ".join(f"p_{g}" for g in now)
        change = " + ".join(f"(e_{g} - p_{g}) / tau_{g}" for g in now)
        rate = sheet.work(
            f"Its change per second in trial {i}",
            f"r = (100 * (e_O2 - p_O2) / tau_O2 - y * ({change})) / ({total})",
            "%/s",
            "by the rule for quotients",
            y=share,
            **symbols,
        )
        time = sheet.work(
            f"Trial {i + 1}",
            "t = t_0 + (L - y) / r",
            "s",
            "what is missing, over the change per second",
            t_0=time,
            L=limit,
            y=share,
            r=rate,
        )
    return days(sheet, [*times, time])
