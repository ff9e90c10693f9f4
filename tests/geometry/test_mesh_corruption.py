"""Files of three packages, damaged in every way that copying, exporting and transferring files can: none is
taken silently. Each is refused in a sentence, or comes back with the fault among its repairs, notes or
warnings, or has the area and the volume of the sound mesh to 1e-6.

What the eye cannot see in the file either stays unseen: a flipped bit that moves one vertex by little in a
format without a checksum. The last test sets its limit."""

from __future__ import annotations

import re
import warnings

import mesh_damage as damage
import numpy as np
import pytest
import trimesh

from optimizer.errors import GeometryError
from optimizer.geometry.mesh import load
from optimizer.geometry.mesh.spikes import needles

#: Relative change of area and volume that is none.
SAME = 1e-6


@pytest.fixture(scope="module")
def cad():
    """The three packages by a general CAD modeller."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the modeller's own dependencies
        return damage.by_cad(pytest.importorskip("cadquery"))


@pytest.fixture(scope="module")
def noisy():
    return damage.by_trimesh()


@pytest.fixture
def loaded(tmp_path):
    """The mesh of a file with the given ending and content."""

    def do(ending, data, unit):
        path = tmp_path / f"package.{ending}"
        path.write_bytes(data)
        return load(path, unit)

    return do


def said(mesh):
    """What is told about a mesh, without the numbers in it: these change with every measure."""
    return {re.sub(r"\d[\d.e-]*", "#", text) for text in (*mesh.repairs, *mesh.notes, *mesh.warnings)}


def change(mesh, sound):
    """Largest relative change of area and volume."""
    was, now = (0.0 if m.volume is None else m.volume for m in (sound, mesh))
    return max(abs(mesh.facts.area / sound.facts.area - 1), abs(now - was) / max(was, 1e-12))


def outcome(read, sound):
    """refused, told, harmless or silent."""
    try:
        mesh = read()
    except GeometryError as error:
        assert error.hint
        assert error.field in ("mesh", "unit")
        assert "\n" not in str(error)
        assert str(error).startswith("package.")
        return "refused"
    if said(mesh) - said(sound):
        return "told"
    return "harmless" if change(mesh, sound) <= SAME else "silent"


def campaign(seeds, packages, loaded):
    """How many damaged files came out how."""
    sound = {
        (name, kind): loaded(*damage.written(*mesh, kind), damage.unit(kind))
        for name, mesh in packages.items()
        for kind in damage.KINDS
    }
    assert not any(mesh.warnings or mesh.repairs for mesh in sound.values())
    counts = {"refused": 0, "told": 0, "harmless": 0}
    for seed in seeds:
        name, kind, fault, ending, data = damage.damaged(seed, packages)
        unit = 1e-3 if fault == "other_unit" else damage.unit(kind)
        found = outcome(lambda e=ending, d=data, u=unit: loaded(e, d, u), sound[name, kind])
        assert found in counts, f"file {seed}: {fault} in the {kind} of a {name} was taken silently"
        counts[found] += 1
    return counts


def test_no_damage_to_the_file_of_a_measured_package_is_taken_silently(noisy, loaded):
    counts = campaign(range(69), noisy, loaded)
    # the faults do damage: hardly any of them leaves the mesh as it was
    assert counts["harmless"] <= 7


@pytest.mark.slow
def test_no_damage_to_the_file_of_a_cad_package_is_taken_silently(cad, loaded):
    counts = campaign(range(1000, 1200), cad, loaded)
    assert sum(counts.values()) == 200
    assert counts["harmless"] <= 20


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ply", "off", "glb", "obj"])
def test_flipped_bit_that_is_not_told_changes_area_and_volume_by_less_than_half_a_percent(cad, loaded, kind):
    # largest seen in 3600 flips of other seeds: 0.2 %, and 36 between 1e-6 and 0.1 %
    rng = np.random.default_rng(202)
    unseen = 0
    for mesh in cad.values():
        ending, data = damage.written(*mesh, kind)
        sound = loaded(ending, data, damage.unit(kind))
        for _ in range(60):
            flipped = bytearray(data)
            flipped[rng.integers(len(data))] ^= 1 << rng.integers(8)
            try:
                found = loaded(ending, bytes(flipped), damage.unit(kind))
            except GeometryError:
                continue
            if not said(found) - said(sound):
                assert change(found, sound) < 5e-3
                unseen += change(found, sound) > SAME
    assert unseen <= 18  # of 180


# --- vertices that stand out

SHAPES = {
    "box": trimesh.creation.box((100, 80, 60)).subdivide().subdivide(),
    "cylinder": trimesh.creation.cylinder(30, 100, sections=64),
    "sphere": trimesh.creation.icosphere(3, 40),
    "coarse sphere": trimesh.creation.icosphere(2, 40),
    "cone": trimesh.creation.cone(40, 60, sections=64),
    "ring": trimesh.creation.annulus(30, 31, 80, sections=64),
    "torus": trimesh.creation.torus(40, 12),
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_no_vertex_of_a_sound_shape_stands_out(shape):
    assert needles(np.array(shape.vertices), np.array(shape.faces)).tolist() == []


@pytest.mark.parametrize("name", ["sphere", "torus"])
def test_vertex_moved_so_that_the_area_changes_by_two_percent_stands_out(name):
    shape = SHAPES[name]
    rng = np.random.default_rng(11)
    tried = 0
    for _ in range(200):
        moved = np.array(shape.vertices)
        which = rng.integers(len(moved))
        moved[which] += rng.normal(size=3) * 10 ** rng.uniform(0, 2)
        if abs(trimesh.Trimesh(moved, shape.faces, process=False).area / shape.area - 1) > 0.02:
            tried += 1
            found = needles(moved, np.array(shape.faces))
            beside = np.unique(shape.faces[(shape.faces == which).any(axis=1)])  # and itself
            assert len(found)
            assert np.isin(found, beside).all()
    assert tried > 20


def test_vertex_of_an_open_mouth_moved_along_it_stands_out():
    angles = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    ring = np.stack([30 * np.cos(angles), 30 * np.sin(angles), np.zeros(64)], axis=1)
    points = np.vstack([ring, ring + [0, 0, 80]])
    here = np.arange(64)
    there = (here + 1) % 64
    faces = np.vstack([np.stack([here, there, there + 64], 1), np.stack([here, there + 64, here + 64], 1)])
    assert needles(points, faces).tolist() == []
    points[70, :2] = 5, 5
    assert 70 in needles(points, faces)
