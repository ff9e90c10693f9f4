"""The wall's interface humidities and its oxygen resistance against a fine mesh in scipy.

d/dx(P(a) da/dx) = 0 is solved on a few thousand cells by repeated linear solves; nothing of the model's own
integrals is used, only the point values of the laws.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import solve_banded
from shelflife.builders import T23, polyolefin, sensitive

from optimizer.physics.laminate import humidity_profile, permeance
from optimizer.physics.material import Material

Array = NDArray[np.float64]
CELLS = 1500


def on_a_mesh(
    materials: Sequence[Material], thickness: Sequence[float], kelvin: float, inside: float, outside: float
) -> tuple[Array, float, float]:
    """Activities at the layer faces, water flux per Pa of saturation pressure, oxygen permeance."""
    owner = np.repeat(np.arange(len(materials)), CELLS)
    width = np.repeat(np.array(thickness) / CELLS, CELLS)
    a = np.linspace(inside, outside, len(owner) + 1)
    laws = [m.water_law() for m in materials]
    factor = np.array([float(law.factor(kelvin)) for law in laws])
    samples = (np.arange(16) + 0.5) / 16
    for _ in range(400):
        between = a[:-1, None] + np.diff(a)[:, None] * samples
        k = np.empty(len(owner))
        for i, law in enumerate(laws):
            k[owner == i] = factor[i] * law.slope_at(between[owner == i]).mean(axis=1)
        k /= width
        band = np.zeros((3, len(a) - 2))
        band[1] = k[:-1] + k[1:]
        band[0, 1:] = -k[1:-1]
        band[2, :-1] = -k[1:-1]
        load = np.zeros(len(a) - 2)
        load[0], load[-1] = k[0] * inside, k[-1] * outside
        new = a.copy()
        new[1:-1] = solve_banded((1, 1), band, load)
        change = float(np.abs(new - a).max())
        a = 0.5 * (a + new)
        if change < 1e-10:
            break
    else:
        raise AssertionError(f"the mesh did not settle: {change}")
    flux = float(np.mean(k * -np.diff(a)))
    middle = 0.5 * (a[:-1] + a[1:])
    resistance = sum(
        float(np.sum(width[owner == i] / m.gas_law("O2").at(kelvin, middle[owner == i])))
        for i, m in enumerate(materials)
    )
    return a[::CELLS], flux, 1.0 / resistance


@pytest.mark.parametrize(
    ("layers", "inside", "outside", "kelvin"),
    [
        ("skin core skin", 1.0, 0.5, T23),
        ("skin core skin", 0.3, 0.95, 303.15),
        ("core", 1.0, 0.0, T23),
        ("core skin core", 0.95, 0.2, 288.15),
    ],
)
def test_wall_agrees_with_a_fine_mesh(layers: str, inside: float, outside: float, kelvin: float) -> None:
    pieces = {"skin": (polyolefin(), 40e-6), "core": (sensitive(), 25e-6)}
    materials = [pieces[name][0] for name in layers.split()]
    thickness = [pieces[name][1] for name in layers.split()]
    faces, flux, oxygen = on_a_mesh(materials, thickness, kelvin, inside, outside)
    profile = humidity_profile(materials, thickness, kelvin, inside, outside)
    assert profile.faces == pytest.approx(faces, abs=1e-4)
    assert float(profile.flux) == pytest.approx(flux, rel=2e-4)
    assert float(permeance(materials, thickness, "O2", kelvin, inside, outside)) == pytest.approx(
        oxygen, rel=1e-3
    )
