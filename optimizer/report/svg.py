"""Elements of an SVG picture as text. Source of the format: W3C, Scalable Vector Graphics 2."""

from __future__ import annotations

import re

#: Characters that XML 1.0 does not allow, not even escaped.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def escaped(text: str) -> str:
    """Text that may stand in an element or in an attribute."""
    clean = _FORBIDDEN.sub("?", text)
    for sign, written in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        clean = clean.replace(sign, written)
    return clean


def shortened(text: str, most: int) -> str:
    """At most ``most`` characters, the middle left out."""
    if len(text) <= most:
        return text
    head = (most - 3) // 2
    return f"{text[:head]}...{text[len(text) - (most - 3 - head) :]}"


def number(value: float) -> str:
    """A coordinate to a tenth of a unit, as short as it can be written."""
    text = f"{value:.1f}"
    return "0" if text in ("0.0", "-0.0") else text.removesuffix(".0")


def element(name: str, content: str = "", /, **attributes: str | float) -> str:
    """An element; an underscore in the name of an attribute stands for a hyphen, and ``class_`` for class.

    ``content`` is taken as it is: escape text first.
    """
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_attribute(value)}"' for key, value in attributes.items()
    )
    return f"<{name}{given}>{content}</{name}>" if content else f"<{name}{given}/>"


def _attribute(value: str | float) -> str:
    return escaped(value) if isinstance(value, str) else number(value)


def text(x: float, y: float, words: str, **attributes: str | float) -> str:
    """A line of text."""
    return element("text", escaped(words), x=x, y=y, **attributes)


def line(x1: float, y1: float, x2: float, y2: float, **attributes: str | float) -> str:
    return element("path", d=f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}", **attributes)


def polyline(points: list[tuple[float, float]], closed: bool, **attributes: str | float) -> str:
    """A line through points (x, y)."""
    path = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return element("path", d=f"M{path}{'Z' if closed else ''}", **attributes)
