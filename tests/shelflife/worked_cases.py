"""Random packages, products and storages (invented) for calculations by hand, and a reader of their text."""

from __future__ import annotations

import ast
import math
import random
from dataclasses import replace
from typing import Any

from optimizer.constants import DAY
from optimizer.geometry.shapes import SHAPES, scaled
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw
from optimizer.physics.sorption import GAB, Henderson, Isotherm, Oswin, TableIsotherm
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
    Part,
    Product,
    Stage,
    Wall,
    WallPart,
)
from optimizer.shelflife.worked.areas import GivenShape
from tests.shelflife.builders import T23, plain, polyolefin, sensitive

FOIL = Material(
    "foil",
    "Al",
    2700.0,
    {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in ("O2", "CO2", "N2")},
    WaterLaw(T23, (0.0, 1.0), (0.0, 0.0), 0.0),
)
SIZES: dict[str, dict[str, Any]] = {
    "cylinder": {"diameter": 0.07, "height": 0.15},
    "tube": {"diameter": 0.03, "length": 0.12},
    "disc": {"diameter": 0.07},
    "cone": {"diameter": 0.08, "height": 0.1, "diameter_top": 0.05},
    "sphere": {"diameter": 0.09},
    "hemisphere": {"diameter": 0.08},
    "profile": {"points": [(0.0, 0.03), (0.1, 0.035), (0.14, 0.012)], "closed_bottom": True},
    "box": {"length": 0.12, "width": 0.07, "height": 0.2},
    "tray": {"length": 0.14, "width": 0.1, "depth": 0.04, "top_length": 0.16, "top_width": 0.12},
    "pouch": {"width": 0.12, "height": 0.18, "gusset": 0.05, "seal_width": 0.008},
    "area": {"area": 0.03},
}


def random_case(seed: int) -> tuple[Case, dict[str, GivenShape]]:
    """A case with one limit, and the shapes of its parts."""
    pick = random.Random(seed)
    package, shapes = _package(pick)
    product = _product(pick)
    storage = tuple(
        Stage(
            f"stage {k % 9}", pick.uniform(5, 60) * DAY, 273.15 + pick.uniform(4, 36), pick.uniform(0.3, 0.8)
        )
        for k in range(pick.choice((1, 2, 3, 3, 15)))
    )
    total = sum(s.duration for s in storage)
    target = pick.choice((None, 0.4 * total, 1.3 * total))
    return Case(
        f"case {seed} (invented)", product, package, storage, target, 3.0 * total, wall="steady"
    ), shapes


def _package(pick: random.Random) -> tuple[Package, dict[str, GivenShape]]:
    parts: list[Part] = []
    shapes = {}
    walls = {}
    for name in ("body", "lid")[: pick.choice((1, 2))]:
        walls[name] = Wall(name, tuple(_layer(pick) for _ in range(pick.choice((1, 2, 4)))))
        shape = pick.choice(list(SIZES))
        given = GivenShape(shape, SIZES[shape], pick.choice(("outside", "inside", "middle")))
        surface = SHAPES[shape].function(**given.sizes, dimensions=given.dimensions)
        ratio = pick.choice((1.0, 1.3))
        parts.append(WallPart(name, name, scaled(surface, ratio).patches))
        shapes[name] = given
    if pick.random() < 0.5:
        gases = {
            "O2": GivenConductance(pick.uniform(0.2, 5) * 1e-17, 296.15, 38e3),
            "CO2": GivenConductance(pick.uniform(1, 9) * 1e-17, 296.15, 35e3),
            "N2": GivenConductance(3e-18, 296.15, 35e3),
            "H2O": GivenConductance(pick.uniform(1, 9) * 1e-14, 311.15, 42e3),
        }
        parts.append(ClosurePart("cap", gases))
    if pick.random() < 0.3:
        parts.append(HolePart("pinhole", pick.uniform(1, 6) * 1e-6, 80e-6, 2.0))
    return Package(tuple(parts), walls), shapes


def _layer(pick: random.Random) -> Layer:
    material = pick.choice((polyolefin(), plain(energy=33e3), plain("tight", 0.5, 0.4, 41e3), sensitive()))
    if pick.random() < 0.05:
        material = FOIL
    return Layer(material, pick.uniform(8, 200) * 1e-6)


