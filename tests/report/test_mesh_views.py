"""Where the gas passes a mesh part: faces against closed forms and against the prediction of the part.

Permeation through a plane layer: flux = P / thickness (Fick's law with Henry's law; ASTM D1434 defines the
permeability so). All projects are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

import optimizer
from optimizer.project.mesh_faces import mesh_faces
from optimizer.report.colours import SEQUENCE
from optimizer.report.figures.mesh_drawn import MOST_FACES, view_of
from optimizer.report.figures.meshes import common_span, local_rates, mesh_views, region_views
from optimizer.report.figures.model import MeshView
from optimizer.results import OuterPackAnswer, PredictResult
from optimizer.units.systems import SI, US

EXAMPLES = Path(__file__).parents[2] / "examples"
PROJECT = """\
format: 1
title: Invented can
materials:
  - name: plain stuff
    density: 1000 kg/m3
    permeability:
      - {gas: O2,  value: "100 cm3*mm/(m2*day*atm)", temperature: 23 degC, humidity: 0 %}
      - {gas: H2O, value: "0.5 g*mm/(m2*day)", temperature: 23 degC, humidity: 90 %}
product:
  mass: 200 g
  volume: 250 mL
  water_activity: 0.5
  headspace: {volume: 20 mL, gas: {N2: 100 %}}
  limits: {headspace_oxygen: 5 %}
package:
  parts:
    can: {mesh: can.stl, unit: mm, wall: side, up: z, dimensions: middle KEYS}
    lid: {shape: disc, diameter: 60 mm, wall: side}
walls:
  side: {layers: [{material: plain stuff, thickness: 300 um}, {material: plain stuff, thickness: 100 um}]}
wall: steady
storage:
  - {name: cold, duration: 1 month, temperature: 5 degC, humidity: 50 %}
  - {name: shelf, duration: 6 months, temperature: 23 degC, humidity: 50 %}
