"""What the answers say of walls whose thickness changes from place to place."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.geometry.surface import Patch, Unevenness
from optimizer.report.check import check_page
from optimizer.report.page import Page
from optimizer.report.predict import predict_page
from optimizer.report.uneven import uneven_section
from optimizer.shelflife.package import Case, Limit, Package, WallPart
from optimizer.shelflife.predict import predict
from optimizer.shelflife.thicknesses import thickness_of_parts
from tests.shelflife.builders import case_of, dry_powder, one_wall, plain, still

from .samples import CHECKED, PASSING

#: Half of the area at 0.8 and half at 1.2 of the nominal thickness: the mean is 1; what passes goes with
#: (1/0.8 + 1/1.2) / 2 = 1.0417, so an even wall would let through 1 - 1/1.0417 = 4 % less; the thinnest tenth
#: passes 0.1/0.8 / 1.0417 = 12 %.
HALVES = Unevenness(
    mean=1.0, least=0.7, most=1.3, p05=0.8, p95=1.2, spread=0.2, flattery=0.04, worst_share=0.12,
    worst_place="at heights of 50 to 80 mm", classes=2, class_error=0.0, method="height table local.csv",
)  # fmt: skip
TITLE = "Wall thickness from place to place, um"
PATCHES = (Patch(0.02, 0.8), Patch(0.02, 1.2))
ROW = {
    "part": "body", "wall": "wall", "area_cm2": 400.0, "nominal_thickness_um": 300.0, "mass_g": 16.2,
    "mean_thickness_um": 300.0, "least_thickness_um": 210.0, "p05_thickness_um": 240.0,
    "p95_thickness_um": 360.0, "flattery_pct": 4.0, "worst_tenth_share_pct": 12.0,
    "worst_tenth_place": "at heights of 50 to 80 mm", "thickness_method": "height table local.csv",
    "thickness_estimate": False,
}  # fmt: skip


def uneven_package(unevenness: Unevenness | None) -> Package:
    package = one_wall(plain(), 300e-6, 0.04)
    return Package((WallPart("body", "wall", PATCHES, unevenness),), package.walls)


def case(unevenness: Unevenness | None) -> Case:
    return case_of(dry_powder((Limit("oxygen_gain", 1e-3),)), uneven_package(unevenness), still())


def said(page: Page) -> str:
    return " ".join(page.text().split())


def test_the_answer_gives_the_thicknesses_of_an_uneven_part_in_micrometres() -> None:
    [row] = predict(case(HALVES)).as_dict()["geometry"]
    assert row == {k: pytest.approx(v) if isinstance(v, float) else v for k, v in ROW.items()}


def test_an_even_part_has_none_of_these_keys() -> None:
    [row] = predict(case(None)).as_dict()["geometry"]
    assert set(row) == {"part", "wall", "area_cm2", "nominal_thickness_um", "mass_g"}


def test_the_thinnest_place_is_that_of_the_field_and_not_of_its_classes() -> None:
    field, classes = case(HALVES), case(None)
    [row] = thickness_of_parts(classes, field)
    assert row.now_least_um == pytest.approx(210.0)
    assert row.baseline_least_um == pytest.approx(240.0)


def test_the_text_says_what_the_mean_would_hide_and_where_it_is_thin() -> None:
    text = said(predict_page(replace(PASSING, geometry=(ROW,))))
    assert TITLE in text
    assert "body 300 210 240 360 height table local.csv" in text
    assert "an even wall of the mean thickness would let through 4 % less" in text
    assert "the thinnest tenth of the area, at heights of 50 to 80 mm, lets 12 % of it through." in text


def test_a_measured_wall_that_is_even_gets_no_sentence() -> None:
    keys = ("mean", "least", "p05", "p95")
    row = {**ROW, **{f"{key}_thickness_um": 300.0 for key in keys}, "flattery_pct": 0.0}
    page = Page()
    uneven_section(page, [row])
    assert TITLE in said(page) and "thinnest tenth" not in said(page)


def test_a_first_estimate_is_called_one() -> None:
    page = Page()
    uneven_section(page, [{**ROW, "thickness_estimate": True, "thickness_method": "stretched parison"}])
    assert "stretched parison; first estimate" in said(page)


def test_nothing_is_said_of_even_walls() -> None:
    assert "place to place" not in predict_page(PASSING).text()
    even = {k: v for k, v in ROW.items() if k in ("part", "wall", "area_cm2", "mass_g")}
    assert "place to place" not in predict_page(replace(PASSING, geometry=(even,))).text()


def test_a_check_says_it_of_the_changed_package() -> None:
    changed = replace(CHECKED.changed, geometry=(ROW,))
    text = said(check_page(replace(CHECKED, changed=changed)))
    assert "Changed package: wall thickness from place to place, um" in text
    baseline = replace(CHECKED.baseline, geometry=(ROW,))
    assert "place to place" not in said(check_page(replace(CHECKED, baseline=baseline)))


def test_long_names_of_parts_and_methods_stay_within_the_page() -> None:
    page = Page()
    uneven_section(
        page, [{**ROW, "part": "upper_shoulder_of_the_bottle", "thickness_method": "points " * 12}]
    )
    assert max(len(line) for line in page.text(width=60).splitlines()) <= 60