def _product(pick: random.Random) -> Product:
    kind = pick.choice(("oxygen", "oxygen", "share", "carbonated", "moist", "water"))
    rigid = pick.random() < 0.7
    head = Headspace(pick.uniform(20, 200) * 1e-6, rigid, {"O2": pick.choice((0.01, 0.2095)), "N2": 0.79})
    base = Product(0.4, 4e-4, head, water_activity=pick.choice((0.2, 0.5, 0.95)), closing_temperature=295.15)
    if kind == "carbonated":
        co2 = Carbonation(pick.uniform(2, 4), 277.15)
        limit = Limit("co2_loss", pick.uniform(0.02, 0.2))
        return replace(base, carbonation=co2, headspace=replace(head, gas={}), limits=(limit,))
    if kind == "water":
        name = pick.choice(("water_gain", "water_loss"))
        return replace(base, limits=(Limit(name, pick.uniform(1e-4, 5e-3)),))
    if kind == "moist":
        start = pick.uniform(0.1, 0.8)
        name, value = pick.choice(
            (
                ("water_gain", pick.uniform(1e-3, 0.02)),
                ("water_loss", pick.uniform(1e-3, 0.02)),
                ("water_activity_max", start + 0.05),
                ("water_activity_min", start - 0.05),
            )
        )
        moisture = MoistureModel(0.35, _isotherm(pick), start)
        return replace(base, water_activity=None, moisture=moisture, limits=(Limit(name, value),))
    oxygen = OxygenModel(
        pick.choice(("nothing", "water", "oil")),
        None,
        pick.choice((0.0, 0.02)),
        pick.choice((1.0, 0.8)),
        pick.choice(
            (
                None,
                Consumption(1, pick.uniform(0.01, 0.5) / DAY, T23, 60e3),
                Consumption(1, pick.uniform(0.001, 0.02) / DAY, T23, 50e3),
                Consumption(0, 3e-12, T23, 60e3),
                Consumption("michaelis-menten", 2e-11, T23, 60e3, 400.0),
            )
        ),
    )
    if kind == "share":
        return replace(base, oxygen=oxygen, limits=(Limit("headspace_oxygen", pick.uniform(0.015, 0.05)),))
    limits = (Limit("oxygen_gain", pick.uniform(2, 40) * 1e-6),)
    if pick.random() < 0.25:
        moisture = MoistureModel(0.35, _isotherm(pick), pick.uniform(0.15, 0.5))
        return replace(base, water_activity=None, oxygen=oxygen, moisture=moisture, limits=limits)
    return replace(base, oxygen=oxygen, limits=limits)


def _isotherm(pick: random.Random) -> Isotherm:
    return pick.choice(
        (
            GAB(0.05, 11.0, 0.9),
            Oswin(0.08, 0.4),
            Henderson(2e-5, 2.1, 60.0, 23.0),
            TableIsotherm(((0.0, 0.001), (1.0, 0.25))),
            TableIsotherm(((0.1, 0.03), (0.4, 0.06), (0.7, 0.11), (0.95, 0.3))),
        )
    )


# -- reading what is printed -------------------------------------------------------------------------------

_FUNCTIONS = {"exp": math.exp, "ln": math.log, "sqrt": math.sqrt}


def value_of(text: str) -> float:
    """Value of printed arithmetic by Python's own rules; only + - * / **, brackets, exp, ln and sqrt."""
    tree = ast.parse(text, mode="eval")
    for node in ast.walk(tree):
        allowed = (
            ast.Expression,
            ast.BinOp,
            ast.UnaryOp,
            ast.USub,
            ast.Add,
            ast.Sub,
            ast.Mult,
            ast.Div,
            ast.Pow,
            ast.Call,
            ast.Name,
            ast.Load,
            ast.Constant,
        )
        assert isinstance(node, allowed), ast.dump(node)
        if isinstance(node, ast.Name):
            assert node.id in _FUNCTIONS, node.id
    return float(eval(compile(tree, "printed", "eval"), {"__builtins__": {}}, _FUNCTIONS))


def numbers_in(text: str) -> list[float]:
    """Every number of printed arithmetic, without signs."""
    return [
        float(node.value) for node in ast.walk(ast.parse(text, mode="eval")) if isinstance(node, ast.Constant)
    ]
