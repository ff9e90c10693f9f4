"""What a workbook is by the names of its sheets: a project, or something else that lies beside projects."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from optimizer.project.book_cells import clean
from optimizer.project.book_sheets import SHEETS

#: Kinds of workbooks that are no projects, as they are told.
ANSWER, OFFERS, OTHER = "with an answer", "with offers", "without sheets of a project"
_NAMES = [sheet.name.lower() for sheet in SHEETS]
#: Sheet that takes every key, so that a project may have no other; and the first one of a project.
_ALL, _FIRST = "more", "project"


def other_than_project(titles: Iterable[str]) -> str:
    """What a workbook with sheets of these names is, if no project: ``ANSWER``, ``OFFERS``, ``OTHER``; '' for
    a project, also one whose sheets are misnamed.

    Answers have sheets of the same names as projects (Layers, Parts), a plan of work may have a sheet
    'Project': so one name alone tells little.
    """
    plain = [clean(title).lower() for title in titles]
    meant = {name for title in plain for name in get_close_matches(title, _NAMES, n=1, cutoff=0.8)}
    if plain[:1] == ["answer"] and _FIRST not in plain:
        return ANSWER
    if _ALL in plain or len(meant) >= 2:
        return ""
    return OFFERS if "offers" in plain else OTHER
