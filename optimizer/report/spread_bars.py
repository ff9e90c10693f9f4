"""Bars of a distribution of shelf lives, in plain text: the target is always an edge between two of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from optimizer.report.wording import duration_unit, figure

#: About so many bars, and the width of the longest in characters.
BARS, LONGEST = 11, 30
#: Shares of the samples that the first and the last bar may gather, whatever their life.
_TAIL = 0.01
MARK = "#"


class Bar(NamedTuple):
    """One line: '6 to 7', its share [-], its bar; share None: the line of the target."""

    label: str
    share: float | None
    bar: str


def bars(lives: Sequence[float], beyond: float, target: float | None) -> tuple[str, list[Bar]]:
    """Unit of the labels, and the bars from short to long lives.

    lives [days]: ascending quantiles, each for the same share of the samples; beyond [-]: share of the
    samples whose life is not known because no limit is reached. target [days]."""
    if not lives:
        return "", []
    unit, length = duration_unit(target or lives[len(lives) // 2] or lives[-1])
    values = [x / length for x in lives]
    aim = None if target is None else target / length
    edges = _edges(values, aim)
    shares = [s * (1.0 - beyond) for s in _shares(values, edges)]
    largest = max([*shares, beyond])
    labels = _labels(edges)
    rows = [_bar(text, share, largest) for text, share in zip(labels, shares, strict=True)]
    if aim is not None:
        place = edges.index(aim) + 1 if aim in edges else 0 if aim <= values[0] else len(rows)
        rows.insert(place, Bar(f"target {figure(aim)}", None, ""))
    if beyond > 0.0:
        rows.append(_bar("no limit reached", beyond, largest))
    return unit, rows


def _edges(values: Sequence[float], aim: float | None) -> list[float]:
    """Inner edges: round steps from the target on, or from 0 without one; the target wherever lives lie on
    both sides of it."""
    skipped = math.floor(_TAIL * len(values))
    low, high = values[skipped], values[-1 - skipped]
    found: set[float] = set() if aim is None or not values[0] < aim <= values[-1] else {aim}
    if high - low > 1e-6 * high:
        step = round_step((high - low) / BARS)
        start = aim or 0.0
        first = math.floor((low - start) / step) + 1
        last = math.ceil((high - start) / step) - 1
        found |= {start + k * step for k in range(first, last + 1)}
    return sorted(found)


def round_step(step: float) -> float:
    """The nearest of ... 1, 2, 5, 10 ..., in the logarithm."""
    power = 10.0 ** math.floor(math.log10(step))
    return min((m * power for m in (1.0, 2.0, 5.0, 10.0)), key=lambda x: abs(math.log(x / step)))


def _shares(values: Sequence[float], edges: Sequence[float]) -> list[float]:
    """A life on an edge counts above it, as a target that is just met is met."""
    counts = [0] * (len(edges) + 1)
    for value in values:
        counts[sum(1 for edge in edges if value >= edge * (1.0 - 1e-9))] += 1
    return [count / len(values) for count in counts]


def _labels(edges: Sequence[float]) -> list[str]:
    if not edges:
        return ["all"]
    places = next((d for d in range(3, 7) if len({figure(x, d) for x in edges}) == len(edges)), 7)
    texts = [figure(x, places) for x in edges]
    inner = [f"{a} to {b}" for a, b in zip(texts, texts[1:], strict=False)]
    return [f"below {texts[0]}", *inner, f"{texts[-1]} and more"]


def _bar(label: str, share: float, largest: float) -> Bar:
    return Bar(label, share, MARK * math.ceil(LONGEST * share / largest - 1e-9) if share > 0.0 else "")
