"""Transmission through uneven walls, a sum of area over local thickness, against finite elements.

The sum takes gas to cross the wall square to it. How far that is true is told by two principles from which
bounds on both sides follow, without any approximation (J. C. Maxwell, Treatise, 1873, arts. 98 to 102; T. J.
Higgins; from memory): the conductance of a wall on a flat face, t(x) thick, is at least that of straight
fluxes, the integral of 1 / t, and at most that of the field y / t, the integral of (1 + t'**2 / 3) / t. The
difference is the physical error of the sum: it is always on the side of too little and of the second order in
the slope t'. What is left is numeric and goes to zero with the pieces or faces.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from shelflife.builders import T23, plain

from optimizer.geometry.bands import bands_of
from optimizer.geometry.fields import field_surface
from optimizer.geometry.local import by_height
from optimizer.geometry.pieces import Pieces
from optimizer.physics.laminate import permeance
from optimizer.shelflife.package import WallPart

pytest.importorskip("skfem")
pytest.importorskip("trimesh")

from oracles.fem import section_conductance, solid_conductance
from oracles.sections import (
    BOTTLE,
    HEEL,
    MM,
    NOMINAL,
    Contour,
    as_function,
    conductance,
    hexahedra,
    measured,
    shells,
)

Array = NDArray[np.float64]
Thickness = Callable[[Array], Array]

#: Coefficient of variation of a wavy wall, its mean thickness and how long the wall is [mm].
CV, MEAN, LONG = 0.2, 0.4, 60.0
PIECES = 20000


def wave(length: float) -> tuple[Thickness, Thickness]:
    """Thickness [mm] and its slope, waves of a length [mm] that begin and end at their crests."""
    w = 2 * math.pi / length
    return (
        lambda x: MEAN * (1 + CV * math.sqrt(2) * np.cos(w * x)),
        lambda x: -MEAN * CV * math.sqrt(2) * w * np.sin(w * x),
    )


def ramp(length: float, thick: float = 1.5, thin: float = 0.4) -> tuple[Thickness, Thickness]:
    """From thick to thin in the middle of the wall over a length [mm], by half a cosine."""

    def phase(x: Array) -> Array:
        return math.pi * np.clip((x - LONG / 2) / length + 0.5, 0.0, 1.0)

    half = (thick - thin) / 2
    return (
        lambda x: thin + half * (1 + np.cos(phase(x))),
        lambda x: -half * np.sin(phase(x)) * math.pi / length,
    )


def flat(count: int = PIECES) -> Pieces:
    """A flat wall LONG high and 1 m wide, in strips; SI."""
    height = LONG / MM * (np.arange(count) + 0.5) / count
    zero = np.zeros(count)
    return Pieces(np.full(count, LONG / MM / count), zero, zero, height, zero, zero)


def through(thickness: Thickness, pieces: Pieces) -> float:
    """The project's sum of area over thickness [mm], of a fine table by height."""
    rows = np.linspace(0.0, LONG, PIECES + 1)
    local = by_height(pieces, rows / MM, thickness(rows) / MM)
    return conductance(field_surface(pieces, local, NOMINAL, volume=None))


def excess(thickness: Thickness, slope: Thickness) -> float:
    """Integral of t'**2 / (3 t): the most that the sum can miss, per unit of its width."""
    x = LONG * (np.arange(PIECES) + 0.5) / PIECES
    return float(np.mean(slope(x) ** 2 / thickness(x)) / 3 * LONG)


def breaks(steps: int) -> Array:
    """Borders of elements along the wall, with the ends of the ramps among them."""
    return np.linspace(0.0, LONG, 60 * steps + 1)


