"""A picture that was drawn elsewhere, made fit to stand in a page beside others.

In HTML the ids and the <style> of every inline <svg> are those of the whole page. Here each gets a prefix.
"""

from __future__ import annotations

import re

from optimizer.report.figures.canvas import labels

_TAG = re.compile(r"<[A-Za-z][^<>]*>")
_STYLE = re.compile(r"(<style[^>]*>)(.*?)(</style>)", re.DOTALL)
_ROOT = re.compile(r"<svg\b([^>]*)>", re.DOTALL)
_SIZE = re.compile(r'\s(?:width|height|style|role|id|preserveAspectRatio|aria-[a-z]+)="[^"]*"')
_ID = re.compile(r'(\s(?:id|aria-labelledby|aria-describedby)=")([^"]*)(")')
_REFERENCE = re.compile(r'(url\(\s*["\']?#|\s(?:xlink:)?href="#)')
_NUMBERS = re.compile(r'\s(width|height)="([0-9.]+)(?:px)?"')


def still(drawn: str, uid: str, title: str, description: str) -> str:
    """The picture as wide as its column, with title and description, and every name its own.

    Raises ValueError for text without an <svg> element."""
    start = _ROOT.search(drawn)
    if start is None:
        raise ValueError("a still picture has to be an <svg> element")
    inner = drawn[start.end() : drawn.rindex("</svg>")]
    first = re.match(r"(?:\s*<(title|desc)\b[^>]*>.*?</\1>)+", inner, re.DOTALL)
    inner = inner[first.end() :] if first else inner
    inner = _STYLE.sub(lambda m: m[1] + scoped(m[2], uid) + m[3], inner)
    inner = _TAG.sub(lambda m: _prefixed(m[0], uid), inner)
    root = (
        f'<svg id="{uid}"{_SIZE.sub("", start[1])}{_view_box(start[1])} width="100%" style="height:auto" '
        f'role="img" aria-labelledby="{uid}-title {uid}-desc">'
    )
    return root + "\n".join(labels(uid, title, description)) + inner + "</svg>"


def _view_box(attributes: str) -> str:
    """One from width and height, where the picture has none."""
    if "viewBox=" in attributes:
        return ""
    size = dict(_NUMBERS.findall(attributes))
    return f' viewBox="0 0 {size["width"]} {size["height"]}"' if len(size) == 2 else ""


def _prefixed(tag: str, uid: str) -> str:
    """Its ids, and what it refers to by them."""
    named = _ID.sub(lambda m: m[1] + " ".join(f"{uid}-{x}" for x in m[2].split()) + m[3], tag)
    return _REFERENCE.sub(lambda m: f"{m[1]}{uid}-", named)


def scoped(style: str, uid: str) -> str:
    """Rules that hold in that <svg> alone, without those for dark screens: reports are printed on white."""
    found, rest = [], re.sub(r"/\*.*?\*/", "", style, flags=re.DOTALL)
    while (start := rest.find("{")) >= 0:
        selector, end = rest[:start].strip(), _closing(rest, start)
        body, rest = rest[start + 1 : end], rest[end + 1 :]
        if not selector.startswith("@"):
            names = ",".join(f"#{uid} {_ids_of(x.strip(), uid)}" for x in selector.split(","))
            found.append(f"{names}{{{_REFERENCE.sub(lambda m: f'{m[1]}{uid}-', body)}}}")
        elif selector.startswith("@media") and "dark" not in selector:
            found.append(f"{selector}{{{scoped(body, uid)}}}")
    return "".join(found)


def _ids_of(selector: str, uid: str) -> str:
    return re.sub(r"#([\w-]+)", rf"#{uid}-\1", selector)


def _closing(text: str, start: int) -> int:
    """Place of the brace that closes the one at ``start``; the end of the text for none."""
    depth = 0
    for place in range(start, len(text)):
        depth += {"{": 1, "}": -1}.get(text[place], 0)
        if depth == 0:
            return place
    return len(text)
