"""What the answer rests on, in the height that the first page leaves: the first warnings, assumptions and
cautions, and the grades of the sources by material."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.report.cautions import gathered
from optimizer.report.html.cited import Cited, cited
from optimizer.report.html.model import Basis
from optimizer.report.html.room import SHEET_WIDTH, Type, cut, first_of, fitting, lines
from optimizer.report.wording import in_words

_ITEM = Type(7.8, 0.5 * (SHEET_WIDTH - 6.0) - 4.0)
_SOURCE = Type(7.4, SHEET_WIDTH - 8.0)
#: Heights [mm]: a heading with the space above it, and padding of a row of a table.
_HEADING, _ROW = 6.2, 0.9
#: Most of the height that sources take, and of it the table; of a column of lists, cautions.
_SOURCES, _TABLE, _CAUTIONS = 0.5, 1.0, 0.5
#: Most lines of one caution: a danger is told whole.
_WHOLE = 4
#: How cautions begin that hold for every package: behind those of the case at hand, as a danger to life.
_USUAL = ("A prediction is for screening", "Food-contact and recycling rules", "An offer says nothing of")
#: What is said of gases that no limit follows, here where the whole list stands at the end.
_ELSEWHERE = ", in the JSON answer"


@dataclass(frozen=True)
class Shown:
    """The first of some texts, and how many more there are."""

    items: tuple[str, ...]
    more: int = 0

    def lines(self, kind: Type) -> int:
        """Lines of all items, and of the one that says how many are left out."""
        return sum(lines(item, kind) for item in self.items) + bool(self.more)


@dataclass(frozen=True)
class Grounds:
    """headings: of the table of sources; materials: its rows; citations: mark and text."""

    warnings: Shown
    assumptions: Shown
    cautions: Shown
    headings: tuple[str, ...]
    materials: tuple[tuple[str, ...], ...]
    more_materials: int
    citations: tuple[tuple[str, str], ...]
    more_citations: int


def grounds_of(basis: Basis, room: float) -> Grounds:
    """room: height for all of it [mm]."""
    sources = cited(basis)
    rows, texts, height = _sources(sources, _SOURCES * room)
    warnings, cautions, assumptions = _lists(basis, room - height)
    taken = max(_tall(warnings) + _tall(cautions), _tall(assumptions))
    rows, texts, _ = _sources(sources, room - taken)
    return Grounds(
        warnings=warnings,
        assumptions=assumptions,
        cautions=cautions,
        headings=sources.columns,
        materials=sources.materials[:rows],
        more_materials=len(sources.materials) - rows,
        citations=texts,
        more_citations=len(sources.citations) - len(texts),
    )


def _lists(basis: Basis, room: float) -> tuple[Shown, Shown, Shown]:
    """Warnings and cautions share a column, whose lines warnings get first beyond a share of cautions."""
    most = int((room - _HEADING) / _ITEM.line)
    warnings, cautions = warnings_of(basis), cautions_of(basis)
    shared = most - int(_HEADING / _ITEM.line + 1.0) if warnings and cautions else most
    least = Shown(*first_of(cautions, _ITEM, int(_CAUTIONS * shared) if warnings else shared, _WHOLE))
    above = Shown(*first_of(warnings, _ITEM, shared - least.lines(_ITEM), 3))
    below = Shown(*first_of(cautions, _ITEM, shared - above.lines(_ITEM), _WHOLE))
    return above, below, Shown(*first_of(assumptions_of(basis), _ITEM, most, 2))


def _tall(shown: Shown) -> float:
    """Height of a list with its heading [mm]."""
    return _HEADING + _ITEM.line * shown.lines(_ITEM) if shown.items else 0.0


def warnings_of(basis: Basis) -> list[str]:
    """Warnings in few words, those about one material together."""
    materials = {row.get("material", "") for row in basis.sources}
    told = [in_words(text) for text in gathered(basis.warnings, materials, basis.gases)]
    return [text.replace(_ELSEWHERE, ", at the end") for text in told]


def cautions_of(basis: Basis) -> list[str]:
    """Each once; those that hold for every package last."""
    return sorted(dict.fromkeys(basis.cautions), key=lambda text: text.startswith(_USUAL))


def assumptions_of(basis: Basis) -> list[str]:
    return list(dict.fromkeys(map(in_words, basis.assumptions)))


def _sources(sources: Cited, room: float) -> tuple[int, tuple[tuple[str, str], ...], float]:
    """How many materials and which citations fit in ``room`` [mm], and the height that they take."""
    if not sources.materials:
        return 0, (), 0.0
    need = [_ROW + _SOURCE.line * _row_lines(row) for row in sources.materials]
    room -= _HEADING + _ROW + _SOURCE.line
    rows = fitting(need, max(_TABLE * room, room - _SOURCE.line * len(sources.citations)), _SOURCE.line)
    left = room - sum(need[:rows])
    shown = fitting([_SOURCE.line] * len(sources.citations), left, _SOURCE.line)
    texts = tuple((mark, cut(text, _SOURCE, 1)) for mark, text in sources.citations[:shown])
    height = sum(need[:rows]) + _SOURCE.line * (
        shown + 1 + (shown < len(sources.citations)) + (rows < len(need))
    )
    return rows, texts, height + _HEADING + _ROW


def _row_lines(cells: Sequence[str]) -> int:
    kind = Type(_SOURCE.size, SHEET_WIDTH / len(cells) - 2.5)
    return max(lines(cell, kind) for cell in cells)