# -- flat walls ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [60.0, 20.0, 10.0, 5.0])
def test_a_panel_with_waves_of_a_fifth_lets_through_the_sum_and_at_most_the_slope_more(length: float) -> None:
    """Physical error: 2.3e-5 for waves of 60 mm, 3.2e-3 for waves of 5 mm, from t'**2 / 3 in the mean.
    Numeric: elements 1e-6 of the whole, strips 1e-8."""
    thickness, slope = wave(length)
    total, more = through(thickness, flat()), MM * excess(thickness, slope)
    coarse, fine = (MM * section_conductance(as_function(thickness), breaks(n)) for n in (4, 8))
    assert coarse == pytest.approx(fine, rel=2e-6)
    assert total * (1 - 1e-6) < fine < (total + more) * (1 + 1e-6)
    # the bound is the error itself, up to the square of thickness over wave length
    assert (fine - total) / more == pytest.approx(1.0, abs=5e-3 + 4 * (MEAN / length) ** 2)


def test_the_error_of_the_sum_is_a_third_of_the_square_of_the_slope_in_the_limit() -> None:
    share = []
    for length in (20.0, 10.0, 5.0):
        thickness, slope = wave(length)
        fine = MM * section_conductance(as_function(thickness), breaks(4))
        share.append(1 - (fine - through(thickness, flat())) / (MM * excess(thickness, slope)))
    # what is left of it falls with the square of the slope
    assert share[0] < share[1] / 3 < share[2] / 9
    assert 0 < share[0] < 0.01


@pytest.mark.parametrize(("length", "error"), [(30.0, 2.5e-4), (10.0, 7e-4), (4.0, 1.6e-3)])
def test_from_a_thick_base_to_a_thin_wall_the_sum_misses_less_than_the_slope_says(
    length: float, error: float
) -> None:
    """From 1.5 to 0.4 mm within ``length``. The error is physical and local to the ramp: over 4 mm its
    slope is 0.43 at most, and of the 60 mm of wall the sum misses 0.14 %."""
    thickness, slope = ramp(length)
    total, more = through(thickness, flat()), MM * excess(thickness, slope)
    fine = MM * section_conductance(as_function(thickness), breaks(4), np.linspace(0, 1, 5))
    assert total * (1 - 1e-6) < fine < (total + more) * (1 + 1e-6)
    assert 0 < fine / total - 1 < error


@pytest.mark.parametrize("inner", [1.0, 20.0])
def test_a_laminate_scaled_as_a_whole_lets_through_the_sum_and_at_most_the_slope_more(inner: float) -> None:
    """Layers of 30 and 70 % whose permeabilities differ twentyfold, either way round; the same layer shares
    everywhere. The upper bound is that of the field that each section has on its own: the mean of e**2 over
    the resistance in place of 1 / 3."""
    k, share = np.array([inner, 21.0 - inner]), np.array([0.3, 0.7])
    materials = [plain(f"layer {x}", oxygen=x) for x in k]
    thickness, slope = wave(10.0)
    rows = np.linspace(0.0, LONG, PIECES + 1)
    local = by_height(flat(), rows / MM, thickness(rows) / MM)
    part = WallPart("panel", "wall", field_surface(flat(), local, NOMINAL, volume=None).patches)
    unit = float(permeance([materials[0]], [1.0], "O2", T23, 0.0, 0.0)) / k[0]
    layers = float(permeance(materials, list(share * NOMINAL), "O2", T23, 0.0, 0.0))
    total = MM * part.permeation_area(NOMINAL) * layers / unit
    grid = np.array([0.0, 0.15, 0.3, 0.65, 1.0])
    fine = MM * section_conductance(as_function(thickness), breaks(4), grid, np.repeat(k, 2))
    ends = np.array([0.0, 0.3, 1.0])
    weight = float((np.diff(ends**3) / 3 / k).sum() / (share / k).sum())
    more = MM * excess(thickness, slope) * 3 * weight / float((share / k).sum())
    assert total * (1 - 1e-6) < fine < (total + more) * (1 + 1e-6)
    assert fine > total + more / 2


