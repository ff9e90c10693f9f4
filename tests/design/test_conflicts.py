"""What an explanation names is what stands in the way: checked by taking it out of the project.

Random tightenings of the invented drink of ``test_solve``. With any one member of a conflict taken out it is
the reason no more: either a structure exists, or another conflict without that member is named. With all
that was named taken out, conflict by conflict, a structure exists.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.design.demands import specification_name
from optimizer.design.optimise import Optimum, optimise
from optimizer.design.options import DesignOptions
from optimizer.shelflife.package import Case

from .test_solve import project

Asked = tuple[Case, DesignOptions]
SPECIFICATION = (
    "target:\n  shelf_life: 6 months\n  transmission: [{{gas: O2, max: {} cm3/(m2*day*atm), wall: bottle, "
    "temperature: 23 degC, humidity: 75 %}}]"
)


#: what is written, and what it may be tightened to
TIGHTENINGS: tuple[tuple[str, str, tuple[float, ...]], ...] = (
    ("max: 900 um}\n    share", "max: {:g} um}}\n    share", (255, 280, 320)),
    ("water_loss: 0.4 %", "water_loss: {:g} %", (0.08, 0.12, 0.2)),
    ("oxygen_gain: 3 mg/kg", "oxygen_gain: {:g} mg/kg", (0.6, 0.8)),
    ("EVOH: {max: 6 %}", "EVOH: {{max: {:g} %}}", (0.1, 0.3, 0.6)),
    ("max_layers: 5", "max_layers: {:g}", (3, 4)),
    ("max_layers: 5", "max_layers: {:g}\n    keep: [EVOH 32]", (3, 5)),
    ("{min: 3 um, max: 60 um}", "{{min: {:g} um, max: 60 um}}", (20, 40)),
    ("target: {shelf_life: 6 months}", SPECIFICATION, (0.1, 0.5)),
)


def tightened(seed: int, folder: Path) -> Asked:
    """The drink with three of its limits and rules drawn so tight that something is likely to clash."""
    rng = np.random.default_rng(seed)
    changes = {}
    for k in rng.choice(len(TIGHTENINGS), 3, replace=False):
        old, new, values = TIGHTENINGS[k]
        changes[old] = new.format(rng.choice(values))
    p = project(folder, *changes.items())
    assert p.design is not None
    return p.case, p.design


def without(text: str, asked: Asked) -> Asked:
    """The project without what a member of a conflict names."""
    case, options = asked
    low, high = options.total_thickness
    if name := re.fullmatch("the limit on (.*)", text):
        wanted = name[1]
        limits = tuple(x for x in case.product.limits if x.name.replace("_", " ") != wanted)
        specifications = tuple(x for x in case.transmission_limits if specification_name(x) != wanted)
        assert len(limits) + len(specifications) == len(case.product.limits + case.transmission_limits) - 1
        product = replace(case.product, limits=limits)
        return replace(case, product=product, transmission_limits=specifications), options
    if text.startswith("total thickness at least"):
        return case, replace(options, total_thickness=(None, high))
    if text.startswith("total thickness at most"):
        return case, replace(options, total_thickness=(low, None))
    if text.startswith("mass share of EVOH"):
        return case, replace(options, shares=())
    if text == "EVOH 32 must be present":
        return case, replace(options, keep=())
    if layers := re.fullmatch("at most (\\d+) layers", text):
        assert int(layers[1]) == options.max_layers
        return case, replace(options, max_layers=options.max_layers + 2)
    if text == "the bonding table (which materials may touch)":
        return case, replace(options, touching=None)
    if text == "innermost layer with the role 'seal'":
        return case, replace(options, inside_role=None)
    if text == "outermost layer with the role 'print'":
        return case, replace(options, outside_role=None)
    sides = {
        "the smallest gauge of the materials": (1e-7, None),
        "the largest gauge of the materials": (None, 0.02),
    }
    least, most = sides[text]
    wider = tuple(replace(m, gauge=(least or m.gauge[0], most or m.gauge[1])) for m in options.candidates)
    return case, replace(options, candidates=wider)


def answer(asked: Asked, *, explaining: bool) -> Optimum:
    found = optimise(*asked, gap=0.5, explaining=explaining)
    assert found.status in ("optimal", "infeasible")
    return found


def conflict_of(asked: Asked) -> Sequence[str]:
    why = answer(asked, explaining=True).why
    assert why is not None and why.smallest
    return why.conflict


#: Projects drawn, all of them without any structure; a few run always.
SEEDS = range(14)
QUICK = (1,)


@pytest.mark.parametrize(
    "seed", [s if s in QUICK else pytest.param(s, marks=pytest.mark.slow) for s in SEEDS]
)
def test_what_is_named_stands_in_the_way(tmp_path: Path, seed: int) -> None:
    asked, taken_out = tightened(seed, tmp_path), set()
    while answer(asked, explaining=False).status == "infeasible":
        conflict = conflict_of(asked)
        # each round takes a whole conflict out, so none of its members can come back
        assert conflict and not taken_out & set(conflict)
        for text in conflict:
            rest = without(text, asked)
            if answer(rest, explaining=False).status == "infeasible":
                assert text not in conflict_of(rest)
        for text in conflict:
            asked = without(text, asked)
        taken_out |= set(conflict)
    assert taken_out
