"""Workbooks among the projects of a folder: which are projects, what travels with them, what is kept."""

from __future__ import annotations

import io
import json
from collections import Counter
from pathlib import Path

import openpyxl
import pytest

import optimizer
from optimizer.portfolio.collect import bundle, find_projects, references
from optimizer.portfolio.store import Store
from optimizer.portfolio.work import Task, work
from optimizer.report.excel.results import results_workbook
from tests.report import samples

from .projects import project, single, write, write_book

pytest.importorskip("yaml")


def book(folder: Path, name: str, *titles: str, text: object = "x") -> Path:
    """A workbook with sheets of these names, and ``text`` in the first cell of each."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title in titles:
        made.create_sheet(title).append([text])
    path = folder / name
    made.save(path)
    return path


def answered(path: Path) -> dict[str, object]:
    made: dict[str, object] = json.loads(
        work(Task("predict", {}, path.name, optimizer.__version__, bundle(path)))
    )
    return made


def test_a_workbook_is_a_project_by_its_sheets_and_others_are_passed_over(tmp_path: Path) -> None:
    write_book(tmp_path, "pouch.xlsx")
    (tmp_path / "answer.xlsx").write_bytes(results_workbook(samples.PASSING))
    book(tmp_path, "offers.xlsx", "offers")
    book(tmp_path, "prices.xlsx", "Sheet1")
    book(tmp_path, "plan.xlsx", "Project", "Tasks")
    write(tmp_path, "~$pouch.xlsx", "owner")
    found = find_projects(tmp_path)
    assert [path.name for path in found.projects] == ["pouch.xlsx"]
    assert Counter(found.passed_over.values()) == {
        "with an answer": 1,
        "with offers": 1,
        "without sheets of a project": 2,
        "kept by an open spreadsheet program": 1,
    }


@pytest.mark.parametrize(
    "titles", [("Project", "Layers"), ("projekt", "Layer "), ("More",), ("Storage", "Answer", "Parts")]
)
def test_a_workbook_that_looks_like_a_project_has_a_row_of_its_own(
    tmp_path: Path, titles: tuple[str, ...]
) -> None:
    path = book(tmp_path, "pouch.xlsx", *titles)
    assert find_projects(tmp_path).projects == (path,)
    about = answered(path)["portfolio"]
    assert isinstance(about, dict)
    assert about["status"] == "input error"
    assert about["messages"][0].startswith(f"{path}!")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut off", b"\xd0\xcf\x11\xe0 with a password"])
def test_a_workbook_that_cannot_be_opened_is_not_passed_over(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "pouch.xlsx"
    path.write_bytes(content)
    assert find_projects(tmp_path).projects == (path,)
    about = answered(path)["portfolio"]
    assert isinstance(about, dict)
    assert about["status"] == "input error"
    assert "is no workbook that can be read" in about["messages"][0]


def test_the_answer_for_a_workbook_is_that_of_a_single_run_with_the_files_it_names(tmp_path: Path) -> None:
    write(tmp_path, "own.csv", "name,price\nLDPE,1.9 EUR/kg\n")
    text = project(materials="  - table: own.csv\n").replace("material: slab", "material: LDPE")
    path = write_book(tmp_path, "pouch.xlsx", text)
    record = answered(path)
    about = record.pop("portfolio")
    assert record == single(path)
    assert isinstance(about, dict)
    assert list(about["files"]) == ["pouch.xlsx", "own.csv"]


def test_names_in_groups_formulas_and_several_fonts_travel(tmp_path: Path) -> None:
    for name in ("own.csv", "body.stl", "lid.stl", "sun.csv"):
        write(tmp_path, name, "")
    made = openpyxl.Workbook()
    font = openpyxl.cell.text.InlineFont(b=True)
    parts = openpyxl.cell.rich_text.TextBlock(font, "body"), ".stl"
    rich = openpyxl.cell.rich_text.CellRichText(*parts)
    made.active.append(["name", "Mesh", "weather"])
    made.active.append(["{table: own.csv}", rich, "\u00a0sun.csv "])
    made.active.append([1.5, "none.csv", None])
    made.active.append(["package.parts.lid.mesh", None, None, "lid.stl"])
    out = io.BytesIO()
    made.save(out)
    names = {"own.csv", "body.stl", "sun.csv", "lid.stl"}
    assert set(references(out.getvalue(), tmp_path, book=True)) == names
    assert references(b"no workbook", tmp_path, book=True) == ()


def test_what_stands_elsewhere_in_a_workbook_stays_here(tmp_path: Path) -> None:
    write(tmp_path, "secret.txt", "secret")
    made = openpyxl.Workbook()
    made.active.append(["title", "../packs/secret.txt"])
    made.active.append(["{note: secret.txt}", "secret.txt", "[secret.txt]"])
    made.active.append(["'secret.txt'", "mesh"])
    out = io.BytesIO()
    made.save(out)
    assert references(out.getvalue(), tmp_path, book=True) == ()


def test_an_answer_for_a_workbook_holds_while_its_bytes_are_the_same(tmp_path: Path) -> None:
    path = write_book(tmp_path, "pouch.xlsx")
    store = Store(tmp_path / "results", "predict", {}, optimizer.__version__)
    store.prepare()
    store.save(path.name, json.dumps(answered(path)))
    assert store.kept(path.name, path) is not None
    changed = openpyxl.load_workbook(path)
    changed["Layers"]["C4"].value = 41
    changed.save(path)
    assert store.kept(path.name, path) is None
