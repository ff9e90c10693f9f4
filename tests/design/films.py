"""Invented packages of one film whose answer is known in closed form: the product takes all oxygen in.

Steady walls: gained = P p A t / l. A film that was stored in air gives off S p l A / 3 on top of it in the
end, one that was stored in nitrogen takes S p l A / 6 up: with the inside face at zero, what leaves there of
an excess u over the steady profile is the integral of u (1 - x/l) dx, x from the inside (Green's function of
the steady problem; the second is the time lag l^2 / 6D, Crank, The Mathematics of Diffusion, 2nd ed., 4.3).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from optimizer.constants import ATMOSPHERE, DRY_AIR, MOLAR_MASS, MONTH
from optimizer.design.options import DesignOptions
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Band, DiffusionLaw, Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.shelflife.package import (
    Case,
    Headspace,
    Layer,
    Limit,
    OxygenModel,
    Package,
    Part,
    Product,
    Stage,
    Surroundings,
    Uncertainty,
    Wall,
    WallPart,
)

T, AREA, TARGET, MASS = 296.15, 0.06, 6 * MONTH, 0.5
P, SLOW, FAST = 5e-18, 2e-14, 1e-10
PRESSURE = DRY_AIR["O2"] * ATMOSPHERE
NITROGEN = Surroundings(gas={"N2": 1.0})


def film(name: str = "film", *, diffusivity: float = FAST, spread: float = 0.15, **given: Any) -> Material:
    laws = {"O2": GasLaw("O2", T, (0.0,), (P,), 0.0), "N2": GasLaw("N2", T, (0.0,), (P / 4,), 0.0)}
    plain = Material(
        name,
        "PET",
        1350.0,
        laws,
        WaterLaw.constant(T, 1e-13, 0.0),
        price=1.5,
        currency="EUR",
        gauge=(20e-6, 3e-3),
        diffusivity={g: DiffusionLaw(T, diffusivity, 0.0) for g in laws},
        bands={"O2": Band(spread, "", "invented")},
    )
    return replace(plain, **given)


def package(
    limit: float,
    material: Material,
    *more: Part,
    before: Surroundings | None = None,
    wall: str = "auto",
    **uncertain: Any,
) -> Case:
    """limit [kg O2/kg product]."""
    product = Product(
        MASS,
        5e-4,
        Headspace(1e-6, True, {"O2": 0.0, "N2": 1.0}),
        0.0,
        OxygenModel("custom", solubility=1.0),
        limits=(Limit("oxygen_gain", limit),),
    )
    body = WallPart("body", "wall", (Patch(AREA),))
    walls = {"wall": Wall("wall", (Layer(material, 500e-6),))}
    storage = (Stage("store", TARGET, T, 0.0),)
    case = Case("invented", product, Package((body, *more), walls), storage, TARGET, 2 * TARGET, wall=wall)
    case = replace(case, uncertainty=Uncertainty(**uncertain))
    return case if before is None else replace(case, before=before)


def options(*candidates: Material, **changes: Any) -> DesignOptions:
    base = DesignOptions(("wall",), "cost", candidates, max_layers=1, inside_role=None, outside_role=None)
    return replace(base, **changes)


def steady(thickness: float) -> float:
    """Oxygen gained to the target through steady walls [kg/kg]."""
    return P * PRESSURE * AREA * TARGET / thickness * MOLAR_MASS["O2"] / MASS


def stored(thickness: float, diffusivity: float = SLOW) -> float:
    """Oxygen in the film when it is in equilibrium with air on both sides [kg/kg]."""
    return P / diffusivity * PRESSURE * thickness * AREA * MOLAR_MASS["O2"] / MASS


def thickness_of(limit: float, share: float, diffusivity: float = SLOW) -> float:
    """Least thickness with steady + share * stored = limit [m]."""
    a, b = steady(1.0), share * stored(1.0, diffusivity)
    return 2.0 * a / (limit + math.sqrt(limit**2 - 4.0 * a * b))
