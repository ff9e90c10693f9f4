"""What a report holds, as data; ``html.render`` lays it out.

The first page (verdict, facts, drawings and what the answer rests on) prints on one sheet. ``sections``
follow, each with figures and the blocks of a terminal page, so that words and tables are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from optimizer.report.figures.model import Figure, SectionDrawing, Still
from optimizer.report.page import Page


@dataclass(frozen=True)
class Fact:
    """A key number of the first page: '14.2 months', with what it is and a remark."""

    name: str
    value: str
    remark: str = ""


@dataclass(frozen=True)
class Section:
    """A titled part after the first page. key: its anchor (a word, no blanks); page: text and tables below
    the figures, None for none."""

    key: str
    title: str
    figures: tuple[Figure, ...] = ()
    page: Page | None = None


@dataclass(frozen=True)
class Basis:
    """What the answer rests on, condensed on the first page and in full at the end. sources: rows with
    material, gas, value, unit, source, grade. gases: what the answer is about."""

    warnings: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[Mapping[str, str], ...] = ()
    gases: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """command: predict, design, ...; question: what was asked, in words; verdict: the answer in one sentence,
    starting with its yes or no; good: None where it is neither; limits: what limits, in words, one line each
    (``points``: the heading over them); drawings: sections through the walls (or a picture), for the first
    page; note: on the units shown. created: local time of the machine; inputs_sha256: of the project and
    every file it refers to."""

    command: str
    question: str
    title: str
    verdict: str
    good: bool | None
    facts: tuple[Fact, ...]
    limits: tuple[str, ...]
    drawings: tuple[SectionDrawing | Still, ...]
    basis: Basis
    sections: tuple[Section, ...]
    version: str
    inputs_sha256: str
    created: datetime
    points: str = "What limits"
    note: str = ""


def filled(*sections: Section) -> tuple[Section, ...]:
    """Those that hold anything."""
    return tuple(x for x in sections if x.figures or x.page is not None)
