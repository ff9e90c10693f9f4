"""Sources of the numbers behind a report: all for the end, a line for each material for the first page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.constants import PERMEANTS
from optimizer.report.basis import basis
from optimizer.report.html.model import Basis
from optimizer.report.page import Block, Heading, Item, Page, Rows


@dataclass(frozen=True)
class Cited:
    """columns: gases that the answer is about and 'other'; materials: each with a cell for every column, such
    as 'handbook [2], memory [4] [7]'; citations: mark and text of those."""

    columns: tuple[str, ...]
    materials: tuple[tuple[str, ...], ...]
    citations: tuple[tuple[str, str], ...]


def full_sources(basis_of: Basis) -> tuple[Block, ...]:
    """Every number with its test, grade and source, and the sources below; as on a terminal, no heading."""
    page = basis(Page(), sources=basis_of.sources, gases=PERMEANTS)
    return tuple(block for block in page.blocks if not isinstance(block, Heading))


def cited(basis_of: Basis) -> Cited:
    """The grades of every material, by gas, with the numbers that the sources have in the full table."""
    blocks = full_sources(basis_of)
    marks = [row[-1] for block in blocks if isinstance(block, Rows) for row in block.rows]
    known = {subject(row) for row in basis_of.sources}
    gases = [gas for gas in PERMEANTS if gas in basis_of.gases and gas in known]
    cells: dict[str, dict[str, dict[str, list[str]]]] = {}
    for row, mark in zip(basis_of.sources, marks, strict=True):
        column = subject(row)
        if column not in gases:
            if column in PERMEANTS:
                continue
            column = "other"
        found = cells.setdefault(row.get("material", ""), {}).setdefault(column, {})
        own = found.setdefault(row.get("grade", ""), [])
        if mark not in own:
            own.append(mark)
    columns = (*gases, "other")
    rows = tuple(
        (material, *(_graded(own.get(column, {})) for column in columns)) for material, own in cells.items()
    )
    used = " ".join(cell for row in rows for cell in row[1:])
    texts = tuple((b.mark, b.text) for b in blocks if isinstance(b, Item) and b.mark in used)
    return Cited(columns, rows, texts)


def _graded(marks: Mapping[str, list[str]]) -> str:
    """'handbook [2], memory [4] [7]'."""
    return ", ".join(" ".join([grade, *own]).strip() for grade, own in marks.items())


def subject(row: Mapping[str, str]) -> str:
    """'O2' of 'O2 activation energy'."""
    return row.get("gas", "").partition(" ")[0]
