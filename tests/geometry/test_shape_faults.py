"""What a shape refuses, how it says so, and what the registry tells about it."""

from __future__ import annotations

import inspect
import math

import pytest

from optimizer.errors import GeometryError
from optimizer.geometry import shapes
from optimizer.geometry.build import scaled
from optimizer.geometry.checks import each
from optimizer.geometry.surface import Surface

GOOD = {
    "length": 0.1,
    "area": 0.01,
    "ratio": 0.5,
    "table": [(0.0, 0.03), (0.1, 0.02)],
    "flag": True,
}


def required(name):
    return {key: GOOD[p.kind] for key, p in shapes.SHAPES[name].required.items()}


@pytest.mark.parametrize("name", shapes.SHAPES)
def test_registry_names_the_parameters_of_the_function(name):
    spec = shapes.SHAPES[name]
    signature = inspect.signature(spec.function).parameters
    without = {key for key, p in signature.items() if p.default is inspect.Parameter.empty}
    assert set(spec.required) == without
    assert set(spec.optional) == set(signature) - without - {"dimensions"}
    assert signature["dimensions"].default == "outside" == shapes.DIMENSIONS[0]
    assert set(spec.aliases.values()) <= set(spec.parameters)
    assert not set(spec.aliases) & set(spec.parameters)
    assert all(p.description for p in spec.parameters.values())


@pytest.mark.parametrize("name", shapes.SHAPES)
@pytest.mark.parametrize("dimensions", shapes.DIMENSIONS)
def test_every_shape_works_from_its_registry_entry(name, dimensions):
    spec = shapes.SHAPES[name]
    surface = spec.function(**required(name), dimensions=dimensions)
    assert isinstance(surface, Surface)
    assert surface.area() > 0
    assert bool(surface.volume) == spec.encloses
    assert surface.notes == ()


@pytest.mark.parametrize("name", shapes.SHAPES)
@pytest.mark.parametrize("bad", [0.0, -0.01, math.nan, math.inf, -math.inf])
def test_every_required_number_must_be_finite_and_positive(name, bad):
    for key, parameter in shapes.SHAPES[name].required.items():
        if parameter.kind == "table":
            continue
        with pytest.raises(GeometryError) as caught:
            shapes.SHAPES[name].function(**{**required(name), key: bad})
        assert [e.field for e in each(caught.value)] == [key]
        assert caught.value.hint


@pytest.mark.parametrize("name", shapes.SHAPES)
def test_unknown_place_of_measurement_is_refused(name):
    with pytest.raises(GeometryError, match="outside, inside or middle") as caught:
        shapes.SHAPES[name].function(**required(name), dimensions="outer")
    assert caught.value.field == "dimensions"


def test_all_faults_are_reported_at_once():
    with pytest.raises(GeometryError) as caught:
        shapes.tray(-0.1, 0.1, math.nan, corner_share=1.2, corner_ratio=0, dimensions="x")
    fields = [e.field for e in each(caught.value)]
    assert set(fields) == {"length", "depth", "corner_share", "corner_ratio", "dimensions"}
    assert all(field in str(caught.value) for field in fields)


@pytest.mark.parametrize(
    ("make", "field", "message"),
    [
        (lambda: shapes.cone(0.1, 0.1, -0.01), "diameter_top", "zero or larger"),
        (
            lambda: shapes.pouch(0.1, 0.2, seal_width=0.05),
            "seal_width",
            "leave nothing of the width of 100 mm",
        ),
        (
            lambda: shapes.pouch(0.3, 0.2, seal_width=0.1),
            "seal_width",
            "leave nothing of the height of 200 mm",
        ),
        (lambda: shapes.pouch(0.1, 0.2, gusset=-0.01), "gusset", "zero or larger"),
        (lambda: shapes.tray(0.1, 0.1, 0.1, top_width=0.0), "top_width", "larger than zero"),
        (lambda: shapes.tray(0.1, 0.1, 0.1, wall_ratio=-1), "wall_ratio", "larger than zero"),
        (lambda: shapes.tray(0.1, 0.1, 0.1, corner_share=-0.1), "corner_share", "between 0 and 1"),
        (lambda: shapes.profile([(0, 0.1)]), "points", "two rows"),
        (lambda: shapes.profile([]), "points", "two rows"),
        (lambda: shapes.profile([(0, 0.1), (0, 0.2)]), "points", "heights must increase"),
        (lambda: shapes.profile([(0.1, 0.1), (0, 0.2)]), "points", "row 2"),
        (lambda: shapes.profile([(0, 0.1), (1, -0.2)]), "points", "negative"),
        (lambda: shapes.profile([(0, 0.1), (1, 0.0), (2, 0.1)]), "points", "row 2 .* radius 0"),
        (lambda: shapes.profile([(0, 0.0), (1, 0.0)]), "points", "every radius"),
        (lambda: shapes.profile([(0, 0.1), (1, math.nan)]), "points", "row 2 .* not finite"),
        (lambda: shapes.profile([(0, 0.1), (1, 0.1, 2)]), "points", "row 2 .* 3 values"),
        (lambda: scaled(shapes.sphere(0.1), 0.0), "thickness_ratio", "larger than zero"),
    ],
)
def test_impossible_shapes_are_refused_with_the_field(make, field, message):
    with pytest.raises(GeometryError, match=message) as caught:
        make()
    assert caught.value.field == field
    assert caught.value.hint


@pytest.mark.parametrize(
    ("surface", "field"),
    [
        (shapes.cylinder(75.0, 0.21), "diameter"),
        (shapes.cylinder(0.075, 210.0), "height"),
        (shapes.sphere(75e-6), "diameter"),
        (shapes.pouch(0.1, 0.2, seal_width=8e-6), "seal_width"),
        (shapes.profile([(0, 30.0), (0.2, 30.0)]), "largest_diameter"),
        (shapes.plain(1800.0), "area"),
    ],
)
def test_a_size_that_suggests_a_wrong_unit_is_remarked(surface, field):
    assert len(surface.notes) == 1
    assert surface.notes[0].startswith(field)
    assert "is the unit right?" in surface.notes[0]
