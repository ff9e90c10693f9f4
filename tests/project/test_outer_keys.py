"""``package.outer``: read and built as a package around packages; mistakes are named where they stand."""

from __future__ import annotations

from pathlib import Path

import pytest

import optimizer
from optimizer.errors import InputError
from optimizer.project.load import load_project

PROJECT = """\
format: 1
title: Crackers in a wrapped tray (invented)
product:
  mass: 100 g
  volume: 210 mL
  headspace: {volume: 190 mL, walls: flexible}
  moisture:
    dry_mass: 96.5 g
    isotherm: {model: GAB, monolayer: 0.045, c: 12, k: 0.93}
    initial: {water_activity: 0.15}
  limits: {water_activity_max: 0.40}
package:
  parts:
    film: {area: 500 cm2, wall: film}
  outer:
    count: 12
    volume: 3 L
    humidity: 50 %
    parts:
      wrap: {area: 0.25 m2, wall: wrap}
      ring: {gasket: {material: LDPE, inner_diameter: 20 mm, width: 2 mm, height: 1 mm}}
walls:
  film: {layers: [{material: PP, thickness: 20 um}]}
  wrap: {layers: [{material: LDPE, thickness: 40 um}]}
storage:
  - {name: depot, duration: 8 months, temperature: 23 degC, humidity: 65 %}
target: {shelf_life: 6 months}
design:
  walls: [film]
  minimise: mass
  choose_from: [PP]
"""


def write(folder: Path, text: str = PROJECT) -> Path:
    path = folder / "project.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_packages_in_a_wrap_last_longer_than_alone(tmp_path: Path) -> None:
    wrapped = optimizer.predict(write(tmp_path))
    start, end = PROJECT.index("  outer:"), PROJECT.index("walls:\n  film")
    alone = optimizer.predict(
        write(tmp_path, (PROJECT[:start] + PROJECT[end:]).replace("  wrap: {layers", "  #"))
    )
    assert wrapped.shelf_life_days is not None and alone.shelf_life_days is not None
    assert wrapped.shelf_life_days > 1.05 * alone.shelf_life_days
    outer = wrapped.outer_pack
    assert outer is not None and alone.outer_pack is None
    assert outer.packages == 12
    # 0.25 m2 of 40 um and a ring of pi (24^2 - 20^2)/4 mm2 by 1 mm, LDPE of 0.92 g/cm3
    assert outer.mass_g == pytest.approx(0.25 * 40 * 0.92 + 3.14159 / 4 * 176e-3 * 0.92, rel=0.01)
    assert 15 < outer.humidity_pct < 65
    assert len(wrapped.time_series["outer_pack_humidity_pct"]) == len(wrapped.time_series["days"])


def test_the_outer_wall_is_in_use_and_needs_no_part_of_the_package(tmp_path: Path) -> None:
    case = load_project(write(tmp_path)).case
    assert not any("no part is made of" in text for text in case.warnings)
    assert case.outer is not None
    assert [part.name for part in case.outer.package.parts] == ["wrap", "ring"]


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("wall: wrap}", "wall: wrapp}", 20, "the wall 'wrapp' is not defined"),
        ("count: 12", "count: 0", 16, "1"),
        ("count: 12", "count: 2.5", 16, "whole number"),
        ("volume: 3 L", "volume: 3 m2", 17, "volume"),
        ("    humidity: 50 %", "    humidity: 50", 18, "unit"),
        ("    humidity: 50 %", "    gas: {O2: 20 %, N2: 60 %}", 18, "add up to 80 %"),
        ("material: LDPE, inner", "material: LDPEE, inner", 21, "LDPEE"),
        ("inner_diameter: 20 mm", "inner_diameter: 20 um3", 21, "length"),
        ("walls: [film]", "walls: [wrap]", 29, "outer pack"),
        ("    count: 12\n", "    count: 12\n    cuont: 3\n", 17, "did you mean 'count'"),
        ("    parts:\n      wrap", "    prats:\n      wrap", 19, "parts"),
    ],
)
def test_a_mistake_is_named_where_it_stands(tmp_path: Path, old: str, new: str, line: int, said: str) -> None:
    assert old in PROJECT
    with pytest.raises(InputError) as caught:
        load_project(write(tmp_path, PROJECT.replace(old, new, 1)))
    told = [(p.line, f"{p.message} {p.hint}") for p in caught.value.problems]
    assert any(said in text for _, text in told), told
    assert line in [n for n, _ in told]


def test_weather_around_an_outer_pack_is_refused(tmp_path: Path) -> None:
    (tmp_path / "depot.csv").write_text("temperature_degC,humidity_pct\n" + "20,50\n" * 24, encoding="utf-8")
    text = PROJECT.replace(
        "{name: depot, duration: 8 months, temperature: 23 degC, humidity: 65 %}",
        "{name: depot, duration: 8 months, weather: depot.csv}",
    )
    with pytest.raises(InputError, match="hourly weather around an outer pack"):
        load_project(write(tmp_path, text))


def test_a_changed_outer_pack_is_a_change(tmp_path: Path) -> None:
    for name in ("before", "after"):
        (tmp_path / name).mkdir()
    before = write(tmp_path / "before")
    after = write(tmp_path / "after", PROJECT.replace("count: 12", "count: 24").replace("40 um", "30 um"))
    found = {c.what: (c.baseline, c.now) for c in optimizer.check(after, before).changes}
    assert found["outer pack"][0].startswith("12 packages")
    assert found["outer pack"][1].startswith("24 packages")
    assert any(what.startswith("outer pack, wall wrap") for what in found)
    assert not any(what.startswith("storage") for what in found)
