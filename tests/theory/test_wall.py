"""Laws that any steady wall obeys, whatever its numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from shelflife.builders import T23, polyolefin, sensitive

from optimizer.physics.laminate import humidity_profile, layer_resistances, permeance
from optimizer.physics.material import Material
from optimizer.physics.permeability import BLOCKED, GasLaw, WaterLaw

#: Two skins that humidity leaves alone, and a barrier that it opens.
DRY = (polyolefin(), Material("other", "PP", 905.0, polyolefin().gases, WaterLaw.constant(T23, 3e-14, 40e3)))
WET = sensitive()
MATERIALS = (*DRY, WET)
GASES = ("O2", "N2", "CO2")

microns = st.floats(2.0, 400.0)
kelvin = st.floats(275.0, 318.0)
#: Steps of a thousandth: between faces a billionth apart a mean of 1/P is known to a millionth only.
activity = st.integers(0, 1000).map(lambda n: n / 1000)
layer = st.tuples(st.sampled_from(range(len(MATERIALS))), microns)
wall = st.lists(layer, min_size=1, max_size=6)
dry_wall = st.lists(st.tuples(st.sampled_from(range(len(DRY))), microns), min_size=1, max_size=6)
Layers = Sequence[tuple[int, float]]


def built(layers: Layers) -> tuple[list[Material], list[float]]:
    return [MATERIALS[i] for i, _ in layers], [t * 1e-6 for _, t in layers]


def through(layers: Layers, gas: str, kelvin: float, inside: float, outside: float) -> float:
    materials, thickness = built(layers)
    return float(permeance(materials, thickness, gas, kelvin, inside, outside))


def water_flux(layers: Layers, kelvin: float, inside: float, outside: float) -> float:
    materials, thickness = built(layers)
    return float(humidity_profile(materials, thickness, kelvin, inside, outside).flux)


@given(wall, st.data(), kelvin, activity, activity)
@settings(deadline=None)
def test_splitting_a_layer_in_two_changes_nothing(
    layers: Layers, data: st.DataObject, t: float, inside: float, outside: float
) -> None:
    k = data.draw(st.integers(0, len(layers) - 1))
    share = data.draw(st.floats(0.05, 0.95))
    material, thickness = layers[k]
    halves = [
        *layers[:k],
        (material, share * thickness),
        (material, (1 - share) * thickness),
        *layers[k + 1 :],
    ]
    for gas in GASES:
        whole = through(layers, gas, t, inside, outside)
        assert through(halves, gas, t, inside, outside) == pytest.approx(whole, rel=1e-6)
    assert water_flux(halves, t, inside, outside) == pytest.approx(
        water_flux(layers, t, inside, outside), rel=1e-11, abs=1e-25
    )


@given(dry_wall, st.randoms(use_true_random=False), kelvin, activity, activity)
@settings(deadline=None)
def test_the_order_of_layers_that_humidity_leaves_alone_does_not_matter(
    layers: list[tuple[int, float]], random: object, t: float, inside: float, outside: float
) -> None:
    shuffled = list(layers)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    for gas in (*GASES, "H2O"):
        assert through(shuffled, gas, t, inside, outside) == pytest.approx(
            through(layers, gas, t, inside, outside), rel=1e-9
        )


def test_turning_a_humid_wall_round_changes_it_and_turning_the_room_with_it_does_not() -> None:
    layers = [(0, 20.0), (2, 10.0), (0, 60.0)]
    turned = layers[::-1]
    here = through(layers, "O2", T23, 1.0, 0.5)
    assert through(turned, "O2", T23, 1.0, 0.5) < 0.5 * here
    assert through(turned, "O2", T23, 0.5, 1.0) == pytest.approx(here, rel=1e-9)


@given(wall, kelvin, activity, activity)
@settings(deadline=None)
def test_a_wall_turned_round_with_its_surroundings_is_the_same_wall(
    layers: Layers, t: float, inside: float, outside: float
) -> None:
    for gas in GASES:
        assert through(layers[::-1], gas, t, outside, inside) == pytest.approx(
            through(layers, gas, t, inside, outside), rel=1e-6
        )
    assert water_flux(layers[::-1], t, outside, inside) == pytest.approx(
        -water_flux(layers, t, inside, outside), rel=1e-10, abs=1e-25
    )


@given(wall, st.data(), kelvin, activity, activity, st.floats(1.01, 4.0))
@settings(deadline=None)
def test_a_thicker_layer_never_lets_more_water_through_nor_more_gas_at_one_humidity(
    layers: Layers, data: st.DataObject, t: float, inside: float, outside: float, more: float
) -> None:
    k = data.draw(st.integers(0, len(layers) - 1))
    thicker = [*layers[:k], (layers[k][0], more * layers[k][1]), *layers[k + 1 :]]
    assume(abs(inside - outside) > 1e-6)
    assert abs(water_flux(thicker, t, inside, outside)) < abs(water_flux(layers, t, inside, outside))
    for gas in GASES:
        assert through(thicker, gas, t, inside, inside) < through(layers, gas, t, inside, inside)


def test_a_thicker_skin_on_the_dry_side_lets_more_oxygen_through_a_barrier_that_water_opens() -> None:
    # why the claim above needs one humidity: the outer skin keeps the water of the product in the barrier
    thin, thick = (through([(0, 20.0), (2, 10.0), (0, outer)], "O2", T23, 1.0, 0.5) for outer in (20.0, 60.0))
    assert thick > thin


@given(wall, kelvin, activity, activity, st.floats(0.1, 10.0))
@settings(deadline=None)
def test_all_layers_twice_as_thick_let_half_as_much_through(
    layers: Layers, t: float, inside: float, outside: float, factor: float
) -> None:
    scaled = [(i, factor * thickness) for i, thickness in layers]
    for gas in GASES:
        assert factor * through(scaled, gas, t, inside, outside) == pytest.approx(
            through(layers, gas, t, inside, outside), rel=1e-6
        )
    assert factor * water_flux(scaled, t, inside, outside) == pytest.approx(
        water_flux(layers, t, inside, outside), rel=1e-11, abs=1e-25
    )


@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_layer_that_lets_nothing_through_stops_everything(place: int) -> None:
    foil = Material(
        "foil",
        "Al",
        2700.0,
        {g: GasLaw(g, T23, (0.0,), (0.0,), 0.0) for g in GASES},
        WaterLaw(T23, (0.0, 1.0), (0.0, 0.0), 0.0),
    )
    materials = [polyolefin(), sensitive()]
    thickness = [60e-6, 10e-6]
    closed, gauge = list(materials), list(thickness)
    closed.insert(place, foil)
    gauge.insert(place, 9e-6)
    for gas in (*GASES, "H2O"):
        before = float(permeance(materials, thickness, gas, T23, 0.9, 0.3))
        after = float(permeance(closed, gauge, gas, T23, 0.9, 0.3))
        assert 0.0 <= after < 1e-12 * before


@given(wall, kelvin, activity, activity)
@settings(deadline=None)
def test_the_same_water_crosses_every_layer(layers: Layers, t: float, inside: float, outside: float) -> None:
    materials, thickness = built(layers)
    assume(abs(inside - outside) > 1e-3)
    profile = humidity_profile(materials, thickness, t, inside, outside)
    assert profile.faces[0] == inside
    assert profile.faces[-1] == pytest.approx(outside, abs=1e-12)
    for i, (material, gauge) in enumerate(zip(materials, thickness, strict=True)):
        law = material.water_law()
        own = (
            float(law.factor(t))
            / gauge
            * (law.potential(profile.faces[i]) - law.potential(profile.faces[i + 1]))
        )
        # a thin layer of high permeability has little of the drop: rounding of the faces is all its error
        rounding = 4e-16 * law.slopes.max() * float(law.factor(t)) / gauge
        assert float(own) == pytest.approx(float(profile.flux), rel=1e-12, abs=4 * rounding)


@given(kelvin, activity, activity)
@settings(deadline=None, max_examples=40)
def test_mean_resistivity_is_the_integral_through_the_layer(t: float, first: float, second: float) -> None:
    assume(abs(first - second) > 1e-3)
    water, oxygen = WET.water_law(), WET.gas_law("O2")
    low, high = sorted((first, second))
    kinks = [a for a in {*water.activity, *oxygen.activity} if low < a < high] or None
    top = quad(
        lambda a: float(water.slope_at(a)) / float(oxygen.at(t, a)),
        low,
        high,
        points=kinks,
        epsrel=1e-10,
        epsabs=0,
    )[0]
    bottom = float(water.potential(high) - water.potential(low))
    assert float(WET.mean_resistivity("O2", t, first, second)) == pytest.approx(top / bottom, rel=1e-5)


@pytest.mark.parametrize(
    ("inner", "outer", "expected"), [(20.0, 60.0, 0.875), (60.0, 20.0, 0.625), (40.0, 40.0, 0.75)]
)
def test_a_thin_barrier_sees_the_humidity_at_its_place(inner: float, outer: float, expected: float) -> None:
    # conference abstract (TAPPI 18IFP28, 2018): a centred barrier sees the midpoint, an offset one does not
    materials, thickness = built([(0, inner), (2, 1e-4), (0, outer)])
    faces = humidity_profile(materials, thickness, T23, 1.0, 0.5).faces
    assert 0.5 * (faces[1] + faces[2]) == pytest.approx(expected, abs=1e-4)


@given(wall, kelvin, activity, activity, st.floats(0.0, 0.3))
@settings(deadline=None)
def test_a_moister_room_never_makes_the_wall_tighter(
    layers: Layers, t: float, inside: float, outside: float, more: float
) -> None:
    # every law of these materials rises with humidity
    for gas in GASES:
        dry = through(layers, gas, t, inside, min(outside, 1 - more))
        assert through(layers, gas, t, inside, min(outside, 1 - more) + more) >= dry * (1 - 1e-6)


@given(wall, kelvin, activity, activity)
@settings(deadline=None)
def test_resistances_of_the_layers_add_up_and_none_is_negative(
    layers: Layers, t: float, inside: float, outside: float
) -> None:
    materials, thickness = built(layers)
    faces = humidity_profile(materials, thickness, t, inside, outside).faces
    for gas in GASES:
        parts = layer_resistances(materials, thickness, gas, t, faces)
        assert np.all(parts > 0) and np.all(parts < BLOCKED)
        assert 1.0 / parts.sum() == pytest.approx(through(layers, gas, t, inside, outside), rel=1e-12)
        # the best layer alone is a bound that the wall always keeps
        assert through(layers, gas, t, inside, outside) <= (1.0 / parts.max()) * (1 + 1e-12)
