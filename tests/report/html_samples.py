"""Reports made by hand: every kind of figure and of block, with invented numbers, also with hostile texts."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from optimizer.report.figures.model import (
    Axis,
    Band,
    BarChart,
    BarPart,
    Curve,
    Distribution,
    Figure,
    LineChart,
    MeshView,
    Rule,
    SectionDrawing,
    SectionLayer,
    Still,
)
from optimizer.report.html.model import Basis, Fact, Report, Section
from optimizer.report.page import Column, Page, number, word

#: Texts that must never become marks: of HTML, of scripts, of JSON in scripts, of templates, of plotly.
HOSTILE = (
    "</script><img src=x onerror=alert(1)>",
    "<!--<script>alert(2)",
    "{{7*7}}{% raw %}",
    "\"'><svg onload=alert(3)>",
    '<a href="https://example.org/">out</a> <b>bold</b> &lt;i&gt; %{x} $x^2$',
    "naïve Größe 包装 \U0001f4e6 \u202egnirts",
    "controls \x00\x07\x1b[31m\x7f\x85 half \ud800 end\r\n\tnext\u2028line",
)


def tetrahedron(value: list[float], text: str = "Transmission") -> MeshView:
    corners = np.array([[0.0, 0.0, 0.0], [60.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 0.0, 80.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    shape = '<path d="M5 35L95 35L50 5Z" fill="#b7d3de"/>'
    still = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 40">{shape}</svg>'
    return MeshView(text, f"{text}: four faces.", corners, faces, np.array(value), f"{text}, um", still)


def figures(text: str = "Oxygen") -> tuple[Figure, ...]:
    """One of every kind that has a twin, then those that have none; ``text`` is in every name."""
    days = Axis("Time", "days", zero=True)
    gain = Axis(text, "mg/kg", zero=True)
    x = tuple(float(k) for k in range(0, 280, 10))
    lines = LineChart(
        f"{text} over time",
        f"{text} reaches 5 mg/kg after 132 days.",
        days,
        gain,
        (
            Curve(f"{text} as given", x, tuple(5.0 * (k / 132.0) ** 0.8 for k in x)),
            Curve(f"{text} baseline", x, tuple(5.0 * k / 240.0 for k in x), dashed=True),
            Curve(f"{text} points", (30.0, 90.0), (1.0, 3.5), marks=True, words=(f"{text} a", "b")),
        ),
        (Band(f"{text} warehouse", 0.0, 90.0), Band("truck", 90.0, 97.0), Band("shelf", 97.0, 270.0)),
        (
            Rule(f"{text} limit", 5.0),
            Rule("target", 270.0, "x", "target"),
            Rule("median", 132.0, "x", "note"),
        ),
    )
    logged = LineChart(
        f"{text} on log axes",
        "A frontier.",
        Axis("Cost", "EUR", log=True),
        Axis("Life", "days", log=True),
        (Curve("frontier", (0.0, 0.01, 0.1, float("nan")), (1.0, 10.0, 100.0, 5.0)),),
        (Band("cheap", 0.005, 0.03),),
        (Rule("none", -1.0), Rule("month", 30.0, "y", "target")),
    )
    bars = BarChart(
        f"{text} by part",
        "Where it comes through.",
        (f"{text} body", f"{text} body", f"cap {text * 12}"),
        Axis("Transmission", "cm3(STP)/(package*day*atm)", zero=True),
        (BarPart("warehouse", (0.2, 0.1, 0.05)), BarPart(f"{text} truck", (0.4, 0.0, 0.1))),
        (0.05, None, 0.02),
        ("67 %", "11 %", f"{text} 22 %"),
        (Rule(f"{text} most", 0.7, "x"),),
    )
    life = Distribution(
        f"{text} of 1024 samples",
        "Half of the samples last longer than 132 days.",
        Axis("Shelf life", "days"),
        tuple(float(k) for k in range(60, 260, 20)),
        (0.02, 0.08, 0.17, 0.24, 0.2, 0.13, 0.08, 0.05, 0.02),
        (Rule(f"{text} target", 120.0, "x", "target"), Rule("median", 132.0, "x", "note")),
        0.01,
        "above",
    )
    spread = replace(life, title=f"{text} on a log axis", x=Axis("Life", "days", log=True), good="", rules=())
    return (
        lines,
        logged,
        bars,
        life,
        spread,
        tetrahedron([600.0, 450.0, float("nan"), 520.0], text),
        drawing(text),
        Still(text, text, tetrahedron([1.0] * 4).still),
    )


def drawing(text: str = "Wall") -> SectionDrawing:
    layers = (
        SectionLayer(f"{text} HDPE", 360.0, "55 to 92 %RH"),
        SectionLayer("tie PE", 8.0),
        SectionLayer("EVOH 32", 12.0, text),
        SectionLayer("tie PE", 8.0),
        SectionLayer("HDPE", 220.0),
    )
    return SectionDrawing(f"{text} bottle, 608 um", f"{text} from inside to outside.", layers, "um")


def page(text: str = "Oxygen") -> Page:
    """Every kind of block."""
    shown = Page().line(text, "bold").line().verdict(f"PASSES: {text}", True).verdict(f"FAILS: {text}", False)
    shown.line(text).heading(f"Limits of {text}")
    shown.table(
        [Column(f"limit {text}"), number("allowed"), Column("empty"), word("verdict")],
        [(text, "5", "", "holds"), ("", "0.5", "", text)],
    )
    shown.indented(f"left: {text}").bullets("Warnings", [text, f"{text} again"])
    shown.heading("Sources used").hanging("[1]", text).hanging("[2]", "A handbook").hanging("A", text)
    return shown.heading("File").raw(f"package.yaml:3:5 {text}").raw("  a: 1")


def report(text: str = "Oxygen", title: str = "Oat-drink bottle, 1 L (invented)") -> Report:
    """A report of a usual length, all kinds of figures and blocks in its sections."""
    return Report(
        command="predict",
        question=f"Does {text} stay within its limits for 9 months?",
        title=title,
        verdict=f"FAILS: lasts 4.3 months, target 9 months (52 % short); ended by {text}.",
        good=False,
        facts=(
            Fact("Shelf life", "4.3 months", "with the properties as given"),
            Fact("Target", "9 months"),
            Fact(f"{text} at the target", "9.6 mg/kg", "limit 5 mg/kg"),
            Fact("Mass of one package", "40.9 g", text),
            Fact("Material cost", "0.06015 EUR"),
            Fact("Probability of passing", "12 %", "asked: 95 %"),
        ),
        limits=(
            f"{text} gain reaches 5 mg/kg after 4.3 months, in the stage truck.",
            "The body lets 94 % of O2 through.",
        ),
        drawings=(drawing(text),),
        basis=Basis(
            warnings=(
                "EVOH 32: O2: activation energy from memory",
                f"HDPE: H2O: estimated value ({text})",
                text,
            ),
            assumptions=(
                f"The package is closed at 23 degC ({text}).",
                *(f"Assumption {k}." for k in range(9)),
            ),
            cautions=("A prediction is for screening: verify by a test of the whole package.", text),
            sources=sources(text),
            gases=("O2", "H2O"),
        ),
        sections=(
            Section("time", f"{text} over time", figures(text), page(text)),
            Section("answer", f"Walls {text}", (drawing(text),), None),
        ),
        version="0.0.0",
        inputs_sha256="7ab6397b3611f6e76b60356b92b5a9a07774ccad7e0a309aa32a67ad86ed1f37",
        created=datetime(2026, 3, 4, 15, 6, 7),
    )


def sources(text: str = "") -> tuple[dict[str, str], ...]:
    rows = []
    for material in ("HDPE", "tie PE", f"EVOH 32 {text}".strip()):
        for gas, grade, source in (
            ("density", "handbook", "An invented handbook, table 3"),
            ("O2", "producer", f"A page of a producer {text}; 23 degC, 60 %RH"),
            ("O2 activation energy", "memory", "From memory"),
            ("H2O", "estimate", "Own estimates; 38 degC, 90 %RH"),
            ("CO2", "measured", "A paper on films"),
        ):
            rows.append(
                {
                    "material": material,
                    "gas": gas,
                    "value": "0.5",
                    "unit": "cm3*mm/(m2*day*atm)",
                    "source": source,
                    "grade": grade,
                }
            )
    return tuple(rows)


def bare() -> Report:
    """As little as a report can hold."""
    return replace(
        report(),
        facts=(),
        limits=(),
        drawings=(),
        basis=Basis(),
        sections=(),
        good=None,
        verdict="Nothing asked.",
    )


def crowded(text: str = "A rather long remark that goes on and on about the barrier layer") -> Report:
    """Far more than one sheet holds, in every place of the first page."""
    long = f"{text}: " * 12
    return replace(
        report(text, long),
        question=long,
        verdict=f"FAILS: {long}",
        facts=tuple(Fact(f"{text} {k}", long, long) for k in range(14)),
        limits=(long,) * 9,
        drawings=(drawing("a"), drawing("b"), drawing("c"), drawing("d")),
        basis=Basis(
            warnings=tuple(f"{k} {long}" for k in range(40)),
            assumptions=tuple(f"{k} {long}" for k in range(40)),
            cautions=tuple(f"{k} {long}" for k in range(20)),
            sources=tuple(
                {
                    "material": f"{text} {k}",
                    "gas": gas,
                    "value": "1",
                    "unit": "1",
                    "source": f"{k} {gas} {long}",
                    "grade": "memory",
                }
                for k in range(30)
                for gas in ("O2", "CO2", "N2", "H2O", "density")
            ),
            gases=("O2", "CO2", "N2", "H2O"),
        ),
    )
