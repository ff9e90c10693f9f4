"""Closures by geometry, hole distributions and labels through project files; every bad key has its place."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

import optimizer
from optimizer.errors import InputError
from optimizer.physics.gaskets import flat_ring, o_ring, seal_edge, valve_seat
from optimizer.project import Project, load_project
from optimizer.shelflife.breakdown import bill_of
from optimizer.shelflife.check import check, used_parts
from optimizer.shelflife.covered import expand
from optimizer.shelflife.exchange import exchange_of
from optimizer.shelflife.package import HolePart, Layer, Wall, WallPart
from optimizer.shelflife.predict import predict

TEXT = """\
format: 1
title: Tub with a lid (invented)
materials:
  - {name: sealant, family: PE, density: 0.92 g/cm3, permeability: [
      {gas: O2, value: 180 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}]}
product:
  mass: 200 g
  volume: 220 mL
  water_activity: 0.6
  headspace: {volume: 40 mL, gas: {N2: 100 %}}
  limits: {oxygen_gain: 20 mg/kg}
package:
  parts:
    body: {area: 150 cm2, wall: tub}
    base: {area: 40 cm2, wall: tub, thickness_ratio: 1.4}
<more>
walls:
  tub: {layers: [{material: HDPE, thickness: 600 um}]}
  web: {layers: [{material: sealant, thickness: 50 um}, {material: tie PE, thickness: 5 um},
    {material: aluminium foil, thickness: 9 um}, {material: PET, thickness: 12 um}]}
storage:
  - {duration: 6 months, temperature: 23 degC, humidity: 50 %}
