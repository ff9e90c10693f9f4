"""The picture of a mesh: what can be seen from where, sizes, legends, and bounds on the file."""

from __future__ import annotations

import math
import re
import time
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

from optimizer.geometry.mesh.model import Mesh, MeshFacts, Opening, Upright
from optimizer.report.colours import Colours, plain_colours, region_colours, thickness_colours
from optimizer.report.painter import LEVELS
from optimizer.report.picture import MOST_FACES, picture

UP_Z = Upright(2, 1, "up is z")
SVG = "{http://www.w3.org/2000/svg}"
FACE = re.compile(r"M(-?\d+) (-?\d+)l(-?\d+) (-?\d+) (-?\d+) (-?\d+)z")


def mesh_of(vertices, faces, openings=(), open_edges=0, name="body.stl", kind="surface"):
    """A mesh in metres as the reader hands it over, the measures taken here."""
    vertices, faces = np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.int64)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    size = tuple(np.ptp(vertices, axis=0).tolist())
    closed = open_edges == 0
    facts = MeshFacts(size, float(area.sum()), None, len(faces), len(vertices), 1, closed, open_edges, 0, 0)
    zero = np.zeros(len(faces))
    number = zero.astype(np.int64)
    return Mesh(
        name, vertices, faces, kind, ("body",), number, number, area, zero, zero, tuple(openings), None, facts
    )


def solid(body, **options):
    """A trimesh drawn in mm as a mesh."""
    return mesh_of(np.array(body.vertices) * 1e-3, np.array(body.faces), **options)


def cup(radius=0.03, height=0.1, around=48):
    """A can without its top, and that opening."""
    turn = 2 * np.pi * np.arange(around) / around
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=1)
    vertices = np.vstack([ring, ring + [0, 0, height], [[0, 0, 0]]])
    i = np.arange(around)
    j = (i + 1) % around
    sides = [np.stack([i, j, j + around], 1), np.stack([i, j + around, i + around], 1)]
    floor = np.stack([j, i, np.full(around, 2 * around)], 1)
    opening = Opening(
        1, math.pi * radius**2, 2 * math.pi * radius, np.array([0, 0, height]), np.array([0, 0, 1.0]), 0.0,
        i + around,
    )  # fmt: skip
    return mesh_of(vertices, np.vstack([*sides, floor]), [opening], around, "cup.stl")


