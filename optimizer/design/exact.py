"""The exact steady model of ``physics.laminate``, arranged for the optimiser: many thicknesses at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.design.problem import Problem
from optimizer.physics.laminate import HumidityProfile, humidity_profile
from optimizer.physics.permeability import ResistivityTable, resistivity_table

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Used:
    """Environments that the demands look at, for one wall: indices and their values as arrays."""

    index: tuple[int, ...]
    temperature: Array
    inside: Array
    outside: Array


class ExactModel:
    """Demand values of given sequences. Thickness arrays are (B, n) over all layers of all walls in order
    [m]."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    @cached_property
    def used(self) -> tuple[Used, ...]:
        found = []
        for w in range(len(self.problem.walls)):
            index = tuple(
                sorted({t.environment for d in self.problem.demands for t in d.terms if t.wall == w})
            )
            env = [self.problem.environments[e] for e in index]
            found.append(
                Used(
                    index,
                    np.array([e.temperature for e in env]),
                    np.array([e.inside for e in env]),
                    np.array([e.outside for e in env]),
                )
            )
        return tuple(found)

    def profile(self, wall: int, sequence: Sequence[int], thickness: Array) -> HumidityProfile:
        """Humidity through one wall in every used environment; thickness (B, n) gives shapes (B, E, ...)."""
        u = self.used[wall]
        stack = [self.problem.materials[i] for i in sequence]
        inside = np.where(np.abs(u.inside - u.outside) < 1e-9, u.outside + 1e-9, u.inside)
        return humidity_profile(stack, thickness[:, None, :], u.temperature, inside, u.outside)

    @cached_property
    def factors(self) -> tuple[_Factors, ...]:
        """Everything that depends on material and environment alone, by wall."""
        return tuple(_Factors(self.problem, u) for u in self.used)

    def resistances(self, wall: int, sequence: Sequence[int], thickness: Array) -> dict[str, Array]:
        """R by gas, shape (B, E) over the used environments of the wall [m2 s Pa/mol]."""
        known = self.factors[wall]
        index = list(sequence)
        sensitive = [i for i, m in enumerate(index) if known.sensitive[m]]
        found: dict[str, Array] = {}
        faces: Array | None = None
        drop_over_flux: Array | None = None
        if known.general[index].any():
            profile = self.profile(wall, sequence, thickness)
            faces = profile.faces
            drop_over_flux = (faces[..., 0] - faces[..., -1]) / profile.flux
        else:
            if sensitive:
                part = thickness[:, None, :] * known.water[:, index]
                through = np.cumsum(part, axis=-1)
                drop_over_flux = through[..., -1]
                u = self.used[wall]
                share = through / drop_over_flux[..., None]
                faces = np.concatenate(
                    [
                        np.broadcast_to(u.inside[:, None], (*share.shape[:2], 1)),
                        u.inside[:, None] - (u.inside - u.outside)[:, None] * share,
                    ],
                    axis=-1,
                )
            else:
                drop_over_flux = thickness @ known.water[:, index].T
        for gas in self.problem.gases:
            if gas == "H2O":
                found[gas] = drop_over_flux
                continue
            total = thickness @ known.gas[gas][:, index].T
            if faces is not None:
                for i in sensitive:
                    curve = known.curve(gas, index[i])
                    if curve is not None:
                        table, factor = curve
                        mean = table.mean(faces[..., i], faces[..., i + 1])
                        total = total + thickness[:, i : i + 1] * mean / factor
            found[gas] = total
        return found

    def split(self, sequences: Sequence[Sequence[int]], thickness: Array) -> list[Array]:
        """Cut (B, n) into one array per wall."""
        edges = np.cumsum([len(s) for s in sequences])[:-1]
        return np.split(thickness, edges, axis=1)

    def demand_values(self, sequences: Sequence[Sequence[int]], thickness: Array) -> Array:
        """sum of weight * permeance for every demand, shape (B, D); at most 1 where the demand is met."""
        parts = self.split(sequences, thickness)
        tables = [self.resistances(w, s, parts[w]) for w, s in enumerate(sequences)]
        values = np.zeros((thickness.shape[0], len(self.problem.demands)))
        for d, demand in enumerate(self.problem.demands):
            for w in range(len(sequences)):
                terms = [t for t in demand.terms if t.wall == w]
                if terms:
                    column = [self.used[w].index.index(t.environment) for t in terms]
                    weight = np.array([t.weight for t in terms])
                    values[:, d] += (weight / tables[w][demand.gas][:, column]).sum(axis=1)
        return values

    def shares_of_demand(
        self, sequences: Sequence[Sequence[int]], thickness: Sequence[float] | Array
    ) -> list[Array]:
        """For each demand the share of every term in its value, for one thickness vector; used for tangent
        cuts."""
        row = np.asarray(thickness, dtype=float)[None, :]
        parts = self.split(sequences, row)
        tables = [self.resistances(w, s, parts[w]) for w, s in enumerate(sequences)]
        found = []
        for demand in self.problem.demands:
            value = np.array(
                [
                    t.weight / tables[t.wall][demand.gas][0, self.used[t.wall].index.index(t.environment)]
                    for t in demand.terms
                ]
            )
            found.append(value / value.sum())
        return found

    def objective(self, sequences: Sequence[Sequence[int]]) -> Array:
        """Objective per metre of thickness of every layer, all walls in order."""
        return np.concatenate([self.problem.walls[w].rate[list(s)] for w, s in enumerate(sequences)])

    def fixed(self, sequences: Sequence[Sequence[int]]) -> float:
        """Objective of the layers' presence, whatever their thickness."""
        return float(sum(self.problem.walls[w].presence[list(s)].sum() for w, s in enumerate(sequences)))

    def value(self, sequences: Sequence[Sequence[int]], thickness: Array) -> float:
        """Objective of one thickness vector (n,) [m]."""
        return float(self.objective(sequences) @ thickness) + self.fixed(sequences)