target: {shelf_life: 3 months}
"""
FIRST = TEXT[: TEXT.index("<more>")].count("\n") + 1


def project(folder: Path, *lines: str, more: str = "", text: str = TEXT) -> Project:
    path = folder / "project.yaml"
    path.write_text(text.replace("<more>", "\n".join(lines)) + more, encoding="utf-8")
    return load_project(path)


def problems(folder: Path, *lines: str) -> list[str]:
    with pytest.raises(InputError) as error:
        project(folder, *lines)
    return [str(p).replace(str(folder / "project.yaml"), "project.yaml") for p in error.value.problems]


def seal(loaded: Project, name: str) -> WallPart:
    found = {p.name: p for p in loaded.case.package.parts}[name]
    assert isinstance(found, WallPart)
    return found


# -- closures ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "path", "kind"),
    [
        (
            "gasket: {material: EPDM, inner_diameter: 28 mm, width: 2.5 mm, height: 1 mm}",
            flat_ring(28e-3, 2.5e-3, 1e-3),
            "gasket",
        ),
        (
            "o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}",
            o_ring(30e-3, 2e-3, 0.2),
            "O-ring",
        ),
        (
            "seal_edge: {material: LDPE, length: 600 mm, width: 8 mm, thickness: 100 um}",
            seal_edge(0.6, 8e-3, 1e-4),
            "seal edge",
        ),
        (
            "valve: {material: silicone oil, seat_diameter: 12 mm, seat_width: 2 mm, film: 20 um}",
            valve_seat(12e-3, 2e-3, 20e-6),
            "valve",
        ),
    ],
)
def test_a_closure_has_the_conductance_and_the_mass_of_its_geometry(
    tmp_path: Path, line: str, path: object, kind: str
) -> None:
    loaded = project(tmp_path, f"    seal: {{{line}}}")
    package = loaded.case.package
    part, wall = seal(loaded, "seal"), package.walls["seal"]
    assert part.seal == kind and len(wall.layers) == 1
    shape = part.permeation_area(wall.thickness) / wall.thickness
    assert shape == pytest.approx(path.shape, rel=1e-12)  # type: ignore[attr-defined]
    material = wall.layers[0].material
    volume = path.volume  # type: ignore[attr-defined]
    assert bill_of(package).by_material[material.name] == pytest.approx(volume * material.density, rel=1e-12)
    alone = exchange_of(loaded.case).conductance["O2"] - exchange_of(project(tmp_path).case).conductance["O2"]
    law = material.gas_law("O2")
    wanted = law.permeability[0] * float(law.factor(296.15)) * shape
    assert alone == pytest.approx(wanted, rel=1e-6)


def test_a_closure_whose_name_is_that_of_a_wall_has_a_wall_of_another_name(tmp_path: Path) -> None:
    loaded = project(
        tmp_path, "    tub: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}}"
    )
    assert seal(loaded, "tub").wall == "tub (O-ring)"
    assert loaded.case.package.walls["tub"].layers[0].material.name == "HDPE"


def test_the_edge_of_a_wall_is_what_lies_under_its_foil_twice(tmp_path: Path) -> None:
    loaded = project(tmp_path, "    edge: {seal_edge: {wall: web, length: 600 mm, width: 8 mm}}")
    walls = loaded.case.package.walls
    for name, thickness in (("edge, sealant", 100e-6), ("edge, tie PE", 10e-6)):
        part = seal(loaded, name)
        assert part.area(0.0) == pytest.approx(0.6 * thickness, rel=1e-12)
        assert walls[part.wall].thickness == pytest.approx(8e-3, rel=1e-12)
    assert not any("no foil" in w for w in loaded.case.warnings)


def test_the_edge_of_a_wall_without_foil_is_its_innermost_layer_and_that_is_said(tmp_path: Path) -> None:
    loaded = project(tmp_path, "    edge: {seal_edge: {wall: tub, length: 600 mm, width: 8 mm}}")
    assert seal(loaded, "edge").area(0.0) == pytest.approx(0.6 * 1.2e-3, rel=1e-12)
    assert any("'tub' has no foil" in w for w in loaded.case.warnings)


def test_the_opening_pressure_of_a_valve_is_kept_and_warned_about(tmp_path: Path) -> None:
    seat = "material: silicone oil, seat_diameter: 12 mm, seat_width: 2 mm, film: 20 um"
    line = f"    v: {{valve: {{{seat}, opening_pressure: 5 mbar}}}}"
    warm = "  - {duration: 6 months, temperature: 30 degC, humidity: 50 %}\ntarget"
    loaded = project(
        tmp_path,
        line,
        text=TEXT.replace("target", warm).replace("6 months, temperature: 23", "1 months, temperature: 23"),
    )
    assert dict(loaded.case.package.opening_pressure) == pytest.approx({"v": 500.0})
    warnings = predict(loaded.case).warnings
    assert any(w.startswith("v: the pressure inside is up to") and "opens at 5 mbar" in w for w in warnings)


def test_a_seal_is_never_scaled_when_the_lightest_wall_is_sought(tmp_path: Path) -> None:
    loaded = project(
        tmp_path, "    ring: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}}"
    )
    assert {part.wall for part in used_parts(loaded.case)} == {"tub"}


# -- holes ---------------------------------------------------------------------------------------------------


def holes(loaded: Project) -> list[HolePart]:
    return [p for p in loaded.case.package.parts if isinstance(p, HolePart)]


def test_holes_of_a_distribution_are_a_few_sizes_with_their_diameters_in_the_name(tmp_path: Path) -> None:
    found = holes(
        project(
            tmp_path,
            "    holes: {pinhole: {count: 12, length: 25 um, diameter: {median: 8 um, spread: 1.8}}}",
        )
    )
    assert 3 <= len(found) <= 12
    assert sum(h.count for h in found) == pytest.approx(12.0, rel=1e-12)
    assert all(
        h.name == f"holes, {h.diameter * 1e6:.3g} um" and h.length == pytest.approx(25e-6) for h in found
    )
    middle = math.exp(sum(h.count * math.log(h.diameter) for h in found) / 12.0)
    assert middle == pytest.approx(8e-6, rel=1e-9)


def test_holes_of_a_table_are_those_of_the_table(tmp_path: Path) -> None:
    sizes = "[{diameter: 5 um, count: 10}, {diameter: 9 um, count: 2}]"
    line = f"    holes: {{pinhole: {{length: 25 um, sizes: {sizes}}}}}"
    assert [(h.name, h.diameter, h.count) for h in holes(project(tmp_path, line))] == [
        ("holes, 5 um", pytest.approx(5e-6), 10.0),
        ("holes, 9 um", pytest.approx(9e-6), 2.0),
    ]


def test_holes_of_one_size_keep_the_name_of_their_part(tmp_path: Path) -> None:
    for diameter in ("8 um", "{median: 8 um, spread: 1}"):
        (found,) = holes(
            project(tmp_path, f"    holes: {{pinhole: {{count: 3, length: 25 um, diameter: {diameter}}}}}")
        )
        assert (found.name, found.diameter, found.count) == ("holes", pytest.approx(8e-6), 3.0)


# -- labels --------------------------------------------------------------------------------------------------

LABEL = "  labels: {front: {on: body, share: 40 %, layers: [{material: PET, thickness: 50 um}]}}"


def test_a_label_is_in_series_with_its_share_of_the_wall(tmp_path: Path) -> None:
    bare, labelled = project(tmp_path).case, project(tmp_path, LABEL).case
    (cover,) = labelled.package.covers
    assert (cover.part, cover.share, cover.layers[0].thickness) == (
        "body",
        pytest.approx(0.4),
        pytest.approx(50e-6),
    )

    def resistance(name: str, thickness: float) -> float:
        law = {x.material.name: x.material for x in (*bare.package.walls["tub"].layers, *cover.layers)}[
            name
        ].gas_law("O2")
        return thickness / (law.permeability[0] * float(law.factor(296.15)))

    wall, label = resistance("HDPE", 600e-6), resistance("PET", 50e-6)
    by_hand = 0.015 * (0.6 / wall + 0.4 / (wall + label)) + 0.004 / 1.4 / wall
    shown = [row for row in predict(labelled).transmission if row.gas == "O2"]
    assert {row.part for row in shown} == {"body", "body under front", "base"}
    total = sum(row.value for row in shown)
    before = sum(row.value for row in predict(bare).transmission if row.gas == "O2")
    assert total / before == pytest.approx(by_hand / ((0.015 + 0.004 / 1.4) / wall), rel=1e-9)


def test_a_label_by_its_area_covers_that_area(tmp_path: Path) -> None:
    line = LABEL.replace("share: 40 %", "area: 60 cm2")
    assert project(tmp_path, line).case.package.covers[0].share == pytest.approx(0.4, rel=1e-12)


def test_a_check_tells_and_weighs_the_label(tmp_path: Path) -> None:
    before, now = project(tmp_path).case, project(tmp_path, LABEL).case
    found = check(now, before)
    assert found.changed.mass_g - found.baseline.mass_g == pytest.approx(0.006 * 50e-6 * 1380 * 1e3, rel=1e-6)
    assert found.lightest_passing is not None and set(found.lightest_passing["walls"]) == {"tub"}


def test_a_check_tells_what_changed_in_seals_and_labels(tmp_path: Path) -> None:
    ring = "    r: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}}"
    before = project(tmp_path, ring, LABEL).case
    now = project(tmp_path, ring.replace("20 %", "30 %"), LABEL.replace("40 %", "60 %")).case
    told = {c.what: (c.baseline, c.now) for c in check(now, before).changes}
    assert told["label front, share of body"] == ("40 %", "60 %")
    assert told["part r"][0].startswith("O-ring of EPDM, ") and told["part r"][0] != told["part r"][1]
    assert not any(what.startswith("wall") for what in told)
    bare = {c.what: (c.baseline, c.now) for c in check(before, project(tmp_path).case).changes}
    assert bare["label front"] == ("none", "PET 50 um on 40 % of body")
    assert bare["part r"][0] == "none" and "wall r" not in bare


@pytest.mark.slow
def test_a_design_needs_less_wall_under_a_label_and_no_more_than_that(tmp_path: Path) -> None:
    """The label is PET, which lets far less through than the wall: the wall may be thinner by what it holds
    back, and the least that passes is found by bisection with the simulator alone."""
    section = "design: {walls: [tub], minimise: mass, choose_from: [HDPE]}\n"
    text = TEXT.replace("20 mg/kg", "40 mg/kg")
    bare, labelled = (
        optimizer.solve_design(project(tmp_path, line, more=section, text=text)) for line in ("", LABEL)
    )
    assert bare.predicted is not None and labelled.predicted is not None
    assert {r.part for r in labelled.predicted.transmission} == {"body", "body under front", "base"}
    found, alone = (x.structure["tub"][0].thickness_um for x in (labelled, bare))
    assert found < 0.99 * alone
    case = project(tmp_path, LABEL, more=section, text=text).case
    material = case.package.walls["tub"].layers[0].material
    thin, thick = 1e-6, 1e-2
    while thick / thin > 1 + 1e-5:
        middle = (thin * thick) ** 0.5
        walls = {"tub": Wall("tub", (Layer(material, middle),))}
        passes = predict(replace(case, package=case.package.with_walls(walls))).passes
        thin, thick = (thin, middle) if passes else (middle, thick)
    assert found == pytest.approx(thick * 1e6, rel=1e-3)


def test_the_spread_of_a_part_acts_under_its_label(tmp_path: Path) -> None:
    from optimizer.uncertainty.run import assess

    more = "uncertainty: {thickness: {body: 20 %}, samples: 256}\n"
    found = assess(project(tmp_path, LABEL, more=more).case, indices=False)
    names = {note.name for note in found.spreads}
    assert "thickness of part 'body' within its wall" in names and "O2 permeability of PET" in names


# -- errors --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            "    g: {gasket: {material: EPDN, inner_diameter: 28 mm, width: 2.5 mm, height: 1 mm}}",
            ["16:28: package.parts.g.gasket.material", "EPDN", "EPDM"],
        ),
        (
            "    g: {gasket: {material: EPDM, inner_diameter: 28 mm, width: 2.5, height: 1 mm}}",
            ["16:64: package.parts.g.gasket.width", "has no unit"],
        ),
        (
            "    g: {gasket: {material: EPDM, inner_diameter: 28 mm, width: 2 mm}}",
            ["gasket.height", "is missing"],
        ),
        (
            "    r: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 45 %}}",
            ["o_ring.compression", "'45 %' is out of range", "from 5 % to 40 %"],
        ),
        (
            "    r: {o_ring: {material: EPDM, ring_diameter: 1.5 mm, cord: 2 mm, compression: 20 %}}",
            ["16:49: package.parts.r.o_ring.ring_diameter", "not wider than its cord"],
        ),
        (
            "    v: {valve: {material: EPDM, seat_diameter: 2 mm, seat_width: 3 mm, film: 20 um}}",
            ["v.valve.seat_width", "broader than its diameter"],
        ),
        (
            "    v: {valve: {material: EPDM, seat_diameter: 9 mm, seat_width: 3 mm, film: 2 um, "
            "opening_pressure: 5}}",
            ["v.valve.opening_pressure", "has no unit"],
        ),
        (
            "    e: {seal_edge: {wall: wev, length: 600 mm, width: 8 mm}}",
            ["16:27: package.parts.e.seal_edge.wall", "'wev' is not defined", "web"],
        ),
        (
            "    e: {seal_edge: {wall: web, length: 600 mm, width: 8 mm, thickness: 9 um}}",
            ["e.seal_edge.thickness", "not a known key"],
        ),
        (
            "    e: {seal_edge: {material: LDPE, length: 600 mm, width: 8 mm}}",
            ["e.seal_edge.thickness", "is missing"],
        ),
        (
            "    e: {seal_edge: {material: LDPE, lenght: 600 mm, width: 8 mm, thickness: 9 um}}",
            ["lenght", "length"],
        ),
        (
            "    e: {gaskets: {material: EPDM}}",
            ["package.parts.e", "does not say what the part is", "gasket"],
        ),
        (
            "    h: {pinhole: {length: 25 um, diameter: {median: 8 um, spread: 180 %}}}",
            ["h.pinhole.diameter.spread", "not a plain number"],
        ),
        (
            "    h: {pinhole: {length: 25 um, diameter: {median: 8 um, spread: 0.5}}}",
            ["h.pinhole.diameter.spread", "geometric standard deviation from 1 to 3"],
        ),
        ("    h: {pinhole: {length: 25 um, sizes: []}}", ["h.pinhole.sizes", "needs at least one size"]),
        (
            "    h: {pinhole: {length: 25 um, sizes: [{diameter: 5 um}]}}",
            ["h.pinhole.sizes[0].count", "is missing"],
        ),
        (
            "    h: {pinhole: {length: 25 um, count: 3, sizes: [{diameter: 5 um, count: 3}]}}",
            ["h.pinhole.count", "not a known key"],
        ),
        (LABEL.replace("body", "bodi"), ["package.labels.front.on", "there is no part 'bodi'", "body"]),
        (LABEL.replace("share: 40 %, ", ""), ["package.labels.front", "does not say how much it covers"]),
        (LABEL.replace("40 %,", "40 %, area: 9 cm2,"), ["package.labels.front", "both 'share' and 'area'"]),
        (
            LABEL.replace("share: 40 %", "area: 160 cm2"),
            ["front.area", "more than the area of 'body', 150 cm2"],
        ),
        (LABEL.replace("40 %", "0 %"), ["front.share", "out of range"]),
        (LABEL.replace("PET", "PETT"), ["front.layers[0].material", "PETT"]),
        (LABEL.replace("50 um", "500 mm"), ["front.layers[0].thickness", "far outside the gauge"]),
        (
            "  labels: {front: {on: body, share: 40 %, layers: []}}",
            ["front.layers", "needs at least one layer"],
        ),
        ("  labels: {}", ["package.labels", "needs at least one label"]),
        (
            "  labels: {a: {on: body, share: 60 %, layers: [{material: PET, thickness: 50 um}]},\n"
            "    b: {on: body, share: 50 %, layers: [{material: PET, thickness: 50 um}]}}",
            ["17:26: package.labels.b.share", "cover 110 % of it", "beside each other"],
        ),
        (
            "    r: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}}\n"
            + LABEL.replace("on: body", "on: r"),
            ["package.labels.front.on", "the part 'r' has no wall to label"],
        ),
        (
            "    h: {pinhole: {length: 25 um, diameter: {median: 8 um, spread: 1.5}}}\n"
            + LABEL.replace("on: body", "on: h"),
            ["package.labels.front.on", "the part 'h' has no wall to label"],
        ),
    ],
)
def test_a_bad_key_is_told_once_with_its_place(tmp_path: Path, line: str, said: list[str]) -> None:
    found = problems(tmp_path, line)
    assert len(found) == 1, found
    assert found[0].startswith(tuple(f"project.yaml:{FIRST + k}:" for k in range(line.count("\n") + 1)))
    for words in said:
        assert words in found[0], found[0]


def test_every_bad_closure_of_a_file_is_told_at_once(tmp_path: Path) -> None:
    found = problems(
        tmp_path,
        "    g: {gasket: {material: EPDN, inner_diameter: 28 mm, width: 2.5 mm, height: 1 mm}}",
        "    r: {o_ring: {material: EPDM, ring_diameter: 1.5 mm, cord: 2 mm, compression: 20 %}}",
        LABEL.replace("body", "bodi"),
    )
    assert [text.split(":")[1] for text in found] == [str(FIRST), str(FIRST + 1), str(FIRST + 2)]


def test_a_material_without_the_gas_that_a_limit_follows_is_refused_where_it_is_named(tmp_path: Path) -> None:
    text = TEXT.replace("gas: O2, value: 180", "gas: CO2, value: 180")
    line = "    e: {seal_edge: {material: sealant, length: 600 mm, width: 8 mm, thickness: 90 um}}"
    with pytest.raises(InputError) as error:
        project(
            tmp_path,
            line,
            text=text.replace("  web: {layers: [{material: sealant", "  web: {layers: [{material: LDPE"),
        )
    assert "package.parts.e.seal_edge.material" in str(error.value)
    assert "no O2 permeability" in str(error.value)


def test_expanding_what_was_read_keeps_every_other_part(tmp_path: Path) -> None:
    ring = "    ring: {o_ring: {material: EPDM, ring_diameter: 30 mm, cord: 2 mm, compression: 20 %}}"
    package = project(tmp_path, ring, LABEL).case.package
    assert [p.name for p in expand(package).parts] == ["body", "body under front", "base", "ring"]
