"""Numerical examples of textbooks: films, tubes and resistances in series."""

from __future__ import annotations

import math
from collections.abc import Sequence

from optimizer.constants import GAS_CONSTANT, YEAR
from optimizer.geometry import shapes
from optimizer.physics.laminate import layer_resistances, permeance
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, arrhenius
from optimizer.shelflife.package import WallPart
from optimizer.units import read
from published.registry import check

TOPIC = "Films and resistances in series"
T = 298.15


def _material(permeability: float) -> Material:
    """A layer with this permeability, whatever gas and driving force are meant."""
    return Material("layer", "x", 1000.0, {"O2": GasLaw("O2", T, (0.0,), (permeability,), 0.0)}, None)


def _flux(layers: Sequence[tuple[float, float]], drive: float) -> float:
    """Flux through layers (permeability, thickness) in series."""
    walls = [_material(p) for p, _ in layers]
    return float(permeance(walls, [t for _, t in layers], "O2", T, 0.0, 0.0)) * drive


@check(
    TOPIC,
    "E1",
    "H2 through neoprene, 0.5 mm, 0.010 atm",
    'Geankoplis, Transport Processes and Unit Operations, ch. 6, "Diffusion of H2 through Neoprene Membrane"',
    4.69e-12,
    "kmol/(m2 s)",
    percent=0.2,
)
def neoprene() -> float:
    solubility = read("0.051 m3(STP)/(m3*atm)", "gas solubility").value
    diffusivity = read("1.03e-10 m2/s", "diffusivity").value
    return 1e-3 * _flux([(diffusivity * solubility, 0.5e-3)], read("0.010 atm", "pressure").value)


@check(
    TOPIC,
    "E4",
    "H2 through a rubber tube, 25 mm bore, 50 mm outside: our flat wall with mid-wall area is 4 % high on so "
    "thick a wall",
    "Treybal, Mass-Transfer Operations, Illustration 4.1, p. 89",
    5.6e-5,
    "g/(m h)",
    percent=4.5,
)
def tube() -> float:
    solubility = read("0.053 m3(STP)/(m3*atm)", "gas solubility").value
    part = WallPart("tube", "wall", shapes.tube(25e-3, 1.0, dimensions="inside").patches)
    wall = 12.5e-3
    g = 1.8e-10 * solubility * part.permeation_area(wall) / wall
    return g * read("2 atm", "pressure").value * 2.016 * 3600


#: Layers as (permeability, thickness); a liquid film of coefficient k is a layer (k, 1).
#: The drive is a concentration.
GEANKOPLIS = [(7e-11 * 1.5, 30e-6), (2.02e-5, 1.0)]
#: In terms of the concentration in the polymer; the liquid beside it holds 0.022 of that.
DUTTA = [(5.94e-3, 0.08), (0.022 * 2.08e-3, 0.008)]


@check(
    TOPIC,
    "E6",
    "Membrane and liquid film in series",
    "Geankoplis, Transport Processes and Unit Operations, Example 13.2-1",
    7.458e-8,
    "kmol/(m2 s)",
    percent=0.02,
)
def membrane_and_film() -> float:
    return _flux(GEANKOPLIS, 0.030 - 0.005)


@check(
    TOPIC,
    "E7",
    "Drug through silicone and a boundary layer",
    "Dutta, Principles of Mass Transfer, ch. 4",
    2.72e-3,
    "mg/(cm2 h)",
    percent=0.3,
)
def silicone() -> float:
    return _flux(DUTTA, 0.513)


def _benitez() -> list[tuple[float, float]]:
    """Feed film, membrane of 176 barrer and 2 um, permeate film; drive in mol/m3."""
    feed = 0.023 * 20000**0.83 * 450 ** (1 / 3) * 5e-5 / 0.4 * 1e-2
    membrane = read("176 Barrer", "gas permeability").value * GAS_CONSTANT * 298.0
    return [(feed, 1.0), (membrane, 2e-6), (0.12e-2, 1.0)]


BENITEZ = "Benitez, Principles and Modern Applications of Mass Transfer Operations, ch. 9"


@check(TOPIC, "E8", "Membrane of 176 barrer between two films", BENITEZ, 2.22e-3, "mol/(m2 s)", percent=0.3)
def membrane_between_films() -> float:
    return _flux(_benitez(), 50.0 - 15.0)


