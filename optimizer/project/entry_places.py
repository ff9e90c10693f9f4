"""Where problems of ``materials`` stand in a project: the catalogue knows no sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from optimizer.catalog.tables import Spot
from optimizer.errors import Problem
from optimizer.project.source import Location, Source, dotted

#: Columns between the cells of one row of a workbook: more than the characters of any quantity, within which
#: a problem may point.
_APART = 1_000


class EntryPlaces:
    """numbers: of the entries under ``materials`` that the catalogue reads, in its order."""

    def __init__(self, source: Source, numbers: Sequence[int]) -> None:
        self._source, self._numbers = source, numbers
        self._seen: dict[int, dict[int, Location]] = {}

    def locate(self, path: Location) -> Spot:
        """Where a place in the entries stands; remembers which key stands there."""
        place = ("materials", self._numbers[int(path[0])], *path[1:])
        mark = self._source.mark(place)
        # cells of one row may be of several sheets: so their columns are numbers of their own, far apart
        column = _APART * len(self._seen.get(mark.line, {})) + 1 if mark.sheet else mark.column
        self._seen.setdefault(mark.line, {})[column] = place
        return Spot(mark.line, column, self._source.cell(mark))

    def told(self, problem: Problem) -> Problem:
        """The problem with the key, in a workbook the cell, that it is about."""
        columns = [c for c in self._seen.get(problem.line, {}) if c <= problem.column]
        if problem.file != self._source.file or not columns:
            return problem
        place = self._seen[problem.line][max(columns)]
        if self._source.mark(place).sheet:
            empty = (*place, problem.field)  # a cell of the row in which nothing stands
            where = empty if empty in self._source.homes else place
            return self._source.problem(where, problem.message, problem.hint)
        return replace(problem, field=dotted(place))
