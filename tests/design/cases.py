"""Invented packages for the tests of what a project asks of its walls; properties are stand-ins (see
``instances``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from optimizer.constants import DAY
from optimizer.design.options import DesignOptions
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw
from optimizer.physics.sorption import GAB
from optimizer.shelflife.package import (
    Carbonation,
    Case,
    ClosurePart,
    Consumption,
    GivenConductance,
    Headspace,
    HolePart,
    Layer,
    Limit,
    MoistureModel,
    OxygenModel,
    Package,
    Product,
    Stage,
    Wall,
    WallPart,
)

from .instances import menu

MONTH = 30.4375 * DAY


def materials() -> dict[str, Material]:
    """The menu with nitrogen as well: a quarter of the oxygen permeability."""
    found = {}
    for name, m in menu(np.random.default_rng(1), True).items():
        oxygen = m.gases["O2"]
        nitrogen = GasLaw(
            "N2",
            oxygen.temperature,
            oxygen.activity,
            tuple(p / 4 for p in oxygen.permeability),
            oxygen.activation_energy,
        )
        found[name] = replace(m, gases={**m.gases, "N2": nitrogen})
    return found


#: one set, because materials are compared by identity
TABLE = materials()


def wall_of(*layers: tuple[str, float], name: str = "film") -> Wall:
    """Layers as (material, thickness in um), inside to outside."""
    return Wall(name, tuple(Layer(TABLE[m], t * 1e-6) for m, t in layers))


def package_of(wall: Wall, area: float = 0.06, *more: ClosurePart | HolePart | WallPart) -> Package:
    return Package((WallPart("body", wall.name, (Patch(area),)), *more), {wall.name: wall})


#: moderate, hot and damp, cool: temperatures and humidities that matter
STORAGE = (
    Stage("depot", 3 * MONTH, 296.15, 0.5),
    Stage("truck", 10 * DAY, 311.15, 0.75),
    Stage("shop", 4 * MONTH, 291.15, 0.6),
)
BARRIER = wall_of(("HDPE", 120), ("tie", 5), ("EVOH 32", 8), ("tie", 5), ("LDPE", 60))
PLAIN = wall_of(("HDPE", 150), ("tie", 5), ("PET", 60))


def juice(**limits: float) -> Product:
    """A drink that uses oxygen up."""
    return Product(
        1.0,
        1e-3,
        Headspace(3e-5, True, {"O2": 0.01, "N2": 0.99}),
        0.98,
        OxygenModel("water", dissolved_at_closing=1e-2, consumption=Consumption(1, 0.05 / DAY, 296.15, 60e3)),
        limits=tuple(Limit(n, v) for n, v in limits.items()),
    )


def still_powder(**limits: float) -> Product:
    """A powder in a pouch that gives way, its water activity taken as fixed."""
    return Product(
        0.2,
        2e-4,
        Headspace(1e-4, False, {"O2": 0.01, "N2": 0.99}),
        0.3,
        limits=tuple(Limit(n, v) for n, v in limits.items()),
    )


def cracker(**limits: float) -> Product:
    """Takes up water along a GAB isotherm."""
    return Product(
        0.1,
        2.1e-4,
        Headspace(1.9e-4, False, {"O2": 0.01, "N2": 0.99}),
        None,
        OxygenModel("nothing"),
        MoistureModel(0.0965, GAB(0.045, 12.0, 0.93), 0.15),
        limits=tuple(Limit(n, v) for n, v in limits.items()),
    )


def soda(**limits: float) -> Product:
    return Product(
        0.5,
        5e-4,
        Headspace(2e-5, True, {}),
        1.0,
        carbonation=Carbonation(3.8, 277.15),
        closing_temperature=277.15,
        limits=tuple(Limit(n, v) for n, v in limits.items()),
    )


CAP = ClosurePart(
    "cap",
    {
        g: GivenConductance(c, 296.15, 40e3)
        for g, c in (("O2", 2e-17), ("N2", 5e-18), ("CO2", 8e-17), ("H2O", 2e-14))
    },
)
HOLE = HolePart("hole", 5e-6, 3e-4)


def case_of(
    product: Product,
    wall: Wall,
    *more: ClosurePart | HolePart | WallPart,
    area: float = 0.06,
    months: float = 6.0,
) -> Case:
    target = months * MONTH
    return Case("invented", product, package_of(wall, area, *more), STORAGE, target, 3 * target)


#: name -> case: each limit of a product by itself, with and without fixed parts beside the wall
CASES: dict[str, Callable[[], Case]] = {
    "oxygen gain of a drink": lambda: case_of(juice(oxygen_gain=5e-6), BARRIER),
    "oxygen gain beside a cap": lambda: case_of(juice(oxygen_gain=6e-6), BARRIER, CAP),
    "headspace oxygen of a rigid can": lambda: case_of(
        replace(
            still_powder(headspace_oxygen=0.03), headspace=Headspace(1e-4, True, {"O2": 0.01, "N2": 0.99})
        ),
        BARRIER,
    ),
    "headspace oxygen of a pouch": lambda: case_of(still_powder(headspace_oxygen=0.03), BARRIER),
    "oxygen gain of a pouch with a hole": lambda: case_of(still_powder(oxygen_gain=8e-5), BARRIER, HOLE),
    "water loss of a drink": lambda: case_of(juice(water_loss=0.004), PLAIN),
    "water loss beside a cap": lambda: case_of(juice(water_loss=0.004), BARRIER, CAP),
    "carbon dioxide loss": lambda: case_of(soda(co2_loss=0.15), PLAIN, CAP, months=3),
}
MOVING: dict[str, Callable[[], Case]] = {
    "water activity of crackers": lambda: case_of(cracker(water_activity_max=0.38), BARRIER),
    "water gain of crackers": lambda: case_of(cracker(water_gain=0.04), PLAIN),
    "oxygen gain of crackers": lambda: case_of(cracker(oxygen_gain=1.5e-4), BARRIER),
}


def options_of(*names: str, **changes: object) -> DesignOptions:
    chosen = tuple(TABLE[n] for n in names or ("HDPE", "LDPE", "tie", "EVOH 32", "PET"))
    base = DesignOptions(walls=("film",), minimise="cost", candidates=chosen, max_layers=5)
    return replace(base, **changes)  # type: ignore[arg-type]


def scaled(wall: Wall, factor: float) -> Wall:
    """All thicknesses times ``factor``: the humidity inside stays, so every conductance is divided by it."""
    return Wall(wall.name, tuple(Layer(x.material, x.thickness * factor) for x in wall.layers))
