"""What a wrong or an unusual cell of a project workbook leads to: the message, and the name of the cell.

What spreadsheet programs store for what is typed (percentages as shares with a format, TRUE for true, dates
for '1-2') is common practice of these programs, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.project.books import cell_of, changed, formatted, put, said

Change = Callable[[Any], None]


def error_value(book: Any) -> None:
    cell = cell_of(book["Layers"], 5, "thickness")
    cell.value, cell.data_type = "#DIV/0!", "e"


def renamed(book: Any) -> None:
    book["Layers"].title = "Layer"


def hidden(book: Any) -> None:
    book["Storage"].sheet_state = "hidden"


def filtered(book: Any) -> None:
    """As a spreadsheet program leaves a table that is filtered: the rows that do not match are hidden."""
    sheet = book["Layers"]
    sheet.auto_filter.ref = "A3:D8"
    sheet.auto_filter.add_filter_column(1, ["PP"])
    for row in (5, 6, 7):
        sheet.row_dimensions[row].hidden = True


def narrowed(book: Any) -> None:
    for column in ("C", "D"):
        book["Layers"].column_dimensions[column].hidden = True


def copied(book: Any) -> None:
    book["Layers"].title = "Layers (2)"


WRONG: dict[str, tuple[Change, str]] = {
    "a number of per cent in a cell that shows shares": (
        formatted("Storage", 4, "humidity", 50, "0%"),
        "Storage!F4: storage[0].humidity: the cell shows 5000 % (for 50 % type 50% into it)",
    ),
    "a share that is not shown as one": (
        formatted("Storage", 4, "humidity", 0.5, "0.00"),
        "Storage!F4: storage[0].humidity: '0.5' has no unit (write '0.5 %' or '50 %')",
    ),
    "a per cent sign that is only written behind": (
        formatted("Storage", 4, "humidity", 50, '0" %"'),
        "Storage!F4: storage[0].humidity: '50' has no unit (write '50 %')",
    ),
    "all or a hundredth": (
        lambda book: [
            put("Project", "product.headspace.gas.O2", unit=None)(book),
            formatted("Project", "product.headspace.gas.O2", "value", 1, "General")(book),
        ],
        "Project!B13: product.headspace.gas.O2: '1' has no unit (write '1 %' or '100 %')",
    ),
    "a percentage for a plain number": (
        formatted("Project", "product.water_activity", "value", 0.3, "0%"),
        "Project!B10: product.water_activity: '30 %' is not a plain number (for example 0.95, without a "
        "unit)",
    ),
    "a length shown in thousands": (
        formatted("Layers", 5, "thickness", 8000, "#,##0,"),
        "Layers!C5: walls.cup.layers[1].thickness: the number 8000 is shown in thousands (choose a number "
        "format that shows the whole number)",
    ),
    "a number in the cell of the unit": (
        put("Layers", 5, thickness_unit=1000),
        "Layers!C5: walls.cup.layers[1].thickness: '1000' stands in the cell of the unit (write a unit "
        "there, such as um)",
    ),
    "a filtered table": (
        filtered,
        "Layers!A5: the row is hidden, and something stands in it (show what is hidden, and clear the filter "
        "if there is one; or delete what is in it)",
    ),
    "a hidden column": (
        narrowed,
        "Layers!C4: the column is hidden, and something stands in it (show what is hidden, and clear the "
        "filter if there is one; or delete what is in it)",
    ),
    "the name of a copied sheet": (
        copied,
        "Layers (2): is not a sheet of a project (did you mean 'Layers'?; the name of a sheet of your own "
        "begins with #)",
    ),
    "a comma that may group thousands": (
        put("Layers", 5, thickness="1,500"),
        "Layers!C5: walls.cup.layers[1].thickness: '1,500' may be 1.500 or 1500 (write a decimal point, "
        "and nothing between thousands)",
    ),
    "two decimal signs": (
        put("Layers", 5, thickness="1.000,5"),
        "Layers!C5: walls.cup.layers[1].thickness: a comma in a number or unit (use a decimal point, and "
        "no thousands separator)",
    ),
    "no unit": (
        put("Layers", 5, thickness_unit=None),
        "Layers!C5: walls.cup.layers[1].thickness: '8' has no unit (for example '300 um')",
    ),
    "two units": (
        put("Layers", 5, thickness="8 mm"),
        "Layers!C5: walls.cup.layers[1].thickness: the number has the unit 'mm', and the cell of the unit "
        "has 'um' (keep one of them)",
    ),
    "the wrong unit": (
        put("Project", "product.mass", unit="mL"),
        "Project!B8: product.mass: 'mL' is the unit of a volume; expected a mass such as 200 g",
    ),
    "a unit that nobody knows": (
        put("Layers", 5, thickness_unit="umm"),
        "Layers!C5: walls.cup.layers[1].thickness: unknown unit 'umm' (did you mean um or mm?)",
    ),
    "an empty cell": (
        put("Layers", 5, thickness=None),
        "Layers!C5: walls.cup.layers[1].thickness: is missing (for example 'thickness: 320 um')",
    ),
    "an empty name": (
        put("Layers", 5, material=None),
        "Layers!B5: walls.cup.layers[1].material: is missing (for example 'material: HDPE')",
    ),
    "a value of a key that is missing": (
        put("Project", "product.mass", value=None),
        "Project!B8: product.mass: is missing (for example 'mass: 1.03 kg')",
    ),
    "a logical value for a name": (
        put("Layers", 5, material=True),
        "Layers!B5: walls.cup.layers[1].material: the logical value TRUE where text or a number belongs "
        "(for the name 'true' format the cell as text and type it again)",
    ),
    "a date": (
        put("Layers", 5, thickness=datetime(2026, 1, 2)),
        "Layers!C5: a date or time where text or a number belongs (format the cell as text and type it "
        "again)",
    ),
    "a time of day": (
        put("Storage", 4, duration=time(4, 0)),
        "Storage!B4: a date or time where text or a number belongs (format the cell as text and type it "
        "again)",
    ),
    "a span of time": (
        put("Storage", 4, duration=timedelta(hours=4)),
        "Storage!B4: a date or time where text or a number belongs (format the cell as text and type it "
        "again)",
    ),
    "a formula that was never computed": (
        put("Layers", 5, thickness="=4*2"),
        "Layers!C5: a formula without a stored value (save the file in a spreadsheet program)",
    ),
    "an error value": (error_value, "Layers!C5: the formula ends in the error #DIV/0! (correct it)"),
    "a word for a number": (
        put("Layers", 5, thickness="thick"),
        "Layers!C5: walls.cup.layers[1].thickness: a number must come first; expected a length such as 300 "
        "um",
    ),
    "a share that is no percentage": (
        formatted("Storage", 4, "humidity", 0.5, "General"),
        "Storage!F4: storage[0].humidity: '0.5' has no unit (write '0.5 %' or '50 %')",
    ),
    "a share that is no percentage, as text": (
        put("Storage", 4, humidity="0,5"),
        "Storage!F4: storage[0].humidity: '0.5' has no unit (write '0.5 %' or '50 %')",
    ),
    "a share of a measured value": (
        formatted("Properties", 4, "humidity", 0.5, "General"),
        "Properties!L4: materials[3].permeability[0].humidity: '0.5' has no unit (write '0.5 %' or '50 %')",
    ),
    "a share in a limit, as text": (
        put("Limits", "water_gain", value="0,2", unit=None),
        "Limits!B6: product.limits.water_gain: '0.2' has no unit (write '20 %')",
    ),
    "a % that is only a letter of the number format": (
        formatted("Storage", 4, "humidity", 0.5, '0.0"%"'),
        "Storage!F4: storage[0].humidity: '0.5' has no unit (write '0.5 %' or '50 %')",
    ),
    "two units, one of them joined to its number": (
        put("Layers", 5, thickness="0,008mm"),
        "Layers!C5: walls.cup.layers[1].thickness: the number has the unit 'mm', and the cell of the unit "
        "has 'um' (keep one of them)",
    ),
    "two scales of temperature": (
        put("Storage", 4, temperature="64°F"),
        "Storage!D4: storage[0].temperature: the number has the unit '°F', and the cell of the unit has "
        "'degC' (keep one of them)",
    ),
    "two units, one of them in the number format": (
        formatted("Layers", 5, "thickness", 8, '0.0" mm"'),
        "Layers!C5: walls.cup.layers[1].thickness: is shown in mm, beside the unit 'um' (keep one of them)",
    ),
    "a blank between thousands": (
        put("Layers", 5, thickness="1 000"),
        "Layers!C5: walls.cup.layers[1].thickness: two numbers in a row (write one number, without a blank "
        "inside)",
    ),
    "a no in another language": (
        put("Materials", "PP", food_contact="nein"),
        "Materials!M4: materials[0].food_contact: 'nein' is neither yes nor no (write yes or no)",
    ),
    "a material with two prices": (
        put("Materials", 8, material="pp", price=12.5),
        "Materials!A8: the material 'pp' stands already in row 4 (keep one of them)",
    ),
    "a property that is misspelt": (
        put("Properties", 4, property="permeabilty"),
        "Properties!B4: materials[3].permeabilty: there is no key 'permeabilty' (did you mean permeability?)",
    ),
    "a closed piece of a part that is not there": (
        put("Transmission", 4, part="lidd"),
        "Transmission!A4: there is no part 'lidd' in the sheet Parts (did you mean 'lid'?)",
    ),
    "a note below the layers": (
        put("Layers", 12, wall="measured on three cups"),
        "Layers!A12: nothing stands beside 'measured on three cups' (fill in the row, or begin a remark with "
        "#)",
    ),
    "a percentage without its sign": (
        formatted("Storage", 4, "humidity", 50, "General"),
        "Storage!F4: storage[0].humidity: '50' has no unit (write '50 %')",
    ),
    "more than all of it": (
        put("Storage", 4, humidity=1.2),
        "Storage!F4: storage[0].humidity: a relative humidity is between 0 % and 100 % (for example '50 %')",
    ),
    "a percentage of a length": (
        formatted("Layers", 5, "thickness", 0.08, "0%"),
        "Layers!C5: walls.cup.layers[1].thickness: is shown as the percentage 8 %, beside the unit 'um' "
        "(keep one of them)",
    ),
    "an unknown material": (
        put("Layers", 5, material="EVOH 33"),
        "Layers!B5: walls.cup.layers[1].material: there is no material 'EVOH 33' (did you mean EVOH 38 or "
        "EVOH 32?)",
    ),
    "an unknown shape": (
        put("Parts", "body", shape="cylindre"),
        "Parts!A4: package.parts.body: the shape 'cylindre' is not known (did you mean 'cylinder'?)",
    ),
    "a dimension that the shape has not": (
        put("Parts", "body", depth=5),
        "Parts!H4: package.parts.body.depth: is not a known key (keys: wall, thickness_ratio, thickness, "
        "shape, diameter, height, dimensions)",
    ),
    "a dimension too few": (
        put("Parts", "body", diameter=None),
        "Parts!D4: package.parts.body.diameter: is missing (for example 'diameter: 75 mm')",
    ),
    "a wall that is not there": (
        put("Parts", "body", wall="cupp"),
        "Parts!C4: package.parts.body.wall: the wall 'cupp' is not defined (did you mean 'cup'?)",
    ),
    "a part twice": (
        put("Parts", "base", part="body"),
        "Parts!A5: the part 'body' stands already in row 4 (give each its own name)",
    ),
    "a part without a name": (put("Parts", "base", part=None), "Parts!A5: no part is named here"),
    "an unknown gas": (
        put("Transmission", 4, gas="O3"),
        "Transmission!B4: package.parts.lid.transmission[0].gas: 'O3' is not known here (one of: O2, CO2, "
        "N2, H2O)",
    ),
    "a heading that is misspelt": (
        lambda book: setattr(cell_of(book["Layers"], 3, "thickness"), "value", "tickness"),
        "Layers!C3: there is no column 'tickness' (did you mean 'thickness' or 'thickness unit'?; a column "
        "of your own begins with #)",
    ),
    "no headings": (
        lambda book: book["Profiles"].delete_rows(3),
        "Profiles: the headings are missing (a row with the headings part, height, radius, unit, ...)",
    ),
    "a cell without a heading": (
        lambda book: setattr(book["Layers"].cell(5, 9), "value", "see mail"),
        "Layers!I5: a cell without a heading above it (begin a remark with #, or write '# notes' above it)",
    ),
    "a sheet that is misspelt": (
        renamed,
        "Layer: is not a sheet of a project (did you mean 'Layers'?; the name of a sheet of your own "
        "begins with #)",
    ),
    "a hidden sheet": (
        hidden,
        "Storage: the sheet is hidden, and something stands in it (show it, or delete what is in it)",
    ),
    "a key that is misspelt": (
        put("Project", "product.mass", key="product.maas"),
        "Project!A8: product.maas: is not a known key (did you mean 'mass'?)",
    ),
    "a path that is none": (
        put("More", 4, key="a..b", value=5),
        "More!A4: 'a..b' is not the path of a key (for example product.mass)",
    ),
    "a value without a key": (put("More", 4, value=5), "More!B4: a value without a key beside it"),
    "a key given in two sheets": (
        put("More", 4, key="product.mass", value=5, unit="g"),
        "More!A4: product.mass: is given already in Project!B8 (keep one of them)",
    ),
    "a key below a value": (
        put("More", 4, key="product.mass.net", value=5),
        "More!A4: product.mass.net: Project!B8 gives one value for 'product.mass' (keep one of them)",
    ),
    "an entry that is too far": (
        put("More", 4, key="storage[7].start", value="July"),
        "More!A4: storage[7].start: there is no entry [3] before it (entries count from [0])",
    ),
    "an entry of no name": (
        put("More", 4, key="materials.PA6.note", value="x"),
        "More!A4: materials.PA6.note: 'materials' has no entry, or several, with the name 'PA6' (give its "
        "number, as materials[0])",
    ),
    "an entry of a group": (
        put("More", 4, key="walls[0]", value="x"),
        "More!A4: walls[0]: 'walls' is a group, not a list (give a name, not a number)",
    ),
    "a group that is not closed": (
        put("More", 4, key="uncertainty.layers", value="{PP: 5 %"),
        "More!B4: uncertainty.layers: is no valid YAML: a bracket is not closed or a comma is missing "
        "before this place (expected ',' or '}', but got '<stream end>') (a group is written {min: 8 um, "
        "max: 300 um})",
    ),
    "a density out of this world": (
        put("Materials", "house grade PP", density=5),
        "Materials!D7: materials[3].density: no packaging material has such a density (e.g. 0.92 g/cm3)",
    ),
    "a test without its temperature": (
        put("Properties", 4, temperature=None),
        "Properties!J4: materials[3].permeability[0].temperature: the temperature of the test is missing "
        "(e.g. 23 degC)",
    ),
    "a role that is none": (
        put("Materials", "house grade PP", roles="seal; printt"),
        "Materials!K7: materials[3].roles: 'printt' is not a role (one of seal, print, core, barrier, "
        "bond, coating)",
    ),
    "neither yes nor no": (
        put("Design", "rules.symmetric", value="perhaps"),
        "Design!B28: design.rules.symmetric: 'perhaps' is neither yes nor no (write yes or no)",
    ),
    "a word for a count": (
        put("Design", "rules.max_layers", value="five"),
        "Design!B11: design.rules.max_layers: 'five' is not a plain number (for example 1, without a unit)",
    ),
    "a value of nobody": (
        put("Profiles", 4, height=5, unit="mm"),
        "Profiles!A4: no part is named here (empty means as in the row above; the first row needs it)",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_cell_is_named_with_what_would_be_right(case: str, tmp_path: Path) -> None:
    change, message = WRONG[case]
    assert said(changed(tmp_path, change)) == [f"book.xlsx!{message}"]


def test_all_problems_come_at_once(tmp_path: Path) -> None:
    def several(book: Any) -> None:
        for case in ("an unknown gas", "no unit", "a dimension too few", "more than all of it"):
            WRONG[case][0](book)

    places = {line.split(":")[0] for line in said(changed(tmp_path, several))}
    assert places == {
        "book.xlsx!Transmission!B4",
        "book.xlsx!Layers!C5",
        "book.xlsx!Parts!D4",
        "book.xlsx!Storage!F4",
    }


def test_a_section_that_is_missing_points_at_its_sheet(tmp_path: Path) -> None:
    def emptied(book: Any) -> None:
        book["Storage"].delete_rows(4, 3)

    (line,) = said(changed(tmp_path, emptied))
    assert line.startswith("book.xlsx!Storage!A3: storage: is missing")


@pytest.mark.parametrize(
    ("shown", "right"),
    [
        ("[$$-409]#,##0.00", False),
        ('"$"#,##0.00', False),
        ("#,##0.00 [$USD]", False),
        ("£0.00", False),
        ("#,##0.00 [$€-407]", True),
        ("[$EUR] 0.00", True),
        ("0.00 €", True),
    ],
)
def test_a_price_shown_in_another_currency_than_its_unit_is_refused(
    shown: str, right: bool, tmp_path: Path
) -> None:
    """Forms of a currency in a number format: ISO/IEC 29500-1, 18.8.31."""
    lines = said(changed(tmp_path, formatted("Materials", "PP", "price", 1.25, shown)))
    told = [
        line for line in lines if line.startswith("book.xlsx!Materials!B4: materials[0].price: is shown in ")
    ]
    assert len(told) == (0 if right else 1)
    assert bool(lines) is not right


@pytest.mark.parametrize(("price", "shown"), [(1.25, '"$"#,##0.00'), (1250, "0,"), (1.25, "yyyy-mm-dd")])
def test_a_price_that_cannot_be_read_is_not_said_to_be_missing_too(
    price: float, shown: str, tmp_path: Path
) -> None:
    (line,) = said(changed(tmp_path, formatted("Materials", "PP", "price", price, shown)))
    assert line.startswith("book.xlsx!Materials!B4: ")


def test_what_the_template_holds_ready_may_be_hidden(tmp_path: Path) -> None:
    """Units that wait for a number, keys that wait for a value, columns and remarks that are not read."""

    def hidden_rests(book: Any) -> None:
        layers, limits = book["Layers"], book["Limits"]
        assert (layers.cell(9, 1).value, layers.cell(9, 4).value) == (None, "um")
        layers.row_dimensions[9].hidden = True
        layers.cell(10, 1).value = "# an idea"
        layers.row_dimensions[10].hidden = True
        waiting = next(n for n in range(4, 30) if limits.cell(n, 2).value is None)
        limits.row_dimensions[waiting].hidden = True
        book["Parts"].column_dimensions["I"].hidden = True
        layers.cell(3, 6).value = "notes"
        layers.cell(5, 6).value = "ask the line"
        layers.column_dimensions["F"].hidden = True

    assert said(changed(tmp_path, hidden_rests)) == []
