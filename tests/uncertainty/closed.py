"""An invented package whose shelf life is a product of factors, so that its distribution is known.

    life = LIFE * thickness * limit / permeability

with every factor lognormal: ln(life) is normal with the mean ln(LIFE) and the variance
sum of ln(1 + s^2) (Aitchison and Brown, The Lognormal Distribution, 1957: products of lognormals).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from optimizer.constants import DAY
from optimizer.physics.material import Band, Material
from optimizer.shelflife.package import Case, Headspace, Limit, Product, Uncertainty
from optimizer.shelflife.variation import Outcomes, Variation
from tests.shelflife.builders import case_of, one_wall, plain, still

LIFE = 100 * DAY
SPREADS = {"permeability": 0.15, "thickness": 0.08, "limit": 0.1}
SIGMA = math.sqrt(sum(math.log1p(s * s) for s in SPREADS.values()))


def banded(name: str = "plain", spread: float = SPREADS["permeability"], source: str = "") -> Material:
    return replace(plain(name), bands={"O2": Band(spread, source, "invented")})


def case(target: float | None = 80 * DAY, horizon: float = 1000 * DAY, **given: Any) -> Case:
    product = Product(0.1, 1e-4, Headspace(1e-4), limits=(Limit("oxygen_gain", 2e-6),))
    base = case_of(product, one_wall(banded(), 100e-6, 0.05), still(), target=target, horizon=horizon)
    known = {"thickness": {"wall": SPREADS["thickness"]}, "limits": {"oxygen_gain": SPREADS["limit"]}}
    return replace(base, uncertainty=Uncertainty(**(known | given)))


def product_of_factors(case: Case, variation: Variation, *, wall: str) -> Outcomes:
    """One limit; the quantity grows in proportion to time; a wall of twice the layer lasts twice as long."""
    ones = np.ones(variation.size)
    layers = case.package.walls["wall"].layers
    permeability = ones
    for material in dict.fromkeys(x.material.name for x in layers):
        permeability = permeability * variation.permeability.get((material, "O2"), ones)
    scale = layers[0].thickness / 100e-6
    limit = variation.limit.get("oxygen_gain", ones)
    life = LIFE * scale * variation.thickness.get("wall", ones) * limit / permeability
    until = case.target if case.target is not None else case.horizon
    value = case.product.limits[0].value
    crossing = np.where(life <= case.horizon, life, np.inf)
    extreme = value * limit * until / life
    return Outcomes(crossing[:, None], extreme[:, None], (until / life - 1.0)[:, None])
