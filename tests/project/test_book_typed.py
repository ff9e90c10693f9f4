"""What people type into a project workbook: how it is understood, and what is left out.

What spreadsheet programs store for what is typed (percentages as shares with a format, TRUE for true) is
common practice of these programs, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest

from optimizer.project.load import load_project
from tests.project.books import cell_of, changed, formatted, put, said

Change = Callable[[Any], None]

TYPED: dict[str, tuple[Change, tuple[str | int, ...], object]] = {
    "a decimal comma": (
        put("Layers", 5, thickness="8,5"),
        ("walls", "cup", "layers", 1, "thickness"),
        "8.5 um",
    ),
    "a comma and the unit": (
        put("Layers", 5, thickness="8,5 um", thickness_unit=None),
        ("walls", "cup", "layers", 1, "thickness"),
        "8.5 um",
    ),
    "a number stored as text": (
        put("Layers", 5, thickness="8"),
        ("walls", "cup", "layers", 1, "thickness"),
        "8 um",
    ),
    "text and unit, the unit again beside it": (
        put("Layers", 5, thickness="8 um"),
        ("walls", "cup", "layers", 1, "thickness"),
        "8 um",
    ),
    "the same unit, written in another way": (
        put("Layers", 5, thickness="8 µm"),
        ("walls", "cup", "layers", 1, "thickness"),
        "8 µm",
    ),
    "a minus sign as printers set it": (
        put("Storage", 4, temperature="\u22128"),
        ("storage", 0, "temperature"),
        "-8 degC",
    ),
    "a price shown with its currency": (
        formatted("Materials", "PP", "price", 1.25, '0.00" EUR"'),
        ("materials", 0, "price"),
        "1.25 EUR/kg",
    ),
    "blanks at the end": (
        put("Layers", 5, material="EVOH 32  "),
        ("walls", "cup", "layers", 1, "material"),
        "EVOH 32",
    ),
    "a no-break space": (
        put("Layers", 5, material="EVOH\u00a032\u200b"),
        ("walls", "cup", "layers", 1, "material"),
        "EVOH 32",
    ),
    "a percentage": (put("Storage", 4, humidity=0.55), ("storage", 0, "humidity"), "55 %"),
    "a percentage beside the unit %": (
        formatted("Limits", "water_gain", "value", 0.002, "0.0%"),
        ("product", "limits", "water_gain"),
        "0.2 %",
    ),
    "a percentage as text": (put("Storage", 4, humidity="55%"), ("storage", 0, "humidity"), "55%"),
    "a percentage among lengths with one unit": (
        formatted("Parts", "base", "thickness ratio", 1.3, "0%"),
        ("package", "parts", "base", "thickness_ratio"),
        "130 %",
    ),
    "a percentage as text with a comma": (
        put("Storage", 4, humidity="52,5 %"),
        ("storage", 0, "humidity"),
        "52.5 %",
    ),
    "a percentage with two formats": (
        formatted("Storage", 4, "humidity", 0.5, "0.0%;[Red]-0.0%"),
        ("storage", 0, "humidity"),
        "50 %",
    ),
    "a percentage in the sheet of everything": (
        lambda book: [
            setattr(book["More"].cell(4, 1), "value", "product.limits.water_loss"),
            formatted("More", 4, "value", 0.02, "0%")(book),
        ],
        ("product", "limits", "water_loss"),
        "2 %",
    ),
    "yes as a logical value": (
        put("Design", "rules.symmetric", value=False),
        ("design", "rules", "symmetric"),
        False,
    ),
    "Yes as a word": (
        put("Design", "rules.halogen_free", value="Yes"),
        ("design", "rules", "halogen_free"),
        True,
    ),
    "roles between commas": (
        put("Materials", "house grade PP", roles="seal, print ,core"),
        ("materials", 3, "roles"),
        ["seal", "print ,core"],
    ),
    "roles below each other": (
        put("Materials", "house grade PP", roles="seal\nprint; core"),
        ("materials", 3, "roles"),
        ["seal", "print", "core"],
    ),
    "its own unit beside a shared one": (
        put("Parts", "body", diameter="8 cm"),
        ("package", "parts", "body", "diameter"),
        "8 cm",
    ),
    "a name left empty below itself": (
        put("Layers", 5, wall=None),
        ("walls", "cup", "layers", 1, "material"),
        "tie PP",
    ),
    "a whole path in a sheet of a part of it": (
        put("Limits", "water_gain", key="product.limits.water_gain"),
        ("product", "limits", "water_gain"),
        "0.2 %",
    ),
    "digits as they are shown": (
        formatted("Materials", "PP", "price", 1.3, "0.00"),
        ("materials", 0, "price"),
        "1.30 EUR/kg",
    ),
    "digits that are not shown": (
        formatted("Materials", "PP", "price", 1.2345, "0.00"),
        ("materials", 0, "price"),
        "1.2345 EUR/kg",
    ),
}


@pytest.mark.parametrize("case", TYPED)
def test_what_people_type_is_understood(case: str, tmp_path: Path) -> None:
    from optimizer.project.book import read_book

    change, place, value = TYPED[case]
    found: Any = read_book(changed(tmp_path, change)).data
    for step in place:
        found = found[step]
    assert found == value
    assert type(found) is type(value)


def test_a_name_merged_down_its_rows_counts_for_each(tmp_path: Path) -> None:
    path = changed(tmp_path, lambda book: book["Layers"].merge_cells("A4:A8"))
    assert len(load_project(path).data["walls"]["cup"]["layers"]) == 5


def test_cells_merged_across_columns_are_refused(tmp_path: Path) -> None:
    lines = said(changed(tmp_path, lambda book: book["Layers"].merge_cells("A5:B5")))
    assert lines[0].startswith("book.xlsx!Layers!A5: cells are merged across columns")


def test_a_wall_written_with_another_capital_letter_is_not_a_wall_of_its_own(tmp_path: Path) -> None:
    assert said(changed(tmp_path, put("Layers", 4, wall="Cup"))) == [
        "book.xlsx!Layers!A5: 'cup' and 'Cup' in row 4 differ in capital letters alone (write the name in "
        "one way)"
    ]


def test_a_formula_that_gives_an_empty_text_is_an_empty_cell(tmp_path: Path) -> None:
    """As spreadsheet programs store it: type str, value empty (ISO/IEC 29500-1, 18.18.11 and 18.3.1.96)."""

    def formula(book: Any) -> None:
        book["Layers"].cell(9, 1).value = '=IF(B9="","",A8)'

    path = changed(tmp_path, formula)
    assert len(said(path)) == 1  # without a stored value it cannot be read
    with ZipFile(path) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    name = next(n for n, content in parts.items() if b'IF(B9="","",A8)' in content)
    before = b'<c r="A9"'
    assert parts[name].count(before) == 1
    parts[name] = parts[name].replace(before, before + b' t="str"')
    with ZipFile(path, "w") as file:
        for part, content in parts.items():
            file.writestr(part, content)
    assert said(path) == []


def test_cells_below_an_empty_heading_are_told_once(tmp_path: Path) -> None:
    def emptied(book: Any) -> None:
        cell_of(book["Layers"], 3, "thickness").value = None

    lines = said(changed(tmp_path, emptied))
    assert [line for line in lines if "without a heading" in line] == [
        "book.xlsx!Layers!C4: a cell without a heading above it (begin a remark with #, or "
        "write '# notes' above it)"
    ]


def test_remarks_are_not_read(tmp_path: Path) -> None:
    def remarked(book: Any) -> None:
        book["Layers"].cell(9, 1).value = "# an idea"
        book["Layers"].cell(9, 3).value = "thin"
        book["Layers"].cell(3, 6).value = "# mine"
        book["Layers"].cell(5, 6).value = "ask the line"
        book.create_sheet("# costs").append(["anything", 1, None, True])

    assert said(changed(tmp_path, remarked)) == []


def test_a_unit_without_a_number_counts_for_nothing(tmp_path: Path) -> None:
    def waiting(book: Any) -> None:
        assert cell_of(book["Layers"], 9, "thickness unit").value == "um"
        assert cell_of(book["Project"], "product.oxygen.dissolved_at_closing", "unit").value == "mg/L"

    assert said(changed(tmp_path, waiting)) == []


def test_no_example_of_a_share_in_the_sheet_of_units_is_a_bare_number() -> None:
    from optimizer.report.excel.template_notes import unit_rows

    examples = {row[0]: row[2] for row in unit_rows()}
    assert examples["relative humidity"].startswith("50 %")
    assert not any(text.replace(".", "").isdigit() for text in examples["fraction"].split("; "))
    assert examples["ratio"].startswith("1.4")
