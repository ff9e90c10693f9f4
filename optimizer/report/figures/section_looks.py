"""Tint and hatch of each material of a section drawing."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence

from optimizer.report.figures import palette
from optimizer.report.figures.marks import hatch

#: Hatches in use; the last but "~" are those of bars.
_PATTERNS = ("/", "", "\\", "x", ".", "-", "+", "|", "~")
#: Every pair of a colour and a hatch has a number: the two counts have no common divisor.
_NUMBER = len(palette.SERIES) * len(_PATTERNS)
#: Looks that engineers expect (common practice, no source): metal hatched at 45 degrees in grey, board and
#: paper in brown lines.
_EXPECTED = (
    (re.compile(r"alumini?um|foil|steel|tinplate|metal\b", re.I), 7, "/"),
    (re.compile(r"board|paper|pulp|fib(re|er)", re.I), 4, "-"),
)


def looks(names: Sequence[str]) -> dict[str, int]:
    """The number of a look for each material. It comes from its name, so that a material looks the same in
    other drawings, and moves on where another of this drawing has its colour or hatch."""
    found: dict[str, int] = {}
    expected = [name for name in dict.fromkeys(names) if _expected(name) is not None]
    for name in dict.fromkeys([*expected, *names]):
        start = _expected(name)
        if start is None:
            start = int(hashlib.sha256(name.encode("utf-8", "replace")).hexdigest(), 16) % _NUMBER
        taken = set(found.values())
        unlike = (look for look in _from(start) if not any(_alike(look, x) for x in taken))
        free = (look for look in _from(start) if look not in taken)
        found[name] = next(unlike, next(free, start))
    return found


def _from(start: int) -> Iterator[int]:
    return ((start + k) % _NUMBER for k in range(_NUMBER))


def _alike(one: int, other: int) -> bool:
    """Whether two looks share the colour or the hatch."""
    return one % len(palette.SERIES) == other % len(palette.SERIES) or (
        one % len(_PATTERNS) == other % len(_PATTERNS)
    )


def _expected(name: str) -> int | None:
    for words, colour, kind in _EXPECTED:
        if words.search(name):
            return next(
                look
                for look in range(_NUMBER)
                if look % len(palette.SERIES) == colour and _PATTERNS[look % len(_PATTERNS)] == kind
            )
    return None


def pattern(uid: str, look: int) -> str:
    """The <pattern> of a look, with the id ``uid-m`` and its number."""
    colour = palette.series(look)
    return hatch(f"{uid}-m{look}", _PATTERNS[look % len(_PATTERNS)], _pale(colour), colour)


def _pale(colour: str, part: float = 0.22) -> str:
    """A tint: that part of the colour on white."""
    mixed = (round(255 + part * (int(colour[k : k + 2], 16) - 255)) for k in (1, 3, 5))
    return "#" + "".join(f"{x:02x}" for x in mixed)
