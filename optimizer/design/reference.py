"""The first reference: walls around which the limits are linearised before any design is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from optimizer.design.demands import Linearisation
from optimizer.design.options import DesignOptions
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.shelflife.contents import simulated_gases
from optimizer.shelflife.package import Case, Layer, Wall


def first_reference(case: Case, options: DesignOptions) -> dict[str, Wall]:
    """The designed walls as the project gives them, made thicker or thinner until they just meet the
    limits; a stand-in for all of them where one lets nothing through or lacks a permeability."""
    given = {w: case.package.walls[w] for w in options.walls}
    gases = simulated_gases(case.product)
    usable = all(_usable(layer.material, gases) for wall in given.values() for layer in wall.layers)
    return met(case, options, given if usable else {w: neutral_wall(w, gases) for w in given})


def _usable(material: Material, gases: Sequence[str]) -> bool:
    """Whether the material lets every gas and water through, with known permeabilities."""
    if material.water is None or material.water.blocks:
        return False
    return all(g in material.gases and not material.gases[g].blocks for g in gases)


def neutral_wall(name: str, gases: Sequence[str]) -> Wall:
    """A stand-in structure of middling permeability, where the given one lets nothing through."""
    laws = {g: GasLaw(g, 296.15, (0.0,), (1e-17,), 40e3) for g in gases}
    plain = Material("stand-in", "", 1000.0, laws, WaterLaw.constant(296.15, 1e-13, 35e3))
    return Wall(name, (Layer(plain, 1e-4),))


def met(case: Case, options: DesignOptions, reference: Mapping[str, Wall]) -> dict[str, Wall]:
    """The reference walls with all layers thicker or thinner by one factor, so that they just meet the
    limits."""
    walls = dict(reference)
    for _ in range(3):
        scale = Linearisation(case, options, walls).tightest()
        if not 0.0 < scale < np.inf or 0.7 < scale < 1.5:
            break
        walls = {
            name: replace(wall, layers=tuple(replace(x, thickness=x.thickness / scale) for x in wall.layers))
            for name, wall in walls.items()
        }
    return walls
