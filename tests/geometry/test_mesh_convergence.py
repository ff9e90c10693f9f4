"""Area, volume and mid-wall area of faceted bodies against closed forms, with the order of their error."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from mesh_builders import box, line, revolved, sphere
from mesh_raw import cleaned

from optimizer.geometry.mesh import whole_surface

PI = math.pi
WALL = 0.01


def torus(ring, radius, n):
    turn = np.linspace(0, 2 * PI, n + 1)[:-1]
    return revolved(np.stack([ring + radius * np.cos(turn), radius * np.sin(turn)], 1), 2 * n, closed=True)


#: Name, mesh of n, and closed forms for a wall of t whose outside is given: area of the given surface, volume
#: inside it, area of the middle of the wall, one half of t inward. Guldin's rules for the torus; the frustum
#: is cut square to its wall, as pi (R + r) L at the middle radii with the slant height L unchanged.
SLANT = math.hypot(0.2, 0.5)
BODIES = {
    "sphere": (
        lambda n: sphere(0.5, n, 2 * n),
        PI,
        PI / 6,
        lambda t: 4 * PI * (0.5 - t / 2) ** 2,
    ),
    "cylinder": (
        lambda n: revolved(line((0.3, 0), (0.3, 0.8), n), n),
        2 * PI * 0.3 * 0.8,
        PI * 0.09 * 0.8,
        lambda t: 2 * PI * (0.3 - t / 2) * 0.8,
    ),
    "torus": (
        lambda n: torus(0.5, 0.2, n),
        4 * PI**2 * 0.1,
        2 * PI**2 * 0.5 * 0.04,
        lambda t: 4 * PI**2 * 0.5 * (0.2 - t / 2),
    ),
    "frustum": (
        lambda n: revolved(line((0.4, 0), (0.2, 0.5), n), n),
        PI * 0.6 * SLANT,
        PI * 0.5 / 3 * (0.16 + 0.08 + 0.04),
        lambda t: PI * (0.6 - t * 0.5 / SLANT) * SLANT,
    ),
}


@pytest.mark.parametrize("name", list(BODIES))
def test_errors_fall_with_the_square_of_the_facets(name):
    make, area, volume, middle = BODIES[name]

    def errors(n):
        mesh = cleaned(make(n))
        found = whole_surface(mesh, "outside").area(WALL)
        return abs(mesh.facts.area - area), abs(mesh.volume - volume), abs(found - middle(WALL))

    coarse, fine = errors(48), errors(96)
    for before, after in zip(coarse, fine, strict=True):
        assert math.log2(before / after) == pytest.approx(2.0, abs=0.1)
    assert fine[0] < 2e-3 * area and fine[1] < 3e-3 * volume and fine[2] < 2e-3 * area


@pytest.mark.parametrize("name", list(BODIES))
def test_each_part_of_a_surface_moves_as_its_own_curvature_says(name):
    # slope per area is twice the mean curvature, curvature per area the Gaussian one, averaged over a ring
    mesh = cleaned(BODIES[name][0](96))
    height = mesh.vertices[mesh.faces].mean(axis=1)[:, 2]
    radius = np.hypot(*mesh.vertices[mesh.faces].mean(axis=1)[:, :2].T)
    low, high = height.min(), height.max()
    band = (height > low + 0.3 * (high - low)) & (height < low + 0.6 * (high - low))
    if name == "torus":
        band &= radius > 0.5
    area = mesh.area[band]
    twice_mean = {
        "sphere": 2 / 0.5,
        "cylinder": 1 / 0.3,
        # 1/r + cos v / (R + r cos v)
        "torus": float(np.average(1 / 0.2 + (1 - 0.5 / radius[band]) / 0.2, weights=area)),
        # cosine of the slope over the radius
        "frustum": float(np.average(0.5 / SLANT / radius[band], weights=area)),
    }[name]
    assert mesh.slope[band].sum() / area.sum() == pytest.approx(twice_mean, rel=0.01)
    gauss = {
        "sphere": 4.0,
        "cylinder": 0.0,
        "torus": float(np.average((1 - 0.5 / radius[band]) / 0.2 / 0.2, weights=area)),
        "frustum": 0.0,
    }[name]
    assert mesh.curvature[band].sum() / area.sum() == pytest.approx(gauss, rel=0.01, abs=1e-9)


@pytest.mark.parametrize(
    ("mesh", "euler"),
    [
        (trimesh.creation.icosphere(3), 2),
        (trimesh.creation.box((3, 2, 1)), 2),
        (trimesh.creation.torus(1.0, 0.3, 24, 24), 0),
        (trimesh.creation.annulus(0.5, 1.0, 1.0, sections=24), 0),
    ],
    ids=["ball", "box", "torus", "ring"],
)
def test_angle_defects_of_a_closed_body_add_up_to_its_euler_number(mesh, euler):
    # Descartes: 2 pi chi; chi from the reference library
    assert mesh.euler_number == euler
    assert cleaned((mesh.vertices, mesh.faces)).curvature.sum() == pytest.approx(2 * PI * euler, abs=1e-9)


def test_a_box_shares_its_bending_by_face():
    # Steiner: each edge of length a gives a pi/4 to both its faces, each corner pi/2 to its three
    mesh = cleaned(box((0, 0, 0), (3, 2, 1)))
    normal = np.abs(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).face_normals)
    for axis, around in ((0, 2 * (2 + 1)), (1, 2 * (3 + 1)), (2, 2 * (3 + 2))):
        side = normal[:, axis] > 0.5
        assert mesh.slope[side].sum() == pytest.approx(2 * around * PI / 4, rel=1e-12)
        assert mesh.curvature[side].sum() == pytest.approx(2 * 4 * PI / 6, rel=1e-12)


@pytest.mark.parametrize("name", list(BODIES))
def test_area_is_that_of_the_reference_library(name):
    shell = BODIES[name][0](24)
    mesh = cleaned(shell)
    reference = trimesh.Trimesh(*shell, process=False)
    assert mesh.area == pytest.approx(reference.area_faces, rel=1e-9)
    if reference.is_watertight:
        assert mesh.volume == pytest.approx(reference.volume, rel=1e-12)
        # it takes small angles from their cosines, so only to 1e-7
        assert mesh.slope.sum() == pytest.approx(2 * reference.integral_mean_curvature, rel=1e-7)
