"""Facts for reports, against areas worked out by hand."""

from __future__ import annotations

from pathlib import Path

from optimizer.project import load_project
from optimizer.project.describe import describe_parts, describe_product

GOOD = Path(__file__).parent.parent / "data" / "projects" / "good"


def test_every_part_is_described_with_area_and_mean_thickness() -> None:
    rows = {row["part"]: row for row in describe_parts(load_project(GOOD / "oat_drink.yaml").case)}
    # mid-wall of 548 um: pi * (75 - 0.548) mm * 210 mm = 491.2 cm2
    assert rows["body"]["area"] == "491.2 cm2" and rows["body"]["thickness"] == "548 um"
    # 1.4 times 548 um
    assert rows["base"]["thickness"] == "767.2 um"
    assert rows["neck"]["area"] == "18 cm2" and rows["neck"]["thickness"] == "1096 um"
    assert rows["cap"]["kind"] == "closure: O2"
    assert rows["hole"]["kind"] == "1 hole(s) 20 um x 300 um"


def test_the_product_is_described_in_a_line() -> None:
    case = load_project(GOOD / "dry_biscuit.yaml").case
    assert describe_product(case) == "210 g, 0.35 L, headspace 150 mL (flexible)"
