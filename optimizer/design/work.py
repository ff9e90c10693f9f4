"""What the searches of one design have in common: the case, the time, and the certified problem that follows
from corrections of its limits."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from optimizer.design.demands import build
from optimizer.design.exact import ExactModel
from optimizer.design.halt import INTERRUPT, TIME, Stop
from optimizer.design.lattice import StepPolisher
from optimizer.design.layout import UM
from optimizer.design.optimise import optimise
from optimizer.design.optimum import Optimum, walls_of
from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.physics.material import Material
from optimizer.shelflife.package import Case

Progress = Callable[[str], None]
#: By limit, as in ``DesignOptions``.
Corrections = Mapping[str, float]


@dataclass(frozen=True)
class Work:
    """What all searches of one design have in common. deadline: of ``time.monotonic``; hedged: candidates as
    the certified problem sees them, empty where those are the candidates themselves."""

    case: Case
    options: DesignOptions
    gap: float
    deadline: float
    stop: Stop
    progress: Progress | None = None
    version: str = ""
    sha: str = ""
    hedged: tuple[Material, ...] = ()

    @property
    def left(self) -> float:
        return self.deadline - time.monotonic()

    @property
    def over(self) -> bool:
        return self.left <= 0 or self.stop()

    @property
    def ended_by(self) -> str | None:
        """Why the work must end, as in ``halt``, None where it need not."""
        if self.stop():
            return str(getattr(self.stop, "reason", None) or INTERRUPT)
        return TIME if self.left <= 0 else None

    def say(self, text: str) -> None:
        if self.progress is not None:
            self.progress(text)

    def corrected(self, corrections: Corrections) -> DesignOptions:
        """The options of the certified problem."""
        candidates = self.hedged or self.options.candidates
        return replace(self.options, candidates=candidates, corrections=dict(corrections))

    def certified(self, case: Case) -> Case:
        """The case as the certified problem sees it: with steady walls, of hedged candidates."""
        hedged = {m.name: m for m in self.hedged}
        walls = {
            w: replace(wall, layers=tuple(replace(x, material=_own(x.material, hedged)) for x in wall.layers))
            for w, wall in case.package.walls.items()
            if w in self.options.walls
        }
        return replace(case, package=case.package.with_walls(walls), wall="steady")

    def structure(self, choice: Choice) -> Case:
        """The case with the walls of the choice."""
        walls = walls_of(self.options, choice)
        return replace(self.case, package=self.case.package.with_walls(walls))

    def optimise(
        self, corrections: Corrections, start: Choice | None = None, explaining: bool = True
    ) -> Optimum:
        return optimise(
            self.case,
            self.corrected(corrections),
            time_limit=max(self.left, 0.0),
            gap=self.gap,
            start=start,
            explaining=explaining,
            progress=self.progress,
            stop=self.stop,
            version=self.version,
            inputs_sha256=self.sha,
        )

    def refitted(self, choice: Choice, corrections: Corrections) -> Choice | None:
        """Best thicknesses of the same sequences under the corrections, None where these cannot meet them."""
        options = self.corrected(corrections)
        for _ in range(4):
            walls = walls_of(options, choice)
            demands = build(self.case, options, walls, {w: x.thickness for w, x in walls.items()})
            if demands.beyond:
                return None
            polisher = StepPolisher(ExactModel(demands.problem))
            better = polisher.best(choice.sequences, [choice.flat / UM, 1.2 * choice.flat / UM])
            if better is None:
                return None
            moved = float(np.max(np.abs(better.flat - choice.flat) / choice.flat))
            choice = better
            if moved < 1e-6:
                break
        return choice


def _own(material: Material, hedged: Mapping[str, Material]) -> Material:
    return hedged.get(material.name, material)
