"""Design of packages in an outer pack: the structure returned passes in the space that it makes itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from optimizer.design.options import DesignOptions
from optimizer.design.solve import solve_design
from optimizer.design.tradeoff import tradeoff
from optimizer.errors import InputError
from optimizer.geometry.surface import Patch
from optimizer.shelflife.nested import surrounded
from optimizer.shelflife.package import Case, Layer, OuterPack, Package, Wall, WallPart
from optimizer.shelflife.predict import predict

from .cases import TABLE, case_of, cracker, wall_of


def crackers(outer: OuterPack | None) -> Case:
    film = wall_of(("LDPE", 60))
    case = case_of(cracker(water_activity_max=0.40), film, area=0.05)
    return surrounded(replace(case, outer=outer, wall="steady"))


def wrap(thickness: float) -> OuterPack:
    wall = Wall("wrap", (Layer(TABLE["LDPE"], thickness),))
    package = Package((WallPart("wrap", "wrap", (Patch(0.25),)),), {"wrap": wall})
    return OuterPack(12, package, 3e-3)


OPTIONS = DesignOptions(
    ("film",), "mass", (TABLE["LDPE"],), max_layers=1, inside_role=None, outside_role=None, touching=None
)


@pytest.mark.slow
def test_a_wrap_saves_film_on_every_package_and_the_design_passes_in_its_own_space() -> None:
    open_air = solve_design(crackers(None), OPTIONS, binding_time=0.0)
    wrapped = crackers(wrap(40e-6))
    found = solve_design(wrapped, OPTIONS, binding_time=0.0)
    assert open_air.structure["film"][0].thickness_um > 1.1 * found.structure["film"][0].thickness_um
    layer = Layer(TABLE["LDPE"], found.structure["film"][0].thickness_um * 1e-6)
    own = surrounded(replace(wrapped, package=wrapped.package.with_walls({"film": Wall("film", (layer,))})))
    again = predict(own)
    assert again.passes
    assert found.predicted is not None
    assert again.limits[0].at_target == pytest.approx(found.predicted.limits[0].at_target, rel=1e-4)
    # no thicker than need be: a twentieth less fails
    thin = Wall("film", (replace(layer, thickness=0.95 * layer.thickness),))
    assert not predict(surrounded(replace(wrapped, package=own.package.with_walls({"film": thin})))).passes
    assert any("rounds" in text for text in found.assumptions)


@pytest.mark.slow
def test_a_design_that_has_not_settled_claims_no_proof(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimizer.design.nested.ROUNDS", 1)
    found = solve_design(crackers(wrap(40e-6)), OPTIONS)
    assert found.status == "time_limit"
    assert found.lower_bound is None and found.gap is None
    assert found.predicted is None or found.predicted.passes
    assert any("not proved" in text for text in found.warnings)


@pytest.mark.slow
def test_listed_walls_that_make_the_space_moist_do_not_make_the_design_impossible() -> None:
    """Walls that let next to nothing through leave the space to the damp air; real walls dry it."""
    listed = crackers(wrap(300e-6))
    tight = Wall("film", (Layer(TABLE["LDPE"], 5e-3),))
    case = surrounded(replace(listed, package=listed.package.with_walls({"film": tight})))
    found = solve_design(case, OPTIONS, binding_time=0.0)
    again = solve_design(listed, OPTIONS, binding_time=0.0)
    assert found.status == again.status == "optimal"
    assert found.structure["film"][0].thickness_um == pytest.approx(
        again.structure["film"][0].thickness_um, rel=2e-3
    )


@pytest.mark.parametrize("run", [tradeoff, lambda case, options: solve_design(case, options, confidence=0.9)])
def test_what_would_keep_the_gas_of_other_walls_is_refused(run: Callable[..., object]) -> None:
    with pytest.raises(InputError, match="cannot follow the gas inside an outer pack"):
        run(crackers(wrap(40e-6)), OPTIONS)
