"""Limits, targets and percentiles: straight lines with their words at the line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.axes import Plot
from optimizer.report.figures.canvas import LINE, words
from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.model import Axis, Rule
from optimizer.report.figures.placing import Box, Flag, Taken, flags
from optimizer.report.figures.ticks import grouped
from optimizer.units.figures import figure

_HEIGHT = 15.0
_SPACE = "\u202f"
_NUMBERS = re.compile(rf"(?<![\w.])[-\u2212]?\d[\d{_SPACE}]*(?:\.\d+)?(?![\w.]*\d)", re.ASCII)


@dataclass(frozen=True)
class Ruled:
    """Lines and words drawn; left: what had no room and is said below the plot."""

    drawn: str
    left: tuple[str, ...] = ()


def said(rule: Rule, axis: Axis) -> str:
    """'limit: 5 mg/kg'; the value only where the name does not have it."""
    if _has(rule.name, rule.value):
        return rule.name
    value = figure(rule.value, 4)
    return f"{rule.name}: {grouped(value) if 'e' not in value else value} {axis.unit}".strip().removeprefix(
        ": "
    )


def _has(name: str, value: float) -> bool:
    """Whether the value stands in the name, to the places it is written with there."""
    for number in _NUMBERS.findall(name):
        plain = number.replace(_SPACE, "").replace("\u2212", "-")
        places = len(plain.partition(".")[2])
        if abs(float(plain) - value) <= 0.5001 * 10.0**-places and (float(plain) == value or len(plain) > 1):
            return True
    return False


def joined(rules: Sequence[Rule], axis: Axis) -> list[Rule]:
    """Rules of one value as one, named by all of their words; in ascending order."""
    found: dict[tuple[float, str], list[str]] = {}
    for rule in rules:
        found.setdefault((rule.value, rule.kind), []).append(said(rule, axis))
    return sorted(
        (
            replace(next(r for r in rules if (r.value, r.kind) == at), name="; ".join(dict.fromkeys(names)))
            for at, names in found.items()
        ),
        key=lambda r: r.value,
    )


def look(kind: str) -> dict[str, str | float]:
    """How the line of that kind is drawn."""
    drawn: dict[str, str | float] = {"stroke": palette.RULE_COLOURS[kind], "stroke_width": 1.6}
    return {**drawn, "stroke_dasharray": palette.RULES[kind]} if palette.RULES[kind] else drawn


def lying(rules: Sequence[Rule], plot: Plot, taken: Taken) -> Ruled:
    """Level lines across the plot with words beside them where no curve runs. rules: from ``joined``."""
    drawn, left = "", list[str]()
    for rule in rules:
        place = plot.y.at(rule.value)
        taken.boxes.append(Box(plot.box.left, place - 0.8, plot.box.right, place + 0.8))
        line = svg.line(plot.box.left, place, plot.box.right, place, **look(rule.kind))
        drawn += _marked(line, rule, "y")
    for rule in rules:
        box = _beside(rule, plot, taken)
        if box is None:
            left.append(rule.name)
            continue
        taken.boxes.append(box)
        drawn += words(
            box.left + 3, box.bottom - 4, rule.name, box.right - box.left, size=SMALL, bold=True,
            fill=palette.RULE_COLOURS[rule.kind], paint_order="stroke", stroke=palette.PAPER,
            stroke_width="3", stroke_linejoin="round",
        )  # fmt: skip
    return Ruled(drawn, tuple(left))


def _marked(line: str, rule: Rule, axis: str, under: str = "") -> str:
    """The line as a group that tests and the pointer find. under: a rim that parts it from bars."""
    title = svg.element("title", svg.escaped(rule.name))
    return svg.element(
        "g", title + under + line, class_="rule", data_axis=axis, data_value=repr(float(rule.value))
    )


def _beside(rule: Rule, plot: Plot, taken: Taken) -> Box | None:
    """Room for the words: over or below the line, from the right end to the left."""
    box, place = plot.box, plot.y.at(rule.value)
    wide = min(width(rule.name, SMALL, bold=True) + 6.0, box.right - box.left)
    steps = [k / 8 for k in range(9)]
    candidates = [
        Box(x, top, x + wide, top + _HEIGHT)
        for part in steps
        for x in [box.right - wide - part * (box.right - box.left - wide)]
        for top in (place - _HEIGHT - 1.5, place + 1.5)
    ]
    return taken.free(candidates, clear=True) or taken.free(candidates, clear=False)


def flagged(rules: Sequence[Rule], start: float, end: float, at: Sequence[float]) -> tuple[list[Flag], float]:
    """Rows for the words of upright lines at the top of a plot that runs from ``start`` to ``end`` [px], and
    the height that all rows take. at: place of each rule."""
    wide = [min(width(r.name, SMALL, bold=True), end - start) for r in rules]
    rows = flags(at, wide, start, end)
    return rows, LINE * (1 + max((f.row for f in rows), default=-1)) + (4.0 if rows else 0.0)


def upright(rules: Sequence[Rule], rows: Sequence[Flag], plot: Plot, top: float, rimmed: bool = False) -> str:
    """Upright lines through the plot up to their words. top: of the plot with its band of names; rimmed: with
    a white rim, over bars."""
    lines, texts = "", ""
    for rule, flag in zip(rules, rows, strict=True):
        place, base = plot.x.at(rule.value), top - 6.0 - LINE * flag.row
        line = svg.line(place, base - 9.0, place, plot.box.bottom, **look(rule.kind))
        rim = svg.line(place, top, place, plot.box.bottom, stroke=palette.PAPER, stroke_width=4.0)
        lines += _marked(line, rule, "x", rim if rimmed else "")
        texts += words(
            flag.left, base, rule.name, flag.right - flag.left + 1, size=SMALL, bold=True,
            fill=palette.RULE_COLOURS[rule.kind], paint_order="stroke", stroke=palette.PAPER,
            stroke_width="3", stroke_linejoin="round",
        )  # fmt: skip
    return lines + texts
