"""Section drawings: layers to scale against the scale bar and each other, and every break is said.

Break marks: zigzag lines, ISO 128-2. Item order and leaders that do not cross: common practice, no source.
"""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.report.figures.section_looks import looks
from tests.report.static_samples import CARTON, COATED, FIFTEEN, PLAIN_WALL, Drawn, points, wall


def heights(drawn, kind="scale"):
    """Thickness and height [px] of each layer of that kind."""
    return [
        (float(r.get("data-thickness")), float(r.get("height")))
        for r in drawn.of_class("layer")
        if r.get("data-kind") == kind
    ]


def to_scale(drawn):
    """Asserts that layers to scale and the scale bar agree to the tenth of a pixel that SVG is written in."""
    (bar,) = drawn.of_class("scale-bar")
    places = [y for _, y in points(bar)[0]]
    scale = (max(places) - min(places)) / float(bar.get("data-length"))
    for thickness, high in heights(drawn):
        assert high == pytest.approx(thickness * scale, rel=0.01, abs=0.1)


@pytest.mark.parametrize("figure", [PLAIN_WALL, CARTON, COATED, FIFTEEN])
def test_unbroken_layers_are_to_scale_with_each_other_and_with_the_scale_bar(figure):
    to_scale(Drawn(figure))


def test_layers_stand_from_inside_to_outside_without_a_gap():
    drawn = Drawn(CARTON)
    rects = drawn.of_class("layer")
    assert [r.get("data-name") for r in rects] == [x.name for x in CARTON.layers]
    for one, other in zip(rects, rects[1:], strict=False):
        assert float(one.get("y")) + float(one.get("height")) == pytest.approx(
            float(other.get("y")), abs=0.15
        )
    inside, outside = drawn.of_class("side")
    assert (inside.text, outside.text) == ("inside", "outside")
    assert float(inside.get("y")) < float(rects[0].get("y")) < float(outside.get("y"))


def test_a_layer_too_thin_to_be_seen_is_drawn_wider_with_marks_and_said_to_be():
    drawn = Drawn(COATED)
    ((thickness, high),) = heights(drawn, "wider")
    assert thickness == 0.5 and high >= 5.0
    assert len(drawn.of_class("break")) == 2
    assert "Drawn wider than to scale: coating." in drawn.texts()


def test_a_thick_layer_is_cut_so_that_the_thin_ones_are_to_scale():
    drawn = Drawn(CARTON)
    assert [t for t, _ in heights(drawn, "cut")] == [420.0]
    assert not heights(drawn, "wider")
    assert min(high for _, high in heights(drawn)) >= 5.0
    assert "Cut, thicker than drawn: paperboard." in drawn.texts()


def test_of_two_layers_of_one_material_the_one_that_is_broken_is_told_by_its_thickness():
    drawn = Drawn(wall(("HDPE", 511.0), ("tie", 6.0), ("EVOH", 13.0), ("tie", 6.0), ("HDPE", 60.0)))
    assert [t for t, _ in heights(drawn, "cut")] == [511.0]
    assert "Cut, thicker than drawn: HDPE 511 um." in drawn.texts()


def test_a_wall_wholly_to_scale_says_so_and_has_no_break():
    drawn = Drawn(PLAIN_WALL)
    assert not drawn.of_class("break")
    assert "400 um in all, all layers to scale." in drawn.texts()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(1e-3, 1e4), min_size=1, max_size=15))
def test_any_wall_is_to_scale_or_says_where_it_is_not(thickness):
    drawn = Drawn(wall(*((f"layer {k}", t) for k, t in enumerate(thickness))))
    if drawn.of_class("scale-bar"):
        to_scale(drawn)
    whole, wider, cut = (heights(drawn, kind) for kind in ("scale", "wider", "cut"))
    assert len(whole) + len(wider) + len(cut) == len(thickness)
    # what is drawn wider is thinner than all to scale, and what is cut thicker, in truth and on the sheet
    assert max((t for t, _ in wider), default=0.0) <= min((t for t, _ in whole), default=1e9)
    assert min((t for t, _ in cut), default=1e9) >= max((t for t, _ in whole), default=0.0)
    assert min((h for _, h in cut), default=1e9) >= max((h for _, h in whole), default=0.0)
    said = " ".join(drawn.titles())
    assert said.count("(drawn wider than to scale)") == len(wider)
    assert said.count("(cut: thicker than drawn)") == len(cut)


def crosses(one, other):
    """Whether two polylines meet."""

    def side(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    return any(
        side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0
        for a, b in zip(one, one[1:], strict=False)
        for c, d in zip(other, other[1:], strict=False)
    )


@pytest.mark.parametrize("figure", [PLAIN_WALL, CARTON, COATED, FIFTEEN])
def test_leaders_do_not_cross_and_begin_in_their_layer(figure):
    drawn = Drawn(figure)
    leaders = [points(x)[0] for x in drawn.of_class("leader")]
    assert not any(crosses(a, b) for a, b in combinations(leaders, 2))
    for leader, rect in zip(leaders, drawn.of_class("layer"), strict=True):
        top = float(rect.get("y"))
        assert top < leader[0][1] < top + float(rect.get("height"))


def test_every_layer_has_its_name_its_thickness_and_its_note():
    drawn = Drawn(FIFTEEN)
    texts = " ".join(drawn.texts())
    assert texts.count("sealed at 140 degC") == 7
    assert "0.04 um" in texts and "163.8 um" in texts
    assert all(any(x.name in t for t in drawn.titles()) for x in FIFTEEN.layers)


def test_a_material_looks_the_same_wherever_it_stands():
    def fills(figure):
        return {(r.get("data-name"), r.get("fill").split("-")[1]) for r in Drawn(figure).of_class("layer")}

    both = fills(PLAIN_WALL) | fills(wall(("PET", 12.0), ("LDPE", 60.0)))
    names = [name for name, _ in both]
    assert names.count("PET") == 1
    assert len(dict(both).values()) == len(set(dict(both).values()))


def test_materials_of_one_wall_differ_by_colour_and_by_hatch():
    found = looks([f"polymer {k}" for k in range(8)]).values()
    assert len({x % 8 for x in found}) == len({x % 9 for x in found}) == 8


def test_more_materials_than_looks_still_have_one():
    assert len(looks([f"polymer {k}" for k in range(100)])) == 100


@pytest.mark.parametrize("thickness", [0.0, -3.0, float("nan"), float("inf")])
def test_a_layer_without_a_sound_thickness_is_drawn_wider(thickness):
    drawn = Drawn(wall(("PET", 12.0), ("unknown", thickness)))
    assert "Drawn wider than to scale: unknown." in drawn.texts()


def test_a_wall_without_layers_says_so():
    assert Drawn(wall()).texts() == ["There is no layer to draw."]
