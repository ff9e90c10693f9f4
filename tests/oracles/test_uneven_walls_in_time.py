"""Walls of uneven thickness in transient: a few thickness classes against every band on its own.

The bottle is invented: a straight body 0.22 to 0.3 mm thick on a heel and a base of up to 1.3 mm. Gathering
its bands into classes keeps area, transmission and mass exactly; what is looked at is the way there. The
second judge is finite volumes in space with Radau in time (``transient.lines``), every band on its own, with
Richardson's limit over two meshes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from transient import lines
from transient.coupled import carbonated_bottle, flushed_bottle, linear, pet

from optimizer.geometry.bands import bands_of
from optimizer.geometry.classes import classes_of
from optimizer.geometry.local import by_height
from optimizer.geometry.surface import Patch
from optimizer.project import load_project
from optimizer.shelflife.package import Case, Limit, WallPart
from optimizer.shelflife.predict import predict
from optimizer.shelflife.simulate import Trajectory
from optimizer.shelflife.transient import columns
from optimizer.shelflife.transient.run import Run

#: Height and radius of the bottle; height and thickness of its wall [m].
POINTS = [(0.0, 0.032), (0.15, 0.032), (0.19, 0.014), (0.215, 0.014)]
HEIGHTS = np.array([0, 1, 8, 20, 60, 120, 150, 180, 190, 215]) * 1e-3
THICKNESS = np.array([1.3, 1.2, 0.6, 0.3, 0.22, 0.25, 0.3, 0.45, 0.9, 1.2]) * 1e-3
NOMINAL = 3.3e-4
#: Shares of the horizon; the last is the target.
SHARES = (0.03, 0.1, 0.2, 0.4, 0.7, 1.0)
PROJECT = """\
format: 1
title: Invented bottle of uneven wall in transient
materials:
  - name: plain stuff
    density: 1350 kg/m3
    diffusivity: [{gas: O2, value: 4e-13 m2/s, temperature: 23 degC}]
    permeability:
      - {gas: O2, value: 2 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}
      - {gas: N2, value: 0.5 cm3*mm/(m2*day*atm), temperature: 23 degC, humidity: 0 %}
      - {gas: H2O, value: 0.5 g*mm/(m2*day), temperature: 23 degC, humidity: 90 %}
product:
  mass: 450 g
  volume: 450 mL
  water_activity: 0.5
  headspace: {volume: 60 mL, gas: {N2: 100 %}}
  limits: {headspace_oxygen: 0.6 %}
package:
  parts:
    body: {shape: profile, points: POINTS, closed_bottom: true, dimensions: middle, wall: side,
           thickness: {heights: HEIGHTS}}