class Seen:
    """A picture taken apart: the faces of its views in the order in which they are painted."""

    def __init__(self, text):
        self.root = ElementTree.fromstring(text)
        self.texts = ["".join(x.itertext()) for x in self.root.iter(f"{SVG}text")]
        groups = [g for g in self.root.iter(f"{SVG}g") if g.get("class") == "faces"]
        names = ["front", "right", "above", "corner"]
        self.views = {name: self._faces(group) for name, group in zip(names, groups, strict=True)}

    def _faces(self, group):
        """Corners (m, 3, 2) in units of the sheet, colour number and side of each face."""
        x, y = map(float, re.match(r"translate\((\S+) (\S+)\)", group.get("transform")).groups())
        corners, colour = [], []
        for path in group:
            number = int(path.get("class")[1:])
            for face in FACE.findall(path.get("d")):
                a, b, c, d, e, f = map(int, face)
                corners.append([(a, b), (a + c, b + d), (a + c + e, b + d + f)])
                colour.append(number // LEVELS)
        at = np.array(corners, dtype=float).reshape(-1, 3, 2) / 10 + [x, y]
        return at, np.array(colour, dtype=int)

    def colours(self, view):
        """Numbers of the colours that are painted in a view."""
        return set((self.views[view][1] // 2).tolist())

    def on_top(self, view, x, y):
        """Colour number of the last face painted over a point."""
        return self._last(view, x, y) // 2

    def inside_on_top(self, view, x, y):
        """Whether the last face painted over a point shows the side of the contents."""
        return self._last(view, x, y) % 2 == 1

    def _last(self, view, x, y):
        corners, colour = self.views[view]
        a, b, c = (corners[:, k] for k in range(3))
        p = np.array([x, y])
        sides = [
            (v[:, 0] - u[:, 0]) * (p[1] - u[:, 1]) - (v[:, 1] - u[:, 1]) * (p[0] - u[:, 0])
            for u, v in ((a, b), (b, c), (c, a))
        ]
        over = np.all(np.array(sides) >= 0, axis=0) | np.all(np.array(sides) <= 0, axis=0)
        return int(colour[np.flatnonzero(over)[-1]])


CUBE_SIDES = {
    "left": (0, -1),
    "right": (0, 1),
    "front": (1, -1),
    "back": (1, 1),
    "below": (2, -1),
    "top": (2, 1),
}


def cube_by_sides():
    """A box 40 x 30 x 20 mm, each of its sides a region."""
    body = trimesh.creation.box((40, 30, 20))
    region = np.zeros(12, dtype=np.int64)
    for number, (axis, sign) in enumerate(CUBE_SIDES.values()):
        region[body.face_normals[:, axis] * sign > 0.5] = number
    return solid(body), region_colours(region, list(CUBE_SIDES))


def test_each_view_shows_the_side_that_its_name_says() -> None:
    """Third-angle projection, ISO 5456-2: the view from the right shows the right side."""
    mesh, colours = cube_by_sides()
    seen = Seen(picture(mesh, UP_Z, colours))
    names = list(CUBE_SIDES)
    assert seen.colours("front") == {names.index("front")}
    assert seen.colours("right") == {names.index("right")}
    assert seen.colours("above") == {names.index("top")}
    assert seen.colours("corner") == {names.index(side) for side in ("front", "right", "top")}


def test_the_views_stand_as_third_angle_projection_puts_them() -> None:
    """ISO 5456-2: from above over the front, from the right at its right, all to one scale."""
    seen = Seen(picture(cube_by_sides()[0], UP_Z))
    low, high = ({n: f(v[0].reshape(-1, 2), axis=0) for n, v in seen.views.items()} for f in (np.min, np.max))
    assert high["above"][1] < low["front"][1]
    assert low["right"][0] > high["front"][0]
    sizes = {name: high[name] - low[name] for name in ("front", "right", "above")}
    scale = sizes["front"][0] / 40
    for name, (wide, tall) in {"front": (40, 20), "right": (30, 20), "above": (40, 30)}.items():
        assert sizes[name] == pytest.approx([wide * scale, tall * scale], abs=0.3), name
    assert low["above"][0] == pytest.approx(low["front"][0], abs=0.15)
    assert low["right"][1] == pytest.approx(low["front"][1], abs=0.15)


@pytest.mark.parametrize(
    ("axis", "sign", "top"),
    [(2, 1, "top"), (2, -1, "below"), (0, 1, "right"), (0, -1, "left"), (1, 1, "back")],
)
def test_the_view_from_above_shows_what_is_up(axis: int, sign: int, top: str) -> None:
    mesh, colours = cube_by_sides()
    seen = Seen(picture(mesh, Upright(axis, sign, ""), colours))
    assert seen.colours("above") == {list(CUBE_SIDES).index(top)}
    height = 40 if axis == 0 else 30 if axis == 1 else 20
    assert seen.texts.count(f"{height} mm") >= 1


def test_what_is_near_hides_what_is_behind_it() -> None:
    """A ball of radius 10 mm before a plate: from the front the disc of the ball, round it the plate."""
    ball = trimesh.creation.icosphere(4, 10)
    ball.apply_translation([0, -40, 0])
    plate = trimesh.creation.box((60, 2, 60))
    both = trimesh.util.concatenate([ball, plate])
    region = np.repeat([0, 1], [len(ball.faces), len(plate.faces)])
    seen = Seen(picture(solid(both), UP_Z, region_colours(region, ["ball", "plate"])))
    points = seen.views["front"][0].reshape(-1, 2)
    middle, scale = (points.min(axis=0) + points.max(axis=0)) / 2, np.ptp(points, axis=0)[0] / 60
    for radius, turn in np.random.default_rng(5).uniform([0, 0], [28, 2 * np.pi], (300, 2)):
        if abs(radius - 10) > 0.7:  # the outline of the ball is drawn with straight edges
            x, y = middle + scale * radius * np.array([np.cos(turn), np.sin(turn)])
            assert seen.on_top("front", x, y) == (0 if radius < 10 else 1), (radius, turn)


def test_the_inside_is_seen_through_the_opening_only() -> None:
    """Of a cup the floor is seen from above, from its inside; from the front the outside of the wall."""
    seen = Seen(picture(cup(), UP_Z))
    for view, inside in (("above", True), ("front", False), ("right", False)):
        points = seen.views[view][0].reshape(-1, 2)
        middle, reach = (points.min(axis=0) + points.max(axis=0)) / 2, np.ptp(points, axis=0) / 2
        for x, y in middle + reach * np.random.default_rng(6).uniform(-0.6, 0.6, (60, 2)):
            assert seen.inside_on_top(view, x, y) is inside, view


def test_the_sizes_stand_at_the_dimension_lines() -> None:
    seen = Seen(picture(cube_by_sides()[0], UP_Z))
    assert [t for t in seen.texts if re.fullmatch(r"[\d.]+ mm", t)] == ["20 mm", "40 mm", "30 mm"]
    assert any(t.startswith("40 \u00d7 30 \u00d7 20 mm") for t in seen.texts)


def test_an_opening_is_outlined_and_numbered_in_every_view() -> None:
    seen = Seen(picture(cup(), UP_Z))
    edges = [x for x in seen.root.iter(f"{SVG}path") if (x.get("class") or "").startswith("edge")]
    assert len(edges) == 4
    assert seen.texts.count("1") == 5  # and once in the list
    assert any("60 mm" in t and "28.3 cm" in t for t in seen.texts)  # pi 3^2 = 28.27
    assert not any(t == "no openings" for t in seen.texts)
    assert "no openings" in Seen(picture(cube_by_sides()[0], UP_Z)).texts


def test_an_opening_that_faces_away_is_dashed() -> None:
    down = Upright(2, -1, "")
    edges = [x.get("class") for x in Seen(picture(cup(), down)).root.iter(f"{SVG}path") if x.get("class")]
    assert edges.count("edge far") == 2  # from above and from the corner
    assert edges.count("edge") == 2


@pytest.mark.parametrize("subdivisions", [0, 3, 7], ids=["20 faces", "1280 faces", "327680 faces"])
def test_the_number_of_faces_and_the_size_of_the_file_are_bounded(subdivisions: int) -> None:
    mesh = solid(trimesh.creation.icosphere(subdivisions, 40))
    text = picture(
        mesh, UP_Z, thickness_colours(np.random.default_rng(1).uniform(3e-4, 5e-4, len(mesh.faces)))
    )
    assert len(text) < 1.5e6
    seen = Seen(text)
    assert all(0 < len(corners) <= MOST_FACES for corners, _ in seen.views.values())
    for name in ("front", "right", "above", "corner") if subdivisions else ():
        points = seen.views[name][0].reshape(-1, 2)
        # a ball is as wide as it is high, however far its mesh was thinned
        assert np.ptp(points, axis=0)[0] == pytest.approx(np.ptp(points, axis=0)[1], rel=0.03)


def test_an_open_sheet_of_many_faces_stays_within_the_bounds_in_every_view() -> None:
    """Nothing of a sheet faces away from above: the bound on one view has to thin it further."""
    n = 300
    x, y = np.meshgrid(np.linspace(0, 0.1, n), np.linspace(0, 0.1, n), indexing="ij")
    z = 0.01 * np.sin(90 * x) * np.cos(70 * y)
    i, j = (k.reshape(-1) for k in np.meshgrid(np.arange(n - 1), np.arange(n - 1), indexing="ij"))
    a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
    faces = np.vstack([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    mesh = mesh_of(np.stack([x, y, z], 2).reshape(-1, 3), faces, open_edges=4 * (n - 1))
    seen = Seen(picture(mesh, UP_Z))
    assert 1000 < len(seen.views["above"][0]) <= MOST_FACES


@pytest.mark.slow
def test_a_million_faces_take_a_few_seconds_at_most() -> None:
    mesh = solid(trimesh.creation.icosphere(8, 40))
    assert len(mesh.faces) > 1_000_000
    start = time.process_time()
    text = picture(mesh, UP_Z)
    assert time.process_time() - start < 20.0  # about 2 s when measured; ten times that for a slow machine
    assert len(text) < 1.5e6


def test_both_faces_of_a_thin_wall_stay_apart_when_a_mesh_is_thinned() -> None:
    """A hollow ball of 0.3 mm wall: only its outer face can be seen from outside."""
    outer, inner = (trimesh.creation.icosphere(6, r) for r in (40, 39.7))
    inner.invert()
    both = trimesh.util.concatenate([outer, inner])
    region = np.repeat([0, 1], len(outer.faces))
    seen = Seen(picture(solid(both, kind="walls"), UP_Z, region_colours(region, ["outer", "inner"])))
    points = seen.views["front"][0].reshape(-1, 2)
    middle, radius = (points.min(axis=0) + points.max(axis=0)) / 2, np.ptp(points, axis=0)[0] / 2
    for x, y in middle + radius * np.random.default_rng(3).uniform(-0.65, 0.65, (200, 2)):
        assert seen.on_top("front", x, y) == 0


def test_thin_places_are_red_and_thick_ones_blue() -> None:
    body = trimesh.creation.box((10, 10, 100))
    thickness = np.where(body.face_normals[:, 1] < -0.5, 2e-4, 6e-4)
    text = picture(solid(body), UP_Z, thickness_colours(thickness))
    seen = Seen(text)
    rules = {int(n): c for n, c in re.findall(r"\.c(\d+)\{fill:#(\w{6})", text)}
    front = {rules[n] for n in rules if n // LEVELS // 2 in seen.colours("front")}
    right = {rules[n] for n in rules if n // LEVELS // 2 in seen.colours("right")}
    assert all(int(c[:2], 16) > 1.5 * int(c[4:], 16) for c in front)
    assert all(int(c[4:], 16) > 1.5 * int(c[:2], 16) for c in right)
    assert {"\u2264 200", "400", "\u2265 600", "wall thickness, um"} <= set(seen.texts)


@pytest.mark.parametrize(
    "thickness", [np.full(12, 3e-4), np.full(12, np.nan), np.r_[np.full(11, np.nan), 3e-4]],
    ids=["even", "unknown", "known once"],
)  # fmt: skip
def test_a_thickness_without_range_is_drawn_all_the_same(thickness: np.ndarray) -> None:
    seen = Seen(picture(cube_by_sides()[0], UP_Z, thickness_colours(thickness)))
    assert len(seen.colours("corner")) >= 1
    assert any("300" in t for t in seen.texts) is bool(np.isfinite(thickness).any())


def test_names_of_regions_stand_in_the_legend_whatever_signs_they_hold() -> None:
    names = ["base", 'a "quoted" <name> & more', "x" * 90, "bell\x07"]
    colours = region_colours(np.arange(12) // 3, names)
    seen = Seen(picture(cube_by_sides()[0], UP_Z, colours))
    assert {"base", 'a "quoted" <name> & more', "bell?"} <= set(seen.texts)
    assert max(len(t) for t in seen.texts) < 90


def test_a_face_that_no_region_takes_is_grey() -> None:
    colours = region_colours(np.full(12, -1), ["only"])
    assert set(colours.of(colours.value).tolist()) == {1}


def test_those_who_cannot_see_it_are_told_what_it_shows() -> None:
    root = Seen(picture(cup(), UP_Z)).root
    assert root.get("role") == "img"
    told = {x.get("id"): x.text for x in root if x.get("id")}
    assert root.get("aria-labelledby").split() == list(told) == ["title", "desc"]
    assert "cup.stl" in told["title"]
    assert "60 \u00d7 60 \u00d7 100 mm" in told["desc"] and "diameter 60 mm" in told["desc"]


def test_a_dark_page_gets_light_letters() -> None:
    assert "prefers-color-scheme:dark" in picture(cup(), UP_Z)


def test_the_same_mesh_gives_the_same_picture() -> None:
    assert picture(cup(), UP_Z) == picture(cup(), UP_Z)


def test_a_flat_mesh_is_drawn_too() -> None:
    flat = mesh_of(
        [[0, 0, 0], [0.1, 0, 0], [0.1, 0.05, 0], [0, 0.05, 0]], [[0, 1, 2], [0, 2, 3]], open_edges=4
    )
    seen = Seen(picture(flat, UP_Z))
    assert len(seen.views["above"][0]) > 2
    assert len(seen.views["front"][0]) == 0  # seen from its edge


def test_one_colour_stands_for_nothing_said() -> None:
    plain: Colours = plain_colours(3)
    assert plain.of(plain.value).tolist() == [0, 0, 0]
    assert plain.title == "" and plain.names == ()
