"""Files that are no project workbook: each is refused in one line, and none of them does harm.

The layout of .xlsx, a zip file of XML parts, is ISO/IEC 29500; encrypted ones are compound files that begin
with the bytes D0 CF 11 E0 (MS-CFB, 2.2).
"""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

from optimizer.errors import InputError
from optimizer.project.book import read_book
from optimizer.project.load import load_project
from optimizer.report.excel.results import results_workbook
from tests.project.books import bare, changed, opened, said, shipped
from tests.report import samples

COMPOUND = bytes.fromhex("D0CF11E0A1B11AE1") + bytes(504)


def parts(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(BytesIO(content)) as file:
        return {name: file.read(name) for name in file.namelist()}


def zipped(content: dict[str, bytes]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in content.items():
            file.writestr(name, data)
    return out.getvalue()


def without(name: str) -> bytes:
    return zipped({key: data for key, data in parts(bare()).items() if key != name})


def replaced(name: str, change: Callable[[bytes], bytes]) -> bytes:
    return zipped({key: change(data) if key == name else data for key, data in parts(bare()).items()})


def saved(book: openpyxl.Workbook) -> bytes:
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def offers(title: str = "Sheet") -> bytes:
    book = openpyxl.Workbook()
    book.active.title = title
    book.active.append(["supplier", "material", "price"])
    return saved(book)


def flipped(position: float) -> bytes:
    data = bytearray(bare())
    at = int(position * len(data))
    data[at] ^= 0xFF
    data[at + 1] ^= 0x55
    return bytes(data)


def bomb() -> bytes:
    return zipped({**parts(bare()), "xl/worksheets/sheet99.xml": b" " * 120_000_000})


def many_parts() -> bytes:
    return zipped({**parts(bare()), **{f"xl/media/{i}": b"" for i in range(2_001)}})


def entities() -> bytes:
    head = b'<!DOCTYPE a [<!ENTITY b "c"><!ENTITY d "&b;&b;&b;&b;">]>'
    return replaced("xl/workbook.xml", lambda xml: head + xml)


def far_cell() -> bytes:
    book = opened()
    book["Layers"].cell(1_048_576, 3).value = 1
    return saved(book)


def wide_cell() -> bytes:
    book = opened()
    book["Layers"].cell(200, 16_384).value = 1
    return saved(book)


SHEET = "xl/worksheets/sheet5.xml"
ODD: dict[str, tuple[Callable[[], bytes], str]] = {
    "nothing": (lambda: b"", "is no workbook that can be read: File is not a zip file"),
    "text": (lambda: b"format: 1\n", "is no workbook that can be read: File is not a zip file"),
    "a table of text": (
        lambda: b"material,price\nPP,1\n",
        "is no workbook that can be read: File is not a zip file",
    ),
    "a password": (lambda: COMPOUND, "is no workbook that can be read: File is not a zip file"),
    "random": (lambda: bytes(range(256)) * 9, "is no workbook that can be read: File is not a zip file"),
    "an empty zip file": (lambda: zipped({}), "is no workbook that can be read"),
    "another zip file": (lambda: zipped({"word/document.xml": b"<a/>"}), "is no workbook that can be read"),
    "half a file": (lambda: bare()[: len(bare()) // 2], "is no workbook that can be read"),
    "the end missing": (lambda: bare()[:-30], "is no workbook that can be read"),
    "no types": (lambda: without("[Content_Types].xml"), "is no workbook that can be read"),
    "no workbook part": (lambda: without("xl/workbook.xml"), "is no workbook that can be read"),
    "no sheet part": (lambda: without(SHEET), "the wall 'cup' is not defined"),
    "no relations": (lambda: without("xl/_rels/workbook.xml.rels"), "is no workbook that can be read"),
    "broken XML": (lambda: replaced(SHEET, lambda xml: xml[:-40]), "is no workbook that can be read"),
    "no XML": (lambda: replaced(SHEET, lambda xml: b"\x00\xff" * 99), "is no workbook that can be read"),
    "empty XML": (lambda: replaced("xl/workbook.xml", lambda xml: b""), "is no workbook that can be read"),
    "a text number that is none": (
        lambda: replaced(
            SHEET, lambda xml: xml.replace(b't="inlineStr"><is><t>cup</t></is>', b't="s"><v>9</v>')
        ),
        "is no workbook that can be read",
    ),
    "a reference to nowhere": (
        lambda: replaced(SHEET, lambda xml: xml.replace(b'r="A3"', b'r="3A"')),
        "is no workbook that can be read",
    ),
    "a number that is none": (
        lambda: replaced(SHEET, lambda xml: xml.replace(b"<v>320</v>", b"<v>32O</v>")),
        "is no workbook that can be read",
    ),
    "a damaged byte": (lambda: flipped(0.3), "is no workbook that can be read"),
    "another damaged byte": (lambda: flipped(0.9), "is no workbook that can be read"),
    "a zip bomb": (bomb, "is too large to be such a workbook"),
    "thousands of parts": (many_parts, "is too large to be such a workbook"),
    "entities": (entities, "is no workbook that can be read: its XML declares a document type"),
    "a cell in the last row": (far_cell, "the sheet has 1048576 rows (delete the empty rows below)"),
    "a cell in the last column": (
        wide_cell,
        "the sheet has 16384 columns (delete the empty columns at the right)",
    ),
    "an empty workbook": (
        lambda: saved(openpyxl.Workbook()),
        "has no sheet of a project with anything in it",
    ),
    "a sheet of another kind": (offers, "is not a sheet of a project"),
    "a sheet of offers": (lambda: offers("Offers"), "is a sheet of offers, not a project"),
    "an answer": (
        lambda: results_workbook(samples.PASSING),
        "is an answer written with --excel, not a project (give the project that it answers)",
    ),
}


@pytest.mark.parametrize("case", ODD)
def test_a_file_that_is_no_project_is_refused_in_one_line(case: str, tmp_path: Path) -> None:
    make, message = ODD[case]
    path = tmp_path / "odd.xlsx"
    path.write_bytes(make())
    with pytest.raises(InputError) as caught:
        load_project(path)
    texts = [str(problem) for problem in caught.value.problems]
    assert any(message in text for text in texts), texts
    assert all(problem.file.startswith(str(path)) for problem in caught.value.problems)


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("p.xls", "is an old workbook"),
        ("p.ods", "is a workbook of another format"),
        ("p.numbers", "another format"),
    ],
)
def test_files_of_other_programs_are_refused_by_name(name: str, what: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(COMPOUND)
    with pytest.raises(InputError, match=f"{what}.*save it as .xlsx"):
        load_project(path)


def test_a_file_that_is_not_there_and_a_folder_are_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        load_project(tmp_path / "none.xlsx")
    (tmp_path / "folder.xlsx").mkdir()
    with pytest.raises(InputError, match="is a folder, not a project file"):
        load_project(tmp_path / "folder.xlsx")


def test_a_file_that_may_not_be_read_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The administrator may read every file: then somebody else asks, from within the folder."""
    path = tmp_path / "p.xlsx"
    path.write_bytes(bare())
    load_project(path)  # what is loaded at first use may lie where only the administrator reads
    path.chmod(0)
    tmp_path.chmod(0o755)
    monkeypatch.chdir(tmp_path)
    administrator = os.geteuid() == 0
    if administrator:
        os.seteuid(65534)
    try:
        with pytest.raises(InputError, match=r"p\.xlsx: cannot be read"):
            load_project(Path("p.xlsx"))
    finally:
        if administrator:
            os.seteuid(0)


def test_a_file_of_many_megabytes_is_not_opened(tmp_path: Path) -> None:
    path = tmp_path / "p.xlsx"
    with path.open("wb") as stream:
        stream.truncate(20_000_001)
    with pytest.raises(InputError, match="is 20000001 bytes long, too long for a project file"):
        load_project(path)


def test_macros_are_not_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "p.xlsm"
    path.write_bytes(zipped({**parts(bare()), "xl/vbaProject.bin": COMPOUND}))
    assert said(path) == []


@pytest.mark.parametrize("position", [i / 25 for i in range(25)])
def test_no_damage_leads_to_anything_but_a_plain_refusal(position: float, tmp_path: Path) -> None:
    path = tmp_path / "odd.xlsx"
    path.write_bytes(flipped(position))
    try:
        load_project(path)
    except InputError as error:
        assert all(problem.file.startswith(str(path)) for problem in error.problems)


def test_text_never_becomes_a_formula(tmp_path: Path) -> None:
    from optimizer.project.starting import starting_data
    from optimizer.report.excel.template import template_workbook

    data = starting_data()
    for i, text in enumerate(("=1+1", "@now")):
        data["storage"][0]["name"] = text
        data["materials"][i % 2]["note"] = text
        path = tmp_path / f"{i}.xlsx"
        path.write_bytes(template_workbook(data))
        for sheet in openpyxl.load_workbook(path).worksheets:
            formulas = [c.coordinate for row in sheet.iter_rows() for c in row if c.data_type == "f"]
            assert sheet.title == "Lists" or not formulas
        assert read_book(path).data == data


def test_everything_that_is_offered_in_a_list_is_understood() -> None:
    from optimizer.project.book_layout import UNIT_LISTS
    from optimizer.units import KINDS

    for units in UNIT_LISTS.values():
        for unit in units:
            assert any(is_read(f"1 {unit}", kind, gas) for kind in KINDS for gas in ("O2", "H2O")), unit


def is_read(text: str, kind: str, gas: str) -> bool:
    from optimizer.errors import UnitError
    from optimizer.units import read

    try:
        read(text, kind, gas=gas)
    except UnitError:
        return False
    return True


def test_the_sheets_have_lists_remarks_and_frozen_headings(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(BytesIO(shipped()))
    layers, project = book["Layers"], book["Project"]
    assert (
        layers.freeze_panes == "B4" and layers.print_area and layers.cell(3, 3).comment.text == "Of the layer"
    )
    lists = {str(rule.sqref): rule.formula1 for rule in layers.data_validations.dataValidation}
    assert all(formula.startswith("Lists!$") for formula in lists.values()) and len(lists) == 3
    assert book["Lists"].sheet_state == "hidden"
    assert "invented" in " ".join(str(row[1].value) for row in book["Start"].iter_rows()).lower()
    assert project.cell(3, 1).value == "key"


def test_relative_files_are_beside_the_workbook(tmp_path: Path) -> None:
    def with_table(book: openpyxl.Workbook) -> None:
        titles = {cell.value: cell.column for cell in book["Materials"][3]}
        book["Materials"].cell(8, titles["table"]).value = "quotes.csv"

    path = changed(tmp_path, with_table)
    assert said(path) == [
        "book.xlsx!Materials!Z8: materials[4].table: there is no such file (paths are relative to the "
        "project file)"
    ]
    (tmp_path / "quotes.csv").write_text("name,price\nHDPE,1.3 EUR/kg\n", encoding="utf-8")
    project = load_project(path)
    assert [file.name for file in project.files] == ["book.xlsx", "quotes.csv"]
    before = project.sha256
    (tmp_path / "quotes.csv").write_text("name,price\nHDPE,1.4 EUR/kg\n", encoding="utf-8")
    assert load_project(path).sha256 != before
