"""Design of packages that stand in an outer pack: what surrounds them depends on how they are built.

A design is found with the space between as the last structure makes it; then the space is followed anew with
the new structure, and so on until the structure stays. What is returned has been simulated in its own space.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace

from optimizer.design.options import DesignOptions
from optimizer.results import DesignResult
from optimizer.shelflife.nested import in_open_storage, surrounded
from optimizer.shelflife.package import Case, Layer, Wall
from optimizer.shelflife.predict import predict

#: Rounds at most, and the change of thickness below which a structure stays [um].
ROUNDS, _STAYS = 6, 0.2
#: Share of every limit kept unused while designing, for what is left between two rounds.
_KEPT = 3e-4
#: Candidates that a design may begin with, and their least thickness [m].
_STARTS, _THIN = 3, 20e-6

_SETTLED = (
    "The gas between the packs is that of the structure returned, found in {rounds} rounds; optimum and "
    "bound are for that gas, with 0.03 % of every limit kept for what the last round still moved"
)
_UNSETTLED = (
    "the gas between the packs did not settle in the rounds or the time of the design: the structure passes "
    "in its own gas, and that it is the best is not proved"
)
_NONE = (
    "no structure that passes in the gas that it makes between the packs was found in the rounds or the time "
    "of the design; that there is none is not proved"
)
_OF_THE_GAS = (
    "that no structure meets the limits is found for the gas between the packs as the walls of the project, "
    "and plain walls of some candidates, make it; it is not proved for others"
)

Solve = Callable[[Case, DesignOptions, float], DesignResult]


def design_in_outer_pack(case: Case, options: DesignOptions, seconds: float, solve: Solve) -> DesignResult:
    """solve: design of one case within some time [s]. seconds: for all rounds."""
    end = time.monotonic() + seconds
    careful = replace(options, reserve=1.0 - (1.0 - options.reserve) * (1.0 - _KEPT))

    def of(found: DesignResult) -> Case:
        """The packages with the walls found, in their own gas."""
        return surrounded(replace(case, package=case.package.with_walls(_walls(options, found))))

    found = solve(case, careful, seconds)
    if found.predicted is None and found.status == "infeasible":
        # the gas that the listed walls make may be to blame: begin with other walls
        alone = solve(in_open_storage(case), careful, end - time.monotonic())
        starts = [] if alone.predicted is None else [_walls(options, alone)]
        for walls in (*starts, *_plain_walls(options)):
            if time.monotonic() > end:
                break
            around = surrounded(replace(case, package=case.package.with_walls(walls)))
            other = solve(around, careful, end - time.monotonic())
            if other.predicted is not None:
                found = other
                break
        if found.predicted is None:
            return replace(found, warnings=(*found.warnings, _OF_THE_GAS))
    best: DesignResult | None = None
    last: DesignResult | None = None
    for rounds in range(1, ROUNDS + 1):
        if found.predicted is None:
            break
        own = of(found)
        predicted = predict(own, version=found.version, inputs_sha256=found.inputs_sha256)
        if predicted.passes:
            proved = replace(found, predicted=predicted)
            if last is not None and _same(last, found):
                said = _SETTLED.format(rounds=rounds)
                return replace(proved, assumptions=(*found.assumptions, said))
            best = proved if best is None or _amount(proved) < _amount(best) else best
        left = end - time.monotonic()
        if left <= 0 or rounds == ROUNDS or found.stopped_by is not None:
            break
        last, found = found, solve(own, careful, left)
    if best is not None:
        open_end = replace(best, status="time_limit", lower_bound=None, gap=None)
        return replace(open_end, warnings=(*best.warnings, _UNSETTLED))
    nothing = replace(found, status="time_limit", objective=None, lower_bound=None, gap=None, structure={})
    return replace(nothing, predicted=None, alternatives=(), warnings=(*found.warnings, _NONE))


def _amount(found: DesignResult) -> float:
    return float("inf") if found.objective is None else found.objective


def _plain_walls(options: DesignOptions) -> Iterator[dict[str, Wall]]:
    """Walls of one thin layer of a candidate, for some candidates."""
    for m in options.candidates[:_STARTS]:
        thick = max(options.total_thickness[0] or 0.0, m.gauge[0], _THIN)
        yield {name: Wall(name, (Layer(m, thick),)) for name in options.walls}


def _walls(options: DesignOptions, found: DesignResult) -> dict[str, Wall]:
    materials = {m.name: m for m in options.candidates}
    return {
        name: Wall(name, tuple(Layer(materials[x.material], x.thickness_um * 1e-6) for x in layers))
        for name, layers in found.structure.items()
    }


def _same(a: DesignResult, b: DesignResult) -> bool:
    """Whether two designs have the same layers, about as thick."""
    return a.structure.keys() == b.structure.keys() and all(
        [x.material for x in layers] == [y.material for y in b.structure[name]]
        and all(
            abs(x.thickness_um - y.thickness_um) <= _STAYS
            for x, y in zip(layers, b.structure[name], strict=True)
        )
        for name, layers in a.structure.items()
    )
