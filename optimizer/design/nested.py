"""Design of packages that stand in an outer pack: what surrounds them depends on how they are built.

A design is found with the space between as the last structure makes it; then the space is followed anew with
the new structure, and so on until the structure stays. What is returned has been simulated in its own space.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from optimizer.design.options import DesignOptions
from optimizer.results import DesignResult
from optimizer.shelflife.nested import surrounded
from optimizer.shelflife.package import Case, Layer, Wall
from optimizer.shelflife.predict import predict

#: Rounds at most, and the change of thickness below which a structure stays [um].
ROUNDS, _STAYS = 6, 0.2
#: Share of every limit kept unused while designing, for what is left between two rounds.
_KEPT = 3e-4

_SETTLED = (
    "The gas between the packs is that of the structure returned, found in {rounds} rounds; optimum and "
    "bound are for that gas, with 0.03 % of every limit kept for what the last round still moved"
)
_UNSETTLED = (
    "the gas between the packs did not settle in {rounds} rounds of design: the structure returned was "
    "simulated in its own gas, and the bound is for the gas of the structure before"
)

Solve = Callable[[Case, DesignOptions, float], DesignResult]


def design_in_outer_pack(case: Case, options: DesignOptions, seconds: float, solve: Solve) -> DesignResult:
    """solve: design of one case within some time [s]. seconds: for all rounds."""
    end = time.monotonic() + seconds
    careful = replace(options, reserve=1.0 - (1.0 - options.reserve) * (1.0 - _KEPT))
    found = solve(case, careful, seconds)
    for rounds in range(1, ROUNDS + 1):
        if found.predicted is None or found.stopped_by == "interrupt":
            return found
        case = surrounded(replace(case, package=case.package.with_walls(_walls(options, found))))
        proved = predict(case, version=found.version, inputs_sha256=found.inputs_sha256)
        left = end - time.monotonic()
        if left <= 0 or rounds == ROUNDS:
            break
        last, found = found, solve(case, careful, left)
        if _same(last, found):
            own = surrounded(replace(case, package=case.package.with_walls(_walls(options, found))))
            proved = predict(own, version=found.version, inputs_sha256=found.inputs_sha256)
            if proved.passes:
                said = _SETTLED.format(rounds=rounds + 1)
                return replace(found, predicted=proved, assumptions=(*found.assumptions, said))
    said = _UNSETTLED.format(rounds=rounds)
    return replace(found, predicted=proved, warnings=(*found.warnings, said))


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
