"""What is from a workbook is told by its cell, in answers as in messages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import optimizer
from optimizer.catalog.lint import lint_entries
from optimizer.project.entry_places import EntryPlaces
from optimizer.project.load import load_project
from optimizer.report.predict import predict_page
from tests.project.books import cell_of, changed


def test_the_source_of_a_value_names_its_sheet_and_cell(tmp_path: Path) -> None:
    def unsourced(book: Any) -> None:
        cell_of(book["Properties"], 6, "source").value = None

    path = changed(tmp_path, unsourced)
    result = optimizer.predict(path)
    sources = [row["source"].replace(f"{tmp_path}/", "") for row in result.sources]
    own = [text for text in sources if "book.xlsx" in text]
    assert "book.xlsx!Materials!A7" in own  # the density, of the sheet's own fourth row
    assert "invented (book.xlsx!Properties!A4); 23 degC, 50 %RH" in own
    assert "book.xlsx!Properties!A6; 38 degC, 90 %RH" in own  # where no source stands, the row is the source
    assert not any("xlsx:" in text for text in sources)
    assert "xlsx:" not in "".join(predict_page(result).text().split())


def test_what_looks_wrong_in_a_row_names_the_cell_of_the_other_row(tmp_path: Path) -> None:
    def doubled(book: Any) -> None:
        sheet = book["Properties"]
        for column in range(1, sheet.max_column + 1):
            sheet.cell(8, column).value = sheet.cell(4, column).value

    project = load_project(changed(tmp_path, doubled))
    entries = project.data["materials"]
    places = EntryPlaces(project.source, range(len(entries)))
    found = lint_entries(project.catalog, entries, project.source.file, places.locate)
    (twice,) = [f.problem.message for f in found if "the same material" in f.problem.message]
    assert twice == "the same material, gas and conditions as Properties!A4"
