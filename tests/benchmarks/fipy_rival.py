"""The transient package given to general software: FiPy (finite-volume PDE package), and LSODA of scipy.

FiPy gets the problem as its manual advises: a 1-D mesh over the layers with the same number of cells each,
implicit diffusion with harmonic face values, water first and then oxygen, sweeps until the nonlinear
coefficients have settled, a direct solver, steps that grow from the start of every stage. The inside of the
package is one more cell, in which the storage is that of headspace and product and the use of oxygen an
implicit source, so that it is coupled implicitly; the storage of water is the chord over the step, so that
moles are kept. FiPy's time stepping is implicit Euler; that is what limits its accuracy.

One wall part with one patch, rigid, moisture with an isotherm, oxygen used by Michaelis-Menten kinetics.
"""

from __future__ import annotations

import os
import time
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from transient import lines

from optimizer.constants import ATMOSPHERE, GAS_CONSTANT, MOLAR_MASS
from optimizer.physics.permeability import arrhenius
from optimizer.physics.water import saturation_pressure
from optimizer.shelflife.contents import contents_of, solubility
from optimizer.shelflife.package import Case, WallPart
from optimizer.shelflife.segments import lay_out

os.environ.setdefault("FIPY_SOLVERS", "scipy")

Array = NDArray[np.float64]

#: Width of the cell that stands for the inside [m]; any width does, its storage is divided by it.
INSIDE = 1e-6
#: Permeability there over that of the first layer, so that it resists nothing.
OPEN = 1e6
#: First step of a stage [s], growth from step to step.
FIRST, GROWTH = 120.0, 1.25


class Answer(NamedTuple):
    """What a rival finds at the end: pressure of oxygen inside [Pa], oxygen used [mol], water gained [mol],
    oxygen in the wall [mol]; seconds of processor time."""

    pressure: float
    used: float
    gain: float
    wall: float
    seconds: float


def lsoda(case: Case, *, cells: int = 20, rtol: float = 1e-6) -> Answer:
    """The finite volumes of ``transient.network`` by LSODA with a banded Jacobian."""
    begin = time.process_time()
    found = lines.solve(case, [case.horizon], cells=cells, rtol=rtol)
    seconds = time.process_time() - begin
    return Answer(
        *(float(found[k][-1]) for k in ("p O2", "used", "gain", "wall O2")),
        seconds,
    )


class _Wall:
    """Cells of the wall and the inside, and the material laws on them."""

    def __init__(self, case: Case, cells: int) -> None:
        (part,) = case.package.parts
        assert isinstance(part, WallPart) and len(part.patches) == 1
        wall = case.package.walls[part.wall]
        self.area = part.patches[0].area_at(wall.thickness)
        ratio = part.patches[0].ratio
        self.materials = [layer.material for layer in wall.layers]
        widths = [np.full(cells, layer.thickness * ratio / cells) for layer in wall.layers]
        self.dx = np.concatenate([[INSIDE], *widths])
        self.layer = np.repeat(np.arange(len(self.materials)), cells)

    def per_cell(self, value: Any, activity: Array | None = None) -> Array:
        """value(material) or value(material, activities of its cells) on the cells of the wall."""
        out = np.empty(len(self.layer))
        for k, m in enumerate(self.materials):
            at = self.layer == k
            out[at] = value(m) if activity is None else value(m, activity[at])
        return out


