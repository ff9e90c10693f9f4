"""Mass and cost of the layers of a design."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.geometry.surface import Patch
from optimizer.physics.material import Material
from optimizer.report.layers import weighed
from optimizer.results import ChosenLayer
from optimizer.shelflife.package import Package, WallPart

from .samples import DESIGNED, INFEASIBLE

SKIN = Material("skin", "PE", 950.0, {}, None, price=1.0, currency="EUR")
CORE = Material("core", "EVOH", 1200.0, {}, None, price=6.0, currency="EUR")
# 100 cm2 at nominal thickness and 10 cm2 at twice that: 120 cm2 of material per thickness
PACKAGE = Package(
    (WallPart("body", "film", (Patch(0.01),)), WallPart("base", "film", (Patch(0.001, 2.0),))), {}
)
RESULT = replace(DESIGNED, structure={"film": (ChosenLayer("skin", 100.0), ChosenLayer("core", 10.0))})


def test_layers_weigh_area_times_thickness_times_density() -> None:
    skin, core = weighed(RESULT, PACKAGE, [SKIN, CORE]).structure["film"]
    assert skin.mass_g == pytest.approx(0.012 * 100e-6 * 950 * 1e3)  # 1.14 g
    assert core.mass_g == pytest.approx(0.012 * 10e-6 * 1200 * 1e3)  # 0.144 g
    # cost 1.14 x 1 against 0.144 x 6 = 0.864
    assert skin.cost_share_pct == pytest.approx(100 * 1.14 / 2.004)
    assert skin.cost_share_pct + core.cost_share_pct == pytest.approx(100.0)  # type: ignore[operator]


def test_without_a_price_there_is_no_share() -> None:
    layers = weighed(RESULT, PACKAGE, [SKIN, replace(CORE, price=None)]).structure["film"]
    assert [layer.cost_share_pct for layer in layers] == [None, None]
    assert all(layer.mass_g for layer in layers)


def test_nothing_chosen_weighs_nothing() -> None:
    assert weighed(INFEASIBLE, PACKAGE, [SKIN]) == INFEASIBLE
