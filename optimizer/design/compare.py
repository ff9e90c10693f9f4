"""Offers against each other at equal shelf life: each is optimised anew, ranked, and given its price to tie.

Offers that differ in price only share their structures, so that the cheaper one never comes out dearer, and
one offer under two names comes out the same.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version as package_version

import numpy as np

from optimizer.design.breakeven import BreakEven, Line, break_even
from optimizer.design.compare_answer import Compared, answer, in_order
from optimizer.design.contender import Account, Contender, Structure
from optimizer.design.optimise import DEFAULT_GAP, DEFAULT_TIME, Optimum, optimise
from optimizer.design.problem import Choice
from optimizer.design.spread import Effects, effects, quantities
from optimizer.progress import step
from optimizer.results_compare import CompareResult
from optimizer.shelflife.nested import alone_only

Progress = Callable[[str], None]

#: Gap of the searches behind a derivative: both sides start from the same structure, so that what the gap
#: leaves open is the same on both.
_SPREAD_GAP = 5e-3
#: Seconds that a search may take when the time is up (it then returns what it starts from).
_LEAST_TIME = 0.5


def compare_offers(
    contenders: Sequence[Contender],
    *,
    volume: float | None = None,
    time_limit: float | None = None,
    gap: float = DEFAULT_GAP,
    rates: Mapping[str, float] | None = None,
    warnings: Sequence[str] = (),
    progress: Progress | None = None,
    version: str = "",
    inputs_sha256: str = "",
) -> CompareResult:
    """Rank, break-even price and certainty of every offer.

    contenders: the project as it is first, then the offers (``project.offers``). volume: packages per year.
    time_limit [s] for all together; gap: share of the objective within which each proof may stop. rates and
    warnings go into the result as they are.
    """
    for contender in contenders:
        alone_only(contender.case, "a comparison of offers")
    begin = time.monotonic()
    limit = DEFAULT_TIME if time_limit is None else time_limit
    run = _Comparison(contenders, gap, begin + limit, progress or (lambda text: None))
    compared = run.all()
    solver = {
        "name": "HiGHS",
        "highspy": package_version("highspy"),
        "pyomo": package_version("pyomo"),
        "optimised": run.optimised,
        "gap_asked": gap,
        "seconds": round(time.monotonic() - begin, 2),
    }
    return answer(
        compared,
        run.pairs(compared),
        volume=volume,
        rates=rates or {},
        warnings=warnings,
        solver=solver,
        version=version,
        inputs_sha256=inputs_sha256,
    )


@dataclass
class _Entry:
    """A contender with what was found for it; ``pool`` is shared by those that differ in price only."""

    contender: Contender
    account: Account
    pool: list[Structure]
    best: Optimum | None = None
    bound: float = -np.inf
    effects: Effects = field(default_factory=lambda: Effects({}))

    def value(self, structure: Structure, contender: Contender | None = None) -> float:
        """What is minimised, of the whole package."""
        contender = contender or self.contender
        if contender.options.minimise == "cost":
            return structure.cost(contender.prices)
        return structure.value

    def leader(self, contender: Contender | None = None) -> Structure | None:
        """The best structure known, at the prices of the contender."""
        return min(self.pool, key=lambda s: self.value(s, contender), default=None)


class _Comparison:
    def __init__(
        self, contenders: Sequence[Contender], gap: float, deadline: float, progress: Progress
    ) -> None:
        self.gap, self.deadline, self.progress = gap, deadline, progress
        self.optimised = 0
        self.entries: list[_Entry] = []
        for contender in contenders:
            like = next((e for e in self.entries if e.contender.same_but_price(contender)), None)
            self.entries.append(_Entry(contender, Account(contender), like.pool if like else []))

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    # -- one search ------------------------------------------------------------------------------------------

    def optimise(
        self,
        contender: Contender,
        start: Choice | None,
        what: str,
        *,
        time_limit: float,
        explaining: bool = False,
    ) -> Optimum:
        self.optimised += 1
        self.progress(what)
        return optimise(
            contender.case,
            contender.options,
            time_limit=max(_LEAST_TIME, time_limit),
            gap=self.gap,
            start=start,
            explaining=explaining,
            progress=lambda text: self.progress(f"{what}: {text}"),
        )

    def start(self, entry: _Entry, contender: Contender | None = None) -> Choice | None:
        """The best structure known for the contender, else one of another offer."""
        own = entry.leader(contender)
        if own is not None:
            return own.choice
        return next((s.choice for e in self.entries for s in e.pool[:1]), None)

    # -- steps -----------------------------------------------------------------------------------------------

    def all(self) -> list[Compared]:
        for k, entry in enumerate(self.entries):
            self.tell(0, k)
            share = self.left / (len(self.entries) - k)
            name = entry.contender.name
            best = self.optimise(
                entry.contender,
                self.start(entry),
                f"designing with {name}",
                time_limit=share,
                explaining=True,
            )
            entry.best = best
            if best.choice is not None:
                structure = entry.account.structure(entry.contender, best)
                entry.pool.append(structure)
                entry.bound = best.bound + entry.value(structure) - best.objective
        for k, entry in enumerate(self.entries):
            self.tell(1, k)
            entry.effects = self.effects(entry)
        compared = [self.compared(entry) for entry in self.entries]
        for k, one in enumerate(compared):
            self.tell(2, k)
            rival = one.rival_of(compared)
            if one.structure is not None and rival is not None and one.contender.price is not None:
                compared[k] = self.tied(self.entries[k], one, rival)
        return compared

    def tell(self, turn: int, k: int) -> None:
        """How many of the three passes over the offers are done: designs, spreads, prices to tie."""
        count = len(self.entries)
        name = self.entries[k].contender.name
        words = (f"designing with {name}", f"spread of {name}", f"price at which {name} ties")
        step(self.progress, turn * count + k, len(words) * count, words[turn])

    def compared(self, entry: _Entry) -> Compared:
        best, leader = entry.best, entry.leader()
        assert best is not None
        if leader is None or best.choice is None:
            return Compared(
                entry.contender, best, None, np.inf, np.inf, entry.effects, missing=entry.account.missing
            )
        value = entry.value(leader)
        return Compared(
            entry.contender,
            best,
            leader,
            value,
            min(entry.bound, value),
            entry.effects,
            missing=entry.account.missing,
        )

    def effects(self, entry: _Entry) -> Effects:
        leader, best = entry.leader(), entry.best
        if leader is None or best is None or best.demands is None or entry.contender.unpriced:
            return Effects({})
        used = {i for sequence in leader.choice.sequences for i in sequence}
        offered = {i for e in self.entries if not e.contender.baseline for i in e.contender.replaced}
        uncertain = quantities(entry.contender, used, best.demands.problem.gases, offered)
        what = f"spread of {entry.contender.name}"

        def value(contender: Contender) -> float | None:
            if self.left <= 0:
                return None
            self.optimised += 1
            self.progress(what)
            found = optimise(
                contender.case,
                contender.options,
                time_limit=max(_LEAST_TIME, self.left),
                gap=max(self.gap, _SPREAD_GAP),
                start=leader.choice,
                explaining=False,
            )
            if found.choice is None:
                return None
            return entry.value(entry.account.structure(contender, found), contender)

        return effects(entry.contender, uncertain, value)

    def tied(self, entry: _Entry, one: Compared, rival: Compared) -> Compared:
        """With the price to tie; an offer without a price has its structure at that one."""
        entry = replace(entry, pool=list(entry.pool))  # what is ranked stays as it is
        tie = self.tie(entry, rival)
        if not one.contender.unpriced or tie.price is None:
            return replace(one, tie=tie)
        return replace(one, tie=tie, structure=entry.leader(one.contender.at(tie.price)))

    def tie(self, entry: _Entry, rival: Compared) -> BreakEven:
        """Price per kg at which the contender costs as much as its rival; what is found goes into the pool
        of ``entry``."""
        contender, leader = entry.contender, entry.leader()
        assert leader is not None and contender.price is not None
        assert rival.structure is not None
        if rival.contender.without_price:
            return BreakEven(None, f"{rival.contender.name} has no price")
        target = rival.structure.cost(rival.contender.prices)
        here = contender.price.per_kg
        if not np.isfinite(target) or not np.isfinite(leader.cost(contender.prices)):
            return BreakEven(None, "some prices are missing")
        structural = contender.options.minimise != "cost"

        def solve(price: float) -> Line | None:
            there = contender.at(price)
            if not structural and price != here:
                if self.left <= 0:
                    return None
                what = f"price at which {contender.name} ties"
                found = self.optimise(there, self.start(entry, there), what, time_limit=self.left)
                if found.choice is not None:
                    entry.pool.append(Account(there).structure(there, found))
            best = leader if structural else entry.leader(there)
            assert best is not None
            kg = float(sum(best.bought[i] for i in contender.replaced))
            return Line(best.cost(there.prices) - kg * price, kg)

        return break_even(solve, here, target)

    def pairs(self, compared: Sequence[Compared]) -> list[tuple[Compared, Compared, bool]]:
        """Those with a rank two by two, the better first, and whether they differ in price only."""
        pools = {id(c): self.entries[i].pool for i, c in enumerate(compared)}
        found = [c for c in in_order(compared) if c.ranked]
        return [
            (one, two, pools[id(one)] is pools[id(two)])
            for i, one in enumerate(found)
            for two in found[i + 1 :]
        ]
