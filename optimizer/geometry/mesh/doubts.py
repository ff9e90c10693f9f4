"""What is said of the rules of regions: which opening they measure from, and lengths that cannot be meant."""

from __future__ import annotations

import numpy as np

from optimizer.geometry.mesh.model import Mesh
from optimizer.geometry.mesh.regions import Rule, mouth_of
from optimizer.geometry.pieces import Pieces
from optimizer.geometry.words import figure, mm

#: A rule that reaches farther than so many times the part is usually in a wrong unit.
_FAR = 1.5
_MM = 1e3


def chosen_openings(mesh: Mesh, rules: tuple[Rule, ...]) -> tuple[str, ...]:
    """The opening that each rule measures from, where the mesh has several, in words."""
    said = []
    for rule in rules:
        mouth = mouth_of(mesh, rule)
        if rule.from_opening is None or mouth is None or len(mesh.openings) < 2:
            continue
        of = f" of '{mouth.body}'" if len(mesh.bodies) > 1 and mouth.body else ""
        where = ", ".join(figure(round(_MM * x, 2), 4) for x in mouth.centre.tolist())
        said.append(
            f"region '{rule.name}' counts from opening {mouth.number}{of}, {mm(mouth.diameter)} across at "
            f"({where}) mm, one of {len(mesh.openings)}"
        )
    return tuple(said)


def far_reaching(mesh: Mesh, pieces: Pieces, rules: tuple[Rule, ...]) -> tuple[str, ...]:
    """Rules with lengths far beyond the part, in words."""
    height = float(pieces.height.max() - pieces.height.min())
    said = []
    for rule in rules:
        asked = (
            ("below", rule.below, height),
            ("above", rule.above, height),
            ("from_opening", rule.from_opening, 0.0 if rule.from_opening is None else _depth(mesh, rule)),
        )
        said += [
            f"region '{rule.name}': '{key}' is {mm(length)}, far beyond the part, which reaches over "
            f"{mm(reach)}: is its unit right?"
            for key, length, reach in asked
            if length is not None and length > _FAR * reach
        ]
    return tuple(said)


def _depth(mesh: Mesh, rule: Rule) -> float:
    """How far the mesh reaches behind the opening of a rule [m]; infinite without one."""
    mouth = mouth_of(mesh, rule)
    if mouth is None:
        return float("inf")
    return float(np.max((mouth.centre - mesh.vertices) @ mouth.normal))
