"""What holds the best structure: every limit and rule loosened by one step, and the design solved anew.

Materials, order and thicknesses may all change, so a difference is that of two optima and not a multiplier
of an integer programme. Both optima are known to within the gap of their proofs; the difference is given
with the interval that follows, and one that the proofs cannot tell from nothing is not listed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce

from optimizer.design.demands import GUARD, build
from optimizer.design.exact import ExactModel
from optimizer.design.halt import Stop
from optimizer.design.layout import UM
from optimizer.design.optimise import optimise
from optimizer.design.optimum import Optimum, walls_of
from optimizer.design.options import DesignOptions
from optimizer.design.polish import Polisher
from optimizer.design.problem import Choice, Problem
from optimizer.design.rules import wall_rules
from optimizer.design.variants import Change, Rule, rules_of
from optimizer.results import Binding, ChosenLayer
from optimizer.shelflife.package import Case

Progress = Callable[[str], None]
Structure = dict[str, tuple[ChosenLayer, ...]]

#: Gap to which the designs that are subtracted are proved, and one for differences that it cannot tell.
_GAP, _FINER = 1e-4, 1e-5
#: A saving proved to be below this share of the objective is none.
_NOTHING = 1.5e-4
#: A saving that thicknesses alone show counts from this share of the objective.
_SEEN = 1e-6
#: Share of the time that one variant may take, and the least it gets [s].
_TURN, _LEAST_TURN = 0.15, 0.5


@dataclass
class Held:
    """rows: what holds the optimum, the largest saving first. notes: what was left open, in words."""

    rows: tuple[Binding, ...] = ()
    notes: tuple[str, ...] = ()


def chosen(options: DesignOptions, choice: Choice) -> Structure:
    """The choice as layers of the result, by wall."""
    return {
        name: tuple(
            ChosenLayer(options.candidates[m].name, round(t * 1e6, 6))
            for m, t in zip(sequence, thickness, strict=True)
        )
        for name, sequence, thickness in zip(options.walls, choice.sequences, choice.thickness, strict=True)
    }


def binding_of(
    case: Case,
    options: DesignOptions,
    best: Optimum,
    factor: float,
    unit: str,
    *,
    seconds: float,
    stop: Stop | None = None,
    progress: Progress | None = None,
) -> Held:
    """What one step of relaxation of each limit and rule saves, and one step the other way costs.

    best: the design with its proof; without a proof only its thicknesses are optimised anew. factor: from SI
    to ``unit``. seconds: time for all; what it does not reach is named in the notes.
    """
    if best.choice is None:
        return Held()
    study = _Study(case, options, best, seconds, stop or (lambda: False), progress or (lambda _: None))
    found = study.quick() if best.status != "optimal" else study.whole()
    rows = (study.row(x, factor, unit) for x in found)
    return Held(tuple(sorted(rows, key=lambda b: -b.saves)), study.notes())


@dataclass
class _Found:
    """A rule that saves something, in SI. order: sequences of the relaxed design where they differ."""

    rule: Rule
    saves: float
    least: float | None = None
    most: float | None = None
    other: Structure = field(default_factory=dict)
    costs: float | None = None
    costs_least: float | None = None
    costs_most: float | None = None
    notes: list[str] = field(default_factory=list)


class _Study:
    """All rules of one design; SI inside."""

    def __init__(
        self,
        case: Case,
        options: DesignOptions,
        best: Optimum,
        seconds: float,
        stop: Stop,
        progress: Progress,
    ) -> None:
        self.case, self.options, self.base = case, options, best
        self.seconds, self.deadline = seconds, time.monotonic() + seconds
        self.stop, self.progress = stop, progress
        self.rules = rules_of(case, options)
        self.found: list[_Found] = []
        self.unseen: list[str] = []
        self.unsettled: list[str] = []
        self.below: list[str] = []
        self.nothing = 0
        self.reached = _GAP

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    @property
    def over(self) -> bool:
        return self.left <= 0 or self.stop()

    @property
    def choice(self) -> Choice:
        assert self.base.choice is not None
        return self.base.choice

    # -- the whole study -------------------------------------------------------------------------------------

    def whole(self) -> list[_Found]:
        """Every rule by a design solved anew: first those whose saving thicknesses alone show, then the other
        quantities together as long as they save nothing, then the rules on materials and order. What one
        step tighter costs comes in between for what people ask first, and last for the rest."""
        hints = self._hints()
        self._sharpen(_GAP)
        plain = [r for r in self.rules if not r.shape]
        seen = sorted((r for r in plain if hints.get(r.name, 0.0) > 0), key=lambda r: -hints[r.name])
        for rule in seen:
            if self.over:
                self._hinted(rule, hints[rule.name])
            else:
                self._loosened([rule])
        self._loosened([r for r in plain if r not in seen])
        asked = [x for x in self.found if x.rule.asked]
        for x in asked:
            self._tightened(x)
        for rule in self.rules:
            if rule.shape:
                self._loosened([rule])
        for x in self.found:
            if x not in asked:
                self._tightened(x)
        return self.found

    def quick(self) -> list[_Found]:
        """Thicknesses only, for a design that is not proved."""
        for name, saves in self._hints().items():
            if saves > 0:
                self._hinted(next(r for r in self.rules if r.name == name), saves)
        return self.found

    def _hinted(self, rule: Rule, saves: float) -> None:
        self.found.append(_Found(rule, saves, notes=["order kept, thicknesses only"]))

    # -- thicknesses only ------------------------------------------------------------------------------------

    def _hints(self) -> dict[str, float]:
        """What each step saves with the order kept, by name of the rule; 0 where that shows nothing."""
        walls = walls_of(self.options, self.choice)
        thickness = {w: wall.thickness for w, wall in walls.items()}
        problem = build(self.case, self.options, walls, thickness).problem
        now = _thinnest(problem, self.choice)
        hints: dict[str, float] = {}
        if now is None:
            return hints
        for rule in self.rules:
            if rule.shape:
                continue
            if self.over:
                break
            case, options = rule.loosen(self.case, self.options)
            if case is self.case and options.reserve == self.options.reserve:
                rules = wall_rules(case, options, thickness)
                changed = replace(problem, materials=options.candidates, walls=rules)
            else:
                changed = build(case, options, walls, thickness).problem
            then = _thinnest(changed, self.choice)
            saves = 0.0 if then is None else now - then
            hints[rule.name] = saves if saves > _SEEN * abs(now) else 0.0
        return hints

    # -- solved anew -----------------------------------------------------------------------------------------

    def _solved(self, changes: Sequence[Change], gap: float, words: str) -> Optimum:
        self.progress(f"what holds the design: {words}")
        case, options = reduce(lambda given, change: change(*given), changes, (self.case, self.options))
        turn = max(_LEAST_TURN, _TURN * self.seconds)
        return optimise(
            case,
            options,
            time_limit=max(0.1, min(self.left, turn)),
            gap=gap,
            start=self.choice,
            explaining=False,
            stop=self.stop,
        )

    def _sharpen(self, gap: float) -> None:
        """The design itself proved to ``gap``, so that differences mean something."""
        if self.base.gap > gap + GUARD and not self.over:
            again = self._solved([], gap, "a closer proof")
            if again.choice is not None and again.objective <= self.base.objective:
                self.base = replace(again, bound=max(again.bound, self.base.bound))
            elif again.bound > self.base.bound:
                self.base = replace(self.base, bound=min(again.bound, self.base.objective))
        self.reached = gap

    def _loosened(self, group: list[Rule]) -> None:
        """All rules of the group loosened at once: where even that saves nothing, none of them does."""
        if not group:
            return
        if self.over:
            self.unseen += [r.name for r in group]
            return
        words = group[0].name if len(group) == 1 else f"{len(group)} more rules"
        result = self._solved([r.loosen for r in group], self.reached, words)
        if self._saving(result)[2] <= _NOTHING * self.base.objective:
            self.nothing += len(group)
        elif len(group) == 1:
            self._judge(group[0], result)
        else:
            self._loosened(group[: len(group) // 2])
            self._loosened(group[len(group) // 2 :])

    def _judge(self, rule: Rule, result: Optimum) -> None:
        saves, least, most = self._saving(result)
        if saves > 0 and least <= 0 and self.reached > _FINER and not self.over:
            self._sharpen(_FINER)
            result = self._solved([rule.loosen], _FINER, rule.name)
            saves, least, most = self._saving(result)
        if least > 0:
            other = result.choice is not None and result.choice.sequences != self.choice.sequences
            _, options = rule.loosen(self.case, self.options)
            structure = chosen(options, result.choice) if other and result.choice is not None else {}
            self.found.append(_Found(rule, saves, least, most, structure))
        elif result.status == "optimal":
            self.below.append(rule.name)
        else:
            self.unsettled.append(rule.name)

    def _saving(self, result: Optimum) -> tuple[float, float, float]:
        """Best estimate, least and most of what the relaxed design saves."""
        base, bound = self.base.objective, _bound(self.base)
        relaxed = min(result.objective, base)  # the design stays possible when a rule is loosened
        noise = _SEEN * base
        least = bound - relaxed
        return max(0.0, base - relaxed), least if least > noise else 0.0, base - min(_bound(result), relaxed)

    def _tightened(self, x: _Found) -> None:
        """What one step the other way costs."""
        rule = x.rule
        if rule.tighten is None or self.over:
            return
        result = self._solved([rule.tighten], self.reached, f"{rule.name}, {rule.tighter}")
        if result.status == "infeasible":
            x.notes.append(f"{rule.tighter}: no structure")
        elif result.choice is None:
            x.notes.append(f"{rule.tighter}: not settled in the time")
        else:
            base, bound = self.base.objective, _bound(self.base)
            x.costs = max(0.0, result.objective - base)
            x.costs_least = max(0.0, _bound(result) - base)
            x.costs_most = max(0.0, result.objective - bound)

    # -- in words --------------------------------------------------------------------------------------------

    def row(self, x: _Found, factor: float, unit: str) -> Binding:
        def shown(value: float | None) -> float | None:
            return None if value is None else value * factor

        return Binding(
            name=x.rule.name,
            unit=x.rule.looser,
            saves=x.saves * factor,
            saves_unit=unit,
            note="; ".join(x.notes),
            saves_least=shown(x.least),
            saves_most=shown(x.most),
            structure=x.other,
            tighter=x.rule.tighter if x.rule.tighten is not None else "",
            costs=shown(x.costs),
            costs_least=shown(x.costs_least),
            costs_most=shown(x.costs_most),
        )

    def notes(self) -> tuple[str, ...]:
        found = []
        if self.base.status != "optimal":
            found.append("Thicknesses only were optimised anew: the design is not proved best.")
        if self.nothing:
            count = f"{self.nothing} other limit{' or rule' if self.nothing == 1 else 's and rules'}"
            found.append(f"{count}: one step of relaxation saves less than {100 * _NOTHING:g} %.")
        if self.below:
            found.append(f"Saves less than the proof can tell: {_listed(self.below)}.")
        if self.unsettled:
            found.append(f"Not settled in the time: {_listed(self.unsettled)}.")
        if self.unseen:
            found.append(f"Not looked at in the time: {_listed(self.unseen)}.")
        return tuple(found)


def _listed(names: list[str]) -> str:
    """Names, the gauges of the materials put into one word."""
    gauges = [n for n in names if " gauge of " in n]
    rest = [n for n in names if n not in gauges]
    if len(gauges) > 3:
        return ", ".join([*rest, f"{len(gauges)} gauges of materials"])
    return ", ".join([*rest, *gauges])


def _bound(optimum: Optimum) -> float:
    """Bound without the allowance for the guard, which both sides of a difference keep alike."""
    return min(optimum.bound / (1.0 - GUARD), optimum.objective)


def _thinnest(problem: Problem, choice: Choice) -> float | None:
    """Best objective with the order of layers kept; continuous thicknesses, so that small steps show."""
    smooth = problem.with_walls(tuple(replace(w, step=None) for w in problem.walls))
    x = choice.flat / UM
    best = Polisher(ExactModel(smooth)).best(choice.sequences, [x, 1.1 * x])
    return None if best is None else best.objective
