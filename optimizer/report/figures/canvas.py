"""The sheet of a figure: one whole <svg> element whose ids no other figure in the page has."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from optimizer.report import svg
from optimizer.report.figures import palette
from optimizer.report.figures.lettering import SIZE, SMALL, fitted, plain, wrapped

#: Width of every figure but those drawn elsewhere [px]; the page scales it to its column.
WIDTH = 720.0
#: Height of a line of words [px].
LINE = 16.0


def uid_of(*what: str) -> str:
    """A name for ids that is the same for the same figure, and other for any other."""
    return "f" + hashlib.sha256("\0".join(what).encode("utf-8", "replace")).hexdigest()[:10]


def document(
    uid: str, title: str, description: str, height: float, body: Sequence[str], defs: Sequence[str] = ()
) -> str:
    """The figure, with its title and description for those who cannot see it; height [px]."""
    given = svg.element("defs", "".join(defs)) if defs else ""
    ground = svg.element("rect", width=WIDTH, height=height, fill=palette.PAPER)
    drawn = svg.element(
        "g", "\n".join(body), font_family=palette.FONT, font_size=SIZE, fill=palette.INK, stroke="none"
    )
    return svg.element(
        "svg",
        "\n".join(
            x for x in ("", *labels(uid, title, description), given, ground, drawn, "") if x or not given
        ),
        xmlns="http://www.w3.org/2000/svg",
        id=uid,
        viewBox=f"0 0 {svg.number(WIDTH)} {svg.number(height)}",
        width="100%",
        style="height:auto",
        role="img",
        aria_labelledby=f"{uid}-title {uid}-desc",
    )


def labels(uid: str, title: str, description: str) -> tuple[str, str]:
    """The elements that ``aria-labelledby`` names."""
    return (
        svg.element("title", svg.escaped(title) or "Figure", id=f"{uid}-title"),
        svg.element("desc", svg.escaped(description) or svg.escaped(title) or "Figure", id=f"{uid}-desc"),
    )


def titled(drawn: str, words: str) -> str:
    """A group that says ``words`` when it is pointed at."""
    return svg.element("g", svg.element("title", svg.escaped(words)) + drawn)


def words(
    x: float, y: float, text: str, room: float, /, *, bold: bool = False, size: float = SIZE, **at: str
) -> str:
    """One line of words no wider than ``room``; in full when pointed at where they had to be shortened."""
    short = fitted(text, room, size, bold)
    attributes: dict[str, str | float] = {**at}
    if bold:
        attributes["font_weight"] = "600"
    if size != SIZE:
        attributes["font_size"] = size
    content = svg.escaped(short)
    if short != plain(text):
        content = svg.element("title", svg.escaped(text)) + content
    return svg.element("text", content, x=x, y=y, **attributes)


def lines(
    x: float, y: float, text: str, room: float, most: int, size: float = SMALL, fill: str = palette.INK
) -> tuple[str, float]:
    """Words in at most ``most`` lines from the baseline ``y``, and the baseline after them."""
    broken = wrapped(text, room, most, size)
    drawn = "".join(words(x, y + k * LINE, line, room, size=size, fill=fill) for k, line in enumerate(broken))
    whole = "".join(broken).replace(" ", "") == plain(text).replace(" ", "")
    return (drawn if whole else titled(drawn, text)), y + LINE * len(broken)


def empty(uid: str, title: str, description: str, why: str) -> str:
    """A figure that has nothing to show says so."""
    frame = svg.element(
        "rect", x=0.5, y=0.5, width=WIDTH - 1, height=79, fill="none", stroke=palette.GRID, rx=3.0
    )
    return document(
        uid,
        title,
        description,
        80.0,
        [frame, words(WIDTH / 2, 44, why, WIDTH - 40, text_anchor="middle", fill=palette.SOFT)],
    )
