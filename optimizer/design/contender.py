"""One way to buy: the project with an offered material in it, and the structures found for it with their cost
at any price.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.design.options import DesignOptions
from optimizer.design.problem import Choice
from optimizer.physics.material import Material
from optimizer.results import PredictResult
from optimizer.shelflife.breakdown import bill_of
from optimizer.shelflife.covered import labels_alone
from optimizer.shelflife.package import Case, Layer, Package, Part, Wall, WallPart

if TYPE_CHECKING:
    from optimizer.design.optimise import Optimum

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PriceTag:
    """A price as offered: ``number`` in ``unit`` ('USD/t'); one of that is ``factor`` of the project's
    currency per kg."""

    number: float
    unit: str
    factor: float

    @property
    def per_kg(self) -> float:
        return self.number * self.factor


@dataclass(frozen=True)
class Contender:
    """name: in texts. supplier, material, grade: what is offered in place of which candidate. replaced: its
    indices in ``options.candidates`` (several for a web in several gauges; those of the rivals' material for
    the baseline). case and options hold the offered material, priced in the project's currency. stated:
    relative standard deviation of each permeability that the offer states itself, by gas. unpriced: no price
    is offered; ``price`` is where the search for the price to tie starts, and nothing is ranked by it."""

    name: str
    supplier: str
    material: str
    grade: str
    replaced: tuple[int, ...]
    case: Case
    options: DesignOptions
    price: PriceTag | None
    stated: Mapping[str, float] = field(default_factory=dict)
    baseline: bool = False
    unpriced: bool = False

    @property
    def without_price(self) -> bool:
        """Whether it is an offer without a price, whatever its material costs in the project."""
        return self.unpriced or (self.price is None and not self.baseline)

    @property
    def prices(self) -> Array:
        """Of every candidate [currency/kg]; nan where there is none."""
        return np.array([np.nan if m.price is None else m.price for m in self.options.candidates])

    def at(self, price: float) -> Contender:
        """The same with the offered material at another price [currency/kg]."""
        return self.with_materials(
            {i: replace(self.options.candidates[i], price=price) for i in self.replaced}
        )

    def with_materials(self, changed: Mapping[int, Material]) -> Contender:
        """The same with other candidates at these indices, also where other walls hold them."""
        candidates = tuple(changed.get(i, m) for i, m in enumerate(self.options.candidates))
        named = {candidates[i].name: candidates[i] for i in changed}
        case = replace(self.case, package=exchanged(self.case.package, named))
        return replace(self, case=case, options=replace(self.options, candidates=candidates))

    def same_but_price(self, other: Contender) -> bool:
        """Whether both have the same structures, apart from what they cost."""
        pairs = zip(self.options.candidates, other.options.candidates, strict=True)
        return all(a is b or _properties(a) == _properties(b) for a, b in pairs)


def exchanged(package: Package, named: Mapping[str, Material]) -> Package:
    """The package with each material of that name in its walls exchanged for the one given."""
    walls = {
        name: Wall(
            name, tuple(Layer(named.get(x.material.name, x.material), x.thickness) for x in wall.layers)
        )
        for name, wall in package.walls.items()
    }
    return replace(package, walls=walls)


def _properties(m: Material) -> tuple[object, ...]:
    apart = ("price", "currency", "sources", "notes")
    return tuple(
        value for name, value in vars(m).items() if name not in apart and name in m.__dataclass_fields__
    )


@dataclass(frozen=True)
class Structure:
    """A structure that meets every limit. kg: of every candidate in one package [kg]; bought: for one
    package, with scrap where the project counts it [kg]; charges: what it costs beside what is bought so
    (passes, other materials) [currency], nan without prices; value: what is minimised when that is not the
    cost (kg or m)."""

    choice: Choice
    predicted: PredictResult
    kg: Array
    bought: Array
    charges: float
    value: float

    def cost(self, prices: Array) -> float:
        """Per package [currency], nan where a price is missing."""
        used = self.bought > 0.0
        return float(self.charges + self.bought[used] @ prices[used])


class Account:
    """Counts masses and costs of the whole package, or of the designed walls where another has no price."""

    def __init__(self, contender: Contender) -> None:
        package, walls = contender.case.package, set(contender.options.walls)
        others: tuple[Part, ...] = tuple(
            p for p in package.parts if isinstance(p, WallPart) and p.wall not in walls
        )
        labels = labels_alone(package)
        others += labels.parts
        bill = bill_of(Package(others, {**package.walls, **labels.walls}))
        self.missing = bill.missing if others else ""
        self.rest = bill.cost or 0.0 if not self.missing else 0.0
        self.rest_mass = bill.mass

    def structure(self, contender: Contender, best: Optimum) -> Structure:
        """What ``best`` holds and costs."""
        from optimizer.design.optimise import walls_of  # here: reading offers must not load the solver

        assert best.choice is not None and best.predicted is not None
        options, prices = contender.options, contender.prices
        package = contender.case.package.with_walls(walls_of(options, best.choice))
        kg, other = self._masses(package, options, best.choice)
        scrap = 1.0 - options.scrap if options.minimise == "cost" else 1.0
        bought = kg / scrap + other
        if options.minimise == "cost":
            cost = best.objective + self.rest
        else:
            known = best.predicted.cost_per_package
            cost = float("nan") if known is None else known
        used = bought > 0.0
        charges = cost - float(bought[used] @ prices[used])
        value = best.objective + (self.rest_mass if options.minimise == "mass" else 0.0)
        return Structure(best.choice, best.predicted, kg + other, bought, charges, value)

    def _masses(self, package: Package, options: DesignOptions, choice: Choice) -> tuple[Array, Array]:
        """Mass of every candidate [kg] in the designed walls, and in the others where those are counted."""
        designed, other = np.zeros(len(options.candidates)), np.zeros(len(options.candidates))
        sequences = dict(zip(options.walls, choice.sequences, strict=True))
        first: dict[str, int] = {}
        for i, m in enumerate(options.candidates):
            first.setdefault(m.name, i)
        for part in package.parts:
            if not isinstance(part, WallPart):
                continue
            wall = package.walls[part.wall]
            area = part.mass_area(wall.thickness)
            masses = [area * x.thickness * x.material.density for x in wall.layers]
            if part.wall in sequences:
                np.add.at(designed, list(sequences[part.wall]), masses)
            elif not self.missing:
                for layer, mass in zip(wall.layers, masses, strict=True):
                    if layer.material.name in first:
                        other[first[layer.material.name]] += mass
        return designed, other
