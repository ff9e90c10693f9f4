"""``tradeoff``: the frontier of shelf life against cost, mass or thickness, every point proved."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from importlib.metadata import version as package_version

import numpy as np

from optimizer.constants import DAY
from optimizer.design.binding import chosen
from optimizer.design.demands import GUARD
from optimizer.design.differences import difference
from optimizer.design.frontier import INSIDE, KINK_TOLERANCE, Ended, Frontier, Solved
from optimizer.design.halt import INTERRUPT, MEMORY, TIME, Halt, Stop
from optimizer.design.held import held_by
from optimizer.design.longest import LONGEST_TOLERANCE, End, find_end
from optimizer.design.optimise import DEFAULT_GAP, DEFAULT_TIME
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.design.solve import objective_unit
from optimizer.errors import InputError, Problem
from optimizer.results import ChosenLayer
from optimizer.results_tradeoff import Kink, TradeoffPoint, TradeoffResult
from optimizer.shelflife.nested import alone_only
from optimizer.shelflife.package import Case
from optimizer.shelflife.words import duration

Progress = Callable[[str], None]

POINTS = 20
FEWEST, MOST = 2, 500
#: The span looked at by default, as multiples of the target.
SHORTEST, LONGEST = 1.0 / 3.0, 2.0
#: A bound and a longer-lived structure that contradict one another by less than this are one rounding apart.
_ROUNDING = 1e-4
#: Numbers before a unit, as they stand in warnings.
_AMOUNT = re.compile(r"\d[\d.]*(?= (?:%|(?:u|m)?mol\b|months?\b|days?\b|years?\b))")


def tradeoff(
    case: Case,
    options: DesignOptions,
    *,
    points: int = POINTS,
    start: float | None = None,
    end: float | None = None,
    gap: float = DEFAULT_GAP,
    time_limit: float | None = None,
    progress: Progress | None = None,
    stop: Stop | None = None,
    memory_limit: float | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> TradeoffResult:
    """The best structure for each of ``points`` shelf lives from ``start`` to ``end`` [s], and its changes.

    Without start and end: from a third of the project's target to twice it, or to the longest shelf life
    that a structure reaches; the target is then one of the points. gap: share of the objective within which
    a proof may stop. time_limit [s]: for all together. stop: asked between steps; memory_limit [bytes]:
    resident. Ended by one of these, what was found is returned with a warning. Raises InputError where the
    span makes no sense.
    """
    alone_only(case, "a trade-off")
    begin = time.monotonic()
    limit = DEFAULT_TIME if time_limit is None else time_limit
    first, last = _span(case, points, start, end)
    halt = Halt(stop, memory_limit)
    frontier = Frontier(
        case,
        options,
        gap=gap,
        deadline=begin + limit,
        halt=halt,
        progress=progress,
        version=version,
        inputs_sha256=inputs_sha256,
    )
    run = _Run(frontier, points, first, last, fixed=end is not None, snap=start is None and end is None)
    run.work()
    return run.result(begin)


def _span(case: Case, points: int, start: float | None, end: float | None) -> tuple[float, float]:
    """First and last target [s], checked."""
    problems = []
    if not case.product.limits:
        problems.append(
            Problem(
                "no limit of the product depends on time, so every shelf life costs the same",
                field="product.limits",
                hint="add for example oxygen_gain: 5 mg/kg",
            )
        )
    if not FEWEST <= points <= MOST:
        problems.append(Problem(f"must lie from {FEWEST} to {MOST}, not {points}", field="--points"))
    if case.target is None and (start is None or end is None):
        problems.append(
            Problem(
                "the project has no target for the shelf life to set the span by",
                field="target.shelf_life",
                hint="give --from and --to, for example --from '3 months' --to '18 months'",
            )
        )
    if problems:
        raise InputError(problems)
    target = case.target or 0.0
    low = start if start is not None else min(SHORTEST * target, (end or np.inf) / 3.0)
    high = end if end is not None else max(LONGEST * target, 2.0 * low)
    if not 0.0 < low < high:
        raise InputError(
            Problem(
                f"the span must grow: from {duration(low / DAY)} to {duration(high / DAY)}",
                field="--from, --to",
            )
        )
    return low, high


def alike(warnings: Iterable[str]) -> list[str]:
    """Each warning once; of those that differ in an amount alone, the last (of the longest shelf life)."""
    return list({_AMOUNT.sub("", w): w for w in warnings}.values())


class _Run:
    """The work in order, and the answer made of whatever got done."""

    def __init__(
        self, frontier: Frontier, points: int, first: float, last: float, *, fixed: bool, snap: bool
    ) -> None:
        self.frontier, self.count = frontier, points
        self.first, self.last, self.fixed, self.snap = first, last, fixed, snap
        self.targets: list[float] = []
        self.end: End | None = None
        self.longest: float | None = None
        self.ended: str | None = None
        self.infeasible = False
        self.factor, self.unit = objective_unit(frontier.options)

    def work(self) -> None:
        """Ends early, with ``ended`` set, when the time is up or somebody says stop."""
        try:
            self._work()
        except Ended as end:
            self.ended = end.reason
        except KeyboardInterrupt:
            self.ended = INTERRUPT
        except MemoryError:
            self.ended = MEMORY

    def _work(self) -> None:
        frontier = self.frontier
        self.targets = [self.first]
        own = frontier.case.target
        if own is not None and self.first < own < self.last:
            frontier.solve(own)  # the structure that the project gives is nearest to this one
        if frontier.solve(self.first, explaining=True) is None:
            self.infeasible = True
            return
        if frontier.solve(self.last) is None:
            self.end = find_end(frontier, self.last)
            if self.end.life < self.last:
                longest = max(self.first, self.end.life * (1.0 - INSIDE))
                frontier.add(longest, self.end.choice)
                self.longest = longest
                self.targets = self._grid(longest)
            else:
                frontier.add(self.last, self.end.choice)
                self.end = None
                self.targets = self._grid(self.last)
        else:
            self.targets = self._grid(self.last)
        frontier.fill(self.targets)
        frontier.straighten()
        frontier.locate_kinks()
        frontier.make_monotone()

    def _grid(self, end: float) -> list[float]:
        """The targets: as asked where the end was given, with the longest possible as the last; else spread
        anew up to there, with the project's own target among them."""
        if self.fixed and end < self.last:
            asked = np.linspace(self.first, self.last, self.count)
            return [*(float(t) for t in asked if t < end * (1.0 - LONGEST_TOLERANCE)), end]
        targets = [float(t) for t in np.linspace(self.first, end, self.count)]
        targets[-1] = end
        own = self.frontier.case.target
        if self.snap and own is not None and self.first < own < end and self.count > 2:
            near = int(np.argmin([abs(t - own) for t in targets[1:-1]])) + 1
            targets[near] = own
        return targets

    # -- the answer ------------------------------------------------------------------------------------------

    def result(self, begin: float) -> TradeoffResult:
        frontier = self.frontier
        if self.ended:
            frontier.make_monotone()
        case, options = frontier.case, frontier.options
        wanted = {*self.targets} if len(self.targets) > 1 else {*frontier.known}
        rows = [frontier.known[t] for t in sorted(wanted & {*frontier.known})]
        shown = [s.predicted for s in rows]
        why = frontier.why if self.infeasible else None
        return TradeoffResult(
            title=case.title,
            version=frontier.version,
            inputs_sha256=frontier.sha,
            status="infeasible" if self.infeasible else self.ended or "complete",
            minimised=options.minimise,
            unit=self.unit,
            target_days=None if case.target is None else case.target / DAY,
            points=tuple(self._point(s) for s in rows),
            kinks=tuple(self._kinks()),
            kink_tolerance=KINK_TOLERANCE,
            from_days=self.first / DAY,
            to_days=self.last / DAY,
            longest_days=self.longest / DAY if self.longest else None,
            beyond_days=self.end.beyond / DAY if self.longest and self.end and self.end.beyond else None,
            longest_because=self._because(),
            limits=tuple(dict.fromkeys(x.name for p in shown for x in p.limits)),
            conflict=why.conflict if why else (),
            nearest=why.nearest if why else "",
            warnings=(*self._warnings(rows), *alike(w for p in shown for w in p.warnings)),
            assumptions=tuple(
                dict.fromkeys([*(a for p in shown for a in p.assumptions), *self._assumptions()])
            )
            if rows
            else (),
            cautions=tuple(dict.fromkeys(c for p in shown for c in p.cautions)),
            sources=tuple({tuple(s.items()): s for p in shown for s in p.sources}.values()),
            currency=next((p.currency for p in shown if p.currency), ""),
            solver={
                "name": "HiGHS",
                "highspy": package_version("highspy"),
                "pyomo": package_version("pyomo"),
                "searches": frontier.searches,
                "taken_over": sum(not s.searched for s in rows),
                "gap_asked": frontier.gap,
                "seconds": round(time.monotonic() - begin, 2),
            },
        )

    def _point(self, one: Solved) -> TradeoffPoint:
        proved = bool(np.isfinite(one.bound))
        return TradeoffPoint(
            shelf_life_days=one.target / DAY,
            reached_days=one.predicted.shelf_life_days,
            objective=one.objective * self.factor,
            unit=self.unit,
            lower_bound=one.bound * self.factor if proved else None,
            gap=one.gap if proved else None,
            structure=self._structure(one.choice),
            limited_by=one.predicted.limited_by,
            mass_g=one.predicted.mass_g,
            cost_per_package=one.predicted.cost_per_package,
        )

    def _structure(self, choice: Choice) -> dict[str, tuple[ChosenLayer, ...]]:
        return chosen(self.frontier.options, choice)

    def _kinks(self) -> list[Kink]:
        rows = self.frontier.solved
        return [
            Kink(
                between_days=(a.target / DAY, b.target / DAY),
                change=difference(self._names(a.choice), self._names(b.choice)),
                before=self._structure(a.choice),
                after=self._structure(b.choice),
                objective_before=a.objective * self.factor,
                objective_after=b.objective * self.factor,
                unit=self.unit,
            )
            for a, b in zip(rows, rows[1:], strict=False)
            if a.choice.sequences != b.choice.sequences
        ]

    def _names(self, choice: Choice) -> dict[str, Sequence[str]]:
        candidates = self.frontier.options.candidates
        return {
            wall: [candidates[m].name for m in sequence]
            for wall, sequence in zip(self.frontier.options.walls, choice.sequences, strict=True)
        }

    def _because(self) -> tuple[str, ...]:
        if self.end is None or self.longest is None:
            return ()
        if self.end.why:
            return self.end.why
        rows = self.frontier.solved
        return held_by(self.frontier.options, rows[-1].choice, rows[-1].predicted)

    def _warnings(self, rows: Sequence[Solved]) -> list[str]:
        found = []
        done, asked = len(rows), max(len(self.targets), self.count if self.ended else 0)
        if self.ended:
            until = {TIME: "the time was up", INTERRUPT: "it was interrupted", MEMORY: "the memory was full"}
            help_ = "; allow more with --time-limit" if self.ended == TIME else ""
            what = (
                f"{done} of {asked} points"
                if done < asked
                else "some changes of structure are located roughly"
            )
            found.append(f"stopped because {until[self.ended]}: {what}{help_}")
        open_ = [s for s in rows if s.gap > self.frontier.gap * (1.0 + 1e-6)]
        if open_:
            worst = max(s.gap for s in open_)
            are = "is" if len(open_) == 1 else "are"
            wide = f"the widest gap is {100.0 * worst:.2g} %" if np.isfinite(worst) else "some have no bound"
            found.append(f"{len(open_)} of {done} points {are} not proved to the gap asked for; {wide}")
        if self.frontier.contradiction > _ROUNDING:
            found.append(
                f"a longer-lived structure was {100.0 * self.frontier.contradiction:.2g} % below the bound "
                "proved for a shorter shelf life: the limits linearised at one structure do not quite hold "
                "at the other"
            )
        if self.longest and self.end and self.end.beyond is None:
            found.append("that no longer shelf life is possible was not shown, only that none was found")
        return found

    def _assumptions(self) -> list[str]:
        options = self.frontier.options
        rows = [
            "Each lower bound is proved for steady walls, with each shelf-life limit linearised at the "
            "structure returned and with mid-wall areas at its thickness.",
            "Walls are steady at every point, whatever the project says, and no confidence is asked for; "
            "'design' corrects its structure for walls in transient and for a confidence.",
            "What meets a longer shelf life meets a shorter one: bounds were carried to longer shelf lives, "
            "and cheaper longer-lived structures to shorter ones. Every structure was simulated by the code "
            "of 'predict' at its own point and passes.",
            f"Each limit is kept with a guard of {100 * GUARD:g} % for the error of the simulation.",
            f"Changes of structure are located to {100 * KINK_TOLERANCE:g} % of the shelf life; within the "
            "gap another structure may be as good.",
        ]
        if options.minimise == "thickness":
            rows.append("The objective is the sum of the nominal thicknesses of the designed walls.")
        else:
            rows.append("The objective counts the designed walls only; other parts are not part of it.")
        if options.reserve:
            rows.append(f"A reserve of {100 * options.reserve:g} % of every limit is kept.")
        if self.end:
            rows.append(
                f"The longest shelf life is located to {100 * LONGEST_TOLERANCE:g} %, with the limits "
                "linearised at the longest-lived structure found."
            )
        return rows