target: {shelf_life: 6 months}
"""
#: cm3(STP)/(m2*day*atm) of 100 cm3 mm/(m2 day atm) through 0.4 mm.
NOMINAL = 250.0
HEIGHT = 100.0
LINEAR = ", thickness: {heights: [[0 mm, 200 um], [100 mm, 600 um]]}"


def tube() -> Any:
    """A round tube of 60 mm and 100 mm height without ends, in rings of 1 mm."""
    turn = 2 * np.pi * np.arange(96) / 96
    rings = np.arange(101)
    ring = np.stack([30 * np.cos(turn), 30 * np.sin(turn)], axis=1)
    vertices = np.concatenate([np.column_stack([ring, np.full(96, float(z))]) for z in rings])
    low = (np.arange(100)[:, None] * 96 + np.arange(96)).reshape(-1)
    right = (np.arange(100)[:, None] * 96 + (np.arange(96) + 1) % 96).reshape(-1)
    faces = [np.stack([low, right, right + 96], 1), np.stack([low, right + 96, low + 96], 1)]
    return trimesh.Trimesh(vertices, np.concatenate(faces), process=False)


def seen(folder: Path, keys: str = "", units: Any = SI, **changes: Any) -> tuple[MeshView, PredictResult]:
    tube().export(folder / "can.stl")
    (folder / "project.yaml").write_text(PROJECT.replace(" KEYS", keys), "utf-8")
    project = optimizer.load_project(folder / "project.yaml")
    result = replace(optimizer.predict(project), **changes)
    (view,) = mesh_views(project, result, units)
    return view, result


def areas(view: MeshView) -> np.ndarray:
    """Of the faces [m2]."""
    a, b, c = (view.vertices[view.faces[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2e6)


def part_of(result: PredictResult, name: str, gas: str, stage: str) -> float:
    return next(x.value for x in result.transmission if (x.part, x.gas, x.stage) == (name, gas, stage))


# -- values --------------------------------------------------------------------------------------------------


def test_a_wall_of_even_thickness_lets_through_permeability_over_thickness_everywhere(tmp_path: Path) -> None:
    view, _ = seen(tmp_path)
    assert view.value == pytest.approx(np.full(len(view.faces), NOMINAL), rel=1e-6)
    assert "250 all over" in view.description and "during shelf" in view.description


def test_half_the_thickness_lets_twice_as_much_through(tmp_path: Path) -> None:
    view, _ = seen(tmp_path, ", regions: {low: {below: 20 mm, thickness_ratio: 0.5}}")
    height = view.vertices[view.faces][:, :, 2].mean(axis=1)
    # thinning gives the faces at the border the mean of what is round them
    assert view.value[height < 16] == pytest.approx(2 * NOMINAL, rel=1e-6)
    assert view.value[height > 24] == pytest.approx(NOMINAL, rel=1e-6)
    assert "low 500 all over" in view.description


def test_a_wall_that_thickens_evenly_lets_through_the_logarithmic_mean(tmp_path: Path) -> None:
    """Mean of 1/t for t from 0.2 to 0.6 mm is ln(0.6/0.2) / 0.4 (an integral)."""
    view, _ = seen(tmp_path, LINEAR)
    mean = float((view.value * areas(view)).sum() / areas(view).sum())
    assert mean == pytest.approx(100 * math.log(3) / 0.4, rel=2e-3)
    assert np.nanmax(view.value) == pytest.approx(100 / 0.2, rel=0.03)
    assert np.nanmin(view.value) == pytest.approx(100 / 0.6, rel=0.03)


@pytest.mark.parametrize("keys", ["", LINEAR, ", thickness_ratio: 1.5"], ids=["even", "linear", "thicker"])
def test_the_faces_together_let_through_what_the_prediction_says_of_the_part(
    tmp_path: Path, keys: str
) -> None:
    """The mesh is the middle of the wall here, so that its faces are the area of the prediction."""
    view, result = seen(tmp_path, keys)
    assert len(view.faces) <= MOST_FACES
    told = part_of(result, "can", "O2", "shelf")
    assert float((view.value * areas(view)).sum()) == pytest.approx(told, rel=0.01)


def test_the_faces_of_a_measured_bottle_let_through_what_the_prediction_says(tmp_path: Path) -> None:
    """Exact with the mid-wall areas of the faces. The faces that are drawn are those of the outside, which is
    larger by half a wall thickness all round: 0.6 % on the body (35 mm, 0.36 mm), 6 % at the thick neck."""
    text = (EXAMPLES / "lightweight_bottle/after.yaml").read_text("utf-8")
    start, end = text.index("  labels:"), text.index("walls:\n")
    folder = EXAMPLES / "lightweight_bottle"
    text = text[:start] + text[end:]
    for name in ("bottle.stl", "thickness-after.csv"):
        text = text.replace(name, str(folder / name))
    (tmp_path / "project.yaml").write_text(text, "utf-8")
    project = optimizer.load_project(tmp_path / "project.yaml")
    result = optimizer.predict(project)
    (part,) = mesh_faces(project)
    films = {x.wall: x.value for x in result.film_transmission if (x.gas, x.stage) == ("O2", "shop")}
    rate = local_rates(part, films)
    for i, name in enumerate(part.parts):
        own = part.owner == i
        told = part_of(result, name, "O2", "shop")
        assert float((rate * part.area)[own].sum()) == pytest.approx(told, rel=1e-6), name
    (view,) = mesh_views(project, result)
    total = sum(part_of(result, name, "O2", "shop") for name in part.parts)
    drawn = float(np.nansum(view.value * areas(view)))
    assert drawn == pytest.approx(total, rel=0.02)
    assert "label" not in view.description


def test_a_label_is_said_to_be_left_out() -> None:
    project = optimizer.load_project(EXAMPLES / "lightweight_bottle/after.yaml")
    (view,) = mesh_views(project, optimizer.predict(project))
    assert view.note.startswith("The label wrap on 55 % of bottle is not in the view")
    assert view.note in view.description


def test_an_outer_pack_is_said_to_be_left_out(tmp_path: Path) -> None:
    """The outer pack of the answer is all that the view asks for; its numbers are invented."""
    alone, _ = seen(tmp_path)
    around = OuterPackAnswer(12, 500.0, "film", 30.0, 2.5, None, None, "EUR", 180.0, 1.0, 50.0)
    view, _ = seen(tmp_path, outer_pack=around)
    assert alone.note == ""
    assert view.note == "The outer pack is not in the view: shown is the wall of the package in it."
    assert view.note in view.description


def test_faces_under_a_seal_have_no_value(tmp_path: Path) -> None:
    view, _ = seen(tmp_path, ", regions: {rim: {above: 90 mm, sealed: true}}")
    height = view.vertices[view.faces][:, :, 2].mean(axis=1)
    assert np.isnan(view.value[height > 94]).all()
    assert view.value[height < 86] == pytest.approx(NOMINAL, rel=1e-6)
    assert "rim lies under a seal and lets nothing through" in view.description


# -- gas, stage and unit -------------------------------------------------------------------------------------


def test_the_gas_that_ends_the_life_is_shown_in_its_own_unit(tmp_path: Path) -> None:
    water, result = seen(tmp_path, limited_by="water_gain")
    assert water.legend == "H2O through the wall, g/(m2*day)"
    film = [x for x in result.film_transmission if x.gas == "H2O" and x.wall == "side"]
    assert np.nanmax(water.value) in [pytest.approx(x.value, rel=1e-6) for x in film]
    oxygen, _ = seen(tmp_path, limited_by=None)
    assert oxygen.legend == "O2 through the wall, cm3(STP)/(m2*day*atm)"


def test_in_units_of_the_united_states_the_values_are_those_of_a_hundred_square_inches(
    tmp_path: Path,
) -> None:
    """1 in is 0.0254 m by definition (International Yard and Pound, 1959)."""
    view, _ = seen(tmp_path, units=US)
    assert view.value == pytest.approx(np.full(len(view.faces), NOMINAL * 100 * 0.0254**2), rel=1e-6)
    assert view.legend == "O2 through the wall, cm3(STP)/(100 in2*day*atm)"
    assert "2.362 in" in view.still  # 60 mm


def test_a_package_without_a_mesh_has_no_view(tmp_path: Path) -> None:
    drawn = "can: {mesh: can.stl, unit: mm, wall: side, up: z, dimensions: middle KEYS}"
    assert drawn in PROJECT
    plain = PROJECT.replace(drawn, "can: {area: 200 cm2, wall: side}")
    (tmp_path / "project.yaml").write_text(plain, "utf-8")
    project = optimizer.load_project(tmp_path / "project.yaml")
    result = optimizer.predict(project)
    assert mesh_views(project, result) == () and region_views(project) == ()


# -- what is drawn -------------------------------------------------------------------------------------------


def test_a_fine_mesh_is_thinned_and_keeps_its_area_and_its_mean() -> None:
    """Area of a ball: 4 pi r2."""
    from .test_picture import UP_Z, solid

    mesh = solid(trimesh.creation.icosphere(6, 40))
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    value = 3.0 + 50.0 * centre[:, 2]
    view = view_of("ball", "", mesh, UP_Z, value, "value, 1", SI)
    assert len(mesh.faces) > 8 * MOST_FACES and 2000 < len(view.faces) <= MOST_FACES
    assert areas(view).sum() == pytest.approx(4e-6 * math.pi * 40**2, rel=0.02)
    mean = float((view.value * areas(view)).sum() / areas(view).sum())
    assert mean == pytest.approx(3.0, abs=0.02)
    assert len(view.value) == len(view.faces) and view.faces.max() == len(view.vertices) - 1


def test_a_coarse_mesh_keeps_every_face(tmp_path: Path) -> None:
    from .test_picture import UP_Z, cup

    mesh = cup()
    view = view_of("cup", "", mesh, UP_Z, np.full(len(mesh.faces), 2.0), "value, 1", SI)
    assert len(view.faces) == len(mesh.faces)
    assert np.ptp(view.vertices, axis=0) == pytest.approx([60, 60, 100])


def test_the_still_says_unit_and_range_and_is_an_svg(tmp_path: Path) -> None:
    view, _ = seen(tmp_path, LINEAR)
    root = ElementTree.fromstring(view.still)
    texts = ["".join(x.itertext()) for x in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "O2 through the wall" in texts and "cm3(STP)/(m2*day*atm)" in texts
    assert any(t.startswith("\u2264") for t in texts) and any(t.startswith("\u2265") for t in texts)


def test_each_region_has_its_colour_and_its_area_in_words(tmp_path: Path) -> None:
    seen(tmp_path, ", regions: {low: {below: 20 mm}}")
    (view,) = region_views(optimizer.load_project(tmp_path / "project.yaml"))
    around = 2 * 96 * 30 * math.sin(math.pi / 96) / 10  # perimeter of the polygon [cm]
    assert f"can {around * 8:.0f} and low {around * 2:.1f}" in view.description
    texts = ["".join(x.itertext()) for x in ElementTree.fromstring(view.svg).iter()]
    assert "can" in texts and "low" in texts


# -- colours -------------------------------------------------------------------------------------------------

#: How those see who lack one kind of cones, in linear RGB (F. Vienot, H. Brettel and J. Mollon, Digital video
#: colourmaps for checking the legibility of displays by dichromats, 1999; the numbers from memory).
SIGHT = {
    "all cones": np.eye(3),
    "no red cones": np.array([[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]]),
    "no green cones": np.array([[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]]),
}


@pytest.mark.parametrize("sight", SIGHT)
def test_every_step_up_is_darker_whatever_cones_one_has(sight: str) -> None:
    """Relative luminance as WCAG 2.2 defines it."""
    rgb = np.array([[int(c[k : k + 2], 16) for k in (1, 3, 5)] for c in SEQUENCE]) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    luminance = np.clip(linear @ SIGHT[sight].T, 0, 1) @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(luminance) < 0).all()
    steps = (luminance[:-1] + 0.05) / (luminance[1:] + 0.05)
    assert steps.min() > 1.2 and steps.prod() > 7


def test_rounding_is_no_pattern_on_a_mesh_of_one_value() -> None:
    """Values a rounding apart fell into two colours, as speckles all over an even wall."""
    from .test_picture import UP_Z, cup

    mesh = cup()
    value = np.full(len(mesh.faces), 4.25)
    value[::2] *= 1.0 + 1e-12
    view = view_of("cup", "", mesh, UP_Z, value, "value, 1", SI)
    assert len(set(view.value.tolist())) == 1


@pytest.mark.slow
def test_two_packages_on_one_scale_have_colours_that_can_be_compared() -> None:
    files = (EXAMPLES / "lightweight_bottle" / name for name in ("before.yaml", "after.yaml"))
    packages = [(p, optimizer.predict(p)) for p in map(optimizer.load_project, files)]
    span = common_span(packages)
    assert span is not None
    before, after = (mesh_views(p, r, span=span)[0] for p, r in packages)
    assert before.span == after.span == span
    # the lighter bottle lets more through at its thin places: the scale must hold them
    assert span[1] > np.nanpercentile(before.value, 99.0)
    assert span[1] >= 0.95 * np.nanpercentile(after.value, 99.0)
