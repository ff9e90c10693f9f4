"""Candidates with permeabilities raised by what their own spread adds at a confidence.

A structure of a well-known material needs less reserve than one of a material whose permeability is
uncertain. With sigma and rest the standard deviations of the logarithm of a quantity that go with the
material and with everything else, the quantity must be lower by exp(z sqrt(sigma^2 + rest^2)). Of this the
certified problem carries exp(z (sqrt(sigma^2 + rest^2) - rest)) in the material, and the correction of the
limit exp(z rest), which is then the same for all structures as far as one material decides.
"""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from optimizer.design.by_samples import BySamples, sampled_case, uses_of
from optimizer.design.settled import Settled
from optimizer.physics.material import Material
from optimizer.shelflife.package import LIMIT_GAS, Case, Layer, Wall
from optimizer.shelflife.variation import Variation
from optimizer.uncertainty.sources import inputs_of


def hedged(judge: BySamples, plain: Settled, asked: float) -> tuple[Material, ...]:
    """The candidates for the confidence ``asked`` [-]. plain: an optimum with a structure, at which
    everything but the spread of permeabilities is sampled."""
    work = judge.work
    assert plain.optimum.choice is not None and plain.verdict is not None
    rest = _rest(judge, work.structure(plain.optimum.choice), plain.verdict.predicted.wall_model)
    z = max(0.0, NormalDist().inv_cdf(asked))
    sigma = _sigma(work.case, work.options.walls[0], work.options.candidates)
    return tuple(
        _raised(m, {gas: math.exp(z * (math.hypot(sigma.get((m.name, gas), 0.0), r) - r)) for gas, r in rest})
        for m in work.options.candidates
    )


def factors_of(material: Material, raised: Material) -> dict[str, float]:
    """Factor on the permeability by gas, where it is not 1."""
    found = {
        gas: raised.gases[gas].permeability[0] / law.permeability[0]
        for gas, law in material.gases.items()
        if raised.gases[gas] is not law
    }
    if material.water is not None and raised.water is not None and raised.water is not material.water:
        found["H2O"] = raised.water.phi[-1] / material.water.phi[-1]
    return found


def _rest(judge: BySamples, case: Case, wall: str) -> list[tuple[str, float]]:
    """By gas of the limits, the standard deviation of the logarithm of what is used of a limit, with every
    permeability as given [-]."""

    def exact(v: Variation) -> Variation:
        return replace(v, permeability={})

    case, outcomes, variation = judge.outcomes(case, wall, exact)
    found: dict[str, float] = {}
    for limit, used in zip(case.product.limits, uses_of(case, outcomes, variation).T, strict=True):
        known = used[np.isfinite(used) & (used > 0.0)]
        if len(known) > 1:
            gas = LIMIT_GAS[limit.name]
            found[gas] = max(found.get(gas, 0.0), float(np.std(np.log(known))))
    return list(found.items())


def _sigma(case: Case, wall: str, candidates: tuple[Material, ...]) -> dict[tuple[str, str], float]:
    """Standard deviation of the logarithm of each candidate's permeability, by name and gas."""
    layers = tuple(Layer(m, m.gauge[0]) for m in candidates)
    package = case.package.with_walls({wall: Wall(wall, layers)})
    inputs = inputs_of(sampled_case(replace(case, package=package), (wall,)))
    return {
        target: math.sqrt(math.log1p(x.size**2))
        for x in inputs
        if x.kind == "permeability"
        for target in x.targets
        if isinstance(target, tuple)
    }


def _raised(material: Material, factors: dict[str, float]) -> Material:
    """The material with its permeabilities times the factors."""
    gases = {
        gas: replace(law, permeability=tuple(p * factors[gas] for p in law.permeability))
        if factors.get(gas, 1.0) > 1.0
        else law
        for gas, law in material.gases.items()
    }
    water, factor = material.water, factors.get("H2O", 1.0)
    if water is not None and factor > 1.0:
        water = replace(water, phi=tuple(p * factor for p in water.phi))
    return replace(material, gases=gases, water=water)
