"""Changes of spreads, of what walls hold and use up, of weather; local thickness. Invented packages."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.constants import DAY
from optimizer.geometry.surface import Patch
from optimizer.physics.material import Band, DiffusionLaw, Material, Scavenger, SourceNote
from optimizer.results import Change, LayerThickness
from optimizer.shelflife.changes import changed_walls
from optimizer.shelflife.package import (
    Case,
    Headspace,
    HolePart,
    Layer,
    Stage,
    Surroundings,
    Uncertainty,
    Wall,
    WallPart,
)
from optimizer.shelflife.thicknesses import thickness_of_parts

from .test_changes import CASE, CORE, SKIN, difference, with_product, with_wall


def with_core(core: Material) -> Case:
    return with_wall(Layer(SKIN, 3e-4), Layer(core, 12e-6), Layer(SKIN, 2e-4))


def with_spreads(**given: object) -> Case:
    return replace(CASE, uncertainty=Uncertainty(**given))  # type: ignore[arg-type]


SCAVENGER = Scavenger("O2", 0.002, 296.15, 5e4, 100.0)


@pytest.mark.parametrize(
    ("now", "change"),
    [
        (
            with_core(replace(CORE, bands={"O2": Band(0.15, "a", "stated")})),
            Change("material EVOH 32, spread of O2 permeability", "none", "15 %"),
        ),
        (
            with_core(replace(CORE, bands={"O2 diffusivity": Band(0.3, "a", "stated")})),
            Change("material EVOH 32, spread of O2 diffusivity", "none", "30 %"),
        ),
        (
            with_core(replace(CORE, scavenger=SCAVENGER)),
            Change(
                "material EVOH 32, scavenger",
                "none",
                # 100 mol/m3 x 0.022414 m3(STP)/mol
                "O2, 0.002 1/s at 23 degC, 50 kJ/mol, holds 2.241 cm3 per cm3",
            ),
        ),
        (
            with_core(replace(CORE, scavenger=replace(SCAVENGER, capacity=None))),
            Change(
                "material EVOH 32, scavenger", "none", "O2, 0.002 1/s at 23 degC, 50 kJ/mol, never runs out"
            ),
        ),
        (
            with_core(replace(CORE, diffusivity={"O2": DiffusionLaw(298.15, 1e-12, 4e4)})),
            Change("material EVOH 32, O2 diffusivity", "none", "1e-12 m2/s at 25 degC, 40 kJ/mol"),
        ),
        (
            with_product(headspace=Headspace(3e-5, creep=((0.0, 0.0), (14 * DAY, 0.015)))),
            Change("creep of the package", "none", "1.5 % at 14 days"),
        ),
        (replace(CASE, wall="transient"), Change("walls simulated", "auto", "transient")),
        (
            replace(CASE, before=Surroundings(0.5, {"N2": 1.0})),
            Change(
                "walls before closing",
                "humidity of the first stage, O2 20.9 %, N2 78.1 %, CO2 0.04 %",
                "50 %, N2 100 %",
            ),
        ),
        (
            with_spreads(thickness={"bottle": 0.08}),
            Change("spread of thickness of bottle", "none", "8 %"),
        ),
        (
            with_spreads(layers={("bottle", "EVOH 32"): 0.12}),
            Change("spread of thickness of EVOH 32 in wall bottle", "none", "12 %"),
        ),
        (
            with_spreads(transmission={("cap", "O2"): 0.2}),
            Change("spread of O2 transmission of cap", "none", "20 %"),
        ),
        (with_spreads(durations={"shelf": 0.2}), Change("spread of duration of stage shelf", "none", "20 %")),
        (with_spreads(limits={"oxygen_gain": 0.1}), Change("spread of limit oxygen gain", "none", "10 %")),
        (with_spreads(temperature=1.5), Change("spread of temperature", "none", "1.5 K")),
        (with_spreads(humidity=0.03), Change("spread of humidity outside", "none", "3 %")),
        (with_spreads(consumption=0.2), Change("spread of oxygen use", "none", "20 %")),
        (
            with_spreads(properties=0.15),
            Change("spread of properties without one of their own", "none", "15 %"),
        ),
        (
            with_spreads(correlation=0.0),
            Change("correlation of properties from one source", "50 %", "0 %"),
        ),
        (with_spreads(confidence=0.95), Change("confidence asked for", "none", "95 %")),
    ],
    ids=lambda value: value.what if isinstance(value, Change) else "",
)
def test_each_kind_of_change_is_said_once(now: Case, change: Change) -> None:
    assert difference(now) == [change]


def test_how_many_samples_are_drawn_is_no_change_of_the_package() -> None:
    assert difference(with_spreads(samples=64, seed=2)) == []


def test_a_spread_does_not_change_a_wall_and_a_scavenger_does() -> None:
    assert changed_walls(CASE, with_core(replace(CORE, bands={"O2": Band(0.15, "a", "stated")}))) == ()
    assert changed_walls(CASE, with_core(replace(CORE, scavenger=SCAVENGER))) == ("bottle",)
    other = replace(CORE, diffusivity={"O2": DiffusionLaw(298.15, 1e-12, 4e4)})
    assert changed_walls(CASE, with_core(other)) == ("bottle",)


def test_where_a_diffusivity_is_from_is_not_printed_as_the_permeability() -> None:
    """The sources of both carry the gas in their name."""
    notes = (
        SourceNote("EVOH 32", "O2", "0.5", "cm3*20um/(m2*day*atm)", "a", "user"),
        SourceNote("EVOH 32", "O2 diffusivity", "1e-13", "m2/s", "a", "user"),
    )
    law = replace(CORE.gases["O2"], permeability=(2e-21,))
    (change,) = difference(with_core(replace(CORE, gases={"O2": law}, sources=notes)))
    assert change.now == "0.5 cm3*20um/(m2*day*atm)"


def weather(warmest: float, steps: int = 24) -> tuple[Stage, ...]:
    return tuple(Stage("depot", 3600.0, 283.15 + (warmest - 10) * k / (steps - 1), 0.6) for k in range(steps))


def test_weather_is_told_as_one_stage_with_its_span_and_mean() -> None:
    """Straight from 10 to 20 degC: the mean is 15 degC."""
    base = replace(CASE, storage=(*weather(20.0), *CASE.storage))
    now = replace(CASE, storage=(*weather(30.0), *CASE.storage))
    found = [c for c in _changes(base, now)]
    assert found == [
        Change(
            "storage stage 1",
            "depot: 24 hours in 24 steps, 10 to 20 degC, mean 15 degC, 60 %",
            "depot: 24 hours in 24 steps, 10 to 30 degC, mean 20 degC, 60 %",
        )
    ]
    (whole,) = _changes(CASE, now)
    assert whole.what == "storage" and whole.now.startswith("depot: 24 hours in 24 steps")


def _changes(base: Case, now: Case) -> list[Change]:
    from optimizer.shelflife.changes import changes

    from .samples import PASSING

    return list(changes(base, now, PASSING, PASSING))


def uneven(*patches: Patch) -> Case:
    package = replace(CASE.package, parts=(WallPart("body", "bottle", patches), HolePart("hole", 2e-5, 3e-4)))
    return replace(CASE, package=package)


def test_local_thickness_is_the_mean_over_the_area_and_the_thinnest_place() -> None:
    """Two thirds of the area at 0.9 and one third at 1.2 of 512 um: a mean of 1.0, 460.8 um at least."""
    (row,) = thickness_of_parts(CASE, uneven(Patch(0.02, 0.9), Patch(0.01, 1.2)))
    assert (row.part, row.baseline_um, row.now_um) == ("body", pytest.approx(512), pytest.approx(512))
    assert (row.baseline_least_um, row.now_least_um) == (pytest.approx(512), pytest.approx(460.8))
    assert row.change_pct == pytest.approx(0.0, abs=1e-9)


def test_every_layer_has_its_own_difference() -> None:
    now = with_wall(Layer(SKIN, 3e-4), Layer(CORE, 9e-6), Layer(SKIN, 2e-4))
    (row,) = thickness_of_parts(CASE, now)
    assert [x.material for x in row.layers] == ["HDPE", "EVOH 32", "HDPE"]
    assert [x.change_pct for x in row.layers] == pytest.approx([0.0, -25.0, 0.0])
    assert row.change_pct == pytest.approx(100 * (509 / 512 - 1))


def test_layers_that_were_added_or_taken_out_stand_in_their_place() -> None:
    """A tie layer between the first two, and no outer skin."""
    tie = replace(SKIN, name="tie PE")
    now = with_wall(Layer(SKIN, 3e-4), Layer(tie, 5e-6), Layer(CORE, 12e-6))
    (row,) = thickness_of_parts(CASE, now)
    assert [(x.material, x.baseline_um is None, x.now_um is None) for x in row.layers] == [
        ("HDPE", False, False),
        ("tie PE", True, False),
        ("EVOH 32", False, False),
        ("HDPE", False, True),
    ]


def test_a_part_that_only_one_package_has_is_listed() -> None:
    wall = Wall("bottle", CASE.package.walls["bottle"].layers)
    parts = (*CASE.package.parts, WallPart("base", "bottle", (Patch(0.01, 1.5),)))
    now = replace(CASE, package=replace(CASE.package, parts=parts, walls={"bottle": wall}))
    body, base = thickness_of_parts(CASE, now)
    assert (base.part, base.baseline_um, base.now_um) == ("base", None, pytest.approx(768))
    assert base.layers[1] == LayerThickness("EVOH 32", None, pytest.approx(18.0), None)
    assert thickness_of_parts(now, CASE)[1].now_um is None
    assert body.part == "body"