# -- bodies of revolution ------------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [60.0, 20.0])
def test_a_round_panel_by_a_height_table_lets_through_what_its_section_does(length: float) -> None:
    """A tube of 30 mm outer radius. Physical errors: t'**2 / 3 as on a flat wall, and the middle area in
    place of the logarithmic mean, (t / R)**2 / 12 too much (2.4e-5 at most)."""
    thickness, slope = wave(length)
    pieces = bands_of("tube", {"diameter": 0.06, "length": LONG / MM}, "outside")
    assert pieces is not None
    total = through(thickness, pieces)
    fine = section_conductance(lambda s, e: (30.0 - (1 - e) * thickness(s), s), breaks(4), around=True)
    more = 2 * math.pi * 30.0 * excess(thickness, slope)
    round_it = (MEAN * (1 + CV * math.sqrt(2)) / 30.0) ** 2 / 12
    assert total * (1 - round_it - 2e-6) < fine < (total + more) * (1 + 2e-6)


@pytest.mark.parametrize(
    ("contour", "physical"), [(HEEL, 3e-4), (BOTTLE, 1.5e-4)], ids=["thick base and heel", "bottle"]
)
def test_a_round_body_measured_between_its_faces_lets_through_what_its_section_does(
    contour: Contour, physical: float, tmp_path: Path
) -> None:
    """The wall as a solid in an STL file, its thickness by rays.

    Physical error: of second order in thickness over radius and of fourth in the slope, for the rays allow
    for faces that are not parallel. Numeric: facets round the body, which let through (pi / n)**2 / 3 too
    much (2e-3 for 40, 5e-4 for 80), and along it; they fall with the square of the facets.
    """
    fine = section_conductance(contour.place, contour.along(2), np.linspace(0, 1, 5), around=True)
    coarse = section_conductance(contour.place, contour.along(1), around=True)
    assert coarse == pytest.approx(fine, rel=1e-5)
    one, two = (conductance(measured(tmp_path, contour.solid(n, 40 * n))) for n in (1, 2))
    assert two == pytest.approx(fine, rel=physical + (math.pi / 80) ** 2 / 3)
    limit = two + (two - one) / 3
    assert limit == pytest.approx(fine, rel=physical)
    assert abs(two - limit) < (math.pi / 80) ** 2 * fine


# -- a tray with thin corners, in three dimensions -----------------------------------------------------------


def tray(steps: int) -> float:
    """Conductance per unit permeability [mm] of the whole, by elements of straight edges."""
    return 8 * solid_conductance(*hexahedra(steps, 1))


@pytest.mark.slow
def test_a_tray_thinned_to_half_in_its_corners_lets_through_what_a_solid_of_elements_does(
    tmp_path: Path,
) -> None:
    """Doubly curved, in three dimensions, 0.5 mm thick and 0.25 mm in the corners. Physical error: 1.1e-4,
    from thickness over radius in the corners. Numeric: elements with straight edges converge with the square
    of their size, and Richardson's limit of the last two differs from that of the two before by less than
    1e-4; facets likewise."""
    six, twelve, more = (tray(n) for n in (6, 12, 24))
    solved = more + (more - twelve) / 3
    assert solved == pytest.approx(twelve + (twelve - six) / 3, rel=1e-4)
    assert 8 * solid_conductance(*hexahedra(12, 2)) == pytest.approx(twelve, rel=1e-6)
    one, two = (conductance(measured(tmp_path, shells(n))) for n in (24, 48))
    assert two == pytest.approx(solved, rel=3e-4)
    assert two + (two - one) / 3 == pytest.approx(solved, rel=2e-4)


def test_the_mean_thickness_of_a_tray_with_thin_corners_would_flatter_it(tmp_path: Path) -> None:
    surface = measured(tmp_path, shells(24))
    known = surface.unevenness
    assert known is not None
    area, held = (sum(p.area * p.ratio**k for p in surface.patches) for k in (0, 1))
    even = MM * area / (held / area * NOMINAL)
    assert 1 - even / conductance(surface) == pytest.approx(known.flattery, rel=1e-6)
    assert known.flattery > 5e-3