@check(TOPIC, "E8b", "Share of the membrane in its resistance", BENITEZ, 87.0, "%", within=0.5)
def share_of_the_membrane() -> float:
    import numpy as np

    layers = _benitez()
    walls = [_material(p) for p, _ in layers]
    parts = layer_resistances(walls, [t for _, t in layers], "O2", T, np.zeros(4))
    return 100 * float(parts[1] / parts.sum())


SPHERE = "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 14"


def _helium_constant() -> float:
    """Rate constant of helium leaving a glass sphere [1/s], from our shape and conductance."""
    ball = shapes.sphere(0.2, dimensions="inside")
    part = WallPart("ball", "wall", ball.patches)
    # the example takes the inner area
    g = 0.4e-13 * (0.45e-3 * 1e3 / 1e5) * part.permeation_area(0.0) / 2e-3
    assert ball.volume is not None
    return g * GAS_CONSTANT * 293.0 / ball.volume


@check(TOPIC, "E10", "Helium at 4 bar leaving a glass sphere", SPHERE, -2.63e-11, "bar/s", percent=0.2)
def helium() -> float:
    return -4.0 * _helium_constant()


@check(TOPIC, "E10b", "Time constant of that sphere", SPHERE, 4818.0, "years", percent=0.1, kind="worked out")
def helium_years() -> float:
    return 1.0 / _helium_constant() / YEAR


TEMPERATURE = "Temperature"
MAP_FILMS = (
    "Gas transmission rates of commercially available PE and PP films for modified atmosphere packaging, "
    "The Philippine Agricultural Scientist"
)
for _kj, _q10 in ((28.1, 1.50), (35.0, 1.66), (38.1, 1.74)):
    check(
        TEMPERATURE,
        f"Q{_kj}",
        f"Q10 (10 to 20 degC) of {_kj} kJ/mol",
        MAP_FILMS,
        _q10,
        "-",
        within=0.01,
    )(lambda kj=_kj: float(arrhenius(kj * 1e3, 293.15, 283.15)))

SHAPES = "Shapes"


@check(
    SHAPES,
    "S1",
    "Side wall of a square bottle over a round one of equal volume and height",
    "Article for plastics education (2/sqrt(pi))",
    1.128,
    "times",
    within=0.0005,
)
def square_bottle() -> float:
    side = 0.075 * math.sqrt(math.pi) / 2
    square = shapes.box(side, side, 0.2).area() - 2 * side * side
    return square / shapes.cylinder(0.075, 0.2).area()


def _area_per_volume(litres: float) -> float:
    d = (litres * 4 / math.pi / 2.8) ** (1 / 3)
    body = shapes.cylinder(d, 2.8 * d)
    assert body.volume is not None
    return (body.area() + 2 * shapes.disc(d).area()) / body.volume


for _litres, _more in ((1.0, 26.0), (0.5, 59.0)):
    check(
        SHAPES,
        f"S-{_litres}",
        f"Area per volume of a {_litres} L bottle more than of a 2 L bottle of the same shape",
        "University course problem on bottles",
        _more,
        "%",
        within=0.5,
    )(lambda litres=_litres: 100 * (_area_per_volume(litres) / _area_per_volume(2.0) - 1))


@check(
    SHAPES,
    "S2",
    "Tray of 120, 180 and 40 cm2 at 350, 200 and 80 um over its mean thickness",
    "sum(A/l) sum(A l)/sum(A)^2",
    1.224221,
    "times",
    within=1e-6,
    kind="constructed",
)
def uneven_tray() -> float:
    tray = shapes.tray(
        0.1, 0.1, 0.0375, corner_share=40 / 340, corner_ratio=0.4, base_ratio=1.75, wall_ratio=1.0
    )
    part = WallPart("tray", "wall", tray.patches)
    return part.permeation_area(0) * part.mass_area(0) / part.area(0) ** 2


@check(
    SHAPES,
    "S3",
    "Cylinder of inner radius 32.5 mm and 0.3 mm wall, exact over our flat wall with mid-wall area",
    "Crank, The Mathematics of Diffusion, ch. 5: 2 pi/ln(b/a)",
    0.9999930,
    "times",
    within=1e-7,
    kind="worked out",
)
def curved_over_flat() -> float:
    side = shapes.cylinder(65e-3, 0.2, dimensions="inside")
    return 2 * math.pi * 0.2 / math.log(32.8 / 32.5) / (side.area(0.3e-3) / 0.3e-3)