walls: {side: {layers: [{material: plain stuff, thickness: 330 um}]}}
wall: transient
storage: [{duration: 3 months, temperature: 23 degC, humidity: 50 %}]
target: {shelf_life: 1 month}
"""
#: No gathering.
ALL = 10**6


def vessel() -> Case:
    """Oxygen alone into a vessel without any, through a wall that holds none at first."""
    case = linear((pet(), 1e6 * NOMINAL), volume=3e-4, wall=0.0, days=60.0)
    return limited(case, Limit("oxygen_gain", 1e-6))


def limited(case: Case, *limits: Limit) -> Case:
    """With limits that are reached within the horizon."""
    return replace(case, product=replace(case.product, limits=limits))


CASES: dict[str, Callable[[], Case]] = {
    "empty vessel": vessel,
    "carbonated": lambda: limited(carbonated_bottle(), Limit("co2_loss", 0.1)),
    "flushed": flushed_bottle,
}


def bands(count: int) -> tuple[Patch, ...]:
    """The wall in ``count`` bands of its height, each with its mean area and transmission."""
    pieces = bands_of("profile", {"points": POINTS, "closed_bottom": True}, "middle")
    assert pieces is not None
    thickness = by_height(pieces, HEIGHTS, THICKNESS).thickness
    number = np.minimum((pieces.height / POINTS[-1][0] * count).astype(int), count - 1)
    area = np.bincount(number, pieces.area, count)
    flow = np.bincount(number, pieces.area / thickness, count)
    assert area.min() > 0
    return tuple(Patch(float(a), float(a / f / NOMINAL)) for a, f in zip(area, flow, strict=True))


def classes(rows: tuple[Patch, ...], **most: int) -> tuple[Patch, ...]:
    """The thickness classes of the project for these bands, as many as it finds needed or ``most``."""
    ratio, area = (np.array([getattr(p, name) for p in rows]) for name in ("ratio", "area"))
    found = classes_of(ratio, area, **({"tolerance": 0.0} if most else {}), **most)
    return tuple(Patch(float(a), float(r)) for a, r in zip(found.area, found.ratio, strict=True))


def with_patches(case: Case, patches: tuple[Patch, ...]) -> Case:
    (part,) = case.package.parts
    assert isinstance(part, WallPart)
    return replace(case, package=replace(case.package, parts=(replace(part, patches=patches),)))


def followed(case: Case, patches: tuple[Patch, ...]) -> Trajectory:
    times = [share * case.horizon for share in SHARES]
    return Run(with_patches(case, patches), None, None, None, times, None, 1e-5).trajectory()


def off(one: Trajectory, other: Trajectory) -> np.ndarray:
    """Difference of each quantity as a share of it (limits, times)."""
    return np.abs(one.quantities[0] / other.quantities[0] - 1.0)


@pytest.fixture
def no_gathering(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(columns, "MOST_COLUMNS", ALL)


@pytest.mark.parametrize("name", [*list(CASES)[:2], pytest.param("flushed", marks=pytest.mark.slow)])
def test_the_classes_say_at_every_time_what_all_bands_say(name: str, no_gathering: None) -> None:
    """Seven classes are found needed for 1e-4 of the steady flux of one wall at its worst moment; of a
    limit's quantity, a sum over time, they are off by 1.5e-6 at a thirtieth of the horizon and 7e-9 at its
    end."""
    case, rows = CASES[name](), bands(40)
    every, few = followed(case, rows), followed(case, classes(rows))
    assert 3 < len(classes(rows)) < 10
    assert off(few, every).max() < 5e-6
    assert off(few, every)[:, -1].max() < 5e-8
    reached = np.isfinite(every.crossing)
    assert reached.any()
    assert few.crossing[reached] == pytest.approx(every.crossing[reached], rel=1e-6)


def test_more_classes_come_closer_and_one_thickness_is_far_off(no_gathering: None) -> None:
    case, rows = vessel(), bands(40)
    every = followed(case, rows)
    errors = [off(followed(case, classes(rows, most=k)), every).max() for k in (2, 3, 5, 7, 9)]
    assert all(b < a / 3 for a, b in zip(errors, errors[1:], strict=False))
    assert errors[-1] < 1e-6
    area = sum(p.area for p in rows)
    mean = sum(p.area * p.ratio for p in rows) / area
    even = followed(case, (Patch(area, mean),))
    assert off(even, every)[0, -1] > 0.2


def test_bands_beyond_nine_are_gathered_to_the_same_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    case, rows = vessel(), bands(40)
    monkeypatch.setattr(columns, "MOST_COLUMNS", ALL)
    assert len(columns.columns_of(with_patches(case, rows))) == 40
    every = followed(case, rows)
    monkeypatch.undo()
    assert len(columns.columns_of(with_patches(case, rows))) <= columns.MOST_COLUMNS
    gathered = followed(case, rows)
    assert off(gathered, every).max() < 1e-5
    assert off(gathered, every)[:, -1].max() < 2e-7


def by_volumes(case: Case, times: Iterable[float], gas: str) -> tuple[np.ndarray, float]:
    """Amount of a gas inside [mol] by finite volumes, in the limit of fine cells, and how far that went."""
    coarse, fine = (lines.radau(case, times, cells=n, rtol=1e-8)[f"n {gas}"] for n in (10, 20))
    return fine + (fine - coarse) / 3, float(np.max(np.abs(fine - coarse) / fine))


@pytest.mark.slow
@pytest.mark.parametrize(("name", "gas"), [("empty vessel", "O2"), ("carbonated", "CO2"), ("flushed", "O2")])
def test_the_classes_agree_with_finite_volumes_of_every_band(name: str, gas: str) -> None:
    case, rows = CASES[name](), bands(24)
    times = [share * case.horizon for share in SHARES[1:]]
    expected, step = by_volumes(with_patches(case, rows), times, gas)
    found = followed(case, classes(rows)).amounts[gas][0, 1:]
    # cells of second order: their limit is good to a small share of the last step
    assert step < 3e-3
    assert found == pytest.approx(expected, rel=1e-5 + 0.05 * step)
    assert found[-1] == pytest.approx(expected[-1], rel=2e-6)


@pytest.mark.slow
def test_a_project_file_in_transient_says_what_a_hundred_bands_by_hand_say(
    tmp_path: Path, no_gathering: None
) -> None:
    """Bands of a hundredth of the height have a thickness of their own inside, (1 / 100)**2 of which is left
    in their mean: the two are within 1e-4 in everything that the answer says, and twice as many bands come
    closer."""
    points, heights = (
        [[f"{1e3 * a:g} mm", f"{scale * b:g} {unit}"] for a, b in rows]
        for rows, scale, unit in ((POINTS, 1e3, "mm"), (zip(HEIGHTS, THICKNESS, strict=True), 1e6, "um"))
    )
    text = PROJECT.replace("POINTS", str(points)).replace("HEIGHTS", str(heights)).replace("'", "")
    (tmp_path / "project.yaml").write_text(text, "utf-8")
    case = load_project(tmp_path / "project.yaml").case
    assert 3 < len(columns.columns_of(case)) < 10
    found = predict(case)
    assert found.wall_model == "transient" and found.shelf_life_days is not None
    at = found.time_series["days"].index(found.target_days)
    errors = []
    for count in (100, 200):
        by_hand = predict(with_patches(case, bands(count)))
        name = "headspace_oxygen_pct"
        assert by_hand.shelf_life_days is not None
        seen = [found.time_series[name][at], found.shelf_life_days]
        told = [by_hand.time_series[name][at], by_hand.shelf_life_days]
        errors.append(max(abs(a / b - 1) for a, b in zip(seen, told, strict=True)))
    assert errors[0] < 1e-4
    assert errors[1] < errors[0] / 2
