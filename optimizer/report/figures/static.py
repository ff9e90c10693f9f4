"""Every figure as static SVG: it needs no script, no network and no colour, and is what is printed.

Each is a whole <svg> element that scales to its column. Class names of the marks are those of
``model.CLASSES``; ids begin with a name that no other figure in the page has.
"""

from __future__ import annotations

from optimizer.report.figures.bar_chart import bar_chart
from optimizer.report.figures.canvas import uid_of
from optimizer.report.figures.distribution import distribution
from optimizer.report.figures.line_chart import line_chart
from optimizer.report.figures.model import (
    BarChart,
    Distribution,
    Figure,
    LineChart,
    MeshView,
    SectionDrawing,
)
from optimizer.report.figures.section import section
from optimizer.report.figures.still import still


def svg_of(figure: Figure, salt: str = "") -> str:
    """The figure as text of an <svg> element. salt: anything that tells this place in the page from others
    where the same figure stands; without it the same figure has the same ids."""
    if isinstance(figure, LineChart):
        return line_chart(figure, uid_of(repr(figure), salt))
    if isinstance(figure, BarChart):
        return bar_chart(figure, uid_of(repr(figure), salt))
    if isinstance(figure, Distribution):
        return distribution(figure, uid_of(repr(figure), salt))
    if isinstance(figure, SectionDrawing):
        return section(figure, uid_of(repr(figure), salt))
    drawn = figure.still if isinstance(figure, MeshView) else figure.svg
    return still(
        drawn, uid_of(figure.title, figure.description, drawn, salt), figure.title, figure.description
    )
