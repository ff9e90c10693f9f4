"""A report as one HTML file: it needs no network, and reads and prints without scripts.

Only the two scripts whose digests stand in the head may run (W3C, Content Security Policy Level 3, hashes of
inline scripts), so nothing in a user's text ever can, and nothing is fetched.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from itertools import chain, count

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from optimizer.report.figures.model import Figure, LineChart, MeshView
from optimizer.report.figures.palette import custom_properties
from optimizer.report.figures.static import svg_of
from optimizer.report.html.blocks import Part, parts_of
from optimizer.report.html.cited import full_sources
from optimizer.report.html.model import Report
from optimizer.report.html.one_sheet import First, first_page
from optimizer.report.plot_style import TURNING
from optimizer.report.plots import bundle, plotly_json
from optimizer.report.wording import in_words

_TEMPLATES = "templates"
#: Characters that HTML forbids or that no file can hold: controls, halves of pairs, non-characters.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_VIEW_BOX = re.compile(r'viewBox="[-\d.]+ [-\d.]+ ([\d.]+) ([\d.]+)"')
#: Anchors that the page itself uses.
_OWN = ("answer", "verdict", "contents", "warnings", "assumptions", "cautions", "sources", "record")


@dataclass(frozen=True)
class Drawn:
    """key: of the figure in the page; svg: its drawing; twin: JSON of plotly, '' for none; note: what stands
    below it."""

    key: str
    title: str
    description: str
    svg: Markup
    twin: Markup
    note: str


@dataclass(frozen=True)
class Chapter:
    """A section as the template takes it."""

    key: str
    title: str
    figures: tuple[Drawn, ...]
    parts: tuple[Part, ...]


def rendered(report: Report) -> str:
    """The whole text of the file, to be written as UTF-8."""
    drawings, first, chapters = _contents(report)
    figures = [*drawings, *(figure for chapter in chapters for figure in chapter.figures)]
    script = _file("report.js")
    library = bundle() if any(figure.twin for figure in figures) else ""
    template = _environment().get_template("report.html.j2")
    return template.render(
        report=report,
        first=first,
        drawings=drawings,
        chapters=chapters,
        warnings=list(dict.fromkeys(map(in_words, report.basis.warnings))),
        assumptions=list(dict.fromkeys(map(in_words, report.basis.assumptions))),
        cautions=list(dict.fromkeys(report.basis.cautions)),
        sources=parts_of(full_sources(report.basis), "Values and tests"),
        style=Markup(f"{custom_properties()}\n{_file('report.css')}"),
        script=Markup(script) if library else "",
        library=Markup(library),
        digests=[_digest(text) for text in (script, library)] if library else [],
    )


def _contents(report: Report) -> tuple[tuple[Drawn, ...], First, tuple[Chapter, ...]]:
    """Drawings of the first page, the page, and the sections; drawings without room there get a section."""
    drawings = tuple(_drawn(f"answer-{k}", f) for k, f in enumerate(report.drawings, 1))
    first = first_page(report, tuple(_ratio(figure) for figure in drawings))
    taken = set(_OWN)
    chapters = []
    if first.drawings < len(drawings):
        taken.add("drawings")
        chapters.append(Chapter("drawings", "Further drawings", drawings[first.drawings :], ()))
    for section in report.sections:
        key = _anchor(section.key, taken)
        figures = tuple(_drawn(f"{key}-{k}", f) for k, f in enumerate(section.figures, 1))
        blocks = section.page.blocks if section.page else ()
        chapters.append(Chapter(key, section.title, figures, parts_of(blocks, section.title)))
    shown = (replace(drawn, title=title) for drawn, title in zip(drawings, first.captions, strict=False))
    return tuple(shown), first, tuple(chapters)


def _drawn(key: str, figure: Figure) -> Drawn:
    return Drawn(
        key,
        figure.title,
        figure.description,
        Markup(_clean(svg_of(figure, key))),
        Markup(plotly_json(figure)),
        figure.note if isinstance(figure, LineChart | MeshView) else "",
    )


def _ratio(figure: Drawn) -> float:
    """Height of a drawing to its width; square where it does not say."""
    box = _VIEW_BOX.search(figure.svg)
    return float(box[2]) / float(box[1]) if box and float(box[1]) > 0.0 else 1.0


def _anchor(key: str, taken: set[str]) -> str:
    """A word for an id that no other section has."""
    word = re.sub(r"[^A-Za-z0-9_]+", "-", key).strip("-") or "section"
    names = chain((word,), (f"{word}-{k}" for k in count(2)))
    found = next(name for name in names if name not in taken)
    taken.add(found)
    return found


def _digest(script: str) -> str:
    """As a policy names a script that may run."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")


@cache
def _file(name: str) -> str:
    return files(__package__).joinpath(_TEMPLATES, name).read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader(__package__, _TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_clean,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _clean(value: object) -> object:
    """Text of users without characters that no file may hold or that turn the text around them."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return TURNING.sub("", _FORBIDDEN.sub("\ufffd", value))
    return value
