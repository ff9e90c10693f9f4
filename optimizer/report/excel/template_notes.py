"""Texts of a project workbook: how it is filled in, and the units that are read."""

from __future__ import annotations

from optimizer.project.book_sheets import SHEETS
from optimizer.units import KINDS
from optimizer.units.table import UNITS

#: How the workbook is filled in: a word, and what it says.
_HOW = (
    (
        "Fill in",
        "Change what is there, and add rows below. A number stands in one cell, its unit in the cell beside "
        "it: 300 and um. A text with its unit does as well: 300 um. Lists offer what is usual; other words "
        "may be typed.",
    ),
    (
        "Percentages",
        "50 % may be typed as 50% in the cell, or as 50 with the unit %. A bare 50 or 0.5 is refused where a "
        "unit is needed, as it could mean either.",
    ),
    ("Decimal sign", "As in your spreadsheet program. In texts a point: 1.5 mm."),
    (
        "Empty",
        "What has no value is left out. A unit without a number counts for nothing. In Layers, Labels, "
        "Properties, Profiles and Transmission an empty name means the same as in the row above.",
    ),
    (
        "Names",
        "Materials, walls and parts are called by the same name in every sheet. Rows whose first cell begins "
        "with # are not read, nor are columns and sheets whose names do.",
    ),
    ("Hidden rows", "Are read, as are those that a filter hides."),
    ("Rare columns", "Are folded away while they are empty: the + above a table opens them."),
    ("Formulas", "Their results are read as they were saved. Macros are never run."),
    ("Files", "Meshes, weather and tables are named by their path from the folder of this workbook."),
    (
        "Run it",
        "layerwright predict BOOK.xlsx; layerwright design BOOK.xlsx; and so on, as with a YAML file. "
        "What is wrong is told by sheet and cell.",
    ),
    ("As YAML", "layerwright template PROJECT.yaml --from BOOK.xlsx, and back."),
)


def start_lines(title: str, said: str) -> list[tuple[str, str]]:
    """Rows of the first sheet: a word, and what it says. said: what the workbook is."""
    lines = [("A project for layerwright", ""), ("", ""), ("Project", title)]
    if said:
        lines.append(
            ("Invented", f"{said} Put your own in their place before you read anything into the answers.")
        )
    lines += [("", ""), *_HOW, ("", ""), ("Sheets", "")]
    lines += [(sheet.name, sheet.about) for sheet in SHEETS]
    return [*lines, ("Units", "The units that are read, by kind of quantity.")]


def unit_rows() -> list[list[str]]:
    """Kind, symbols, examples, remark, for every kind of quantity of the project file."""
    rows = []
    for name, kind in KINDS.items():
        symbols = [
            symbol
            for symbol, unit in UNITS.items()
            if unit.symbol == symbol and (unit.dim in kind.dims and not unit.share or symbol in kind.shares)
        ]
        # a share without a unit is refused in a workbook; a ratio has none
        share = kind.shares and name != "ratio"
        examples = [text for text in kind.examples if not (share and _is_bare(text))]
        rows.append([name, ", ".join(symbols), "; ".join(examples), kind.note])
    return rows


def _is_bare(text: str) -> bool:
    return text.replace(".", "", 1).isdigit()
