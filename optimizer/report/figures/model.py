"""Charts as data. One description is drawn twice: as static SVG (``figures.static``), which needs no script
and is what is printed, and by plotly (``report.plots``) where scripts run.

Every figure has a ``description``: what it shows and the numbers that matter, for those who cannot see it.
Values are already in the units that are shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Axis:
    """title without unit; unit '' for none; zero: the axis starts at 0."""

    title: str
    unit: str = ""
    log: bool = False
    zero: bool = False

    @property
    def label(self) -> str:
        return f"{self.title}, {self.unit}" if self.unit else self.title


@dataclass(frozen=True)
class Curve:
    """A line through points. marks: a mark at each point; words: said of each point (a structure), empty or
    one for each. dashed lines are bounds, baselines and other things beside the answer."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    dashed: bool = False
    marks: bool = False
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Band:
    """A stretch of the x axis that is shaded and named, such as a storage stage or a layer."""

    name: str
    start: float
    end: float


@dataclass(frozen=True)
class Rule:
    """A named straight line: a limit (axis y), a target or a percentile (axis x)."""

    name: str
    value: float
    axis: Literal["x", "y"] = "y"
    kind: Literal["limit", "target", "note"] = "limit"


@dataclass(frozen=True)
class LineChart:
    """Curves over a common x axis. bands: stretches of it; rules: limits, targets and notes; note: what must
    be read below the figure, '' for nothing."""

    title: str
    description: str
    x: Axis
    y: Axis
    curves: tuple[Curve, ...]
    bands: tuple[Band, ...] = ()
    rules: tuple[Rule, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class BarPart:
    """One colour of a bar chart: a value for each row (0 where it has none)."""

    name: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class BarChart:
    """Lying bars, one for each of ``rows``, made of ``parts`` end to end. whisker: half-width about the end
    of each bar, empty for none; labels: at the end of each bar, empty for none."""

    title: str
    description: str
    rows: tuple[str, ...]
    x: Axis
    parts: tuple[BarPart, ...]
    whisker: tuple[float | None, ...] = ()
    labels: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class Distribution:
    """How often a value falls between two ``edges`` (n + 1 of them; shares: n, that add up to at most
    1). beyond: share of the samples above the last edge. good: '' or which side of ``rules`` of kind target
    passes ('above', 'below')."""

    title: str
    description: str
    x: Axis
    edges: tuple[float, ...]
    shares: tuple[float, ...]
    rules: tuple[Rule, ...] = ()
    beyond: float = 0.0
    good: Literal["", "above", "below"] = ""


@dataclass(frozen=True)
class SectionLayer:
    """A layer of a wall in a section drawing; thickness in ``unit`` of the drawing. note: after the name."""

    name: str
    thickness: float
    note: str = ""


@dataclass(frozen=True)
class SectionDrawing:
    """A wall cut open, from inside to outside, to scale; layers too thin to be seen are drawn wider, with a
    break mark, and said to be. inside, outside: what is written at its two faces."""

    title: str
    description: str
    layers: tuple[SectionLayer, ...]
    unit: str
    inside: str = "inside"
    outside: str = "outside"


@dataclass(frozen=True)
class MeshView:
    """A mesh coloured by a value at each face, to turn about in the page. vertices (n, 3) [mm], faces (m, 3),
    value (m,) NaN for none, at most 10,000 faces; legend: what the value is, with its unit. still: the static
    picture (a whole <svg> element). span: values of the first and the last colour, None for those that suit
    the values; note: what the view leaves out, '' for nothing."""

    title: str
    description: str
    vertices: NDArray[np.float64] = field(repr=False)
    faces: NDArray[np.int64] = field(repr=False)
    value: NDArray[np.float64] = field(repr=False)
    legend: str
    still: str = field(repr=False)
    span: tuple[float, float] | None = None
    note: str = ""


@dataclass(frozen=True)
class Still:
    """A picture that was drawn elsewhere: a whole <svg> element."""

    title: str
    description: str
    svg: str = field(repr=False)


Figure = LineChart | BarChart | Distribution | SectionDrawing | MeshView | Still

#: Kinds of marks that tests and readers of the SVG find by class name, see ``figures.static``.
CLASSES: Mapping[str, str] = {
    "curve": "a line of a LineChart",
    "band": "a shaded stretch",
    "rule": "a limit or target",
    "bar": "a bar or its part",
    "layer": "a layer of a section drawing",
    "axis-label": "the title of an axis",
    "tick": "the number at a tick",
}
