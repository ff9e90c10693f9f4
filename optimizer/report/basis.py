"""What an answer rests on: warnings, assumptions, cautions and the sources of every number."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping

from optimizer.constants import PERMEANTS
from optimizer.report.cautions import gathered
from optimizer.report.page import Column, Page, word
from optimizer.report.wording import capital, in_words, kept_units, printed
from optimizer.units.systems import SI, System

#: The end of a citation that states the conditions of the test.
#: A citation that starts with the place of a row in a file.
_PLACE = re.compile(r"\S*\.(ya?ml|csv|xls[xm])\b")
_CONDITIONS = re.compile(r"degC|%|\bum\b|\bmil\b|humidity")


def basis(
    page: Page,
    *,
    warnings: Iterable[str] = (),
    assumptions: Iterable[str] = (),
    cautions: Iterable[str] = (),
    sources: Iterable[Mapping[str, str]] = (),
    gases: Collection[str] = PERMEANTS,
    also: Collection[str] = (),
    units: System = SI,
    kept: Collection[str] = (),
) -> Page:
    """The last sections of every page. ``gases``: what the page is about; the others are counted only.
    ``also``: materials that warnings may be about beside those of the sources. ``units``: of the page;
    sources keep their own, and so do the texts named in ``kept``."""
    rows = list(sources)
    materials = list(dict.fromkeys(row.get("material", "") for row in rows))
    shown = gathered(warnings, {*materials, *also}, gases)
    page.bullets("Warnings", map(in_words, shown))
    page.bullets("Assumptions", dict.fromkeys(map(in_words, assumptions)))
    page.bullets("Cautions", dict.fromkeys(cautions))
    _sources(page, rows, gases)
    note = kept_units(units, *kept)
    return page.line().line(note) if note else page


def _sources(page: Page, rows: list[Mapping[str, str]], gases: Collection[str]) -> None:
    """Every number with its test, grade and the number of its citation; the citations below."""
    shown = [row for row in rows if _subject(row) in gases or _subject(row) not in PERMEANTS]
    if not shown:
        return
    cited: dict[str, int] = {}
    table: list[list[str]] = []
    last = ""
    for row in shown:
        citation, test = _split(row.get("source", ""))
        number = cited.setdefault(citation, len(cited) + 1)
        value = printed(row.get("value", ""), row.get("unit", ""))
        material = row.get("material", "")
        table.append(
            [
                "" if material == last else material,
                row.get("gas", "").replace("activation energy", "act. energy"),
                f"{value}; {test}" if test else value,
                row.get("grade", ""),
                f"[{number}]",
            ]
        )
        last = material
    page.heading("Sources used")
    columns = [Column("material"), Column("property"), Column("value and test")]
    page.table([*columns, word("grade"), word("source")], table)
    page.line()
    for citation, number in cited.items():
        page.hanging(f"[{number}]", citation if _PLACE.match(citation) else capital(citation))
    if len(shown) < len(rows):
        page.indented(f"{len(rows) - len(shown)} more, of gases that no limit follows, in the JSON answer")


def _subject(row: Mapping[str, str]) -> str:
    """'O2' of 'O2 activation energy'."""
    return row.get("gas", "").partition(" ")[0]


def _split(source: str) -> tuple[str, str]:
    """Citation, and the conditions that stand after its last semicolon."""
    citation, semicolon, tail = source.rpartition("; ")
    if semicolon and _CONDITIONS.search(tail):
        return citation, tail
    return source, ""
