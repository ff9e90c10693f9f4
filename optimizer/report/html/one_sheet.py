"""The first page of a report, condensed until it fits one sheet: what does not fit is counted, and stands in
full at the end."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import accumulate

from optimizer.report.html.grounds import Grounds, Shown, grounds_of
from optimizer.report.html.model import Basis, Fact, Report
from optimizer.report.html.room import SHEET_HEIGHT, SHEET_WIDTH, Type, cut, first_of, lines

_TITLE = Type(16.0, SHEET_WIDTH, bold=True, leading=1.2)
_QUESTION = Type(9.5, SHEET_WIDTH)
_VERDICT = Type(11.5, SHEET_WIDTH - 19.0, bold=True, leading=1.25)
_LIMIT = Type(8.6, SHEET_WIDTH - 5.0)
_CAPTIONS = Type(9.0, 125.0, bold=True)
#: Size [pt] and boldness of the three texts of a fact.
_NAME, _VALUE, _REMARK = (8.0, False), (12.0, True), (7.8, False)
#: Heights [mm]: command, date, version and checksum; a heading with the space above it; padding of the
#: verdict and of a row of facts; space between the parts.
_RECORD, _HEADING, _BOX, _FACT, _GAP = 6.5, 6.2, 4.2, 1.6, 2.0
#: Most facts, and the columns that suit their number where it is not 4.
_MOST_FACTS = 8
_COLUMNS = {1: 2, 2: 2, 3: 3, 5: 3, 6: 3}
#: Widths at which drawings are printed, the wider the better, and the height that they may take in all [mm].
#: At the least width the smallest letters of a drawing are 5.7 pt.
_WIDTHS, _DRAWINGS = (140.0, 125.0), 104.0
#: Caption of a drawing with the space around it [mm].
_CAPTION = 6.5
#: Least height for warnings, assumptions, cautions and sources together [mm].
_LEAST_GROUNDS = 60.0
_HEAD = re.compile(r"([A-Z]{2,}(?: [A-Z]{2,})*): (?=\S)")


@dataclass(frozen=True)
class First:
    """word: 'Passes', 'Fails' or another head of the verdict, '' for none; verdict: the sentence after it;
    columns: of the facts; drawings: how many of those of the report are on the page, their width [mm] and
    captions; whole: title, question and verdict are not shortened."""

    title: str
    question: str
    word: str
    verdict: str
    limits: Shown
    facts: tuple[Fact, ...]
    more_facts: int
    columns: int
    drawings: int
    drawing_width: float
    whole: bool
    captions: tuple[str, ...]
    grounds: Grounds


def first_page(report: Report, ratios: tuple[float, ...]) -> First:
    """ratios: height of each drawing to its width."""
    word, sentence = headed(report.verdict, report.good)
    title, question = cut(report.title, _TITLE, 2), cut(report.question, _QUESTION, 3)
    verdict = cut(sentence, _VERDICT, 4)
    given = [" ".join(text.split()) for text in (report.title, report.question, sentence)]
    whole = given == [title, question, verdict]
    limits = Shown(*first_of(report.limits, _LIMIT, 5, 2))
    columns = _COLUMNS.get(len(report.facts), 4)
    facts, facts_height = _facts(report.facts[:_MOST_FACTS], columns)
    taken = 0.0 if whole else _LIMIT.line
    taken += _RECORD + _TITLE.line * lines(title, _TITLE) + _GAP
    taken += _QUESTION.line * lines(question, _QUESTION) + _GAP
    taken += _BOX + _VERDICT.line * (lines(verdict, _VERDICT) + bool(word)) + _GAP
    taken += _HEADING + _LIMIT.line * limits.lines(_LIMIT) if limits.items else 0.0
    left = SHEET_HEIGHT - taken - facts_height
    # where nothing is said beside it, a drawing may take the whole page
    room = min(_DRAWINGS, left - _LEAST_GROUNDS) if _said(report.basis) else left - _GAP
    drawings, width = _drawings(ratios, room)
    drawn = sum(width * ratio + _CAPTION for ratio in ratios[:drawings])
    return First(
        title=title,
        question=question,
        word=word,
        verdict=verdict,
        limits=limits,
        facts=facts,
        more_facts=len(report.facts) - len(facts),
        columns=columns,
        drawings=drawings,
        drawing_width=width,
        whole=whole,
        captions=tuple(cut(figure.title, _CAPTIONS, 1) for figure in report.drawings[:drawings]),
        grounds=grounds_of(report.basis, left - drawn),
    )


def headed(verdict: str, good: bool | None) -> tuple[str, str]:
    """'Passes' and 'Lasts 14 months.' from 'PASSES: lasts 14 months.'; a verdict without a head takes one
    from ``good``."""
    head = _HEAD.match(verdict)
    if head:
        rest = verdict[head.end() :]
        return head[1].capitalize(), rest[:1].upper() + rest[1:]
    return {True: "Passes", False: "Fails", None: ""}[good], verdict


def _said(basis: Basis) -> bool:
    """Whether anything stands below the drawings."""
    return bool(basis.warnings or basis.assumptions or basis.cautions or basis.sources)


def _drawings(ratios: tuple[float, ...], room: float) -> tuple[int, float]:
    """How many of the first drawings fit in a height [mm], as many as can be, and their width [mm]."""
    found = (0, _WIDTHS[0])
    for width in _WIDTHS:
        ends = accumulate(width * ratio + _CAPTION for ratio in ratios)
        number = sum(end <= room for end in ends)
        if number > found[0]:
            found = (number, width)
    return found


def _facts(facts: tuple[Fact, ...], columns: int) -> tuple[tuple[Fact, ...], float]:
    """Facts whose texts fit their place, and the height of all rows [mm]."""
    room = (SHEET_WIDTH - 4.0 * (columns - 1)) / columns - 3.0
    name, value, remark = (Type(size, room, bold) for size, bold in (_NAME, _VALUE, _REMARK))
    short = tuple(Fact(cut(f.name, name, 2), cut(f.value, value, 2), cut(f.remark, remark, 3)) for f in facts)
    tall = [
        name.line * lines(f.name, name)
        + value.line * lines(f.value, value)
        + (remark.line * lines(f.remark, remark) if f.remark else 0.0)
        for f in short
    ]
    rows = [max(tall[k : k + columns]) + _FACT for k in range(0, len(tall), columns)]
    return short, sum(rows) + (_GAP if rows else 0.0)
