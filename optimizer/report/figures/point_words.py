"""Words at the points of a chart where there are few: beside them, or as numbers with a key below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from optimizer.report.figures import palette
from optimizer.report.figures.canvas import words
from optimizer.report.figures.curves import Point, Trace
from optimizer.report.figures.legend import Entry
from optimizer.report.figures.lettering import SMALL, width
from optimizer.report.figures.placing import Box, Taken

#: Most points with words beside them, and most with numbers.
_FEW, _SOME = 8, 16
_HEIGHT = 14.0
_WIDEST = 230.0


@dataclass(frozen=True)
class _Said:
    at: Point
    text: str
    colour: str


def point_words(found: Sequence[Trace], taken: Taken, after: int = 0) -> tuple[str, list[Entry]]:
    """What is drawn, and the key of the numbers. Of more points the words are only said when pointed at.
    after: numbers that the figure has used up to there, as each may stand for one thing only."""
    said = [
        _Said(point, trace.curve.words[k], palette.series_text(trace.number))
        for trace in found
        for k, point in trace.points
        if k < len(trace.curve.words) and trace.curve.words[k]
    ]
    if len(said) <= _FEW and all(width(x.text, SMALL) <= _WIDEST for x in said):
        boxes = list(taken.boxes)
        drawn = _placed(said, taken)
        if drawn is not None:
            return drawn, []
        taken.boxes[:] = boxes
    if not said or len(said) > _SOME:
        return "", []
    numbers = {text: str(k + 1 + after) for k, text in enumerate(dict.fromkeys(x.text for x in said))}
    drawn = _placed([replace(x, text=numbers[x.text]) for x in said], taken)
    return (
        (drawn, [Entry(text, lead=number) for text, number in numbers.items()])
        if drawn is not None
        else ("", [])
    )


def _placed(said: Sequence[_Said], taken: Taken) -> str | None:
    """All of them beside their points; None where one has no room."""
    drawn = ""
    for one in said:
        wide = width(one.text, SMALL) + 4.0
        box = taken.free(_about(one.at, wide), clear=True) or taken.free(_about(one.at, wide), clear=False)
        if box is None:
            return None
        taken.boxes.append(box)
        drawn += words(
            box.left + 2, box.bottom - 3, one.text, wide, size=SMALL, fill=one.colour, paint_order="stroke",
            stroke=palette.PAPER, stroke_width="3", stroke_linejoin="round",
        )  # fmt: skip
    return drawn


def _about(at: Point, wide: float) -> list[Box]:
    """Right, left, over, under and at the corners of a mark."""
    x, y = at
    half, gap = wide / 2, 6.0
    corners = [
        (x + gap, y - _HEIGHT / 2),
        (x + gap, y - _HEIGHT - 2),
        (x + gap, y + 2),
        (x - gap - wide, y - _HEIGHT / 2),
        (x - gap - wide, y - _HEIGHT - 2),
        (x - gap - wide, y + 2),
        (x - half, y - _HEIGHT - gap),
        (x - half, y + gap),
    ]
    return [Box(a, b, a + wide, b + _HEIGHT) for a, b in corners]
