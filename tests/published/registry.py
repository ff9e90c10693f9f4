"""The register of checks against numbers that come from outside this project.

Every check states the number once, with its source and a tolerance that was chosen before comparing; ours is
computed by calling the library. ``python tests/validation.py`` writes the register as docs/validation.md.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass

#: How far outside a number is; the order of the page.
KINDS = {
    "published": "the number is printed in the source",
    "worked out": "formula and inputs are the source's; the number was worked out apart from this code",
    "constructed": "standard formula, invented inputs; the number was worked out apart from this code",
    "from memory": "remembered, not read again: a plausibility check",
    "input": "the number is a row of our own table, so only the arithmetic is checked",
    "disagrees": "our number lies outside the tolerance, and is known to",
}


@dataclass(frozen=True)
class Check:
    """One number. ``published``: a value or a band (low, high) in ``unit``; ``tolerance``: largest
    difference, in percent of the published number when ``percent``, else in ``unit``."""

    id: str
    topic: str
    what: str
    source: str
    published: float | tuple[float, float]
    unit: str
    tolerance: float
    percent: bool
    kind: str
    compute: Callable[[], float]

    def difference(self, ours: float) -> float:
        """Signed distance from the published number, 0 inside a band; measured as ``tolerance`` is."""
        low, high = self.published if isinstance(self.published, tuple) else (self.published, self.published)
        edge = min(max(ours, low), high)
        return 100.0 * (ours - edge) / abs(edge) if self.percent else ours - edge

    def holds(self, ours: float) -> bool:
        return abs(self.difference(ours)) <= self.tolerance


#: Modules of this folder that register checks, in the order of the page.
MODULES = ("units", "water", "films", "materials", "packages", "transient")
CHECKS: list[Check] = []


def all_checks() -> tuple[Check, ...]:
    """Every check, in the order of the page."""
    for name in MODULES:
        importlib.import_module(f"published.{name}")
    return tuple(CHECKS)


def check(
    topic: str,
    id: str,
    what: str,
    source: str,
    published: float | tuple[float, float],
    unit: str,
    *,
    within: float | None = None,
    percent: float | None = None,
    kind: str = "published",
) -> Callable[[Callable[[], float]], Callable[[], float]]:
    """Register the decorated function, which gives our value in ``unit``. Exactly one of ``within`` (in
    ``unit``) and ``percent``."""
    if (within is None) == (percent is None):
        raise ValueError(f"{id}: give either within or percent")
    if kind not in KINDS:
        raise ValueError(f"{id}: unknown kind {kind!r}")
    if any(c.id == id for c in CHECKS):
        raise ValueError(f"{id}: registered twice")
    tolerance = within if within is not None else percent
    assert tolerance is not None

    def register(compute: Callable[[], float]) -> Callable[[], float]:
        CHECKS.append(
            Check(id, topic, what, source, published, unit, tolerance, percent is not None, kind, compute)
        )
        return compute

    return register
