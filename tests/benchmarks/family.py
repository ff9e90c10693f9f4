"""A family of design problems of growing size, for timing the optimiser.

Permeability laws, densities, roles and bonding come from the shipped property table. Prices, gauges where a
converter would set them, surroundings, package sizes and limits are INVENTED and drawn from a seed: good for
timing, never as data. "grade 2" of a polymer is the shipped polymer with its permeabilities multiplied by a
drawn factor, invented as well.

Limits come from a reference wall, seal / tie / EVOH / tie / print, which meets them and every other rule.
Prices of the other barriers are set so that a plain wall built around any one of them costs about as much as
a wall around EVOH, where that price is within reason: walls of every kind compete, and the seed decides.

Run as a script it prints the family and the number of sequences of each instance.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.catalog import Catalog, load_catalog
from optimizer.design.problem import Choice, Demand, Environment, Problem, Share, Term, WallRules
from optimizer.physics.laminate import permeance
from optimizer.physics.material import Material
from optimizer.physics.permeability import WaterLaw
from optimizer.physics.water import saturation_pressure

Array = NDArray[np.float64]
UM = 1e-6


class Size(NamedTuple):
    """parts: walls of one make on parts of other thickness; wet_base: they see other humidities too, so that
    there are stages times parts environments. swelling: water permeability of EVOH and polyamide rises with
    activity. thin: barrier layers of at most 3 um, so that it takes several; menu: names instead of a
    count."""

    slots: int
    materials: int
    stages: int
    gases: int
    parts: int = 1
    objective: str = "cost"
    wet_base: bool = False
    swelling: bool = False
    thin: bool = False
    menu: tuple[str, ...] = ()


POLYAMIDES = (
    *("HDPE", "LDPE", "PP", "tie PE", "tie PP"),
    *("EVOH 32", "EVOH 44", "PA6", "PA6 oriented", "MXD6"),
)

SIZES: dict[str, Size] = {
    "5/8/1/1": Size(5, 8, 1, 1),
    "5/12/1/2": Size(5, 12, 1, 2),
    "7/15/4/2": Size(7, 15, 4, 2),
    "7/20/4/3 (3 regions collapse)": Size(7, 20, 4, 3, parts=3),
    "9/20/6/2": Size(9, 20, 6, 2),
    "7/30/8/3": Size(7, 30, 8, 3),
    "9/40/12/3, 3 parts, wet base": Size(9, 40, 12, 3, parts=3, wet_base=True),
    "9/60/12/2": Size(9, 60, 12, 2),
    "9/60/12/3, 3 parts, wet base": Size(9, 60, 12, 3, parts=3, wet_base=True),
    "7/20/4/2 mass": Size(7, 20, 4, 2, objective="mass"),
    "5/10 polyamide and EVOH": Size(5, 10, 2, 2, thin=True, menu=POLYAMIDES),
    "7/10 polyamide and EVOH": Size(7, 10, 3, 2, thin=True, menu=POLYAMIDES),
    "7/10 water by activity": Size(7, 10, 3, 2, swelling=True, menu=POLYAMIDES),
}

#: Most useful first: an instance with M candidates takes the first M, then invented grades.
ORDER = (
    *("HDPE", "LDPE", "tie PE", "EVOH 32", "PU adhesive", "PET", "metallised PET", "PA6"),
    *("PP", "tie PP", "EVOH 44", "PVDC"),
    *("aluminium foil", "MXD6", "PP oriented"),
    *("EVA", "LLDPE", "SiOx PET", "PA6 oriented", "PVDC-coated PP oriented"),
    *("EVOH 27", "EVOH 38", "ionomer", "COC", "AlOx PET"),
    *("metallised PP oriented", "PVDC-coated PET", "PAN copolymer", "PEN", "PET amorphous"),
    *("MDPE", "EVOH 29", "MXD6 oriented", "PVDC-coated PA6 oriented", "PVOH-coated PET"),
    *("acrylic/PVOH-coated PET", "PCTFE", "PLA", "PVC rigid", "PVOH"),
    *("PS", "PVC plasticised", "PA66", "PC", "PMMA", "cellulose film"),
)
GRADED = ("HDPE", "EVOH 32", "LLDPE", "PA6", "PP", "metallised PET", "EVOH 44", "PET", "MXD6", "SiOx PET")

# fmt: off
#: EUR/kg, invented round figures; a drawn factor multiplies each.
PRICE = {
    "LDPE": 1.3, "LLDPE": 1.35, "MDPE": 1.35, "HDPE": 1.3, "PP": 1.25, "PP oriented": 2.0, "PS": 1.5,
    "PET": 1.9, "PET amorphous": 1.4, "PVC rigid": 1.3, "PVC plasticised": 1.7, "PVDC": 9.0,
    "EVOH 27": 8.5, "EVOH 29": 8.2, "EVOH 32": 7.8, "EVOH 38": 7.6, "EVOH 44": 7.5,
    "PA6": 3.2, "PA6 oriented": 4.5, "PA66": 3.6, "MXD6": 8.0, "MXD6 oriented": 9.5,
    "PAN copolymer": 5.0, "PC": 3.5, "PMMA": 3.0, "PCTFE": 60.0, "PVOH": 9.0, "cellulose film": 6.0,
    "EVA": 1.9, "ionomer": 4.0, "COC": 6.0, "PLA": 2.6, "PEN": 8.0,
    "tie PE": 3.2, "tie PP": 3.2, "PU adhesive": 6.0, "aluminium foil": 6.0,
    "metallised PET": 5.0, "SiOx PET": 14.0, "AlOx PET": 11.0, "PVDC-coated PET": 5.5,
    "PVOH-coated PET": 7.0, "acrylic/PVOH-coated PET": 9.0, "metallised PP oriented": 4.5,
    "PVDC-coated PP oriented": 5.0, "PVDC-coated PA6 oriented": 8.0,
}
# fmt: on
#: Ready-made webs keep the gauges of the table; everything else is extruded.
WEBS = ("PP oriented", "PET", "PA6 oriented", "cellulose film", "PEN")
#: Partial pressure differences [Pa]: air outside, a gassed head space inside; common practice, no source.
DRIVING = {"O2": 0.21 * 101325.0, "CO2": 0.3 * 101325.0}
TEMPERATURES = (23.0, 5.0, 32.0, 15.0, 38.0, 10.0)
#: Water activity inside: base, body, neck of a package that stands in its liquid; invented.
HUMIDITY = (1.0, 0.85, 0.7)


@dataclass(frozen=True)
class Instance:
    problem: Problem
    reference: Choice


def family(name: str, seed: int) -> Problem:
    """The instance ``name`` of ``SIZES`` with the numbers drawn from ``seed``."""
    return instance(name, seed).problem


def instance(name: str, seed: int) -> Instance:
    """The problem with the reference wall that its limits come from; drawn again while one layer alone would
    do."""
    for attempt in itertools.count():
        made = _drawn(SIZES[name], np.random.default_rng([seed, attempt, *name.encode()]))
        if not one_layer_does(made.problem):
            return made
    raise AssertionError


def _drawn(size: Size, rng: np.random.Generator) -> Instance:
    catalog = _catalog()
    materials = _materials(catalog, size, rng)
    areas = rng.dirichlet(np.full(size.parts, 6.0)) * rng.uniform(0.04, 0.08)
    stretch = np.exp(rng.uniform(-0.3, 0.3, size.parts)) if size.parts > 1 else np.ones(1)
    environments, weights = _surroundings(size, rng, areas / stretch)
    share = float(rng.uniform(0.06, 0.08)) if not size.thin else 0.2
    bare = Problem(materials, environments, (), ())
    through = [(e, float(w)) for e, w in enumerate(weights)]
    sequence, thickness = _reference(
        materials, size, rng, share, lambda s, x: float(_value(bare, "O2", through, s, x[None, :])[0])
    )
    total = float(thickness.sum())
    low = 0.85 if size.objective == "mass" else 0.6
    rules = _rules(catalog, materials, size, float(areas @ stretch), share, (low * total, 1.7 * total))
    problem = Problem(materials, environments, (rules,), ())
    demands = []
    for gas in ("O2", "H2O", "CO2")[: size.gases]:
        terms = [(e, float(weights[e] * _drive(gas, env))) for e, env in enumerate(environments)]
        value = _value(problem, gas, terms, sequence, thickness[None, :])[0]
        scale = float(rng.uniform(0.8, 0.98)) / value
        demands.append(Demand(gas, gas, tuple(Term(0, e, w * scale) for e, w in terms)))
    problem = replace(problem, demands=tuple(demands))
    if size.objective == "cost":
        problem = _priced(problem, rng)
    cost = float(problem.walls[0].rate[list(sequence)] @ thickness)
    return Instance(problem, Choice((sequence,), (tuple(float(t) for t in thickness),), cost))


@cache
def _catalog() -> Catalog:
    return load_catalog()


def _materials(catalog: Catalog, size: Size, rng: np.random.Generator) -> tuple[Material, ...]:
    names = size.menu or ORDER[: size.materials]
    found = []
    for name in names:
        given = catalog.material(name)
        found.append(
            replace(given, price=PRICE[name] * float(rng.uniform(0.8, 1.25)), gauge=_gauge(given, rng))
        )
    for k in range(size.materials - len(names)):
        base = found[names.index(GRADED[k % len(GRADED)])]
        found.append(_grade(base, 2 + k // len(GRADED), rng))
    if size.swelling:
        found = [_swelling(m) for m in found]
    if size.thin:
        found = [_thin(m) for m in found]
    return tuple(found)


def _gauge(given: Material, rng: np.random.Generator) -> tuple[float, float]:
    least, most = given.gauge
    if given.roles == {"bond"}:
        return least, min(most, 12 * UM)
    if least == most or given.name in WEBS:
        return least, min(most, 300 * UM)
    if given.roles & {"seal", "print"} and "barrier" not in given.roles:
        return max(least, 20 * UM), min(most, 400 * UM)
    thin = (5.0, 9.0) if "print" in given.roles else (2.0, 4.0)
    return max(least, float(rng.uniform(*thin)) * UM), min(most, 200 * UM)


def _grade(base: Material, number: int, rng: np.random.Generator) -> Material:
    gas, water = np.exp(rng.normal(0.0, 0.3, 2))
    gases = {
        name: replace(law, permeability=tuple(float(p * gas) for p in law.permeability))
        for name, law in base.gases.items()
    }
    given = base.water_law()
    law = replace(given, phi=tuple(float(p * water) for p in given.phi))
    price = (base.price or 0.0) * float(np.exp(rng.normal(0.0, 0.12)))
    return replace(base, name=f"{base.name} grade {number}", gases=gases, water=law, price=price)


def _swelling(given: Material) -> Material:
    """Invented: the polymer takes up water and lets more of it through."""
    shape = {"EVOH": (0.4, 0.9, 2.5), "PA": (0.35, 0.8, 1.6)}.get(given.family)
    if shape is None:
        return given
    law, knots = given.water_law(), (0.0, 0.4, 0.75, 1.0)
    phi = (0.0, *(law.phi[-1] * s for s in shape))
    return replace(given, water=WaterLaw(law.temperature, knots, phi, law.activation_energy))


def _thin(given: Material) -> Material:
    if given.family not in ("EVOH", "MXD6"):
        return given
    return replace(given, gauge=(2 * UM, 3 * UM))


def _surroundings(
    size: Size, rng: np.random.Generator, spread: Array
) -> tuple[tuple[Environment, ...], Array]:
    """Environments and the weight of each, area over relative thickness times duration."""
    kinds = TEMPERATURES[: max(1, (size.stages + 1) // 2 + (size.stages > 1))]
    days = rng.dirichlet(np.full(size.stages, 4.0))
    body = float(rng.uniform(0.85, 1.0))
    found: list[Environment] = []
    weights: list[float] = []
    for k in range(size.stages):
        kelvin = 273.15 + kinds[k % len(kinds)]
        outside = float(rng.uniform(0.4, 0.65))
        inside = HUMIDITY[: size.parts] if size.wet_base else (body,)
        for part, activity in enumerate(inside):
            found.append(Environment(kelvin, activity, outside))
            weights.append(days[k] * float(spread[part] if size.wet_base else spread.sum()))
    return tuple(found), np.array(weights)


def _drive(gas: str, env: Environment) -> float:
    if gas == "H2O":
        return float(saturation_pressure(env.temperature)) * (env.inside - env.outside)
    return DRIVING[gas]


def _reference(
    materials: Sequence[Material],
    size: Size,
    rng: np.random.Generator,
    share: float,
    oxygen: Callable[[tuple[int, ...], Array], float],
) -> tuple[tuple[int, ...], Array]:
    """seal / tie / EVOH / tie / print with the EVOH that lets least through there; where they are thin,
    several leaves of EVOH and polyamide. ``oxygen``: what comes through a wall."""
    names = [m.name for m in materials]
    seal = "HDPE" if size.wet_base or rng.random() < 0.7 else "LDPE"
    outer = "LDPE" if size.wet_base or rng.random() < 0.6 else "HDPE"
    if size.thin:
        inner = ["EVOH 32", "EVOH 44"] if size.slots < 7 else ["EVOH 32", "PA6", "EVOH 32"]
        sequence = tuple(names.index(n) for n in (seal, "tie PE", *inner, "PA6"))
        thin = float(rng.uniform(1.1, 1.5)) * np.array([materials[m].gauge[0] for m in sequence])
        thin[0] = float(rng.uniform(35, 60)) * UM
        return sequence, thin
    bonds = float(rng.uniform(3.5, 5.0)) * UM
    bulky = np.array([rng.uniform(70, 120), rng.uniform(40, 80)]) * UM
    part = share * float(rng.uniform(0.8, 0.97))
    found = []
    for m in (i for i, m in enumerate(materials) if m.family == "EVOH"):
        sequence = (names.index(seal), names.index("tie PE"), m, names.index("tie PE"), names.index(outer))
        rho = [materials[i].density for i in sequence]
        around = rho[0] * bulky[0] + rho[4] * bulky[1] + 2 * rho[1] * bonds
        thickness = np.array([bulky[0], bonds, part / (1 - part) * around / rho[2], bonds, bulky[1]])
        found.append((oxygen(sequence, thickness), sequence, thickness))
    _, sequence, thickness = min(found, key=lambda f: f[0])
    return sequence, thickness


def _rules(
    catalog: Catalog,
    materials: Sequence[Material],
    size: Size,
    mass_area: float,
    share: float,
    thickness: tuple[float, float],
) -> WallRules:
    count = len(materials)
    glue = np.array([m.roles == {"bond"} for m in materials])
    touching = np.zeros((count, count), dtype=bool)
    for a, b in itertools.product(range(count), repeat=2):
        touching[a, b] = a != b and catalog.bonding.may_touch(materials[a].family, materials[b].family)
    members = [i for i, m in enumerate(materials) if m.family == "EVOH"]
    density = np.array([m.density for m in materials])
    price = np.array([m.price or 0.0 for m in materials])
    return WallRules(
        "wall",
        size.slots,
        start=np.array(["seal" in m.roles for m in materials]) & ~glue,
        end=np.array(["print" in m.roles for m in materials]) & ~glue,
        touching=touching,
        least=np.array([m.gauge[0] for m in materials]),
        most=np.array([m.gauge[1] for m in materials]),
        rate=mass_area * density * (price if size.objective == "cost" else 1.0),
        thickness=thickness,
        shares=(Share.of("EVOH", members, count, 0.0, share),),
    )


# -- prices that make walls of every kind compete ------------------------------------------------------


def _value(
    problem: Problem, gas: str, terms: Sequence[tuple[int, float]], sequence: Sequence[int], rows: Array
) -> Array:
    """sum of weight times permeance for walls of thickness rows (B, n) [m], shape (B,)."""
    stack = [problem.materials[m] for m in sequence]
    env = [problem.environments[e] for e, _ in terms]
    through = permeance(
        stack,
        rows[:, None, :],
        gas,
        np.array([e.temperature for e in env]),
        np.array([e.inside for e in env]),
        np.array([e.outside for e in env]),
    )
    value: Array = through @ np.array([w for _, w in terms])
    return value


def feasible(problem: Problem, sequence: Sequence[int], rows: Array) -> NDArray[np.bool_]:
    """Which of the thickness rows (B, n) [m] of one wall of this sequence keep every demand and rule."""
    wall = problem.walls[0]
    index = list(sequence)
    pairs = all(wall.touching[a, b] for a, b in itertools.pairwise(sequence))
    fits = pairs and wall.start[index[0]] and wall.end[index[-1]] and len(index) <= wall.max_layers
    total = rows.sum(axis=1)
    good = np.full(len(rows), bool(fits))
    good &= (total >= wall.thickness[0] * (1 - 1e-9)) & (total <= wall.thickness[1] * (1 + 1e-9))
    good &= np.all((rows >= wall.least[index] * (1 - 1e-9)) & (rows <= wall.most[index] * (1 + 1e-9)), axis=1)
    mass = rows * problem.density[index]
    for share in wall.shares:
        good &= mass @ np.array(share.content)[index] <= share.most * mass.sum(axis=1) * (1 + 1e-9)
    for demand in problem.demands:
        terms = [(t.environment, t.weight) for t in demand.terms]
        left = np.flatnonzero(good)
        good[left] = _value(problem, demand.gas, terms, sequence, rows[left]) <= 1 + 1e-9
    return good


def _walls_around(problem: Problem, key: int) -> list[tuple[int, ...]]:
    """Plain walls with one layer of ``key`` between the usual bulk polymers, with the first bond that
    holds."""
    wall = problem.walls[0]
    names = [m.name for m in problem.materials]
    bulk = [names.index(n) for n in ("HDPE", "LDPE", "PP") if n in names]
    bonds = [names.index(n) for n in ("tie PE", "tie PP", "EVA", "PU adhesive") if n in names]

    def joined(a: int, b: int) -> tuple[int, ...] | None:
        """What lies between the two: nothing, or a bond."""
        if wall.touching[a, b]:
            return ()
        return next(((c,) for c in bonds if wall.touching[a, c] and wall.touching[c, b]), None)

    inner = [(seal, *between, key) for seal in bulk if (between := joined(seal, key)) is not None]
    if wall.end[key]:
        return inner
    outer = [(*between, last) for last in bulk if (between := joined(key, last)) is not None]
    return [(*a, *b) for a, b in itertools.product(inner, outer)]


def _grid(problem: Problem, sequence: Sequence[int], key: int) -> Array:
    """Thicknesses [m] to look at, (B, n): key and seal vary, the outer layer is thin or as thick as the
    seal, bonds are thin."""
    wall = problem.walls[0]
    least, most = wall.least[list(sequence)], wall.most[list(sequence)]
    where = list(sequence).index(key)
    top = np.minimum(most, wall.thickness[1])
    levels = [
        np.geomspace(least[k], top[k], 14) if least[k] < top[k] else least[k : k + 1] for k in (0, where)
    ]
    outer = (0.0, 0.5, 1.0) if where < len(sequence) - 1 else (0.0,)
    rows = np.array(list(itertools.product(*levels, outer)))
    grid = np.repeat(least[None, :], len(rows), axis=0)
    grid[:, 0], grid[:, where] = rows[:, 0], rows[:, 1]
    grid[:, -1] = np.clip(rows[:, 2] * rows[:, 0], grid[:, -1], most[-1])
    return grid


def _priced(problem: Problem, rng: np.random.Generator) -> Problem:
    """Barriers other than EVOH priced so that the cheapest plain wall around each costs 0.93 to 1.15 times
    the cheapest around an EVOH, as far as a change of price by a factor of three allows."""
    wall = problem.walls[0]
    rate = wall.rate.copy()
    fitting: dict[int, list[tuple[tuple[int, ...], Array]]] = {}
    for key, material in enumerate(problem.materials):
        if "barrier" in material.roles:
            walls = [(s, _grid(problem, s, key)) for s in _walls_around(problem, key)]
            good = [(s, grid[feasible(problem, s, grid)]) for s, grid in walls]
            fitting[key] = [(s, rows) for s, rows in good if len(rows)]
    evoh = [k for k in fitting if problem.materials[k].family == "EVOH"]
    costs = [(rows @ rate[list(s)]).min() for k in evoh for s, rows in fitting[k]]
    for key, found in fitting.items():
        aim = min(costs, default=0.0) * float(rng.uniform(0.93, 1.15))
        if key in evoh or not found or not costs:
            continue
        best = 0.0
        for sequence, rows in found:
            others = np.array([0.0 if m == key else rate[m] for m in sequence])
            best = max(best, float(((aim - rows @ others) / rows[:, sequence.index(key)]).max()))
        rate[key] = float(np.clip(best, rate[key] / 3, 3 * rate[key]))
    area = wall.rate / problem.density / np.array([m.price for m in problem.materials], dtype=float)
    materials = tuple(
        replace(m, price=float(rate[i] / area[i] / m.density)) for i, m in enumerate(problem.materials)
    )
    return replace(problem, materials=materials, walls=(replace(wall, rate=rate),))


# -- what a problem looks like -------------------------------------------------------------------------


def sequences(wall: WallRules) -> float:
    """Number of allowed sequences, counted by a transfer matrix."""
    count = wall.start.astype(float)
    total = float(count @ wall.end)
    for _ in range(wall.max_layers - 1):
        count = count @ wall.touching
        total += float(count @ wall.end)
    return total


def one_layer_does(problem: Problem) -> bool:
    """Whether some wall of one bulk layer, as thick as allowed, meets every demand."""
    wall = problem.walls[0]
    for m in np.flatnonzero(wall.start & wall.end):
        row = np.array([[min(wall.most[m], wall.thickness[1])]])
        if feasible(problem, (int(m),), row)[0]:
            return True
    return False


def main() -> None:
    seeds = [int(s) for s in sys.argv[1].split(",")] if len(sys.argv) > 1 else [1]
    print(
        f"{'name':32s} {'seed':>4s} {'sequences':>10s} {'E':>3s} {'temps':>5s} {'sensitive':>9s}  reference"
    )
    for name, seed in itertools.product(SIZES, seeds):
        made = instance(name, seed)
        problem, wall = made.problem, made.problem.walls[0]
        stack = made.reference.sequences[0]
        met = feasible(problem, stack, np.array(made.reference.thickness))[0]
        parts = zip(stack, made.reference.thickness[0], strict=True)
        text = " / ".join(f"{problem.materials[m].name} {t / UM:.1f}" for m, t in parts)
        print(
            f"{name:32s} {seed:4d} {sequences(wall):10.2g} {len(problem.environments):3d} "
            f"{len({e.temperature for e in problem.environments}):5d} {problem.sensitive.sum():9d}  "
            f"{text}; {'met' if met else 'NOT MET'}"
            f"{', ONE LAYER WILL DO' if one_layer_does(problem) else ''}; "
            f"{1e2 * made.reference.objective:.4g}"
        )


if __name__ == "__main__":
    main()