def fipy(case: Case, *, cells: int = 20, steps: int = 60, sweeps: int = 3) -> Answer:
    """The case by FiPy. steps: of equal length that a stage would take; the first ones are shorter."""
    from fipy import (
        CellVariable,
        DiffusionTerm,
        FaceVariable,
        Grid1D,
        ImplicitSourceTerm,
        LinearLUSolver,
        TransientTerm,
    )

    begin = time.process_time()
    wall, product = _Wall(case, cells), case.product
    contents = contents_of(product, ("O2",), True)
    moisture, use = product.moisture, product.oxygen.consumption
    assert moisture is not None and use is not None
    segments = lay_out(case.storage, case.horizon)
    mesh = Grid1D(dx=wall.dx)
    a, p = CellVariable(mesh=mesh, hasOld=True), CellVariable(mesh=mesh, hasOld=True)
    storage_a, storage_p = CellVariable(mesh=mesh), CellVariable(mesh=mesh)
    move_a, move_p, sink = CellVariable(mesh=mesh), CellVariable(mesh=mesh), CellVariable(mesh=mesh)
    face_a, face_p = FaceVariable(mesh=mesh), FaceVariable(mesh=mesh)
    water = TransientTerm(coeff=storage_a, var=a) == DiffusionTerm(coeff=face_a, var=a)
    oxygen = TransientTerm(coeff=storage_p, var=p) == DiffusionTerm(coeff=face_p, var=p) - ImplicitSourceTerm(
        coeff=sink, var=p
    )
    # the default tolerance, 1e-5 of the whole, stops before the thin layers are solved: two per cent wrong
    solver = LinearLUSolver(tolerance=1e-14, criterion="RHS")
    inside = wall.area * INSIDE
    used, held_water, held_oxygen = 0.0, np.empty(0), np.empty(0)

    def product_water(activity: float) -> float:
        return float(moisture.isotherm.content(activity)) * moisture.dry_mass / MOLAR_MASS["H2O"]

    def water_stored(activity: Array, t: float, psat: float) -> Array:
        """Per volume [mol/m3] on all cells."""
        held = wall.per_cell(
            lambda m, x: psat * m.water.factor(t) * m.water.potential(x) / m.diffusivity["H2O"].at(t),
            activity[1:],
        )
        return np.concatenate([[product_water(float(activity[0])) / inside], held])

    def activity_of(stored: Array, t: float, psat: float) -> Array:
        x = np.empty(len(stored))
        x[0] = moisture.isotherm.activity(float(stored[0]) * inside * MOLAR_MASS["H2O"] / moisture.dry_mass)
        x[1:] = wall.per_cell(
            lambda m, c: m.water.activity_of(c * m.diffusivity["H2O"].at(t) / (psat * m.water.factor(t))),
            stored[1:],
        )
        return x

    for k in range(len(segments)):
        t, humidity = float(segments.temperature[k]), float(segments.humidity[k])
        psat, outside = float(saturation_pressure(t)), float(segments.outside_pressure("O2")[k])
        room = product.headspace.volume / (GAS_CONSTANT * t)
        room += product.volume * float(solubility(product, "O2", t))
        dissolved = np.concatenate([[room / inside], wall.per_cell(lambda m, t=t: m.solubility("O2", t))])
        if k == 0:
            start = humidity if case.before.humidity is None else case.before.humidity
            pressure = case.before.gas["O2"] * (ATMOSPHERE - start * psat)
            a.setValue(np.concatenate([[moisture.initial_activity], np.full(len(wall.layer), start)]))
            p.setValue(np.concatenate([[contents.amounts["O2"] / room], np.full(len(wall.layer), pressure)]))
        else:
            a.setValue(activity_of(held_water, t, psat))
            p.setValue(held_oxygen / dissolved)
        for variable, value in ((a, humidity), (p, outside)):
            variable.faceConstraints = []
            variable.constrain(value, mesh.facesRight)
        storage_p.setValue(dissolved)
        rate = use.rate * float(arrhenius(use.activation_energy, t, use.temperature))
        now, end, h = 0.0, float(segments.duration[k]), FIRST
        while now < end * (1 - 1e-12):
            h = min(h, end - now, end / steps)
            a.updateOld()
            p.updateOld()
            before = water_stored(a.old.value, t, psat)
            for _ in range(sweeps):
                x = a.value
                slope = wall.per_cell(
                    lambda m, x, t=t, s=psat: s * m.water.factor(t) * m.water.slope_at(x), x[1:]
                )
                gap = x - a.old.value
                local = np.concatenate(
                    [
                        [
                            float(moisture.isotherm.slope(float(x[0])))
                            * moisture.dry_mass
                            / MOLAR_MASS["H2O"]
                            / inside
                        ],
                        slope / wall.per_cell(lambda m, t=t: m.diffusivity["H2O"].at(t)),
                    ]
                )
                moved = np.abs(gap) > 1e-9
                chord = (water_stored(x, t, psat) - before) / np.where(moved, gap, 1.0)
                storage_a.setValue(np.where(moved, chord, local))
                move_a.setValue(np.concatenate([[OPEN * slope[0]], slope]))
                face_a.setValue(move_a.harmonicFaceValue)
                water.sweep(var=a, dt=h, solver=solver)
            open_ = wall.per_cell(lambda m, x, t=t: m.gases["O2"].at(t, x), a.value[1:])
            move_p.setValue(np.concatenate([[OPEN * open_[0]], open_]))
            face_p.setValue(move_p.harmonicFaceValue)
            for _ in range(sweeps):
                p0 = float(p.value[0])
                drain = np.zeros(len(wall.dx))
                drain[0] = rate / (abs(p0) + use.half_pressure) / inside
                sink.setValue(drain)
                oxygen.sweep(var=p, dt=h, solver=solver)
            used += h * float(drain[0]) * inside * float(p.value[0])
            now += h
            h *= GROWTH
        held_water, held_oxygen = water_stored(a.value, t, psat), dissolved * p.value
    return Answer(
        float(p.value[0]),
        used,
        product_water(float(a.value[0])) - contents.water,
        float(wall.area * np.sum((held_oxygen * wall.dx)[1:])),
        time.process_time() - begin,
    )