class _Factors:
    """gas: resistivities (E, M) of layers that humidity leaves alone, 0 for the others; water: likewise;
    sensitive (M,): gas permeability depends on humidity; general (M,): needs the general humidity profile
    (water permeability depends on activity, or no water passes)."""

    def __init__(self, problem: Problem, used: Used) -> None:
        self.materials, self.temperature = problem.materials, used.temperature
        laws = [m.water_law() for m in problem.materials]
        self.general = np.array([law.humidity_sensitive or law.blocks for law in laws], dtype=bool)
        self.water = np.array([1.0 / (law.slopes[0] * law.factor(used.temperature)) for law in laws]).T
        self.gas: dict[str, Array] = {}
        self.sensitive = np.zeros(len(laws), dtype=bool)
        for gas in problem.gases:
            if gas == "H2O":
                continue
            columns = []
            for m, material in enumerate(problem.materials):
                varies = material.gas_law(gas).humidity_sensitive
                self.sensitive[m] |= varies
                zero = np.zeros(len(used.temperature))
                columns.append(
                    zero if varies else material.mean_resistivity(gas, used.temperature, zero, zero)
                )
            self.gas[gas] = np.array(columns).T
        self._curves: dict[tuple[str, int], tuple[ResistivityTable, Array] | None] = {}

    def curve(self, gas: str, m: int) -> tuple[ResistivityTable, Array] | None:
        """Table of the mean resistivity and the temperature factors (E,); None where humidity does not
        matter."""
        if (gas, m) not in self._curves:
            material = self.materials[m]
            law = material.gas_law(gas)
            self._curves[gas, m] = (
                (resistivity_table(law, material.water_law()), law.factor(self.temperature))
                if law.humidity_sensitive
                else None
            )
        return self._curves[gas, m]
