"""Layers in series: humidity through the wall, and resistance to each gas.

Steady state. Layers are listed from inside to outside. Arrays of thickness have the layers on the last axis;
temperature and the two activities broadcast against the leading axes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.physics.material import Material
from optimizer.physics.permeability import WaterLaw

Array = NDArray[np.float64]


@dataclass(frozen=True)
class HumidityProfile:
    """flux: water flux per Pa of saturation pressure, positive outwards [mol/(m2 s Pa)], shape (...);
    faces: water activity at the inside face, at each interface and at the outside face, shape (..., n +
    1)."""

    flux: Array
    faces: Array


def humidity_profile(
    materials: Sequence[Material],
    thickness: ArrayLike,
    temperature: ArrayLike,
    inside: ArrayLike,
    outside: ArrayLike,
) -> HumidityProfile:
    """Steady water activities through a wall.

    Solves J l_i / k_i = Phi_i(a_i-1) - Phi_i(a_i) for every layer, with k_i the temperature factor. Closed
    form where every P_w is constant; otherwise one monotone equation in J by safeguarded Newton steps.
    thickness (..., n) [m]; temperature [K], inside and outside activity [-] broadcast to (...).
    """
    layers = np.asarray(thickness, dtype=float)
    laws = [m.water_law() for m in materials]
    shape = np.broadcast_shapes(layers.shape[:-1], np.shape(temperature), np.shape(inside), np.shape(outside))
    a_in = np.broadcast_to(np.asarray(inside, dtype=float), shape)
    a_out = np.broadcast_to(np.asarray(outside, dtype=float), shape)
    scaled = np.stack(
        [np.broadcast_to(layers[..., i] / law.factor(temperature), shape) for i, law in enumerate(laws)],
        axis=-1,
    )
    slopes = [law.slopes for law in laws]
    if not any(law.humidity_sensitive for law in laws):
        resistance = scaled / np.array([s[0] for s in slopes])
        cumulative = np.concatenate([np.zeros((*shape, 1)), np.cumsum(resistance, axis=-1)], axis=-1)
        total = cumulative[..., -1:]
        fraction = np.where(
            total > 0, cumulative / np.where(total > 0, total, 1.0), np.linspace(0, 1, len(laws) + 1)
        )
        faces = a_in[..., None] + (a_out - a_in)[..., None] * fraction
        with np.errstate(divide="ignore"):
            flux = np.where(
                total[..., 0] > 0, (a_in - a_out) / np.where(total[..., 0] > 0, total[..., 0], 1.0), np.inf
            )
        return HumidityProfile(flux, faces)
    return _solve_profile(laws, scaled, a_in, a_out)


def _solve_profile(laws: Sequence[WaterLaw], scaled: Array, a_in: Array, a_out: Array) -> HumidityProfile:
    drop = a_in - a_out
    most = np.array([law.slopes.max() for law in laws])
    least = np.array([law.slopes.min() for law in laws])
    lo = drop / np.sum(scaled / least, axis=-1)
    hi = drop / np.sum(scaled / most, axis=-1)
    lo, hi = np.minimum(lo, hi), np.maximum(lo, hi)
    flux = 0.5 * (lo + hi)
    # rounding leaves a few last bits of the flux per unit of activity
    scale = 1.0 / np.sum(scaled / most, axis=-1)
    for _ in range(80):
        faces, derivative = _march(laws, scaled, a_in, flux)
        miss = faces[..., -1] - a_out
        lo = np.where(miss > 0, flux, lo)
        hi = np.where(miss < 0, flux, hi)
        step = flux - miss / derivative
        inside = (step >= lo) & (step <= hi)
        new = np.where(inside, step, 0.5 * (lo + hi))
        if np.all(np.abs(new - flux) <= 1e-14 * np.abs(new) + 1e-15 * scale):
            flux = new
            break
        flux = new
    faces, _ = _march(laws, scaled, a_in, flux)
    faces[..., -1] = a_out
    low, high = np.minimum(a_in, a_out)[..., None], np.maximum(a_in, a_out)[..., None]
    return HumidityProfile(flux, np.clip(faces, low, high))


def _march(laws: Sequence[WaterLaw], scaled: Array, a_in: Array, flux: Array) -> tuple[Array, Array]:
    """Activities at the faces for a given flux, and d(outermost activity)/d(flux), which is negative."""
    faces = [a_in]
    slope = np.zeros_like(a_in)
    for i, law in enumerate(laws):
        a = faces[-1]
        after = law.activity_of(law.potential(a) - flux * scaled[..., i])
        slope = (law.slope_at(a) * slope - scaled[..., i]) / law.slope_at(after)
        faces.append(after)
    return np.stack(faces, axis=-1), slope


def layer_resistances(
    materials: Sequence[Material],
    thickness: ArrayLike,
    gas: str,
    temperature: ArrayLike,
    faces: Array,
) -> Array:
    """Resistance of each layer to ``gas`` [m2 s Pa/mol], shape (..., n), given the face activities (..., n
    + 1)."""
    layers = np.asarray(thickness, dtype=float)
    parts = [
        np.broadcast_to(
            layers[..., i] * m.mean_resistivity(gas, temperature, faces[..., i], faces[..., i + 1]),
            faces.shape[:-1],
        )
        for i, m in enumerate(materials)
    ]
    return np.stack(parts, axis=-1)


def permeance(
    materials: Sequence[Material],
    thickness: ArrayLike,
    gas: str,
    temperature: ArrayLike,
    inside: ArrayLike,
    outside: ArrayLike,
) -> Array:
    """Steady permeance of the wall [mol/(m2 s Pa)].

    For a gas: 1 / sum of layer resistances at the local humidity. For ``H2O``: flux per Pa of saturation
    pressure and per unit of activity difference (0 difference: the value between activity 0 and the given
    one is not needed, the mean slope is returned).
    """
    if gas == "H2O":
        same = np.abs(np.asarray(inside, dtype=float) - np.asarray(outside, dtype=float)) < 1e-12
        bumped = np.where(same, np.asarray(inside, dtype=float) + 1e-6, inside)
        profile = humidity_profile(materials, thickness, temperature, bumped, outside)
        value: Array = profile.flux / (bumped - np.asarray(outside, dtype=float))
        return value
    needs_humidity = any(m.gas_law(gas).humidity_sensitive for m in materials)
    if needs_humidity:
        faces = humidity_profile(materials, thickness, temperature, inside, outside).faces
    else:
        shape = np.broadcast_shapes(
            np.shape(thickness)[:-1], np.shape(temperature), np.shape(inside), np.shape(outside)
        )
        faces = np.zeros((*shape, len(materials) + 1))
    result: Array = 1.0 / np.sum(layer_resistances(materials, thickness, gas, temperature, faces), axis=-1)
    return result
