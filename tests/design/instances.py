"""Random design problems with invented limits.

Every property, price and gauge here is a stand-in from memory, of the right order of magnitude for the
polymer named and no more: good for proving the optimiser right or wrong, never as data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.design.problem import Demand, Environment, Problem, Share, Term, WallRules
from optimizer.physics.laminate import permeance
from optimizer.physics.material import Material
from optimizer.physics.permeability import GasLaw, WaterLaw

Array = NDArray[np.float64]

#: cm3(STP) mm/(m2 day atm) and g mm/(m2 day) at 38 degC, 90 %RH, roughly, in mol m/(m2 s Pa)
GAS_UNIT, WATER_UNIT = 5.1e-18, 1.1e-13
T23, T38 = 296.15, 311.15


def material(
    name: str,
    family: str,
    density: float,
    price: float,
    oxygen: float,
    water: float,
    roles: str,
    gauge: tuple[float, float],
    *,
    energy: tuple[float, float] = (40e3, 35e3),
    humid: tuple[tuple[float, ...], tuple[float, ...]] | None = None,
    phi: tuple[tuple[float, ...], tuple[float, ...]] | None = None,
) -> Material:
    """gauge in um. humid: activities and multiples of ``oxygen`` there; phi: activities and multiples of
    Phi.
    """
    activity, multiple = humid or ((0.0,), (1.0,))
    gases = {
        gas: GasLaw(
            gas, T23, activity, tuple(factor * oxygen * GAS_UNIT * m for m in multiple), energy[0] + extra
        )
        for gas, factor, extra in (("O2", 1.0, 0.0), ("CO2", 4.0, -5e3))
    }
    knots, values = phi or ((1.0,), (1.0,))
    law = WaterLaw(T38, (0.0, *knots), (0.0, *(water * WATER_UNIT * v for v in values)), energy[1])
    limits = (gauge[0] * 1e-6, gauge[1] * 1e-6)
    return Material(
        name,
        family,
        density,
        gases,
        law,
        price=price,
        currency="EUR",
        gauge=limits,
        roles=frozenset(roles.split()),
    )


EVOH_32 = ((0.0, 0.6, 0.8, 0.9), (0.004, 0.01, 0.09, 1.0))
EVOH_44 = ((0.0, 0.6, 0.8, 0.9), (0.02, 0.04, 0.17, 0.85))
#: falls first, then rises: the least permeability lies in between
POLYAMIDE = ((0.0, 0.3, 0.6, 0.8, 0.9), (1.2, 0.9, 1.0, 1.5, 3.0))


def menu(rng: np.random.Generator, water_varies: bool) -> dict[str, Material]:
    """Materials by name; prices are drawn, so that no two problems have the same optimum."""

    def price(a: float, b: float) -> float:
        return float(rng.uniform(a, b))

    wet = ((0.4, 0.75, 1.0), (0.4, 0.9, 2.5)) if water_varies else None
    swollen = ((0.5, 0.8, 1.0), (0.3, 0.8, 1.6)) if water_varies else None
    rows = [
        material("HDPE", "PE", 950, price(1.1, 1.5), 54, 0.145, "seal print", (20, 600), energy=(36e3, 30e3)),
        material("LDPE", "PE", 920, price(1.1, 1.5), 180, 0.56, "seal print", (20, 300), energy=(36e3, 28e3)),
        material("PP", "PP", 905, price(1.1, 1.6), 80, 0.26, "seal print", (20, 600), energy=(42e3, 38e3)),
        material("tie", "tie", 920, price(2.5, 4), 180, 0.56, "bond", (3, 50)),
        material(
            "EVOH 32",
            "EVOH",
            1190,
            price(6, 10),
            1,
            2.0,
            "barrier",
            (3, 100),
            energy=(50e3, 45e3),
            humid=EVOH_32,
            phi=wet,
        ),
        material(
            "EVOH 44",
            "EVOH",
            1140,
            price(6, 10),
            1,
            1.3,
            "barrier",
            (3, 100),
            energy=(50e3, 45e3),
            humid=EVOH_44,
        ),
        material(
            "PA6",
            "PA",
            1130,
            price(3, 5),
            1,
            4.3,
            "barrier print",
            (5, 200),
            energy=(43e3, 40e3),
            humid=POLYAMIDE,
            phi=swollen,
        ),
        material("PET", "PET", 1380, price(1.2, 1.8), 1.6, 0.8, "print", (10, 500), energy=(32e3, 10e3)),
        material("PVDC", "PVDC", 1700, price(6, 12), 0.1, 0.02, "barrier", (2, 25), energy=(60e3, 46e3)),
    ]
    found = {m.name: m for m in rows}
    blocked = {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in ("O2", "CO2")}
    found["foil"] = Material(
        "foil",
        "metal",
        2700.0,
        blocked,
        WaterLaw(T38, (0.0, 1.0), (0.0, 0.0), 0.0),
        price=price(3, 6),
        currency="EUR",
        gauge=(6e-6, 60e-6),
        roles=frozenset({"barrier"}),
    )
    return found


BONDS = {
    ("PE", "PE"),
    ("PE", "tie"),
    ("PP", "tie"),
    ("EVOH", "tie"),
    ("PA", "tie"),
    ("PET", "tie"),
    ("PVDC", "tie"),
    ("metal", "tie"),
    ("EVOH", "PA"),
    ("EVOH", "EVOH"),
}


def touching(materials: Sequence[Material], anything: bool = False) -> NDArray[np.bool_]:
    table = np.zeros((len(materials), len(materials)), dtype=bool)
    for i, a in enumerate(materials):
        for j, b in enumerate(materials):
            bonded = anything or (a.family, b.family) in BONDS or (b.family, a.family) in BONDS
            table[i, j] = i != j and bonded
    return table


def surroundings(rng: np.random.Generator, count: int, wet: str) -> tuple[Environment, ...]:
    """wet: the side on which the water is, ``inside`` or ``outside``."""
    low, high = (0.1, 0.35), (0.8, 1.0)
    found = []
    for t in rng.choice([5.0, 15.0, 23.0, 30.0, 38.0], count, replace=False):
        moist = float(rng.uniform(*high)), float(rng.uniform(0.4, 0.7))
        dry = float(rng.uniform(*low)), float(rng.uniform(0.55, 0.9))
        found.append(Environment(273.15 + float(t), *(moist if wet == "inside" else dry)))
    return tuple(found)


def rules(
    materials: Sequence[Material],
    *,
    layers: int,
    name: str = "wall",
    area: float = 0.06,
    anything: bool = False,
    thickness: tuple[float, float] = (0.0, np.inf),
    shares: tuple[Share, ...] = (),
    keep: tuple[int, ...] = (),
    step: float | None = None,
    symmetric: bool = False,
) -> WallRules:
    return WallRules(
        name,
        layers,
        start=np.array(["seal" in m.roles for m in materials]),
        end=np.array(["print" in m.roles for m in materials]),
        touching=touching(materials, anything),
        least=np.array([m.gauge[0] for m in materials]),
        most=np.array([m.gauge[1] for m in materials]),
        rate=np.array([m.density * (m.price or 0.0) * area for m in materials]),
        thickness=thickness,
        shares=shares,
        keep=keep,
        step=step,
        symmetric=symmetric,
    )


def demand_through(
    problem: Problem,
    gas: str,
    reference: Sequence[tuple[Sequence[int], Array]],
    areas: Sequence[float],
    weights: Array,
    factor: float = 1.0,
) -> Demand:
    """A demand that the reference walls (sequence and thickness [m] of each) meet with value ``factor``."""
    terms, total = [], 0.0
    for w, (sequence, thickness) in enumerate(reference):
        stack = [problem.materials[m] for m in sequence]
        for e, env in enumerate(problem.environments):
            value = float(permeance(stack, thickness, gas, env.temperature, env.inside, env.outside))
            total += areas[w] * weights[e] * value
            terms.append(Term(w, e, float(areas[w] * weights[e])))
    # a wall that blocks would ask for nothing to come through at all
    scale = factor / max(total, 1e-25)
    return Demand(gas, gas, tuple(replace(t, weight=t.weight * scale) for t in terms))


def random_problem(
    seed: int,
    names: str,
    *,
    layers: int,
    gases: str = "O2 H2O",
    stages: int = 2,
    wet: str = "inside",
    water_varies: bool = False,
    reference: str = "",
    factor: float = 1.0,
    areas: Sequence[float] = (0.06,),
    anything: bool = False,
    evoh_share: float | None = None,
    thickness: tuple[float, float] = (0.0, np.inf),
    keep: str = "",
    step: float | None = None,
    symmetric: bool = False,
) -> Problem:
    """names: materials, separated by commas. reference: the wall whose permeance sets the limits,
    likewise, with thicknesses drawn near the small end of their gauges; so the problem is feasible
    when ``factor`` is 1, unless a rule says otherwise. factor > 1 tightens the limits.
    """
    rng = np.random.default_rng(seed)
    table = menu(rng, water_varies)
    chosen = [n.strip() for n in names.split(",")]
    materials = tuple(table[n] for n in chosen)
    shares = ()
    if evoh_share is not None:
        members = tuple(i for i, m in enumerate(materials) if m.family == "EVOH")
        shares = (Share.of("EVOH", members, len(materials), 0.0, evoh_share),)
    walls = tuple(
        rules(
            materials,
            layers=layers,
            name=f"wall {w}",
            area=area,
            anything=anything,
            thickness=thickness,
            shares=shares,
            keep=tuple(chosen.index(k.strip()) for k in keep.split(",") if k),
            step=step,
            symmetric=symmetric,
        )
        for w, area in enumerate(areas)
    )
    problem = Problem(materials, surroundings(rng, stages, wet), walls, ())
    sequence = [chosen.index(n.strip()) for n in reference.split(",")]
    given = []
    for _ in areas:
        draw = np.array([materials[m].gauge[0] * np.exp(rng.uniform(0.1, 2.0)) for m in sequence])
        if symmetric:
            draw = 0.5 * (draw + draw[::-1])
        given.append((sequence, draw))
    demands = [
        demand_through(problem, g, given, areas, rng.dirichlet(np.ones(stages)), factor)
        for g in gases.split()
    ]
    return replace(problem, demands=tuple(demands))
