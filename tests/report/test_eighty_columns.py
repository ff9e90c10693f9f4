"""Every page fits 80 columns and loses nothing, with long names, many layers and all gases, in both sets of
units; and its numbers are for people."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

import optimizer
from optimizer.catalog import load_catalog
from optimizer.report.materials import list_page, show_page
from optimizer.report.page import Item, Page, Raw, Rows
from optimizer.report.predict import predict_page
from optimizer.units.systems import SI, US, System

from .stress import PAGES, PREDICTED

ROOT = Path(__file__).parents[2]
#: What stands between the parts of a row that is written as an item.
_MARKS = "-:;"
SYSTEMS = pytest.mark.parametrize("units", [SI, US], ids=["si", "us"])


def letters(text: str) -> Counter[str]:
    """What a reader sees, wherever the lines are broken."""
    return Counter("".join(text.split()))


def lost(page: Page, width: int) -> list[str]:
    """Tables and items of which not every character is on the page, or another one is: with each heading
    once, or once in every row that has something below it where a table does not fit."""
    found = []
    for block in page.blocks:
        if isinstance(block, Rows):
            titles = [c.title for c in block.columns]
            cells = [(title, cell) for row in block.rows for title, cell in zip(titles, row, strict=True)]
            whole = letters(" ".join([*titles, *(cell for _, cell in cells)]))
            listed = letters(" ".join(f"{title}{cell}" for title, cell in cells if cell))
            shown = letters(Page().table(block.columns, block.rows).text(width=width))
            good = shown == whole or Counter({x: n for x, n in shown.items() if x not in _MARKS}) == Counter(
                {x: n for x, n in listed.items() if x not in _MARKS}
            )
        elif isinstance(block, Item):
            shown = letters(Page().hanging(block.mark, block.text).text(width=width))
            good = shown == letters(f"{block.mark} {block.text}")
        else:
            continue
        if not good:
            found.append(str(block))
    return found


def check(page: Page, width: int = 80) -> None:
    raw = {block.text for block in page.blocks if isinstance(block, Raw)}
    lines = [x for x in page.text(width=width).splitlines() if x not in raw]
    assert [x for x in lines if len(x) > width] == []
    assert lost(page, width) == []


@SYSTEMS
@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_80_columns_and_loses_no_letter(name: str, units: System) -> None:
    check(PAGES[name](units))


@SYSTEMS
@pytest.mark.parametrize("name", PAGES)
def test_a_page_in_a_narrow_terminal_loses_no_letter_either(name: str, units: System) -> None:
    check(PAGES[name](units), width=60)


@SYSTEMS
@pytest.mark.parametrize("name", PAGES)
def test_numbers_on_a_page_are_for_people(name: str, units: System) -> None:
    """Not 1.234567, 0.00, 0.30000000000000004 or nan; what is below 0.0001 has a power of ten."""
    text = PAGES[name](units).text()
    told = re.split("\nWhat was changed\n|\nSources used\n", text)[0]  # texts of others follow
    numbers = re.findall(r"(?<![\w.\[])\d+\.\d+(?:e[+-]\d+)?(?![\w.])", told)
    assert len(numbers) > 5
    assert [x for x in numbers if len(x.partition("e")[0].lstrip("0.").replace(".", "")) > 5] == []
    assert [x for x in numbers if float(x) == 0.0] == []
    assert not re.search(r"\b(nan|inf|None)\b", text)


@SYSTEMS
def test_a_number_that_is_not_there_is_a_dash(units: System) -> None:
    nan = float("nan")
    limits = tuple(replace(o, limit=nan, at_target=nan, margin_pct=nan) for o in PREDICTED.limits)
    ways = tuple(replace(t, value=nan, share=nan) for t in PREDICTED.transmission)
    films = tuple(replace(f, value=nan) for f in PREDICTED.film_transmission)
    layers = tuple(replace(x, thickness_um=nan, humidity_mid_pct=nan) for x in PREDICTED.layers)
    masses = {name: nan for name in PREDICTED.mass_by_material_g}
    result = replace(
        PREDICTED,
        limits=limits,
        transmission=ways,
        film_transmission=films,
        layers=layers,
        mass_g=nan,
        mass_by_material_g=masses,
        cost_per_package=nan,
    )
    text = predict_page(result, units=units).text()
    assert "nan" not in text
    assert "material cost -\n" in text
    assert f"{PREDICTED.layers[0].wall}, -" in " ".join(text.split())


@SYSTEMS
@pytest.mark.parametrize("name", ["oat_drink_bottle", "coffee_sachet", "sparkling_bottle"])
def test_an_example_fits_too(name: str, units: System) -> None:
    check(predict_page(optimizer.predict(ROOT / f"examples/{name}/project.yaml"), units=units))


@SYSTEMS
def test_the_property_table_fits_too(units: System) -> None:
    catalog = load_catalog()
    materials = [catalog.material(name) for name in catalog.names()]
    check(list_page(materials, units=units))
    for name in ("EVOH 32", "PET", "HDPE"):
        check(show_page(catalog, name, units=units))
