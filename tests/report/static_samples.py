"""Figures of every kind for the tests of static drawings, and a drawing taken apart. Values invented."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from lxml import etree

from optimizer.report.figures.model import (
    Axis,
    Band,
    BarChart,
    BarPart,
    Curve,
    Distribution,
    Figure,
    LineChart,
    Rule,
    SectionDrawing,
    SectionLayer,
)
from optimizer.report.figures.static import svg_of

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
NAMESPACE = "{http://www.w3.org/2000/svg}"


class Drawn:
    """An <svg> element taken apart."""

    def __init__(self, figure: Figure, salt: str = "") -> None:
        self.text = svg_of(figure, salt)
        self.root = etree.fromstring(self.text.encode())
        self.size = [float(x) for x in self.root.get("viewBox").split()[2:]]

    def of_class(self, name: str) -> list[etree._Element]:
        return [x for x in self.root.iter() if name in (x.get("class") or "").split()]

    def texts(self) -> list[str]:
        """Words on the sheet, without those said when pointed at."""
        return ["".join(t for t in x.itertext() if t) for x in self.root.iter(f"{NAMESPACE}text")]

    def titles(self) -> list[str]:
        return [x.text for x in self.root.iter(f"{NAMESPACE}title")]

    def ticks(self, axis: str) -> list[tuple[float, float]]:
        """Value and place [px] of each tick: its grid line or short line is where its number says."""
        place = "x" if axis == "x" else "y"
        # the baseline of a number of the y axis stands 4 below its line
        shift = 0.0 if axis == "x" else 4.0
        return [
            (float(t.get("data-value")), float(t.get(place)) - shift)
            for t in self.of_class("tick")
            if t.get("data-axis") == axis
        ]

    def value(self, axis: str, place: float, log: bool = False) -> float:
        """What stands at a place, by the first and last tick of the axis."""
        (low, a), *_, (high, b) = self.ticks(axis)
        part = (place - a) / (b - a)
        if log:
            return 10 ** (math.log10(low) + part * (math.log10(high) - math.log10(low)))
        return low + part * (high - low)

    def per_pixel(self, axis: str) -> float:
        (low, a), *_, (high, b) = self.ticks(axis)
        return abs((high - low) / (b - a))


def points(path: etree._Element) -> list[list[tuple[float, float]]]:
    """Corners of each run of a path of M and L."""
    runs = []
    for run in path.get("d", "").split("M")[1:]:
        flat = [float(x) for x in NUMBER.findall(run)]
        runs.append(list(zip(flat[::2], flat[1::2], strict=True)))
    return runs


DAYS = tuple(7.3 * k for k in range(51))
GAIN = tuple(5.6 * (1 - math.exp(-x / 180)) for x in DAYS)
HOSTILE = '</svg><script>alert("1")</script>&amp;\'\x00\u2028'
LONG = "a wall with a name that goes on and on, polyethylene terephthalate glycol and all of its layers"

LINES = LineChart(
    "Oxygen gain",
    "Reaches its limit after 312 days.",
    Axis("time", "days"),
    Axis("oxygen gain of the product", "mg/kg", zero=True),
    (
        Curve("oxygen gain", DAYS, GAIN),
        Curve("lower bound", DAYS, tuple(0.8 * x for x in GAIN), dashed=True),
        Curve("upper bound", DAYS, tuple(1.1 * x for x in GAIN), dashed=True),
    ),
    (Band("warehouse", 0, 180), Band("truck", 180, 190), Band("shop, 8 degC", 190, 365)),
    (Rule("limit", 5.0), Rule("shelf life", 312.0, "x", "target"), Rule("asked", 292.0, "x", "note")),
)
LOG = LineChart(
    "Humidity",
    "Permeability over humidity.",
    Axis("relative humidity", "%"),
    Axis("permeability", "cm3(STP)/(m2*day*atm)", log=True),
    (
        Curve("EVOH", tuple(range(0, 101, 5)), tuple(1e-3 * math.exp(x / 14) for x in range(0, 101, 5))),
        Curve("glass", (0.0, 100.0), (2e-6, 2e-6)),
    ),
)
STRUCTURES = ("PET 12 / EVOH 3 / PE 50", "PET 12 / EVOH 5 / PE 50", "PET 12 / EVOH 8 / PE 60")
FRONT = LineChart(
    "Trade-off",
    "Three structures.",
    Axis("cost of a package", "EUR"),
    Axis("shelf life", "days"),
    (Curve("cheapest", (0.031, 0.035, 0.042), (120.0, 190.0, 260.0), marks=True, words=STRUCTURES),),
    (),
    (Rule("asked", 200.0, kind="target"),),
)
MANY_WORDS = LineChart(
    "Trade-off",
    "Twelve structures.",
    Axis("cost", "EUR"),
    Axis("shelf life", "days"),
    (
        Curve(
            "cheapest",
            tuple(0.03 + 0.001 * k for k in range(12)),
            tuple(100.0 + 30 * k for k in range(12)),
            marks=True,
            words=tuple(f"{LONG} {k}" for k in range(12)),
        ),
    ),
)
CROWD = LineChart(
    "Walls",
    "Twelve walls.",
    Axis("time", "days"),
    Axis("water loss", "%"),
    tuple(Curve(f"wall {k}, {LONG}", (0.0, 50.0, 150.0), (0.0, k * 0.1, k * 0.2)) for k in range(12)),
    tuple(Band(f"day {k}", k, k + 1) for k in range(150)),
    tuple(Rule(f"limit {k}", 2.0 + 0.01 * k) for k in range(6)),
)
BARS = BarChart(
    "Ways",
    "Ways of oxygen.",
    ("body", "lid", LONG, "headspace at filling"),
    Axis("oxygen in 300 days", "mg"),
    (
        BarPart("through the wall", (2.1, 0.8, 0.3, 0.0)),
        BarPart("in the headspace", (0.0, 0.0, 0.0, 1.4)),
        BarPart("seal", (0.25, 0.1, 0.0, 0.0)),
    ),
    (0.3, 0.1, None, None),
    ("62 %", "18 %", "6 %", "28 %"),
    (Rule("allowed", 2.5, "x"),),
)
SHARES = (0.05, 0.1, 0.2, 0.3, 0.2, 0.1)
SPREAD = Distribution(
    "Shelf life",
    "Most pass.",
    Axis("shelf life", "days"),
    (200.0, 240.0, 280.0, 320.0, 360.0, 400.0, 440.0),
    SHARES,
    (
        Rule("asked", 300.0, "x", "target"),
        Rule("median", 330.0, "x", "note"),
        Rule("5 %", 250.0, "x", "note"),
    ),
    0.05,
    "above",
)


def wall(*layers: tuple[str, float]) -> SectionDrawing:
    return SectionDrawing("Wall", "Cut open.", tuple(SectionLayer(n, t) for n, t in layers), "um")


PLAIN_WALL = wall(("PET", 180.0), ("PA MXD6", 25.0), ("PET", 195.0))
CARTON = wall(
    ("LDPE", 25.0),
    ("ionomer", 5.0),
    ("aluminium", 6.5),
    ("LDPE", 20.0),
    ("paperboard", 420.0),
    ("LDPE", 12.0),
)
COATED = wall(("HDPE", 1200.0), ("coating", 0.5))
FIFTEEN = SectionDrawing(
    "Fifteen layers",
    "Cut open.",
    tuple(
        SectionLayer(
            f"{LONG[: 6 + 7 * k]} {k}", 0.04 * 2.0 ** (k % 13), "sealed at 140 degC" if k % 2 else ""
        )
        for k in range(15)
    ),
    "um",
)

ALL: dict[str, Figure] = {
    "lines": LINES,
    "log": LOG,
    "front": FRONT,
    "many words": MANY_WORDS,
    "crowd": CROWD,
    "bars": BARS,
    "spread": SPREAD,
    "wall": PLAIN_WALL,
    "carton": CARTON,
    "coated": COATED,
    "fifteen": FIFTEEN,
}


def hostile() -> Iterator[Figure]:
    """One of each kind with text that would end an element or an attribute in every place that takes text."""
    t = HOSTILE
    axis = Axis(t, t)
    curve = Curve(t, (0.0, 1.0), (1.0, 2.0), marks=True, words=(t, t))
    rules = (Rule(t, 1.5), Rule(t, 0.5, "x"))
    yield LineChart(t, t, axis, axis, (curve, curve), (Band(t, 0.0, 0.5), Band(t, 0.6, 1.0)), rules)
    yield BarChart(t, t, (t, t), axis, (BarPart(t, (1.0, 2.0)), BarPart(t, (1.0, 2.0))), (), (t, t), rules)
    yield Distribution(t, t, axis, (0.0, 1.0, 2.0), (0.5, 0.4), (Rule(t, 1.0, "x", "target"),), 0.1, "above")
    yield SectionDrawing(t, t, (SectionLayer(t, 5.0, t), SectionLayer(t, 900.0, t)), t, t, t)
