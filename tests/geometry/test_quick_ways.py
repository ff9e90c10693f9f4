"""What large meshes take a quicker way for gives the same as the plain way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_builders import sphere, turned
from mesh_raw import cleaned

from optimizer.geometry.mesh import merging
from optimizer.geometry.mesh.casting import Scene
from optimizer.geometry.mesh.rays import between_faces
from optimizer.geometry.mesh.triangles import Edges
from optimizer.geometry.mesh.walls import _LOOKS

FACES = st.lists(st.permutations(range(5)).map(lambda p: p[:3]), min_size=1, max_size=6)
ROWS = st.lists(st.tuples(*[st.integers(0, 2)] * 3), min_size=1, max_size=12)


@settings(max_examples=200, deadline=None)
@given(FACES)
def test_a_face_listed_twice_is_never_passed_over(rows):
    faces = np.array(rows)
    twice = len({frozenset(row) for row in rows}) < len(rows)
    edges = Edges(faces)
    assert edges.may_repeat() or not twice
    if edges.uses.max() <= 2:
        assert edges.may_repeat() == twice
    assert (len(merging.repeats(faces).extra) > 0) == twice


@settings(max_examples=100, deadline=None)
@given(ROWS, st.booleans())
def test_equal_rows_are_grouped_by_their_first_whatever_their_keys(rows, mixed):
    with pytest.MonkeyPatch.context() as patch:
        if not mixed:  # then all rows have the same key
            patch.setattr(merging, "_MIX", np.zeros(3, dtype=np.uint64))
        first, number = merging.group_rows(np.array(rows, dtype=np.uint64))
    different = list(dict.fromkeys(rows))
    assert first.tolist() == [rows.index(row) for row in different]
    assert number.tolist() == [different.index(row) for row in rows]


@pytest.mark.parametrize("height", [3.0, 30.0])
def test_a_ray_that_is_followed_so_far_meets_all_that_is_nearer(height):
    square = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]])
    start, down = np.array([[0.5, 0.2, height]] * 2), np.array([[0.0, 0, -1]] * 2)
    hit, distance = Scene(square).first(start, down, reach=np.array([height, 2 * height]))
    assert (hit >= 0).all()
    assert distance == pytest.approx(height)


def test_two_spheres_of_many_faces_are_a_wall_as_thick_as_their_radii_differ():
    """Each has more faces than are asked which of the two lies inside the other."""
    outer, inner = sphere(0.05, 80, 150), sphere(0.049, 80, 150)
    for shells in ((outer, turned(inner)), (turned(inner), outer)):
        mesh = cleaned(*shells)
        assert mesh.kind == "walls"
        local = between_faces(mesh)
        assert len(local.thickness) > 2 * _LOOKS
        assert local.thickness == pytest.approx(0.001, rel=2e-3)
